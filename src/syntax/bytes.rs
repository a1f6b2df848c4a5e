//! Checks the characters of a text before it is parsed.
//!
//! Each fault is reported here, once. Where the meaning is clear (a typographic quote, a no-break
//! space), the parsed text has the plain character instead, padded to as many bytes, so that every
//! offset stays. Elsewhere the stretch is marked, and its statement is left out without a finding.

use super::byteset::ByteSet;
use super::statement::line_end;
use crate::diagnostic::{Sink, words};
use crate::rules::syntax::unexpected;
use crate::source::{Span, quoted};
use std::borrow::Cow;
use std::ops::Range;

/// A text ready to be parsed.
pub(super) struct Checked<'a> {
    /// The text, or a copy of the same length with plain characters in place of what was reported.
    pub text: Cow<'a, str>,
    /// Stretches that were reported; no second finding touches them.
    pub told: Vec<Range<usize>>,
    /// Those among them that make the statement around them unreadable.
    pub marred: Vec<Range<usize>>,
}

/// Checks a text that begins at `base` in the offset space.
pub(super) fn check<'a>(text: &'a str, base: u32, sink: &mut Sink) -> Checked<'a> {
    let mut checker = Checker {
        text,
        base,
        sink,
        edits: Vec::new(),
        told: Vec::new(),
        marred: Vec::new(),
        carriage_told: false,
        conflict: None,
        unended: false,
        uncommented: false,
    };
    checker.run();
    let text = match checker.edits.is_empty() {
        true => Cow::Borrowed(text),
        false => Cow::Owned(edited(text, &checker.edits)),
    };
    Checked { text, told: checker.told, marred: checker.marred }
}

/// A text with stretches replaced by letters and padded with blanks; line ends stay.
fn edited(text: &str, edits: &[(Range<usize>, &'static str)]) -> String {
    let mut out = String::with_capacity(text.len());
    let mut done = 0;
    for (range, letters) in edits {
        out.push_str(text.get(done..range.start).unwrap_or(""));
        let old = text.get(range.clone()).unwrap_or("");
        out.push_str(letters);
        let padding = old.bytes().skip(letters.len());
        out.extend(padding.map(|byte| if byte == b'\n' { '\n' } else { ' ' }));
        done = range.end;
    }
    out.push_str(text.get(done..).unwrap_or(""));
    out
}

struct Checker<'a, 's> {
    text: &'a str,
    base: u32,
    sink: &'s mut Sink,
    edits: Vec<(Range<usize>, &'static str)>,
    told: Vec<Range<usize>>,
    marred: Vec<Range<usize>>,
    carriage_told: bool,
    /// The `<<<<<<<` line of the conflict that is being read.
    conflict: Option<Range<usize>>,
    /// Whether no conflict ends in the rest of the text.
    unended: bool,
    /// Whether no `*/` stands in the rest of the text.
    uncommented: bool,
}

/// Where in a line a character stands.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Within {
    Code,
    Comment,
    /// In a quoted text, with the place of its opening quote.
    Quotes(usize),
}

/// Bytes that are always right: tabs and printable ASCII except quotes, backslashes, `#` and `/`.
const CALM: ByteSet = ByteSet::span(b' ', b'~').with(b"\t", true).with(b"\"#/\\", false);

impl Checker<'_, '_> {
    fn run(&mut self) {
        let bytes = self.text.as_bytes();
        let mut at = if self.text.starts_with('\u{feff}') {
            self.edits.push((0..3, " "));
            3
        } else {
            0
        };
        let mut within = Within::Code;
        at = self.conflict_marker(at);
        while let Some(byte) = bytes.get(at).copied() {
            match byte {
                b'\n' => {
                    if let Within::Quotes(open) = within {
                        self.unclosed_quote(open, at);
                    }
                    within = Within::Code;
                    at = self.conflict_marker(at + 1);
                }
                b'"' => {
                    within = match within {
                        Within::Code => Within::Quotes(at),
                        Within::Quotes(_) => Within::Code,
                        Within::Comment => within,
                    };
                    at += 1;
                }
                b'\\' => {
                    let rest = bytes.get(at..).unwrap_or_default();
                    let escaped = matches!(within, Within::Quotes(_)) && quoted::escape(rest) > 0;
                    at += if escaped { 2 } else { 1 };
                }
                b'#' => {
                    if within == Within::Code {
                        within = Within::Comment;
                    }
                    at += 1;
                }
                b'/' if within == Within::Code => at = self.slash(at),
                b'/' => at += 1,
                b'\r' if bytes.get(at + 1) == Some(&b'\n') => at += 1,
                byte if CALM.has(byte) => at += CALM.run(bytes.get(at..).unwrap_or_default()),
                byte if byte < 0x80 => at = self.control(at, byte, within),
                _ => at = self.wide(at, within),
            }
        }
        if let Within::Quotes(open) = within {
            self.unclosed_quote(open, bytes.len());
        }
        let open = self.conflict.take();
        self.half_conflict(open);
    }

    fn span(&self, range: &Range<usize>) -> Span {
        Span::new(self.base + range.start as u32, self.base + range.end as u32)
    }

    fn mar(&mut self, range: Range<usize>) {
        self.told.push(range.clone());
        self.marred.push(range);
    }

    fn repair(&mut self, range: Range<usize>, letters: &'static str) {
        self.told.push(range.clone());
        self.edits.push((range, letters));
    }

    fn unclosed_quote(&mut self, open: usize, end: usize) {
        let line = self.text.get(open..end).unwrap_or("").trim_end();
        let range = open..open + line.len();
        self.sink.push(unexpected::unclosed_quote(self.span(&range)));
        self.mar(range);
    }

    /// A `/`, which may begin a comment of another language; returns the place after it.
    ///
    /// No statement has `//` or `/*`, so what they begin is treated as a comment.
    fn slash(&mut self, at: usize) -> usize {
        let bytes = self.text.as_bytes();
        let link = at.checked_sub(1).and_then(|before| bytes.get(before)) == Some(&b':');
        let (mark, end) = match bytes.get(at + 1) {
            Some(b'/') if !link => ("//", line_end(bytes, at)),
            Some(b'*') => ("/*", self.comment_end(at)),
            _ => return at + 1,
        };
        let span = self.span(&(at..at + 2));
        self.sink.push(unexpected::foreign_comment(span, mark));
        self.repair(at..end, "");
        end
    }

    /// The end of a comment that `/*` begins: after its `*/`, or the line's end if it has none.
    fn comment_end(&mut self, at: usize) -> usize {
        let rest = self.text.get(at + 2..).unwrap_or("");
        let found = if self.uncommented { None } else { rest.find("*/") };
        self.uncommented = found.is_none();
        match found {
            Some(found) => at + 2 + found + 2,
            None => line_end(self.text.as_bytes(), at),
        }
    }

    /// A control character, or a run of the same one; returns the place after it.
    fn control(&mut self, at: usize, byte: u8, within: Within) -> usize {
        let rest = self.text.as_bytes().get(at..).unwrap_or_default();
        let length = rest.iter().position(|next| *next != byte).unwrap_or(rest.len());
        let range = at..at + length;
        let span = self.span(&range);
        if byte == b'\r' {
            if !self.carriage_told {
                self.sink.push(unexpected::lone_return(self.span(&(at..at + 1))));
            }
            self.carriage_told = true;
            for at in range.clone() {
                self.edits.push((at..at + 1, "\n"));
            }
            return range.end;
        }
        if byte == 0 && range.end == self.text.len() {
            self.sink.push(unexpected::zero_tail(span, length));
            self.repair(range.clone(), " ");
            return range.end;
        }
        self.sink.push(unexpected::control(span, char::from(byte), length));
        match within {
            Within::Code => self.repair(range.clone(), " "),
            // Not marked as reported, so that a mistake in the statement around it is reported too.
            Within::Comment => self.edits.push((range.clone(), " ")),
            Within::Quotes(_) => {}
        }
        range.end
    }

    /// A character beyond ASCII; returns the place after it.
    fn wide(&mut self, at: usize, within: Within) -> usize {
        let Some(c) = self.text.get(at..).and_then(|rest| rest.chars().next()) else {
            return at + 1;
        };
        let range = at..at + c.len_utf8();
        let span = self.span(&range);
        if is_hidden(c) {
            self.sink.push(unexpected::hidden(span, c));
            if within == Within::Code {
                self.mar(range.clone());
            }
        } else if matches!(c, '\u{80}'..='\u{9f}' | '\u{2028}' | '\u{2029}')
            || (c.is_whitespace() && within == Within::Code)
        {
            self.sink.push(unexpected::blank(span, c));
            if within == Within::Code {
                self.repair(range.clone(), " ");
            }
        } else if within == Within::Code
            && let Some(plain) = plain(c)
        {
            return self.typographic(range, c, plain);
        }
        range.end
    }

    /// A typographic character in place of a plain one; returns the place after it. A pair of
    /// quotes is one finding, at the first.
    fn typographic(&mut self, range: Range<usize>, c: char, plain: &'static str) -> usize {
        if plain != "\"" {
            self.sink.push(unexpected::typographic(self.span(&range), c, plain, None));
            self.repair(range.clone(), plain);
            return range.end;
        }
        let rest = self.text.get(range.end..).unwrap_or("");
        let found = rest
            .char_indices()
            .find(|(_, c)| matches!(c, '"' | '\n') || self::plain(*c) == Some("\""));
        let end = range.end + found.map_or(rest.len(), |(at, _)| at);
        let closing = found.filter(|(_, c)| *c != '\n').map(|(_, c)| end..end + c.len_utf8());
        let Some(closing) = closing else {
            self.sink.push(unexpected::typographic(self.span(&range), c, plain, None));
            self.mar(range.start..end);
            return end;
        };
        let other = self.span(&closing);
        let within = self.text.get(range.end..closing.start).unwrap_or("");
        if within.trim_start().starts_with(|c: char| c.is_ascii_digit())
            && !self.is_label(range.start)
        {
            self.sink.push(unexpected::bent_number(self.span(&range), other, within));
            self.repair(range, " ");
            self.repair(closing.clone(), " ");
            return closing.end;
        }
        self.sink.push(unexpected::typographic(self.span(&range), c, plain, Some(other)));
        self.repair(range, plain);
        self.repair(closing.clone(), plain);
        closing.end
    }

    /// Whether the word before a place takes a text in quotes.
    fn is_label(&self, at: usize) -> bool {
        let before = self.text.get(..at).unwrap_or("").trim_end();
        ["label", "enters", "display", "include", "stock"].iter().any(|word| before.ends_with(word))
    }

    /// A line left by a merge; returns the place where reading goes on.
    ///
    /// Only the first side is parsed, so that names are not reported as declared twice.
    fn conflict_marker(&mut self, at: usize) -> usize {
        let bytes = self.text.as_bytes();
        let marker = bytes.get(at..at + 7).unwrap_or_default();
        let ends = matches!(bytes.get(at + 7), None | Some(b' ' | b'\n' | b'\r'));
        if !ends {
            return at;
        }
        let line = at..line_end(bytes, at);
        match (marker, self.conflict.clone()) {
            (b"<<<<<<<", open) => {
                self.half_conflict(open);
                self.conflict = Some(line.clone());
                self.edits.push((line.clone(), ""));
            }
            (b"=======" | b"|||||||", Some(open)) => {
                self.conflict = None;
                let close = self.conflict_end(line.end);
                self.sink.push(unexpected::conflict(
                    self.span(&open),
                    Some(self.span(&line)),
                    close.as_ref().map(|close| self.span(close)),
                ));
                self.report(open);
                let end = close.map_or(line.end, |close| close.end);
                self.edits.push((line.start..end, ""));
                return end;
            }
            (b"=======" | b"|||||||", None) => {
                self.half_conflict(Some(line.clone()));
                self.edits.push((line.clone(), ""));
            }
            (b">>>>>>>", open) => {
                self.conflict = None;
                let (first, last) = match open {
                    Some(open) => (open, Some(self.span(&line))),
                    None => (line.clone(), None),
                };
                self.sink.push(unexpected::conflict(self.span(&first), None, last));
                self.edits.push((line.clone(), ""));
                self.told.push(line.clone());
            }
            _ => return at,
        }
        line.end
    }

    /// Reports a conflict of which only one marker is left.
    fn half_conflict(&mut self, marker: Option<Range<usize>>) {
        if let Some(marker) = marker {
            let span = self.span(&marker);
            self.sink.push(unexpected::conflict(span, None, None));
            self.report(marker);
        }
    }

    /// Adds a stretch to `told`, which is in order. Stretches after it may be in it already.
    fn report(&mut self, stretch: Range<usize>) {
        let before = self.told.partition_point(|told| told.start < stretch.start);
        self.told.insert(before, stretch);
    }

    /// The line that ends the conflict at `from`. Once a search finds none, no other is made.
    fn conflict_end(&mut self, from: usize) -> Option<Range<usize>> {
        if self.unended {
            return None;
        }
        let found = self.text.get(from..).and_then(|rest| rest.find("\n>>>>>>>"));
        self.unended = found.is_none();
        let start = from + found? + 1;
        Some(start..line_end(self.text.as_bytes(), start))
    }
}

/// Invisible characters that change what is read: zero-width ones and those that set a direction.
fn is_hidden(c: char) -> bool {
    c != '\u{2028}' && c != '\u{2029}' && !c.is_control() && words::is_unprintable(c)
        || c == '\u{ad}'
}

/// The plain characters that a typographic one stands for outside texts and comments.
fn plain(c: char) -> Option<&'static str> {
    Some(match c {
        '“' | '”' | '„' | '‟' | '«' | '»' | '″' => "\"",
        '–' | '—' | '…' | '‥' => "..",
        '−' | '‐' | '‑' => "-",
        '→' | '➔' | '⇒' => "->",
        '×' => "*",
        '，' => ",",
        '：' => ":",
        '；' => ";",
        _ => return None,
    })
}
