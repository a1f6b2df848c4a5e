//! Every controller with its outputs as bars: what is used, and what is left at the frame rate.

use super::Part;
use super::crew::{CableLine, Crew};
use super::html::{self, Html, between, figure, put};
use super::strips;
use crate::diagnostic::words::list;
use crate::model::{Output, ReservedOutput};
use crate::survey::ControllerRow;

/// The part.
pub const PART: Part = Part::new("controllers", "Controllers", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    if crew.view.controllers().next().is_none() {
        put!(html; "<p>This display has no controller.</p>\n");
    }
    put!(html; "<p>A bar is what an output can send in one frame, or its own limit where that is ");
    put!(html; "smaller: dark is used, ");
    put!(html; "hatched is lost to skipped nodes, empty is left.</p>\n");
    for (at, row) in crew.view.controllers().enumerate() {
        one(crew, at, &row, crew.lines_of(row.id), html);
    }
}

fn one(
    crew: &Crew<'_>,
    at: usize,
    row: &ControllerRow<'_>,
    lines: &[CableLine<'_>],
    html: &mut Html,
) {
    put!(html; "<article class=\"lazy\" id=\"c", at, "\">\n<h3>", row.name, "</h3>\n<p>");
    if let Some(label) = row.label {
        put!(html; label, ". ");
    }
    put!(html; "Listens to ", row.input);
    if let Some(host) = row.host {
        put!(html; " at <span class=\"num\">", host, "</span>");
    }
    if let Some((first, last)) = row.universes.ends {
        put!(html; "; universes <a href=\"#u", first, "\">", first, "</a> to ", last, ", ");
        put!(html; row.universes.count, " in use");
        if row.spare_universes > 0 {
            put!(html; ", ", row.spare_universes, " spare after its own");
        }
    }
    put!(html; "; ", row.mbit_per_s.words(), " Mbit/s on the network.</p>\n");
    if !lines.is_empty() {
        table(lines, row.name, html);
    }
    rest(crew, row, lines, html);
    put!(html; "</article>\n");
}

fn table(lines: &[CableLine<'_>], controller: &str, html: &mut Html) {
    let name = format!("Outputs of {controller}");
    let headings = ["Output", "Used and left", "#Used", "#Skips", "#Left", "#Limit", "Hangs on it"];
    html::head(html, ("aria-label", &name), "bars", &headings);
    put!(html; "<tbody>\n");
    for line in lines {
        output(line, html);
    }
    put!(html; "</tbody></table></div>\n");
}

fn output(line: &CableLine<'_>, html: &mut Html) {
    let row = &line.row;
    let (used, skipped) = match row.in_slots {
        true => (row.slots, 0),
        false => (row.nodes, row.skipped),
    };
    let unit = match (used, row.limit_in()) {
        (1, unit) => unit.trim_end_matches('s'),
        (_, unit) => unit,
    };
    let number = |number: u32| figure(u64::from(number));
    let or_none = |limit: Option<u32>| limit.map_or_else(|| "none".to_owned(), number);
    put!(html; "<tr><th scope=\"row\"><a href=\"#p", line.index, "\">", line.name);
    put!(html; "</a></th><td class=\"barcell\">");
    if let Some(limit) = row.limit {
        strips::bar(u64::from(used), u64::from(skipped), u64::from(limit), html);
    }
    put!(html; "</td><td class=\"n\">", number(used), " ", unit, "</td><td class=\"n\">");
    put!(html; number(skipped));
    put!(html; "</td><td class=\"n\">", or_none(row.left()), "</td><td class=\"n\">");
    put!(html; or_none(row.limit), "</td><td>");
    put!(html; hangs(line), "</td></tr>\n");
}

/// What hangs on a line, in words: `3 strings, at pond.1 and jetty.1`.
fn hangs(line: &CableLine<'_>) -> String {
    let what = if line.is_dmx() { "fixture" } else { "string" };
    let mut words = crate::unit::counted(i64::from(line.row.strings), what);
    if !line.row.receivers.is_empty() {
        words.push_str(&format!(", at {}", list(&line.row.receivers, "and")));
    }
    words
}

/// Lists the free outputs, then the reserved ones with the reason.
fn rest(crew: &Crew<'_>, row: &ControllerRow<'_>, lines: &[CableLine<'_>], html: &mut Html) {
    let controller = row.controller;
    let reserved = crew.model().reserved_outputs.iter();
    let reserved: Vec<&ReservedOutput> =
        reserved.filter(|r| r.slots.is_none() && r.controller == row.id).collect();
    let taken = |output: Output| {
        lines.iter().any(|line| line.plan.output == output)
            || reserved.iter().any(|r| r.output == output)
    };
    let pixel = controller.ports.iter().map(|port| port.number);
    let pixel = runs(pixel.filter(|n| !taken(Output::Pixel(*n))));
    let dmx = controller.dmx.iter().map(|told| told.value);
    let dmx = runs(dmx.filter(|n| !taken(Output::Dmx(*n))));
    let mut free: Vec<String> = pixel.iter().map(|(a, b)| between(*a, " to ", *b)).collect();
    free.extend(dmx.iter().map(|(a, b)| format!("dmx{}", between(*a, " to dmx", *b))));
    if !free.is_empty() {
        put!(html; "<p>Free outputs: ", list(&free, "and"), ".</p>\n");
    }
    for reserved in reserved {
        let why = reserved.reason.as_deref().unwrap_or("something else");
        put!(html; "<p>Output ", reserved.output.name(), " is reserved: ", why, ".</p>\n");
    }
}

/// Rising numbers as ranges without a gap: (first, last).
pub fn runs(numbers: impl Iterator<Item = u32>) -> Vec<(u32, u32)> {
    let mut runs: Vec<(u32, u32)> = Vec::new();
    for number in numbers {
        match runs.last_mut() {
            Some((_, last)) if last.checked_add(1) == Some(number) => *last = number,
            _ => runs.push((number, number)),
        }
    }
    runs
}
