//! A change is made in a copy of the display and compiled as a whole before it is offered.

use crate::diagnostic::{Diagnostic, Severity};
use crate::loads::Remedy;
use crate::model::{Injection, Model};
use crate::plan::Plan;
use crate::source::Span;
use std::collections::BTreeMap;

/// Compiles a changed display anew: what is decided, and all that is found. No help is looked for in it.
pub type Compile<'a> = dyn Fn(&Model) -> (Plan, Vec<Diagnostic>) + 'a;

/// What is found in a display before anything is changed, to hold changes against.
pub struct Trial<'a> {
    /// The display.
    pub model: &'a Model,
    compile: &'a Compile<'a>,
    /// The gravest finding of each code at each place.
    before: BTreeMap<(&'static str, Span), Severity>,
    /// How many more displays may be compiled.
    left: u32,
}

impl<'a> Trial<'a> {
    /// Of a display, for so many trials.
    #[must_use]
    pub fn new(model: &'a Model, compile: &'a Compile<'a>, left: u32) -> Self {
        let (_, findings) = compile(model);
        let mut before = BTreeMap::new();
        for finding in &findings {
            let gravest = before.entry(key(finding)).or_insert(finding.severity);
            *gravest = finding.severity.min(*gravest);
        }
        Self {
            model,
            compile,
            before,
            left,
        }
    }

    /// The display with statements appended.
    #[must_use]
    pub fn with(&self, remedies: &[Remedy]) -> Model {
        let mut copy = self.model.clone();
        copy.injections
            .extend(remedies.iter().map(|remedy| Injection {
                at: Span::default(),
                strings: vec![remedy.string],
                place: remedy.place,
                lead: remedy.lead,
                apart: false,
            }));
        copy
    }

    /// Compiles a changed copy.
    ///
    /// # Errors
    /// What would newly be found, or that too much was tried already. Advice counts where `strict` is said.
    pub fn compiled(
        &mut self,
        copy: &Model,
        strict: bool,
    ) -> Result<(Plan, Vec<Diagnostic>), String> {
        let Some(left) = self.left.checked_sub(1) else {
            return Err("too much was tried already: add what is given here and ask again".into());
        };
        self.left = left;
        let (plan, findings) = (self.compile)(copy);
        match findings.iter().find(|one| self.is_new(one, strict)) {
            Some(finding) => Err(format!("with it, {}", finding.message)),
            None => Ok((plan, findings)),
        }
    }

    /// Whether a finding was not there before, or weighs more now.
    #[must_use]
    pub fn is_new(&self, finding: &Diagnostic, strict: bool) -> bool {
        let before = self.before.get(&key(finding));
        let counts = strict || finding.severity != Severity::Advice;
        counts && before.is_none_or(|before| finding.severity < *before)
    }

    /// Whether a finding is still there.
    #[must_use]
    pub fn has(findings: &[Diagnostic], code: &str, at: Span) -> bool {
        let mut same = findings.iter().filter(|finding| key(finding).1 == at);
        same.any(|finding| finding.code == code && finding.severity == Severity::Error)
    }
}

fn key(finding: &Diagnostic) -> (&'static str, Span) {
    let at = finding.labels.first().map(|label| label.span);
    (finding.code, at.unwrap_or_default())
}
