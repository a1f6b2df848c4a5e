//! All sets of a size for a single line, and how many sites a line needs at least.
//!
//! Two bounds keep it short. No point has more than the voltage of the supplies, so what fails between a set's last site
//! and the next one when that one has all of it fails with any further site too. And from each point on there is a
//! number of sites that are needed at least: with the full voltage at each of them, and for the current that is drawn
//! there.

use super::bus::Bus;
use super::search::{ONLY, Search, Steps};
use super::wire::{Feed, Flow, Norton, Wire, room};

/// What came of trying all sets of a size.
pub enum Tried {
    /// One holds.
    Found(Vec<usize>),
    /// None holds.
    None,
    /// Not all could be tried.
    NotAll,
}

/// How far a set has come along the line.
#[derive(Clone, Copy)]
struct Reached {
    /// What is on the port's side of the point.
    norton: Norton,
    /// The last point that is fed.
    point: usize,
    /// The next site.
    site: usize,
    /// The next feed that is there already.
    fixed: usize,
}

/// How many sites a line needs at least, whatever the others have.
pub struct Bounds<'a> {
    wire: &'a Wire,
    sites: &'a [Feed],
    /// The highest voltage of any supply.
    volts: f64,
    /// For each site, how many more are needed where it is the last one so far.
    need: Vec<usize>,
    /// How many are needed in all.
    pub least: usize,
}

impl<'a> Bounds<'a> {
    /// Of a line of a bus.
    #[must_use]
    pub fn new(bus: &Bus, wire: &'a Wire, sites: &'a [Feed]) -> Self {
        let trunk = bus.trunk.map(|trunk| trunk.source.amps / trunk.source.siemens);
        let feeds = wire.fixed.iter().chain(sites).map(|feed| feed.volts);
        let mut bounds = Self {
            wire,
            sites,
            volts: feeds.chain(trunk).fold(0.0, f64::max),
            need: vec![0; sites.len()],
            least: 0,
        };
        for (at, site) in sites.iter().enumerate().rev() {
            // What flows on from here and what the rest give is at least what is drawn there.
            let need = bounds.needed(site.at, wire.most_after(site.at));
            if let Some(entry) = bounds.need.get_mut(at) {
                *entry = need;
            }
        }
        let trunk = bus.trunk.map_or(0.0, |trunk| trunk.most);
        let port = trunk.min(wire.port).min(wire.most_after(0));
        bounds.least = bounds.needed(0, port);
        bounds
    }

    /// How many sites are needed after a point that has the full voltage and gives `given` amperes.
    fn needed(&self, at: usize, given: f64) -> usize {
        let fixed = self.wire.fixed.iter().filter(|feed| feed.at >= at);
        let given: f64 = given + fixed.map(|feed| feed.most).sum::<f64>();
        let each = self.sites.first().map_or(0.0, |site| site.most);
        let drawn = self.wire.beyond(at) / self.wire.limits - given;
        let by_amps = (drawn / each.max(1e-3) - 1e-9).ceil().max(0.0) as usize;
        self.by_volts(at).max(by_amps)
    }

    fn by_volts(&self, at: usize) -> usize {
        // With feeds between, voltage says nothing here.
        let fixed = self.wire.fixed.iter().any(|feed| feed.at >= at);
        if fixed || self.wire.can_end(at, self.volts) {
            return 0;
        }
        let next = self.sites.partition_point(|site| site.at <= at);
        let spans = |to: &Feed| self.wire.can_span(at, to.at, self.volts);
        let after = self.sites.get(next..).unwrap_or(&[]);
        let last = next + after.partition_point(spans).max(1) - 1;
        1 + self.need.get(last).copied().unwrap_or(0)
    }
}

/// All sets of a size for a single line.
pub struct Proof<'a> {
    search: &'a Search<'a>,
    /// What no set goes below.
    pub bounds: Bounds<'a>,
    left: Norton,
    chosen: Vec<usize>,
    flow: Flow,
    feeds: Vec<Feed>,
}

impl<'a> Proof<'a> {
    /// For the only line of a search.
    #[must_use]
    pub fn new(search: &'a Search<'a>) -> Self {
        let bus = search.hardest;
        Self {
            search,
            bounds: Bounds::new(bus, &bus.lines[ONLY], &search.sites[ONLY]),
            left: bus.source(),
            chosen: Vec::new(),
            flow: Flow::default(),
            feeds: Vec::new(),
        }
    }

    /// A set of a size that holds.
    pub fn any(&mut self, count: usize, steps: &mut Steps) -> Tried {
        self.chosen.clear();
        let start = Reached { norton: self.left, point: 0, site: 0, fixed: 0 };
        match self.deeper(count, start, steps) {
            Some(true) => Tried::Found(self.chosen.clone()),
            Some(false) => Tried::None,
            None => Tried::NotAll,
        }
    }

    /// Whether a set that begins with the chosen ones holds; `None` where work ran out.
    fn deeper(&mut self, count: usize, mut now: Reached, steps: &mut Steps) -> Option<bool> {
        if count == 0 {
            return Some(self.holds());
        }
        let wire = self.bounds.wire;
        for (index, site) in self.bounds.sites.iter().enumerate().skip(now.site) {
            if !steps.take(1) {
                return None;
            }
            while let Some(feed) = wire.fixed.get(now.fixed).filter(|feed| feed.at <= site.at) {
                now.norton = wire.through(now.norton, now.point, feed.at).with(feed);
                (now.point, now.fixed) = (feed.at, now.fixed + 1);
            }
            if !wire.can_reach(now.norton, now.point, site.at, self.bounds.volts) {
                return Some(false);
            }
            if self.bounds.need.get(index) > Some(&(count - 1)) {
                continue;
            }
            self.chosen.push(index);
            let after = Reached {
                norton: wire.through(now.norton, now.point, site.at).with(site),
                point: site.at,
                site: index + 1,
                fixed: now.fixed,
            };
            if self.deeper(count - 1, after, steps)? {
                return Some(true);
            }
            self.chosen.pop();
        }
        Some(false)
    }

    /// Whether the chosen set holds at every level.
    fn holds(&mut self) -> bool {
        let search = self.search;
        let mut feeds = std::mem::take(&mut self.feeds);
        let holds = search.levels.iter().all(|bus| {
            search.merged(ONLY, &self.chosen, bus, &mut feeds);
            let wire = &bus.lines[ONLY];
            wire.flow(bus.source(), &feeds, search.need, &mut self.flow);
            let trunk = bus.trunk.map_or(f64::INFINITY, |trunk| trunk.most * wire.limits);
            let slack = self.flow.slack.min(room(self.flow.port, trunk));
            slack >= search.need
        });
        self.feeds = feeds;
        holds
    }
}
