//! The display as pages for people: one that shows everything, and the sheets that a crew carries.
//!
//! Each page is one file that needs nothing else: style and script are within it, and a policy in
//! its head forbids whatever is not. A part of a page is a [`Part`], a file each; [`REPORT`] and
//! [`SHEETS`] list them. What the parts read is made once, by [`crew`]; what they write goes
//! through [`html`], which escapes it.

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

/// What distinguishes a page that was made here from any other file of its name.
pub const MARK: &str = "<meta name=\"generator\" content=\"tinsel\">";

/// What the page that shows everything is made of.
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

/// What is printed and carried.
const SHEETS: &[Part] =
    &[sheets::PORTS, sheets::SETUP, sheets::FIXTURES, sheets::BENCH, sheets::TICKS];

/// What is printed on paper of its own, so it is no part of the page that has all.
const APART: &[Part] = &[labels::PART];

/// A page as a file.
pub struct Page {
    /// The name of its file.
    pub file: String,
    /// Its text.
    pub text: String,
}

/// More strings than this have no page of labels: it would be larger than a browser takes.
pub const MOST_LABELS: usize = 10_000;

/// The page that shows everything, and each kind of sheet as a page of its own, linked with one
/// another. Each is made when it is asked for, since the pages of a large display are large.
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

/// The names of all files that a folder of pages may have.
pub fn files() -> impl Iterator<Item = String> {
    let sheets = SHEETS.iter().chain(APART).map(|sheet| sheet.name);
    let names = std::iter::once("index").chain(sheets);
    names.map(|name| format!("{name}.html"))
}

/// All of it but labels as one page.
#[must_use]
pub fn single(compiled: &Compiled) -> String {
    let crew = Crew::new(compiled);
    let parts: Vec<&Part> = REPORT.iter().chain(SHEETS).collect();
    shell::page(&crew, &edition(&crew), &parts, &[])
}

/// Eight hexadecimal digits that change with the display's name and with whatever the report or a
/// sheet prints, and with nothing else. Labels say nothing that no sheet says, so they need not be
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
