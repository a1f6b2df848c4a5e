//! `wire/no-port`.

use crate::diagnostic::Severity;
use crate::rules::{Page, Rule};

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/no-port",
    severity: Severity::Error,
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
