//! Solves the nets at a level and takes from each what is asked of it.

use super::net::{Group, Nets, Run, Stretch, trunk};
use super::plain;
use super::solve::{Draw, Ladder, Point, Solved, solve};
use crate::loads::{ConductorLoad, FeedLoad, Flow, From, Low, Section, Study, TapLoad};
use crate::model::Model;
use crate::source::Span;

/// Solves all nets at the levels that the display allows, or with all nodes at `all` (thousandths of a percent).
#[must_use]
pub fn study(model: &Model, nets: &Nets, all: Option<u32>) -> Study {
    let mut study = Study {
        feeds: vec![FeedLoad::default(); model.powers.len()],
        supplies: vec![0; model.supplies.len()],
        ..Study::default()
    };
    let mut sections: Vec<(usize, Section)> = Vec::with_capacity(nets.stretches.len());
    for group in &nets.groups {
        let members = group
            .members
            .iter()
            .filter_map(|index| Some((*index, nets.stretches.get(*index)?)));
        let (out, held): (Vec<_>, Vec<_>) = members.partition(|(_, stretch)| stretch.left_out);
        for (index, stretch) in out {
            sections.push((index, left_out(stretch, all)));
            note_taps(index, stretch, None, &mut study);
        }
        if let Some(flow) = with_plain(model, nets, group, all, &held, &mut study, &mut sections) {
            note_feed(group, flow, &mut study);
            continue;
        }
        let Some(parts) = solved(model, nets, group, all) else {
            for (index, stretch) in held {
                sections.push((index, left_out(stretch, all)));
                note_taps(index, stretch, None, &mut study);
            }
            continue;
        };
        let mut flow = 0.0;
        for ((index, stretch), part) in held.into_iter().zip(&parts) {
            sections.push((index, read(nets, stretch, part, all)));
            note_taps(index, stretch, Some(&part.solved), &mut study);
            note_conductors(index, stretch, part, &mut study.conductors);
            flow += part.solved.amps;
        }
        note_feed(group, flow, &mut study);
    }
    sections.sort_unstable_by_key(|(index, _)| *index);
    study.sections = sections.into_iter().map(|(_, section)| section).collect();
    study
        .taps
        .sort_unstable_by_key(|tap| (tap.injection, tap.string, tap.after));
    study.conductors.sort_by_key(|load| load.section);
    supplies(model, &mut study);
    study
}

fn note_feed(group: &Group, amps: f64, study: &mut Study) {
    let power = group.power.map(|power| power as usize);
    if let Some(load) = power.and_then(|power| study.feeds.get_mut(power)) {
        *load = FeedLoad {
            ua: micro(amps),
            minus_ua: micro(amps),
        };
    }
}

/// Solves a group with its plain lines counted as what they draw, and says what flows through its trunk; `None` where it
/// has no such lines, or they do not stay plain.
fn with_plain(
    model: &Model,
    nets: &Nets,
    group: &Group,
    all: Option<u32>,
    held: &[(usize, &Stretch)],
    study: &mut Study,
    sections: &mut Vec<(usize, Section)>,
) -> Option<f64> {
    let trunk = trunk(model, nets, group)?;
    let mut plain = Vec::new();
    let mut others = Vec::new();
    let mut ladders = Vec::new();
    let mut amps = 0.0;
    for (index, stretch) in held {
        match plain::amps(nets, stretch, all) {
            Some(draws) => {
                amps += draws;
                plain.push((*index, *stretch));
            }
            None => {
                let ladder = stretch.ladder(model, &nets.makes, stretch.level(all));
                if ladder.taps.len() != stretch.sites.len() {
                    return None;
                }
                ladders.push(ladder);
                others.push((*index, *stretch));
            }
        }
    }
    if plain.is_empty() {
        return None;
    }
    // As one load where the trunk ends; far under any floor it would not be that any more, but no line is plain there.
    let draw = Draw {
        amps,
        watts: 0.0,
        floor: 1e-3,
    };
    ladders.push(Ladder {
        points: vec![Point { ohms: 0.0, draw }],
        taps: Vec::new(),
    });
    let (mut solved, flow) = solve(Some(trunk), &ladders);
    let start = solved.pop()?.volts.first().copied()?;
    let walked = plain.into_iter().map(|(index, stretch)| {
        let (mut section, conductors) = plain::walk(nets, index, all, start)?;
        if stretch.from == From::Port {
            section.assumed_mw = (section.drawn_ua as f64 * start * 1e-3).round() as i64;
        }
        Some((index, section, conductors))
    });
    for (index, section, conductors) in walked.collect::<Option<Vec<_>>>()? {
        sections.push((index, section));
        study.conductors.extend(conductors);
    }
    for ((index, stretch), (ladder, solved)) in
        others.into_iter().zip(ladders.into_iter().zip(solved))
    {
        let part = Part { ladder, solved };
        sections.push((index, read(nets, stretch, &part, all)));
        note_taps(index, stretch, Some(&part.solved), study);
        note_conductors(index, stretch, &part, &mut study.conductors);
    }
    Some(flow)
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

/// Solves those stretches of a group that are not left out; `None` where their voltage is not known or nothing feeds
/// them.
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

/// A stretch of which nothing is known.
#[must_use]
pub fn left_out(stretch: &Stretch, all: Option<u32>) -> Section {
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
        left_out: true,
    }
}

/// What is to be known of a stretch.
#[must_use]
pub fn read(nets: &Nets, stretch: &Stretch, part: &Part, all: Option<u32>) -> Section {
    let mut section = Section {
        left_out: false,
        port_ua: micro(part.solved.amps),
        ..left_out(stretch, all)
    };
    let mut drawn = 0.0;
    let mut lowest: Option<(f64, &Run, u32)> = None;
    let mut dark: Option<(f64, &Run, u32)> = None;
    let mut points = part
        .ladder
        .points
        .iter()
        .zip(part.solved.volts.iter().skip(1));
    for run in &stretch.runs {
        for step in 0..run.count {
            let Some((point, volts)) = points.next() else {
                break;
            };
            drawn += point.draw.at(*volts);
            if !run.lit || point.draw.amps <= 0.0 && point.draw.watts <= 0.0 {
                continue;
            }
            if lowest.is_none_or(|(least, ..)| *volts < least) {
                lowest = Some((*volts, run, step));
            }
            if *volts < point.draw.floor - TRIFLE {
                section.dark_nodes += 1;
                dark = dark.or(Some((*volts, run, step)));
            }
        }
    }
    section.drawn_ua = micro(drawn);
    if stretch.from == From::Port {
        let volts = part.solved.volts.first().copied().unwrap_or(0.0);
        section.assumed_mw = (part.solved.amps * volts * 1e3).round() as i64;
    }
    section.lowest = lowest.map(|(volts, run, step)| low(nets, volts, run, step));
    section.dark = dark.map(|(volts, run, step)| low(nets, volts, run, step));
    section
}

/// Voltages that miss their floor by less are at it: what the solver may be off by, and far less than can be measured.
pub const TRIFLE: f64 = 1e-7;

/// A node and its voltage, as it is told.
#[must_use]
pub fn low(nets: &Nets, volts: f64, run: &Run, step: u32) -> Low {
    let make = run.make.and_then(|id| nets.makes.get(id.index()));
    Low {
        string: run.string.unwrap_or(crate::model::StringId(u32::MAX)),
        at: run.at,
        node: run.first + step,
        uv: micro(volts),
        floor_uv: make.map_or(0, |make| micro(make.floor)),
    }
}

fn note_taps(section: usize, stretch: &Stretch, solved: Option<&Solved>, study: &mut Study) {
    for (at, site) in stretch.sites.iter().enumerate() {
        let amps = solved.and_then(|solved| solved.taps.get(at));
        let ua = amps.map_or(0, |amps| micro(*amps));
        study.taps.push(TapLoad {
            injection: site.injection,
            string: site.string,
            after: site.after,
            section: section as u32,
            ua,
            minus_ua: ua,
            left_out: solved.is_none(),
        });
    }
}

/// A stretch of conductor as it is noted, without a current; `None` where its gauge is not known.
#[must_use]
pub fn conductor(section: usize, run: &Run) -> Option<ConductorLoad> {
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

fn note_conductors(index: usize, stretch: &Stretch, part: &Part, all: &mut Vec<ConductorLoad>) {
    let mut flows = part.solved.segments(&part.ladder);
    for run in &stretch.runs {
        let mut load = conductor(index, run);
        for (step, flow) in (0..run.count).zip(&mut flows) {
            if let Some(load) = &mut load {
                let node = if run.lit { run.first + step } else { 0 };
                load.plus.take(micro(flow), node);
            }
        }
        all.extend(load.map(|load| ConductorLoad {
            minus: load.plus,
            ..load
        }));
    }
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
