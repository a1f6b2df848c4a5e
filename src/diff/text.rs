//! What a build would change, for a person.

use super::{BoxChange, Changes, OutputChange, Stretch};
use crate::diagnostic::words::shown;
use crate::model::{Output, StringId};
use crate::plan::Freed;
use crate::report::wrap;
use crate::unit::counted;
use crate::usage::{old_plug, plug_of};
use std::io::{self, Write};

/// So many strings of a list are shown; `--format json` has all.
const MOST_SHOWN: usize = 16;

/// Writes it; `width` is how many columns there are.
///
/// # Errors
/// What the writer says.
pub fn write(changes: &Changes<'_>, width: usize, out: &mut dyn Write) -> io::Result<()> {
    set_up(changes, out)?;
    moved(changes, width, out)?;
    list(
        changes,
        "plugged in elsewhere, same addresses",
        &changes.plugged,
        out,
    )?;
    list(changes, "another length, same start", &changes.longer, out)?;
    list(changes, "new", &changes.new, out)?;
    freed(changes, out)?;
    if !changes.renamed.is_empty() {
        writeln!(out, "names carried over")?;
        for (old, new) in &changes.renamed {
            writeln!(out, "  {} -> {}", shown(old), shown(new))?;
        }
        writeln!(out)?;
    }
    for hint in &changes.hints {
        writeln!(out, "{}\n", wrap(hint, "", width))?;
    }
    writeln!(out, "{}", sum(changes))
}

/// The whole in a line.
fn sum(changes: &Changes<'_>) -> String {
    let count = |count: usize, one: &str| counted(i64::try_from(count).unwrap_or(i64::MAX), one);
    let (strings, slots) = changes.moved_slots();
    let freed = changes.past.map_or(0, |past| past.freed.len());
    let moved = match strings {
        0 => "nothing moves".to_owned(),
        1 => format!("1 string moves ({} slots)", slots),
        many => format!("{} strings move ({} slots)", many, slots),
    };
    let off = changes.past.and_then(|past| past.off);
    let off = off.map_or_else(String::new, |off| {
        format!(
            "; the search was cut short: at most {} slots fewer might have moved",
            off
        )
    });
    let first = if changes.past.is_none() {
        "there is no lock yet: "
    } else {
        ""
    };
    format!(
        "{first}{moved}, {} to set up again, {} new, {freed} freed{off}",
        count(changes.boxes.len(), "controller"),
        changes.new.len()
    )
}

fn set_up(changes: &Changes<'_>, out: &mut dyn Write) -> io::Result<()> {
    if changes.boxes.is_empty() {
        return Ok(());
    }
    writeln!(out, "controllers to set up again")?;
    for one in &changes.boxes {
        writeln!(out, "  {}: {}", shown(&one.name), universes(one))?;
        for output in &one.outputs {
            writeln!(out, "    {}", output_line(changes, output))?;
        }
    }
    writeln!(out)
}

fn universes(one: &BoxChange) -> String {
    let words = |runs: &[(u64, u64)]| {
        let runs = runs.iter().map(|(first, last)| match last - first {
            0 => first.to_string(),
            _ => format!("{first} to {last}"),
        });
        let runs: Vec<String> = runs.collect();
        if runs.is_empty() {
            "none".to_owned()
        } else {
            runs.join(", ")
        }
    };
    let (before, now) = (words(&one.before), words(&one.now));
    if before == now {
        format!("universes {now} as before")
    } else {
        format!("universes {now}; before {before}")
    }
}

fn output_line(changes: &Changes<'_>, one: &OutputChange) -> String {
    let name = match one.output {
        Output::Pixel(number) => format!("port {number:<3}"),
        Output::Dmx(number) => format!("dmx{number:<4}"),
    };
    let slots =
        |stretch: Stretch| counted(i64::try_from(stretch.slots).unwrap_or(i64::MAX), "slot");
    let words = |stretch: Option<Stretch>, place: &dyn Fn(u64) -> (u64, u64)| {
        stretch.map_or_else(
            || "nothing".to_owned(),
            |stretch| {
                let (universe, slot) = place(stretch.start);
                format!("{universe}/{slot}, {}", slots(stretch))
            },
        )
    };
    let now = words(one.now, &|channel| changes.now(channel));
    let before = words(one.before, &|channel| changes.before(channel));
    format!("{name} {now:<24} before: {before}")
}

fn moved(changes: &Changes<'_>, width: usize, out: &mut dyn Write) -> io::Result<()> {
    if changes.moved.is_empty() {
        return Ok(());
    }
    writeln!(
        out,
        "moved: make the show data of these again, or re-cut it by --remap"
    )?;
    for group in &changes.moved {
        for id in group.strings.iter().take(MOST_SHOWN) {
            writeln!(out, "  {}", move_line(changes, *id))?;
        }
        more(group.strings.len(), out)?;
        let reason = wrap(&group.reason, "      ", width);
        writeln!(out, "      {}", reason.trim_start())?;
    }
    writeln!(out)
}

fn move_line(changes: &Changes<'_>, id: StringId) -> String {
    let name = shown(&changes.model.name_of(id));
    let was = changes.past.and_then(|past| past.of(id));
    let (Some(was), Some(placed)) = (was, changes.plan.of(id)) else {
        return name;
    };
    let ((old, old_slot), (new, new_slot)) = (changes.before(was.start), changes.now(placed.start));
    let way = format!("{old}/{old_slot} -> {new}/{new_slot}");
    let slots = counted(i64::try_from(was.slots).unwrap_or(i64::MAX), "slot");
    format!("{name:<20} {way:<20} {slots:<12} {}", port(changes, id))
}

/// The output of a string, with the one it had where that is another.
fn port(changes: &Changes<'_>, id: StringId) -> String {
    let here = shown(&plug_of(changes.model, changes.plan, id));
    let was = changes.past.and_then(|past| past.of(id));
    let there = was.and_then(|was| Some((was.controller?, was.output)));
    match there {
        Some(there) if Some(there) != changes.output(id) => {
            let there = old_plug(changes.model, there.0, there.1);
            format!("{} -> {here}", shown(&there))
        }
        _ => here,
    }
}

fn list(
    changes: &Changes<'_>,
    title: &str,
    strings: &[StringId],
    out: &mut dyn Write,
) -> io::Result<()> {
    if strings.is_empty() {
        return Ok(());
    }
    writeln!(out, "{title}")?;
    for id in strings.iter().take(MOST_SHOWN) {
        let Some(placed) = changes.plan.of(*id) else {
            continue;
        };
        let (universe, slot) = changes.now(placed.start);
        let slots = placed.end.saturating_sub(placed.start) + 1;
        let slots = counted(i64::try_from(slots).unwrap_or(i64::MAX), "slot");
        let name = shown(&changes.model.name_of(*id));
        let start = format!("{universe}/{slot}");
        writeln!(
            out,
            "  {name:<20} {start:<20} {slots:<12} {}",
            port(changes, *id)
        )?;
        if let Some((_, reason)) = changes.unplugged(*id) {
            writeln!(out, "      {reason}")?;
        }
    }
    more(strings.len(), out)?;
    writeln!(out)
}

fn freed(changes: &Changes<'_>, out: &mut dyn Write) -> io::Result<()> {
    let freed: &[Freed] = changes.past.map_or(&[], |past| &past.freed);
    if freed.is_empty() {
        return Ok(());
    }
    writeln!(out, "freed")?;
    for one in freed.iter().take(MOST_SHOWN) {
        let (universe, slot) = changes.before(one.was.start);
        let slots = counted(i64::try_from(one.was.slots).unwrap_or(i64::MAX), "slot");
        let (name, start) = (shown(&one.name), format!("{universe}/{slot}"));
        let output = match one.was.controller {
            Some(id) => old_plug(changes.model, id, one.was.output),
            None => format!("{}.{}", shown(&one.controller_name), one.was.output.name()),
        };
        writeln!(out, "  {name:<20} {start:<20} {slots:<12} {output}")?;
    }
    more(freed.len(), out)?;
    writeln!(out)
}

fn more(count: usize, out: &mut dyn Write) -> io::Result<()> {
    match count.checked_sub(MOST_SHOWN) {
        Some(left) if left > 0 => writeln!(out, "  and {left} more; --format json has all"),
        _ => Ok(()),
    }
}
