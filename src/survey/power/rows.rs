//! The rows, made from model, plan and what was solved.

use super::{
    CircuitRow, Flow as FlowRow, Fuse, LeadRow, Node, PortRow, PowerView, SuggestionRow, SupplyRow,
    Total,
};
use crate::cable::capacity;
use crate::loads::{
    Because, ConductorLoad, Flow, From, Low, Section, SectionId, Study, Suggestion, Verdict,
    circuit_mw, fixtures_mw, power_mw, supply_mains_mw,
};
use crate::model::{CircuitId, FeedLead, Model, Output, Stated, StringId, SupplyId};
use crate::plan::Plan;
use crate::table::Decimal;
use crate::usage::{fed_ports, inject_place, inject_statement, port_name};
use std::collections::{BTreeMap, BTreeSet};

/// All rows; `level` (thousandths of a percent) is that of all nodes, if asked for.
pub fn view(
    model: &Model,
    plan: &Plan,
    study: &Study,
    level: Option<u32>,
    suggestions: Option<&[Suggestion]>,
) -> PowerView {
    let circuits = model.circuits.ids();
    let mut conductors = study.conductors.iter().peekable();
    let ports = study.sections.pairs().filter_map(|(id, section)| {
        let mine = std::iter::from_fn(|| conductors.next_if(|conductor| conductor.section <= id));
        port(model, plan, section, mine)
    });
    PowerView {
        level: level.map(|level| milli(level.into())),
        ports: ports.collect(),
        leads: leads(model, study),
        supplies: supplies(model, plan, study),
        circuits: circuits.map(|id| circuit(model, plan, study, id)).collect(),
        total: total(model, plan, study),
        suggestions: suggestions.map(|all| {
            let rows = all.iter().map(|one| suggestion(model, plan, one));
            rows.collect()
        }),
    }
}

fn milli(value: i64) -> Decimal {
    Decimal { value, per: 1_000 }
}

fn micro(value: i64) -> Decimal {
    Decimal { value, per: 1_000_000 }
}

/// A share in percent, cut to a tenth.
fn percent(part: i64, whole: i64) -> Decimal {
    let share = i128::from(part) * 1_000 / i128::from(whole.max(1));
    Decimal { value: i64::try_from(share).unwrap_or(i64::MAX), per: 10 }
}

fn fuse(fuse: Option<Stated<i64>>, ua: i64) -> Fuse {
    fuse.map(|fuse| (micro(fuse.value), percent(ua.abs(), fuse.value)))
}

fn name(model: &Model, plan: &Plan, section: &Section) -> Option<String> {
    let port = &plan.ports[section.port];
    match port.output {
        Output::Pixel(number) => Some(port_name(model, port.controller, number, section.receiver)),
        Output::Dmx(_) => None,
    }
}

fn port<'a>(
    model: &Model,
    plan: &Plan,
    section: &Section,
    conductors: impl Iterator<Item = &'a ConductorLoad>,
) -> Option<PortRow> {
    let (mut plus, mut minus) = ((Flow::default(), None), (Flow::default(), None));
    for conductor in conductors {
        for (most, flow) in [(&mut plus, conductor.plus), (&mut minus, conductor.minus)] {
            let before = most.0;
            most.0.take(flow.ua, flow.node);
            if most.0 != before {
                most.1 = conductor.string;
            }
        }
    }
    let most = |(flow, string): (Flow, Option<StringId>)| {
        (flow.ua != 0).then(|| FlowRow {
            string: string.map(|id| model.name_of(id)),
            node: flow.node,
            amps: micro(flow.ua),
        })
    };
    Some(PortRow {
        port: name(model, plan, section)?,
        from: match section.from {
            From::Power(_) => "power",
            From::Port => "port",
            From::Taps => "injections",
            From::Nothing => "nothing",
        },
        level: milli(section.level.into()),
        amps: micro(section.port_ua),
        fuse: fuse(section.fuse, section.port_ua),
        drawn: micro(section.drawn_ua),
        most_plus: most(plus),
        most_minus: most(minus),
        worst: section.lowest.map(|low| node(model, low)),
        dark_from: section.dark.map(|low| node(model, low)),
        dark_nodes: section.dark_nodes,
        drop_known: section.whole,
        left_out: section.left_out,
    })
}

fn node(model: &Model, low: Low) -> Node {
    Node {
        string: model.name_of(low.string),
        node: low.node,
        volts: micro(low.uv),
        floor: micro(low.floor_uv),
    }
}

fn lead(model: &Model, lead: &FeedLead, feeds: String, (ua, minus_ua): (i64, i64)) -> LeadRow {
    LeadRow {
        feeds,
        supply: model.supplies[lead.supply].name.to_string(),
        amps: micro(ua),
        minus_amps: micro(minus_ua),
        fuse: fuse(lead.fuse, ua),
        gauge: lead.gauge.words(),
        may_carry: micro(capacity(lead.gauge).most_ua),
    }
}

fn leads(model: &Model, study: &Study) -> Vec<LeadRow> {
    let powers = model.powers.iter().zip(&study.feeds);
    let powers = powers.map(|(power, feed)| {
        let amps = (feed.ua, feed.minus_ua);
        lead(model, &power.lead, fed_ports(model, power), amps)
    });
    let taps = study.taps.iter().map(|tap| {
        let injection = &model.injections[tap.injection];
        let string = model.name_of(tap.string);
        let place = match injection.place {
            crate::model::InjectAt::EveryNodes(_) | crate::model::InjectAt::EveryStrands(_) => {
                format!("after node {}", tap.after)
            }
            place => inject_place(place),
        };
        let feeds = format!("{string} {place}");
        lead(model, &injection.lead, feeds, (tap.ua, tap.minus_ua))
    });
    powers.chain(taps).collect()
}

/// The ports of sections that were left out.
fn left_out(model: &Model, plan: &Plan, study: &Study) -> Vec<String> {
    let out = study.sections.iter().filter(|section| section.left_out);
    let mut names: Vec<String> = out.filter_map(|section| name(model, plan, section)).collect();
    names.dedup();
    names
}

/// The ports of sections that were left out, by the supply that feeds them.
fn left_out_by_supply(
    model: &Model,
    plan: &Plan,
    study: &Study,
) -> BTreeMap<SupplyId, Vec<String>> {
    let fed = study.sections.pairs();
    let fed = fed.filter_map(|(id, section)| match section.from {
        From::Power(power) => Some((model.powers[power].lead.supply, id)),
        _ => None,
    });
    let injected = study.taps.iter().map(|tap| {
        let injection = &model.injections[tap.injection];
        (injection.lead.supply, tap.section)
    });
    let feeds: BTreeSet<(SupplyId, SectionId)> = fed.chain(injected).collect();
    let mut out: BTreeMap<SupplyId, Vec<String>> = BTreeMap::new();
    for (supply, id) in feeds {
        let section = Some(&study.sections[id]).filter(|section| section.left_out);
        let name = section.and_then(|section| name(model, plan, section));
        out.entry(supply).or_default().extend(name);
    }
    out.values_mut().for_each(Vec::dedup);
    out
}

fn supplies(model: &Model, plan: &Plan, study: &Study) -> Vec<SupplyRow> {
    let mut out = left_out_by_supply(model, plan, study);
    let rows = model.supplies.pairs().zip(study.supplies.iter());
    rows.map(|((id, supply), ua)| {
        let mw = supply.volts.map_or(0, |volts| power_mw(*ua, volts.value));
        let rated = supply.rated.map(|rated| rated.value);
        SupplyRow {
            supply: supply.name.to_string(),
            volts: supply.volts.map(|volts| milli(volts.value)),
            amps: micro(*ua),
            watts: milli(mw),
            rated: rated.map(milli),
            headroom: rated.map(|rated| milli(rated.saturating_sub(mw))),
            load: rated.map(|rated| percent(mw, rated)),
            mains: milli(supply_mains_mw(supply, *ua)),
            left_out: out.remove(&id).unwrap_or_default(),
        }
    })
    .collect()
}

fn circuit(model: &Model, plan: &Plan, study: &Study, id: CircuitId) -> CircuitRow {
    let circuit = &model.circuits[id];
    let mw = circuit_mw(model, plan, study, id);
    let volts = circuit.volts.map(|volts| volts.value);
    let ua = volts.map(|volts| amps_ua(mw, volts));
    let breaker = circuit.breaker.map(|breaker| breaker.value);
    CircuitRow {
        circuit: circuit.name.to_string(),
        volts: volts.map(milli),
        watts: milli(mw),
        amps: ua.map(micro),
        breaker: breaker.map(micro),
        load: ua.zip(breaker).map(|(ua, breaker)| percent(ua, breaker)),
    }
}

fn amps_ua(mw: i64, mv: i64) -> i64 {
    let ua = i128::from(mw) * 1_000_000 / i128::from(mv.max(1));
    i64::try_from(ua).unwrap_or(i64::MAX)
}

fn total(model: &Model, plan: &Plan, study: &Study) -> Total {
    // The efficiency in percent of supplies that the display does not name: as of one that does not
    // state its own.
    const USUAL: i64 = 85;
    let assumed =
        study.sections.iter().map(|section| section.assumed_mw).fold(0, i64::saturating_add);
    let supplies = || model.supplies.iter().zip(&study.supplies);
    let given =
        supplies().map(|(supply, ua)| supply.volts.map_or(0, |volts| power_mw(*ua, volts.value)));
    let taken = supplies().map(|(supply, ua)| supply_mains_mw(supply, *ua));
    let controllers = model.controllers.iter().filter(|controller| !controller.stock);
    let controllers = controllers.filter_map(|controller| controller.draw_mw);
    let fixtures = model.props.iter().map(|prop| fixtures_mw(model, plan, prop));
    let mains = taken
        .chain(controllers)
        .chain(fixtures)
        .fold(assumed.saturating_mul(100) / USUAL, i64::saturating_add);
    Total {
        watts: milli(given.fold(assumed, i64::saturating_add)),
        mains: milli(mains),
        mains_120v: micro(amps_ua(mains, 120_000)),
        mains_230v: micro(amps_ua(mains, 230_000)),
        left_out: left_out(model, plan, study),
    }
}

fn suggestion(model: &Model, plan: &Plan, one: &Suggestion) -> SuggestionRow {
    let statements = one.inject.iter();
    let statements = statements.map(|remedy| inject_statement(model, remedy));
    SuggestionRow {
        port: name(model, plan, &one.section).unwrap_or_default(),
        because: because(model, one),
        statements: statements.collect(),
        points: u32::try_from(one.points).unwrap_or(u32::MAX),
        fewest: one.verdict == Verdict::Fewest,
        why_not: match &one.verdict {
            Verdict::Refused(why) => Some(why.clone()),
            Verdict::Fewest | Verdict::Found => None,
        },
        lines_on_lead: u32::try_from(one.shared).unwrap_or(u32::MAX),
        first: one.first,
    }
}

fn because(model: &Model, one: &Suggestion) -> String {
    match one.because {
        Because::Dark(low) => format!(
            "node {} of {} would get {}, it works down to {}",
            low.node,
            model.name_of(low.string),
            crate::unit::left(low.uv),
            crate::unit::left(low.floor_uv)
        ),
        Because::Fuse(ua) => format!("its fuse would carry {}", crate::unit::load(ua)),
        Because::Conductor => "a conductor in it would carry too much".to_owned(),
        Because::Lead => "a lead that feeds it would carry too much".to_owned(),
        Because::Neighbour => "it shares a lead with a line that needs help".to_owned(),
    }
}
