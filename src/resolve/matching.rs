//! Matches a setting as written with the rows of the table, and reads its values.

use super::arithmetic::{Lets, hyphen};
use super::misfits::{Measured, Misfit, Why};
use super::names::Names;
use super::settings::{FAR_UM, Key, Scope, SettingRow, Slot, blocks_with, first_words, rows};
use crate::ast::{Arg, Body, Expr, Ident, Quantity, Reference, SelRange, Setting};
use crate::diagnostic::Sink;
use crate::rules;
use crate::source::Span;
use crate::unit::{self, Dimension, Gauge};

/// The value of one place of a setting.
#[derive(Clone, Copy, Debug)]
pub enum Value<'a> {
    /// A number in base units, or a count.
    Number(i64),
    /// The two ends of a range, or the two numbers of a point.
    Range(i64, i64),
    /// A name, a text or a host.
    Word(Ident),
    /// A wire size.
    Gauge(Gauge),
    /// The index of one of the words of a choice.
    Choice(usize),
    /// Arguments and commas as written.
    Args(&'a [Arg]),
    /// A reference with members or a part.
    Reference(&'a Reference),
}

/// A setting that fits a row.
#[derive(Clone, Copy, Debug)]
pub struct Matched<'a> {
    /// What it sets.
    pub key: Key,
    /// The setting.
    pub setting: &'a Setting,
    values: [Option<Value<'a>>; 3],
}

impl<'a> Matched<'a> {
    /// The number at a place; 0 if there is none.
    #[must_use]
    pub fn number(&self, at: usize) -> i64 {
        match self.value(at) {
            Some(Value::Number(number)) => number,
            _ => 0,
        }
    }

    /// The value at a place.
    #[must_use]
    pub fn value(&self, at: usize) -> Option<Value<'a>> {
        self.values.get(at).copied().flatten()
    }

    /// The place of the setting.
    #[must_use]
    pub fn at(&self) -> Span {
        self.setting.span
    }
}

/// Reads settings, with the names and numbers that they may use.
pub struct Reader<'r, 'a> {
    /// The names.
    pub names: &'r Names<'a>,
    /// The named numbers.
    pub lets: &'r Lets<'a>,
}

impl<'a> Reader<'_, 'a> {
    /// The row that a setting fits, with its values; `None` once the reason is reported.
    pub fn read(&self, scope: Scope, setting: &'a Setting, sink: &mut Sink) -> Option<Matched<'a>> {
        let first = self.names.text(setting.key);
        let begin = first.as_bytes().first();
        let is = |word: &str| word.as_bytes().first() == begin && word == first;
        let mut misfit: Option<Misfit<'a>> = None;
        for row in rows(scope).iter().filter(|row| is(row.first)) {
            match self.try_row(row, setting, sink) {
                Ok(matched) => return Some(matched),
                Err(other) => {
                    if misfit.as_ref().is_none_or(|best| other.rank() > best.rank()) {
                        misfit = Some(other);
                    }
                }
            }
        }
        self.use_words(setting);
        match misfit {
            Some(misfit) => self.report(&misfit, scope, setting, sink),
            None => {
                let known = first_words(scope);
                let elsewhere = blocks_with(first);
                sink.push(rules::syntax::unknown_setting::word(
                    (setting.key.span, first),
                    scope.word(),
                    &known,
                    &elsewhere,
                    blocks_with,
                ));
            }
        }
        None
    }

    /// Marks what a setting names as used although the setting is left out: it may be meant.
    fn use_words(&self, setting: &Setting) {
        for arg in &setting.args {
            if let Arg::Word(word) = arg {
                self.names.use_anywhere(*word);
                self.lets.use_name(&self.names.key(*word));
            }
        }
    }

    /// Whether words and values make a whole setting with this first word.
    pub(super) fn fits(&self, scope: Scope, setting: &'a Setting, args: &'a [Arg]) -> bool {
        let first = self.names.text(setting.key);
        rows(scope)
            .iter()
            .filter(|row| row.first == first && !matches!(row.slots, [Slot::Runs]))
            .any(|row| self.fits_slots(row.slots, args))
    }

    /// Whether words and values fit some slots, with nothing left over.
    pub(super) fn fits_slots(&self, slots: &[Slot], args: &'a [Arg]) -> bool {
        let (mut rest, mut scratch) = (args, Sink::default());
        slots
            .iter()
            .filter(|slot| !matches!(slot, Slot::Block))
            .all(|slot| self.take(slot, &mut rest, &mut scratch).is_ok())
            && rest.is_empty()
    }

    fn try_row(
        &self,
        row: &'static SettingRow,
        setting: &'a Setting,
        sink: &mut Sink,
    ) -> Result<Matched<'a>, Misfit<'a>> {
        let mut values = [None; 3];
        let mut filled = 0;
        let mut rest: &'a [Arg] = &setting.args;
        let misfit = |depth, why| Misfit { depth, row, why };
        let mut wants_block = false;
        let mut wants_runs = false;
        for (depth, slot) in row.slots.iter().enumerate() {
            let value = match slot {
                Slot::Block => {
                    wants_block = true;
                    continue;
                }
                Slot::Runs => {
                    wants_runs = true;
                    if !matches!(setting.body, Body::Runs(_)) {
                        return Err(misfit(0, Why::NoBlock));
                    }
                    if let [Arg::Word(name)] = rest {
                        values[0] = Some(Value::Word(*name));
                        rest = &[];
                    }
                    continue;
                }
                slot => self.take(slot, &mut rest, sink).map_err(|why| misfit(depth, why))?,
            };
            if let (Some(value), Some(place)) = (value, values.get_mut(filled)) {
                *place = Some(value);
                filled += 1;
            }
        }
        if let Some(over) = rest.first() {
            return Err(misfit(row.slots.len(), Why::Over(over.span())));
        }
        let body_fits = match setting.body {
            Body::None => !wants_block && !wants_runs,
            Body::Block(..) => wants_block,
            Body::Runs(_) => wants_runs,
        };
        // `ports 1..4` without a block counts as one with an empty block.
        let bare_ports = wants_block && matches!(setting.body, Body::None);
        if !body_fits && !bare_ports {
            // The words fit; only the body does not.
            let depth = if wants_runs { 0 } else { row.slots.len() };
            return Err(misfit(depth, Why::NoBlock));
        }
        Ok(Matched { key: row.key, setting, values })
    }

    fn take(
        &self,
        slot: &Slot,
        rest: &mut &'a [Arg],
        sink: &mut Sink,
    ) -> Result<Option<Value<'a>>, Why<'a>> {
        let (first, tail) = rest.split_first().ok_or(Why::Ends)?;
        let value = match (slot, first) {
            (Slot::Word(word), Arg::Word(written)) if self.names.text(*written) == *word => {
                *rest = tail;
                return Ok(None);
            }
            (Slot::Measure(dimension, least, most), _) => {
                Value::Number(self.measure(first, *dimension, (*least, *most), sink)?)
            }
            (Slot::Count(least, most, dimension), _) => {
                Value::Number(self.count(first, *dimension, (*least, *most), sink)?)
            }
            (Slot::Thousandths(dimension, least, most), _) => {
                Value::Number(self.thousandths(first, *dimension, (*least, *most), sink)?)
            }
            (Slot::Range(least, most) | Slot::RangeOrOne(least, most), Arg::Range(range)) => {
                let ends = self.rising(range, "an end of the range", (*least, *most), sink);
                let (from, to) = ends.ok_or(Why::Stated)?;
                Value::Range(from, to)
            }
            (Slot::RangeOrOne(least, most), Arg::Number(_) | Arg::Word(_)) => {
                let one = self.count(first, None, (*least, *most), sink)?;
                Value::Range(one, one)
            }
            (Slot::Name | Slot::Host, Arg::Word(word))
            | (Slot::Text, Arg::Text(word))
            | (Slot::Host, Arg::Address(word)) => Value::Word(*word),
            (Slot::Host, Arg::Reference(name)) => Value::Word(Ident { span: name.span }),
            (Slot::Gauge, Arg::Number(quantity)) => Value::Gauge(self.gauge(quantity, sink)?),
            (Slot::Names, Arg::Word(_)) | (Slot::Texts, Arg::Text(_)) => {
                return Ok(Some(Value::Args(list(first, tail, rest))));
            }
            (Slot::Words, _) => {
                let all = *rest;
                *rest = &[];
                return Ok(Some(Value::Args(all)));
            }
            (Slot::Choice(choices), Arg::Word(_)) => {
                let words = self.words(rest);
                let which = choices.iter().position(|choice| *choice == words);
                let which = which.ok_or(Why::Found(first))?;
                *rest = &[];
                return Ok(Some(Value::Choice(which)));
            }
            (Slot::Point, _) => {
                let [x, Arg::Comma(_), y, tail @ ..] = *rest else {
                    return Err(Why::Found(first));
                };
                let far = (-FAR_UM, FAR_UM);
                let x = self.measure(x, Dimension::Length, far, sink)?;
                let y = self.measure(y, Dimension::Length, far, sink)?;
                *rest = tail;
                return Ok(Some(Value::Range(x, y)));
            }
            (Slot::Reference, Arg::Reference(reference)) => Value::Reference(reference),
            (Slot::Reference, Arg::Word(word)) => Value::Word(*word),
            (_, found) => return Err(Why::Found(found)),
        };
        *rest = tail;
        Ok(Some(value))
    }

    /// Words and numbers joined by one blank; empty if there is anything else among them.
    pub fn words(&self, args: &[Arg]) -> String {
        let mut out = String::new();
        for arg in args {
            let text = match arg {
                Arg::Word(word) => self.names.text(*word),
                Arg::Number(number) => self.names.text_at(number.span()),
                _ => return String::new(),
            };
            if !out.is_empty() {
                out.push(' ');
            }
            out.push_str(text);
        }
        out
    }

    fn number_of(
        &self,
        arg: &'a Arg,
        dimension: Option<Dimension>,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Result<Measured, Why<'a>> {
        let name;
        let (number, unit) = match arg {
            Arg::Number(Quantity { value, unit, .. }) => (value, *unit),
            // A word of the language is not taken for the name of a missing `let`.
            Arg::Word(word) if !self.is_own_word(*word) => {
                // A name in the place of a number is that of a `let`.
                name = Expr::Name(*word);
                (&name, None)
            }
            other => return Err(Why::Found(other)),
        };
        let value = self.lets.eval(self.names, number, sink).ok_or(Why::Stated)?;
        Ok(Measured { at: arg.span(), value, unit, dimension, bounds })
    }

    /// Whether a word is one of the language and cannot be the name of a `let`.
    fn is_own_word(&self, word: Ident) -> bool {
        let text = self.names.text(word);
        let key = self.names.key(word);
        let own = rules::syntax::unexpected::is_own_word(text);
        own && !self.lets.has(&key) && !self.names.is_mentioned(&key)
    }

    fn measure(
        &self,
        arg: &'a Arg,
        dimension: Dimension,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Result<i64, Why<'a>> {
        self.scaled(self.number_of(arg, Some(dimension), bounds, sink)?)
    }

    /// A measure in base units.
    fn scaled(&self, of: Measured) -> Result<i64, Why<'a>> {
        let Some(written) = of.unit else {
            return Err(Why::NoUnit(of));
        };
        let known = unit::find(self.names.text(written));
        let Some(known) = known.filter(|unit| Some(unit.dimension) == of.dimension) else {
            return Err(Why::WrongUnit(of, written));
        };
        of.held(of.value.scaled(known.factor))
    }

    /// A decimal without a unit, in thousandths.
    fn thousandths(
        &self,
        arg: &'a Arg,
        dimension: Dimension,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Result<i64, Why<'a>> {
        let of = self.number_of(arg, Some(dimension), bounds, sink)?;
        if let Some(written) = of.unit {
            return Err(Why::Over(written.span));
        }
        of.held(of.value.scaled(1_000))
    }

    fn count(
        &self,
        arg: &'a Arg,
        dimension: Option<Dimension>,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Result<i64, Why<'a>> {
        let of = self.number_of(arg, dimension, bounds, sink)?;
        if let Some(written) = of.unit {
            let fits = unit::find(self.names.text(written))
                .is_some_and(|unit| Some(unit.dimension) == dimension);
            if !fits {
                return Err(match dimension {
                    Some(_) => Why::WrongUnit(of, written),
                    None => Why::Over(written.span),
                });
            }
        }
        of.held(of.value.as_whole())
    }

    /// A wire size: `18 AWG` or `1.5 mm2`.
    fn gauge(&self, quantity: &'a Quantity, sink: &mut Sink) -> Result<Gauge, Why<'a>> {
        let unit = quantity.unit.and_then(|unit| unit::find(self.names.text(unit)));
        let dimension = unit.map(|unit| unit.dimension);
        if dimension == Some(Dimension::WireNumber)
            && let Some(number) = self.aught(quantity)
        {
            sink.push(rules::syntax::number::aught(quantity.span(), number));
            return Err(Why::Stated);
        }
        let value = self.lets.eval(self.names, &quantity.value, sink).ok_or(Why::Stated)?;
        let of = |dimension, bounds| Measured {
            at: quantity.span(),
            value,
            unit: quantity.unit,
            dimension: Some(dimension),
            bounds,
        };
        let by_number = of(Dimension::WireNumber, (0, 40));
        let Some(written) = quantity.unit else {
            return Err(Why::NoUnit(by_number));
        };
        match dimension {
            Some(Dimension::WireNumber) => value
                .as_whole()
                .filter(|number| (0..=40).contains(number))
                .and_then(|number| u8::try_from(number).ok())
                .map(Gauge::Awg)
                .ok_or(Why::OutOfRange(by_number)),
            Some(Dimension::WireArea) => value
                .scaled(1_000)
                .filter(|area| (50..=400_000).contains(area))
                .and_then(|area| u32::try_from(area).ok())
                .map(Gauge::Area)
                .ok_or(Why::OutOfRange(of(Dimension::WireArea, (50, 400_000)))),
            _ => Err(Why::WrongUnit(by_number, written)),
        }
    }

    /// The number before `/0 AWG`, if that is written.
    fn aught(&self, quantity: &Quantity) -> Option<u32> {
        if matches!(quantity.value, Expr::Number(..)) {
            return None;
        }
        let text = self.names.text_at(quantity.value.span());
        let (number, zero) = text.split_once('/')?;
        let number = number.trim().parse().ok()?;
        (zero.trim() == "0" && (1..=4).contains(&number)).then_some(number)
    }

    /// A wire size in a statement; anything else is reported.
    pub fn gauge_of(&self, quantity: &'a Quantity, sink: &mut Sink) -> Option<Gauge> {
        match self.gauge(quantity, sink) {
            Ok(gauge) => Some(gauge),
            Err(why) => {
                self.tell_number(&why, "the wire size", sink);
                None
            }
        }
    }

    /// A measure in a statement; anything else is reported.
    #[allow(
        clippy::too_many_arguments,
        reason = "what is read, what it may be, and where faults go"
    )]
    pub fn measure_of(
        &self,
        quantity: &'a Quantity,
        dimension: Dimension,
        what: &str,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Option<i64> {
        let value = self.lets.eval(self.names, &quantity.value, sink)?;
        let of = Measured {
            at: quantity.span(),
            value,
            unit: quantity.unit,
            dimension: Some(dimension),
            bounds,
        };
        match self.scaled(of) {
            Ok(value) => Some(value),
            Err(why) => {
                self.tell_number(&why, what, sink);
                None
            }
        }
    }

    /// A count in a statement; its unit, if any, must be `nodes`.
    pub fn nodes_of(&self, quantity: &'a Quantity, what: &str, sink: &mut Sink) -> Option<u32> {
        if let Some(written) = quantity.unit {
            let nodes = unit::find(self.names.text(written))
                .is_some_and(|unit| unit.dimension == Dimension::Nodes);
            if !nodes {
                let of = Measured {
                    at: quantity.span(),
                    value: self.lets.eval(self.names, &quantity.value, sink)?,
                    unit: quantity.unit,
                    dimension: Some(Dimension::Nodes),
                    bounds: (1, super::settings::MOST_SLOTS),
                };
                self.tell_number(&Why::WrongUnit(of, written), what, sink);
                return None;
            }
        }
        let most = super::settings::MOST_SLOTS;
        let count = self.whole(&quantity.value, what, (1, most), sink)?;
        u32::try_from(count).ok()
    }

    /// A whole number between two bounds; anything else is reported.
    pub fn whole(
        &self,
        expr: &Expr,
        what: &str,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Option<i64> {
        let value = self.lets.eval(self.names, expr, sink)?;
        match value.as_whole() {
            Some(n) if (bounds.0..=bounds.1).contains(&n) => Some(n),
            Some(n) if n <= 0 && hyphen(self.names, expr.span(), what, sink) => None,
            Some(n) => {
                let (at, written) = (expr.span(), value.words());
                sink.push(if n < bounds.0 {
                    rules::syntax::number::too_small(at, what, written, bounds.0)
                } else {
                    rules::syntax::number::too_big(at, what, written, bounds.1)
                });
                None
            }
            None => {
                let written = value.words();
                sink.push(rules::syntax::number::not_whole(expr.span(), what, written));
                None
            }
        }
    }

    /// Both ends of a range, each between the bounds; a single number is both. The range may fall.
    pub fn range(
        &self,
        range: &SelRange,
        what: &str,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Option<(i64, i64)> {
        let from = self.whole(&range.from, what, bounds, sink)?;
        let to = match &range.to {
            Some(to) => self.whole(to, what, bounds, sink)?,
            None => from,
        };
        Some((from, to))
    }

    /// As [`Self::range`]; a falling range is reported.
    pub fn rising(
        &self,
        range: &SelRange,
        what: &str,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Option<(i64, i64)> {
        let (from, to) = self.range(range, what, bounds, sink)?;
        if from > to {
            sink.push(rules::syntax::number::backwards(range.span, from, to));
            return None;
        }
        Some((from, to))
    }

    /// As [`Self::range`], for bounds within `u32`.
    pub fn ends(
        &self,
        range: &SelRange,
        what: &str,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Option<(u32, u32)> {
        let (from, to) = self.range(range, what, bounds, sink)?;
        Some((u32::try_from(from).ok()?, u32::try_from(to).ok()?))
    }
}

/// Takes an argument and those of its kind that follow it after commas, and a trailing comma.
fn list<'a>(first: &Arg, tail: &'a [Arg], rest: &mut &'a [Arg]) -> &'a [Arg] {
    let alike = |arg: &Arg| std::mem::discriminant(arg) == std::mem::discriminant(first);
    let more = tail.chunks(2).take_while(|two| match two {
        [Arg::Comma(_)] => true,
        [Arg::Comma(_), arg] => alike(arg),
        _ => false,
    });
    let (names, after) = rest.split_at(1 + more.map(<[Arg]>::len).sum::<usize>());
    *rest = after;
    names
}
