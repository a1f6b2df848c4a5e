//! What a wire made last time. While a display is edited, most wires and what they name stay as they are.

use super::kept::Again;
use crate::ast::{Expr, Item, Part, Reference, Wire};
use crate::keyed::Keyed;
use crate::model::{Line, Model, Piece, PieceKind, StringId, Target};
use std::sync::atomic::Ordering::Relaxed;

/// The wires of the last model, for those whose text stays.
pub struct Rewire<'l> {
    last: &'l Model,
    /// By string of the last model: the same string now, where its prop was kept.
    strings: Keyed<StringId, Option<StringId>>,
    /// Whether each controller is as it was, and in its place.
    same: Vec<bool>,
}

impl<'l> Rewire<'l> {
    /// For a model whose strings are laid out; `None` where no wire can be kept.
    pub fn new(last: &'l Model, again: &Again, model: &Model) -> Option<Self> {
        // A lead without a conductor of its own has the display's.
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

    /// The line that a wire made, if it would make the same now, and its pieces.
    pub fn line(&self, wire: &Wire) -> Option<(&'l Line, &'l [Piece])> {
        let at = wire.last.load(Relaxed).checked_sub(1)? as usize;
        let line = self.last.lines.get(at)?;
        // A `split` is tried in several ways, and the model that was taken need not be that of the last one.
        let own = line.again && line.at == wire.target.span;
        let Target::Port(controller, _, None) = line.target else {
            return None;
        };
        let same = self.same.get(controller.index()).copied().unwrap_or(false);
        let pieces = line.pieces.start as usize..line.pieces.end as usize;
        Some((line, self.last.pieces.get(pieces)?)).filter(|_| own && same)
    }

    /// A piece of such a line as it is now, if it is still there.
    pub fn piece(&self, piece: &Piece) -> Option<Piece> {
        let kind = match piece.kind {
            PieceKind::String(id, pin) => PieceKind::String(self.strings[id]?, pin),
            other => other,
        };
        Some(Piece { kind, ..*piece })
    }
}

/// Whether a wire names one port and whole strings, and nothing but its text and those decides what it makes.
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
