//! What an output has time and room for: frame time, node limits, DMX refresh; in whole numbers.

mod dmx;
mod time;

pub use dmx::*;
pub use time::*;

use crate::chip::{BitTime, USUAL};
use crate::keyed::Keyed;
use crate::model::{
    ControllerId, InjectAt, Model, NodeId, NodeKind, PieceKind, ReceiverId, Stated, StringId,
};

/// What one node costs on the data line.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct NodeTime {
    /// Its bits.
    pub bits: u32,
    /// Clocks after the data that each node adds, in quarters of a bit.
    pub tail_quarters: u32,
    /// The time of one; `None` for a clocked chip, whose pace its controller sets.
    pub bit: Option<BitTime>,
    /// What a frame takes besides its nodes: the bits before the data, and the latch after it.
    pub around: Time,
}

impl NodeTime {
    /// That of a string's nodes; `None` for a fixture.
    #[must_use]
    pub fn of(model: &Model, id: StringId) -> Option<Self> {
        model.node_of(id).map(|node| Self::of_kind(model, node))
    }

    /// That of a make of node.
    #[must_use]
    pub fn of_kind(model: &Model, node: &NodeKind) -> Self {
        let chip = node.chip.map(|chip| &model.chips[chip.value]);
        let (bit, latch_ns, header) = match chip {
            Some(chip) => (chip.bit, chip.latch_ns, chip.header_bits),
            None => (USUAL.bit, USUAL.latch_ns, USUAL.header_bits),
        };
        let header = bit.map_or(Time::ZERO, |bit| Time::bits(u128::from(header), bit));
        Self {
            bits: node.bits,
            tail_quarters: chip.map_or(0, |chip| chip.tail_quarters),
            bit,
            around: Time::ns(latch_ns).plus(header),
        }
    }

    /// How many of these nodes one frame has time for; `None` for a clocked chip.
    #[must_use]
    pub fn most(self, frame_rate_mhz: u64) -> Option<u32> {
        let frame = Time::frame(frame_rate_mhz);
        let room = self.around.room(frame, self.of_nodes(1))?;
        Some(u32::try_from(room.max(0)).unwrap_or(u32::MAX))
    }

    /// The time of a number of nodes.
    #[must_use]
    pub fn of_nodes(self, nodes: u64) -> Time {
        let Some(bit) = self.bit else {
            return Time::ZERO;
        };
        if self.tail_quarters == 0 {
            return Time::bits(u128::from(self.bits) * u128::from(nodes), bit);
        }
        let quarters = 4 * u128::from(self.bits) + u128::from(self.tail_quarters);
        let quarter = BitTime { divisor: bit.divisor.saturating_mul(4), ..bit };
        Time::bits(quarters * u128::from(nodes), quarter)
    }
}

/// What hangs on a data line, added piece by piece in data order. A stored string adds only its
/// slots.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Load {
    /// Nodes that light.
    pub nodes: u64,
    /// Nodes that show nothing.
    pub skipped: u64,
    /// Slots, those of stored strings included.
    pub slots: u64,
    /// The time of all nodes but those in `run`.
    busy: Time,
    /// How many nodes of the last make stand in a row, with the skipped ones among and after them.
    run: u64,
    around: Time,
    last: Option<NodeTime>,
    /// The make that `last` belongs to.
    make: Option<NodeId>,
    /// Skipped nodes at the head of the line: they cost as much as nodes of the first string.
    waiting: u64,
}

impl Default for Load {
    fn default() -> Self {
        Self {
            nodes: 0,
            skipped: 0,
            slots: 0,
            busy: Time::ZERO,
            run: 0,
            around: Time::ZERO,
            last: None,
            make: None,
            waiting: 0,
        }
    }
}

impl Load {
    /// Adds a piece at the end.
    pub fn add(&mut self, model: &Model, piece: PieceKind) {
        match piece {
            PieceKind::Lead(..) => {}
            PieceKind::Skip(count) => {
                let count = u64::from(count);
                self.skipped += count;
                match self.last {
                    Some(_) => self.run += count,
                    None => self.waiting += count,
                }
            }
            PieceKind::String(id, _) => self.string(model, id),
        }
    }

    fn string(&mut self, model: &Model, id: StringId) {
        let shape = model.shape(id);
        self.slots += u64::from(shape.slots);
        if !model.is_up(id) {
            return;
        }
        self.nodes += u64::from(shape.nodes);
        self.skipped += u64::from(shape.skips);
        let count = u64::from(shape.nodes) + u64::from(shape.skips);
        // Most neighbours are of one make, and then nothing but the count changes.
        if self.last.is_some() && shape.node == self.make {
            self.run += count;
            return;
        }
        let Some(time) = NodeTime::of(model, id) else {
            return;
        };
        self.busy = self.busy();
        self.run = count + std::mem::take(&mut self.waiting);
        self.make = shape.node;
        self.around = self.around.longer(time.around);
        self.last = Some(time);
    }

    /// The time of all nodes.
    fn busy(&self) -> Time {
        self.last.map_or(self.busy, |last| self.busy.plus(last.of_nodes(self.run)))
    }

    /// Nodes in the data line, skips included.
    #[must_use]
    pub fn length(&self) -> u64 {
        self.nodes + self.skipped
    }

    /// The time of one frame on this line, header and latch included.
    #[must_use]
    pub fn time(&self) -> Time {
        self.busy().plus(self.around)
    }

    /// Whether it can be sent in one frame.
    #[must_use]
    pub fn in_time(&self, model: &Model) -> bool {
        self.last.is_none() || self.time().within(Time::frame(model.display.frame_rate_mhz))
    }

    /// How many nodes one frame has time for: those there and more like the last; `None`: no limit.
    #[must_use]
    pub fn frame_nodes(&self, model: &Model) -> Option<u64> {
        let frame = Time::frame(model.display.frame_rate_mhz);
        let room = self.time().room(frame, self.last?.of_nodes(1))?;
        Some(self.length().saturating_add_signed(room))
    }

    /// How many more nodes of a kind one frame has time for; `None` for no limit.
    #[must_use]
    pub fn room(&self, model: &Model, each: NodeTime) -> Option<u64> {
        let around = self.around.longer(each.around);
        let frame = Time::frame(model.display.frame_rate_mhz);
        let room = self.busy().plus(around).room(frame, each.of_nodes(1))?;
        Some(u64::try_from(room).unwrap_or(0))
    }

    /// What a node of its last string costs.
    #[must_use]
    pub fn last(&self) -> Option<NodeTime> {
        self.last
    }
}

/// How much a pixel port may take, as someone set it.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum PortLimit {
    /// No limit but the frame time.
    Time,
    /// Nodes, skips included.
    Nodes(Stated<u32>),
    /// Slots; the frame time does not count.
    Slots(Stated<u32>),
}

impl PortLimit {
    /// The limit of a port: the smallest that receivers in use on it set, else the controller's.
    #[must_use]
    pub fn of(
        model: &Model,
        controller: ControllerId,
        port: u32,
        receivers: impl Iterator<Item = ReceiverId>,
    ) -> Self {
        let own = receivers
            .filter_map(|id| {
                let receiver = &model.receivers[id];
                let number = port.checked_sub(receiver.first)? + 1;
                let own = receiver.ports.iter().find(|p| p.number == number)?;
                let settings = &own.settings;
                let slots = settings.slots.map(Self::Slots);
                slots.or(settings.nodes.map(Self::Nodes))
            })
            .min_by_key(|limit| limit.value());
        own.unwrap_or_else(|| {
            let port = model.controllers[controller].port(port);
            port.map_or(Self::Time, |port| {
                let slots = port.settings.slots.map(Self::Slots);
                let nodes = port.settings.nodes.map(Self::Nodes);
                slots.or(nodes).unwrap_or(Self::Time)
            })
        })
    }

    fn value(self) -> u32 {
        match self {
            Self::Time => u32::MAX,
            Self::Nodes(told) | Self::Slots(told) => told.value,
        }
    }

    /// The figure that the table shows: the nodes (or slots) that the port may take with this load.
    #[must_use]
    pub fn figure(self, model: &Model, load: &Load) -> Option<u32> {
        let time = load.frame_nodes(model).map(|nodes| u32::try_from(nodes).unwrap_or(u32::MAX));
        match self {
            Self::Time => time,
            Self::Nodes(told) => Some(time.map_or(told.value, |time| time.min(told.value))),
            Self::Slots(told) => Some(told.value),
        }
    }
}

/// Which strings take only data from their port, since an injection `apart` feeds their start.
#[must_use]
pub fn fed_apart(model: &Model) -> Keyed<StringId, bool> {
    let mut fed = model.strings.map(|_| false);
    for injection in &model.injections {
        let start = matches!(injection.place, InjectAt::Start | InjectAt::Node(1));
        if !injection.apart || !start {
            continue;
        }
        for id in &injection.strings {
            fed[*id] = true;
        }
    }
    fed
}

#[cfg(test)]
mod tests {
    use super::*;

    fn most(bits: u32, bit: BitTime, latch_us: u64, fps: u64) -> Option<i64> {
        let node = Time::bits(u128::from(bits), bit);
        Time::ns(latch_us * 1_000).room(Time::frame(fps * 1_000), node)
    }

    // Data-sheet arithmetic: floor((1e6 / fps - latch) / (bits * bit time)). Cells such as 24 bits,
    // 50 us, 20 fps divide evenly; binary fractions are one short there.
    #[test]
    fn nodes_in_a_frame_are_exact() {
        let fast = BitTime::of_rate(800);
        let rates = [20, 25, 30, 40, 44, 50, 60];
        let table = [
            (24, 50, [1665, 1331, 1109, 831, 755, 665, 553]),
            (24, 300, [1656, 1323, 1101, 823, 747, 656, 545]),
            (32, 80, [1248, 998, 831, 623, 566, 498, 414]),
            (32, 300, [1242, 992, 825, 617, 560, 492, 409]),
        ];
        for (bits, latch, row) in table {
            for (fps, nodes) in rates.into_iter().zip(row) {
                assert_eq!(most(bits, fast, latch, fps), Some(nodes), "{bits} {latch} {fps}");
            }
        }
        let slow = BitTime::of_rate(400);
        for (fps, nodes) in [(20, 832), (25, 665), (30, 554), (40, 415), (50, 332)] {
            assert_eq!(most(24, slow, 50, fps), Some(nodes), "{fps}");
        }
    }

    // WS2811 data sheet: at least 1,024 nodes (fast) and 512 (slow) at 30 frames a second.
    #[test]
    fn the_data_sheets_own_figures_fit() {
        assert!(most(24, BitTime::of_rate(800), 50, 30) >= Some(1_024));
        assert!(most(24, BitTime::of_rate(400), 50, 30) >= Some(512));
    }

    // 680 RGB nodes and 300 us: 20.7 ms, 48.3 frames a second.
    #[test]
    fn a_line_tells_its_rate() {
        let time = Time::bits(680 * 24, BitTime::of_rate(800)).plus(Time::ns(300_000));
        assert_eq!(time.words(), "20.7 ms");
        assert_eq!(time.rate_mhz(), Some(48_309));
    }

    #[test]
    fn what_is_over_counts_down() {
        let node = Time::ns(30_000);
        let frame = Time::ns(25_000_000);
        assert_eq!(Time::ns(25_000_001).room(frame, node), Some(-1));
        assert_eq!(Time::ns(25_030_001).room(frame, node), Some(-2));
        assert_eq!(Time::ns(25_000_000).room(frame, node), Some(0));
        assert_eq!(Time::ns(1).room(frame, Time::ZERO), None);
    }

    #[test]
    fn odd_rates_add_up_exactly() {
        let third = Time::bits(1, BitTime::of_rate(300));
        let sum = third.plus(third).plus(third);
        assert!(sum.within(Time::ns(10_000)) && Time::ns(10_000).within(sum));
        let mixed = Time::bits(7, BitTime::of_rate(700)).plus(Time::bits(3, BitTime::of_rate(300)));
        assert!(mixed.within(Time::ns(20_000)) && Time::ns(20_000).within(mixed));
    }

    // Sums of many rates must not overflow; at worst they are rounded up.
    #[test]
    fn many_strange_rates_stay_close() {
        let primes = [999_983, 999_979, 999_961, 999_959, 999_953, 999_931];
        let sum = primes
            .iter()
            .fold(Time::ZERO, |sum, p| sum.plus(Time::bits(1_000_000, BitTime::of_rate(*p))));
        assert!(Time::ns(6_000_000).within(sum));
        assert!(sum.within(Time::ns(6_001_000)));
    }

    // ANSI E1.11 timing: 512 slots 44.10 Hz, 24 slots 830.56 Hz; 50 Hz 451 slots, 60 Hz 375 slots.
    #[test]
    fn dmx_refresh_follows_the_slot_count() {
        let rates = [
            (1, 830_564),
            (24, 830_564),
            (48, 442_477),
            (96, 228_728),
            (128, 173_010),
            (170, 131_095),
            (256, 87_627),
            (384, 58_671),
            (510, 44_271),
            (512, 44_099),
        ];
        for (slots, rate) in rates {
            assert_eq!(dmx_packet(slots).rate_mhz(), Some(rate), "{slots}");
        }
        assert_eq!(dmx_slots(40_000), 512);
        assert_eq!(dmx_slots(44_099), 512);
        assert_eq!(dmx_slots(50_000), 451);
        assert_eq!(dmx_slots(60_000), 375);
        assert_eq!(dmx_slots(830_564), 24);
        assert_eq!(dmx_slots(900_000), 0);
    }
}
