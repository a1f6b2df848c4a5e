//! Settings and statements that parse, but hold something that does not fit.

use super::super::number::dotted;
use super::{RULE, said_elsewhere};
use crate::diagnostic::{Diagnostic, words};
use crate::source::Span;

/// A setting that is not complete; `example` is a right one.
#[must_use]
pub fn setting_ends(span: Span, key: &str, example: &str) -> Diagnostic {
    RULE.report(span, format!("`{}` ends too early", words::shown(key)))
        .label("something is missing after this")
        .why("the setting has no value")
        .help(format!("write it in full, as in `{example}`"))
}

/// A word or value that does not fit its setting; `example` is a right setting.
#[must_use]
pub fn setting_form(span: Span, found: &str, block: &str, example: &str) -> Diagnostic {
    RULE.report(span, format!("`{}` does not fit this setting of `{block}`", words::shown(found)))
        .label("does not fit here")
        .why("what the setting sets can't be read")
        .help(match (dotted(found), said_elsewhere(found, block)) {
            (Some(range), _) => format!("write a range with two dots: `{range}`"),
            (None, Some(help)) => help,
            (None, None) => format!("write it as in `{example}`"),
        })
}

/// A word that is none of the choices of a setting; `of` is the block and the setting, `near` the
/// choice that is likely meant.
#[must_use]
pub fn no_choice(
    span: Span,
    found: &str,
    of: (&str, &str),
    choices: &[&str],
    near: Option<&str>,
) -> Diagnostic {
    let (block, key) = of;
    RULE.report(
        span,
        format!("`{}` does not fit the setting `{key}` of `{block}`", words::shown(found)),
    )
    .label("does not fit here")
    .why("what the setting sets can't be read")
    .help(match near {
        Some(near) => format!("write `{key} {near}`"),
        None => format!("it is one of {}", words::ticked_or(choices)),
    })
}

/// A colour order with letters that are no colours.
#[must_use]
pub fn colour(span: Span, found: &str) -> Diagnostic {
    RULE.report(span, format!("`{}` is not a colour order", words::shown(found)))
        .label("write one letter of a colour for each slot")
        .why("each letter is one slot of a node, so a wrong one shifts every node after it")
        .help("write the letters in slot order, as in `RGB`, `GRB` or `RGBW`")
}

/// An unknown input; `known` are all inputs.
#[must_use]
pub fn input(span: Span, found: &str, known: &[&str]) -> Diagnostic {
    // So that `E1.31` is near `e131` and `Art-Net` near `artnet`.
    let plain: String =
        found.to_lowercase().chars().filter(|c| c.is_alphanumeric() || *c == ' ').collect();
    let near = words::nearest(&plain, known.iter().copied());
    RULE.report(span, format!("`{}` is not an input", words::shown(found)))
        .label("no such input")
        .why("the controller would not hear what is sent to it")
        .help(match near.as_slice() {
            [] if found.eq_ignore_ascii_case("sacn") => {
                "write `e131 multicast` or `e131 unicast`: E1.31 is the standard's number"
                    .to_owned()
            }
            [] => format!("inputs are {}", words::ticked_and(known)),
            near => format!("did you mean {}?", words::ticked_or(near)),
        })
}

/// A declaration without a setting that it needs; `example` begins with that setting.
#[must_use]
pub fn lacks(span: Span, kind: &str, name: &str, example: &str) -> Diagnostic {
    let setting = example.split(' ').next().unwrap_or_default();
    let what = format!("{kind} `{}`", words::shown(name));
    RULE.report(span, format!("{what} has no `{setting}`"))
        .label(format!("`{setting}` is missing"))
        .why(format!("without it nothing can be worked out for this {kind}"))
        .help(format!("add a line such as `{example}`"))
}

/// A string of runs without any nodes.
#[must_use]
pub fn no_nodes(span: Span) -> Diagnostic {
    RULE.report(span, "this string has no nodes")
        .label("a run of nodes is missing")
        .why("skips and leads alone light nothing")
        .help("add a run, as in `string eaves: skip 1 -> left 34 nodes`")
}

/// A controller or receiver with members in brackets.
#[must_use]
pub fn target_members(span: Span, name: &str) -> Diagnostic {
    RULE.report(span, format!("`{}` has ports, not members", words::shown(name)))
        .label("brackets are for members of props")
        .why("this does not say which port is meant")
        .help(format!("write the port after a point, as in `{}.3`", words::shown(name)))
}

/// A controller or receiver where one of its ports must be named.
#[must_use]
pub fn port_wanted(span: Span, name: &str) -> Diagnostic {
    let name = words::shown(name);
    RULE.report(span, format!("`{name}` does not say which port"))
        .label("no port")
        .why("the statement is about ports, and it does not say which")
        .help(format!("name the port or ports, as in `{name}.3` or `{name}.1..4`"))
}

/// `every N strands` for a string that is not made of strands.
#[must_use]
pub fn no_strands(span: Span, name: &str, declared: Span) -> Diagnostic {
    RULE.report(span, format!("`{name}` is not made of strands"))
        .label("there are no strands to count")
        .why("where a strand ends is not known")
        .help("write `every N nodes`, or declare the string in strands")
        .and(declared, "declared without strands here")
}
