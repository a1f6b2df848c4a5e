//! `power/gauge`: more current than a lead's conductor may carry.

use crate::cable::capacity;
use crate::diagnostic::{Severity, Sink, Words};
use crate::loads::Loads;
use crate::model::Model;
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{Dimension, Gauge, load, quantity};

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/gauge",
    severity: Severity::Warning,
    title: "more current than a lead's conductor may carry",
    page: Page {
        means: "A lead carries more than its conductor may by the table that the message names. It is a caution: what a cable really \
                may carry depends on its make, its length, how it is laid and how warm it is around it.",
        why: "A conductor that carries too much grows warm, its insulation ages, and where it is bundled or covered it can burn.",
        source: "NFPA 70 (NEC), 240.4(D) for 18 to 10 AWG and table 310.16 for thicker ones; NFPA 79, table 12.5.1 for thinner ones; \
                 BS 7671, table 4F3A for 0.5 to 4 mm2 and IEC 60364-5-52, table B.52.2 above",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 50 mA }\n\
                prop arch { node dot; string 300 nodes }\n\
                controller pier { ports 1..4 { volts 12 V } }\n\
                wire pier.1: arch\n\
                supply shed { volts 12 V; rated 350 W }\n\
                power pier.1..4 from shed through 0.2 m of 18 AWG\n",
        right: "node dot { chip ws2811; colour RGB; volts 12 V; draw 50 mA }\n\
                prop arch { node dot; string 300 nodes }\n\
                controller pier { ports 1..4 { volts 12 V } }\n\
                wire pier.1: arch\n\
                supply shed { volts 12 V; rated 350 W }\n\
                power pier.1..4 from shed through 0.2 m of 12 AWG\n",
    },
    check: None,
};

/// Holds every lead against its conductor.
pub fn tell(model: &Model, loads: &Loads, sink: &mut Sink) {
    let study = &loads.allowed;
    for (power, ua) in model.powers.iter().zip(&study.feeds) {
        one(power.at, power.lead.gauge, ua.ua, sink);
    }
    for taps in study.taps.chunk_by(|a, b| a.injection == b.injection) {
        let worst = taps.iter().max_by_key(|tap| tap.ua);
        let injection =
            worst.and_then(|tap| Some((model.injections.get(tap.injection as usize)?, tap.ua)));
        if let Some((injection, ua)) = injection {
            one(injection.at, injection.lead.gauge, ua, sink);
        }
    }
    let mut leads: Vec<_> = study.conductors.iter().filter(|one| one.lead).collect();
    leads.sort_by_key(|lead| (lead.at, std::cmp::Reverse(lead.plus.ua.abs())));
    leads.dedup_by_key(|lead| lead.at);
    for lead in leads {
        one(lead.at, lead.gauge, lead.plus.ua.abs(), sink);
    }
}

fn one(at: Span, gauge: Gauge, ua: i64, sink: &mut Sink) {
    let most = capacity(gauge);
    if ua <= most.most_ua {
        return;
    }
    let (carries, may) = (load(ua), quantity(most.most_ua, Dimension::Current));
    let size = gauge.words();
    let thick = crate::cable::thicker(gauge).find(|gauge| capacity(*gauge).most_ua >= ua);
    let help = thick.map_or_else(
        || "use several leads, or feed it in more places".to_owned(),
        |thick| {
            format!(
                "use {} or thicker here, or feed it in more places",
                thick.words()
            )
        },
    );
    sink.push(RULE.at(
        at,
        Words {
            message: format!("this lead carries {carries}, {size} may carry {may} by {}", most.table),
            label: format!("{carries} through {size}"),
            why: "a conductor that carries too much grows warm, and where it is bundled or covered it can burn".into(),
            help,
        },
    ));
}
