//! A compiled display, perhaps narrowed to one name. Its tables are made from this.

use super::stretch::{self, SlotRange, Used};
use crate::diagnostic::words;
use crate::keyed::Keyed;
use crate::model::{ControllerId, Model, PieceKind, Prop, StringDef, StringId};
use crate::plan::Plan;
use crate::table::Point;
use crate::usage::output_name;
use std::cell::OnceCell;

/// A compiled display as tables, perhaps narrowed to one name.
pub struct View<'a> {
    pub(super) model: &'a Model,
    pub(super) plan: &'a Plan,
    pub(super) only: Option<Only>,
    usage: OnceCell<(Vec<SlotRange>, Vec<Used>)>,
}

/// What a view is narrowed to.
pub(super) struct Only {
    strings: Keyed<StringId, bool>,
    /// A controller that is shown even if no string of it is.
    pub(super) controller: Option<ControllerId>,
}

impl<'a> View<'a> {
    /// A view of the whole display.
    #[must_use]
    pub fn new(model: &'a Model, plan: &'a Plan) -> Self {
        Self { model, plan, only: None, usage: OnceCell::new() }
    }

    /// Narrows the view to a prop, a member (`heron[2]`), a string (`lighthouse.2`), a port
    /// (`boathouse.3`, or `jetty.1` of a receiver), a controller or a receiver: its strings, and
    /// the ports, controllers and universes that carry them. An unused port has none.
    ///
    /// # Errors
    /// The nearest names, if nothing has this name.
    pub fn only(mut self, name: &str) -> Result<Self, Vec<String>> {
        let model = self.model;
        let prop = name.split(['[', '.']).next().unwrap_or(name);
        let prop = model.props.find(|p| &*p.name == prop);
        let controller = model.controllers.find(|c| &*c.name == name);
        let receiver = model.receivers.find(|r| &*r.name == name);
        let output = model.output_named(name);
        let named = |(id, string): (StringId, &StringDef)| {
            Some(string.prop) == prop && self.is_named(id, name)
        };
        let mut strings: Keyed<StringId, bool> = model.strings.pairs().map(named).collect();
        let mut known = controller.is_some() || receiver.is_some() || output.is_some();
        known |= strings.as_slice().contains(&true);
        for port in &self.plan.ports {
            let whole = Some(port.controller) == controller
                || output_name(model, port.controller, port.output) == name;
            known |= whole;
            for piece in &port.pieces {
                let here = whole
                    || piece.receiver.is_some_and(|at| {
                        Some(at) == receiver
                            || output == Some((port.controller, port.output, Some(at)))
                    });
                if let (PieceKind::String(id, _), true) = (piece.piece.kind, here) {
                    strings[id] = true;
                }
            }
        }
        if !known {
            return Err(self.nearest(name));
        }
        self.only = Some(Only { strings, controller });
        Ok(self)
    }

    fn is_named(&self, id: StringId, name: &str) -> bool {
        let (string, prop) = (&self.model.strings[id], self.model.prop(id));
        let rest = name.strip_prefix(&*prop.name).unwrap_or(name);
        let member = match string.member {
            0 => String::new(),
            member => format!("[{member}]"),
        };
        let within = |rest: &str| {
            let shape = self.model.shape(id).name.as_deref();
            let part = rest.strip_prefix('.');
            rest.is_empty()
                || part.is_some_and(|part| part.parse() == Ok(string.number) || Some(part) == shape)
        };
        rest.is_empty() || rest.strip_prefix(member.as_str()).is_some_and(within)
    }

    fn nearest(&self, name: &str) -> Vec<String> {
        let model = self.model;
        let props = model.props.iter().map(|p| &*p.name);
        let controllers = model.controllers.iter().map(|c| &*c.name);
        let receivers = model.receivers.iter().map(|r| &*r.name);
        let stem = name.split(['[', '.']).next().unwrap_or(name);
        words::nearest(stem, props.chain(controllers).chain(receivers))
            .into_iter()
            .map(str::to_owned)
            .collect()
    }

    pub(super) fn shows(&self, id: StringId) -> bool {
        self.only.as_ref().is_none_or(|only| only.strings[id])
    }

    /// Universe, slot and channel, each from 1, of a channel that counts from 0.
    pub(super) fn point(&self, channel: u64) -> Point {
        Point::new(self.plan.universe_slots, channel)
    }

    pub(super) fn usage(&self) -> &(Vec<SlotRange>, Vec<Used>) {
        self.usage.get_or_init(|| {
            let stretches = stretch::stretches(self.model, self.plan);
            let rows = stretch::by_universe(self.plan, &stretches);
            (stretches, rows)
        })
    }

    /// The strings and fixtures that are placed, by output, position.
    pub(super) fn shown(&self) -> impl Iterator<Item = StringId> {
        let pieces = self.plan.ports.iter().flat_map(|port| &port.pieces);
        let strings = pieces.filter_map(|piece| match piece.piece.kind {
            PieceKind::String(id, _) => Some(id),
            PieceKind::Skip(_) | PieceKind::Lead(..) => None,
        });
        strings.filter(|id| self.plan.of(*id).is_some() && self.shows(*id))
    }
}

/// The label of a member, or of its prop where it has none of its own.
pub(super) fn label_of(prop: &Prop, member: u32) -> Option<&str> {
    let details = prop.details.as_ref()?;
    let own = details.member(member).and_then(|own| own.label.as_deref());
    own.or(details.label.as_deref())
}
