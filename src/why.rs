//! Why a string has its port and start: what lies before it, alignment, pin, lock, spare room.

use crate::allocate::laid;
use crate::diagnostic::words::shown;
use crate::model::{Addressing, Align, Model, Output, PieceKind, Start, StringId, Target};
use crate::plan::{Placed, Plan, PortPlan, Why};
use crate::report::wrap;
use crate::rules::lock::moved::reason;
use crate::source::{SourceMap, Span};
use crate::unit::counted;
use crate::usage;
use std::io::{self, Write};

/// At most this many of the strings before it are listed.
const MOST_BEFORE: usize = 6;

/// The strings of a name: a string by its full name, or all strings of a member or prop.
#[must_use]
pub fn find(model: &Model, name: &str) -> Vec<StringId> {
    let inside = |full: &str| {
        let rest = full.strip_prefix(name);
        rest.is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
    };
    let named = |id: &StringId| {
        inside(&model.name_of(*id)) || named_string(model, *id).is_some_and(|full| full == name)
    };
    (0..model.strings.len()).map(StringId::from).filter(named).collect()
}

/// The name of a string that has a name within its prop: `roof.eaves`.
fn named_string(model: &Model, id: StringId) -> Option<String> {
    let string = model.string(id)?;
    let own = model.shape_of(id)?.name.as_deref()?;
    let prop = model.prop_of(id)?;
    Some(match string.member {
        0 => format!("{}.{own}", prop.name),
        member => format!("{}[{member}].{own}", prop.name),
    })
}

/// Writes the reasons for one string, in lines of `width` columns.
///
/// # Errors
/// If the writer fails.
pub fn write(
    (model, plan, sources): (&Model, &Plan, &SourceMap),
    id: StringId,
    width: usize,
    out: &mut dyn Write,
) -> io::Result<()> {
    let name = shown(&model.name_of(id));
    let teller = Teller { model, plan, sources };
    let found = plan
        .of(id)
        .and_then(|placed| Some((*placed, plan.ports.as_slice().get(placed.port as usize)?)));
    let Some((placed, port)) = found else {
        return writeln!(out, "{name} has no place: see what `tinsel check` says");
    };
    let output = usage::plug_name(model, port, Some(id));
    writeln!(
        out,
        "{name} lies from {} to {} on {output} (channels {} to {})",
        teller.at(placed.start),
        teller.at(placed.end),
        placed.start + 1,
        placed.end + 1
    )?;
    let mut lines: Vec<(&str, String)> =
        vec![("port", teller.port(id, port)), ("start", teller.start(id, &placed, port))];
    lines.extend(teller.order(&placed, port).map(|words| ("line", words)));
    lines.extend(teller.room(port).map(|words| ("spare", words)));
    lines.extend(teller.moved(id).map(|words| ("moved", words)));
    for (word, words) in lines {
        let text = wrap(&words, "         ", width);
        writeln!(out, "  {word:<6} {}", text.trim_start())?;
    }
    Ok(())
}

struct Teller<'a> {
    model: &'a Model,
    plan: &'a Plan,
    sources: &'a SourceMap,
}

impl Teller<'_> {
    fn at(&self, channel: u64) -> String {
        usage::channel_name(self.model, channel)
    }

    fn place(&self, span: Span) -> String {
        let place = self.sources.place(span).filter(|_| span != Span::default());
        place.map_or_else(String::new, |place| {
            format!(" ({}:{}:{})", shown(place.file), place.line, place.column)
        })
    }

    fn name(&self, id: StringId) -> String {
        shown(&self.model.name_of(id))
    }

    /// Why it hangs on its port.
    fn port(&self, id: StringId, port: &PortPlan) -> String {
        let line = self.model.lines.iter().find(|line| {
            let mut pieces = self.model.pieces_of(line).iter();
            pieces.any(|piece| matches!(piece.kind, PieceKind::String(other, _) if other == id))
        });
        let was = self.plan.past.as_deref().and_then(|past| past.of(id));
        let kept = was.is_some_and(|was| {
            (was.controller, was.output) == (Some(port.controller), port.output)
        });
        let lock = if kept { "; the lock has it there too" } else { "" };
        match line.map(|line| (line.target, line.at, line.unasked)) {
            Some((Target::Port(..) | Target::Dmx(..), at, _)) => {
                format!("its wire names it{}{lock}", self.place(at))
            }
            Some((_, at, false)) if kept => format!(
                "its wire leaves the port open{}; the lock has it here, and what is plugged in stays plugged in",
                self.place(at)
            ),
            Some((_, at, true)) if kept => format!(
                "no wire names it{}; the lock has it here, and what is plugged in stays plugged in",
                self.place(at)
            ),
            Some((_, at, unasked)) => {
                let open =
                    if unasked { "no wire names it" } else { "its wire leaves the port open" };
                format!("{open}{}; the compiler picked this port", self.place(at))
            }
            None => "no wire has it".to_owned(),
        }
    }

    /// Why it begins where it does.
    fn start(&self, id: StringId, placed: &Placed, port: &PortPlan) -> String {
        let controller = self.model.controller(port.controller);
        let name = controller.map_or_else(String::new, |c| shown(&c.name));
        match placed.why {
            Why::Kept => {
                let was = self.plan.past.as_deref().and_then(|past| past.of(id));
                let at = was.map_or_else(String::new, |was| self.place(was.at));
                format!("the lock has it there{at}, and it may stay")
            }
            Why::Free => "the first place that is free beside what stays".to_owned(),
            Why::Pinned(at) => format!("a pin says so{}", self.place(at)),
            Why::SameAs(other) => {
                format!("it shows the data of {}, so it lies where that does", self.name(other))
            }
            Why::Stepped(at) => {
                format!("the first place after what is reserved, pinned or kept{}", self.place(at))
            }
            Why::Aligned => {
                let align = controller.map_or("", |c| match c.align {
                    Align::Off => "",
                    Align::Port => "align port",
                    Align::Prop => "align prop",
                });
                format!("`{align}` of {name} asks for the first slot of a universe")
            }
            Why::First => format!("it is the first of {name}, which {}", self.begins(port)),
            Why::Follows => self.follows(id, placed, port),
        }
    }

    fn begins(&self, port: &PortPlan) -> String {
        let Some(controller) = self.model.controller(port.controller) else {
            return String::new();
        };
        let at = controller.start_at.map_or_else(String::new, |at| self.place(at));
        let taken = self.plan.controllers.as_slice().get(port.controller.index());
        let begins = taken.map_or(1, |taken| taken.begins);
        match controller.start {
            Start::From(first) => format!("begins with universe {first}{at}"),
            Start::Range(first, last) => format!("has universes {first} to {last}{at}"),
            Start::After(other) => {
                let other = self.model.controller(other);
                let other = other.map_or_else(String::new, |c| shown(&c.name));
                format!("begins after {other}, with universe {begins}{at}")
            }
            Start::Auto => format!(
                "says nothing of universes and begins after those before it, with universe {begins}"
            ),
        }
    }

    fn follows(&self, id: StringId, placed: &Placed, port: &PortPlan) -> String {
        let end = |id: StringId| self.plan.of(id).map_or(0, |placed| placed.end);
        let own = laid(self.model, port);
        if let Some(other) = own.iter().take_while(|other| **other != id).last() {
            let ends = self.at(end(*other));
            return format!("it lies after {}, which ends at {ends}", self.name(*other));
        }
        // It is the first of its port, which comes after the port before it.
        let index = placed.port as usize;
        let earlier = self.plan.ports.as_slice().get(..index).unwrap_or(&[]).iter().rev();
        let mut earlier = earlier.take_while(|other| other.controller == port.controller);
        let last = earlier.find_map(|other| Some((other, *laid(self.model, other).last()?)));
        let output = |(port, last)| usage::plug_name(self.model, port, Some(last));
        match last {
            Some(pinned) if self.pin_counts_not(pinned.0) => {
                format!(
                    "its port begins where it would if nothing on {} were pinned",
                    output(pinned)
                )
            }
            Some((port, last)) if end(last) < placed.start => {
                let (name, ends) = (self.name(last), self.at(end(last)));
                format!(
                    "its port begins after {}, whose {name} ends at {ends}",
                    output((port, last))
                )
            }
            _ => "it is the first of its port".to_owned(),
        }
    }

    /// Whether a port has a pin, and the next port goes on as if it had none.
    fn pin_counts_not(&self, port: &PortPlan) -> bool {
        let controller = self.model.controller(port.controller);
        let consecutive = controller.is_some_and(|one| one.addressing == Addressing::Consecutive);
        let pinned = |id| self.plan.of(id).is_some_and(|at| matches!(at.why, Why::Pinned(_)));
        !(consecutive && matches!(port.output, Output::Pixel(_)))
            && usage::strings(port).any(|(id, _)| pinned(id))
    }

    /// What hangs before it.
    fn order(&self, placed: &Placed, port: &PortPlan) -> Option<String> {
        let all: Vec<StringId> = usage::strings(port).map(|(id, _)| id).collect();
        let place = (placed.position as usize).checked_sub(1)?;
        if place == 0 {
            return Some(match all.len() {
                1 => "alone on its port".to_owned(),
                all => format!("the first of {all} on its port"),
            });
        }
        let before = all.get(..place)?;
        let skipped = before.len().saturating_sub(MOST_BEFORE);
        let named = before.iter().skip(skipped).map(|id| {
            let start = self.plan.of(*id).map_or(0, |placed| placed.start);
            format!("{} from {}", self.name(*id), self.at(start))
        });
        let mut named: Vec<String> = named.collect();
        if skipped > 0 {
            named.insert(0, format!("{skipped} more"));
        }
        Some(format!("after {}", named.join(", ")))
    }

    /// Room that is left free after its port.
    fn room(&self, port: &PortPlan) -> Option<String> {
        let spare = self.model.display.spare_nodes;
        let pixel = matches!(port.output, Output::Pixel(_));
        (spare > 0 && pixel).then(|| {
            let at = self.model.display.at.map_or_else(String::new, |at| self.place(at));
            let spare = counted(spare, "node");
            format!("`spare {spare} per port` keeps room after its port{at}")
        })
    }

    /// Where it lay before, and why it could not stay.
    fn moved(&self, id: StringId) -> Option<String> {
        let past = self.plan.past.as_deref()?;
        let Some(moved) = past.moves.iter().find(|one| one.string == id) else {
            let told = past.told.get(&id)?;
            return Some(format!("an earlier build moved it; it lay at {}", shown(told)));
        };
        let was = past.of(id)?;
        Some(format!(
            "it lay at {}{}, but {}",
            past.universe_slots.place(was.start),
            self.place(was.at),
            reason(self.model, self.plan, moved.cause, Some(id))
        ))
    }
}
