//! Ports with a fuse that is too large, and ports without one after a fuse that is too large for
//! their strings.

use super::{Guarded, Protect, over, thinner};
use crate::cable::{capacity, fuse_for};
use crate::diagnostic::Sink;
use crate::loads::From;
use crate::model::{PowerFeed, Stated};
use crate::rules::power::fuse::{Before, Need, Unnamed, Wire, ports_without, too_large};
use crate::source::Span;
use crate::usage::{Outlet, outlets};
use std::collections::BTreeMap;

/// A fuse that is set in one place and is too large at some ports.
struct Large {
    fuse: Stated<i64>,
    ports: Vec<Outlet>,
    wire: Wire,
    ua: i64,
}

impl Protect<'_> {
    /// Checks the fuses of ports; each setting is reported once.
    pub(super) fn ports(&self, sink: &mut Sink) {
        let mut large: BTreeMap<Span, Large> = BTreeMap::new();
        for one in &self.all {
            // No current passes a port that no `power` names and whose line is fed by injections.
            let fuse = one.stretch.fuse.filter(|_| one.stretch.from != From::Taps);
            let (Some(fuse), Some(wire), Some(port)) = (fuse, &one.thin, one.outlet) else {
                continue;
            };
            if !over(fuse, wire) {
                continue;
            }
            let entry = large.entry(fuse.at).or_insert_with(|| Large {
                fuse,
                ports: Vec::new(),
                wire: wire.clone(),
                ua: 0,
            });
            entry.ports.push(port);
            entry.ua = entry.ua.max(one.ua);
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
            let before = Before { whose: &whose, fuse: one.fuse };
            sink.push(too_large(&before, &one.wire, one.ua, Some(&ports)));
        }
    }

    /// Reports ports without a named fuse after a fuse that is larger than their strings may carry:
    /// once for a statement.
    pub(super) fn unnamed_after(
        &self,
        power: &PowerFeed,
        fuse: Stated<i64>,
        ports: &[&Guarded<'_>],
        sink: &mut Sink,
    ) {
        let thin = ports.iter().filter_map(|port| port.thin.clone());
        let thin = thin.reduce(|one, other| thinner(one, Some(other)));
        let Some(wire) = thin.filter(|wire| over(fuse, wire)) else {
            return;
        };
        let bad = ports.iter().copied();
        let bad = bad.filter(|port| port.thin.as_ref().is_some_and(|wire| over(fuse, wire)));
        let (whose, at) = match power.lead.fuse {
            Some(_) => ("the lead before it".to_owned(), fuse.at),
            None => (self.supply_name(&power.lead), power.at),
        };
        let before = Before { whose: &whose, fuse };
        sink.push(ports_without(at, &before, &wire, &self.named(bad)));
    }

    /// Ports by what they need; those with the same need stand together.
    pub(super) fn named<'a>(
        &self,
        ports: impl IntoIterator<Item = &'a Guarded<'a>>,
    ) -> Vec<Unnamed> {
        let mut groups: Vec<(Need, Vec<Outlet>)> = Vec::new();
        for one in ports {
            let Some(port) = one.outlet else { continue };
            let need = need(one);
            let same = |group: &&mut (Need, Vec<Outlet>)| match (group.0, need) {
                (Need::Thicker(one, _), Need::Thicker(other, _)) => one == other,
                (one, other) => one == other,
            };
            match groups.iter_mut().find(same) {
                Some((most, ports)) => {
                    if let Need::Thicker(_, most) = most {
                        *most = one.ua.max(*most);
                    }
                    ports.push(port);
                }
                None => groups.push((need, vec![port])),
            }
        }
        let named = groups
            .into_iter()
            .map(|(need, ports)| Unnamed { ports: outlets(self.model, &ports), need });
        named.collect()
    }
}

/// What the port of a stretch needs.
fn need(one: &Guarded<'_>) -> Need {
    let Some(wire) = &one.thin else {
        return Need::Unknown;
    };
    fuse_for(wire.gauge, one.ua).map_or(Need::Thicker(wire.gauge, one.ua), Need::Fuse)
}
