//! Makes of node as the solver sees them.

use crate::cable::loop_ohms;
use crate::model::{Draw, Model, NodeKind, Stated};
use crate::unit::Gauge;

/// What a make of node is, electrically.
#[derive(Clone, Copy, Debug, Default)]
pub struct Make {
    /// Constant current at full, in amperes.
    pub amps: f64,
    /// Constant current on top of that at any level, in amperes.
    pub idle: f64,
    /// Constant power at full, in watts.
    pub watts: f64,
    /// Resistance of one pitch, plus and minus together, in ohm.
    pub ohms: f64,
    /// One pitch, in micrometres.
    pub pitch_um: i64,
    /// Its conductor.
    pub gauge: Option<Gauge>,
    /// Its voltage in millivolts.
    pub volts: Option<Stated<i64>>,
    /// Whether it states a draw or an idle current.
    pub draws: bool,
    /// Whether pitch and conductor are known.
    pub whole: bool,
}

/// The lowest voltage that a node works at, in millivolts: what the node states, else what its chip
/// states. Else it is the larger of the known chip's floor and three quarters of the node's
/// voltage: three diodes in a row need about 9 of 12 V, which is also the least of the WS2815 data
/// sheet. `usual` is the voltage that it gets where it does not state its own; 4.5 V where nothing
/// is known.
fn floor_mv(model: &Model, node: &NodeKind, usual: Option<i64>) -> i64 {
    if let Some(floor) = node.floor {
        return floor.value;
    }
    let chip = node.chip.map(|chip| &model.chips[chip.value]);
    let chip_floor = chip.map(|chip| i64::from(chip.floor_mv));
    if let Some(floor) = chip_floor.filter(|_| chip.is_some_and(|chip| chip.floor_told)) {
        return floor;
    }
    let volts = node.volts.map(|volts| volts.value).or(usual);
    let share = volts.map(|volts| volts * 3 / 4);
    chip_floor.max(share).unwrap_or(4_500).max(1)
}

/// The lowest voltage that nodes of a make work at, in volts; `usual` as above.
#[must_use]
pub fn floor(model: &Model, node: &NodeKind, usual: Option<i64>) -> f64 {
    floor_mv(model, node, usual) as f64 * 1e-3
}

/// The electrical side of a make of node.
#[must_use]
pub fn make(model: &Model, node: &NodeKind) -> Make {
    let pitch = node.pitch_um.map(|pitch| pitch.value);
    let gauge = node.gauge.map(|gauge| gauge.value);
    let ohms =
        pitch.zip(gauge).map_or(0.0, |(pitch, gauge)| loop_ohms(pitch, gauge, celsius(model)));
    let (amps, watts) = match node.draw.map(|draw| draw.value) {
        Some(Draw::Current(ua)) => (ua as f64 * 1e-6, 0.0),
        Some(Draw::Power(mw)) => (0.0, mw as f64 * 1e-3),
        None => (0.0, 0.0),
    };
    Make {
        amps,
        idle: node.idle_ua as f64 * 1e-6,
        watts,
        ohms,
        pitch_um: pitch.unwrap_or(0),
        gauge,
        volts: node.volts,
        draws: node.draw.is_some() || node.idle_ua > 0,
        whole: pitch.is_some() && gauge.is_some(),
    }
}

/// The temperature of all conductors, in degrees Celsius.
#[must_use]
pub fn celsius(model: &Model) -> f64 {
    model.display.conductors_mc as f64 * 1e-3
}
