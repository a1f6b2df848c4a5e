//! Strings on the same slots, controllers on the same universes: what of it a display can keep.

use super::found::{Board, Found, SheetLine, StringAt};
use super::places::grid;
use super::{Grade, Note};
use crate::grid::Body;
use std::collections::{BTreeMap, BTreeSet};

/// A string with an address: its first channel, the channel after it, its row, and which it is.
type Lying = (u64, u64, usize, StringAt);

pub(super) fn lying(found: &Found) -> Vec<Lying> {
    let lines = found.lines().filter_map(|(at, line)| {
        let start = line.start?;
        let range = grid(found, line.controller, line, None).lay(start, found.body(line));
        Some((range.start, range.end, line.row, at))
    });
    lines.collect()
}

pub(super) fn about(found: &Found, at: StringAt, what: String) -> Note {
    let row = found.line(at).map(|line| line.row);
    let what = format!("`{}` {what}", found.name(at));
    Note { row, prop: Some(at.0), line: Some(at), ..Note::of_table(what, Grade::Wrong) }
}

/// Reports controllers with the host of another.
pub(super) fn shared_hosts(found: &Found, notes: &mut Vec<Note>) {
    let mut hosts: BTreeMap<&str, &Board> = BTreeMap::new();
    for board in &found.boxes {
        let Some(host) = board.host.as_deref() else { continue };
        let Some(first) = hosts.get(host) else {
            hosts.insert(host, board);
            continue;
        };
        let cell = first.host_cell.as_ref().and_then(|note| note.row);
        let row = cell.map_or_else(String::new, |row| format!(" (row {row})"));
        let what = format!("`{}` has this host, and so has `{}`{row}", board.name, first.name);
        notes.extend(board.host_cell.clone().map(|note| Note { what, ..note }));
    }
}

/// Finds ports that show a part of what another port shows. That port's string is cut there, and
/// they become `same as` the piece.
pub(super) fn mirrored(found: &mut Found, notes: &mut Vec<Note>) {
    let mut all = lying(found);
    all.sort_by_key(|(start, end, row, _)| (*start, u64::MAX - *end, *row));
    // The string that may hold the next ones: it starts no later and ends last so far.
    let mut holder: Option<Lying> = None;
    let mut cuts: BTreeMap<usize, Vec<u64>> = BTreeMap::new();
    let mut within: Vec<(usize, usize, u64)> = Vec::new();
    for (start, end, _, own_at) in all {
        let before = holder.filter(|before| before.1 >= end);
        if before.is_none() {
            holder = Some((start, end, 0, own_at));
        }
        let outer = before.and_then(|(from, to, _, at)| {
            let holds = from <= start && end <= to && (to - from) > (end - start);
            let (own, line) = (found.line(own_at)?, found.line(at)?);
            let alike = found.body(line).each == found.body(own).each && line.make.is_some();
            let first = nodes_before(found, line, from, start).filter(|_| holds && alike)?;
            (first + own.size <= line.size).then_some((at.0, first, first + own.size))
        });
        let Some((other, first, last)) = outer else { continue };
        cuts.entry(other).or_default().extend([first, last]);
        within.push((own_at.0, other, first));
    }
    for (prop, cuts) in &mut cuts {
        let Some(line) = found.line((*prop, (0, 0))) else { continue };
        cuts.extend([0, line.size]);
        cuts.sort_unstable();
        cuts.dedup();
        let pieces = pieces(found, line, cuts);
        if let Some(own) = found.props.get_mut(*prop) {
            own.members = vec![(1, pieces)];
        }
    }
    for (prop, other, at) in within {
        let piece = cuts.get(&other).and_then(|cuts| cuts.binary_search(&at).ok());
        let Some(piece) = piece.filter(|_| !cuts.contains_key(&prop)) else {
            continue;
        };
        let body = |line: &SheetLine| found.body(line);
        if found.line((prop, (0, 0))).map(body) != found.line((other, (0, piece))).map(body) {
            continue;
        }
        let name = found.name((other, (0, piece)));
        let what = format!("shows what a part of another port shows; written as `same as {name}`");
        notes.push(Note { grade: Grade::Noted, ..about(found, (prop, (0, 0)), what) });
        if let Some(line) = found.line_mut((prop, (0, 0))) {
            line.same_as = Some(name);
        }
    }
}

/// The parts of a string from each node of `cuts` to the next.
fn pieces(found: &Found, line: &SheetLine, cuts: &[u64]) -> Vec<SheetLine> {
    let grid = grid(found, line.controller, line, None);
    let each = found.body(line).each;
    let mut at = line.start.unwrap_or(0);
    let pieces = cuts.windows(2).filter_map(|pair| {
        let [from, to] = pair else { return None };
        let range = grid.lay(at, Body { nodes: to - from, each });
        at = range.end;
        let (size, start) = (to - from, Some(range.start));
        Some(SheetLine { size, start, strands: 0, ..line.clone() })
    });
    pieces.collect()
}

/// How many nodes of a string from `from` on lie before a channel; `None` if none starts there.
pub(super) fn nodes_before(
    found: &Found,
    line: &SheetLine,
    from: u64,
    channel: u64,
) -> Option<u64> {
    let grid = grid(found, line.controller, line, None);
    let each = found.body(line).each;
    let end = |nodes: u64| {
        if nodes == 0 { from } else { grid.lay(from, Body { nodes, each }).end }
    };
    let (mut least, mut most) = (0, line.size);
    while least < most {
        let middle = (least + most).div_ceil(2);
        if end(middle) <= channel {
            least = middle;
        } else {
            most = middle - 1;
        }
    }
    (grid.lay(end(least), Body { nodes: 1, each }).start == channel).then_some(least)
}

/// Strings that share a slot. Equal ones are written as `same as`, if a row says so, or if both are
/// on one port and in `ended` (the table gives their ends). Neither may be `stray` (its end
/// contradicts its start). Of others one loses its address.
pub(super) fn clashes(
    found: &mut Found,
    stray: &BTreeSet<StringAt>,
    ended: &BTreeSet<StringAt>,
    notes: &mut Vec<Note>,
) {
    let mut all = lying(found);
    all.sort_by_key(|(start, _, row, at)| (*start, *row, *at));
    let mut last: Option<Lying> = None;
    let mut first_of: BTreeMap<(u64, u64), Lying> = BTreeMap::new();
    for own in all {
        let (start, end, row, at) = own;
        let said = found.line(at).is_some_and(|line| line.same_as.is_some());
        let Some(before) = last.filter(|before| before.1 > start && !said) else {
            if !said && last.is_none_or(|before| end > before.1) {
                last = Some(own);
            }
            first_of.entry((start, end)).or_insert(own);
            continue;
        };
        let other = found.name(before.3);
        let same = first_of.get(&(start, end));
        if let Some(same) = same.filter(|same| show_same(found, same.3, at, (stray, ended))) {
            let name = found.name(same.3);
            let what =
                format!("lies where `{name}`, row {}, lies; written as `same as {name}`", same.2);
            notes.push(about(found, at, what));
            if let Some(line) = found.line_mut(at) {
                line.same_as = Some(name);
            }
            continue;
        }
        // The one that is not put up gives way, else the later row.
        let stored = |at| found.line(at).is_some_and(|line| line.stored);
        let gives_way = (stored(at), row) >= (stored(before.3), before.2);
        let (loser, holder, holder_row) =
            if gives_way { (at, other, before.2) } else { (before.3, found.name(at), row) };
        let shown = |start| found.universe_slots.place(start);
        let what = format!(
            "lies on slots of `{holder}`, row {holder_row}, from {} on; its address {} is not kept",
            shown(start),
            shown(if loser == at { start } else { before.0 }),
        );
        let grade = if stored(loser) { Grade::Lost } else { Grade::Wrong };
        notes.push(Note { grade, ..about(found, loser, what) });
        if let Some(line) = found.line_mut(loser) {
            line.start = None;
        }
        if loser == before.3 {
            last = Some(own);
        }
    }
}

/// Whether two strings on the same slots are meant to show the same data.
fn show_same(
    found: &Found,
    one: StringAt,
    two: StringAt,
    (stray, ended): (&BTreeSet<StringAt>, &BTreeSet<StringAt>),
) -> bool {
    let line = |of: StringAt| found.line(of).filter(|_| !stray.contains(&of));
    let Some((first, second)) = line(one).zip(line(two)) else { return false };
    let port = |line: &SheetLine| (line.controller, line.output);
    let ends = ended.contains(&one) && ended.contains(&two);
    let meant = first.mirrors || second.mirrors || ends && port(first) == port(second);
    meant && found.body(first) == found.body(second)
}

/// Two controllers on one universe: the later one's strings lose their addresses there.
pub(super) fn shared_universes(found: &mut Found, notes: &mut Vec<Note>) {
    let mut all = lying(found);
    // What is not put up gives way.
    let stored = |at| found.line(at).is_some_and(|line| line.stored);
    all.sort_by_key(|(start, _, row, at)| (stored(*at), *row, *at, *start));
    let slots = found.universe_slots.each();
    let mut owners: BTreeMap<u64, (Option<usize>, usize)> = BTreeMap::new();
    for (start, end, row, at) in all {
        let line = found.line(at);
        let Some((board, same)) = line.map(|line| (line.controller, line.same_as.is_some())) else {
            continue;
        };
        if same {
            continue;
        }
        let universes = start / slots..=(end - 1) / slots;
        let taken = universes.clone().find_map(|universe| {
            let (owner, row) = owners.get(&universe).filter(|(owner, _)| *owner != board)?;
            Some((universe + 1, *owner, *row))
        });
        let Some((universe, owner, other)) = taken else {
            for universe in universes {
                owners.entry(universe).or_insert((board, row));
            }
            continue;
        };
        let name = |board: Option<usize>| {
            board
                .and_then(|at| found.boxes.get(at))
                .map_or("another controller", |board| board.name.as_str())
        };
        let what = format!(
            "lies in universe {universe}, which is `{}`'s too (row {other}), and two controllers can't share one: its address {} \
             is not kept; give `{}` universes of its own, or put both on one controller",
            name(owner),
            found.universe_slots.place(start),
            name(board),
        );
        notes.push(about(found, at, what));
        if let Some(line) = found.line_mut(at) {
            line.start = None;
        }
    }
}
