//! `wire/picked`: strings that no wire names, for which the compiler picked a port.

use crate::diagnostic::words::list;
use crate::diagnostic::{Severity, Sink};
use crate::model::{Model, PieceKind, PropId, StringId};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::usage::{plug_of, references};
use std::collections::BTreeMap;

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/picked",
    severity: Severity::Advice,
    title: "strings that no wire names were given a port",
    page: Page {
        means: "No `wire` names the strings of this prop, so the compiler picked ports for them, as if by `wire any:`. Under \
                `--all-wired` this is an error.",
        why: "The compiler does not know your trees and cables. A port that a `wire` names does not change later.",
        source: "grammar/LANGUAGE.md, \"Ports that the compiler picks\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n",
        change: &[(
            "controller pier { ports 1..4 { chip ws2811 } }\n",
            "controller pier { ports 1..4 { chip ws2811 } }\nwire pier.1: arch\n",
        )],
    },
    check: Some(check),
};

/// At most this many ports of one prop are named.
const MOST_NAMED: usize = 4;

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let mut picked: Vec<(PropId, usize, StringId, Span)> = Vec::new();
    let lines = model.lines.iter().enumerate();
    for (index, line) in lines.filter(|(_, line)| line.unasked) {
        for piece in model.pieces_of(line) {
            if let PieceKind::String(id, _) = piece.kind
                && plan.of(id).is_some()
            {
                picked.push((model.strings[id].prop, index, id, line.at));
            }
        }
    }
    picked.sort_by_key(|(prop, index, ..)| (*prop, *index));
    for one in picked.chunk_by(|a, b| a.0 == b.0) {
        finding(model, plan, one, sink);
    }
}

/// By plug (the port's index and its name in a wire): its strings, each with its position there.
type Plugs = BTreeMap<(u32, String), Vec<(u32, StringId)>>;

fn finding(model: &Model, plan: &Plan, one: &[(PropId, usize, StringId, Span)], sink: &mut Sink) {
    let Some((prop, _, first, at)) = one.first() else {
        return;
    };
    let mut plugs = Plugs::new();
    for (_, _, id, _) in one {
        if let Some(placed) = plan.of(*id) {
            let plug = (placed.port, plug_of(model, plan, *id));
            plugs.entry(plug).or_default().push((placed.position, *id));
        }
    }
    let mut names: Vec<String> =
        (plugs.keys().take(MOST_NAMED)).map(|(_, plug)| format!("`{plug}`")).collect();
    if plugs.len() > MOST_NAMED {
        names.push(format!("{} more", plugs.len() - MOST_NAMED));
    }
    let whole_prop = &model.props[*prop];
    let all = whole_prop.strings().len() == one.len();
    let (it, was) = if all || one.len() == 1 { ("it", "it was") } else { ("them", "they were") };
    let shown = if plugs.len() > MOST_NAMED { 1 } else { plugs.len() };
    let wires = plugs.iter_mut().take(shown).map(|((_, plug), strings)| {
        strings.sort_unstable();
        let ids: Vec<StringId> = strings.iter().map(|(_, id)| *id).collect();
        let items = match all && shown == 1 && ids.is_sorted() {
            true => whole_prop.name.to_string(),
            false => references(model, &ids),
        };
        format!("wire {plug}: {items}")
    });
    sink.push(
        RULE.report(
            *at,
            format!(
                "no wire names {}, so {was} put on {}",
                whole(model, one.len(), *prop, *first),
                list(&names, "and")
            ),
        )
        .label(format!("put on {}", list(&names, "and")))
        .why("a pick of the compiler's may change when the display does; a wire stays")
        .help(format!("write a wire for {it}, as in `{}`", wires.collect::<Vec<_>>().join("; "))),
    );
}

/// What was placed, in words: the prop or some strings of it.
fn whole(model: &Model, count: usize, prop: PropId, first: StringId) -> String {
    let prop = &model.props[prop];
    if count == prop.strings().len() {
        format!("`{}`", prop.name)
    } else if count == 1 {
        format!("`{}`", model.name_of(first))
    } else {
        format!("{count} strings of `{}`", prop.name)
    }
}
