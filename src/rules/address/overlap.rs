//! `address/overlap`: two strings on one slot.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::grid::Body;
use crate::model::{Controller, Model, ReservedUniverses, StringId};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::counted;
use crate::usage::{self, Overlap, channel_name, controller_of, grid_of, stretch_name};

/// The rule.
pub const RULE: Rule = Rule {
    code: "address/overlap",
    severity: Severity::Error,
    title: "two strings on one slot",
    page: Page {
        means: "Two strings lie on the same slots: two pins too close together, or an unbroken range that runs into a pin. \
                Strings that are to show the same data say so with `same as`.",
        why: "One shows what is meant for the other, and they can't be lit separately.",
        source: "grammar/LANGUAGE.md, \"Where strings lie\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1] at 9/1\n\
                wire pier.2: arch[2] at 9/101\n",
        change: &[("9/101", "9/151")],
    },
    check: Some(check),
};

/// At most this many findings search for a free range: each search goes over all strings.
const MOST_SEARCHES: usize = 100;

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let by_start = usage::by_start(model, plan);
    let clashes = usage::overlaps(model, plan, &by_start);
    if clashes.is_empty() {
        return;
    }
    let places = usage::places(model, plan);
    let of = |id: StringId| places[id];
    let mut searches = 0;
    for clash in &clashes {
        let (holder, comer) = (of(clash.holder), of(clash.comer));
        // The later one in the file is the one to move, unless only the other is pinned.
        let comer_moves = match (holder.1, comer.1) {
            (Some(_), None) => false,
            (None, Some(_)) => true,
            _ => holder.0 <= comer.0,
        };
        let mut both = [(clash.comer, comer), (clash.holder, holder)];
        if !comer_moves {
            both.reverse();
        }
        searches += 1;
        let free = (searches <= MOST_SEARCHES)
            .then(|| free_range(model, plan, &by_start, both[0].0))
            .flatten();
        sink.push(finding(model, plan, clash, both, free));
    }
}

type Where = (StringId, (Span, Option<Span>));

fn finding(
    model: &Model,
    plan: &Plan,
    clash: &Overlap,
    [moves, stays]: [Where; 2],
    free: Option<u64>,
) -> Diagnostic {
    let (name, other) = (model.name_of(moves.0), model.name_of(stays.0));
    let range = |id| plan.of(id).map_or(String::new(), |p| stretch_name(model, p.start, p.end));
    let (mine, theirs) = (range(moves.0), range(stays.0));
    let size = counted(clash.slots, "slot");
    // Only strings with as many slots can show the same data.
    let slots = |id| plan.of(id).map(|placed| placed.end - placed.start);
    let same = if slots(moves.0) == slots(stays.0) {
        format!(
            "; if both are to show the same, say `same as {other}` in `{name}` and take its pin away"
        )
    } else {
        String::new()
    };
    let help = match free.map(|free| channel_name(model, free)) {
        Some(free) if moves.1.1.is_some() => {
            format!("pin `{name}` at {free}, the next free range that takes it{same}")
        }
        Some(free) => format!(
            "`{name}` is here because of a pin before it: move that pin; the next free range that takes `{name}` \
             starts at {free}"
        ),
        None => format!("move one of them{same}"),
    };
    RULE.report(
        moves.1.0,
        format!(
            "`{name}` ({mine}) and `{other}` ({theirs}) share {size} from {}",
            channel_name(model, clash.from)
        ),
    )
    .label(mine)
    .why("both would show what is sent to those slots, and neither could be lit alone")
    .help(help)
    .and(stays.1.0, format!("`{other}` has {theirs}"))
    .and_if(moves.1.1, "pinned here")
    .and_if(stays.1.1, "pinned here")
}

/// A prop that is to show another's data but has other strings. Each pair is for this prop, then
/// for the other: places, names, numbers of strings, and slots of the first strings that differ.
#[must_use]
pub fn footprint(
    (at, shown_at): (Span, Span),
    (name, shown): (&str, &str),
    counts: (usize, usize),
    slots: (String, String),
) -> Diagnostic {
    let mut why = "what shows the same data takes the same slots, no more and no fewer";
    let (what, label) = if counts.0 == counts.1 && slots.0 == slots.1 {
        why = "fixtures and strings of nodes need outputs of different kinds";
        (
            "one is a fixture and the other a string of nodes".to_owned(),
            "of the other kind".to_owned(),
        )
    } else if counts.0 == counts.1 {
        (
            format!("a string of `{name}` takes {}, that of `{shown}` {}", slots.0, slots.1),
            format!("takes {}", slots.0),
        )
    } else {
        (
            format!("`{name}` has {}, `{shown}` {}", strings(counts.0), strings(counts.1)),
            format!("has {}", strings(counts.0)),
        )
    };
    RULE.report(at, format!("`{name}` can't show the data of `{shown}`: {what}"))
        .label(label)
        .why(why)
        .help(format!("give `{name}` the strings of `{shown}`, or take `same as {shown}` away"))
        .and(shown_at, format!("what `{shown}` is made of"))
}

fn strings(count: usize) -> String {
    counted(count, "string")
}

/// A string of a consecutive controller that runs into reserved universes. `words` are its stretch
/// and those universes.
#[must_use]
pub fn in_the_way(
    model: &Model,
    one: (StringId, Span),
    whose: &Controller,
    words: (&str, &str),
    row: &ReservedUniverses,
) -> Diagnostic {
    let name = model.name_of(one.0);
    let (range, reserved) = words;
    RULE.report(
        one.1,
        format!(
            "`{name}` ({range}) runs into reserved {reserved}: `{}` is one unbroken range",
            whose.name
        ),
    )
    .label(range.to_owned())
    .why("a consecutive controller has one start address and can leave no gap for what is reserved")
    .help(format!(
        "start `{}` after it: `universes from {}`",
        whose.name,
        row.last.saturating_add(1)
    ))
    .and(row.at, format!("{reserved} reserved here"))
    .and_if(whose.addressing_at, "addressing is consecutive")
}

/// The first channel, from where the string lies on, at which it would touch no other string, no
/// reserved universe and no universe of another controller.
fn free_range(model: &Model, plan: &Plan, by_start: &[StringId], id: StringId) -> Option<u64> {
    let placed = plan.of(id)?;
    let (grid, body) = (grid_of(model, plan, id)?, Body::of(model, id)?);
    let slots = plan.universe_slots.each();
    let mine = controller_of(plan, id);
    let reserved = model.reserved_universes.iter();
    let reserved = reserved.map(|row| {
        let begin = plan.universe_slots.begin(row.first);
        (begin, u64::from(row.last) * slots)
    });
    let mut taken: Vec<(u64, u64)> = reserved.collect();
    for other in by_start.iter().filter(|other| **other != id) {
        let Some(there) = plan.of(*other) else {
            continue;
        };
        taken.push(if controller_of(plan, *other) == mine {
            (there.start, there.end + 1)
        } else {
            let end = (there.end + 1).checked_next_multiple_of(slots);
            (there.start / slots * slots, end.unwrap_or(u64::MAX))
        });
    }
    taken.sort_unstable();
    let mut at = placed.start;
    for (start, end) in taken {
        let stretch = grid.lay(at, body);
        if start >= stretch.end {
            break;
        }
        at = stretch.start.max(end);
    }
    let stretch = grid.lay(at, body);
    let last = plan.universe_slot(stretch.end.checked_sub(1)?).0;
    (last <= *crate::protocol::UNIVERSES.end()).then_some(stretch.start)
}
