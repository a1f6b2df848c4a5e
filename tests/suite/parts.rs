//! The parts list, counted by hand and against the table.

use crate::check;
use crate::examples::{self, EXAMPLES};
use serde_json::Value;
use tinsel::Compiled;
use tinsel::survey::parts;

/// A list as (item, amount, unit, note).
fn list(compiled: &Compiled) -> Vec<(String, String, &'static str, String)> {
    parts::rows(&compiled.model, &compiled.plan)
        .into_iter()
        .map(|row| (row.item, row.amount.words(), row.unit, row.note))
        .collect()
}

fn in_format(compiled: &Compiled, format: &str) -> String {
    let rows = parts::rows(&compiled.model, &compiled.plan);
    crate::outputs::written(&parts::survey(&rows), format)
}

const SMALL: &str = r#"
display "bench" { lead of 18 AWG }
node bud { chip ws2811; colour RGB; volts 12 V; draw 55 mA; gauge 18 AWG }
controller hut { host 192.168.7.9; universes from 1; ports 1..2 { volts 12 V; fuse 5 A }; dmx 1 }
receiver far { carries hut.2; ports 1..1 { fuse 4 A } }
prop owl * 3 { node bud; string 50 nodes }
prop ridge { node bud; string all: left 20 nodes -> skip 2 -> lead 1.5 m of 20 AWG -> right 30 nodes }
prop cone { node bud; strings 1 of 6 strands of 10 nodes }
prop beam * 2 { slots 6 }
wire hut.1: lead 2 m -> owl[1] -> skip 1 -> lead 0.5 m -> owl[2..3]
wire far.1: ridge -> cone
wire hut.dmx1: beam
stored owl[3]
supply shelf { volts 12 V; rated 350 W }
power hut.1 from shelf through 0.5 m of 12 AWG fuse 10 A
power far.1 from shelf through 3 m of 12 AWG
inject cone every 2 strands from shelf through 4 m of 16 AWG fuse 5 A
inject ridge at end from shelf through 2 m of 16 AWG fuse 4 A
"#;

#[test]
fn a_list_counted_by_hand() {
    let compiled = check::one(SMALL);
    assert!(!compiled.blocks(), "{}", check::told(&compiled));
    let expected = [
        ("bud, string of 50 nodes", "3", "pieces", "1 of them stored"),
        ("bud, string of 50 nodes", "1", "pieces", "and 2 dark within it"),
        ("bud, string of 60 nodes", "1", "pieces", ""),
        ("bud, in all", "262", "nodes", "ws2811, RGB, 12 V"),
        ("beam, fixture", "2", "pieces", "6 slots"),
        ("data lead, 18 AWG", "2.5", "m", "in 2 pieces, the longest 2 m"),
        ("data lead, 20 AWG", "1.5", "m", "in one piece"),
        ("feed lead, 12 AWG", "3.5", "m", "in 2 pieces, the longest 3 m"),
        ("feed lead, 16 AWG", "14", "m", "in 4 pieces, the longest 4 m"),
        // Before owl 1 and 2, the two leads and the dark node; before ridge and cone.
        (
            "plug and socket of a pixel line",
            "7",
            "pieces",
            "before each string, lead and dark node",
        ),
        ("dark node between strings", "1", "pieces", "lights nothing, carries the data on"),
        ("plug of a DMX line", "2", "pieces", "one into each fixture and lead"),
        ("DMX terminator", "1", "pieces", "one at the end of each line"),
        ("point of injection", "4", "pieces", "into cone and ridge"),
        ("fuse of 4 A", "2", "pieces", "1 at a port, 1 at an injection"),
        ("fuse of 5 A", "4", "pieces", "1 at a port, 3 at injections"),
        ("fuse of 10 A", "1", "pieces", "1 in a feed of ports"),
        ("supply, 12 V, 350 W", "1", "pieces", "shelf"),
        ("hut, controller", "1", "pieces", "2 of 2 pixel ports, 1 of 1 DMX output in use"),
        ("far, receiver", "1", "pieces", "1 of 1 port in use"),
        ("ports in use", "3", "ports", "hut.1, far.1 and hut.dmx1"),
    ];
    let expected: Vec<_> = expected
        .iter()
        .map(|(item, amount, unit, note)| {
            ((*item).to_owned(), (*amount).to_owned(), *unit, (*note).to_owned())
        })
        .collect();
    assert_eq!(list(&compiled), expected);
}

/// Strings, fixtures, nodes and ports in all are those of the table.
#[test]
fn the_list_agrees_with_the_table() {
    for (main, ..) in EXAMPLES {
        let compiled = examples::compiled(main);
        let rows = parts::rows(&compiled.model, &compiled.plan);
        let sum = |group: &str, unit: &str| -> u64 {
            rows.iter()
                .filter(|row| row.group == group && row.unit == unit)
                .map(|row| row.amount.value as u64)
                .sum()
        };
        let table = crate::outputs::table_text(&compiled, "json");
        let table: Value = serde_json::from_str(&table).unwrap();
        let all = table["strings"].as_array().unwrap();
        let fixtures = all.iter().filter(|row| row["nodes"].is_null()).count() as u64;
        let strings = all.len() as u64 - fixtures;
        let lit = all.iter().filter_map(|row| row["nodes"].as_u64());
        let dark = all.iter().filter_map(|row| row["skips"].as_u64());
        let nodes = lit.sum::<u64>() + dark.sum::<u64>();
        let ports = table["ports"].as_array().unwrap().len() as u64;
        assert_eq!(sum("strings", "pieces"), strings, "{main}");
        assert_eq!(sum("fixtures", "pieces"), fixtures, "{main}");
        assert_eq!(sum("strings", "nodes"), nodes, "{main}");
        assert_eq!(sum("boxes", "ports"), ports, "{main}");
    }
}

#[test]
fn each_format_has_every_row() {
    for (main, ..) in EXAMPLES {
        let compiled = examples::compiled(main);
        let rows = list(&compiled);
        let json: Value = serde_json::from_str(&in_format(&compiled, "json")).unwrap();
        assert_eq!(json["parts"].as_array().unwrap().len(), rows.len());
        let csv = in_format(&compiled, "csv");
        let mut reader = csv::Reader::from_reader(csv.as_bytes());
        for (record, (item, amount, unit, note)) in reader.records().zip(&rows) {
            let record = record.unwrap();
            assert_eq!(
                (&record[1], &record[2], &record[3], &record[4]),
                (item.as_str(), amount.as_str(), *unit, note.as_str())
            );
        }
        let text = in_format(&compiled, "text");
        for (item, ..) in &rows {
            assert!(text.contains(item.as_str()), "{main}: {item}");
        }
        assert!(text.lines().all(|line| line.chars().count() <= 100));
    }
}
