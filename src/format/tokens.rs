//! A text as words, marks and comments, with whether blanks stand before each.

use crate::source::quoted;

/// What a token is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Kind {
    /// Anything that is none of the others: names, numbers, references, operators.
    Word,
    /// A mark that lines are laid out by: `{`, `}`, `(`, `)`, `[`, `]`, `,`, `;`, `:`, `..`, `->`,
    /// `=`, `*`, `+`.
    Mark,
    /// `"…"`.
    Text,
    /// `# …`, without blanks at its end.
    Comment,
}

/// A token and what stands before it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Token<'a> {
    /// What it is.
    pub kind: Kind,
    /// Its text as written.
    pub text: &'a str,
    /// Whether blanks stand before it.
    pub gap: bool,
    /// How many line ends stand before it.
    pub lines: u32,
}

impl Token<'_> {
    /// Whether it is a certain mark.
    pub fn is(&self, mark: &str) -> bool {
        self.kind == Kind::Mark && self.text == mark
    }
}

/// Marks, longer ones first.
const MARKS: [&str; 14] = ["->", "..", "{", "}", "(", ")", "[", "]", ",", ";", ":", "=", "*", "+"];

/// The tokens of a text, in order.
pub struct Tokens<'a> {
    rest: &'a str,
    /// The unit that followed the last number without a blank.
    unit: Option<Token<'a>>,
}

impl<'a> Tokens<'a> {
    /// The tokens of a text.
    pub fn of(text: &'a str) -> Self {
        Self { rest: text, unit: None }
    }
}

impl<'a> Iterator for Tokens<'a> {
    type Item = Token<'a>;

    fn next(&mut self) -> Option<Token<'a>> {
        if let Some(unit) = self.unit.take() {
            return Some(unit);
        }
        let body = self.rest.trim_start_matches([' ', '\t', '\r', '\n']);
        let before = self.rest.len() - body.len();
        let blanks = self.rest.get(..before).unwrap_or("");
        if body.is_empty() {
            return None;
        }
        let (kind, length) = first(body);
        let (text, behind) = body.split_at_checked(length).unwrap_or((body, ""));
        self.rest = behind;
        let mut token = Token {
            kind,
            text: text.trim_end(),
            gap: !blanks.is_empty(),
            lines: u32::try_from(blanks.matches('\n').count()).unwrap_or(u32::MAX),
        };
        if kind == Kind::Word
            && let Some((number, unit)) = unit_in(text).and_then(|at| text.split_at_checked(at))
        {
            token.text = number;
            self.unit = Some(Token { text: unit, gap: true, lines: 0, ..token });
        }
        Some(token)
    }
}

/// The kind and length of the token that a text begins with.
fn first(text: &str) -> (Kind, usize) {
    let line = text.find('\n').unwrap_or(text.len());
    if text.starts_with('#') {
        return (Kind::Comment, line);
    }
    if let Some(rest) = text.strip_prefix('"') {
        return (Kind::Text, quoted::closing(rest.as_bytes()).map_or(line, |at| at + 2));
    }
    if let Some(length) = address(text) {
        return (Kind::Word, length);
    }
    if let Some(mark) = MARKS.iter().find(|mark| text.starts_with(**mark)) {
        return (Kind::Mark, mark.len());
    }
    let ends = |at: usize| {
        let here = text.get(at..).unwrap_or("");
        here.starts_with([' ', '\t', '\r', '\n', '#', '"'])
            || MARKS.iter().any(|mark| here.starts_with(mark))
    };
    let mut others = text.char_indices().filter(|(_, c)| !c.is_alphanumeric());
    let length = others.find(|(at, _)| ends(*at)).map(|(at, _)| at);
    (Kind::Word, length.unwrap_or(text.len()))
}

/// The length of `[fe80::1]` at the beginning of a text: the only brackets with a colon in them.
fn address(text: &str) -> Option<usize> {
    let inner = text.strip_prefix('[')?;
    let end = inner.find([']', '\n'])?;
    let within = inner.get(..end)?;
    (within.contains(':') && inner.get(end..)?.starts_with(']')).then_some(end + 2)
}

/// Where the unit begins in `12V` or `-0.5mm2`.
fn unit_in(word: &str) -> Option<usize> {
    let digits = word.strip_prefix('-').unwrap_or(word);
    if !digits.starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let number = |c: char| c.is_ascii_digit() || matches!(c, '.' | '_');
    let unit = digits.trim_start_matches(number);
    let is_unit = unit == "%"
        || crate::unit::find(unit).is_some() && unit.starts_with(|c: char| c.is_alphabetic());
    (is_unit && !digits.starts_with(['.', '_'])).then(|| word.len() - unit.len())
}

/// The tokens of a text that a layout must keep: all but `;`. A `->` counts as the comma that may
/// stand for it.
pub fn essence(text: &str) -> impl Iterator<Item = (Kind, &str)> {
    let all = Tokens::of(text).filter(|token| !token.is(";"));
    all.map(|token| {
        let text = if token.is("->") { "," } else { token.text };
        (token.kind, text)
    })
}
