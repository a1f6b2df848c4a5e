//! "Where strings lie" in the language guide, rule by rule, on displays built by hand.

#[cfg(test)]
mod open;
#[cfg(test)]
mod random;

use super::display::Display;
use crate::model::{Addressing, Align, PinPlace, ReservedOutput, ReservedUniverses, Start, Target};
use crate::model::{ControllerId, Output, Stated, StringId};
use crate::source::Span;

/// `universe/slot` as a pin, for universes of 512 slots.
fn pin(universe: u64, slot: u64) -> Option<PinPlace> {
    Some(PinPlace::Channel((universe - 1) * 512 + slot - 1))
}

fn reserve(display: &mut Display, first: u32, last: u32) {
    let at = display.spot();
    let reason = None;
    display.model.reserved_universes.push(ReservedUniverses { at, first, last, reason });
}

fn port(controller: ControllerId, number: u32) -> Target {
    Target::Port(controller, number, None)
}

/// A display of one controller with RGB nodes.
fn one(start: Start) -> (Display, ControllerId) {
    let mut display = Display::new(3);
    let id = display.controller(start, 8, 2);
    (display, id)
}

#[test]
fn ports_follow_by_number_whatever_the_order_of_wires() {
    let (mut display, c) = one(Start::Auto);
    let (a, b, d) = (display.string(100), display.string(100), display.string(50));
    display.on(c, 5, &[d]);
    display.on(c, 2, &[a, b]);
    let done = display.plan();
    assert_eq!(done.codes, [""; 0]);
    assert_eq!([done.of(a), done.of(b), done.of(d)], ["1/1 1/300", "1/301 2/88", "2/89 2/238"]);
    let ports: Vec<Output> = done.plan.ports.iter().map(|p| p.output).collect();
    assert_eq!(ports, [Output::Pixel(2), Output::Pixel(5)]);
}

#[test]
fn controllers_start_behind_what_was_given() {
    let mut display = Display::new(3);
    display.model.display.spare_universes = 2;
    let range = display.controller(Start::Range(3, 9), 1, 0);
    let auto = display.controller(Start::Auto, 1, 0);
    let unused = display.controller(Start::From(90), 1, 0);
    let next = display.controller(Start::Auto, 1, 0);
    let after = display.controller(Start::After(unused), 1, 0);
    let strings: Vec<StringId> = [range, auto, next, after]
        .into_iter()
        .map(|c| {
            let s = display.string(200);
            display.on(c, 1, &[s]);
            s
        })
        .collect();
    let done = display.plan();
    // 10 and 11 in use, 12 and 13 spare; a controller without strings gives nothing.
    let seen: Vec<String> = strings.iter().map(|s| done.of(*s)).collect();
    assert_eq!(seen, ["3/1 4/88", "10/1 11/88", "14/1 15/88", "90/1 91/88"]);
    assert_eq!(done.plan.controllers.as_slice()[1].last_given, 13);
    assert_eq!(done.codes, ["name/unused"]);
}

#[test]
fn after_one_that_is_declared_later() {
    let mut display = Display::new(3);
    let first = display.controller(Start::After(ControllerId(1)), 1, 0);
    let second = display.controller(Start::From(4), 1, 0);
    let (a, b) = (display.string(10), display.string(10));
    display.on(first, 1, &[a]);
    display.on(second, 1, &[b]);
    let done = display.plan();
    assert_eq!([done.of(a), done.of(b)], ["5/1 5/30", "4/1 4/30"]);
}

#[test]
fn alignment_of_ports_and_props() {
    let (mut display, c) = one(Start::Auto);
    let strings: Vec<StringId> = (0..4).map(|_| display.string(10)).collect();
    // The second is another string of the first's prop.
    display.change(strings[1]).prop = display.model.strings.as_slice()[0].prop;
    display.on(c, 1, &strings[..3]);
    display.on(c, 2, &strings[3..]);
    for (align, expected) in [
        (Align::Off, ["1/1 1/30", "1/31 1/60", "1/61 1/90", "1/91 1/120"]),
        (Align::Port, ["1/1 1/30", "1/31 1/60", "1/61 1/90", "2/1 2/30"]),
        (Align::Prop, ["1/1 1/30", "1/31 1/60", "2/1 2/30", "3/1 3/30"]),
    ] {
        display.set(c).align = align;
        let done = display.plan();
        let seen: Vec<String> = strings.iter().map(|s| done.of(*s)).collect();
        assert_eq!(seen, expected, "{align:?}");
    }
}

#[test]
fn spare_nodes_stay_free_behind_each_used_port() {
    let (mut display, c) = one(Start::Auto);
    display.model.display.spare_nodes = 10;
    let (a, b) = (display.string(10), display.string(160));
    let f = display.prop(None, 6);
    display.on(c, 1, &[a]);
    display.on(c, 4, &[b]);
    display.wire(Target::Dmx(c, 1), &[(f, None)]);
    let done = display.plan();
    // 61 + 480 + 30 spare slots reach into universe 2, so the DMX output takes 3.
    assert_eq!([done.of(a), done.of(b), done.of(f)], ["1/1 1/30", "1/61 2/28", "3/1 3/6"]);
}

#[test]
fn whole_nodes_start_the_next_universe() {
    let (mut display, c) = one(Start::Auto);
    display.model.display.whole_nodes = true;
    let (a, b) = (display.string(170), display.string(171));
    display.on(c, 1, &[a]);
    display.on(c, 2, &[b]);
    let done = display.plan();
    assert_eq!([done.of(a), done.of(b)], ["1/1 1/510", "2/1 3/3"]);
    let uses = crate::usage::universes(&display.model, &done.plan);
    let used: Vec<u32> = uses.iter().map(|row| row.used).collect();
    assert_eq!(used, [510, 510, 3]);
}

#[test]
fn a_pin_moves_its_own_port_only() {
    let (mut display, c) = one(Start::Auto);
    let s: Vec<StringId> = (0..4).map(|_| display.string(20)).collect();
    display.on(c, 1, &[s[0]]);
    display.wire(port(c, 2), &[(s[1], pin(9, 5)), (s[2], None)]);
    display.on(c, 3, &[s[3]]);
    let done = display.plan();
    assert_eq!(done.codes, [""; 0]);
    let seen: Vec<String> = s.iter().map(|s| done.of(*s)).collect();
    // The third port goes on where the second would have ended.
    assert_eq!(seen, ["1/1 1/60", "9/5 9/64", "9/65 9/124", "1/181 1/240"]);
    assert_eq!(done.plan.controllers.as_slice()[0].last_given, 9);
}

#[test]
fn a_port_steps_over_pins_and_reserves_whole() {
    let (mut display, c) = one(Start::Auto);
    let (a, b, d) = (display.string(100), display.string(150), display.string(10));
    display.on(c, 1, &[a]);
    display.on(c, 2, &[b]);
    // In the way of the second port, then universe 2 reserved: it moves twice.
    display.wire(port(c, 3), &[(d, pin(1, 401))]);
    reserve(&mut display, 2, 2);
    let done = display.plan();
    assert_eq!(done.codes, [""; 0]);
    assert_eq!([done.of(a), done.of(b), done.of(d)], ["1/1 1/300", "3/1 3/450", "1/401 1/430"]);
}

#[test]
fn what_hangs_behind_a_pin_is_fixed_too() {
    let (mut display, c) = one(Start::Auto);
    let s: Vec<StringId> = (0..3).map(|_| display.string(50)).collect();
    display.wire(port(c, 1), &[(s[0], pin(1, 201)), (s[1], None)]);
    display.on(c, 2, &[s[2]]);
    let done = display.plan();
    // The second port would begin at 301, where the unbroken first one still runs.
    assert_eq!(done.of(s[2]), "1/501 2/138");
    assert_eq!(done.codes, [""; 0]);
}

#[test]
fn per_prop_each_string_steps_for_itself() {
    let (mut display, c) = one(Start::Auto);
    display.set(c).addressing = Addressing::PerProp;
    let s: Vec<StringId> = (0..5).map(|_| display.string(50)).collect();
    display.on(c, 1, &[s[0], s[1]]);
    display.wire(port(c, 2), &[(s[2], pin(1, 201)), (s[3], None)]);
    display.on(c, 3, &[s[4]]);
    let done = display.plan();
    let seen: Vec<String> = s.iter().map(|s| done.of(*s)).collect();
    assert_eq!(seen, ["1/1 1/150", "1/351 1/500", "1/201 1/350", "1/501 2/138", "2/289 2/438"]);
    assert_eq!(done.codes, [""; 0]);
}

#[test]
fn a_pin_within_a_port_must_agree() {
    let (mut display, c) = one(Start::Auto);
    let (a, b) = (display.string(50), display.string(50));
    display.wire(port(c, 1), &[(a, None), (b, pin(1, 151))]);
    assert_eq!(display.plan().codes, [""; 0]);
    let (d, e) = (display.string(50), display.string(50));
    display.wire(port(c, 2), &[(d, None), (e, pin(7, 1))]);
    let done = display.plan();
    assert_eq!(done.codes, ["address/pin"]);
    assert_eq!(done.of(e), "1/451 2/88");
}

#[test]
fn another_controllers_pins_block_whole_universes() {
    let mut display = Display::new(3);
    let first = display.controller(Start::From(1), 2, 0);
    let second = display.controller(Start::From(9), 2, 0);
    let (a, b, d) = (display.string(100), display.string(100), display.string(10));
    display.on(first, 1, &[a]);
    display.on(first, 2, &[b]);
    display.wire(port(second, 1), &[(d, pin(2, 400))]);
    let done = display.plan();
    assert_eq!([done.of(a), done.of(b)], ["1/1 1/300", "3/1 3/300"]);
    assert_eq!(done.codes, [""; 0]);
}

#[test]
fn what_follows_a_pin_on_a_consecutive_controller_blocks_universes_too() {
    let mut display = Display::new(3);
    let first = display.controller(Start::From(1), 2, 0);
    let second = display.controller(Start::From(9), 2, 0);
    display.set(second).addressing = Addressing::Consecutive;
    let (a, b) = (display.string(100), display.string(100));
    let (d, e) = (display.string(170), display.string(170));
    display.on(first, 1, &[a]);
    display.on(first, 2, &[b]);
    display.wire(port(second, 1), &[(d, pin(2, 1))]);
    display.on(second, 2, &[e]);
    let done = display.plan();
    assert_eq!([done.of(d), done.of(e)], ["2/1 2/510", "2/511 3/508"]);
    assert_eq!([done.of(a), done.of(b)], ["1/1 1/300", "4/1 4/300"]);
    assert_eq!(done.codes, [""; 0]);
}

#[test]
fn consecutive_leaves_no_gap() {
    let (mut display, c) = one(Start::Auto);
    display.set(c).addressing = Addressing::Consecutive;
    display.set(c).align = Align::Port;
    display.model.display.spare_nodes = 9;
    let (a, b) = (display.string(10), display.string(10));
    display.wire(port(c, 1), &[(a, pin(5, 1))]);
    display.on(c, 3, &[b]);
    let done = display.plan();
    assert_eq!([done.of(a), done.of(b)], ["5/1 5/30", "5/31 5/60"]);
    assert_eq!(done.codes, [""; 0]);
    let (d, e) = (display.string(10), display.string(10));
    display.wire(port(c, 4), &[(d, pin(5, 61)), (e, pin(8, 1))]);
    assert_eq!(display.plan().codes, ["address/pin"]);
    reserve(&mut display, 5, 5);
    let codes = display.plan().codes;
    assert!(codes.contains(&"address/overlap") && codes.contains(&"address/reserved"));
}

#[test]
fn dmx_outputs_take_a_universe_each() {
    let (mut display, c) = one(Start::Auto);
    let a = display.string(10);
    let f: Vec<StringId> = (0..5).map(|_| display.prop(None, 6)).collect();
    display.on(c, 1, &[a]);
    let slot = |slot| Some(PinPlace::Slot(slot));
    display
        .wire(Target::Dmx(c, 1), &[(f[0], None), (f[1], slot(17)), (f[2], None), (f[3], slot(9))]);
    display.wire(Target::Dmx(c, 2), &[(f[4], pin(20, 3))]);
    reserve(&mut display, 2, 2);
    let at = display.spot();
    display.model.reserved_outputs.push(ReservedOutput {
        at,
        controller: c,
        output: Output::Dmx(1),
        slots: Some((25, 30)),
        reason: None,
    });
    let done = display.plan();
    let seen: Vec<String> = f.iter().map(|s| done.of(*s)).collect();
    assert_eq!(seen, ["3/1 3/6", "3/17 3/22", "3/31 3/36", "3/9 3/14", "20/3 20/8"]);
    assert_eq!(done.codes, [""; 0]);
}

#[test]
fn a_pin_at_a_low_slot_leads_no_fixture_onto_another() {
    let (mut display, c) = one(Start::Auto);
    let f: Vec<StringId> = [20, 10, 10, 10].map(|slots| display.prop(None, slots)).into();
    let slot = |slot| Some(PinPlace::Slot(slot));
    let chain = [(f[0], slot(21)), (f[1], None), (f[2], slot(11)), (f[3], None)];
    display.wire(Target::Dmx(c, 1), &chain);
    let done = display.plan();
    let seen: Vec<String> = f.iter().map(|s| done.of(*s)).collect();
    assert_eq!(seen, ["1/21 1/40", "1/41 1/50", "1/11 1/20", "1/51 1/60"]);
    assert_eq!(done.codes, [""; 0]);
}

#[test]
fn what_two_statements_reserve_counts_once() {
    let (mut display, c) = one(Start::Auto);
    let fixture = display.prop(None, 100);
    for slots in [(1, 300), (200, 400), (350, 360)] {
        let (at, reason) = (display.spot(), None);
        let output = Output::Dmx(1);
        let slots = Some(slots);
        display.model.reserved_outputs.push(ReservedOutput {
            at,
            controller: c,
            output,
            slots,
            reason,
        });
    }
    display.wire(Target::Controller(c), &[(fixture, None)]);
    let done = display.plan();
    assert_eq!((done.of(fixture), done.codes), ("1/401 1/500".into(), vec![]));
}

#[test]
fn a_dmx_output_ends_at_its_last_slot() {
    let (mut display, c) = one(Start::Auto);
    let fits: Vec<StringId> = (0..2).map(|_| display.prop(None, 256)).collect();
    display.wire(Target::Dmx(c, 1), &[(fits[0], None), (fits[1], None)]);
    assert_eq!(display.plan().codes, [""; 0]);
    let more = display.prop(None, 1);
    display.wire(Target::Dmx(c, 1), &[(more, None)]);
    assert_eq!(display.plan().codes, ["dmx/full"]);
    let big = display.prop(None, 4);
    display.wire(Target::Dmx(c, 2), &[(big, Some(PinPlace::Slot(510)))]);
    assert_eq!(display.plan().codes, ["dmx/full", "dmx/footprint"]);
}

#[test]
fn the_same_data_lie_in_the_same_place() {
    let mut display = Display::new(3);
    let first = display.controller(Start::Auto, 4, 0);
    let second = display.controller(Start::Auto, 4, 0);
    let (a, b) = (display.string(50), display.string(50));
    let (like_a, like_b, own) = (display.string(50), display.string(50), display.string(50));
    display.on(first, 1, &[a, b]);
    display.on(second, 1, &[like_a, like_b]);
    display.on(second, 2, &[own]);
    display.change(like_b).same_as = Some(b);
    display.change(like_a).same_as = Some(a);
    let done = display.plan();
    assert_eq!(done.codes, [""; 0]);
    assert_eq!(
        [done.of(like_a), done.of(like_b), done.of(own)],
        [done.of(a), done.of(b), "2/1 2/150".into()]
    );
    // The wrong way round, the second does not lie after the first.
    display.change(like_a).same_as = Some(b);
    display.change(like_b).same_as = Some(a);
    assert_eq!(display.plan().codes, ["address/pin"]);
}

// It would take the first data after the string before it, and the next would be out of step.
#[test]
fn the_same_data_need_a_port_of_their_own() {
    let (mut display, c) = one(Start::Auto);
    let (a, like_b, b) = (display.string(50), display.string(50), display.string(50));
    display.change(like_b).same_as = Some(b);
    display.on(c, 1, &[a, like_b, b]);
    assert_eq!(display.plan().codes, ["address/pin"]);
    display.set(c).addressing = Addressing::PerProp;
    let done = display.plan();
    assert_eq!(done.codes, [""; 0]);
    assert_eq!([done.of(like_b), done.of(b)], ["1/151 1/300", "1/151 1/300"]);
}

#[test]
fn stored_strings_take_slots_but_no_nodes() {
    let (mut display, c) = one(Start::Auto);
    let (a, b) = (display.string(100), display.string(50));
    display.change(b).stored = true;
    display.on(c, 1, &[a, b]);
    let done = display.plan();
    assert_eq!(done.of(b), "1/301 1/450");
    assert_eq!(
        (done.plan.ports.as_slice()[0].nodes, done.plan.ports.as_slice()[0].slots),
        (100, 450)
    );
    assert_eq!(done.codes, [""; 0]);
    display.change(b).stored = false;
    display.change(a).stored = true;
    assert_eq!(display.plan().codes, ["stored/mid-chain"]);
}

#[test]
fn two_controllers_in_one_universe_are_one_finding() {
    let mut display = Display::new(3);
    for _ in 0..2 {
        let c = display.controller(Start::From(1), 1, 0);
        let s = display.string(400);
        display.on(c, 1, &[s]);
    }
    assert_eq!(display.plan().codes, ["address/universe-shared"]);
}

#[test]
fn pins_without_a_universe_are_told_once() {
    let (mut display, c) = one(Start::Auto);
    let (a, b) = (display.string(10), display.string(10));
    display.wire(port(c, 1), &[(a, Some(PinPlace::Channel(u64::MAX)))]);
    display.wire(port(c, 2), &[(b, Some(PinPlace::Slot(7)))]);
    assert_eq!(display.plan().codes, ["address/range", "address/pin"]);
}

#[test]
fn overlapping_pins_are_told_with_their_size() {
    let (mut display, c) = one(Start::Auto);
    display.set(c).addressing = Addressing::PerProp;
    let (a, b) = (display.string(50), display.string(50));
    display.wire(port(c, 1), &[(a, pin(3, 1)), (b, pin(3, 150))]);
    let done = display.plan();
    assert_eq!(done.codes, ["address/overlap"]);
    let clashes = crate::usage::overlaps(
        &display.model,
        &done.plan,
        &crate::usage::by_start(&display.model, &done.plan),
    );
    assert_eq!(clashes.len(), 1);
    assert_eq!((clashes[0].from, clashes[0].slots), (2 * 512 + 149, 1));
    assert_ne!(display.model.pieces[0].at, Span::default());
}
