//! `syntax/repeated-setting`: one setting given twice in a block.

use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "syntax/repeated-setting",
    severity: Severity::Error,
    title: "one setting given twice in a block",
    page: Page {
        means: "A setting that may stand once stands twice in one block, or a block has two settings of which it may \
                have only one (`slots` beside `string`, `universes from` beside `universes after`).",
        why: "Only one of them can hold, and which one was meant can't be seen from the text.",
        source: "grammar/LANGUAGE.md, \"Blocks and settings\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed {\n    universes from 1\n    universes from 20\n    ports 1..4 { }\n}\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.1: wreath\n",
        change: &[("    universes from 1\n", "")],
    },
    check: None,
};

/// A setting that is given a second time.
pub fn again(second: Span, first: Span, key: &str, block: &str) -> Diagnostic {
    RULE.report(second, format!("`{key}` is set twice in one `{block}`"))
        .label("set again here")
        .why("only one of the two can hold")
        .help("keep the one that is meant and remove the other")
        .and(first, "first set here")
}

/// `align` beside `addressing consecutive`: allowed, but without effect.
pub fn align_dropped(align: Span, addressing: Option<Span>, name: &str) -> Diagnostic {
    RULE.report(
        align,
        format!("`align` has no effect on `{name}`, which is `addressing consecutive`"),
    )
    .label("no effect")
    .why("on a consecutive controller each port begins right where the one before it ends")
    .help("take the `align` away, or write `addressing per port`")
    .and_if(addressing, "addressing is consecutive")
    .weighing(Severity::Warning)
}

/// A setting that two overrides give to one member of a family. The `word` is `string` for every
/// setting that says what a member is made of.
pub fn for_member(second: Span, first: Span, word: &str, member: u32) -> Diagnostic {
    RULE.report(second, format!("`{word}` of member {member} is set twice"))
        .label("set again here")
        .why("only one of the two can hold")
        .help(format!(
            "keep the one that is meant, and leave {member} out of the members of the other"
        ))
        .and(first, "first set here")
}

/// Two settings of which a block may have only one; `words` are the first and the second.
pub fn either(second: Span, first: Span, words: (&str, &str), why: &str) -> Diagnostic {
    RULE.report(
        second,
        format!("`{}` stands beside `{}`, but a block may have only one of them", words.1, words.0),
    )
    .label(format!("can't stand beside `{}`", words.0))
    .why(why.to_owned())
    .help("keep the one that is meant and remove the other")
    .and(first, format!("`{}` here", words.0))
}
