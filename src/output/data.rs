//! A survey as JSON (RFC 8259) or YAML 1.2, for programs: all its values and tables, each row on
//! one line.
//!
//! The same code writes both: a row of YAML is JSON without quotes around its keys. Every text is
//! in double quotes, so that no reader takes `no` or `1e3` for something else.

use super::{GATHERED, digits, pass_on};
use crate::table::{Cell, Face, Head, Part, Survey, Table};
use std::io::{self, Write};

/// Writes JSON.
pub fn json(survey: &Survey<'_>, _width: usize, out: &mut dyn Write) -> io::Result<()> {
    write(survey, false, out)
}

/// Writes YAML.
pub fn yaml(survey: &Survey<'_>, _width: usize, out: &mut dyn Write) -> io::Result<()> {
    write(survey, true, out)
}

fn write(survey: &Survey<'_>, yaml: bool, out: &mut dyn Write) -> io::Result<()> {
    let bytes = Vec::with_capacity(GATHERED + 4 * 1024);
    let mut data = Data { out, bytes, yaml };
    data.parts(&survey.parts, 0)?;
    data.bytes.push(b'\n');
    data.out.write_all(&data.bytes)?;
    data.out.flush()
}

struct Data<'o> {
    out: &'o mut dyn Write,
    bytes: Vec<u8>,
    yaml: bool,
}

impl Data<'_> {
    fn add(&mut self, text: &str) {
        self.bytes.extend_from_slice(text.as_bytes());
    }

    /// Begins a new line, `depth` steps in.
    fn line(&mut self, depth: usize) {
        self.add("\n");
        (0..depth).for_each(|_| self.add("  "));
    }

    /// Writes parts as the entries of an object.
    fn parts(&mut self, parts: &[Part<'_>], depth: usize) -> io::Result<()> {
        let inner = depth + usize::from(!self.yaml);
        self.add(if self.yaml { "" } else { "{" });
        let mut first = true;
        for part in parts {
            let key = match part {
                Part::Value(head, _) | Part::Group(head, _) => head.key,
                Part::Table(table) if table.faces.contains(&Face::Programs) => table.name,
                Part::Table(_) | Part::Words(_) | Part::Lines(_) | Part::Cautions(_) => continue,
            };
            let first = std::mem::replace(&mut first, false);
            if !first && !self.yaml {
                self.add(",");
            }
            if !self.yaml || !first || depth > 0 {
                self.line(inner);
            }
            let before = key_before(key, self.yaml);
            self.add(before.trim_end());
            match part {
                Part::Table(table) => self.table(table, inner)?,
                Part::Group(_, Some(parts)) => {
                    self.add(if self.yaml { "" } else { " " });
                    self.parts(parts, inner + usize::from(self.yaml))?;
                }
                Part::Value(_, cell) => {
                    self.add(" ");
                    self.cell(cell);
                }
                _ => self.add(" null"),
            }
        }
        if !self.yaml {
            self.line(depth);
            self.add("}");
        }
        Ok(())
    }

    fn table(&mut self, table: &Table<'_>, depth: usize) -> io::Result<()> {
        let columns = table.columns(Face::Programs);
        let columns: Vec<(usize, String)> = columns
            .map(|(at, head): (usize, &Head)| (at, key_before(head.key, self.yaml)))
            .collect();
        self.add(if self.yaml { "" } else { " [" });
        let mut any = false;
        table.each(&mut |row| {
            if std::mem::replace(&mut any, true) && !self.yaml {
                self.add(",");
            }
            self.line(depth + 1);
            self.add(if self.yaml { "- {" } else { "{" });
            for (number, (at, key)) in columns.iter().enumerate() {
                self.add(if number > 0 { ", " } else { "" });
                self.add(key);
                self.cell(&row.cell(*at));
            }
            self.add("}");
            pass_on(&mut self.bytes, self.out)
        })?;
        match (self.yaml, any) {
            (true, true) => {}
            (true, false) => self.add(" []"),
            (false, true) => {
                self.line(depth);
                self.add("]");
            }
            (false, false) => self.add("]"),
        }
        Ok(())
    }

    fn cell(&mut self, cell: &Cell<'_>) {
        match cell {
            Cell::None => self.add("null"),
            Cell::Text(text) => self.text(text),
            Cell::Number(number) => digits(*number, &mut self.bytes),
            Cell::Decimal(number) => self.add(&number.words()),
            Cell::Flag(flag) => self.add(if *flag { "true" } else { "false" }),
            Cell::Point(point) => {
                let number = |number: u32| Cell::from(number);
                let (universe, slot) = (number(point.universe), number(point.slot));
                self.object([
                    ("universe", &universe),
                    ("slot", &slot),
                    ("channel", &point.channel.into()),
                ]);
            }
            Cell::List(cells) => {
                self.add("[");
                for (at, cell) in cells.iter().enumerate() {
                    self.add(if at > 0 { ", " } else { "" });
                    self.cell(cell);
                }
                self.add("]");
            }
            Cell::Object(cells) => self.object(cells.iter().map(|(key, cell)| (*key, cell))),
        }
    }

    fn object<'c>(&mut self, cells: impl IntoIterator<Item = (&'static str, &'c Cell<'c>)>) {
        self.add("{");
        for (at, (key, cell)) in cells.into_iter().enumerate() {
            self.add(if at > 0 { ", " } else { "" });
            self.add(&key_before(key, self.yaml));
            self.cell(cell);
        }
        self.add("}");
    }

    /// Writes a text in double quotes. JSON must escape quotes, backslashes and C0 controls (RFC
    /// 8259, section 7). YAML takes no other control characters either, and would fold its line
    /// separators (YAML 1.2, section 5.1).
    fn text(&mut self, text: &str) {
        self.add("\"");
        let mut from = 0;
        for (at, c) in text.char_indices() {
            let escape = match c {
                '"' | '\\' => format!("\\{c}"),
                '\u{8}' => "\\b".to_owned(),
                '\t' => "\\t".to_owned(),
                '\n' => "\\n".to_owned(),
                '\u{c}' => "\\f".to_owned(),
                '\r' => "\\r".to_owned(),
                '\u{0}'..='\u{1f}' => format!("\\u{:04x}", u32::from(c)),
                '\u{7f}'..='\u{9f}'
                | '\u{2028}'
                | '\u{2029}'
                | '\u{feff}'
                | '\u{fffe}'
                | '\u{ffff}'
                    if self.yaml =>
                {
                    format!("\\u{:04x}", u32::from(c))
                }
                _ => continue,
            };
            self.add(text.get(from..at).unwrap_or(""));
            self.add(&escape);
            from = at + c.len_utf8();
        }
        self.add(text.get(from..).unwrap_or(""));
        self.add("\"");
    }
}

/// A key and its colon. Keys consist of letters and `_`, so they need no escapes.
fn key_before(key: &str, yaml: bool) -> String {
    if yaml { format!("{key}: ") } else { format!("\"{key}\": ") }
}
