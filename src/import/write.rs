//! Writes what a table holds as a display that compiles, with comments on what to fill in.

use super::Note;
use super::found::{Board, Found, SheetLine, SheetProp, StringAt};
use super::places::chains;
use super::wires::wires;
use crate::chip;
use crate::diagnostic::words;
use crate::model::Output;
use crate::protocol::UniverseSlots;
use crate::source::quoted;
use crate::unit;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// The most columns of a line before it is broken.
pub(super) const WIDTH: usize = 96;
/// The most ports that a controller may have.
const MOST_PORTS: u64 = 1_024;
/// The most letters of a comment.
const MOST_COMMENT: usize = 1_000;

/// How a display is written.
pub struct Style<'a> {
    /// The name of the table.
    pub table: &'a str,
    /// The notes on it.
    pub notes: &'a [Note],
    /// Frames a second, where the usual 40 leave no time for its longest port.
    pub rate: Option<u64>,
}

/// The display of a table.
pub fn display(found: &Found, style: &Style<'_>) -> String {
    let mut out = String::new();
    let name = words::shown(style.table);
    let props = unit::counted(found.props.len(), "prop");
    // Writing to a String can't fail.
    let _ = writeln!(out, "# Imported from {name}: {props}.");
    out.push_str("# What the table did not say has a comment that begins with \"fill in\".\n");
    let mut of_props: BTreeMap<usize, Vec<String>> = BTreeMap::new();
    for note in style.notes.iter().filter(|note| note.is_doubt()) {
        match note.prop {
            Some(prop) => of_props.entry(prop).or_default().push(format!("in doubt: {note}")),
            None => comment(&format!("in doubt: {note}"), &mut out),
        }
    }
    for words in &found.comments {
        comment(words, &mut out);
    }
    let slots = (found.universe_slots != UniverseSlots::ALL)
        .then(|| format!("universe {} slots", found.universe_slots.get()));
    let rate = style.rate.map(|rate| format!("frame rate {rate} Hz"));
    let settings: Vec<String> = slots.into_iter().chain(rate).collect();
    if !settings.is_empty() {
        let _ = writeln!(out, "\ndisplay \"\" {{\n{}\n}}", settings.join("\n"));
    }
    makes(found, &mut out);
    controllers(found, &mut out);
    let hubs = receivers(found, &mut out);
    out.push('\n');
    for (at, prop) in found.props.iter().enumerate() {
        for words in of_props.get(&at).into_iter().flatten().chain(&prop.comments) {
            comment(words, &mut out);
        }
        self::prop(found, prop, &mut out);
    }
    wires(found, &hubs, &mut out);
    out
}

/// A comment on a line of its own.
fn comment(text: &str, out: &mut String) {
    let plain = text.chars().map(|c| if words::is_unprintable(c) { ' ' } else { c });
    let plain: String = plain.take(MOST_COMMENT).collect();
    let _ = writeln!(out, "# {}", plain.trim_end());
}

fn makes(found: &Found, out: &mut String) {
    let used: BTreeSet<usize> = found.lines().filter_map(|(.., line)| line.make).collect();
    let used: Vec<_> = used.into_iter().filter_map(|make| found.makes.get(make)).collect();
    let mut declared = BTreeSet::new();
    for make in used.iter().filter(|make| make.declared) {
        let Some(chip) = make.chip.as_deref().filter(|chip| declared.insert(*chip)) else {
            continue;
        };
        let _ = writeln!(
            out,
            "\nchip {chip} {{\ndepth {}\n# fill in: rate N kHz and latch N us, from its data sheet\n}}",
            make.depth
        );
    }
    for make in used {
        let _ = writeln!(out, "\nnode {} {{", make.name);
        let _ = match &make.chip {
            Some(chip) => writeln!(out, "chip {chip}"),
            None => writeln!(out, "chip ws2811 # fill in: the chip of these nodes"),
        };
        let fill =
            if make.colour_said { "" } else { " # fill in: the order in which the slots light" };
        let _ = writeln!(out, "colour {}{fill}", make.colour);
        let fill = match &make.volts {
            Some(volts) => format!("volts {volts}\n# fill in: "),
            None => "# fill in: volts 12 V, and ".to_owned(),
        };
        let _ = writeln!(out, "{fill}draw 55 mA for what one node draws at full\n}}");
    }
}

/// About how long a string's data take, in nanoseconds, without header and latch.
pub fn time_ns(found: &Found, line: &SheetLine) -> u64 {
    let make = line.make.and_then(|make| found.makes.get(make));
    let name = make.and_then(|make| make.chip.as_deref());
    let known = name.and_then(|name| chip::KNOWN.iter().find(|chip| chip.name == name));
    let bit = known.and_then(|chip| chip.bit);
    let (above, below) = bit.map_or((1_250, 1), |bit| (bit.nanoseconds, bit.divisor.max(1)));
    let bits = found.body(line).slots().saturating_mul(8);
    bits.saturating_mul(above) / below
}

/// How many ports some strings need where the compiler picks them: filled one after another, plus
/// the most strings that a member of one prop has, since these stay side by side.
fn needed(found: &Found, lines: &[(usize, &SheetLine)]) -> u64 {
    /// The time in a frame at the usual 40 Hz without the longest latch, in nanoseconds.
    const ROOM_NS: u64 = 25_000_000 - 300_000;
    let (mut ports, mut left) = (0_u64, 0_u64);
    let mut of_prop: BTreeMap<usize, u64> = BTreeMap::new();
    for (prop, line) in lines.iter().filter(|(_, line)| line.make.is_some()) {
        *of_prop.entry(*prop).or_insert(0) += 1;
        let time = time_ns(found, line);
        if time > left {
            ports += 1;
            left = ROOM_NS.saturating_sub(time);
        } else {
            left -= time;
        }
    }
    let members =
        |prop: &usize| found.props.get(*prop).map_or(1, |prop| prop.members.len().max(1) as u64);
    let most = of_prop.iter().map(|(prop, strings)| strings / members(prop)).max().unwrap_or(0);
    if ports == 0 { 0 } else { ports + most }
}

/// The next number of ports that controllers usually have.
fn rounded(ports: u64) -> u64 {
    let usual = [1, 2, 4, 8, 16].into_iter().find(|usual| *usual >= ports);
    usual.unwrap_or_else(|| ports.next_multiple_of(16).min(MOST_PORTS))
}

/// What a controller must have.
#[derive(Default)]
struct Needs<'a> {
    /// Its strings without a port, with their props.
    open: Vec<(usize, &'a SheetLine)>,
    /// Slots of all its strings.
    size: u64,
    /// Its highest port.
    pixel: u64,
    /// Its highest DMX output.
    dmx: u64,
    /// Whether a fixture is on no output yet.
    fixtures: bool,
    /// The lowest universe in which one of its strings starts.
    first: Option<u64>,
    /// Slots of the fixtures on each pixel port.
    slots: BTreeMap<u32, u64>,
    /// Whether a string of the table has an address.
    placed: bool,
}

fn needs(found: &Found) -> Vec<Needs<'_>> {
    let mut all: Vec<Needs<'_>> = Vec::new();
    all.resize_with(found.boxes.len().max(1), Needs::default);
    for ((prop, _), line) in found.lines() {
        // Strings without a controller count for the first, unless its number of ports is known.
        let first = found.boxes.first().is_none_or(|board| board.ports.is_none()).then_some(0);
        let Some(needs) = line.controller.or(first).and_then(|at| all.get_mut(at)) else {
            continue;
        };
        needs.size += found.body(line).slots();
        if line.output.is_none() {
            needs.open.push((prop, line));
        }
        match line.output {
            Some(Output::Pixel(port)) => {
                needs.pixel = needs.pixel.max(port.into());
                if line.make.is_none() {
                    *needs.slots.entry(port).or_insert(0) += line.size;
                }
            }
            Some(Output::Dmx(number)) => needs.dmx = needs.dmx.max(number.into()),
            None => needs.fixtures |= line.make.is_none(),
        }
        if let Some(start) = line.start.filter(|_| line.same_as.is_none()) {
            let universe = start / found.universe_slots.each() + 1;
            needs.first = Some(needs.first.map_or(universe, |first| first.min(universe)));
            needs.placed = true;
        }
    }
    all
}

fn controllers(found: &Found, out: &mut String) {
    if found.props.is_empty() && found.boxes.is_empty() {
        return;
    }
    let needs = needs(found);
    let any = needs.iter().any(|needs| needs.placed);
    let ends = found
        .lines()
        .filter_map(|(.., line)| line.start.map(|start| start + found.body(line).slots() - 1));
    let mut free = ends.max().map_or(1, |end| end / found.universe_slots.each() + 2);
    let main = Board { name: "main".to_owned(), ..Default::default() };
    let boxes: Vec<_> =
        if found.boxes.is_empty() { vec![&main] } else { found.boxes.iter().collect() };
    for (board, needs) in boxes.into_iter().zip(needs) {
        let _ = writeln!(out, "\ncontroller {} {{", board.name);
        if let Some(label) = &board.label {
            let _ = writeln!(out, "label \"{}\"", quotable(label));
        }
        let _ = match &board.host {
            Some(host) => writeln!(out, "host {host}"),
            None => writeln!(out, "# fill in: host ADDRESS, where the box is on your network"),
        };
        let input = if board.from_zero { Some("artnet from 0") } else { board.input };
        if let Some(input) = input {
            let _ = writeln!(out, "input {input}");
        }
        let _ = match (board.universes, needs.first) {
            (Some((first, Some(last))), _) => writeln!(out, "universes {first}..{last}"),
            (Some((first, None)), _) | (None, Some(first)) => {
                writeln!(out, "universes from {first}")
            }
            (None, None) if any => {
                let begin = free;
                free += needs.size / found.universe_slots.each() + 2;
                writeln!(out, "universes from {begin} # fill in: where its universes begin")
            }
            (None, None) => {
                writeln!(out, "# fill in: universes from N, where its universes begin")
            }
        };
        if let Some(slots) = board.slots {
            let _ = writeln!(out, "universe {} slots", slots.get());
        }
        match &board.addressing {
            _ if board.per_prop => out.push_str("addressing per prop\n"),
            Some((words, _)) => {
                let _ = writeln!(out, "addressing {words}");
            }
            None => {}
        }
        if board.whole {
            out.push_str("whole nodes\n");
        }
        outputs(found, board, &needs, out);
        out.push_str("}\n");
    }
}

/// The ports and DMX outputs of a controller.
fn outputs(found: &Found, board: &Board, needs: &Needs<'_>, out: &mut String) {
    let pixel = needs.pixel + needed(found, &needs.open);
    let least = pixel.max(u64::from(needs.dmx == 0 && !needs.fixtures));
    let said = board.ports.as_ref().map(|(ports, _)| *ports).filter(|ports| *ports >= least);
    if least > 0 {
        let ports = said.unwrap_or_else(|| rounded(least));
        let many = if said.is_some() { "" } else { "how many there are, and " };
        let _ = writeln!(
            out,
            "ports 1..{ports} {{ }} # fill in: {many}nodes at most N for what one drives"
        );
    }
    limits(board, needs, out);
    let dmx = needs.dmx.max(u64::from(needs.fixtures));
    if dmx > 0 {
        let _ = writeln!(out, "dmx 1..{dmx}");
    }
}

/// The limits of single ports; neighbours with the same limit are joined.
fn limits(board: &Board, needs: &Needs<'_>, out: &mut String) {
    let nodes = board.limits.iter().filter(|(port, _)| !needs.slots.contains_key(port));
    let nodes = nodes.map(|(port, most)| (*port, format!("nodes at most {most}")));
    let slots = needs.slots.iter().map(|(port, most)| (*port, format!("slots at most {most}")));
    let all: BTreeMap<u32, String> = nodes.chain(slots).collect();
    let mut all = all.into_iter().peekable();
    while let Some((first, words)) = all.next() {
        let mut last = first;
        while all.next_if(|(port, more)| *port == last + 1 && *more == words).is_some() {
            last += 1;
        }
        let ports =
            if first == last { format!("port {first}") } else { format!("ports {first}..{last}") };
        let _ = writeln!(out, "{ports} {{ {words} }}");
    }
}

/// For each receiver its controller and the first port that it carries there.
pub(super) type Hubs = BTreeMap<usize, (usize, u32)>;

/// Writes the receivers whose strings all agree on the ports that they carry.
fn receivers(found: &Found, out: &mut String) -> Hubs {
    let mut bases: BTreeMap<usize, BTreeSet<Option<(usize, u32)>>> = BTreeMap::new();
    let mut ports: BTreeMap<usize, u32> = BTreeMap::new();
    let mut rows: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for (_, line) in found.lines() {
        let Some((receiver, port)) = line.receiver else {
            continue;
        };
        rows.entry(receiver).or_default().insert(line.row);
        let base = match (line.controller, line.output) {
            (Some(board), Some(Output::Pixel(own))) if own >= port => Some((board, own - port + 1)),
            _ => None,
        };
        bases.entry(receiver).or_default().insert(base);
        let most = ports.entry(receiver).or_insert(port);
        *most = (*most).max(port);
    }
    let mut hubs: Hubs = BTreeMap::new();
    for (receiver, bases) in &bases {
        let mut bases = bases.iter();
        if let (Some(Some(base)), None) = (bases.next(), bases.next()) {
            hubs.insert(*receiver, *base);
        }
    }
    if !hang_in_order(found, &hubs, &ports) {
        hubs.clear();
    }
    for (receiver, name) in found.receivers.iter().enumerate() {
        match hubs.get(&receiver) {
            Some((board, base)) => {
                let count = ports.get(&receiver).copied().unwrap_or(1);
                let board = found.boxes.get(*board).map_or("", |board| board.name.as_str());
                let _ = writeln!(
                    out,
                    "\nreceiver {name} {{ carries {board}.{base}..{}; ports 1..{count} {{ }} }}",
                    base + count - 1
                );
            }
            None => {
                let rows = rows.get(&receiver).into_iter().flatten();
                let rows: Vec<String> = rows.map(usize::to_string).collect();
                comment(
                    &format!(
                        "fill in: receiver {name} of row {}, and which ports of a controller it carries",
                        rows.join(", ")
                    ),
                    out,
                );
            }
        }
    }
    hubs
}

/// Whether all strings of a carried port are on receivers, in the order of their declaration.
fn hang_in_order(found: &Found, hubs: &Hubs, ports: &BTreeMap<usize, u32>) -> bool {
    chains(found).into_iter().all(|((board, dmx, port), chain)| {
        let carried = hubs.iter().any(|(receiver, (own, base))| {
            let count = ports.get(receiver).copied().unwrap_or(1);
            !dmx && *own == board && (*base..*base + count).contains(&port)
        });
        let receiver = |at: &StringAt| Some(found.line(*at)?.receiver?.0);
        let order: Vec<Option<usize>> = chain.iter().map(receiver).collect();
        !carried || !order.contains(&None) && order.is_sorted()
    })
}

/// A text fit to stand between quotes.
fn quotable(text: &str) -> String {
    let plain = text.chars().map(|c| match c {
        c if words::is_unprintable(c) => ' ',
        c => c,
    });
    quoted::written(&plain.take(200).collect::<String>())
}

/// The settings that describe a member's strings.
fn shape(found: &Found, lines: &[SheetLine]) -> Vec<String> {
    let mut settings = Vec::new();
    let make = lines.iter().find_map(|line| line.make).and_then(|make| found.makes.get(make));
    if let Some(make) = make {
        settings.push(format!("node {}", make.name));
    }
    let nodes = |line: &SheetLine| unit::counted(line.size, "node");
    match lines {
        [one] if one.make.is_none() => settings.push(format!("slots {}", one.size)),
        [one, rest @ ..]
            if one.name.is_none()
                && one.runs.is_none()
                && rest.iter().all(|line| {
                    let alike = (line.size, line.strands.max(1)) == (one.size, one.strands.max(1));
                    alike && line.name.is_none() && line.runs.is_none()
                }) =>
        {
            let strands = one.strands.max(1);
            settings.push(match (lines.len(), strands) {
                (1, 1) => format!("string {}", nodes(one)),
                (count, 1) => format!("strings {count} of {}", nodes(one)),
                (count, strands) => format!(
                    "strings {count} of {strands} strands of {}",
                    unit::counted(one.size / strands, "node")
                ),
            });
        }
        all => settings.extend(all.iter().map(|line| match (&line.name, &line.runs) {
            (Some(name), runs) => {
                let runs = runs.clone().unwrap_or_else(|| nodes(line));
                format!("string {name}: {runs}")
            }
            (None, Some(runs)) => format!("string: {runs}"),
            (None, None) if line.strands > 1 => format!(
                "strings 1 of {} strands of {}",
                line.strands,
                unit::counted(line.size / line.strands, "node")
            ),
            (None, None) => format!("string {}", nodes(line)),
        })),
    }
    settings
}

/// Where data comes into a member's strings, as a setting: one place for all, or one for each.
fn enters(lines: &[SheetLine]) -> String {
    let place =
        |line: &SheetLine| format!("\"{}\"", quotable(line.enters.as_deref().unwrap_or("")));
    let mut places: Vec<String> = lines.iter().map(place).collect();
    if places.iter().all(|place| Some(place) == places.first()) {
        places.truncate(1);
    }
    format!("enters {}", places.join(", "))
}

fn prop(found: &Found, prop: &SheetProp, out: &mut String) {
    let family = if prop.family { format!(" * {}", prop.members.len()) } else { String::new() };
    let lines = || prop.members.iter().flat_map(|(_, lines)| lines);
    let entered = lines().any(|line| line.enters.is_some());
    let shapes: Vec<Vec<String>> = prop
        .members
        .iter()
        .map(|(_, lines)| {
            let enters = entered.then(|| enters(lines)).into_iter();
            enters.chain(shape(found, lines)).collect()
        })
        .collect();
    let mut settings = Vec::new();
    if let Some(label) = &prop.label {
        settings.push(format!("label \"{}\"", quotable(label)));
    }
    let mut counts: BTreeMap<&[String], usize> = BTreeMap::new();
    for shape in &shapes {
        *counts.entry(shape).or_insert(0) += 1;
    }
    let most = counts.values().max().copied();
    // Of equal counts the first.
    let common = shapes.iter().find(|shape| counts.get(shape.as_slice()).copied() == most);
    let said = |setting: &&String| *setting != "enters \"\"";
    settings.extend(common.into_iter().flatten().filter(said).cloned());
    let same: Vec<Option<String>> = prop.members.iter().map(|(_, lines)| same_as(lines)).collect();
    let only = same.first().filter(|_| !prop.family).and_then(Option::as_ref);
    settings.extend(only.map(|other| format!("same as {other}")));
    block(&format!("prop {}{family}", prop.name), &settings, out);
    for (at, (shape, same)) in shapes.iter().zip(&same).enumerate() {
        let own = shape.iter().filter(|_| Some(shape) != common).cloned();
        let same = same.iter().filter(|_| prop.family).map(|other| format!("same as {other}"));
        let settings: Vec<String> = own.chain(same).collect();
        if !settings.is_empty() {
            block(&format!("prop {}[{}]", prop.name, at + 1), &settings, out);
        }
    }
}

/// Whose data a member shows: all its strings show those of one other member, in their order.
fn same_as(lines: &[SheetLine]) -> Option<String> {
    let first = lines.first()?.same_as.clone()?;
    let whole = first.rsplit_once('.').filter(|_| lines.len() > 1);
    Some(whole.map_or(first.clone(), |(name, _)| name.to_owned()))
}

fn block(head: &str, settings: &[String], out: &mut String) {
    let line = format!("{head} {{ {} }}", settings.join("; "));
    if line.chars().count() <= WIDTH {
        let _ = writeln!(out, "{line}");
    } else {
        let _ = writeln!(out, "{head} {{\n{}\n}}", settings.join("\n"));
    }
}

#[cfg(test)]
mod tests {
    use super::rounded;

    #[test]
    fn boxes_have_usual_numbers_of_ports() {
        assert_eq!([1, 3, 9, 16, 17, 2_000].map(rounded), [1, 4, 16, 16, 32, 1_024]);
    }
}
