//! Rows of the lock → strings and controllers of the display.

use super::names::{Names, shapes};
use crate::lock::{Lock, LockRow};
use crate::model::{ControllerId, Model, PieceKind, Rename, StringId};
use crate::plan::{Carried, Freed, Past, Was};
use std::collections::BTreeMap;

/// Binds every row that still has a string.
pub(super) fn bind(model: &Model, lock: &Lock) -> Past {
    let done = |rename: &Rename| lock.has_carried(rename);
    let names = Names::of(&model.renames, &done);
    let carries = |rename: &Rename| match done(rename) {
        true => Carried::Before,
        false => Carried::Nothing,
    };
    let mut carried: Vec<Carried> = model.renames.iter().map(carries).collect();
    let controllers = controllers(model, lock, &names, &mut carried);
    let was = |(at, row): (usize, &LockRow)| Was {
        row: at,
        controller: controllers.get(&*row.controller).copied(),
        output: row.output,
        start: row.start,
        slots: row.slots.max(1),
        at: row.at,
    };
    let Bound { rows, claimed, reshaped } = rows(model, lock, &names, &mut carried);
    let bound =
        rows.iter().map(|at| at.and_then(|at| Some((at, lock.rows.get(at)?))).map(was)).collect();
    let gone = lock.rows.iter().enumerate().zip(&claimed);
    let freed = gone.filter(|(_, claimed)| !**claimed).map(|((at, row), _)| Freed {
        name: row.name.clone(),
        controller_name: row.controller.clone(),
        was: was((at, row)),
    });
    let freed = freed.collect();
    let begins = begins(lock, &controllers);
    let told = rows.iter().zip(0_u32..).filter_map(|(at, id)| {
        let row = lock.rows.get((*at)?)?;
        Some((StringId(id), row.moved.clone()?))
    });
    let told = told.collect();
    let controllers = controllers.into_iter();
    Past {
        universe_slots: lock.universe_slots,
        was: bound,
        moves: Vec::new(),
        freed,
        begins,
        told,
        controllers: controllers.map(|(name, id)| (name.into(), id)).collect(),
        carried,
        reshaped,
        off: None,
        trade: None,
    }
}

/// Strings and rows of a lock that belong together.
struct Bound {
    /// The row of each string.
    rows: Vec<Option<usize>>,
    /// Whether each row has a string.
    claimed: Vec<bool>,
    /// Strings whose prop changed its shape, with the names in the lock.
    reshaped: Vec<(Box<str>, StringId)>,
}

/// What is carried over comes first, then what kept its name, then what changed its shape.
fn rows(model: &Model, lock: &Lock, names: &Names, carried: &mut [Carried]) -> Bound {
    let mut claimed = vec![false; lock.rows.len()];
    let mut rows: Vec<Option<usize>> = vec![None; model.strings.len()];
    let mut claim = |index: usize, name: &str| {
        let at = find(lock, name)?;
        let free = claimed.get_mut(at).filter(|claimed| !**claimed)?;
        *free = true;
        *rows.get_mut(index)? = Some(at);
        Some(())
    };
    let mut left = Vec::new();
    let here = here(model);
    for (index, string) in model.strings.iter().enumerate() {
        if here.get(index) == Some(&false) {
            continue;
        }
        let old = names.string(model, string);
        let found = old.and_then(|(rename, old)| {
            claim(index, &old)?;
            if let Some(carried) = carried.get_mut(rename) {
                *carried = Carried::Now;
            }
            Some(())
        });
        if found.is_none() {
            left.push((index, model.name_of(StringId::from(index))));
        }
    }
    left.retain(|(index, name)| claim(*index, name).is_none());
    let mut reshaped = Vec::new();
    for (index, name) in &left {
        let mut olds = shapes(name).into_iter();
        let old = olds.find(|old| claim(*index, old).is_some());
        reshaped.extend(old.map(|old| (old.into(), StringId::from(*index))));
    }
    Bound { rows, claimed, reshaped }
}

/// Which strings are in this display, by string; empty where all are. Of a prop from `stock` only
/// those on a line are; the row of any other is freed.
fn here(model: &Model) -> Vec<bool> {
    if !model.props.iter().any(|prop| prop.stock) {
        return Vec::new();
    }
    let of_stock = |string| model.prop_of(string).is_some_and(|prop| prop.stock);
    let strings = (0..model.strings.len()).map(StringId::from);
    let mut here: Vec<bool> = strings.map(|string| !of_stock(string)).collect();
    for piece in &model.pieces {
        if let PieceKind::String(id, _) = piece.kind
            && let Some(here) = here.get_mut(id.index())
        {
            *here = true;
        }
    }
    here
}

fn find(lock: &Lock, name: &str) -> Option<usize> {
    lock.rows.binary_search_by(|row| (*row.name).cmp(name)).ok()
}

/// The first universe of each controller in the lock; in an older format, the first in use.
fn begins(lock: &Lock, names: &BTreeMap<&str, ControllerId>) -> BTreeMap<ControllerId, u32> {
    let first = |runs: &[(u32, u32)]| Some(runs.first()?.0);
    let named = |(name, first): (&str, Option<u32>)| Some((*names.get(name)?, first?));
    if lock.boxes.is_empty() {
        let used = lock.universes().into_iter().map(|(name, runs)| (name, first(&runs)));
        return used.filter_map(named).collect();
    }
    let boxes = lock.boxes.iter().map(|one| (&*one.name, one.from));
    boxes.filter_map(named).collect()
}

/// The controllers, by the names that the lock has for them.
fn controllers<'a>(
    model: &Model,
    lock: &'a Lock,
    names: &Names,
    carried: &mut [Carried],
) -> BTreeMap<&'a str, ControllerId> {
    let used = lock.rows.iter().map(|row| &*row.controller);
    let named = used.chain(lock.boxes.iter().map(|one| &*one.name));
    let mut rows: BTreeMap<&str, Option<ControllerId>> = named.map(|name| (name, None)).collect();
    let mut own = Vec::new();
    for (index, controller) in model.controllers.iter().enumerate() {
        let id = ControllerId::from(index);
        let old = names.controller(model, &controller.name);
        let row = old.and_then(|(rename, old)| Some((rename, rows.get_mut(&*old)?)));
        match row {
            Some((rename, row)) => {
                *row = Some(id);
                if let Some(carried) = carried.get_mut(rename) {
                    *carried = Carried::Now;
                }
            }
            None => own.push((id, &*controller.name)),
        }
    }
    for (id, name) in own {
        if let Some(row) = rows.get_mut(name).filter(|row| row.is_none()) {
            *row = Some(id);
        }
    }
    rows.into_iter().filter_map(|(name, id)| Some((name, id?))).collect()
}
