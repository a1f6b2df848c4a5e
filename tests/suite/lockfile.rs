//! The lock as text: fixtures of every format, slips and cuts, and merges by real git.

use crate::check::{self, codes, told};
use crate::cli::{Folder, err, on, status};
use crate::noise::Dice;
use crate::robust::sound_or_panic;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::path::Path;
use std::process::Command;
use tinsel::diagnostic::Sink;
use tinsel::lock::{Lock, LockRow, Made, SetUp};
use tinsel::lockfile::{self, Added, LockText};
use tinsel::model::Output;
use tinsel::source::{Loaded, SourceMap, Span};

/// Reads bytes as a lock; the codes of what was found where that is not one.
fn read(bytes: &[u8]) -> Result<LockText, Vec<&'static str>> {
    let loaded = Loaded {
        identity: check::LOCK.to_owned(),
        name: check::LOCK.to_owned(),
        bytes: bytes.to_owned(),
    };
    let mut sink = Sink::default();
    let lock = lockfile::read(loaded, &mut SourceMap::default(), &mut sink);
    let found = codes(&sink.finish());
    assert_eq!(lock.is_some(), found.is_empty(), "refused without a word");
    lock.ok_or(found)
}

/// The rows without their places in a text.
fn rows(lock: &Lock) -> Vec<LockRow> {
    let at = Span::default();
    lock.rows.iter().map(|row| LockRow { at, ..row.clone() }).collect()
}

fn row(name: &str, controller: &str, output: Output, start: u64, slots: u64) -> LockRow {
    LockRow {
        name: name.into(),
        controller: controller.into(),
        output,
        start,
        slots,
        made: None,
        stored: false,
        moved: None,
        at: Span::default(),
    }
}

const FIRST: &str = include_str!("../lock/1.0.lock");

#[test]
fn format_1_0() {
    let read = read(FIRST.as_bytes()).unwrap();
    assert_eq!(&*read.lock.display, "The \"old\" mill \\ pond, 2031: größer");
    assert_eq!(read.lock.universe_slots.get(), 510);
    assert_eq!(
        rows(&read.lock),
        [
            row("flood[10]", "barn", Output::Dmx(1), 39 * 510 + 16, 6),
            row("flood[1]", "barn", Output::Dmx(1), 39 * 510, 6),
            row("heron[3].1", "box-2_b", Output::Pixel(16), 63_998 * 510 + 360, 150),
            row("lighthouse.2", "barn", Output::Pixel(1), 0, 1_080),
            row("null", "yes", Output::Pixel(1), 11 * 510 + 509, 1),
            row("y", "yes", Output::Pixel(2), 12 * 510, 3),
            row("Öhr", "ñandú", Output::Pixel(1), 13 * 510, 30),
        ]
    );
    assert_eq!(lockfile::write(&read.lock, &read.added), FIRST);
    for row in &read.lock.rows {
        assert_eq!(read.lock.row(&row.name), Some(row));
    }
}

const SECOND: &str = include_str!("../lock/1.1.lock");

#[test]
fn format_1_1() {
    let read = read(SECOND.as_bytes()).unwrap();
    let pair = |old: &str, new: &str| (old.into(), new.into());
    assert_eq!(
        read.lock.renamed,
        [
            pair("barn", "box-2_b"),
            pair("egret[1..3]", "heron[3..5]"),
            pair("flood", "null"),
            pair("null", "flood"),
            pair("öhr.2", "Öhr"),
        ]
    );
    assert_eq!(rows(&read.lock).len(), 3);
    assert_eq!(lockfile::write(&read.lock, &read.added), SECOND);
    let styled = SECOND
        .replace("  - egret[1..3] -> heron[3..5]", "- 'egret[1..3]  ->   heron[3..5]'")
        .replace("  - barn", "    -   barn");
    let styled = self::read(styled.as_bytes()).unwrap();
    assert_eq!(styled.lock.renamed, read.lock.renamed);
    for slip in ["  - egret", "  - -> heron", "  - 1 -> 2", "  egret -> heron", "  - a: b"] {
        let text = SECOND.replace("  - flood -> null", slip);
        assert_eq!(self::read(text.as_bytes()).err(), Some(vec!["lock/unreadable"]), "{slip}");
    }
}

const THIRD: &str = include_str!("../lock/1.2.lock");

#[test]
fn format_1_2() {
    let read = read(THIRD.as_bytes()).unwrap();
    let barn = SetUp {
        name: "barn".into(),
        host: "192.168.7.\"20\"".into(),
        input: "artnet from 0".into(),
        first: 3,
        universes: 2,
        addressing: "per prop".into(),
        from: Some(3),
        slots: 510,
        whole: true,
        priority: Some(120),
        sync: Some(600),
        level: Some(12_500),
        at: Span::default(),
    };
    let null = SetUp {
        name: "null".into(),
        input: "e131 multicast".into(),
        addressing: "per port".into(),
        slots: 512,
        ..SetUp::default()
    };
    assert_eq!(boxes(&read.lock), [barn, null]);
    let heron = Made {
        nodes: 50,
        each: 3,
        colour: "GRB".into(),
        chip: "ws2811".into(),
        dark: 2,
        within: 1,
        level: Some(30_000),
        place: 4,
    };
    let star = Made { nodes: 1, each: 1, colour: "Y".into(), ..Made::default() };
    let rows = rows(&read.lock);
    let made: Vec<_> = rows.iter().map(|row| (&*row.name, row.made.clone(), row.stored)).collect();
    assert_eq!(
        made,
        [("flood", None, true), ("heron[3].1", Some(heron), false), ("star", Some(star), true)]
    );
    assert_eq!(lockfile::write(&read.lock, &read.added), THIRD);
    let styled = THIRD
        .replace("  - {name: barn, host:", "- {host:")
        .replace(", level: 12.5}", ", level: 12.500, name: 'barn' }   # mine");
    let styled = styled.replace(
        "slots: 150, nodes: 50, each: 3, colour: GRB",
        "nodes: 50, colour: 'GRB', \"each\": 3, slots: 150",
    );
    let styled = self::read(styled.as_bytes()).unwrap();
    assert_eq!((boxes(&styled.lock), self::rows(&styled.lock)), (boxes(&read.lock), rows));
    for (good, slip) in [
        ("first: 3", "first: 64000"),
        ("first: 3, ", ""),
        ("artnet from 0", "artnet from 2"),
        ("per prop", "per pixel"),
        ("universe_slots: 510", "universe_slots: 513"),
        ("priority: 120", "priority: 201"),
        ("level: 12.5", "level: 100.5"),
        ("whole_nodes: true", "whole_nodes: perhaps"),
        ("name: barn", "name: 2barn"),
        ("sync: 600", "sync: 600, tempo: 3"),
        ("nodes: 50", "nodes: 0"),
        ("nodes: 50, ", ""),
        ("each: 3", "each: x"),
        ("colour: GRB", "colour: gRB"),
        ("chip: ws2811", "chip: 2811"),
        ("level: 30}", "level: 30.0001}"),
        ("stored: true", "stored: maybe"),
        ("place: 4", "place: 4, tempo: 3"),
    ] {
        assert!(THIRD.contains(good), "{good}");
        let told = self::read(THIRD.replacen(good, slip, 1).as_bytes()).err();
        assert_eq!(told, Some(vec!["lock/unreadable"]), "{slip}");
    }
    // An older program keeps the words that it does not know and may change the slots before them.
    let older = self::read(THIRD.replace("slots: 150", "slots: 90").as_bytes()).unwrap();
    assert_eq!(older.lock.row("heron[3].1").unwrap().made, None);
}

/// The lines of controllers without their places in a text.
fn boxes(lock: &Lock) -> Vec<SetUp> {
    let at = Span::default();
    lock.boxes.iter().map(|one| SetUp { at, ..one.clone() }).collect()
}

#[derive(serde::Deserialize, Debug, PartialEq)]
#[serde(deny_unknown_fields)]
struct Document {
    format: String,
    display: String,
    universe_slots: u32,
    #[serde(default)]
    renamed: Vec<String>,
    #[serde(default)]
    controllers: Vec<Controller>,
    strings: BTreeMap<String, Place>,
}

#[derive(serde::Deserialize, Debug, PartialEq)]
#[serde(deny_unknown_fields)]
struct Controller {
    name: String,
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
    level: Option<f64>,
}

#[derive(serde::Deserialize, Debug, PartialEq)]
#[serde(deny_unknown_fields)]
struct Place {
    port: String,
    start: String,
    slots: u64,
    nodes: Option<u32>,
    each: Option<u32>,
    colour: Option<String>,
    chip: Option<String>,
    #[serde(default)]
    dark: u32,
    #[serde(default)]
    within: u32,
    #[serde(default)]
    place: u32,
    level: Option<f64>,
    #[serde(default)]
    stored: bool,
}

/// What any reader of YAML finds in a lock is what is in it.
fn as_yaml_has_it(text: &str, lock: &Lock) {
    let document: Document = serde_yaml::from_str(text).unwrap();
    let slots = lock.universe_slots.each();
    let level = |level: Option<u32>| level.map(|level| f64::from(level) / 1_000.0);
    let place = |row: &LockRow| {
        let made = row.made.as_ref();
        let of = |value: fn(&Made) -> u32| made.map_or(0, value);
        Place {
            port: format!("{}.{}", row.controller, row.output.name()),
            start: format!("{}/{}", row.start / slots + 1, row.start % slots + 1),
            slots: row.slots,
            nodes: made.map(|made| made.nodes),
            each: made.map(|made| made.each),
            colour: made.map(|made| made.colour.to_string()),
            chip: made.filter(|made| !made.chip.is_empty()).map(|made| made.chip.to_string()),
            dark: of(|made| made.dark),
            within: of(|made| made.within),
            place: of(|made| made.place),
            level: level(made.and_then(|made| made.level)),
            stored: row.stored,
        }
    };
    let controllers = lock.boxes.iter().map(|one| Controller {
        name: one.name.to_string(),
        host: one.host.to_string(),
        input: one.input.to_string(),
        first: one.first,
        universes: one.universes,
        addressing: one.addressing.to_string(),
        from: one.from,
        universe_slots: Some(one.slots).filter(|slots| *slots != lock.universe_slots.get()),
        whole_nodes: one.whole,
        priority: one.priority,
        sync: one.sync,
        level: level(one.level),
    });
    assert_eq!(document.controllers, controllers.collect::<Vec<_>>());
    let renamed = lock.renamed.iter();
    let renamed: Vec<String> = renamed.map(|(old, new)| format!("{old} -> {new}")).collect();
    assert_eq!(document.renamed, renamed);
    assert_eq!(*document.display, *lock.display);
    assert_eq!(document.universe_slots, lock.universe_slots.get());
    let expected: BTreeMap<String, Place> =
        lock.rows.iter().map(|row| (row.name.to_string(), place(row))).collect();
    assert_eq!(document.strings, expected);
}

#[test]
fn it_is_yaml() {
    for text in [FIRST, SECOND, THIRD] {
        as_yaml_has_it(text, &read(text.as_bytes()).unwrap().lock);
    }
    let empty = Lock { universe_slots: tinsel::protocol::UniverseSlots::ALL, ..Lock::default() };
    let text = lockfile::write(&empty, &Added::default());
    as_yaml_has_it(&text, &empty);
    assert_eq!(read(text.as_bytes()).unwrap().lock, empty);
}

fn a_row() -> impl Strategy<Value = LockRow> {
    let word = "(null|true|no|Off|y|[a-zåλж][a-z0-9_ßé雪-]{0,6}[a-z0-9])";
    let name = (word, 0..12_u32, 0..4_u32).prop_map(|(prop, member, string)| {
        let member = if member > 0 { format!("[{member}]") } else { String::new() };
        let string = if string > 0 { format!(".{string}") } else { String::new() };
        format!("{prop}{member}{string}")
    });
    let output = (any::<bool>(), 1..70_u32).prop_map(|(dmx, number)| match dmx {
        true => Output::Dmx(number),
        false => Output::Pixel(number),
    });
    let place = (output, 0..5_000_000_u64, 1..5_000_u64);
    (name, word, place, made(), any::<bool>()).prop_map(
        |(name, controller, (output, start, more), made, stored)| {
            let least = made.as_ref().map_or(0, |made| u64::from(made.nodes * made.each));
            LockRow { made, stored, ..row(&name, &controller, output, start, least + more) }
        },
    )
}

fn made() -> impl Strategy<Value = Option<Made>> {
    let counts = (1..999_u32, 1..12_u32, 0..3_u32, 0..3_u32, 0..4_u32);
    let words = ("[RGBWACYUL]{1,5}", "(null|no|[a-z][a-z0-9]{1,6})?");
    let made = (counts, words, prop::option::of(0..=100_000_u32));
    let made = made.prop_map(|((nodes, each, dark, within, place), (colour, chip), level)| Made {
        nodes,
        each,
        colour: colour.into(),
        chip: chip.into(),
        dark,
        within,
        level,
        place,
    });
    prop::option::of(made)
}

fn a_box() -> impl Strategy<Value = SetUp> {
    let word = "(null|true|no|Off|y|[a-zåλж][a-z0-9_ßé雪-]{0,6}[a-z0-9])";
    let input = "(e131 unicast|e131 multicast|artnet|artnet from 0|ddp)";
    let addressing = "(per port|per prop|consecutive)";
    let words = (word, "[ -~äß雪\u{85}]{0,9}", input, addressing);
    let counts = (0..=63_999_u32, 0..=63_999_u32, 1..=512_u32, any::<bool>());
    let option = prop::option::of;
    let more = (
        option(1..=63_999_u32),
        option(0..=200_u32),
        option(1..=63_999_u32),
        option(0..=100_000_u32),
    );
    (words, counts, more).prop_map(|(words, counts, more)| SetUp {
        name: words.0.into(),
        host: words.1.into(),
        input: words.2.into(),
        addressing: words.3.into(),
        first: counts.0,
        universes: counts.1,
        slots: counts.2,
        whole: counts.3,
        from: more.0,
        priority: more.1,
        sync: more.2,
        level: more.3,
        at: Span::default(),
    })
}

fn a_lock() -> impl Strategy<Value = Lock> {
    let rows = prop::collection::vec(a_row(), 0..12);
    let name =
        "(null|no|[a-zåλж][a-z0-9_雪-]{0,5}[a-z0-9])(\\[[1-9]([.]{2}|,)[1-9]\\])?([.][1-9a-z])?";
    let renamed = prop::collection::btree_set((name, name), 0..4);
    let display = "[ -~äß雪\u{85}\u{2028}]{0,12}";
    let boxes = prop::collection::vec(a_box(), 0..4);
    let sizes = (100..=512_u32, boxes);
    (rows, display, sizes, renamed).prop_map(|(rows, display, (universe_slots, boxes), renamed)| {
        let boxes = boxes.into_iter().map(|one| (one.name.clone(), one));
        let boxes: BTreeMap<_, _> = boxes.collect();
        let renamed = renamed.into_iter();
        let renamed = renamed.map(|(old, new)| (old.into(), new.into())).collect();
        let rows: BTreeMap<Box<str>, LockRow> =
            rows.into_iter().map(|row| (row.name.clone(), row)).collect();
        Lock {
            renamed,
            display: display.into(),
            universe_slots: tinsel::protocol::UniverseSlots::new(universe_slots).unwrap(),
            boxes: boxes.into_values().collect(),
            rows: rows.into_values().collect(),
        }
    })
}

proptest! {
    #[test]
    fn what_is_written_is_read(lock in a_lock()) {
        let text = lockfile::write(&lock, &Added::default());
        as_yaml_has_it(&text, &lock);
        let read = read(text.as_bytes()).unwrap();
        prop_assert_eq!(rows(&read.lock), &*lock.rows);
        prop_assert_eq!(boxes(&read.lock), &*lock.boxes);
        prop_assert_eq!(&read.lock.renamed, &lock.renamed);
        prop_assert_eq!((&read.lock.display, read.lock.universe_slots), (&lock.display, lock.universe_slots));
        prop_assert_eq!(lockfile::write(&read.lock, &read.added), text);
    }

    /// The same lock in the style of another tool: spaces, quotes, order of words and rows.
    #[test]
    fn other_styles_say_the_same(lock in a_lock(), quotes in any::<bool>(), backwards in any::<bool>()) {
        let text = lockfile::write(&lock, &Added::default());
        let mut lines: Vec<String> = text.lines().map(|line| {
            let Some((name, rest)) = line.strip_prefix("  ").and_then(|line| line.split_once(": {port: ")) else {
                return line.to_owned();
            };
            let (port, rest) = rest.split_once(", start: ").unwrap();
            let (start, rest) = rest.split_once(", slots: ").unwrap();
            let rest = rest.strip_suffix('}').unwrap();
            let (slots, more) = rest.split_once(", ").unwrap_or((rest, ""));
            let more = if more.is_empty() { String::new() } else { format!("{more} ,  ") };
            let mark = if quotes { "'" } else { "" };
            format!("    {name} :   {{ {more}slots: {slots} , start: {mark}{start}{mark}, port: {mark}{port}{mark} }}   # mine")
        }).collect();
        let head = lines.iter().position(|line| line.starts_with("strings")).unwrap() + 1;
        let end = lines.len() - 1;
        if backwards {
            lines[head..end].reverse();
        }
        let read = read(lines.join("\r\n").as_bytes()).unwrap();
        prop_assert_eq!(rows(&read.lock), &*lock.rows);
        prop_assert_eq!(lockfile::write(&read.lock, &read.added), text);
    }

    /// With one byte changed, the lock is refused or is still a sound lock.
    #[test]
    fn one_byte_changed(at in 0..FIRST.len(), byte in any::<u8>()) {
        let mut bytes = FIRST.as_bytes().to_owned();
        bytes[at] = byte;
        if let Ok(lock) = read(&bytes) {
            let text = lockfile::write(&lock.lock, &lock.added);
            let again = read(text.as_bytes()).unwrap();
            prop_assert_eq!(rows(&again.lock), rows(&lock.lock));
        }
    }
}

#[test]
fn a_lock_that_was_cut_off_anywhere_is_told() {
    let display = "node dot { chip ws2811; colour RGB }\n";
    for end in 0..FIRST.len() {
        let loaded = FIRST.as_bytes()[..end].to_owned();
        let whole = FIRST[..].starts_with(&String::from_utf8_lossy(&loaded)[..])
            && FIRST[end..].trim() == "";
        let compiled =
            check::beside(check::NAME, &[(check::NAME, display)], Some((check::LOCK, &loaded)));
        sound_or_panic(&format!("cut at {end}"), &compiled);
        let found = compiled.findings.iter().any(|finding| finding.code == "lock/unreadable");
        assert_eq!(found, !whole, "cut at {end}: {}", told(&compiled));
        check::terminal(&compiled);
    }
}

#[test]
fn hostile_texts_are_refused_at_once() {
    let head = "format: \"1.0\"\ndisplay: \"\"\nuniverse_slots: 512\nstrings:\n";
    let deep = "[".repeat(20_000);
    for (what, text) in [
        ("deep", format!("{head}  a: {deep}\n...\n")),
        (
            "deep display",
            format!("format: \"1.0\"\ndisplay: {deep}\nuniverse_slots: 512\nstrings: {{}}\n...\n"),
        ),
        ("anchors", format!("{head}  a: &a [*a, *a, *a]\n...\n")),
        ("two rows on a line", format!("{head}  {{a: {{}}, b: {{}}}}\n...\n")),
        (
            "two documents",
            format!("{head}  a: {{port: a.1, start: 1/1, slots: 1}}\n...\n{head}...\n"),
        ),
        (
            "huge numbers",
            format!("{head}  a: {{port: a.1, start: 1/1, slots: 99999999999999999999999}}\n...\n"),
        ),
        ("huge port", format!("{head}  a: {{port: a.99999999999, start: 1/1, slots: 1}}\n...\n")),
        (
            "past the last universe",
            format!("{head}  a: {{port: a.1, start: 63999/512, slots: 2}}\n...\n"),
        ),
        ("a negative number", format!("{head}  a: {{port: a.-1, start: 1/1, slots: 1}}\n...\n")),
        ("no size", "format: \"1.0\"\ndisplay: \"\"\nstrings: {}\n...\n".to_owned()),
        ("no slots in a universe", head.replace("512", "0") + "...\n"),
        (
            "steering letters",
            format!("{head}  \u{1b}[2J: {{port: a.1, start: 1/1, slots: 1}}\n...\n"),
        ),
        ("a line of 10 MB", format!("{head}  a: {}\n...\n", "x".repeat(10 << 20))),
        ("many bad lines", format!("{head}{}...\n", "  nonsense\n".repeat(200_000))),
    ] {
        let begun = std::time::Instant::now();
        let found = read(text.as_bytes()).err().unwrap_or_default();
        assert!(found.contains(&"lock/unreadable"), "{what}: {found:?}");
        assert!(begun.elapsed().as_secs() < 5, "{what}: {:?}", begun.elapsed());
    }
}

/// Tools may sort the keys: starts count by the size of a universe, wherever it stands.
#[test]
fn the_head_may_stand_in_any_order() {
    let head = "format: \"1.2\"\ndisplay: \"\"\n";
    let slots = "universe_slots: 510\n";
    let rows = "strings:\n  arch: {port: pier.1, start: 2/1, slots: 150}\n";
    for text in [format!("{head}{slots}{rows}...\n"), format!("{head}{rows}{slots}...\n")] {
        assert_eq!(read(text.as_bytes()).unwrap().lock.rows[0].start, 510, "{text}");
    }
}

/// A fault is marked where it is, though a name may hold the same letters.
#[test]
fn a_fault_is_marked_where_it_stands() {
    let head = "format: \"1.2\"\ndisplay: \"\"\nuniverse_slots: 512\nstrings:\n";
    let made = "nodes: 50, each: 3, colour: RGB";
    for (row, marked) in [
        (format!("  beach: {{port: reach.1, start: 1/1, slots: 150, {made}}}\n"), "each: 0"),
        ("  pier: {port: pier, start: 1/1, slots: 150}\n".to_owned(), "pier, start"),
    ] {
        let text = format!("{head}{}...\n", row.replace("each: 3", "each: 0"));
        let loaded = Loaded {
            identity: check::LOCK.to_owned(),
            name: check::LOCK.to_owned(),
            bytes: text.clone().into_bytes(),
        };
        let mut sink = Sink::default();
        assert!(lockfile::read(loaded, &mut SourceMap::default(), &mut sink).is_none());
        let found = sink.finish();
        assert!(text[found[0].span().start as usize..].starts_with(marked), "{found:?}");
    }
}

/// What a build writes can be read again, for the largest display and long names.
#[test]
fn the_largest_lock_is_not_too_large() {
    let long = "x".repeat(48);
    let row = LockRow {
        made: Some(Made {
            nodes: 100_000,
            each: 4,
            colour: "RGBW".into(),
            chip: long.as_str().into(),
            dark: 1_000,
            within: 1_000,
            place: 100,
            level: Some(12_345),
        }),
        moved: Some("x".repeat(200).into()),
        ..row(&format!("{long}[100000].12"), &long, Output::Pixel(1_024), 1_000_000, 400_000)
    };
    let lock = Lock { rows: vec![row], ..Lock::default() };
    let bytes = lockfile::write(&lock, &Added::default()).len();
    assert!(bytes * tinsel::model::MOST_STRINGS as usize <= lockfile::MOST_BYTES, "{bytes}");
}

/// Words and lines of locks in random order: refused with a word at a sound place, or read; and
/// what is read is the same when it was written again, and when it was built again.
#[test]
fn random_locks() {
    let display = "display \"pond\" { }\nnode dot { chip ws2811; colour RGB }\n\
                   controller pier { universes from 1; ports 1..4 { chip ws2811 } dmx 1 }\n\
                   prop arch * 3 { node dot; string 50 nodes }\nprop flood { slots 6 }\n\
                   wire pier.1: arch[1] -> arch[2]\nwire any: arch[3]\nwire pier.dmx1: flood\n";
    let whole = "format: \"1.0\"\ndisplay: \"pond\"\nuniverse_slots: 512\nstrings:\n  \
                 arch[1]: {port: pier.1, start: 1/1, slots: 150}\n  arch[2]: {port: pier.1, start: 1/151, slots: 150}\n  \
                 arch[3]: {port: pier.2, start: 1/301, slots: 150}\n  flood: {port: pier.dmx1, start: 2/1, slots: 6}\n...\n";
    let pieces: Vec<&str> = whole
        .split_inclusive([' ', '\n', ',', ':', '/', '.'])
        .chain([
            "<<<<<<< HEAD\n",
            "=======\n",
            "\0",
            "#",
            "\t",
            "...\n",
            "99999999999999999999",
            "dmx",
            "[",
            "{",
            "\"",
            "1.7",
        ])
        .collect();
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    let (mut loaded, mut refused) = (0, 0);
    let digits: Vec<usize> =
        whole.match_indices(|c: char| c.is_ascii_digit()).map(|(at, _)| at).collect();
    for round in 0..600 {
        let mut text = whole.to_owned();
        // Half of them have other digits only.
        for _ in 0..=dice.below(3) {
            let at = digits[dice.below(digits.len())];
            text.replace_range(at..=at, &dice.below(10).to_string());
        }
        for _ in 0..dice.below(2) * (1 + dice.below(4)) {
            let at = dice.below(text.len());
            let to = (at + dice.below(9)).min(text.len());
            text.replace_range(at..to, pieces[dice.below(pieces.len())]);
        }
        let compiled = check::beside(
            check::NAME,
            &[(check::NAME, display)],
            Some((check::LOCK, text.as_bytes())),
        );
        sound_or_panic(&format!("round {round}:\n{text}"), &compiled);
        let Some(lock) = &compiled.lock else {
            refused += 1;
            assert!(compiled.blocks(), "round {round}:\n{text}");
            continue;
        };
        loaded += 1;
        let again = lockfile::write(&lock.lock, &lock.added);
        assert_eq!(
            rows(&read(again.as_bytes()).unwrap().lock),
            rows(&lock.lock),
            "round {round}:\n{text}"
        );
        if !compiled.blocks() {
            let next = compiled.next_lock();
            let twice = check::beside(
                check::NAME,
                &[(check::NAME, display)],
                Some((check::LOCK, next.as_bytes())),
            );
            assert_eq!(twice.next_lock(), next, "round {round}:\n{text}");
            assert!(!codes(&twice.findings).contains(&"lock/moved"), "round {round}:\n{text}");
        }
    }
    assert!(loaded > 20 && refused > 20, "{loaded} loaded, {refused} refused");
}

/// Keys that only a newer format can have, in the ways that YAML has to write them.
#[test]
fn what_a_newer_format_added_stays() {
    let newer = "# Where each string lies: written by `tinsel build`, to be kept under version control.\n\
                 format: \"1.9\"\ndisplay: \"\"\nuniverse_slots: 512\nseason: 2031\nnotes:\n  - one\n  - two: 3\nstrings:\n  \
                 a: {port: p.1, start: 1/1, slots: 3, hung: [1, 2], by: \"me, you\"}\n  \
                 b: {port: p.2, start: 2/1, slots: 3}\n...\n";
    let lock = read(newer.as_bytes()).unwrap();
    assert_eq!(lock.added.minor, 9);
    assert_eq!(lockfile::write(&lock.lock, &lock.added), newer);
    let styled = newer.replace("{port: p.1, start: 1/1,", "{start: 1/1,   port: p.1,");
    let again = read(styled.as_bytes()).unwrap();
    let text = lockfile::write(&again.lock, &again.added);
    assert!(text.contains("slots: 3, \"by\": \"me, you\", \"hung\": [1,2]}"), "{text}");
    assert_eq!(
        read(newer.replace("1.9", "1.0").as_bytes()).err(),
        Some(vec!["lock/unreadable"; 3])
    );
}

fn git(folder: &Path, arguments: &[&str]) -> bool {
    let output = Command::new("git")
        .args([
            "-c",
            "user.name=Somebody",
            "-c",
            "user.email=somebody@example.invalid",
            "-c",
            "core.autocrlf=false",
        ])
        .args(arguments)
        .current_dir(folder)
        .env("GIT_CONFIG_GLOBAL", "/dev/null")
        .env("GIT_CONFIG_SYSTEM", "/dev/null")
        .output()
        .unwrap();
    output.status.success()
}

/// Props and their ports. Those that a branch adds come after the others.
const PROPS: [&str; 8] = ["bell", "fir", "moon", "star", "ash", "gate", "yew", "kite"];

/// A display of such props, each in a file of its own and named in the main file in order, so that
/// sources merge by line as the lock does.
fn props(folder: &Folder, names: &[&str]) {
    let mut main = "node dot { chip ws2811; colour RGB }\n\
                    controller pier { universes from 1; ports 1..8 { chip ws2811 } }\n"
        .to_owned();
    for name in names {
        let port = PROPS.iter().position(|prop| prop == name).unwrap() + 1;
        main.push_str(&format!("include \"{name}.tinsel\"\n"));
        let text =
            format!("prop {name} {{ node dot; string 40 nodes }}\nwire pier.{port}: {name}\n");
        folder.file(&format!("{name}.tinsel"), text);
    }
    folder.file("yard.tinsel", main);
}

fn with<'n>(base: &[&'n str], more: &'n str) -> Vec<&'n str> {
    let mut names = [base, &[more]].concat();
    names.sort_unstable();
    names
}

/// Branches `ours` and `theirs` off a display of four props, each with one prop more; then a merge.
/// Says whether it went clean.
fn merged(folder: &Folder, attributes: &str, ours: &str, theirs: &str) -> bool {
    let path = folder.0.join("yard.tinsel");
    let commit = |what: &str| {
        assert_eq!(status(&on("build", &path, &[])), 0, "{what}");
        assert!(
            git(&folder.0, &["add", "-A"]) && git(&folder.0, &["commit", "-qm", what]),
            "{what}"
        );
    };
    let base = ["bell", "fir", "moon", "star"];
    assert!(git(&folder.0, &["init", "-q", "-b", "ours"]));
    folder.file(".gitattributes", attributes);
    props(folder, &base);
    commit("as it was");
    assert!(git(&folder.0, &["checkout", "-qb", "theirs"]));
    props(folder, &with(&base, theirs));
    commit("theirs");
    assert!(git(&folder.0, &["checkout", "-q", "ours"]));
    props(folder, &with(&base, ours));
    commit("ours");
    git(&folder.0, &["merge", "-q", "-m", "both", "theirs"])
}

/// The rows of the lock, by name; fails where two of them share a slot.
fn disjoint(folder: &Folder) -> Vec<String> {
    let lock = read(&std::fs::read(folder.0.join("yard.lock")).unwrap()).unwrap().lock;
    let mut ranges: Vec<_> = lock.rows.iter().map(|row| (row.start, row.last())).collect();
    ranges.sort_unstable();
    assert!(ranges.windows(2).all(|pair| pair[0].1 < pair[1].0), "{ranges:?}");
    lock.rows.iter().map(|row| row.name.to_string()).collect()
}

#[test]
fn two_branches_that_add_different_props_merge_by_line() {
    let folder = Folder::new();
    let path = folder.0.join("yard.tinsel");
    assert!(merged(&folder, "", "ash", "yew"), "the merge is clean");
    // Both took the first free slots: the lock loads all the same, and the next build settles it.
    let text = std::fs::read(folder.0.join("yard.lock")).unwrap();
    let both = read(&text).unwrap().lock;
    assert_eq!(both.row("ash").unwrap().start, both.row("yew").unwrap().start);
    let output = on("build", &path, &[]);
    assert_eq!(status(&output), 0, "{}", err(&output));
    // The one that comes later in the display moves, which is reported.
    assert!(err(&output).contains("`yew` moves from 1/481 to 2/89"), "{}", err(&output));
    let text = std::fs::read(folder.0.join("yard.lock")).unwrap();
    let settled = read(&text).unwrap().lock;
    for row in both.rows.iter().filter(|row| &*row.name != "yew") {
        assert_eq!(settled.row(&row.name).unwrap().start, row.start, "{}", row.name);
    }
    assert_eq!(disjoint(&folder), ["ash", "bell", "fir", "moon", "star", "yew"]);
    assert_eq!(status(&on("check", &path, &["--locked"])), 0);
}

#[test]
fn neighbours_in_the_lock_conflict_unless_git_is_told_to_keep_both() {
    let folder = Folder::new();
    let path = folder.0.join("yard.tinsel");
    assert!(!merged(&folder, "", "gate", "kite"), "git leaves it to a person");
    // The display's own text is settled by hand; the lock still has its marks.
    props(&folder, &["bell", "fir", "gate", "kite", "moon", "star"]);
    let output = on("check", &path, &[]);
    assert_eq!(status(&output), 1);
    assert!(err(&output).contains("a merge left its conflict"), "{}", err(&output));
    // One way out: one side whole, then a build.
    assert!(git(&folder.0, &["checkout", "-q", "--ours", "yard.lock"]));
    assert_eq!(status(&on("build", &path, &[])), 0);
    assert_eq!(disjoint(&folder), ["bell", "fir", "gate", "kite", "moon", "star"]);

    let folder = Folder::new();
    let path = folder.0.join("yard.tinsel");
    assert!(merged(&folder, "*.lock merge=union\n*.tinsel merge=union\n", "gate", "kite"));
    assert_eq!(status(&on("build", &path, &[])), 0);
    assert_eq!(disjoint(&folder), ["bell", "fir", "gate", "kite", "moon", "star"]);
}
