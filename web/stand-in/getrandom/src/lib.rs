//! Random bytes are not to be had here: every request is refused.

use std::fmt;

/// Why there are no random bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Error;

impl fmt::Display for Error {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str("random bytes are not available")
    }
}

impl std::error::Error for Error {}

impl From<Error> for std::io::Error {
    fn from(error: Error) -> Self {
        Self::new(std::io::ErrorKind::Unsupported, error)
    }
}

/// Fills nothing.
///
/// # Errors
/// Always.
pub fn fill(_bytes: &mut [u8]) -> Result<(), Error> {
    Err(Error)
}

/// Gives no number.
///
/// # Errors
/// Always.
pub fn u64() -> Result<u64, Error> {
    Err(Error)
}
