//! Cuts a text into statements, and the inside of a block into settings, so that one mistake does
//! not hide the next.
//!
//! It takes one pass over the bytes, and knows comments, quoted text, brackets, first words and
//! where a line goes on in the next. Only a text with a `{` that is never closed takes a second
//! pass.

use super::bare;
use super::byteset::ByteSet;
use crate::rules::syntax::unexpected::is_statement_word;
use crate::source::quoted;
use std::ops::Range;

/// The deepest that brackets of any kind may stand within each other.
pub(super) const MOST_NESTING: usize = 64;

/// A statement or setting: the place of its text, without blanks and comments around it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Slice {
    /// Its place.
    pub at: Range<usize>,
    /// What the cut found wrong with it.
    pub trouble: Option<Trouble>,
    /// Whether it holds a `{` or `}`.
    pub braces: bool,
}

/// Mistakes that the cut alone finds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Trouble {
    /// The bracket at this place stands deeper than allowed.
    Deep(usize),
    /// The `{` at this place is never closed.
    Unclosed(usize),
    /// A `}` closes it but no `{` opens it; its head ends at this place.
    Unopened(usize),
    /// The `}` at this place closes it, but settings and a further `}` follow.
    Early(usize),
    /// Its `{`, at this place, stands on the line below its head.
    Dropped(usize),
    /// A `(` stands at this place where its `{` belongs.
    Round(usize),
    /// It has neither `{` nor `}`; its head ends at this place.
    Bare(usize),
}

/// The result of a cut.
#[derive(Debug, Default)]
pub(super) struct Cut {
    /// The pieces in order.
    pub pieces: Vec<Slice>,
    /// Each `}` that closes nothing; of several in a row the first.
    pub stray: Vec<usize>,
    /// Where the cut ended: after the text, or at the `}` that closes the block.
    pub end: usize,
}

/// Cuts a whole text into statements.
pub(super) fn statements(text: &str) -> Cut {
    let mut first = Cutter::new(text, 0..text.len(), true);
    first.run(&[]);
    let mut cut = if first.open_braces.is_empty() {
        first.cut
    } else {
        let unclosed = first.open_braces;
        let mut second = Cutter::new(text, 0..text.len(), true);
        second.run(&unclosed);
        second.cut
    };
    bare::join(text, &mut cut.pieces);
    cut
}

/// Cuts the inside of a block into settings, up to the `}` that closes it or the stretch's end.
pub(super) fn settings(text: &str, inside: Range<usize>) -> Cut {
    let mut cutter = Cutter::new(text, inside, false);
    cutter.run(&[]);
    cutter.cut
}

/// The first `{` of a stretch outside comments and quoted text.
pub(super) fn first_brace(text: &str, within: Range<usize>) -> Option<usize> {
    let bytes = text.as_bytes();
    let mut at = within.start;
    while at < within.end {
        match bytes.get(at)? {
            b'{' => return Some(at),
            b'"' => at = behind_quote(bytes, at),
            b'#' => at = line_end(bytes, at),
            _ => at += 1,
        }
    }
    None
}

/// The end of the line that holds a place.
pub(super) fn line_end(bytes: &[u8], at: usize) -> usize {
    let rest = bytes.get(at..).unwrap_or_default();
    rest.iter().position(|byte| *byte == b'\n').map_or(bytes.len(), |length| at + length)
}

/// The place after the text whose opening quote stands at `at`: after its closing quote, or at the
/// end of the line if it has none.
fn behind_quote(bytes: &[u8], at: usize) -> usize {
    let rest = bytes.get(at + 1..).unwrap_or_default();
    match quoted::closing(rest) {
        Some(length) => at + length + 2,
        None => line_end(bytes, at),
    }
}

/// Whether a statement certainly begins at a place, which is the first of its line.
///
/// `chip` and `node` also begin settings, so they need a name and a `{` after them.
pub(super) fn begins_statement(text: &str, at: usize) -> bool {
    let line = text.get(at..line_end(text.as_bytes(), at)).unwrap_or("");
    let end = line.find(|c: char| !c.is_ascii_lowercase()).unwrap_or(line.len());
    let (word, rest) = line.split_at(end);
    let after = rest.trim_start_matches([' ', '\t']);
    if after.len() == rest.len() {
        return false;
    }
    let joined =
        |word: &str| after.strip_prefix(word).is_some_and(|rest| rest.starts_with([' ', '\t']));
    if is_statement_word(word) {
        let begins = |c: char| c.is_alphabetic() || c == '"' || c == '{';
        return after.starts_with(begins) && !joined("at") && !joined("by");
    }
    matches!(word, "chip" | "node")
        && after.split_once('{').is_some_and(|(name, _)| !name.contains(['#', '"', ';', '}']))
}

/// Whether a statement's first word is one that takes a `{ }`.
pub(super) fn heads_block(text: &str) -> bool {
    ["prop", "controller", "receiver", "supply", "circuit", "display", "chip", "node"]
        .iter()
        .filter_map(|word| text.strip_prefix(word))
        .any(|rest| rest.is_empty() || rest.starts_with([' ', '\t']))
}

struct Cutter<'a> {
    text: &'a str,
    within: Range<usize>,
    /// Whether a whole text is cut: a surplus `}` is then stray, not the end.
    whole: bool,
    cut: Cut,
    /// Open `{`, or a `(` in place of one. Other brackets end with their statement, so they are
    /// only counted.
    open_braces: Vec<usize>,
    open_others: usize,
    start: Option<usize>,
    last: usize,
    goes_on: bool,
    line_ended: bool,
    braces: bool,
    deep: Option<usize>,
    dropped: Option<usize>,
    /// The `(` that stands where the `{` of this piece belongs.
    round: Option<usize>,
    /// Whether this piece has had a `(`: only the first can stand where a `{` belongs.
    bracketed: bool,
    /// Whether only `}` have been read since the last stray one.
    after_stray: bool,
}

/// Bytes that mean nothing to the cut, such as those of words and numbers.
const PLAIN: ByteSet = ByteSet::but(b" \t\r\n#\"{}()[];,:>");

impl<'a> Cutter<'a> {
    fn new(text: &'a str, within: Range<usize>, whole: bool) -> Self {
        Self {
            text,
            whole,
            cut: Cut::default(),
            open_braces: Vec::new(),
            open_others: 0,
            start: None,
            last: within.start,
            goes_on: false,
            line_ended: false,
            braces: false,
            deep: None,
            dropped: None,
            round: None,
            bracketed: false,
            after_stray: false,
            within,
        }
    }

    fn run(&mut self, unclosed: &[usize]) {
        let bytes = self.text.as_bytes();
        let mut at = self.within.start;
        while at < self.within.end {
            let Some(byte) = bytes.get(at).copied() else {
                break;
            };
            match byte {
                b' ' | b'\t' | b'\r' => at += 1,
                b'\n' => {
                    self.line_ended = true;
                    at += 1;
                }
                b'#' => at = line_end(bytes, at),
                b';' => {
                    self.open_others = 0;
                    if self.open_braces.is_empty() {
                        self.finish(None);
                    }
                    self.goes_on = false;
                    self.line_ended = false;
                    at += 1;
                }
                _ => {
                    if self.line_ended {
                        self.begin_line(at, unclosed);
                    }
                    if byte == b'}' && self.close_brace(at) {
                        self.cut.end = at;
                        return;
                    }
                    at = self.significant(byte, at);
                }
            }
        }
        self.cut.end = self.within.end;
        let trouble = self.open_braces.first().map(|brace| Trouble::Unclosed(*brace));
        self.finish(trouble);
    }

    /// Decides, at the first word or mark of a line, whether the line continues the one before it.
    fn begin_line(&mut self, at: usize, unclosed: &[usize]) {
        self.line_ended = false;
        let arrow = self.text.as_bytes().get(at..at + 2) == Some(b"->");
        let joined = arrow || self.begins_with_joint(at);
        let fresh = (!self.goes_on && !joined) || (self.goes_on && begins_statement(self.text, at));
        if !fresh {
            return;
        }
        self.open_others = 0;
        match self.open_braces.last() {
            None if self.drops_brace(at) => self.dropped = Some(at),
            None => self.finish(None),
            Some(brace)
                if unclosed.binary_search(brace).is_ok() && begins_statement(self.text, at) =>
            {
                let outermost = self.open_braces.first().map(|brace| Trouble::Unclosed(*brace));
                self.open_braces.clear();
                self.finish(outermost);
            }
            Some(_) => {}
        }
    }

    /// Whether a line begins with a mark that can only follow something. That is a mistake; the
    /// line is joined to what stands before it, so that it gives one finding.
    fn begins_with_joint(&self, at: usize) -> bool {
        let mark = self.text.as_bytes().get(at).copied().unwrap_or(b' ');
        let after_block = self.braces && self.open_braces.is_empty();
        b",:=)]+*/.".contains(&mark) && !after_block
    }

    /// Whether a `{` that begins a line belongs to the head on the line above.
    fn drops_brace(&self, at: usize) -> bool {
        let head = self.start.and_then(|start| self.text.get(start..self.last));
        !self.braces
            && self.text.as_bytes().get(at) == Some(&b'{')
            && head.is_some_and(|head| heads_block(head) || !self.whole)
    }

    /// Takes a `}`; true if it closes the block whose inside is being cut.
    fn close_brace(&mut self, at: usize) -> bool {
        self.open_others = 0;
        if self.open_braces.pop().is_some() {
            return false;
        }
        self.finish(None);
        if self.whole {
            self.stray_brace(at);
        }
        !self.whole
    }

    /// A `}` that closes nothing: one too many, or a `{` is missing further up.
    fn stray_brace(&mut self, at: usize) {
        if std::mem::replace(&mut self.after_stray, true) {
            return;
        }
        let found = self.headless(at).or_else(|| self.closed_early(at));
        match found {
            Some((index, mut piece)) => {
                // A bracket too deep stays the trouble of the joined piece: pest must not read it.
                let deep = |piece: &Slice| piece.trouble.filter(|t| matches!(t, Trouble::Deep(_)));
                let deep = self.cut.pieces.iter().skip(index).find_map(deep);
                piece.trouble = deep.or(piece.trouble);
                self.cut.pieces.truncate(index);
                self.cut.pieces.push(piece);
            }
            None => self.cut.stray.push(at),
        }
    }

    /// The pieces since the last stray `}`, last first, at most 100.
    fn before_stray(&self) -> impl Iterator<Item = (usize, &Slice)> {
        const MOST_BACK: usize = 100;
        let stray = self.cut.stray.last().copied().unwrap_or(0);
        let pieces = self.cut.pieces.iter().enumerate().rev();
        pieces.take(MOST_BACK).take_while(move |(_, piece)| piece.at.start >= stray)
    }

    /// `prop lamp` and settings, closed by a `}` that nothing opens.
    fn headless(&self, close: usize) -> Option<(usize, Slice)> {
        let mut head = None;
        for (index, piece) in self.before_stray() {
            let text = self.text.get(piece.at.clone()).unwrap_or("");
            let begins = begins_statement(self.text, piece.at.start);
            // A setting may have a block of its own; a statement with a block is complete.
            if piece.braces && (begins || heads_block(text)) {
                break;
            }
            if heads_block(text) {
                head = Some((index, piece));
            }
            if begins {
                break;
            }
        }
        let (index, piece) = head?;
        Some((
            index,
            Slice {
                at: piece.at.start..close + 1,
                trouble: Some(Trouble::Unopened(piece.at.end)),
                braces: true,
            },
        ))
    }

    /// A block, then settings and a `}` that closes nothing: the block was closed too early.
    fn closed_early(&self, close: usize) -> Option<(usize, Slice)> {
        let mut between = self.before_stray().skip_while(|(_, piece)| {
            let text = self.text.get(piece.at.clone()).unwrap_or("");
            !piece.braces && !begins_statement(self.text, piece.at.start) && !heads_block(text)
        });
        let (index, block) = between.next()?;
        let alone = index + 1 == self.cut.pieces.len();
        let last = block.at.end - 1;
        // More may follow the `}` on its line.
        let closed = self.text.as_bytes().get(last) == Some(&b'}');
        if alone || !block.braces || block.trouble.is_some() || !closed {
            return None;
        }
        Some((
            index,
            Slice {
                at: block.at.start..close + 1,
                trouble: Some(Trouble::Early(last)),
                braces: true,
            },
        ))
    }

    /// Takes a mark or word, but no blank, line end or `;`; returns the place after it.
    fn significant(&mut self, byte: u8, at: usize) -> usize {
        let bytes = self.text.as_bytes();
        if byte == b'}' && self.start.is_none() {
            // Stray: it belongs to no piece.
            self.goes_on = false;
            return at + 1;
        }
        self.start.get_or_insert(at);
        self.after_stray = false;
        self.goes_on = false;
        let behind = match byte {
            b'"' => behind_quote(bytes, at),
            b',' | b':' => {
                self.goes_on = true;
                at + 1
            }
            b'>' => {
                self.goes_on =
                    at.checked_sub(1).and_then(|before| bytes.get(before)) == Some(&b'-');
                at + 1
            }
            b'{' | b'(' | b'[' => {
                self.goes_on = true;
                if byte == b'(' && self.opens_block(at) {
                    self.round = Some(at);
                    self.open_braces.push(at);
                    self.braces = true;
                } else if byte == b'{' {
                    self.open_braces.push(at);
                    self.braces = true;
                } else {
                    self.open_others += 1;
                }
                if self.open_braces.len() + self.open_others > MOST_NESTING {
                    self.deep.get_or_insert(at);
                }
                at + 1
            }
            b')' if self.open_others == 0 && self.closes_block() => {
                self.open_braces.pop();
                at + 1
            }
            b')' | b']' => {
                self.open_others = self.open_others.saturating_sub(1);
                at + 1
            }
            b'}' => at + 1,
            _ => at + 1 + PLAIN.run(bytes.get(at + 1..).unwrap_or_default()),
        };
        self.last = behind.min(self.within.end);
        behind
    }

    /// Whether a `(` stands where the `{` of a block belongs: after a head, before a setting.
    fn opens_block(&mut self, at: usize) -> bool {
        if std::mem::replace(&mut self.bracketed, true) {
            return false;
        }
        let head = self.start.and_then(|start| self.text.get(start..at));
        let name = |c: char| c.is_alphanumeric() || "_-\"".contains(c);
        let heads = |head: &str| heads_block(head) && head.trim_end().ends_with(name);
        if !self.whole || self.braces || !head.is_some_and(heads) {
            return false;
        }
        let line = self.text.get(at + 1..line_end(self.text.as_bytes(), at));
        line.is_some_and(|line| {
            let setting = line.trim_start();
            let begins = setting.is_empty() || setting.starts_with(char::is_alphabetic);
            begins && !line.contains('{')
        })
    }

    /// Whether a `)` closes a `(` that stands in place of a `{`.
    fn closes_block(&self) -> bool {
        self.round.is_some() && self.open_braces.as_slice() == self.round.as_slice()
    }

    /// Ends the current piece, if there is one.
    fn finish(&mut self, trouble: Option<Trouble>) {
        self.goes_on = false;
        let deep = self.deep.take().map(Trouble::Deep);
        let dropped = self.dropped.take().map(Trouble::Dropped);
        self.bracketed = false;
        let round = self.round.take().map(Trouble::Round);
        let braces = std::mem::take(&mut self.braces);
        if let Some(start) = self.start.take() {
            self.cut.pieces.push(Slice {
                at: start..self.last,
                trouble: deep.or(round).or(trouble).or(dropped),
                braces,
            });
        }
    }
}
