//! Open pixel lines → outputs, by the placement engine: makes its instance, reads its answer.
//!
//! Universes are counted on the safe side first. Where they seem short, they are counted by the
//! least that is needed, so that a refusal is certain. The addresses show whether such a placement
//! holds.

use super::makes::{Hangs, Make};
use super::needs::{Kind, Need, State};
use super::outlets::{Look, Outlets};
use super::pack::{self, Answer, Cause, Group, Instance, Load, Order, Room, Site, Socket};
use crate::model::{
    Addressing, Align, Controller, ControllerId, Model, Output, PieceKind, Prefer, ReceiverId,
    Start, StringId, Target,
};
use crate::plan::Picked;
use std::collections::{BTreeMap, BTreeSet};

/// What lines share if every port treats them alike.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Class {
    /// All strings of one make: the make; whether fed apart, unfed or alone; the target.
    Alike(Make, [bool; 3], (u8, usize)),
    /// A chain of strings of unlike makes, by the place of the line.
    Own(usize),
}

/// How universes that are limited are counted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Universes {
    /// With all that alignment, whole nodes and spare may leave free.
    Safe,
    /// The slots of the strings alone: what does not fit like this cannot fit at all.
    Least,
}

/// What is sought.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Aim {
    /// The best answer.
    Best,
    /// The first answer in which every line has an output.
    Any,
}

/// By line of the model: the output that it hangs on now, and how many strings and slots leave it
/// if the line does.
pub(super) type Homes = BTreeMap<usize, (usize, (u64, u64))>;

/// Where each line goes, and how good that is known to be.
pub(super) struct Found {
    /// For each line its output.
    pub outputs: Vec<usize>,
    /// What is known of the answer.
    pub picked: Picked,
}

/// Lines that together find no room.
pub(super) struct LineClash {
    /// Which, as indices of the lines asked for.
    pub lines: Vec<usize>,
    /// What they lack.
    pub cause: Cause,
}

/// The open pixel lines of a display, and what they may go to.
pub(super) struct Asked<'a> {
    model: &'a Model,
    outlets: &'a Outlets<'a>,
    lines: &'a [(usize, Need)],
    /// The output of each port of the engine.
    rows: Vec<usize>,
    /// The lines of each group.
    groups: Vec<std::ops::Range<usize>>,
    instance: Instance,
    /// Whether universes are limited somewhere.
    limited: bool,
}

/// The sets of rooms that ports have, each once.
#[derive(Default)]
struct Looks {
    /// The number of each set.
    all: BTreeMap<Vec<Option<Room>>, usize>,
    /// By look of the controller at hand: rows seen before, each with the number of its set.
    known: Vec<(Look, Vec<(usize, usize)>)>,
}

/// Kinds by make, and by what keeps lines of one make apart.
type Kinds = BTreeMap<(Option<Make>, usize), usize>;

impl<'a> Asked<'a> {
    /// Of lines that have no port yet.
    pub fn new(
        model: &'a Model,
        outlets: &'a Outlets<'a>,
        lines: &'a [(usize, Need)],
        universes: Universes,
    ) -> Self {
        let mut asked = Self {
            model,
            outlets,
            lines,
            rows: Vec::new(),
            groups: Vec::new(),
            instance: Instance {
                order: match model.display.prefer.map(|told| told.value) {
                    None => Order::Neighbours,
                    Some(Prefer::FewestPorts) => Order::Ports,
                    Some(Prefer::ShortestLeads) => Order::Leads,
                    Some(Prefer::EvenLoad) => Order::Even,
                },
                ..Instance::default()
            },
            limited: false,
        };
        let group = |index: usize| model.lines.get(index).map(|line| line.group);
        let mut at = 0;
        for lines in lines.chunk_by(|a, b| group(a.0) == group(b.0) && a.1.target == b.1.target) {
            asked.groups.push(at..at + lines.len());
            at += lines.len();
        }
        asked.sites();
        let classes = asked.classes();
        let makes = asked.ports(&classes);
        asked.lines(&classes, &makes, universes);
        asked.even_draws();
        asked
    }

    /// Lets lines stay on the outputs that they have now, where they can.
    pub fn at_home(mut self, homes: &Homes) -> Self {
        let lines = self.instance.groups.iter_mut().flat_map(|group| &mut group.lines);
        for (line, (index, _)) in lines.zip(self.lines) {
            if let Some((row, plugs)) = homes.get(index)
                && let Ok(port) = self.rows.binary_search(row)
            {
                (line.home, line.plugs) = (Some(port), *plugs);
            }
        }
        self
    }

    /// Takes slots of universes away from controllers.
    pub fn tighter(mut self, less: &[u64]) -> Self {
        for (site, less) in self.instance.sites.iter_mut().zip(less) {
            site.taken = site.taken.saturating_add(*less);
        }
        self
    }

    /// Whether universes are limited, so that counting the least may find more room.
    pub fn is_limited(&self) -> bool {
        self.limited
    }

    fn sites(&mut self) {
        for (index, controller) in self.model.controllers.iter().enumerate() {
            let universe = used(self.model, controller);
            let id = ControllerId::from(index);
            let limit = limit(self.model, id);
            self.limited |= limit < u64::MAX;
            let aligned =
                controller.align == Align::Port && controller.addressing != Addressing::Consecutive;
            let mut carried = 0;
            for at in self.outlets.scope(Target::Controller(id)) {
                carried += self.outlets.taken(at).0;
            }
            self.instance.sites.push(Site {
                limit,
                taken: universe.saturating_mul(self.outlets.dmx_in_use(id)),
                unit: if aligned { universe } else { 1 },
                spare: 0,
                carried,
            });
        }
    }

    /// The class of each line.
    fn classes(&self) -> Vec<Class> {
        let class = |(place, (_, need)): (usize, &(usize, Need))| {
            let mut makes = strings(self.model, need)
                .map(|id| (Make::of(self.model, id), self.outlets.fed_apart(id)));
            let first = makes.next();
            match first {
                Some((Some(make), apart)) if makes.all(|one| one == (Some(make), apart)) => {
                    let lone = lone(self.model, need);
                    Class::Alike(make, [apart, need.unfed, lone], target(need.target))
                }
                _ => Class::Own(place),
            }
        };
        self.lines.iter().enumerate().map(class).collect()
    }

    /// Adds the ports with what they take; returns the number of each class.
    fn ports(&mut self, classes: &[Class]) -> BTreeMap<Class, usize> {
        let mut samples: BTreeMap<Class, &Need> = BTreeMap::new();
        for (class, (_, need)) in classes.iter().zip(self.lines) {
            samples.entry(*class).or_insert(need);
        }
        let kinds = self.kinds(samples.keys());
        let mut looks = Looks::default();
        // Of the controller at hand.
        let mut places: Vec<(Option<ReceiverId>, usize)> = Vec::new();
        let (mut controller, mut many) = (None, 0);
        for (at, row) in self.outlets.rows.iter().enumerate() {
            let (Kind::Pixel, Output::Pixel(number)) = (row.kind, row.output) else {
                continue;
            };
            if controller.replace(row.controller) != Some(row.controller) {
                looks.known.clear();
                places.clear();
            }
            let free = self.outlets.state(at) == Some(State::Free);
            let look = self.look(at, &samples, &mut looks);
            let place = places.iter().find(|(receiver, _)| *receiver == row.receiver);
            let place = place.map_or(many, |(_, place)| *place);
            if place == many {
                places.push((row.receiver, many));
                many += 1;
            }
            let kind = match self.outlets.hangs(at) {
                Hangs::Nothing => None,
                Hangs::One(make) => {
                    Some(kinds.get(&(Some(make), 0)).copied().unwrap_or(usize::MAX))
                }
                Hangs::Unlike => Some(usize::MAX),
            };
            self.rows.push(at);
            self.instance.ports.push(Socket {
                site: row.controller.index(),
                number,
                place,
                look,
                kind: kind.map(|kind| kind.min(NO_KIND)),
                used: !free,
                kept: self.outlets.is_kept(at),
                slots: self.outlets.taken(at).1,
            });
        }
        let mut rows: Vec<(Vec<Option<Room>>, usize)> = looks.all.into_iter().collect();
        rows.sort_unstable_by_key(|(_, look)| *look);
        self.instance.looks = rows.into_iter().map(|(rooms, _)| rooms).collect();
        samples.into_keys().zip(0..).collect()
    }

    /// The look of a port: what it takes of each class.
    fn look(&self, at: usize, samples: &BTreeMap<Class, &Need>, looks: &mut Looks) -> usize {
        let known = &mut looks.known;
        let seen = self.outlets.look(at).map(|key| {
            let at = known.iter().position(|(one, _)| *one == key);
            at.unwrap_or_else(|| {
                known.push((key, Vec::new()));
                known.len() - 1
            })
        });
        let seen = seen.and_then(|at| known.get_mut(at)).map(|(_, seen)| seen);
        let filled = self.outlets.filled(at);
        let alike = |(other, _): &&(usize, usize)| self.outlets.filled(*other) == filled;
        let last = seen.as_ref().map_or(&[][..], |seen| seen.as_slice()).iter().rev();
        if let Some((_, look)) = last.take(MOST_ALIKE).find(alike) {
            return *look;
        }
        let rooms: Vec<Option<Room>> = samples.values().map(|need| self.room(at, need)).collect();
        let next = looks.all.len();
        let look = *looks.all.entry(rooms).or_insert(next);
        if let Some(seen) = seen {
            seen.push((at, look));
        }
        look
    }

    /// The kind of each class.
    fn kinds<'c>(&mut self, classes: impl Iterator<Item = &'c Class>) -> Kinds {
        let daisy = self.daisy();
        let mut kinds = Kinds::new();
        for class in classes {
            let kind = match *class {
                // On a port with several receivers, lines for one of them share with no others.
                Class::Alike(make, _, (2, receiver)) if daisy.contains(&receiver) => {
                    (Some(make), receiver + 1)
                }
                Class::Alike(make, ..) => (Some(make), 0),
                Class::Own(place) => (None, place),
            };
            let next = kinds.len();
            self.instance.kinds.push(*kinds.entry(kind).or_insert(next));
        }
        kinds
    }

    /// Receivers that share a port with another receiver.
    fn daisy(&self) -> BTreeSet<usize> {
        let receivers = &self.model.receivers;
        let shares = |(index, one): &(usize, &crate::model::Receiver)| {
            receivers.iter().enumerate().any(|(other, two)| {
                other != *index
                    && one.controller == two.controller
                    && one.first <= two.last
                    && two.first <= one.last
            })
        };
        receivers.iter().enumerate().filter(shares).map(|(index, _)| index).collect()
    }

    /// What an output has left for lines like this one.
    fn room(&self, at: usize, need: &Need) -> Option<Room> {
        if !self.outlets.scope(need.target).contains(&at) {
            return None;
        }
        let make = strings(self.model, need).next().and_then(|id| Make::of(self.model, id));
        let alike = strings(self.model, need).all(|id| Make::of(self.model, id) == make);
        if !alike {
            let fits = self.outlets.fits(at, need).is_ok();
            return fits.then_some(Room { nodes: u64::MAX, current: u64::MAX });
        }
        let (nodes, current) = self.outlets.room(at, need)?;
        Some(Room { nodes, current })
    }

    fn lines(&mut self, classes: &[Class], numbers: &BTreeMap<Class, usize>, universes: Universes) {
        let mut stands: Option<BTreeMap<usize, Option<(i64, i64)>>> = None;
        let shared = self.model.strings.iter().any(|string| string.same_as.is_some());
        let mut spare = 0;
        for span in &self.groups {
            let mut group = Group::default();
            for at in span.clone() {
                let (Some((_, need)), Some(class)) = (self.lines.get(at), classes.get(at)) else {
                    continue;
                };
                let each = strings(self.model, need).filter_map(|id| self.model.node_of(id));
                spare = spare.max(each.map(|node| u64::from(node.slots)).max().unwrap_or(0));
                group.lines.push(Load {
                    size: Outlets::load(self.model, need).length(),
                    draw: if need.unfed { 0 } else { self.outlets.drawn(need) },
                    slots: self.slots(need, universes, shared),
                    class: numbers.get(class).copied().unwrap_or(0),
                    alone: lone(self.model, need),
                    home: None,
                    plugs: (0, 0),
                });
            }
            if let Some((_, need)) = self.lines.get(span.start)
                && let Some(from) = self.model.stands(need.first.0)
            {
                let ports = self.instance.ports.iter().zip(&self.rows);
                let to = ports.map(|(port, row)| (port.place, self.stands(*row)));
                let stands = stands.get_or_insert_with(|| to.collect());
                let lead = |to: &Option<(i64, i64)>| to.map_or(0, |to| distance(from, to));
                group.lead = stands.values().map(lead).collect();
            }
            self.instance.groups.push(group);
        }
        let spare = spare.saturating_mul(u64::from(self.model.display.spare_nodes));
        for site in &mut self.instance.sites {
            match universes {
                Universes::Safe => site.spare = spare,
                Universes::Least => site.unit = 1,
            }
        }
    }

    fn stands(&self, row: usize) -> Option<(i64, i64)> {
        let outlet = self.outlets.rows.get(row)?;
        match outlet.receiver {
            Some(id) => self.model.receivers.as_slice().get(id.index())?.stands,
            None => self.model.controller(outlet.controller)?.stands,
        }
    }

    /// Slots of universes that a line takes.
    fn slots(&self, need: &Need, universes: Universes, shared: bool) -> u64 {
        let model = self.model;
        if !self.limited {
            return 0;
        }
        let slots = Outlets::load(model, need).slots;
        if universes == Universes::Least {
            // What shows another's data may take no slots of its own.
            return if shared { 0 } else { slots };
        }
        let node = strings(model, need).find_map(|id| model.node_of(id));
        let each = node.map_or(1, |node| u64::from(node.slots.max(1)));
        // The most that it takes on any controller whose universes are limited.
        let its = model.controllers.iter().enumerate();
        its.filter(|(index, _)| limit(model, ControllerId::from(*index)) < u64::MAX)
            .map(|(_, controller)| {
                let universe = used(model, controller);
                let whole = model.display.whole_nodes || controller.whole_nodes;
                let usable = match universe - universe % each {
                    usable if whole && usable > 0 => usable,
                    _ => universe,
                };
                match controller.align {
                    Align::Prop => slots.div_ceil(usable) * universe,
                    _ => (slots * universe).div_ceil(usable),
                }
            })
            .fold(slots, u64::max)
    }

    /// Where all nodes of a kind draw the same current, counts current as nodes.
    fn even_draws(&mut self) {
        let instance = &mut self.instance;
        let count = instance.kinds.iter().max().map_or(0, |kind| kind + 1);
        for kind in 0..count {
            let mine = |line: &&mut Load| instance.kinds.get(line.class) == Some(&kind);
            let lines = instance.groups.iter_mut().flat_map(|group| &mut group.lines);
            let mut lines: Vec<&mut Load> = lines.filter(mine).collect();
            let each =
                lines.iter().find(|line| line.draw > 0).map(|one| one.draw / one.size.max(1));
            let Some(each) = each.filter(|each| *each > 0) else {
                continue;
            };
            if lines.iter().any(|line| line.draw != each.saturating_mul(line.size)) {
                continue;
            }
            for line in &mut lines {
                line.draw = 0;
            }
            for rooms in &mut instance.looks {
                for (class, room) in rooms.iter_mut().enumerate() {
                    if let Some(room) = room
                        && instance.kinds.get(class) == Some(&kind)
                        && room.current < u64::MAX
                    {
                        room.nodes = room.nodes.min(room.current / each);
                        room.current = u64::MAX;
                    }
                }
            }
        }
    }

    /// An output for each line.
    ///
    /// # Errors
    /// The best try, where not every line has one.
    pub fn place(&self, aim: Aim) -> Result<Found, Vec<Option<usize>>> {
        let steps = pack::budget(self.lines.len());
        let sought = match aim {
            Aim::Best => pack::seek(&self.instance, steps),
            Aim::Any => pack::any(&self.instance, steps),
        };
        match sought {
            Ok(answer) => Ok(self.found(&answer)),
            Err(none) => {
                let row = |port: &Option<usize>| port.map(|port| self.row(port));
                Err(none.ports.iter().flatten().map(row).collect())
            }
        }
    }

    /// Whether there is room at all, and the steps that took.
    pub fn fits(&self, steps: u64) -> (bool, u64) {
        pack::fits(&self.instance, steps)
    }

    /// The lines that provably find no room, in sets that clash.
    pub fn clashes(&self) -> Vec<LineClash> {
        let clashes = pack::clashes(&self.instance, pack::budget(self.lines.len()));
        let lines = |clash: pack::Clash| LineClash {
            lines: clash
                .groups
                .iter()
                .filter_map(|group| self.groups.get(*group).cloned())
                .flatten()
                .collect(),
            cause: clash.cause,
        };
        clashes.into_iter().map(lines).collect()
    }

    fn row(&self, port: usize) -> usize {
        self.rows.get(port).copied().unwrap_or(usize::MAX)
    }

    fn found(&self, answer: &Answer) -> Found {
        Found {
            outputs: answer.ports.iter().flatten().map(|port| self.row(*port)).collect(),
            picked: Picked {
                opened: answer.opened,
                bound: answer.bound,
                fewest: answer.fewest,
                lead_dm: answer.lead,
                least_lead: answer.least_lead,
                split: answer.split,
                apart: answer.apart,
                finished: answer.finished,
                steps: answer.steps,
            },
        }
    }
}

/// A port is compared with at most this many that were looked at before it.
const MOST_ALIKE: usize = 8;

/// The kind of a port whose nodes are like those of no open line.
const NO_KIND: usize = u32::MAX as usize - 1;

/// Whether a line must have a port of its own.
fn lone(model: &Model, need: &Need) -> bool {
    let stored = |id: StringId| {
        model.string(id).is_some_and(|string| string.stored || string.same_as.is_some())
    };
    let mut makes = strings(model, need).map(|id| Make::of(model, id));
    let first = makes.next();
    need.head
        || need.alone
        || need.unfed
        || makes.any(|make| Some(make) != first)
        || strings(model, need).any(stored)
}

/// A target as a sort key.
fn target(target: Target) -> (u8, usize) {
    match target {
        Target::Any => (0, 0),
        Target::Controller(id) | Target::Port(id, ..) | Target::Dmx(id, _) => (1, id.index()),
        Target::Receiver(id) => (2, id.index()),
    }
}

fn strings<'a>(model: &'a Model, need: &Need) -> impl Iterator<Item = StringId> + use<'a> {
    let stretch = need.pieces.start as usize..need.pieces.end as usize;
    let pieces = model.pieces.get(stretch).unwrap_or(&[]);
    pieces.iter().filter_map(|piece| match piece.kind {
        PieceKind::String(id, _) => Some(id),
        PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    })
}

/// Straight line between two places in micrometres, in tenths of a metre.
fn distance(from: (i64, i64), to: (i64, i64)) -> u64 {
    crate::unit::straight_um(from, to).saturating_add(50_000) / 100_000
}

/// Slots of each universe that a controller uses; at least 1.
fn used(model: &Model, controller: &Controller) -> u64 {
    u64::from(controller.slots_used(model.display.universe_slots).max(1))
}

/// Slots of all universes that a controller may take.
fn limit(model: &Model, id: ControllerId) -> u64 {
    let Some(controller) = model.controller(id) else {
        return u64::MAX;
    };
    let most = controller.most_universes.map(|most| u64::from(most.value));
    let range = match controller.start {
        Start::Range(first, last) => Some(u64::from(last.saturating_sub(first)) + 1),
        Start::Auto | Start::From(_) | Start::After(_) => None,
    };
    let universes = most.into_iter().chain(range).min();
    let slots = used(model, controller);
    universes.map_or(u64::MAX, |universes| universes.saturating_mul(slots))
}
