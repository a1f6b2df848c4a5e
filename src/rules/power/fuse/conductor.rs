//! A fuse that is too large for a conductor after it, and a conductor that no fuse protects.

use super::RULE;
use crate::cable::{capacity, fuse_for, fusible};
use crate::diagnostic::{Diagnostic, Edit, Severity, words};
use crate::model::Stated;
use crate::source::Span;
use crate::unit::{Dimension, Gauge, load, quantity};

const BURNS: &str =
    "in a short circuit or an overload the conductor burns before such a fuse blows";
const UNPROTECTED: &str =
    "in a short circuit the conductor carries all that the supply can give, and burns";

/// A conductor.
#[derive(Clone, Debug)]
pub struct Wire {
    /// Its size.
    pub gauge: Gauge,
    /// Where its size is written; `None` for the conductor of a lead from a supply.
    pub at: Option<Span>,
    /// Its name: "the conductor of `arch`".
    pub what: String,
}

/// A fuse before a conductor.
pub struct Before<'a> {
    /// What has the fuse: "port `pier.1`".
    pub whose: &'a str,
    /// The fuse.
    pub fuse: Stated<i64>,
}

/// A lead from a supply.
pub struct Lead<'a> {
    /// Its statement.
    pub at: Span,
    /// Its name: "the lead that feeds `pier.1..4`".
    pub what: &'a str,
    /// The thinnest conductor that its fuse would protect.
    pub thinnest: &'a Wire,
    /// What it carries, in microamperes.
    pub ua: i64,
}

/// Ports whose fuse the display does not name.
pub struct Unnamed {
    /// Their names: "`pier.1..4`".
    pub ports: String,
    /// What they would need.
    pub need: Need,
}

/// What a port without a named fuse would need.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Need {
    /// This fuse, in microamperes.
    Fuse(i64),
    /// A thicker conductor than this: no common fuse carries the current that flows, in
    /// microamperes, and protects it.
    Thicker(Gauge, i64),
    /// Not known, since no conductor after it is known.
    Unknown,
}

/// A fuse that is larger than the thinnest conductor after it may carry. `ua` is the current there
/// in microamperes. For the fuse of ports, `ports` names them.
#[must_use]
pub fn too_large(before: &Before<'_>, wire: &Wire, ua: i64, ports: Option<&str>) -> Diagnostic {
    let capacity = capacity(wire.gauge);
    let (rating, size) = (amps(before.fuse.value), wire.gauge.words());
    let (may, what) = (amps(capacity.most_ua), &wire.what);
    let finding = RULE
        .report(
            before.fuse.at,
            format!(
                "{} has a fuse of {rating}, but {what} is {size} and may carry only {may} by {}",
                before.whose, capacity.table
            ),
        )
        .label(format!("{rating} before {size}"))
        .why(BURNS)
        .help(match fuse_for(wire.gauge, ua) {
            Some(fuse) => {
                let place = ports.map_or(String::new(), |ports| format!(" at {ports}"));
                format!("use a fuse of {}{place}", amps(fuse))
            }
            None => no_fuse(wire.gauge, ua),
        });
    finding.and_if(wire.at, format!("{size} here, {may} at most"))
}

/// A lead that no fuse protects; `ports` are those after it without a named fuse.
#[must_use]
pub fn lead_without(lead: &Lead<'_>, ports: &[Unnamed]) -> Diagnostic {
    let own = own_fuse(lead);
    let (message, label, help) = if ports.is_empty() {
        let label = "no fuse before this lead and what it feeds";
        (format!("{} has no fuse", lead.what), label, own)
    } else {
        (
            format!("{} has no fuse, and the display names none at its ports", lead.what),
            "no fuse before this lead and the strings that it feeds",
            format!("{}; {own}", name_ports(ports)),
        )
    };
    let mut finding = RULE.report(lead.at, message).label(label).why(UNPROTECTED).help(help);
    finding.severity = Severity::Warning;
    let size = lead.thinnest.gauge.words();
    let finding =
        finding.and_if(lead.thinnest.at, format!("the thinnest conductor after it, {size}"));
    if ports.is_empty() { with_fuse(finding, lead) } else { finding }
}

/// A lead without a fuse of its own. The fuse of its supply is larger than the thinnest conductor
/// of the lead and of what it feeds may carry.
#[must_use]
pub fn supply_too_large(lead: &Lead<'_>, supply: &Before<'_>) -> Diagnostic {
    let capacity = capacity(lead.thinnest.gauge);
    let (rating, size) = (amps(supply.fuse.value), lead.thinnest.gauge.words());
    let (may, what) = (amps(capacity.most_ua), &lead.thinnest.what);
    let finding = RULE
        .report(
            lead.at,
            format!(
                "{} has no fuse of its own and {} one of {rating}, {what} is {size} and may carry \
                 {may} by {}",
                lead.what, supply.whose, capacity.table
            ),
        )
        .label(format!("{rating} before {size}"))
        .why(BURNS)
        .help(own_fuse(lead));
    let finding = finding.and(supply.fuse.at, format!("a fuse of {rating} set here"));
    let finding = finding.and_if(lead.thinnest.at, format!("{size} here, {may} at most"));
    with_fuse(finding, lead)
}

/// What to write for a lead without a fuse.
fn own_fuse(lead: &Lead<'_>) -> String {
    let size = lead.thinnest.gauge;
    match fuse_for(size, lead.ua) {
        Some(fuse) => format!("write `fuse {}` after its conductor", amps(fuse)),
        None => no_fuse(size, lead.ua),
    }
}

/// Adds a fix that writes a fuse which fits, if there is one.
fn with_fuse(finding: Diagnostic, lead: &Lead<'_>) -> Diagnostic {
    let Some(fuse) = fuse_for(lead.thinnest.gauge, lead.ua) else {
        return finding;
    };
    let edit =
        Edit { span: Span::new(lead.at.end, lead.at.end), text: format!(" fuse {}", amps(fuse)) };
    finding.suggest("add the fuse that would do", vec![edit])
}

/// Ports without a named fuse, after a fuse that is too large for their strings; `wire` is the
/// thinnest conductor of these.
#[must_use]
pub fn ports_without(at: Span, before: &Before<'_>, wire: &Wire, ports: &[Unnamed]) -> Diagnostic {
    let capacity = capacity(wire.gauge);
    let (rating, size) = (amps(before.fuse.value), wire.gauge.words());
    let (may, what) = (amps(capacity.most_ua), &wire.what);
    let names: Vec<&str> = ports.iter().map(|one| &*one.ports).collect();
    let mut finding = RULE
        .report(
            at,
            format!(
                "no fuse is named at {}: {} has a fuse of {rating}, but {what} is {size} and may carry only {may} by {}",
                words::list(&names, "and"),
                before.whose,
                capacity.table
            ),
        )
        .label(format!("{rating} before {size}"))
        .why(BURNS)
        .help(name_ports(ports));
    finding.severity = Severity::Warning;
    let finding = finding.and_if(
        (before.fuse.at != at).then_some(before.fuse.at),
        format!("a fuse of {rating} set here"),
    );
    finding.and_if(wire.at, format!("{size} here, {may} at most"))
}

/// What to write at ports whose fuse is not named.
fn name_ports(ports: &[Unnamed]) -> String {
    let (mut fuses, mut rest) = (Vec::new(), Vec::new());
    for Unnamed { ports, need } in ports {
        match *need {
            Need::Fuse(fuse) => fuses.push(format!("`fuse {}` at {ports}", amps(fuse))),
            Need::Thicker(gauge, ua) => rest.push(format!("at {ports}, {}", no_fuse(gauge, ua))),
            Need::Unknown => fuses
                .push(format!("at {ports} a `fuse` no larger than the strings there may carry")),
        }
    }
    let mut parts = Vec::new();
    if !fuses.is_empty() {
        let fuses = words::list(&fuses, "and");
        parts.push(format!("name the fuse of each port: {fuses}"));
    }
    parts.extend(rest);
    parts.join("; ")
}

/// What to do where no common fuse carries a current of `ua` microamperes and protects a conductor.
fn no_fuse(gauge: Gauge, ua: i64) -> String {
    let size = gauge.words();
    let thick = fusible(gauge, ua).and_then(|thick| Some((thick, fuse_for(thick, ua)?)));
    let draws = load(ua);
    match thick {
        Some((thick, fuse)) if ua > 0 => format!(
            "no common fuse carries {draws} for hours and protects {size}: use {} or thicker with a fuse of {}, or lower the level with `dim to`",
            thick.words(),
            amps(fuse)
        ),
        Some((thick, fuse)) => format!(
            "no common fuse protects {size}: use {} or thicker with a fuse of {}",
            thick.words(),
            amps(fuse)
        ),
        None => format!(
            "no common fuse carries {draws} for hours: feed it in more places, or lower the level with `dim to`"
        ),
    }
}

fn amps(ua: i64) -> String {
    quantity(ua, Dimension::Current)
}
