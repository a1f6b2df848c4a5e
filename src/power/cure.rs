//! What would help a line whose nodes get too little: where to inject, which thicker lead, which lower level.
//!
//! Each answer is tried by solving all that it is joined to before it is given.

use super::fewest::{Outcome, fewest};
use super::net::{FULL, Group, Nets, Site, Stretch, trunk};
use super::places::{Place, close, natural};
use super::solve::{Draw, LEAST_OHMS, Ladder, Point, Solved, Source, solve};
use super::study::{micro, solved};
use crate::cable::{capacity, thicker};
use crate::loads::{Cure, LASTING, Remedy};
use crate::model::{FeedLead, Model, Told};
use crate::source::Span;
use crate::unit::Gauge;

/// Fuses that are made, in microamperes.
const FUSES: [i64; 9] = [
    1_000_000, 2_000_000, 3_000_000, 5_000_000, 7_500_000, 10_000_000, 15_000_000, 20_000_000,
    25_000_000,
];

/// A line of a group, with all that it is joined to by itself.
pub struct Line<'a> {
    model: &'a Model,
    nets: Nets,
    group: Group,
    index: usize,
}

impl<'a> Line<'a> {
    /// A stretch of a group; its nodes and those of its group at `all` (thousandths of a percent), where that is said.
    #[must_use]
    pub fn new(
        model: &'a Model,
        nets: &Nets,
        group: &Group,
        stretch: usize,
        all: Option<u32>,
    ) -> Self {
        let index = group
            .members
            .iter()
            .position(|index| *index == stretch)
            .unwrap_or(0);
        let members = group
            .members
            .iter()
            .filter_map(|index| nets.stretches.get(*index));
        let mut stretches: Vec<Stretch> = members.cloned().collect();
        for stretch in &mut stretches {
            stretch.level = stretch.level(all);
        }
        Self {
            model,
            group: Group {
                members: (0..stretches.len()).collect(),
                ..group.clone()
            },
            nets: Nets::new(nets.makes.clone(), stretches, Vec::new()),
            index,
        }
    }

    /// Everything that would help.
    #[must_use]
    pub fn cure(&mut self) -> Cure {
        Cure {
            inject: self
                .injections()
                .into_iter()
                .map(|found| found.remedy)
                .collect(),
            lead: self.thicker_lead(),
            level: self.lower_level(),
        }
    }

    fn stretch(&self) -> Option<&Stretch> {
        self.nets.stretches.get(self.index)
    }

    /// The fewest injections with which it holds, all from the supply that it has: its fuses too where that can be, and
    /// else its voltage alone. None where nothing helps.
    #[must_use]
    pub fn injections(&mut self) -> Vec<Found> {
        let Some(lead) = self.usual_lead() else {
            return Vec::new();
        };
        let gauges: Vec<Gauge> = std::iter::once(lead.gauge)
            .chain(thicker(lead.gauge))
            .collect();
        for fuses in [true, false] {
            for gauge in &gauges {
                let lead = FeedLead {
                    gauge: *gauge,
                    ..lead
                };
                let found = self.best_places(lead, fuses).unwrap_or_default();
                if !found.is_empty() && self.holds_with(&found) {
                    let with_remedy = |one: &Chosen| Found {
                        site: one.site,
                        remedy: self.remedy(one),
                    };
                    return found.iter().map(with_remedy).collect();
                }
            }
        }
        Vec::new()
    }

    /// The lead that its power comes through now, without a fuse.
    fn usual_lead(&self) -> Option<FeedLead> {
        let first = self.stretch()?.sites.first().map(|site| site.lead);
        let lead = self.group.lead.or(first)?;
        Some(FeedLead { fuse: None, ..lead })
    }

    /// Ends and strands are where a person looks first; other nodes only where that saves an injection.
    fn best_places(&self, lead: FeedLead, fuses: bool) -> Option<Vec<Chosen>> {
        let stretch = self.stretch()?;
        let makes = &self.nets.makes;
        let plain = self.fewest(&natural(self.model, makes, stretch), lead, fuses);
        if plain.as_ref().is_some_and(|plain| plain.len() == 1) {
            return plain;
        }
        let fine = self.fewest(&close(makes, stretch), lead, fuses);
        match (plain, fine) {
            (Some(plain), Some(fine)) if fine.len() < plain.len() => Some(fine),
            (plain, fine) => plain.or(fine),
        }
    }

    /// The fewest of some places with which the line holds while all else that it is joined to draws what it draws now.
    fn fewest(&self, places: &[Place], lead: FeedLead, fuses: bool) -> Option<Vec<Chosen>> {
        let stretch = self.stretch()?;
        let base = stretch.ladder(self.model, &self.nets.makes, stretch.level);
        let (feed, others) = self.others()?;
        let chosen: Vec<Chosen> = places
            .iter()
            .map(|place| Chosen::new(*place, lead))
            .collect();
        let taps: Vec<_> = chosen
            .iter()
            .filter_map(|one| stretch.tap(self.model, &one.site))
            .collect();
        let try_out = |sites: &[usize]| {
            let mut ladder = base.clone();
            ladder
                .taps
                .extend(sites.iter().filter_map(|at| taps.get(*at)));
            ladder.taps.sort_by_key(|tap| tap.at);
            let mut ladders = vec![ladder];
            if feed.is_some() {
                ladders.push(others.clone());
            }
            let (mut solved, _) = solve(feed, &ladders);
            (ladders.swap_remove(0), solved.swap_remove(0))
        };
        let most = capacity(lead.gauge).most_ua;
        let found = fewest(taps.len(), |sites| {
            let (ladder, solved) = try_out(sites);
            let mut outcome = outcome(&ladder, &solved);
            let through = sites
                .iter()
                .filter_map(|at| taps.get(*at))
                .map(|tap| flow(tap, &solved));
            outcome.holds &= through.into_iter().all(|ua| lasts(ua, most));
            if fuses {
                let fuse = stretch.fuse.map_or(i64::MAX, |fuse| fuse.value);
                outcome.holds &= lasts(micro(solved.amps.abs()), fuse);
                outcome.holds &= stretch.sites.iter().zip(&base.taps).all(|(site, tap)| {
                    let fuse = site.lead.fuse.map_or(i64::MAX, |fuse| fuse.value);
                    lasts(flow(tap, &solved), fuse)
                });
            }
            outcome
        })?;
        let (_, solved) = try_out(&found);
        let with_flow = |at: usize| {
            let (one, tap) = chosen.get(at).zip(taps.get(at))?;
            Some(Chosen {
                ua: flow(tap, &solved),
                ..*one
            })
        };
        Some(found.into_iter().filter_map(with_flow).collect())
    }

    /// The trunk, and one ladder that stands for all other lines of the group.
    fn others(&self) -> Option<(Option<Source>, Ladder)> {
        let feed = trunk(self.model, &self.nets, &self.group);
        let parts = solved(self.model, &self.nets, &self.group, None)?;
        let mine = self
            .member_parts(&parts)
            .find(|(index, _)| *index == self.index);
        let all: f64 = parts.iter().map(|part| part.solved.amps).sum();
        let draw = Draw {
            amps: (all - mine.map_or(0.0, |(_, part)| part.solved.amps)).max(0.0),
            watts: 0.0,
            floor: 0.1,
        };
        let others = Ladder {
            points: vec![Point { ohms: 0.0, draw }],
            taps: Vec::new(),
        };
        Some((feed, others))
    }

    fn member_parts<'p>(
        &'p self,
        parts: &'p [super::study::Part],
    ) -> impl Iterator<Item = (usize, &'p super::study::Part)> {
        let stretches = self.nets.stretches.iter().enumerate();
        let held = stretches.filter(|(_, stretch)| !stretch.left_out);
        held.map(|(index, _)| index).zip(parts)
    }

    /// Whether the line holds, all that it is joined to being solved with it.
    fn holds(&self) -> bool {
        let Some(parts) = solved(self.model, &self.nets, &self.group, None) else {
            return false;
        };
        let mut mine = self
            .member_parts(&parts)
            .filter(|(index, _)| *index == self.index);
        mine.next()
            .is_some_and(|(_, part)| outcome(&part.ladder, &part.solved).holds)
    }

    fn holds_with(&mut self, chosen: &[Chosen]) -> bool {
        let Some(stretch) = self.nets.stretches.get_mut(self.index) else {
            return false;
        };
        let before = stretch.sites.clone();
        stretch.sites.extend(chosen.iter().map(|one| one.site));
        stretch.sites.sort_by_key(|site| site.point);
        let holds = self.holds();
        if let Some(stretch) = self.nets.stretches.get_mut(self.index) {
            stretch.sites = before;
        }
        holds
    }

    /// The statement for a place, with a fuse: the smallest that lasts, or one that full level does not blow where the
    /// lead may have it.
    fn remedy(&self, chosen: &Chosen) -> Remedy {
        let level = self.stretch().map_or(FULL, |stretch| stretch.level.max(1));
        let full = i128::from(chosen.ua) * i128::from(FULL) / i128::from(level);
        let full = i64::try_from(full).unwrap_or(i64::MAX);
        let most = capacity(chosen.site.lead.gauge).most_ua;
        let lasting = FUSES.into_iter().filter(|fuse| lasts(chosen.ua, *fuse));
        let fuse = lasting.clone().find(|fuse| *fuse <= most && *fuse >= full);
        let fuse = fuse.or(lasting.into_iter().next());
        Remedy {
            string: chosen.site.string,
            place: chosen.place.at,
            lead: FeedLead {
                fuse: fuse.map(|value| Told {
                    value,
                    at: Span::default(),
                }),
                ..chosen.site.lead
            },
            ua: chosen.ua,
        }
    }

    /// The thinnest of the thicker conductors with which its `power` lead is enough.
    fn thicker_lead(&mut self) -> Option<Gauge> {
        let lead = self.group.lead?;
        let found = thicker(lead.gauge).find(|gauge| {
            self.group.lead = Some(FeedLead {
                gauge: *gauge,
                ..lead
            });
            self.holds()
        });
        self.group.lead = Some(lead);
        found
    }

    /// The highest whole percent at which it holds; `None` where not even 1 % does.
    fn lower_level(&mut self) -> Option<u32> {
        const PERCENT: u32 = 1_000;
        let now = self.stretch()?.level;
        let (mut good, mut bad) = (0, now.div_ceil(PERCENT));
        while bad - good > 1 {
            let middle = good.midpoint(bad);
            self.nets.stretches.get_mut(self.index)?.level = middle * PERCENT;
            if self.holds() {
                good = middle;
            } else {
                bad = middle;
            }
        }
        self.nets.stretches.get_mut(self.index)?.level = now;
        (good > 0).then_some(good * PERCENT)
    }
}

/// An injection that was found.
pub struct Found {
    /// As the solver has it.
    pub site: Site,
    /// As it is written.
    pub remedy: Remedy,
}

/// A place with the lead that would go there.
#[derive(Clone, Copy)]
struct Chosen {
    place: Place,
    site: Site,
    ua: i64,
}

impl Chosen {
    fn new(place: Place, lead: FeedLead) -> Self {
        // As long as the line runs to there, behind what leads to its start, in half metres.
        const STEP: i64 = 500_000;
        let far = lead.length_um.saturating_add(place.along_um).max(1);
        let length_um = (far.saturating_add(STEP - 1) / STEP).saturating_mul(STEP);
        Self {
            place,
            site: Site {
                injection: u32::MAX,
                string: place.string,
                after: 0,
                lead: FeedLead { length_um, ..lead },
                point: place.point,
                ohms: place.ohms,
            },
            ua: 0,
        }
    }
}

/// Whether a current may last behind a fuse or in a conductor.
fn lasts(ua: i64, most: i64) -> bool {
    i128::from(ua) * 100 <= i128::from(most) * i128::from(LASTING)
}

/// What flows through a tap, in microamperes.
fn flow(tap: &super::solve::Tap, solved: &Solved) -> i64 {
    let volts = solved.volts.get(tap.at).copied().unwrap_or(0.0);
    micro((tap.source.volts - volts) / tap.source.ohms.max(LEAST_OHMS))
}

fn outcome(ladder: &Ladder, solved: &Solved) -> Outcome {
    let mut outcome = Outcome {
        holds: true,
        reach: ladder.points.len(),
        margin: f64::INFINITY,
    };
    let rows = ladder.points.iter().zip(solved.volts.iter().skip(1));
    for (at, (point, volts)) in rows.enumerate() {
        if point.draw.amps <= 0.0 && point.draw.watts <= 0.0 {
            continue;
        }
        let over = volts - point.draw.floor;
        outcome.margin = outcome.margin.min(over);
        if over < 0.0 && outcome.holds {
            outcome.holds = false;
            outcome.reach = at;
        }
    }
    outcome
}
