//! Answers "what is on 12/307?": a field, and the data that the script reads.
//!
//! The data are one compact JSON object, with arrays in place of objects:
//!
//! | key | entries |
//! |---|---|
//! | `slots` | slots of a universe |
//! | `controllers` | name, whether nodes stay whole, slots of each universe in use |
//! | `ports` | name, index of its controller, outlet (`pond.1`, or empty), place in the page |
//! | `shapes` | nodes (0: fixture), slots of a node, letters, nodes of a strand or 0, runs, slots |
//! | `strings` | name, label, port, shape, first and last channel, nodes before, flags, place |
//! | `reserved` | first universe, last universe, why |
//!
//! A run is `[name, nodes]` or a number of skipped nodes. Channels count from 0. Flags: 1 stored, 2
//! shows another string's data.

use super::Part;
use super::crew::{Crew, Hung};
use super::html::{Html, put};
use crate::diagnostic::words::visible;
use crate::model::{Shape, ShapeRun};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// The part.
pub const PART: Part = Part::new("search", "What is where?", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    put!(html; "<form id=\"ask\" role=\"search\" hidden>\n<label for=\"question\">Slot, channel, ");
    put!(html; "universe, port, prop or ");
    put!(html; "label</label>\n<div class=\"ask\"><input id=\"question\" type=\"search\" ");
    put!(html; "autocomplete=\"off\" ");
    put!(html; "autocapitalize=\"off\" spellcheck=\"false\" ");
    put!(html; "aria-describedby=\"ask-how\"><button>Find</button></div>\n");
    put!(html; "<p id=\"ask-how\">For instance <kbd>12/307</kbd> (universe/slot), <kbd>channel ");
    put!(html; "5939</kbd>, ");
    put!(html; "<kbd>universe 12</kbd>, or a name or part of one. The <kbd>/</kbd> key comes ");
    put!(html; "here.</p>\n</form>\n");
    put!(html; "<div id=\"answer\" role=\"status\" aria-live=\"polite\"></div>\n<ul ");
    put!(html; "id=\"found\"></ul>\n");
    put!(html; "<noscript><p>Searching needs a script, which is off here. Everything is below ");
    put!(html; "all the same, and the ");
    put!(html; "browser's own search finds it.</p></noscript>\n<script type=\"application/json\" ");
    put!(html; "id=\"data\">");
    html.json(&data(crew).to_string());
    put!(html; "</script>\n");
}

fn data(crew: &Crew<'_>) -> Value {
    let mut controllers = Vec::new();
    let mut ports = Vec::new();
    let mut port_at: BTreeMap<(usize, String), usize> = BTreeMap::new();
    let mut shapes = Vec::new();
    let mut shape_at = BTreeMap::new();
    let mut strings = Vec::new();
    for lines in crew.by_controller() {
        let Some(first) = lines.first() else { continue };
        let whole = first.controller.whole_nodes || crew.model().display.whole_nodes;
        let used = first.controller.slots_used(crew.plan().universe_slots);
        controllers.push(json!([&*first.controller.name, u8::from(whole), used]));
        for line in lines {
            for hung in line.strings() {
                let out = hung.outlet().unwrap_or_default();
                let port = *port_at.entry((line.index, out.clone())).or_insert_with(|| {
                    ports.push(json!([line.name, controllers.len() - 1, out, line.index]));
                    ports.len() - 1
                });
                let shape = *shape_at.entry(hung.string.shape).or_insert_with(|| {
                    shapes.push(shape(hung));
                    shapes.len() - 1
                });
                strings.push(string(hung, port, shape));
            }
        }
    }
    let reserved: Vec<Value> = crew
        .model()
        .reserved_universes
        .iter()
        .map(|r| {
            json!([r.first, r.last, visible(r.reason.as_deref().unwrap_or("something else"), "")])
        })
        .collect();
    json!({
        "slots": crew.plan().universe_slots.get(),
        "controllers": controllers,
        "ports": ports,
        "shapes": shapes,
        "strings": strings,
        "reserved": reserved,
    })
}

fn shape(hung: &Hung<'_>) -> Value {
    let Shape { nodes, strand, runs, slots, .. } = hung.shape;
    let (each, letters) = hung.node.map_or((1, ""), |node| (node.slots, &*node.colour));
    let runs: Vec<Value> = runs
        .iter()
        .filter_map(|run| match run {
            ShapeRun::Nodes(name, nodes) => {
                Some(json!([visible(name.as_deref().unwrap_or(""), ""), nodes]))
            }
            ShapeRun::Skip(nodes) => Some(json!(nodes)),
            ShapeRun::Lead(..) => None,
        })
        .collect();
    json!([nodes, each, letters, strand.unwrap_or(0), runs, slots])
}

fn string(hung: &Hung<'_>, port: usize, shape: usize) -> Value {
    let flags = u8::from(hung.string.stored) | u8::from(hung.string.same_as.is_some()) << 1;
    json!([
        hung.row.name,
        visible(hung.row.label.unwrap_or(""), ""),
        port,
        shape,
        hung.row.start.channel - 1,
        hung.row.end.channel - 1,
        hung.before,
        flags,
        hung.id.0,
    ])
}
