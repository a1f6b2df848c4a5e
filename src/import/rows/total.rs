//! Rows that are totals of those above them.

use super::Stage;
use crate::import::cells;
use crate::import::headings::Kind;
use crate::import::sheet::SheetRow;
use crate::import::{Grade, Note};
use std::collections::BTreeMap;

/// A column to sum up: its kind, or its place where it has none.
type Key = (Option<Kind>, usize);

/// The most totals that are remembered; the beginning always is.
const MOST_MARKS: usize = 64;

/// Sums of the rows so far, and what they were at each total.
#[derive(Default)]
pub(super) struct Sums {
    all: BTreeMap<Key, u64>,
    marks: Vec<BTreeMap<Key, u64>>,
    /// Nodes of the rows so far, from whichever columns.
    pub nodes: u64,
    nodes_at: Vec<u64>,
}

impl Sums {
    /// Remembers that a total stands here.
    pub(super) fn mark(&mut self) {
        if self.marks.len() >= MOST_MARKS {
            self.marks.remove(0);
            self.nodes_at.remove(0);
        }
        self.marks.push(self.all.clone());
        self.nodes_at.push(self.nodes);
    }

    /// Forgets columns without a kind, which mean something else in another table.
    pub(super) fn another(&mut self) {
        self.all.retain(|(kind, _), _| kind.is_some());
    }

    fn since(&self, key: Key, mark: Option<&BTreeMap<Key, u64>>) -> u64 {
        let of = |sums: &BTreeMap<Key, u64>| sums.get(&key).copied().unwrap_or(0);
        of(&self.all).saturating_sub(mark.map_or(0, of))
    }

    /// Whether a number is the sum of the rows since one of the totals, or of all rows.
    fn fits(&self, key: Key, number: u64) -> bool {
        let of_nodes = matches!(key.0, Some(Kind::Nodes | Kind::NodesPerString));
        let mut nodes = self.nodes_at.iter().copied().chain([0]);
        let mut marks = self.marks.iter().map(Some).chain([None]);
        marks.any(|mark| self.since(key, mark) == number)
            || of_nodes && nodes.any(|at| self.nodes - at == number)
    }
}

/// Whether a word for a total begins or ends one of a row's first two cells, or is a whole cell.
pub(super) fn is_worded(row: &SheetRow) -> bool {
    const WORDS: [&str; 16] = [
        "total",
        "totals",
        "sum",
        "sums",
        "subtotal",
        "grandtotal",
        "alltogether",
        "altogether",
        "together",
        "told",
        "wholebox",
        "alllights",
        "allnodes",
        "allrowsabove",
        "\u{3c3}",
        "\u{2211}",
    ];
    // A formula's text is no word.
    let words = row.filled().filter(|(_, cell)| !cell.text.starts_with('='));
    words.enumerate().any(|(place, (_, cell))| {
        let lower = cell.text.to_lowercase();
        let parted = |c: char| !c.is_alphanumeric() && c != '\u{2211}';
        let mut words = lower.split(parted).filter(|word| !word.is_empty());
        let first = words.next();
        let last = words.next_back().or(first);
        let joined: String = lower.chars().filter(|c| !parted(*c)).collect();
        let is = |word: Option<&str>| word.is_some_and(|word| WORDS.contains(&word));
        place < 2 && (is(first) || is(last)) || WORDS.contains(&joined.as_str())
    })
}

impl Stage<'_> {
    fn key(&self, column: usize) -> Key {
        match self.columns.kind_at(column) {
            Some(kind) if kind != Kind::Note => (Some(kind), 0),
            _ => (None, column),
        }
    }

    /// Adds a row's numbers to the sums.
    pub(super) fn add(&mut self, row: &SheetRow) {
        for (at, cell) in row.filled() {
            let lower = cell.text.to_lowercase();
            if ["ch", "slot"].iter().any(|word| lower.contains(word)) {
                continue;
            }
            let number = cells::whole(&cell.text);
            let product = cells::multiple(&cell.text).map(|of| of.count.saturating_mul(of.each));
            if let Some(number) = number.or(product) {
                let key = self.key(at);
                let live = Some(&mut self.live).filter(|_| !self.idle);
                for sums in [&mut self.sums].into_iter().chain(live) {
                    let sum = sums.all.entry(key).or_insert(0);
                    *sum = sum.saturating_add(number);
                }
            }
        }
    }

    /// Whether a row is a total, by its words or its numbers; if so, a note on each number that is
    /// no sum.
    pub(super) fn is_total(&self, row: &SheetRow) -> Option<Vec<Note>> {
        const PLACED: [Kind; 5] =
            [Kind::Port, Kind::Start, Kind::Universe, Kind::Slot, Kind::StartChannel];
        let placed = PLACED.iter().any(|kind| {
            let cell = self.columns.at(*kind).and_then(|at| row.cells.get(at));
            cell.is_some_and(|cell| !cell.text.is_empty() && !cell.merged)
        });
        let cell = |kind: Kind| self.columns.cell(row, kind).is_some();
        let unnamed = !cell(Kind::Name) && !cell(Kind::Controller) && self.found.props.len() > 1;
        let worded = !placed && is_worded(row);
        if placed || !worded && !unnamed {
            return None;
        }
        let (mut numbers, mut wrong) = (0, Vec::new());
        for (at, cell) in row.filled() {
            let Some(number) = cells::whole(&cell.text) else { continue };
            numbers += 1;
            let key = self.key(at);
            if self.sums.fits(key, number) || self.live.fits(key, number) {
                continue;
            }
            let all = self.sums.since(key, None);
            let last = self.sums.marks.last();
            let since = last.map_or_else(String::new, |last| {
                format!(", {} since the last total", self.sums.since(key, Some(last)))
            });
            let what = format!(
                "a total that is not the sum of the rows above: it is {number}, they have {all} in all{since}; kept as a comment"
            );
            wrong.push(Note {
                row: Some(row.number),
                column: self.columns.heading_at(at).to_owned(),
                text: cell.text.clone(),
                ..Note::of_table(what, Grade::Wrong)
            });
        }
        (worded || numbers > 0 && wrong.is_empty()).then_some(wrong)
    }
}
