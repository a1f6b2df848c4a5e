//! Which strings are on which outputs, as `wire` statements with the shortest references.

use super::found::{Found, SheetProp, StringAt};
use super::places::chains;
use super::write::{Hubs, WIDTH};
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// The most chains in one wire, since the length of a statement is limited.
const MOST_CHAINS: usize = 1_000;

pub(super) fn wires(found: &Found, hubs: &Hubs, out: &mut String) {
    let chains = chains(found);
    let mut free: BTreeMap<Option<usize>, Vec<StringAt>> = BTreeMap::new();
    for (at, line) in found.lines().filter(|(.., line)| line.output.is_none()) {
        free.entry(line.controller).or_default().push(at);
    }
    let mut open = |board: Option<usize>, name: &str, out: &mut String| {
        let free = free.remove(&board).unwrap_or_default();
        for some in open_chains(found, &free).chunks(MOST_CHAINS) {
            wire(&format!("wire {name}:"), some, ",", out);
        }
    };
    for (at, board) in found.boxes.iter().enumerate() {
        out.push('\n');
        for ((_, dmx, number), chain) in chains.range((at, false, 0)..(at + 1, false, 0)) {
            // Each receiver of a daisy chain has a wire of its own.
            let hub = |at: &StringAt| {
                let (receiver, port) = found.line(*at)?.receiver?;
                hubs.contains_key(&receiver).then_some((receiver, port))
            };
            let dmx = if *dmx { "dmx" } else { "" };
            for part in chain.chunk_by(|a, b| hub(a) == hub(b)) {
                let target = match part.first().and_then(hub) {
                    Some((receiver, port)) => format!(
                        "{}.{port}",
                        found.receivers.get(receiver).map_or("", String::as_str)
                    ),
                    None => format!("{}.{dmx}{number}", board.name),
                };
                wire(&format!("wire {target}:"), &items(found, part), " ->", out);
            }
        }
        open(Some(at), &board.name, out);
    }
    let homeless = found.lines().any(|(.., line)| line.controller.is_none());
    if homeless {
        out.push_str("\n# fill in: what hangs where; until then the compiler picks\n");
    }
    open(None, "any", out);
    let stored: Vec<StringAt> =
        found.lines().filter(|(.., line)| line.stored).map(|(at, _)| at).collect();
    if !stored.is_empty() {
        let plain: Vec<String> = groups(found, &stored, false);
        out.push('\n');
        wire("stored", &plain, ",", out);
    }
}

/// What is on one line, in order: strings, nodes that show nothing, leads.
pub(super) fn items(found: &Found, chain: &[StringAt]) -> Vec<String> {
    let mut items = Vec::new();
    for part in chain.chunk_by(|_, next| before(found, next).is_empty()) {
        items.extend(part.first().map(|at| before(found, at)).into_iter().flatten());
        items.extend(groups(found, part, false));
    }
    items
}

/// What stands before a string on its line: nodes that show nothing, a lead.
fn before(found: &Found, at: &StringAt) -> Vec<String> {
    let line = found.line(*at);
    let skip = line.filter(|line| line.skip > 0).map(|line| format!("skip {}", line.skip));
    let lead = line.and_then(|line| line.lead.as_ref()).map(|lead| format!("lead {lead}"));
    skip.into_iter().chain(lead).collect()
}

/// Strings whose ports are open, as chains; one with something before it is a chain of its own.
fn open_chains(found: &Found, free: &[StringAt]) -> Vec<String> {
    let mut chains = Vec::new();
    let plain = |at: &StringAt| before(found, at).is_empty();
    for part in free.chunk_by(|at, next| plain(at) && plain(next)) {
        let own = groups(found, part, true);
        let ahead = part.first().map(|at| before(found, at)).unwrap_or_default();
        match ahead.is_empty() {
            true => chains.extend(own),
            false => chains.push(ahead.into_iter().chain(own).collect::<Vec<_>>().join(" -> ")),
        }
    }
    chains
}

/// Strings as references, neighbours joined. Where ports are `open`, only whole props and members
/// are joined, since each reference is placed by itself.
pub(super) fn groups(found: &Found, chain: &[StringAt], open: bool) -> Vec<String> {
    let mut out = Vec::new();
    let mut rest = chain;
    while let Some((at, _)) = rest.split_first() {
        let Some(prop) = found.props.get(at.0) else {
            break;
        };
        let all = prop.members.iter().enumerate().flat_map(|(member, (_, lines))| {
            (0..lines.len()).map(move |string| (at.0, (member, string)))
        });
        let first = at.1 == (0, 0);
        let whole: Vec<StringAt> = all.take(if first { usize::MAX } else { 0 }).collect();
        let strings = |member: usize| prop.members.get(member).map_or(1, |(_, lines)| lines.len());
        let of_member =
            |member: usize| (0..strings(member)).map(move |string| (at.0, (member, string)));
        let take = if !whole.is_empty() && rest.starts_with(&whole) {
            out.push(prop.name.clone());
            whole.len()
        } else if prop.family && rest.starts_with(&of_member(at.1.0).collect::<Vec<_>>()) {
            // Whole members, rising or falling.
            let follows = |step: isize| {
                let (mut last, mut length) = (at.1.0, strings(at.1.0));
                while let Some(next) =
                    last.checked_add_signed(step).filter(|next| *next < prop.members.len())
                {
                    let own: Vec<StringAt> = of_member(next).collect();
                    if !rest.get(length..).is_some_and(|rest| rest.starts_with(&own)) {
                        break;
                    }
                    (last, length) = (next, length + own.len());
                }
                (last, length)
            };
            let (last, length) = [follows(1), follows(-1)]
                .into_iter()
                .max_by_key(|(_, length)| *length)
                .unwrap_or((at.1.0, 1));
            out.push(match last == at.1.0 {
                true => found_name(prop, at.1.0, None),
                false => format!("{}[{}..{}]", prop.name, at.1.0 + 1, last + 1),
            });
            length
        } else {
            let member = at.1.0;
            let mut length = 1;
            while !open && rest.get(length) == Some(&(at.0, (member, at.1.1 + length))) {
                length += 1;
            }
            let first = at.1.1 + 1;
            let strings = if length > 1 {
                format!("{first}..{}", first + length - 1)
            } else {
                first.to_string()
            };
            out.push(found_name(prop, member, Some(strings)));
            length
        };
        rest = rest.get(take..).unwrap_or(&[]);
    }
    out
}

pub(super) fn found_name(prop: &SheetProp, member: usize, strings: Option<String>) -> String {
    let member = if prop.family { format!("[{}]", member + 1) } else { String::new() };
    let strings = strings.map_or_else(String::new, |strings| format!(".{strings}"));
    format!("{}{member}{strings}", prop.name)
}

/// A wire, over several lines where one would be too long.
pub(super) fn wire(head: &str, items: &[String], joint: &str, out: &mut String) {
    if items.is_empty() {
        return;
    }
    let mut line = head.to_owned();
    for (at, item) in items.iter().enumerate() {
        let joint = if at + 1 < items.len() { joint } else { "" };
        let width = line.chars().count() + 1 + item.chars().count() + joint.len();
        if width > WIDTH && at > 0 {
            let _ = writeln!(out, "{line}");
            line = format!("    {item}{joint}");
        } else {
            let _ = write!(line, " {item}{joint}");
        }
    }
    let _ = writeln!(out, "{line}");
}
