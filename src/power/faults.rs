//! What is joined wrongly: nothing feeds it, two supplies do, or two voltages meet. Such a line is
//! not solved, so that one mistake is reported once.

use super::net::{Group, NetSection, Nets};
use crate::diagnostic::Sink;
use crate::keyed::Keyed;
use crate::loads::{From, SectionId};
use crate::model::{
    InjectionId, Model, Output, PowerFeed, PowerId, Stated, StringId, Supply, SupplyId,
};
use crate::plan::{Plan, PortPlan};
use crate::rules::power::{mixed, parallel, unfed};
use crate::source::Span;
use crate::usage::{fed_ports, port_name};

/// Leaves out lines that lack something that did not parse or resolve: a part, a feed or an
/// injection.
pub fn leave_out(model: &Model, plan: &Plan, nets: &mut Nets) {
    for stretch in &mut nets.stretches {
        let port = &plan.ports[stretch.port];
        stretch.left_out |= model.gaps.of_line(port.controller, port.output)
            || is_unsure(model, port)
            || lacks_injection(model, stretch);
    }
}

/// Whether an injection into a line may be missing.
fn lacks_injection(model: &Model, stretch: &NetSection) -> bool {
    let mut strings = stretch.runs.iter().filter_map(|run| run.string);
    strings.any(|id| model.gaps.injected.contains(&id))
}

/// Whether what feeds a port may be missing.
fn is_unsure(model: &Model, port: &PortPlan) -> bool {
    match port.output {
        Output::Pixel(number) => model.gaps.feeds(port.controller, number),
        Output::Dmx(_) => false,
    }
}

/// Reports what is joined wrongly and marks it.
pub fn report(model: &Model, plan: &Plan, nets: &mut Nets, sink: &mut Sink) {
    twice(model, sink);
    let wrong_feeds = feeds(model, nets, sink);
    let wrong_taps = injections(model, nets, sink);
    for group in &nets.groups {
        joined(model, group, &mut nets.stretches, sink);
    }
    for stretch in &mut nets.stretches {
        let own = mixed_strings(model, stretch, sink);
        let feed = matches!(stretch.from, From::Power(power) if wrong_feeds.contains(&power));
        let tap = stretch.sites.iter().any(|site| wrong_taps.contains(&site.injection));
        stretch.left_out |= own || feed || tap;
    }
    nothing(model, plan, nets, sink);
}

/// Reports ports that two `power` statements name.
fn twice(model: &Model, sink: &mut Sink) {
    let mut powers: Vec<&PowerFeed> = model.powers.iter().collect();
    powers.sort_by_key(|power| (power.controller, power.receiver, power.first));
    // The statement that reaches the highest port so far.
    let mut far: Option<&PowerFeed> = None;
    for power in powers {
        let same =
            far.filter(|far| (far.controller, far.receiver) == (power.controller, power.receiver));
        if let Some(other) = same.filter(|far| far.last >= power.first) {
            let (first, second) = if other.at < power.at { (other, power) } else { (power, other) };
            sink.push(parallel::twice(model, second, first));
        }
        if same.is_none_or(|far| far.last < power.last) {
            far = Some(power);
        }
    }
}

/// Reports `power` statements whose supply has another voltage than their ports or strings.
fn feeds(model: &Model, nets: &Nets, sink: &mut Sink) -> Vec<PowerId> {
    let mut wrong = Vec::new();
    for group in &nets.groups {
        let Some(id) = group.power else { continue };
        let power = &model.powers[id];
        let ports = (power.first..=power.last)
            .filter_map(|port| model.port_settings(power.controller, port, power.receiver)?.volts);
        let strings = nets.of(group).filter_map(|one| first_volts(model, one));
        let what = format!("`{}`", fed_ports(model, power));
        let finding = ports
            .chain(strings.map(|(_, volts)| volts))
            .find_map(|volts| mixed::feed(model, power.at, &power.lead, &what, volts));
        if let Some(finding) = finding {
            sink.push(finding);
            wrong.push(id);
        }
    }
    wrong
}

/// Reports injections of another voltage than the string that they go into.
fn injections(model: &Model, nets: &Nets, sink: &mut Sink) -> Vec<InjectionId> {
    let mut wrong: Vec<InjectionId> = Vec::new();
    for site in nets.stretches.iter().flat_map(|stretch| &stretch.sites) {
        if wrong.contains(&site.injection) {
            continue;
        }
        let injection = &model.injections[site.injection];
        let Some(volts) = model.node_of(site.string).and_then(|node| node.volts) else {
            continue;
        };
        let what = format!("`{}`", model.name_of(site.string));
        if let Some(finding) = mixed::feed(model, injection.at, &injection.lead, &what, volts) {
            sink.push(finding);
            wrong.push(site.injection);
        }
    }
    wrong
}

/// The first string that states its voltage.
fn first_volts(model: &Model, stretch: &NetSection) -> Option<(StringId, Stated<i64>)> {
    stretch.runs.iter().find_map(|run| Some((run.string?, model.node_of(run.string?)?.volts?)))
}

/// Whether strings of two voltages are on one plus; reported unless the port states a voltage.
fn mixed_strings(model: &Model, stretch: &NetSection, sink: &mut Sink) -> bool {
    let Some((first, volts)) = first_volts(model, stretch) else {
        return false;
    };
    let strings = stretch.runs.iter().filter_map(|run| Some((run, run.string?)));
    let mut others = strings.filter_map(|(run, id)| Some((run.at, id, model.node_of(id)?.volts?)));
    let Some((at, id, other)) = others.find(|(.., other)| other.value != volts.value) else {
        return false;
    };
    // Where the port states a voltage, `wire/volts` reports each string that differs.
    if stretch.from == From::Taps || stretch.volts_of_port.is_none() {
        let name = model.name_of(first);
        sink.push(mixed::strings(at, &model.name_of(id), other, (&name, volts)));
    }
    true
}

/// Reports injections from a supply other than the one that feeds the same plus.
fn joined(
    model: &Model,
    group: &Group,
    stretches: &mut Keyed<SectionId, NetSection>,
    sink: &mut Sink,
) {
    let power = group.power.map(|power| &model.powers[power]);
    let mut first: Option<(SupplyId, Span)> = power.map(|power| (power.lead.supply, power.at));
    let mut told: Vec<InjectionId> = Vec::new();
    for index in &group.members {
        let stretch = &mut stretches[*index];
        let lit = last_lit(stretch);
        for site in &stretch.sites {
            let injection = &model.injections[site.injection];
            let (supply, at) = *first.get_or_insert((site.lead.supply, injection.at));
            if supply == site.lead.supply {
                continue;
            }
            stretch.left_out = true;
            if !told.contains(&site.injection) {
                told.push(site.injection);
                let other = &*model.supplies[supply].name;
                let last = stretch
                    .sites
                    .iter()
                    .any(|one| one.injection == site.injection && one.point >= lit);
                sink.push(parallel::joined(model, injection, (other, at), last));
            }
        }
    }
}

/// The point of the last node that shows something.
fn last_lit(stretch: &NetSection) -> u32 {
    let (mut point, mut lit) = (0, 0);
    for run in &stretch.runs {
        point += run.count;
        lit = if run.lit { point } else { lit };
    }
    lit
}

/// Reports ports without a feed whose strings draw.
fn nothing(model: &Model, plan: &Plan, nets: &Nets, sink: &mut Sink) {
    let bare = nets.stretches.iter().filter(|stretch| {
        stretch.from == From::Nothing
            && !is_unsure(model, &plan.ports[stretch.port])
            && !lacks_injection(model, stretch)
    });
    let mut bare: Vec<(&NetSection, Span)> =
        bare.filter_map(|stretch| Some((stretch, stretch.at?))).collect();
    let owner = |stretch: &NetSection| (plan.ports[stretch.port].controller, stretch.receiver);
    bare.sort_by_key(|(stretch, _)| owner(stretch));
    for ports in bare.chunk_by(|a, b| owner(a.0) == owner(b.0)) {
        let Some((stretch, at)) = ports.first() else {
            continue;
        };
        let port = &plan.ports[stretch.port];
        let Output::Pixel(number) = port.output else {
            continue;
        };
        let name = port_name(model, port.controller, number, stretch.receiver);
        let draws = |id: &StringId| {
            let node = model.node_of(*id);
            node.is_some_and(|node| node.draw.is_some() || node.idle_ua > 0)
        };
        let string = stretch.runs.iter().filter_map(|run| run.string).find(draws);
        let string = string.map_or(String::new(), |id| model.name_of(id));
        let of = |volts| move |one: &&Supply| one.volts.is_some_and(|own| own.value == volts);
        let usual = stretch.volts.and_then(|volts| model.supplies.iter().find(of(volts)));
        let supply = usual.or(model.supplies.first());
        let supply = supply.map_or("SUPPLY", |supply| &*supply.name);
        sink.push(unfed::ports(*at, &name, &string, ports.len() - 1, supply));
    }
}
