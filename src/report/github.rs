//! Findings as workflow annotations: `::error file=…,line=…,col=…::message`.
//!
//! A runner shows at most ten of each kind a step, so what comes after that is printed as plain
//! lines, which its log keeps. The first character of a line has column 1.

use super::{short, spot};
use crate::diagnostic::{Diagnostic, Severity};
use crate::source::SourceMap;
use std::io::{self, Write};

/// Annotations of one kind that a runner shows a step.
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
        // A column range is read within one line only.
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

/// The message part: `%`, CR and LF would end or change it.
fn data(text: &str) -> String {
    text.replace('%', "%25").replace('\r', "%0D").replace('\n', "%0A")
}

/// A property: `:` and `,` would end it too.
fn property(text: &str) -> String {
    data(text).replace(':', "%3A").replace(',', "%2C")
}
