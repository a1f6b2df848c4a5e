//! Translates lines and feeds of the display for the search.

use super::bus::{Bus, Trunk};
use super::places::Place;
use super::wire::{Feed, Norton, Wire};
use crate::cable::{self, FUSES, capacity, loop_ohms};
use crate::loads::From;
use crate::model::{FeedLead, Model};
use crate::power::make::celsius;
use crate::power::net::{Group, NetSection, Nets, volts};
use crate::power::network::LEAST_OHMS;

/// The largest common fuse for a conductor that may carry `most` microamperes; `None` where the
/// smallest is too large.
#[must_use]
pub fn blade(most: i64) -> Option<i64> {
    FUSES.into_iter().rfind(|fuse| *fuse <= most)
}

/// The current that a rating of `rating` microamperes allows for hours, in amperes.
fn lasting(rating: i64) -> f64 {
    cable::lasting(rating) as f64 * 1e-6
}

/// What the thinnest conductor of a line may carry, in microamperes.
#[must_use]
pub fn thinnest(stretch: &NetSection) -> i64 {
    let gauges = stretch.runs.iter().filter_map(|run| run.gauge);
    let most = gauges.map(|gauge| capacity(gauge).most_ua).min();
    most.unwrap_or(i64::MAX)
}

/// A line at a level as the search takes it. A node of constant power draws here what it draws at
/// its floor, which is the most.
#[must_use]
pub fn wire(model: &Model, nets: &Nets, stretch: &NetSection, level: u32) -> Wire {
    let mut wire = Wire::new();
    let made_for = stretch.volts.map_or(0.0, |volts| volts as f64 * 1e-3);
    for run in &stretch.runs {
        let draw = run.draw(&nets.makes, level);
        let amps = draw.at(draw.floor);
        let floor = (run.lit && amps > 0.0).then_some(run.floor);
        let most = |gauge| lasting(capacity(gauge).most_ua);
        let most = run.gauge.map_or(f64::INFINITY, most);
        // A run with less plus than minus begins at a cut; its segment counts as 0 ohm here.
        let cut = run.plus < run.minus;
        let ohms = if cut { 0.0 } else { run.plus + run.minus };
        wire.push(run.count, (ohms, amps), floor, most);
        if let Some(floor) = floor {
            wire.scale = (made_for - floor).max(0.1);
        }
    }
    let fixed = stretch.sites.iter().filter_map(|site| {
        let ohms = lead_ohms(model, &site.lead) + site.ohms;
        Some(Feed {
            at: site.point as usize,
            volts: volts(model, &site.lead, stretch.volts)?,
            siemens: 1.0 / ohms.max(LEAST_OHMS),
            most: lasting(lead_most(&site.lead)),
            new: false,
        })
    });
    wire.fixed = fixed.collect();
    wire.port = stretch.fuse.map_or(f64::INFINITY, |fuse| lasting(fuse.value));
    wire
}

fn lead_ohms(model: &Model, lead: &FeedLead) -> f64 {
    loop_ohms(lead.length_um, lead.gauge, celsius(model))
}

/// What a lead may carry by its conductor and its fuse, in microamperes.
fn lead_most(lead: &FeedLead) -> i64 {
    let most = capacity(lead.gauge).most_ua;
    lead.fuse.map_or(most, |fuse| fuse.value.min(most))
}

/// A group at a level as the search takes it; `None` where a voltage is not known.
#[must_use]
pub fn group_bus(
    model: &Model,
    nets: &Nets,
    group: &Group,
    level: impl Fn(&NetSection) -> u32,
) -> Option<Bus> {
    let trunk = match group.lead(model) {
        Some(lead) => {
            let siemens = 1.0 / lead_ohms(model, &lead).max(LEAST_OHMS);
            let usual = nets.of(group).next()?.volts;
            Some(Trunk {
                source: Norton { amps: volts(model, &lead, usual)? * siemens, siemens },
                most: lasting(lead_most(&lead)),
            })
        }
        None if nets.of(group).any(|stretch| stretch.from != From::Taps) => return None,
        None => None,
    };
    let known = |stretch: &NetSection| {
        let wire = wire(model, nets, stretch, level(stretch));
        (wire.fixed.len() == stretch.sites.len()).then_some(wire)
    };
    Some(Bus { trunk, lines: nets.of(group).map(known).collect::<Option<_>>()? })
}

/// The places of a line as feeds through a lead, with the largest common fuse; empty where even the
/// smallest is too large.
#[must_use]
pub fn feeds(model: &Model, stretch: &NetSection, places: &[Place], usual: FeedLead) -> Vec<Feed> {
    let most = thinnest(stretch).min(capacity(usual.gauge).most_ua);
    let Some((fuse, supply)) = blade(most).zip(volts(model, &usual, stretch.volts)) else {
        return Vec::new();
    };
    let feed = |place: &Place| Feed {
        at: place.point as usize,
        volts: supply,
        siemens: 1.0 / (lead_ohms(model, &place.lead(usual)) + place.ohms).max(LEAST_OHMS),
        most: lasting(fuse),
        new: true,
    };
    places.iter().map(feed).collect()
}
