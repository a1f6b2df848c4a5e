//! `net/rate`: universes sent more often than their standard allows by default.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::limits::{DMX_SLOTS, dmx_packet, dmx_slots};
use crate::model::{Controller, ControllerId, Model, Output};
use crate::plan::Plan;
use crate::protocol::Pace;
use crate::rules::{Page, Rule};
use crate::unit::{counted, decimal};
use crate::usage::{self, Heard};
use std::collections::BTreeSet;

/// The rule.
pub const RULE: Rule = Rule {
    code: "net/rate",
    severity: Severity::Advice,
    title: "a frame rate above what the network standard asks for",
    page: Page {
        means: "Streaming ACN asks a sender to repeat a universe no faster than a DMX512 line can, unless the user has configured \
                it: 44 times a second with 512 slots, 50 with 451, 60 with 375. Art-Net asks for at most the rate of 512 slots, \
                however many are used. The display's frame rate is higher.",
        why: "Many controllers take a higher rate, and your `frame rate` may be just that configuration. One that converts to DMX \
              or keeps to the standard drops the frames that come too soon, so it moves in jerks.",
        source: "ANSI E1.31-2018, 6.6.1; Art-Net 4, ArtDmx; the rates from the timing of ANSI E1.11-2008 (R2018)",
        wrong: "display \"pier\" { frame rate 60 Hz }\n\
                node dot { chip ws2811; colour RGB }\n\
                controller pier { input e131 unicast; ports 1..4 { chip ws2811 } }\n\
                prop arch { node dot; string 170 nodes }\n\
                wire pier.1: arch\n",
        change: &[("60", "44")],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    let rate = model.display.frame_rate_mhz;
    let most = dmx_slots(rate);
    if most == DMX_SLOTS {
        return;
    }
    // By clause of a standard: the first controller, how many controllers, how many universes.
    let mut found: Vec<(Pace, &Controller, usize, usize)> = Vec::new();
    for (index, controller) in model.controllers.iter().enumerate() {
        let Some(pace) = controller.input.protocol.pace() else {
            continue;
        };
        let id = ControllerId::from(index);
        let heard = usage::heard(model, plan, id);
        let dmx = dmx_universes(plan, id);
        // A DMX output that can't keep up is reported by `port/time`.
        let over = |row: &Heard| match row.highest > most {
            true => !dmx.contains(&row.universe),
            false => !pace.of_its_slots,
        };
        let fast = heard.iter().filter(|row| over(row)).count();
        if fast == 0 {
            continue;
        }
        match found.iter_mut().find(|(other, ..)| other.clause == pace.clause) {
            Some((_, _, controllers, universes)) => {
                *controllers += 1;
                *universes += fast;
            }
            None => found.push((pace, controller, 1, fast)),
        }
    }
    for (pace, first, controllers, universes) in found {
        let whose = match controllers {
            1 => format!("`{}`", first.name),
            more => counted(more, "controller"),
        };
        let of = match pace.of_its_slots {
            true => format!(" of more than {}", counted(most, "slot")),
            false => String::new(),
        };
        let what = format!("{}{of}", counted(universes, "universe"));
        sink.push(finding(model, first, &whose, &what, pace.clause));
    }
}

/// The universes of the DMX outputs of a controller.
fn dmx_universes(plan: &Plan, id: ControllerId) -> BTreeSet<u32> {
    let outputs = plan.ports.iter().filter(|port| port.controller == id);
    let dmx = outputs.filter(|port| matches!(port.output, Output::Dmx(_)));
    let first = dmx.filter_map(|port| usage::strings(port).find_map(|(id, _)| plan.of(id)));
    first.map(|placed| plan.universe_slot(placed.start).0).collect()
}

fn finding(model: &Model, first: &Controller, whose: &str, what: &str, clause: &str) -> Diagnostic {
    let rate = hertz(model.display.frame_rate_mhz);
    let is = if whose.starts_with('`') { "is" } else { "are" };
    let full = hertz(dmx_packet(DMX_SLOTS).rate_mhz().unwrap_or(0) / 1_000 * 1_000);
    RULE.report(
        model.display.frame_rate_at.unwrap_or(first.at),
        format!("{whose} {is} sent {what} at {rate}, more often than a DMX512 line repeats"),
    )
    .label(format!("{clause}: a lower rate, unless the user has set this one"))
    .why(
        "a controller that keeps to the standard drops what comes too soon, so its strings move in \
         jerks",
    )
    .help(format!(
        "set `frame rate {full}` or slower in `display`; if your controllers are made for {rate}, \
         leave it as it is"
    ))
    .and(
        first.input_at.unwrap_or(first.at),
        format!("`{}` listens to {}", first.name, first.input.words()),
    )
}

fn hertz(mhz: u64) -> String {
    let rate = i64::try_from(mhz).unwrap_or(i64::MAX);
    format!("{} Hz", decimal(rate, 1_000))
}
