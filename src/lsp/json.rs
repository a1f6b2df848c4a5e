//! Places, findings and edits as the protocol has them (LSP 3.17, "Basic JSON Structures").

use crate::diagnostic::{Diagnostic, Edit, Severity};
use crate::editor::desk::Desk;
use crate::editor::position::{Position, Sheets};
use crate::source::{SourceFile, Span};
use serde_json::{Value, json};

/// A place.
pub fn position(place: Position) -> Value {
    json!({"line": place.line, "character": place.character})
}

/// The range of a span in its text.
pub fn range<'d>(file: &'d SourceFile, sheets: &Sheets<'d>, span: Span) -> Value {
    let (start, end) = sheets.ends(file, span);
    json!({"start": position(start), "end": position(end)})
}

/// The location of a span in any text of the display.
pub fn location<'d>(
    (desk, sheets): (&'d Desk, &Sheets<'d>),
    span: Span,
    uri: &dyn Fn(&str) -> String,
) -> Option<Value> {
    let file = desk.file_at(span.start)?;
    let range = range(file, sheets, span);
    Some(json!({"uri": uri(&file.name), "range": range}))
}

/// A finding of a text.
pub fn finding<'d>(
    display: (&'d Desk, &Sheets<'d>),
    file: &'d SourceFile,
    finding: &Diagnostic,
    uri: &dyn Fn(&str) -> String,
) -> Value {
    let severity = match finding.severity {
        Severity::Error => 1,
        Severity::Warning => 2,
        Severity::Advice => 3,
    };
    let others = finding.labels.iter().skip(1).filter_map(|label| {
        let place = location(display, label.span, uri)?;
        Some(json!({"location": place, "message": label.text}))
    });
    let others: Vec<Value> = others.collect();
    let mut message = finding.message.clone();
    for more in [&finding.why, &finding.help] {
        if !more.is_empty() {
            message.push('\n');
            message.push_str(more);
        }
    }
    json!({
        "range": range(file, display.1, finding.span()),
        "severity": severity,
        "code": finding.code,
        "source": "tinsel",
        "message": message,
        "relatedInformation": others,
    })
}

/// The client's version of a text, by URI.
pub type VersionOf<'a> = &'a dyn Fn(&str) -> Option<i64>;

/// Edits by text; with versions if `version` is given.
pub fn edits<'d>(
    (desk, sheets): (&'d Desk, &Sheets<'d>),
    edits: &[Edit],
    uri: &dyn Fn(&str) -> String,
    version: Option<VersionOf>,
) -> Value {
    let mut files: Vec<(String, Vec<Value>)> = Vec::new();
    for edit in edits {
        let Some(file) = desk.file_at(edit.span.start) else {
            continue;
        };
        let range = range(file, sheets, edit.span);
        let own = json!({"range": range, "newText": edit.text});
        let uri = uri(&file.name);
        match files.iter_mut().find(|(other, _)| *other == uri) {
            Some((_, all)) => all.push(own),
            None => files.push((uri, vec![own])),
        }
    }
    match version {
        Some(version) => {
            let changes = files.into_iter().map(|(uri, all)| {
                json!({"textDocument": {"version": version(&uri), "uri": uri}, "edits": all})
            });
            json!({"documentChanges": changes.collect::<Vec<Value>>()})
        }
        None => {
            let all = files.into_iter().map(|(uri, all)| (uri, Value::Array(all)));
            json!({"changes": all.collect::<serde_json::Map<_, _>>()})
        }
    }
}
