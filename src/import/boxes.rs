//! A second sheet of a workbook that says where the boxes are on the network.

use super::book::Page;
use super::columns::{self, Kind};
use super::found::{Board, Found};
use super::sheet::Row;
use super::{Grade, Note, Reading};
use crate::diagnostic::words::shown;

/// Takes hosts and inputs from a sheet that names boxes of the table; whether it is one.
pub fn read(page: &Page, reading: &Reading, found: &mut Found, notes: &mut Vec<Note>) -> bool {
    let Some((at, kinds, headings)) = columns::of_hosts(&page.rows, reading) else {
        return false;
    };
    let column = |wanted: &[Kind]| {
        let is = |kind: &Option<Kind>| kind.is_some_and(|kind| wanted.contains(&kind));
        kinds.iter().position(is)
    };
    let Some(name) = column(&[Kind::Controller, Kind::Name]) else {
        return false;
    };
    let (host, protocol) = (column(&[Kind::Host]), column(&[Kind::Chip]));
    let rows = page.rows.get(at + 1..).unwrap_or(&[]);
    if !rows.iter().any(|row| board(found, row.text(name)).is_some()) {
        return false;
    }
    for row in rows {
        let mut note = |column: usize, what: &str| {
            let note = Note::of_table(what.to_owned(), Grade::Lost);
            let heading = headings.get(column).map_or("", String::as_str);
            notes.push(Note {
                row: Some(row.number),
                column: heading.to_owned(),
                place: format!("sheet `{}`", shown(&page.name)),
                text: row.text(column).to_owned(),
                ..note
            });
        };
        let mut left: Vec<usize> = row.filled().map(|(at, _)| at).collect();
        match board(found, row.text(name)) {
            None => note(name, "nothing of the table hangs on it; kept as a comment"),
            Some(board) => {
                left.retain(|at| {
                    let text = row.text(*at);
                    let why = match (*at == name, Some(*at) == host, input(text)) {
                        (true, ..) => None,
                        (_, true, _) => {
                            let why = set_host(board, text);
                            if why.is_none() && board.host_cell.is_none() {
                                let note = Note::of_table(String::new(), Grade::Wrong);
                                let column = headings.get(*at).cloned().unwrap_or_default();
                                let place = format!("sheet `{}`", shown(&page.name));
                                let (row, text) = (Some(row.number), text.to_owned());
                                board.host_cell = Some(Note { row, place, column, text, ..note });
                            }
                            why
                        }
                        (_, _, Some(words)) => {
                            board.input = Some(words);
                            None
                        }
                        (_, _, None) if Some(*at) == protocol => {
                            Some("no input that is known; kept as a comment")
                        }
                        (_, _, None) => return true,
                    };
                    if let Some(why) = why {
                        note(*at, why);
                    }
                    why.is_some()
                });
            }
        }
        found.comments.extend(comment(page, row, &headings, &left));
    }
    let what = format!("the sheet `{}` was read for hosts and inputs", shown(&page.name));
    notes.push(Note::of_table(what, Grade::Told));
    true
}

/// The controller that a text names, as the table writes it.
fn board<'f>(found: &'f mut Found, text: &str) -> Option<&'f mut Board> {
    let is = |name: &str| !text.is_empty() && name.to_lowercase() == text.to_lowercase();
    found.boxes.iter_mut().find(|board| is(&board.name) || board.label.as_deref().is_some_and(is))
}

/// Sets the host of a controller, or says why not.
fn set_host(board: &mut Board, text: &str) -> Option<&'static str> {
    let lawful = |c: char| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | ':');
    if !text.chars().all(lawful) {
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

/// What a row says besides.
fn comment(page: &Page, row: &Row, headings: &[String], left: &[usize]) -> Option<String> {
    let said = |at: &usize| {
        let heading = headings.get(*at).map_or("", String::as_str);
        format!("{heading}: {}", row.text(*at))
    };
    let said: Vec<String> = left.iter().map(said).collect();
    let begin = columns::begin(row);
    (!said.is_empty())
        .then(|| format!("sheet {}, row {}, {begin}: {}", page.name, row.number, said.join("; ")))
}
