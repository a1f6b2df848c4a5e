//! Solves the nets at a level and takes from each what is asked of it.

use super::net::{Group, Nets, Piece, Run, Site, Stretch, trunk, volts};
use super::network::{LineState, Pair, Peak, RowState};
use super::rails;
use super::solve::{Ladder, Solved, solve};
use super::units::{Unit, too_many_supplies, units};
use crate::loads::{ConductorLoad, FeedLoad, Flow, From, Low, Section, Study, TapLoad};
use crate::model::Model;
use crate::source::Span;

/// Levels and voltages at which nets are solved.
pub struct Levels<'a> {
    /// The level of all nodes, in thousandths of a percent; `None` for what the display allows.
    pub all: Option<u32>,
    /// The voltage of the supply of each `power` statement, where it is known.
    pub feeds: Vec<Option<f64>>,
    held: &'a [bool],
}

impl Levels<'_> {
    /// Whether a stretch is solved: joined as it should be, fed, at known voltages, and not too
    /// long.
    #[must_use]
    pub fn holds(&self, stretch: usize) -> bool {
        self.held.get(stretch).copied().unwrap_or(false)
    }
}

/// Solves all nets at the levels that the display allows, or with all nodes at `all` (thousandths
/// of a percent).
#[must_use]
pub fn study(model: &Model, nets: &Nets, all: Option<u32>) -> Study {
    let units = units(model, nets);
    let feeds = feeds(model, nets);
    let held = held(model, nets, &feeds, &units);
    let levels = Levels {
        all,
        feeds,
        held: &held,
    };
    let stretches = nets.stretches.iter();
    let mut study = Study {
        sections: stretches.map(|stretch| left_out(stretch, all)).collect(),
        feeds: vec![FeedLoad::default(); model.powers.len()],
        supplies: vec![0; model.supplies.len()],
        ..Study::default()
    };
    for unit in &units {
        let Some(state) = rails::solve(&unit.network(model, nets, &levels)) else {
            leave_out(nets, unit, &mut study);
            continue;
        };
        for ((power, _), pair) in unit.powers.iter().zip(&state.buses) {
            if let Some(feed) = study.feeds.get_mut(*power as usize) {
                *feed = FeedLoad {
                    ua: micro(pair.plus),
                    minus_ua: micro(pair.minus),
                };
            }
        }
        for ((line, _), state) in unit.lines.iter().zip(&state.lines) {
            if let Some(line) = nets.lines.get(*line) {
                let mut reader = Reader {
                    nets,
                    levels: &levels,
                    rows: state.rows.iter(),
                    taps: state.taps.iter(),
                    study: &mut study,
                };
                reader.line(&line.pieces, state);
            }
        }
    }
    study
        .taps
        .sort_unstable_by_key(|tap| (tap.injection, tap.string, tap.after));
    study.conductors.sort_by_key(|load| load.section);
    supplies(model, &mut study);
    study
}

/// The voltage of each `power` statement: its supply's, or what the first of its lines is made
/// for.
fn feeds(model: &Model, nets: &Nets) -> Vec<Option<f64>> {
    let mut feeds = vec![None; model.powers.len()];
    for group in &nets.groups {
        let first = group.members.first();
        let usual = first.and_then(|index| nets.stretches.get(*index)?.volts);
        if let Some((power, lead)) = group.power.zip(group.lead)
            && let Some(feed) = feeds.get_mut(power as usize)
        {
            *feed = volts(model, &lead, usual);
        }
    }
    feeds
}

/// Which stretches are solved.
fn held(model: &Model, nets: &Nets, feeds: &[Option<f64>], units: &[Unit]) -> Vec<bool> {
    let known = |stretch: &Stretch| {
        let fed = match stretch.from {
            From::Power(power) => feeds.get(power as usize).is_some_and(Option::is_some),
            From::Port => stretch.volts.is_some(),
            From::Taps => !stretch.sites.is_empty(),
            From::Nothing => false,
        };
        let mut sites = stretch.sites.iter();
        fed && sites.all(|site| volts(model, &site.lead, stretch.volts).is_some())
    };
    let stretches = nets.stretches.iter();
    let mut held: Vec<bool> = stretches
        .map(|stretch| !stretch.left_out && known(stretch))
        .collect();
    for unit in units {
        let lines = unit.lines.iter().filter_map(|(at, _)| nets.lines.get(*at));
        for line in lines.filter(|line| unit.too_large || too_many_supplies(nets, line)) {
            for piece in &line.pieces {
                if let Piece::Stretch(index) = piece
                    && let Some(entry) = held.get_mut(*index)
                {
                    *entry = false;
                }
            }
        }
    }
    held
}

/// Reads a line that was solved.
struct Reader<'a> {
    nets: &'a Nets,
    levels: &'a Levels<'a>,
    rows: std::slice::Iter<'a, RowState>,
    taps: std::slice::Iter<'a, Pair>,
    study: &'a mut Study,
}

impl Reader<'_> {
    fn line(&mut self, pieces: &[Piece], state: &LineState) {
        for (at, piece) in pieces.iter().enumerate() {
            match piece {
                Piece::Bare(runs) => self.rows.by_ref().take(runs.len()).for_each(drop),
                Piece::Stretch(index) => {
                    let start = state.fed.filter(|_| at == 0);
                    self.stretch(*index, start);
                }
            }
        }
    }

    /// `start`: what flows into it from its port, and the voltage there.
    fn stretch(&mut self, index: usize, start: Option<(f64, f64)>) {
        let Some(stretch) = self.nets.stretches.get(index) else {
            return;
        };
        let held = self.levels.holds(index);
        let (amps, volts) = start.filter(|_| held).unwrap_or_default();
        let mut section = Section {
            left_out: !held,
            port_ua: micro(amps),
            ..left_out(stretch, self.levels.all)
        };
        if stretch.from == From::Port {
            section.assumed_mw = (amps * volts * 1e3).round() as i64;
        }
        let mut drawn = 0.0;
        for run in &stretch.runs {
            let Some(row) = self.rows.next() else { break };
            drawn += row.drawn;
            let draw = run.draw(&self.nets.makes, stretch.level(self.levels.all));
            if held && run.lit && (draw.amps > 0.0 || draw.watts > 0.0) {
                note_row(run, row, &mut section);
            }
            let load = conductor(index, run).map(|load| ConductorLoad {
                plus: flow(run, row.plus),
                minus: flow(run, row.minus),
                ..load
            });
            self.study.conductors.extend(load);
        }
        section.drawn_ua = micro(drawn);
        self.taps(index, stretch, held);
        if let Some(entry) = self.study.sections.get_mut(index) {
            *entry = section;
        }
    }

    fn taps(&mut self, index: usize, stretch: &Stretch, held: bool) {
        for site in &stretch.sites {
            let pair = self.taps.by_ref().take(usize::from(held)).next();
            let pair = pair.copied().unwrap_or_default();
            let load = tap_load(index, site, pair, !held);
            self.study.taps.push(load);
            // Behind its last node a string goes on for one pitch, to where the lead joins.
            let mut runs = stretch.runs.iter();
            let last = runs.rfind(|run| run.string == Some(site.string) && run.lit);
            let tail = last.and_then(|run| conductor(index, run));
            if let Some(load) = tail.filter(|_| site.ohms > 0.0) {
                let flow = |amps: f64| Flow {
                    ua: micro(-amps),
                    node: site.after,
                };
                self.study.conductors.push(ConductorLoad {
                    plus: flow(pair.plus),
                    minus: flow(pair.minus),
                    ..load
                });
            }
        }
    }
}

/// Notes the taps of a unit that was not solved.
fn leave_out(nets: &Nets, unit: &Unit, study: &mut Study) {
    let lines = unit.lines.iter().filter_map(|(at, _)| nets.lines.get(*at));
    for piece in lines.flat_map(|line| &line.pieces) {
        let Piece::Stretch(index) = piece else {
            continue;
        };
        let stretch = nets.stretches.get(*index);
        for site in stretch.map_or(&[][..], |stretch| &stretch.sites) {
            study
                .taps
                .push(tap_load(*index, site, Pair::default(), true));
        }
    }
}

fn tap_load(section: usize, site: &Site, pair: Pair, left_out: bool) -> TapLoad {
    TapLoad {
        injection: site.injection,
        string: site.string,
        after: site.after,
        section: section as u32,
        ua: micro(pair.plus),
        minus_ua: micro(pair.minus),
        left_out,
    }
}

fn note_row(run: &Run, row: &RowState, section: &mut Section) {
    let (volts, at) = row.lowest;
    let least = low(volts, run, at);
    if section.lowest.is_none_or(|low| least.uv < low.uv) {
        section.lowest = Some(least);
    }
    if let Some((volts, at)) = row.dark {
        section.dark = section.dark.or(Some(low(volts, run, at)));
    }
    section.dark_nodes = section.dark_nodes.saturating_add(row.dark_points);
}

fn flow(run: &Run, peak: Peak) -> Flow {
    Flow {
        ua: micro(peak.amps),
        node: if run.lit { run.first + peak.at } else { 0 },
    }
}

/// A node and its voltage, as it is reported.
fn low(volts: f64, run: &Run, step: u32) -> Low {
    Low {
        string: run.string.unwrap_or(crate::model::StringId(u32::MAX)),
        at: run.at,
        node: run.first + step,
        uv: micro(volts),
        floor_uv: micro(run.floor),
    }
}

/// A conductor as it is noted, without a current; `None` where its gauge is not known.
fn conductor(section: usize, run: &Run) -> Option<ConductorLoad> {
    Some(ConductorLoad {
        section: section as u32,
        at: run.at,
        string: run.string,
        lead: run.make.is_none(),
        gauge: run.gauge?,
        plus: Flow::default(),
        minus: Flow::default(),
    })
}

/// A stretch of which nothing is known.
fn left_out(stretch: &Stretch, all: Option<u32>) -> Section {
    Section {
        port: stretch.port,
        receiver: stretch.receiver,
        at: stretch.at.unwrap_or_default(),
        from: stretch.from,
        level: stretch.level(all),
        port_ua: 0,
        drawn_ua: 0,
        assumed_mw: 0,
        fuse: stretch.fuse,
        lowest: None,
        dark: None,
        dark_nodes: 0,
        whole: stretch.whole,
        silent: stretch.silent,
        left_out: true,
    }
}

/// What each supply gives.
fn supplies(model: &Model, study: &mut Study) {
    let feeds = model
        .powers
        .iter()
        .zip(&study.feeds)
        .map(|(power, feed)| (power.lead.supply, feed.ua));
    let taps = study.taps.iter().filter_map(|tap| {
        let injection = model.injections.get(tap.injection as usize)?;
        Some((injection.lead.supply, tap.ua))
    });
    for (supply, ua) in feeds.chain(taps) {
        if let Some(sum) = study.supplies.get_mut(supply.index()) {
            *sum = sum.saturating_add(ua);
        }
    }
}

/// A stretch, solved.
pub struct Part {
    /// As the solver had it.
    pub ladder: Ladder,
    /// What came of it.
    pub solved: Solved,
}

/// Solves those stretches of a group that are not left out; `None` where their voltage is not known
/// or nothing feeds them.
#[must_use]
pub fn solved(model: &Model, nets: &Nets, group: &Group, all: Option<u32>) -> Option<Vec<Part>> {
    let trunk = trunk(model, nets, group);
    let held = || {
        let members = group
            .members
            .iter()
            .filter_map(|index| nets.stretches.get(*index));
        members.filter(|stretch| !stretch.left_out)
    };
    let ladders: Vec<Ladder> = held()
        .map(|stretch| stretch.ladder(model, &nets.makes, stretch.level(all)))
        .collect();
    let known = held().zip(&ladders).all(|(stretch, ladder)| {
        let fed = trunk.is_some() || !ladder.taps.is_empty();
        fed && ladder.taps.len() == stretch.sites.len()
    });
    if !known {
        return None;
    }
    let (solved, _) = solve(trunk, &ladders);
    let parts = ladders.into_iter().zip(solved);
    Some(
        parts
            .map(|(ladder, solved)| Part { ladder, solved })
            .collect(),
    )
}

/// In millionths, as everything outside the solver is kept.
#[must_use]
pub fn micro(value: f64) -> i64 {
    (value * 1e6).round() as i64
}

/// The place of a stretch that a finding about it is told at.
#[must_use]
pub fn place(section: &Section) -> Span {
    section
        .dark
        .or(section.lowest)
        .map_or(section.at, |low| low.at)
}
