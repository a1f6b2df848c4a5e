//! Whole displays: the worked examples written in the language, how lines are cut and joined, and
//! that every offered cure helps.

use crate::check::{codes, one, told};
use std::path::Path;
use tinsel::Compiled;
use tinsel::diagnostic::Severity;
use tinsel::loads::{From, Section, Study};
use tinsel::power;
use tinsel::rules;

fn study(compiled: &Compiled) -> Study {
    power::at(&compiled.model, &compiled.plan, None)
}

fn only(text: &str) -> Section {
    let compiled = one(text);
    let study = study(&compiled);
    assert_eq!(study.sections.len(), 1, "{}", told(&compiled));
    study.sections.as_slice()[0]
}

fn near(got: i64, want: i64, within: i64) {
    assert!((got - want).abs() <= within, "{got} is not {want} within {within}");
}

/// 50 nodes of 60 mA on 18 AWG, 0.1 m apart, fed without loss: closed form and ngspice.
const FIFTY: &str = "\
node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; pitch 100 mm; gauge 18 AWG }
prop arch { node dot; string 50 nodes }
controller pier { ports 1..4 { volts 12 V; fuse 7 A } }
wire pier.1: arch
supply shed { volts 12 V; rated 100 W }
power pier.1..4 from shed through 0 m of 12 AWG fuse 20 A
";

#[test]
fn fifty_nodes_fed_at_one_end() {
    let section = only(FIFTY);
    let lowest = section.lowest.unwrap();
    assert_eq!(lowest.node, 50);
    near(lowest.uv, 12_000_000 - 320_501, 2);
    near(section.port_ua, 3_000_000, 1);
}

#[test]
fn fifty_nodes_fed_at_both_ends() {
    let text = format!("{FIFTY}inject arch at end from shed through 0 m of 12 AWG\n");
    let section = only(&text);
    let lowest = section.lowest.unwrap();
    assert!(lowest.node == 25 || lowest.node == 26);
    near(lowest.uv, 11_918_304, 2);
    near(section.port_ua, 1_500_000, 10);
}

#[test]
fn fifty_nodes_fed_in_the_middle() {
    // The port gives data only, and the cut is after node 25: half of the nodes on each side.
    let text = FIFTY.replace("string 50 nodes", "string: 25 nodes -> 25 nodes");
    let text = text.replace("power pier.1..4 from shed through 0 m of 12 AWG fuse 20 A\n", "");
    let section =
        only(&format!("{text}inject arch every 25 nodes from shed through 0 m of 12 AWG\n"));
    // Fed after node 25 and, one pitch after it, at node 50.
    assert_eq!(section.from, tinsel::loads::From::Taps);
    let first = one(&format!("{text}inject arch at node 25 from shed through 0 m of 12 AWG\n"));
    let lowest = study(&first).sections.as_slice()[0].lowest.unwrap();
    // The longer side has 25 segments: 25 * 26 / 2 times what one node drops in one.
    near(lowest.uv, 12_000_000 - 81_698, 3);
}

#[test]
fn a_hundred_nodes() {
    let text = |amps: &str, gauge: &str| {
        FIFTY
            .replace("string 50", "string 100")
            .replace("60 mA", amps)
            .replace("gauge 18 AWG", gauge)
    };
    near(only(&text("50 mA", "gauge 18 AWG")).lowest.unwrap().uv, 12_000_000 - 1_057_863, 2);
    near(only(&text("30 mA", "gauge 16 AWG")).lowest.unwrap().uv, 12_000_000 - 399_178, 2);
}

// NFPA 70, 210.20(A): a fuse of 5 A carries 4 A for hours: 66 nodes of 60 mA, 72 of 55.5 mA.
#[test]
fn eighty_percent_of_a_fuse() {
    for (nodes, draw, found) in
        [(66, "60 mA", false), (67, "60 mA", true), (72, "55.5 mA", false), (73, "55.5 mA", true)]
    {
        let text = FIFTY
            .replace("string 50", &format!("string {nodes}"))
            .replace("60 mA", draw)
            .replace("fuse 7 A", "fuse 5 A");
        let compiled = one(&text);
        let warned = codes(&compiled.findings) == ["power/fuse"];
        assert_eq!(warned, found, "{nodes} of {draw}: {}", told(&compiled));
        assert!(compiled.findings.iter().all(|finding| finding.severity == Severity::Warning));
    }
}

/// Level, idle draw and constant power.
#[test]
fn what_a_node_draws() {
    let text = FIFTY.replace("draw 60 mA", "draw 60 mA; idle 1 mA");
    let dimmed = format!("display \"d\" {{ dim to 50 % }}\n{text}");
    near(only(&text).port_ua, 50 * 61_000, 1);
    near(only(&dimmed).port_ua, 50 * 31_000, 1);
    // The port's level is over the display's.
    let port = dimmed.replace("fuse 7 A } }", "fuse 7 A; dim to 10 % } }");
    near(only(&port).port_ua, 50 * 7_000, 1);
    let power = FIFTY.replace("draw 60 mA", "draw 0.72 W");
    near(only(&power).port_ua, 3_056_390, 10);
    near(only(&power).lowest.unwrap().uv, 11_672_022, 10);
    let compiled = one(&dimmed);
    let full = power::at(&compiled.model, &compiled.plan, Some(100_000));
    near(full.sections.as_slice()[0].port_ua, 50 * 61_000, 1);
}

/// Warm conductors take more.
#[test]
fn conductors_have_a_temperature() {
    let text = format!("display \"d\" {{ conductors at 75 C }}\n{FIFTY}");
    // Copper at 75 °C has 1.21615 times its resistance at 20 °C.
    near(only(&text).lowest.unwrap().uv, 12_000_000 - 389_777, 3);
}

/// Skips and leads are conductors too, and the chain is one ladder.
#[test]
fn chains_are_one_ladder() {
    let text = FIFTY
        .replace(
            "prop arch { node dot; string 50 nodes }",
            "prop arch * 2 { node dot; string 25 nodes }",
        )
        .replace("wire pier.1: arch", "wire pier.1: arch[1] -> arch[2]");
    near(only(&text).lowest.unwrap().uv, 12_000_000 - 320_501, 2);
    // Ten dark nodes between: 25 nodes' current through ten segments more.
    let skip = text.replace("-> arch[2]", "-> skip 10 -> arch[2]");
    let segment = 12_000_000 - 320_501 - (10.0 * 25.0 * 0.06 * 0.004_189_7 * 1e6) as i64;
    near(only(&skip).lowest.unwrap().uv, segment, 60);
    // A lead of 18 AWG as long as ten pitches does the same.
    let lead = text.replace("-> arch[2]", "-> lead 1 m of 18 AWG -> arch[2]");
    near(only(&lead).lowest.unwrap().uv, only(&skip).lowest.unwrap().uv, 1);
    // A string of runs is the same as the chain.
    let runs = FIFTY.replace("string 50 nodes", "string: 25 nodes -> skip 10 -> 25 nodes");
    near(only(&runs).lowest.unwrap().uv, only(&skip).lowest.unwrap().uv, 1);
    // What is stored is not there.
    let stored = format!("{text}stored arch[2]\n");
    near(only(&stored).port_ua, 1_500_000, 1);
}

/// `apart` cuts the plus: two lines, each with its own feed.
#[test]
fn apart_cuts() {
    let text = format!(
        "{FIFTY}supply tree {{ volts 12 V; rated 50 W }}\ninject arch at node 31 from tree through 0 m of 12 AWG fuse 5 A apart\n"
    );
    let compiled = one(&text);
    assert!(compiled.findings.is_empty(), "{}", told(&compiled));
    let study = study(&compiled);
    let [port, cut] = study.sections.as_slice() else { panic!() };
    near(port.port_ua, 30 * 60_000, 1);
    near(cut.drawn_ua, 20 * 60_000, 1);
    assert_eq!((cut.port_ua, cut.fuse), (0, None));
    near(study.taps[0].ua, 20 * 60_000, 1);
    assert_eq!(study.supplies.len(), 2);
    near(study.supplies.as_slice()[1], 20 * 60_000, 1);
    // The cut is before node 31, which has no segment of its own then: 19 are left.
    let drop = (0.06 * 0.004_189_555 * 19.0 * 20.0 / 2.0 * 1e6) as i64;
    near(cut.lowest.unwrap().uv, 12_000_000 - drop, 5);
}

/// Where two `apart` feeds meet between strings, the first string keeps what feeds its port, even if
/// nothing on it is known to draw.
#[test]
fn a_string_that_draws_nothing_keeps_its_feed() {
    let text = "supply one { volts 12 V; rated 300 W }\n\
        node mute { chip ws2811; colour RGB; volts 12 V; pitch 50 mm; gauge 18 AWG }\n\
        node dot { chip ws2811; colour RGB; volts 12 V; draw 20 mA; pitch 50 mm; gauge 18 AWG }\n\
        prop arch { node mute; string 50 nodes }\nprop bow { node dot; string 50 nodes }\n\
        controller pier { ports 1..2 { volts 12 V; fuse 5 A } }\nwire pier.1: arch -> bow\n\
        power pier.1 from one through 1 m of 16 AWG fuse 5 A\n\
        inject arch at end from one through 1 m of 16 AWG fuse 5 A apart\n\
        inject bow at start from one through 1 m of 16 AWG fuse 5 A apart\n";
    let study = study(&one(text));
    let [arch, bow] = study.sections.as_slice() else { panic!("{:?}", study.sections) };
    assert!(matches!(arch.from, From::Power(_)) && arch.silent == 50, "{arch:?}");
    near(arch.port_ua, 0, 500_000);
    near(bow.drawn_ua, 1_000_000, 1);
    let two = text.replace("node mute {", "supply two { volts 12 V; rated 300 W }\nnode mute {");
    let two = one(&two.replace("end from one", "end from two"));
    assert!(codes(&two.findings).contains(&"power/parallel"), "{}", told(&two));
}

/// Each receiver's port is a beginning of its own, and ports of one lead pull each other down.
#[test]
fn receivers_and_shared_leads() {
    let compiled = one("\
node dot { chip ws2811; colour RGB; volts 12 V; draw 50 mA; pitch 0.001 mm; gauge 4 AWG }
prop duck * 4 { node dot; string 20 nodes }
controller pier { ports 1..4 { volts 12 V } }
receiver pond { carries pier.1..4 }
receiver jetty { carries pier.1..4 }
wire pond.1: duck[1]
wire pond.2: duck[2]
wire jetty.1: duck[3..4]
supply shed { volts 12 V; rated 100 W }
power pond.1..4 from shed through 10 m of 1.5 mm2 fuse 10 A
power jetty.1..4 from shed through 20 m of 1.5 mm2 fuse 10 A
");
    assert!(compiled.findings.is_empty(), "{}", told(&compiled));
    let study = study(&compiled);
    let volts: Vec<i64> = study.sections.iter().map(|section| section.lowest.unwrap().uv).collect();
    // IEC 60228: 13.3 ohm a kilometre, so 0.266 ohm there and back for 10 m; 2 A of both ports.
    assert_eq!(volts, [12_000_000 - 532_000, 12_000_000 - 1_064_000, 12_000_000 - 532_000]);
    let feeds: Vec<i64> = study.feeds.iter().map(|feed| feed.ua).collect();
    assert_eq!(feeds, [2_000_000, 2_000_000]);
}

/// A display without supply, fuse and circuit has no findings about power, whatever its nodes draw.
#[test]
fn what_says_nothing_of_power_hears_nothing() {
    let compiled = one("\
node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; pitch 100 mm; gauge 24 AWG }
prop arch { node dot; string 600 nodes }
controller pier { ports 1..4 { volts 12 V } }
wire pier.1: arch
");
    assert!(compiled.findings.is_empty(), "{}", told(&compiled));
}

/// An unknown name is reported once, and nothing that would only follow from it.
#[test]
fn an_unresolved_feed_is_told_once() {
    let text = FIFTY.replace("power pier.1..4 from shed", "power pier.1..4 from shad");
    let compiled =
        one(&format!("{text}power pier.3..4 from shed through 0 m of 12 AWG fuse 5 A\n"));
    assert_eq!(codes(&compiled.findings), ["name/unknown"], "{}", told(&compiled));
}

/// Errors of power never suppress the table.
#[test]
fn power_blocks_nothing() {
    for rule in rules::ALL.iter().filter(|rule| rule.code.starts_with("power/")) {
        assert!(!one(rule.page.wrong).blocks(), "{}", rule.code);
    }
}

/// Huge lines are left out and not solved.
#[test]
fn huge_lines_are_left_out() {
    let text = FIFTY
        .replace("string 50 nodes", "string 9_000_000 nodes")
        .replace("chip ws2811", "chip apa102")
        .replace("controller pier {", "controller pier { input ddp;");
    let text = format!("{text}inject arch every 1 nodes from shed through 1 m of 18 AWG\n");
    let compiled = one(&text);
    let study = study(&compiled);
    assert!(study.sections.as_slice()[0].left_out && study.taps.len() <= 10_000);
}

/// A line with too many supplies is not solved, and `volts` is not what it lacks.
#[test]
fn too_many_supplies_are_no_missing_voltage() {
    let mut text = FIFTY.to_owned();
    for at in 1..50 {
        text.push_str(&format!(
            "supply s{at} {{ volts 12 V }}\n\
             inject arch at node {at} from s{at} through 1 m of 18 AWG fuse 5 A apart\n"
        ));
    }
    let compiled = one(&text);
    let found = compiled.findings.iter().find(|one| one.code == "power/unchecked").unwrap();
    assert!(found.message.contains("50 nodes on lines with too many"), "{}", found.message);
    assert!(!found.help.contains("volts"), "{}", found.help);
}

/// What would feed a port is a supply of its voltage, else the first.
#[test]
fn a_supply_without_a_voltage_is_not_preferred() {
    let text = "supply one { volts 12 V }\nsupply two { }\nsupply three { volts 5 V }\n\
        node dot { chip ws2811; colour RGB; draw 2 mA }\nprop arch { node dot; string 9 nodes }\n\
        controller pier { ports 1..2 { } }\nwire pier.1: arch\n";
    for (chip, supply) in [("ws2811", "one"), ("ws2811; volts 5 V", "three")] {
        let compiled = one(&text.replace("ws2811", chip));
        let found = compiled.findings.iter().find(|one| one.code == "power/unfed").unwrap();
        assert!(found.help.contains(&format!("from {supply} ")), "{}", found.help);
    }
}

/// The goldens and the page of a rule, each one text.
fn cases(code: &str) -> Vec<(String, String)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/diagnostics").join(code);
    let mut paths: Vec<_> =
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    let texts = paths
        .into_iter()
        .filter(|path| path.extension().is_some_and(|ending| ending == "tinsel"))
        .map(|path| (path.display().to_string(), std::fs::read_to_string(&path).unwrap()));
    let page = (format!("{code}'s page"), rules::find(code).unwrap().page.wrong.to_owned());
    texts.chain([page]).collect()
}

fn ticked(help: &str) -> Vec<&str> {
    help.split('`').skip(1).step_by(2).collect()
}

fn faults(compiled: &Compiled, code: &str) -> usize {
    let all = compiled.findings.iter();
    all.filter(|finding| finding.code == code && finding.severity == Severity::Error).count()
}

/// Each help of `power/voltage`, applied alone, helps its line and brings no new finding.
#[test]
fn each_cure_of_a_low_voltage_cures() {
    let (mut injected, mut leads, mut levels) = (0, 0, 0);
    for (name, text) in cases("power/voltage") {
        let before = one(&text);
        let all = before.findings.iter();
        for finding in all.filter(|finding| finding.severity == Severity::Error) {
            let at = finding.labels[0].span;
            let cured = |text: &str, what: &str| {
                let after = one(text);
                let mut errors = after.findings.iter();
                let own = errors
                    .any(|other| other.severity == Severity::Error && other.labels[0].span == at);
                assert!(!own, "{name}: {what}\n{}", told(&after));
                let low = faults(&before, "power/voltage");
                assert!(faults(&after, "power/voltage") < low, "{name}: {what}");
                let mut others = after.findings.iter();
                let new = others.any(|finding| finding.code != "power/voltage");
                assert!(!new, "{name}: {what}\n{}", told(&after));
            };
            if finding.help.contains("both lines share a lead") {
                continue;
            }
            let parts = ticked(&finding.help);
            let statements: Vec<&str> =
                parts.iter().copied().filter(|part| part.starts_with("inject ")).collect();
            assert!(!statements.is_empty(), "{name}: {}", finding.help);
            cured(&format!("{text}{}\n", statements.join("\n")), "inject");
            injected += 1;
            if let Some((_, rest)) = finding.help.split_once("a lead of ") {
                let size: Vec<&str> = rest.split([' ', ';']).take(2).collect();
                let mut lines = text.lines();
                let line = lines.find(|line| line.starts_with("power ")).unwrap();
                let (head, tail) = line.split_once(" of ").unwrap();
                let fuse = tail.find(" fuse ").map_or("", |at| &tail[at..]);
                let thicker = format!("{head} of {}{fuse}", size.join(" "));
                cured(&text.replace(line, &thicker), "lead");
                leads += 1;
            }
            if let Some(level) = parts.iter().find(|part| part.starts_with("dim to ")) {
                let mut ports = parts.iter();
                let port =
                    ports.find(|part| part.starts_with("pier.") || part.starts_with("pond."));
                let (_, number) = port.unwrap().split_once('.').unwrap();
                let mut lines = text.lines();
                let line = lines.find(|line| line.starts_with("controller ")).unwrap();
                let more = format!("; port {number} {{ {level} }} }}");
                let dimmed = line.trim_end_matches('}').trim_end().to_owned() + &more;
                cured(&text.replace(line, &dimmed), level);
                levels += 1;
            }
        }
    }
    assert!(injected >= 4 && leads >= 1 && levels >= 4, "{injected} {leads} {levels}");
}

/// What is suggested for the goldens of all rules about power brings nothing new when it is pasted,
/// and no line is under its floor after that.
#[test]
fn suggestions_for_goldens_are_clean() {
    let mut tried = 0;
    let codes = rules::ALL.iter().map(|rule| rule.code);
    for (name, text) in codes.filter(|code| code.starts_with("power/")).flat_map(cases) {
        let before = one(&text);
        let suggestions = before.suggest(None);
        let all: Vec<String> = suggestions
            .iter()
            .flat_map(|one| &one.inject)
            .map(|remedy| tinsel::usage::inject_statement(&before.model, remedy))
            .collect();
        if all.is_empty() {
            continue;
        }
        tried += 1;
        let after = one(&format!("{text}\n{}\n", all.join("\n")));
        let refused = suggestions.iter().any(|one| one.inject.is_empty());
        let dark = faults(&after, "power/voltage");
        assert!(dark == 0 || refused, "{name}: {all:?}\n{}", told(&after));
        for finding in &after.findings {
            let mut same = before.findings.iter();
            let old = same.any(|other| {
                (other.code, other.labels[0].span) == (finding.code, finding.labels[0].span)
            });
            assert!(old, "{name}: {all:?}\n{}", told(&after));
        }
        assert!(refused || after.suggest(None).is_empty(), "{name}: {all:?}");
    }
    assert!(tried >= 8, "{tried}");
}
