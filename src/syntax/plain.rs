//! A stretch of text as pest reads it: comments, tabs and the carriage returns of line ends are blanks.
//!
//! Each is replaced by as many bytes, so that every place stays. The grammar then knows one blank.

use std::borrow::Cow;

/// The stretch with blanks in place of what means no more than one.
pub(super) fn plain(text: &str) -> Cow<'_, str> {
    // A fold without an early end is done many bytes at a time.
    let special = |byte: u8| matches!(byte, b'#' | b'\t' | b'\r');
    if !text.bytes().fold(false, |any, byte| any | special(byte)) {
        return Cow::Borrowed(text);
    }
    let mut out = String::with_capacity(text.len());
    for line in text.split_inclusive('\n') {
        let (code, comment) = line.split_at(comment_start(line));
        if code.contains(['\t', '\r']) {
            let blank = |c| if matches!(c, '\t' | '\r') { ' ' } else { c };
            out.extend(code.chars().map(blank));
        } else {
            out.push_str(code);
        }
        let ended = comment.ends_with('\n');
        let length = comment.len() - usize::from(ended);
        out.extend(std::iter::repeat_n(' ', length));
        if ended {
            out.push('\n');
        }
    }
    Cow::Owned(out)
}

/// Where the comment of a line begins, or the end of the line.
fn comment_start(line: &str) -> usize {
    if !line.contains('#') {
        return line.len();
    }
    let mut quoted = false;
    for (at, byte) in line.bytes().enumerate() {
        match byte {
            b'"' => quoted = !quoted,
            b'#' if !quoted => return at,
            _ => {}
        }
    }
    line.len()
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
            ("\"a\tb\"", "\"a b\""),
        ];
        for (text, blanked) in cases {
            assert_eq!(plain(text), blanked);
            assert_eq!(text.len(), blanked.len());
        }
    }
}
