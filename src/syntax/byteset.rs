//! Sets of bytes as tables, since the scans over whole texts look up every byte.

/// A set of bytes.
pub(super) struct ByteSet([bool; 256]);

impl ByteSet {
    /// All but the bytes listed.
    pub const fn but(bytes: &[u8]) -> Self {
        Self([true; 256]).with(bytes, false)
    }

    /// The bytes from `first` to `last`, both included.
    pub const fn span(first: u8, last: u8) -> Self {
        let mut set = Self([false; 256]);
        let mut byte = first;
        while byte < last {
            set = set.with(&[byte], true);
            byte += 1;
        }
        set.with(&[last], true)
    }

    /// The same set with some bytes added (`held`) or removed.
    #[allow(clippy::indexing_slicing, reason = "a constant is checked when it is compiled")]
    pub const fn with(mut self, bytes: &[u8], held: bool) -> Self {
        let mut at = 0;
        while at < bytes.len() {
            self.0[bytes[at] as usize] = held;
            at += 1;
        }
        self
    }

    /// Whether a byte is in it.
    pub fn has(&self, byte: u8) -> bool {
        self.0.get(usize::from(byte)).copied().unwrap_or(false)
    }

    /// How many bytes at the start of `bytes` are in it.
    pub fn run(&self, bytes: &[u8]) -> usize {
        bytes.iter().position(|byte| !self.has(*byte)).unwrap_or(bytes.len())
    }
}

#[cfg(test)]
mod tests {
    use super::ByteSet;

    #[test]
    fn holds_what_it_was_made_of() {
        const OTHERS: ByteSet = ByteSet::but(b"#\"");
        for byte in 0..=u8::MAX {
            assert_eq!(OTHERS.has(byte), !b"#\"".contains(&byte));
        }
        const CAPITALS: ByteSet = ByteSet::span(b'A', b'Z');
        for byte in 0..=u8::MAX {
            assert_eq!(CAPITALS.has(byte), byte.is_ascii_uppercase());
        }
        assert_eq!(OTHERS.run(b"ab#c"), 2);
        assert_eq!(OTHERS.run(b"abc"), 3);
    }
}
