//! From bytes to rows of cells: encoding, separator, quotes.

use csv::{ByteRecord, ReaderBuilder};

/// A table has no more, so that a small file can't fill the memory.
const MOST_ROWS: usize = 100_000;
const MOST_CELLS: usize = 2_000_000;

/// A row of cells, blanks around them cut off.
#[derive(Debug)]
pub struct Row {
    /// Its number as a spreadsheet counts rows, from 1.
    pub number: usize,
    /// Its cells.
    pub cells: Vec<String>,
}

/// Reads the rows that hold anything.
///
/// # Errors
/// In words, why not.
pub fn read(bytes: &[u8]) -> Result<Vec<Row>, String> {
    let text = text(bytes)?;
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
    loop {
        // An empty line makes no record, yet a spreadsheet counts it as a row; a line end within quotes makes
        // a line that is no row.
        let from = reader.position().clone();
        match reader.read_byte_record(&mut record) {
            Ok(true) => {}
            Ok(false) => return Ok(rows),
            Err(error) => return Err(format!("it can't be read as a table: {error}")),
        }
        let start = record.position().map_or(line, csv::Position::line);
        let raw = usize::try_from(from.byte()).ok();
        let raw_end = usize::try_from(reader.position().byte()).ok();
        let raw = raw
            .zip(raw_end)
            .and_then(|(a, b)| text.get(a..b))
            .unwrap_or("");
        let blank = raw.chars().take_while(|c| matches!(c, '\r' | '\n'));
        number += 1 + blank.filter(|c| *c == '\n').count();
        line = reader.position().line();
        let ends = raw.trim_end_matches(['\r', '\n']).contains('\n');
        let is_last = raw_end == Some(text.len());
        if is_last && ends && raw.matches('"').count() % 2 == 1 {
            return Err(format!(
                "a quote that is opened in line {start} is never closed"
            ));
        }
        let cells: Vec<String> = record
            .iter()
            .map(|cell| String::from_utf8_lossy(cell).trim().to_owned())
            .collect();
        sizes = (sizes.0 + 1, sizes.1 + cells.len());
        if sizes.0 > MOST_ROWS || sizes.1 > MOST_CELLS {
            return Err(format!(
                "it has more than {} rows or {} cells",
                MOST_ROWS, MOST_CELLS
            ));
        }
        if cells.iter().any(|cell| !cell.is_empty()) {
            rows.push(Row { number, cells });
        }
    }
}

/// The text of a file, without a byte-order mark.
fn text(bytes: &[u8]) -> Result<&str, String> {
    const AS: &str = "save it as \"CSV UTF-8\"";
    if bytes.starts_with(b"PK") {
        return Err("it is a workbook: save its sheet of props as \"CSV UTF-8\"".to_owned());
    }
    if bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]) {
        return Err(format!("it is UTF-16: {AS}"));
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if bytes.contains(&0) {
        return Err(format!("it is no text (it has a NUL byte): {AS}"));
    }
    std::str::from_utf8(bytes).map_err(|error| {
        let before = bytes.get(..error.valid_up_to()).unwrap_or(&[]);
        let line = before.iter().filter(|byte| **byte == b'\n').count() + 1;
        let byte = bytes.get(error.valid_up_to()).copied().unwrap_or(0);
        format!("line {line} has the byte {byte:02X}, which is no UTF-8 (Latin-1, perhaps): {AS}")
    })
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
        // The first of equals; `max_by_key` would take the last.
        let most = counts.iter().rev().max_by_key(|(_, count)| *count);
        if let Some((mark, 1..)) = most {
            return *mark;
        }
    }
    b','
}
