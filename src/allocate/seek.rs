//! Open pixel lines → outputs, by the placement engine: its instance made of the model, its answer taken back.
//!
//! A site of the engine is a stretch of a controller's ports that come out at one place. A port that a wire names is
//! left as it is while others have room. Universes are counted on the safe side first; where they seem short, by what is
//! needed at least, so that a refusal is certain. Whether a placement found that way holds is told when the addresses
//! are known.
//!
//! `prefer` puts leads or even load before the number of ports: the sites are then sought as if every port were in use
//! already, and the ports on those sites afterwards.

use super::needs::{Need, State};
use super::outlets::Outlets;
use super::pack::{self, Answer, Cause, Failed, Group, Instance, Line, Port, Site};
use super::stretches::Stretch;
use crate::model::{Align, ChipId, Model, PieceKind, Prefer, ReceiverId, Start, StringId, Target};
use crate::plan::Picked;
use std::collections::BTreeMap;

/// So many steps of search a line, and so many in all, which is a third of the engine's own budget: what comes after was
/// seen to gain a port or none, and some metres of lead.
const STEPS_A_LINE: u64 = 80_000;
const MOST_STEPS: u64 = pack::DEFAULT_STEPS / 3;

/// So many pairs of a group and a site, or of a port and a class, are looked at; past that the simple rule is used.
const MOST_PAIRS: usize = 2_000_000;

/// So many lines are searched for; past that the simple rule is used.
const MOST_LINES: usize = 10_000;

/// What lines that may share a port have in common: chip, voltage unless fed apart, bits of a node, and the receiver
/// that the wire names. A line that is like no other has its number instead.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
enum Class {
    Alike(Option<ChipId>, Option<i64>, u32, Option<ReceiverId>),
    Alone(usize),
}

/// How universes that are limited are counted.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Universes {
    /// With all that alignment and whole nodes may leave free.
    Safe,
    /// The slots of the strings alone: what does not fit so does not fit at all.
    Least,
}

/// Where each line goes, and how good that is known to be.
pub(super) struct Found {
    /// For each line its output.
    pub outputs: Vec<usize>,
    /// What is known of the answer.
    pub picked: Picked,
}

/// Lines that together find no room.
pub(super) struct Clash {
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
    stretches: Vec<Stretch>,
    classes: Vec<Class>,
    samples: BTreeMap<Class, Sample<'a>>,
    limited: Limited,
    /// Whether some strings show another's data.
    shared: bool,
}

/// What holds of controllers whose universes are limited.
#[derive(Clone, Copy, Default)]
struct Limited {
    /// There are some.
    any: bool,
    /// One of them aligns.
    aligned: bool,
    /// One of them keeps nodes whole.
    whole: bool,
    /// The fewest slots of each universe that one of them uses.
    used: u64,
}

/// What stands for a class.
#[derive(Clone, Copy)]
struct Sample<'a> {
    need: &'a Need,
    /// What one node draws at most, in microamperes.
    draw: u64,
}

impl<'a> Asked<'a> {
    /// `None` where the display is too large to be searched.
    pub fn new(
        model: &'a Model,
        outlets: &'a Outlets<'a>,
        lines: &'a [(usize, Need)],
    ) -> Option<Self> {
        let stretches = outlets.stretches();
        let classes: Vec<Class> = lines
            .iter()
            .enumerate()
            .map(|(place, (_, need))| class(model, outlets, need).unwrap_or(Class::Alone(place)))
            .collect();
        let mut samples: BTreeMap<Class, Sample<'_>> = BTreeMap::new();
        for (class, (_, need)) in classes.iter().zip(lines) {
            let draw = outlets.draw(need);
            let sample = samples.entry(*class).or_insert(Sample { need, draw });
            sample.draw = sample.draw.max(draw);
        }
        let ports: usize = stretches.iter().map(|stretch| stretch.rows.len()).sum();
        let searched = lines.len() <= MOST_LINES
            && lines.len() * stretches.len() <= MOST_PAIRS
            && lines.len() * samples.len() <= MOST_PAIRS
            && ports * samples.len() <= MOST_PAIRS;
        let mut limited = Limited {
            used: u64::MAX,
            ..Limited::default()
        };
        for stretch in &stretches {
            if let Some(controller) = model.controller(stretch.controller)
                && limit(model, stretch) < u64::MAX
            {
                limited.any = true;
                limited.aligned |= controller.align != Align::Off;
                limited.whole |= controller.whole_nodes || model.display.whole_nodes;
                let used = controller.slots_used(model.display.universe_slots);
                limited.used = limited.used.min(u64::from(used.max(1)));
            }
        }
        searched.then_some(Self {
            model,
            outlets,
            lines,
            stretches,
            classes,
            samples,
            limited,
            shared: model.strings.iter().any(|string| string.same_as.is_some()),
        })
    }

    /// An output for each line; `None` where the engine finds no room.
    pub fn place(&self) -> Option<Found> {
        let rounds = [
            (Universes::Safe, false),
            (Universes::Safe, true),
            (Universes::Least, false),
            (Universes::Least, true),
        ];
        for (universes, wired) in rounds {
            if universes == Universes::Least && !self.limited.any {
                break;
            }
            let instance = self.instance(universes, wired);
            if let Ok(answer) = self.sought(&instance) {
                return self.found(&answer);
            }
        }
        None
    }

    /// Whether there is room at all, and the steps that took.
    pub fn fits(&self, steps: u64) -> (bool, u64) {
        match pack::fits(&self.instance(Universes::Least, true), steps) {
            Ok(steps) => (true, steps),
            Err(failed) => (false, failed.steps),
        }
    }

    /// The lines that find no room, in sets that clash; none where that could not be found out.
    pub fn clashes(&self) -> Vec<Clash> {
        let lines = self.lines_of_groups();
        let instance = self.instance(Universes::Least, true);
        let clashes = pack::clashes(&instance, self.steps()).into_iter();
        let lines = |(groups, cause): (Vec<usize>, Cause)| Clash {
            lines: groups
                .iter()
                .filter_map(|group| lines.get(*group))
                .flatten()
                .copied()
                .collect(),
            cause,
        };
        clashes.map(lines).collect()
    }

    /// Lines for which there are ports, but no universes.
    pub fn over_limits(&self) -> Vec<usize> {
        let unlimited = |mut instance: Instance| {
            for site in &mut instance.sites {
                site.limit = u64::MAX;
            }
            instance
        };
        let instance = self.instance(Universes::Least, true);
        if !self.limited.any || pack::fits(&unlimited(instance), self.steps()).is_err() {
            return Vec::new();
        }
        let clashes = self.clashes().into_iter();
        clashes.flat_map(|clash| clash.lines).collect()
    }

    fn steps(&self) -> u64 {
        MOST_STEPS.min(STEPS_A_LINE * self.lines.len() as u64)
    }

    /// Seeks in the order that the display wants.
    fn sought(&self, instance: &Instance) -> Result<Answer, Failed> {
        let steps = self.steps();
        let prefer = self.model.display.prefer.map(|told| told.value);
        let leads = match prefer {
            None | Some(Prefer::FewestPorts) => return pack::seek(instance, steps),
            Some(Prefer::ShortestLeads) => true,
            Some(Prefer::EvenLoad) => false,
        };
        let mut open = instance.clone();
        for port in open.sites.iter_mut().flat_map(|site| &mut site.ports) {
            port.open = true;
        }
        if !leads {
            for group in &mut open.groups {
                group.lead.clear();
            }
        }
        let sited = pack::seek(&open, steps / 2)?;
        let mut tied = instance.clone();
        for (group, spots) in tied.groups.iter_mut().zip(&sited.spots) {
            let mut sites: Vec<usize> = spots.iter().map(|spot| spot.site).collect();
            sites.sort_unstable();
            sites.dedup();
            group.sites = Some(sites);
        }
        // The same sites are lawful with the ports as they are; only a search cut short may miss that.
        pack::seek(&tied, steps / 2).or_else(|_| pack::seek(instance, steps))
    }

    fn found(&self, answer: &Answer) -> Option<Found> {
        let spots = answer.spots.iter().flatten();
        let row = |spot: &pack::Spot| {
            let stretch = self.stretches.get(spot.site)?;
            stretch.rows.get(spot.port).copied().flatten()
        };
        Some(Found {
            outputs: spots.map(row).collect::<Option<Vec<usize>>>()?,
            picked: Picked {
                opened: answer.opened,
                bound: answer.bound,
                lead_dm: answer.lead,
                least_lead: answer.least_lead,
                split: answer.split.len() as u64,
                steps: answer.steps,
            },
        })
    }

    fn instance(&self, universes: Universes, wired: bool) -> Instance {
        let site = |stretch| self.site(stretch, wired);
        Instance {
            sites: self.stretches.iter().map(site).collect(),
            groups: self.groups(universes),
        }
    }

    /// Which lines each group has.
    fn lines_of_groups(&self) -> Vec<Vec<usize>> {
        let group = |index: usize| self.model.lines.get(index).map(|line| line.group);
        let mut at = 0;
        let chunks = self
            .lines
            .chunk_by(|a, b| group(a.0) == group(b.0) && a.1.target == b.1.target);
        chunks
            .map(|lines| {
                let from = at;
                at += lines.len();
                (from..at).collect()
            })
            .collect()
    }

    /// The lines by group; those of one wire lie side by side.
    fn groups(&self, universes: Universes) -> Vec<Group> {
        let numbers: BTreeMap<Class, usize> = self.samples.keys().copied().zip(0..).collect();
        let mut groups = Vec::new();
        for lines in self.lines_of_groups() {
            let its = lines.iter().filter_map(|at| {
                let (class, (_, need)) = (self.classes.get(*at)?, self.lines.get(*at)?);
                Some(Line {
                    size: size(self.model, need),
                    class: numbers.get(class).copied().unwrap_or(0),
                    weight: self.weight(need, universes),
                })
            });
            let its = its.collect();
            let first = lines.first().and_then(|at| self.lines.get(*at));
            let Some((_, first)) = first else {
                continue;
            };
            let allowed = self.stretches.iter().enumerate();
            let allowed = allowed.filter(|(_, stretch)| stretch.within(self.model, first.target));
            groups.push(Group {
                lines: its,
                sites: (first.target != Target::Any).then(|| allowed.map(|(at, _)| at).collect()),
                lead: lead(self.model, &self.stretches, first),
                may_split: true,
            });
        }
        groups
    }

    /// Slots of universes that a line takes.
    fn weight(&self, need: &Need, universes: Universes) -> u64 {
        let model = self.model;
        if !self.limited.any {
            return 0;
        }
        let slots = Outlets::load(model, need).slots;
        if universes == Universes::Least {
            // What shows another's data may take no slots of its own.
            return if self.shared { 0 } else { slots };
        }
        let node = strings(model, need).find_map(|id| model.node_of(id));
        let each = node.map_or(1, |node| u64::from(node.slots.max(1)));
        let slots = slots.saturating_add(u64::from(model.display.spare_nodes) * each);
        let universe = model.display.universe_slots.each();
        let used = universe.min(self.limited.used);
        let usable = match used - used % each {
            usable if self.limited.whole && usable > 0 => usable,
            _ => used,
        };
        if self.limited.aligned {
            return slots.div_ceil(used) * universe;
        }
        (slots * universe).div_ceil(usable)
    }

    /// A site with what is left on its ports; `wired` says whether ports that a wire names are offered.
    fn site(&self, stretch: &Stretch, wired: bool) -> Site {
        let (model, outlets) = (self.model, self.outlets);
        let port = |row: &Option<usize>| {
            let state = row.and_then(|at| outlets.state(at));
            let kept = state == Some(State::Wired) && !wired;
            let room = |(class, sample): (&Class, &Sample<'_>)| match (*row, class) {
                (None, _) => 0,
                (Some(_), _) if kept => 0,
                (Some(at), Class::Alike(..)) => outlets.room(at, sample.need, sample.draw),
                (Some(at), Class::Alone(_)) if outlets.fits(at, sample.need).is_ok() => {
                    size(model, sample.need).max(1)
                }
                (Some(_), Class::Alone(_)) => 0,
            };
            Port {
                room: self.samples.iter().map(room).collect(),
                open: state.is_some_and(|state| state != State::Free),
            }
        };
        let rows = || stretch.rows.iter().copied().flatten();
        let taken: u64 = rows().map(|at| outlets.taken(at).1).sum();
        // A DMX output takes a universe of its own.
        let universe = model.display.universe_slots.each();
        let taken = taken + universe * outlets.dmx_in_use(stretch.controller);
        Site {
            ports: stretch.rows.iter().map(port).collect(),
            carried: rows().map(|at| outlets.taken(at).0).sum(),
            limit: match limit(model, stretch) {
                most if most < u64::MAX => most.saturating_sub(taken),
                most => most,
            },
        }
    }
}

/// What a line has in common with others; `None` where it must not share.
fn class(model: &Model, outlets: &Outlets<'_>, need: &Need) -> Option<Class> {
    if need.head || need.alone || need.unfed {
        return None;
    }
    let receiver = match need.target {
        Target::Receiver(id) => Some(id),
        Target::Controller(_) | Target::Any | Target::Port(..) | Target::Dmx(..) => None,
    };
    let mut found = None;
    for id in strings(model, need) {
        let string = model.string(id)?;
        if string.stored || string.same_as.is_some() {
            return None;
        }
        let node = model.node_of(id)?;
        let volts = node.volts.filter(|_| !outlets.fed_apart(id));
        let class = Class::Alike(
            node.chip.map(|chip| chip.value),
            volts.map(|volts| volts.value),
            node.bits,
            receiver,
        );
        if *found.get_or_insert(class) != class {
            return None;
        }
    }
    found
}

fn strings<'a>(model: &'a Model, need: &Need) -> impl Iterator<Item = StringId> + use<'a> {
    let stretch = need.pieces.start as usize..need.pieces.end as usize;
    let pieces = model.pieces.get(stretch).unwrap_or(&[]);
    pieces.iter().filter_map(|piece| match piece.kind {
        PieceKind::String(id, _) => Some(id),
        PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    })
}

/// Nodes in the data line.
fn size(model: &Model, need: &Need) -> u64 {
    Outlets::load(model, need).length()
}

/// From where the prop stands to each site, in tenths of a metre; 0 where one of them is not known.
fn lead(model: &Model, stretches: &[Stretch], need: &Need) -> Vec<u64> {
    let Some(from) = stands(model, need.first.0) else {
        return Vec::new();
    };
    let receiver = match need.target {
        Target::Receiver(id) => Some(id),
        Target::Controller(_) | Target::Any | Target::Port(..) | Target::Dmx(..) => None,
    };
    let metres = |stretch: &Stretch| {
        let to = match receiver.or(stretch.receiver) {
            Some(id) => model.receivers.get(id.index()).and_then(|r| r.stands),
            None => model.controller(stretch.controller).and_then(|c| c.stands),
        };
        to.map_or(0, |to| distance(from, to))
    };
    stretches.iter().map(metres).collect()
}

fn stands(model: &Model, id: StringId) -> Option<(i64, i64)> {
    let string = model.string(id)?;
    let prop = model.prop_of(id)?;
    let member = prop
        .members
        .iter()
        .find(|member| member.number == string.member);
    member.and_then(|member| member.stands).or(prop.stands)
}

/// Straight line between two places in micrometres, in tenths of a metre.
fn distance(from: (i64, i64), to: (i64, i64)) -> u64 {
    let (across, up) = (from.0.abs_diff(to.0), from.1.abs_diff(to.1));
    let square = u128::from(across)
        .pow(2)
        .saturating_add(u128::from(up).pow(2));
    let tenths = (square.isqrt() + 50_000) / 100_000;
    u64::try_from(tenths).unwrap_or(u64::MAX)
}

/// Slots of all universes that a site may take; no limit where it is only a part of its controller.
fn limit(model: &Model, stretch: &Stretch) -> u64 {
    let Some(controller) = model
        .controller(stretch.controller)
        .filter(|_| stretch.whole)
    else {
        return u64::MAX;
    };
    let most = controller.most_universes.map(|most| u64::from(most.value));
    let range = match controller.start {
        Start::Range(first, last) => Some(u64::from(last.saturating_sub(first)) + 1),
        Start::Auto | Start::From(_) | Start::After(_) => None,
    };
    let universes = most.into_iter().chain(range).min();
    let slots = model.display.universe_slots.each();
    universes.map_or(u64::MAX, |universes| universes.saturating_mul(slots))
}
