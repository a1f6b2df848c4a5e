//! Reports why a setting fits no row of the table: a common mistake if one is recognised, otherwise
//! what would have fitted.

use super::arithmetic::hyphen;
use super::matching::Reader;
use super::settings::{Key, Scope, SettingRow, Slot, rows};
use crate::ast::{Arg, Expr, Ident, Quantity, Setting};
use crate::diagnostic::{Diagnostic, Sink};
use crate::rules;
use crate::rules::syntax::unexpected;
use crate::source::{Span, quoted};
use crate::unit::{self, Decimal, Dimension};

/// How far a row fitted, and why it does not fit.
pub(super) struct Misfit<'a> {
    pub(super) depth: usize,
    pub(super) row: &'static SettingRow,
    pub(super) why: Why<'a>,
}

impl Misfit<'_> {
    /// How well the row fits: first how far it does, then whether only its number is wrong, then
    /// whether it is another row than that for strings built of runs.
    pub(super) fn rank(&self) -> (usize, bool, bool) {
        let form = matches!(self.why, Why::Ends | Why::Found(_) | Why::Over(_) | Why::NoBlock);
        let runs = matches!(self.row.slots, [Slot::Runs]);
        (self.depth, !form, !runs)
    }
}

/// Why a row does not fit.
pub(super) enum Why<'a> {
    /// The setting ends too early.
    Ends,
    /// The argument is of another kind.
    Found(&'a Arg),
    /// Something is left over, or a unit stands where none may.
    Over(Span),
    /// The reason has been reported.
    Stated,
    /// A number without its unit.
    NoUnit(Measured),
    /// A number with another unit.
    WrongUnit(Measured, Ident),
    /// A number out of range; reported only if no other row fits.
    OutOfRange(Measured),
    /// A block or runs are missing, or stand where none may.
    NoBlock,
}

/// A number that does not fit, and what would.
#[derive(Clone, Copy)]
pub(super) struct Measured {
    /// The number with its unit.
    pub(super) at: Span,
    /// Its value as written.
    pub(super) value: Decimal,
    /// Its unit as written.
    pub(super) unit: Option<Ident>,
    /// What it should measure; `None` for a bare count.
    pub(super) dimension: Option<Dimension>,
    /// The least and the most it may be, in base units.
    pub(super) bounds: (i64, i64),
}

impl Measured {
    /// Its value in base units, if there is one within its bounds.
    pub(super) fn held<'a>(self, value: Option<i64>) -> Result<i64, Why<'a>> {
        let within = |value: &i64| (self.bounds.0..=self.bounds.1).contains(value);
        value.filter(within).ok_or(Why::OutOfRange(self))
    }

    /// The units it may have: those in which it is within its bounds, or else all.
    fn units(&self, what: &str) -> Vec<&'static str> {
        let of = match self.dimension {
            Some(Dimension::WireNumber | Dimension::WireArea) => return vec!["AWG", "mm2"],
            Some(dimension) => unit::distinct(dimension),
            None => return Vec::new(),
        };
        let lies_in = |one: &&unit::Unit| {
            let value = self.value.scaled(one.factor);
            value.is_some_and(|value| (self.bounds.0..=self.bounds.1).contains(&value))
        };
        let fitting: Vec<_> = of.iter().copied().filter(lies_in).collect();
        let mut units = if fitting.is_empty() { of } else { fitting };
        // The likeliest unit comes first: nobody uses 5 mm of cable, or a fuse of 5 mA.
        let usual = match what {
            "the pitch" | "the draw" => "",
            _ if self.dimension == Some(Dimension::Length) => "m",
            _ if self.dimension == Some(Dimension::Current) => "A",
            _ => "",
        };
        units.sort_by_key(|unit| unit.name != usual);
        units.iter().map(|unit| unit.name).collect()
    }

    /// Whether a percentage may be meant, but written as a fraction of 1.
    fn is_share(&self) -> bool {
        let below_one =
            self.value.scaled(1_000_000_000).is_some_and(|nano| (1..1_000_000_000).contains(&nano));
        self.dimension == Some(Dimension::Share) && below_one
    }

    /// Whether it is a count that is not whole.
    fn is_broken(&self) -> bool {
        let counted =
            self.dimension.is_none_or(|of| unit::distinct(of).iter().all(|unit| unit.factor == 1));
        counted && self.value.as_whole().is_none()
    }
}

impl<'a> Reader<'_, 'a> {
    /// Reports a setting that fits no row; `misfit` is the row that fits best.
    pub(super) fn report(
        &self,
        misfit: &Misfit<'a>,
        scope: Scope,
        setting: &'a Setting,
        sink: &mut Sink,
    ) {
        if matches!(misfit.why, Why::Stated) || self.has_bent_quotes(setting) {
            return;
        }
        let slip = match &misfit.why {
            Why::OutOfRange(_) => None,
            Why::NoUnit(_) => self.other_number_of_strings(setting),
            Why::WrongUnit(_, unit) if unit::find(self.names.text(*unit)).is_some() => None,
            _ => self.slip(scope, setting),
        };
        if let Some(slip) = slip {
            return sink.push(slip);
        }
        let example = misfit.row.example;
        let form = |span: Span| {
            unexpected::setting_form(span, self.names.text_at(span), scope.word(), example)
        };
        sink.push(match &misfit.why {
            Why::Ends => {
                let last = Span::new(setting.span.end.saturating_sub(1), setting.span.end);
                unexpected::setting_ends(last, self.names.text(setting.key), example)
            }
            Why::NoBlock => form(setting.span),
            Why::Found(arg) => match misfit.row.slots.get(misfit.depth) {
                Some(Slot::Choice(choices)) => self.no_choice(choices, arg, scope, setting),
                _ => form(arg.span()),
            },
            Why::Over(span) => form(*span),
            why => return self.tell_number(why, what(misfit), sink),
        });
    }

    /// Whether a text of the setting stands in bent quotes, which has been reported.
    fn has_bent_quotes(&self, setting: &Setting) -> bool {
        setting.args.iter().any(|arg| match arg {
            Arg::Text(text) => {
                let before = Span::new(setting.span.start, text.span.start);
                !self.names.text_at(before).ends_with('"')
            }
            _ => false,
        })
    }

    /// The finding for a common mistake.
    fn slip(&self, scope: Scope, setting: &'a Setting) -> Option<Diagnostic> {
        self.quoted_number(setting)
            .or_else(|| self.letters_in_number(setting))
            .or_else(|| self.worded_range(setting))
            .or_else(|| {
                let fits = |before: &'a [Arg]| self.fits(scope, setting, before);
                self.second_setting(scope, setting, fits)
            })
            .or_else(|| self.other_number_of_strings(setting))
            .or_else(|| self.words_left_out(scope, setting))
    }

    /// `universes 20`, `nodes max 800`, `label front`: words before a value or quotes are missing.
    fn words_left_out(&self, scope: Scope, setting: &'a Setting) -> Option<Diagnostic> {
        let key = self.names.text(setting.key);
        let words = setting.args.iter();
        let words = words.take_while(|arg| matches!(arg, Arg::Word(_))).count();
        let meant = rows(scope).iter().filter(|row| row.first == key).find_map(|row| {
            if let [Slot::Text | Slot::Texts] = row.slots {
                let text = self.names.text_at(setting.args.first()?.span().to(setting.span));
                let all = text.get(key.len()..)?.trim();
                return (words == setting.args.len())
                    .then(|| format!("{key} \"{}\"", quoted::written(all)));
            }
            let is_word = |slot: &&Slot| matches!(slot, Slot::Word(_));
            let (own, value) = row.slots.split_at(row.slots.iter().take_while(is_word).count());
            let value: Vec<Slot> =
                value.iter().copied().filter(|slot| !matches!(slot, Slot::Block)).collect();
            let args = setting.args.get(words..)?;
            let first = args.first()?;
            let number = matches!(first, Arg::Number(_)) && !own.is_empty();
            if !number || !self.fits_slots(&value, args) {
                return None;
            }
            let own: Vec<&str> = own
                .iter()
                .filter_map(|slot| match slot {
                    Slot::Word(word) => Some(*word),
                    _ => None,
                })
                .collect();
            let rest = Span::new(first.span().start, setting.span.end);
            let rest = self.names.text_at(rest).trim_end();
            Some(format!("{key} {} {rest}", own.join(" ")))
        })?;
        let at = setting.args.first()?.span();
        Some(unexpected::words_left_out(at, self.names.text_at(setting.span), scope.word(), &meant))
    }

    /// `string "40" nodes`.
    fn quoted_number(&self, setting: &Setting) -> Option<Diagnostic> {
        setting.args.iter().find_map(|arg| {
            let Arg::Text(text) = arg else { return None };
            let written = self.names.text(*text).trim();
            let number = written.starts_with(|c: char| c.is_ascii_digit())
                && written.bytes().all(|b| b.is_ascii_digit() || b"._".contains(&b));
            let with_quotes = Span::new(text.span.start.saturating_sub(1), text.span.end + 1);
            number.then(|| unexpected::quoted_number(with_quotes, written))
        })
    }

    /// `12x10 nodes`, `6OO nodes`: letters in place of a sign or of digits.
    fn letters_in_number(&self, setting: &Setting) -> Option<Diagnostic> {
        setting.args.iter().enumerate().find_map(|(at, arg)| {
            let Arg::Number(Quantity { value, unit: Some(unit) }) = arg else {
                return None;
            };
            let (number, letters) = (self.names.text_at(value.span()), self.names.text(*unit));
            let whole = value.span().to(unit.span);
            if let Some(digits) = letters.strip_prefix(['x', 'X']) {
                let next = setting.args.get(at + 1);
                let (digits, whole) = match next {
                    Some(Arg::Number(second)) if digits.is_empty() => {
                        let second = second.value.span();
                        (self.names.text_at(second), whole.to(second))
                    }
                    _ => (digits, whole),
                };
                let counts = !digits.is_empty() && digits.bytes().all(|b| b.is_ascii_digit());
                let meant = format!("{number} * {digits}");
                let several = matches!(self.names.text(setting.key), "string" | "strings")
                    .then_some((number, digits));
                return counts
                    .then(|| rules::syntax::number::letter_for_times(whole, &meant, several));
            }
            let glued = value.span().end == unit.span.start;
            if !glued || !letters.chars().all(|c| "OoIl".contains(c)) {
                return None;
            }
            let digits = letters.replace(['O', 'o'], "0").replace(['I', 'l'], "1");
            let meant = format!("{number}{digits}");
            Some(rules::syntax::number::letters_for_digits(whole, &meant))
        })
    }

    /// The finding for an argument that is none of the words of a choice.
    fn no_choice(
        &self,
        choices: &[&str],
        arg: &Arg,
        scope: Scope,
        setting: &Setting,
    ) -> Diagnostic {
        let written = Span::new(arg.span().start, setting.span.end);
        let text = self.names.text_at(written);
        let plain = text.replace('-', " ");
        let last = |words: &str| {
            let word = words.rsplit(' ').next().unwrap_or(words);
            word.trim_end_matches('s').to_owned()
        };
        let near = crate::diagnostic::words::nearest(&plain, choices.iter().copied());
        let near = near.first().copied().or_else(|| {
            let mut alike = choices.iter().filter(|choice| last(choice) == last(&plain));
            alike.next().copied()
        });
        let key = self.names.text(setting.key);
        unexpected::no_choice(written, text, (scope.word(), key), choices, near)
    }

    /// `ports 1 to 4`.
    fn worded_range(&self, setting: &Setting) -> Option<Diagnostic> {
        let (from, to) = setting.args.windows(3).find_map(|three| match three {
            [Arg::Number(from), Arg::Word(to), Arg::Number(last)]
                if self.names.text(*to) == "to" =>
            {
                Some((from.value.span(), last.value.span()))
            }
            _ => None,
        })?;
        let (first, last) = (self.names.text_at(from), self.names.text_at(to));
        Some(unexpected::worded_range(from.to(to), "to", (first, last)))
    }

    /// Another setting after this one without a `;`: the first word that begins a setting, if what
    /// stands before it is complete.
    pub(super) fn second_setting(
        &self,
        scope: Scope,
        setting: &'a Setting,
        whole: impl Fn(&'a [Arg]) -> bool,
    ) -> Option<Diagnostic> {
        let begins =
            |word: Ident| (rows(scope).iter()).any(|row| row.first == self.names.text(word));
        let word = setting.args.iter().enumerate().find_map(|(at, arg)| {
            let before = setting.args.get(..at).unwrap_or_default();
            match arg {
                Arg::Word(word) if at > 0 && begins(*word) && whole(before) => Some(*word),
                Arg::Word(word) if begins(*word) => {
                    let (comma, before) = before.split_last()?;
                    (matches!(comma, Arg::Comma(_)) && whole(before)).then_some(*word)
                }
                // In `universes from 1 ports 1..4`, `ports` was read as a unit. In `12 volts`, a
                // unit is meant.
                Arg::Number(Quantity { unit: Some(word), value, .. }) => {
                    let text = self.names.text(*word);
                    let own = text == self.names.text(setting.key);
                    let no_unit = unit::find(text).is_none() || matches!(value, Expr::Name(_));
                    (begins(*word) && !own && no_unit).then_some(*word)
                }
                _ => None,
            }
        })?;
        let before = self.names.text_at(Span::new(setting.span.start, word.span.start));
        let text = self.names.text(word);
        Some(match before.trim_end().strip_suffix(',') {
            Some(first) => unexpected::comma_for_semicolon(word.span, text, first.trim_end()),
            None => unexpected::second_setting(word.span, text, before.trim_end()),
        })
    }

    /// `strings 36 nodes`, `string 2 of 36 nodes`.
    fn other_number_of_strings(&self, setting: &Setting) -> Option<Diagnostic> {
        let key = self.names.text(setting.key);
        let written = |quantity: &Quantity| self.names.text_at(quantity.span());
        let nodes = |quantity: &Quantity| {
            let unit = quantity.unit.and_then(|unit| unit::find(self.names.text(unit)));
            unit.is_some_and(|unit| unit.dimension == Dimension::Nodes)
        };
        match (key, &*setting.args) {
            ("strings", [Arg::Number(length)]) if nodes(length) => {
                Some(unexpected::strings_of_one(setting.key.span, written(length)))
            }
            ("string", [Arg::Number(count), Arg::Word(of), .., Arg::Number(length)])
                if self.names.text(*of) == "of" && nodes(length) =>
            {
                let behind = Span::new(of.span.end, length.span().end);
                Some(unexpected::string_of_several(
                    setting.key.span,
                    written(count),
                    self.names.text_at(behind).trim_start(),
                ))
            }
            _ => None,
        }
    }

    /// Reports a number that does not fit; `what` says what it stands for.
    pub(super) fn tell_number(&self, why: &Why<'a>, what: &str, sink: &mut Sink) {
        let number = |of: &Measured, unit: Option<Ident>| {
            let end = unit.map_or(of.at.end, |unit| unit.span.start);
            self.names.text_at(Span::new(of.at.start, end)).trim_end()
        };
        match why {
            Why::NoUnit(of) if of.is_share() => {
                let percent = of.value.scaled(100).map(|percent| percent.to_string());
                let written = number(of, None);
                let finding = rules::syntax::unit::share(of.at, written, what, percent.as_deref());
                sink.push(finding);
            }
            Why::NoUnit(of) => sink.push(rules::syntax::unit::missing(
                of.at,
                number(of, None),
                what,
                &of.units(what),
            )),
            Why::WrongUnit(of, unit) => sink.push(rules::syntax::unit::wrong(
                unit.span,
                self.names.text(*unit),
                (what, number(of, Some(*unit))),
                &of.units(what),
            )),
            Why::OutOfRange(of) if hyphen(self.names, of.at, what, sink) => {}
            Why::OutOfRange(of) => {
                let written = match of.unit {
                    Some(unit) => format!("{} {}", of.value.words(), self.names.text(unit)),
                    None => of.value.words(),
                };
                let loads = of.dimension == Some(Dimension::UnitLoads);
                if loads && of.value.scaled(1_000).is_none() {
                    return sink.push(rules::syntax::number::finer(of.at, what, written, 3));
                }
                if of.is_broken() {
                    return sink.push(rules::syntax::number::not_whole(of.at, what, written));
                }
                if let Some((finest, near)) = self.too_fine(of) {
                    let told = rules::syntax::number::finer_than_kept;
                    return sink.push(told(of.at, what, &written, &finest, &near));
                }
                let words = |value: i64| match of.dimension {
                    None => value.to_string(),
                    Some(dimension) => unit::quantity(value, dimension),
                };
                let factor = of
                    .unit
                    .and_then(|unit| unit::find(self.names.text(unit)))
                    .map_or(if loads { 1_000 } else { 1 }, |unit| unit.factor);
                let scale = 10_i128.saturating_pow(u32::from(of.value.places));
                let value = i128::from(of.value.digits) * i128::from(factor);
                sink.push(if value < i128::from(of.bounds.0) * scale {
                    rules::syntax::number::too_small(of.at, what, written, words(of.bounds.0))
                } else {
                    rules::syntax::number::too_big(of.at, what, written, words(of.bounds.1))
                });
            }
            _ => {}
        }
    }

    /// For a measure with too many decimals: the smallest step of its unit, and the value rounded
    /// to that step. `None` if that value is out of bounds.
    fn too_fine(&self, of: &Measured) -> Option<(String, String)> {
        let unit = unit::find(self.names.text(of.unit?))?;
        if of.value.scaled(unit.factor).is_some() {
            return None;
        }
        let scale = 10_i128.checked_pow(u32::from(of.value.places))?;
        let base = i128::from(of.value.digits) * i128::from(unit.factor);
        let near = i64::try_from((base + scale / 2).div_euclid(scale)).ok()?;
        let words = |value: i64| match unit.factor.ilog10() {
            places if 10_i64.pow(places) == unit.factor => {
                format!("{} {}", unit::decimal(value, unit.factor), unit.name)
            }
            // The factor of an inch or a foot is no power of ten.
            _ => unit::quantity(value, unit.dimension),
        };
        (of.bounds.0..=of.bounds.1).contains(&near).then(|| (words(1), words(near)))
    }
}

/// What the number of a misfit stands for.
fn what(misfit: &Misfit<'_>) -> &'static str {
    let counted = misfit.depth == 0;
    match misfit.row.key {
        Key::Strings | Key::Strands if counted => "the number of strings",
        _ => misfit.row.what,
    }
}
