//! Strings that show the data of others: which string a cell means, what of it a display can say.

use crate::import::Note;
use crate::import::clashes::about;
use crate::import::found::{Found, SheetLine, StringAt};
use std::collections::BTreeMap;

/// Replaces each text in `same_as` by the display's name of the string. `written` has the props by
/// their names in the table, in small letters.
pub(super) fn named(found: &mut Found, written: &BTreeMap<String, usize>, notes: &mut Vec<Note>) {
    let said = found.lines().filter_map(|(at, line)| Some((at, line.same_as.clone()?)));
    let said: Vec<(StringAt, String)> = said.collect();
    if said.is_empty() {
        return;
    }
    let mut by_name: BTreeMap<String, StringAt> = BTreeMap::new();
    for (at, line) in found.lines() {
        by_name.insert(found.name(at).to_lowercase(), at);
        if let (Some(own), Some(prop)) = (&line.name, found.props.get(at.0)) {
            by_name.insert(format!("{}.{own}", prop.name).to_lowercase(), at);
        }
    }
    for (at, text) in said {
        let key = text.to_lowercase();
        // A prop's name stands for its strings in their order.
        let by_prop = || written.get(&key).map(|other| (*other, at.1));
        let other = by_name.get(&key).copied().or_else(by_prop);
        let other = other.filter(|other| found.line(*other).is_some());
        let name = other.filter(|other| *other != at);
        let name = name.map(|other| found.name(other));
        if name.is_none() {
            let what = format!(
                "is the same as \"{text}\", which no other string of the table is called; left out"
            );
            notes.push(about(found, at, what));
        }
        if let Some(line) = found.line_mut(at) {
            line.same_as = name;
        }
    }
}

/// Compares the addresses of strings with those of the strings whose data they show. Where only the
/// copy has an address, the other gets it; where they differ, the copy's is dropped.
pub fn starts(found: &mut Found, notes: &mut Vec<Note>) {
    if found.lines().all(|(.., line)| line.same_as.is_none()) {
        return;
    }
    let lines = found.lines().map(|(at, _)| (found.name(at), at));
    let by_name: BTreeMap<String, StringAt> = lines.collect();
    let all: Vec<StringAt> = found.lines().map(|(at, _)| at).collect();
    for at in all {
        let Some((start, other)) =
            found.line(at).and_then(|line| Some((line.start?, line.same_as.clone()?)))
        else {
            continue;
        };
        let Some(other_at) = by_name.get(&other).copied() else { continue };
        let slots = found.universe_slots;
        match found.line_mut(other_at) {
            Some(line) if line.start.is_none() => line.start = Some(start),
            Some(line) if line.start != Some(start) => {
                let what = format!(
                    "shows the data of `{other}`, which starts elsewhere; its own address {} is not kept",
                    slots.place(start)
                );
                notes.push(about(found, at, what));
                if let Some(line) = found.line_mut(at) {
                    line.start = None;
                }
            }
            _ => {}
        }
    }
}

/// Drops `same as` from members whose strings do not all show the strings of one other member in
/// order: a display says `same as` of whole members only.
pub fn whole(found: &mut Found, notes: &mut Vec<Note>) {
    let mut broken = Vec::new();
    for (prop, own) in found.props.iter().enumerate() {
        for (member, (_, lines)) in own.members.iter().enumerate() {
            let said = lines.iter().any(|line| line.same_as.is_some());
            let base = lines.first().and_then(of_member);
            let fits = |(at, line): (usize, &SheetLine)| match (&line.same_as, base) {
                (Some(own), Some(base)) => *own == format!("{base}.{}", at + 1),
                _ => false,
            };
            if said && lines.len() > 1 && !lines.iter().enumerate().all(fits) {
                broken.extend((0..lines.len()).map(|string| (prop, (member, string))));
            }
        }
    }
    for at in broken {
        let Some(other) = found.line_mut(at).and_then(|line| line.same_as.take()) else {
            continue;
        };
        let what = format!(
            "shows the data of `{other}`, but not all strings of its prop show those of one prop in \
             their order; left out"
        );
        notes.push(about(found, at, what));
    }
}

/// The member whose first string a string shows, where that member has several.
fn of_member(line: &SheetLine) -> Option<&str> {
    line.same_as.as_deref()?.strip_suffix(".1")
}
