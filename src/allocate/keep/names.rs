//! The name that a string or controller had in the lock: its own, unless a `renamed` gives another.
//!
//! All renames happen at once, so two names may swap. Names are as they stand in locks and renames.

use crate::model::{Model, Rename, StringDef};
use std::collections::BTreeMap;

/// A name as a rename has it: `heron`, `heron[2]`, `heron[2..4]`, `lighthouse.2`.
#[derive(Debug, PartialEq, Eq)]
struct Reference {
    base: String,
    members: Option<(u32, u32)>,
    part: Option<String>,
}

impl Reference {
    fn read(text: &str) -> Self {
        let (head, part) = match text.rsplit_once('.').filter(|(_, part)| !part.contains(']')) {
            Some((head, part)) => (head, Some(part.to_owned())),
            None => (text, None),
        };
        let inner = head.strip_suffix(']').and_then(|head| head.split_once('['));
        let (base, members) = match inner {
            Some((base, inner)) => {
                let ends = inner.split_once("..").unwrap_or((inner, inner));
                let ends = ends.0.parse().ok().zip(ends.1.parse().ok());
                (base, ends)
            }
            None => (head, None),
        };
        Self { base: base.to_owned(), members, part }
    }

    /// A full name from it: with a member (0 for none), and `rest` after it.
    fn name(&self, member: u32, rest: &str) -> String {
        let mut name = self.base.clone();
        if member > 0 {
            name.push_str(&format!("[{member}]"));
        }
        if let Some(part) = &self.part {
            name.push_str(&format!(".{part}"));
        }
        name.push_str(rest);
        name
    }
}

/// The renames of a display.
pub(super) struct Names {
    /// By the base of the new name: the rename's number, old and new.
    rows: BTreeMap<String, Vec<(usize, Reference, Reference)>>,
}

impl Names {
    /// Reads the renames that are still to be done.
    pub fn of(renames: &[Rename], done: &dyn Fn(&Rename) -> bool) -> Self {
        let mut rows: BTreeMap<String, Vec<_>> = BTreeMap::new();
        for (index, rename) in renames.iter().enumerate() {
            if done(rename) {
                continue;
            }
            let new = Reference::read(&rename.new);
            let row = (index, Reference::read(&rename.old), new);
            rows.entry(row.2.base.clone()).or_default().push(row);
        }
        Self { rows }
    }

    /// The name that a controller had, with the number of the rename.
    pub fn controller(&self, model: &Model, name: &str) -> Option<(usize, String)> {
        let row = self.rows.get(name)?.first()?;
        // A rename is a controller's only where no prop has the name.
        let of_prop = model.props.iter().any(|prop| &*prop.name == name);
        (!of_prop).then(|| (row.0, row.1.base.clone()))
    }

    /// The name that a string had, with the number of the rename; the most specific rename counts.
    pub fn string(&self, model: &Model, string: &StringDef) -> Option<(usize, String)> {
        if self.rows.is_empty() {
            return None;
        }
        let prop = model.props.as_slice().get(string.prop.index())?;
        let rows = self.rows.get(&*prop.name)?;
        let many = prop.strings_of(string.member.max(1)).len() > 1;
        let number = match string.number {
            number if number > 0 && many => format!(".{number}"),
            _ => String::new(),
        };
        let shape = model.shapes.as_slice().get(string.shape.index());
        let named = shape.and_then(|shape| shape.name.as_deref());
        let found = rows.iter().filter_map(|(index, old, new)| {
            let inside = match (new.members, string.member) {
                (None, _) => true,
                (Some(_), 0) => false,
                (Some((from, to)), member) => (from.min(to)..=from.max(to)).contains(&member),
            };
            let part = match &new.part {
                None => false,
                Some(part) => *part != string.number.to_string() && Some(part.as_str()) != named,
            };
            if !inside || part {
                return None;
            }
            let member = match (new.members, old.members) {
                // The whole of a prop: its members keep their numbers.
                (None, None) => string.member,
                (None, Some((from, _))) => from,
                (Some(_), None) => 0,
                (Some((first, _)), Some((from, to))) => {
                    let step = string.member.abs_diff(first);
                    if from <= to { from + step } else { from.saturating_sub(step) }
                }
            };
            let rest = if new.part.is_some() { "" } else { &*number };
            let weight = (new.part.is_some(), new.members.is_some());
            Some((weight, *index, old.name(member, rest)))
        });
        let (_, index, name) = found.max_by_key(|(weight, ..)| *weight)?;
        Some((index, name))
    }
}

/// Names that a string may have had while its prop was of another shape: a prop of one string that
/// got a second one, one prop that became a family, and back.
pub(super) fn shapes(name: &str) -> Vec<String> {
    let mut names = Vec::new();
    if let Some(one) = name.strip_suffix(".1") {
        names.push(one.to_owned());
        names.extend(one.strip_suffix("[1]").map(str::to_owned));
    } else {
        names.push(format!("{name}.1"));
    }
    if let Some(one) = name.strip_suffix("[1]") {
        names.push(one.to_owned());
    } else if !name.ends_with(']') && !name.contains('.') {
        names.push(format!("{name}[1]"));
    }
    names
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_reference_is_taken_apart() {
        let read = |text| {
            let one = Reference::read(text);
            (one.base, one.members, one.part)
        };
        assert_eq!(read("heron"), ("heron".into(), None, None));
        assert_eq!(read("heron[2]"), ("heron".into(), Some((2, 2)), None));
        assert_eq!(read("heron[4..2]"), ("heron".into(), Some((4, 2)), None));
        assert_eq!(read("roof.eaves"), ("roof".into(), None, Some("eaves".into())));
        assert_eq!(read("heron[2].1"), ("heron".into(), Some((2, 2)), Some("1".into())));
    }

    #[test]
    fn a_prop_that_grew_kept_its_first_string() {
        assert_eq!(shapes("roof.1"), ["roof"]);
        assert_eq!(shapes("roof"), ["roof.1", "roof[1]"]);
        assert_eq!(shapes("heron[1]"), ["heron[1].1", "heron"]);
        assert_eq!(shapes("heron[1].1"), ["heron[1]", "heron"]);
    }
}
