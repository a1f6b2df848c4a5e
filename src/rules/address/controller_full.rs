//! `address/controller-full`: more universes than the controller takes.

use crate::diagnostic::{Severity, Sink};
use crate::model::{ControllerId, Model, Stated, StringId};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;
use crate::usage;

/// The rule.
pub const RULE: Rule = Rule {
    code: "address/controller-full",
    severity: Severity::Error,
    title: "more universes than the controller takes",
    page: Page {
        means: "`universes at most N` says how many universes the controller listens to. Its strings lie in more.",
        why: "The controller leaves the universes past its limit alone, so the strings there stay dark.",
        source: "the controller's own limit, as its `universes at most` has it; grammar/LANGUAGE.md, \"controller\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 4 { node dot; string 150 nodes }\n\
                controller pier { universes at most 3; ports 1..4 { chip ws2811 } }\n\
                wire pier.1..4: arch[1], arch[2], arch[3], arch[4]\n",
        change: &[("3;", "4;")],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for (id, controller) in model.controllers.pairs() {
        if let Some(most) = controller.most_universes {
            one(model, plan, id, most, sink);
        }
    }
}

fn one(model: &Model, plan: &Plan, controller: ControllerId, most: Stated<u32>, sink: &mut Sink) {
    let mut strings: Vec<(u64, u64, StringId, Span)> = Vec::new();
    for port in plan.ports_of(controller) {
        // Strings that show another's data count too: the controller listens to their universes.
        strings.extend(usage::strings(port).filter_map(|(id, at)| {
            let placed = plan.of(id)?;
            Some((placed.start, placed.end, id, at))
        }));
    }
    strings.sort_unstable_by_key(|(start, end, id, _)| (*start, *end, *id));
    let (mut count, mut reached) = (0_u64, 0_u32);
    let mut over = None;
    for (start, end, id, at) in strings {
        let (first, last) = (plan.universe_slot(start).0, plan.universe_slot(end).0);
        let first = first.max(reached + 1);
        if last >= first {
            count += u64::from(last - first) + 1;
            reached = last;
        }
        if over.is_none() && count > u64::from(most.value) {
            over = Some((id, at));
        }
    }
    let Some((id, at)) = over else {
        return;
    };
    let name = &model.controllers[controller].name;
    let used = counted(count, "universe");
    sink.push(
        RULE.report(
            at,
            format!("controller `{name}` has strings in {used}, but it takes {}", most.value),
        )
        .label(format!("`{}` is the first that does not fit", model.name_of(id)))
        .why(
            "the controller leaves the universes past its limit alone, so the strings there stay \
             dark",
        )
        .help(format!(
            "wire `{}` and what comes after it to another controller, or raise the limit if \
             `{name}` takes more",
            model.name_of(id)
        ))
        .and(most.at, format!("at most {} set here", counted(most.value, "universe"))),
    );
}
