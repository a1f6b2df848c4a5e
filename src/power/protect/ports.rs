//! Ports: a named fuse that is too large, and ports without one after a fuse that is too large for their strings.

use super::{Protect, over, thinner};
use crate::cable::{capacity, fuse_for};
use crate::diagnostic::Sink;
use crate::loads::From;
use crate::model::{PowerFeed, Told};
use crate::rules::power::fuse::{Before, Need, Unnamed, Wire, ports_without, too_large};
use crate::source::Span;
use crate::usage::{Outlet, outlets};
use std::collections::BTreeMap;

/// A fuse of one setting that is too large at some ports.
struct Large {
    fuse: Told<i64>,
    ports: Vec<Outlet>,
    wire: Wire,
    ua: i64,
}

impl Protect<'_> {
    /// Fuses of ports, each setting once.
    pub(super) fn ports(&self, sink: &mut Sink) {
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
            let ports = outlets(self.model, &one.ports);
            let whose = match one.ports.as_slice() {
                [_] => format!("port {ports}"),
                _ => format!("each of ports {ports}"),
            };
            let before = Before {
                whose: &whose,
                fuse: one.fuse,
            };
            sink.push(too_large(&before, &one.wire, one.ua, Some(&ports)));
        }
    }

    /// Ports without a named fuse after a fuse that is larger than their strings may carry: once for a statement.
    pub(super) fn unnamed_after(
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
            self.supply_name(&power.lead)
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
    pub(super) fn named(&self, stretches: &[usize]) -> Vec<Unnamed> {
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
}
