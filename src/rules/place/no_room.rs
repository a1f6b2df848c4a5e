//! `place/no-room`: strings or fixtures for which no port or DMX output was found.

mod cure;

pub use cure::{Cure, RatePlace};

use crate::diagnostic::words::{list, ticked_or};
use crate::diagnostic::{Diagnostic, Severity, Words};
use crate::model::{Model, StringId, Target};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;

/// The rule.
pub const RULE: Rule = Rule {
    code: "place/no-room",
    severity: Severity::Error,
    title: "no port can take it",
    page: Page {
        means: "The compiler looked for a port and found none: every port it may use is taken, too short, too slow, \
                made for \
                other nodes, or reserved.",
        why: "The string has no port, so it has no address and stays dark.",
        source: "grammar/LANGUAGE.md, \"Ports that the compiler picks\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 90 nodes }\n\
                controller pier { ports 1..1 { nodes at most 100 } }\n\
                wire pier: arch[1], arch[2]\n",
        change: &[("1..1", "1..2")],
    },
    check: None,
};

/// Why ports were passed over, and what would have been needed.
#[derive(Debug)]
pub struct Tried {
    /// Each reason with its ports: "4 ports do not drive `ws2815`".
    pub reasons: Vec<String>,
    /// The text where there are no ports at all: "there is no DMX output".
    pub none: &'static str,
    /// What is missing: "a free port that drives `ws2815`".
    pub missing: String,
}

/// A line that needs a port.
#[derive(Debug, Clone)]
pub struct Asker {
    /// Its first string, with the place of the reference.
    pub first: (StringId, Span),
    /// How many strings it has.
    pub strings: usize,
    /// Its size: nodes, or slots for fixtures.
    pub size: u64,
    /// The target of its wire, with its place.
    pub target: (Target, Span),
}

/// What is missing for lines that clash.
#[derive(Debug)]
pub enum Lack {
    /// Any port at all; why each was passed over.
    Any(Tried),
    /// Ports.
    Ports {
        /// How many are needed at least.
        needed: u64,
        /// How many have room.
        free: u64,
    },
    /// Slots of universes.
    Slots {
        /// How many are needed.
        needed: u64,
        /// How many are left.
        left: u64,
    },
    /// A way to fit the sizes into the ports, of which there are enough. A row is a room, in nodes
    /// or slots, and how many ports have it.
    Sizes(Vec<(u64, usize)>),
    /// Not known: the search ended without room for all and without a proof that there is none.
    Unproven {
        /// Lines that have a port.
        placed: usize,
        /// All lines that need one.
        all: usize,
        /// Nodes or slots of those that have none.
        size: u64,
    },
}

/// Lines that have no room together, though without any one of them the others have.
#[derive(Debug)]
pub struct Unplaced {
    /// The lines, in file order; never empty.
    pub lines: Vec<Asker>,
    /// Whether they are fixtures.
    pub fixtures: bool,
    /// What is missing for them.
    pub lack: Lack,
    /// Which ports are left out: "2 ports are reserved".
    pub passed: Vec<String>,
    /// The settings that limit the ports, each with its place and text.
    pub limits: Vec<(Span, String)>,
    /// What to add where there are no cures.
    pub missing: String,
    /// What helps, in the order in which it is offered; each was tried.
    pub cures: Vec<Cure>,
}

/// At most this many lines are named one by one.
const MOST_NAMED: usize = 4;

/// Lines that have no room together.
#[must_use]
pub fn clash(model: &Model, clash: &Unplaced) -> Option<Diagnostic> {
    let first = clash.lines.first()?;
    let message = message(model, clash, first);
    let one = clash.lines.len() == 1;
    let label = match (&clash.lack, one) {
        (Lack::Unproven { .. }, _) => "no port was found for this",
        (Lack::Any(_), _) | (_, true) => "no port can take it",
        _ => "no room for this together with the others",
    };
    let cures: Vec<String> = clash.cures.iter().map(|cure| cure.words(model)).collect();
    let help = match cures.is_empty() {
        true => format!("add {}, or wire one string elsewhere", clash.missing),
        false => list(&cures, "or"),
    };
    let dark = if one && first.strings == 1 {
        "without a port it has no address and stays dark"
    } else {
        "what gets no port has no address and stays dark"
    };
    let mut finding =
        RULE.at(first.first.1, Words { message, label: label.into(), why: dark.into(), help });
    let mut told = vec![first.first.1];
    let mut and = |finding: Diagnostic, at: Span, text: &str| {
        if told.contains(&at) {
            return finding;
        }
        told.push(at);
        finding.and(at, text)
    };
    let alone = matches!(clash.lack, Lack::Any(_));
    let others = clash.lines.iter().skip(1).take(if alone { 0 } else { MOST_NAMED });
    for line in others {
        finding = and(finding, line.first.1, "this needs room too");
    }
    for line in clash.lines.iter().take(MOST_NAMED) {
        finding = and(finding, line.target.1, "the port was searched for here");
    }
    for (at, text) in &clash.limits {
        finding = and(finding, *at, text);
    }
    for cure in &clash.cures {
        finding = finding.choice(cure.fix(model));
    }
    if clash.lines.len() > MOST_NAMED + 1 && !alone {
        finding.names = clash.lines.iter().map(|line| model.name_of(line.first.0)).collect();
    }
    Some(finding)
}

fn message(model: &Model, clash: &Unplaced, first: &Asker) -> String {
    let place = place(model, first.target.0);
    let place = match clash.lines.iter().all(|line| line.target.0 == first.target.0) {
        true => place,
        false => "the controllers".into(),
    };
    let output = if clash.fixtures { "DMX output" } else { "port" };
    let unit = if clash.fixtures { "slot" } else { "node" };
    let names = names(model, &clash.lines);
    let s = if clash.lines.len() == 1 { "s" } else { "" };
    let passed = match clash.passed.is_empty() {
        true => String::new(),
        false => format!("; {}", list(&clash.passed, "and")),
    };
    match &clash.lack {
        Lack::Any(tried) => {
            let name = model.name_of(first.first.0);
            let strings: usize = clash.lines.iter().map(|line| line.strings).sum();
            alone(&name, strings.saturating_sub(1), &place, tried)
        }
        Lack::Ports { needed, free } => {
            let drives = drives(model, clash);
            let have = if *free == 1 { "has" } else { "have" };
            let needed = counted(*needed, output);
            format!("{names} need{s} {needed} of {place}{drives}, and {free} {have} room{passed}")
        }
        Lack::Slots { needed, left } => {
            let needed = counted(*needed, "slot");
            format!("{names} need{s} {needed}, and {left} are left in the universes of {place}")
        }
        Lack::Unproven { placed, all, size } => {
            let lines = counted(*all, "line");
            let size = counted(*size, unit);
            format!(
                "no room was found for {names} on the {output}s of {place}, and it is not proven that none exists: \
                 {placed} of {lines} have a {output}; the best attempt lacks room for {size}"
            )
        }
        Lack::Sizes(rooms) => {
            let sizes: Vec<String> = clash.lines.iter().map(|line| line.size.to_string()).collect();
            let sizes = match sizes.len() > 2 * MOST_NAMED {
                true => String::new(),
                false => format!(" ({} {unit}s)", list(&sizes, "and")),
            };
            let rooms: Vec<String> = rooms
                .iter()
                .map(|(room, ports)| format!("{} with room for {room}", counted(*ports, output)))
                .collect();
            let rooms = match rooms.is_empty() {
                true => String::new(),
                false => format!(": {}", list(&rooms, "and")),
            };
            format!("{names}{sizes} do not fit together on the {output}s of {place}{rooms}{passed}")
        }
    }
}

/// Which chips the ports must drive for the lines; empty for fixtures and nodes without a chip.
fn drives(model: &Model, clash: &Unplaced) -> String {
    let chips = clash.lines.iter().filter_map(|line| model.chip_of(line.first.0));
    let mut chips: Vec<&str> = chips.map(|chip| &*chip.name).collect();
    chips.sort_unstable();
    chips.dedup();
    match chips.is_empty() || clash.fixtures {
        true => String::new(),
        false => format!(" that drive {}", ticked_or(&chips)),
    }
}

/// The lines, named by their first strings.
fn names(model: &Model, lines: &[Asker]) -> String {
    let named = if lines.len() > MOST_NAMED + 1 { MOST_NAMED } else { lines.len() };
    let mut names: Vec<String> = lines
        .iter()
        .take(named)
        .map(|line| match line.strings {
            1 => format!("`{}`", model.name_of(line.first.0)),
            _ => format!("the chain of `{}`", model.name_of(line.first.0)),
        })
        .collect();
    if lines.len() > named {
        names.push(format!("{} more", lines.len() - named));
    }
    list(&names, "and")
}

fn place(model: &Model, target: Target) -> String {
    let name = match target {
        Target::Controller(id) => model.controller(id).map(|c| &*c.name),
        Target::Receiver(id) => model.receivers.as_slice().get(id.index()).map(|r| &*r.name),
        Target::Any | Target::Port(..) | Target::Dmx(..) => None,
    };
    name.map_or("any controller".into(), |name| format!("`{name}`"))
}

fn alone(name: &str, more: usize, place: &str, tried: &Tried) -> String {
    let others = match more {
        0 => String::new(),
        more => format!(" and {}", counted(more, "more string")),
    };
    let reasons =
        if tried.reasons.is_empty() { tried.none.to_owned() } else { list(&tried.reasons, "and") };
    format!("no port of {place} can take `{name}`{others}: {reasons}")
}
