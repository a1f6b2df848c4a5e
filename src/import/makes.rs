//! What nodes a table has: chip, colour order, voltage and slots of each.

use super::cells;
use super::names::lawful;
use crate::chip;
use std::collections::{BTreeMap, BTreeSet};

/// A make of node.
#[derive(Clone, PartialEq, Eq, Debug, Default)]
pub struct Make {
    /// Its lawful name.
    pub name: String,
    /// Its chip, by the name in the display; `None` where the table does not say it.
    pub chip: Option<String>,
    /// Whether the display must declare the chip.
    pub declared: bool,
    /// Bits a colour: 8 or 16.
    pub depth: u8,
    /// Its colour order.
    pub colour: String,
    /// Whether the table says the colour order.
    pub colour_said: bool,
    /// Its voltage in the language's words.
    pub volts: Option<String>,
    /// Slots of each node.
    pub slots: u64,
}

/// What the cells of a row gave.
pub struct Made {
    /// Which make, as an index; `None` where its slots are no whole number a node.
    pub make: Option<usize>,
    /// Whether the cells of chip, colour order and voltage were not understood.
    pub odd: [bool; 3],
    /// What does not fit together.
    pub clash: Option<String>,
}

/// The known chip of a text, whatever its case and dashes.
fn known(text: &str) -> Option<&'static chip::KnownChip> {
    let plain = |text: &str| -> String {
        let letters = text.chars().filter(|c| c.is_alphanumeric());
        letters.flat_map(char::to_lowercase).collect()
    };
    let text = plain(text);
    chip::KNOWN.iter().find(|chip| plain(chip.name) == text)
}

/// Whether a text may name a chip: letters and digits in one short word.
pub fn is_chip(text: &str) -> bool {
    let has = |is: fn(&char) -> bool| text.chars().any(|c| is(&c));
    let word = text.len() <= 16 && text.chars().all(|c| c.is_ascii_alphanumeric() || c == '-');
    known(text).is_some() || word && has(char::is_ascii_digit) && has(char::is_ascii_alphabetic)
}

/// The usual colour order with a number of letters.
fn usual(letters: u64) -> Option<&'static str> {
    let all = ["W", "WA", "RGB", "RGBW", "RGBWA", "RGBWAC"];
    usize::try_from(letters).ok().and_then(|at| all.get(at.checked_sub(1)?)).copied()
}

/// Finds or adds the make of a row. `texts` are its cells of make, chip, colour order and voltage;
/// `nodes` its nodes, with the number of props that share them; `slots` its slots, with whether its
/// end agrees with them.
pub fn of(
    texts: [Option<&str>; 4],
    (nodes, count): (u64, u64),
    slots: Option<(u64, bool)>,
    makes: &mut Vec<Make>,
) -> Made {
    let [name, chip, colour, volts] = texts;
    let row = chip.and_then(known);
    let named = chip.filter(|text| is_chip(text));
    let letters = colour.map(cells::colour);
    let voltage = volts.map(cells::volts);
    let odd = [chip.is_some() && named.is_none(), letters == Some(None), voltage == Some(None)];
    let (said, volts) = (letters.flatten(), voltage.flatten());
    let bytes = row.map_or(1, |chip| u64::from(chip.depth / 8));
    let own = said.as_ref().map(|letters| letters.len() as u64);
    let of_chip = row.and_then(|chip| chip.colours).map(u64::from);
    let expected = own.or(of_chip).unwrap_or(3) * bytes;
    let mut clash = None;
    let width = match slots {
        None => expected,
        Some((slots, sure)) => match each_of(slots, [nodes, nodes / count.max(1)], expected) {
            Some(each) => each,
            None => {
                let what = "channels are no whole number for each of";
                clash = Some(format!("{slots} {what} {nodes} nodes"));
                if sure {
                    return Made { make: None, odd, clash };
                }
                expected
            }
        },
    };
    let (letters, depth) = match own.or(of_chip) {
        Some(letters) if letters * bytes == width => (letters, bytes * 8),
        Some(letters) if letters * 2 == width && row.is_none() => (letters, 16),
        None if width == 6 || width == 8 => (width / 2, 16),
        None => (width, 8),
        Some(letters) => {
            clash = Some(format!(
                "{width} channels for each node, where {letters} colours take {}",
                letters * bytes
            ));
            (width, 8)
        }
    };
    if said.is_none() && usual(letters).is_none() {
        let what = format!("{width} channels for each node, and no colour order; taken as RGB");
        clash.get_or_insert(what);
    }
    let colour = match &said {
        Some(said) if said.len() as u64 == letters => said.clone(),
        _ => usual(letters).unwrap_or("RGB").to_owned(),
    };
    let (chip, declared) = chip_of(row, named, depth);
    let make = Make {
        name: String::new(),
        chip,
        declared,
        depth: u8::try_from(depth).unwrap_or(8),
        colour_said: said.as_ref() == Some(&colour),
        slots: colour.len() as u64 * depth / 8,
        colour,
        volts,
    };
    Made { make: Some(add(make, name, makes)), odd, clash }
}

/// Slots of each node of a row with `slots`, whose nodes are one of two counts: the expected number
/// if it comes out even, else 3 or 4, else the least that does.
fn each_of(slots: u64, nodes: [u64; 2], expected: u64) -> Option<u64> {
    let even = |nodes: u64| {
        let each = slots.checked_div(nodes).filter(|each| (1..=12).contains(each))?;
        (nodes * each == slots).then_some(each)
    };
    let all: BTreeSet<u64> = nodes.into_iter().filter_map(even).collect();
    let usual = || all.iter().find(|each| matches!(each, 3 | 4));
    all.get(&expected).or_else(usual).or(all.first()).copied()
}

/// The name of a chip with a depth, and whether the display must declare it: a known chip keeps its
/// name only with its own depth.
fn chip_of(
    known: Option<&chip::KnownChip>,
    named: Option<&str>,
    depth: u64,
) -> (Option<String>, bool) {
    match (known, named) {
        (Some(known), _) if u64::from(known.depth) == depth => (Some(known.name.to_owned()), false),
        (_, Some(text)) => (Some(lawful(text, "chip")), true),
        (_, None) if depth == 16 => (Some("pixel-16".to_owned()), true),
        (_, None) => (None, false),
    }
}

/// The index of a make, which is added if there is none like it.
pub fn add(mut make: Make, name: Option<&str>, makes: &mut Vec<Make>) -> usize {
    let base = match (name, &make.chip) {
        (Some(name), _) => lawful(name, "node"),
        (None, Some(chip)) => chip.clone(),
        (None, None) => "pixel".to_owned(),
    };
    let longer = format!("{base}-{}", make.colour.to_lowercase());
    let numbers = (2..).map(|number| format!("{longer}-{number}"));
    let known: BTreeMap<&str, usize> =
        makes.iter().zip(0..).map(|(known, at)| (known.name.as_str(), at)).collect();
    for name in [base, longer.clone()].into_iter().chain(numbers) {
        make.name = name;
        match known.get(make.name.as_str()).copied() {
            Some(at) if makes.get(at) == Some(&make) => return at,
            Some(_) => {}
            None => break,
        }
    }
    makes.push(make);
    makes.len() - 1
}
