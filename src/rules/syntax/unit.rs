//! `syntax/unit`: a unit that is missing, unknown or for something else.

use crate::diagnostic::words::{list, shown};
use crate::diagnostic::{Diagnostic, Edit, Severity};
use crate::rules::{Page, Rule};
use crate::source::Span;

/// The rule.
pub const RULE: Rule = Rule {
    code: "syntax/unit",
    severity: Severity::Error,
    title: "a unit that is missing or does not fit",
    page: Page {
        means: "A number that measures something stands without its unit, or with a unit that measures \
                something else.",
        why: "5 can be volts or amperes, 3 can be metres or feet; a guess here is a blown fuse or a cable that \
              is too short.",
        source: "grammar/LANGUAGE.md, \"Numbers and units\"",
        wrong: "node bullet { chip ws2811; colour RGB; volts 12 A }\n\
                controller shed { ports 1..4 { } }\n\
                prop wreath { node bullet; string 50 nodes }\n\
                wire shed.1: wreath\n",
        change: &[("A", "V")],
    },
    check: None,
};

fn ticked(units: &[&str]) -> String {
    let units: Vec<String> = units.iter().map(|unit| format!("`{unit}`")).collect();
    list(&units, "or")
}

/// A number without the unit that it needs; `units` are those that fit.
pub fn missing(span: Span, written: &str, what: &str, units: &[&str]) -> Diagnostic {
    let written = shown(written);
    let one = units.first().copied().unwrap_or_default();
    let finding = RULE
        .report(span, format!("{what} has no unit"))
        .label(format!("{} of what?", written))
        .why("a bare number could be meant in any unit")
        .help(match units {
            [_] => format!("write `{written} {one}`"),
            _ => format!("say which: {}, as in `{written} {one}`", ticked(units)),
        });
    match units {
        [one] => finding.fix(
            format!("write `{written} {one}`"),
            vec![Edit { span: Span::new(span.end, span.end), text: format!(" {one}") }],
        ),
        _ => finding,
    }
}

/// `dim to 0.8`: a part of 1 in place of a percentage. `percent` is the same in percent.
pub fn share(span: Span, written: &str, what: &str, percent: Option<&str>) -> Diagnostic {
    RULE.report(span, format!("{what} has no unit"))
        .label(format!("{} of what?", shown(written)))
        .why("a bare number could be meant in any unit")
        .help(match percent {
            Some(percent) => format!("write `{percent} %`"),
            None => "write it in percent, as in `30 %`".to_owned(),
        })
}

/// A unit that measures something else or does not exist. `written` names the value, then has its
/// number; `units` are those that fit.
pub fn wrong(span: Span, unit: &str, written: (&str, &str), units: &[&str]) -> Diagnostic {
    let unit = shown(unit);
    let (what, number) = (written.0, shown(written.1));
    let known = crate::unit::find(&unit).is_some();
    // `75 MM`: a right unit in another case. Else the only unit that fits, unless the number was
    // meant in a unit of another kind: `350 mA` is not `350 W`.
    let same = units.iter().find(|one| one.eq_ignore_ascii_case(&unit)).or(match units {
        [one] if !known => Some(one),
        _ => None,
    });
    let finding = RULE
        .report(span, format!("{what} can't be in `{unit}`"))
        .label(if known { "measures something else".to_owned() } else { "no such unit".to_owned() })
        .why("the number would be read as something else")
        .help(match same {
            Some(one) => format!("write `{number} {one}`"),
            None => format!("use {}", ticked(units)),
        });
    match same {
        Some(one) => {
            finding.suggest(format!("write `{one}`"), vec![Edit { span, text: (*one).to_owned() }])
        }
        None => finding,
    }
}

/// A unit after a number that takes none; `why` says why it takes none.
pub fn not_wanted(span: Span, unit: &str, why: &str) -> Diagnostic {
    RULE.report(span, format!("the unit `{}` does not belong here", shown(unit)))
        .label("no unit here")
        .why(why.to_owned())
        .help("leave the unit out")
}
