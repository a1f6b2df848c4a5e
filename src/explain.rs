//! The page of a code: what it means, why it matters, a wrong display and the same one put right.
//! Also the figures of a known chip with their source.

use crate::chip::{BitTime, KNOWN, KnownChip, known};
use crate::diagnostic::words;
use crate::report::wrap;
use crate::rules::{self, Rule};
use crate::unit::{Dimension, decimal, quantity};
use serde::Serialize;
use std::io::{self, Write};

/// The language guide, `grammar/LANGUAGE.md`.
pub const LANGUAGE: &str = include_str!("../grammar/LANGUAGE.md");

/// The word that names the guide in place of a code.
pub const GUIDE: &str = "language";

/// A page as other programs read it.
#[derive(Serialize)]
struct PageRow {
    code: &'static str,
    severity: &'static str,
    title: &'static str,
    means: &'static str,
    why: &'static str,
    source: &'static str,
    wrong: &'static str,
    right: String,
}

/// The rules that a word names: one by its code, or all of a group (`port`); all rules without one.
///
/// # Errors
/// Without such a code or group: the codes that are spelt most like it.
pub fn find(word: Option<&str>) -> Result<Vec<&'static Rule>, Vec<&'static str>> {
    let Some(word) = word else {
        return Ok(rules::ALL.to_vec());
    };
    if let Some(rule) = rules::find(word) {
        return Ok(vec![rule]);
    }
    let in_group = |rule: &&&Rule| rule.code.split('/').next() == Some(word);
    let group: Vec<&Rule> = rules::ALL.iter().filter(in_group).copied().collect();
    if group.is_empty() {
        Err(words::nearest(word, rules::ALL.iter().map(|rule| rule.code)))
    } else {
        Ok(group)
    }
}

/// Writes one page for a person.
///
/// # Errors
/// If the writer fails.
pub fn page(rule: &Rule, width: usize, out: &mut dyn Write) -> io::Result<()> {
    let page = &rule.page;
    writeln!(out, "{} ({}): {}\n", rule.code, rule.severity.word(), rule.title)?;
    writeln!(out, "{}\n", wrap(page.means.trim(), "", width))?;
    writeln!(out, "Why: {}\n", wrap(page.why.trim(), "", width.saturating_sub(5)))?;
    display(out, "Wrong:", page.wrong)?;
    display(out, "Right:", &page.right())?;
    writeln!(out, "{}", wrap(&format!("Source: {}", page.source.trim()), "  ", width))
}

fn display(out: &mut dyn Write, head: &str, text: &str) -> io::Result<()> {
    writeln!(out, "{head}\n")?;
    for line in text.trim_matches('\n').lines() {
        writeln!(out, "{}", format!("    {line}").trim_end())?;
    }
    writeln!(out)
}

/// Writes a list of rules for a person, a line each.
///
/// # Errors
/// If the writer fails.
pub fn list(rules: &[&Rule], width: usize, out: &mut dyn Write) -> io::Result<()> {
    let longest = rules.iter().map(|rule| rule.code.len()).max().unwrap_or(0);
    let indent = " ".repeat(longest + 11);
    for rule in rules {
        let title = wrap(rule.title, &indent, width);
        writeln!(out, "{:longest$}  {:7}  {title}", rule.code, rule.severity.word())?;
    }
    Ok(())
}

/// Writes the language guide, as text or as a JSON object.
///
/// # Errors
/// If the writer fails.
pub fn guide(as_json: bool, out: &mut dyn Write) -> io::Result<()> {
    if !as_json {
        return out.write_all(LANGUAGE.as_bytes());
    }
    let guide = serde_json::json!({ GUIDE: LANGUAGE });
    serde_json::to_writer_pretty(&mut *out, &guide)?;
    writeln!(out)
}

/// Writes rules with their pages as a JSON array.
///
/// # Errors
/// If the writer fails.
pub fn json(rules: &[&Rule], out: &mut dyn Write) -> io::Result<()> {
    let rows: Vec<PageRow> = rules
        .iter()
        .map(|rule| PageRow {
            code: rule.code,
            severity: rule.severity.word(),
            title: rule.title,
            means: rule.page.means,
            why: rule.page.why,
            source: rule.page.source,
            wrong: rule.page.wrong,
            right: rule.page.right(),
        })
        .collect();
    serde_json::to_writer_pretty(&mut *out, &rows)?;
    writeln!(out)
}

/// The word that names all known chips.
pub const CHIPS: &str = "chips";

/// A known chip as other programs read it.
#[derive(Serialize)]
struct ChipRow {
    name: &'static str,
    colours: Option<u8>,
    depth: u8,
    extra_bits: u32,
    header_bits: u32,
    tail_quarters: u32,
    bit_ns: Option<u64>,
    latch_us: u64,
    floor_mv: u32,
    source: &'static str,
}

/// The known chips that a word names: all of them, or one.
#[must_use]
pub fn chips(word: &str) -> Option<Vec<&'static KnownChip>> {
    if word == CHIPS {
        return Some(KNOWN.iter().collect());
    }
    known(word).map(|chip| vec![chip])
}

/// Writes known chips for a person: the figures of each, and their source.
///
/// # Errors
/// If the writer fails.
pub fn chip_list(chips: &[&KnownChip], width: usize, out: &mut dyn Write) -> io::Result<()> {
    for chip in chips {
        let figures = format!("{}: {}", chip.name, figures(chip));
        writeln!(out, "{}", wrap(&figures, "  ", width))?;
        let source = format!("Source: {}", chip.source);
        writeln!(out, "  {}", wrap(&source, "    ", width.saturating_sub(2)))?;
    }
    Ok(())
}

/// `3 colours of 8 bits, 1.25 us a bit, latch 300 us, at least 4.5 V`.
fn figures(chip: &KnownChip) -> String {
    let colours = chip.colours.map_or_else(|| "3 or 4".to_owned(), |own| own.to_string());
    let pace = match chip.bit {
        // All known bit times are whole nanoseconds.
        Some(BitTime { nanoseconds, .. }) => {
            let ns = i64::try_from(nanoseconds).unwrap_or(i64::MAX);
            format!("{} us a bit", decimal(ns, 1_000))
        }
        None => "clocked".to_owned(),
    };
    let latch = quantity(i64::try_from(chip.latch_ns).unwrap_or(i64::MAX), Dimension::Time);
    let floor = quantity(i64::from(chip.floor_mv), Dimension::Voltage);
    let mut words = format!("{colours} colours of {} bits, {pace}, latch {latch}", chip.depth);
    for (bits, what) in [(chip.extra_bits, "a node besides"), (chip.header_bits, "a frame besides")]
    {
        if bits > 0 {
            words.push_str(&format!(", {} {what}", crate::unit::counted(i64::from(bits), "bit")));
        }
    }
    if chip.tail_quarters > 0 {
        let clocks = decimal(i64::from(chip.tail_quarters) * 25, 100);
        let many = if chip.tail_quarters == 4 { "" } else { "s" };
        words.push_str(&format!(", {clocks} clock{many} a node after the data"));
    }
    words.push_str(&format!(", at least {floor}"));
    words
}

/// Writes known chips as a JSON array.
///
/// # Errors
/// If the writer fails.
pub fn chip_json(chips: &[&KnownChip], out: &mut dyn Write) -> io::Result<()> {
    let row = |chip: &&KnownChip| ChipRow {
        name: chip.name,
        colours: chip.colours,
        depth: chip.depth,
        extra_bits: chip.extra_bits,
        header_bits: chip.header_bits,
        tail_quarters: chip.tail_quarters,
        bit_ns: chip.bit.map(|bit| bit.nanoseconds / bit.divisor.max(1)),
        latch_us: chip.latch_ns / 1_000,
        floor_mv: chip.floor_mv,
        source: chip.source,
    };
    let rows: Vec<ChipRow> = chips.iter().map(row).collect();
    serde_json::to_writer_pretty(&mut *out, &rows)?;
    writeln!(out)
}
