//! `place/no-room`.

use crate::diagnostic::Severity;
use crate::rules::{Page, Rule};

/// The rule.
pub const RULE: Rule = Rule {
    code: "place/no-room",
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
