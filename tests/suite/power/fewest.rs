//! Suggested injections against all sets of sites, on random strings solved without our solver.

use proptest::prelude::*;
use tinsel::power::fewest::{Outcome, fewest, greedy};

/// A string: nodes, segment in ohm, amperes a node, floor, the lead to its start, and five sites (node, lead in ohm).
#[derive(Debug, Clone)]
struct Line {
    nodes: usize,
    ohms: f64,
    amps: f64,
    floor: f64,
    start: f64,
    sites: Vec<(usize, f64)>,
}

fn line() -> impl Strategy<Value = Line> {
    let site = (0.02..1.0, 0.02..0.6).prop_map(|(at, ohms): (f64, f64)| (at, ohms));
    (
        (5_usize..=100, 0.002..0.02, 0.01..0.08),
        (0.6..0.95, 0.01..0.3),
        prop::collection::vec(site, 5),
    )
        .prop_map(|((nodes, ohms, amps), (floor, start), sites)| {
            let mut sites: Vec<(usize, f64)> = sites
                .into_iter()
                .map(|(at, ohms)| (((at * nodes as f64) as usize).max(1), ohms))
                .collect();
            sites.sort_by_key(|site| site.0);
            Line {
                nodes,
                ohms,
                amps,
                floor: 12.0 * floor,
                start,
                sites,
            }
        })
}

impl Line {
    /// The voltages at all nodes with some of the sites fed: node equations, solved by Gauss without our solver.
    fn volts(&self, chosen: &[usize]) -> Vec<f64> {
        let between = 1.0 / self.ohms;
        let start = 1.0 / (self.start + self.ohms);
        // Each node's own conductance, and what flows into it from sources less what it draws.
        let mut own = vec![2.0 * between; self.nodes];
        let mut flow = vec![-self.amps; self.nodes];
        own[self.nodes - 1] -= between;
        own[0] += start - between;
        flow[0] += 12.0 * start;
        for site in chosen {
            let (node, ohms) = self.sites[*site];
            own[node - 1] += 1.0 / ohms;
            flow[node - 1] += 12.0 / ohms;
        }
        for node in 1..self.nodes {
            let factor = between / own[node - 1];
            own[node] -= factor * between;
            flow[node] += factor * flow[node - 1];
        }
        let mut volts = vec![0.0; self.nodes];
        for node in (0..self.nodes).rev() {
            let next = volts.get(node + 1).map_or(0.0, |next| between * next);
            volts[node] = (flow[node] + next) / own[node];
        }
        volts
    }

    fn outcome(&self, chosen: &[usize]) -> Outcome {
        let volts = self.volts(chosen);
        let low = |volts: &f64| *volts < self.floor;
        Outcome {
            holds: !volts.iter().any(low),
            reach: volts.iter().position(low).unwrap_or(self.nodes),
            margin: volts
                .iter()
                .fold(f64::INFINITY, |least, volts| least.min(volts - self.floor)),
        }
    }

    /// The size of the smallest of all 32 sets that holds.
    fn least(&self) -> Option<usize> {
        (0_u32..32)
            .filter(|set| {
                let chosen: Vec<usize> = (0..5).filter(|site| set >> site & 1 == 1).collect();
                self.outcome(&chosen).holds
            })
            .map(|set| set.count_ones() as usize)
            .min()
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 1_000, ..ProptestConfig::default() })]

    #[test]
    fn suggestions_are_the_fewest(line in line()) {
        let least = line.least();
        let found = fewest(5, |chosen| line.outcome(chosen));
        prop_assert_eq!(found.as_ref().map(Vec::len), least);
        if let Some(found) = found {
            prop_assert!(line.outcome(&found).holds);
        }
    }

    /// Where proving is too dear, the greedy answer stands: never more than one above the fewest.
    #[test]
    fn greed_costs_one_at_most(line in line()) {
        let Some(least) = line.least().filter(|least| *least > 0) else { return Ok(()) };
        let found = greedy(5, &mut |chosen: &[usize]| line.outcome(chosen)).unwrap();
        prop_assert!(line.outcome(&found).holds);
        prop_assert!(found.len() <= least + 1, "{} for {least}", found.len());
    }
}

/// Where two are needed, two are found, and where five do not help, none.
#[test]
fn the_fewest_of_a_known_line() {
    let line = Line {
        nodes: 100,
        ohms: 0.01,
        amps: 0.05,
        floor: 11.6,
        start: 0.05,
        sites: vec![(20, 0.1), (40, 0.1), (60, 0.1), (80, 0.1), (100, 0.1)],
    };
    assert!(!line.outcome(&[]).holds);
    let least = line.least();
    assert_eq!(least, Some(2));
    assert_eq!(
        fewest(5, |chosen| line.outcome(chosen)).map(|found| found.len()),
        least
    );
}
