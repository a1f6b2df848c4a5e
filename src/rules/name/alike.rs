//! `name/alike`: two names that look the same to a person.

use crate::diagnostic::words::shown;
use crate::diagnostic::{Diagnostic, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "name/alike",
    severity: Severity::Advice,
    title: "two names that look alike",
    page: Page {
        means: "Two names of one kind differ only in capitals, in `-` and `_`, or in letters of different alphabets that look \
                the same. To the compiler they are two things.",
        why: "A person reads them as one name. If a wire names the wrong one, no message reports it.",
        source: "grammar/LANGUAGE.md, \"Names\"",
        wrong: "node bullet { chip ws2811; colour RGB }\n\
                controller shed { ports 1..4 { } }\n\
                prop owl { node bullet; string 50 nodes }\n\
                prop Owl { node bullet; string 60 nodes }\n\
                wire shed.1: owl -> Owl\n",
        change: &[("prop Owl", "prop big-owl"), ("-> Owl", "-> big-owl")],
    },
    check: None,
};

/// Letters of other alphabets and the Latin letters that they look like, all in lower case.
const LIKE_LATIN: [(&str, &str); 2] =
    [("авеёкмнорстухіїјѕԛԝһӏ", "abeekmhopctyxiijsqwhl"), ("αεικνορτυχ", "aeikvoptux")];

/// A name as it looks: in lower case, with `-` for `_` and Latin letters for those that look like
/// them. `None` where that is the name itself.
#[must_use]
pub fn looks(name: &str) -> Option<String> {
    let plain = |b: u8| b.is_ascii() && !b.is_ascii_uppercase() && b != b'_';
    if name.bytes().all(plain) {
        return None;
    }
    let latin = |c: char| {
        LIKE_LATIN.iter().find_map(|(from, to)| {
            let at = from.chars().position(|one| one == c)?;
            to.chars().nth(at)
        })
    };
    let looks: String = name
        .to_lowercase()
        .chars()
        .map(|c| if c == '_' { '-' } else { latin(c).unwrap_or(c) })
        .collect();
    (looks != name).then_some(looks)
}

/// The second of two names that look alike.
pub fn second(kind: &str, name: &str, at: Span, other: &str, other_at: Span) -> Diagnostic {
    let (dashed, other_dashed) = (name.replace('_', "-"), other.replace('_', "-"));
    let how = if name.to_lowercase() == other.to_lowercase() {
        "only in capitals"
    } else if dashed == other_dashed {
        "only in `-` and `_`"
    } else if dashed.to_lowercase() == other_dashed.to_lowercase() {
        "only in capitals and in `-` and `_`"
    } else {
        "in letters that look the same"
    };
    let (name, other) = (shown(name), shown(other));
    RULE.report(at, format!("{kind} `{name}` differs from `{other}` {how}"))
        .label("looks like the other name")
        .why("if a wire named the wrong one, no message would report it")
        .help("give one of them another name")
        .and(other_at, format!("`{other}` is declared here"))
}

#[cfg(test)]
mod tests {
    use super::{LIKE_LATIN, looks};

    #[test]
    fn each_letter_has_its_latin_one() {
        for (from, to) in LIKE_LATIN {
            assert_eq!(from.chars().count(), to.chars().count());
        }
        assert_eq!(looks("Сор").as_deref(), Some("cop"));
        assert_eq!(looks("Big_Owl").as_deref(), Some("big-owl"));
        assert_eq!(looks("big-owl"), None);
        assert_eq!(looks("höhle"), None);
    }
}
