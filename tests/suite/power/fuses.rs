//! Fuses against currents and conductors: receivers, supplies, levels, directions, the table.

use crate::check::{codes, one, told};
use tinsel::cable::{FUSES, capacity, enough, fuse_for, fusible, lasts};
use tinsel::diagnostic::{Diagnostic, Severity};
use tinsel::survey::parts;
use tinsel::unit::Gauge;

const YARD: &str = "\
node dot { chip ws2811; colour RGB; volts 12 V; draw 20 mA; pitch 50 mm; gauge 18 AWG }
prop fox * 2 { node dot; string 100 nodes }
controller hut { ports 1..4 { volts 12 V; fuse 5 A } }
wire hut.1..2: fox by 1
supply shelf { volts 12 V; rated 150 W }
power hut.1..4 from shelf through 0.5 m of 12 AWG fuse 20 A
";

fn found(text: &str) -> Vec<Diagnostic> {
    one(text).findings
}

/// The one finding of a display.
fn only(text: &str) -> Diagnostic {
    let compiled = one(text);
    let [finding] = compiled.findings.as_slice() else {
        panic!("{}\nthe display\n{text}", told(&compiled));
    };
    finding.clone()
}

fn quiet(text: &str) {
    let compiled = one(text);
    assert!(compiled.findings.is_empty(), "{}\nthe display\n{text}", told(&compiled));
}

#[test]
fn what_is_protected_is_quiet() {
    quiet(YARD);
}

/// NFPA 70 (2020) 240.4(D)(1): 7 A before 18 AWG (from memory). No size between is let through.
#[test]
fn a_fuse_over_its_conductor_at_any_level() {
    for (fuse, fits) in [("7 A", true), ("7.001 A", false), ("7.5 A", false), ("30 A", false)] {
        let text = YARD.replace("fuse 5 A", &format!("fuse {fuse}"));
        for level in ["", "display \"d\" { dim to 1 % }\n"] {
            let text = format!("{level}{text}");
            if fits {
                quiet(&text);
                continue;
            }
            let finding = only(&text);
            assert_eq!((finding.code, finding.severity), ("power/fuse", Severity::Error));
            assert!(finding.message.contains("18 AWG"), "{}", finding.message);
            assert_eq!(finding.help, "use a fuse of 5 A at `hut.1..2`");
        }
    }
}

/// Power does not run over the data cable: a receiver's port has its own fuse and voltage, or none.
#[test]
fn a_receiver_has_its_own_fuse_and_voltage() {
    let far = "\
node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; pitch 20 mm; gauge 14 AWG }
prop fox { node dot; string 100 nodes }
controller hut { ports 1..4 { chip ws2811; volts 5 V; nodes at most 90; fuse 5 A; dim to 100 % } }
receiver pond { carries hut.1..4; ports 1..4 { nodes at most 100 } }
wire pond.1: fox
supply shelf { volts 12 V; rated 150 W }
power pond.1..4 from shelf through 1 m of 12 AWG fuse 15 A
";
    // 6 A through a lead of 15 A: the 5 A and the 5 V of the controller's port are not there.
    quiet(far);
    let items = |text: &str| {
        let compiled = one(text);
        let rows = parts::rows(&compiled.model, &compiled.plan);
        let fuses = rows.into_iter().filter(|row| row.item.starts_with("fuse of"));
        fuses.map(|row| (row.item, row.amount.value)).collect::<Vec<_>>()
    };
    assert_eq!(items(far), [("fuse of 15 A".to_owned(), 1)]);
    // What it says itself counts.
    let own = far.replace("nodes at most 100 }", "nodes at most 100; fuse 5 A }");
    let finding = only(&own);
    assert_eq!((finding.code, finding.severity), ("power/fuse", Severity::Error));
    assert!(finding.message.starts_with("port `pond.1` carries 6 A"), "{}", finding.message);
    let volts = far.replace("nodes at most 100 }", "nodes at most 100; volts 5 V }");
    assert!(codes(&found(&volts)).contains(&"wire/volts"));
    // Its chip and node limit come from the controller where it says none.
    let chip = far.replace("chip ws2811; volts", "chip ws2815; volts");
    assert!(codes(&found(&chip)).contains(&"wire/chip"));
    let limit = far.replace("; ports 1..4 { nodes at most 100 }", "");
    assert!(codes(&found(&limit)).contains(&"port/nodes"));
}

/// The compiler picks ports by the fuse of the receiver, not of the controller.
#[test]
fn a_picked_port_of_a_receiver_has_no_fuse_of_the_controller() {
    let text = "\
node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; pitch 20 mm; gauge 12 AWG }
prop fox * 2 { node dot; string 100 nodes }
controller hut { ports 1..2 { volts 12 V; fuse 5 A } }
receiver pond { carries hut.1..1; ports 1..1 { fuse 20 A } }
wire pond: fox[1] -> fox[2]
supply shelf { volts 12 V; rated 250 W }
power pond.1 from shelf through 1 m of 12 AWG fuse 20 A
";
    quiet(text);
}

/// A supply's own fuse carries all its current, and every lead without a fuse must bear it.
#[test]
fn the_fuse_of_a_supply() {
    let text = |fuse: &str| {
        YARD.replace("rated 150 W", &format!("rated 150 W; fuse {fuse}"))
            .replace("of 12 AWG fuse 20 A", "of 12 AWG")
    };
    quiet(&text("5 A"));
    quiet(&text("20 A"));
    let compiled = one(&text("20 A"));
    let rows = parts::rows(&compiled.model, &compiled.plan);
    assert!(rows.iter().any(|row| row.item == "supply, 12 V, 150 W, with a fuse of 20 A"));
    let over = only(&text("20.5 A"));
    assert_eq!((over.code, over.severity), ("power/fuse", Severity::Error));
    let message =
        "the lead that feeds `hut.1..4` has no fuse of its own and supply `shelf` one of 20.5 A";
    assert!(over.message.starts_with(message), "{}", over.message);
    assert_eq!(over.help, "write `fuse 20 A` after its conductor");
    // 4 A of 100 + 100 nodes: 80 % of 5 A, over 80 % of 4.9 A, over 3.9 A.
    for (fuse, severity) in [("4.9 A", Severity::Warning), ("3.9 A", Severity::Error)] {
        let finding = only(&text(fuse));
        assert_eq!((finding.code, finding.severity), ("power/fuse", severity));
        assert!(finding.message.starts_with("supply `shelf` gives 4 A"), "{}", finding.message);
    }
    // It stands in for the fuse of ports that name none, too.
    let unnamed = text("5 A").replace("; fuse 5 A } }", " } }");
    quiet(&unnamed);
    let unnamed = text("15 A").replace("volts 12 V; fuse 5 A", "volts 12 V");
    let finding = only(&unnamed);
    assert_eq!((finding.code, finding.severity), ("power/fuse", Severity::Warning));
    assert_eq!(finding.help, "name the fuse of each port: `fuse 5 A` at `hut.1..2`");
}

/// A port's fuse without any supply is held against the string, and no fuse is missing.
#[test]
fn fuses_without_a_supply() {
    let (text, _) = YARD.split_once("supply").unwrap();
    quiet(text);
    let finding = only(&text.replace("fuse 5 A", "fuse 10 A"));
    assert_eq!((finding.code, finding.severity), ("power/fuse", Severity::Error));
    quiet(&text.replace("; fuse 5 A", ""));
    quiet(&text.replace("; fuse 5 A", "").replace("; gauge 18 AWG", ""));
}

/// A string of nodes without `draw` still needs a fuse that protects it.
#[test]
fn a_string_without_draw_is_protected_too() {
    let text = YARD.replace("draw 20 mA; ", "").replace("fuse 5 A", "fuse 10 A");
    let codes: Vec<(&str, Severity)> =
        found(&text).iter().map(|finding| (finding.code, finding.severity)).collect();
    assert_eq!(codes, [("power/unchecked", Severity::Advice), ("power/fuse", Severity::Error)]);
}

/// The help of a lead without a fuse, written where it says, is what was missing.
#[test]
fn the_fuse_that_would_do_does() {
    let text = YARD.replace(" fuse 20 A", "");
    let text = format!("{text}inject fox at end from shelf through 6 m of 16 AWG apart\n");
    let compiled = one(&text);
    let missing = compiled.findings.iter().filter(|one| one.code == "power/fuse");
    let edits: Vec<_> = missing
        .filter_map(|finding| finding.fix.as_ref())
        .flat_map(|fix| fix.edits.clone())
        .collect();
    assert_eq!(edits.len(), 2, "{}", told(&compiled));
    let texts = crate::diagnostics::edited(&compiled, &edits);
    let after = found(&texts[0].1);
    assert!(!codes(&after).contains(&"power/fuse"), "{}", texts[0].1);
}

/// A minus that carries more than its plus, since `apart` cuts only the plus, is checked too.
#[test]
fn a_minus_over_its_conductor() {
    let text = "\
node dot { chip ws2811; colour RGB; volts 12 V; draw 40 mA; floor 8 V; pitch 50 mm; gauge 16 AWG }
prop hare { node dot; string 120 nodes }
prop mole { node dot; string 5 nodes }
controller hut { ports 1..4 { volts 12 V; fuse 7.5 A } }
wire hut.1: hare -> mole
supply shelf { volts 12 V; rated 350 W }
power hut.1 from shelf through 12 m of 16 AWG fuse 10 A
inject mole at start from shelf through 0.5 m of 22 AWG fuse 1 A apart
";
    let finding = only(text);
    assert_eq!((finding.code, finding.severity), ("power/gauge", Severity::Error));
    assert!(
        finding.message.starts_with("the minus of the lead of the injection into `mole`"),
        "{}",
        finding.message
    );
}

/// The largest common size that the conductor allows and that is at least 125 % of the current.
#[test]
fn the_size_that_would_do() {
    let a = 1_000_000;
    for (gauge, ua, fuse) in [
        (Gauge::Awg(18), 0, Some(5 * a)),
        (Gauge::Awg(18), 4 * a, Some(5 * a)),
        (Gauge::Awg(18), -4 * a, Some(5 * a)),
        (Gauge::Awg(18), 4 * a + 1, None),
        (Gauge::Awg(16), 8 * a, Some(10 * a)),
        (Gauge::Awg(12), 16 * a, Some(20 * a)),
        (Gauge::Awg(6), 32 * a, Some(40 * a)),
        (Gauge::Awg(6), 33 * a, None),
        (Gauge::Awg(22), 0, Some(3 * a)),
        (Gauge::Awg(28), 0, None),
        (Gauge::Area(750), a, Some(5 * a)),
        (Gauge::Area(1_500), 12 * a, Some(15 * a)),
    ] {
        assert_eq!(fuse_for(gauge, ua), fuse, "{gauge:?} {ua}");
    }
    for number in 0..=40 {
        for tenth in 0..600 {
            let (gauge, ua) = (Gauge::Awg(number), tenth * a / 10);
            let most = capacity(gauge).most_ua;
            let fits = FUSES.into_iter().filter(|fuse| *fuse <= most && fuse * 4 >= ua * 5);
            assert_eq!(fuse_for(gauge, ua), fits.max(), "{gauge:?} {ua}");
            if let Some(thick) = fusible(gauge, ua) {
                assert!(fuse_for(thick, ua).is_some());
            }
            if let Some(thick) = enough(gauge, ua) {
                assert!(lasts(ua, capacity(thick).most_ua));
            }
        }
    }
    // 40 A for hours need more than 8 AWG may carry: 6 AWG.
    assert_eq!(enough(Gauge::Awg(8), 40 * a), Some(Gauge::Awg(6)));
    assert_eq!(enough(Gauge::Awg(10), 101 * a), None);
    assert_eq!(fusible(Gauge::Awg(18), 6 * a), Some(Gauge::Awg(16)));
}

/// NFPA 70 (2020) 240.4(D)(1) and (2): continuous loads of 5.6 A on 18 AWG and 8 A on 16 AWG at
/// most (from memory), and 210.19(A): 80 %, so 12 A on 14 AWG.
#[test]
fn continuous_loads_of_small_conductors() {
    for (number, ma) in [(18, 5_600), (16, 8_000), (14, 12_000)] {
        let most = capacity(Gauge::Awg(number)).most_ua;
        assert!(lasts(ma * 1_000, most) && !lasts(ma * 1_000 + 1, most), "{number}");
        assert!(lasts(-ma * 1_000, most) && !lasts(-ma * 1_000 - 1, most), "{number}");
    }
}

/// Over 55 A of 6 AWG (NFPA 70 (2020) table 310.16, 60 °C, from memory) no parallel leads either.
#[test]
fn no_help_asks_for_parallel_leads() {
    for amps in [10, 30, 50, 90, 200] {
        let text = format!(
            "node dot {{ chip ws2811; colour RGB; volts 12 V; draw {amps} A; pitch 1 mm; gauge 0 AWG }}\n\
             prop hare {{ node dot; string 1 nodes }}\n\
             controller hut {{ ports 1..1 {{ volts 12 V; fuse 125 A }} }}\n\
             wire hut.1: hare\n\
             supply shelf {{ volts 12 V; rated 5000 W }}\n\
             power hut.1 from shelf through 0.01 m of 18 AWG fuse 7 A\n"
        );
        let findings = found(&text);
        let gauge = findings.iter().find(|one| one.code == "power/gauge" && one.span().start > 200);
        let help = &gauge.unwrap().help;
        assert!(!help.contains("several leads"), "{help}");
        let want = match amps {
            10 => "use 14 AWG",
            30 => "use 8 AWG",
            50 => "use 4 AWG",
            90 => "use 0 AWG",
            _ => "feed in more places, or lower the level",
        };
        assert!(help.contains(want), "{help}");
    }
}

/// A temperature below freezing, and sizes such as `2/0 AWG`.
#[test]
fn temperatures_and_sizes() {
    quiet(&format!("display \"d\" {{ conductors at -15 C }}\n{YARD}"));
    for (size, help) in [
        ("1/0 AWG", "write `0 AWG`"),
        ("2/0 AWG", "write `67.4 mm2`"),
        ("4 / 0 AWG", "write `107 mm2`"),
    ] {
        let text = YARD.replace("12 AWG", size);
        let finding = only(&text);
        assert_eq!((finding.code, &*finding.help), ("syntax/number", help));
        quiet(&YARD.replace("12 AWG", help.trim_start_matches("write ").trim_matches('`')));
    }
    // A division that comes out is still one.
    quiet(&YARD.replace("of 12 AWG", "of 24/2 AWG"));
}
