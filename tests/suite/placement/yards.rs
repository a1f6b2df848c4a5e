//! Random displays with a known solution: several controllers, kinds of nodes, draws, fuses,
//! receivers, dead ports, limits of universes, strings wired by hand. A checker decides whether a
//! plan keeps every limit; first-fit and best-fit decreasing show how many ports plain ways need.
//! Nothing here is shared with the compiler.

use crate::keeping::edits::Lot;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// Frames a second. With 8 bits a slot at 800 kHz a node takes 10 us a slot; the latch is 300 us.
const RATE: u64 = 40;
const SLOT_US: u64 = 10;
const LATCH_US: u64 = 300;
/// Slots of a universe.
const UNIVERSE: u64 = 512;

/// A kind of node: its chip, volts, slots, and milliamperes.
#[derive(Debug, Clone, Copy)]
pub struct Kind {
    chip: usize,
    volts: u64,
    slots: u64,
    draw: u64,
}

/// A port as declared.
#[derive(Debug, Clone)]
struct Port {
    site: usize,
    number: u64,
    nodes: u64,
    volts: u64,
    /// Amperes.
    fuse: Option<u64>,
    dead: bool,
}

/// A prop: its kind, the nodes of each string, the port that it is wired to by hand.
#[derive(Debug, Clone)]
struct Prop {
    kind: usize,
    strings: Vec<u64>,
    wired: Option<usize>,
}

/// A display.
#[derive(Debug, Clone)]
pub struct Yard {
    kinds: Vec<Kind>,
    ports: Vec<Port>,
    /// By site: the most universes.
    universes: Vec<Option<u64>>,
    /// By site: the last ports that a receiver carries.
    carried: Vec<u64>,
    props: Vec<Prop>,
    /// Ports that the planted solution uses.
    pub planted: usize,
    /// Whether that leaves nodes free on every port.
    pub roomy: bool,
}

/// What hangs on a port.
#[derive(Debug, Clone, Default)]
struct Load {
    us: u64,
    nodes: u64,
    draw: u64,
    slots: u64,
    kind: Option<usize>,
}

impl Yard {
    /// Draws a display of about `props` props.
    pub fn draw(lot: &mut Lot, props: usize) -> Self {
        let count = 1 + lot.below(4) as usize;
        let kinds: Vec<Kind> = (0..count)
            .map(|at| Kind {
                chip: at % 2,
                volts: [12, 12, 5, 24][at],
                slots: [3, 4, 3, 3][at],
                draw: 10 + lot.below(50),
            })
            .collect();
        let sites = 1 + lot.below(1 + props as u64 / 8).min(60);
        let mut yard = Self {
            kinds,
            ports: Vec::new(),
            universes: vec![None; sites as usize],
            carried: vec![0; sites as usize],
            props: Vec::new(),
            planted: 0,
            roomy: true,
        };
        let full = lot.below(2) == 0;
        yard.roomy = !full;
        let mut used: BTreeMap<usize, u64> = BTreeMap::new();
        let mut site = 0;
        while yard.props.len() < props {
            yard.site(lot, site, &mut used, full);
            site += 1;
        }
        yard.universes.resize(site, None);
        yard.carried.resize(site, 0);
        for at in 0..site {
            if lot.below(4) == 0 {
                let slots = used.get(&at).copied().unwrap_or(0);
                yard.universes[at] = Some(slots.div_ceil(UNIVERSE).max(1));
            }
            if lot.below(4) == 0 {
                let ports = yard.ports.iter().filter(|port| port.site == at).count() as u64;
                yard.carried[at] = lot.below(ports);
            }
        }
        yard
    }

    /// One more controller with its ports and what is planted on them.
    fn site(&mut self, lot: &mut Lot, site: usize, used: &mut BTreeMap<usize, u64>, full: bool) {
        let volts = self.kinds[lot.below(self.kinds.len() as u64) as usize].volts;
        let of_site: Vec<usize> =
            (0..self.kinds.len()).filter(|at| self.kinds[*at].volts == volts).collect();
        let fuse = (lot.below(2) == 0).then(|| 3 + lot.below(8));
        let mut before: Option<(usize, Vec<u64>)> = None;
        for number in 1..=2 + lot.below(15) {
            let nodes = [100, 170, 340, 680][lot.below(4) as usize];
            let dead = lot.below(12) == 0;
            let at = self.ports.len();
            self.ports.push(Port { site, number, nodes, volts, fuse, dead });
            if dead || lot.below(10) == 0 {
                continue;
            }
            let kind = of_site[lot.below(of_site.len() as u64) as usize];
            let room = self.room(at, kind);
            // One node in twenty stays free, or the port is full.
            let mut left = if full { room } else { room * 19 / 20 };
            let mut strings = Vec::new();
            while left > 0 && strings.len() < 8 {
                let size = (room * (5 + lot.below(86)) / 100).max(1).min(left);
                strings.push(size);
                left -= size;
            }
            if strings.is_empty() {
                continue;
            }
            self.planted += 1;
            let nodes: u64 = strings.iter().sum();
            *used.entry(site).or_default() += nodes * self.kinds[kind].slots;
            if lot.below(12) == 0 {
                let first = strings.remove(0);
                self.props.push(Prop { kind, strings: vec![first], wired: Some(at) });
            }
            // A prop of several strings: the last of the port before and the first of this one.
            if let Some((other, sizes)) = before.take() {
                let joins = other == kind && lot.below(3) == 0 && !sizes.is_empty();
                for (place, size) in sizes.iter().enumerate() {
                    let mut prop = Prop { kind: other, strings: vec![*size], wired: None };
                    if joins && place + 1 == sizes.len() && !strings.is_empty() {
                        prop.strings.push(strings.remove(0));
                    }
                    self.props.push(prop);
                }
            }
            before = Some((kind, strings));
        }
        for size in before.iter().flat_map(|(_, sizes)| sizes) {
            let kind = before.as_ref().map_or(0, |one| one.0);
            self.props.push(Prop { kind, strings: vec![*size], wired: None });
        }
    }

    /// How many nodes of a kind a port takes alone.
    fn room(&self, port: usize, kind: usize) -> u64 {
        let (port, kind) = (&self.ports[port], self.kinds[kind]);
        let time = (1_000_000 / RATE - LATCH_US) / (kind.slots * SLOT_US);
        let fed = port.fuse.map_or(u64::MAX, |amps| amps * 800 / kind.draw);
        port.nodes.min(time).min(fed)
    }

    /// The display as text.
    pub fn text(&self, prefer: &str) -> String {
        let mut text = format!("display \"yard\" {{ frame rate {RATE} Hz{prefer} }}\n");
        for chip in 0..2 {
            let _ = writeln!(text, "chip made{chip} {{ rate 800 kHz; latch {LATCH_US} us }}");
        }
        for (at, kind) in self.kinds.iter().enumerate() {
            let colour = if kind.slots == 4 { "RGBW" } else { "RGB" };
            let _ = writeln!(
                text,
                "node n{at} {{ chip made{}; colour {colour}; volts {} V; draw {} mA }}",
                kind.chip, kind.volts, kind.draw
            );
        }
        for (site, most) in self.universes.iter().enumerate() {
            let most = most.map_or(String::new(), |most| format!("universes at most {most}; "));
            let _ = write!(text, "controller c{site} {{ {most}");
            let own = || self.ports.iter().filter(|port| port.site == site);
            for port in own() {
                let fuse = port.fuse.map_or(String::new(), |fuse| format!("; fuse {fuse} A"));
                let _ = write!(
                    text,
                    "port {} {{ nodes at most {}; volts {} V{fuse} }}; ",
                    port.number, port.nodes, port.volts
                );
            }
            text.push_str("}\n");
            let last = own().count() as u64;
            if self.carried[site] > 0 {
                let first = last + 1 - self.carried[site];
                let fuse = own().next().and_then(|port| port.fuse);
                let fuse = fuse.map_or(String::new(), |fuse| format!("; fuse {fuse} A"));
                let volts = own().next().map_or(5, |port| port.volts);
                let count = self.carried[site];
                let _ = writeln!(
                    text,
                    "receiver r{site} {{ carries c{site}.{first}..{last}; ports 1..{count} {{ volts {volts} V{fuse} }} }}"
                );
            }
            for port in own().filter(|port| port.dead) {
                let _ = writeln!(text, "reserve c{site}.{} \"dead\"", port.number);
            }
        }
        let mut open = Vec::new();
        for (at, prop) in self.props.iter().enumerate() {
            let strings: Vec<String> =
                prop.strings.iter().map(|nodes| format!("string {nodes} nodes")).collect();
            let _ = writeln!(text, "prop p{at} {{ node n{}; {} }}", prop.kind, strings.join("; "));
            match prop.wired {
                Some(port) => {
                    let port = &self.ports[port];
                    let _ = writeln!(text, "wire c{}.{}: p{at}", port.site, port.number);
                }
                None => open.push(format!("p{at}")),
            }
        }
        let _ = writeln!(text, "wire any: {}", open.join(", "));
        text
    }

    /// The strings by name: kind and nodes.
    fn strings(&self) -> BTreeMap<(String, u64), (usize, u64)> {
        let props = self.props.iter().enumerate();
        let strings = props.flat_map(|(at, prop)| {
            (1..)
                .zip(&prop.strings)
                .map(move |(number, nodes)| ((format!("p{at}"), number), (prop.kind, *nodes)))
        });
        strings.collect()
    }

    fn fits(&self, loads: &[Load], slots: &[u64], port: usize, kind: usize, nodes: u64) -> bool {
        let (at, of, load) = (&self.ports[port], self.kinds[kind], &loads[port]);
        let limit = self.universes[at.site].map_or(u64::MAX, |most| most * UNIVERSE);
        let alike = load.kind.is_none_or(|other| {
            let other = self.kinds[other];
            (other.chip, other.volts, other.slots) == (of.chip, of.volts, of.slots)
        });
        alike
            && !at.dead
            && at.volts == of.volts
            && load.nodes + nodes <= at.nodes
            && load.us + nodes * of.slots * SLOT_US + LATCH_US <= 1_000_000 / RATE
            && at.fuse.is_none_or(|amps| load.draw + nodes * of.draw <= amps * 800)
            && slots[at.site] + nodes * of.slots <= limit
    }

    fn hang(&self, loads: &mut [Load], slots: &mut [u64], port: usize, kind: usize, nodes: u64) {
        let of = self.kinds[kind];
        let load = &mut loads[port];
        load.nodes += nodes;
        load.us += nodes * of.slots * SLOT_US;
        load.draw += nodes * of.draw;
        load.slots += nodes * of.slots;
        load.kind = load.kind.or(Some(kind));
        slots[self.ports[port].site] += nodes * of.slots;
    }

    /// Ports in use after a plain way, each prop on one controller; `None` where it finds no room.
    pub fn plain(&self, best: bool) -> Option<usize> {
        let mut loads = vec![Load::default(); self.ports.len()];
        let mut slots = vec![0; self.universes.len()];
        for prop in &self.props {
            for nodes in prop.strings.iter().filter(|_| prop.wired.is_some()) {
                self.hang(&mut loads, &mut slots, prop.wired?, prop.kind, *nodes);
            }
        }
        let mut open: Vec<&Prop> = self.props.iter().filter(|prop| prop.wired.is_none()).collect();
        open.sort_by_key(|prop| std::cmp::Reverse(prop.strings.iter().max().copied()));
        for prop in open {
            let mut done = false;
            for site in 0..self.universes.len() {
                let (mut tried, mut filled) = (loads.clone(), slots.clone());
                let all = prop.strings.iter().all(|nodes| {
                    let own =
                        |port: &usize| self.ports[*port].site == site || prop.strings.len() == 1;
                    let fit = |port: &usize| self.fits(&tried, &filled, *port, prop.kind, *nodes);
                    let mut ports = (0..self.ports.len()).filter(own).filter(fit);
                    let tight = |port: &usize| {
                        let left = self.ports[*port].nodes - tried[*port].nodes;
                        (tried[*port].kind.is_none(), left)
                    };
                    let port = if best { ports.min_by_key(tight) } else { ports.next() };
                    if let Some(port) = port {
                        self.hang(&mut tried, &mut filled, port, prop.kind, *nodes);
                    }
                    port.is_some()
                });
                if all {
                    (loads, slots, done) = (tried, filled, true);
                    break;
                }
            }
            if !done {
                return None;
            }
        }
        Some(loads.iter().filter(|load| load.nodes > 0).count())
    }

    /// Which limits a table breaks, its ports in use, and the props that it splits over
    /// controllers.
    pub fn broken(&self, table: &Value) -> (Vec<String>, usize, usize) {
        let mut faults = Vec::new();
        let mut loads = vec![Load::default(); self.ports.len()];
        let mut slots = vec![0; self.universes.len()];
        let mut left = self.strings();
        let mut homes: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
        for row in table["strings"].as_array().into_iter().flatten() {
            let name = row["prop"].as_str().unwrap_or_default().to_owned();
            let number = row["string"].as_u64().unwrap_or(1);
            let site = row["controller"].as_str().unwrap_or_default().to_owned();
            let port = row["port"].as_str().unwrap_or_default();
            let Some((kind, nodes)) = left.remove(&(name.clone(), number)) else {
                faults.push(format!("{name}.{number} stands twice"));
                continue;
            };
            let at = self
                .ports
                .iter()
                .position(|one| format!("c{}", one.site) == site && one.number.to_string() == port);
            let Some(at) = at else {
                faults.push(format!("{site}.{port} does not exist"));
                continue;
            };
            if !self.fits(&loads, &slots, at, kind, nodes) {
                faults.push(format!("{name}.{number} does not fit on {site}.{port}"));
            }
            self.hang(&mut loads, &mut slots, at, kind, nodes);
            homes.entry(name).or_default().insert(site);
        }
        faults.extend(left.keys().map(|name| format!("{name:?} has no port")));
        for universe in table["universes"].as_array().into_iter().flatten() {
            if universe["controller"].as_str().is_none() {
                faults.push(format!("{universe} has no controller"));
            }
        }
        let used = loads.iter().filter(|load| load.nodes > 0).count();
        let torn = homes.values().filter(|sites| sites.len() > 1).count();
        (faults, used, torn)
    }
}
