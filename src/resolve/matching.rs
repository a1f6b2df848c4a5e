//! Holds a setting as written against the rows of the table and reads its values.

use super::arithmetic::{Lets, hyphen};
use super::names::Names;
use super::settings::{Key, Row, Scope, Slot, blocks_with, first_words, rows};
use crate::ast::{Arg, Body, Expr, Ident, Quantity, Reference, SelRange, Setting};
use crate::diagnostic::Sink;
use crate::diagnostic::words::{figure_of, shown};
use crate::rules;
use crate::source::Span;
use crate::unit::{self, Dimension, Gauge};

/// What one place of a setting holds.
#[derive(Clone, Copy, Debug)]
pub enum Value<'a> {
    /// A number in base units, or a count.
    Number(i64),
    /// Two ends.
    Range(i64, i64),
    /// A name, a text or a host.
    Word(Ident),
    /// A wire size.
    Gauge(Gauge),
    /// Which of a choice.
    Choice(usize),
    /// Words and commas as they stand.
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
    /// The number at a place, 0 if there is none.
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

/// Reads settings: the names and numbers they may use.
pub struct Reader<'r, 'a> {
    /// The names.
    pub names: &'r Names<'a>,
    /// The named numbers.
    pub lets: &'r Lets<'a>,
}

/// How far a row fitted and why no further.
struct Misfit<'a> {
    depth: usize,
    row: &'static Row,
    why: Why<'a>,
}

impl Misfit<'_> {
    /// How well the row fits all the same: the further the better, then the one whose form is right and
    /// whose number is wrong.
    fn rank(&self) -> (usize, bool) {
        let form = matches!(
            self.why,
            Why::Ends | Why::Found(_) | Why::Over(_) | Why::NoBlock
        );
        (self.depth, !form)
    }
}

enum Why<'a> {
    /// Nothing stands where something must.
    Ends,
    /// Something else stands there.
    Found(&'a Arg),
    /// Something is left over.
    Over(Span),
    /// It has been told.
    Told,
    /// A number without its unit.
    NoUnit(Span, Dimension),
    /// A number with another unit.
    WrongUnit(Ident, Dimension),
    /// A number where it is out of range, told when no other row fits.
    OutOfRange(Span, Dimension, i64, i64),
    /// The block is missing or not wanted.
    NoBlock,
}

impl<'a> Reader<'_, 'a> {
    /// The row a setting fits, with its values; otherwise it is told why not.
    pub fn read(&self, scope: Scope, setting: &'a Setting, sink: &mut Sink) -> Option<Matched<'a>> {
        let first = self.names.text(setting.key);
        let mut misfit: Option<Misfit<'a>> = None;
        for row in rows(scope).iter().filter(|row| row.first == first) {
            match self.try_row(row, setting, sink) {
                Ok(matched) => return Some(matched),
                Err(other) => {
                    if misfit
                        .as_ref()
                        .is_none_or(|best| other.rank() > best.rank())
                    {
                        misfit = Some(other);
                    }
                }
            }
        }
        match misfit {
            Some(misfit) => self.tell(&misfit, scope, setting, sink),
            None => {
                let known = first_words(scope);
                let elsewhere = blocks_with(first);
                sink.push(rules::syntax::unknown_setting::word(
                    setting.key.span,
                    first,
                    scope.word(),
                    &known,
                    &elsewhere,
                ));
            }
        }
        None
    }

    fn try_row(
        &self,
        row: &'static Row,
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
                slot => self
                    .take(slot, &mut rest, sink)
                    .map_err(|why| misfit(depth, why))?,
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
        // `ports 1..4` without a block is as good as an empty one.
        let bare_ports = wants_block && matches!(setting.body, Body::None);
        if !body_fits && !bare_ports {
            // A row of another body fits less well than any row that failed in its words.
            let depth = if wants_runs { 0 } else { row.slots.len() };
            return Err(misfit(depth, Why::NoBlock));
        }
        Ok(Matched {
            key: row.key,
            setting,
            values,
        })
    }

    fn take(
        &self,
        slot: &Slot,
        rest: &mut &'a [Arg],
        sink: &mut Sink,
    ) -> Result<Option<Value<'a>>, Why<'a>> {
        let Some((first, tail)) = rest.split_first() else {
            return Err(Why::Ends);
        };
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
            (Slot::Range(least, most) | Slot::RangeOrOne(least, most), Arg::Range(range)) => {
                self.range(range, (*least, *most), sink)?
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
            (Slot::Names | Slot::Words, _) => {
                let all = *rest;
                *rest = &[];
                return Ok(Some(Value::Args(all)));
            }
            (Slot::Choice(choices), Arg::Word(_)) => {
                let words = self.words(rest);
                match choices.iter().position(|choice| *choice == words) {
                    Some(which) => {
                        *rest = &[];
                        return Ok(Some(Value::Choice(which)));
                    }
                    None => return Err(Why::Found(first)),
                }
            }
            (Slot::Point, _) => {
                let [x, Arg::Comma(_), y, tail @ ..] = *rest else {
                    return Err(Why::Found(first));
                };
                let far = (-100_000_000_000, 100_000_000_000);
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

    /// Words joined by one blank; empty where something else stands among them.
    pub fn words(&self, args: &[Arg]) -> String {
        let mut out = String::new();
        for arg in args {
            let text = match arg {
                Arg::Word(word) => self.names.text(*word),
                Arg::Number(number) => self.names.text_at(number.span),
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
        sink: &mut Sink,
    ) -> Result<(i64, u8, Option<Ident>), Why<'a>> {
        match arg {
            Arg::Number(Quantity { value, unit, .. }) => {
                let value = self.lets.eval(self.names, value, sink).ok_or(Why::Told)?;
                Ok((value.digits, value.places, *unit))
            }
            // A lone name in a number's place is that of a `let`.
            Arg::Word(word) => {
                let value = self
                    .lets
                    .eval(self.names, &Expr::Name(*word), sink)
                    .ok_or(Why::Told)?;
                Ok((value.digits, value.places, None))
            }
            other => Err(Why::Found(other)),
        }
    }

    fn measure(
        &self,
        arg: &'a Arg,
        dimension: Dimension,
        (least, most): (i64, i64),
        sink: &mut Sink,
    ) -> Result<i64, Why<'a>> {
        let (digits, places, written) = self.number_of(arg, sink)?;
        let Some(written) = written else {
            return Err(Why::NoUnit(arg.span(), dimension));
        };
        let known = unit::find(self.names.text(written)).filter(|u| u.dimension == dimension);
        let Some(known) = known else {
            return Err(Why::WrongUnit(written, dimension));
        };
        let value = unit::Decimal { digits, places }.scaled(known.factor);
        value
            .filter(|value| (least..=most).contains(value))
            .ok_or(Why::OutOfRange(arg.span(), dimension, least, most))
    }

    fn count(
        &self,
        arg: &'a Arg,
        dimension: Option<Dimension>,
        (least, most): (i64, i64),
        sink: &mut Sink,
    ) -> Result<i64, Why<'a>> {
        let (digits, places, written) = self.number_of(arg, sink)?;
        if let Some(written) = written {
            let fits = unit::find(self.names.text(written))
                .is_some_and(|unit| Some(unit.dimension) == dimension);
            if !fits {
                return Err(match dimension {
                    Some(dimension) => Why::WrongUnit(written, dimension),
                    None => Why::Over(written.span),
                });
            }
        }
        unit::Decimal { digits, places }
            .as_whole()
            .filter(|value| (least..=most).contains(value))
            .ok_or(Why::OutOfRange(
                arg.span(),
                dimension.unwrap_or(Dimension::WireNumber),
                least,
                most,
            ))
    }

    fn range(
        &self,
        range: &'a SelRange,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Result<Value<'a>, Why<'a>> {
        let (from, to) = self
            .lets
            .range(self.names, range, "each end", bounds, sink)
            .ok_or(Why::Told)?;
        if from > to {
            sink.push(rules::syntax::number::backwards(range.span, from, to));
            return Err(Why::Told);
        }
        Ok(Value::Range(from, to))
    }

    /// A wire size: `18 AWG` or `1.5 mm2`.
    fn gauge(&self, quantity: &'a Quantity, sink: &mut Sink) -> Result<Gauge, Why<'a>> {
        let value = self
            .lets
            .eval(self.names, &quantity.value, sink)
            .ok_or(Why::Told)?;
        let Some(written) = quantity.unit else {
            return Err(Why::NoUnit(quantity.span, Dimension::WireNumber));
        };
        let dimension = unit::find(self.names.text(written)).map(|unit| unit.dimension);
        match dimension {
            Some(Dimension::WireNumber) => value
                .as_whole()
                .filter(|number| (0..=40).contains(number))
                .and_then(|number| u8::try_from(number).ok())
                .map(Gauge::Awg)
                .ok_or(Why::OutOfRange(quantity.span, Dimension::WireNumber, 0, 40)),
            Some(Dimension::WireArea) => value
                .scaled(1_000)
                .filter(|area| (50..=400_000).contains(area))
                .and_then(|area| u32::try_from(area).ok())
                .map(Gauge::Area)
                .ok_or(Why::OutOfRange(
                    quantity.span,
                    Dimension::WireArea,
                    50,
                    400_000,
                )),
            _ => Err(Why::WrongUnit(written, Dimension::WireNumber)),
        }
    }

    /// A wire size that stands in a statement, told if it is none.
    pub fn gauge_of(&self, quantity: &'a Quantity, sink: &mut Sink) -> Option<Gauge> {
        match self.gauge(quantity, sink) {
            Ok(gauge) => Some(gauge),
            Err(why) => {
                self.tell_number(&why, "the wire size", sink);
                None
            }
        }
    }

    /// A measure that stands in a statement, told if it is none.
    pub fn measure_of(
        &self,
        quantity: &'a Quantity,
        dimension: Dimension,
        what: &str,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Option<i64> {
        let value = self.lets.eval(self.names, &quantity.value, sink)?;
        let Some(written) = quantity.unit else {
            self.tell_number(&Why::NoUnit(quantity.span, dimension), what, sink);
            return None;
        };
        let known = unit::find(self.names.text(written)).filter(|u| u.dimension == dimension);
        let Some(known) = known else {
            self.tell_number(&Why::WrongUnit(written, dimension), what, sink);
            return None;
        };
        let scaled = value
            .scaled(known.factor)
            .filter(|value| (bounds.0..=bounds.1).contains(value));
        if scaled.is_none() {
            let why = Why::OutOfRange(quantity.span, dimension, bounds.0, bounds.1);
            self.tell_number(&why, what, sink);
        }
        scaled
    }

    /// A count that stands in a statement; its unit, if any, must be `nodes`.
    pub fn nodes_of(&self, quantity: &'a Quantity, what: &str, sink: &mut Sink) -> Option<u32> {
        if let Some(written) = quantity.unit {
            let nodes = unit::find(self.names.text(written))
                .is_some_and(|unit| unit.dimension == Dimension::Nodes);
            if !nodes {
                self.tell_number(&Why::WrongUnit(written, Dimension::Nodes), what, sink);
                return None;
            }
        }
        let most = super::settings::MOST_SLOTS;
        let count = self
            .lets
            .whole(self.names, &quantity.value, what, (1, most), sink)?;
        u32::try_from(count).ok()
    }

    fn tell(&self, misfit: &Misfit<'a>, scope: Scope, setting: &'a Setting, sink: &mut Sink) {
        let example = misfit.row.example;
        let after = Span::new(setting.span.end.saturating_sub(1), setting.span.end);
        match &misfit.why {
            Why::Ends => sink.push(rules::syntax::unexpected::setting_ends(
                after,
                self.names.text(setting.key),
                example,
            )),
            Why::NoBlock => sink.push(rules::syntax::unexpected::setting_form(
                setting.span,
                self.names.text_at(setting.span),
                scope.word(),
                example,
            )),
            Why::Found(arg) => {
                let span = arg.span();
                let found = self.names.text_at(span);
                sink.push(rules::syntax::unexpected::setting_form(
                    span,
                    found,
                    scope.word(),
                    example,
                ));
            }
            Why::Over(span) => sink.push(rules::syntax::unexpected::setting_form(
                *span,
                self.names.text_at(*span),
                scope.word(),
                example,
            )),
            why => self.tell_number(why, misfit.row.what, sink),
        }
    }

    fn tell_number(&self, why: &Why<'a>, what: &str, sink: &mut Sink) {
        let units = |dimension: Dimension| match dimension {
            Dimension::WireNumber | Dimension::WireArea => vec!["AWG", "mm2"],
            other => unit::of(other),
        };
        match why {
            Why::NoUnit(span, dimension) => sink.push(rules::syntax::unit::missing(
                *span,
                self.names.text_at(*span),
                what,
                &units(*dimension),
            )),
            Why::WrongUnit(unit, dimension) => sink.push(rules::syntax::unit::wrong(
                unit.span,
                self.names.text(*unit),
                what,
                &units(*dimension),
            )),
            Why::OutOfRange(span, ..) if hyphen(self.names, *span, what, sink) => {}
            Why::OutOfRange(span, dimension, least, most) => {
                // Counts share the unit behind the last: `1 to 512 slots`.
                let behind = match dimension {
                    Dimension::Nodes => " nodes",
                    Dimension::Slots => " slots",
                    Dimension::Universes => " universes",
                    Dimension::Strands => " strands",
                    _ => "",
                };
                let words = |value: i64| match dimension {
                    Dimension::WireNumber => figure_of(value),
                    _ if !behind.is_empty() => figure_of(value),
                    other => unit::quantity(value, *other),
                };
                sink.push(rules::syntax::number::out_of_range(
                    *span,
                    what,
                    shown(self.names.text_at(*span)),
                    words(*least),
                    words(*most) + behind,
                ));
            }
            _ => {}
        }
    }
}
