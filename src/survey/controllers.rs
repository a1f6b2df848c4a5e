//! The table of controllers, as declared. Those of a `stock` file are left out while unused.

use super::View;
use crate::diagnostic::words::shown;
use crate::model::{Controller, ControllerId, Output};
use crate::plan::PortPlan;
use crate::protocol::USUAL_PRIORITY;
use crate::table::{Column, Decimal, Face, Row, Table, columns};
use crate::unit::counted;
use crate::usage::{self, Heard};

/// One controller.
#[derive(Debug)]
pub struct ControllerRow<'a> {
    pub(crate) id: ControllerId,
    pub(crate) controller: &'a Controller,
    pub(crate) name: &'a str,
    pub(crate) host: Option<&'a str>,
    pub(crate) input: &'static str,
    pub(crate) universes: UniverseSpan,
    pub(crate) label: Option<&'a str>,
    pub(crate) addressing: &'static str,
    pub(crate) address_kind: Option<&'static str>,
    /// The addresses of its first and last universe.
    pub(crate) addresses: Option<(String, String)>,
    /// Where its data begin in the protocol's count of bytes, and which channel that is.
    pub(crate) data: Option<(u64, u64)>,
    pub(crate) ports_used: u32,
    pub(crate) ports: u32,
    pub(crate) nodes: u64,
    pub(crate) spare_universes: u32,
    pub(crate) mbit_per_s: Decimal,
    pub(crate) universe_slots: u32,
    pub(crate) fewer_slots: bool,
    pub(crate) priority: Option<u32>,
    pub(crate) sync_universe: Option<u32>,
}

impl ControllerRow<'_> {
    fn first(&self) -> Option<u32> {
        self.universes.ends.map(|(first, _)| first)
    }

    fn last(&self) -> Option<u32> {
        self.universes.ends.map(|(_, last)| last)
    }

    fn addresses(&self) -> (Option<&str>, Option<&str>) {
        let both = self.addresses.as_ref();
        both.map(|(first, last)| (first.as_str(), last.as_str())).unzip()
    }
}

pub(super) fn table<'v>(view: &'v View<'_>) -> Table<'v> {
    Table::of("controllers", "Controllers as declared.", || view.controllers())
}

/// Spreadsheets and people: programs have the universes as one object.
const SEEN: &[Face] = &[Face::Sheets, Face::People];

/// The universes that a controller listens to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub struct UniverseSpan {
    /// The first and the last.
    pub(crate) ends: Option<(u32, u32)>,
    pub(crate) count: u32,
}

impl Row for UniverseSpan {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            number "first" "The first one in use." => row.ends.map(|(first, _)| first), maybe;
            number "last" "The last one in use." => row.ends.map(|(_, last)| last), maybe;
            number "count" "How many are in use." => row.count;
        }
    }
}

impl Row for ControllerRow<'_> {
    fn columns() -> Vec<Column<Self>> {
        columns! { row;
            text "name" "Its name." => row.name, shown("controller");
            text "host" "Where it is on the network." => row.host, maybe, shown("host");
            text "input" "What it listens to, as written." => row.input, shown("input");
            people "ports" => format!("{}/{}", row.ports_used, row.ports), right;
            people "nodes" => row.nodes, right;
            number "first_universe" => row.first(), shown("first"), only(SEEN);
            number "last_universe" => row.last(), shown("last"), only(SEEN);
            number "universes" => row.universes.count, shown("universes"), only(SEEN);
            people "Mbit/s" => row.mbit_per_s, right;
            [UniverseSpan] "universes"
                "Its universes in use: all that it listens to, those of others whose data it shows \
                 too."
                => &row.universes, programs;
            text "label" "A label for people." => row.label, maybe;
            text "addressing" "How it numbers its ports." => row.addressing;
            text "address_kind" "What the two addresses are: `multicast` or `Port-Address`."
                => row.address_kind, maybe, programs;
            text "first_address" "Multicast group or Port-Address of the first universe."
                => row.addresses().0, maybe;
            text "last_address" "The same of the last universe." => row.addresses().1, maybe;
            number "data_offset"
                "Where its data begin in the protocol's own count of bytes, which is its first \
                 channel's place."
                => row.data.map(|(offset, _)| offset), maybe;
            number "data_from_channel"
                "The channel that its data begin at, where the protocol counts from there."
                => row.data.map(|(_, channel)| channel), maybe;
            number "ports_used" "Outputs in use." => row.ports_used;
            number "ports" "Outputs it has." => row.ports;
            number "nodes" "Nodes that light on it." => row.nodes;
            number "spare_universes"
                "Universes that are kept for it after the last one of its own strings."
                => row.spare_universes;
            decimal "mbit_per_s" "Network load at the frame rate, Ethernet's own costs included."
                => row.mbit_per_s;
            number "universe_slots"
                "Slots of each universe that its pixel ports use, 1 to 512; its DMX outputs send \
                 all of the display's."
                => row.universe_slots;
            number "priority" "E1.31 priority of its data, 0 to 200; null where its input has none."
                => row.priority, maybe;
            number "sync_universe" "E1.31 universe of its synchronisation packets, 1 to 63999."
                => row.sync_universe, maybe;
        }
    }

    fn remark(&self) -> String {
        let mut remarks = Vec::new();
        if let Some(label) = self.label {
            remarks.push(format!("\"{}\"", shown(label)));
        }
        if let Some((first, last)) = self.universes.ends
            && last - first >= self.universes.count
        {
            // Some boxes are set by their first universe and a number of universes.
            remarks.push(format!("{} from first to last", counted(last - first + 1, "universe")));
        }
        if let Some((first, last)) = &self.addresses {
            let kind = self.address_kind.unwrap_or("");
            remarks.push(if first == last {
                format!("{kind} {first}")
            } else {
                format!("{kind} {first} to {last}")
            });
        }
        if let Some((offset, channel)) = self.data {
            remarks.push(format!("data offset {offset} is channel {channel}"));
        }
        if self.fewer_slots {
            remarks.push(format!("{} slots a universe", self.universe_slots));
        }
        if let Some(priority) = self.priority.filter(|one| *one != USUAL_PRIORITY) {
            remarks.push(format!("priority {priority}"));
        }
        if let Some(universe) = self.sync_universe {
            remarks.push(format!("sync universe {universe}"));
        }
        if self.spare_universes > 0 {
            remarks.push(format!("{} spare", counted(self.spare_universes, "universe")));
        }
        remarks.join(", ")
    }
}

impl<'a> View<'a> {
    /// Controllers as declared. Those of a `stock` file are left out while unused.
    pub fn controllers(&self) -> impl Iterator<Item = ControllerRow<'a>> {
        let controllers = self.model.controllers.pairs();
        controllers.filter_map(|(id, controller)| {
            let shown = self.shows_controller(id, controller);
            shown.then(|| self.controller_row(id, controller))
        })
    }

    fn shows_controller(&self, id: ControllerId, controller: &Controller) -> bool {
        match &self.only {
            None => !(controller.stock && self.plan.ports_of(id).is_empty()),
            Some(only) => {
                only.controller == Some(id)
                    || self.plan.ports_of(id).iter().any(|port| self.shows_port(port))
            }
        }
    }

    fn controller_row(&self, id: ControllerId, controller: &'a Controller) -> ControllerRow<'a> {
        let ports = self.plan.ports_of(id);
        let given = &self.plan.controllers[id];
        let own = given.universes.map_or(given.last_given, |(_, last)| last);
        let heard = usage::heard(self.model, self.plan, id);
        let ends = heard.first().zip(heard.last());
        let ends = ends.map(|(first, last)| (first.universe, last.universe));
        let input = controller.input;
        let address = |universe: u32| input.protocol.universe_address(input.form, universe);
        let addresses = ends.and_then(|(first, last)| Some((address(first)?, address(last)?)));
        // A DMX output sends its whole universe, so its data begin at the universe's first slot.
        let slots = self.plan.universe_slots.each();
        let begin = |port: &PortPlan| {
            let (start, _) = self.extent(port)?;
            Some(if matches!(port.output, Output::Dmx(_)) { start - start % slots } else { start })
        };
        let first_channel = ports.iter().filter_map(begin).min();
        let universe_slots = controller.slots_used(self.plan.universe_slots);
        ControllerRow {
            id,
            controller,
            name: &controller.name,
            host: controller.host.as_ref().map(|host| &*host.value),
            input: input.words(),
            universes: UniverseSpan { ends, count: count(heard.len()) },
            label: controller.label.as_deref(),
            addressing: controller.addressing.words(),
            address_kind: addresses.is_some().then(|| input.protocol.address_kind()),
            addresses,
            data: first_channel
                .and_then(|channel| Some((input.protocol.data_offset(0)?, channel + 1))),
            ports_used: count(ports.len()),
            ports: count(controller.ports.len() + controller.dmx.len()),
            nodes: ports.iter().map(|port| u64::from(port.nodes)).sum(),
            // Counted after its own universes. A controller that only shows others' data keeps none
            // free.
            spare_universes: given.last_given.saturating_sub(own),
            mbit_per_s: self.load(&heard, controller),
            universe_slots,
            fewer_slots: universe_slots != self.model.display.universe_slots.get(),
            priority: input.protocol.has_priority().then(|| {
                let own = controller.priority.map(|told| told.value);
                own.unwrap_or(USUAL_PRIORITY)
            }),
            sync_universe: controller.sync.map(|told| told.value),
        }
    }

    /// The network load of a controller's universes at the frame rate, in hundredths of a Mbit/s. A
    /// universe is sent up to its highest slot in use here, whoever it belongs to.
    fn load(&self, heard: &[Heard], controller: &Controller) -> Decimal {
        let highest: Vec<u32> = heard.iter().map(|row| row.highest).collect();
        let bits = match highest.is_empty() {
            true => 0,
            false => controller.input.protocol.wire_bits(&highest),
        };
        // bit/frame * mHz / 1,000 = bit/s; / 10,000 = hundredths of a Mbit/s.
        let bits_by_time = u128::from(bits) * u128::from(self.model.display.frame_rate_mhz);
        Decimal::new((bits_by_time + 5_000_000) / 10_000_000, 100)
    }
}

fn count(len: usize) -> u32 {
    u32::try_from(len).unwrap_or(u32::MAX)
}
