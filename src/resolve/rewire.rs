//! Reuses the lines of the last model. While a display is edited, most wires stay unchanged.

use super::kept::Again;
use crate::ast::{Expr, Item, Part, Reference, Wire};
use crate::keyed::Keyed;
use crate::model::{Line, Model, Piece, PieceKind, StringId, Target};
use std::sync::atomic::Ordering::Relaxed;

/// The lines of the last model, for wires whose text is unchanged.
pub struct Rewire<'l> {
    last: &'l Model,
    /// By string of the last model: the same string now, if its prop was kept.
    strings: Keyed<StringId, Option<StringId>>,
    /// For each controller, whether it was kept and stands at the same place.
    same: Vec<bool>,
}

impl<'l> Rewire<'l> {
    /// For a model whose strings are laid out; `None` if no wire can be kept.
    pub fn new(last: &'l Model, again: &Again, model: &Model) -> Option<Self> {
        // A lead without a conductor of its own has that of the display.
        let lead = |model: &Model| model.display.lead.as_ref().map(|told| told.value);
        if lead(last) != lead(model) {
            return None;
        }
        let mut strings = last.strings.map(|_| None);
        for (old, new) in &again.props {
            let (old, new) = (&last.props[*old], &model.props[*new]);
            for (old, new) in old.strings().zip(new.strings()) {
                strings[StringId(old)] = Some(StringId(new));
            }
        }
        let mut pairs = last.controllers.iter().zip(&model.controllers);
        let same = again.controllers.iter();
        let same =
            same.map(|kept| pairs.next().is_some_and(|(old, new)| *kept && old.at == new.at));
        Some(Self { last, strings, same: same.collect() })
    }

    /// The line that a wire made and its pieces, if the wire and its port are unchanged.
    pub fn line(&self, wire: &Wire) -> Option<(&'l Line, &'l [Piece])> {
        let at = wire.last.load(Relaxed).checked_sub(1)? as usize;
        let line = self.last.lines.get(at)?;
        // Resolving is repeated for a `split`, so `wire.last` may belong to a model that was not
        // taken. Hence the line must be at the place of this wire.
        let own = line.again && line.at == wire.target.span;
        let Target::Port(controller, _, None) = line.target else {
            return None;
        };
        let same = self.same.get(controller.index()).copied().unwrap_or(false);
        let pieces = line.pieces.start as usize..line.pieces.end as usize;
        Some((line, self.last.pieces.get(pieces)?)).filter(|_| own && same)
    }

    /// A piece of such a line with the string's present id, if the string is still there.
    pub fn piece(&self, piece: &Piece) -> Option<Piece> {
        let kind = match piece.kind {
            PieceKind::String(id, pin) => PieceKind::String(self.strings[id]?, pin),
            other => other,
        };
        Some(Piece { kind, ..*piece })
    }
}

/// Whether a wire depends on its text, its ports and its props alone: it has no members, named
/// strings, `by`, pins or arithmetic.
pub fn is_plain(wire: &Wire) -> bool {
    let named = |one: &Reference| match &one.part {
        None => one.members.is_none(),
        Some(Part::Number(range)) => {
            one.members.is_none()
                && range.from.is_number()
                && range.to.as_ref().is_none_or(Expr::is_number)
        }
        Some(Part::Name(_)) => false,
    };
    let mut items = wire.chains.iter().flat_map(|chain| &chain.items);
    named(&wire.target)
        && items.all(|item| match item {
            Item::Reference(reference, None, None) => named(reference),
            Item::Reference(..) => false,
            Item::Skip(_, nodes) => nodes.value.is_number(),
            Item::Lead(_, length, of) => {
                length.value.is_number() && of.as_ref().is_none_or(|of| of.value.is_number())
            }
        })
}
