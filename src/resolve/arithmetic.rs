//! Whole-number arithmetic and the names of `let`.

use super::names::Names;
use crate::ast::{Expr, Let, Operator, SelRange};
use crate::diagnostic::Sink;
use crate::rules;
use crate::source::Span;
use crate::unit::Decimal;
use std::collections::HashMap;

/// The named numbers of a display.
#[derive(Debug, Default)]
pub struct Lets<'a> {
    by_name: HashMap<std::borrow::Cow<'a, str>, usize>,
    rows: Vec<Row>,
}

#[derive(Debug)]
struct Row {
    at: Span,
    value: Option<Decimal>,
    used: std::cell::Cell<bool>,
}

impl<'a> Lets<'a> {
    /// Takes the `let` statements in file order; each may use those before it.
    pub fn read(
        names: &Names<'a>,
        statements: impl Iterator<Item = &'a Let>,
        sink: &mut Sink,
    ) -> Self {
        let mut lets = Self::default();
        for one in statements {
            let key = names.key(one.name);
            if let Some(first) = lets.by_name.get(&key).and_then(|at| lets.rows.get(*at)) {
                sink.push(rules::name::taken::again(
                    "let",
                    &key,
                    one.name.span,
                    first.at,
                ));
                continue;
            }
            let value = lets.eval(names, &one.value.value, sink);
            if let (Some(_), Some(unit)) = (value, one.value.unit) {
                sink.push(rules::syntax::unit::not_wanted(
                    unit.span,
                    names.text(unit),
                    "a `let` names a number alone",
                ));
            }
            lets.by_name.insert(key, lets.rows.len());
            lets.rows.push(Row {
                at: one.name.span,
                value,
                used: std::cell::Cell::new(false),
            });
        }
        lets
    }

    /// The value of an expression; `None` where it has none, which has then been told.
    pub fn eval(&self, names: &Names<'a>, expr: &Expr, sink: &mut Sink) -> Option<Decimal> {
        match expr {
            Expr::Number(_, digits, places) => Some(Decimal {
                digits: *digits,
                places: *places,
            }),
            Expr::Broken(_) => None,
            Expr::Name(name) => {
                let key = names.key(*name);
                if let Some(row) = self.by_name.get(&key).and_then(|at| self.rows.get(*at)) {
                    row.used.set(true);
                    return row.value;
                }
                if names.is_mentioned(&key) {
                    return None;
                }
                sink.push(rules::name::unknown::number(
                    name.span,
                    &key,
                    self.subtraction(&key),
                    self.by_name.keys().map(AsRef::as_ref),
                ));
                None
            }
            Expr::Negate(span, inner) => {
                let value = self.eval(names, inner, sink)?;
                match value.digits.checked_neg() {
                    Some(digits) => Some(Decimal { digits, ..value }),
                    None => {
                        sink.push(rules::syntax::number::overflow(*span));
                        None
                    }
                }
            }
            Expr::Binary(binary) => {
                let left = self.eval(names, &binary.left, sink);
                let right = self.eval(names, &binary.right, sink);
                let (left, right) = (left?, right?);
                let (Some(a), Some(b)) = (left.as_whole(), right.as_whole()) else {
                    let written = names.text_at(binary.span);
                    sink.push(rules::syntax::number::not_whole(
                        binary.span,
                        "each number of arithmetic",
                        written,
                    ));
                    return None;
                };
                let result = match binary.operator {
                    Operator::Add => a.checked_add(b),
                    Operator::Subtract => a.checked_sub(b),
                    Operator::Multiply => a.checked_mul(b),
                    Operator::Divide if b == 0 => {
                        sink.push(rules::syntax::number::by_zero(binary.right.span()));
                        return None;
                    }
                    Operator::Divide if a.checked_rem(b) != Some(0) => {
                        sink.push(rules::syntax::number::uneven(binary.span, a, b));
                        return None;
                    }
                    Operator::Divide => a.checked_div(b),
                };
                if result.is_none() {
                    sink.push(rules::syntax::number::overflow(binary.span));
                }
                result.map(Decimal::whole)
            }
        }
    }

    /// A whole number between two bounds; anything else is told.
    pub fn whole(
        &self,
        names: &Names<'a>,
        expr: &Expr,
        what: &str,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Option<i64> {
        let value = self.eval(names, expr, sink)?;
        match value.as_whole() {
            Some(n) if (bounds.0..=bounds.1).contains(&n) => Some(n),
            Some(n) if n <= 0 && hyphen(names, expr.span(), what, sink) => None,
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

    /// Both ends of a range, each between the bounds; one number is both ends. May fall.
    pub fn range(
        &self,
        names: &Names<'a>,
        range: &SelRange,
        what: &str,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Option<(i64, i64)> {
        let from = self.whole(names, &range.from, what, bounds, sink)?;
        let to = match &range.to {
            Some(to) => self.whole(names, to, what, bounds, sink)?,
            None => from,
        };
        Some((from, to))
    }

    /// As [`Self::range`], for bounds above 0 that fit.
    pub fn ends(
        &self,
        names: &Names<'a>,
        range: &SelRange,
        what: &str,
        bounds: (i64, i64),
        sink: &mut Sink,
    ) -> Option<(u32, u32)> {
        let (from, to) = self.range(names, range, what, bounds, sink)?;
        Some((u32::try_from(from).ok()?, u32::try_from(to).ok()?))
    }

    /// `side-1` where `side` is a name: the slip of writing a subtraction without blanks.
    fn subtraction(&self, word: &str) -> Option<String> {
        let (left, right) = word.rsplit_once('-')?;
        let number = !right.is_empty() && right.bytes().all(|b| b.is_ascii_digit());
        // What was meant uses them, so they are not told as unused.
        let known = |name: &str| {
            let row = self.by_name.get(name).and_then(|at| self.rows.get(*at));
            row.is_some_and(|row| {
                row.used.set(true);
                true
            })
        };
        (known(left) && (number || known(right))).then(|| format!("{left} - {right}"))
    }

    /// Marks a name, if it is one, as used.
    pub fn use_name(&self, name: &str) {
        if let Some(row) = self.by_name.get(name).and_then(|at| self.rows.get(*at)) {
            row.used.set(true);
        }
    }

    /// Whether there is such a name.
    pub fn has(&self, name: &str) -> bool {
        self.by_name.contains_key(name)
    }

    /// Tells the names that nothing uses.
    pub fn tell_unused(&self, names: &Names<'a>, sink: &mut Sink) {
        for row in &self.rows {
            if !row.used.get() {
                let name = names.text_at(row.at);
                sink.push(rules::name::unused::declared("let", name, row.at));
            }
        }
    }
}

/// Tells a range that is written with a hyphen, `1-4`; false where the text is none.
pub fn hyphen(names: &Names<'_>, span: Span, what: &str, sink: &mut Sink) -> bool {
    let written = names.text_at(span);
    let Some(range) = rules::syntax::number::dotted(written) else {
        return false;
    };
    sink.push(rules::syntax::number::hyphen(span, what, written, &range));
    true
}
