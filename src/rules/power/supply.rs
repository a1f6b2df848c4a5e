//! `power/supply`: more load than a supply is rated for.

use crate::cable::{LASTING, lasts};
use crate::diagnostic::{Severity, Sink};
use crate::loads::Loads;
use crate::model::Model;
use crate::rules::{Page, Rule};
use crate::unit::{Dimension, quantity, watts};

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/supply",
    severity: Severity::Error,
    title: "more load than a supply is rated for",
    page: Page {
        means: "All that a supply feeds takes more than its rating at the level that `dim to` allows. Over 80 % of the rating is \
                a warning: that is what a supply gives for hours, boxed in, without growing old.",
        why: "An overloaded supply switches off, sags until nodes lose their colours, or grows hot.",
        source: "the supply's own rating; NFPA 70 (NEC), 2020 edition, 210.20(A) (from memory): 80 % for a load of three hours or more",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 50 mA; pitch 50 mm; gauge 12 AWG }\n\
                prop arch { node dot; string 300 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 20 A } }\n\
                wire pier.1: arch\n\
                supply shed { volts 12 V; rated 150 W }\n\
                power pier.1..4 from shed through 0.5 m of 10 AWG fuse 30 A\n",
        change: &[("150", "350")],
    },
    check: None,
};

/// Checks the load of every supply against its rating.
pub fn report(model: &Model, loads: &Loads, sink: &mut Sink) {
    for (supply, ua) in model.supplies.iter().zip(&loads.allowed.supplies) {
        let (Some(rated), Some(volts)) = (supply.rated, supply.volts) else {
            continue;
        };
        let mw = crate::loads::power_mw(*ua, volts.value);
        let name = &supply.name;
        let (gives, rating) = (watts(mw), quantity(rated.value, Dimension::Power));
        let over = mw > rated.value;
        if !over && lasts(mw, rated.value) {
            continue;
        }
        let message = if over {
            format!("supply `{name}` has to give {gives}, but it is rated {rating}")
        } else {
            format!(
                "supply `{name}` has to give {gives}, over {LASTING} % of its rating of {rating}"
            )
        };
        let why = if over {
            "an overloaded supply switches off, sags or grows hot"
        } else {
            "a supply in a box that gives more than 80 % of its rating for hours gets hot and ages"
        };
        let mut finding = RULE
            .report(supply.at, message)
            .label(format!("has to give {gives}"))
            .why(why)
            .help(format!(
                "feed some of it from a second supply, or lower the level with `dim to`; `tinsel \
                 power FILE` shows what hangs on `{name}`"
            ));
        if !over {
            finding.severity = Severity::Warning;
        }
        sink.push(finding.and(rated.at, format!("rated {rating} here")));
    }
}
