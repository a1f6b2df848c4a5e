//! `prop NAME[N] { }`: settings of single members.

use super::makes::count;
use super::matching::Reader;
use super::props::{Bounds, member_ranges};
use crate::ast::{Block, Expr};
use crate::diagnostic::Sink;
use crate::model::MOST_STRINGS;
use crate::rules;
use crate::source::Span;
use std::collections::BTreeMap;

/// One override.
pub struct Override<'a> {
    /// Its statement.
    pub block: &'a Block,
    /// Its members, as ranges within the family that do not fall.
    pub ranges: Vec<(u32, u32)>,
}

/// The overrides by prop, in file order.
pub type Overrides<'a> = BTreeMap<u32, Vec<Override<'a>>>;

/// Reads the `prop NAME[N] { }` statements. Reports those without a family or with unknown members,
/// and settings given twice.
pub fn overrides<'a>(reader: &Reader<'_, 'a>, sink: &mut Sink) -> Overrides<'a> {
    let names = reader.names;
    let mut found = Overrides::new();
    for block in &names.overrides {
        let key = names.key(block.name);
        let Some(index) = names.props.get(&key) else {
            sink.push(rules::name::unknown::family(
                block.name.span,
                &key,
                names.held(&names.props),
            ));
            continue;
        };
        let Some(row) = names.props.row(index) else {
            continue;
        };
        let Some(selector) = &block.members else {
            continue;
        };
        let declared = row.block.name.span;
        let Some(expr) = &row.block.count else {
            sink.push(rules::name::instance::no_family(selector.span, &row.name, declared));
            continue;
        };
        let Some(members) = size(reader, expr) else {
            continue;
        };
        let bounds = Bounds { name: &row.name, count: members, declared };
        let ranges = member_ranges(reader, &selector.parts, &bounds, sink);
        if block.settings.is_empty() && !block.broken {
            continue;
        }
        found.entry(index).or_default().push(Override {
            block,
            ranges: (ranges.iter()).map(|(a, b)| (*a.min(b), *a.max(b))).collect(),
        });
    }
    for overrides in found.values() {
        tell_twice(reader, overrides, sink);
    }
    found
}

/// How many members a family has. A wrong number is reported where the family is read.
fn size(reader: &Reader<'_, '_>, expr: &Expr) -> Option<u32> {
    let mut quiet = Sink::default();
    let most = i64::from(MOST_STRINGS);
    let members = reader.whole(expr, "", (1, most), &mut quiet)?;
    Some(count(members))
}

/// What may be set once for a member: all settings that describe its strings count as one.
fn once(word: &str) -> &str {
    match word {
        "strings" | "split" | "slots" => "string",
        other => other,
    }
}

/// Reports settings that two overrides give to one member.
fn tell_twice(reader: &Reader<'_, '_>, overrides: &[Override<'_>], sink: &mut Sink) {
    let mut said: Vec<(&str, u32, u32, Span, usize)> = Vec::new();
    for (at, one) in overrides.iter().enumerate() {
        for setting in &one.block.settings {
            let word = once(reader.names.text(setting.key));
            let rows = one.ranges.iter();
            said.extend(rows.map(|(from, to)| (word, *from, *to, setting.span, at)));
        }
    }
    said.sort_by_key(|(word, from, _, span, _)| (*word, *from, span.start));
    let mut reach: Option<(&str, u32, Span, usize)> = None;
    for (word, from, to, span, at) in said {
        match reach {
            Some((same, last, first, by)) if same == word && last >= from => {
                if by != at {
                    let (first, second) =
                        if first.start < span.start { (first, span) } else { (span, first) };
                    sink.push(rules::syntax::repeated_setting::for_member(
                        second, first, word, from,
                    ));
                }
                if to > last {
                    reach = Some((word, to, span, at));
                }
            }
            _ => reach = Some((word, to, span, at)),
        }
    }
}

/// The overrides that apply to each member of a family, from the first member to the last.
pub struct Cover<'o, 'a> {
    overrides: &'o [Override<'a>],
    /// Where ranges begin: member, override, last member.
    begins: std::iter::Peekable<std::vec::IntoIter<(u32, usize, u32)>>,
    /// The overrides that apply now, each with the last member that it applies to.
    open: BTreeMap<usize, u32>,
}

impl<'o, 'a> Cover<'o, 'a> {
    /// Before the first member.
    #[must_use]
    pub fn new(overrides: &'o [Override<'a>]) -> Self {
        let mut begins: Vec<(u32, usize, u32)> = Vec::new();
        for (at, one) in overrides.iter().enumerate() {
            begins.extend(one.ranges.iter().map(|(from, to)| (*from, at, *to)));
        }
        begins.sort_unstable();
        Self { overrides, begins: begins.into_iter().peekable(), open: BTreeMap::new() }
    }

    /// Whether more overrides apply to the current member than a prop has settings. Then a setting
    /// is given twice, which is reported elsewhere.
    #[must_use]
    pub fn is_crowded(&self) -> bool {
        const MOST: usize = 64;
        self.open.len() > MOST
    }

    /// The overrides that apply to a member, in file order. Members must be given in rising order.
    pub fn of(&mut self, member: u32) -> impl Iterator<Item = &'a Block> {
        while let Some((_, at, to)) = self.begins.next_if(|(from, ..)| *from <= member) {
            let last = self.open.entry(at).or_default();
            *last = to.max(*last);
        }
        self.open.retain(|_, last| *last >= member);
        let most = if self.is_crowded() { 0 } else { usize::MAX };
        let open = self.open.keys().take(most);
        let blocks = open.filter_map(|at| self.overrides.get(*at));
        blocks.map(|one| one.block)
    }
}
