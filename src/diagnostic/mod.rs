//! What the compiler has to say: a finding with its code, its places, its reason and its cure.
//!
//! A finding can't be made without a place, a reason and a cure. Stages put findings into a [`Sink`]; nobody
//! prints here.

pub mod words;

use crate::source::Span;

/// How much a finding weighs.
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
    /// The word for it, as the JSON contract has it.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Error => "error",
            Self::Warning => "warning",
            Self::Advice => "advice",
        }
    }
}

/// A place with what is to be said there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Label {
    /// Where.
    pub span: Span,
    /// What; makes sense without the message.
    pub text: String,
}

/// One replacement of text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Edit {
    /// The stretch that goes; empty to insert.
    pub span: Span,
    /// What comes there.
    pub text: String,
}

/// A cure as edits of the text.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fix {
    /// What it does, imperative.
    pub title: String,
    /// Its edits, none of which overlap.
    pub edits: Vec<Edit>,
    /// Whether it may be applied unasked: the display then compiles and means what was meant.
    pub safe: bool,
}

/// The sentences of a finding. See the voice in DEVELOPERS.md.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Words {
    /// What is, in lower case, without a stop; stands alone in a log.
    pub message: String,
    /// What to say at the offending place.
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
    /// How much it weighs.
    pub severity: Severity,
    /// What is.
    pub message: String,
    /// The places, the offending one first; never empty.
    pub labels: Vec<Label>,
    /// What would happen at the display.
    pub why: String,
    /// What to do.
    pub help: String,
    /// The cure as an edit, where there is one.
    pub fix: Option<Fix>,
    /// Cures of which a person picks one: each was tried and suffices.
    pub choices: Vec<Fix>,
    /// The whole set that it is about, by name, where the message does not name all of it.
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

    /// The same finding with another weight.
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

    /// Adds a place where there is one.
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

    /// Adds the nearest name as a cure that may be applied unasked, where only one is near.
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

    /// The offending place.
    #[must_use]
    pub fn span(&self) -> Span {
        self.labels.first().map_or(Span::default(), |l| l.span)
    }
}

/// Collects findings.
#[derive(Debug, Default)]
pub struct Sink {
    findings: Vec<Diagnostic>,
}

/// The most findings that are kept: a text with more is no display, and they would eat the memory.
const MOST_FINDINGS: usize = 20_000;

impl Sink {
    /// Takes a finding, unless it is full.
    pub fn push(&mut self, finding: Diagnostic) {
        if !self.is_full() {
            self.findings.push(finding);
        }
    }

    /// Takes all findings of another.
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

    /// Whether it has all the findings that it keeps; what is found from now on need not be worded.
    #[must_use]
    pub fn is_full(&self) -> bool {
        self.findings.len() >= MOST_FINDINGS
    }

    /// Whether anything so far is an error.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.findings.iter().any(|f| f.severity == Severity::Error)
    }

    /// All of them in file order, each once.
    #[must_use]
    pub fn finish(mut self) -> Vec<Diagnostic> {
        in_order(&mut self.findings);
        self.findings.dedup();
        self.findings
    }
}

/// Sorts findings: in file order, what weighs more first at one place.
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
