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
/// Who depends on whom. Stands empty until its file lands.
pub mod graph {
    /// What a vertex stands for.
    #[derive(Clone, Copy, PartialEq, Eq, Debug)]
    pub enum VertexKind {
        /// A prop.
        Prop,
    }
    impl VertexKind {
        /// The word for it.
        #[must_use]
        pub fn word(self) -> &'static str {
            "prop"
        }
    }
    /// Why one thing depends on another.
    #[derive(Clone, Copy, PartialEq, Eq, Debug)]
    pub enum EdgeKind {
        /// Names it.
        Uses,
        /// Takes its settings.
        Like,
        /// Reads it in.
        Includes,
        /// Follows it on a data line.
        Follows,
    }
    impl EdgeKind {
        /// The words for it.
        #[must_use]
        pub fn words(self) -> &'static str {
            "uses"
        }
    }
    /// A thing of the display.
    #[derive(Debug)]
    pub struct Vertex {
        /// Its name.
        pub name: String,
        /// What it is.
        pub kind: VertexKind,
    }
    /// The graph.
    #[derive(Debug, Default)]
    pub struct Graph {
        nodes: Vec<Vertex>,
    }
    impl Graph {
        /// The things in the order added.
        pub fn nodes(&self) -> impl Iterator<Item = &Vertex> {
            self.nodes.iter()
        }
        /// Every edge.
        pub fn edges(&self) -> impl Iterator<Item = (usize, usize, EdgeKind)> {
            std::iter::empty()
        }
        /// The things of a name.
        #[must_use]
        pub fn named(&self, _: &str) -> Vec<usize> {
            Vec::new()
        }
        /// What a change reaches.
        #[must_use]
        pub fn reach(&self, from: &[usize]) -> Vec<usize> {
            from.to_vec()
        }
    }
    /// The graph of a display.
    #[must_use]
    pub fn of(_: &crate::model::Model) -> Graph {
        Graph::default()
    }
}
pub mod model;
pub mod plan;

pub mod grid;
pub mod limits;
pub mod usage;

pub mod rules;

pub mod syntax;

/// Tree to model.
pub mod resolve {
    /// Includes.
    pub mod include {
        use crate::{
            ast::Ast,
            diagnostic::Sink,
            source::{Files, Loaded, SourceFile, SourceMap},
        };
        /// Gathers.
        pub fn gather(
            _: &dyn Files,
            main: Loaded,
            parse: impl Fn(&SourceFile, &mut Sink) -> Ast,
            sources: &mut SourceMap,
            sink: &mut Sink,
        ) -> Ast {
            let text = String::from_utf8_lossy(&main.bytes).into_owned();
            sources
                .add(&main.name, &text)
                .map(|file| parse(file, sink))
                .unwrap_or_default()
        }
    }
    use crate::{ast::Ast, diagnostic::Sink, model::Model, source::SourceMap};
    /// Resolves.
    #[must_use]
    pub fn resolve(_: Ast, _: &SourceMap, _: &mut Sink) -> Model {
        Model::default()
    }
}

pub mod allocate;
pub mod check;

pub mod output;
pub mod report;

pub mod explain;

pub mod cli;

use diagnostic::{Diagnostic, Severity, Sink};
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
    let mut sources = SourceMap::default();
    let mut sink = Sink::default();
    let ast = resolve::include::gather(files, main, syntax::parse, &mut sources, &mut sink);
    let model = resolve::resolve(ast, &sources, &mut sink);
    let plan = allocate::allocate(&model, &mut sink);
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
