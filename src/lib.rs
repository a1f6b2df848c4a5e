//! A compiler for the addressing of pixel-light displays: text in, checked ports, universes and start
//! addresses out.
//!
//! ```text
//!  text ──syntax──▶ ast ──resolve──▶ model ──allocate──▶ plan ──check──▶ findings
//!           ▲                          │                   │                │
//!        include (other texts)         └───────┬───────────┘                │
//!                                           output                       report
//!                                    tables: text csv json yaml   terminal short json sarif github
//! ```
//!
//! [`compile`] is the whole of it. Stages meet in data ([`ast`], [`model`], [`plan`]) and never call one
//! another; what they find goes into one [`diagnostic::Sink`], worded by the [`rules`]. The library reads no
//! file, clock or terminal: texts come through [`source::Files`], and only [`cli`] prints.

pub mod source;

pub mod diagnostic;
pub mod unit;

pub mod chip;
pub mod protocol;

pub mod ast;
pub mod graph;
pub mod model;
pub mod plan;

pub mod lock;

pub mod grid;
pub mod limits;
pub mod usage;

pub mod rules;

pub mod syntax;

pub mod resolve;

pub mod allocate;
pub mod check;

pub mod output;
pub mod report;

pub mod explain;

pub mod cli;

use diagnostic::{Diagnostic, Severity, Sink};
use lock::Lock;
use model::Model;
use plan::Plan;
use source::{Files, Loaded, SourceMap};

/// What became of a display.
#[derive(Debug)]
pub struct Compiled {
    /// Its texts, the main one first.
    pub sources: SourceMap,
    /// What was meant.
    pub model: Model,
    /// What was decided.
    pub plan: Plan,
    /// Everything there is to say, in file order.
    pub findings: Vec<Diagnostic>,
}

/// Compiles a display: from the bytes of its main text to addresses and findings. Cannot fail; what is wrong
/// stands in [`Compiled::findings`].
#[must_use]
pub fn compile(files: &dyn Files, main: Loaded) -> Compiled {
    compile_around(files, main, None)
}

/// Compiles a display around what was decided last time: what the lock holds stays where it may.
#[must_use]
pub fn compile_around(files: &dyn Files, main: Loaded, lock: Option<&Lock>) -> Compiled {
    let mut sources = SourceMap::default();
    let mut sink = Sink::default();
    let parse = &syntax::parse;
    let ast = resolve::include::gather(files, main, parse, &mut sources, &mut sink);
    let model = resolve::resolve(&ast, &sources, &mut sink);
    // What was written is no longer needed; on a large display it is the larger half of the memory.
    drop(ast);
    let plan = allocate::allocate(&model, lock, &mut sink);
    check::check(&model, &plan, &mut sink);
    Compiled {
        sources,
        model,
        plan,
        findings: sink.finish(),
    }
}

/// Groups of rules whose errors leave the addresses usable: a crew with one fuse too small still needs its
/// table.
const NOT_BLOCKING: [&str; 2] = ["power", "net"];

impl Compiled {
    /// Whether anything found is an error.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.count(Severity::Error) > 0
    }

    /// Whether an error was found that leaves no table to trust: any but those of power and network.
    #[must_use]
    pub fn blocks(&self) -> bool {
        self.findings.iter().any(|finding| {
            let group = finding.code.split('/').next().unwrap_or("");
            finding.severity == Severity::Error && !NOT_BLOCKING.contains(&group)
        })
    }

    /// How many findings have a severity.
    #[must_use]
    pub fn count(&self, severity: Severity) -> usize {
        self.findings
            .iter()
            .filter(|finding| finding.severity == severity)
            .count()
    }

    /// Makes every finding of a code an error.
    pub fn deny(&mut self, code: &str) {
        for finding in &mut self.findings {
            if finding.code == code {
                finding.severity = Severity::Error;
            }
        }
    }
}
