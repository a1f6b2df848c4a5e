//! Random displays: drawn as a [`Spec`], built as text for the compiler and as a case for the
//! oracle.

use crate::oracle::{Addressing, Align, Case, Controller, Dmx, Item, Lit, Port, Start};
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::fmt::Write as _;

/// Universes between the starts of two controllers that say where they start.
const APART: u64 = 5_000;

/// The makes of node: name, slots a node.
const NODES: [(&str, u64); 4] = [("rgb", 3), ("rgbw", 4), ("fine", 6), ("white", 1)];

/// What a prop is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Made {
    One,
    Strings(u32),
    Family(u32, bool),
}

#[derive(Debug, Clone)]
struct PropSpec {
    made: Made,
    node: usize,
    nodes: u64,
    skip: Option<u32>,
    pin: Option<(u64, u64)>,
    stored: bool,
    receiver: usize,
}

#[derive(Debug, Clone)]
struct ControllerSpec {
    start: u8,
    addressing: Addressing,
    align: Align,
    whole: bool,
    /// Slots fewer than the display's that it uses of each universe.
    fewer: Option<u64>,
    /// A universe of its own for synchronisation packets, after its first.
    sync: Option<u64>,
    ports: Vec<(u32, Vec<PropSpec>)>,
    dmx: Vec<Vec<(u64, u64)>>,
    receivers: usize,
    echo: bool,
}

/// A display as it is drawn by lot, so that a failing one can be made smaller.
#[derive(Debug, Clone)]
pub struct Spec {
    universe_slots: u64,
    whole: bool,
    spare_nodes: u64,
    spare_universes: u64,
    reserved: Vec<(usize, u64, u64)>,
    controllers: Vec<ControllerSpec>,
    /// Numbers to shuffle by.
    pub order: Vec<u16>,
}

fn prop_spec() -> impl Strategy<Value = PropSpec> {
    let made = prop_oneof![
        4 => Just(Made::One),
        2 => (2..4_u32).prop_map(Made::Strings),
        2 => (2..4_u32, any::<bool>()).prop_map(|(n, falling)| Made::Family(n, falling)),
    ];
    (
        made,
        0..NODES.len(),
        1..90_u64,
        proptest::option::weighted(0.15, 1..4_u32),
        proptest::option::weighted(0.2, (0..9_u64, 0..512_u64)),
        proptest::bool::weighted(0.1),
        0..2_usize,
    )
        .prop_map(|(made, node, nodes, skip, pin, stored, receiver)| PropSpec {
            made,
            node,
            nodes,
            skip,
            pin,
            stored,
            receiver,
        })
}

fn controller_spec() -> impl Strategy<Value = ControllerSpec> {
    let addressing = prop_oneof![
        4 => Just(Addressing::PerPort),
        2 => Just(Addressing::Consecutive),
        3 => Just(Addressing::PerProp),
    ];
    let align = prop_oneof![3 => Just(Align::Off), 1 => Just(Align::Port), 1 => Just(Align::Prop)];
    let port = (1..3_u32, proptest::collection::vec(prop_spec(), 1..4));
    let dmx =
        proptest::collection::vec((1..9_u64, prop_oneof![3 => Just(0_u64), 1 => 1..20_u64]), 1..4);
    (
        0..6_u8,
        addressing,
        align,
        proptest::bool::weighted(0.2),
        (
            proptest::option::weighted(0.3, prop_oneof![Just(2_u64), 0..40_u64, 100..400_u64]),
            proptest::option::weighted(0.2, 0..4_u64),
        ),
        proptest::collection::vec(port, 1..4),
        proptest::collection::vec(dmx, 0..3),
        prop_oneof![3 => Just(0_usize), 1 => Just(1_usize), 1 => Just(2_usize)],
        proptest::bool::weighted(0.2),
    )
        .prop_map(
            |(start, addressing, align, whole, (fewer, sync), ports, dmx, receivers, echo)| {
                ControllerSpec {
                    start,
                    addressing,
                    // With `consecutive` a port begins where the last one ends: nothing can be
                    // aligned.
                    align: if addressing == Addressing::Consecutive { Align::Off } else { align },
                    whole,
                    fewer,
                    sync,
                    ports,
                    dmx,
                    receivers,
                    echo,
                }
            },
        )
}

/// Slots of each universe that a controller uses.
fn slots_of(spec: &Spec, controller: &ControllerSpec) -> u64 {
    let fewer = controller.fewer.unwrap_or(0);
    spec.universe_slots.saturating_sub(fewer).max(12).min(spec.universe_slots)
}

/// Any display.
pub fn spec() -> impl Strategy<Value = Spec> {
    let slots = prop_oneof![
        4 => Just(512_u64),
        2 => Just(510_u64),
        1 => Just(171_u64),
        2 => 24..512_u64,
    ];
    (
        slots,
        proptest::bool::weighted(0.3),
        0..3_u64,
        0..3_u64,
        proptest::collection::vec((0..3_usize, 0..6_u64, 0..3_u64), 0..3),
        proptest::collection::vec(controller_spec(), 1..4),
        proptest::collection::vec(any::<u16>(), 64),
    )
        .prop_map(
            |(
                universe_slots,
                whole,
                spare_nodes,
                spare_universes,
                reserved,
                controllers,
                order,
            )| Spec {
                universe_slots,
                whole,
                spare_nodes,
                spare_universes,
                reserved,
                controllers,
                order,
            },
        )
}

/// Which statements keep their order among themselves.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Order {
    Free,
    Controllers,
    Receivers,
}

/// A display as the oracle and as the compiler take it.
pub struct Display {
    /// As the oracle takes it.
    pub case: Case,
    statements: Vec<(Order, String)>,
}

impl Display {
    /// As the compiler takes it.
    pub fn source(&self) -> String {
        self.statements.iter().map(|(_, text)| text.as_str()).collect()
    }

    /// The same statements in another order, where order does not matter.
    pub fn shuffled(&self, order: &[u16]) -> String {
        let mut places: Vec<usize> = (0..self.statements.len()).collect();
        places.sort_by_key(|at| (order[at % order.len()].wrapping_mul(*at as u16 + 1), *at));
        for kept in [Order::Controllers, Order::Receivers] {
            let mut slots: Vec<usize> =
                (0..places.len()).filter(|at| self.statements[places[*at]].0 == kept).collect();
            let mut values: Vec<usize> = slots.iter().map(|at| places[*at]).collect();
            values.sort_unstable();
            slots.sort_unstable();
            for (slot, value) in slots.into_iter().zip(values) {
                places[slot] = value;
            }
        }
        places.into_iter().map(|at| self.statements[at].1.as_str()).collect()
    }
}

/// Builds a display from a specification.
pub fn build(spec: &Spec) -> Display {
    let mut builder = Builder { spec, statements: vec![(Order::Free, head(spec))], props: 0 };
    let mut controllers = Vec::new();
    for index in 0..spec.controllers.len() {
        let controller = builder.controller(index);
        controllers.push(controller);
    }
    builder.echoes(&mut controllers);
    let mut reserved: Vec<(u64, u64)> = spec
        .reserved
        .iter()
        .map(|(controller, from, more)| {
            let first = *controller as u64 * APART + 1 + from;
            (first, first + more)
        })
        .collect();
    reserved.sort_unstable();
    for (first, last) in &reserved {
        builder.say(Order::Free, &format!("reserve universes {first}..{last} \"a guest\"\n"));
    }
    let synced = spec.controllers.iter().enumerate();
    reserved.extend(synced.filter_map(|(index, controller)| {
        let universe = index as u64 * APART + 1 + controller.sync?;
        Some((universe, universe))
    }));
    Display {
        case: Case {
            universe_slots: spec.universe_slots,
            whole: spec.whole,
            spare_nodes: spec.spare_nodes,
            spare_universes: spec.spare_universes,
            reserved,
            controllers,
        },
        statements: builder.statements,
    }
}

fn head(spec: &Spec) -> String {
    let mut head =
        format!("display \"random\" {{ frame rate 10 Hz; universe {} slots; ", spec.universe_slots);
    if spec.whole {
        head.push_str("whole nodes; ");
    }
    let _ = write!(
        head,
        "spare {} nodes per port; spare {} universes per controller }}\n\
         chip slow {{ rate 800 kHz; latch 280 us; depth 16 }}\n\
         node rgb {{ chip ws2811; colour RGB }}\n\
         node rgbw {{ chip sk6812; colour RGBW }}\n\
         node fine {{ chip slow; colour RGB }}\n\
         node white {{ chip ws2811; colour W }}\n",
        spec.spare_nodes, spec.spare_universes
    );
    head
}

struct Builder<'a> {
    spec: &'a Spec,
    statements: Vec<(Order, String)>,
    props: usize,
}

impl Builder<'_> {
    fn say(&mut self, order: Order, text: &str) {
        self.statements.push((order, text.to_owned()));
    }

    fn controller(&mut self, index: usize) -> Controller {
        let spec = &self.spec.controllers[index];
        let base = index as u64 * APART + 1;
        let start = match spec.start {
            0 if index > 0 => Start::After(index - 1),
            0 | 1 => Start::Auto,
            2 => Start::Range(base, base + APART / 2),
            3 => Start::Range(base, base + 2),
            _ => Start::From(base),
        };
        let fixed = matches!(start, Start::From(_) | Start::Range(..));
        let slots = slots_of(self.spec, spec);
        let mut ports = Vec::new();
        let mut number = 0;
        for (step, props) in &spec.ports {
            number += step;
            let mut props = props.clone();
            for prop in &mut props {
                prop.receiver = if spec.receivers == 2 { prop.receiver } else { 0 };
            }
            props.sort_by_key(|prop| prop.receiver);
            let first_port = ports.is_empty();
            let last = props.len() - 1;
            for (at, prop) in props.iter_mut().enumerate() {
                let may = match spec.addressing {
                    Addressing::PerPort => at == 0,
                    Addressing::Consecutive => at == 0 && first_port,
                    Addressing::PerProp => true,
                };
                prop.pin = prop
                    .pin
                    .filter(|_| may && fixed)
                    .map(|(universe, slot)| (base + universe, slot % slots + 1));
                // A pinned one that is aligned must be pinned to slot 1.
                if spec.align != Align::Off {
                    prop.pin = prop.pin.map(|(universe, _)| (universe, 1));
                }
                prop.stored = prop.stored && at == last && prop.made == Made::One;
            }
            let chain = self.port(index, number, spec.receivers, &props);
            ports.push(Port { number, chain });
        }
        let dmx = self.dmx(index, &spec.dmx);
        self.declare(index, start, number + 1);
        Controller {
            start,
            addressing: spec.addressing,
            align: spec.align,
            whole: spec.whole,
            slots,
            ports,
            dmx,
        }
    }

    fn declare(&mut self, index: usize, start: Start, ports: u32) {
        let spec = &self.spec.controllers[index];
        let mut text = format!("controller c{index} {{\n    input e131 unicast\n");
        let _ = match start {
            Start::Auto => Ok(()),
            Start::From(first) => writeln!(text, "    universes from {first}"),
            Start::Range(first, last) => writeln!(text, "    universes {first}..{last}"),
            Start::After(other) => writeln!(text, "    universes after c{other}"),
        };
        text.push_str(match spec.addressing {
            Addressing::PerPort => "",
            Addressing::Consecutive => "    addressing consecutive\n",
            Addressing::PerProp => "    addressing per prop\n",
        });
        text.push_str(match spec.align {
            Align::Off => "",
            Align::Port => "    align port\n",
            Align::Prop => "    align prop\n",
        });
        if spec.whole {
            text.push_str("    whole nodes\n");
        }
        if spec.fewer.is_some() {
            let _ = writeln!(text, "    universe {} slots", slots_of(self.spec, spec));
        }
        if let Some(sync) = spec.sync {
            let _ = writeln!(text, "    sync universe {}", index as u64 * APART + 1 + sync);
        }
        let _ = writeln!(text, "    ports 1..{ports} {{ }}");
        if !spec.dmx.is_empty() {
            let _ = writeln!(text, "    dmx 1..{}", spec.dmx.len());
        }
        text.push_str("}\n");
        self.say(Order::Controllers, &text);
        for receiver in 0..spec.receivers {
            // The last port, of the echo, stays at the controller.
            let text =
                format!("receiver r{index}-{receiver} {{ carries c{index}.1..{} }}\n", ports - 1);
            self.say(Order::Receivers, &text);
        }
    }

    /// Declares the props of a port and wires them; answers its chain.
    fn port(
        &mut self,
        controller: usize,
        number: u32,
        receivers: usize,
        props: &[PropSpec],
    ) -> Vec<Item> {
        let mut chain = Vec::new();
        let mut lines: BTreeMap<usize, Vec<String>> = BTreeMap::new();
        for prop in props {
            let line = lines.entry(prop.receiver).or_default();
            if let Some(skip) = prop.skip {
                chain.push(Item::Skip);
                line.push(format!("skip {skip}"));
            }
            let name = format!("p{}", self.props);
            self.props += 1;
            let (node, slots) = NODES[prop.node];
            let nodes = prop.nodes;
            let (declared, members, names) = match prop.made {
                Made::One => (format!("string {nodes} nodes"), String::new(), vec![name.clone()]),
                Made::Strings(count) => (
                    format!("strings {count} of {nodes} nodes"),
                    String::new(),
                    (1..=count).map(|n| format!("{name}.{n}")).collect(),
                ),
                Made::Family(count, falling) => {
                    let mut names: Vec<String> =
                        (1..=count).map(|n| format!("{name}[{n}]")).collect();
                    if falling {
                        names.reverse();
                    }
                    (format!("string {nodes} nodes"), format!(" * {count}"), names)
                }
            };
            self.say(Order::Free, &format!("prop {name}{members} {{ node {node}; {declared} }}\n"));
            if prop.stored {
                self.say(Order::Free, &format!("stored {name}\n"));
            }
            let mut item = match prop.made {
                Made::Family(count, true) => format!("{name}[{count}..1]"),
                Made::Family(..) | Made::One | Made::Strings(_) => name.clone(),
            };
            if let Some((universe, slot)) = prop.pin {
                let _ = write!(item, " at {universe}/{slot}");
            }
            line.push(item);
            for (at, full) in names.into_iter().enumerate() {
                chain.push(Item::Lit(Lit {
                    name: full,
                    prop: name.clone(),
                    node: slots,
                    nodes,
                    pin: prop.pin.filter(|_| at == 0),
                    same_as: None,
                    receiver: prop.receiver,
                }));
            }
        }
        for (receiver, line) in lines {
            let target = if receivers == 0 {
                format!("c{controller}.{number}")
            } else {
                format!("r{controller}-{receiver}.{number}")
            };
            self.say(Order::Free, &format!("wire {target}: {}\n", line.join(" -> ")));
        }
        chain
    }

    fn dmx(&mut self, controller: usize, outputs: &[Vec<(u64, u64)>]) -> Vec<Dmx> {
        let mut all = Vec::new();
        for (at, fixtures) in outputs.iter().enumerate() {
            let number = at as u32 + 1;
            let mut line = Vec::new();
            let mut laid = Vec::new();
            let mut slot = 1;
            for (footprint, jump) in fixtures {
                let name = format!("p{}", self.props);
                self.props += 1;
                self.say(Order::Free, &format!("prop {name} {{ slots {footprint} }}\n"));
                let pin = (*jump > 0).then_some(slot + jump);
                line.push(pin.map_or(name.clone(), |pin| format!("{name} at {pin}")));
                slot = pin.unwrap_or(slot) + footprint;
                laid.push((name, *footprint, pin));
            }
            self.say(
                Order::Free,
                &format!("wire c{controller}.dmx{number}: {}\n", line.join(" -> ")),
            );
            all.push(Dmx { fixtures: laid });
        }
        all
    }

    /// If the controller has an echo: a prop on a port of its own that shows another controller's
    /// data.
    fn echoes(&mut self, controllers: &mut [Controller]) {
        for index in 0..controllers.len() {
            if !self.spec.controllers[index].echo {
                continue;
            }
            let other = (index + 1) % controllers.len();
            let Some(shown) = controllers[other].ports.iter().flat_map(|p| &p.chain).find_map(
                |item| match item {
                    Item::Lit(lit) if lit.name == lit.prop && lit.same_as.is_none() => {
                        Some(lit.clone())
                    }
                    Item::Lit(_) | Item::Skip => None,
                },
            ) else {
                continue;
            };
            let name = format!("e{index}");
            let node = NODES.iter().find(|node| node.1 == shown.node).unwrap().0;
            self.say(
                Order::Free,
                &format!(
                    "prop {name} {{ node {node}; string {} nodes; same as {} }}\n",
                    shown.nodes, shown.name
                ),
            );
            let number = controllers[index].ports.last().unwrap().number + 1;
            self.say(Order::Free, &format!("wire c{index}.{number}: {name}\n"));
            controllers[index].ports.push(Port {
                number,
                chain: vec![Item::Lit(Lit {
                    name: name.clone(),
                    prop: name,
                    pin: None,
                    same_as: Some(shown.name.clone()),
                    receiver: 0,
                    ..shown
                })],
            });
        }
    }
}
