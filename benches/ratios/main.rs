//! `cargo bench --bench ratios`: speed and memory as ratios, measured side by side in one run.
//!
//! The program as it is shipped is timed as a whole process: against an empty process, against the
//! parser library's own pass over the same text (this program with `--pairs`), and against two
//! other tools that assign addresses, if they are installed. Each line has the ratio and its
//! bounds.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::indexing_slicing,
    reason = "a measurement that can't be made stops the run"
)]

mod display;
mod peers;
mod process;

use process::{Program, median_ratio, medians};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::sync::LazyLock;
use std::time::{Duration, Instant};
use tinsel::output;
use tinsel::plan::Placed;
use tinsel::source::{Files as _, Memory};
use tinsel::survey::View;
use tinsel::{Compiled, usage};

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    match arguments.get(1).map(String::as_str) {
        // The empty process, where there is no compiler to make a smaller one.
        Some("--empty") => {}
        Some("--pairs") => {
            let text = std::fs::read_to_string(&arguments[2]).unwrap();
            let pairs = tinsel::syntax::parse_to_pairs_count(&text);
            assert!(pairs.is_some_and(|pairs| pairs > 0), "the text does not parse");
        }
        _ => measure(),
    }
}

/// The program that is measured: as it is shipped.
static TINSEL: LazyLock<PathBuf> = LazyLock::new(|| {
    shipped().unwrap_or_else(|| {
        say("# `cargo ship` fails here: measured as `cargo bench` makes it");
        PLAIN.into()
    })
});

/// The program as `cargo bench` makes it: optimised alike, but linked to the machine's libraries.
const PLAIN: &str = env!("CARGO_BIN_EXE_tinsel");

/// The program as `cargo ship` makes it.
fn shipped() -> Option<PathBuf> {
    let cargo = std::env::var("CARGO").ok()?;
    let made = std::process::Command::new(cargo)
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["ship", "--quiet", "--bin", "tinsel", "--target-dir", "target/ship"])
        .args(["--message-format", "json-render-diagnostics"])
        .stderr(std::process::Stdio::inherit())
        .output()
        .ok()?;
    // Cargo's last artifact with an executable is the program.
    let told = String::from_utf8(made.stdout).ok()?;
    let path = told.lines().rev().find_map(|line| {
        let line: serde_json::Value = serde_json::from_str(line).ok()?;
        Some(PathBuf::from(line.get("executable")?.as_str()?))
    });
    path.filter(|_| made.status.success())
}

fn say(line: &str) {
    let mut out = std::io::stdout().lock();
    // If the output was closed, nobody reads on.
    let _ = writeln!(out, "{line}").and_then(|()| out.flush());
}

/// One line of the answer.
fn row(what: &str, got: f64, unit: &str, must: f64, goal: f64) {
    let verdict = if got <= goal {
        "goal met"
    } else if got <= must {
        "within the bound"
    } else {
        "OVER"
    };
    say(&format!("{what:<66} {got:>7.2} {unit:<5} (must {must}, goal {goal}) {verdict}"));
}

/// The same where more is better.
fn faster(what: &str, got: f64, must: f64, goal: f64) {
    let verdict = if got >= goal {
        "goal met"
    } else if got >= must {
        "within the bound"
    } else {
        "UNDER"
    };
    say(&format!("{what:<66} {got:>7.1} x     (must {must}, goal {goal}) {verdict}"));
}

/// A display with a number of props, written into a folder.
fn written(folder: &Path, props: usize) -> PathBuf {
    put(folder.join(format!("d{props}.tinsel")), props, display::text(props))
}

/// A display in its file; it must compile without a finding.
fn put(path: PathBuf, props: usize, text: String) -> PathBuf {
    std::fs::write(&path, &text).unwrap();
    let run = check(&path).output();
    let told = String::from_utf8_lossy(&run.stderr).into_owned();
    assert!(run.status.success() && !told.contains('['), "{told}");
    say(&format!("# {props} props: {} bytes, {} lines", text.len(), text.lines().count()));
    path
}

fn check(path: &Path) -> Program {
    Program::new(&*TINSEL).arg("check").arg(path)
}

fn csv(path: &Path) -> Program {
    Program::new(&*TINSEL).args(["table", "--format", "csv"]).arg(path)
}

fn pairs(path: &Path) -> Program {
    Program::new(std::env::current_exe().unwrap()).arg("--pairs").arg(path)
}

fn measure() {
    let folder = std::env::temp_dir().join(format!("tinsel-ratios-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    let [small, middle, large] = [300, 10_000, 100_000].map(|props| written(&folder, props));

    start(&small, &empty_process(&folder));
    let ratio = median_ratio(&check(&middle), &pairs(&middle), 30);
    row("check of 10,000 props / pest's parse to pairs", ratio, "x", 1.5, 1.2);
    power(&folder, &middle);
    locked(&folder, &middle);
    whole_space(&large);
    let times = medians(&[&csv(&middle), &csv(&large)], 7);
    let growth = times[1].as_secs_f64() / times[0].as_secs_f64();
    row("csv of 100,000 props / of 10,000", growth, "x", 13.0, 11.0);
    let ours = times[0].as_secs_f64();
    match peers::assembler(&folder, 10_000) {
        Some(peer) => {
            let ratio = peer.as_secs_f64() / ours;
            faster("GNU as + ld, text to map, 10,000 / csv of 10,000", ratio, 2.0, 4.0);
        }
        None => say("GNU as + ld: skipped, not installed"),
    }
    match peers::registers(&folder, 10_000) {
        Some(peer) => {
            let ratio = peer.as_secs_f64() / ours;
            faster("systemrdl-compiler, 10,000 / csv of 10,000", ratio, 80.0, 160.0);
        }
        None => say("systemrdl-compiler: skipped, not installed"),
    }
    overlaps();
    formats(&large);
    // A folder left in the temporary directory does no harm.
    let _ = std::fs::remove_dir_all(&folder);
}

/// A small display: most of the time goes into starting a process.
fn start(small: &Path, empty: &Program) {
    let plain = Program::new(PLAIN).arg("check").arg(small);
    let times = medians(&[empty, &check(small), &plain], 500);
    let ratio = |at: usize| times[at].as_secs_f64() / times[0].as_secs_f64();
    row("check of 300 props / an empty process", ratio(1), "x", 2.5, 1.5);
    say(&format!("# linked to the libraries of the machine: {:.2} x", ratio(2)));
}

/// The same display with power: 11,250 strings, each node a segment of its line.
fn power(folder: &Path, plain: &Path) {
    let path = folder.join("powered.tinsel");
    let powered = put(path, 10_000, display::powered(10_000));
    let ratio = median_ratio(&check(&powered), &check(plain), 30);
    row("check of 10,000 props with power / without", ratio, "x", 2.0, 1.5);
}

/// The same display around its lock, with one string longer: the lock is read, strings are kept,
/// moves are reported.
fn locked(folder: &Path, plain: &Path) {
    let folder = folder.join("locked");
    std::fs::create_dir_all(&folder).unwrap();
    let path = folder.join("yard.tinsel");
    let text = std::fs::read_to_string(plain).unwrap();
    std::fs::write(&path, &text).unwrap();
    let built = Program::new(&*TINSEL).args(["build", "--quiet"]).arg(&path).output();
    assert!(built.status.success() && folder.join("yard.lock").exists());
    let at = text.find("string 100 nodes").unwrap();
    let longer = format!("{}string 101 nodes{}", &text[..at], &text[at + 16..]);
    std::fs::write(&path, longer).unwrap();
    let ratio = median_ratio(&check(&path), &check(plain), 30);
    row("check of 10,000 props around a lock / without", ratio, "x", 2.0, 1.5);
}

/// 100,000 props, which fill nearly all universes there are.
fn whole_space(path: &Path) {
    let rows = csv(path).output().stdout;
    let lines = rows.iter().filter(|byte| **byte == b'\n').count();
    // One prop in eight has two strings; one line is the head.
    assert_eq!(lines, 100_000 + 100_000 / 8 + 1, "a row for each string");
    let ratio = median_ratio(&csv(path), &pairs(path), 7);
    row("100,000 props to csv / pest's parse to pairs", ratio, "x", 2.0, 1.3);
    let text = std::fs::metadata(path).unwrap().len();
    match csv(path).peak_bytes(rows.len()) {
        Some(peak) => {
            let each = peak.saturating_sub(text) as f64 / 100_000.0 / 1_000.0;
            row("peak memory there above the text, a prop", each, "kB", 1.5, 0.8);
        }
        None => say("peak memory: skipped, this system has no /proc/PID/status"),
    }
}

/// An empty program: made now, or this one with `--empty`.
fn empty_process(folder: &Path) -> Program {
    let (source, made) = (folder.join("empty.rs"), folder.join("empty"));
    std::fs::write(&source, "fn main() {}\n").unwrap();
    let compiler = std::env::var("RUSTC").unwrap_or_else(|_| "rustc".to_owned());
    let status = std::process::Command::new(compiler)
        .args(["-O", "-C", "strip=symbols", "-C", "panic=abort", "-o"])
        .arg(&made)
        .arg(&source)
        .status();
    if status.is_ok_and(|status| status.success()) {
        Program::new(made)
    } else {
        say("# no rustc: the empty process is this program doing nothing");
        Program::new(std::env::current_exe().unwrap()).arg("--empty")
    }
}

/// The search for overlaps in a million strings in random order, of which one in a thousand
/// overlaps.
fn overlaps() {
    const STRINGS: u64 = 1_000_000;
    let mut compiled = compiled(
        "node n { chip ws2811; colour RGB }\ncontroller c { ports 1..2 { } }\n\
         prop p { node n; string 10 nodes }\nwire c.1: p\n",
    );
    let one = compiled.plan.placed.first().copied().flatten().unwrap();
    let string = *compiled.model.strings.first().unwrap();
    compiled.model.strings = vec![string; STRINGS as usize].into();
    compiled.plan.placed = (0..STRINGS)
        .map(|at| {
            let start = at * 30 + 100 - if at % 1_000 == 7 { 5 } else { 0 };
            Some(Placed { start, end: start + 29, ..one })
        })
        .collect();
    shuffle(compiled.plan.placed.as_mut_slice());
    let mut best = Duration::MAX;
    for _ in 0..5 {
        let started = Instant::now();
        let by_start = usage::by_start(&compiled.model, &compiled.plan);
        let found = usage::overlaps(&compiled.model, &compiled.plan, &by_start);
        best = best.min(started.elapsed());
        assert_eq!(found.len() as u64, STRINGS / 1_000);
    }
    let took = best.as_secs_f64() * 1_000.0;
    row("overlaps among 1,000,000 unsorted strings", took, "ms", 66.0, 20.0);
}

/// Puts things in an order that looks random and is always the same (an xorshift generator).
fn shuffle<T>(things: &mut [T]) {
    let mut state = 0x9e37_79b9_7f4a_7c15_u64;
    for at in (1..things.len()).rev() {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        things.swap(at, (state % (at as u64 + 1)) as usize);
    }
}

fn compiled(text: &str) -> Compiled {
    let files = Memory::of("d.tinsel", text);
    tinsel::compile(&files, files.load("", "d.tinsel").unwrap())
}

/// YAML against JSON of the same table, in memory.
fn formats(path: &Path) {
    let compiled = compiled(&std::fs::read_to_string(path).unwrap());
    let view = View::new(&compiled.model, &compiled.plan);
    let time = |name: &str| {
        (0..3)
            .map(|_| {
                let mut out = Vec::with_capacity(200_000_000);
                let started = Instant::now();
                output::find(name).unwrap()(&view.survey(None), 100, &mut out).unwrap();
                started.elapsed()
            })
            .min()
            .unwrap()
    };
    let ratio = time("yaml").as_secs_f64() / time("json").as_secs_f64();
    row("YAML of 100,000 rows / its JSON", ratio, "x", 5.0, 3.0);
}
