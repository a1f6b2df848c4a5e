//! Fits the kinds of columns to their cells, and puts the result of the rows in order.

use crate::import::cells;
use crate::import::columns::{Columns, SIZES};
use crate::import::found::{Found, SheetLine};
use crate::import::headings::Kind;
use crate::import::makes;
use crate::import::sheet::SheetRow;
use crate::import::{Grade, Note};
use crate::protocol::UniverseSlots;
use std::collections::{BTreeMap, BTreeSet};

/// Removes controllers that no string is on.
pub(super) fn drop_unused(found: &mut Found) {
    let used: BTreeSet<usize> = found.lines().filter_map(|(.., line)| line.controller).collect();
    let mut index = 0;
    found.boxes.retain(|_| {
        index += 1;
        used.contains(&(index - 1))
    });
    let now: BTreeMap<usize, usize> = used.into_iter().zip(0..).collect();
    let members = found.props.iter_mut().flat_map(|prop| &mut prop.members);
    for line in members.flat_map(|(_, lines)| lines) {
        line.controller = line.controller.and_then(|at| now.get(&at).copied());
    }
}

/// Puts members and strings in the order of their numbers; a table may list them by cable.
pub(super) fn in_order(found: &mut Found, notes: &mut Vec<Note>) {
    let mut moved = BTreeMap::new();
    for (at, prop) in found.props.iter_mut().enumerate() {
        let mut lines = Vec::new();
        for (member, (number, own)) in prop.members.iter_mut().enumerate() {
            let own = std::mem::take(own).into_iter().enumerate();
            lines.extend(own.map(|(string, line)| {
                let of = line.number.unwrap_or(string as u64 + 1);
                ((*number, of), (member, string), line)
            }));
        }
        lines.sort_by_key(|(key, place, _): &((u64, u64), (usize, usize), _)| (*key, *place));
        for pair in lines.windows(2) {
            let [(key, _, one), (other, _, line)] = pair else {
                continue;
            };
            if key == other {
                let what = format!("row {} has this string too; taken as one more", one.row);
                let note = Note {
                    row: Some(line.row),
                    prop: Some(at),
                    text: prop.name.clone(),
                    ..Note::of_table(what, Grade::Lost)
                };
                notes.push(note);
            }
        }
        let mut members: Vec<(u64, Vec<SheetLine>)> = Vec::new();
        for ((number, _), place, line) in lines {
            if members.last().is_none_or(|(known, _)| *known != number) {
                members.push((number, Vec::new()));
            }
            let member = members.len() - 1;
            if let Some((_, own)) = members.last_mut() {
                moved.insert((at, place), (member, own.len()));
                own.push(line);
            }
        }
        let gaps = prop.family && members.iter().zip(1..).any(|((number, _), at)| *number != at);
        if gaps {
            let numbers: Vec<String> =
                members.iter().map(|(number, _)| number.to_string()).collect();
            let what = format!("its members are numbered anew: they were {}", numbers.join(", "));
            prop.comments.push(what.clone());
            notes.push(Note {
                text: prop.name.clone(),
                prop: Some(at),
                ..Note::of_table(what, Grade::Noted)
            });
        }
        prop.members = members;
    }
    for claim in &mut found.claims {
        for place in &mut claim.lines {
            if let Some(now) = moved.get(&(claim.prop, *place)) {
                *place = *now;
            }
        }
    }
}

/// Fits the kinds of columns to their cells. Returns the slots of a universe, if they show them.
pub(super) fn fitted(
    rows: &[&SheetRow],
    columns: &mut Columns,
    notes: &mut Vec<Note>,
) -> Option<UniverseSlots> {
    let all = |columns: &Columns, kind: Kind, is: &dyn Fn(&str) -> bool| {
        let mut cells = rows.iter().filter_map(|row| columns.cell(row, kind)).peekable();
        cells.peek().is_some() && cells.all(is)
    };
    let is_colour = |text: &str| cells::colour(text).is_some();
    // A column with a misleading heading is one of colours where it has nothing else.
    let colour_or_note = |columns: &Columns, kind: Kind| {
        let colours = !columns.has(Kind::Colour) && all(columns, kind, &is_colour);
        if colours { Kind::Colour } else { Kind::Note }
    };
    if columns.heading(Kind::Colour).eq_ignore_ascii_case("col")
        && !all(columns, Kind::Colour, &is_colour)
    {
        columns.turn(Kind::Colour, Kind::Note);
    }
    // A mode may be the footprint of a fixture, or its number.
    let is_footprint =
        |text: &str| text.to_lowercase().contains("ch") && cells::whole(text).is_some();
    if columns.heading(Kind::Slots).to_lowercase().contains("mode")
        && !all(columns, Kind::Slots, &is_footprint)
    {
        columns.turn(Kind::Slots, Kind::Note);
    }
    hashed(rows, columns);
    if columns.has(Kind::Position)
        && !all(columns, Kind::Position, &|text| cells::whole(text).is_some())
    {
        columns.turn(Kind::Position, colour_or_note(columns, Kind::Position));
    }
    if columns.has(Kind::Chip)
        && !rows.iter().any(|row| columns.cell(row, Kind::Chip).is_some_and(makes::is_chip))
    {
        columns.turn(Kind::Chip, colour_or_note(columns, Kind::Chip));
    }
    // Where nothing else says how large a string is, a count is that of its nodes.
    if columns.has(Kind::Count)
        && !SIZES.iter().any(|kind| columns.has(*kind))
        && rows.iter().any(|row| {
            columns.cell(row, Kind::Count).is_some_and(|text| cells::whole(text).is_some())
        })
        && all(columns, Kind::Count, &|text| {
            let count = cells::whole(text).or(cells::multiple(text).map(|of| of.count));
            count.or(cells::rough(text)).is_some()
        })
    {
        let what = "taken as the number of nodes, since no other column says it".to_owned();
        let column = columns.heading(Kind::Count).to_owned();
        notes.push(Note { column, ..Note::of_table(what, Grade::Noted) });
        columns.turn(Kind::Count, Kind::Nodes);
    }
    if !columns.has(Kind::StringNumber) && numbers_strings(rows, columns) {
        columns.turn(Kind::Strings, Kind::StringNumber);
    }
    slots(rows, columns);
    universe_slots(rows, columns)
}

/// Whether a column headed `string` numbers the strings of props. Where each prop has one row, it
/// needs no number: there it is a count, unless it has `1 of 2` or a word.
fn numbers_strings(rows: &[&SheetRow], columns: &Columns) -> bool {
    let cells = |kind: Kind| rows.iter().filter_map(move |row| columns.cell(row, kind));
    let mut names = BTreeSet::new();
    columns.heading(Kind::Strings).trim().eq_ignore_ascii_case("string")
        && (columns.has(Kind::Instance)
            || columns.has(Kind::Position)
            || !cells(Kind::Name).all(|name| names.insert(name.to_lowercase()))
            || cells(Kind::Strings).any(|text| cells::whole(text).is_none()))
}

/// A column headed `#` has the places on each port where these count from 1, or the strings of a
/// row where ports or ends agree with that; else it is a running number.
fn hashed(rows: &[&SheetRow], columns: &mut Columns) {
    if columns.heading(Kind::Position).trim() != "#" {
        return;
    }
    let whole = |row: &SheetRow, kind| columns.cell(row, kind).and_then(cells::whole);
    let mut port = (None, None);
    let (mut last, mut placed, mut strings) = (0, true, 0_usize);
    let numbers = rows.iter().filter_map(|row| whole(row, Kind::Position));
    let running = numbers.zip(1..).all(|(number, at)| number == at);
    for row in rows {
        let Some(number) = whole(row, Kind::Position) else { continue };
        let cells = [Kind::Controller, Kind::Port].map(|kind| columns.cell(row, kind));
        let own = (cells[0].or(port.0), cells[1].or(port.1));
        last = if own == port { last + 1 } else { 1 };
        port = own;
        placed &= number == last;
        let ports = cells[1].and_then(cells::ports).map_or(0, |ports| ports.len() as u64);
        strings += usize::from(number > 1 && ports == number);
        let span = whole(row, Kind::Start).zip(whole(row, Kind::End));
        let nodes = whole(row, Kind::Nodes).zip(whole(row, Kind::SlotsPerNode));
        let each = nodes.and_then(|(nodes, each)| nodes.checked_mul(each)?.checked_mul(number));
        let fits = span.and_then(|(from, to)| (to + 1).checked_sub(from)) == each;
        strings += usize::from(number > 1 && each.is_some() && fits);
    }
    if placed {
        return;
    }
    match strings > 0
        && !running
        && !columns.has(Kind::Strings)
        && !columns.has(Kind::NodesPerString)
    {
        true => {
            columns.turn(Kind::Position, Kind::Strings);
            columns.turn(Kind::Nodes, Kind::NodesPerString);
        }
        false => columns.turn(Kind::Position, Kind::Note),
    }
}

/// Takes a number beside a universe for a slot where most such numbers are at most 512.
fn slots(rows: &[&SheetRow], columns: &mut Columns) {
    /// No universe has more slots.
    const MOST_SLOT: u64 = 512;
    let within = |columns: &Columns, universes: Kind, kind: Kind| {
        let (mut universe, mut votes, mut larger) = (None, [0_u32; 2], false);
        let (mut numbers, mut others) = (0_u32, 0_u32);
        for row in rows {
            let own = columns.cell(row, universes).and_then(cells::universes);
            universe = own.map(|(first, last)| last.unwrap_or(first)).or(universe);
            let Some(text) = columns.cell(row, kind) else { continue };
            let Some((universe, number)) = universe.zip(cells::whole(text)) else {
                others += 1;
                continue;
            };
            numbers += 1;
            larger |= number > MOST_SLOT;
            // In the first universe, slot and channel are the same number.
            if universe > 1 || number > MOST_SLOT {
                let at = usize::from(number > MOST_SLOT);
                votes = [votes[0] + u32::from(at == 0), votes[1] + u32::from(at == 1)];
            }
        }
        numbers > others && (votes[0] > votes[1] || !larger)
    };
    if !columns.has(Kind::Universe) {
        return;
    }
    for kind in [Kind::Start, Kind::StartChannel] {
        if !columns.has(Kind::Slot) && columns.has(kind) && within(columns, Kind::Universe, kind) {
            columns.turn(kind, Kind::Slot);
        }
    }
    let ends = if columns.has(Kind::EndUniverse) { Kind::EndUniverse } else { Kind::Universe };
    for kind in [Kind::End, Kind::EndChannel] {
        let slots = columns.has(Kind::Slot) && !columns.has(Kind::EndSlot);
        if slots && columns.has(kind) && within(columns, ends, kind) {
            columns.turn(kind, Kind::EndSlot);
        }
    }
}

/// The slots of a universe, where channel, universe and slot stand in one row and all rows agree.
fn universe_slots(rows: &[&SheetRow], columns: &Columns) -> Option<UniverseSlots> {
    if !columns.has(Kind::Slot) {
        return None;
    }
    let number = |row: &SheetRow, kind| columns.cell(row, kind).and_then(cells::whole);
    let slots = rows.iter().filter_map(|row| {
        let universe = columns.cell(row, Kind::Universe).and_then(cells::universes)?.0;
        let (channel, slot) = (number(row, Kind::StartChannel)?, number(row, Kind::Slot)?);
        let before = (channel.checked_sub(slot)).filter(|_| universe > 1)?;
        Some(before.is_multiple_of(universe - 1).then_some(before / (universe - 1)))
    });
    let all: BTreeSet<Option<u64>> = slots.collect();
    let mut all = all.into_iter();
    match (all.next(), all.next()) {
        (Some(slots), None) => UniverseSlots::new(u32::try_from(slots?).ok()?),
        _ => None,
    }
}

/// Whether addresses with a point may have lost zeros: not where one of them still ends with one.
pub(super) fn cut(rows: &[&SheetRow], columns: &Columns) -> bool {
    !rows.iter().any(|row| {
        let texts = [Kind::Start, Kind::End].map(|kind| columns.cell(row, kind).unwrap_or(""));
        texts.iter().any(|text| text.contains('.') && text.ends_with('0'))
    })
}
