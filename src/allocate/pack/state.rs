//! What stands where, with its measures kept up to date as lines come and go.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::{Instance, Load, Order, Room, Socket};
use std::ops::Range;

/// No port, or no kind.
pub const NONE: u32 = u32::MAX;

/// The usual price of one opened port.
pub const PORT: i64 = 1_000_000;

/// The prices of a group that is apart and of an opened port, where ports are to be filled.
pub const TIGHT: (i64, i64) = (PORT / 2, 2 * PORT);

/// An instance prepared for the search.
pub struct Field<'a> {
    /// What is asked.
    pub instance: &'a Instance,
    /// The lines of all groups, one group after another.
    pub lines: Vec<&'a Load>,
    /// Which lines each group has.
    pub span: Vec<Range<usize>>,
    /// The group of each line.
    pub group: Vec<u32>,
    /// Ports that accept each class, ascending.
    pub accepting: Vec<Vec<u32>>,
    /// Their sites, each with its stretch of `accepting`, by class.
    pub by_site: Vec<Vec<(usize, Range<usize>)>>,
    /// What ports have left, by look and class.
    rooms: Vec<Option<Room>>,
    /// By look: whether a port has the same room for every class that it accepts.
    alike: Vec<bool>,
    /// Whether a line wants a port of its own.
    alone: bool,
    /// Look, site and place of each port, and whether it is in use.
    at: Vec<(u32, u32, u32, bool)>,
    /// Size, draw, class and kind of each line.
    what: Vec<(u64, u64, u32, u32)>,
    /// What one tenth of a metre of lead costs in the price of a state.
    pub metre: i64,
    /// What a unit of unevenness costs, in parts of 2^32.
    pub uneven: i64,
}

impl<'a> Field<'a> {
    /// Flattens the groups and lists who accepts what.
    pub fn new(instance: &'a Instance) -> Self {
        let mut field = Self {
            instance,
            lines: Vec::new(),
            span: Vec::new(),
            group: Vec::new(),
            accepting: Vec::new(),
            by_site: Vec::new(),
            rooms: instance.looks.concat(),
            alike: Vec::new(),
            alone: false,
            at: Vec::new(),
            what: Vec::new(),
            metre: 0,
            uneven: 0,
        };
        for (index, group) in instance.groups.iter().enumerate() {
            let from = field.lines.len();
            field.lines.extend(&group.lines);
            field.span.push(from..field.lines.len());
            field.group.resize(field.lines.len(), index as u32);
        }
        for class in 0..instance.kinds.len() {
            let ports = instance.ports.iter().enumerate();
            let takes = ports.filter(|(_, port)| instance.looks[port.look][class].is_some());
            let ports: Vec<u32> = takes.map(|(at, _)| at as u32).collect();
            let mut sites: Vec<(usize, Range<usize>)> = Vec::new();
            for (at, &port) in ports.iter().enumerate() {
                let site = instance.ports[port as usize].site;
                match sites.last_mut() {
                    Some((last, range)) if *last == site => range.end = at + 1,
                    _ => sites.push((site, at..at + 1)),
                }
            }
            field.accepting.push(ports);
            field.by_site.push(sites);
        }
        let at = |port: &Socket| (port.look as u32, port.site as u32, port.place as u32, port.used);
        field.at = instance.ports.iter().map(at).collect();
        let what = |line: &&Load| {
            let kind = instance.kinds[line.class] as u32;
            (line.size, line.draw, line.class as u32, kind)
        };
        field.what = field.lines.iter().map(what).collect();
        field.alone = field.lines.iter().any(|line| line.alone);
        let alike = |rooms: &Vec<Option<Room>>| {
            let mut rooms = rooms.iter().flatten();
            let first = rooms.next();
            rooms.all(|room| Some(room) == first)
        };
        field.alike = instance.looks.iter().map(alike).collect();
        field.price();
        field
    }

    /// Whether a place has ports that are not alike.
    pub fn mixed(&self) -> bool {
        let ports = self.instance.ports.windows(2);
        let place = |port: &Socket| (port.site, port.place);
        let mut unlike = ports.filter(|pair| pair[0].look != pair[1].look);
        unlike.any(|pair| place(&pair[0]) == place(&pair[1]))
    }

    /// Sets what leads and unevenness cost. Where neither comes first, a mean lead costs a quarter
    /// of a port, and nodes spread evenly over all sites an eighth.
    fn price(&mut self) {
        let groups = &self.instance.groups;
        let (mut sum, mut count) = (0_u128, 0_u128);
        for group in groups.iter().filter(|group| !group.lead.is_empty()) {
            for lead in &group.lead {
                sum += u128::from(*lead);
                count += 1;
            }
        }
        let mean = sum.checked_div(count).unwrap_or(0).max(1);
        let (lead, even) = match self.instance.order {
            Order::Neighbours | Order::Ports => (PORT / 4, PORT / 8),
            Order::Leads => (PORT * 64, PORT / 8),
            Order::Even => (PORT / 4, PORT * 64),
        };
        self.metre = (i128::from(lead) / i128::try_from(mean).unwrap_or(i128::MAX)).max(1) as i64;
        let all: u128 = self.lines.iter().map(|line| u128::from(line.size)).sum();
        let all = all + groups.len() as u128 + 1;
        let square = all.saturating_mul(all) / self.instance.sites.len().max(1) as u128;
        let weight = (i128::from(even) << 32) / i128::try_from(square.max(1)).unwrap_or(i128::MAX);
        self.uneven = i64::try_from(weight).unwrap_or(i64::MAX).max(1);
    }

    /// A port.
    pub fn port(&self, port: u32) -> &Socket {
        &self.instance.ports[port as usize]
    }

    /// What a port has left for a line before anything is placed.
    pub fn room(&self, line: usize, port: u32) -> Option<Room> {
        let (look, class) = (self.at[port as usize].0, self.what[line].2);
        self.rooms[look as usize * self.instance.kinds.len() + class as usize]
    }

    /// The kind of a line.
    pub fn kind(&self, line: usize) -> usize {
        self.what[line].3 as usize
    }

    /// The lead of a line to a port.
    pub fn lead(&self, line: usize, port: u32) -> u64 {
        let group = &self.instance.groups[self.group[line] as usize];
        let place = self.port(port).place;
        group.lead.get(place).copied().unwrap_or(0)
    }

    /// Whether two lines that hang nowhere yet fit the same ports at the same price.
    pub fn are_alike(&self, one: usize, other: usize) -> bool {
        let lead = |line: usize| &self.instance.groups[self.group[line] as usize].lead;
        let same = self.lines[one] == self.lines[other] && lead(one) == lead(other);
        same && self.lines[one].home.is_none()
    }

    /// The price of unevenness.
    fn price_of(&self, even: u128) -> i128 {
        let price = match i64::try_from(even) {
            // A product of two words is quick.
            Ok(even) => i128::from(even) * i128::from(self.uneven),
            Err(_) => (even as i128).saturating_mul(i128::from(self.uneven)),
        };
        price >> 32
    }

    /// Whether two ports stand side by side.
    pub fn neighbours(&self, port: u32, next: u32) -> bool {
        let (port, next) = (self.port(port), self.port(next));
        port.site == next.site && port.number.checked_add(1) == Some(next.number)
    }

    /// The slots of a site that `slots` slots on one of its ports take.
    pub fn slots(&self, site: usize, slots: u64) -> u64 {
        if slots == 0 {
            return 0;
        }
        let site = &self.instance.sites[site];
        let unit = site.unit.max(1);
        slots.saturating_add(site.spare).div_ceil(unit).saturating_mul(unit)
    }
}

/// What is placed on a port.
#[derive(Clone, Debug)]
pub struct Hung {
    /// Nodes.
    pub nodes: u64,
    /// Current.
    pub current: u64,
    /// Slots, those that were there before included.
    pub slots: u64,
    /// Kind; [`NONE`] for none.
    pub kind: u32,
    /// Lines.
    pub lines: Vec<u32>,
    /// How full it is: the square of a share, in parts of a million.
    pub full: i64,
}

/// What counts; the less the better, but for `full`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Measure {
    /// Lines without a port.
    pub missing: u64,
    /// Strings that leave their port, then their slots.
    pub plugs: (u64, u64),
    /// Lines on a port where they move others.
    pub moving: u64,
    /// Groups on several sites.
    pub split: u64,
    /// Groups on one site that are not side by side.
    pub apart: u64,
    /// Ports opened.
    pub ports: u64,
    /// Lead.
    pub lead: u64,
    /// Sum of the squares of the loads of sites.
    pub even: u128,
    /// Sum of how full ports are; the more the better.
    pub full: i64,
}

impl Measure {
    /// A sort key in the order that is wanted.
    pub fn key(&self, order: Order) -> [u128; 9] {
        let [apart, ports, lead] = [self.apart.into(), self.ports.into(), self.lead.into()];
        let [a, b, c, d] = match order {
            Order::Neighbours => [apart, ports, lead, self.even],
            Order::Ports => [ports, apart, lead, self.even],
            Order::Leads => [lead, apart, ports, self.even],
            Order::Even => [self.even, apart, ports, lead],
        };
        let (strings, slots) = (self.plugs.0.into(), self.plugs.1.into());
        [self.missing.into(), strings, slots, self.moving.into(), self.split.into(), a, b, c, d]
    }
}

/// Which line is on which port.
#[derive(Clone)]
pub struct State<'a> {
    /// The instance.
    pub field: &'a Field<'a>,
    /// The port of each line; [`NONE`] for none.
    pub port_of: Vec<u32>,
    /// What is on each port.
    pub hung: Vec<Hung>,
    /// Slots of each site.
    pub slots: Vec<u64>,
    /// Nodes of each site.
    pub load: Vec<u64>,
    /// Of each group: joints between sites, and joints between ports that are not side by side.
    joints: Vec<(u32, u32)>,
    /// The lines of each group that are placed, in order.
    placed: Vec<Vec<u32>>,
    /// What counts.
    pub measure: Measure,
    /// What a group that is apart costs, and an opened port.
    pub weights: (i64, i64),
}

impl<'a> State<'a> {
    /// Nothing is placed.
    pub fn new(field: &'a Field<'a>) -> Self {
        let instance = field.instance;
        let mut slots: Vec<u64> = instance.sites.iter().map(|site| site.taken).collect();
        for port in &instance.ports {
            slots[port.site] = slots[port.site].saturating_add(field.slots(port.site, port.slots));
        }
        let hung = |port: &Socket| Hung {
            nodes: 0,
            current: 0,
            slots: port.slots,
            kind: port.kind.map_or(NONE, |kind| kind as u32),
            lines: Vec::new(),
            full: 0,
        };
        let load: Vec<u64> = instance.sites.iter().map(|site| site.carried).collect();
        let mut measure = Measure {
            missing: field.lines.len() as u64,
            even: load.iter().map(|load| square(*load)).fold(0, u128::saturating_add),
            ..Measure::default()
        };
        for line in field.lines.iter().filter(|line| line.home.is_some()) {
            measure.plugs.0 = measure.plugs.0.saturating_add(line.plugs.0);
            measure.plugs.1 = measure.plugs.1.saturating_add(line.plugs.1);
        }
        Self {
            field,
            port_of: vec![NONE; field.lines.len()],
            hung: instance.ports.iter().map(hung).collect(),
            slots,
            load,
            joints: vec![(0, 0); instance.groups.len()],
            placed: vec![Vec::new(); instance.groups.len()],
            measure,
            weights: match instance.order {
                Order::Neighbours | Order::Leads | Order::Even => (6 * PORT, PORT),
                Order::Ports => TIGHT,
            },
        }
    }

    /// Whether a line fits on a port with what is there and `more` (nodes, current, slots) of its
    /// group.
    pub fn fits_beside(&self, line: usize, port: u32, more: (u64, u64, u64)) -> bool {
        let slots = more.2.saturating_add(self.field.lines[line].slots);
        self.has_room(line, port, more) && self.in_limit(port, slots)
    }

    /// The same, whatever the limit of the site.
    pub fn has_room(&self, line: usize, port: u32, more: (u64, u64, u64)) -> bool {
        let field = self.field;
        let Some(room) = field.room(line, port) else {
            return false;
        };
        let hung = &self.hung[port as usize];
        let (size, draw, _, kind) = field.what[line];
        if hung.nodes + more.0 + size > room.nodes || hung.kind != NONE && hung.kind != kind {
            return false;
        }
        if hung.current.saturating_add(more.1).saturating_add(draw) > room.current {
            return false;
        }
        if !field.alone {
            return true;
        }
        let what = field.lines[line];
        let busy = field.at[port as usize].3 || !hung.lines.is_empty() || more != (0, 0, 0);
        !busy || !what.alone && !hung.lines.first().is_some_and(|one| self.alone(*one))
    }

    /// Whether a line fits on a port.
    pub fn fits(&self, line: usize, port: u32) -> bool {
        self.fits_beside(line, port, (0, 0, 0))
    }

    fn alone(&self, line: u32) -> bool {
        self.field.lines[line as usize].alone
    }

    fn in_limit(&self, port: u32, more: u64) -> bool {
        let site = self.field.port(port).site;
        let limit = self.field.instance.sites[site].limit;
        if limit == u64::MAX || more == 0 {
            return true;
        }
        let slots = self.hung[port as usize].slots;
        let before = self.field.slots(site, slots);
        let after = self.field.slots(site, slots.saturating_add(more));
        (self.slots[site] - before).saturating_add(after) <= limit
    }

    /// How full a port with this much on it is for a line: the square of a share.
    pub fn fullness(&self, line: usize, port: u32, nodes: u64, current: u64) -> i64 {
        let Some(room) = self.field.room(line, port) else {
            return 0;
        };
        // IEEE division rounds alike on every machine.
        let share = |part: u64, of: u64| (1_000.0 * part as f64 / of.max(1) as f64) as i64;
        let nodes = share(nodes, room.nodes);
        let full = match room.current {
            u64::MAX => nodes,
            most => nodes.max(share(current, most)),
        };
        full * full
    }

    /// Hangs a line on a port.
    pub fn place(&mut self, line: usize, port: u32) {
        let field = self.field;
        let what = field.lines[line];
        let full = {
            let hung = &self.hung[port as usize];
            let current = hung.current.saturating_add(what.draw);
            self.fullness(line, port, hung.nodes + what.size, current)
        };
        let hung = &mut self.hung[port as usize];
        let at = &field.instance.ports[port as usize];
        let before = field.slots(at.site, hung.slots);
        if hung.lines.is_empty() {
            self.measure.ports += u64::from(!at.used);
            hung.kind = field.kind(line) as u32;
        }
        hung.nodes += what.size;
        hung.current = hung.current.saturating_add(what.draw);
        hung.slots = hung.slots.saturating_add(what.slots);
        hung.lines.push(line as u32);
        self.measure.full += full - hung.full;
        hung.full = full;
        let after = field.slots(at.site, hung.slots);
        self.slots[at.site] = (self.slots[at.site] - before).saturating_add(after);
        let load = self.load[at.site];
        self.measure.even =
            (self.measure.even - square(load)).saturating_add(square(load + what.size));
        self.load[at.site] = load + what.size;
        self.measure.lead += field.lead(line, port);
        self.measure.missing -= 1;
        if what.home == Some(port as usize) {
            self.measure.plugs.0 -= what.plugs.0;
            self.measure.plugs.1 -= what.plugs.1;
        } else {
            self.measure.moving += u64::from(at.kept);
        }
        self.hang(line, port);
    }

    /// A lower bound for the measure with a line on a site, where no line after it is placed.
    pub fn least_on(&self, line: usize, site: usize) -> Measure {
        let (field, mut measure) = (self.field, self.measure);
        let (load, size) = (self.load[site], field.lines[line].size);
        measure.even = (measure.even - square(load)).saturating_add(square(load + size));
        let group = field.group[line] as usize;
        let last = self.placed[group].last().map(|one| self.port_of[*one as usize]);
        let joints = self.joints[group];
        if joints.0 == 0 && last.is_some_and(|port| field.port(port).site != site) {
            measure.split += 1;
            measure.apart -= u64::from(joints.1 > 0);
        }
        measure
    }

    /// Takes a line off its port.
    pub fn take(&mut self, line: usize) {
        let field = self.field;
        let what = field.lines[line];
        let port = self.port_of[line];
        self.hang(line, NONE);
        let at = &field.instance.ports[port as usize];
        let hung = &mut self.hung[port as usize];
        let before = field.slots(at.site, hung.slots);
        hung.nodes -= what.size;
        hung.current -= what.draw;
        hung.slots -= what.slots;
        hung.lines.retain(|one| *one as usize != line);
        let empty = hung.lines.is_empty();
        let (nodes, current, full) = (hung.nodes, hung.current, hung.full);
        if empty {
            self.measure.ports -= u64::from(!at.used);
            hung.kind = at.kind.map_or(NONE, |kind| kind as u32);
        }
        let after = field.slots(at.site, hung.slots);
        let now = if empty { 0 } else { self.fullness(line, port, nodes, current) };
        self.hung[port as usize].full = now;
        self.measure.full += now - full;
        self.slots[at.site] = (self.slots[at.site] - before).saturating_add(after);
        let load = self.load[at.site];
        self.measure.even = (self.measure.even - square(load)) + square(load - what.size);
        self.load[at.site] = load - what.size;
        self.measure.lead -= field.lead(line, port);
        self.measure.missing += 1;
        if what.home == Some(port as usize) {
            self.measure.plugs.0 += what.plugs.0;
            self.measure.plugs.1 += what.plugs.1;
        } else {
            self.measure.moving -= u64::from(at.kept);
        }
    }

    /// Notes the port of a line, and whether its group, as far as it is placed, is split or apart.
    fn hang(&mut self, line: usize, port: u32) {
        let group = self.field.group[line] as usize;
        let placed = &self.placed[group];
        let at = placed.partition_point(|one| (*one as usize) < line);
        let on = |at: Option<usize>| {
            at.and_then(|at| placed.get(at)).map(|one| self.port_of[*one as usize])
        };
        let was = self.port_of[line] != NONE;
        let (last, next) = (on(at.checked_sub(1)), on(Some(at + usize::from(was))));
        let sum = |of: &Self, own: Option<u32>| match own {
            Some(_) => {
                let (one, other) = (of.joint(last, own), of.joint(own, next));
                (one.0 + other.0, one.1 + other.1)
            }
            None => of.joint(last, next),
        };
        let old = sum(self, was.then_some(self.port_of[line]));
        let new = sum(self, Some(port).filter(|port| *port != NONE));
        self.port_of[line] = port;
        match (was, port != NONE) {
            (false, true) => self.placed[group].insert(at, line as u32),
            (true, false) => {
                self.placed[group].remove(at);
            }
            _ => {}
        }
        let now = &mut self.joints[group];
        let before = *now;
        *now = (now.0 + new.0 - old.0, now.1 + new.1 - old.1);
        let change = |measure: &mut u64, before: bool, now: bool| {
            *measure = *measure + u64::from(now) - u64::from(before);
        };
        let apart = |joints: (u32, u32)| joints.0 == 0 && joints.1 > 0;
        change(&mut self.measure.split, before.0 > 0, now.0 > 0);
        change(&mut self.measure.apart, apart(before), apart(*now));
    }

    /// Whether two lines in a row lie on two sites, and on ports not side by side, as 0 or 1.
    fn joint(&self, one: Option<u32>, other: Option<u32>) -> (u32, u32) {
        match (one, other) {
            (Some(one), Some(other)) if one != other => {
                let sites = self.field.port(one).site != self.field.port(other).site;
                (u32::from(sites), u32::from(!self.field.neighbours(one, other)))
            }
            _ => (0, 0),
        }
    }

    /// Whether a group is on several sites.
    pub fn is_split(&self, group: usize) -> bool {
        self.joints[group].0 > 0
    }

    /// The price of the state: one number for the search, where what is wanted first costs most.
    pub fn price(&self) -> i64 {
        let measure = &self.measure;
        let (apart, port) = self.weights;
        let moved = measure.plugs.0.saturating_mul(1_000).saturating_add(measure.plugs.1 / 64);
        let count = |count: u64, weight: i64| (count as i64).saturating_mul(weight);
        let even = self.field.price_of(measure.even);
        count(measure.missing, 4_000_000 * PORT)
            .saturating_add(count(moved.min(1 << 40), PORT))
            .saturating_add(count(measure.moving, 100 * PORT))
            .saturating_add(count(measure.split, 40 * PORT))
            .saturating_add(count(measure.apart, apart))
            .saturating_add(count(measure.ports, port))
            .saturating_add(count(measure.lead, self.field.metre))
            .saturating_add(i64::try_from(even).unwrap_or(i64::MAX / 8))
            .saturating_sub(measure.full / 2)
    }

    /// The price of one more line on a port, beside `more` (nodes, current, slots) to come there.
    #[inline]
    pub fn extra(&self, line: usize, port: u32, more: (u64, u64, u64)) -> i64 {
        let field = self.field;
        let (what, at) = (field.lines[line], field.port(port));
        let hung = &self.hung[port as usize];
        let mut price = 0;
        let first = hung.lines.is_empty() && more == (0, 0, 0);
        if first && !at.used {
            price += self.weights.1;
        }
        let nodes = hung.nodes + more.0;
        let current = hung.current.saturating_add(more.1);
        let before = match first {
            true => 0,
            false if more == (0, 0, 0) && field.alike[at.look] => hung.full,
            false => self.fullness(line, port, nodes, current),
        };
        let after = self.fullness(line, port, nodes + what.size, current.saturating_add(what.draw));
        price -= (after - before) / 2;
        price += (field.lead(line, port) as i64).saturating_mul(field.metre);
        if field.uneven > 0 && field.instance.sites.len() > 1 {
            let load = u128::from(self.load[at.site] + more.0);
            let size = u128::from(what.size);
            let even = field.price_of(2 * load * size + size * size);
            price += i64::try_from(even).unwrap_or(PORT);
        }
        match what.home {
            Some(home) if home == port as usize => price,
            Some(_) => {
                let moved = what.plugs.0.saturating_mul(1_000).saturating_add(what.plugs.1 / 64);
                price.saturating_add((moved.min(1 << 40) as i64) * PORT)
            }
            None if at.kept => price + 100 * PORT,
            None => price,
        }
    }
}

fn square(number: u64) -> u128 {
    u128::from(number) * u128::from(number)
}
