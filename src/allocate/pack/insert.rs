//! Finds ports for one group in a state: side by side, else on one site, else where there is room.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::random::Random;
use super::state::{NONE, State};
use std::ops::Range;

/// In groups of more lines than this, a line leaves a shared port only where sharing does not work.
const MOST_PATTERNS: usize = 5;

/// In groups of more lines than this, the looks at their own lines cost steps too.
const LARGE: usize = 16;

/// A port is compared with at most this many of its site.
const MOST_SEEN: usize = 8;

/// Where to look: everywhere, or near some ports and in a stretch.
pub enum Where<'w> {
    /// At every port.
    All,
    /// Around these ports (ascending), and at this many more from a random one on.
    Near(&'w [u32], usize),
}

/// A way to put a group somewhere.
struct Way {
    price: i64,
    ports: Vec<u32>,
}

/// Where a run of lines goes on: the next line's port, what the run put there, and the price.
struct Turn {
    port: u32,
    more: (u64, u64, u64),
    price: i64,
}

/// What was found for the last line, for the next ones like it.
struct Known {
    line: usize,
    /// The best port of each site, and its price.
    best: Vec<Option<(i64, u32)>>,
    /// The sites that changed since.
    stale: Vec<usize>,
}

/// Puts groups into a state.
pub struct Inserter {
    /// Looks taken.
    pub steps: u64,
    /// Chance; decides which ports are passed over.
    pub random: Random,
    /// How many of 1024 ports are passed over.
    pub blink: usize,
    stack: Vec<u32>,
    windows: Vec<Range<usize>>,
}

impl Inserter {
    /// One that passes over nothing.
    pub fn new(seed: u64) -> Self {
        Self {
            steps: 0,
            random: Random::new(seed),
            blink: 0,
            stack: Vec::new(),
            windows: Vec::new(),
        }
    }

    /// Gives each line of a group that has none a port, where one is found; false where one is not.
    pub fn insert(&mut self, state: &mut State<'_>, group: usize, at: &Where<'_>) -> bool {
        let span = state.field.span[group].clone();
        let open: Vec<usize> = span.filter(|line| state.port_of[*line] == NONE).collect();
        let whole = open.len() == state.field.span[group].len();
        if open.len() > LARGE {
            // Each line that is placed looks at all of its group, on every site that is tried.
            let sites = state.field.instance.sites.len();
            self.steps += (open.len() * open.len() * (1 + sites)) as u64;
        }
        if let [line] = open[..] {
            return self.single(state, line, at);
        }
        if !whole {
            return self.scattered(state, &open, at);
        }
        let beside = self.side_by_side(state, &open, at);
        let (apart, _) = state.weights;
        // Looking at every site costs much: a search that returns to a group does it now and then.
        let seldom = self.blink > 0 && self.random.below(16) > 0;
        let together = match &beside {
            Some(way) if way.price <= apart || seldom => None,
            _ => self.together(state, &open, at),
        };
        let best = match (beside, together) {
            (Some(beside), Some(together)) if together.price < beside.price => together,
            (Some(beside), _) => beside,
            (None, Some(together)) => together,
            (None, None) => return self.scattered(state, &open, at),
        };
        for (line, port) in open.iter().zip(best.ports) {
            // The limit of a site was looked at port by port only.
            if !state.fits(*line, port) {
                let placed = |line: &&usize| state.port_of[**line] != NONE;
                let placed: Vec<usize> = open.iter().filter(placed).copied().collect();
                placed.into_iter().for_each(|line| state.take(line));
                return self.scattered(state, &open, at);
            }
            state.place(*line, port);
        }
        true
    }

    /// Gives each line of some groups that has none a port, group after group.
    pub fn insert_each(&mut self, state: &mut State<'_>, groups: Vec<usize>) {
        let mut known: Option<Known> = None;
        for group in groups {
            let mut open = state.field.span[group].clone().filter(|at| state.port_of[*at] == NONE);
            match (open.next(), open.next()) {
                (None, _) => {}
                (Some(line), None) if self.blink == 0 => self.alike(state, line, &mut known),
                _ => {
                    known = None;
                    self.insert(state, group, &Where::All);
                }
            }
        }
    }

    /// The best port for a line by itself, as [`Self::single`] finds it anywhere. After a line like
    /// it, only the site that got that line can have changed.
    fn alike(&mut self, state: &mut State<'_>, line: usize, known: &mut Option<Known>) {
        let field = state.field;
        let sites = &field.by_site[field.lines[line].class];
        let same = known.take().filter(|known| field.are_alike(known.line, line));
        let mut now = same.unwrap_or_else(|| Known {
            line,
            best: vec![None; sites.len()],
            stale: (0..sites.len()).collect(),
        });
        self.steps += field.accepting[field.lines[line].class].len() as u64;
        let steps = self.steps;
        for at in std::mem::take(&mut now.stale) {
            now.best[at] = self.best_of(state, line, sites[at].1.clone(), None);
        }
        self.steps = steps;
        // Of equal prices the first counts.
        let found = now.best.iter().enumerate().filter_map(|(at, best)| Some((at, (*best)?)));
        if let Some((at, (_, port))) = found.min_by_key(|(_, (price, _))| *price) {
            state.place(line, port);
            now.stale.push(at);
        }
        *known = Some(now);
    }

    fn blinks(&mut self) -> bool {
        self.blink > 0 && self.random.below(1024) < self.blink
    }

    /// The stretches of a class's ports to look at.
    fn look(&mut self, state: &State<'_>, class: usize, at: &Where<'_>, reach: usize) {
        self.windows.clear();
        let ports = &state.field.accepting[class];
        let Where::Near(near, more) = at else {
            self.windows.push(0..ports.len());
            return;
        };
        if ports.len() <= near.len() * (reach + 1) + more {
            self.windows.push(0..ports.len());
            return;
        }
        for port in *near {
            let place = ports.partition_point(|one| one < port);
            let from = place.saturating_sub(reach);
            let from = self.windows.last().map_or(from, |last| from.max(last.end));
            let to = (place + 1).min(ports.len());
            if from < to {
                self.windows.push(from..to);
            }
        }
        let from = self.random.below(ports.len());
        self.windows.push(from..(from + more).min(ports.len()));
    }

    /// The best port for a line by itself.
    fn single(&mut self, state: &mut State<'_>, line: usize, at: &Where<'_>) -> bool {
        let class = state.field.lines[line].class;
        self.look(state, class, at, 0);
        let mut best: Option<(i64, u32)> = None;
        for window in std::mem::take(&mut self.windows) {
            best = self.best_of(state, line, window, best);
        }
        if best.is_none() && matches!(at, Where::Near(..)) {
            let all = 0..state.field.accepting[class].len();
            best = self.best_of(state, line, all, best);
        }
        match best {
            Some((_, port)) => state.place(line, port),
            None => return false,
        }
        true
    }

    fn best_of(
        &mut self,
        state: &State<'_>,
        line: usize,
        window: Range<usize>,
        mut best: Option<(i64, u32)>,
    ) -> Option<(i64, u32)> {
        let ports = &state.field.accepting[state.field.lines[line].class];
        // Of empty ports that are alike and come out at one place, one is enough.
        let mut empty = (NONE, 0, 0, 0);
        // Of ports on one site that were in use before, too, unless chance passes over some.
        let mut seen = Vec::with_capacity(MOST_SEEN);
        let home = state.field.lines[line].home;
        for &port in &ports[window] {
            self.steps += 1;
            let (at, hung) = (state.field.port(port), &state.hung[port as usize]);
            if hung.lines.is_empty() && !at.used {
                let alike = (0, at.site, at.place, at.look);
                let same = std::mem::replace(&mut empty, alike) == alike;
                if same && home != Some(port as usize) {
                    continue;
                }
            }
            if hung.lines.is_empty() && home != Some(port as usize) && self.blink == 0 {
                let alike = (at.site, at.place, at.look, at.used, at.kept, hung.kind, hung.slots);
                if seen.contains(&alike) {
                    continue;
                }
                if seen.len() == MOST_SEEN || seen.first().is_some_and(|one| one.0 != at.site) {
                    seen.clear();
                }
                seen.push(alike);
            }
            if !state.fits(line, port) || self.blinks() {
                continue;
            }
            let price = state.extra(line, port, (0, 0, 0));
            if best.is_none_or(|(known, _)| price < known) {
                best = Some((price, port));
            }
        }
        best
    }

    /// The best ports that stand side by side, in the order of the lines; several may share one.
    fn side_by_side(&mut self, state: &State<'_>, lines: &[usize], at: &Where<'_>) -> Option<Way> {
        let class = state.field.lines[*lines.first()?].class;
        self.look(state, class, at, lines.len() - 1);
        let mut best: Option<Way> = None;
        for window in std::mem::take(&mut self.windows) {
            for place in window {
                let first = state.field.accepting[class][place];
                if self.blinks() {
                    continue;
                }
                self.stack.clear();
                self.run(state, lines, Turn { port: first, more: (0, 0, 0), price: 0 }, &mut best);
            }
        }
        best
    }

    /// Tries the next line of a run on a port.
    fn run(
        &mut self,
        state: &State<'_>,
        lines: &[usize],
        Turn { port, more, price }: Turn,
        best: &mut Option<Way>,
    ) -> bool {
        let Some(&line) = lines.get(self.stack.len()) else {
            if best.as_ref().is_none_or(|way| price < way.price) {
                let ports = self.stack.clone();
                *best = Some(Way { price, ports });
            }
            return true;
        };
        self.steps += 1;
        if !state.fits_beside(line, port, more) {
            return false;
        }
        let price = price.saturating_add(state.extra(line, port, more));
        let what = state.field.lines[line];
        let more = (
            more.0 + what.size,
            more.1.saturating_add(what.draw),
            more.2.saturating_add(what.slots),
        );
        self.stack.push(port);
        let depth = self.stack.len();
        let shared =
            depth < lines.len() && self.run(state, lines, Turn { port, more, price }, best);
        self.stack.truncate(depth);
        let mut found = shared;
        if depth == lines.len() {
            found = self.run(state, lines, Turn { port, more, price }, best);
        } else if !shared || lines.len() <= MOST_PATTERNS {
            let next = port + 1;
            if (next as usize) < state.hung.len() && state.field.neighbours(port, next) {
                found |= self.run(state, lines, Turn { port: next, more: (0, 0, 0), price }, best);
            }
        }
        self.stack.truncate(depth - 1);
        found
    }

    /// The best ports on one site, wherever they stand there.
    fn together(&mut self, state: &mut State<'_>, lines: &[usize], at: &Where<'_>) -> Option<Way> {
        let field = state.field;
        let class = field.lines[*lines.first()?].class;
        let mut order = lines.to_vec();
        order.sort_by_key(|line| std::cmp::Reverse(field.lines[*line].size));
        let mut best: Option<Way> = None;
        for (site, _) in &field.by_site[class] {
            if let Where::Near(near, _) = at
                && !near.iter().any(|port| field.port(*port).site == *site)
                && self.random.below(8) > 0
            {
                continue;
            }
            let before = state.price();
            let placed = order.iter().take_while(|line| self.on_site(state, **line, *site)).count();
            if placed == order.len() {
                // Placing a line also saves the price of a missing one: that is added back.
                let missing = (order.len() as i64) * 4_000_000 * super::state::PORT;
                let price = state.price() - before + missing;
                if best.as_ref().is_none_or(|way| price < way.price) {
                    let ports = lines.iter().map(|line| state.port_of[*line]).collect();
                    best = Some(Way { price, ports });
                }
            }
            for line in order.iter().take(placed) {
                state.take(*line);
            }
        }
        best
    }

    fn on_site(&mut self, state: &mut State<'_>, line: usize, site: usize) -> bool {
        let class = state.field.lines[line].class;
        let sites = &state.field.by_site[class];
        let Ok(found) = sites.binary_search_by_key(&site, |(site, _)| *site) else {
            return false;
        };
        let window = sites[found].1.clone();
        match self.best_of(state, line, window, None) {
            Some((_, port)) => state.place(line, port),
            None => return false,
        }
        true
    }

    /// Each line wherever there is room, the largest first.
    fn scattered(&mut self, state: &mut State<'_>, lines: &[usize], at: &Where<'_>) -> bool {
        let mut order = lines.to_vec();
        order.sort_by_key(|line| std::cmp::Reverse(state.field.lines[*line].size));
        let mut all = true;
        for line in order {
            all &= self.single(state, line, at);
        }
        all
    }
}
