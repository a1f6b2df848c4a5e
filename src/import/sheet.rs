//! From bytes to rows of cells: encoding, separator, quotes.

use csv::{ByteRecord, ReaderBuilder};
use std::borrow::Cow;

/// The most rows, so that a small file can't fill the memory: 100,000 and what is above them.
pub const MOST_ROWS: usize = 101_000;
/// The most cells of a table, for the same reason.
pub const MOST_CELLS: usize = 2_000_000;

/// A cell.
#[derive(Clone, Debug, Default)]
pub struct Cell {
    /// Its text, without blanks around it.
    pub text: String,
    /// Whether zeros at its end may have been lost; never in a text of a workbook.
    pub number: bool,
    /// Whether the text is that of a merged cell which begins in another cell.
    pub merged: bool,
    /// Whether it is struck out.
    pub struck: bool,
}

impl Cell {
    /// A cell with a text.
    pub fn new(text: &str, number: bool) -> Self {
        let text = text.trim().to_owned();
        Self { text, number, ..Self::default() }
    }
}

/// A row of cells.
#[derive(Clone, Debug)]
pub struct SheetRow {
    /// Its number as a spreadsheet counts rows, from 1.
    pub number: usize,
    /// Its cells.
    pub cells: Vec<Cell>,
}

impl SheetRow {
    /// The text of a column, from 0; empty where it has no such cell.
    pub fn text(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", |cell| &cell.text)
    }

    /// Sets the cell of a column; missing cells before it become empty.
    pub fn put(&mut self, column: usize, cell: Cell) {
        if self.cells.len() <= column {
            self.cells.resize_with(column + 1, Cell::default);
        }
        if let Some(own) = self.cells.get_mut(column) {
            *own = cell;
        }
    }

    /// Its cells that hold anything, with their columns. A merged cell counts once.
    pub fn filled(&self) -> impl Iterator<Item = (usize, &Cell)> {
        let cells = self.cells.iter().enumerate();
        cells.filter(|(_, cell)| !cell.text.is_empty() && !cell.merged)
    }
}

/// Reads the rows that hold anything.
///
/// # Errors
/// In words, why not.
pub fn read(bytes: &[u8]) -> Result<Vec<SheetRow>, String> {
    let mut text = text(bytes)?;
    // A last cell that holds this end of its line was opened and never closed.
    if !text.ends_with('\n') {
        text.to_mut().push('\n');
    }
    let text = &*text;
    let separator = separator(text);
    let mut reader = ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(separator)
        .from_reader(text.as_bytes());
    let mut rows = Vec::new();
    let mut record = ByteRecord::new();
    let mut number = 0;
    let mut line = 1;
    let mut sizes = (0, 0);
    let mut carried = false;
    loop {
        // An empty line makes no record, yet a spreadsheet counts it as a row; a line end within
        // quotes makes a line that is no row.
        let from = reader.position().clone();
        match reader.read_byte_record(&mut record) {
            Ok(true) => {}
            Ok(false) => return Ok(rows),
            Err(error) => return Err(format!("it can't be read as a table: {error}")),
        }
        let start = record.position().map_or(line, csv::Position::line);
        let raw = usize::try_from(from.byte()).ok();
        let raw_end = usize::try_from(reader.position().byte()).ok();
        let raw = raw.zip(raw_end).and_then(|(a, b)| text.get(a..b)).unwrap_or("");
        // The reader leaves the LF of a CR LF to the next record.
        let own = match carried {
            true => raw.strip_prefix('\n').unwrap_or(raw),
            false => raw,
        };
        carried = raw.ends_with('\r');
        let blank = own.chars().take_while(|c| matches!(c, '\r' | '\n'));
        number += 1 + blank.filter(|c| *c == '\n').count();
        line = reader.position().line();
        let ends = record.iter().next_back().is_some_and(|cell| cell.ends_with(b"\n"));
        let is_last = raw_end == Some(text.len());
        if is_last && ends && raw.matches('"').count() % 2 == 1 {
            return Err(format!("a quote that is opened in line {start} is never closed"));
        }
        let cells: Vec<Cell> = record
            .iter()
            .map(|cell| Cell::new(unguarded(&String::from_utf8_lossy(cell)), true))
            .collect();
        sizes = (sizes.0 + 1, sizes.1 + cells.len());
        if sizes.0 > MOST_ROWS || sizes.1 > MOST_CELLS {
            return Err(format!("it has more than {} rows or {} cells", MOST_ROWS, MOST_CELLS));
        }
        if cells.iter().any(|cell| !cell.text.is_empty()) {
            rows.push(SheetRow { number, cells });
        }
    }
}

/// A text without the `'` before it that keeps a spreadsheet from running it as a formula.
fn unguarded(text: &str) -> &str {
    let runs = |rest: &&str| rest.starts_with(['=', '+', '-', '@', '\t', '\r']);
    text.strip_prefix('\'').filter(runs).unwrap_or(text)
}

/// The first bytes of encrypted workbooks, and of workbooks from before 2007.
const COMPOUND: &[u8] = &[0xd0, 0xcf, 0x11, 0xe0, 0xa1, 0xb1, 0x1a, 0xe1];

/// Whether a text is read as Windows-1252.
#[must_use]
pub fn is_western(bytes: &[u8]) -> bool {
    text(bytes).is_ok_and(|text| matches!(text, Cow::Owned(_)))
}

/// The text of a file, without a byte-order mark. One that is not UTF-8 is read as Windows-1252,
/// which has all of Latin-1's letters.
fn text(bytes: &[u8]) -> Result<Cow<'_, str>, String> {
    const AS: &str = "save it as \"CSV UTF-8\"";
    if bytes.starts_with(COMPOUND) {
        // ECMA-376 workbooks with a password lie in a stream of this name (MS-OFFCRYPTO, 2.3.4.4).
        let name: Vec<u8> = "EncryptedPackage".bytes().flat_map(|c| [c, 0]).collect();
        let locked = bytes.windows(name.len()).any(|part| part == name);
        let what = match locked {
            true => "it is a workbook with a password: open it",
            false => "it is a workbook of the kind before 2007: open it",
        };
        return Err(format!("{what}, and of its sheet of props, {AS}"));
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(format!("it is UTF-16: {AS}"));
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if bytes.contains(&0) {
        return Err(format!("it is no text (it has a NUL byte): {AS}"));
    }
    let error = match std::str::from_utf8(bytes) {
        Ok(text) => return Ok(Cow::Borrowed(text)),
        Err(error) => error,
    };
    // Where some letters are valid UTF-8, reading all as Windows-1252 would spoil these.
    let mixed = bytes.utf8_chunks().any(|chunk| !chunk.valid().is_ascii());
    let read = bytes.iter().map(|byte| western(*byte));
    match read.collect::<Option<String>>().filter(|_| !mixed) {
        Some(text) => Ok(Cow::Owned(text)),
        None => {
            let before = bytes.get(..error.valid_up_to()).unwrap_or(&[]);
            let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
            let byte = bytes.get(error.valid_up_to()).copied().unwrap_or(0);
            Err(format!("line {line} has the byte {byte:02X}, which is not UTF-8: {AS}"))
        }
    }
}

/// The letter of a byte in Windows-1252, by the table that the WHATWG's Encoding Standard prints;
/// `None` for the five bytes without a letter.
fn western(byte: u8) -> Option<char> {
    const HIGH: [u16; 32] = [
        0x20ac, 0, 0x201a, 0x0192, 0x201e, 0x2026, 0x2020, 0x2021, 0x02c6, 0x2030, 0x0160, 0x2039,
        0x0152, 0, 0x017d, 0, 0, 0x2018, 0x2019, 0x201c, 0x201d, 0x2022, 0x2013, 0x2014, 0x02dc,
        0x2122, 0x0161, 0x203a, 0x0153, 0, 0x017e, 0x0178,
    ];
    match byte {
        0x80..=0x9f => {
            let code = HIGH.get(usize::from(byte) - 0x80).copied().filter(|code| *code > 0)?;
            char::from_u32(u32::from(code))
        }
        _ => Some(char::from(byte)),
    }
}

/// The separator that stands most often, outside quotes, in the first line that has any.
fn separator(text: &str) -> u8 {
    for line in text.lines() {
        let mut counts = [(b',', 0_usize), (b';', 0), (b'\t', 0)];
        let mut quoted = false;
        for byte in line.bytes() {
            quoted ^= byte == b'"';
            for (mark, count) in &mut counts {
                *count += usize::from(!quoted && byte == *mark);
            }
        }
        // Of equal counts the first; `max_by_key` would take the last.
        let most = counts.iter().rev().max_by_key(|(_, count)| *count);
        if let Some((mark, 1..)) = most {
            return *mark;
        }
    }
    b','
}
