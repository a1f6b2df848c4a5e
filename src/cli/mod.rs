//! The command line: arguments, dispatch, exit status. The only file that knows clap.
//!
//! Results go to standard output and everything else to standard error, through one [`Console`]. Exit
//! status: 0 no error, 1 errors in the display, 2 the command itself could not be carried out, 3 `diff`: something would
//! change.

mod build;
mod check;
mod console;
mod diff;
mod disk;
mod explain;
mod export;
mod fit;
mod fmt;
mod graph;
mod help;
mod import;
mod parts;
mod power;
mod report;
mod schema;
mod shell;
mod table;
mod why;

use crate::lock::Relay;
use crate::output::{self, By, fit as fullness, parts as parts_list, power as power_list};
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

/// A command of the program. One row of [`VERBS`] is all that a new one needs here.
struct Verb {
    name: &'static str,
    about: &'static str,
    /// What stands behind its options in its help.
    help: &'static str,
    args: fn(clap::Command) -> clap::Command,
    run: fn(&ArgMatches, &mut Console) -> Result<u8, Stop>,
}

const VERBS: [Verb; 17] = [
    Verb {
        name: "check",
        about: "Compile a display and tell everything that is wrong with it",
        help: help::CHECK,
        args: CheckArgs::augment_args,
        run: |given, console| check::run(&read::<CheckArgs>(given)?, console),
    },
    Verb {
        name: "build",
        about: "Compile a display around its lock, and write the lock and the tables",
        help: help::BUILD,
        args: BuildArgs::augment_args,
        run: |given, console| build::run(&read::<BuildArgs>(given)?, console),
    },
    Verb {
        name: "diff",
        about: "Tell what a build would change: controllers to set up, show data to make again",
        help: help::DIFF,
        args: DiffArgs::augment_args,
        run: |given, console| diff::run(&read::<DiffArgs>(given)?, console),
    },
    Verb {
        name: "why",
        about: "Tell why a string lies where it does",
        help: help::WHY,
        args: WhyArgs::augment_args,
        run: |given, console| why::run(&read::<WhyArgs>(given)?, console),
    },
    Verb {
        name: "table",
        about: "Print the table of a display: ports, universes, slots and channels",
        help: help::TABLE,
        args: TableArgs::augment_args,
        run: |given, console| table::run(&read::<TableArgs>(given)?, console),
    },
    Verb {
        name: "fit",
        about: "Print how full ports and controllers are, and where something more would go",
        help: help::FIT,
        args: FitArgs::augment_args,
        run: |given, console| fit::run(&read::<FitArgs>(given)?, console),
    },
    Verb {
        name: "parts",
        about: "Print the parts list: strings, leads, joints, fuses, supplies, boxes",
        help: help::PARTS,
        args: PartsArgs::augment_args,
        run: |given, console| parts::run(&read::<PartsArgs>(given)?, console),
    },
    Verb {
        name: "power",
        about: "Print currents, fuses and voltages, or where power must be fed in again",
        help: help::POWER,
        args: PowerArgs::augment_args,
        run: |given, console| power::run(&read::<PowerArgs>(given)?, console),
    },
    Verb {
        name: "export",
        about: "Hand a display over: spreadsheet, MVR, picture of the graph, tables for programs",
        help: help::EXPORT,
        args: ExportArgs::augment_args,
        run: |given, console| export::run(&read::<ExportArgs>(given)?, console),
    },
    Verb {
        name: "fmt",
        about: "Lay display files out in one way, without a change to what they say",
        help: help::FMT,
        args: FmtArgs::augment_args,
        run: |given, console| fmt::run(&read::<FmtArgs>(given)?, console),
    },
    Verb {
        name: "import",
        about: "Make a display file of a table of props (csv)",
        help: help::IMPORT,
        args: ImportArgs::augment_args,
        run: |given, console| import::run(&read::<ImportArgs>(given)?, console),
    },
    Verb {
        name: "schema",
        about: "Print the schema of the JSON that `table` or `parts` prints",
        help: help::SCHEMA,
        args: SchemaArgs::augment_args,
        run: |given, console| schema::run(&read::<SchemaArgs>(given)?, console),
    },
    Verb {
        name: "report",
        about: "Write the display as pages: everything to look at, and the sheets for the crew",
        help: help::REPORT,
        args: ReportArgs::augment_args,
        run: |given, console| report::run(&read::<ReportArgs>(given)?, console),
    },
    Verb {
        name: "explain",
        about: "Tell what a code means, with a wrong display and the same one put right",
        help: help::EXPLAIN,
        args: ExplainArgs::augment_args,
        run: |given, console| explain::run(&read::<ExplainArgs>(given)?, console),
    },
    Verb {
        name: "graph",
        about: "Print who depends on whom in a display, as DOT or as a picture",
        help: help::GRAPH,
        args: GraphArgs::augment_args,
        run: |given, console| graph::run(&read::<GraphArgs>(given)?, console),
    },
    Verb {
        name: "completions",
        about: "Print a completion script for a shell",
        help: help::COMPLETIONS,
        args: CompletionsArgs::augment_args,
        run: |given, console| shell::completions(&read::<CompletionsArgs>(given)?, console),
    },
    Verb {
        name: "man",
        about: "Print the manual page, of all or of one command",
        help: help::MAN,
        args: ManArgs::augment_args,
        run: |given, console| shell::man(&read::<ManArgs>(given)?, console),
    },
];

/// The arguments of a command out of all that was given.
fn read<A: FromArgMatches>(given: &ArgMatches) -> Result<A, Stop> {
    A::from_arg_matches(given).map_err(|error| Stop::Refused(error.to_string()))
}

impl Colour {
    /// Whether it was asked for or declined; none where the terminal decides.
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
    /// What a row is
    #[arg(long, default_value = By::ALL[0].word(), value_parser = by_names())]
    by: String,
    /// How the table is written
    #[arg(long, default_value = "text", value_parser = output_names())]
    format: String,
    /// Only this prop, member (`heron[2]`), string, port (`boathouse.3`, a receiver's `jetty.1`), controller or receiver
    #[arg(long, value_name = "NAME")]
    only: Option<String>,
}

#[derive(Args)]
struct FitArgs {
    #[command(flatten)]
    input: Input,
    /// What to look for room for: `N nodes`, `N nodes of MAKE` or `prop NAME`
    #[arg(long, value_name = "WHAT", num_args = 1..=4)]
    add: Vec<String>,
    /// How it is written
    #[arg(long, default_value = fullness::FORMATS[0], value_parser = PossibleValuesParser::new(fullness::FORMATS))]
    format: String,
}

#[derive(Args)]
struct PartsArgs {
    #[command(flatten)]
    input: Input,
    /// How the list is written
    #[arg(long, default_value = parts_list::FORMATS[0], value_parser = PossibleValuesParser::new(parts_list::FORMATS))]
    format: String,
}

#[derive(Args)]
struct PowerArgs {
    #[command(flatten)]
    input: Input,
    /// All nodes at this level, in percent, instead of what the display allows
    #[arg(long, value_name = "LEVEL", value_parser = power::level)]
    at: Option<u32>,
    /// Write the `inject` statements that make it pass, and whether fewer could do
    #[arg(long)]
    suggest: bool,
    /// How it is written
    #[arg(long, default_value = power_list::FORMATS[0], value_parser = PossibleValuesParser::new(power_list::FORMATS))]
    format: String,
}

#[derive(Args)]
struct ExportArgs {
    #[command(flatten)]
    input: Input,
    /// The form; without it, the ending of the file says which
    #[arg(long, value_name = "FORM", value_parser = PossibleValuesParser::new(export::names()))]
    to: Option<String>,
    /// The file to write; without it, standard output
    #[arg(short, long, value_name = "PATH")]
    output: Option<PathBuf>,
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
    #[arg(
        long,
        value_name = "NAME",
        default_value = "<stdin>",
        hide_default_value = true
    )]
    stdin_filename: PathBuf,
}

#[derive(Args)]
struct ImportArgs {
    /// The table, csv or a workbook (xlsx); `-` is standard input
    file: PathBuf,
    /// The display to write, and beside it its lock if the table has addresses; neither may exist yet. Without it, the
    /// display goes to standard output
    #[arg(short, long, value_name = "PATH")]
    output: Option<PathBuf>,
    /// What a column holds whose heading is unknown, as `Plug=port`
    #[arg(long, value_name = "HEADING=KIND")]
    column: Vec<String>,
    /// The sheet of a workbook to read [default: the first with a header]
    #[arg(long, value_name = "NAME")]
    sheet: Option<String>,
    /// `nodes` (or its like) counts one string; else it counts the whole prop
    #[arg(long)]
    nodes_per_string: bool,
}

#[derive(Args)]
struct SchemaArgs {
    /// Whose JSON
    #[arg(default_value = output::schema::ALL[0], value_parser = PossibleValuesParser::new(output::schema::ALL))]
    of: String,
}

#[derive(Args)]
struct ReportArgs {
    #[command(flatten)]
    input: Input,
    /// The folder to write into (made where it is missing), or the file with --single
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
    /// How it is drawn: as text for programs that draw graphs, or as a picture
    #[arg(long, default_value = "dot", value_parser = PossibleValuesParser::new(["dot", "svg"]))]
    format: String,
}

#[derive(Args)]
struct CompletionsArgs {
    /// The shell
    shell: clap_complete::Shell,
}

#[derive(Args)]
struct ManArgs {
    /// The command
    command: Option<String>,
}

fn report_names() -> PossibleValuesParser {
    PossibleValuesParser::new(
        std::iter::once("text").chain(crate::report::ALL.iter().map(|f| f.name)),
    )
}

fn output_names() -> PossibleValuesParser {
    PossibleValuesParser::new(output::ALL.iter().map(|output| output.name()))
}

fn by_names() -> PossibleValuesParser {
    PossibleValuesParser::new(By::ALL.map(By::word))
}

/// Runs the program on its arguments, its own name first, and returns the exit status.
#[must_use]
pub fn run(arguments: Vec<OsString>) -> u8 {
    console::on_panic();
    // Starting a thread costs as much as compiling a small display. Only Windows gives the first one a small stack.
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
    // A command that is named first is the only one needed: making all of them takes as long as a small display.
    let named = arguments.get(1).and_then(|word| word.to_str());
    let verb = VERBS.iter().find(|verb| Some(verb.name) == named);
    match command_of(verb.map_or(&VERBS, std::slice::from_ref)).try_get_matches_from(arguments) {
        Ok(given) => carry_out(&given),
        Err(answer) => {
            let status = u8::try_from(answer.exit_code()).unwrap_or(2);
            console::answer(
                &answer.to_string(),
                || answer.print(),
                answer.use_stderr(),
                status,
            )
        }
    }
}

fn carry_out(given: &ArgMatches) -> u8 {
    let looks = read::<Looks>(given);
    let (colour, ascii, quiet) = match &looks {
        Ok(looks) => (looks.color.said(), looks.ascii, looks.quiet),
        Err(_) => (None, false, false),
    };
    let mut console = Console::new(colour, ascii, quiet);
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

/// A name from the command line as names are compared: in NFC, as in the language.
fn normal(name: &str) -> String {
    name.nfc().collect()
}

/// The whole command line as clap has it, for completions and manual pages.
fn command() -> clap::Command {
    command_of(&VERBS)
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
            (verb.args)(clap::Command::new(verb.name))
                .about(verb.about)
                .after_help(verb.help)
        }));
    // In the help of each command they stand behind its own.
    Looks::augment_args(root.next_display_order(VERBS.len())).about(env!("CARGO_PKG_DESCRIPTION"))
}
