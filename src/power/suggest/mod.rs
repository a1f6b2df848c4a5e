//! Where to feed a display in addition: the fewest points with which every node has its voltage and
//! nothing carries too much.
//!
//! Lines whose ports share a lead are searched together. [`search`] finds points on lines in the
//! form of [`wire`]. They are then made in a copy of the display, which is compiled as a whole
//! ([`trial`]). Only what brings no new finding is offered. Where the copy has one, the search is
//! repeated with more room to every limit.

mod bus;
mod places;
mod proof;
mod reasons;
mod search;
mod sites;
mod trial;
mod wire;

pub use sites::blade;
pub use trial::{Compile, Trial};

use super::net::{FULL, Group, Nets};
use super::sound;
use super::study::study;
use crate::cable::{capacity, thicker};
use crate::keyed::Keyed;
use crate::loads::{Because, From, Remedy, SectionId, Study, Suggestion, Verdict};
use crate::model::{FeedLead, Model, PowerFeed, Stated};
use crate::source::Span;
use crate::unit::{Dimension, Gauge, quantity};
use bus::{Bus, WireId};
use places::{Place, places};
use reasons::because;
use search::{Answer, Search, Steps, Work};
use sites::{feeds, group_bus, thinnest};
use wire::Feed;

/// The work that goes into one display, in steps of the search. An attempt gets at most half of
/// what is left.
const WORK: Work = Work { find: Steps(8_000_000), prove: Steps(3_000_000) };

/// The least number of copies that may be compiled, and the points that may be solved for all
/// copies together.
const LEAST_TRIALS: u64 = 8;
const MOST_SOLVED: u64 = 6_000_000;

/// Lines that share a lead and together have more points than this are not searched: what works is
/// far shorter.
const MOST_POINTS: u64 = 20_000;

/// The room that each attempt leaves to every limit, as a share of the limit.
const ROOMS: [f64; 5] = [0.0, 0.005, 0.02, 0.06, 0.15];

/// What is suggested for lines whose ports share a lead.
#[derive(Clone, Debug)]
pub struct Help {
    /// The lines, each with its statements.
    pub lines: Vec<(SectionId, Vec<Remedy>)>,
    /// How far it was searched, or why nothing is offered.
    pub verdict: Verdict,
}

impl Help {
    /// All statements.
    #[must_use]
    pub fn all(&self) -> Vec<Remedy> {
        let lines = self.lines.iter();
        lines.flat_map(|line| &line.1).copied().collect()
    }
}

/// Injections for all lines that need them, at the levels that the display allows or with all nodes
/// at `all` (thousandths of a percent). Where nothing helps, the reason.
#[must_use]
pub fn suggest(
    model: &Model,
    plan: &crate::plan::Plan,
    compile: &Compile<'_>,
    all: Option<u32>,
) -> Vec<Suggestion> {
    let nets = sound(model, plan);
    let before = study(model, &nets, all);
    let mut suggestions: Vec<(SectionId, Suggestion)> = Vec::new();
    for help in helps(model, &nets, &before, (compile, all), |_| true) {
        let points = help.all().len();
        let shared = help.lines.len();
        let mut first = true;
        for (id, inject) in help.lines {
            let because = because(model, &before, id);
            let refused = matches!(help.verdict, Verdict::Refused(_));
            if because == Because::Neighbour && (inject.is_empty() || refused) {
                continue;
            }
            let suggestion = Suggestion {
                section: before.sections[id],
                because,
                inject,
                verdict: help.verdict.clone(),
                points,
                shared,
                first: std::mem::take(&mut first),
            };
            suggestions.push((id, suggestion));
        }
    }
    suggestions.sort_by_key(|(id, _)| *id);
    suggestions.into_iter().map(|(_, one)| one).collect()
}

/// Help for the groups that need it and are wanted, by their first line.
#[must_use]
pub fn helps(
    model: &Model,
    nets: &Nets,
    before: &Study,
    (compile, all): (&Compile<'_>, Option<u32>),
    wanted: impl Fn(&Group) -> bool,
) -> Vec<Help> {
    let needs = |id: &SectionId| {
        before.sections[*id].from != From::Port && because(model, before, *id) != Because::Neighbour
    };
    let groups = nets.groups.iter().filter(|group| wanted(group));
    let needy =
        groups.map(|group| live(nets, group)).filter(|group| group.members.iter().any(needs));
    let mut drafts: Vec<Draft> = needy.map(|group| Draft::new(model, nets, group, all)).collect();
    if drafts.is_empty() {
        return Vec::new();
    }
    let points = nets.stretches.iter().map(|one| u64::from(one.points));
    let points: u64 = points.sum();
    let trials = (MOST_SOLVED / points.max(1)).max(LEAST_TRIALS);
    let trial = Trial::new(model, compile, u32::try_from(trials).unwrap_or(u32::MAX));
    let mut job = Job { trial, nets, all, work: WORK, known: Vec::new() };
    job.settle(&mut drafts);
    drafts.sort_by_key(|draft| draft.group.members.first().copied());
    drafts.into_iter().map(|draft| draft.help).collect()
}

/// Whether a group has more points than are searched.
#[must_use]
pub fn is_huge(nets: &Nets, group: &Group) -> bool {
    let points = nets.of(group).map(|stretch| u64::from(stretch.points));
    points.sum::<u64>() > MOST_POINTS
}

/// A group without the lines that are left out.
fn live(nets: &Nets, group: &Group) -> Group {
    let mut group = group.clone();
    group.members.retain(|id| !nets.stretches[*id].left_out);
    group
}

/// Why a changed copy is not offered.
enum Unclean {
    /// It has a new finding.
    Found(String),
    /// It still has nodes under their floor, on lines whose first nodes that draw are here.
    Dark(Vec<Span>),
}

const DARK: &str = "with it, some nodes still get too little";

/// The search for one display.
struct Job<'a> {
    trial: Trial<'a>,
    nets: &'a Nets,
    all: Option<u32>,
    work: Work,
    /// Earlier searches and their results, for groups that are alike.
    known: Vec<(Draft, Option<(Answer, FeedLead)>)>,
}

impl Job<'_> {
    /// Finds statements for each group, such that all groups together are clean.
    fn settle(&mut self, drafts: &mut [Draft]) {
        for draft in drafts.iter_mut() {
            self.next(draft);
        }
        // Mostly all are clean at once, or with more room where lines that share a ground lack
        // something.
        for _ in 0..=ROOMS.len() {
            let all: Vec<Remedy> = drafts.iter().flat_map(|draft| draft.help.all()).collect();
            let mut offers = drafts.iter().filter(|draft| !draft.help.all().is_empty());
            let strict = offers.all(Draft::strict);
            match self.clean(&all, drafts, strict) {
                Ok(()) => return,
                Err(Unclean::Found(_)) => break,
                Err(Unclean::Dark(places)) => {
                    for draft in drafts.iter_mut() {
                        if draft.is_at(self.nets, &places) {
                            draft.reason = Some(DARK.to_owned());
                            self.next(draft);
                        }
                    }
                }
            }
        }
        self.one_by_one(drafts);
    }

    /// Takes the statements of one group after the other: those that are clean with all taken
    /// before.
    fn one_by_one(&mut self, drafts: &mut [Draft]) {
        let mut taken: Vec<Remedy> = Vec::new();
        for draft in drafts {
            loop {
                let own = draft.help.all();
                if own.is_empty() {
                    break;
                }
                let with: Vec<Remedy> = taken.iter().chain(&own).copied().collect();
                let strict = draft.strict();
                match self.clean(&with, std::slice::from_ref(draft), strict) {
                    Ok(()) => {
                        taken = with;
                        break;
                    }
                    Err(Unclean::Found(reason)) => draft.reason = Some(reason),
                    Err(Unclean::Dark(_)) => draft.reason = Some(DARK.to_owned()),
                }
                self.next(draft);
            }
        }
    }

    /// Whether a copy with these statements has no new finding, and the groups have no node under
    /// its floor in it.
    fn clean(&mut self, all: &[Remedy], drafts: &[Draft], strict: bool) -> Result<(), Unclean> {
        let copy = self.trial.with(all);
        let Some((plan, findings)) = self.trial.compiled(&copy) else {
            return Err(Unclean::Found(
                "too much was tried already: add what is given here and ask again".into(),
            ));
        };
        let nets = sound(&copy, &plan);
        let after = study(&copy, &nets, self.all);
        let helped = drafts.iter().filter(|draft| !draft.help.all().is_empty());
        let lines = helped.flat_map(|draft| self.nets.of(&draft.group));
        let places: Vec<Span> = lines.filter_map(|stretch| stretch.at).collect();
        let dark = after.sections.iter().filter(|one| one.dark.is_some());
        let dark: Vec<Span> =
            dark.map(|section| section.at).filter(|at| places.contains(at)).collect();
        match self.trial.first_new(&findings, strict) {
            _ if !dark.is_empty() => Err(Unclean::Dark(dark)),
            Some(finding) => Err(Unclean::Found(format!("with it, {}", finding.message))),
            None => Ok(()),
        }
    }

    /// Searches the statements of the next attempt; where there is none, says why.
    fn next(&mut self, draft: &mut Draft) {
        while let Some((tier, need)) = draft.attempt() {
            draft.tried += 1;
            let known = self.known.iter().find(|known| known.0.is_like(draft));
            let found = match known {
                Some((other, found)) => {
                    (draft.least, draft.cut_short) = (other.least, other.cut_short);
                    found.clone()
                }
                None => {
                    let half = |steps: Steps| Steps(steps.0.div_ceil(2));
                    let mut work =
                        Work { find: half(self.work.find), prove: half(self.work.prove) };
                    let given = work;
                    let model = self.trial.model;
                    let found = draft.search(model, self.nets, (tier, need), &mut work);
                    self.work.find.0 -= given.find.0 - work.find.0;
                    self.work.prove.0 -= given.prove.0 - work.prove.0;
                    draft.cut_short |= work.find.0 == 0;
                    self.known.push((draft.clone(), found.clone()));
                    found
                }
            };
            match found {
                // The group lacks something that this search does not see, as where leads share a
                // ground.
                Some((answer, _)) if answer.count() == 0 => {}
                Some((answer, lead)) => {
                    draft.take(self.nets, &answer, lead);
                    return;
                }
                // Asking for more room finds nothing either.
                None => draft.skip_tier(),
            }
        }
        let reason = draft.reason.take();
        let reason = reason.unwrap_or_else(|| draft.why_not(self.trial.model, self.nets));
        draft.help.verdict = Verdict::Refused(reason);
        for line in &mut draft.help.lines {
            line.1.clear();
        }
    }
}

/// The search for one group.
#[derive(Clone)]
struct Draft {
    /// The lead that feeds it now, without a fuse.
    usual: Option<FeedLead>,

    group: Group,
    /// What must hold, by tier: first at full and at the allowed level, then at the allowed one
    /// alone.
    tiers: Vec<Vec<Bus>>,
    places: Keyed<WireId, Vec<Place>>,
    /// Whether plus and minus carry the same everywhere, and every draw is a constant current.
    exact: bool,
    tried: usize,
    /// Whether the search ran out of steps.
    cut_short: bool,
    /// The least number of points through leads of a gauge, where it is proven.
    least: Option<(usize, Gauge)>,
    help: Help,
    reason: Option<String>,
}

impl Draft {
    fn new(model: &Model, nets: &Nets, group: Group, all: Option<u32>) -> Self {
        let lines = || nets.of(&group);
        let own = group_bus(model, nets, &group, |stretch| stretch.level(all));
        let dimmed = all.is_none() && lines().any(|stretch| stretch.level < FULL);
        let full = dimmed.then(|| group_bus(model, nets, &group, |_| FULL)).flatten();
        let full = full.map(|mut full| {
            // At full level fuses and conductors may carry their whole rating.
            let wires = full.lines.iter_mut();
            wires.for_each(|wire| wire.limits = 1.25);
            full
        });
        let huge = is_huge(nets, &group);
        let mut tiers: Vec<Vec<Bus>> = Vec::new();
        if let Some(own) = own.filter(|_| !huge) {
            tiers.extend(full.map(|full| vec![full, own.clone()]));
            tiers.push(vec![own]);
        }
        let places = lines().map(|stretch| places(model, &nets.makes, stretch));
        let first = lines().next().and_then(|stretch| stretch.sites.first());
        let lead = group.lead(model).or(first.map(|site| site.lead));
        Self {
            usual: lead.map(|lead| FeedLead { fuse: None, ..lead }),
            places: places.collect(),
            exact: exact(model, nets, &group),
            tiers,
            tried: 0,
            cut_short: false,
            least: None,
            help: Help {
                lines: group.members.iter().map(|id| (*id, Vec::new())).collect(),
                verdict: Verdict::Found,
            },
            group,
            reason: None,
        }
    }

    fn attempt(&self) -> Option<(usize, f64)> {
        let (tier, room) = (self.tried / ROOMS.len(), self.tried % ROOMS.len());
        (tier < self.tiers.len()).then(|| (tier, ROOMS.get(room).copied().unwrap_or(0.0)))
    }

    /// Whether one of its lines has its first nodes that draw at one of these places.
    fn is_at(&self, nets: &Nets, places: &[Span]) -> bool {
        let mut own = nets.of(&self.group).filter_map(|stretch| stretch.at);
        own.any(|at| places.contains(&at))
    }

    fn skip_tier(&mut self) {
        self.tried = self.tried.next_multiple_of(ROOMS.len());
    }

    /// Whether the last attempt was to hold at every level.
    fn strict(&self) -> bool {
        self.tiers.len() < 2 || self.tried <= ROOMS.len()
    }

    /// Whether the search for another group is the same.
    fn is_like(&self, other: &Self) -> bool {
        let place = |place: &Place| (place.point, place.along_um, place.natural);
        let places = |draft: &Self| {
            let line = |line: &Vec<Place>| line.iter().map(place).collect::<Vec<_>>();
            draft.places.map(line)
        };
        let lead = |draft: &Self| {
            let lead = draft.usual?;
            Some((lead.supply, lead.length_um, lead.gauge))
        };
        (self.tried, self.exact) == (other.tried, other.exact)
            && lead(self) == lead(other)
            && self.tiers == other.tiers
            && places(self) == places(other)
    }

    /// The fewest points, through the thinnest leads with which the group holds: of the present
    /// gauge, or thicker.
    fn search(
        &mut self,
        model: &Model,
        nets: &Nets,
        (tier, need): (usize, f64),
        work: &mut Work,
    ) -> Option<(Answer, FeedLead)> {
        let usual = self.usual?;
        let levels = self.tiers.get(tier)?;
        let hardest = levels.first()?;
        for gauge in std::iter::once(usual.gauge).chain(thicker(usual.gauge)) {
            let lead = FeedLead { gauge, ..usual };
            let lines = nets.of(&self.group).zip(&self.places);
            let sites: Keyed<WireId, Vec<Feed>> =
                lines.map(|(stretch, places)| feeds(model, stretch, places, lead)).collect();
            let natural = |places: &Vec<Place>| places.iter().map(|p| p.natural).collect();
            let natural = self.places.map(natural);
            let search = Search {
                levels,
                hardest,
                sites: &sites,
                natural: &natural,
                alike: &alike(hardest, levels),
                need,
                exact: self.exact,
            };
            let Some(answer) = search.fewest(work) else {
                continue;
            };
            let count = answer.count();
            if need <= 0.0 {
                self.least = answer.proven.then_some((count, gauge));
            }
            let proven = count < 2 || self.least == Some((count, gauge));
            return Some((Answer { proven, ..answer }, lead));
        }
        None
    }

    /// Writes an answer down as statements.
    fn take(&mut self, nets: &Nets, answer: &Answer, lead: FeedLead) {
        let lines = self.help.lines.iter_mut().zip(&self.places);
        for (((id, remedies), places), set) in lines.zip(&answer.sets) {
            let most = thinnest(&nets.stretches[*id]).min(capacity(lead.gauge).most_ua);
            let chosen = set.iter().filter_map(|at| places.get(*at));
            *remedies = chosen.map(|place| remedy(place, lead, most)).collect();
        }
        self.help.verdict = if answer.proven { Verdict::Fewest } else { Verdict::Found };
    }

    /// Why nothing was found.
    fn why_not(&self, model: &Model, nets: &Nets) -> String {
        let Some(usual) = self.usual else {
            return "no supply is known to feed it from".into();
        };
        if self.tiers.is_empty() {
            return "it is too long to search, or a voltage on it is not known: cut it into several lines".into();
        }
        let lines = || nets.of(&self.group);
        let thin = lines().map(thinnest).min();
        if let Some(thin) = thin.filter(|thin| blade(*thin).is_none()) {
            let carries = quantity(thin, Dimension::Current);
            return format!(
                "its conductor may carry {carries}, and no common fuse is that small: take a thicker one"
            );
        }
        let volts = model.supplies[usual.supply].volts;
        let runs = lines().flat_map(|stretch| &stretch.runs);
        let nodes = runs.filter(|run| run.make.is_some());
        let floor = nodes.map(|run| (run.floor * 1e3).round() as i64).max();
        if let (Some(volts), Some(floor)) = (volts, floor)
            && volts.value <= floor
        {
            return format!(
                "its nodes work down to {}, and its supply gives {}",
                quantity(floor, Dimension::Voltage),
                quantity(volts.value, Dimension::Voltage)
            );
        }
        if self.cut_short {
            return "it needs so many points that the search was cut short: cut it into several lines, each with a port and a lead of its own".into();
        }
        "no points from its supply keep it within what its fuses and conductors may carry: cut it into several lines, take thicker conductors, or allow less light with `dim to`".into()
    }
}

/// For each line, the first one that is equal to it at every level.
fn alike(hardest: &Bus, levels: &[Bus]) -> Keyed<WireId, WireId> {
    let lines = &hardest.lines;
    let same = |a: WireId, b: WireId| levels.iter().all(|bus| bus.lines[a] == bus.lines[b]);
    let first = |line: WireId| lines.ids().find(|other| same(*other, line)).unwrap_or(line);
    lines.ids().map(first).collect()
}

/// The statement for a place, with the largest common fuse for a conductor that may carry `most`
/// microamperes.
fn remedy(place: &Place, usual: FeedLead, most: i64) -> Remedy {
    let fuse = blade(most).map(|value| Stated { value, at: Span::default() });
    Remedy { string: place.string, place: place.at, lead: FeedLead { fuse, ..place.lead(usual) } }
}

/// Whether the search is exact for a group: plus and minus of its lines carry the same, and each
/// node draws a constant current.
fn exact(model: &Model, nets: &Nets, group: &Group) -> bool {
    let mut runs = nets.of(group).flat_map(|stretch| &stretch.runs);
    let constant = |id| nets.makes[id].watts <= 0.0;
    let power = group.power.map(|power| &model.powers[power]);
    let alone = power.is_some_and(|power| {
        let box_of = |other: &&PowerFeed| {
            (other.controller, other.receiver) == (power.controller, power.receiver)
        };
        model.powers.iter().filter(box_of).count() == 1
    });
    runs.all(|run| run.make.is_none_or(constant))
        && alone
        && model.injections.iter().all(|injection| !injection.apart)
}
