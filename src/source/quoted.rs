//! Texts in quotes: `\"` is a quote and `\\` a backslash; any other backslash stands for itself.

use std::borrow::Cow;

/// The length of the escape that `bytes` begins with: 2 for `\"` and `\\`, else 0.
#[must_use]
pub fn escape(bytes: &[u8]) -> usize {
    match bytes {
        [b'\\', b'"' | b'\\', ..] => 2,
        _ => 0,
    }
}

/// The offset of the closing quote in the bytes after an opening one; `None` if no quote closes on
/// that line.
#[must_use]
pub fn closing(bytes: &[u8]) -> Option<usize> {
    let mut at = 0;
    loop {
        let rest = bytes.get(at..)?;
        at += rest.iter().position(|byte| matches!(byte, b'"' | b'\n' | b'\\'))?;
        match bytes.get(at)? {
            b'"' => return Some(at),
            b'\n' => return None,
            _ => at += escape(bytes.get(at..)?).max(1),
        }
    }
}

/// The text that stands between quotes, its escapes undone.
#[must_use]
pub fn said(written: &str) -> Cow<'_, str> {
    if !written.contains('\\') {
        return Cow::Borrowed(written);
    }
    let mut out = String::with_capacity(written.len());
    let mut chars = written.chars().peekable();
    while let Some(c) = chars.next() {
        let escaped = chars.next_if(|next| c == '\\' && matches!(next, '"' | '\\'));
        out.push(escaped.unwrap_or(c));
    }
    Cow::Owned(out)
}

/// A text as it is written between quotes, with escapes.
#[must_use]
pub fn written(said: &str) -> String {
    let mut out = String::with_capacity(said.len());
    for c in said.chars() {
        if matches!(c, '"' | '\\') {
            out.push('\\');
        }
        out.push(c);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_written_is_said() {
        for text in ["", "front porch", "12\" wreath", "a\\", "\\\"", "\"\"", "a\\b"] {
            let between = written(text);
            assert_eq!(said(&between), text);
            let line = format!("{between}\" # \"");
            assert_eq!(closing(line.as_bytes()), Some(between.len()), "{text}");
        }
        // A backslash before anything else stands for itself.
        assert_eq!(said("a\\b\\"), "a\\b\\");
        assert_eq!(closing(b"12\\\" wreath"), None);
        assert_eq!(closing(b"12\n\""), None);
    }
}
