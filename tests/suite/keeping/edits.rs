//! A display of many props as data, edits drawn by lot, and what a plain way of keeping would move.

use std::fmt::Write as _;
use tinsel::lock::Lock;

/// Numbers drawn by lot, the same in every run.
pub struct Lot(u64);

impl Lot {
    /// From a seed.
    pub fn new(seed: u64) -> Self {
        Self(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    /// One below a number.
    pub fn below(&mut self, most: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) % most.max(1)
    }

    /// One of several.
    fn of<T: Copy>(&mut self, several: &[T]) -> Option<T> {
        (!several.is_empty()).then(|| several[self.below(several.len() as u64) as usize])
    }
}

#[derive(Debug, Clone)]
struct Prop {
    name: String,
    nodes: u64,
}

/// A display: ports of controllers, each with its props in data order.
#[derive(Debug, Clone)]
pub struct Yard {
    spare: u32,
    ports: Vec<Vec<Prop>>,
    next: usize,
    renamed: Option<(String, String)>,
}

const PORTS: usize = 16;
const SLOTS: u64 = 3;
const MOST_NODES: u64 = 800;

impl Yard {
    /// So many props on eight controllers of sixteen ports, a few of them free.
    pub fn new(props: usize, spare: u32) -> Self {
        let mut lot = Lot::new(1);
        let mut yard = Self { spare, ports: vec![Vec::new(); 8 * PORTS], next: 0, renamed: None };
        for at in 0..props {
            let port = at * 7 % (8 * PORTS - 20);
            let nodes = 20 + lot.below(80);
            let prop = yard.prop(nodes);
            yard.ports[port].push(prop);
        }
        yard
    }

    fn prop(&mut self, nodes: u64) -> Prop {
        self.next += 1;
        Prop { name: format!("prop{}", self.next), nodes }
    }

    /// The display as text.
    pub fn text(&self) -> String {
        let mut text = format!(
            "display \"yard\" {{ spare {} nodes per port }}\nnode dot {{ chip ws2811; colour RGB }}\n",
            self.spare
        );
        for (at, ports) in self.ports.chunks(PORTS).enumerate() {
            let _ = writeln!(
                text,
                "controller box{at} {{ universes from {}; ports 1..{PORTS} {{ chip ws2811; nodes at most {MOST_NODES} }} }}",
                1 + 200 * at
            );
            for (port, props) in ports.iter().enumerate() {
                for prop in props {
                    let _ = writeln!(
                        text,
                        "prop {} {{ node dot; string {} nodes }}",
                        prop.name, prop.nodes
                    );
                }
                let names: Vec<&str> = props.iter().map(|prop| prop.name.as_str()).collect();
                if !names.is_empty() {
                    let _ = writeln!(text, "wire box{at}.{}: {}", port + 1, names.join(" -> "));
                }
            }
        }
        if let Some((old, new)) = &self.renamed {
            let _ = writeln!(text, "renamed {old} -> {new}");
        }
        text
    }

    /// Makes one edit as people do and returns its kind. With spare room, only edits that fit into
    /// it.
    pub fn edit(&mut self, lot: &mut Lot) -> String {
        self.renamed = None;
        let used: Vec<usize> =
            (0..self.ports.len()).filter(|at| !self.ports[*at].is_empty()).collect();
        let free: Vec<usize> =
            (0..self.ports.len()).filter(|at| self.ports[*at].is_empty()).collect();
        let small = self.spare > 0;
        let port = lot.of(&used).unwrap();
        let count = self.ports[port].len();
        let place = lot.below(count as u64) as usize;
        match lot.below(if small { 10 } else { 14 }) {
            0..=2 => {
                let nodes = if small { 1 + lot.below(4) } else { 5 + lot.below(60) };
                let prop = self.prop(nodes);
                self.ports[port].push(prop);
                format!("append {nodes} nodes on port {port}")
            }
            3..=4 => {
                let last = self.ports[port].last_mut().unwrap();
                last.nodes += 1 + lot.below(if small { 3 } else { 20 });
                format!("the last of port {port} is longer")
            }
            5..=6 => {
                let Some(free) = lot.of(&free) else {
                    return "nothing".to_owned();
                };
                let nodes = 20 + lot.below(80);
                let prop = self.prop(nodes);
                self.ports[free].push(prop);
                format!("{nodes} nodes on port {free}, which was free")
            }
            7 => {
                self.ports[port].pop();
                format!("the last of port {port} is gone")
            }
            8..=9 => {
                let new = format!("named{}", self.next);
                self.next += 1;
                let prop = &mut self.ports[port][place];
                let old = std::mem::replace(&mut prop.name, new.clone());
                self.renamed = Some((old.clone(), new.clone()));
                format!("{old} is called {new}")
            }
            10 => {
                self.ports[port].remove(place);
                format!("string {place} of port {port} is gone")
            }
            11 => {
                self.ports[port][place].nodes += 1 + lot.below(20);
                format!("string {place} of port {port} is longer")
            }
            12 => {
                let prop = &mut self.ports[port][place];
                prop.nodes = (prop.nodes - lot.below(10)).max(5);
                format!("string {place} of port {port} is shorter")
            }
            _ => {
                let prop = self.prop(5 + lot.below(20));
                self.ports[port].insert(place, prop);
                format!("a string before string {place} of port {port}")
            }
        }
    }

    /// Slots that a plain way of keeping moves: ports that are as they were stay; each other port
    /// takes the place at which it keeps most beside those, and moves whole where there is none.
    pub fn bound(&self, lock: &Lock) -> u64 {
        let old = |prop: &Prop| {
            let name = match &self.renamed {
                Some((old, new)) if *new == prop.name => old,
                _ => &prop.name,
            };
            lock.row(name).map(|row| (row.start, row.slots))
        };
        // By port: places at which something stays, with what stays, and all that was there before.
        let mut taken: Vec<(u64, u64)> = Vec::new();
        let mut changed = Vec::new();
        for props in self.ports.iter().filter(|props| !props.is_empty()) {
            let sizes: Vec<u64> = props.iter().map(|prop| prop.nodes * SLOTS).collect();
            let olds: Vec<_> = props.iter().map(old).collect();
            let whole: u64 = sizes.iter().sum();
            let kept_at = |start: u64| {
                let mut at = start;
                let mut kept = 0;
                for (size, old) in sizes.iter().zip(&olds) {
                    if let Some((_, slots)) = old.filter(|(start, _)| *start == at) {
                        kept += slots;
                    }
                    at += size;
                }
                kept
            };
            let all: u64 = olds.iter().flatten().map(|(_, slots)| slots).sum();
            let mut before = 0;
            let mut places = Vec::new();
            for (size, old) in sizes.iter().zip(&olds) {
                if let Some(start) = old.and_then(|(start, _)| start.checked_sub(before)) {
                    places.push((start, kept_at(start)));
                }
                before += size;
            }
            let as_it_was =
                sizes.iter().zip(&olds).all(|(size, old)| old.is_some_and(|o| o.1 == *size));
            match places.first() {
                Some((start, kept)) if as_it_was && *kept == all => {
                    taken.push((*start, start + whole))
                }
                _ => changed.push((places, whole, all)),
            }
        }
        let mut moved = 0;
        for (mut places, whole, all) in changed {
            places.sort_by_key(|(start, kept)| (std::cmp::Reverse(*kept), *start));
            let begin = |start: u64| (start / 512) / 200 * 200 * 512;
            let fits = places.iter().find(|(start, _)| {
                let end = start + whole;
                *start >= begin(end - 1)
                    && taken.iter().all(|(from, to)| *to <= *start || end <= *from)
            });
            match fits {
                Some((start, kept)) => {
                    taken.push((*start, start + whole));
                    moved += all - kept;
                }
                None => moved += all,
            }
        }
        moved
    }
}
