//! Text made fit to stand in XML.

use std::fmt::Write as _;

/// Text as content or as an attribute between double quotes. What XML 1.0 (section 2.2) does not take, and
/// what would reorder the text around it, becomes a visible escape.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\u{fffe}' | '\u{ffff}' => out.push('\u{fffd}'),
            c if crate::diagnostic::words::is_unprintable(c) => {
                // Writing to a String can't fail.
                let _ = write!(out, "{}", c.escape_unicode());
            }
            c => out.push(c),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::escape;

    #[test]
    fn nothing_leaves_its_text() {
        assert_eq!(
            escape("<b> & \"]]>\" '\u{1b}\u{202e}\u{ffff}"),
            "&lt;b&gt; &amp; &quot;]]&gt;&quot; &#39;\\u{1b}\\u{202e}\u{fffd}"
        );
    }
}
