//! Gives the lines of one site their port numbers.
//!
//! Method: the packing says which lines share a port; this decides which port that is, and exchanges lines between ports
//! where room allows, so that each group's lines stand on neighbouring ports in order (or share one). A short annealing on
//! the gaps between neighbours comes first, then a descent that also evens the ports and lowers the numbers. No step opens
//! a port that was closed, unless another one closes.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::random::{Random, Thresholds};

/// A line that stands on this site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    /// Index of its group.
    pub group: usize,
    /// Place within the group.
    pub order: usize,
    /// Class.
    pub class: usize,
    /// Load units.
    pub size: u64,
    /// Port it stands on, as an index into the ports of the site.
    pub port: usize,
}

/// A port as the numbering sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    /// Load units for each class.
    pub room: Vec<u64>,
    /// In use already.
    pub open: bool,
}

/// Steps of the descent at most: on very large sites evenness is not worth more.
const DESCENT: u64 = 3_000_000;

/// What is made small: gaps within groups, then unevenness of ports, then the numbers of the ports that lines stand on.
type Cost = (u64, u128, u64);

struct Site<'a> {
    ports: &'a [Place],
    lines: Vec<Standing>,
    /// Lines of each group that stands here, in order.
    groups: Vec<Vec<usize>>,
    group_of: Vec<usize>,
    load: Vec<u64>,
    on: Vec<Vec<usize>>,
    steps: u64,
}

/// Renumbers; the lines come back in the order in which they were given.
#[must_use]
pub fn number(ports: &[Place], lines: Vec<Standing>, steps: u64, used: &mut u64) -> Vec<Standing> {
    let mut site = Site::new(ports, lines);
    if site.gap_sum() > 0 {
        site.anneal(steps / 2);
    }
    site.descend(steps.min(DESCENT));
    *used += site.steps;
    site.lines
}

impl<'a> Site<'a> {
    fn new(ports: &'a [Place], lines: Vec<Standing>) -> Self {
        let mut names: Vec<usize> = lines.iter().map(|line| line.group).collect();
        names.sort_unstable();
        names.dedup();
        let mut groups = vec![Vec::new(); names.len()];
        let mut group_of = Vec::new();
        for (index, line) in lines.iter().enumerate() {
            let group = names.partition_point(|&name| name < line.group);
            groups[group].push(index);
            group_of.push(group);
        }
        for group in &mut groups {
            group.sort_by_key(|&line| lines[line].order);
        }
        let mut load = vec![0; ports.len()];
        let mut on = vec![Vec::new(); ports.len()];
        for (index, line) in lines.iter().enumerate() {
            load[line.port] += line.size;
            on[line.port].push(index);
        }
        Self {
            ports,
            lines,
            groups,
            group_of,
            load,
            on,
            steps: 0,
        }
    }

    fn gap(&self, group: usize) -> u64 {
        self.groups[group]
            .windows(2)
            .map(|pair| {
                let (one, next) = (self.lines[pair[0]].port, self.lines[pair[1]].port);
                match next.checked_sub(one) {
                    Some(0 | 1) => 0,
                    Some(apart) => apart as u64,
                    None => (one - next) as u64 + 1,
                }
            })
            .sum()
    }

    fn gap_sum(&self) -> u64 {
        (0..self.groups.len()).map(|group| self.gap(group)).sum()
    }

    /// Cost of what the lines of some ports take part in.
    fn cost(&mut self, ports: [usize; 2]) -> Cost {
        let mut groups: Vec<usize> = ports
            .iter()
            .flat_map(|&port| &self.on[port])
            .map(|&line| self.group_of[line])
            .collect();
        groups.sort_unstable();
        groups.dedup();
        let gap = groups.iter().map(|&group| self.gap(group)).sum();
        self.steps += 8 + groups
            .iter()
            .map(|&group| self.groups[group].len() as u64)
            .sum::<u64>();
        let square = |load: u64| u128::from(load) * u128::from(load);
        let uneven = ports.iter().map(|&port| square(self.load[port])).sum();
        let numbers = ports
            .iter()
            .map(|&port| (self.on[port].len().min(1) * port) as u64)
            .sum();
        (gap, uneven, numbers)
    }

    fn put(&mut self, line: usize, port: usize) {
        let from = self.lines[line].port;
        self.on[from].retain(|&other| other != line);
        self.load[from] -= self.lines[line].size;
        self.on[port].push(line);
        self.load[port] += self.lines[line].size;
        self.lines[line].port = port;
    }

    /// Exchanges all lines of two ports, if each can carry the other's and no more ports are opened.
    fn exchange_ports(&mut self, one: usize, other: usize) -> bool {
        let carries = |from: usize, to: usize| match self.on[from].first() {
            Some(&line) => self.ports[to].room[self.lines[line].class] >= self.load[from].max(1),
            None => self.ports[from].open || !self.ports[to].open,
        };
        if self.on[one].is_empty() && self.on[other].is_empty()
            || !carries(one, other)
            || !carries(other, one)
        {
            return false;
        }
        self.on.swap(one, other);
        self.load.swap(one, other);
        for port in [one, other] {
            for &line in &self.on[port] {
                self.lines[line].port = port;
            }
        }
        true
    }

    fn room_after(&self, port: usize, class: usize, gains: u64, loses: u64) -> bool {
        self.load[port] + gains - loses <= self.ports[port].room[class]
    }

    fn exchange_lines(&mut self, one: usize, other: usize) -> bool {
        let (first, second) = (self.lines[one], self.lines[other]);
        let class = first.class;
        if class != second.class
            || first.port == second.port
            || !self.room_after(first.port, class, second.size, first.size)
            || !self.room_after(second.port, class, first.size, second.size)
        {
            return false;
        }
        self.put(one, second.port);
        self.put(other, first.port);
        true
    }

    fn move_line(&mut self, line: usize, port: usize) -> bool {
        let moved = self.lines[line];
        let fits = port != moved.port
            && self.on[port]
                .first()
                .is_some_and(|&other| self.lines[other].class == moved.class)
            && self.room_after(port, moved.class, moved.size, 0);
        if fits {
            self.put(line, port);
        }
        fits
    }

    fn anneal(&mut self, steps: u64) {
        let thresholds = Thresholds::new();
        let mut random = Random::new(11);
        let mut best = (self.gap_sum(), self.lines.clone());
        let mut gap = best.0;
        let (count, ports) = (self.lines.len(), self.ports.len());
        // from two neighbouring numbers apart down to a small part of one
        let mut heat = 2.0;
        let end = self.steps + steps;
        let mut next = steps / 100;
        while self.steps < end && best.0 > 0 {
            if self.steps + steps > end + next {
                next += steps / 100 + 1;
                heat *= 0.96;
            }
            self.steps += 2;
            let allowance = (heat * thresholds.draw(&mut random)) as u64;
            let step = match random.below(6) {
                0..3 => match self.closer(&mut random) {
                    Some(step) => step,
                    None => continue,
                },
                3 => Step::Ports(random.below(ports), random.below(ports)),
                4 => Step::Move(random.below(count), random.below(ports)),
                _ => Step::Lines(random.below(count), random.below(count)),
            };
            if let Some((before, after)) =
                self.attempt(step, |before, after| after.0 <= before.0 + allowance)
            {
                gap = gap + after.0 - before.0;
                if gap < best.0 {
                    best = (gap, self.lines.clone());
                }
            }
        }
        let used = self.steps;
        *self = Self::new(self.ports, best.1);
        self.steps = used;
    }

    /// A step that brings one line beside its neighbour in the group, where one is apart.
    fn closer(&self, random: &mut Random) -> Option<Step> {
        let group = &self.groups[random.below(self.groups.len())];
        if group.len() < 2 {
            return None;
        }
        let at = random.below(group.len() - 1);
        let (one, next) = (group[at], group[at + 1]);
        let (port, far) = (self.lines[one].port, self.lines[next].port);
        if far == port || far == port + 1 {
            return None;
        }
        // either neighbour may come to the other, on the same port or the one beside it
        let (mover, goal) = match random.below(4) {
            0 => (next, port),
            1 => (next, port + 1),
            2 => (one, far),
            _ => (one, far.checked_sub(1)?),
        };
        let there = self.on.get(goal)?;
        match random.below(4) {
            0 => Some(Step::Ports(self.lines[mover].port, goal)),
            1 => Some(Step::Move(mover, goal)),
            _ if there.is_empty() => Some(Step::Ports(self.lines[mover].port, goal)),
            _ => Some(Step::Lines(mover, there[random.below(there.len())])),
        }
    }

    /// Makes a step and keeps it if it pleases; the costs before and after where it was kept.
    fn attempt(
        &mut self,
        step: Step,
        pleases: impl Fn(Cost, Cost) -> bool,
    ) -> Option<(Cost, Cost)> {
        let touched = match step {
            Step::Ports(one, other) => [one, other],
            Step::Move(line, port) => [self.lines[line].port, port],
            Step::Lines(one, other) => [self.lines[one].port, self.lines[other].port],
        };
        if touched[0] == touched[1] {
            return None;
        }
        let back = match step {
            Step::Move(line, _) => Step::Move(line, touched[0]),
            other => other,
        };
        let before = self.cost(touched);
        if !self.make(step) {
            return None;
        }
        let after = self.cost(touched);
        if pleases(before, after) {
            return Some((before, after));
        }
        if let Step::Move(line, port) = back {
            // straight back: the port it came from may be empty now
            self.put(line, port);
        } else {
            self.make(back);
        }
        None
    }

    fn make(&mut self, step: Step) -> bool {
        match step {
            Step::Ports(one, other) => self.exchange_ports(one, other),
            Step::Move(line, port) => self.move_line(line, port),
            Step::Lines(one, other) => self.exchange_lines(one, other),
        }
    }

    fn descend(&mut self, steps: u64) {
        let end = self.steps + steps;
        let (count, ports) = (self.lines.len(), self.ports.len());
        let better = |before: Cost, after: Cost| after < before;
        let mut improved = true;
        while improved {
            improved = false;
            for one in 0..ports {
                for other in one + 1..ports {
                    if self.steps >= end {
                        return;
                    }
                    self.steps += 1;
                    improved |= self.attempt(Step::Ports(one, other), better).is_some();
                }
            }
            for line in 0..count {
                for port in 0..ports {
                    if self.steps >= end {
                        return;
                    }
                    self.steps += 1;
                    improved |= self.attempt(Step::Move(line, port), better).is_some();
                }
                for other in line + 1..count {
                    if self.steps >= end {
                        return;
                    }
                    self.steps += 1;
                    improved |= self.attempt(Step::Lines(line, other), better).is_some();
                }
            }
        }
    }
}

#[derive(Debug, Clone, Copy)]
enum Step {
    /// All lines of two ports change places.
    Ports(usize, usize),
    /// A line goes to another port in use.
    Move(usize, usize),
    /// Two lines change places.
    Lines(usize, usize),
}
