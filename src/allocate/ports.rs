//! Lines that name no port → ports.
//!
//! Pixel lines are placed all together by the placement engine ([`super::pack`]): a prop's lines on one controller on
//! ports next to each other, then the fewest ports, then the shortest leads, then even load. A port that a wire names
//! gets another line only where there is no room otherwise. Fixtures, and everything where the engine finds no room
//! or the display is too large for it, are placed one by one, simply and lawfully: the first output that fits.
//!
//! What goes in is the model and the seats of the lines that name theirs; what comes out is a seat for each open
//! line. Nothing else of the allocation looks in here, so a search for better seats can take its place.
//!
//! One by one, a prop's lines want consecutive free ports of one controller; where there is no such run, each line takes the first
//! free port, then the first with room among those picked here, and only then one that a wire names. Fixtures fill
//! a DMX output before they begin the next.

use super::chains::Seat;
use super::needs::{Hint, Kind, Need, State, Way};
use super::outlets::Outlets;
use super::seek;
use crate::diagnostic::Sink;
use crate::model::{Model, PropId, StringId, Target};
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

/// Gives every open line that fits somewhere a seat; tells the rest.
pub(super) fn place(model: &Model, seats: &mut [Option<Seat>], sink: &mut Sink) {
    let apart = model.injections.iter().any(|injection| injection.apart);
    let open = |index: usize| {
        let line = model.lines.get(index)?;
        let need = Need::of(model, line, apart)?;
        is_open(line.target).then_some((index, need))
    };
    let lines: Vec<(usize, Need)> = (0..model.lines.len()).filter_map(open).collect();
    if lines.is_empty() {
        return;
    }
    let mut search = Search {
        model,
        outlets: Outlets::new(model, seats),
        hints: BTreeMap::new(),
        looks: 0,
        failures: BTreeMap::new(),
    };
    let (mut lines, pixel): (Vec<_>, Vec<_>) =
        lines.into_iter().partition(|(_, need)| need.fixture);
    if !pixel.is_empty() {
        match seek::outputs(model, &search.outlets, &pixel) {
            Some(outputs) => search.seat(&pixel, &outputs, seats),
            None => lines.extend(pixel),
        }
    }
    lines.sort_by_key(|(index, _)| *index);
    let group = |index: usize| model.lines.get(index).map(|line| line.group);
    for lines in lines.chunk_by(|a, b| group(a.0) == group(b.0)) {
        search.group(lines, seats);
    }
    for failure in search.failures.into_values() {
        // Where no output was even looked at, those that did not parse may be the ones.
        if model.incomplete && failure.tried.reasons.is_empty() {
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
