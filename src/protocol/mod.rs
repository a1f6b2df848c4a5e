//! The inputs a controller may have: what each can carry and what it costs on the wire.
//!
//! A protocol is a row here and a file beside this one. Its word in the language is looked up, not a
//! keyword.

mod artnet;
mod ddp;
mod e131;

use std::ops::RangeInclusive;

/// The universes that a display counts with: E1.31's data universes.
///
/// Source: ANSI E1.31-2018, 6.2.7 and 9.1.1.
pub const UNIVERSES: RangeInclusive<u32> = 1..=63_999;

/// How many slots a display counts in each universe: 1 to 512. It turns channels, counted from 0 over the whole display,
/// into universes and slots and back.
///
/// Source: ANSI E1.11-2008 (R2018), 8.5.1 (512 data slots).
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub struct UniverseSlots(u16);

impl UniverseSlots {
    /// All that DMX has.
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

    /// Channels from one universe to the next, 1 to 512.
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

    /// A channel as a pin is written: `12/1`.
    #[must_use]
    pub fn place(self, channel: u64) -> String {
        let (universe, slot) = self.split(channel);
        format!("{universe}/{slot}")
    }

    /// The first channel of a universe, which counts from 1.
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

/// The priority of E1.31 data where nothing is said; the highest is 200.
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

    /// Where one universe goes: a multicast group or a Port-Address in words; `None` where the protocol
    /// has no address of its own for a universe.
    fn universe_address(&self, form: usize, universe: u32) -> Option<String>;

    /// The number by which this form knows a universe of the display.
    fn number(&self, _form: usize, universe: u32) -> u32 {
        universe
    }

    /// What [`Self::universe_address`] gives, in a word or two; empty where it gives nothing.
    fn address_kind(&self) -> &'static str {
        ""
    }

    /// Whether its packets carry a priority and a synchronisation address.
    fn has_priority(&self) -> bool {
        false
    }

    /// Whether this form sends a universe once for all that listen to it.
    fn to_a_group(&self, _form: usize) -> bool {
        false
    }

    /// Where a controller's data begin in the protocol's own count, for one that has such a count (a data
    /// offset in bytes from the controller's own first channel).
    fn data_offset(&self, _slots_before: u64) -> Option<u64> {
        None
    }

    /// How often the standard lets a universe be sent, where it has a limit.
    fn pace(&self) -> Option<Pace> {
        None
    }

    /// Bits on the wire for one frame of a controller: `slots` holds the highest slot in use of each of its
    /// universes, Ethernet's own costs included.
    fn wire_bits(&self, slots: &[u32]) -> u64;
}

/// A limit on how often a universe may be sent: as often as a DMX512 packet can be.
#[derive(Clone, Copy, Debug)]
pub struct Pace {
    /// Whether a packet with as many slots as the universe has is meant; else always one with 512.
    pub of_its_slots: bool,
    /// Where the standard says so.
    pub clause: &'static str,
}

/// All of them, in the order of the guide.
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
    /// The one whose written form, words joined by one blank, is `words`.
    #[must_use]
    pub fn find(words: &str) -> Option<Self> {
        ALL.iter().find_map(|protocol| {
            let form = protocol.forms().iter().position(|form| *form == words)?;
            Some(Self { protocol: *protocol, form })
        })
    }

    /// It as written.
    #[must_use]
    pub fn words(&self) -> &'static str {
        self.protocol.forms().get(self.form).copied().unwrap_or("")
    }

    /// The number by which it knows a universe of the display.
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
        // `input` is `e131 multicast` where none is said.
        Self { protocol: &e131::E131, form: e131::MULTICAST }
    }
}

/// Ethernet frame and gap, IP and UDP headers, in bytes, around each payload.
///
/// 38 (preamble 8, header 14, check 4, gap 12) + 20 (IPv4) + 8 (UDP); as the Distributed Display Protocol
/// document counts them.
pub const WIRE_OVERHEAD: u64 = 66;
