//! The command line: arguments, dispatch, exit status. The only file that knows clap.
//!
//! Results go to standard output and everything else to standard error, through one [`Console`].
//! Exit status: 0 no error, 1 errors in the display, 2 the command itself could not be carried out,
//! 3 `diff`: something would change.

mod build;
mod check;
mod completions;
mod console;
mod diff;
mod disk;
mod explain;
mod fit;
mod fmt;
mod graph;
mod help;
mod import;
mod lsp;
mod parts;
mod power;
mod print;
mod report;
mod schema;
mod table;
mod why;

use crate::lock::{Relay, Side};
use crate::output;
use crate::survey::BY;
use clap::builder::PossibleValuesParser;
use clap::{ArgMatches, Args, FromArgMatches, ValueEnum};
use console::{Console, Stop};
use std::ffi::OsString;
use std::path::PathBuf;
use unicode_normalization::UnicodeNormalization;

const STATUS: &str = "\
Exit status:
  0  no error (warnings and advice allowed)
  1  errors in the display
  2  the command could not be carried out: wrong usage, or a file that can't be read or written
  3  diff only: a build would change something that people type, plug or know by name";

/// How things are shown.
#[derive(Args)]
struct Looks {
    /// Colour: `auto` is on at a terminal, and obeys NO_COLOR, CLICOLOR_FORCE and TERM
    #[arg(long, global = true, value_name = "WHEN", default_value = "auto")]
    color: Colour,
    /// Draw findings in ASCII only
    #[arg(long, global = true)]
    ascii: bool,
    /// Name all that a finding is about where its message names only the first
    #[arg(long, global = true)]
    names: bool,
    /// Leave out advice and the closing line; errors and warnings are always shown
    #[arg(short, long, global = true)]
    quiet: bool,
}

/// When to use colour.
#[derive(Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Colour {
    Auto,
    Always,
    Never,
}

/// A command of the program. A new one needs only a line in [`VERBS`] here.
struct Verb {
    name: &'static str,
    about: &'static str,
    /// The text after the options in its help.
    help: &'static str,
    args: fn(clap::Command) -> clap::Command,
    /// The formats that its result can have; empty for a result without a choice.
    formats: fn() -> Vec<&'static str>,
    run: fn(&ArgMatches, &mut Console) -> Result<u8, Stop>,
}

/// Commands, one a line: module, arguments, text of its help, formats of its result.
macro_rules! verbs {
    ($($module:ident $args:ident $help:ident $formats:expr, $about:literal;)*) => {
        &[$(Verb {
            name: stringify!($module),
            about: $about,
            help: help::$help,
            args: $args::augment_args,
            formats: $formats,
            run: |given, console| $module::run(&read::<$args>(given)?, console),
        }),*]
    };
}

const VERBS: &[Verb] = verbs! {
    check CheckArgs CHECK Vec::new,
        "Compile a display and report everything that is wrong with it";
    build BuildArgs BUILD Vec::new,
        "Compile a display around its lock, and write the lock and the tables";
    diff DiffArgs DIFF Vec::new,
        "Print what a build would change: controllers to set up, show data to make again";
    why WhyArgs WHY Vec::new,
        "Print why a string lies where it does";
    table TableArgs TABLE table_formats,
        "Print where everything lies: ports, universes, slots and channels";
    fit FitArgs FIT formats,
        "Print how full ports and controllers are, and where something more would go";
    parts PartsArgs PARTS formats,
        "Print the parts list: strings, leads, joints, fuses, supplies, boxes";
    power PowerArgs POWER formats,
        "Print currents, fuses and voltages, or where power must be fed in again";
    fmt FmtArgs FMT Vec::new,
        "Lay display files out in one way, without a change to what they say";
    import ImportArgs IMPORT Vec::new,
        "Make a display file of a table of props (csv, tsv or xlsx)";
    schema SchemaArgs SCHEMA Vec::new,
        "Print the schema of the JSON that a command prints";
    report ReportArgs REPORT Vec::new,
        "Write the display as pages: everything to look at, and the sheets for the crew";
    explain ExplainArgs EXPLAIN Vec::new,
        "Print what a code means, with a wrong display and the same one put right";
    graph GraphArgs GRAPH graph_formats,
        "Print who depends on whom in a display, as DOT or as a picture";
    lsp LspArgs LSP Vec::new,
        "Answer an editor while a display is written (Language Server Protocol on standard input and output)";
    completions CompletionsArgs COMPLETIONS Vec::new,
        "Print a completion script for a shell";
};

/// The arguments of a command, from all that were given.
fn read<A: FromArgMatches>(given: &ArgMatches) -> Result<A, Stop> {
    A::from_arg_matches(given).map_err(|error| Stop::Refused(error.to_string()))
}

impl Colour {
    /// Whether colour is forced on or off; `None` where the terminal decides.
    fn said(self) -> Option<bool> {
        match self {
            Self::Auto => None,
            Self::Always => Some(true),
            Self::Never => Some(false),
        }
    }
}

/// Which display, and how strictly.
#[derive(Args, Clone)]
struct Input {
    /// The display's main file; `-` is standard input
    file: PathBuf,
    /// The name that standard input is shown by; its folder is where includes are looked for
    #[arg(
        long,
        value_name = "NAME",
        default_value = disk::UNNAMED,
        hide_default_value = true
    )]
    stdin_filename: PathBuf,
    /// Exit with 1 on warnings too
    #[arg(short = 'D', long)]
    deny_warnings: bool,
    /// A string that no `wire` names is an error
    #[arg(long)]
    all_wired: bool,
    /// It is an error (`lock/stale`) if a build would change the lock
    #[arg(long)]
    locked: bool,
}

/// Where the result goes.
#[derive(Args)]
struct Printed {
    /// How it is written; without it the ending of the file says how, and standard output has the
    /// first of these
    #[arg(long)]
    format: Option<String>,
    /// The file to write, whole or not at all; without it, or with `-`, standard output
    #[arg(short, long, value_name = "PATH")]
    output: Option<PathBuf>,
}

#[derive(Args)]
struct LspArgs {
    /// Accepted and ignored: standard input and output are the only way
    #[arg(long, hide = true)]
    stdio: bool,
}

#[derive(Args)]
struct CheckArgs {
    #[command(flatten)]
    input: Input,
    /// How findings are written
    #[arg(long, default_value = "text", value_parser = report_names())]
    format: String,
}

#[derive(Args)]
struct BuildArgs {
    #[command(flatten)]
    input: Input,
    #[command(flatten)]
    afresh: Afresh,
    /// Where the tables go; without it only the lock is written
    #[arg(long, value_name = "DIR")]
    out: Option<PathBuf>,
    /// Start a new lock where the old one is lost or can't be read; everything may move
    #[arg(long, conflicts_with = "locked")]
    new_lock: bool,
}

/// What is laid out afresh although the lock holds it.
#[derive(Args)]
struct Afresh {
    /// Lay everything out afresh: the fewest ports and universes, whatever that moves
    #[arg(long, conflicts_with_all = ["compact_only", "locked"])]
    compact: bool,
    /// With --compact: what is on this controller stays; may be given several times
    #[arg(long, value_name = "CONTROLLER", requires = "compact")]
    keep: Vec<String>,
    /// Lay out afresh only what is on this controller; may be given several times
    #[arg(long, value_name = "CONTROLLER", conflicts_with = "locked")]
    compact_only: Vec<String>,
    /// Where a merge left strings twice in the lock: the first line of each (ours), or the second
    /// (theirs)
    #[arg(long, value_name = "SIDE", value_parser = PossibleValuesParser::new(["ours", "theirs"]))]
    take: Option<String>,
}

impl Afresh {
    fn relay(&self) -> Relay {
        let names = |names: &[String]| names.iter().map(|name| normal(name)).collect();
        match (self.compact, self.compact_only.is_empty()) {
            (true, _) => Relay::AllBut(names(&self.keep)),
            (false, false) => Relay::Only(names(&self.compact_only)),
            (false, true) => Relay::Nothing,
        }
    }

    fn side(&self) -> Option<Side> {
        let side = self.take.as_deref()?;
        Some(if side == "ours" { Side::Ours } else { Side::Theirs })
    }
}

#[derive(Args)]
struct DiffArgs {
    #[command(flatten)]
    input: Input,
    #[command(flatten)]
    afresh: Afresh,
    /// How it is written
    #[arg(long, default_value = "text", value_parser = PossibleValuesParser::new(["text", "json"]))]
    format: String,
    /// Where to write which channel went where
    #[arg(long, value_name = "FILE")]
    remap: Option<PathBuf>,
    /// Compare with this lock in place of the one beside the display
    #[arg(long, value_name = "LOCK")]
    against: Option<PathBuf>,
}

#[derive(Args)]
struct WhyArgs {
    #[command(flatten)]
    input: Input,
    /// A string (`heron[3]`, `lighthouse.2`), a member or a prop
    name: String,
}

#[derive(Args)]
struct TableArgs {
    #[command(flatten)]
    input: Input,
    /// What a row is; without it a string, and in json, yaml and xlsx all tables
    #[arg(long, value_parser = by_names())]
    by: Option<String>,
    /// Only this prop, member (`heron[2]`), string, port (`boathouse.3`, a receiver's `jetty.1`),
    /// controller or receiver
    #[arg(long, value_name = "NAME")]
    only: Option<String>,
    #[command(flatten)]
    printed: Printed,
}

// `--add` takes up to four words, so the display stands before it.
#[derive(Args)]
#[command(override_usage = "tinsel fit [OPTIONS] <FILE> [--add <WHAT>... [--after <NAME>]]")]
struct FitArgs {
    #[command(flatten)]
    input: Input,
    /// What to look for room for: `N nodes`, `N nodes of MAKE` or `prop NAME`
    #[arg(long, value_name = "WHAT", num_args = 1..=4)]
    add: Vec<String>,
    /// The string, prop or member that it must hang after, on the same data line and without
    /// another port
    #[arg(long, value_name = "NAME", requires = "add")]
    after: Option<String>,
    #[command(flatten)]
    printed: Printed,
}

#[derive(Args)]
struct PartsArgs {
    #[command(flatten)]
    input: Input,
    #[command(flatten)]
    printed: Printed,
}

#[derive(Args)]
struct PowerArgs {
    #[command(flatten)]
    input: Input,
    /// All nodes at this level, in percent, instead of what the display allows
    #[arg(long, value_name = "LEVEL", value_parser = power::level)]
    at: Option<u32>,
    /// Write the `inject` statements that make it pass, and say whether fewer points are possible
    #[arg(long)]
    suggest: bool,
    #[command(flatten)]
    printed: Printed,
}

#[derive(Args)]
struct FmtArgs {
    /// The files, each by itself: includes are not followed; `-` is standard input
    #[arg(required = true)]
    files: Vec<PathBuf>,
    /// Write nothing; exit with 1 if a file would change
    #[arg(long)]
    check: bool,
    /// The name that standard input is shown by
    #[arg(long, value_name = "NAME", default_value = "<stdin>", hide_default_value = true)]
    stdin_filename: PathBuf,
}

#[derive(Args)]
struct ImportArgs {
    /// The table, csv or a workbook (xlsx); several become one display. `-` is standard input
    #[arg(required = true, value_name = "FILE")]
    files: Vec<PathBuf>,
    /// The display to write, and beside it its lock if the table has addresses; neither may exist
    /// yet. Without it, or with `-`, standard output has the display
    #[arg(short, long, value_name = "PATH")]
    output: Option<PathBuf>,
    /// What a column holds whose heading is unknown, as `Plug=port`
    #[arg(long, value_name = "HEADING=KIND")]
    column: Vec<String>,
    /// A sheet of a workbook to read as props, once for each [default: all with a header of props]
    #[arg(long, value_name = "NAME")]
    sheet: Vec<String>,
    /// How many slots a universe has in tables that do not show it [default: what else says it,
    /// else 512]
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=512))]
    universe_slots: Option<u32>,
    /// `nodes` (or its like) counts one string; else it counts the whole prop
    #[arg(long)]
    nodes_per_string: bool,
}

#[derive(Args)]
struct SchemaArgs {
    /// The command whose JSON is described
    #[arg(default_value = schema::ALL[0], value_parser = PossibleValuesParser::new(schema::ALL))]
    of: String,
}

#[derive(Args)]
struct ReportArgs {
    #[command(flatten)]
    input: Input,
    /// The folder to write into (made where it is missing); with --single the file, or `-` for
    /// standard output
    #[arg(short, long, value_name = "PATH")]
    output: PathBuf,
    /// One file with everything but the labels in it
    #[arg(long)]
    single: bool,
}

#[derive(Args)]
struct ExplainArgs {
    /// A code, a group of codes, or `language` for the guide; without it, all codes are listed
    code: Option<String>,
    /// How it is written
    #[arg(long, default_value = "text", value_parser = PossibleValuesParser::new(["text", "json"]))]
    format: String,
}

#[derive(Args)]
struct GraphArgs {
    #[command(flatten)]
    input: Input,
    /// Only what a change of this name reaches, by what the display says (see below)
    #[arg(long, value_name = "NAME")]
    reach: Option<String>,
    #[command(flatten)]
    printed: Printed,
}

#[derive(Args)]
struct CompletionsArgs {
    /// The shell
    shell: clap_complete::Shell,
}

fn report_names() -> PossibleValuesParser {
    PossibleValuesParser::new(
        std::iter::once("text").chain(crate::report::ALL.iter().map(|(name, _)| *name)),
    )
}

fn by_names() -> PossibleValuesParser {
    PossibleValuesParser::new(BY.iter().map(|(word, _)| *word))
}

/// The formats of all tables; the first is the default.
fn formats() -> Vec<&'static str> {
    output::ALL.iter().map(|(name, _)| *name).collect()
}

/// The formats of `tinsel table`.
fn table_formats() -> Vec<&'static str> {
    [&formats()[..], &["mvr"]].concat()
}

/// The formats of `tinsel graph`.
fn graph_formats() -> Vec<&'static str> {
    vec!["dot", "svg"]
}

/// Runs the program on its arguments, its own name first, and returns the exit status.
#[must_use]
pub fn run(arguments: Vec<OsString>) -> u8 {
    console::on_panic();
    // Starting a thread takes as long as compiling a small display, and only on Windows is the
    // stack of the first thread small.
    if !cfg!(windows) {
        return start(&arguments);
    }
    let thread = std::thread::Builder::new().stack_size(16 * 1024 * 1024);
    let for_thread = arguments.clone();
    match thread.spawn(move || start(&for_thread)) {
        Ok(running) => running.join().unwrap_or(101),
        Err(_) => start(&arguments),
    }
}

fn start(arguments: &[OsString]) -> u8 {
    // Where the first argument names a command, only that one is made: making all of them takes as
    // long as compiling a small display.
    let named = arguments.get(1).and_then(|word| word.to_str());
    let verb = VERBS.iter().find(|verb| Some(verb.name) == named);
    if named == Some("export") {
        let console = Console::new(None);
        return console.finish(Err(Stop::Refused(help::NO_EXPORT.to_owned())));
    }
    match command_of(verb.map_or(VERBS, std::slice::from_ref)).try_get_matches_from(arguments) {
        Ok(given) => carry_out(&given),
        Err(answer) => {
            let status = u8::try_from(answer.exit_code()).unwrap_or(2);
            console::answer(&answer.to_string(), || answer.print(), answer.use_stderr(), status)
        }
    }
}

fn carry_out(given: &ArgMatches) -> u8 {
    let looks = read::<Looks>(given);
    let mut console = Console::new(looks.as_ref().ok());
    let verb = given.subcommand().and_then(|(name, own)| {
        let verb = VERBS.iter().find(|verb| verb.name == name)?;
        Some((verb, own))
    });
    let status = looks.and_then(|_| match verb {
        Some((verb, own)) => (verb.run)(own, &mut console),
        None => Err(Stop::Refused("no command is given".into())),
    });
    console.finish(status)
}

/// A name from the command line in NFC, in which the language compares names.
fn normal(name: &str) -> String {
    name.nfc().collect()
}

/// The command line with all commands, for completions.
fn command() -> clap::Command {
    command_of(VERBS)
}

/// The command line with some of the commands.
fn command_of(verbs: &[Verb]) -> clap::Command {
    let root = clap::Command::new("tinsel")
        .version(env!("CARGO_PKG_VERSION"))
        .after_help(STATUS)
        .arg_required_else_help(true)
        .subcommand_required(true)
        .disable_help_subcommand(true)
        .max_term_width(100)
        .subcommands(verbs.iter().map(|verb| {
            let command = (verb.args)(clap::Command::new(verb.name))
                .about(verb.about)
                .after_help(format!("{}\n\n{STATUS}", verb.help));
            match (verb.formats)() {
                formats if formats.is_empty() => command,
                formats => command.mut_arg("format", |format| {
                    format.value_parser(PossibleValuesParser::new(formats))
                }),
            }
        }));
    // In the help of each command these options come after its own.
    Looks::augment_args(root.next_display_order(VERBS.len())).about(env!("CARGO_PKG_DESCRIPTION"))
}
