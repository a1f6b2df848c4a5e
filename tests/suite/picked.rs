//! Ports that the compiler picks, seen from the display: what `prefer` changes, what fuses hold
//! back, what is known of the answer.

use crate::check;
use crate::diagnostics::edited;
use crate::keeping::{around, lock_of};
use tinsel::Compiled;
use tinsel::diagnostic::Severity;

/// Prop and port of each string, in the order of the display.
fn ports(compiled: &Compiled) -> Vec<String> {
    let model = &compiled.model;
    let strings = (0..model.strings.len()).map(|index| {
        let id = tinsel::model::StringId(index as u32);
        let placed = compiled.plan.of(id)?;
        let port = &compiled.plan.ports.as_slice()[placed.port as usize];
        let controller = model.controller(port.controller)?;
        Some(format!("{}.{}", controller.name, port.output.name()))
    });
    strings.map(|port| port.unwrap_or_default()).collect()
}

fn picked(text: &str) -> Vec<String> {
    let compiled = check::one(text);
    assert!(!compiled.has_errors(), "{}", check::told(&compiled));
    ports(&compiled)
}

/// Two props far apart, each beside a controller.
fn two_sides(prefer: &str) -> Vec<String> {
    picked(&format!(
        "display \"two sides\" {{ {prefer} }}\n\
         node n {{ chip ws2811; colour RGB }}\n\
         controller west {{ stands at 0 m, 0 m; ports 1..4 {{ nodes at most 500 }} }}\n\
         controller east {{ stands at 90 m, 0 m; ports 1..4 {{ nodes at most 500 }} }}\n\
         prop a {{ node n; string 200 nodes; stands at 1 m, 0 m }}\n\
         prop b {{ node n; string 200 nodes; stands at 89 m, 0 m }}\n\
         prop c {{ node n; string 100 nodes; stands at 2 m, 0 m }}\n\
         wire any: a, b, c\n"
    ))
}

#[test]
fn the_preference_decides_what_comes_first() {
    let fewest = two_sides("");
    assert_eq!(fewest, ["west.1", "west.1", "west.1"]);
    assert_eq!(two_sides("prefer fewest ports"), fewest);
    assert_eq!(two_sides("prefer shortest leads"), ["west.1", "east.1", "west.1"]);
    let even = two_sides("prefer even load");
    let on = |side: &str| even.iter().filter(|port| port.starts_with(side)).count();
    assert_eq!((on("west"), on("east")), (2, 1), "{even:?}");
}

#[test]
fn a_refusal_names_each_chip_that_it_is_about() {
    let told = check::told(&check::one(
        "display \"kiosk\" { frame rate 20 Hz }\n\
         node warm { chip ws2811; colour RGB }\n\
         node cold { chip sk6812; colour RGB }\n\
         controller hut { ports 1..2 { nodes at most 100 } }\n\
         prop sign * 2 { node warm; string 70 nodes }\n\
         prop vane { node cold; string 80 nodes }\n",
    ));
    let whole = "need 3 ports of any controller that drive `sk6812` or `ws2811`, and 2 have room";
    assert!(told.contains(whole), "{told}");
}

#[test]
fn a_fuse_holds_back_what_it_does_not_feed() {
    let yard = |settings: &str, display: &str| {
        ports(&check::one(&format!(
            "display \"fuses\" {{ {display} }}\n\
             node n {{ chip ws2811; colour RGB; volts 12 V; draw 30 mA }}\n\
             controller c {{ ports 1..4 {{ nodes at most 800; volts 12 V; {settings} }} }}\n\
             prop a {{ node n; string 100 nodes }}\n\
             prop b {{ node n; string 100 nodes }}\n\
             wire c: a, b\n"
        )))
    };
    assert_eq!(yard("", ""), ["c.1", "c.1"]);
    // 3 A each, and 80 % of a fuse.
    assert_eq!(yard("fuse 7.5 A", ""), ["c.1", "c.1"]);
    assert_eq!(yard("fuse 7.4 A", ""), ["c.1", "c.2"]);
    assert_eq!(yard("fuse 7.4 A", "dim to 50 %"), ["c.1", "c.1"]);
    assert_eq!(yard("fuse 7.4 A; dim to 98 %", ""), ["c.1", "c.1"]);
    // What no fuse feeds even alone is placed all the same: `power/fuse` reports it.
    assert_eq!(yard("fuse 2 A", ""), ["c.1", "c.2"]);
}

#[test]
fn power_of_its_own_does_not_count_for_the_fuse() {
    let text = "node n { chip ws2811; colour RGB; volts 12 V; draw 30 mA }\n\
                controller c { ports 1..4 { nodes at most 800; volts 12 V; fuse 5 A } }\n\
                supply s { volts 12 V; rated 350 W }\n\
                power c.1..4 from s through 0.5 m of 12 AWG\n\
                prop a { node n; string 100 nodes }\n\
                prop b { node n; string 100 nodes }\n\
                inject a at start from s through 1 m of 12 AWG\n\
                inject b at start from s through 1 m of 12 AWG\n\
                wire c: a, b\n";
    let compiled = check::one(text);
    assert_eq!(ports(&compiled), ["c.1", "c.1"]);
}

#[test]
fn the_bound_is_known() {
    let compiled = check::one(
        "node n { chip ws2811; colour RGB }\n\
         controller c { ports 1..8 { nodes at most 300 } }\n\
         prop a * 5 { node n; string 200 nodes }\n\
         prop b * 4 { node n; string 100 nodes }\n\
         wire c: a, b\n",
    );
    let picked = compiled.plan.picked.unwrap();
    assert_eq!((picked.opened, picked.bound, picked.split), (5, 5, 0));
}

#[test]
fn unlike_nodes_never_share_a_port() {
    let yard = |ports: &str, wires: &str| {
        check::one(&format!(
            "node dot {{ chip ws2811; colour RGB; volts 12 V }}\n\
             node old {{ chip ucs1903; colour RGB; volts 12 V }}\n\
             node low {{ chip ws2811; colour RGB; volts 5 V }}\n\
             controller hut {{ ports {ports} {{ nodes at most 500 }} }}\n\
             prop bud {{ node dot; string 20 nodes }}\n\
             prop jay {{ node old; string 20 nodes }}\n\
             prop sun {{ node low; string 20 nodes }}\n\
             {wires}\n"
        ))
    };
    let mut three = ports(&yard("1..4", "wire hut: bud, jay, sun"));
    three.sort();
    assert_eq!(three, ["hut.1", "hut.2", "hut.3"]);
    assert_eq!(check::codes(&yard("1..2", "wire hut: bud, jay, sun").findings), ["place/no-room"]);
    // Nor with what a wire hung there.
    let beside = ports(&yard("1..4", "wire hut.1: bud\nwire hut: jay\nwire hut: sun"));
    assert!(beside[0] == "hut.1" && beside[1..].iter().all(|port| port != "hut.1"));
}

#[test]
fn a_port_that_a_wire_names_takes_more_at_its_end() {
    let compiled = check::one(
        "node dot { chip ws2811; colour RGB }\n\
         controller hut { ports 1..4 { nodes at most 500 } }\n\
         prop kite { node dot; string 90 nodes }\n\
         prop reed { node dot; string 60 nodes }\n\
         wire hut: kite\n\
         wire hut.3: reed\n",
    );
    assert_eq!(ports(&compiled), ["hut.3", "hut.3"]);
    let position = |string: u32| {
        let placed = compiled.plan.of(tinsel::model::StringId(string));
        placed.unwrap().position
    };
    assert_eq!((position(0), position(1)), (2, 1));
}

#[test]
fn a_line_stays_on_the_controller_or_receiver_that_its_wire_names() {
    let seen = picked(
        "node dot { chip ws2811; colour RGB }\n\
         controller hut { ports 1..2 { nodes at most 300 } }\n\
         controller pond { ports 1..4 { nodes at most 900 } }\n\
         receiver far { carries pond.3..4 }\n\
         prop lark { node dot; string 250 nodes }\n\
         prop moss { node dot; string 100 nodes }\n\
         prop fern { node dot; string 100 nodes }\n\
         wire pond.1: moss\n\
         wire hut: lark\n\
         wire far: fern\n",
    );
    assert_eq!(seen, ["hut.1", "pond.1", "pond.3"]);
}

#[test]
fn universes_are_kept_where_a_receiver_carries_some_ports() {
    // Two universes hold 341 nodes with RGB: one string of 180 on the first controller.
    let seen = picked(
        "node dot { chip ws2811; colour RGB }\n\
         controller hut { universes at most 2; ports 1..4 { nodes at most 250 } }\n\
         receiver far { carries hut.3..4 }\n\
         controller pond { ports 1..4 { nodes at most 250 } }\n\
         prop lark * 4 { node dot; string 180 nodes }\n\
         wire any: lark\n",
    );
    let on_hut = seen.iter().filter(|port| port.starts_with("hut")).count();
    assert!(on_hut <= 1, "{seen:?}");
}

/// Nodes of each string and the ports they hang on.
fn cut(text: &str) -> Vec<(u32, String)> {
    let compiled = check::one(text);
    assert!(!compiled.has_errors(), "{}", check::told(&compiled));
    let nodes = compiled.model.strings.iter();
    let nodes = nodes.map(|string| compiled.model.shapes[string.shape].nodes);
    nodes.zip(ports(&compiled)).collect()
}

#[test]
fn a_split_has_the_fewest_strings_that_find_room() {
    let yard = |ports: &str, rest: &str| {
        format!(
            "node n {{ chip ws2811; colour RGB }}\n\
             controller c {{ {ports} }}\n\
             prop tree {{ node n; split 20 strands of 25 nodes }}\n\
             {rest}\nwire c: tree\n"
        )
    };
    let own = |nodes: &[u32], ports: &[&str]| -> Vec<(u32, String)> {
        let ports = ports.iter().map(|port| (*port).to_owned());
        nodes.iter().copied().zip(ports).collect()
    };
    // Two of 250 fit where each has a port of 300.
    let wide = yard("ports 1..2 { nodes at most 300 }", "");
    assert_eq!(cut(&wide), own(&[250, 250], &["c.1", "c.2"]));
    // One port of 300 takes one of 250 only: three, cut between strands.
    let one = yard("port 1 { nodes at most 300 }; ports 2..6 { nodes at most 200 }", "");
    let three = cut(&one);
    assert_eq!(three.iter().map(|(nodes, _)| *nodes).collect::<Vec<_>>(), [175, 175, 150]);
    // The only port that is long enough is taken.
    let taken = yard(
        "port 1 { nodes at most 500 }; ports 2..6 { nodes at most 130 }",
        "prop owl { node n; string 400 nodes }\nwire c.1: owl",
    );
    let four = cut(&taken);
    assert_eq!(four.iter().map(|(nodes, _)| *nodes).collect::<Vec<_>>(), [125, 125, 125, 125, 400]);
    assert!(four[..4].iter().all(|(_, port)| port != "c.1"), "{four:?}");
    // What a wire gives a port is not cut again: the clash is reported.
    let tied = yard(
        "ports 1..2 { nodes at most 500 }",
        "prop owl { node n; string 501 nodes }\nwire c: owl",
    )
    .replace("wire c: tree", "wire c.1: tree");
    assert_eq!(check::codes(&check::one(&tied).findings), ["place/no-room"]);
    // A strand that fits nowhere.
    let none = yard("ports 1..9 { nodes at most 24 }", "");
    assert_eq!(check::codes(&check::one(&none).findings), ["place/no-room"]);
    // Nodes without a chip ask for no port that drives one.
    let plain = "node n { colour RGB }\ncontroller c { ports 1 { nodes at most 24 } }\n\
        prop owl { node n; strings 2 of 20 nodes }\n";
    let said = check::terminal(&check::one(plain));
    assert!(said.contains("place/no-room") && !said.contains("drive"), "{said}");
    let said = check::terminal(&check::one(&plain.replace("colour", "chip ws2811; colour")));
    assert!(said.contains("that drive"), "{said}");
}

#[test]
fn a_split_has_strings_that_a_fuse_feeds() {
    let sizes = |fuse: &str, strands: &str| {
        let compiled = check::one(&format!(
            "node bud {{ chip ws2811; colour RGB; volts 12 V; draw 25 mA }}\n\
             controller quay {{ ports 1..4 {{ nodes at most 300; volts 12 V; {fuse} }} }}\n\
             prop net {{ node bud; split {strands} }}\n\
             prop owl {{ node bud; string 40 nodes }}\n\
             wire any: net, owl\n"
        ));
        let strings = compiled.model.strings.iter();
        let nodes = strings.map(|string| compiled.model.shapes[string.shape].nodes);
        (nodes.collect::<Vec<u32>>(), compiled.has_errors())
    };
    let net = "12 strands of 20 nodes";
    assert_eq!(sizes("", net), (vec![240, 40], false));
    // 80 % of 5 A feed 160 nodes of 25 mA, those of 3 A feed 96.
    assert_eq!(sizes("fuse 5 A", net), (vec![120, 120, 40], false));
    assert_eq!(sizes("fuse 3 A", net), (vec![80, 80, 80, 40], false));
    // One strand is too much even alone: that is reported.
    assert_eq!(sizes("fuse 2 A", "2 strands of 120 nodes"), (vec![120, 120, 40], true));
}

#[test]
fn fixtures_fill_an_output_before_they_begin_the_next() {
    let text = "controller quay { dmx 1..3 }\nprop par * 3 { slots 6 }\n\
                prop wash * 2 { slots 300 }\nwire any: par, wash\n";
    assert_eq!(picked(text), ["quay.dmx1", "quay.dmx1", "quay.dmx1", "quay.dmx1", "quay.dmx2"]);
}

#[test]
fn several_splits_share_the_fewest_strings() {
    let compiled = check::one(
        "node n { chip ws2811; colour RGB }\n\
         controller c { port 1 { nodes at most 400 }; ports 2..4 { nodes at most 200 } }\n\
         prop a { node n; split 8 strands of 50 nodes }\n\
         prop b { node n; split 8 strands of 50 nodes }\n\
         wire c: a, b\n",
    );
    assert!(!compiled.has_errors(), "{}", check::told(&compiled));
    // One of them keeps the long port, the other is cut in two.
    assert_eq!(compiled.model.strings.len(), 3);
}

/// A wire may write a name in other code points than its declaration.
#[test]
fn a_split_is_for_its_port_however_its_name_is_written() {
    let compiled = check::one(
        "node n { chip ws2811; colour RGB }\n\
         controller c { ports 1..2 { nodes at most 100 }; port 3 { nodes at most 400 } }\n\
         prop \u{e9}gret { node n; split 4 strands of 50 nodes }\n\
         wire c.1: e\u{301}gret.1\nwire c.2: e\u{301}gret.2\n",
    );
    assert_eq!(check::told(&compiled), "");
    assert_eq!(compiled.model.strings.len(), 2);
}

/// A small display that often has no room: two controllers, two chips, limits that bite.
fn cramped(seed: u64) -> String {
    let mut state = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    let mut dice = |most: u64| {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        1 + state % most
    };
    let mut text = format!(
        "display \"cramped\" {{ frame rate {} Hz }}\n\
         node a {{ chip ws2811; colour RGB }}\nnode b {{ chip sk6812; colour RGBW }}\n",
        25 + 10 * dice(3)
    );
    for name in ["east", "west"] {
        let chip = ["", "chip ws2811; ", "chip sk6812; ", ""][dice(4) as usize - 1];
        let most = match dice(4) {
            1 => format!("universes at most {}; ", 1 + dice(3)),
            _ => String::new(),
        };
        text.push_str(&format!(
            "controller {name} {{ {most}ports 1..{} {{ {chip}nodes at most {} }} }}\n",
            dice(3),
            100 * (1 + dice(9))
        ));
    }
    let mut wires = String::new();
    for prop in 1..=1 + dice(4) {
        let node = ["a", "a", "b"][dice(3) as usize - 1];
        let target = ["any", "east", "west"][dice(3) as usize - 1];
        let strings = match dice(4) {
            1 => format!("strings 2 of {} nodes", 40 * dice(8)),
            2 => format!("split {} strands of 20 nodes", dice(30)),
            _ => format!("string {} nodes", 50 * dice(12)),
        };
        text.push_str(&format!("prop p{prop} {{ node {node}; {strings} }}\n"));
        wires.push_str(&format!("wire {target}: p{prop}\n"));
    }
    text + &wires
}

#[test]
fn what_is_offered_for_random_displays_compiles() {
    let (mut refused, mut offered) = (0, 0);
    for seed in 0..150 {
        let text = cramped(seed);
        let compiled = check::one(&text);
        let errors = |compiled: &Compiled| {
            let errors = compiled.findings.iter();
            let errors = errors.filter(|finding| finding.severity == Severity::Error);
            errors.map(|finding| finding.code).collect::<Vec<_>>()
        };
        let before = errors(&compiled);
        for finding in compiled.findings.iter().filter(|f| f.code == "place/no-room") {
            refused += 1;
            for choice in &finding.choices {
                offered += 1;
                let texts = edited(&compiled, &choice.edits);
                let after = check::one(&texts[0].1);
                assert!(
                    errors(&after).len() < before.len(),
                    "seed {seed}: {}\n{text}\n{}\n{}",
                    choice.title,
                    check::told(&compiled),
                    check::told(&after)
                );
            }
        }
    }
    assert!(refused > 30 && offered > refused, "{refused} refusals, {offered} offers");
}

#[test]
fn a_range_of_ports_takes_a_chain_each_and_parts_only_what_stands_alone() {
    let wired = |wire: &str| {
        picked(&format!(
            "node bud {{ chip ws2811; colour RGB }}\n\
             controller c {{ ports 1..4 {{ }} }}\n\
             prop a * 3 {{ node bud; strings 2 of 10 nodes }}\n\
             wire {wire}\n"
        ))
    };
    let [two, three] = ["c.2..3: a[1] -> a[2], a[3]", "c.2..4: a[1] -> a[2], a[3]"].map(wired);
    assert_eq!(two, ["c.2", "c.2", "c.2", "c.2", "c.3", "c.3"]);
    assert_eq!(three, ["c.2", "c.2", "c.2", "c.2", "c.3", "c.4"]);
}

/// All ports of a `consecutive` controller are in use: what is new goes to the end of the last one,
/// since it would move what comes after it on any other.
#[test]
fn what_is_new_moves_nothing_on_a_consecutive_controller() {
    let text = "node dot { colour RGB }\n\
                controller box { addressing consecutive; ports 1..3 { nodes at most 400 } }\n\
                controller far { universes from 40; ports 1..1 { nodes at most 300 } }\n\
                prop ant { node dot; string 100 nodes }\nprop bee { node dot; string 390 nodes }\n\
                prop cow { node dot; string 100 nodes }\nprop dab { node dot; string 290 nodes }\n\
                wire box.1: ant\nwire box.2: bee\nwire box.3: cow\nwire far.1: dab\n";
    let lock = lock_of(&check::one(text));
    let compiled = around(&format!("{text}prop eel {{ node dot; string 60 nodes }}\n"), &lock);
    assert_eq!(ports(&compiled)[4], "box.3");
    let next = lock_of(&compiled);
    assert!(lock.rows.iter().all(|row| next.row(&row.name) == Some(row)));
}
