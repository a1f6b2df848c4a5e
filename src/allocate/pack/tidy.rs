//! The last step: groups exchange ports where that shortens leads, and ports are numbered in the
//! order of the display, what stands side by side as one block.
//!
//! Numbers change nothing that counts: a block moves only among ports that are alike, side by side
//! and at one place.
#![allow(clippy::indexing_slicing)] // every index is made in this module from the lengths beside it

use super::Order;
use super::state::{NONE, State};
use std::ops::Range;

/// For each group, at most this many that follow it by size are tried.
const REACH: usize = 200;

/// Exchanges the ports of groups with the same number of lines while that shortens leads. Returns
/// the steps used. As many ports stay in use, and as many groups stay whole and side by side.
pub fn nearer(state: &mut State<'_>, steps: u64) -> u64 {
    let field = state.field;
    if field.instance.order == Order::Even {
        return 0;
    }
    let homeless = |group: &usize| {
        field.lines[field.span[*group].clone()].iter().all(|line| line.home.is_none())
    };
    let mut groups: Vec<usize> = (0..field.span.len()).filter(homeless).collect();
    groups.sort_by_cached_key(|group| {
        let lines = field.lines[field.span[*group].clone()].iter();
        let sizes: Vec<(usize, u64)> = lines.map(|line| (line.class, line.size)).collect();
        (sizes.len(), sizes, *group)
    });
    let (mut used, mut lead) = (0, u64::MAX);
    while state.measure.lead < lead {
        lead = state.measure.lead;
        for (at, one) in groups.iter().enumerate() {
            if used >= steps {
                break;
            }
            let one = &field.span[*one];
            let others = groups[at + 1..].iter().map(|other| &field.span[*other]);
            for other in others.take_while(|other| other.len() == one.len()).take(REACH) {
                used += 4 * one.len() as u64;
                exchange(state, one, other);
            }
        }
    }
    used
}

/// Exchanges the ports of two groups, if that shortens leads and everything fits.
fn exchange(state: &mut State<'_>, one: &Range<usize>, other: &Range<usize>) {
    let field = state.field;
    let lines: Vec<usize> = one.clone().chain(other.clone()).collect();
    let was: Vec<u32> = lines.iter().map(|line| state.port_of[*line]).collect();
    let mut now = was.clone();
    now.rotate_left(one.len());
    let lead = |ports: &[u32]| {
        lines.iter().zip(ports).map(|(line, port)| field.lead(*line, *port)).sum::<u64>()
    };
    if lead(&now) >= lead(&was) {
        return;
    }
    lines.iter().for_each(|line| state.take(*line));
    let fits = lines.iter().zip(now).take_while(|(line, port)| {
        let fits = state.fits(**line, *port);
        if fits {
            state.place(**line, *port);
        }
        fits
    });
    let placed = fits.count();
    if placed < lines.len() {
        lines[..placed].iter().for_each(|line| state.take(*line));
        lines.iter().zip(was).for_each(|(line, port)| state.place(*line, port));
    }
}

/// Moves blocks of ports to the lowest numbers, those with the first lines first.
pub fn number(state: &mut State<'_>) {
    let field = state.field;
    let ports = field.instance.ports.len();
    let homes = field.lines.iter().any(|line| line.home.is_some());
    let mut from = 0;
    while from < ports {
        let mut to = from + 1;
        while to < ports && alike(state, to - 1, to) {
            to += 1;
        }
        let closed = !field.instance.ports[from].used && !field.instance.ports[from].kept;
        if closed && !homes {
            renumber(state, from, to);
        }
        from = to;
    }
}

/// Whether two ports side by side are alike.
fn alike(state: &State<'_>, one: usize, other: usize) -> bool {
    let (a, b) = (&state.field.instance.ports[one], &state.field.instance.ports[other]);
    state.field.neighbours(one as u32, other as u32)
        && (a.place, a.look, a.used, a.kept) == (b.place, b.look, b.used, b.kept)
        && a.slots == b.slots
}

/// Packs the blocks of a stretch of like ports towards its start.
fn renumber(state: &mut State<'_>, from: usize, to: usize) {
    let field = state.field;
    // A group that stands side by side ties its ports together, and to ports outside.
    let mut tied = vec![false; to - from + 1];
    for port in from..to {
        for &line in &state.hung[port].lines {
            let span = field.span[field.group[line as usize] as usize].clone();
            if span.len() < 2 || state.is_split(field.group[line as usize] as usize) {
                continue;
            }
            let ports = state.port_of[span].iter().map(|port| *port as usize);
            let (low, high) = (ports.clone().min(), ports.max());
            let (Some(low), Some(high)) = (low, high) else {
                continue;
            };
            for place in low.max(from)..=high.min(to - 1) {
                tied[place - from] |= place > low;
                tied[place + 1 - from] |= place < high;
            }
        }
    }
    // A block that reaches beyond the stretch stays, so all of the stretch does.
    if tied[0] || tied[to - from] {
        return;
    }
    let mut blocks: Vec<(u32, usize, usize)> = Vec::new();
    let mut port = from;
    while port < to {
        let mut end = port + 1;
        while end < to && tied[end - from] {
            end += 1;
        }
        let lines = (port..end).flat_map(|port| state.hung[port].lines.iter().copied());
        if let Some(first) = lines.min() {
            blocks.push((first, port, end));
        }
        port = end;
    }
    blocks.sort_unstable();
    let mut port_of = state.port_of.clone();
    let mut next = from;
    for (_, first, end) in blocks {
        for port in first..end {
            for &line in &state.hung[port].lines {
                port_of[line as usize] = (next + port - first) as u32;
            }
        }
        next += end - first;
    }
    debug_assert!(port_of.iter().all(|port| *port != NONE));
    state.put(&port_of);
}
