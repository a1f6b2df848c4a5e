//! From what a table holds to the text of a display that compiles, with a comment on what to fill in.

use super::rows::{Found, Prop};
use crate::chip;
use crate::diagnostic::words;
use crate::source::quoted;
use crate::unit;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// How wide a wire is written before it goes on in the next line.
const WIDTH: usize = 96;
/// So many chains stand in one wire, since a statement may not be of any length.
const MOST_CHAINS: usize = 1_000;
/// A frame at the usual 40 Hz, in nanoseconds.
const FRAME_NS: u64 = 25_000_000;
/// The most ports that a controller may have.
const MOST_PORTS: u64 = 1_024;

/// The display of a table that is called `name`.
pub fn display(name: &str, found: &Found) -> String {
    let mut out = String::new();
    let name = words::shown(name);
    let props = unit::counted(found.props.len() as i64, "prop");
    // Writing to a String can't fail; so below.
    let _ = writeln!(out, "# Imported from {name}: {props}.");
    out.push_str("# What the table did not say has a comment that begins with \"fill in\".\n");
    nodes(found, &mut out);
    controllers(found, &mut out);
    out.push('\n');
    for prop in &found.props {
        self::prop(prop, &mut out);
    }
    wires(found, &mut out);
    out
}

/// The name of a make of node: its chip's, or one of our own where the table does not say it.
fn node_of(prop: &Prop) -> &'static str {
    prop.chip.unwrap_or("pixel")
}

fn nodes(found: &Found, out: &mut String) {
    let mut makes: BTreeMap<&str, Option<&str>> = BTreeMap::new();
    for prop in &found.props {
        makes.insert(node_of(prop), prop.chip);
    }
    for (name, chip) in makes {
        let _ = writeln!(out, "\nnode {name} {{");
        let known = match chip {
            Some(chip) => format!("    chip {chip}"),
            None => "    chip ws2811      # fill in: the chip of these nodes".to_owned(),
        };
        let _ = writeln!(out, "{known}");
        out.push_str("    colour RGB       # fill in: the order in which the slots light\n");
        out.push_str(
            "    # fill in: volts 12 V, and draw 55 mA for what one node draws at full\n}\n",
        );
    }
}

/// Data time of a string, in nanoseconds, so that a port can be filled with what a frame has time for.
fn time(prop: &Prop, nodes: u64) -> u64 {
    let known = prop
        .chip
        .and_then(|name| chip::KNOWN.iter().find(|chip| chip.name == name));
    let bit = known.and_then(|chip| chip.bit);
    let (above, below) = bit.map_or((1_250, 1), |bit| (bit.nanoseconds, bit.divisor.max(1)));
    // Three colours of 8 bits: what is written for every make of node.
    nodes.saturating_mul(24).saturating_mul(above) / below
}

/// How many ports some props need where the compiler picks them: filled one after another, with one more for
/// each string of the largest prop, since its strings stay side by side.
fn needed<'a>(props: impl Iterator<Item = &'a Prop>) -> u64 {
    /// What a frame has time for behind the longest rest of a line.
    const ROOM_NS: u64 = FRAME_NS - 300_000;
    let (mut ports, mut left, mut most) = (0_u64, 0_u64, 0_u64);
    for prop in props {
        most = most.max(prop.strings.len() as u64);
        for nodes in
            std::iter::repeat_n(&prop.strings, usize::try_from(prop.count).unwrap_or(1)).flatten()
        {
            let time = time(prop, *nodes);
            if time > left {
                ports += 1;
                left = ROOM_NS.saturating_sub(time);
            } else {
                left -= time;
            }
        }
    }
    if ports == 0 { 0 } else { ports + most }
}

/// A number of ports that boxes have.
fn rounded(ports: u64) -> u64 {
    let usual = [1, 2, 4, 8, 16].into_iter().find(|usual| *usual >= ports);
    usual.unwrap_or_else(|| ports.next_multiple_of(16).min(MOST_PORTS))
}

/// The props of each controller, in their order.
fn of_boxes(found: &Found) -> Vec<Vec<&Prop>> {
    let mut boxes = vec![Vec::new(); found.controllers.len()];
    for prop in &found.props {
        let own = prop.controller.and_then(|at| boxes.get_mut(at));
        if let Some(own) = own {
            own.push(prop);
        }
    }
    boxes
}

fn controllers(found: &Found, out: &mut String) {
    let homeless = || found.props.iter().filter(|prop| prop.controller.is_none());
    let main = ("main".to_owned(), None);
    let all: Vec<&(String, Option<String>)> = if found.props.is_empty() {
        Vec::new()
    } else if found.controllers.is_empty() {
        vec![&main]
    } else {
        found.controllers.iter().collect()
    };
    let of_boxes = of_boxes(found);
    for (at, (name, label)) in all.into_iter().enumerate() {
        let own = || of_boxes.get(at).into_iter().flatten().copied();
        let highest = own()
            .flat_map(|prop| prop.ports.iter().copied())
            .max()
            .unwrap_or(0);
        let mut open = needed(own().filter(|prop| prop.ports.is_empty()));
        if at == 0 {
            open += needed(homeless());
        }
        let ports = rounded((highest + open).max(1));
        let _ = writeln!(out, "\ncontroller {name} {{");
        if let Some(label) = label {
            let _ = writeln!(out, "    label \"{}\"", quotable(label));
        }
        out.push_str("    # fill in: host ADDRESS, where the box is on your network\n");
        out.push_str("    # fill in: universes from N, where its universes begin\n");
        let _ = writeln!(
            out,
            "    ports 1..{ports} {{ }}   # fill in: how many there are, and nodes at most N for what one drives\n}}"
        );
    }
}

/// A text fit to stand between quotes.
fn quotable(text: &str) -> String {
    let plain = text.chars().map(|c| match c {
        c if words::is_unprintable(c) => ' ',
        c => c,
    });
    quoted::written(&plain.take(200).collect::<String>())
}

fn prop(prop: &Prop, out: &mut String) {
    let family = match prop.count {
        1 => String::new(),
        count => format!(" * {count}"),
    };
    let mut settings = Vec::new();
    if let Some(label) = &prop.label {
        settings.push(format!("label \"{}\"", quotable(label)));
    }
    settings.push(format!("node {}", node_of(prop)));
    match prop.strings.as_slice() {
        [nodes] => settings.push(format!("string {}", counted(*nodes))),
        [nodes, rest @ ..] if rest.iter().all(|other| other == nodes) => {
            settings.push(format!(
                "strings {} of {}",
                prop.strings.len(),
                counted(*nodes)
            ));
        }
        all => settings.extend(
            all.iter()
                .map(|nodes| format!("string {}", counted(*nodes))),
        ),
    }
    let line = format!("prop {}{family} {{ {} }}", prop.name, settings.join("; "));
    if line.chars().count() <= WIDTH {
        let _ = writeln!(out, "{line}");
    } else {
        let _ = writeln!(
            out,
            "prop {}{family} {{\n    {}\n}}",
            prop.name,
            settings.join("\n    ")
        );
    }
}

fn counted(nodes: u64) -> String {
    unit::counted(i64::try_from(nodes).unwrap_or(i64::MAX), "node")
}

fn wires(found: &Found, out: &mut String) {
    let of_boxes = of_boxes(found);
    for (at, (name, _)) in found.controllers.iter().enumerate() {
        let own = || of_boxes.get(at).into_iter().flatten().copied();
        let mut chains: BTreeMap<u64, Vec<String>> = BTreeMap::new();
        for prop in own() {
            for (share, port) in prop.ports.iter().enumerate() {
                chains
                    .entry(*port)
                    .or_default()
                    .push(item(prop, share as u64));
            }
        }
        if own().next().is_some() {
            out.push('\n');
        }
        for (port, items) in chains {
            wire(&format!("wire {name}.{port}:"), &items, " ->", out);
        }
        let open: Vec<String> = own()
            .filter(|prop| prop.ports.is_empty())
            .map(|prop| prop.name.clone())
            .collect();
        for some in open.chunks(MOST_CHAINS) {
            wire(&format!("wire {name}:"), some, ",", out);
        }
    }
    let homeless: Vec<String> = found
        .props
        .iter()
        .filter(|prop| prop.controller.is_none())
        .map(|prop| prop.name.clone())
        .collect();
    if !homeless.is_empty() {
        out.push_str("\n# fill in: what hangs where; until then the compiler picks\n");
    }
    for some in homeless.chunks(MOST_CHAINS) {
        wire("wire any:", some, ",", out);
    }
}

/// A prop's share for one of its ports, counted from 0: members where they stay whole, else strings.
fn item(prop: &Prop, share: u64) -> String {
    let (name, ports) = (&prop.name, prop.ports.len() as u64);
    let each = prop.strings.len() as u64;
    let size = prop.all_strings() / ports.max(1);
    let range = |from: u64, size: u64| match size {
        1 => from.to_string(),
        size => format!("{from}..{}", from + size - 1),
    };
    if ports == 1 {
        name.clone()
    } else if prop.count == 1 {
        format!("{name}.{}", range(share * size + 1, size))
    } else if size >= each {
        format!("{name}[{}]", range(share * size / each + 1, size / each))
    } else {
        let first = share * size;
        let member = first / each + 1;
        format!("{name}[{member}].{}", range(first % each + 1, size))
    }
}

/// A wire, over several lines where one would be too long.
fn wire(head: &str, items: &[String], joint: &str, out: &mut String) {
    if items.is_empty() {
        return;
    }
    let mut line = head.to_owned();
    for (at, item) in items.iter().enumerate() {
        let joint = if at + 1 < items.len() { joint } else { "" };
        let width = line.chars().count() + 1 + item.chars().count() + joint.len();
        if width > WIDTH && at > 0 {
            let _ = writeln!(out, "{line}");
            line = format!("    {item}{joint}");
        } else {
            let _ = write!(line, " {item}{joint}");
        }
    }
    let _ = writeln!(out, "{line}");
}

#[cfg(test)]
mod tests {
    use super::{item, rounded};
    use crate::import::rows::Prop;

    fn prop(count: u64, strings: usize, ports: usize) -> Prop {
        Prop {
            name: "fox".to_owned(),
            label: None,
            count,
            strings: vec![50; strings],
            chip: None,
            controller: Some(0),
            ports: (1..=ports as u64).collect(),
        }
    }

    #[test]
    fn shares_of_a_prop() {
        let shares = |prop: &Prop| -> Vec<String> {
            (0..prop.ports.len() as u64)
                .map(|share| item(prop, share))
                .collect()
        };
        assert_eq!(shares(&prop(3, 2, 1)), ["fox"]);
        assert_eq!(shares(&prop(1, 4, 2)), ["fox.1..2", "fox.3..4"]);
        assert_eq!(shares(&prop(4, 1, 2)), ["fox[1..2]", "fox[3..4]"]);
        assert_eq!(
            shares(&prop(2, 2, 4)),
            ["fox[1].1", "fox[1].2", "fox[2].1", "fox[2].2"]
        );
        assert_eq!(
            shares(&prop(2, 4, 4)),
            ["fox[1].1..2", "fox[1].3..4", "fox[2].1..2", "fox[2].3..4"]
        );
    }

    #[test]
    fn boxes_have_usual_numbers_of_ports() {
        assert_eq!(
            [1, 3, 9, 16, 17, 2_000].map(rounded),
            [1, 4, 16, 16, 32, 1_024]
        );
    }
}
