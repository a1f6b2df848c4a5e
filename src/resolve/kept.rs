//! What a prop came to last time: while a display is edited, most of its statements stay as they are.

use super::matching::Reader;
use super::names::Decl;
use super::sketch::Sketch;
use crate::ast::{Arg, Block, Body, Expr, Setting};
use crate::model::{Model, Prop, Shape};
use std::sync::Arc;

/// A prop of one member whose settings name nothing but its make of node.
struct Kept {
    /// What those settings were read against.
    beside: Arc<str>,
    prop: Prop,
    shapes: Box<[Shape]>,
}

/// The props of a display that is being edited, as they were made last time.
pub struct Before {
    /// The makes of node in their order, each with what a shape takes from it; `None` where nothing is kept.
    beside: Option<Arc<str>>,
}

impl Before {
    /// For a model whose makes of node are known.
    pub fn new(reader: &Reader<'_, '_>, model: &Model) -> Self {
        let nodes = model.nodes.iter().map(|node| format!("{} {}\n", node.name, node.slots));
        let beside = reader.names.is_edited().then(|| nodes.collect::<String>().into());
        Self { beside }
    }

    /// Puts a prop and its shapes into the model as they were made last time, if they would be the same now. Gives how
    /// many shapes.
    pub fn put(&self, reader: &Reader<'_, '_>, row: &Decl<'_>, model: &mut Model) -> Option<usize> {
        let made = row.block.made.0.lock().ok()?;
        let kept = made.as_ref()?.downcast_ref::<Kept>()?;
        let most = model.most_strings as usize;
        let fits = model.shapes.len() + kept.shapes.len() <= most;
        if !fits || self.beside.as_ref().is_none_or(|beside| **beside != *kept.beside) {
            return None;
        }
        for shape in &kept.shapes {
            if let Some(node) = shape.node {
                reader.names.nodes.use_row(node.0);
            }
            model.shapes.push(shape.clone());
        }
        model.props.push(Prop { stock: row.stock, ..kept.prop.clone() });
        Some(kept.shapes.len())
    }

    /// Keeps a prop that was made without a finding, if its statement alone and the makes of node say all of it.
    pub fn keep(
        &self,
        reader: &Reader<'_, '_>,
        block: &Block,
        prop: &Prop,
        (sketches, shapes): (&[Sketch<'_>], &[Shape]),
    ) {
        let Some(beside) = &self.beside else {
            return;
        };
        let alone = block.like.is_none() && block.count.is_none() && !block.broken && !prop.broken;
        let plain = sketches.iter().all(|one| matches!(one, Sketch::Plain { .. }));
        let literal = |setting| is_literal(reader, setting);
        let kept = alone && plain && !shapes.is_empty() && block.settings.iter().all(literal);
        if let Ok(mut made) = block.made.0.lock() {
            *made = kept.then(|| {
                let (beside, prop, shapes) = (Arc::clone(beside), prop.clone(), shapes.into());
                Box::new(Kept { beside, prop, shapes }) as _
            });
        }
    }
}

/// Whether what a setting of a prop says hangs on no name but that of a node.
fn is_literal(reader: &Reader<'_, '_>, setting: &Setting) -> bool {
    let names = reader.names;
    let node = names.text(setting.key) == "node";
    let literal = |arg: &Arg| match arg {
        Arg::Number(quantity) => matches!(quantity.value, Expr::Number(..)),
        Arg::Text(_) | Arg::Comma(_) => true,
        Arg::Word(word) => {
            let text = names.text(*word);
            node || matches!(text, "of" | "at") && !reader.lets.has(text)
        }
        Arg::Range(_) | Arg::Address(_) | Arg::Reference(_) => false,
    };
    matches!(setting.body, Body::None) && setting.args.iter().all(literal)
}
