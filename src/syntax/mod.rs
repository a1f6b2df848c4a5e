//! From text to tree: `(text) → (Ast, findings)`. It cannot fail.
//!
//! Characters are checked first ([`bytes`]), then the text is cut into statements ([`statement`]) and pest
//! reads them by the hundred with `grammar/tinsel.pest`. Where a hundred does not parse, each is read alone;
//! where a block does not parse, its head and each of its settings are. What still does not parse is told once,
//! at its place ([`explain`]), and left out; its words go to [`Ast::mentioned`]. [`lower`] makes the tree.
//!
//! Time and memory grow with the text, whatever it holds: every part is read at most three times, and pest
//! never holds the pairs of more than one stretch.

mod bytes;
mod expected;
mod explain;
mod lower;
mod statement;
mod value;

use crate::ast::{Ast, Block, BlockKind, Body, Ident, Setting, Statement, StatementKind};
use crate::diagnostic::Sink;
use crate::rules::syntax::unexpected::{self, Thing};
use crate::source::{SourceFile, Span};
use bytes::Checked;
use lower::Lower;
use pest::Parser as _;
use statement::{Piece, Trouble};
use std::ops::Range;

/// Reads the grammar. pest makes the rules public, so they can't be kept to this module.
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

/// How many bytes of statements pest is handed at once: its pairs then stay in the processor's cache.
const STRETCH: usize = 4 * 1024;

/// The most bytes of one statement without a block, or of one setting.
const MOST_STATEMENT: usize = 1024 * 1024;

/// Reads one text.
#[must_use]
pub fn parse(file: &SourceFile, sink: &mut Sink) -> Ast {
    if file.text.len() > crate::source::MOST_FILE_BYTES {
        let start = Span::new(file.base, file.base);
        sink.push(unexpected::too_large(start, crate::source::MOST_FILE_BYTES));
        return Ast {
            broken: true,
            ..Ast::default()
        };
    }
    let checked = bytes::check(&file.text, file.base, sink);
    let mut stage = Stage {
        checked: &checked,
        text: &checked.text,
        base: file.base,
        sink,
        ast: Ast::default(),
    };
    stage.run();
    stage.ast
}

/// For the bench: pest alone on a whole text; how many pairs it makes, or none if the text does not parse.
#[must_use]
pub fn parse_to_pairs_count(text: &str) -> Option<usize> {
    let pairs = Grammar::parse(Rule::statements, text).ok()?;
    Some(pairs.flatten().count())
}

struct Stage<'a> {
    checked: &'a Checked<'a>,
    text: &'a str,
    base: u32,
    sink: &'a mut Sink,
    ast: Ast,
}

impl<'a> Stage<'a> {
    fn run(&mut self) {
        let cut = statement::statements(self.text);
        for brace in &cut.stray {
            if !self.is_told(*brace..*brace + 1) {
                self.sink
                    .push(unexpected::stray_brace(self.span(*brace..*brace + 1)));
            }
            self.ast.broken = true;
        }
        for range in &self.checked.cut {
            // Read from the file as it is, since the copy has blanks there.
            self.ast.broken |= !range.is_empty();
        }
        self.ast.statements.reserve_exact(cut.pieces.len());
        let mut rest = cut.pieces.as_slice();
        while let Some(first) = rest.first() {
            let fit = rest
                .iter()
                .take_while(|piece| {
                    piece.at.end - first.at.start <= STRETCH && self.is_clean(piece)
                })
                .count();
            if fit == 0 {
                let next = rest.get(1).map(|piece| piece.at.start);
                self.single(first, next);
                rest = rest.get(1..).unwrap_or_default();
                continue;
            }
            let (stretch, behind) = rest.split_at(fit);
            self.stretch(stretch, behind.first().map(|piece| piece.at.start));
            rest = behind;
        }
    }

    fn span(&self, range: Range<usize>) -> Span {
        Span::new(self.base + range.start as u32, self.base + range.end as u32)
    }

    fn slice(&self, range: Range<usize>) -> &'a str {
        self.text.get(range).unwrap_or("")
    }

    fn is_told(&self, range: Range<usize>) -> bool {
        touches(&self.checked.told, &range)
    }

    fn is_marred(&self, range: Range<usize>) -> bool {
        touches(&self.checked.marred, &range)
    }

    fn is_clean(&self, piece: &Piece) -> bool {
        piece.trouble.is_none() && !self.is_marred(piece.at.clone())
    }

    /// Statements that are thought to be right, read at once.
    fn stretch(&mut self, pieces: &[Piece], next: Option<usize>) {
        let (Some(first), Some(last)) = (pieces.first(), pieces.last()) else {
            return;
        };
        let range = first.at.start..last.at.end;
        let text = self.slice(range.clone());
        if let Ok(pairs) = Grammar::parse(Rule::statements, text) {
            self.lower_statements(pairs, range.start);
            return;
        }
        for (index, piece) in pieces.iter().enumerate() {
            let behind = pieces.get(index + 1).map(|piece| piece.at.start);
            self.single(piece, behind.or(next));
        }
    }

    fn lower_statements(&mut self, pairs: pest::iterators::Pairs<'_, Rule>, at: usize) {
        let mut lower = Lower::new(self.base + at as u32, self.sink);
        lower.statements(pairs, &mut self.ast);
    }

    /// One statement, right or not; `next` is where the one behind it begins.
    fn single(&mut self, piece: &Piece, next: Option<usize>) {
        let range = piece.at.clone();
        let marred = self.is_marred(range.clone());
        match piece.trouble {
            Some(Trouble::Deep(at)) => {
                let span = self.span(at..at + 1);
                self.sink
                    .push(unexpected::too_deep(span, statement::MOST_NESTING));
                return self.lose(range);
            }
            // A quote without end may have swallowed the brace.
            Some(Trouble::Unclosed(at)) if !marred => {
                let next = next.map(|next| {
                    let word = first_word(self.slice(next..self.text.len()));
                    self.span(next..next + word.len())
                });
                self.sink
                    .push(unexpected::unclosed_brace(self.span(at..at + 1), next));
            }
            Some(Trouble::Unopened(end)) => return self.without_brace(range, end),
            Some(Trouble::Unclosed(_)) | None => {}
        }
        let whole = piece.trouble.is_none() && !marred;
        if !piece.braces || !heads_block(self.slice(range.clone())) {
            self.leaf(range, whole);
            return;
        }
        if whole && range.len() <= MOST_STATEMENT {
            let text = self.slice(range.clone());
            if let Ok(pairs) = Grammar::parse(Rule::one_statement, text) {
                self.lower_statements(pairs, range.start);
                return;
            }
        }
        match statement::first_brace(self.text, range.clone()) {
            Some(brace) => self.block(range, brace),
            None => self.leaf(range, whole),
        }
    }

    /// A statement without a block.
    fn leaf(&mut self, range: Range<usize>, whole: bool) {
        let text = self.slice(range.clone());
        if whole && range.len() > MOST_STATEMENT {
            let start = self.span(range.start..range.start + first_word(text).len());
            self.sink.push(unexpected::too_long(start, MOST_STATEMENT));
        } else if whole {
            match Grammar::parse(Rule::one_statement, text) {
                Ok(pairs) => return self.lower_statements(pairs, range.start),
                Err(error) => self.tell(range.clone(), &error, Thing::Statement(first_word(text))),
            }
        }
        self.lose(range);
    }

    /// A block that does not parse as a whole: its head, then each of its settings.
    fn block(&mut self, range: Range<usize>, brace: usize) {
        let head = self.head(range.start..brace);
        let kind = head.as_ref().map(|block| block.kind);
        let (settings, end) = self.settings(brace + 1..range.end, kind);
        self.junk(
            end..range.end,
            Thing::Statement(first_word(self.slice(range.clone()))),
        );
        let span = self.span(range.clone());
        self.keep(head, settings, span, range.start..brace);
    }

    /// A block whose `{` is missing.
    fn without_brace(&mut self, range: Range<usize>, head_end: usize) {
        let text = self.text;
        let head_text = text.get(range.start..head_end).unwrap_or("");
        // What of the first line does not belong to the head is its first setting.
        let end = match Grammar::parse(Rule::one_head, head_text) {
            Ok(_) => head_end,
            Err(error) => range.start + explain::place(&error, head_text.len()),
        };
        let head_end = range.start + text.get(range.start..end).unwrap_or("").trim_end().len();
        if !self.is_told(range.clone()) {
            let head_span = self.span(range.start..head_end);
            let close = self.span(range.end - 1..range.end);
            self.sink.push(unexpected::missing_brace(
                head_span,
                close,
                first_word(head_text),
            ));
        }
        let head = match Grammar::parse(
            Rule::one_head,
            text.get(range.start..head_end).unwrap_or(""),
        ) {
            Ok(pairs) => Lower::new(self.base + range.start as u32, self.sink).one_head(pairs),
            Err(_) => None,
        };
        let kind = head.as_ref().map(|block| block.kind);
        let (settings, _) = self.settings(end..range.end, kind);
        let span = self.span(range.clone());
        self.keep(head, settings, span, range.start..head_end);
    }

    fn keep(
        &mut self,
        head: Option<Block>,
        settings: Vec<Setting>,
        span: Span,
        head_range: Range<usize>,
    ) {
        self.ast.broken = true;
        match head {
            Some(mut block) => {
                block.settings = settings;
                block.broken = true;
                self.ast.statements.push(Statement {
                    span,
                    stock: false,
                    kind: StatementKind::Block(block),
                });
            }
            None => {
                self.lose(head_range);
                self.mention(span.start - self.base..span.end - self.base);
            }
        }
    }

    fn head(&mut self, range: Range<usize>) -> Option<Block> {
        if self.is_marred(range.clone()) {
            return None;
        }
        let range = range.start..range.start + self.slice(range.clone()).trim_end().len();
        let text = self.slice(range.clone());
        match Grammar::parse(Rule::one_head, text) {
            Ok(pairs) => Lower::new(self.base + range.start as u32, self.sink).one_head(pairs),
            Err(error) => {
                self.tell(range, &error, Thing::Statement(first_word(text)));
                None
            }
        }
    }

    /// The settings of a block, one by one, and where its `}` stands.
    fn settings(&mut self, inside: Range<usize>, kind: Option<BlockKind>) -> (Vec<Setting>, usize) {
        let cut = statement::settings(self.text, inside);
        let mut settings = Vec::new();
        for piece in &cut.pieces {
            match self.setting(piece, kind) {
                Some(setting) => settings.push(setting),
                None => self.lose(piece.at.clone()),
            }
        }
        (settings, cut.end)
    }

    fn setting(&mut self, piece: &Piece, kind: Option<BlockKind>) -> Option<Setting> {
        let range = piece.at.clone();
        let text = self.slice(range.clone());
        let key = first_word(text);
        let brace = match piece.braces {
            true => statement::first_brace(self.text, range.clone()),
            false => None,
        };
        let head = range.start..brace.unwrap_or(range.end);
        let (rule, head) = match brace {
            Some(_) => (
                Rule::one_setting_head,
                head.start..head.start + self.slice(head).trim_end().len(),
            ),
            None => (Rule::one_setting, head),
        };
        let setting = self.setting_head(head, rule, Thing::Setting(kind, key), kind);
        let Some(brace) = brace else { return setting };
        // A statement among the settings has been told; what it holds is not looked at.
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
        let text = self.slice(range.clone());
        if range.len() > MOST_STATEMENT {
            let start = self.span(range.start..range.start + first_word(text).len());
            self.sink.push(unexpected::too_long(start, MOST_STATEMENT));
            return None;
        }
        match Grammar::parse(rule, text) {
            Ok(pairs) => {
                Lower::new(self.base + range.start as u32, self.sink).one_setting(pairs, kind)
            }
            Err(error) => {
                self.tell(range, &error, thing);
                None
            }
        }
    }

    /// What stands behind the `}` of a block on the same line.
    fn junk(&mut self, range: Range<usize>, thing: Thing<'_>) {
        let text = self.text.get(range.start + 1..range.end).unwrap_or("");
        let start = range.end - text.trim_start().len();
        if start < range.end && !self.is_told(start..range.end) {
            let word = first_word(self.slice(start..range.end));
            let first = self.slice(start..range.end).chars().next();
            let end = start + word.len().max(first.map_or(1, char::len_utf8));
            let found = explain::found(self.slice(start..range.end));
            self.sink.push(unexpected::second_on_line(
                self.span(start..end),
                thing,
                &found,
            ));
            self.lose(start..range.end);
        }
    }

    /// Tells what is wrong with a stretch that did not parse, unless something in it has been told.
    fn tell(&mut self, range: Range<usize>, error: &pest::error::Error<Rule>, thing: Thing<'_>) {
        if self.is_told(range.clone()) {
            return;
        }
        let finding = explain::explain(self.text, range, self.base, error, thing);
        self.sink.push(finding);
    }

    /// Gives a stretch up.
    fn lose(&mut self, range: Range<usize>) {
        self.ast.broken = true;
        self.mention(range.start as u32..range.end as u32);
    }

    fn mention(&mut self, range: Range<u32>) {
        let text = self
            .text
            .get(range.start as usize..range.end as usize)
            .unwrap_or("");
        let mut start = None;
        let ends = text.char_indices().chain([(text.len(), ' ')]);
        for (at, c) in ends {
            let goes_on = c.is_alphanumeric() || c == '_' || c == '-';
            match start {
                None if c.is_alphabetic() => start = Some(at),
                Some(from) if !goes_on => {
                    let word = text.get(from..at).unwrap_or("").trim_end_matches('-');
                    let from = self.base + range.start + from as u32;
                    self.ast.mentioned.push(Ident {
                        span: Span::new(from, from + word.len() as u32),
                    });
                    start = None;
                }
                _ => {}
            }
        }
    }
}

/// The letters up to the first that does not belong to a word.
fn first_word(text: &str) -> &str {
    let end = text.find(|c: char| !(c.is_alphanumeric() || c == '-' || c == '_'));
    text.get(..end.unwrap_or(text.len())).unwrap_or("")
}

/// Whether a statement may have a block: its first word does not say otherwise.
fn heads_block(text: &str) -> bool {
    let word = first_word(text);
    BlockKind::ALL.iter().any(|kind| kind.word() == word) || !unexpected::is_keyword(word)
}

/// Whether one of some stretches, in order and apart, touches a stretch.
fn touches(stretches: &[Range<usize>], range: &Range<usize>) -> bool {
    let after = stretches.partition_point(|stretch| stretch.end <= range.start);
    stretches
        .get(after)
        .is_some_and(|stretch| stretch.start < range.end)
}
