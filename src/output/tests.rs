//! What all formats do, on a survey made by hand.

use super::{ALL, find};
use crate::table::{Cell, Column, Decimal, Head, Kind, Part, Point, Row, Survey, Table, columns};

/// A row with one of everything.
struct Thing {
    name: &'static str,
    count: Option<u32>,
    length: Decimal,
    place: Option<Point>,
    tags: Vec<String>,
}

impl Row for Thing {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "name" "Its name." => row.name, shown("thing");
            number "count" "How many." => row.count, maybe, shown("count");
            decimal "length_m" "How long." => row.length, shown("length"), unit("m", 1, 1);
            point "place" "Where." => row.place, maybe, shown("place");
            texts "tags" "What is tied to it." => row.tags.as_slice();
            flag "lit" "Whether it lights." => row.count.is_some();
        }
    }

    fn group(&self) -> &str {
        self.name.get(..1).unwrap_or("")
    }

    fn remark(&self) -> String {
        self.tags.join(" ")
    }
}

fn things() -> Vec<Thing> {
    let thing = |name, count, length, place, tags: &[&str]| Thing {
        name,
        count,
        length: Decimal::new(length, 1_000),
        place,
        tags: tags.iter().map(|tag| (*tag).to_owned()).collect(),
    };
    let place = Point { universe: 2, slot: 7, channel: 519 };
    vec![
        thing("arch", Some(3), 2_540, Some(place), &["wet", "tall"]),
        thing("=1+1", None, -500, None, &[]),
        thing("a\"b, \u{2028}<i>\u{85}", Some(0), 0, Some(place), &["\u{1}"]),
    ]
}

fn written(rows: &[Thing], format: &str) -> String {
    let kept = Head::new("kept", Kind::Flag, "Whether.");
    let parts = vec![
        Part::Value(kept, true.into()),
        Part::Words("three things".to_owned()),
        Part::Table(Table::list("things", "Things.", rows)),
        Part::Group(Head::new("more", Kind::Text, "More."), None),
        Part::Group(
            Head::new("last", Kind::Text, "The last."),
            Some(vec![Part::Value(kept, Cell::None)]),
        ),
    ];
    let survey = Survey { title: "Shed <1>".to_owned(), parts };
    let mut out = Vec::new();
    find(format).unwrap()(&survey, 100, &mut out).unwrap();
    String::from_utf8_lossy(&out).into_owned()
}

#[test]
fn json_and_yaml_say_the_same_to_readers_of_others() {
    // The last row of a long table is where the bytes gathered so far are passed on.
    let long = Thing { tags: vec!["x".repeat(super::GATHERED)], ..things().remove(0) };
    for rows in [things(), Vec::new(), vec![long]] {
        let json: serde_json::Value = serde_json::from_str(&written(&rows, "json")).unwrap();
        let yaml: serde_json::Value = serde_yaml::from_str(&written(&rows, "yaml")).unwrap();
        assert_eq!(yaml, json);
        assert_eq!(json["things"].as_array().unwrap().len(), rows.len());
        assert!(json["more"].is_null() && json["last"]["kept"].is_null());
    }
    let json: serde_json::Value = serde_json::from_str(&written(&things(), "json")).unwrap();
    let (first, third) = (&json["things"][0], &json["things"][2]);
    assert_eq!(first["length_m"], serde_json::json!(2.54));
    assert_eq!(first["place"]["channel"], 519);
    assert_eq!(third["name"], "a\"b, \u{2028}<i>\u{85}");
    assert_eq!(third["tags"][0], "\u{1}");
}

#[test]
fn csv_is_read_by_another_reader_and_runs_nothing() {
    let text = written(&things(), "csv");
    let mut reader = csv::Reader::from_reader(text.as_bytes());
    let heads: Vec<&str> = reader.headers().unwrap().iter().collect();
    let expected = [
        "name",
        "count",
        "length_m",
        "place_universe",
        "place_slot",
        "place_channel",
        "tags",
        "lit",
    ];
    assert_eq!(heads, expected);
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let row = |at: usize| rows[at].iter().collect::<Vec<_>>();
    assert_eq!(row(0), ["arch", "3", "2.54", "2", "7", "519", "wet tall", "yes"]);
    assert_eq!(row(1), ["'=1+1", "", "-0.5", "", "", "", "", "no"]);
    assert_eq!(row(2).first(), Some(&"a\"b, \u{2028}<i>\u{85}"));
    assert_eq!(text.matches("\r\n").count(), 4);
}

#[test]
fn people_read_figures_with_units_and_nothing_that_steers() {
    let text = written(&things(), "text");
    assert!(text.starts_with("three things\n\n"), "{text}");
    assert!(text.contains("arch") && text.contains("2.5 m") && text.contains("2/7"), "{text}");
    assert!(text.contains("-0.5 m"), "{text}");
    assert!(!text.contains('\u{85}') && !text.contains('\u{2028}'), "{text}");
    assert!(written(&[], "text").ends_with("no things\n"));
    let html = written(&things(), "html");
    assert!(html.contains("<h1>Shed &lt;1&gt;</h1>") && html.contains("three things"), "{html}");
    assert!(html.contains("<td class=\"n\">2.5 m</td>") && !html.contains("<i>"), "{html}");
    assert!(html.contains("Mains work is for somebody licensed"), "{html}");
}

#[test]
fn the_same_survey_gives_the_same_bytes() {
    for (name, _) in ALL {
        assert_eq!(written(&things(), name), written(&things(), name), "{name}");
    }
}
