//! How full a display is: each port at its frame rate, each controller, how good the picked ports
//! are; and where an addition would go.
//!
//! All ports are listed, also unused ones. What a port has left is counted in nodes like the last
//! one on it; an unused port is taken to get nodes of the slowest make that it drives.

mod added;

pub use added::{Added, Addition};

use super::{frame_rate, named};
use crate::limits::{NodeTime, PortLimit, reserved_slots};
use crate::model::{Controller, ControllerId, Model, Output, PortSettings, Start};
use crate::plan::{Plan, PortPlan};
use crate::table::{Column, Decimal, Face, Head, Kind, Part, Row, Survey, Table, columns};
use crate::unit::counted;
use crate::usage::{self, output_name};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

/// Everything that `tinsel fit` prints.
#[derive(Debug)]
pub struct Fit {
    /// The display's name; may be empty.
    display: String,
    /// Frames a second.
    frame_rate: Decimal,
    /// How many pixel ports are used, and how good that is known to be.
    found: Found,
    /// Ports and DMX outputs by controller, pixel ports first, each by number.
    ports: Vec<PortRow>,
    /// Controllers as declared.
    controllers: Vec<ControllerRow>,
    /// Where the addition would go.
    pub added: Option<Added>,
}

/// How good the picked ports are.
#[derive(Debug)]
struct Found {
    ports_used: u64,
    ports_at_least: Option<u64>,
    lead_m: Option<Decimal>,
    least_lead: Option<bool>,
    apart: Option<u64>,
    not_side_by_side: Option<u64>,
    ports_for_neighbours: Option<u64>,
    finished: Option<bool>,
    prefer: &'static str,
}

impl Row for Found {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            number "ports_used" "Pixel ports with something on them." => row.ports_used;
            number "ports_at_least"
                "Proven: no fewer are possible, what a `wire` gives a port staying there. Null \
                 where the compiler picked none, or did not search."
                => row.ports_at_least, maybe;
            decimal "lead_m"
                "Straight lines from props to where their picked ports come out, in metres, where \
                 both places are known."
                => row.lead_m, maybe;
            flag "least_lead" "Whether it is proven that no less lead is possible."
                => row.least_lead, maybe;
            number "apart" "Props with picked ports on more than one controller."
                => row.apart, maybe;
            number "not_side_by_side"
                "Props on one controller whose strings do not hang on neighbouring ports in order."
                => row.not_side_by_side, maybe;
            number "ports_for_neighbours"
                "Ports that hanging props side by side costs, as far as the search found."
                => row.ports_for_neighbours, maybe;
            flag "finished"
                "Whether the search ended by itself; otherwise it gave up when its steps ran out."
                => row.finished, maybe;
            text "prefer" "What the picker looks at first, once each prop is on one controller."
                => row.prefer;
        }
    }
}

impl Found {
    /// How many ports are used and how good that is known to be, in words.
    fn words(&self) -> Vec<String> {
        let mut parts = vec![format!("{} used", counted(self.ports_used, "port"))];
        if let Some(least) = self.ports_at_least {
            let proven = self.ports_used <= least;
            let any = if proven { "" } else { " in any order" };
            parts.push(format!("no fewer than {least} possible{any}"));
            let end = match self.finished {
                Some(true) => "ended by itself",
                _ => "gave up when its steps ran out",
            };
            if !proven {
                parts.push(format!("the search with {} first {end}", self.prefer));
            }
        }
        if let Some(more) = self.ports_for_neighbours.filter(|more| *more > 0) {
            let more = counted(more, "port");
            parts
                .push(format!("{more} more than `prefer fewest ports` to hang props side by side"));
        }
        if let Some(not) = self.not_side_by_side.filter(|not| *not > 0) {
            parts.push(format!("{} not side by side", counted(not, "prop")));
        }
        if let (Some(lead), Some(least)) = (self.lead_m, self.least_lead)
            && lead.value > 0
        {
            let no_less = if least { ", no less possible" } else { "" };
            parts.push(format!("{} m of leads as the crow flies{no_less}", lead.words()));
        }
        if let Some(apart) = self.apart.filter(|apart| *apart > 0) {
            parts.push(format!("{} on more than one controller", counted(apart, "prop")));
        }
        parts
    }
}

/// The state of an output.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum State {
    /// Something hangs on it.
    Used,
    /// Nothing hangs on it.
    Free,
    /// It is reserved for something else.
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
#[derive(Debug)]
struct PortRow {
    controller: String,
    port: String,
    state: State,
    strings: u64,
    used: u64,
    limit: Option<u64>,
    left: Option<u64>,
    unit: &'static str,
}

impl PortRow {
    /// Its state where it is not used; else what it counts, if not nodes.
    fn what(&self) -> &'static str {
        match (self.state, self.unit) {
            (State::Used, "nodes") => "",
            (State::Used, unit) => unit,
            (state, _) => state.word(),
        }
    }
}

impl Row for PortRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            people "port" => format!("{}.{}", row.controller, row.port);
            text "controller" "Its controller." => &row.controller;
            text "port" "Its number; `dmx1` for a DMX output." => &row.port;
            text "state" "Whether it is `used`, `free` or `reserved`." => row.state.word();
            number "strings" "Strings or fixtures on it." => row.strings, shown("strings");
            number "used"
                "Nodes on it, skips included; slots of a DMX output or of a port that counts \
                 slots."
                => row.used, shown("used");
            number "limit"
                "The most it takes: the smaller of its limit and what a frame has time for. Null \
                 where nothing limits it."
                => row.limit, maybe, shown("limit");
            number "left" "What is left of that." => row.left, maybe, shown("left");
            text "unit" "What is counted: `nodes` or `slots`." => row.unit;
            people "" => row.what();
        }
    }

    fn group(&self) -> &str {
        &self.controller
    }
}

/// A controller.
#[derive(Debug)]
struct ControllerRow {
    controller: String,
    ports: u64,
    ports_used: u64,
    ports_left: u64,
    dmx: u64,
    dmx_left: u64,
    nodes: u64,
    nodes_left: Option<u64>,
    universes: u64,
    universes_left: u64,
}

impl Row for ControllerRow {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "controller" "Its name." => &row.controller, shown("controller");
            number "ports" "Its pixel ports." => row.ports, shown("ports");
            number "ports_used" "Those with something on them." => row.ports_used, shown("used");
            number "ports_left" "Those that are free and not reserved."
                => row.ports_left, shown("left");
            number "dmx" "Its DMX outputs." => row.dmx;
            number "dmx_left" "Those that are free and not reserved." => row.dmx_left;
            people "dmx left" => (row.dmx > 0).then_some(row.dmx_left), right;
            number "nodes" "Nodes on its ports, skips included." => row.nodes, shown("nodes");
            number "nodes_left" "Nodes that its ports have left; null where a port has no limit."
                => row.nodes_left, maybe, shown("nodes left");
            number "universes" "Universes that it listens to."
                => row.universes, shown("universes");
            number "universes_left"
                "How many it can grow by: up to its own limit, to what begins after it, or to the \
                 last there is."
                => row.universes_left, shown("more");
        }
    }
}

impl Fit {
    /// How full a compiled display is.
    #[must_use]
    pub fn of(model: &Model, plan: &Plan) -> Self {
        let ports = ports(model, plan);
        Self {
            display: model.display.name.to_string(),
            frame_rate: frame_rate(model.display.frame_rate_mhz),
            found: found(model, plan),
            controllers: controllers(model, plan, &ports),
            ports: ports.into_iter().map(|(_, row)| row).collect(),
            added: None,
        }
    }

    /// What `tinsel fit` prints. With an addition, people and sheets get that alone.
    #[must_use]
    pub fn survey(&self) -> Survey<'_> {
        const PROGRAMS: &[Face] = &[Face::Programs];
        const ALL: &[Face] = &[Face::Programs, Face::Sheets, Face::People];
        let faces = if self.added.is_none() { ALL } else { PROGRAMS };
        let name = Head::new("display", Kind::Text, "The display's name; may be empty.");
        let rate = Head::new("frame_rate_hz", Kind::Decimal, "Frames a second.");
        let mut words = self.found.words();
        words.push(format!("{} Hz", self.frame_rate.words()));
        let ports = "Ports and DMX outputs by controller, pixel ports first, each by number.";
        let ports = Table::list("ports", ports, &self.ports).only(faces);
        let controllers = Table::list("controllers", "Controllers as declared.", &self.controllers);
        let added = "Where the addition would go; null where nothing is to be added.";
        let added = Head::new("added", Kind::Text, added).maybe();
        let parts = vec![
            Part::Value(name, (&self.display).into()),
            Part::Value(rate, self.frame_rate.into()),
            Part::object("found", "How good the picked ports are.", &self.found),
            Part::Words(format!("{}{}", named(&self.display), words.join(", "))),
            Part::Table(ports),
            Part::Table(controllers.only(faces)),
            Part::Group(added, self.added.as_ref().map(Added::parts)),
        ];
        Survey { title: "how full it is".to_owned(), parts }
    }
}

fn found(model: &Model, plan: &Plan) -> Found {
    let pixel = |port: &&PortPlan| matches!(port.output, Output::Pixel(_));
    let used = plan.ports.iter().filter(pixel).count() as u64;
    let picked = plan.picked;
    Found {
        ports_used: used,
        ports_at_least: picked.map(|picked| (used + picked.bound).saturating_sub(picked.opened)),
        lead_m: picked.map(|picked| Decimal::new(picked.lead_dm, 10)),
        least_lead: picked.map(|picked| picked.least_lead),
        apart: picked.map(|picked| picked.split),
        not_side_by_side: picked.map(|picked| picked.apart),
        ports_for_neighbours: picked.map(|picked| picked.opened.saturating_sub(picked.fewest)),
        finished: picked.map(|picked| picked.finished),
        prefer: model.display.prefer.map_or("side by side", |told| told.value.words()),
    }
}

/// Every output with its row.
fn ports(model: &Model, plan: &Plan) -> Vec<((ControllerId, Output), PortRow)> {
    let used: BTreeMap<(ControllerId, Output), &PortPlan> =
        plan.ports.iter().map(|port| ((port.controller, port.output), port)).collect();
    let whole = model.reserved_outputs.iter();
    let whole = whole.filter(|row| row.slots.is_none());
    let reserved: BTreeSet<(ControllerId, Output)> =
        whole.map(|row| (row.controller, row.output)).collect();
    let kept = reserved_slots(model);
    let mut slowest = Slowest::default();
    let mut rows = Vec::new();
    for (id, controller) in model.controllers.pairs() {
        let pixel = controller.ports.iter().map(|port| Output::Pixel(port.number));
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
            let mut row = port_row(model, (id, output), plan, state, time);
            let kept = kept.get(&(id, output)).copied().unwrap_or(0);
            row.left = row.left.map(|left| left.saturating_sub(kept));
            rows.push(((id, output), row));
        }
    }
    rows
}

fn port_row(
    model: &Model,
    (id, output): (ControllerId, Output),
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
        (None, Output::Dmx(_), _) => Some(model.display.universe_slots.each()),
        (None, _, PortLimit::Slots(most)) => Some(u64::from(most.value)),
        (None, Output::Pixel(_), limit) => match limit {
            PortLimit::Nodes(most) => Some(time.map_or(most.value, |time| time.min(most.value))),
            PortLimit::Time | PortLimit::Slots(_) => time,
        }
        .map(u64::from),
    };
    let most = most.filter(|_| state != State::Reserved);
    PortRow {
        controller: model.controllers[id].name.to_string(),
        port: output.name(),
        state,
        strings,
        used,
        limit: most,
        left: most.map(|most| most.saturating_sub(used)),
        unit: if slots { "slots" } else { "nodes" },
    }
}

/// How many nodes a frame has time for, by port settings. Many ports share theirs, so each is
/// computed once.
#[derive(Default)]
struct Slowest(HashMap<*const PortSettings, Option<u32>>);

impl Slowest {
    /// The most nodes in a frame, of the slowest make that a port drives.
    fn of(&mut self, model: &Model, controller: &Controller, number: u32) -> Option<u32> {
        let settings = &controller.port(number)?.settings;
        let known = self.0.entry(Arc::as_ptr(settings));
        *known.or_insert_with(|| slowest(model, settings))
    }
}

fn slowest(model: &Model, settings: &PortSettings) -> Option<u32> {
    let driven = |chip: &crate::model::Stated<crate::model::ChipId>| {
        let mut driven = settings.chips.iter();
        settings.chips.is_empty() || driven.any(|one| one.value == chip.value)
    };
    let makes = model.nodes.iter().filter(|node| node.chip.as_ref().is_none_or(driven));
    makes.filter_map(|node| NodeTime::of_kind(model, node).most(model.display.frame_rate_mhz)).min()
}

fn controllers(
    model: &Model,
    plan: &Plan,
    ports: &[((ControllerId, Output), PortRow)],
) -> Vec<ControllerRow> {
    let begins = begins(model, plan);
    let mut rows = Vec::new();
    for (id, controller) in model.controllers.pairs() {
        if controller.stock && plan.ports_of(id).is_empty() {
            continue;
        }
        // Ports come by controller.
        let from = ports.partition_point(|((of, _), _)| *of < id);
        let to = ports.partition_point(|((of, _), _)| *of <= id);
        let own = || ports.get(from..to).unwrap_or(&[]).iter();
        let of = |dmx: bool| {
            let rows =
                own().filter(move |((_, output), _)| matches!(output, Output::Dmx(_)) == dmx);
            rows.map(|(_, row)| row)
        };
        let (pixel, dmx) = (|| of(false), || of(true));
        let count = |dmx, state| of(dmx).filter(|row| row.state == state).count() as u64;
        let nodes = || pixel().filter(|row| row.unit == "nodes");
        let left = nodes().filter(|row| row.state != State::Reserved).map(|row| row.left);
        let heard = usage::heard(model, plan, id).len() as u64;
        rows.push(ControllerRow {
            controller: controller.name.to_string(),
            ports: pixel().count() as u64,
            ports_used: count(false, State::Used),
            ports_left: count(false, State::Free),
            dmx: dmx().count() as u64,
            dmx_left: count(true, State::Free),
            nodes: nodes().map(|row| row.used).sum(),
            nodes_left: left.sum(),
            universes: heard,
            universes_left: universes_left(model, plan, &begins, id, heard),
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

/// How many more universes a controller can have. It listens to `heard` of them; `begins` has where
/// universes in use and reserved ones begin.
fn universes_left(model: &Model, plan: &Plan, begins: &[u32], id: ControllerId, heard: u64) -> u64 {
    let (own, controller) = (&plan.controllers[id], &model.controllers[id]);
    let last = own.universes.map_or(own.begins.saturating_sub(1), |(_, last)| last);
    // Its own first universe is never after its last, so this is another's.
    let next = begins.get(begins.partition_point(|first| *first <= last)).copied();
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
