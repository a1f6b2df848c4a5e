//! Every universe as a strip of its slots, with what is on them and what is free; and a map of all
//! universes.

use super::Part;
use super::crew::Crew;
use super::html::{self, Html, figure, put};
use super::strips::{self, Fill};
use crate::diagnostic::words::list;
use crate::model::Output;
use crate::protocol::UNIVERSES;
use crate::survey::UniverseRow;
use crate::survey::stretch::{self, SlotRange};
use crate::unit::counted;
use std::collections::BTreeMap;

/// The part.
pub const PART: Part = Part::new("universes", "Universes", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    map(crew, html);
    put!(html; "<h3>Slot by slot</h3>\n<p>One strip is one universe. The numbers are those of ");
    put!(html; "the list under it; what is ");
    put!(html; "empty is free.</p>\n");
    let (model, plan) = (crew.model(), crew.plan());
    let slots = plan.universe_slots.get();
    let stretches = stretch::stretches(model, plan);
    let used = stretch::by_universe(plan, &stretches);
    let reserved = reserved_slots(crew);
    let mut names = BTreeMap::new();
    for (at, (_, hung)) in crew.hung().enumerate() {
        names.insert(hung.id, (at, hung.row.name.as_str(), hung.string.same_as.is_some()));
    }
    let mut owner = "";
    for (row, used) in crew.view.universes().zip(&used) {
        if row.owner.controller != owner {
            owner = row.owner.controller;
            put!(html; "<h4 class=\"owner\">", owner, "</h4>\n");
        }
        let here = stretches.get(used.from..used.to).unwrap_or(&[]);
        let mut reserved = reserved.get(&row.universe).cloned().unwrap_or_default();
        let size = row.used.saturating_add(row.free);
        if size < slots {
            reserved.push((size + 1, slots, "its controller does not use these slots"));
        }
        let entries = entries(here, &names, &reserved);
        one(crew, &row, &entries, html);
    }
}

/// What is on a range of slots of a universe.
struct Entry<'a> {
    first: u32,
    last: u32,
    fill: Fill,
    name: &'a str,
    /// The string to link to; `None` for reserved slots.
    string: Option<u32>,
    /// Whether it shows another string's data on the same slots.
    shared: bool,
}

type Names<'a> = BTreeMap<crate::model::StringId, (usize, &'a str, bool)>;
type Reserved<'a> = (u32, u32, &'a str);

fn entries<'a>(here: &[SlotRange], names: &Names<'a>, reserved: &[Reserved<'a>]) -> Vec<Entry<'a>> {
    let strings = here.iter().filter_map(|stretch| {
        let (at, name, shared) = names.get(&stretch.string)?;
        Some(Entry {
            first: stretch.first,
            last: stretch.last,
            fill: Fill::Of(*at),
            name,
            string: Some(stretch.string.0),
            shared: *shared,
        })
    });
    let mut entries: Vec<Entry<'a>> = strings.collect();
    entries.extend(reserved.iter().map(|(first, last, why)| Entry {
        first: *first,
        last: *last,
        fill: Fill::Reserved,
        name: why,
        string: None,
        shared: false,
    }));
    entries.sort_by_key(|entry| (entry.first, entry.last));
    entries
}

/// Reserved slots of DMX outputs, by universe.
fn reserved_slots<'a>(crew: &Crew<'a>) -> BTreeMap<u32, Vec<Reserved<'a>>> {
    let mut found: BTreeMap<u32, Vec<Reserved<'a>>> = BTreeMap::new();
    for reserved in &crew.model().reserved_outputs {
        let (Output::Dmx(_), Some((first, last))) = (reserved.output, reserved.slots) else {
            continue;
        };
        let line = crew.lines.iter().find(|line| {
            line.plan.controller == reserved.controller && line.plan.output == reserved.output
        });
        if let Some(line) = line {
            let why = reserved.reason.as_deref().unwrap_or("something else");
            found.entry(line.row.start.universe).or_default().push((first, last, why));
        }
    }
    found
}

fn one(crew: &Crew<'_>, row: &UniverseRow<'_>, entries: &[Entry<'_>], html: &mut Html) {
    let slots = crew.plan().universe_slots.get();
    put!(html; "<article class=\"lazy universe\" id=\"u", row.universe, "\">\n<h5>Universe ");
    put!(html; row.universe, "</h5>\n<p>");
    put!(html; counted(row.used, "slot"), " used, ", row.free, " free");
    if let (Some(kind), Some(address)) = (row.owner.address_kind, &row.owner.address) {
        put!(html; "; ", kind, " <span class=\"num\">", address, "</span>");
    }
    for other in &row.also {
        put!(html; "; also to ", other.controller);
        if let (Some(kind), Some(address)) = (other.address_kind, &other.address) {
            put!(html; ", ", kind, " <span class=\"num\">", address, "</span>");
        }
    }
    put!(html; "</p>\n");
    let own = entries.iter().enumerate().filter(|(_, entry)| !entry.shared);
    let drawn: Vec<strips::Filled<'_>> = own
        .map(|(at, entry)| strips::Filled {
            first: entry.first,
            last: entry.last,
            fill: entry.fill,
            key: at + 1,
            name: entry.name,
        })
        .collect();
    strips::strip(&drawn, slots, html);
    put!(html; "<ol class=\"legend\">\n");
    let mut behind = 0;
    for (at, entry) in entries.iter().enumerate() {
        free(behind, entry.first, html);
        behind = behind.max(entry.last);
        put!(html; "<li><span class=\"key ", entry.fill.class(), "\">", at + 1, "</span> ");
        match entry.string {
            Some(string) => {
                put!(html; "<a href=\"#s", string, "\">", entry.name, "</a>");
            }
            None => {
                put!(html; "reserved: ", entry.name);
            }
        }
        put!(html; " <span class=\"num\">", between(entry.first, entry.last), "</span>");
        if entry.shared {
            put!(html; " (same data)");
        }
        put!(html; "</li>\n");
    }
    free(behind, slots + 1, html);
    put!(html; "</ol>\n</article>\n");
}

/// Lists the free slots between two slots in use.
fn free(behind: u32, before: u32, html: &mut Html) {
    if before > behind + 1 {
        put!(html; "<li class=\"free\">free <span class=\"num\">", between(behind + 1, before - 1));
        put!(html; "</span></li>\n");
    }
}

fn between(first: u32, last: u32) -> String {
    html::between(first, "\u{2013}", last)
}

/// Writes what all universes are used for, in ranges.
fn map(crew: &Crew<'_>, html: &mut Html) {
    let mut taken: Vec<(u32, u32, String)> = Vec::new();
    for row in crew.view.universes() {
        let mut whose = vec![row.owner.controller.to_owned()];
        whose.extend(row.also.iter().map(|other| other.controller.to_owned()));
        let whose = list(&whose, "and");
        match taken.last_mut() {
            Some((_, last, name)) if *last + 1 == row.universe && *name == whose => {
                *last = row.universe
            }
            _ => taken.push((row.universe, row.universe, whose)),
        }
    }
    let controllers = crew.model().controllers.iter();
    for (controller, given) in controllers.zip(&crew.plan().controllers) {
        if let Some((_, last)) = given.universes.filter(|(_, last)| *last < given.last_given) {
            let whose = format!("spare of {}", controller.name);
            taken.push((last + 1, given.last_given, whose));
        }
    }
    for reserved in &crew.model().reserved_universes {
        let why = reserved.reason.as_deref().unwrap_or("something else");
        taken.push((reserved.first, reserved.last, format!("reserved: {why}")));
    }
    taken.sort();
    put!(html; "<h3>Which universes are free</h3>\n");
    let name = ("aria-label", "Map of all universes");
    html::head(html, name, "map", &["Universes", "#How many", "Whose"]);
    put!(html; "<tbody>\n");
    let mut behind = 0;
    for (first, last, whose) in &taken {
        free_universes(behind, *first, html);
        behind = behind.max(*last);
        row(*first, *last, whose, "", html);
    }
    free_universes(behind, UNIVERSES.end() + 1, html);
    put!(html; "</tbody></table></div>\n");
}

fn free_universes(behind: u32, before: u32, html: &mut Html) {
    if before > behind + 1 {
        row(behind + 1, before - 1, "free", "free", html);
    }
}

fn row(first: u32, last: u32, whose: &str, class: &'static str, html: &mut Html) {
    put!(html; "<tr class=\"");
    html.raw(class);
    put!(html; "\"><th scope=\"row\" class=\"num\">", between(first, last));
    put!(html; "</th><td class=\"n\">");
    put!(html; figure(u64::from((last + 1).saturating_sub(first))), "</td><td>", whose);
    put!(html; "</td></tr>\n");
}
