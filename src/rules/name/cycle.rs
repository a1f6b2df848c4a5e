//! `name/cycle`: statements that need each other in a ring.

use crate::diagnostic::words::{few, list};
use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "name/cycle",
    severity: Severity::Error,
    title: "`like`, `after`, `same as`, `let` or `include` in a ring",
    page: Page {
        means: "Things need each other in a ring, so that none comes first: two props that are `like` each other, two \
                controllers whose universes each come after the other's, `let` values that need each other, files \
                that include each other.",
        why: "There is no first one to begin with, so none of them has a value.",
        source: "grammar/LANGUAGE.md, \"Blocks and settings\", grammar/LANGUAGE.md, \"controller\", grammar/LANGUAGE.md, \"Same data\", grammar/LANGUAGE.md, \"let\", grammar/LANGUAGE.md, \"include\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { universes after barn; ports 1..4 { } }\n\
                controller barn { universes after shed; ports 1..4 { } }\n\
                prop wreath * 2 { node bullet; string 50 nodes }\n\
                wire shed.1: wreath[1]\n\
                wire barn.1: wreath[2]\n",
        change: &[("after barn;", "from 1;")],
    },
    check: None,
};

/// In a larger ring, the message names only the first few. All its places are labelled.
const MOST_NAMED: usize = 9;

/// How to break a ring.
fn help(word: &str, names: &[String]) -> String {
    let first = names.first().map_or("", String::as_str);
    let last = names.last().map_or("", String::as_str);
    let bare = first.trim_matches('`');
    match word {
        "include" if names.len() == 1 => {
            format!("take the `include` of {first} out of itself")
        }
        "include" => format!(
            "take the `include` of {first} out of {last}; what one file declares is known in all the others"
        ),
        "let" => format!("give {first} a number of its own, as in `let {bare} = 28`"),
        "after" => format!("give {first} a start of its own, as in `universes from 1`"),
        "like" => {
            format!("take the `like` out of {first} and write its settings out in its block")
        }
        _ => format!("take the `{word}` out of {first} and give it strings of its own"),
    }
}

/// A ring, by the word that links it: each member's name and where it names the next, in order.
pub fn ring(word: &str, members: &[(String, Span)]) -> Diagnostic {
    let names: Vec<String> = members.iter().map(|(name, _)| format!("`{name}`")).collect();
    let first = members.first().map_or(Span::default(), |(_, span)| *span);
    let next = |at: usize| names.get((at + 1) % names.len().max(1)).cloned().unwrap_or_default();
    let message = match names.as_slice() {
        [one] if word == "let" => format!("the value of {one} needs itself"),
        [one] if word == "include" => format!("{one} includes itself"),
        [one] => format!("{one} is `{word}` itself"),
        many if many.len() > MOST_NAMED => format!("{} are in a ring of `{word}`", few(many)),
        many => format!("{} are in a ring of `{word}`", list(many, "and")),
    };
    let mut finding = RULE
        .report(first, message)
        .label(match names.as_slice() {
            [own] => format!("{own} needs itself here"),
            _ => format!("{} needs {} here", names.first().cloned().unwrap_or_default(), next(0)),
        })
        .why(match (word, names.len()) {
            ("include", _) => "a file can't be read in the middle of itself".to_owned(),
            (_, 1) => "it waits for itself, so it can't be worked out".to_owned(),
            _ => "each waits for the next, so none of them can be worked out".to_owned(),
        })
        .help(help(word, &names));
    for (at, (name, span)) in members.iter().enumerate().skip(1) {
        finding = finding.and(*span, format!("`{name}` needs {} here", next(at)));
    }
    finding
}
