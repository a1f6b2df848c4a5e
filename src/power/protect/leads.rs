//! Leads of `power` and `inject`, with a fuse of their own, of their supply, or none.

use super::{Protect, over, thinner};
use crate::cable::capacity;
use crate::diagnostic::Sink;
use crate::diagnostic::words::shown;
use crate::loads::From;
use crate::model::{FeedLead, Injection};
use crate::rules::power::fuse::{Before, Lead, Wire, lead_without, supply_too_large, too_large};
use crate::usage::{fed_ports, inject_place};

/// The conductor of a lead from a supply.
fn own(lead: &FeedLead) -> Wire {
    Wire {
        gauge: lead.gauge,
        at: None,
        what: "its conductor".to_owned(),
    }
}

impl Protect<'_> {
    /// Leads of `power` statements, each with the ports after it.
    pub(super) fn powers(&self, sink: &mut Sink) {
        let mut unnamed: Vec<Vec<usize>> = vec![Vec::new(); self.model.powers.len()];
        for (index, stretch) in self.nets.all().enumerate() {
            if let (From::Power(power), None) = (stretch.from, stretch.fuse)
                && let Some(ports) = unnamed.get_mut(power as usize)
            {
                ports.push(index);
            }
        }
        for (index, (power, ports)) in self.model.powers.iter().zip(&unnamed).enumerate() {
            let ua = self
                .loads
                .allowed
                .feeds
                .get(index)
                .map_or(0, |feed| feed.ua.abs());
            let lead = Lead {
                at: power.at,
                what: &format!("the lead that feeds `{}`", fed_ports(self.model, power)),
                thinnest: &own(&power.lead),
                ua,
            };
            self.lead(&lead, &power.lead, ports, sink);
            if let Some(fuse) = power.lead.fuse.or(self.supply_fuse(&power.lead)) {
                self.unnamed_after(power, fuse, ports, sink);
            }
        }
    }

    /// The fuse of a lead, or of its supply, against the thinnest conductor after it, or that there is none.
    fn lead(&self, lead: &Lead<'_>, feed: &FeedLead, unnamed: &[usize], sink: &mut Sink) {
        let whose = self.supply_name(feed);
        match (feed.fuse, self.supply_fuse(feed)) {
            (Some(fuse), _) if over(fuse, lead.thinnest) => {
                let before = Before {
                    whose: lead.what,
                    fuse,
                };
                sink.push(too_large(&before, lead.thinnest, lead.ua, None));
            }
            (None, Some(fuse)) if over(fuse, lead.thinnest) => {
                let before = Before {
                    whose: &whose,
                    fuse,
                };
                sink.push(supply_too_large(lead, &before));
            }
            (None, None) => sink.push(lead_without(lead, &self.named(unnamed))),
            _ => {}
        }
    }

    /// Leads of `inject` statements, each with the plus of the lines that they feed.
    pub(super) fn injections(&self, sink: &mut Sink) {
        // For each, the stretches that it feeds: whether any, and the one with the thinnest conductor.
        let mut after = vec![(false, None); self.model.injections.len()];
        for (index, stretch) in self.nets.all().enumerate() {
            for site in &stretch.sites {
                let Some((any, thinnest)) = after.get_mut(site.injection as usize) else {
                    continue;
                };
                *any = true;
                if self.may(Some(index)) < self.may(*thinnest) {
                    *thinnest = Some(index);
                }
            }
        }
        for (index, (injection, after)) in self.model.injections.iter().zip(after).enumerate() {
            let (true, thinnest) = after else { continue };
            let after = thinnest.and_then(|index| self.thin(index).cloned());
            let lead = Lead {
                at: injection.at,
                what: &self.injection(injection),
                thinnest: &thinner(own(&injection.lead), after),
                ua: self.tapped(index as u32),
            };
            self.lead(&lead, &injection.lead, &[], sink);
        }
    }

    /// What the thinnest conductor of a stretch may carry, in microamperes; without end where none is known.
    fn may(&self, stretch: Option<usize>) -> i64 {
        let wire = stretch.and_then(|index| self.thin(index));
        wire.map_or(i64::MAX, |wire| capacity(wire.gauge).most_ua)
    }

    fn injection(&self, injection: &Injection) -> String {
        let first = injection.strings.first();
        let name = first.map_or_else(String::new, |id| self.model.name_of(*id));
        let place = inject_place(injection.place);
        match injection.strings.len() {
            0 | 1 => format!("the injection into `{}` (`{place}`)", shown(&name)),
            more => format!(
                "the injection into `{}` and {} more (`{place}`)",
                shown(&name),
                more - 1
            ),
        }
    }

    /// The most that flows in at a point of an injection.
    fn tapped(&self, injection: u32) -> i64 {
        let taps = &self.loads.allowed.taps;
        let from = taps.partition_point(|tap| tap.injection < injection);
        let mine = taps.get(from..).unwrap_or_default().iter();
        let mine = mine.take_while(|tap| tap.injection == injection);
        mine.map(|tap| tap.ua.saturating_abs()).max().unwrap_or(0)
    }
}
