//! The fold of a string of strands: up, down, up, with the first and last node of each strand at
//! its ends.

use super::super::html::{Html, put};

/// Strands in one drawing: an even number, so that each drawing begins with a strand that goes up.
const ACROSS: u32 = 16;
/// The most strands that are drawn; the list of marks has all of them.
const MOST: u32 = 512;

/// Draws strands of `each` nodes. `power` has the nodes with an injection (from 1; 0 is before the
/// first).
pub fn draw(strands: u32, each: u32, power: &[u32], html: &mut Html) {
    let mut from = 0;
    while from < strands.min(MOST) {
        let to = (from + ACROSS).min(strands);
        row(from..to, strands, each, power, html);
        from = to;
    }
}

const STEP: u32 = 40;
const TOP: u32 = 36;
const FOOT: u32 = 136;

fn row(range: std::ops::Range<u32>, strands: u32, each: u32, power: &[u32], html: &mut Html) {
    let count = range.end - range.start;
    let width = (count * STEP + 60).max(160);
    put!(html; "<svg class=\"fold\" width=\"", width, "\" height=\"168\" viewBox=\"0 0 ", width);
    put!(html; " 168\" ");
    put!(html; "aria-hidden=\"true\">");
    for (at, strand) in range.clone().enumerate() {
        let x = 46 + u32::try_from(at).unwrap_or(0) * STEP;
        let up = strand.is_multiple_of(2);
        let (start, end) = if up { (FOOT, TOP) } else { (TOP, FOOT) };
        let (start_text, end_text) = if up { (FOOT + 12, TOP - 6) } else { (TOP - 6, FOOT + 12) };
        put!(html; "<path class=\"strand\" d=\"M", x, " ", start, "V", end, "\"/>");
        let tip = if up { "l-4 8h8z" } else { "l-4-8h8z" };
        put!(html; "<path class=\"tip\" d=\"M", x, " ", u32::midpoint(start, end), tip, "\"/>");
        if strand + 1 < range.end {
            put!(html; "<path class=\"turn\" d=\"M", x, " ", end, "h", STEP, "\"/>");
        }
        let first = u64::from(strand) * u64::from(each) + 1;
        let last = first + u64::from(each) - 1;
        put!(html; "<text x=\"", x, "\" y=\"", start_text, "\">", first, "</text>");
        if each > 1 {
            put!(html; "<text x=\"", x, "\" y=\"", end_text, "\">", last, "</text>");
        }
        if strand == 0 {
            put!(html; "<text class=\"end\" x=\"", x, "\" y=\"", FOOT + 27, "\">IN</text>");
        }
        if strand + 1 == strands {
            let y = if up { TOP - 20 } else { FOOT + 27 };
            put!(html; "<text class=\"end\" x=\"", x, "\" y=\"", y, "\">");
            put!(html; "OUT</text>");
        }
        marks(strand, each, power, (x, start, end), html);
    }
    put!(html; "</svg>\n");
}

/// Draws a triangle beside a strand at each of its nodes with an injection.
fn marks(strand: u32, each: u32, power: &[u32], (x, start, end): (u32, u32, u32), html: &mut Html) {
    for node in power {
        let (of, within) =
            (node.saturating_sub(1) / each.max(1), node.saturating_sub(1) % each.max(1));
        if of != strand {
            continue;
        }
        let length = start.abs_diff(end);
        let along = if *node == 0 { 0 } else { length * (within + 1) / each.max(1) };
        let y = if start > end { start - along } else { start + along };
        put!(html; "<path class=\"in\" d=\"M", x + 3, " ", y, "l9-5v10z\"/>");
    }
}
