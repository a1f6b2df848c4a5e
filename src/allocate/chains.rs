//! Lines with a seat each → the outputs in use, each with all that hangs on it in data order.

use super::keep;
use crate::limits::{self, Load, PortLimit};
use crate::model::{ControllerId, Model, Output, PieceKind, ReceiverId, Target};
use crate::plan::{ChainPiece, Past, PortPlan};

/// Where a line comes out.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Debug)]
pub(super) struct Seat {
    /// The controller.
    pub controller: ControllerId,
    /// Which output of it.
    pub output: Output,
    /// The receiver where it comes out; the controller's own port comes before those.
    pub receiver: Option<ReceiverId>,
}

impl Seat {
    /// The seat of a line that names its output; `None` where it is open or does not exist.
    pub fn said(model: &Model, target: Target) -> Option<Self> {
        let (controller, output, receiver) = match target {
            Target::Port(controller, port, receiver) => (controller, Output::Pixel(port), receiver),
            Target::Dmx(controller, number) => (controller, Output::Dmx(number), None),
            Target::Controller(_) | Target::Receiver(_) | Target::Any => return None,
        };
        let declared = model.controller(controller)?;
        let there = match output {
            Output::Pixel(port) => declared.port(port).is_some(),
            Output::Dmx(number) => declared.dmx.iter().any(|dmx| dmx.value == number),
        };
        there.then_some(Self { controller, output, receiver })
    }
}

/// All lines that have a seat: by controller, pixel ports before DMX outputs, each by number.
///
/// On one output they are sorted by receiver as declared, wired lines before open ones, then as
/// they stand in the file. Open lines that were there before keep their order.
pub(super) fn order(
    model: &Model,
    seats: &[Option<Seat>],
    past: Option<&Past>,
) -> Vec<(Seat, usize)> {
    let mut order: Vec<(Seat, usize)> =
        seats.iter().enumerate().filter_map(|(line, seat)| seat.map(|seat| (seat, line))).collect();
    // What the compiler adds comes at the end of a chain, so that no chain is cabled anew.
    let wired = |line: usize| model.lines.get(line).is_some_and(|line| !line.target.is_open());
    order.sort_unstable_by_key(|(seat, line)| (*seat, !wired(*line), *line));
    if let Some(past) = past {
        keep::queue::order(model, past, &mut order);
    }
    order
}

/// The outputs with a string on them; `order` has the lines in order.
pub(super) fn join(model: &Model, order: &[(Seat, usize)]) -> Vec<PortPlan> {
    let mut ports: Vec<PortPlan> = Vec::with_capacity(order.len());
    for lines in
        order.chunk_by(|(a, _), (b, _)| (a.controller, a.output) == (b.controller, b.output))
    {
        let Some((seat, _)) = lines.first() else {
            continue;
        };
        let count = lines
            .iter()
            .filter_map(|(_, line)| model.lines.get(*line))
            .map(|line| line.pieces.len())
            .sum();
        let mut pieces = Vec::with_capacity(count);
        for (seat, line) in lines {
            let Some(line) = model.lines.get(*line) else {
                continue;
            };
            pieces.extend(
                model
                    .pieces_of(line)
                    .iter()
                    .map(|piece| ChainPiece { piece: *piece, receiver: seat.receiver }),
            );
        }
        let is_string = |piece: &ChainPiece| matches!(piece.piece.kind, PieceKind::String(..));
        if pieces.iter().any(is_string) {
            ports.push(output_in_use(model, *seat, pieces));
        }
    }
    ports
}

fn output_in_use(model: &Model, seat: Seat, pieces: Vec<ChainPiece>) -> PortPlan {
    let mut load = Load::default();
    for piece in &pieces {
        load.add(model, piece.piece.kind);
    }
    let limit = match seat.output {
        Output::Pixel(port) => {
            let receivers = pieces.iter().filter_map(|piece| piece.receiver);
            let mut last = None;
            // Pieces of one receiver stand together, so one look at each is enough.
            let receivers = receivers.filter(|id| last.replace(*id) != Some(*id));
            PortLimit::of(model, seat.controller, port, receivers).figure(model, &load)
        }
        Output::Dmx(_) => {
            let sent = limits::dmx_slots(model.display.frame_rate_mhz);
            Some(sent.min(model.display.universe_slots.get()))
        }
    };
    let narrow = |count: u64| u32::try_from(count).unwrap_or(u32::MAX);
    PortPlan {
        controller: seat.controller,
        output: seat.output,
        pieces,
        nodes: narrow(load.nodes),
        skipped: narrow(load.skipped),
        slots: narrow(load.slots),
        limit,
    }
}
