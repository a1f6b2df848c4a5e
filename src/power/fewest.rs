//! The fewest of some sites that make something hold: greedy first, then proven where that is cheap.
//!
//! Feeding a line in one more place lowers no voltage on it. So what holds with some sites holds with more, and
//! where no set of one fewer holds, none of still fewer does.

/// How well a line does with some sites.
#[derive(Clone, Copy, PartialEq, PartialOrd, Debug)]
pub struct Outcome {
    /// Whether all of it holds.
    pub holds: bool,
    /// How many points from its start hold before the first that does not.
    pub reach: usize,
    /// By how much the worst point is over its floor, in volts; below 0 where it is under.
    pub margin: f64,
}

/// Sets of one fewer that are tried after the greedy answer.
const MOST_TRIED: u64 = 3_000;

/// The fewest of `count` sites, by index and in order, with which the line holds; `None` where not even all of them do.
/// `MOST_TRIED` bounds the work beyond `count` trials for each site chosen; past it the answer is the greedy one with
/// those left out that it does not need.
pub fn fewest(count: usize, mut with: impl FnMut(&[usize]) -> Outcome) -> Option<Vec<usize>> {
    if with(&[]).holds {
        return Some(Vec::new());
    }
    let all: Vec<usize> = (0..count).collect();
    if !with(&all).holds {
        return None;
    }
    let mut best = greedy(count, &mut with)?;
    while best.len() > 1 && sets(count, best.len() - 1) <= MOST_TRIED {
        let Some(better) = smaller(count, best.len() - 1, &mut with) else {
            break;
        };
        best = better;
    }
    Some(best)
}

/// Takes the site that reaches farthest, again and again, and at the end leaves out what is not needed.
pub fn greedy(count: usize, with: &mut impl FnMut(&[usize]) -> Outcome) -> Option<Vec<usize>> {
    let mut chosen: Vec<usize> = Vec::new();
    loop {
        let mut best: Option<(Outcome, usize)> = None;
        for site in (0..count).filter(|site| !chosen.contains(site)) {
            let outcome = with(&added(&chosen, site));
            if best.is_none_or(|(than, _)| outcome > than) {
                best = Some((outcome, site));
            }
        }
        let (outcome, site) = best?;
        chosen = added(&chosen, site);
        if outcome.holds {
            break;
        }
    }
    let mut at = 0;
    while at < chosen.len() && chosen.len() > 1 {
        let mut without = chosen.clone();
        without.remove(at);
        if with(&without).holds {
            chosen = without;
        } else {
            at += 1;
        }
    }
    Some(chosen)
}

fn added(chosen: &[usize], site: usize) -> Vec<usize> {
    let mut sites = chosen.to_vec();
    let at = sites.partition_point(|other| *other < site);
    sites.insert(at, site);
    sites
}

/// The first set of a size that holds, in the order of their indices.
fn smaller(
    count: usize,
    size: usize,
    with: &mut impl FnMut(&[usize]) -> Outcome,
) -> Option<Vec<usize>> {
    let mut set: Vec<usize> = (0..size).collect();
    loop {
        if with(&set).holds {
            return Some(set);
        }
        // The last index that can still go up does, and those behind it follow closely.
        let at = (0..size)
            .rev()
            .find(|at| set.get(*at).is_some_and(|site| *site < count - (size - at)))?;
        let from = set.get(at).copied()?;
        for (step, site) in set.iter_mut().skip(at).enumerate() {
            *site = from + 1 + step;
        }
    }
}

/// How many sets of a size there are; large numbers are cut short.
fn sets(count: usize, size: usize) -> u64 {
    let mut sets = 1_u64;
    for step in 0..size as u64 {
        sets = sets.saturating_mul((count as u64).saturating_sub(step)) / (step + 1);
        if sets > MOST_TRIED * 1_000 {
            break;
        }
    }
    sets
}
