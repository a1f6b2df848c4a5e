//! Where names are declared and used.

use super::desk::Desk;
use crate::ast::StatementKind;
use crate::resolve::uses::{Role, Use};
use crate::source::{Span, quoted};

/// The places that declare what a name stands for.
#[must_use]
pub fn declarations(desk: &Desk, one: &Use) -> Vec<Span> {
    let all = desk.uses().names.iter();
    let own = all.filter(|other| other.is_same(one) && other.role == Role::Declares);
    own.map(|other| other.at).collect()
}

/// Where the name at an offset is declared; for the path of an include, the start of that text.
#[must_use]
pub fn definition(desk: &Desk, at: u32) -> Vec<Span> {
    if let Some(one) = desk.uses().at(at) {
        return declarations(desk, one);
    }
    let Some(compiled) = desk.compiled() else {
        return Vec::new();
    };
    let path = compiled.ast.statements.iter().find_map(|one| match &one.kind {
        StatementKind::Include(include) => {
            let span = include.path.span;
            (span.start..=span.end).contains(&at).then_some(span)
        }
        _ => None,
    });
    let included = path.and_then(|path| {
        let from = desk.file_at(at)?;
        let said = quoted::said(desk.text(path));
        let end = said.rsplit('/').next()?;
        let reads = compiled.ast.includes.iter();
        let mut names = reads.filter(|(a, _)| **a == *from.name).map(|(_, b)| b);
        let name = names.find(|name| name.rsplit('/').next() == Some(end))?;
        let file = desk.file(name)?;
        Some(Span::new(file.base, file.base))
    });
    included.into_iter().collect()
}

/// Every place of the name at an offset, in file order; declarations only if `declared`.
#[must_use]
pub fn references(desk: &Desk, at: u32, declared: bool) -> Vec<Span> {
    let Some(one) = desk.uses().at(at) else {
        return Vec::new();
    };
    let all = desk.uses().names.iter().filter(|other| other.is_same(one));
    all.filter(|other| declared || other.role != Role::Declares).map(|other| other.at).collect()
}
