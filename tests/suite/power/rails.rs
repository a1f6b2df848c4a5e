//! Whole displays against ngspice, with plus and minus as two conductors.
//!
//! `tests/power/rails.txt` holds random displays and what ngspice 39 gave for them: several
//! supplies, several ports of a box, receivers, injections at the start, the end, at nodes and
//! strands, with `apart` and without. The circuit is drawn from the same choices as the display's
//! text (`circuits.rs`, `yards.rs`); it knows nothing of the solver's networks. Where ngspice is
//! installed (or `NGSPICE` names it) it is asked anew. To draw and record them again:
//! `RECORD_RAILS=1 cargo test --test suite rails`.

use super::circuits::{Circuit, Found};
use super::spice::{Random, spice};
use super::yards::{Draw, Yard};
use crate::check::{one, told};
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::process::Command;
use tinsel::loads::Study;
use tinsel::power;

/// How many displays; in those after the first [`BRIGHT`] some nodes are under their floor.
const BRIGHT: usize = 240;
const DARK: usize = 30;

/// The most that ours may differ, in volts and in amperes.
const WITHIN: f64 = 1e-3;

impl Found {
    fn ours(study: &Study) -> Self {
        let micro = |value: i64| value as f64 * 1e-6;
        let mut peaks = vec![(0, 0); study.sections.len()];
        for load in &study.conductors {
            let peak = &mut peaks[load.section.index()];
            *peak = (peak.0.max(load.plus.ua.abs()), peak.1.max(load.minus.ua.abs()));
        }
        let sections = study.sections.iter().zip(peaks).filter_map(|(section, peak)| {
            Some(vec![micro(section.lowest?.uv), micro(peak.0), micro(peak.1)])
        });
        let mut taps: Vec<_> = study.taps.iter().collect();
        taps.sort_by_key(|tap| (tap.injection, tap.after));
        Found {
            sections: sections.collect(),
            feeds: study
                .feeds
                .iter()
                .map(|feed| vec![micro(feed.ua), micro(feed.minus_ua)])
                .collect(),
            taps: taps.iter().map(|tap| vec![micro(tap.ua), micro(tap.minus_ua)]).collect(),
        }
    }

    fn all(&self) -> impl Iterator<Item = &Vec<f64>> {
        self.sections.iter().chain(&self.feeds).chain(&self.taps)
    }

    fn shape(&self) -> (usize, usize, usize) {
        (self.sections.len(), self.feeds.len(), self.taps.len())
    }

    fn text(&self) -> String {
        let rows = |rows: &[Vec<f64>]| {
            let row = |row: &Vec<f64>| {
                row.iter().map(|value| format!("{value:.6}")).collect::<Vec<_>>().join(" ")
            };
            rows.iter().map(row).collect::<Vec<_>>().join(", ")
        };
        format!(
            "# sections {}\n# feeds {}\n# taps {}\n",
            rows(&self.sections),
            rows(&self.feeds),
            rows(&self.taps)
        )
    }
}

/// The display of each draw, and whether it is asked for more than it gets.
fn draws() -> impl Iterator<Item = Yard> {
    let mut random = Random(0x5eed_2a11_5000_0003);
    (0..).map(move |draw: usize| {
        let random = &mut random;
        Draw { random, dark: draw.is_multiple_of(4) }.yard()
    })
}

/// As many draws as are wanted of both kinds, by number: all solved, some nodes under their floor
/// or none.
fn chosen() -> Vec<usize> {
    let (mut bright, mut dark) = (Vec::new(), Vec::new());
    for (draw, yard) in draws().enumerate() {
        let compiled = one(&yard.text());
        let mut findings = compiled.findings.iter();
        let power =
            findings.all(|finding| matches!(finding.code, code if code.starts_with("power/") || code == "name/unused"));
        let study = power::at(&compiled.model, &compiled.plan, None);
        let solved = study.sections.iter().all(|section| !section.left_out);
        assert!(power && solved, "{}\n{}", told(&compiled), yard.text());
        let under = study.sections.iter().any(|section| section.dark.is_some());
        match (under, bright.len() < BRIGHT, dark.len() < DARK) {
            (false, true, _) => bright.push(draw),
            (true, _, true) => dark.push(draw),
            (_, false, false) => break,
            _ => {}
        }
    }
    bright.extend(dark);
    bright
}

/// What ngspice gives.
fn ask(spice: &Path, file: &Path, yard: &Yard) -> Found {
    let circuit = Circuit::of(yard);
    std::fs::write(file, circuit.netlist()).unwrap();
    let out = Command::new(spice).arg("-b").arg(file).output().unwrap();
    let text = String::from_utf8_lossy(&out.stdout);
    let volts: BTreeMap<String, f64> = text
        .lines()
        .filter_map(|line| line.strip_prefix("v(")?.split_once(") = "))
        .map(|(point, volts)| (point.to_owned(), volts.trim().parse().unwrap()))
        .collect();
    assert!(
        volts.len() > circuit.joins.len() / 2,
        "ngspice said\n{text}\nof\n{}",
        circuit.netlist()
    );
    for at in 0..yard.supplies {
        let terminal = |side| volts.get(&format!("s{side}{at}"));
        if let Some((plus, minus)) = terminal('p').zip(terminal('m')) {
            assert!((plus - minus - yard.volts as f64).abs() < 1e-6, "ngspice said\n{text}");
        }
    }
    circuit.read(&volts)
}

fn file() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/power/rails.txt")
}

/// The number of a draw, its display, and what ngspice gave.
type Case = (usize, String, Found);

/// The recorded displays with the answers.
fn recorded() -> Vec<Case> {
    let text = std::fs::read_to_string(file()).unwrap();
    let mut cases: Vec<Case> = Vec::new();
    for line in text.lines() {
        let rows = |text: &str| -> Vec<Vec<f64>> {
            let row =
                |row: &str| row.split_whitespace().map(|word| word.parse().unwrap()).collect();
            text.split(',').filter(|row| !row.trim().is_empty()).map(row).collect()
        };
        if let Some(draw) = line.strip_prefix("# draw ") {
            cases.push((draw.parse().unwrap(), String::new(), Found::default()));
        }
        let Some((_, text, found)) = cases.last_mut() else {
            continue;
        };
        match line.strip_prefix("# ").and_then(|line| line.split_once(' ')) {
            Some(("sections", all)) => found.sections = rows(all),
            Some(("feeds", all)) => found.feeds = rows(all),
            Some(("taps", all)) => found.taps = rows(all),
            Some(_) => {}
            None if !line.starts_with('#') => {
                text.push_str(line);
                text.push('\n');
            }
            None => {}
        }
    }
    cases
}

fn largest(cases: &[Case]) -> f64 {
    let mut largest = 0.0_f64;
    for (at, text, theirs) in cases {
        let compiled = one(text);
        let study = power::at(&compiled.model, &compiled.plan, None);
        let ours = Found::ours(&study);
        assert_eq!(
            ours.shape(),
            theirs.shape(),
            "draw {at}\n{text}\n{}\n{}",
            ours.text(),
            theirs.text()
        );
        for (our, their) in ours.all().flatten().zip(theirs.all().flatten()) {
            let apart = (our - their).abs();
            assert!(
                apart < WITHIN,
                "draw {at}: {our} and {their}\n{text}\n{}\n{}",
                ours.text(),
                theirs.text()
            );
            largest = largest.max(apart);
        }
    }
    largest
}

#[test]
fn spice_agrees_as_recorded() {
    let cases = recorded();
    assert_eq!(cases.len(), BRIGHT + DARK);
    let with = |words: &[&str]| {
        let has = |(_, text, _): &&Case| {
            let mut lines = text.lines();
            lines.any(|line| words.iter().all(|word| line.contains(word)))
        };
        cases.iter().filter(has).count()
    };
    for place in ["at start", "at end", "at node", "every"] {
        assert!(with(&["inject", place]) >= 40, "{place}");
        assert!(with(&["inject", place, "apart"]) >= 20, "{place}");
    }
    for words in
        [&["supply s1"][..], &["receiver"], &["strands from"], &[".2..2"], &[" W; idle"], &["skip"]]
    {
        assert!(with(words) >= 20, "{words:?}");
    }
    // What this is about: a lead whose plus and minus differ.
    let differ = |(.., found): &&Case| {
        let mut leads = found.feeds.iter().chain(&found.taps);
        leads.any(|lead| (lead[0] - lead[1]).abs() > WITHIN)
    };
    assert!(cases.iter().filter(differ).count() >= 120);
    let largest = largest(&cases);
    // The file holds micros.
    assert!(largest < 1e-4, "{largest}");
}

#[test]
fn spice_agrees_now() {
    let Some(spice) = spice() else { return };
    let folder = std::env::temp_dir().join(format!("tinsel-rails-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let record = std::env::var_os("RECORD_RAILS").is_some();
    let known = if record { Vec::new() } else { recorded() };
    let chosen = if record { chosen() } else { known.iter().map(|case| case.0).collect() };
    let last = chosen.iter().max().map_or(0, |last| last + 1);
    let yards: Vec<Yard> = draws().take(last).collect();
    let cases: Vec<Case> = chosen
        .iter()
        .map(|draw| {
            let (yard, file) = (&yards[*draw], folder.join(format!("{draw}.cir")));
            (*draw, yard.text(), ask(&spice, &file, yard))
        })
        .collect();
    let texts = known.iter().map(|case| &case.1);
    assert!(record || cases.iter().map(|case| &case.1).eq(texts), "not what is recorded");
    if record {
        let mut text = String::from(
            "# Displays, and what ngspice gave for them; see tests/suite/power/rails.rs.\n\
             # sections: lowest volts, largest amperes in plus and in minus. feeds, taps: amperes in plus and in minus.\n",
        );
        for (draw, display, found) in &cases {
            let _ = write!(text, "# draw {draw}\n{display}{}", found.text());
        }
        std::fs::write(file(), text).unwrap();
    }
    let line = format!("largest difference to ngspice: {:e}\n", largest(&cases));
    std::io::stdout().write_all(line.as_bytes()).unwrap();
    // The folder is in the temporary directory; what is left of it harms nothing.
    let _ = std::fs::remove_dir_all(&folder);
}
