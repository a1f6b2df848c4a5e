//! More current than a fuse is rated for: leads, supplies and injections.

use super::{RULE, ports};
use crate::cable::{LASTING, lasts};
use crate::diagnostic::{Diagnostic, Severity, Sink, words};
use crate::loads::{Loads, Study, TapLoad};
use crate::model::{Injection, InjectionId, Model, PowerFeed, Stated, StringId};
use crate::plan::Plan;
use crate::source::Span;
use crate::unit::{Dimension, load, quantity};
use crate::usage::{fed_ports, inject_place};

const CARRIES: (&str, &str) = ("carries", "would carry");

/// Checks the current through every fuse.
pub fn report(model: &Model, plan: &Plan, loads: &Loads, sink: &mut Sink) {
    ports::report(model, plan, loads, sink);
    for (id, power) in model.powers.pairs() {
        let Some(fuse) = power.lead.fuse else {
            continue;
        };
        let at = |study: &Study| study.feeds[id].ua;
        both(&shared(model, power, fuse), fuse, loads, at, sink);
    }
    for (id, supply) in model.supplies.pairs() {
        let Some(fuse) = supply.fuse else { continue };
        let at = |study: &Study| study.supplies[id];
        let carrier = Carrier {
            what: format!("supply `{}`", supply.name),
            verbs: ("gives", "would give"),
            fuse: "its fuse",
            at: fuse.at,
            label: "all that it gives comes through this fuse".into(),
            back: false,
            help: "feed some of it from a second supply, or lower the level with `dim to`".into(),
        };
        both(&carrier, fuse, loads, at, sink);
    }
    injections(model, loads, sink);
}

/// What carries the current of a fuse, in words.
pub(super) struct Carrier {
    /// Its name: "port `pier.1`".
    pub(super) what: String,
    /// Its verb, now and at full level: "carries", "would carry".
    pub(super) verbs: (&'static str, &'static str),
    /// The fuse: "its fuse".
    pub(super) fuse: &'static str,
    /// The place of the finding.
    pub(super) at: Span,
    /// The text there.
    pub(super) label: String,
    /// Whether the current flows back to the supply.
    pub(super) back: bool,
    /// What can be done.
    pub(super) help: String,
}

/// Makes at most one finding for a fuse: the one at the allowed level, else the one at full level.
fn both(
    carrier: &Carrier,
    fuse: Stated<i64>,
    loads: &Loads,
    at: impl Fn(&Study) -> i64,
    sink: &mut Sink,
) {
    let full = loads.full.as_ref().map(&at).map(i64::saturating_abs);
    if let Some(finding) = over(carrier, fuse, at(&loads.allowed).saturating_abs()) {
        sink.push(finding);
    } else if let Some(full) = full.filter(|full| *full > fuse.value) {
        sink.push(at_full(carrier, fuse, full));
    }
}

/// How serious a current is for a fuse, both in microamperes.
pub(super) fn grave(fuse: i64, ua: i64) -> Option<Severity> {
    if ua > fuse { Some(Severity::Error) } else { (!lasts(ua, fuse)).then_some(Severity::Warning) }
}

pub(super) fn over(carrier: &Carrier, fuse: Stated<i64>, ua: i64) -> Option<Diagnostic> {
    let rating = quantity(fuse.value, Dimension::Current);
    let back = if carrier.back { " backwards" } else { "" };
    let draws = format!("{} {}{back}", carrier.verbs.0, load(ua));
    let (what, its) = (&carrier.what, carrier.fuse);
    let severity = grave(fuse.value, ua)?;
    let (message, why) = if severity == Severity::Error {
        (
            format!("{what} {draws}, but {its} is for {rating}"),
            "the fuse blows during the show, and everything it feeds goes dark",
        )
    } else {
        (
            format!("{what} {draws}, over {LASTING} % of {its} of {rating}"),
            "a fuse carries a load of three hours or more only to 80 % of its rating (NFPA 70, 210.20(A)); above that it ages and blows on a warm night",
        )
    };
    let mut finding = RULE
        .report(carrier.at, message)
        .label(carrier.label.clone())
        .why(why)
        .help(carrier.help.clone());
    finding.severity = severity;
    if carrier.at == fuse.at {
        return Some(finding);
    }
    Some(finding.and(fuse.at, format!("a fuse of {rating} set here")))
}

pub(super) fn at_full(carrier: &Carrier, fuse: Stated<i64>, ua: i64) -> Diagnostic {
    let rating = quantity(fuse.value, Dimension::Current);
    let (what, would, its) = (&carrier.what, carrier.verbs.1, carrier.fuse);
    let back = if carrier.back { " backwards" } else { "" };
    RULE.report(
        fuse.at,
        format!("at full level {what} {would} {}{back}, but {its} is for {rating}", load(ua)),
    )
    .label("enough for the level that is allowed, not for full level")
    .why(
        "a controller's own test pattern lights everything in full, whatever the show is \
             allowed",
    )
    .help(
        "test with one colour or a few nodes at a time, and fit no larger fuse than the \
             thinnest wire after it may carry",
    )
    .weighing(Severity::Advice)
}

fn shared(model: &Model, power: &PowerFeed, fuse: Stated<i64>) -> Carrier {
    let ports = fed_ports(model, power);
    let help = if power.first == power.last {
        "put fewer nodes on it, allow it less light with `dim to`, or feed its line in one more place with `inject`".into()
    } else {
        format!(
            "feed some of `{ports}` by a `power` statement of their own, with its own lead and fuse"
        )
    };
    Carrier {
        what: format!("the lead that feeds `{ports}`"),
        verbs: CARRIES,
        fuse: "its fuse",
        at: fuse.at,
        label: "all of this comes through this fuse".into(),
        back: false,
        help,
    }
}

fn injections(model: &Model, loads: &Loads, sink: &mut Sink) {
    let most = |taps: &[TapLoad], id: InjectionId| {
        let from = taps.partition_point(|tap| tap.injection < id);
        let mine = taps.iter().skip(from);
        mine.take_while(|tap| tap.injection == id)
            .map(|tap| (tap.ua.saturating_abs(), tap.string))
            .max()
    };
    for (id, injection) in model.injections.pairs() {
        let Some(fuse) = injection.lead.fuse else {
            continue;
        };
        let at = |study: &Study| most(&study.taps, id);
        let worst = at(&loads.allowed).filter(|(ua, _)| *ua > 0);
        let worst = worst.or(loads.full.as_ref().and_then(at));
        let Some((_, string)) = worst else { continue };
        let carrier = injected(model, injection, string, fuse);
        let ua = |study: &Study| at(study).map_or(0, |(ua, _)| ua);
        both(&carrier, fuse, loads, ua, sink);
    }
}

fn injected(model: &Model, injection: &Injection, string: StringId, fuse: Stated<i64>) -> Carrier {
    let name = words::shown(&model.name_of(string));
    let place = inject_place(injection.place);
    Carrier {
        what: format!("the injection into `{name}` (`{place}`)"),
        verbs: CARRIES,
        fuse: "its fuse",
        at: fuse.at,
        label: "the fuse of this lead".into(),
        back: false,
        help: format!(
            "feed `{name}` in one more place, so that this lead carries less, or allow less light with `dim to`"
        ),
    }
}
