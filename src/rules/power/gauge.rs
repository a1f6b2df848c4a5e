//! `power/gauge`: more current than a conductor may carry.

use crate::cable::{LASTING, capacity, enough, lasts};
use crate::diagnostic::{Diagnostic, Severity, Sink, words};
use crate::loads::{ConductorLoad, Loads, Study, TapLoad};
use crate::model::{Injection, Model, PowerFeed, StringId};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{Dimension, Gauge, load, quantity};
use crate::usage::{fed_ports, inject_place};
use std::collections::btree_map::Entry;
use std::collections::{BTreeMap, BTreeSet};

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/gauge",
    severity: Severity::Error,
    title: "more current than a conductor may carry",
    page: Page {
        means: "A conductor carries more than it may by the table that the message names: a lead of `power` or `inject`, \
                a lead in the line, or the string's own conductor. Plus and minus count each for itself, in both \
                directions, at the level that `dim to` allows. A show is a continuous load: over 80 % of the table is a \
                warning. If the current is over the table at full level only, the finding is advice. What a cable \
                really may carry depends on its \
                make, its length, how it is laid and how warm it is around it: local codes and licensed practice come \
                first.",
        why: "A conductor that carries too much grows hot, its insulation ages, and where it is bundled or covered it can \
              burn.",
        source: "NFPA 70 (NEC), 2020 edition, 240.4(D) for 18 to 10 AWG (14, 12 and 10 AWG read as quoted, the 7 A of 18 AWG \
                 and the 10 A of 16 AWG from memory) and table 310.16, 60 °C, for thicker ones (from memory); NFPA 79, \
                 2021 edition, table 12.5.1 for thinner ones (from memory); BS 7671:2018, table 4F3A for 0.5 to 4 mm2 \
                 (from memory); IEC 60364-5-52:2009, table B.52.2, method B1 for 6 mm2 and more (from memory); 80 %: \
                 NFPA 70, 210.19(A) and 215.2(A) (from memory)",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 11 mA; pitch 20 mm; gauge 22 AWG }\n\
                prop arch { node dot; string 300 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 3 A } }\n\
                wire pier.1: arch\n\
                supply shed { volts 12 V; rated 60 W }\n\
                power pier.1..4 from shed through 0.2 m of 14 AWG fuse 15 A\n\
                inject arch at start from shed through 0.2 m of 14 AWG fuse 3 A\n",
        change: &[("start from shed through 0.2", "end from shed through 8")],
    },
    check: None,
};

/// The largest current in one conductor.
#[derive(Clone, Copy, Default)]
struct Most {
    /// In microamperes, not below 0.
    ua: i64,
    /// Whether it flows in the minus.
    minus: bool,
    /// Whether it flows against the usual direction.
    back: bool,
    /// The node where it flows; 0 for none.
    node: u32,
}

impl Most {
    /// The larger current of a plus and a minus, in microamperes; the minus only if 1 mA larger.
    fn of(plus: i64, minus: i64) -> Self {
        const TRIFLE: u64 = 1_000;
        let more = minus.unsigned_abs() > plus.unsigned_abs().saturating_add(TRIFLE);
        let ua = if more { minus } else { plus };
        Self { ua: ua.saturating_abs(), minus: more, back: ua < 0, node: 0 }
    }

    fn of_line(one: &ConductorLoad) -> Self {
        let most = Self::of(one.plus.ua, one.minus.ua);
        let node = if most.minus { one.minus } else { one.plus }.node;
        Self { node, ..most }
    }
}

/// What a conductor belongs to.
#[derive(Clone, Copy)]
enum Which<'a> {
    Power(&'a PowerFeed),
    Tap(&'a Injection, StringId),
    Lead,
    Own(StringId),
    Skipped,
}

impl Which<'_> {
    fn words(self, model: &Model) -> String {
        let name = |id| words::shown(&model.name_of(id));
        match self {
            Self::Power(power) => format!("the lead that feeds `{}`", fed_ports(model, power)),
            Self::Tap(injection, id) => {
                let place = inject_place(injection.place);
                format!("the lead of the injection into `{}` (`{place}`)", name(id))
            }
            Self::Lead => "this lead".into(),
            Self::Own(id) => format!("the conductor of `{}`", name(id)),
            Self::Skipped => "the conductor of skipped nodes".into(),
        }
    }
}

/// A conductor with the current that is too much for it.
struct Conductor<'a> {
    which: Which<'a>,
    /// Where it is written.
    at: Span,
    /// Where its size is set, if not there.
    set: Option<Span>,
    gauge: Gauge,
    most: Most,
}

/// By the place where the size is set and by severity: the conductor with the most current, and the
/// ids of all of them (strings, sections, points of injection), to count them.
type Found<'a> = BTreeMap<(Span, Severity), (Conductor<'a>, BTreeSet<u32>)>;

/// How serious the currents in a conductor are, at the level that is allowed and at full level.
fn grave(gauge: Gauge, allowed: Most, full: Option<Most>) -> Option<(Severity, Most)> {
    let may = capacity(gauge).most_ua;
    if allowed.ua > may {
        Some((Severity::Error, allowed))
    } else if !lasts(allowed.ua, may) {
        Some((Severity::Warning, allowed))
    } else {
        let full = full.filter(|full| full.ua > may)?;
        Some((Severity::Advice, full))
    }
}

/// Checks every conductor against its table. Those whose size is set in one place are one finding.
pub fn report(model: &Model, loads: &Loads, sink: &mut Sink) {
    let mut found = Found::new();
    leads(model, loads, &mut found);
    lines(model, loads, &mut found);
    for ((_, severity), (conductor, all)) in &found {
        sink.push(finding(model, conductor, *severity, all.len().saturating_sub(1)));
    }
}

fn note<'a>(found: &mut Found<'a>, severity: Severity, conductor: Conductor<'a>, id: u32) {
    let key = (conductor.set.unwrap_or(conductor.at), severity);
    match found.entry(key) {
        Entry::Vacant(entry) => {
            entry.insert((conductor, BTreeSet::from([id])));
        }
        Entry::Occupied(mut entry) => {
            let (worst, all) = entry.get_mut();
            all.insert(id);
            if conductor.most.ua > worst.most.ua {
                *worst = conductor;
            }
        }
    }
}

/// Leads of `power` and `inject`.
fn leads<'a>(model: &'a Model, loads: &Loads, found: &mut Found<'a>) {
    let full = loads.full.as_ref();
    for (id, power) in model.powers.pairs() {
        let most = |study: &Study| {
            let feed = study.feeds[id];
            Most::of(feed.ua, feed.minus_ua)
        };
        let gauge = power.lead.gauge;
        if let Some((severity, most)) = grave(gauge, most(&loads.allowed), full.map(most)) {
            let conductor =
                Conductor { which: Which::Power(power), at: power.at, set: None, gauge, most };
            note(found, severity, conductor, 0);
        }
    }
    for (index, tap) in loads.allowed.taps.iter().enumerate() {
        let injection = &model.injections[tap.injection];
        let most = |tap: &TapLoad| Most::of(tap.ua, tap.minus_ua);
        let full = full.and_then(|study| study.taps.get(index)).map(most);
        let gauge = injection.lead.gauge;
        if let Some((severity, most)) = grave(gauge, most(tap), full) {
            let conductor = Conductor {
                which: Which::Tap(injection, tap.string),
                at: injection.at,
                set: None,
                gauge,
                most,
            };
            note(found, severity, conductor, index as u32);
        }
    }
}

/// Conductors within the lines.
fn lines<'a>(model: &'a Model, loads: &Loads, found: &mut Found<'a>) {
    let full = loads.full.as_ref();
    for (index, one) in loads.allowed.conductors.iter().enumerate() {
        let full = full.and_then(|study| study.conductors.get(index));
        let full = full.map(Most::of_line);
        let Some((severity, most)) = grave(one.gauge, Most::of_line(one), full) else {
            continue;
        };
        let (which, set) = match one.string {
            _ if one.lead => (Which::Lead, None),
            None => (Which::Skipped, None),
            Some(id) => (Which::Own(id), model.node_of(id).and_then(|node| node.gauge)),
        };
        let conductor =
            Conductor { which, at: one.at, set: set.map(|gauge| gauge.at), gauge: one.gauge, most };
        let own = one.string.filter(|_| !one.lead);
        let id = own.map_or(one.section.0, |id| id.0);
        note(found, severity, conductor, id);
    }
}

fn finding(
    model: &Model,
    conductor: &Conductor<'_>,
    severity: Severity,
    others: usize,
) -> Diagnostic {
    let (most, what) = (conductor.most, conductor.which.words(model));
    let capacity = capacity(conductor.gauge);
    let (carries, size) = (load(most.ua), conductor.gauge.words());
    let may = quantity(capacity.most_ua, Dimension::Current);
    let subject = match (severity, most.minus) {
        (Severity::Advice, true) => format!("at full level the minus of {what}"),
        (Severity::Advice, false) => format!("at full level {what}"),
        (_, true) => format!("the minus of {what}"),
        (_, false) => what,
    };
    let more = match others {
        0 => String::new(),
        others => format!(" (and {others} more like it)"),
    };
    let verb = match severity {
        Severity::Advice => "would carry",
        _ => "carries",
    };
    let back = if most.back { " backwards" } else { "" };
    let node = match most.node {
        0 => String::new(),
        node => format!(" at node {node}"),
    };
    let limit = match severity {
        Severity::Warning => format!("over {LASTING} % of the {may} that {size} may carry"),
        _ => format!("{size} may carry {may}"),
    };
    let mut finding = RULE
        .report(
            conductor.at,
            format!("{subject}{more} {verb} {carries}{back}{node}, {limit} by {}", capacity.table),
        )
        .label(format!("{carries} through {size}{node}"))
        .why(why(severity))
        .help(help(conductor, severity));
    finding.severity = severity;
    finding.and_if(conductor.set, format!("{size} here, {may} at most"))
}

fn why(severity: Severity) -> &'static str {
    match severity {
        Severity::Error => {
            "a conductor that carries too much grows hot, and where it is bundled or covered it can burn"
        }
        Severity::Warning => {
            "a show is a continuous load, and a conductor carries one of three hours or more only to 80 % of its table"
        }
        Severity::Advice => {
            "a controller's own test pattern lights everything in full, whatever the show is allowed"
        }
    }
}

fn help(conductor: &Conductor<'_>, severity: Severity) -> String {
    let most = conductor.most;
    if severity == Severity::Advice {
        return "test with one colour or a few nodes at a time".into();
    }
    let own = matches!(conductor.which, Which::Own(_) | Which::Skipped);
    let thick = enough(conductor.gauge, most.ua).map(Gauge::words);
    if most.minus {
        return "this minus carries more current than its own plus: use a thicker or shorter lead at the feed after `apart`, or lower the level with `dim to`"
            .into();
    }
    if most.back {
        return "move the injection that feeds back through it farther along, give what it feeds an injection of its own, or cut the plus with `apart`"
            .into();
    }
    match thick {
        Some(thick) if !own => {
            format!(
                "use {thick} or thicker here, feed in more places, or lower the level with `dim to`"
            )
        }
        Some(_) if own => {
            "feed it in more places along its length with `inject`, or lower the level with `dim to`".into()
        }
        _ => "feed in more places, or lower the level with `dim to`".into(),
    }
}
