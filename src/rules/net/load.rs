//! `net/load`: more data than a network link carries.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::model::{Controller, ControllerId, Model};
use crate::plan::Plan;
use crate::protocol::UNIVERSES;
use crate::rules::{Page, Rule};
use crate::unit::{counted, decimal};
use crate::usage::{self, Heard};

/// The rule.
pub const RULE: Rule = Rule {
    code: "net/load",
    severity: Severity::Warning,
    title: "more than the network link carries",
    page: Page {
        means: "What one controller is sent in a second is more than a 100 Mbit/s link carries, or what all of them are sent \
                is more than the gigabit link of the machine that plays the show carries. Counted at the frame rate, \
                with what Ethernet, IP and UDP add to the data. A controller that shows another's data (`same as`) is \
                sent it \
                too: by multicast in the same packets, else in a copy of its own. A switch without IGMP snooping sends every \
                multicast packet to each of its ports, so the multicast of all controllers together is held against one \
                100 Mbit/s link as well.",
        why: "Packets are dropped, so strings stutter or freeze. 100 Mbit/s carry at most 443 full universes of E1.31 at 40 Hz, \
              403 at 44 Hz.",
        source: "IEEE 802.3-2022 (100BASE-TX, 1000BASE-T; 38 bytes around each frame; free to read after registering, edition from memory); \
                 ANSI E1.31-2018, Table 4-1 (126 bytes around the slots) and 9.2 (receivers join groups by IGMP; free from ESTA); \
                 RFC 4541, 2.1 (what a switch that snoops on IGMP forwards)",
        wrong: "prop wall { slots 240000 }\n\
                controller pier { input e131 unicast; ports 1..2 { slots at most 250000 } }\n\
                wire pier.1: wall\n",
        change: &[("240000", "210000")],
    },
    check: Some(check),
};

/// What a controller's link carries, in bits a second: 100BASE-TX.
const LINK: u64 = 100_000_000;

/// What the link of the machine that plays the show carries, in bits a second: 1000BASE-T.
const TRUNK: u64 = 1_000_000_000;

/// Universes that are looked at in all, over all controllers, which bounds the time.
const MOST_HEARD: usize = 4_000_000;

/// Bits a second that universes cost at the frame rate, with what Ethernet adds. `slots` has the
/// highest slot of each universe.
#[must_use]
pub fn bits_a_second(model: &Model, controller: &Controller, slots: &[u32]) -> u64 {
    let frame = u128::from(controller.input.protocol.wire_bits(slots));
    let second = frame * u128::from(model.display.frame_rate_mhz) / 1_000;
    u64::try_from(second).unwrap_or(u64::MAX)
}

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let (mut total, mut multicast) = (0_u64, 0_u64);
    let (mut over, mut flooded) = (None, None);
    let (mut looked_at, mut listening) = (0, 0);
    // By universe: whether it was counted as multicast. The machine sends its packets once for all.
    let mut grouped = vec![false; *UNIVERSES.end() as usize + 1];
    for (index, controller) in model.controllers.iter().enumerate() {
        let mut heard = usage::heard(model, plan, ControllerId::from(index));
        looked_at += heard.len();
        if heard.is_empty() {
            continue;
        }
        listening += 1;
        let slots = |heard: &[Heard]| heard.iter().map(|row| row.highest).collect::<Vec<u32>>();
        let bits = bits_a_second(model, controller, &slots(&heard));
        if bits > LINK {
            sink.push(link(model, controller, bits, heard.len()));
        }
        let input = controller.input;
        let to_a_group = input.protocol.to_a_group(input.form);
        if to_a_group {
            heard.retain(|row| {
                let sent = grouped.get_mut(row.universe as usize);
                sent.is_some_and(|sent| !std::mem::replace(sent, true))
            });
        }
        let bits = bits_a_second(model, controller, &slots(&heard));
        total = total.saturating_add(bits);
        if to_a_group {
            multicast = multicast.saturating_add(bits);
            if multicast > LINK {
                flooded = flooded.or(Some(controller));
            }
        }
        if total > TRUNK {
            over = over.or(Some(controller));
        }
        if looked_at > MOST_HEARD {
            break;
        }
    }
    if let Some(controller) = over {
        sink.push(trunk(model, total, controller));
    }
    // With a single controller, no other gets its data.
    if let Some(controller) = flooded.filter(|_| listening > 1) {
        sink.push(flood(model, multicast, controller));
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
    RULE.report(
        controller.at,
        format!(
            "`{name}` is sent {} in {} at {}, more than a 100 Mbit/s link carries",
            mbit(bits),
            counted(universes, "universe"),
            rate(model)
        ),
    )
    .label(mbit(bits))
    .why("what does not fit on the link is dropped, so strings stutter or freeze")
    .help(
        "spread the strings over more controllers, or lower the frame rate; if its link is faster, \
         leave it as it is",
    )
    .and_if(model.display.frame_rate_at, format!("{} set here", rate(model)))
}

fn trunk(model: &Model, all: u64, last: &Controller) -> Diagnostic {
    RULE.report(
        last.at,
        format!(
            "all controllers together are sent {} at {}, more than a gigabit link carries",
            mbit(all),
            rate(model)
        ),
    )
    .label(format!("with `{}` it is more than 1000 Mbit/s", last.name))
    .why("one network port can't send the whole display, so frames would be dropped")
    .help("play the show from several machines or network ports, or lower the frame rate")
    .and_if(model.display.frame_rate_at, format!("{} set here", rate(model)))
}

fn flood(model: &Model, all: u64, last: &Controller) -> Diagnostic {
    RULE.report(
        last.input_at.unwrap_or(last.at),
        format!(
            "{} at {} are sent by multicast, more than a 100 Mbit/s port of a switch carries",
            mbit(all),
            rate(model)
        ),
    )
    .label(format!("with `{}` the multicast is more than 100 Mbit/s", last.name))
    .why(
        "a switch without IGMP snooping sends multicast to all its ports, so it floods each \
         controller with the data of all",
    )
    .help(
        "send unicast (`input e131 unicast`), or use a switch with IGMP snooping; if all links are \
         faster, leave it as it is",
    )
    .and_if(model.display.frame_rate_at, format!("{} set here", rate(model)))
}
