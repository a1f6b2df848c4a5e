//! From an instance to an answer, or to what is known where there is none.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::arrange;
use super::bays;
use super::bound::{self, Goal, Least};
use super::exact::{self, Found, Most};
use super::improve::{self, Course, HOT};
use super::insert::Inserter;
use super::start::{self, Opening};
use super::state::{Field, NONE, PORT, State, TIGHT};
use super::tidy;
use super::{Answer, Instance, NoRoom, Order};

/// Instances with more lines than this are not searched exhaustively.
pub const SMALL: usize = 72;

/// For at most this many lines, every way that may be better is searched.
const TINY: usize = 20;

/// More steps where few lines found no room and nothing proves that there is none.
const MORE: u64 = 10_000_000;

/// For fewer lines than this, several kinds of search are tried.
const FEW: usize = 100;

/// With more lines than this, no bay has ports that are not alike.
const JOINED: usize = 200;

/// Whether everything finds a port, as far as `steps` steps tell; with the steps used.
#[must_use]
pub fn fits(instance: &Instance, steps: u64) -> (bool, u64) {
    let field = Field::new(instance);
    let mut solver = Solver::new(&field, steps);
    let state = solver.begin(true);
    let state = solver.complete(state);
    (state.measure.missing == 0, solver.inserter.steps)
}

/// Seeks the best answer within `steps` steps.
///
/// # Errors
/// Where not every line has a port.
pub fn seek(instance: &Instance, steps: u64) -> Result<Answer, NoRoom> {
    answer(instance, steps, false)
}

/// Seeks any answer: the first in which every line has a port.
///
/// # Errors
/// Where not every line has a port.
pub fn any(instance: &Instance, steps: u64) -> Result<Answer, NoRoom> {
    answer(instance, steps, true)
}

fn answer(instance: &Instance, steps: u64, any: bool) -> Result<Answer, NoRoom> {
    let field = Field::new(instance);
    let mut solver = Solver::new(&field, steps);
    let state = solver.begin(any);
    let mut state = solver.complete(state);
    if state.measure.missing > 0 && !solver.proven && field.lines.len() <= SMALL {
        solver.steps += MORE;
        state = solver.complete(state);
    }
    if state.measure.missing > 0 {
        return Err(NoRoom {
            ports: by_group(&field, |line| {
                let port = state.port_of[line];
                (port != NONE).then_some(port as usize)
            }),
            proven: solver.proven,
            steps: solver.inserter.steps,
        });
    }
    let mut fewest = state.measure.ports;
    if !any {
        state = solver.better(state);
        (state, fewest) = solver.other_way(state);
        state = solver.stay(state);
        state = solver.fewer(state);
        state = solver.best(state);
        solver.inserter.steps += tidy::nearer(&mut state, steps / 20);
    }
    tidy::number(&mut state);
    let measure = state.measure;
    fewest = fewest.min(measure.ports);
    Ok(Answer {
        ports: by_group(&field, |line| state.port_of[line] as usize),
        opened: measure.ports,
        bound: solver.least.opened.min(fewest),
        fewest,
        lead: measure.lead,
        least_lead: measure.lead == solver.least_lead,
        split: measure.split,
        apart: measure.apart,
        plugs: measure.plugs.0,
        finished: solver.finished && !any,
        steps: solver.inserter.steps,
    })
}

fn by_group<T>(field: &Field<'_>, port: impl Fn(usize) -> T) -> Vec<Vec<T>> {
    field.span.iter().map(|span| span.clone().map(&port).collect()).collect()
}

struct Solver<'a> {
    field: &'a Field<'a>,
    inserter: Inserter,
    least: Least,
    least_lead: u64,
    steps: u64,
    proven: bool,
    finished: bool,
}

impl<'a> Solver<'a> {
    fn new(field: &'a Field<'a>, steps: u64) -> Self {
        let least_lead = (0..field.lines.len()).map(|line| {
            let ports = field.accepting[field.lines[line].class].iter();
            ports.map(|port| field.lead(line, *port)).min().unwrap_or(0)
        });
        Self {
            field,
            inserter: Inserter::new(1),
            least: Least::default(),
            least_lead: match field.instance.groups.iter().all(|group| group.lead.is_empty()) {
                true => 0,
                false => least_lead.sum(),
            },
            steps,
            proven: false,
            finished: true,
        }
    }

    /// The best of several starts; with `any`, the first that places everything.
    fn begin(&mut self, any: bool) -> State<'a> {
        let field = self.field;
        let order = field.instance.order;
        let mut simple = None;
        if any {
            // Where there is room enough, the simplest way finds it.
            let found = start::decreasing(field, false, Opening::Widest, &mut self.inserter.steps);
            if found.measure.missing == 0 {
                return found;
            }
            simple = Some(found);
        }
        let goal = if any { Goal::Short } else { Goal::Best };
        self.least = bound::least(field, goal, self.steps / 8);
        self.inserter.steps += self.least.steps;
        self.proven = self.least.short.is_some();
        if let Some(simple) = simple.filter(|_| self.proven) {
            return simple;
        }
        let large = start::large(field);
        let mut best = match large {
            true => start::decreasing(field, true, Opening::Widest, &mut self.inserter.steps),
            false => start::greedy(field, true, &mut self.inserter),
        };
        for turn in 0..8 {
            let left = self.left();
            if best.measure.missing == 0 && any || self.proven || self.enough(&best) {
                break;
            }
            let mut plain = |best, opening| {
                let steps = &mut self.inserter.steps;
                Some(start::decreasing(field, best, opening, steps))
            };
            let next = match turn {
                0 if !large => plain(true, Opening::Widest),
                1 => start::patterns(field, &mut self.inserter, left / 4 * 3),
                2 => plain(false, Opening::Widest),
                3 if !large => Some(start::greedy(field, false, &mut self.inserter)),
                4 if !large => plain(false, Opening::Early),
                5 if !large => plain(true, Opening::Tightest),
                6 if !large => plain(false, Opening::First),
                7 if !large => plain(true, Opening::First),
                _ => None,
            };
            if let Some(next) = next
                && next.measure.key(order) < best.measure.key(order)
            {
                best = next;
            }
        }
        best
    }

    fn left(&self) -> u64 {
        self.steps.saturating_sub(self.inserter.steps)
    }

    fn all_groups(&self) -> Vec<usize> {
        (0..self.field.span.len()).collect()
    }

    /// Whether nothing about a state can be better.
    fn enough(&self, state: &State<'_>) -> bool {
        let measure = &state.measure;
        measure.missing + measure.plugs.0 + measure.moving + measure.split + measure.apart == 0
            && measure.ports <= self.least.opened
            && measure.lead <= self.least_lead
            && (self.field.instance.sites.len() <= 1 || measure.ports <= 1)
    }

    /// Finds room for what has none, or proves that there is none.
    fn complete(&mut self, mut state: State<'a>) -> State<'a> {
        if state.measure.missing == 0 || self.proven {
            return state;
        }
        let small = self.field.lines.len() <= SMALL;
        // Here filling ports counts, whatever is wanted later.
        let weights = std::mem::replace(&mut state.weights, TIGHT);
        state = self.find_room(state, small);
        state.weights = weights;
        state
    }

    fn find_room(&mut self, mut state: State<'a>, small: bool) -> State<'a> {
        // A tenth of the steps for a first search of every way, which decides most small displays.
        for (improve, search) in [(0, 10), (25, 50), (75, 0)] {
            let steps = self.left() * improve / 100;
            let course = Course { steps, enough: &|state| state.measure.missing == 0, hot: HOT };
            if steps > 0 {
                state = improve::improve(state, &mut self.inserter, &course).0;
            }
            if state.measure.missing == 0 {
                return state;
            }
            let mut steps = if small { self.left() * search / 100 } else { 0 };
            let before = steps;
            let groups = self.all_groups();
            let found = exact::search(self.field, &groups, &|_| false, Most::ANY, &mut steps);
            self.inserter.steps += before - steps;
            match found {
                Found::Way(ports) => state.put(&ports),
                Found::Nothing => self.proven = true,
                Found::GaveUp => continue,
            }
            return state;
        }
        state
    }

    /// Improves an answer in the wanted order.
    fn better(&mut self, mut state: State<'a>) -> State<'a> {
        if self.enough(&state) {
            return state;
        }
        let few = self.field.lines.len() < FEW;
        let steps = self.left() / 2;
        let (next, placed) = self.bays(state, steps);
        state = next;
        if state.measure.apart > 0 && !few {
            let steps = self.left() / 4;
            arrange::arrange(&mut state, steps, &mut self.inserter.steps);
        }
        // After moves between sites little can be better: little heat, but for few lines.
        let courses: &[(u64, i64)] = match placed {
            true if few => &[(25, HOT), (33, PORT / 40), (50, HOT), (100, PORT / 40)],
            true => &[(50, PORT / 80), (90, PORT / 640)],
            false => &[(50, HOT), (60, PORT / 40)],
        };
        let several = self.field.instance.sites.len() > 1;
        let lines = self.field.lines.len() as u64;
        let done = |solver: &Self, state: &State<'_>| {
            // Only evenness can improve, which is worth little.
            let measure = &state.measure;
            measure.plugs.0 + measure.moving + measure.split + measure.apart == 0
                && measure.ports <= solver.least.opened
                && measure.lead <= solver.least_lead
        };
        for &(share, hot) in courses {
            let mut steps = self.left() * share / 100;
            if done(self, &state) {
                steps = if several { steps.min(lines * 3_000) } else { 0 };
            }
            let mut inserter = std::mem::replace(&mut self.inserter, Inserter::new(2));
            let enough = |state: &State<'_>| self.enough(state);
            let course = Course { steps, enough: &enough, hot };
            let (next, finished) = improve::improve(state, &mut inserter, &course);
            (state, self.finished, self.inserter) = (next, finished, inserter);
            if self.finished {
                break;
            }
        }
        if state.measure.apart > 0 {
            arrange::arrange(&mut state, self.steps / 20, &mut self.inserter.steps);
        }
        state
    }

    /// Moves groups between sites, with whether that was better. Where fewer ports count more than
    /// side by side, a bay also has ports that are not alike.
    fn bays<'s>(&mut self, mut state: State<'s>, steps: u64) -> (State<'s>, bool) {
        let joined: &[bool] = match state.field.instance.order {
            Order::Neighbours => &[false],
            _ if state.field.lines.len() > JOINED || !state.field.mixed() => &[false],
            _ => &[false, true],
        };
        let (steps, bound) = (steps / joined.len() as u64, self.least.opened);
        let (mut placed, used) = (false, &mut self.inserter.steps);
        for joined in joined {
            let (next, better) = bays::anneal(state, *joined, steps, bound, used);
            (state, placed) = (next, placed || better);
        }
        (state, placed)
    }

    /// Proves for a small instance that no fewer strings can leave their port, or finds how.
    fn stay(&mut self, mut state: State<'a>) -> State<'a> {
        while state.measure.plugs.0 > 0 && self.field.lines.len() <= SMALL {
            let most = Most { opened: u64::MAX, plugs: state.measure.plugs.0 - 1 };
            let mut steps = self.left().max(self.steps / 8) / 2;
            let before = steps;
            let groups = self.all_groups();
            let found = exact::search(self.field, &groups, &|_| false, most, &mut steps);
            self.inserter.steps += before - steps;
            let Found::Way(ports) = found else {
                break;
            };
            state.put(&ports);
            state = self.better(state);
        }
        state
    }

    /// Proves for a small instance that fewer ports are not possible, or finds them.
    fn fewer(&mut self, mut state: State<'a>) -> State<'a> {
        if self.field.lines.len() > SMALL {
            return state;
        }
        while state.measure.ports > self.least.opened {
            let most = Most { opened: state.measure.ports - 1, plugs: state.measure.plugs.0 };
            let mut steps = self.left().max(self.steps / 8) / 2;
            let before = steps;
            let groups = self.all_groups();
            let whole = |group: usize| !state.is_split(group);
            let found = exact::search(self.field, &groups, &whole, most, &mut steps);
            self.inserter.steps += before - steps;
            let Found::Way(ports) = found else {
                if found == Found::Nothing {
                    self.least.opened = state.measure.ports;
                    self.finished = true;
                }
                return state;
            };
            let key = state.measure.key(self.field.instance.order);
            let mut other = state.clone();
            other.put(&ports);
            other = self.better(other);
            if other.measure.key(self.field.instance.order) >= key {
                return state;
            }
            state = other;
        }
        state
    }

    /// The best answer of all, for at most `TINY` lines.
    fn best(&mut self, state: State<'a>) -> State<'a> {
        if self.field.lines.len() > TINY {
            return state;
        }
        let mut steps = self.steps;
        let best = exact::best(&state, &mut steps);
        self.inserter.steps += self.steps - steps;
        self.finished |= steps > 0;
        best.unwrap_or(state)
    }

    /// Seeks an answer with ports before side by side, or the reverse. Takes it if it is better.
    /// Also returns the fewest ports that one of the two opens.
    fn other_way(&mut self, mut state: State<'a>) -> (State<'a>, u64) {
        let (order, ports) = (self.field.instance.order, state.measure.ports);
        let few = self.field.lines.len() < FEW;
        let several = self.field.span.iter().any(|span| span.len() > 1);
        let other = match order {
            Order::Neighbours if several && ports > self.least.opened => Order::Ports,
            Order::Ports if few && !self.enough(&state) => Order::Neighbours,
            _ => return (state, ports),
        };
        let instance = Instance { order: other, ..self.field.instance.clone() };
        let field = Field::new(&instance);
        let mut solver = Solver::new(&field, self.steps / 2);
        let other = if few {
            let begun = solver.begin(false);
            solver.better(begun)
        } else {
            let mut same = State::new(&field);
            same.put(&state.port_of);
            solver.fill_ports(same, self.least.opened)
        };
        self.inserter.steps += solver.inserter.steps;
        let [key, better] = [&state, &other].map(|state| state.measure.key(order));
        if better < key {
            state.put(&other.port_of);
        }
        let least = if better[..5] <= key[..5] { other.measure.ports } else { ports };
        (state, least.min(ports))
    }

    /// Opens fewer ports if it can; `bound` ports are the fewest possible.
    fn fill_ports(&mut self, state: State<'a>, bound: u64) -> State<'a> {
        self.least.opened = bound;
        let (state, _) = self.bays(state, self.steps / 3);
        let enough = |state: &State<'_>| state.measure.ports <= bound;
        let course = Course { steps: self.steps / 3, enough: &enough, hot: HOT };
        improve::improve(state, &mut self.inserter, &course).0
    }
}
