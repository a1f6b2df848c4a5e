//! `stored/mid-chain`: a string that is not put up, in the middle of an unbroken data line.

use crate::diagnostic::words::list;
use crate::diagnostic::{Severity, Sink, Words};
use crate::model::{Addressing, Model, Output, StringId};
use crate::plan::{Plan, PortPlan};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::usage::{output_name, strings};

/// The rule.
pub const RULE: Rule = Rule {
    code: "stored/mid-chain",
    severity: Severity::Error,
    title: "a stored string in the middle of an unbroken data line",
    page: Page {
        means: "A string that is not put up this season keeps its addresses. On a port that is one unbroken range the data of \
                what hangs behind it would then come too late by its slots, because its nodes are not there to take theirs.",
        why: "Each node takes the first data it gets and hands on the rest. Without the stored nodes all behind them show what \
              was meant for nodes further on.",
        source: "grammar/LANGUAGE.md, \"stored\"; data sheets of the chips (each node passes on what comes after its own data), for instance WS2811",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 3 { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1] -> arch[2] -> arch[3]\n\
                stored arch[2]\n",
        right: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 3 { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1] -> arch[3] -> arch[2]\n\
                stored arch[2]\n",
    },
    check: Some(check),
};

/// So many strings are named.
const MOST_NAMED: usize = 3;

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    if model.strings.iter().all(|string| !string.stored) {
        return;
    }
    for port in &plan.ports {
        let unbroken = model
            .controller(port.controller)
            .is_some_and(|c| c.addressing != Addressing::PerProp);
        if unbroken && matches!(port.output, Output::Pixel(_)) {
            on_port(model, port, sink);
        }
    }
}

fn on_port(model: &Model, port: &PortPlan, sink: &mut Sink) {
    let stored = |id| model.string(id).is_some_and(|string| string.stored);
    let chain: Vec<_> = strings(port).collect();
    let up = chain.iter().rposition(|(id, _)| !stored(*id));
    let Some((last_up, first)) = up.zip(chain.iter().position(|(id, _)| stored(*id))) else {
        return;
    };
    if first > last_up {
        return;
    }
    let Some((id, at)) = chain.get(first) else {
        return;
    };
    let inner = chain.iter().take(last_up + 1).skip(first);
    let (away, behind): (Vec<(StringId, Span)>, Vec<_>) = inner.partition(|(id, _)| stored(*id));
    let (gone, hang) = (named(model, &away), named(model, &behind));
    let slots: u32 = away
        .iter()
        .filter_map(|(id, _)| model.shape_of(*id).map(|shape| shape.slots))
        .fold(0, u32::saturating_add);
    let (is, hangs) = (
        if away.len() == 1 { "is" } else { "are" },
        if behind.len() == 1 { "hangs" } else { "hang" },
    );
    let output = output_name(model, port.controller, port.output);
    let name = model.name_of(*id);
    let words = Words {
        message: format!("{gone} {is} stored, but {hang} {hangs} behind on port `{output}`"),
        label: format!("`{name}` is stored, its data would go to what hangs behind"),
        why: format!(
            "without the stored nodes in the line, {hang} would move by up to {slots} slots and show the wrong data"
        ),
        help: format!(
            "wire {gone} last on `{output}`, or hang as many dark nodes in its place and take {gone} off `stored`"
        ),
    };
    let next = behind.first().map(|(_, at)| *at);
    let next = next.filter(|next| next != at);
    let stored_at = model.stored_at.iter().find(|(of, _)| of == id);
    let finding = RULE
        .at(*at, words)
        .and_if(next, "would move")
        .and_if(stored_at.map(|(_, at)| *at), "stored here");
    sink.push(finding);
}

/// The names of strings, the first few.
fn named(model: &Model, strings: &[(StringId, Span)]) -> String {
    let mut names: Vec<String> = strings
        .iter()
        .take(MOST_NAMED)
        .map(|(id, _)| format!("`{}`", model.name_of(*id)))
        .collect();
    if strings.len() > MOST_NAMED {
        names.push(format!("{} more", strings.len() - MOST_NAMED));
    }
    list(&names, "and")
}
