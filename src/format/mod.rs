//! The formatter: one layout for display files, without a change of meaning.
//!
//! ```text
//!  text ──tokens──▶ words, marks, comments, blanks ──print──▶ lines ──align──▶ text
//! ```
//!
//! It changes only blanks, line ends and `;`, and on a single port a comma becomes the `->` that it
//! means. Lines are neither joined nor wrapped. The rules:
//!
//! - a block stays on one line if it is written on one; else each setting has a line of its own,
//!   indented by four blanks;
//! - a statement has a line of its own, and lines in which it goes on are indented by four blanks;
//! - one blank between words and between a number and its unit; none before `,`, `;` and `:` or
//!   within brackets;
//! - of several empty lines one stays; none at the beginning and end of a text or block;
//! - one-line blocks of one kind in lines that follow each other open in one column; so do the
//!   chains of wires;
//! - comments after the lines of a paragraph begin in one column.

mod align;
mod print;
pub mod tokens;

use crate::ast::Ast;
use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::rules::syntax::unexpected;
use crate::source::{Loaded, MOST_BYTES, SourceFile, SourceMap, Span};
use crate::syntax;
use tokens::Tokens;

/// The result of formatting.
#[derive(Debug)]
pub struct Formatted {
    /// The text as it was, to show places in it.
    pub sources: SourceMap,
    /// The new text; or its errors, if it does not parse and so can't be laid out.
    pub result: Result<String, Vec<Diagnostic>>,
}

/// Formats one text.
#[must_use]
pub fn format(main: &Loaded) -> Formatted {
    let mut sources = SourceMap::default();
    let shown = String::from_utf8_lossy(&main.bytes);
    let result = match (sources.add(&main.name, &shown), std::str::from_utf8(&main.bytes)) {
        (Some(file), Ok(text)) => {
            let errors = errors(file);
            if errors.is_empty() { Ok(laid_out(text)) } else { Err(errors) }
        }
        (Some(file), Err(error)) => {
            let at = error.valid_up_to();
            Err(vec![unexpected::not_utf8(file, &main.bytes, at)])
        }
        (None, _) => Err(vec![unexpected::too_large(Span::default(), MOST_BYTES)]),
    };
    Formatted { sources, result }
}

/// The errors of the syntax stage in a text.
fn errors(file: &SourceFile) -> Vec<Diagnostic> {
    let mut sink = Sink::default();
    let _: Ast = syntax::parse(file, &mut sink);
    let all = sink.finish().into_iter();
    all.filter(|finding| finding.severity == Severity::Error).collect()
}

/// Lays out a text that the program made and that parses.
#[must_use]
pub fn layout(text: &str) -> String {
    let mut tokens = Vec::with_capacity(Tokens::of(text).count());
    tokens.extend(Tokens::of(text));
    print::text(&tokens)
}

/// Lays out a text that parses. If that would change its meaning, the text stays as it was.
fn laid_out(text: &str) -> String {
    let (mark, plain) = match text.strip_prefix('\u{feff}') {
        Some(rest) => ("\u{feff}", rest),
        None => ("", text),
    };
    let out = layout(plain);
    let same = tokens::essence(plain).eq(tokens::essence(&out));
    let mut sources = SourceMap::default();
    let parses = sources.add("", &out).is_some_and(|file| errors(file).is_empty());
    if !same || !parses {
        return text.to_owned();
    }
    // All line ends become of the kind of the first one.
    let crlf =
        plain.find('\n').is_some_and(|at| plain.get(..at).is_some_and(|line| line.ends_with('\r')));
    let out = if crlf { out.replace('\n', "\r\n") } else { out };
    format!("{mark}{out}")
}

#[cfg(test)]
mod tests;
