//! How full a display is: each port at its frame rate, each controller, how good the picked ports are; and where
//! something that is not in it yet would go.
//!
//! All ports stand here, those that nothing hangs on too. What a port has left is counted in nodes like the last on it;
//! an empty one is taken to get nodes of the slowest make of the display that it drives.

mod added;
mod write;

pub use added::{Added, AddedRow, Addition, MoveRow};
pub use write::{FORMATS, write};

use super::row::Figure;
use crate::limits::{NodeTime, PortLimit};
use crate::model::{Controller, ControllerId, Model, Output, PortSettings, Start};
use crate::plan::{Plan, PortPlan};
use crate::usage::{self, output_name};
use schemars::JsonSchema;
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

/// All of it.
#[derive(Serialize, JsonSchema, Clone, PartialEq, Debug)]
#[schemars(title = "tinsel fit")]
pub struct Fit {
    /// The display's name; may be empty.
    pub display: String,
    /// Frames a second.
    pub frame_rate_hz: Figure,
    /// How many pixel ports are used, and what is known of that.
    pub found: FoundRow,
    /// Ports and DMX outputs by controller, pixel ports first, each by number.
    pub ports: Vec<PortRow>,
    /// Controllers as declared.
    pub controllers: Vec<ControllerRow>,
    /// Where the addition would go; null where nothing is to be added.
    pub added: Option<Added>,
}

/// How good the picked ports are.
#[derive(Serialize, JsonSchema, Clone, PartialEq, Eq, Debug)]
pub struct FoundRow {
    /// Pixel ports with something on them.
    pub ports_used: u64,
    /// Proven: no fewer are possible, what a `wire` gives a port staying there. Null where the compiler picked none, or
    /// did not search.
    pub ports_at_least: Option<u64>,
    /// Straight lines from props to where their picked ports come out, in metres, where both places are known.
    pub lead_m: Option<Figure>,
    /// Whether it is proven that with so many ports no less lead is possible.
    pub least_lead: Option<bool>,
    /// Props with picked ports on more than one controller.
    pub apart: Option<u64>,
    /// Props on one controller whose strings do not hang on neighbouring ports in order.
    pub not_side_by_side: Option<u64>,
    /// Ports that hanging props side by side costs, as far as the search found.
    pub ports_for_neighbours: Option<u64>,
    /// Whether the search ended by itself; otherwise it gave up when its steps ran out.
    pub finished: Option<bool>,
    /// What the picker looks at first, once each prop is on one controller.
    pub prefer: &'static str,
}

/// What a port is.
#[derive(Serialize, JsonSchema, Clone, Copy, PartialEq, Eq, Debug)]
#[serde(rename_all = "lowercase")]
pub enum State {
    /// Something hangs on it.
    Used,
    /// Nothing does.
    Free,
    /// It is kept for something else.
    Reserved,
}

impl State {
    fn word(self) -> &'static str {
        match self {
            Self::Used => "used",
            Self::Free => "free",
            Self::Reserved => "reserved",
        }
    }
}

/// A port or DMX output.
#[derive(Serialize, JsonSchema, Clone, PartialEq, Eq, Debug)]
pub struct PortRow {
    /// Its controller.
    pub controller: String,
    /// Its number; `dmx1` for a DMX output.
    pub port: String,
    /// Whether it is used.
    pub state: State,
    /// Strings or fixtures on it.
    pub strings: u64,
    /// Nodes on it, skips included; slots of a DMX output or of a port that counts slots.
    pub used: u64,
    /// The most it takes: the smaller of its limit and what a frame has time for. Null where nothing limits it.
    pub limit: Option<u64>,
    /// What is left of that.
    pub left: Option<u64>,
    /// What is counted: `nodes` or `slots`.
    pub unit: &'static str,
}

/// A controller.
#[derive(Serialize, JsonSchema, Clone, PartialEq, Eq, Debug)]
pub struct ControllerRow {
    /// Its name.
    pub controller: String,
    /// Its pixel ports.
    pub ports: u64,
    /// Those with something on them.
    pub ports_used: u64,
    /// Those that are free and not reserved.
    pub ports_left: u64,
    /// Its DMX outputs.
    pub dmx: u64,
    /// Those that are free and not reserved.
    pub dmx_left: u64,
    /// Nodes on its ports, skips included.
    pub nodes: u64,
    /// Nodes that its ports have left; null where a port has no limit.
    pub nodes_left: Option<u64>,
    /// Universes from its first to its last in use.
    pub universes: u64,
    /// How many it can grow by: up to its own limit, to what begins behind it, or to the last there is.
    pub universes_left: u64,
}

impl Fit {
    /// Of a compiled display.
    #[must_use]
    pub fn of(model: &Model, plan: &Plan) -> Self {
        let ports = ports(model, plan);
        Self {
            display: model.display.name.to_string(),
            frame_rate_hz: Figure {
                value: model.display.frame_rate_mhz,
                per: 1_000,
            },
            found: found(model, plan),
            controllers: controllers(model, plan, &ports),
            ports: ports.into_iter().map(|(_, row)| row).collect(),
            added: None,
        }
    }
}

fn found(model: &Model, plan: &Plan) -> FoundRow {
    let pixel = |port: &&PortPlan| matches!(port.output, Output::Pixel(_));
    let used = plan.ports.iter().filter(pixel).count() as u64;
    let picked = plan.picked;
    FoundRow {
        ports_used: used,
        ports_at_least: picked.map(|picked| (used + picked.bound).saturating_sub(picked.opened)),
        lead_m: picked.map(|picked| Figure {
            value: picked.lead_dm,
            per: 10,
        }),
        least_lead: picked.map(|picked| picked.least_lead),
        apart: picked.map(|picked| picked.split),
        not_side_by_side: picked.map(|picked| picked.apart),
        ports_for_neighbours: picked.map(|picked| picked.opened.saturating_sub(picked.fewest)),
        finished: picked.map(|picked| picked.finished),
        prefer: model
            .display
            .prefer
            .map_or("side by side", |told| told.value.words()),
    }
}

/// Every output with its row.
fn ports(model: &Model, plan: &Plan) -> Vec<((ControllerId, Output), PortRow)> {
    let used: BTreeMap<(ControllerId, Output), &PortPlan> = plan
        .ports
        .iter()
        .map(|port| ((port.controller, port.output), port))
        .collect();
    let whole = model.reserved_outputs.iter();
    let whole = whole.filter(|row| row.slots.is_none());
    let reserved: BTreeSet<(ControllerId, Output)> =
        whole.map(|row| (row.controller, row.output)).collect();
    let mut slowest = Slowest::default();
    let mut rows = Vec::new();
    for (index, controller) in model.controllers.iter().enumerate() {
        let id = ControllerId::from(index);
        let pixel = controller
            .ports
            .iter()
            .map(|port| Output::Pixel(port.number));
        let dmx = controller.dmx.iter().map(|dmx| Output::Dmx(dmx.value));
        for output in pixel.chain(dmx) {
            let plan = used.get(&(id, output)).copied();
            let state = match plan {
                Some(_) => State::Used,
                None if reserved.contains(&(id, output)) => State::Reserved,
                None => State::Free,
            };
            if controller.stock && plan.is_none() {
                continue;
            }
            let time = match (plan, output) {
                (None, Output::Pixel(number)) => slowest.of(model, controller, number),
                _ => None,
            };
            rows.push((
                (id, output),
                port_row(model, (id, controller), output, plan, state, time),
            ));
        }
    }
    rows
}

fn port_row(
    model: &Model,
    (id, controller): (ControllerId, &Controller),
    output: Output,
    plan: Option<&PortPlan>,
    state: State,
    time: Option<u32>,
) -> PortRow {
    let limit = match output {
        Output::Dmx(_) => PortLimit::Time,
        Output::Pixel(number) => {
            let in_use = plan.into_iter().flat_map(|plan| &plan.pieces);
            let first = model.receivers_of(id, number).map(|(id, ..)| id).take(1);
            let receivers: Vec<_> = match plan {
                Some(_) => in_use.filter_map(|piece| piece.receiver).collect(),
                None => first.collect(),
            };
            PortLimit::of(model, id, number, receivers.into_iter())
        }
    };
    let slots = matches!(output, Output::Dmx(_)) || matches!(limit, PortLimit::Slots(_));
    let (strings, used) = plan.map_or((0, 0), |plan| {
        let strings = plan
            .pieces
            .iter()
            .filter(|piece| matches!(piece.piece.kind, crate::model::PieceKind::String(..)));
        let nodes = u64::from(plan.nodes) + u64::from(plan.skipped);
        let used = if slots { u64::from(plan.slots) } else { nodes };
        (strings.count() as u64, used)
    });
    let most = match (plan, output, limit) {
        (Some(plan), ..) => plan.limit.map(u64::from),
        (None, Output::Dmx(_), _) => Some(u64::from(model.display.universe_slots)),
        (None, _, PortLimit::Slots(most)) => Some(u64::from(most.value)),
        (None, Output::Pixel(_), limit) => match limit {
            PortLimit::Nodes(most) => Some(time.map_or(most.value, |time| time.min(most.value))),
            PortLimit::Time | PortLimit::Slots(_) => time,
        }
        .map(u64::from),
    };
    let most = most.filter(|_| state != State::Reserved);
    PortRow {
        controller: controller.name.to_string(),
        port: output.name(),
        state,
        strings,
        used,
        limit: most,
        left: most.map(|most| most.saturating_sub(used)),
        unit: if slots { "slots" } else { "nodes" },
    }
}

/// How many nodes a frame has time for, by the settings of ports: many ports share theirs.
#[derive(Default)]
struct Slowest(HashMap<*const PortSettings, Option<u32>>);

impl Slowest {
    /// Of the slowest make that a port drives.
    fn of(&mut self, model: &Model, controller: &Controller, number: u32) -> Option<u32> {
        let settings = &controller.port(number)?.settings;
        let known = self.0.entry(Arc::as_ptr(settings));
        *known.or_insert_with(|| slowest(model, settings))
    }
}

fn slowest(model: &Model, settings: &PortSettings) -> Option<u32> {
    let driven = |chip: &crate::model::Told<crate::model::ChipId>| {
        let mut driven = settings.chips.iter();
        settings.chips.is_empty() || driven.any(|one| one.value == chip.value)
    };
    let makes = model
        .nodes
        .iter()
        .filter(|node| node.chip.as_ref().is_none_or(driven));
    makes
        .filter_map(|node| NodeTime::of_kind(model, node).most(model.display.frame_rate_mhz))
        .min()
}

fn controllers(
    model: &Model,
    plan: &Plan,
    ports: &[((ControllerId, Output), PortRow)],
) -> Vec<ControllerRow> {
    let begins = begins(model, plan);
    let mut rows = Vec::new();
    for (index, controller) in model.controllers.iter().enumerate() {
        let id = ControllerId::from(index);
        if controller.stock
            && plan
                .controllers
                .get(index)
                .is_none_or(|c| c.ports.is_empty())
        {
            continue;
        }
        // Ports come by controller.
        let from = ports.partition_point(|((of, _), _)| *of < id);
        let to = ports.partition_point(|((of, _), _)| *of <= id);
        let own = || ports.get(from..to).unwrap_or(&[]).iter();
        let pixel = || {
            own().filter_map(|((_, output), row)| matches!(output, Output::Pixel(_)).then_some(row))
        };
        let dmx = || {
            own().filter_map(|((_, output), row)| matches!(output, Output::Dmx(_)).then_some(row))
        };
        let nodes = || pixel().filter(|row| row.unit == "nodes");
        let left = nodes()
            .filter(|row| row.state != State::Reserved)
            .map(|row| row.left);
        let heard = usage::heard(model, plan, id).len() as u64;
        rows.push(ControllerRow {
            controller: controller.name.to_string(),
            ports: pixel().count() as u64,
            ports_used: pixel().filter(|row| row.state == State::Used).count() as u64,
            ports_left: pixel().filter(|row| row.state == State::Free).count() as u64,
            dmx: dmx().count() as u64,
            dmx_left: dmx().filter(|row| row.state == State::Free).count() as u64,
            nodes: nodes().map(|row| row.used).sum(),
            nodes_left: left.sum(),
            universes: heard,
            universes_left: universes_left(model, plan, &begins, index, heard),
        });
    }
    rows
}

/// Where universes in use and reserved ones begin, in order.
fn begins(model: &Model, plan: &Plan) -> Vec<u32> {
    let used = plan.controllers.iter();
    let used = used.filter_map(|plan| plan.universes.map(|(first, _)| first));
    let reserved = model.reserved_universes.iter().map(|row| row.first);
    let mut begins: Vec<u32> = used.chain(reserved).collect();
    begins.sort_unstable();
    begins
}

/// Universes that a controller can grow by, which listens to this many; `begins` says where others begin.
fn universes_left(model: &Model, plan: &Plan, begins: &[u32], index: usize, heard: u64) -> u64 {
    let (Some(own), Some(controller)) = (plan.controllers.get(index), model.controllers.get(index))
    else {
        return 0;
    };
    let last = own
        .universes
        .map_or(own.begins.saturating_sub(1), |(_, last)| last);
    // Its own first is not after its last.
    let next = begins
        .get(begins.partition_point(|first| *first <= last))
        .copied();
    let end = next.map_or(*crate::protocol::UNIVERSES.end(), |next| next - 1);
    let range = match controller.start {
        Start::Range(_, last) => last,
        Start::Auto | Start::From(_) | Start::After(_) => u32::MAX,
    };
    let free = u64::from(end.min(range).saturating_sub(last));
    let most = controller
        .most_universes
        .map_or(u64::MAX, |most| u64::from(most.value).saturating_sub(heard));
    free.min(most)
}

/// The full name of a port, as in `boathouse.3`.
fn port_name(model: &Model, port: &PortPlan) -> String {
    output_name(model, port.controller, port.output)
}
