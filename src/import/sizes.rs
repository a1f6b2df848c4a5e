//! How many slots of a universe a table uses: by words, by columns, or by where its boxes begin.

use super::cells::At;
use super::found::{Claim, Found, Said};
use super::places::board_of;
use super::{Grade, Note};
use crate::protocol::UniverseSlots;
use std::collections::{BTreeMap, BTreeSet};

/// The slots of 170 nodes of three, which is what many boxes send in a universe.
const WHOLE_NODES: u64 = 510;

/// The slots of a universe that words state: `510 to a universe`, `170 px (510 ch) per universe`,
/// `universe of 510`.
pub fn said(text: &str) -> Option<UniverseSlots> {
    const JOINTS: [&str; 10] = ["to", "a", "per", "in", "each", "every", "one", "the", "of", "an"];
    const UNITS: [&str; 8] =
        ["ch", "chs", "chan", "channel", "channels", "slot", "slots", "addresses"];
    const SAYS: [&str; 8] = ["of", "size", "is", "are", "has", "have", "with", "uses"];
    let lower = text.to_lowercase().replace('/', " per ");
    let parted = |c: char| !c.is_alphanumeric();
    let words: Vec<&str> = lower.split(parted).filter(|word| !word.is_empty()).collect();
    let is_universe =
        |word: &str| matches!(word, "uni" | "unis" | "univ" | "universe" | "universes");
    let size = |number: &str, unit: Option<&str>| -> Option<UniverseSlots> {
        let number: u32 = number.parse().ok()?;
        match unit {
            Some(unit) if UNITS.contains(&unit) => UniverseSlots::new(number),
            // 170 nodes of three slots, or 128 of four.
            Some("px" | "pixel" | "pixels" | "node" | "nodes" | "leds" | "lights") => {
                match number {
                    170 => UniverseSlots::new(510),
                    128 => Some(UniverseSlots::ALL),
                    _ => None,
                }
            }
            // A number below 256 without a unit counts something else.
            _ => UniverseSlots::new(number).filter(|size| size.get() >= 256),
        }
    };
    words.iter().enumerate().filter(|(_, word)| is_universe(word)).find_map(|(at, _)| {
        let (before, after) = words.split_at_checked(at)?;
        let mut before = before.iter().rev().skip_while(|word| JOINTS.contains(word)).copied();
        let last = before.next().unwrap_or("");
        // `510ch` is one word.
        let glued = last.trim_start_matches(|c: char| c.is_ascii_digit());
        let number = last.strip_suffix(glued).unwrap_or(last);
        let joined = at.checked_sub(1).and_then(|at| words.get(at));
        let joined = joined.is_some_and(|word| JOINTS.contains(word));
        let own = match (number.is_empty(), glued.is_empty()) {
            (true, _) => before.next().and_then(|number| size(number, Some(last))),
            (false, true) if joined => size(number, None),
            (false, true) => None,
            (false, false) => size(number, Some(glued)),
        };
        let mut after = after.iter().skip(1).copied();
        own.or_else(|| {
            let says = after.next().filter(|word| SAYS.contains(word))?;
            let number = after.find(|word| !SAYS.contains(word) && *word != says)?;
            size(number, None)
        })
    })
}

/// Decides how many slots a universe has, in the display and in the channels of each table. `given`
/// is the user's size, for tables that say no other and do not contradict it.
pub fn settle(
    found: &mut Found,
    claims: &[Claim],
    given: Option<UniverseSlots>,
    notes: &mut Vec<Note>,
) {
    let said = std::mem::take(&mut found.said);
    let mut sizes: Vec<Option<UniverseSlots>> = Vec::new();
    for table in 0..found.places.len() {
        let own: Vec<&Claim> =
            claims.iter().filter(|claim| claim.table == table && !claim.apart).collect();
        let size = by_words(&said, table, &own, notes);
        let general = || said.iter().find(|said| said.table.is_none()).map(|said| said.size);
        let shown =
            |size: &UniverseSlots| beyond(&own, *size).is_none() && !disproved(found, &own, *size);
        let asked = given.filter(|given| {
            let shown = shown(given);
            if size.is_none() && !shown {
                let place = found.places.get(table).cloned().unwrap_or_default();
                let what = format!(
                    "its universes have more than {} slots, so --universe-slots does not hold for it",
                    given.get()
                );
                notes.push(Note { place, ..Note::of_table(what, Grade::Noted) });
            }
            shown
        });
        let size = size.or(asked).or_else(|| general().filter(shown)).or_else(|| {
            let (what, grade, size) = by_starts(found, &own)?;
            let place = found.places.get(table).cloned().unwrap_or_default();
            notes.push(Note { place, ..Note::of_table(what, grade) });
            Some(size)
        });
        sizes.push(size);
    }
    let all: BTreeSet<u32> = sizes.iter().flatten().map(|size| size.get()).collect();
    let one = all.first().and_then(|size| UniverseSlots::new(*size)).filter(|_| all.len() == 1);
    let open = |claim: &&Claim| claim.apart || sizes.get(claim.table).is_none_or(Option::is_none);
    let open: Vec<&Claim> = claims.iter().filter(open).collect();
    let holds =
        |size: &UniverseSlots| beyond(&open, *size).is_none() && !disproved(found, &open, *size);
    let size = one.filter(holds).unwrap_or(UniverseSlots::ALL);
    found.universe_slots = size;
    found.sizes = sizes.into_iter().map(|own| own.unwrap_or(size)).collect();
    counted_otherwise(found, claims, notes);
}

/// Says which tables count channels by another size than the display.
fn counted_otherwise(found: &Found, claims: &[Claim], notes: &mut Vec<Note>) {
    let all = found.universe_slots;
    for (table, size) in found.sizes.iter().enumerate().filter(|(_, size)| **size != all) {
        let channel = |at: &At| matches!(at, At::Channel(_));
        let own = claims.iter().filter(|claim| claim.table == table);
        if own.flat_map(|claim| claim.starts.iter().flatten()).any(channel) {
            let what = format!(
                "its channels count {} to a universe and those of the display {}: universes and slots are the same, \
                 the numbers of channels are not",
                size.get(),
                all.get()
            );
            let place = found.places.get(table).cloned().unwrap_or_default();
            notes.push(Note { place, ..Note::of_table(what, Grade::Noted) });
        }
    }
}

/// The first claim that lies on a slot beyond a size.
fn beyond<'c>(claims: &[&'c Claim], size: UniverseSlots) -> Option<&'c Claim> {
    let lies = |at: &At| matches!(at, At::Slot(_, slot) if *slot > size.each());
    let any = |claim: &&&Claim| {
        claim.starts.iter().chain(&claim.end).any(|at| at.first().is_some_and(lies))
    };
    claims.iter().find(any).copied()
}

/// Whether the ends of more rows agree with whole universes than with a size.
fn disproved(found: &Found, claims: &[&Claim], size: UniverseSlots) -> bool {
    let ends = |size: UniverseSlots| {
        let fits = |claim: &&&Claim| ends_by(found, claim, size.each());
        claims.iter().filter(fits).count()
    };
    ends(UniverseSlots::ALL) > ends(size)
}

/// Whether a row with one start and an end, both universe and slot, ends where it would in
/// universes of a size.
fn ends_by(found: &Found, claim: &Claim, size: u64) -> bool {
    let ([starts], Some(ends)) = (claim.starts.as_slice(), &claim.end) else { return false };
    let [At::Slot(universe, slot)] = starts[..] else { return false };
    let lines = found.lines_of(claim);
    let slots: u64 = lines.map(|line| found.body(line).slots()).sum();
    let last = (universe * size + slot - 1 + slots).saturating_sub(1);
    ends.contains(&At::Slot(last / size, last % size + 1))
}

/// The size that a table states itself; what contradicts it is reported.
fn by_words(
    said: &[Said],
    table: usize,
    claims: &[&Claim],
    notes: &mut Vec<Note>,
) -> Option<UniverseSlots> {
    let all = || said.iter().filter(|said| said.table == Some(table));
    // Columns hold for every row, words may be about one of them.
    let own = all().find(|said| said.note.is_none()).or(all().next())?;
    let size = own.size;
    for other in all().filter(|other| other.size != size) {
        let what = format!(
            "says {} slots to a universe, where the table has {} elsewhere, which is taken",
            other.size.get(),
            size.get()
        );
        notes.extend(other.note.clone().map(|note| Note { what, grade: Grade::Wrong, ..note }));
    }
    let claim = beyond(claims, size);
    let (what, grade) = match claim {
        Some(claim) => {
            let words = format!(
                "says {} slots to a universe, but row {} lies beyond; 512 are taken",
                size.get(),
                claim.row
            );
            (words, Grade::Wrong)
        }
        None => {
            let words =
                format!("says that a universe has {} slots; it is read that way", size.get());
            (words, Grade::Noted)
        }
    };
    notes.extend(own.note.clone().map(|note| Note { what, grade, ..note }));
    Some(if claim.is_some() { UniverseSlots::ALL } else { size })
}

/// The size that follows from where the boxes of a table begin, if it has only channels.
fn by_starts(found: &Found, claims: &[&Claim]) -> Option<(String, Grade, UniverseSlots)> {
    let mut firsts: BTreeMap<Option<usize>, u64> = BTreeMap::new();
    let mut across = Vec::new();
    for claim in claims {
        for at in &claim.starts {
            let [At::Channel(channel)] = at.as_slice() else { return None };
            let start = channel.checked_sub(1)?;
            let first = firsts.entry(board_of(found, claim)).or_insert(start);
            *first = start.min(*first);
            if crosses(found, claim, start) {
                across.push(claim.row);
            }
        }
    }
    let begin = |slots: u64| firsts.values().all(|first| first.is_multiple_of(slots));
    let all = UniverseSlots::ALL;
    let beyond = firsts.values().any(|first| *first > 0);
    if begin(WHOLE_NODES) && beyond && !begin(all.each()) {
        let what = "its channels count 510 to a universe, since every box begins on such a one; it \
                    is read that way";
        return Some((what.to_owned(), Grade::Noted, UniverseSlots::new(510)?));
    }
    let first = across.first()?;
    let grade = if begin(all.each()) { Grade::Noted } else { Grade::Lost };
    let what = format!(
        "its channels are taken to count 512 to a universe, which cuts a node in {} of its rows, first in row {first}; \
         `--universe-slots 510` takes them otherwise",
        across.len()
    );
    Some((what, grade, all))
}

/// Whether a node of a claim would lie in two universes of 512 slots.
fn crosses(found: &Found, claim: &Claim, start: u64) -> bool {
    let mut at = start;
    found.lines_of(claim).any(|line| {
        let body = found.body(line);
        let (from, border) = (at, (at / 512 + 1) * 512);
        at += body.slots();
        border < at && line.make.is_some() && !(border - from).is_multiple_of(body.each.max(1))
    })
}

#[cfg(test)]
mod tests {
    use super::said;

    #[test]
    fn words_say_how_large_a_universe_is() {
        for (text, slots) in [
            ("absolute channels, 510 to a universe", Some(510)),
            ("170 px (510 ch) to a universe, never 512!", Some(510)),
            ("170 pixels per universe", Some(510)),
            ("500 channels/universe", Some(500)),
            ("the loft: ports 2 + 4 are dead. 510/uni", Some(510)),
            ("each universe has 510 slots", Some(510)),
            ("510ch universes", Some(510)),
            ("universe size: 480", Some(480)),
            ("box 2 is universe 101 up", None),
            ("IP 10.4.0.21 (universe 300 up)", None),
            ("8 ports to a universe", None),
            ("starts in universe 5", None),
            ("750 to a universe", None),
        ] {
            assert_eq!(said(text).map(|size| size.get()), slots, "{text}");
        }
    }
}
