//! `name/unused`.

use crate::diagnostic::Severity;
use crate::rules::{Page, Rule};

/// The rule.
pub const RULE: Rule = Rule {
    code: "name/unused",
    severity: Severity::Advice,
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
