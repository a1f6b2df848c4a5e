//! The layout of `tinsel fmt` as edits: of a whole text, or of the statements in a stretch.

use super::desk::Desk;
use crate::diagnostic::Edit;
use crate::format::format;
use crate::source::{Loaded, SourceFile, Span};

/// The edits that lay out a whole text; `None` where it does not parse.
#[must_use]
pub fn whole(file: &SourceFile) -> Option<Vec<Edit>> {
    laid_out(file, 0, file.text.len())
}

/// The edits that lay out the statements that a stretch touches; `None` where there are none or
/// they do not parse.
#[must_use]
pub fn range(desk: &Desk, file: &SourceFile, within: Span) -> Option<Vec<Edit>> {
    let own = file.span();
    let statements = desk.compiled()?.ast.statements.iter().map(|one| one.span);
    let touched = statements.filter(|span| {
        let here = own.start <= span.start && span.end <= own.end;
        here && span.start <= within.end && within.start <= span.end
    });
    let all = touched.reduce(Span::to)?;
    let (start, end) = ((all.start - file.base) as usize, (all.end - file.base) as usize);
    let start = file.text.get(..start)?.rfind('\n').map_or(0, |at| at + 1);
    let line = file.text.get(end..)?.find('\n');
    laid_out(file, start, line.map_or(file.text.len(), |at| end + at + 1))
}

/// Lays out a stretch of a text: one edit over everything that changes, or none.
fn laid_out(file: &SourceFile, start: usize, end: usize) -> Option<Vec<Edit>> {
    let before = file.text.get(start..end)?;
    let loaded = Loaded {
        identity: file.name.clone(),
        name: file.name.clone(),
        bytes: before.as_bytes().to_owned(),
    };
    let after = format(&loaded).result.ok()?;
    let same = |(a, b): &(char, char)| a == b;
    let head: usize =
        (before.chars().zip(after.chars())).take_while(same).map(|(c, _)| c.len_utf8()).sum();
    let (rest, new) = (before.get(head..)?, after.get(head..)?);
    let tail: usize = (rest.chars().rev().zip(new.chars().rev()))
        .take_while(same)
        .map(|(c, _)| c.len_utf8())
        .sum();
    let text = new.get(..new.len() - tail)?.to_owned();
    let place = |at: usize| file.base + u32::try_from(start + at).unwrap_or(0);
    let span = Span::new(place(head), place(before.len() - tail));
    if span.is_empty() && text.is_empty() {
        return Some(Vec::new());
    }
    Some(vec![Edit { span, text }])
}
