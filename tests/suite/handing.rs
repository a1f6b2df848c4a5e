//! Files for other programs: workbook, MVR, picture, schema. Programs in `tests/readers/` open
//! them; here is what needs no such program.

use crate::check;
use crate::examples::{self, EXAMPLES};
use serde_json::Value;
use tinsel::Compiled;
use tinsel::graph::{self, EdgeKind, Graph, VertexKind};
use tinsel::model::Model;
use tinsel::output::{self, mvr, schema, svg};
use tinsel::plan::Plan;
use tinsel::survey::View;

/// A display whose labels would run as formulas or break out of markup.
const HOSTILE: &str = include_str!("../readers/hostile.tinsel");

fn picture(compiled: &Compiled) -> String {
    let mut out = Vec::new();
    svg::render(&graph::of(&compiled.model), None, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

#[test]
fn archives_have_the_same_bytes_twice_and_no_time_in_them() {
    for (main, ..) in EXAMPLES {
        let (one, two) = (examples::compiled(main), examples::compiled(main));
        let book = |c: &Compiled| {
            let mut out = Vec::new();
            let survey = View::new(&c.model, &c.plan);
            output::find("xlsx").unwrap()(&survey.survey(None), 0, &mut out).unwrap();
            out
        };
        let scene = |c: &Compiled| mvr::render(&c.model, &c.plan).unwrap();
        for (a, b) in [(book(&one), book(&two)), (scene(&one), scene(&two))] {
            assert!(a == b, "{main}");
            assert_eq!(a.get(..4), Some(b"PK\x03\x04".as_slice()));
            // Time and date of the first file: the first day that a zip knows.
            assert_eq!(a.get(10..14), Some([0, 0, 0x21, 0].as_slice()), "{main}");
        }
    }
}

/// Every tag of the picture closes, and each thing and joint of the graph is in it.
#[test]
fn a_picture_is_whole() {
    let hostile = check::one(HOSTILE);
    assert!(hostile.findings.is_empty(), "{}", check::told(&hostile));
    let all = EXAMPLES.map(|(main, ..)| examples::compiled(main));
    for compiled in all.iter().chain([&hostile]) {
        let (text, graph) = (picture(compiled), graph::of(&compiled.model));
        assert_eq!(text, picture(compiled));
        let mut open = Vec::new();
        let mut rest = text.as_str();
        while let Some((_, tag)) = rest.split_once('<') {
            let (tag, behind) = tag.split_once('>').unwrap();
            rest = behind;
            if let Some(closed) = tag.strip_prefix('/') {
                assert_eq!(open.pop().as_deref(), Some(closed));
            } else if !tag.ends_with('/') {
                open.push(tag.split(' ').next().unwrap().to_owned());
            }
        }
        assert!(open.is_empty(), "{open:?}");
        assert_eq!(text.matches("<g>").count(), graph.nodes().count());
        assert_eq!(text.matches("<path").count(), graph.edges().count());
    }
}

/// A ring is drawn too, opened where it was declared first.
#[test]
fn rings_are_drawn_too() {
    let mut ring = Graph::default();
    let names = ["a", "b", "c"];
    let at = names.map(|name| ring.vertex(VertexKind::Controller, name, None));
    for (from, to) in [(0, 1), (1, 2), (2, 0)] {
        ring.edge(at[from], at[to], EdgeKind::After);
    }
    let mut out = Vec::new();
    svg::render(&ring, None, &mut out).unwrap();
    let text = String::from_utf8(out).unwrap();
    for title in ["controller a", "controller c", "a after b", "c after a"] {
        assert!(text.contains(&format!("<title>{title}</title>")), "{text}");
    }
}

/// No box of a picture covers another.
#[test]
fn boxes_stand_apart() {
    let compiled = examples::compiled(EXAMPLES[3].0);
    let text = picture(&compiled);
    let mut places: Vec<(i64, i64)> = text
        .lines()
        .filter(|line| line.starts_with("<g>"))
        .map(|line| {
            let number = |key: &str| {
                let (_, rest) = line.split_once(key).unwrap();
                rest.split('"').next().unwrap().parse::<i64>().unwrap()
            };
            (number("<rect x=\""), number(" y=\""))
        })
        .collect();
    places.sort_unstable();
    for pair in places.windows(2) {
        let [(x, y), (next_x, next_y)] = pair else {
            continue;
        };
        assert!(x + 176 < *next_x || x == next_x && y + 34 < *next_y, "{pair:?}");
    }
}

/// The schema has a place for each key of a table and says that it is always there.
#[test]
fn the_schema_knows_every_key() {
    let mut out = Vec::new();
    let (model, plan) = (Model::default(), Plan::default());
    schema::write("tables", &View::new(&model, &plan).survey(None), &mut out).unwrap();
    let schema: Value = serde_json::from_slice(&out).unwrap();
    for (main, ..) in EXAMPLES {
        let compiled = examples::compiled(main);
        let text = crate::outputs::table_text(&compiled, "json");
        let tables: Value = serde_json::from_str(&text).unwrap();
        for (part, rows) in tables.as_object().unwrap() {
            let at = &schema["properties"][part];
            let (row, known) = match rows {
                Value::Array(rows) => (&rows[0], &at["items"]),
                one => (one, at),
            };
            let mut required: Vec<&str> =
                known["required"].as_array().unwrap().iter().filter_map(Value::as_str).collect();
            let mut keys: Vec<&str> = row.as_object().unwrap().keys().map(String::as_str).collect();
            required.sort_unstable();
            keys.sort_unstable();
            assert_eq!(keys, required, "{main}: {part}");
            assert!(keys.iter().all(|key| known["properties"].get(*key).is_some()));
        }
    }
}
