//! Plus and minus apart: small displays that can be worked out by hand, and what is reported of
//! feeds that do nothing.
//!
//! IEC 60228, class 5, 1.5 mm2: 13.3 ohm a kilometre and conductor, so 0.0133 ohm a metre.

use crate::check::{codes, one, told};
use tinsel::Compiled;
use tinsel::diagnostic::Severity;
use tinsel::loads::{From, Study};
use tinsel::power;

fn study(text: &str) -> Study {
    let compiled = one(text);
    power::at(&compiled.model, &compiled.plan, None)
}

fn near(got: i64, want: i64, within: i64) {
    assert!((got - want).abs() <= within, "{got} is not {want} within {within}");
}

/// 40 nodes of 50 mA and 10 more, on conductors that take nothing. The port is fed through 10 m,
/// the second string through 5 m, both of 1.5 mm2.
const MAST: &str = "\
node bead { chip ws2811; colour RGB; volts 12 V; draw 50 mA; floor 6 V }
prop mast { node bead; string 40 nodes }
prop flag { node bead; string 10 nodes }
controller deck { ports 1..4 { volts 12 V } }
wire deck.1: mast -> flag
supply hold { volts 12 V; rated 100 W }
power deck.1 from hold through 10 m of 1.5 mm2
inject flag at start from hold through 5 m of 1.5 mm2 apart
";

/// 2 A flow out of the port and 0.5 A after the cut; all 2.5 A come back through both leads by
/// their length.
#[test]
fn the_minus_is_never_cut() {
    let study = study(MAST);
    let (feed, tap) = (study.feeds.as_slice()[0], study.taps[0]);
    near(feed.ua, 2_000_000, 1);
    near(tap.ua, 500_000, 1);
    near(feed.minus_ua, 2_500_000 / 3, 1);
    near(tap.minus_ua, 2_500_000 * 2 / 3, 1);
    near(study.supplies.as_slice()[0], 2_500_000, 1);
    // Plus of 10 m with 2 A, minus of 10 m with 0.8333 A.
    let drop = (0.133 * (2.0 + 2.5 / 3.0) * 1e6) as i64;
    near(study.sections.as_slice()[0].lowest.unwrap().uv, 12_000_000 - drop, 2);
    let drop = ((0.0665 * 0.5 + 0.133 * 2.5 / 3.0) * 1e6) as i64;
    near(study.sections.as_slice()[1].lowest.unwrap().uv, 12_000_000 - drop, 2);
}

/// What comes back beside the cut is in the string's own minus, where a rule can hold it against
/// its gauge.
#[test]
fn every_conductor_has_its_currents() {
    let text = MAST.replace("floor 6 V", "floor 6 V; pitch 1 mm; gauge 18 AWG");
    let study = study(&text);
    let [mast, flag] = study.conductors.as_slice() else { panic!("{:?}", study.conductors) };
    assert_eq!((mast.section.0, flag.section.0), (0, 1));
    near(mast.plus.ua, 2_000_000, 1);
    assert_eq!((mast.plus.node, flag.plus.node), (1, 1));
    // Of 2.5 A, 1.67 A leave the string at its far end: they flow away from the port in its minus.
    assert_eq!(mast.minus.node, 40);
    assert!(mast.minus.ua < -1_000_000, "{mast:?}");
    near(flag.plus.ua, 500_000, 1);
}

/// Ports of one box share its ground, whatever feeds them: two leads of one supply, or a lead and
/// an injection.
#[test]
fn the_ground_of_a_box_is_shared() {
    let two =
        MAST.replace("wire deck.1: mast -> flag", "wire deck.1: mast\nwire deck.2: flag").replace(
            "inject flag at start from hold through 5 m of 1.5 mm2 apart",
            "power deck.2 from hold through 5 m of 1.5 mm2",
        );
    let loads = study(&two);
    near(loads.feeds.as_slice()[0].ua, 2_000_000, 1);
    near(loads.feeds.as_slice()[0].minus_ua, 2_500_000 / 3, 1);
    near(loads.feeds.as_slice()[1].minus_ua, 2_500_000 * 2 / 3, 1);
    // A port that is not fed has the ground of its box all the same.
    let unfed = two.replace("power deck.2 from", "inject flag at start from");
    let loads = study(&unfed);
    assert_eq!(loads.sections.as_slice()[1].from, From::Taps);
    near(loads.taps[0].ua, 500_000, 1);
    near(loads.taps[0].minus_ua, 2_500_000 * 2 / 3, 1);
    // A receiver is a box of its own: the data cable carries no power.
    let far = unfed.replace("wire deck.2", "receiver buoy { carries deck.3..4 }\nwire buoy.1");
    let loads = study(&far);
    near(loads.taps[0].minus_ua, 500_000, 1);
    near(loads.feeds.as_slice()[0].minus_ua, 2_000_000, 1);
}

/// Between two supplies the minus is joined only by the line; what one gives comes back to it.
#[test]
fn supplies_get_back_what_they_give() {
    let text = MAST.replace("inject flag at start from hold", "inject flag at start from bow");
    let loads = study(&format!("{text}supply bow {{ volts 12 V; rated 20 W }}\n"));
    near(loads.feeds.as_slice()[0].minus_ua, 2_000_000, 1);
    near(loads.taps[0].minus_ua, 500_000, 1);
    // A second lead of `bow`, to the box: a part of what the port takes from `hold` can't flow back
    // to `bow`, but what `bow` gives to the flag comes back on both of its leads.
    let more =
        "supply bow { volts 12 V; rated 20 W }\npower deck.2 from bow through 10 m of 1.5 mm2\n";
    let loads = study(&format!("{text}{more}"));
    near(loads.feeds.as_slice()[0].minus_ua, 2_000_000, 1);
    near(loads.taps[0].minus_ua + loads.feeds.as_slice()[1].minus_ua, 500_000, 2);
    near(loads.feeds.as_slice()[1].minus_ua, 500_000 / 3, 2);
}

/// Two feeds that are apart and meet between two strings: each feeds its own side.
#[test]
fn two_apart_at_one_joint() {
    let text = format!("{MAST}inject mast at end from hold through 10 m of 1.5 mm2 apart\n");
    let loads = study(&text);
    // The mast is fed at both ends, through equal leads; the flag by its own.
    near(loads.feeds.as_slice()[0].ua, 1_000_000, 1);
    near(loads.taps[1].ua, 1_000_000, 1);
    near(loads.taps[0].ua, 500_000, 1);
    assert_eq!((loads.taps[1].section.0, loads.taps[0].section.0), (0, 1));
    let compiled = one(&text);
    assert!(!codes(&compiled.findings).contains(&"power/idle"), "{}", told(&compiled));
    // Anything between them, and the first feeds that only.
    let cable = text.replace("mast -> flag", "mast -> lead 1 m of 18 AWG -> flag");
    let loads = study(&cable);
    near(loads.taps[1].ua, 0, 1);
    let compiled = one(&cable);
    assert!(codes(&compiled.findings).contains(&"power/idle"), "{}", told(&compiled));
}

/// A node that does not say its voltage works down to three quarters of what it gets.
#[test]
fn the_floor_of_a_node_without_volts() {
    let text = MAST.replace("volts 12 V; draw 50 mA; floor 6 V", "draw 50 mA");
    let floors = |text: &str| -> Vec<i64> {
        let sections = study(text).sections.into_iter();
        sections.map(|section| section.lowest.unwrap().floor_uv).collect()
    };
    assert_eq!(floors(&text), [9_000_000, 9_000_000]);
    // Where the port does not say it either, it is the supply's.
    let silent = text.replace("{ volts 12 V } }", "{ } }");
    assert_eq!(floors(&silent), [9_000_000, 9_000_000]);
    let own = text.replace("draw 50 mA", "draw 50 mA; floor 7 V");
    assert_eq!(floors(&own), [7_000_000, 7_000_000]);
}

/// Nodes that show nothing draw what they draw in idle, also where nothing else hangs on their
/// plus.
#[test]
fn dark_nodes_alone_draw_their_idle() {
    let text = MAST
        .replace("draw 50 mA;", "draw 50 mA; idle 2 mA;")
        .replace("wire deck.1: mast -> flag", "wire deck.1: skip 30 -> flag")
        .replace("prop mast { node bead; string 40 nodes }\n", "");
    let loads = study(&text);
    near(loads.feeds.as_slice()[0].ua, 60_000, 1);
    near(loads.taps[0].ua, 520_000, 1);
    near(loads.supplies.as_slice()[0], 580_000, 1);
    let compiled = one(&text);
    assert!(codes(&compiled.findings).iter().all(|code| *code != "power/unfed"));
}

/// A line with more supplies than can be solved, and boxes that depend on each other too much, are
/// left out.
#[test]
fn too_many_supplies_are_left_out() {
    let mut text = String::from(
        "node bead { chip ws2811; colour RGB; volts 12 V; draw 50 mA }\n\
         prop mast { node bead; string 200 nodes }\ncontroller deck { ports 1..4 { volts 12 V } }\nwire deck.1: mast\n",
    );
    for at in 0..60 {
        let node = at * 3 + 1;
        text.push_str(&format!(
            "supply s{at} {{ volts 12 V }}\ninject mast at node {node} from s{at} through 1 m of 18 AWG apart\n"
        ));
    }
    let loads = study(&text);
    assert!(loads.sections.iter().all(|section| section.left_out));
    assert!(loads.taps.len() == 60 && loads.taps.iter().all(|tap| tap.left_out));
}

/// Every box with every supply: far more ties than any park has, so it is left out, and soon.
#[test]
fn tangled_supplies_are_left_out() {
    let count = 500;
    let mut text = String::from("node bead { chip ws2811; colour RGB; volts 12 V; draw 50 mA }\n");
    for at in 0..count {
        text.push_str(&format!(
            "supply s{at} {{ volts 12 V }}\ncontroller k{at} {{ ports 1..2 {{ volts 12 V }} }}\n\
             prop p{at} {{ node bead; string 40 nodes }}\nwire k{at}.1: p{at}\n"
        ));
        for cut in 1..=20 {
            let supply = (at * 37 + cut * cut * 101) % count;
            text.push_str(&format!(
                "inject p{at} at node {} from s{supply} through 1 m of 18 AWG apart\n",
                cut * 2 - 1
            ));
        }
    }
    let before = std::time::Instant::now();
    let loads = study(&text);
    assert!(loads.sections.iter().all(|section| section.left_out));
    assert!(before.elapsed().as_secs() < 60, "{:?}", before.elapsed());
}

/// A line that two supplies feed at its end, with its own words for both ways out.
const PIER: &str = "\
node bead { chip ws2811; colour RGB; volts 12 V; draw 25 mA; pitch 100 mm; gauge 18 AWG }
prop rail { node bead; string 60 nodes }
controller deck { ports 1..2 { volts 12 V; fuse 5 A } }
wire deck.1: rail
supply hold { volts 12 V; rated 150 W }
supply bow { volts 12 V; rated 150 W }
power deck.1..2 from hold through 0.5 m of 14 AWG fuse 10 A
inject rail at end from bow through 2 m of 16 AWG fuse 5 A
";

fn power_codes(compiled: &Compiled) -> Vec<&'static str> {
    let all = codes(&compiled.findings).into_iter();
    all.filter(|code| code.starts_with("power/")).collect()
}

/// Whoever does what `power/parallel` says at the end of a line gets neither it nor `power/idle`.
#[test]
fn the_ways_out_of_parallel() {
    let compiled = one(PIER);
    assert_eq!(power_codes(&compiled), ["power/parallel"], "{}", told(&compiled));
    let help = &compiled.findings[0].help;
    assert!(help.contains("inject from `hold`"), "{help}");
    let moved = help.split('`').find(|text| text.starts_with("inject rail at node"));
    let place = moved.unwrap().trim_end_matches(" … apart");
    for cured in [
        PIER.replace("from bow through", "from hold through"),
        PIER.replace("inject rail at end", place).replace("AWG fuse 5 A\n", "AWG fuse 5 A apart\n"),
    ] {
        let compiled = one(&cured);
        assert!(power_codes(&compiled).is_empty(), "{}\n{cured}", told(&compiled));
    }
    // In the middle the cut is enough.
    let middle = PIER.replace("at end", "at node 20");
    let compiled = one(&middle);
    assert!(compiled.findings[0].help.contains("write `apart`"), "{}", told(&compiled));
    let cut = middle.replace("AWG fuse 5 A\n", "AWG fuse 5 A apart\n");
    assert!(power_codes(&one(&cut)).is_empty());
}

/// The same for an injection that feeds nothing: taken away or moved, and the display has no
/// finding.
#[test]
fn the_ways_out_of_idle() {
    let text = PIER.replace("AWG fuse 5 A\n", "AWG fuse 5 A apart\n");
    let compiled = one(&text);
    assert_eq!(power_codes(&compiled), ["power/idle"], "{}", told(&compiled));
    let finding = &compiled.findings[0];
    assert_eq!(finding.severity, Severity::Warning);
    let moved = finding.help.split('`').find(|text| text.starts_with("inject rail at node"));
    let statement = text.lines().last().unwrap();
    for cured in [text.replace("inject rail at end", moved.unwrap()), text.replace(statement, "")] {
        let compiled = one(&cured);
        assert!(power_codes(&compiled).is_empty(), "{}\n{cured}", told(&compiled));
    }
}
