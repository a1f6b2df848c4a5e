//! What was meant: names bound, defaults filled, every value with the place it came from.
//!
//! The model knows no addresses. Strings are one flat table in the order prop, member, string, so a prop's
//! strings are a stretch of it and nothing holds a name twice. Ids are plain indices into the tables here.

use crate::chip::BitTime;
use crate::protocol::Input;
use crate::source::Span;
use crate::unit::Gauge;
use std::ops::Range;
use std::sync::Arc;

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        pub struct $name(pub u32);

        impl From<usize> for $name {
            fn from(index: usize) -> Self {
                // Tables are held far below this by the limits on strings and source size.
                Self(u32::try_from(index).unwrap_or(u32::MAX))
            }
        }

        impl $name {
            /// As an index.
            #[must_use]
            pub fn index(self) -> usize {
                self.0 as usize
            }
        }
    };
}

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

/// A value and where it was said.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Told<T> {
    /// The value.
    pub value: T,
    /// The place of the setting.
    pub at: Span,
}

/// A whole display.
#[derive(Debug, Clone, Default)]
pub struct Model {
    /// What holds for all of it.
    pub display: Display,
    /// Chips: those the display uses, known or declared.
    pub chips: Vec<Chip>,
    /// Makes of node.
    pub nodes: Vec<NodeKind>,
    /// Controllers in the order declared.
    pub controllers: Vec<Controller>,
    /// Receivers in the order declared.
    pub receivers: Vec<Receiver>,
    /// Props in the order declared.
    pub props: Vec<Prop>,
    /// What strings are made of.
    pub shapes: Vec<Shape>,
    /// Every string and fixture, by prop, member, string.
    pub strings: Vec<StringDef>,
    /// What the wires say, one data line each, in file order.
    pub lines: Vec<Line>,
    /// The pieces of all lines.
    pub pieces: Vec<Piece>,
    /// Reserved universes.
    pub reserved_universes: Vec<ReservedUniverses>,
    /// Reserved ports and outputs, whole or in part.
    pub reserved_outputs: Vec<ReservedOutput>,
    /// Stored strings, with the reference that says so.
    pub stored_at: Vec<(StringId, Span)>,
    /// Names carried over.
    pub renames: Vec<Rename>,
    /// Supplies.
    pub supplies: Vec<Supply>,
    /// Mains circuits.
    pub circuits: Vec<Circuit>,
    /// What feeds ports.
    pub powers: Vec<PowerFeed>,
    /// Power injections.
    pub injections: Vec<Injection>,
    /// Props that the compiler cuts into strings.
    pub splits: Vec<Split>,
    /// Whether a `power` or `inject` is missing here since it did not resolve: what would only follow from that is not
    /// told.
    pub power_unsure: bool,
    /// Who takes whose settings.
    pub likes: Vec<Like>,
    /// Which text reads which, by the names they are shown by.
    pub includes: Vec<(Box<str>, Box<str>)>,
    /// Whether something is missing since it did not parse or resolve: what would only follow from that is
    /// not told.
    pub incomplete: bool,
}

/// A `split` of a prop: strings as many as the compiler chose.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Split {
    /// The setting.
    pub at: Span,
    /// The prop.
    pub prop: PropId,
    /// How many strings it makes of each member.
    pub strings: u32,
    /// How many strands there are to cut between: no more strings than that.
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
    /// Slots in a universe, 1 to 512.
    pub universe_slots: u32,
    /// Where that was said.
    pub universe_slots_at: Option<Span>,
    /// A node that does not fit in a universe starts the next one.
    pub whole_nodes: bool,
    /// Brightness, in thousandths of a percent.
    pub dim: Option<Told<u32>>,
    /// Nodes left free behind each used port.
    pub spare_nodes: u32,
    /// Universes left free behind each controller.
    pub spare_universes: u32,
    /// What leads are made of where none is said.
    pub lead: Option<Told<Gauge>>,
    /// Temperature of all conductors in thousandths of a degree Celsius.
    pub conductors_mc: i64,
    /// What the compiler looks at first where it picks ports.
    pub prefer: Option<Told<Prefer>>,
    /// The first setting of its statement.
    pub first_at: Option<Span>,
}

/// What is wanted first where the compiler picks ports; the other two follow in this order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Prefer {
    /// As few ports as can be.
    FewestPorts,
    /// Props on the controllers nearest to them.
    ShortestLeads,
    /// Controllers as evenly full as can be.
    EvenLoad,
}

impl Prefer {
    /// All of them, in the order that holds where nothing is said.
    pub const ALL: [Self; 3] = [Self::FewestPorts, Self::ShortestLeads, Self::EvenLoad];

    /// It as written.
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
            universe_slots: 512,
            universe_slots_at: None,
            whole_nodes: false,
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

/// A chip.
#[derive(Debug, Clone)]
pub struct Chip {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration; `None` for one known beforehand.
    pub at: Option<Span>,
    /// Bit time; `None` for a clocked chip.
    pub bit: Option<BitTime>,
    /// Latch in nanoseconds.
    pub latch_ns: u64,
    /// Bits a colour, 8 or 16.
    pub depth: u8,
    /// Bits of a node that are no colour.
    pub extra_bits: u32,
    /// Lowest supply at a node in millivolts.
    pub floor_mv: u32,
    /// Whether the display says so, rather than the data sheet.
    pub floor_told: bool,
}

/// What a node draws at full.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Draw {
    /// Constant current, in microamperes.
    Current(i64),
    /// Constant power, in milliwatts.
    Power(i64),
}

/// A make of node.
#[derive(Debug, Clone)]
pub struct NodeKind {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration.
    pub at: Span,
    /// Its chip, with the place that says so.
    pub chip: Option<Told<ChipId>>,
    /// Its letters in slot order, upper case as written.
    pub colour: Box<str>,
    /// Slots of one node, above 0.
    pub slots: u32,
    /// Bits of one node in the data line.
    pub bits: u32,
    /// Supply voltage in millivolts.
    pub volts: Option<Told<i64>>,
    /// Draw at full.
    pub draw: Option<Told<Draw>>,
    /// Draw of a dark node in microamperes, which comes on top at any level.
    pub idle_ua: i64,
    /// Lowest voltage it works at in millivolts, where the display says so.
    pub floor: Option<Told<i64>>,
    /// Distance from node to node, in micrometres.
    pub pitch_um: Option<Told<i64>>,
    /// The conductor within the string.
    pub gauge: Option<Told<Gauge>>,
}

/// Where a controller's universes begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start {
    /// The universe after the highest given so far to controllers declared before it.
    Auto,
    /// `universes from N`.
    From(u32),
    /// `universes N..M`.
    Range(u32, u32),
    /// `universes after OTHER`.
    After(ControllerId),
}

/// How a controller numbers its ports.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Addressing {
    /// Each port is one unbroken range with a start of its own.
    PerPort,
    /// Each port begins where the one before it ends.
    Consecutive,
    /// Each string has a start of its own.
    PerProp,
}

impl Addressing {
    /// It as written.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::PerPort => "per port",
            Self::Consecutive => "consecutive",
            Self::PerProp => "per prop",
        }
    }
}

/// What begins at slot 1 of a universe.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Nothing need.
    Off,
    /// Each port.
    Port,
    /// Each port, and each string whose prop differs from the one before it.
    Prop,
}

/// What a port may drive.
#[derive(Debug, Clone, Default)]
pub struct PortSettings {
    /// The chips it drives; empty for any.
    pub chips: Vec<Told<ChipId>>,
    /// Most nodes, skips included.
    pub nodes: Option<Told<u32>>,
    /// Most slots, for a port that feeds a panel driver or a relay board; in place of `nodes`.
    pub slots: Option<Told<u32>>,
    /// Fuse in microamperes.
    pub fuse: Option<Told<i64>>,
    /// Voltage in millivolts.
    pub volts: Option<Told<i64>>,
    /// Brightness in thousandths of a percent.
    pub dim: Option<Told<u32>>,
}

/// A pixel port of a controller.
#[derive(Debug, Clone)]
pub struct Port {
    /// Its number, from 1.
    pub number: u32,
    /// The `ports` or `port` setting that has it.
    pub at: Span,
    /// What it may drive, as the controller says.
    pub settings: Arc<PortSettings>,
}

/// A controller.
#[derive(Debug, Clone)]
pub struct Controller {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// A label for people.
    pub label: Option<Box<str>>,
    /// Where it is on the network.
    pub host: Option<Told<Box<str>>>,
    /// What it listens to.
    pub input: Input,
    /// Where that was said.
    pub input_at: Option<Span>,
    /// Where its universes begin.
    pub start: Start,
    /// Where that was said.
    pub start_at: Option<Span>,
    /// Most universes it takes.
    pub most_universes: Option<Told<u32>>,
    /// How it numbers its ports.
    pub addressing: Addressing,
    /// Where that was said.
    pub addressing_at: Option<Span>,
    /// What begins at slot 1.
    pub align: Align,
    /// A node that does not fit in a universe starts the next one (here or in `display`).
    pub whole_nodes: bool,
    /// Brightness in thousandths of a percent.
    pub dim: Option<Told<u32>>,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
    /// Its pixel ports by number, each number once.
    pub ports: Vec<Port>,
    /// Its DMX outputs by number, each with the setting that has it.
    pub dmx: Vec<Told<u32>>,
    /// What it draws from the mains, in milliwatts.
    pub draw_mw: Option<i64>,
    /// The mains circuit it is on.
    pub circuit: Option<CircuitId>,
    /// Whether some of its settings did not parse or resolve: which ports it has is then not known.
    pub broken: bool,
    /// Whether it is from a `stock` file and no wire names it: it is then not in this display.
    pub stock: bool,
}

impl Controller {
    /// Its pixel port of a number.
    #[must_use]
    pub fn port(&self, number: u32) -> Option<&Port> {
        self.ports
            .binary_search_by_key(&number, |port| port.number)
            .ok()
            .and_then(|at| self.ports.get(at))
    }
}

/// A receiver: a controller's ports come out here.
#[derive(Debug, Clone)]
pub struct Receiver {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// The controller whose ports it carries.
    pub controller: ControllerId,
    /// The first port it carries; its own port 1.
    pub first: u32,
    /// The last port it carries.
    pub last: u32,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
    /// Its own port settings by its own number, from 1; what is set here goes over the controller's.
    pub ports: Vec<Port>,
    /// Whether it is from a `stock` file.
    pub stock: bool,
}

/// A prop, or a family of `* N` props.
#[derive(Debug, Clone)]
pub struct Prop {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// A label for people.
    pub label: Option<Box<str>>,
    /// How many members; `None` for a prop that is not `* N`.
    pub count: Option<u32>,
    /// Its first string in the table.
    pub first: u32,
    /// How the table is cut into members.
    pub cut: Cut,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
    /// What a fixture draws from the mains, in milliwatts.
    pub draw_mw: Option<i64>,
    /// The mains circuit it is on.
    pub circuit: Option<CircuitId>,
    /// Labels and places of single members, by member.
    pub members: Vec<Member>,
    /// Whether it did not parse or resolve: its strings are unknown.
    pub broken: bool,
    /// Whether it is from a `stock` file.
    pub stock: bool,
}

/// How a prop's strings are cut into members.
#[derive(Debug, Clone)]
pub enum Cut {
    /// Each member has this many strings.
    Even(u32),
    /// Member `m` has the strings from entry `m - 1` up to entry `m`, counted from the prop's first.
    Odd(Box<[u32]>),
}

/// What one member of a family says of itself.
#[derive(Debug, Clone)]
pub struct Member {
    /// Its number, from 1.
    pub number: u32,
    /// A label for people.
    pub label: Option<Box<str>>,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
}

impl Prop {
    /// How many members it has; 1 for a prop that is no family.
    #[must_use]
    pub fn members_count(&self) -> u32 {
        self.count.unwrap_or(1)
    }

    /// The strings of a member (1 for a prop that is no family), as a stretch of the string table.
    #[must_use]
    pub fn strings_of(&self, member: u32) -> Range<u32> {
        let m = member.saturating_sub(1);
        let (from, to) = match &self.cut {
            Cut::Even(each) => (m * each, (m + 1) * each),
            Cut::Odd(ends) => {
                let from = ends.get(m as usize).copied().unwrap_or(0);
                (from, ends.get(m as usize + 1).copied().unwrap_or(from))
            }
        };
        self.first + from..self.first + to
    }

    /// All its strings, as a stretch of the string table.
    #[must_use]
    pub fn strings(&self) -> Range<u32> {
        let members = self.members_count();
        let last = self.strings_of(members);
        self.first..last.end
    }
}

/// What a string is made of; shared by members that are alike.
#[derive(Debug, Clone)]
pub struct Shape {
    /// The setting that says so.
    pub at: Span,
    /// Its name within the prop (`eaves`).
    pub name: Option<Box<str>>,
    /// Its make of node; `None` for a fixture.
    pub node: Option<NodeId>,
    /// Nodes that show something; 0 for a fixture.
    pub nodes: u32,
    /// Slots it takes.
    pub slots: u32,
    /// Nodes within it that show nothing.
    pub skips: u32,
    /// Nodes of one strand, where it is made of strands.
    pub strand: Option<u32>,
    /// The runs it is built of; empty for a plain string.
    pub runs: Vec<ShapeRun>,
}

/// A run of a string as built.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ShapeRun {
    /// Nodes, perhaps with a name.
    Nodes(Option<Box<str>>, u32),
    /// Nodes that show nothing.
    Skip(u32),
    /// Cable, in micrometres, and its conductor.
    Lead(i64, Option<Gauge>),
}

/// One string of one prop or member, or one fixture.
#[derive(Debug, Clone, Copy)]
pub struct StringDef {
    /// Its prop.
    pub prop: PropId,
    /// Its member from 1; 0 for a prop that is no family.
    pub member: u32,
    /// Its number from 1; 0 for a fixture.
    pub number: u32,
    /// What it is made of.
    pub shape: ShapeId,
    /// Not put up this season.
    pub stored: bool,
    /// The string whose data it shows.
    pub same_as: Option<StringId>,
}

/// Where a line is wired to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Target {
    /// A pixel port, perhaps named as a receiver's.
    Port(ControllerId, u32, Option<ReceiverId>),
    /// A DMX output.
    Dmx(ControllerId, u32),
    /// Any port of a controller.
    Controller(ControllerId),
    /// Any port of a receiver.
    Receiver(ReceiverId),
    /// Any port at all.
    Any,
}

/// One data line as a wire says it: its pieces in data order.
///
/// Several lines may be for one port; they follow one another in the order of `lines`.
#[derive(Debug, Clone)]
pub struct Line {
    /// The place of the target (or, for strings no wire names, of the prop).
    pub at: Span,
    /// Where it goes.
    pub target: Target,
    /// Its pieces, as a stretch of `Model::pieces`.
    pub pieces: Range<u32>,
    /// Lines of one group belong side by side: the strings of one prop in an open chain.
    pub group: u32,
    /// Whether no wire names its strings.
    pub unasked: bool,
}

/// A piece of a line.
#[derive(Debug, Clone, Copy)]
pub struct Piece {
    /// Where it is written.
    pub at: Span,
    /// What it is.
    pub kind: PieceKind,
}

/// What a piece of a line is.
#[derive(Debug, Clone, Copy)]
pub enum PieceKind {
    /// A string, perhaps pinned.
    String(StringId, Option<Pinned>),
    /// Nodes that show nothing.
    Skip(u32),
    /// Cable, in micrometres, and its conductor.
    Lead(i64, Option<Gauge>),
}

/// A pin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Pinned {
    /// Where.
    pub place: PinPlace,
    /// The place of the pin, from `at` on.
    pub at: Span,
}

/// Where a pin pins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PinPlace {
    /// A channel, counted from 0: `(universe - 1) * universe_slots + slot - 1`.
    Channel(u64),
    /// A slot of a DMX output, from 1.
    Slot(u32),
}

/// Universes that something else uses.
#[derive(Debug, Clone)]
pub struct ReservedUniverses {
    /// The statement.
    pub at: Span,
    /// First.
    pub first: u32,
    /// Last.
    pub last: u32,
    /// Why.
    pub reason: Option<Box<str>>,
}

/// A port, a DMX output or slots of one that something else uses.
#[derive(Debug, Clone)]
pub struct ReservedOutput {
    /// The statement.
    pub at: Span,
    /// The controller.
    pub controller: ControllerId,
    /// Which output.
    pub output: Output,
    /// Slots of a DMX output; `None` for the whole.
    pub slots: Option<(u32, u32)>,
    /// Why.
    pub reason: Option<Box<str>>,
}

/// An output of a controller. Pixel ports come before DMX outputs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Output {
    /// A pixel port by number.
    Pixel(u32),
    /// A DMX output by number.
    Dmx(u32),
}

impl Output {
    /// As the contract has it: `3`, `dmx1`.
    #[must_use]
    pub fn name(self) -> String {
        match self {
            Self::Pixel(number) => number.to_string(),
            Self::Dmx(number) => format!("dmx{number}"),
        }
    }
}

/// A name carried over.
#[derive(Debug, Clone)]
pub struct Rename {
    /// The statement.
    pub at: Span,
    /// The name it had, as written (`heron`, `heron[2]`, `boathouse`).
    pub old: Box<str>,
    /// Where that stands.
    pub old_at: Span,
    /// The name it has.
    pub new: Box<str>,
    /// Where that stands.
    pub new_at: Span,
}

/// A supply.
#[derive(Debug, Clone)]
pub struct Supply {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// Voltage in millivolts.
    pub volts: Option<Told<i64>>,
    /// Rating in milliwatts.
    pub rated: Option<Told<i64>>,
    /// Where it stands, in micrometres.
    pub stands: Option<(i64, i64)>,
    /// The mains circuit it is on.
    pub circuit: Option<CircuitId>,
    /// How much of what it takes from the mains it gives, in thousandths of a percent; above 0.
    pub efficiency: u32,
}

/// A mains circuit.
#[derive(Debug, Clone)]
pub struct Circuit {
    /// Its name.
    pub name: Box<str>,
    /// Its declaration (the name).
    pub at: Span,
    /// Voltage in millivolts.
    pub volts: Option<Told<i64>>,
    /// Breaker in microamperes.
    pub breaker: Option<Told<i64>>,
}

/// A lead from a supply.
#[derive(Debug, Clone, Copy)]
pub struct FeedLead {
    /// The supply.
    pub supply: SupplyId,
    /// Its length in micrometres.
    pub length_um: i64,
    /// Its conductor.
    pub gauge: Gauge,
    /// Its fuse in microamperes.
    pub fuse: Option<Told<i64>>,
}

/// What feeds ports.
#[derive(Debug, Clone)]
pub struct PowerFeed {
    /// The statement.
    pub at: Span,
    /// The controller.
    pub controller: ControllerId,
    /// The receiver, if the ports are named as its own.
    pub receiver: Option<ReceiverId>,
    /// First port, by the controller's number.
    pub first: u32,
    /// Last port.
    pub last: u32,
    /// From where.
    pub lead: FeedLead,
}

/// Where on a string power is injected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum InjectAt {
    /// Before the first node.
    Start,
    /// Behind the last node.
    End,
    /// At a node, from 1.
    Node(u32),
    /// At every so many nodes.
    EveryNodes(u32),
    /// At every so many strands.
    EveryStrands(u32),
}

/// A power injection.
#[derive(Debug, Clone)]
pub struct Injection {
    /// The statement.
    pub at: Span,
    /// The strings it goes into.
    pub strings: Vec<StringId>,
    /// Where on each.
    pub place: InjectAt,
    /// From where.
    pub lead: FeedLead,
    /// The plus conductor is cut before this point.
    pub apart: bool,
}

/// The most strings and fixtures that a display may have: what fits in the memory that a small text may cost.
pub const MOST_STRINGS: u32 = 400_000;

impl Model {
    /// The string of an id.
    #[must_use]
    pub fn string(&self, id: StringId) -> Option<&StringDef> {
        self.strings.get(id.index())
    }

    /// What a string is made of.
    #[must_use]
    pub fn shape_of(&self, id: StringId) -> Option<&Shape> {
        self.shapes.get(self.string(id)?.shape.index())
    }

    /// The make of node of a string; `None` for a fixture.
    #[must_use]
    pub fn node_of(&self, id: StringId) -> Option<&NodeKind> {
        self.nodes.get(self.shape_of(id)?.node?.index())
    }

    /// The chip of a string, if it is known.
    #[must_use]
    pub fn chip_of(&self, id: StringId) -> Option<&Chip> {
        self.chips.get(self.node_of(id)?.chip?.value.index())
    }

    /// The prop of a string.
    #[must_use]
    pub fn prop_of(&self, id: StringId) -> Option<&Prop> {
        self.props.get(self.string(id)?.prop.index())
    }

    /// The full name of a string: `heron[3]`, `lighthouse.2`, `heron[2].1`, `flood[1]`.
    ///
    /// The string's number is left out where the prop or member has just one.
    #[must_use]
    pub fn name_of(&self, id: StringId) -> String {
        let (Some(string), Some(prop)) = (self.string(id), self.prop_of(id)) else {
            return String::new();
        };
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
    pub fn pieces_of(&self, line: &Line) -> &[Piece] {
        self.pieces
            .get(line.pieces.start as usize..line.pieces.end as usize)
            .unwrap_or(&[])
    }

    /// The controller of an id.
    #[must_use]
    pub fn controller(&self, id: ControllerId) -> Option<&Controller> {
        self.controllers.get(id.index())
    }

    /// The receivers that carry a port, in chain order, each with the port's number at the receiver.
    pub fn receivers_of(
        &self,
        controller: ControllerId,
        port: u32,
    ) -> impl Iterator<Item = (ReceiverId, &Receiver, u32)> {
        self.receivers
            .iter()
            .enumerate()
            .filter(move |(_, r)| r.controller == controller && (r.first..=r.last).contains(&port))
            .map(move |(index, r)| (ReceiverId::from(index), r, port - r.first + 1))
    }

    /// What a port may drive where it comes out at `receiver` (or at the controller): the receiver's own
    /// settings over the controller's, one by one.
    #[must_use]
    pub fn port_settings(
        &self,
        controller: ControllerId,
        port: u32,
        receiver: Option<ReceiverId>,
    ) -> Option<Arc<PortSettings>> {
        let base = &self.controller(controller)?.port(port)?.settings;
        let over = receiver
            .and_then(|id| self.receivers.get(id.index()))
            .and_then(|r| {
                let own = port.checked_sub(r.first)? + 1;
                r.ports.iter().find(|p| p.number == own)
            });
        let Some(over) = over.map(|p| &p.settings) else {
            return Some(Arc::clone(base));
        };
        let mut settings = PortSettings::clone(base);
        if !over.chips.is_empty() {
            settings.chips.clone_from(&over.chips);
        }
        // `slots at most` stands in the place of `nodes at most`, so one replaces the other.
        if over.nodes.is_some() || over.slots.is_some() {
            settings.nodes = over.nodes;
            settings.slots = over.slots;
        }
        settings.fuse = over.fuse.or(settings.fuse);
        settings.volts = over.volts.or(settings.volts);
        settings.dim = over.dim.or(settings.dim);
        Some(Arc::new(settings))
    }
}
