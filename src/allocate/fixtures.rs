//! Open fixtures → DMX outputs by the placement engine, where filling one output after the other found no room.

use super::needs::{Need, State};
use super::outlets::Outlets;
use super::pack::{self, Group, Instance, Line, Port, Site};
use super::seek::Clash;
use crate::model::{Model, Target};
use std::ops::Range;

/// Steps of search for fixtures, of which no display has many.
const STEPS: u64 = 2_000_000;

/// So many lines are searched for.
const MOST_LINES: usize = 2_000;

/// Fixtures and the outputs that they may go to: for the engine, slots in the place of nodes.
pub(super) struct Fixtures {
    instance: Instance,
    /// The outputs of each site.
    outputs: Vec<Vec<usize>>,
}

impl Fixtures {
    /// Of the open fixtures of a display; `None` where there are too many.
    pub fn new(model: &Model, outlets: &Outlets<'_>, lines: &[(usize, Need)]) -> Option<Self> {
        if lines.len() > MOST_LINES {
            return None;
        }
        let scopes: Vec<Range<usize>> = (0..model.controllers.len())
            .map(|index| outlets.scope(Target::Controller(index.into())))
            .collect();
        let outputs: Vec<Vec<usize>> = scopes
            .iter()
            .map(|scope| {
                scope
                    .clone()
                    .filter(|at| outlets.is_for(*at, true))
                    .collect()
            })
            .collect();
        let port = |at: &usize| Port {
            room: vec![outlets.slots_left(*at)],
            open: outlets.state(*at) != Some(State::Free),
        };
        let site = |outputs: &Vec<usize>| Site {
            ports: outputs.iter().map(port).collect(),
            carried: 0,
            limit: u64::MAX,
        };
        let group = |(_, need): &(usize, Need)| {
            let scope = outlets.scope(need.target);
            let within = |its: &Range<usize>| scope.start <= its.start && its.end <= scope.end;
            let sites = scopes.iter().enumerate();
            Group {
                lines: vec![Line {
                    size: Outlets::load(model, need).slots,
                    class: 0,
                    weight: 0,
                }],
                sites: Some(
                    sites
                        .filter(|(_, its)| within(its))
                        .map(|(at, _)| at)
                        .collect(),
                ),
                lead: Vec::new(),
                may_split: false,
            }
        };
        Some(Self {
            instance: Instance {
                sites: outputs.iter().map(site).collect(),
                groups: lines.iter().map(group).collect(),
            },
            outputs,
        })
    }

    /// Whether there is room.
    pub fn fits(&self) -> bool {
        pack::fits(&self.instance, STEPS).is_ok()
    }

    /// An output for each line.
    pub fn place(&self) -> Option<Vec<usize>> {
        let answer = pack::seek(&self.instance, STEPS).ok()?;
        let spots = answer.spots.iter().flatten();
        spots
            .map(|spot| self.outputs.get(spot.site)?.get(spot.port).copied())
            .collect()
    }

    /// The lines that find no room, in sets that clash.
    pub fn clashes(&self) -> Vec<Clash> {
        let clashes = pack::clashes(&self.instance, STEPS).into_iter();
        clashes
            .map(|(lines, cause)| Clash { lines, cause })
            .collect()
    }
}
