//! What the power stage found: currents and voltages with their limits, in whole base units.

use crate::keyed::{Keyed, id};
use crate::model::{
    CircuitId, FeedLead, InjectAt, InjectionId, Model, PowerId, Prop, ReceiverId, Stated, StringId,
    Supply, SupplyId,
};
use crate::plan::{Plan, PortId};
use crate::source::Span;
use crate::unit::Gauge;

id!(
    /// A stretch of a data line on one piece of plus.
    SectionId
);

/// Everything that the power stage found.
#[derive(Debug, Default)]
pub struct Loads {
    /// At the levels that the display allows.
    pub allowed: Study,
    /// With every node at full, as in a controller's own test pattern; `None` where the display
    /// allows full anyway.
    pub full: Option<Study>,
}

/// Currents and voltages at one level.
#[derive(Debug, Default)]
pub struct Study {
    /// The sections of all lines, by output of the plan, then in chain order.
    pub sections: Keyed<SectionId, Section>,
    /// What flows through the lead of each `power` statement, by statement.
    pub feeds: Keyed<PowerId, FeedLoad>,
    /// What flows in at each point of injection.
    pub taps: Vec<TapLoad>,
    /// Conductors within the lines, by section, then along it.
    pub conductors: Vec<ConductorLoad>,
    /// What each supply gives, in microamperes.
    pub supplies: Keyed<SupplyId, i64>,
}

/// A stretch of a data line on one piece of plus: the whole line unless `apart` cuts it.
#[derive(Debug, Clone, Copy)]
pub struct Section {
    /// Its output.
    pub port: PortId,
    /// The receiver it hangs on.
    pub receiver: Option<ReceiverId>,
    /// The place of the first thing on it that draws.
    pub at: Span,
    /// What its plus comes from.
    pub from: From,
    /// The level of its nodes, in thousandths of a percent.
    pub level: u32,
    /// What flows out of the port, in microamperes; 0 after a cut.
    pub port_ua: i64,
    /// What its nodes draw together, in microamperes.
    pub drawn_ua: i64,
    /// The power that goes into it from no known supply, by its port's voltage; in milliwatts.
    pub assumed_mw: i64,
    /// The port's fuse; `None` after a cut.
    pub fuse: Option<Stated<i64>>,
    /// The node with the lowest voltage.
    pub lowest: Option<Low>,
    /// The first node under its floor.
    pub dark: Option<Low>,
    /// Nodes under their floor.
    pub dark_nodes: u32,
    /// Whether pitch and conductor of every string and the conductor of every lead are known.
    pub whole: bool,
    /// Nodes on it whose draw is not known; they count as if they drew nothing.
    pub silent: u32,
    /// Whether it was left out: fed wrongly or not at all, at an unknown voltage, or too long.
    pub left_out: bool,
}

/// What a section's plus comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum From {
    /// A `power` statement, through the port.
    Power(PowerId),
    /// The port, at its voltage: the display names no supply.
    Port,
    /// Injections only: it is cut from the port, or nothing feeds the port.
    Taps,
    /// Nothing.
    Nothing,
}

/// A node and its voltage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Low {
    /// Its string.
    pub string: StringId,
    /// The string's reference in the wire.
    pub at: Span,
    /// Its number in the string, from 1; nodes that show nothing do not count.
    pub node: u32,
    /// Its voltage in microvolts.
    pub uv: i64,
    /// The lowest that it works at, in microvolts.
    pub floor_uv: i64,
}

/// The lead of a `power` statement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct FeedLoad {
    /// What flows from the supply in its plus, in microamperes; below 0 where it flows back.
    pub ua: i64,
    /// What flows to the supply in its minus, in microamperes; below 0 where it flows back.
    pub minus_ua: i64,
}

/// A point of injection.
#[derive(Debug, Clone, Copy)]
pub struct TapLoad {
    /// The `inject` statement.
    pub injection: InjectionId,
    /// The string.
    pub string: StringId,
    /// How many nodes of the string come before the point.
    pub after: u32,
    /// The section that it feeds.
    pub section: SectionId,
    /// What flows from the supply in its plus, in microamperes; below 0 where it flows back.
    pub ua: i64,
    /// What flows to the supply in its minus, in microamperes; below 0 where it flows back.
    pub minus_ua: i64,
    /// Whether its section was left out.
    pub left_out: bool,
}

/// A stretch of one conductor within a line: a `lead`, or equal nodes of a string. Plus and minus
/// have the same gauge.
#[derive(Debug, Clone, Copy)]
pub struct ConductorLoad {
    /// The section that its plus belongs to.
    pub section: SectionId,
    /// Where it is written: the string's reference in the wire, or the lead.
    pub at: Span,
    /// The string; `None` for a lead or a skip between strings.
    pub string: Option<StringId>,
    /// Whether it is a `lead`.
    pub lead: bool,
    /// The gauge of its plus and of its minus.
    pub gauge: Gauge,
    /// The largest current in its plus; 0 in a segment that `apart` cuts.
    pub plus: Flow,
    /// The largest current in its minus.
    pub minus: Flow,
}

/// The largest current in a conductor, and where.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Flow {
    /// The current in microamperes. In a plus it is above 0 away from the port, in a minus towards
    /// the port. So both are above 0 in a line that is fed at its start.
    pub ua: i64,
    /// The node that the segment leads to, from 1; 0 in a lead and where nodes show nothing.
    pub node: u32,
}

impl Flow {
    /// Takes another segment's current where it is larger.
    pub fn take(&mut self, ua: i64, node: u32) {
        if ua.unsigned_abs() > self.ua.unsigned_abs() {
            *self = Self { ua, node };
        }
    }
}

/// An injection that would help, in the words of the language.
#[derive(Debug, Clone, Copy)]
pub struct Remedy {
    /// The string.
    pub string: StringId,
    /// Where on it.
    pub place: InjectAt,
    /// Its supply and lead.
    pub lead: FeedLead,
}

/// How sure a suggestion is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// Proven: fewer points do not do.
    Fewest,
    /// No fewer points were found.
    Found,
    /// Nothing is offered, for this reason.
    Refused(String),
}

/// What is wrong with a line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Because {
    /// This node, the first one, gets too little voltage.
    Dark(Low),
    /// The port's fuse would carry this much, in microamperes.
    Fuse(i64),
    /// A conductor in the line would carry too much.
    Conductor,
    /// The lead of its `power` statement or of an injection would carry too much.
    Lead,
    /// Nothing; it shares its lead with lines that need help.
    Neighbour,
}

/// What is suggested for a line.
#[derive(Debug, Clone)]
pub struct Suggestion {
    /// The line.
    pub section: Section,
    /// What is wrong with it.
    pub because: Because,
    /// Its injections.
    pub inject: Vec<Remedy>,
    /// How sure they are.
    pub verdict: Verdict,
    /// How many injections there are for all lines that share its lead.
    pub points: usize,
    /// How many lines share its lead.
    pub shared: usize,
    /// Whether it is the first of these.
    pub first: bool,
}

/// What would keep the nodes of a line over their floor. Each entry is enough by itself.
#[derive(Debug, Clone, Default)]
pub struct Cure {
    /// Injections, for all lines that share its lead; empty for none.
    pub inject: Vec<Remedy>,
    /// The line whose finding has the injections, where that is another line on the same lead.
    pub told_at: Option<SectionId>,
    /// Why there are no injections.
    pub why_not: Option<String>,
    /// A thicker conductor for the lead of its `power` statement.
    pub lead: Option<Gauge>,
    /// A lower level, in thousandths of a percent.
    pub level: Option<u32>,
}

/// Power in milliwatts of a current in microamperes at a voltage in millivolts.
#[must_use]
pub fn power_mw(ua: i64, mv: i64) -> i64 {
    let mw = i128::from(ua) * i128::from(mv) / 1_000_000;
    i64::try_from(mw).unwrap_or(i64::MAX)
}

/// What a supply takes from the mains for a current, in milliwatts; 0 if its voltage is unknown.
#[must_use]
pub fn supply_mains_mw(supply: &Supply, ua: i64) -> i64 {
    let mw = supply.volts.map_or(0, |volts| power_mw(ua, volts.value));
    let taken = i128::from(mw) * 100_000 / i128::from(supply.efficiency.max(1));
    i64::try_from(taken).unwrap_or(i64::MAX)
}

/// The load of a mains circuit in milliwatts: its supplies with their loss, its controllers, and
/// its fixtures that are put up.
#[must_use]
pub fn circuit_mw(model: &Model, plan: &Plan, study: &Study, id: CircuitId) -> i64 {
    let supplies = model.supplies.iter().zip(&study.supplies);
    let supplies = supplies
        .filter(|(supply, _)| supply.circuit == Some(id))
        .map(|(supply, ua)| supply_mains_mw(supply, *ua));
    let controllers = model.controllers.iter();
    let controllers = controllers
        .filter(|controller| controller.circuit == Some(id) && !controller.stock)
        .filter_map(|controller| controller.draw_mw);
    let props = model.props.iter();
    let on =
        |prop: &&Prop| prop.details.as_ref().is_some_and(|details| details.circuit == Some(id));
    let fixtures = props.filter(on).map(|prop| fixtures_mw(model, plan, prop));
    supplies.chain(controllers).chain(fixtures).fold(0, i64::saturating_add)
}

/// The draw of a prop's fixtures that are put up, in milliwatts.
#[must_use]
pub fn fixtures_mw(model: &Model, plan: &Plan, prop: &Prop) -> i64 {
    let Some(each) = prop.details.as_ref().and_then(|details| details.draw_mw) else { return 0 };
    let up = prop.strings().filter(|index| {
        let id = StringId(*index);
        model.strings[id].number == 0 && model.is_up(id) && plan.of(id).is_some()
    });
    let count = i64::try_from(up.count()).unwrap_or(i64::MAX);
    each.saturating_mul(count)
}
