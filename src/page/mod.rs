//! The display as pages for people: one that shows everything, and sheets for the crew.
//!
//! Each page is one file that needs no other: style and script are in it, and a policy in its head
//! forbids everything else. Each part of a page is a [`Part`] with a file; [`REPORT`] and
//! [`SHEETS`] list them. [`crew`] makes once what the parts read; [`html`] escapes what they write.

mod chains;
mod controllers;
mod crew;
mod findings;
pub mod html;
mod labels;
mod overview;
mod parts;
mod props;
mod search;
mod sheets;
pub mod shell;
mod strips;
mod universes;

use crate::Compiled;
use crew::Crew;
use html::Html;

/// A part of a page.
pub struct Part {
    /// Its name in links and file names.
    pub name: &'static str,
    /// Its heading.
    pub title: &'static str,
    /// Writes what stands under the heading.
    write: fn(&Crew<'_>, &mut Html),
}

impl Part {
    const fn new(name: &'static str, title: &'static str, write: fn(&Crew<'_>, &mut Html)) -> Self {
        Self { name, title, write }
    }
}

/// Marks a page as made here: another file of the same name lacks it.
pub const MARK: &str = "<meta name=\"generator\" content=\"tinsel\">";

/// The parts of the page that shows everything.
const REPORT: &[Part] = &[
    overview::PART,
    search::PART,
    controllers::PART,
    props::PART,
    chains::PART,
    universes::PART,
    parts::PART,
    findings::PART,
];

/// The sheets that are printed and carried.
const SHEETS: &[Part] =
    &[sheets::PORTS, sheets::SETUP, sheets::FIXTURES, sheets::BENCH, sheets::TICKS];

/// What is printed on other paper and so has a page of its own only.
const APART: &[Part] = &[labels::PART];

/// A page as a file.
pub struct Page {
    /// The name of its file.
    pub file: String,
    /// Its text.
    pub text: String,
}

/// The most strings for which labels are made: a page with more is too large for a browser.
pub const MOST_LABELS: usize = 10_000;

/// The page that shows everything, and a page for each kind of sheet, with links between them. Each
/// is made when it is asked for, since the pages of a large display are large.
pub fn folder(compiled: &Compiled) -> impl Iterator<Item = Page> + '_ {
    let crew = Crew::new(compiled);
    let edition = edition(&crew);
    let labels = compiled.model.strings.len() <= MOST_LABELS;
    let apart = APART.iter().filter(move |_| labels);
    let sheets: Vec<&Part> = SHEETS.iter().chain(apart).collect();
    (0..=sheets.len()).map(move |at| {
        let sheet = at.checked_sub(1).and_then(|at| sheets.get(at));
        let (name, parts) = match sheet {
            Some(sheet) => (sheet.name, vec![*sheet]),
            None => ("index", REPORT.iter().collect()),
        };
        Page { file: format!("{name}.html"), text: shell::page(&crew, &edition, &parts, &sheets) }
    })
}

/// The names of all files that a folder of pages may contain.
pub fn files() -> impl Iterator<Item = String> {
    let sheets = SHEETS.iter().chain(APART).map(|sheet| sheet.name);
    let names = std::iter::once("index").chain(sheets);
    names.map(|name| format!("{name}.html"))
}

/// Everything but labels as one page.
#[must_use]
pub fn single(compiled: &Compiled) -> String {
    let crew = Crew::new(compiled);
    let parts: Vec<&Part> = REPORT.iter().chain(SHEETS).collect();
    shell::page(&crew, &edition(&crew), &parts, &[])
}

/// Eight hexadecimal digits that change with the display's name and with whatever the report or a
/// sheet prints, and with nothing else. Labels print nothing that no sheet prints, so they are not
/// made for it. Each part is dropped before the next is made.
fn edition(crew: &Crew<'_>) -> String {
    shell::short_hash(|add| {
        add(crew.title());
        let parts = REPORT.iter().chain(SHEETS);
        for part in parts.filter(|part| part.name != search::PART.name) {
            let mut html = Html::default();
            (part.write)(crew, &mut html);
            html.printed().for_each(&mut *add);
        }
    })
}

#[cfg(test)]
mod tests;
