//! What holds of displays thrown together at random.

use super::*;

/// Small numbers from a seed, the same on every machine.
struct Dice(u64);

impl Dice {
    fn below(&mut self, most: u64) -> u64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % most
    }
}

/// A display with pins, reserves, alignment and whole nodes thrown in.
fn thrown(seed: u64) -> Display {
    let mut dice = Dice(seed);
    let mut display = Display::new(3);
    display.model.display.whole_nodes = dice.below(3) == 0;
    display.model.display.spare_nodes = dice.below(3) as u32 * 5;
    for index in 0..1 + dice.below(3) {
        let start = [Start::Auto, Start::Auto, Start::From(1 + 40 * index as u32)];
        let c = display.controller(start[dice.below(3) as usize], 6, 2);
        display.set(c).addressing =
            [Addressing::PerPort, Addressing::PerProp][dice.below(2) as usize];
        display.set(c).align = [Align::Off, Align::Port, Align::Prop][dice.below(3) as usize];
        for number in 1..=6 {
            let chain: Vec<_> = (0..dice.below(4))
                .map(|place| {
                    let free =
                        display.model.controllers[c].addressing == Addressing::PerPort && place > 0;
                    let pinned = !free && dice.below(4) == 0;
                    // On slots where a whole node fits, in a few universes that all share.
                    let place = pinned.then(|| pin(1 + dice.below(60), 1 + 3 * dice.below(100)));
                    (display.string(1 + dice.below(220) as u32), place.flatten())
                })
                .collect();
            if !chain.is_empty() {
                display.wire(port(c, number), &chain);
            }
        }
        for number in 1..=dice.below(3) as u32 {
            let f = display.prop(None, 40);
            display.wire(Target::Dmx(c, number), &[(f, None)]);
        }
    }
    let first = 1 + dice.below(60) as u32;
    reserve(&mut display, first, first + dice.below(3) as u32);
    display
}

/// The display with its pins only: what comes after a pin on an unbroken port included.
fn pins_only(seed: u64) -> Display {
    let mut display = thrown(seed);
    let mut lines = std::mem::take(&mut display.model.lines);
    for line in &mut lines {
        let Target::Port(c, ..) = line.target else {
            continue;
        };
        let whole = display.model.controllers[c].addressing == Addressing::PerPort;
        let is_pin = |piece: &crate::model::Piece| {
            matches!(piece.kind, crate::model::PieceKind::String(_, Some(_)))
        };
        let from = display.model.pieces.len() as u32;
        let chain = line.pieces.start as usize..line.pieces.end as usize;
        let chain = display.model.pieces[chain].to_vec();
        let kept = chain.iter().filter(|piece| is_pin(piece) || whole && is_pin(&chain[0]));
        let kept: Vec<_> = kept.copied().collect();
        display.model.pieces.extend(kept);
        line.pieces = from..display.model.pieces.len() as u32;
    }
    lines.retain(|line| !line.pieces.is_empty() && matches!(line.target, Target::Port(..)));
    display.model.lines = lines;
    display
}

// What the compiler places itself never clashes: all clashes are between pins, or of pins with
// reserves. Controllers are too far apart to grow into one another, unless a pin takes them there.
#[test]
fn nothing_that_is_free_to_move_clashes() {
    let clash = |code: &str| matches!(code, "address/overlap" | "address/reserved" | "address/pin");
    let mut clean = 0;
    for seed in 0..4_000 {
        let fixed = pins_only(seed).plan().codes;
        if fixed.iter().any(|code| clash(code)) {
            continue;
        }
        let all = thrown(seed);
        let done = all.plan();
        let found: Vec<_> = done.codes.iter().filter(|code| clash(code)).collect();
        assert_eq!(found, [&""; 0], "seed {seed}");
        for (string, placed) in all.model.strings.iter().zip(&done.plan.placed) {
            assert!(placed.is_some(), "seed {seed}: {string:?}");
        }
        clean += 1;
    }
    assert!(clean > 1_000, "too few displays without clashing pins: {clean}");
}

// Universes of a controller are its own, a pin's too.
#[test]
fn used_slots_add_up() {
    for seed in 0..500 {
        let display = thrown(seed);
        let plan = display.plan().plan;
        let used: u64 = crate::usage::universes(&display.model, &plan)
            .iter()
            .map(|row| u64::from(row.used))
            .sum();
        let slots: u64 = plan.ports.iter().map(|port| u64::from(port.slots)).sum();
        assert_eq!(used, slots, "seed {seed}");
    }
}
