//! What was meant: names bound, defaults filled, every value with the place it came from.
//!
//! The model has no addresses. Strings are one flat table in the order prop, member, string, so the
//! strings of a prop are a stretch of it. Ids are indices into the tables here.

mod gaps;
mod hardware;
mod power;
mod prop;
mod shape;
mod wiring;

pub use gaps::*;
pub use hardware::*;
pub use power::*;
pub use prop::*;
pub use shape::*;
pub use wiring::*;

use crate::keyed::{Keyed, id};
use crate::protocol::UniverseSlots;
use crate::source::Span;
use crate::unit::Gauge;
use std::borrow::Cow;
use std::ops::{Index, Range};
use std::sync::Arc;

id!(
    /// A chip of the display.
    ChipId
);
id!(
    /// A make of node.
    NodeId
);
id!(
    /// A controller.
    ControllerId
);
id!(
    /// A receiver.
    ReceiverId
);
id!(
    /// A prop or family of props.
    PropId
);
id!(
    /// One string of one prop or member, or one fixture.
    StringId
);
id!(
    /// What a string is made of.
    ShapeId
);
id!(
    /// A supply.
    SupplyId
);
id!(
    /// A mains circuit.
    CircuitId
);
id!(
    /// A `power` statement.
    PowerId
);
id!(
    /// An `inject` statement.
    InjectionId
);

/// A value and the setting that states it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Stated<T> {
    /// The value.
    pub value: T,
    /// The place of the setting.
    pub at: Span,
}

/// A whole display.
#[derive(Debug, Clone, Default)]
pub struct Model {
    /// The most strings and fixtures that its text may stand for; see [`most_strings`].
    pub most_strings: u32,
    /// Where its main text ends.
    pub end: u32,
    /// What holds for all of it.
    pub display: Display,
    /// Chips: those the display uses, known or declared.
    pub chips: Keyed<ChipId, Chip>,
    /// Makes of node.
    pub nodes: Keyed<NodeId, NodeKind>,
    /// Controllers in the order declared.
    pub controllers: Keyed<ControllerId, Controller>,
    /// Receivers in the order declared.
    pub receivers: Keyed<ReceiverId, Receiver>,
    /// What a prop without `like` could name: the makes of node and each `let`, as text to compare.
    pub beside_props: Arc<str>,
    /// Props in the order declared.
    pub props: Keyed<PropId, Prop>,
    /// What strings are made of.
    pub shapes: Keyed<ShapeId, Shape>,
    /// Every string and fixture, by prop, member, string.
    pub strings: Keyed<StringId, StringDef>,
    /// The data lines, in the order of their wires; those of strings that no wire names come last.
    pub lines: Vec<Line>,
    /// The pieces of all lines.
    pub pieces: Vec<Piece>,
    /// Reserved universes.
    pub reserved_universes: Vec<ReservedUniverses>,
    /// Reserved ports and outputs, whole or in part.
    pub reserved_outputs: Vec<ReservedOutput>,
    /// Stored strings, each with its reference in a `stored`.
    pub stored_at: Vec<(StringId, Span)>,
    /// Names carried over.
    pub renames: Vec<Rename>,
    /// Supplies.
    pub supplies: Keyed<SupplyId, Supply>,
    /// Mains circuits.
    pub circuits: Keyed<CircuitId, Circuit>,
    /// What feeds ports.
    pub powers: Keyed<PowerId, PowerFeed>,
    /// Power injections.
    pub injections: Keyed<InjectionId, Injection>,
    /// Props that the compiler cuts into strings.
    pub splits: Vec<Split>,
    /// Who takes whose settings.
    pub likes: Vec<Like>,
    /// Which text includes which, by the names that are shown.
    pub includes: Vec<(Box<str>, Box<str>)>,
    /// Whether something is missing because it did not parse or resolve.
    pub incomplete: bool,
    /// What is missing, by what hangs on it. Findings that would only follow from it are left out.
    pub gaps: Gaps,
}

/// A `split` of a prop: the compiler chooses the number of strings.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Split {
    /// The setting.
    pub at: Span,
    /// The prop.
    pub prop: PropId,
    /// How many strings it makes of each member.
    pub strings: u32,
    /// How many strands (or nodes) there are, and so the most strings.
    pub strands: u32,
}

/// A declaration that takes the settings of another of its kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Like {
    /// Their kind.
    pub kind: crate::ast::BlockKind,
    /// The one that takes, as an index among those of its kind.
    pub child: u32,
    /// The one it takes from.
    pub parent: u32,
}

/// What holds for the whole display.
#[derive(Debug, Clone)]
pub struct Display {
    /// Its name; empty if it has none.
    pub name: Box<str>,
    /// The place of its statement.
    pub at: Option<Span>,
    /// Frame rate in millihertz; above 0.
    pub frame_rate_mhz: u64,
    /// Where the frame rate was said.
    pub frame_rate_at: Option<Span>,
    /// Slots in a universe.
    pub universe_slots: UniverseSlots,
    /// Where that was said.
    pub universe_slots_at: Option<Span>,
    /// Whether a node that does not fit in a universe starts the next one.
    pub whole_nodes: bool,
    /// Where that was said.
    pub whole_nodes_at: Option<Span>,
    /// Brightness, in thousandths of a percent.
    pub dim: Option<Stated<u32>>,
    /// Nodes left free after each used port.
    pub spare_nodes: u32,
    /// Universes left free after each controller.
    pub spare_universes: u32,
    /// The conductor of leads that name none.
    pub lead: Option<Stated<Gauge>>,
    /// Temperature of all conductors in thousandths of a degree Celsius.
    pub conductors_mc: i64,
    /// What the compiler considers first when it picks ports.
    pub prefer: Option<Stated<Prefer>>,
    /// The first setting of its statement.
    pub first_at: Option<Span>,
}

/// What counts first when the compiler picks ports; the other two follow in this order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Prefer {
    /// As few ports as possible.
    FewestPorts,
    /// Props on the controllers nearest to them.
    ShortestLeads,
    /// Controllers as evenly full as possible.
    EvenLoad,
}

impl Prefer {
    /// All of them, in the default order.
    pub const ALL: [Self; 3] = [Self::FewestPorts, Self::ShortestLeads, Self::EvenLoad];

    /// Its words in the language.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::FewestPorts => "fewest ports",
            Self::ShortestLeads => "shortest leads",
            Self::EvenLoad => "even load",
        }
    }
}

impl Default for Display {
    fn default() -> Self {
        Self {
            name: "".into(),
            at: None,
            frame_rate_mhz: 40_000,
            frame_rate_at: None,
            universe_slots: UniverseSlots::ALL,
            universe_slots_at: None,
            whole_nodes: false,
            whole_nodes_at: None,
            dim: None,
            spare_nodes: 0,
            spare_universes: 0,
            lead: None,
            prefer: None,
            first_at: None,
            conductors_mc: 20_000,
        }
    }
}

/// The most strings and fixtures that a display may have, to limit memory.
pub const MOST_STRINGS: u32 = 400_000;

/// How many strings and fixtures the shortest text may stand for.
const LEAST_STRINGS: u32 = 20_000;

/// Bytes of text for each string it may stand for; most statements that declare one are longer.
const BYTES_A_STRING: usize = 20;

/// The most strings and fixtures of a display whose text has this many bytes. Without this limit, a
/// short text could take far more time and memory than reading it does.
#[must_use]
pub fn most_strings(bytes: usize) -> u32 {
    let by_text = u32::try_from(bytes / BYTES_A_STRING).unwrap_or(MOST_STRINGS);
    by_text.clamp(LEAST_STRINGS, MOST_STRINGS)
}

/// The most ports and DMX outputs that all controllers and receivers of a text of this many bytes
/// may declare or take over with `like`.
#[must_use]
pub fn most_ports(bytes: usize) -> usize {
    (bytes / BYTES_A_STRING).max(LEAST_PORTS)
}

/// How many ports the shortest text may stand for.
const LEAST_PORTS: usize = 50_000;

impl Model {
    /// What a string is made of.
    #[must_use]
    #[inline]
    pub fn shape(&self, id: StringId) -> &Shape {
        &self.shapes[self.strings[id].shape]
    }

    /// The prop of a string.
    #[must_use]
    #[inline]
    pub fn prop(&self, id: StringId) -> &Prop {
        &self.props[self.strings[id].prop]
    }

    /// Whether a string is put up, and not stored.
    #[must_use]
    #[inline]
    pub fn is_up(&self, id: StringId) -> bool {
        !self.strings[id].stored
    }

    /// The string of an id.
    #[must_use]
    #[inline]
    pub fn string(&self, id: StringId) -> Option<&StringDef> {
        Some(&self.strings[id])
    }

    /// What a string is made of.
    #[must_use]
    #[inline]
    pub fn shape_of(&self, id: StringId) -> Option<&Shape> {
        Some(self.shape(id))
    }

    /// The make of node of a string; `None` for a fixture.
    #[must_use]
    #[inline]
    pub fn node_of(&self, id: StringId) -> Option<&NodeKind> {
        self.shape(id).node.map(|node| &self.nodes[node])
    }

    /// The chip of a string, if it is known.
    #[must_use]
    pub fn chip_of(&self, id: StringId) -> Option<&Chip> {
        let chip = self.node_of(id)?.chip?;
        Some(&self.chips[chip.value])
    }

    /// The prop of a string.
    #[must_use]
    pub fn prop_of(&self, id: StringId) -> Option<&Prop> {
        Some(self.prop(id))
    }

    /// Hangs all strings of a prop after a string on its data line, which then goes to `target`.
    /// The lines that held strings of the prop are removed.
    pub fn hang_after(&mut self, prop: PropId, after: StringId, target: Target) {
        let of = |piece: &Piece| match piece.kind {
            PieceKind::String(id, _) => Some(id),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        };
        let strings = self.props[prop].strings().map(StringId);
        let added =
            strings.map(|id| Piece { at: self.props[prop].at, kind: PieceKind::String(id, None) });
        let added: Vec<Piece> = added.collect();
        let (all, props) = (&self.pieces, &self.strings);
        let pieces = |line: &Line| {
            let stretch = line.pieces.start as usize..line.pieces.end as usize;
            all.get(stretch).unwrap_or(&[])
        };
        let own = |line: &Line| pieces(line).iter().filter_map(of).any(|id| props[id].prop == prop);
        let mut lines = std::mem::take(&mut self.lines);
        lines.retain(|line| !own(line));
        let found = lines.iter_mut().find_map(|line| {
            let old = pieces(line);
            let at = old.iter().position(|piece| of(piece) == Some(after))?;
            let (before, rest) = old.split_at_checked(at + 1)?;
            Some((line, [before, &added, rest].concat()))
        });
        if let Some((line, now)) = found {
            let start = self.pieces.len() as u32;
            line.pieces = start..start + now.len() as u32;
            line.target = target;
            self.pieces.extend(now);
        }
        self.lines = lines;
    }

    /// Where data comes into a string, as the display says.
    #[must_use]
    pub fn enters(&self, id: StringId) -> Option<&str> {
        let string = self.strings[id];
        let place = match self.prop(id).enters_at(string.member) {
            [all] => all,
            each => each.get(string.number.max(1) as usize - 1)?,
        };
        Some(&**place).filter(|place| !place.is_empty())
    }

    /// Where the prop or member of a string stands, in micrometres.
    #[must_use]
    pub fn stands(&self, id: StringId) -> Option<(i64, i64)> {
        let details = self.prop(id).details.as_ref()?;
        let member = details.member(self.strings[id].member);
        member.and_then(|member| member.stands).or(details.stands)
    }

    /// The full name of a string: `heron[3]`, `lighthouse.2`, `heron[2].1`, `flood[1]`.
    ///
    /// The string's number is left out where the prop or member has just one.
    #[must_use]
    pub fn name_of(&self, id: StringId) -> String {
        let (string, prop) = (&self.strings[id], self.prop(id));
        let mut name = prop.name.to_string();
        if string.member > 0 {
            name.push_str(&format!("[{}]", string.member));
        }
        if string.number > 0 && prop.strings_of(string.member.max(1)).len() > 1 {
            name.push_str(&format!(".{}", string.number));
        }
        name
    }

    /// The pieces of a line.
    #[must_use]
    #[inline]
    pub fn pieces_of(&self, line: &Line) -> &[Piece] {
        let Range { start, end } = line.pieces;
        self.pieces.index(start as usize..end as usize)
    }

    /// Whether a target may have outputs that did not parse or resolve.
    #[must_use]
    pub fn outputs_unsure(&self, target: Target) -> bool {
        let carrier = match target {
            Target::Receiver(id) => Some(self.receivers[id].controller),
            _ => None,
        };
        self.gaps.of_outputs(target, carrier)
    }

    /// The controller of an id.
    #[must_use]
    #[inline]
    pub fn controller(&self, id: ControllerId) -> Option<&Controller> {
        Some(&self.controllers[id])
    }

    /// The output with a name: `boathouse.3`, `boathouse.dmx1`, or `jetty.1` by its number at a
    /// receiver.
    #[must_use]
    pub fn output_named(&self, name: &str) -> Option<(ControllerId, Output, Option<ReceiverId>)> {
        let (owner, output) = name.rsplit_once('.')?;
        let own = self.controllers.find(|one| *one.name == *owner);
        let own = own.and_then(|id| {
            let controller = &self.controllers[id];
            let pixel = controller.ports.iter();
            let pixel = pixel.map(|port| Output::Pixel(port.number));
            let dmx = controller.dmx.iter().map(|dmx| Output::Dmx(dmx.value));
            let output = pixel.chain(dmx).find(|one| one.name() == output)?;
            Some((id, output, None))
        });
        own.or_else(|| {
            let id = self.receivers.find(|one| *one.name == *owner)?;
            let receiver = &self.receivers[id];
            let port = (receiver.first..=receiver.last)
                .find(|port| (port - receiver.first + 1).to_string() == output)?;
            let output = Output::Pixel(port);
            Some((receiver.controller, output, Some(id)))
        })
    }

    /// The receivers that carry a port, in chain order, each with its own number of the port.
    pub fn receivers_of(
        &self,
        controller: ControllerId,
        port: u32,
    ) -> impl Iterator<Item = (ReceiverId, &Receiver, u32)> {
        self.receivers
            .pairs()
            .filter(move |(_, r)| r.controller == controller && (r.first..=r.last).contains(&port))
            .map(move |(id, r)| (id, r, port - r.first + 1))
    }

    /// What a port may drive where it comes out: at `receiver`, or else at the controller. Each
    /// setting of the receiver overrides the controller's.
    #[must_use]
    pub fn port_settings(
        &self,
        controller: ControllerId,
        port: u32,
        receiver: Option<ReceiverId>,
    ) -> Option<Cow<'_, PortSettings>> {
        let base = &*self.controllers[controller].port(port)?.settings;
        let over = receiver.and_then(|id| {
            let receiver = &self.receivers[id];
            let own = port.checked_sub(receiver.first)? + 1;
            receiver.ports.iter().find(|p| p.number == own)
        });
        if receiver.is_none() || over.is_none() && base.fuse.is_none() && base.volts.is_none() {
            return Some(Cow::Borrowed(base));
        }
        let none = PortSettings::default();
        let over = over.map_or(&none, |p| &*p.settings);
        let mut settings = PortSettings::clone(base);
        if !over.chips.is_empty() {
            settings.chips.clone_from(&over.chips);
        }
        // `slots at most` replaces `nodes at most`, and the other way round.
        if over.nodes.is_some() || over.slots.is_some() {
            settings.nodes = over.nodes;
            settings.slots = over.slots;
        }
        // The cable to the receiver carries data but no power.
        settings.fuse = over.fuse;
        settings.volts = over.volts;
        settings.dim = over.dim.or(settings.dim);
        Some(Cow::Owned(settings))
    }
}
