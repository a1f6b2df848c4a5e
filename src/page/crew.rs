//! What the crew sees of a display: each data line with everything on it in order.
//!
//! It is made once from model and plan. All parts and sheets read it, so that they count alike.

use crate::Compiled;
use crate::model::{
    Controller, ControllerId, FeedLead, InjectAt, Injection, Model, NodeKind, Output, PieceKind,
    PowerFeed, Prop, Receiver, ReceiverId, Shape, StringDef, StringId,
};
use crate::plan::{Plan, PortPlan};
use crate::protocol::UniverseSlots;
use crate::survey::{PortRow, StringRow, View};
use crate::unit::{self, Dimension, Gauge, quantity};
use crate::usage::output_name;
use std::collections::BTreeMap;

/// A display as its pages and sheets need it.
pub struct Crew<'a> {
    /// What was compiled.
    pub compiled: &'a Compiled,
    /// Its tables.
    pub view: View<'a>,
    /// Its data lines, by controller as declared, pixel ports first, by number.
    pub lines: Vec<CableLine<'a>>,
    injections: BTreeMap<StringId, Vec<&'a Injection>>,
}

/// One used output and everything on it.
pub struct CableLine<'a> {
    /// Its place among all lines, from 0. Links name the line by it.
    pub index: usize,
    /// Its name: `boathouse.3`.
    pub name: String,
    /// Its controller.
    pub controller: &'a Controller,
    /// The output as planned.
    pub plan: &'a PortPlan,
    /// Its row of the table.
    pub row: PortRow<'a>,
    /// Strings, skips and leads in data order.
    pub items: Vec<Item<'a>>,
}

/// Something on a data line.
pub enum Item<'a> {
    /// From here on the line hangs on this receiver, at this port of it; then its id.
    Receiver(&'a Receiver, u32, ReceiverId),
    /// Cable, in micrometres, and its conductor where that is known.
    Lead(i64, Option<Gauge>),
    /// Nodes that show nothing; the place of the first in the data line, from 1.
    Skip(u32, u32),
    /// A string or fixture.
    String(Box<Hung<'a>>),
    /// The cable ends here: the last plug stays free.
    End,
}

/// What a plug of a string goes into.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Plug {
    /// A controller's output, by its name.
    Port(String),
    /// A port of a receiver, by its name.
    Receiver(String),
    /// The next string or fixture on the cable, by its name; leads and skipped nodes may lie
    /// between.
    String(String),
    /// Nothing: the cable ends.
    End,
}

impl Plug {
    /// What the plug goes into, in words: `port barn.4`, `receiver pond.1`, `owl[2]`,
    /// `end of line`.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Port(name) => format!("port {name}"),
            Self::Receiver(name) => format!("receiver {name}"),
            Self::String(name) => name.clone(),
            Self::End => "end of line".to_owned(),
        }
    }
}

/// Where the two ends of a string go.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Plugs {
    /// Where its data come from.
    pub from: Plug,
    /// Where its data go on to.
    pub to: Plug,
}

/// A string or fixture where it hangs.
pub struct Hung<'a> {
    /// Which one.
    pub id: StringId,
    /// Its definition.
    pub string: &'a StringDef,
    /// Its prop.
    pub prop: &'a Prop,
    /// Its row of the table.
    pub row: StringRow<'a>,
    /// What it is made of.
    pub shape: &'a Shape,
    /// Its make of node; `None` for a fixture.
    pub node: Option<&'a NodeKind>,
    /// Slots in a universe.
    pub slots_of_universe: UniverseSlots,
    /// Nodes of the data line before its first: those of strings with their skips, and skips of the
    /// line. Stored strings have none.
    pub before: u32,
    /// The straight distance from where its data come from to where it stands, in micrometres;
    /// `None` where a lead is written between or a place is not known.
    pub straight_um: Option<i64>,
    /// Where its ends go; `None` for a stored string, which is on no cable.
    pub plugs: Option<Plugs>,
}

impl<'a> Crew<'a> {
    /// Reads a compiled display.
    #[must_use]
    pub fn new(compiled: &'a Compiled) -> Self {
        let (model, plan) = (&compiled.model, &compiled.plan);
        let view = View::new(model, plan);
        let mut injections: BTreeMap<StringId, Vec<&Injection>> = BTreeMap::new();
        for injection in &model.injections {
            for id in &injection.strings {
                injections.entry(*id).or_default().push(injection);
            }
        }
        let mut rows = view.ports().peekable();
        let mut strings = view.strings().peekable();
        let mut lines = Vec::new();
        for port in &plan.ports {
            let controller = &model.controllers[port.controller];
            // A port without a placed string has no row.
            let same =
                |row: &PortRow<'_>| row.controller == &*controller.name && row.port == port.output;
            let Some(row) = rows.next_if(|row| same(row)) else {
                continue;
            };
            let mut own = Vec::new();
            while let Some(string) =
                strings.next_if(|s| s.controller == row.controller && s.port == port.output)
            {
                own.push(string);
            }
            let name = output_name(model, port.controller, port.output);
            lines.push(CableLine {
                index: lines.len(),
                controller,
                plan: port,
                row,
                items: plugged(items(model, plan, port, own), &name),
                name,
            });
        }
        drop((rows, strings));
        Self { compiled, view, lines, injections }
    }

    /// The model.
    #[must_use]
    pub fn model(&self) -> &'a Model {
        &self.compiled.model
    }

    /// The plan.
    #[must_use]
    pub fn plan(&self) -> &'a Plan {
        &self.compiled.plan
    }

    /// The display's name, or words for a display without one.
    #[must_use]
    pub fn title(&self) -> &'a str {
        match &*self.compiled.model.display.name {
            "" => "Display without a name",
            name => name,
        }
    }

    /// Lines by controller, in the order declared.
    pub fn by_controller(&self) -> impl Iterator<Item = &[CableLine<'a>]> {
        self.lines.chunk_by(|a, b| a.plan.controller == b.plan.controller)
    }

    /// The lines of one controller.
    #[must_use]
    pub fn lines_of(&self, id: ControllerId) -> &[CableLine<'a>] {
        let mut lines = self.by_controller();
        lines.find(|lines| lines.iter().all(|line| line.plan.controller == id)).unwrap_or(&[])
    }

    /// Every string and fixture with its line.
    pub fn hung(&self) -> impl Iterator<Item = (&CableLine<'a>, &Hung<'a>)> {
        self.lines.iter().flat_map(|line| line.strings().map(move |hung| (line, hung)))
    }

    /// The injections into a string.
    #[must_use]
    pub fn injections(&self, id: StringId) -> &[&'a Injection] {
        self.injections.get(&id).map_or(&[], Vec::as_slice)
    }

    /// The `power` statements that feed a pixel port at its controller, or at one of its receivers,
    /// in file order.
    pub fn feeds(
        &self,
        line: &CableLine<'a>,
        receiver: Option<ReceiverId>,
    ) -> impl Iterator<Item = &'a PowerFeed> {
        let (controller, output) = (line.plan.controller, line.plan.output);
        self.compiled.model.powers.iter().filter(move |feed| {
            feed.controller == controller
                && feed.receiver == receiver
                && matches!(output, Output::Pixel(port) if (feed.first..=feed.last).contains(&port))
        })
    }

    /// A lead of power in words: `supply shed through 3 m of 16 AWG, fuse 5 A`.
    #[must_use]
    pub fn lead_words(&self, lead: &FeedLead) -> String {
        let mut words = format!(
            "supply {} through {} of {}",
            self.compiled.model.supplies[lead.supply].name,
            quantity(lead.length_um, Dimension::Length),
            lead.gauge.words()
        );
        if let Some(fuse) = &lead.fuse {
            words.push_str(&format!(", fuse {}", quantity(fuse.value, Dimension::Current)));
        }
        words
    }

    /// The level of a line, in thousandths of a percent: the port's, else its controller's, else
    /// the display's.
    #[must_use]
    pub fn level(&self, line: &CableLine<'a>, receiver: Option<ReceiverId>) -> u32 {
        let own = match line.plan.output {
            Output::Pixel(port) => self
                .compiled
                .model
                .port_settings(line.plan.controller, port, receiver)
                .and_then(|s| s.dim),
            Output::Dmx(_) => None,
        };
        own.or(line.controller.dim)
            .or(self.compiled.model.display.dim)
            .map_or(100_000, |dim| dim.value)
    }
}

impl<'a> CableLine<'a> {
    /// Its strings and fixtures in data order.
    pub fn strings(&self) -> impl Iterator<Item = &Hung<'a>> {
        self.items.iter().filter_map(|item| match item {
            Item::String(hung) => Some(&**hung),
            _ => None,
        })
    }

    /// Whether it is a DMX output.
    #[must_use]
    pub fn is_dmx(&self) -> bool {
        matches!(self.plan.output, Output::Dmx(_))
    }
}

impl Hung<'_> {
    /// The socket that its cable is plugged into, if that is a port of a receiver (`pond.1`);
    /// `None` for the controller's own output.
    #[must_use]
    pub fn outlet(&self) -> Option<String> {
        let (receiver, port) = self.row.receiver?;
        Some(format!("{receiver}.{port}"))
    }

    /// The socket in words, with the controller's output that feeds it: `pond.1 (barn.4)`,
    /// `barn.4`.
    #[must_use]
    pub fn socket(&self, line: &CableLine<'_>) -> String {
        self.outlet()
            .map_or_else(|| line.name.clone(), |outlet| format!("{outlet} ({})", line.name))
    }

    /// Whether it is a fixture: it has slots and no nodes.
    #[must_use]
    pub fn is_fixture(&self) -> bool {
        self.node.is_none()
    }

    /// The nodes that it takes in the data line, with its own skips; none if it is stored.
    #[must_use]
    pub fn in_line(&self) -> u32 {
        if self.string.stored { 0 } else { self.shape.nodes.saturating_add(self.shape.skips) }
    }

    /// First and last slot as `12/1 to 12/210`.
    #[must_use]
    pub fn stretch(&self) -> String {
        let (start, end) = (self.row.start, self.row.end);
        format!("{}/{} to {}/{}", start.universe, start.slot, end.universe, end.slot)
    }
}

/// A cable's length and conductor: `4 m of 18 AWG`.
#[must_use]
pub fn cable(length_um: i64, gauge: Option<Gauge>) -> String {
    let length = quantity(length_um, Dimension::Length);
    match gauge {
        Some(gauge) => format!("{length} of {}", gauge.words()),
        None => length,
    }
}

/// Where an injection goes in, in words: `at the end, after node 50`, `at nodes 180, 360`.
#[must_use]
pub fn place_words(place: InjectAt, shape: &Shape) -> String {
    match place {
        InjectAt::Start => "at the start, before node 1".to_owned(),
        InjectAt::End => format!("at the end, after node {}", shape.nodes),
        InjectAt::Node(node) => format!("at node {node}"),
        InjectAt::EveryNodes(_) => format!("at nodes {}", places(place, shape)),
        InjectAt::EveryStrands(1) => format!("at every strand, at nodes {}", places(place, shape)),
        InjectAt::EveryStrands(strands) => {
            format!("every {strands} strands, at nodes {}", places(place, shape))
        }
    }
}

/// The node of each point of an injection, from 1; 0 stands for the start.
pub fn injection_nodes(place: InjectAt, shape: &Shape) -> impl Iterator<Item = u32> {
    let every = match place {
        InjectAt::EveryNodes(nodes) => nodes,
        InjectAt::EveryStrands(strands) => {
            strands.saturating_mul(shape.strand.unwrap_or(shape.nodes))
        }
        _ => 0,
    };
    let single = match place {
        InjectAt::Start => Some(0),
        InjectAt::End => Some(shape.nodes),
        InjectAt::Node(node) => Some(node),
        InjectAt::EveryNodes(_) | InjectAt::EveryStrands(_) => None,
    };
    let all = shape.nodes;
    let repeated = (1..)
        .map(move |at: u32| at.saturating_mul(every))
        .take_while(move |node| every > 0 && *node <= all);
    single.into_iter().chain(repeated)
}

/// The most points that are listed one by one.
const MOST_POINTS: usize = 40;

fn places(place: InjectAt, shape: &Shape) -> String {
    let mut nodes: Vec<String> =
        injection_nodes(place, shape).take(MOST_POINTS + 1).map(|node| node.to_string()).collect();
    if nodes.len() > MOST_POINTS {
        nodes.truncate(MOST_POINTS);
        nodes.push("and so on".to_owned());
    }
    nodes.join(", ")
}

/// Everything on a port in data order, with its place in the data line.
fn items<'a>(
    model: &'a Model,
    plan: &'a Plan,
    port: &'a PortPlan,
    rows: Vec<StringRow<'a>>,
) -> Vec<Item<'a>> {
    let mut rows = rows.into_iter();
    let mut items = Vec::with_capacity(port.pieces.len());
    let mut before = 0_u32;
    let mut at = None;
    let mut from = model.controllers[port.controller].stands;
    for piece in &port.pieces {
        if piece.receiver != at {
            at = piece.receiver;
            from = at.and_then(|id| model.receivers[id].stands);
            items.extend(receiver(model, port, at));
        }
        match piece.piece.kind {
            PieceKind::Skip(nodes) => {
                items.push(Item::Skip(nodes, before.saturating_add(1)));
                before = before.saturating_add(nodes);
            }
            PieceKind::Lead(length, gauge) => {
                let lead = gauge.or_else(|| model.display.lead.map(|lead| lead.value));
                items.push(Item::Lead(length, lead));
                from = None;
            }
            PieceKind::String(id, _) => {
                if let Some(row) = plan.of(id).and_then(|_| rows.next()) {
                    let mut hung = hung(model, id, row, before);
                    if !hung.string.stored {
                        let stands = model.stands(id);
                        hung.straight_um = from.zip(stands).and_then(|(from, to)| {
                            let tenths =
                                unit::straight_um(from, to).saturating_add(50_000) / 100_000;
                            i64::try_from(tenths * 100_000).ok().filter(|length| *length > 0)
                        });
                        from = stands;
                    }
                    before = before.saturating_add(hung.in_line());
                    items.push(Item::String(Box::new(hung)));
                }
            }
        }
    }
    items
}

/// Names what each plug of a line goes into. Only this function decides what comes before and after
/// a string on its cable. A receiver begins a cable of its own, so the cable before it ends there.
fn plugged<'a>(items: Vec<Item<'a>>, port: &str) -> Vec<Item<'a>> {
    let mut out: Vec<Item<'a>> = Vec::with_capacity(items.len() + 1);
    let mut from = Plug::Port(port.to_owned());
    let mut last: Option<usize> = None;
    for mut item in items {
        match &mut item {
            Item::Receiver(receiver, port, _) => {
                if last.take().is_some() {
                    out.push(Item::End);
                }
                from = Plug::Receiver(format!("{}.{port}", receiver.name));
            }
            Item::String(hung) if !hung.string.stored => {
                let next = Plug::String(hung.row.name.clone());
                if let Some(Item::String(before)) = last.and_then(|at| out.get_mut(at))
                    && let Some(plugs) = &mut before.plugs
                {
                    plugs.to = next.clone();
                }
                let from = std::mem::replace(&mut from, next);
                hung.plugs = Some(Plugs { from, to: Plug::End });
                last = Some(out.len());
            }
            Item::String(_) | Item::Lead(..) | Item::Skip(..) | Item::End => {}
        }
        out.push(item);
    }
    out.push(Item::End);
    out
}

fn receiver<'a>(model: &'a Model, port: &PortPlan, at: Option<ReceiverId>) -> Option<Item<'a>> {
    let id = at?;
    let receiver = &model.receivers[id];
    match port.output {
        Output::Pixel(number) => {
            Some(Item::Receiver(receiver, number.checked_sub(receiver.first)? + 1, id))
        }
        Output::Dmx(_) => None,
    }
}

fn hung<'a>(model: &'a Model, id: StringId, row: StringRow<'a>, before: u32) -> Hung<'a> {
    Hung {
        id,
        string: &model.strings[id],
        prop: model.prop(id),
        row,
        shape: model.shape(id),
        node: model.node_of(id),
        slots_of_universe: model.display.universe_slots,
        before,
        straight_um: None,
        plugs: None,
    }
}
