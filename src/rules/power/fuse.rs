//! `power/fuse`: more current than a fuse lets through.

use crate::diagnostic::{Diagnostic, Severity, Sink, Words, words};
use crate::loads::{LASTING, Loads, Section, TapLoad, lasts_over};
use crate::model::{Injection, Model, Output, PowerFeed, Told};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{Dimension, load, quantity};
use crate::usage::{fed_ports, inject_place, port_name};
use std::collections::BTreeMap;

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/fuse",
    severity: Severity::Error,
    title: "more current than a fuse lets through",
    page: Page {
        means: "The current that flows through a fuse, solved with all feeds of the line, is more than the fuse is for at the \
                level that `dim to` allows. Over 80 % of it is a warning, since a show lasts. What is over it only at full level \
                is advice: a controller's own test pattern lights everything in full.",
        why: "The fuse blows during the show and all behind it goes dark. A larger fuse is no cure where the wire behind it is \
              not made for more. Currents are solved, not added up: what an injection feeds does not come through the port.",
        source: "NFPA 70 (NEC), 210.20(A) and 215.3: a load that lasts three hours or more counts 125 %, so a fuse carries 80 % \
                 of its rating",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA }\n\
                prop arch { node dot; string 100 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
                wire pier.1: arch\n",
        right: "node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA }\n\
                prop arch { node dot; string 66 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
                wire pier.1: arch\n",
    },
    check: None,
};

/// What a fuse is before, for its finding.
struct Before {
    /// What carries the current: "port `pier.1`".
    what: String,
    /// The place it is told at.
    at: Span,
    /// What is said there.
    label: String,
    /// What can be done.
    help: String,
}

/// Holds every fuse against its current.
pub fn tell(model: &Model, plan: &Plan, loads: &Loads, sink: &mut Sink) {
    ports(model, plan, loads, sink);
    for (index, power) in model.powers.iter().enumerate() {
        let Some(fuse) = power.lead.fuse else {
            continue;
        };
        let at = |study: &crate::loads::Study| study.feeds.get(index).map_or(0, |feed| feed.ua);
        let (allowed, full) = (at(&loads.allowed), loads.full.as_ref().map(at));
        one(&shared(model, power, fuse), fuse, allowed, full, sink);
    }
    injections(model, loads, sink);
}

/// One finding for a fuse, the gravest.
fn one(before: &Before, fuse: Told<i64>, allowed: i64, full: Option<i64>, sink: &mut Sink) {
    if let Some(finding) = over(before, fuse, allowed) {
        sink.push(finding);
    } else if let Some(full) = full.filter(|full| *full > fuse.value) {
        sink.push(at_full(fuse, full, &before.what, 0));
    }
}

fn over(before: &Before, fuse: Told<i64>, ua: i64) -> Option<Diagnostic> {
    let rating = quantity(fuse.value, Dimension::Current);
    let (draws, what) = (load(ua), &before.what);
    let (severity, message, why) = if ua > fuse.value {
        let message = format!("{what} carries {draws}, its fuse is for {rating}");
        (
            Severity::Error,
            message,
            "the fuse blows during the show, and all behind it goes dark",
        )
    } else if lasts_over(ua, fuse.value) {
        let message = format!("{what} carries {draws}, over {LASTING} % of its fuse of {rating}");
        let why = "a fuse carries what lasts three hours or more only to 80 % of its rating (NFPA 70, 210.20(A)); past that it ages and blows on a warm night";
        (Severity::Warning, message, why)
    } else {
        return None;
    };
    let mut finding = RULE.at(
        before.at,
        Words {
            message,
            label: before.label.clone(),
            why: why.into(),
            help: before.help.clone(),
        },
    );
    finding.severity = severity;
    if before.at == fuse.at {
        return Some(finding);
    }
    Some(finding.and(fuse.at, format!("a fuse of {rating} set here")))
}

/// `others`: how many more of this setting's fuses are over at full.
fn at_full(fuse: Told<i64>, ua: i64, what: &str, others: usize) -> Diagnostic {
    let rating = quantity(fuse.value, Dimension::Current);
    let more = match others {
        0 => String::new(),
        1 => " (and 1 more)".into(),
        others => format!(" (and {others} more)"),
    };
    let mut finding = RULE.at(
        fuse.at,
        Words {
            message: format!("at full level {what}{more} would carry {}, its fuse is for {rating}", load(ua)),
            label: "enough for the level that is allowed, not for full".into(),
            why: "a controller's own test pattern lights everything in full, whatever the show is allowed".into(),
            help: "test with one colour or a few nodes at a time, and fit no larger fuse than the wire behind it is made for"
                .into(),
        },
    );
    finding.severity = Severity::Advice;
    finding
}

fn ports(model: &Model, plan: &Plan, loads: &Loads, sink: &mut Sink) {
    let mut full_over: BTreeMap<Span, (Told<i64>, i64, String, usize)> = BTreeMap::new();
    let full = |index: usize| {
        let study = loads.full.as_ref()?;
        study
            .sections
            .get(index)
            .map(|section| section.port_ua.abs())
    };
    for (index, section) in loads.allowed.sections.iter().enumerate() {
        let Some(fuse) = section.fuse.filter(|_| !section.left_out) else {
            continue;
        };
        let Some(name) = name(model, plan, section) else {
            continue;
        };
        let what = format!("port `{name}`");
        let draws = section.port_ua.abs();
        let before = Before {
            at: section.at,
            label: format!("from here on it is {}", load(draws)),
            help: format!(
                "put fewer nodes on `{name}`, allow it less light with `dim to`, or feed it in one more place: `tinsel power FILE --suggest` writes the `inject` for it"
            ),
            what,
        };
        if let Some(finding) = over(&before, fuse, draws) {
            sink.push(finding);
        } else if let Some(full) = full(index).filter(|full| *full > fuse.value) {
            let worst = full_over
                .entry(fuse.at)
                .or_insert((fuse, 0, String::new(), 0));
            worst.3 += 1;
            if full > worst.1 {
                (worst.1, worst.2) = (full, before.what);
            }
        }
    }
    for (fuse, ua, what, count) in full_over.into_values() {
        sink.push(at_full(fuse, ua, &what, count - 1));
    }
}

fn name(model: &Model, plan: &Plan, section: &Section) -> Option<String> {
    let port = plan.ports.get(section.port as usize)?;
    match port.output {
        Output::Pixel(number) => Some(port_name(model, port.controller, number, section.receiver)),
        Output::Dmx(_) => None,
    }
}

fn shared(model: &Model, power: &PowerFeed, fuse: Told<i64>) -> Before {
    let ports = fed_ports(model, power);
    Before {
        what: format!("the lead that feeds `{ports}`"),
        at: fuse.at,
        label: "all of these ports come through this fuse".into(),
        help: format!(
            "feed some of `{ports}` by a `power` statement of their own, with its own lead and fuse"
        ),
    }
}

fn injections(model: &Model, loads: &Loads, sink: &mut Sink) {
    let full = |tap: &TapLoad| {
        let taps = &loads.full.as_ref()?.taps;
        let key = (tap.injection, tap.string, tap.after);
        let at = taps.binary_search_by_key(&key, |tap| (tap.injection, tap.string, tap.after));
        taps.get(at.ok()?).map(|tap| tap.ua)
    };
    for taps in loads
        .allowed
        .taps
        .chunk_by(|a, b| a.injection == b.injection)
    {
        let Some(worst) = taps
            .iter()
            .filter(|tap| !tap.left_out)
            .max_by_key(|tap| (tap.ua, full(tap)))
        else {
            continue;
        };
        let Some(injection) = model.injections.get(worst.injection as usize) else {
            continue;
        };
        if let Some(fuse) = injection.lead.fuse {
            let most = taps.iter().filter_map(full).max();
            one(
                &injected(model, injection, worst, fuse),
                fuse,
                worst.ua,
                most,
                sink,
            );
        }
    }
}

fn injected(model: &Model, injection: &Injection, tap: &TapLoad, fuse: Told<i64>) -> Before {
    let name = words::shown(&model.name_of(tap.string));
    let place = inject_place(injection.place);
    Before {
        what: format!("the injection into `{name}` (`{place}`)"),
        at: fuse.at,
        label: "the fuse of this lead".into(),
        help: format!(
            "feed `{name}` in one more place, so that this lead carries less, or use a thicker lead with a larger fuse"
        ),
    }
}
