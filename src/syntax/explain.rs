//! The finding for a failed parse: a common mistake if one is recognised, otherwise what would have
//! fitted.

mod names;

use super::{Rule, expected, first_word, plain::plain};
use crate::diagnostic::{Diagnostic, words};
use crate::rules::net::host;
use crate::rules::syntax::number;
use crate::rules::syntax::unexpected::{self, Thing};
use crate::source::{Span, quoted};
use pest::error::{Error, ErrorVariant, InputLocation};
use std::ops::Range;

/// The offset in the parsed text, of `length` bytes, where a parse failed.
pub(super) fn place(error: &Error<Rule>, length: usize) -> usize {
    let at = match error.location {
        InputLocation::Pos(at) => at,
        InputLocation::Span((start, _)) => start,
    };
    at.min(length)
}

/// What a text begins with, in words: "`heron`", "the number 5", "the end of the line".
pub(super) fn found(text: &str) -> String {
    let token = token(text);
    match token.chars().next() {
        None | Some('\n' | '\r' | '#' | ';') => "the end of the line".to_owned(),
        Some(' ' | '\t') => "a blank".to_owned(),
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
        let end = quoted::closing(inner.as_bytes());
        end.map_or(text.len(), |at| at + 2)
    } else if first.is_ascii_digit() {
        text.find(|c: char| !(c.is_ascii_digit() || c == '_')).unwrap_or(text.len())
    } else if first.is_alphabetic() {
        first_word(text).len()
    } else if ["->", ".."].iter().any(|mark| text.starts_with(mark)) {
        2
    } else {
        first.len_utf8()
    };
    text.get(..length).unwrap_or(text)
}

/// How many digits a text ends in.
fn trailing_digits(text: &str) -> usize {
    text.len() - text.trim_end_matches(|c: char| c.is_ascii_digit()).len()
}

/// How many digits a text begins with.
fn leading_digits(text: &str) -> usize {
    text.len() - text.trim_start_matches(|c: char| c.is_ascii_digit()).len()
}

/// A stretch that did not parse.
struct Failure<'a> {
    /// The text of the stretch, without comments.
    text: &'a str,
    /// Where in it the parse failed.
    at: usize,
    /// Where the stretch begins in the offset space.
    base: u32,
    thing: Thing<'a>,
    rules: Vec<Rule>,
    /// The brace that follows the stretch, if one does, and its offset from the stretch's start.
    brace: Option<(char, usize)>,
}

/// The finding for a stretch of `text` that did not parse.
pub(super) fn explain(
    text: &str,
    range: Range<usize>,
    base: u32,
    error: &Error<Rule>,
    thing: Thing<'_>,
) -> Diagnostic {
    let stretch = plain(text.get(range.clone()).unwrap_or(""));
    let rules = match &error.variant {
        ErrorVariant::ParsingError { positives, .. } => positives.clone(),
        ErrorVariant::CustomError { .. } => Vec::new(),
    };
    let behind = text.get(range.end..).unwrap_or("");
    let blanks = behind.len() - behind.trim_start_matches([' ', '\t']).len();
    let brace = behind.chars().nth(blanks).filter(|c| matches!(c, '{' | '}'));
    let failure = Failure {
        brace: brace.map(|brace| (brace, stretch.len() + blanks)),
        text: &stretch,
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

    /// The place of the `length` bytes at which the parse failed.
    fn here(&self, length: usize) -> Span {
        self.span(self.at..self.at + length)
    }

    fn fits(&self, rule: Rule) -> bool {
        self.rules.contains(&rule)
    }

    /// `=` and `:`, links and bare addresses, other quotes, other arrows.
    fn slip_of_marks(&self) -> Option<Diagnostic> {
        let rest = self.rest();
        if let Thing::Setting(_, key) = self.thing {
            if key == "host" && self.text.contains("://") {
                let value = self.text.get(key.len()..)?.trim_start_matches([' ', '\t', ':']);
                return Some(unexpected::link(
                    self.span(self.text.len() - value.len()..self.text.len()),
                ));
            }
            let value = self.text.get(key.len()..).unwrap_or("").trim_start();
            if key == "host"
                && value.contains('.')
                && value.bytes().all(|b| b == b'.' || b.is_ascii_digit())
            {
                let start = self.text.len() - value.len();
                return Some(host::unlawful(self.span(start..self.text.len()), value));
            }
            if let Some(finding) = self.bare_address(key).or_else(|| self.mark_after_words(key)) {
                return Some(finding);
            }
        }
        if let Some(finding) = self.parted_line() {
            return Some(finding);
        }
        let joined = self.before().trim_end().ends_with("->");
        if rest.starts_with("->") && joined {
            return Some(unexpected::second_arrow(self.here(2)));
        }
        if rest.starts_with("->") && matches!(self.thing, Thing::Setting(_, "string")) {
            return Some(unexpected::runs_without_colon(self.here(2)));
        }
        for arrow in ["=>", "-->", "->>", "==>", "- >"] {
            if rest.starts_with(arrow) {
                return Some(unexpected::other_arrow(self.here(arrow.len()), arrow));
            }
        }
        if self.fits(Rule::arrow_mark) {
            let arrows = ["--", "<-", ">>", ">", "+", "&", "|"];
            if let Some(arrow) = arrows.iter().find(|arrow| rest.starts_with(**arrow)) {
                return Some(unexpected::other_arrow(self.here(arrow.len()), arrow));
            }
        }
        if self.before().ends_with("->") && rest.starts_with('>') {
            return Some(unexpected::other_arrow(self.span(self.at - 2..self.at + 1), "->>"));
        }
        let quote = rest.chars().next().filter(|c| matches!(c, '\'' | '`' | '‘' | '’'))?;
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
        if let Some(finding) = self.unbracketed_members() {
            return Some(finding);
        }
        if let Some(behind) = rest.strip_prefix('.') {
            if before.ends_with("..") {
                return Some(unexpected::bad_range(
                    self.span(self.at - 2..self.at + 1),
                    "has three dots",
                ));
            }
            if behind.starts_with('.') {
                return Some(unexpected::bad_range(self.here(2), "has no number before its dots"));
            }
            if behind.starts_with(|c: char| c.is_ascii_digit()) && self.fits(Rule::number) {
                let digits = token(behind).len();
                return Some(number::bare_point(self.here(1 + digits)));
            }
        }
        if rest.starts_with('-') && self.fits(Rule::dots) {
            let (left, right) = (trailing_digits(before), leading_digits(rest.get(1..)?));
            if left > 0 && right > 0 {
                let range = self.span(self.at - left..self.at + 1 + right);
                let from = before.get(self.at - left..)?;
                let to = rest.get(1..1 + right)?;
                let dots = format!("{from}..{to}");
                return Some(unexpected::dashed_range(range, self.here(1), &dots));
            }
        }
        if let Some(finding) = self.worded_range() {
            return Some(finding);
        }
        if before.trim_end().ends_with("..") {
            let at = before.trim_end().len() - 2;
            return Some(unexpected::bad_range(
                self.span(at..at + 2),
                "has no number after its dots",
            ));
        }
        let whole = trailing_digits(before.strip_suffix(',')?);
        if whole > 0 && first.is_some_and(|c| c.is_ascii_digit()) {
            let comma = self.span(self.at - 1..self.at);
            let number = self.span(self.at - 1 - whole..self.at + token(rest).len());
            let written = self.text.get(self.at - 1 - whole..self.at + token(rest).len())?;
            let head = before.get(..self.at - 1 - whole)?.trim_end();
            return Some(match head.ends_with(" at") {
                true => number::pin_with_comma(number, written),
                false => number::decimal_comma(number, comma, written, true),
            });
        }
        None
    }

    /// `1 to 4`.
    fn worded_range(&self) -> Option<Diagnostic> {
        let before = self.before().trim_end_matches([' ', '\t']);
        let left = trailing_digits(before);
        let rest = self.rest();
        let (word, behind) = match rest.strip_prefix("to") {
            Some(behind) => ("to", behind),
            None if !self.fits(Rule::colon) => (":", rest.strip_prefix(':')?),
            None => return None,
        };
        let end = behind.trim_start_matches([' ', '\t']);
        let right = leading_digits(end);
        if left == 0 || right == 0 || !self.fits(Rule::dots) {
            return None;
        }
        let start = before.len() - left;
        let length = self.text.len() - end.len() + right;
        let (from, to) = (before.get(start..)?, end.get(..right)?);
        Some(unexpected::worded_range(self.span(start..length), word, (from, to)))
    }

    /// A line that begins with a mark that can only follow something.
    fn parted_line(&self) -> Option<Diagnostic> {
        let rest = self.rest();
        let behind = rest.trim_start();
        let between = rest.get(..rest.len() - behind.len())?;
        let mark = behind.chars().next().filter(|c| ",:=)]+*/.".contains(*c))?;
        let at = self.text.len() - behind.len();
        let begins =
            between.contains('\n') || self.before().trim_end_matches([' ', '\t']).ends_with('\n');
        begins
            .then(|| unexpected::parted_line(self.span(at..at + 1), mark.encode_utf8(&mut [0; 4])))
    }

    /// `host fe80::1`.
    fn bare_address(&self, key: &str) -> Option<Diagnostic> {
        let value = self.text.get(key.len()..)?.trim_start();
        let hex = |c: char| c.is_ascii_hexdigit() || c == ':' || c == '.';
        if key != "host" || value.matches(':').count() < 2 || !value.chars().all(hex) {
            return None;
        }
        let start = self.text.len() - value.len();
        Some(unexpected::bare_address(self.span(start..self.text.len()), value))
    }

    /// `host: 192.168.40.11`, `frame rate = 40 Hz`.
    fn mark_after_words(&self, key: &str) -> Option<Diagnostic> {
        let at = self.text.find([':', '='])?;
        let words = self.text.get(..at)?;
        let plain = words.chars().all(|c| c.is_alphabetic() || "-_ \t".contains(c));
        let mark = self.text.get(at..at + 1)?;
        if !plain || words.is_empty() || at > self.at || (mark == ":" && key == "string") {
            return None;
        }
        let span = self.span(at..at + 1);
        Some(unexpected::mark_after_key(span, mark, words.trim_end()))
    }

    /// First words that begin no statement, items without `->`, two statements on a line.
    fn slip_of_joints(&self) -> Option<Diagnostic> {
        let rest = self.rest();
        if self.at == 0
            && let Some(finding) = self.wrong_beginning()
        {
            return Some(finding);
        }
        let begins_word = rest.starts_with(|c: char| c.is_alphabetic());
        let word = first_word(rest);
        // `wire a.1: b wire a.2: c`: a keyword with a name after it begins a statement.
        let behind = rest.get(word.len()..).unwrap_or("").trim_start_matches([' ', '\t']);
        let statement = unexpected::is_keyword(word) && behind.starts_with(char::is_alphabetic);
        if statement && (self.fits(Rule::EOI) || self.fits(Rule::comma)) {
            let span = self.here(word.len());
            return Some(unexpected::second_on_line(span, self.thing, &found(rest)));
        }
        if begins_word && let Some(finding) = self.unjoined(word, behind) {
            return Some(finding);
        }
        if self.thing == Thing::Statement("reserve")
            && self.fits(Rule::universes_word)
            && rest.starts_with(|c: char| c.is_ascii_digit())
        {
            let length = rest.find([' ', '\t', '"']).unwrap_or(rest.len());
            let range = rest.get(..length).unwrap_or(rest);
            let finding = unexpected::reserve_of_what(self.here(length), rest.trim_end());
            return (!range.is_empty()).then_some(finding);
        }
        if self.thing == Thing::Statement("reserve") && self.fits(Rule::text) && begins_word {
            let reason = rest.lines().next().unwrap_or("").trim_end();
            let span = self.here(reason.len());
            return Some(unexpected::reason_without_quotes(span, reason));
        }
        if let Some(finding) = self.second_range() {
            return Some(finding);
        }
        self.slip_of_signs(begins_word, word)
    }

    /// A first word or mark that begins no statement or setting.
    fn wrong_beginning(&self) -> Option<Diagnostic> {
        let rest = self.rest();
        let begins = rest.starts_with(char::is_alphabetic);
        let here = self.here(token(rest).len());
        match self.thing {
            Thing::Statement(word) if begins => {
                Some(unexpected::unknown_statement(self.here(word.len()), word))
            }
            Thing::Statement(_) => Some(unexpected::no_statement(here, &found(rest))),
            Thing::Setting(of, _) => {
                (!begins).then(|| unexpected::no_setting(here, &found(rest), of))
            }
        }
    }

    /// A missing or wrong mark or word; `word` is the one at which the parse failed, if it is one.
    fn slip_of_signs(&self, begins_word: bool, word: &str) -> Option<Diagnostic> {
        let rest = self.rest();
        if let Some(rest) = rest.strip_prefix('@').filter(|_| self.fits(Rule::at_word)) {
            let place = rest.trim_start();
            let end = place.find(|c: char| c.is_whitespace() || c == ',').unwrap_or(place.len());
            let place = place.get(..end).unwrap_or(place);
            return Some(unexpected::sign_for_at(self.here(1), place));
        }
        if let Some(behind) = rest.strip_prefix("->").filter(|_| self.fits(Rule::colon)) {
            let (before, behind) = (self.before().trim_end(), behind.trim());
            return Some(unexpected::colon_missing(self.here(2), before, behind));
        }
        let number = token(rest);
        let target = self.before().trim_end();
        if self.fits(Rule::equals) && self.thing == Thing::Statement("let") && !number.is_empty() {
            let (here, value) = (self.here(number.len()), rest.trim_end());
            return Some(unexpected::equals_missing(here, target, value));
        }
        if number.starts_with(|c: char| c.is_ascii_digit())
            && self.fits(Rule::colon)
            && self.thing == Thing::Statement("wire")
            && target.ends_with(char::is_alphanumeric)
        {
            let meant = format!("{target}.{number}");
            return Some(unexpected::parted_port(self.here(number.len()), &meant));
        }
        let worded = target.rsplit_once([' ', '\t']).filter(|(before, word)| {
            let at = before.trim_end().ends_with(" at");
            at && ["universe", "universes", "slot", "slots"].contains(word)
        });
        if let Some((before, word)) = worded.filter(|_| number.starts_with(char::is_numeric)) {
            let start = before.len() + 1;
            let span = self.span(start..start + word.len());
            return Some(unexpected::worded_pin(span, word, number));
        }
        if begins_word && self.fits(Rule::colon) && self.thing == Thing::Statement("wire") {
            let before = self.before().trim_end();
            let span = self.here(word.len());
            return Some(unexpected::colon_missing(span, before, word));
        }
        None
    }

    /// Items of a chain without `->` between them: the word at which the parse failed, and what
    /// follows it.
    fn unjoined(&self, word: &str, behind: &str) -> Option<Diagnostic> {
        if !self.fits(Rule::arrow_mark) || self.thing != Thing::Statement("wire") {
            return None;
        }
        let before = self.before().trim_end();
        let item = before.rsplit([':', ',', '>']).next().unwrap_or(before);
        let item = item.trim_start();
        if item == "prop" {
            let start = before.len() - item.len();
            return Some(unexpected::kind_in_chain(self.span(start..self.at), word));
        }
        let words = [(item, before.len() - item.len()), (word, self.at)];
        let own = words.iter().find_map(|(word, start)| {
            unexpected::word_in_chain(self.span(*start..*start + word.len()), word)
        });
        if own.is_some() {
            return own;
        }
        // `fox and owl`: the word joins them.
        let joins = ["and", "then", "to", "plus"].contains(&word);
        let end = behind.find([' ', '\t', '\n', ',']).unwrap_or(behind.len());
        let next = behind.get(..end).unwrap_or("");
        Some(match joins && !next.is_empty() {
            true => unexpected::joined_in_words(self.here(word.len()), item, word, next),
            false => unexpected::unjoined(self.here(word.len()), item, word),
        })
    }

    /// `power c.1..12, c.17 from …`, `inject a, b at end …`.
    fn second_range(&self) -> Option<Diagnostic> {
        let Thing::Statement(statement @ ("power" | "inject")) = self.thing else {
            return None;
        };
        let behind = self.rest().strip_prefix(',')?;
        let first = self.before().trim().strip_prefix(statement)?.trim();
        let next = behind.split_whitespace().next()?.trim_end_matches(',');
        let whole = |text: &str| !text.is_empty() && !text.contains([' ', '\t', '"']);
        let word = if statement == "power" { "from" } else { "at" };
        (whole(first) && whole(next))
            .then(|| unexpected::second_range(self.here(1), statement, (first, next), word))
    }

    fn misfit(&self) -> Diagnostic {
        let rest = self.rest();
        let ends = match (self.thing, self.brace) {
            (_, Some(('{', _))) => "`{`",
            (Thing::Setting(..), _) => "the end of the setting",
            (Thing::Statement(_), _) => "the end of the line",
        };
        let fits = expected::words(&self.rules, ends);
        let length = token(rest).len();
        if rest.starts_with(char::is_alphabetic) {
            let word = token(rest);
            let plain =
                fits.iter().map(|fit| fit.trim_matches('`')).filter(|fit| !fit.contains(' '));
            if let Some(near) = words::nearest(word, plain).first().filter(|near| near.len() > 1) {
                return unexpected::near_word(self.here(length), self.thing, word, near);
            }
        }
        if let Some(finding) = self.name_of_head() {
            return finding;
        }
        if length > 0 && !rest.starts_with(['\n', '\r', '#', ';']) {
            return unexpected::misfit(self.here(length), self.thing, &found(rest), &fits);
        }
        if let Some((brace, at)) = self.brace {
            let span = self.span(at..at + 1);
            return unexpected::misfit(span, self.thing, &format!("`{brace}`"), &fits);
        }
        // The end of a line has nothing to point at, so its last letter is marked.
        let before = self.before().trim_end();
        let last = before.chars().next_back().map_or(0, char::len_utf8);
        let span = self.span(before.len() - last..before.len());
        unexpected::misfit(span, self.thing, &found(rest), &fits)
    }
}
