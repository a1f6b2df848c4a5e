//! Whole processes: their time and their peak memory.

use std::ffi::{OsStr, OsString};
use std::io::Read as _;
use std::process::{Command, Output, Stdio};
use std::time::{Duration, Instant};

/// A program with its arguments.
pub struct Program {
    name: OsString,
    arguments: Vec<OsString>,
}

impl Program {
    /// A program without arguments.
    pub fn new(name: impl AsRef<OsStr>) -> Self {
        Self { name: name.as_ref().to_owned(), arguments: Vec::new() }
    }

    /// With one more argument.
    pub fn arg(mut self, argument: impl AsRef<OsStr>) -> Self {
        self.arguments.push(argument.as_ref().to_owned());
        self
    }

    /// With more arguments.
    pub fn args<const N: usize>(self, arguments: [&str; N]) -> Self {
        arguments.into_iter().fold(self, Self::arg)
    }

    fn command(&self) -> Command {
        let mut command = Command::new(&self.name);
        command.args(&self.arguments).stdin(Stdio::null());
        command
    }

    /// What it prints.
    pub fn output(&self) -> Output {
        self.command().output().unwrap()
    }

    /// How long it takes from start to end; its output goes nowhere.
    pub fn time(&self) -> Duration {
        let mut command = self.command();
        command.stdout(Stdio::null()).stderr(Stdio::null());
        let started = Instant::now();
        let status = command.status().unwrap();
        let took = started.elapsed();
        assert!(status.success(), "{:?} {:?}", self.name, self.arguments);
        took
    }

    /// Its peak memory, for a program that at the end prints `printed` bytes.
    ///
    /// All but the last 200,000 bytes of its output are read. The program then waits for its
    /// reader, with nearly all work done, and the system gives its peak so far.
    pub fn peak_bytes(&self, printed: usize) -> Option<u64> {
        let mut child = self.command().stdout(Stdio::piped()).spawn().unwrap();
        let mut stream = child.stdout.take().unwrap();
        let mut most = vec![0; printed.saturating_sub(200_000)];
        stream.read_exact(&mut most).unwrap();
        std::thread::sleep(Duration::from_millis(50));
        let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).ok();
        let mut rest = Vec::new();
        stream.read_to_end(&mut rest).unwrap();
        child.wait().unwrap();
        let status = status?;
        let line = status.lines().find(|line| line.starts_with("VmHWM:"))?;
        let kibibytes: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
        Some(kibibytes * 1_024)
    }
}

/// The median time of each, run in turn so that noise affects all alike.
pub fn medians(programs: &[&Program], rounds: usize) -> Vec<Duration> {
    let mut times = vec![Vec::with_capacity(rounds); programs.len()];
    for _ in 0..rounds {
        for (program, times) in programs.iter().zip(&mut times) {
            times.push(program.time());
        }
    }
    times
        .into_iter()
        .map(|mut times| {
            times.sort_unstable();
            times[times.len() / 2]
        })
        .collect()
}

/// The median time of one divided by that of the other.
pub fn median_ratio(one: &Program, other: &Program, rounds: usize) -> f64 {
    let times = medians(&[one, other], rounds);
    times[0].as_secs_f64() / times[1].as_secs_f64()
}
