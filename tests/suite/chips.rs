//! Known chips: rows against their sources, times against the compiler, findings for other chips.

use crate::check;
use tinsel::chip::{KNOWN, known};
use tinsel::explain;
use tinsel::limits::{NodeTime, Time};

/// Letters that a chip lights, as a colour order.
fn letters(colours: Option<u8>) -> &'static str {
    match colours {
        Some(4) => "RGBW",
        Some(5) => "RGBWA",
        _ => "RGB",
    }
}

/// A display with one node of a chip, which is declared by `more` where it is not known.
fn display(chip: &str, colour: &str, more: &str) -> String {
    format!(
        "{more}node moth {{ chip {chip}; colour {colour} }}\ncontroller den {{ ports 1..2 {{ chip {chip} }} }}\n\
         prop nest {{ node moth; string 10 nodes }}\nwire den.1: nest\n"
    )
}

// Bit time in ns, latch in us, bits a node. FastLED library, led_timing.h (the period is T1 + T2 +
// T3), read 2026-11-26: UCS7604, SK6822, TM1803, TM1809, TM1814, TM1829, SM16703, PL9823, UCS1903B,
// UCS1912, LPD1886, WS2812B-V5. The maker's protocol page: UCS8904B. The others are from memory:
// APA106, WS2814, WS2816.
#[test]
fn rows_are_those_of_the_sources() {
    let rows = [
        ("apa106", 1_710, 50, 24),
        ("lpd1886", 800, 500, 24),
        ("pl9823", 1_710, 500, 24),
        ("sk6822", 1_750, 500, 24),
        ("sm16703", 1_200, 500, 24),
        ("tm1803", 2_500, 500, 24),
        ("tm1809", 1_150, 500, 24),
        ("tm1814", 1_300, 300, 32),
        ("tm1829", 1_230, 500, 24),
        ("ucs1903b", 1_300, 500, 24),
        ("ucs1912", 1_600, 500, 24),
        ("ucs7604", 1_250, 280, 64),
        ("ucs8903", 1_250, 48, 48),
        ("ucs8904b", 1_250, 48, 64),
        ("ws2812b-v5", 1_225, 280, 24),
        ("ws2814", 1_250, 280, 32),
        ("ws2816", 1_250, 280, 48),
    ];
    for (name, bit_ns, latch_us, bits) in rows {
        let chip = known(name).unwrap_or_else(|| panic!("{name}"));
        let bit = chip.bit.unwrap();
        assert_eq!((bit.nanoseconds, bit.divisor), (bit_ns, 1), "{name}");
        assert_eq!(chip.latch_ns, latch_us * 1_000, "{name}");
        let compiled = check::one(&display(name, letters(chip.colours), ""));
        assert_eq!(compiled.model.nodes.as_slice()[0].bits, bits, "{name}");
    }
}

/// Each of them compiles, and one frame has time for what its row says.
#[test]
fn each_known_chip_is_timed_by_its_row() {
    for chip in KNOWN {
        let compiled = check::one(&display(chip.name, letters(chip.colours), ""));
        assert!(!compiled.blocks(), "{}: {}", chip.name, check::told(&compiled));
        let time = NodeTime::of_kind(&compiled.model, &compiled.model.nodes.as_slice()[0]);
        let bits = u64::from(compiled.model.nodes.as_slice()[0].bits);
        let Some(bit) = chip.bit else {
            assert_eq!(check::codes(&compiled.findings), ["port/pace"]);
            assert_eq!(time.most(40_000), None);
            continue;
        };
        let left = 25_000_000 - chip.latch_ns - u64::from(chip.header_bits) * bit.nanoseconds;
        let most = left / (bits * bit.nanoseconds);
        assert_eq!(time.most(40_000).map(u64::from), Some(most), "{}", chip.name);
    }
}

// APA102 at 1 MHz, 1,000 nodes: a start frame of 32 zero bits, 32 bits a node (APA102 data sheet),
// half a clock a node after them (from memory).
#[test]
fn a_clocked_frame_has_a_start_and_an_end() {
    let text = display("apa102", "BGR", "chip apa102 { rate 1000 kHz }\n");
    let compiled = check::one(&text);
    assert!(compiled.findings.is_empty(), "{}", check::told(&compiled));
    let time = NodeTime::of_kind(&compiled.model, &compiled.model.nodes.as_slice()[0]);
    let frame = time.around.plus(time.of_nodes(1_000));
    let by_hand = Time::ns(1_000 * (32 + 32_000 + 500));
    assert!(frame.within(by_hand) && by_hand.within(frame));
}

/// What is offered for an unknown chip has as many slots a node, or is a declaration that compiles.
#[test]
fn what_is_said_of_an_unknown_chip_can_be_pasted() {
    let mut declared = 0;
    for (name, colour) in [
        ("ws281b2", "RGB"),
        ("ws281b2", "RGBW"),
        ("ucs8905b", "RGB"),
        ("ucs8905b", "RGBW"),
        ("sk68l2", "GRB"),
        ("tm9x", "RGB"),
        ("glimmer", "RGBW"),
    ] {
        let compiled = check::one(&display(name, colour, ""));
        let finding = &compiled.findings[0];
        assert_eq!(finding.code, "name/unknown");
        let offered: Vec<&str> = finding.help.split('`').skip(1).step_by(2).collect();
        assert!(!offered.is_empty(), "{}", finding.help);
        for text in offered {
            if text.starts_with("chip ") {
                let pasted = check::one(&display(name, colour, &format!("{text}\n")));
                assert!(pasted.findings.is_empty(), "{}", check::told(&pasted));
                declared += 1;
                continue;
            }
            let own = known(text).unwrap();
            let colours = own.colours.map_or(colour.len(), usize::from);
            assert_eq!(colours * usize::from(own.depth / 8), colour.len(), "{name}: {text}");
        }
    }
    assert!(declared > 2);
}

#[test]
fn each_chip_has_a_page_with_its_source() {
    let mut out = Vec::new();
    explain::chip_list(&explain::chips(explain::CHIPS).unwrap(), 100, &mut out).unwrap();
    let all = String::from_utf8(out).unwrap();
    for chip in KNOWN {
        let mut out = Vec::new();
        explain::chip_list(&explain::chips(chip.name).unwrap(), 500, &mut out).unwrap();
        let page = String::from_utf8(out).unwrap();
        assert!(page.contains(chip.source), "{page}");
        assert!(all.contains(&format!("{}: ", chip.name)), "{}", chip.name);
    }
    assert!(explain::chips("no-such-chip").is_none());
    let mut out = Vec::new();
    let one = explain::chips("apa102").unwrap();
    explain::chip_list(&one, 500, &mut out).unwrap();
    let text = String::from_utf8(out).unwrap();
    let bits = "8 bits a node besides, 32 bits a frame besides, 0.5 clocks a node after the data,";
    assert!(text.contains(bits), "{text}");
    let mut out = Vec::new();
    explain::chip_json(&one, &mut out).unwrap();
    let row: serde_json::Value = serde_json::from_slice(&out).unwrap();
    for (key, count) in [("extra_bits", 8), ("header_bits", 32), ("tail_quarters", 2)] {
        assert_eq!(row[0][key], count, "{key}");
    }
}
