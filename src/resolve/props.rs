//! `prop`: families, members, and the strings that each has.
//!
//! A family is cut into stretches of members that are alike, so that a thousand members cost no
//! more than one until the string table is laid out.

use super::kept::{self, Again};
use super::like::Lineage;
use super::makes::count;
use super::matching::{Matched, Reader, Value};
use super::names::Decl;
use super::overrides::{Cover, Override, overrides};
use super::settings::{Key, Scope};
use super::sketch::{Sketch, sketch};
use super::{runs, settings_of};
use crate::ast::{Arg, Block, BlockKind, Expr, Ident, Reference};
use crate::diagnostic::Sink;
use crate::model::{
    Cut, Details, MOST_STRINGS, Member, Model, NodeId, Prop, PropId, Shape, Split, UNIT_LOAD,
};
use crate::rules;
use crate::source::Span;
use std::ops::Range;
use std::rc::Rc;
use std::sync::atomic::Ordering::Relaxed;

/// The settings of a prop or member, before its strings are laid out.
#[derive(Clone, Default)]
pub struct Draft<'a> {
    label: Option<Box<str>>,
    enters: &'a [Arg],
    node: Option<(NodeId, Span)>,
    /// Whether its `node` is unknown.
    node_lost: bool,
    shapes: Option<Rc<[Sketch<'a>]>>,
    stands: Option<(i64, i64)>,
    draw_mw: Option<i64>,
    loads: Option<(u32, Span)>,
    circuit: Option<crate::model::CircuitId>,
    /// The reference of `same as`.
    pub same_as: Option<SameRef<'a>>,
    /// Whether some of it did not parse or resolve.
    broken: bool,
}

/// What a `same as` names.
#[derive(Clone, Copy)]
pub struct SameRef<'a> {
    /// The setting.
    pub at: Span,
    /// The name.
    pub name: Ident,
    /// The reference, if it has members or a string.
    pub reference: Option<&'a Reference>,
    /// The `loads` of the prop, in thousandths of a unit load.
    pub loads: Option<u32>,
}

/// Members that are alike: how many, and the shapes each of them has.
#[derive(Clone)]
pub struct Alike {
    /// Its prop.
    pub prop: u32,
    /// How many members.
    pub members: u32,
    /// Their shapes, as a stretch of `Model::shapes`.
    pub shapes: Range<u32>,
}

impl Alike {
    /// How many strings its members have together.
    pub fn strings(&self) -> u64 {
        u64::from(self.members) * u64::from(self.shapes.end - self.shapes.start)
    }
}

/// What is known of the props before the string table is laid out.
#[derive(Default)]
pub struct Drafts<'a> {
    /// Stretches of members, in prop order.
    pub stretches: Vec<Alike>,
    /// `same as` of props and members: prop, members (from, to), reference, whether it has strings
    /// of its own.
    pub same: Vec<(u32, (u32, u32), SameRef<'a>, bool)>,
}

/// How many strings each `split` makes.
#[derive(Clone, Copy)]
pub struct Splits<'s> {
    /// The longest string, in nodes, that the ports to which a prop is wired can drive.
    pub most: &'s dyn Fn(&Model, &str, NodeId) -> Option<u32>,
    /// How many strings above the fewest, in the order of `Model::splits`.
    pub more: &'s [u32],
}

/// Reads the `prop` statements, with families and overrides, into props without strings. Their
/// strings are returned as drafts.
pub fn props<'a>(
    reader: &Reader<'_, 'a>,
    lineage: &Lineage<'_, 'a>,
    model: &mut Model,
    (last, again, splits): (Option<&Model>, &mut Again, Splits<'_>),
    sink: &mut Sink,
) -> Drafts<'a> {
    let table = &reader.names.props;
    let overrides = overrides(reader, sink);
    let draft = |base: Option<&Draft<'a>>, index: u32, block: &'a Block, sink: &mut Sink| {
        let mut draft = base.cloned().unwrap_or_default();
        draft.broken |= lineage.is_lost(index);
        apply(reader, block, &mut draft, sink);
        draft
    };
    // Only drafts that other props are `like` are kept.
    let parents = lineage.are_parents();
    let bases = lineage.each(|index, row, base: Option<&Option<Box<Draft<'a>>>>| {
        let is_parent = parents.get(index as usize).copied().unwrap_or(false);
        let base = base.and_then(Option::as_deref);
        is_parent.then(|| Box::new(draft(base, index, row.block, sink)))
    });
    let mut drafts = Drafts::default();
    model.props.rows_mut().reserve_exact(table.rows.len());
    model.shapes.reserve(table.rows.len());
    drafts.stretches.reserve(table.rows.len());
    let last = kept::last_props(last, reader, model);
    let mut members_so_far: u64 = 0;
    for (index, row) in table.rows.iter().enumerate() {
        let index = count(index as i64);
        let at = index as usize;
        let made = bases.get(at).and_then(Option::as_deref);
        let own = overrides.get(&index).map_or(&[][..], Vec::as_slice);
        let start = count(model.shapes.len() as i64);
        let lone = made.is_none() && own.is_empty();
        if lone
            && members_so_far < u64::from(model.most_strings)
            && let Some(shapes) = last.and_then(|last| kept::put((last, again), reader, row, model))
        {
            members_so_far += 1;
            let shapes = start..start + count(shapes as i64);
            drafts.stretches.push(Alike { prop: index, members: 1, shapes });
            continue;
        }
        row.block.made.last.store(0, Relaxed);
        let told = sink.count();
        let drafted = match (made, lineage.parent(at).and_then(|at| bases.get(at))) {
            (Some(_), _) => Draft::default(),
            (None, base) => draft(base.and_then(Option::as_deref), index, row.block, sink),
        };
        let draft = made.unwrap_or(&drafted);
        let (number, lawful) = members(reader, row.block, &mut members_so_far, model, sink);
        let mut prop = prop(reader, row, draft, number);
        prop.broken |= !lawful;
        if !prop.broken {
            let (name, drafts) = (&row.name, &mut drafts);
            let mut context = Context { reader, index, name, overrides: own, splits, drafts };
            context.stretches(draft, &mut prop, model, sink);
        }
        if lone && draft.same_as.is_none() && sink.count() == told && !sink.is_full() {
            let shapes = model.shapes.as_slice().get(start as usize..).unwrap_or(&[]);
            let sketches = draft.shapes.as_deref().unwrap_or(&[]);
            kept::keep(reader, row.block, &prop, (sketches, shapes), model);
        }
        model.incomplete |= prop.broken;
        model.props.push(prop);
    }
    drafts
}

/// The number of members in `* N`, and whether it is right, after `so_far` members of other props.
fn members(
    reader: &Reader<'_, '_>,
    block: &Block,
    so_far: &mut u64,
    model: &Model,
    sink: &mut Sink,
) -> (Option<u32>, bool) {
    // The number of members is no setting, so `like` does not take it over.
    let said = block.count.as_ref().map(|expr| {
        let range = (1, i64::from(MOST_STRINGS));
        reader.whole(expr, "the number of members", range, sink)
    });
    let number = said.flatten().map(count);
    let own = u64::from(number.unwrap_or(1));
    if *so_far + own > u64::from(model.most_strings) {
        let at = block.count.as_ref().map_or(block.name.span, |count| count.span());
        sink.push(rules::size::too_much::strings(at, model.most_strings));
        return (number, false);
    }
    *so_far += own;
    (number, said != Some(None))
}

/// A prop from its draft, without its strings.
fn prop(reader: &Reader<'_, '_>, row: &Decl<'_>, draft: &Draft<'_>, members: Option<u32>) -> Prop {
    let says = draft.label.is_some()
        || !draft.enters.is_empty()
        || draft.stands.is_some()
        || draft.draw_mw.is_some()
        || draft.circuit.is_some();
    let details = || Details {
        label: draft.label.clone(),
        enters: places(reader, draft.enters),
        stands: draft.stands,
        draw_mw: draft.draw_mw,
        circuit: draft.circuit,
        members: Vec::new(),
    };
    Prop {
        name: row.name.as_ref().into(),
        at: row.block.name.span,
        count: members,
        first: 0,
        cut: Cut::Even(0),
        details: says.then(|| Box::new(details())),
        broken: draft.broken,
        stock: row.stock,
    }
}

/// A family's name, size and place, to check member numbers.
pub struct Bounds<'n> {
    /// Its name.
    pub name: &'n str,
    /// How many members it has.
    pub count: u32,
    /// Where it is declared.
    pub declared: Span,
}

/// Member ranges as written, which may fall; those beyond the family are reported and left out.
pub fn member_ranges(
    reader: &Reader<'_, '_>,
    parts: &[crate::ast::SelRange],
    bounds: &Bounds<'_>,
    sink: &mut Sink,
) -> Vec<(u32, u32)> {
    let mut ranges = Vec::with_capacity(parts.len());
    for part in parts {
        let ends = [Some(&part.from), part.to.as_ref()];
        let mut numbers = [0_u32; 2];
        let mut fits = true;
        for (end, number) in ends.into_iter().zip(&mut numbers) {
            let Some(expr) = end else { continue };
            match number_of(reader, expr, sink) {
                Some(n) if (1..=i64::from(bounds.count)).contains(&n) => *number = count(n),
                Some(n) => {
                    sink.push(rules::name::instance::beyond(
                        expr.span(),
                        bounds.name,
                        n,
                        bounds.count,
                        bounds.declared,
                    ));
                    fits = false;
                }
                None => fits = false,
            }
        }
        if fits {
            let [from, to] = numbers;
            ranges.push((from, if part.to.is_some() { to } else { from }));
        }
    }
    ranges
}

/// A whole number without bounds; any other is reported.
pub fn number_of(reader: &Reader<'_, '_>, expr: &Expr, sink: &mut Sink) -> Option<i64> {
    let value = reader.lets.eval(reader.names, expr, sink)?;
    let whole = value.as_whole();
    if whole.is_none() {
        sink.push(rules::syntax::number::not_whole(expr.span(), "this number", value.words()));
    }
    whole
}

/// Applies a block's settings to a draft. Shapes of the block replace those that the draft has.
fn apply<'a>(reader: &Reader<'_, 'a>, block: &'a Block, draft: &mut Draft<'a>, sink: &mut Sink) {
    let names = reader.names;
    let read = settings_of(reader, Scope::Of(BlockKind::Prop), &block.settings, sink);
    let whole = read.len() == block.settings.len() && !block.broken;
    draft.broken |= !whole;
    let shapes: Vec<Sketch<'a>> = read.iter().filter_map(sketch).collect();
    if !shapes.is_empty() {
        draft.shapes = Some(shapes.into());
    }
    let of = |key| read.iter().find(|set| set.key == key).map(Matched::at);
    if let (Some(node), Some(slots)) = (of(Key::Node), of(Key::Slots)) {
        let why = "a fixture has no nodes";
        let (first, second, words) = if node.start < slots.start {
            (node, slots, ("node", "slots"))
        } else {
            (slots, node, ("slots", "node"))
        };
        sink.push(rules::syntax::repeated_setting::either(second, first, words, why));
        draft.broken = true;
    }
    for set in read {
        let at = set.at();
        let number = set.number(0);
        match (set.key, set.value(0)) {
            (Key::Label, Some(Value::Word(text))) => draft.label = Some(names.said(text).into()),
            (Key::Enters, Some(Value::Args(places))) => draft.enters = places,
            (Key::Node, Some(Value::Word(word))) => {
                let found = names.find(&names.nodes, word, sink);
                draft.node = found.map(|index| (NodeId(index), at));
                draft.node_lost = found.is_none();
            }
            (Key::Stands, Some(Value::Range(x, y))) => draft.stands = Some((x, y)),
            (Key::DrawPower, _) => draft.draw_mw = Some(number),
            (Key::Loads, _) => draft.loads = Some((count(number), at)),
            (Key::On, Some(Value::Word(word))) => {
                draft.circuit = super::controllers::circuit(reader, word, sink);
            }
            (Key::SameAs, Some(value)) => {
                let (name, reference) = match value {
                    Value::Word(name) => (Some(name), None),
                    Value::Reference(reference) => (Some(reference.name), Some(reference)),
                    _ => (None, None),
                };
                draft.same_as = name.map(|name| SameRef { at, name, reference, loads: None });
            }
            // Shapes were read above.
            _ => {}
        }
    }
}

/// The texts of an `enters`.
fn places(reader: &Reader<'_, '_>, written: &[Arg]) -> Box<[Box<str>]> {
    let texts = written.iter().filter_map(|arg| match arg {
        Arg::Text(text) => Some(reader.names.said(*text).into()),
        _ => None,
    });
    texts.collect()
}

struct Context<'c, 'r, 'a> {
    reader: &'c Reader<'r, 'a>,
    index: u32,
    name: &'c str,
    overrides: &'c [Override<'a>],
    splits: Splits<'c>,
    drafts: &'c mut Drafts<'a>,
}

impl<'a> Context<'_, '_, 'a> {
    /// Cuts a prop into stretches of members that are alike.
    fn stretches(
        &mut self,
        draft: &Draft<'a>,
        prop: &mut Prop,
        model: &mut Model,
        sink: &mut Sink,
    ) {
        let (members, overrides) = (prop.members_count(), self.overrides);
        if overrides.is_empty() {
            let shapes = self.shapes(draft, prop, model, sink);
            self.stretch(draft, (1, members), shapes);
            return;
        }
        let mut cuts = vec![1, members + 1];
        for one in overrides {
            for (from, to) in &one.ranges {
                cuts.push(*from);
                cuts.push(*to + 1);
            }
        }
        cuts.sort_unstable();
        cuts.dedup();
        let mut base: Option<Range<u32>> = None;
        let mut cover = Cover::new(overrides);
        for pair in cuts.windows(2) {
            let [from, next] = pair else { continue };
            let (from, to) = (*from, *next - 1);
            let mut own = draft.clone();
            let mut touched = false;
            for block in cover.of(from) {
                apply(self.reader, block, &mut own, sink);
                touched = true;
            }
            if cover.is_crowded() {
                prop.broken = true;
                return;
            }
            if touched {
                prop.broken |= own.broken;
                prop.details.get_or_insert_default().members.extend((from..=to).map(|number| {
                    Member {
                        number,
                        label: own.label.clone(),
                        enters: places(self.reader, own.enters),
                        stands: own.stands,
                    }
                }));
            }
            let shapes = match &base {
                Some(base) if !touched => base.clone(),
                _ => self.shapes(&own, prop, model, sink),
            };
            if !touched {
                base = Some(shapes.clone());
            }
            self.stretch(&own, (from, to), shapes);
        }
    }

    /// Keeps a stretch of members, and their `same as`.
    fn stretch(&mut self, own: &Draft<'a>, (from, to): (u32, u32), shapes: Range<u32>) {
        if let Some(same) = own.same_as {
            let has_own = own.shapes.is_some();
            let loads = own.loads.map(|(loads, _)| loads);
            let same = SameRef { loads, ..same };
            self.drafts.same.push((self.index, (from, to), same, has_own));
        }
        self.drafts.stretches.push(Alike { prop: self.index, members: to - from + 1, shapes });
    }

    /// Makes the shapes of a draft. A draft without any is reported.
    fn shapes(
        &self,
        draft: &Draft<'a>,
        prop: &mut Prop,
        model: &mut Model,
        sink: &mut Sink,
    ) -> Range<u32> {
        let start = count(model.shapes.len() as i64);
        let shapes = draft.shapes.as_deref().unwrap_or(&[]);
        if shapes.is_empty() && draft.same_as.is_none() {
            sink.push(rules::syntax::unexpected::lacks(
                prop.at,
                "prop",
                &prop.name,
                "string 50 nodes",
            ));
            prop.broken = true;
        }
        let is_fixture = |sketch: &&Sketch<'_>| matches!(sketch, Sketch::Fixture { .. });
        let fixture = shapes.iter().find(is_fixture);
        let string = shapes.iter().find(|sketch| !is_fixture(sketch));
        if let (Some(fixture), Some(string)) = (fixture, string) {
            let (first, second) = (fixture.at().min(string.at()), fixture.at().max(string.at()));
            let words =
                if first == fixture.at() { ("slots", "string") } else { ("string", "slots") };
            let why = "a prop is either a fixture or made of strings";
            sink.push(rules::syntax::repeated_setting::either(second, first, words, why));
            prop.broken = true;
        }
        if string.is_some() && draft.node.is_none() {
            if !draft.node_lost {
                sink.push(rules::syntax::unexpected::lacks(
                    prop.at,
                    "prop",
                    &prop.name,
                    "node bullet",
                ));
            }
            prop.broken = true;
        }
        if let (Some((_, at)), Some(string)) = (draft.loads, string) {
            let why = "only a fixture hangs on a DMX line and loads it";
            let words = ("string", "loads");
            sink.push(rules::syntax::repeated_setting::either(at, string.at(), words, why));
            prop.broken = true;
        }
        if !prop.broken {
            for sketch in shapes {
                prop.broken |= !self.shape(sketch, draft, model, sink);
            }
        }
        let strings = count(model.shapes.len() as i64) - start;
        let mut texts = draft.enters.iter().filter(|arg| matches!(arg, Arg::Text(_)));
        let beyond = texts.nth(strings.max(1) as usize);
        if let Some(arg) = beyond.filter(|_| strings > 0) {
            sink.push(rules::name::string::places(arg.span(), &prop.name, strings, prop.at));
        }
        start..start + strings
    }

    /// Makes the shapes of a sketch; false once it is reported why they are wrong.
    fn shape(
        &self,
        sketch: &Sketch<'a>,
        draft: &Draft<'a>,
        model: &mut Model,
        sink: &mut Sink,
    ) -> bool {
        let node = draft.node.map(|(node, _)| node);
        let each = node.map_or(0, |node| model.nodes[node].slots);
        let plain = |nodes: u32, strand: Option<u32>| Shape {
            at: sketch.at(),
            name: None,
            node,
            nodes,
            slots: nodes.saturating_mul(each),
            skips: 0,
            strand,
            runs: Vec::new(),
            loads: 0,
        };
        match sketch {
            Sketch::Plain { strings, nodes, strand, .. } => {
                let most = model.most_strings;
                if count(model.shapes.len() as i64).saturating_add(*strings) > most {
                    sink.push(rules::size::too_much::strings(sketch.at(), most));
                    return false;
                }
                let shape = plain(*nodes, *strand);
                model.shapes.rows_mut().extend(std::iter::repeat_n(shape, *strings as usize));
            }
            Sketch::Split { units, nodes, .. } => {
                let most = node.and_then(|node| (self.splits.most)(model, self.name, node));
                let more = self.splits.more.get(model.splits.len()).copied().unwrap_or(0);
                let parts = super::split::even(*units, *nodes, most, more);
                model.splits.push(Split {
                    at: sketch.at(),
                    prop: PropId(self.index),
                    strings: count(parts.len() as i64),
                    strands: *units,
                });
                for part in parts {
                    let strand = (*nodes > 1).then_some(*nodes);
                    model.shapes.push(plain(part.saturating_mul(*nodes), strand));
                }
            }
            Sketch::Fixture { slots, .. } => {
                model.shapes.push(Shape {
                    node: None,
                    slots: *slots,
                    loads: draft.loads.map_or(UNIT_LOAD, |(loads, _)| loads),
                    ..plain(0, None)
                });
            }
            Sketch::Runs { set, .. } => match runs::shape(self.reader, set, model, sink) {
                Some(shape) => {
                    let slots = shape.nodes.saturating_mul(each);
                    model.shapes.push(Shape { node, slots, ..shape });
                }
                None => return false,
            },
        }
        let longest = model.shapes.last().map_or(0, |shape| shape.slots);
        let fits = i64::from(longest) <= super::settings::MOST_SLOTS;
        if !fits {
            sink.push(rules::syntax::number::string_too_long(sketch.at()));
        }
        fits
    }
}
