//! The formatter: one way to lay a display file out, without a change to what it says.
//!
//! ```text
//!  text ──tokens──▶ words, marks, comments, blanks ──print──▶ lines ──align──▶ text
//! ```
//!
//! Only blanks, line ends and `;` are changed, and on a single port a comma becomes the `->` that
//! it means. Lines are kept as they are broken: nothing is joined or wrapped. The rules:
//!
//! - a block stays on one line if it is written on one; else each setting has a line of its own, four blanks
//!   further in than its block;
//! - a statement has a line of its own, and what goes on in the next line is four blanks further in;
//! - one blank between words, none before `,`, `;` and `:` or within brackets, one between a number and its unit;
//! - of several empty lines one stays; there is none at the beginning and the end of a text or block;
//! - blocks on one line, of one kind and one below the other, open in one column, and so do wires;
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

/// What became of a text.
#[derive(Debug)]
pub struct Formatted {
    /// It as it was, to show places in it.
    pub sources: SourceMap,
    /// It laid out; or, if it does not parse, what is wrong: nobody knows then what may be moved.
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

/// The errors of a text by itself: those that leave something of it unread.
fn errors(file: &SourceFile) -> Vec<Diagnostic> {
    let mut sink = Sink::default();
    let _: Ast = syntax::parse(file, &mut sink);
    let all = sink.finish().into_iter();
    all.filter(|finding| finding.severity == Severity::Error).collect()
}

/// A text of our own, which parses, laid out.
#[must_use]
pub fn layout(text: &str) -> String {
    let mut tokens = Vec::with_capacity(Tokens::of(text).count());
    tokens.extend(Tokens::of(text));
    print::text(&tokens)
}

/// A text that parses, laid out. Should that change more than it may, the text stays as it was.
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
    // The first line end says which kind the text has.
    let crlf =
        plain.find('\n').is_some_and(|at| plain.get(..at).is_some_and(|line| line.ends_with('\r')));
    let out = if crlf { out.replace('\n', "\r\n") } else { out };
    format!("{mark}{out}")
}

#[cfg(test)]
mod tests;
