//! HTML and SVG that shown text cannot break.
//!
//! Markup goes in as `&'static str` only, so all of it is in this program. Everything else goes in
//! as text and is escaped here. That holds for content and for attributes between double quotes.

use crate::diagnostic::words;
use std::fmt::{self, Display, Write};

/// A document that is being written.
#[derive(Default)]
pub struct Html {
    text: String,
}

impl Html {
    /// Adds markup, unescaped.
    pub fn raw(&mut self, markup: &'static str) {
        self.text.push_str(markup);
    }

    /// Adds text, escaped.
    pub fn text(&mut self, text: &(impl Display + ?Sized)) {
        // Writing to a String can't fail.
        let _ = write!(Escaping(&mut self.text), "{text}");
    }

    /// Adds JSON as the content of a `script` element. Every `<` is escaped, so nothing in it ends
    /// the element.
    pub fn json(&mut self, json: &str) {
        for c in json.chars() {
            match c {
                '<' => self.text.push_str("\\u003c"),
                '\u{2028}' => self.text.push_str("\\u2028"),
                '\u{2029}' => self.text.push_str("\\u2029"),
                c => self.text.push(c),
            }
        }
    }

    /// The text outside all tags, piece by piece: what a reader sees. Text and attributes are
    /// escaped, so a `<` always begins a tag and the next `>` ends it.
    pub fn printed(&self) -> impl Iterator<Item = &str> {
        let parts = self.text.split('<').enumerate();
        let texts = parts.filter_map(|(at, part)| match at {
            0 => Some(part),
            _ => part.split_once('>').map(|(_, text)| text),
        });
        texts.filter(|text| !text.trim().is_empty())
    }

    /// The whole document.
    #[must_use]
    pub fn finish(self) -> String {
        self.text
    }
}

/// Escapes text for content or attributes of XML or HTML.
#[must_use]
pub fn escape(text: &str) -> String {
    let mut html = Html::default();
    html.text(text);
    html.finish()
}

/// Escapes what would be markup, what XML 1.0 (section 2.2) does not take, and unprintable
/// characters.
struct Escaping<'a>(&'a mut String);

impl Write for Escaping<'_> {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        for c in text.chars() {
            match c {
                '&' => self.0.push_str("&amp;"),
                '<' => self.0.push_str("&lt;"),
                '>' => self.0.push_str("&gt;"),
                '"' => self.0.push_str("&quot;"),
                '\'' => self.0.push_str("&#39;"),
                '\u{fffe}' | '\u{ffff}' => self.0.push('\u{fffd}'),
                c if words::is_unprintable(c) => self.0.extend(c.escape_unicode()),
                c => self.0.push(c),
            }
        }
        Ok(())
    }
}

/// A whole number with its digits in groups of three, for people who only read it: `63,999`.
#[must_use]
pub fn figure(number: u64) -> String {
    let digits = number.to_string();
    let mut out = String::with_capacity(digits.len() + digits.len() / 3);
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            out.push(',');
        }
        out.push(digit);
    }
    out
}

/// The first and last of some numbers with `joint` between them; one number where they are equal.
#[must_use]
pub fn between(first: u32, joint: &str, last: u32) -> String {
    match first == last {
        true => first.to_string(),
        false => format!("{first}{joint}{last}"),
    }
}

/// Adds a line to a list of facts.
pub fn fact(html: &mut Html, name: &'static str, value: &str) {
    put!(html; "<div><dt>", name, "</dt><dd>", value, "</dd></div>\n");
}

/// Begins a table that can be scrolled. `attribute` and `name` give it a name for screen readers:
/// `aria-label`, or `aria-labelledby` with the id of its heading. Headings that begin with `#`
/// stand over figures.
pub fn head(
    html: &mut Html,
    (attribute, name): (&'static str, &str),
    class: &str,
    headings: &[&str],
) {
    put!(html; "<div class=\"wide\" role=\"group\" tabindex=\"0\" ", attribute, "=\"", name);
    put!(html; "\">\n");
    put!(html; "<table class=\"", class, "\">\n<thead><tr>");
    for heading in headings {
        match heading.strip_prefix('#') {
            Some(heading) => {
                put!(html; "<th scope=\"col\" class=\"n\">", heading, "</th>");
            }
            None => {
                put!(html; "<th scope=\"col\">", heading, "</th>");
            }
        }
    }
    put!(html; "</tr></thead>\n");
}

/// Puts markup (string literals) and text (everything else) into an [`Html`], one after another:
/// `put!(html; "<b>", name, "</b>")`.
macro_rules! put {
    ($html:expr; ) => {};
    ($html:expr; $markup:literal $(, $($rest:tt)*)?) => {
        $html.raw($markup);
        $( $crate::page::html::put!($html; $($rest)*); )?
    };
    ($html:expr; $text:expr $(, $($rest:tt)*)?) => {
        $html.text(&$text);
        $( $crate::page::html::put!($html; $($rest)*); )?
    };
}
pub(crate) use put;

/// A part of a whole in percent, cut to three places, for lengths in drawings.
#[derive(Clone, Copy)]
pub struct Percent {
    /// The part.
    pub part: u64,
    /// The whole.
    pub of: u64,
}

impl Display for Percent {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let thousandths = self.part.saturating_mul(100_000).checked_div(self.of).unwrap_or(0);
        write!(f, "{}.{:03}%", thousandths / 1_000, thousandths % 1_000)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_shown_becomes_markup() {
        let mut html = Html::default();
        put!(html; "<p title=\"a\" onload='x'\">", format!("</p><script>&{}", '\u{202e}'), "</p>");
        assert_eq!(
            html.finish(),
            "<p title=\"a\" onload='x'\">&lt;/p&gt;&lt;script&gt;&amp;\\u{202e}</p>",
            "a literal is markup"
        );
        let mut html = Html::default();
        let name = "a\" onload='x'".to_owned();
        let seven = 7;
        put!(html; "<p title=\"", name, "\">", seven, "</p>");
        assert_eq!(html.finish(), "<p title=\"a&quot; onload=&#39;x&#39;\">7</p>");
        let mut html = Html::default();
        html.json("[\"</script><b>\"]");
        assert_eq!(html.finish(), "[\"\\u003c/script>\\u003cb>\"]");
    }

    #[test]
    fn nothing_leaves_its_text() {
        assert_eq!(
            escape("<b> & \"]]>\" '\u{1b}\u{202e}\u{ffff}"),
            "&lt;b&gt; &amp; &quot;]]&gt;&quot; &#39;\\u{1b}\\u{202e}\u{fffd}"
        );
    }

    #[test]
    fn what_is_printed_stands_outside_tags() {
        let mut html = Html::default();
        let name = "a<b>\"c".to_owned();
        put!(html; "<p title=\"", name, "\">", name, "</p>\n<br>end");
        let printed: Vec<&str> = html.printed().collect();
        assert_eq!(printed, ["a&lt;b&gt;&quot;c", "end"]);
    }

    #[test]
    fn a_percentage_is_exact() {
        let percent = |part, of| Percent { part, of }.to_string();
        assert_eq!(percent(300, 512), "58.593%");
        assert_eq!(percent(512, 512), "100.000%");
        assert_eq!(percent(1, 0), "0.000%");
    }
}
