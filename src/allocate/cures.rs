//! What would make room for lines that clash: one more port, fewer nodes, a lower frame rate,
//! another controller, more universes.
//!
//! Each is made in a copy of the model and tried before it is offered: first by a quick search for
//! the least that helps, then the whole way to addresses and rules.

use super::chains::{self, Seat};
use super::fixtures::Fixtures;
use super::needs::Need;
use super::outlets::Outlets;
use super::seek::{Aim, Asked, Universes};
use super::{addresses, ports, stored};
use crate::diagnostic::Sink;
use crate::model::{
    Controller, ControllerId, Model, NodeKind, PieceKind, Port, PortSettings, Start, Stated,
    StringId, Target,
};
use crate::rules::place::no_room::{Cure, RatePlace};
use crate::source::Span;
use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Steps of search: at most in all for one clash, at most for one trial, and what each line adds.
const STEPS: u64 = 20_000_000;
const SHARE: u64 = 1_000_000;
const SHARE_A_LINE: u64 = 5_000;

/// At most this many cures are offered.
const MOST: usize = 4;

/// At most this many ports, outputs or universes more are tried.
const MOST_MORE: u32 = 512;

/// The most ports that a controller may have.
const MOST_PORTS: u32 = 1_024;

/// At most this many strings are tried shorter, and this many controllers larger.
const MOST_TRIED: usize = 12;

/// No frame rate below this is offered, in hertz: nodes then flicker.
const SLOWEST: u32 = 10;

/// What helps lines that clash; `others` are the lines that find no room for other reasons.
pub(super) fn of(asked: &Refused<'_>, lines: &[(usize, Need)], others: &[usize]) -> Vec<Cure> {
    let mut others = others.to_vec();
    others.sort_unstable();
    let Refused { model, said, .. } = *asked;
    let mut trial = Trial { asked, model, said, lines, others, left: STEPS };
    let fixtures = lines.iter().any(|(_, need)| need.fixture);
    let mut cures = Vec::new();
    if fixtures {
        cures.extend(trial.outputs());
    } else {
        cures.extend(trial.ports());
        cures.extend(trial.shorter());
        cures.extend(trial.rate());
        cures.extend(trial.universes());
    }
    cures.extend(trial.anywhere());
    cures.retain(|(_, changed)| trial.compiles(changed));
    if cures.is_empty() {
        // What helps all lines at once, whatever they clash with.
        trial.left = STEPS;
        trial.others.clear();
        if fixtures {
            cures.extend(trial.outputs());
        } else {
            cures.extend(trial.ports());
        }
        cures.retain(|(_, changed)| trial.compiles(changed));
    }
    if cures.is_empty() {
        trial.left = STEPS;
        cures.extend(trial.controller());
        cures.retain(|(_, changed)| trial.compiles(changed));
    }
    cures.truncate(MOST);
    cures.into_iter().map(|(cure, _)| cure).collect()
}

/// A cure with the display that it makes.
type Tried = (Cure, Model);

/// A display that is refused.
pub(super) struct Refused<'a> {
    /// What it means.
    pub model: &'a Model,
    /// The seats that it states.
    pub said: &'a [Option<Seat>],
    /// Those, and the seats that were found.
    pub filled: &'a [Option<Seat>],
    /// Errors of each code as the display is.
    pub errors: OnceCell<BTreeMap<&'static str, usize>>,
}

struct Trial<'a> {
    asked: &'a Refused<'a>,
    model: &'a Model,
    said: &'a [Option<Seat>],
    lines: &'a [(usize, Need)],
    /// Ascending.
    others: Vec<usize>,
    left: u64,
}

impl Trial<'_> {
    /// The open lines of a display, without those that clash for other reasons.
    fn open(&self, changed: &Model) -> Vec<(usize, Need)> {
        let mut lines = ports::open(changed, self.said);
        lines.retain(|(index, _)| self.others.binary_search(index).is_err());
        lines
    }

    /// Whether everything finds room except the lines that clash for other reasons.
    fn fits(&mut self, changed: &Model) -> bool {
        if self.left == 0 {
            return false;
        }
        let mut lines = self.open(changed);
        let outlets = Outlets::new(changed, self.said);
        outlets.mark_unfed(&mut lines);
        let (fixtures, pixel): (Vec<_>, Vec<_>) =
            lines.into_iter().partition(|(_, need)| need.fixture);
        let share = SHARE + SHARE_A_LINE * pixel.len() as u64;
        let asked = Asked::new(changed, &outlets, &pixel, Universes::Safe);
        let (fit, steps) = asked.fits(share.min(self.left));
        self.left = self.left.saturating_sub(steps + 1_000);
        let place = || Fixtures::new(changed, &outlets, &fixtures);
        fit && (fixtures.is_empty() || place().fits())
    }

    /// Whether a display has no new errors, and no line without a port but `others`, which are
    /// left out.
    fn compiles(&self, changed: &Model) -> bool {
        let mut seats = self.said.to_vec();
        let filled = ports::fill(changed, &mut seats, self.open(changed), None, Aim::Any);
        filled.left.is_empty() && {
            let before = self.asked.errors.get_or_init(|| errors(self.model, self.asked.filled));
            let after = errors(changed, &seats);
            after.iter().all(|(code, count)| count <= before.get(code).unwrap_or(&0))
        }
    }

    /// The least number from 1 to `most` for which a changed display has room, with that display.
    fn least(
        &mut self,
        most: u32,
        mut change: impl FnMut(&mut Model, u32),
    ) -> Option<(u32, Model)> {
        let mut made = |count: u32| {
            let mut changed = self.model.clone();
            change(&mut changed, count);
            changed
        };
        let mut best = made(most);
        if most == 0 || !self.fits(&best) {
            return None;
        }
        let (mut low, mut high) = (0, most);
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            let changed = made(middle);
            if self.fits(&changed) {
                (high, best) = (middle, changed);
            } else {
                low = middle;
            }
        }
        Some((high, best))
    }

    /// The controllers that the lines may go to and that can grow, with text that is theirs alone.
    fn growing(&self, at: fn(&Controller) -> Vec<Span>) -> Vec<(usize, ControllerId, Span)> {
        let mut written: BTreeMap<Span, usize> = BTreeMap::new();
        for controller in &self.model.controllers {
            let mut spans = at(controller);
            spans.dedup();
            for span in spans {
                *written.entry(span).or_default() += 1;
            }
        }
        let asked = |id: ControllerId| {
            let mut targets = self.lines.iter().map(|(_, need)| need.target);
            targets.any(|target| match target {
                Target::Any => true,
                Target::Controller(its) => its == id,
                Target::Receiver(_) | Target::Port(..) | Target::Dmx(..) => false,
            })
        };
        let all = self.model.controllers.iter().enumerate();
        all.filter(|(index, controller)| {
            asked(ControllerId::from(*index)) && !controller.stock && !controller.broken
        })
        .filter_map(|(index, controller)| {
            let alone = |span: &Span| written.get(span) == Some(&1);
            let span = at(controller).into_iter().rev().find(alone)?;
            Some((index, ControllerId::from(index), span))
        })
        .take(MOST_TRIED)
        .collect()
    }

    /// The fewest more ports on one controller.
    fn ports(&mut self) -> Option<Tried> {
        let (_, need) = self.lines.first()?;
        let node = self.model.node_of(need.first.0)?.clone();
        let mut best: Option<(bool, u32, Tried)> = None;
        let mut tried: Vec<Arc<PortSettings>> = Vec::new();
        let anywhere = self.lines.iter().all(|(_, need)| need.target == Target::Any);
        let spans = |controller: &Controller| controller.ports.iter().map(|port| port.at).collect();
        for (index, id, before) in self.growing(spans) {
            let Some(controller) = self.model.controller(id) else {
                continue;
            };
            let widest = controller
                .ports
                .iter()
                .filter(|port| port.settings.slots.is_none())
                .max_by_key(|port| port.settings.nodes.map_or(u32::MAX, |most| most.value));
            let (Some(like), Some(last)) = (widest, controller.ports.last()) else {
                continue;
            };
            let (suits, settings) = suited(&like.settings, &node);
            let settings = Arc::new(settings);
            let limited =
                controller.most_universes.is_some() || matches!(controller.start, Start::Range(..));
            if anywhere && !limited {
                // The same ports on another controller help no more than here.
                if tried.iter().any(|one| one.is_like(&settings)) {
                    continue;
                }
                tried.push(Arc::clone(&settings));
            }
            let first = last.number + 1;
            let most = match &best {
                // A port like those there are is better than one for other nodes.
                Some((known, count, _)) if *known == suits => count - 1,
                Some((true, ..)) => continue,
                Some(_) | None => MOST_MORE,
            };
            let room = MOST_PORTS.saturating_sub(last.number);
            let found = self.least(most.min(room), |model, count| {
                if let Some(controller) = model.controllers.as_mut_slice().get_mut(index) {
                    controller.ports.extend((first..first + count).map(|number| Port {
                        number,
                        at: before,
                        settings: Arc::clone(&settings),
                    }));
                }
            });
            if let Some((count, changed)) = found {
                let cure =
                    Cure::Ports { controller: self.name(id), before, first, count, settings };
                best = Some((suits, count, (cure, changed)));
            }
        }
        best.map(|(.., tried)| tried)
    }

    /// The fewest more DMX outputs on one controller.
    fn outputs(&mut self) -> Option<Tried> {
        let mut best: Option<(u32, Tried)> = None;
        let spans = |controller: &Controller| controller.dmx.iter().map(|dmx| dmx.at).collect();
        for (index, id, before) in self.growing(spans) {
            let last = self
                .model
                .controller(id)
                .and_then(|controller| controller.dmx.iter().map(|dmx| dmx.value).max());
            let Some(first) = last.map(|last| last + 1) else {
                continue;
            };
            let most = best.as_ref().map_or(MOST_MORE, |(count, _)| count - 1);
            let found = self.least(most, |model, count| {
                if let Some(controller) = model.controllers.as_mut_slice().get_mut(index) {
                    let more = (first..first + count).map(|value| Stated { value, at: before });
                    controller.dmx.extend(more);
                }
            });
            if let Some((count, changed)) = found {
                let cure = Cure::Outputs { controller: self.name(id), before, first, count };
                best = Some((count, (cure, changed)));
            }
        }
        best.map(|(_, tried)| tried)
    }

    fn name(&self, id: ControllerId) -> String {
        let controller = self.model.controller(id);
        controller.map_or(String::new(), |one| one.name.to_string())
    }

    /// The fewest nodes less in one setting that help.
    fn shorter(&mut self) -> Option<Tried> {
        let mut strings: Vec<(u32, Span, StringId)> = Vec::new();
        for (_, need) in self.lines {
            let pieces =
                self.model.pieces.get(need.pieces.start as usize..need.pieces.end as usize);
            for piece in pieces.unwrap_or(&[]) {
                let PieceKind::String(id, _) = piece.kind else {
                    continue;
                };
                if let Some(shape) = self.model.shape_of(id)
                    && shape.runs.is_empty()
                    && !self.model.splits.iter().any(|split| split.at == shape.at)
                    && strings.iter().all(|row| row.1 != shape.at)
                {
                    strings.push((shape.nodes, shape.at, id));
                }
            }
        }
        strings.sort_by_key(|(nodes, at, _)| (std::cmp::Reverse(*nodes), *at));
        strings.truncate(MOST_TRIED);
        let mut best: Option<(u32, Tried)> = None;
        for (nodes, at, id) in strings {
            let strand = self.model.shape_of(id).and_then(|shape| shape.strand);
            let step = strand.unwrap_or(1).max(1);
            let (count, which) = self.said_by(at, id);
            let most = best.as_ref().map_or(u32::MAX, |(less, _)| less - 1);
            let most = most.min(nodes - 1) / step;
            let found = self.least(most, |model, steps| {
                for shape in model.shapes.iter_mut().filter(|shape| shape.at == at) {
                    let each = shape.slots / shape.nodes.max(1);
                    shape.nodes = shape.nodes.saturating_sub(steps * step).max(1);
                    shape.slots = shape.nodes * each;
                }
            });
            if let Some((steps, changed)) = found {
                let less = steps * step;
                let cure = Cure::Shorter {
                    which,
                    less,
                    strings: count,
                    nodes: (nodes - less, strand),
                    at,
                };
                best = Some((less, (cure, changed)));
            }
        }
        best.map(|(_, tried)| tried)
    }

    /// How many strings of one member a setting covers, and what to call all that it covers.
    fn said_by(&self, at: Span, id: StringId) -> (u32, String) {
        let says = |own: u32| {
            let shape = self.model.shape_of(StringId(own));
            shape.is_some_and(|shape| shape.at == at)
        };
        let (Some(string), Some(prop)) = (self.model.string(id), self.model.prop_of(id)) else {
            return (1, String::new());
        };
        let own = prop.strings_of(string.member.max(1)).filter(|own| says(*own));
        let all = prop.strings().filter(|own| says(*own)).count();
        let which = match all {
            1 => format!("`{}`", self.model.name_of(id)),
            _ => format!("each string of `{}`", prop.name),
        };
        (u32::try_from(own.count()).unwrap_or(1), which)
    }

    /// The highest lower frame rate that helps.
    fn rate(&mut self) -> Option<Tried> {
        let display = &self.model.display;
        let top = u32::try_from(display.frame_rate_mhz.saturating_sub(1) / 1_000).ok()?;
        let place = match (display.frame_rate_at, display.first_at, display.at) {
            (Some(at), ..) => RatePlace::Instead(at),
            (None, Some(first), _) => RatePlace::Before(first),
            (None, None, None) => RatePlace::Alone,
            (None, None, Some(_)) => return None,
        };
        let most = top.checked_sub(SLOWEST)? + 1;
        let (less, changed) = self.least(most, |model, less| {
            model.display.frame_rate_mhz = u64::from(top + 1 - less) * 1_000;
        })?;
        let hertz = top + 1 - less;
        Some((Cure::Rate { hertz, place }, changed))
    }

    /// The fewest more universes on one controller that limits them.
    fn universes(&mut self) -> Option<Tried> {
        let mut best: Option<(u32, Tried)> = None;
        let spans = |controller: &Controller| {
            let range = matches!(controller.start, Start::Range(..));
            let start = controller.start_at.filter(|_| range);
            let most = controller.most_universes.map(|most| most.at);
            start.into_iter().chain(most).collect()
        };
        for (index, id, at) in self.growing(spans) {
            let most = best.as_ref().map_or(MOST_MORE, |(count, _)| count - 1);
            let found = self.least(most, |model, more| {
                if let Some(controller) = model.controllers.as_mut_slice().get_mut(index) {
                    match (&mut controller.most_universes, &mut controller.start) {
                        (Some(told), _) if told.at == at => {
                            told.value = told.value.saturating_add(more);
                        }
                        (_, Start::Range(_, last)) => *last = last.saturating_add(more),
                        _ => {}
                    }
                }
            });
            let Some((more, changed)) = found else {
                continue;
            };
            let Some(after) = changed.controllers.as_slice().get(index) else {
                continue;
            };
            let (count, text) = match (after.most_universes, after.start) {
                (Some(told), _) if told.at == at => {
                    (told.value, format!("universes at most {}", told.value))
                }
                (_, Start::Range(first, last)) => {
                    (last + 1 - first, format!("universes {first}..{last}"))
                }
                _ => continue,
            };
            let cure = Cure::Universes { controller: self.name(id), count, at, text };
            best = Some((more, (cure, changed)));
        }
        best.map(|(_, tried)| tried)
    }

    /// One more controller with the fewest ports or outputs; ports have the largest node limit.
    fn controller(&mut self) -> Option<Tried> {
        let (_, need) = self.lines.first()?;
        let free = |name: &String| {
            let mut all = self.model.controllers.iter();
            all.all(|controller| *controller.name != **name)
        };
        let names = (2..).map(|number| format!("more-{number}"));
        let name = std::iter::once("more".to_owned()).chain(names).find(free)?;
        let all = self.model.controllers.iter().flat_map(|one| &one.ports);
        let most = all.filter_map(|port| port.settings.nodes);
        let settings = Arc::new(PortSettings {
            nodes: most.max_by_key(|most| most.value),
            ..PortSettings::default()
        });
        let mut wires: Vec<Span> = Vec::new();
        for (index, need) in self.lines {
            let at = self.model.lines.get(*index)?.at;
            if need.target != Target::Any && !wires.contains(&at) {
                wires.push(at);
            }
        }
        let found = self.least(MOST_MORE, |model, count| {
            let whole_nodes = model.display.whole_nodes;
            let mut controller = Controller::plain(&name, whole_nodes);
            let at = Span::default();
            if need.fixture {
                controller.dmx = (1..=count).map(|value| Stated { value, at }).collect();
            } else {
                controller.ports.extend((1..=count).map(|number| Port {
                    number,
                    at,
                    settings: Arc::clone(&settings),
                }));
            }
            model.controllers.push(controller);
            for line in &mut model.lines {
                if wires.contains(&line.at) {
                    line.target = Target::Any;
                }
            }
        });
        let (count, changed) = found?;
        let settings = (!need.fixture).then_some(settings);
        let cure = Cure::Controller { name, count, settings, wires };
        Some((cure, changed))
    }

    /// The lines of one wire, free to go to any controller.
    fn anywhere(&mut self) -> Option<Tried> {
        let mut seen: Vec<Span> = Vec::new();
        for (index, need) in self.lines {
            let line = self.model.lines.get(*index)?;
            let from = match need.target {
                Target::Controller(id) => self.name(id),
                Target::Receiver(id) => {
                    let receiver = self.model.receivers.as_slice().get(id.index())?;
                    receiver.name.to_string()
                }
                Target::Any | Target::Port(..) | Target::Dmx(..) => continue,
            };
            let at = line.at;
            if seen.contains(&at) {
                continue;
            }
            seen.push(at);
            let mut changed = self.model.clone();
            for line in changed.lines.iter_mut().filter(|line| line.at == at) {
                line.target = Target::Any;
            }
            if self.fits(&changed) {
                return Some((Cure::Anywhere { at, from }, changed));
            }
        }
        None
    }
}

/// The settings of a port, changed where they do not suit a kind of node, and whether they suit it
/// as they are.
fn suited(settings: &PortSettings, node: &NodeKind) -> (bool, PortSettings) {
    let mut settings = settings.clone();
    let mut suits = true;
    if let Some(chip) = node.chip.filter(|chip| {
        let mut driven = settings.chips.iter();
        !settings.chips.is_empty() && driven.all(|one| one.value != chip.value)
    }) {
        settings.chips = vec![chip];
        suits = false;
    }
    if let (Some(port), Some(volts)) = (settings.volts, node.volts)
        && port.value != volts.value
    {
        settings.volts = Some(volts);
        suits = false;
    }
    (suits, settings)
}

/// How many errors of each code a display has with its lines on these seats.
fn errors(model: &Model, seats: &[Option<Seat>]) -> BTreeMap<&'static str, usize> {
    let mut sink = Sink::default();
    let ports = chains::join(model, &chains::order(model, seats, None));
    let (plan, _) = addresses::lay(model, ports, None, &mut sink);
    stored::errors(model, &plan, sink)
}
