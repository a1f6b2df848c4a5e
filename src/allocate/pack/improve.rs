//! Improves an answer: takes some groups away and puts them back, or swaps what hangs on two ports.
//!
//! Method: ruin and recreate under annealing. What is taken away hangs on a few ports that are
//! near one another, or is a few groups at random; it is put back in a random order, each group
//! where it costs least, passing over a port now and then. A worse state is kept with a chance
//! that falls with the steps. The best state by the wanted order is what counts in the end.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::insert::{Inserter, Where};
use super::random::Thresholds;
use super::state::{NONE, PORT, State};

/// With more ports than this, groups are mostly put back near the ports they left.
const WIDE: usize = 96;

/// How the search goes.
pub struct Course<'c> {
    /// Steps to spend.
    pub steps: u64,
    /// Ends the search at an answer that cannot be improved.
    pub enough: &'c dyn Fn(&State<'_>) -> bool,
    /// How much worse a state may become at first, as a price.
    pub hot: i64,
}

/// The best state that is found from a start, and whether it cannot be improved.
pub fn improve<'a>(
    start: State<'a>,
    inserter: &mut Inserter,
    course: &Course<'_>,
) -> (State<'a>, bool) {
    let order = start.field.instance.order;
    let mut search = Search {
        best: Snapshot::of(&start),
        state: start,
        marks: Vec::new(),
        undo: Vec::new(),
        near: Vec::new(),
        groups: Vec::new(),
    };
    if (course.enough)(&search.state) || search.state.field.lines.is_empty() {
        return (search.state, true);
    }
    search.marks = vec![false; search.state.field.span.len()];
    let thresholds = Thresholds::new();
    let begin = inserter.steps;
    let mut price = search.state.price();
    let mut done = false;
    while inserter.steps - begin < course.steps {
        let left = 1.0 - (inserter.steps - begin) as f64 / course.steps.max(1) as f64;
        let heat = course.hot as f64 * left * left * left;
        inserter.blink = 12;
        search.turn(inserter);
        let now = search.state.price();
        let allowed = (heat * thresholds.draw(&mut inserter.random)) as i64;
        if now > price.saturating_add(allowed) {
            search.back();
            continue;
        }
        price = now;
        if search.state.measure.key(order) < search.best.key {
            search.best = Snapshot::of(&search.state);
            if (course.enough)(&search.state) {
                done = true;
                break;
            }
        }
    }
    inserter.blink = 0;
    let best = search.best.port_of;
    search.state.put(&best);
    (search.state, done)
}

struct Snapshot {
    key: [u128; 9],
    port_of: Vec<u32>,
}

impl Snapshot {
    fn of(state: &State<'_>) -> Self {
        let order = state.field.instance.order;
        let key = state.measure.key(order);
        Self { key, port_of: state.port_of.clone() }
    }
}

impl State<'_> {
    /// Moves every line to a given port.
    pub fn put(&mut self, port_of: &[u32]) {
        for (line, port) in port_of.iter().enumerate() {
            if self.port_of[line] != NONE && self.port_of[line] != *port {
                self.take(line);
            }
        }
        for (line, port) in port_of.iter().enumerate() {
            if self.port_of[line] == NONE && *port != NONE {
                self.place(line, *port);
            }
        }
    }
}

struct Search<'a> {
    state: State<'a>,
    best: Snapshot,
    /// Groups that this turn took away.
    marks: Vec<bool>,
    /// Lines that it took away, with their ports.
    undo: Vec<(u32, u32)>,
    near: Vec<u32>,
    groups: Vec<u32>,
}

impl Search<'_> {
    fn turn(&mut self, inserter: &mut Inserter) {
        self.undo.clear();
        self.groups.clear();
        self.near.clear();
        let dice = inserter.random.below(16);
        if dice < 4 && self.swap(inserter) {
            return;
        }
        match dice {
            0..=11 => self.ruin_ports(inserter),
            _ => self.ruin_groups(inserter),
        }
        self.add_missing(inserter);
        self.near.sort_unstable();
        self.near.dedup();
        self.recreate(inserter);
    }

    /// Takes a group away.
    fn ruin(&mut self, group: u32, inserter: &mut Inserter) {
        if std::mem::replace(&mut self.marks[group as usize], true) {
            return;
        }
        self.groups.push(group);
        // Each line that comes or goes looks at all of its group.
        let count = self.state.field.span[group as usize].len() as u64;
        inserter.steps += count * count;
        for line in self.state.field.span[group as usize].clone() {
            inserter.steps += 4;
            let port = self.state.port_of[line];
            self.undo.push((line as u32, port));
            if port != NONE {
                inserter.steps += self.state.hung[port as usize].lines.len() as u64 / 16;
                self.near.push(port);
                self.state.take(line);
            }
        }
    }

    fn ruin_port(&mut self, port: u32, inserter: &mut Inserter) {
        self.near.push(port);
        for line in self.state.hung[port as usize].lines.clone() {
            self.ruin(self.state.field.group[line as usize], inserter);
        }
    }

    /// A port with something on it, rather one that is not full.
    fn some_port(&self, inserter: &mut Inserter) -> Option<u32> {
        let mut best: Option<(i64, u32)> = None;
        for _ in 0..4 {
            let line = inserter.random.below(self.state.port_of.len());
            let port = self.state.port_of[line];
            if port != NONE {
                let full = self.state.hung[port as usize].full;
                if best.is_none_or(|(known, _)| full < known) {
                    best = Some((full, port));
                }
            }
        }
        best.map(|(_, port)| port)
    }

    fn ruin_ports(&mut self, inserter: &mut Inserter) {
        let Some(first) = self.some_port(inserter) else {
            return;
        };
        let first = self.left_home(inserter).unwrap_or(first);
        self.ruin_port(first, inserter);
        let more = 1 + inserter.random.below(3);
        for _ in 0..more {
            let other = match inserter.random.below(2) {
                0 => self.some_port(inserter),
                _ => {
                    let reach = inserter.random.below(17) as u32;
                    let port = (first + reach).saturating_sub(8);
                    ((port as usize) < self.state.hung.len()).then_some(port)
                }
            };
            if let Some(port) = other {
                self.ruin_port(port, inserter);
            }
        }
    }

    /// Now and then takes away a line that is not on its home port, and gives that port.
    fn left_home(&mut self, inserter: &mut Inserter) -> Option<u32> {
        if self.state.measure.plugs.0 == 0 || inserter.random.below(2) == 0 {
            return None;
        }
        let field = self.state.field;
        let all = field.lines.len();
        let from = inserter.random.below(all);
        inserter.steps += 8;
        let away = |line: &usize| {
            let home = field.lines[*line].home;
            home.is_some_and(|home| home as u32 != self.state.port_of[*line])
        };
        let line = (from..all).chain(0..from).find(away)?;
        self.ruin(field.group[line], inserter);
        field.lines[line].home.map(|home| home as u32)
    }

    fn ruin_groups(&mut self, inserter: &mut Inserter) {
        let count = 1 + inserter.random.below(4);
        for _ in 0..count {
            let group = inserter.random.below(self.state.field.span.len());
            self.ruin(group as u32, inserter);
        }
    }

    /// Groups with a line that has no port join in.
    fn add_missing(&mut self, inserter: &mut Inserter) {
        if self.state.measure.missing == self.undo.len() as u64 {
            return;
        }
        let from = inserter.random.below(self.state.port_of.len());
        let all = self.state.port_of.len();
        let mut added = 0;
        for step in 0..all {
            let line = (from + step) % all;
            if self.state.port_of[line] == NONE {
                self.ruin(self.state.field.group[line], inserter);
                added += 1;
            }
            if added >= 4 {
                break;
            }
        }
    }

    fn recreate(&mut self, inserter: &mut Inserter) {
        let field = self.state.field;
        let size = |group: u32| {
            let span = field.span[group as usize].clone();
            field.lines[span].iter().map(|line| line.size.max(1)).sum::<u64>()
        };
        match inserter.random.below(4) {
            0 => {
                for at in (1..self.groups.len()).rev() {
                    let other = inserter.random.below(at + 1);
                    self.groups.swap(at, other);
                }
            }
            1 => {
                let largest = |group: u32| {
                    let span = field.span[group as usize].clone();
                    field.lines[span].iter().map(|line| line.size).max()
                };
                self.groups.sort_by_key(|group| (std::cmp::Reverse(largest(*group)), *group));
            }
            _ => {
                let random = &mut inserter.random;
                self.groups.sort_by_cached_key(|group| {
                    std::cmp::Reverse(size(*group) * (70 + random.below(61) as u64))
                });
            }
        }
        let near = std::mem::take(&mut self.near);
        let wide = field.instance.ports.len() > WIDE;
        let at = match wide && inserter.random.below(8) > 0 {
            true => Where::Near(&near, 24),
            false => Where::All,
        };
        for group in std::mem::take(&mut self.groups) {
            inserter.insert(&mut self.state, group as usize, &at);
            self.marks[group as usize] = false;
        }
        self.near = near;
    }

    /// Swaps what hangs on two ports, if everything fits.
    fn swap(&mut self, inserter: &mut Inserter) -> bool {
        let Some(one) = self.some_port(inserter) else {
            return false;
        };
        let ports = self.state.hung.len();
        let other = match inserter.random.below(2) {
            0 => inserter.random.below(ports) as u32,
            _ => (one + inserter.random.below(9) as u32).saturating_sub(4),
        };
        if other == one || other as usize >= ports {
            return false;
        }
        let mine = self.state.hung[one as usize].lines.clone();
        let others = self.state.hung[other as usize].lines.clone();
        let moves = |lines: &[u32], port: u32| -> Vec<(u32, u32)> {
            lines.iter().map(|line| (*line, port)).collect()
        };
        self.undo.extend(moves(&mine, one));
        self.undo.extend(moves(&others, other));
        for (line, _) in &self.undo {
            self.state.take(*line as usize);
        }
        inserter.steps += 8 * self.undo.len() as u64;
        for (line, port) in moves(&mine, other).into_iter().chain(moves(&others, one)) {
            if !self.state.fits(line as usize, port) {
                self.back();
                self.undo.clear();
                return false;
            }
            self.state.place(line as usize, port);
        }
        true
    }

    /// Undoes the turn.
    fn back(&mut self) {
        for (line, _) in &self.undo {
            if self.state.port_of[*line as usize] != NONE {
                self.state.take(*line as usize);
            }
        }
        for (line, port) in &self.undo {
            if *port != NONE {
                self.state.place(*line as usize, *port);
            }
        }
    }
}

/// The heat at the start of a search that may open a port now and then.
pub const HOT: i64 = PORT / 10;
