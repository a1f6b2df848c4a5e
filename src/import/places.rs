//! Where a table says that its strings lie: what each address means, whether they agree, and how the display must
//! address its controllers so that all of them hold.

use super::cells::At;
use super::rows::{Board, Claim, Found, Line};
use super::{Grade, Note};
use crate::grid::{Body, Grid};
use crate::model::Output;
use std::collections::BTreeMap;

/// Universes that E1.31 has (ANSI E1.31-2018, 6.2.7).
const MOST_UNIVERSE: u64 = 63_999;

/// Settles every address of a table. Whether it has any.
pub fn settle(found: &mut Found, notes: &mut Vec<Note>) -> bool {
    if found.claims.is_empty() {
        return false;
    }
    let claims = std::mem::take(&mut found.claims);
    count_from_zero(found, &claims, notes);
    layouts(found, &claims);
    for claim in &claims {
        assign(found, claim, notes);
    }
    if found.of_ports {
        mirrored(found, notes);
    }
    clashes(found, notes);
    shared_universes(found, notes);
    addressing(found);
    found.lines().any(|(.., line)| line.start.is_some())
}

fn note(claim: &Claim, end: bool, what: String) -> Note {
    let [start, last] = &claim.texts;
    let (column, text) = if end { last } else { start };
    Note {
        row: Some(claim.row),
        column: column.clone(),
        text: text.clone(),
        what,
        grade: Grade::Lost,
        prop: Some(claim.prop),
    }
}

/// The controller of a claim's first string.
fn board_of(found: &Found, claim: &Claim) -> Option<usize> {
    found.line(claim.prop, *claim.lines.first()?)?.controller
}

/// Controllers that the table counts from universe 0 get one universe more, as the language counts them.
fn count_from_zero(found: &mut Found, claims: &[Claim], notes: &mut Vec<Note>) {
    for claim in claims {
        let zero = claim
            .starts
            .iter()
            .flatten()
            .any(|at| matches!(at, At::Slot(0, _)));
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
        notes.push(Note {
            grade: Grade::Told,
            ..note(claim, false, what)
        });
    }
}

/// Channels from 0 that a place may mean.
fn channels(found: &Found, board: Option<usize>, places: &[At]) -> Vec<u64> {
    let slots = found.universe_slots.each();
    let shift = u64::from(
        board
            .and_then(|at| found.boxes.get(at))
            .is_some_and(|board| board.from_zero),
    );
    let one = |at: &At| match at {
        At::Slot(universe, slot) => {
            let universe = universe + shift;
            let lawful = (1..=MOST_UNIVERSE).contains(&universe) && (1..=slots).contains(slot);
            lawful.then(|| (universe - 1) * slots + slot - 1)
        }
        At::Channel(channel) => {
            let channel = channel
                .checked_sub(1)
                .filter(|channel| channel / slots < MOST_UNIVERSE)?;
            Some(channel + shift * slots)
        }
    };
    places.iter().filter_map(one).collect()
}

/// How a controller fills its universes, as the table has it.
fn grid(found: &Found, board: Option<usize>, line: &Line, whole: Option<bool>) -> Grid {
    let own = board
        .and_then(|at| found.boxes.get(at))
        .is_some_and(|board| board.whole);
    let pixels = line.make.is_some();
    Grid::new(found.universe_slots, pixels && whole.unwrap_or(own))
}

/// Starts and ends of a claim's strings, laid one after another from a channel.
fn laid(
    found: &Found,
    claim: &Claim,
    range: std::ops::Range<usize>,
    from: u64,
    whole: Option<bool>,
) -> Vec<(u64, u64)> {
    let board = board_of(found, claim);
    let mut at = from;
    let lines = claim.lines.get(range).unwrap_or(&[]).iter();
    let lines = lines.filter_map(|place| found.line(claim.prop, *place));
    lines
        .map(|line| {
            let range = grid(found, board, line, whole).lay(at, found.body(line));
            at = range.end;
            (range.start, range.end)
        })
        .collect()
}

/// Finds for each controller whether its nodes stay whole at the end of a universe: what more of its ends agree with.
fn layouts(found: &mut Found, claims: &[Claim]) {
    let mut score: BTreeMap<usize, [u64; 2]> = BTreeMap::new();
    let mut ends: BTreeMap<(usize, Option<Output>), Vec<[u64; 2]>> = BTreeMap::new();
    let mut starts: BTreeMap<usize, Vec<u64>> = BTreeMap::new();
    for claim in claims {
        let Some(board) = board_of(found, claim) else {
            continue;
        };
        let [places] = claim.starts.as_slice() else {
            continue;
        };
        let [start] = channels(found, Some(board), places)[..] else {
            continue;
        };
        let all = 0..claim.lines.len();
        let by_whole = [false, true].map(|whole| {
            laid(found, claim, all.clone(), start, Some(whole))
                .last()
                .map_or(start, |last| last.1)
        });
        starts.entry(board).or_default().push(start);
        let output = claim
            .lines
            .first()
            .and_then(|line| found.line(claim.prop, *line)?.output);
        ends.entry((board, output)).or_default().push(by_whole);
        let end = claim
            .end
            .as_deref()
            .map(|end| channels(found, Some(board), end));
        for (score, own) in score.entry(board).or_default().iter_mut().zip(by_whole) {
            *score += u64::from(
                end.as_ref()
                    .is_some_and(|end| end.contains(&(own.saturating_sub(1)))),
            );
        }
    }
    // Where no end tells, the start of what comes next on the port does.
    let slots = found.universe_slots.each();
    for ((board, _), ends) in ends {
        let Some(starts) = starts.get_mut(&board) else {
            continue;
        };
        starts.sort_unstable();
        let Some(score) = score.get_mut(&board) else {
            continue;
        };
        for [plain, whole] in ends {
            let at = |channel: &u64| starts.binary_search(channel).is_ok();
            let next = whole.next_multiple_of(slots);
            score[0] += u64::from(at(&plain));
            score[1] += u64::from(at(&whole) || next - whole < 12 && at(&next));
        }
    }
    for (board, [plain, whole]) in score {
        if let Some(board) = found.boxes.get_mut(board) {
            board.whole = whole > plain;
        }
    }
}

/// Gives the strings of a claim their starts, and says what does not agree.
fn assign(found: &mut Found, claim: &Claim, notes: &mut Vec<Note>) {
    let board = board_of(found, claim);
    let (count, parts) = (claim.lines.len(), claim.starts.len());
    if count == 0 || !count.is_multiple_of(parts) {
        notes.push(note(
            claim,
            false,
            format!("{parts} addresses for {count} strings; not kept"),
        ));
        return;
    }
    uneven(found, claim);
    let share = count / parts;
    let end = claim.end.as_deref().map(|end| channels(found, board, end));
    let mut last = 0;
    for (part, places) in claim.starts.iter().enumerate() {
        let range = part * share..(part + 1) * share;
        let all = channels(found, board, places);
        let ends = |start: &u64| {
            laid(found, claim, range.clone(), *start, None)
                .last()
                .map_or(*start, |last| last.1)
        };
        let by_end = all.iter().find(|start| {
            parts == 1
                && end
                    .as_ref()
                    .is_some_and(|end| end.contains(&(ends(start) - 1)))
        });
        let by_channel = claim.channel.and_then(|channel| {
            channels(found, board, &[At::Channel(channel)])
                .first()
                .copied()
        });
        let agreed = by_channel.filter(|channel| all.contains(channel));
        let start = match (by_end, agreed, all.as_slice()) {
            (Some(start), ..) => *start,
            (None, Some(start), _) => start,
            (None, None, [start]) => *start,
            (None, None, [start, ..]) => {
                let slots = found.universe_slots.each();
                let more: Vec<String> = all
                    .iter()
                    .skip(1)
                    .map(|at| format!("{}/{}", at / slots + 1, at % slots + 1))
                    .collect();
                let what = format!(
                    "taken as {}/{}; it may mean {} too",
                    start / slots + 1,
                    start % slots + 1,
                    more.join(" or ")
                );
                notes.push(note(claim, false, what));
                *start
            }
            (None, None, []) => {
                notes.push(note(
                    claim,
                    false,
                    "no universe and slot that there are; not kept".to_owned(),
                ));
                continue;
            }
        };
        if by_channel.is_some_and(|channel| !all.contains(&channel)) {
            let what = format!(
                "is not channel {}, which the row says too; the channel is not kept",
                claim.channel.unwrap_or(0)
            );
            notes.push(note(claim, false, what));
        }
        let ranges = laid(found, claim, range.clone(), start, None);
        for (place, (start, end)) in claim.lines.get(range).unwrap_or(&[]).iter().zip(ranges) {
            if let Some(line) = found.line_mut(claim.prop, *place) {
                line.start = Some(start);
            }
            last = last.max(end);
        }
    }
    let place = claim.lines.first().copied().unwrap_or_default();
    if let (true, Some([end])) = (found.of_ports, end.as_deref())
        && let Some(line) = found.line_mut(claim.prop, place)
        && let Some(span) = line.start.and_then(|start| (end + 1).checked_sub(start))
        && line.make.is_none()
        && span > line.size
    {
        let what = format!(
            "{} slots lie apart up to here: kept as one stretch of {span}",
            line.size
        );
        line.size = span;
        notes.push(note(claim, true, what));
        return;
    }
    let slots = found.universe_slots.each();
    let shown = |channel: u64| {
        format!(
            "{}/{} (channel {})",
            channel / slots + 1,
            channel % slots + 1,
            channel + 1
        )
    };
    let shift = u64::from(
        board
            .and_then(|at| found.boxes.get(at))
            .is_some_and(|board| board.from_zero),
    );
    let universe = claim.end_universe.map(|universe| universe + shift);
    match end {
        Some(end) if last > 0 && !end.contains(&(last - 1)) => {
            let what = format!(
                "ends at {} by its start and its size; this end is not kept",
                shown(last - 1)
            );
            notes.push(note(claim, true, what));
        }
        None if last > 0 && universe.is_some_and(|universe| universe != (last - 1) / slots + 1) => {
            let what = format!("ends at {} by its start and its size", shown(last - 1));
            notes.push(note(claim, false, what));
        }
        _ => {}
    }
}

/// Sizes strings that the table gives only together, by where each of them starts and the last one ends.
fn uneven(found: &mut Found, claim: &Claim) {
    let board = board_of(found, claim);
    let Some(end) = claim
        .end
        .as_deref()
        .and_then(|end| channels(found, board, end).first().copied())
    else {
        return;
    };
    let starts = claim
        .starts
        .iter()
        .map(|places| channels(found, board, places).first().copied());
    let Some(starts) = starts.collect::<Option<Vec<u64>>>() else {
        return;
    };
    if starts.len() != claim.lines.len() || starts.len() < 2 {
        return;
    }
    let lines: Vec<&Line> = claim
        .lines
        .iter()
        .filter_map(|place| found.line(claim.prop, *place))
        .collect();
    let total: u64 = lines.iter().map(|line| line.size).sum();
    let Some(first) = lines.first() else { return };
    let each = found.body(first).each;
    let mut order: Vec<usize> = (0..starts.len()).collect();
    order.sort_by_key(|at| starts.get(*at).copied());
    let at = |place: usize| {
        order
            .get(place)
            .and_then(|at| starts.get(*at))
            .copied()
            .unwrap_or(0)
    };
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
    let sizes: Vec<u64> = stops
        .enumerate()
        .map(|(place, stop)| stop.saturating_sub(at(place)) / each)
        .collect();
    let mut sizes = sizes;
    if sizes.iter().sum::<u64>() != total && sizes.len() == 2 {
        if let [first, last] = sizes.as_mut_slice() {
            *first = total.saturating_sub(*last);
        }
    }
    if sizes.iter().sum::<u64>() == total && sizes.iter().all(|size| *size > 0) {
        for (place, size) in order.iter().zip(sizes) {
            let line = claim.lines.get(*place).copied();
            if let Some(line) = line.and_then(|line| found.line_mut(claim.prop, line)) {
                line.size = size;
                line.strands = 0;
            }
        }
    }
}

/// A string that lies somewhere: its stretch, its row, and which it is.
type Lying = (u64, u64, usize, (usize, (usize, usize)));

fn lying(found: &Found) -> Vec<Lying> {
    let lines = found.lines().filter_map(|(prop, place, line)| {
        let start = line.start?;
        let range = grid(found, line.controller, line, None).lay(start, found.body(line));
        Some((range.start, range.end, line.row, (prop, place)))
    });
    lines.collect()
}

fn about(found: &Found, (prop, place): (usize, (usize, usize)), what: String) -> Note {
    let row = found.line(prop, place).map(|line| line.row);
    Note {
        row,
        column: String::new(),
        text: found.name(prop, place),
        what,
        grade: Grade::Lost,
        prop: Some(prop),
    }
}

/// Ports that show a part of what another port shows: that port's stretch is cut there, and they are `same as` its part.
fn mirrored(found: &mut Found, notes: &mut Vec<Note>) {
    let all = lying(found);
    let mut cuts: BTreeMap<usize, Vec<u64>> = BTreeMap::new();
    let mut within: Vec<(usize, usize, u64)> = Vec::new();
    for (start, end, _, (prop, place)) in &all {
        let outer = all.iter().find_map(|(from, to, _, (other, at))| {
            let holds = from <= start && end <= to && (to - from) > (end - start);
            let (own, line) = (found.line(*prop, *place)?, found.line(*other, *at)?);
            let alike = found.body(line).each == found.body(own).each && line.make.is_some();
            let first = nodes_before(found, line, *from, *start).filter(|_| holds && alike)?;
            (first + own.size <= line.size).then_some((*other, first, first + own.size))
        });
        let Some((other, first, last)) = outer else {
            continue;
        };
        cuts.entry(other).or_default().extend([first, last]);
        within.push((*prop, other, first));
    }
    for (prop, cuts) in &mut cuts {
        let Some(line) = found.line(*prop, (0, 0)).cloned() else {
            continue;
        };
        let grid = grid(found, line.controller, &line, None);
        let each = found.body(&line).each;
        cuts.extend([0, line.size]);
        cuts.sort_unstable();
        cuts.dedup();
        let mut at = line.start.unwrap_or(0);
        let pieces = cuts.windows(2).filter_map(|pair| {
            let [from, to] = pair else { return None };
            let range = grid.lay(
                at,
                Body {
                    nodes: to - from,
                    each,
                },
            );
            at = range.end;
            Some(Line {
                size: to - from,
                start: Some(range.start),
                strands: 0,
                ..line.clone()
            })
        });
        let pieces: Vec<Line> = pieces.collect();
        if let Some(own) = found.props.get_mut(*prop) {
            own.members = vec![(1, pieces)];
        }
    }
    for (prop, other, at) in within {
        let piece = cuts
            .get(&other)
            .and_then(|cuts| cuts.binary_search(&at).ok());
        let Some(piece) = piece.filter(|_| !cuts.contains_key(&prop)) else {
            continue;
        };
        let body = |line: &Line| found.body(line);
        if found.line(prop, (0, 0)).map(body) != found.line(other, (0, piece)).map(body) {
            continue;
        }
        let name = found.name(other, (0, piece));
        let what = format!("shows what a part of another port shows; written as `same as {name}`");
        notes.push(Note {
            grade: Grade::Told,
            ..about(found, (prop, (0, 0)), what)
        });
        if let Some(line) = found.line_mut(prop, (0, 0)) {
            line.same_as = Some(name);
        }
    }
}

/// How many nodes of a string that starts at `from` lie before a channel where its next node starts.
fn nodes_before(found: &Found, line: &Line, from: u64, channel: u64) -> Option<u64> {
    let grid = grid(found, line.controller, line, None);
    let each = found.body(line).each;
    let end = |nodes: u64| {
        if nodes == 0 {
            from
        } else {
            grid.lay(from, Body { nodes, each }).end
        }
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

/// Two strings on one slot: equal ones show the same data, of others the later one loses its address.
fn clashes(found: &mut Found, notes: &mut Vec<Note>) {
    let mut all = lying(found);
    all.sort_by_key(|(start, _, row, at)| (*start, *row, *at));
    let mut last: Option<Lying> = None;
    let mut first_of: BTreeMap<(u64, u64), Lying> = BTreeMap::new();
    for own in all {
        let (start, end, row, (prop, place)) = own;
        let said = found
            .line(prop, place)
            .is_some_and(|line| line.same_as.is_some());
        let Some(before) = last.filter(|before| before.1 > start && !said) else {
            if !said && last.is_none_or(|before| end > before.1) {
                last = Some(own);
            }
            first_of.entry((start, end)).or_insert(own);
            continue;
        };
        let other = found.name(before.3.0, before.3.1);
        let same = first_of.get(&(start, end)).filter(|same| {
            let body = |of: &Lying| found.line(of.3.0, of.3.1).map(|line| found.body(line));
            body(same) == body(&own)
        });
        if let Some(same) = same {
            let name = found.name(same.3.0, same.3.1);
            let what = format!(
                "lies where `{name}` of row {} lies; written as `same as {name}`",
                same.2
            );
            notes.push(about(found, own.3, what));
            if let Some(line) = found.line_mut(prop, place) {
                line.same_as = Some(name);
            }
            continue;
        }
        // Of two that clash the later row gives way.
        let (loser, holder, holder_row) = if row >= before.2 {
            (own.3, other, before.2)
        } else {
            (before.3, found.name(prop, place), row)
        };
        let slots = found.universe_slots.each();
        let what = format!(
            "lies on slots of `{holder}`, row {holder_row}, from {}/{} on; its address is not kept",
            start / slots + 1,
            start % slots + 1
        );
        notes.push(about(found, loser, what));
        if let Some(line) = found.line_mut(loser.0, loser.1) {
            line.start = None;
        }
        if loser == before.3 {
            last = Some(own);
        }
    }
}

/// Two controllers on one universe: the later one's strings lose their addresses there.
fn shared_universes(found: &mut Found, notes: &mut Vec<Note>) {
    let mut all = lying(found);
    all.sort_by_key(|(start, _, row, at)| (*row, *at, *start));
    let slots = found.universe_slots.each();
    let mut owners: BTreeMap<u64, (Option<usize>, usize)> = BTreeMap::new();
    for (start, end, row, (prop, place)) in all {
        let line = found.line(prop, place);
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
            "universe {universe} is `{}`'s too (row {other}), and two controllers can't share one: its address is not kept; give \
             `{}` universes of its own, or put both on one controller",
            name(owner),
            name(board),
        );
        notes.push(about(found, (prop, place), what));
        if let Some(line) = found.line_mut(prop, place) {
            line.start = None;
        }
    }
}

/// The strings of each output in the order of its cable.
pub fn chains(found: &Found) -> BTreeMap<(usize, bool, u32), Vec<(usize, (usize, usize))>> {
    let mut chains: BTreeMap<(usize, bool, u32), Vec<(usize, (usize, usize))>> = BTreeMap::new();
    for (prop, place, line) in found.lines() {
        let key = match (line.controller, line.output) {
            (Some(board), Some(Output::Pixel(number))) => (board, false, number),
            (Some(board), Some(Output::Dmx(number))) => (board, true, number),
            _ => continue,
        };
        chains.entry(key).or_default().push((prop, place));
    }
    for chain in chains.values_mut() {
        let of = |at: &(usize, (usize, usize))| found.line(at.0, at.1);
        if chain
            .iter()
            .all(|at| of(at).is_some_and(|line| line.position.is_some()))
        {
            chain.sort_by_key(|at| of(at).and_then(|line| line.position));
        } else if chain
            .iter()
            .all(|at| of(at).is_some_and(|line| line.start.is_some()))
        {
            chain.sort_by_key(|at| of(at).and_then(|line| line.start));
        }
    }
    chains
}

/// Finds which controllers give each string a start of its own: those with a port that is no unbroken range.
fn addressing(found: &mut Found) {
    let mut broken = Vec::new();
    for ((board, dmx, _), chain) in chains(found) {
        let mut at: Option<u64> = None;
        let mut known = false;
        for (prop, place) in &chain {
            let Some(line) = found.line(*prop, *place) else {
                continue;
            };
            let grid = grid(found, Some(board), line, None);
            let start = line.start.or(at);
            let shared = line.same_as.is_some() && chain.len() > 1;
            let breaks = at.is_some_and(|at| {
                line.start
                    .is_some_and(|start| grid.lay(at, found.body(line)).start != start)
            });
            // A string without an address before one with an address would push that one away.
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
            let Board { per_prop, .. } = board;
            *per_prop = true;
        }
    }
}
