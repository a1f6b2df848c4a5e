//! `power/gauge`: more current than a conductor may carry.

use crate::cable::{LASTING, capacity, enough, lasts};
use crate::diagnostic::{Diagnostic, Severity, Sink, Words, words};
use crate::loads::{ConductorLoad, Loads, Study, TapLoad};
use crate::model::Model;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{Dimension, Gauge, load, quantity};
use crate::usage::{fed_ports, inject_place};
use std::collections::BTreeMap;

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/gauge",
    severity: Severity::Error,
    title: "more current than a conductor may carry",
    page: Page {
        means: "A conductor carries more than it may by the table that the message names: a lead of `power` or `inject`, \
                a lead in the line, or the string's own conductor. Plus and minus count each for itself, in both \
                directions, at the level that `dim to` allows. A show is a continuous load: over 80 % of the table is a \
                warning. Over the table at full level only is advice. What a cable really may carry depends on its \
                make, its length, how it is laid and how warm it is around it: local codes and licensed practice come \
                first.",
        why: "A conductor that carries too much grows hot, its insulation ages, and where it is bundled or covered it can \
              burn.",
        source: "NFPA 70 (NEC), 2020 edition, 240.4(D) for 18 to 10 AWG (14, 12 and 10 AWG read as quoted, the 7 A of 18 AWG \
                 and the 10 A of 16 AWG from memory) and table 310.16, 60 °C, for thicker ones (from memory); NFPA 79, \
                 2021 edition, table 12.5.1 for thinner ones (from memory); BS 7671:2018, table 4F3A for 0.5 to 4 mm2 \
                 (from memory); IEC 60364-5-52:2009, table B.52.2, method B1 for 6 mm2 and more (from memory); 80 %: \
                 NFPA 70, 210.19(A) and 215.2(A) (from memory)",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 25 mA; pitch 50 mm; gauge 22 AWG }\n\
                prop arch { node dot; string 130 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 3 A } }\n\
                wire pier.1: arch\n\
                supply shed { volts 12 V; rated 60 W }\n\
                power pier.1..4 from shed through 0.2 m of 14 AWG fuse 15 A\n\
                inject arch at start from shed through 0.2 m of 14 AWG fuse 3 A\n",
        right: "node dot { chip ws2811; colour RGB; volts 12 V; draw 25 mA; pitch 50 mm; gauge 22 AWG }\n\
                prop arch { node dot; string 130 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 3 A } }\n\
                wire pier.1: arch\n\
                supply shed { volts 12 V; rated 60 W }\n\
                power pier.1..4 from shed through 0.2 m of 14 AWG fuse 15 A\n\
                inject arch at end from shed through 8 m of 14 AWG fuse 3 A\n",
    },
    check: None,
};

/// The largest current in one conductor.
#[derive(Clone, Copy, Default)]
struct Most {
    /// In microamperes, of either sign.
    ua: i64,
    /// Whether it is the minus.
    minus: bool,
    /// Whether it flows against the usual direction.
    back: bool,
    /// The node there; 0 for none.
    node: u32,
}

impl Most {
    fn of(plus: i64, minus: i64) -> Self {
        let minus_more = minus.unsigned_abs() > plus.unsigned_abs();
        let ua = if minus_more { minus } else { plus };
        Self {
            ua: ua.saturating_abs(),
            minus: minus_more,
            back: ua < 0,
            node: 0,
        }
    }
}

/// A conductor with its currents.
struct Conductor {
    /// Where it is written.
    at: Span,
    /// Where its size is set, if that is another place.
    set: Option<Span>,
    gauge: Gauge,
    /// "the lead that feeds `pier.1`".
    what: String,
    /// Whether it is a string's own.
    own: bool,
    allowed: Most,
    full: Most,
}

impl Conductor {
    /// How grave its currents are.
    fn grave(&self) -> Option<(Severity, Most)> {
        let may = capacity(self.gauge).most_ua;
        if self.allowed.ua > may {
            Some((Severity::Error, self.allowed))
        } else if !lasts(self.allowed.ua, may) {
            Some((Severity::Warning, self.allowed))
        } else {
            (self.full.ua > may).then_some((Severity::Advice, self.full))
        }
    }
}

/// Holds every conductor against its table: what is set in one place is told once.
pub fn tell(model: &Model, loads: &Loads, sink: &mut Sink) {
    let mut found: BTreeMap<(Span, Severity), (Conductor, Most, usize)> = BTreeMap::new();
    let all = powers(model, loads)
        .chain(injections(model, loads))
        .chain(lines(model, loads));
    for conductor in all {
        let Some((severity, most)) = conductor.grave() else {
            continue;
        };
        match found.entry((conductor.set.unwrap_or(conductor.at), severity)) {
            std::collections::btree_map::Entry::Vacant(entry) => {
                entry.insert((conductor, most, 0));
            }
            std::collections::btree_map::Entry::Occupied(mut entry) => {
                let (worst, worst_most, others) = entry.get_mut();
                *others += usize::from(worst.what != conductor.what);
                if most.ua > worst_most.ua {
                    (*worst, *worst_most) = (conductor, most);
                }
            }
        }
    }
    for ((_, severity), (conductor, most, others)) in &found {
        sink.push(finding(conductor, *most, *severity, *others));
    }
}

fn powers<'a>(model: &'a Model, loads: &'a Loads) -> impl Iterator<Item = Conductor> {
    model.powers.iter().enumerate().map(move |(index, power)| {
        let most = |study: &Study| {
            let feed = study.feeds.get(index).copied().unwrap_or_default();
            Most::of(feed.ua, feed.minus_ua)
        };
        Conductor {
            at: power.at,
            set: None,
            gauge: power.lead.gauge,
            what: format!("the lead that feeds `{}`", fed_ports(model, power)),
            own: false,
            allowed: most(&loads.allowed),
            full: loads.full.as_ref().map(most).unwrap_or_default(),
        }
    })
}

fn injections<'a>(model: &'a Model, loads: &'a Loads) -> impl Iterator<Item = Conductor> {
    let full = |index: usize| loads.full.as_ref()?.taps.get(index);
    let most = |tap: &TapLoad| Most::of(tap.ua, tap.minus_ua);
    let taps = loads.allowed.taps.iter().enumerate();
    taps.filter_map(move |(index, tap)| {
        let injection = model.injections.get(tap.injection as usize)?;
        Some(Conductor {
            at: injection.at,
            set: None,
            gauge: injection.lead.gauge,
            what: format!(
                "the lead of the injection into `{}` (`{}`)",
                words::shown(&model.name_of(tap.string)),
                inject_place(injection.place)
            ),
            own: false,
            allowed: most(tap),
            full: full(index).map(most).unwrap_or_default(),
        })
    })
}

fn lines<'a>(model: &'a Model, loads: &'a Loads) -> impl Iterator<Item = Conductor> {
    let full = |index: usize| loads.full.as_ref()?.conductors.get(index);
    let most = |one: &ConductorLoad| {
        let most = Most::of(one.plus.ua, one.minus.ua);
        let node = if most.minus { one.minus } else { one.plus }.node;
        Most { node, ..most }
    };
    let conductors = loads.allowed.conductors.iter().enumerate();
    conductors.map(move |(index, one)| {
        let own = one.string.filter(|_| !one.lead);
        let set = own.and_then(|id| model.node_of(id)?.gauge);
        Conductor {
            at: one.at,
            set: set.map(|gauge| gauge.at),
            gauge: one.gauge,
            what: match own {
                Some(id) => format!("the conductor of `{}`", words::shown(&model.name_of(id))),
                None if one.lead => "this lead".into(),
                None => "the conductor of skipped nodes".into(),
            },
            own: own.is_some(),
            allowed: most(one),
            full: full(index).map(most).unwrap_or_default(),
        }
    })
}

fn finding(conductor: &Conductor, most: Most, severity: Severity, others: usize) -> Diagnostic {
    let capacity = capacity(conductor.gauge);
    let (carries, size) = (load(most.ua), conductor.gauge.words());
    let may = quantity(capacity.most_ua, Dimension::Current);
    let subject = match (severity, most.minus) {
        (Severity::Advice, true) => format!("at full level the minus of {}", conductor.what),
        (Severity::Advice, false) => format!("at full level {}", conductor.what),
        (_, true) => format!("the minus of {}", conductor.what),
        (_, false) => conductor.what.clone(),
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
    let mut finding = RULE.at(
        conductor.at,
        Words {
            message: format!(
                "{subject}{more} {verb} {carries}{back}{node}, {limit} by {}",
                capacity.table
            ),
            label: format!("{carries} through {size}{node}"),
            why: why(severity).into(),
            help: help(conductor, most, severity),
        },
    );
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

fn help(conductor: &Conductor, most: Most, severity: Severity) -> String {
    if severity == Severity::Advice {
        return "test with one colour or a few nodes at a time".into();
    }
    let thick = enough(conductor.gauge, most.ua).map(Gauge::words);
    if most.minus {
        return "more comes back through this minus than its own plus feeds: use a thicker or shorter lead at the feed behind `apart`, or lower the level with `dim to`"
            .into();
    }
    if most.back {
        return "move the injection that feeds back through it farther along, give what it feeds an injection of its own, or cut the plus with `apart`"
            .into();
    }
    match thick {
        Some(thick) if !conductor.own => {
            format!(
                "use {thick} or thicker here, feed in more places, or lower the level with `dim to`"
            )
        }
        Some(_) if conductor.own => {
            "feed it in more places with `inject`, or lower the level with `dim to`".into()
        }
        _ => "feed in more places, or lower the level with `dim to`".into(),
    }
}
