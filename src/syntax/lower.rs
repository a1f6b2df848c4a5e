//! From pest's pairs to the tree: statements, blocks, settings.
//!
//! A pair that the grammar cannot produce at a place is skipped.

use super::Rule;
use super::value::{Tokens, Values};
use crate::ast::{
    Arg, Block, BlockKind, Body, Chain, Feed, Ident, Include, Inject, Item, Let, Made, Power,
    Quantity, Renamed, Reserve, ReserveKind, Run, RunKind, Setting, Statement, StatementKind,
    Where, Wire,
};
use crate::diagnostic::Sink;
use crate::rules::syntax::{number, unexpected};
use crate::source::Span;
use crate::unit;
use pest::iterators::{Pair, Pairs};

/// Turns pairs of one stretch of text into the tree.
pub(super) struct Lower<'s> {
    /// Reads offsets, numbers and references.
    pub values: Values<'s>,
    /// Stretches that were reported and left out.
    pub lost: Vec<Span>,
    /// Whether a statement among the settings of this block has been reported. Further ones have
    /// the same cause and are left out without a finding.
    pub misplaced: bool,
    /// Collects the words of settings, which are then stored in slices of exact length.
    args: Vec<Arg>,
}

impl<'s> Lower<'s> {
    /// For a stretch of text that begins at `base` in the offset space.
    pub fn new(base: u32, sink: &'s mut Sink) -> Self {
        Self { values: Values { base, sink }, lost: Vec::new(), misplaced: false, args: Vec::new() }
    }

    /// All statements of a `statements` or `one_statement` pair.
    pub fn statements(&mut self, pairs: Pairs<'_, Rule>, into: &mut Vec<Statement>) {
        for outer in pairs {
            for pair in outer.into_inner() {
                let span = self.values.span(&pair);
                if let Some(kind) = self.statement(pair) {
                    into.push(Statement { span, stock: false, kind });
                }
            }
        }
    }

    fn statement(&mut self, pair: Pair<'_, Rule>) -> Option<StatementKind> {
        let rule = pair.as_rule();
        if rule == Rule::block_statement {
            return self.block_statement(pair).map(StatementKind::Block);
        }
        let mut inner = pair.into_inner();
        Some(match rule {
            Rule::wire => StatementKind::Wire(self.wire(inner)?),
            Rule::reserve => StatementKind::Reserve(Box::new(self.reserve(inner)?)),
            Rule::stored => StatementKind::Stored(
                inner
                    .filter(|pair| pair.as_rule() == Rule::reference)
                    .filter_map(|pair| self.values.reference(pair))
                    .collect(),
            ),
            Rule::renamed => {
                let mut names = inner.filter(|pair| pair.as_rule() == Rule::reference);
                let (old, new) = (names.next()?, names.next()?);
                StatementKind::Renamed(Box::new(Renamed {
                    old: self.values.reference(old)?,
                    new: self.values.reference(new)?,
                }))
            }
            Rule::power => {
                inner.next()?;
                let target = self.values.reference(inner.next()?)?;
                let (mut feed, fuse) = (self.feed(inner.next()?)?, inner.next());
                feed.fuse = self.fuse(fuse);
                StatementKind::Power(Box::new(Power { target, feed }))
            }
            Rule::inject => StatementKind::Inject(Box::new(self.inject(inner)?)),
            Rule::include => {
                let stock = inner.next()?.as_rule() == Rule::stock_word;
                let path = self.values.text(&inner.next()?);
                StatementKind::Include(Include { path, stock })
            }
            Rule::let_statement => {
                inner.next()?;
                let name = self.values.ident(&inner.next()?);
                inner.next()?;
                let value = self.values.quantity(inner.next()?)?;
                StatementKind::Let(Let { name, value })
            }
            _ => return None,
        })
    }

    fn block_statement(&mut self, pair: Pair<'_, Rule>) -> Option<Block> {
        let mut inner = pair.into_inner();
        let mut block = self.head(inner.next()?)?;
        if let Some(settings) = inner.next() {
            (block.settings, block.broken) = self.settings(settings, Some(block.kind));
        }
        Some(block)
    }

    /// A block from its head, without its settings.
    fn head(&mut self, pair: Pair<'_, Rule>) -> Option<Block> {
        let mut inner = pair.into_inner().peekable();
        let word = inner.next()?;
        let kind = BlockKind::ALL.into_iter().find(|kind| kind.word() == word.as_str())?;
        let end = self.values.span(&word).end;
        let mut block = Block {
            kind,
            name: Ident { span: Span::new(end, end) },
            count: None,
            members: None,
            like: None,
            settings: Vec::new(),
            broken: false,
            made: Made::default(),
        };
        while let Some(pair) = inner.next() {
            match pair.as_rule() {
                Rule::text => block.name = self.values.text(&pair),
                Rule::name => block.name = self.values.ident(&pair),
                Rule::select => block.members = self.values.selector(pair).map(Box::new),
                Rule::times => block.count = self.values.sum(&mut inner).map(Box::new),
                Rule::like_word => block.like = inner.next().map(|pair| self.values.ident(&pair)),
                _ => {}
            }
        }
        Some(block)
    }

    /// A block from a `one_head` pair.
    pub fn one_head(&mut self, mut pairs: Pairs<'_, Rule>) -> Option<Block> {
        let head = pairs.next()?.into_inner().next()?;
        self.head(head)
    }

    /// A setting from a `one_setting` or `one_setting_head` pair.
    pub fn one_setting(
        &mut self,
        mut pairs: Pairs<'_, Rule>,
        of: Option<BlockKind>,
    ) -> Option<Setting> {
        let outer = pairs.next()?;
        if outer.as_rule() == Rule::one_setting {
            return self.setting(outer.into_inner().next()?, of);
        }
        self.setting(outer, of)
    }

    fn settings(&mut self, pair: Pair<'_, Rule>, of: Option<BlockKind>) -> (Vec<Setting>, bool) {
        let inner = pair.into_inner();
        let mut settings = Vec::with_capacity(inner.len());
        let mut broken = false;
        let outside = std::mem::replace(&mut self.misplaced, false);
        for pair in inner {
            let span = self.values.span(&pair);
            match self.setting(pair, of) {
                Some(setting) => settings.push(setting),
                None => {
                    broken = true;
                    self.lost.push(span);
                }
            }
        }
        self.misplaced = outside;
        (settings, broken)
    }

    /// A setting from a `setting` or `one_setting_head` pair; none if it was reported to be wrong.
    fn setting(&mut self, pair: Pair<'_, Rule>, of: Option<BlockKind>) -> Option<Setting> {
        let (text, start) = (pair.as_str(), pair.as_span().start());
        let mut inner = pair.into_inner().peekable();
        let key_pair = inner.next()?;
        let key = self.values.ident(&key_pair);
        let word = text.get(..key_pair.as_str().len()).unwrap_or("");
        if unexpected::is_statement_word(word) {
            if !std::mem::replace(&mut self.misplaced, true) {
                let finding = unexpected::statement_in_block(key.span, word, of);
                self.values.sink.push(finding);
            }
            return None;
        }
        // An inner block collects the words of its settings after these.
        let outside = self.args.len();
        let body = self.setting_body(&mut inner, word);
        let args: Box<[Arg]> = self.args.drain(outside..).collect();
        let body = body?;
        if let Some((number, comma)) = decimal_comma(&args).filter(|_| word != "stands") {
            let at = |place: u32| (place - self.values.base) as usize - start;
            let written = text.get(at(number.start)..at(number.end)).unwrap_or("");
            let unit = text.get(at(number.end)..).unwrap_or("").trim_start();
            let end = unit.find(|c: char| !c.is_alphanumeric() && c != '%');
            let unit = unit::find(unit.get(..end.unwrap_or(unit.len())).unwrap_or(""));
            // A number in a unit with factor 1 is always whole.
            let parts = unit.is_none_or(|unit| unit.factor > 1);
            let finding = number::decimal_comma(number, comma, written, parts);
            self.values.sink.push(finding);
            return None;
        }
        let mut span = args.last().map_or(key.span, |arg| key.span.to(arg.span()));
        if let Body::Runs(runs) = &body {
            span = runs.last().map_or(span, |run| span.to(run.span));
        }
        Some(Setting { span, key, args, body })
    }

    /// What follows the first word of a setting; the words go to `args`.
    fn setting_body(&mut self, inner: &mut Tokens<'_>, word: &str) -> Option<Body> {
        while let Some(rule) = inner.peek().map(Pair::as_rule) {
            match rule {
                Rule::block => {
                    let (settings, broken) = self.settings(inner.next()?, None);
                    return Some(Body::Block(settings.into(), broken));
                }
                Rule::colon if word == "string" => {
                    let runs = inner.filter_map(|pair| self.run(pair)).collect();
                    return Some(Body::Runs(runs));
                }
                Rule::colon => {
                    let colon = self.values.span(&inner.next()?);
                    if let (Some(host), Some(next)) = (self.host_before(word), inner.peek()) {
                        let port = colon.to(self.values.span(next));
                        self.values.sink.push(unexpected::host_with_port(host, port));
                        return None;
                    }
                    self.values.sink.push(unexpected::mark_after_key(colon, ":", word));
                    return None;
                }
                Rule::EOI => break,
                _ => match self.values.arg(inner) {
                    Some(arg) => self.args.push(arg),
                    None => {
                        inner.next();
                    }
                },
            }
        }
        Some(Body::None)
    }

    /// The place of the host in a `host` setting that is being read.
    fn host_before(&self, word: &str) -> Option<Span> {
        match self.args.last() {
            Some(arg) if word == "host" => Some(arg.span()),
            _ => None,
        }
    }

    fn run(&mut self, pair: Pair<'_, Rule>) -> Option<Run> {
        if pair.as_rule() != Rule::run {
            return None;
        }
        let span = self.values.span(&pair);
        let inner = pair.into_inner().next()?;
        let kind = match inner.as_rule() {
            Rule::skip => RunKind::Skip(self.skip(inner)?),
            Rule::lead => {
                let (length, gauge) = self.lead(inner)?;
                RunKind::Lead(length, gauge)
            }
            _ => self.run_nodes(inner)?,
        };
        Some(Run { span, kind })
    }

    fn run_nodes(&mut self, pair: Pair<'_, Rule>) -> Option<RunKind> {
        let mut inner = pair.into_inner();
        let first = inner.next()?;
        if first.as_rule() != Rule::name {
            return Some(RunKind::Nodes(None, self.values.quantity(first)?));
        }
        let name = self.values.ident(&first);
        let second = inner.next()?;
        // `n nodes`: the grammar took `n` as the name of the run and `nodes` as its number.
        if unit::find(second.as_str()).is_some() {
            let unit = self.values.ident(&second);
            let value = crate::ast::Expr::Name(name);
            let unit = Some(unit);
            return Some(RunKind::Nodes(None, Quantity { value, unit }));
        }
        Some(RunKind::Nodes(Some(name), self.values.quantity(second)?))
    }

    fn skip(&mut self, pair: Pair<'_, Rule>) -> Option<Quantity> {
        let quantity = pair.into_inner().find(|pair| pair.as_rule() == Rule::quantity)?;
        self.values.quantity(quantity)
    }

    fn lead(&mut self, pair: Pair<'_, Rule>) -> Option<(Quantity, Option<Quantity>)> {
        let mut quantities = pair.into_inner().filter(|pair| pair.as_rule() == Rule::quantity);
        let length = self.values.quantity(quantities.next()?)?;
        let gauge = quantities.next().and_then(|pair| self.values.quantity(pair));
        Some((length, gauge))
    }

    fn wire(&mut self, pairs: Pairs<'_, Rule>) -> Option<Wire> {
        let mut target = None;
        let mut chains = Vec::with_capacity(1);
        for pair in pairs {
            match pair.as_rule() {
                Rule::reference => target = self.values.reference(pair),
                Rule::chain => chains.push(self.chain(pair)),
                _ => {}
            }
        }
        chains.shrink_to_fit();
        Some(Wire { target: target?, chains, last: std::sync::atomic::AtomicU32::default() })
    }

    fn chain(&mut self, pair: Pair<'_, Rule>) -> Chain {
        let span = self.values.span(&pair);
        let pairs = pair.into_inner();
        // Every second pair is an arrow.
        let mut items = Vec::with_capacity(pairs.len().div_ceil(2));
        items.extend(
            pairs.filter(|pair| pair.as_rule() == Rule::item).filter_map(|pair| self.item(pair)),
        );
        Chain { span, items }
    }

    fn item(&mut self, pair: Pair<'_, Rule>) -> Option<Item> {
        let mut inner = pair.into_inner().peekable();
        let first = inner.next()?;
        let span = self.values.span(&first);
        match first.as_rule() {
            Rule::skip => return Some(Item::Skip(span, Box::new(self.skip(first)?))),
            Rule::lead => {
                let (length, gauge) = self.lead(first)?;
                return Some(Item::Lead(span, Box::new(length), gauge.map(Box::new)));
            }
            _ => {}
        }
        let reference = self.values.reference(first)?;
        let (mut by, mut pin) = (None, None);
        while let Some(pair) = inner.next() {
            match pair.as_rule() {
                Rule::by_word => by = self.values.sum(&mut inner).map(Box::new),
                Rule::pin => pin = self.values.pin(pair).map(Box::new),
                _ => {}
            }
        }
        Some(Item::Reference(reference, by, pin))
    }

    fn reserve(&mut self, pairs: Pairs<'_, Rule>) -> Option<Reserve> {
        let mut inner = pairs.peekable();
        inner.next()?;
        let first = inner.next()?;
        let what = if first.as_rule() == Rule::universes_word {
            ReserveKind::Universes(self.values.range(&mut inner)?)
        } else {
            let reference = self.values.reference(first)?;
            match inner.next_if(|pair| pair.as_rule() == Rule::slots_word) {
                Some(_) => ReserveKind::Slots(reference, self.values.range(&mut inner)?),
                None => ReserveKind::Port(reference),
            }
        };
        let reason =
            inner.next_if(|pair| pair.as_rule() == Rule::text).map(|pair| self.values.text(&pair));
        Some(Reserve { what, reason })
    }

    fn inject(&mut self, mut inner: Pairs<'_, Rule>) -> Option<Inject> {
        inner.next()?;
        let target = self.values.reference(inner.next()?)?;
        let place = inner.next()?;
        let place = (self.values.span(&place), self.place(place)?);
        let mut feed = self.feed(inner.next()?)?;
        let mut apart = None;
        for pair in inner {
            if pair.as_rule() == Rule::apart_word {
                apart = Some(self.values.span(&pair));
            } else {
                feed.fuse = self.fuse(Some(pair));
            }
        }
        Some(Inject { target, place, feed, apart })
    }

    fn place(&mut self, pair: Pair<'_, Rule>) -> Option<Where> {
        let mut inner = pair.into_inner().peekable();
        let every = inner.next()?.as_rule() == Rule::every_word;
        if every {
            let number = self.values.sum(&mut inner)?;
            return Some(match inner.next()?.as_rule() {
                Rule::strands_word => Where::EveryStrands(number),
                _ => Where::EveryNodes(number),
            });
        }
        Some(match inner.next()?.as_rule() {
            Rule::start_word => Where::Start,
            Rule::end_word => Where::End,
            _ => Where::Node(self.values.sum(&mut inner)?),
        })
    }

    fn feed(&mut self, pair: Pair<'_, Rule>) -> Option<Feed> {
        let mut supply = None;
        let mut quantities = Vec::with_capacity(2);
        for pair in pair.into_inner() {
            match pair.as_rule() {
                Rule::name => supply = Some(self.values.ident(&pair)),
                Rule::quantity => quantities.extend(self.values.quantity(pair)),
                _ => {}
            }
        }
        let mut quantities = quantities.into_iter();
        Some(Feed {
            supply: supply?,
            length: quantities.next()?,
            gauge: quantities.next()?,
            fuse: None,
        })
    }

    fn fuse(&mut self, pair: Option<Pair<'_, Rule>>) -> Option<Quantity> {
        let quantity = pair?.into_inner().find(|pair| pair.as_rule() == Rule::quantity)?;
        self.values.quantity(quantity)
    }
}

/// `1,5 W`, `1,200,300 nodes`: numbers with a comma and no blank between them, of which only the
/// last has a unit. Returns the places of the whole number and of the last comma.
fn decimal_comma(args: &[Arg]) -> Option<(Span, Span)> {
    let mut first = None;
    args.windows(3).find_map(|args| match args {
        [Arg::Number(whole), Arg::Comma(comma), Arg::Number(rest)]
            if whole.unit.is_none()
                && whole.span().end == comma.start
                && comma.end == rest.span().start =>
        {
            let first: Span = *first.get_or_insert(whole.span());
            rest.unit.is_some().then(|| (first.to(rest.value.span()), *comma))
        }
        [Arg::Number(_), ..] => {
            first = None;
            None
        }
        _ => None,
    })
}
