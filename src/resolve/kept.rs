//! Reuses what the last compile made of a statement. While a display is edited, most of its
//! statements stay unchanged.

use super::makes::count;
use super::matching::Reader;
use super::names::Decl;
use super::sketch::Sketch;
use crate::ast::{Arg, Block, Body, Expr, Setting};
use crate::model::{Cut, Model, Prop, PropId, Shape};
use std::cell::Cell;
use std::sync::Arc;
use std::sync::atomic::Ordering::Relaxed;

/// What the last compile made of a statement.
struct Kept<T> {
    /// What the statement could name at that time.
    beside: Arc<str>,
    made: T,
}

/// What of a display is unchanged since the last model.
#[derive(Default)]
pub struct Again {
    /// For each controller, whether it is unchanged.
    pub controllers: Vec<bool>,
    /// Unchanged props: the id in the last model, and the id now.
    pub props: Vec<(PropId, PropId)>,
}

/// What the last compile made of the statements of a kind, for a display that is being edited.
pub struct Before {
    /// What they can name now; `None` if nothing is kept.
    beside: Option<Arc<str>>,
    /// The address of the text last found equal to `beside`. Nearly all statements share one.
    same: Cell<Option<*const u8>>,
}

/// What statements can name: what `beside` gives, and each `let`. `None` if the display is not
/// being edited.
fn beside(reader: &Reader<'_, '_>, beside: impl Iterator<Item = String>) -> Option<Arc<str>> {
    let lets = reader.lets.names(reader.names).map(|name| format!("let {name}\n"));
    reader.names.is_edited().then(|| beside.chain(lets).collect::<String>().into())
}

impl Before {
    /// For statements that can name what `named` gives, and each `let`.
    pub fn new(reader: &Reader<'_, '_>, named: impl Iterator<Item = String>) -> Self {
        Self { beside: beside(reader, named), same: Cell::new(None) }
    }

    /// Reads what the last compile made of a statement, if it could name the same things then.
    pub fn read<T: 'static, R>(&self, block: &Block, read: impl FnOnce(&T) -> R) -> Option<R> {
        let made = block.made.kept.lock().ok()?;
        let kept = made.as_ref()?.downcast_ref::<Kept<T>>()?;
        let beside = self.beside.as_ref()?;
        let lies = Some(kept.beside.as_ptr());
        if self.same.get() != lies && **beside != *kept.beside {
            return None;
        }
        self.same.set(lies);
        Some(read(&kept.made))
    }

    /// Keeps what was made of a statement without a finding, if it depends on no other statement.
    pub fn write<T: Send + 'static>(
        &self,
        reader: &Reader<'_, '_>,
        block: &Block,
        make: impl FnOnce() -> Option<T>,
    ) {
        let Some(beside) = &self.beside else {
            return;
        };
        let made = stands_alone(reader, block).then(make).flatten();
        if let Ok(mut kept) = block.made.kept.lock() {
            *kept = made.map(|made| Box::new(Kept { beside: Arc::clone(beside), made }) as _);
        }
    }
}

/// Whether what is made of a statement depends only on its own text and what [`beside`] gives.
fn stands_alone(reader: &Reader<'_, '_>, block: &Block) -> bool {
    let alone = block.like.is_none() && block.count.is_none() && !block.broken;
    alone && block.settings.iter().all(|setting| is_own(reader, setting))
}

/// The last model, if its props could name the same things as those of `model`, which has its makes
/// of node already.
pub fn last_props<'l>(
    last: Option<&'l Model>,
    reader: &Reader<'_, '_>,
    model: &mut Model,
) -> Option<&'l Model> {
    let nodes = model.nodes.iter().map(|node| format!("{} {}\n", node.name, node.slots));
    model.beside_props = beside(reader, nodes).unwrap_or_default();
    last.filter(|last| last.beside_props == model.beside_props)
}

/// Copies a prop and its shapes from the last model, if they were kept. Returns how many shapes.
pub fn put(
    (last, again): (&Model, &mut Again),
    reader: &Reader<'_, '_>,
    row: &Decl<'_>,
    model: &mut Model,
) -> Option<usize> {
    let made = &row.block.made.last;
    let at = made.load(Relaxed).checked_sub(1)? as usize;
    let prop = last.props.as_slice().get(at).filter(|prop| prop.at == row.block.name.span)?;
    let strings = prop.strings();
    let first = last.strings.as_slice().get(strings.start as usize)?.shape.index();
    let shapes = last.shapes.as_slice().get(first..first + strings.len())?;
    if shapes.is_empty() || model.shapes.len() + shapes.len() > model.most_strings as usize {
        return None;
    }
    for shape in shapes {
        if let Some(node) = shape.node {
            reader.names.nodes.use_row(node.0);
        }
        model.shapes.push(shape.clone());
    }
    let id = PropId(count(model.props.len() as i64));
    made.store(id.0 + 1, Relaxed);
    again.props.push((PropId::from(at), id));
    let blank =
        Prop { first: 0, cut: Cut::Even(0), broken: false, stock: row.stock, ..prop.clone() };
    model.props.push(blank);
    Some(shapes.len())
}

/// Keeps a prop that was made without a finding and is the next in the model, if it depends on no
/// other statement.
pub fn keep(
    reader: &Reader<'_, '_>,
    block: &Block,
    prop: &Prop,
    (sketches, shapes): (&[Sketch<'_>], &[Shape]),
    model: &Model,
) {
    if !reader.names.is_edited() {
        return;
    }
    let plain = sketches.iter().all(|one| matches!(one, Sketch::Plain { .. }));
    if plain && !prop.broken && !shapes.is_empty() && stands_alone(reader, block) {
        block.made.last.store(count(model.props.len() as i64) + 1, Relaxed);
    }
}

/// Whether a setting uses no name except those of makes of node and chips.
fn is_own(reader: &Reader<'_, '_>, setting: &Setting) -> bool {
    let names = reader.names;
    let number = Expr::is_number;
    let own = |arg: &Arg| match arg {
        Arg::Number(quantity) => number(&quantity.value),
        Arg::Range(range) => number(&range.from) && range.to.as_ref().is_none_or(number),
        Arg::Text(_) | Arg::Comma(_) | Arg::Address(_) => true,
        Arg::Word(word) => {
            let key = names.key(*word);
            let plain = match names.kind_of(&key) {
                Some(kind) => matches!(kind, "node" | "chip"),
                // It may be the name of a declaration that is not finished.
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
