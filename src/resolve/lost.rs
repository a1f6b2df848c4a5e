//! What text that did not parse may declare or wire, by its words.

use super::gaps::controller_of;
use super::targets::Ports;
use crate::ast::{Ident, Written};
use crate::model::{ControllerId, Model, PropId, StringId};
use std::collections::BTreeSet;

/// Notes the gaps that text which did not parse may leave, by its words.
pub fn of_text(ast: &Written, ports: &Ports<'_, '_>, model: &mut Model) {
    let names = ports.reader.names;
    let key = |word: &Ident| -> Box<str> { names.key(*word).into() };
    let words: BTreeSet<Box<str>> = ast.mentioned.iter().map(key).collect();
    let begins = ast.mentioned.iter().filter(|word| names.begins(**word));
    let begins: BTreeSet<Box<str>> = begins.map(key).collect();
    let has = |word: &str| begins.contains(word);
    let (wire, power, inject) = (has("wire"), has("power"), has("inject"));
    let boxes: Vec<ControllerId> =
        (words.iter()).filter_map(|word| controller_of(ports, word, model)).collect();
    let gaps = &mut model.gaps;
    gaps.all = ast.lost;
    gaps.boxes = ["controller", "receiver", "ports", "port", "dmx"].iter().any(|word| has(word))
        || ["controller", "receiver"].iter().any(|kind| names.has_unnamed(kind));
    gaps.anywhere = has("prop") || (wire && words.contains("any")) || names.has_unnamed("prop");
    gaps.any_feed |= power && boxes.is_empty();
    for id in boxes {
        gaps.lines.insert((id, None));
        gaps.outputs.insert(id);
        if power {
            gaps.feeds.insert((id, 0, u32::MAX));
        }
    }
    if inject {
        let props = words.iter().filter_map(|word| names.props.get(word));
        let strings = props.flat_map(|at| model.props[PropId(at)].strings());
        gaps.injected.extend(strings.map(StringId));
    }
    model.gaps.words = words;
}
