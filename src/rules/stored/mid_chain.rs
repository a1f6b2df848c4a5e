//! `stored/mid-chain`: a string that is not put up, in the middle of an unbroken data line.

use crate::diagnostic::words::list;
use crate::diagnostic::{Diagnostic, Fix, Severity};
use crate::model::{Model, StringId};
use crate::plan::PortPlan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;
use crate::usage::plug_name;

/// The rule.
pub const RULE: Rule = Rule {
    code: "stored/mid-chain",
    severity: Severity::Warning,
    title: "a stored string in the middle of an unbroken data line",
    page: Page {
        means: "A string that is not put up this season hangs before others on a port that is one unbroken range. Its nodes are \
                not there to take their data, so the line closes up: what comes after it moves forward by its slots, \
                and the \
                stored string keeps its slots at the end of the line. The finding says how many strings move and, where there \
                is one, a way that moves fewer. With `addressing per prop` nothing else moves.",
        why: "Each node takes the first data it gets and hands on the rest. Show data made for the old addresses lights the \
              wrong nodes.",
        source: "grammar/LANGUAGE.md, \"stored\"; data sheets of the chips (each node passes on what comes after its own data), for instance WS2811",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 3 { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1] -> arch[2] -> arch[3]\n\
                stored arch[2]\n",
        change: &[("arch[2] -> arch[3]", "arch[3] -> arch[2]")],
    },
    check: None,
};

/// At most this many strings are named.
const MOST_NAMED: usize = 3;

/// A line that closes up.
pub struct Closing<'a> {
    /// The output that the line is on.
    pub port: &'a PortPlan,
    /// Its stored strings that have others after them, with their references; at least one.
    pub away: &'a [(StringId, Span)],
    /// The strings on the line that move; at least one.
    pub moved: &'a [StringId],
    /// How many strings of other lines move too, if only this line closes up.
    pub elsewhere: usize,
    /// The first reference after a stored string.
    pub behind: Span,
    /// Changes with which fewer strings move, the fewest first.
    pub ways: Vec<Way>,
}

/// A change with which fewer strings move.
pub struct Way {
    /// The change.
    pub fix: Fix,
    /// How many strings of the display still move.
    pub left: usize,
}

/// A line that closes up because strings on it are stored.
#[must_use]
pub fn closes_up(model: &Model, closing: &Closing<'_>) -> Diagnostic {
    let away: Vec<StringId> = closing.away.iter().map(|(id, _)| *id).collect();
    let (gone, moved) = (named(model, &away), named(model, closing.moved));
    let slots = away.iter().map(|id| model.shape(*id).slots);
    let slots = slots.fold(0, u32::saturating_add);
    let is = if away.len() == 1 { "is" } else { "are" };
    let moves = match closing.moved.len() {
        1 => "1 string moves".to_owned(),
        count => format!("{count} strings move"),
    };
    let moves = match closing.elsewhere {
        0 => moves,
        more => format!("{moves} on it and {more} elsewhere"),
    };
    let output = plug_name(model, closing.port, away.first().copied());
    let ways = closing.ways.iter().map(|way| match way.left {
        0 => format!("{}: then none moves", way.fix.title),
        1 => format!("{}: then 1 moves", way.fix.title),
        left => format!("{}: then {left} move", way.fix.title),
    });
    let help = match ways.collect::<Vec<String>>() {
        ways if ways.is_empty() => format!(
            "make the show data of {moved} again, or put as many dark nodes in the place of {gone} and remove {gone} \
             from `stored`"
        ),
        ways => ways.join("; or "),
    };
    let first = closing.away.first();
    let at = first.map_or(Span::default(), |(_, at)| *at);
    let behind = Some(closing.behind).filter(|behind| *behind != at);
    let stored_at = model.stored_at.iter().find(|(of, _)| away.first() == Some(of));
    let finding = RULE
        .report(
            at,
            format!("{gone} {is} stored, so the line on port `{output}` closes up and {moves}"),
        )
        .label("stored")
        .why(format!(
            "each node takes the first data it gets: at the old addresses what comes after it would show data that is \
             up to {} off", counted(slots, "slot")
        ))
        .help(help)
        .and_if(behind, "comes after it")
        .and_if(stored_at.map(|(_, at)| *at), "stored here");
    let ways = closing.ways.iter();
    ways.fold(finding, |finding, way| finding.choice(way.fix.clone()))
}

/// The names of the first few strings, and how many more there are.
fn named(model: &Model, strings: &[StringId]) -> String {
    let mut names: Vec<String> =
        strings.iter().take(MOST_NAMED).map(|id| format!("`{}`", model.name_of(*id))).collect();
    if strings.len() > MOST_NAMED {
        names.push(format!("{} more", strings.len() - MOST_NAMED));
    }
    list(&names, "and")
}
