//! The graph of a display as DOT, for any program that draws graphs.

use super::mask;
use crate::diagnostic::words;
use crate::graph::{EdgeKind, Graph};
use std::io::{self, Write};

/// Writes a graph; with `shown`, only these vertices and the edges between them.
///
/// # Errors
/// Those of the writer.
pub fn render(graph: &Graph, shown: Option<&[usize]>, out: &mut dyn Write) -> io::Result<()> {
    let is_shown = mask(graph, shown);
    let shows = |at: usize| is_shown.get(at) == Some(&true);
    writeln!(out, "digraph display {{")?;
    writeln!(out, "  rankdir=LR;")?;
    writeln!(out, "  node [shape=box];")?;
    for (at, vertex) in graph.nodes().enumerate().filter(|(at, _)| shows(*at)) {
        let label = format!("{} {}", vertex.kind.word(), vertex.name);
        writeln!(out, "  n{at} [label=\"{}\"];", escape(&label))?;
    }
    for (from, to, kind) in graph.edges() {
        if shows(from) && shows(to) {
            let (word, style) = (kind.words(), style(kind));
            writeln!(out, "  n{from} -> n{to} [label=\"{word}\"{style}];")?;
        }
    }
    writeln!(out, "}}")
}

/// Chains are solid and heavy, edges that only take settings are dashed. The word on the edge
/// states the same.
fn style(kind: EdgeKind) -> &'static str {
    match kind {
        EdgeKind::Follows => ", penwidth=2",
        EdgeKind::Like | EdgeKind::Includes => ", style=dashed",
        _ => "",
    }
}

/// Escapes text for the double quotes of DOT.
fn escape(text: &str) -> String {
    words::visible(text, "").replace('\\', "\\\\").replace('"', "\\\"")
}
