//! Findings for people and programs; each form has a file.
//!
//! `text` is for a person at a terminal ([`terminal`]); the others are listed in [`ALL`]. All take
//! their places from [`spot`], so a column means the same in each: characters, from 1.

mod github;
mod json;
mod layout;
mod sarif;
mod short;
#[cfg(feature = "cli")]
pub mod terminal;

pub use layout::wrap;

use crate::diagnostic::{Diagnostic, Severity};
use crate::source::{Place, SourceFile, SourceMap, Span};
use crate::unit::counted;
use std::io::{self, Write};

/// Writes all findings in one form.
pub type Form = fn(&SourceMap, &[Diagnostic], &mut dyn Write) -> io::Result<()>;

/// All forms but `text`, by their words after `--format`.
pub const ALL: &[(&str, Form)] = &[
    ("short", short::write),
    ("json", json::write),
    ("sarif", sarif::write),
    ("github", github::write),
];

/// The file of a span, and the span cut to the text of that file and to whole characters.
///
/// A span after the last visible character, such as "something is missing here", becomes the span
/// of that character, where a reader can see it. `None` only where there is no text at all.
#[must_use]
pub fn anchor(sources: &SourceMap, span: Span) -> Option<(&SourceFile, Span)> {
    let file = sources.file_at(span.start).or_else(|| sources.files().first())?;
    let text = &*file.text;
    let local = |offset: u32| (offset.saturating_sub(file.base) as usize).min(text.len());
    let (mut start, mut end) = (local(span.start), local(span.end));
    let visible = text.trim_end();
    if start >= visible.len()
        && let Some(last) = visible.chars().next_back()
    {
        end = visible.len();
        start = end - last.len_utf8();
    }
    while !text.is_char_boundary(start) {
        start -= 1;
    }
    while !text.is_char_boundary(end) {
        end += 1;
    }
    // Both lie within a text whose length the map has checked to fit u32.
    let span = Span::new(file.base + start as u32, file.base + end as u32);
    Some((file, span))
}

/// The place of a span, for a person or a program.
#[must_use]
pub fn spot(sources: &SourceMap, span: Span) -> Place<'_> {
    match anchor(sources, span) {
        Some((file, span)) => Place::of(file, span),
        None => Place { file: "", line: 1, column: 1, end_line: 1, end_column: 1 },
    }
}

/// `2 errors, 1 warning, 3 pieces of advice`, or "no errors" where there is nothing to count.
#[must_use]
pub fn count(findings: &[Diagnostic]) -> String {
    let of = |severity| findings.iter().filter(|f| f.severity == severity).count();
    let mut parts = Vec::new();
    for (severity, one, rest) in [
        (Severity::Error, "error", ""),
        (Severity::Warning, "warning", ""),
        (Severity::Advice, "piece", " of advice"),
    ] {
        if let count @ 1.. = of(severity) {
            parts.push(format!("{}{rest}", counted(count, one)));
        }
    }
    if parts.is_empty() { "no errors".to_owned() } else { parts.join(", ") }
}

#[cfg(test)]
mod tests;
