//! The fewest feeds with which lines hold: placed by climbing, proven by trying all smaller sets.
//!
//! Climbing begins at an even spread and moves each site to where the least slack grows. For a
//! single line every smaller set is then tried (`proof.rs`). Work is counted; where it runs out,
//! the answer is not proven.

use super::bus::{Bus, BusFlow, WireId};
use super::proof::{Bounds, Proof, Tried};
use super::wire::{Feed, Flow, Norton};
use crate::keyed::Keyed;

/// With at least this slack, no node or fuse counts as near its limit.
const GOOD: f64 = 0.03;

/// The most feeds that are added.
const MOST_FEEDS: usize = 400;

/// The most steps of the proof that one line needs no fewer.
const MOST_PROOF: u64 = 4_000_000;

/// The line of a bus that has only one.
pub const ONLY: WireId = WireId(0);

/// The chosen sites of each line, as rising indices.
pub type Sets = Keyed<WireId, Vec<usize>>;

/// What was found.
#[derive(Clone, Debug)]
pub struct Answer {
    /// The chosen sites.
    pub sets: Sets,
    /// Whether no fewer do.
    pub proven: bool,
}

impl Answer {
    /// How many feeds there are.
    #[must_use]
    pub fn count(&self) -> usize {
        count(&self.sets)
    }
}

fn count(sets: &Sets) -> usize {
    sets.iter().map(Vec::len).sum()
}

/// Lines and where they could be fed.
pub struct Search<'a> {
    /// At each level that must hold, the hardest one first.
    pub levels: &'a [Bus],
    /// The first of them.
    pub hardest: &'a Bus,
    /// The sites of each line, by point.
    pub sites: &'a Keyed<WireId, Vec<Feed>>,
    /// Which sites are where a person looks first.
    pub natural: &'a Keyed<WireId, Vec<bool>>,
    /// For each line, the first one that is equal to it.
    pub alike: &'a Keyed<WireId, WireId>,
    /// The least slack that is asked for, 0 or more.
    pub need: f64,
    /// Whether the currents here are exact, so that a proof holds.
    pub exact: bool,
}

/// The work that is left.
#[derive(Clone, Copy, Debug)]
pub struct Steps(pub u64);

/// The work that is left, by what it is for.
#[derive(Clone, Copy, Debug)]
pub struct Work {
    /// For finding an answer.
    pub find: Steps,
    /// For proving that no fewer do.
    pub prove: Steps,
}

impl Steps {
    /// Takes some steps. Returns whether any are left.
    pub fn take(&mut self, steps: usize) -> bool {
        self.0 = self.0.saturating_sub(steps as u64);
        self.0 > 0
    }
}

/// The slack of lines and lead with some sets.
#[derive(Clone, Debug, Default)]
struct Score {
    lines: Keyed<WireId, f64>,
    trunk: f64,
}

impl Score {
    fn least(&self) -> f64 {
        self.lines.iter().copied().fold(self.trunk, f64::min)
    }

    /// What sets are compared by: how much is missing in all, then the least slack.
    fn worth(&self, need: f64) -> (f64, f64) {
        let under = |slack: f64| (slack - need).min(0.0);
        let missing = self.lines.iter().map(|slack| under(*slack)).sum::<f64>();
        (missing + under(self.trunk), self.least())
    }
}

impl Search<'_> {
    /// The fewest feeds that are found; `None` where none help.
    #[must_use]
    pub fn fewest(&self, work: &mut Work) -> Option<Answer> {
        if !self.all_would_do() {
            return None;
        }
        let found = match self.sites.as_slice() {
            [_] => self.of_one_line(work),
            _ => self.of_many(work),
        };
        found.map(|answer| Answer { sets: self.natural_sets(answer.sets), ..answer })
    }

    /// Whether there is a site, and each line with sites has a supply above all its floors.
    fn all_would_do(&self) -> bool {
        let all = || self.hardest.lines.iter().zip(self.sites);
        all().any(|(_, sites)| !sites.is_empty())
            && all().all(|(wire, sites)| {
                let feeds = wire.fixed.iter().chain(sites);
                let most = feeds.map(|feed| feed.volts).fold(0.0, f64::max);
                let mut floors = wire.pieces.iter().filter_map(|piece| piece.floor);
                sites.is_empty() || floors.all(|floor| floor < most)
            })
    }

    /// The feeds of a line: those of a set and those that it has already, by point.
    pub fn merged(&self, line: WireId, set: &[usize], bus: &Bus, into: &mut Vec<Feed>) {
        let fixed = &bus.lines[line].fixed;
        let sites = &self.sites[line];
        into.clear();
        into.extend(set.iter().filter_map(|at| sites.get(*at)));
        if !fixed.is_empty() {
            into.extend(fixed);
            into.sort_by_key(|feed| feed.at);
        }
    }

    /// Solves the bus of each level with these sets and hands it to `see`.
    fn flows(&self, sets: &Sets, mut see: impl FnMut(&Bus, &BusFlow)) {
        let mut feeds = sets.map(|_| Vec::new());
        let mut flow = BusFlow::default();
        for bus in self.levels {
            for (line, set) in sets.pairs() {
                self.merged(line, set, bus, &mut feeds[line]);
            }
            bus.flow(&feeds, &mut flow);
            see(bus, &flow);
        }
    }

    fn score(&self, sets: &Sets) -> Score {
        let mut score = Score { trunk: f64::INFINITY, lines: sets.map(|_| f64::INFINITY) };
        self.flows(sets, |_, flow| {
            score.trunk = score.trunk.min(flow.trunk);
            for (slack, line) in score.lines.iter_mut().zip(&flow.lines) {
                *slack = slack.min(line.slack);
            }
        });
        score
    }

    /// The steps that one evaluation costs.
    fn cost(&self, sets: &Sets) -> usize {
        self.levels.len() * (2 * count(sets) + 2 * sets.len())
    }

    /// Sites spread evenly by what is drawn.
    fn spread(&self, line: WireId, count: usize) -> Vec<usize> {
        let (wire, sites) = (&self.hardest.lines[line], &self.sites[line]);
        let all = wire.beyond(0);
        // A port feeds half of the gap after it, each site half of the gap on either side.
        let port = usize::from(self.hardest.trunk.is_some());
        let mut set: Vec<usize> = Vec::with_capacity(count);
        for at in 0..count {
            let share = (2 * at + 1 + port) as f64 / (2 * count + port) as f64;
            let site = sites.partition_point(|site| wire.beyond(site.at) > all * (1.0 - share));
            let next = set.last().map_or(0, |before| before + 1);
            set.push(site.max(next));
        }
        // Sites past the end move back.
        let mut last = sites.len();
        for site in set.iter_mut().rev() {
            *site = (*site).min(last.saturating_sub(1));
            last = *site;
        }
        set.dedup();
        set
    }

    /// Moves the sites of a line to where it does best while the other lines stay as they are.
    fn climb(&self, sets: &mut Sets, line: WireId, steps: &mut Steps) -> Score {
        let around = self.around(sets, line);
        let sites = self.sites[line].len();
        let mut set = sets[line].clone();
        let count = set.len();
        let (mut feeds, mut flow) = (Vec::new(), Flow::default());
        let mut worth = |set: &[usize]| self.worth(&around, (line, set), &mut feeds, &mut flow);
        let mut best = worth(&set);
        let mut step = sites.div_ceil(4 * count.max(1)).max(1);
        loop {
            let mut moved = false;
            for at in 0..count {
                for (ahead, span) in moves(at, count) {
                    let Some(tried) = shifted(&set, span, (step, ahead), sites) else {
                        continue;
                    };
                    if !steps.take(self.levels.len() * (count + 4)) {
                        break;
                    }
                    let than = worth(&tried);
                    if than > best {
                        (set, best, moved) = (tried, than, true);
                    }
                }
            }
            if steps.0 == 0 || !moved && step == 1 {
                break;
            }
            if !moved {
                step = step.div_ceil(2).min(step - 1);
            }
        }
        sets[line] = set;
        self.score(sets)
    }

    /// The surroundings of a line at each level: what is on its port's side, and whether other
    /// lines lack something.
    fn around(&self, sets: &Sets, line: WireId) -> Vec<(Norton, bool)> {
        let mut levels = Vec::new();
        self.flows(sets, |bus, flow| {
            let mut others = flow.lines.pairs().filter(|(other, _)| *other != line);
            let lacking = others.any(|(_, other)| other.slack < self.need);
            levels.push((flow.left(bus, line), lacking));
        });
        levels
    }

    /// How well a line does with a set: first what it and its lead lack; then the voltage at its
    /// start where other lines lack something, else its own slack.
    fn worth(
        &self,
        around: &[(Norton, bool)],
        (line, set): (WireId, &[usize]),
        feeds: &mut Vec<Feed>,
        flow: &mut Flow,
    ) -> (f64, f64) {
        let mut worth = (0.0, f64::INFINITY);
        for (bus, (left, lacking)) in self.levels.iter().zip(around) {
            let wire = &bus.lines[line];
            self.merged(line, set, bus, feeds);
            wire.flow(*left, feeds, f64::NEG_INFINITY, flow);
            let trunk =
                bus.trunk.map_or(f64::INFINITY, |trunk| trunk.slack(flow.start, wire.limits));
            let under = |slack: f64| (slack - self.need).min(0.0);
            worth.0 += under(flow.slack) + under(trunk);
            let then = if *lacking { flow.start / wire.scale } else { flow.slack.min(trunk) };
            worth.1 = then.min(worth.1);
        }
        worth
    }

    fn of_one_line(&self, work: &mut Work) -> Option<Answer> {
        let nothing = self.sites.map(|_| Vec::new());
        if self.score(&nothing).least() >= self.need {
            return Some(Answer { sets: nothing, proven: true });
        }
        let mut proof = Proof::new(self);
        let least = proof.bounds.least.max(1);
        let mut sets = self.climbed(least, &mut work.find)?;
        // Climbing may find one site too many, so all smaller sets are tried, the smallest first.
        let count = count(&sets);
        let mut proven = self.exact;
        let mut share = Steps(work.prove.0.min(MOST_PROOF));
        let before = share.0;
        for fewer in least..count {
            match proof.any(fewer, &mut share) {
                Tried::Found(set) => {
                    sets = vec![set].into();
                    self.climb(&mut sets, ONLY, &mut work.find);
                    break;
                }
                Tried::None => {}
                Tried::NotAll => {
                    proven = false;
                    break;
                }
            }
        }
        work.prove.take((before - share.0) as usize);
        // One is proven: without any the line does not hold.
        proven |= count == 1;
        Some(Answer { sets, proven })
    }

    /// The smallest set of at least `least` sites that climbing finds.
    fn climbed(&self, least: usize, steps: &mut Steps) -> Option<Sets> {
        let most = (least + MOST_FEEDS).min(self.sites[ONLY].len());
        for count in least..=most {
            if steps.0 == 0 {
                break;
            }
            let mut sets = vec![self.spread(ONLY, count)].into();
            if self.climb(&mut sets, ONLY, steps).least() >= self.need {
                return Some(sets);
            }
        }
        None
    }

    /// For lines that share a lead: adds one feed after the other where it helps most, then takes
    /// away those that are not needed.
    fn of_many(&self, work: &mut Work) -> Option<Answer> {
        let steps = &mut work.find;
        let least = self.least_of_each();
        let spread = |(line, least): (WireId, &usize)| self.spread(line, *least);
        let mut sets: Sets = least.pairs().map(spread).collect();
        let mut score = self.climb_all(&mut sets, steps);
        while score.least() < self.need {
            (sets, score) = match self.one_more_each(&sets, &score) {
                Some(more) => more,
                None => self.one_more(&sets, steps)?,
            };
            if score.least() < self.need {
                score = self.climb_all(&mut sets, steps);
            }
            if steps.0 == 0 || count(&sets) > MOST_FEEDS {
                return None;
            }
        }
        for line in sets.ids() {
            self.thin(&mut sets, line, steps);
        }
        let count = count(&sets);
        if count != 2 {
            let proven = count < 2 || self.exact && count == least.iter().sum::<usize>();
            return Some(Answer { sets, proven });
        }
        let single = self.single(&mut work.prove);
        Some(Answer { sets: single.unwrap_or(sets), proven: self.exact && work.prove.0 > 0 })
    }

    /// How many sites each line needs at least.
    fn least_of_each(&self) -> Keyed<WireId, usize> {
        let mut least: Keyed<WireId, usize> = self.sites.map(|_| 0);
        for (line, wire) in self.hardest.lines.pairs() {
            let like = self.alike[line];
            least[line] = if like == line {
                let sites = &self.sites[line];
                Bounds::new(self.hardest, wire, sites).least.min(sites.len())
            } else {
                least[like]
            };
        }
        least
    }

    fn climb_all(&self, sets: &mut Sets, steps: &mut Steps) -> Score {
        let mut score = self.score(sets);
        for line in sets.ids() {
            if !sets[line].is_empty() && score.least() < self.need {
                score = self.climb(sets, line, steps);
            }
        }
        score
    }

    /// Adds a feed to each line that lacks something. Only where several such lines have several
    /// feeds each: one by one would take too long. Feeds that are not needed are taken away later.
    fn one_more_each(&self, sets: &Sets, score: &Score) -> Option<(Sets, Score)> {
        const MANY: usize = 4;
        let lacks = |line: &WireId| score.lines[*line] < self.need;
        let lines: Vec<WireId> = sets.ids().filter(lacks).collect();
        if lines.len() < MANY || lines.iter().any(|line| sets[*line].len() < MANY) {
            return None;
        }
        let mut more = sets.clone();
        for line in lines {
            let set = self.spread(line, sets[line].len() + 1);
            if set.len() > sets[line].len() {
                more[line] = set;
            }
        }
        let score = self.score(&more);
        (count(&more) > count(sets)).then_some((more, score))
    }

    /// Adds one feed, to the line where it helps most. Of equal lines one is tried.
    fn one_more(&self, sets: &Sets, steps: &mut Steps) -> Option<(Sets, Score)> {
        let mut best: Option<(Sets, Score)> = None;
        let mut seen: Vec<(WireId, usize)> = Vec::new();
        for line in sets.ids() {
            let count = sets[line].len();
            let kind = (self.alike[line], count);
            if seen.contains(&kind) {
                continue;
            }
            seen.push(kind);
            let mut more = sets.clone();
            more[line] = self.spread(line, count + 1);
            if more[line].len() <= count {
                continue;
            }
            let score = self.climb(&mut more, line, steps);
            let better = |best: &(Sets, Score)| score.worth(self.need) > best.1.worth(self.need);
            if best.as_ref().is_none_or(better) {
                best = Some((more, score));
            }
        }
        best
    }

    /// Takes feeds from a line as long as all lines hold.
    fn thin(&self, sets: &mut Sets, line: WireId, steps: &mut Steps) {
        while let Some(count) = sets[line].len().checked_sub(1) {
            let mut fewer = sets.clone();
            fewer[line] = self.spread(line, count);
            if self.climb(&mut fewer, line, steps).least() < self.need {
                return;
            }
            *sets = fewer;
        }
    }

    /// A single feed with which all of them hold.
    fn single(&self, steps: &mut Steps) -> Option<Sets> {
        let mut sets: Sets = self.sites.map(|_| Vec::new());
        let mut best: Option<(f64, Sets)> = None;
        for (line, sites) in self.sites.pairs() {
            for site in 0..sites.len() {
                if !steps.take(self.cost(&sets)) {
                    return None;
                }
                sets[line] = vec![site];
                let slack = self.score(&sets).least();
                let better = best.as_ref().is_none_or(|(than, _)| slack > *than);
                if slack >= self.need && better {
                    best = Some((slack, sets.clone()));
                }
            }
            sets[line].clear();
        }
        best.map(|(_, sets)| sets)
    }

    /// Moves sites to starts and ends of strings and strands near them, where that costs little.
    fn natural_sets(&self, mut sets: Sets) -> Sets {
        let enough = |slack: f64| self.need.max((slack / 2.0).min(GOOD));
        let enough_now = enough(self.score(&sets).least());
        for (line, natural) in self.natural.pairs() {
            for at in 0..sets[line].len() {
                let set = &sets[line];
                let Some(site) = set.get(at).copied() else {
                    break;
                };
                let from = at.checked_sub(1).and_then(|at| set.get(at));
                let from = from.map_or(0, |site| site + 1);
                let to = set.get(at + 1).copied().unwrap_or(natural.len());
                let between = natural.iter().enumerate().take(to).skip(from);
                let near = between.filter(|(_, natural)| **natural);
                let mut near: Vec<usize> = near.map(|(site, _)| site).collect();
                near.sort_by_key(|other| (other.abs_diff(site), *other));
                for other in near.into_iter().take(4) {
                    let mut tried = sets.clone();
                    tried[line].splice(at..=at, [other]);
                    if self.score(&tried).least() >= enough_now {
                        sets = tried;
                        break;
                    }
                }
            }
        }
        sets
    }
}

/// The moves of a site, ahead and back: alone, with all before it, and with all after it.
fn moves(at: usize, count: usize) -> impl Iterator<Item = (bool, (usize, usize))> {
    let alone = (at, at + 1);
    let more = [(0, at + 1), (at, count)].into_iter();
    let more = more.filter(|(from, to)| to - from > 1);
    let spans = std::iter::once(alone).chain(more);
    spans.flat_map(|span| [(true, span), (false, span)])
}

/// A set with some neighbouring sites moved by a step, ahead or back, as far as there is room.
fn shifted(
    set: &[usize],
    (from, to): (usize, usize),
    (step, ahead): (usize, bool),
    sites: usize,
) -> Option<Vec<usize>> {
    let (first, last) = (*set.get(from)?, *set.get(to.checked_sub(1)?)?);
    let before = from.checked_sub(1).and_then(|at| set.get(at));
    let room = if ahead {
        set.get(to).copied().unwrap_or(sites).checked_sub(last + 1)?
    } else {
        first.checked_sub(before.map_or(0, |site| site + 1))?
    };
    let by = step.min(room);
    if by == 0 {
        return None;
    }
    let mut moved = set.to_vec();
    for site in moved.get_mut(from..to)? {
        *site = if ahead { *site + by } else { *site - by };
    }
    Some(moved)
}
