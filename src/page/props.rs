//! Every prop and member as it is entered in the program that plays the show, in the order of the
//! display.

use super::Part;
use super::crew::Crew;
use super::html::{self, Html, figure, put};
use crate::survey::PropRow;

/// The part.
pub const PART: Part = Part::new("props", "Props", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    put!(html; "<p>What to type into the program that plays the show. Strands and nodes count ");
    put!(html; "all strings of a prop. Starts are universe and slot of each string, in order.</p>\n");
    let headings = [
        "Prop",
        "#Strings",
        "#Strands",
        "#Nodes a strand",
        "#Nodes",
        "#Slots",
        "#First channel",
        "#Last channel",
        "One piece",
        "Starts",
        "Ports",
        "Data in at",
    ];
    html::head(html, ("aria-label", "Props"), "props", &headings);
    put!(html; "<tbody>\n");
    for row in crew.view.props() {
        one(&row, html);
    }
    put!(html; "</tbody></table></div>\n");
}

fn one(row: &PropRow<'_>, html: &mut Html) {
    let or_none = |number: Option<u64>| number.map_or_else(String::new, figure);
    let (strands, each) = row.strands.unzip();
    let pieces = if row.contiguous { "yes" } else { "no" };
    put!(html; "<tr><th scope=\"row\">", row.name());
    if let Some(label) = row.label {
        put!(html; "<small>", label, "</small>");
    }
    put!(html; "</th><td class=\"n\">", row.strings, "</td><td class=\"n\">");
    put!(html; or_none(strands), "</td><td class=\"n\">");
    put!(html; or_none(each.flatten().map(u64::from)), "</td><td class=\"n\">");
    put!(html; or_none(row.nodes), "</td><td class=\"n\">", figure(row.slots));
    put!(html; "</td><td class=\"n\">", figure(row.first.channel), "</td><td class=\"n\">");
    put!(html; figure(row.last.channel), "</td><td>", pieces, "</td><td class=\"num\">");
    put!(html; row.starts, "</td><td>", row.ports, "</td><td>", row.enters, "</td></tr>\n");
}
