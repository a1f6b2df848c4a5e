//! The Unicode encodings, and of the real crate only what the libraries of the page call.

use std::borrow::Cow;

/// An encoding.
#[derive(Debug)]
pub struct Encoding {
    name: &'static str,
    /// Makes a code unit of two bytes; none for UTF-8.
    unit: Option<fn([u8; 2]) -> u16>,
}

impl PartialEq for Encoding {
    fn eq(&self, other: &Self) -> bool {
        self.name == other.name
    }
}

impl Eq for Encoding {}

/// UTF-8.
pub const UTF_8: &Encoding = &Encoding { name: "UTF-8", unit: None };
/// UTF-16, low byte first.
pub const UTF_16LE: &Encoding = &Encoding { name: "UTF-16LE", unit: Some(u16::from_le_bytes) };
/// UTF-16, high byte first.
pub const UTF_16BE: &Encoding = &Encoding { name: "UTF-16BE", unit: Some(u16::from_be_bytes) };

impl Encoding {
    /// The encoding of a label, as in an XML declaration.
    pub fn for_label(label: &[u8]) -> Option<&'static Self> {
        match label.trim_ascii().to_ascii_lowercase().as_slice() {
            b"utf-8" | b"utf8" => Some(UTF_8),
            b"utf-16" | b"utf-16le" => Some(UTF_16LE),
            b"utf-16be" => Some(UTF_16BE),
            _ => None,
        }
    }

    /// Its name.
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// A text; what is no text becomes U+FFFD. Gives the encoding, and whether there was any.
    pub fn decode<'a>(&'static self, bytes: &'a [u8]) -> (Cow<'a, str>, &'static Self, bool) {
        match self.decode_without_bom_handling_and_without_replacement(bytes) {
            Some(text) => (text, self, false),
            None => match self.unit {
                None => (String::from_utf8_lossy(bytes), self, true),
                Some(unit) => (String::from_utf16_lossy(&units(bytes, unit)).into(), self, true),
            },
        }
    }

    /// A text; none where some of it is no text.
    pub fn decode_without_bom_handling_and_without_replacement<'a>(
        &'static self,
        bytes: &'a [u8],
    ) -> Option<Cow<'a, str>> {
        match self.unit {
            None => std::str::from_utf8(bytes).ok().map(Cow::Borrowed),
            Some(_) if bytes.len() % 2 == 1 => None,
            Some(unit) => String::from_utf16(&units(bytes, unit)).ok().map(Cow::Owned),
        }
    }

    /// Decodes piece by piece.
    pub fn new_decoder_without_bom_handling(&'static self) -> Decoder {
        Decoder { encoding: self, held: Vec::new() }
    }
}

fn units(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Vec<u16> {
    let (pairs, _) = bytes.as_chunks::<2>();
    pairs.iter().map(|pair| unit(*pair)).collect()
}

/// How a piece ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DecoderResult {
    /// All of it was read.
    InputEmpty,
    /// There is no room for the next letter.
    OutputFull,
    /// The next bytes are no text: how many, and how many good ones came after them.
    Malformed(u8, u8),
}

/// Decodes a text that comes in pieces.
#[derive(Debug)]
pub struct Decoder {
    encoding: &'static Encoding,
    /// The first bytes of a letter whose others are still to come.
    held: Vec<u8>,
}

/// What the next bytes are.
enum Next {
    Letter(char),
    /// A letter may begin here.
    Short,
    Wrong,
}

impl Decoder {
    /// Its encoding.
    pub fn encoding(&self) -> &'static Encoding {
        self.encoding
    }

    /// Bytes of UTF-8 that so many bytes become at most.
    pub fn max_utf8_buffer_length_without_replacement(&self, bytes: usize) -> Option<usize> {
        bytes.checked_add(self.held.len())?.checked_mul(2)?.checked_add(4)
    }

    /// Decodes a piece behind a text that has room for it; gives how many bytes were read.
    pub fn decode_to_string_without_replacement(
        &mut self,
        from: &[u8],
        to: &mut String,
        last: bool,
    ) -> (DecoderResult, usize) {
        let most = self.max_utf8_buffer_length_without_replacement(from.len());
        let mut bytes = vec![0; most.unwrap_or(0)];
        let (result, read, written) = self.decode_to_utf8_without_replacement(from, &mut bytes, last);
        bytes.truncate(written);
        to.push_str(&String::from_utf8_lossy(&bytes));
        (result, read)
    }

    /// Decodes a piece; gives how many bytes were read and written.
    pub fn decode_to_utf8_without_replacement(
        &mut self,
        from: &[u8],
        to: &mut [u8],
        last: bool,
    ) -> (DecoderResult, usize, usize) {
        let (mut read, mut written) = (0, 0);
        loop {
            let (rest, room) = (&from[read..], &mut to[written..]);
            if self.encoding == UTF_8 && self.held.is_empty() {
                let part = &rest[..rest.len().min(room.len())];
                let good = std::str::from_utf8(part).map_or_else(|error| error.valid_up_to(), str::len);
                room[..good].copy_from_slice(&part[..good]);
                (read, written) = (read + good, written + good);
                if good > 0 {
                    continue;
                }
            }
            let held = self.held.len();
            let mut bytes = self.held.clone();
            bytes.extend(rest.iter().take(4));
            if bytes.is_empty() {
                return (DecoderResult::InputEmpty, read, written);
            }
            match self.next(&bytes) {
                (Next::Letter(letter), used) => {
                    if letter.len_utf8() > room.len() {
                        return (DecoderResult::OutputFull, read, written);
                    }
                    written += letter.encode_utf8(room).len();
                    self.held.clear();
                    read += used - held;
                }
                (Next::Short, _) if !last => {
                    self.held = bytes;
                    return (DecoderResult::InputEmpty, from.len(), written);
                }
                (Next::Short | Next::Wrong, _) => {
                    return (DecoderResult::Malformed(1, 0), read, written);
                }
            }
        }
    }

    /// The first letter of some bytes, and how many bytes it has.
    fn next(&self, bytes: &[u8]) -> (Next, usize) {
        let Some(unit) = self.encoding.unit else {
            return match bytes.utf8_chunks().next() {
                Some(chunk) => match chunk.valid().chars().next() {
                    Some(letter) => (Next::Letter(letter), letter.len_utf8()),
                    None => match std::str::from_utf8(bytes) {
                        Err(error) if error.error_len().is_none() => (Next::Short, 0),
                        _ => (Next::Wrong, 0),
                    },
                },
                None => (Next::Short, 0),
            };
        };
        match char::decode_utf16(units(bytes, unit)).next() {
            Some(Ok(letter)) => (Next::Letter(letter), 2 * letter.len_utf16()),
            Some(Err(error)) if bytes.len() < 4 && error.unpaired_surrogate() < 0xdc00 => {
                (Next::Short, 0)
            }
            Some(Err(_)) => (Next::Wrong, 0),
            None => (Next::Short, 0),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pieces of any length, into little room, are the text again.
    #[test]
    fn pieces_are_the_text_again() {
        let text = "<a b=\"é\">√ 💡 end</a>";
        let wide: Vec<u16> = text.encode_utf16().collect();
        let low: Vec<u8> = wide.iter().flat_map(|unit| unit.to_le_bytes()).collect();
        let high: Vec<u8> = wide.iter().flat_map(|unit| unit.to_be_bytes()).collect();
        for (encoding, bytes) in [(UTF_8, text.as_bytes()), (UTF_16LE, &low), (UTF_16BE, &high)] {
            assert_eq!(encoding.decode(bytes).0, text);
            for (piece, room) in [(1, 4), (3, 5), (7, 64), (1_000, 4)] {
                let mut decoder = encoding.new_decoder_without_bom_handling();
                let mut found = Vec::new();
                for part in bytes.chunks(piece) {
                    let mut read = 0;
                    loop {
                        let mut to = vec![0; room];
                        let (result, more, written) =
                            decoder.decode_to_utf8_without_replacement(&part[read..], &mut to, false);
                        found.extend(&to[..written]);
                        read += more;
                        if result != DecoderResult::OutputFull {
                            assert_eq!(result, DecoderResult::InputEmpty);
                            break;
                        }
                    }
                }
                let end = decoder.decode_to_utf8_without_replacement(b"", &mut [0; 8], true);
                assert_eq!(end, (DecoderResult::InputEmpty, 0, 0));
                assert_eq!(String::from_utf8(found).unwrap(), text);
            }
        }
    }

    #[test]
    fn what_is_no_text_is_said() {
        for (encoding, bytes) in [(UTF_8, &b"a\xffb"[..]), (UTF_8, b"a\xc3"), (UTF_16LE, b"a"), (UTF_16LE, b"\0\xdc")] {
            assert_eq!(encoding.decode_without_bom_handling_and_without_replacement(bytes), None);
            let mut decoder = encoding.new_decoder_without_bom_handling();
            let (result, ..) = decoder.decode_to_utf8_without_replacement(bytes, &mut [0; 16], true);
            assert_eq!(result, DecoderResult::Malformed(1, 0), "{bytes:?}");
        }
    }
}
