//! The test sheet: first and last node of each string with universe and slot, to tick off when they
//! light.

use super::super::Part;
use super::super::crew::{CableLine, Crew, Hung};
use super::super::html::{self, Html, put};
use super::caution;
use crate::grid::{Body, Grid};

/// The part.
pub const PART: Part = Part::new("test-sheet", "Test sheet", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    put!(html; "<p>Light the first and the last node of each string alone, by the slot given ");
    put!(html; "(its first colour), and tick ");
    put!(html; "what lights. If the last one is dark and the first is not, count back to where ");
    put!(html; "it stops.</p>\n");
    caution(html);
    for lines in crew.by_controller() {
        if let Some(first) = lines.first() {
            controller(crew, first.row.controller, lines, html);
        }
    }
}

fn controller(crew: &Crew<'_>, name: &str, lines: &[CableLine<'_>], html: &mut Html) {
    let id = lines.first().map_or(0, |line| line.index);
    put!(html; "<article class=\"lazy\">\n<h3 id=\"test-", id, "\">", name, "</h3>\n");
    let headings =
        ["Port", "String", "First node", "Lights", "Last node", "Lights", "Colours", "Remark"];
    html::head(html, ("aria-labelledby", &format!("test-{id}")), "test", &headings);
    put!(html; "<tbody>\n");
    for line in lines {
        for hung in line.strings().filter(|hung| !hung.string.stored) {
            string(crew, line, hung, html);
        }
    }
    put!(html; "</tbody></table></div>\n</article>\n");
}

fn string(crew: &Crew<'_>, line: &CableLine<'_>, hung: &Hung<'_>, html: &mut Html) {
    let (start, end) = (hung.row.start, hung.row.end);
    put!(html; "<tr><td>", hung.socket(line), "</td><td>", hung.row.name);
    put!(html; "</td><td class=\"num\">", start.universe, "/", start.slot);
    put!(html; "</td><td class=\"tick\"></td><td class=\"num\">");
    match hung.node {
        Some(node) => {
            // The last node may be cut at the end of a universe.
            let grid = Grid::of_output(crew.model(), line.controller, line.plan.output);
            let body = |nodes: u32| Body { nodes: nodes.into(), each: node.slots.into() };
            let before =
                grid.lay(start.channel.saturating_sub(1), body(hung.shape.nodes.saturating_sub(1)));
            let last = grid.lay(before.end, body(1)).start;
            put!(html; hung.shape.nodes, ": ", hung.slots_of_universe.place(last));
        }
        None => {
            put!(html; "slot ", end.universe, "/", end.slot);
        }
    }
    put!(html; "</td><td class=\"tick\"></td><td>", hung.row.colour.unwrap_or(""));
    put!(html; "</td><td class=\"remark\"></td></tr>\n");
}
