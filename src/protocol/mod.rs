//! The inputs a controller may have: what each can carry and what it costs on the wire.
//!
//! A protocol is an entry of `ALL` and a file beside this one. Its words in the language are looked
//! up; they are no keywords.

mod artnet;
mod ddp;
mod e131;

use std::ops::RangeInclusive;

/// The universe numbers of a display: those of E1.31's data universes.
///
/// Source: ANSI E1.31-2018, 6.2.7 and 9.1.1.
pub const UNIVERSES: RangeInclusive<u32> = 1..=63_999;

/// How many slots of each universe a display counts, 1 to 512. Converts channels, counted from 0
/// over the whole display, to universe and slot and back.
///
/// Source: ANSI E1.11-2008 (R2018), 8.5.1 (512 data slots).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct UniverseSlots(u16);

impl UniverseSlots {
    /// All slots of a DMX universe.
    pub const ALL: Self = Self(512);

    /// `None` outside of 1 to 512.
    #[must_use]
    pub fn new(slots: u32) -> Option<Self> {
        let slots = u16::try_from(slots).ok()?;
        (1..=Self::ALL.0).contains(&slots).then_some(Self(slots))
    }

    /// As a count, 1 to 512.
    #[must_use]
    pub fn get(self) -> u32 {
        u32::from(self.0)
    }

    /// Channels from the first of one universe to the first of the next, 1 to 512.
    #[must_use]
    pub fn each(self) -> u64 {
        u64::from(self.0)
    }

    /// Universe and slot of a channel, both from 1.
    #[must_use]
    pub fn split(self, channel: u64) -> (u32, u32) {
        let universe = u32::try_from(channel / self.each()).unwrap_or(u32::MAX);
        let slot = (channel % self.each()) as u32;
        (universe.saturating_add(1), slot + 1)
    }

    /// A channel, from 0, in the form of a pin: `12/1`.
    #[must_use]
    pub fn place(self, channel: u64) -> String {
        let (universe, slot) = self.split(channel);
        format!("{universe}/{slot}")
    }

    /// The first channel, from 0, of a universe, from 1.
    #[must_use]
    pub fn begin(self, universe: u32) -> u64 {
        u64::from(universe.saturating_sub(1)) * self.each()
    }
}

impl Default for UniverseSlots {
    fn default() -> Self {
        Self::ALL
    }
}

impl std::fmt::Display for UniverseSlots {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

/// The priority of E1.31 data where the display sets none; the highest is 200.
///
/// Source: ANSI E1.31-2018, 6.2.3 and Appendix A.
pub const USUAL_PRIORITY: u32 = 100;

/// One way for data to reach a controller.
pub trait Protocol: Sync + std::fmt::Debug {
    /// The forms it may be written in after `input`, the plain one first.
    fn forms(&self) -> &'static [&'static str];

    /// The universes of the display that this form can carry.
    fn universes(&self, form: usize) -> RangeInclusive<u32>;

    /// The name of the standard or document, for messages and pages.
    fn standard(&self) -> &'static str;

    /// The address of one universe as text: a multicast group or a Port-Address; `None` where this
    /// form has no address of its own for a universe.
    fn universe_address(&self, form: usize, universe: u32) -> Option<String>;

    /// The number that this form gives to a universe of the display.
    fn number(&self, _form: usize, universe: u32) -> u32 {
        universe
    }

    /// What kind of address [`Self::universe_address`] gives; empty where it gives none.
    fn address_kind(&self) -> &'static str {
        ""
    }

    /// Whether its packets carry a priority and a synchronisation address.
    fn has_priority(&self) -> bool {
        false
    }

    /// Whether this form sends a universe once for all controllers that listen to it.
    fn to_a_group(&self, _form: usize) -> bool {
        false
    }

    /// The data offset of what comes after `_slots_before` slots of a controller, in bytes from its
    /// own first channel; `None` where the protocol has no such offset.
    fn data_offset(&self, _slots_before: u64) -> Option<u64> {
        None
    }

    /// How often the standard allows a universe to be sent; `None` where it sets no limit.
    fn pace(&self) -> Option<Pace> {
        None
    }

    /// Bits on the wire for one frame of a controller, Ethernet's own costs included. `slots` holds
    /// the highest slot in use of each of its universes.
    fn wire_bits(&self, slots: &[u32]) -> u64;
}

/// A limit on how often a universe may be sent: as often as a DMX512 packet can be.
#[derive(Clone, Copy, Debug)]
pub struct Pace {
    /// Whether that packet has as many slots as the universe; else it always has 512.
    pub of_its_slots: bool,
    /// The clause of the standard that says so.
    pub clause: &'static str,
}

/// All protocols, in the order of the guide.
pub const ALL: &[&dyn Protocol] = &[&e131::E131, &artnet::ArtNet, &ddp::Ddp];

/// A protocol in one of its forms.
#[derive(Clone, Copy, Debug)]
pub struct Input {
    /// Which protocol.
    pub protocol: &'static dyn Protocol,
    /// Which of its forms.
    pub form: usize,
}

impl Input {
    /// The input that is written as `words`, with one blank between words.
    #[must_use]
    pub fn find(words: &str) -> Option<Self> {
        ALL.iter().find_map(|protocol| {
            let form = protocol.forms().iter().position(|form| *form == words)?;
            Some(Self { protocol: *protocol, form })
        })
    }

    /// Its words, as a display writes them.
    #[must_use]
    pub fn words(&self) -> &'static str {
        self.protocol.forms().get(self.form).copied().unwrap_or("")
    }

    /// The number that it gives to a universe of the display.
    #[must_use]
    pub fn number(&self, universe: u32) -> u32 {
        self.protocol.number(self.form, universe)
    }

    /// The universes it can carry.
    #[must_use]
    pub fn universes(&self) -> RangeInclusive<u32> {
        self.protocol.universes(self.form)
    }
}

impl Default for Input {
    fn default() -> Self {
        // A controller that states no `input` has `e131 multicast`.
        Self { protocol: &e131::E131, form: e131::MULTICAST }
    }
}

/// Ethernet frame and gap, IP and UDP headers, in bytes, around each payload.
///
/// 38 (preamble 8, header 14, check 4, gap 12) + 20 (IPv4) + 8 (UDP); as the Distributed Display
/// Protocol document counts them.
pub const WIRE_OVERHEAD: u64 = 66;
