//! All tables as one YAML document, a row a line.
//!
//! serde_json walks the rows and this formatter dresses them: tables are block sequences, rows flow
//! mappings, keys plain, every text in double quotes (so that no reader takes `no` or `1e3` for something
//! else). That is as quick as JSON, where serde_yaml's own writer takes twenty times as long.

use super::{By, Output, View, json};
use serde_json::ser::Formatter;
use std::io::{self, Write};

/// The format.
pub struct Yaml;

impl Output for Yaml {
    fn name(&self) -> &'static str {
        "yaml"
    }

    fn write(
        &self,
        view: &View<'_>,
        _by: By,
        _width: usize,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        json::write_tables(view, Blocks::default(), out)
    }
}

/// What is block style above, and flow style from the third level on.
#[derive(Default)]
struct Blocks {
    depth: usize,
    rows: usize,
    in_key: bool,
}

impl Formatter for Blocks {
    fn begin_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.depth += 1;
        out.write_all(match self.depth {
            1 => b"",
            2 => b" {",
            _ => b"{",
        })
    }

    fn end_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.depth -= 1;
        out.write_all(if self.depth == 0 { b"" } else { b"}" })
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.in_key = true;
        match (first, self.depth) {
            (true, _) => Ok(()),
            (false, 1) => out.write_all(b"\n"),
            (false, _) => out.write_all(b", "),
        }
    }

    fn end_object_key<W: ?Sized + Write>(&mut self, _out: &mut W) -> io::Result<()> {
        self.in_key = false;
        Ok(())
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        // A table's rows follow on lines of their own, so no blank stands behind its name.
        out.write_all(if self.depth == 1 { b":" } else { b": " })
    }

    fn begin_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.depth += 1;
        if self.depth == 2 {
            self.rows = 0;
            Ok(())
        } else {
            out.write_all(b"[")
        }
    }

    fn end_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.depth -= 1;
        match (self.depth, self.rows) {
            (1, 0) => out.write_all(b" []"),
            (1, _) => Ok(()),
            _ => out.write_all(b"]"),
        }
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        if self.depth == 2 {
            self.rows += 1;
            return out.write_all(b"\n  - ");
        }
        out.write_all(if first { b"" } else { b", " })
    }

    fn begin_string<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        out.write_all(if self.in_key { b"" } else { b"\"" })
    }

    fn end_string<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        out.write_all(if self.in_key { b"" } else { b"\"" })
    }

    /// YAML takes no raw control characters and folds its line separators, which JSON leaves as they are.
    fn write_string_fragment<W: ?Sized + Write>(
        &mut self,
        out: &mut W,
        text: &str,
    ) -> io::Result<()> {
        let special = |c: char| {
            matches!(
                c,
                '\u{7f}'
                    ..='\u{9f}' | '\u{2028}' | '\u{2029}' | '\u{feff}' | '\u{fffe}' | '\u{ffff}'
            )
        };
        let mut rest = text;
        while let Some(at) = rest.find(special) {
            let (plain, from) = rest.split_at(at);
            out.write_all(plain.as_bytes())?;
            let mut chars = from.chars();
            if let Some(c) = chars.next() {
                write!(out, "\\u{:04x}", u32::from(c))?;
            }
            rest = chars.as_str();
        }
        out.write_all(rest.as_bytes())
    }
}

#[cfg(test)]
mod tests {
    use crate::output::{By, View, find, tests::laid_out};

    fn text(view: &View<'_>, format: &str) -> String {
        let mut out = Vec::new();
        let output = find(format).unwrap();
        output.write(view, By::String, 100, &mut out).unwrap();
        String::from_utf8(out).unwrap()
    }

    #[test]
    fn an_independent_reader_finds_in_yaml_what_is_in_json() {
        let (model, plan) = laid_out(true, &[(600, 0, None), (30, 602, Some(0))]);
        let empty = (crate::model::Model::default(), crate::plan::Plan::default());
        for view in [View::new(&model, &plan), View::new(&empty.0, &empty.1)] {
            let json: serde_json::Value = serde_json::from_str(&text(&view, "json")).unwrap();
            let yaml: serde_json::Value = serde_yaml::from_str(&text(&view, "yaml")).unwrap();
            assert_eq!(yaml, json);
        }
    }
}
