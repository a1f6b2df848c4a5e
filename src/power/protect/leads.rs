//! Leads of `power` and `inject`, and the supplies that protect those without a fuse.

use super::{Protect, over, thinner};
use crate::cable::capacity;
use crate::diagnostic::Sink;
use crate::diagnostic::words::shown;
use crate::loads::From;
use crate::model::{FeedLead, Injection};
use crate::rules::power::fuse::{Before, Lead, Wire, lead_without, too_large};
use crate::source::Span;
use crate::usage::{fed_ports, inject_place};
use std::collections::BTreeMap;

/// A lead that only its supply's fuse protects.
struct Bare {
    what: String,
    at: Span,
    wire: Wire,
    ua: i64,
}

/// The conductor of a lead from a supply.
fn own(lead: &FeedLead) -> Wire {
    Wire {
        gauge: lead.gauge,
        at: None,
        what: "its conductor".to_owned(),
    }
}

impl Protect<'_> {
    /// All leads, then the supplies that alone protect some of them.
    pub(super) fn leads(&self, sink: &mut Sink) {
        let mut without: BTreeMap<usize, Vec<Bare>> = BTreeMap::new();
        self.powers(&mut without, sink);
        self.injections(&mut without, sink);
        for (supply, leads) in without {
            self.supply(supply, leads, sink);
        }
    }

    fn powers(&self, without: &mut BTreeMap<usize, Vec<Bare>>, sink: &mut Sink) {
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
            let bare = Bare {
                what: format!("the lead that feeds `{}`", fed_ports(self.model, power)),
                at: power.at,
                wire: own(&power.lead),
                ua,
            };
            if let Some(fuse) = self.before(&power.lead) {
                self.unnamed_after(power, fuse, ports, sink);
            }
            self.lead(bare, &power.lead, ports, without, sink);
        }
    }

    /// A lead's fuse against the thinnest conductor that it protects, or that there is none.
    fn lead(
        &self,
        bare: Bare,
        lead: &FeedLead,
        unnamed: &[usize],
        without: &mut BTreeMap<usize, Vec<Bare>>,
        sink: &mut Sink,
    ) {
        match (lead.fuse, self.before(lead)) {
            (Some(fuse), _) => {
                let before = Before {
                    whose: &bare.what,
                    fuse,
                };
                if over(fuse, &bare.wire) {
                    sink.push(too_large(&before, &bare.wire, bare.ua));
                }
            }
            (None, Some(_)) => without.entry(lead.supply.index()).or_default().push(bare),
            (None, None) => {
                let lead = Lead {
                    at: bare.at,
                    what: &bare.what,
                    thinnest: &bare.wire,
                    ua: bare.ua,
                };
                sink.push(lead_without(&lead, &self.named(unnamed)));
            }
        }
    }

    fn injections(&self, without: &mut BTreeMap<usize, Vec<Bare>>, sink: &mut Sink) {
        let mut after: Vec<Option<Option<Wire>>> = vec![None; self.model.injections.len()];
        for (index, stretch) in self.nets.all().enumerate() {
            for site in &stretch.sites {
                let Some(entry) = after.get_mut(site.injection as usize) else {
                    continue;
                };
                let here = self.thin(index).cloned();
                *entry = Some(match entry.take().flatten() {
                    Some(wire) => Some(thinner(wire, here)),
                    None => here,
                });
            }
        }
        for (index, (injection, after)) in self.model.injections.iter().zip(after).enumerate() {
            let Some(after) = after else { continue };
            let bare = Bare {
                what: self.injection(injection),
                at: injection.at,
                wire: thinner(own(&injection.lead), after),
                ua: self.tapped(index as u32),
            };
            self.lead(bare, &injection.lead, &[], without, sink);
        }
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

    /// A supply's own fuse against the thinnest conductor that it alone protects.
    fn supply(&self, index: usize, leads: Vec<Bare>, sink: &mut Sink) {
        let supply = self.model.supplies.get(index);
        let Some(fuse) = supply.and_then(|supply| supply.fuse) else {
            return;
        };
        let large = leads.into_iter().filter(|lead| over(fuse, &lead.wire));
        let Some(lead) = large.min_by_key(|lead| capacity(lead.wire.gauge).most_ua) else {
            return;
        };
        let wire = Wire {
            at: Some(lead.at),
            what: format!("{}, without a fuse of its own,", lead.what),
            ..lead.wire
        };
        let whose = self.supply_name(index);
        let before = Before {
            whose: &whose,
            fuse,
        };
        sink.push(too_large(&before, &wire, lead.ua));
    }
}
