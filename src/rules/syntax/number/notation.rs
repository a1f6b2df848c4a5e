//! Numbers in a notation that the language does not have.

use super::finding;
use crate::diagnostic::{Diagnostic, Edit, words};
use crate::source::Span;

/// A number with more digits than can be kept.
#[must_use]
pub fn too_large(span: Span, text: &str) -> Diagnostic {
    finding(
        span,
        format!("the number `{}` is too large to be kept", words::shown(text)),
        "too many digits",
        "write at most 18 digits".to_owned(),
    )
}

/// A number with more than nine decimals.
#[must_use]
pub fn too_fine(span: Span, text: &str) -> Diagnostic {
    finding(
        span,
        format!("the number `{}` has more than nine decimals", words::shown(text)),
        "more than nine decimals",
        "write at most nine digits after the point".to_owned(),
    )
}

/// A value with more decimals than its kind may have; `what` names it.
#[must_use]
pub fn finer(span: Span, what: &str, written: String, decimals: u32) -> Diagnostic {
    finding(
        span,
        format!("{what} is {written}, but it may have at most {decimals} decimals"),
        "too many decimals",
        format!("write at most {decimals} digits after the point"),
    )
}

/// The value of a number in another notation, if it is whole and fits into 64 bits.
fn plain(text: &str) -> Option<u64> {
    let text = text.replace('_', "").to_lowercase();
    for (mark, base) in [("0x", 16), ("0b", 2), ("0o", 8)] {
        if let Some(digits) = text.strip_prefix(mark) {
            return u64::from_str_radix(digits, base).ok();
        }
    }
    let (digits, power) = text.split_once('e')?;
    let power = power.trim_start_matches('+').parse().ok()?;
    let digits: u64 = digits.parse().ok()?;
    digits.checked_mul(10_u64.checked_pow(power)?)
}

/// A number with an exponent or in another base: `1e3`, `0x10`.
#[must_use]
pub fn notation(span: Span, text: &str) -> Diagnostic {
    finding(
        span,
        format!("the number `{}` has an exponent or another base", words::shown(text)),
        "not a plain number",
        match plain(text) {
            Some(plain) => format!("write it in plain digits: `{plain}`"),
            None => "write it in plain digits".to_owned(),
        },
    )
}

/// A digit other than `0` to `9`.
#[must_use]
pub fn foreign_digit(span: Span, digit: char) -> Diagnostic {
    finding(
        span,
        format!("the digit `{digit}` (U+{:04X}) is not one of 0 to 9", u32::from(digit)),
        "not one of 0 to 9",
        "write numbers with the digits 0 to 9".to_owned(),
    )
}

/// A measure with more decimals than are kept: `finest` is the smallest step, `near` the value to
/// that step.
#[must_use]
pub fn finer_than_kept(
    span: Span,
    what: &str,
    written: &str,
    finest: &str,
    near: &str,
) -> Diagnostic {
    finding(
        span,
        format!("{what} is {written}, which is finer than steps of {finest}"),
        "too many decimals",
        format!("write `{near}`"),
    )
}

/// `.5`: a number that begins with its point.
#[must_use]
pub fn bare_point(span: Span) -> Diagnostic {
    finding(
        span,
        "a number begins with its point".to_owned(),
        "a digit is missing before the point",
        "write a 0 before the point: `0.5`".to_owned(),
    )
    .fix(
        "write a 0 before the point",
        vec![Edit { span: Span::new(span.start, span.start), text: "0".to_owned() }],
    )
}

/// `12x10`; `meant` is the same with `*`. In a setting that makes strings, `several` has the two
/// numbers: how many strings, and of how many nodes.
#[must_use]
pub fn letter_for_times(span: Span, meant: &str, several: Option<(&str, &str)>) -> Diagnostic {
    if let Some((count, length)) = several {
        let (count, length) = (words::shown(count), words::shown(length));
        return finding(
            span,
            "a letter stands between two numbers of a string".to_owned(),
            "several strings, or one?",
            format!(
                "write `strings {count} of {length} nodes` for {count} strings of {length} nodes each, or `string {} nodes` for \
                 one string of all of them",
                words::shown(meant)
            ),
        );
    }
    finding(
        span,
        "a letter stands where two numbers are multiplied".to_owned(),
        "`*` belongs between the numbers",
        format!("write `{}`", words::shown(meant)),
    )
}

/// `6OO`; `meant` is the same in digits.
#[must_use]
pub fn letters_for_digits(span: Span, meant: &str) -> Diagnostic {
    finding(
        span,
        "letters stand among the digits of a number".to_owned(),
        "a letter that looks like a digit",
        format!("write `{}`", words::shown(meant)),
    )
}

/// `at 12.1` for `at 12/1`.
#[must_use]
pub fn pin_with_point(span: Span, written: &str) -> Diagnostic {
    let meant = written.replacen('.', "/", 1);
    finding(
        span,
        format!("a pin is written with a point, `{}`", words::shown(written)),
        "`/` belongs between universe and slot",
        format!("write `at {}`", words::shown(&meant)),
    )
}

/// `at 12,1` for `at 12/1`.
#[must_use]
pub fn pin_with_comma(span: Span, written: &str) -> Diagnostic {
    let meant = written.replacen(',', "/", 1);
    finding(
        span,
        format!("a pin is written with a comma, `{written}`"),
        "`/` belongs between universe and slot",
        format!("write `at {meant}`"),
    )
}

/// `1,5`: a comma in place of the decimal point. `comma` is its place, `written` the number.
/// `parts` says whether the value may have decimals.
#[must_use]
pub fn decimal_comma(span: Span, comma: Span, written: &str, parts: bool) -> Diagnostic {
    let (whole, rest) = written.split_once(',').unwrap_or((written, ""));
    let told = |help: String| {
        finding(
            span,
            "a number is written with a comma".to_owned(),
            "a comma ends the number here",
            help,
        )
    };
    if rest.contains(',') {
        let (plain, parted) = (written.replace(',', ""), written.replace(',', "_"));
        return told(format!("write `{plain}`: numbers have no comma (`{parted}` is allowed)"));
    }
    let (joined, point) = (format!("{whole}{rest}"), format!("{whole}.{rest}"));
    // `1,200` may mean 1200 or 1.2.
    if rest.len() == 3 && whole != "0" {
        return told(match parts {
            true => format!("write `{joined}`, or `{point}` if that is meant"),
            false => {
                format!("write `{joined}`: numbers have no comma (`{whole}_{rest}` is allowed)")
            }
        });
    }
    if !parts {
        return told("write a whole number: a count has no decimals".to_owned());
    }
    told(format!("write decimals with a point: `{point}`"))
        .fix("write a point", vec![Edit { span: comma, text: ".".to_owned() }])
}
