//! The display as pages for people: one that shows everything, and the sheets that a crew carries.
//!
//! Each page is one file that needs nothing else: style and script are within it, and a policy in its head forbids
//! whatever is not. A part of a page is a [`Part`], a file each; [`REPORT`] and [`SHEETS`] list them. What the
//! parts read is made once, by [`crew`]; what they write goes through [`html`], which escapes it.

mod chains;
mod controllers;
mod crew;
mod findings;
mod html;
mod labels;
mod overview;
mod parts;
mod search;
mod sheets;
mod shell;
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

/// What tells a page that was made here from any other file of its name.
pub const MARK: &str = "<meta name=\"generator\" content=\"tinsel\">";

/// What the page that shows everything is made of.
const REPORT: &[Part] = &[
    overview::PART,
    search::PART,
    controllers::PART,
    chains::PART,
    universes::PART,
    parts::PART,
    findings::PART,
];

/// What is printed and carried.
const SHEETS: &[Part] = &[
    sheets::PORTS,
    sheets::SETUP,
    sheets::FIXTURES,
    sheets::BENCH,
    sheets::TICKS,
];

/// What is printed on paper of its own, so it is no part of the page that has all.
const APART: &[Part] = &[labels::PART];

/// A page as a file.
pub struct Page {
    /// The name of its file.
    pub file: String,
    /// Its text.
    pub text: String,
}

/// The page that shows everything, and each kind of sheet as a page of its own, linked with one another.
#[must_use]
pub fn folder(compiled: &Compiled) -> Vec<Page> {
    let crew = Crew::new(compiled);
    let edition = search::edition(&crew);
    let sheets: Vec<&Part> = SHEETS.iter().chain(APART).collect();
    let report = Page {
        file: "index.html".to_owned(),
        text: shell::page(&crew, &edition, &REPORT.iter().collect::<Vec<_>>(), &sheets),
    };
    let pages = sheets.iter().map(|sheet| Page {
        file: format!("{}.html", sheet.name),
        text: shell::page(&crew, &edition, &[*sheet], &sheets),
    });
    std::iter::once(report).chain(pages).collect()
}

/// All of it but labels as one page.
#[must_use]
pub fn single(compiled: &Compiled) -> String {
    let crew = Crew::new(compiled);
    let edition = search::edition(&crew);
    let parts: Vec<&Part> = REPORT.iter().chain(SHEETS).collect();
    shell::page(&crew, &edition, &parts, &[])
}

#[cfg(test)]
mod tests;
