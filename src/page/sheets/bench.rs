//! Bench sheets: how each prop is built, with marks to count against, and what its ends are plugged
//! into. Members of a family that are built alike share a sheet.

use super::super::Part;
use super::super::crew::{CableLine, Crew, Hung, Plugs, injection_nodes, place_words};
use super::super::html::{self, Html, put};
use super::{caution, fold};
use crate::model::ShapeRun;
use crate::survey::run_words;
use crate::unit::{Dimension, counted, quantity};
use std::collections::BTreeMap;

/// The part.
pub const PART: Part = Part::new("bench", "Bench sheets", write);

/// Nodes from one mark of a plain string to the next.
const MARK: u32 = 50;

/// A string and what its ends are plugged into.
struct Bench<'c, 'a> {
    hung: &'c Hung<'a>,
    line: &'c CableLine<'a>,
    plugs: &'c Plugs,
}

/// Strings by prop and member.
type Members<'c, 'a> = BTreeMap<(u32, u32), Vec<Bench<'c, 'a>>>;
/// What a string is built of: its shape, and where power goes in.
type Built = (u32, Vec<String>);
/// Members of one prop that are built alike, each with its strings.
type Alike<'m, 'c, 'a> = Vec<&'m [Bench<'c, 'a>]>;

fn write(crew: &Crew<'_>, html: &mut Html) {
    put!(html; "<p>Data goes in at node 1, the end marked IN. Count at every mark: a figure that ");
    put!(html; "does not agree shows a ");
    put!(html; "mistake while it is still on the bench.</p>\n");
    caution(html);
    let members = members(crew);
    if members.is_empty() {
        put!(html; "<p>This display has no string.</p>\n");
    }
    let all: Vec<(&(u32, u32), &Vec<Bench<'_, '_>>)> = members.iter().collect();
    let mut sheet = 0;
    for prop in all.chunk_by(|(a, _), (b, _)| a.0 == b.0) {
        for alike in alike(crew, prop.iter().map(|(_, strings)| strings.as_slice())) {
            one(crew, &alike, sheet, html);
            sheet += 1;
        }
    }
}

fn members<'c, 'a>(crew: &'c Crew<'a>) -> Members<'c, 'a> {
    let mut members: Members<'c, 'a> = BTreeMap::new();
    for (line, hung) in crew.hung().filter(|(_, hung)| !hung.is_fixture()) {
        if let Some(plugs) = &hung.plugs {
            let key = (hung.string.prop.0, hung.string.member);
            members.entry(key).or_default().push(Bench { hung, line, plugs });
        }
    }
    members
}

/// Groups members by how they are built; keeps their order.
fn alike<'m, 'c, 'a>(
    crew: &Crew<'_>,
    members: impl Iterator<Item = &'m [Bench<'c, 'a>]>,
) -> Vec<Alike<'m, 'c, 'a>> {
    let mut groups: Vec<(Vec<Built>, Alike<'m, 'c, 'a>)> = Vec::new();
    for strings in members {
        let key: Vec<Built> = strings
            .iter()
            .map(|bench| (bench.hung.string.shape.0, power(crew, bench.hung)))
            .collect();
        match groups.iter_mut().find(|(other, _)| *other == key) {
            Some((_, group)) => group.push(strings),
            None => groups.push((key, vec![strings])),
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

/// Where power goes into a string, in words.
fn power(crew: &Crew<'_>, hung: &Hung<'_>) -> Vec<String> {
    let words = crew.injections(hung.id).iter().map(|injection| {
        let apart = if injection.apart { "; plus cut before it" } else { "" };
        format!(
            "{}: {}{apart}",
            place_words(injection.place, hung.shape),
            crew.lead_words(&injection.lead)
        )
    });
    words.collect()
}

fn one(crew: &Crew<'_>, alike: &Alike<'_, '_, '_>, sheet: usize, html: &mut Html) {
    let Some(first) = alike.first().and_then(|strings| strings.first()) else {
        return;
    };
    put!(html; "<article class=\"lazy sheet\">\n<h3 id=\"bench-", sheet, "\">");
    put!(html; first.hung.prop.name);
    if alike.len() > 1 {
        put!(html; ", ", alike.len(), " alike");
    } else if first.hung.string.member > 0 {
        put!(html; "[", first.hung.string.member, "]");
    }
    put!(html; "</h3>\n");
    let strings = alike.first().copied().unwrap_or(&[]);
    for bench in strings {
        string(crew, bench.hung, strings.len() > 1, html);
    }
    ends(alike, sheet, html);
    put!(html; "</article>\n");
}

/// Lists the plugs at both ends of each string.
fn ends(alike: &Alike<'_, '_, '_>, sheet: usize, html: &mut Html) {
    let headings =
        ["String", "Plug IN comes from", "Plug OUT goes to", "Port", "Counted", "Lights"];
    html::head(html, ("aria-labelledby", &format!("bench-{sheet}")), "ends", &headings);
    put!(html; "<tbody>\n");
    for bench in alike.iter().flat_map(|strings| strings.iter()) {
        put!(html; "<tr><td>");
        super::called(bench.hung, html);
        put!(html; "</td><td>", bench.plugs.from.words(), "</td><td>", bench.plugs.to.words());
        put!(html; "</td><td>");
        put!(html; bench.hung.socket(bench.line), "</td>");
        put!(html; "<td class=\"tick\"></td><td class=\"tick\"></td></tr>\n");
    }
    put!(html; "</tbody></table></div>\n");
}

fn string(crew: &Crew<'_>, hung: &Hung<'_>, one_of_many: bool, html: &mut Html) {
    put!(html; "<p>");
    if one_of_many {
        put!(html; "<b>String ", hung.string.number, "</b>");
        if let Some(name) = hung.row.string_name {
            put!(html; " (", name, ")");
        }
        put!(html; ": ");
    }
    put!(html; super::make(hung));
    if let Some(chip) = hung.row.chip {
        put!(html; ", chip ", chip);
    }
    if let Some(volts) = hung.node.and_then(|node| node.volts) {
        put!(html; ", ", quantity(volts.value, Dimension::Voltage));
    }
    if let Some(pitch) = hung.node.and_then(|node| node.pitch_um) {
        put!(html; ", a node every ", quantity(pitch.value, Dimension::Length));
    }
    put!(html; ".</p>\n");
    let power = power(crew, hung);
    if !power.is_empty() {
        put!(html; "<ul class=\"power\">\n");
        for words in power {
            put!(html; "<li>Power ", words, "</li>\n");
        }
        put!(html; "</ul>\n");
    }
    if !hung.shape.runs.is_empty() {
        runs(hung, html);
    } else if let Some(each) = hung.shape.strand.filter(|each| *each > 0) {
        strands(crew, hung, each, html);
    } else {
        plain(hung, html);
    }
}

/// Draws the fold and lists the last node of each strand.
fn strands(crew: &Crew<'_>, hung: &Hung<'_>, each: u32, html: &mut Html) {
    let strands = hung.shape.nodes / each;
    let points: Vec<u32> = crew
        .injections(hung.id)
        .iter()
        .flat_map(|i| injection_nodes(i.place, hung.shape))
        .collect();
    put!(html; "<p>", counted(strands, "strand"), " of ", counted(each, "node"));
    put!(html; ": up, down, up and so on. Mark the last node of each:</p>\n");
    fold::draw(strands, each, &points, html);
    put!(html; "<ol class=\"marks-list\">\n");
    for strand in 1..=strands {
        let way = if strand.is_multiple_of(2) { "down" } else { "up" };
        put!(html; "<li>strand ", strand, " ", way, ": ends at <b>");
        put!(html; u64::from(strand) * u64::from(each), "</b></li>\n");
    }
    put!(html; "</ol>\n");
}

/// Lists the runs of a string with both counts: nodes that light, and all nodes in the data line.
fn runs(hung: &Hung<'_>, html: &mut Html) {
    put!(html; "<ol class=\"marks-list\">\n");
    let (mut lit, mut line) = (0_u32, 0_u32);
    for run in &hung.shape.runs {
        put!(html; "<li>", run_words(run));
        match run {
            ShapeRun::Nodes(_, nodes) => {
                lit = lit.saturating_add(*nodes);
                line = line.saturating_add(*nodes);
                put!(html; ": ends at <b>", lit, "</b>");
            }
            ShapeRun::Skip(nodes) => {
                line = line.saturating_add(*nodes);
                put!(html; ": dark");
            }
            ShapeRun::Lead(..) => {}
        }
        if line != lit && !matches!(run, ShapeRun::Lead(..)) {
            put!(html; " (", line, " with the dark ones)");
        }
        put!(html; "</li>\n");
    }
    put!(html; "</ol>\n");
}

/// Lists a mark every [`MARK`] nodes, and the end.
fn plain(hung: &Hung<'_>, html: &mut Html) {
    put!(html; "<ol class=\"marks-list\">\n");
    let nodes = hung.shape.nodes;
    let marks = nodes.saturating_sub(1) / MARK;
    for mark in 1..=marks {
        put!(html; "<li>mark <b>", mark * MARK, "</b></li>\n");
    }
    put!(html; "<li>ends at <b>", nodes, "</b></li>\n</ol>\n");
}
