//! Units that stay are laid where they lay; the others go to the first free place.

use super::choose::{self, Interval};
use super::ground::{Ground, asked, calm};
use super::room::{self, Case};
use super::taken::Taken;
use super::units::{self, Form, Place, Unit};
use super::{Old, limited};
use crate::allocate::fixed::Fixed;
use crate::allocate::space::{Block, Blocks};
use crate::grid::Grid;
use crate::model::{Addressing, Model, Start};
use crate::plan::PortPlan;
use crate::source::Span;
use std::collections::BTreeMap;
use std::ops::Range;

/// Keeps what may stay, controller by controller.
pub(in crate::allocate) struct Keeper<'a> {
    /// What lay where.
    pub old: &'a Old<'a>,
    units: Vec<Unit>,
    picked: Vec<Option<usize>>,
    wanted: Vec<Option<usize>>,
    off: u64,
    /// The units of each controller.
    spans: Vec<Range<usize>>,
    taken: Taken,
    /// The universes that controllers say they begin with; others avoid them if they can.
    asked: Blocks,
    steps: u64,
}

/// What became of the units; explains moves.
#[derive(Debug, Default)]
pub(in crate::allocate) struct Record {
    /// All units, by controller.
    pub units: Vec<Unit>,
    /// By unit: the place that it keeps.
    pub picked: Vec<Option<usize>>,
    /// By unit: the place that it would have kept, had it not made room.
    pub wanted: Vec<Option<usize>>,
    /// At most this many slots fewer might have moved.
    pub off: u64,
}

/// Where the units of a controller begin.
pub(in crate::allocate) type Starts = Vec<u64>;

/// At most this many looks for a free place are taken in all; what is left lies where they end.
const MOST_STEPS: u64 = 20_000_000;

/// The bits of a weight that count calm units: 400,000 strings need 19.
const CALM_BITS: u32 = 20;

impl<'a> Keeper<'a> {
    /// Chooses what stays. What is kept is added to `fixed` for all other controllers.
    pub fn new(
        model: &Model,
        old: &'a Old<'a>,
        ports: &[PortPlan],
        outputs: &[Range<u32>],
        fixed: &mut Fixed,
    ) -> Self {
        let slots = model.display.universe_slots.each();
        fixed.keep_declared(model);
        let units = units::gather(model, old, ports, outputs, fixed);
        let calm = calm(model, old, &units);
        let weigh = |unit: &Unit, place: &Place| {
            let calm = calm.get(unit.controller).copied().unwrap_or(false);
            place.kept << CALM_BITS | u64::from(calm)
        };
        let intervals: Vec<Interval> = units
            .iter()
            .enumerate()
            .flat_map(|(at, unit)| {
                let places = unit.choices.iter().enumerate();
                places.map(move |(choice, place)| Interval {
                    unit: at,
                    choice,
                    controller: unit.controller,
                    start: place.start,
                    end: place.end,
                    weight: weigh(unit, place),
                })
            })
            .collect();
        let controllers = model.controllers.len();
        let best = choose::best(&intervals, units.len(), (controllers, slots), old.choose_looks());
        let mut spans = Vec::with_capacity(controllers);
        let mut from = 0;
        for index in 0..controllers {
            let to = units.partition_point(|unit| unit.controller <= index);
            spans.push(std::mem::replace(&mut from, to)..to);
        }
        let mut keeper = Self {
            old,
            units,
            wanted: best.picked.clone(),
            picked: best.picked,
            off: best.off >> CALM_BITS,
            spans,
            taken: Taken::new(slots),
            asked: asked(model, ports),
            steps: 0,
        };
        keeper.take_kept(model, fixed);
        keeper
    }

    /// What became of the units.
    pub fn record(self) -> Record {
        Record { units: self.units, picked: self.picked, wanted: self.wanted, off: self.off }
    }

    /// Marks what is kept as taken, for its own controller and for all others.
    fn take_kept(&mut self, model: &Model, fixed: &mut Fixed) {
        let mut blocks: Vec<(u64, Block)> = Vec::new();
        for (unit, picked) in self.units.iter().zip(&self.picked) {
            let place = picked.and_then(|at| unit.choices.get(at));
            let (Some(place), Some(declared)) =
                (place, model.controllers.as_slice().get(unit.controller))
            else {
                continue;
            };
            self.taken.add(unit.controller, &(place.start..place.end));
            let stretch = Grid::of(model, declared).universes(&(place.start..place.end));
            blocks.push((
                stretch.start,
                Block {
                    end: stretch.end,
                    owner: u32::try_from(unit.controller).unwrap_or(u32::MAX),
                    at: declared.at,
                },
            ));
        }
        fixed.keep(Blocks::new(blocks));
    }

    /// Whether a controller is laid here: something of it stays, or all of it moves as one.
    pub fn has(&self, model: &Model, index: usize) -> bool {
        let span = self.spans.get(index).cloned().unwrap_or(0..0);
        let consecutive = model
            .controllers
            .as_slice()
            .get(index)
            .is_some_and(|c| c.addressing == Addressing::Consecutive);
        let kept = self.picked.get(span.clone()).unwrap_or(&[]);
        kept.iter().any(Option::is_some) || (consecutive && !span.is_empty())
    }

    /// The units of a controller.
    pub fn units_of(&self, index: usize) -> &[Unit] {
        self.units.get(self.span(index)).unwrap_or(&[])
    }

    /// By unit of a controller: whether it keeps a place.
    pub fn stays(&self, index: usize) -> Vec<bool> {
        let picked = self.picked.get(self.span(index)).unwrap_or(&[]);
        picked.iter().map(Option::is_some).collect()
    }

    fn span(&self, index: usize) -> Range<usize> {
        self.spans.get(index).cloned().unwrap_or(0..0)
    }

    /// The first universe that a controller fills: by default the first where it keeps something.
    pub fn begins(&self, model: &Model, index: usize, fresh: u32) -> u32 {
        let Some(declared) = model.controllers.as_slice().get(index) else {
            return fresh;
        };
        let starts = self.span(index).filter_map(|at| {
            let unit = self.units.get(at)?;
            let picked = self.picked.get(at).copied().flatten()?;
            unit.choices.get(picked).map(|place| place.start)
        });
        match (declared.start, starts.min()) {
            (Start::Auto | Start::After(_), Some(start)) => {
                Grid::of(model, declared).universe(start)
            }
            (Start::Auto | Start::After(_) | Start::From(_) | Start::Range(..), _) => fresh,
        }
    }

    /// Marks as taken what was laid for a controller of which nothing stays.
    pub fn note(&mut self, controller: usize, stretch: &Range<u64>) {
        self.taken.add(controller, stretch);
    }

    /// Where each unit of a controller begins.
    #[allow(
        clippy::too_many_arguments,
        reason = "the layer gives all that it knows of a controller"
    )]
    pub fn place(
        &mut self,
        model: &Model,
        ports: &[PortPlan],
        fixed: &Fixed,
        index: usize,
        begin: u64,
    ) -> Starts {
        let Some(declared) = model.controllers.as_slice().get(index) else {
            return Vec::new();
        };
        let span = self.span(index);
        let units = self.units.get(span.clone()).unwrap_or(&[]);
        let window = self.old.window(model, index, units);
        let from = begin.max(window.start);
        let mut ground = Ground { model, ports, fixed, declared, spare: Blocks::default(), index };
        ground.spare = self.spare(&ground, span.clone());
        let careful = self.first_free(&ground, span.clone(), from, true);
        let fits = |starts: &[Range<u64>]| starts.iter().all(|one| one.end <= window.end);
        let starts = if !limited(declared) || fits(&careful) {
            careful
        } else {
            let close = self.first_free(&ground, span.clone(), from, false);
            if fits(&close) {
                close
            } else if let Some(found) = self.make_room(&ground, span.clone(), &window) {
                found
            } else {
                careful
            }
        };
        for stretch in &starts {
            self.taken.add(index, stretch);
        }
        starts.iter().map(|stretch| stretch.start).collect()
    }

    /// The spare room after the ports that keep their place.
    fn spare(&self, ground: &Ground<'_>, span: Range<usize>) -> Blocks {
        let mut ends: BTreeMap<u32, u64> = BTreeMap::new();
        for at in span {
            let (Some(unit), Some(Some(picked))) = (self.units.get(at), self.picked.get(at)) else {
                continue;
            };
            if let Some(place) = unit.choices.get(*picked) {
                let end = ends.entry(unit.ports.start).or_default();
                *end = place.end.max(*end);
            }
        }
        let blocks = ends.into_iter().filter_map(|(port, start)| {
            let spare = ground.spare_of(port);
            let end = start.saturating_add(spare);
            let block = Block { end, owner: port, at: Span::default() };
            (spare > 0).then_some((start, block))
        });
        Blocks::new(blocks.collect())
    }

    /// Lays units without a place at the first free one; if `careful`, not on spare room or on
    /// universes that others ask for.
    fn first_free(
        &mut self,
        ground: &Ground<'_>,
        span: Range<usize>,
        from: u64,
        careful: bool,
    ) -> Vec<Range<u64>> {
        let mut stretches = Vec::with_capacity(span.len());
        let mut mine = Taken::new(ground.model.display.universe_slots.each());
        let mut known: BTreeMap<(u64, bool), u64> = BTreeMap::new();
        let mut before: Option<(u32, u64)> = None;
        for at in span {
            let Some(unit) = self.units.get(at) else {
                continue;
            };
            let picked = self.picked.get(at).copied().flatten();
            let kept = picked.and_then(|picked| unit.choices.get(picked));
            let stretch = if let Some(place) = kept {
                place.start..place.end
            } else {
                let blocked = |stretch: &Range<u64>| {
                    let spare = if careful { ground.spare_of(unit.ports.start) } else { 0 };
                    let wide = stretch.start..stretch.end.saturating_add(spare);
                    let hard = ground.blocked(unit, stretch, &self.taken);
                    let new = mine.touched(ground.index, &wide);
                    let soft = careful.then(|| ground.soft(unit, &wide, &self.asked, &self.taken));
                    [hard, new, soft.flatten()].into_iter().flatten().max()
                };
                let close = before.filter(|(port, _)| {
                    *port == unit.ports.start && matches!(unit.form, Form::Single(_))
                });
                let close = close.map(|(_, end)| unit.lay(ground.model, end));
                match close.filter(|close| blocked(close).is_none()) {
                    Some(close) => close,
                    None => search(ground.model, unit, from, &mut known, &mut self.steps, blocked),
                }
            };
            before = Some((unit.ports.start, stretch.end));
            if kept.is_none() {
                let spare = if careful { ground.spare_of(unit.ports.start) } else { 0 };
                mine.add(ground.index, &(stretch.start..stretch.end.saturating_add(spare)));
            }
            stretches.push(stretch);
        }
        stretches
    }

    /// Lets as little as possible give way, so that everything lies in the controller's universes.
    fn make_room(
        &mut self,
        ground: &Ground<'_>,
        span: Range<usize>,
        window: &Range<u64>,
    ) -> Option<Vec<Range<u64>>> {
        self.taken.clear(ground.index);
        let units = self.units.get(span.clone())?;
        let gaps = ground.gaps(window, &self.taken);
        let inside = |place: &&Place| {
            gaps.iter().any(|gap| gap.start <= place.start && place.end <= gap.end)
        };
        let numbered: Vec<Vec<(usize, Place)>> = units
            .iter()
            .map(|unit| {
                let places = unit.choices.iter().enumerate();
                let places = places.filter(|(_, place)| inside(place));
                places.map(|(at, place)| (at, *place)).collect()
            })
            .collect();
        let lay = |unit: usize, at: u64| {
            let unit = units.get(unit);
            unit.map_or(at..at, |unit| unit.lay(ground.model, at))
        };
        let case = Case {
            places: numbered
                .iter()
                .map(|places| places.iter().map(|(_, place)| *place).collect())
                .collect(),
            old: units.iter().map(|unit| unit.old_slots(self.old)).collect(),
            gaps: gaps.clone(),
            grid: ground.grid(units),
            lay: &lay,
        };
        let found = room::search(&case, &self.old.room_looks);
        let Some(found) = found else {
            self.retake(ground.index, span);
            return None;
        };
        let stretches = (0..).zip(&found.starts).map(|(at, (start, _))| lay(at, *start));
        let stretches: Vec<Range<u64>> = stretches.collect();
        for ((at, places), (_, kept)) in span.zip(&numbered).zip(&found.starts) {
            if let Some(entry) = self.picked.get_mut(at) {
                *entry = kept.and_then(|kept| places.get(kept)).map(|(at, _)| *at);
            }
        }
        self.off += found.off;
        Some(stretches)
    }

    fn retake(&mut self, index: usize, span: Range<usize>) {
        for at in span {
            let picked = self.picked.get(at).copied().flatten();
            let place = self.units.get(at).and_then(|unit| unit.choices.get(picked?));
            if let Some(place) = place {
                self.taken.add(index, &(place.start..place.end));
            }
        }
    }
}

/// The first free stretch for a unit. `known`: where one may begin at the earliest, by size.
#[allow(
    clippy::too_many_arguments,
    reason = "what is laid, from where, and what the search remembers"
)]
fn search(
    model: &Model,
    unit: &Unit,
    from: u64,
    known: &mut BTreeMap<(u64, bool), u64>,
    steps: &mut u64,
    blocked: impl Fn(&Range<u64>) -> Option<u64>,
) -> Range<u64> {
    let size: u64 = unit.items.iter().map(|item| item.body.slots()).sum();
    let aligned = unit.form != Form::Single(false);
    // Where nothing shorter fits, this does not fit either.
    let shorter =
        known.iter().filter(|((shorter, align), _)| *shorter <= size && *align == aligned);
    let at = shorter.map(|(_, at)| *at).max().unwrap_or(from).max(from);
    let mut stretch = unit.lay(model, at);
    while let Some(end) = blocked(&stretch) {
        *steps += 1;
        if *steps > MOST_STEPS {
            break;
        }
        stretch = unit.lay(model, end.max(stretch.start.saturating_add(1)));
    }
    known.insert((size, aligned), stretch.start);
    stretch
}
