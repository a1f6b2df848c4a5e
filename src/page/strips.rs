//! Strips and bars as SVG that stretches with its page. Lengths are percentages, so text keeps its
//! shape.
//!
//! Six fills, each a colour and a pattern, distinguish neighbours. Words always state the same.

use super::html::{Html, Percent, put};

/// How many fills there are.
pub const FILLS: usize = 6;

/// Writes what all strips of a page refer to: the fills, and the ruler of a strip of `slots` slots.
pub fn definitions(slots: u32, html: &mut Html) {
    html.raw(
        "<svg width=\"0\" height=\"0\" class=\"defs\" aria-hidden=\"true\"><defs>\
         <pattern id=\"fill1\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">\
         <rect class=\"b1\" width=\"8\" height=\"8\"/><path d=\"M-2 2l4-4M0 8l8-8M6 10l4-4\"/></pattern>\
         <pattern id=\"fill2\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">\
         <rect class=\"b2\" width=\"8\" height=\"8\"/><circle cx=\"2\" cy=\"2\" r=\"1.1\"/><circle cx=\"6\" cy=\"6\" r=\"1.1\"/></pattern>\
         <pattern id=\"fill3\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">\
         <rect class=\"b3\" width=\"8\" height=\"8\"/><path d=\"M-2 6l4 4M0 0l8 8M6-2l4 4\"/></pattern>\
         <pattern id=\"fill4\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\">\
         <rect class=\"b4\" width=\"6\" height=\"6\"/><path d=\"M0 3h6\"/></pattern>\
         <pattern id=\"fill5\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\">\
         <rect class=\"b5\" width=\"6\" height=\"6\"/><path d=\"M3 0v6\"/></pattern>\
         <pattern id=\"hatch\" width=\"8\" height=\"8\" patternUnits=\"userSpaceOnUse\">\
         <path d=\"M-2 2l4-4M0 8l8-8M6 10l4-4\"/></pattern>\
         <symbol id=\"ruler\">",
    );
    for quarter in 0..4_u32 {
        let at = Percent { part: u64::from(quarter), of: 4 };
        let slot = u64::from(quarter) * u64::from(slots) / 4 + 1;
        put!(html; "<svg x=\"", at, "\" width=\"25%\" height=\"10\"><path class=\"tick\" d=\"M.5 ");
        put!(html; "0v4\"/>");
        put!(html; "<text class=\"mark\" x=\"3\" y=\"9\">", slot, "</text></svg>");
    }
    put!(html; "</symbol></defs></svg>\n");
}

/// A filled part of a strip.
pub struct Filled<'a> {
    /// Its first slot, from 1.
    pub first: u32,
    /// Its last slot.
    pub last: u32,
    /// Its fill.
    pub fill: Fill,
    /// Its number in the list under the strip.
    pub key: usize,
    /// Its name, shown if it fits at the width of a phone.
    pub name: &'a str,
}

/// How a stretch is filled.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Fill {
    /// One of the fills; any number is taken modulo [`FILLS`].
    Of(usize),
    /// Set aside for something else.
    Reserved,
}

impl Fill {
    /// Its CSS class.
    pub fn class(self) -> &'static str {
        match self {
            Self::Reserved => "kr",
            Self::Of(number) => match number % FILLS {
                0 => "k0",
                1 => "k1",
                2 => "k2",
                3 => "k3",
                4 => "k4",
                _ => "k5",
            },
        }
    }
}

/// The width of the narrowest strip, and of a letter on it, in pixels.
const NARROWEST: u64 = 330;
const LETTER: u64 = 8;

/// Draws a strip of `of` slots. Slots in no stretch stay visibly empty. It is hidden from screen
/// readers, since the list under it states the same.
pub fn strip(stretches: &[Filled<'_>], of: u32, html: &mut Html) {
    let of = u64::from(of.max(1));
    put!(html; "<svg class=\"strip\" width=\"100%\" height=\"34\" aria-hidden=\"true\">");
    put!(html; "<rect class=\"empty\" width=\"100%\" height=\"24\"/>");
    for stretch in stretches {
        let width = u64::from((stretch.last + 1).saturating_sub(stretch.first));
        let part = |part: u64| Percent { part, of };
        put!(html; "<svg x=\"", part(u64::from(stretch.first.saturating_sub(1))), "\" width=\"");
        put!(html; part(width));
        put!(html; "\" height=\"24\" class=\"", stretch.fill.class());
        put!(html; "\"><rect width=\"100%\" height=\"24\"/>");
        let room = (width * NARROWEST / of).saturating_sub(6) / LETTER;
        let key = stretch.key.to_string();
        let length = |text: &str| text.chars().count() as u64;
        if length(&key) + 1 + length(stretch.name) <= room {
            put!(html; "<text x=\"4\" y=\"17\">", key, " ", stretch.name, "</text>");
        } else if length(&key) <= room {
            put!(html; "<text x=\"4\" y=\"17\">", key, "</text>");
        }
        put!(html; "</svg>");
    }
    put!(html; "<use href=\"#ruler\" y=\"24\" width=\"100%\" height=\"10\"/>");
    put!(html; "</svg>");
}

/// Draws a bar of what is used, what is lost to skips and what is left.
pub fn bar(used: u64, skipped: u64, limit: u64, html: &mut Html) {
    let of = limit.max(used.saturating_add(skipped)).max(1);
    let part = |part: u64| Percent { part, of };
    put!(html; "<svg class=\"bar\" width=\"100%\" height=\"14\" aria-hidden=\"true\">");
    put!(html; "<rect class=\"empty\" width=\"100%\" height=\"14\"/>");
    put!(html; "<rect class=\"used\" width=\"", part(used), "\" height=\"14\"/>");
    if skipped > 0 {
        put!(html; "<rect class=\"lost\" x=\"", part(used), "\" width=\"", part(skipped));
        put!(html; "\" height=\"14\"/>");
    }
    put!(html; "</svg>");
}
