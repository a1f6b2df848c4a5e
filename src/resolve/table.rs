//! Lays out the string table: prop by prop, member by member, string by string.

use super::makes::count;
use super::props::Alike;
use crate::diagnostic::Sink;
use crate::model::{Cut, Model, PropId, ShapeId, StringDef};
use crate::rules;

/// Lays out the string table from the stretches.
pub fn lay_out(mut stretches: &[Alike], model: &mut Model, sink: &mut Sink) {
    let all: u64 = stretches.iter().map(Alike::strings).sum();
    let most = all.min(u64::from(model.most_strings));
    model.strings.reserve(usize::try_from(most).unwrap_or(0));
    for id in model.props.ids() {
        let own = stretches.iter().take_while(|one| one.prop <= id.0).count();
        let (own, rest) = stretches.split_at(own);
        lay_out_prop(id, own, model, sink);
        stretches = rest;
    }
}

fn lay_out_prop(id: PropId, own: &[Alike], model: &mut Model, sink: &mut Sink) {
    let first = count(model.strings.len() as i64);
    let total: u64 = own.iter().map(Alike::strings).sum();
    let prop = &mut model.props[id];
    prop.first = first;
    if prop.broken {
        return;
    }
    if u64::from(first) + total > u64::from(model.most_strings) {
        let most = model.most_strings;
        let several = own.iter().find(|s| s.strings() > u64::from(s.members));
        let at = several.map_or(prop.at, |s| model.shapes[ShapeId(s.shapes.start)].at);
        sink.push(rules::size::too_much::strings(at, most));
        prop.broken = true;
        model.incomplete = true;
        return;
    }
    let each = |s: &Alike| s.shapes.end - s.shapes.start;
    let even = own.iter().map(each).max() == own.iter().map(each).min();
    let family = prop.count.is_some();
    let mut ends = if even { Vec::new() } else { vec![0_u32] };
    let mut member = 0;
    for stretch in own {
        for _ in 0..stretch.members {
            member += 1;
            for (number, shape) in stretch.shapes.clone().enumerate() {
                let shape = ShapeId(shape);
                let fixture = model.shapes[shape].node.is_none();
                model.strings.push(StringDef {
                    prop: id,
                    member: if family { member } else { 0 },
                    number: if fixture { 0 } else { count(number as i64) + 1 },
                    shape,
                    stored: false,
                    same_as: None,
                });
            }
            if !even {
                ends.push(count(model.strings.len() as i64) - first);
            }
        }
    }
    prop.cut = if even { Cut::Even(own.first().map_or(0, each)) } else { Cut::Odd(ends.into()) };
}
