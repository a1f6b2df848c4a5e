//! Which port each open line hangs on, and in which order, so that the fewest strings change their
//! port and, among those ways, the fewest slots move.
//!
//! A way is the list of all lines by output, in data order. It is laid out to find what moves, so
//! whatever holds for addresses holds here. The search begins with what the placement engine found,
//! improves it one line at a time and, where there are few lines, tries every way: every port that
//! an open line may use, and on unbroken ports every order. Lines that wires name stay in the order
//! of the file; new ones come last. A bound from below says when no way is better, or how far off
//! the answer may be where the steps run out.

use super::cost::{broken, least, plain, plugs, strings};
use super::{Old, room};
use crate::allocate::chains::{self, Seat};
use crate::allocate::needs::{Kind, Need, State};
use crate::allocate::outlets::Outlets;
use crate::allocate::{addresses, ports};
use crate::diagnostic::Sink;
use crate::model::{Addressing, ControllerId, Model, Output, ReceiverId, StringId};
use crate::plan::{PortPlan, Trade};
use std::collections::{BTreeMap, BTreeSet};

/// At most this many layouts of a string are made in all.
const STEPS: u64 = 400_000;

/// Of the lines at home on a port, at most this many make room in every combination.
const MOST_AT_HOME: usize = 12;

/// At most this many open lines are tried on every port.
const MOST_LINES: usize = 24;

/// At most this many layouts of a string are made to find a line that moves fewer slots elsewhere.
const TRADE_STEPS: u64 = 20_000;

/// A line and where it hangs.
type Row = (Seat, usize);

/// What a way costs: limits that it breaks, strings that change their port, slots that move; then
/// one number for props on several controllers and ports in use.
type Cost = (u64, u64, u64, u64);

/// What was found.
pub(in crate::allocate) struct Settled {
    /// The outputs in use, each with all that hangs on it.
    pub ports: Vec<PortPlan>,
    /// At most this many slots fewer might move with as many strings that change their port.
    pub off: u64,
    /// A line that moves fewer slots on another port.
    pub trade: Option<Trade>,
}

/// An open line that may hang elsewhere.
struct Open {
    line: usize,
    need: Need,
    /// Whether any of its strings was there before.
    old: bool,
}

/// Where open lines hang while ways are tried.
struct Hung<'a> {
    /// The outputs, with the lines that wires name.
    outlets: Outlets<'a>,
    /// Open lines by output.
    on: BTreeMap<usize, Vec<usize>>,
    /// Open lines that hang nowhere yet; the last is next.
    left: Vec<usize>,
    /// Lines that left their port to make room.
    away: BTreeSet<usize>,
}

struct Search<'a> {
    model: &'a Model,
    old: &'a Old<'a>,
    open: Vec<Open>,
    /// By line: whether its order on an unbroken port is free.
    loose: Vec<bool>,
    /// The outputs that open lines had.
    homes: BTreeSet<(ControllerId, Output)>,
    steps: u64,
    best: (Cost, Vec<Row>),
    /// No way moves fewer slots.
    least: u64,
    /// Whether some way was not looked into.
    cut: bool,
    /// Whether a port has more lines at home than are tried in every combination.
    missed: bool,
}

/// Improves the seats that open lines have, and settles the order of lines on their ports.
pub(in crate::allocate) fn settle(model: &Model, old: &Old<'_>, seats: &[Option<Seat>]) -> Settled {
    let order = chains::order(model, seats, Some(old.past));
    let mut search = Search::new(model, old, order);
    search.better();
    search.try_all();
    let trade = search.trade();
    old.only_try(false);
    let ((_, _, slots, _), order) = search.best;
    Settled {
        ports: chains::join(model, &order),
        off: match search.cut || search.missed {
            true => slots.saturating_sub(search.least),
            false => 0,
        },
        trade,
    }
}

impl<'a> Search<'a> {
    fn new(model: &'a Model, old: &'a Old<'a>, order: Vec<Row>) -> Self {
        let said = vec![None; model.lines.len()];
        let was = |id: StringId| old.past.of(id).is_some() && !old.afresh(id);
        let mut open: Vec<Open> = ports::open(model, &said)
            .into_iter()
            .filter(|(_, need)| !need.fixture)
            .map(|(line, need)| Open { line, need, old: strings(model, line).any(was) })
            .collect();
        let outlets = Outlets::new(model, &said);
        for one in &mut open {
            let mut lines = [(one.line, one.need.clone())];
            outlets.mark_unfed(&mut lines);
            let [(_, need)] = lines;
            one.need = need;
        }
        let mut loose = vec![false; model.lines.len()];
        for one in open.iter().filter(|one| one.old && plain(model, one.line)) {
            if let Some(loose) = loose.get_mut(one.line) {
                *loose = true;
            }
        }
        let had = open.iter().flat_map(|one| strings(model, one.line));
        let had = had.filter_map(|id| old.past.of(id));
        let homes = had.filter_map(|was| Some((was.controller?, was.output))).collect();
        let mut search = Self {
            model,
            old,
            open,
            loose,
            homes,
            steps: STEPS,
            best: ((u64::MAX, 0, 0, 0), Vec::new()),
            least: least(model, old),
            cut: false,
            missed: false,
        };
        search.offer(order);
        search
    }

    /// Costs a way; returns whether it is the best so far.
    fn offer(&mut self, order: Vec<Row>) -> bool {
        let cost = self.cost(&order);
        let better = cost < self.best.0;
        if better {
            self.best = (cost, order);
        }
        better
    }

    /// Whether nothing can be better.
    fn done(&self) -> bool {
        self.best.0 <= (0, 0, self.least, u64::MAX)
    }

    fn cost(&mut self, order: &[Row]) -> Cost {
        let (model, old) = (self.model, self.old);
        self.steps = self.steps.saturating_sub(model.strings.len() as u64 + 20);
        let mut sink = Sink::default();
        old.only_try(true);
        let ports = chains::join(model, order);
        let (plan, _) = addresses::lay(model, ports, Some(old), &mut sink);
        self.steps = self.steps.saturating_sub((room::FEW_LOOKS - old.room_looks.get()) / 8);
        let plugs = order.iter().map(|(seat, line)| plugs(model, old, *line, *seat));
        let plugs = plugs.sum();
        let slots = (0..model.strings.len()).map(StringId::from).map(|id| {
            let moved = old.past.of(id).zip(plan.of(id));
            let own = model.string(id).is_some_and(|one| one.same_as.is_none());
            let moved = moved.filter(|(was, now)| own && was.start != now.start);
            moved.map_or(0, |(was, _)| was.slots)
        });
        let broken = broken(model, &plan) + u64::from(sink.has_errors());
        (broken, plugs, slots.sum(), self.spread(order))
    }

    /// A number for props on several controllers and, among equals, for ports in use.
    fn spread(&self, order: &[Row]) -> u64 {
        let mut boxes = BTreeSet::new();
        for (seat, line) in order {
            let group = self.model.lines.get(*line).map(|line| line.group);
            boxes.insert((group, seat.controller));
        }
        let ports = order.chunk_by(|a, b| a.0 == b.0).count() as u64;
        boxes.len() as u64 * self.model.lines.len() as u64 + ports
    }

    /// Moves one line at a time within its port, as long as that helps.
    fn better(&mut self) {
        while !self.done() && self.steps > 0 {
            if !self.reorder() {
                return;
            }
        }
    }

    /// Puts one line at another place of its port.
    fn reorder(&mut self) -> bool {
        let order = self.best.1.clone();
        for (at, (seat, line)) in order.iter().enumerate() {
            if !self.loose.get(*line).copied().unwrap_or(false) || !self.unbroken(*seat) {
                continue;
            }
            let (from, to) = chunk(&order, *seat);
            for place in (from..to).filter(|place| *place != at) {
                if self.steps == 0 {
                    return false;
                }
                let mut next = order.clone();
                let row = next.remove(at);
                next.insert(place, row);
                if self.offer(next) {
                    return true;
                }
            }
        }
        false
    }

    /// Tries every way, as far as the steps go: those where no string changes its port, then one,
    /// and so on.
    fn try_all(&mut self) {
        if self.done() {
            return;
        }
        let mut said = seats(self.model, &self.best.1);
        for one in &self.open {
            if let Some(entry) = said.get_mut(one.line) {
                *entry = None;
            }
        }
        let mut hung = Hung {
            outlets: Outlets::new(self.model, &said),
            on: BTreeMap::new(),
            left: Vec::new(),
            away: BTreeSet::new(),
        };
        for index in 0..self.open.len() {
            if !self.go_home(&mut hung, index) {
                hung.left.push(index);
            }
        }
        if hung.left.len() > MOST_LINES {
            self.cut = true;
            return;
        }
        hung.left.reverse();
        let all = (0..self.open.len()).map(|index| self.weight(index)).sum();
        for most in 0..=all {
            match self.best.0.0 {
                0 => self.hang(&mut hung, most),
                _ => self.leave(&mut hung, 0, most),
            }
            if self.cut || (self.best.0.0 == 0 && self.best.0.1 <= most) {
                return;
            }
        }
    }

    /// Hangs what is left, then the same for every set of lines, from index `from` on, that leave
    /// their home ports: a limit that is not a port's may need that.
    fn leave(&mut self, hung: &mut Hung<'_>, from: usize, most: u64) {
        self.steps = self.steps.saturating_sub(self.open.len() as u64);
        self.hang(hung, most);
        for index in from..self.open.len() {
            if self.cut {
                return;
            }
            let weight = self.weight(index);
            let home = hung.on.iter().find(|(_, on)| on.contains(&index));
            let Some((at, on)) = home.filter(|_| (1..=most).contains(&weight)) else {
                continue;
            };
            let (at, on) = (*at, on.clone());
            hung.on.insert(at, on.iter().copied().filter(|one| *one != index).collect());
            hung.left.push(index);
            hung.away.insert(index);
            self.leave(hung, index + 1, most - weight);
            hung.away.remove(&index);
            hung.left.pop();
            hung.on.insert(at, on);
        }
    }

    /// Hangs a line on the port that all of its strings had, if it fits there.
    fn go_home(&mut self, hung: &mut Hung<'_>, index: usize) -> bool {
        let Some(one) = self.open.get(index).filter(|one| one.old) else {
            return false;
        };
        let mut was = strings(self.model, one.line).filter_map(|id| self.old.past.of(id));
        let first = was.next().and_then(|was| Some((was.controller?, was.output)));
        let Some(at) = first.and_then(|(controller, output)| hung.outlets.find(controller, output))
        else {
            return false;
        };
        let free = self.seat_on(&hung.outlets, at, index).is_some_and(|(_, plugs)| plugs == 0);
        free && self.put(hung, at, index)
    }

    /// The line that saves the most slots if it gives up its port.
    fn trade(&mut self) -> Option<Trade> {
        let ((_, plugs_now, now, _), order) = self.best.clone();
        self.steps = TRADE_STEPS;
        let mut best: Option<(u64, u64, Trade)> = None;
        if now <= self.least {
            return None;
        }
        for index in 0..self.open.len() {
            let Some(one) = self.open.get(index).filter(|one| one.old) else {
                continue;
            };
            if self.steps == 0 {
                break;
            }
            self.steps = self.steps.saturating_sub(self.model.lines.len() as u64);
            let (line, target) = (one.line, one.need.target);
            let need = one.need.clone();
            let rest: Vec<Row> = order.iter().filter(|row| row.1 != line).copied().collect();
            let outlets = Outlets::new(self.model, &seats(self.model, &rest));
            let here = order.iter().find(|row| row.1 == line).map(|row| row.0);
            let mut alike = BTreeSet::new();
            for at in outlets.scope(target) {
                let seat = self.seat_on(&outlets, at, index).map(|(seat, _)| seat);
                let other = |seat: &Seat| seat.receiver.is_none() && here != Some(*seat);
                let Some(seat) = seat.filter(other) else {
                    continue;
                };
                let free = outlets.state(at) == Some(State::Free);
                let known = outlets.look(at).filter(|_| free);
                if outlets.fits(at, &need).is_err() || known.is_some_and(|look| !alike.insert(look))
                {
                    continue;
                }
                if self.steps == 0 {
                    return best.map(|(.., trade)| trade);
                }
                let mut next = rest.clone();
                next.insert(chunk(&rest, seat).1, (seat, line));
                let (broken, plugs, slots, _) = self.cost(&next);
                let better = best.is_none_or(|(least, few, _)| (slots, plugs) < (least, few));
                if broken == 0 && slots < now && better {
                    let trade = Trade {
                        line,
                        to: (seat.controller, seat.output),
                        plugs: (plugs_now, plugs),
                        slots: (now, slots),
                    };
                    best = Some((slots, plugs, trade));
                }
            }
        }
        best.map(|(.., trade)| trade)
    }

    /// The seat of a line on an output, and the strings that change their port there.
    fn seat_on(&self, outlets: &Outlets<'_>, at: usize, index: usize) -> Option<(Seat, u64)> {
        let one = self.open.get(index)?;
        let row = outlets.rows.get(at).filter(|row| row.kind == Kind::Pixel)?;
        let seat = Seat {
            controller: row.controller,
            output: row.output,
            receiver: outlets.seat(row, &one.need)?,
        };
        Some((seat, plugs(self.model, self.old, one.line, seat)))
    }

    /// Hangs a line on an output beside what hangs there, if it fits.
    fn put(&mut self, hung: &mut Hung<'_>, at: usize, index: usize) -> bool {
        let mut on = hung.on.get(&at).cloned().unwrap_or_default();
        on.push(index);
        self.steps = self.steps.saturating_sub(on.len() as u64);
        let fits = self.fit(hung, at, &on);
        if fits {
            hung.on.insert(at, on);
        }
        fits
    }

    fn fit(&self, hung: &mut Hung<'_>, at: usize, on: &[usize]) -> bool {
        let needs = on.iter().filter_map(|index| self.open.get(*index));
        let mut needs: Vec<&Need> = needs.map(|one| &one.need).collect();
        needs.sort_by_key(|need| !need.head);
        hung.outlets.fit_together(at, &needs)
    }

    /// Hangs what is left in every way in which at most `most` strings change their port. Where
    /// there is no room, lines at home make room.
    fn hang(&mut self, hung: &mut Hung<'_>, most: u64) {
        if self.steps == 0 {
            self.cut = true;
        }
        if self.cut || self.done() {
            return;
        }
        let Some(index) = hung.left.pop() else {
            self.arrange(hung);
            return;
        };
        let target = self.open.get(index).map(|one| one.need.target);
        let mut alike = BTreeSet::new();
        for at in target.map_or(0..0, |target| hung.outlets.scope(target)) {
            let Some((seat, plugs)) = self.seat_on(&hung.outlets, at, index) else {
                continue;
            };
            // A line that made room was counted when it left; it does not go back.
            let away = hung.away.contains(&index);
            let cost = if away { 0 } else { plugs };
            if cost > most || (away && plugs == 0) || self.is_alike(hung, at, seat, &mut alike) {
                continue;
            }
            self.make_room(hung, (at, index), most - cost);
        }
        hung.left.push(index);
    }

    /// Whether a free port like this one was tried.
    fn is_alike(
        &self,
        hung: &Hung<'_>,
        at: usize,
        seat: Seat,
        alike: &mut BTreeSet<(ControllerId, Option<ReceiverId>, usize, bool)>,
    ) -> bool {
        let free = hung.outlets.state(at) == Some(State::Free)
            && hung.on.get(&at).is_none_or(Vec::is_empty)
            && !self.homes.contains(&(seat.controller, seat.output))
            && self.addressing(seat) != Some(Addressing::Consecutive);
        let look = hung.outlets.look(at).filter(|_| free);
        look.is_some_and(|look| !alike.insert(look))
    }

    /// Hangs a line on an output, for every smallest set of lines at home there that makes room.
    fn make_room(&mut self, hung: &mut Hung<'_>, (at, index): (usize, usize), most: u64) {
        let on = hung.on.get(&at).cloned().unwrap_or_default();
        let home =
            |index: &usize| self.seat_on(&hung.outlets, at, *index).map(|(_, plugs)| plugs == 0);
        let homely: Vec<usize> = on.iter().filter(|one| home(one) == Some(true)).copied().collect();
        let mut done: Vec<u32> = Vec::new();
        self.missed |= most > 0 && homely.len() > MOST_AT_HOME;
        let width = if most == 0 { 0 } else { homely.len().min(MOST_AT_HOME) };
        let few = |set: &u32| u64::from(set.count_ones()) <= most;
        let mut sets: Vec<u32> = (0..1_u32 << width).filter(few).collect();
        sets.sort_by_key(|set| (set.count_ones(), *set));
        for set in sets {
            let out = |index: &usize| {
                let place = homely.iter().position(|one| one == index);
                place.is_some_and(|place| set >> place & 1 == 1)
            };
            let cost = homely.iter().filter(|one| out(one)).map(|one| self.weight(*one));
            let cost: u64 = cost.sum();
            if cost > most || done.iter().any(|smaller| smaller & set == *smaller) {
                continue;
            }
            let mut rest: Vec<usize> = on.iter().filter(|one| !out(one)).copied().collect();
            rest.push(index);
            self.steps = self.steps.saturating_sub(rest.len() as u64);
            if self.cut || !self.fit(hung, at, &rest) {
                continue;
            }
            done.push(set);
            let leave: Vec<usize> = homely.iter().filter(|one| out(one)).copied().collect();
            hung.on.insert(at, rest);
            hung.left.extend(&leave);
            hung.away.extend(&leave);
            self.hang(hung, most - cost);
            hung.left.truncate(hung.left.len() - leave.len());
            for one in &leave {
                hung.away.remove(one);
            }
            hung.on.insert(at, on.clone());
            if set == 0 {
                break;
            }
        }
    }

    /// How many strings change their port where a line leaves its home.
    fn weight(&self, index: usize) -> u64 {
        let line = self.open.get(index).map(|one| one.line);
        let strings = line.into_iter().flat_map(|line| strings(self.model, line));
        let had =
            strings.filter(|id| self.old.past.of(*id).is_some_and(|was| was.controller.is_some()));
        had.count() as u64
    }

    /// Tries every order of the lines on unbroken ports.
    fn arrange(&mut self, hung: &Hung<'_>) {
        let mut seats = seats(self.model, &self.best.1);
        for (at, on) in &hung.on {
            for index in on {
                let seat = self.seat_on(&hung.outlets, *at, *index).map(|(seat, _)| seat);
                let line = self.open.get(*index).map(|one| one.line);
                if let Some(entry) = line.and_then(|line| seats.get_mut(line)) {
                    *entry = seat;
                }
            }
        }
        let order = chains::order(self.model, &seats, Some(self.old.past));
        if self.offer(order.clone()) && self.done() {
            return;
        }
        let mut loose = Vec::new();
        for chunk in order.chunk_by(|a, b| a.0 == b.0) {
            let several = chunk.len() > 1 && chunk.first().is_some_and(|row| self.unbroken(row.0));
            let rigid = chunk.iter().any(|row| !plain(self.model, row.1));
            if several && !rigid {
                let free = |row: &&Row| self.loose.get(row.1).copied().unwrap_or(false);
                loose.extend(chunk.iter().filter(free).copied());
            }
        }
        if loose.len() > MOST_LINES {
            self.cut = true;
            return;
        }
        let fixed = order.iter().filter(|row| !loose.contains(row)).copied().collect();
        self.insert(&loose, fixed);
    }

    fn insert(&mut self, loose: &[Row], order: Vec<Row>) {
        if self.done() {
            return;
        }
        if self.steps == 0 {
            self.cut = true;
            return;
        }
        let Some((row, rest)) = loose.split_first() else {
            self.offer(order);
            return;
        };
        let (from, to) = chunk(&order, row.0);
        // What is new stays last.
        let new = |row: &&Row| {
            let mut open = self.open.iter();
            open.any(|one| one.line == row.1 && !one.old)
        };
        let to = to - order.get(from..to).unwrap_or(&[]).iter().filter(new).count();
        for place in from..=to {
            let mut next = order.clone();
            next.insert(place, *row);
            self.insert(rest, next);
        }
    }

    fn addressing(&self, seat: Seat) -> Option<Addressing> {
        self.model.controller(seat.controller).map(|one| one.addressing)
    }

    fn unbroken(&self, seat: Seat) -> bool {
        self.addressing(seat) != Some(Addressing::PerProp)
            && matches!(seat.output, Output::Pixel(_))
    }
}

/// The range of a seat's lines in a way.
fn chunk(order: &[Row], seat: Seat) -> (usize, usize) {
    (order.partition_point(|row| row.0 < seat), order.partition_point(|row| row.0 <= seat))
}

/// The seats of a way, by line.
fn seats(model: &Model, order: &[Row]) -> Vec<Option<Seat>> {
    let mut seats = vec![None; model.lines.len()];
    for (seat, line) in order {
        if let Some(entry) = seats.get_mut(*line) {
            *entry = Some(*seat);
        }
    }
    seats
}
