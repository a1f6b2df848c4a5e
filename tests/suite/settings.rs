//! Settings of controllers, chips and fixtures against figures worked out by hand or by other
//! programs: slots in use, E1.31 priority and synchronisation, bits on the wire, unit loads.

use crate::check::{self, codes, told};
use crate::keeping::{around, lock_of};
use crate::random;
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::Value;
use tinsel::Compiled;
use tinsel::ast::BlockKind;
use tinsel::diff::remap;
use tinsel::model::StringId;
use tinsel::resolve::settings::{Scope, rows};
use tinsel::usage;

fn table_of(compiled: &Compiled) -> Value {
    serde_json::from_str(&crate::outputs::table_text(compiled, "json")).unwrap()
}

/// The table of a display without a finding.
fn table(source: &str) -> Value {
    let compiled = check::one(source);
    assert!(compiled.findings.is_empty(), "{}", told(&compiled));
    table_of(&compiled)
}

/// Universe, slot and channel.
fn point(point: &Value) -> [u64; 3] {
    ["universe", "slot", "channel"].map(|key| point[key].as_u64().unwrap())
}

/// One yard with a box that uses 510 slots and a box that uses all.
const ORCHARD: &str = "display \"orchard\" { }\n\
    node berry { chip ws2811; colour RGB }\n\
    prop trellis * 2 { node berry; string 200 nodes }\n\
    prop hedge { node berry; string 200 nodes }\n\
    prop lamp * 2 { slots 6 }\n\
    controller press { universe 510 slots; universes from 1; input e131 unicast; ports 1..2 { }; dmx 1 }\n\
    controller mill { universes from 11; input e131 unicast; ports 1..2 { } }\n\
    wire press.1: trellis[1]\n\
    wire press.2: trellis[2]\n\
    wire press.dmx1: lamp[1] -> lamp[2] at 507\n\
    wire mill.1: hedge\n";

/// 510 slots are 170 RGB nodes: 200 nodes are 510 slots of universe 1 and 90 of universe 2.
/// Channels count 512 a universe all the same, and the DMX output sends 512 slots.
#[test]
fn a_box_that_uses_510_of_512_slots() {
    let table = table(ORCHARD);
    let ends: Vec<_> = table["strings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| (point(&row["start"]), point(&row["end"])))
        .collect();
    assert_eq!(
        ends,
        [
            ([1, 1, 1], [2, 90, 602]),
            ([2, 91, 603], [3, 180, 1_204]),
            ([4, 1, 1_537], [4, 6, 1_542]),
            ([4, 507, 2_043], [4, 512, 2_048]),
            ([11, 1, 5_121], [12, 88, 5_720]),
        ]
    );
    let universes: Vec<_> = table["universes"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| ["universe", "used", "free"].map(|key| row[key].as_u64().unwrap()))
        .collect();
    assert_eq!(
        universes,
        [[1, 510, 0], [2, 510, 0], [3, 180, 330], [4, 12, 500], [11, 512, 0], [12, 88, 424],]
    );
    let sizes: Vec<_> = table["controllers"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| row["universe_slots"].as_u64().unwrap())
        .collect();
    assert_eq!(sizes, [510, 512]);
}

/// Universes of a controller, by hand: 3 strings of 340 nodes at 510 slots a universe are 6.
#[test]
fn a_range_of_universes_holds_what_a_smaller_universe_holds() {
    let text = |last: u32| {
        format!(
            "node berry {{ chip ws2811; colour RGB }}\nprop trellis * 3 {{ node berry; string 340 nodes }}\n\
             controller press {{ universe 510 slots; universes 1..{last}; ports 1..3 {{ }} }}\n\
             wire press: trellis[1], trellis[2], trellis[3]\n"
        )
    };
    assert!(check::one(&text(6)).findings.is_empty());
    let short = check::one(&text(5));
    assert!(!short.findings.is_empty());
}

/// Around a lock: strings after one that grows stay where they can; those that must move go to
/// slots that the box uses.
#[test]
fn a_lock_keeps_what_a_smaller_universe_lets_it_keep() {
    let before = check::one(ORCHARD);
    let lock = lock_of(&before);
    let again = around(ORCHARD, &lock);
    assert!(again.findings.is_empty(), "{}", told(&again));
    let longer = ORCHARD
        .replace("prop trellis * 2 {", "prop trellis[1] { string 201 nodes }\nprop trellis * 2 {");
    let now = around(&longer, &lock);
    assert_eq!(codes(&now.findings), ["lock/moved"], "{}", told(&now));
    let table = table_of(&now);
    // One of two equally long strings must move: the first stays and grows, the second moves after
    // it.
    assert_eq!(point(&table["strings"][0]["start"]), [1, 1, 1]);
    assert_eq!(point(&table["strings"][0]["end"]), [2, 93, 605]);
    assert_eq!(point(&table["strings"][1]["start"]), [2, 94, 606]);
    assert_eq!(point(&table["strings"][1]["end"]), [3, 183, 1_207]);
}

/// Each channel of a string that moves from 512 slots to 510: node 171 leaves slots 511 and 512.
#[test]
fn a_remap_follows_the_slots_in_use() {
    let plain = ORCHARD.replace("universe 510 slots; ", "");
    let lock = lock_of(&check::one(&plain));
    let now = around(ORCHARD, &lock);
    let past = now.plan.past.as_ref().unwrap();
    let runs: Vec<_> = remap::runs(&now.model, &now.plan, past, &lock)
        .0
        .iter()
        .map(|run| (run.from + 1, run.to + 1, run.count))
        .filter(|(from, ..)| *from <= 1_200)
        .collect();
    // The second string moves by two slots up to the end of universe 2, and by four after it.
    assert_eq!(runs, [(1, 1, 510), (511, 513, 510), (1_021, 1_025, 180)]);
}

/// Priority and synchronisation, in every table of controllers and on the set-up sheet.
#[test]
fn priority_and_sync_universe_are_shown() {
    let text = "node berry { chip ws2811; colour RGB }\nprop trellis * 3 { node berry; string 9 nodes }\n\
        controller press { priority 130; sync universe 600; ports 1..2 { } }\n\
        controller mill { input ddp; host 10.0.0.3; ports 1..2 { } }\n\
        controller barn { input e131 unicast; universe 510 slots; ports 1..2 { } }\n\
        wire press.1: trellis[1]\nwire mill.1: trellis[2]\nwire barn.1: trellis[3]\n";
    let compiled = check::one(text);
    assert!(compiled.findings.is_empty(), "{}", told(&compiled));
    let table = table_of(&compiled);
    let rows = table["controllers"].as_array().unwrap();
    let of = |key: &str| rows.iter().map(|row| row[key].clone()).collect::<Vec<_>>();
    assert_eq!(of("priority"), [130.into(), Value::Null, 100.into()]);
    assert_eq!(of("sync_universe"), [600.into(), Value::Null, Value::Null]);
    let text = crate::outputs::table_by(&compiled, "text", "controller");
    assert!(text.contains("priority 130, sync universe 600"), "{text}");
    assert!(text.contains("510 slots a universe"), "{text}");
    let csv = crate::outputs::table_by(&compiled, "csv", "controller");
    assert!(csv.lines().next().unwrap().ends_with("universe_slots,priority,sync_universe"));
    let press = csv.lines().find(|line| line.starts_with("press,")).unwrap();
    assert!(press.ends_with("512,130,600"), "{press}");
}

/// ANSI E1.31-2018, Table 4-1: a data packet of `slots` slots by hand, for another program to read.
fn data_packet(priority: u8, sync: u16) -> Vec<u8> {
    let slots = 3_u16;
    let mut packet = vec![0, 0x10, 0, 0];
    packet.extend(*b"ASC-E1.17\0\0\0");
    packet.extend((0x7000 | (110 + slots)).to_be_bytes());
    packet.extend(4_u32.to_be_bytes());
    packet.extend([7; 16]);
    packet.extend((0x7000 | (88 + slots)).to_be_bytes());
    packet.extend(2_u32.to_be_bytes());
    packet.extend([0; 64]);
    packet.push(priority);
    packet.extend(sync.to_be_bytes());
    packet.extend([0, 0]);
    packet.extend(1_u16.to_be_bytes());
    packet.extend((0x7000 | (11 + slots)).to_be_bytes());
    packet.extend([2, 0xa1, 0, 0, 0, 1]);
    packet.extend((slots + 1).to_be_bytes());
    packet.push(0);
    packet.extend([0; 3]);
    packet
}

/// ANSI E1.31-2018, 6.2.3 (priority 0 to 200) and 6.2.4 (synchronization address): the `sacn` crate
/// refuses the same ones. Address 0 means none there, so no display may name it.
#[test]
fn e131_takes_the_priorities_and_sync_universes_that_a_display_may_have() {
    let lawful = |setting: String| {
        let text = format!(
            "node berry {{ chip ws2811; colour RGB }}\nprop trellis {{ node berry; string 9 nodes }}\n\
             controller press {{ universes from 9; {setting}; ports 1..2 {{ }} }}\nwire press.1: trellis\n"
        );
        check::one(&text).findings.is_empty()
    };
    let theirs = |priority: u8, sync: u16| {
        let packet = data_packet(priority, sync);
        sacn::packet::AcnRootLayerProtocol::parse(&packet).is_ok()
    };
    for priority in [0, 1, 100, 199, 200, 201, 255] {
        let ours = lawful(format!("priority {priority}"));
        assert_eq!(ours, theirs(priority, 0), "{priority}");
    }
    for universe in [1, 2, 63_998, 63_999, 64_000, 64_214, 65_535] {
        let ours = lawful(format!("sync universe {universe}"));
        assert_eq!(ours, theirs(100, universe), "{universe}");
    }
    assert!(!lawful("sync universe 0".into()));
}

/// The nodes that one frame has time for, and the slots of ten of them, with a chip of one's own.
fn limit(chip: &str, colour: &str, rate: u32) -> [u64; 2] {
    let table = table(&format!(
        "display \"\" {{ frame rate {rate} Hz }}\nchip own {{ {chip} }}\nnode berry {{ chip own; colour {colour} }}\n\
         prop trellis {{ node berry; string 10 nodes }}\ncontroller press {{ ports 1..2 {{ }} }}\nwire press.1: trellis\n"
    ));
    ["limit", "slots"].map(|key| {
        let row = if key == "limit" { &table["ports"][0] } else { &table["strings"][0] };
        row[key].as_u64().unwrap()
    })
}

/// floor((frame - latch - header) / (letters * bits)), by hand: 20,000 bits a frame at 40 Hz, 800
/// kbit/s.
#[test]
fn bits_on_the_wire_and_slots_are_two_things() {
    let base = "rate 800 kHz; latch 300 us";
    // 19,760 bits are left: 823 nodes of 24 bits, 411 of 48, 274 of 72.
    assert_eq!(limit(base, "RGB", 40), [823, 30]);
    assert_eq!(limit(&format!("{base}; sends 16 bits"), "RGB", 40), [411, 30]);
    assert_eq!(limit(&format!("{base}; depth 16"), "RGB", 40), [411, 60]);
    assert_eq!(limit(&format!("{base}; depth 16; sends 24 bits"), "RGB", 40), [274, 60]);
    assert_eq!(limit(&format!("{base}; sends 9 bits"), "RGBW", 40), [548, 40]);
    // A header of 1,000 bits leaves 18,760: 781 nodes of 24 bits. One of 16 leaves 823 nodes less 8
    // bits.
    assert_eq!(limit(&format!("{base}; header 1000 bits"), "RGB", 40), [781, 30]);
    assert_eq!(limit(&format!("{base}; header 8 bits"), "RGB", 40), [823, 30]);
    assert_eq!(limit(&format!("{base}; header 9 bits"), "RGB", 40), [822, 30]);
}

/// A chip that is sent like DMX512 (ANSI E1.11: 250 kbit/s, 11 bits a slot, a START code of 11 bits
/// before the data, 104 us of break and mark) has as many slots a frame as by E1.11: 451 at 50 Hz,
/// 375 at 60 Hz.
#[test]
fn start_and_stop_bits_of_a_serial_chip() {
    let serial = "rate 250 kHz; latch 104 us; sends 11 bits; header 11 bits";
    assert_eq!(limit(serial, "W", 50), [451, 10]);
    assert_eq!(limit(serial, "W", 60), [375, 10]);
}

/// TIA/EIA-485-A: 32 unit loads on a line, a share of one for parts of a higher input resistance.
#[test]
fn unit_loads_are_summed_to_the_thousandth() {
    let found = |fixtures: u32, loads: &str| {
        let text = format!(
            "prop lamp * {fixtures} {{ slots 2; loads {loads} }}\ncontroller press {{ dmx 1 }}\n\
             wire press.dmx1: lamp[1..{fixtures}]\n"
        );
        codes(&check::one(&text).findings)
    };
    for (fixtures, loads) in [(256, "0.125"), (128, "0.25"), (64, "0.5"), (16, "2"), (1, "32")] {
        assert!(found(fixtures, loads).is_empty(), "{fixtures} of {loads}");
    }
    for (fixtures, loads) in [(129, "0.25"), (65, "0.5"), (17, "2"), (2, "16.001")] {
        assert_eq!(found(fixtures, loads), ["dmx/loads"], "{fixtures} of {loads}");
    }
}

/// A fixture that shows another's data loads the line too, as itself says or as the other does.
#[test]
fn what_shows_anothers_data_loads_the_line() {
    let text = |own: &str| {
        format!(
            "prop lamp {{ slots 2; loads 20 }}\nprop twin {{ same as lamp; {own} }}\n\
             controller press {{ dmx 1 }}\nwire press.dmx1: lamp -> twin\n"
        )
    };
    assert_eq!(codes(&check::one(&text("")).findings), ["dmx/loads"]);
    let lighter = check::one(&text("loads 1"));
    assert!(lighter.findings.is_empty(), "{}", told(&lighter));
}

/// Random displays whose controllers change how many slots of each universe they use, around the
/// lock of before: what is lawful afresh is lawful around the lock, no string lies on a slot that
/// its controller does not use, and the next build changes nothing.
#[test]
fn a_controller_changes_the_slots_it_uses() {
    let config = Config { cases: 320, failure_persistence: None, ..Config::default() };
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[31; 32]);
    let mut runner = TestRunner::new_with_rng(config, rng);
    let compared = std::cell::Cell::new(0_usize);
    let outcome = runner.run(&(random::spec(), any::<bool>()), |(spec, to_all)| {
        let own = random::build(&spec).source();
        let is_own = |line: &&str| line.trim_start().starts_with("universe ");
        let all: String =
            own.lines().filter(|line| !is_own(line)).map(|line| format!("{line}\n")).collect();
        if own == all {
            return Ok(());
        }
        let (before, after) = if to_all { (own, all) } else { (all, own) };
        let first = check::one(&before);
        if first.has_errors() || check::one(&after).has_errors() {
            return Ok(());
        }
        let now = around(&after, &lock_of(&first));
        prop_assert!(!now.has_errors(), "{}\n--- the display ---\n{after}", told(&now));
        for (index, placed) in now.plan.placed.iter().enumerate() {
            let id = StringId::from(index);
            let Some((placed, grid)) = placed.zip(usage::grid_of(&now.model, &now.plan, id)) else {
                continue;
            };
            prop_assert!(grid.uses(placed.start) && grid.uses(placed.end), "\n{after}");
        }
        let again = around(&after, &lock_of(&now));
        prop_assert_eq!(lock_of(&again), lock_of(&now), "\n--- the display ---\n{}", after);
        compared.set(compared.get() + 1);
        Ok(())
    });
    if let Err(failure) = outcome {
        panic!("{failure}");
    }
    assert!(compared.get() > 40, "only {} compared", compared.get());
}

/// A box that uses 510 slots: its set-up sheet says so, and slots 511 and 512 are not shown as
/// free.
#[test]
fn pages_show_the_slots_that_a_box_does_not_use() {
    let compiled = check::one(ORCHARD);
    let page = tinsel::page::single(&compiled);
    assert!(page.contains("510 (the display counts 512; DMX outputs send 512)"));
    assert!(page.contains("its controller does not use these slots"));
    assert!(page.contains("511\u{2013}512"));
    assert!(
        !page.contains("181\u{2013}512"),
        "slots 181 to 510 of universe 3 are free, and no more"
    );
}

/// With `per prop`, a string is pinned to the place of another on its port: the other moves.
#[test]
fn a_pin_on_its_own_port_is_in_the_way_of_a_string() {
    let text = |pin: &str| {
        format!(
            "node berry {{ chip ws2811; colour RGB }}\nprop trellis {{ node berry; strings 2 of 34 nodes }}\n\
             prop lamp {{ slots 4 }}\n\
             controller press {{ universes 1..9; addressing per prop; ports 1..2 {{ }}; dmx 1 }}\n\
             wire press.1: trellis{pin}\nwire press.dmx1: lamp\n"
        )
    };
    let lock = lock_of(&check::one(&text("")));
    let now = around(&text(" at 1/68"), &lock);
    assert_eq!(codes(&now.findings), ["lock/moved", "lock/moved"], "{}", told(&now));
}

/// Random displays around the lock of another display with mostly the same names: what is lawful
/// afresh is lawful there, and the next build changes nothing. `same as` and `consecutive` are left
/// out: they depend on other places.
#[test]
fn a_display_around_the_lock_of_another() {
    let config = Config { cases: 320, failure_persistence: None, ..Config::default() };
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[5; 32]);
    let mut runner = TestRunner::new_with_rng(config, rng);
    let compared = std::cell::Cell::new(0_usize);
    let outcome = runner.run(&(random::spec(), random::spec()), |(other, spec)| {
        let text = random::build(&spec).source();
        if text.contains("consecutive") || text.contains("same as") {
            return Ok(());
        }
        let first = check::one(&random::build(&other).source());
        if first.has_errors() || check::one(&text).has_errors() {
            return Ok(());
        }
        let now = around(&text, &lock_of(&first));
        prop_assert!(!now.has_errors(), "{}\n--- the display ---\n{text}", told(&now));
        let again = around(&text, &lock_of(&now));
        prop_assert_eq!(lock_of(&again), lock_of(&now), "\n{}", text);
        compared.set(compared.get() + 1);
        Ok(())
    });
    if let Err(failure) = outcome {
        panic!("{failure}");
    }
    assert!(compared.get() > 40, "only {} compared", compared.get());
}

/// A display with every kind of block, with or without an example of a setting in the block of
/// `scope`.
fn with_setting(scope: Scope, example: &str, said: bool) -> String {
    let of = |own: Scope| {
        if said && own == scope { example } else { "" }
    };
    let kind = |kind: BlockKind| of(Scope::Of(kind));
    // What the prop needs besides, so that the setting has its effect.
    let besides = match example.split(' ').next().unwrap() {
        "node" => "string 50 nodes",
        "slots" => "",
        "loads" => "slots 6",
        "string" | "strings" | "split" | "same" => "node bullet",
        _ => "node bullet; string 50 nodes",
    };
    format!(
        "display \"orchard\" {{ {} }}\n\
         chip own {{ {} }}\n\
         node bullet {{ {} }}\n\
         circuit garage {{ {} }}\n\
         supply porch {{ {} }}\n\
         controller shed {{ ports 1..16 {{ {} }}; {} }}\n\
         receiver jetty {{ {} }}\n\
         prop arch * 2 {{ node bullet; string 50 nodes }}\n\
         prop lamp {{ {besides}; {} }}\n",
        kind(BlockKind::Display),
        kind(BlockKind::Chip),
        kind(BlockKind::Node),
        kind(BlockKind::Circuit),
        kind(BlockKind::Supply),
        of(Scope::Ports),
        kind(BlockKind::Controller),
        kind(BlockKind::Receiver),
        kind(BlockKind::Prop),
    )
}

/// What was meant, without places in the text.
fn meant(source: &str) -> String {
    let model = format!("{:?}", check::one(source).model);
    let mut parts = model.split("Span {");
    let mut bare = parts.next().unwrap().to_owned();
    for part in parts {
        bare.push_str(part.split_once('}').map_or("", |(_, rest)| rest));
    }
    bare
}

/// Each setting of the table changes the model: else nothing would read it.
#[test]
fn every_setting_changes_what_was_meant() {
    let kinds = BlockKind::ALL.map(Scope::Of);
    let mut unread = Vec::new();
    for scope in kinds.into_iter().chain([Scope::Ports]) {
        for row in rows(scope) {
            let [without, with] = [false, true].map(|said| with_setting(scope, row.example, said));
            if meant(&without) == meant(&with) {
                unread.push((scope.word(), row.example));
            }
        }
    }
    assert!(unread.is_empty(), "{unread:?}");
}
