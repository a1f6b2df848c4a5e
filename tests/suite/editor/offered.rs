//! What the editor offers does what it says: the fixes that findings carry, and the actions at
//! every name, on every display that the rules are tested with.

use super::{Texts, errors, places_by_name};
use crate::check;
use crate::diagnostics::cases;
use std::collections::{BTreeMap, BTreeSet};
use tinsel::Compiled;
use tinsel::diagnostic::{Diagnostic, Fix};
use tinsel::editor::actions;
use tinsel::rules::{self, Page};
use tinsel::source::Span;

/// The display of each rule's page, and every small one under `tests/diagnostics/`, by name.
fn displays() -> impl Iterator<Item = (String, Texts)> {
    let small = |texts: &[(String, String)]| texts.iter().all(|(_, text)| text.len() < 10_000);
    let pages = rules::ALL.iter().map(|rule| {
        let (text, lock) = Page::parts(rule.page.wrong);
        let lock = lock.map(str::to_owned);
        (rule.code.to_owned(), Texts { lock, ..Texts::one(text) })
    });
    let small = cases().into_iter().filter(move |case| small(&case.texts));
    pages.chain(small.filter_map(|case| {
        let lock = match case.lock {
            // A lock that is no text can't be open in an editor.
            Some((_, bytes)) => Some(String::from_utf8(bytes).ok()?),
            None => None,
        };
        let main = case.texts[0].0.clone();
        let texts = Texts { main, texts: case.texts.into_iter().collect(), lock };
        Some((format!("{}/{}", case.code, case.name), texts))
    }))
}

/// How often a finding is reported, places aside.
fn count(compiled: &Compiled, of: &Diagnostic) -> usize {
    let same = |one: &&Diagnostic| one.code == of.code && one.message == of.message;
    compiled.findings.iter().filter(same).count()
}

/// The first error that a display has and another has not.
fn new_error(before: &Compiled, after: &Compiled) -> String {
    let had = |one: &Diagnostic| count(before, one) > 0;
    let mut all = after.findings.iter();
    let fresh = all.find(|one| one.severity == tinsel::diagnostic::Severity::Error && !had(one));
    fresh.map_or(String::new(), |one| format!("{}: {}", one.code, one.message))
}

/// Each fix of each finding: the finding goes, and no error comes.
#[test]
fn each_fix_of_each_display_cures_its_finding() {
    let (mut fixes, mut wrong) = (0, String::new());
    for (about, texts) in displays() {
        let desk = texts.desk();
        let before = texts.compiled();
        let findings = &desk.compiled().unwrap().findings;
        for finding in findings {
            for fix in finding.fix.iter().chain(&finding.choices) {
                fixes += 1;
                let after = texts.with(&desk, &fix.edits).compiled();
                let what = if count(&after, finding) >= count(&before, finding) {
                    "does not cure"
                } else if errors(&after) > errors(&before) {
                    "adds an error"
                } else {
                    continue;
                };
                let error = new_error(&before, &after);
                wrong += &format!("{about}: {} `{}` {what}: {error}\n", finding.code, fix.title);
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
    assert!(fixes > 70, "{fixes} fixes");
}

/// All strings of a display with their nodes, slots and whether they have a place.
fn strings(compiled: &Compiled) -> BTreeMap<String, (u32, u32, bool)> {
    let all = compiled.model.strings.ids().map(|id| {
        let shape = compiled.model.shape(id);
        (compiled.model.name_of(id), (shape.nodes, shape.slots, compiled.plan.of(id).is_some()))
    });
    all.collect()
}

/// Whether a display after an action is as the title of the action says.
fn is_as_said(fix: &Fix, before: &Compiled, after: &Compiled) -> bool {
    let table = |one: &Compiled| check::form(one, "json");
    match fix.title.split(' ').next() {
        // Nothing changes but the text.
        Some("name") => before.blocks() || table(before) == table(after),
        Some("write") if fix.title.starts_with("write it as") => strings(before) == strings(after),
        Some("write") => places_by_name(before) == places_by_name(after),
        // Where there is no table, something has no place before and none after.
        Some("move" | "split") => before.blocks() || strings(before) == strings(after),
        _ => false,
    }
}

/// Each action at each name: it does what it says and brings no error. `ACTIONS=all` tries every
/// display, else every second is tried.
#[test]
fn each_action_at_each_name_does_what_it_says() {
    let step = if std::env::var("ACTIONS").is_ok() { 1 } else { 2 };
    let (mut names, mut tried, mut wrong) = (0, 0, String::new());
    let mut kinds = BTreeSet::new();
    for (about, texts) in displays().step_by(step) {
        let desk = texts.desk();
        let before = texts.compiled();
        let places: BTreeSet<u32> = desk.uses().names.iter().map(|one| one.at.start).collect();
        for place in places {
            names += 1;
            for action in actions::actions(&desk, Span::new(place, place)) {
                tried += 1;
                let fix = &action.fix;
                kinds.insert(fix.title.split(' ').next().unwrap_or("").to_owned());
                let after = texts.with(&desk, &fix.edits).compiled();
                let said = match action.of {
                    Some(finding) => count(&after, finding) < count(&before, finding),
                    None => is_as_said(fix, &before, &after),
                };
                if !said || errors(&after) > errors(&before) {
                    let (title, error) = (&fix.title, new_error(&before, &after));
                    wrong += &format!("{about}, {place}: `{title}`, {said}: {error}\n");
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{wrong}");
    let all = ["move", "split", "write"];
    assert!(
        tried > 70 && all.iter().all(|kind| kinds.contains(*kind)),
        "{tried} at {names} names: {kinds:?}"
    );
}
