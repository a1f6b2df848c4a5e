//! Port sheets: everything on a port in the order of the cable, to follow on the ladder.

use super::super::Part;
use super::super::crew::{CableLine, Crew, Item, cable, place_words};
use super::super::html::{self, Html, between, put};
use super::{called, caution, make};
use crate::model::ReceiverId;

/// The part.
pub const PART: Part = Part::new("port-sheets", "Port sheets", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    put!(html; "<p>Each port from its plug on, in the order of the cable. \"Line\" counts every ");
    put!(html; "node from the port on, ");
    put!(html; "skipped ones too.</p>\n");
    caution(html);
    for lines in crew.by_controller() {
        let Some(first) = lines.first() else { continue };
        put!(html; "<h3>", first.row.controller);
        if let Some(label) = &first.controller.label {
            put!(html; ": ", label);
        }
        put!(html; "</h3>\n");
        for line in lines {
            one(crew, line, html);
        }
    }
}

fn one(crew: &Crew<'_>, line: &CableLine<'_>, html: &mut Html) {
    put!(html; "<article class=\"lazy sheet\">\n<h4 id=\"port-", line.index, "\">", line.name);
    put!(html; "</h4>\n");
    let name = format!("port-{}", line.index);
    let headings = ["Step", "What", "Line", "First to last slot", "Done"];
    html::head(html, ("aria-labelledby", &name), "steps", &headings);
    put!(html; "<tbody>\n<tr><td class=\"n\">1</td><td>plug into port <b>", line.name, "</b>");
    feeds(crew, line, None, html);
    put!(html; "</td><td></td><td></td><td class=\"tick\"></td></tr>\n");
    for (at, item) in line.items.iter().enumerate() {
        put!(html; "<tr><td class=\"n\">", at + 2, "</td><td>");
        step(crew, line, item, html);
        put!(html; "<td class=\"tick\"></td></tr>\n");
    }
    put!(html; "</tbody></table></div>\n</article>\n");
}

/// Writes the cells "What", "Line" and "First to last slot" of an item.
fn step(crew: &Crew<'_>, line: &CableLine<'_>, item: &Item<'_>, html: &mut Html) {
    match item {
        Item::Receiver(receiver, port, id) => {
            put!(html; "receiver <b>", receiver.name, ".", port, "</b>");
            if let Some(label) = &receiver.label {
                put!(html; "<br>", label);
            }
            feeds(crew, line, Some(*id), html);
            put!(html; "</td><td></td><td></td>");
        }
        Item::End => {
            put!(html; "end of line: cap the last plug</td><td></td><td></td>");
        }
        Item::Lead(length, gauge) => {
            put!(html; "lead ", cable(*length, *gauge), "</td><td></td><td></td>");
        }
        Item::Skip(nodes, first) => {
            let last = first.saturating_add(*nodes).saturating_sub(1);
            put!(html; "skip ", nodes, ", dark</td><td class=\"num\">");
            put!(html; between(*first, " to ", last), "</td><td></td>");
        }
        Item::String(hung) => {
            called(hung, html);
            put!(html; "<br>", make(hung));
            if let Some(length) = hung.straight_um {
                put!(html; "<br>about ", cable(length, None), " from the plug before, in a straight line");
            }
            for injection in crew.injections(hung.id) {
                put!(html; "<br>power ", place_words(injection.place, hung.shape), ": ");
                put!(html; crew.lead_words(&injection.lead));
                put!(html; if injection.apart { "; plus cut before it" } else { "" });
            }
            put!(html; "</td><td class=\"num\">");
            if !hung.is_fixture() && hung.in_line() > 0 {
                put!(html; between(hung.before + 1, " to ", hung.before.saturating_add(hung.in_line())));
            }
            put!(html; "</td><td class=\"num\">", hung.stretch(), "</td>");
        }
    }
}

fn feeds(crew: &Crew<'_>, line: &CableLine<'_>, receiver: Option<ReceiverId>, html: &mut Html) {
    for feed in crew.feeds(line, receiver) {
        put!(html; "<br>power: ", crew.lead_words(&feed.lead));
    }
}
