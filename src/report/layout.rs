//! Breaking prose into lines.

use unicode_width::UnicodeWidthStr;

/// Breaks each line of a text between words so that it fits `width` columns. Words are never cut.
/// Each line after the first begins with `indent`. Blanks at the start of a line are kept, for the
/// displays in pages.
#[must_use]
pub fn wrap(text: &str, indent: &str, width: usize) -> String {
    let mut out = String::with_capacity(text.len() + 16);
    let room = width.saturating_sub(indent.width()).max(20);
    for (number, line) in text.lines().enumerate() {
        if number > 0 {
            out.push('\n');
            out.push_str(if line.is_empty() { "" } else { indent });
        }
        wrap_line(line, indent, room, &mut out);
    }
    out
}

fn wrap_line(line: &str, indent: &str, room: usize, out: &mut String) {
    let body = line.trim_start_matches(' ');
    out.push_str(line.get(..line.len() - body.len()).unwrap_or(""));
    let mut used = line.len() - body.len();
    for (at, word) in body.split(' ').enumerate() {
        let wide = word.width();
        if at > 0 && used + 1 + wide > room {
            out.push('\n');
            out.push_str(indent);
            used = 0;
        } else if at > 0 {
            out.push(' ');
            used += 1;
        }
        out.push_str(word);
        used += wide;
    }
}

#[cfg(test)]
mod tests {
    use super::wrap;

    #[test]
    fn words_stay_whole_and_lines_fit() {
        let text = "move 20 nodes of `heron[3]` to /a/very/long/path/that/can/not/be/broken at all";
        let wrapped = wrap(text, "    ", 30);
        assert!(
            wrapped.lines().any(|line| line.contains("/a/very/long/path/that/can/not/be/broken"))
        );
        assert_eq!(wrapped.split_whitespace().collect::<Vec<_>>().join(" "), text);
        assert_eq!(wrap("one two\n\n  three", "> ", 40), "one two\n\n>   three");
    }
}
