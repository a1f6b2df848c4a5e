//! What is wrong with a line, of the faults that injections could cure.

use crate::cable::{capacity, lasts};
use crate::loads::{Because, From, SectionId, Study};
use crate::model::{FeedLead, Model};
use crate::unit::Gauge;

/// The first fault of a line: dark nodes, fuse, conductor or lead; `Neighbour` if it has none.
#[must_use]
pub fn because(model: &Model, study: &Study, id: SectionId) -> Because {
    let section = &study.sections[id];
    if let Some(low) = section.dark {
        return Because::Dark(low);
    }
    let over = |ua: i64, most: i64| !lasts(ua.abs(), most);
    if section.fuse.is_some_and(|fuse| over(section.port_ua, fuse.value)) {
        return Because::Fuse(section.port_ua.abs());
    }
    let own = study.conductors.iter();
    let mut own = own.filter(|conductor| conductor.section == id);
    let carries = |gauge: Gauge, ua: i64| over(ua, capacity(gauge).most_ua);
    if own.any(|one| carries(one.gauge, one.plus.ua) || carries(one.gauge, one.minus.ua)) {
        return Because::Conductor;
    }
    let lead_over = |lead: &FeedLead, ua: i64| {
        carries(lead.gauge, ua) || lead.fuse.is_some_and(|fuse| over(ua, fuse.value))
    };
    let mut taps = study.taps.iter().filter(|tap| tap.section == id);
    let tap_over = taps.any(|tap| lead_over(&model.injections[tap.injection].lead, tap.ua));
    let feed_over = match section.from {
        From::Power(power) => lead_over(&model.powers[power].lead, study.feeds[power].ua),
        _ => false,
    };
    if tap_over || feed_over { Because::Lead } else { Because::Neighbour }
}
