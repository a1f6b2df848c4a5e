//! Suggestions as statements, with everything else as comments, so that all of it can be appended
//! to the display.

use super::{CAUTIONS, PowerView, SuggestionRow};
use crate::diagnostic::words::{few, shown};
use crate::unit::counted;

/// The most columns of a comment.
const WIDTH: usize = 100;

/// The statements.
pub fn text(view: &PowerView, suggestions: &[SuggestionRow]) -> String {
    let mut out = String::new();
    let unfed = view.ports.iter().filter(|row| row.from == "port" && row.dark_nodes > 0);
    let unfed: Vec<String> = unfed.map(|row| shown(&row.port)).collect();
    if !unfed.is_empty() {
        // The list is cut short, so that the comment stays on one line.
        let ports = few(&unfed);
        out.push_str(&format!("# Nodes go dark on {ports}, and nothing says what feeds that.\n"));
        out.push_str(
            "# Name a `supply` and say `power PORTS from SUPPLY through LENGTH of GAUGE`, then ask again.\n",
        );
    } else if suggestions.is_empty() {
        out.push_str("# Nothing needs to be fed in more places.\n");
    }
    for row in suggestions {
        out.push_str(&format!("# {}: {}\n", shown(&row.port), shown(&row.because)));
        if let Some(why) = &row.why_not {
            comment(&format!("No injection helps: {why}."), &mut out);
            continue;
        }
        if row.first {
            out.push_str(&format!("# {}\n", points(row)));
        }
        if row.statements.is_empty() {
            out.push_str("# The points of the other lines on its lead are enough.\n");
        }
        for statement in &row.statements {
            out.push_str(&format!("{statement}\n"));
        }
    }
    let left_out = view.ports.iter().filter(|row| row.left_out);
    let left_out: Vec<String> = left_out.map(|row| shown(&row.port)).collect();
    if !left_out.is_empty() {
        let ports = few(&left_out);
        out.push_str(&format!("# Left out, for what `tinsel check` reports of it: {ports}.\n"));
    }
    out.push_str("# Lengths are as far as the line runs: measure yours.\n");
    for caution in CAUTIONS {
        comment(caution, &mut out);
    }
    out
}

/// How many points there are, and whether fewer could do.
fn points(row: &SuggestionRow) -> String {
    let points = counted(row.points, "point");
    let shared = match row.lines_on_lead {
        0 | 1 => String::new(),
        lines => format!(" for the {lines} lines that share its lead"),
    };
    let fewest = if row.fewest { "no fewer do" } else { "the fewest found" };
    format!("{points}{shared}: {fewest}.")
}

/// Writes a text as comment lines of at most [`WIDTH`] columns.
fn comment(text: &str, out: &mut String) {
    let mut line = String::from("#");
    for word in text.split(' ') {
        if line.len() + word.len() + 2 > WIDTH && line.len() > 1 {
            out.push_str(&line);
            line = String::from("\n#");
        }
        line.push(' ');
        line.push_str(word);
    }
    out.push_str(&line);
    out.push('\n');
}
