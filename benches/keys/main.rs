//! `cargo bench --bench keys`: key presses in a display of 10,000 props in 40 files, in process.
//!
//! 1,022 edits: a prop is typed letter by letter, lines are deleted, fifty lines are pasted, a prop
//! is renamed. After each edit all findings and the hints of its text are made. The time is that of
//! the thread on a processor, so other work on the machine counts little. With `power` the display
//! has supplies and injections, with `lock` a lock. A number sets how many turns of 73 edits are
//! done.

#![allow(
    clippy::unwrap_used,
    clippy::indexing_slicing,
    clippy::print_stdout,
    reason = "a measurement that can't be made stops the run"
)]

#[path = "../ratios/display.rs"]
mod display;

use std::time::Duration;
use tinsel::editor::desk::Desk;
use tinsel::source::{Files, Loaded, Memory};

/// The time that this thread has had on a processor.
fn on_processor() -> Duration {
    let time = rustix::time::clock_gettime(rustix::time::ClockId::ThreadCPUTime);
    Duration::new(time.tv_sec.unsigned_abs(), u32::try_from(time.tv_nsec).unwrap())
}

/// A display cut into texts at every eighth controller, main file first.
fn texts(whole: &str) -> Vec<(String, String)> {
    let mut parts = vec![String::new()];
    let mut controllers = 0;
    for line in whole.lines() {
        if line.starts_with("controller") {
            if controllers % 8 == 0 {
                parts.push(String::new());
            }
            controllers += 1;
        }
        let part = parts.last_mut().unwrap();
        part.push_str(line);
        part.push('\n');
    }
    let named = |(at, part): (usize, String)| (format!("part-{at}.tinsel"), part);
    let mut texts: Vec<(String, String)> = parts.into_iter().enumerate().map(named).collect();
    let includes: String =
        (texts.iter().skip(1)).map(|(name, _)| format!("include \"{name}\"\n")).collect();
    texts[0].1.push_str(&includes);
    texts
}

fn main() {
    let wants = |word: &str| std::env::args().any(|one| one == word);
    let whole = match wants("power") {
        true => display::powered(10_000),
        false => display::text(10_000),
    };
    // One make of node for all: else advice on mixed ports comes 3,000 times at each press.
    let whole =
        whole.replace("{ node bloom;", "{ node bud;").replace("    node bloom\n", "    node bud\n");
    let texts = texts(&whole);
    let mut files =
        texts.iter().fold(Memory::default(), |files, (name, text)| files.with(name, text));
    let main = files.load("", &texts[0].0).unwrap();
    let built = tinsel::compile(&files, main.clone());
    println!("{} files, {} bytes, {} findings", texts.len(), whole.len(), built.findings.len());
    if let Some(first) = built.findings.first() {
        println!("{} {}", first.code, first.message);
    }
    let lock = wants("lock").then(|| Loaded {
        identity: "part-0.lock".to_owned(),
        name: "part-0.lock".to_owned(),
        bytes: built.next_lock().into_bytes(),
    });
    let mut desk = Desk::default();
    desk.compile(&files, main.clone(), lock.clone());
    let mut times: Vec<(Duration, &str)> = Vec::new();
    let mut press = |name: &str, text: &str, what: &'static str| {
        files = std::mem::take(&mut files).with(name, text);
        let start = on_processor();
        desk.compile(&files, main.clone(), lock.clone());
        let findings = desk.findings().len();
        let hints = desk.hints(name).len();
        times.push((on_processor() - start, what));
        std::hint::black_box((findings, hints));
    };
    let typed = "prop arch-new { node bud; string 50 nodes }  # over the gate\n";
    let turns = std::env::args().find_map(|one| one.parse().ok()).unwrap_or(14);
    for turn in 0..turns {
        let (name, text) = &texts[1 + turn * 2 % 39];
        let middle = text.match_indices("\nprop").nth(40).unwrap().0 + 1;
        for length in 1..=typed.len() {
            let now = format!("{}{}{}", &text[..middle], &typed[..length], &text[middle..]);
            press(name, &now, "typing");
        }
        let lines: Vec<&str> = text.lines().collect();
        for at in 0..5 {
            let mut fewer = lines.clone();
            fewer.remove(30 + at * 9);
            press(name, &fewer.join("\n"), "deleting");
        }
        let pasted: String =
            (0..50).map(|n| format!("prop pasted-{n} {{ node bud; string 9 nodes }}\n")).collect();
        press(name, &format!("{text}{pasted}"), "pasting");
        let old = text.split("prop ").nth(3).unwrap().split(' ').next().unwrap();
        for letters in 1..=5 {
            let new = format!("{}{old} ", &"wreath"[..letters]);
            press(name, &text.replace(&format!("{old} "), &new), "renaming");
        }
        press(name, text, "undoing");
    }
    report(&times);
}

/// Prints how long the presses of each kind took.
fn report(times: &[(Duration, &str)]) {
    for what in ["typing", "deleting", "pasting", "renaming", "undoing", ""] {
        let mut own: Vec<Duration> = times
            .iter()
            .filter(|(_, one)| what.is_empty() || *one == what)
            .map(|(time, _)| *time)
            .collect();
        own.sort_unstable();
        let at = |share: usize| own[(own.len() * share / 100).min(own.len() - 1)];
        let name = if what.is_empty() { "all" } else { what };
        println!(
            "{name}: {} presses, half within {:.2?}, 99 % within {:.2?}, longest {:.2?}",
            own.len(),
            at(50),
            at(99),
            own[own.len() - 1]
        );
    }
}
