//! Lines that name no port → ports.
//!
//! Pixel lines are placed all together by the placement engine ([`super::pack`]): a prop's lines on one controller on
//! ports next to each other, then the fewest ports, then the shortest leads, then even load (`prefer` changes the order
//! of these three). A port that a wire names gets another line only where there is no room otherwise. Fixtures, and everything where the engine finds no room
//! or the display is too large for it, are placed one by one, simply and lawfully: the first output that fits.
//!
//! What goes in is the model and the seats of the lines that have theirs; what comes out is a seat for each open
//! line. What finds none is told by [`super::refuse`], by sets that clash.
//!
//! One by one, a prop's lines want consecutive free ports of one controller; where there is no such run, each line takes the first
//! free port, then the first with room among those picked here, and only then one that a wire names. Fixtures fill
//! a DMX output before they begin the next.

use super::chains::Seat;
use super::fixtures::Fixtures;
use super::needs::{Hint, Kind, Need, State, Way};
use super::outlets::Outlets;
use super::refuse;
use super::seek::Asked;
use crate::diagnostic::Sink;
use crate::model::{Model, PropId, StringId, Target};
use crate::plan::Picked;
use crate::rules::place::no_room::{self, Tried};
use crate::source::Span;
use std::collections::BTreeMap;

/// In which order pixel lines look.
const PIXEL: &[Way] = &[
    (Kind::Pixel, State::Free),
    (Kind::Pixel, State::Picked),
    (Kind::Pixel, State::Wired),
];

/// In which order fixtures look.
const FIXTURE: &[Way] = &[
    (Kind::Dmx, State::Picked),
    (Kind::Dmx, State::Free),
    (Kind::Dmx, State::Wired),
    (Kind::Slots, State::Free),
    (Kind::Slots, State::Picked),
    (Kind::Slots, State::Wired),
];

/// A prop of which something found no port.
struct Failure {
    first: (StringId, Span),
    more: usize,
    target: (Target, Span),
    tried: Tried,
}

/// What came of placing.
pub(super) struct Filled {
    /// What is known of the ports that were picked.
    pub picked: Option<Picked>,
    /// Lines without a seat, fixtures and others.
    pub left: Vec<(usize, Need)>,
    failures: BTreeMap<PropId, Failure>,
}

/// Gives every open line that fits somewhere a seat; tells the rest.
pub(super) fn place(model: &Model, seats: &mut [Option<Seat>], sink: &mut Sink) -> Option<Picked> {
    let said = seats.to_vec();
    let filled = fill(model, seats);
    if !filled.left.is_empty() {
        tell(model, &said, filled.left, filled.failures, sink);
    }
    filled.picked
}

/// The open lines that have no seat yet, each with what it asks for.
pub(super) fn open(model: &Model, seats: &[Option<Seat>]) -> Vec<(usize, Need)> {
    let apart = model.injections.iter().any(|injection| injection.apart);
    let lines = model.lines.iter().zip(seats).enumerate();
    lines
        .filter(|(_, (line, seat))| is_open(line.target) && seat.is_none())
        .filter_map(|(index, (line, _))| Some((index, Need::of(model, line, apart)?)))
        .collect()
}

/// Gives every open line that fits somewhere a seat.
pub(super) fn fill(model: &Model, seats: &mut [Option<Seat>]) -> Filled {
    let said = seats.to_vec();
    let mut lines = open(model, seats);
    let mut filled = Filled {
        picked: None,
        left: Vec::new(),
        failures: BTreeMap::new(),
    };
    if lines.is_empty() {
        return filled;
    }
    let outlets = Outlets::new(model, seats);
    outlets.mark_unfed(&mut lines);
    let (mut lines, mut pixel): (Vec<_>, Vec<_>) =
        lines.into_iter().partition(|(_, need)| need.fixture);
    let mut found = None;
    let mut without_universes = Vec::new();
    if let Some(asked) = Asked::new(model, &outlets, &pixel) {
        found = asked.place();
        // Whoever places them one by one looks at ports only.
        let over = match &found {
            Some(_) => Vec::new(),
            None => asked.over_limits(),
        };
        if !over.is_empty() {
            let index = |at: &usize| pixel.get(*at).map(|(index, _)| *index);
            let over: Vec<usize> = over.iter().filter_map(index).collect();
            (without_universes, pixel) = pixel
                .into_iter()
                .partition(|(index, _)| over.contains(index));
            found = Asked::new(model, &outlets, &pixel).and_then(|asked| asked.place());
        }
    }
    let mut search = Search {
        model,
        outlets,
        hints: BTreeMap::new(),
        looks: 0,
        left: Vec::new(),
        failures: BTreeMap::new(),
    };
    match found {
        Some(found) => {
            filled.picked = Some(found.picked).filter(|_| !pixel.is_empty());
            search.seat(&pixel, &found.outputs, seats);
        }
        None => lines.extend(pixel),
    }
    for (index, need) in &without_universes {
        search.fail(*index, need);
    }
    lines.sort_by_key(|(index, _)| *index);
    let group = |index: usize| model.lines.get(index).map(|line| line.group);
    for lines in lines.chunk_by(|a, b| group(a.0) == group(b.0)) {
        search.group(lines, seats);
    }
    if search.left.iter().any(|(_, need)| need.fixture) {
        search.closer(&said, seats);
    }
    filled.left = search.left;
    filled.failures = search.failures;
    filled
}

/// Tells why lines have no seat: what clashes where that is found out, and what each port lacks otherwise.
fn tell(
    model: &Model,
    said: &[Option<Seat>],
    left: Vec<(usize, Need)>,
    failures: BTreeMap<PropId, Failure>,
    sink: &mut Sink,
) {
    let mut unexplained = Vec::new();
    for fixtures in [false, true] {
        let mut its = left.iter().filter(|(_, need)| need.fixture == fixtures);
        let Some(_) = its.next() else {
            continue;
        };
        let findings = refuse::findings(model, said, fixtures);
        if findings.is_empty() {
            unexplained.push(fixtures);
        }
        for finding in findings {
            sink.push(finding);
        }
    }
    for failure in failures.into_values() {
        let shape = model.shape_of(failure.first.0);
        let fixture = shape.is_some_and(|shape| shape.node.is_none());
        // Where no output was even looked at, those that did not parse may be the ones.
        if !unexplained.contains(&fixture)
            || failure.tried.reasons.is_empty() && model.outputs_unsure(failure.target.0)
        {
            continue;
        }
        sink.push(no_room::no_room(
            model,
            failure.first,
            failure.more,
            failure.target,
            &failure.tried,
        ));
    }
}

fn is_open(target: Target) -> bool {
    match target {
        Target::Controller(_) | Target::Receiver(_) | Target::Any => true,
        Target::Port(..) | Target::Dmx(..) => false,
    }
}

struct Search<'a> {
    model: &'a Model,
    outlets: Outlets<'a>,
    /// Where to go on looking: what lies before was seen not to fit, and never will.
    hints: BTreeMap<Hint, usize>,
    left: Vec<(usize, Need)>,
    failures: BTreeMap<PropId, Failure>,
    /// How many outputs were looked at.
    looks: u64,
}

/// So many looks are taken in all, so that no display takes minutes; what is left then is told to have no room.
const MOST_LOOKS: u64 = 20_000_000;

/// So many props are told port by port why nothing takes them.
const MOST_TOLD: usize = 100;

impl Search<'_> {
    /// Gives lines the outputs that were found for them together.
    fn seat(&mut self, lines: &[(usize, Need)], outputs: &[usize], seats: &mut [Option<Seat>]) {
        for ((index, need), at) in lines.iter().zip(outputs) {
            let at = match self.outlets.fits(*at, need) {
                Ok(()) => Some(*at),
                Err(_) => self.single(need),
            };
            match at {
                Some(at) => {
                    let seat = self.outlets.take(at, need);
                    if let Some(entry) = seats.get_mut(*index) {
                        *entry = seat;
                    }
                }
                None => self.fail(*index, need),
            }
        }
    }

    /// Packs fixtures more closely, where one after the other some found no room.
    fn closer(&mut self, said: &[Option<Seat>], seats: &mut [Option<Seat>]) {
        let mut lines = open(self.model, said);
        lines.retain(|(_, need)| need.fixture);
        let mut outlets = Outlets::new(self.model, said);
        let found = Fixtures::new(self.model, &outlets, &lines).and_then(|all| all.place());
        let Some(found) = found else {
            return;
        };
        for ((index, need), at) in lines.iter().zip(found) {
            if let Some(entry) = seats.get_mut(*index) {
                *entry = outlets.take(at, need);
            }
        }
        self.left.retain(|(_, need)| !need.fixture);
    }

    fn group(&mut self, lines: &[(usize, Need)], seats: &mut [Option<Seat>]) {
        let run = if lines.len() > 1 && lines.iter().all(|(_, need)| !need.fixture) {
            self.run(lines)
        } else {
            None
        };
        for (place, (index, need)) in lines.iter().enumerate() {
            let found = match run {
                Some(first) => Some(first + place),
                None => self.single(need),
            };
            match found {
                Some(at) => {
                    let seat = self.outlets.take(at, need);
                    if let Some(entry) = seats.get_mut(*index) {
                        *entry = seat;
                    }
                }
                None => self.fail(*index, need),
            }
        }
    }

    /// The first run of free ports with consecutive numbers that takes the lines in order.
    fn run(&mut self, lines: &[(usize, Need)]) -> Option<usize> {
        let (_, need) = lines.first()?;
        let scope = self.outlets.scope(need.target);
        let hint = Hint::Run(scope.start);
        let mut first = self.hints.get(&hint).copied().unwrap_or(0).max(scope.start);
        while first < scope.end && !self.outlets.is(first, (Kind::Pixel, State::Free)) {
            first += 1;
        }
        self.hints.insert(hint, first);
        while first + lines.len() <= scope.end && self.looks < MOST_LOOKS {
            self.looks += lines.len() as u64;
            let fits = |(place, (_, need)): (usize, &(usize, Need))| {
                let at = first + place;
                self.outlets.is(at, (Kind::Pixel, State::Free))
                    && (place == 0 || self.outlets.follows(at))
                    && self.outlets.fits(at, need).is_ok()
            };
            let Some(failed) = lines.iter().enumerate().position(|one| !fits(one)) else {
                return Some(first);
            };
            // A port that is taken, or the first of another controller, ends every run over it.
            let at = first + failed;
            let free = self.outlets.is(at, (Kind::Pixel, State::Free));
            first = match (free, self.outlets.follows(at)) {
                (false, _) => at + 1,
                (true, false) if failed > 0 => at,
                (true, _) => first + 1,
            };
        }
        None
    }

    fn single(&mut self, need: &Need) -> Option<usize> {
        let scope = self.outlets.scope(need.target);
        let ways = if need.fixture { FIXTURE } else { PIXEL };
        for way in ways {
            let hint = need.hint(*way, scope.start);
            let from = hint.and_then(|hint| self.hints.get(&hint).copied());
            let mut at = from.unwrap_or(scope.start);
            while at < scope.end {
                self.looks += 1;
                if self.looks > MOST_LOOKS {
                    return None;
                }
                if self.outlets.is(at, *way) && self.outlets.fits(at, need).is_ok() {
                    break;
                }
                at += 1;
            }
            if let Some(hint) = hint {
                self.hints.insert(hint, at);
            }
            if at < scope.end {
                return Some(at);
            }
        }
        None
    }

    fn fail(&mut self, index: usize, need: &Need) {
        let Some(line) = self.model.lines.get(index) else {
            return;
        };
        self.left.push((index, need.clone()));
        if let Some(failure) = self.failures.get_mut(&need.prop) {
            failure.more += need.strings;
            return;
        }
        let failure = Failure {
            first: need.first,
            more: need.strings.saturating_sub(1),
            target: (line.target, line.at),
            tried: self.outlets.tried(need, self.failures.len() < MOST_TOLD),
        };
        self.failures.insert(need.prop, failure);
    }
}
