//! `port/nodes`: more nodes (or slots) on a port than its limit allows.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::limits::{Load, PortLimit};
use crate::model::{Model, Output, PieceKind, Stated};
use crate::plan::{ChainPiece, Plan, PortPlan};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;
use crate::usage::plug_name;

/// The rule.
pub const RULE: Rule = Rule {
    code: "port/nodes",
    severity: Severity::Error,
    title: "more nodes on a port than its limit",
    page: Page {
        means: "`nodes at most N` (or `slots at most N`) says what a port may drive. More hangs on it; nodes that a `skip` \
                leaves dark count too, since the port sends them all the same.",
        why: "The controller stops sending at its limit, so the last nodes of the line stay dark or keep their colour.",
        source: "the port's own limit, as its `nodes at most` has it; grammar/LANGUAGE.md, \"Ports\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 110 nodes }\n\
                controller pier { ports 1..4 { nodes at most 200 } }\n\
                wire pier.1: arch[1] -> arch[2]\n",
        change: &[(
            "wire pier.1: arch[1] -> arch[2]\n",
            "wire pier.1: arch[1]\nwire pier.2: arch[2]\n",
        )],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for port in &plan.ports {
        let Output::Pixel(number) = port.output else {
            continue;
        };
        let total = u64::from(port.nodes) + u64::from(port.skipped);
        // The plan's limit is never above the one that is set, so this is in order.
        if port.nodes > 0 && port.limit.is_some_and(|most| total <= u64::from(most)) {
            continue;
        }
        let receivers = port.pieces.iter().filter_map(|piece| piece.receiver);
        match PortLimit::of(model, port.controller, number, receivers) {
            PortLimit::Time => {}
            PortLimit::Nodes(most) => {
                if total > u64::from(most.value) {
                    sink.push(over(model, port, most, total, "node"));
                }
            }
            // Nodes on a port that counts slots are reported by `wire/kind`.
            PortLimit::Slots(_) if port.nodes > 0 => continue,
            PortLimit::Slots(most) => {
                if port.slots > most.value {
                    sink.push(over(model, port, most, u64::from(port.slots), "slot"));
                }
            }
        }
    }
}

fn over(model: &Model, port: &PortPlan, most: Stated<u32>, total: u64, unit: &str) -> Diagnostic {
    let name = plug_name(model, port, None);
    let count = |count: u64| counted(count, unit);
    let too_many = total.saturating_sub(u64::from(most.value));
    let over = first_over(model, port, u64::from(most.value), unit == "slot");
    let (at, piece) = (over.at, &over.what);
    // Dark nodes take no slots.
    let skipped = match port.skipped {
        skipped if skipped > 0 && unit == "node" => format!(", {skipped} of them skipped"),
        _ => String::new(),
    };
    RULE.report(
        at,
        format!("port `{name}` has {}{skipped}, but its limit is {}", count(total), most.value),
    )
    .label(format!("{piece} runs over the limit: {} too many", count(too_many)))
    .why(format!(
        "the controller stops sending after {}, so what comes after stays dark",
        count(u64::from(most.value))
    ))
    .help(cure(model, port, &over, most.value, unit))
    .and(most.at, format!("at most {} set here", count(u64::from(most.value))))
}

/// The first piece that runs over a limit.
#[derive(Default)]
struct Over {
    /// Its place.
    at: Span,
    /// Its name in a sentence.
    what: String,
    /// Its own length in nodes or slots, if it is a string.
    length: Option<u64>,
    /// How many strings are before and after it on the port.
    strings: (usize, usize),
}

fn first_over(model: &Model, port: &PortPlan, most: u64, slots: bool) -> Over {
    let is_string = |piece: &&ChainPiece| matches!(piece.piece.kind, PieceKind::String(..));
    let mut load = Load::default();
    for (at, piece) in port.pieces.iter().enumerate() {
        let length = |load: &Load| if slots { load.slots } else { load.length() };
        let before = length(&load);
        load.add(model, piece.piece.kind);
        if length(&load) > most {
            let own = length(&load) - before;
            let (what, length) = match piece.piece.kind {
                PieceKind::String(id, _) => (format!("`{}`", model.name_of(id)), Some(own)),
                PieceKind::Skip(count) => (format!("`skip {count}`"), None),
                PieceKind::Lead(..) => (String::new(), None),
            };
            let (front, behind) = port.pieces.split_at(at);
            return Over {
                at: piece.piece.at,
                what,
                length,
                strings: (
                    front.iter().filter(is_string).count(),
                    behind.iter().skip(1).filter(is_string).count(),
                ),
            };
        }
    }
    Over::default()
}

/// What to do: move the string that does not fit, or cut it if it alone is over the limit.
fn cure(model: &Model, port: &PortPlan, over: &Over, most: u32, unit: &str) -> String {
    let name = plug_name(model, port, None);
    let most = u64::from(most.max(1));
    let rest = match over.strings.1 {
        0 => "",
        _ => " and what comes after it",
    };
    match over.length {
        Some(length) if length > most && unit == "node" => {
            let parts = length.div_ceil(most);
            let each = length.div_ceil(parts);
            format!(
                "cut {} into {parts} strings of at most {}, each on a port of its own",
                over.what,
                counted(each, "node")
            )
        }
        Some(length) if length > most => format!("wire {} to a port that takes more", over.what),
        Some(_) => format!("move {}{rest} from `{name}` to another port", over.what),
        None if over.strings.1 > 0 => {
            format!("skip fewer nodes, or move what comes after {}", over.what)
        }
        None => format!("take {} away: nothing comes after it", over.what),
    }
}
