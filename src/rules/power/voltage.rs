//! `power/voltage`: a node with too little voltage.

use crate::diagnostic::{Diagnostic, Edit, Severity, words};
use crate::loads::{Cure, Low, Remedy, Section};
use crate::model::{FeedLead, Model, Output};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{Dimension, counted, left, quantity};
use crate::usage::{inject_statement, port_name};

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/voltage",
    severity: Severity::Error,
    title: "a node with too little voltage",
    page: Page {
        means: "What is left of the supply's voltage at a node, after all that its conductors take on the way there and back, is less \
                than it works with, at the level that `dim to` allows. If a node has too little at full level only, \
                the finding is advice. The floor \
                is the chip's own, or three quarters of what the node is made for where that is more; `floor` of a `node` or `chip` \
                says otherwise. A node that does not say its `volts` is taken to be made for those of its port.",
        why: "Blue goes first, then green: white turns yellow, then brown, and at last the nodes lose the data and \
              everything after it flickers or stays dark.",
        source: "data sheets of the chips (least supply voltage); ASTM B258-18 and IEC 60228:2004 (resistance of conductors; purchased, editions from memory); three quarters \
                 for diodes in a row is common practice, no source",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 20 mA; pitch 150 mm; gauge 20 AWG }\n\
                prop arch { node dot; string 200 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
                wire pier.1: arch\n\
                supply shed { volts 12 V; rated 350 W }\n\
                power pier.1..4 from shed through 0.5 m of 12 AWG fuse 20 A\n",
        change: &[(
            "power pier.1..4 from shed through 0.5 m of 12 AWG fuse 20 A\n",
            "power pier.1..4 from shed through 0.5 m of 12 AWG fuse 20 A\ninject arch at end from shed through 30 m of 14 AWG fuse 5 A\n",
        )],
    },
    check: None,
};

/// A line with a node under its floor.
pub struct Case<'a> {
    /// The line.
    pub section: &'a Section,
    /// The first node under its floor.
    pub low: Low,
    /// What would help; `None` where that was not searched for.
    pub cure: Option<Cure>,
    /// Another line whose finding has the injections for this one too.
    pub told_at: Option<&'a Section>,
}

impl Case<'_> {
    fn port(&self, model: &Model, plan: &Plan) -> String {
        port_of(model, plan, self.section)
    }

    /// The injections that its own finding has.
    fn inject(&self) -> &[Remedy] {
        let own = self.cure.as_ref().filter(|_| self.told_at.is_none());
        own.map_or(&[], |cure| &cure.inject)
    }
}

fn port_of(model: &Model, plan: &Plan, section: &Section) -> String {
    let port = &plan.ports[section.port];
    match port.output {
        Output::Pixel(number) => port_name(model, port.controller, number, section.receiver),
        Output::Dmx(_) => String::new(),
    }
}

/// A node under its floor at the level that is allowed; `feed` is the statement that feeds it.
#[must_use]
pub fn allowed(
    model: &Model,
    plan: &Plan,
    case: &Case<'_>,
    feed: Option<(Span, FeedLead)>,
) -> Diagnostic {
    let low = &case.low;
    let name = words::shown(&model.name_of(low.string));
    let level = quantity(i64::from(case.section.level), Dimension::Share);
    let floor = quantity(low.floor_uv / 1_000, Dimension::Voltage);
    let nodes = counted(case.section.dark_nodes, "node");
    let finding = RULE
        .report(
            low.at,
            format!(
                "node {} of `{name}` gets {} at {level}, but it needs {floor}",
                low.node,
                left(low.uv)
            ),
        )
        .label(format!("too little from node {} of `{name}` on", low.node))
        .why(format!(
            "under its floor a node loses its colours and then the data: {nodes} of port `{}` go \
             dark",
            case.port(model, plan)
        ))
        .help(help(model, plan, case));
    let node = model.node_of(low.string);
    let finding = match node.map(|node| (node, node.floor)) {
        Some((_, Some(floor_told))) => finding.and(floor_told.at, format!("{floor} set here")),
        Some((node, None)) => {
            finding.and_if(node.volts.map(|volts| volts.at), format!("works down to {floor}"))
        }
        None => finding,
    };
    let Some((at, _)) = feed else { return finding };
    let finding = finding.and(at, "fed from here");
    let text: String = case
        .inject()
        .iter()
        .map(|remedy| format!("\n{}", inject_statement(model, remedy)))
        .collect();
    if text.is_empty() {
        return finding;
    }
    let edit = Edit { span: Span::new(at.end, at.end), text };
    finding.suggest("feed it in more places", vec![edit])
}

/// Lines of one controller with nodes under their floor at full level only: the worst of them, and
/// how many others there are.
#[must_use]
pub fn at_full(model: &Model, case: &Case<'_>, others: usize) -> Diagnostic {
    let low = &case.low;
    let name = words::shown(&model.name_of(low.string));
    let floor = quantity(low.floor_uv / 1_000, Dimension::Voltage);
    let more = match others {
        0 => String::new(),
        others => format!(" (and nodes of {})", counted(others, "more line")),
    };
    let add = added(model, case.inject(), "tinsel power FILE --suggest --at 100");
    let help = if add.is_empty() {
        "test with one colour or a few nodes at a time".to_owned()
    } else {
        format!("test with one colour at a time, or {add}")
    };
    RULE.report(
        low.at,
        format!(
            "at full level node {} of `{name}`{more} would get {}, but it needs {floor}",
            low.node,
            left(low.uv)
        ),
    )
    .label("enough at the level that is allowed, not at full level")
    .why(
        "a controller's own test pattern lights everything in full, and then looks as if nodes \
             were broken",
    )
    .help(help)
    .weighing(Severity::Advice)
}

/// At most this many statements are written out in a help; for more it names the command.
const MOST_WRITTEN: usize = 4;

/// Which injections to add, in words; empty for none.
fn added(model: &Model, remedies: &[Remedy], command: &str) -> String {
    match remedies.len() {
        0 => String::new(),
        count if count > MOST_WRITTEN => {
            format!("add the {count} `inject` statements that `{command}` writes")
        }
        _ => format!("add {}", words::list(&ticked(model, remedies), "and")),
    }
}

fn help(model: &Model, plan: &Plan, case: &Case<'_>) -> String {
    let Some(cure) = &case.cure else {
        return "feed it in more places: `tinsel power FILE --suggest` writes the statements"
            .into();
    };
    if let Some(other) = case.told_at {
        let port = port_of(model, plan, other);
        return format!(
            "add the statements that the finding of port `{port}` gives: both lines share a lead"
        );
    }
    let mut others = Vec::new();
    if let Some(gauge) = cure.lead {
        let (size, port) = (gauge.words(), case.port(model, plan));
        others.push(format!("a lead of {size} in the `power` statement of port `{port}`"));
    }
    if let Some(level) = cure.level {
        let level = quantity(i64::from(level), Dimension::Share);
        others.push(format!("`dim to {level}` for port `{}`", case.port(model, plan)));
    }
    let others = words::list(&others, "or");
    let inject = added(model, &cure.inject, "tinsel power FILE --suggest");
    let why = || {
        let cut = "cut the line into several, each on a port and supply of its own".to_owned();
        let why = cure.why_not.as_deref();
        why.map_or(cut, |why| format!("no injection helps: {why}"))
    };
    match (inject.is_empty(), others.is_empty()) {
        (false, false) => format!("{inject}; or use {others}"),
        (false, true) => inject,
        (true, false) => match cure.why_not {
            Some(_) => format!("use {others}; {}", why()),
            None => format!("use {others}, or {}", why()),
        },
        (true, true) => why(),
    }
}

fn ticked(model: &Model, remedies: &[Remedy]) -> Vec<String> {
    let statements = remedies.iter().map(|remedy| inject_statement(model, remedy));
    statements.map(|statement| format!("`{statement}`")).collect()
}
