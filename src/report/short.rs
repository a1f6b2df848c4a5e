//! Findings on one line each: `file:line:column: error[code]: message (help: …)`.

use super::spot;
use crate::diagnostic::{Diagnostic, words};
use crate::source::SourceMap;
use std::io::{self, Write};

/// Writes all findings, one line each. Columns count characters from 1; a tab counts as one.
pub fn write(sources: &SourceMap, findings: &[Diagnostic], out: &mut dyn Write) -> io::Result<()> {
    for finding in findings {
        writeln!(out, "{}", line(sources, finding))?;
    }
    Ok(())
}

/// One finding on one line.
pub fn line(sources: &SourceMap, finding: &Diagnostic) -> String {
    let place = spot(sources, finding.span());
    let mut line = format!(
        "{}:{}:{}: {}[{}]: {}",
        words::shown(place.file),
        place.line,
        place.column,
        finding.severity.word(),
        finding.code,
        flat(&finding.message)
    );
    if !finding.help.is_empty() {
        line.push_str(&format!(" (help: {})", flat(&finding.help)));
    }
    line
}

/// A text of several lines on one line, without characters that would steer a terminal.
pub fn flat(text: &str) -> String {
    words::visible(&text.trim_end().replace(['\n', '\t'], " "), "")
}
