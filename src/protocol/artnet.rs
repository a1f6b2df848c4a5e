//! Art-Net 4.

use super::{Pace, Protocol};
use std::ops::RangeInclusive;

/// The protocol.
#[derive(Debug)]
pub struct ArtNet;

/// Index of the form whose Port-Addresses count from 0.
const FROM_ZERO: usize = 1;

/// Bytes of an ArtDmx packet before its data.
const HEADER: u64 = 18;

/// The highest Port-Address: 15 bits.
const HIGHEST: u32 = 32_767;

impl Protocol for ArtNet {
    fn forms(&self) -> &'static [&'static str] {
        &["artnet", "artnet from 0"]
    }

    // Port-Address 0 to 32,767; the display's universes begin at 1.
    fn universes(&self, form: usize) -> RangeInclusive<u32> {
        if form == FROM_ZERO { 1..=HIGHEST + 1 } else { 1..=HIGHEST }
    }

    fn standard(&self) -> &'static str {
        "Art-Net 4"
    }

    fn number(&self, form: usize, universe: u32) -> u32 {
        universe.saturating_sub(u32::from(form == FROM_ZERO))
    }

    // Net 7 bits, sub-net 4 bits, universe 4 bits.
    fn universe_address(&self, form: usize, universe: u32) -> Option<String> {
        if !self.universes(form).contains(&universe) {
            return None;
        }
        let address = self.number(form, universe);
        Some(format!("{address} ({}:{}:{})", address >> 8, (address >> 4) & 15, address & 15))
    }

    fn address_kind(&self) -> &'static str {
        "Port-Address"
    }

    // Art-Net 4, ArtDmx: no faster to one address than DMX512 repeats packets of 512 slots.
    fn pace(&self) -> Option<Pace> {
        Some(Pace { of_its_slots: false, clause: "Art-Net 4, ArtDmx" })
    }

    // ArtDmx carries an even number of slots, 2 to 512.
    fn wire_bits(&self, slots: &[u32]) -> u64 {
        slots
            .iter()
            .map(|slots| {
                let even = u64::from(*slots).max(2).next_multiple_of(2);
                8 * (HEADER + even + super::WIRE_OVERHEAD)
            })
            .sum()
    }
}
