//! All tables as one JSON object, a row a line.

use super::{By, Output, View};
use serde::ser::{Serialize, SerializeStruct, Serializer};
use serde_json::ser::Formatter;
use std::io::{self, Write};

/// The format.
pub struct Json;

impl Output for Json {
    fn name(&self) -> &'static str {
        "json"
    }

    fn write(
        &self,
        view: &View<'_>,
        _by: By,
        _width: usize,
        out: &mut dyn Write,
    ) -> io::Result<()> {
        write_tables(view, Rows::default(), out)
    }
}

/// Writes every table of a view, dressed by a formatter.
pub(super) fn write_tables(
    view: &View<'_>,
    formatter: impl Formatter,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut serializer = serde_json::Serializer::with_formatter(&mut *out, formatter);
    Tables(view).serialize(&mut serializer)?;
    writeln!(out)
}

/// Every table of a view, as the contract names them.
pub struct Tables<'v, 'a>(pub &'v View<'a>);

impl Serialize for Tables<'_, '_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let view = self.0;
        let mut map = serializer.serialize_struct("tables", 6)?;
        map.serialize_field("display", &view.display())?;
        map.serialize_field("strings", &Seq(|| view.strings()))?;
        map.serialize_field("ports", &Seq(|| view.ports()))?;
        map.serialize_field("controllers", &Seq(|| view.controllers()))?;
        map.serialize_field("universes", &Seq(|| view.universes()))?;
        map.serialize_field("props", &Seq(|| view.props()))?;
        map.end()
    }
}

/// Rows made while they are written.
struct Seq<F>(F);

impl<F, I> Serialize for Seq<F>
where
    F: Fn() -> I,
    I: Iterator,
    I::Item: Serialize,
{
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_seq((self.0)())
    }
}

/// A line for each table's head and each row: close to compact, and still read and compared line by line.
#[derive(Default)]
struct Rows {
    depth: usize,
    filled: bool,
}

impl Rows {
    fn line<W: ?Sized + Write>(&self, out: &mut W) -> io::Result<()> {
        if self.depth <= 2 {
            out.write_all(b"\n")?;
            (0..self.depth).try_for_each(|_| out.write_all(b"  "))
        } else {
            Ok(())
        }
    }

    fn open<W: ?Sized + Write>(&mut self, out: &mut W, bracket: &[u8]) -> io::Result<()> {
        self.depth += 1;
        self.filled = false;
        out.write_all(bracket)
    }

    fn close<W: ?Sized + Write>(
        &mut self,
        out: &mut W,
        bracket: &[u8],
        lines: usize,
    ) -> io::Result<()> {
        self.depth -= 1;
        if self.filled && self.depth < lines {
            self.line(out)?;
        }
        self.filled = true;
        out.write_all(bracket)
    }

    fn next<W: ?Sized + Write>(
        &mut self,
        out: &mut W,
        first: bool,
        lines: usize,
    ) -> io::Result<()> {
        if !first {
            out.write_all(b",")?;
        }
        if self.depth <= lines {
            self.line(out)
        } else if first {
            Ok(())
        } else {
            out.write_all(b" ")
        }
    }
}

/// Objects go line by line at the top only, arrays (the tables) one level deeper.
impl Formatter for Rows {
    fn begin_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.open(out, b"{")
    }

    fn end_object<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.close(out, b"}", 1)
    }

    fn begin_object_key<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.next(out, first, 1)
    }

    fn begin_object_value<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        out.write_all(b": ")
    }

    fn end_object_value<W: ?Sized + Write>(&mut self, _out: &mut W) -> io::Result<()> {
        self.filled = true;
        Ok(())
    }

    fn begin_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.open(out, b"[")
    }

    fn end_array<W: ?Sized + Write>(&mut self, out: &mut W) -> io::Result<()> {
        self.close(out, b"]", 2)
    }

    fn begin_array_value<W: ?Sized + Write>(&mut self, out: &mut W, first: bool) -> io::Result<()> {
        self.next(out, first, 2)
    }

    fn end_array_value<W: ?Sized + Write>(&mut self, _out: &mut W) -> io::Result<()> {
        self.filled = true;
        Ok(())
    }
}
