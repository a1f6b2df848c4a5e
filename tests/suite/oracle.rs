//! A second, slow decider of all addresses, written from the language guide, not from the compiler.
//!
//! It knows only channels: it lays out node by node, keeps taken channels in a set, and finds a
//! place by trying one channel after the other. Where the guide leaves a case open, the answer is
//! [`Answer::Open`] and the properties leave that display out.

use std::collections::{BTreeMap, BTreeSet};

/// A display, as far as addresses depend on it.
#[derive(Debug, Clone)]
pub struct Case {
    /// Slots in a universe.
    pub universe_slots: u64,
    /// Whether nodes stay whole everywhere.
    pub whole: bool,
    /// Nodes left free after each used port.
    pub spare_nodes: u64,
    /// Universes left free after each controller.
    pub spare_universes: u64,
    /// Universes that something else uses.
    pub reserved: Vec<(u64, u64)>,
    /// The controllers as declared.
    pub controllers: Vec<Controller>,
}

/// A controller.
#[derive(Debug, Clone)]
pub struct Controller {
    /// Where its universes begin.
    pub start: Start,
    /// How it numbers.
    pub addressing: Addressing,
    /// What begins at slot 1.
    pub align: Align,
    /// Whether its nodes stay whole.
    pub whole: bool,
    /// Slots of each universe that its pixel ports use.
    pub slots: u64,
    /// Its used pixel ports by number, each with its chain.
    pub ports: Vec<Port>,
    /// Its used DMX outputs by number.
    pub dmx: Vec<Dmx>,
}

/// Where a controller's universes begin.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start {
    /// After the highest given so far.
    Auto,
    /// `from N`.
    From(u64),
    /// `N..M`.
    Range(u64, u64),
    /// `after` the controller of that index.
    After(usize),
}

/// How a controller numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Addressing {
    /// Each port is one range.
    PerPort,
    /// All ports are one range.
    Consecutive,
    /// Each string has a start of its own.
    PerProp,
}

/// What begins at slot 1 of a universe.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Nothing need.
    Off,
    /// Each port.
    Port,
    /// Each prop of a port.
    Prop,
}

/// A pixel port.
#[derive(Debug, Clone)]
pub struct Port {
    /// Its number.
    pub number: u32,
    /// What hangs on it, nearest first.
    pub chain: Vec<Item>,
}

/// An item of a chain.
#[derive(Debug, Clone)]
pub enum Item {
    /// A string.
    Lit(Lit),
    /// Dark nodes: they take no slots.
    Skip,
}

/// A string.
#[derive(Debug, Clone)]
pub struct Lit {
    /// Its full name, as the table has it.
    pub name: String,
    /// Its prop.
    pub prop: String,
    /// Slots of one node.
    pub node: u64,
    /// Its nodes.
    pub nodes: u64,
    /// Where it is pinned: universe and slot.
    pub pin: Option<(u64, u64)>,
    /// The string whose data it shows.
    pub same_as: Option<String>,
    /// The receiver it hangs on, from 0, where the controller's ports are carried.
    pub receiver: usize,
}

/// A DMX output.
#[derive(Debug, Clone)]
pub struct Dmx {
    /// Its fixtures in order: name, footprint, pinned slot.
    pub fixtures: Vec<(String, u64, Option<u64>)>,
}

/// First and last channel of each name, from 0.
pub type Table = BTreeMap<String, (u64, u64)>;

/// What the oracle says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answer {
    /// It is lawful, and this is where everything lies.
    Lawful(Table),
    /// Something is wrong with it.
    Unlawful(&'static str),
    /// The prose does not say.
    Open(&'static str),
}

/// The last universe there is.
const LAST_UNIVERSE: u64 = 63_999;

struct Decider<'a> {
    case: &'a Case,
    /// Every channel that is taken or reserved.
    taken: BTreeSet<u64>,
    table: Table,
    /// First and last universe given to each controller so far.
    given: Vec<(u64, u64)>,
}

/// Why the oracle stops.
type Stop = Answer;

/// Where everything of a display lies.
pub fn decide(case: &Case) -> Answer {
    let mut decider =
        Decider { case, taken: BTreeSet::new(), table: Table::new(), given: Vec::new() };
    match decider.all() {
        Ok(()) => Answer::Lawful(decider.table),
        Err(stop) => stop,
    }
}

impl Decider<'_> {
    fn all(&mut self) -> Result<(), Stop> {
        let slots = self.case.universe_slots;
        for (first, last) in &self.case.reserved {
            self.taken.extend((first - 1) * slots..last * slots);
        }
        self.lay_pinned()?;
        for index in 0..self.case.controllers.len() {
            self.controller(index)?;
        }
        self.echoes()?;
        self.apart()
    }

    /// Rule 7: pinned strings are laid first; on a `per port` controller with the rest of their
    /// port.
    fn lay_pinned(&mut self) -> Result<(), Stop> {
        for controller in &self.case.controllers {
            for port in &controller.ports {
                let lits = lits(port);
                match controller.addressing {
                    Addressing::PerPort | Addressing::Consecutive => {
                        if lits.iter().skip(1).any(|lit| lit.pin.is_some()) {
                            return Err(Answer::Open("a pin behind the first string"));
                        }
                        let Some(pin) = lits.first().and_then(|lit| lit.pin) else {
                            continue;
                        };
                        if controller.addressing == Addressing::Consecutive {
                            continue;
                        }
                        let from = self.channel(pin);
                        let laid = self.lay(controller, &lits, from, None);
                        if laid.first().map(|l| l.1) != Some(from) {
                            return Err(Answer::Open(
                                "a pin against alignment or in the rest of a universe",
                            ));
                        }
                        self.take(&laid, true)?;
                    }
                    Addressing::PerProp => {
                        for lit in lits.iter().filter(|lit| lit.pin.is_some()) {
                            let from = self.channel(lit.pin.unwrap());
                            let laid = self.lay(controller, &[lit], from, Some(&lit.prop));
                            if laid.first().map(|l| l.1) != Some(from) {
                                return Err(Answer::Open("a pin in the rest of a universe"));
                            }
                            if controller.align == Align::Prop
                                && !from.is_multiple_of(self.case.universe_slots)
                            {
                                return Err(Answer::Open("a pin against `align prop`"));
                            }
                            self.take(&laid, false)?;
                        }
                    }
                }
            }
        }
        Ok(())
    }

    fn controller(&mut self, index: usize) -> Result<(), Stop> {
        let case = self.case;
        let controller = &case.controllers[index];
        let slots = case.universe_slots;
        let begins = match controller.start {
            Start::From(first) | Start::Range(first, _) => first,
            Start::After(other) => self.given[other].1 + 1,
            Start::Auto => self.given.iter().map(|given| given.1).max().unwrap_or(0) + 1,
        };
        let mut cursor = (begins - 1) * slots;
        let mut highest = None;
        for port in &controller.ports {
            let lits = lits(port);
            if lits.is_empty() {
                continue;
            }
            let end = self.port(controller, &lits, &mut cursor)?;
            highest = highest.max(Some(end));
        }
        for dmx in &controller.dmx {
            let end = self.dmx(dmx, &mut cursor)?;
            highest = highest.max(Some(end));
        }
        let last = highest.map_or(begins - 1, |channel| channel / slots + 1);
        if last > LAST_UNIVERSE {
            return Err(Answer::Unlawful("past the last universe"));
        }
        let mut given = last + if highest.is_some() { case.spare_universes } else { 0 };
        if let Start::Range(_, end) = controller.start {
            if last > end {
                return Err(Answer::Unlawful("past its own last universe"));
            }
            given = given.max(end);
        }
        self.given.push((begins, given));
        Ok(())
    }

    /// Lays one pixel port; answers its last channel and moves the cursor.
    fn port(
        &mut self,
        controller: &Controller,
        lits: &[&Lit],
        cursor: &mut u64,
    ) -> Result<u64, Stop> {
        let spare = |lit: &Lit| match controller.addressing {
            Addressing::Consecutive => 0,
            Addressing::PerPort | Addressing::PerProp => self.case.spare_nodes * lit.node,
        };
        let behind = spare(lits[lits.len() - 1]);
        let pinned = lits.iter().any(|lit| lit.pin.is_some());
        match controller.addressing {
            Addressing::Consecutive => {
                if let Some(pin) = lits[0].pin {
                    if self.started(controller) {
                        return Err(Answer::Open("a pin on a later port of `consecutive`"));
                    }
                    *cursor = self.channel(pin);
                }
                let laid = self.lay(controller, lits, *cursor, None);
                if lits[0].pin.is_some() && laid[0].1 != *cursor {
                    return Err(Answer::Open("a pin in the rest of a universe"));
                }
                self.take(&laid, true)?;
                *cursor = laid[laid.len() - 1].2 + 1;
                Ok(*cursor - 1)
            }
            Addressing::PerPort if pinned => {
                // It has been laid. The next port goes on as if there were no pin.
                let there = self.lay(controller, lits, self.channel(lits[0].pin.unwrap()), None);
                let without = self.lay(controller, lits, *cursor, None);
                if self.touches(&without, true) {
                    return Err(Answer::Open("a pinned port whose unpinned place is taken"));
                }
                *cursor = without[without.len() - 1].2 + 1 + behind;
                Ok(there[there.len() - 1].2)
            }
            Addressing::PerPort => {
                let laid = self.first_fit(controller, lits, *cursor, None, true);
                self.take(&laid, true)?;
                let end = laid[laid.len() - 1].2;
                *cursor = end + 1 + behind;
                Ok(end)
            }
            Addressing::PerProp => {
                let mut at = *cursor;
                let mut without = *cursor;
                let mut before: Option<&str> = None;
                let mut highest = 0;
                for lit in lits {
                    let laid = if let Some(pin) = lit.pin {
                        self.lay(controller, &[lit], self.channel(pin), Some(&lit.prop))
                    } else {
                        let laid = self.first_fit(controller, &[lit], at, before, false);
                        self.take(&laid, false)?;
                        laid
                    };
                    at = laid[0].2 + 1;
                    highest = highest.max(laid[0].2);
                    if pinned {
                        let free = self.lay(controller, &[lit], without, before);
                        if (free[0].1, free[0].2) != (laid[0].1, laid[0].2)
                            && self.touches(&free, false)
                        {
                            return Err(Answer::Open(
                                "a pinned port whose unpinned place is taken",
                            ));
                        }
                        without = free[0].2 + 1;
                    }
                    before = Some(&lit.prop);
                }
                *cursor = if pinned { without } else { at } + behind;
                Ok(highest)
            }
        }
    }

    fn started(&self, controller: &Controller) -> bool {
        controller.ports.iter().flat_map(lits).any(|lit| self.table.contains_key(&lit.name))
    }

    /// Rule 4: one universe of its own, the fixtures from slot 1 or where pinned.
    fn dmx(&mut self, dmx: &Dmx, cursor: &mut u64) -> Result<u64, Stop> {
        let slots = self.case.universe_slots;
        let mut base = cursor.next_multiple_of(slots);
        while (base..base + slots).any(|channel| self.taken.contains(&channel)) {
            base += slots;
        }
        let mut slot = 1;
        let mut highest = base;
        for (name, footprint, pin) in &dmx.fixtures {
            let start = pin.unwrap_or(slot);
            if start < slot {
                return Err(Answer::Open("fixtures out of order"));
            }
            if start + footprint - 1 > slots {
                return Err(Answer::Unlawful("a fixture past the end"));
            }
            let first = base + start - 1;
            self.table.insert(name.clone(), (first, first + footprint - 1));
            highest = first + footprint - 1;
            slot = start + footprint;
        }
        self.taken.extend(base..base + slots);
        *cursor = base + slots;
        Ok(highest)
    }

    /// The lowest start, not below `from`, at which nothing is touched.
    fn first_fit<'b>(
        &self,
        controller: &Controller,
        lits: &[&'b Lit],
        from: u64,
        before: Option<&str>,
        unbroken: bool,
    ) -> Vec<(&'b Lit, u64, u64)> {
        let mut start = from;
        loop {
            let laid = self.lay(controller, lits, start, before);
            if !self.touches(&laid, unbroken) {
                return laid;
            }
            start += 1;
        }
    }

    /// Strings one after another from a channel: rules 3 and 5, node by node.
    fn lay<'b>(
        &self,
        controller: &Controller,
        lits: &[&'b Lit],
        from: u64,
        before: Option<&str>,
    ) -> Vec<(&'b Lit, u64, u64)> {
        let slots = self.case.universe_slots;
        let whole = self.case.whole || controller.whole;
        let mut at = from;
        let mut before = before;
        let mut laid = Vec::new();
        for (index, lit) in lits.iter().enumerate() {
            let aligned = match controller.align {
                Align::Off => false,
                Align::Port => index == 0 && before.is_none(),
                Align::Prop => before != Some(lit.prop.as_str()),
            };
            if aligned {
                at = at.next_multiple_of(slots);
            }
            let mut first = None;
            for _ in 0..lit.nodes {
                if whole && at % slots + lit.node > controller.slots {
                    at = at.next_multiple_of(slots);
                }
                for _ in 0..lit.node {
                    if at % slots >= controller.slots {
                        at = at.next_multiple_of(slots);
                    }
                    first.get_or_insert(at);
                    at += 1;
                }
            }
            laid.push((*lit, first.unwrap(), at - 1));
            before = Some(&lit.prop);
        }
        laid
    }

    /// Whether something laid lies on what is taken; an unbroken range counts its padding too.
    fn touches(&self, laid: &[(&Lit, u64, u64)], unbroken: bool) -> bool {
        let ranges: Vec<(u64, u64)> = if unbroken {
            vec![(laid[0].1, laid[laid.len() - 1].2)]
        } else {
            laid.iter().map(|(_, start, end)| (*start, *end)).collect()
        };
        ranges.iter().any(|(start, end)| self.taken.range(start..=end).next().is_some())
    }

    fn take(&mut self, laid: &[(&Lit, u64, u64)], unbroken: bool) -> Result<(), Stop> {
        if self.touches(laid, unbroken) {
            return Err(Answer::Unlawful("two things on one slot"));
        }
        for (lit, start, end) in laid {
            self.taken.extend(*start..=*end);
            self.table.insert(lit.name.clone(), (*start, *end));
        }
        if unbroken {
            self.taken.extend(laid[0].1..=laid[laid.len() - 1].2);
        }
        Ok(())
    }

    /// `same as`: where the other lies.
    fn echoes(&mut self) -> Result<(), Stop> {
        for (controller, port) in
            self.case.controllers.iter().flat_map(|c| c.ports.iter().map(move |port| (c, port)))
        {
            for item in &port.chain {
                if let Item::Lit(lit) = item
                    && let Some(other) = &lit.same_as
                {
                    if controller.addressing == Addressing::Consecutive {
                        return Err(Answer::Open(
                            "a port of its own among ports that leave no gap",
                        ));
                    }
                    let there = *self.table.get(other).ok_or(Answer::Open("an echo of an echo"))?;
                    let shows = |port: &Port| lits(port).iter().any(|lit| lit.name == *other);
                    let mut all = self.case.controllers.iter();
                    let theirs = all.find(|c| c.ports.iter().any(shows)).unwrap().slots;
                    let here = self.lay(controller, &[lit], there.0, Some(&lit.prop));
                    if theirs != controller.slots && (here[0].1, here[0].2) != there {
                        return Err(Answer::Unlawful("universes of two sizes for one string"));
                    }
                    self.table.insert(lit.name.clone(), there);
                }
            }
        }
        Ok(())
    }

    /// Rule 8: two controllers do not share a universe.
    fn apart(&self) -> Result<(), Stop> {
        let slots = self.case.universe_slots;
        let mut owner: BTreeMap<u64, usize> = BTreeMap::new();
        for (index, controller) in self.case.controllers.iter().enumerate() {
            let own = controller.ports.iter().flat_map(lits).map(|lit| lit.name.clone()).chain(
                controller.dmx.iter().flat_map(|dmx| dmx.fixtures.iter().map(|f| f.0.clone())),
            );
            for name in own {
                let (start, end) = self.table[&name];
                for universe in start / slots + 1..=end / slots + 1 {
                    if universe > LAST_UNIVERSE {
                        return Err(Answer::Unlawful("past the last universe"));
                    }
                    if *owner.entry(universe).or_insert(index) != index {
                        return Err(Answer::Unlawful("two controllers on one universe"));
                    }
                }
            }
        }
        Ok(())
    }

    fn channel(&self, (universe, slot): (u64, u64)) -> u64 {
        (universe - 1) * self.case.universe_slots + slot - 1
    }
}

/// The strings of a port that have slots of their own, in data order: of carried ports the first
/// receiver's chain comes first.
fn lits(port: &Port) -> Vec<&Lit> {
    let mut lits: Vec<&Lit> = port
        .chain
        .iter()
        .filter_map(|item| match item {
            Item::Lit(lit) if lit.same_as.is_none() => Some(lit),
            Item::Lit(_) | Item::Skip => None,
        })
        .collect();
    lits.sort_by_key(|lit| lit.receiver);
    lits
}
