//! Labels for plugs and ports, 24 to a sheet of A4 (70 by 37 mm), each with a code for the text
//! beside it.
//!
//! They have a page of their own, since they are printed on other paper.

use super::Part;
use super::crew::{CableLine, Crew, Hung, Item, Plug};
use super::html::{Html, put};
use crate::diagnostic::words::is_unprintable;
use qrcodegen::{Mask, QrCode, QrCodeEcc, QrSegment};
use std::fmt::Write as _;

/// The part.
pub const PART: Part = Part::new("labels", "Labels", write);

/// Labels on a sheet: three across, eight down.
const SHEET: usize = 24;
/// The most characters that fit on a line of a label.
const MOST: usize = 36;
/// Light modules round a code, as ISO/IEC 18004 asks.
const QUIET: i32 = 4;

/// The lines of a label; the first is printed large.
type Label = Vec<String>;

fn write(crew: &Crew<'_>, html: &mut Html) {
    put!(html; "<p>24 labels of 70 by 37 mm to a sheet of A4, three across. Print them at full ");
    put!(html; "size, without scaling and ");
    put!(html; "without the browser's own margins. IN is the end where data comes in, OUT the ");
    put!(html; "other. The code says what ");
    put!(html; "stands beside it.</p>\n");
    let labels: Vec<Label> = crew.lines.iter().flat_map(of_line).collect();
    for sheet in labels.chunks(SHEET) {
        put!(html; "<div class=\"labels lazy\">\n");
        for label in sheet {
            one(label, html);
        }
        put!(html; "</div>\n");
    }
}

fn one(label: &Label, html: &mut Html) {
    put!(html; "<div class=\"label\">");
    code(&label.join("\n"), html);
    put!(html; "<div class=\"says\">");
    for (at, line) in label.iter().enumerate() {
        if at == 0 {
            put!(html; "<b>", line, "</b>");
        } else {
            put!(html; "<span>", line, "</span>");
        }
    }
    put!(html; "</div></div>\n");
}

/// The labels of a line: its port, the receivers, both plugs of each string, each fixture.
fn of_line(line: &CableLine<'_>) -> Vec<Label> {
    let mut labels = vec![port(line)];
    for item in &line.items {
        match item {
            Item::Receiver(receiver, port, _) => {
                labels.push(lines([
                    format!("{}.{port}", receiver.name),
                    format!("receiver of {}", line.name),
                ]));
            }
            Item::Lead(..) | Item::Skip(..) | Item::End => {}
            Item::String(hung) if hung.is_fixture() && !hung.string.stored => {
                let start = hung.row.start;
                let address = format!("address {}", start.slot);
                let universe = format!("universe {}", start.universe);
                labels.push(lines([hung.row.name.clone(), address, universe, line.name.clone()]));
            }
            Item::String(hung) => labels.extend(plugs(line, hung)),
        }
    }
    labels
}

/// The labels of both plugs of a string; none of a stored one.
fn plugs(line: &CableLine<'_>, hung: &Hung<'_>) -> Vec<Label> {
    let Some(plugs) = &hung.plugs else {
        return Vec::new();
    };
    let (name, socket) = (&hung.row.name, hung.socket(line));
    let to = match &plugs.to {
        Plug::End => plugs.to.words(),
        to => format!("to {}", to.words()),
    };
    vec![
        lines([
            format!("{name} IN"),
            hung.row.enters.unwrap_or_default().to_owned(),
            format!("from {}", plugs.from.words()),
            socket.clone(),
            hung.stretch(),
        ]),
        lines([format!("{name} OUT"), to, socket]),
    ]
}

fn port(line: &CableLine<'_>) -> Label {
    let (start, end) = (line.row.start, line.row.end);
    let slots = format!("{}/{} to {}/{}", start.universe, start.slot, end.universe, end.slot);
    let kind = if line.is_dmx() { "DMX output" } else { "port" };
    let nodes = if line.is_dmx() {
        String::new()
    } else {
        crate::unit::counted(i64::from(line.row.nodes), "node")
    };
    lines([line.name.clone(), kind.to_owned(), nodes, slots])
}

/// Cuts lines to fit, replaces unprintable characters by U+FFFD and leaves out empty lines.
fn lines<const N: usize>(lines: [String; N]) -> Label {
    let fit = |line: String| {
        let seen = line.chars().map(|c| if is_unprintable(c) { '\u{fffd}' } else { c });
        let mut text: String = seen.clone().take(MOST).collect();
        if seen.count() > MOST {
            text.pop();
            text.push('…');
        }
        text
    };
    lines.into_iter().filter(|line| !line.is_empty()).map(fit).collect()
}

/// Draws a code as one path, with a stroke for each run of dark modules.
fn code(text: &str, html: &mut Html) {
    // The few short lines of a label always fit into a code; else the label would have none. Any of
    // the eight masks may be used. Finding the best one takes most of the time of a page, and these
    // codes are small and printed large.
    let (least, most) = (qrcodegen::Version::MIN, qrcodegen::Version::MAX);
    let segments = QrSegment::make_segments(text);
    let (level, mask) = (QrCodeEcc::Medium, Some(Mask::new(0)));
    let code = QrCode::encode_segments_advanced(&segments, level, least, most, mask, true);
    let Ok(code) = code else {
        return;
    };
    let side = code.size() + 2 * QUIET;
    put!(html; "<svg class=\"code\" viewBox=\"0 0 ", side, " ", side);
    put!(html; "\" aria-hidden=\"true\"><path d=\"", path(&code), "\"/></svg>");
}

fn path(code: &QrCode) -> String {
    let mut path = String::new();
    for y in 0..code.size() {
        let mut x = 0;
        while x < code.size() {
            let length = (x..code.size()).take_while(|x| code.get_module(*x, y)).count() as i32;
            if length > 0 {
                // Writing to a String can't fail.
                let _ = write!(path, "M{} {}.5h{length}", x + QUIET, y + QUIET);
            }
            x += length.max(1);
        }
    }
    path
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The path has every dark module and no other.
    #[test]
    fn the_path_is_the_code() {
        let code =
            QrCode::encode_text("owl[2] IN\nfrom owl[3]\nbarn.4", QrCodeEcc::Medium).unwrap();
        let mut dark = std::collections::BTreeSet::new();
        for run in path(&code).split('M').skip(1) {
            let (x, rest) = run.split_once(' ').unwrap();
            let (y, length) = rest.split_once(".5h").unwrap();
            let (x, y, length): (i32, i32, i32) =
                (x.parse().unwrap(), y.parse().unwrap(), length.parse().unwrap());
            dark.extend((x..x + length).map(|x| (x - QUIET, y - QUIET)));
        }
        for y in 0..code.size() {
            for x in 0..code.size() {
                assert_eq!(dark.contains(&(x, y)), code.get_module(x, y), "{x}, {y}");
            }
        }
    }

    #[test]
    fn lines_fit_and_can_be_seen() {
        let long = "a".repeat(100);
        let label = lines([long, String::new(), "b\u{202e}".to_owned()]);
        assert_eq!(label, [format!("{}…", "a".repeat(MOST - 1)), "b\u{fffd}".to_owned()]);
    }
}
