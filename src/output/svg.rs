//! The graph of a display as a picture (SVG). A vertex depends on those that it is joined to on its
//! left, so a data line reads from its port onwards, one string in each column.
//!
//! A vertex is in the column after the last of those that it depends on; within a column it is as
//! near as it can be to what it follows. Rings, which are errors, are opened at the vertex declared
//! first. The kind of a vertex or edge is written in words, and in the titles for screen readers.

use super::mask;
use crate::graph::{EdgeKind, Graph};
use crate::page::html::escape;
use std::io::{self, Write};
use unicode_width::UnicodeWidthChar;

/// Sizes in pixels: a box, the gap between columns, the height of a row, the margin.
const BOX: (i64, i64) = (176, 34);
const GAP: i64 = 72;
const ROW: i64 = 44;
const MARGIN: i64 = 24;
/// The most columns of text in a box.
const LETTERS: usize = 22;

const STYLE: &str = "\
text{font:12px system-ui,sans-serif;fill:#14181f}\
.kind{font-size:9px;fill:#4a5361}\
rect{fill:#fff;stroke:#39424e;stroke-width:1}\
path{fill:none;stroke:#7b8694;stroke-width:1}\
.faint{stroke:#d3d8de}\
.page{stroke:none}\
.follows{stroke:#14181f;stroke-width:2.5}\
.dashed{stroke-dasharray:5 4}";

/// Writes a graph; with `shown`, only these vertices and the edges between them.
///
/// # Errors
/// Those of the writer.
pub fn render(graph: &Graph, shown: Option<&[usize]>, out: &mut dyn Write) -> io::Result<()> {
    let picture = Picture::of(graph, shown);
    let columns = picture.column.iter().flatten().max().map_or(0, |last| last + 1);
    let width = MARGIN * 2 + (columns * (BOX.0 + GAP) - GAP).max(BOX.0);
    let lowest = picture.y.iter().copied().max().unwrap_or(0);
    let height = MARGIN * 2 + lowest + BOX.1;
    writeln!(
        out,
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" width=\"{width}\" \
         height=\"{height}\" role=\"img\">"
    )?;
    writeln!(out, "<title>Who depends on whom</title>")?;
    writeln!(out, "<style>{STYLE}</style>")?;
    writeln!(out, "<rect class=\"page\" width=\"{width}\" height=\"{height}\"/>")?;
    let names: Vec<String> = graph.nodes().map(|vertex| escape(&vertex.name)).collect();
    // Faint edges are drawn first, so that they are behind those of the chains.
    for behind in [true, false] {
        for (from, to, kind) in graph.edges() {
            if behind == is_faint(kind) {
                picture.edge(&names, (from, to, kind), out)?;
            }
        }
    }
    for (at, vertex) in graph.nodes().enumerate() {
        let Some((x, y)) = picture.place(at) else {
            continue;
        };
        let (kind, name) = (vertex.kind.word(), escape(&vertex.name));
        writeln!(
            out,
            "<g><title>{kind} {name}</title><rect x=\"{x}\" y=\"{y}\" width=\"{}\" height=\"{}\" rx=\"4\"/>\
             <text class=\"kind\" x=\"{tx}\" y=\"{}\">{kind}</text><text x=\"{tx}\" y=\"{}\">{}</text></g>",
            BOX.0,
            BOX.1,
            y + 12,
            y + 27,
            escape(&cut(&vertex.name)),
            tx = x + 8,
        )?;
    }
    writeln!(out, "</svg>")
}

/// Whether an edge is drawn faintly, in the background.
fn is_faint(kind: EdgeKind) -> bool {
    matches!(kind, EdgeKind::Uses | EdgeKind::PartOf)
}

/// Where each vertex is drawn.
struct Picture {
    /// The column of each vertex, from 0; `None` for one that is not shown.
    column: Vec<Option<i64>>,
    /// The top of each vertex's box below the margin.
    y: Vec<i64>,
}

impl Picture {
    fn of(graph: &Graph, shown: Option<&[usize]>) -> Self {
        let count = graph.nodes().count();
        let shows = mask(graph, shown);
        let is = |at: usize| shows.get(at) == Some(&true);
        let mut below = vec![Vec::new(); count];
        let mut above = vec![Vec::new(); count];
        for (from, to, kind) in graph.edges().filter(|(from, to, _)| is(*from) && is(*to)) {
            if let (Some(below), Some(above)) = (below.get_mut(from), above.get_mut(to)) {
                below.push((to, kind));
                above.push(from);
            }
        }
        let column = columns(&shows, &below, &above);
        let y = rows(&column, &below);
        Self { column, y }
    }

    /// The upper left corner of a shown vertex's box.
    fn place(&self, at: usize) -> Option<(i64, i64)> {
        let column = self.column.get(at).copied().flatten()?;
        let y = self.y.get(at)?;
        Some((MARGIN + column * (BOX.0 + GAP), MARGIN + y))
    }

    fn edge(
        &self,
        names: &[String],
        (from, to, kind): (usize, usize, EdgeKind),
        out: &mut dyn Write,
    ) -> io::Result<()> {
        let (Some(right), Some(left)) = (self.place(from), self.place(to)) else {
            return Ok(());
        };
        let (x, y) = (left.0 + BOX.0, left.1 + BOX.1 / 2);
        let (to_x, to_y) = (right.0, right.1 + BOX.1 / 2);
        let class = match kind {
            EdgeKind::Follows => " class=\"follows\"",
            EdgeKind::Like | EdgeKind::Includes => " class=\"dashed\"",
            kind if is_faint(kind) => " class=\"faint\"",
            _ => "",
        };
        let name = |at: usize| names.get(at).map_or("", String::as_str);
        let bend = GAP / 2;
        writeln!(
            out,
            "<path{class} d=\"M{x} {y}C{} {y} {} {to_y} {to_x} {to_y}\"><title>{} {} {}</title></path>",
            x + bend,
            to_x - bend,
            name(from),
            kind.words(),
            name(to),
        )
    }
}

/// A vertex's column is the one after the last of those that it depends on. Where only rings are
/// left, the vertex declared first comes after what has a column already.
fn columns(
    shows: &[bool],
    below: &[Vec<(usize, EdgeKind)>],
    above: &[Vec<usize>],
) -> Vec<Option<i64>> {
    let mut column: Vec<Option<i64>> = vec![None; shows.len()];
    let mut waits: Vec<usize> = below.iter().map(Vec::len).collect();
    let mut first = 0;
    let mut ready: std::collections::VecDeque<usize> = (0..shows.len())
        .filter(|at| shows.get(*at) == Some(&true) && waits.get(*at) == Some(&0))
        .collect();
    loop {
        let Some(at) = ready.pop_front() else {
            let is_left =
                |at: &usize| shows.get(*at) == Some(&true) && column.get(*at) == Some(&None);
            match (first..shows.len()).find(is_left) {
                Some(at) => {
                    first = at;
                    ready.push_back(at);
                    continue;
                }
                None => return column,
            }
        };
        if column.get(at).copied().flatten().is_some() {
            continue;
        }
        let known = below.get(at).map_or(&[] as &[_], Vec::as_slice);
        let behind = known.iter().filter_map(|(to, _)| column.get(*to).copied().flatten()).max();
        if let Some(column) = column.get_mut(at) {
            *column = Some(behind.map_or(0, |last| last + 1));
        }
        for dependent in above.get(at).map_or(&[] as &[_], Vec::as_slice) {
            if let Some(waits) = waits.get_mut(*dependent) {
                *waits = waits.saturating_sub(1);
                if *waits == 0 {
                    ready.push_back(*dependent);
                }
            }
        }
    }
}

/// Places vertices column by column: each as near as it can be to what it follows, or else to the
/// first that it depends on.
fn rows(column: &[Option<i64>], below: &[Vec<(usize, EdgeKind)>]) -> Vec<i64> {
    let mut y = vec![0_i64; column.len()];
    let mut order: Vec<(i64, usize)> =
        column.iter().enumerate().filter_map(|(at, column)| Some(((*column)?, at))).collect();
    order.sort_unstable();
    for members in order.chunk_by(|a, b| a.0 == b.0) {
        let mut wishes: Vec<(i64, usize)> = members
            .iter()
            .map(|(own, at)| {
                let known = below.get(*at).map_or(&[] as &[_], Vec::as_slice);
                let left =
                    known.iter().filter(|(to, _)| column.get(*to).copied().flatten() < Some(*own));
                let wish = left
                    .min_by_key(|(to, kind)| (*kind != EdgeKind::Follows, *to))
                    .and_then(|(to, _)| y.get(*to).copied());
                (wish.unwrap_or(0), *at)
            })
            .collect();
        wishes.sort_unstable();
        let mut free = 0;
        for (wish, at) in wishes {
            let top = wish.max(free);
            free = top + ROW;
            if let Some(y) = y.get_mut(at) {
                *y = top;
            }
        }
    }
    y
}

/// Cuts a name to fit its box.
fn cut(name: &str) -> String {
    let mut width = 0;
    let mut out = String::new();
    for c in name.chars() {
        width += c.width().unwrap_or(1);
        if width > LETTERS {
            out.push('…');
            break;
        }
        out.push(c);
    }
    out
}
