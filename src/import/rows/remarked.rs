//! What remarks say that a display has settings for.

use crate::import::cells;

/// The prop, in small letters, that a remark says its row comes after: `after Cane 1, reversed`.
pub(super) fn after(text: &str) -> Option<String> {
    const WORDS: &str = "after |carries on from |continues from |goes on from |follows |chained after |chained from ";
    let lower = text.to_lowercase();
    let name = WORDS.split('|').find_map(|word| lower.strip_prefix(word))?;
    let name = name.split(ENDS).next().unwrap_or(name).trim();
    Some(name.strip_prefix("the ").unwrap_or(name).to_owned())
}

/// Words that end what a remark says of one thing.
const ENDS: [char; 5] = [',', ';', '(', '.', '!'];

/// Whether a remark or a name says that its row is not put up: `retired 2024, canes use its port`,
/// `NOT USED`. After the word must come a year, a mark or nothing; after a sure word also a word of
/// time. So `not out of reach` and `not used on Sundays` don't count. A word that is not sure must
/// begin the text.
pub(super) fn is_retired(text: &str) -> bool {
    const SURE: &str = "not used|no longer used|not in use|out of use|unused|retired|scrapped|\
                        decommissioned|not this year|not this season|not up|not out";
    const PERHAPS: &str = "stored|in storage|spare|dead|gone|broken|removed|withdrawn";
    const TIMES: &str = "since|any more|anymore|now|last year|last season|this year|this season";
    let lower = text.trim().to_lowercase();
    let year = |rest: &str| {
        let rest = rest.strip_prefix("since ").or(rest.strip_prefix("in ")).unwrap_or(rest);
        rest.starts_with(|c: char| c.is_ascii_digit())
    };
    let ends = |rest: &str| {
        rest.is_empty() || rest.starts_with(ENDS) || rest.starts_with(['-', ':', '–']) || year(rest)
    };
    let timed =
        |rest: &str| ends(rest) || TIMES.split('|').any(|time| begins(rest, time).is_some());
    let sure = |part: &str| SURE.split('|').filter_map(|word| begins(part.trim(), word)).any(timed);
    lower.split(ENDS).any(sure)
        || PERHAPS.split('|').filter_map(|word| begins(&lower, word)).any(ends)
}

/// What follows a word at the beginning of a text.
fn begins<'t>(text: &'t str, word: &str) -> Option<&'t str> {
    let rest = text.strip_prefix(word)?;
    (!rest.starts_with(char::is_alphanumeric)).then_some(rest.trim_start())
}

/// Whether a later part of a name says so: `Deer (retired)`, `Deer - NOT USED`.
pub(super) fn is_retired_name(text: &str) -> bool {
    let mut parts = text.split(['(', '[', '-', '–', ':', ',']).skip(1);
    parts.any(|part| is_retired(part.trim_end_matches([')', ']'])))
}

/// Whether a remark says that the same data go to several strings.
pub(super) fn is_shared(text: &str) -> bool {
    const WORDS: [&str; 8] = [
        "same as",
        "same data",
        "copy of",
        "mirror",
        "parallel",
        "splitter",
        "shares",
        "shared with",
    ];
    let lower = text.to_lowercase();
    WORDS.iter().any(|word| lower.contains(word))
}

/// Where a remark says that data come in: `faces left, so starts at tail`, `right to left`.
pub(super) fn enters(text: &str) -> Option<String> {
    const SIDES: [(&str, [&str; 3]); 4] = [
        ("left", ["left to right", "l to r", "l-r"]),
        ("right", ["right to left", "r to l", "r-l"]),
        ("top", ["top to bottom", "top down", "top-down"]),
        ("bottom", ["bottom to top", "bottom up", "bottom-up"]),
    ];
    const STARTS: [&str; 5] = ["starts at ", "starts from ", "start at ", "starts ", "data in at "];
    const PLACES: [&str; 12] = [
        "left", "right", "top", "bottom", "far", "near", "inside", "outside", "front", "back",
        "centre", "center",
    ];
    const TIMES: [&str; 6] = ["dusk", "dawn", "dark", "sunset", "night", "midnight"];
    let lower = text.to_lowercase();
    let words: Vec<&str> = lower.split_whitespace().collect();
    let said = words.join(" ");
    let side = SIDES.iter().find(|(_, forms)| {
        forms.iter().any(|form| {
            said == *form
                || said.split(ENDS).any(|part| {
                    let part = part.trim();
                    part == *form || part.strip_prefix("runs ").is_some_and(|part| part == *form)
                })
        })
    });
    let place = || {
        let (start, rest) =
            STARTS.iter().filter_map(|start| Some((*start, said.split_once(start)?.1))).next()?;
        let place = rest.split(ENDS).next().unwrap_or(rest).trim();
        let place = place.strip_prefix("the ").unwrap_or(place);
        let first = place.split(' ').next().unwrap_or("");
        let known = start != "starts " || PLACES.contains(&first);
        let plain = !place.is_empty()
            && !place.contains(|c: char| c.is_ascii_digit())
            && !TIMES.contains(&place);
        (known && plain && place.split(' ').count() <= 4).then(|| place.to_owned())
    };
    side.map(|(side, _)| (*side).to_owned()).or_else(place)
}

/// How many dark nodes a remark says lie before a string: `1 null pixel at front`.
pub(super) fn dark(text: &str) -> Option<u64> {
    const WORDS: [&str; 5] = ["null", "nulls", "dummy", "dummies", "sacrificial"];
    const ELSEWHERE: [&str; 6] = ["end", "middle", "between", "after", "every", "each"];
    let lower = text.to_lowercase();
    let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).collect();
    if words.iter().any(|word| ELSEWHERE.contains(word)) {
        return None;
    }
    let at = words.iter().position(|word| WORDS.contains(word))?;
    words.get(at.checked_sub(1)?)?.parse().ok().filter(|nodes| (1..=1_000).contains(nodes))
}

/// The colour order of a remark that says nothing else: `GRB`, `BRG colour order`.
pub(super) fn colour(text: &str) -> Option<String> {
    const WORDS: [&str; 9] =
        ["pixels", "pixel", "px", "nodes", "leds", "colour", "color", "order", "colours"];
    let lower = text.to_lowercase();
    let mut words = lower.split_whitespace().filter(|word| !WORDS.contains(word));
    let only = words.next().filter(|_| words.next().is_none())?;
    let order = cells::colour(only)?;
    ["R", "G", "B"].iter().all(|letter| order.contains(letter)).then_some(order)
}

/// Whether a remark speaks of set-up.
pub(super) fn is_setup(text: &str) -> bool {
    const WORDS: [&str; 20] = [
        "mirrored",
        "dead",
        "wired",
        "reversed",
        "reverse",
        "backwards",
        "flipped",
        "null",
        "nulls",
        "dummy",
        "sacrificial",
        "inject",
        "injection",
        "brightness",
        "dim",
        "dimmed",
        "gamma",
        "starts",
        "zigzag",
        "snakes",
    ];
    let lower = text.to_lowercase();
    let mut words = lower.split(|c: char| !c.is_alphanumeric());
    lower.contains('%') || words.any(|word| WORDS.contains(&word))
}

/// An order of colours among other words of a remark: `this batch is GRB`.
pub(super) fn order_in(text: &str) -> Option<String> {
    let words = text.split(|c: char| !c.is_alphanumeric());
    let mut orders = words.filter(|word| word.len() < 5 && *word == word.to_uppercase());
    orders.find_map(|word| {
        let order = cells::colour(word)?;
        ["R", "G", "B"].iter().all(|letter| order.contains(letter)).then_some(order)
    })
}

#[cfg(test)]
mod tests {
    use super::{after, colour, dark, enters, is_retired, is_retired_name, is_setup, order_in};

    #[test]
    fn remarks_that_take_a_prop_down() {
        for text in [
            "NOT USED 2031 - cracked",
            "retired",
            "Retired since spring",
            "spare",
            "dead 2030",
            "stored, loft",
            "lent to the school, NOT this year",
            "not used any more",
        ] {
            assert!(is_retired(text), "{text}");
        }
        for text in [
            "spare plug in tub 2",
            "dead node at 30",
            "used twice",
            "stored next to the pump",
            "brokenly",
            "not out of reach",
            "dim, not used on Sundays",
        ] {
            assert!(!is_retired(text), "{text}");
        }
        assert!(is_retired_name("Elk (retired)") && is_retired_name("Elk - NOT USED"));
        assert!(!is_retired_name("Spare room window"));
    }

    #[test]
    fn remarks_that_are_settings() {
        for (text, place) in [
            ("faces the road, so starts at beak", Some("beak")),
            ("Starts at the right end", Some("right end")),
            ("runs R to L", Some("right")),
            ("left to right", Some("left")),
            ("one string, starts bottom left", Some("bottom left")),
            ("starts at px 20", None),
            ("starts slowly", None),
            ("starts at dusk", None),
        ] {
            assert_eq!(enters(text).as_deref(), place, "{text}");
        }
        for (text, nodes) in
            [("2 null pixels at front", Some(2)), ("1 dummy", Some(1)), ("1 null at end", None)]
        {
            assert_eq!(dark(text), nodes, "{text}");
        }
        for (text, order) in [
            ("GRB", Some("GRB")),
            ("brg colour order", Some("BRG")),
            ("normal RGB", None),
            ("wall", None),
        ] {
            assert_eq!(colour(text).as_deref(), order, "{text}");
        }
        assert_eq!(after("after Reed 1, reversed").as_deref(), Some("reed 1"));
        assert!(is_setup("keep under 30%") && !is_setup("new start of the path"));
        assert!(
            order_in("this batch is GRB").is_some()
                && is_setup("mirrored")
                && !is_setup("grab rail")
        );
    }
}
