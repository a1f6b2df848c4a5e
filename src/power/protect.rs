//! Which fuse protects which conductor, and which conductor has none.
//!
//! A fuse protects what comes after it up to the next fuse: the lead it stands in, and the plus of its line in both
//! directions, up to a cut (`apart`) and to the port. A port's fuse ends what a lead's fuse protects. Two fuses that
//! feed one conductor are each held against it alone. What a supply states as its own `fuse` stands in for the fuse of
//! each lead that has none. Nothing here depends on the level, but for the size that a help names.

use super::net::{Nets, Stretch};
use crate::cable::{capacity, fuse_for};
use crate::diagnostic::Sink;
use crate::diagnostic::words::shown;
use crate::loads::{From, Loads};
use crate::model::{FeedLead, Injection, Model, PowerFeed, Told};
use crate::plan::Plan;
use crate::rules::power::fuse::{
    Before, Lead, Need, Unnamed, Wire, lead_without, ports_without, too_large,
};
use crate::source::Span;
use crate::usage::{Outlet, fed_ports, inject_place, outlet, outlets};
use std::collections::BTreeMap;

/// The thinnest conductor of a stretch that is known, by what it may carry; the first of equal ones.
#[must_use]
pub fn thinnest(model: &Model, stretch: &Stretch) -> Option<Wire> {
    let known = stretch.runs.iter();
    let known = known.filter_map(|run| Some((run, run.gauge?)));
    let (run, gauge) = known.min_by_key(|(_, gauge)| capacity(*gauge).most_ua)?;
    let node = run.make.and_then(|node| model.nodes.get(node.index()));
    let what = match run.string {
        Some(id) => format!("the conductor of `{}`", shown(&model.name_of(id))),
        None if run.lead.is_some() => "a lead on its line".to_owned(),
        None => "the conductor of skipped nodes".to_owned(),
    };
    let told = node.and_then(|node| node.gauge).map(|gauge| gauge.at);
    Some(Wire {
        gauge,
        at: Some(told.filter(|_| run.lead.is_none()).unwrap_or(run.at)),
        what,
    })
}

/// The thinner of two, the first of equal ones.
fn thinner(one: Wire, other: Option<Wire>) -> Wire {
    match other {
        Some(other) if capacity(other.gauge).most_ua < capacity(one.gauge).most_ua => other,
        _ => one,
    }
}

/// The conductor of a lead from a supply.
fn own(lead: &FeedLead) -> Wire {
    Wire {
        gauge: lead.gauge,
        at: None,
        what: "its conductor".to_owned(),
    }
}

/// Holds every fuse against the conductors that it protects, and tells leads and ports that have none.
pub fn tell(model: &Model, plan: &Plan, nets: &Nets, loads: &Loads, sink: &mut Sink) {
    let thin = nets.all().map(|one| thinnest(model, one));
    let protect = Protect {
        model,
        plan,
        nets,
        loads,
        thin: thin.collect(),
    };
    protect.ports(sink);
    let mut without: BTreeMap<usize, Vec<Bare>> = BTreeMap::new();
    protect.powers(&mut without, sink);
    protect.injections(&mut without, sink);
    for (supply, leads) in without {
        protect.supply(supply, leads, sink);
    }
}

/// A lead that only its supply's fuse protects.
struct Bare {
    what: String,
    at: Span,
    wire: Wire,
    ua: i64,
}

/// A fuse of one setting that is too large at some ports.
struct Large {
    fuse: Told<i64>,
    ports: Vec<Outlet>,
    wire: Wire,
    ua: i64,
}

struct Protect<'a> {
    model: &'a Model,
    plan: &'a Plan,
    nets: &'a Nets,
    loads: &'a Loads,
    /// The thinnest conductor of each stretch.
    thin: Vec<Option<Wire>>,
}

impl Protect<'_> {
    fn thin(&self, stretch: usize) -> Option<&Wire> {
        self.thin.get(stretch)?.as_ref()
    }

    fn outlet(&self, stretch: &Stretch) -> Option<Outlet> {
        outlet(self.plan, stretch.port, stretch.receiver)
    }

    /// What flows through the port of a stretch, in either direction.
    fn through(&self, stretch: usize) -> i64 {
        let section = self.loads.allowed.sections.get(stretch);
        section.map_or(0, |section| section.port_ua.saturating_abs())
    }

    /// The fuse of a lead, or the one that its supply states.
    fn before(&self, lead: &FeedLead) -> Option<Told<i64>> {
        let supply = self.model.supplies.get(lead.supply.index());
        lead.fuse.or(supply.and_then(|supply| supply.fuse))
    }

    /// Fuses of ports, each setting once.
    fn ports(&self, sink: &mut Sink) {
        let mut large: BTreeMap<Span, Large> = BTreeMap::new();
        for (index, stretch) in self.nets.all().enumerate() {
            // Nothing comes through a port that no `power` names and whose line is fed by injections.
            let fuse = stretch.fuse.filter(|_| stretch.from != From::Taps);
            let Some((fuse, wire)) = fuse.zip(self.thin(index)) else {
                continue;
            };
            let Some(port) = self.outlet(stretch).filter(|_| over(fuse, wire)) else {
                continue;
            };
            let entry = large.entry(fuse.at).or_insert_with(|| Large {
                fuse,
                ports: Vec::new(),
                wire: wire.clone(),
                ua: 0,
            });
            entry.ports.push(port);
            entry.ua = entry.ua.max(self.through(index));
            if capacity(wire.gauge).most_ua < capacity(entry.wire.gauge).most_ua {
                entry.wire = wire.clone();
            }
        }
        for one in large.into_values() {
            let whose = match one.ports.as_slice() {
                [_] => format!("port {}", outlets(self.model, &one.ports)),
                ports => format!("each of ports {}", outlets(self.model, ports)),
            };
            let before = Before {
                whose: &whose,
                fuse: one.fuse,
            };
            sink.push(too_large(&before, &one.wire, one.ua));
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
            let ua = self.loads.allowed.feeds.get(index).map_or(0, |feed| feed.ua.abs());
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

    /// Ports without a named fuse after a fuse that is larger than their strings may carry: once for a statement.
    fn unnamed_after(
        &self,
        power: &PowerFeed,
        fuse: Told<i64>,
        ports: &[usize],
        sink: &mut Sink,
    ) {
        let mut thin = ports.iter().filter_map(|index| self.thin(*index).cloned());
        let Some(first) = thin.next() else { return };
        let wire = thin.fold(first, |one, other| thinner(one, Some(other)));
        if !over(fuse, &wire) {
            return;
        }
        let bad = |index: &usize| self.thin(*index).is_some_and(|wire| over(fuse, wire));
        let bad: Vec<usize> = ports.iter().copied().filter(bad).collect();
        let whose = if power.lead.fuse.is_some() {
            "the lead before it".to_owned()
        } else {
            self.supply_name(power.lead.supply.index())
        };
        let before = Before {
            whose: &whose,
            fuse,
        };
        let at = if power.lead.fuse.is_some() {
            fuse.at
        } else {
            power.at
        };
        sink.push(ports_without(at, &before, &wire, &self.named(&bad)));
    }

    /// Ports, those together that need the same.
    fn named(&self, stretches: &[usize]) -> Vec<Unnamed> {
        let mut groups: Vec<(Need, Vec<Outlet>)> = Vec::new();
        for index in stretches {
            let stretch = self.nets.all().nth(*index);
            let Some(port) = stretch.and_then(|stretch| self.outlet(stretch)) else {
                continue;
            };
            let (need, ua) = self.need(*index);
            let same = |group: &&mut (Need, Vec<Outlet>)| match (group.0, need) {
                (Need::Thicker(one, _), Need::Thicker(other, _)) => one == other,
                (one, other) => one == other,
            };
            match groups.iter_mut().find(same) {
                Some((most, ports)) => {
                    if let Need::Thicker(_, most) = most {
                        *most = ua.max(*most);
                    }
                    ports.push(port);
                }
                None => groups.push((need, vec![port])),
            }
        }
        let named = groups.into_iter().map(|(need, ports)| Unnamed {
            ports: outlets(self.model, &ports),
            need,
        });
        named.collect()
    }

    /// What the port of a stretch needs, and what flows through it.
    fn need(&self, stretch: usize) -> (Need, i64) {
        let ua = self.through(stretch);
        let gauge = self.thin(stretch).map(|wire| wire.gauge);
        let need = gauge.map_or(Need::Unknown, |gauge| {
            fuse_for(gauge, ua).map_or(Need::Thicker(gauge, ua), Need::Fuse)
        });
        (need, ua)
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

    fn supply_name(&self, index: usize) -> String {
        let supply = self.model.supplies.get(index);
        format!("supply `{}`", supply.map_or("", |supply| &*supply.name))
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

/// Whether a fuse is larger than a conductor may carry.
fn over(fuse: Told<i64>, wire: &Wire) -> bool {
    fuse.value > capacity(wire.gauge).most_ua
}
