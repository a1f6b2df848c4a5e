//! The rows of a table that the page shows at a time.

use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::io;
use tinsel::output::sheet::{Sheet, fill};
use tinsel::survey::{BY, View};
use tinsel::table::Cell;

/// Which rows are wanted.
#[derive(Deserialize)]
pub struct Wanted {
    /// The table, by a word of [`BY`]; `None` for the first.
    by: Option<String>,
    /// Part of a name, an address such as `12/307`, a channel; empty for all rows.
    like: String,
    /// The first row wanted of those that match, from 0.
    from: usize,
    /// The most rows wanted.
    most: usize,
}

/// Rows of a table.
#[derive(Serialize, Default)]
pub struct Rows {
    head: Vec<String>,
    rows: Vec<Vec<Value>>,
    /// How many rows match.
    total: usize,
}

/// What is searched for.
enum Like {
    All,
    /// In lower case.
    Name(String),
    /// A channel from 1, its universe, and the text that was searched for.
    Channel(u64, u64, String),
}

impl Like {
    fn of(text: &str, slots: u64) -> Self {
        let text = text.trim().to_lowercase();
        if text.is_empty() {
            return Self::All;
        }
        let number = |digits: &str| digits.trim().parse::<u64>().ok().filter(|number| *number > 0);
        let channel = match text.split_once('/') {
            Some((universe, slot)) => {
                number(universe).zip(number(slot)).and_then(|(universe, slot)| {
                    (slot <= slots).then(|| (universe - 1).checked_mul(slots)?.checked_add(slot))?
                })
            }
            None => number(&text),
        };
        match channel {
            Some(channel) => Self::Channel(channel, (channel - 1) / slots + 1, text),
            None => Self::Name(text),
        }
    }

    fn matches(&self, head: &[String], row: &[Value]) -> bool {
        let cell = |name: &str| {
            let at = head.iter().position(|head| head == name)?;
            row.get(at)?.as_u64()
        };
        let named = |text: &str| {
            let texts = row.iter().filter_map(Value::as_str);
            texts.into_iter().any(|cell| cell.to_lowercase().contains(text))
        };
        match self {
            Self::All => true,
            Self::Name(text) => named(text),
            Self::Channel(channel, universe, text) => {
                let within = |first: Option<u64>, last: Option<u64>, what: &u64| {
                    first.zip(last).is_some_and(|(first, last)| (first..=last).contains(what))
                };
                within(cell("start_channel"), cell("end_channel"), channel)
                    || within(cell("first_channel"), cell("last_channel"), channel)
                    || cell("universe") == Some(*universe)
                    // Rows with channels are decided by those, not by their universes.
                    || cell("first_channel").is_none()
                        && within(cell("first_universe"), cell("last_universe"), universe)
                    || named(text)
            }
        }
    }
}

/// Collects the rows that match.
struct Collector<'a> {
    wanted: &'a Wanted,
    like: Like,
    row: Vec<Value>,
    found: Rows,
}

impl Sheet for Collector<'_> {
    fn head(&mut self, name: &str) -> io::Result<()> {
        self.found.head.push(name.to_owned());
        Ok(())
    }

    fn put(&mut self, cell: &Cell<'_>) -> io::Result<()> {
        self.row.push(match cell {
            Cell::Text(text) => (&**text).into(),
            Cell::Number(number) => (*number).into(),
            Cell::Decimal(decimal) => decimal.words().into(),
            _ => "".into(),
        });
        Ok(())
    }

    fn end(&mut self) -> io::Result<()> {
        let row = std::mem::take(&mut self.row);
        // The end of the headings comes here too, with no cells.
        if row.is_empty() {
            return Ok(());
        }
        if self.like.matches(&self.found.head, &row) {
            let shown = self.found.total.checked_sub(self.wanted.from);
            if shown.is_some_and(|shown| shown < self.wanted.most) {
                self.found.rows.push(row);
            }
            self.found.total += 1;
        }
        Ok(())
    }
}

/// The wanted rows of a display with `slots` slots in a universe.
///
/// # Errors
/// That there is no such table.
pub fn rows(view: &View<'_>, slots: u64, wanted: &Wanted) -> Result<Rows, String> {
    let by = wanted.by.as_deref();
    let table = BY.iter().find(|(word, _)| by.is_none_or(|by| by == *word));
    let (_, table) = table.ok_or_else(|| format!("there is no table by {}", by.unwrap_or("")))?;
    let mut collector = Collector {
        wanted,
        like: Like::of(&wanted.like, slots),
        row: Vec::new(),
        found: Rows::default(),
    };
    fill(&table(view), &mut collector).map_err(|error| error.to_string())?;
    Ok(collector.found)
}
