//! Checks a finished plan against the rules.

use crate::diagnostic::Sink;
use crate::model::Model;
use crate::plan::Plan;
use crate::rules;

/// Runs the check of every rule that has one, in the order of [`rules::ALL`].
pub fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for check in rules::ALL.iter().filter_map(|rule| rule.check) {
        check(model, plan, sink);
    }
}
