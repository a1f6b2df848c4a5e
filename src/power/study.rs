//! Solves the nets at a level and reads currents and voltages from the solution.

use super::net::{NetSection, Nets, Passage, Run, Spot, volts};
use super::network::{LineState, Pair, Peak, RowState};
use super::rails;
use super::units::{Unit, too_many_supplies, units};
use crate::keyed::Keyed;
use crate::loads::{ConductorLoad, FeedLoad, Flow, From, Low, Section, SectionId, Study, TapLoad};
use crate::model::{Model, PowerId};
use crate::source::Span;

/// Levels and voltages at which nets are solved.
pub struct Levels {
    /// The level of all nodes, in thousandths of a percent; `None` for what the display allows.
    pub all: Option<u32>,
    /// The voltage of the supply of each `power` statement, where it is known.
    pub feeds: Keyed<PowerId, Option<f64>>,
    /// Whether each stretch is solved: joined rightly, fed, at known voltages, and not too long.
    pub held: Keyed<SectionId, bool>,
}

impl Levels {
    /// The levels that the display allows, or all nodes at `all` (thousandths of a percent).
    #[must_use]
    pub fn new(model: &Model, nets: &Nets, units: &[Unit], all: Option<u32>) -> Self {
        let feeds = feeds(model, nets);
        let known = |stretch: &NetSection| {
            let fed = match stretch.from {
                From::Power(power) => feeds[power].is_some(),
                From::Port => stretch.volts.is_some(),
                From::Taps => !stretch.sites.is_empty(),
                From::Nothing => false,
            };
            let mut sites = stretch.sites.iter();
            fed && sites.all(|site| volts(model, &site.lead, stretch.volts).is_some())
        };
        let held = |stretch: &NetSection| !stretch.left_out && known(stretch);
        let mut held = nets.stretches.map(held);
        for unit in units {
            for (line, _) in &unit.lines {
                let line = &nets.lines[*line];
                if unit.too_large || too_many_supplies(nets, line) {
                    line.stretches().for_each(|id| held[id] = false);
                }
            }
        }
        Self { all, feeds, held }
    }
}

/// The voltage of each `power` statement: its supply's, else what its first line is made for.
fn feeds(model: &Model, nets: &Nets) -> Keyed<PowerId, Option<f64>> {
    let mut feeds = model.powers.map(|_| None);
    for group in &nets.groups {
        if let (Some(power), Some(first)) = (group.power, nets.of(group).next()) {
            feeds[power] = volts(model, &model.powers[power].lead, first.volts);
        }
    }
    feeds
}

/// Solves all nets at the levels that the display allows, or with all nodes at `all` (thousandths
/// of a percent).
#[must_use]
pub fn study(model: &Model, nets: &Nets, all: Option<u32>) -> Study {
    let units = units(model, nets);
    let levels = Levels::new(model, nets, &units, all);
    let mut study = Study {
        sections: nets.stretches.map(|stretch| left_out(stretch, all)),
        feeds: model.powers.map(|_| FeedLoad::default()),
        supplies: model.supplies.map(|_| 0),
        ..Study::default()
    };
    for unit in &units {
        let Some(state) = rails::solve(&unit.network(model, nets, &levels)) else {
            leave_out(nets, unit, &mut study);
            continue;
        };
        for ((power, _), pair) in unit.powers.iter().zip(&state.buses) {
            study.feeds[*power] = FeedLoad { ua: micro(pair.plus), minus_ua: micro(pair.minus) };
        }
        for ((line, _), state) in unit.lines.iter().zip(&state.lines) {
            let mut reader = Reader {
                nets,
                levels: &levels,
                rows: state.rows.iter(),
                taps: state.taps.iter(),
                study: &mut study,
            };
            reader.line(&nets.lines[*line].pieces, state);
        }
    }
    study.taps.sort_unstable_by_key(|tap| (tap.injection, tap.string, tap.after));
    study.conductors.sort_by_key(|load| load.section);
    supplies(model, &mut study);
    study
}

/// Whether no node of a stretch is under its floor, solved with all that it is joined to.
#[must_use]
pub fn holds(model: &Model, nets: &Nets, (unit, levels): (&Unit, &Levels), id: SectionId) -> bool {
    let Some(state) = rails::solve(&unit.network(model, nets, levels)) else {
        return false;
    };
    let mut lines = unit.lines.iter().zip(&state.lines);
    lines.any(|((line, _), state)| {
        let mut rows = state.rows.iter();
        nets.lines[*line].pieces.iter().any(|piece| match piece {
            Passage::Bare(runs) => {
                rows.by_ref().take(runs.len()).for_each(drop);
                false
            }
            Passage::NetSection(other) => {
                let count = nets.stretches[*other].runs.len();
                let dark = rows.by_ref().take(count).map(|row| row.dark_points);
                dark.sum::<u32>() == 0 && *other == id && levels.held[id]
            }
        })
    })
}

/// Reads a line that was solved.
struct Reader<'a> {
    nets: &'a Nets,
    levels: &'a Levels,
    rows: std::slice::Iter<'a, RowState>,
    taps: std::slice::Iter<'a, Pair>,
    study: &'a mut Study,
}

impl Reader<'_> {
    fn line(&mut self, pieces: &[Passage], state: &LineState) {
        for (at, piece) in pieces.iter().enumerate() {
            match piece {
                Passage::Bare(runs) => self.rows.by_ref().take(runs.len()).for_each(drop),
                Passage::NetSection(id) => self.stretch(*id, state.fed.filter(|_| at == 0)),
            }
        }
    }

    /// `start` is the current that flows into it from its port, and the voltage there.
    fn stretch(&mut self, id: SectionId, start: Option<(f64, f64)>) {
        let stretch = &self.nets.stretches[id];
        let held = self.levels.held[id];
        let (amps, volts) = start.filter(|_| held).unwrap_or_default();
        let mut section =
            Section { left_out: !held, port_ua: micro(amps), ..left_out(stretch, self.levels.all) };
        if stretch.from == From::Port {
            section.assumed_mw = (amps * volts * 1e3).round() as i64;
        }
        let mut drawn = 0.0;
        for run in &stretch.runs {
            let Some(row) = self.rows.next() else { break };
            drawn += row.drawn;
            let draw = run.draw(&self.nets.makes, stretch.level(self.levels.all));
            if held && run.lit && draw.any() {
                note_row(run, row, &mut section);
            }
            let load = conductor(id, run).map(|load| ConductorLoad {
                plus: flow(run, row.plus),
                minus: flow(run, row.minus),
                ..load
            });
            self.study.conductors.extend(load);
        }
        section.drawn_ua = micro(drawn);
        self.taps(id, stretch, held);
        self.study.sections[id] = section;
    }

    fn taps(&mut self, id: SectionId, stretch: &NetSection, held: bool) {
        for site in &stretch.sites {
            let pair = self.taps.by_ref().take(usize::from(held)).next();
            let pair = pair.copied().unwrap_or_default();
            let load = tap_load(id, site, pair, !held);
            self.study.taps.push(load);
            // The string's conductor goes on for one pitch after its last node, to where the lead
            // joins.
            let mut runs = stretch.runs.iter();
            let last = runs.rfind(|run| run.string == Some(site.string) && run.lit);
            let tail = last.and_then(|run| conductor(id, run));
            if let Some(load) = tail.filter(|_| site.ohms > 0.0) {
                let flow = |amps: f64| Flow { ua: micro(-amps), node: site.after };
                self.study.conductors.push(ConductorLoad {
                    plus: flow(pair.plus),
                    minus: flow(pair.minus),
                    ..load
                });
            }
        }
    }
}

/// Records the points of injection of a unit that was not solved.
fn leave_out(nets: &Nets, unit: &Unit, study: &mut Study) {
    for (line, _) in &unit.lines {
        for id in nets.lines[*line].stretches() {
            for site in &nets.stretches[id].sites {
                let load = tap_load(id, site, Pair::default(), true);
                study.taps.push(load);
            }
        }
    }
}

fn tap_load(section: SectionId, site: &Spot, pair: Pair, left_out: bool) -> TapLoad {
    TapLoad {
        injection: site.injection,
        string: site.string,
        after: site.after,
        section,
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
    Flow { ua: micro(peak.amps), node: if run.lit { run.first + peak.at } else { 0 } }
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

/// A conductor without its currents; `None` where its gauge is not known.
fn conductor(section: SectionId, run: &Run) -> Option<ConductorLoad> {
    Some(ConductorLoad {
        section,
        at: run.at,
        string: run.string,
        lead: run.make.is_none(),
        gauge: run.gauge?,
        plus: Flow::default(),
        minus: Flow::default(),
    })
}

/// The section of a stretch that is not solved.
fn left_out(stretch: &NetSection, all: Option<u32>) -> Section {
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
    let powers = model.powers.iter().zip(&study.feeds);
    let feeds = powers.map(|(power, feed)| (power.lead.supply, feed.ua));
    let taps = study.taps.iter();
    let taps = taps.map(|tap| (model.injections[tap.injection].lead.supply, tap.ua));
    for (supply, ua) in feeds.chain(taps) {
        let sum = &mut study.supplies[supply];
        *sum = sum.saturating_add(ua);
    }
}

/// A value in millionths: the small unit of all results.
#[must_use]
pub fn micro(value: f64) -> i64 {
    (value * 1e6).round() as i64
}

/// Where a finding about a section points.
#[must_use]
pub fn place(section: &Section) -> Span {
    section.dark.or(section.lowest).map_or(section.at, |low| low.at)
}
