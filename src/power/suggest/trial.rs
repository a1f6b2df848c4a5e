//! Makes a change in a copy of the display and compiles that as a whole before it is offered.

use crate::diagnostic::{Diagnostic, Severity};
use crate::loads::Remedy;
use crate::model::{Injection, Model};
use crate::plan::Plan;
use crate::source::Span;
use std::collections::BTreeMap;

/// Compiles a changed display: returns its plan and all findings, without looking for help.
pub type Compile<'a> = dyn Fn(&Model) -> (Plan, Vec<Diagnostic>) + 'a;

/// A display and what is found in it, to compare changed copies with.
pub struct Trial<'a> {
    /// The display.
    pub model: &'a Model,
    compile: &'a Compile<'a>,
    before: Tally,
    /// How many more displays may be compiled.
    left: u32,
}

impl<'a> Trial<'a> {
    /// For at most this many changed copies of a display.
    #[must_use]
    pub fn new(model: &'a Model, compile: &'a Compile<'a>, left: u32) -> Self {
        let (_, findings) = compile(model);
        Self { model, compile, before: tally(&findings), left }
    }

    /// The display with statements appended.
    #[must_use]
    pub fn with(&self, remedies: &[Remedy]) -> Model {
        let mut copy = self.model.clone();
        copy.injections.rows_mut().extend(remedies.iter().map(|remedy| Injection {
            at: Span::default(),
            strings: vec![remedy.string],
            place: remedy.place,
            lead: remedy.lead,
            apart: false,
        }));
        copy
    }

    /// Compiles a changed copy; `None` once no more may be compiled.
    pub fn compiled(&mut self, copy: &Model) -> Option<(Plan, Vec<Diagnostic>)> {
        self.left = self.left.checked_sub(1)?;
        Some((self.compile)(copy))
    }

    /// The first finding that is new or more severe now. Advice counts only if `strict`.
    #[must_use]
    pub fn first_new<'f>(
        &self,
        findings: &'f [Diagnostic],
        strict: bool,
    ) -> Option<&'f Diagnostic> {
        let after = tally(findings);
        let weights = if strict { 3 } else { 2 };
        findings.iter().find(|finding| {
            let of = |tally: &Tally| tally.get(&key(finding)).copied().unwrap_or_default();
            let mut pairs = of(&after).into_iter().zip(of(&self.before)).take(weights);
            (strict || finding.severity != Severity::Advice)
                && pairs.any(|(now, before)| now > before)
        })
    }

    /// Whether there are fewer errors of a code at a place than before the change.
    #[must_use]
    pub fn has_fewer(&self, findings: &[Diagnostic], code: &'static str, at: Span) -> bool {
        let errors = |tally: &Tally| tally.get(&(code, at)).map_or(0, |[errors, ..]| *errors);
        errors(&tally(findings)) < errors(&self.before)
    }
}

/// How many findings of a code there are at a place: errors; errors and warnings; all. Strings that
/// one reference names share a place.
type Tally = BTreeMap<(&'static str, Span), [usize; 3]>;

fn tally(findings: &[Diagnostic]) -> Tally {
    let mut tally = Tally::new();
    for finding in findings {
        let counts = tally.entry(key(finding)).or_default();
        let weights = [Severity::Error, Severity::Warning, Severity::Advice];
        for (count, weight) in counts.iter_mut().zip(weights) {
            *count += usize::from(finding.severity <= weight);
        }
    }
    tally
}

fn key(finding: &Diagnostic) -> (&'static str, Span) {
    let at = finding.labels.first().map(|label| label.span);
    (finding.code, at.unwrap_or_default())
}
