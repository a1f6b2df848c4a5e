//! Comments on the cells of a workbook (ECMA-376, part 1, 18.7), which stand in parts of their own.
//!
//! The crate that reads cells leaves them out. Few kinds of tag matter, so no full reader of XML is
//! needed.

use super::book::Page;
use super::{Grade, Note};
use crate::diagnostic::words;

/// The most letters of a remark that are kept.
const MOST_LETTERS: usize = 800;

/// Adds to each sheet the comments on its cells. `part` gives the text of a part of the workbook,
/// empty where there is none. Comments that can't be read are counted in a note.
pub fn add(part: &mut dyn FnMut(&str) -> String, pages: &mut [Page]) {
    let workbook = part("xl/workbook.xml");
    let related = part("xl/_rels/workbook.xml.rels");
    for sheet in tags(&workbook, "sheet") {
        let (Some(name), Some(id)) = (attribute(sheet, "name"), attribute(sheet, "id")) else {
            continue;
        };
        let Some(page) = pages.iter_mut().find(|page| page.name == name) else { continue };
        let of_id = |tag: &&str| attribute(tag, "Id").as_ref() == Some(&id);
        let Some(path) = tags(&related, "Relationship").find(of_id).and_then(target) else {
            continue;
        };
        let path = joined("xl", &path);
        let Some((folder, file)) = path.rsplit_once('/') else { continue };
        let links = part(&format!("{folder}/_rels/{file}.rels"));
        let comments = tags(&links, "Relationship")
            .filter(|tag| attribute(tag, "Type").is_some_and(|kind| kind.ends_with("/comments")));
        for comments in comments.filter_map(target) {
            read(&part(&joined(folder, &comments)), page);
        }
    }
}

/// Reads the comments of a sheet.
fn read(text: &str, page: &mut Page) {
    let mut rest = text;
    let mut unread = 0;
    while let Some((_, after)) = rest.split_once("<comment ") {
        let (own, next) = after.split_once("</comment>").unwrap_or((after, ""));
        rest = next;
        let cell = own.split_once('>').and_then(|(tag, _)| attribute(tag, "ref"));
        let row = cell.as_ref().and_then(|cell| {
            cell.trim_start_matches(|c: char| !c.is_ascii_digit()).parse::<usize>().ok()
        });
        let words: String = tags(own, "t").filter_map(|tag| Some(tag.split_once('>')?.1)).collect();
        let words = plain(&words).split_whitespace().collect::<Vec<_>>().join(" ");
        match (cell, row) {
            (Some(cell), Some(row)) if !words.is_empty() => {
                let words: String = words.chars().take(MOST_LETTERS).collect();
                page.remarks.entry(row).or_default().push(format!("comment on {cell}: {words}"));
            }
            _ => unread += 1,
        }
    }
    if unread > 0 {
        let what = format!(
            "{unread} comments on cells of the sheet `{}` have no words that can be read",
            words::shown(&page.name)
        );
        page.notes.push(Note::of_table(what, Grade::Lost));
    }
}

/// The tags of a name, each from its first attribute up to the next tag.
fn tags<'t>(text: &'t str, name: &str) -> impl Iterator<Item = &'t str> {
    text.split('<').filter_map(move |tag| {
        let own = tag.split([' ', '>', '/', '\n', '\r', '\t']).next()?;
        let own_name = own.rsplit(':').next()?;
        (own_name == name && !tag.starts_with('/')).then_some(tag)
    })
}

/// An attribute of a tag, whatever its prefix.
fn attribute(tag: &str, name: &str) -> Option<String> {
    let tag = tag.split('>').next()?;
    tag.match_indices(name).find_map(|(at, _)| {
        let before = tag.get(..at)?.chars().next_back();
        let rest = tag.get(at + name.len()..)?.trim_start().strip_prefix('=')?.trim_start();
        let mark = rest.chars().next().filter(|mark| matches!(mark, '"' | '\''))?;
        let value = rest.get(1..)?.split(mark).next()?;
        let begins = before.is_none_or(|c| c.is_whitespace() || c == ':');
        begins.then(|| plain(value))
    })
}

fn target(tag: &str) -> Option<String> {
    attribute(tag, "Target")
}

/// The full path of a path that is relative to a folder.
fn joined(folder: &str, path: &str) -> String {
    if let Some(path) = path.strip_prefix('/') {
        return path.to_owned();
    }
    let mut parts: Vec<&str> = folder.split('/').collect();
    for part in path.split('/') {
        match part {
            ".." => {
                parts.pop();
            }
            "." => {}
            part => parts.push(part),
        }
    }
    parts.join("/")
}

/// A text with the escapes of XML resolved.
fn plain(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    let mut rest = text;
    while let Some((before, after)) = rest.split_once('&') {
        out.push_str(before);
        let (word, next) = after.split_once(';').unwrap_or((after, ""));
        let number = word.strip_prefix('#');
        let number = number.and_then(|number| match number.strip_prefix('x') {
            Some(digits) => u32::from_str_radix(digits, 16).ok(),
            None => number.parse().ok(),
        });
        out.push(match word {
            "amp" => '&',
            "lt" => '<',
            "gt" => '>',
            "quot" => '"',
            "apos" => '\'',
            _ => number.and_then(char::from_u32).unwrap_or(' '),
        });
        rest = next;
    }
    out.push_str(rest);
    out
}
