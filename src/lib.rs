//! A compiler for the addressing of pixel-light displays: text in, checked ports, universes and
//! start addresses out.
//!
//! ```text
//!  text ──syntax──▶ ast ──resolve──▶ model ──allocate──▶ plan ──check──▶ findings
//!           ▲                          │      ▲            │                │
//!        include (other texts)         │  lock of the      │                │
//!                                      │  last build       │                │
//!                                      └───────┬───────────┘                │
//!                                           survey                       report
//!                                              │                 terminal short json sarif github
//!                                           output
//!                               text csv json yaml xlsx html
//! ```
//!
//! [`compile`] runs all stages. Stages share only data ([`ast`], [`model`], [`plan`]) and never
//! call one another. Their findings go into one [`diagnostic::Sink`] and are worded by the
//! [`rules`]. The library reads no file, clock or terminal: texts come through [`source::Files`],
//! and only [`cli`] prints.

pub mod source;

pub mod diagnostic;
pub mod keyed;
pub mod unit;

pub mod cable;
pub mod chip;
pub mod protocol;

pub mod ast;
pub mod graph;
pub mod loads;
pub mod model;
pub mod plan;
pub mod table;

pub mod lock;

pub mod grid;
pub mod limits;
pub mod usage;

pub mod rules;

pub mod syntax;

pub mod resolve;

pub mod allocate;
pub mod check;
pub mod lockfile;
pub mod power;

pub mod survey;

pub mod format;
pub mod import;
pub mod output;
pub mod report;

pub mod page;

pub mod diff;
pub mod explain;
pub mod why;

pub mod editor;

#[cfg(feature = "cli")]
pub mod lsp;

#[cfg(feature = "cli")]
pub mod cli;

use ast::Written;
use diagnostic::{Diagnostic, Severity, Sink};
use lock::{Lock, LockRow, Relay, Side};
use lockfile::LockText;
use model::Model;
use plan::{Past, Plan};
use resolve::include::Parse;
use source::{Files, Loaded, SourceMap};
use std::collections::BTreeSet;

/// A compiled display.
#[derive(Debug)]
pub struct Compiled {
    /// Its texts, the main one first, its lock last.
    pub sources: SourceMap,
    /// What was written.
    pub ast: Written,
    /// What it means.
    pub model: Model,
    /// What was decided.
    pub plan: Plan,
    /// All findings, in file order.
    pub findings: Vec<Diagnostic>,
    /// The lock that it was compiled around, if there was one that could be read.
    pub lock: Option<LockText>,
    /// Whether there was a lock that could not be read; it must not be overwritten unasked.
    pub lock_unread: bool,
}

/// Compiles a display: from the bytes of its main text to addresses and findings. It cannot fail:
/// faults are in [`Compiled::findings`].
#[must_use]
pub fn compile(files: &dyn Files, main: Loaded) -> Compiled {
    compile_beside(files, main, None)
}

/// Compiles a display around its lock, if there is one: what the lock holds stays where it may.
#[must_use]
pub fn compile_beside(files: &dyn Files, main: Loaded, lock: Option<Loaded>) -> Compiled {
    compile_relaid(files, main, lock, &Relay::Nothing, None)
}

/// The same, but what is on some controllers is laid out afresh; where a merge left strings twice
/// in the lock, the lines of `side` are taken.
#[must_use]
pub fn compile_relaid(
    files: &dyn Files,
    main: Loaded,
    lock: Option<Loaded>,
    relay: &Relay,
    side: Option<Side>,
) -> Compiled {
    compile_read(SourceMap::default(), &Reading::of(files), main, lock, (relay, side))
}

/// Where texts come from, and the stages that read them. While a display is edited, these stages
/// use again what they made last time.
pub struct Reading<'r> {
    /// The texts that it may include.
    pub files: &'r dyn Files,
    /// Reads a text of the display.
    pub parse: &'r Parse<'r>,
    /// Reads its lock.
    pub lock: &'r dyn Fn(Loaded, &mut SourceMap, &mut Sink) -> Option<LockText>,
    /// While a display is edited: its last model.
    pub last: Option<&'r Model>,
    /// Changes the model before anything is decided.
    pub change: &'r dyn Fn(&mut Model),
}

impl<'r> Reading<'r> {
    /// For a display that is not being edited.
    #[must_use]
    pub fn of(files: &'r dyn Files) -> Self {
        Self { files, parse: &syntax::parse, lock: &lockfile::read, last: None, change: &|_| () }
    }
}

/// The same for a display that is being edited, see [`SourceMap::after`].
#[must_use]
pub fn compile_read(
    sources: SourceMap,
    reading: &Reading<'_>,
    main: Loaded,
    lock: Option<Loaded>,
    (relay, side): (&Relay, Option<Side>),
) -> Compiled {
    let mut sink = Sink::default();
    let (mut sources, ast, mut model) = understand(sources, reading, main, &mut sink);
    (reading.change)(&mut model);
    let beside = lock.is_some();
    let lock = lock
        .and_then(|lock| (reading.lock)(lock, &mut sources, &mut sink))
        .filter(|lock| lock.is_of(&model, &mut sink))
        .map(|lock| settled(&model, lock, relay, side, &mut sink));
    let unread = beside && lock.is_none();
    if unread {
        // Without the lock it is unknown whether a rename has addresses to carry over.
        model.renames.clear();
    }
    let mut compiled = decide((sources, ast, model), lock, None, relay, sink);
    compiled.lock_unread = unread;
    compiled
}

/// Compiles a display around what was decided last time, given as data.
#[must_use]
pub fn compile_around(files: &dyn Files, main: Loaded, lock: Option<&Lock>) -> Compiled {
    let mut sink = Sink::default();
    let sources = SourceMap::default();
    let (sources, ast, model) = understand(sources, &Reading::of(files), main, &mut sink);
    decide((sources, ast, model), None, lock, &Relay::Nothing, sink)
}

/// From text to model. A prop that the compiler cuts gets the fewest strings that have room.
fn understand(
    mut sources: SourceMap,
    reading: &Reading<'_>,
    main: Loaded,
    sink: &mut Sink,
) -> (SourceMap, Written, Model) {
    let ast = resolve::include::gather(reading.files, main, reading.parse, &mut sources, sink);
    let meant = |more: &[u32], last: Option<&Model>| {
        let mut told = Sink::default();
        (resolve::resolve((&ast, last), &sources, more, &mut told), told)
    };
    let (mut model, mut told) = meant(&[], reading.last);
    if let Some(most) = allocate::strings_to_spare(&model) {
        let again = |more: &[u32]| meant(more, Some(&model));
        let fits = |more: &[u32]| allocate::has_room(&again(more).0);
        if let Some(fewest) = resolve::fewest(&most, &fits).map(|more| again(&more)) {
            (model, told) = fewest;
        }
    }
    sink.append(told);
    (sources, ast, model)
}

/// Settles which set-up counts for a controller that the lock has twice.
fn settle_set_ups(text: &mut LockText, side: Option<Side>, sink: &mut Sink) {
    for second in &text.boxes_again {
        let Some(first) = text.lock.boxes.iter_mut().find(|first| first.name == second.name) else {
            continue;
        };
        match side {
            Some(Side::Ours) => {}
            Some(Side::Theirs) => first.clone_from(second),
            None => sink.push(rules::lock::twice::set_up(&text.name, first, second)),
        }
    }
}

/// The lock with each string and controller once. Of two lines for a string it keeps that of the
/// `side` asked for, else the one whose place the string can keep, else the first.
fn settled(
    model: &Model,
    mut text: LockText,
    relay: &Relay,
    side: Option<Side>,
    sink: &mut Sink,
) -> LockText {
    settle_set_ups(&mut text, side, sink);
    let ours = text.lock.clone();
    let index = |row: &LockRow| ours.rows.binary_search_by(|one| one.name.cmp(&row.name)).ok();
    let pairs = text.again.iter().filter_map(|row| Some((index(row)?, row)));
    let pairs: Vec<(usize, &LockRow)> = pairs.collect();
    let replaced = |of: &dyn Fn(usize) -> bool| {
        let mut lock = ours.clone();
        for (at, second) in &pairs {
            if let Some(first) = lock.rows.get_mut(*at).filter(|_| of(*at)) {
                *first = (*second).clone();
            }
        }
        lock
    };
    if pairs.is_empty() || side == Some(Side::Ours) {
        return text;
    }
    let theirs = replaced(&|_| true);
    if side == Some(Side::Theirs) {
        text.lock = theirs;
        return text;
    }
    let plans = [&ours, &theirs].map(|lock| {
        let mut unheard = Sink::default();
        allocate::relay(model, Some(lock), relay, &mut unheard)
    });
    let [mine, other] = plans.each_ref().map(moved);
    let ways = pairs.iter().map(|(at, second)| {
        let way = match (!mine.contains(at), !other.contains(at)) {
            (true, false) => Some(Side::Ours),
            (false, true) => Some(Side::Theirs),
            _ => None,
        };
        (way, *at, *second)
    });
    let ways: Vec<(Option<Side>, usize, &LockRow)> = ways.collect();
    let of = |wanted: Option<Side>| {
        let found = ways.iter().filter(|(way, ..)| *way == wanted);
        let found = found.filter_map(|(_, at, second)| Some((ours.rows.get(*at)?, *second)));
        found.collect::<Vec<(&LockRow, &LockRow)>>()
    };
    for side in [Side::Ours, Side::Theirs] {
        let taken = of(Some(side));
        if !taken.is_empty() {
            sink.push(rules::lock::twice::taken(&text.name, &ours, &taken, side));
        }
    }
    let open = of(None);
    if !open.is_empty() {
        let moves = (mine.len(), other.len());
        sink.push(rules::lock::twice::open(&text.name, &ours, &open, moves));
    }
    let second = ways.iter().filter(|(way, ..)| *way == Some(Side::Theirs));
    let second: BTreeSet<usize> = second.map(|(_, at, _)| *at).collect();
    text.lock = replaced(&|row| second.contains(&row));
    text
}

/// The rows of the lock whose strings a plan does not leave at their places.
fn moved(plan: &Plan) -> BTreeSet<usize> {
    let past = plan.past.as_deref();
    let rows =
        |past: &Past| past.moves.iter().filter_map(|one| Some(past.of(one.string)?.row)).collect();
    past.map(rows).unwrap_or_default()
}

/// From model to addresses, around a lock as text or as data.
fn decide(
    (sources, ast, model): (SourceMap, Written, Model),
    text: Option<LockText>,
    lock: Option<&Lock>,
    relay: &Relay,
    mut sink: Sink,
) -> Compiled {
    let lock = text.as_ref().map(|text| &text.lock).or(lock);
    let plan = allocate::relay(&model, lock, relay, &mut sink);
    check::check(&model, &plan, &mut sink);
    let anew = |model: &Model| decide_again(model, lock, relay, None);
    power::check(&model, &plan, None, &anew, &mut sink);
    Compiled { sources, ast, model, plan, findings: sink.finish(), lock: text, lock_unread: false }
}

/// Plan and findings of a changed copy of a display, to see whether the change helps.
fn decide_again(
    model: &Model,
    lock: Option<&Lock>,
    relay: &Relay,
    all: Option<u32>,
) -> (Plan, Vec<Diagnostic>) {
    let mut sink = Sink::default();
    let plan = allocate::relay(model, lock, relay, &mut sink);
    check::check(model, &plan, &mut sink);
    power::check_only(model, &plan, all, &mut sink);
    (plan, sink.finish())
}

/// Groups of rules whose errors leave the addresses usable: with a fuse that is too small, a crew
/// still needs the table.
const NOT_BLOCKING: [&str; 2] = ["power", "net"];

/// The most characters of a reason that a lock keeps.
const MOST_WORDS: usize = 400;

impl Compiled {
    /// Where to feed the display in addition, at the levels that it allows or with all nodes at
    /// `all` (thousandths of a percent). Each suggestion was tried in a compiled copy of the
    /// display.
    #[must_use]
    pub fn suggest(&self, all: Option<u32>) -> Vec<loads::Suggestion> {
        let lock = self.lock.as_ref().map(|text| &text.lock);
        let anew = |model: &Model| decide_again(model, lock, &Relay::Nothing, all);
        power::suggest::suggest(&self.model, &self.plan, &anew, all)
    }

    /// Whether a finding is an error, or the lock could not be read.
    #[must_use]
    pub fn has_errors(&self) -> bool {
        self.lock_unread || self.count(Severity::Error) > 0
    }

    /// Checks power again with all nodes at a level (thousandths of a percent), not as allowed.
    pub fn power_at(&mut self, level: u32) {
        let mut sink = Sink::default();
        let (lock, all) = (self.lock.as_ref().map(|text| &text.lock), Some(level));
        let anew = |model: &Model| decide_again(model, lock, &Relay::Nothing, all);
        power::check(&self.model, &self.plan, all, &anew, &mut sink);
        self.findings.retain(|finding| !finding.code.starts_with("power/"));
        self.findings.extend(sink.finish());
        diagnostic::in_order(&mut self.findings);
    }

    /// Whether an error leaves the addresses in doubt: any error but those of power and network.
    #[must_use]
    pub fn blocks(&self) -> bool {
        // Kept apart from its finding, which is lost where a text has too many findings.
        self.lock_unread
            || self.findings.iter().any(|finding| {
                let group = finding.code.split('/').next().unwrap_or("");
                finding.severity == Severity::Error && !NOT_BLOCKING.contains(&group)
            })
    }

    /// How many findings have a severity.
    #[must_use]
    pub fn count(&self, severity: Severity) -> usize {
        self.findings.iter().filter(|finding| finding.severity == severity).count()
    }

    /// The text of the lock that a build writes. Of no use where something blocks.
    #[must_use]
    pub fn next_lock(&self) -> String {
        lockfile::write(&self.next(), &self.added())
    }

    /// The lock that a build writes, with the reason for each move.
    fn next(&self) -> Lock {
        let mut lock = Lock::of(&self.model, &self.plan);
        let Some(past) = &self.plan.past else {
            return lock;
        };
        for one in &past.moves {
            let name = self.model.name_of(one.string);
            let at = lock.rows.binary_search_by(|row| (*row.name).cmp(&name)).ok();
            let row = at.and_then(|at| lock.rows.get_mut(at));
            if let Some((row, was)) = row.zip(past.of(one.string)) {
                if one.cause == plan::Cause::Compact {
                    // As if there had been no lock.
                    row.moved = None;
                    continue;
                }
                let why = rules::lock::moved::reason;
                let why = why(&self.model, &self.plan, one.cause, Some(one.string));
                let words = format!("{}, but {why}", past.universe_slots.place(was.start));
                row.moved = Some(words.chars().take(MOST_WORDS).collect::<String>().into());
            }
        }
        lock
    }

    /// Whether a build would leave the lock as it is, but for its format and its list of renames.
    #[must_use]
    pub fn lock_stands(&self) -> bool {
        let next = self.next();
        let stands = |lock: &LockText| lock.stands(&next, &self.added());
        self.lock.as_ref().is_some_and(stands)
    }

    /// The same display with the lock that a build of it has written, after which nothing moves.
    #[must_use]
    pub fn rebuilt(mut self, lock: Loaded) -> Self {
        let mut known = Sink::default();
        self.lock = lockfile::read(lock, &mut self.sources, &mut known);
        let lock = self.lock.as_ref().map(|text| &text.lock);
        self.plan = allocate::relay(&self.model, lock, &Relay::Nothing, &mut known);
        self
    }

    /// What a newer format added to the lock; a build keeps it.
    fn added(&self) -> lockfile::Added {
        self.lock
            .as_ref()
            .map_or_else(Default::default, |before| before.added_today(&self.model, &self.plan))
    }

    /// Reports `lock/stale` if a build would change the lock.
    pub fn hold_to_lock(&mut self) {
        if self.blocks() {
            return;
        }
        if self.lock_stands() {
            return;
        }
        let next = self.next();
        let before = self.lock.as_ref().map(|lock| (&*lock.name, &lock.lock));
        let (model, plan) = (&self.model, &self.plan);
        let stale = rules::lock::stale::finding(model, plan, &self.sources, before, &next);
        self.findings.push(stale);
        diagnostic::in_order(&mut self.findings);
    }

    /// Makes every finding of a code an error.
    pub fn deny(&mut self, code: &str) {
        for finding in &mut self.findings {
            if finding.code == code {
                finding.severity = Severity::Error;
            }
        }
    }
}
