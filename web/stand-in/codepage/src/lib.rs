//! The code pages of Unicode.

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE};

/// The encoding of a code page.
pub fn to_encoding(page: u16) -> Option<&'static Encoding> {
    match page {
        1200 => Some(UTF_16LE),
        1201 => Some(UTF_16BE),
        65001 => Some(UTF_8),
        _ => None,
    }
}
