//! `power/idle`: an injection that feeds nothing.

use crate::diagnostic::{Severity, Sink, words};
use crate::loads::{Study, TapLoad};
use crate::model::{InjectAt, Injection, Model};
use crate::rules::{Page, Rule};
use crate::unit::{counted, load};
use crate::usage::inject_place;

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/idle",
    severity: Severity::Warning,
    title: "an injection that feeds nothing",
    page: Page {
        means: "Less than 1 mA flows through a lead of `inject` at the level that `dim to` allows. In most cases the plus is cut \
                before the point (`apart`) and no node comes after it. Nothing is reported for nodes that do not say what they \
                draw.",
        why: "The lead looks as if it fed the line, but it does not: the line gets all its current from somewhere else.",
        source: "common practice, no standard; the limit of 1 mA is our own choice",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 20 mA; pitch 75 mm; gauge 18 AWG }\n\
                prop arch { node dot; string 100 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
                wire pier.1: arch\n\
                supply shed { volts 12 V; rated 150 W }\n\
                supply tree { volts 12 V; rated 150 W }\n\
                power pier.1..4 from shed through 0.5 m of 12 AWG fuse 15 A\n\
                inject arch at end from tree through 1 m of 16 AWG fuse 5 A apart\n",
        change: &[("end", "node 51")],
    },
    check: None,
};

/// A lead that carries less than this feeds nothing, in microamperes.
const LEAST: u64 = 1_000;

/// Reports every injection with a point that feeds nothing.
pub fn report(model: &Model, study: &Study, sink: &mut Sink) {
    let idle = |tap: &TapLoad| {
        let section = &study.sections[tap.section];
        // Without a known draw, or at level 0, a current of 0 proves nothing.
        let known = section.silent == 0 && section.level > 0;
        known && !tap.left_out && tap.ua.unsigned_abs() < LEAST
    };
    let statements = study.taps.chunk_by(|a, b| a.injection == b.injection);
    for taps in statements {
        let mut points = taps.iter().filter(|tap| idle(tap));
        let Some(first) = points.next() else { continue };
        let injection = &model.injections[first.injection];
        let empty = study.sections[first.section].lowest.is_none();
        let others = points.count();
        let name = words::shown(&model.name_of(first.string));
        let more = match others {
            0 => String::new(),
            others => format!(" (and {} more)", counted(others, "point")),
        };
        sink.push(
            RULE.report(
                injection.at,
                format!(
                    "the injection into `{name}` ({}){more} feeds nothing",
                    place(injection, first)
                ),
            )
            .label(format!("{} through this lead", load(first.ua)))
            .why(if injection.apart && empty {
                "`apart` cuts the plus before this point, and no node comes after it".to_owned()
            } else {
                "the line gets all its current from its other feeds".to_owned()
            })
            .help(help(model, injection, first, taps.len() == others + 1, &name)),
        );
    }
}

fn place(injection: &Injection, tap: &TapLoad) -> String {
    match injection.place {
        InjectAt::EveryNodes(_) | InjectAt::EveryStrands(_) => format!("after node {}", tap.after),
        place => inject_place(place),
    }
}

fn help(model: &Model, injection: &Injection, tap: &TapLoad, all: bool, name: &str) -> String {
    let nodes = model.shape(tap.string).nodes;
    if !all {
        return format!(
            "feed `{name}` at the nodes that need it, an `inject {name} at node N` for each, in place of `{}`",
            inject_place(injection.place)
        );
    }
    if injection.apart && nodes > 1 && tap.after == nodes {
        return format!(
            "take it away, or move it to the first node that it is to feed, such as `inject {name} at node {}`",
            nodes / 2 + 1
        );
    }
    "take it away, or move it to where the line needs more voltage".into()
}
