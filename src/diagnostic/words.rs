//! Pieces of sentences: lists, names in backticks, nearest names, text made safe to print.

/// `a`, `a and b`, `a, b and c`, where `joint` is `and`.
#[must_use]
pub fn list<S: AsRef<str>>(words: &[S], joint: &str) -> String {
    match words {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [first @ .., last] => {
            let first: Vec<&str> = first.iter().map(AsRef::as_ref).collect();
            format!("{} {joint} {}", first.join(", "), last.as_ref())
        }
    }
}

/// The names nearest to a word, best first, at most three; none where nothing is near.
///
/// If names differ only in case, they are the whole answer. Names that differ from the word only in
/// the digits at their end are left out: `arch-9` is no slip of `arch-1`.
#[must_use]
pub fn nearest<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    let lower = word.to_lowercase();
    let letters = lower.chars().count();
    // A word of one letter has no near name: any other letter is one edit away.
    let most = (letters / 3).max(usize::from(letters > 1));
    let kinds = letters_of(&lower);
    let mut found: Vec<(usize, &str)> = names
        .into_iter()
        .filter_map(|name| {
            if name != word && stem(name) == stem(word) {
                return None;
            }
            // In ASCII, lower case has the same length, so this is cheaper than the check below.
            if name.is_ascii() && name.len().abs_diff(letters) > most {
                return None;
            }
            let low = name.to_lowercase();
            if low == lower {
                return Some((0, name));
            }
            // An edit adds or removes at most one letter, so these bounds leave out no near name.
            let strange = (kinds & !letters_of(&low)).count_ones() as usize;
            if low.chars().count().abs_diff(letters) > most || strange > most {
                return None;
            }
            let distance = strsim::osa_distance(&lower, &low);
            (distance <= most).then_some((distance, name))
        })
        .collect();
    found.sort_unstable();
    found.dedup();
    // A name that differs only in case is the one that is meant.
    if found.first().is_some_and(|(distance, _)| *distance == 0) {
        found.retain(|(distance, _)| *distance == 0);
    }
    found.truncate(3);
    found.into_iter().map(|(_, name)| name).collect()
}

/// A name without the digits that it ends in.
fn stem(name: &str) -> &str {
    name.trim_end_matches(|c: char| c.is_ascii_digit())
}

/// The letters of a word as a set of bits; several letters may share a bit.
fn letters_of(word: &str) -> u64 {
    word.chars().fold(0, |all, one| all | 1 << (u32::from(one) % 64))
}

/// The names in backticks, joined with `or`: "`a`", "`a` or `b`".
#[must_use]
pub fn ticked_or<S: AsRef<str>>(names: &[S]) -> String {
    let ticked: Vec<String> = names.iter().map(|n| format!("`{}`", n.as_ref())).collect();
    list(&ticked, "or")
}

/// As [`ticked_or`], joined with `and`.
#[must_use]
pub fn ticked_and<S: AsRef<str>>(names: &[S]) -> String {
    let ticked: Vec<String> = names.iter().map(|n| format!("`{}`", n.as_ref())).collect();
    list(&ticked, "and")
}

/// The first three names, and how many more: "a, b, c and 4 more".
#[must_use]
pub fn few(names: &[String]) -> String {
    const MOST: usize = 3;
    let mut shown: Vec<String> = names.iter().take(MOST).cloned().collect();
    if names.len() > MOST {
        shown.push(format!("{} more", names.len() - MOST));
    }
    list(&shown, "and")
}

/// The end of a message where names are near: `; did you mean `a` or `b`?`. Empty for none.
#[must_use]
pub fn did_you_mean<S: AsRef<str>>(near: &[S]) -> String {
    match near {
        [] => String::new(),
        near => format!("; did you mean {}?", ticked_or(near)),
    }
}

/// Text from a file made safe to print on one line: unprintable characters become visible escapes,
/// and text over 80 characters is cut.
#[must_use]
pub fn shown(text: &str) -> String {
    const MOST: usize = 80;
    match text.char_indices().nth(MOST) {
        Some((at, _)) => visible(text.get(..at).unwrap_or(""), "") + "…",
        None => visible(text, ""),
    }
}

/// Text with unprintable characters as visible escapes, except those in `kept`.
#[must_use]
pub fn visible(text: &str, kept: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if is_unprintable(c) && !kept.contains(c) {
            out.extend(c.escape_unicode());
        } else {
            out.push(c);
        }
    }
    out
}

/// Whether a character steers a terminal, reorders text, breaks a line or has no width.
#[must_use]
pub fn is_unprintable(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}')
}
