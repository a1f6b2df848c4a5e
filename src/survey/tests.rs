//! Rows of a small model laid out by hand: what is used, free and in one piece.

use super::{BY, View};
use crate::model::{
    Addressing, Align, Controller, ControllerId, Cut, Details, Display, Model, NodeId, NodeKind,
    Output, Piece, PieceKind, Prop, PropId, Shape, ShapeId, Start, StringDef, StringId,
};
use crate::plan::{ChainPiece, ControllerPlan, Placed, Plan, PortPlan, Why};
use crate::protocol::{Input, UniverseSlots};
use crate::source::Span;

fn boathouse(whole: bool) -> Controller {
    Controller {
        name: "boathouse".into(),
        at: Span::default(),
        label: None,
        host: None,
        input: Input::default(),
        input_at: None,
        start: Start::Auto,
        start_at: None,
        most_universes: None,
        universe_slots: None,
        priority: None,
        sync: None,
        addressing: Addressing::PerPort,
        addressing_at: None,
        align: Align::Off,
        whole_nodes: whole,
        whole_nodes_at: None,
        dim: None,
        stands: None,
        ports: Vec::new(),
        dmx: Vec::new(),
        draw_mw: None,
        circuit: None,
        broken: false,
        stock: false,
    }
}

/// One controller with one port. `strings` are (slots, first channel from 0, whose data it shows).
#[allow(clippy::too_many_lines, reason = "a table: a model and its plan, field by field")]
fn laid_out(whole: bool, strings: &[(u32, u64, Option<u32>)]) -> (Model, Plan) {
    let mut model = Model {
        display: Display {
            name: "Kestrel \u{85}\u{7f}\u{feff}\"no\"".into(),
            frame_rate_mhz: 29_970,
            ..Display::default()
        },
        ..Model::default()
    };
    model.nodes.push(NodeKind {
        name: "bullet".into(),
        at: Span::default(),
        chip: None,
        colour: "RGB".into(),
        slots: 3,
        bits: 24,
        volts: None,
        draw: None,
        idle_ua: 0,
        floor: None,
        pitch_um: None,
        gauge: None,
    });
    model.controllers.push(boathouse(whole));
    model.props.push(Prop {
        name: "heron".into(),
        at: Span::default(),
        count: Some(u32::try_from(strings.len()).unwrap()),
        first: 0,
        cut: Cut::Even(1),
        details: Some(Box::new(Details { label: Some("=1+1".into()), ..Details::default() })),
        broken: false,
        stock: false,
    });
    let mut port = PortPlan {
        controller: ControllerId(0),
        output: Output::Pixel(3),
        pieces: Vec::new(),
        nodes: 0,
        skipped: 0,
        slots: 0,
        limit: Some(800),
    };
    let mut plan = Plan { universe_slots: UniverseSlots::ALL, ..Plan::default() };
    for (at, (slots, start, same)) in strings.iter().enumerate() {
        let id = StringId::from(at);
        model.shapes.push(Shape {
            at: Span::default(),
            name: None,
            node: Some(NodeId(0)),
            nodes: slots / 3,
            slots: *slots,
            skips: 0,
            strand: None,
            runs: Vec::new(),
            loads: 0,
        });
        model.strings.push(StringDef {
            prop: PropId(0),
            member: id.0 + 1,
            number: 1,
            shape: ShapeId(id.0),
            stored: false,
            same_as: same.map(StringId),
        });
        // A whole-node run of 170 nodes fills 510 slots of 512.
        let full = u64::from(*slots) / 510;
        let end = start + u64::from(*slots) - 1 + if whole { 2 * full } else { 0 };
        plan.placed.push(Some(Placed {
            port: 0,
            position: id.0 + 1,
            start: *start,
            end,
            why: same.map_or(Why::First, |other| Why::SameAs(StringId(other))),
        }));
        port.nodes += slots / 3;
        port.slots += slots;
        port.pieces.push(ChainPiece {
            piece: Piece { at: Span::default(), kind: PieceKind::String(id, None) },
            receiver: None,
        });
    }
    plan.ports.push(port);
    plan.controllers.push(ControllerPlan {
        ports: 0..1,
        begins: 1,
        universes: Some((1, 2)),
        last_given: 4,
    });
    (model, plan)
}

fn text(view: &View<'_>, format: &str, by: Option<&str>) -> String {
    let mut out = Vec::new();
    let format = crate::output::find(format).unwrap();
    format(&view.survey(by), 100, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

#[test]
fn padding_of_whole_nodes_is_not_used_and_breaks_a_prop() {
    let (model, plan) = laid_out(true, &[(600, 0, None), (30, 602, None)]);
    let view = View::new(&model, &plan);
    let used: Vec<(u32, u32, u32)> =
        view.universes().map(|u| (u.universe, u.used, u.free)).collect();
    assert_eq!(used, [(1, 510, 2), (2, 120, 392)]);
    let whole: Vec<bool> = view.props().map(|prop| prop.contiguous).collect();
    assert_eq!(whole, [false, true]);
}

#[test]
fn shared_slots_count_once() {
    let (model, plan) = laid_out(false, &[(600, 0, None), (600, 0, Some(0)), (12, 609, None)]);
    let view = View::new(&model, &plan);
    let used: Vec<(u32, u32)> = view.universes().map(|u| (u.universe, u.used)).collect();
    assert_eq!(used, [(1, 512), (2, 100)]);
    let controller = view.controllers().next().unwrap();
    assert_eq!((controller.universes.ends, controller.universes.count), (Some((1, 2)), 2));
    assert_eq!(controller.spare_universes, 2);
    // (126 + 66) bytes and 512, and the same with the highest slot 109, 8 bits each, 29.97 times a
    // second.
    assert_eq!(controller.mbit_per_s.words(), "0.24");
    assert_eq!(controller.addresses.unwrap().1, "239.255.0.2");
}

#[test]
fn narrowed_to_a_member_only_what_carries_it_is_left() {
    let (model, plan) = laid_out(false, &[(510, 0, None), (30, 512, None)]);
    let view = View::new(&model, &plan).only("heron[2]").ok().unwrap();
    assert_eq!(view.strings().count(), 1);
    assert_eq!(view.universes().map(|u| u.universe).collect::<Vec<_>>(), [2]);
    let whole = View::new(&model, &plan).only("boathouse.3").ok().unwrap();
    assert_eq!(whole.strings().count(), 2);
    let near = View::new(&model, &plan).only("herno").err().unwrap();
    assert_eq!(near, ["heron"]);
}

#[test]
fn csv_cells_are_no_formulas() {
    let (model, plan) = laid_out(false, &[(30, 0, None)]);
    let csv = text(&View::new(&model, &plan), "csv", None);
    assert!(csv.contains(",'=1+1,"), "{csv}");
    assert_eq!(csv.matches("\r\n").count(), 2, "{csv}");
}

#[test]
fn a_table_for_people_fits_a_hundred_columns() {
    let (mut model, plan) = laid_out(false, &[(30, 0, None), (3_000, 40_000_000, None)]);
    if let Some(prop) = model.props.rows_mut().first_mut() {
        prop.name = "a-name-that-is-much-longer-than-anybody-would-write-for-a-prop".into();
        prop.details.get_or_insert_default().label =
            Some("and a label, too, that says what this is and who keeps the key of it".into());
    }
    let view = View::new(&model, &plan);
    for (by, _) in BY {
        let text = text(&view, "text", Some(by));
        assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    }
}

#[test]
fn yaml_says_what_json_says() {
    let (model, plan) = laid_out(true, &[(600, 0, None), (30, 602, Some(0))]);
    let empty = (Model::default(), Plan::default());
    for view in [View::new(&model, &plan), View::new(&empty.0, &empty.1)] {
        let json: serde_json::Value = serde_json::from_str(&text(&view, "json", None)).unwrap();
        let yaml: serde_json::Value = serde_yaml::from_str(&text(&view, "yaml", None)).unwrap();
        assert_eq!(yaml, json);
    }
}
