//! Reads a lock in any format ever written. Each fault is reported at its line.
//!
//! A row in the form of `write` is parsed here. Any other row goes to the YAML reader by itself:
//! other styles are understood too, and a fault still has its line.

use super::set_up::{BoxDoc, WORDS, row_tail};
use super::{Added, LockText, MAJOR, MINOR, MOST_BYTES};
use crate::diagnostic::words::is_unprintable;
use crate::diagnostic::{Diagnostic, Sink};
use crate::lock::{Lock, LockRow, SetUp};
use crate::model::Output;
use crate::protocol::{UNIVERSES, UniverseSlots};
use crate::rules::lock::unreadable::{self, Fault};
use crate::source::{Loaded, SourceFile, SourceMap, Span};
use serde::Deserialize;
use std::collections::BTreeMap;

/// Reading ends after this number of faults: such a text is no lock.
const MOST_FAULTS: usize = 100;
/// The longest text of a line, in bytes, that the YAML reader is given.
const LONGEST_LINE: usize = 8 * 1024;
/// Bytes of an unreadable text that are kept after the fault, to show where it is.
const EXCERPT: usize = 200;

/// Reads a lock's bytes. Whatever is wrong is reported, and then there is no lock.
pub fn read(loaded: Loaded, sources: &mut SourceMap, sink: &mut Sink) -> Option<LockText> {
    let Loaded { name, bytes, .. } = loaded;
    let text = match std::str::from_utf8(&bytes) {
        _ if bytes.len() > MOST_BYTES => {
            let file = sources.add_lock(&name, &excerpt(&bytes, 0))?;
            sink.push(unreadable::too_large(file, MOST_BYTES));
            return None;
        }
        Ok(text) => text,
        Err(error) => {
            let at = error.valid_up_to();
            let file = sources.add_lock(&name, &excerpt(&bytes, at))?;
            let newer = newer(file);
            sink.push(newer.unwrap_or_else(|| unreadable::not_utf8(file, &bytes, at)));
            return None;
        }
    };
    let file = sources.add_lock(&name, text)?;
    if let Some(finding) = newer(file).or_else(|| whole(file)) {
        sink.push(finding);
        return None;
    }
    let minor = format(file, sink)?;
    // Rows are read by it, wherever it stands.
    let slots = lines(file)
        .find_map(|(line, _)| line.trim_start_matches('\u{feff}').strip_prefix("universe_slots:"));
    let universe_slots = slots.and_then(universe_slots).unwrap_or_default();
    let mut reader = Reader {
        file,
        newer: minor > MINOR,
        lock: Lock { universe_slots, ..Lock::default() },
        display_at: Span::default(),
        head: Vec::new(),
        added: Added { minor, ..Added::default() },
        faults: Vec::new(),
        state: State::Head,
    };
    reader.lines();
    reader.finish(sink)
}

/// The bytes up to an offset and [`EXCERPT`] more, as text.
fn excerpt(bytes: &[u8], at: usize) -> String {
    let head = bytes.get(..at.saturating_add(EXCERPT)).unwrap_or(bytes);
    String::from_utf8_lossy(head).into_owned()
}

/// The lines of a file, without their ends, each with its place.
fn lines(file: &SourceFile) -> impl Iterator<Item = (&str, Span)> {
    let mut at = file.base;
    file.text.split_inclusive('\n').map(move |raw| {
        let line = raw.strip_suffix('\n').unwrap_or(raw);
        let line = line.strip_suffix('\r').unwrap_or(line);
        let from = at;
        at += raw.len() as u32;
        (line, Span::new(from, from + line.len() as u32))
    })
}

/// What is wrong with a text as a whole.
fn whole(file: &SourceFile) -> Option<Diagnostic> {
    let zeros = file.text.len() - file.text.trim_end_matches('\0').len();
    if zeros > 0 {
        return Some(unreadable::zeros(file, zeros));
    }
    if file.text.trim_start_matches('\u{feff}').trim().is_empty() {
        return Some(unreadable::empty(file));
    }
    let mark = |line: &str| {
        ["<<<<<<<", "|||||||", "=======", ">>>>>>>"].iter().any(|mark| {
            line.strip_prefix(mark).is_some_and(|rest| rest.is_empty() || rest.starts_with(' '))
        })
    };
    let marks: Vec<Span> =
        lines(file).filter(|(line, _)| mark(line)).map(|(_, at)| at).take(4).collect();
    let first = marks.first()?;
    Some(unreadable::conflict(&file.name, *first, marks.get(1..).unwrap_or(&[])))
}

/// A finding that a newer tinsel wrote the text, whatever else it holds. After a conflict marker
/// nothing is looked at: there the conflict is reported.
fn newer(file: &SourceFile) -> Option<Diagnostic> {
    let mut lines = lines(file).take_while(|(line, _)| !line.starts_with("<<<<<<<"));
    let (line, at) = lines.find(|(line, _)| line.starts_with("format:"))?;
    let value = line.strip_prefix("format:")?.split('#').next()?.trim();
    let value = value.trim_matches(['"', '\'']);
    let major = value.split_once('.').map_or(value, |(major, _)| major);
    let is_newer = major.parse::<u32>().is_ok_and(|major| major > MAJOR);
    is_newer.then(|| unreadable::newer(&file.name, at, value, MAJOR))
}

/// The minor format. It is read first, since the rest of a newer format may look different.
fn format(file: &SourceFile, sink: &mut Sink) -> Option<u32> {
    let found = lines(file).find_map(|(line, at)| {
        let line = line.trim_start_matches('\u{feff}');
        Some((line.strip_prefix("format:")?, at))
    });
    let Some((value, at)) = found else {
        sink.push(unreadable::no_lock(file));
        return None;
    };
    let value = value.split('#').next().unwrap_or("").trim();
    let value = value.trim_matches(['"', '\'']);
    let (major, minor) = value.split_once('.').unwrap_or((value, "0"));
    sink.push(match (major.parse::<u32>(), minor.parse::<u32>()) {
        (Ok(MAJOR), Ok(minor)) => return Some(minor),
        (Ok(newer), _) if newer > MAJOR => unreadable::newer(&file.name, at, value, MAJOR),
        _ => unreadable::fault(&file.name, at, &Fault::Format(value)),
    });
    None
}

fn universe_slots(value: &str) -> Option<UniverseSlots> {
    UniverseSlots::new(serde_yaml::from_str(value.trim()).ok()?)
}

/// Which part of a lock the next line belongs to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum State {
    /// Its head.
    Head,
    /// What is indented under a line of the head that is not known here.
    Added,
    /// The renames that were carried over.
    Renamed,
    /// What was typed into controllers.
    Boxes,
    /// Its rows.
    Rows,
    /// Nothing may follow.
    End,
}

struct Reader<'f> {
    file: &'f SourceFile,
    /// Whether its minor format is newer than ours.
    newer: bool,
    lock: Lock,
    display_at: Span,
    /// The words of the head that were seen, each with its line.
    head: Vec<(&'f str, Span)>,
    added: Added,
    faults: Vec<Diagnostic>,
    state: State,
}

impl<'f> Reader<'f> {
    fn lines(&mut self) {
        for (line, at) in lines(self.file) {
            if self.faults.len() >= MOST_FAULTS {
                return;
            }
            let line = line.trim_start_matches('\u{feff}');
            let words = line.trim();
            let at = Span::new(at.end - line.trim_start().len() as u32, at.end);
            let indented = line.starts_with([' ', '\t']);
            match self.state {
                _ if words.is_empty() || words.starts_with('#') => {}
                State::End => self.fault(at, &Fault::BehindEnd),
                State::Head if words == "---" && self.head.is_empty() => {}
                _ if line.trim_end() == "..." => self.state = State::End,
                State::Rows if indented => self.row(line, at),
                State::Renamed if indented || words.starts_with("- ") => self.rename(words, at),
                State::Boxes if indented || words.starts_with("- ") => self.controller(words, at),
                State::Added if indented => {
                    self.added.head.extend(self.newer.then(|| line.to_owned()))
                }
                _ => self.head_line(line, at),
            }
        }
    }

    fn fault(&mut self, at: Span, fault: &Fault<'_>) {
        self.faults.push(unreadable::fault(&self.file.name, at, fault));
    }

    fn head_line(&mut self, line: &'f str, at: Span) {
        let Some((word, value)) = line.split_once(':') else {
            return self.fault(at, &Fault::Line);
        };
        let value = value.trim();
        if let Some((_, first)) = self.head.iter().find(|(seen, _)| *seen == word) {
            let twice = unreadable::twice(&self.file.name, at, word, *first);
            return self.faults.push(twice);
        }
        self.state = State::Head;
        match word {
            "format" => {}
            "display" => {
                self.display_at = at;
                match text(value) {
                    Some(name) => self.lock.display = name.into(),
                    None => self.fault(at, &Fault::Display),
                }
            }
            "universe_slots" if universe_slots(value).is_some() => {}
            "universe_slots" => self.fault(at, &Fault::UniverseSlots),
            "strings" => {
                self.state = State::Rows;
                if !matches!(value.split('#').next().unwrap_or("").trim(), "" | "{}") {
                    self.fault(at, &Fault::Line);
                }
            }
            "renamed" if value.is_empty() => self.state = State::Renamed,
            "controllers" if value.is_empty() => self.state = State::Boxes,
            _ if self.newer => {
                self.state = State::Added;
                self.added.head.push(line.to_owned());
            }
            _ => {
                self.state = State::Added;
                self.fault(at, &Fault::Line);
            }
        }
        self.head.push((word, at));
    }

    /// A rename that was carried over: `- OLD -> NEW`.
    fn rename(&mut self, words: &str, at: Span) {
        let pair = words
            .strip_prefix("- ")
            .and_then(|rest| text(rest.trim()))
            .and_then(|pair| {
                let (old, new) = pair.split_once("->")?;
                let bare = |name: &str| name.split_whitespace().collect::<String>();
                Some((bare(old), bare(new)))
            })
            .filter(|(old, new)| is_renamed(old) && is_renamed(new));
        match pair {
            Some((old, new)) => self.lock.renamed.push((old.into(), new.into())),
            None => self.fault(at, &Fault::Renamed),
        }
    }

    /// What was typed into a controller: `- {name: …, host: …, …}`.
    fn controller(&mut self, words: &str, at: Span) {
        let doc = words.strip_prefix("- ").filter(|doc| doc.len() <= LONGEST_LINE);
        let doc = doc.and_then(|doc| serde_yaml::from_str::<BoxDoc>(doc).ok());
        match doc.filter(|doc| doc.is_sound() && (self.newer || doc.more.is_empty())) {
            Some(doc) => {
                let more = as_yaml(&doc.more);
                if !more.is_empty() {
                    self.added.boxes.insert(doc.name.as_str().into(), more);
                }
                self.lock.boxes.push(doc.set_up(self.lock.universe_slots.get(), at));
            }
            None => self.fault(at, &Fault::Controller),
        }
    }

    fn row(&mut self, line: &str, at: Span) {
        let parts = match plain(line) {
            Some(parts) => Ok(parts),
            None if line.len() > LONGEST_LINE => Err((String::new(), Fault::Line)),
            None => by_yaml(line.trim()),
        };
        let parts = match parts {
            Ok(parts) => parts,
            Err((name, fault)) if name.is_empty() => return self.fault(at, &fault),
            Err((name, fault)) => {
                let told = unreadable::row(&self.file.name, at, &name, &fault);
                return self.faults.push(told);
            }
        };
        match self.understood(&parts, at) {
            Ok(row) => {
                if !parts.more.is_empty() {
                    self.added.rows.insert(row.name.clone(), parts.more);
                }
                self.lock.rows.push(row);
            }
            Err((fault, words)) => {
                // The smallest text that is wrong, if the line has it as it was read.
                let own = line.trim_start();
                let found = match &fault {
                    Fault::Name => own.find(words),
                    // The name, or that of a controller, may hold the word.
                    Fault::Word(_) => own.find(&format!(" {words}:")).map(|at| at + 1),
                    _ => own
                        .split_once('{')
                        .and_then(|(name, own)| Some(name.len() + 1 + own.find(words)?)),
                };
                let found = found.filter(|_| !words.is_empty());
                let at = found.map_or(at, |found| {
                    let start = at.start + found as u32;
                    Span::new(start, start + words.len() as u32)
                });
                let told = unreadable::row(&self.file.name, at, &parts.name, &fault);
                self.faults.push(told);
            }
        }
    }

    /// What a row says, or its fault and the text that is wrong.
    fn understood<'p>(&self, parts: &'p Parts, at: Span) -> Result<LockRow, (Fault<'p>, &'p str)> {
        if !is_string(&parts.name) {
            return Err((Fault::Name, &parts.name));
        }
        if !parts.more.is_empty() && !self.newer {
            return Err((Fault::Unknown, ""));
        }
        let output = output(&parts.port).ok_or((Fault::Port, &*parts.port))?;
        let universe_slots = self.lock.universe_slots;
        let start = parts.start.split_once('/');
        let start = start.and_then(|(universe, slot)| number(universe).zip(number(slot)));
        let (universe, slot) = start.ok_or((Fault::Start, &*parts.start))?;
        let range = (Fault::Range(universe_slots.get()), &*parts.start);
        if !UNIVERSES.contains(&universe) || !(1..=universe_slots.get()).contains(&slot) {
            return Err(range);
        }
        let each = universe_slots.each();
        let start = u64::from(universe - 1) * each + u64::from(slot - 1);
        if parts.slots == 0 {
            return Err((Fault::Slots, "slots: 0"));
        }
        if parts.slots > u64::from(*UNIVERSES.end()) * each - start {
            return Err(range);
        }
        let told = row_tail(&parts.words, parts.slots).map_err(|word| (Fault::Word(word), word))?;
        Ok(LockRow {
            name: parts.name.as_str().into(),
            controller: output.0.into(),
            output: output.1,
            start,
            slots: parts.slots,
            made: told.made,
            stored: told.stored,
            moved: told.moved,
            at,
        })
    }

    /// Takes second lines of controllers out of the lock. Where two differ only in the universes in
    /// use, as after a merge of two branches that add strings, the first is kept.
    fn boxes_again(&mut self) -> Vec<SetUp> {
        let mut boxes = std::mem::take(&mut self.lock.boxes);
        boxes.sort_by(|a, b| (&a.name, a.at).cmp(&(&b.name, b.at)));
        let mut again: Vec<SetUp> = Vec::new();
        for one in boxes {
            let last = self.lock.boxes.last().filter(|first| first.name == one.name);
            let alike = |first: &SetUp| {
                let (first_used, universes, at) = (first.first, first.universes, first.at);
                SetUp { first: first_used, universes, at, ..one.clone() } == *first
            };
            match last {
                None => self.lock.boxes.push(one),
                Some(first) if alike(first) => {}
                Some(_) if again.last().is_none_or(|second| second.name != one.name) => {
                    again.push(one);
                }
                Some(first) => {
                    let first = first.at;
                    self.faults.push(unreadable::twice(&self.file.name, one.at, &one.name, first));
                }
            }
        }
        again
    }

    fn finish(mut self, sink: &mut Sink) -> Option<LockText> {
        let name = &self.file.name;
        if self.state != State::End && self.faults.len() < MOST_FAULTS {
            let last = lines(self.file).filter(|(line, _)| !line.trim().is_empty());
            let at = last.last().map_or(self.file.span(), |(_, at)| at);
            // A row that was cut off with the text is not reported a second time.
            let half = |fault: &mut Diagnostic| fault.span().end == at.end;
            self.faults.pop_if(half);
            self.faults.push(unreadable::cut_off(name, at));
        } else if let Some(missing) = ["display", "universe_slots", "strings"]
            .into_iter()
            .find(|word| self.head.iter().all(|(seen, _)| seen != word))
            .filter(|_| self.faults.is_empty())
        {
            self.fault(self.file.span(), &Fault::Missing(missing));
        }
        self.lock.renamed.sort();
        self.lock.renamed.dedup();
        self.lock.rows.sort_by(|a, b| (&a.name, a.at).cmp(&(&b.name, b.at)));
        let boxes_again = self.boxes_again();
        let mut again: Vec<LockRow> = Vec::new();
        let mut rows: Vec<LockRow> = Vec::with_capacity(self.lock.rows.len());
        for row in self.lock.rows {
            match rows.last().filter(|first| first.name == row.name) {
                None => rows.push(row),
                Some(first) if (LockRow { at: first.at, ..row.clone() }) == *first => {}
                Some(_) if again.last().is_none_or(|second| second.name != row.name) => {
                    again.push(row);
                }
                Some(first) if self.faults.len() < MOST_FAULTS => {
                    let (name, first) = (&self.file.name, first.at);
                    self.faults.push(unreadable::twice(name, row.at, &row.name, first));
                }
                Some(_) => {}
            }
        }
        self.lock.rows = rows;
        if !self.faults.is_empty() {
            self.faults.into_iter().for_each(|fault| sink.push(fault));
            return None;
        }
        Some(LockText {
            name: self.file.name.as_str().into(),
            text: self.file.text.clone(),
            lock: self.lock,
            again,
            boxes_again,
            added: self.added,
            display_at: self.display_at,
        })
    }
}

/// The parts of a row.
struct Parts {
    name: String,
    port: String,
    start: String,
    slots: u64,
    /// The known words after `slots`, with their values.
    words: Vec<(String, String)>,
    /// The rest, with the comma before it.
    more: String,
}

/// Parses a row in the form of `write`.
fn plain(line: &str) -> Option<Parts> {
    // The text of `moved` has commas and quotes of its own.
    if line.contains(", moved: ") {
        return None;
    }
    let (name, rest) = line.strip_prefix("  ")?.split_once(": {port: ")?;
    let (port, rest) = rest.split_once(", start: ")?;
    let (start, rest) = rest.split_once(", slots: ")?;
    let rest = rest.strip_suffix('}')?;
    let (slots, mut more) = rest.split_at(rest.find(',').unwrap_or(rest.len()));
    let mut words = Vec::new();
    while let Some((pair, rest)) =
        more.strip_prefix(", ").map(|more| more.split_at(more.find(',').unwrap_or(more.len())))
        && let Some((word, value)) = pair.split_once(": ")
        && WORDS.contains(&word)
    {
        let bare = value.strip_prefix('"').and_then(|value| value.strip_suffix('"'));
        words.push((word.to_owned(), bare.unwrap_or(value).to_owned()));
        more = rest;
    }
    let bare = name.strip_prefix('"').and_then(|name| name.strip_suffix('"'));
    let name = bare.unwrap_or(name);
    let plain =
        is_string(name) && [port, start].iter().all(|part| !part.contains(['"', '\'', ' ']));
    Some(Parts {
        name: name.to_owned(),
        port: port.to_owned(),
        start: start.to_owned(),
        slots: slots.parse().ok().filter(|_| plain)?,
        words,
        more: more.to_owned(),
    })
}

#[derive(Deserialize)]
struct RowDoc {
    port: Option<String>,
    start: Option<String>,
    slots: Option<u64>,
    #[serde(flatten)]
    more: BTreeMap<String, serde_json::Value>,
}

/// Parses a row in any other style of YAML. A fault comes with the row's name, if that was read.
fn by_yaml<'p>(line: &str) -> Result<Parts, (String, Fault<'p>)> {
    let no_row = || (String::new(), Fault::Line);
    let rows: BTreeMap<String, RowDoc> = serde_yaml::from_str(line).map_err(|_| no_row())?;
    let mut rows = rows.into_iter();
    let (Some((name, words)), None) = (rows.next(), rows.next()) else {
        return Err(no_row());
    };
    let missing = |word| (name.clone(), Fault::Missing(word));
    let port = words.port.ok_or_else(|| missing("port"))?;
    let start = words.start.ok_or_else(|| missing("start"))?;
    let slots = words.slots.ok_or_else(|| missing("slots"))?;
    let (known, more): (BTreeMap<_, _>, BTreeMap<_, _>) =
        (words.more.into_iter()).partition(|(word, _)| WORDS.contains(&word.as_str()));
    let value = |value: serde_json::Value| match value {
        serde_json::Value::String(text) => text,
        other => other.to_string(),
    };
    let known = known.into_iter().map(|(word, told)| (word, value(told)));
    Ok(Parts { name, port, start, slots, words: known.collect(), more: as_yaml(&more) })
}

/// Words of a newer format as `, word: value`. A value is written as JSON, which is also YAML.
fn as_yaml(words: &BTreeMap<String, serde_json::Value>) -> String {
    let word = |word: &String| serde_json::Value::from(word.as_str());
    let words = words.iter();
    words.map(|(name, value)| format!(", {}: {value}", word(name))).collect()
}

/// The text of a YAML value, bare or in quotes.
fn text(value: &str) -> Option<String> {
    let bare = value.strip_prefix('"').and_then(|rest| rest.strip_suffix('"'));
    match bare {
        Some(bare) if !bare.contains(['"', '\\']) => Some(bare.to_owned()),
        _ if value.len() > LONGEST_LINE => None,
        _ => serde_yaml::from_str(value).ok(),
    }
}

/// A number in plain digits.
pub(super) fn number(digits: &str) -> Option<u32> {
    let plain = digits.bytes().all(|byte| byte.is_ascii_digit());
    digits.parse().ok().filter(|_| plain)
}

/// A number in plain digits, from 1.
pub(super) fn count(digits: &str) -> Option<u32> {
    number(digits).filter(|number| *number > 0)
}

/// A controller and its output: `boathouse.4`, `boathouse.dmx1`.
fn output(port: &str) -> Option<(&str, Output)> {
    let (controller, output) = port.rsplit_once('.').filter(|port| is_name(port.0))?;
    let output = match output.strip_prefix("dmx") {
        Some(number) => Output::Dmx(count(number)?),
        None => Output::Pixel(count(output)?),
    };
    Some((controller, output))
}

/// Whether a word can be a name. After its first letter, any visible non-ASCII character counts.
pub(super) fn is_name(word: &str) -> bool {
    let wide = |c: char| !c.is_ascii() && !c.is_whitespace() && !is_unprintable(c);
    word.starts_with(char::is_alphabetic)
        && word.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '-' | '_') || wide(c))
}

/// Whether a word is the full name of a string: `heron`, `heron[3]`, `lighthouse.2`, `heron[3].1`.
fn is_string(word: &str) -> bool {
    let (rest, number) = match word.rsplit_once('.') {
        Some((rest, number)) => (rest, count(number)),
        None => (word, Some(1)),
    };
    let (prop, member) = match rest.strip_suffix(']').and_then(|rest| rest.split_once('[')) {
        Some((prop, member)) => (prop, count(member)),
        None => (rest, Some(1)),
    };
    number.is_some() && member.is_some() && is_name(prop)
}

/// Whether a word can be a name of a rename: `heron`, `heron[2..4]`, `lighthouse.2`; after the
/// first `[` or `.` anything that can be printed counts.
fn is_renamed(word: &str) -> bool {
    let (base, rest) = word.split_at(word.find(['[', '.']).unwrap_or(word.len()));
    is_name(base) && !rest.contains(is_unprintable)
}
