//! What is wrong with a line: the first of what points of injection could help.

use crate::cable::capacity;
use crate::loads::{Because, From, Section, Study, lasts_over};
use crate::model::{FeedLead, Model};
use crate::unit::Gauge;

/// What is wrong with a line.
#[must_use]
pub fn because(model: &Model, section: &Section, study: &Study, index: usize) -> Because {
    if let Some(low) = section.dark {
        return Because::Dark(low);
    }
    let over = |ua: i64, most: i64| lasts_over(ua.abs(), most);
    if section
        .fuse
        .is_some_and(|fuse| over(section.port_ua, fuse.value))
    {
        return Because::Fuse(section.port_ua.abs());
    }
    let own = study.conductors.iter();
    let mut own = own.filter(|conductor| conductor.section as usize == index);
    let carries = |gauge: Gauge, ua: i64| over(ua, capacity(gauge).most_ua);
    if own.any(|one| carries(one.gauge, one.plus.ua) || carries(one.gauge, one.minus.ua)) {
        return Because::Conductor;
    }
    let mut taps = study
        .taps
        .iter()
        .filter(|tap| tap.section as usize == index);
    let lead_over = |lead: &FeedLead, ua: i64| {
        carries(lead.gauge, ua) || lead.fuse.is_some_and(|fuse| over(ua, fuse.value))
    };
    let tap_over = taps.any(|tap| {
        let injection = model.injections.get(tap.injection as usize);
        injection.is_some_and(|injection| lead_over(&injection.lead, tap.ua))
    });
    let feed = match section.from {
        From::Power(power) => {
            let power = power as usize;
            model.powers.get(power).zip(study.feeds.get(power))
        }
        _ => None,
    };
    let feed_over = feed.is_some_and(|(power, feed)| lead_over(&power.lead, feed.ua));
    match (tap_over, feed_over) {
        (false, false) => Because::Neighbour,
        _ => Because::Lead,
    }
}
