//! Reads workbooks (ECMA-376, `.xlsx` and `.xlsm`) as rows of cells. Only this file knows the crate
//! for that.
//!
//! The archive is first unpacked once and only counted, so that a small file cannot fill the
//! memory. Macros are never read. A formula counts with the value that the file keeps.

use super::remarks;
use super::sheet::{Cell, MOST_CELLS, MOST_ROWS, SheetRow};
use super::{Grade, Note};
use crate::diagnostic::words;
use calamine::{
    DataRef, Dimensions, Reader as _, SheetType, SheetVisible, Xlsx, XlsxCellFormulaMetadataRecord,
    XlsxFormulaMetadata,
};
use std::collections::BTreeMap;
use std::io::{Cursor, Read as _, copy, sink};

const MIB: u64 = 1024 * 1024;
/// The most bytes of one part: of a sheet, and of any other part.
const MOST_PART: [u64; 2] = [192 * MIB, 32 * MIB];
/// The most bytes of all parts together, and how many parts there may be.
const MOST_BYTES: u64 = 384 * MIB;
const MOST_PARTS: usize = 4_000;
/// The most texts that the cells of a workbook share.
const MOST_TEXTS: u64 = 2_000_000;
/// Columns beyond this one are not read.
const MOST_COLUMNS: u32 = 1_024;
/// The most sheets that are looked at.
const MOST_SHEETS: usize = 64;

/// A sheet of a workbook.
#[derive(Debug, Default)]
pub struct Page {
    /// Its name.
    pub name: String,
    /// Whether the workbook hides it.
    pub hidden: bool,
    /// Whether it says the same as the sheet `strings` beside it, in tinsel's own workbook.
    pub ours: bool,
    /// Whether it lists props whose ports and addresses are in other sheets.
    pub of_props: bool,
    /// Why it is not read as a table of props, where it has a header of them.
    pub left: String,
    /// How notes name it.
    pub place: String,
    /// Rows that hold anything.
    pub rows: Vec<SheetRow>,
    /// Notes on its cells, and on the sheet.
    pub notes: Vec<Note>,
    /// Remarks on its cells, by row.
    pub remarks: BTreeMap<usize, Vec<String>>,
}

/// Whether these are the bytes of an archive, as workbooks are.
pub fn is_archive(bytes: &[u8]) -> bool {
    bytes.starts_with(b"PK")
}

/// Reads all sheets of a workbook.
///
/// # Errors
/// In words, why not; for a cell that can't be read, with its name.
pub fn read(bytes: &[u8]) -> Result<Vec<Page>, String> {
    measure(bytes)?;
    let broken = |error| format!("it can't be read as a workbook: {error}");
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(broken)?;
    let sheets = book.sheets_metadata().iter();
    let names: Vec<(String, bool)> = sheets
        .filter(|sheet| sheet.typ == SheetType::WorkSheet)
        .map(|sheet| (sheet.name.clone(), sheet.visible != SheetVisible::Visible))
        .collect();
    if names.len() > MOST_SHEETS {
        return Err(format!("it has more than {MOST_SHEETS} sheets"));
    }
    let again = names
        .iter()
        .enumerate()
        .find(|(at, (name, _))| names.iter().take(*at).any(|(n, _)| n == name));
    if let Some((_, (name, _))) = again {
        return Err(format!("it has two sheets called `{}`: rename one", words::shown(name)));
    }
    let mut cells = 0;
    let pages = names.into_iter().map(|(name, hidden)| {
        let read = rows(&mut book, &name, &mut cells);
        let (rows, notes) = read
            .map_err(|why| format!("its sheet `{}` can't be read: {why}", words::shown(&name)))?;
        Ok(Page { name, hidden, rows, notes, ..Page::default() })
    });
    let mut pages: Vec<Page> = pages.collect::<Result<_, String>>()?;
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(|why| why.to_string())?;
    let mut text = |name: &str| {
        let mut text = Vec::new();
        if let Ok(part) = archive.by_name(name) {
            // A part that breaks off is read up to there.
            let _ = part.take(MOST_PART[1]).read_to_end(&mut text);
        }
        String::from_utf8_lossy(&text).into_owned()
    };
    remarks::add(&mut text, &mut pages);
    let styles = text("xl/styles.xml");
    if styles.contains("patternType=\"solid\"") {
        let what = "colours of cells are not read: what one means must stand in a column";
        if let Some(page) = pages.first_mut() {
            page.notes.push(Note::of_table(what.to_owned(), Grade::Noted));
        }
    }
    if styles.contains("strike") {
        for page in &mut pages {
            strike(&mut book, page);
        }
    }
    Ok(pages)
}

/// Marks the cells that are struck out.
fn strike(book: &mut Xlsx<Cursor<&[u8]>>, page: &mut Page) {
    let Ok(styles) = book.worksheet_style(&page.name) else {
        let what = format!(
            "which cells of the sheet `{}` are struck out could not be read",
            words::shown(&page.name)
        );
        page.notes.push(Note::of_table(what, Grade::Lost));
        return;
    };
    let place = |row: usize, column: usize| {
        Some((u32::try_from(row.checked_sub(1)?).ok()?, u32::try_from(column).ok()?))
    };
    for row in &mut page.rows {
        let number = row.number;
        for (column, cell) in row.cells.iter_mut().enumerate() {
            let font = place(number, column).and_then(|at| styles.get(at)?.font.as_ref());
            cell.struck = font.is_some_and(|font| font.has_strikethrough());
        }
    }
}

/// Refuses an archive that would unpack to too much, or that is no workbook that can be read.
fn measure(bytes: &[u8]) -> Result<(), String> {
    let broken = |error| format!("it is an archive that can't be unpacked: {error}");
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).map_err(broken)?;
    let workbook = archive.file_names().any(|name| name.is_ok_and(|name| name.ends_with(".rels")));
    if !workbook || archive.index_for_name("xl/workbook.bin").is_some() {
        const AS: &str = "open it, and save its sheet of props as .xlsx or as \"CSV UTF-8\"";
        return Err(format!("it is an archive and no workbook of the kind .xlsx: {AS}"));
    }
    if archive.len() > MOST_PARTS {
        return Err(format!("it has more than {MOST_PARTS} parts"));
    }
    let mut all = 0;
    for at in 0..archive.len() {
        let part = archive.by_index(at).map_err(broken)?;
        let name = part.name().map_err(broken)?.to_lowercase();
        let [sheet, other] = MOST_PART;
        let most = if name.contains("worksheets/") { sheet } else { other };
        let most = most.min(MOST_BYTES - all);
        let mut part = part.take(most + 1);
        let unpacked =
            |error| format!("its part `{}` can't be unpacked: {error}", words::shown(&name));
        let size = if name.ends_with("sharedstrings.xml") {
            let mut text = String::new();
            part.read_to_string(&mut text).map_err(unpacked)?;
            shared(&text)?;
            text.len() as u64
        } else {
            copy(&mut part, &mut sink()).map_err(unpacked)?
        };
        all += size;
        if all > MOST_BYTES {
            return Err(format!("it unpacks to more than {} MiB", MOST_BYTES / MIB));
        }
        if size > most {
            let (name, most) = (words::shown(&name), most / MIB);
            return Err(format!("its part `{name}` unpacks to more than {most} MiB"));
        }
    }
    Ok(())
}

/// Refuses shared texts that claim too high a number: memory is reserved by that number.
fn shared(text: &str) -> Result<(), String> {
    for (at, word) in text.match_indices("uniqueCount") {
        let rest = text.get(at + word.len()..).unwrap_or("");
        let rest = rest.trim_start_matches([' ', '=', '"', '\'', '\t', '\r', '\n']);
        let digits = rest.split(|c: char| !c.is_ascii_digit()).next().unwrap_or("");
        if !digits.is_empty() && digits.parse().is_ok_and(|count: u64| count <= MOST_TEXTS) {
            continue;
        }
        if !digits.is_empty() {
            return Err(format!("it says that its cells share more than {MOST_TEXTS} texts"));
        }
    }
    Ok(())
}

/// The name of a cell, row and column from 0.
fn cell_name(row: u32, column: u32) -> String {
    let (mut letters, mut rest) = (Vec::new(), u64::from(column) + 1);
    while rest > 0 {
        rest -= 1;
        letters.push(char::from(b'A' + (rest % 26) as u8));
        rest /= 26;
    }
    let letters: String = letters.iter().rev().collect();
    format!("{letters}{}", u64::from(row) + 1)
}

/// What a cell says as text; `None` where it holds a fault.
fn value(data: &DataRef<'_>) -> Option<Cell> {
    let text = match data {
        DataRef::Int(number) => number.to_string(),
        // Spreadsheets show 15 digits: what a formula gives as 49.999999999999993 is 50 there.
        DataRef::Float(number) if number.fract() != 0.0 => {
            format!("{number:.14e}").parse().unwrap_or(*number).to_string()
        }
        DataRef::Float(number) => number.to_string(),
        DataRef::String(text) => return Some(Cell::new(text, false)),
        DataRef::SharedString(text) => return Some(Cell::new(text, false)),
        DataRef::Bool(true) => "yes".to_owned(),
        DataRef::Bool(false) => "no".to_owned(),
        DataRef::DateTime(date) => {
            let (year, month, day, ..) = date.to_ymd_hms_milli();
            format!("{year:04}-{month:02}-{day:02} (a date)")
        }
        DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => format!("{text} (a date)"),
        DataRef::Error(_) => return None,
        DataRef::Empty => return Some(Cell::default()),
    };
    Some(Cell::new(&text, matches!(data, DataRef::Float(_))))
}

/// A cell of a row; `None` where it is empty. A cell without a value is reported and keeps its
/// formula as text, so that it does not count as blank.
fn cell(
    record: &XlsxCellFormulaMetadataRecord<'_>,
    (row, place): (usize, &str),
    notes: &mut Vec<Note>,
) -> Option<Cell> {
    let formula = record.formula.as_ref().map(|formula| match formula {
        XlsxFormulaMetadata::Normal { formula } | XlsxFormulaMetadata::Shared { formula, .. } => {
            formula.as_str()
        }
        // Such as a part of a shared formula; the crate may add kinds.
        _ => "",
    });
    let read = value(&record.value);
    let what = match &read {
        Some(_) if formula.is_some() && matches!(record.value, DataRef::Empty) => {
            "has a formula without a kept value; open the workbook and save it"
        }
        Some(_) => return read.filter(|cell| !cell.text.is_empty()),
        None => "holds the error of a formula, no value",
    };
    let text = format!("={}", formula.unwrap_or(""));
    let own = Cell::new(&text, false);
    let note = Note::of_table(format!("cell {place} {what}"), Grade::Lost);
    notes.push(Note { row: Some(row), text, ..note });
    Some(own)
}

/// Reads the rows of a sheet; `count` counts the cells of all sheets.
fn rows(
    book: &mut Xlsx<Cursor<&[u8]>>,
    name: &str,
    count: &mut usize,
) -> Result<(Vec<SheetRow>, Vec<Note>), String> {
    let (mut rows, mut notes): (Vec<SheetRow>, Vec<Note>) = (Vec::new(), Vec::new());
    let mut reader = (book.worksheet_cells_reader(name)).map_err(|error| error.to_string())?;
    let mut last = None;
    loop {
        let record = reader.next_cell_with_formula_metadata().map_err(|error| match last {
            Some((row, column)) => format!("after cell {}: {error}", cell_name(row, column)),
            None => format!("before its first cell: {error}"),
        })?;
        let Some(record) = record else { break };
        let (row, column) = record.pos;
        let place = cell_name(row, column);
        let number = usize::try_from(row).unwrap_or(usize::MAX).saturating_add(1);
        if let Some((row, column)) = last.filter(|last| *last >= record.pos) {
            return Err(format!("cell {place} stands after cell {}", cell_name(row, column)));
        }
        last = Some(record.pos);
        let Some(cell) = cell(&record, (number, &place), &mut notes) else { continue };
        if column >= MOST_COLUMNS {
            return Err(format!("cell {place} stands beyond column {MOST_COLUMNS}: take it out"));
        }
        let column = column as usize;
        if rows.last().is_none_or(|last| last.number != number) {
            rows.push(SheetRow { number, cells: Vec::new() });
        }
        let Some(own) = rows.last_mut() else { break };
        *count += (column + 1).saturating_sub(own.cells.len());
        if rows.len() > MOST_ROWS || *count > MOST_CELLS {
            return Err(format!(
                "it has more than {MOST_ROWS} rows or {MOST_CELLS} cells up to cell {place}"
            ));
        }
        if let Some(own) = rows.last_mut() {
            own.put(column, cell);
        }
    }
    drop(reader);
    let merged = book.merge_cells_by_sheet_name(name);
    let merged = merged.map_err(|error| format!("its merged cells: {error}"))?;
    spread(&mut rows, &merged, count)?;
    Ok((rows, notes))
}

/// Gives all cells of a merged area its text, in the rows and columns that hold anything.
fn spread(rows: &mut [SheetRow], merged: &[Dimensions], count: &mut usize) -> Result<(), String> {
    let widest = rows.iter().map(|row| row.cells.len()).max().unwrap_or(0);
    for area in merged {
        let (top, left) = (area.start.0 as usize + 1, area.start.1 as usize);
        let bottom = (area.end.0 as usize).saturating_add(1);
        let right = (area.end.1 as usize).min(widest.saturating_sub(1));
        let first = rows.partition_point(|row| row.number < top);
        let head = rows.get(first).filter(|row| row.number == top);
        let text = head.map_or("", |row| row.text(left)).to_owned();
        if text.is_empty() {
            continue;
        }
        for row in rows.iter_mut().skip(first).take_while(|row| row.number <= bottom) {
            *count += (right + 1).saturating_sub(left);
            if *count > MOST_CELLS {
                let place = cell_name(area.start.0, area.start.1);
                return Err(format!("the merged cell {place} fills more than {MOST_CELLS} cells"));
            }
            for column in left..=right {
                if (row.number, column) == (top, left) {
                    continue;
                }
                row.put(column, Cell { merged: true, ..Cell::new(&text, false) });
            }
        }
    }
    Ok(())
}
