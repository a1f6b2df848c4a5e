//! `dmx/loads`: more receivers on a DMX line than its driver is made for.

use crate::diagnostic::{Severity, Sink, Words};
use crate::model::{Model, Output};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::usage::{output_name, strings};

/// The rule.
pub const RULE: Rule = Rule {
    code: "dmx/loads",
    severity: Severity::Warning,
    title: "more than 32 unit loads on a DMX line",
    page: Page {
        means: "A DMX line is an EIA-485 line, whose driver is made for 32 unit loads. Each fixture is counted as one.",
        why: "With more the levels sag and fixtures at the end flicker or miss data, often only when it is wet or cold. \
              Fixtures of a quarter or an eighth of a unit load allow for more; look into their data sheet.",
        source: "TIA/EIA-485-A (32 unit loads), on which ANSI E1.11 rests",
        wrong: "prop par * 33 { slots 4 }\n\
                controller pier { dmx 1..2 }\n\
                wire pier.dmx1: par[1..33]\n",
        right: "prop par * 33 { slots 4 }\n\
                controller pier { dmx 1..2 }\n\
                wire pier.dmx1: par[1..32]\n\
                wire pier.dmx2: par[33]\n",
    },
    check: Some(check),
};

/// Unit loads that one driver is made for.
const MOST: usize = 32;

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for port in &plan.ports {
        let Output::Dmx(_) = port.output else {
            continue;
        };
        let up = || {
            strings(port).filter(|(id, _)| model.string(*id).is_some_and(|string| !string.stored))
        };
        let Some((id, at)) = up().nth(MOST) else {
            continue;
        };
        let output = output_name(model, port.controller, port.output);
        let words = Words {
            message: format!("DMX output `{output}` has {} fixtures, a line is made for {MOST}", up().count()),
            label: format!("`{}` is number {}", model.name_of(id), MOST + 1),
            why: "past 32 unit loads the levels on the line sag, and the fixtures at its end flicker or miss data".into(),
            help: "put a splitter in the line, use a second DMX output, or look up that the fixtures are less than one unit load each".into(),
        };
        sink.push(RULE.at(at, words));
    }
}
