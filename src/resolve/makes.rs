//! `display`, `chip` and `node`.

use super::like::Lineage;
use super::matching::{Reader, Value};
use super::settings::{Key, Scope};
use super::{settings_of, stated};
use crate::ast::{BlockKind, Ident};
use crate::chip::{BitTime, KNOWN, KnownChip, USUAL, known};
use crate::diagnostic::Sink;
use crate::diagnostic::words::nearest;
use crate::model::{Chip, ChipId, Display, Draw, Model, NodeKind, Prefer, Stated};
use crate::protocol::UniverseSlots;
use crate::rules;
use crate::source::Span;
use std::collections::HashMap;

/// The letters that a colour order may have.
const COLOURS: &str = "RGBWACYUL";

/// Reads the `display` statement.
pub fn display(reader: &Reader<'_, '_>, sink: &mut Sink) -> Display {
    let mut display = Display::default();
    let Some(block) = reader.names.displays.first() else {
        return display;
    };
    display.name = reader.names.said(block.name).into();
    display.at = Some(block.name.span);
    display.first_at = block.settings.first().map(|setting| setting.span);
    for set in settings_of(reader, Scope::Of(BlockKind::Display), &block.settings, sink) {
        let number = set.number(0);
        match set.key {
            Key::FrameRate => {
                display.frame_rate_mhz = number.unsigned_abs();
                display.frame_rate_at = Some(set.at());
            }
            Key::UniverseSlots => {
                display.universe_slots = UniverseSlots::new(count(number)).unwrap_or_default();
                display.universe_slots_at = Some(set.at());
            }
            Key::WholeNodes => {
                display.whole_nodes = true;
                display.whole_nodes_at = Some(set.at());
            }
            Key::Dim => display.dim = Some(stated(&set, count(number))),
            Key::SpareNodes => display.spare_nodes = count(number),
            Key::SpareUniverses => display.spare_universes = count(number),
            Key::Conductors => display.conductors_mc = number,
            Key::LeadOf => {
                if let Some(Value::Gauge(gauge)) = set.value(0) {
                    display.lead = Some(stated(&set, gauge));
                }
            }
            Key::Prefer => {
                let which = match set.value(0) {
                    Some(Value::Choice(which)) => Prefer::ALL.get(which).copied(),
                    _ => None,
                };
                display.prefer = which.map(|prefer| stated(&set, prefer));
            }
            _ => {}
        }
    }
    display
}

/// Whether the `display` statement has a setting that begins with a word, read or not.
pub fn says(reader: &Reader<'_, '_>, word: &str) -> bool {
    let settings = reader.names.displays.first().map(|block| block.settings.iter());
    settings.into_iter().flatten().any(|setting| reader.names.text(setting.key) == word)
}

/// A number as `u32`; 0 if it does not fit. Settings are within `u32` by their row of the table.
pub fn count(number: i64) -> u32 {
    u32::try_from(number).unwrap_or(0)
}

/// The chips of a display: those declared, and those known that something names.
pub struct Chips<'r, 'a> {
    /// Reads settings and names.
    pub reader: &'r Reader<'r, 'a>,
    by_name: HashMap<&'static str, ChipId>,
}

/// The settings of a chip, over those that it takes with `like`.
#[derive(Clone, Copy, Default)]
struct Said<'a> {
    /// The name after `like` at the beginning of its row of `like`; it may be a known chip.
    root: Option<&'a str>,
    bit: Option<BitTime>,
    latch_ns: Option<u64>,
    depth: Option<u8>,
    letter_bits: Option<u32>,
    header_bits: Option<u32>,
    floor_mv: Option<u32>,
}

/// Reads the `chip` statements.
pub fn chips<'r, 'a>(
    reader: &'r Reader<'r, 'a>,
    lineage: &Lineage<'_, '_>,
    model: &mut Model,
    sink: &mut Sink,
) -> Chips<'r, 'a> {
    let said = lineage.each(|_, row, like: Option<&Said<'_>>| {
        let mut said = like.copied().unwrap_or_default();
        if like.is_none() {
            said.root = row.block.like.map(|like| reader.names.text(like));
        }
        let scope = Scope::Of(BlockKind::Chip);
        for set in settings_of(reader, scope, &row.block.settings, sink) {
            let number = set.number(0);
            match set.key {
                // The rate is in millihertz, so a bit lasts 10^12 / rate nanoseconds.
                Key::Rate => {
                    said.bit = Some(BitTime {
                        nanoseconds: 1_000_000_000_000,
                        divisor: number.unsigned_abs().max(1),
                    });
                }
                Key::Latch => said.latch_ns = Some(number.unsigned_abs()),
                Key::Sends => said.letter_bits = Some(count(number)),
                Key::Header => said.header_bits = Some(count(number)),
                Key::Floor => said.floor_mv = Some(count(number)),
                Key::Depth if number == 8 || number == 16 => said.depth = Some(number as u8),
                Key::Depth => sink.push(rules::syntax::number::depth(set.at(), number)),
                _ => {}
            }
        }
        said
    });
    for (row, said) in lineage.table.rows.iter().zip(said) {
        // What is not set comes from the known chip that it is `like`, or else is named like.
        let base = said.root.and_then(known).or_else(|| known(&row.name));
        let base = known_beforehand(base.unwrap_or(&USUAL));
        model.chips.push(Chip {
            name: row.name.as_ref().into(),
            at: Some(row.block.name.span),
            bit: said.bit.or(base.bit),
            latch_ns: said.latch_ns.unwrap_or(base.latch_ns),
            depth: said.depth.unwrap_or(base.depth),
            letter_bits: said.letter_bits,
            header_bits: said.header_bits.unwrap_or(base.header_bits),
            floor_mv: said.floor_mv.unwrap_or(base.floor_mv),
            floor_told: said.floor_mv.is_some(),
            ..base
        });
    }
    Chips { reader, by_name: HashMap::new() }
}

/// A known chip, which no statement declares.
fn known_beforehand(row: &KnownChip) -> Chip {
    Chip {
        name: row.name.into(),
        at: None,
        bit: row.bit,
        latch_ns: row.latch_ns,
        depth: row.depth,
        extra_bits: row.extra_bits,
        letter_bits: None,
        header_bits: row.header_bits,
        tail_quarters: row.tail_quarters,
        floor_mv: row.floor_mv,
        floor_told: false,
    }
}

impl Chips<'_, '_> {
    /// The chip with a name, declared or known; an unknown one is reported. `letters` is how many
    /// letters the colour of the node has, if a node names it.
    pub fn find(
        &mut self,
        model: &mut Model,
        word: Ident,
        letters: Option<usize>,
        sink: &mut Sink,
    ) -> Option<ChipId> {
        let reader = self.reader;
        let key = reader.names.key(word);
        if let Some(index) = reader.names.chips.use_name(&key) {
            return Some(ChipId(index));
        }
        if let Some(row) = known(&key) {
            if let Some(id) = self.by_name.get(row.name) {
                return Some(*id);
            }
            let id = model.chips.push(known_beforehand(row));
            self.by_name.insert(row.name, id);
            return Some(id);
        }
        if !reader.names.is_mentioned(&key) {
            let near = near(reader, model, &key, letters);
            let near: Vec<&str> = near.iter().map(String::as_str).collect();
            sink.push(rules::name::unknown::chip(word.span, &key, &near));
        }
        None
    }
}

/// The chips that an unknown name may mean. For a node with this many letters: those with similar
/// names, if a node has the same number of slots with each. For a port, which has no letters: those
/// with similar names that some node uses.
fn near(
    reader: &Reader<'_, '_>,
    model: &Model,
    written: &str,
    letters: Option<usize>,
) -> Vec<String> {
    let declared = reader.names.chips.names();
    let Some(letters) = letters else {
        let used = model.nodes.iter().filter_map(|node| node.chip);
        let used = used.map(|told| &model.chips[told.value]);
        let near = nearest(written, used.map(|chip| &*chip.name));
        return near.into_iter().map(str::to_owned).collect();
    };
    let all = declared.chain(KNOWN.iter().map(|chip| chip.name));
    let near = nearest(written, all);
    // Slots of a node with these letters; `None` if the chip has another number of colours.
    let slots = |name: &&str| match known(name) {
        Some(chip) if chip.colours.is_some_and(|own| usize::from(own) != letters) => None,
        Some(chip) => Some(letters * usize::from(chip.depth / 8)),
        None => {
            let own = model.chips.iter().find(|chip| *chip.name == **name)?;
            Some(letters * usize::from(own.depth / 8))
        }
    };
    let width = near.first().and_then(slots);
    let alike = width.is_some() && near.iter().all(|name| slots(name) == width);
    near.into_iter().filter(|_| alike).map(str::to_owned).collect()
}

/// Reads the `node` statements.
pub fn nodes(
    reader: &Reader<'_, '_>,
    lineage: &Lineage<'_, '_>,
    chips: &mut Chips<'_, '_>,
    model: &mut Model,
    sink: &mut Sink,
) {
    let mut made = lineage.each(|_, row, like: Option<&NodeKind>| {
        let mut node =
            like.cloned().unwrap_or(NodeKind { colour: "RGB".into(), ..NodeKind::default() });
        let mut named: Option<(Ident, Span)> = None;
        node.name = row.name.as_ref().into();
        node.at = row.block.name.span;
        let scope = Scope::Of(BlockKind::Node);
        for set in settings_of(reader, scope, &row.block.settings, sink) {
            let number = set.number(0);
            match (set.key, set.value(0)) {
                (Key::Chip, Some(Value::Word(word))) => {
                    named = Some((word, set.at()));
                }
                (Key::Colour, Some(Value::Word(word))) => {
                    colour(reader.names.text(word), word.span, &mut node, sink);
                }
                (Key::Volts, _) => node.volts = Some(stated(&set, number)),
                (Key::DrawCurrent, _) => node.draw = Some(stated(&set, Draw::Current(number))),
                (Key::DrawPower, _) => node.draw = Some(stated(&set, Draw::Power(number))),
                (Key::Idle, _) => node.idle_ua = number,
                (Key::Floor, _) => node.floor = Some(stated(&set, number)),
                (Key::Pitch, _) => node.pitch_um = Some(stated(&set, number)),
                (Key::Gauge, Some(Value::Gauge(gauge))) => node.gauge = Some(stated(&set, gauge)),
                _ => {}
            }
        }
        if let Some((word, at)) = named {
            let letters = node.colour.chars().count();
            let chip = chips.find(model, word, Some(letters), sink);
            node.chip = chip.map(|value| Stated { value, at });
        }
        node
    });
    for node in &mut made {
        let letters = count(node.colour.chars().count() as i64);
        let chip = node.chip.map(|chip| &model.chips[chip.value]);
        let depth = chip.map_or(8, |chip| u32::from(chip.depth));
        let sent = chip.and_then(|chip| chip.letter_bits).unwrap_or(depth);
        node.slots = letters * (depth / 8);
        node.bits = letters * sent + chip.map_or(0, |chip| chip.extra_bits);
    }
    model.nodes = made.into();
}

fn colour(written: &str, span: Span, node: &mut NodeKind, sink: &mut Sink) {
    let upper = written.to_uppercase();
    let fits =
        (1..=8).contains(&upper.chars().count()) && upper.chars().all(|c| COLOURS.contains(c));
    if fits {
        node.colour = upper.into();
    } else {
        sink.push(rules::syntax::unexpected::colour(span, written));
    }
}
