//! Renames a thing everywhere at once. Where the lock has addresses under the old name, it adds
//! `renamed OLD -> NEW`, so that nothing moves.

use super::desk::Desk;
use crate::Compiled;
use crate::ast::{BlockKind, Renamed, Statement, StatementKind};
use crate::chip;
use crate::diagnostic::{Diagnostic, Edit, Severity};
use crate::model::Rename;
use crate::resolve::uses::{Kind, Role, Use};
use crate::source::Span;
use crate::syntax;
use unicode_normalization::UnicodeNormalization as _;

/// The name at an offset, if it can be renamed.
///
/// # Errors
/// Why it can't, in words.
pub fn target(desk: &Desk, at: u32) -> Result<&Use, String> {
    let Some(one) = desk.uses().at(at) else {
        return Err("no name of this display stands here".to_owned());
    };
    let declared = !super::names::declarations(desk, one).is_empty();
    match declared {
        true => Ok(one),
        false => Err(format!("`{}` is not declared in this display", one.key)),
    }
}

/// The edits that give the thing at an offset another name.
///
/// # Errors
/// Why it can't have that name, in words.
pub fn rename(desk: &Desk, at: u32, new: &str) -> Result<Vec<Edit>, String> {
    let one = target(desk, at)?;
    let compiled = desk.compiled().ok_or("no display")?;
    let new: String = new.trim().nfc().collect();
    if !is_name(&new) {
        return Err(format!(
            "`{new}` is no name: a letter, then letters, digits, `-` or `_`, not ending in `-`"
        ));
    }
    if *new == *one.key {
        return Ok(Vec::new());
    }
    if let Some(taken) = taken(desk, one, &new) {
        return Err(taken);
    }
    let mut edits: Vec<Edit> = (desk.uses().names.iter().filter(|other| other.is_same(one)))
        .map(|other| Edit { span: other.at, text: new.clone() })
        .collect();
    edits.dedup();
    carry(desk, compiled, one, &new, &mut edits);
    edits.sort_by_key(|edit| (edit.span.start, edit.span.end));
    match desk.tried(&edits, |trial| new_error(compiled, trial)).flatten() {
        None => Ok(edits),
        Some(why) => Err(format!("`{new}` does not work as its name: {why}")),
    }
}

/// An error of a changed display, where it has more errors than before.
fn new_error(before: &Compiled, trial: &Compiled) -> Option<String> {
    let errors = |one: &Compiled| one.count(Severity::Error);
    if errors(trial) <= errors(before) {
        return None;
    }
    let had = |one: &Diagnostic| {
        let mut findings = before.findings.iter();
        findings.any(|other| other.code == one.code && other.message == one.message)
    };
    let mut all = trial.findings.iter();
    let fresh = all.find(|one| one.severity == Severity::Error && !had(one));
    Some(fresh.map_or("the display would not compile".to_owned(), |one| one.message.clone()))
}

/// Whether a text is a name of the language.
#[must_use]
pub fn is_name(text: &str) -> bool {
    let mut chars = text.chars();
    chars.next().is_some_and(syntax::begins_name)
        && chars.all(|c| c == '-' || syntax::goes_on_in_name(c))
        && !text.ends_with('-')
}

/// Why a thing can't have a name; `None` where it can.
fn taken(desk: &Desk, one: &Use, new: &str) -> Option<String> {
    let boxes = |kind| {
        let boxes = [BlockKind::Controller, BlockKind::Receiver];
        matches!(kind, Kind::Of(kind) if boxes.contains(&kind))
    };
    let clashes = |other: &&Use| {
        let strings = matches!((one.kind, other.kind), (Kind::String(_), Kind::String(_)));
        let kinds = other.kind == one.kind || boxes(one.kind) && boxes(other.kind);
        *other.key == *new
            && (kinds && other.role == Role::Declares || strings && one.kind == other.kind)
    };
    if let Some(other) = desk.uses().names.iter().find(clashes) {
        return Some(format!("there is a {} `{new}` already", other.kind.word()));
    }
    let chip = one.kind == Kind::Of(BlockKind::Chip);
    if chip && (chip::known(new).is_some() || chip::known(&one.key).is_some()) {
        return Some(format!("the name of a known chip decides what `{}` is", one.key));
    }
    (boxes(one.kind) && new == "any").then(|| "`any` stands for every controller".to_owned())
}

/// Adds the edits that keep addresses: a `renamed` after the declaration. A `renamed` to the old
/// name is removed where it has done its work, or where the new name undoes it.
fn carry(desk: &Desk, compiled: &Compiled, one: &Use, new: &str, edits: &mut Vec<Edit>) {
    let controller = one.kind == Kind::Of(BlockKind::Controller);
    if !controller && one.kind != Kind::Of(BlockKind::Prop) {
        return;
    }
    let Some(lock) = compiled.lock.as_ref().map(|text| &text.lock) else {
        return;
    };
    let text = |span: Span| compiled.sources.text(span);
    // A `renamed` to the old name has done its work once a build has carried it over.
    for (statement, renamed) in renames(compiled) {
        let to = renamed.new.name.span;
        if !edits.iter().any(|edit| edit.span == to) {
            continue;
        }
        let (old, whole) = (renamed.old.span, text(renamed.new.span));
        let carried = lock.has_carried(&Rename {
            at: statement.span,
            old: text(old).into(),
            old_at: old,
            new: whole.into(),
            new_at: renamed.new.span,
        });
        let after = whole.strip_prefix(text(to)).unwrap_or("");
        if carried || text(old) == format!("{new}{after}") {
            edits.retain(|edit| edit.span != to);
            edits.push(Edit { span: whole_line(desk, statement.span), text: String::new() });
        }
    }
    let old = &*one.key;
    let is_of = |name: &str| {
        name.strip_prefix(old).is_some_and(|rest| rest.is_empty() || rest.starts_with(['[', '.']))
    };
    let held = match controller {
        true => lock.rows.iter().any(|row| *row.controller == *old),
        false => lock.rows.iter().any(|row| is_of(&row.name)),
    };
    let declared = super::names::declarations(desk, one);
    let statement = declared.first().and_then(|at| {
        let statements = compiled.ast.statements.iter();
        statements.map(|one| one.span).find(|span| span.start <= at.start && at.end <= span.end)
    });
    if let Some(statement) = statement.filter(|_| held) {
        let at = line_end(desk, statement.end);
        let crlf = desk.file_at(at).is_some_and(|file| file.text.contains("\r\n"));
        let end = if crlf { "\r\n" } else { "\n" };
        edits.push(Edit { span: Span::new(at, at), text: format!("{end}renamed {old} -> {new}") });
    }
}

fn renames(compiled: &Compiled) -> impl Iterator<Item = (&Statement, &Renamed)> {
    compiled.ast.statements.iter().filter_map(|one| match &one.kind {
        StatementKind::Renamed(renamed) => Some((one, &**renamed)),
        _ => None,
    })
}

/// Where the line of an offset ends, without its line end and the blanks before that.
pub(super) fn line_end(desk: &Desk, at: u32) -> u32 {
    let Some(file) = desk.file_at(at) else {
        return at;
    };
    let rest = file.text.get((at - file.base) as usize..).unwrap_or("");
    let line = rest.split('\n').next().unwrap_or("");
    at + line.trim_end().len() as u32
}

/// The whole line of a statement that is alone on it; else the statement with a `;` after it.
fn whole_line(desk: &Desk, span: Span) -> Span {
    let Some(file) = desk.file_at(span.start) else {
        return span;
    };
    let (start, end) = (span.start - file.base, span.end - file.base);
    let before = file.text.get(..start as usize).unwrap_or("");
    let after = file.text.get(end as usize..).unwrap_or("");
    let line = before.rsplit('\n').next().unwrap_or("");
    let rest = after.split('\n').next().unwrap_or("");
    if line.trim().is_empty() && rest.trim().is_empty() {
        let more = (rest.len() + 1).min(after.len()) as u32;
        return Span::new(span.start - line.len() as u32, span.end + more);
    }
    let blanks = rest.len() - rest.trim_start().len();
    let ends = rest.trim_start().starts_with(';');
    Span::new(span.start, span.end + if ends { blanks as u32 + 1 } else { 0 })
}
