//! `controller` and `receiver`.

use super::kept::Before;
use super::like::Lineage;
use super::makes::{Chips, count};
use super::matching::{Matched, Reader, Value};
use super::names::Decl;
use super::settings::{Key, Scope, first_words};
use super::{settings_of, stated};
use crate::ast::{Arg, Block, BlockKind, Body, Ident, Part, Setting};
use crate::diagnostic::words::nearest;
use crate::diagnostic::{Diagnostic, Sink};
use crate::model::{
    Addressing, Align, ChipId, CircuitId, Controller, ControllerId, Model, Port, PortSettings,
    Receiver, ReservedUniverses, Start, Stated,
};
use crate::protocol::{self, Input};
use crate::rules;
use crate::rules::wire::no_port::{self, Missing};
use crate::source::Span;
use crate::unit::counted;
use std::collections::BTreeMap;
use std::sync::Arc;

/// Ports under construction, by number.
type Ports = BTreeMap<u32, Port>;

/// A controller, and what is needed only while it is resolved.
#[derive(Clone)]
struct Made {
    controller: Controller,
    align_at: Option<Span>,
    /// Whether a setting that could not be read may declare outputs.
    outputs: bool,
}

impl Made {
    /// The chips that its ports drive.
    fn chips(&self) -> impl Iterator<Item = ChipId> {
        let ports = self.controller.ports.chunk_by(|a, b| Arc::ptr_eq(&a.settings, &b.settings));
        let settings = ports.filter_map(<[Port]>::first).map(|port| &port.settings);
        settings.flat_map(|settings| &settings.chips).map(|chip| chip.value)
    }

    /// The same controller, if there is room for this many more ports.
    fn again(&self, reader: &Reader<'_, '_>, ports: usize, stock: bool) -> Option<Self> {
        let names = reader.names;
        if !names.add_ports(ports) {
            return None;
        }
        self.chips().for_each(|chip| names.chips.use_row(chip.0));
        let mut made = self.clone();
        made.controller.stock = stock;
        Some(made)
    }
}

/// Ports by their numbers.
fn by_number(ports: Vec<Port>) -> Ports {
    ports.into_iter().map(|port| (port.number, port)).collect()
}

/// Reads the `controller` statements. Returns for each whether it was kept from the last model.
pub fn controllers(
    reader: &Reader<'_, '_>,
    lineage: &Lineage<'_, '_>,
    chips: &mut Chips<'_, '_>,
    model: &mut Model,
    sink: &mut Sink,
) -> Vec<bool> {
    let whole = model.display.whole_nodes;
    let known = model.chips.iter().map(|chip| format!("{}\n", chip.name));
    let before = Before::new(reader, known.chain([format!("{whole}\n")]));
    let first_new = model.chips.len();
    let mut again = vec![false; reader.names.controllers.rows.len()];
    let made = lineage.each(|index, row, like: Option<&Made>| {
        let stock = row.stock;
        let kept = before
            .read(row.block, |(made, ports): &(Made, usize)| made.again(reader, *ports, stock))
            .flatten();
        if let Some(made) = kept {
            // Parents of `like` are read first, so the order here is not that of the file.
            if let Some(again) = again.get_mut(index as usize) {
                *again = true;
            }
            return made;
        }
        let (told, declared) = (sink.count(), reader.names.ports());
        let mut made = begun(reader, row, like, whole, sink);
        let controller = &mut made.controller;
        controller.broken |= lineage.is_lost(index);
        let mut ports = by_number(std::mem::take(&mut controller.ports));
        let scope = Scope::Of(BlockKind::Controller);
        let read = settings_of(reader, scope, &row.block.settings, sink);
        controller.broken |= read.len() < row.block.settings.len();
        made.outputs |= lineage.is_lost(index) || lacks_outputs(reader, row.block, &read);
        for set in read {
            match set.key {
                Key::Ports => {
                    made.outputs |= !add_ports(&set, chips, model, &mut ports, sink);
                }
                Key::Dmx => made.outputs |= !add_dmx(reader, &set, controller, sink),
                Key::Align => {
                    made.align_at = Some(set.at());
                    apply(reader, &set, controller, sink);
                }
                _ => apply(reader, &set, controller, sink),
            }
        }
        controller.dmx.sort_by_key(|output| output.value);
        controller.dmx.dedup_by_key(|output| output.value);
        controller.ports = ports.into_values().collect();
        if sink.count() == told && !sink.is_full() && !made.outputs {
            let ports = reader.names.ports() - declared;
            // If a port is declared twice, the first may use a chip that the ports no longer name.
            let once = ports == made.controller.ports.len() + made.controller.dmx.len();
            let known = once && made.chips().all(|chip| chip.index() < first_new);
            before.write(reader, row.block, || known.then(|| (made.clone(), ports)));
        }
        made
    });
    for made in made {
        add_controller(made, model, sink);
    }
    cut_rings(model, sink);
    again
}

/// A controller before its own settings are read: a copy of the one that it is `like`, or plain.
fn begun(
    reader: &Reader<'_, '_>,
    row: &Decl<'_>,
    like: Option<&Made>,
    whole: bool,
    sink: &mut Sink,
) -> Made {
    let plain =
        || Made { controller: Controller::plain("", whole), align_at: None, outputs: false };
    let mut made = like.cloned().unwrap_or_else(plain);
    let controller = &mut made.controller;
    controller.name = row.name.as_ref().into();
    controller.at = row.block.name.span;
    controller.stock = row.stock;
    controller.broken |= row.block.broken;
    let taken = controller.ports.len() + controller.dmx.len();
    if !reader.names.may_have_ports(taken, controller.at, sink) {
        // `clear` would keep the memory.
        controller.ports = Vec::new();
        controller.dmx = Vec::new();
        controller.broken = true;
        made.outputs = true;
    }
    made
}

/// Adds a controller to the model, and reports settings of it that contradict each other.
fn add_controller(made: Made, model: &mut Model, sink: &mut Sink) {
    let mut controller = made.controller;
    let aligned = made.align_at.filter(|_| controller.align != Align::Off);
    if let Some(at) = aligned.filter(|_| controller.addressing == Addressing::Consecutive) {
        let (by, name) = (controller.addressing_at, &controller.name);
        sink.push(rules::syntax::repeated_setting::align_dropped(at, by, name));
    }
    tell_universe_size(model, &mut controller, sink);
    model.incomplete |= controller.broken;
    let id = model.controllers.push(controller);
    if made.outputs {
        model.gaps.outputs.insert(id);
    }
}

/// Whether a setting of a block that could not be read may declare outputs.
fn lacks_outputs(reader: &Reader<'_, '_>, block: &Block, read: &[Matched<'_>]) -> bool {
    let names = reader.names;
    let words = ["ports", "port", "dmx"];
    let lost = block.broken && words.iter().any(|word| names.is_mentioned(word));
    if lost || read.len() == block.settings.len() {
        return lost;
    }
    let known = first_words(Scope::Of(BlockKind::Controller));
    let mut unread = block.settings.iter().filter(|setting| {
        let is = |set: &Matched<'_>| std::ptr::eq(set.setting, *setting);
        !read.iter().any(is)
    });
    unread.any(|setting| {
        let key = names.text(setting.key);
        let near = nearest(key, known.iter().copied());
        let own = known.contains(&key) && !words.contains(&key);
        matches!(setting.body, Body::Block(..))
            || words.contains(&key)
            || (!own && near.iter().any(|word| words.contains(word)))
    })
}

fn apply(reader: &Reader<'_, '_>, set: &Matched<'_>, controller: &mut Controller, sink: &mut Sink) {
    let names = reader.names;
    let number = set.number(0);
    match (set.key, set.value(0)) {
        (Key::Label, Some(Value::Word(text))) => controller.label = Some(names.said(text).into()),
        (Key::Host, Some(Value::Word(host))) => {
            if rules::net::host::is_lawful(names.text(host)) {
                controller.host = Some(stated(set, names.text(host).into()));
            } else {
                sink.push(rules::net::host::unlawful(host.span, names.text(host)));
            }
        }
        (Key::Input, Some(Value::Args(args))) => {
            let words = reader.words(args);
            match Input::find(&words) {
                Some(input) => {
                    controller.input = input;
                    controller.input_at = Some(set.at());
                }
                None => sink.push(unknown_input(reader, set, args)),
            }
        }
        (Key::UniversesFrom | Key::UniversesRange | Key::UniversesAfter, Some(value)) => {
            if let Some(start) = start(reader, set, value, sink) {
                controller.start = start;
                controller.start_at = Some(set.at());
            }
        }
        (Key::Sync, _) if !is_universe(number) => {
            sink.push(rules::address::range::universe(set.at(), number));
        }
        (Key::Sync, _) => controller.sync = Some(stated(set, count(number))),
        (Key::Priority, _) => controller.priority = Some(stated(set, count(number))),
        (Key::UniverseSlots, _) => controller.universe_slots = Some(stated(set, count(number))),
        (Key::UniversesAtMost, _) => controller.most_universes = Some(stated(set, count(number))),
        (Key::Addressing, Some(Value::Choice(which))) => {
            controller.addressing = match which {
                0 => Addressing::PerPort,
                1 => Addressing::Consecutive,
                _ => Addressing::PerProp,
            };
            controller.addressing_at = Some(set.at());
        }
        (Key::Align, Some(Value::Choice(which))) => {
            controller.align = match which {
                0 => Align::Port,
                1 => Align::Prop,
                _ => Align::Off,
            };
        }
        (Key::WholeNodes, _) => {
            controller.whole_nodes = true;
            controller.whole_nodes_at = Some(set.at());
        }
        (Key::Dim, _) => controller.dim = Some(stated(set, count(number))),
        (Key::Stands, Some(Value::Range(x, y))) => controller.stands = Some((x, y)),
        (Key::DrawPower, _) => controller.draw_mw = Some(number),
        (Key::On, Some(Value::Word(word))) => controller.circuit = circuit(reader, word, sink),
        _ => {}
    }
}

/// Where a controller's universes begin; `None` once it is reported that this is no universe or no
/// controller.
fn start(
    reader: &Reader<'_, '_>,
    set: &Matched<'_>,
    value: Value<'_>,
    sink: &mut Sink,
) -> Option<Start> {
    let (numbers, start) = match value {
        Value::Number(from) => ([from, from], Start::From(count(from))),
        Value::Range(from, to) => ([from, to], Start::Range(count(from), count(to))),
        Value::Word(other) => {
            let names = reader.names;
            let other = names.find(&names.controllers, other, sink)?;
            return Some(Start::After(ControllerId(other)));
        }
        _ => return None,
    };
    let wrong = numbers.into_iter().find(|number| !is_universe(*number));
    if let Some(wrong) = wrong {
        sink.push(rules::address::range::universe(set.at(), wrong));
        return None;
    }
    Some(start)
}

/// Reports a universe size above the display's, and drops it.
fn tell_universe_size(model: &Model, controller: &mut Controller, sink: &mut Sink) {
    let all = model.display.universe_slots.get();
    let Some(own) = controller.universe_slots.filter(|own| own.value > all) else {
        return;
    };
    let slots = |count: u32| counted(count, "slot");
    let what = format!("the universe size of `{}`", controller.name);
    let finding = rules::syntax::number::too_big(own.at, &what, slots(own.value), slots(all));
    let size = format!("{} in a universe of the display", slots(all));
    sink.push(finding.and_if(model.display.universe_slots_at, size));
    controller.universe_slots = None;
}

/// Reserves the universes of synchronisation packets, so that no data is placed there.
pub fn reserve_sync(model: &mut Model) {
    let here = model.controllers.iter().filter(|one| !one.stock);
    let told = here.filter_map(|one| Some((one.sync?, &one.name)));
    let rows = told.map(|(sync, name)| ReservedUniverses {
        at: sync.at,
        first: sync.value,
        last: sync.value,
        reason: Some(format!("synchronisation of `{name}`").into()),
    });
    model.reserved_universes.extend(rows);
}

/// The finding for an unknown input; it may be an input followed by a second setting.
fn unknown_input<'a>(reader: &Reader<'_, 'a>, set: &Matched<'a>, args: &[Arg]) -> Diagnostic {
    let is_input = |args: &[Arg]| Input::find(&reader.words(args)).is_some();
    reader.second_setting(Scope::Of(BlockKind::Controller), set.setting, is_input).unwrap_or_else(
        || {
            let forms: Vec<&str> =
                protocol::ALL.iter().flat_map(|protocol| protocol.forms()).copied().collect();
            let at =
                args.first().map_or(set.at(), |first| Span::new(first.span().start, set.at().end));
            rules::syntax::unexpected::input(at, reader.names.text_at(at), &forms)
        },
    )
}

/// Whether the standard allows a universe of this number.
pub fn is_universe(number: i64) -> bool {
    u32::try_from(number).is_ok_and(|number| protocol::UNIVERSES.contains(&number))
}

/// The mains circuit with a name.
pub fn circuit(reader: &Reader<'_, '_>, word: Ident, sink: &mut Sink) -> Option<CircuitId> {
    let names = reader.names;
    names.find(&names.circuits, word, sink).map(CircuitId)
}

/// Adds DMX outputs; `false` if they are too many.
fn add_dmx(
    reader: &Reader<'_, '_>,
    set: &Matched<'_>,
    controller: &mut Controller,
    sink: &mut Sink,
) -> bool {
    if let Some(Value::Range(from, to)) = set.value(0) {
        let outputs = (count(to) + 1).saturating_sub(count(from)) as usize;
        if !reader.names.may_have_ports(outputs, set.at(), sink) {
            controller.broken = true;
            return false;
        }
        controller
            .dmx
            .extend((count(from)..=count(to)).map(|value| Stated { value, at: set.at() }));
    }
    true
}

/// Adds or changes ports; `false` if they are too many.
fn add_ports(
    set: &Matched<'_>,
    chips: &mut Chips<'_, '_>,
    model: &mut Model,
    ports: &mut Ports,
    sink: &mut Sink,
) -> bool {
    let (from, to) = match set.value(0) {
        Some(Value::Range(from, to)) => (count(from), count(to)),
        _ => (count(set.number(0)), count(set.number(0))),
    };
    let reader = chips.reader;
    if !reader.names.may_have_ports((to + 1).saturating_sub(from) as usize, set.at(), sink) {
        model.incomplete = true;
        return false;
    }
    let settings: &[Setting] = match &set.setting.body {
        Body::Block(settings, _) => settings,
        _ => &[],
    };
    let read = settings_of(reader, Scope::Ports, settings, sink);
    let mut shared: Option<(*const PortSettings, Arc<PortSettings>)> = None;
    for number in from..=to {
        let before = ports.get(&number).map(|port| Arc::clone(&port.settings));
        let key = before.as_ref().map_or(std::ptr::null(), Arc::as_ptr);
        // Ports that shared their settings before go on sharing them.
        let settings = match &shared {
            Some((same, settings)) if *same == key => Arc::clone(settings),
            _ => {
                let mut fresh = before.as_deref().cloned().unwrap_or_default();
                for one in &read {
                    port_setting(one, chips, model, &mut fresh, sink);
                }
                Arc::new(fresh)
            }
        };
        shared = Some((key, Arc::clone(&settings)));
        let at = set.at();
        ports.insert(number, Port { number, at, settings });
    }
    true
}

fn port_setting(
    set: &Matched<'_>,
    chips: &mut Chips<'_, '_>,
    model: &mut Model,
    port: &mut PortSettings,
    sink: &mut Sink,
) {
    let number = set.number(0);
    match (set.key, set.value(0)) {
        (Key::Chips, Some(Value::Args(args))) => {
            port.chips.clear();
            for arg in args {
                match arg {
                    Arg::Word(word) => {
                        let chip = chips.find(model, *word, None, sink);
                        let at = set.at();
                        port.chips.extend(chip.map(|value| Stated { value, at }));
                    }
                    Arg::Comma(_) => {}
                    other => sink.push(rules::syntax::unexpected::setting_form(
                        other.span(),
                        chips.reader.names.text_at(other.span()),
                        "ports",
                        "chip ws2811, ws2815",
                    )),
                }
            }
        }
        (Key::NodesAtMost, _) => {
            port.nodes = Some(stated(set, count(number)));
            port.slots = None;
        }
        (Key::SlotsAtMost, _) => {
            port.slots = Some(stated(set, count(number)));
            port.nodes = None;
        }
        (Key::Fuse, _) => port.fuse = Some(stated(set, number)),
        (Key::Volts, _) => port.volts = Some(stated(set, number)),
        (Key::Dim, _) => port.dim = Some(stated(set, count(number))),
        _ => {}
    }
}

/// Reports rings of `universes after`, and drops that setting from each controller in one.
fn cut_rings(model: &mut Model, sink: &mut Sink) {
    let needs: Vec<(usize, usize)> = model
        .controllers
        .pairs()
        .filter_map(|(id, controller)| match controller.start {
            Start::After(other) => Some((id.index(), other.index())),
            _ => None,
        })
        .collect();
    for ring in crate::graph::rings(model.controllers.len(), &needs) {
        let members: Vec<_> = ring
            .iter()
            .map(|index| &model.controllers[ControllerId::from(*index)])
            .map(|one| (one.name.to_string(), one.start_at.unwrap_or(one.at)))
            .collect();
        sink.push(rules::name::cycle::ring("after", &members));
        for index in ring {
            model.controllers[ControllerId::from(index)].start = Start::Auto;
        }
    }
}

/// The settings of a receiver, over those that it takes with `like`.
#[derive(Clone, Default)]
struct Carrier {
    carried: Option<(ControllerId, u32, u32)>,
    /// Whether it has a `carries`, or may have one that did not parse.
    says_carries: bool,
    label: Option<Box<str>>,
    stands: Option<(i64, i64)>,
    ports: Vec<Port>,
}

/// Reads the `receiver` statements. Returns the index in the model of each, if it is there.
pub fn receivers(
    reader: &Reader<'_, '_>,
    lineage: &Lineage<'_, '_>,
    chips: &mut Chips<'_, '_>,
    model: &mut Model,
    sink: &mut Sink,
) -> Vec<Option<u32>> {
    let made = lineage.each(|_, row, like: Option<&Carrier>| {
        let mut made = like.cloned().unwrap_or_default();
        if !reader.names.may_have_ports(made.ports.len(), row.block.name.span, sink) {
            made.ports = Vec::new();
            model.incomplete = true;
        }
        let mut ports = by_number(std::mem::take(&mut made.ports));
        let scope = Scope::Of(BlockKind::Receiver);
        for set in settings_of(reader, scope, &row.block.settings, sink) {
            match (set.key, set.value(0)) {
                (Key::Carries, Some(_)) => {
                    made.carried = carries(reader, &set, model, &row.name, sink);
                }
                (Key::Label, Some(Value::Word(text))) => {
                    made.label = Some(reader.names.said(text).into());
                }
                (Key::Stands, Some(Value::Range(x, y))) => made.stands = Some((x, y)),
                (Key::Ports, _) => {
                    add_ports(&set, chips, model, &mut ports, sink);
                }
                _ => {}
            }
        }
        made.ports = ports.into_values().collect();
        model.incomplete |= row.block.broken;
        let says = |one: &Setting| reader.names.text(one.key) == "carries";
        made.says_carries |= row.block.broken || row.block.settings.iter().any(says);
        made
    });
    // A receiver whose ports are not known is left out of the model, so indices there may differ.
    let rows = &lineage.table.rows;
    let mut index_of = Vec::with_capacity(rows.len());
    for (index, (row, made)) in rows.iter().zip(made).enumerate() {
        let ports = made.ports;
        let Some((controller, first, last)) = made.carried else {
            if !made.says_carries && !lineage.is_lost(count(index as i64)) {
                let (at, what) = (row.block.name.span, "carries shed.9..12");
                sink.push(rules::syntax::unexpected::lacks(at, "receiver", &row.name, what));
            }
            model.incomplete = true;
            index_of.push(None);
            continue;
        };
        report_beyond(row, last - first + 1, &ports, sink);
        index_of.push(Some(count(model.receivers.len() as i64)));
        model.receivers.push(Receiver {
            name: row.name.as_ref().into(),
            at: row.block.name.span,
            label: made.label,
            controller,
            first,
            last,
            stands: made.stands,
            ports,
            stock: row.stock,
        });
    }
    index_of
}

/// Reports the first of a receiver's own ports that comes after the `own` that it carries.
fn report_beyond(row: &Decl<'_>, own: u32, ports: &[Port], sink: &mut Sink) {
    if let Some(port) = ports.iter().find(|port| port.number > own) {
        let missing = Missing::Carried(port.number, port.number);
        let has = super::targets::ports_in_words(&(1..=own).collect::<Vec<_>>());
        let (at, name_at) = (port.at, row.block.name.span);
        sink.push(no_port::beyond(at, &row.name, missing, Some(&has), name_at));
    }
}

fn carries(
    reader: &Reader<'_, '_>,
    set: &Matched<'_>,
    model: &Model,
    name: &str,
    sink: &mut Sink,
) -> Option<(ControllerId, u32, u32)> {
    let names = reader.names;
    let (word, part, span) = match set.value(0)? {
        Value::Reference(reference) => (reference.name, reference.part.as_ref(), reference.span),
        Value::Word(word) => (word, None, word.span),
        _ => return None,
    };
    let index = names.find(&names.controllers, word, sink)?;
    let Some(Part::Number(range)) = part else {
        let name = names.text(word);
        sink.push(rules::syntax::unexpected::port_wanted(span, name));
        return None;
    };
    let bounds = (1, super::settings::MOST_PORTS);
    let (from, to) = reader.rising(range, "the port", bounds, sink)?;
    let (from, to) = (count(from), count(to));
    let id = ControllerId(index);
    let controller = &model.controllers[id];
    if let Some(port) = (from..=to).find(|port| controller.port(*port).is_none()) {
        if !model.gaps.outputs.contains(&id) {
            let (at, name_at) = (set.at(), controller.at);
            let finding = rules::wire::no_port::carried(at, name, port, &controller.name, name_at);
            sink.push(finding);
        }
        return None;
    }
    Some((id, from, to))
}
