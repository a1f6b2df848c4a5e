//! `name/unknown`: a name that nothing declares.

use crate::diagnostic::words::{nearest, shown, ticked_and, ticked_or};
use crate::diagnostic::{Diagnostic, Edit, Severity};
use crate::rules::syntax::unexpected::is_own_word;
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "name/unknown",
    severity: Severity::Error,
    title: "a name that nothing declares",
    page: Page {
        means: "A statement names a prop, node, chip, controller, receiver, supply, circuit or number that no \
                statement of the display (or of its included files) declares.",
        why: "Nothing can be wired, fed or copied that does not exist; most often it is a slip of the pen, and \
              a guess would put a string on the wrong port.",
        source: "grammar/LANGUAGE.md, \"Names\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop wreath { node bulet; string 50 nodes }\n\
                prop gable { node bullet; string 40 nodes }\n\
                wire shed.1: wreath -> gable\n",
        change: &[("bulet;", "bullet;")],
    },
    check: None,
};

/// A name of some kind (`prop`, `node`, …) that nothing declares. `known` are the names of this
/// kind, `other` is another kind that has the name.
pub fn name<'n>(
    span: Span,
    kind: &str,
    written: &str,
    known: impl Iterator<Item = &'n str>,
    other: Option<&str>,
) -> Diagnostic {
    let known: Vec<&str> = known.collect();
    let near = nearest(written, known.iter().copied());
    let written = shown(written);
    let word = kind.split(' ').next().unwrap_or(kind);
    let help = match (near.as_slice(), known.as_slice()) {
        ([], []) if other.is_some() => format!("name a {kind}; the display declares none yet"),
        ([], few) if other.is_some() && few.len() <= 6 => {
            format!("name a {kind}: there is {}", ticked_and(few))
        }
        ([], _) if other.is_some() => format!("name a {kind}"),
        ([], []) => format!("declare it: `{word} {written} {{ … }}`"),
        ([], few) if few.len() <= 6 => {
            format!("declare it (`{word} {written} {{ … }}`), or use {}", ticked_or(few))
        }
        ([], _) => format!("declare it: `{word} {written} {{ … }}`"),
        (near, _) => format!("did you mean {}?", ticked_or(near)),
    };
    let finding = RULE
        .report(span, format!("no {kind} is named `{written}`"))
        .label(match other {
            Some(other) => format!("this is a {other}"),
            None => format!("no such {kind}"),
        })
        .why(format!("without the {kind} this statement can't take effect"))
        .help(help);
    finding.fix_near(span, &near)
}

/// A chip that is neither declared nor built in; `near` are the chips that may be meant.
pub fn chip(span: Span, written: &str, near: &[&str]) -> Diagnostic {
    let written = shown(written);
    let help = if near.is_empty() {
        format!(
            "declare it with the figures of its data sheet, such as `chip {written} {{ rate 800 kHz; latch 300 us; depth 8 }}`"
        )
    } else {
        format!("did you mean {}?", ticked_or(near))
    };
    let finding = RULE
        .report(span, format!("no chip is named `{written}`"))
        .label("no such chip")
        .why("the chip's bits and bit time decide how many nodes fit into a frame")
        .help(help);
    finding.fix_near(span, near)
}

/// `wire fox: shed.2` for `wire shed.2: fox`; `kind` is the kind of `shed`, `meant` the statement
/// put right.
pub fn swapped(span: Span, target: &str, item: Span, kind: &str, meant: &str) -> Diagnostic {
    let (target, meant) = (shown(target), shown(meant));
    RULE.report(span, format!("a `wire` names the prop `{target}` before its port"))
        .label("a prop stands where the port belongs")
        .why("what stands before the `:` feeds what stands after it")
        .help(format!("write `{meant}`"))
        .and(item, format!("this is a {kind}"))
}

/// `fox1` or `shed1`, where `fox` is a family or `shed` has ports; `meant` is `fox[1]` or `shed.1`.
pub fn numbered(span: Span, kind: &str, written: &str, meant: &str) -> Diagnostic {
    let written = shown(written);
    RULE.report(span, format!("no {kind} is named `{written}`"))
        .label(format!("no such {kind}"))
        .why(format!("without the {kind} this statement can't take effect"))
        .help(format!("did you mean `{meant}`?"))
        .suggest(format!("write `{meant}`"), vec![Edit { span, text: meant.to_owned() }])
}

/// `prop NAME[N]` of a family that nothing declares.
pub fn family<'n>(span: Span, written: &str, known: impl Iterator<Item = &'n str>) -> Diagnostic {
    let near = nearest(written, known);
    let written = shown(written);
    let finding = RULE
        .report(span, format!("no prop is named `{written}`"))
        .label("no such family")
        .why("settings of single members need the family that they belong to")
        .help(match near.as_slice() {
            [] => format!("declare the family: `prop {written} * N {{ … }}`"),
            near => format!("did you mean {}?", ticked_or(near)),
        });
    finding.fix_near(span, &near)
}

/// A name in arithmetic that no `let` declares. For a name such as `side-1`, `subtraction` is what
/// was likely meant.
pub fn number<'n>(
    span: Span,
    written: &str,
    subtraction: Option<String>,
    known: impl Iterator<Item = &'n str>,
) -> Diagnostic {
    let mut known: Vec<&str> = known.collect();
    known.sort_unstable();
    let near = nearest(written, known);
    let written = shown(written);
    let help = match (&subtraction, near.as_slice()) {
        (Some(meant), _) => format!("put blanks round the minus: `{meant}`"),
        _ if is_own_word(&written) => {
            format!("`{written}` is a word of the language: write the number that is missing here")
        }
        (None, []) => {
            format!("give it a value with `let {written} = …`, or write the number itself")
        }
        (None, near) => format!("did you mean {}?", ticked_or(near)),
    };
    let finding = RULE
        .report(span, format!("no number is named `{written}`"))
        .label(if subtraction.is_some() {
            "this is one name: `-` is a letter of names".to_owned()
        } else {
            "no `let` names it".to_owned()
        })
        .why("the value of this name is not known")
        .help(help);
    match subtraction {
        Some(meant) => finding.fix(format!("write `{meant}`"), vec![Edit { span, text: meant }]),
        None => finding,
    }
}

/// An included file that does not exist.
pub fn file(span: Span, path: &str) -> Diagnostic {
    let path = shown(path);
    RULE.report(span, format!("there is no file `{path}`"))
        .label("no such file")
        .why("what it declares is missing from the display")
        .help("write its path as seen from the file that includes it, with `/` between folders")
}
