//! `syntax/unknown-setting`: a setting that is not one of its block.

use crate::diagnostic::words::{nearest, shown, ticked_and, ticked_or};
use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::syntax::unexpected::said_elsewhere;
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
        why: "The line would have no effect, and no message would say so: a limit that is not read protects \
              nothing.",
        source: "grammar/LANGUAGE.md, \"Blocks and settings\" and the section of the block",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { hots 10.0.0.9; ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.1: wreath\n",
        change: &[("hots", "host")],
    },
    check: None,
};

/// Everyday words, each with the first word of the setting that means the same.
const MEANT: [(&str, &str); 24] = [
    ("nodes", "string"),
    ("max", "nodes"),
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

/// An example of each setting that an everyday word may mean.
const FORMS: [&str; 16] = [
    "host 192.168.40.11",
    "input e131 unicast",
    "universes from 1",
    "dim to 30 %",
    "frame rate 40 Hz",
    "colour RGB",
    "chip ws2811",
    "volts 12 V",
    "draw 55 mA",
    "pitch 75 mm",
    "gauge 18 AWG",
    "string 36 nodes",
    "slots 6",
    "nodes at most 600",
    "label \"front porch\"",
    "stands at 4 m, 2.5 m",
];

/// The first word of the setting that an everyday word stands for.
fn meant(written: &str) -> Option<&'static str> {
    let low = written.to_lowercase();
    MEANT.iter().find(|(word, _)| *word == low).map(|(_, meant)| *meant)
}

/// An example of the setting with this first word.
fn form(first: &str) -> Option<&'static str> {
    let first_of = |form: &str| form.split(' ').next() == Some(first);
    FORMS.into_iter().find(|form| first_of(form))
}

/// What to write for `framerate`, `frame-rate` or `dmx1`: words of a setting of the block in one.
fn in_one_word(written: &str, known: &[&str]) -> Option<String> {
    let plain = written.to_lowercase().replace(['-', '_'], "");
    let split = FORMS.into_iter().find(|form| {
        let mut words = form.split(' ');
        let (first, second) = (words.next().unwrap_or(""), words.next().unwrap_or(""));
        known.contains(&first) && plain.strip_prefix(first) == Some(second)
    });
    if let Some(form) = split {
        return Some(format!("write it as in `{form}`"));
    }
    let stem = plain.trim_end_matches(|c: char| c.is_ascii_digit());
    let number = plain.get(stem.len()..).filter(|number| !number.is_empty())?;
    known.contains(&stem).then(|| format!("write `{stem} {number}`"))
}

/// A first word that no setting of the block has. `known` are the first words of its settings,
/// `elsewhere` the kinds of block that have it. `blocks_with` gives those that have a word.
pub fn word(
    (span, written): (Span, &str),
    block: &str,
    known: &[&str],
    elsewhere: &[&str],
    blocks_with: impl Fn(&str) -> Vec<&'static str>,
) -> Diagnostic {
    let said_here = meant(written).filter(|word| known.contains(word));
    let near = match said_here {
        Some(word) => vec![word],
        None => nearest(written, known.iter().copied()),
    };
    let own = said_elsewhere(written, block);
    let one = in_one_word(written, known);
    let near = if one.is_some() || own.is_some() { Vec::new() } else { near };
    let help = match (near.as_slice(), elsewhere) {
        _ if own.is_some() => own.unwrap_or_default(),
        _ if one.is_some() => one.unwrap_or_default(),
        ([], []) => match meant(written) {
            Some(word) => format!("use `{word}`, a setting of {}", ticked_or(&blocks_with(word))),
            None => format!("settings of `{block}` are {}", ticked_and(known)),
        },
        ([], kinds) => {
            format!("`{}` is a setting of {}: move it there", shown(written), ticked_or(kinds))
        }
        (near, _) => match said_here.and_then(form) {
            Some(form) => format!("write it as in `{form}`"),
            None => format!("did you mean {}?", ticked_or(near)),
        },
    };
    let finding = RULE
        .report(span, format!("`{}` is not a setting of `{block}`", shown(written)))
        .label(format!("no setting of `{block}`"))
        .why("the line would have no effect")
        .help(help);
    // After an everyday word, the rest of the setting mostly has to change too, so there is no fix.
    match said_here {
        Some(_) => finding,
        None => finding.fix_near(span, &near),
    }
}
