//! Open fixtures → DMX outputs by the engine, where filling one output after another found no room.

use super::needs::{Need, State};
use super::outlets::Outlets;
use super::pack::{self, Group, Instance, Load, Room, Site, Socket};
use super::seek::LineClash;
use crate::model::{Model, Target};
use std::collections::BTreeMap;

/// Fixtures and the outputs that they may go to; slots take the place of the engine's nodes.
pub(super) struct Fixtures {
    instance: Instance,
    /// The output of each port.
    outputs: Vec<usize>,
}

impl Fixtures {
    /// Of the open fixtures of a display.
    pub fn new(model: &Model, outlets: &Outlets<'_>, lines: &[(usize, Need)]) -> Self {
        let scope = |need: &Need| {
            let scope = outlets.scope(need.target);
            (scope.start, scope.end)
        };
        let mut classes: BTreeMap<(usize, usize), usize> = BTreeMap::new();
        for (_, need) in lines {
            classes.insert(scope(need), 0);
        }
        for (number, class) in classes.values_mut().enumerate() {
            *class = number;
        }
        let mut instance = Instance { kinds: vec![0; classes.len()], ..Instance::default() };
        let mut outputs = Vec::new();
        let mut looks: BTreeMap<Vec<Option<Room>>, usize> = BTreeMap::new();
        for index in 0..model.controllers.len() {
            instance.sites.push(Site { limit: u64::MAX, unit: 1, ..Site::default() });
            let rows = outlets.scope(Target::Controller(index.into()));
            for (number, at) in rows.filter(|at| outlets.is_for(*at, true)).enumerate() {
                let room = Room { nodes: outlets.slots_left(at), current: u64::MAX };
                let takes =
                    |(from, to): &(usize, usize)| (*from..*to).contains(&at).then_some(room);
                let next = looks.len();
                instance.ports.push(Socket {
                    site: index,
                    number: u32::try_from(number).unwrap_or(u32::MAX),
                    place: index,
                    look: *looks.entry(classes.keys().map(takes).collect()).or_insert(next),
                    used: outlets.state(at) != Some(State::Free),
                    ..Socket::default()
                });
                outputs.push(at);
            }
        }
        let mut looks: Vec<(Vec<Option<Room>>, usize)> = looks.into_iter().collect();
        looks.sort_unstable_by_key(|(_, look)| *look);
        instance.looks = looks.into_iter().map(|(rooms, _)| rooms).collect();
        for (_, need) in lines {
            let line = Load {
                size: Outlets::load(model, need).slots,
                class: classes.get(&scope(need)).copied().unwrap_or(0),
                ..Load::default()
            };
            instance.groups.push(Group { lines: vec![line], lead: Vec::new() });
        }
        Self { instance, outputs }
    }

    /// Whether there is room.
    pub fn fits(&self) -> bool {
        pack::fits(&self.instance, pack::budget(self.instance.groups.len())).0
    }

    /// An output for each line.
    pub fn place(&self) -> Option<Vec<usize>> {
        let steps = pack::budget(self.instance.groups.len());
        let answer = pack::seek(&self.instance, steps).ok()?;
        let ports = answer.ports.iter().flatten();
        ports.map(|port| self.outputs.get(*port).copied()).collect()
    }

    /// The lines that provably find no room, in sets that clash.
    pub fn clashes(&self) -> Vec<LineClash> {
        let steps = pack::budget(self.instance.groups.len());
        let clashes = pack::clashes(&self.instance, steps).into_iter();
        clashes.map(|clash| LineClash { lines: clash.groups, cause: clash.cause }).collect()
    }
}
