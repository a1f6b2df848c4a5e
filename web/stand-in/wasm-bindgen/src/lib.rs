//! A value of a browser that holds nothing.

/// Nothing.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct JsValue;

impl JsValue {
    /// Forgets the text.
    #[must_use]
    pub fn from_str(_text: &str) -> Self {
        Self
    }
}
