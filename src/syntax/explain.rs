//! From a failed parse to the one finding that says what is wrong: slips that are known by name first, what
//! would have fitted otherwise.

use super::{Rule, expected, first_word};
use crate::diagnostic::{Diagnostic, words};
use crate::rules::syntax::number;
use crate::rules::syntax::unexpected::{self, Thing};
use crate::source::Span;
use pest::error::{Error, ErrorVariant, InputLocation};
use std::ops::Range;

/// Where a parse failed, in bytes of the text it was given.
pub(super) fn place(error: &Error<Rule>, length: usize) -> usize {
    let at = match error.location {
        InputLocation::Pos(at) => at,
        InputLocation::Span((start, _)) => start,
    };
    at.min(length)
}

/// What stands at the beginning of a text, in words: "`heron`", "the number 5", "the end of the line".
pub(super) fn found(text: &str) -> String {
    let token = token(text);
    match token.chars().next() {
        None | Some('\n' | '\r' | '#' | ';') => "the end of the line".to_owned(),
        Some('"') => "a text in quotes".to_owned(),
        Some(c) if c.is_ascii_digit() => format!("the number {}", words::shown(token)),
        Some(_) => format!("`{}`", words::shown(token)),
    }
}

/// The word, number, text or mark at the beginning of a text.
fn token(text: &str) -> &str {
    let Some(first) = text.chars().next() else {
        return "";
    };
    let length = if first == '"' {
        let inner = text.get(1..).unwrap_or("");
        inner.find(['"', '\n']).map_or(text.len(), |at| at + 2)
    } else if first.is_ascii_digit() {
        text.find(|c: char| !(c.is_ascii_digit() || c == '_'))
            .unwrap_or(text.len())
    } else if first.is_alphabetic() {
        first_word(text).len()
    } else if ["->", ".."].iter().any(|mark| text.starts_with(mark)) {
        2
    } else {
        first.len_utf8()
    };
    text.get(..length).unwrap_or(text)
}

/// A failed stretch, as the slips look at it.
struct Failure<'a> {
    /// The text of the stretch.
    text: &'a str,
    /// Where in it the parse failed.
    at: usize,
    /// Where the stretch begins in the offset space.
    base: u32,
    thing: Thing<'a>,
    rules: Vec<Rule>,
}

/// The finding for a stretch of `text` that did not parse.
pub(super) fn explain(
    text: &str,
    range: Range<usize>,
    base: u32,
    error: &Error<Rule>,
    thing: Thing<'_>,
) -> Diagnostic {
    let stretch = text.get(range.clone()).unwrap_or("");
    let rules = match &error.variant {
        ErrorVariant::ParsingError { positives, .. } => positives.clone(),
        ErrorVariant::CustomError { .. } => Vec::new(),
    };
    let failure = Failure {
        text: stretch,
        at: place(error, stretch.len()),
        base: base + range.start as u32,
        thing,
        rules,
    };
    failure
        .slip_of_marks()
        .or_else(|| failure.slip_of_numbers())
        .or_else(|| failure.slip_of_names())
        .or_else(|| failure.slip_of_joints())
        .unwrap_or_else(|| failure.misfit())
}

impl Failure<'_> {
    fn span(&self, range: Range<usize>) -> Span {
        Span::new(self.base + range.start as u32, self.base + range.end as u32)
    }

    fn rest(&self) -> &str {
        self.text.get(self.at..).unwrap_or("")
    }

    fn before(&self) -> &str {
        self.text.get(..self.at).unwrap_or("")
    }

    /// The place of `length` bytes where the parse failed.
    fn here(&self, length: usize) -> Span {
        self.span(self.at..self.at + length)
    }

    fn fits(&self, rule: Rule) -> bool {
        self.rules.contains(&rule)
    }

    /// Comments of other languages, `=` and `:`, other quotes, other arrows.
    fn slip_of_marks(&self) -> Option<Diagnostic> {
        let rest = self.rest();
        if rest.starts_with("//") || rest.starts_with("/*") {
            let mark = rest.get(..2)?;
            return Some(unexpected::foreign_comment(self.here(2), mark));
        }
        // `/ /` within arithmetic: the first `/` was taken for a division.
        if rest.starts_with(['/', '*']) && self.before().ends_with('/') {
            let span = self.span(self.at - 1..self.at + 1);
            let mark = self.text.get(self.at - 1..self.at + 1)?;
            return Some(unexpected::foreign_comment(span, mark));
        }
        if let Thing::Setting(_, key) = self.thing {
            let words = self.before().trim_end();
            if rest.starts_with('=')
                && words
                    .chars()
                    .all(|c| c.is_alphanumeric() || "-_ ".contains(c))
            {
                return Some(unexpected::mark_after_key(self.here(1), "=", words));
            }
            if words.ends_with(':') && key != "string" && words.len() == key.len() + 1 {
                let at = words.len() - 1;
                return Some(unexpected::mark_after_key(self.span(at..at + 1), ":", key));
            }
        }
        for arrow in ["=>", "-->", "->>", "==>"] {
            if rest.starts_with(arrow) {
                return Some(unexpected::other_arrow(self.here(arrow.len()), arrow));
            }
        }
        if self.before().ends_with("->") && rest.starts_with('>') {
            return Some(unexpected::other_arrow(
                self.span(self.at - 2..self.at + 1),
                "->>",
            ));
        }
        let quote = rest
            .chars()
            .next()
            .filter(|c| matches!(c, '\'' | '`' | '‘' | '’'))?;
        Some(unexpected::other_quote(self.here(quote.len_utf8()), quote))
    }

    /// Ranges and numbers.
    fn slip_of_numbers(&self) -> Option<Diagnostic> {
        let rest = self.rest();
        let before = self.before();
        let first = rest.chars().next();
        if let Some(c) = first.filter(|c| c.is_numeric() && !c.is_ascii_digit()) {
            return Some(number::foreign_digit(self.here(c.len_utf8()), c));
        }
        if let Some(behind) = rest.strip_prefix('.') {
            if before.ends_with("..") {
                return Some(unexpected::bad_range(
                    self.span(self.at - 2..self.at + 1),
                    "has three dots",
                ));
            }
            if behind.starts_with('.') {
                return Some(unexpected::bad_range(
                    self.here(2),
                    "has no number before its dots",
                ));
            }
            if behind.starts_with(|c: char| c.is_ascii_digit()) && self.fits(Rule::number) {
                let digits = token(behind).len();
                return Some(number::bare_point(self.here(1 + digits)));
            }
        }
        if before.trim_end().ends_with("..") {
            let at = before.trim_end().len() - 2;
            return Some(unexpected::bad_range(
                self.span(at..at + 2),
                "has no number behind its dots",
            ));
        }
        let comma = before.strip_suffix(',')?;
        let whole = comma.len() - comma.trim_end_matches(|c: char| c.is_ascii_digit()).len();
        if whole > 0 && first.is_some_and(|c| c.is_ascii_digit()) {
            let comma = self.span(self.at - 1..self.at);
            let number = self.span(self.at - 1 - whole..self.at + token(rest).len());
            return Some(number::decimal_comma(number, comma));
        }
        None
    }

    /// Names in quotes, with a `-` at the end, parted from their `[`; addresses without brackets.
    fn slip_of_names(&self) -> Option<Diagnostic> {
        let rest = self.rest();
        let before = self.before();
        if rest.starts_with('"')
            && (self.fits(Rule::name) || self.fits(Rule::reference))
            && !self.fits(Rule::text)
        {
            let quoted = token(rest);
            let name = quoted.trim_matches('"');
            return Some(unexpected::quoted_name(self.here(quoted.len()), name));
        }
        if rest.starts_with('-')
            && !rest.starts_with("->")
            && before.ends_with(|c: char| c.is_alphanumeric() || c == '_')
            || (before.ends_with('-')
                && !rest.starts_with(|c: char| c.is_alphanumeric() || c == '-'))
        {
            let end = if rest.starts_with('-') {
                self.at + 1
            } else {
                self.at
            };
            let name_end = self.text.get(..end)?.trim_end_matches('-');
            let word = name_end
                .rsplit(|c: char| !(c.is_alphanumeric() || "-_".contains(c)))
                .next()?;
            if word.starts_with(|c: char| c.is_alphabetic()) {
                let start = name_end.len() - word.len();
                let name = self.text.get(start..end)?;
                return Some(unexpected::hanging_hyphen(self.span(start..end), name));
            }
        }
        if rest.starts_with('[') && before.ends_with([' ', '\t']) {
            let word = before.trim_end();
            let name = word
                .rsplit(|c: char| !(c.is_alphanumeric() || "-_".contains(c)))
                .next()?;
            if name.starts_with(|c: char| c.is_alphabetic()) {
                return Some(unexpected::parted_members(self.here(1), name));
            }
        }
        if let Thing::Setting(_, "host") = self.thing {
            let value = self.text.get(4..)?.trim();
            let hex = |c: char| c.is_ascii_hexdigit() || c == ':' || c == '.';
            if value.matches(':').count() > 1 && value.chars().all(hex) {
                let start = self.text.len() - self.text.get(4..)?.trim_start().len();
                return Some(unexpected::bare_address(
                    self.span(start..start + value.len()),
                    value,
                ));
            }
        }
        None
    }

    /// First words that begin nothing, items that are not joined, two statements on a line.
    fn slip_of_joints(&self) -> Option<Diagnostic> {
        let rest = self.rest();
        if let Thing::Statement(word) = self.thing
            && self.at == 0
        {
            return Some(match word {
                "" => unexpected::no_statement(self.here(token(rest).len()), &found(rest)),
                word => unexpected::unknown_statement(self.here(word.len()), word),
            });
        }
        let begins_word = rest.starts_with(|c: char| c.is_alphabetic());
        if begins_word && self.fits(Rule::arrow_mark) && self.thing == Thing::Statement("wire") {
            let word = first_word(rest);
            return Some(unexpected::unjoined(self.here(word.len()), &found(rest)));
        }
        if self.fits(Rule::EOI) && begins_word && unexpected::is_keyword(first_word(rest)) {
            let word = first_word(rest);
            return Some(unexpected::second_on_line(
                self.here(word.len()),
                self.thing,
                &found(rest),
            ));
        }
        None
    }

    fn misfit(&self) -> Diagnostic {
        let rest = self.rest();
        let found = found(rest);
        let length = token(rest).len();
        // The end of a line is shown at its last letter, since there is nothing to point at behind it.
        let span = if length == 0 || rest.starts_with(['\n', '\r', '#', ';']) {
            let before = self.before().trim_end();
            let last = before.chars().next_back().map_or(0, char::len_utf8);
            self.span(before.len() - last..before.len())
        } else {
            self.here(length)
        };
        unexpected::misfit(span, self.thing, &found, &expected::words(&self.rules))
    }
}
