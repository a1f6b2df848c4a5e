//! Standard output and standard error, their width and colour.

use super::Looks;
use crate::diagnostic::words;
use crate::report::terminal::Look;
use std::io::{self, BufWriter, IsTerminal, Write};

/// Columns of output that does not go to a terminal.
const WIDTH: usize = 100;

/// Why a command stopped.
pub enum Stop {
    /// It can't be carried out, for this reason.
    Refused(String),
    /// The result could not be written.
    Unwritten(io::Error),
}

impl From<io::Error> for Stop {
    fn from(error: io::Error) -> Self {
        Self::Unwritten(error)
    }
}

/// Standard output. If its reader closes it, the rest is dropped without an error.
struct Stdout {
    inner: io::Stdout,
    closed: bool,
}

impl Write for Stdout {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.closed {
            return Ok(bytes.len());
        }
        match self.inner.write(bytes) {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => {
                self.closed = true;
                Ok(bytes.len())
            }
            other => other,
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        match self.inner.flush() {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
            other => other,
        }
    }
}

/// The two streams, and how to print on them.
pub struct Console {
    out: BufWriter<Stdout>,
    err_look: Look,
    out_width: usize,
    /// Leave out advice and closing lines.
    pub quiet: bool,
}

impl Console {
    /// By the options, if they could be read.
    pub fn new(looks: Option<&Looks>) -> Self {
        let is = |option: fn(&Looks) -> bool| looks.is_some_and(option);
        let colour = looks.and_then(|looks| looks.color.said());
        let stderr = io::stderr().is_terminal();
        Self {
            out: BufWriter::with_capacity(64 * 1024, Stdout { inner: io::stdout(), closed: false }),
            err_look: Look {
                colour: colour.unwrap_or_else(|| colour_by_environment(stderr)),
                ascii: is(|looks| looks.ascii) || set_to("TERM", "dumb"),
                names: is(|looks| looks.names),
                width: width(stderr),
            },
            out_width: width(io::stdout().is_terminal()),
            quiet: is(|looks| looks.quiet),
        }
    }

    /// Standard output, buffered.
    pub fn out(&mut self) -> &mut impl Write {
        &mut self.out
    }

    /// How wide standard output is, in columns.
    pub fn out_width(&self) -> usize {
        self.out_width
    }

    /// How standard error looks.
    pub fn err_look(&self) -> Look {
        self.err_look
    }

    /// Writes to standard error. Errors are ignored: there is no other place to report them.
    pub fn report(&self, text: &[u8]) {
        let mut stderr = io::stderr().lock();
        let _ = stderr.write_all(text).and_then(|()| stderr.flush());
    }

    /// Flushes the output and turns a command's answer into an exit status.
    pub fn finish(mut self, answer: Result<u8, Stop>) -> u8 {
        let answer = answer.and_then(|status| {
            self.out.flush()?;
            Ok(status)
        });
        match answer {
            Ok(status) => status,
            Err(Stop::Refused(why)) => {
                self.report(format!("tinsel: {why}\n").as_bytes());
                2
            }
            Err(Stop::Unwritten(error)) => unwritten(&error),
        }
    }
}

/// Prints clap's own answer, help or an error, and returns the exit status. An error that quotes
/// control characters of a terminal is printed without colour, with these made visible.
pub fn answer(
    text: &str,
    print: impl FnOnce() -> io::Result<()>,
    is_error: bool,
    status: u8,
) -> u8 {
    let plain = words::visible(text, "\n");
    let printed = match is_error && plain != text {
        true => io::stderr().write_all(plain.as_bytes()),
        false => print(),
    };
    match printed {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => status,
        Err(error) if !is_error => unwritten(&error),
        _ => status,
    }
}

/// Reports that standard output could not be written; returns the exit status.
fn unwritten(error: &io::Error) -> u8 {
    let text = format!("tinsel: can't write to standard output: {error}\n");
    let _ = io::stderr().write_all(text.as_bytes());
    2
}

fn set_to(variable: &str, value: &str) -> bool {
    std::env::var_os(variable).is_some_and(|set| set == value)
}

fn is_set(variable: &str) -> bool {
    std::env::var_os(variable).is_some_and(|value| !value.is_empty())
}

/// no-color.org and bixense.com/clicolors: NO_COLOR, unless empty, turns colour off;
/// CLICOLOR_FORCE, unless empty or 0, turns it on. Else it is on at a terminal, unless TERM is dumb
/// or CLICOLOR is 0.
fn colour_by_environment(terminal: bool) -> bool {
    if is_set("NO_COLOR") {
        false
    } else if is_set("CLICOLOR_FORCE") && !set_to("CLICOLOR_FORCE", "0") {
        true
    } else {
        terminal && !set_to("TERM", "dumb") && !set_to("CLICOLOR", "0")
    }
}

/// The terminal's width, from 40 to 120 columns; without a terminal [`WIDTH`].
fn width(terminal: bool) -> usize {
    let size = terminal.then(terminal_size::terminal_size).flatten();
    size.map_or(WIDTH, |(width, _)| usize::from(width.0).clamp(40, 120))
}

/// Makes a panic, which is a fault of the program, print two lines and exit with 101.
pub fn on_panic() {
    std::panic::set_hook(Box::new(|info| {
        let place = info.location().map_or_else(String::new, |l| format!(" at {l}"));
        let text = format!(
            "tinsel: internal fault{place}: this is a bug in tinsel, not in your display.\n\
             A file that was being written is as it was before. Please report it with the display that shows it.\n"
        );
        let _ = io::stderr().write_all(text.as_bytes());
        std::process::exit(101);
    }));
}
