//! `lock/stale`: with `--locked`, a lock that a build would change.

use crate::diagnostic::words::{list, shown};
use crate::diagnostic::{Diagnostic, Severity, Words};
use crate::lock::{Lock, SetUp};
use crate::model::{Model, StringId};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::{SourceFile, SourceMap, Span};
use crate::unit::counted;
use crate::usage;

/// The rule.
pub const RULE: Rule = Rule {
    code: "lock/stale",
    severity: Severity::Error,
    title: "under `--locked`, a lock that a build would change",
    page: Page {
        means: "With `--locked` nothing may change: the lock beside the display must be the one that a build would write. Here \
                the display was changed since the last build, or there was none.",
        why: "An automatic check with `--locked` proves that no string moved and that the lock of every new string \
              was committed.",
        source: "grammar/LANGUAGE.md, \"The lock\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n\
                # beside it, yard.lock:\n\
                # Where each string lies: written by `tinsel build`, to be kept under version control.\n\
                format: \"1.0\"\n\
                display: \"\"\n\
                universe_slots: 512\n\
                strings: {}\n\
                ...\n",
        change: &[("strings: {}\n", "strings:\n  arch: {port: pier.1, start: 1/1, slots: 150}\n")],
    },
    check: None,
};

/// At most this many places are shown, besides the first.
const MOST_SHOWN: usize = 4;

/// A lock that a build would change. `before` is its name and what it holds, if there is one.
/// `next` is what a build would write.
#[must_use]
pub fn finding(
    model: &Model,
    plan: &Plan,
    sources: &SourceMap,
    before: Option<(&str, &Lock)>,
    next: &Lock,
) -> Diagnostic {
    let main = sources.files().first();
    let display = shown(main.map_or("FILE", |file| &file.name));
    let first_line = |file: Option<&SourceFile>| {
        file.map_or(Span::default(), |file| {
            let end = file.text.find(['\r', '\n']).unwrap_or(file.text.len());
            Span::new(file.base, file.base + end as u32)
        })
    };
    let help = format!(
        "run `tinsel build {display}`, look at what it says, and commit the lock with the display"
    );
    let Some((name, before)) = before else {
        let words = Words {
            message: format!("there is no lock beside `{display}`, so a build would make one"),
            label: "no lock beside this display".to_owned(),
            why: "without a lock any change of the display may move every address".to_owned(),
            help,
        };
        return RULE.at(first_line(main), words);
    };
    let changes = Changes::between(model, plan, before, next);
    let mut places = changes.places.into_iter();
    let (at, label) = places.next().unwrap_or_else(|| {
        let lock = first_line(sources.files().last());
        (lock, "not as a build would write it".to_owned())
    });
    let message = match changes.words.as_slice() {
        [] => format!("`{}` is not as a build would write it", shown(name)),
        words => format!("`{}` would change: {}", shown(name), list(words, "and")),
    };
    let words = Words {
        message,
        label,
        why: "the show and the controllers use the addresses of the lock that was committed"
            .to_owned(),
        help,
    };
    places.take(MOST_SHOWN).fold(RULE.at(at, words), |finding, (at, label)| finding.and(at, label))
}

/// What differs between two locks.
struct Changes {
    /// How many changes there are of each kind, in words.
    words: Vec<String>,
    /// The places to show, each with its text; moves first.
    places: Vec<(Span, String)>,
}

impl Changes {
    fn between(model: &Model, plan: &Plan, before: &Lock, next: &Lock) -> Self {
        let found = usage::changes(plan).unwrap_or_default();
        let past = |id: &StringId| plan.past.as_ref().and_then(|past| past.of(*id));
        let name = |id: &StringId| shown(&model.name_of(*id));
        let line = |id: &StringId| past(id).map_or(Span::default(), |was| was.at);
        let moved = found.moved.iter().map(|id| {
            let place = place(model, plan, *id);
            (line(id), format!("`{}` would lie at {place}", name(id)))
        });
        let kept = |differ: fn(&Lock, &Lock, &str) -> bool| {
            let names = found.kept.iter().map(|id| (id, model.name_of(*id)));
            let named = names.filter(move |(_, name)| differ(before, next, name));
            named.collect::<Vec<_>>()
        };
        let resized = kept(|before, next, name| {
            let slots = |lock: &Lock| lock.row(name).map(|row| row.slots);
            slots(before).is_some() && slots(before) != slots(next)
        });
        let renamed = kept(|before, _, name| before.row(name).is_none());
        let remade = kept(is_remade);
        let pairs = next.boxes.iter().filter_map(|new| Some((before.set_up(&new.name)?, new)));
        let boxes = pairs.filter(|(old, new)| SetUp { at: old.at, ..(*new).clone() } != **old);
        let boxes: Vec<&SetUp> = boxes.map(|(old, _)| old).collect();
        let label = |rows: &[(&StringId, String)], what: &str| -> Vec<(Span, String)> {
            let words =
                |(id, name): &(&StringId, String)| (line(id), format!("`{}` {what}", shown(name)));
            rows.iter().map(words).collect()
        };
        let gone = plan.past.as_ref().map_or(&[][..], |past| &past.freed);
        let freed = gone.iter().map(|row| {
            let name = shown(&row.name);
            (row.was.at, format!("`{name}` would be freed"))
        });
        let new = found.new.iter().map(|id| {
            let at = model.prop_of(*id).map_or(Span::default(), |prop| prop.at);
            (at, format!("`{}` is new", name(id)))
        });
        let counts = [
            (moved.len(), "string", ["would move"; 2]),
            (resized.len(), "string", [LONGER; 2]),
            (renamed.len(), "string", ["would have a new name", "would have new names"]),
            (remade.len(), "string", [OTHER; 2]),
            (new.len(), "string", ["is new", "are new"]),
            (freed.len(), "string", ["would be freed"; 2]),
            (boxes.len(), "controller", [OTHER; 2]),
        ];
        let mut words = counted_words(&counts);
        words.extend(heads(before, next));
        let resized = label(&resized, LONGER);
        let renamed = label(&renamed, "is the new name of this string");
        let remade = label(&remade, OTHER);
        let boxes =
            boxes.into_iter().map(|old| (old.at, format!("`{}` {OTHER}", shown(&old.name))));
        let kept = resized.into_iter().chain(renamed).chain(remade).chain(boxes);
        let places = moved.chain(kept).chain(freed).chain(new).collect();
        Self { words, places }
    }
}

/// Whether a string of the same length in both locks is set up otherwise, or stored in only one.
fn is_remade(before: &Lock, next: &Lock, name: &str) -> bool {
    before.row(name).zip(next.row(name)).is_some_and(|(old, new)| {
        old.slots == new.slots
            && (old.made.is_some() || old.stored)
            && (&old.made, old.stored) != (&new.made, new.stored)
    })
}

const OTHER: &str = "would be set up in another way";
const LONGER: &str = "would have another length";

/// The counts above 0, in words. A row has a count, its noun, and the verb for one and for more.
fn counted_words(counts: &[(usize, &str, [&str; 2])]) -> Vec<String> {
    let some = counts.iter().filter(|(count, ..)| *count > 0);
    let words = some.map(|(count, what, [one, more])| {
        let does = if *count == 1 { one } else { more };
        format!("{} {does}", counted(*count as u64, what))
    });
    words.collect()
}

/// What differs between the heads of two locks.
fn heads(before: &Lock, next: &Lock) -> Vec<String> {
    let (old, new) = (before.universe_slots, next.universe_slots);
    let slots = (old != new).then(|| format!("universes have {new} slots instead of {old}"));
    let name = (before.display != next.display)
        .then(|| format!("the display is called \"{}\"", shown(&next.display)));
    slots.into_iter().chain(name).collect()
}

/// Where a string would lie, in words.
fn place(model: &Model, plan: &Plan, id: StringId) -> String {
    let Some(placed) = plan.of(id) else {
        return String::new();
    };
    format!(
        "{} on `{}`",
        usage::stretch_name(model, placed.start, placed.end),
        usage::plug_of(model, plan, id)
    )
}
