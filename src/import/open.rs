//! Which sheets of the files are tables of props, and what becomes of the others.

use super::book::{self, Page};
use super::found::Found;
use super::headings::{Kind, plain};
use super::{Grade, Note, Reading, Sheet, boxes, columns, rows, sheet};
use crate::diagnostic::words::shown;
use crate::unit;
use std::collections::{BTreeMap, BTreeSet};

/// Sheets of tinsel's own workbook that say the same as its sheet `strings` in other ways.
const OURS: [&str; 4] = ["ports", "universes", "controllers", "props"];
/// A sheet without props is kept as comments if it has at most this many rows.
const MOST_WORDS: usize = 200;

/// The tables of props in some files, given by name and bytes, and the other sheets.
///
/// # Errors
/// In words, why one can't be read, with its name where there are several.
pub fn all(
    all: &[(&str, &[u8])],
    reading: &Reading,
    notes: &mut Vec<Note>,
) -> Result<(Vec<Sheet>, Vec<Page>), String> {
    let (mut tables, mut others) = (Vec::new(), Vec::new());
    for (at, (name, bytes)) in all.iter().enumerate() {
        let label = if all.len() > 1 { shown(name) } else { String::new() };
        let why = |why| if label.is_empty() { why } else { format!("{label}: {why}") };
        let same = all.iter().take(at).find(|(_, other)| other == bytes);
        if let Some((other, _)) = same {
            return Err(why(format!("it has the same content as {}: name it once", shown(other))));
        }
        for (mut page, props) in pages(bytes, &label, reading, notes).map_err(why)? {
            match props {
                true => tables.push(table(page, reading, notes).map_err(why)?),
                false => {
                    notes.append(&mut page.notes);
                    others.push(page);
                }
            }
        }
    }
    Ok((tables, others))
}

/// The sheets of a file, each with whether it is read as a table of props.
fn pages(
    bytes: &[u8],
    label: &str,
    reading: &Reading,
    notes: &mut Vec<Note>,
) -> Result<Vec<(Page, bool)>, String> {
    let mut pages = if book::is_archive(bytes) {
        book::read(bytes)?
    } else {
        vec![Page { rows: sheet::read(bytes)?, ..Page::default() }]
    };
    let several = pages.len() > 1;
    for page in &mut pages {
        let own = format!("sheet `{}`", shown(&page.name));
        page.place = match (label.is_empty(), several) {
            (_, false) => label.to_owned(),
            (true, true) => own,
            (false, true) => format!("{label}, {own}"),
        };
    }
    if sheet::is_western(bytes) {
        let what =
            "it is not UTF-8 and was read as Latin-1 (Windows-1252): check letters with accents";
        let place = label.to_owned();
        notes.push(Note { place, ..Note::of_table(what.to_owned(), Grade::Noted) });
    }
    let chosen = match reading.sheets.is_empty() || !book::is_archive(bytes) {
        true => with_props(&mut pages, reading),
        false => named(&mut pages, reading)?,
    };
    Ok(pages.into_iter().zip(chosen).collect())
}

/// The sheets that were asked for by name.
fn named(pages: &mut [Page], reading: &Reading) -> Result<Vec<bool>, String> {
    let wanted = |name: &String| pages.iter().any(|page| page.name == *name);
    if let Some(missing) = reading.sheets.iter().find(|name| !wanted(name)) {
        let names: Vec<String> = pages.iter().map(|page| shown(&page.name).to_string()).collect();
        return Err(format!(
            "it has no sheet `{}`; its sheets are {}",
            shown(missing),
            names.join(", ")
        ));
    }
    let each = pages.iter_mut().map(|page| {
        "was not read, since --sheet names others".clone_into(&mut page.left);
        reading.sheets.contains(&page.name)
    });
    Ok(each.collect())
}

/// Chooses the sheets with a header of props. Where there are none, the first is chosen, so that
/// its fault is reported, unless a sheet of boxes stands alone.
fn with_props(pages: &mut [Page], reading: &Reading) -> Vec<bool> {
    let of_boxes: Vec<bool> = pages.iter().map(|page| boxes::is_one(page, reading)).collect();
    let rank = |(page, boxes): (&Page, &bool)| match boxes {
        true => 0,
        false => columns::best(&page.rows, reading),
    };
    let ranks: Vec<u8> = pages.iter().zip(&of_boxes).map(rank).collect();
    let best = ranks.iter().max().copied().unwrap_or(0);
    if best == 0 {
        let alone = of_boxes.contains(&true);
        return (0..pages.len()).map(|at| at == 0 && !alone).collect();
    }
    let seen = |page: &Page, rank: u8| rank == best && !page.hidden;
    let any = pages.iter().zip(&ranks).any(|(page, rank)| seen(page, *rank));
    let own = pages.iter().zip(&ranks).any(|(page, rank)| page.name == "strings" && *rank == 2);
    let ranked = pages.iter().zip(&ranks).filter(|(page, rank)| seen(page, **rank)).count();
    let mut all: Vec<(usize, Content)> = Vec::new();
    for (at, (page, rank)) in pages.iter_mut().zip(ranks).enumerate() {
        page.ours = own && OURS.contains(&page.name.as_str());
        if page.ours || rank < best || any && page.hidden {
            let why = if page.hidden { "is hidden and was not read" } else { "was not read" };
            page.left = format!("{why}; --sheet '{}' reads it", page.name);
        } else if ranked > 1 && is_unused(&page.name) {
            let why = "is not in use by its name and was not read";
            page.left = format!("{why}; --sheet '{}' reads it", page.name);
        } else {
            all.push((at, Content::of(page, reading)));
        }
    }
    // Of two sheets with the same props the one that says where they are is kept.
    all.sort_by_key(|(_, content)| !content.placed);
    let mut chosen = vec![false; pages.len()];
    let mut before: Vec<(String, Content)> = Vec::new();
    for (at, content) in all {
        let Some((page, chosen)) = pages.get_mut(at).zip(chosen.get_mut(at)) else { continue };
        // A sheet that only lists the props of other sheets.
        if best == 2 && !content.placed {
            let names = before.iter().flat_map(|(_, one)| one.names.iter().cloned()).collect();
            let all = Content { names, ..Content::default() };
            page.of_props = content.repeats(&all);
        }
        if page.of_props {
            continue;
        }
        // A table by port has no names to compare, so only the first such sheet is read.
        let mut first = before.iter();
        let first =
            if best == 2 { first.find(|(_, one)| content.repeats(one)) } else { first.next() };
        match first {
            Some((other, _)) => {
                page.left = format!(
                    "repeats rows of the sheet `{}` and was not read; --sheet '{}' reads it",
                    shown(other),
                    page.name
                );
            }
            None => {
                *chosen = true;
                before.push((page.name.clone(), content));
            }
        }
    }
    chosen
}

/// Whether the name of a sheet says that what it lists is not in use.
fn is_unused(name: &str) -> bool {
    const WORDS: [&str; 8] =
        ["old", "unused", "retired", "archive", "gone", "scrapped", "stored", "notused"];
    let whole = plain(name);
    let first: String = name.to_lowercase().chars().take_while(|c| c.is_alphabetic()).collect();
    WORDS.contains(&&*whole) || WORDS.contains(&&*first)
}

/// The names in a sheet and the places in its rows, to recognise a copy.
#[derive(Default)]
struct Content {
    names: BTreeSet<String>,
    /// Each name with what its row says of its place.
    keys: BTreeSet<String>,
    /// Whether any row says its place.
    placed: bool,
}

impl Content {
    fn of(page: &Page, reading: &Reading) -> Self {
        const PLACES: [Kind; 6] = [
            Kind::Controller,
            Kind::Port,
            Kind::Universe,
            Kind::Slot,
            Kind::Start,
            Kind::StartChannel,
        ];
        let mut content = Self::default();
        let sections = columns::find(&page.rows, reading, &mut Vec::new()).unwrap_or_default();
        for section in &sections {
            let rows = section.rows.iter().filter_map(|at| page.rows.get(*at));
            for row in rows.filter(|row| row.filled().nth(1).is_some()) {
                let Some(name) = section.columns.cell(row, Kind::Name) else { continue };
                let places = PLACES.iter().filter_map(|kind| section.columns.cell(row, *kind));
                let key = places.fold(name.to_lowercase(), |key, place| key + "|" + place);
                content.placed |= key.contains('|');
                content.names.insert(name.to_lowercase());
                content.keys.insert(key.to_lowercase());
            }
        }
        content
    }

    /// Whether at least half of its names, and two, are in another sheet too; with the same places,
    /// where both sheets have places.
    fn repeats(&self, other: &Self) -> bool {
        let (own, all) = match self.placed && other.placed {
            true => (&self.keys, &other.keys),
            false => (&self.names, &other.names),
        };
        let both = own.intersection(all).count();
        both > 1 && both * 2 >= own.len()
    }
}

/// Finds the columns of a table of props.
fn table(mut page: Page, reading: &Reading, notes: &mut Vec<Note>) -> Result<Sheet, String> {
    let from = notes.len();
    notes.append(&mut page.notes);
    let sections = columns::find(&page.rows, reading, notes)?;
    rows::ditto(&mut page.rows, &sections, notes);
    for note in notes.iter_mut().skip(from).filter(|note| note.place.is_empty()) {
        note.place.clone_from(&page.place);
    }
    Ok(Sheet {
        place: page.place,
        name: page.name,
        rows: page.rows,
        sections,
        remarks: page.remarks,
    })
}

/// Reads the sheets beside the tables of props.
pub fn beside(pages: &[Page], reading: &Reading, found: &mut Found, notes: &mut Vec<Note>) {
    let before: BTreeSet<String> = found.comments.iter().cloned().collect();
    for page in pages.iter().filter(|page| !page.rows.is_empty()) {
        let mut said: Vec<String> = page.remarks.values().flatten().cloned().collect();
        if page.of_props {
            of_props(page, reading, found, notes);
        } else if page.ours || !boxes::read(page, reading, found, notes) {
            let table = columns::best(&page.rows, reading) > 0 && !page.ours;
            let grade = if table { Grade::Lost } else { Grade::Noted };
            let why = match (page.ours, table, page.rows.len() > MOST_WORDS) {
                (true, ..) => "says the same as the sheet `strings` and was not read",
                (_, true, _) => &shown(&page.left),
                (.., true) => "has no header of props and was not read",
                _ => "has no header of props; its rows are kept as comments",
            };
            if !table && !page.ours && page.rows.len() <= MOST_WORDS {
                let words = |row: &sheet::SheetRow| {
                    format!("{}, row {}: {}", page.place, row.number, columns::begin(row))
                };
                said.extend(page.rows.iter().map(words));
            }
            let place = page.place.clone();
            notes.push(Note { place, ..Note::of_table(format!("it {why}"), grade) });
        }
        said.retain(|words| !before.contains(words));
        found.comments.extend(said);
    }
}

/// Keeps what a sheet says of props that other sheets place, as comments of these props.
fn of_props(page: &Page, reading: &Reading, found: &mut Found, notes: &mut Vec<Note>) {
    let sections = columns::find(&page.rows, reading, &mut Vec::new()).unwrap_or_default();
    let mut by_form: BTreeMap<String, usize> = BTreeMap::new();
    for (at, prop) in found.props.iter().enumerate() {
        for name in [&prop.name].into_iter().chain(&prop.label) {
            by_form.entry(boxes::squeezed(name)).or_insert(at);
        }
    }
    let (mut known, mut lost) = (0_u64, Vec::new());
    for section in &sections {
        for row in section.rows.iter().filter_map(|at| page.rows.get(*at)) {
            let Some(name) = section.columns.cell(row, Kind::Name) else { continue };
            let said = row.filled().filter(|(at, _)| section.columns.at(Kind::Name) != Some(*at));
            let said =
                said.map(|(at, cell)| format!("{}: {}", section.columns.heading_at(at), cell.text));
            let said: Vec<String> = said.collect();
            if said.is_empty() {
                continue;
            }
            let prop = by_form.get(&boxes::squeezed(name));
            let prop = prop.and_then(|at| found.props.get_mut(*at));
            let words = format!("{}, row {}: {}", page.place, row.number, said.join("; "));
            let Some(prop) = prop else {
                found.comments.push(format!("{words} (of {})", shown(name)));
                lost.push(format!("{} (\"{}\")", row.number, shown(name)));
                continue;
            };
            known += 1;
            prop.comments.push(words);
        }
    }
    let mut what = format!(
        "the sheet `{}` has no ports and no addresses: what it says of {} stands there as comments",
        shown(&page.name),
        unit::counted(known, "prop")
    );
    if !lost.is_empty() {
        const MOST: usize = 12;
        let more = if lost.len() > MOST {
            format!(" and {} more", lost.len() - MOST)
        } else {
            String::new()
        };
        lost.truncate(MOST);
        what += &format!(
            "; no prop of the other sheets is called as in its rows {}{more}",
            lost.join(", ")
        );
    }
    let grade = if lost.is_empty() { Grade::Noted } else { Grade::Lost };
    notes.push(Note::of_table(what, grade));
}
