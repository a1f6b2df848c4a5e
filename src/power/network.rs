//! What the solver of two conductors is given, and what it answers. Voltages are in volts, currents in
//! amperes, resistances in ohm.

use super::solve::Draw;

/// A lead of a supply.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Lead {
    /// The supply, from 0.
    pub supply: usize,
    /// Its voltage.
    pub volts: f64,
    /// One conductor of the lead, plus or minus; [`LEAST_OHMS`](super::solve::LEAST_OHMS) at least.
    pub ohms: f64,
}

/// A row of equal points, each after a segment, with what is drawn there between plus and minus.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Row {
    /// How many.
    pub count: u32,
    /// The plus of a segment.
    pub plus: f64,
    /// The minus of a segment.
    pub minus: f64,
    /// What is drawn at each point.
    pub draw: Draw,
}

/// What comes next along a line.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Step {
    /// A row.
    Row(Row),
    /// A cut of the plus.
    Cut,
    /// A lead that joins plus and minus.
    Tap(Lead),
}

/// A line.
#[derive(Clone, Debug, Default)]
pub struct Line {
    /// The box that its minus begins at, from 0.
    pub ground: usize,
    /// The bus that its plus begins at; `None` where nothing feeds its port.
    pub bus: Option<usize>,
    /// What is on it, from its start.
    pub steps: Vec<Step>,
}

/// Where the lead of a `power` statement ends.
#[derive(Clone, Copy, Debug)]
pub struct Bus {
    /// The box.
    pub ground: usize,
    /// Its lead.
    pub lead: Lead,
}

/// Lines that hang together.
#[derive(Clone, Debug, Default)]
pub struct Network {
    /// How many supplies.
    pub supplies: usize,
    /// How many boxes.
    pub grounds: usize,
    /// Leads of `power` statements.
    pub buses: Vec<Bus>,
    /// Lines.
    pub lines: Vec<Line>,
}

/// The current of both conductors.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Pair {
    /// In the plus, away from the supply.
    pub plus: f64,
    /// In the minus, towards the supply.
    pub minus: f64,
}

/// The largest current of a conductor, and after which point of its row.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Peak {
    /// The current, signed as in [`Pair`], the start of the line being where the supply is.
    pub amps: f64,
    /// The point that the segment leads to, from 0.
    pub at: u32,
}

/// What became of a row.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct RowState {
    /// The largest current in its plus.
    pub plus: Peak,
    /// The largest current in its minus.
    pub minus: Peak,
    /// What its points draw together.
    pub drawn: f64,
    /// The lowest voltage and its point.
    pub lowest: (f64, u32),
    /// The first point under its floor.
    pub dark: Option<(f64, u32)>,
    /// Points under their floor.
    pub dark_points: u32,
}

/// What became of a line.
#[derive(Clone, Debug, Default)]
pub struct LineState {
    /// What flows into its plus from its bus, and the voltage there; `None` where it has none.
    pub fed: Option<(f64, f64)>,
    /// Its rows, in their order.
    pub rows: Vec<RowState>,
    /// Its taps, in their order.
    pub taps: Vec<Pair>,
}

/// What became of a network.
#[derive(Clone, Debug, Default)]
pub struct State {
    /// Its buses.
    pub buses: Vec<Pair>,
    /// Its lines.
    pub lines: Vec<LineState>,
}
