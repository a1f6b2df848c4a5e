//! Everyday words for what the language writes elsewhere: ports that must stay free, strings that
//! fold back, data that come in at the other end.

use super::{article, finding};
use crate::diagnostic::{Diagnostic, words};
use crate::source::Span;

/// Words for a port or prop that is not in use.
const STATES: [&str; 13] = [
    "dead",
    "broken",
    "unused",
    "free",
    "empty",
    "reserved",
    "off",
    "disabled",
    "faulty",
    "defective",
    "burnt",
    "blown",
    "damaged",
];

/// Words for data that come in at the other end.
const REVERSED: [&str; 7] =
    ["reversed", "reverse", "backwards", "backward", "flipped", "mirrored", "inverted"];

/// Words for a string that goes there and back.
const FOLDED: [&str; 7] = ["folded", "fold", "zigzag", "zig-zag", "serpentine", "snake", "doubled"];

/// What to write in place of such a word in a block, a chain (`wire`) or as a `statement`. `None`
/// for any other word.
#[must_use]
pub fn said_elsewhere(word: &str, block: &str) -> Option<String> {
    let low = word.to_lowercase();
    let is = |words: &[&str]| words.contains(&&*low);
    if is(&STATES) {
        return match block {
            "ports" | "controller" | "receiver" | "statement" => Some(format!(
                "a port that is not to be used is reserved by a statement of its own, with the reason in quotes: `reserve \
                 CONTROLLER.PORT \"{low}\"`"
            )),
            "prop" => Some(
                "what is not put up this season keeps its addresses by a statement of its own: `stored NAME`".to_owned(),
            ),
            _ => None,
        };
    }
    if !["prop", "ports", "wire"].contains(&block) {
        return None;
    }
    if is(&REVERSED) {
        return Some(
            "leave the word out: node 1 is where the data come in. If members or strings are wired in falling order, \
             write a falling range in the `wire`, as in `heron[6..1]` or `tree.4..1`"
                .to_owned(),
        );
    }
    is(&FOLDED).then(|| {
        "leave the word out and count the nodes of the whole string; to name its parts, write its runs in data order, as in \
         `string: up 25 nodes -> down 25 nodes`"
            .to_owned()
    })
}

/// `a reversed`, `reverse a`: such a word beside an item of a chain. `None` for any other word.
#[must_use]
pub fn word_in_chain(span: Span, word: &str) -> Option<Diagnostic> {
    let help = said_elsewhere(word, "wire")?;
    Some(finding(
        span,
        format!("`{}` stands beside an item of a chain", words::shown(word)),
        "no such word in a chain",
        help,
    ))
}

/// `reserve boathouse.3 dead`: a reason without quotes.
#[must_use]
pub fn reason_without_quotes(span: Span, reason: &str) -> Diagnostic {
    let reason = words::shown(reason);
    finding(
        span,
        "the reason of a `reserve` stands without quotes".to_owned(),
        "quotes are missing round this",
        format!("write `\"{reason}\"`"),
    )
}

/// `power c.1..12, c.17 from …`: a second range, or prop of an `inject`, where only one may stand.
/// `first` and `next` are the two, `word` is the word that comes after them.
#[must_use]
pub fn second_range(
    span: Span,
    statement: &str,
    (first, next): (&str, &str),
    word: &str,
) -> Diagnostic {
    let (first, next) = (words::shown(first), words::shown(next));
    let (what, each) = match statement {
        "inject" => ("prop or string", "each of them"),
        _ => ("range of ports", "each range"),
    };
    finding(
        span,
        format!(
            "{} `{statement}` statement names one {what}, and a second one follows",
            article(statement)
        ),
        "one only",
        format!(
            "write a statement for {each}: `{statement} {first} {word} …` and `{statement} {next} {word} …`"
        ),
    )
}
