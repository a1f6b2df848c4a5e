//! Finds a site for each unit and packs the sites: chooses between the exhaustive search, the annealing and the strong
//! packing, and says what is proven.
//!
//! Method: what has no site, or breaks the bound, fails at once. Few choices are searched exhaustively. Otherwise two
//! annealings follow each other: a hot one that finds few ports, and a cooler one that starts from its best and never pays
//! for lead with a port. While the bound is not reached, the hot one is run once more with all that is left. Sites that miss their own bound are packed once more with more effort.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::Instance;
use super::anneal::{Course, State, anneal, even_out, first};
use super::bins;
use super::bound::{Least, least};
use super::exact;
use super::fill::{Filling, MISSING, Packer, opened};
use super::mixed::{self, Order};
use super::norm::Norm;

/// How much is wanted of a solution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Effort {
    /// The best that the steps allow.
    Best,
    /// The first that fits.
    Any,
    /// Only whether it can be shown that nothing fits.
    Proof,
}

/// A solution, or why there is none.
#[derive(Debug, Clone)]
pub enum Outcome {
    /// It fits.
    Fits(Box<Fit>),
    /// Nothing was found.
    Fails {
        /// It is certain that there is nothing.
        proven: bool,
        /// Steps used.
        steps: u64,
    },
}

/// A solution.
#[derive(Debug, Clone)]
pub struct Fit {
    /// The instance as it was searched.
    pub norm: Norm,
    /// Site of each unit.
    pub site_of: Vec<usize>,
    /// Packing of each site.
    pub fillings: Vec<Filling>,
    /// Closed ports opened.
    pub opened: u64,
    /// Lead of all units.
    pub lead: u64,
    /// Closed ports opened at least.
    pub bound: u64,
    /// No answer has fewer ports or, with these, less lead.
    pub whole: bool,
    /// Steps used.
    pub steps: u64,
}

/// Above this number of ways to choose sites, the exhaustive search is not tried.
const FEW_CHOICES: u64 = 200_000;

/// Above this number of lines, the exhaustive packing of one site is not tried.
const FEW_LINES: usize = 40;

/// Nodes of the exhaustive packing of one site.
const NODES: u64 = 20_000;

/// Steps for each unit after which the annealing has little left to find.
const STEPS_A_UNIT: u64 = 600_000;

/// Solves the groups that are wanted.
#[must_use]
pub fn solve(
    instance: &Instance,
    wanted: &[bool],
    split: &[bool],
    steps: u64,
    effort: Effort,
) -> Outcome {
    let norm = Norm::new(instance, wanted, split);
    let fails = |steps: u64| Outcome::Fails {
        proven: true,
        steps,
    };
    if norm.units.iter().any(|unit| unit.sites.is_empty()) {
        return fails(norm.units.len() as u64);
    }
    // one site of many like ports is packed by the same linear programme that would bound it
    let alone = norm.shape_of.len() == 1 && norm.shapes[0].uniform;
    let bound = least(&norm, if alone { 0 } else { steps / 4 });
    if bound.short.is_some() {
        return fails(bound.steps);
    }
    let reading = (norm.units.len() * norm.shape_of.len()) as u64 / 8;
    let left = steps.saturating_sub(bound.steps + reading);
    let mut search = Search {
        quick: Packer::new(1 << 6),
        norm: &norm,
        bound: &bound,
        left,
        used: bound.steps + reading,
    };
    let lines: usize = norm.units.iter().map(|unit| unit.lines.len()).sum();
    let mut start = None;
    if exact::choices(&norm) <= FEW_CHOICES && lines <= FEW_LINES {
        let found = search.exhaust(effort);
        match (found.site_of, found.complete) {
            (None, true) => return fails(search.used),
            (Some(site_of), complete) if complete || effort != Effort::Best => {
                return search.finish(site_of, complete);
            }
            (site_of, _) => start = site_of,
        }
    }
    let tied = norm.units.iter().all(|unit| unit.sites.len() == 1);
    if effort == Effort::Proof && !tied {
        return Outcome::Fails {
            proven: false,
            steps: search.used,
        };
    }
    let site_of = search.anneal(start, effort);
    search.finish(site_of, false)
}

struct Search<'a> {
    norm: &'a Norm,
    bound: &'a Least,
    quick: Packer,
    left: u64,
    used: u64,
}

impl Search<'_> {
    fn spend(&mut self, steps: u64) {
        self.used += steps;
        self.left = self.left.saturating_sub(steps);
    }

    fn exhaust(&mut self, effort: Effort) -> exact::Found {
        let mut packer = Packer::new(1 << 10);
        packer.nodes = NODES;
        let found = exact::search(
            self.norm,
            &mut packer,
            self.left / 4,
            effort != Effort::Best,
        );
        self.spend(packer.steps);
        found
    }

    fn anneal(&mut self, start: Option<Vec<usize>>, effort: Effort) -> Vec<usize> {
        let norm = self.norm;
        if norm.units.iter().all(|unit| unit.sites.len() == 1) {
            return norm.units.iter().map(|unit| unit.sites[0]).collect();
        }
        self.quick = Packer::new(1 << 16);
        let begin = State::new(norm, &mut self.quick, start.unwrap_or_else(|| first(norm)));
        self.spend(self.quick.steps);
        let nearest: u64 = norm.units.iter().map(|unit| unit.lead[unit.sites[0]]).sum();
        let enough = match effort {
            Effort::Best => (self.bound.ports, nearest),
            Effort::Any | Effort::Proof => (u64::from(MISSING) - 1, u64::MAX),
        };
        let mut steps = self.left.min(STEPS_A_UNIT * norm.units.len() as u64);
        let before = self.quick.steps;
        let near = nearness(norm);
        let hot = Course {
            port: 100.0 * near,
            hot: 10.0 * near,
            cold: near / 10.0,
            steps: steps / 2,
            enough,
            seed: 1,
        };
        let mut best = anneal(norm, &mut self.quick, begin, &hot);
        if best.ports > self.bound.ports && effort == Effort::Best {
            // fewer ports may be possible: a longer course with half of all that is left, the rest is for the lead
            let longer = Course {
                steps: self.left.saturating_sub(steps) / 2,
                seed: 3,
                ..hot
            };
            steps += longer.steps;
            let other = anneal(norm, &mut self.quick, best.clone(), &longer);
            if (other.ports, other.lead) < (best.ports, best.lead) {
                best = other;
            }
        }
        let cool = Course {
            port: 10_000.0 * near,
            hot: near,
            cold: near / 50.0,
            seed: 2,
            steps: steps / 20 * 9,
            ..hot
        };
        best = anneal(norm, &mut self.quick, best, &cool);
        if effort == Effort::Best {
            even_out(norm, &mut self.quick, &mut best, steps / 20);
        }
        self.spend(self.quick.steps - before);
        best.site_of
    }

    fn finish(mut self, site_of: Vec<usize>, whole: bool) -> Outcome {
        let norm = self.norm;
        let sites = norm.shape_of.len();
        let mut lines: Vec<Vec<usize>> = vec![Vec::new(); sites];
        let mut weight = vec![0_u64; sites];
        let mut lead = 0;
        for (unit, &site) in norm.units.iter().zip(&site_of) {
            weight[site] = weight[site].saturating_add(unit.weight);
            lead += unit.lead[site];
            for &(kind, count) in &unit.kinds {
                lines[site].extend(std::iter::repeat_n(kind, count));
            }
        }
        let mut fillings = Vec::new();
        let mut ports = 0;
        let mut bound = self.bound.ports;
        let mut fits = (0..sites).all(|site| weight[site] <= norm.limit[site]);
        let mut proven = true;
        for (site, lines) in lines.iter().enumerate() {
            let (filling, complete, least) = self.fill(site, lines);
            if sites == 1 {
                bound = bound.max(least);
            }
            proven &= complete;
            fits &= filling.left.is_empty();
            ports += u64::from(opened(norm.shape(site), &filling));
            fillings.push(filling);
        }
        let single = norm.units.iter().all(|unit| unit.sites.len() == 1);
        if !fits {
            return Outcome::Fails {
                proven: single && proven,
                steps: self.used,
            };
        }
        let nearest: u64 = norm.units.iter().map(|unit| unit.lead[unit.sites[0]]).sum();
        let whole = whole || single && proven || ports <= bound && lead <= nearest;
        Outcome::Fits(Box::new(Fit {
            norm: norm.clone(),
            site_of,
            fillings,
            opened: ports,
            lead,
            bound: if whole { ports } else { bound.min(ports) },
            whole,
            steps: self.used,
        }))
    }

    /// Packs one site as well as can be; whether nothing better is possible, and the ports opened at least.
    fn fill(&mut self, site: usize, lines: &[usize]) -> (Filling, bool, u64) {
        let norm = self.norm;
        let shape = norm.shape(site);
        let quick = self.quick.fill(norm, shape, lines);
        let cost = u64::from(opened(shape, &quick));
        if lines.is_empty() || quick.left.is_empty() && cost == 0 {
            return (quick, true, cost);
        }
        if shape.uniform && lines.len() > FEW_LINES {
            return self.fill_many(site, lines, quick);
        }
        let order = Order::new(norm, shape, lines);
        let (filling, complete, steps) = mixed::search(norm, shape, &order, NODES);
        self.spend(steps);
        let better = (filling.left.len(), opened(shape, &filling))
            < (quick.left.len(), opened(shape, &quick));
        let best = if better { filling } else { quick };
        let least = if complete {
            u64::from(opened(shape, &best))
        } else {
            0
        };
        (best, complete, least)
    }

    /// Packs many lines onto like ports, class by class.
    fn fill_many(&mut self, site: usize, lines: &[usize], quick: Filling) -> (Filling, bool, u64) {
        let norm = self.norm;
        let shape = norm.shape(site);
        let mut filling = Filling::default();
        let mut complete = true;
        let mut least = 0;
        for class in 0..norm.classes {
            let room = shape.kinds[0].room[class];
            let sizes: Vec<u64> = lines
                .iter()
                .map(|&line| norm.lines[line])
                .filter(|line| line.class == class)
                .map(|line| line.size)
                .collect();
            if sizes.is_empty() {
                continue;
            }
            // lines without a load take no room: the programme leaves them out, the first port takes them
            let empty = sizes.iter().filter(|&&size| size == 0).count();
            let sizes: Vec<u64> = sizes.into_iter().filter(|&size| size > 0).collect();
            let first = filling.ports.len();
            let quick = &mut self.quick;
            let packed = bins::pack(&sizes, room, self.left, &mut |sizes| {
                quick.simple(sizes, room)
            });
            self.spend(packed.steps);
            least += packed.bound;
            complete &= packed.bins.len() as u64 <= packed.bound;
            for bin in packed.bins {
                let kinds = bin.iter().map(|&size| norm.kind_of(class, size)).collect();
                filling.ports.push((0, kinds));
            }
            if filling.ports.len() == first {
                filling.ports.push((0, Vec::new()));
            }
            let kind = norm.kind_of(class, 0);
            filling.ports[first]
                .1
                .extend(std::iter::repeat_n(kind, empty));
        }
        while filling.ports.len() > shape.closed {
            if let Some((_, lines)) = filling.ports.pop() {
                filling.left.extend(lines);
            }
        }
        let better =
            (filling.left.len(), filling.ports.len()) < (quick.left.len(), quick.ports.len());
        (if better { filling } else { quick }, complete, least)
    }
}

/// How much further the second nearest site is than the nearest, on average: the measure of all temperatures.
fn nearness(norm: &Norm) -> f64 {
    let mut sum = 0_u64;
    let mut count = 0_u64;
    for unit in &norm.units {
        if let [nearest, next, ..] = unit.sites[..] {
            sum += unit.lead[next] - unit.lead[nearest];
            count += 1;
        }
    }
    (sum as f64 / count.max(1) as f64).max(1.0)
}
