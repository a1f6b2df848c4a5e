//! `syntax/unexpected`: text that does not parse.

mod braces;
mod bytes;
mod chain_slips;
mod file;
mod name_slips;
mod own_words;
mod pin_slips;
mod range_slips;
mod setting;
mod setting_slips;
mod slips;

pub use braces::*;
pub use bytes::*;
pub use chain_slips::*;
pub use file::*;
pub use name_slips::*;
pub use own_words::*;
pub use pin_slips::*;
pub use range_slips::*;
pub use setting::*;
pub use setting_slips::*;
pub use slips::*;

use crate::ast::BlockKind;
use crate::diagnostic::{Diagnostic, Edit, Severity, words};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "syntax/unexpected",
    severity: Severity::Error,
    title: "text that does not parse",
    page: Page {
        means: "A statement or setting has a word or mark in the wrong place, or one is missing. Only \
                that statement or setting is left out; everything else is still read and checked.",
        why: "What can't be read gets no address, so part of the display would stay dark.",
        source: "grammar/LANGUAGE.md, \"Text, lines and comments\", grammar/LANGUAGE.md, \"Blocks and settings\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                prop lamp { node bullet; string = 36 nodes }\n\
                controller porch { ports 1..4 { chip ws2811 } }\n\
                wire porch.1: lamp\n",
        change: &[("= ", "")],
    },
    check: None,
};

const WHY: &str = "what can't be read is left out, so its nodes would get no addresses";

fn finding(
    span: Span,
    message: String,
    label: impl Into<String>,
    help: impl Into<String>,
) -> Diagnostic {
    because(span, message, label, WHY, help)
}

fn because(
    span: Span,
    message: String,
    label: impl Into<String>,
    why: &str,
    help: impl Into<String>,
) -> Diagnostic {
    RULE.report(span, message).label(label).why(why.to_owned()).help(help)
}

/// What the text that does not parse is part of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Thing<'a> {
    /// A statement with this keyword.
    Statement(&'a str),
    /// A setting of a block, with its first word.
    Setting(Option<BlockKind>, &'a str),
}

impl Thing<'_> {
    /// It in words: "a `wire` statement", "the setting `string`".
    fn words(self) -> String {
        match self {
            Self::Statement(word) => format!("{} `{word}` statement", article(word)),
            Self::Setting(_, key) => format!("the setting `{}`", words::shown(key)),
        }
    }

    /// A right example. A setting `string` has two, with the backticks between them.
    fn example(self) -> &'static str {
        match self {
            Self::Statement(word) => statement_example(word),
            Self::Setting(_, "string") => {
                "string 36 nodes` or `string eaves: left 34 nodes -> right 46 nodes"
            }
            Self::Setting(_, "ports" | "port") => "ports 1..16 { chip ws2811; nodes at most 800 }",
            Self::Setting(_, "stands") => "stands at 2.5 m, -3 m",
            Self::Setting(Some(kind), _) => setting_example(kind),
            Self::Setting(None, _) => "nodes at most 800",
        }
    }
}

/// The article that fits a word: `a` or `an`.
fn article(word: &str) -> &'static str {
    if word.starts_with(['a', 'e', 'i', 'o']) { "an" } else { "a" }
}

/// One right statement of each keyword.
const STATEMENTS: [(&str, &str); 17] = [
    ("prop", "prop lamp { node bullet; string 36 nodes }"),
    ("wire", "wire boathouse.2: lighthouse.2 -> lamp"),
    ("display", "display \"Kestrel Quay\" { frame rate 40 Hz }"),
    ("node", "node bullet { chip ws2811; colour RGB }"),
    ("chip", "chip glow { rate 800 kHz; latch 300 us }"),
    ("controller", "controller boathouse { host 192.168.40.11; ports 1..16 { chip ws2811 } }"),
    ("receiver", "receiver jetty { carries boathouse.9..12 }"),
    ("supply", "supply shed { volts 12 V; rated 350 W }"),
    ("circuit", "circuit porch { volts 120 V; breaker 15 A }"),
    ("reserve", "reserve boathouse.dmx1 slots 1..16 \"hazer\""),
    ("stored", "stored heron[3], lamp"),
    ("renamed", "renamed heron -> egret"),
    ("power", "power boathouse.1..16 from shed through 0.5 m of 12 AWG fuse 20 A"),
    ("inject", "inject lighthouse every 6 strands from shed through 3 m of 16 AWG fuse 5 A"),
    ("include", "include \"porch.tinsel\""),
    ("stock", "stock \"boards.tinsel\""),
    ("let", "let per-side = 28"),
];

fn statement_example(word: &str) -> &'static str {
    STATEMENTS
        .iter()
        .find(|(keyword, _)| *keyword == word)
        .map_or("prop lamp { node bullet; string 36 nodes }", |(_, example)| example)
}

fn setting_example(kind: BlockKind) -> &'static str {
    match kind {
        BlockKind::Display => "frame rate 40 Hz",
        BlockKind::Chip => "rate 800 kHz",
        BlockKind::Node => "colour RGB",
        BlockKind::Controller => "host 192.168.40.11",
        BlockKind::Receiver => "carries boathouse.9..12",
        BlockKind::Prop => "string 36 nodes",
        BlockKind::Supply => "rated 350 W",
        BlockKind::Circuit => "breaker 15 A",
    }
}

/// Whether a word begins statements and no settings, so that it is a slip as a setting.
#[must_use]
pub fn is_statement_word(word: &str) -> bool {
    word != "node" && word != "chip" && is_keyword(word)
}

/// Whether a word begins a statement.
#[must_use]
pub fn is_keyword(word: &str) -> bool {
    STATEMENTS.iter().any(|(keyword, _)| *keyword == word)
}

/// Whether a word is a keyword, a joining word or a unit, so that it is a slip as a number.
#[must_use]
pub fn is_own_word(word: &str) -> bool {
    const JOINTS: [&str; 19] = [
        "of", "at", "to", "from", "per", "through", "fuse", "apart", "by", "like", "every",
        "after", "most", "as", "skip", "lead", "size", "port", "channel",
    ];
    JOINTS.contains(&word) || is_keyword(word) || crate::unit::find(word).is_some()
}

/// Something that does not fit where it stands.
///
/// `found` is that in words ("`heron`", "the end of the line"), `fits` what would fit, in words.
#[must_use]
pub fn misfit(span: Span, thing: Thing<'_>, found: &str, fits: &[&str]) -> Diagnostic {
    let fits = match fits.len() {
        0 => "something else".to_owned(),
        1..=4 => words::list(fits, "or"),
        _ => match thing {
            Thing::Statement(_) => words::list(fits.get(..4).unwrap_or(fits), "or"),
            Thing::Setting(..) => "a word, a value or the end of the setting".to_owned(),
        },
    };
    finding(
        span,
        format!("{} has {found} where {fits} should be", thing.words()),
        format!("{fits} should be here"),
        format!("write it like this: `{}`", thing.example()),
    )
}

/// A first word that begins no statement.
#[must_use]
pub fn unknown_statement(span: Span, word: &str) -> Diagnostic {
    let shown = words::shown(word);
    let near = words::nearest(word, STATEMENTS.iter().map(|(keyword, _)| *keyword));
    let message = format!("no statement begins with `{shown}`");
    let near = match said_elsewhere(word, "statement") {
        Some(_) => Vec::new(),
        None => near,
    };
    match near.first() {
        Some(keyword) => {
            let example = statement_example(keyword);
            let found = finding(
                span,
                message,
                format!("perhaps {}", words::ticked_or(&near)),
                format!("write {}, as in `{example}`", words::ticked_or(&near)),
            );
            let edits = vec![Edit {
                span,
                text: (*keyword).to_owned(),
            }];
            match near.len() {
                1 if keyword.eq_ignore_ascii_case(word) => {
                    found.fix(format!("write `{keyword}`"), edits)
                }
                1 => found.suggest(format!("write `{keyword}`"), edits),
                _ => found,
            }
        }
        None => finding(
            span,
            message,
            "not the beginning of a statement",
            said_elsewhere(word, "statement").unwrap_or_else(|| {
                "begin with a keyword such as `prop`, `wire` or `controller`; a setting stands between the `{ }` of \
                 its block, as in `prop lamp { node bullet; string 36 nodes }`"
                    .to_owned()
            }),
        ),
    }
}

/// Something other than a word where a statement should begin.
#[must_use]
pub fn no_statement(span: Span, found: &str) -> Diagnostic {
    finding(
        span,
        format!("{found} stands where a statement should begin"),
        "a statement begins with a word",
        "begin with a keyword such as `prop`, `wire` or `controller`, as in `wire boathouse.2: lamp`",
    )
}

/// Something other than a word where a setting should begin.
#[must_use]
pub fn no_setting(span: Span, found: &str, of: Option<BlockKind>) -> Diagnostic {
    let example = of.map_or("nodes at most 800", setting_example);
    finding(
        span,
        format!("{found} stands where a setting should begin"),
        "a setting begins with a word",
        format!("begin with the setting's own word, as in `{example}`"),
    )
}

/// A statement between the braces of a block.
#[must_use]
pub fn statement_in_block(span: Span, word: &str, of: Option<BlockKind>) -> Diagnostic {
    let block = of.map_or_else(
        || "an inner block".to_owned(),
        |kind| format!("the block of a `{}`", kind.word()),
    );
    finding(
        span,
        format!("`{word}` stands within {block}"),
        "a statement of its own, not a setting",
        format!(
            "move it after the `}}` that closes the block, as in `{}`",
            statement_example(word)
        ),
    )
}
