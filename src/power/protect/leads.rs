//! Leads of `power` and `inject`: with a fuse of their own, with their supply's, or with none.

use super::{Guarded, Protect, over, thinner};
use crate::cable::capacity;
use crate::diagnostic::Sink;
use crate::diagnostic::words::shown;
use crate::keyed::Keyed;
use crate::loads::From;
use crate::model::{FeedLead, Injection, InjectionId, PowerId};
use crate::rules::power::fuse::{Before, Lead, Wire, lead_without, supply_too_large, too_large};
use crate::usage::{fed_ports, inject_place};

/// The conductor of a lead from a supply.
fn own(lead: &FeedLead) -> Wire {
    Wire { gauge: lead.gauge, at: None, what: "its conductor".to_owned() }
}

impl Protect<'_> {
    /// Checks the leads of `power` statements, each with the ports after it.
    pub(super) fn powers(&self, sink: &mut Sink) {
        let powers = &self.model.powers;
        let mut unnamed: Keyed<PowerId, Vec<&Guarded<'_>>> = powers.map(|_| Vec::new());
        for one in &self.all {
            if let (From::Power(power), None) = (one.stretch.from, one.stretch.fuse) {
                unnamed[power].push(one);
            }
        }
        for (id, power) in powers.pairs() {
            let ports = &unnamed[id];
            let lead = Lead {
                at: power.at,
                what: &format!("the lead that feeds `{}`", fed_ports(self.model, power)),
                thinnest: &own(&power.lead),
                ua: self.loads.allowed.feeds[id].ua.abs(),
            };
            self.lead(&lead, &power.lead, ports, sink);
            if let Some(fuse) = power.lead.fuse.or(self.supply_fuse(&power.lead)) {
                self.unnamed_after(power, fuse, ports, sink);
            }
        }
    }

    /// Checks the fuse of a lead, or of its supply, against the thinnest conductor after it;
    /// reports a lead that has neither.
    fn lead(&self, lead: &Lead<'_>, feed: &FeedLead, unnamed: &[&Guarded<'_>], sink: &mut Sink) {
        let whose = self.supply_name(feed);
        match (feed.fuse, self.supply_fuse(feed)) {
            (Some(fuse), _) if over(fuse, lead.thinnest) => {
                let before = Before { whose: lead.what, fuse };
                sink.push(too_large(&before, lead.thinnest, lead.ua, None));
            }
            (None, Some(fuse)) if over(fuse, lead.thinnest) => {
                let before = Before { whose: &whose, fuse };
                sink.push(supply_too_large(lead, &before));
            }
            (None, None) => sink.push(lead_without(lead, &self.named(unnamed.iter().copied()))),
            _ => {}
        }
    }

    /// Checks the leads of `inject` statements, each with the plus of the lines that they feed.
    pub(super) fn injections(&self, sink: &mut Sink) {
        // For each injection: whether it feeds any stretch, and the thinnest conductor of these.
        let injections = &self.model.injections;
        let mut after: Keyed<InjectionId, (bool, Option<&Wire>)> =
            injections.map(|_| (false, None));
        for one in &self.all {
            for site in &one.stretch.sites {
                let (any, thinnest) = &mut after[site.injection];
                *any = true;
                if may(one.thin.as_ref()) < may(*thinnest) {
                    *thinnest = one.thin.as_ref();
                }
            }
        }
        for (id, injection) in injections.pairs() {
            let (true, thinnest) = after[id] else {
                continue;
            };
            let lead = Lead {
                at: injection.at,
                what: &self.injection(injection),
                thinnest: &thinner(own(&injection.lead), thinnest.cloned()),
                ua: self.tapped(id),
            };
            self.lead(&lead, &injection.lead, &[], sink);
        }
    }

    fn injection(&self, injection: &Injection) -> String {
        let first = injection.strings.first();
        let name = first.map_or_else(String::new, |id| self.model.name_of(*id));
        let place = inject_place(injection.place);
        match injection.strings.len() {
            0 | 1 => format!("the injection into `{}` (`{place}`)", shown(&name)),
            more => {
                format!("the injection into `{}` and {} more (`{place}`)", shown(&name), more - 1)
            }
        }
    }

    /// The largest current at a point of an injection, in microamperes.
    fn tapped(&self, id: InjectionId) -> i64 {
        let taps = &self.loads.allowed.taps;
        let from = taps.partition_point(|tap| tap.injection < id);
        let mine = taps.iter().skip(from);
        let mine = mine.take_while(|tap| tap.injection == id);
        mine.map(|tap| tap.ua.saturating_abs()).max().unwrap_or(0)
    }
}

/// What a conductor may carry, in microamperes; no limit where none is known.
fn may(wire: Option<&Wire>) -> i64 {
    wire.map_or(i64::MAX, |wire| capacity(wire.gauge).most_ua)
}
