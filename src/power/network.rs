//! What the solver takes and returns. Voltages are in volts, currents in amperes, resistances in
//! ohm.
//!
//! A node under its floor draws in proportion to its voltage, like a resistor that draws the full
//! current at the floor. So no voltage is ever negative, however large the load is.

/// The least resistance of a lead, so that no conductance is infinite: 50 nV at 5 A.
pub const LEAST_OHMS: f64 = 1e-8;

/// What is drawn at a point.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Draw {
    /// As constant current.
    pub amps: f64,
    /// As constant power.
    pub watts: f64,
    /// The voltage below which it draws less; above 0 where anything is drawn.
    pub floor: f64,
}

impl Draw {
    /// Whether anything is drawn.
    #[must_use]
    pub fn any(self) -> bool {
        self.amps > 0.0 || self.watts > 0.0
    }

    /// The current at a voltage.
    #[must_use]
    pub fn at(self, volts: f64) -> f64 {
        if volts >= self.floor {
            self.amps + self.power(volts)
        } else {
            (self.amps + self.power(self.floor)) * volts.max(0.0) / self.floor
        }
    }

    fn power(self, volts: f64) -> f64 {
        if self.watts > 0.0 && volts > 0.0 { self.watts / volts } else { 0.0 }
    }

    /// The tangent of the current at a voltage: current at 0 V, and conductance. A `dark` point
    /// counts as a resistor.
    pub(super) fn tangent(self, volts: f64, dark: bool) -> (f64, f64) {
        if dark {
            (0.0, (self.amps + self.power(self.floor)) / self.floor)
        } else if self.watts > 0.0 {
            let volts = volts.max(self.floor);
            (self.amps + 2.0 * self.watts / volts, -self.watts / (volts * volts))
        } else {
            (self.amps, 0.0)
        }
    }
}

/// A lead from a supply.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct SolvedLead {
    /// The number of the supply, from 0.
    pub supply: usize,
    /// The voltage of the supply.
    pub volts: f64,
    /// One conductor of the lead, plus or minus; counts as at least [`LEAST_OHMS`].
    pub ohms: f64,
}

/// A row of equal points. Each comes after a segment and draws between plus and minus.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Row {
    /// How many points.
    pub count: u32,
    /// The resistance of the plus of a segment.
    pub plus: f64,
    /// The resistance of the minus of a segment.
    pub minus: f64,
    /// What is drawn at each point.
    pub draw: Draw,
}

/// What comes next along a line.
#[derive(Clone, Copy, PartialEq, Debug)]
pub enum Step {
    /// A row of points.
    Row(Row),
    /// A cut of the plus.
    Cut,
    /// A lead of a supply that joins plus and minus.
    Tap(SolvedLead),
}

/// A line as the solver takes it.
#[derive(Clone, Debug, Default)]
pub struct SolvedLine {
    /// The box whose ground its minus begins at, from 0.
    pub ground: usize,
    /// The bus that its plus begins at; `None` where nothing feeds its port.
    pub bus: Option<usize>,
    /// What is on it, from its start.
    pub steps: Vec<Step>,
}

/// Where the lead of a `power` statement ends.
#[derive(Clone, Copy, Debug)]
pub struct Bus {
    /// The box that it is at.
    pub ground: usize,
    /// Its lead.
    pub lead: SolvedLead,
}

/// Lines that are solved together.
#[derive(Clone, Debug, Default)]
pub struct Network {
    /// How many supplies.
    pub supplies: usize,
    /// How many boxes.
    pub grounds: usize,
    /// Leads of `power` statements.
    pub buses: Vec<Bus>,
    /// Lines.
    pub lines: Vec<SolvedLine>,
}

/// The current of both conductors.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Pair {
    /// In the plus, away from the supply.
    pub plus: f64,
    /// In the minus, towards the supply.
    pub minus: f64,
}

/// The largest current of a conductor in a row, and where.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Peak {
    /// The current, signed as in [`Pair`], as if the supply were at the start of the line.
    pub amps: f64,
    /// The point that the segment leads to, from 0.
    pub at: u32,
}

/// The solved state of a row.
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

/// The solved state of a line.
#[derive(Clone, Debug, Default)]
pub struct LineState {
    /// What flows into its plus from its bus, and the voltage there; `None` where it has none.
    pub fed: Option<(f64, f64)>,
    /// Its rows, in their order.
    pub rows: Vec<RowState>,
    /// Its taps, in their order.
    pub taps: Vec<Pair>,
}

/// The solved state of a network.
#[derive(Clone, Debug, Default)]
pub struct State {
    /// Its buses.
    pub buses: Vec<Pair>,
    /// Its lines.
    pub lines: Vec<LineState>,
}
