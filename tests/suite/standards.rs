//! Facts of standards and data sheets that the compiler relies on: a test a clause, with its
//! source.
//!
//! "From memory" marks what no stored text confirms; "common practice" what no text says at all.

use crate::check;
use serde_json::Value;
use tinsel::limits::{self, Time};
use tinsel::protocol::Input;

fn input(words: &str) -> Input {
    Input::find(words).unwrap()
}

fn group(universe: u32) -> Option<String> {
    let input = input("e131 multicast");
    input.protocol.universe_address(input.form, universe)
}

/// ANSI E1.31-2018, 9.3.1: 239.255 and the two bytes of the universe; the `sacn` crate agrees.
#[test]
fn e131_multicast_groups() {
    for (universe, expected) in
        [(1, "239.255.0.1"), (256, "239.255.1.0"), (63_999, "239.255.249.255")]
    {
        assert_eq!(group(universe).as_deref(), Some(expected));
    }
    for universe in (1..=63_999_u32).step_by(37).chain([255, 257, 511, 512, 63_998]) {
        let theirs = sacn::packet::universe_to_ipv4_multicast_addr(universe as u16).unwrap();
        let theirs = theirs.as_socket_ipv4().unwrap().ip().to_string();
        assert_eq!(group(universe), Some(theirs), "universe {universe}");
    }
}

/// ANSI E1.31-2018, 6.2.7, 9.1.1: data universes are 1 to 63,999; `sacn` refuses the same ones.
#[test]
fn e131_range() {
    let range = input("e131").universes();
    for universe in [0_u32, 1, 2, 63_998, 63_999, 64_000, 65_535] {
        let theirs = sacn::packet::universe_to_ipv4_multicast_addr(universe as u16).is_ok();
        assert_eq!(range.contains(&universe), theirs, "universe {universe}");
        assert_eq!(group(universe).is_some(), theirs, "universe {universe}");
    }
    // 64214 is for discovery (9.1.1, Appendix A) and never holds levels, though it has a group.
    let discovery = sacn::packet::universe_to_ipv4_multicast_addr(64_214).unwrap();
    assert_eq!(discovery.as_socket_ipv4().unwrap().ip().to_string(), "239.255.250.214");
    assert!(!range.contains(&64_214) && group(64_214).is_none());
}

/// The same as seen from a display: the last universe is taken, the next is refused.
#[test]
fn e131_range_in_a_display() {
    let display = |universe: u32| {
        format!(
            "node n {{ chip ws2811; colour RGB }}\n\
             controller c {{ universes from {universe}; ports 1..2 {{ }} }}\n\
             prop p {{ node n; string 10 nodes }}\nwire c.1: p\n"
        )
    };
    assert!(check::one(&display(63_999)).findings.is_empty());
    for universe in [0, 64_000, 65_535] {
        let found = check::codes(&check::one(&display(universe)).findings);
        assert_eq!(found, ["address/range"], "universe {universe}");
    }
}

/// Art-Net 4: a Port-Address is net (7 bits), sub-net (4), universe (4), so 0 to 32,767.
#[test]
fn artnet_port_addresses() {
    let plain = input("artnet");
    let from_zero = input("artnet from 0");
    let address = |input: &Input, universe| input.protocol.universe_address(input.form, universe);
    assert_eq!(address(&plain, 300).as_deref(), Some("300 (1:2:12)"));
    assert_eq!(address(&plain, 32_767).as_deref(), Some("32767 (127:15:15)"));
    assert_eq!(address(&plain, 32_768), None);
    assert_eq!(address(&from_zero, 1).as_deref(), Some("0 (0:0:0)"));
    assert_eq!(address(&from_zero, 32_768).as_deref(), Some("32767 (127:15:15)"));
    assert_eq!(address(&from_zero, 32_769), None);
}

/// Distributed Display Protocol: offsets count bytes from the device's own first channel, so RGB
/// node 481 lies at 1440, the first byte of its second packet.
#[test]
fn ddp_offsets() {
    let ddp = input("ddp");
    assert_eq!(ddp.protocol.data_offset(480 * 3), Some(1_440));
    assert_eq!(ddp.protocol.data_offset(0), Some(0));
    assert_eq!(ddp.protocol.universe_address(ddp.form, 1), None);
}

/// Distributed Display Protocol, its own table: RGB nodes at 45 frames a second on 100 Mbit/s
/// (67,340 by E1.31, 79,542 by Art-Net, 87,950 by DDP) and the share of data (72.7, 85.9, 94.9 %,
/// cut off).
#[test]
fn load_of_the_wire() {
    let bits = |words: &str, slots: &[u32]| {
        let input = input(words);
        input.protocol.wire_bits(slots)
    };
    for (words, slots, wire_bytes, nodes, share) in [
        ("e131", 512, 704, 67_340_u64, 727),
        ("artnet", 512, 596, 79_542, 859),
        ("ddp", 1_440, 1_516, 87_950, 949),
    ] {
        let packet = bits(words, &[slots]);
        assert_eq!(packet, wire_bytes * 8, "{words}");
        let got = 100_000_000 * u64::from(slots) / (45 * 3 * packet);
        // The table works with its own rounded share.
        assert!(got.abs_diff(nodes) <= 1, "{words}: {got}");
        assert_eq!(u64::from(slots) * 8 * 1_000 / packet, share, "{words}");
    }
    // E1.31-2018, Table 4-1: 126 bytes around the slots; 510 slots are 702 bytes of wire.
    assert_eq!(bits("e131", &[510]), 702 * 8);
    // Art-Net sends an even count: three slots go as four.
    assert_eq!(bits("artnet", &[3]), bits("artnet", &[4]));
}

/// The table of a display, as `--format json` has it.
fn table(source: &str) -> Value {
    let compiled = check::one(source);
    assert!(compiled.findings.is_empty(), "{}", check::told(&compiled));
    serde_json::from_str(&crate::outputs::table_text(&compiled, "json")).unwrap()
}

fn display(head: &str, colour: &str, strings: &str, wire: &str) -> Value {
    table(&format!(
        "display \"check\" {{ frame rate 30 Hz; {head} }}\n\
         node n {{ chip ws2811; colour {colour} }}\n\
         controller c {{ universes from 1; ports 1..8 {{ }} }}\n\
         prop p {{ node n; {strings} }}\n{wire}\n"
    ))
}

/// Start and end of a string as universe, slot, universe, slot.
fn place(table: &Value, string: usize) -> [u64; 4] {
    let string = &table["strings"][string];
    ["start", "end"]
        .iter()
        .flat_map(|end| ["universe", "slot"].map(|key| string[end][key].as_u64().unwrap()))
        .collect::<Vec<_>>()
        .try_into()
        .unwrap()
}

/// 512 / 3: 170 whole RGB nodes in a universe, 510 slots, two left over (as manuals usually say).
#[test]
fn rgb_nodes_whole_in_a_universe() {
    let one = display("whole nodes", "RGB", "string 170 nodes", "wire c.1: p");
    assert_eq!(place(&one, 0), [1, 1, 1, 510]);
    let two = display("whole nodes", "RGB", "string 171 nodes", "wire c.1: p");
    assert_eq!(place(&two, 0), [1, 1, 2, 3]);
    assert_eq!(two["universes"][0]["used"], 510);
    assert_eq!(two["universes"][0]["free"], 2);
}

/// 512 / 4: 128 RGBW nodes fill a universe to the last slot. Derived.
#[test]
fn rgbw_nodes_in_a_universe() {
    let table = display("", "RGBW", "string 128 nodes", "wire c.1: p");
    assert_eq!(place(&table, 0), [1, 1, 1, 512]);
    assert_eq!(table["universes"][0]["free"], 0);
}

/// 400 RGB nodes kept whole: 170 + 170 + 60, the last universe uses 180 slots. Derived.
#[test]
fn four_hundred_nodes_kept_whole() {
    let table = display("whole nodes", "RGB", "string 400 nodes", "wire c.1: p");
    assert_eq!(place(&table, 0), [1, 1, 3, 180]);
    let used: Vec<u64> =
        (0..3).map(|at| table["universes"][at]["used"].as_u64().unwrap()).collect();
    assert_eq!(used, [510, 510, 180]);
}

/// 400 RGB nodes packed: the last universe uses 176 slots; node 171 has 511, 512 and the next 1.
/// Derived.
#[test]
fn four_hundred_nodes_packed() {
    let table = display("", "RGB", "string 170 nodes; string 230 nodes", "wire c.1: p");
    assert_eq!(place(&table, 0), [1, 1, 1, 510]);
    assert_eq!(place(&table, 1), [1, 511, 3, 176]);
    let node_171 = display("", "RGB", "string 170 nodes; string 1 node", "wire c.1: p");
    assert_eq!(place(&node_171, 1), [1, 511, 2, 1]);
}

/// DIN SPEC 15801 counts addresses absolutely too: 1, 512, 513 and 1025 are 1.1, 1.512, 2.1 and
/// 3.1, and "45.17" is universe 45, slot 17.
#[test]
fn absolute_channels() {
    for (channel, universe, slot) in
        [(1, 1, 1), (512, 1, 512), (513, 2, 1), (1_025, 3, 1), (44 * 512 + 17, 45, 17)]
    {
        let by_channel = pinned(&format!("at channel {channel}"));
        let by_slot = pinned(&format!("at {universe}/{slot}"));
        for table in [&by_channel, &by_slot] {
            let start = &table["strings"][0]["start"];
            assert_eq!(start["channel"], channel);
            assert_eq!(start["universe"], universe);
            assert_eq!(start["slot"], slot);
        }
    }
}

fn pinned(pin: &str) -> Value {
    table(&format!(
        "node n {{ chip ws2811; colour W }}\n\
         controller c {{ universes from 1; addressing per prop; ports 1..2 {{ }} }}\n\
         prop p {{ node n; string 1 node }}\nwire c.1: p {pin}\n"
    ))
}

/// DMX512-A: a packet has 512 slots; a footprint of 4 from slot 510 needs a slot 513. Derived.
#[test]
fn a_footprint_past_the_last_slot() {
    let display = |slot: u32| {
        format!(
            "controller c {{ universes from 1; dmx 1 }}\nprop p {{ slots 4 }}\nwire c.dmx1: p at {slot}\n"
        )
    };
    assert!(check::one(&display(509)).findings.is_empty());
    let compiled = check::one(&display(510));
    assert_eq!(check::codes(&compiled.findings), ["dmx/footprint"]);
    assert!(check::told(&compiled).contains("513"), "{}", check::told(&compiled));
}

/// The nodes that one port sends in one frame, as the table says them.
fn limit(chip: &str, colour: &str, rate: u32) -> u64 {
    let table = table(&format!(
        "display \"check\" {{ frame rate {rate} Hz }}\n\
         chip late {{ rate 800 kHz; latch 300 us }}\n\
         chip early {{ rate 800 kHz; latch 50 us }}\n\
         node n {{ chip {chip}; colour {colour} }}\n\
         node l {{ chip late; colour RGB }}\n\
         node e {{ chip early; colour RGB }}\n\
         controller c {{ universes from 1; ports 1..8 {{ }} }}\n\
         prop p {{ node n; string 10 nodes }}\n\
         prop q {{ node l; string 10 nodes }}\n\
         prop r {{ node e; string 10 nodes }}\nwire c.1: p\nwire c.2: q\nwire c.3: r\n"
    ));
    table["ports"][0]["limit"].as_u64().unwrap()
}

/// Data sheets of the chips: `floor((1 s / rate - latch) / (bits * bit time))`, in whole
/// nanoseconds. Several cells are exact divisions, at which floating point is one node short.
#[test]
fn nodes_in_a_frame() {
    let table = [
        // 800 kbit/s, 24 bits, 50 us of latch.
        (
            "ws2811",
            "RGB",
            [(20, 1665), (25, 1331), (30, 1109), (40, 831), (44, 755), (50, 665), (60, 553)],
        ),
        // 24 bits, 300 us.
        (
            "ws2812b",
            "RGB",
            [(20, 1656), (25, 1323), (30, 1101), (40, 823), (44, 747), (50, 656), (60, 545)],
        ),
        // 32 bits, 80 us.
        (
            "sk6812",
            "RGBW",
            [(20, 1248), (25, 998), (30, 831), (40, 623), (44, 566), (50, 498), (60, 414)],
        ),
        // 32 bits, 300 us.
        (
            "ws2815",
            "RGBW",
            [(20, 1242), (25, 992), (30, 825), (40, 617), (44, 560), (50, 492), (60, 409)],
        ),
    ];
    for (chip, colour, cells) in table {
        for (rate, nodes) in cells {
            assert_eq!(limit(chip, colour, rate), nodes, "{chip} {colour} at {rate} Hz");
        }
    }
    // 400 kbit/s, 24 bits, 50 us.
    for (rate, nodes) in [(20, 832), (25, 665), (30, 554), (40, 415), (50, 332)] {
        assert_eq!(limit("ws2811-slow", "RGB", rate), nodes, "slow at {rate} Hz");
    }
    // A chip that the display declares counts alike.
    assert_eq!(limit("late", "RGB", 40), 823);
    assert_eq!(limit("early", "RGB", 20), 1_665);
}

/// 680 RGB nodes and 300 us of latch take 20.7 ms, so 48.3 frames a second: lawful at 48 Hz, not at
/// 49. Derived.
#[test]
fn six_hundred_and_eighty_nodes() {
    let display = |rate: u32| {
        format!(
            "display \"check\" {{ frame rate {rate} Hz }}\nnode n {{ chip ws2812b; colour RGB }}\n\
             controller c {{ input ddp; universes from 1; ports 1..2 {{ }} }}\n\
             prop p {{ node n; string 680 nodes }}\nwire c.1: p\n"
        )
    };
    assert!(check::one(&display(48)).findings.is_empty());
    assert_eq!(check::codes(&check::one(&display(49)).findings), ["port/time"]);
}

/// 800 kbit/s and 24 bits are 33,333 nodes a second: as many fit a frame at 1 Hz without a latch.
#[test]
fn nodes_in_a_second() {
    let table = table(
        "display \"check\" { frame rate 1 Hz }\nchip bare { rate 800 kHz; latch 0 us }\n\
         node n { chip bare; colour RGB }\ncontroller c { universes from 1; ports 1..2 { } }\n\
         prop p { node n; string 1 node }\nwire c.1: p\n",
    );
    assert_eq!(table["ports"][0]["limit"], 33_333);
}

/// DMX512-A: 44 us a slot with its START code, 92 us of break, 12 us after it, never under 1204 us:
/// 512 slots repeat at 44.10 Hz at most, so 44 Hz passes and 45 Hz does not.
#[test]
fn dmx_refresh() {
    let display = |rate: u32, slots: u32| {
        format!(
            "display \"check\" {{ frame rate {rate} Hz }}\ncontroller c {{ universes from 1; dmx 1 }}\n\
             prop p {{ slots {slots} }}\nwire c.dmx1: p\n"
        )
    };
    assert!(check::one(&display(44, 512)).findings.is_empty());
    assert_eq!(check::codes(&check::one(&display(45, 512)).findings), ["port/time"]);
    // 24 slots: 1204 us, 830.56 Hz.
    assert!(check::one(&display(830, 24)).findings.is_empty());
    assert_eq!(check::codes(&check::one(&display(831, 24)).findings), ["port/time"]);
}

/// DMX512-A: break 92 us, mark 12 us, 44 us a slot and for the START code, 1204 us at least. A
/// manual that counts with the figures of 1990 (88 and 8 us) gives 1196 us for 24 slots and 22,668
/// us for 512: eight less than ours.
#[test]
fn dmx_packets() {
    for (slots, microseconds) in [
        (1, 1_204),
        (24, 1_204),
        (48, 2_260),
        (96, 4_372),
        (170, 7_628),
        (256, 11_412),
        (512, 22_676),
    ] {
        assert_eq!(limits::dmx_packet(slots), Time::ns(microseconds * 1_000), "{slots} slots");
    }
    for (slots, of_1990) in [(24, 1_196), (512, 22_668)] {
        assert_eq!(limits::dmx_packet(slots), Time::ns((of_1990 + 8) * 1_000), "{slots} slots");
    }
    // 44.10 Hz and 830.56 Hz.
    assert_eq!(limits::dmx_packet(512).rate_mhz(), Some(44_099));
    assert_eq!(limits::dmx_packet(24).rate_mhz(), Some(830_564));
    assert_eq!(limits::dmx_slots(44_000), 512);
    // Faster than 44.1 Hz a packet must be shorter: 451 slots at 50 Hz, 375 at 60 Hz. Derived.
    assert_eq!(limits::dmx_slots(50_000), 451);
    assert_eq!(limits::dmx_slots(60_000), 375);
}

/// Distributed Display Protocol: 1000 RGB nodes are packets of 1440, 1440 and 120 bytes. Derived.
#[test]
fn a_ddp_frame() {
    let ddp = input("ddp");
    // 10 bytes of header and 66 of wire around each packet, whatever universes the slots lie in.
    assert_eq!(ddp.protocol.wire_bits(&[512, 512, 512, 512, 512, 440]), 8 * (3_000 + 3 * 76));
}

/// A dense cone of 32 strands of 28 nodes. Common practice, no source: 896 nodes hang as 2 x 448 or
/// as 4 x 224; where strands stay whole and the tip has 50 more, as 448 and 498 on two ports.
#[test]
fn a_dense_cone() {
    let cone = |strings: &str| {
        let table = display("", "RGB", strings, "wire c.1..8: p by 1");
        table["strings"]
            .as_array()
            .unwrap()
            .iter()
            .map(|string| string["nodes"].as_u64().unwrap())
            .collect::<Vec<_>>()
    };
    assert_eq!(cone("strings 2 of 16 strands of 28 nodes"), [448, 448]);
    assert_eq!(cone("strings 4 of 8 strands of 28 nodes"), [224; 4]);
    assert_eq!(cone("string 448 nodes; string 448 + 50 nodes"), [448, 498]);
    let whole = display("", "RGB", "strings 2 of 16 strands of 28 nodes", "wire c.1..8: p by 1");
    let slots: u64 = whole["strings"]
        .as_array()
        .unwrap()
        .iter()
        .map(|string| string["slots"].as_u64().unwrap())
        .sum();
    assert_eq!(slots, 896 * 3);
    // 2688 slots are five universes and a quarter.
    assert_eq!(place(&whole, 1), [3, 321, 6, 128]);
}

/// ANSI E1.31-2018, 6.6.1: a universe repeats no faster than ANSI E1.11 lets its slots repeat,
/// unless the user configured it: 512 slots 44 times a second, 451 slots 50, 375 slots 60 times.
/// Art-Net 4, ArtDmx: to one address not faster than 512 slots. Rates derived from E1.11's timing.
#[test]
fn universes_repeat_as_dmx_does() {
    let display = |input: &str, rate: u32, slots: u32| {
        let text = format!(
            "display \"check\" {{ frame rate {rate} Hz }}\nnode n {{ chip ws2811; colour W }}\n\
             controller c {{ input {input}; ports 1..2 {{ }} }}\n\
             prop p {{ node n; string {slots} nodes }}\nwire c.1: p\n"
        );
        check::codes(&check::one(&text).findings)
    };
    for (rate, most) in [(44, 512), (45, 501), (50, 451), (60, 375)] {
        assert!(display("e131 unicast", rate, most).is_empty(), "{rate} Hz");
        let more = display("e131 unicast", rate, most + 1);
        assert_eq!(more.is_empty(), most == 512, "{rate} Hz");
    }
    assert!(display("artnet", 44, 512).is_empty());
    assert_eq!(display("artnet", 45, 1), ["net/rate"]);
    assert!(display("ddp", 60, 512).is_empty());
}
