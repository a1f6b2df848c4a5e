//! Every output of every example, read again by another reader than the one that wrote it.

use crate::check;
use crate::examples::{self, EXAMPLES};
use serde_json::Value;
use std::collections::BTreeSet;
use tinsel::Compiled;
use tinsel::output;
use tinsel::survey::{BY, View};
use tinsel::table::Survey;

/// The table of a display in a format, as the program would print it.
pub fn table_text(compiled: &Compiled, format: &str) -> String {
    let view = View::new(&compiled.model, &compiled.plan);
    written(&view.survey(None), format)
}

/// A survey in a format.
pub fn written(survey: &Survey<'_>, format: &str) -> String {
    let mut out = Vec::new();
    output::find(format).unwrap()(survey, 100, &mut out).unwrap();
    String::from_utf8_lossy(&out).into_owned()
}

/// The same for one of its tables.
pub fn table_by(compiled: &Compiled, format: &str, by: &str) -> String {
    let view = View::new(&compiled.model, &compiled.plan);
    written(&view.survey(Some(by)), format)
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
    ("ports", &["controller", "port", "nodes", "skipped", "limit", "start", "end"]),
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
                    assert!(row.get(key).is_some(), "{main}: {part} without {key}: {row}");
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
                assert!(row["universes"].get(key).is_some(), "{main}: universes.{key} of {row}");
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
            let (start, end) = (number(row, "start", "channel"), number(row, "end", "channel"));
            // With whole nodes a string may be longer than its slots.
            assert!(end + 1 - start >= row["slots"].as_u64().unwrap(), "{main}: {row}");
            used.extend((start - 1) / slots + 1..=(end - 1) / slots + 1);
        }
        let listed: BTreeSet<u64> = table["universes"]
            .as_array()
            .unwrap()
            .iter()
            .map(|row| row["universe"].as_u64().unwrap())
            .collect();
        assert_eq!(used, listed, "{main}: universes with a slot in use");
        for row in rows(&table, "controllers") {
            let strings = || rows(&table, "strings").filter(|s| s["controller"] == row["name"]);
            let first = strings().map(|s| number(s, "start", "universe")).min();
            let last = strings().map(|s| number(s, "end", "universe")).max();
            let told = ["first", "last"].map(|key| row["universes"][key].as_u64());
            assert_eq!(told, [first, last], "{main}: {row}");
        }
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
        let heads: Vec<String> = reader.headers().unwrap().iter().map(str::to_owned).collect();
        let column = |name: &str| heads.iter().position(|head| head == name).unwrap();
        let records: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
        assert_eq!(records.len(), strings.len(), "{main}");
        for (record, row) in records.iter().zip(strings) {
            assert_eq!(&record[column("prop")], row["prop"].as_str().unwrap(), "{main}");
            assert_eq!(&record[column("port")], row["port"].as_str().unwrap(), "{main}");
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
        for (by, _) in BY {
            for line in table_by(&compiled, "text", by).lines() {
                let width = unicode_width::UnicodeWidthStr::width(line);
                assert!(width <= 100, "{main}: {width} columns: {line}");
                assert!(!line.contains('\u{1b}'), "{main}: colour without a terminal: {line}");
            }
        }
    }
}

#[test]
fn every_output_gives_the_same_bytes_twice() {
    for (main, ..) in EXAMPLES {
        for (name, _) in output::ALL {
            for (by, _) in BY {
                let (one, two) = (examples::compiled(main), examples::compiled(main));
                let (one, two) = (table_by(&one, name, by), table_by(&two, name, by));
                assert_eq!(one, two, "{main}: {name}");
            }
        }
    }
}

/// A controller whose strings show others' data must listen to their universes; nothing else
/// follows.
#[test]
fn a_controller_shows_every_universe_that_it_listens_to() {
    let compiled = check::one(
        "display \"m\" { spare 2 universes per controller }\n\
         node n { chip ws2811; colour RGB }\n\
         controller c { ports 1..8 { }; dmx 1 }\n\
         controller d { input artnet; host 10.0.0.4; ports 1..8 { }; dmx 1 }\n\
         controller e { universes after d; ports 1..8 { } }\n\
         controller f { input ddp; host 10.0.0.6; ports 1..8 { } }\n\
         prop big { node n; split 900 nodes }\n\
         prop m { same as big }\n\
         prop z * 4 { node n; string 200 nodes }\n\
         prop y * 2 { same as z[3] }\n\
         prop x { same as z[4] }\n\
         prop lamp * 2 { slots 6 }\n\
         prop twin { same as lamp[2] }\n\
         wire c.1..2: big\n\
         wire c.3: z[1..3]\n\
         wire c.dmx1: lamp[1] -> lamp[2] at 100\n\
         wire d.3..4: m\n\
         wire d.1: y[1]\n\
         wire d.dmx1: twin\n\
         wire e.1: y[2]\n\
         wire e.2: z[4]\n\
         wire f.1: x\n",
    );
    assert!(!compiled.has_errors(), "{}", check::told(&compiled));
    let table: Value = serde_json::from_str(&table_text(&compiled, "json")).unwrap();
    let controllers: Vec<(u64, u64, u64, u64)> = rows(&table, "controllers")
        .map(|row| {
            let of = |key: &str| row["universes"][key].as_u64().unwrap();
            let spare = row["spare_universes"].as_u64().unwrap();
            (of("first"), of("last"), of("count"), spare)
        })
        .collect();
    // c: big, z[1..3] and the lamps. d: big in 1 to 6, z[3] in 8 and 9, lamps in 10. e: z[3], own
    // z[4].
    let expected = [(1, 10, 10, 2), (1, 10, 9, 0), (8, 14, 4, 2), (13, 14, 2, 0)];
    assert_eq!(controllers, expected);
    assert_eq!(table["controllers"][1]["first_address"], "1 (0:0:1)");
    assert_eq!(table["controllers"][1]["last_address"], "10 (0:0:10)");
    let universes: Vec<(u64, &str, u64, Vec<&str>)> = rows(&table, "universes")
        .map(|row| {
            let number = |key: &str| row[key].as_u64().unwrap();
            let also = row["also"].as_array().unwrap().iter();
            let also = also.map(|other| other["controller"].as_str().unwrap());
            (
                number("universe"),
                row["controller"].as_str().unwrap(),
                number("used"),
                also.collect::<Vec<&str>>(),
            )
        })
        .filter(|(_, _, _, also)| !also.is_empty())
        .collect();
    // 900 nodes are 2700 slots: 140 in universe 6, where z[1] goes on.
    let expected = [
        (1, "c", 512, vec!["d"]),
        (2, "c", 512, vec!["d"]),
        (3, "c", 512, vec!["d"]),
        (4, "c", 512, vec!["d"]),
        (5, "c", 512, vec!["d"]),
        (6, "c", 512, vec!["d"]),
        (8, "c", 512, vec!["d", "e"]),
        (9, "c", 404, vec!["d", "e"]),
        (10, "c", 12, vec!["d"]),
        (13, "e", 512, vec!["f"]),
        (14, "e", 88, vec!["f"]),
    ];
    assert_eq!(universes, expected);
    let text = table_by(&compiled, "text", "universe");
    assert!(
        text.contains("c, d and e   512     0  multicast 239.255.0.8 and Port-Address 8 (0:0:8)"),
        "{text}"
    );
    assert!(text.contains("multicast 239.255.0.13 and 10.0.0.6"), "{text}");
    let used = rows(&table, "universes").count();
    assert_eq!(used, 12);
}

fn rows<'a>(table: &'a Value, key: &str) -> impl Iterator<Item = &'a Value> {
    table[key].as_array().unwrap().iter()
}

/// Of a prop of a `stock` file only the strings that are named count.
#[test]
fn a_prop_counts_only_what_is_in_the_display() {
    let main = "stock \"kept.tinsel\"\ncontroller pier { ports 1..4 { } }\nwire pier.1: arch.2\n";
    let kept = "node dot { chip ws2811; colour RGB }\nprop arch { node dot; string 7 nodes; string 9 nodes }\n";
    let compiled = check::many(check::NAME, &[(check::NAME, main), ("kept.tinsel", kept)]);
    let table: Value = serde_json::from_str(&table_text(&compiled, "json")).unwrap();
    let row = &table["props"][0];
    let counts = ["strings", "strands", "nodes_per_strand", "nodes", "slots"].map(|key| &row[key]);
    assert_eq!(counts, [1, 1, 9, 9, 27], "{row}");
    assert_eq!((&row["starts"], &row["built"]), (&Value::from("1/1"), &Value::from("")), "{row}");
}

#[test]
fn dark_nodes_before_a_string_are_counted_to_the_end() {
    let skips = "skip 32000000 -> ".repeat(140);
    let text = format!(
        "node dot {{ chip apa102; colour RGB }}\nprop arch {{ node dot; string 9 nodes }}\n\
         controller pier {{ input ddp; ports 1..4 {{ }} }}\nwire pier.1: {skips}arch\n"
    );
    let table = table_by(&check::one(&text), "csv", "prop");
    assert!(table.contains(",4294967295,"), "{table}");
}

/// A universe that goes to many hosts names three of them.
#[test]
fn where_a_universe_is_sent_counts_all_hosts() {
    let mut text = "node dot { chip ws2811; colour RGB }\n".to_owned();
    for at in 1..=5 {
        let same = if at > 1 { "same as p1" } else { "" };
        text.push_str(&format!(
            "controller c{at} {{ host 10.0.0.{at}; input ddp; universes from 1; ports 1..2 {{ }} }}\n\
             prop p{at} {{ node dot; string 9 nodes; {same} }}\nwire c{at}.1: p{at}\n"
        ));
    }
    let table = table_by(&check::one(&text), "text", "universe");
    assert!(table.contains("10.0.0.1, 10.0.0.2, 10.0.0.3 and 2 more"), "{table}");
}
