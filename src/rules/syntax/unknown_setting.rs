//! `syntax/unknown-setting`: a setting that is not one of its block.

use crate::diagnostic::words::{nearest, shown, ticked_and, ticked_or};
use crate::diagnostic::{Diagnostic, Severity, Words};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "syntax/unknown-setting",
    severity: Severity::Error,
    title: "a setting that this block does not have",
    page: Page {
        means: "A line in a block begins with a word that is no setting of that kind of block: misspelt, or a \
                setting of another kind.",
        why: "What the line was meant to say would silently not hold: a limit that is not read protects \
              nothing.",
        source: "the language guide, statements and their settings",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { hots 10.0.0.9; ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.1: wreath\n",
        right: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { host 10.0.0.9; ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.1: wreath\n",
    },
    check: None,
};

/// Words that people use, and the first word of the setting that says it here.
const MEANT: [(&str, &str); 22] = [
    ("ip", "host"),
    ("address", "host"),
    ("protocol", "input"),
    ("start", "universes"),
    ("brightness", "dim"),
    ("fps", "frame"),
    ("refresh", "frame"),
    ("order", "colour"),
    ("rgb", "colour"),
    ("type", "chip"),
    ("voltage", "volts"),
    ("current", "draw"),
    ("watts", "draw"),
    ("spacing", "pitch"),
    ("awg", "gauge"),
    ("leds", "string"),
    ("pixels", "string"),
    ("length", "string"),
    ("channels", "slots"),
    ("limit", "nodes"),
    ("name", "label"),
    ("position", "stands"),
];

/// The first word of the setting that a word of everyday use stands for.
fn meant(written: &str) -> Option<&'static str> {
    let low = written.to_lowercase();
    MEANT
        .iter()
        .find(|(word, _)| *word == low)
        .map(|(_, meant)| *meant)
}

/// A first word that no setting of the block has. `known` are the first words of its settings, `elsewhere`
/// the kinds of block that do have it, `blocks_with` the kinds that have another.
pub fn word(
    span: Span,
    written: &str,
    block: &str,
    known: &[&str],
    elsewhere: &[&str],
    blocks_with: impl Fn(&str) -> Vec<&'static str>,
) -> Diagnostic {
    let near = nearest(written, known.iter().copied());
    let help = match (near.as_slice(), elsewhere) {
        ([], []) => match meant(written) {
            Some(word) if known.contains(&word) => format!("did you mean `{word}`?"),
            Some(word) => format!(
                "what says this is `{word}`, a setting of {}",
                ticked_or(&blocks_with(word))
            ),
            None => format!("settings of `{block}` are {}", ticked_and(known)),
        },
        ([], kinds) => format!(
            "`{}` is a setting of {}: move it there",
            shown(written),
            ticked_or(kinds)
        ),
        (near, _) => format!("did you mean {}?", ticked_or(near)),
    };
    let finding = RULE.at(
        span,
        Words {
            message: format!("`{}` is not a setting of `{block}`", shown(written)),
            label: format!("no setting of `{block}`"),
            why: "what it says would not hold".to_owned(),
            help,
        },
    );
    finding.fix_near(span, &near)
}
