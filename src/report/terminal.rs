//! Findings for a person at a terminal. This is the only file that uses miette.
//!
//! miette gets an excerpt, not the file: only the lines with labels and their neighbours, each
//! clipped around its labels and with control and bidirectional characters written out. So no line
//! is too long for it (it panics beyond column 65,535), nothing in a file steers the terminal, and
//! labels in several files make one picture. Lines and columns in headings count characters, as in
//! every other form.

use super::{anchor, spot, wrap};
use crate::diagnostic::{Diagnostic, Severity, words};
use crate::source::{SourceFile, SourceMap, Span};
use miette::{
    GraphicalReportHandler, GraphicalTheme, LabeledSpan, MietteError, MietteSpanContents,
    SourceCode, SourceSpan, SpanContents, ThemeCharacters, ThemeStyles,
};
use std::fmt;
use std::io::{self, Write};
use unicode_width::UnicodeWidthChar;

/// How findings are drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Look {
    /// With colour.
    pub colour: bool,
    /// In ASCII only.
    pub ascii: bool,
    /// With all names where a message has only the first ones.
    pub names: bool,
    /// The most columns of a line.
    pub width: usize,
}

/// The most findings that are printed; the rest is counted.
pub const MOST_PRINTED: usize = 100;

/// The columns that line numbers and clip marks take beside a source line.
const BESIDE: usize = 12;

/// Lines shown above and below a label.
const CONTEXT: usize = 1;

/// The most labels that are drawn for one finding.
const MOST_LABELS: usize = 12;

/// Writes findings one below the other: at most [`MOST_PRINTED`], then how many are left out.
///
/// # Errors
/// Those of the writer.
pub fn write(
    sources: &SourceMap,
    findings: &[Diagnostic],
    look: Look,
    out: &mut dyn Write,
) -> io::Result<()> {
    for finding in findings.iter().take(MOST_PRINTED) {
        writeln!(out, "{}", render(sources, finding, look))?;
    }
    let more = findings.len().saturating_sub(MOST_PRINTED);
    if more > 0 {
        writeln!(out, "and {more} more (`--format json` has them all)\n")?;
    }
    Ok(())
}

/// One finding: message, picture, why it matters, what to do.
#[must_use]
pub fn render(sources: &SourceMap, finding: &Diagnostic, look: Look) -> String {
    let excerpt = Excerpt::of(sources, finding, look);
    let picture = Picture {
        message: wrap(&heading(finding), "", look.width.saturating_sub(4)),
        severity: finding.severity,
        excerpt: &excerpt,
    };
    let handler = GraphicalReportHandler::new_themed(theme(&excerpt, finding.severity, look))
        .with_links(false)
        .with_wrap_lines(false)
        .with_context_lines(CONTEXT)
        .with_width(look.width);
    let mut text = String::new();
    // Writing to a String can't fail, and the excerpt finds every label that it made itself.
    let _ = handler.render_report(&mut text, &picture);
    tail(&mut text, "why", &finding.why, look);
    tail(&mut text, "help", &finding.help, look);
    tail(&mut text, "names", &names(finding, look), look);
    text.lines().fold(String::new(), |mut out, line| {
        out.push_str(line.trim_end());
        out.push('\n');
        out
    })
}

fn heading(finding: &Diagnostic) -> String {
    let message = words::visible(finding.message.trim_end(), "\n");
    format!("{}[{}]: {message}", finding.severity.word(), finding.code)
}

/// All names that a finding is about, or the option that prints them; empty where its message has
/// them all.
fn names(finding: &Diagnostic, look: Look) -> String {
    match finding.names.len() {
        0 => String::new(),
        _ if look.names => words::ticked_and(&finding.names),
        count => format!("`--names` prints all {count}"),
    }
}

/// Adds a sentence below the picture, after a word in colour.
fn tail(text: &mut String, word: &str, sentence: &str, look: Look) {
    if sentence.is_empty() {
        return;
    }
    let (on, off) = if look.colour { ("\u{1b}[36m", "\u{1b}[0m") } else { ("", "") };
    let indent = " ".repeat(8);
    let sentence = wrap(&words::visible(sentence.trim_end(), "\n"), &indent, look.width);
    text.push_str(&format!("{on}{word:>6}:{off} {sentence}\n"));
}

/// The colours: of the severity for the first label, calmer for the others.
fn theme(excerpt: &Excerpt, severity: Severity, look: Look) -> GraphicalTheme {
    let mut styles = if look.colour { ThemeStyles::ansi() } else { ThemeStyles::none() };
    let weight = match severity {
        Severity::Error => styles.error,
        Severity::Warning => styles.warning,
        Severity::Advice => styles.advice,
    };
    let calm = styles.help;
    // miette assigns highlights in the order in which labels stand in the excerpt.
    let mut order: Vec<&Marked> = excerpt.marked.iter().collect();
    order.sort_by_key(|marked| marked.start);
    styles.highlights =
        order.iter().map(|marked| if marked.first { weight } else { calm }).collect();
    styles.highlights.push(calm);
    GraphicalTheme {
        characters: if look.ascii { ThemeCharacters::ascii() } else { ThemeCharacters::unicode() },
        styles,
    }
}

/// What miette is given.
#[derive(Debug)]
struct Picture<'a> {
    message: String,
    severity: Severity,
    excerpt: &'a Excerpt,
}

impl fmt::Display for Picture<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Picture<'_> {}

impl miette::Diagnostic for Picture<'_> {
    fn severity(&self) -> Option<miette::Severity> {
        Some(match self.severity {
            Severity::Error => miette::Severity::Error,
            Severity::Warning => miette::Severity::Warning,
            Severity::Advice => miette::Severity::Advice,
        })
    }

    fn source_code(&self) -> Option<&dyn SourceCode> {
        (!self.excerpt.lines.is_empty()).then_some(self.excerpt as &dyn SourceCode)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        Some(Box::new(self.excerpt.marked.iter().map(|marked| {
            let span = SourceSpan::new(marked.start.into(), marked.end - marked.start);
            let text = (!marked.text.is_empty()).then(|| marked.text.clone());
            if marked.first {
                LabeledSpan::new_primary_with_span(text, span)
            } else {
                LabeledSpan::new_with_span(text, span)
            }
        })))
    }
}

/// A label in the excerpt.
#[derive(Debug)]
struct Marked {
    start: usize,
    end: usize,
    /// Line and column in the file, both from 0.
    place: (usize, usize),
    text: String,
    first: bool,
}

/// A line of the excerpt.
#[derive(Debug)]
struct ShownLine {
    /// The index of its file among those of the excerpt.
    file: usize,
    /// Its number there, from 0.
    number: usize,
    /// Where it begins in the excerpt, and where its line end stops.
    start: usize,
    end: usize,
}

/// The lines around the labels of one finding, as one text.
#[derive(Debug)]
struct Excerpt {
    look: Look,
    names: Vec<String>,
    text: String,
    lines: Vec<ShownLine>,
    marked: Vec<Marked>,
}

/// A label to be drawn, cut to the line that it begins on.
struct Wanted<'a> {
    file: usize,
    line: usize,
    /// Where it begins and ends within its file, in bytes.
    start: usize,
    end: usize,
    column: usize,
    text: &'a str,
    first: bool,
}

impl Excerpt {
    fn of(sources: &SourceMap, finding: &Diagnostic, look: Look) -> Self {
        let (names, lines, marked) = (Vec::new(), Vec::new(), Vec::new());
        let mut excerpt = Self { look, names, text: String::new(), lines, marked };
        let mut files: Vec<&SourceFile> = Vec::new();
        let mut wanted: Vec<Wanted<'_>> = Vec::new();
        for (at, label) in finding.labels.iter().take(MOST_LABELS).enumerate() {
            let Some((file, span)) = anchor(sources, label.span) else {
                continue;
            };
            let index = files.iter().position(|f| f.base == file.base);
            let index = index.unwrap_or_else(|| {
                files.push(file);
                excerpt.names.push(words::shown(&file.name));
                files.len() - 1
            });
            let column = spot(sources, span).column as usize - 1;
            let (line, start, end) = on_one_line(file, span);
            let text = label.text.as_str();
            wanted.push(Wanted { file: index, line, start, end, column, text, first: at == 0 });
        }
        let Some(primary) = wanted.first().map(|w| (w.file, w.line)) else {
            return excerpt;
        };
        for (file, from, to) in chunks(&files, &wanted, primary) {
            for number in from..=to {
                if let Some(source) = files.get(file) {
                    excerpt.add_line(source, (file, number), &wanted);
                }
            }
        }
        excerpt
    }

    /// Adds a line, clipped and printable, with the labels on it.
    fn add_line(
        &mut self,
        source: &SourceFile,
        (file, number): (usize, usize),
        wanted: &[Wanted<'_>],
    ) {
        let (line_start, line) = line_of(source, number);
        let on_line: Vec<&Wanted<'_>> =
            wanted.iter().filter(|w| w.file == file && w.line == number).collect();
        let first = on_line.iter().map(|w| w.start).min().unwrap_or(line_start);
        let start = self.text.len();
        let places = self.clip(line, first - line_start);
        let end = self.text.len();
        self.text.push('\n');
        let map = |offset: usize| {
            let at = places.partition_point(|(source, _)| *source < offset - line_start);
            places.get(at).map_or(end, |(_, shown)| *shown)
        };
        for want in on_line {
            let from = map(want.start);
            let column = self.text.get(start..from).unwrap_or("").chars().count();
            let room = self.look.width.saturating_sub(column + BESIDE);
            self.marked.push(Marked {
                start: from,
                end: map(want.end).max(from),
                place: (number, want.column),
                text: wrap(&words::visible(want.text.trim_end(), "\n"), "", room),
                first: want.first,
            });
        }
        self.lines.push(ShownLine { file, number, start, end: self.text.len() });
    }

    /// Writes what fits of a line, from somewhat before the offset `first` in it. Returns where
    /// each character and the end of the shown part went: (offset in the line, offset in the
    /// excerpt).
    fn clip(&mut self, line: &str, first: usize) -> Vec<(usize, usize)> {
        let mark = if self.look.ascii { "..." } else { "…" };
        let room = self.look.width.saturating_sub(BESIDE).max(40);
        let fits = columns(line.chars()).all(|wide| wide <= room);
        let before = line.get(..first).unwrap_or(line);
        let kept = columns(before.chars().rev()).take_while(|wide| fits || *wide <= room / 3);
        let kept = kept.count();
        let skip = match kept {
            0 => before.len(),
            kept => before.char_indices().rev().nth(kept - 1).map_or(0, |(at, _)| at),
        };
        let mut places = Vec::new();
        if skip > 0 {
            places.push((0, self.text.len()));
            self.text.push_str(mark);
        }
        let shown = line.get(skip..).unwrap_or("");
        for ((at, c), wide) in shown.char_indices().zip(columns(shown.chars())) {
            places.push((skip + at, self.text.len()));
            if wide > room {
                self.text.push_str(mark);
                break;
            }
            match c {
                '\u{feff}' if skip + at == 0 => {}
                '\t' => self.text.push('\t'),
                c if words::is_unprintable(c) => self.text.extend(c.escape_unicode()),
                c => self.text.push(c),
            }
        }
        places
    }
}

/// The sum of columns after each character. A tab counts as four, which may be too many. A
/// character without width counts as one, so that a long row of combining marks is clipped too.
fn columns(chars: impl Iterator<Item = char>) -> impl Iterator<Item = usize> {
    chars.scan(0, |sum, c| {
        *sum += match c {
            '\t' => 4,
            c if words::is_unprintable(c) => c.escape_unicode().len(),
            c => c.width().unwrap_or(1).max(1),
        };
        Some(*sum)
    })
}

/// A span cut to the line that it begins on: the number of the line, and the offsets within the
/// file.
fn on_one_line(file: &SourceFile, span: Span) -> (usize, usize, usize) {
    let line = file.lines.line(span.start - file.base);
    let (line_start, content) = line_of(file, line);
    let line_end = line_start + content.len();
    let start = ((span.start - file.base) as usize).min(line_end);
    (line, start, ((span.end - file.base) as usize).clamp(start, line_end))
}

/// Where a line of a file begins, and its text without the line end.
fn line_of(file: &SourceFile, number: usize) -> (usize, &str) {
    let start = file.lines.start(number).unwrap_or(0) as usize;
    let end = file.lines.start(number + 1).map_or(file.text.len(), |next| next as usize);
    let line = file.text.get(start..end).unwrap_or("");
    let line = line.strip_suffix('\n').unwrap_or(line);
    (start, line.strip_suffix('\r').unwrap_or(line))
}

/// The ranges of lines to show, (file, first, last): each label's line with its neighbours, joined
/// where they touch. The range of the first label comes first.
fn chunks(
    files: &[&SourceFile],
    wanted: &[Wanted<'_>],
    primary: (usize, usize),
) -> Vec<(usize, usize, usize)> {
    let mut lines: Vec<(usize, usize)> = wanted.iter().map(|w| (w.file, w.line)).collect();
    lines.sort_unstable();
    let mut chunks: Vec<(usize, usize, usize)> = Vec::new();
    for (file, line) in lines {
        let last = files.get(file).map_or(0, |f| f.lines.count() - 1);
        let from = line.saturating_sub(CONTEXT);
        let to = (line + CONTEXT).min(last);
        match chunks.last_mut() {
            Some(chunk) if chunk.0 == file && from <= chunk.2 + 1 => chunk.2 = chunk.2.max(to),
            _ => chunks.push((file, from, to)),
        }
    }
    chunks.sort_by_key(|(file, from, to)| {
        let holds = *file == primary.0 && (*from..=*to).contains(&primary.1);
        (!holds, *file, *from)
    });
    chunks
}

impl SourceCode for Excerpt {
    fn read_span<'a>(
        &'a self,
        span: &SourceSpan,
        before: usize,
        after: usize,
    ) -> Result<Box<dyn SpanContents<'a> + 'a>, MietteError> {
        let line_at = |offset: usize| {
            self.lines
                .partition_point(|line| line.end <= offset)
                .min(self.lines.len().saturating_sub(1))
        };
        let (mut from, mut to) = (line_at(span.offset()), line_at(span.offset() + span.len()));
        if !self.joined(from, to) {
            // Lines with a gap between them are two pictures.
            return Err(MietteError::OutOfBounds);
        }
        for _ in 0..before {
            if from > 0 && self.joined(from - 1, to) {
                from -= 1;
            }
        }
        for _ in 0..after {
            if self.joined(from, to + 1) {
                to += 1;
            }
        }
        let (Some(first), Some(last)) = (self.lines.get(from), self.lines.get(to)) else {
            return Err(MietteError::OutOfBounds);
        };
        let data = self.text.get(first.start..last.end).unwrap_or("");
        let place = self
            .marked
            .iter()
            .find(|m| before == 0 && m.start == span.offset() && m.end - m.start == span.len())
            .map_or((first.number, 0), |marked| marked.place);
        let name = self.names.get(first.file).cloned().unwrap_or_default();
        Ok(Box::new(MietteSpanContents::new_named(
            name,
            data.as_bytes(),
            SourceSpan::new(first.start.into(), data.len()),
            place.0,
            place.1,
            to - from + 1,
        )))
    }
}

impl Excerpt {
    /// Whether these lines of the excerpt follow one another in one file.
    fn joined(&self, from: usize, to: usize) -> bool {
        match (self.lines.get(from), self.lines.get(to)) {
            (Some(a), Some(b)) => {
                a.file == b.file && a.number <= b.number && b.number - a.number == to - from
            }
            _ => false,
        }
    }
}

#[cfg(test)]
mod tests;
