//! `power/circuit`: a mains circuit over 80 % of its breaker.

use crate::cable::{LASTING, lasts};
use crate::diagnostic::{Severity, Sink};
use crate::loads::{Loads, circuit_mw};
use crate::model::Model;
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::unit::{Dimension, load, quantity};

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/circuit",
    severity: Severity::Error,
    title: "a mains circuit over 80 % of its breaker",
    page: Page {
        means: "The supplies, controllers and fixtures `on` a circuit take more than 80 % of its breaker. A supply counts with what \
                it gives at the level that `dim to` allows, and with its own loss: it gives 85 % of what it takes, unless it says \
                `efficiency`. Power factor and inrush are not counted: a supply without power factor correction takes more \
                current than this, so leave room, and let somebody licensed decide.",
        why: "The breaker trips in the middle of the show, and everything on it goes dark at once.",
        source: "NFPA 70 (NEC), 2020 edition, 210.20(A) (from memory): a load of three hours or more takes at most 80 % of a breaker; the efficiency is common \
                 practice for switching supplies, no source",
        wrong: "circuit porch { volts 120 V; breaker 15 A }\n\
                prop flood * 4 { slots 6; draw 400 W; on porch }\n\
                controller pier { dmx 1 }\n\
                wire pier.dmx1: flood\n",
        change: &[("400", "350")],
    },
    check: None,
};

/// Checks the load of every circuit against its breaker.
pub fn report(model: &Model, plan: &Plan, loads: &Loads, sink: &mut Sink) {
    for (id, circuit) in model.circuits.pairs() {
        let (Some(volts), Some(breaker)) = (circuit.volts, circuit.breaker) else {
            continue;
        };
        let mw = circuit_mw(model, plan, &loads.allowed, id);
        let ua = i128::from(mw) * 1_000_000 / i128::from(volts.value.max(1));
        let ua = i64::try_from(ua).unwrap_or(i64::MAX);
        if lasts(ua, breaker.value) {
            continue;
        }
        let (draws, rating) = (load(ua), quantity(breaker.value, Dimension::Current));
        let name = &circuit.name;
        let over = if ua > breaker.value {
            format!("its breaker is for {rating}")
        } else {
            format!("that is over {LASTING} % of its breaker of {rating}")
        };
        let finding = RULE
            .report(
                circuit.at,
                format!("circuit `{name}` carries {draws} at mains voltage; {over}"),
            )
            .label(format!("{draws} on it"))
            .why(
                "the breaker trips during the show, and everything on this circuit goes dark at \
                 once",
            )
            .help(format!("put some of what is `on {name}` on another circuit"));
        sink.push(finding.and(breaker.at, format!("{rating} set here")));
    }
}
