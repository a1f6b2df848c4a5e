//! `rename/forgotten`: a prop that is gone and a new one with the same strings.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Severity, Sink};
use crate::model::{Model, PropId, StringId};
use crate::plan::{Past, Plan};
use crate::rules::{Page, Rule};
use crate::source::Span;
use std::collections::{BTreeMap, BTreeSet};

/// The rule.
pub const RULE: Rule = Rule {
    code: "rename/forgotten",
    severity: Severity::Advice,
    title: "a name that is gone, and one of the same shape that is new",
    page: Page {
        means: "The lock holds a prop that the display no longer has, and the display has a new prop with the same \
                strings. It may be the same prop under a new name.",
        why: "A name is all that ties a prop to its addresses. Without `renamed` the old ones are freed at the next build, \
              and the new name gets what is free.",
        source: "grammar/LANGUAGE.md, \"renamed\", grammar/LANGUAGE.md, \"The lock\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n\
                # beside it, yard.lock:\n\
                format: \"1.0\"\n\
                display: \"\"\n\
                universe_slots: 512\n\
                strings:\n  hoop: {port: pier.1, start: 1/1, slots: 150}\n\
                ...\n",
        change: &[("wire pier.1: arch\n", "wire pier.1: arch\nrenamed hoop -> arch\n")],
    },
    check: Some(check),
};

/// The strings of a prop: for each, what follows the prop's name in its own, and its slots.
type Shape<'a> = Vec<(&'a str, u64)>;

/// Props of one shape: names that are gone, with their lines in the lock, and props that are new.
type Alike<'a> = (Vec<(&'a str, Span)>, Vec<PropId>);

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let Some(past) = plan.past.as_ref().filter(|_| !model.gaps.all) else {
        return;
    };
    if past.freed.is_empty() {
        return;
    }
    let there: BTreeSet<&str> = model.props.iter().map(|prop| &*prop.name).collect();
    let mut gone: BTreeMap<&str, (Shape<'_>, Span)> = BTreeMap::new();
    for freed in &past.freed {
        let end = freed.name.find(['[', '.']).unwrap_or(freed.name.len());
        let (name, rest) = freed.name.split_at(end);
        // Words that did not parse may declare or rename it.
        if !there.contains(name) && !model.gaps.words.contains(name) {
            let (shape, _) = gone.entry(name).or_insert((Vec::new(), freed.was.at));
            shape.push((rest, freed.was.slots));
        }
    }
    let names = new_names(model, plan, past);
    let mut new: BTreeMap<PropId, Shape<'_>> = BTreeMap::new();
    for (id, name, slots) in &names {
        if let Some(rest) = name.strip_prefix(&*model.prop(*id).name) {
            let prop = model.strings[*id].prop;
            new.entry(prop).or_default().push((rest, *slots));
        }
    }
    let mut alike: BTreeMap<Shape<'_>, Alike<'_>> = BTreeMap::new();
    for (name, (mut shape, at)) in gone {
        shape.sort_unstable();
        alike.entry(shape).or_default().0.push((name, at));
    }
    for (prop, mut shape) in new {
        shape.sort_unstable();
        alike.entry(shape).or_default().1.push(prop);
    }
    for (gone, new) in alike.values() {
        let ([(old, at)], [prop]) = (gone.as_slice(), new.as_slice()) else {
            continue;
        };
        if let Some(prop) = model.props.as_slice().get(prop.index()) {
            let (old, new) = (shown(old), shown(&prop.name));
            let finding = RULE
                .report(
                    prop.at,
                    format!("`{old}` is gone and `{new}` is new, with just the same strings"),
                )
                .label(format!("`{new}` is new"))
                .why(format!(
                    "the next build frees the addresses of `{old}`, and `{new}` gets what is free"
                ))
                .help(format!(
                    "if it is the same prop under a new name, write `renamed {old} -> {new}`: it \
                     then stays where it is"
                ));
            sink.push(finding.and(*at, format!("`{old}` is on this line of the lock")));
        }
    }
}

/// The strings of props that have no string in the lock, each with its name and slots.
fn new_names(model: &Model, plan: &Plan, past: &Past) -> Vec<(StringId, String, u64)> {
    let known = |id: u32| past.of(StringId(id)).is_some();
    let props = model.props.iter().filter(|prop| !prop.strings().any(known));
    let ids = props.flat_map(|prop| prop.strings()).map(StringId);
    ids.filter_map(|id| {
        let placed = plan.of(id)?;
        Some((id, model.name_of(id), placed.end - placed.start + 1))
    })
    .collect()
}
