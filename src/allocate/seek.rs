//! Open pixel lines → outputs, by the placement engine: its instance made of the model, its answer taken back.
//!
//! A site of the engine is a stretch of a controller's ports that come out at one place. A port that a wire names is
//! left as it is while others have room. Universes are counted on the safe side, so where they seem short the lines
//! are placed once more without that limit: whether it holds is told when the addresses are known.

use super::needs::{Need, State};
use super::outlets::{Outlets, Stretch};
use super::pack::{self, Group, Instance, Line, Port, Site};
use crate::model::{
    Align, ChipId, Controller, Model, PieceKind, ReceiverId, Start, StringId, Target,
};
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

/// For each line an output, in the order of `lines`; `None` where the engine finds no room or the display is too large.
pub(super) fn outputs(
    model: &Model,
    outlets: &Outlets<'_>,
    lines: &[(usize, Need)],
) -> Option<Vec<usize>> {
    let stretches = outlets.stretches();
    let classes: Vec<Class> = lines
        .iter()
        .enumerate()
        .map(|(place, (_, need))| class(model, outlets, need).unwrap_or(Class::Alone(place)))
        .collect();
    let mut samples: BTreeMap<Class, &Need> = BTreeMap::new();
    for (class, (_, need)) in classes.iter().zip(lines) {
        samples.entry(*class).or_insert(need);
    }
    let ports: usize = stretches.iter().map(|stretch| stretch.rows.len()).sum();
    if lines.len() > MOST_LINES
        || lines.len() * stretches.len() > MOST_PAIRS
        || ports * samples.len() > MOST_PAIRS
    {
        return None;
    }
    let limited: Vec<&Controller> = stretches
        .iter()
        .filter(|stretch| limit(model, stretch) < u64::MAX)
        .filter_map(|stretch| model.controller(stretch.controller))
        .collect();
    let weights = lines.iter().map(|(_, need)| weight(model, need, &limited));
    let asked: Vec<(Class, u64)> = classes.into_iter().zip(weights).collect();
    let groups = groups(model, &stretches, lines, &asked, &samples);
    let steps = MOST_STEPS.min(STEPS_A_LINE * lines.len() as u64);
    let rounds = [(true, false), (true, true), (false, false), (false, true)];
    for (limits, wired) in rounds {
        if !limits && limited.is_empty() {
            break;
        }
        let site = |stretch| site(model, outlets, stretch, &samples, (limits, wired));
        let instance = Instance {
            sites: stretches.iter().map(site).collect(),
            groups: groups.clone(),
        };
        if let Ok(answer) = pack::place(&instance, steps) {
            let spots = answer.spots.iter().flatten();
            let row = |spot: &pack::Spot| {
                let stretch = stretches.get(spot.site)?;
                stretch.rows.get(spot.port).copied().flatten()
            };
            return spots.map(row).collect();
        }
    }
    None
}

/// What a line has in common with others; `None` where it must not share.
fn class(model: &Model, outlets: &Outlets<'_>, need: &Need) -> Option<Class> {
    if need.head || need.alone {
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

/// The lines by group; those of one wire lie side by side.
fn groups(
    model: &Model,
    stretches: &[Stretch],
    lines: &[(usize, Need)],
    asked: &[(Class, u64)],
    samples: &BTreeMap<Class, &Need>,
) -> Vec<Group> {
    let numbers: BTreeMap<Class, usize> = samples.keys().copied().zip(0..).collect();
    let group = |index: usize| model.lines.get(index).map(|line| line.group);
    let mut asked = asked.iter();
    let mut groups = Vec::new();
    for lines in lines.chunk_by(|a, b| group(a.0) == group(b.0) && a.1.target == b.1.target) {
        let Some((_, first)) = lines.first() else {
            continue;
        };
        let its = asked.by_ref().take(lines.len()).zip(lines);
        let its = its.map(|((class, weight), (_, need))| Line {
            size: size(model, need),
            class: numbers.get(class).copied().unwrap_or(0),
            weight: *weight,
        });
        let allowed = stretches.iter().enumerate();
        let allowed = allowed.filter(|(_, stretch)| stretch.within(model, first.target));
        groups.push(Group {
            lines: its.collect(),
            sites: (first.target != Target::Any).then(|| allowed.map(|(at, _)| at).collect()),
            lead: lead(model, stretches, first),
            may_split: true,
        });
    }
    groups
}

/// Nodes in the data line.
fn size(model: &Model, need: &Need) -> u64 {
    Outlets::load(model, need).length()
}

/// Slots, on the safe side: with what stays free behind a port, and what whole nodes or alignment may leave free of a
/// universe.
fn weight(model: &Model, need: &Need, limited: &[&Controller]) -> u64 {
    if limited.is_empty() {
        return 0;
    }
    let slots = Outlets::load(model, need).slots;
    let node = strings(model, need).find_map(|id| model.node_of(id));
    let each = node.map_or(1, |node| u64::from(node.slots.max(1)));
    let slots = slots.saturating_add(u64::from(model.display.spare_nodes) * each);
    let universe = u64::from(model.display.universe_slots.max(1));
    if limited.iter().any(|c| c.align != Align::Off) {
        return slots.div_ceil(universe) * universe;
    }
    let whole = model.display.whole_nodes || limited.iter().any(|c| c.whole_nodes);
    match universe - universe % each {
        usable if whole && usable > 0 => (slots * universe).div_ceil(usable),
        _ => slots,
    }
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

/// A site with what is left on its ports; `rules` says whether universes limit it and whether wired ports are offered.
fn site(
    model: &Model,
    outlets: &Outlets<'_>,
    stretch: &Stretch,
    samples: &BTreeMap<Class, &Need>,
    rules: (bool, bool),
) -> Site {
    let (limits, wired) = rules;
    let port = |row: &Option<usize>| {
        let state = row.and_then(|at| outlets.state(at));
        let kept = state == Some(State::Wired) && !wired;
        let room = |(class, need): (&Class, &&Need)| match (*row, class) {
            (None, _) => 0,
            (Some(_), _) if kept => 0,
            (Some(at), Class::Alike(..)) => outlets.room(at, need),
            (Some(at), Class::Alone(_)) if outlets.fits(at, need).is_ok() => {
                size(model, need).max(1)
            }
            (Some(_), Class::Alone(_)) => 0,
        };
        Port {
            room: samples.iter().map(room).collect(),
            open: state.is_some_and(|state| state != State::Free),
        }
    };
    let rows = || stretch.rows.iter().copied().flatten();
    let taken: u64 = rows().map(|at| outlets.taken(at).1).sum();
    Site {
        ports: stretch.rows.iter().map(port).collect(),
        carried: rows().map(|at| outlets.taken(at).0).sum(),
        limit: match limit(model, stretch) {
            most if limits && most < u64::MAX => most.saturating_sub(taken),
            _ => u64::MAX,
        },
    }
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
    let slots = u64::from(model.display.universe_slots);
    universes.map_or(u64::MAX, |universes| universes.saturating_mul(slots))
}
