//! Small displays whose ports the compiler picks, with a lock and one edit. The fewest strings that
//! change their port, then the fewest slots that move, by trying every port, order and start.

use super::edits::Lot;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use tinsel::lock::Lock;
use tinsel::model::Output;

/// Slots of a universe; a node has one slot.
const SLOTS: u64 = 8;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Addressing {
    PerPort,
    PerProp,
    Consecutive,
}

#[derive(Debug, Clone)]
struct Controller {
    addressing: Addressing,
    /// Its first universe, where it says so.
    first: Option<u64>,
    /// Its last universe, where it says so.
    last: Option<u64>,
    /// The most nodes of a port.
    most: u64,
    /// By port: whether it is reserved.
    ports: Vec<bool>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Target {
    Any,
    Controller(usize),
    Port(usize, usize),
}

/// A prop: nodes of each string.
#[derive(Debug, Clone)]
struct Prop {
    name: String,
    nodes: u64,
    strings: u64,
}

impl Prop {
    fn names(&self) -> Vec<String> {
        match self.strings {
            1 => vec![self.name.clone()],
            many => (1..=many).map(|at| format!("{}.{at}", self.name)).collect(),
        }
    }
}

/// A statement: the props of a chain and where it goes.
#[derive(Debug, Clone)]
struct Wire {
    props: Vec<Prop>,
    target: Target,
}

/// A display.
#[derive(Debug, Clone)]
pub struct Case {
    controllers: Vec<Controller>,
    wires: Vec<Wire>,
    reserved: Option<u64>,
    /// A prop's old and new name.
    renamed: Option<(String, String)>,
    names: u64,
}

/// A line as it is laid: its strings with nodes, where it goes, and whether it was there before.
#[derive(Debug)]
struct Line {
    strings: Vec<(String, u64)>,
    target: Target,
    old: bool,
}

/// Where strings lay: controller, port, start and slots.
type Olds = BTreeMap<String, (usize, usize, u64, u64)>;

/// A port with each order of the lines on it.
type Hung = ((usize, usize), Vec<Vec<usize>>);

/// What moves as a whole: its controller and its strings.
type Unit<'a> = (usize, Vec<&'a (String, u64)>);

impl Case {
    /// Draws one.
    pub fn draw(lot: &mut Lot) -> Self {
        let mut at = 1;
        let count = 1 + lot.below(3) / 2;
        let mut controllers = Vec::new();
        for _ in 0..count {
            let addressing = match lot.below(6) {
                0 => Addressing::Consecutive,
                1 | 2 => Addressing::PerProp,
                _ => Addressing::PerPort,
            };
            let first = (lot.below(3) > 0).then_some(at);
            let last = first.filter(|_| lot.below(3) == 0);
            let last = last.map(|first| first + 1 + lot.below(3));
            at = last.unwrap_or(at + 4) + 1;
            controllers.push(Controller {
                addressing,
                first,
                last,
                most: 6 + lot.below(7),
                ports: vec![false; 1 + lot.below(3) as usize],
            });
        }
        let mut case =
            Self { controllers, wires: Vec::new(), reserved: None, renamed: None, names: 0 };
        for _ in 0..2 + lot.below(4) {
            let wire = case.wire(lot);
            case.wires.push(wire);
        }
        case
    }

    fn prop(&mut self, lot: &mut Lot) -> Prop {
        self.names += 1;
        Prop {
            name: format!("p{}", self.names),
            nodes: 1 + lot.below(5),
            strings: 1 + lot.below(6) / 5,
        }
    }

    fn wire(&mut self, lot: &mut Lot) -> Wire {
        let mut props = vec![self.prop(lot)];
        let target = self.target(lot);
        if lot.below(6) == 0 {
            props.push(self.prop(lot));
            for prop in &mut props {
                prop.strings = 1;
            }
        }
        Wire { props, target }
    }

    fn target(&self, lot: &mut Lot) -> Target {
        let controller = lot.below(self.controllers.len() as u64) as usize;
        match lot.below(4) {
            0 => {
                let free = self.controllers[controller].ports.iter().enumerate();
                let free: Vec<usize> = free.filter(|(_, dead)| !**dead).map(|(at, _)| at).collect();
                match free.is_empty() {
                    true => Target::Any,
                    false => Target::Port(controller, free[lot.below(free.len() as u64) as usize]),
                }
            }
            1 => Target::Controller(controller),
            _ => Target::Any,
        }
    }

    /// One edit.
    pub fn edit(&mut self, lot: &mut Lot) -> &'static str {
        let at = lot.below(self.wires.len() as u64) as usize;
        match lot.below(14) {
            0 | 1 => {
                let wire = self.wire(lot);
                let place = lot.below(self.wires.len() as u64 + 1) as usize;
                self.wires.insert(place, wire);
                "added"
            }
            2 if self.wires.len() > 1 => {
                self.wires.remove(at);
                "removed"
            }
            3 | 4 => {
                let nodes = 1 + lot.below(7);
                self.wires[at].props[0].nodes = nodes;
                "another length"
            }
            5 => {
                let controller = lot.below(self.controllers.len() as u64) as usize;
                let port = lot.below(self.controllers[controller].ports.len() as u64) as usize;
                let wired = Target::Port(controller, port);
                if self.wires.iter().all(|wire| wire.target != wired) {
                    self.controllers[controller].ports[port] = true;
                }
                "a port reserved"
            }
            6 => {
                let controller = lot.below(self.controllers.len() as u64) as usize;
                self.controllers[controller].most = 4 + lot.below(10);
                "another limit"
            }
            7 | 8 => {
                self.wires[at].target = self.target(lot);
                "another target"
            }
            10 | 11 => {
                self.names += 1;
                let prop = &mut self.wires[at].props[0];
                let new = format!("p{}", self.names);
                self.renamed = Some((prop.name.clone(), new.clone()));
                prop.name = new;
                if lot.below(2) == 0 {
                    prop.nodes = 1 + lot.below(7);
                }
                "renamed"
            }
            12 if self.wires[at].props.iter().all(|prop| prop.strings == 1) => {
                let prop = Prop { strings: 1, ..self.prop(lot) };
                let wire = &mut self.wires[at];
                let place = lot.below(wire.props.len() as u64 + 1) as usize;
                wire.props.insert(place, prop);
                "a longer chain"
            }
            9 if self.controllers.iter().all(|one| one.addressing != Addressing::Consecutive) => {
                self.reserved = Some(1 + lot.below(4));
                "a universe reserved"
            }
            _ => {
                let wire = self.wires.remove(at);
                self.wires.push(wire);
                "another order"
            }
        }
    }

    /// The display as text.
    pub fn text(&self) -> String {
        let mut text = format!(
            "display \"\" {{ universe {SLOTS} slots }}\nnode dot {{ chip ws2811; colour W }}\n"
        );
        for (index, one) in self.controllers.iter().enumerate() {
            let universes = match (one.first, one.last) {
                (Some(first), Some(last)) => format!("universes {first}..{last}; "),
                (Some(first), None) => format!("universes from {first}; "),
                (None, _) => String::new(),
            };
            let addressing = match one.addressing {
                Addressing::PerPort => "per port",
                Addressing::PerProp => "per prop",
                Addressing::Consecutive => "consecutive",
            };
            let (count, most) = (one.ports.len(), one.most);
            let _ = writeln!(
                text,
                "controller k{index} {{ {universes}addressing {addressing}; ports 1..{count} {{ nodes at most {most} }} }}"
            );
            for (port, _) in one.ports.iter().enumerate().filter(|(_, dead)| **dead) {
                let _ = writeln!(text, "reserve k{index}.{} \"dead\"", port + 1);
            }
        }
        if let Some(universe) = self.reserved {
            let _ = writeln!(text, "reserve universes {universe} \"a guest\"");
        }
        if let Some((old, new)) = &self.renamed {
            let _ = writeln!(text, "renamed {old} -> {new}");
        }
        for wire in &self.wires {
            for prop in &wire.props {
                let _ = match prop.strings {
                    1 => writeln!(
                        text,
                        "prop {} {{ node dot; string {} nodes }}",
                        prop.name, prop.nodes
                    ),
                    many => writeln!(
                        text,
                        "prop {} {{ node dot; strings {many} of {} nodes }}",
                        prop.name, prop.nodes
                    ),
                };
            }
            let chain: Vec<&str> = wire.props.iter().map(|prop| &*prop.name).collect();
            let target = match wire.target {
                Target::Any => "any".to_owned(),
                Target::Controller(at) => format!("k{at}"),
                Target::Port(at, port) => format!("k{at}.{}", port + 1),
            };
            let _ = writeln!(text, "wire {target}: {}", chain.join(" -> "));
        }
        text
    }

    fn olds(&self, lock: &Lock) -> Olds {
        let name = |row: &str| {
            let (prop, string) = row.split_at(row.find('.').unwrap_or(row.len()));
            let renamed = self.renamed.as_ref().filter(|(old, _)| old == prop);
            renamed.map_or(row.to_owned(), |(_, new)| format!("{new}{string}"))
        };
        let rows = lock.rows.iter().map(|row| {
            let Output::Pixel(port) = row.output else {
                panic!("no fixtures here");
            };
            let controller = row.controller[1..].parse().unwrap();
            (name(&row.name), (controller, port as usize - 1, row.start, row.slots))
        });
        rows.collect()
    }

    /// From one lock to another: how many strings changed their port, and how many slots moved.
    pub fn moved(&self, before: &Lock, now: &Lock) -> (usize, u64) {
        let now = self.olds(now);
        let mut sum = (0, 0);
        for (name, was) in self.olds(before) {
            if let Some(lies) = now.get(&name) {
                sum.0 += usize::from((lies.0, lies.1) != (was.0, was.1));
                sum.1 += if lies.2 == was.2 { 0 } else { was.3 };
            }
        }
        sum
    }

    fn lines(&self, olds: &Olds) -> Vec<Line> {
        let mut lines = Vec::new();
        for wire in &self.wires {
            let strings = wire.props.iter().flat_map(|prop| {
                prop.names().into_iter().map(|name| (name, prop.nodes)).collect::<Vec<_>>()
            });
            let strings: Vec<(String, u64)> = strings.collect();
            // A prop of several strings that stands alone: each by itself where the port is open.
            let alone = wire.props.len() == 1 && !matches!(wire.target, Target::Port(..));
            let chunks = if alone { 1 } else { strings.len() };
            for strings in strings.chunks(chunks) {
                lines.push(Line {
                    strings: strings.to_vec(),
                    target: wire.target,
                    old: strings.iter().any(|(name, _)| olds.contains_key(name)),
                });
            }
        }
        lines
    }

    /// The fewest strings that change their port and, of the ways that do with so few, the fewest
    /// slots that move; `None` where nothing is lawful.
    pub fn least(&self, lock: &Lock) -> Option<(usize, u64)> {
        let olds = self.olds(lock);
        let lines = self.lines(&olds);
        let mut ways: BTreeMap<usize, Vec<Vec<(usize, usize)>>> = BTreeMap::new();
        self.ports(&lines, &olds, &mut Vec::new(), 0, &mut ways);
        for (plugs, ways) in ways {
            let mut best = None;
            for way in ways {
                self.orders(&lines, &way, &olds, &mut best);
            }
            if let Some(slots) = best {
                return Some((plugs, slots));
            }
        }
        None
    }

    /// Every port of every line.
    fn ports(
        &self,
        lines: &[Line],
        olds: &Olds,
        way: &mut Vec<(usize, usize)>,
        plugs: usize,
        ways: &mut BTreeMap<usize, Vec<Vec<(usize, usize)>>>,
    ) {
        let Some(line) = lines.get(way.len()) else {
            ways.entry(plugs).or_default().push(way.clone());
            return;
        };
        for (at, controller) in self.controllers.iter().enumerate() {
            for (port, dead) in controller.ports.iter().enumerate() {
                let allowed = match line.target {
                    Target::Any => !dead,
                    Target::Controller(one) => !dead && one == at,
                    Target::Port(one, two) => (one, two) == (at, port),
                };
                let hangs = way.iter().zip(lines).filter(|(place, _)| **place == (at, port));
                let hangs = hangs.map(|(_, line)| line).chain([line]);
                let nodes: u64 = hangs.flat_map(|line| &line.strings).map(|(_, nodes)| nodes).sum();
                // Lines that come later may be wired here, so this is only a first look.
                if !allowed || nodes > controller.most {
                    continue;
                }
                let gone = line.strings.iter().filter(|(name, _)| {
                    olds.get(name).is_some_and(|was| (was.0, was.1) != (at, port))
                });
                let gone = gone.count();
                way.push((at, port));
                self.ports(lines, olds, way, plugs + gone, ways);
                way.pop();
            }
        }
    }

    /// Every order of the lines of every port.
    fn orders(&self, lines: &[Line], way: &[(usize, usize)], olds: &Olds, best: &mut Option<u64>) {
        let mut ports: Vec<Hung> = Vec::new();
        for (at, controller) in self.controllers.iter().enumerate() {
            for port in 0..controller.ports.len() {
                let here = |index: &usize| way[*index] == (at, port);
                let wired = |index: &usize| matches!(lines[*index].target, Target::Port(..));
                let all = || (0..lines.len()).filter(here);
                let mut orders = vec![all().filter(wired).collect::<Vec<usize>>()];
                for line in all().filter(|index| !wired(index) && lines[*index].old) {
                    let every = |order: &Vec<usize>| {
                        let order = order.clone();
                        (0..=order.len()).map(move |place| {
                            let mut order = order.clone();
                            order.insert(place, line);
                            order
                        })
                    };
                    let longer: Vec<Vec<usize>> = orders.iter().flat_map(every).collect();
                    orders = longer;
                    if controller.addressing == Addressing::PerProp {
                        orders.truncate(1);
                    }
                }
                let new: Vec<usize> =
                    all().filter(|index| !wired(index) && !lines[*index].old).collect();
                for order in &mut orders {
                    order.extend(&new);
                }
                ports.push(((at, port), orders));
            }
        }
        let mut chosen: Vec<((usize, usize), Vec<usize>)> = Vec::new();
        self.choose(lines, &ports, olds, &mut chosen, best);
    }

    fn choose(
        &self,
        lines: &[Line],
        ports: &[Hung],
        olds: &Olds,
        chosen: &mut Vec<((usize, usize), Vec<usize>)>,
        best: &mut Option<u64>,
    ) {
        if let Some(((port, orders), rest)) = ports.split_first() {
            for order in orders {
                chosen.push((*port, order.clone()));
                self.choose(lines, rest, olds, chosen, best);
                chosen.pop();
            }
            return;
        }
        let mut units: Vec<Unit<'_>> = Vec::new();
        for (index, controller) in self.controllers.iter().enumerate() {
            let own = chosen.iter().filter(|((at, _), _)| *at == index);
            let chains = own.map(|(_, order)| {
                order.iter().flat_map(|line| &lines[*line].strings).collect::<Vec<_>>()
            });
            let chains: Vec<Vec<&(String, u64)>> = chains.filter(|one| !one.is_empty()).collect();
            match controller.addressing {
                Addressing::Consecutive if chains.is_empty() => {}
                Addressing::Consecutive => units.push((index, chains.concat())),
                Addressing::PerPort => units.extend(chains.into_iter().map(|one| (index, one))),
                Addressing::PerProp => {
                    units.extend(chains.concat().into_iter().map(|one| (index, vec![one])));
                }
            }
        }
        self.lay(&units, olds, &mut Vec::new(), &mut Vec::new(), 0, best);
    }

    /// Every choice of what stays where it lay, the least moves first; the rest lies anywhere.
    fn lay(
        &self,
        units: &[Unit<'_>],
        olds: &Olds,
        laid: &mut Vec<(usize, u64, u64)>,
        free: &mut Vec<(usize, u64)>,
        moved: u64,
        best: &mut Option<u64>,
    ) {
        if best.is_some_and(|best| best <= moved) {
            return;
        }
        let Some(((controller, strings), rest)) = units.split_first() else {
            if self.fill(free, laid) {
                *best = Some(moved);
            }
            return;
        };
        let size: u64 = strings.iter().map(|(_, nodes)| nodes).sum();
        let gone = |start: Option<u64>| {
            let mut at = 0;
            let mut gone = 0;
            for (name, nodes) in strings {
                let was =
                    olds.get(name).filter(|was| start.is_none_or(|start| was.2 != start + at));
                gone += was.map_or(0, |was| was.3);
                at += nodes;
            }
            gone
        };
        let mut before = 0;
        let mut places: BTreeMap<u64, Option<u64>> = BTreeMap::new();
        for (name, nodes) in strings {
            let start = olds.get(name).and_then(|was| was.2.checked_sub(before));
            places.extend(start.map(|start| (start, Some(start))));
            before += nodes;
        }
        let mut places: Vec<(u64, Option<u64>)> =
            places.into_values().chain([None]).map(|start| (gone(start), start)).collect();
        places.sort_unstable();
        for (gone, start) in places {
            let Some(start) = start else {
                free.push((*controller, size));
                self.lay(rest, olds, laid, free, moved + gone, best);
                free.pop();
                continue;
            };
            if self.is_inside(*controller, start, size)
                && self.is_free(*controller, (start, start + size), laid)
            {
                laid.push((*controller, start, start + size));
                self.lay(rest, olds, laid, free, moved + gone, best);
                laid.pop();
            }
        }
    }

    fn is_inside(&self, controller: usize, start: u64, size: u64) -> bool {
        let declared = &self.controllers[controller];
        let first = declared.first.map_or(0, |first| (first - 1) * SLOTS);
        let end = declared.last.map_or(400, |last| last * SLOTS);
        start >= first && start + size <= end
    }

    /// Whether the free units find places: in any order, each at its first free place.
    fn fill(&self, free: &[(usize, u64)], laid: &mut Vec<(usize, u64, u64)>) -> bool {
        if free.is_empty() {
            return true;
        }
        let mut starts: Vec<u64> =
            laid.iter().flat_map(|one| [one.2, one.2.div_ceil(SLOTS) * SLOTS]).collect();
        let said =
            self.controllers.iter().flat_map(|one| [one.first.map(|first| first - 1), one.last]);
        starts.extend(
            said.chain([Some(0), self.reserved]).flatten().map(|universe| universe * SLOTS),
        );
        starts.sort_unstable();
        starts.dedup();
        for (at, (controller, size)) in free.iter().enumerate() {
            if free[..at].contains(&free[at]) {
                continue;
            }
            for start in &starts {
                let stretch = (*start, start + size);
                if !self.is_inside(*controller, *start, *size)
                    || !self.is_free(*controller, stretch, laid)
                {
                    continue;
                }
                let mut rest = free.to_vec();
                rest.remove(at);
                laid.push((*controller, stretch.0, stretch.1));
                let filled = self.fill(&rest, laid);
                laid.pop();
                if filled {
                    return true;
                }
            }
        }
        false
    }

    fn is_free(
        &self,
        controller: usize,
        (start, end): (u64, u64),
        laid: &[(usize, u64, u64)],
    ) -> bool {
        let universes = |(from, to): (u64, u64)| (from / SLOTS, to.div_ceil(SLOTS));
        let share = |one: (u64, u64), two: (u64, u64)| {
            let (one, two) = (universes(one), universes(two));
            one.0 < two.1 && two.0 < one.1
        };
        let declared = self.controllers.iter().enumerate();
        let others = declared.filter(|(index, _)| *index != controller);
        let mut said =
            others.filter_map(|(_, one)| Some(((one.first? - 1) * SLOTS, one.last? * SLOTS)));
        let reserved = self.reserved.map(|one| ((one - 1) * SLOTS, one * SLOTS));
        !said.any(|said| share(said, (start, end)))
            && !reserved.is_some_and(|one| share(one, (start, end)))
            && laid.iter().all(|(other, from, to)| match *other == controller {
                true => *to <= start || end <= *from,
                false => !share((*from, *to), (start, end)),
            })
    }
}
