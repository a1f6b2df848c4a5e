//! Whole-number arithmetic and the names of `let`.

use super::names::Names;
use crate::ast::{Binary, Expr, Let, Operator, Quantity};
use crate::diagnostic::Sink;
use crate::graph;
use crate::rules;
use crate::source::Span;
use crate::unit::Decimal;
use std::borrow::Cow;
use std::cell::Cell;
use std::collections::HashMap;

/// The named numbers of a display.
#[derive(Debug, Default)]
pub struct Lets<'a> {
    by_name: HashMap<Cow<'a, str>, usize>,
    rows: Vec<Row>,
}

#[derive(Debug)]
struct Row {
    at: Span,
    value: Option<Decimal>,
    used: Cell<bool>,
}

/// One `let` needs the value of another; with the place of the name that refers to it.
#[derive(Debug, Clone, Copy)]
struct Need {
    from: usize,
    to: usize,
    at: Span,
}

impl<'a> Lets<'a> {
    /// Reads the `let` statements; each may use all the others, wherever they stand.
    pub fn read(
        names: &Names<'a>,
        statements: impl Iterator<Item = &'a Let>,
        sink: &mut Sink,
    ) -> Self {
        let mut lets = Self::default();
        let mut said = Vec::new();
        for one in statements {
            let key = names.key(one.name);
            if let Some(first) = lets.by_name.get(&key).and_then(|at| lets.rows.get(*at)) {
                sink.push(rules::name::taken::again("let", &key, one.name.span, first.at));
                continue;
            }
            lets.by_name.insert(key, lets.rows.len());
            lets.rows.push(Row { at: one.name.span, value: None, used: Cell::new(false) });
            said.push(&one.value);
        }
        let needs = lets.needs(names, &said);
        lets.tell_rings(names, &needs, sink);
        for index in in_order(said.len(), &needs) {
            let Some(quantity) = said.get(index) else {
                continue;
            };
            let value = lets.value_of(names, &quantity.value, Some(index), sink);
            if let (Some(_), Some(unit)) = (value, quantity.unit) {
                sink.push(rules::syntax::unit::not_wanted(
                    unit.span,
                    names.text(unit),
                    "a `let` has no unit",
                ));
            }
            if let Some(row) = lets.rows.get_mut(index) {
                row.value = value;
            }
        }
        lets
    }

    /// Which values need which, in file order.
    fn needs(&self, names: &Names<'a>, said: &[&Quantity]) -> Vec<Need> {
        let mut needs = Vec::new();
        let mut left: Vec<&Expr> = Vec::new();
        for (from, quantity) in said.iter().enumerate() {
            left.push(&quantity.value);
            while let Some(expr) = left.pop() {
                match expr {
                    Expr::Number(..) | Expr::Broken(_) => {}
                    Expr::Negate(_, inner) => left.push(inner),
                    Expr::Binary(binary) => left.extend([&binary.right, &binary.left]),
                    Expr::Name(name) => {
                        needs.extend(self.by_name.get(&names.key(*name)).map(|to| Need {
                            from,
                            to: *to,
                            at: name.span,
                        }));
                    }
                }
            }
        }
        needs
    }

    /// Reports values that need each other in a ring. They have no value.
    fn tell_rings(&self, names: &Names<'a>, needs: &[Need], sink: &mut Sink) {
        let pairs: Vec<(usize, usize)> = needs.iter().map(|need| (need.from, need.to)).collect();
        for ring in graph::rings(self.rows.len(), &pairs) {
            let next = ring.iter().cycle().skip(1);
            let members: Vec<(String, Span)> = (ring.iter().zip(next))
                .filter_map(|(from, to)| {
                    let name = names.text_at(self.rows.get(*from)?.at);
                    let begin = needs.partition_point(|need| need.from < *from);
                    let need = needs.get(begin..)?.iter().find(|need| need.to == *to)?;
                    Some((name.to_owned(), need.at))
                })
                .collect();
            sink.push(rules::name::cycle::ring("let", &members));
        }
    }

    /// The value of an expression; `None` if it has none, for a reason that is reported or in text
    /// that did not parse.
    #[inline]
    pub fn eval(&self, names: &Names<'a>, expr: &Expr, sink: &mut Sink) -> Option<Decimal> {
        // Nearly all expressions are plain numbers.
        if let Expr::Number(_, digits, places) = *expr {
            return Some(Decimal { digits, places });
        }
        self.value_of(names, expr, None, sink)
    }

    /// As [`Self::eval`], in the `let` with the index `own`, which is not offered for an unknown
    /// name. The syntax stage limits the depth of this recursion.
    fn value_of(
        &self,
        names: &Names<'a>,
        expr: &Expr,
        own: Option<usize>,
        sink: &mut Sink,
    ) -> Option<Decimal> {
        match expr {
            Expr::Number(_, digits, places) => Some(Decimal { digits: *digits, places: *places }),
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
                let most = match names.may_compare(self.rows.len()) {
                    true => usize::MAX,
                    false => 0,
                };
                let known = self.by_name.iter().take(most);
                let known = known.filter(|(_, at)| Some(**at) != own);
                sink.push(rules::name::unknown::number(
                    name.span,
                    &key,
                    self.subtraction(&key, own),
                    known.map(|(name, _)| name.as_ref()),
                ));
                None
            }
            Expr::Negate(span, inner) => {
                let value = self.value_of(names, inner, own, sink)?;
                match value.digits.checked_neg() {
                    Some(digits) => Some(Decimal { digits, ..value }),
                    None => {
                        sink.push(rules::syntax::number::overflow(*span));
                        None
                    }
                }
            }
            Expr::Binary(binary) => {
                let left = self.value_of(names, &binary.left, own, sink);
                let right = self.value_of(names, &binary.right, own, sink);
                result_of(names, binary, (left?, right?), sink)
            }
        }
    }

    /// The subtraction meant by `side-1`, which is one name, if `side` is the name of a `let`.
    fn subtraction(&self, word: &str, own: Option<usize>) -> Option<String> {
        let (left, right) = word.rsplit_once('-')?;
        let number = !right.is_empty() && right.bytes().all(|b| b.is_ascii_digit());
        // The subtraction uses these names, so they are not reported as unused.
        let known = |name: &str| {
            let at = self.by_name.get(name).filter(|at| Some(**at) != own);
            let row = at.and_then(|at| self.rows.get(*at));
            row.is_some_and(|row| {
                row.used.set(true);
                true
            })
        };
        (known(left) && (number || known(right))).then(|| format!("{left} - {right}"))
    }

    /// Marks the `let` with a name, if there is one, as used.
    pub fn use_name(&self, name: &str) {
        if let Some(row) = self.by_name.get(name).and_then(|at| self.rows.get(*at)) {
            row.used.set(true);
        }
    }

    /// All names, in file order.
    pub fn names<'n>(&'n self, names: &'n Names<'a>) -> impl Iterator<Item = &'a str> + 'n {
        self.rows.iter().map(|row| names.text_at(row.at))
    }

    /// Whether there is such a name.
    pub fn has(&self, name: &str) -> bool {
        self.by_name.contains_key(name)
    }

    /// Reports the names that nothing uses.
    pub fn tell_unused(&self, names: &Names<'a>, sink: &mut Sink) {
        for row in &self.rows {
            let name = names.text_at(row.at);
            if !row.used.get() && !names.is_mentioned(name) {
                sink.push(rules::name::unused::declared("let", name, row.at));
            }
        }
    }
}

/// The indices below `count` in an order in which each comes after all that it needs. Those in a
/// ring, and those that need them, come last: they have no value, but their other faults are
/// reported.
fn in_order(count: usize, needs: &[Need]) -> Vec<usize> {
    let mut waits = vec![0_usize; count];
    let mut waiting: Vec<(usize, usize)> = Vec::with_capacity(needs.len());
    for need in needs {
        if let Some(waits) = waits.get_mut(need.from) {
            *waits += 1;
        }
        waiting.push((need.to, need.from));
    }
    waiting.sort_unstable();
    let free = (0..count).filter(|index| waits.get(*index) == Some(&0));
    let mut order: Vec<usize> = free.collect();
    let mut done = 0;
    while let Some(at) = order.get(done).copied() {
        done += 1;
        let begin = waiting.partition_point(|(to, _)| *to < at);
        let behind = waiting.iter().skip(begin).take_while(|(to, _)| *to == at);
        for (_, from) in behind {
            if let Some(waits) = waits.get_mut(*from) {
                *waits -= 1;
                if *waits == 0 {
                    order.push(*from);
                }
            }
        }
    }
    order.extend((0..count).filter(|index| waits.get(*index) != Some(&0)));
    order
}

/// Reports a range that is written with a hyphen, `1-4`; false if the text is none.
pub fn hyphen(names: &Names<'_>, span: Span, what: &str, sink: &mut Sink) -> bool {
    let written = names.text_at(span);
    let Some(range) = rules::syntax::number::dotted(written) else {
        return false;
    };
    sink.push(rules::syntax::number::hyphen(span, what, written, &range));
    true
}
/// The result of an operator on two numbers; `None` once the reason is reported.
fn result_of(
    names: &Names<'_>,
    binary: &Binary,
    (left, right): (Decimal, Decimal),
    sink: &mut Sink,
) -> Option<Decimal> {
    let (Some(a), Some(b)) = (left.as_whole(), right.as_whole()) else {
        let (what, written) = ("each number of arithmetic", names.text_at(binary.span));
        sink.push(rules::syntax::number::not_whole(binary.span, what, written));
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
