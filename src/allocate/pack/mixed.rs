//! Packs the lines of one site onto ports that are not alike, or exhaustively onto any.
//!
//! Method: depth first over the lines, those with the fewest ports to choose from first and then the largest; each goes to
//! a port in use with the tightest fit, then to an open port, then to a new one, of which those come first that other
//! lines need least. The first descent is best fit; the search then goes on until it has seen all or its nodes are used up.
//! Ports in the same state and equal lines are tried in one order only.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::fill::{Filling, MISSING};
use super::norm::{Norm, Shape};

/// The lines in the order in which they are placed.
#[derive(Debug, Clone)]
pub struct Order {
    lines: Vec<usize>,
    /// Kinds of port for each class, the least wanted by others first.
    choices: Vec<Vec<usize>>,
    /// Load of the class that is still to come, at each place.
    rest: Vec<u64>,
}

impl Order {
    /// Sorts the lines and, for each class, the kinds of port.
    #[must_use]
    pub fn new(norm: &Norm, shape: &Shape, lines: &[usize]) -> Self {
        let mut present = vec![false; norm.classes];
        for &line in lines {
            present[norm.lines[line].class] = true;
        }
        let wanted: Vec<usize> = shape
            .kinds
            .iter()
            .map(|kind| {
                (0..norm.classes)
                    .filter(|&class| present[class] && kind.room[class] > 0)
                    .count()
            })
            .collect();
        let choices: Vec<Vec<usize>> = (0..norm.classes)
            .map(|class| {
                let mut kinds: Vec<usize> = (0..shape.kinds.len())
                    .filter(|&kind| shape.kinds[kind].room[class] > 0)
                    .collect();
                kinds.sort_by_key(|&kind| {
                    let port = &shape.kinds[kind];
                    (
                        !port.open,
                        wanted[kind],
                        std::cmp::Reverse(port.room[class]),
                        kind,
                    )
                });
                kinds
            })
            .collect();
        let ports: Vec<usize> = choices
            .iter()
            .map(|kinds| kinds.iter().map(|&kind| shape.kinds[kind].count).sum())
            .collect();
        let mut sorted = lines.to_vec();
        sorted.sort_by_key(|&line| {
            let kind = norm.lines[line];
            (
                ports[kind.class],
                kind.class,
                std::cmp::Reverse(kind.size),
                line,
            )
        });
        let mut rest = vec![0; sorted.len()];
        let mut sum = 0;
        for place in (0..sorted.len()).rev() {
            let kind = norm.lines[sorted[place]];
            if place + 1 < sorted.len() && norm.lines[sorted[place + 1]].class != kind.class {
                sum = 0;
            }
            sum += kind.size;
            rest[place] = sum;
        }
        Self {
            lines: sorted,
            choices,
            rest,
        }
    }
}

struct Slot {
    kind: usize,
    class: usize,
    left: u64,
}

struct Search<'a> {
    norm: &'a Norm,
    shape: &'a Shape,
    order: &'a Order,
    slots: Vec<Slot>,
    used: Vec<usize>,
    slot_of: Vec<usize>,
    best: u64,
    best_slots: Vec<usize>,
    best_of: Vec<usize>,
    nodes: u64,
    steps: u64,
}

/// Above this number of lines there is one descent only, and no recursion.
const DEEP: usize = 1000;

/// No slot: the line found no port.
const NOWHERE: usize = usize::MAX;

/// The best packing found, whether the search saw everything, and the steps used.
#[must_use]
pub fn search(norm: &Norm, shape: &Shape, order: &Order, nodes: u64) -> (Filling, bool, u64) {
    let mut search = Search {
        norm,
        shape,
        order,
        slots: Vec::new(),
        used: vec![0; shape.kinds.len()],
        slot_of: vec![NOWHERE; order.lines.len()],
        best: u64::MAX,
        best_slots: Vec::new(),
        best_of: Vec::new(),
        nodes,
        steps: 0,
    };
    if order.lines.len() > DEEP {
        search.nodes = 0;
        search.best_fit();
    } else {
        search.descend(0, 0);
    }
    let mut filling = Filling {
        ports: search
            .best_slots
            .iter()
            .map(|&kind| (kind, Vec::new()))
            .collect(),
        left: Vec::new(),
    };
    for (&line, &slot) in order.lines.iter().zip(&search.best_of) {
        match filling.ports.get_mut(slot) {
            Some((_, lines)) => lines.push(line),
            None => filling.left.push(line),
        }
    }
    (filling, search.nodes > 0, search.steps)
}

impl Search<'_> {
    /// The first descent alone.
    fn best_fit(&mut self) {
        for place in 0..self.order.lines.len() {
            let line = self.norm.lines[self.order.lines[place]];
            self.steps += 1 + self.slots.len() as u64 / 4;
            let tightest = self
                .slots
                .iter()
                .enumerate()
                .filter(|(_, slot)| slot.class == line.class && slot.left >= line.size)
                .min_by_key(|(index, slot)| (slot.left, *index))
                .map(|(index, _)| index);
            let fits = |&&kind: &&usize| {
                let port = &self.shape.kinds[kind];
                self.used[kind] < port.count && port.room[line.class] >= line.size
            };
            let choices = &self.order.choices[line.class];
            let fresh = choices.iter().find(fits).copied();
            let slot = match (tightest, fresh) {
                (Some(slot), _) => slot,
                (None, Some(kind)) => {
                    self.used[kind] += 1;
                    self.slots.push(Slot {
                        kind,
                        class: line.class,
                        left: self.shape.kinds[kind].room[line.class],
                    });
                    self.slots.len() - 1
                }
                (None, None) => continue,
            };
            self.slots[slot].left -= line.size;
            self.slot_of[place] = slot;
        }
        self.best_slots = self.slots.iter().map(|slot| slot.kind).collect();
        self.best_of.clone_from(&self.slot_of);
    }

    fn descend(&mut self, place: usize, cost: u64) {
        if self.nodes == 0 && self.best < u64::MAX {
            return;
        }
        self.nodes = self.nodes.saturating_sub(1);
        self.steps += 8 + self.slots.len() as u64;
        let Some(&line) = self.order.lines.get(place) else {
            if cost < self.best {
                self.best = cost;
                self.best_slots = self.slots.iter().map(|slot| slot.kind).collect();
                self.best_of.clone_from(&self.slot_of);
            }
            return;
        };
        let kind = self.norm.lines[line];
        if cost + self.least(place, kind.class) >= self.best {
            return;
        }
        let same = place > 0 && self.order.lines[place - 1] == line;
        // an equal line before this one went to a slot: this one goes to the same or a later choice
        let floor = if same {
            self.slot_of[place - 1]
        } else {
            NOWHERE
        };
        if floor == NOWHERE && same {
            self.leave(place, cost);
            return;
        }
        let mut fits: Vec<(u64, usize)> = self
            .slots
            .iter()
            .enumerate()
            .filter(|(_, slot)| slot.class == kind.class && slot.left >= kind.size)
            .filter(|(index, _)| !same || *index >= floor)
            .map(|(index, slot)| (slot.left, index))
            .collect();
        fits.sort_unstable();
        let mut found = false;
        let mut tried: Vec<(usize, u64)> = Vec::new();
        for (left, index) in fits {
            let state = (self.slots[index].kind, left);
            // equal slots are one choice, but for lines bound to their order every slot counts
            if !same && tried.contains(&state) {
                continue;
            }
            tried.push(state);
            found = true;
            self.slots[index].left -= kind.size;
            self.slot_of[place] = index;
            self.descend(place + 1, cost);
            self.slots[index].left += kind.size;
        }
        self.open(place, cost, found);
    }

    fn open(&mut self, place: usize, cost: u64, mut found: bool) {
        let line = self.norm.lines[self.order.lines[place]];
        for choice in 0..self.order.choices[line.class].len() {
            let kind = self.order.choices[line.class][choice];
            let port = &self.shape.kinds[kind];
            if self.used[kind] >= port.count || port.room[line.class] < line.size {
                continue;
            }
            found = true;
            self.used[kind] += 1;
            self.slot_of[place] = self.slots.len();
            self.slots.push(Slot {
                kind,
                class: line.class,
                left: port.room[line.class] - line.size,
            });
            self.descend(place + 1, cost + u64::from(!port.open));
            self.slots.pop();
            self.used[kind] -= 1;
        }
        if !found {
            self.leave(place, cost);
        }
        self.slot_of[place] = NOWHERE;
    }

    fn leave(&mut self, place: usize, cost: u64) {
        self.slot_of[place] = NOWHERE;
        self.descend(place + 1, cost + u64::from(MISSING));
    }

    /// New closed ports that the rest of this class needs at least.
    fn least(&self, place: usize, class: usize) -> u64 {
        let mut rest = self.order.rest[place];
        for slot in &self.slots {
            if slot.class == class {
                rest = rest.saturating_sub(slot.left);
            }
        }
        let mut widest = 1;
        for &kind in &self.order.choices[class] {
            let port = &self.shape.kinds[kind];
            if port.open {
                let free = (port.count - self.used[kind]) as u64;
                rest = rest.saturating_sub(port.room[class].saturating_mul(free));
            } else {
                widest = widest.max(port.room[class]);
            }
        }
        rest.div_ceil(widest)
    }
}
