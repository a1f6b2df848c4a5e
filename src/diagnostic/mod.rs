//! Findings: what the compiler reports, each with its code, places, reason and cure.
//!
//! A finding can't be made without a place, a reason and a cure. Stages put findings into a
//! [`Sink`]; nothing here prints.

pub mod words;

use crate::source::Span;

/// How serious a finding is; the most serious first.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Severity {
    /// The display is wrong.
    Error,
    /// It may be wrong, or works with a risk.
    Warning,
    /// Worth knowing.
    Advice,
}

impl Severity {
    /// Its word, as the JSON has it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warning => "warning",
            Self::Advice => "advice",
        }
    }
}

/// A place and the text that is shown there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// The place.
    pub span: Span,
    /// The text; clear without the message.
    pub text: String,
}

/// One replacement of text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Edit {
    /// The text that is replaced; empty to insert.
    pub span: Span,
    /// The text that takes its place.
    pub text: String,
}

/// A cure as edits of the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fix {
    /// What it does, as an order.
    pub title: String,
    /// Its edits, which do not overlap.
    pub edits: Vec<Edit>,
    /// Whether it may be applied unasked: the display then compiles and means what was meant.
    pub safe: bool,
}

/// The sentences of a finding. See the voice in DEVELOPERS.md.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// What is wrong, in lower case, without a full stop; clear without the rest.
    pub message: String,
    /// The text at the place that is wrong.
    pub label: String,
    /// What would happen at the display; one sentence.
    pub why: String,
    /// One thing to do.
    pub help: String,
}

/// A finding.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// Its code, a path such as `port/nodes`.
    pub code: &'static str,
    /// How serious it is.
    pub severity: Severity,
    /// What is wrong.
    pub message: String,
    /// The places, the one that is wrong first; never empty.
    pub labels: Vec<Label>,
    /// What would happen at the display.
    pub why: String,
    /// What to do.
    pub help: String,
    /// The cure as an edit, where there is one.
    pub fix: Option<Fix>,
    /// Cures of which a person picks one; each was tried and is enough alone.
    pub choices: Vec<Fix>,
    /// The names of all that it is about, where the message leaves some out; else empty.
    pub names: Vec<String>,
}

impl Diagnostic {
    /// A finding at a place.
    #[must_use]
    pub fn new(code: &'static str, severity: Severity, span: Span, words: Words) -> Self {
        Self {
            code,
            severity,
            message: words.message,
            labels: vec![Label { span, text: words.label }],
            why: words.why,
            help: words.help,
            fix: None,
            choices: Vec::new(),
            names: Vec::new(),
        }
    }

    /// The same finding with another severity.
    #[must_use]
    pub fn weighing(self, severity: Severity) -> Self {
        Self { severity, ..self }
    }

    /// Adds a place that contributed.
    #[must_use]
    pub fn and(mut self, span: Span, text: impl Into<String>) -> Self {
        self.labels.push(Label { span, text: text.into() });
        self
    }

    /// Adds a place that contributed, if there is one.
    #[must_use]
    pub fn and_if(self, span: Option<Span>, text: impl Into<String>) -> Self {
        match span {
            Some(span) => self.and(span, text),
            None => self,
        }
    }

    /// Adds a cure that may be applied unasked.
    #[must_use]
    pub fn fix(mut self, title: impl Into<String>, edits: Vec<Edit>) -> Self {
        self.fix = Some(Fix { title: title.into(), edits, safe: true });
        self
    }

    /// Adds the near name as a cure that may be applied unasked, if there is exactly one.
    #[must_use]
    pub fn fix_near(self, span: Span, near: &[&str]) -> Self {
        let [one] = near else { return self };
        let text = (*one).to_owned();
        self.fix(format!("write `{text}`"), vec![Edit { span, text }])
    }

    /// Adds a cure that a person should look at before it is applied.
    #[must_use]
    pub fn suggest(mut self, title: impl Into<String>, edits: Vec<Edit>) -> Self {
        self.fix = Some(Fix { title: title.into(), edits, safe: false });
        self
    }

    /// Adds a cure to pick from.
    #[must_use]
    pub fn choice(mut self, fix: Fix) -> Self {
        self.choices.push(fix);
        self
    }

    /// The place that is wrong.
    #[must_use]
    pub fn span(&self) -> Span {
        self.labels.first().map_or(Span::default(), |l| l.span)
    }
}

/// Collects findings.
#[derive(Debug, Default)]
pub struct Sink {
    findings: Vec<Diagnostic>,
    /// How many findings at the front are errors, once it is full.
    errors: usize,
}

/// The most findings that are kept, which bounds the memory. Of the rest, an error takes the place
/// of a lesser finding, so that no display with errors counts as right.
const MOST_FINDINGS: usize = 20_000;

impl Sink {
    /// Keeps a finding; once it is full, only an error, in place of a lesser finding.
    pub fn push(&mut self, finding: Diagnostic) {
        if !self.is_full() {
            return self.findings.push(finding);
        }
        if finding.severity != Severity::Error {
            return;
        }
        while let Some(kept) = self.findings.get_mut(self.errors) {
            self.errors += 1;
            if kept.severity != Severity::Error {
                *kept = finding;
                return;
            }
        }
    }

    /// Keeps the findings of another, until it is full.
    pub fn append(&mut self, other: Self) {
        for finding in other.findings {
            self.push(finding);
        }
    }

    /// How many findings it has.
    #[must_use]
    pub fn count(&self) -> usize {
        self.findings.len()
    }

    /// Whether it has as many findings as it keeps.
    #[must_use]
    pub fn is_full(&self) -> bool {
        self.findings.len() >= MOST_FINDINGS
    }

    /// Whether a finding that was kept is an error.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.findings.iter().any(|f| f.severity == Severity::Error)
    }

    /// All findings as [`in_order`] sorts them, equal ones once.
    #[must_use]
    pub fn finish(mut self) -> Vec<Diagnostic> {
        in_order(&mut self.findings);
        self.findings.dedup();
        self.findings
    }
}

/// Sorts findings by where they start, then the more serious first.
pub fn in_order(findings: &mut [Diagnostic]) {
    findings.sort_by(|a, b| {
        (a.span().start, a.severity, a.code, a.span().end, &a.message).cmp(&(
            b.span().start,
            b.severity,
            b.code,
            b.span().end,
            &b.message,
        ))
    });
}
