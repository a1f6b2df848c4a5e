//! `wire/mixed`: strings of unlike nodes on one port.

use super::chip::{each_make, others};
use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::limits::fed_apart;
use crate::model::{Model, NodeKind, PortSettings, StringId};
use crate::plan::{Plan, PortPlan};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{Dimension, counted, quantity};
use crate::usage::plug_name;

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/mixed",
    severity: Severity::Warning,
    title: "strings of unlike nodes on one port",
    page: Page {
        means: "Two strings on one port differ in chip, voltage, bits a colour or slots a node. Most \
                controllers have one setting of these for a whole port. Where only the order of the colours differs, this is \
                advice: some controllers set the order for each string.",
        why: "The port sends all its data in one form. Nodes that want another form flicker, show the wrong colours or stay \
              dark; nodes on too much voltage are destroyed.",
        source: "data sheets of the chips: WS2812B (24 bits a node), SK6812RGBW (32 bits), UCS8903 (48 bits); one setting a \
                 port: common practice, from memory",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                node glow { chip ws2811; colour RGBW }\n\
                prop arch { node dot; string 50 nodes }\n\
                prop star { node glow; string 20 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch -> star\n",
        change: &[("wire pier.1: arch -> star\n", "wire pier.1: arch\nwire pier.2: star\n")],
    },
    check: Some(check),
};

/// A make of node on a port: its first string with the place in the wire, and how many more.
struct Make<'m> {
    node: &'m NodeKind,
    id: StringId,
    at: Span,
    more: usize,
    /// Whether the port drives its chip; if not, `wire/chip` reports it.
    driven: bool,
    /// Whether its voltage is compared here. Where the display says more about power, `wire/volts`
    /// and `power/mixed` do that.
    volts: bool,
}

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let apart = fed_apart(model);
    let fed = !model.supplies.is_empty() || !model.circuits.is_empty();
    for port in &plan.ports {
        let mut first: Option<Make<'_>> = None;
        each_make(model, port, &[], |settings, id, at, more| {
            let Some(node) = model.node_of(id) else {
                return;
            };
            let own_feed = apart[id];
            let make = Make {
                node,
                id,
                at,
                more,
                driven: drives(settings, node),
                volts: !fed && !own_feed && settings.volts.is_none() && settings.fuse.is_none(),
            };
            match &first {
                None => first = Some(make),
                Some(first) => {
                    if let Some(unlike) = unlike(model, first, &make) {
                        sink.push(finding(model, port, first, &make, &unlike));
                    }
                }
            }
        });
    }
}

fn drives(settings: &PortSettings, node: &NodeKind) -> bool {
    let chip = node.chip.map(|chip| chip.value);
    let mut driven = settings.chips.iter().map(|chip| chip.value);
    settings.chips.is_empty() || chip.is_none() || driven.any(|one| Some(one) == chip)
}

/// How two makes differ, and how serious that is.
struct Unlike {
    severity: Severity,
    /// What each has, in words.
    has: (String, String),
    why: &'static str,
}

fn unlike(model: &Model, first: &Make<'_>, other: &Make<'_>) -> Option<Unlike> {
    let told = |has: (String, String), why| {
        let severity = Severity::Warning;
        Some(Unlike { severity, has, why })
    };
    if !first.driven || !other.driven {
        return None;
    }
    let chip = |make: &Make<'_>| Some(&model.chips[make.node.chip?.value]);
    let chips = chip(first).zip(chip(other));
    if let Some((one, two)) = chips.filter(|(one, two)| one.name != two.name) {
        return told(
            (format!("`{}` nodes", one.name), format!("`{}` nodes", two.name)),
            "a port sends its bits in one form, so nodes with the other chip flicker or stay dark",
        );
    }
    let slots = (first.node.slots, other.node.slots);
    if slots.0 != slots.1 {
        let words = |slots: u32| format!("{} a node", counted(slots, "slot"));
        return told(
            (words(slots.0), words(slots.1)),
            "the port sends the same number of slots to each node, so each node of the other make shifts the colours \
             further",
        );
    }
    let volts = first.node.volts.zip(other.node.volts);
    let volts = volts.filter(|_| first.volts && other.volts);
    if let Some((one, two)) = volts.filter(|(one, two)| one.value != two.value) {
        let words = |value| quantity(value, Dimension::Voltage);
        return told(
            (words(one.value), words(two.value)),
            "strings in one line share its plus, and more voltage than the nodes are made for destroys them",
        );
    }
    let colours = (&first.node.colour, &other.node.colour);
    if colours.0 == colours.1 {
        return None;
    }
    Some(Unlike {
        severity: Severity::Advice,
        has: (format!("colour {}", colours.0), format!("colour {}", colours.1)),
        why: "a controller with one order of colours for a whole port shows wrong colours on one of them",
    })
}

fn finding(
    model: &Model,
    port: &PortPlan,
    first: &Make<'_>,
    other: &Make<'_>,
    unlike: &Unlike,
) -> Diagnostic {
    let plug = plug_name(model, port, Some(other.id));
    let (one, two) = (model.name_of(first.id), model.name_of(other.id));
    let (has, wants) = (&unlike.has.0, &unlike.has.1);
    let others = others(other.more);
    let name = &model.controllers[port.controller].name;
    let mut finding = RULE
        .report(
            other.at,
            format!("`{two}`{others} has {wants}, `{one}` on the same port `{plug}` has {has}"),
        )
        .label(wants.clone())
        .why(unlike.why.to_owned())
        .help(format!(
            "wire `{two}` to a port of its own, or make sure that `{name}` can set each string of \
             a port by itself"
        ));
    finding.severity = unlike.severity;
    match first.at == other.at {
        true => finding.and(other.node.at, wants.clone()),
        false => finding.and(first.at, has.clone()),
    }
}
