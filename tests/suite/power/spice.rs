//! Ladders against ngspice, a circuit simulator that knows nothing of ours.
//!
//! `tests/power/ladders.txt` holds random ladders and the voltages that ngspice 39 gave for them:
//! one to four feeds, constant current, constant power and both, and some that are asked for so
//! much that nodes go dark. Where ngspice is installed (or `NGSPICE` names it) they are solved
//! anew. To draw and record them again: `RECORD_LADDERS=1 cargo test --test suite spice`.

use super::ladder::{Ladder, Point, Solved, Source, Tap, solve};
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use tinsel::power::network::Draw;

/// How many ladders are drawn: the first [`BRIGHT`] keep all nodes over their floor.
const BRIGHT: usize = 200;
const DARK: usize = 40;

/// The most that ours may differ, in volts.
const WITHIN: f64 = 1e-3;

/// A stretch of equal points: how many, segment in ohm, amperes, watts, floor in volts.
type Stretch = (usize, f64, f64, f64, f64);

/// A ladder as it is written down.
#[derive(Debug, Clone, PartialEq)]
struct Case {
    stretches: Vec<Stretch>,
    /// Point, volts, ohm.
    feeds: Vec<(usize, f64, f64)>,
}

impl Case {
    fn ladder(&self) -> Ladder {
        let points = self.stretches.iter().flat_map(|(count, ohms, amps, watts, floor)| {
            let draw = Draw { amps: *amps, watts: *watts, floor: *floor };
            vec![Point { ohms: *ohms, draw }; *count]
        });
        let taps = self.feeds.iter().map(|(at, volts, ohms)| Tap {
            at: *at,
            source: Source { volts: *volts, ohms: *ohms },
        });
        Ladder { points: points.collect(), taps: taps.collect() }
    }

    /// Solved as taps of a ladder; where the first feed is at the start, also with it as a trunk.
    fn solved(&self) -> Vec<Solved> {
        let mut ladder = self.ladder();
        let mut all = vec![solve(None, std::slice::from_ref(&ladder)).0.remove(0)];
        if ladder.taps[0].at == 0 {
            let trunk = ladder.taps.remove(0).source;
            all.push(solve(Some(trunk), &[ladder]).0.remove(0));
        }
        all
    }

    fn netlist(&self) -> String {
        let ladder = self.ladder();
        let mut text = String::from("* a ladder\n");
        for (at, (point, volts, ohms)) in self.feeds.iter().enumerate() {
            // Writing to a String can't fail; so below.
            let _ = writeln!(text, "V{at} s{at} 0 DC {volts}\nRS{at} s{at} n{point} {ohms}");
        }
        for (at, point) in ladder.points.iter().enumerate() {
            let (node, Draw { amps, watts, floor }) = (at + 1, point.draw);
            let full = format!("{amps}+{watts}/v(n{node})");
            let under = format!("{}*v(n{node})", (amps + watts / floor) / floor);
            let _ = writeln!(text, "R{node} n{at} n{node} {}", point.ohms);
            let _ = writeln!(text, "B{node} n{node} 0 I=v(n{node})<{floor} ? {under} : {full}");
            let _ = writeln!(text, ".nodeset v(n{node})={}", self.feeds[0].1);
        }
        text.push_str(".options reltol=1e-9 abstol=1e-12 vntol=1e-12 itl1=2000 gmin=1e-15\n.control\nop\nset numdgt=9\n");
        for node in 0..=ladder.points.len() {
            let _ = writeln!(text, "print v(n{node})");
        }
        text.push_str("quit\n.endc\n.end\n");
        text
    }

    fn text(&self) -> String {
        let mut text = String::new();
        for (count, ohms, amps, watts, floor) in &self.stretches {
            let _ = writeln!(text, "points {count} {ohms} {amps} {watts} {floor}");
        }
        for (at, volts, ohms) in &self.feeds {
            let _ = writeln!(text, "feed {at} {volts} {ohms}");
        }
        text
    }
}

/// An xorshift generator: the same ladders every time.
pub struct Random(pub u64);

impl Random {
    pub fn next(&mut self, below: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % below
    }

    /// A round figure, so that the file reads well.
    fn between(&mut self, from: u64, to: u64, scale: f64) -> f64 {
        (from + self.next(to - from + 1)) as f64 / scale
    }
}

fn draw(random: &mut Random, dark: bool) -> Case {
    let volts = [5.0, 12.0, 24.0][random.next(3) as usize];
    let kind = random.next(3);
    let stretches: Vec<Stretch> = (0..=random.next(3))
        .map(|_| {
            let count = 1 + random.next(if dark { 18 } else { 14 }) as usize;
            let ohms = random.between(5, 200, 10_000.0) * if dark { 6.0 } else { 1.0 };
            // What a node draws is bounded by its voltage, so that a bright line stays so.
            let most = volts * 4.0;
            let amps = random.between(1, most as u64, 1_000.0);
            let watts = random.between(1, most as u64, 1_000.0) * volts;
            let more = if dark { 6.0 } else { 1.0 };
            let (amps, watts) = match kind {
                0 => (amps, 0.0),
                1 => (0.0, watts),
                _ => (amps / 2.0, watts / 2.0),
            };
            let floor = volts * if dark { 0.8 } else { 0.5 };
            (count, round(ohms), round(amps * more), round(watts * more), floor)
        })
        .collect();
    let points: usize = stretches.iter().map(|stretch| stretch.0).sum();
    let mut feeds = vec![(0, volts, random.between(0, 300, 1_000.0).max(0.001))];
    for _ in 0..random.next(4) {
        let at = random.next(points as u64 + 1) as usize;
        feeds.push((at, volts, random.between(1, 500, 1_000.0)));
    }
    feeds.sort_by_key(|feed| feed.0);
    Case { stretches, feeds }
}

fn round(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// Ladders with all nodes over their floor, and with some under it, by the recorded answers.
fn drawn() -> Vec<Case> {
    let mut random = Random(0x5eed_1add_e125_0001);
    let mut cases = Vec::new();
    while cases.len() < BRIGHT + DARK {
        let dark = cases.len() >= BRIGHT;
        let case = draw(&mut random, dark);
        let ladder = case.ladder();
        let solved = case.solved().remove(0);
        let under = ladder
            .points
            .iter()
            .zip(&solved.volts[1..])
            .any(|(point, volts)| *volts < point.draw.floor);
        if under == dark {
            cases.push(case);
        }
    }
    cases
}

pub fn spice() -> Option<PathBuf> {
    if let Some(named) = std::env::var_os("NGSPICE") {
        return Some(named.into());
    }
    let found = Command::new("ngspice").arg("--version").output();
    found.is_ok_and(|out| out.status.success()).then(|| "ngspice".into())
}

/// The voltages that ngspice gives, from the start on.
fn ask(spice: &Path, folder: &Path, case: &Case) -> Vec<f64> {
    let file = folder.join("ladder.cir");
    std::fs::write(&file, case.netlist()).unwrap();
    let out = Command::new(spice).arg("-b").arg(&file).output().unwrap();
    let text = String::from_utf8_lossy(&out.stdout);
    let volts: Vec<f64> = text
        .lines()
        .filter_map(|line| line.strip_prefix("v(n")?.split_once(" = "))
        .map(|(_, volts)| volts.trim().parse().unwrap())
        .collect();
    let points: usize = case.stretches.iter().map(|stretch| stretch.0).sum();
    assert_eq!(volts.len(), points + 1, "ngspice said\n{text}\nof\n{}", case.netlist());
    volts
}

fn file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/power/ladders.txt")
}

/// The recorded ladders with the answers.
fn recorded() -> Vec<(Case, Vec<f64>)> {
    let text = std::fs::read_to_string(file()).unwrap();
    let mut cases: Vec<(Case, Vec<f64>)> = Vec::new();
    for line in text.lines().filter(|line| !line.starts_with('#')) {
        let mut words = line.split(' ');
        let head = words.next().unwrap();
        let numbers: Vec<f64> = words.map(|word| word.parse().unwrap()).collect();
        if head == "ladder" {
            cases.push((Case { stretches: Vec::new(), feeds: Vec::new() }, Vec::new()));
        }
        let Some((case, volts)) = cases.last_mut() else {
            continue;
        };
        match (head, numbers.as_slice()) {
            ("points", [count, ohms, amps, watts, floor]) => {
                case.stretches.push((*count as usize, *ohms, *amps, *watts, *floor));
            }
            ("feed", [at, source, ohms]) => case.feeds.push((*at as usize, *source, *ohms)),
            ("volts", all) => volts.extend(all),
            _ => {}
        }
    }
    cases
}

fn largest(cases: &[(Case, Vec<f64>)]) -> f64 {
    let mut largest = 0.0_f64;
    for (at, (case, volts)) in cases.iter().enumerate() {
        for ours in case.solved() {
            assert_eq!(ours.volts.len(), volts.len(), "ladder {at}");
            for (ours, theirs) in ours.volts.iter().zip(volts) {
                let apart = (ours - theirs).abs();
                assert!(apart < WITHIN, "ladder {at}: {ours} and {theirs} V\n{}", case.text());
                largest = largest.max(apart);
            }
        }
    }
    largest
}

#[test]
fn spice_agrees_as_recorded() {
    let cases = recorded();
    assert_eq!(cases.len(), BRIGHT + DARK);
    let feeds = |count| cases.iter().filter(|(case, _)| case.feeds.len() == count).count();
    assert!((1..=4).all(|count| feeds(count) >= 20), "one to four feeds");
    let power = |case: &Case| case.stretches.iter().any(|stretch| stretch.3 > 0.0);
    let powered = cases.iter().filter(|(case, _)| power(case)).count();
    assert!(powered >= 80 && cases.len() - powered >= 40, "both kinds of draw");
    let largest = largest(&cases);
    // Seen: 4e-10 V. The file holds nine digits.
    assert!(largest < 1e-6, "{largest}");
}

#[test]
fn spice_agrees_now() {
    let Some(spice) = spice() else { return };
    let folder = std::env::temp_dir().join(format!("tinsel-spice-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let record = std::env::var_os("RECORD_LADDERS").is_some();
    let cases =
        if record { drawn() } else { recorded().into_iter().map(|(case, _)| case).collect() };
    let solved: Vec<(Case, Vec<f64>)> = cases
        .into_iter()
        .map(|case| {
            let volts = ask(&spice, &folder, &case);
            (case, volts)
        })
        .collect();
    if record {
        let mut text = String::from(
            "# Ladders and the voltages that ngspice gave for them, from the start on; see tests/suite/power/spice.rs.\n\
             # points: how many, segment in ohm, amperes, watts, floor in volts. feed: point, volts, ohm.\n",
        );
        for (at, (case, volts)) in solved.iter().enumerate() {
            let volts: Vec<String> = volts.iter().map(|volts| format!("{volts:.9}")).collect();
            let _ = writeln!(text, "ladder {at}\n{}volts {}", case.text(), volts.join(" "));
        }
        std::fs::write(file(), text).unwrap();
    }
    let line = format!("largest difference to ngspice: {:e} V\n", largest(&solved));
    std::io::stdout().write_all(line.as_bytes()).unwrap();
    // The folder is in the temporary directory; what is left of it harms nothing.
    let _ = std::fs::remove_dir_all(&folder);
}
