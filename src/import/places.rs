//! The addresses of a table: what each means, whether they agree, and how the display must address
//! its controllers to keep all of them.

use super::cells::At;
use super::clashes::{clashes, mirrored, shared_universes};
use super::found::{Claim, Found, SheetLine, StringAt};
use super::rows::same;
use super::sizes;
use super::{Grade, Note};
use crate::grid::Grid;
use crate::model::Output;
use crate::protocol::UniverseSlots;
use std::cmp::Reverse;
use std::collections::BTreeMap;
use std::ops::Range;

/// Universes that E1.31 has (ANSI E1.31-2018, 6.2.7).
pub(super) const MOST_UNIVERSE: u64 = 63_999;

/// Decides every address of a table. Returns whether any string has one.
pub fn settle(found: &mut Found, given: Option<UniverseSlots>, notes: &mut Vec<Note>) -> bool {
    let claims = std::mem::take(&mut found.claims);
    sizes::settle(found, &claims, given, notes);
    if claims.is_empty() {
        return false;
    }
    count_from_zero(found, &claims, notes);
    layouts(found, &claims);
    let mut stray = BTreeMap::new();
    for claim in &claims {
        if let Some(end) = assign(found, claim, notes) {
            stray.extend(claim.lines.iter().map(|place| ((claim.prop, *place), end)));
        }
    }
    reaches(found, &claims, &stray, notes);
    going_on(found, &claims, notes);
    same::starts(found, notes);
    if found.of_ports {
        mirrored(found, notes);
    }
    let ended = claims.iter().filter(|claim| claim.end.is_some());
    let ended = ended.flat_map(|claim| claim.lines.iter().map(|place| (claim.prop, *place)));
    clashes(found, &stray.into_keys().collect(), &ended.collect(), notes);
    shared_universes(found, notes);
    addressing(found);
    found.claims = claims;
    at_cells(found, notes);
    found.lines().any(|(.., line)| line.start.is_some())
}

/// Gives a row without a port that of the row above, where it begins at that row's end on the same
/// controller.
fn going_on(found: &mut Found, claims: &[Claim], notes: &mut Vec<Note>) {
    for pair in claims.windows(2) {
        let [above, claim] = pair else { continue };
        let [place] = claim.lines[..] else { continue };
        let before = above.lines.last().and_then(|place| found.line((above.prop, *place)));
        let (Some(before), Some(line)) = (before, found.line((claim.prop, place))) else {
            continue;
        };
        let same = above.table == claim.table && before.controller == line.controller;
        let (Some(Output::Pixel(port)), None, Some(from)) =
            (before.output, line.output, before.start)
        else {
            continue;
        };
        let end = grid(found, before.controller, before, None).lay(from, found.body(before)).end;
        let next = grid(found, line.controller, line, None).lay(end, found.body(line)).start;
        if !same || line.controller.is_none() || line.start != Some(next) || line.make.is_none() {
            continue;
        }
        let what =
            format!("no port; taken as port {port}, since it begins where the row above ends");
        notes.push(Note { grade: Grade::Noted, ..note(claim, false, what) });
        if let Some(line) = found.line_mut((claim.prop, place)) {
            line.output = Some(Output::Pixel(port));
        }
    }
}

/// Moves notes on a string that name no column to the cell of its start.
pub(super) fn at_cells(found: &Found, notes: &mut [Note]) {
    let open = |note: &&mut Note| note.column.is_empty() && note.line.is_some();
    let mut open = notes.iter_mut().filter(open).peekable();
    if open.peek().is_none() {
        return;
    }
    let mut cells: BTreeMap<_, &Claim> = BTreeMap::new();
    for claim in &found.claims {
        cells.extend(claim.lines.iter().map(|place| ((claim.prop, *place), claim)));
    }
    for own in open {
        if let Some(claim) = own.line.and_then(|line| cells.get(&line)) {
            let [(column, text), _] = claim.texts.clone();
            (own.row, own.column, own.text) = (Some(claim.row), column, text);
        }
    }
}

fn note(claim: &Claim, end: bool, what: String) -> Note {
    let [start, last] = &claim.texts;
    let (column, text) = if end { last } else { start };
    Note {
        row: Some(claim.row),
        column: column.clone(),
        text: text.clone(),
        prop: Some(claim.prop),
        ..Note::of_table(what, Grade::Wrong)
    }
}

/// The controller of a claim's first string.
pub(super) fn board_of(found: &Found, claim: &Claim) -> Option<usize> {
    found.lines_of(claim).next()?.controller
}

/// Marks the controllers whose universes the table counts from 0; the language counts each as one
/// more.
fn count_from_zero(found: &mut Found, claims: &[Claim], notes: &mut Vec<Note>) {
    for claim in claims {
        let zero = claim.starts.iter().flatten().any(|at| matches!(at, At::Slot(0, _)));
        let Some(at) = board_of(found, claim).filter(|_| zero) else {
            continue;
        };
        let Some(board) = found.boxes.get_mut(at).filter(|board| !board.from_zero) else {
            continue;
        };
        board.from_zero = true;
        let what = format!(
            "`{}` counts universes from 0: here each is one more, and its input is `artnet from 0`",
            board.name
        );
        notes.push(Note { grade: Grade::Noted, ..note(claim, false, what) });
    }
}

/// The channels, from 0 and as the display counts them, that places of a claim may mean.
fn channels(found: &Found, claim: &Claim, places: &[At]) -> Vec<u64> {
    let slots = found.universe_slots.each();
    let own = found.sizes.get(claim.table).map_or(slots, |size| size.each());
    let board = board_of(found, claim).and_then(|at| found.boxes.get(at));
    let shift = u64::from(board.is_some_and(|board| board.from_zero));
    let one = |at: &At| match at {
        At::Slot(universe, slot) => {
            let universe = universe + shift;
            let lawful = (1..=MOST_UNIVERSE).contains(&universe) && (1..=slots).contains(slot);
            lawful.then(|| (universe - 1) * slots + slot - 1)
        }
        At::Channel(channel) => {
            let channel = channel.checked_sub(1)?;
            let universe = Some(channel / own).filter(|universe| *universe < MOST_UNIVERSE)?;
            Some((universe + shift) * slots + channel % own)
        }
    };
    places.iter().filter_map(one).collect()
}

/// How a controller fills its universes: slots that its pixel ports use of each, and whether nodes
/// stay whole.
pub(super) type Fill = (UniverseSlots, bool);

/// How the output of a line fills universes: as the table has it for its controller, or by `fill`.
pub(super) fn grid(
    found: &Found,
    board: Option<usize>,
    line: &SheetLine,
    fill: Option<Fill>,
) -> Grid {
    let all = found.universe_slots;
    let board = board.and_then(|at| found.boxes.get(at));
    let own = || board.map_or((all, false), |board| (board.slots.unwrap_or(all), board.whole));
    let (slots, whole) = fill.unwrap_or_else(own);
    let grid = Grid::new(all, line.make.is_some() && whole);
    match line.output {
        Some(Output::Dmx(_)) => grid,
        _ => grid.using(slots.get()),
    }
}

/// Starts and ends of a claim's strings, laid one after another from a channel on.
fn laid(
    found: &Found,
    claim: &Claim,
    range: std::ops::Range<usize>,
    from: u64,
    fill: Option<Fill>,
) -> Vec<(u64, u64)> {
    let board = board_of(found, claim);
    let mut at = from;
    let lines = claim.lines.get(range).unwrap_or(&[]).iter();
    let lines = lines.filter_map(|place| found.line((claim.prop, *place)));
    lines
        .map(|line| {
            let range = grid(found, board, line, fill).lay(at, found.body(line));
            at = range.end;
            (range.start, range.end)
        })
        .collect()
}

/// Finds how each controller fills its universes: the way with which most ends and following starts
/// of its rows agree.
fn layouts(found: &mut Found, claims: &[Claim]) {
    let mut of_board: BTreeMap<usize, Vec<(&Claim, u64)>> = BTreeMap::new();
    for claim in claims {
        let (Some(board), [places]) = (board_of(found, claim), claim.starts.as_slice()) else {
            continue;
        };
        if let [start] = channels(found, claim, places)[..] {
            of_board.entry(board).or_default().push((claim, start));
        }
    }
    for (board, claims) in of_board {
        let fills = fills(found, &claims);
        // Of equal scores the first counts.
        let scores = fills.iter().map(|fill| score(found, &claims, *fill)).enumerate();
        let best = scores.max_by_key(|(at, score)| (*score, Reverse(*at)));
        let best = best.and_then(|(at, _)| fills.get(at));
        let all = found.universe_slots;
        if let Some(((slots, whole), own)) = best.zip(found.boxes.get_mut(board)) {
            own.whole = *whole;
            own.slots = Some(*slots).filter(|slots| *slots != all);
        }
    }
}

/// The ways in which a controller may fill its universes, the likeliest first: as its table counts,
/// all slots, all with whole nodes, and a size that at least two of its rows prove.
fn fills(found: &Found, claims: &[(&Claim, u64)]) -> Vec<Fill> {
    let all = found.universe_slots;
    let of_table = claims.first().and_then(|(claim, _)| found.sizes.get(claim.table));
    let mut fills =
        vec![(of_table.copied().unwrap_or(all).min(all), false), (all, false), (all, true)];
    let mut proven: BTreeMap<UniverseSlots, u32> = BTreeMap::new();
    for (claim, start) in claims {
        let lines = found.lines_of(claim);
        let slots: u64 = lines.map(|line| found.body(line).slots()).sum();
        let end = claim.end.as_deref().map(|end| channels(found, claim, end)).unwrap_or_default();
        let Some(end) = end.first() else { continue };
        let universes = (end / all.each()).saturating_sub(start / all.each());
        let rest = (slots + start % all.each()).checked_sub(end % all.each() + 1);
        let size = rest.filter(|rest| universes > 0 && rest.is_multiple_of(universes));
        let size = size.and_then(|rest| UniverseSlots::new(u32::try_from(rest / universes).ok()?));
        if let Some(size) = size.filter(|size| *size < all) {
            *proven.entry(size).or_insert(0) += 1;
        }
    }
    let proven = proven.into_iter().filter(|(_, rows)| *rows > 1);
    fills.extend(proven.max_by_key(|(_, rows)| *rows).map(|(size, _)| (size, false)));
    fills
}

/// How many ends of a controller's rows agree with `fill`, plus how many rows then end where
/// another starts.
fn score(found: &Found, claims: &[(&Claim, u64)], fill: Fill) -> usize {
    let slots = found.universe_slots.each();
    let mut starts: Vec<u64> = claims.iter().map(|(_, start)| *start).collect();
    starts.sort_unstable();
    let at = |channel: &u64| starts.binary_search(channel).is_ok();
    let padded = fill != (found.universe_slots, false);
    let of_claim = |(claim, start): &(&Claim, u64)| {
        let laid = laid(found, claim, 0..claim.lines.len(), *start, Some(fill));
        let end = laid.last().map_or(*start, |last| last.1);
        let said = claim.end.as_deref().map(|end| channels(found, claim, end));
        let ends = said.is_some_and(|said| said.contains(&end.saturating_sub(1)));
        let next = end.next_multiple_of(slots);
        let goes_on = at(&end) || padded && next - end < 12 && at(&next);
        usize::from(ends) + usize::from(goes_on)
    };
    claims.iter().map(of_claim).sum()
}

/// Sets the starts of a claim's strings and reports what does not agree. Returns the end in the
/// table, as the channel after it, where the strings do not end there.
fn assign(found: &mut Found, claim: &Claim, notes: &mut Vec<Note>) -> Option<u64> {
    let (count, parts) = (claim.lines.len(), claim.starts.len());
    if count == 0 || !count.is_multiple_of(parts) {
        let what = format!("{parts} addresses for {count} strings; not kept");
        notes.push(note(claim, false, what));
        return None;
    }
    uneven(found, claim);
    let share = count / parts;
    let end = claim.end.as_deref().map(|end| channels(found, claim, end));
    let mut last = 0;
    for (part, places) in claim.starts.iter().enumerate() {
        let range = part * share..(part + 1) * share;
        let all = channels(found, claim, places);
        let ends = end.as_deref().filter(|_| parts == 1);
        let Some(start) = start_of(found, claim, &range, (&all, ends), notes) else {
            continue;
        };
        let ranges = laid(found, claim, range.clone(), start, None);
        for (place, (start, end)) in claim.lines.get(range).unwrap_or(&[]).iter().zip(ranges) {
            if let Some(line) = found.line_mut((claim.prop, *place)) {
                line.start = Some(start);
            }
            last = last.max(end);
        }
    }
    if last == 0 || stretched(found, claim, end.as_deref(), notes) {
        return None;
    }
    notes.extend(other_universe(found, claim));
    let stray = stray_end(found, claim, end.as_deref(), last)?;
    notes.push(stray);
    Some(end.as_ref().and_then(|end| end.first()).map_or(0, |end| end + 1))
}

/// A note where the row states another universe than that of its start.
fn other_universe(found: &Found, claim: &Claim) -> Option<Note> {
    let board = board_of(found, claim).and_then(|at| found.boxes.get(at));
    let said = claim.universe? + u64::from(board.is_some_and(|board| board.from_zero));
    let start = found.lines_of(claim).next()?.start?;
    let own = start / found.universe_slots.each() + 1;
    let what = format!("lies in universe {own}, and the row says {said}; {said} is not kept");
    (own != said).then(|| note(claim, false, what))
}

/// Adds to the note on a wrong end the string that would lie on the same slots.
fn reaches(found: &Found, claims: &[Claim], stray: &BTreeMap<StringAt, u64>, notes: &mut [Note]) {
    let mut starts: BTreeMap<u64, StringAt> = BTreeMap::new();
    for (at, line) in found.lines().filter(|_| !stray.is_empty()) {
        starts.extend(line.start.map(|start| (start, at)));
    }
    let mut ends = BTreeMap::new();
    for claim in claims {
        let own = claim.lines.last().map(|place| (claim.prop, *place));
        let Some((own, end)) = own.and_then(|own| Some((own, stray.get(&own)?))) else { continue };
        let start = found.line(own).and_then(|line| line.start);
        let next = start.and_then(|start| starts.range(start + 1..).next());
        if let Some((_, next)) = next.filter(|(start, _)| **start < *end) {
            ends.insert((claim.row, claim.prop), (found.name(*next), found.line(*next)));
        }
    }
    for note in notes.iter_mut().filter(|note| note.what.ends_with("this end is not kept")) {
        let next = note.row.zip(note.prop).and_then(|at| ends.get(&at));
        if let Some((name, Some(line))) = next {
            note.what.push_str(&format!(", and is on slots of `{name}`, row {}", line.row));
        }
    }
}

/// Chooses one of the channels that a start may mean, by the end in the table or the row's channel.
fn start_of(
    found: &Found,
    claim: &Claim,
    range: &Range<usize>,
    (all, ends): (&[u64], Option<&[u64]>),
    notes: &mut Vec<Note>,
) -> Option<u64> {
    let last = |start: u64| {
        let laid = laid(found, claim, range.clone(), start, None);
        laid.last().map_or(start, |last| last.1).saturating_sub(1)
    };
    let by_end = ends.and_then(|ends| all.iter().find(|start| ends.contains(&last(**start))));
    let own = claim.channel.map(|channel| channels(found, claim, &[At::Channel(channel)]));
    let by_channel = own.and_then(|own| own.first().copied());
    let agreed = by_channel.filter(|channel| all.contains(channel));
    let start = match (by_end.copied().or(agreed), all) {
        (Some(start), _) => start,
        (None, []) => {
            let what = "no universe and slot that exist; not kept".to_owned();
            notes.push(note(claim, false, what));
            return None;
        }
        (None, [start]) => *start,
        (None, [start, more @ ..]) => {
            let shown = |at: &u64| found.universe_slots.place(*at);
            let more: Vec<String> = more.iter().map(shown).collect();
            let what = format!("taken as {}; it may mean {} too", shown(start), more.join(" or "));
            notes.push(note(claim, false, what));
            *start
        }
    };
    let every = || claim.starts.iter().flat_map(|places| channels(found, claim, places));
    let first = range.start == 0;
    if first && by_channel.is_some_and(|channel| every().all(|start| start != channel)) {
        let what = format!(
            "is not channel {}, which the row says too; the channel is not kept",
            claim.channel.unwrap_or(0)
        );
        notes.push(note(claim, false, what));
    }
    Some(start)
}

/// In a table of ports, widens a string of slots to the end in the table. Returns whether it did.
fn stretched(found: &mut Found, claim: &Claim, end: Option<&[u64]>, notes: &mut Vec<Note>) -> bool {
    let place = claim.lines.first().copied().unwrap_or_default();
    if let (true, Some([end])) = (found.of_ports, end)
        && let Some(line) = found.line_mut((claim.prop, place))
        && let Some(span) = line.start.and_then(|start| (end + 1).checked_sub(start))
        && line.make.is_none()
        && span > line.size
    {
        let what =
            format!("{} slots lie apart up to here: kept as one stretch of {span}", line.size);
        line.size = span;
        notes.push(note(claim, true, what));
        return true;
    }
    false
}

/// A note where the end in the table is not `last`, the channel after the strings as laid.
fn stray_end(found: &Found, claim: &Claim, end: Option<&[u64]>, last: u64) -> Option<Note> {
    let last = last.checked_sub(1)?;
    let slots = found.universe_slots.each();
    let own = found.sizes.get(claim.table).map_or(slots, |size| size.each());
    let ends = format!(
        "ends at {} (channel {}) by its start and its size",
        found.universe_slots.place(last),
        last / slots * own + last % slots + 1
    );
    let board = board_of(found, claim).and_then(|at| found.boxes.get(at));
    let shift = u64::from(board.is_some_and(|board| board.from_zero));
    let universe = claim.end_universe.map(|universe| universe + shift);
    match end {
        Some(end) if !end.contains(&last) => {
            let start = claim.starts.first()?;
            let start = *channels(found, claim, start).first()?;
            let slots = (last + 1).checked_sub(start).filter(|_| claim.starts.len() == 1);
            let other = slots.and_then(|slots| (end.first()? + 1).checked_sub(slots));
            let other = other.map_or_else(String::new, |start| {
                format!(
                    ", and by this end and its size it starts at {}",
                    found.universe_slots.place(start)
                )
            });
            Some(note(claim, true, format!("{ends}{other}; this end is not kept")))
        }
        None if universe.is_some_and(|own| own != last / found.universe_slots.each() + 1) => {
            Some(note(claim, false, ends))
        }
        _ => None,
    }
}

/// Sizes strings of which the table gives only the total, by their starts and the last end.
fn uneven(found: &mut Found, claim: &Claim) {
    let Some(end) =
        claim.end.as_deref().and_then(|end| channels(found, claim, end).first().copied())
    else {
        return;
    };
    let starts = claim.starts.iter().map(|places| channels(found, claim, places).first().copied());
    let Some(starts) = starts.collect::<Option<Vec<u64>>>() else {
        return;
    };
    if starts.len() != claim.lines.len() || starts.len() < 2 {
        return;
    }
    let lines: Vec<&SheetLine> = found.lines_of(claim).collect();
    let total: u64 = lines.iter().map(|line| line.size).sum();
    let Some(first) = lines.first() else { return };
    let each = found.body(first).each;
    let mut order: Vec<usize> = (0..starts.len()).collect();
    order.sort_by_key(|at| starts.get(*at).copied());
    let at = |place: usize| order.get(place).and_then(|at| starts.get(*at)).copied().unwrap_or(0);
    let even_ends = laid(
        found,
        claim,
        order.last().map_or(0..0, |last| *last..last + 1),
        at(order.len() - 1),
        None,
    );
    if even_ends.last().is_some_and(|last| last.1 == end + 1) {
        return;
    }
    // Each goes on to where the next one starts; the last one to the end.
    let stops = (1..order.len()).map(at).chain([end + 1]);
    let mut sizes: Vec<u64> =
        stops.enumerate().map(|(place, stop)| stop.saturating_sub(at(place)) / each).collect();
    // What is free after a port is taken to be the same for all; the last one has nothing free.
    let room = sizes.iter().sum::<u64>().saturating_sub(total);
    if let Some((_, others)) = sizes.split_last_mut() {
        let each = room / others.len().max(1) as u64;
        for size in others {
            *size = size.saturating_sub(each);
        }
    }
    if sizes.iter().sum::<u64>() == total && sizes.iter().all(|size| *size > 0) {
        for (place, size) in order.iter().zip(sizes) {
            let line = claim.lines.get(*place).copied();
            if let Some(line) = line.and_then(|line| found.line_mut((claim.prop, line))) {
                line.size = size;
                line.strands = 0;
            }
        }
    }
}

/// The strings of each output in data order. An output is a controller, whether it is a DMX output,
/// and its number.
pub type Chains = BTreeMap<(usize, bool, u32), Vec<StringAt>>;

/// The strings of each output, by position, else by start, else by row.
pub fn chains(found: &Found) -> Chains {
    let mut chains = Chains::new();
    for (at, line) in found.lines() {
        let key = match (line.controller, line.output) {
            (Some(board), Some(Output::Pixel(number))) => (board, false, number),
            (Some(board), Some(Output::Dmx(number))) => (board, true, number),
            _ => continue,
        };
        chains.entry(key).or_default().push(at);
    }
    for chain in chains.values_mut() {
        let of = |at: &StringAt| found.line(*at);
        if chain.iter().all(|at| of(at).is_some_and(|line| line.position.is_some())) {
            chain.sort_by_key(|at| of(at).and_then(|line| line.position));
        } else if chain.iter().all(|at| of(at).is_some_and(|line| line.start.is_some())) {
            chain.sort_by_key(|at| of(at).and_then(|line| line.start));
        }
    }
    chains
}

/// Finds the controllers that need `addressing per prop`: a port of theirs is no unbroken range.
fn addressing(found: &mut Found) {
    let mut broken = Vec::new();
    for ((board, dmx, _), chain) in chains(found) {
        let mut at: Option<u64> = None;
        let mut known = false;
        for (prop, place) in &chain {
            let Some(line) = found.line((*prop, *place)) else {
                continue;
            };
            let grid = grid(found, Some(board), line, None);
            let start = line.start.or(at);
            let shared = line.same_as.is_some() && chain.len() > 1;
            let breaks = at.is_some_and(|at| {
                line.start.is_some_and(|start| grid.lay(at, found.body(line)).start != start)
            });
            // A string without an address would push the next one, which has an address, from its
            // place.
            let pushed = known && at.is_none() && line.start.is_some();
            if !dmx && (breaks || shared || pushed) {
                broken.push(board);
            }
            known = true;
            at = start.map(|start| grid.lay(start, found.body(line)).end);
        }
    }
    for board in broken {
        if let Some(board) = found.boxes.get_mut(board) {
            board.per_prop = true;
        }
    }
}
