//! `wire/picked`.

use crate::diagnostic::Severity;
use crate::rules::{Page, Rule};

/// The rule.
pub const RULE: Rule = Rule {
    code: "wire/picked",
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
