//! What to type, to dial and to enter, each with the old value and the new one.

use super::typed::{Field, Place, Typed, typed};
use crate::lock::{Lock, LockRow, Made, SetUp, span_of};
use crate::model::{Model, Output, PropId, StringId};
use crate::plan::{Past, Plan};
use std::collections::{BTreeMap, BTreeSet};

/// A field to type into a controller.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Retype {
    /// The controller's name today.
    pub controller: Box<str>,
    /// The output and the row of its set-up, or the controller as a whole.
    pub place: Place,
    /// The first string of that row, where its output has several rows.
    pub string: Option<Box<str>>,
    /// Which field.
    pub field: Field,
    /// What stands there; `None` where nothing does.
    pub old: Option<String>,
    /// What is to stand there; `None` for nothing.
    pub new: Option<String>,
}

/// An address to dial at a fixture.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Dial {
    /// The fixture's name today.
    pub fixture: Box<str>,
    /// Its address, from 1; `None` where it is new.
    pub old: Option<u32>,
    /// What it is to be.
    pub new: u32,
}

/// What to enter in the program that plays the show.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct ShowEntry {
    /// The prop's or member's name today; of one that is gone, the name it had.
    pub prop: Box<str>,
    /// The column of the table by prop, or `name`.
    pub field: &'static str,
    /// What it has; `None` where the prop is new.
    pub old: Option<String>,
    /// What it is to have; `None` where the prop is gone.
    pub new: Option<String>,
}

/// The old and the new state.
pub(super) struct Orders<'a> {
    model: &'a Model,
    /// The old lock, with the present names of its controllers and without those that are gone.
    before: Lock,
    now: Lock,
    /// The rows of the old lock, each with its string; a row whose string is gone has none.
    rows: Vec<(Option<StringId>, LockRow)>,
}

impl<'a> Orders<'a> {
    pub fn of(model: &'a Model, plan: &Plan, past: Option<(&Past, &Lock)>) -> Self {
        let now = Lock::of(model, plan);
        let mut rows = Vec::new();
        let before = past.map_or_else(Lock::default, |(past, lock)| {
            let strings = past.was.iter().zip(0_u32..);
            let owned = strings.filter_map(|(was, id)| Some((was.as_ref()?.row, StringId(id))));
            let owners: BTreeMap<usize, StringId> = owned.collect();
            rows.extend(lock.rows.iter().enumerate().map(|(at, row)| {
                let owner = owners.get(&at).copied();
                let own = owner.and_then(|id| now.row(&model.name_of(id)));
                (owner, complete(row, own))
            }));
            today(model, past, lock, &now, &rows)
        });
        Self { model, before, now, rows }
    }

    /// What to type into controllers.
    pub fn retype(&self) -> Vec<Retype> {
        let mut all = Vec::new();
        for controller in &self.model.controllers {
            let (old, new) =
                (typed(&self.before, &controller.name), typed(&self.now, &controller.name));
            let several = |place: &Place| {
                [&old, &new].iter().any(|one| one.strings.contains_key(&(place.0, 2)))
            };
            let keys: BTreeSet<_> = old.fields.keys().chain(new.fields.keys()).collect();
            for key in keys {
                let (place, field) = *key;
                let value = |typed: &Typed| {
                    let dark = matches!(field, Field::Dark | Field::DarkWithin);
                    let none = Some("0".to_owned()).filter(|_| dark);
                    typed.fields.get(key).cloned().or(none)
                };
                let (old_value, new_value) = (value(&old), value(&new));
                // Of a row that is gone, only the fields that make it send data are listed.
                let stays = new.strings.contains_key(&place) || place.0.is_none();
                let sent = matches!(field, Field::Nodes | Field::Slots | Field::Universe);
                if old_value == new_value || !stays && !sent {
                    continue;
                }
                let string = new.strings.get(&place).or_else(|| old.strings.get(&place));
                all.push(Retype {
                    controller: controller.name.clone(),
                    place,
                    string: string.filter(|_| several(&place)).cloned(),
                    field,
                    old: old_value,
                    new: new_value,
                });
            }
        }
        all
    }

    /// What to dial at fixtures.
    pub fn dials(&self) -> Vec<Dial> {
        let dmx = |row: &LockRow| matches!(row.output, Output::Dmx(_));
        let olds = self
            .rows
            .iter()
            .filter(|(_, row)| dmx(row))
            .filter_map(|(id, row)| Some(((*id)?, self.before.universe_slot(row.start).1)));
        let olds: BTreeMap<StringId, u32> = olds.collect();
        let ids = (0..self.model.strings.len()).map(StringId::from);
        let dials = ids.filter_map(|id| {
            let name = self.model.name_of(id);
            let row = self.now.row(&name).filter(|row| dmx(row))?;
            let (old, new) = (olds.get(&id).copied(), self.now.universe_slot(row.start).1);
            (old != Some(new)).then(|| Dial { fixture: name.into(), old, new })
        });
        dials.collect()
    }

    /// What to enter for each prop.
    pub fn props(&self) -> Vec<ShowEntry> {
        let mut olds: BTreeMap<(PropId, u32), Vec<&LockRow>> = BTreeMap::new();
        let mut gone: BTreeMap<&str, Vec<&LockRow>> = BTreeMap::new();
        // By string, so that the strings of a member stand in their order.
        let mut rows: Vec<_> = self.rows.iter().collect();
        rows.sort_by_key(|(id, _)| *id);
        for (id, row) in rows {
            match id.and_then(|id| self.model.string(id)) {
                Some(string) => olds.entry((string.prop, string.member)).or_default().push(row),
                None => gone.entry(member_of(&row.name)).or_default().push(row),
            }
        }
        let mut told = Vec::new();
        for (index, prop) in self.model.props.iter().enumerate() {
            for member in 1..=prop.members_count() {
                let number = prop.count.map_or(0, |_| member);
                let old = olds.remove(&(PropId::from(index), number)).unwrap_or_default();
                let ids = prop.strings_of(member).map(StringId);
                let new: Vec<&LockRow> =
                    ids.filter_map(|id| self.now.row(&self.model.name_of(id))).collect();
                let name: Box<str> = match number {
                    0 => Box::from(&*prop.name),
                    number => format!("{}[{number}]", prop.name).into(),
                };
                // The old rows may have another name; a new member has no old rows.
                let was = old.first().map(|row| member_of(&row.name));
                if let Some(was) = was.filter(|was| **was != *name) {
                    told.push(ShowEntry {
                        prop: name.clone(),
                        field: "name",
                        old: Some(was.to_owned()),
                        new: Some(name.to_string()),
                    });
                }
                self.columns(&name, &old, &new, &mut told);
            }
        }
        for (name, rows) in gone {
            self.columns(name, &rows, &[], &mut told);
        }
        told
    }

    fn columns(&self, name: &str, old: &[&LockRow], new: &[&LockRow], told: &mut Vec<ShowEntry>) {
        let (old, new) = (columns(&self.before, old), columns(&self.now, new));
        for (at, field) in COLUMNS.into_iter().enumerate() {
            let value = |columns: &Option<[Option<String>; 4]>| {
                columns.as_ref().and_then(|columns| columns.get(at).cloned()).flatten()
            };
            let (old, new) = (value(&old), value(&new));
            if old != new {
                told.push(ShowEntry { prop: name.into(), field, old, new });
            }
        }
    }
}

/// What the show needs to know of a prop: columns of the table by prop.
const COLUMNS: [&str; 4] = ["nodes", "slots", "first_channel", "starts"];

fn columns(lock: &Lock, rows: &[&LockRow]) -> Option<[Option<String>; 4]> {
    let first = rows.iter().map(|row| row.start).min()?;
    let made = || rows.iter().filter_map(|row| row.made.as_ref());
    let nodes: u64 = made().map(|made| u64::from(made.nodes)).sum();
    let slots = rows.iter().map(|row| match &row.made {
        Some(made) => u64::from(made.nodes) * u64::from(made.each),
        None => row.slots,
    });
    let starts = rows.iter().map(|row| lock.universe_slots.place(row.start));
    Some([
        made().next().map(|_| nodes.to_string()),
        Some(slots.sum::<u64>().to_string()),
        Some((first + 1).to_string()),
        Some(starts.collect::<Vec<_>>().join(", ")),
    ])
}

/// The prop or member of a string, from the string's name.
fn member_of(name: &str) -> &str {
    let (head, tail) = name.rsplit_once('.').unwrap_or((name, ""));
    if tail.bytes().all(|byte| byte.is_ascii_digit()) { head } else { name }
}

/// A lock with the present names of its controllers.
fn today(
    model: &Model,
    past: &Past,
    lock: &Lock,
    now: &Lock,
    rows: &[(Option<StringId>, LockRow)],
) -> Lock {
    let name = |old: &str| {
        let id = past.controllers.get(old)?;
        Some(model.controller(*id)?.name.clone())
    };
    let rows = rows
        .iter()
        .filter_map(|(_, row)| Some(LockRow { controller: name(&row.controller)?, ..row.clone() }));
    let mut before =
        Lock { universe_slots: lock.universe_slots, rows: rows.collect(), ..Lock::default() };
    let universes = before.universes();
    let used = |one: &SetUp| {
        let (first, universes) = span_of(universes.get(&*one.name)?);
        Some(SetUp { first, universes, ..one.clone() })
    };
    before.boxes = if lock.boxes.is_empty() {
        now.boxes.iter().filter_map(used).collect()
    } else {
        let named = |one: &SetUp| Some(SetUp { name: name(&one.name)?, ..one.clone() });
        lock.boxes.iter().filter_map(named).collect()
    };
    before.boxes.sort_by(|a, b| a.name.cmp(&b.name));
    before
}

/// A row in which what an older format does not say is as it is now. Where its slots differ from
/// now, they give its number of nodes.
fn complete(row: &LockRow, now: Option<&LockRow>) -> LockRow {
    let mut row = row.clone();
    if let Some(now) = now.filter(|_| row.made.is_none() && !row.stored) {
        row.stored = now.stored;
        row.made = now.made.as_ref().map(|made| {
            let nodes = match row.slots == now.slots {
                true => made.nodes,
                false => u32::try_from(row.slots / u64::from(made.each.max(1))).unwrap_or(u32::MAX),
            };
            Made { nodes, ..made.clone() }
        });
    }
    row
}
