//! Displays as circuits that ngspice reads, drawn from their choices and not from anything that the
//! solver has.

use super::yards::{Chain, Inject, Item, Lead, Part, Place, Prop, Station, Yard};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use tinsel::cable::loop_ohms;
use tinsel::unit::Gauge;

/// By stretch: the lowest voltage, the largest current in plus and in minus. By lead: plus and
/// minus.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Found {
    pub sections: Vec<Vec<f64>>,
    pub feeds: Vec<Vec<f64>>,
    pub taps: Vec<Vec<f64>>,
}

/// One conductor of a cable, in ohm.
fn ohms(gauge: u8, tenths: u64, per_metre: u64) -> f64 {
    loop_ohms((tenths * 1_000_000 / per_metre) as i64, Gauge::Awg(gauge), 20.0) / 2.0
}

/// A conductor: from where to where, and its ohms.
type Wire = (String, String, f64);

/// What is drawn between two points: amperes, watts and idle amperes.
type Load = (f64, f64, f64);

/// A circuit as ngspice reads it, and what is to be read off it.
#[derive(Default)]
pub struct Circuit {
    text: String,
    points: usize,
    /// Between which points conductors lie, for the one point of each island that is at 0 V.
    pub joins: Vec<(String, String)>,
    /// By stretch of plus: its nodes that show something, its segments of plus and minus (from, to,
    /// ohm).
    stretches: Vec<Section>,
    /// By statement and nodes before it: the lead's ends at the supply and at the line, and its
    /// ohms.
    taps: BTreeMap<(usize, u32), [Wire; 2]>,
    feeds: Vec<[Wire; 2]>,
    statement: usize,
}

#[derive(Default)]
struct Section {
    nodes: Vec<(String, String)>,
    plus: Vec<Wire>,
    minus: Vec<Wire>,
}

// Writing to a String can't fail; so `let _` below.
impl Circuit {
    pub fn of(yard: &Yard) -> Self {
        let mut circuit = Circuit { text: "* a display\n".to_owned(), ..Circuit::default() };
        for at in 0..yard.supplies {
            let _ = writeln!(circuit.text, "V{at} sp{at} sm{at} DC {}", yard.volts);
            circuit.joins.push((format!("sp{at}"), format!("sm{at}")));
        }
        // All statements of a kind by their order in the text.
        for station in &yard.stations {
            circuit.powers(station);
        }
        for station in yard.stations.iter().take(1) {
            station.chains.iter().for_each(|chain| circuit.chain(yard, station, chain));
        }
        circuit.others(yard);
        circuit
    }

    /// Stations after the first: other boxes, or receivers on ports 4 and 5, port by port.
    fn others(&mut self, yard: &Yard) {
        let rest = yard.stations.get(1..).unwrap_or(&[]);
        let before: Vec<usize> = rest.iter().map(injections).collect();
        let base = self.statement;
        let mut chains: Vec<(usize, usize, usize)> = Vec::new();
        for (at, station) in rest.iter().enumerate() {
            let mut first = base + before[..at].iter().sum::<usize>();
            for (index, chain) in station.chains.iter().enumerate() {
                chains.push((at, index, first));
                first += of_chain(chain);
            }
        }
        if yard.receivers {
            chains.sort_by_key(|(at, index, _)| (rest[*at].chains[*index].port, *at));
        }
        for (at, index, first) in chains {
            self.statement = first;
            self.chain(yard, &rest[at], &rest[at].chains[index]);
        }
    }

    fn point(&mut self) -> String {
        self.points += 1;
        format!("x{}", self.points)
    }

    fn resistor(&mut self, a: &str, b: &str, ohms: f64) {
        self.points += 1;
        let _ = writeln!(self.text, "R{} {a} {b} {ohms:e}", self.points);
        self.joins.push((a.to_owned(), b.to_owned()));
    }

    /// Both conductors of a lead, to two points of the display.
    fn lead(
        &mut self,
        (supply, gauge, tenths): Lead,
        more: f64,
        plus: &str,
        minus: &str,
    ) -> [Wire; 2] {
        let ohms = ohms(gauge, tenths, 10) + more;
        let (high, low) = (format!("sp{supply}"), format!("sm{supply}"));
        self.resistor(&high, plus, ohms);
        self.resistor(minus, &low, ohms);
        [(high, plus.to_owned(), ohms), (minus.to_owned(), low, ohms)]
    }

    fn powers(&mut self, station: &Station) {
        for (at, (_, _, lead)) in station.powers.iter().enumerate() {
            let bus = format!("bus_{}_{at}", station.name);
            let feed = self.lead(*lead, 0.0, &bus, &format!("box_{}", station.name));
            self.feeds.push(feed);
        }
    }

    fn chain(&mut self, yard: &Yard, station: &Station, chain: &Chain) {
        let plus = match chain.power {
            Some(at) => format!("bus_{}_{at}", station.name),
            None => self.point(),
        };
        self.stretches.push(Section::default());
        let mut on = On { yard, plus, minus: format!("box_{}", station.name), make: 0 };
        for (at, item) in chain.items.iter().enumerate() {
            match item {
                Item::Cable(gauge, tenths) => {
                    self.segment(&mut on, ohms(*gauge, *tenths, 10), true)
                }
                Item::Skip(count) => {
                    let make = |item: &Item| match item {
                        Item::Prop(prop) => Some(prop.make),
                        _ => None,
                    };
                    let near = chain.items[..at].iter().rev().find_map(make);
                    on.make = near.or(chain.items[at..].iter().find_map(make)).unwrap();
                    (0..*count).for_each(|_| self.node(&mut on, false, true));
                }
                Item::Prop(prop) => self.prop(&mut on, prop),
            }
        }
    }

    /// A segment of a line, its plus whole or not.
    fn segment(&mut self, on: &mut On<'_>, ohms: f64, whole: bool) {
        let (plus, minus) = (self.point(), self.point());
        let section = self.stretches.last_mut().unwrap();
        section.minus.push((minus.clone(), on.minus.clone(), ohms));
        if whole {
            section.plus.push((on.plus.clone(), plus.clone(), ohms));
            self.resistor(&on.plus.clone(), &plus, ohms);
        }
        self.resistor(&minus, &on.minus.clone(), ohms);
        (on.plus, on.minus) = (plus, minus);
    }

    /// A node after its pitch.
    fn node(&mut self, on: &mut On<'_>, lit: bool, whole: bool) {
        let (amps, watts, idle, pitch, gauge) = on.yard.makes[on.make];
        self.segment(on, ohms(gauge, pitch, 1_000), whole);
        let lit = if lit { 1e-3 } else { 0.0 };
        self.draw(on, (amps as f64 * lit, watts as f64 * lit, idle as f64 * 1e-3));
        if lit > 0.0 {
            let section = self.stretches.last_mut().unwrap();
            section.nodes.push((on.plus.clone(), on.minus.clone()));
        }
    }

    fn draw(&mut self, on: &On<'_>, (amps, watts, idle): Load) {
        let (plus, minus) = (&on.plus, &on.minus);
        let (amps, floor) = (amps + idle, on.yard.floor as f64 * 1e-3);
        if amps <= 0.0 && watts <= 0.0 {
            return;
        }
        let volts = format!("v({plus},{minus})");
        let full = format!("{amps:e}+{watts:e}/{volts}");
        let under = format!("{:e}*{volts}", (amps + watts / floor) / floor);
        self.points += 1;
        let _ = writeln!(
            self.text,
            "B{} {plus} {minus} I={volts}<{floor} ? {under} : {full}",
            self.points
        );
    }

    fn prop(&mut self, on: &mut On<'_>, prop: &Prop) {
        let first = self.statement;
        self.statement += prop.injects.len();
        on.make = prop.make;
        let named = || prop.injects.iter().enumerate().map(|(at, inject)| (first + at, inject));
        for (at, inject) in in_order(named().filter(|(_, inject)| inject.place == Place::Start)) {
            self.inject(on, prop, (at, inject), 0);
        }
        let (mut node, nodes) = (0, prop.nodes());
        for part in &prop.parts {
            match part {
                Part::Cable(gauge, tenths) => self.segment(on, ohms(*gauge, *tenths, 10), true),
                Part::Skip(count) => (0..*count).for_each(|_| self.node(on, false, true)),
                Part::Nodes(count) => {
                    for _ in 0..*count {
                        node += 1;
                        let here = |inject: &Inject| inject.place == Place::Node(node);
                        let cut = named().any(|(_, inject)| here(inject) && inject.apart);
                        if cut {
                            self.stretches.push(Section::default());
                        }
                        self.node(on, true, !cut);
                        for (at, inject) in named().filter(|(_, inject)| here(inject)) {
                            self.tap(on, (at, inject), node, 0.0);
                        }
                        let here = |inject: &Inject| inject.place.reaches(node, nodes, prop.strand);
                        for (at, inject) in in_order(named().filter(|(_, inject)| here(inject))) {
                            self.inject(on, prop, (at, inject), node);
                        }
                    }
                }
            }
        }
    }

    /// An injection at the start, or after a node.
    fn inject(&mut self, on: &mut On<'_>, prop: &Prop, (at, inject): (usize, &Inject), node: u32) {
        let last = node == prop.nodes();
        if inject.apart && !inject.before_the_cut {
            on.plus = self.point();
            self.stretches.push(Section::default());
        }
        let (.., pitch, gauge) = on.yard.makes[prop.make];
        // One pitch of the string leads on to where a connector at its end is.
        let tail = if last && !inject.apart { ohms(gauge, pitch, 1_000) } else { 0.0 };
        self.tap(on, (at, inject), node, tail);
        if tail > 0.0 {
            let [plus, minus] = self.taps[&(at, node)].clone();
            let section = self.stretches.last_mut().unwrap();
            section.plus.push(plus);
            section.minus.push(minus);
        }
    }

    fn tap(&mut self, on: &On<'_>, (at, inject): (usize, &Inject), node: u32, tail: f64) {
        let tap = self.lead(inject.lead, tail, &on.plus, &on.minus);
        self.taps.insert((at, node), tap);
    }

    /// The whole of it, each island of conductors at 0 V somewhere, and all voltages printed.
    pub fn netlist(&self) -> String {
        let mut root: BTreeMap<&str, &str> = BTreeMap::new();
        fn find<'a>(root: &BTreeMap<&'a str, &'a str>, mut at: &'a str) -> &'a str {
            while let Some(next) = root.get(at) {
                at = next;
            }
            at
        }
        let mut all: Vec<&str> = Vec::new();
        for (a, b) in &self.joins {
            all.extend([a.as_str(), b.as_str()]);
            let (a, b) = (find(&root, a), find(&root, b));
            if a != b {
                root.insert(a, b);
            }
        }
        // Nodes hang between plus and minus too.
        let draws = self.text.lines().filter(|line| line.starts_with('B'));
        for line in draws {
            let mut words = line.split(' ').skip(1);
            let (a, b) = (words.next().unwrap(), words.next().unwrap());
            let (a, b) = (find(&root, a), find(&root, b));
            if a != b {
                root.insert(a, b);
            }
        }
        all.sort_unstable();
        all.dedup();
        let mut text = self.text.clone();
        for point in all.iter().filter(|point| find(&root, point) == **point) {
            let _ = writeln!(text, "Rzero_{point} {point} 0 1");
        }
        text.push_str(".options reltol=1e-9 abstol=1e-12 vntol=1e-12 itl1=2000 gmin=1e-15\n.control\nop\nset numdgt=12\n");
        all.iter().for_each(|point| {
            let _ = writeln!(text, "print v({point})");
        });
        text.push_str("quit\n.endc\n.end\n");
        text
    }

    /// What is held against ours, read off ngspice's voltages.
    pub fn read(&self, volts: &BTreeMap<String, f64>) -> Found {
        let at = |point: &String| volts.get(point).copied().unwrap_or(0.0);
        let amps = |(from, to, ohms): &Wire| (at(from) - at(to)) / ohms;
        let most = |all: &[Wire]| all.iter().map(|one| amps(one).abs()).fold(0.0, f64::max);
        let sections = self.stretches.iter().filter(|section| !section.nodes.is_empty());
        Found {
            sections: sections
                .map(|section| {
                    let volts = section.nodes.iter().map(|(plus, minus)| at(plus) - at(minus));
                    vec![
                        volts.fold(f64::INFINITY, f64::min),
                        most(&section.plus),
                        most(&section.minus),
                    ]
                })
                .collect(),
            feeds: self.feeds.iter().map(|[plus, minus]| vec![amps(plus), amps(minus)]).collect(),
            taps: self.taps.values().map(|[plus, minus]| vec![amps(plus), amps(minus)]).collect(),
        }
    }
}

/// Where a chain is.
struct On<'a> {
    yard: &'a Yard,
    plus: String,
    minus: String,
    make: usize,
}

impl Place {
    /// Whether it has a point after a node.
    fn reaches(self, node: u32, nodes: u32, strand: Option<u32>) -> bool {
        match self {
            Place::End => node == nodes,
            Place::EveryNodes(step) => node.is_multiple_of(step),
            Place::EveryStrands(step) => node.is_multiple_of(step * strand.unwrap_or(1)),
            Place::Start | Place::Node(_) => false,
        }
    }
}

/// At one point, what ends the plus before a cut comes before what is cut off.
fn in_order<'a>(all: impl Iterator<Item = (usize, &'a Inject)>) -> Vec<(usize, &'a Inject)> {
    let mut all: Vec<_> = all.collect();
    all.sort_by_key(|(_, inject)| inject.apart && !inject.before_the_cut);
    all
}

fn injections(station: &Station) -> usize {
    station.chains.iter().map(of_chain).sum()
}

fn of_chain(chain: &Chain) -> usize {
    let of = |item: &Item| match item {
        Item::Prop(prop) => prop.injects.len(),
        _ => 0,
    };
    chain.items.iter().map(of).sum()
}
