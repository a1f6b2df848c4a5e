//! The parts list, as `tinsel parts` counts it.

use super::Part;
use super::crew::Crew;
use super::html::{Html, put};
use crate::output::parts;

/// The part.
pub const PART: Part = Part {
    name: "parts",
    title: "Parts list",
    write,
};

fn write(crew: &Crew<'_>, html: &mut Html) {
    let rows = parts::rows(crew.model(), crew.plan());
    if rows.is_empty() {
        put!(html; "<p>Nothing in this display needs a part.</p>\n");
        return;
    }
    put!(html; "<div class=\"wide\" role=\"group\" tabindex=\"0\" aria-label=\"Table of the parts\">\n<table class=\"parts\">\n");
    put!(html; "<thead><tr><th scope=\"col\">Item</th><th scope=\"col\" class=\"n\">Amount</th>");
    put!(html; "<th scope=\"col\">Note</th></tr></thead>\n");
    for group in rows.chunk_by(|a, b| a.group == b.group) {
        let Some(first) = group.first() else { continue };
        put!(html; "<tbody><tr><th scope=\"rowgroup\" colspan=\"3\">", first.group, "</th></tr>\n");
        for row in group {
            put!(html; "<tr><td>", row.item, "</td><td class=\"n\">", row.amount.words(), " ", row.unit_words(), "</td><td>");
            put!(html; row.note, "</td></tr>\n");
        }
        put!(html; "</tbody>\n");
    }
    put!(html; "</table></div>\n");
}
