//! Searches every choice of sites for a small instance.
//!
//! Method: depth first over the units, those with the fewest sites first and then the largest; each site's ports are
//! counted by the exhaustive packing. A branch is left when its opened ports, then its lead with the least lead of the
//! rest, then its evenness are no better than the best answer. The result is the best by the order of the module `pack`,
//! or the proof that there is none, as long as nothing was cut short.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::fill::{MISSING, Packer};
use super::norm::Norm;

/// What the search found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Site of each unit; absent where none was found.
    pub site_of: Option<Vec<usize>>,
    /// Nothing was cut short: the answer is the best there is, or there is none.
    pub complete: bool,
}

struct Search<'a> {
    norm: &'a Norm,
    packer: &'a mut Packer,
    order: Vec<usize>,
    least_lead: Vec<u64>,
    site_of: Vec<usize>,
    counts: Vec<Vec<usize>>,
    hash: Vec<u64>,
    weight: Vec<u64>,
    load: Vec<u64>,
    ports: Vec<u32>,
    best: Option<((u64, u64, u128), Vec<usize>)>,
    end: u64,
    any: bool,
}

/// The number of ways to choose sites, as far as it can be counted.
#[must_use]
pub fn choices(norm: &Norm) -> u64 {
    norm.units.iter().fold(1_u64, |product, unit| {
        product.saturating_mul(unit.sites.len() as u64)
    })
}

/// Searches with a packer that packs exhaustively; `any` stops at the first answer.
pub fn search(norm: &Norm, packer: &mut Packer, steps: u64, any: bool) -> Found {
    let sites = norm.shape_of.len();
    let mut order: Vec<usize> = (0..norm.units.len()).collect();
    order.sort_by_key(|&unit| {
        let unit = &norm.units[unit];
        (unit.sites.len(), std::cmp::Reverse(unit.load))
    });
    let mut least_lead = vec![0; order.len() + 1];
    for place in (0..order.len()).rev() {
        let unit = &norm.units[order[place]];
        let nearest = unit.sites.first().map_or(0, |&site| unit.lead[site]);
        least_lead[place] = least_lead[place + 1] + nearest;
    }
    let end = packer.steps.saturating_add(steps);
    let mut search = Search {
        norm,
        order,
        least_lead,
        site_of: vec![0; norm.units.len()],
        counts: vec![vec![0; norm.lines.len()]; sites],
        hash: vec![0; sites],
        weight: vec![0; sites],
        load: norm.carried.clone(),
        ports: vec![0; sites],
        best: None,
        end,
        any,
        packer,
    };
    search.packer.cut = false;
    search.descend(0, 0, 0);
    let stopped = search.any && search.best.is_some();
    let complete = !stopped && !search.packer.cut && search.packer.steps < search.end;
    Found {
        site_of: search.best.map(|(_, site_of)| site_of),
        complete,
    }
}

impl Search<'_> {
    fn even(&self) -> u128 {
        self.load
            .iter()
            .map(|&load| u128::from(load) * u128::from(load))
            .sum()
    }

    fn descend(&mut self, place: usize, ports: u64, lead: u64) {
        if self.packer.steps >= self.end || self.any && self.best.is_some() {
            return;
        }
        self.packer.steps += 4;
        let key = (ports, lead + self.least_lead[place], self.even());
        if self.best.as_ref().is_some_and(|(best, _)| key >= *best) {
            return;
        }
        let Some(&index) = self.order.get(place) else {
            self.best = Some((key, self.site_of.clone()));
            return;
        };
        let norm = self.norm;
        let unit = &norm.units[index];
        for &site in &unit.sites {
            let weight = self.weight[site].saturating_add(unit.weight);
            if weight > norm.limit[site] {
                continue;
            }
            for &(kind, count) in &unit.kinds {
                self.counts[site][kind] += count;
            }
            let hash = self.hash[site].wrapping_add(unit.hash);
            let counts = &self.counts[site];
            let cost = self
                .packer
                .cost(norm, norm.shape(site), hash, |kind| counts[kind]);
            if cost < MISSING {
                let before = (self.hash[site], self.weight[site], self.ports[site]);
                self.hash[site] = hash;
                self.weight[site] = weight;
                self.ports[site] = cost;
                self.load[site] += unit.load;
                self.site_of[index] = site;
                let total = ports + u64::from(cost) - u64::from(before.2);
                self.descend(place + 1, total, lead + unit.lead[site]);
                self.load[site] -= unit.load;
                (self.hash[site], self.weight[site], self.ports[site]) = before;
            }
            for &(kind, count) in &unit.kinds {
                self.counts[site][kind] -= count;
            }
        }
    }
}
