//! A stretch of text as pest reads it: comments, tabs and carriage returns are replaced by blanks.
//!
//! Each is replaced by as many bytes, so that every offset stays. The grammar needs one blank only.

use super::byteset::ByteSet;
use super::statement::line_end;
use crate::source::quoted;
use std::borrow::Cow;

/// Bytes that are copied and change nothing. Quotes and line ends are not among them: they decide
/// whether a `#` begins a comment.
const CALM: ByteSet = ByteSet::but(b"#\t\r\"\n\\");

/// The stretch with blanks in place of comments, tabs and carriage returns.
pub(super) fn plain(text: &str) -> Cow<'_, str> {
    let bytes = text.as_bytes();
    let blank = |byte: u8| matches!(byte, b'#' | b'\t' | b'\r');
    // A fold that never stops early is compiled to handle many bytes at a time.
    if !bytes.iter().fold(false, |any, byte| any | blank(*byte)) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    let (mut done, mut at, mut quoted) = (0, 0, false);
    loop {
        let from = at + CALM.run(bytes.get(at..).unwrap_or_default());
        at = from + 1;
        match bytes.get(from) {
            None => break,
            Some(b'\\') => {
                let rest = bytes.get(from..).unwrap_or_default();
                at += usize::from(quoted && quoted::escape(rest) > 0);
            }
            Some(b'"') => quoted = !quoted,
            Some(b'\n') => quoted = false,
            Some(b'#') if quoted => {}
            mark => {
                if mark == Some(&b'#') {
                    at = line_end(bytes, from);
                }
                out.push_str(text.get(done..from).unwrap_or(""));
                out.extend(std::iter::repeat_n(' ', at - from));
                done = at;
            }
        }
    }
    out.push_str(text.get(done..).unwrap_or(""));
    Cow::Owned(out)
}

#[cfg(test)]
mod tests {
    use super::plain;
    use std::borrow::Cow;

    #[test]
    fn nothing_special_is_not_copied() {
        assert!(matches!(plain("prop a { }\n"), Cow::Borrowed(_)));
    }

    #[test]
    fn places_stay() {
        let cases = [
            ("a # é\nb", "a     \nb"),
            ("a\tb\r\n", "a b \n"),
            ("\"#\" # x", "\"#\"    "),
            ("\"\\\"#\" # x", "\"\\\"#\"    "),
            ("\"\\\\\"# x", "\"\\\\\"   "),
            ("\"a\tb\"", "\"a b\""),
        ];
        for (text, blanked) in cases {
            assert_eq!(plain(text), blanked);
            assert_eq!(text.len(), blanked.len());
        }
    }
}
