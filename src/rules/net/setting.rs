//! `net/setting`: a setting that the controller's input has no field for.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::model::{Controller, Model};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "net/setting",
    severity: Severity::Error,
    title: "a setting that the input has no field for",
    page: Page {
        means: "`priority` and `sync universe` are fields of E1.31 packets. This controller has another `input`, whose packets \
                have no such field.",
        why: "The setting would change nothing at the controller: a second source would still merge in, or frames would still \
              show one universe after another.",
        source: "ANSI E1.31-2018, 6.2.3 (priority, 0 to 200, default 100), 6.2.4 and 11 (synchronization); free from \
                 ESTA; grammar/LANGUAGE.md, \"controller\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { input ddp; priority 150; ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n",
        change: &[("ddp;", "e131 unicast;")],
    },
    check: Some(check),
};

fn check(model: &Model, _: &Plan, sink: &mut Sink) {
    let deaf = |controller: &&Controller| !controller.input.protocol.has_priority();
    for controller in model.controllers.iter().filter(|one| !one.stock).filter(deaf) {
        if let Some(told) = controller.priority {
            sink.push(no_field(controller, told.at, "priority"));
        }
        if let Some(told) = controller.sync {
            sink.push(no_field(controller, told.at, "sync universe"));
        }
    }
}

fn no_field(controller: &Controller, at: Span, setting: &str) -> Diagnostic {
    let input = controller.input.words();
    let name = &controller.name;
    RULE.report(at, format!("`{setting}` is set on `{name}`, whose input is `{input}`"))
        .label(format!("{} has no field for it", controller.input.protocol.standard()))
        .why(format!(
            "only E1.31 packets carry a `{setting}`, so it would change nothing at `{name}`"
        ))
        .help(
            "take the setting away, or give the controller `input e131 unicast` or `input e131 \
         multicast` if it can receive that",
        )
        .and_if(controller.input_at, format!("`{input}` set here"))
}
