//! `port/pace`: a clocked chip without a rate, so its port has no frame time.

use crate::diagnostic::{Severity, Sink};
use crate::model::{Chip, ChipId, Model, NodeKind};
use crate::plan::{Plan, PortPlan};
use crate::rules::{Page, Rule};
use crate::unit::counted;
use crate::usage::strings;
use std::collections::BTreeMap;

/// The rule.
pub const RULE: Rule = Rule {
    code: "port/pace",
    severity: Severity::Advice,
    title: "a clocked chip without a rate",
    page: Page {
        means: "A clocked chip (data and clock line) has no bit time of its own: it follows the clock that its controller sets. \
                Without a `rate` nobody knows how long a frame takes on its ports, so `port/time` is not checked there and the \
                table shows no limit. With one, the start frame and the clocks after the data count too.",
        why: "A line that is too long for the clock would not be reported, but would move in jerks at the display.",
        source: "APA102 data sheet (clocked, 32 zero bits before the data); that half a clock a node follows the data is from \
                 memory, as for the figures of other clocked chips, see `tinsel explain chips`",
        wrong: "node bead { chip apa102; colour BGR }\n\
                controller pier { ports 1..4 { chip apa102 } }\n\
                prop arch { node bead; string 300 nodes }\n\
                wire pier.1: arch\n",
        change: &[(
            "node bead { chip apa102; colour BGR }\n",
            "chip apa102 { rate 1000 kHz }\nnode bead { chip apa102; colour BGR }\n",
        )],
    },
    check: Some(check),
};

/// By chip: the first make of node with it, and on how many ports it is.
type Unpaced<'a> = BTreeMap<ChipId, (&'a NodeKind, &'a Chip, u32)>;

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let mut found: Unpaced<'_> = BTreeMap::new();
    for port in &plan.ports {
        for (id, node, chip) in unpaced(model, port) {
            found.entry(id).or_insert((node, chip, 0)).2 += 1;
        }
    }
    for (node, chip, ports) in found.into_values() {
        let Some(told) = node.chip else { continue };
        let (name, ports) = (&chip.name, counted(ports, "port"));
        sink.push(
            RULE.report(
                told.at,
                format!("`{name}` has no `rate`, so the frame time of {ports} is not checked"),
            )
            .label("a clocked chip, and nothing says at what clock")
            .why("a line that is too long for the clock would move in jerks")
            .help(match chip.at {
                Some(_) => format!(
                    "say the clock that the controller is set to: `rate 1000 kHz` in `chip {name}` \
                     is 1 MHz"
                ),
                None => format!(
                    "say the clock that the controller is set to: `chip {name} {{ rate 1000 kHz \
                     }}` is 1 MHz"
                ),
            }),
        );
    }
}

/// The clocked chips without a rate on a port, each once, with the first make of node that has it.
fn unpaced<'a>(model: &'a Model, port: &PortPlan) -> Vec<(ChipId, &'a NodeKind, &'a Chip)> {
    let mut found: Vec<(ChipId, &NodeKind, &Chip)> = Vec::new();
    for (id, _) in strings(port) {
        let Some(node) = model.node_of(id).filter(|_| model.is_up(id)) else {
            continue;
        };
        let Some(id) = node.chip.map(|told| told.value) else {
            continue;
        };
        let chip = &model.chips[id];
        if chip.bit.is_none() && found.iter().all(|(other, ..)| *other != id) {
            found.push((id, node, chip));
        }
    }
    found
}
