//! Bad input: each is reported at a place, without a panic, a hang or much memory.
//!
//! The rows follow a catalogue: bytes and encoding, deceptive text, syntax, numbers and ranges,
//! meaning. Each row says what is fed and which codes must come.

use crate::check::{self, codes, told};
use crate::diagnostics::sound;
use std::time::{Duration, Instant};
use tinsel::Compiled;

/// What every row's display ends with: something that is right.
const REST: &str = "node bulb { chip ws2811; colour RGB }\n\
                    controller shed { universes from 1; ports 1..4 { chip ws2811 } }\n\
                    prop owl { node bulb; string 40 nodes }\nwire shed.1: owl\n";

/// Fails where a finding is not as every finding must be.
pub fn sound_or_panic(what: &str, compiled: &Compiled) {
    if let Err(fault) = sound(compiled) {
        panic!("{what}: {fault}\n{}", told(compiled));
    }
}

/// Compiles rows of (name, text, codes); an empty list of codes means that the text is lawful.
fn rows(rows: &[(&str, String, &[&str])]) {
    let mut faults = String::new();
    for (name, text, expected) in rows {
        let compiled = check::one(text);
        sound_or_panic(name, &compiled);
        if codes(&compiled.findings) != *expected {
            faults.push_str(&format!("{name}: expected {expected:?}, got\n{}\n", told(&compiled)));
        }
        check::terminal(&compiled);
    }
    assert!(faults.is_empty(), "{faults}");
}

const UNEXPECTED: &[&str] = &["syntax/unexpected"];

fn with(text: &str) -> String {
    format!("{text}\n{REST}")
}

#[test]
fn bytes_and_encoding() {
    rows(&[
        ("empty", String::new(), &[]),
        ("only comments", "# nothing\n\n   # at all\n".to_owned(), &[]),
        ("byte-order mark", format!("\u{feff}{REST}"), &[]),
        ("mark in the middle", with("stored \u{feff}owl"), UNEXPECTED),
        ("CRLF", REST.replace('\n', "\r\n"), &[]),
        ("mixed line ends", REST.replacen('\n', "\r\n", 2), &[]),
        ("lone CR", with("# one\r# two"), UNEXPECTED),
        ("no final newline", REST.trim_end().to_owned(), &[]),
        ("tabs", REST.replace("{ ", "{\t"), &[]),
        ("NUL", with("stored \0owl"), UNEXPECTED),
        ("form feed", with("stored\u{c}owl"), UNEXPECTED),
        ("hard blank", with("stored\u{a0}owl"), UNEXPECTED),
        ("line separator", with("# one\u{2028}two"), UNEXPECTED),
        ("shebang", format!("#!/usr/bin/env tinsel\n{REST}"), &[]),
    ]);
    for (name, bytes) in [
        ("UTF-16", b"\xff\xfep\0r\0o\0p\0".as_slice()),
        ("Latin-1", b"prop caf\xe9 { }\n"),
        ("cut in a character", b"prop gr\xc3"),
        ("overlong", b"prop \xc0\x80 { }\n"),
        ("surrogate", b"prop \xed\xa0\x80 { }\n"),
    ] {
        let compiled = check::bytes(bytes);
        sound_or_panic(name, &compiled);
        assert_eq!(codes(&compiled.findings), UNEXPECTED, "{name}: {}", told(&compiled));
    }
    let compiled = check::bytes(&[REST.as_bytes(), &[0; 300]].concat());
    assert_eq!(codes(&compiled.findings), UNEXPECTED, "{}", told(&compiled));
    assert!(told(&compiled).contains("the file ends in 300 bytes of zero"), "{}", told(&compiled));
    let compiled = check::one(&with("stored \0owl"));
    assert!(!told(&compiled).contains("the file ends"), "{}", told(&compiled));
}

#[test]
fn deceptive_text() {
    rows(&[
        ("override in a comment", with("# \u{202e} left"), UNEXPECTED),
        (
            "override in a label",
            REST.replace("string 40", "label \"\u{202e}x\"; string 40"),
            UNEXPECTED,
        ),
        ("isolate", with("# \u{2066} left"), UNEXPECTED),
        ("joiner in a name", with("let fo\u{200d}x = 1"), UNEXPECTED),
        (
            "escape in a label",
            REST.replace("string 40", "label \"\u{1b}[2J\"; string 40"),
            UNEXPECTED,
        ),
        (
            "one name in two spellings",
            with("let a\u{308}pfel = 1\nlet äpfel = 2"),
            &["name/unused", "name/taken"],
        ),
        (
            "names that differ in case",
            with("prop Owl { node bulb; string 1 node }\nwire shed.2: Owl"),
            &["name/alike"],
        ),
        ("a name that holds a format", with("wire shed.2: owl -> x{}"), UNEXPECTED),
    ]);
    // Whatever stands in a file, the terminal gets no character that steers it.
    for text in ["\u{1b}]52;c;eA==\u{7}", "\u{1b}]8;;http://x\u{7}", "\u{9b}2J", "\u{202e}", "\r"] {
        let compiled =
            check::one(&with(&format!("wire {text}: {text}\nprop {text} {{ label \"{text}\" }}")));
        let said = check::terminal(&compiled);
        let steers =
            |c: char| c.is_control() && c != '\n' || ('\u{202a}'..='\u{202e}').contains(&c);
        assert!(!said.contains(steers), "{text:?}: {said:?}");
    }
    let marks = format!("prop owl {{ label \"a{}\" }}", "\u{301}".repeat(1_000_000));
    let started = Instant::now();
    check::terminal(&check::one(&marks));
    assert!(started.elapsed() < Duration::from_secs(20));
}

#[test]
fn cells_are_no_formulas() {
    for label in ["=HYPERLINK(1)", "+1+1", "-2+3", "@x"] {
        let compiled =
            check::one(&REST.replace("string 40", &format!("label \"{label}\"; string 40")));
        assert!(compiled.findings.is_empty(), "{}", told(&compiled));
        let csv = crate::outputs::table_text(&compiled, "csv");
        assert!(csv.contains(&format!("'{label}")), "{csv}");
    }
    let compiled = check::one(&REST.replace("string 40", "label \"a, b\"; string 40"));
    assert!(crate::outputs::table_text(&compiled, "csv").contains("\"a, b\""));
}

#[test]
fn syntax() {
    rows(&[
        ("brace left open", format!("{REST}prop fox {{ node bulb"), UNEXPECTED),
        ("brace too many", with("}"), UNEXPECTED),
        ("text left open", with("include \"a.tinsel"), UNEXPECTED),
        ("misspelt keyword", with("controler x { }"), UNEXPECTED),
        ("prop without a name", with("prop { node bulb }"), UNEXPECTED),
        ("conflict markers", with("<<<<<<< ours\n=======\n>>>>>>> theirs"), UNEXPECTED),
        ("long dash", REST.replace("1..4", "1\u{2013}4"), UNEXPECTED),
        ("two statements on a line", with("let a = 1 let b = 2"), UNEXPECTED),
        ("three dots", REST.replace("1..4", "1...4"), UNEXPECTED),
        ("range without end", REST.replace("1..4", "1.."), UNEXPECTED),
        ("range without start", REST.replace("1..4", "..4"), UNEXPECTED),
        (
            "a name of keywords",
            with("prop prop { node bulb; string 1 node }\nwire shed.2: prop"),
            &[],
        ),
        (
            "two statements by a semicolon",
            with("prop a { node bulb; string 1 node }; wire shed.2: a"),
            &[],
        ),
    ]);
    // Recovery stays fast: a thousand faults are reported in order and soon.
    for part in ["controller a { ", "}", "wire shed.1 owl\n", "\"", "((((", "[", "->", "\\"] {
        let started = Instant::now();
        let compiled = check::one(&with(&part.repeat(20_000)));
        assert!(!compiled.findings.is_empty(), "{part}");
        sound_or_panic(part, &compiled);
        assert!(started.elapsed() < Duration::from_secs(20), "{part}: {:?}", started.elapsed());
    }
}

#[test]
fn deep_nesting() {
    for (open, close) in [("(", ")"), ("{", "}"), ("[", "]"), ("ports 1..2 { ", " }"), ("-", "")] {
        for depth in [20, 63, 64, 65, 1_000, 100_000] {
            let text = format!(
                "{REST}prop fox {{ node bulb; string {}1{} nodes }}\nwire shed.2: fox\n",
                open.repeat(depth),
                close.repeat(depth)
            );
            let started = Instant::now();
            let compiled = check::one(&text);
            sound_or_panic(open, &compiled);
            assert!(started.elapsed() < Duration::from_secs(20), "{open} {depth}");
            // `-` before a number may be doubled; what nests deeper than 64 is refused. The prop
            // is one level itself.
            if depth > 64 && open != "-" {
                assert!(!compiled.findings.is_empty(), "{open} {depth}");
            }
            if open == "(" {
                assert_eq!(compiled.findings.is_empty(), depth < 64, "{depth}");
            }
        }
    }
    // A missing brace joins statements; what nests too deep in one of them is still not read.
    let deep = "(".repeat(100_000);
    for text in [
        format!("{REST}prop fox * {deep}1\n    string 1 nodes\n}}\n"),
        format!("{REST}prop fox\n    node bulb\n    string {deep}1 nodes\n}}\n"),
    ] {
        let compiled = check::one(&text);
        sound_or_panic("no brace", &compiled);
        assert!(!compiled.findings.is_empty());
    }
}

#[test]
fn includes() {
    let owl = "include \"parts.tinsel\"\n";
    let rest = REST.split_once('\n').unwrap().1;
    let main = format!("{owl}{rest}");
    let node = "node bulb { chip ws2811; colour RGB }\n";
    let twice = format!("{owl}include \"./x/../parts.tinsel\"\n{rest}");
    let of = |texts: &[(&str, &str)]| {
        let compiled = check::many("yard.tinsel", texts);
        sound_or_panic("include", &compiled);
        codes(&compiled.findings)
    };
    assert_eq!(of(&[("yard.tinsel", &main), ("parts.tinsel", node)]), [""; 0]);
    assert_eq!(of(&[("yard.tinsel", &twice), ("parts.tinsel", node)]), [""; 0]);
    let itself = "include \"yard.tinsel\"\n".to_owned() + REST;
    assert_eq!(of(&[("yard.tinsel", &itself)]), ["name/cycle"]);
    let ring = [
        ("yard.tinsel", "include \"a.tinsel\"\n"),
        ("a.tinsel", "include \"b.tinsel\"\n"),
        ("b.tinsel", "include \"yard.tinsel\"\n"),
    ];
    assert_eq!(of(&ring), ["name/cycle"]);
    let missing = of(&[("yard.tinsel", &format!("include \"none.tinsel\"\n{REST}"))]);
    assert_eq!(missing, ["name/unknown"]);
    // A fault in an included text is reported at its own place.
    let broken = check::many(
        "yard.tinsel",
        &[("yard.tinsel", &main), ("parts.tinsel", "node bulb { chp ws2811 }\n")],
    );
    assert!(told(&broken).starts_with("parts.tinsel:1:13"), "{}", told(&broken));
}

#[test]
fn a_row_of_includes() {
    let texts: Vec<(String, String)> = (0..200)
        .map(|at| (format!("f{at}.tinsel"), format!("include \"f{}.tinsel\"\n", at + 1)))
        .chain([("f200.tinsel".to_owned(), REST.to_owned())])
        .collect();
    let texts: Vec<(&str, &str)> = texts.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
    let compiled = check::many("f0.tinsel", &texts);
    sound_or_panic("a row of includes", &compiled);
}

#[test]
fn numbers_and_ranges() {
    let nodes = |number: &str| REST.replace("string 40", &format!("string {number}"));
    let from = |number: &str| REST.replace("from 1", &format!("from {number}"));
    let slots = |number: &str| format!("display \"d\" {{ universe {number} slots }}\n{REST}");
    const NUMBER: &[&str] = &["syntax/number"];
    const RANGE: &[&str] = &["address/range"];
    rows(&[
        ("twenty digits", nodes("99999999999999999999"), NUMBER),
        ("two to the 32", nodes("4294967296"), NUMBER),
        ("two to the 64", nodes("18446744073709551616"), NUMBER),
        ("no nodes", nodes("0"), NUMBER),
        ("negative", nodes("-1"), NUMBER),
        ("a broken one", nodes("1.5"), NUMBER),
        ("thousands", nodes("0_040"), &[]),
        ("leading zeros", nodes("007"), &[]),
        ("division by zero", nodes("1 / 0"), NUMBER),
        ("uneven division", nodes("7 / 2"), NUMBER),
        ("product too large", nodes("4000000000 * 4000000000 * 4000000000"), NUMBER),
        ("negative difference", nodes("1 - 2"), NUMBER),
        ("exponent", nodes("1e3"), NUMBER),
        ("hexadecimal", nodes("0x10"), NUMBER),
        ("one", nodes("1"), &[]),
        ("no port", REST.replace("1..4", "0..4"), NUMBER),
        ("no end of ports", REST.replace("1..4", "1..999999999999"), NUMBER),
        ("backwards", REST.replace("1..4", "4..1"), NUMBER),
        ("just one", REST.replace("1..4", "1..1"), &[]),
        ("universe 0", from("0"), RANGE),
        ("universe 64000", from("64000"), RANGE),
        ("universe 65536", from("65536"), RANGE),
        ("universe 63999", from("63999"), &[]),
        ("no slots", slots("0"), NUMBER),
        ("513 slots", slots("513"), NUMBER),
        ("512 slots", slots("512"), &[]),
        ("a frame in no time", format!("display \"d\" {{ frame rate 0 Hz }}\n{REST}"), NUMBER),
        ("dim to 101", format!("display \"d\" {{ dim to 101 % }}\n{REST}"), NUMBER),
        ("Arabic digit", nodes("\u{663}"), NUMBER),
        (
            "host 256.1.1.1",
            REST.replace("{ universes", "{ host 256.1.1.1; universes"),
            &["net/host"],
        ),
    ]);
}

/// A text of a few bytes must not cost memory or time by the numbers in it.
#[test]
fn small_texts_stay_small() {
    let large = [
        "prop a * 4000000000 { node bulb; string 1 node }\nwire shed.2: a",
        "prop a * 400000 { node bulb; strings 400000 of 1 node }\nwire shed.2: a",
        "prop a { node bulb; strings 4000000000 of 1 node }\nwire shed.2: a",
        "prop a { node bulb; string 4000000000 nodes }\nwire shed.2: a",
        "prop a { node bulb; split 4000000000 strands of 4000000000 nodes }\nwire shed: a",
        "prop a { node bulb; split 400000 strands of 1 node }\nwire shed: a",
        "wire shed.2: owl[1..4000000000]",
        "wire shed.2: owl.1..4000000000",
        "wire shed.1..4000000000: owl by 1",
        "wire shed.2: skip 4000000000",
        "wire shed.2: lead 99999999999999 m of 18 AWG",
        "reserve universes 1..4000000000",
        "reserve shed.1..4000000000",
        "reserve shed.dmx1 slots 1..4000000000",
        "controller b { ports 1..4000000000 { } }",
        "controller b { dmx 1..4000000000 }",
        "receiver b { carries shed.1..4000000000 }",
        "receiver b { carries shed.1..4; ports 1..4000000000 { } }",
        "display \"d\" { spare 4000000000 nodes per port; spare 4000000000 universes per controller }",
        "inject owl every 1 nodes from s through 1 m of 18 AWG",
        "chip c { rate 1 kHz; latch 99999999999999 us }",
        "stored owl[1..999999999999]",
    ];
    for text in large {
        let started = Instant::now();
        let compiled = check::one(&with(text));
        sound_or_panic(text, &compiled);
        assert!(!compiled.findings.is_empty(), "{text}");
        assert!(started.elapsed() < Duration::from_secs(10), "{text}: {:?}", started.elapsed());
    }
    // Each names two of the one before: a few lines, a million million strings if it were expanded.
    let mut doubling = String::from("prop p0 { node bulb; string 1 node }\n");
    for at in 1..60 {
        doubling.push_str(&format!("prop p{at} like p{} {{ strings 2 of 1 node }}\n", at - 1));
    }
    sound_or_panic("doubling", &check::one(&with(&doubling)));
    let mut values = String::from("let v0 = 2\n");
    for at in 1..200 {
        values.push_str(&format!("let v{at} = v{} * v{}\n", at - 1, at - 1));
    }
    sound_or_panic("squaring", &check::one(&with(&values)));
}

#[test]
fn meaning() {
    rows(&[
        (
            "no such controller",
            with("prop fox { node bulb; string 1 node }\nwire shad.2: fox"),
            &["name/unknown"],
        ),
        ("no such prop", with("wire shed.2: owll"), &["name/unknown"]),
        ("wired to nothing declared", "wire any: owl".to_owned(), &["name/unknown"]),
        ("like itself", with("prop fox like fox { }\nwire shed.2: fox"), &["name/cycle"]),
        (
            "same as itself",
            with("prop fox { node bulb; string 1 node; same as fox }\nwire shed.2: fox"),
            &["name/cycle"],
        ),
    ]);
}

/// A missing text may declare any name: only its absence is reported, and what is independent of
/// it.
#[test]
fn what_a_missing_include_declares() {
    let text = "include \"makes.tinsel\"\ncontroller shed { ports 1..2 { } }\n\
        prop owl { node bulb; string side - 1 nodes }\nprop fox { node bud; string 5 nodes }\n\
        wire shed.1: owl -> fox\nwire barn.1: hen\nwire shed.1..2: owl by 0\n";
    let found = check::one(text).findings;
    assert_eq!(codes(&found), ["name/unknown", "syntax/number"]);
    assert!(found[0].message.contains("makes.tinsel"));
}

/// A large display, and a single prop of 60,000 pixels.
#[test]
fn large_displays() {
    let mut text = String::from("node bulb { chip ws2811; colour RGB }\n");
    for at in 0..400 {
        text.push_str(&format!(
            "controller c{at} {{ input e131 unicast; ports 1..16 {{ nodes at most 500 }} }}\n"
        ));
    }
    for at in 0..6_400 {
        text.push_str(&format!("prop p{at} {{ node bulb; string 40 nodes }}\n"));
        text.push_str(&format!("wire c{}.{}: p{at}\n", at / 16, at % 16 + 1));
    }
    let compiled = check::one(&text);
    assert!(compiled.findings.is_empty(), "{}", told(&compiled));
    let one = with(
        "prop wall { node bulb; split 60000 nodes }\nwire big: wall\ncontroller big { ports 1..128 { } }",
    );
    let compiled = check::one(&one);
    sound_or_panic("one prop of 60,000", &compiled);
}

#[test]
fn a_very_long_line() {
    let line = format!("# {}\n{REST}", "x".repeat(10_000_000));
    assert!(check::one(&line).findings.is_empty());
    let columns = format!("wire shed.2: owl{}", " -> nobody".repeat(10_000));
    let compiled = check::one(&with(&columns));
    sound_or_panic("100,000 columns", &compiled);
    let said = check::terminal(&compiled);
    assert!(said.len() < 2_000_000);
    let name = "x".repeat(10_000_000);
    let compiled = check::one(&with(&format!("wire shed.2: {name}")));
    assert!(check::terminal(&compiled).len() < 100_000, "a name of 10 MB is not printed whole");
}

#[test]
fn too_large_a_text() {
    let mut text = REST.to_owned();
    text.push_str(&"#\n".repeat(8 * 1024 * 1024 + 1));
    let compiled = check::one(&text);
    assert_eq!(codes(&compiled.findings), UNEXPECTED, "{}", told(&compiled));
}

/// A chain of a hundred thousand numbers, each computed from the one below it, and a ring of them.
#[test]
fn numbers_that_wait_for_numbers() {
    const MANY: usize = 100_000;
    let row = |last: &str| {
        let each = (1..MANY).map(|at| format!("let a{at} = a{} + 0\n", at + 1));
        let all: String = each.collect();
        format!("{all}let a{MANY} = {last}\n{REST}").replace("string 40", "string a1")
    };
    let compiled = check::one(&row("40"));
    assert!(compiled.findings.is_empty(), "{}", check::told(&compiled));
    let ring = check::one(&row("a1"));
    sound_or_panic("a ring of numbers", &ring);
    assert_eq!(check::codes(&ring.findings), ["name/cycle"]);
    assert_eq!(ring.findings[0].labels.len(), MANY);
    assert!(ring.findings[0].message.len() < 100);
}
