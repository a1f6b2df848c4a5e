//! Findings as workflow annotations: `::error file=…,line=…,col=…::message`.
//!
//! A runner shows at most ten annotations of a kind for a step. Further findings are printed as
//! plain lines, which the log of the runner keeps. Columns count from 1.

use super::{short, spot};
use crate::diagnostic::{Diagnostic, Severity};
use crate::source::SourceMap;
use std::io::{self, Write};

/// The most annotations of a kind that a runner shows for a step.
const SHOWN: usize = 10;

/// Writes all findings.
pub fn write(sources: &SourceMap, findings: &[Diagnostic], out: &mut dyn Write) -> io::Result<()> {
    let mut counts = [0_usize; 3];
    for finding in findings {
        let [errors, warnings, notices] = &mut counts;
        let (kind, count) = match finding.severity {
            Severity::Error => ("error", errors),
            Severity::Warning => ("warning", warnings),
            Severity::Advice => ("notice", notices),
        };
        *count += 1;
        if *count > SHOWN {
            writeln!(out, "{}", short::line(sources, finding))?;
            continue;
        }
        let place = spot(sources, finding.span());
        write!(out, "::{kind} file={}", property(place.file))?;
        write!(out, ",line={},endLine={}", place.line, place.end_line)?;
        // Columns are read as a range only within one line.
        if place.line == place.end_line {
            write!(out, ",col={},endColumn={}", place.column, place.end_column)?;
        } else {
            write!(out, ",col={}", place.column)?;
        }
        let text = format!("{}\n{}\nhelp: {}", finding.message, finding.why, finding.help);
        writeln!(out, ",title={}::{}", property(finding.code), data(&text))?;
    }
    Ok(())
}

/// Escapes a message: `%`, CR and LF would change or end it.
fn data(text: &str) -> String {
    text.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A")
}

/// Escapes a property: `:` and `,` would end it too.
fn property(text: &str) -> String {
    data(text).replace(':', "%3A").replace(',', "%2C")
}
