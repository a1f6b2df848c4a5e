//! What remarks say that a display has settings for.

/// The prop that a remark says its row comes after on the same port, in small letters: `after Cane 1, reversed`.
pub(super) fn after(text: &str) -> Option<String> {
    const WORDS: [&str; 7] = [
        "after ",
        "carries on from ",
        "continues from ",
        "goes on from ",
        "follows ",
        "chained after ",
        "chained from ",
    ];
    let lower = text.to_lowercase();
    let name = WORDS.iter().find_map(|word| lower.strip_prefix(word))?;
    let name = name.split([',', ';', '(', '.']).next().unwrap_or(name).trim();
    Some(name.strip_prefix("the ").unwrap_or(name).to_owned())
}
