//! Every data line drawn from its port to its last node: strings, skips, leads, and where power
//! goes in.

use super::Part;
use super::crew::{CableLine, Crew, Hung, Item, cable, injection_nodes, place_words};
use super::html::{Html, Percent, put};
use super::strips::Fill;
use crate::model::ReceiverId;
use crate::survey::run_words;
use crate::unit::counted;

/// The part.
pub const PART: Part = Part::new("chains", "Chains", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    put!(html; "<p>Read from the port on: each box is a string, each line between two boxes the ");
    put!(html; "data cable. \"Line\" ");
    put!(html; "counts every node from the port on, skipped ones too. A triangle marks where ");
    put!(html; "power goes in.</p>\n");
    for lines in crew.by_controller() {
        let Some(first) = lines.first() else { continue };
        put!(html; "<h3>", first.row.controller, "</h3>\n");
        for line in lines {
            one(crew, line, html);
        }
    }
}

fn one(crew: &Crew<'_>, line: &CableLine<'_>, html: &mut Html) {
    put!(html; "<article class=\"lazy line\" id=\"p", line.index, "\">\n<h4>", line.name);
    put!(html; "</h4>\n");
    put!(html; "<ol class=\"chain\">\n<li class=\"socket\">port ", line.name);
    feeds(crew, line, None, html);
    put!(html; "</li>\n");
    let mut fill = 0;
    for item in &line.items {
        match item {
            Item::Receiver(receiver, port, id) => {
                put!(html; "<li class=\"socket\">receiver ", receiver.name, ".", port);
                if let Some(label) = &receiver.label {
                    put!(html; "<small>", label, "</small>");
                }
                feeds(crew, line, Some(*id), html);
                put!(html; "</li>\n");
            }
            Item::Lead(length, gauge) => put_lead(*length, *gauge, html),
            Item::Skip(nodes, first) => {
                put!(html; "<li class=\"skip\">skip ", nodes, "<small>line ", first);
                put!(html; "</small></li>\n");
            }
            Item::String(hung) => {
                string(crew, hung, Fill::Of(fill), html);
                fill += 1;
            }
            Item::End => {
                put!(html; "<li class=\"last\">end of line</li>\n");
            }
        }
    }
    put!(html; "</ol>\n</article>\n");
}

fn feeds(crew: &Crew<'_>, line: &CableLine<'_>, receiver: Option<ReceiverId>, html: &mut Html) {
    for feed in crew.feeds(line, receiver) {
        put!(html; "<small>power: ", crew.lead_words(&feed.lead), "</small>");
    }
}

fn put_lead(length: i64, gauge: Option<crate::unit::Gauge>, html: &mut Html) {
    put!(html; "<li class=\"lead\">lead ", cable(length, gauge), "</li>\n");
}

fn string(crew: &Crew<'_>, hung: &Hung<'_>, fill: Fill, html: &mut Html) {
    put!(html; "<li class=\"string ", fill.class());
    if hung.string.stored {
        put!(html; " stored");
    }
    put!(html; "\" id=\"s", hung.id.0, "\"><b>", hung.row.name, "</b>");
    if let Some(name) = hung.row.string_name {
        put!(html; " ", name);
    }
    if let Some(label) = hung.row.label {
        put!(html; "<small>", label, "</small>");
    }
    if let Some(enters) = hung.row.enters {
        put!(html; "<small>data in at ", enters, "</small>");
    }
    put!(html; "<span>", extent(hung), "</span><span class=\"num\">", hung.stretch(), "</span>");
    if let Some(other) = &hung.row.same_as {
        put!(html; "<small>shows what ", other, " shows</small>");
    }
    if hung.string.stored {
        put!(html; "<small>stored: not in the line this season</small>");
    }
    runs(hung, html);
    let injections = crew.injections(hung.id);
    if !injections.is_empty() {
        marks(crew, hung, html);
        for injection in injections {
            put!(html; "<small>power ", place_words(injection.place, hung.shape), ": ");
            put!(html; crew.lead_words(&injection.lead));
            if injection.apart {
                put!(html; "; plus cut before it");
            }
            put!(html; "</small>");
        }
    }
    put!(html; "</li>\n");
}

/// The nodes of a string and their places in the line: `70 nodes, line 72 to 141`; a fixture's
/// slots.
fn extent(hung: &Hung<'_>) -> String {
    if hung.is_fixture() {
        return counted(i64::from(hung.shape.slots), "slot");
    }
    let nodes = counted(i64::from(hung.shape.nodes), "node");
    if hung.string.stored {
        return nodes;
    }
    let (first, last) = (hung.before + 1, hung.before.saturating_add(hung.in_line()));
    format!("{nodes}, line {first} to {last}")
}

/// Writes the runs that a string is built of.
fn runs(hung: &Hung<'_>, html: &mut Html) {
    if hung.shape.runs.is_empty() {
        return;
    }
    put!(html; "<small>built as: ");
    for (at, run) in hung.shape.runs.iter().enumerate() {
        if at > 0 {
            put!(html; " \u{2192} ");
        }
        put!(html; run_words(run));
    }
    put!(html; "</small>");
}

/// The most marks for one injection: more would be one dark bar.
const MOST_MARKS: usize = 60;

/// Draws the string from its first node to its last, with a triangle at each injection.
fn marks(crew: &Crew<'_>, hung: &Hung<'_>, html: &mut Html) {
    put!(html; "<svg class=\"marks\" width=\"100%\" height=\"16\" aria-hidden=\"true\">");
    put!(html; "<rect class=\"thread\" x=\"6\" y=\"2\" width=\"90%\" height=\"3\"/>");
    for injection in crew.injections(hung.id) {
        for node in injection_nodes(injection.place, hung.shape).take(MOST_MARKS) {
            let at = Percent { part: u64::from(node) * 9, of: u64::from(hung.shape.nodes) * 10 };
            put!(html; "<svg x=\"", at, "\" width=\"12\" height=\"16\"><path class=\"in\" d=\"M6 ");
            put!(html; "5l5 10H1z\"/></svg>");
        }
    }
    put!(html; "</svg>");
}
