//! `net/load`.

use crate::diagnostic::Severity;
use crate::rules::{Page, Rule};

/// The rule.
pub const RULE: Rule = Rule {
    code: "net/load",
    severity: Severity::Warning,
    title: "",
    page: Page {
        means: "",
        why: "",
        source: "",
        wrong: "",
        right: "",
    },
    check: None,
};
