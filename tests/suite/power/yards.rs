//! Random displays whose plus and minus differ: their choices, and the text of them.

use super::spice::Random;
use std::fmt::Write as _;

#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Place {
    Start,
    End,
    Node(u32),
    EveryNodes(u32),
    EveryStrands(u32),
}

/// A lead: supply, conductor, decimetres.
pub type Lead = (usize, u8, u64);

#[derive(Debug, Clone)]
pub struct Inject {
    pub place: Place,
    pub lead: Lead,
    pub apart: bool,
    /// At the end of a string, where the next one's start is fed `apart` too: the cut is after
    /// this.
    pub before_the_cut: bool,
}

#[derive(Debug, Clone)]
pub enum Part {
    Nodes(u32),
    Skip(u32),
    Cable(u8, u64),
}

#[derive(Debug, Clone)]
pub struct Prop {
    pub name: String,
    pub make: usize,
    pub parts: Vec<Part>,
    pub strand: Option<u32>,
    pub injects: Vec<Inject>,
}

impl Prop {
    pub fn nodes(&self) -> u32 {
        let nodes = |part: &Part| match part {
            Part::Nodes(count) => *count,
            _ => 0,
        };
        self.parts.iter().map(nodes).sum()
    }
}

#[derive(Debug, Clone)]
pub enum Item {
    Skip(u32),
    Cable(u8, u64),
    Prop(Prop),
}

#[derive(Debug, Clone)]
pub struct Chain {
    pub port: usize,
    /// The `power` statement that feeds it.
    pub power: Option<usize>,
    pub items: Vec<Item>,
}

/// A controller or receiver: its name, its `power` statements (first and last port, lead), its
/// chains by port.
#[derive(Debug, Clone)]
pub struct Station {
    pub name: String,
    pub powers: Vec<(usize, usize, Lead)>,
    pub chains: Vec<Chain>,
}

/// A make of node: milliamperes, milliwatts, idle milliamperes, pitch in millimetres, conductor.
pub type Make = (u64, u64, u64, u64, u8);

#[derive(Debug, Clone)]
pub struct Yard {
    pub volts: u64,
    /// In millivolts.
    pub floor: u64,
    pub supplies: usize,
    pub makes: Vec<Make>,
    pub receivers: bool,
    pub stations: Vec<Station>,
}

/// Draws displays; `dark`: some of their nodes are asked for more than they get.
pub struct Draw<'a> {
    pub random: &'a mut Random,
    pub dark: bool,
}

impl Draw<'_> {
    pub fn yard(&mut self) -> Yard {
        let volts = [5, 12, 24][self.random.next(3) as usize];
        let supplies = pick(self.random, 1, 3) as usize;
        let makes = (0..2).map(|_| self.make(volts)).collect();
        let receivers = chance(self.random, 40);
        let names = match (receivers, chance(self.random, 30)) {
            (true, _) => vec!["hut", "far", "near"],
            (false, true) => vec!["hut", "shed"],
            (false, false) => vec!["hut"],
        };
        let mut yard = Yard {
            volts,
            floor: volts * if self.dark { 850 } else { 300 },
            supplies,
            makes,
            receivers,
            stations: Vec::new(),
        };
        for name in names {
            let station = self.station(name, &yard);
            yard.stations.push(station);
        }
        yard
    }

    fn make(&mut self, volts: u64) -> Make {
        let more = if self.dark { 5 } else { 1 };
        let (amps, watts) = match self.random.next(3) {
            0 => (pick(self.random, 5, 3 * volts) * more, 0),
            1 => (0, pick(self.random, 20, 30 * volts) * more),
            _ => (pick(self.random, 4, 60) * more, 0),
        };
        let (idle, pitch) = (self.random.next(3), pick(self.random, 30, 150));
        (amps, watts, idle, pitch, pick(self.random, 16, 22) as u8)
    }

    fn station(&mut self, name: &str, yard: &Yard) -> Station {
        // A receiver of ours has two ports.
        let ports =
            if name == "far" || name == "near" { 2 } else { pick(self.random, 1, 3) as usize };
        let mut powers: Vec<(usize, usize, Lead)> = Vec::new();
        let mut first = 1;
        while first <= ports {
            let last = pick(self.random, first as u64, ports as u64) as usize;
            if chance(self.random, 80) {
                powers.push((first, last, self.lead(yard)));
            }
            first = last + 1;
        }
        let mut station = Station { name: name.to_owned(), powers, chains: Vec::new() };
        for port in 1..=ports {
            if port > 1 && chance(self.random, 20) {
                continue;
            }
            let powers = &station.powers;
            let power = powers.iter().position(|power| (power.0..=power.1).contains(&port));
            let supply = power.map(|at| powers[at].2.0);
            let names = format!("{name}{port}");
            let items = self.items(&names, supply, yard);
            station.chains.push(Chain { port, power, items });
        }
        station
    }

    fn lead(&mut self, yard: &Yard) -> Lead {
        let supply = self.random.next(yard.supplies as u64) as usize;
        (supply, pick(self.random, 10, 20) as u8, pick(self.random, 3, 80))
    }

    /// A chain of props. `on`: the supply that feeds the plus so far.
    fn items(&mut self, name: &str, mut on: Option<usize>, yard: &Yard) -> Vec<Item> {
        let mut items = Vec::new();
        for at in 0..=self.random.next(3) {
            if chance(self.random, 25) {
                items.push(self.gap());
            }
            let mut prop = self.prop(&format!("{name}{}", ["a", "b", "c"][at as usize]));
            if let Some(Item::Prop(before)) = items.last_mut()
                && chance(self.random, 15)
            {
                self.joint(before, &mut prop, &mut on, yard);
            } else if on.is_none() || chance(self.random, 25) {
                let apart = chance(self.random, 40) && !ends_apart(items.last());
                self.feed(&mut prop, Place::Start, apart, &mut on, yard);
            }
            self.feeds(&mut prop, &mut on, yard);
            items.push(Item::Prop(prop));
        }
        items
    }

    fn gap(&mut self) -> Item {
        match self.random.next(2) {
            0 => Item::Skip(pick(self.random, 1, 3) as u32),
            _ => Item::Cable(pick(self.random, 14, 20) as u8, pick(self.random, 3, 50)),
        }
    }

    fn prop(&mut self, name: &str) -> Prop {
        let make = self.random.next(2) as usize;
        if chance(self.random, 25) {
            let strand = pick(self.random, 2, 4) as u32;
            let parts = vec![Part::Nodes(strand * pick(self.random, 2, 4) as u32)];
            return Prop {
                name: name.to_owned(),
                make,
                parts,
                strand: Some(strand),
                injects: Vec::new(),
            };
        }
        let mut parts = vec![Part::Nodes(pick(self.random, 2, 14) as u32)];
        if chance(self.random, 30) {
            parts.push(match self.gap() {
                Item::Cable(gauge, length) => Part::Cable(gauge, length),
                _ => Part::Skip(1),
            });
            parts.push(Part::Nodes(pick(self.random, 1, 8) as u32));
        }
        Prop { name: name.to_owned(), make, parts, strand: None, injects: Vec::new() }
    }

    /// Feeds of both sides of the joint between two props, the plus cut between them.
    fn joint(&mut self, before: &mut Prop, prop: &mut Prop, on: &mut Option<usize>, yard: &Yard) {
        let at_the_end = |inject: &Inject| inject.place.ends(before.nodes(), before.strand);
        if on.is_none() || before.injects.iter().any(at_the_end) {
            return;
        }
        self.feed(before, Place::End, false, on, yard);
        if let Some(inject) = before.injects.last_mut() {
            (inject.apart, inject.before_the_cut) = (true, true);
        }
        self.feed(prop, Place::Start, true, on, yard);
    }

    /// Up to two injections, or one of the kind `every`.
    fn feeds(&mut self, prop: &mut Prop, on: &mut Option<usize>, yard: &Yard) {
        let (nodes, apart) = (prop.nodes(), chance(self.random, 40));
        let place = match (self.random.next(8), prop.strand) {
            (0, Some(_)) => Place::EveryStrands(pick(self.random, 1, 2) as u32),
            (0, None) => Place::EveryNodes(pick(self.random, 2, u64::from(nodes)) as u32),
            (1 | 2, _) => Place::End,
            (3 | 4, _) => Place::Node(pick(self.random, 2, u64::from(nodes)) as u32),
            (5, _) => {
                let node = pick(self.random, 1, u64::from(nodes)) as u32;
                self.feed(prop, Place::Node(node), apart && node > 1, on, yard);
                Place::End
            }
            _ => return,
        };
        let apart = chance(self.random, 40);
        self.feed(prop, place, apart, on, yard);
    }

    fn feed(
        &mut self,
        prop: &mut Prop,
        place: Place,
        apart: bool,
        on: &mut Option<usize>,
        yard: &Yard,
    ) {
        let mut lead = self.lead(yard);
        // What is not apart comes from the supply that the plus has.
        if let Some(supply) = on.filter(|_| !apart) {
            lead.0 = supply;
        }
        *on = Some(lead.0);
        prop.injects.push(Inject { place, lead, apart, before_the_cut: false });
    }
}

fn pick(random: &mut Random, from: u64, to: u64) -> u64 {
    from + random.next(to.max(from) - from + 1)
}

fn chance(random: &mut Random, percent: u64) -> bool {
    random.next(100) < percent
}

fn ends_apart(item: Option<&Item>) -> bool {
    let Some(Item::Prop(prop)) = item else {
        return false;
    };
    let mut injects = prop.injects.iter();
    injects.any(|inject| inject.apart && inject.place.ends(prop.nodes(), prop.strand))
}

impl Place {
    /// Whether it has a point after the last node.
    pub fn ends(self, nodes: u32, strand: Option<u32>) -> bool {
        match self {
            Place::End => true,
            Place::EveryNodes(step) => nodes.is_multiple_of(step),
            Place::EveryStrands(step) => nodes.is_multiple_of(step * strand.unwrap_or(1)),
            Place::Start | Place::Node(_) => false,
        }
    }

    fn text(self) -> String {
        match self {
            Place::Start => "at start".to_owned(),
            Place::End => "at end".to_owned(),
            Place::Node(node) => format!("at node {node}"),
            Place::EveryNodes(step) => format!("every {step} nodes"),
            Place::EveryStrands(step) => format!("every {step} strands"),
        }
    }
}

fn cable(gauge: u8, length: u64) -> String {
    format!("{}.{} m of {gauge} AWG", length / 10, length % 10)
}

fn through((supply, gauge, length): Lead) -> String {
    format!("from s{supply} through {}", cable(gauge, length))
}

// Writing to a String can't fail; so `let _` below.
impl Yard {
    pub fn text(&self) -> String {
        let mut text = String::new();
        for supply in 0..self.supplies {
            let _ = writeln!(text, "supply s{supply} {{ volts {} V }}", self.volts);
        }
        for (at, (amps, watts, idle, pitch, gauge)) in self.makes.iter().enumerate() {
            let draw = if *watts > 0 { format!("0.{watts:03} W") } else { format!("{amps} mA") };
            let draw = if *watts >= 1000 {
                format!("{}.{:03} W", watts / 1000, watts % 1000)
            } else {
                draw
            };
            let _ = writeln!(
                text,
                "node n{at} {{ chip ws2811; colour RGB; volts {} V; floor {}.{:03} V; draw {draw}; idle {idle} mA; pitch {pitch} mm; gauge {gauge} AWG }}",
                self.volts,
                self.floor / 1000,
                self.floor % 1000
            );
        }
        for (at, station) in self.stations.iter().enumerate() {
            self.station(at, station, &mut text);
        }
        text
    }

    fn station(&self, at: usize, station: &Station, text: &mut String) {
        let name = &station.name;
        let volts = self.volts;
        let _ = match (at, self.receivers) {
            // Both receivers hang on ports 4 and 5: on each of them the first one's chain comes
            // first.
            (1 | 2, true) => writeln!(
                text,
                "receiver {name} {{ carries hut.4..5; ports 1..2 {{ volts {volts} V }} }}"
            ),
            _ => writeln!(text, "controller {name} {{ ports 1..5 {{ volts {volts} V }} }}"),
        };
        for (first, last, lead) in &station.powers {
            let _ = writeln!(text, "power {name}.{first}..{last} {}", through(*lead));
        }
        for chain in &station.chains {
            let mut words = Vec::new();
            for item in &chain.items {
                words.push(match item {
                    Item::Skip(count) => format!("skip {count}"),
                    Item::Cable(gauge, length) => format!("lead {}", cable(*gauge, *length)),
                    Item::Prop(prop) => {
                        prop.write(text);
                        prop.name.clone()
                    }
                });
            }
            let _ = writeln!(text, "wire {name}.{}: {}", chain.port, words.join(" -> "));
        }
    }
}

impl Prop {
    fn write(&self, text: &mut String) {
        let Prop { name, make, .. } = self;
        let string = match self.strand {
            Some(strand) => {
                format!("strings 1 of {} strands of {strand} nodes", self.nodes() / strand)
            }
            None => {
                let parts = self.parts.iter().map(|part| match part {
                    Part::Nodes(count) => format!("{count} nodes"),
                    Part::Skip(count) => format!("skip {count}"),
                    Part::Cable(gauge, length) => format!("lead {}", cable(*gauge, *length)),
                });
                format!("string: {}", parts.collect::<Vec<_>>().join(" -> "))
            }
        };
        let _ = writeln!(text, "prop {name} {{ node n{make}; {string} }}");
        for inject in &self.injects {
            let apart = if inject.apart { " apart" } else { "" };
            let _ = writeln!(
                text,
                "inject {name} {} {}{apart}",
                inject.place.text(),
                through(inject.lead)
            );
        }
    }
}
