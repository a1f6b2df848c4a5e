//! The parts list, as `tinsel parts` counts it.

use super::Part;
use super::crew::Crew;
use super::html::{Html, put};
use crate::output::html_table;
use crate::survey::parts;
use crate::table::Face;

/// The part.
pub const PART: Part = Part::new("parts", "Parts list", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    let rows = parts::rows(crew.model(), crew.plan());
    if rows.is_empty() {
        put!(html; "<p>Nothing in this display needs a part.</p>\n");
    }
    for table in parts::survey(&rows).tables(Face::People) {
        html_table(table, html);
    }
}
