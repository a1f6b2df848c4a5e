//! The linear programme of packing: how few bins, if bins may be used in fractions.
//!
//! Method: column generation. Each column is a pattern, a set of lines that fits one bin; a revised
//! simplex with a dense inverse keeps the columns in use; a knapsack over the prices of the lines
//! finds better ones, one for each line that may be the largest of its pattern. Floating point only
//! chooses: the bound is computed from prices rounded down to integers and the exact best pattern
//! under them, so it holds whatever the rounding did.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

/// Prices are integers in parts of this.
const SCALE: i64 = 1 << 22;

/// A reduced cost must be better than this to matter.
const SLIGHT: f64 = 1e-7;

/// A pattern: indices of sizes with how many of each, ascending.
pub type Pattern = Vec<(usize, u32)>;

/// What is to be packed: different sizes, largest first, how many of each, and the room of a bin.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Demand {
    /// Sizes above zero and at most `room`.
    pub sizes: Vec<u64>,
    /// How many of each size, above zero.
    pub counts: Vec<u32>,
    /// Room of a bin.
    pub room: u64,
}

impl Demand {
    /// Sorts and counts; lines of no size take no room and are left out.
    #[must_use]
    pub fn new(sizes: &[u64], room: u64) -> Self {
        let mut sorted: Vec<u64> = sizes.iter().copied().filter(|&size| size > 0).collect();
        sorted.sort_unstable_by(|one, other| other.cmp(one));
        let mut demand = Self { sizes: Vec::new(), counts: Vec::new(), room };
        for size in sorted {
            match demand.counts.last_mut() {
                Some(count) if demand.sizes.last() == Some(&size) => *count += 1,
                _ => {
                    demand.sizes.push(size);
                    demand.counts.push(1);
                }
            }
        }
        demand
    }

    /// The sum of all sizes.
    #[must_use]
    pub fn sum(&self) -> u64 {
        self.sizes
            .iter()
            .zip(&self.counts)
            .map(|(size, &count)| size.saturating_mul(u64::from(count)))
            .sum()
    }

    /// How many of a size fit a bin, at most as many as are asked for.
    fn copies(&self, index: usize) -> u32 {
        let fits = self.room / self.sizes[index];
        u32::try_from(fits).unwrap_or(u32::MAX).min(self.counts[index])
    }
}

/// The programme and where the simplex stands.
#[derive(Debug, Clone)]
pub struct Master {
    /// What is to be packed.
    pub demand: Demand,
    columns: Vec<Variable>,
    basis: Vec<usize>,
    inverse: Vec<f64>,
    level: Vec<f64>,
    price: Vec<f64>,
    /// Fewest bins, proven.
    pub bound: u64,
    /// A bound of at most this many bins is of no use.
    pub idle: u64,
    /// Steps used: one for each sixteen numbers touched.
    pub steps: u64,
}

#[derive(Debug, Clone)]
enum Variable {
    Pattern(Pattern),
    /// More of a size than was asked for.
    Surplus(usize),
}

impl Master {
    /// Starts from patterns of one size each.
    #[must_use]
    pub fn new(demand: Demand) -> Self {
        let rows = demand.sizes.len();
        let bound = demand.sum().div_ceil(demand.room.max(1));
        let mut master = Self {
            columns: Vec::new(),
            basis: (0..rows).collect(),
            inverse: vec![0.0; rows * rows],
            level: Vec::new(),
            price: Vec::new(),
            bound,
            idle: 0,
            steps: 0,
            demand,
        };
        for row in 0..rows {
            let copies = master.demand.copies(row).max(1);
            master.columns.push(Variable::Pattern(vec![(row, copies)]));
            master.inverse[row * rows + row] = 1.0 / f64::from(copies);
            master.price.push(1.0 / f64::from(copies));
            // A little more than asked, different for each size, keeps the simplex from stalling.
            let extra = 1e-5 * (1.0 + ((row * 7919) % 97) as f64 / 97.0);
            let asked = f64::from(master.demand.counts[row]) + extra;
            master.level.push(asked / f64::from(copies));
        }
        master
    }

    /// Improves until nothing is left to improve, the bound reaches `enough` or can't come to more
    /// than `idle`, or the steps run out.
    pub fn solve(&mut self, pool: &[Pattern], enough: u64, steps: u64) {
        let end = self.steps.saturating_add(steps);
        let mut waiting: Vec<Pattern> = pool.to_vec();
        loop {
            self.enter_all(&mut waiting, end);
            self.enter_surplus();
            if self.bound >= enough || self.steps >= end || self.bins() <= self.idle as f64 {
                return;
            }
            waiting = self.better_patterns();
            if waiting.is_empty() || self.bound >= enough {
                return;
            }
        }
    }

    /// How many bins the patterns in use take: the bound never comes to more than this, rounded up.
    fn bins(&self) -> f64 {
        let used = self.basis.iter().zip(&self.level);
        let patterns =
            used.filter(|(column, _)| matches!(self.columns[**column], Variable::Pattern(_)));
        patterns.map(|(_, level)| level.max(0.0)).sum()
    }

    /// The patterns in use with how often each is used, most used first.
    #[must_use]
    pub fn used(&self) -> Vec<(f64, &Pattern)> {
        let mut used: Vec<(f64, &Pattern)> = self
            .basis
            .iter()
            .zip(&self.level)
            .filter(|(_, level)| **level > 1e-4)
            .filter_map(|(&column, &level)| match &self.columns[column] {
                Variable::Pattern(pattern) => Some((level, pattern)),
                Variable::Surplus(_) => None,
            })
            .collect();
        used.sort_by(|one, other| other.0.total_cmp(&one.0).then_with(|| one.1.cmp(other.1)));
        used
    }

    fn enter_all(&mut self, waiting: &mut Vec<Pattern>, end: u64) {
        loop {
            let mut best = None;
            let mut least = -SLIGHT;
            for (index, pattern) in waiting.iter().enumerate() {
                let cost = 1.0 - self.worth(pattern);
                if cost < least {
                    least = cost;
                    best = Some(index);
                }
            }
            self.steps += waiting.len() as u64 / 4 + 1;
            let Some(index) = best else {
                return;
            };
            if self.steps >= end {
                return;
            }
            let pattern = waiting.swap_remove(index);
            if !self.enter(Variable::Pattern(pattern)) {
                return;
            }
        }
    }

    fn worth(&self, pattern: &Pattern) -> f64 {
        pattern.iter().map(|&(row, count)| self.price[row] * f64::from(count)).sum()
    }

    fn enter_surplus(&mut self) {
        for _ in 0..self.demand.sizes.len() {
            let lowest = (0..self.price.len())
                .min_by(|&one, &other| self.price[one].total_cmp(&self.price[other]));
            match lowest {
                Some(row) if self.price[row] < -SLIGHT => {
                    if !self.enter(Variable::Surplus(row)) {
                        return;
                    }
                }
                _ => return,
            }
        }
    }

    /// One pivot; false where no row of the basis can leave.
    fn enter(&mut self, column: Variable) -> bool {
        let rows = self.demand.sizes.len();
        let mut direction = vec![0.0; rows];
        let mut cost = match &column {
            Variable::Pattern(_) => 1.0,
            Variable::Surplus(_) => 0.0,
        };
        let surplus;
        let entries: &[(usize, u32)] = match &column {
            Variable::Pattern(pattern) => pattern,
            Variable::Surplus(row) => {
                surplus = [(*row, 1)];
                &surplus
            }
        };
        let sign = if matches!(column, Variable::Surplus(_)) { -1.0 } else { 1.0 };
        for &(entry, count) in entries {
            let factor = sign * f64::from(count);
            cost -= self.price[entry] * factor;
            for (row, value) in direction.iter_mut().enumerate() {
                *value += self.inverse[row * rows + entry] * factor;
            }
        }
        let mut pivot = usize::MAX;
        let mut least = f64::INFINITY;
        for (row, (&step, &level)) in direction.iter().zip(&self.level).enumerate() {
            if step > 1e-7 {
                let ratio = level.max(0.0) / step;
                if ratio < least {
                    least = ratio;
                    pivot = row;
                }
            }
        }
        if pivot == usize::MAX {
            return false;
        }
        self.steps += (rows * rows) as u64 / 16 + 1;
        let divisor = direction[pivot];
        let mut pivot_row = self.inverse[pivot * rows..(pivot + 1) * rows].to_vec();
        for value in &mut pivot_row {
            *value /= divisor;
        }
        for (row, &factor) in direction.iter().enumerate() {
            if row == pivot || factor == 0.0 {
                continue;
            }
            let line = &mut self.inverse[row * rows..(row + 1) * rows];
            for (value, add) in line.iter_mut().zip(&pivot_row) {
                *value -= factor * add;
            }
            self.level[row] -= factor * least;
        }
        for (price, add) in self.price.iter_mut().zip(&pivot_row) {
            *price += cost * add;
        }
        self.inverse[pivot * rows..(pivot + 1) * rows].copy_from_slice(&pivot_row);
        self.level[pivot] = least;
        self.basis[pivot] = self.columns.len();
        self.columns.push(column);
        true
    }

    /// Solves the knapsack under these prices: raises the bound, returns patterns worth over a bin.
    fn better_patterns(&mut self) -> Vec<Pattern> {
        let prices: Vec<i64> =
            self.price.iter().map(|&price| (price.clamp(0.0, 1.0) * SCALE as f64) as i64).collect();
        let whole: Vec<f64> = prices.iter().map(|&price| price as f64).collect();
        let sack = Knapsack::new(&self.demand, &whole);
        self.steps += sack.steps;
        let best = (sack.best as i64).max(1);
        let total: i64 = prices
            .iter()
            .zip(&self.demand.counts)
            .map(|(price, &count)| price * i64::from(count))
            .sum();
        let bound = u64::try_from((total + best - 1) / best).unwrap_or(0);
        self.bound = self.bound.max(bound);
        let enough = SCALE + SCALE / 200_000;
        let mut found: Vec<(i64, usize)> = sack
            .largest
            .iter()
            .enumerate()
            .map(|(row, &value)| (value as i64, row))
            .filter(|(value, _)| *value > enough)
            .collect();
        found.sort_unstable_by(|one, other| other.cmp(one));
        found.truncate(160);
        let mut patterns: Vec<Pattern> =
            found.iter().map(|&(_, row)| sack.pattern(&self.demand, row)).collect();
        patterns.dedup();
        patterns
    }
}

/// The most valuable patterns under given prices.
#[derive(Debug)]
pub struct Knapsack {
    /// Value of the best pattern for each size as its largest.
    largest: Vec<f64>,
    /// Value of the best pattern of all.
    pub best: f64,
    /// Best value for each room, all sizes allowed.
    pub by_room: Vec<f64>,
    taken: Vec<u8>,
    copy_of: Vec<usize>,
    width: usize,
    steps: u64,
}

impl Knapsack {
    /// Dynamic programme over all rooms, smallest size first. The prices are whole numbers:
    /// floating point holds and adds them exactly, and machines do so several at a time.
    #[must_use]
    pub fn new(demand: &Demand, prices: &[f64]) -> Self {
        let width = demand.room as usize + 1;
        let rows = demand.sizes.len();
        let mut sack = Self {
            largest: vec![0.0; rows],
            best: 0.0,
            by_room: vec![0.0; width],
            taken: Vec::new(),
            copy_of: Vec::new(),
            width,
            steps: 0,
        };
        let mut before = vec![0.0_f64; width];
        for row in (0..rows).rev() {
            let size = demand.sizes[row] as usize;
            let price = prices[row];
            for _ in 0..demand.copies(row) {
                before.copy_from_slice(&sack.by_room);
                let start = sack.taken.len();
                sack.taken.resize(start + width, 0);
                sack.copy_of.push(row);
                let taken = &mut sack.taken[start + size..];
                let now = &mut sack.by_room[size..];
                for ((now, taken), &rest) in now.iter_mut().zip(taken).zip(&before) {
                    let value = rest + price;
                    let more = value > *now;
                    *taken = u8::from(more);
                    *now = if more { value } else { *now };
                }
                // The last copy of this size on the best of what came before.
                let value = prices[row] + before[width - 1 - size];
                sack.largest[row] = sack.largest[row].max(value);
                sack.steps += (width - size) as u64 / 16 + 1;
            }
        }
        sack.best = sack.by_room[width - 1];
        sack
    }

    /// The best pattern whose largest line is of this size.
    fn pattern(&self, demand: &Demand, row: usize) -> Pattern {
        let mut pattern: Pattern = Vec::new();
        let copies: Vec<usize> =
            (0..self.copy_of.len()).filter(|&copy| self.copy_of[copy] == row).collect();
        let mut room = self.width - 1;
        let mut next = copies.last().map_or(0, |last| last + 1);
        let mut forced = true;
        while next > 0 {
            next -= 1;
            let size = demand.sizes[self.copy_of[next]] as usize;
            if room < size || !(forced || self.taken[next * self.width + room] == 1) {
                continue;
            }
            forced = false;
            room -= size;
            match pattern.last_mut() {
                Some((known, count)) if *known == self.copy_of[next] => *count += 1,
                _ => pattern.push((self.copy_of[next], 1)),
            }
        }
        pattern.reverse();
        pattern.sort_unstable();
        pattern
    }
}
