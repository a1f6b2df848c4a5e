//! How many slots a DMX512 output has time for, and how many of them are reserved.

use super::Time;
use crate::model::{ControllerId, Model, Output};
use std::collections::BTreeMap;

/// The most data slots of a DMX512 packet; ANSI E1.11.
pub const DMX_SLOTS: u32 = 512;

/// The time of a DMX512 packet with `slots` data slots: 92 us break, 12 us mark, 44 us for each
/// slot and for the START code; at least 1,204 us from break to break. Source: ANSI E1.11.
#[must_use]
pub fn dmx_packet(slots: u32) -> Time {
    let us = (92 + 12 + 44 * (u64::from(slots) + 1)).max(1_204);
    Time::ns(us * 1_000)
}

/// The most data slots that a DMX512 output can send at a frame rate in millihertz; 0 where even
/// the shortest packet takes longer than a frame.
#[must_use]
pub fn dmx_slots(rate_mhz: u64) -> u32 {
    let frame = Time::frame(rate_mhz);
    if !dmx_packet(0).within(frame) {
        return 0;
    }
    let room = dmx_packet(24).room(frame, Time::ns(44_000)).unwrap_or(0);
    let slots = 24_u64.saturating_add_signed(room);
    u32::try_from(slots).unwrap_or(DMX_SLOTS).min(DMX_SLOTS)
}

/// How many slots of each DMX output are reserved. What two statements reserve counts once.
#[must_use]
pub fn reserved_slots(model: &Model) -> BTreeMap<(ControllerId, Output), u64> {
    let rows = model.reserved_outputs.iter();
    let mut rows: Vec<_> =
        rows.filter_map(|row| Some(((row.controller, row.output), row.slots?))).collect();
    rows.sort_unstable();
    let mut reserved: BTreeMap<_, (u64, u32)> = BTreeMap::new();
    for (output, (first, last)) in rows {
        let (count, end) = reserved.entry(output).or_default();
        *count += u64::from(last.saturating_sub(first.saturating_sub(1).max(*end)));
        *end = last.max(*end);
    }
    reserved.into_iter().map(|(output, (count, _))| (output, count)).collect()
}
