//! `syntax/unexpected`: text that does not parse.

mod bytes;
mod file;
mod setting;

pub use bytes::*;
pub use file::*;
pub use setting::*;

use crate::ast::BlockKind;
use crate::diagnostic::{Diagnostic, Edit, Severity, Words, words};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "syntax/unexpected",
    severity: Severity::Error,
    title: "text that does not parse",
    page: Page {
        means: "A statement or setting holds a word or mark that does not fit where it stands, or lacks one. Only \
                that statement or setting is left out; everything else is still read and checked.",
        why: "What can't be read gets no address, so part of the display would stay dark.",
        source: "the language guide",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                prop lamp { node bullet; string = 36 nodes }\n\
                controller porch { ports 1..4 { chip ws2811 } }\n\
                wire porch.1: lamp\n",
        right: "node bullet { chip ws2811; colour RGB }\n\
                prop lamp { node bullet; string 36 nodes }\n\
                controller porch { ports 1..4 { chip ws2811 } }\n\
                wire porch.1: lamp\n",
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
    RULE.at(
        span,
        Words {
            message,
            label: label.into(),
            why: why.to_owned(),
            help: help.into(),
        },
    )
}

/// What is being written where the text does not parse.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Thing<'a> {
    /// A statement with this keyword.
    Statement(&'a str),
    /// A setting of a block, with its first word.
    Setting(Option<BlockKind>, &'a str),
}

impl Thing<'_> {
    /// "a `wire` statement", "the setting `string`".
    fn words(self) -> String {
        match self {
            Self::Statement(word) => format!("a `{word}` statement"),
            Self::Setting(_, key) => format!("the setting `{}`", words::shown(key)),
        }
    }

    /// One right example.
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

/// One right statement of each keyword.
const STATEMENTS: [(&str, &str); 17] = [
    ("prop", "prop lamp { node bullet; string 36 nodes }"),
    ("wire", "wire boathouse.2: lighthouse.2 -> lamp"),
    ("display", "display \"Kestrel Quay\" { frame rate 40 Hz }"),
    ("node", "node bullet { chip ws2811; colour RGB }"),
    ("chip", "chip glow { rate 800 kHz; latch 300 us }"),
    (
        "controller",
        "controller boathouse { host 192.168.40.11; ports 1..16 { chip ws2811 } }",
    ),
    ("receiver", "receiver jetty { carries boathouse.9..12 }"),
    ("supply", "supply shed { volts 12 V; rated 350 W }"),
    ("circuit", "circuit porch { volts 120 V; breaker 15 A }"),
    ("reserve", "reserve boathouse.dmx1 slots 1..16 \"hazer\""),
    ("stored", "stored heron[3], lamp"),
    ("renamed", "renamed heron -> egret"),
    (
        "power",
        "power boathouse.1..16 from shed through 0.5 m of 12 AWG fuse 20 A",
    ),
    (
        "inject",
        "inject lighthouse every 6 strands from shed through 3 m of 16 AWG fuse 5 A",
    ),
    ("include", "include \"porch.tinsel\""),
    ("stock", "stock \"boards.tinsel\""),
    ("let", "let per-side = 28"),
];

fn statement_example(word: &str) -> &'static str {
    STATEMENTS
        .iter()
        .find(|(keyword, _)| *keyword == word)
        .map_or(
            "prop lamp { node bullet; string 36 nodes }",
            |(_, example)| example,
        )
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

/// Whether a word begins statements and never settings, so that a setting of this name is a slip.
#[must_use]
pub fn is_statement_word(word: &str) -> bool {
    word != "node" && word != "chip" && is_keyword(word)
}

/// Whether a word begins a statement.
#[must_use]
pub fn is_keyword(word: &str) -> bool {
    STATEMENTS.iter().any(|(keyword, _)| *keyword == word)
}

/// Something that does not fit where it stands.
///
/// `found` is it in words ("`heron`", "the end of the line"); `fits` are the words for what does.
#[must_use]
pub fn misfit(span: Span, thing: Thing<'_>, found: &str, fits: &[&str]) -> Diagnostic {
    let fits = match fits.len() {
        0 => "something else".to_owned(),
        1..=3 => words::list(fits, "or"),
        _ => match thing {
            Thing::Statement(_) => format!(
                "{} or what may follow",
                fits.first().copied().unwrap_or("a name")
            ),
            Thing::Setting(..) => "a word, a value or the end of the setting".to_owned(),
        },
    };
    finding(
        span,
        format!("{} has {found} where {fits} fits", thing.words()),
        format!("{fits} fits here"),
        format!("write it like this: `{}`", thing.example()),
    )
}

/// A first word that begins no statement.
#[must_use]
pub fn unknown_statement(span: Span, word: &str) -> Diagnostic {
    let shown = words::shown(word);
    let near = words::nearest(word, STATEMENTS.iter().map(|(keyword, _)| *keyword));
    let message = format!("no statement begins with `{shown}`");
    match near.first() {
        Some(keyword) => {
            let example = statement_example(keyword);
            let found = finding(
                span,
                message,
                format!("perhaps {}", words::ticked_or(&near)),
                format!("write {}, as in `{example}`", words::ticked_or(&near)),
            );
            if near.len() > 1 {
                return found;
            }
            found.fix(
                format!("write `{keyword}`"),
                vec![Edit {
                    span,
                    text: (*keyword).to_owned(),
                }],
            )
        }
        None => finding(
            span,
            message,
            "no statement",
            "begin with a keyword such as `prop`, `wire` or `controller`; a setting stands between the `{ }` of \
             its block, as in `prop lamp { node bullet; string 36 nodes }`",
        ),
    }
}

/// Something that is no word where a statement should begin.
#[must_use]
pub fn no_statement(span: Span, found: &str) -> Diagnostic {
    finding(
        span,
        format!("{found} stands where a statement begins"),
        "a statement begins with a word",
        "begin with a keyword such as `prop`, `wire` or `controller`, as in `wire boathouse.2: lamp`",
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
            "move it behind the `}}` that closes the block, as in `{}`",
            statement_example(word)
        ),
    )
}

/// `=` or `:` behind the first word of a setting.
#[must_use]
pub fn mark_after_key(span: Span, mark: &str, key: &str) -> Diagnostic {
    let key = words::shown(key);
    finding(
        span,
        format!("the setting `{key}` has a `{mark}` before its value"),
        format!("no `{mark}` here"),
        format!(
            "leave the `{mark}` out: a setting is its words and its value, as in `string 36 nodes`"
        ),
    )
    .fix(
        format!("leave out the `{mark}`"),
        vec![Edit {
            span,
            text: String::new(),
        }],
    )
}

/// A statement or setting behind another on one line.
#[must_use]
pub fn second_on_line(span: Span, thing: Thing<'_>, found: &str) -> Diagnostic {
    finding(
        span,
        format!("{found} follows {} on the same line", thing.words()),
        "begins something new",
        "put it on a line of its own, or write `;` between them",
    )
}

/// `//` or `/*`.
#[must_use]
pub fn foreign_comment(span: Span, mark: &str) -> Diagnostic {
    let found = finding(
        span,
        format!("`{mark}` begins no comment"),
        "a comment begins with `#`",
        "write `#` before a comment, on each of its lines: `# left of the door`",
    );
    if mark == "/*" {
        return found;
    }
    found.fix(
        "write `#`",
        vec![Edit {
            span,
            text: "#".to_owned(),
        }],
    )
}

/// Quotes round a name. `name` is the text between them.
#[must_use]
pub fn quoted_name(span: Span, name: &str) -> Diagnostic {
    let shown = words::shown(name);
    let plain = name.starts_with(char::is_alphabetic)
        && !name.ends_with('-')
        && name
            .chars()
            .all(|c| c.is_alphanumeric() || c == '-' || c == '_');
    let found = finding(
        span,
        format!("the name `{shown}` stands in quotes"),
        "a name has no quotes",
        if plain {
            format!("write `{shown}`")
        } else {
            "write a name of letters, digits, `-` and `_`, and put what is to be read in a label: `label \"…\"`"
                .to_owned()
        },
    );
    if !plain {
        return found;
    }
    found.fix(
        "leave out the quotes",
        vec![Edit {
            span,
            text: name.to_owned(),
        }],
    )
}

/// Quotes of another kind, as in `'porch'`.
#[must_use]
pub fn other_quote(span: Span, quote: char) -> Diagnostic {
    finding(
        span,
        format!("`{quote}` is no quotation mark here"),
        "not a quotation mark",
        "put texts between `\"` and `\"`, as in `label \"front porch\"`; names stand without",
    )
}

/// A name that ends in `-`.
#[must_use]
pub fn hanging_hyphen(span: Span, name: &str) -> Diagnostic {
    finding(
        span,
        format!("the name `{}` ends in `-`", words::shown(name)),
        "a name ends in a letter, a digit or `_`",
        "leave out the last `-`",
    )
}

/// A blank between a name and its `[`.
#[must_use]
pub fn parted_members(span: Span, name: &str) -> Diagnostic {
    let name = words::shown(name);
    finding(
        span,
        format!("a blank stands between `{name}` and its `[`"),
        "belongs to the name before it",
        format!("write `{name}[…]` without the blank"),
    )
}

/// A range with too many dots, or without one of its ends. `what` says which.
#[must_use]
pub fn bad_range(span: Span, what: &str) -> Diagnostic {
    finding(
        span,
        format!("a range {what}"),
        "a range has two dots between two numbers",
        "write both ends with two dots between them, as in `1..4`",
    )
}

/// `=>`, `-->` and other arrows.
#[must_use]
pub fn other_arrow(span: Span, text: &str) -> Diagnostic {
    finding(
        span,
        format!("`{}` is no arrow here", words::shown(text)),
        "not an arrow",
        "join the items of a chain by `->`, as in `lighthouse.2 -> lamp`",
    )
    .fix(
        "write `->`",
        vec![Edit {
            span,
            text: "->".to_owned(),
        }],
    )
}

/// Two items of a chain with nothing between them.
#[must_use]
pub fn unjoined(span: Span, found: &str) -> Diagnostic {
    finding(
        span,
        format!("{found} is not joined to the item before it"),
        "`->` or `,` is missing before this",
        "write `->` to go on on the same data line or `,` for the next port, as in `lighthouse.2 -> lamp`",
    )
}

/// An address of the newer internet protocol outside square brackets.
#[must_use]
pub fn bare_address(span: Span, address: &str) -> Diagnostic {
    let address = words::shown(address);
    finding(
        span,
        format!("the address `{address}` stands without brackets"),
        "needs `[` and `]` round it",
        format!("write `[{address}]`"),
    )
}

/// A `{` that is never closed; `next` is the first line that is sure not to belong to it.
#[must_use]
pub fn unclosed_brace(span: Span, next: Option<Span>) -> Diagnostic {
    finding(
        span,
        "this `{` is never closed".to_owned(),
        "opens a block that never ends",
        "write `}` behind the last setting of the block, as in `prop lamp { node bullet; string 36 nodes }`",
    )
    .and_if(next, "a new statement begins here, so the `}` belongs before it")
}

/// A `}` that closes nothing.
#[must_use]
pub fn stray_brace(span: Span) -> Diagnostic {
    finding(
        span,
        "this `}` closes nothing".to_owned(),
        "no `{` is open here",
        "take the `}` away, or write the `{` that it belongs to: `prop lamp { node bullet; string 36 nodes }`",
    )
}

/// A block whose `{` is missing; `close` is its `}`.
#[must_use]
pub fn missing_brace(span: Span, close: Span, word: &str) -> Diagnostic {
    finding(
        span,
        format!("the `{{` of this `{word}` is missing"),
        "`{` is missing behind this",
        format!(
            "write `{{` before the first setting, as in `{}`",
            statement_example(word)
        ),
    )
    .and(close, "this `}` closes it")
}

/// Brackets nested too deep.
#[must_use]
pub fn too_deep(span: Span, most: usize) -> Diagnostic {
    because(
        span,
        format!("brackets stand more than {most} deep"),
        "one bracket too deep",
        "no display needs this, and reading it could take more memory than there is",
        "close brackets that are open by mistake, or give parts of the arithmetic a name: `let per-side = 4 * 28`",
    )
}

/// A statement too long to be read.
#[must_use]
pub fn too_long(span: Span, most: usize) -> Diagnostic {
    because(
        span,
        format!(
            "a statement is longer than {} bytes",
            words::figure(most as u64)
        ),
        "begins here",
        "reading it could take more memory than there is",
        "write it as several statements",
    )
}

/// A source larger than is read.
#[must_use]
pub fn too_large(span: Span, most: usize) -> Diagnostic {
    because(
        span,
        format!(
            "the file is larger than {} bytes",
            words::figure(most as u64)
        ),
        "too large to be read",
        "reading it could take more memory than there is",
        "split the display into several files and `include` them: `include \"porch.tinsel\"`",
    )
}

/// A quote that is not closed on its line.
#[must_use]
pub fn unclosed_quote(span: Span) -> Diagnostic {
    finding(
        span,
        "this text in quotes does not end on its line".to_owned(),
        "the closing `\"` is missing",
        "write `\"` behind the text, as in `label \"front porch\"`",
    )
}

/// What a merge left in the file.
#[must_use]
pub fn conflict(first: Span, middle: Option<Span>, last: Option<Span>) -> Diagnostic {
    because(
        first,
        "a merge left its conflict in the file".to_owned(),
        "a conflict marker",
        "two versions of these lines stand one after the other, and only one of them can be meant",
        "keep one of the two versions, or what is right of both, and delete the marker lines",
    )
    .and_if(middle, "the other version begins here; it is not read")
    .and_if(last, "the conflict ends here")
}
