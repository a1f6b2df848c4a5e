//! The tables as rows, made one at a time from model and plan.

use super::row::{
    ControllerRow, DisplayRow, Figure, Listener, OutputName, Point, PortRow, PropRow, Runs,
    StringRow, UniverseRow, UniverseSpan, millimetres,
};
use super::stretch::{self, Stretch, Used};
use crate::diagnostic::words;
use crate::model::{Controller, ControllerId, Model, Output, PieceKind, Prop, PropId, StringId};
use crate::plan::{ChainPiece, Placed, Plan, PortPlan};
use crate::usage::{self, Heard, output_name};
use std::cell::OnceCell;

/// A compiled display as tables, perhaps narrowed to one name.
pub struct View<'a> {
    model: &'a Model,
    plan: &'a Plan,
    only: Option<Only>,
    usage: OnceCell<(Vec<Stretch>, Vec<Used>)>,
}

/// What a view is narrowed to.
struct Only {
    /// By string.
    strings: Vec<bool>,
    /// A controller shown even where no string of it is.
    controller: Option<ControllerId>,
}

impl<'a> View<'a> {
    /// All of a display.
    #[must_use]
    pub fn new(model: &'a Model, plan: &'a Plan) -> Self {
        Self {
            model,
            plan,
            only: None,
            usage: OnceCell::new(),
        }
    }

    /// Narrowed to a prop, a member (`heron[2]`), a string (`lighthouse.2`), a port (`boathouse.3`, or `jetty.1` of
    /// a receiver), a controller or a receiver: its strings, and the ports, controllers and universes that carry
    /// them. A port that nothing hangs on has none.
    ///
    /// # Errors
    /// The nearest names, where nothing has this one.
    pub fn only(mut self, name: &str) -> Result<Self, Vec<String>> {
        let model = self.model;
        let prop = name.split(['[', '.']).next().unwrap_or(name);
        let prop_id = model.props.iter().position(|p| &*p.name == prop);
        let controller = model.controllers.iter().position(|c| &*c.name == name);
        let receiver = model.receivers.iter().position(|r| &*r.name == name);
        let output = model.output_named(name);
        let mut known = controller.is_some() || receiver.is_some() || output.is_some();
        let mut strings = vec![false; model.strings.len()];
        for index in 0..strings.len() {
            let id = StringId::from(index);
            let named = model
                .string(id)
                .is_some_and(|s| Some(s.prop.index()) == prop_id && self.is_named(id, name));
            known |= named;
            if let Some(strings) = strings.get_mut(index) {
                *strings = named;
            }
        }
        for port in &self.plan.ports {
            let whole = Some(port.controller.index()) == controller
                || output_name(model, port.controller, port.output) == name;
            known |= whole;
            for piece in &port.pieces {
                let here = whole
                    || piece.receiver.is_some_and(|at| {
                        Some(at.index()) == receiver
                            || output == Some((port.controller, port.output, Some(at)))
                    });
                if let (PieceKind::String(id, _), true) = (piece.piece.kind, here)
                    && let Some(shown) = strings.get_mut(id.index())
                {
                    *shown = true;
                }
            }
        }
        if !known {
            return Err(self.nearest(name));
        }
        self.only = Some(Only {
            strings,
            controller: controller.map(ControllerId::from),
        });
        Ok(self)
    }

    fn is_named(&self, id: StringId, name: &str) -> bool {
        let (Some(string), Some(prop)) = (self.model.string(id), self.model.prop_of(id)) else {
            return false;
        };
        let rest = name.strip_prefix(&*prop.name).unwrap_or(name);
        let member = match string.member {
            0 => String::new(),
            member => format!("[{member}]"),
        };
        let within = |rest: &str| {
            let shape = self.model.shape_of(id).and_then(|s| s.name.as_deref());
            rest.is_empty()
                || rest
                    .strip_prefix('.')
                    .is_some_and(|part| part.parse() == Ok(string.number) || Some(part) == shape)
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

    fn shows(&self, id: StringId) -> bool {
        self.only
            .as_ref()
            .is_none_or(|only| only.strings.get(id.index()) == Some(&true))
    }

    /// A channel counted from 0 as universe, slot and channel counted from 1.
    pub(super) fn point(&self, channel: u64) -> Point {
        let (universe, slot) = self.plan.universe_slot(channel);
        Point {
            universe,
            slot,
            channel: channel + 1,
        }
    }

    fn usage(&self) -> &(Vec<Stretch>, Vec<Used>) {
        self.usage.get_or_init(|| {
            let stretches = stretch::stretches(self.model, self.plan);
            let rows = stretch::by_universe(self.plan, &stretches);
            (stretches, rows)
        })
    }

    /// What holds for the whole display.
    #[must_use]
    pub fn display(&self) -> DisplayRow<'a> {
        let display = &self.model.display;
        DisplayRow {
            name: &display.name,
            frame_rate_hz: Figure {
                value: display.frame_rate_mhz,
                per: 1_000,
            },
            universe_slots: display.universe_slots.get(),
        }
    }

    /// Strings by controller as declared, output, position.
    pub fn strings(&self) -> impl Iterator<Item = StringRow<'a>> {
        self.plan
            .ports
            .iter()
            .flat_map(|port| self.strings_on(port))
    }

    fn strings_on(&self, port: &'a PortPlan) -> impl Iterator<Item = StringRow<'a>> {
        let before = (0_u32, 0_i64);
        port.pieces
            .iter()
            .scan(before, move |(skip, lead), piece| {
                Some(match piece.piece.kind {
                    PieceKind::Skip(nodes) => {
                        *skip = skip.saturating_add(nodes);
                        None
                    }
                    PieceKind::Lead(length, _) => {
                        *lead = lead.saturating_add(length);
                        None
                    }
                    PieceKind::String(id, _) => {
                        let before = (std::mem::take(skip), std::mem::take(lead));
                        self.shows(id)
                            .then(|| self.string_row(port, piece, id, before))
                            .flatten()
                    }
                })
            })
            .flatten()
    }

    fn string_row(
        &self,
        port: &PortPlan,
        piece: &ChainPiece,
        id: StringId,
        (skip_before, lead_before): (u32, i64),
    ) -> Option<StringRow<'a>> {
        let model = self.model;
        let placed = self.plan.of(id)?;
        let string = model.string(id)?;
        let prop = model.prop_of(id)?;
        let shape = model.shape_of(id)?;
        let node = model.node_of(id);
        let receiver = piece.receiver.and_then(|r| model.receivers.get(r.index()));
        let receiver_port = receiver.and_then(|receiver| match port.output {
            Output::Pixel(number) => number.checked_sub(receiver.first).map(|at| at + 1),
            Output::Dmx(_) => None,
        });
        Some(StringRow {
            prop: &prop.name,
            instance: (string.member > 0).then_some(string.member),
            string: (string.number > 0).then_some(string.number),
            controller: &model.controller(port.controller)?.name,
            port: OutputName(port.output),
            position: placed.position,
            nodes: shape.node.map(|_| shape.nodes),
            slots: shape.slots,
            start: self.point(placed.start),
            end: self.point(placed.end),
            name: model.name_of(id),
            label: label_of(prop, string.member),
            string_name: shape.name.as_deref(),
            node: node.map(|node| &*node.name),
            chip: model.chip_of(id).map(|chip| &*chip.name),
            colour: node.map(|node| &*node.colour),
            skips: shape.skips,
            skip_before,
            lead_before_mm: millimetres(lead_before),
            receiver: receiver.map(|receiver| &*receiver.name),
            receiver_port,
            runs: Runs(&shape.runs),
            stored: string.stored,
            same_as: string.same_as.map(|other| model.name_of(other)),
        })
    }

    fn placed_on<'v>(
        &'v self,
        port: &'a PortPlan,
    ) -> impl Iterator<Item = (StringId, &'a Placed)> + 'v {
        port.pieces
            .iter()
            .filter_map(|piece| match piece.piece.kind {
                PieceKind::String(id, _) => Some((id, self.plan.of(id)?)),
                PieceKind::Skip(_) | PieceKind::Lead(..) => None,
            })
    }

    fn shows_port(&self, port: &'a PortPlan) -> bool {
        self.only.is_none() || self.placed_on(port).any(|(id, _)| self.shows(id))
    }

    /// Outputs with a string on them, by controller as declared, pixel ports first, by number.
    pub fn ports(&self) -> impl Iterator<Item = PortRow<'a>> {
        self.plan
            .ports
            .iter()
            .filter(|port| self.shows_port(port))
            .filter_map(|port| self.port_row(port))
    }

    fn port_row(&self, port: &'a PortPlan) -> Option<PortRow<'a>> {
        let start = self.placed_on(port).map(|(_, placed)| placed.start).min()?;
        let end = self.placed_on(port).map(|(_, placed)| placed.end).max()?;
        let in_slots = self.limit_in_slots(port);
        let taken = if in_slots {
            port.slots
        } else {
            port.nodes.saturating_add(port.skipped)
        };
        let receivers = match port.output {
            Output::Pixel(number) => self
                .model
                .receivers_of(port.controller, number)
                .map(|(_, receiver, own)| format!("{}.{own}", receiver.name))
                .collect(),
            Output::Dmx(_) => Vec::new(),
        };
        Some(PortRow {
            controller: &self.model.controller(port.controller)?.name,
            port: OutputName(port.output),
            nodes: port.nodes,
            skipped: port.skipped,
            limit: port.limit,
            start: self.point(start),
            end: self.point(end),
            limit_in: if in_slots { "slots" } else { "nodes" },
            left: port.limit.map(|limit| limit.saturating_sub(taken)),
            slots: port.slots,
            strings: u32::try_from(self.placed_on(port).count()).unwrap_or(u32::MAX),
            receivers,
        })
    }

    fn limit_in_slots(&self, port: &PortPlan) -> bool {
        match port.output {
            Output::Dmx(_) => true,
            Output::Pixel(number) => self
                .model
                .controller(port.controller)
                .and_then(|controller| controller.port(number))
                .is_some_and(|port| port.settings.slots.is_some()),
        }
    }

    /// Controllers as declared; those of a `stock` file only where they are used.
    pub fn controllers(&self) -> impl Iterator<Item = ControllerRow<'a>> {
        self.model
            .controllers
            .iter()
            .enumerate()
            .map(|(index, controller)| (ControllerId::from(index), controller))
            .filter(|(id, controller)| self.shows_controller(*id, controller))
            .map(|(id, controller)| self.controller_row(id, controller))
    }

    fn ports_of(&self, id: ControllerId) -> &'a [PortPlan] {
        let range = self.plan.controllers.get(id.index()).map(|c| &c.ports);
        range
            .and_then(|r| self.plan.ports.get(r.start as usize..r.end as usize))
            .unwrap_or(&[])
    }

    fn shows_controller(&self, id: ControllerId, controller: &Controller) -> bool {
        match &self.only {
            None => !(controller.stock && self.ports_of(id).is_empty()),
            Some(only) => {
                only.controller == Some(id)
                    || self.ports_of(id).iter().any(|port| self.shows_port(port))
            }
        }
    }

    fn controller_row(&self, id: ControllerId, controller: &'a Controller) -> ControllerRow<'a> {
        let ports = self.ports_of(id);
        let plan = self.plan.controllers.get(id.index());
        let heard = usage::heard(self.model, self.plan, id);
        let universes = UniverseSpan {
            first: heard.first().map(|row| row.universe),
            last: heard.last().map(|row| row.universe),
            count: count(heard.len()),
        };
        let input = controller.input;
        let address = |universe: u32| input.protocol.universe_address(input.form, universe);
        let first_channel = ports
            .iter()
            .flat_map(|port| self.placed_on(port))
            .map(|(_, placed)| placed.start)
            .min();
        let data_offset = first_channel.and_then(|_| input.protocol.data_offset(0));
        ControllerRow {
            name: &controller.name,
            host: controller.host.as_ref().map(|host| &*host.value),
            input: input.words(),
            universes,
            label: controller.label.as_deref(),
            addressing: controller.addressing.words(),
            address_kind: universes
                .first
                .and_then(address)
                .map(|_| input.protocol.address_kind()),
            first_address: universes.first.and_then(address),
            last_address: universes.last.and_then(address),
            data_offset,
            data_from_channel: data_offset.and(first_channel).map(|channel| channel + 1),
            ports_used: count(ports.len()),
            ports: count(controller.ports.len() + controller.dmx.len()),
            nodes: ports.iter().map(|port| u64::from(port.nodes)).sum(),
            // Behind its own: where it only shows others' data nothing is kept free for it.
            spare_universes: plan.map_or(0, |plan| {
                let own = plan.universes.map_or(plan.last_given, |(_, last)| last);
                plan.last_given.saturating_sub(own)
            }),
            mbit_per_s: self.load(&heard, controller),
            universe_slots: controller.slots_used(self.plan.universe_slots),
            priority: controller.input.protocol.has_priority().then(|| {
                let told = controller.priority.map(|told| told.value);
                told.unwrap_or(crate::protocol::USUAL_PRIORITY)
            }),
            sync_universe: controller.sync.map(|told| told.value),
        }
    }

    /// What a controller's universes cost on the network at the frame rate, in hundredths of a Mbit/s. A
    /// universe is sent up to its highest slot in use here, whoever it belongs to.
    fn load(&self, heard: &[Heard], controller: &Controller) -> Figure {
        let highest: Vec<u32> = heard.iter().map(|row| row.highest).collect();
        let bits = if highest.is_empty() {
            0
        } else {
            controller.input.protocol.wire_bits(&highest)
        };
        // bit/frame * mHz / 1,000 = bit/s; / 10,000 = hundredths of a Mbit/s.
        let hundredths = (u128::from(bits) * u128::from(self.model.display.frame_rate_mhz)
            + 5_000_000)
            / 10_000_000;
        Figure {
            value: u64::try_from(hundredths).unwrap_or(u64::MAX),
            per: 100,
        }
    }

    /// Universes with a slot in use, by number.
    pub fn universes(&self) -> impl Iterator<Item = UniverseRow<'a>> {
        let (stretches, rows) = self.usage();
        rows.iter().filter_map(|used| {
            let here = stretches.get(used.from..used.to).unwrap_or(&[]);
            let shown = self.only.is_none() || here.iter().any(|s| self.shows(s.string));
            shown.then(|| self.universe_row(used, here)).flatten()
        })
    }

    fn universe_row(&self, used: &Used, here: &[Stretch]) -> Option<UniverseRow<'a>> {
        let controller = self.model.controller(used.owner)?;
        let input = controller.input;
        let address = input.protocol.universe_address(input.form, used.universe);
        let all = self.plan.universe_slots;
        let size = if used.dmx {
            all.get()
        } else {
            controller.slots_used(all)
        };
        Some(UniverseRow {
            universe: used.universe,
            controller: &controller.name,
            used: used.slots,
            free: size.saturating_sub(used.slots),
            address_kind: address.is_some().then(|| input.protocol.address_kind()),
            address,
            host: controller.host.as_ref().map(|host| &*host.value),
            also: self.listeners(used, here),
            strings: here.iter().map(|s| self.model.name_of(s.string)).collect(),
        })
    }

    /// The other controllers that show something of a universe, as declared.
    fn listeners(&self, used: &Used, here: &[Stretch]) -> Vec<Listener<'a>> {
        let mut ids: Vec<ControllerId> = here
            .iter()
            .filter_map(|stretch| usage::controller_of(self.plan, stretch.string))
            .filter(|id| *id != used.owner)
            .collect();
        ids.sort_unstable();
        ids.dedup();
        ids.into_iter()
            .filter_map(|id| self.model.controller(id))
            .map(|controller| {
                let input = controller.input;
                let address = input.protocol.universe_address(input.form, used.universe);
                Listener {
                    controller: &controller.name,
                    address_kind: address.is_some().then(|| input.protocol.address_kind()),
                    address,
                    host: controller.host.as_ref().map(|host| &*host.value),
                }
            })
            .collect()
    }

    /// Props and members that have an address, in the order declared.
    pub fn props(&self) -> impl Iterator<Item = PropRow<'a>> {
        let props = self.model.props.iter().enumerate();
        props.flat_map(move |(index, prop)| {
            let id = PropId::from(index);
            (1..=prop.members_count()).filter_map(move |member| self.prop_row(id, prop, member))
        })
    }

    fn prop_row(&self, id: PropId, prop: &'a Prop, member: u32) -> Option<PropRow<'a>> {
        let ids = || {
            let range = prop.strings_of(member);
            range
                .map(StringId)
                .filter(|s| self.model.string(*s).is_some_and(|s| s.prop == id))
        };
        if self.only.is_some() && !ids().any(|s| self.shows(s)) {
            return None;
        }
        let mut pieces: Vec<Stretch> = Vec::new();
        let (mut strings, mut nodes, mut slots) = (0, None, 0);
        for string in ids() {
            let shape = self.model.shape_of(string)?;
            if shape.node.is_some() {
                strings += 1;
                nodes = Some(nodes.unwrap_or(0) + u64::from(shape.nodes));
            }
            slots += u64::from(shape.slots);
            stretch::each(self.model, self.plan, string, |stretch| {
                pieces.push(stretch)
            });
        }
        let placed = || ids().filter_map(|s| self.plan.of(s));
        let first = placed().map(|p| p.start).min()?;
        let last = placed().map(|p| p.end).max()?;
        pieces.sort_unstable();
        Some(PropRow {
            prop: &prop.name,
            instance: prop.count.map(|_| member),
            label: label_of(prop, member),
            strings,
            nodes,
            slots,
            first: self.point(first),
            last: self.point(last),
            contiguous: self.covered(&pieces) == last + 1 - first,
        })
    }

    /// How many different slots some stretches, in order, hold.
    fn covered(&self, stretches: &[Stretch]) -> u64 {
        let slots = self.plan.universe_slots.each();
        let mut behind = 0;
        let mut sum = 0;
        for stretch in stretches {
            let base = u64::from(stretch.universe.saturating_sub(1)) * slots;
            let end = base + u64::from(stretch.last);
            sum += end.saturating_sub(behind.max(base + u64::from(stretch.first) - 1));
            behind = behind.max(end);
        }
        sum
    }
}

/// The label of a member, or of its prop where it has none of its own.
fn label_of(prop: &Prop, member: u32) -> Option<&str> {
    prop.members
        .iter()
        .find(|m| m.number == member)
        .and_then(|m| m.label.as_deref())
        .or(prop.label.as_deref())
}

fn count(len: usize) -> u32 {
    u32::try_from(len).unwrap_or(u32::MAX)
}
