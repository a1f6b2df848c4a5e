//! Parts of power: feed leads, points of injection, fuses, supplies.

use super::PartRow;
use super::lines::{Run, gauge_words, thickness};
use crate::diagnostic::words::few;
use crate::model::{FeedLead, InjectAt, Injection, Model, Output, Shape};
use crate::plan::Plan;
use crate::unit::{self, Dimension, Gauge};
use std::collections::BTreeMap;

/// How many points an injection makes on one string. `every` counts from the first node; its last
/// point may be after the last node.
fn points_on(place: InjectAt, shape: &Shape) -> u64 {
    let each = match place {
        InjectAt::Start | InjectAt::End | InjectAt::Node(_) => return 1,
        InjectAt::EveryNodes(nodes) => nodes,
        InjectAt::EveryStrands(strands) => {
            strands.saturating_mul(shape.strand.unwrap_or(shape.nodes))
        }
    };
    u64::from(shape.nodes.checked_div(each).unwrap_or(0))
}

/// The points of an injection on all strings that are put up this season.
fn points_of(model: &Model, injection: &Injection) -> u64 {
    let up = injection.strings.iter().filter(|id| model.is_up(**id));
    up.map(|id| points_on(injection.place, model.shape(*id))).sum()
}

/// The lead of every feed, with how many of it are needed.
fn feeds(model: &Model) -> impl Iterator<Item = (&FeedLead, u64)> {
    let ports = model.powers.iter().map(|power| (&power.lead, 1));
    let injections = model.injections.iter();
    ports.chain(injections.map(|injection| (&injection.lead, points_of(model, injection))))
}

/// Feed leads by gauge.
pub fn leads(model: &Model) -> Vec<PartRow> {
    let mut runs: BTreeMap<(u8, u32), (Gauge, Run)> = BTreeMap::new();
    for (lead, count) in feeds(model).filter(|(_, count)| *count > 0) {
        let (_, run) =
            runs.entry(thickness(Some(lead.gauge))).or_insert_with(|| (lead.gauge, Run::default()));
        run.add(lead.length_um, count);
    }
    runs.into_values()
        .map(|(gauge, run)| run.row(format!("feed lead, {}", gauge_words(Some(gauge)))))
        .collect()
}

/// Points of injection.
pub fn points(model: &Model) -> Vec<PartRow> {
    let mut names = Vec::new();
    let mut count = 0;
    for injection in &model.injections {
        let here = points_of(model, injection);
        count += here;
        if here > 0 {
            names.extend(injection.strings.iter().map(|id| model.name_of(*id)));
        }
    }
    if count == 0 {
        return Vec::new();
    }
    let row = PartRow::counted("power", "point of injection".to_owned(), count, "pieces");
    vec![row.note(format!("into {}", few(&names)))]
}

/// Fuses by rating: of ports in use, of feeds, of injections.
pub fn fuses(model: &Model, plan: &Plan) -> Vec<PartRow> {
    let mut ratings: BTreeMap<i64, [u64; 3]> = BTreeMap::new();
    let mut add = |rating: i64, of: usize, count: u64| {
        if let Some(sum) = ratings.entry(rating).or_insert([0; 3]).get_mut(of) {
            *sum += count;
        }
    };
    for port in &plan.ports {
        let Output::Pixel(number) = port.output else {
            continue;
        };
        // A port that comes out at several receivers has a fuse at each that has something on it.
        let mut places: Vec<_> = port.pieces.iter().map(|piece| piece.receiver).collect();
        places.sort_unstable();
        places.dedup();
        for receiver in places {
            let settings = model.port_settings(port.controller, number, receiver);
            if let Some(fuse) = settings.and_then(|settings| settings.fuse) {
                add(fuse.value, 0, 1);
            }
        }
    }
    for power in &model.powers {
        if let Some(fuse) = power.lead.fuse {
            add(fuse.value, 1, 1);
        }
    }
    for injection in &model.injections {
        if let Some(fuse) = injection.lead.fuse {
            add(fuse.value, 2, points_of(model, injection));
        }
    }
    let rows = ratings.into_iter().map(|(rating, [ports, feeds, points])| {
        let parts = [
            (ports, "at ports", "at a port"),
            (feeds, "in feeds of ports", "in a feed of ports"),
            (points, "at injections", "at an injection"),
        ];
        let notes: Vec<String> = parts
            .iter()
            .filter(|(count, ..)| *count > 0)
            .map(|(count, many, one)| format!("{count} {}", if *count == 1 { one } else { many }))
            .collect();
        let item = format!("fuse of {}", unit::quantity(rating, Dimension::Current));
        PartRow::counted("power", item, ports + feeds + points, "pieces").note(notes.join(", "))
    });
    rows.filter(|row| row.amount.value > 0).collect()
}

/// Supplies by voltage, rating and output protection.
pub fn supplies(model: &Model) -> Vec<PartRow> {
    let mut kinds: BTreeMap<[Option<i64>; 3], Vec<String>> = BTreeMap::new();
    for (id, supply) in model.supplies.pairs() {
        let feeds = feeds(model).any(|(lead, _)| lead.supply == id);
        let told = [supply.volts, supply.rated, supply.fuse];
        let key = told.map(|told| told.map(|told| told.value));
        let unused = if feeds { "" } else { " (feeds nothing)" };
        let names = kinds.entry(key).or_default();
        names.push(format!("{}{unused}", supply.name));
    }
    let rows = kinds.into_iter().map(|([volts, rated, fuse], names)| {
        let mut item = "supply".to_owned();
        for (value, dimension) in [(volts, Dimension::Voltage), (rated, Dimension::Power)] {
            if let Some(value) = value {
                item.push_str(&format!(", {}", unit::quantity(value, dimension)));
            }
        }
        if let Some(fuse) = fuse {
            let fuse = unit::quantity(fuse, Dimension::Current);
            item.push_str(&format!(", with a fuse of {fuse}"));
        }
        PartRow::counted("power", item, names.len() as u64, "pieces").note(few(&names))
    });
    rows.collect()
}
