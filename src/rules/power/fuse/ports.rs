//! More current than the fuse of a port is rated for. Ports of one setting are one finding.

use super::current::{Carrier, at_full, grave, over};
use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::loads::{Loads, Section};
use crate::model::{Model, Stated};
use crate::plan::Plan;
use crate::source::Span;
use crate::unit::load;
use crate::usage::{Outlet, outlet, outlets};
use std::collections::BTreeMap;

/// Ports of one fuse setting that are reported together.
struct Same {
    fuse: Stated<i64>,
    ports: Vec<Outlet>,
    /// Where the line with the most current begins, and that current in microamperes.
    at: Span,
    ua: i64,
}

/// Ports by the setting of their fuse, how serious the current is, and whether it flows back.
type Over = BTreeMap<(Span, Severity, bool), Same>;

pub(super) fn report(model: &Model, plan: &Plan, loads: &Loads, sink: &mut Sink) {
    let mut found = Over::new();
    for (id, section) in loads.allowed.sections.pairs() {
        let Some(fuse) = section.fuse.filter(|_| !section.left_out) else {
            continue;
        };
        let full = loads.full.as_ref().map(|study| &study.sections[id]);
        if let Some(severity) = grave(fuse.value, section.port_ua.saturating_abs()) {
            note(&mut found, plan, section, fuse, severity);
        } else if let Some(full) = full.filter(|full| full.port_ua.saturating_abs() > fuse.value) {
            note(&mut found, plan, full, fuse, Severity::Advice);
        }
    }
    for ((_, severity, back), same) in &found {
        sink.push(port_finding(model, same, *severity, *back));
    }
}

fn note(found: &mut Over, plan: &Plan, section: &Section, fuse: Stated<i64>, severity: Severity) {
    let Some(port) = outlet(plan, section.port, section.receiver) else {
        return;
    };
    let key = (fuse.at, severity, section.port_ua < 0);
    let same = found.entry(key).or_insert(Same { fuse, ports: Vec::new(), at: section.at, ua: 0 });
    same.ports.push(port);
    let ua = section.port_ua.saturating_abs();
    if ua > same.ua {
        (same.at, same.ua) = (section.at, ua);
    }
}

fn port_finding(model: &Model, same: &Same, severity: Severity, back: bool) -> Diagnostic {
    let name = outlets(model, &same.ports);
    let one = same.ports.len() == 1;
    let (what, verbs) = if one {
        (format!("port {name}"), ("carries", "would carry"))
    } else {
        (format!("ports {name}"), ("carry up to", "would carry up to"))
    };
    let its = if one { "its fuse" } else { "the fuse of each" };
    let (label, help) = if back {
        (
            format!("{} flow back from here into the port", load(same.ua)),
            "move the injection on this line farther from the port, give the other ports of its `power` statement injections of their own, or cut the plus with `apart`".to_owned(),
        )
    } else {
        (
            format!("{} flow from here on", load(same.ua)),
            "put fewer nodes on each line, allow less light with `dim to`, or feed it in one more place: `tinsel power FILE --suggest` writes the `inject` for it".to_owned(),
        )
    };
    let carrier = Carrier { what, verbs, fuse: its, at: same.at, label, back, help };
    let finding = Some(severity).filter(|severity| *severity != Severity::Advice);
    let finding = finding.and_then(|_| over(&carrier, same.fuse, same.ua));
    finding.unwrap_or_else(|| at_full(&carrier, same.fuse, same.ua))
}
