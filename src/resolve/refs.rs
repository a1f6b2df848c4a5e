//! References to strings: `heron[2..4]`, `lighthouse.1`, `roof.eaves`.

use super::makes::count;
use super::matching::Reader;
use super::props::{Bounds, member_ranges, number_of};
use crate::ast::{Expr, Ident, Part, Reference};
use crate::diagnostic::Sink;
use crate::model::{Model, Prop, PropId, StringId};
use crate::rules;

/// What a reference picks.
#[derive(Debug, Default)]
pub struct Picked {
    /// All strings, member by member and string by string in the order written.
    pub strings: Vec<StringId>,
    /// For each member in the order written, where its strings end in `strings`.
    ends: Vec<usize>,
}

impl Picked {
    /// The strings of each member, in the order written.
    pub fn members(&self) -> impl Iterator<Item = &[StringId]> {
        let starts = std::iter::once(&0).chain(&self.ends);
        let each = self.ends.iter().zip(starts);
        each.map(|(end, start)| self.strings.get(*start..*end).unwrap_or(&[]))
    }
}

/// The prop with a name; `None` once reported, or if it is broken.
pub fn prop<'m>(
    reader: &Reader<'_, '_>,
    model: &'m Model,
    name: Ident,
    sink: &mut Sink,
) -> Option<(PropId, &'m Prop)> {
    let names = reader.names;
    let key = names.key(name);
    if let Some(id) = names.props.get(&key).map(PropId) {
        let prop = &model.props[id];
        return (!prop.broken).then_some((id, prop));
    }
    if !names.is_mentioned(&key)
        && let Some((family, number)) = super::targets::numbered(&key)
        && let Some(row) = names.props.get(family).and_then(|at| names.props.row(at))
        && row.block.count.is_some()
    {
        let meant = format!("{family}[{number}]");
        sink.push(rules::name::unknown::numbered(name.span, "prop", &key, &meant));
        return None;
    }
    names.find(&names.props, name, sink);
    None
}

/// The strings that a reference picks; `None` once the reason is reported.
pub fn pick(
    reader: &Reader<'_, '_>,
    model: &Model,
    reference: &Reference,
    sink: &mut Sink,
) -> Option<Picked> {
    let mut picked = Picked::default();
    pick_into(&mut picked, reader, model, reference, sink)?;
    Some(picked)
}

/// As [`pick`], into an earlier result, whose memory is used again.
pub fn pick_into(
    picked: &mut Picked,
    reader: &Reader<'_, '_>,
    model: &Model,
    reference: &Reference,
    sink: &mut Sink,
) -> Option<()> {
    picked.strings.clear();
    picked.ends.clear();
    let (_, prop) = prop(reader, model, reference.name, sink)?;
    let whole = [(1, prop.count.unwrap_or(1))];
    let chosen;
    let members = match (&reference.members, prop.count) {
        (Some(selector), None) => {
            let at = selector.span;
            sink.push(rules::name::instance::no_family(at, &prop.name, prop.at));
            return None;
        }
        (Some(selector), Some(count)) => {
            let bounds = Bounds { name: &prop.name, count, declared: prop.at };
            let ranges = member_ranges(reader, &selector.parts, &bounds, sink);
            if ranges.len() < selector.parts.len() {
                return None;
            }
            chosen = ranges;
            &chosen
        }
        (None, _) => &whole[..],
    };
    for (from, to) in members.iter().copied() {
        let strings = prop.strings_of(from.min(to)).start..prop.strings_of(from.max(to)).end;
        let most = match &reference.part {
            // One of each member so far; `add` counts the others.
            Some(Part::Number(_)) => u64::from(from.abs_diff(to)) + 1,
            Some(Part::Name(_)) | None => u64::from(strings.end.saturating_sub(strings.start)),
        };
        if !reader.names.may_pick(most, reference.span, sink) {
            return None;
        }
        let mut add = |member| {
            let mut more = 0;
            match &reference.part {
                None => picked.strings.extend(prop.strings_of(member).map(StringId)),
                Some(part) => {
                    let own = part_of(reader, model, (prop, member), (reference, part), sink)?;
                    if matches!(part, Part::Number(_)) {
                        more = own.len().saturating_sub(1) as u64;
                    }
                    picked.strings.extend(own);
                }
            }
            if !reader.names.may_pick(more, reference.span, sink) {
                return None;
            }
            picked.ends.push(picked.strings.len());
            Some(())
        };
        if from <= to {
            (from..=to).try_for_each(&mut add)?;
        } else {
            (to..=from).rev().try_for_each(&mut add)?;
        }
    }
    Some(())
}

fn part_of(
    reader: &Reader<'_, '_>,
    model: &Model,
    (prop, member): (&Prop, u32),
    (reference, part): (&Reference, &Part),
    sink: &mut Sink,
) -> Option<Vec<StringId>> {
    let own = prop.strings_of(member);
    let first = own.start;
    let strings = count(own.len() as i64);
    let shape = (strings > 0).then(|| model.shape(StringId(first)));
    let declared = shape.map_or(prop.at, |shape| shape.at);
    let span_of = |part: &Part| match part {
        Part::Number(range) => range.span,
        Part::Name(name) => name.span,
    };
    if shape.is_some_and(|shape| shape.node.is_none()) {
        sink.push(rules::name::string::of_fixture(span_of(part), &prop.name, declared));
        return None;
    }
    match part {
        Part::Number(range) => {
            let whole = match prop.count {
                Some(_) => format!("{}[{member}]", prop.name),
                None => prop.name.to_string(),
            };
            let names = (&*prop.name, whole.as_str());
            let counts = (strings, prop.count.filter(|_| reference.members.is_none()));
            let mut number = |expr: &Expr| {
                let number = number_of(reader, expr, sink)?;
                if (1..=i64::from(strings)).contains(&number) {
                    return Some(count(number));
                }
                let at = expr.span();
                sink.push(rules::name::string::beyond(at, names, number, counts, declared));
                None
            };
            let from = number(&range.from)?;
            let to = range.to.as_ref().map_or(Some(from), number)?;
            let id = |number: u32| StringId(first + number - 1);
            Some(if from <= to {
                (from..=to).map(id).collect()
            } else {
                (to..=from).rev().map(id).collect()
            })
        }
        Part::Name(word) => {
            let key = reader.names.key(*word);
            let written = key.as_ref();
            let name_of = |id: u32| model.shape(StringId(id)).name.as_deref();
            let found = own.clone().find(|id| name_of(*id) == Some(written));
            if found.is_none() {
                let known: Vec<&str> = own.filter_map(name_of).collect();
                sink.push(rules::name::string::no_name(
                    word.span, &prop.name, written, &known, declared,
                ));
            }
            found.map(|id| vec![StringId(id)])
        }
    }
}
