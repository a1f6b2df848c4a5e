//! What a lock says of set-up: the words of a row after `slots`, and the lines of controllers.

use super::read::{count, is_name, number};
use crate::lock::{FULL, Made, SetUp};
use crate::model::Addressing;
use crate::protocol::{Input, UNIVERSES};
use crate::source::Span;
use serde::Deserialize;
use std::collections::BTreeMap;

/// The words that a row may have after its slots.
pub(super) const WORDS: [&str; 10] =
    ["nodes", "each", "colour", "chip", "dark", "within", "place", "level", "stored", "moved"];

/// What a row says after its slots.
#[derive(Default)]
pub(super) struct RowTail {
    pub made: Option<Made>,
    pub stored: bool,
    pub moved: Option<Box<str>>,
}

/// What the words of a row after `slots` say, or the word that is wrong. Where the nodes need more
/// than the row's slots, an older program changed the slots alone: then `made` is `None`.
pub(super) fn row_tail(words: &[(String, String)], slots: u64) -> Result<RowTail, &str> {
    let mut made = Made::default();
    let mut told = RowTail::default();
    for (word, value) in words {
        let target = match word.as_str() {
            "nodes" => &mut made.nodes,
            "each" => &mut made.each,
            "dark" => &mut made.dark,
            "within" => &mut made.within,
            "place" => &mut made.place,
            "level" => {
                made.level = Some(level(value).ok_or(word.as_str())?);
                continue;
            }
            "stored" if value == "true" => {
                told.stored = true;
                continue;
            }
            "colour" if !value.is_empty() && value.bytes().all(|c| c.is_ascii_uppercase()) => {
                made.colour = value.as_str().into();
                continue;
            }
            "chip" if is_name(value) => {
                made.chip = value.as_str().into();
                continue;
            }
            "moved" => {
                told.moved = Some(value.as_str().into());
                continue;
            }
            _ => return Err(word),
        };
        *target = count(value).ok_or(word.as_str())?;
    }
    if words.iter().all(|(word, _)| ["stored", "moved"].contains(&word.as_str())) {
        return Ok(told);
    }
    if made.nodes == 0 || made.each == 0 || made.colour.is_empty() {
        return Err(words.first().map_or("", |(word, _)| word.as_str()));
    }
    let fits = u64::from(made.nodes) * u64::from(made.each) <= slots;
    told.made = fits.then_some(made);
    Ok(told)
}

/// A level in percent with at most three decimals, in thousandths.
fn level(text: &str) -> Option<u32> {
    let (whole, part) = text.split_once('.').unwrap_or((text, "0"));
    let part = Some(part).filter(|part| (1..=3).contains(&part.len()))?;
    let level = number(whole)?.checked_mul(1_000)?;
    let level = level.checked_add(number(&format!("{part:0<3}"))?)?;
    (level <= FULL).then_some(level)
}

/// The line of a controller as it is written.
#[derive(Deserialize)]
pub(super) struct BoxDoc {
    pub name: String,
    host: String,
    input: String,
    first: u32,
    universes: u32,
    addressing: String,
    from: Option<u32>,
    universe_slots: Option<u32>,
    #[serde(default)]
    whole_nodes: bool,
    priority: Option<u32>,
    sync: Option<u32>,
    level: Option<serde_json::Number>,
    #[serde(flatten)]
    pub more: BTreeMap<String, serde_json::Value>,
}

impl BoxDoc {
    pub fn is_sound(&self) -> bool {
        let addressing = [Addressing::PerPort, Addressing::Consecutive, Addressing::PerProp];
        let universe = |number: &u32| UNIVERSES.contains(number);
        is_name(&self.name)
            && Input::find(&self.input).is_some()
            && addressing.iter().any(|one| one.words() == self.addressing)
            && (self.first == 0 || universe(&self.first))
            && self.from.iter().all(universe)
            && self.universes <= *UNIVERSES.end()
            && self.universe_slots.is_none_or(|slots| (1..=512).contains(&slots))
            && self.sync.iter().all(universe)
            && self.level.as_ref().is_none_or(|text| level(&text.to_string()).is_some())
            && self.priority.is_none_or(|priority| priority <= 200)
    }

    pub fn set_up(self, universe_slots: u32, at: Span) -> SetUp {
        SetUp {
            name: self.name.into(),
            host: self.host.into(),
            input: self.input.into(),
            first: self.first,
            universes: self.universes,
            addressing: self.addressing.into(),
            from: self.from,
            slots: self.universe_slots.unwrap_or(universe_slots),
            whole: self.whole_nodes,
            priority: self.priority,
            sync: self.sync,
            level: self.level.and_then(|text| level(&text.to_string())),
            at,
        }
    }
}
