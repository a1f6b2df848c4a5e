//! Streaming ACN, ANSI E1.31-2018.

use super::{Pace, Protocol};
use std::ops::RangeInclusive;

/// The protocol.
#[derive(Debug)]
pub struct E131;

/// Index of the multicast form.
pub const MULTICAST: usize = 1;

/// Bytes of a data packet around its slots; E1.31-2018 Table 4-1.
const PACKET: u64 = 126;

impl Protocol for E131 {
    fn forms(&self) -> &'static [&'static str] {
        &["e131", "e131 multicast", "e131 unicast"]
    }

    // E1.31-2018, 6.2.7: data universes are 1 to 63,999.
    fn universes(&self, _form: usize) -> RangeInclusive<u32> {
        super::UNIVERSES
    }

    fn standard(&self) -> &'static str {
        "ANSI E1.31"
    }

    // E1.31-2018, 9.3.1: 239.255 and the two bytes of the universe.
    fn universe_address(&self, form: usize, universe: u32) -> Option<String> {
        (form <= MULTICAST && super::UNIVERSES.contains(&universe))
            .then(|| format!("239.255.{}.{}", universe >> 8, universe & 255))
    }

    fn address_kind(&self) -> &'static str {
        "multicast"
    }

    // E1.31-2018, 6.2.3 and 6.2.4, fields of Table 4-1.
    fn has_priority(&self) -> bool {
        true
    }

    fn to_a_group(&self, form: usize) -> bool {
        form <= MULTICAST
    }

    // E1.31-2018, 6.6.1: no faster than ANSI E1.11 repeats as many slots, unless a user sets it so.
    fn pace(&self) -> Option<Pace> {
        Some(Pace { of_its_slots: true, clause: "ANSI E1.31-2018, 6.6.1" })
    }

    fn wire_bits(&self, slots: &[u32]) -> u64 {
        slots.iter().map(|slots| 8 * (PACKET + u64::from(*slots) + super::WIRE_OVERHEAD)).sum()
    }
}
