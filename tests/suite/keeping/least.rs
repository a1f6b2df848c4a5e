//! Small displays with a lock. The fewest slots that can move, by trying every place of every unit.

use super::edits::Lot;
use std::fmt::Write as _;
use tinsel::lock::{Lock, LockRow};
use tinsel::model::Output;
use tinsel::source::Span;

/// Slots of a universe.
const SLOTS: u64 = 6;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Addressing {
    PerPort,
    PerProp,
    Consecutive,
}

#[derive(Debug, Clone)]
struct Str {
    name: String,
    slots: u64,
    /// Where it lay, and how long it was.
    old: Option<(u64, u64)>,
}

#[derive(Debug, Clone)]
struct Controller {
    addressing: Addressing,
    /// Its last universe, if it says so.
    last: Option<u64>,
    /// Strings by port.
    ports: Vec<Vec<Str>>,
}

/// A small display with a lock.
#[derive(Debug, Clone)]
pub struct Case {
    controllers: Vec<Controller>,
}

/// What moves as a whole: its controller, its strings, its channels.
type Unit<'a> = (usize, Vec<&'a Str>, u64);

impl Case {
    /// Draws one: a layout as it may have been, then edits.
    pub fn draw(lot: &mut Lot) -> Self {
        let two = lot.below(3) == 0;
        let mut names = 0;
        let mut at: u64 = 0;
        let mut controllers = Vec::new();
        for index in 0..1 + usize::from(two) {
            let addressing = match lot.below(5) {
                0 => Addressing::Consecutive,
                1 | 2 => Addressing::PerProp,
                _ => Addressing::PerPort,
            };
            let limited = index == 0 && lot.below(3) > 0;
            let most = if two { 2 } else { 4 };
            let mut ports = Vec::new();
            let mut strings = 0;
            at = at.div_ceil(SLOTS) * SLOTS;
            for _ in 0..1 + lot.below(most) {
                let mut port = Vec::new();
                for _ in 0..1 + lot.below(2) {
                    if strings >= most {
                        continue;
                    }
                    strings += 1;
                    names += 1;
                    let slots = 1 + lot.below(5);
                    port.push(Str { name: format!("p{names}"), slots, old: Some((at, slots)) });
                    at += slots;
                    if addressing == Addressing::PerProp {
                        at += lot.below(2) * lot.below(3);
                    }
                }
                if addressing == Addressing::PerPort {
                    at += lot.below(2) * lot.below(4);
                }
                ports.push(port);
            }
            let last = limited.then(|| at.div_ceil(SLOTS) + lot.below(2));
            controllers.push(Controller { addressing, last, ports });
            if let Some(last) = last {
                at = last * SLOTS;
            }
        }
        let mut case = Self { controllers };
        for _ in 0..1 + lot.below(3) {
            case.edit(lot, &mut names);
        }
        case
    }

    fn edit(&mut self, lot: &mut Lot, names: &mut u64) {
        let count = self.controllers.len() as u64;
        let controller = &mut self.controllers[lot.below(count) as usize];
        let count = controller.ports.len() as u64;
        let port = &mut controller.ports[lot.below(count) as usize];
        let place = lot.below(port.len() as u64 + 1) as usize;
        match lot.below(4) {
            0 | 1 => {
                *names += 1;
                port.insert(
                    place,
                    Str { name: format!("p{names}"), slots: 1 + lot.below(5), old: None },
                );
            }
            2 if place < port.len() => {
                port.remove(place);
            }
            _ => {
                if let Some(string) = port.get_mut(place) {
                    string.slots += 1 + lot.below(2);
                }
            }
        }
    }

    /// The display.
    pub fn text(&self) -> String {
        let mut text = format!(
            "display \"\" {{ universe {SLOTS} slots }}\nnode dot {{ chip ws2811; colour W }}\n"
        );
        for (index, controller) in self.controllers.iter().enumerate() {
            let universes = match (index, controller.last) {
                (0, Some(last)) => format!("universes 1..{last}; "),
                (0, None) => "universes from 1; ".to_owned(),
                _ => String::new(),
            };
            let addressing = match controller.addressing {
                Addressing::PerPort => "per port",
                Addressing::PerProp => "per prop",
                Addressing::Consecutive => "consecutive",
            };
            let _ = writeln!(
                text,
                "controller box{index} {{ {universes}addressing {addressing}; ports 1..9 {{ chip ws2811 }} }}"
            );
            for (port, strings) in controller.ports.iter().enumerate() {
                for one in strings {
                    let _ = writeln!(
                        text,
                        "prop {} {{ node dot; string {} nodes }}",
                        one.name, one.slots
                    );
                }
                let chain: Vec<&str> = strings.iter().map(|one| one.name.as_str()).collect();
                if !chain.is_empty() {
                    let _ = writeln!(text, "wire box{index}.{}: {}", port + 1, chain.join(" -> "));
                }
            }
        }
        text
    }

    /// Its lock, without what is gone.
    pub fn lock(&self) -> Lock {
        let mut rows = Vec::new();
        for (index, controller) in self.controllers.iter().enumerate() {
            for (port, strings) in (1..).zip(&controller.ports) {
                for one in strings {
                    let Some((start, slots)) = one.old else {
                        continue;
                    };
                    rows.push(LockRow {
                        name: one.name.as_str().into(),
                        controller: format!("box{index}").into(),
                        output: Output::Pixel(port),
                        start,
                        slots,
                        made: None,
                        stored: false,
                        moved: None,
                        at: Span::default(),
                    });
                }
            }
        }
        rows.sort_by(|a, b| a.name.cmp(&b.name));
        Lock {
            universe_slots: tinsel::protocol::UniverseSlots::new(SLOTS as u32).unwrap(),
            rows,
            ..Lock::default()
        }
    }

    /// The fewest old slots that move; `None` where no layout is lawful.
    pub fn least(&self) -> Option<u64> {
        let mut units: Vec<Unit<'_>> = Vec::new();
        for (index, controller) in self.controllers.iter().enumerate() {
            let all = controller.ports.iter().flatten().count() as u64;
            let most = controller.last.map_or(60, |last| last * SLOTS);
            if all == 0 {
                continue;
            }
            match controller.addressing {
                Addressing::Consecutive => {
                    units.push((index, controller.ports.iter().flatten().collect(), most));
                }
                Addressing::PerPort => {
                    let ports = controller.ports.iter().filter(|port| !port.is_empty());
                    units.extend(ports.map(|port| (index, port.iter().collect(), most)));
                }
                Addressing::PerProp => {
                    let strings = controller.ports.iter().flatten();
                    units.extend(strings.map(|one| (index, vec![one], most)));
                }
            }
        }
        let mut best = None;
        // No other controller gets the universes that the first one declares.
        let own = self.controllers.first().and_then(|one| one.last);
        let own = own.map_or(0, |last| last * SLOTS);
        try_all(&units, own, &mut Vec::new(), 0, &mut best);
        best
    }
}

/// Tries every place of every unit, those that move the least first.
fn try_all(
    units: &[Unit<'_>],
    own: u64,
    laid: &mut Vec<(usize, u64, u64)>,
    moved: u64,
    best: &mut Option<u64>,
) {
    if best.is_some_and(|best| best <= moved) {
        return;
    }
    let Some(((controller, strings, most), rest)) = units.split_first() else {
        *best = Some(moved);
        return;
    };
    let size: u64 = strings.iter().map(|one| one.slots).sum();
    let least = if *controller == 0 { 0 } else { own };
    let mut places: Vec<(u64, u64)> = (least..(most + 1).saturating_sub(size))
        .map(|start| {
            let mut at = start;
            let mut gone = 0;
            for one in strings {
                gone += one.old.filter(|(old, _)| *old != at).map_or(0, |(_, slots)| slots);
                at += one.slots;
            }
            (gone, start)
        })
        .collect();
    places.sort_unstable();
    for (gone, start) in places {
        if best.is_some_and(|best| best <= moved + gone) {
            return;
        }
        let end = start + size;
        let free = laid.iter().all(|(other, from, to)| {
            if other == controller {
                *to <= start || end <= *from
            } else {
                to.div_ceil(SLOTS) <= start / SLOTS || end.div_ceil(SLOTS) <= from / SLOTS
            }
        });
        if free {
            laid.push((*controller, start, end));
            try_all(rest, own, laid, moved + gone, best);
            laid.pop();
        }
    }
}
