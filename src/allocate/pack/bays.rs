//! Moves whole groups between bays, each packed anew: fewer ports, then shorter leads.
//!
//! A *bay* is the free ports of a site that come out at one place: all of them, or those alike. A
//! *shelf* is the ports of a bay that are alike.
//!
//! Method: annealing. A step moves a group to another bay or swaps two. It is judged by the ports
//! that both bays then take and by leads. Ports are counted by packing them (`fill`); counts are
//! remembered by the set of groups. Whether lines stand side by side does not count here.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::fill::{Packer, Shelf};
use super::random::{Random, Thresholds, mix};
use super::state::{Field, NONE, State};
use super::{Instance, Load, Order};
use std::collections::BTreeMap;

/// How many sets of groups are remembered.
const MEMORY: usize = 1 << 16;

/// What each port that a bay lacks costs, in ports.
const LACKING: u64 = 64;

/// Stages of falling heat.
const STAGES: u32 = 200;

/// Two courses: a port's worth, first and last heat, all in leads; share of the steps in
/// twentieths.
const COURSES: [(f64, f64, f64, u64); 2] = [(50.0, 10.0, 0.1, 11), (10_000.0, 5.0, 0.02, 9)];

/// Improves a state by moving groups between bays; whether groups are side by side does not count.
/// Also returns whether it did.
pub fn anneal<'a>(
    state: State<'a>,
    joined: bool,
    steps: u64,
    bound: u64,
    used: &mut u64,
) -> (State<'a>, bool) {
    let order = state.field.instance.order;
    let Some(mut search) = Search::new(&state, joined) else {
        return (state, false);
    };
    let near = search.near();
    let mut random = Random::new(11);
    // With few groups, three rounds, each from the best so far with other random numbers.
    let turns = if search.units.len() < 100 { 3 } else { 1 };
    for (port, hot, cold, share) in COURSES.repeat(turns) {
        let port = if order == Order::Leads { 0.01 } else { port };
        let course = [port, hot, cold].map(|part| part * near);
        let steps = steps * share / 20 / turns as u64;
        search.run(course, steps, bound, &mut random);
    }
    *used += search.steps;
    let Some(other) = search.realize(&state) else {
        return (state, false);
    };
    let key = |state: &State<'_>| {
        let mut measure = state.measure;
        measure.apart = 0;
        measure.key(order)
    };
    match key(&other) < key(&state) {
        true => (other, true),
        false => (state, false),
    }
}

/// Free ports of a site that come out at one place.
struct Bay {
    site: usize,
    /// Its ports; those that are alike share a shelf.
    shelves: Vec<Shelf>,
    /// The most nodes that a port takes, by kind.
    widest: Vec<u64>,
    /// Groups in it, their nodes by kind, and the hash of their set.
    members: Vec<u32>,
    load: Vec<u64>,
    hash: u64,
    /// Ports and slots that they take.
    cost: (u64, u64),
}

/// A group that can move.
struct Unit {
    group: usize,
    bay: usize,
    /// Its place among the members of the bay.
    place: usize,
    hash: u64,
    kind: usize,
    load: u64,
    /// Bays that take it, the nearest first.
    bays: Vec<u32>,
}

impl Bay {
    /// Adds a free port.
    fn add(&mut self, index: usize, instance: &Instance) {
        let look = instance.ports[index].look;
        if let Some(shelf) = self.shelves.iter_mut().find(|shelf| shelf.look == look) {
            shelf.ports.push(index as u32);
            return;
        }
        let rooms = instance.looks[look].clone();
        for (room, kind) in rooms.iter().zip(&instance.kinds) {
            let nodes = room.map_or(0, |room| room.nodes);
            self.widest[*kind] = nodes.max(self.widest[*kind]);
        }
        self.shelves.push(Shelf { look, rooms, ports: vec![index as u32] });
    }

    fn ports(&self) -> u64 {
        self.shelves.iter().map(|shelf| shelf.ports.len() as u64).sum()
    }
}

struct Search<'a> {
    field: &'a Field<'a>,
    bays: Vec<Bay>,
    units: Vec<Unit>,
    /// Slots of each site.
    slots: Vec<u64>,
    /// Ports opened by what does not move.
    others: u64,
    ports: u64,
    lead: u64,
    /// The least ports and lead seen, with the bay of each unit.
    best: (u64, u64, Vec<usize>),
    memory: Vec<(u64, (u64, u64))>,
    steps: u64,
    packer: Packer<'a>,
}

impl<'a> Search<'a> {
    /// `None` where no group can move, or evenness comes first.
    fn new(state: &State<'a>, joined: bool) -> Option<Self> {
        let field = state.field;
        if field.instance.order == Order::Even {
            return None;
        }
        let stays = staying(state, joined);
        let mut search = Self {
            field,
            bays: Vec::new(),
            units: Vec::new(),
            slots: state.slots.clone(),
            others: state.measure.ports,
            ports: 0,
            lead: 0,
            best: (u64::MAX, u64::MAX, Vec::new()),
            memory: vec![(0, (0, 0)); MEMORY],
            steps: 0,
            packer: Packer::new(field),
        };
        let bay_of = search.add_bays(state, joined, &stays);
        for (group, span) in field.span.iter().enumerate() {
            let port = state.port_of[span.start..].first().copied().unwrap_or(NONE);
            if !span.is_empty() && port != NONE && !stays[port as usize] {
                search.add_unit(group, bay_of[port as usize]);
            }
        }
        for bay in 0..search.bays.len() {
            search.count(bay);
        }
        search.keep();
        let movable = search.units.iter().any(|unit| unit.bays.len() > 1);
        movable.then_some(search)
    }

    /// Collects the ports that do not stay into bays; the bay of each port.
    fn add_bays(&mut self, state: &State<'a>, joined: bool, stays: &[bool]) -> Vec<usize> {
        let instance = self.field.instance;
        let mut known: BTreeMap<(usize, usize, usize), usize> = BTreeMap::new();
        let mut bay_of = vec![usize::MAX; stays.len()];
        for (index, port) in instance.ports.iter().enumerate() {
            if stays[index] {
                continue;
            }
            let next = self.bays.len();
            let bay = *known.entry(bay_at(instance, joined, index)).or_insert(next);
            if bay == next {
                let kinds = instance.kinds.iter().max().map_or(0, |kind| kind + 1);
                self.bays.push(Bay {
                    site: port.site,
                    shelves: Vec::new(),
                    widest: vec![0; kinds],
                    members: Vec::new(),
                    load: vec![0; kinds],
                    hash: mix(next as u64),
                    cost: (0, 0),
                });
            }
            self.bays[bay].add(index, instance);
            bay_of[index] = bay;
            let hung = &state.hung[index];
            self.slots[port.site] -= self.field.slots(port.site, hung.slots);
            self.others -= u64::from(!hung.lines.is_empty());
        }
        bay_of
    }

    fn add_unit(&mut self, group: usize, bay: usize) {
        let lines = &self.field.lines[self.field.span[group].clone()];
        let class = lines[0].class;
        let fits = |bay: &Bay| lines.iter().all(|line| bay.shelves.iter().any(|it| it.takes(line)));
        let of = |hash: u64, line: &&Load| {
            mix(hash ^ mix(line.size) ^ mix(!line.draw) ^ mix(line.slots << 20 ^ class as u64))
        };
        let bays = (0..self.bays.len()).filter(|bay| fits(&self.bays[*bay]));
        let mut unit = Unit {
            group,
            bay,
            place: self.bays[bay].members.len(),
            hash: lines.iter().fold(0, of),
            kind: self.field.instance.kinds[class],
            load: lines.iter().map(|line| line.size).sum(),
            bays: bays.map(|bay| bay as u32).collect(),
        };
        let lead = |bay: &u32| self.lead_at(group, *bay as usize);
        unit.bays.sort_by_cached_key(|bay| (lead(bay), *bay));
        self.lead += self.lead_at(group, bay);
        let its = &mut self.bays[bay];
        its.members.push(self.units.len() as u32);
        its.hash = its.hash.wrapping_add(unit.hash);
        its.load[unit.kind] += unit.load;
        self.units.push(unit);
    }

    /// The lead of all lines of a group to a bay.
    fn lead_at(&self, group: usize, bay: usize) -> u64 {
        let span = &self.field.span[group];
        let lead = self.field.lead(span.start, self.bays[bay].shelves[0].ports[0]);
        lead * span.len() as u64
    }

    /// How much further the second nearest bay is than the nearest, on average.
    fn near(&self) -> f64 {
        let (mut sum, mut count) = (0, 0_u64);
        for unit in &self.units {
            if let [nearest, next, ..] = unit.bays[..] {
                let lead = |bay: u32| self.lead_at(unit.group, bay as usize);
                sum += lead(next) - lead(nearest);
                count += 1;
            }
        }
        (sum as f64 / count.max(1) as f64).max(1.0)
    }

    fn keep(&mut self) {
        let mut bays = std::mem::take(&mut self.best.2);
        bays.clear();
        bays.extend(self.units.iter().map(|unit| unit.bay));
        self.best = (self.ports, self.lead, bays);
    }

    /// Counts a bay anew.
    fn count(&mut self, bay: usize) {
        let cost = self.cost(bay, NONE, NONE);
        let own = &mut self.bays[bay];
        let before = std::mem::replace(&mut own.cost, cost);
        self.slots[own.site] = self.slots[own.site] - before.1 + cost.1;
        self.ports = self.ports - before.0 + cost.0;
    }

    /// Anneals; `course` is what a port is worth, and the heat at first and at last.
    fn run(&mut self, course: [f64; 3], steps: u64, bound: u64, random: &mut Random) {
        let [port, hot, cold] = course;
        let thresholds = Thresholds::new();
        let ratio = root(cold / hot, STAGES);
        let nearest = self.units.iter().map(|unit| self.lead_at(unit.group, unit.bays[0] as usize));
        let enough = (bound.saturating_sub(self.others), nearest.sum::<u64>());
        let (begin, mut heat) = (self.steps, hot);
        for stage in 1..=STAGES {
            let end = begin + steps / u64::from(STAGES) * u64::from(stage);
            while self.steps < end && (self.best.0 > enough.0 || self.best.1 > enough.1) {
                self.steps += 10;
                let allowed = heat * thresholds.draw(random);
                let changed = self.turn(port, allowed, random);
                if changed && (self.ports, self.lead) < (self.best.0, self.best.1) {
                    self.keep();
                }
            }
            heat *= ratio;
        }
        for (unit, bay) in self.best.2.clone().into_iter().enumerate() {
            self.relocate(unit, bay);
        }
        (0..self.bays.len()).for_each(|bay| self.count(bay));
    }

    /// Moves a group, or swaps two, where that is not too much worse.
    fn turn(&mut self, port: f64, allowed: f64, random: &mut Random) -> bool {
        let index = random.below(self.units.len());
        let unit = &self.units[index];
        let (from, group) = (unit.bay, unit.group);
        let lead_at = |unit: &Unit, bay: usize| self.lead_at(unit.group, bay) as f64;
        let mut reach = unit.bays.len();
        let far = unit.bays[reach - 1] as usize;
        if self.lead_at(group, unit.bays[0] as usize) < self.lead_at(group, far) {
            reach = 1 + random.below(reach);
            reach = 1 + random.below(reach);
        }
        let to = unit.bays[random.below(reach)] as usize;
        if to == from {
            return false;
        }
        let mut lead = lead_at(unit, to) - lead_at(unit, from);
        let mut other = NONE;
        let members = &self.bays[to].members;
        if random.below(4) > 0 && !members.is_empty() {
            other = members[random.below(members.len())];
            let back = &self.units[other as usize];
            if !back.bays.contains(&(from as u32)) {
                return false;
            }
            lead += lead_at(back, from) - lead_at(back, to);
        }
        if lead - 2.0 * port > allowed {
            return false;
        }
        let alike = self.units.get(other as usize).is_some_and(|other| other.hash == unit.hash);
        let judge = |ports: i64| lead + ports as f64 * port <= allowed;
        if alike && !judge(0) || !alike && !self.exchange((from, index as u32), (to, other), &judge)
        {
            return false;
        }
        self.relocate(index, to);
        if other != NONE {
            self.relocate(other as usize, from);
        }
        true
    }

    /// Counts two bays after they exchange groups, each with the one that leaves it; false, with
    /// nothing changed, where that is worse than `judge` allows or a site has too few slots.
    fn exchange(
        &mut self,
        (from, one): (usize, u32),
        (to, other): (usize, u32),
        judge: &dyn Fn(i64) -> bool,
    ) -> bool {
        let (here, there) = (self.bays[from].cost, self.bays[to].cost);
        let change = |ports: u64| ports as i64 - (here.0 + there.0) as i64;
        let least = self.least(to, one, other);
        if !judge(change(self.least(from, other, one) + least)) {
            return false;
        }
        let left = self.cost(from, other, one);
        if !judge(change(left.0 + least)) {
            return false;
        }
        let come = self.cost(to, one, other);
        if !judge(change(left.0 + come.0)) {
            return false;
        }
        let mut slots = self.slots.clone();
        for (bay, before, after) in [(from, here, left), (to, there, come)] {
            let site = self.bays[bay].site;
            slots[site] = slots[site] - before.1 + after.1;
        }
        for site in [self.bays[from].site, self.bays[to].site] {
            let limit = self.field.instance.sites[site].limit;
            if slots[site] > limit && slots[site] > self.slots[site] {
                return false;
            }
        }
        self.slots = slots;
        self.ports = self.ports + left.0 + come.0 - here.0 - there.0;
        (self.bays[from].cost, self.bays[to].cost) = (left, come);
        true
    }

    fn relocate(&mut self, index: usize, to: usize) {
        let (from, group) = (self.units[index].bay, self.units[index].group);
        self.lead = self.lead + self.lead_at(group, to) - self.lead_at(group, from);
        let unit = &mut self.units[index];
        let place = std::mem::replace(&mut unit.place, self.bays[to].members.len());
        let (hash, kind, load) = (unit.hash, unit.kind, unit.load);
        if from == to {
            unit.place = place;
            return;
        }
        unit.bay = to;
        let bay = &mut self.bays[from];
        bay.members.swap_remove(place);
        bay.hash = bay.hash.wrapping_sub(hash);
        bay.load[kind] -= load;
        if let Some(&moved) = bay.members.get(place) {
            self.units[moved as usize].place = place;
        }
        let bay = &mut self.bays[to];
        bay.members.push(index as u32);
        bay.hash = bay.hash.wrapping_add(hash);
        bay.load[kind] += load;
    }

    /// A lower bound for the ports of a bay with one group more and one less.
    fn least(&self, bay: usize, more: u32, less: u32) -> u64 {
        let bay = &self.bays[bay];
        let part = |unit: u32, kind: usize| match self.units.get(unit as usize) {
            Some(unit) if unit.kind == kind => unit.load,
            _ => 0,
        };
        let loads = bay.load.iter().zip(&bay.widest).enumerate();
        let ports = loads.map(|(kind, (load, room))| {
            let load = load + part(more, kind) - part(less, kind);
            load.div_ceil((*room).max(1))
        });
        let ports = ports.sum::<u64>();
        ports + LACKING * ports.saturating_sub(bay.ports())
    }

    /// Ports and slots that a bay takes with one group more and one less.
    fn cost(&mut self, at: usize, more: u32, less: u32) -> (u64, u64) {
        let hash_of = |unit: u32| self.units.get(unit as usize).map_or(0, |unit| unit.hash);
        let hash = self.bays[at].hash.wrapping_add(hash_of(more)).wrapping_sub(hash_of(less));
        let cell = mix(hash) as usize % MEMORY;
        if self.memory[cell].0 == hash {
            return self.memory[cell].1;
        }
        self.pack(at, more, less);
        let (bay, bins) = (&self.bays[at], &self.packer.bins);
        let ports = bins.len() as u64;
        let slots = bins.iter().map(|bin| self.field.slots(bay.site, bin.slots));
        let slots = slots.fold(0, u64::saturating_add);
        let lacking = bins.iter().filter(|bin| bin.port.is_none()).count() as u64;
        let cost = ports + LACKING * lacking;
        self.memory[cell] = (hash, (cost, slots));
        (cost, slots)
    }

    /// Packs a bay with one group more and one less.
    fn pack(&mut self, at: usize, more: u32, less: u32) {
        let least = self.least(at, more, less) % LACKING;
        let bay = &self.bays[at];
        let members = bay.members.iter().copied().filter(|unit| *unit != less);
        let members = members.chain((more != NONE).then_some(more));
        let span = |unit: u32| self.field.span[self.units[unit as usize].group].clone();
        self.packer.pack(members.flat_map(span), &bay.shelves, least);
        self.steps += std::mem::take(&mut self.packer.steps);
    }

    /// The state with every group where the search put it.
    fn realize(&mut self, state: &State<'a>) -> Option<State<'a>> {
        let mut port_of = state.port_of.clone();
        for bay in 0..self.bays.len() {
            self.pack(bay, NONE, NONE);
            for piece in &self.packer.pieces {
                port_of[piece.line] = self.packer.bins.get(piece.bin)?.port?;
            }
        }
        let mut other = state.clone();
        other.put(&port_of);
        Some(other)
    }
}

/// What the ports of a bay have in common: site, place, and the look where bays are not joined.
fn bay_at(instance: &Instance, joined: bool, port: usize) -> (usize, usize, usize) {
    let port = &instance.ports[port];
    let look = if joined { 0 } else { port.look };
    (port.site, port.place, look)
}

/// Ports that keep what they have: those in use before, those of groups that cannot move whole, and
/// those that share a port with such a group.
fn staying(state: &State<'_>, joined: bool) -> Vec<bool> {
    let field = state.field;
    let ports = &field.instance.ports;
    let busy =
        |port: &super::Socket| port.used || port.kept || port.kind.is_some() || port.slots > 0;
    let mut stays: Vec<bool> = ports.iter().map(busy).collect();
    let moves = |span: &std::ops::Range<usize>| {
        let lines = &field.lines[span.clone()];
        let mut own = state.port_of[span.clone()].iter();
        let bay = |port: u32| bay_at(field.instance, joined, port as usize);
        let first = own.clone().next().copied().unwrap_or(NONE);
        first != NONE
            && own.all(|port| *port != NONE && bay(*port) == bay(first))
            && lines
                .iter()
                .all(|line| line.class == lines[0].class && line.home.is_none() && !line.alone)
    };
    let fixed: Vec<bool> = field.span.iter().map(|span| !moves(span)).collect();
    loop {
        let mut changed = false;
        for (span, fixed) in field.span.iter().zip(&fixed) {
            let own: Vec<u32> = state.port_of[span.clone()].to_vec();
            let own = own.into_iter().filter(|port| *port != NONE);
            if *fixed || own.clone().any(|port| stays[port as usize]) {
                own.for_each(|port| changed |= !std::mem::replace(&mut stays[port as usize], true));
            }
        }
        if !changed {
            return stays;
        }
    }
}

/// The root of a number below 1, by bisection: every machine gets the same.
fn root(number: f64, root: u32) -> f64 {
    let (mut low, mut high) = (0.0_f64, 1.0_f64);
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        let power = (0..root).fold(1.0, |power, _| power * middle);
        if power < number {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
