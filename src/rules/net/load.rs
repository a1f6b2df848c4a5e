//! `net/load`: more than the link carries.

use crate::diagnostic::{Diagnostic, Severity, Sink, Words};
use crate::model::{Controller, ControllerId, Model};
use crate::plan::Plan;
use crate::rules::{Page, Rule};
use crate::unit::decimal;
use crate::usage::{self, UniverseUse};

/// The rule.
pub const RULE: Rule = Rule {
    code: "net/load",
    severity: Severity::Warning,
    title: "more than the network link carries",
    page: Page {
        means: "What one controller is sent in a second is more than a 100 Mbit/s link carries, or what all of them are sent \
                is more than the gigabit link of the machine that plays the show carries. Counted at the frame rate, with all \
                that Ethernet, IP and UDP put around the data.",
        why: "Packets are dropped, so strings stutter or freeze. 100 Mbit/s carry at most 443 full universes of E1.31 at 40 Hz, \
              403 at 44 Hz.",
        source: "IEEE 802.3 (100BASE-TX, 1000BASE-T; 38 bytes around each frame); ANSI E1.31-2018, Table 4-1 (126 bytes around the slots)",
        wrong: "node dot { chip apa102; colour RGB }\n\
                prop wall { node dot; string 80000 nodes }\n\
                controller pier { input e131 unicast; ports 1..2 { chip apa102 } }\n\
                wire pier.1: wall\n",
        right: "node dot { chip apa102; colour RGB }\n\
                prop wall { node dot; string 70000 nodes }\n\
                controller pier { input e131 unicast; ports 1..2 { chip apa102 } }\n\
                wire pier.1: wall\n",
    },
    check: Some(check),
};

/// Bits a second of a controller's link: 100BASE-TX.
const LINK: u64 = 100_000_000;

/// Bits a second of the link of the machine that plays the show: 1000BASE-T.
const TRUNK: u64 = 1_000_000_000;

/// Bits a second that the universes of one controller cost at the frame rate, Ethernet's share included.
#[must_use]
pub fn bits_a_second(model: &Model, controller: &Controller, universes: &[UniverseUse]) -> u64 {
    let slots: Vec<u32> = universes.iter().map(|row| row.highest).collect();
    let frame = u128::from(controller.input.protocol.wire_bits(&slots));
    let second = frame * u128::from(model.display.frame_rate_mhz) / 1_000;
    u64::try_from(second).unwrap_or(u64::MAX)
}

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let mut uses = usage::universes(model, plan);
    uses.sort_by_key(|row| row.controller);
    let mut total = 0_u64;
    for one in uses.chunk_by(|a, b| a.controller == b.controller) {
        let Some(controller) = one.first().and_then(|row| model.controller(row.controller)) else {
            continue;
        };
        let bits = bits_a_second(model, controller, one);
        if bits > LINK {
            sink.push(link(model, controller, bits, one.len()));
        }
        let before = total;
        total = total.saturating_add(bits);
        if before <= TRUNK && total > TRUNK {
            sink.push(trunk(model, &uses, controller));
        }
    }
}

/// Bits a second as Mbit/s with one decimal, rounded up.
fn mbit(bits: u64) -> String {
    let tenths = i64::try_from(bits.div_ceil(100_000)).unwrap_or(i64::MAX);
    format!("{} Mbit/s", decimal(tenths, 10))
}

fn rate(model: &Model) -> String {
    let rate = i64::try_from(model.display.frame_rate_mhz).unwrap_or(i64::MAX);
    format!("{} Hz", decimal(rate, 1_000))
}

fn link(model: &Model, controller: &Controller, bits: u64, universes: usize) -> Diagnostic {
    let name = &controller.name;
    RULE.at(
        controller.at,
        Words {
            message: format!(
                "`{name}` is sent {} in {universes} universes at {}, a 100 Mbit/s link carries less",
                mbit(bits),
                rate(model)
            ),
            label: mbit(bits),
            why: "what does not fit on the link is dropped, so strings stutter or freeze".into(),
            help: "spread the strings over more controllers, or lower the frame rate; if its link is faster, leave it as it is".into(),
        },
    )
    .and_if(model.display.frame_rate_at, format!("{} set here", rate(model)))
}

fn trunk(model: &Model, uses: &[UniverseUse], last: &Controller) -> Diagnostic {
    let rows = uses.chunk_by(|a, b| a.controller == b.controller);
    let all: u64 = rows
        .filter_map(|one| {
            let id: ControllerId = one.first()?.controller;
            Some(bits_a_second(model, model.controller(id)?, one))
        })
        .fold(0, u64::saturating_add);
    RULE.at(
        last.at,
        Words {
            message: format!(
                "all controllers together are sent {} at {}, a gigabit link carries less",
                mbit(all),
                rate(model)
            ),
            label: format!("with `{}` it is more than 1000 Mbit/s", last.name),
            why: "one network port can't send the whole display, so frames would be dropped".into(),
            help: "play the show from several machines or network ports, or lower the frame rate"
                .into(),
        },
    )
    .and_if(
        model.display.frame_rate_at,
        format!("{} set here", rate(model)),
    )
}
