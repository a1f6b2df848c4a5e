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
    let (report, sheets) = (bodies(&crew, REPORT), bodies(&crew, SHEETS));
    let edition = edition(&crew, report.iter().chain(&sheets));
    let others: Vec<&Part> = SHEETS.iter().chain(APART).collect();
    let report = Page {
        file: "index.html".to_owned(),
        text: shell::page(&crew, &edition, report, &others),
    };
    let pages = sheets
        .into_iter()
        .chain(bodies(&crew, APART))
        .map(|body| Page {
            file: format!("{}.html", body.part.name),
            text: shell::page(&crew, &edition, vec![body], &others),
        });
    std::iter::once(report).chain(pages).collect()
}

/// All of it but labels as one page.
#[must_use]
pub fn single(compiled: &Compiled) -> String {
    let crew = Crew::new(compiled);
    let mut bodies = bodies(&crew, REPORT);
    bodies.extend(self::bodies(&crew, SHEETS));
    let edition = edition(&crew, bodies.iter());
    shell::page(&crew, &edition, bodies, &[])
}

/// A part with what it writes under its heading.
struct Body {
    part: &'static Part,
    html: Html,
}

fn bodies(crew: &Crew<'_>, parts: &'static [Part]) -> Vec<Body> {
    let write = |part: &'static Part| {
        let mut html = Html::default();
        (part.write)(crew, &mut html);
        Body { part, html }
    };
    parts.iter().map(write).collect()
}

/// Eight hexadecimal digits that change with the display's name and with whatever the report or a sheet prints, and
/// with nothing else. Labels say nothing that no sheet says, so they need not be made for it.
fn edition<'b>(crew: &Crew<'_>, bodies: impl Iterator<Item = &'b Body>) -> String {
    let printed = bodies.filter(|body| body.part.name != search::PART.name);
    let texts = printed.flat_map(|body| body.html.printed());
    shell::short_hash(std::iter::once(crew.title()).chain(texts))
}

#[cfg(test)]
mod tests;
