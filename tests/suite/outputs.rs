//! Every output of every example, read again by another reader than the one that wrote it.

use crate::examples::{self, EXAMPLES};
use serde_json::Value;
use std::collections::BTreeSet;
use tinsel::Compiled;
use tinsel::output::{self, By, View};

/// The table of a display in a format, as the program would print it.
pub fn table_text(compiled: &Compiled, format: &str) -> String {
    table_by(compiled, format, By::String)
}

/// The same for one of its tables.
fn table_by(compiled: &Compiled, format: &str, by: By) -> String {
    let view = View::new(&compiled.model, &compiled.plan);
    let mut out = Vec::new();
    output::find(format)
        .unwrap()
        .write(&view, by, 100, &mut out)
        .unwrap();
    String::from_utf8(out).unwrap()
}

fn json(main: &str) -> Value {
    serde_json::from_str(&table_text(&examples::compiled(main), "json")).unwrap()
}

/// The keys that the contract promises.
const CONTRACT: [(&str, &[&str]); 5] = [
    ("display", &["name", "frame_rate_hz", "universe_slots"]),
    (
        "strings",
        &[
            "prop",
            "instance",
            "string",
            "controller",
            "port",
            "position",
            "nodes",
            "slots",
            "start",
            "end",
        ],
    ),
    (
        "ports",
        &[
            "controller",
            "port",
            "nodes",
            "skipped",
            "limit",
            "start",
            "end",
        ],
    ),
    ("controllers", &["name", "host", "input", "universes"]),
    ("universes", &["universe", "controller", "used", "free"]),
];

#[test]
fn the_contracts_keys_are_there() {
    for (main, ..) in EXAMPLES {
        let table = json(main);
        for (part, keys) in CONTRACT {
            let rows = match &table[part] {
                Value::Array(rows) => rows.clone(),
                one => vec![one.clone()],
            };
            assert!(!rows.is_empty(), "{main}: {part} is empty");
            for row in rows {
                for key in keys {
                    assert!(
                        row.get(key).is_some(),
                        "{main}: {part} without {key}: {row}"
                    );
                }
            }
        }
        for row in table["strings"].as_array().unwrap() {
            for end in ["start", "end"] {
                for key in ["universe", "slot", "channel"] {
                    assert!(row[end][key].is_u64(), "{main}: {end}.{key} of {row}");
                }
            }
        }
        for row in table["controllers"].as_array().unwrap() {
            for key in ["first", "last", "count"] {
                assert!(
                    row["universes"].get(key).is_some(),
                    "{main}: universes.{key} of {row}"
                );
            }
        }
    }
}

/// Numbers that must agree with one another, whoever computed them.
#[test]
fn the_table_agrees_with_itself() {
    for (main, ..) in EXAMPLES {
        let table = json(main);
        let slots = table["display"]["universe_slots"].as_u64().unwrap();
        let number = |row: &Value, end: &str, key: &str| row[end][key].as_u64().unwrap();
        let mut used: BTreeSet<u64> = BTreeSet::new();
        for row in table["strings"].as_array().unwrap() {
            for end in ["start", "end"] {
                let channel = (number(row, end, "universe") - 1) * slots + number(row, end, "slot");
                assert_eq!(channel, number(row, end, "channel"), "{main}: {row}");
            }
            let (start, end) = (
                number(row, "start", "channel"),
                number(row, "end", "channel"),
            );
            // Nodes kept whole may leave slots between them, so a string may be longer than its slots.
            assert!(
                end + 1 - start >= row["slots"].as_u64().unwrap(),
                "{main}: {row}"
            );
            used.extend((start - 1) / slots + 1..=(end - 1) / slots + 1);
        }
        let listed: BTreeSet<u64> = table["universes"]
            .as_array()
            .unwrap()
            .iter()
            .map(|row| row["universe"].as_u64().unwrap())
            .collect();
        assert_eq!(used, listed, "{main}: universes with a slot in use");
        for row in table["universes"].as_array().unwrap() {
            let both = row["used"].as_u64().unwrap() + row["free"].as_u64().unwrap();
            assert_eq!(both, slots, "{main}: {row}");
        }
    }
}

#[test]
fn yaml_says_what_json_says() {
    for (main, ..) in EXAMPLES {
        let compiled = examples::compiled(main);
        let yaml: Value = serde_yaml::from_str(&table_text(&compiled, "yaml")).unwrap();
        let json: Value = serde_json::from_str(&table_text(&compiled, "json")).unwrap();
        assert_eq!(yaml, json, "{main}");
    }
}

#[test]
fn csv_has_a_row_for_each_string() {
    for (main, ..) in EXAMPLES {
        let compiled = examples::compiled(main);
        let text = table_text(&compiled, "csv");
        let table = json(main);
        let strings = table["strings"].as_array().unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let heads: Vec<String> = reader
            .headers()
            .unwrap()
            .iter()
            .map(str::to_owned)
            .collect();
        let column = |name: &str| heads.iter().position(|head| head == name).unwrap();
        let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(records.len(), strings.len(), "{main}");
        for (record, row) in records.iter().zip(strings) {
            assert_eq!(
                &record[column("prop")],
                row["prop"].as_str().unwrap(),
                "{main}"
            );
            assert_eq!(
                &record[column("port")],
                row["port"].as_str().unwrap(),
                "{main}"
            );
            assert_eq!(
                record[column("start_channel")].parse::<u64>().unwrap(),
                row["start"]["channel"].as_u64().unwrap(),
                "{main}"
            );
        }
    }
}

#[test]
fn text_fits_a_hundred_columns() {
    for (main, ..) in EXAMPLES {
        let compiled = examples::compiled(main);
        for by in By::ALL {
            for line in table_by(&compiled, "text", by).lines() {
                let width = unicode_width::UnicodeWidthStr::width(line);
                assert!(width <= 100, "{main}: {width} columns: {line}");
                assert!(
                    !line.contains('\u{1b}'),
                    "{main}: colour without a terminal: {line}"
                );
            }
        }
    }
}

#[test]
fn every_output_gives_the_same_bytes_twice() {
    for (main, ..) in EXAMPLES {
        for format in output::ALL {
            for by in By::ALL {
                let (one, two) = (examples::compiled(main), examples::compiled(main));
                let name = format.name();
                assert_eq!(
                    table_by(&one, name, by),
                    table_by(&two, name, by),
                    "{main}: {name}"
                );
            }
        }
    }
}
