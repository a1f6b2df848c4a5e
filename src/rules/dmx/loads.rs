//! `dmx/loads`: more unit loads on a DMX line than its driver is made for.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::model::{Model, Output};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{Dimension, counted, quantity};
use crate::usage::{output_name, strings};

/// The rule.
pub const RULE: Rule = Rule {
    code: "dmx/loads",
    severity: Severity::Warning,
    title: "more than 32 unit loads on a DMX line",
    page: Page {
        means: "A DMX line is an EIA-485 line, whose driver is made for 32 unit loads. Each fixture counts \
                as one, or as its setting `loads N` says.",
        why: "With more the levels sag and fixtures at the end flicker or miss data, often only when it is wet or cold. \
              Fixtures of a quarter or an eighth of a unit load allow for more; their data sheet says it.",
        source: "TIA/EIA-485-A (32 unit loads; a purchased standard), on which ANSI E1.11-2008 (R2018) rests; `loads`: grammar/LANGUAGE.md, \
                 \"prop\"",
        wrong: "prop par * 33 { slots 4 }\n\
                controller pier { dmx 1..2 }\n\
                wire pier.dmx1: par[1..33]\n",
        change: &[(
            "wire pier.dmx1: par[1..33]\n",
            "wire pier.dmx1: par[1..32]\nwire pier.dmx2: par[33]\n",
        )],
    },
    check: Some(check),
};

/// Unit loads that one driver is made for, in thousandths.
const MOST: u64 = 32_000;

/// A DMX output with too many unit loads: its fixtures, their sum in thousandths, and the first
/// fixture that is too much, with its number among them.
fn finding(
    at: Span,
    output: &str,
    fixtures: usize,
    sum: u64,
    (name, place): (String, usize),
) -> Diagnostic {
    let loads = |thousandths: u64| {
        quantity(i64::try_from(thousandths).unwrap_or(i64::MAX), Dimension::UnitLoads)
    };
    RULE.report(
        at,
        format!(
            "DMX output `{output}` has {} unit loads ({}), a line is made for {}",
            loads(sum),
            counted(fixtures, "fixture"),
            loads(MOST)
        ),
    )
    .label(format!("`{name}` is number {place}"))
    .why(
        "past 32 unit loads the levels on the line sag, and the fixtures at its end flicker or \
         miss data",
    )
    .help(
        "put a splitter in the line or use a second DMX output; where the data sheet of a fixture \
         says less than one unit load, write that into its prop, as in `loads 0.25`",
    )
}

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for port in &plan.ports {
        let Output::Dmx(_) = port.output else {
            continue;
        };
        let up = strings(port).filter(|(id, _)| model.is_up(*id));
        let (mut sum, mut fixtures, mut over) = (0, 0, None);
        for (id, at) in up {
            fixtures += 1;
            sum += u64::from(model.shape(id).loads);
            if sum > MOST && over.is_none() {
                over = Some((id, at, fixtures));
            }
        }
        if let Some((id, at, place)) = over {
            let output = output_name(model, port.controller, port.output);
            sink.push(finding(at, &output, fixtures, sum, (model.name_of(id), place)));
        }
    }
}
