//! All findings, each with its places.

use super::Part;
use super::crew::Crew;
use super::html::{Html, put};
use crate::diagnostic::Diagnostic;
use crate::report::spot;

/// The part.
pub const PART: Part = Part::new("findings", "Findings", write);

fn write(crew: &Crew<'_>, html: &mut Html) {
    if crew.compiled.findings.is_empty() {
        put!(html; "<p>Nothing was found wrong.</p>\n");
        return;
    }
    put!(html; "<ol class=\"findings\">\n");
    for finding in &crew.compiled.findings {
        one(crew, finding, html);
    }
    put!(html; "</ol>\n");
}

fn one(crew: &Crew<'_>, finding: &Diagnostic, html: &mut Html) {
    put!(html; "<li class=\"lazy ", finding.severity.word(), "\">\n<p><strong>");
    put!(html; finding.severity.word());
    put!(html; "</strong> <code>", finding.code, "</code> ", finding.message, "</p>\n<ul>\n");
    for label in &finding.labels {
        let place = spot(&crew.compiled.sources, label.span);
        put!(html; "<li><code>", place.file, ":", place.line, ":", place.column, "</code> ");
        put!(html; label.text, "</li>\n");
    }
    put!(html; "</ul>\n");
    if !finding.why.is_empty() {
        put!(html; "<p>Why: ", finding.why, "</p>\n");
    }
    if !finding.help.is_empty() {
        put!(html; "<p>Help: ", finding.help, "</p>\n");
    }
    put!(html; "</li>\n");
}
