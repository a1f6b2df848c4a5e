//! Whole displays against ngspice, with plus and minus as two conductors.
//!
//! `tests/power/rails.txt` holds random displays and what ngspice 39 gave for them: several supplies, several ports of a
//! box, receivers, injections at the start, the end, at nodes and strands, with `apart` and without. The circuit is
//! drawn here from the same choices as the display's text (`yards.rs`); it knows nothing of the solver's networks. Where
//! ngspice is installed (or `NGSPICE` names it) it is asked anew. To draw and record them again: `RECORD_RAILS=1 cargo
//! test --test suite rails`.

use super::spice::{Random, spice};
use super::yards::{Chain, Draw, Inject, Item, Lead, Part, Place, Prop, Station, Yard};
use crate::check::{one, told};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use tinsel::cable::loop_ohms;
use tinsel::loads::Study;
use tinsel::power;
use tinsel::unit::Gauge;

/// How many displays; in those after the first [`BRIGHT`] some nodes are under their floor.
const BRIGHT: usize = 240;
const DARK: usize = 30;

/// The most that ours may differ, in volts and in amperes.
const WITHIN: f64 = 1e-3;

/// One conductor of a cable, in ohm.
fn ohms(gauge: u8, tenths: u64, per_metre: u64) -> f64 {
    loop_ohms(
        (tenths * 1_000_000 / per_metre) as i64,
        Gauge::Awg(gauge),
        20.0,
    ) / 2.0
}

/// What is drawn between two points: amperes, watts and idle amperes.
type Load = (f64, f64, f64);

/// A circuit as ngspice reads it, and what is to be read off it.
#[derive(Default)]
struct Circuit {
    text: String,
    points: usize,
    /// Between which points conductors lie, for the one point of each island that is at 0 V.
    joins: Vec<(String, String)>,
    /// By stretch of plus: its nodes that show something, its segments of plus and minus (from, to, ohm).
    stretches: Vec<Section>,
    /// By statement and nodes before it: the lead's ends at the supply and at the line, and its ohms.
    taps: BTreeMap<(usize, u32), [(String, String, f64); 2]>,
    feeds: Vec<[(String, String, f64); 2]>,
    statement: usize,
}

#[derive(Default)]
struct Section {
    nodes: Vec<(String, String)>,
    plus: Vec<(String, String, f64)>,
    minus: Vec<(String, String, f64)>,
}

// Writing to a String can't fail; so `let _` below.
impl Circuit {
    fn of(yard: &Yard) -> Self {
        let mut circuit = Circuit {
            text: "* a display\n".to_owned(),
            ..Circuit::default()
        };
        for at in 0..yard.supplies {
            let _ = writeln!(circuit.text, "V{at} sp{at} sm{at} DC {}", yard.volts);
            circuit.joins.push((format!("sp{at}"), format!("sm{at}")));
        }
        // All statements of a kind by their order in the text.
        for station in &yard.stations {
            circuit.powers(station);
        }
        for station in yard.stations.iter().take(1) {
            station
                .chains
                .iter()
                .for_each(|chain| circuit.chain(yard, station, chain));
        }
        circuit.others(yard);
        circuit
    }

    /// Stations behind the first: other boxes, or receivers on ports 4 and 5, port by port.
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
    ) -> [(String, String, f64); 2] {
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
        let mut on = On {
            yard,
            plus,
            minus: format!("box_{}", station.name),
            make: 0,
        };
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

    /// A node behind its pitch.
    fn node(&mut self, on: &mut On<'_>, lit: bool, whole: bool) {
        let (amps, watts, idle, pitch, gauge) = on.yard.makes[on.make];
        self.segment(on, ohms(gauge, pitch, 1_000), whole);
        let lit = if lit { 1e-3 } else { 0.0 };
        self.draw(
            on,
            (amps as f64 * lit, watts as f64 * lit, idle as f64 * 1e-3),
        );
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
        let named = || {
            prop.injects
                .iter()
                .enumerate()
                .map(|(at, inject)| (first + at, inject))
        };
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

    /// An injection at the start, or behind a node.
    fn inject(&mut self, on: &mut On<'_>, prop: &Prop, (at, inject): (usize, &Inject), node: u32) {
        let last = node == prop.nodes();
        if inject.apart && !inject.before_the_cut {
            on.plus = self.point();
            self.stretches.push(Section::default());
        }
        let (.., pitch, gauge) = on.yard.makes[prop.make];
        // One pitch of the string leads on to where a connector at its end is.
        let tail = if last && !inject.apart {
            ohms(gauge, pitch, 1_000)
        } else {
            0.0
        };
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
    fn netlist(&self) -> String {
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
    fn read(&self, volts: &BTreeMap<String, f64>) -> Found {
        let at = |point: &String| volts.get(point).copied().unwrap_or(0.0);
        let amps = |(from, to, ohms): &(String, String, f64)| (at(from) - at(to)) / ohms;
        let most = |all: &[(String, String, f64)]| {
            all.iter().map(|one| amps(one).abs()).fold(0.0, f64::max)
        };
        let sections = self
            .stretches
            .iter()
            .filter(|section| !section.nodes.is_empty());
        Found {
            sections: sections
                .map(|section| {
                    let volts = section
                        .nodes
                        .iter()
                        .map(|(plus, minus)| at(plus) - at(minus));
                    vec![
                        volts.fold(f64::INFINITY, f64::min),
                        most(&section.plus),
                        most(&section.minus),
                    ]
                })
                .collect(),
            feeds: self
                .feeds
                .iter()
                .map(|[plus, minus]| vec![amps(plus), amps(minus)])
                .collect(),
            taps: self
                .taps
                .values()
                .map(|[plus, minus]| vec![amps(plus), amps(minus)])
                .collect(),
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
    /// Whether it has a point behind a node.
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

/// By stretch: the lowest voltage, the largest current in plus and in minus. By lead: plus and minus.
#[derive(Debug, Clone, PartialEq, Default)]
struct Found {
    sections: Vec<Vec<f64>>,
    feeds: Vec<Vec<f64>>,
    taps: Vec<Vec<f64>>,
}

impl Found {
    fn ours(study: &Study) -> Self {
        let micro = |value: i64| value as f64 * 1e-6;
        let mut peaks = vec![(0, 0); study.sections.len()];
        for load in &study.conductors {
            let peak = &mut peaks[load.section as usize];
            *peak = (
                peak.0.max(load.plus.ua.abs()),
                peak.1.max(load.minus.ua.abs()),
            );
        }
        let sections = study
            .sections
            .iter()
            .zip(peaks)
            .filter_map(|(section, peak)| {
                Some(vec![
                    micro(section.lowest?.uv),
                    micro(peak.0),
                    micro(peak.1),
                ])
            });
        let mut taps: Vec<_> = study.taps.iter().collect();
        taps.sort_by_key(|tap| (tap.injection, tap.after));
        Found {
            sections: sections.collect(),
            feeds: study
                .feeds
                .iter()
                .map(|feed| vec![micro(feed.ua), micro(feed.minus_ua)])
                .collect(),
            taps: taps
                .iter()
                .map(|tap| vec![micro(tap.ua), micro(tap.minus_ua)])
                .collect(),
        }
    }

    fn all(&self) -> impl Iterator<Item = &Vec<f64>> {
        self.sections.iter().chain(&self.feeds).chain(&self.taps)
    }

    fn shape(&self) -> (usize, usize, usize) {
        (self.sections.len(), self.feeds.len(), self.taps.len())
    }

    fn text(&self) -> String {
        let rows = |rows: &[Vec<f64>]| {
            let row = |row: &Vec<f64>| {
                row.iter()
                    .map(|value| format!("{value:.6}"))
                    .collect::<Vec<_>>()
                    .join(" ")
            };
            rows.iter().map(row).collect::<Vec<_>>().join(", ")
        };
        format!(
            "# sections {}\n# feeds {}\n# taps {}\n",
            rows(&self.sections),
            rows(&self.feeds),
            rows(&self.taps)
        )
    }
}

/// The display of each draw, and whether it is asked for more than it gets.
fn draws() -> impl Iterator<Item = Yard> {
    let mut random = Random(0x5eed_2a11_5000_0003);
    (0..).map(move |draw: usize| {
        let random = &mut random;
        Draw {
            random,
            dark: draw.is_multiple_of(4),
        }
        .yard()
    })
}

/// As many draws as are wanted of both kinds, by number: all solved, some nodes under their floor or none.
fn chosen() -> Vec<usize> {
    let (mut bright, mut dark) = (Vec::new(), Vec::new());
    for (draw, yard) in draws().enumerate() {
        let compiled = one(&yard.text());
        let mut findings = compiled.findings.iter();
        let power =
            findings.all(|finding| matches!(finding.code, code if code.starts_with("power/") || code == "name/unused"));
        let study = power::at(&compiled.model, &compiled.plan, None);
        let solved = study.sections.iter().all(|section| !section.left_out);
        assert!(power && solved, "{}\n{}", told(&compiled), yard.text());
        let under = study.sections.iter().any(|section| section.dark.is_some());
        match (under, bright.len() < BRIGHT, dark.len() < DARK) {
            (false, true, _) => bright.push(draw),
            (true, _, true) => dark.push(draw),
            (_, false, false) => break,
            _ => {}
        }
    }
    bright.extend(dark);
    bright
}

/// What ngspice gives.
fn ask(spice: &Path, file: &Path, yard: &Yard) -> Found {
    let circuit = Circuit::of(yard);
    std::fs::write(file, circuit.netlist()).unwrap();
    let out = Command::new(spice).arg("-b").arg(file).output().unwrap();
    let text = String::from_utf8_lossy(&out.stdout);
    let volts: BTreeMap<String, f64> = text
        .lines()
        .filter_map(|line| line.strip_prefix("v(")?.split_once(") = "))
        .map(|(point, volts)| (point.to_owned(), volts.trim().parse().unwrap()))
        .collect();
    assert!(
        volts.len() > circuit.joins.len() / 2,
        "ngspice said\n{text}\nof\n{}",
        circuit.netlist()
    );
    for at in 0..yard.supplies {
        let terminal = |side| volts.get(&format!("s{side}{at}"));
        if let Some((plus, minus)) = terminal('p').zip(terminal('m')) {
            assert!(
                (plus - minus - yard.volts as f64).abs() < 1e-6,
                "ngspice said\n{text}"
            );
        }
    }
    circuit.read(&volts)
}

fn file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/power/rails.txt")
}

/// The number of a draw, its display, and what ngspice gave.
type Case = (usize, String, Found);

/// The recorded displays with the answers.
fn recorded() -> Vec<Case> {
    let text = std::fs::read_to_string(file()).unwrap();
    let mut cases: Vec<Case> = Vec::new();
    for line in text.lines() {
        let rows = |text: &str| -> Vec<Vec<f64>> {
            let row = |row: &str| {
                row.split_whitespace()
                    .map(|word| word.parse().unwrap())
                    .collect()
            };
            text.split(',')
                .filter(|row| !row.trim().is_empty())
                .map(row)
                .collect()
        };
        if let Some(draw) = line.strip_prefix("# draw ") {
            cases.push((draw.parse().unwrap(), String::new(), Found::default()));
        }
        let Some((_, text, found)) = cases.last_mut() else {
            continue;
        };
        match line
            .strip_prefix("# ")
            .and_then(|line| line.split_once(' '))
        {
            Some(("sections", all)) => found.sections = rows(all),
            Some(("feeds", all)) => found.feeds = rows(all),
            Some(("taps", all)) => found.taps = rows(all),
            Some(_) => {}
            None if !line.starts_with('#') => {
                text.push_str(line);
                text.push('\n');
            }
            None => {}
        }
    }
    cases
}

fn largest(cases: &[Case]) -> f64 {
    let mut largest = 0.0_f64;
    for (at, text, theirs) in cases {
        let compiled = one(text);
        let study = power::at(&compiled.model, &compiled.plan, None);
        let ours = Found::ours(&study);
        assert_eq!(
            ours.shape(),
            theirs.shape(),
            "draw {at}\n{text}\n{}\n{}",
            ours.text(),
            theirs.text()
        );
        for (our, their) in ours.all().flatten().zip(theirs.all().flatten()) {
            let apart = (our - their).abs();
            assert!(
                apart < WITHIN,
                "draw {at}: {our} and {their}\n{text}\n{}\n{}",
                ours.text(),
                theirs.text()
            );
            largest = largest.max(apart);
        }
    }
    largest
}

#[test]
fn spice_agrees_as_recorded() {
    let cases = recorded();
    assert_eq!(cases.len(), BRIGHT + DARK);
    let with = |words: &[&str]| {
        let has = |(_, text, _): &&Case| {
            let mut lines = text.lines();
            lines.any(|line| words.iter().all(|word| line.contains(word)))
        };
        cases.iter().filter(has).count()
    };
    for place in ["at start", "at end", "at node", "every"] {
        assert!(with(&["inject", place]) >= 40, "{place}");
        assert!(with(&["inject", place, "apart"]) >= 20, "{place}");
    }
    for words in [
        &["supply s1"][..],
        &["receiver"],
        &["strands from"],
        &[".2..2"],
        &[" W; idle"],
        &["skip"],
    ] {
        assert!(with(words) >= 20, "{words:?}");
    }
    // What this is about: a lead whose plus and minus differ.
    let differ = |(.., found): &&Case| {
        let mut leads = found.feeds.iter().chain(&found.taps);
        leads.any(|lead| (lead[0] - lead[1]).abs() > WITHIN)
    };
    assert!(cases.iter().filter(differ).count() >= 120);
    let largest = largest(&cases);
    // The file holds micros.
    assert!(largest < 1e-4, "{largest}");
}

#[test]
fn spice_agrees_now() {
    let Some(spice) = spice() else { return };
    let folder = std::env::temp_dir().join(format!("tinsel-rails-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let record = std::env::var_os("RECORD_RAILS").is_some();
    let known = if record { Vec::new() } else { recorded() };
    let chosen = if record {
        chosen()
    } else {
        known.iter().map(|case| case.0).collect()
    };
    let last = chosen.iter().max().map_or(0, |last| last + 1);
    let yards: Vec<Yard> = draws().take(last).collect();
    let cases: Vec<Case> = chosen
        .iter()
        .map(|draw| {
            let (yard, file) = (&yards[*draw], folder.join(format!("{draw}.cir")));
            (*draw, yard.text(), ask(&spice, &file, yard))
        })
        .collect();
    let texts = known.iter().map(|case| &case.1);
    assert!(
        record || cases.iter().map(|case| &case.1).eq(texts),
        "not what is recorded"
    );
    if record {
        let mut text = String::from(
            "# Displays, and what ngspice gave for them; see tests/suite/power/rails.rs.\n\
             # sections: lowest volts, largest amperes in plus and in minus. feeds, taps: amperes in plus and in minus.\n",
        );
        for (draw, display, found) in &cases {
            let _ = write!(text, "# draw {draw}\n{display}{}", found.text());
        }
        std::fs::write(file(), text).unwrap();
    }
    println!("largest difference to ngspice: {:e}", largest(&cases));
    // The folder is in the temporary directory; what is left of it harms nothing.
    let _ = std::fs::remove_dir_all(&folder);
}
