//! Nodes whose power could not be checked, with the reason.

use super::net::Nets;
use super::study::Levels;
use crate::diagnostic::Diagnostic;
use crate::keyed::Keyed;
use crate::loads::{From, SectionId, Study};
use crate::model::{Model, Output, PieceKind, StringId};
use crate::plan::{Plan, PortPlan};
use crate::rules::power::unchecked::{Reason, reasons};
use crate::source::Span;

/// How many nodes could not be checked, and why. `long` says for each stretch whether it is too
/// long to be solved.
pub fn finding(
    model: &Model,
    plan: &Plan,
    nets: &Nets,
    long: &Keyed<SectionId, bool>,
    study: &Study,
) -> Option<Diagnostic> {
    let mut found = settings(model, plan);
    let [mut too_long, mut too_many, mut no_volts]: [Count; 3] = Default::default();
    let known = Levels::new(model, nets, &[], None).held;
    for (id, stretch) in nets.stretches.pairs() {
        let lit = stretch.runs.iter().filter(|run| run.lit);
        let nodes = lit.map(|run| u64::from(run.count)).sum();
        let at = stretch.at.unwrap_or_default();
        if long[id] {
            too_long.add(nodes, at);
        } else if study.sections[id].left_out && !stretch.left_out && stretch.from != From::Nothing
        {
            let count = if known[id] { &mut too_many } else { &mut no_volts };
            count.add(nodes, at);
        }
    }
    found.extend(no_volts.reason("without a known voltage", Some("`volts`")));
    found.extend(too_long.reason("on lines too long to solve", None));
    let together = "on lines with too many nodes or supplies to solve together";
    found.extend(too_many.reason(together, None));
    reasons(&found)
}

#[derive(Default)]
struct Count {
    nodes: u64,
    at: Option<Span>,
}

impl Count {
    fn add(&mut self, nodes: u64, at: Span) {
        self.nodes = self.nodes.saturating_add(nodes);
        self.at = self.at.or(Some(at));
    }

    fn reason(self, what: &'static str, setting: Option<&'static str>) -> Option<Reason> {
        let at = self.at.filter(|_| self.nodes > 0)?;
        Some(Reason { what, setting, nodes: self.nodes, at })
    }
}

/// Reasons for nodes that do not state draw, pitch or conductor.
fn settings(model: &Model, plan: &Plan) -> Vec<Reason> {
    let mut counts: [Count; 3] = Default::default();
    for (id, drop) in strings(model, plan) {
        let Some(node) = model.node_of(id) else {
            continue;
        };
        let unknown = [
            node.draw.is_none() && node.idle_ua == 0,
            drop && node.pitch_um.is_none(),
            node.gauge.is_none(),
        ];
        for (count, _) in counts.iter_mut().zip(unknown).filter(|(_, unknown)| *unknown) {
            count.add(u64::from(model.shape(id).nodes), node.at);
        }
    }
    let [draw, pitch, gauge] = counts;
    let found = [
        draw.reason("without `draw`", Some("`draw`")),
        pitch.reason("without `pitch`", Some("`pitch`")),
        gauge.reason("without `gauge`", Some("`gauge`")),
    ];
    found.into_iter().flatten().collect()
}

/// The strings that are put up and whose power is checked, each with whether voltages are.
fn strings<'a>(model: &'a Model, plan: &'a Plan) -> impl Iterator<Item = (StringId, bool)> {
    let supplies = !model.supplies.is_empty();
    let fused = move |port: &PortPlan, receiver| match port.output {
        Output::Pixel(number) => {
            let settings = model.port_settings(port.controller, number, receiver);
            settings.is_some_and(|settings| settings.fuse.is_some())
        }
        Output::Dmx(_) => false,
    };
    let ports = plan.ports.iter();
    let pieces = ports.flat_map(|port| port.pieces.iter().map(move |piece| (port, piece)));
    pieces.filter_map(move |(port, piece)| {
        let PieceKind::String(id, _) = piece.piece.kind else {
            return None;
        };
        let asked = model.is_up(id) && (supplies || fused(port, piece.receiver));
        asked.then_some((id, supplies))
    })
}
