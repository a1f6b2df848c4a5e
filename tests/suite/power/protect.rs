//! A second decider for which fuse protects which conductor: a display is a graph of joints and
//! conductors, and each fuse floods what it protects. Nothing is shared with the compiler.

use crate::check::{one, told};
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use tinsel::diagnostic::Severity;

/// What conductors may carry, in tenths of an ampere.
///
/// AWG: NFPA 70 (2020) 240.4(D) for 10 to 18 (14, 12, 10 as quoted on public pages, 18 and 16 from
/// memory); from memory also NFPA 79 (2021) table 12.5.1 for 20 to 24 and, for mm2, BS 7671 (2018)
/// table 4F3A.
const TABLE: [(&str, u32); 13] = [
    ("10 AWG", 300),
    ("12 AWG", 200),
    ("14 AWG", 150),
    ("16 AWG", 100),
    ("18 AWG", 70),
    ("20 AWG", 50),
    ("22 AWG", 30),
    ("24 AWG", 20),
    ("0.5 mm2", 30),
    ("0.75 mm2", 60),
    ("1 mm2", 100),
    ("1.5 mm2", 160),
    ("2.5 mm2", 250),
];

/// Common sizes of blade fuses, in tenths of an ampere, and some others that a display may state.
const BLADES: [u32; 12] = [10, 20, 30, 40, 50, 75, 100, 150, 200, 250, 300, 400];
const STATED: [u32; 16] = [10, 20, 30, 40, 50, 60, 70, 75, 100, 125, 150, 160, 200, 250, 300, 400];

fn amps(tenths: u32) -> String {
    format!("{} A", f64::from(tenths) / 10.0)
}

fn gauge(index: usize) -> (&'static str, u32) {
    TABLE[index % TABLE.len()]
}

/// Something in a line: a string (nodes, gauge), or a lead.
#[derive(Debug, Clone)]
struct Item {
    gauge: usize,
    nodes: Option<u32>,
}

#[derive(Debug, Clone)]
struct Inject {
    port: usize,
    item: usize,
    place: u32,
    gauge: usize,
    fuse: Option<u32>,
    apart: bool,
}

#[derive(Debug, Clone)]
struct Yard {
    /// The fuse and the items of each port; the last two come out at a receiver.
    ports: Vec<(Option<u32>, Vec<Item>)>,
    injects: Vec<Inject>,
    /// The gauge and fuse of the leads of the controller's and of the receiver's ports.
    leads: [(usize, Option<u32>); 2],
    supply: Option<u32>,
}

/// A conductor between two joints.
struct Edge {
    ends: (usize, usize),
    may: u32,
}

/// A line as a graph: where it begins, its conductors, and the joint of each injection.
#[derive(Default)]
struct Graph {
    edges: Vec<Edge>,
    joints: usize,
}

impl Graph {
    fn joint(&mut self) -> usize {
        self.joints += 1;
        self.joints - 1
    }

    /// A conductor from a joint to a new one.
    fn conductor(&mut self, from: usize, may: u32) -> usize {
        let next = self.joint();
        let ends = (from, next);
        self.edges.push(Edge { ends, may });
        next
    }

    /// The least that a conductor which hangs together with a joint may carry.
    fn least(&self, from: usize) -> Option<u32> {
        let mut reached = BTreeSet::from([from]);
        loop {
            let before = reached.len();
            for edge in &self.edges {
                if reached.contains(&edge.ends.0) || reached.contains(&edge.ends.1) {
                    reached.extend([edge.ends.0, edge.ends.1]);
                }
            }
            if reached.len() == before {
                break;
            }
        }
        let mine = self.edges.iter();
        mine.filter(|edge| reached.contains(&edge.ends.0)).map(|edge| edge.may).min()
    }
}

/// The injections that are in the display: one for each string at most, and one cut for each line.
fn kept(yard: &Yard) -> Vec<Inject> {
    let mut seen = BTreeSet::new();
    let mut cut = BTreeSet::new();
    let mut kept = Vec::new();
    for one in &yard.injects {
        let mut one = one.clone();
        one.port %= yard.ports.len();
        let items = &yard.ports[one.port].1;
        one.item %= items.len();
        if items[one.item].nodes.is_none() || !seen.insert((one.port, one.item)) {
            continue;
        }
        one.apart &= cut.insert(one.port);
        kept.push(one);
    }
    kept
}

impl Inject {
    fn place(&self, nodes: u32) -> String {
        match self.place % 3 {
            0 => "at start".to_owned(),
            1 => "at end".to_owned(),
            _ => format!("at node {}", self.place % nodes + 1),
        }
    }
}

/// How many findings of a severity a line of the text must get.
type Counts = BTreeMap<(u32, &'static str), usize>;

/// The display as text, and which findings its fuses must get.
struct Draft<'a> {
    yard: &'a Yard,
    injects: Vec<Inject>,
    /// How many ports come out at the controller.
    near: usize,
    text: String,
    /// Lines, from 1, of the fuses of ports, injections, and the leads of both boxes (0 for none).
    fuse_lines: Vec<u32>,
    inject_lines: Vec<u32>,
    lead_lines: [u32; 2],
    want: Counts,
    /// By line of a lead without a fuse, the least that it and what it feeds may carry.
    bare: Vec<(u32, u32)>,
    /// What strings on ports without a named fuse may carry, at the controller and at the receiver.
    unnamed: [Vec<u32>; 2],
}

fn fuse(fuse: Option<u32>) -> String {
    fuse.map_or(String::new(), |fuse| format!(" fuse {}", amps(fuse)))
}

impl<'a> Draft<'a> {
    fn new(yard: &'a Yard) -> Self {
        let mut draft = Self {
            yard,
            injects: kept(yard),
            near: yard.ports.len() - yard.ports.len() / 2,
            text: String::new(),
            fuse_lines: Vec::new(),
            inject_lines: Vec::new(),
            lead_lines: [0; 2],
            want: Counts::new(),
            bare: Vec::new(),
            unnamed: Default::default(),
        };
        draft.boxes();
        draft.feeds();
        for port in 0..yard.ports.len() {
            let (start, graph, joints) = draft.line(port);
            draft.judge(port, start, &graph, &joints);
        }
        draft.judge_leads();
        draft
    }

    /// Writes a line and says which it is.
    fn say(&mut self, line: &str) -> u32 {
        self.text.push_str(line);
        self.text.push('\n');
        self.text.lines().count() as u32
    }

    fn tell(&mut self, line: u32, severity: &'static str) {
        *self.want.entry((line, severity)).or_insert(0) += 1;
    }

    fn boxes(&mut self) {
        for (index, (size, _)) in TABLE.iter().enumerate() {
            self.say(&format!(
                "node n{index} {{ chip ws2811; colour RGB; volts 12 V; draw 1 mA; pitch 20 mm; gauge {size} }}"
            ));
        }
        let own = self.yard.supply;
        let own = own.map_or(String::new(), |fuse| format!("; fuse {}", amps(fuse)));
        self.say(&format!("supply s {{ volts 12 V; rated 100 W{own} }}"));
        self.say("controller c {");
        let yard = self.yard;
        for (index, (named, _)) in yard.ports.iter().enumerate() {
            // The fuse of a controller's port says nothing of a receiver's.
            let named = if index < self.near { *named } else { Some(10) };
            let text = format!("port {} {{ volts 12 V;{} }}", index + 1, fuse(named));
            let line = self.say(&text);
            self.fuse_lines.push(line);
        }
        self.say("}");
        let count = yard.ports.len();
        if self.near == count {
            return;
        }
        self.say(&format!("receiver r {{ carries c.{}..{count}", self.near + 1));
        self.fuse_lines.truncate(self.near);
        for (index, (named, _)) in yard.ports.iter().skip(self.near).enumerate() {
            let text = format!("port {} {{ volts 12 V;{} }}", index + 1, fuse(*named));
            let line = self.say(&text);
            self.fuse_lines.push(line);
        }
        self.say("}");
    }

    fn feeds(&mut self) {
        for one in self.injects.clone() {
            let nodes = self.yard.ports[one.port].1[one.item].nodes.unwrap();
            let line = self.say(&format!(
                "inject p{}x{} {} from s through 1 m of {}{}{}",
                one.port,
                one.item,
                one.place(nodes),
                gauge(one.gauge).0,
                fuse(one.fuse),
                if one.apart { " apart" } else { "" }
            ));
            self.inject_lines.push(line);
        }
        let counts = [("c", self.near), ("r", self.yard.ports.len() - self.near)];
        for (at, (name, count)) in counts.into_iter().enumerate() {
            let (size, named) = self.yard.leads[at];
            if count > 0 {
                self.lead_lines[at] = self.say(&format!(
                    "power {name}.1..{count} from s through 1 m of {}{}",
                    gauge(size).0,
                    fuse(named)
                ));
            }
        }
    }

    /// Writes a line: its first joint, its graph, and the joint of each injection.
    fn line(&mut self, port: usize) -> (usize, Graph, Vec<(usize, usize)>) {
        let mut graph = Graph::default();
        let start = graph.joint();
        let mut here = start;
        let mut joints = Vec::new();
        let mut chain = Vec::new();
        let yard = self.yard;
        for (index, item) in yard.ports[port].1.iter().enumerate() {
            let (size, may) = gauge(item.gauge);
            let Some(nodes) = item.nodes else {
                here = graph.conductor(here, may);
                chain.push(format!("lead 1 m of {size}"));
                continue;
            };
            let node = item.gauge % TABLE.len();
            self.say(&format!("prop p{port}x{index} {{ node n{node}; string {nodes} nodes }}"));
            chain.push(format!("p{port}x{index}"));
            let mut all = self.injects.iter();
            let mine = all.position(|one| (one.port, one.item) == (port, index));
            // How many segments lie before it: it is cut before the node, or joined at it.
            let point = mine.map(|at| match (&self.injects[at], self.injects[at].place % 3) {
                (one, 0) => (at, 0, one.apart),
                (one, 1) => (at, nodes, one.apart),
                (one, _) => (at, one.place % nodes + u32::from(!one.apart), one.apart),
            });
            for segment in 0..=nodes {
                if let Some((at, _, apart)) = point.filter(|point| point.1 == segment) {
                    if apart {
                        here = graph.joint();
                    }
                    joints.push((at, here));
                }
                if segment < nodes {
                    here = graph.conductor(here, may);
                }
            }
        }
        let (name, number) =
            if port < self.near { ("c", port + 1) } else { ("r", port - self.near + 1) };
        self.say(&format!("wire {name}.{number}: {}", chain.join(" -> ")));
        (start, graph, joints)
    }

    /// The fuse of a port and those of the injections into its line.
    fn judge(&mut self, port: usize, start: usize, graph: &Graph, joints: &[(usize, usize)]) {
        match (self.yard.ports[port].0, graph.least(start)) {
            (Some(fuse), Some(least)) if fuse > least => self.tell(self.fuse_lines[port], "error"),
            (None, Some(least)) => self.unnamed[usize::from(port >= self.near)].push(least),
            _ => {}
        }
        for (at, joint) in joints {
            let one = &self.injects[*at];
            let own = gauge(one.gauge).1;
            let least = graph.least(*joint).map_or(own, |least| least.min(own));
            match one.fuse {
                Some(fuse) if fuse > least => self.tell(self.inject_lines[*at], "error"),
                Some(_) => {}
                None => self.bare.push((self.inject_lines[*at], least)),
            }
        }
    }

    /// The fuses of the leads of ports, and that of the supply.
    fn judge_leads(&mut self) {
        for at in 0..2 {
            let ((size, named), line) = (self.yard.leads[at], self.lead_lines[at]);
            if line == 0 {
                continue;
            }
            let own = gauge(size).1;
            match named {
                Some(fuse) if fuse > own => self.tell(line, "error"),
                Some(_) => {}
                None => self.bare.push((line, own)),
            }
            let before = named.or(self.yard.supply);
            if before.is_some_and(|fuse| self.unnamed[at].iter().any(|least| fuse > *least)) {
                self.tell(line, "warning");
            }
        }
        for (line, least) in self.bare.clone() {
            match self.yard.supply {
                Some(fuse) if fuse > least => self.tell(line, "error"),
                Some(_) => {}
                None => self.tell(line, "warning"),
            }
        }
    }
}

fn yard() -> impl Strategy<Value = Yard> {
    let stated = || prop::option::of(prop::sample::select(&STATED[..]));
    let item = (0..TABLE.len(), prop::option::weighted(0.75, 1_u32..5))
        .prop_map(|(gauge, nodes)| Item { gauge, nodes });
    let port = (stated(), prop::collection::vec(item, 1..4)).prop_map(|(fuse, mut items)| {
        items[0].nodes = items[0].nodes.or(Some(2));
        (fuse, items)
    });
    let inject = (0_usize..8, 0_usize..8, 0_u32..60, 0..TABLE.len(), stated(), any::<bool>())
        .prop_map(|(port, item, place, gauge, fuse, apart)| Inject {
            port,
            item,
            place,
            gauge,
            fuse,
            apart,
        });
    let lead = || (0..TABLE.len(), stated());
    (
        prop::collection::vec(port, 1..6),
        prop::collection::vec(inject, 0..6),
        [lead(), lead()],
        prop::option::weighted(0.3, prop::sample::select(&STATED[..])),
    )
        .prop_map(|(ports, injects, leads, supply)| Yard { ports, injects, leads, supply })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn every_fuse_is_held_against_what_it_protects(yard in yard()) {
        let draft = Draft::new(&yard);
        let (text, want) = (&draft.text, &draft.want);
        let compiled = one(text);
        let mut got = Counts::new();
        for finding in compiled.findings.iter().filter(|one| one.code == "power/fuse") {
            let at = finding.span().start as usize;
            let line = text[..at].matches('\n').count() as u32 + 1;
            let severity = if finding.severity == Severity::Error { "error" } else { "warning" };
            *got.entry((line, severity)).or_insert(0) += 1;
            // The fuse that would do is the largest blade that the thinnest conductor allows.
            let bare = draft.bare.iter().find(|bare| bare.0 == line);
            if let Some((_, least)) = bare.filter(|_| finding.help.contains("write ")) {
                let fits = BLADES.iter().rfind(|blade| *blade <= least).unwrap();
                let size = format!("write `fuse {}`", amps(*fits));
                prop_assert!(finding.help.contains(&size), "{size}: {}\n{text}", finding.help);
            }
        }
        prop_assert_eq!(&got, want, "{}\nthe display\n{}", told(&compiled), text);
        let errors = compiled.findings.iter().filter(|one| one.severity == Severity::Error && !one.code.starts_with("power/"));
        prop_assert!(errors.count() == 0, "{}\nthe display\n{}", told(&compiled), text);
    }
}
