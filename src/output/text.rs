//! A survey for a person: tables in columns that fit the terminal, numbers to the right, groups
//! apart.
//!
//! Rows are made twice, to measure and to print, so that no table is held in memory. A name that is
//! too long for its column, and remarks that do not fit after a row, get a line of their own.

use super::sheet::joined;
use crate::diagnostic::words::shown;
use crate::report::wrap;
use crate::table::{Cell, Face, Head, Part, Survey, Table};
use std::io::{self, Write};
use unicode_width::UnicodeWidthStr;

/// Writes a survey in lines of at most `width` columns, as far as possible.
pub fn write(survey: &Survey<'_>, width: usize, out: &mut dyn Write) -> io::Result<()> {
    parts(&survey.parts, &mut true, width, out)
}

/// Writes parts with an empty line between them.
fn parts(all: &[Part<'_>], first: &mut bool, width: usize, out: &mut dyn Write) -> io::Result<()> {
    for part in all {
        match part {
            Part::Table(table) if !table.faces.contains(&Face::People) => continue,
            Part::Value(..) | Part::Group(_, None) => continue,
            Part::Group(_, Some(inner)) => {
                parts(inner, first, width, out)?;
                continue;
            }
            _ => {}
        }
        if !std::mem::replace(first, false) {
            writeln!(out)?;
        }
        match part {
            Part::Words(words) => writeln!(out, "{}", wrap(words, "  ", width))?,
            Part::Lines(lines) => out.write_all(lines.as_bytes())?,
            Part::Cautions(cautions) => {
                for caution in *cautions {
                    writeln!(out, "{}", wrap(&format!("! {caution}"), "  ", width))?;
                }
            }
            Part::Table(table) => print(table, width, out)?,
            Part::Value(..) | Part::Group(..) => {}
        }
    }
    Ok(())
}

/// A cell in words, as people read it under a heading.
pub fn words(head: &Head, cell: &Cell<'_>) -> String {
    let text = match cell {
        Cell::None => return "-".to_owned(),
        Cell::Text(text) => return shown(text),
        Cell::Number(number) => number.to_string(),
        Cell::Decimal(number) => number.rounded(head.places.0, head.places.1),
        Cell::Flag(flag) => if *flag { "yes" } else { "no" }.to_owned(),
        Cell::Point(point) => format!("{}/{}", point.universe, point.slot),
        Cell::List(cells) => shown(&joined(cells, ", ")),
        Cell::Object(cells) => {
            cells.first().map_or_else(String::new, |(_, cell)| words(head, cell))
        }
    };
    match head.unit {
        "" => text,
        unit => format!("{text} {unit}"),
    }
}

/// Blanks between two columns.
const GAP: usize = 2;

/// Prints a table.
fn print(table: &Table<'_>, width: usize, out: &mut dyn Write) -> io::Result<()> {
    let columns: Vec<(usize, &Head)> = table.columns(Face::People).collect();
    let mut widths: Vec<usize> = columns.iter().map(|(_, head)| head.heading.width()).collect();
    let mut first_widest = widths.first().copied().unwrap_or(0);
    let (mut remark, mut any) = (0, false);
    table.each(&mut |row| {
        any = true;
        for ((at, head), widest) in columns.iter().zip(&mut widths) {
            *widest = words(head, &row.cell(*at)).width().max(*widest);
        }
        remark = row.remark().width().max(remark);
        Ok(())
    })?;
    if !any {
        return writeln!(out, "no {}", table.name);
    }
    let others: usize = widths.iter().skip(1).map(|width| width + GAP).sum();
    if let Some(first) = widths.first_mut() {
        first_widest = (*first).min(width.saturating_sub(others).max(first_widest));
        *first = first_widest;
    }
    let beside = first_widest + others + GAP + remark <= width;
    let heads: Vec<&Head> = columns.iter().map(|(_, head)| *head).collect();
    let names: Vec<String> = heads.iter().map(|head| head.heading.to_owned()).collect();
    line(&heads, &widths, &names, "", out)?;
    let rule: Vec<String> = widths.iter().map(|width| "-".repeat(*width)).collect();
    line(&heads, &widths, &rule, "", out)?;
    let mut group: Option<String> = None;
    table.each(&mut |row| {
        if group.as_deref().is_some_and(|group| group != row.group()) {
            writeln!(out)?;
        }
        if group.as_deref() != Some(row.group()) {
            group = Some(row.group().to_owned());
        }
        let cells = columns.iter().map(|(at, head)| words(head, &row.cell(*at)));
        let cells: Vec<String> = cells.collect();
        let remark = row.remark();
        line(&heads, &widths, &cells, if beside { &remark } else { "" }, out)?;
        if !beside && !remark.is_empty() {
            writeln!(out, "    {}", wrap(&remark, "    ", width))?;
        }
        Ok(())
    })
}

fn line(
    heads: &[&Head],
    widths: &[usize],
    cells: &[String],
    remark: &str,
    out: &mut dyn Write,
) -> io::Result<()> {
    let mut text = String::new();
    for (at, ((cell, width), head)) in cells.iter().zip(widths).zip(heads).enumerate() {
        let pad = width.saturating_sub(cell.width());
        if at == 0 && cell.width() > *width {
            writeln!(out, "{cell}")?;
            text.extend(std::iter::repeat_n(' ', *width));
            continue;
        }
        if at > 0 {
            text.extend(std::iter::repeat_n(' ', GAP));
        }
        if head.right {
            text.extend(std::iter::repeat_n(' ', pad));
        }
        text.push_str(cell);
        if !head.right {
            text.extend(std::iter::repeat_n(' ', pad));
        }
    }
    if !remark.is_empty() {
        text.extend(std::iter::repeat_n(' ', GAP));
        text.push_str(remark);
    }
    writeln!(out, "{}", text.trim_end())
}
