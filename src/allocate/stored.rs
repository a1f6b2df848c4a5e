//! Stored strings in the middle of an unbroken line: which strings move because the line closes up,
//! and ways that move fewer. Each way is tried in a copy of the display before it is offered.

use super::decide;
use crate::ast::BlockKind;
use crate::diagnostic::{Edit, Fix, Severity, Sink};
use crate::lock::{Lock, Relay};
use crate::model::{Addressing, ControllerId, Model, Output, Piece, PieceKind, StringId, Target};
use crate::plan::{Plan, PortPlan};
use crate::rules;
use crate::rules::stored::mid_chain::{self, Closing, Way};
use crate::source::Span;
use crate::usage::{output_name, strings};
use std::collections::BTreeMap;

/// Ways are sought on at most this many lines, the first ones.
const MOST_LINES: usize = 8;

/// Displays with more strings are not laid out again.
const MOST_STRINGS: usize = 20_000;

/// At most this many free ports are tried for what follows a stored string.
const MOST_PORTS: usize = 3;

/// Reports each line that moves a string by closing up.
pub(super) fn report(model: &Model, lock: Option<&Lock>, plan: &Plan, sink: &mut Sink) {
    if model.strings.iter().all(|string| !string.stored) {
        return;
    }
    let lines: Vec<(usize, Gap)> = (plan.ports.iter().enumerate())
        .filter_map(|(index, port)| Some((index, gap(model, port)?)))
        .collect();
    if lines.is_empty() {
        return;
    }
    let before = match lock {
        Some(lock) => lock.clone(),
        None => all_up(model),
    };
    let asked = Asked {
        model,
        before: &before,
        moved: moved(model, &before, plan),
        errors: errors(model, plan, Sink::default()),
    };
    let alone = lines.len() == 1;
    for (place, (index, gap)) in lines.into_iter().enumerate() {
        let Some(port) = plan.ports.as_slice().get(index) else {
            continue;
        };
        let here = |id: &StringId| asked.moved.contains(id);
        let moved: Vec<StringId> = strings(port).map(|(id, _)| id).filter(here).collect();
        if moved.is_empty() {
            continue;
        }
        let tried = place < MOST_LINES && model.strings.len() <= MOST_STRINGS;
        let ways = if tried { asked.ways(port, plan) } else { Vec::new() };
        sink.push(mid_chain::closes_up(
            model,
            &Closing {
                port,
                away: &gap.away,
                moved: &moved,
                elsewhere: if alone { asked.moved.len() - moved.len() } else { 0 },
                behind: gap.behind,
                ways,
            },
        ));
    }
}

/// What is stored on an unbroken line before a string that is up.
struct Gap {
    /// The stored strings, with their references.
    away: Vec<(StringId, Span)>,
    /// The first reference after them.
    behind: Span,
}

fn gap(model: &Model, port: &PortPlan) -> Option<Gap> {
    let addressing = model.controller(port.controller)?.addressing;
    if addressing == Addressing::PerProp || matches!(port.output, Output::Dmx(_)) {
        return None;
    }
    let stored = |id| model.string(id).is_some_and(|string| string.stored);
    let chain: Vec<_> = strings(port).collect();
    let last = chain.iter().rposition(|(id, _)| !stored(*id))?;
    let first = chain.iter().position(|(id, _)| stored(*id))?;
    let inner = chain.get(first..=last)?;
    let (_, behind) = *inner.iter().find(|(id, _)| !stored(*id))?;
    let away = inner.iter().filter(|(id, _)| stored(*id)).copied();
    Some(Gap { away: away.collect(), behind })
}

/// Where everything would lie if nothing were stored.
fn all_up(model: &Model) -> Lock {
    let mut up = model.clone();
    for string in &mut up.strings {
        string.stored = false;
    }
    let plan = decide(&up, None, &Relay::Nothing, &mut Sink::default());
    Lock::of(&up, &plan)
}

/// The strings that are up and begin elsewhere than before.
fn moved(model: &Model, before: &Lock, plan: &Plan) -> Vec<StringId> {
    let ids = (0..model.strings.len()).map(StringId::from);
    let start = |id: StringId| match plan.past.as_deref() {
        Some(past) => past.of(id).map(|was| was.start),
        None => before.row(&model.name_of(id)).map(|row| row.start),
    };
    let moves = |id: &StringId| {
        let up = model.string(*id).is_some_and(|string| !string.stored);
        let here = plan.of(*id).map(|placed| placed.start);
        up && here.zip(start(*id)).is_some_and(|(now, was)| now != was)
    };
    ids.filter(moves).collect()
}

/// How many errors of each code a plan has, with those in a sink.
pub(super) fn errors(model: &Model, plan: &Plan, mut sink: Sink) -> BTreeMap<&'static str, usize> {
    for check in rules::ALL.iter().filter_map(|rule| rule.check) {
        check(model, plan, &mut sink);
    }
    let mut errors = BTreeMap::new();
    for finding in sink.finish() {
        if finding.severity == Severity::Error {
            *errors.entry(finding.code).or_default() += 1;
        }
    }
    errors
}

/// A display with lines that close up.
struct Asked<'a> {
    model: &'a Model,
    before: &'a Lock,
    /// The strings that move in the display as written.
    moved: Vec<StringId>,
    errors: BTreeMap<&'static str, usize>,
}

impl Asked<'_> {
    /// What moves fewer strings, the fewest first.
    fn ways(&self, port: &PortPlan, plan: &Plan) -> Vec<Way> {
        let mut ways: Vec<Way> = self.per_prop(port).into_iter().collect();
        ways.extend(self.on_another_port(port, plan));
        ways.sort_by_key(|way| way.left);
        ways
    }

    /// How many strings move in a changed display; `None` with a new error, or if no fewer move.
    fn left(&self, changed: &Model) -> Option<usize> {
        let mut sink = Sink::default();
        let plan = decide(changed, Some(self.before), &Relay::Nothing, &mut sink);
        let errors = errors(changed, &plan, sink);
        let mut all = errors.iter();
        let fine = all.all(|(code, count)| count <= self.errors.get(code).unwrap_or(&0));
        let left = moved(changed, self.before, &plan).len();
        (fine && left < self.moved.len()).then_some(left)
    }

    /// Addresses of their own for all strings of the controller.
    fn per_prop(&self, port: &PortPlan) -> Option<Way> {
        let edit = self.edit(port.controller)?;
        let mut changed = self.model.clone();
        changed.controllers.as_mut_slice().get_mut(port.controller.index())?.addressing =
            Addressing::PerProp;
        let left = self.left(&changed)?;
        let name = &self.model.controller(port.controller)?.name;
        let fix = Fix {
            title: format!(
                "write `addressing per prop` in `{name}`, if the controller can do that"
            ),
            edits: vec![edit],
            safe: false,
        };
        Some(Way { fix, left })
    }

    /// The edit that makes a controller address per prop; `None` where its text is another's too.
    fn edit(&self, id: ControllerId) -> Option<Edit> {
        let controller = self.model.controller(id)?;
        let text = "addressing per prop";
        let (span, text) = match controller.addressing_at {
            Some(at) => (at, text.to_owned()),
            None => {
                let first = controller.ports.iter().map(|port| port.at).min()?;
                (Span::new(first.start, first.start), format!("{text}; "))
            }
        };
        let mut likes = self.model.likes.iter();
        if likes
            .any(|like| like.kind == BlockKind::Controller && like.parent as usize == id.index())
        {
            return None;
        }
        let heads = self.model.controllers.iter().map(|other| other.at.start);
        let head = heads.filter(|head| *head < span.start).max()?;
        (head == controller.at.start).then_some(Edit { span, text })
    }

    /// Plugs what follows the last stored string into a free port of the same controller.
    fn on_another_port(&self, port: &PortPlan, plan: &Plan) -> Option<Way> {
        let Output::Pixel(here_number) = port.output else {
            return None;
        };
        let here = Target::Port(port.controller, here_number, None);
        let mut lines = self.model.lines.iter().enumerate();
        let (index, line) = lines.find(|(_, line)| line.target == here && !line.unasked)?;
        let pieces = self.model.pieces_of(line);
        let stored = |piece: &Piece| self.is(piece, true);
        let cut = pieces.iter().rposition(|piece| self.is(piece, false))?;
        let cut = pieces.get(..cut)?.iter().rposition(stored)? + 1;
        let (last, rest) = (pieces.get(cut - 1)?, pieces.get(cut..)?);
        let next = rest.first()?;
        let plain = matches!(last.kind, PieceKind::String(_, None));
        if !plain || last.at.end > next.at.start {
            return None;
        }
        let first = rest.iter().find(|piece| self.is(piece, false))?;
        let declared = self.model.controller(port.controller)?;
        let free = declared.ports.iter().map(|port| port.number).filter(|number| {
            let output = Output::Pixel(*number);
            let of = |id, at| (id, at) == (port.controller, output);
            let carried = |number: u32| {
                let mut receivers = self.model.receivers.iter();
                receivers.any(|receiver| {
                    receiver.controller == port.controller
                        && (receiver.first..=receiver.last).contains(&number)
                })
            };
            let fed = |number: u32| {
                let mut powers = self.model.powers.iter();
                powers.any(|power| {
                    (power.controller, power.receiver) == (port.controller, None)
                        && (power.first..=power.last).contains(&number)
                })
            };
            let mut reserved = self.model.reserved_outputs.iter();
            fed(*number) == fed(here_number)
                && !plan.ports.iter().any(|used| of(used.controller, used.output))
                && !reserved.any(|row| of(row.controller, row.output))
                && !carried(*number)
        });
        for number in free.take(MOST_PORTS) {
            let mut changed = self.model.clone();
            let own = changed.lines.get_mut(index)?;
            let at = own.pieces.start + u32::try_from(cut).ok()?;
            let mut new = own.clone();
            (own.pieces.end, new.pieces.start) = (at, at);
            new.target = Target::Port(port.controller, number, None);
            new.group = changed.lines.iter().map(|line| line.group).max()? + 1;
            changed.lines.push(new);
            if let Some(left) = self.left(&changed) {
                let to = output_name(self.model, port.controller, Output::Pixel(number));
                let more = rest.iter().any(|piece| piece.at != first.at);
                return self.rewired((last.at, next.at), (first, more), &to, left);
            }
        }
        None
    }

    /// Cuts the line between two places; `first` comes then, `more` says whether more hangs on it.
    fn rewired(
        &self,
        (last, next): (Span, Span),
        (first, more): (&Piece, bool),
        to: &str,
        left: usize,
    ) -> Option<Way> {
        let PieceKind::String(id, _) = first.kind else {
            return None;
        };
        let name = self.model.name_of(id);
        let edits =
            vec![Edit { span: Span::new(last.end, next.start), text: format!("\nwire {to}: ") }];
        let more = if more { " -> …" } else { "" };
        let title = format!(
            "plug the line from `{name}` on into the free port `{to}`, as in `wire {to}: {name}{more}`"
        );
        let fix = Fix { title, edits, safe: false };
        Some(Way { fix, left })
    }

    fn is(&self, piece: &Piece, stored: bool) -> bool {
        match piece.kind {
            PieceKind::String(id, _) => {
                let string = self.model.string(id);
                string.is_some_and(|string| string.stored == stored)
            }
            PieceKind::Skip(_) | PieceKind::Lead(..) => false,
        }
    }
}
