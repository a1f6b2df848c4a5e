//! From text to tree: `(text) → (Ast, findings)`. It cannot fail.
//!
//! Characters are checked first ([`bytes`]). Then the text is cut into statements ([`statement`]),
//! which pest reads in stretches of about 1 KiB with `grammar/tinsel.pest`. If a stretch does not
//! parse, each of its statements is read alone; if a block does not parse, its head and each of its
//! settings are. What still does not parse is reported once, at its place ([`explain`]), and left
//! out; its words go to [`Ast::mentioned`]. [`lower`] makes the tree.
//!
//! Time and memory grow in proportion to the text: every part is read at most three times, and each
//! thread holds the pairs of one stretch at a time.

mod bare;
mod bytes;
mod byteset;
mod expected;
mod explain;
mod lower;
mod parallel;
mod plain;
mod statement;
#[cfg(test)]
mod tests;
mod value;

use crate::ast::{Ast, Block, BlockKind, Body, Ident, Setting, Statement, StatementKind};
use crate::diagnostic::Sink;
use crate::rules::syntax::unexpected::{self, Thing};
use crate::source::{SourceFile, Span};
use bytes::Checked;
use lower::Lower;
use pest::Parser as _;
use pest::error::Error;
use pest::iterators::Pairs;
use plain::plain;
use statement::{Slice, Trouble};
use std::ops::Range;

/// The parser that pest derives from the grammar, in a module since pest makes its rules public.
mod grammar {
    #![allow(
        missing_docs,
        reason = "pest writes one doc comment a rule, but none for the enum itself"
    )]

    /// The parser made from the grammar.
    #[derive(pest_derive::Parser)]
    #[grammar = "../grammar/tinsel.pest"]
    pub(super) struct Grammar;
}

use grammar::{Grammar, Rule};

/// How many bytes of statements pest reads at once: few enough that its pairs stay in the
/// processor's cache and in memory that the process already has.
const STRETCH: usize = 1024;

/// How many stretches are read before their results are collected, to limit the memory they take.
const BATCH: usize = 1024;

/// The most bytes of one statement without a block, or of one setting.
const MOST_STATEMENT: usize = 768 * 1024;

/// Reads one text.
#[must_use]
pub fn parse(file: &SourceFile, sink: &mut Sink) -> Ast {
    if file.text.len() > crate::source::MOST_FILE_BYTES {
        let start = Span::new(file.base, file.base);
        sink.push(unexpected::too_large(start, crate::source::MOST_FILE_BYTES));
        return Ast { broken: true, ..Ast::default() };
    }
    let checked = bytes::check(&file.text, file.base, sink);
    let mut stage = Stage {
        checked: &checked,
        text: &checked.text,
        base: file.base,
        sink,
        ast: Ast::default(),
        misplaced: false,
    };
    stage.run();
    stage.ast
}

/// Whether a name may begin with a character, as in the grammar.
#[must_use]
pub fn begins_name(c: char) -> bool {
    c.is_ascii_alphabetic() || !c.is_ascii() && pest::unicode::LETTER(c)
}

/// Whether a name may continue with a character. A `-` may too, if something follows it.
#[must_use]
pub fn goes_on_in_name(c: char) -> bool {
    c.is_ascii_alphanumeric()
        || c == '_'
        || !c.is_ascii() && (pest::unicode::LETTER(c) || pest::unicode::MARK(c))
}

/// For the bench: how many pairs pest makes of a whole text; `None` if it does not parse.
#[must_use]
pub fn parse_to_pairs_count(text: &str) -> Option<usize> {
    let text = plain(text);
    let pairs = Grammar::parse(Rule::statements, &text).ok()?;
    Some(pairs.flatten().count())
}

/// The result of a stretch of statements that parsed.
struct Read {
    statements: Vec<Statement>,
    sink: Sink,
    lost: Vec<Span>,
}

struct Stage<'a> {
    checked: &'a Checked<'a>,
    text: &'a str,
    base: u32,
    sink: &'a mut Sink,
    ast: Ast,
    /// Whether a statement among the settings that are being read has been reported.
    misplaced: bool,
}

impl<'a> Stage<'a> {
    fn run(&mut self) {
        let cut = statement::statements(self.text);
        for brace in cut.stray.iter().map(|brace| *brace..*brace + 1) {
            self.ast.broken = true;
            self.sink.push(unexpected::stray_brace(self.span(brace)));
        }
        self.ast.broken |= !self.checked.told.is_empty();
        self.ast.statements.reserve_exact(cut.pieces.len());
        let pieces = cut.pieces.as_slice();
        let stretches = self.stretches(pieces);
        for batch in stretches.chunks(BATCH) {
            let read = parallel::each(batch, &|stretch: &Range<usize>| {
                self.read(pieces.get(stretch.clone())?)
            });
            for (stretch, read) in batch.iter().zip(read) {
                match read {
                    Some(read) => self.keep_read(read),
                    None => self.singles(pieces, stretch.clone()),
                }
            }
        }
    }

    /// The pieces in stretches: as many as pest reads at once, or one too long or not clean.
    fn stretches(&self, pieces: &[Slice]) -> Vec<Range<usize>> {
        let mut stretches = Vec::new();
        let mut done = 0;
        while let Some(first) = pieces.get(done) {
            let fits =
                |piece: &&Slice| piece.at.end - first.at.start <= STRETCH && self.is_clean(piece);
            let rest = pieces.get(done..).unwrap_or_default();
            let end = done + rest.iter().take_while(fits).count().max(1);
            stretches.push(done..end);
            done = end;
        }
        stretches
    }

    /// Reads several statements at once; `None` if one of them does not parse.
    fn read(&self, pieces: &[Slice]) -> Option<Read> {
        let (first, last) = (pieces.first()?, pieces.last()?);
        if !self.is_clean(first) || last.at.end - first.at.start > MOST_STATEMENT {
            return None;
        }
        let range = first.at.start..last.at.end;
        let text = plain(self.slice(range.clone()));
        let pairs = Grammar::parse(Rule::statements, &text).ok()?;
        let (mut sink, mut statements) = (Sink::default(), Vec::with_capacity(pieces.len()));
        let mut lower = Lower::new(self.base + range.start as u32, &mut sink);
        lower.statements(pairs, &mut statements);
        let lost = lower.lost;
        Some(Read { statements, sink, lost })
    }

    fn keep_read(&mut self, read: Read) {
        self.ast.statements.extend(read.statements);
        self.sink.append(read.sink);
        self.lose_all(read.lost);
    }

    /// Reads the statements of a stretch one by one, since the stretch did not parse.
    fn singles(&mut self, pieces: &[Slice], stretch: Range<usize>) {
        for index in stretch {
            if let Some(piece) = pieces.get(index) {
                let next = pieces.get(index + 1).map(|piece| piece.at.start);
                self.single(piece, next);
            }
        }
    }

    fn span(&self, range: Range<usize>) -> Span {
        Span::new(self.base + range.start as u32, self.base + range.end as u32)
    }

    fn slice(&self, range: Range<usize>) -> &'a str {
        self.text.get(range).unwrap_or("")
    }

    fn is_reported(&self, range: Range<usize>) -> bool {
        touches(&self.checked.told, &range)
    }

    fn is_marred(&self, range: Range<usize>) -> bool {
        touches(&self.checked.marred, &range)
    }

    fn is_clean(&self, piece: &Slice) -> bool {
        piece.trouble.is_none() && !self.is_marred(piece.at.clone())
    }

    /// A stretch without the blanks at its end.
    fn trimmed(&self, range: Range<usize>) -> Range<usize> {
        let text = self.slice(range.clone());
        range.start..range.start + text.trim_end().len()
    }

    /// The first word or mark of a stretch.
    fn first(&self, at: usize) -> Span {
        let text = self.slice(at..self.text.len());
        let first = text.chars().next().map_or(0, char::len_utf8);
        self.span(at..at + first_word(text).len().max(first))
    }

    /// Lowers what parsed at a place. What was reported and left out is given up.
    fn lower<T>(&mut self, at: usize, make: impl FnOnce(&mut Lower<'_>) -> T) -> T {
        let mut lower = Lower::new(self.base + at as u32, self.sink);
        lower.misplaced = self.misplaced;
        let made = make(&mut lower);
        self.misplaced = lower.misplaced;
        let lost = lower.lost;
        self.lose_all(lost);
        made
    }

    fn lose_all(&mut self, lost: Vec<Span>) {
        for span in lost {
            self.lose((span.start - self.base) as usize..(span.end - self.base) as usize);
        }
    }

    fn lower_statements(&mut self, pairs: Pairs<'_, Rule>, at: usize) {
        let mut statements = std::mem::take(&mut self.ast.statements);
        self.lower(at, |lower| lower.statements(pairs, &mut statements));
        self.ast.statements = statements;
    }

    /// Reads one statement, right or not; `next` is where the one after it begins.
    fn single(&mut self, piece: &Slice, next: Option<usize>) {
        let range = piece.at.clone();
        let marred = self.is_marred(range.clone());
        match piece.trouble {
            Some(Trouble::Deep(at)) => {
                let span = self.span(at..at + 1);
                self.sink.push(unexpected::too_deep(span, statement::MOST_NESTING));
                return self.lose(range);
            }
            // If the piece is marred, an unclosed quote may hide the closing brace.
            Some(Trouble::Unclosed(at)) if !marred => {
                let next = next.map(|next| self.first(next));
                let span = self.span(at..at + 1);
                self.sink.push(unexpected::unclosed_brace(span, next));
            }
            Some(Trouble::Unopened(end)) => return self.without_brace(range, end, true),
            Some(Trouble::Bare(end)) => return self.without_brace(range, end, false),
            Some(Trouble::Round(at)) => return self.in_round_brackets(range, at),
            Some(Trouble::Early(at)) => return self.closed_early(range, at),
            Some(Trouble::Dropped(at)) => self.dropped(range.start, at),
            Some(Trouble::Unclosed(_)) | None => {}
        }
        let whole = piece.trouble.is_none() && !marred;
        let brace = match piece.braces && heads_block(self.slice(range.clone())) {
            true => statement::first_brace(self.text, range.clone()),
            false => None,
        };
        let Some(brace) = brace.filter(|brace| *brace > range.start) else {
            return self.leaf(range, whole);
        };
        if whole && range.len() <= MOST_STATEMENT {
            let text = plain(self.slice(range.clone()));
            if let Ok(pairs) = Grammar::parse(Rule::one_statement, &text) {
                return self.lower_statements(pairs, range.start);
            }
        }
        self.block(range, brace);
    }

    /// Reports a `{` on the line below its head.
    fn dropped(&mut self, head: usize, brace: usize) {
        let head = self.trimmed(head..brace);
        let plain = !self.slice(head.clone()).contains('#');
        let end = plain.then(|| self.span(head.end..head.end));
        let finding = unexpected::dropped_brace(self.span(brace..brace + 1), end);
        self.sink.push(finding);
    }

    /// A statement without a block.
    fn leaf(&mut self, range: Range<usize>, whole: bool) {
        let text = self.slice(range.clone());
        if whole && range.len() > MOST_STATEMENT {
            self.sink.push(unexpected::too_long(self.first(range.start), MOST_STATEMENT));
        } else if whole {
            match Grammar::parse(Rule::one_statement, &plain(text)) {
                Ok(pairs) => return self.lower_statements(pairs, range.start),
                Err(error) => {
                    self.report(range.clone(), &error, Thing::Statement(first_word(text)))
                }
            }
        }
        self.note_unnamed(range.clone());
        self.lose(range);
    }

    /// A block that does not parse as a whole: its head, then each of its settings.
    fn block(&mut self, range: Range<usize>, brace: usize) {
        let head = self.head(range.start..brace);
        let kind = head.as_ref().map(|block| block.kind);
        let (settings, end) = self.settings(brace + 1..range.end, kind);
        let word = first_word(self.slice(range.clone()));
        self.junk(end..range.end, Thing::Statement(word));
        self.keep(head, settings, range);
    }

    /// A block whose `{` is missing, and its `}` too unless it is `closed`.
    fn without_brace(&mut self, range: Range<usize>, head_end: usize, closed: bool) {
        let text = self.slice(range.start..head_end);
        // The part of the first line that does not belong to the head is the first setting.
        let end = match Grammar::parse(Rule::one_head, &plain(text)) {
            Ok(_) => head_end,
            Err(error) => range.start + explain::place(&error, text.len()),
        };
        let head = self.trimmed(range.start..end);
        if !self.is_reported(range.clone()) {
            let word = first_word(text);
            let span = self.span(head.clone());
            let finding = if closed {
                let close = self.span(range.end - 1..range.end);
                unexpected::missing_brace(span, close, word)
            } else {
                let last = self.span(range.end..range.end);
                unexpected::bare_block(span, last, word)
            };
            self.sink.push(finding);
        }
        let head = match Grammar::parse(Rule::one_head, &plain(self.slice(head))) {
            Ok(pairs) => self.lower(range.start, |lower| lower.one_head(pairs)),
            Err(_) => None,
        };
        let kind = head.as_ref().map(|block| block.kind);
        let (settings, _) = self.settings(end..range.end, kind);
        self.keep(head, settings, range);
    }

    /// A block in `( )`.
    fn in_round_brackets(&mut self, range: Range<usize>, open: usize) {
        let closed = self.slice(range.clone()).ends_with([')', '}']);
        let end = range.end - usize::from(closed);
        let close = closed.then(|| self.span(end..range.end));
        self.sink.push(unexpected::round_block(self.span(open..open + 1), close));
        let head = self.head(range.start..open);
        let kind = head.as_ref().map(|block| block.kind);
        let (settings, _) = self.settings(open + 1..end, kind);
        self.keep(head, settings, range);
    }

    /// A block that is closed before its last settings.
    fn closed_early(&mut self, range: Range<usize>, close: usize) {
        let Some(brace) = statement::first_brace(self.text, range.clone()) else {
            return self.lose(range);
        };
        let last = self.span(range.end - 1..range.end);
        let finding = unexpected::closed_early(self.span(close..close + 1), last);
        self.sink.push(finding);
        let head = self.head(range.start..brace);
        let kind = head.as_ref().map(|block| block.kind);
        let (mut settings, _) = self.settings(brace + 1..close, kind);
        settings.extend(self.settings(close + 1..range.end - 1, kind).0);
        self.keep(head, settings, range);
    }

    fn keep(&mut self, head: Option<Block>, settings: Vec<Setting>, range: Range<usize>) {
        self.ast.broken = true;
        let Some(mut block) = head else {
            self.note_unnamed(range.clone());
            return self.lose(range);
        };
        block.settings = settings;
        block.broken = true;
        self.ast.statements.push(Statement {
            span: self.span(range),
            stock: false,
            kind: StatementKind::Block(block),
        });
    }

    /// Notes the kind of a declaration whose name is missing or not finished.
    fn note_unnamed(&mut self, range: Range<usize>) {
        let text = self.slice(range);
        let word = first_word(text);
        let name = first_word(text.get(word.len()..).unwrap_or("").trim_start());
        let kind = BlockKind::ALL.into_iter().find(|kind| kind.word() == word);
        if name.is_empty() || name.ends_with('-') {
            self.ast.unnamed.extend(kind);
        }
    }

    fn head(&mut self, range: Range<usize>) -> Option<Block> {
        if self.is_marred(range.clone()) {
            return None;
        }
        let range = self.trimmed(range);
        let text = self.slice(range.clone());
        match Grammar::parse(Rule::one_head, &plain(text)) {
            Ok(pairs) => self.lower(range.start, |lower| lower.one_head(pairs)),
            Err(error) => {
                self.report(range, &error, Thing::Statement(first_word(text)));
                None
            }
        }
    }

    /// The settings of a block, one by one, and where its `}` stands.
    fn settings(&mut self, inside: Range<usize>, kind: Option<BlockKind>) -> (Vec<Setting>, usize) {
        let cut = statement::settings(self.text, inside);
        let mut settings = Vec::new();
        let outside = std::mem::replace(&mut self.misplaced, false);
        for piece in &cut.pieces {
            match self.setting(piece, kind) {
                Some(setting) => settings.push(setting),
                None => self.lose(piece.at.clone()),
            }
        }
        self.misplaced = outside;
        (settings, cut.end)
    }

    fn setting(&mut self, piece: &Slice, kind: Option<BlockKind>) -> Option<Setting> {
        let range = piece.at.clone();
        let key = first_word(self.slice(range.clone()));
        let brace = match piece.braces {
            true => statement::first_brace(self.text, range.clone()),
            false => None,
        };
        if let Some(Trouble::Dropped(at)) = piece.trouble {
            self.dropped(range.start, at);
        }
        let (rule, head) = match brace {
            Some(brace) => (Rule::one_setting_head, self.trimmed(range.start..brace)),
            None => (Rule::one_setting, range.clone()),
        };
        let setting = self.setting_head(head, rule, Thing::Setting(kind, key), kind);
        let Some(brace) = brace else { return setting };
        // A statement among the settings has been reported; its own settings are not read.
        if setting.is_none() && unexpected::is_statement_word(key) {
            return None;
        }
        let (settings, end) = self.settings(brace + 1..range.end, None);
        self.junk(end..range.end, Thing::Setting(kind, key));
        let mut setting = setting?;
        setting.body = Body::Block(settings.into(), true);
        Some(setting)
    }

    fn setting_head(
        &mut self,
        range: Range<usize>,
        rule: Rule,
        thing: Thing<'_>,
        kind: Option<BlockKind>,
    ) -> Option<Setting> {
        if self.is_marred(range.clone()) {
            return None;
        }
        if range.len() > MOST_STATEMENT {
            self.sink.push(unexpected::too_long(self.first(range.start), MOST_STATEMENT));
            return None;
        }
        match Grammar::parse(rule, &plain(self.slice(range.clone()))) {
            Ok(pairs) => self.lower(range.start, |lower| lower.one_setting(pairs, kind)),
            Err(error) => {
                self.report(range, &error, thing);
                None
            }
        }
    }

    /// What stands after the `}` of a block on the same line; the range begins at that `}`.
    fn junk(&mut self, range: Range<usize>, thing: Thing<'_>) {
        let behind = self.slice(range.start.saturating_add(1)..range.end);
        let rest = behind.trim_start();
        let start = range.end - rest.len();
        if rest.is_empty() || self.is_reported(start..range.end) {
            return;
        }
        let (span, found) = (self.first(start), explain::found(rest));
        self.sink.push(match rest.starts_with(char::is_alphabetic) {
            true => unexpected::second_on_line(span, thing, &found),
            false => unexpected::misfit(span, thing, &found, &["the end of the line"]),
        });
        self.lose(start..range.end);
    }

    /// Reports a stretch that did not parse, unless something in it has been reported.
    fn report(&mut self, range: Range<usize>, error: &Error<Rule>, thing: Thing<'_>) {
        if !self.is_reported(range.clone()) && !self.sink.is_full() {
            let finding = explain::explain(self.text, range, self.base, error, thing);
            self.sink.push(finding);
        }
    }

    /// Gives a stretch up. Its words are noted, since they may be names declared or used in it.
    fn lose(&mut self, range: Range<usize>) {
        self.ast.broken = true;
        let text = self.slice(range.clone());
        let mut start = None;
        for (at, c) in text.char_indices().chain([(text.len(), ' ')]) {
            let goes_on = c.is_alphanumeric() || c == '_' || c == '-';
            match start {
                None if c.is_alphabetic() => start = Some(at),
                Some(from) if !goes_on => {
                    let word = text.get(from..at).unwrap_or("").trim_end_matches('-');
                    let from = range.start + from;
                    self.ast.mentioned.push(Ident { span: self.span(from..from + word.len()) });
                    start = None;
                }
                _ => {}
            }
        }
    }
}

/// The word that a text begins with; empty if it begins with none.
fn first_word(text: &str) -> &str {
    let end = text.find(|c: char| !(c.is_alphanumeric() || c == '-' || c == '_'));
    text.get(..end.unwrap_or(text.len())).unwrap_or("")
}

/// Whether a statement may have a block: its first word takes one, or is no keyword.
fn heads_block(text: &str) -> bool {
    let word = first_word(text);
    BlockKind::ALL.iter().any(|kind| kind.word() == word) || !unexpected::is_keyword(word)
}

/// Whether a stretch overlaps one of some stretches, which are in order and apart.
fn touches(stretches: &[Range<usize>], range: &Range<usize>) -> bool {
    let after = stretches.partition_point(|stretch| stretch.end <= range.start);
    stretches.get(after).is_some_and(|stretch| stretch.start < range.end)
}
