//! Sheets of boxes: where controllers are on the network, and which universes they have.

use super::book::Page;
use super::cells;
use super::clashes::lying;
use super::columns;
use super::found::{Board, Found, Said, SheetLine};
use super::headings::{Kind, plain};
use super::makes::{self, Make};
use super::names::Names;
use super::places::MOST_UNIVERSE;
use super::rows::is_mark;
use super::sheet::SheetRow;
use super::{Grade, Note, Reading, sizes};
use crate::model::{Addressing, Output};
use std::collections::{BTreeMap, BTreeSet};

/// Headings of a second, short name of a box.
const SHORT: [&str; 8] =
    ["short", "shortname", "mark", "code", "abbr", "abbreviation", "alias", "tag"];

/// The first column of one of some kinds.
fn column(kinds: &[Option<Kind>], wanted: &[Kind]) -> Option<usize> {
    kinds.iter().position(|kind| kind.is_some_and(|kind| wanted.contains(&kind)))
}

/// The first column with one of some headings.
fn headed(headings: &[String], words: &[&str]) -> Option<usize> {
    headings.iter().position(|heading| words.contains(&&*plain(heading)))
}

/// Whether a sheet has a header of boxes and no column that gives the size of strings.
pub fn is_one(page: &Page, reading: &Reading) -> bool {
    let header = columns::of_hosts(&page.rows, reading);
    header.is_some_and(|(_, kinds, _)| column(&kinds, &columns::SIZES).is_none())
}

/// The small letters and digits of a name, to compare it with other forms of it.
pub fn squeezed(text: &str) -> String {
    text.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

/// The names of boxes by each form, full or short, that the sheets of boxes have for them. A form
/// that two boxes share is left out.
pub fn known(pages: &[Page], reading: &Reading) -> BTreeMap<String, String> {
    let mut known: BTreeMap<String, Option<String>> = BTreeMap::new();
    for page in pages.iter().filter(|page| !page.ours && !page.of_props) {
        let Some((at, kinds, headings)) = columns::of_hosts(&page.rows, reading) else { continue };
        let Some(name) = column(&kinds, &[Kind::Controller, Kind::Name]) else { continue };
        let short = headed(&headings, &SHORT).filter(|short| *short != name);
        for row in page.rows.iter().skip(at + 1).filter(|row| row.filled().nth(1).is_some()) {
            let own = row.text(name);
            for form in [Some(name), short].into_iter().flatten().map(|at| squeezed(row.text(at))) {
                let entry = known.entry(form).or_insert_with(|| Some(own.to_owned()));
                if entry.as_deref() != Some(own) {
                    *entry = None;
                }
            }
        }
    }
    known.remove("");
    known.into_iter().filter_map(|(form, name)| Some((form, name?))).collect()
}

/// The box that a text names, by any form in `known`; `None` where it names none or several. The
/// longest name counts. With words in `after`, a name counts only right after one of them, as after
/// `the` in `all spots are on the mill`.
pub fn named_in<'k>(
    known: &'k BTreeMap<String, String>,
    text: &str,
    after: &[&str],
) -> Option<&'k str> {
    /// The most words of a name.
    const MOST_WORDS: usize = 5;
    let parted = |c: char| !c.is_alphanumeric() && c != '.';
    let words: Vec<&str> = text.split(parted).filter(|word| !word.is_empty()).collect();
    let mut by_length: BTreeMap<usize, BTreeSet<&str>> = BTreeMap::new();
    for from in 0..words.len() {
        let before = words.get(from.wrapping_sub(1)).map(|word| word.to_lowercase());
        if !after.is_empty() && !before.is_some_and(|word| after.contains(&&*word)) {
            continue;
        }
        for to in from + 1..=words.len().min(from + MOST_WORDS) {
            let name = squeezed(&words.get(from..to).unwrap_or(&[]).concat());
            if let Some(name) = known.get(&name) {
                by_length.entry(to - from).or_default().insert(name.as_str());
            }
        }
    }
    let mut longest = by_length.pop_last()?.1.into_iter();
    longest.next().filter(|_| longest.next().is_none())
}

/// A sheet of boxes and the places of its columns.
struct Boxes<'p> {
    page: &'p Page,
    headings: Vec<String>,
    name: usize,
    host: Option<usize>,
    protocol: Option<usize>,
    /// The columns of the first universe, of how many there are, and of the last one.
    spans: [Option<usize>; 3],
    addressing: Option<usize>,
    ports: Option<usize>,
    volts: Option<usize>,
}

/// Takes hosts, inputs, universes, addressing, ports and volts from a sheet that names boxes of the
/// table. Returns whether it is such a sheet.
pub fn read(page: &Page, reading: &Reading, found: &mut Found, notes: &mut Vec<Note>) -> bool {
    let Some((header, boxes)) = Boxes::of(page, reading) else { return false };
    let (above, rows) = page.rows.split_at_checked(header).unwrap_or_default();
    let mut rows = rows.get(1..).unwrap_or(&[]).to_vec();
    ditto(&mut rows);
    if found.rows == 0 {
        alone(&rows, boxes.name, found);
    }
    let named = named(found);
    let board = |row: &SheetRow| named.get(&row.text(boxes.name).to_lowercase()).copied();
    if !rows.iter().any(|row| board(row).is_some()) {
        return false;
    }
    let mut between: Vec<&SheetRow> = above.iter().collect();
    let mut whole = None;
    for row in &rows {
        let mut left: Vec<usize> = row.filled().map(|(at, _)| at).collect();
        match board(row).and_then(|at| found.boxes.get_mut(at)) {
            None if left.len() < 2 => {
                between.push(row);
                continue;
            }
            None => {
                let what = "no row of props names this box; kept as a comment";
                notes.push(boxes.note(row, boxes.name, what));
            }
            Some(board) => {
                let taken = boxes.span(board, row);
                left.retain(|at| !taken.contains(at));
                left.retain(|at| match boxes.take(board, row, *at, &mut whole) {
                    Ok(taken) => !taken,
                    Err(why) => {
                        notes.push(boxes.note(row, *at, why));
                        true
                    }
                });
            }
        }
        found.comments.extend(boxes.comment(row, &left));
    }
    for row in between {
        boxes.words(row, found, notes);
    }
    let what = "it was read for hosts, inputs and universes".to_owned();
    notes.push(Note { place: page.place.clone(), ..Note::of_table(what, Grade::Noted) });
    true
}

impl<'p> Boxes<'p> {
    /// The index of the header of boxes and the sheet's columns; `None` without a column of names.
    fn of(page: &'p Page, reading: &Reading) -> Option<(usize, Self)> {
        let (at, kinds, headings) = columns::of_hosts(&page.rows, reading)?;
        let column = |wanted: &[Kind]| column(&kinds, wanted);
        let headed = |words: &[&str]| headed(&headings, words);
        let count = headed(&COUNTS);
        let first = kinds
            .iter()
            .enumerate()
            .position(|(at, kind)| *kind == Some(Kind::Universe) && Some(at) != count);
        let boxes = Self {
            page,
            name: column(&[Kind::Controller, Kind::Name])?,
            host: column(&[Kind::Host]),
            protocol: column(&[Kind::Chip]),
            spans: [first, count, column(&[Kind::EndUniverse])],
            addressing: headed(&["addressing"]),
            ports: headed(&PORTS),
            volts: column(&[Kind::Volts]),
            headings,
        };
        Some((at, boxes))
    }

    /// Takes a cell for a box. Returns whether it is understood, or the wording of a note. `whole`
    /// is the last host that was written in full.
    fn take<'r>(
        &self,
        board: &mut Board,
        row: &'r SheetRow,
        at: usize,
        whole: &mut Option<&'r str>,
    ) -> Result<bool, &'static str> {
        let text = row.text(at);
        let is = |column: Option<usize>| column == Some(at);
        let count = cells::whole(text).filter(|count| (1..=1_024).contains(count));
        if at == self.name {
            return Ok(true);
        }
        if is(self.host) {
            let why = set_host(board, &address(text, *whole));
            *whole = Some(text).filter(|text| !text.starts_with('.')).or(*whole);
            if let Some(why) = why {
                return Err(why);
            }
            let note = Note { grade: Grade::Wrong, ..self.note(row, at, "") };
            board.host_cell.get_or_insert(note);
        } else if let (true, Some(words)) = (is(self.addressing), layout(text)) {
            let what = "its strings do not lie so; the display has `addressing per prop`";
            board.addressing = Some((words, self.note(row, at, what)));
        } else if let (true, Some(volts)) = (is(self.volts), cells::volts(text)) {
            board.volts = Some(volts);
        } else if let (true, Some(count)) = (is(self.ports), count) {
            board.ports = Some((count, self.note(row, at, "")));
        } else if let Some(words) = input(text) {
            board.input = Some(words);
            // A text of more than three words says more, so it is a comment too.
            return Ok(is(self.protocol) || text.split_whitespace().nth(3).is_none());
        } else if is(self.protocol) {
            return Err("no input that is known; kept as a comment");
        } else if matches!(&*text.to_lowercase(), "-" | "–" | "—" | "n/a" | "none" | "no" | "?")
        {
            return Ok(false);
        } else if is(self.ports) || is(self.volts) || self.spans.contains(&Some(at)) {
            return Err("not understood; kept as a comment");
        } else if is_setup(text) {
            return Err("speaks of set-up and is not understood; kept as a comment");
        } else {
            return Ok(false);
        }
        Ok(true)
    }

    /// A note on a cell.
    fn note(&self, row: &SheetRow, at: usize, what: &str) -> Note {
        Note {
            row: Some(row.number),
            column: self.headings.get(at).cloned().unwrap_or_default(),
            place: self.page.place.clone(),
            text: row.text(at).to_owned(),
            ..Note::of_table(what.to_owned(), Grade::Lost)
        }
    }

    /// Takes the universes of a controller from the columns of its first one, of their number and
    /// of its last one. Returns the columns that it used: none where they contradict each other.
    fn span(&self, board: &mut Board, row: &SheetRow) -> Vec<usize> {
        let [first, count, last] = self.spans;
        let read = |at: Option<usize>| Some((at?, cells::universes(row.text(at?))?));
        let (first, count, last) = (read(first), read(count), read(last));
        // A range in one cell gives both ends, under either heading.
        let range = [first, count].into_iter().flatten().find(|(_, (_, to))| to.is_some());
        let Some((at, (from, to))) = range.or(first) else {
            return Vec::new();
        };
        let by_count = count.filter(|(_, (count, to))| *count > 0 && to.is_none());
        let by_count = by_count.map(|(at, (count, _))| (at, from + count - 1));
        let ends: Vec<(usize, u64)> = to
            .map(|to| (at, to))
            .into_iter()
            .chain(by_count)
            .chain(last.map(|(at, (last, to))| (at, to.unwrap_or(last))))
            .collect();
        let end = ends.first().map(|(_, end)| *end);
        if ends.iter().any(|(_, other)| Some(*other) != end) || end.is_some_and(|end| end < from) {
            return Vec::new();
        }
        let note = self.note(row, at, "");
        board.said = Some((from, end, note));
        ends.iter().map(|(at, _)| *at).chain([at]).collect()
    }

    /// Reads a row of words in a sheet of boxes: what all boxes listen to, how large universes are.
    fn words(&self, row: &SheetRow, found: &mut Found, notes: &mut Vec<Note>) {
        let (at, text) = row.filled().next().map_or((0, ""), |(at, cell)| (at, &cell.text));
        let note = Note { column: String::new(), ..self.note(row, at, "") };
        let mut told =
            |what: String| notes.push(Note { what, grade: Grade::Noted, ..note.clone() });
        let lower = text.to_lowercase();
        let of_all =
            ["all", "every", "each"].iter().any(|word| lower.split(' ').any(|own| own == *word));
        // Only E1.31 has a unicast form of its own.
        let said = input(text).or_else(|| lower.contains("unicast").then_some("e131 unicast"));
        if let Some(input) = said.filter(|_| of_all) {
            for board in found.boxes.iter_mut().filter(|board| board.input.is_none()) {
                board.input = Some(input);
            }
            told(format!("taken as `input {input}` of each box whose row says nothing else"));
        }
        if let Some(size) = sizes::said(text) {
            // Words may name the sheet that they are about.
            let names = |place: &&String| {
                let name = place.rsplit('`').nth(1).unwrap_or("").to_lowercase();
                !name.is_empty() && lower.contains(&name)
            };
            let table = found.places.iter().position(|place| names(&place));
            let of = found.places.get(table.unwrap_or(usize::MAX));
            let of = of.map_or("each sheet that does not show another".to_owned(), String::clone);
            told(format!("taken as {} slots of a universe for {of}", size.get()));
            found.said.push(Said { size, table, note: None });
        }
        let words = columns::begin(row);
        let place = if self.page.place.is_empty() { "boxes" } else { &self.page.place };
        found.comments.push(format!("{place}, row {}: {words}", row.number));
    }

    /// The cells of a row that were not taken, as a comment.
    fn comment(&self, row: &SheetRow, left: &[usize]) -> Option<String> {
        let said = |at: &usize| {
            let heading = self.headings.get(*at).map_or("", String::as_str);
            format!("{heading}: {}", row.text(*at))
        };
        let said: Vec<String> = left.iter().map(said).collect();
        let begin = columns::begin(row);
        (!said.is_empty()).then(|| {
            format!("sheet {}, row {}, {begin}: {}", self.page.name, row.number, said.join("; "))
        })
    }
}

/// Whether a remark on a box speaks of how it is set up.
fn is_setup(text: &str) -> bool {
    const WORDS: [&str; 10] = [
        "multicast",
        "unicast",
        "counts",
        "dead",
        "null",
        "nulls",
        "limit",
        "brightness",
        "dim",
        "firmware",
    ];
    let lower = text.to_lowercase();
    lower.contains('%')
        || lower.split(|c: char| !c.is_alphanumeric()).any(|word| WORDS.contains(&word))
}

/// Gives each cell with a mark that means "as above" what stands above it.
fn ditto(rows: &mut [SheetRow]) {
    for at in 1..rows.len() {
        let Some((above, [own, ..])) = rows.split_at_mut_checked(at) else { return };
        let Some(above) = above.last() else { return };
        for (cell, above) in own.cells.iter_mut().zip(&above.cells) {
            if is_mark(&cell.text) {
                cell.text.clone_from(&above.text);
            }
        }
    }
}

/// Makes a controller of each row of a sheet of boxes without a table of props beside it.
fn alone(rows: &[SheetRow], name: usize, found: &mut Found) {
    let mut names = Names::default();
    names.keep("any");
    let mut known = named(found);
    for row in rows.iter().filter(|row| row.filled().nth(1).is_some()) {
        let text = row.text(name);
        if !text.is_empty() && !known.contains_key(&text.to_lowercase()) {
            let name = names.give(text, "box");
            known.extend([text, &name].map(|name| (name.to_lowercase(), found.boxes.len())));
            let label = (name != text).then(|| text.to_owned());
            found.boxes.push(Board { name, label, ..Board::default() });
        }
    }
}

/// Headings of how many universes a box has.
const COUNTS: [&str; 6] = [
    "universes",
    "universecount",
    "numberofuniverses",
    "noofuniverses",
    "numuniverses",
    "#universes",
];

/// Headings of how many ports a box has.
const PORTS: [&str; 11] = [
    "ports",
    "plugs",
    "outputs",
    "outs",
    "sockets",
    "numberofports",
    "noofports",
    "numports",
    "portcount",
    "#ports",
    "#outputs",
];

/// Gives nodes without a voltage in their rows that of their box.
pub fn volts(found: &mut Found) {
    let of_line = |found: &Found, line: &SheetLine| {
        let own = line.make.and_then(|make| found.makes.get(make)?.volts.clone());
        let board = line.controller.and_then(|at| found.boxes.get(at)?.volts.clone());
        own.or(board)
    };
    let mut of_make: BTreeMap<usize, BTreeSet<Option<String>>> = BTreeMap::new();
    let mut lines = Vec::new();
    for (at, line) in found.lines() {
        if let Some(make) = line.make {
            let volts = of_line(found, line);
            of_make.entry(make).or_default().insert(volts.clone());
            lines.push((at, make, volts));
        }
    }
    let alone = |make: usize| of_make.get(&make).is_some_and(|volts| volts.len() == 1);
    for (at, make, volts) in lines {
        let now = match (found.makes.get_mut(make), volts) {
            (Some(own), Some(volts)) if alone(make) => {
                own.volts = Some(volts);
                make
            }
            (Some(own), Some(volts)) if own.volts.is_none() => {
                let own = Make { volts: Some(volts), ..own.clone() };
                makes::add(own, None, &mut found.makes)
            }
            _ => make,
        };
        if let Some(line) = found.line_mut(at) {
            line.make = Some(now);
        }
    }
}

/// Compares the ports that a sheet gives the boxes with the ports in use. Too few are reported.
pub fn ports(found: &mut Found, notes: &mut Vec<Note>) {
    let mut used: BTreeMap<usize, u32> = BTreeMap::new();
    for (.., line) in found.lines() {
        if let (Some(board), Some(Output::Pixel(port))) = (line.controller, line.output) {
            let most = used.entry(board).or_insert(port);
            *most = port.max(*most);
        }
    }
    for (board, most) in used {
        let Some(board) = found.boxes.get_mut(board) else { continue };
        if let Some((_, note)) = board.ports.take_if(|(count, _)| *count < u64::from(most)) {
            let what = format!(
                "`{}` has something on port {most}; the display gives it more ports",
                board.name
            );
            notes.push(Note { what, grade: Grade::Wrong, ..note });
        }
    }
}

/// Compares the universes that a sheet gives the boxes with those of their strings, and keeps them
/// where they agree.
pub fn universes(found: &mut Found, notes: &mut Vec<Note>) {
    let slots = found.universe_slots.each();
    let mut used: BTreeMap<usize, (u64, u64)> = BTreeMap::new();
    for (start, end, _, at) in lying(found) {
        let line = found.line(at).filter(|line| line.same_as.is_none());
        if let Some(board) = line.and_then(|line| line.controller) {
            let (first, last) = (start / slots + 1, (end - 1) / slots + 1);
            let own = used.entry(board).or_insert((first, last));
            *own = (own.0.min(first), own.1.max(last));
        }
    }
    for (at, board) in found.boxes.iter_mut().enumerate() {
        let Some((from, to, note)) = board.said.take() else { continue };
        let shift = u64::from(board.from_zero);
        let (from, to) = (from + shift, to.map(|to| to + shift));
        let lawful = |number: u64| (1..=MOST_UNIVERSE).contains(&number);
        let own = used.get(&at).copied().unwrap_or((from, from));
        if own.0 >= from && to.is_none_or(|to| own.1 <= to && lawful(to)) && lawful(from) {
            board.universes = Some((from, to));
        } else {
            let what = format!(
                "the strings of `{}` lie in universes {} to {}; its universes are not kept",
                board.name,
                own.0 - shift.min(own.0),
                own.1 - shift.min(own.1)
            );
            notes.push(Note { what, ..note });
        }
    }
}

/// The `addressing` that a cell names.
fn layout(text: &str) -> Option<&'static str> {
    let words = plain(text);
    let all = [Addressing::PerPort, Addressing::Consecutive, Addressing::PerProp];
    let words_of = |one: &Addressing| plain(one.words()) == words;
    all.iter().find(|one| words_of(one)).map(|one| one.words())
}

/// The controllers by their names, also as the table writes them, in small letters.
fn named(found: &Found) -> BTreeMap<String, usize> {
    let mut named = BTreeMap::new();
    for (at, board) in found.boxes.iter().enumerate() {
        for name in [&board.name].into_iter().chain(&board.label) {
            named.entry(name.to_lowercase()).or_insert(at);
        }
    }
    named
}

/// A host. Where a cell has only its last numbers (`.12`), the first ones are those of `whole`, the
/// last host that was written in full.
fn address(text: &str, whole: Option<&str>) -> String {
    let own = text.matches('.').count();
    let parts: Vec<&str> = whole.unwrap_or("").split('.').collect();
    match parts.get(..4 - own.min(4)) {
        Some(begin) if text.starts_with('.') && parts.len() == 4 => begin.join(".") + text,
        _ => text.to_owned(),
    }
}

/// Sets the host of a controller, or says why not.
fn set_host(board: &mut Board, text: &str) -> Option<&'static str> {
    let lawful = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | ':');
    if !text.chars().all(lawful) || text.starts_with('.') {
        return Some("no address of a host; kept as a comment");
    }
    let known = board.host.get_or_insert_with(|| text.to_owned());
    (known != text).then_some("the table has another host; kept as a comment")
}

/// What a box listens to, as a cell says it.
fn input(text: &str) -> Option<&'static str> {
    let word: String = text.to_lowercase().split([' ', '-', '.', '/']).collect();
    let one = |name: &str| word.contains(name);
    match () {
        () if one("ddp") => Some("ddp"),
        () if one("artnet") => Some("artnet"),
        () if (one("sacn") || one("e131")) && one("unicast") => Some("e131 unicast"),
        () if one("sacn") || one("e131") => Some("e131 multicast"),
        () => None,
    }
}
