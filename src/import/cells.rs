//! What people write into a cell: numbers with units, multiples, ports, addresses, lengths.

use super::names::lawful;
use super::places::MOST_UNIVERSE;
use crate::model::Output;

/// The largest number of a port; a larger one is taken for a slip.
const MOST_PORT: u64 = 1_024;
/// The most ports or addresses of one cell.
const MOST_LISTED: usize = 4_096;
/// The most bytes of a cell of ports; a workbook allows no more letters.
const MOST_BYTES: usize = 32_767;
/// The most letters of a box that stands before its ports.
const MOST_LETTERS: usize = 200;

/// Words that count nodes or the like, as they stand after a number.
const UNITS: &[&str] = &[
    "", "px", "pixels", "pixel", "nodes", "node", "leds", "led", "lights", "light", "bulbs",
    "bulb", "lamps", "pcs", "pc", "pieces", "stk", "x", "each", "strings", "string", "ch",
    "channels", "channel", "slots", "slot", "chan", "chs",
];

/// A whole number as people and spreadsheets write it: `1,200`, `1 200`, `50.0`, `50 px`.
pub fn whole(text: &str) -> Option<u64> {
    let digits = text.trim_start_matches(['#', '~']).trim_start();
    let end = digits.find(|c: char| c.is_alphabetic()).unwrap_or(digits.len());
    let (number, unit) = digits.split_at_checked(end)?;
    let unit = unit.trim().trim_end_matches('.').to_lowercase();
    if !UNITS.contains(&unit.as_str()) {
        return None;
    }
    let number = number.trim();
    let number = number.strip_suffix(".0").or_else(|| number.strip_suffix(".00")).unwrap_or(number);
    let mut groups = number.split([',', ' ', '_', '\'', '.', '\u{a0}', '\u{202f}']);
    let first = groups.next()?;
    let mut value: u64 = digits_of(first)?;
    for group in groups {
        if group.len() != 3 || first.len() > 3 {
            return None;
        }
        value = value.checked_mul(1_000)?.checked_add(digits_of(group)?)?;
    }
    u32::try_from(value).ok().map(u64::from)
}

/// A number in digits. It has at most 32 bits, so that what is counted with it fits 64.
fn digits_of(text: &str) -> Option<u64> {
    let plain = !text.is_empty() && text.bytes().all(|byte| byte.is_ascii_digit());
    plain.then(|| text.parse::<u32>().ok()).flatten().map(u64::from)
}

/// Which of several a cell names: `2`, `2 of 6`, `2/6`.
pub fn nth(text: &str) -> Option<u64> {
    let parts = text.split_once(" of ").or_else(|| text.split_once('/'));
    match parts.map(|(own, all)| (digits_of(own.trim()), digits_of(all.trim()))) {
        Some((Some(own), Some(all))) => Some(own).filter(|own| (1..=all).contains(own)),
        Some(_) => None,
        None => whole(text),
    }
}

/// A number that is not sure or has words after it: `80 ish`, `30 rgbw (x4)`, `≈50`.
pub fn rough(text: &str) -> Option<u64> {
    let text = text.trim_start_matches(['≈', '~', '±', ' ']);
    let text = ["approx.", "approx", "about", "circa", "ca.", "ca"]
        .iter()
        .find_map(|word| text.strip_prefix(word))
        .unwrap_or(text)
        .trim_start();
    let end = text.find(|c: char| !(c.is_ascii_digit() || c == ',')).unwrap_or(text.len());
    let (number, rest) = text.split_at_checked(end)?;
    // `4 x` begins another form, `12.5` is no count.
    let next = rest.trim_start().chars().next();
    let words = next.is_none_or(|c| c.is_alphabetic() && c != 'x' || matches!(c, '(' | '-' | '?'));
    words.then(|| whole(number)).flatten()
}

/// The slots of one node that words beside a count say: `60 (4 ch!)`, `30 rgbw (x4)`.
pub fn width(text: &str) -> Option<u64> {
    let lower = text.to_lowercase();
    let words: Vec<&str> =
        lower.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).collect();
    let after = words.get(1..)?.iter().enumerate();
    let mut found = after.filter_map(|(at, word)| {
        let next = words.get(at + 2).copied().unwrap_or("");
        let channels = ["ch", "chan", "channels", "slots"].contains(&next);
        let number = word.strip_prefix('x').or(word.strip_suffix("ch"));
        let number = number.or(channels.then_some(*word)).and_then(digits_of);
        let letters = colour(word).filter(|letters| letters.contains("RGB") && letters.len() > 2);
        number.or(letters.map(|letters| letters.len() as u64)).filter(|width| *width <= 12)
    });
    found.next()
}

/// A number of equal pieces: `16x50`, `16 × 50 px`, `2 of 25`, `4 strands of 28`.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct Multiple {
    /// How many.
    pub count: u64,
    /// How much each has.
    pub each: u64,
    /// Whether the cell calls the pieces strands; `Some(false)` for strings, `None` for neither.
    pub strands: Option<bool>,
}

/// Reads a multiple.
pub fn multiple(text: &str) -> Option<Multiple> {
    let lower = text.to_lowercase();
    let marks = ["×", "*", " of ", " à ", " @ "];
    let by_mark = marks.iter().find_map(|mark| lower.split_once(mark));
    let (before, each) = by_mark.or_else(|| {
        let at = lower.find('x').filter(|at| *at > 0)?;
        let (before, rest) = lower.split_at_checked(at)?;
        let rest = rest.strip_prefix('x')?;
        let digit = |c: Option<char>| c.is_some_and(|c| c.is_ascii_digit());
        let parted =
            digit(before.trim_end().chars().last()) && digit(rest.trim_start().chars().next());
        parted.then_some((before, rest))
    })?;
    let before = before.trim();
    let (count, strands) = match before.split_once(' ') {
        Some((count, word)) if word.starts_with("strand") || word.starts_with("row") => {
            (count, Some(true))
        }
        Some((count, word)) if word.starts_with("string") => (count, Some(false)),
        Some(_) => return None,
        None => (before, None),
    };
    let (count, each) = (digits_of(count)?, whole(each.trim())?);
    (count > 0 && each > 0 && count <= 100_000).then_some(Multiple { count, each, strands })
}

/// An output as a cell names it, with the controller where the cell says that too.
pub type SheetPort = (Option<String>, Output);

/// Ports of a cell: `3`, `port 3`, `P3`, `hut.3`, `old barn / 3`, `3-6`, `3,4`, `3 & 4`, `dmx1`.
/// `None` where it is none of these.
pub fn ports(text: &str) -> Option<Vec<SheetPort>> {
    let of_box = |(at, mark): (usize, &str)| {
        let (name, rest) = (text.get(..at)?.trim(), text.get(at + mark.len()..)?);
        let is_name = name.chars().any(char::is_alphabetic) && !name.ends_with(['/', '-', '|']);
        let is_name = is_name && output(&format!("{name} 1")).is_none();
        let all = Some(rest).filter(|_| is_name).and_then(listed)?;
        let bare = all.iter().all(|(name, _)| name.is_none());
        let named = all.into_iter().map(|(_, output)| (Some(name.to_owned()), output));
        bare.then(|| named.collect())
    };
    let marks = text.match_indices(['/', '-', '|', '#', ' ']);
    let mut marks = marks.take_while(|(at, _)| *at <= MOST_LETTERS);
    listed(text).or_else(|| marks.find_map(of_box))
}

/// Ports of a cell that begins with the name of a known box: `DL3`, `pond 5-6`. `None` where it
/// begins with none, or can be split in several ways.
pub fn ports_of_box(text: &str, known: &dyn Fn(&str) -> bool) -> Option<Vec<SheetPort>> {
    let mut all = text.char_indices().skip(1).take(MOST_LETTERS).filter_map(|(at, first)| {
        let (name, rest) = text.split_at_checked(at)?;
        let ports = Some(rest).filter(|_| first.is_ascii_digit() && known(name));
        let ports = ports.and_then(listed)?;
        let bare = ports.iter().all(|(name, _)| name.is_none());
        bare.then(|| {
            ports.into_iter().map(|(_, port)| (Some(name.trim().to_owned()), port)).collect()
        })
    });
    all.next().filter(|_| all.next().is_none())
}

/// A list of ports and ranges of ports.
fn listed(text: &str) -> Option<Vec<SheetPort>> {
    if text.len() > MOST_BYTES {
        return None;
    }
    // A spreadsheet may write a whole number so.
    let text = text.strip_suffix(".0").unwrap_or(text);
    let plain = text.replace("..", "-").replace(" to ", "-").replace(['–', '—'], "-");
    let plain = plain.replace(" and ", "&");
    let mut all = Vec::new();
    let mut before: Option<String> = None;
    let parted = |c: char| matches!(c, ',' | ';' | '&' | '+' | '/' | '\n');
    let numbers = plain.chars().all(|c| c.is_ascii_digit() || parted(c) || c == ' ');
    let by_blank = numbers || plain.contains(['.', ':']);
    for part in plain.split(|c: char| parted(c) || by_blank && c == ' ') {
        let part = part.trim();
        if part.is_empty() {
            continue;
        }
        // `hut.3` and `hut:3` name the controller.
        let (name, own) = match part.rsplit_once([':', '.']) {
            Some((name, own)) if name.chars().any(char::is_alphabetic) => {
                (Some(name.trim().to_owned()), own)
            }
            _ => (None, part),
        };
        before = name.or(before.filter(|_| own == part));
        let (from, to) = match own.split_once('-') {
            None => (output(own)?, output(own)?),
            // The end of a range may leave out its word: `dmx1-2`.
            Some((from, to)) => match (output(from)?, output(to)?) {
                (Output::Dmx(from), Output::Pixel(to)) => (Output::Dmx(from), Output::Dmx(to)),
                both => both,
            },
        };
        let (make, from, to): (fn(u32) -> Output, u32, u32) = match (from, to) {
            (Output::Pixel(from), Output::Pixel(to)) => (Output::Pixel, from, to),
            (Output::Dmx(from), Output::Dmx(to)) => (Output::Dmx, from, to),
            _ => return None,
        };
        if from > to || all.len() > MOST_LISTED {
            return None;
        }
        all.extend((from..=to).map(|number| (before.clone(), make(number))));
    }
    (!all.is_empty()).then_some(all)
}

/// One output: `3`, `port 3`, `#3`, `dmx 1`, `DMX`.
fn output(text: &str) -> Option<Output> {
    let lower = text.trim().to_lowercase();
    let lower = lower.trim_start_matches(['#', ' ']);
    let words = ["ports", "port", "outputs", "output", "out", "plug", "pixel", "p", "#"];
    let dmx = lower.strip_prefix("dmx");
    let rest = dmx.unwrap_or_else(|| {
        let found = words.iter().find_map(|word| lower.strip_prefix(word));
        found.unwrap_or(lower)
    });
    let rest = rest.trim_start_matches(['#', ' ', '.', '-']);
    if dmx.is_some() && rest.is_empty() {
        return Some(Output::Dmx(1));
    }
    let number = digits_of(rest).filter(|number| (1..=MOST_PORT).contains(number))?;
    let number = u32::try_from(number).ok()?;
    Some(if dmx.is_some() { Output::Dmx(number) } else { Output::Pixel(number) })
}

/// A place among the slots.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum At {
    /// Universe and slot.
    Slot(u64, u64),
    /// A channel, from 1.
    Channel(u64),
}

/// The addresses of a cell: all places that each may mean, and those of its end if it is a range.
pub type Spots = Vec<(Vec<At>, Option<Vec<At>>)>;

/// Reads addresses. `cut` says that zeros at the end of a decimal may be lost, `channel` that the
/// column is of channels, where a point or a comma separates thousands.
pub fn spots(text: &str, channel: bool, cut: bool) -> Option<Spots> {
    let plain = text.to_lowercase();
    // `410-1` is no range, since it goes down: it is universe and slot.
    let falls = |(from, to): &(&str, &str)| {
        let numbers = digits_of(from.trim()).zip(digits_of(to.trim()));
        numbers.is_some_and(|(from, to)| from > to)
    };
    let plain = match plain.split_once('-').filter(falls) {
        Some((universe, slot)) => format!("{universe}/{slot}"),
        None => plain,
    };
    let plain = plain.replace("..", "–").replace(" to ", "–").replace([';', '&', '\n'], "|");
    // `1/1, 1/151` is a list, `12,307` one address.
    let plain = plain.replace(", ", "|");
    let one = |text: &str| spot(text.trim(), channel, cut);
    let range = |text: &str| {
        let (from, to) = match text.split_once(['–', '—']).or_else(|| text.split_once('-')) {
            Some((from, to)) => (from, Some(to)),
            None => (text, None),
        };
        let from = one(from)?;
        let to = match to {
            Some(to) => Some(one(to)?),
            None => None,
        };
        // `12/307-456` ends in the universe in which it starts.
        let to = to.map(|to| match (from.as_slice(), to.as_slice()) {
            ([At::Slot(universe, _)], [At::Channel(slot)]) => vec![At::Slot(*universe, *slot)],
            _ => to,
        });
        Some((from, to))
    };
    let parts: Vec<&str> =
        plain.split('|').map(str::trim).filter(|part| !part.is_empty()).collect();
    let read = |parts: &[&str]| -> Option<Spots> { parts.iter().map(|part| range(part)).collect() };
    let read = read(&parts).or_else(|| {
        // A list with only blanks between its entries: `1/1 1/151`.
        let words: Vec<&str> = plain.split([' ', '|']).filter(|word| !word.is_empty()).collect();
        let each = words.iter().all(|word| word.contains(['/', ':', '.']));
        (each && words.len() > 1).then(|| read(&words)).flatten()
    });
    read.filter(|all| !all.is_empty() && all.len() <= MOST_LISTED)
}

/// The universe and slot in one cell, and the end if it has one: `75/1`, `U75 ch 1`, `93 / 1-6`.
pub fn whole_address(text: &str) -> Option<(At, Option<At>)> {
    let marked = text.contains(['/', ':', '.']) || text.contains(char::is_alphabetic);
    let spots = spots(text, false, false).filter(|_| marked)?;
    let one = |places: &[At]| match places {
        [at @ At::Slot(..)] => Some(*at),
        _ => None,
    };
    match spots.as_slice() {
        [(from, None)] => Some((one(from)?, None)),
        [(from, Some(to))] => Some((one(from)?, Some(one(to)?))),
        _ => None,
    }
}

fn spot(text: &str, channel: bool, cut: bool) -> Option<Vec<At>> {
    const WORDS: [&str; 12] = [
        "universe", "univ", "uni", "u", "slots", "slot", "s", "channel", "chan", "ch", "c",
        "address",
    ];
    let mut numbers: Vec<&str> = Vec::new();
    let mut marks = String::new();
    let mut rest = text;
    while !rest.is_empty() {
        let digits = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
        let (number, after) = rest.split_at_checked(digits)?;
        if !number.is_empty() {
            numbers.push(number);
        }
        let mark = after.find(|c: char| c.is_ascii_digit()).unwrap_or(after.len());
        let (between, after) = after.split_at_checked(mark)?;
        let known = |word: &str| word.is_empty() || WORDS.contains(&word);
        let parts = |c: char| matches!(c, '/' | ':' | '.' | ',' | ' ' | '#' | '=' | '\u{a0}');
        if !between.split(parts).all(known) {
            return None;
        }
        if numbers.len() == 1 && !after.is_empty() {
            between.trim().clone_into(&mut marks);
        }
        rest = after;
    }
    match numbers.as_slice() {
        [one] => {
            let value = digits_of(one)?;
            (value > 0).then(|| vec![At::Channel(value)])
        }
        [universe, slot] => {
            let pair = (digits_of(universe)?, digits_of(slot)?);
            let group = slot.len() == 3 && universe.len() <= 3 && pair.0 > 0;
            let thousands = group.then(|| At::Channel(pair.0 * 1_000 + pair.1));
            let plain = (1..=512).contains(&pair.1).then_some(At::Slot(pair.0, pair.1));
            let both = match marks.as_str() {
                "." | "," if channel => thousands.into_iter().collect::<Vec<_>>(),
                "," => plain.into_iter().chain(thousands).collect(),
                "." if cut => {
                    let longer = [1, 10, 100].map(|by| pair.1.saturating_mul(by));
                    let most = 3_usize.saturating_sub(slot.len());
                    let all =
                        longer.into_iter().take(most + 1).filter(|slot| (1..=512).contains(slot));
                    all.map(|slot| At::Slot(pair.0, slot)).collect()
                }
                // Either a slot filled up with zeros, or a number with a mark for thousands.
                "." if slot.starts_with('0') => plain.into_iter().chain(thousands).collect(),
                "" => return None,
                _ => plain.into_iter().collect(),
            };
            (!both.is_empty()).then_some(both)
        }
        _ => None,
    }
}

/// Universes of a cell: `12`, `U12`, `12-13`.
pub fn universes(text: &str) -> Option<(u64, Option<u64>)> {
    let lower =
        text.to_lowercase().replace("..", "-").replace(['–', '—'], "-").replace(" to ", "-");
    let one = |text: &str| {
        let text = text.trim();
        let words = ["universe", "univ", "uni", "u", "#"];
        let text = words.iter().find_map(|word| text.strip_prefix(word)).unwrap_or(text);
        let text = text.trim_start_matches([' ', '.', '#']);
        let number = digits_of(text.strip_suffix(".0").unwrap_or(text));
        number.filter(|number| *number <= MOST_UNIVERSE)
    };
    match lower.split_once('-') {
        None => Some((one(&lower)?, None)),
        Some((from, to)) => Some((one(from)?, Some(one(to)?))),
    }
}

/// A length in the language's words: `2.5 m`. A cell without a unit has the heading's `unit`.
pub fn length(text: &str, unit: &str) -> Option<String> {
    measure(text, unit, &["mm", "cm", "m", "in", "ft"])
}

/// A voltage in the language's words: `12 V`.
pub fn volts(text: &str) -> Option<String> {
    let plain = text.trim().trim_end_matches("DC").trim_end_matches("dc").trim();
    measure(plain, "v", &["v"]).map(|words| words.replace('v', "V"))
}

/// A decimal with one of some units; `unit` is that of a cell without one.
fn measure(text: &str, unit: &str, units: &[&str]) -> Option<String> {
    let lower = text.trim().to_lowercase();
    let end = lower
        .find(|c: char| !(c.is_ascii_digit() || matches!(c, '.' | ',')))
        .unwrap_or(lower.len());
    let (number, own) = lower.split_at_checked(end)?;
    let own = own.trim().trim_end_matches('.');
    let own = if own.is_empty() { unit } else { own };
    let own = match own {
        "metre" | "meter" | "metres" | "meters" => "m",
        "volt" | "volts" => "v",
        "feet" | "foot" | "'" => "ft",
        "inch" | "inches" | "\"" => "in",
        other => other,
    };
    // Only short units are counted by the thousand: `1,200 mm` is no length of 1.2 mm.
    let group = number.split_once(',').and_then(|(_, rest)| rest.split('.').next());
    let by_thousand = matches!(own, "mm" | "cm" | "in") && group.is_some_and(|own| own.len() == 3);
    let number = number.replace(',', if by_thousand { "" } else { "." });
    let (whole, part) = number.split_once('.').unwrap_or((&number, ""));
    let plain = digits_of(whole).is_some_and(|value| value < 1_000_000)
        && (part.is_empty() || digits_of(part).is_some() && part.len() <= 3);
    let part = part.trim_end_matches('0');
    let point = if part.is_empty() { "" } else { "." };
    (plain && units.contains(&own)).then(|| format!("{whole}{point}{part} {own}"))
}

/// A colour order, in capitals.
pub fn colour(text: &str) -> Option<String> {
    let upper = text.trim().to_uppercase();
    let known = !upper.is_empty() && upper.chars().all(|c| "RGBWACYUL".contains(c));
    (known && upper.len() <= 9).then_some(upper)
}

/// Yes or no, as a cell says it.
pub fn yes(text: &str) -> Option<bool> {
    match text.trim().to_lowercase().as_str() {
        "yes" | "y" | "true" | "x" | "1" | "✓" => Some(true),
        "no" | "n" | "false" | "-" | "0" => Some(false),
        _ => None,
    }
}

/// Nodes of runs as a display writes them: `left 10 nodes -> skip 1 -> lead 2 m -> 5 nodes`; `None`
/// where a run is not understood.
pub fn runs(text: &str) -> Option<u64> {
    let run = |run: &str| {
        let words: Vec<&str> = run.split_whitespace().collect();
        let number = |text: &str| digits_of(text).filter(|number| *number > 0);
        let name = |name: &str| lawful(name, "run") == name && !matches!(name, "skip" | "lead");
        match words.as_slice() {
            ["skip", nodes] => number(nodes).map(|_| 0),
            ["lead", length, unit, gauge @ ..] => {
                let known = matches!(gauge, [] | ["of", _, "AWG" | "mm2"]);
                self::length(length, unit).filter(|_| known).map(|_| 0)
            }
            [nodes, "node" | "nodes"] => number(nodes),
            [own, nodes, "node" | "nodes"] => number(nodes).filter(|_| name(own)),
            _ => None,
        }
    };
    text.split("->").map(run).sum()
}

#[cfg(test)]
mod tests {
    use super::{Output, ports, ports_of_box};

    #[test]
    fn a_box_and_its_ports_stand_in_one_cell() {
        let known = |name: &str| {
            matches!(name.trim_end_matches([' ', '-', '/']), "DL" | "Pump 2" | "R" | "R1")
        };
        let named = |name: &str, all: &[u32]| {
            let one = |port: &u32| (Some(name.to_owned()), Output::Pixel(*port));
            Some(all.iter().map(one).collect::<Vec<_>>())
        };
        for (text, name, all) in [
            ("DL3", "DL", &[3][..]),
            ("DL 12", "DL ", &[12]),
            ("DL3-4", "DL", &[3, 4]),
            ("Pump 2 / 5", "Pump 2 / ", &[5]),
        ] {
            let name = name.trim();
            assert_eq!(ports_of_box(text, &known), named(name, all), "{text}");
        }
        // `R` or `R1`: either may be meant.
        assert_eq!(ports_of_box("R12", &known), None);
        assert_eq!(ports_of_box("DL", &known), None);
        assert_eq!(ports("C-12"), named("C", &[12]));
        let several = [6, 7, 8].map(|port| (None, Output::Pixel(port)));
        assert_eq!(ports("6 7 8"), Some(several.to_vec()));
        assert_eq!(ports("3 seven"), None);
    }
}
