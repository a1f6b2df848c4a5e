//! How many slots a DMX512 output has time for.

use super::Time;

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
