//! The size of the display in a few figures.

use super::Part;
use super::crew::Crew;
use super::html::{Html, fact, figure, put};
use crate::report;
use crate::survey::frame_rate;

/// The part.
pub const PART: Part = Part::new("overview", "Overview", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    let view = &crew.view;
    let display = &crew.model().display;
    let (mut strings, mut fixtures, mut nodes, mut slots) = (0_u64, 0_u64, 0_u64, 0_u64);
    for (_, hung) in crew.hung() {
        if hung.is_fixture() {
            fixtures += 1
        } else {
            strings += 1
        }
        nodes += u64::from(hung.shape.nodes);
        if hung.string.same_as.is_none() {
            slots += u64::from(hung.shape.slots);
        }
    }
    let controllers: Vec<_> = view.controllers().collect();
    let ports: u64 = controllers.iter().map(|c| u64::from(c.ports)).sum();
    let universes = view.universes().count() as u64;
    put!(html; "<dl class=\"figures\">\n");
    fact(html, "Props", &figure(view.props().count() as u64));
    fact(html, "Strings", &figure(strings));
    if fixtures > 0 {
        fact(html, "DMX fixtures", &figure(fixtures));
    }
    fact(html, "Nodes", &figure(nodes));
    fact(html, "Slots in use", &figure(slots));
    fact(html, "Universes in use", &figure(universes));
    fact(html, "Slots of a universe", &figure(display.universe_slots.each()));
    fact(html, "Controllers", &figure(controllers.len() as u64));
    fact(
        html,
        "Outputs in use",
        &format!("{} of {}", figure(crew.lines.len() as u64), figure(ports)),
    );
    fact(html, "Frame rate", &format!("{} Hz", frame_rate(display.frame_rate_mhz).words()));
    fact(html, "Findings", &report::count(&crew.compiled.findings));
    put!(html; "</dl>\n");
}
