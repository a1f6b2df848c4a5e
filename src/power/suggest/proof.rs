//! All sets of a size for a single line, and how many sites a line needs at least.
//!
//! Two bounds keep the search short. No point has more than the highest voltage of a supply. So if
//! nodes up to the next site fail even where that site has all of it, they fail with every further
//! site too. And after each point some number of sites is needed at least: for the voltage, with
//! the full voltage at each site, and for the current that is drawn there.

use super::bus::Bus;
use super::search::{ONLY, Search, Steps};
use super::wire::{Feed, Flow, Norton, Wire, room};

/// The result of trying all sets of a size.
pub enum Tried {
    /// One holds.
    Found(Vec<usize>),
    /// None holds.
    None,
    /// Not all could be tried.
    NotAll,
}

/// How far along the line a set has been placed.
#[derive(Clone, Copy)]
struct Reached {
    /// What is on the port's side of `point`.
    norton: Norton,
    /// The last point that is fed: `norton` holds there.
    point: usize,
    /// The first site that may still be chosen.
    site: usize,
    /// The next of the feeds that the line has already.
    fixed: usize,
}

/// How many sites a line needs at least, whatever the others have.
pub struct Bounds<'a> {
    wire: &'a Wire,
    sites: &'a [Feed],
    /// The highest voltage of any supply.
    volts: f64,
    /// For each site: how many more are needed if it is the last one so far.
    need: Vec<usize>,
    /// How many are needed in all.
    pub least: usize,
}

impl<'a> Bounds<'a> {
    /// The bounds of a line of a bus.
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
            // The current on from here and what further feeds give must cover what is drawn there.
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
        // Where the line has feeds after this point, voltage gives no bound.
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

/// The search through all sets of a size for a single line.
pub struct Proof<'a> {
    search: &'a Search<'a>,
    /// The least number of sites: no smaller set holds.
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

    /// Looks for a set of a size that holds.
    pub fn any(&mut self, count: usize, steps: &mut Steps) -> Tried {
        self.chosen.clear();
        let start = Reached { norton: self.left, point: 0, site: 0, fixed: 0 };
        match self.deeper(count, start, steps) {
            Some(true) => Tried::Found(self.chosen.clone()),
            Some(false) => Tried::None,
            None => Tried::NotAll,
        }
    }

    /// Whether a set that begins with the chosen sites holds; `None` if the steps ran out.
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
