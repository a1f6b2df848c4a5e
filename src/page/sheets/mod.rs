//! The sheets that a crew prints and carries: on the ladder, at the bench, at a controller.

mod bench;
mod fixtures;
mod fold;
mod ports;
mod setup;
mod ticks;

pub use bench::PART as BENCH;
pub use fixtures::PART as FIXTURES;
pub use ports::PART as PORTS;
pub use setup::PART as SETUP;
pub use ticks::PART as TICKS;

use super::crew::Hung;
use super::html::{Html, put};
use crate::unit::counted;

/// Writes the caution of each sheet for people who handle power.
fn caution(html: &mut Html) {
    put!(html; "<p class=\"caution\"><strong>Power off before you plug or cut.</strong> A fuse ");
    put!(html; "at the source of every ");
    put!(html; "positive lead, positives of two supplies never joined, connections dry and off ");
    put!(html; "the ground. Mains is for ");
    put!(html; "somebody licensed.</p>\n");
}

/// What a string is made of, in words: `120 nodes of bud, colour RGB`; a fixture's slots.
fn make(hung: &Hung<'_>) -> String {
    match hung.node {
        None => counted(i64::from(hung.shape.slots), "slot"),
        Some(node) => {
            let nodes = counted(i64::from(hung.shape.nodes), "node");
            format!("{nodes} of {}, colour {}", node.name, node.colour)
        }
    }
}

/// Writes a string's name, its name within the prop, its label and where data comes in.
fn called(hung: &Hung<'_>, html: &mut Html) {
    put!(html; "<b>", hung.row.name, "</b>");
    if let Some(name) = hung.row.string_name {
        put!(html; " ", name);
    }
    if let Some(label) = hung.row.label {
        put!(html; "<br>", label);
    }
    if let Some(enters) = hung.row.enters {
        put!(html; "<br>data in at ", enters);
    }
    if hung.string.stored {
        put!(html; "<br>stored: not put up this season");
    }
}
