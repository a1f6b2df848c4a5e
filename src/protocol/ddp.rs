//! Distributed Display Protocol.

use super::Protocol;
use std::ops::RangeInclusive;

/// The protocol.
#[derive(Debug)]
pub struct Ddp;

/// The most data bytes in one packet.
const PAYLOAD: u64 = 1_440;

/// Bytes of a header without a time code.
const HEADER: u64 = 10;

impl Protocol for Ddp {
    fn forms(&self) -> &'static [&'static str] {
        &["ddp"]
    }

    // Its 32-bit offsets reach beyond all universes of a display.
    fn universes(&self, _form: usize) -> RangeInclusive<u32> {
        super::UNIVERSES
    }

    fn standard(&self) -> &'static str {
        "Distributed Display Protocol"
    }

    fn universe_address(&self, _form: usize, _universe: u32) -> Option<String> {
        None
    }

    fn data_offset(&self, slots_before: u64) -> Option<u64> {
        Some(slots_before)
    }

    // Each universe counts up to its highest slot in use; packets are cut at 1,440 bytes.
    fn wire_bits(&self, slots: &[u32]) -> u64 {
        let bytes: u64 = slots.iter().map(|slots| u64::from(*slots)).sum();
        let packets = bytes.div_ceil(PAYLOAD);
        8 * (bytes + packets * (HEADER + super::WIRE_OVERHEAD))
    }
}
