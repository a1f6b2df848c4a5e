//! `address/reserved`: a string on universes, a port or slots that are reserved.

use super::overlap;
use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::model::{Addressing, Model, Output, ReservedOutput, ReservedUniverses, StringId};
use crate::plan::{Plan, PortPlan, Why};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::usage::{self, output_name, stretch_name};

/// The rule.
pub const RULE: Rule = Rule {
    code: "address/reserved",
    severity: Severity::Error,
    title: "on reserved universes, or on a reserved port",
    page: Page {
        means: "`reserve` keeps universes, a port or slots of a DMX output for something else, or marks what is broken. \
                Strings that are free to move step over it; this one is pinned there, wired there, or on a \
                controller whose strings form one range without gaps.",
        why: "This string's data would reach what the place is reserved for, or the string would hang on a port that \
              does not work.",
        source: "grammar/LANGUAGE.md, \"reserve\", grammar/LANGUAGE.md, \"Where strings lie\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                reserve universes 8..9 \"house lights\"\n\
                wire pier.1: arch at 9/1\n",
        change: &[("9/1", "10/1")],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    if !model.reserved_universes.is_empty() {
        universes(model, plan, sink);
    }
    for row in &model.reserved_outputs {
        let at = (row.controller, row.output);
        let port =
            plan.ports.as_slice().binary_search_by_key(&at, |port| (port.controller, port.output));
        if let Some(port) = port.ok().and_then(|at| plan.ports.as_slice().get(at)) {
            output(model, plan, row, port, sink);
        }
    }
}

fn universes(model: &Model, plan: &Plan, sink: &mut Sink) {
    let mut rows: Vec<_> = model.reserved_universes.iter().collect();
    rows.sort_by_key(|row| (row.first, row.last));
    // For each row: which of the rows up to it has the highest last universe, as an index.
    let mut reach: Vec<usize> = Vec::with_capacity(rows.len());
    for (index, row) in rows.iter().enumerate() {
        let before = reach
            .last()
            .copied()
            .filter(|before| rows.get(*before).is_some_and(|other| other.last > row.last));
        reach.push(before.unwrap_or(index));
    }
    for port in &plan.ports {
        let places = usage::strings(port);
        for (id, at) in places {
            let own = model.strings[id].same_as.is_none();
            let Some(placed) = plan.of(id).filter(|_| own) else {
                continue;
            };
            let [first, last] =
                [placed.start, placed.end].map(|channel| plan.universe_slot(channel).0);
            let before = rows.partition_point(|row| row.first <= last);
            let row = before.checked_sub(1).and_then(|at| reach.get(at));
            let Some(row) = row.and_then(|at| rows.get(*at)).filter(|row| row.last >= first) else {
                continue;
            };
            sink.push(on_universes(model, plan, port, (id, at), row));
        }
    }
}

fn on_universes(
    model: &Model,
    plan: &Plan,
    port: &PortPlan,
    one: (StringId, Span),
    row: &ReservedUniverses,
) -> Diagnostic {
    let name = model.name_of(one.0);
    let range = plan
        .of(one.0)
        .map_or(String::new(), |placed| stretch_name(model, placed.start, placed.end));
    let reserved = if row.first == row.last {
        format!("universe {}", row.first)
    } else {
        format!("universes {} to {}", row.first, row.last)
    };
    let whose = &model.controllers[port.controller];
    let pin = plan.of(one.0).and_then(|placed| match placed.why {
        Why::Pinned(at) => Some(at),
        _ => None,
    });
    // A consecutive controller can't step over what is in its way, so it has another finding.
    if whose.addressing == Addressing::Consecutive && pin.is_none() {
        return overlap::in_the_way(model, one, whose, (&range, &reserved), row);
    }
    // On an unbroken port, strings follow the first one and its pin.
    let first = usage::strings(port).next().filter(|first| pin.is_none() && first.0 != one.0);
    let help = match first {
        Some((first, _)) => {
            let first = model.name_of(first);
            format!(
                "`{name}` follows `{first}` on its port: pin `{first}` so that both lie outside of \
                 {reserved}, or take its pin away"
            )
        }
        None => {
            format!("pin it outside of {reserved}, or take the pin away and let it step over them")
        }
    };
    RULE.report(
        one.1,
        format!("`{name}` ({range}) lies on reserved {reserved}{}", reason(row.reason.as_deref())),
    )
    .label(range)
    .why("what these universes are reserved for would show this string's data")
    .help(help)
    .and(row.at, format!("{reserved} reserved here"))
    .and_if(pin, "pinned here")
    .and_if(first.map(|(_, at)| at), "first of its port")
}

fn reason(reason: Option<&str>) -> String {
    reason.map_or(String::new(), |why| format!(" ({})", crate::diagnostic::words::shown(why)))
}

fn output(model: &Model, plan: &Plan, row: &ReservedOutput, port: &PortPlan, sink: &mut Sink) {
    let name = output_name(model, row.controller, row.output);
    match row.slots {
        None => {
            if let Some((id, at)) = usage::strings(port).next() {
                sink.push(on_output(model, row, &name, id, at));
            }
        }
        Some((first, last)) => {
            for (id, at) in usage::strings(port) {
                let Some(placed) = plan.of(id) else {
                    continue;
                };
                let slot = |channel| plan.universe_slot(channel).1;
                let (from, to) = (slot(placed.start), slot(placed.end));
                if from <= last && to >= first {
                    sink.push(on_slots(model, row, &name, (id, at), (from, to)));
                }
            }
        }
    }
}

fn on_output(
    model: &Model,
    row: &ReservedOutput,
    output: &str,
    id: StringId,
    at: Span,
) -> Diagnostic {
    let name = model.name_of(id);
    let what = match row.output {
        Output::Pixel(_) => "port",
        Output::Dmx(_) => "DMX output",
    };
    RULE.report(
        at,
        format!(
            "`{name}` is wired to {what} `{output}`, which is reserved{}",
            reason(row.reason.as_deref())
        ),
    )
    .label(format!("on reserved `{output}`"))
    .why(format!("the {what} was set aside: it is in use elsewhere, or it does not work"))
    .help(format!("wire it to another {what}, or take the `reserve {output}` away"))
    .and(row.at, format!("`{output}` reserved here"))
}

fn on_slots(
    model: &Model,
    row: &ReservedOutput,
    output: &str,
    one: (StringId, Span),
    slots: (u32, u32),
) -> Diagnostic {
    let name = model.name_of(one.0);
    let (first, last) = row.slots.unwrap_or_default();
    RULE.report(
        one.1,
        format!(
            "`{name}` takes slots {} to {} of `{output}`, of which {first} to {last} are \
             reserved{}",
            slots.0,
            slots.1,
            reason(row.reason.as_deref())
        ),
    )
    .label(format!("slots {} to {}", slots.0, slots.1))
    .why("what these slots are reserved for would answer to this fixture's data")
    .help("pin it to other slots, or take the pin away and let it step over them")
    .and(row.at, format!("slots {first} to {last} reserved here"))
}
