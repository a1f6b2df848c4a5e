//! `address/universe-shared`: two controllers with strings of their own in one universe.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::model::{ControllerId, Model, Start, StringId};
use crate::plan::Plan;
use crate::protocol::UNIVERSES;
use crate::rules::{Page, Rule};
use crate::usage::{self, UniverseUse, controller_of};
use std::collections::BTreeSet;

/// The rule.
pub const RULE: Rule = Rule {
    code: "address/universe-shared",
    severity: Severity::Error,
    title: "two controllers on one universe",
    page: Page {
        means: "Strings of two controllers lie in one universe. Only strings that show the same data (`same as`) may.",
        why: "If a universe is sent to two controllers, each must be set to its own slots of it, and a change to one \
              can break the other.",
        source: "grammar/LANGUAGE.md, \"Where strings lie\", rule 8",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 50 nodes }\n\
                controller pier { universes from 1; ports 1..4 { chip ws2811 } }\n\
                controller quay { universes from 1; ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1]\n\
                wire quay.1: arch[2]\n",
        change: &[("quay { universes from 1;", "quay { universes from 2;")],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let uses = usage::universes(model, plan);
    let mut told: BTreeSet<(ControllerId, ControllerId)> = BTreeSet::new();
    let mut looked = false;
    let mut free = uses.last().map_or(0, |last| last.universe);
    let mut taken = taken(model).into_iter().peekable();
    for shared in uses.chunk_by(|a, b| a.universe == b.universe) {
        let [first, others @ ..] = shared else {
            continue;
        };
        if !others.is_empty() && !looked {
            looked = true;
            told.extend(told_by_overlap(model, plan));
        }
        for (other, before) in others.iter().zip(shared) {
            if told.insert((first.controller, other.controller)) {
                free = free.saturating_add(1);
                while let Some((_, last)) = taken.next_if(|(first, _)| *first <= free) {
                    free = free.max(last.saturating_add(1));
                }
                let free = UNIVERSES.contains(&free).then_some(free);
                sink.push(between(model, plan, (first, other), before.controller, free));
            }
        }
    }
}

/// The universes that are reserved or that a controller has as its own, from the lowest on.
fn taken(model: &Model) -> Vec<(u32, u32)> {
    let reserved = model.reserved_universes.iter().map(|row| (row.first, row.last));
    let own = model.controllers.iter().filter_map(|controller| match controller.start {
        Start::Range(first, last) => Some((first, last)),
        Start::Auto | Start::From(_) | Start::After(_) => None,
    });
    let mut taken: Vec<(u32, u32)> = reserved.chain(own).collect();
    taken.sort_unstable();
    taken
}

/// Pairs of controllers with pins on the same slots, which `address/overlap` reports.
fn told_by_overlap(model: &Model, plan: &Plan) -> BTreeSet<(ControllerId, ControllerId)> {
    let clashes = usage::overlaps(model, plan, &usage::by_start(model, plan));
    let pairs = clashes.iter().filter_map(|clash| {
        let a = controller_of(plan, clash.holder)?;
        let b = controller_of(plan, clash.comer)?;
        (a != b).then_some((a.min(b), a.max(b)))
    });
    pairs.collect()
}

/// Two controllers in one universe. `before` is the controller in that universe that comes right
/// before the second; `free` is a universe that nothing lies in and no other finding offers.
fn between(
    model: &Model,
    plan: &Plan,
    (one, two): (&UniverseUse, &UniverseUse),
    before: ControllerId,
    free: Option<u32>,
) -> Diagnostic {
    let name = |id: ControllerId| &*model.controllers[id].name;
    let (first, second) = (name(one.controller), name(two.controller));
    let places = usage::places(model, plan);
    let of = |id: StringId| places[id];
    // If one of the two is there by a pin, that is the place, else where the later one starts.
    let pin = [two, one].into_iter().find_map(|row| of(row.first).1.map(|_| row));
    let later = &model.controllers[two.controller];
    let at = match pin {
        Some(row) => of(row.first).0,
        None => later.start_at.unwrap_or(later.at),
    };
    let universe = one.universe;
    let help = match pin {
        Some(row) => {
            let is = free.map_or(String::new(), |free| format!("; {free} is"));
            format!("pin `{}` into a universe that is free{is}", model.name_of(row.first))
        }
        None => {
            let or = free.map_or(String::new(), |free| {
                format!(", or in a free one with `universes from {free}`")
            });
            format!("start `{second}` after `{0}` with `universes after {0}`{or}", name(before))
        }
    };
    let finding = RULE
        .report(
            at,
            format!(
                "controllers `{first}` and `{second}` both have strings in universe {universe}"
            ),
        )
        .label(match pin {
            Some(row) => format!("`{}` lies in universe {universe}", model.name_of(row.first)),
            None => format!("`{second}` has universe {universe}"),
        })
        .why("each would get the other's data, and changing one would shift what the other shows")
        .help(help);
    let other = if pin.is_some_and(|row| row == one) { two } else { one };
    finding.and(
        of(other.first).0,
        format!("`{}` of `{}` lies there too", model.name_of(other.first), name(other.controller)),
    )
}
