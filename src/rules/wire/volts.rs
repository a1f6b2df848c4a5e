//! `wire/volts`: a voltage that the port does not supply.

use super::chip::{each_make, others};
use crate::diagnostic::{Severity, Sink};
use crate::limits::fed_apart;
use crate::model::Model;
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::unit::{Dimension, quantity};
use crate::usage::plug_name;

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/volts",
    severity: Severity::Error,
    title: "a voltage that the port does not supply",
    page: Page {
        means: "The port supplies one voltage and the nodes of this string are made for another. A string whose start \
                is fed by an \
                `inject … at start … apart` asks its port for data only.",
        why: "Too much voltage destroys the nodes at once; too little leaves them dark or off-colour.",
        source: "data sheets of the chips (supply voltage)",
        wrong: "node dot { chip ws2811; colour RGB; volts 5 V }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { volts 12 V } }\n\
                wire pier.1: arch\n",
        change: &[("12", "5")],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let apart = fed_apart(model);
    for port in &plan.ports {
        each_make(model, port, apart.as_slice(), |settings, id, at, more| {
            let node = model.node_of(id);
            let (Some(port_volts), Some((node, volts))) =
                (settings.volts, node.and_then(|node| Some((node, node.volts?))))
            else {
                return;
            };
            if port_volts.value == volts.value {
                return;
            }
            let output = plug_name(model, port, Some(id));
            let name = model.name_of(id);
            let words = |value| quantity(value, Dimension::Voltage);
            let (wants, has) = (words(volts.value), words(port_volts.value));
            let others = others(more);
            let why = if port_volts.value > volts.value {
                "more voltage than the nodes are made for destroys them at once"
            } else {
                "nodes with too little voltage stay dark or show the wrong colours"
            };
            let finding = RULE
                .report(
                    at,
                    format!("`{name}`{others} is made for {wants}, port `{output}` supplies {has}"),
                )
                .label(format!("made for {wants}"))
                .why(why)
                .help(format!(
                    "wire `{name}` to a port of {wants}, or feed it on its own with `inject {name} \
                     at start from SUPPLY through LENGTH of GAUGE apart`"
                ));
            sink.push(
                finding
                    .and(port_volts.at, format!("`{output}` supplies {has}"))
                    .and(volts.at, format!("`{}` is made for {wants}", node.name)),
            );
        });
    }
}
