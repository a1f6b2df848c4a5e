//! `power/fuse`: a fuse that carries too much, is too large for a conductor, or is missing.

mod conductor;
mod current;
mod ports;

pub use conductor::{
    Before, Lead, Need, Unnamed, Wire, lead_without, ports_without, supply_too_large, too_large,
};
pub use current::report;

use crate::diagnostic::Severity;
use crate::rules::{Page, Rule};

/// The rule.
pub const RULE: Rule = Rule {
    code: "power/fuse",
    severity: Severity::Error,
    title: "a fuse over its current or over a conductor, or no fuse",
    page: Page {
        means: "Every positive conductor between a supply and a node needs a fuse before it. The fuse may be no \
                larger than what the thinnest conductor after it, up to the next fuse, may carry. This holds for the \
                leads of `power` \
                and `inject`, the string's own conductor, leads in the line and all that follows a joint. An \
                injection feeds both ways along its line, up to the port and to where `apart` cuts the plus. A fuse \
                that is too large is an error, whatever the level. A lead without a fuse is a warning, unless its \
                supply states a `fuse` of its own. Boards have fuses at their ports; a display that does not name \
                them gets a warning where nothing else protects the strings. The current through a fuse, solved with \
                all feeds of the line, in either direction, may not be more than the fuse is for at the level that \
                `dim to` allows; over 80 % of it is a warning, more than its rating at full level only is advice. \
                Local codes and \
                licensed practice come first.",
        why: "A fuse protects the wire. One that is larger than its wire lets the wire burn in a short circuit. One that \
              is too small for the show blows, and everything it feeds goes dark.",
        source: "NFPA 70 (NEC), 2020 edition, 240.4(D) (largest fuse of a small conductor; the 7 A of 18 AWG and the 10 A \
                 of 16 AWG from memory), 240.21 (the fuse stands where the conductor begins; from memory), 210.20(A) \
                 and 215.3 (a load of three hours or more takes at most 80 % of a fuse; from memory); other sizes as on the page of \
                 power/gauge",
        wrong: "node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; gauge 16 AWG }\n\
                prop arch { node dot; string 100 nodes }\n\
                controller pier { ports 1..4 { volts 12 V; fuse 5 A } }\n\
                wire pier.1: arch\n",
        change: &[("100", "66")],
    },
    check: None,
};
