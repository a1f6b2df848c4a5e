//! Which fuse protects which conductor, decided a second time: a display is drawn as a graph of joints and
//! conductors, and each fuse floods what it protects. Nothing here is shared with the compiler, the table included.

use crate::check::{one, told};
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use tinsel::diagnostic::Severity;

/// What conductors may carry, in tenths of an ampere.
///
/// AWG: NFPA 70 (2020) 240.4(D) for 10 to 18 (14, 12 and 10 as quoted on public pages, 18 and 16 from memory), NFPA 79
/// (2021) table 12.5.1 for 20 to 24 (from memory). mm2: BS 7671 (2018) table 4F3A (from memory).
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
const STATED: [u32; 16] = [
    10, 20, 30, 40, 50, 60, 70, 75, 100, 125, 150, 160, 200, 250, 300, 400,
];

fn amps(tenths: u32) -> String {
    format!("{} A", f64::from(tenths) / 10.0)
}

fn gauge(index: usize) -> (&'static str, u32) {
    TABLE[index % TABLE.len()]
}

/// Something in a line: a string of so many nodes of a gauge, or a lead.
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
        mine.filter(|edge| reached.contains(&edge.ends.0))
            .map(|edge| edge.may)
            .min()
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

/// The display's text, and by line of it (from 1) what its fuses must be told: severity and how often.
fn drawn(
    yard: &Yard,
) -> (
    String,
    BTreeMap<(u32, &'static str), usize>,
    BTreeMap<u32, u32>,
) {
    let mut text = String::new();
    let mut want = BTreeMap::new();
    // By line of a lead without a fuse, the least that what it feeds may carry.
    let mut sizes = BTreeMap::new();
    let line = |text: &str| text.lines().count() as u32 + 1;
    for (index, (size, _)) in TABLE.iter().enumerate() {
        text.push_str(&format!(
            "node n{index} {{ chip ws2811; colour RGB; volts 12 V; draw 1 mA; pitch 20 mm; gauge {size} }}\n"
        ));
    }
    let supply_line = line(&text);
    let fuse = |fuse: Option<u32>| fuse.map_or(String::new(), |f| format!(" fuse {}", amps(f)));
    let own = yard
        .supply
        .map_or(String::new(), |f| format!("; fuse {}", amps(f)));
    text.push_str(&format!("supply s {{ volts 12 V; rated 100 W{own} }}\n"));
    let far = yard.ports.len() / 2;
    let near = yard.ports.len() - far;
    let mut fuse_lines = Vec::new();
    text.push_str("controller c {\n");
    for (index, (named, _)) in yard.ports.iter().enumerate() {
        fuse_lines.push(line(&text));
        // The fuse of a controller's port says nothing of a receiver's.
        let named = if index < near { *named } else { Some(10) };
        text.push_str(&format!(
            "port {} {{ volts 12 V;{} }}\n",
            index + 1,
            fuse(named)
        ));
    }
    text.push_str("}\n");
    if far > 0 {
        text.push_str(&format!(
            "receiver r {{ carries c.{}..{}\n",
            near + 1,
            near + far
        ));
        for index in near..near + far {
            fuse_lines[index] = line(&text);
            let named = fuse(yard.ports[index].0);
            text.push_str(&format!(
                "port {} {{ volts 12 V;{named} }}\n",
                index - near + 1
            ));
        }
        text.push_str("}\n");
    }
    let injects = kept(yard);
    let mut inject_lines = Vec::new();
    for one in &injects {
        inject_lines.push(line(&text));
        let nodes = yard.ports[one.port].1[one.item].nodes.unwrap();
        let apart = if one.apart { " apart" } else { "" };
        text.push_str(&format!(
            "inject p{}x{} {} from s through 1 m of {}{}{apart}\n",
            one.port,
            one.item,
            one.place(nodes),
            gauge(one.gauge).0,
            fuse(one.fuse)
        ));
    }
    let mut lead_lines = [0; 2];
    for (at, (range, (size, named))) in [("c", near), ("r", far)]
        .iter()
        .zip(&yard.leads)
        .enumerate()
    {
        if range.1 == 0 {
            continue;
        }
        lead_lines[at] = line(&text);
        text.push_str(&format!(
            "power {}.1..{} from s through 1 m of {}{}\n",
            range.0,
            range.1,
            gauge(*size).0,
            fuse(*named)
        ));
    }
    let mut bare = Vec::new();
    let mut unnamed: [Vec<u32>; 2] = Default::default();
    for (port, (named, items)) in yard.ports.iter().enumerate() {
        let mut graph = Graph::default();
        let start = graph.joint();
        let mut here = start;
        let mut joints = Vec::new();
        let mut chain = Vec::new();
        for (index, item) in items.iter().enumerate() {
            let (size, may) = gauge(item.gauge);
            let Some(nodes) = item.nodes else {
                let next = graph.joint();
                graph.edges.push(Edge {
                    ends: (here, next),
                    may,
                });
                here = next;
                chain.push(format!("lead 1 m of {size}"));
                continue;
            };
            text.push_str(&format!(
                "prop p{port}x{index} {{ node n{}; string {nodes} nodes }}\n",
                item.gauge % TABLE.len()
            ));
            chain.push(format!("p{port}x{index}"));
            let mine = injects
                .iter()
                .position(|one| (one.port, one.item) == (port, index));
            let mine = mine.map(|at| (at, &injects[at]));
            // Where the injection goes in: before the first segment, or behind segment k.
            let point = mine.map(|(at, one)| match one.place % 3 {
                0 => (at, 0, one.apart),
                1 => (at, nodes, one.apart),
                // Cut before the node, or joined at it.
                _ => (at, one.place % nodes + u32::from(!one.apart), one.apart),
            });
            for segment in 0..=nodes {
                if let Some((at, _, apart)) = point.filter(|point| point.1 == segment) {
                    if apart {
                        here = graph.joint();
                    }
                    joints.push((at, here));
                }
                if segment < nodes {
                    let next = graph.joint();
                    graph.edges.push(Edge {
                        ends: (here, next),
                        may,
                    });
                    here = next;
                }
            }
        }
        let target = if port < near {
            format!("c.{}", port + 1)
        } else {
            format!("r.{}", port - near + 1)
        };
        text.push_str(&format!("wire {target}: {}\n", chain.join(" -> ")));
        let least = graph.least(start);
        match (named, least) {
            (Some(fuse), Some(least)) if *fuse > least => {
                *want.entry((fuse_lines[port], "error")).or_insert(0) += 1;
            }
            (None, Some(least)) => unnamed[usize::from(port >= near)].push(least),
            _ => {}
        }
        for (at, joint) in joints {
            let one = &injects[at];
            let own = gauge(one.gauge).1;
            let least = graph.least(joint).map_or(own, |least| least.min(own));
            match one.fuse {
                Some(fuse) if fuse > least => {
                    *want.entry((inject_lines[at], "error")).or_insert(0) += 1;
                }
                Some(_) => {}
                None => bare.push((inject_lines[at], least, true)),
            }
        }
    }
    for (at, (size, named)) in yard
        .leads
        .iter()
        .enumerate()
        .filter(|(at, _)| lead_lines[*at] > 0)
    {
        let own = gauge(*size).1;
        match named {
            Some(fuse) if *fuse > own => *want.entry((lead_lines[at], "error")).or_insert(0) += 1,
            Some(_) => {}
            None => bare.push((lead_lines[at], own, unnamed[at].is_empty())),
        }
        let before = named.or(yard.supply);
        if before.is_some_and(|fuse| unnamed[at].iter().any(|least| fuse > *least)) {
            *want.entry((lead_lines[at], "warning")).or_insert(0) += 1;
        }
    }
    match yard.supply {
        Some(fuse) if bare.iter().any(|(_, least, _)| fuse > *least) => {
            want.insert((supply_line, "error"), 1);
        }
        Some(_) => {}
        None => {
            for (line, least, alone) in bare {
                *want.entry((line, "warning")).or_insert(0) += 1;
                if alone {
                    sizes.insert(line, least);
                }
            }
        }
    }
    (text, want, sizes)
}

fn yard() -> impl Strategy<Value = Yard> {
    let stated = || prop::option::of(prop::sample::select(&STATED[..]));
    let item = (0..TABLE.len(), prop::option::weighted(0.75, 1_u32..5))
        .prop_map(|(gauge, nodes)| Item { gauge, nodes });
    let port = (stated(), prop::collection::vec(item, 1..4)).prop_map(|(fuse, mut items)| {
        items[0].nodes = items[0].nodes.or(Some(2));
        (fuse, items)
    });
    let inject = (
        0_usize..8,
        0_usize..8,
        0_u32..60,
        0..TABLE.len(),
        stated(),
        any::<bool>(),
    )
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
        .prop_map(|(ports, injects, leads, supply)| Yard {
            ports,
            injects,
            leads,
            supply,
        })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, ..ProptestConfig::default() })]

    #[test]
    fn every_fuse_is_held_against_what_it_protects(yard in yard()) {
        let (text, want, sizes) = drawn(&yard);
        let compiled = one(&text);
        let mut got = BTreeMap::new();
        for finding in compiled.findings.iter().filter(|one| one.code == "power/fuse") {
            let at = finding.span().start as usize;
            let line = text[..at].matches('\n').count() as u32 + 1;
            let severity = if finding.severity == Severity::Error { "error" } else { "warning" };
            *got.entry((line, severity)).or_insert(0) += 1;
            // The fuse that would do is the largest blade that the thinnest conductor allows.
            if let Some(least) = sizes.get(&line) {
                let fits = BLADES.iter().rfind(|blade| *blade <= least).unwrap();
                let size = format!("write `fuse {}`", amps(*fits));
                prop_assert!(finding.help.contains(&size), "{size}: {}\nthe display\n{text}", finding.help);
            }
        }
        prop_assert_eq!(&got, &want, "{}\nthe display\n{}", told(&compiled), text);
        let errors = compiled.findings.iter().filter(|one| one.severity == Severity::Error && !one.code.starts_with("power/"));
        prop_assert!(errors.count() == 0, "{}\nthe display\n{}", told(&compiled), text);
    }
}
