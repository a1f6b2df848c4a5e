//! `same as`: strings that show another's data.

use super::makes::count;
use super::matching::Reader;
use super::props::{Alike, Drafts, SameRef};
use super::refs::{self, Picked};
use crate::ast::Reference;
use crate::diagnostic::Sink;
use crate::graph;
use crate::model::{Model, PropId, StringId};
use crate::rules;
use crate::source::Span;
use std::collections::{BTreeMap, BTreeSet};

/// Reports rings of `same as`, and takes their members out of the drafts.
pub fn cut_rings(
    reader: &Reader<'_, '_>,
    drafts: &mut Drafts<'_>,
    model: &mut Model,
    sink: &mut Sink,
) {
    let names = reader.names;
    let target = |same: &SameRef<'_>| names.props.get(&names.key(same.name));
    let needs: Vec<(usize, usize)> = drafts
        .same
        .iter()
        .filter_map(|(prop, _, same, _)| Some((*prop as usize, target(same)? as usize)))
        .collect();
    for ring in graph::rings(model.props.len(), &needs) {
        let members: Vec<(String, Span)> = ring
            .iter()
            .filter_map(|index| {
                let at = drafts
                    .same
                    .iter()
                    .find(|(prop, _, same, _)| {
                        *prop as usize == *index
                            && target(same).is_some_and(|to| ring.contains(&(to as usize)))
                    })
                    .map(|(_, _, same, _)| same.at)?;
                Some((model.props[PropId::from(*index)].name.to_string(), at))
            })
            .collect();
        sink.push(rules::name::cycle::ring("same as", &members));
        for index in &ring {
            model.props[PropId::from(*index)].broken = true;
        }
        model.incomplete = true;
        drafts.same.retain(|(prop, ..)| !ring.contains(&(*prop as usize)));
    }
}

/// The most rounds of [`borrow_shapes`], and so the longest row of `same as` that name members or
/// single strings.
const MOST_ROUNDS: usize = 64;

/// For each prop that is no family and has `same as` but no strings of its own: the last reference
/// of its row, which is followed as long as it shows whole props.
struct Wholes<'a>(BTreeMap<u32, SameRef<'a>>);

impl<'a> Wholes<'a> {
    fn of(reader: &Reader<'_, '_>, drafts: &Drafts<'a>, model: &Model) -> Self {
        let single = |prop: u32| model.props[PropId(prop)].count.is_none();
        let wholes = drafts.same.iter();
        let wholes = wholes.filter(|(prop, .., own)| !own && single(*prop));
        let shown: BTreeMap<u32, SameRef<'_>> =
            wholes.map(|(prop, _, same, _)| (*prop, *same)).collect();
        let mut roots = Self(BTreeMap::new());
        let mut way = Vec::new();
        for (prop, same) in &shown {
            let (mut at, mut root) = (*prop, *same);
            // This ends, since rings were cut before. No prop is followed twice.
            while let Some(same) = shown.get(&at).filter(|_| !roots.0.contains_key(&at)) {
                way.push(at);
                root = *same;
                match target(reader, same).filter(|to| shown.contains_key(to)) {
                    Some(to) => at = to,
                    None => break,
                }
            }
            root = roots.0.get(&at).copied().unwrap_or(root);
            roots.0.extend(way.drain(..).map(|prop| (prop, root)));
        }
        roots
    }

    /// The last reference of the row that `same` begins, at the place of `same`.
    fn root(&self, reader: &Reader<'_, '_>, same: SameRef<'a>) -> SameRef<'a> {
        let root = target(reader, &same).and_then(|to| self.0.get(&to));
        SameRef { at: same.at, ..root.copied().unwrap_or(same) }
    }
}

/// The prop that a reference shows as a whole; `None` if it names members or strings.
fn target(reader: &Reader<'_, '_>, same: &SameRef<'_>) -> Option<u32> {
    let names = reader.names;
    let whole = same.reference.is_none();
    whole.then(|| names.props.get(&names.key(same.name)))?
}

/// Gives props that have `same as` and no strings of their own the shapes of what they show.
///
/// Each round lays out what is known so far, and resolves the props whose source no longer waits.
/// A prop that shows a whole prop uses the end of that row directly, so such a row takes one round.
pub fn borrow_shapes(
    reader: &Reader<'_, '_>,
    drafts: &mut Drafts<'_>,
    model: &mut Model,
    sink: &mut Sink,
) {
    let names = reader.names;
    let wholes = Wholes::of(reader, drafts, model);
    let mut rounds = 0;
    let mut waiting: Vec<(u32, (u32, u32), SameRef<'_>)> = drafts
        .same
        .iter()
        .filter(|(_, _, _, own)| !own)
        .map(|(prop, members, same, _)| (*prop, *members, wholes.root(reader, *same)))
        .collect();
    while !waiting.is_empty() {
        let pending: BTreeSet<u32> = waiting.iter().map(|(prop, ..)| *prop).collect();
        let waits = |same: &SameRef<'_>| {
            let to = names.props.get(&names.key(same.name));
            to.is_some_and(|to| pending.contains(&to))
        };
        let (later, ready): (Vec<_>, Vec<_>) =
            waiting.into_iter().partition(|(_, _, same)| waits(same));
        waiting = later;
        rounds += 1;
        if let Some((_, _, same)) = waiting.first().filter(|_| rounds >= MOST_ROUNDS) {
            sink.push(rules::size::too_much::same_as(same.at, MOST_ROUNDS));
            for (prop, ..) in waiting.into_iter().chain(ready) {
                model.props[PropId(prop)].broken = true;
            }
            model.incomplete = true;
            break;
        }
        // Strings that do not fit in the table are reported here; later layouts pass them over.
        model.strings.rows_mut().clear();
        super::table::lay_out(&drafts.stretches, model, sink);
        let mut found: BTreeMap<(u32, u32), Vec<Alike>> = BTreeMap::new();
        for row in ready {
            let prop = row.0;
            match borrow(reader, &row, model, sink) {
                Some(stretches) => {
                    found.insert((prop, row.1.0), stretches);
                }
                None => {
                    model.props[PropId(prop)].broken = true;
                    model.incomplete = true;
                }
            }
        }
        replace(drafts, &mut found);
    }
    model.strings.rows_mut().clear();
}

/// Replaces stretches without shapes by those found, which are given by prop and first member.
fn replace(drafts: &mut Drafts<'_>, found: &mut BTreeMap<(u32, u32), Vec<Alike>>) {
    let mut at = (u32::MAX, 1);
    let old = std::mem::take(&mut drafts.stretches);
    for stretch in old {
        if stretch.prop != at.0 {
            at = (stretch.prop, 1);
        }
        let members = stretch.members;
        match found.remove(&at) {
            Some(stretches) => drafts.stretches.extend(stretches),
            None => drafts.stretches.push(stretch),
        }
        at.1 += members;
    }
}

fn borrow(
    reader: &Reader<'_, '_>,
    (prop, (from, to), same): &(u32, (u32, u32), SameRef<'_>),
    model: &mut Model,
    sink: &mut Sink,
) -> Option<Vec<Alike>> {
    let picked = pick(reader, model, same, sink)?;
    let members = to - from + 1;
    let one_to_one = picked.members().count() == members as usize && members > 1;
    let lists: Vec<&[StringId]> =
        if one_to_one { picked.members().collect() } else { vec![&picked.strings] };
    let each = if one_to_one { 1 } else { members };
    let mut stretches = Vec::with_capacity(lists.len());
    for list in lists {
        let start = count(model.shapes.len() as i64);
        let shapes = model.shapes.len().saturating_add(list.len());
        if shapes > model.most_strings as usize {
            sink.push(rules::size::too_much::strings(same.at, model.most_strings));
            return None;
        }
        for id in list {
            let mut shape = model.shape(*id).clone();
            shape.at = same.at;
            if let Some(loads) = same.loads.filter(|_| shape.node.is_none()) {
                shape.loads = loads;
            }
            model.shapes.push(shape);
        }
        stretches.push(Alike {
            prop: *prop,
            members: each,
            shapes: start..count(model.shapes.len() as i64),
        });
    }
    Some(stretches)
}

fn pick(
    reader: &Reader<'_, '_>,
    model: &Model,
    same: &SameRef<'_>,
    sink: &mut Sink,
) -> Option<Picked> {
    let plain;
    let reference = match same.reference {
        Some(reference) => reference,
        None => {
            plain = Reference { span: same.name.span, name: same.name, members: None, part: None };
            &plain
        }
    };
    refs::pick(reader, model, reference, sink)
}

/// Binds each string that shows another's data to that string.
pub fn bind(reader: &Reader<'_, '_>, drafts: &Drafts<'_>, model: &mut Model, sink: &mut Sink) {
    for (prop, (from, to), same, _) in &drafts.same {
        let own = &model.props[PropId(*prop)];
        if own.broken {
            continue;
        }
        let strings: Vec<u32> = (*from..=*to).flat_map(|member| own.strings_of(member)).collect();
        let each = own.strings_of(*from).len();
        let (name, at) = (own.name.to_string(), own.at);
        let Some(picked) = pick(reader, model, same, sink) else {
            model.incomplete = true;
            continue;
        };
        let shown = picked.strings;
        let fits = strings.len() == shown.len() || each == shown.len();
        let mut wrong = (!fits).then_some((strings.first().copied(), shown.first().copied()));
        if fits {
            for (own, other) in strings.iter().zip(shown.iter().cycle()) {
                let slots = |id| {
                    let shape = model.shape(id);
                    (shape.slots, shape.node.is_none())
                };
                if slots(StringId(*own)) != slots(*other) {
                    wrong = Some((Some(*own), Some(*other)));
                    break;
                }
                model.strings[StringId(*own)].same_as = Some(*other);
            }
        }
        if let Some((own, other)) = wrong {
            let words = |id: Option<u32>| {
                let slots = id.map_or(0, |id| model.shape(StringId(id)).slots);
                crate::unit::counted(slots, "slot")
            };
            let counts = (strings.len(), shown.len());
            let slots = (words(own), words(other.map(|id| id.0)));
            let shown_at = other.map_or(at, |id| model.shape(id).at);
            let other_name = reader.names.text_at(same.name.span);
            let (at, names) = ((same.at, shown_at), (&*name, other_name));
            sink.push(rules::address::overlap::footprint(at, names, counts, slots));
        }
    }
}
