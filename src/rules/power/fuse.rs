//! `power/fuse`: a fuse over its current or over a conductor, or a fuse that is missing.

mod conductor;

pub use conductor::{Before, Lead, Need, Unnamed, Wire, lead_without, ports_without, too_large};

use crate::cable::LASTING;
use crate::diagnostic::{Diagnostic, Severity, Sink, Words, words};
use crate::loads::{Loads, Section, Study, TapLoad, lasts_over};
use crate::model::{Injection, Model, PowerFeed, Told};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{Dimension, load, quantity};
use crate::usage::{Outlet, fed_ports, inject_place, outlet, outlets};
use std::collections::BTreeMap;

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/fuse",
    severity: Severity::Error,
    title: "a fuse over its current or over a conductor, or no fuse",
    page: Page {
        means: "Every positive conductor between a supply and a node has a fuse before it that is no larger than \
                what the thinnest conductor after that fuse, up to the next fuse, may carry: the leads of `power` \
                and `inject`, the string's own conductor, leads in the line and all that follows a joint. An \
                injection feeds both ways along its line, up to the port and to where `apart` cuts the plus. A fuse \
                that is too large is an error, whatever the level. A lead without a fuse is a warning, unless its \
                supply states a `fuse` of its own. Boards have fuses at their ports; a display that does not name \
                them gets a warning where nothing else protects the strings. The current through a fuse, solved with \
                all feeds of the line, in either direction, may not be more than the fuse is for at the level that \
                `dim to` allows; over 80 % of it is a warning, over it at full level only is advice. Local codes and \
                licensed practice come first.",
        why: "A fuse protects the wire. One that is larger than its wire lets the wire burn in a short circuit. One that \
              is too small for the show blows, and everything it feeds goes dark.",
        source: "NFPA 70 (NEC), 2020 edition, 240.4(D) (largest fuse of a small conductor; the 7 A of 18 AWG and the 10 A \
                 of 16 AWG from memory), 240.21 (the fuse stands where the conductor begins; from memory), 210.20(A) \
                 and 215.3 (a load of three hours or more takes at most 80 % of a fuse); other sizes as on the page of \
                 power/gauge",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; gauge 22 AWG }\n\
                prop arch { node dot; string 30 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
                wire pier.1: arch\n",
        right: "node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; gauge 22 AWG }\n\
                prop arch { node dot; string 30 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 3 A } }\n\
                wire pier.1: arch\n",
    },
    check: None,
};

/// Holds every fuse against its current.
pub fn tell(model: &Model, plan: &Plan, loads: &Loads, sink: &mut Sink) {
    ports(model, plan, loads, sink);
    for (index, power) in model.powers.iter().enumerate() {
        let Some(fuse) = power.lead.fuse else {
            continue;
        };
        let at = |study: &Study| study.feeds.get(index).map_or(0, |feed| feed.ua);
        both(&shared(model, power, fuse), fuse, loads, at, sink);
    }
    for (index, supply) in model.supplies.iter().enumerate() {
        let Some(fuse) = supply.fuse else { continue };
        let at = |study: &Study| study.supplies.get(index).copied().unwrap_or(0);
        let carrier = Carrier {
            what: format!("supply `{}` gives", supply.name),
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

/// What carries the current of a fuse.
struct Carrier {
    /// It, with its verb: "port `pier.1` carries".
    what: String,
    /// "its fuse".
    fuse: &'static str,
    /// The place of the finding.
    at: Span,
    /// The text there.
    label: String,
    /// Whether the current flows back to the supply.
    back: bool,
    /// What can be done.
    help: String,
}

/// One finding for a fuse, the gravest.
fn both(
    carrier: &Carrier,
    fuse: Told<i64>,
    loads: &Loads,
    at: impl Fn(&Study) -> i64,
    sink: &mut Sink,
) {
    let full = loads.full.as_ref().map(&at).map(i64::saturating_abs);
    if let Some(finding) = over(carrier, fuse, at(&loads.allowed).saturating_abs()) {
        sink.push(finding);
    } else if let Some(full) = full.filter(|full| *full > fuse.value) {
        sink.push(at_full(fuse, full, &carrier.what, carrier.fuse));
    }
}

/// How grave a current is for a fuse.
fn grave(fuse: i64, ua: i64) -> Option<Severity> {
    if ua > fuse {
        Some(Severity::Error)
    } else {
        lasts_over(ua, fuse).then_some(Severity::Warning)
    }
}

fn over(carrier: &Carrier, fuse: Told<i64>, ua: i64) -> Option<Diagnostic> {
    let rating = quantity(fuse.value, Dimension::Current);
    let back = if carrier.back { " backwards" } else { "" };
    let (draws, what, its) = (format!("{}{back}", load(ua)), &carrier.what, carrier.fuse);
    let severity = grave(fuse.value, ua)?;
    let (message, why) = if severity == Severity::Error {
        (
            format!("{what} {draws}, {its} is for {rating}"),
            "the fuse blows during the show, and everything it feeds goes dark",
        )
    } else {
        (
            format!("{what} {draws}, over {LASTING} % of {its} of {rating}"),
            "a fuse carries a load of three hours or more only to 80 % of its rating (NFPA 70, 210.20(A)); above that it ages and blows on a warm night",
        )
    };
    let mut finding = RULE.at(
        carrier.at,
        Words {
            message,
            label: carrier.label.clone(),
            why: why.into(),
            help: carrier.help.clone(),
        },
    );
    finding.severity = severity;
    if carrier.at == fuse.at {
        return Some(finding);
    }
    Some(finding.and(fuse.at, format!("a fuse of {rating} set here")))
}

fn at_full(fuse: Told<i64>, ua: i64, what: &str, its: &str) -> Diagnostic {
    let rating = quantity(fuse.value, Dimension::Current);
    let mut finding = RULE.at(
        fuse.at,
        Words {
            message: format!("at full level {what} {}, {its} is for {rating}", load(ua)),
            label: "enough for the level that is allowed, not for full".into(),
            why: "a controller's own test pattern lights everything in full, whatever the show is allowed".into(),
            help: "test with one colour or a few nodes at a time, and fit no larger fuse than the thinnest wire after it may carry"
                .into(),
        },
    );
    finding.severity = Severity::Advice;
    finding
}

/// Ports of one fuse setting that are told together.
struct Same {
    fuse: Told<i64>,
    ports: Vec<Outlet>,
    /// The one with the most current: where it begins, and how much.
    at: Span,
    ua: i64,
}

/// Ports by the setting of their fuse, by how grave their current is, and by its direction.
type Over = BTreeMap<(Span, Severity, bool), Same>;

fn ports(model: &Model, plan: &Plan, loads: &Loads, sink: &mut Sink) {
    let mut found = Over::new();
    for (index, section) in loads.allowed.sections.iter().enumerate() {
        let Some(fuse) = section.fuse.filter(|_| !section.left_out) else {
            continue;
        };
        let full = loads.full.as_ref();
        let full = full.and_then(|study| study.sections.get(index));
        if let Some(severity) = grave(fuse.value, section.port_ua.saturating_abs()) {
            note(&mut found, plan, section, fuse, severity);
        } else if let Some(full) =
            full.filter(|full| full.port_ua.saturating_abs() > fuse.value)
        {
            note(&mut found, plan, full, fuse, Severity::Advice);
        }
    }
    for ((_, severity, back), same) in &found {
        sink.push(port_finding(model, same, *severity, *back));
    }
}

fn note(found: &mut Over, plan: &Plan, section: &Section, fuse: Told<i64>, severity: Severity) {
    let Some(port) = outlet(plan, section.port, section.receiver) else {
        return;
    };
    let key = (fuse.at, severity, section.port_ua < 0);
    let same = found.entry(key).or_insert(Same {
        fuse,
        ports: Vec::new(),
        at: section.at,
        ua: 0,
    });
    same.ports.push(port);
    let ua = section.port_ua.saturating_abs();
    if ua > same.ua {
        (same.at, same.ua) = (section.at, ua);
    }
}

fn port_finding(model: &Model, same: &Same, severity: Severity, back: bool) -> Diagnostic {
    let name = outlets(model, &same.ports);
    let one = same.ports.len() == 1;
    let what = if one {
        format!("port {name} carries")
    } else {
        format!("ports {name} carry up to")
    };
    let its = if one { "its fuse" } else { "the fuse of each" };
    if severity == Severity::Advice {
        return at_full(same.fuse, same.ua, &what, its);
    }
    let (label, help) = if back {
        (
            format!("{} flow back from here into the port", load(same.ua)),
            "move the injection on this line farther from the port, give the other ports of its `power` statement injections of their own, or cut the plus with `apart`".to_owned(),
        )
    } else {
        (
            format!("from here on it is {}", load(same.ua)),
            "put fewer nodes on each line, allow less light with `dim to`, or feed it in one more place: `tinsel power FILE --suggest` writes the `inject` for it".to_owned(),
        )
    };
    let carrier = Carrier {
        what,
        fuse: its,
        at: same.at,
        label,
        back,
        help,
    };
    let finding = over(&carrier, same.fuse, same.ua);
    finding.unwrap_or_else(|| at_full(same.fuse, same.ua, &carrier.what, its))
}

fn shared(model: &Model, power: &PowerFeed, fuse: Told<i64>) -> Carrier {
    let ports = fed_ports(model, power);
    let help = if power.first == power.last {
        "put fewer nodes on it, allow it less light with `dim to`, or feed its line in one more place with `inject`".into()
    } else {
        format!("feed some of `{ports}` by a `power` statement of their own, with its own lead and fuse")
    };
    Carrier {
        what: format!("the lead that feeds `{ports}` carries"),
        fuse: "its fuse",
        at: fuse.at,
        label: "all of this comes through this fuse".into(),
        back: false,
        help,
    }
}

fn injections(model: &Model, loads: &Loads, sink: &mut Sink) {
    let most = |taps: &[TapLoad], injection: u32| {
        let from = taps.partition_point(|tap| tap.injection < injection);
        let mine = taps.get(from..).unwrap_or_default().iter();
        mine.take_while(|tap| tap.injection == injection)
            .map(|tap| (tap.ua.saturating_abs(), tap.string))
            .max()
    };
    for (index, injection) in model.injections.iter().enumerate() {
        let Some(fuse) = injection.lead.fuse else {
            continue;
        };
        let at = |study: &Study| most(&study.taps, index as u32);
        let worst = at(&loads.allowed).filter(|(ua, _)| *ua > 0);
        let worst = worst.or(loads.full.as_ref().and_then(at));
        let Some((_, string)) = worst else { continue };
        let carrier = injected(model, injection, string, fuse);
        let ua = |study: &Study| at(study).map_or(0, |(ua, _)| ua);
        both(&carrier, fuse, loads, ua, sink);
    }
}

fn injected(
    model: &Model,
    injection: &Injection,
    string: crate::model::StringId,
    fuse: Told<i64>,
) -> Carrier {
    let name = words::shown(&model.name_of(string));
    let place = inject_place(injection.place);
    Carrier {
        what: format!("the injection into `{name}` (`{place}`) carries"),
        fuse: "its fuse",
        at: fuse.at,
        label: "the fuse of this lead".into(),
        back: false,
        help: format!(
            "feed `{name}` in one more place, so that this lead carries less, or allow less light with `dim to`"
        ),
    }
}
