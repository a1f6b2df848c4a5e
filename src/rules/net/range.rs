//! `net/range`: a universe that the controller's input can't carry.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::model::{Controller, Model, StringId};
use crate::plan::Plan;
use crate::protocol::UNIVERSES;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::usage;

/// The rule.
pub const RULE: Rule = Rule {
    code: "net/range",
    severity: Severity::Error,
    title: "a universe that the input cannot carry",
    page: Page {
        means: "The controller's `input` has no number for this universe. Art-Net's Port-Address has 15 bits (net 0 to 127, \
                sub-net 0 to 15, universe 0 to 15), so it ends at 32767 (127:15:15); with `artnet from 0` display universe \
                32768 is the last.",
        why: "There is no packet that could name the universe, so its strings stay dark.",
        source: "Art-Net 4 protocol specification, revision 1.4 (Port-Address; free from its publisher); ANSI E1.31-2018, 6.2.7 (free from ESTA)",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { input artnet; universes from 40000; ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n",
        change: &[("40000;", "400;")],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for (id, controller) in model.controllers.pairs() {
        let range = controller.input.universes();
        if range.contains(UNIVERSES.start()) && range.contains(UNIVERSES.end()) {
            continue;
        }
        let ports = plan.ports_of(id).iter();
        let outside = ports.flat_map(usage::strings).find_map(|(id, at)| {
            let placed = plan.of(id)?;
            let ends = [placed.start, placed.end].map(|channel| plan.universe_slot(channel).0);
            // A universe that does not exist at all is reported by `address/range`.
            let carried =
                |universe: &u32| !range.contains(universe) && UNIVERSES.contains(universe);
            Some((id, at, ends.into_iter().find(carried)?))
        });
        if let Some((id, at, universe)) = outside {
            sink.push(finding(model, controller, id, at, universe));
        }
    }
}

fn finding(
    model: &Model,
    controller: &Controller,
    id: StringId,
    at: Span,
    universe: u32,
) -> Diagnostic {
    let input = controller.input;
    let range = input.universes();
    let (first, last) = (*range.start(), *range.end());
    let address = input.protocol.universe_address(input.form, last);
    let end = address.map_or(String::new(), |address| format!(" (Port-Address {address})"));
    let name = model.name_of(id);
    RULE.report(
        at,
        format!(
            "`{name}` lies in universe {universe}, but the input `{}` of `{}` ends at universe {last}{end}",
            input.words(), controller.name
        ),
    )
    .label(format!("reaches universe {universe}"))
    .why(format!(
        "{} has no number for that universe, so the string would stay dark",
        input.protocol.standard()
    ))
    .help(format!(
        "keep `{}` within universes {first} to {last} (`universes from N`), or give it `input e131 \
         unicast` if it can",
        controller.name
    ))
    .and_if(controller.input_at, format!("`{}` set here", input.words()))
    .and_if(controller.start_at, "its universes are set here")
}
