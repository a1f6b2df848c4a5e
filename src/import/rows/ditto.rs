//! Cells with a mark that means "as above".

use crate::import::columns::Section;
use crate::import::sheet::{Cell, Row};
use crate::import::{Grade, Note};
use std::collections::BTreeSet;

/// What stands for the cell above, in small letters.
const MARKS: [&str; 16] = [
    "\"",
    "''",
    "\u{3003}",
    "ditto",
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

/// Gives each cell with such a mark what stands above it. Rows of one cell are words, and stand between.
pub fn fill(rows: &mut [Row], sections: &[Section], notes: &mut Vec<Note>) {
    let (mut filled, mut columns) = (BTreeSet::new(), BTreeSet::new());
    for section in sections {
        let mut above: Vec<Cell> = Vec::new();
        for at in &section.rows {
            let Some(row) = rows.get_mut(*at).filter(|row| row.filled().nth(1).is_some()) else {
                continue;
            };
            let number = row.number;
            for (column, cell) in row.cells.iter_mut().enumerate() {
                let known = above.get(column).filter(|above| !above.text.is_empty());
                let marked = MARKS.contains(&cell.text.to_lowercase().as_str());
                if let Some(above) = known.filter(|_| marked) {
                    *cell = Cell { merged: false, ..above.clone() };
                    filled.insert(number);
                    columns.insert(section.columns.heading_at(column).to_owned());
                }
            }
            if !super::total::is_worded(row) {
                above.clone_from(&row.cells);
            }
        }
    }
    if !filled.is_empty() {
        let rows: Vec<String> = filled.iter().map(ToString::to_string).collect();
        let columns: Vec<String> = columns.into_iter().map(|name| format!("`{name}`")).collect();
        let what = format!(
            "ditto marks are read as the cell above them: column {}, row {}",
            columns.join(", "),
            rows.join(", ")
        );
        notes.push(Note::of_table(what, Grade::Told));
    }
}
