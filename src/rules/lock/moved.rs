//! `lock/moved`: a string that has its old name but could not keep its place.

use crate::diagnostic::words::{list, shown};
use crate::diagnostic::{Diagnostic, Severity, Sink, Words};
use crate::model::{Addressing, ControllerId, Model, Output, PieceKind, PinPlace, StringId};
use crate::plan::{Cause, Change, Move, Past, Plan, Trade, Unseated, Was};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{self, Dimension, quantity};
use crate::usage::{self, channel_name, controller_of, old_plug, output_name, plug_name, plug_of};
use std::cell::Cell;
use std::collections::{BTreeMap, BTreeSet};

/// The rule.
pub const RULE: Rule = Rule {
    code: "lock/moved",
    severity: Severity::Warning,
    title: "a string that kept its name and had to move",
    page: Page {
        means: "The lock has the string at another place. It could not stay there: the finding says what is in the way or \
                what pushed it on. As few strings as possible change their port, and then as few slots as possible \
                move; where \
                another port would save slots, the help says what each way costs.",
        why: "Shows are made for addresses, and controllers are set up by hand. What moved needs its show data made again or \
              re-cut, and its controller set up again.",
        source: "grammar/LANGUAGE.md, \"The lock\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch * 2 { node dot; string 50 nodes }\n\
                prop star { node dot; string 10 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch[1] -> star -> arch[2]\n\
                # beside it, yard.lock:\n\
                # Where each string lies: written by `tinsel build`, to be kept under version control.\n\
                format: \"1.0\"\n\
                display: \"\"\n\
                universe_slots: 512\n\
                strings:\n  \
                  arch[1]: {port: pier.1, start: 1/1, slots: 150}\n  \
                  arch[2]: {port: pier.1, start: 1/151, slots: 150}\n\
                ...\n",
        change: &[("star -> arch[2]", "arch[2] -> star")],
    },
    check: Some(check),
};

/// What moves of one finding share: the cause, and the controllers before and now.
type Key = (Cause, Option<ControllerId>, Option<ControllerId>);

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let Some(past) = &plan.past else {
        return;
    };
    let mut groups: BTreeMap<Key, Vec<&Move>> = BTreeMap::new();
    for moved in &past.moves {
        groups.entry(key(plan, past, moved)).or_default().push(moved);
    }
    if groups.is_empty() {
        return;
    }
    let places = usage::places(model, plan);
    let scene =
        Scene { model, plan, past, places: places.as_slice(), trade: Cell::new(past.trade) };
    for moves in groups.values() {
        let (plugged, moved): (Vec<&Move>, Vec<&Move>) =
            moves.iter().copied().partition(|one| is_only_plugged(plan, past, one));
        for one in plugged {
            sink.push(scene.plugged(one));
        }
        if !moved.is_empty() {
            sink.push(scene.finding(&moved));
        }
    }
}

/// A cause that holds for the whole display makes one finding. Any other makes one for each pair of
/// controllers, the one before and the one now.
fn key(plan: &Plan, past: &Past, moved: &Move) -> Key {
    match moved.cause {
        Cause::UniverseSize(_) | Cause::Compact => (moved.cause, None, None),
        cause => {
            let was = past.of(moved.string).and_then(|was| was.controller);
            (cause, was, controller_of(plan, moved.string))
        }
    }
}

struct Scene<'a> {
    model: &'a Model,
    plan: &'a Plan,
    past: &'a Past,
    places: &'a [(Span, Option<Span>)],
    /// A line that may hang elsewhere so that fewer slots move; `None` once a finding has named it.
    trade: Cell<Option<Trade>>,
}

/// Whether a string keeps its slots and is only plugged in at another output.
#[must_use]
pub fn is_only_plugged(plan: &Plan, past: &Past, one: &Move) -> bool {
    let placed = plan.of(one.string).zip(past.of(one.string));
    let same = placed.is_some_and(|(now, was)| {
        past.universe_slots == plan.universe_slots
            && (now.start, now.end) == (was.start, was.end().saturating_sub(1))
    });
    same && matches!(one.cause, Cause::Replaced(_))
}

impl Scene<'_> {
    /// A string that keeps its slots and is plugged in at another output.
    fn plugged(&self, one: &Move) -> Diagnostic {
        let id = one.string;
        let name = shown(&self.model.name_of(id));
        let to = plug_of(self.model, self.plan, id);
        let was = self.past.of(id);
        let from = was.and_then(|was| Some(old_plug(self.model, was.controller?, was.output)));
        let from = from.map_or_else(String::new, |from| format!(" in place of `{from}`"));
        let place = was.map_or_else(String::new, |was| channel_name(self.model, was.start));
        let reason = reason(self.model, self.plan, one.cause, Some(id));
        let words = self.words(
            &format!("`{name}` keeps {place}, but must be plugged in at `{to}`{from}: {reason}"),
            "plugged in elsewhere",
            "its controller sends its data to the new port; at the old one it would stay dark",
            &format!("plug it in at `{to}` and set the controller up again; its show data stay as they are"),
        );
        let finding = RULE.at(self.place(id), words);
        match self.cause_at(one.cause, id) {
            Some((at, text)) => finding.and(at, text),
            None => finding,
        }
    }

    fn finding(&self, moves: &[&Move]) -> Diagnostic {
        let mut moves = moves.to_vec();
        moves.sort_by_key(|one| (self.place(one.string).start, one.string));
        let Some(first) = moves.first() else {
            return RULE.at(Span::default(), self.words("", "", "", ""));
        };
        let id = first.string;
        let name = shown(&self.model.name_of(id));
        let (from, to) = (self.was(id), self.lies(id));
        let slots: u64 =
            moves.iter().filter_map(|one| self.past.of(one.string).map(|was| was.slots)).sum();
        let others = match moves.len() {
            1 => String::new(),
            2 => format!(", and one more string too ({} slots in all)", slots),
            count => format!(", and {} more strings too ({} slots in all)", count - 1, slots),
        };
        let reason = reason(self.model, self.plan, first.cause, Some(id));
        let way = if from == to {
            let (before, now) = self.ends(id);
            format!("still starts at {from} but ends at {now}, no longer at {before}")
        } else {
            format!("moves from {from} to {to}")
        };
        let message = format!("`{name}` {way}{others}: {reason}");
        let mut boxes: BTreeSet<&str> = BTreeSet::new();
        for one in &moves {
            let was = self.past.of(one.string).and_then(|was| was.controller);
            let now = controller_of(self.plan, one.string);
            for controller in [was, now].into_iter().flatten() {
                boxes.extend(self.model.controller(controller).map(|c| &*c.name));
            }
        }
        let boxes: Vec<String> = boxes.into_iter().map(|name| format!("`{name}`")).collect();
        let fixtures = moves.iter().all(|one| self.model.node_of(one.string).is_none());
        let again = match fixtures {
            true => "the fixtures must be set to their new slots".to_owned(),
            false => format!("{} must be set up again", list(&boxes, "and")),
        };
        let why =
            format!("show data made for the old addresses lights the wrong nodes, and {again}");
        let mut help = help(self.model, self.plan, first.cause, id);
        if let Some(trade) = self.trade.take() {
            help.push_str(&self.traded(&trade));
        }
        let finding =
            RULE.at(self.place(id), self.words(&message, &format!("lay at {from}"), &why, &help));
        match self.cause_at(first.cause, id) {
            Some((at, text)) if at != self.place(id) => finding.and(at, text),
            _ => finding,
        }
    }

    /// A piece of a line as a `wire` has it.
    fn item(&self, kind: PieceKind) -> String {
        match kind {
            PieceKind::String(id, pin) => {
                let pin = pin.map_or_else(String::new, |pin| match pin.place {
                    PinPlace::Channel(at) => format!(" at {}", channel_name(self.model, at)),
                    PinPlace::Slot(slot) => format!(" at {slot}"),
                });
                format!("{}{pin}", shown(&self.model.name_of(id)))
            }
            PieceKind::Skip(nodes) => format!("skip {nodes}"),
            PieceKind::Lead(length, gauge) => {
                let of = gauge.map_or_else(String::new, |gauge| format!(" of {}", gauge.words()));
                format!("lead {}{of}", quantity(length, Dimension::Length))
            }
        }
    }

    /// What it costs to keep a line on its port, and what it costs to hang it elsewhere.
    fn traded(&self, trade: &Trade) -> String {
        let line = self.model.lines.get(trade.line);
        let pieces = line.map_or(&[][..], |line| self.model.pieces_of(line)).iter();
        let items: Vec<String> = pieces.map(|piece| self.item(piece.kind)).collect();
        let chain = items.join(" -> ");
        let to = output_name(self.model, trade.to.0, trade.to.1);
        let cost = |plugs: u64, slots: u64| {
            let change = if plugs == 1 { "string changes" } else { "strings change" };
            let slot = if slots == 1 { "slot moves" } else { "slots move" };
            let change = format!("{} {change} port", counted(plugs));
            format!("{change} and {} {slot}", counted(slots))
        };
        format!(
            ". With this layout {}; with `wire {to}: {chain}`, {}",
            cost(trade.plugs.0, trade.slots.0),
            cost(trade.plugs.1, trade.slots.1)
        )
    }

    fn words(&self, message: &str, label: &str, why: &str, help: &str) -> Words {
        Words {
            message: message.to_owned(),
            label: label.to_owned(),
            why: why.to_owned(),
            help: help.to_owned(),
        }
    }

    /// Where the string's reference stands in its wire.
    fn place(&self, id: StringId) -> Span {
        self.places.get(id.index()).map_or(Span::default(), |place| place.0)
    }

    fn was(&self, id: StringId) -> String {
        let was = self.past.of(id);
        was.map_or_else(String::new, |was| place_of(self.model, self.plan, self.past, id, was))
    }

    /// The last slot of a string, before and now.
    fn ends(&self, id: StringId) -> (String, String) {
        let was = self.past.of(id).map_or(0, |was| was.end().saturating_sub(1));
        let now = self.plan.of(id).map_or(0, |placed| placed.end);
        (self.past.universe_slots.place(was), self.plan.universe_slots.place(now))
    }

    fn lies(&self, id: StringId) -> String {
        let Some(placed) = self.plan.of(id) else {
            return "nowhere".to_owned();
        };
        let at = self.plan.universe_slots.place(placed.start);
        let port = self.plan.ports.as_slice().get(placed.port as usize);
        let elsewhere = port.filter(|port| {
            let was = self.past.of(id);
            was.is_some_and(|was| {
                (was.controller, was.output) != (Some(port.controller), port.output)
            })
        });
        match elsewhere {
            Some(port) => format!("{at} on port `{}`", plug_name(self.model, port, Some(id))),
            None => at,
        }
    }

    /// The place of a cause, and the text there.
    fn cause_at(&self, cause: Cause, of: StringId) -> Option<(Span, String)> {
        let string = |id: StringId, text: &str| {
            let name = shown(&self.model.name_of(id));
            (self.place(id), format!("`{name}` {text}"))
        };
        match cause {
            Cause::Before(change) | Cause::NoRoom(change, _) | Cause::GaveWay(_, change) => {
                match change {
                    Change::Added(id) => Some(string(id, "is new here")),
                    Change::Length(id) => Some(string(id, "has a new length")),
                    Change::Order(id) => Some(string(id, "is wired elsewhere now")),
                    Change::Stored(id) => Some(string(id, "is stored")),
                    Change::Left(id) => Some(string(id, "came from there")),
                    Change::Gone(_) | Change::Settings => None,
                }
            }
            Cause::MadeRoom(id) => Some(string(id, "needs the room")),
            Cause::Shared(id) => Some(string(id, "has the same slots in the lock")),
            Cause::Pinned(at) => Some((at, "pinned here".to_owned())),
            Cause::Taken(at) => Some((at, "taken here".to_owned())),
            Cause::UniverseSize(_) => {
                let at = self.model.display.universe_slots_at.or(self.model.display.at)?;
                Some((at, format!("{} slots now", self.model.display.universe_slots)))
            }
            Cause::Shifted(_) => {
                let of = controller_of(self.plan, of).and_then(|id| self.model.controller(id));
                Some((of?.start_at?, "begins here now".to_owned()))
            }
            Cause::Replaced(Unseated::Reserved(at)) => Some((at, "reserved here".to_owned())),
            Cause::Rewired
            | Cause::Replaced(_)
            | Cause::Outside
            | Cause::Align
            | Cause::Compact => None,
        }
    }
}

/// Where a string lay, by the lock's universes, with its port if it is on another one now.
fn place_of(model: &Model, plan: &Plan, past: &Past, id: StringId, was: &Was) -> String {
    let start = past.universe_slots.place(was.start);
    let placed = plan.of(id).and_then(|placed| plan.ports.as_slice().get(placed.port as usize));
    match (placed, was.controller) {
        (Some(port), Some(controller))
            if (port.controller, port.output) != (controller, was.output) =>
        {
            format!("{start} on port `{}`", old_plug(model, controller, was.output))
        }
        _ => start,
    }
}

/// An output in a sentence: `port 4`, `output dmx1`.
fn port(output: Output) -> String {
    match output {
        Output::Pixel(number) => format!("port {number}"),
        Output::Dmx(number) => format!("output dmx{number}"),
    }
}

fn port_of(plan: &Plan, id: StringId) -> Option<(ControllerId, Output)> {
    let port = plan.ports.as_slice().get(plan.of(id)?.port as usize)?;
    Some((port.controller, port.output))
}

/// Why a string could not stay, as half a sentence: "port 4 lies elsewhere because `heron[3]` was
/// added to port 3, and `boathouse` numbers its ports consecutively".
#[must_use]
pub fn reason(model: &Model, plan: &Plan, cause: Cause, id: Option<StringId>) -> String {
    let name = |id: StringId| shown(&model.name_of(id));
    let own = id.and_then(|id| port_of(plan, id));
    let declared = own.and_then(|(controller, _)| model.controller(controller));
    let here = own.map_or_else(String::new, |(_, output)| port(output));
    let controller = declared.map_or_else(String::new, |c| shown(&c.name));
    match cause {
        Cause::UniverseSize(slots) => format!(
            "universes have {} slots instead of {slots}, so every address is worked out anew",
            model.display.universe_slots
        ),
        Cause::Pinned(_) => format!("a pin on {here} says where it begins"),
        Cause::Rewired => "its wire names another port".to_owned(),
        Cause::Replaced(why) => unseated(model, plan, why, id),
        Cause::Shared(other) => format!(
            "the lock has `{}` on the same slots or in the same universe, as two branches that were merged may",
            name(other)
        ),
        Cause::Before(change) => {
            let what = changed(model, plan, change, own);
            match declared.map(|declared| declared.addressing) {
                Some(Addressing::Consecutive) => format!(
                    "{here} lies elsewhere because {what}, and `{controller}` numbers its ports consecutively"
                ),
                _ => format!("{what}, and {here} is one unbroken range"),
            }
        }
        Cause::NoRoom(change, blocker) => {
            let what = match change {
                Change::Length(long) if Some(long) == id => "it has a new length".to_owned(),
                _ => changed(model, plan, change, own),
            };
            match blocker {
                Some(other) => {
                    format!("{here} no longer fits beside `{}` because {what}", name(other))
                }
                None => format!("{here} no longer fits where it was because {what}"),
            }
        }
        Cause::GaveWay(other, change) => {
            let there = port_of(plan, other).map_or_else(String::new, |(_, output)| port(output));
            let what = changed(model, plan, change, port_of(plan, other)).replace("its port", "it");
            format!("{there} needs its place because {what}; any other way moves as much or more")
        }
        Cause::MadeRoom(other) => format!(
            "`{}` needs a gap that the universes of `{controller}` do not have, and moving this string moves the fewest slots",
            name(other)
        ),
        Cause::Taken(at) => taken(model, at),
        Cause::Shifted(by) => {
            let way = if by < 0 { "earlier" } else { "later" };
            let universes = unit::counted(by.unsigned_abs(), "universe");
            format!("`{controller}` begins {universes} {way}, and all its strings move with it")
        }
        Cause::Outside => {
            format!("its old place is outside the universes that `{controller}` has now")
        }
        Cause::Align => "`align` or `whole nodes` does not let it begin where it lay".to_owned(),
        Cause::Compact => "a new layout of everything was asked for".to_owned(),
    }
}

/// Why a string could not stay on the output that it had, as half a sentence.
fn unseated(model: &Model, plan: &Plan, why: Unseated, id: Option<StringId>) -> String {
    let was = id.and_then(|id| plan.past.as_ref()?.of(id));
    let old = was.and_then(|was| Some(old_plug(model, was.controller?, was.output)));
    let old = old.map_or_else(|| "the port it had".to_owned(), |old| format!("port `{old}`"));
    match why {
        Unseated::Reserved(_) => format!("{old} is reserved"),
        Unseated::Gone => format!("{old} does not exist any more"),
        Unseated::Chip => format!("{old} does not drive its chip"),
        Unseated::Volts => format!("{old} has another voltage"),
        Unseated::Room => format!("{old} has no room for it any more"),
    }
}

/// What is at an old place now, as half a sentence; `at` is where the display says so.
fn taken(model: &Model, at: Span) -> String {
    let because = |reason: &Option<Box<str>>| match reason {
        Some(reason) => format!(" (\"{}\")", shown(reason)),
        None => String::new(),
    };
    let universes = (model.reserved_universes.iter()).find(|row| row.at == at);
    if let Some(row) = universes {
        let words = match row.first == row.last {
            true => format!("universe {} is", row.first),
            false => format!("universes {} to {} are", row.first, row.last),
        };
        return format!("{words} reserved{}", because(&row.reason));
    }
    let outputs = (model.reserved_outputs.iter()).find(|row| row.at == at);
    if let Some(row) = outputs {
        let output = output_name(model, row.controller, row.output);
        let what = match row.slots {
            Some((from, to)) => format!("slots {from} to {to} of `{output}` are"),
            None => format!("`{output}` is"),
        };
        return format!("{what} reserved{}", because(&row.reason));
    }
    let pinned = model.pieces.iter().find_map(|piece| match piece.kind {
        PieceKind::String(id, Some(pin)) if pin.at == at => Some((id, pin.place)),
        PieceKind::String(..) | PieceKind::Skip(_) | PieceKind::Lead(..) => None,
    });
    if let Some((id, place)) = pinned {
        let name = shown(&model.name_of(id));
        let place = match place {
            PinPlace::Channel(channel) => channel_name(model, channel),
            PinPlace::Slot(slot) => format!("slot {slot}"),
        };
        return format!("`{name}` is pinned to {place}, in the old place of its line");
    }
    let owner = (model.controllers.iter()).find(|one| one.start_at == Some(at));
    match owner {
        Some(owner) => format!("its old place is in the universes of `{}`", shown(&owner.name)),
        None => "its old place is taken".to_owned(),
    }
}

/// A count in a sentence; 0 is `no`.
fn counted(count: u64) -> String {
    match count {
        0 => "no".to_owned(),
        count => count.to_string(),
    }
}

/// What changed on a line, as half a sentence. The port is named where it is not `own`.
fn changed(
    model: &Model,
    plan: &Plan,
    change: Change,
    own: Option<(ControllerId, Output)>,
) -> String {
    let name = |id: StringId| shown(&model.name_of(id));
    let on = |id: StringId| {
        let there = port_of(plan, id);
        match there {
            Some((_, output)) if there != own || own.is_none() => port(output),
            _ => "its port".to_owned(),
        }
    };
    match change {
        Change::Added(id) => format!("`{}` was added to {}", name(id), on(id)),
        Change::Length(id) => format!("`{}` on {} has a new length", name(id), on(id)),
        Change::Order(id) => format!("`{}` has another place on {}", name(id), on(id)),
        Change::Stored(id) => format!("`{}` is stored and the line closes up", name(id)),
        Change::Left(id) => format!("`{}` went to another port", name(id)),
        Change::Gone(index) => {
            let past = plan.past.as_ref();
            let freed = past.and_then(|past| past.freed.get(index as usize));
            freed.map_or_else(
                || "a string was removed".to_owned(),
                |freed| {
                    format!("`{}` was removed from {}", shown(&freed.name), port(freed.was.output))
                },
            )
        }
        Change::Settings => "its controller is set up in another way".to_owned(),
    }
}

/// What to do, or what would have saved the move.
fn help(model: &Model, plan: &Plan, cause: Cause, id: StringId) -> String {
    let again = "make the show data of what moved again; `tinsel diff FILE` lists it by controller";
    let name = |id: StringId| shown(&model.name_of(id));
    match cause {
        Cause::Before(Change::Added(new)) | Cause::NoRoom(Change::Added(new), _) => {
            let of = controller_of(plan, id).and_then(|id| model.controller(id));
            match of.map(|controller| controller.addressing) {
                Some(Addressing::Consecutive) => {
                    format!("put `{}` after all else on the controller, or {again}", name(new))
                }
                _ if matches!(cause, Cause::Before(_)) => {
                    format!("put `{}` last on its port, or {again}", name(new))
                }
                _ => format!("put `{}` on a port that is free, or {again}", name(new)),
            }
        }
        Cause::GaveWay(_, Change::Added(new)) => {
            format!("put `{}` on a port that is free, or {again}", name(new))
        }
        Cause::Rewired => format!("wire it as it was, or {again}"),
        Cause::Pinned(_) => format!("take the pin away, or {again}"),
        Cause::Shifted(_) => {
            "set the controller and the show's program to the new universes; the slots, ports and \
                              order of its strings stay"
                .to_owned()
        }
        _ => again.to_owned(),
    }
}
