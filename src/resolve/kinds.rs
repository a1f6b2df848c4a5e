//! Checks the kinds of what a wire hangs on an output.

use super::gaps;
use crate::diagnostic::Sink;
use crate::model::{Model, Output, Piece, PieceKind, StringId, Target};
use crate::rules;
use crate::source::Span;
use crate::usage::output_name;

/// Reports strings of nodes on DMX outputs and on ports with `slots at most`, fixtures on other
/// ports, and skips on DMX outputs.
pub fn check_kinds(pieces: &[Piece], target: Target, at: Span, model: &mut Model, sink: &mut Sink) {
    let (controller, output, slots) = match target {
        Target::Port(controller, port, receiver) => {
            let settings = model.port_settings(controller, port, receiver);
            let slots = settings.and_then(|settings| settings.slots);
            (controller, Output::Pixel(port), slots)
        }
        Target::Dmx(controller, output) => (controller, Output::Dmx(output), None),
        _ => return,
    };
    let dmx = matches!(output, Output::Dmx(_));
    let words = || format!("`{}`", output_name(model, controller, output));
    let mut wrong = false;
    for piece in pieces {
        match piece.kind {
            PieceKind::String(id, _) => {
                let shape = model.shape(id);
                let fixture = shape.node.is_none();
                if fixture == dmx && (dmx || slots.is_none()) {
                    continue;
                }
                let (string, words) = (model.name_of(id), words());
                let whose = &model.controllers[controller];
                let output = |one| output_name(model, controller, one);
                let dmx_one = whose.dmx.first().map(|one| output(Output::Dmx(one.value)));
                let port_one = whose.ports.first();
                let port_one = port_one.map(|port| output(Output::Pixel(port.number)));
                let finding = match (fixture, dmx, slots) {
                    (true, false, None) => rules::wire::kind::fixture(
                        piece.at,
                        &string,
                        at,
                        (&words, dmx_one.as_deref()),
                        shape.at,
                    ),
                    (false, true, _) => rules::wire::kind::string(
                        piece.at,
                        &string,
                        at,
                        (&words, port_one.as_deref()),
                        shape.at,
                    ),
                    (false, false, Some(limit)) => {
                        rules::wire::kind::on_slots(piece.at, &string, &words, limit.at)
                    }
                    _ => continue,
                };
                // One finding for a line is enough.
                if !wrong {
                    sink.push(finding);
                }
                wrong = true;
            }
            PieceKind::Skip(_) if dmx => sink.push(rules::wire::kind::skip(piece.at, &words())),
            PieceKind::Skip(_) | PieceKind::Lead(..) => {}
        }
    }
    if wrong {
        model.incomplete = true;
        gaps::of_line(target, model);
    }
}

/// Reports a line that has both fixtures and strings of nodes.
pub fn check_mixed(pieces: &[Piece], target: Target, model: &mut Model, sink: &mut Sink) {
    let mut first: Option<(Span, StringId, bool)> = None;
    for piece in pieces {
        let PieceKind::String(id, _) = piece.kind else {
            continue;
        };
        let fixture = model.shape(id).node.is_none();
        match first {
            None => first = Some((piece.at, id, fixture)),
            Some((at, other, kind)) if kind != fixture => {
                sink.push(rules::wire::kind::mixed(
                    piece.at,
                    &model.name_of(id),
                    at,
                    &model.name_of(other),
                ));
                model.incomplete = true;
                gaps::of_line(target, model);
                return;
            }
            Some(_) => {}
        }
    }
}
