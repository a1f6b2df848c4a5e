//! Findings as SARIF 2.1.0 (OASIS), which code hosts and editors read.

use super::spot;
use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{self, Rule};
use crate::source::{Place, SourceMap};
use serde_json::{Value, json};
use std::collections::BTreeMap;
use std::io::{self, Write};

/// Writes all findings as one run.
pub fn write(sources: &SourceMap, findings: &[Diagnostic], out: &mut dyn Write) -> io::Result<()> {
    let rules: Vec<Value> = rules::ALL.iter().map(|rule| descriptor(rule)).collect();
    let mut seen = BTreeMap::new();
    let results: Vec<Value> =
        findings.iter().map(|finding| result(sources, finding, &mut seen)).collect();
    let log = json!({
        "$schema": "https://json.schemastore.org/sarif-2.1.0.json",
        "version": "2.1.0",
        "runs": [{
            "tool": { "driver": {
                "name": "tinsel",
                "version": env!("CARGO_PKG_VERSION"),
                "rules": rules,
            } },
            "columnKind": "unicodeCodePoints",
            "results": results,
        }],
    });
    serde_json::to_writer_pretty(&mut *out, &log)?;
    writeln!(out)
}

fn descriptor(rule: &Rule) -> Value {
    json!({
        "id": rule.code,
        "shortDescription": { "text": rule.title },
        "fullDescription": { "text": rule.page.means },
        "help": { "text": format!("{}\n\nSource: {}", rule.page.why, rule.page.source) },
        "defaultConfiguration": { "level": level(rule.severity) },
    })
}

fn level(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => "error",
        Severity::Warning => "warning",
        Severity::Advice => "note",
    }
}

/// One finding. `seen` counts findings with the same file, code and message. A fingerprint must not
/// depend on lines that come and go above it, and must still differ between two findings.
fn result<'a>(
    sources: &'a SourceMap,
    finding: &'a Diagnostic,
    seen: &mut BTreeMap<(&'a str, &'a str, &'a str), u32>,
) -> Value {
    let place = spot(sources, finding.span());
    let count = seen.entry((place.file, finding.code, &finding.message)).or_insert(0);
    *count += 1;
    let print = fingerprint(&[place.file, finding.code, &finding.message], *count);
    let related: Vec<Value> = finding
        .labels
        .iter()
        .skip(1)
        .map(|label| {
            let mut location = location(&spot(sources, label.span));
            if let Some(map) = location.as_object_mut() {
                map.insert("message".to_owned(), json!({ "text": label.text }));
            }
            location
        })
        .collect();
    let mut result = json!({
        "ruleId": finding.code,
        "level": level(finding.severity),
        "message": { "text": format!("{}\n{}\nhelp: {}", finding.message, finding.why, finding.help) },
        "locations": [location(&place)],
        "relatedLocations": related,
        "partialFingerprints": { "tinselFinding/v1": print },
    });
    let index = rules::ALL.iter().position(|rule| rule.code == finding.code);
    if let (Some(index), Some(map)) = (index, result.as_object_mut()) {
        map.insert("ruleIndex".to_owned(), json!(index));
    }
    result
}

fn location(place: &Place<'_>) -> Value {
    json!({
        "physicalLocation": {
            "artifactLocation": { "uri": uri(place.file) },
            "region": {
                "startLine": place.line,
                "startColumn": place.column,
                "endLine": place.end_line,
                "endColumn": place.end_column,
            },
        },
    })
}

/// A shown path as a relative URI: every byte that is not allowed in a path is written `%XX`.
fn uri(path: &str) -> String {
    let mut out = String::with_capacity(path.len());
    for byte in path.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~/".contains(&byte) {
            out.push(char::from(byte));
        } else {
            out.push_str(&format!("%{byte:02X}"));
        }
    }
    out
}

/// FNV-1a, 64 bits: the same on every machine and with every version of the standard library.
fn fingerprint(parts: &[&str], count: u32) -> String {
    let mut hash = 0xcbf2_9ce4_8422_2325_u64;
    let mut take = |byte: u8| hash = (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    for part in parts {
        part.bytes().for_each(&mut take);
        take(0);
    }
    count.to_le_bytes().into_iter().for_each(take);
    format!("{hash:016x}")
}
