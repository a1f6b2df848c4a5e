//! `port/time`: more on an output than can be sent in one frame.

use crate::diagnostic::{Diagnostic, Severity, Sink};
use crate::limits::{Load, PortLimit, Time, dmx_packet, dmx_slots};
use crate::model::{Model, Output, PieceKind};
use crate::plan::{Plan, PortPlan};
use crate::rules::{Page, Rule};
use crate::source::Span;
use crate::unit::{counted, decimal};
use crate::usage::{plug_name, strings};

/// The rule.
pub const RULE: Rule = Rule {
    code: "port/time",
    severity: Severity::Error,
    title: "more than can be sent in one frame",
    page: Page {
        means: "Nodes on a data line are sent one after another, bit by bit. Then the line rests until they take over \
                the colours (the latch). All this takes longer than one frame at the display's frame rate. Skipped \
                nodes are sent too. A DMX output sends its slots in the same way, 44 us each.",
        why: "The port can't keep up: it drops frames, so it moves in jerks and out of step with its neighbours.",
        source: "data sheets of the chips (bit time and latch): frame >= header + nodes * bits * bit time + latch; for DMX ANSI E1.11-2008 (R2018) \
                 (44 us a slot; free from ESTA); grammar/LANGUAGE.md, \"Ports\"",
        wrong: "display \"pier\" { frame rate 60 Hz }\n\
                node dot { chip ws2811; colour RGB }\n\
                prop arch { node dot; string 600 nodes }\n\
                controller pier { input ddp; ports 1..4 { chip ws2811 } }\n\
                wire pier.1: arch\n",
        change: &[("rate 60", "rate 50")],
    },
    check: Some(check),
};

fn check(model: &Model, plan: &Plan, sink: &mut Sink) {
    for port in &plan.ports {
        match port.output {
            Output::Pixel(number) => pixel(model, port, number, sink),
            Output::Dmx(_) => dmx(model, plan, port, sink),
        }
    }
}

fn pixel(model: &Model, port: &PortPlan, number: u32, sink: &mut Sink) {
    let total = u64::from(port.nodes) + u64::from(port.skipped);
    // The plan's limit is at most what a frame has time for, so this is in time.
    if port.limit.is_some_and(|most| total <= u64::from(most)) {
        return;
    }
    let receivers = port.pieces.iter().filter_map(|piece| piece.receiver);
    match PortLimit::of(model, port.controller, number, receivers) {
        PortLimit::Slots(_) => return,
        // Reported as `port/nodes`; one fault makes one finding.
        PortLimit::Nodes(most) if total > u64::from(most.value) => return,
        PortLimit::Nodes(_) | PortLimit::Time => {}
    }
    // Each piece only adds time, so if the whole line is in time, every part of it is.
    let mut load = Load::default();
    port.pieces.iter().for_each(|piece| load.add(model, piece.piece.kind));
    if load.in_time(model) {
        return;
    }
    let mut load = Load::default();
    let mut over: Option<(Span, String)> = None;
    for piece in &port.pieces {
        load.add(model, piece.piece.kind);
        if over.is_none() && !load.in_time(model) {
            let what = match piece.piece.kind {
                PieceKind::String(id, _) => format!("`{}`", model.name_of(id)),
                PieceKind::Skip(count) => format!("`skip {count}`"),
                PieceKind::Lead(..) => String::new(),
            };
            over = Some((piece.piece.at, what));
        }
    }
    if let Some((at, what)) = over {
        sink.push(too_long(model, port, &load, at, &what));
    }
}

fn too_long(model: &Model, port: &PortPlan, load: &Load, at: Span, what: &str) -> Diagnostic {
    let name = plug_name(model, port, None);
    let rate = hertz(model.display.frame_rate_mhz);
    let time = load.time();
    let fits = load.frame_nodes(model).unwrap_or(0);
    let slower = time.rate_mhz().map_or(String::new(), rounded);
    let length = load.length();
    RULE.report(
        at,
        format!(
            "port `{name}` needs {} for its {}, but one frame at {rate} has {}",
            time.words(),
            counted(length, "node"),
            frame_words(model)
        ),
    )
    .label(format!(
        "{what} runs over the frame: {}, {} too many",
        fit_words(fits),
        length.saturating_sub(fits)
    ))
    .why("the port drops frames, so what hangs on it moves in jerks and out of step")
    .help(format!(
        "put at most {} on `{name}`, or set `frame rate {slower}` or slower in `display`",
        counted(fits, "node")
    ))
    .and_if(model.display.frame_rate_at, format!("{rate} set here"))
}

/// `1 node fits`, `2 nodes fit`.
fn fit_words(nodes: u64) -> String {
    let ending = if nodes == 1 { "s" } else { "" };
    format!("{} fit{ending}", counted(nodes, "node"))
}

fn dmx(model: &Model, plan: &Plan, port: &PortPlan, sink: &mut Sink) {
    let most = dmx_slots(model.display.frame_rate_mhz);
    let ends = strings(port).filter_map(|(id, at)| {
        let slot = plan.universe_slot(plan.of(id)?.end).1;
        (slot > most).then_some((slot, at, id))
    });
    let Some((slot, at, id)) = ends.max_by_key(|(slot, ..)| *slot) else {
        return;
    };
    let name = plug_name(model, port, None);
    let rate = hertz(model.display.frame_rate_mhz);
    let packet: Time = dmx_packet(slot);
    let slower = packet.rate_mhz().map_or(String::new(), rounded);
    let help = if most == 0 {
        format!("set `frame rate {slower}` or slower in `display`")
    } else {
        format!(
            "keep `{name}` within slot {most}, or set `frame rate {slower}` or slower in `display`"
        )
    };
    let finding = RULE
        .report(
            at,
            format!(
                "DMX output `{name}` needs {} for {}, but one frame at {rate} has {}",
                packet.words(),
                counted(slot, "slot"),
                frame_words(model)
            ),
        )
        .label(format!(
            "`{}` ends on slot {slot}; {most} can be sent in a frame",
            model.name_of(id)
        ))
        .why("the output drops frames, so its fixtures lag behind the rest")
        .help(help);
    sink.push(finding.and_if(model.display.frame_rate_at, format!("{rate} set here")));
}

fn hertz(mhz: u64) -> String {
    format!("{} Hz", decimal(i64::try_from(mhz).unwrap_or(i64::MAX), 1_000))
}

/// A rate that surely works: rounded down to whole hertz, or below 1 Hz to tenths.
fn rounded(mhz: u64) -> String {
    let step = if mhz >= 1_000 { 1_000 } else { 100 };
    hertz((mhz / step * step).max(1))
}

/// The time of one frame in milliseconds, rounded down so that what is too long never seems to fit.
fn frame_words(model: &Model) -> String {
    let hundredths = 100_000_000 / model.display.frame_rate_mhz.max(1);
    format!("{} ms", decimal(i64::try_from(hundredths).unwrap_or(i64::MAX), 100))
}
