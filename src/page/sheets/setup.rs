//! What to type into each controller's set-up.

use super::super::Part;
use super::super::crew::{CableLine, Crew, Hung};
use super::super::html::{self, Html, fact, put};
use crate::survey::{ControllerRow, frame_rate};
use crate::unit::{Dimension, counted, quantity};

/// The part.
pub const PART: Part = Part::new("set-up", "Controller set-up", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    put!(html; "<p>What to set on each controller, in the words of this display; its own set-up ");
    put!(html; "page may have ");
    put!(html; "others. \"Skip\" is the number of dark nodes before a string, for set-ups that ");
    put!(html; "ask for them.</p>\n");
    for (at, row) in crew.view.controllers().enumerate() {
        let lines = crew.lines_of(row.id);
        put!(html; "<article class=\"lazy own-page\">\n<h3 id=\"set-up-", at, "\">", row.name);
        put!(html; "</h3>\n");
        settings(crew, &row, html);
        if !lines.is_empty() {
            ports(crew, lines, at, html);
        }
        put!(html; "</article>\n");
    }
}

fn settings(crew: &Crew<'_>, row: &ControllerRow<'_>, html: &mut Html) {
    let display = &crew.model().display;
    put!(html; "<dl class=\"settings\">\n");
    if let Some(label) = row.label {
        fact(html, "Where", label);
    }
    fact(html, "Host", row.host.unwrap_or("not said"));
    fact(html, "Input", row.input);
    if let Some((first, last)) = row.universes.ends {
        fact(html, "Universes", &format!("{first} to {last}, {} in use", row.universes.count));
    }
    if let (Some(kind), Some((first, last))) = (row.address_kind, &row.addresses) {
        fact(html, "First and last address", &format!("{kind} {first} to {last}"));
    }
    if let Some((offset, channel)) = row.data {
        fact(html, "Data", &format!("offset {offset} is channel {channel}"));
    }
    let slots = match (row.universe_slots, display.universe_slots.get()) {
        (own, all) if own < all => {
            format!("{own} (the display counts {all}; DMX outputs send {all})")
        }
        (_, all) => all.to_string(),
    };
    fact(html, "Slots of a universe", &slots);
    if let Some(priority) = row.priority {
        fact(html, "Priority", &priority.to_string());
    }
    if let Some(universe) = row.sync_universe {
        fact(html, "Synchronisation universe", &universe.to_string());
    }
    fact(html, "Ports are addressed", row.addressing);
    let whole = row.controller.whole_nodes || crew.model().display.whole_nodes;
    fact(
        html,
        "Nodes across universes",
        if whole { "kept whole: no node is cut" } else { "cut where a universe ends" },
    );
    fact(html, "Frame rate", &format!("{} Hz", frame_rate(display.frame_rate_mhz).words()));
    put!(html; "</dl>\n");
}

fn ports(crew: &Crew<'_>, lines: &[CableLine<'_>], at: usize, html: &mut Html) {
    let headings = [
        "Port", "String", "Start", "#Channel", "End", "#Nodes", "#Skip", "Colour", "Chip", "#Level",
    ];
    html::head(html, ("aria-labelledby", &format!("set-up-{at}")), "ports", &headings);
    for line in lines {
        put!(html; "<tbody>\n");
        let count = line.strings().count();
        for (at, hung) in line.strings().enumerate() {
            put!(html; "<tr>");
            if at == 0 {
                put!(html; "<th scope=\"rowgroup\" rowspan=\"", count, "\">", line.row.port.name());
                if !line.is_dmx() {
                    put!(html; "<br><small>", counted(line.row.nodes, "node"));
                    if line.row.skipped > 0 {
                        put!(html; ", ", counted(line.row.skipped, "skip"));
                    }
                    put!(html; "</small>");
                }
                for receiver in &line.row.receivers {
                    put!(html; "<br><small>at ", receiver, "</small>");
                }
                put!(html; "</th>");
            }
            string(crew, line, hung, html);
            put!(html; "</tr>\n");
        }
        put!(html; "</tbody>\n");
    }
    put!(html; "</table></div>\n");
}

fn string(crew: &Crew<'_>, line: &CableLine<'_>, hung: &Hung<'_>, html: &mut Html) {
    let row = &hung.row;
    put!(html; "<td>", row.name, "</td><td class=\"num\">", row.start.universe, "/");
    put!(html; row.start.slot, "</td><td class=\"n\">");
    put!(html; row.start.channel, "</td><td class=\"num\">", row.end.universe, "/", row.end.slot);
    put!(html; "</td><td class=\"n\">");
    match row.nodes {
        Some(nodes) => {
            put!(html; nodes, "</td><td class=\"n\">", row.skip_before);
            if row.skips > 0 {
                put!(html; "<br><small>", row.skips, " within</small>");
            }
        }
        None => {
            put!(html; counted(row.slots, "slot"), "</td><td class=\"n\">");
        }
    }
    put!(html; "</td><td>", row.colour.unwrap_or(""), "</td><td>", row.chip.unwrap_or(""));
    put!(html; "</td><td class=\"n\">");
    if row.nodes.is_some() {
        put!(html; quantity(i64::from(crew.level(line, receiver(crew, hung))), Dimension::Share));
    }
    put!(html; "</td>");
}

fn receiver(crew: &Crew<'_>, hung: &Hung<'_>) -> Option<crate::model::ReceiverId> {
    let (name, _) = hung.row.receiver?;
    crew.model().receivers.find(|receiver| &*receiver.name == name)
}
