//! The table of universes with a slot in use, by number.

use super::View;
use super::stretch::{SlotRange, Used};
use crate::diagnostic::words;
use crate::model::{Controller, ControllerId};
use crate::table::{Cell, Column, Row, Table, columns};
use crate::usage;

/// A controller that gets a universe, and where the universe is sent for it.
#[derive(Clone, Debug)]
pub struct Listener<'a> {
    pub(crate) controller: &'a str,
    pub(crate) address: Option<String>,
    pub(crate) address_kind: Option<&'static str>,
    pub(crate) host: Option<&'a str>,
}

impl<'a> Listener<'a> {
    fn new(controller: &'a Controller, universe: u32) -> Self {
        let input = controller.input;
        let address = input.protocol.universe_address(input.form, universe);
        Self {
            controller: &controller.name,
            address_kind: address.is_some().then(|| input.protocol.address_kind()),
            address,
            host: controller.host.as_ref().map(|host| &*host.value),
        }
    }

    /// Where the universe is sent, in words.
    fn place(&self) -> String {
        match &self.address {
            Some(address) => format!("{} {address}", self.address_kind.unwrap_or("")),
            None => self.host.map_or_else(|| "-".to_owned(), words::shown),
        }
    }
}

/// One universe with a slot in use.
#[derive(Debug)]
pub struct UniverseRow<'a> {
    pub(crate) universe: u32,
    pub(crate) owner: Listener<'a>,
    pub(crate) used: u32,
    pub(crate) free: u32,
    pub(crate) also: Vec<Listener<'a>>,
    pub(crate) strings: Vec<String>,
}

pub(super) fn table<'v>(view: &'v View<'_>) -> Table<'v> {
    Table::of("universes", "Universes with a slot in use, by number.", || view.universes())
}

impl Row for Listener<'_> {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "controller" "Its name." => row.controller;
            text "address"
                "The universe's multicast group or Port-Address as this controller's input has it."
                => row.address.as_deref(), maybe;
            text "address_kind" "Which of the two: `multicast` or `Port-Address`."
                => row.address_kind, maybe;
            text "host" "The controller's host." => row.host, maybe;
        }
    }
}

impl Row for UniverseRow<'_> {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            number "universe" "Its number." => row.universe, shown("universe");
            people "controller" => row.whose();
            text "controller" "The controller it belongs to." => row.owner.controller;
            number "used" "Slots in use; shared slots count once." => row.used, shown("used");
            number "free" "The other slots." => row.free, shown("free");
            people "sent to" => row.places();
            text "address" "Its multicast group or Port-Address."
                => row.owner.address.as_deref(), maybe;
            text "address_kind" "Which of the two: `multicast` or `Port-Address`."
                => row.owner.address_kind, maybe, programs;
            text "host"
                "Where it is sent where it has no address of its own: the controller's host."
                => row.owner.host, maybe;
            [[Listener<'_>]] "also"
                "Other controllers that must listen to it, since strings of theirs show the same \
                 data."
                => Cell::List(row.also.iter().map(Cell::from).collect()), programs;
            texts "strings" "The strings in it, by slot." => row.strings.as_slice();
            texts "also"
                => {
                    let names = row.also.iter().map(|other| other.controller.into());
                    Cell::List(names.collect())
                }, sheets;
        }
    }

    fn remark(&self) -> String {
        words::few(&self.strings)
    }
}

impl UniverseRow<'_> {
    /// The controllers that get it, in words.
    fn whose(&self) -> String {
        let all = std::iter::once(&self.owner).chain(&self.also);
        words::few(&all.map(|one| one.controller.to_owned()).collect::<Vec<_>>())
    }

    /// Where it is sent, in words. One multicast group serves all that listen.
    fn places(&self) -> String {
        let mut places = vec![self.owner.place()];
        for other in &self.also {
            let there = other.place();
            if !places.contains(&there) {
                places.push(there);
            }
        }
        words::few(&places)
    }
}

impl<'a> View<'a> {
    /// Universes with a slot in use, by number.
    pub fn universes(&self) -> impl Iterator<Item = UniverseRow<'a>> {
        let (stretches, rows) = self.usage();
        rows.iter().filter_map(|used| {
            let here = stretches.get(used.from..used.to).unwrap_or(&[]);
            let shown = self.only.is_none() || here.iter().any(|s| self.shows(s.string));
            shown.then(|| self.universe_row(used, here))
        })
    }

    fn universe_row(&self, used: &Used, here: &[SlotRange]) -> UniverseRow<'a> {
        let controller = &self.model.controllers[used.owner];
        let all = self.plan.universe_slots;
        let size = if used.dmx { all.get() } else { controller.slots_used(all) };
        UniverseRow {
            universe: used.universe,
            owner: Listener::new(controller, used.universe),
            used: used.slots,
            free: size.saturating_sub(used.slots),
            also: self.listeners(used, here),
            strings: here.iter().map(|s| self.model.name_of(s.string)).collect(),
        }
    }

    /// The other controllers that show something of a universe, as declared.
    fn listeners(&self, used: &Used, here: &[SlotRange]) -> Vec<Listener<'a>> {
        let owners = here.iter().filter_map(|s| usage::controller_of(self.plan, s.string));
        let mut ids: Vec<ControllerId> = owners.filter(|id| *id != used.owner).collect();
        ids.sort_unstable();
        ids.dedup();
        let controllers = ids.into_iter().map(|id| &self.model.controllers[id]);
        controllers.map(|controller| Listener::new(controller, used.universe)).collect()
    }
}
