//! The table of settings: a row for each form, with what stands after its first word.
//!
//! A new setting is a row here and a field in the model. Unknown words, repeats, units and ranges
//! are reported from this table; editors' suggestions and the test of the guide use it too.

use crate::ast::BlockKind;
use crate::model::MOST_STRINGS;
use crate::protocol::UNIVERSES;
use crate::unit::Dimension;

/// The blocks that have settings.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Scope {
    /// A block statement.
    Of(BlockKind),
    /// `ports A..B { }` and `port N { }`.
    Ports,
}

impl Scope {
    /// The word for the block.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Of(kind) => kind.word(),
            Self::Ports => "ports",
        }
    }
}

/// What a setting sets. A key may have several rows, one for each form.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Key {
    /// `frame rate N Hz`
    FrameRate,
    /// `universe N slots`
    UniverseSlots,
    /// `whole nodes`
    WholeNodes,
    /// `dim to N %`
    Dim,
    /// `spare N nodes per port`
    SpareNodes,
    /// `spare N universes per controller`
    SpareUniverses,
    /// `lead of GAUGE`
    LeadOf,
    /// `prefer …`
    Prefer,
    /// `rate N kHz`
    Rate,
    /// `latch N us`
    Latch,
    /// `depth 8` or `16`
    Depth,
    /// `chip NAME` of a node
    Chip,
    /// `colour LETTERS`
    Colour,
    /// `volts N V`
    Volts,
    /// `draw N mA`
    DrawCurrent,
    /// `draw N W`
    DrawPower,
    /// `idle N mA`
    Idle,
    /// `floor N V`
    Floor,
    /// `efficiency N %`
    Efficiency,
    /// `conductors at N C`
    Conductors,
    /// `pitch N mm`
    Pitch,
    /// `gauge GAUGE`
    Gauge,
    /// `label "…"`
    Label,
    /// `enters "…"`
    Enters,
    /// `host ADDRESS`
    Host,
    /// `input …`
    Input,
    /// `universes from N`
    UniversesFrom,
    /// `universes N..M`
    UniversesRange,
    /// `universes after OTHER`
    UniversesAfter,
    /// `universes at most N`
    UniversesAtMost,
    /// `addressing …`
    Addressing,
    /// `align …`
    Align,
    /// `stands at X, Y`
    Stands,
    /// `ports A..B { }` or `port N { }`
    Ports,
    /// `dmx A..B` or `dmx N`
    Dmx,
    /// `on CIRCUIT`
    On,
    /// `chip NAME, NAME…` of ports
    Chips,
    /// `nodes at most N`
    NodesAtMost,
    /// `slots at most N`
    SlotsAtMost,
    /// `fuse N A`
    Fuse,
    /// `carries CONTROLLER.A..B`
    Carries,
    /// `node NAME` of a prop
    Node,
    /// `string N nodes`
    String,
    /// `string [NAME]: RUN -> RUN…`
    StringRuns,
    /// `strings K of N nodes`
    Strings,
    /// `strings K of S strands of N nodes`
    Strands,
    /// `split N nodes`
    SplitNodes,
    /// `split S strands of N nodes`
    SplitStrands,
    /// `slots N`
    Slots,
    /// `same as REF`
    SameAs,
    /// `rated N W`
    Rated,
    /// `breaker N A`
    Breaker,
    /// `priority N`
    Priority,
    /// `sync universe N`
    Sync,
    /// `sends N bits`
    Sends,
    /// `header N bits`
    Header,
    /// `loads N`
    Loads,
}

impl Key {
    /// The key that may stand once in a block; forms that exclude each other share it. `None` if
    /// the setting may be repeated.
    #[must_use]
    pub fn once(self) -> Option<Self> {
        match self {
            Self::Ports | Self::Dmx => None,
            Self::String | Self::StringRuns | Self::Strings | Self::Strands => None,
            Self::UniversesRange | Self::UniversesAfter => Some(Self::UniversesFrom),
            Self::DrawPower => Some(Self::DrawCurrent),
            Self::SplitStrands => Some(Self::SplitNodes),
            Self::SlotsAtMost => Some(Self::NodesAtMost),
            other => Some(other),
        }
    }
}

/// What may stand at one place after the first word.
#[derive(Clone, Copy, Debug)]
pub enum Slot {
    /// Exactly this word.
    Word(&'static str),
    /// A measure of a dimension between two bounds in base units.
    Measure(Dimension, i64, i64),
    /// A count between two bounds; it may have a unit of this dimension.
    Count(i64, i64, Option<Dimension>),
    /// A decimal without a unit, between two bounds in thousandths; kept in thousandths.
    Thousandths(Dimension, i64, i64),
    /// `A..B` between two bounds.
    Range(i64, i64),
    /// `A..B` or one number.
    RangeOrOne(i64, i64),
    /// A name.
    Name,
    /// Names with commas between.
    Names,
    /// `"…"`
    Text,
    /// Texts with commas between.
    Texts,
    /// A host address.
    Host,
    /// A wire size.
    Gauge,
    /// One of these words.
    Choice(&'static [&'static str]),
    /// All words that follow.
    Words,
    /// `X, Y` in lengths.
    Point,
    /// A reference.
    Reference,
    /// The runs after a `:`, with or without a name before it.
    Runs,
    /// A block.
    Block,
}

/// One form of one setting.
#[derive(Clone, Copy, Debug)]
pub struct SettingRow {
    /// What it sets.
    pub key: Key,
    /// Its first word.
    pub first: &'static str,
    /// What stands after that.
    pub slots: &'static [Slot],
    /// An example, for messages and the guide.
    pub example: &'static str,
    /// What its number is called in messages.
    pub what: &'static str,
}

const fn row(
    key: Key,
    first: &'static str,
    slots: &'static [Slot],
    example: &'static str,
    what: &'static str,
) -> SettingRow {
    SettingRow { key, first, slots, example, what }
}

use Dimension as D;
use Slot as S;

/// Most bits of a letter or of a header, far more than any chip has.
const MOST_BITS: i64 = 100_000;
/// Most unit loads of a fixture, in thousandths: the most of a whole line.
const MOST_LOADS: i64 = 32_000;
/// Most nodes or slots of anything: all slots of all universes.
pub const MOST_SLOTS: i64 = MOST_UNIVERSES * 512;
/// Most universes of a display.
pub const MOST_UNIVERSES: i64 = *UNIVERSES.end() as i64;
/// No bound: universes are checked against the standard when their setting is applied.
const ANY: i64 = i64::MAX;
/// Most pixel ports of a controller or receiver.
pub const MOST_PORTS: i64 = 1_024;
/// Most DMX outputs of a controller.
const MOST_DMX: i64 = 512;
const MOST_MEMBERS: i64 = MOST_STRINGS as i64;
/// The longest pitch or lead and the farthest place, in micrometres: 100 km.
pub const FAR_UM: i64 = 100_000_000_000;
/// The smallest and the largest fuse in microamperes: 1 mA and 10,000 A.
pub const FUSE_UA: (i64, i64) = (1_000, 10_000_000_000);
const VOLTS: Slot = S::Measure(D::Voltage, 1, 1_000_000);
const DIM: &[Slot] = &[S::Word("to"), S::Measure(D::Share, 1_000, 100_000)];
const POWER: Slot = S::Measure(D::Power, 0, 1_000_000_000);
const FUSE: Slot = S::Measure(D::Current, FUSE_UA.0, FUSE_UA.1);
const CURRENT: Slot = S::Measure(D::Current, 0, FUSE_UA.1);
const STANDS: SettingRow =
    row(Key::Stands, "stands", &[S::Word("at"), S::Point], "stands at 4 m, 2.5 m", "the place");
const LABEL: SettingRow =
    row(Key::Label, "label", &[S::Text], "label \"north gable\"", "the label");
const ENTERS: SettingRow =
    row(Key::Enters, "enters", &[S::Texts], "enters \"left foot\"", "where data comes in");
const WHOLE: SettingRow = row(Key::WholeNodes, "whole", &[S::Word("nodes")], "whole nodes", "");
const DIM_ROW: SettingRow = row(Key::Dim, "dim", DIM, "dim to 30 %", "the level");
const VOLTS_ROW: SettingRow = row(Key::Volts, "volts", &[VOLTS], "volts 12 V", "the voltage");
const UNIVERSE_ROW: SettingRow = row(
    Key::UniverseSlots,
    "universe",
    &[S::Measure(D::Slots, 1, 512)],
    "universe 510 slots",
    "the universe size",
);
const ON: SettingRow = row(Key::On, "on", &[S::Name], "on garage", "the circuit");
const FLOOR: SettingRow = row(Key::Floor, "floor", &[VOLTS], "floor 9 V", "the floor");
const DRAW_POWER: SettingRow = row(Key::DrawPower, "draw", &[POWER], "draw 60 W", "the draw");

#[rustfmt::skip] // A row a line: it is read as a table.
const DISPLAY: &[SettingRow] = &[
    row(Key::FrameRate, "frame", &[S::Word("rate"), S::Measure(D::Frequency, 1_000, 1_000_000)], "frame rate 40 Hz", "the frame rate"),
    UNIVERSE_ROW,
    WHOLE,
    DIM_ROW,
    row(Key::SpareNodes, "spare", &[S::Measure(D::Nodes, 0, 1_000_000), S::Word("per"), S::Word("port")], "spare 20 nodes per port", "the spare"),
    row(Key::SpareUniverses, "spare", &[S::Measure(D::Universes, 0, MOST_UNIVERSES), S::Word("per"), S::Word("controller")], "spare 2 universes per controller", "the spare"),
    row(Key::LeadOf, "lead", &[S::Word("of"), S::Gauge], "lead of 18 AWG", "the wire size"),
    row(Key::Prefer, "prefer", &[S::Choice(&["fewest ports", "shortest leads", "even load"])], "prefer shortest leads", "the preference"),
    row(Key::Conductors, "conductors", &[S::Word("at"), S::Measure(D::Temperature, -50_000, 100_000)], "conductors at 40 C", "the temperature"),
];

#[rustfmt::skip] // A row a line: it is read as a table.
const CHIP: &[SettingRow] = &[
    row(Key::Rate, "rate", &[S::Measure(D::Frequency, 1_000_000, 100_000_000_000)], "rate 800 kHz", "the rate"),
    row(Key::Latch, "latch", &[S::Measure(D::Time, 0, 1_000_000_000)], "latch 50 us", "the latch time"),
    row(Key::Depth, "depth", &[S::Count(8, 16, None)], "depth 16", "the depth"),
    row(Key::Sends, "sends", &[S::Measure(D::Bits, 1, MOST_BITS)], "sends 16 bits", "the width of a letter"),
    row(Key::Header, "header", &[S::Measure(D::Bits, 0, MOST_BITS)], "header 64 bits", "the header"),
    FLOOR,
];

#[rustfmt::skip] // A row a line: it is read as a table.
const NODE: &[SettingRow] = &[
    row(Key::Chip, "chip", &[S::Name], "chip ws2811", "the chip"),
    row(Key::Colour, "colour", &[S::Name], "colour RGB", "the colour order"),
    row(Key::Colour, "color", &[S::Name], "colour RGB", "the colour order"),
    VOLTS_ROW,
    row(Key::DrawCurrent, "draw", &[CURRENT], "draw 55 mA", "the draw"),
    DRAW_POWER,
    row(Key::Idle, "idle", &[CURRENT], "idle 1 mA", "the idle draw"),
    FLOOR,
    row(Key::Pitch, "pitch", &[S::Measure(D::Length, 1, FAR_UM)], "pitch 75 mm", "the pitch"),
    row(Key::Gauge, "gauge", &[S::Gauge], "gauge 18 AWG", "the wire size"),
];

#[rustfmt::skip] // A row a line: it is read as a table.
const CONTROLLER: &[SettingRow] = &[
    LABEL,
    row(Key::Host, "host", &[S::Host], "host 192.168.40.11", "the host"),
    row(Key::Input, "input", &[S::Words], "input e131 unicast", "the input"),
    row(Key::UniversesFrom, "universes", &[S::Word("from"), S::Count(-ANY, ANY, None)], "universes from 1", "the universe"),
    row(Key::UniversesRange, "universes", &[S::Range(-ANY, ANY)], "universes 1..40", "the universe"),
    row(Key::UniversesAfter, "universes", &[S::Word("after"), S::Name], "universes after shed", "the controller"),
    row(Key::UniversesAtMost, "universes", &[S::Word("at"), S::Word("most"), S::Count(1, MOST_UNIVERSES, Some(D::Universes))], "universes at most 96", "the number of universes"),
    UNIVERSE_ROW,
    row(Key::Priority, "priority", &[S::Count(0, 200, None)], "priority 120", "the priority"),
    row(Key::Sync, "sync", &[S::Word("universe"), S::Count(-ANY, ANY, None)], "sync universe 63000", "the universe"),
    row(Key::Addressing, "addressing", &[S::Choice(&["per port", "consecutive", "per prop"])], "addressing per port", "the addressing"),
    row(Key::Align, "align", &[S::Choice(&["port", "prop", "off"])], "align port", "the alignment"),
    WHOLE,
    DIM_ROW,
    STANDS,
    row(Key::Ports, "ports", &[S::RangeOrOne(1, MOST_PORTS), S::Block], "ports 1..16 { nodes at most 800 }", "the port"),
    row(Key::Ports, "port", &[S::Count(1, MOST_PORTS, None), S::Block], "port 3 { nodes at most 400 }", "the port"),
    row(Key::Dmx, "dmx", &[S::RangeOrOne(1, MOST_DMX)], "dmx 1..2", "the DMX output"),
    DRAW_POWER,
    ON,
];

#[rustfmt::skip] // A row a line: it is read as a table.
const PORTS: &[SettingRow] = &[
    row(Key::Chips, "chip", &[S::Names], "chip ws2811, ws2815", "the chips"),
    row(Key::NodesAtMost, "nodes", &[S::Word("at"), S::Word("most"), S::Count(1, MOST_SLOTS, Some(D::Nodes))], "nodes at most 800", "the number of nodes"),
    row(Key::SlotsAtMost, "slots", &[S::Word("at"), S::Word("most"), S::Count(1, MOST_SLOTS, Some(D::Slots))], "slots at most 512", "the number of slots"),
    row(Key::Fuse, "fuse", &[FUSE], "fuse 5 A", "the fuse"),
    VOLTS_ROW,
    DIM_ROW,
];

#[rustfmt::skip] // A row a line: it is read as a table.
const RECEIVER: &[SettingRow] = &[
    LABEL,
    row(Key::Carries, "carries", &[S::Reference], "carries shed.9..12", "the ports"),
    STANDS,
    row(Key::Ports, "ports", &[S::RangeOrOne(1, MOST_PORTS), S::Block], "ports 1..4 { nodes at most 600 }", "the port"),
    row(Key::Ports, "port", &[S::Count(1, MOST_PORTS, None), S::Block], "port 3 { nodes at most 400 }", "the port"),
];

#[rustfmt::skip] // A row a line: it is read as a table.
const PROP: &[SettingRow] = &[
    LABEL,
    ENTERS,
    row(Key::Node, "node", &[S::Name], "node bullet", "the make of node"),
    row(Key::StringRuns, "string", &[S::Runs], "string eaves: 34 nodes -> skip 1 -> 22 nodes", "the string"),
    row(Key::String, "string", &[S::Measure(D::Nodes, 1, MOST_SLOTS)], "string 50 nodes", "the string"),
    row(Key::Strings, "strings", &[S::Count(1, MOST_MEMBERS, None), S::Word("of"), S::Measure(D::Nodes, 1, MOST_SLOTS)], "strings 2 of 448 nodes", "each string"),
    row(Key::Strands, "strings", &[S::Count(1, MOST_MEMBERS, None), S::Word("of"), S::Measure(D::Strands, 1, MOST_SLOTS), S::Word("of"), S::Measure(D::Nodes, 1, MOST_SLOTS)], "strings 2 of 12 strands of 30 nodes", "each string"),
    row(Key::SplitNodes, "split", &[S::Measure(D::Nodes, 1, MOST_SLOTS)], "split 1200 nodes", "the length to split"),
    row(Key::SplitStrands, "split", &[S::Measure(D::Strands, 1, MOST_SLOTS), S::Word("of"), S::Measure(D::Nodes, 1, MOST_SLOTS)], "split 24 strands of 30 nodes", "the length to split"),
    row(Key::Slots, "slots", &[S::Count(1, MOST_SLOTS, Some(D::Slots))], "slots 6", "the footprint"),
    STANDS,
    row(Key::SameAs, "same", &[S::Word("as"), S::Reference], "same as arch[1]", "the reference"),
    row(Key::Loads, "loads", &[S::Thousandths(D::UnitLoads, 1, MOST_LOADS)], "loads 0.25", "the number of unit loads"),
    DRAW_POWER,
    ON,
];

#[rustfmt::skip] // A row a line: it is read as a table.
const SUPPLY: &[SettingRow] = &[
    VOLTS_ROW,
    row(Key::Rated, "rated", &[POWER], "rated 350 W", "the rating"),
    row(Key::Fuse, "fuse", &[FUSE], "fuse 30 A", "the fuse"),
    row(Key::Efficiency, "efficiency", &[S::Measure(D::Share, 1_000, 100_000)], "efficiency 90 %", "the efficiency"),
    STANDS,
    ON,
];

#[rustfmt::skip] // A row a line: it is read as a table.
const CIRCUIT: &[SettingRow] = &[
    VOLTS_ROW,
    row(Key::Breaker, "breaker", &[CURRENT], "breaker 16 A", "the breaker"),
];

/// Every setting of a block.
#[must_use]
pub fn rows(scope: Scope) -> &'static [SettingRow] {
    match scope {
        Scope::Of(BlockKind::Display) => DISPLAY,
        Scope::Of(BlockKind::Chip) => CHIP,
        Scope::Of(BlockKind::Node) => NODE,
        Scope::Of(BlockKind::Controller) => CONTROLLER,
        Scope::Of(BlockKind::Receiver) => RECEIVER,
        Scope::Of(BlockKind::Prop) => PROP,
        Scope::Of(BlockKind::Supply) => SUPPLY,
        Scope::Of(BlockKind::Circuit) => CIRCUIT,
        Scope::Ports => PORTS,
    }
}

/// The first words of a block's settings, each once.
#[must_use]
pub fn first_words(scope: Scope) -> Vec<&'static str> {
    let mut words: Vec<&str> =
        rows(scope).iter().map(|row| row.first).filter(|first| *first != "color").collect();
    words.dedup();
    words
}

/// The kinds of block that have a setting with this first word.
#[must_use]
pub fn blocks_with(first: &str) -> Vec<&'static str> {
    BlockKind::ALL
        .iter()
        .map(|kind| Scope::Of(*kind))
        .chain([Scope::Ports])
        .filter(|scope| rows(*scope).iter().any(|row| row.first == first))
        .map(Scope::word)
        .collect()
}
