//! What lies beyond a place on a line, reduced to what its two conductors see there.

use super::mesh::Mesh;
use super::network::{LEAST_OHMS, Pair, SolvedLead};

/// What lies beyond a place on a line: the conductances that plus and minus see there, and the
/// currents into it when both are at 0 V. A supply whose minus is not at a known voltage yet is a
/// further point.
#[derive(Clone, Debug, Default)]
pub struct Front {
    pub pp: f64,
    pub pm: f64,
    pub mm: f64,
    pub jp: f64,
    pub jm: f64,
    /// Conductances from each further point to plus and minus.
    to: Vec<(f64, f64)>,
    /// Conductances between further points, row by row; `amps` has their currents.
    among: Vec<f64>,
    amps: Vec<f64>,
}

impl Front {
    pub fn new(further: usize) -> Self {
        Self {
            to: vec![(0.0, 0.0); further],
            among: vec![0.0; further * further],
            amps: vec![0.0; further],
            ..Self::default()
        }
    }

    pub fn draws(&mut self, amps: f64, siemens: f64) {
        self.jp += amps;
        self.jm -= amps;
        self.pp += siemens;
        self.mm += siemens;
        self.pm -= siemens;
    }

    /// Joins a lead whose supply has its minus at a known voltage, `zero`.
    pub fn fed(&mut self, lead: &SolvedLead, zero: f64) {
        let siemens = 1.0 / lead.ohms.max(LEAST_OHMS);
        self.pp += siemens;
        self.mm += siemens;
        self.jp -= siemens * (zero + lead.volts);
        self.jm -= siemens * zero;
    }

    /// Joins a lead whose supply is a further point.
    pub fn fed_by(&mut self, lead: &SolvedLead, further: usize) {
        let siemens = 1.0 / lead.ohms.max(LEAST_OHMS);
        self.fed(lead, 0.0);
        let diagonal = further * self.to.len() + further;
        if let Some(to) = self.to.get_mut(further) {
            *to = (to.0 - siemens, to.1 - siemens);
        }
        if let Some(own) = self.among.get_mut(diagonal) {
            *own += 2.0 * siemens;
        }
        if let Some(amps) = self.amps.get_mut(further) {
            *amps += siemens * lead.volts;
        }
    }

    /// Puts a segment of both conductors before it.
    pub fn series(&mut self, plus: f64, minus: f64) {
        let det = self.pp * self.mm - self.pm * self.pm;
        let over = 1.0 / nonzero(1.0 + self.pp * plus + self.mm * minus + det * plus * minus);
        let (a, b) = ((1.0 + self.mm * minus) * over, -self.pm * minus * over);
        let (c, d) = (-self.pm * plus * over, (1.0 + self.pp * plus) * over);
        if !self.to.is_empty() {
            self.series_further((plus, minus), (a, b, c, d));
        }
        let (jp, jm) = (self.jp, self.jm);
        (self.jp, self.jm) = (a * jp + b * jm, c * jp + d * jm);
        self.pp = (self.pp + det * minus) * over;
        self.mm = (self.mm + det * plus) * over;
        self.pm *= over;
    }

    fn series_further(&mut self, ohms: (f64, f64), (a, b, c, d): (f64, f64, f64, f64)) {
        let before = self.to.clone();
        for to in &mut self.to {
            *to = (a * to.0 + b * to.1, c * to.0 + d * to.1);
        }
        let rows = self.among.chunks_exact_mut(before.len());
        for ((to, row), amps) in self.to.iter().zip(rows).zip(&mut self.amps) {
            let (plus, minus) = (to.0 * ohms.0, to.1 * ohms.1);
            *amps -= plus * self.jp + minus * self.jm;
            for (entry, other) in row.iter_mut().zip(&before) {
                *entry -= plus * other.0 + minus * other.1;
            }
        }
    }

    /// Ends its plus here.
    pub fn cut(&mut self) {
        if self.pp.abs() > f64::MIN_POSITIVE {
            let before = self.to.clone();
            let rows = self.among.chunks_exact_mut(before.len().max(1));
            for ((to, row), amps) in self.to.iter_mut().zip(rows).zip(&mut self.amps) {
                let share = to.0 / self.pp;
                to.1 -= share * self.pm;
                *amps -= share * self.jp;
                for (entry, other) in row.iter_mut().zip(&before) {
                    *entry -= share * other.0;
                }
            }
            self.mm -= self.pm * self.pm / self.pp;
            self.jm -= self.pm * self.jp / self.pp;
        }
        self.to.iter_mut().for_each(|to| to.0 = 0.0);
        (self.pp, self.pm, self.jp) = (0.0, 0.0, 0.0);
    }

    /// Adds the further point at place `at` of `supplies` to a mesh.
    pub fn join(
        &self,
        at: usize,
        (bus, ground): (Option<usize>, usize),
        supplies: &[usize],
        mesh: &mut Mesh,
    ) {
        let Some(&supply) = supplies.get(at) else { return };
        let (plus, minus) = self.to.get(at).copied().unwrap_or_default();
        if let Some(bus) = bus {
            mesh.add(supply, bus, plus);
        }
        mesh.add(supply, ground, minus);
        mesh.flow(supply, self.amps.get(at).copied().unwrap_or(0.0));
        let row = self.among.chunks_exact(supplies.len()).nth(at);
        for (other, siemens) in supplies.iter().zip(row.unwrap_or(&[])) {
            // Each pair is added once: `Mesh::add` enters the mirror image.
            if *other >= supply {
                mesh.add(supply, *other, *siemens);
            }
        }
    }
}

/// A divisor that is not 0.
fn nonzero(value: f64) -> f64 {
    if value.abs() < 1e-12 { 1e-12 } else { value }
}

/// What the way back keeps of a front for the walk forward.
#[derive(Clone, Copy, Debug)]
pub struct Kept {
    pub pp: f64,
    pub pm: f64,
    pub mm: f64,
    pub jp: f64,
    pub jm: f64,
}

impl Kept {
    pub fn of(front: &Front) -> Self {
        Self { pp: front.pp, pm: front.pm, mm: front.mm, jp: front.jp, jm: front.jm }
    }

    /// The currents into it at these voltages.
    pub fn flow(&self, plus: f64, minus: f64) -> Pair {
        Pair {
            plus: self.jp + self.pp * plus + self.pm * minus,
            minus: -(self.jm + self.pm * plus + self.mm * minus),
        }
    }
}

/// The voltage of a plus that begins at a cut, where no current flows into it.
#[must_use]
pub fn floating(beyond: Option<Kept>, minus: f64) -> f64 {
    let beyond = beyond.filter(|beyond| beyond.pp.abs() > f64::MIN_POSITIVE);
    beyond.map_or(minus, |beyond| -(beyond.jp + beyond.pm * minus) / beyond.pp)
}
