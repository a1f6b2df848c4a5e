//! Cells with a mark that means "as above".

use crate::import::columns::Block;
use crate::import::settle::ranges;
use crate::import::sheet::{Cell, SheetRow};
use crate::import::{Grade, Note};
use std::collections::BTreeSet;

/// What stands for the cell above, in small letters.
const MARKS: [&str; 17] = [
    "\"",
    "''",
    "\u{3003}",
    "ditto",
    "same",
    "do.",
    "-\"-",
    "-''-",
    "\u{201d}",
    "\u{201c}",
    "\u{201e}",
    "\u{2033}",
    ",,",
    "- \" -",
    "--\"--",
    "~\"~",
    "-\u{3003}-",
];

/// Whether a cell means the one above it.
pub fn is_mark(text: &str) -> bool {
    text.len() <= 9 && MARKS.contains(&text.to_lowercase().as_str())
}

/// Replaces each such mark by the cell above it. Rows of one cell and totals do not count as above.
pub fn fill(rows: &mut [SheetRow], sections: &[Block], notes: &mut Vec<Note>) {
    let (mut filled, mut columns) = (BTreeSet::new(), BTreeSet::new());
    for section in sections {
        for (place, at) in section.rows.iter().enumerate() {
            let marked = |(_, cell): &(usize, &Cell)| is_mark(&cell.text);
            let Some(row) = rows.get(*at).filter(|row| row.filled().nth(1).is_some()) else {
                continue;
            };
            let number = row.number;
            let marks: Vec<usize> = row.filled().filter(marked).map(|(column, _)| column).collect();
            if marks.is_empty() {
                continue;
            }
            let before = section.rows.get(..place).unwrap_or(&[]).iter().rev();
            let mut before = before.filter_map(|at| rows.get(*at));
            let plain =
                |row: &&SheetRow| row.filled().nth(1).is_some() && !super::total::is_worded(row);
            let above = before.find(plain).map(|row| row.cells.clone()).unwrap_or_default();
            for column in marks {
                let known = above.get(column).filter(|above| !above.text.is_empty());
                let own = rows.get_mut(*at).and_then(|row| row.cells.get_mut(column));
                if let Some((own, above)) = own.zip(known) {
                    *own = Cell { merged: false, struck: own.struck, ..above.clone() };
                    filled.insert(number);
                    columns.insert(section.columns.heading_at(column).to_owned());
                }
            }
        }
    }
    if !filled.is_empty() {
        let rows: Vec<usize> = filled.into_iter().collect();
        let columns: Vec<String> = columns.into_iter().map(|name| format!("`{name}`")).collect();
        let what = format!(
            "ditto marks are read as the cell above them: column {}, row {}",
            columns.join(", "),
            ranges(&rows)
        );
        notes.push(Note::of_table(what, Grade::Noted));
    }
}
