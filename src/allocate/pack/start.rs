//! First answers: groups one after another, first fit and best fit decreasing, and patterns.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::Order;
use super::bins;
use super::fill;
use super::insert::{Inserter, Where};
use super::state::{Field, NONE, State};
use std::cmp::Reverse;
use std::collections::BTreeMap;

/// Of what a dive leaves, at most this many sizes are completed port by port.
const FEW: usize = 120;

/// With more pairs of a line and a port than this, only two starts and the patterns are tried.
const PAIRS: usize = 20_000_000;

/// The order in which groups are put in: those with several lines first, or all by largest line.
fn by_size(field: &Field<'_>, several_first: bool) -> Vec<usize> {
    let mut order: Vec<usize> = (0..field.span.len()).collect();
    let share = |line: usize| {
        let ports = &field.accepting[field.lines[line].class];
        let rooms = ports.first().and_then(|port| field.room(line, *port));
        rooms.map_or(0, |room| {
            let what = field.lines[line];
            let nodes = u128::from(what.size) * 1_000_000 / u128::from(room.nodes.max(1));
            let current = u128::from(what.draw) * 1_000_000 / u128::from(room.current.max(1));
            nodes.max(current)
        })
    };
    order.sort_by_cached_key(|&group| {
        let span = field.span[group].clone();
        let largest = span.clone().map(share).max().unwrap_or(0);
        let several = several_first && span.len() > 1;
        let all: u128 = if several { span.map(share).sum() } else { largest };
        (Reverse(several), Reverse(all), group)
    });
    order
}

/// The groups one after another, each where it costs least.
pub fn greedy<'a>(field: &'a Field<'a>, several_first: bool, inserter: &mut Inserter) -> State<'a> {
    let mut state = State::new(field);
    homes(&mut state);
    fill(&mut state, several_first, inserter);
    state
}

/// Puts in what has no port yet.
pub fn fill(state: &mut State<'_>, several_first: bool, inserter: &mut Inserter) {
    inserter.insert_each(state, by_size(state.field, several_first));
}

/// Leaves lines on the port that they hang on; those that cost most to move come first.
pub fn homes(state: &mut State<'_>) {
    let field = state.field;
    let home = |line: &usize| field.lines[*line].home.is_some();
    let mut lines: Vec<usize> = (0..field.lines.len()).filter(home).collect();
    lines.sort_by_key(|line| (Reverse(field.lines[*line].plugs), *line));
    for line in lines {
        if let Some(port) = field.lines[line].home
            && state.fits(line, port as u32)
        {
            state.place(line, port as u32);
        }
    }
}

/// Which closed port is opened where none in use takes a line.
#[derive(Clone, Copy, PartialEq, Eq)]
pub enum Opening {
    /// The widest.
    Widest,
    /// The tightest.
    Tightest,
    /// The first.
    First,
    /// The first, even where a later one in use takes the line.
    Early,
}

/// Group by group, the largest line first, each group on the first site that takes all of it: onto
/// the first port with room or, with `best`, onto the one with the least left.
pub fn decreasing<'a>(
    field: &'a Field<'a>,
    best: bool,
    opening: Opening,
    steps: &mut u64,
) -> State<'a> {
    let mut state = State::new(field);
    homes(&mut state);
    let mut fit = Fit::new(field, best, opening);
    let mut groups: Vec<usize> = (0..field.span.len()).collect();
    groups.sort_by_cached_key(|group| {
        let lines = &field.lines[field.span[*group].clone()];
        let largest = lines.iter().map(|line| (line.size.max(1), line.draw));
        (Reverse(largest.max()), *group)
    });
    for group in groups {
        fit.place(&mut state, group);
    }
    *steps += fit.steps;
    state
}

/// First fit or best fit.
#[derive(Clone, Copy)]
struct Choice {
    best: bool,
    /// Whether a port may be opened where a later one in use takes the line.
    early: bool,
}

/// Fits group after group.
struct Fit {
    choice: Choice,
    /// The ports by class in the order in which they are looked at, and those of each site.
    all: Vec<Vec<u32>>,
    by_site: Vec<BTreeMap<usize, Vec<u32>>>,
    steps: u64,
    /// What is known from the last line placed anywhere, and from the last that began a group.
    last: Option<Full>,
    last_beside: Option<Full>,
}

/// A line, and how many ports come before the first with room for it. Ports only fill up, so a line
/// like it skips those.
#[derive(Clone, Copy)]
struct Full {
    line: usize,
    ports: usize,
}

impl Full {
    /// How many ports a line need not look at.
    fn before(known: Option<Self>, field: &Field<'_>, line: usize) -> usize {
        let alike = |known: &Self| field.lines[known.line] == field.lines[line];
        known.filter(alike).map_or(0, |known| known.ports)
    }
}

impl Fit {
    fn new(field: &Field<'_>, best: bool, opening: Opening) -> Self {
        let orders = (0..field.accepting.len()).map(|class| {
            let room = |port: &u32| field.instance.looks[field.port(*port).look][class];
            let mut ports = field.accepting[class].clone();
            match opening {
                Opening::Widest => ports.sort_by_key(|port| Reverse(room(port))),
                Opening::Tightest => ports.sort_by_key(room),
                Opening::First | Opening::Early => {}
            }
            ports
        });
        let mut fit = Fit {
            choice: Choice { best, early: opening == Opening::Early },
            all: orders.collect(),
            by_site: Vec::new(),
            steps: 0,
            last: None,
            last_beside: None,
        };
        for ports in &fit.all {
            let mut sites: BTreeMap<usize, Vec<u32>> = BTreeMap::new();
            for port in ports {
                sites.entry(field.port(*port).site).or_default().push(*port);
            }
            fit.by_site.push(sites);
        }
        fit
    }

    /// Puts a group on the first ports where it stands side by side, sharing those that it can.
    fn beside(&mut self, state: &mut State<'_>, group: usize) -> bool {
        let field = state.field;
        let span = field.span[group].clone();
        let ports = &field.accepting[field.lines[span.start].class];
        let from = Full::before(self.last_beside, field, span.start);
        self.steps += from as u64;
        let full =
            &mut self.last_beside.insert(Full { line: span.start, ports: ports.len() }).ports;
        for (at, &first) in ports.iter().enumerate().skip(from) {
            let mut port = first;
            let all = span.clone().all(|line| {
                self.steps += 1;
                let next = port + 1;
                let start = line == span.start;
                if !state.fits(line, port) {
                    let beside = (next as usize) < state.hung.len() && field.neighbours(port, next);
                    if start || !beside || !state.fits(line, next) {
                        return false;
                    }
                    port = next;
                }
                *full = at.min(*full);
                state.place(line, port);
                true
            });
            if all {
                return true;
            }
            for line in span.clone() {
                if state.port_of[line] != NONE {
                    state.take(line);
                }
            }
        }
        false
    }

    fn place(&mut self, state: &mut State<'_>, group: usize) {
        let field = state.field;
        let span = field.span[group].clone();
        let mut lines: Vec<usize> = span.filter(|line| state.port_of[*line] == NONE).collect();
        lines.sort_by_key(|line| Reverse(field.lines[*line].size));
        let several = lines.len() > 1 && lines.len() == field.span[group].len();
        if let (true, Some(first)) = (several, lines.first()) {
            if field.instance.order == Order::Neighbours && self.beside(state, group) {
                return;
            }
            for (site, _) in &field.by_site[field.lines[*first].class] {
                let all = lines.iter().all(|line| {
                    let ports = self.by_site[field.lines[*line].class].get(site);
                    let ports = ports.map_or(&[][..], Vec::as_slice);
                    let port = port(state, *line, ports, self.choice, &mut self.steps);
                    port.map(|(_, port)| state.place(*line, port)).is_some()
                });
                if all {
                    return;
                }
                for line in &lines {
                    if state.port_of[*line] != NONE {
                        state.take(*line);
                    }
                }
            }
        }
        for line in lines {
            let ports = &self.all[field.lines[line].class];
            let from = Full::before(self.last, field, line);
            self.steps += from as u64;
            let found = port(state, line, &ports[from..], self.choice, &mut self.steps);
            let full = found.map_or(ports.len(), |(first, _)| from + first);
            self.last = Some(Full { line, ports: full });
            if let Some((_, port)) = found {
                state.place(line, port);
            }
        }
    }
}

/// Whether there are so many lines and ports that not every pair is looked at.
pub fn large(field: &Field<'_>) -> bool {
    field.lines.len() * field.instance.ports.len() > PAIRS
}

/// The first of some ports that takes a line or, with `best`, the one in use with the least left.
/// Also how many ports come before the first with room.
fn port(
    state: &State<'_>,
    line: usize,
    ports: &[u32],
    choice: Choice,
    steps: &mut u64,
) -> Option<(usize, u32)> {
    let field = state.field;
    let mut first = None;
    let mut closed = None;
    let mut found: Option<(u64, u32)> = None;
    for (at, &port) in ports.iter().enumerate() {
        *steps += 1;
        let hung = &state.hung[port as usize];
        if hung.lines.is_empty() && !field.port(port).used {
            if closed.is_none() && state.fits(line, port) {
                closed = Some(port);
                first.get_or_insert(at);
                if choice.early {
                    break;
                }
            }
            continue;
        }
        if !state.fits(line, port) {
            continue;
        }
        first.get_or_insert(at);
        let left = field.room(line, port).map_or(0, |room| room.nodes) - hung.nodes;
        if found.is_none_or(|(known, _)| left < known) {
            found = Some((left, port));
        }
        if !choice.best {
            break;
        }
    }
    first.zip(found.map(|(_, port)| port).or(closed))
}

/// Packs groups of one line by patterns, kind by kind, onto the ports of the commonest room.
pub fn patterns<'a>(
    field: &'a Field<'a>,
    inserter: &mut Inserter,
    steps: u64,
) -> Option<State<'a>> {
    let mut state = State::new(field);
    homes(&mut state);
    let singles = |class: usize| {
        let one = |span: &&std::ops::Range<usize>| span.len() == 1;
        let lines = field.span.iter().filter(one).map(|span| span.start);
        let mine = move |line: &usize| {
            let what = field.lines[*line];
            what.class == class && what.home.is_none() && what.draw == 0 && !what.alone
        };
        lines.filter(mine).collect::<Vec<usize>>()
    };
    let several: Vec<usize> = by_size(field, true);
    let mut fit = large(field).then(|| Fit::new(field, true, Opening::Widest));
    for group in several.into_iter().filter(|group| field.span[*group].len() > 1) {
        match &mut fit {
            Some(fit) => fit.place(&mut state, group),
            None => {
                inserter.insert(&mut state, group, &Where::All);
            }
        }
    }
    inserter.steps += fit.map_or(0, |fit| fit.steps);
    let classes: Vec<(usize, Vec<usize>)> =
        (0..field.accepting.len()).map(|class| (class, singles(class))).collect();
    let all: usize = classes.iter().map(|(_, lines)| lines.len()).sum();
    if all < 12 {
        return None;
    }
    for (class, lines) in classes.iter().filter(|(_, lines)| lines.len() >= 12) {
        let share = steps / all as u64 * lines.len() as u64;
        inserter.steps += pattern(&mut state, *class, lines, share);
    }
    fill(&mut state, true, inserter);
    Some(state)
}

/// The commonest room of free ports, as long as it is not too wide for tables of every fill.
fn commonest(state: &State<'_>, class: usize) -> Option<u64> {
    let field = state.field;
    let mut rooms: BTreeMap<u64, usize> = BTreeMap::new();
    for port in &field.accepting[class] {
        let room = field.instance.looks[field.port(*port).look][class];
        if let Some(room) = room
            && state.hung[*port as usize].lines.is_empty()
            && !field.port(*port).used
        {
            *rooms.entry(room.nodes).or_default() += 1;
        }
    }
    let most = rooms.into_iter().max_by_key(|(room, count)| (*count, *room))?;
    (most.0 <= 8_192).then_some(most.0)
}

fn pattern(state: &mut State<'_>, class: usize, lines: &[usize], steps: u64) -> u64 {
    let field = state.field;
    let Some(room) = commonest(state, class) else {
        return 0;
    };
    let mut by_size: BTreeMap<u64, Vec<usize>> = BTreeMap::new();
    for &line in lines.iter().rev().filter(|line| (1..=room).contains(&field.lines[**line].size)) {
        by_size.entry(field.lines[line].size).or_default().push(line);
    }
    let sizes: Vec<u64> =
        by_size.iter().flat_map(|(size, lines)| lines.iter().map(|_| *size)).collect();
    let packed = bins::pack(&sizes, room, steps, &mut |some, steps| {
        // While much is left, its programme packs it better.
        match some.len() > FEW && some.len() < sizes.len() {
            true => some.iter().map(|size| vec![*size]).collect(),
            false => fill::complete(some, room, steps),
        }
    });
    let mut bins = packed.bins;
    bins.sort_by_key(|bin| Reverse(bin.iter().sum::<u64>()));
    for bin in bins {
        let mut its = Vec::new();
        for size in &bin {
            its.extend(by_size.get_mut(size).and_then(Vec::pop));
        }
        let free = |port: &&u32| {
            let at = field.port(**port);
            let same = field.instance.looks[at.look][class].is_some_and(|one| one.nodes == room);
            same && !at.used && !at.kept && state.hung[**port as usize].lines.is_empty()
        };
        let mut last = usize::MAX;
        let ports = field.accepting[class].iter().filter(free);
        let ports = ports.filter(|port| {
            let place = field.port(**port).place;
            std::mem::replace(&mut last, place) != place
        });
        let lead = |port: &&u32| its.iter().map(|line| field.lead(*line, **port)).sum::<u64>();
        let Some(port) = ports.min_by_key(lead).copied() else {
            continue;
        };
        for line in its {
            if state.fits(line, port) {
                state.place(line, port);
            }
        }
    }
    packed.steps
}
