//! The instance in the form the searches want: equal things counted once, hashes ready, forbidden places left out.
//!
//! Method: each different pair of class and size becomes a *kind of line*, sorted by class and then largest first; equal
//! ports of a site become one *kind of port* with a count; sites with the same kinds of port share a *shape*. A *unit* is
//! what must stay together: a whole group, or one line of a group that is split. The hash of a set of lines is the sum of
//! the hashes of its lines, so that a set with one unit more or less has its hash by one addition.
#![allow(clippy::indexing_slicing)] // every index is made in this file from the lengths beside it

use super::random::mix;
use super::{Group, Instance, Line, Port};

/// A class and a size that occurs in the instance.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct LineKind {
    /// Class, as the instance numbers it.
    pub class: usize,
    /// Load, in the unit of its class.
    pub size: u64,
}

/// Ports of one site that can be exchanged for one another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortKind {
    /// Load left, by class and in its unit; 0 where the class is not accepted.
    pub room: Vec<u64>,
    /// In use already, so that using it costs nothing.
    pub open: bool,
    /// How many there are.
    pub count: usize,
}

/// The kinds of port of a site, shared by all sites that look alike.
#[derive(Debug, Clone)]
pub struct Shape {
    /// Open kinds first, then by room.
    pub kinds: Vec<PortKind>,
    /// One kind of closed ports only: the quick packing applies.
    pub uniform: bool,
    /// Closed ports of all kinds.
    pub closed: usize,
    /// Told into the hash of a set of lines when its packing is remembered.
    pub salt: u64,
}

/// What must stay together on one site.
#[derive(Debug, Clone)]
pub struct Unit {
    /// Index of the group in the instance.
    pub group: usize,
    /// Indices of its lines within the group.
    pub lines: Vec<usize>,
    /// Kinds of its lines with their counts, ascending by kind.
    pub kinds: Vec<(usize, usize)>,
    /// Sum of the hashes of its lines.
    pub hash: u64,
    /// Load by class and in its unit, only the classes it has.
    pub loads: Vec<(usize, u64)>,
    /// Load units of all classes.
    pub load: u64,
    /// What it takes of a site's own limit.
    pub weight: u64,
    /// Sites it may go to, nearest first, then in order of the instance.
    pub sites: Vec<usize>,
    /// Every site of the instance is among them.
    pub anywhere: bool,
    /// Lead to each site of the instance, all lines together.
    pub lead: Vec<u64>,
}

/// The instance in the form the searches want.
#[derive(Debug, Clone)]
pub struct Norm {
    /// Kinds of line, by class, then largest first.
    pub lines: Vec<LineKind>,
    /// Hash of one line of each kind.
    pub hashes: Vec<u64>,
    /// Number of classes.
    pub classes: usize,
    /// Unit of each class: the greatest common divisor of the sizes of its lines, in load units. Rooms are rounded down to
    /// it, which loses nothing, and tables of every fill level stay short.
    pub units_of: Vec<u64>,
    /// Shapes of sites.
    pub shapes: Vec<Shape>,
    /// Shape of each site.
    pub shape_of: Vec<usize>,
    /// Limit of each site on the sum of weights.
    pub limit: Vec<u64>,
    /// Load units each site carries already.
    pub carried: Vec<u64>,
    /// What must stay together.
    pub units: Vec<Unit>,
}

impl Norm {
    /// Reads the instance; only the groups for which `wanted` holds take part, and those for which `split` holds fall
    /// into their lines.
    #[must_use]
    pub fn new(instance: &Instance, wanted: &[bool], split: &[bool]) -> Self {
        let every = || instance.groups.iter().flat_map(|group| &group.lines);
        let classes = every().map(|line| line.class + 1).max().unwrap_or(0);
        let units_of: Vec<u64> = (0..classes)
            .map(|class| unit_of(every().filter(|line| line.class == class)))
            .collect();
        let mut lines: Vec<LineKind> = every()
            .map(|line| LineKind {
                class: line.class,
                size: line.size / units_of[line.class],
            })
            .collect();
        lines.sort_by_key(|line| (line.class, std::cmp::Reverse(line.size)));
        lines.dedup();
        let hashes: Vec<u64> = lines
            .iter()
            .map(|line| mix(mix(line.size) ^ (line.class as u64).wrapping_mul(0x51_7C_C1_B7)))
            .collect();
        let mut norm = Self {
            lines,
            hashes,
            classes,
            units_of,
            shapes: Vec::new(),
            shape_of: Vec::new(),
            limit: instance.sites.iter().map(|site| site.limit).collect(),
            carried: instance
                .sites
                .iter()
                .map(|site| site.carried.min(LARGEST))
                .collect(),
            units: Vec::new(),
        };
        for site in &instance.sites {
            norm.add_shape(&site.ports);
        }
        for (index, group) in instance.groups.iter().enumerate() {
            if !wanted[index] {
                continue;
            }
            if split[index] {
                for line in 0..group.lines.len() {
                    norm.add_unit(index, group, vec![line]);
                }
            } else if !group.lines.is_empty() {
                norm.add_unit(index, group, (0..group.lines.len()).collect());
            }
        }
        norm
    }

    fn add_shape(&mut self, ports: &[Port]) {
        let mut kinds: Vec<PortKind> = Vec::new();
        for port in ports {
            let room = self.room(port);
            match kinds
                .iter_mut()
                .find(|kind| kind.room == room && kind.open == port.open)
            {
                Some(kind) => kind.count += 1,
                None => kinds.push(PortKind {
                    room,
                    open: port.open,
                    count: 1,
                }),
            }
        }
        kinds.retain(|kind| kind.room.iter().any(|&room| room > 0));
        kinds.sort_by(|one, other| {
            (!one.open, &one.room, one.count).cmp(&(!other.open, &other.room, other.count))
        });
        let found = self.shapes.iter().position(|shape| shape.kinds == kinds);
        let shape = found.unwrap_or_else(|| {
            self.shapes.push(Shape {
                uniform: kinds.len() == 1 && kinds.iter().all(|kind| !kind.open),
                closed: kinds
                    .iter()
                    .filter(|kind| !kind.open)
                    .map(|kind| kind.count)
                    .sum(),
                salt: mix(self.shapes.len() as u64 ^ 0xA5A5_0000),
                kinds,
            });
            self.shapes.len() - 1
        });
        self.shape_of.push(shape);
    }

    fn add_unit(&mut self, index: usize, group: &Group, lines: Vec<usize>) {
        let mut kinds: Vec<(usize, usize)> = Vec::new();
        let mut loads: Vec<(usize, u64)> = Vec::new();
        let (mut hash, mut load, mut weight) = (0_u64, 0_u64, 0_u64);
        for &line in &lines {
            let line = &group.lines[line];
            let size = line.size / self.units_of[line.class];
            let kind = self.kind_of(line.class, size);
            hash = hash.wrapping_add(self.hashes[kind]);
            load = load.saturating_add(line.size);
            weight = weight.saturating_add(line.weight);
            match kinds.iter_mut().find(|(known, _)| *known == kind) {
                Some((_, count)) => *count += 1,
                None => kinds.push((kind, 1)),
            }
            match loads.iter_mut().find(|(class, _)| *class == line.class) {
                Some((_, sum)) => *sum = sum.saturating_add(size),
                None => loads.push((line.class, size)),
            }
        }
        kinds.sort_unstable();
        let lead: Vec<u64> = (0..self.shape_of.len())
            .map(|site| {
                let one = group.lead.get(site).copied().unwrap_or(0);
                one.saturating_mul(lines.len() as u64).min(FARTHEST)
            })
            .collect();
        let mut sites: Vec<usize> = (0..self.shape_of.len())
            .filter(|&site| group.sites.as_ref().is_none_or(|some| some.contains(&site)))
            .filter(|&site| {
                let shape = &self.shapes[self.shape_of[site]];
                kinds.iter().all(|&(kind, _)| {
                    let line = self.lines[kind];
                    line.size <= LARGEST / self.units_of[line.class]
                        && shape
                            .kinds
                            .iter()
                            .any(|port| port.room[line.class] >= line.size.max(1))
                })
            })
            .collect();
        sites.sort_by_key(|&site| (lead[site], site));
        self.units.push(Unit {
            group: index,
            lines,
            kinds,
            hash,
            loads,
            load,
            weight,
            anywhere: sites.len() == self.shape_of.len(),
            sites,
            lead,
        });
    }

    /// The room of a port by class, in the units of the classes.
    #[must_use]
    pub fn room(&self, port: &Port) -> Vec<u64> {
        let rooms = room_by_class(port, self.classes);
        let units = self.units_of.iter();
        rooms
            .iter()
            .zip(units)
            .map(|(room, unit)| room / unit)
            .collect()
    }

    /// The kind of a line by class and size in the unit of the class; the instance's own lines are always found.
    #[must_use]
    pub fn kind_of(&self, class: usize, size: u64) -> usize {
        self.lines.partition_point(|line| {
            (line.class, std::cmp::Reverse(line.size)) < (class, std::cmp::Reverse(size))
        })
    }

    /// The shape of a site.
    #[must_use]
    pub fn shape(&self, site: usize) -> &Shape {
        &self.shapes[self.shape_of[site]]
    }
}

/// A lead no longer than this keeps all sums within 64 bits, however many lines there are.
pub const FARTHEST: u64 = 1 << 40;

/// Rooms are cut to this, and larger lines fit nowhere, so that sums of loads stay within 64 bits.
pub const LARGEST: u64 = 1 << 40;

/// The greatest common divisor of the sizes; 1 where a line has no size, because it only asks for some room at all.
fn unit_of<'a>(lines: impl Iterator<Item = &'a Line>) -> u64 {
    let mut unit = 0_u64;
    for line in lines {
        if line.size == 0 {
            return 1;
        }
        let (mut one, mut other) = (unit, line.size);
        while one > 0 {
            (one, other) = (other % one, one);
        }
        unit = other;
    }
    unit.max(1)
}

/// The room of a port for each class up to `classes`.
#[must_use]
pub fn room_by_class(port: &Port, classes: usize) -> Vec<u64> {
    (0..classes)
        .map(|class| port.room.get(class).copied().unwrap_or(0).min(LARGEST))
        .collect()
}
