//! Packs the lines of one site onto its ports and counts the ports it opens.
//!
//! Method for a site whose ports are all alike and free: best fit with the largest line first; where that misses the sum
//! bound, port by port, each with its largest waiting line and the best completion by the others (subset sums in bit sets;
//! of equal completions the one with the larger lines, because small lines are worth keeping). Other sites: best fit over
//! the real ports in several orders. The counts are remembered under the hash of the set of lines, because a search asks
//! for the same sets over and over.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::mixed::{self, Order};
use super::norm::{Norm, Shape};

/// What a missing port counts in `Packer::cost`, in opened ports: always worse than any answer that fits.
pub const MISSING: u32 = 1 << 16;

/// A packing of one site.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Filling {
    /// Ports used: the index of the kind in the site's shape and the kinds of the lines on it.
    pub ports: Vec<(usize, Vec<usize>)>,
    /// Kinds of lines for which no port was left.
    pub left: Vec<usize>,
}

/// Packs sites and remembers what it counted.
#[derive(Debug)]
pub struct Packer {
    memory: Vec<(u64, u32)>,
    sizes: Vec<u64>,
    bin_of: Vec<u32>,
    rooms: Vec<u64>,
    reach: Vec<u64>,
    waiting: Vec<usize>,
    /// Nodes that the exhaustive packing of one site may look at; 0 leaves like free ports to the quick methods.
    pub nodes: u64,
    /// Whether some exhaustive packing was cut short, so that a count may be too high.
    pub cut: bool,
    /// Steps used so far: about one for each look at a line or a port.
    pub steps: u64,
}

/// Nodes of a packing over unlike ports when nothing else is said.
const FEW: u64 = 60;

/// Above this capacity in units the subset sums are left out: the bit sets would cost more than they save.
const WIDEST: u64 = 1 << 13;

impl Packer {
    /// A packer that remembers nothing yet and has room for so many sets of lines, a power of two; a later set takes the
    /// place of an earlier one. Its memory belongs to one `Norm`.
    #[must_use]
    pub fn new(memory: usize) -> Self {
        Self {
            memory: vec![(0, u32::MAX); memory.next_power_of_two()],
            sizes: Vec::new(),
            bin_of: Vec::new(),
            rooms: Vec::new(),
            reach: Vec::new(),
            waiting: Vec::new(),
            nodes: 0,
            cut: false,
            steps: 0,
        }
    }

    /// Ports that the set of lines `counts` (by kind of line) opens on a site of this shape, plus `MISSING` for each that
    /// is lacking. `hash` is the sum of the hashes of the lines.
    pub fn cost(
        &mut self,
        norm: &Norm,
        shape: &Shape,
        hash: u64,
        counts: impl Fn(usize) -> usize,
    ) -> u32 {
        let key = hash ^ shape.salt;
        let slot = (key ^ (key >> 32)) as usize & (self.memory.len() - 1);
        let (known, cost) = self.memory[slot];
        self.steps += 1;
        if known == key && cost != u32::MAX {
            return cost;
        }
        let cost = self.count(norm, shape, counts);
        self.memory[slot] = (key, cost);
        cost
    }

    fn count(&mut self, norm: &Norm, shape: &Shape, counts: impl Fn(usize) -> usize) -> u32 {
        if shape.uniform && self.nodes == 0 {
            let Some(ports) = shape.kinds.first() else {
                return 0;
            };
            let mut opened = 0;
            let mut start = 0;
            while start < norm.lines.len() {
                let class = norm.lines[start].class;
                let mut end = start;
                self.sizes.clear();
                while end < norm.lines.len() && norm.lines[end].class == class {
                    for _ in 0..counts(end) {
                        self.sizes.push(norm.lines[end].size);
                    }
                    end += 1;
                }
                self.steps += (end - start) as u64;
                start = end;
                opened += self.bins(ports.room[class]);
            }
            let lacking = opened.saturating_sub(ports.count);
            return opened as u32 + MISSING * lacking as u32;
        }
        let lines: Vec<usize> = (0..norm.lines.len())
            .flat_map(|kind| std::iter::repeat_n(kind, counts(kind)))
            .collect();
        let filling = self.search(norm, shape, &lines);
        opened(shape, &filling) + MISSING * filling.left.len() as u32
    }

    fn search(&mut self, norm: &Norm, shape: &Shape, lines: &[usize]) -> Filling {
        let nodes = self.nodes.max(FEW);
        let order = Order::new(norm, shape, lines);
        let (filling, complete, steps) = mixed::search(norm, shape, &order, nodes);
        self.steps += steps + 40 + 4 * lines.len() as u64;
        self.cut |= !complete;
        filling
    }

    /// The packing behind `cost`, line by line.
    pub fn fill(&mut self, norm: &Norm, shape: &Shape, lines: &[usize]) -> Filling {
        if !shape.uniform || self.nodes > 0 {
            return self.search(norm, shape, lines);
        }
        let mut sorted = lines.to_vec();
        sorted.sort_unstable();
        let mut filling = Filling::default();
        let Some(ports) = shape.kinds.first() else {
            filling.left = sorted;
            return filling;
        };
        let mut start = 0;
        while start < sorted.len() {
            let class = norm.lines[sorted[start]].class;
            let mut end = start;
            self.sizes.clear();
            while end < sorted.len() && norm.lines[sorted[end]].class == class {
                self.sizes.push(norm.lines[sorted[end]].size);
                end += 1;
            }
            let opened = self.bins(ports.room[class]);
            let first = filling.ports.len();
            filling.ports.resize(first + opened, (0, Vec::new()));
            for (offset, &kind) in sorted[start..end].iter().enumerate() {
                filling.ports[first + self.bin_of[offset] as usize]
                    .1
                    .push(kind);
            }
            start = end;
        }
        while filling.ports.len() > ports.count {
            if let Some((_, lines)) = filling.ports.pop() {
                filling.left.extend(lines);
            }
        }
        filling
    }

    /// Packs `self.sizes` (largest first) into bins of `room`; the bin of each is left in `self.bin_of`.
    fn bins(&mut self, room: u64) -> usize {
        let sum: u64 = self.sizes.iter().sum();
        if self.sizes.is_empty() {
            return 0;
        }
        let least = sum.div_ceil(room.max(1)) as usize;
        let best = self.best_fit(room);
        if best <= least.max(1) || room > WIDEST {
            return best;
        }
        let kept = self.bin_of.clone();
        let fitted = self.complete(room);
        if fitted < best {
            return fitted;
        }
        self.bin_of = kept;
        best
    }

    fn best_fit(&mut self, room: u64) -> usize {
        self.rooms.clear();
        self.bin_of.clear();
        for &size in &self.sizes {
            let mut chosen = usize::MAX;
            let mut least = u64::MAX;
            for (bin, &left) in self.rooms.iter().enumerate() {
                if left >= size && left < least {
                    least = left;
                    chosen = bin;
                }
            }
            self.steps += self.rooms.len() as u64 / 4 + 1;
            if chosen == usize::MAX {
                chosen = self.rooms.len();
                self.rooms.push(room);
            }
            self.rooms[chosen] = self.rooms[chosen].saturating_sub(size);
            self.bin_of.push(chosen as u32);
        }
        self.rooms.len()
    }

    fn complete(&mut self, room: u64) -> usize {
        self.waiting.clear();
        self.waiting.extend(0..self.sizes.len());
        let mut bin = 0;
        while let Some(&first) = self.waiting.first() {
            let words = (room / 64 + 1) as usize;
            let count = self.waiting.len();
            let target = room.saturating_sub(self.sizes[first]);
            self.reach.clear();
            self.reach.resize((count + 1) * words, 0);
            self.reach[count * words] = 1;
            for place in (1..count).rev() {
                let size = self.sizes[self.waiting[place]];
                let (head, tail) = self.reach.split_at_mut((place + 1) * words);
                shift_or(&mut head[place * words..], &tail[..words], size);
            }
            self.steps += (count * words) as u64 / 4 + 1;
            let mut sum = highest(&self.reach[words..2 * words], target);
            self.bin_of[first] = bin;
            let mut kept = 0;
            for place in 1..count {
                let line = self.waiting[place];
                let size = self.sizes[line];
                let next = (place + 1) * words;
                if size <= sum && has(&self.reach[next..next + words], sum - size) {
                    sum -= size;
                    self.bin_of[line] = bin;
                } else {
                    self.waiting[kept] = line;
                    kept += 1;
                }
            }
            self.waiting.truncate(kept);
            bin += 1;
        }
        bin as usize
    }
}

/// Closed ports that a packing opens.
#[must_use]
pub fn opened(shape: &Shape, filling: &Filling) -> u32 {
    let opened = filling
        .ports
        .iter()
        .filter(|(kind, _)| !shape.kinds[*kind].open)
        .count();
    u32::try_from(opened).unwrap_or(u32::MAX)
}

/// `into = from | from << shift`, within the width of the bit set.
fn shift_or(into: &mut [u64], from: &[u64], shift: u64) {
    let words = (shift / 64) as usize;
    let bits = (shift % 64) as u32;
    into.copy_from_slice(from);
    for place in words..into.len() {
        let low = from[place - words] << bits;
        let carry = if bits > 0 && place > words {
            from[place - words - 1] >> (64 - bits)
        } else {
            0
        };
        into[place] |= low | carry;
    }
}

fn has(set: &[u64], member: u64) -> bool {
    set[(member / 64) as usize] >> (member % 64) & 1 == 1
}

/// The highest member up to `top`; 0 is always a member.
fn highest(set: &[u64], top: u64) -> u64 {
    let mut place = (top / 64) as usize;
    let mut word = set[place] & (u64::MAX >> (63 - top % 64));
    while word == 0 && place > 0 {
        place -= 1;
        word = set[place];
    }
    place as u64 * 64 + 63_u64.saturating_sub(u64::from(word.leading_zeros()))
}

impl Packer {
    /// Packs plain sizes into bins of `room` by the quick methods.
    pub fn simple(&mut self, sizes: &[u64], room: u64) -> Vec<Vec<u64>> {
        self.sizes.clear();
        self.sizes.extend_from_slice(sizes);
        self.sizes.sort_unstable_by(|one, other| other.cmp(one));
        let count = self.bins(room);
        let mut bins = vec![Vec::new(); count];
        for (&size, &bin) in self.sizes.iter().zip(&self.bin_of) {
            bins[bin as usize].push(size);
        }
        bins
    }
}
