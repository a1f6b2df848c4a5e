//! A string as built: its runs of nodes, skips and leads.

use super::makes::count;
use super::matching::{Matched, Reader, Value};
use super::settings::{FAR_UM, MOST_SLOTS};
use crate::ast::{Body, Quantity, RunKind};
use crate::diagnostic::Sink;
use crate::model::{Model, Shape, ShapeRun};
use crate::rules;
use crate::unit::{Dimension, Gauge};

/// The shape of a `string [NAME]: RUN -> RUN…`, without node and slots; `None` once the reason is
/// reported.
pub fn shape<'a>(
    reader: &Reader<'_, 'a>,
    set: &Matched<'a>,
    model: &Model,
    sink: &mut Sink,
) -> Option<Shape> {
    let Body::Runs(written) = &set.setting.body else {
        return None;
    };
    let mut runs = Vec::with_capacity(written.len());
    let (mut nodes, mut skips) = (0_i64, 0_i64);
    let mut whole = true;
    for run in written {
        match &run.kind {
            RunKind::Nodes(name, quantity) => {
                let bounds = (1, MOST_SLOTS);
                let read = reader.measure_of(quantity, Dimension::Nodes, "the run", bounds, sink);
                whole &= read.is_some();
                nodes += read.unwrap_or(0);
                let name = name.map(|name| reader.names.text(name).into());
                runs.push(ShapeRun::Nodes(name, count(read.unwrap_or(0))));
            }
            RunKind::Skip(quantity) => {
                let read = reader.nodes_of(quantity, "the number of nodes to skip", sink);
                whole &= read.is_some();
                skips += i64::from(read.unwrap_or(0));
                runs.push(ShapeRun::Skip(read.unwrap_or(0)));
            }
            RunKind::Lead(length, of) => {
                let read = lead(reader, length, of.as_ref(), model, sink);
                whole &= read.is_some();
                runs.extend(read.map(|(length, gauge)| ShapeRun::Lead(length, gauge)));
            }
        }
    }
    if nodes == 0 && whole {
        sink.push(rules::syntax::unexpected::no_nodes(set.at()));
        return None;
    }
    if nodes + skips > MOST_SLOTS {
        sink.push(rules::syntax::number::string_too_long(set.at()));
        return None;
    }
    let name = match set.value(0) {
        Some(Value::Word(name)) => Some(reader.names.key(name).as_ref().into()),
        _ => None,
    };
    whole.then(|| Shape {
        at: set.at(),
        name,
        node: None,
        nodes: count(nodes),
        slots: 0,
        skips: count(skips),
        strand: None,
        runs,
        loads: 0,
    })
}

/// A lead's length in micrometres, and its conductor: its own, or that of the display.
pub fn lead<'a>(
    reader: &Reader<'_, 'a>,
    length: &'a Quantity,
    of: Option<&'a Quantity>,
    model: &Model,
    sink: &mut Sink,
) -> Option<(i64, Option<Gauge>)> {
    let bounds = (0, FAR_UM);
    let length = reader.measure_of(length, Dimension::Length, "the lead", bounds, sink);
    let gauge = match of {
        Some(of) => Some(reader.gauge_of(of, sink)?),
        None => model.display.lead.map(|told| told.value),
    };
    Some((length?, gauge))
}
