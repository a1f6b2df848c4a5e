//! Findings as one JSON object, which other programs read.
//!
//! `{"version": 1, "diagnostics": […]}`; lines and columns count from 1, columns in characters.
//! Within a version keys may be added; none is dropped or changes its meaning.

use super::spot;
use crate::diagnostic::{Diagnostic, Edit, Fix, Label};
use crate::source::{Place, SourceMap};
use serde::Serialize;
use std::io::{self, Write};

#[derive(Serialize)]
struct Report<'a> {
    version: u32,
    diagnostics: Vec<Finding<'a>>,
}

#[derive(Serialize)]
struct Finding<'a> {
    code: &'a str,
    severity: &'a str,
    message: &'a str,
    labels: Vec<JsonSpan<'a>>,
    help: &'a str,
    why: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    fix: Option<Cure<'a>>,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    choices: Vec<Cure<'a>>,
    #[serde(skip_serializing_if = "<[String]>::is_empty")]
    names: &'a [String],
}

#[derive(Serialize)]
struct JsonSpan<'a> {
    file: &'a str,
    line: u32,
    column: u32,
    end_line: u32,
    end_column: u32,
    text: &'a str,
}

#[derive(Serialize)]
struct Cure<'a> {
    title: &'a str,
    safe: bool,
    edits: Vec<JsonSpan<'a>>,
}

/// Writes all findings.
pub fn write(sources: &SourceMap, findings: &[Diagnostic], out: &mut dyn Write) -> io::Result<()> {
    let report =
        Report { version: 1, diagnostics: findings.iter().map(|f| finding(sources, f)).collect() };
    serde_json::to_writer_pretty(&mut *out, &report)?;
    writeln!(out)
}

fn finding<'a>(sources: &'a SourceMap, finding: &'a Diagnostic) -> Finding<'a> {
    let label = |label: &'a Label| stretch(spot(sources, label.span), &label.text);
    Finding {
        code: finding.code,
        severity: finding.severity.word(),
        message: &finding.message,
        labels: finding.labels.iter().map(label).collect(),
        help: &finding.help,
        why: &finding.why,
        fix: finding.fix.as_ref().map(|fix| whole(sources, fix)),
        choices: finding.choices.iter().map(|fix| whole(sources, fix)).collect(),
        names: &finding.names,
    }
}

fn whole<'a>(sources: &'a SourceMap, fix: &'a Fix) -> Cure<'a> {
    Cure {
        title: &fix.title,
        safe: fix.safe,
        edits: fix.edits.iter().map(|edit| cure(sources, edit)).collect(),
    }
}

fn stretch<'a>(place: Place<'a>, text: &'a str) -> JsonSpan<'a> {
    JsonSpan {
        file: place.file,
        line: place.line,
        column: place.column,
        end_line: place.end_line,
        end_column: place.end_column,
        text,
    }
}

/// An edit. Its place is exact to the byte, also at the end of a file.
fn cure<'a>(sources: &'a SourceMap, edit: &'a Edit) -> JsonSpan<'a> {
    let place = sources.place(edit.span).unwrap_or_else(|| spot(sources, edit.span));
    stretch(place, &edit.text)
}
