//! Why lines find no room, as a finding: which clash, what they lack, and what would help.

use super::cures::{self, Refused};
use super::fixtures::Fixtures;
use super::needs::{Need, Reason, in_words};
use super::outlets::Outlets;
use super::pack::Cause;
use super::ports;
use super::seek::{Aim, Asked, LineClash, Universes};
use crate::diagnostic::Diagnostic;
use crate::model::{Model, Start, Target};
use crate::rules::place::no_room::{self, Asker, Lack};
use crate::source::Span;
use std::collections::{BTreeMap, BTreeSet};

/// A finding for each set of lines that provably clash. Where that does not explain all that is
/// `left` without a port, one more for the rest.
pub(super) fn findings(asked: &Refused<'_>, fixtures: bool, left: &[usize]) -> Vec<Diagnostic> {
    let Refused { model, said, .. } = *asked;
    let mut lines = ports::open(model, said);
    lines.retain(|(_, need)| need.fixture == fixtures);
    let outlets = Outlets::new(model, said);
    outlets.mark_unfed(&mut lines);
    let clashes = if fixtures {
        Fixtures::new(model, &outlets, &lines).clashes()
    } else {
        Asked::new(model, &outlets, &lines, Universes::Least).clashes()
    };
    let refusal = Refusal { asked, model, outlets: &outlets, lines: &lines };
    let all: BTreeSet<usize> = clashes.iter().flat_map(|clash| &clash.lines).copied().collect();
    let mut findings: Vec<Diagnostic> = Vec::new();
    for clash in &clashes {
        let words = refusal.clash(clash, fixtures);
        findings.extend(words.and_then(|words| refusal.finding(words, &clash.lines, &all)));
    }
    let without: BTreeSet<usize> = left.iter().copied().collect();
    let open = |at: &usize| lines.get(*at).is_some_and(|(index, _)| without.contains(index));
    let rest: Vec<usize> = (0..lines.len()).filter(|at| !all.contains(at)).collect();
    let unexplained: Vec<usize> = rest.iter().copied().filter(open).collect();
    // What did not parse may be what these need.
    let unsure = |at: &usize| {
        let need = refusal.need(*at);
        need.is_some_and(|need| model.outputs_unsure(need.target))
    };
    let unsaid = !unexplained.is_empty() && !unexplained.iter().any(unsure);
    if unsaid && (findings.is_empty() || !refusal.fits(&rest, fixtures)) {
        let words = refusal.unproven(&unexplained, left.len(), fixtures);
        findings.extend(words.and_then(|words| refusal.finding(words, &unexplained, &all)));
    }
    findings
}

struct Refusal<'a> {
    asked: &'a Refused<'a>,
    model: &'a Model,
    outlets: &'a Outlets<'a>,
    lines: &'a [(usize, Need)],
}

impl Refusal<'_> {
    fn need(&self, at: usize) -> Option<&Need> {
        self.lines.get(at).map(|(_, need)| need)
    }

    /// The finding with what would help; `all` are the lines of every clash.
    fn finding(
        &self,
        mut words: no_room::Unplaced,
        own: &[usize],
        all: &BTreeSet<usize>,
    ) -> Option<Diagnostic> {
        let index = |at: &usize| self.lines.get(*at).map(|(index, _)| *index);
        let mine: BTreeSet<usize> = own.iter().copied().collect();
        let others = all.difference(&mine);
        let others: Vec<usize> = others.filter_map(index).collect();
        let its = own.iter().filter_map(|at| self.lines.get(*at).cloned());
        let its: Vec<(usize, Need)> = its.collect();
        words.cures = cures::of(self.asked, &its, &others);
        no_room::clash(self.model, &words)
    }

    /// Whether some lines find room by themselves.
    fn fits(&self, lines: &[usize], fixtures: bool) -> bool {
        let lines = lines.iter().filter_map(|at| self.lines.get(*at).cloned());
        let lines: Vec<(usize, Need)> = lines.collect();
        if fixtures {
            return Fixtures::new(self.model, self.outlets, &lines).fits();
        }
        let asked = Asked::new(self.model, self.outlets, &lines, Universes::Least);
        asked.place(Aim::Any).is_ok()
    }

    /// What is known where no clash is proven.
    fn unproven(
        &self,
        lines: &[usize],
        without: usize,
        fixtures: bool,
    ) -> Option<no_room::Unplaced> {
        let first = self.need(*lines.first()?)?;
        let askers: Vec<Asker> = lines.iter().filter_map(|at| self.asker(*at, fixtures)).collect();
        let size = askers.iter().map(|asker| asker.size).sum();
        let all = self.lines.len();
        let lack = Lack::Unproven { placed: all - without.min(all), all, size };
        Some(no_room::Unplaced {
            lines: askers,
            fixtures,
            limits: self.limits(first, &lack),
            lack,
            passed: Vec::new(),
            missing: self.outlets.missing(first),
            cures: Vec::new(),
        })
    }

    /// A clash as the rule words it; `None` where what did not parse may be at fault.
    fn clash(&self, clash: &LineClash, fixtures: bool) -> Option<no_room::Unplaced> {
        let mut lines = clash.lines.clone();
        lines.sort_unstable();
        let hopeless = clash.cause == Cause::Alone;
        if hopeless {
            // The others of its prop have their place, or are in the same case.
            lines.retain(|at| self.need(*at).is_some_and(|need| !self.fits_anywhere(need)));
        }
        let first = self.need(*lines.first()?)?;
        let rows = self.outlets.reasons(first);
        if rows.is_empty() && self.model.outputs_unsure(first.target) {
            return None;
        }
        let ports = if fixtures { "output" } else { "port" };
        let (lack, passed) = if hopeless {
            (Lack::Any(self.outlets.tried(first, true)), Vec::new())
        } else {
            let mut rows = rows;
            rows.retain(|reason, _| {
                !matches!(
                    reason,
                    Reason::Nodes(_) | Reason::Time(_) | Reason::Slots(_) | Reason::Fuse(_)
                )
            });
            let passed = in_words(self.model, &rows, ports);
            (self.lack(clash, &lines), passed)
        };
        let askers = lines.iter().filter_map(|at| self.asker(*at, fixtures));
        Some(no_room::Unplaced {
            lines: askers.collect(),
            fixtures,
            limits: self.limits(first, &lack),
            lack,
            passed,
            missing: self.outlets.missing(first),
            cures: Vec::new(),
        })
    }

    fn asker(&self, at: usize, fixtures: bool) -> Option<Asker> {
        let (index, need) = self.lines.get(at)?;
        let line = self.model.lines.get(*index)?;
        let load = Outlets::load(self.model, need);
        Some(Asker {
            first: need.first,
            strings: need.strings,
            size: if fixtures { load.slots } else { load.length() },
            target: (line.target, line.at),
        })
    }

    fn fits_anywhere(&self, need: &Need) -> bool {
        let mut scope = self.outlets.scope(need.target);
        scope.any(|at| self.outlets.is_for(at, need.fixture) && self.outlets.fits(at, need).is_ok())
    }

    fn lack(&self, clash: &LineClash, lines: &[usize]) -> Lack {
        match &clash.cause {
            Cause::Ports { needed, free } => Lack::Ports { needed: *needed, free: *free },
            Cause::Slots { needed, left } => Lack::Slots { needed: *needed, left: *left },
            Cause::Alone | Cause::Searched => Lack::Sizes(self.rooms(lines)),
        }
    }

    /// The room that outputs have for any of some lines, and how many have it: the four widest.
    fn rooms(&self, lines: &[usize]) -> Vec<(u64, usize)> {
        let mut rooms: BTreeMap<u64, usize> = BTreeMap::new();
        let needs = || lines.iter().filter_map(|at| self.need(*at));
        let scopes = needs().map(|need| self.outlets.scope(need.target));
        let from = scopes.clone().map(|scope| scope.start).min().unwrap_or(0);
        let to = scopes.map(|scope| scope.end).max().unwrap_or(0);
        for at in from..to {
            let room = needs()
                .filter(|need| self.outlets.scope(need.target).contains(&at))
                .map(|need| match need.fixture {
                    true => self.outlets.slots_left(at),
                    false => self.outlets.nodes_left(at, need),
                })
                .max();
            if let Some(room) = room.filter(|room| *room > 0) {
                *rooms.entry(room).or_default() += 1;
            }
        }
        rooms.into_iter().rev().take(4).collect()
    }

    /// The settings that set the limits, with what to say there.
    fn limits(&self, first: &Need, lack: &Lack) -> Vec<(Span, String)> {
        let mut limits = Vec::new();
        let rows = self.outlets.reasons(first);
        for reserved in &self.model.reserved_outputs {
            let mine = match first.target {
                Target::Controller(id) => id == reserved.controller,
                Target::Any => true,
                _ => false,
            };
            if mine && rows.contains_key(&Reason::Reserved) && limits.len() < 4 {
                limits.push((reserved.at, "reserved".to_owned()));
            }
        }
        let scope = self.outlets.scope(first.target);
        let open = scope.filter(|at| match self.outlets.fits(*at, first) {
            Ok(()) | Err(Reason::Nodes(_) | Reason::Time(_) | Reason::Fuse(_)) => true,
            Err(_) => false,
        });
        let mut bounds: Vec<(Span, String)> = Vec::new();
        for bound in open.flat_map(|at| self.outlets.bounds(at, first)) {
            if bounds.len() < 2 && !bounds.contains(&bound) {
                bounds.push(bound);
            }
        }
        if !matches!(lack, Lack::Slots { .. }) {
            limits.extend(bounds);
        }
        if let (Lack::Slots { .. }, Target::Controller(id)) = (lack, first.target)
            && let Some(controller) = self.model.controller(id)
        {
            let range = matches!(controller.start, Start::Range(..));
            let at = controller.most_universes.map(|most| most.at);
            let at = at.or(controller.start_at.filter(|_| range));
            limits.extend(at.map(|at| (at, "its universes are limited here".to_owned())));
        }
        limits
    }
}
