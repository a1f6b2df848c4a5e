//! Seasons of random edits. Each evening the work order is applied to a model of the boxes and
//! fixtures, and a frame with each node's own name in it is remapped. The model must then equal the
//! set-up in the tables, and each line of the work order must have had an effect.

use crate::check::{self, told};
use crate::noise::Dice;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use tinsel::Compiled;
use tinsel::diff::{Changes, json};

const INPUTS: [&str; 5] = ["e131 multicast", "e131 unicast", "artnet", "artnet from 0", "ddp"];
const ADDRESSING: [&str; 3] = ["per port", "consecutive", "per prop"];
const COLOURS: [&str; 6] = ["RGB", "GRB", "BGR", "RGBW", "GRBW", "WRGB"];
const PORTS: usize = 5;

#[derive(Clone)]
struct Box {
    name: String,
    was: Option<String>,
    host: usize,
    input: usize,
    from: usize,
    addressing: usize,
    whole: bool,
    level: Option<usize>,
    sync: Option<usize>,
    used: Option<usize>,
}

#[derive(Clone)]
struct Prop {
    name: String,
    was: Option<String>,
    colour: usize,
    nodes: usize,
    of: usize,
    port: usize,
    skip: usize,
    within: usize,
    stored: bool,
}

#[derive(Clone)]
struct Lamp {
    name: String,
    slots: usize,
}

/// What is edited.
#[derive(Clone)]
struct Yard {
    boxes: Vec<Box>,
    props: Vec<Prop>,
    lamps: Vec<Lamp>,
    whole: bool,
    next: usize,
    /// Renames of boxes that the last build carried over: the same ones would do nothing now.
    done: Vec<(Option<String>, String)>,
}

impl Yard {
    fn new(dice: &mut Dice) -> Self {
        let mut yard = Self {
            boxes: vec![],
            props: vec![],
            lamps: vec![],
            whole: false,
            next: 0,
            done: vec![],
        };
        for at in 0..2 + dice.below(2) {
            let mut one = Box {
                name: String::new(),
                was: None,
                host: at,
                input: dice.below(INPUTS.len()),
                from: 1 + at * 40,
                addressing: dice.below(3),
                whole: dice.below(3) == 0,
                level: None,
                sync: None,
                used: None,
            };
            one.name = yard.name("box");
            yard.boxes.push(one);
        }
        for _ in 0..8 {
            yard.add(dice);
        }
        for _ in 0..3 {
            let name = yard.name("lamp");
            yard.lamps.push(Lamp { name, slots: 4 + dice.below(4) });
        }
        yard
    }

    fn name(&mut self, stem: &str) -> String {
        self.next += 1;
        format!("{stem}{}", self.next)
    }

    fn add(&mut self, dice: &mut Dice) {
        let name = self.name("prop");
        let at = dice.below(self.props.len() + 1);
        let prop = Prop {
            name,
            was: None,
            colour: dice.below(COLOURS.len()),
            nodes: 5 + dice.below(200),
            of: dice.below(self.boxes.len()),
            port: dice.below(PORTS),
            skip: [0, 0, 0, 2][dice.below(4)],
            within: [0, 0, 0, 1][dice.below(4)],
            stored: false,
        };
        self.props.insert(at, prop);
    }

    fn text(&self) -> String {
        let mut text = String::new();
        let whole = if self.whole { "whole nodes" } else { "" };
        writeln!(text, "display \"season\" {{ {whole} }}").unwrap();
        for (at, colour) in COLOURS.iter().enumerate() {
            let chip = ["ws2811", "sk6812"][at / 3];
            writeln!(text, "node n{at} {{ chip {chip}; colour {colour} }}").unwrap();
        }
        for (at, one) in self.boxes.iter().enumerate() {
            let mut more = format!("addressing {}", ADDRESSING[one.addressing]);
            if one.whole {
                more.push_str("; whole nodes");
            }
            for (words, value) in
                [("dim to", one.level), ("sync universe", one.sync), ("universe", one.used)]
            {
                let unit = match words {
                    "dim to" => "%",
                    "universe" => "slots",
                    _ => "",
                };
                if let Some(value) = value {
                    write!(more, "; {words} {value} {unit}").unwrap();
                }
            }
            writeln!(
                text,
                "controller {} {{ host 10.0.0.{}; input {}; universes from {}; {more}; ports 1..{PORTS} {{ }}; dmx 1 }}",
                one.name, one.host, INPUTS[one.input], one.from
            )
            .unwrap();
            if let Some(was) = &one.was {
                writeln!(text, "renamed {was} -> {}", one.name).unwrap();
            }
            for port in 0..PORTS {
                let hung = self.props.iter().filter(|prop| (prop.of, prop.port) == (at, port));
                let chain: Vec<String> = hung
                    .map(|prop| match prop.skip {
                        0 => prop.name.clone(),
                        skip => format!("skip {skip} -> {}", prop.name),
                    })
                    .collect();
                if !chain.is_empty() {
                    writeln!(text, "wire {}.{}: {}", one.name, port + 1, chain.join(" -> "))
                        .unwrap();
                }
            }
        }
        for prop in &self.props {
            let half = prop.nodes / 2;
            let string = match prop.within {
                0 => format!("string {} nodes", prop.nodes),
                skip => {
                    format!("string: {half} nodes -> skip {skip} -> {} nodes", prop.nodes - half)
                }
            };
            writeln!(text, "prop {} {{ node n{}; {string} }}", prop.name, prop.colour).unwrap();
            if prop.stored {
                writeln!(text, "stored {}", prop.name).unwrap();
            }
            if let Some(was) = &prop.was {
                writeln!(text, "renamed {was} -> {}", prop.name).unwrap();
            }
        }
        for lamp in &self.lamps {
            writeln!(text, "prop {} {{ slots {} }}", lamp.name, lamp.slots).unwrap();
        }
        let lamps: Vec<&str> = self.lamps.iter().map(|lamp| &*lamp.name).collect();
        if !lamps.is_empty() {
            writeln!(text, "wire {}.dmx1: {}", self.boxes[0].name, lamps.join(" -> ")).unwrap();
        }
        text
    }

    fn edit(&mut self, dice: &mut Dice) {
        let (boxes, props) = (self.boxes.len(), self.props.len().max(1));
        let (one, other) = (dice.below(boxes), dice.below(props));
        if self.props.is_empty() {
            return self.add(dice);
        }
        match dice.below(22) {
            0 => self.boxes[one].host = dice.below(250),
            1 => self.boxes[one].input = dice.below(INPUTS.len()),
            2 => self.props[other].colour = dice.below(COLOURS.len()),
            3 | 4 => self.props[other].nodes = 5 + dice.below(220),
            5 => self.props[other].port = dice.below(PORTS),
            6 => (self.props[other].of, self.props[other].port) = (one, dice.below(PORTS)),
            7 => {
                let old = self.boxes[one].name.clone();
                self.boxes[one].name = self.name("box");
                self.boxes[one].was.get_or_insert(old);
                self.boxes[one].host = dice.below(250);
            }
            8 => self.boxes[one].from = 1 + dice.below(6) * 60 + one * 20,
            9 => self.boxes[one].whole ^= true,
            10 => self.whole ^= true,
            11 => self.boxes[one].addressing = dice.below(3),
            12 => self.add(dice),
            13 => drop(self.props.remove(other)),
            14 | 15 => self.props[other].stored ^= true,
            16 => {
                let old = self.props[other].name.clone();
                self.props[other].name = self.name("prop");
                self.props[other].was.get_or_insert(old);
            }
            17 => self.props[other].skip = dice.below(3),
            18 if self.lamps.len() > 1 => {
                let at = dice.below(self.lamps.len());
                match dice.below(3) {
                    0 => self.lamps[at].slots = 3 + dice.below(9),
                    1 => drop(self.lamps.remove(at)),
                    _ => self.lamps.swap(0, at),
                }
            }
            18 => {
                let name = self.name("lamp");
                self.lamps.insert(0, Lamp { name, slots: 5 });
            }
            19 => {
                self.boxes[one].level = Some(10 + dice.below(90)).filter(|level| level % 3 > 0);
                self.boxes[one].sync = Some(900 + one).filter(|_| dice.below(2) > 0);
            }
            // Two boxes change places: each takes over what the other had, under its own host.
            20 => {
                let next = (one + 1) % boxes;
                let fresh = |at: &usize| {
                    let now = &self.boxes[*at].name;
                    let known = |(old, new): &(Option<String>, String)| {
                        old.is_some() && (old.as_ref() == Some(now) || new == now)
                    };
                    self.boxes[*at].was.is_none() && !self.done.iter().any(known)
                };
                if boxes > 1 && [one, next].iter().all(fresh) {
                    let [a, b] =
                        [one, next].map(|at| (self.boxes[at].name.clone(), self.boxes[at].host));
                    for (at, new, old) in [(one, &b, &a), (next, &a, &b)] {
                        (self.boxes[at].name, self.boxes[at].host) = new.clone();
                        self.boxes[at].was = Some(old.0.clone());
                    }
                }
            }
            _ => self.boxes[one].used = [None, Some(510), Some(480)][dice.below(3)],
        }
    }

    /// What a build has carried over is done.
    fn built(&mut self) {
        self.done = self.boxes.iter().map(|one| (one.was.clone(), one.name.clone())).collect();
        self.boxes.iter_mut().for_each(|one| one.was = None);
        self.props.iter_mut().for_each(|one| one.was = None);
    }
}

/// What stands in the boxes: by controller, port, row and field.
type Model = BTreeMap<(String, String, u64, String), String>;

fn plain(value: &Value) -> Option<String> {
    match value {
        Value::Null => None,
        Value::String(text) => Some(text.clone()),
        other => Some(other.to_string()),
    }
}

fn table(compiled: &Compiled) -> Value {
    serde_json::from_str(&crate::outputs::table_text(compiled, "json")).unwrap()
}

/// A string of the table.
struct Row {
    name: String,
    nodes: u64,
    each: u64,
    colour: String,
    chip: String,
    start: (u64, u64, u64),
    end: (u64, u64, u64),
    skip: u64,
    within: u64,
}

fn point(value: &Value) -> (u64, u64, u64) {
    let of = |key: &str| value[key].as_u64().unwrap();
    (of("universe"), of("slot"), of("channel"))
}

/// A triple of universe, slot and channel.
type Point = (u64, u64, u64);

/// The rows of a port's set-up.
fn port_rows(
    (one, whole): (&Box, bool),
    strings: &[&Value],
    port: usize,
    start: &dyn Fn(Point) -> String,
    put: &mut dyn FnMut(&str, u64, &str, String),
) {
    let port = port.to_string();
    let on = strings.iter().filter(|string| string["port"] == *port);
    let mut dark = 0;
    let rows = on.filter_map(|string| {
        // A stored string is not on the line; the dark nodes before it are.
        dark += string["skip_before"].as_u64().unwrap();
        let up = string["stored"] == false;
        up.then(|| Row {
            name: string["name"].as_str().unwrap().to_owned(),
            nodes: string["nodes"].as_u64().unwrap(),
            each: string["colour"].as_str().unwrap().len() as u64,
            colour: string["colour"].as_str().unwrap().to_owned(),
            chip: string["chip"].as_str().unwrap().to_owned(),
            start: point(&string["start"]),
            end: point(&string["end"]),
            skip: std::mem::take(&mut dark),
            within: string["skips"].as_u64().unwrap(),
        })
    });
    let rows: Vec<Row> = rows.collect();
    let used = one.used.unwrap_or(512) as u64;
    let mut number = 0;
    let mut nodes = 0;
    for (at, row) in rows.iter().enumerate() {
        let before = at.checked_sub(1).map(|at| &rows[at]);
        let joins = before.is_some_and(|before| {
            let left = used - before.end.1.min(used);
            let least = if whole { row.each } else { 1 };
            let next = match left >= least {
                true => before.end.2 + 1 == row.start.2,
                false => (before.end.0 + 1, 1) == (row.start.0, row.start.1),
            };
            next && (&before.colour, &before.chip) == (&row.colour, &row.chip)
                && before.within + row.within + row.skip == 0
        });
        if !joins || one.addressing == 2 {
            number += 1;
            nodes = 0;
            if one.addressing != 1 {
                put(&port, number, "start", start(row.start));
            }
            for (field, nodes) in [("dark_before", row.skip), ("dark_within", row.within)] {
                if nodes > 0 {
                    put(&port, number, field, nodes.to_string());
                }
            }
            put(&port, number, "colour", row.colour.clone());
            put(&port, number, "chip", row.chip.clone());
        }
        nodes += row.nodes;
        put(&port, number, "nodes", nodes.to_string());
        assert!(!row.name.is_empty());
    }
}

/// The set-up by the tables and the text, worked out here independently.
fn sheet(yard: &Yard, compiled: &Compiled) -> (Model, BTreeMap<String, u64>) {
    let table = table(compiled);
    let (mut model, mut dials) = (Model::new(), BTreeMap::new());
    for (at, one) in yard.boxes.iter().enumerate() {
        let row =
            table["controllers"].as_array().unwrap().iter().find(|row| row["name"] == *one.name);
        let row = row.unwrap();
        let mine = |string: &&Value| string["controller"] == *one.name;
        let strings: Vec<&Value> =
            table["strings"].as_array().unwrap().iter().filter(mine).collect();
        // A DMX output sends its universe from slot 1 on.
        let first = strings.iter().map(|string| match point(&string["start"]) {
            (universe, ..) if string["port"] == "dmx1" => (universe - 1) * 512 + 1,
            (.., channel) => channel,
        });
        let first = first.min();
        let (ddp, zero) = (one.input == 4, u64::from(one.input == 3));
        let start = |(universe, slot, channel): (u64, u64, u64)| match ddp {
            true => (channel - first.unwrap()).to_string(),
            false => format!("{}/{slot}", universe - zero),
        };
        let mut put = |port: &str, number: u64, field: &str, value: String| {
            model.insert((one.name.clone(), port.to_owned(), number, field.to_owned()), value);
        };
        put("", 0, "host", format!("10.0.0.{}", one.host));
        put("", 0, "input", INPUTS[one.input].to_owned());
        put("", 0, "addressing", ADDRESSING[one.addressing].to_owned());
        put("", 0, "whole_nodes", (one.whole || yard.whole).to_string());
        put("", 0, "level", format!("{} %", one.level.unwrap_or(100)));
        if ddp {
            first.iter().for_each(|first| put("", 0, "data_from_channel", first.to_string()));
        } else {
            put("", 0, "universe_slots", one.used.unwrap_or(512).to_string());
            if let Some(first) = row["universes"]["first"].as_u64() {
                put("", 0, "first_universe", (first - zero).to_string());
                put("", 0, "universes", row["universes"]["count"].to_string());
            }
        }
        if one.input < 2 {
            put("", 0, "priority", "100".to_owned());
            one.sync.iter().for_each(|sync| put("", 0, "sync_universe", sync.to_string()));
        }
        if one.addressing == 1 {
            let up = strings
                .iter()
                .filter(|string| string["stored"] == false && !string["nodes"].is_null());
            let first = up.map(|string| point(&string["start"])).min_by_key(|point| point.2);
            first.iter().for_each(|first| put("", 0, "start", start(*first)));
        }
        for port in 1..=PORTS {
            let whole = one.whole || yard.whole;
            port_rows((one, whole), &strings, port, &start, &mut put);
        }
        if at == 0 && !yard.lamps.is_empty() {
            let lamp = strings.iter().find(|string| string["port"] == "dmx1").unwrap();
            let (universe, _, _) = point(&lamp["start"]);
            let value = match ddp {
                true => ((universe - 1) * 512 + 1 - first.unwrap()).to_string(),
                false => (universe - zero).to_string(),
            };
            put("dmx1", 1, "universe", value);
            for lamp in strings.iter().filter(|string| string["port"] == "dmx1") {
                let name = lamp["name"].as_str().unwrap().to_owned();
                dials.insert(name, point(&lamp["start"]).1);
            }
        }
    }
    (model, dials)
}

/// The channels of each node of each string, by the string's name, counted slot by slot.
fn nodes(yard: &Yard, compiled: &Compiled) -> BTreeMap<String, (usize, Vec<u64>)> {
    let table = table(compiled);
    let mut all = BTreeMap::new();
    for string in table["strings"].as_array().unwrap() {
        let one = yard.boxes.iter().find(|one| string["controller"] == *one.name).unwrap();
        let (each, count, used) = match string["colour"].as_str() {
            Some(colour) => (
                colour.len() as u64,
                string["nodes"].as_u64().unwrap(),
                one.used.unwrap_or(512) as u64,
            ),
            None => (1, string["slots"].as_u64().unwrap(), 512),
        };
        let mut at = point(&string["start"]).2 - 1;
        let mut channels = Vec::new();
        for _ in 0..count {
            if (one.whole || yard.whole) && at % 512 + each > used {
                at = (at / 512 + 1) * 512;
            }
            for _ in 0..each {
                if at % 512 >= used {
                    at = (at / 512 + 1) * 512;
                }
                channels.push(at);
                at += 1;
            }
        }
        let name = string["name"].as_str().unwrap().to_owned();
        all.insert(name, (each as usize, channels));
    }
    all
}

struct Evening {
    yard: Yard,
    compiled: Compiled,
    lock: String,
}

impl Evening {
    fn of(yard: Yard, lock: Option<&str>) -> Self {
        let text = yard.text();
        let lock = lock.map(|lock| (check::LOCK, lock.as_bytes()));
        let compiled = check::beside(check::NAME, &[(check::NAME, &text)], lock);
        let lock = compiled.next_lock();
        Self { yard, compiled, lock }
    }

    fn work_order(&self) -> (Value, Vec<tinsel::diff::remap::Run>) {
        let lock = self.compiled.lock.as_ref().map(|lock| &lock.lock);
        let changes = Changes::of(&self.compiled.model, &self.compiled.plan, lock);
        let mut bytes = Vec::new();
        json::write(&changes, !changes.is_empty(), &mut bytes).unwrap();
        (serde_json::from_slice(&bytes).unwrap(), changes.runs)
    }
}

/// Applies the work order to the boxes; each line must change a value there.
fn type_in(
    order: &Value,
    yard: &Yard,
    (mut model, mut dials): (Model, BTreeMap<String, u64>),
) -> (Model, BTreeMap<String, u64>) {
    // A box under a new name is still that box, or one that took its place and has its settings.
    let named = |name: String| {
        let new = yard.boxes.iter().find(|one| one.was.as_ref() == Some(&name));
        new.map_or(name, |one| one.name.clone())
    };
    model = model
        .into_iter()
        .map(|((name, port, row, field), value)| ((named(name), port, row, field), value))
        .collect();
    for line in order["retype"].as_array().unwrap() {
        let text = |key: &str| line[key].as_str().unwrap_or("").to_owned();
        let key =
            (text("controller"), text("port"), line["row"].as_u64().unwrap_or(0), text("field"));
        let (old, new) = (plain(&line["old"]), plain(&line["new"]));
        assert_ne!(old, new, "a line without effect: {line}");
        let zero = |value: Option<String>| {
            value.filter(|value| !(key.3.starts_with("dark") && value == "0"))
        };
        let (old, new) = (zero(old), zero(new));
        let was = match new {
            Some(new) => model.insert(key, new),
            None => {
                let was = model.remove(&key);
                // A row that sends nothing does not count, whatever else it has.
                if ["nodes", "universe"].contains(&&*key.3) {
                    model.retain(|other, _| {
                        (&other.0, &other.1, other.2) != (&key.0, &key.1, key.2)
                    });
                }
                was
            }
        };
        assert_eq!(was, old, "{line}");
    }
    for line in order["dials"].as_array().unwrap() {
        let name = line["fixture"].as_str().unwrap().to_owned();
        let new = line["new"].as_u64().unwrap();
        assert_ne!(line["old"].as_u64(), Some(new));
        assert_eq!(dials.insert(name, new), line["old"].as_u64(), "{line}");
    }
    dials.retain(|name, _| yard.lamps.iter().any(|lamp| lamp.name == *name));
    (model, dials)
}

/// A frame of named nodes, as the remap takes it from one evening to the next.
fn taken_along(before: &Evening, now: &Evening, runs: &[tinsel::diff::remap::Run], order: &Value) {
    let (old, new) = (nodes(&before.yard, &before.compiled), nodes(&now.yard, &now.compiled));
    let was = |name: &str| {
        let renamed = now.yard.props.iter().find(|prop| prop.name == name);
        renamed.and_then(|prop| prop.was.clone()).unwrap_or_else(|| name.to_owned())
    };
    let lost: BTreeSet<&str> = order["not_carried"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["string"].as_str().unwrap())
        .collect();
    let mut frame: BTreeMap<u64, (String, usize)> = BTreeMap::new();
    for (name, (_, channels)) in &old {
        frame.extend(
            channels.iter().enumerate().map(|(at, channel)| (*channel, (name.clone(), at))),
        );
    }
    let mut made = BTreeMap::new();
    for run in runs {
        for step in 0..run.count {
            let named = frame.get(&(run.from + step)).expect("only nodes are taken along");
            assert_eq!(made.insert(run.to + step, named.clone()), None);
        }
    }
    let mut expected = BTreeMap::new();
    for (name, (each, channels)) in &new {
        let was = was(name);
        let Some((old_each, old)) = old.get(&was) else {
            assert!(!lost.contains(&**name));
            continue;
        };
        assert_eq!(lost.contains(&**name), each != old_each, "{name}");
        if each == old_each {
            let count = old.len().min(channels.len());
            expected.extend(
                channels
                    .iter()
                    .take(count)
                    .enumerate()
                    .map(|(at, channel)| (*channel, (was.clone(), at))),
            );
        }
    }
    assert_eq!(made, expected);
}

/// Whether each box keeps its nodes whole.
fn kept_whole(yard: &Yard) -> Vec<bool> {
    yard.boxes.iter().map(|one| one.whole || yard.whole).collect()
}

#[test]
fn seasons_of_edits() {
    let mut dice = Dice(0x51de_2031_77aa_0419);
    let (mut evenings, mut lines, mut lost, mut moved) = (0, 0, 0, 0);
    let (mut whole, mut swapped) = (0, 0);
    for season in 0..6 {
        let mut before = Evening::of(Yard::new(&mut dice), None);
        while before.compiled.blocks() {
            before = Evening::of(Yard::new(&mut dice), None);
        }
        let mut model = sheet(&before.yard, &before.compiled);
        // The first evening: everything is typed into empty boxes.
        let (first, _) = before.work_order();
        assert_eq!(type_in(&first, &before.yard, Default::default()), model, "season {season}");
        let (mut edit, mut tried) = (0, 0);
        while edit < 60 {
            tried += 1;
            assert!(tried < 600, "season {season} has {edit} evenings of 60");
            let mut yard = before.yard.clone();
            yard.built();
            for _ in 0..=dice.below(2) {
                yard.edit(&mut dice);
            }
            let now = Evening::of(yard, Some(&before.lock));
            if now.compiled.blocks() {
                continue;
            }
            let what = format!(
                "season {season}, edit {edit}\n{}\n{}\n{}",
                before.lock,
                now.yard.text(),
                told(&now.compiled)
            );
            let (order, runs) = now.work_order();
            let expected = sheet(&now.yard, &now.compiled);
            let typed = type_in(&order, &now.yard, model);
            assert_eq!(typed, expected, "{what}\n{order}");
            taken_along(&before, &now, &runs, &order);
            (evenings, edit) = (evenings + 1, edit + 1);
            whole += usize::from(kept_whole(&before.yard) != kept_whole(&now.yard));
            swapped += now.yard.boxes.iter().filter(|one| one.was.is_some()).count();
            lines += order["retype"].as_array().unwrap().len();
            lost += order["not_carried"].as_array().unwrap().len();
            moved += order["moved"].as_array().unwrap().len();
            // Built, there is nothing to do.
            let again = Evening::of(now.yard.clone(), Some(&now.lock));
            let (nothing, _) = again.work_order();
            assert_eq!(nothing["changes"], false, "{what}\n{nothing}");
            model = expected;
            before = now;
        }
    }
    assert!(
        evenings == 360 && lines > 900 && lost > 10 && moved > 100 && whole > 20 && swapped > 20,
        "{evenings} {lines} {lost} {moved} {whole} {swapped}"
    );
}
