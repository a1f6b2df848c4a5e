//! A line as cumulative sums: the part between two feeds takes the same time to compute, however
//! many nodes it has.
//!
//! Every node draws a constant current here, and plus and minus count as one loop. So the network
//! is linear, and the part of it on one side of a point is a current source with a conductance
//! (Norton's theorem). Voltages are in volts, currents in amperes, resistances in ohm, conductances
//! in siemens.

/// The least current of an added feed, in amperes: below 1 mA it feeds nothing. A tenth more keeps
/// it clear of rounding.
const LEAST_AMPS: f64 = 0.001_1;

/// A row of equal points.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Segment {
    /// Its first point.
    pub first: usize,
    /// Its last point.
    pub last: usize,
    /// The least voltage that its nodes need; `None` where they need none.
    pub floor: Option<f64>,
    /// The most that its conductor may carry for hours, in amperes.
    pub most: f64,
}

/// A supply that feeds a point through a lead.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Feed {
    /// The point: 0 for the start of the line.
    pub at: usize,
    /// The voltage of its supply.
    pub volts: f64,
    /// The conductance of its lead.
    pub siemens: f64,
    /// The most that it may carry for hours, in amperes.
    pub most: f64,
    /// Whether it would be added, and so must feed something.
    pub new: bool,
}

/// What is on the port's side of a point, as a source that gives `amps - siemens * volts`.
#[derive(Clone, Copy, PartialEq, Debug, Default)]
pub struct Norton {
    /// The current at 0 V.
    pub amps: f64,
    /// The conductance.
    pub siemens: f64,
}

/// What lies between two points.
#[derive(Clone, Copy)]
struct Gap {
    ohms: f64,
    /// The sum of each current drawn in it times the resistance from there to its far end, in
    /// volts.
    drop: f64,
    /// What is drawn in it.
    amps: f64,
}

/// A line.
#[derive(Clone, PartialEq, Debug, Default)]
pub struct Wire {
    /// The resistance from the start up to each point.
    ohms: Vec<f64>,
    /// What is drawn up to each point.
    amps: Vec<f64>,
    /// Up to each point, the sum of each current times its resistance from the start.
    moments: Vec<f64>,
    /// Its rows of points, in order.
    pub pieces: Vec<Segment>,
    /// The feeds that it has already, by point.
    pub fixed: Vec<Feed>,
    /// The most that its port may carry for hours, in amperes.
    pub port: f64,
    /// The voltage that counts as full slack over a floor: what the line is made for, less the
    /// floor.
    pub scale: f64,
    /// What the limits of fuses and conductors are multiplied by: more than 1 at full level, where
    /// their whole rating counts.
    pub limits: f64,
}

/// The solved state of a line.
#[derive(Clone, Debug, Default)]
pub struct Flow {
    /// The least slack of anything, as a share of its limit; below 0 where something is over. An
    /// added feed also counts with its current over the least one; where that is below 0, in
    /// amperes.
    pub slack: f64,
    /// The current out of the port.
    pub port: f64,
    /// The voltage at its start.
    pub start: f64,
    /// What each feed gives.
    pub feeds: Vec<f64>,
    stations: Vec<Norton>,
}

fn item(values: &[f64], at: usize) -> f64 {
    values.get(at).copied().unwrap_or(0.0)
}

impl Wire {
    /// A line without points.
    #[must_use]
    pub fn new() -> Self {
        Self {
            ohms: vec![0.0],
            amps: vec![0.0],
            moments: vec![0.0],
            port: f64::INFINITY,
            scale: 1.0,
            limits: 1.0,
            ..Self::default()
        }
    }

    /// Appends equal points, each with the resistance before it and what it draws.
    pub fn push(&mut self, count: u32, (ohms, amps): (f64, f64), floor: Option<f64>, most: f64) {
        let first = self.ohms.len();
        for _ in 0..count {
            let far = item(&self.ohms, self.ohms.len() - 1) + ohms;
            let drawn = item(&self.amps, self.amps.len() - 1) + amps;
            let moment = item(&self.moments, self.moments.len() - 1) + amps * far;
            self.ohms.push(far);
            self.amps.push(drawn);
            self.moments.push(moment);
        }
        if count > 0 {
            self.pieces.push(Segment { first, last: self.ohms.len() - 1, floor, most });
        }
    }

    /// Its last point.
    #[must_use]
    pub fn end(&self) -> usize {
        self.ohms.len() - 1
    }

    /// What is drawn after a point, in amperes.
    #[must_use]
    pub fn beyond(&self, at: usize) -> f64 {
        item(&self.amps, self.end()) - item(&self.amps, at)
    }

    /// The most that the conductor after a point may carry for hours.
    #[must_use]
    pub fn most_after(&self, at: usize) -> f64 {
        let piece = self.pieces.partition_point(|piece| piece.last <= at);
        self.pieces.get(piece).map_or(0.0, |piece| piece.most)
    }

    fn gap(&self, from: usize, to: usize) -> Gap {
        let amps = item(&self.amps, to) - item(&self.amps, from);
        let far = item(&self.ohms, to);
        Gap {
            ohms: far - item(&self.ohms, from),
            drop: far * amps - (item(&self.moments, to) - item(&self.moments, from)),
            amps,
        }
    }

    /// What is on the port's side of point `to`, from what is on that side of point `from`.
    #[must_use]
    pub fn through(&self, before: Norton, from: usize, to: usize) -> Norton {
        let gap = self.gap(from, to);
        let shrink = 1.0 + before.siemens * gap.ohms;
        Norton {
            amps: (before.amps + before.siemens * gap.drop) / shrink - gap.amps,
            siemens: before.siemens / shrink,
        }
    }

    /// What the line takes at its start: `amps + siemens * volts`.
    #[must_use]
    pub fn seen(&self, feeds: &[Feed]) -> Norton {
        let (mut amps, mut siemens, mut at) = (0.0, 0.0, self.end());
        let through = |amps: &mut f64, siemens: &mut f64, from: usize, to: usize| {
            let gap = self.gap(from, to);
            let shrink = 1.0 + *siemens * gap.ohms;
            *amps = (gap.amps + *amps + *siemens * gap.drop) / shrink;
            *siemens /= shrink;
        };
        for feed in feeds.iter().rev() {
            through(&mut amps, &mut siemens, feed.at, at);
            amps -= feed.volts * feed.siemens;
            siemens += feed.siemens;
            at = feed.at;
        }
        through(&mut amps, &mut siemens, 0, at);
        Norton { amps, siemens }
    }

    /// Solves it with all its feeds, old and new, by point. Stops early once the slack is below
    /// `enough`.
    pub fn flow(&self, left: Norton, feeds: &[Feed], enough: f64, flow: &mut Flow) {
        flow.stations.clear();
        flow.stations.push(left);
        let (mut now, mut at) = (left, 0);
        for feed in feeds {
            now = self.through(now, at, feed.at).with(feed);
            at = feed.at;
            flow.stations.push(now);
        }
        flow.feeds.clear();
        flow.feeds.resize(feeds.len(), 0.0);
        flow.slack = f64::INFINITY;
        let mut amps = self.beyond(at);
        if now.siemens <= 0.0 {
            flow.slack = f64::NEG_INFINITY;
            return;
        }
        let mut volts = (now.amps - amps) / now.siemens;
        let mut to = self.end();
        for station in (0..=feeds.len()).rev() {
            let feed = station.checked_sub(1).and_then(|at| feeds.get(at));
            let from = feed.map_or(0, |feed| feed.at);
            flow.slack = flow.slack.min(self.between(from, to, volts, amps));
            let gives = feed.map_or(0.0, |feed| (feed.volts - volts) * feed.siemens);
            if let Some(feed) = feed {
                flow.slack = flow.slack.min(self.feed_slack(feed, gives));
                if let Some(entry) = flow.feeds.get_mut(station - 1) {
                    *entry = gives;
                }
            }
            if flow.slack < enough {
                return;
            }
            if station == 0 {
                (flow.port, flow.start) = (amps, volts);
                flow.slack = flow.slack.min(room(amps, self.port * self.limits));
                return;
            }
            let before = flow.stations.get(station - 1).copied().unwrap_or_default();
            let start = station.checked_sub(2).and_then(|at| feeds.get(at));
            let start = start.map_or(0, |feed| feed.at);
            (volts, amps) = self.back(before, start, from, volts);
            to = from;
        }
    }

    /// The voltage at a point and the current after it, from the voltage at a later one.
    fn back(&self, before: Norton, from: usize, to: usize, volts: f64) -> (f64, f64) {
        let gap = self.gap(from, to);
        let shrink = 1.0 + before.siemens * gap.ohms;
        let amps = (before.amps + before.siemens * (gap.drop - volts)) / shrink;
        (volts + gap.ohms * amps - gap.drop, amps)
    }

    fn feed_slack(&self, feed: &Feed, gives: f64) -> f64 {
        let within = room(gives, feed.most * self.limits);
        let over = gives - LEAST_AMPS;
        let over = if over > 0.0 { over / LEAST_AMPS } else { over };
        if feed.new { within.min(over) } else { within }
    }

    /// The least slack between two points, from the voltage at the first and the current after it.
    fn between(&self, from: usize, to: usize, volts: f64, amps: f64) -> f64 {
        let mut slack = f64::INFINITY;
        let skip = self.pieces.partition_point(|piece| piece.last <= from);
        for piece in self.pieces.iter().skip(skip) {
            if piece.first > to {
                break;
            }
            let (first, last) = (piece.first.max(from + 1), piece.last.min(to));
            if first > last {
                continue;
            }
            let into = |at: usize| amps - (item(&self.amps, at - 1) - item(&self.amps, from));
            let most = piece.most * self.limits;
            slack = slack.min(room(into(first), most)).min(room(into(last), most));
            if let Some(floor) = piece.floor {
                let low = self.low(from, (first, last), volts, amps);
                slack = slack.min((low - floor) / self.scale);
            }
        }
        slack
    }

    /// The lowest voltage from point `first` to `last`. The voltage falls as long as current flows
    /// on, and rises after that.
    fn low(&self, from: usize, (first, last): (usize, usize), volts: f64, amps: f64) -> f64 {
        let spent = item(&self.amps, from) + amps;
        let drawn = self.amps.get(first..last).unwrap_or(&[]);
        let at = first + drawn.partition_point(|drawn| *drawn < spent);
        let gap = self.gap(from, at);
        volts - amps * gap.ohms + gap.drop
    }

    /// Whether the nodes between two points keep their floor if the far one has at most `volts`,
    /// from what is on the port's side of the first.
    #[must_use]
    pub fn can_reach(&self, before: Norton, from: usize, to: usize, volts: f64) -> bool {
        let (start, amps) = self.back(before, from, to, volts);
        self.volts_hold(from, to, start, amps)
    }

    /// The same if both points have `volts`, whatever feeds the first.
    #[must_use]
    pub fn can_span(&self, from: usize, to: usize, volts: f64) -> bool {
        let gap = self.gap(from, to);
        let amps = if gap.ohms > 0.0 { gap.drop / gap.ohms } else { gap.amps };
        self.volts_hold(from, to, volts, amps)
    }

    /// The same if the first point has `volts` and nothing feeds the line after it.
    #[must_use]
    pub fn can_end(&self, from: usize, volts: f64) -> bool {
        self.volts_hold(from, self.end(), volts, self.beyond(from))
    }

    fn volts_hold(&self, from: usize, to: usize, volts: f64, amps: f64) -> bool {
        let skip = self.pieces.partition_point(|piece| piece.last <= from);
        let pieces = self.pieces.iter().skip(skip);
        pieces.take_while(|piece| piece.first <= to).all(|piece| {
            let (first, last) = (piece.first.max(from + 1), piece.last.min(to));
            let low = || self.low(from, (first, last), volts, amps);
            first > last || piece.floor.is_none_or(|floor| low() >= floor)
        })
    }
}

impl Norton {
    /// The same source with a feed at this point.
    #[must_use]
    pub fn with(self, feed: &Feed) -> Self {
        Self { amps: self.amps + feed.volts * feed.siemens, siemens: self.siemens + feed.siemens }
    }
}

/// The slack of a current, in either direction: what is left of its limit, as a share of that.
#[must_use]
pub fn room(amps: f64, most: f64) -> f64 {
    if most.is_finite() { 1.0 - amps.abs() / most.max(1e-9) } else { f64::INFINITY }
}

#[cfg(test)]
mod tests {
    use super::{Feed, Wire};

    /// The room that is asked for is a share, and a feed of 20 mA is far over the least one.
    #[test]
    fn a_small_feed_is_no_small_slack() {
        let feed = Feed { at: 0, volts: 5.0, siemens: 1.0, most: 4.0, new: true };
        assert!(Wire::new().feed_slack(&feed, 0.02) > 0.15);
        assert!(Wire::new().feed_slack(&feed, 0.001) < 0.0);
    }
}
