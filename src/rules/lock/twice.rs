//! `lock/twice`: strings and controllers that a merge left twice in the lock.

use crate::diagnostic::words::{shown, ticked_and};
use crate::diagnostic::{Diagnostic, Severity, Words};
use crate::lock::{Lock, LockRow, SetUp, Side};
use crate::rules::{Page, Rule};
use crate::unit::counted;

/// The rule.
pub const RULE: Rule = Rule {
    code: "lock/twice",
    severity: Severity::Error,
    title: "what a merge left twice in the lock",
    page: Page {
        means: "Two branches have the same strings at different places, and the merge kept the lines of both. The \
                show and the controllers use only one of the two places. `tinsel build FILE --take ours` takes the \
                first of the two lines of each string, `--take theirs` the second. Where a string can lie at one of its two \
                places only, that one is taken; this is then a warning. The same holds for the lines of a controller that was set \
                up in two ways.",
        why: "Each side has programmed its show for its own addresses. Which of them is right only people know.",
        source: "grammar/LANGUAGE.md, \"The lock\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n\
                # beside it, yard.lock:\n\
                format: \"1.0\"\n\
                display: \"\"\n\
                universe_slots: 512\n\
                strings:\n  \
                  arch: {port: pier.1, start: 1/1, slots: 150}\n  \
                  arch: {port: pier.1, start: 3/1, slots: 150}\n\
                ...\n",
        change: &[("  arch: {port: pier.1, start: 1/1, slots: 150}\n", "")],
    },
    check: None,
};

/// At most this many strings are shown, each with both lines.
const MOST_SHOWN: usize = 3;

const WHY: &str = "each side has programmed its show for its own addresses, and only one of the two is where the string is";

/// Strings of which either line may be taken. `pairs` has both rows of each and is not empty.
/// `moves` is how many strings of the display move with the first lines, and with the second.
#[must_use]
pub fn open(
    lock: &str,
    of: &Lock,
    pairs: &[(&LockRow, &LockRow)],
    moves: (usize, usize),
) -> Diagnostic {
    let count = |count: usize| counted(count, "string");
    let lock = shown(lock);
    let words = Words {
        message: format!(
            "`{lock}` has {} twice, as a merge leaves them: with the first lines {} would move, with the second {}",
            count(pairs.len()),
            count(moves.0),
            count(moves.1),
        ),
        label: pairs.first().map_or_else(String::new, |pair| lies(of, pair.0)),
        why: WHY.to_owned(),
        help: "build with `--take ours` for the first line of each string, or with `--take theirs` for the second; or \
               delete one of the two lines of each"
            .to_owned(),
    };
    places(RULE.at(pairs.first().map(|pair| pair.0.at).unwrap_or_default(), words), of, pairs)
}

/// Strings that can lie only at the place that one side has; for all of them it is the same side.
#[must_use]
pub fn taken(lock: &str, of: &Lock, pairs: &[(&LockRow, &LockRow)], side: Side) -> Diagnostic {
    let names: Vec<String> =
        pairs.iter().take(MOST_SHOWN).map(|pair| shown(&pair.0.name)).collect();
    let more = pairs.len().saturating_sub(MOST_SHOWN);
    let more = if more > 0 { format!(" and {more} more") } else { String::new() };
    let (line, other) = match side {
        Side::Ours => ("first", "second"),
        Side::Theirs => ("second", "first"),
    };
    let words = Words {
        message: format!(
            "`{}` has {}{more} twice; the {line} line is taken, since the string can't be at the place in the {other} one",
            shown(lock),
            ticked_and(&names),
        ),
        label: pairs.first().map_or_else(String::new, |pair| lies(of, pair.0)),
        why: WHY.to_owned(),
        help: format!(
            "check whether the show of the branch with the {other} line must be made again"
        ),
    };
    let at = pairs.first().map(|pair| pair.0.at).unwrap_or_default();
    let mut finding = places(RULE.at(at, words), of, pairs);
    finding.severity = Severity::Warning;
    finding
}

/// A controller with two set-ups in the lock.
#[must_use]
pub fn set_up(lock: &str, first: &SetUp, second: &SetUp) -> Diagnostic {
    let name = shown(&first.name);
    let words = Words {
        message: format!("`{}` has the controller `{name}` twice, set up in two ways", shown(lock)),
        label: format!("one set-up of `{name}`"),
        why: "only one of the two is what people typed into the box, and `tinsel diff` compares with it"
            .to_owned(),
        help: "build with `--take ours` for the first line, or with `--take theirs` for the second; or delete one of the two"
            .to_owned(),
    };
    RULE.at(first.at, words).and(second.at, "the other set-up")
}

fn lies(of: &Lock, row: &LockRow) -> String {
    let at = of.universe_slots.place(row.start);
    let (name, port) = (shown(&row.name), row.output.name());
    format!("`{name}` at {at} on `{}.{port}`", shown(&row.controller))
}

fn places(finding: Diagnostic, of: &Lock, pairs: &[(&LockRow, &LockRow)]) -> Diagnostic {
    let rows = pairs.iter().take(MOST_SHOWN).flat_map(|pair| [pair.0, pair.1]);
    rows.skip(1).fold(finding, |finding, row| finding.and(row.at, lies(of, row)))
}
