//! `lock/unreadable`: a lock that can't be read, or that belongs to another display.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Diagnostic, Severity, Words};
use crate::rules::{Page, Rule};
use crate::source::{SourceFile, Span};
use crate::unit::counted;

/// The rule.
pub const RULE: Rule = Rule {
    code: "lock/unreadable",
    severity: Severity::Error,
    title: "a lock that can't be read",
    page: Page {
        means: "The lock beside the display holds where each string lay at the last build. It can't be read: a merge left its \
                marks in it, a string stands in it three times, a line was changed so that it can't be read as a row, \
                the file was cut off, a \
                newer version wrote it, or it belongs to another display. Nothing is laid out without it and it is never \
                written over, since then every address might change.\n\n\
                Strings that overlap after a clean merge are no fault of the lock: the later one in the display moves.",
        why: "The show is programmed against the addresses in the lock, and the controllers are set to them.",
        source: "grammar/LANGUAGE.md, \"The lock\"",
        wrong: "node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 50 nodes }\n\
                controller pier { ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n\
                # beside it, yard.lock:\n\
                format: \"1.0\"\n\
                display: \"\"\n\
                universe_slots: 512\n\
                strings:\n  \
                  arch: {port: pier.1, start: 1/513, slots: 150}\n\
                ...\n",
        change: &[("1/513,", "1/1,")],
    },
    check: None,
};

const WHY: &str = "the lock has the addresses that the show and the controllers use";
const BACK: &str = "bring the lock back from version control; `build --new-lock` starts a new one, but then everything may move";

const AS_ROW: &str =
    "write the string on one line, as `NAME: {port: boathouse.4, start: 12/307, slots: 150}`";
const ANEW: &str = "bring the line back as it was, or delete it: the string is then placed anew";

fn finding(
    at: Span,
    message: String,
    label: impl Into<String>,
    help: impl Into<String>,
) -> Diagnostic {
    RULE.at(at, Words { message, label: label.into(), why: WHY.to_owned(), help: help.into() })
}

/// What is wrong with a line of the lock.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Fault<'t> {
    /// The line is of no kind that a lock has.
    Line,
    /// The line stands after the line `...`, which ends a lock.
    BehindEnd,
    /// The lock, or a row of it, lacks this word.
    Missing(&'t str),
    /// A row has a word that its format does not have.
    Unknown,
    /// The format is not a valid number; its text.
    Format(&'t str),
    /// The display's name is not a text in quotes.
    Display,
    /// The number of slots of a universe is not valid.
    UniverseSlots,
    /// A rename does not have an old and a new name.
    Renamed,
    /// A row's name can't be that of a string.
    Name,
    /// A row's port can't be that of a controller.
    Port,
    /// A row's start is not a universe and a slot.
    Start,
    /// A controller's line can't be understood.
    Controller,
    /// This word of a row has a value that it can't have.
    Word(&'t str),
    /// A row takes no slots.
    Slots,
    /// A row lies outside all universes; how many slots a universe has.
    Range(u32),
}

/// A fault in a line of the lock called `lock`, other than a row.
#[must_use]
pub fn fault(lock: &str, at: Span, fault: &Fault<'_>) -> Diagnostic {
    let (message, label, help) = match fault {
        Fault::BehindEnd => (
            "has text after its last line `...`".to_owned(),
            "after the line `...`",
            "move what belongs to the lock before the line `...`, and delete the rest",
        ),
        Fault::Missing(word) => (format!("does not say `{word}:`"), "missing here", BACK),
        Fault::Format(value) => (
            format!("has `{}` as its format, which is not a version", shown(value)),
            "not a version",
            BACK,
        ),
        Fault::Display => (
            "has a display's name without quotes".to_owned(),
            "not in quotes",
            "write the display's name in double quotes, as `display: \"NAME\"`",
        ),
        Fault::UniverseSlots => {
            ("has a wrong number of slots in a universe".to_owned(), "not 1 to 512 slots", BACK)
        }
        Fault::Renamed => (
            "has a rename without an old and a new name".to_owned(),
            "no old and new name",
            "bring the line back as it was, as `- egret -> heron`; without it a rename may be carried over twice",
        ),
        Fault::Controller => (
            "has a controller's line that is not understood".to_owned(),
            "not understood",
            "bring the line back as it was, as `- {name: boathouse, host: \"\", input: e131 multicast, first: 1, universes: 4, \
             addressing: per port}`, or delete it: the next build writes it anew",
        ),
        _ => ("has a line that does not belong in a lock".to_owned(), "not understood", AS_ROW),
    };
    finding(at, format!("`{}` {message}", shown(lock)), label, help)
}

/// A fault in the row of `name` in the lock called `lock`.
#[must_use]
pub fn row(lock: &str, at: Span, name: &str, fault: &Fault<'_>) -> Diagnostic {
    let (message, label, help) = match fault {
        Fault::Name => (
            "has a name that no string can have".to_owned(),
            "not the name of a string".to_owned(),
            "name the string as the display does: `heron`, `heron[3]` or `lighthouse.2`",
        ),
        Fault::Port => (
            "has a port that can't be read".to_owned(),
            "not a port of a controller".to_owned(),
            "name the port as `boathouse.4`, a DMX output as `boathouse.dmx1`",
        ),
        Fault::Start => (
            "has a start that is not universe/slot".to_owned(),
            "not a universe and a slot".to_owned(),
            "write the start as universe/slot: `start: 12/307`",
        ),
        Fault::Missing(word) => {
            (format!("does not say `{word}:`"), format!("no `{word}:` here"), ANEW)
        }
        Fault::Slots => ("has no slots".to_owned(), "at least one slot is needed".to_owned(), ANEW),
        Fault::Range(slots) => (
            "lies outside universes 1 to 63999".to_owned(),
            format!("not all within universes 1 to 63999 of {slots} slots"),
            ANEW,
        ),
        Fault::Unknown => (
            "has a word in its row that its format does not have".to_owned(),
            "not known here".to_owned(),
            AS_ROW,
        ),
        Fault::Word(word) => (
            format!("has a `{word}` with a value that is not allowed"),
            "not understood".to_owned(),
            "bring the row back as it was, or delete what stands after `slots`: the next build writes it anew",
        ),
        _ => ("has a row that is not understood".to_owned(), "not understood".to_owned(), AS_ROW),
    };
    let message = format!("`{}` in `{}` {message}", shown(name), shown(lock));
    finding(at, message, label, help)
}

/// A name that stands in the lock more than once; `first` is its first line.
#[must_use]
pub fn twice(lock: &str, at: Span, name: &str, first: Span) -> Diagnostic {
    let (lock, name) = (shown(lock), shown(name));
    finding(
        at,
        format!("`{lock}` has `{name}` more than once"),
        "once more here",
        format!("keep one of the two lines: the one that the show and the controllers are set to; then `{name}` stays there"),
    )
    .and(first, "first here")
}

/// Conflict markers of a merge: the first, and the others.
#[must_use]
pub fn conflict(lock: &str, first: Span, others: &[Span]) -> Diagnostic {
    let lock = shown(lock);
    let mut finding = finding(
        first,
        format!("a merge left its conflict in `{lock}`"),
        "a conflict marker",
        format!(
            "keep the lines of both sides, each string once, and delete the marker lines; or take one side whole (`git checkout \
             --ours {lock}`, or `--theirs`) and build: what the other side added is placed anew"
        ),
    );
    for at in others {
        finding = finding.and(*at, "and one here");
    }
    finding
}

/// A lock in a newer `format`; `known` is the newest that is read.
#[must_use]
pub fn newer(lock: &str, at: Span, format: &str, known: u32) -> Diagnostic {
    finding(
        at,
        format!(
            "`{}` was written by a newer tinsel: its format is {}, but this one reads {known}",
            shown(lock),
            shown(format)
        ),
        format!("newer than {known}"),
        "update tinsel here; the one that wrote the lock reads it",
    )
}

/// A file without the line `format:`.
#[must_use]
pub fn no_lock(file: &SourceFile) -> Diagnostic {
    finding(
        first_line(file),
        format!("`{}` is not a lock: it has no line `format:`", shown(&file.name)),
        "a lock begins in another way",
        BACK,
    )
}

/// An empty lock.
#[must_use]
pub fn empty(file: &SourceFile) -> Diagnostic {
    finding(
        first_line(file),
        format!("`{}` is empty; was it cut off?", shown(&file.name)),
        "nothing here",
        BACK,
    )
}

/// A lock that ends in `count` zero bytes.
#[must_use]
pub fn zeros(file: &SourceFile, count: usize) -> Diagnostic {
    let from = file.text.len() - count;
    let start = file.text.get(..from).map_or(0, |text| text.rfind('\n').map_or(0, |at| at + 1));
    finding(
        Span::new(file.base + start as u32, file.base + from as u32),
        format!("`{}` ends in {}", shown(&file.name), counted(count, "zero byte")),
        "zero bytes follow; was the disk full, or the power cut?",
        BACK,
    )
}

/// A lock that was cut off; `last` is its last line.
#[must_use]
pub fn cut_off(lock: &str, last: Span) -> Diagnostic {
    finding(
        last,
        format!("`{}` is cut off: its last line `...` is missing", shown(lock)),
        "it ends here",
        BACK,
    )
}

/// A lock that is not UTF-8; its first `valid` bytes are.
#[must_use]
pub fn not_utf8(file: &SourceFile, bytes: &[u8], valid: usize) -> Diagnostic {
    let at = file.base + valid.min(file.text.len()) as u32;
    let end = file.text.get(valid..).and_then(|rest| rest.chars().next());
    let byte = bytes.get(valid).copied().unwrap_or(0);
    finding(
        Span::new(at, at + end.map_or(0, |c| c.len_utf8() as u32)),
        format!("`{}` is not UTF-8 at byte {}", shown(&file.name), valid + 1),
        format!("byte \\x{byte:02X}"),
        BACK,
    )
}

/// A lock that is too large; `most` is the limit in bytes.
#[must_use]
pub fn too_large(file: &SourceFile, most: usize) -> Diagnostic {
    finding(
        first_line(file),
        format!("`{}` has more than {} MiB", shown(&file.name), most / 1024 / 1024),
        "no lock is so large",
        BACK,
    )
}

/// The lock of another display. `names` are the display's name in the lock and its own, `display`
/// is where its own is written.
#[must_use]
pub fn others(lock: &str, at: Span, names: (&str, &str), display: Option<Span>) -> Diagnostic {
    let (lock, theirs, mine) = (shown(lock), shown(names.0), shown(names.1));
    finding(
        at,
        format!("`{lock}` is the lock of \"{theirs}\", not of \"{mine}\""),
        format!("the lock of \"{theirs}\""),
        format!(
            "if this is the same display under a new name, write `display: \"{mine}\"` in this line; else bring its own lock"
        ),
    )
    .and_if(display, format!("this is \"{mine}\""))
}

fn first_line(file: &SourceFile) -> Span {
    let end = file.text.find(['\r', '\n']).unwrap_or(file.text.len());
    Span::new(file.base, file.base + end as u32)
}
