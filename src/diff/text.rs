//! What a build would change, for a person.

use super::{Changes, Retype};
use crate::diagnostic::words::shown;
use crate::model::{Output, StringId};
use crate::report::wrap;
use crate::unit::counted;
use crate::usage::{old_plug, plug_of};
use std::io::{self, Write};
use unicode_width::UnicodeWidthStr;

/// Writes the changes; `width` is how many columns a line may have.
///
/// # Errors
/// Any error of the writer.
pub fn write(changes: &Changes<'_>, width: usize, out: &mut dyn Write) -> io::Result<()> {
    set_up(changes, out)?;
    let dials = changes.dials.iter().map(|dial| {
        let old = dial.old.map(|old| old.to_string());
        (dial.fixture.to_string(), old_new(old.as_deref(), Some(&dial.new.to_string())))
    });
    list("addresses to dial at fixtures", dials, out)?;
    list("plugs to move", plugs(changes), out)?;
    list("what to enter in the program that plays the show", props(changes), out)?;
    let lost = changes.lost.iter();
    let lost = lost.map(|(id, why)| (shown(&changes.model.name_of(*id)), why.clone()));
    list("show data that can't be carried over", lost, out)?;
    let renamed = changes.renamed.iter();
    let renamed = renamed.map(|(old, new)| (shown(old), format!("-> {}", shown(new))));
    list("names carried over", renamed, out)?;
    reasons(changes, width, out)?;
    for hint in &changes.hints {
        writeln!(out, "{}\n", wrap(hint, "", width))?;
    }
    writeln!(out, "{}", sum(changes))
}

/// A summary in one line.
fn sum(changes: &Changes<'_>) -> String {
    let (strings, slots) = changes.moved_slots();
    let freed = changes.past.map_or(0, |past| past.freed.len());
    let moved = match strings {
        0 => "nothing moves".to_owned(),
        1 => format!("1 string moves ({})", counted(slots, "slot")),
        many => format!("{many} strings move ({})", counted(slots, "slot")),
    };
    let off = changes.past.and_then(|past| past.off);
    let off = off.map_or_else(String::new, |off| {
        let fewer = counted(off, "slot");
        format!("; the search was cut short: at most {fewer} fewer might have moved")
    });
    let first = if changes.past.is_none() { "there is no lock yet: " } else { "" };
    let mut boxes: Vec<&str> = changes.retype.iter().map(|one| &*one.controller).collect();
    boxes.dedup();
    format!(
        "{first}{moved}, {} to set up again, {} new, {freed} freed{off}",
        counted(boxes.len(), "controller"),
        changes.new.len()
    )
}

fn set_up(changes: &Changes<'_>, out: &mut dyn Write) -> io::Result<()> {
    if changes.retype.is_empty() {
        return Ok(());
    }
    let place = |one: &Retype| match (one.place.0, &one.string) {
        (None, _) => String::new(),
        (Some(output), None) => port(output),
        (Some(output), Some(string)) => {
            format!("{} row {} ({})", port(output), one.place.1, shown(string))
        }
    };
    let places: Vec<String> = changes.retype.iter().map(place).collect();
    let width = places.iter().map(|place| place.width()).max().unwrap_or(0);
    writeln!(out, "controllers to set up again")?;
    let mut before: Option<&Retype> = None;
    for (one, place) in changes.retype.iter().zip(&places) {
        if before.is_none_or(|before| before.controller != one.controller) {
            writeln!(out, "  {}", shown(&one.controller))?;
        }
        let field = one.field.key().replace('_', " ");
        let values = old_new(one.old.as_deref(), one.new.as_deref());
        let gap = " ".repeat(width - place.width());
        writeln!(out, "    {place}{gap} {field:<18} {values}")?;
        before = Some(one);
    }
    writeln!(out)
}

fn port(output: Output) -> String {
    match output {
        Output::Pixel(number) => format!("port {number}"),
        Output::Dmx(number) => format!("output dmx{number}"),
    }
}

fn old_new(old: Option<&str>, new: Option<&str>) -> String {
    let value = |value: Option<&str>| value.map_or_else(|| "nothing".to_owned(), shown);
    format!("{} -> {}", value(old), value(new))
}

fn list(
    title: &str,
    rows: impl IntoIterator<Item = (String, String)>,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut rows = rows.into_iter().peekable();
    if rows.peek().is_none() {
        return Ok(());
    }
    writeln!(out, "{title}")?;
    for (name, words) in rows {
        writeln!(out, "  {name:<20} {words}")?;
    }
    writeln!(out)
}

/// Strings on another output than before, and new ones.
fn plugs(changes: &Changes<'_>) -> Vec<(String, String)> {
    let ids = (0..changes.model.strings.len()).map(StringId::from);
    let rows = ids.filter_map(|id| {
        let here = shown(&plug_of(changes.model, changes.plan, id));
        let was = changes.past.and_then(|past| past.of(id));
        let old = match was {
            Some(_) if !changes.is_replugged(id) => return None,
            Some(was) => match was.controller {
                Some(controller) => old_plug(changes.model, controller, was.output),
                None => "a controller that is gone".to_owned(),
            },
            None => "nothing".to_owned(),
        };
        changes.plan.of(id)?;
        let why = changes.unplugged(id).filter(|_| was.is_some());
        let why = why.map_or_else(String::new, |(_, why)| format!(": {why}"));
        Some((shown(&changes.model.name_of(id)), format!("{} -> {here}{why}", shown(&old))))
    });
    rows.collect()
}

/// A line for each prop.
fn props(changes: &Changes<'_>) -> Vec<(String, String)> {
    let props = changes.props.chunk_by(|a, b| a.prop == b.prop);
    let rows = props.filter_map(|told| {
        let name = shown(&told.first()?.prop);
        let words = told.iter().map(|one| {
            let field = one.field.replace('_', " ");
            format!("{field} {}", old_new(one.old.as_deref(), one.new.as_deref()))
        });
        Some((name, words.collect::<Vec<_>>().join("; ")))
    });
    rows.collect()
}

fn reasons(changes: &Changes<'_>, width: usize, out: &mut dyn Write) -> io::Result<()> {
    if changes.moved.is_empty() {
        return Ok(());
    }
    writeln!(out, "why strings move")?;
    for group in &changes.moved {
        let first = group.strings.first().map(|id| shown(&changes.model.name_of(*id)));
        let more = match group.strings.len() {
            0 | 1 => String::new(),
            count => format!(" and {} more", count - 1),
        };
        let words = format!("{}{more}: {}", first.unwrap_or_default(), group.reason);
        writeln!(out, "  {}", wrap(&words, "      ", width).trim_start())?;
    }
    writeln!(out)
}
