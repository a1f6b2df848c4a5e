//! The lock as a text beside the display: `yard.tinsel` has `yard.lock`.
//!
//! ```yaml
//! # Where each string lies: written by `tinsel build`, to be kept under version control.
//! format: "1.2"
//! display: "Kestrel Quay"
//! universe_slots: 512
//! renamed:
//!   - egret -> heron
//! controllers:
//!   - {name: boathouse, host: "192.168.40.11", input: e131 unicast, first: 1, universes: 40, addressing: per port, from: 1}
//! strings:
//!   flood[1]: {port: boathouse.dmx1, start: 40/1, slots: 6}
//!   heron[3]: {port: boathouse.4, start: 12/307, slots: 150, nodes: 50, each: 3, colour: RGB, chip: ws2811, dark: 1}
//! ...
//! ```
//!
//! It is YAML in which each line can be read alone: a change is a small diff, and two branches that
//! add different props merge by line. No line counts the others: there is no total, checksum, date
//! or version of the program. `start` is universe and slot, counted by `universe_slots`. Rows are
//! sorted by name in byte order. The last line ends a document in YAML; a text without it was cut
//! off.
//!
//! `renamed` lists the `renamed` statements that builds have carried over, so that none is carried
//! over again. `controllers` has what people typed into each: `first` universe, number of
//! `universes` in use, the universe to begin `from` where the display wrote one, and, where they
//! are not the usual ones, `universe_slots` (slots of a universe that it uses), `whole_nodes`,
//! `priority`, `sync` and `level` in percent. A row has `nodes`, slots of `each`, `colour` order
//! and `chip`, and, where they are not the usual ones, `dark` nodes before the string and `within`
//! it, its `place` on a port that addresses per prop, its port's own `level`, whether it is
//! `stored`, and from where and why a build last `moved` it. What an older format does not say
//! counts as unchanged.
//!
//! **How it may change.** The number before the dot is raised when an older program would misread
//! the lock; that program refuses it. The number after the dot is raised for additions that an
//! older program can ignore: a line in the head, or a word in a row after the known ones. That
//! program loads the lock and writes additions and number back. Every format ever written stays
//! readable and has a fixture in `tests/lock/`.
//!
//! History: 1.0 is the first. 1.1 added `renamed` to the head. 1.2 added `controllers` to the head,
//! and in a row the words after `slots`.

mod read;
mod set_up;
mod write;

pub use read::read;
pub use write::write;

pub use crate::source::MOST_LOCK_BYTES as MOST_BYTES;

use crate::diagnostic::Sink;
use crate::lock::{Lock, LockRow, SetUp};
use crate::model::{Model, StringId};
use crate::plan::Plan;
use crate::rules;
use crate::source::Span;
use std::collections::BTreeMap;
use std::sync::Arc;

/// The number before the dot of the format that is written.
pub const MAJOR: u32 = 1;
/// The number after the dot of that format.
pub const MINOR: u32 = 2;

/// A lock as it was read.
#[derive(Debug, Clone)]
pub struct LockText {
    /// Its name in findings.
    pub name: Box<str>,
    /// Its text.
    pub text: Arc<str>,
    /// What it says.
    pub lock: Lock,
    /// The second row of each string that a merge left with two, by name; the first is in `lock`.
    pub again: Vec<LockRow>,
    /// The second line of each controller that has two, by name; the first is in `lock`.
    pub boxes_again: Vec<SetUp>,
    /// What a newer minor format added to it.
    pub added: Added,
    /// Its line `display:`.
    pub display_at: Span,
}

impl LockText {
    /// Whether a lock's text is this one. Line ends may differ: version control may change them.
    #[must_use]
    pub fn is(&self, text: &str) -> bool {
        *self.text == *text || self.text.lines().eq(text.lines())
    }

    /// Whether a build would leave the lock as it is, except for its format, its list of renames
    /// and what an older format does not say. `next` is the lock that the build would write, and
    /// `added` what it keeps of a newer format.
    #[must_use]
    pub fn stands(&self, next: &Lock, added: &Added) -> bool {
        let mut next = next.clone();
        next.renamed.clone_from(&self.lock.renamed);
        if self.lock.boxes.is_empty() {
            next.boxes.clear();
        }
        for row in &mut next.rows {
            if self.lock.row(&row.name).is_some_and(|old| old.made.is_none() && !old.stored) {
                row.made = None;
                row.stored = false;
            }
        }
        let mut added = added.clone();
        added.minor = self.added.minor;
        self.is(&write(&next, &added))
    }

    /// What a newer format added, under the present names of the strings.
    #[must_use]
    pub fn added_today(&self, model: &Model, plan: &Plan) -> Added {
        let mut added = self.added.clone();
        added.minor = added.minor.max(MINOR);
        let Some(past) = plan.past.as_ref().filter(|_| !added.rows.is_empty()) else {
            return added;
        };
        added.rows.clear();
        for id in (0..model.strings.len()).map(StringId::from) {
            let old = past.of(id).and_then(|was| self.lock.rows.get(was.row));
            if let Some(words) = old.and_then(|old| self.added.rows.get(&old.name)) {
                added.rows.insert(model.name_of(id).into(), words.clone());
            }
        }
        added
    }

    /// Whether it is the lock of this display; if not, that is reported. A missing name fits any.
    #[must_use]
    pub fn is_of(&self, model: &Model, sink: &mut Sink) -> bool {
        let (mine, theirs) = (&model.display.name, &self.lock.display);
        let same = mine == theirs || mine.is_empty() || theirs.is_empty();
        if !same {
            let names = (&**theirs, &**mine);
            let told = rules::lock::unreadable::others(
                &self.name,
                self.display_at,
                names,
                model.display.at,
            );
            sink.push(told);
        }
        same
    }
}

/// What a newer minor format added, as it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Added {
    /// The minor format.
    pub minor: u32,
    /// Lines of the head.
    pub head: Vec<String>,
    /// What stands after the known words in a controller's line, by its name: `, word: value`.
    pub boxes: BTreeMap<Box<str>, String>,
    /// What stands after the known words in a string's row, by its name: `, word: value`.
    pub rows: BTreeMap<Box<str>, String>,
}

impl Default for Added {
    fn default() -> Self {
        Self { minor: MINOR, head: Vec::new(), boxes: BTreeMap::new(), rows: BTreeMap::new() }
    }
}

/// Whether readers of YAML take a name for something other than a text.
fn is_taken(name: &str) -> bool {
    const TAKEN: [&str; 9] = ["null", "true", "false", "yes", "no", "on", "off", "y", "n"];
    TAKEN.iter().any(|word| name.eq_ignore_ascii_case(word))
}
