//! Names as the language takes them, each once.

use crate::rules::name::alike;
use crate::syntax;
use std::collections::{BTreeMap, BTreeSet};
use unicode_normalization::UnicodeNormalization;

/// The most letters of a name that is made here.
const MOST: usize = 48;

/// Names given so far.
#[derive(Debug, Default)]
pub struct Names {
    given: BTreeSet<String>,
    /// The number to try next after a name that was given before.
    next: BTreeMap<String, u32>,
}

impl Names {
    /// A lawful name close to a text, not given before: a letter, then letters, digits, `-` and
    /// `_`. `kind` is the word that goes before a text that begins with no letter.
    pub fn give(&mut self, text: &str, kind: &str) -> String {
        let base = lawful(text, kind);
        let mut name = base.clone();
        let number = self.next.entry(base.clone()).or_insert(2);
        while !self.given.insert(looks(&name)) {
            name = format!("{base}-{number}");
            *number += 1;
        }
        name
    }

    /// Keeps a name from being given.
    pub fn keep(&mut self, name: &str) {
        self.given.insert(looks(name));
    }
}

/// A name as it looks to a person: two that look alike count as one.
fn looks(name: &str) -> String {
    alike::looks(name).unwrap_or_else(|| name.to_owned())
}

/// A lawful name close to a text.
pub fn lawful(text: &str, kind: &str) -> String {
    let mut name = String::new();
    for c in text.nfc().take(MOST * 4) {
        if syntax::goes_on_in_name(c) {
            name.push(c);
        } else if !name.is_empty() && !name.ends_with('-') {
            name.push('-');
        }
    }
    let name: String = name.chars().take(MOST).collect();
    let name = name.trim_matches('-');
    if name.chars().next().is_some_and(syntax::begins_name) {
        name.to_owned()
    } else if name.is_empty() {
        kind.to_owned()
    } else {
        format!("{kind}-{name}")
    }
}
