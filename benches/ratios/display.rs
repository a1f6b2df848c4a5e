//! Displays of any size for the measurements. A prop takes about two lines and 85 bytes; every 32
//! props have a controller, every two a `wire`.
//!
//! 100,000 props fill 62,500 of the 63,999 universes. The frame rate is so low that one network
//! link carries them all, so every display compiles without a finding.

use std::fmt::Write as _;

/// Props of one controller.
const PROPS: usize = 32;

/// Nodes of props in turn: 3,400 for a controller, so 20 universes of 512 slots.
const NODES: [usize; 8] = [50, 100, 150, 64, 136, 110, 90, 150];

/// A display with a number of props and with power: a supply and a lead for each controller, and an
/// injection at the end of one string in sixteen. It is at half level, so that currents are solved
/// twice, and it has no finding.
pub fn powered(props: usize) -> String {
    let mut text = text(props)
        .replace("frame rate 2 Hz", "frame rate 2 Hz; dim to 50 %")
        .replace("draw 55 mA", "draw 12 mA")
        .replace("draw 45 mA", "draw 10 mA")
        .replace("volts 12 V } }", "volts 12 V; fuse 5 A } }");
    for at in 0..props.div_ceil(PROPS) {
        let _ = writeln!(
            text,
            "supply s{at} {{ volts 12 V; rated 1000 W }}\npower c{at}.1..16 from s{at} through 0.3 m of 4 AWG fuse 40 A"
        );
    }
    for at in (7..props).step_by(16) {
        let _ = writeln!(
            text,
            "inject p{at} at end from s{} through 8 m of 16 AWG fuse 5 A",
            at / PROPS
        );
    }
    text
}

/// A display with a number of props.
pub fn text(props: usize) -> String {
    let mut text = String::with_capacity(props * 90);
    text.push_str(
        "# Made for measurements.\ndisplay \"measured\" { frame rate 2 Hz }\n\n\
         node bud   { chip ws2811; colour RGB; volts 12 V; draw 55 mA; pitch 75 mm; gauge 18 AWG }\n\
         node bloom { chip ws2811; colour GRB; volts 12 V; draw 45 mA; pitch 50 mm; gauge 20 AWG }\n\n",
    );
    for at in 0..props {
        if at.is_multiple_of(PROPS) {
            controller(&mut text, at / PROPS);
        }
        prop(&mut text, at);
        if at % 2 == 1 || at + 1 == props {
            wire(&mut text, at);
        }
    }
    text
}

fn controller(text: &mut String, at: usize) {
    // Writing to a String can't fail; the same below.
    let _ = writeln!(
        text,
        "controller c{at} {{ host 10.{}.{}.{}; input e131 unicast; ports 1..16 {{ chip ws2811; nodes at most 800; volts 12 V }} }}",
        at / 62_500,
        at / 250 % 250,
        at % 250 + 1
    );
}

fn prop(text: &mut String, at: usize) {
    let nodes = NODES[at % NODES.len()];
    let node = if at.is_multiple_of(3) { "bloom" } else { "bud" };
    let _ = match at % 8 {
        0 => writeln!(text, "prop p{at} {{\n    node {node}\n    string {nodes} nodes\n}}"),
        3 => writeln!(
            text,
            "prop p{at} {{ node {node}; strings 2 of {} nodes }}   # in two halves",
            nodes / 2
        ),
        6 => writeln!(
            text,
            "prop p{at} {{ node {node}; string {nodes} nodes; stands at {} m, {}.5 m }}",
            at % 90,
            at % 40
        ),
        _ => writeln!(text, "prop p{at} {{ node {node}; string {nodes} nodes }}"),
    };
}

fn wire(text: &mut String, at: usize) {
    let (controller, port) = (at / PROPS, at % PROPS / 2 + 1);
    let _ = if at % 2 == 1 {
        writeln!(text, "wire c{controller}.{port}: p{} -> lead 2 m of 18 AWG -> p{at}", at - 1)
    } else {
        writeln!(text, "wire c{controller}.{port}: p{at}")
    };
}
