//! How many slots of a universe a table uses: by its words, by its columns, or by where its boxes begin.

use super::cells::At;
use super::found::{Claim, Found};
use super::places::board_of;
use super::{Grade, Note};
use crate::protocol::UniverseSlots;
use std::collections::BTreeMap;

/// The slots of 170 nodes of three, which is what many boxes send in a universe.
const WHOLE_NODES: u64 = 510;

/// The slots of a universe that words name: `510 to a universe`, `170 px (510 ch) per universe`, `universe of 510`.
pub fn said(text: &str) -> Option<UniverseSlots> {
    const JOINTS: [&str; 10] = ["to", "a", "per", "in", "each", "every", "one", "the", "of", "an"];
    const UNITS: [&str; 8] =
        ["ch", "chs", "chan", "channel", "channels", "slot", "slots", "addresses"];
    const SAYS: [&str; 8] = ["of", "size", "is", "are", "has", "have", "with", "uses"];
    let lower = text.to_lowercase();
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
            // Without a unit, what is far below a whole universe counts something else.
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

/// Settles how many slots a universe has. `given` is the size that the user of `import` asked for.
pub fn settle(
    found: &mut Found,
    claims: &[Claim],
    given: Option<UniverseSlots>,
    notes: &mut Vec<Note>,
) {
    if let Some(size) = given {
        found.universe_slots = size;
        return;
    }
    let said = std::mem::take(&mut found.said);
    // Columns say it for every row, words may be about one of them.
    let Some((size, own)) = said.iter().find(|(_, note)| note.is_none()).or(said.first()) else {
        if let Some((what, grade, size)) = by_starts(found, claims) {
            found.universe_slots = size;
            notes.push(Note::of_table(what, grade));
        }
        return;
    };
    for (other, note) in said.iter().filter(|(other, _)| other != size) {
        let what = format!(
            "says {} slots to a universe, where the table has {} elsewhere, which is taken",
            other.get(),
            size.get()
        );
        notes.extend(note.clone().map(|note| Note { what, grade: Grade::Wrong, ..note }));
    }
    let lies = |at: &At| matches!(at, At::Slot(_, slot) if *slot > size.each());
    let beyond = claims
        .iter()
        .find(|claim| claim.starts.iter().chain(&claim.end).any(|at| at.first().is_some_and(lies)));
    let (what, grade) = match beyond {
        Some(claim) => {
            let words = format!(
                "says {} slots to a universe, but row {} lies beyond; 512 are taken",
                size.get(),
                claim.row
            );
            (words, Grade::Wrong)
        }
        None => {
            found.universe_slots = *size;
            let words =
                format!("says that a universe has {} slots: so has the display", size.get());
            (words, Grade::Told)
        }
    };
    notes.extend(own.clone().map(|note| Note { what, grade, ..note }));
}

/// What the channels at which the boxes of a table begin say, where it has channels and no universes.
fn by_starts(found: &Found, claims: &[Claim]) -> Option<(String, Grade, UniverseSlots)> {
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
        let what = "its channels count 510 to a universe, since every box begins on such a one: so \
                    does the display";
        return Some((what.to_owned(), Grade::Told, UniverseSlots::new(510)?));
    }
    let first = across.first()?;
    let grade = if begin(all.each()) { Grade::Told } else { Grade::Lost };
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
    claim.lines.iter().filter_map(|place| found.line(claim.prop, *place)).any(|line| {
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
