//! What every page has around its parts: head, policy, heading, links, cautions.

use super::Part;
use super::crew::Crew;
use super::html::{Html, put};
use sha2::{Digest, Sha256};

const STYLE: &str = include_str!("style.css");
const SCRIPT: &str = include_str!("page.js");

/// A page of some parts, with links to the pages of `others` if these are files of their own.
pub fn page(crew: &Crew<'_>, edition: &str, parts: &[&Part], others: &[&Part]) -> String {
    let mut html = Html::default();
    head(crew.title(), if let [only] = parts { only.title } else { "" }, &mut html);
    put!(html; "<body>\n<a class=\"to-main\" href=\"#main\">Skip to the ");
    put!(html; "content</a>\n<header>\n<h1>", crew.title());
    put!(html; "</h1>\n<p>Edition <span class=\"num\">", edition, "</span>. Papers of one ");
    put!(html; "edition agree with ");
    put!(html; "one another; a change of anything on any of them makes another.</p>\n</header>\n");
    ways(parts, others, &mut html);
    put!(html; "<main id=\"main\" tabindex=\"-1\">\n");
    for part in parts {
        put!(html; "<section class=\"part\" id=\"", part.name, "\" aria-labelledby=\"", part.name);
        put!(html; "-h\">\n");
        put!(html; "<h2 id=\"", part.name, "-h\">", part.title, "</h2>\n");
        (part.write)(crew, &mut html);
        put!(html; "</section>\n");
    }
    put!(html; "</main>\n");
    html.raw(CAUTIONS);
    super::strips::definitions(crew.plan().universe_slots.get(), &mut html);
    put!(html; "<script>");
    html.raw(SCRIPT);
    put!(html; "</script>\n</body>\n</html>\n");
    html.finish()
}

/// A page with no parts: a heading and what `write` puts under it.
#[must_use]
pub fn document(title: &str, write: impl FnOnce(&mut Html)) -> String {
    let mut html = Html::default();
    head(title, "", &mut html);
    put!(html; "<body>\n<header>\n<h1>", title, "</h1>\n</header>\n<main id=\"main\">\n");
    write(&mut html);
    put!(html; "</main>\n");
    html.raw(CAUTIONS);
    put!(html; "</body>\n</html>\n");
    html.finish()
}

fn head(title: &str, part: &str, html: &mut Html) {
    put!(html; "<!doctype html>\n<html lang=\"en-GB\">\n<head>\n<meta charset=\"utf-8\">\n");
    html.raw(super::MARK);
    html.raw("\n");
    put!(html; "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; ");
    put!(html; "style-src 'sha256-");
    put!(html; hash(STYLE), "'; script-src 'sha256-", hash(SCRIPT));
    put!(html; "'; base-uri 'none'; form-action 'none'\">\n");
    put!(html; "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>");
    put!(html; title);
    if !part.is_empty() {
        put!(html; ": ", part);
    }
    put!(html; "</title>\n<style>");
    html.raw(STYLE);
    put!(html; "</style>\n</head>\n");
}

/// Links to the parts of this page and to the other pages.
fn ways(parts: &[&Part], others: &[&Part], html: &mut Html) {
    put!(html; "<nav aria-label=\"Pages and parts\">\n<ul>\n");
    let here = parts.first().filter(|_| parts.len() == 1);
    if here.is_some() {
        put!(html; "<li><a href=\"index.html\">Report</a></li>\n");
    } else {
        for part in parts {
            put!(html; "<li><a href=\"#", part.name, "\">", part.title, "</a></li>\n");
        }
    }
    for other in others {
        put!(html; "<li><a href=\"", other.name, ".html\"");
        if here.is_some_and(|here| here.name == other.name) {
            put!(html; " aria-current=\"page\"");
        }
        put!(html; ">", other.title, "</a></li>\n");
    }
    put!(html; "</ul>\n</nav>\n");
}

const CAUTIONS: &str = "<footer>\n<h2>Before you plug it in</h2>\n<p>This page was worked out from a text. Nobody has \
seen the display, and it is no approval. Mains work is for somebody licensed to do it; outdoor outlets want ground-fault \
protection. A fuse belongs at the source of every positive lead and at every injection, no larger than the thinnest \
conductor after it may carry; fuse and conductor carry a show at 80 % of their rating at most. Never join the positive sides of two supplies that are not made for it. Supplies and controllers sit in \
enclosures for wet places, off the ground, with drip loops. Local code, the inspector and the electrician decide.</p>\n\
</footer>\n";

/// The SHA-256 of an inline text in base64, as a content security policy states it.
fn hash(text: &str) -> String {
    base64(&Sha256::digest(text.as_bytes()))
}

/// The first eight hexadecimal digits of the SHA-256 of some texts. A byte that no text contains
/// ends each text.
pub fn short_hash(texts: impl FnOnce(&mut dyn FnMut(&str))) -> String {
    let mut hash = Sha256::new();
    texts(&mut |text| {
        hash.update(text.as_bytes());
        hash.update([0xff]);
    });
    let digits = hash.finalize();
    digits.iter().take(4).map(|byte| format!("{byte:02x}")).collect()
}

/// Base64 by RFC 4648, section 4.
fn base64(bytes: &[u8]) -> String {
    const LETTERS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let bits = chunk
            .iter()
            .chain([&0, &0])
            .take(3)
            .fold(0_usize, |bits, byte| bits << 8 | usize::from(*byte));
        for at in 0..4 {
            let letter = LETTERS.get(bits >> (18 - 6 * at) & 63).filter(|_| at <= chunk.len());
            out.push(letter.map_or('=', |letter| char::from(*letter)));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    // RFC 4648, section 10, FIPS 180-4's example "abc", and the SHA-256 of nothing.
    #[test]
    fn hashes_are_those_of_the_standards() {
        assert_eq!(
            ["", "f", "fo", "foo", "foob"].map(|t| base64(t.as_bytes())),
            ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg=="]
        );
        assert_eq!(hash("abc"), "ungWv48Bz+pBQUDeXa4iI7ADYaOWF3qctBD/YfIAFa0=");
        assert_eq!(short_hash(|_| {}), "e3b0c442");
    }
}
