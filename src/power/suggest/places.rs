//! Where a line could be fed in addition: all of its nodes, and the starts and ends of its strings.

use crate::keyed::Keyed;
use crate::model::{FeedLead, InjectAt, Model, NodeId, ShapeRun, StringId};
use crate::power::make::Make;
use crate::power::net::{NetSection, Run};

/// A place where a line could be fed.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    /// The string.
    pub string: StringId,
    /// Where on it, as `inject` states it.
    pub at: InjectAt,
    /// The point of the stretch.
    pub point: u32,
    /// The resistance between a lead to there and the point, in ohm.
    pub ohms: f64,
    /// How far along the line from its start, in micrometres.
    pub along_um: i64,
    /// Whether a person looks here first: the start or end of a string, or the end of a strand.
    pub natural: bool,
}

impl Place {
    /// The lead to there: as long as `usual` and the line up to there, rounded up to half metres.
    #[must_use]
    pub fn lead(&self, usual: FeedLead) -> FeedLead {
        const STEP: i64 = 500_000;
        let far = usual.length_um.saturating_add(self.along_um).max(1);
        let length_um = (far.saturating_add(STEP - 1) / STEP).saturating_mul(STEP);
        FeedLead { length_um, ..usual }
    }
}

/// Of a line with more points than this, only some nodes are places.
const MOST_PLACES: usize = 4_000;

/// The lit nodes of a line, and the starts and ends of its strings, by point.
#[must_use]
pub fn places(model: &Model, makes: &Keyed<NodeId, Make>, stretch: &NetSection) -> Vec<Place> {
    let mut places = Vec::new();
    let mut after_lead = false;
    let step = (stretch.points as usize / MOST_PLACES + 1) as u32;
    walk(makes, stretch, |run, make, point, along| {
        let (Some(string), true) = (run.string, run.lit) else {
            after_lead |= run.lead.is_some();
            return;
        };
        let shape = model.shape(string);
        let (last, strand) = (shape.nodes, shape.strand);
        // A lead of the string's own comes after its start.
        let begins = matches!(shape.runs.first(), None | Some(ShapeRun::Nodes(..)));
        if run.first == 1 && after_lead && begins {
            places.push(Place {
                string,
                at: InjectAt::Start,
                point,
                ohms: 0.0,
                along_um: along,
                natural: true,
            });
        }
        after_lead = false;
        for node in run.first..run.first + run.count {
            let strand_ends = strand.is_some_and(|strand| strand > 0 && node % strand == 0);
            if node == last {
                places.push(Place {
                    at: InjectAt::End,
                    ohms: make.ohms,
                    natural: true,
                    ..node_place((string, node), run, make, point, along)
                });
            }
            if strand_ends || (node - run.first).is_multiple_of(step) {
                let natural = strand_ends && node != last;
                let place = node_place((string, node), run, make, point, along);
                places.push(Place { natural, ..place });
            }
        }
    });
    places
}

fn node_place(
    (string, node): (StringId, u32),
    run: &Run,
    make: &Make,
    point: u32,
    along: i64,
) -> Place {
    let step = node - run.first + 1;
    Place {
        string,
        at: InjectAt::Node(node),
        point: point + step,
        ohms: 0.0,
        along_um: along.saturating_add(make.pitch_um.saturating_mul(i64::from(step))),
        natural: false,
    }
}

/// Calls `see` for each run with its make, the point before it, and how far along that is.
fn walk(
    makes: &Keyed<NodeId, Make>,
    stretch: &NetSection,
    mut see: impl FnMut(&Run, &Make, u32, i64),
) {
    let none = Make::default();
    let (mut point, mut along) = (0_u32, 0_i64);
    for run in &stretch.runs {
        let make = run.make.map_or(&none, |id| &makes[id]);
        see(run, make, point, along);
        point += run.count;
        let nodes = || make.pitch_um.saturating_mul(i64::from(run.count));
        along = along.saturating_add(run.lead.map_or_else(nodes, |lead| lead.1));
    }
}
