//! What was made of a statement last time. While a display is edited, most of its statements stay as they are.

use super::matching::Reader;
use super::names::Decl;
use super::sketch::Sketch;
use crate::ast::{Arg, Block, Body, Expr, Setting};
use crate::model::{Model, Prop, Shape};
use std::cell::Cell;
use std::sync::Arc;

/// What was made of a statement.
struct Kept<T> {
    /// What the statement could name then.
    beside: Arc<str>,
    made: T,
}

/// A prop of one member, and its shapes.
type Whole = (Prop, Box<[Shape]>);

/// The statements of a kind in a display that is being edited, as they were made last time.
pub struct Before {
    /// What they can name now; `None` where nothing is kept.
    beside: Option<Arc<str>>,
    /// The address of the copy that was last found to be equal. Nearly all statements share one copy.
    same: Cell<Option<*const u8>>,
}

impl Before {
    /// For statements that can name what `beside` says, and each `let`.
    pub fn new(reader: &Reader<'_, '_>, beside: impl Iterator<Item = String>) -> Self {
        let lets = reader.lets.names(reader.names).map(|name| format!("let {name}\n"));
        let all = || beside.chain(lets).collect::<String>().into();
        Self { beside: reader.names.is_edited().then(all), same: Cell::new(None) }
    }

    /// For props in a model whose makes of node are known.
    pub fn props(reader: &Reader<'_, '_>, model: &Model) -> Self {
        let nodes = model.nodes.iter().map(|node| format!("{} {}\n", node.name, node.slots));
        Self::new(reader, nodes)
    }

    /// Reads what was made of a statement last time, if the same would be made now.
    pub fn read<T: 'static, R>(&self, block: &Block, read: impl FnOnce(&T) -> R) -> Option<R> {
        let made = block.made.0.lock().ok()?;
        let kept = made.as_ref()?.downcast_ref::<Kept<T>>()?;
        let beside = self.beside.as_ref()?;
        let lies = Some(kept.beside.as_ptr());
        if self.same.get() != lies && **beside != *kept.beside {
            return None;
        }
        self.same.set(lies);
        Some(read(&kept.made))
    }

    /// Keeps what was made of a statement without a finding, if nothing else in the display can change it.
    pub fn write<T: Send + 'static>(
        &self,
        reader: &Reader<'_, '_>,
        block: &Block,
        make: impl FnOnce() -> Option<T>,
    ) {
        let Some(beside) = &self.beside else {
            return;
        };
        let own = |setting| is_own(reader, setting);
        let alone = block.like.is_none() && block.count.is_none() && !block.broken;
        let made = (alone && block.settings.iter().all(own)).then(make).flatten();
        if let Ok(mut kept) = block.made.0.lock() {
            *kept = made.map(|made| Box::new(Kept { beside: Arc::clone(beside), made }) as _);
        }
    }

    /// Puts a prop and its shapes into the model as they were made last time. Gives how many shapes.
    pub fn put(&self, reader: &Reader<'_, '_>, row: &Decl<'_>, model: &mut Model) -> Option<usize> {
        self.read(row.block, |(prop, shapes): &Whole| {
            let most = model.most_strings as usize;
            if model.shapes.len() + shapes.len() > most {
                return None;
            }
            for shape in shapes {
                if let Some(node) = shape.node {
                    reader.names.nodes.use_row(node.0);
                }
                model.shapes.push(shape.clone());
            }
            model.props.push(Prop { stock: row.stock, ..prop.clone() });
            Some(shapes.len())
        })?
    }

    /// Keeps a prop that was made without a finding, as [`Self::write`] does.
    pub fn keep(
        &self,
        reader: &Reader<'_, '_>,
        block: &Block,
        prop: &Prop,
        (sketches, shapes): (&[Sketch<'_>], &[Shape]),
    ) {
        self.write(reader, block, || {
            let plain = sketches.iter().all(|one| matches!(one, Sketch::Plain { .. }));
            let whole = plain && !prop.broken && !shapes.is_empty();
            whole.then(|| -> Whole { (prop.clone(), shapes.into()) })
        });
    }
}

/// Whether a setting uses no name but that of a make of node or a chip.
fn is_own(reader: &Reader<'_, '_>, setting: &Setting) -> bool {
    let names = reader.names;
    let number = |one: &Expr| matches!(one, Expr::Number(..));
    let own = |arg: &Arg| match arg {
        Arg::Number(quantity) => number(&quantity.value),
        Arg::Range(range) => number(&range.from) && range.to.as_ref().is_none_or(number),
        Arg::Text(_) | Arg::Comma(_) | Arg::Address(_) => true,
        Arg::Word(word) => {
            let key = names.key(*word);
            let plain = match names.kind_of(&key) {
                Some(kind) => matches!(kind, "node" | "chip"),
                // It may be a name whose declaration is not finished.
                None => !names.is_mentioned(&key) && !names.has_nameless(),
            };
            plain && !reader.lets.has(&key)
        }
        Arg::Reference(_) => false,
    };
    let inner = match &setting.body {
        Body::None => true,
        Body::Block(settings, broken) => !broken && settings.iter().all(|one| is_own(reader, one)),
        Body::Runs(_) => false,
    };
    inner && setting.args.iter().all(own)
}
