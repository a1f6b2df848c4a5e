//! Files that can't be read as part of a display.

use super::RULE;
use crate::diagnostic::{Diagnostic, words};
use crate::source::Span;

/// A file that is not UTF-8; its first `valid` bytes are.
#[must_use]
pub fn not_utf8(file: &crate::source::SourceFile, bytes: &[u8], valid: usize) -> Diagnostic {
    let utf16 = matches!(bytes, [0xff, 0xfe, ..] | [0xfe, 0xff, ..]);
    // The text that is shown agrees with the bytes up to the first wrong one.
    let at = file.base + u32::try_from(valid).unwrap_or(0);
    let end = file.text.get(valid..).and_then(|rest| rest.chars().next());
    let span = Span::new(at, at + end.map_or(0, |c| c.len_utf8() as u32));
    let byte = bytes.get(valid).copied().unwrap_or(0);
    let (message, label) = if utf16 {
        ("the file is UTF-16, not UTF-8".to_owned(), "not UTF-8 from here".to_owned())
    } else {
        (format!("the file is not UTF-8 at byte {}", valid + 1), format!("byte \\x{byte:02X}"))
    };
    RULE.report(span, message)
        .label(label)
        .why("letters beyond ASCII, such as `é`, would be read as something else")
        .help("save the file as UTF-8 in your editor")
}

/// An include of a file outside the folder of the main file.
#[must_use]
pub fn include_outside(span: Span, path: &str) -> Diagnostic {
    RULE.report(span, format!("`{}` lies outside the folder of the main file", words::shown(path)))
        .label("leaves the folder")
        .why("a display is one folder that can be copied and kept under version control")
        .help("copy the file into the folder of the main file and name it from there")
}

/// An include that can't be read.
#[must_use]
pub fn include_unreadable(span: Span, path: &str, why: &str) -> Diagnostic {
    RULE.report(
        span,
        if path.trim().is_empty() {
            "no file is named here".to_owned()
        } else {
            format!("`{}` can't be read: {why}", words::shown(path))
        },
    )
    .label("can't be read")
    .why("what it declares is missing from the display")
    .help("name a readable text file, as in `include \"porch.tinsel\"`")
}

/// An include that is too large, or makes the display too large.
#[must_use]
pub fn include_too_large(span: Span) -> Diagnostic {
    RULE.report(span, "this file is too large")
        .label("too large")
        .why("one file may have 16 MiB, all files of a display 64 MiB")
        .help("name the right file, or write the display shorter, with families and `like`")
}

/// Includes that are nested too deep, or too many.
#[must_use]
pub fn include_too_deep(span: Span, deepest: usize, most: usize) -> Diagnostic {
    RULE.report(
        span,
        format!("includes go deeper than {deepest} files, or there are more than {most}"),
    )
    .label("one too many")
    .why("a display is not made of that many files")
    .help("include the file from the main file")
}
