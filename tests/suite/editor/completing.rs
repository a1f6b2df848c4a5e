//! What is offered at places of the examples is what was written there.

use super::Texts;
use crate::examples::EXAMPLES;
use tinsel::editor::completion;
use tinsel::format::tokens::{Kind, Tokens};
use tinsel::resolve::uses::Role;

/// By text: the places of words that can be offered, so no number, quoted text or declared name.
fn words(texts: &Texts) -> Vec<(String, usize, String)> {
    let desk = texts.desk();
    let declared = |at: u32| {
        let mut names = desk.uses().names.iter();
        names.any(|one| one.role == Role::Declares && one.at.start == at)
    };
    let mut found = Vec::new();
    for (name, text) in &texts.texts {
        let Some(file) = desk.file(name) else {
            continue;
        };
        for token in Tokens::of(text).filter(|token| token.kind == Kind::Word) {
            let at = token.text.as_ptr() as usize - text.as_ptr() as usize;
            let letters = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
            let word: &str =
                &token.text[..token.text.find(|c| !letters(c)).unwrap_or(token.text.len())];
            let quiet = ["RGB", "GRB", "RGBW", "GRBW"].contains(&word);
            if word.len() > 1
                && word.starts_with(char::is_alphabetic)
                && !quiet
                && !declared(file.base + at as u32)
            {
                found.push((name.clone(), at, word.to_owned()));
            }
        }
    }
    found
}

/// 200 places over all examples: one letter typed, the rest of the line not yet.
#[test]
fn the_word_that_was_written_is_among_the_first_five() {
    let mut places = Vec::new();
    for (main, ..) in EXAMPLES {
        let texts = Texts::example(main);
        let all = words(&texts);
        let step = (all.len() / 50).max(1);
        places.extend(all.into_iter().step_by(step).take(50).map(|one| (main, one)));
    }
    assert!(places.len() >= 195, "{}", places.len());
    let mut missed = String::new();
    let mut misses = 0;
    for (main, (name, at, word)) in &places {
        let mut texts = Texts::example(main);
        let text = texts.texts.get_mut(name).unwrap();
        let first = word.chars().next().unwrap().len_utf8();
        let line = text[*at..].find('\n').map_or(text.len(), |end| at + end);
        let was = text[..line].rsplit('\n').next().unwrap_or("").to_owned();
        text.replace_range(at + first..line, "");
        let desk = texts.desk();
        let file = desk.file(name).unwrap();
        let (_, offers) = completion::offers(&desk, file, at + first);
        let five: Vec<&str> = offers.iter().take(5).map(|offer| &*offer.word).collect();
        if !five.contains(&word.as_str()) {
            misses += 1;
            missed.push_str(&format!("{main} {name}: `{word}` of `{}`: {five:?}\n", was.trim()));
        }
    }
    let share = 100 * (places.len() - misses) / places.len();
    assert!(share >= 95, "{share} % of {}:\n{missed}", places.len());
}

/// What is offered at hand-picked places, in this order.
#[test]
fn what_is_offered() {
    const HEAD: &str = "node n { chip ws2811; colour RGB }\ncontroller c { ports 1..2 { nodes at most 90 }\ndmx 1 }\n\
                        supply s { volts 12 V }\nprop a { node n; string 30 nodes }\nprop b { node n; string 20 nodes }\n\
                        prop roof { node n; string eaves: 4 nodes }\nwire c.1: a\n";
    for (line, least) in [
        ("", &["prop", "wire"][..]),
        ("wire ", &["c", "any"]),
        ("wire c.", &["2", "dmx1", "1"]),
        ("wire c.2: ", &["b", "roof", "a", "skip", "lead"]),
        ("wire c.2: b ", &["by", "at", "->"]),
        ("wire c.2: roof.", &["eaves"]),
        ("wire c.2: lead 3 ", &["mm", "cm", "m"]),
        ("power c.1 from ", &["s"]),
        ("power c.1 from s through 1 m of 12 ", &["AWG", "mm2"]),
        ("inject a every 5 ", &["nodes", "strands"]),
        ("prop x { node ", &["n"]),
        ("prop x { string 4 ", &["nodes"]),
        ("prop x { node n; st", &["string", "strings", "stands"]),
        ("controller d { input e131 ", &["unicast", "multicast"]),
        ("controller d { addressing per ", &["port", "prop"]),
        ("controller d { universes after ", &["c"]),
        ("controller d { ports 1..4 { ", &["chip", "nodes", "slots", "fuse", "volts", "dim"]),
        ("display \"x\" { frame ", &["rate"]),
        ("# see wire/no", &["wire/no-port"]),
        ("reserve ", &["universes", "c"]),
    ] {
        let text = format!("{HEAD}{line}");
        let desk = Texts::one(&text).desk();
        let file = desk.file("yard.tinsel").unwrap();
        let (_, offers) = completion::offers(&desk, file, text.len());
        let words: Vec<&str> = offers.iter().map(|offer| &*offer.word).collect();
        for word in least {
            assert!(words.contains(word), "`{line}` has no {word}: {words:?}");
        }
        let at = |word: &&str| words.iter().position(|one| one == word);
        assert!(least.is_sorted_by_key(at), "`{line}`: {words:?}");
    }
}

/// Within a text that a backslash and a quote leave open, nothing is offered.
#[test]
fn an_open_text_has_no_offers() {
    for (line, any) in [
        ("prop a { label \"say \\\"", false),
        ("prop a { label \"say \\\" ", false),
        ("prop a { label \"", false),
        ("prop a { label \"say\"; ", true),
        ("prop a { label \"say \\\"\"; ", true),
    ] {
        let desk = Texts::one(line).desk();
        let file = desk.file("yard.tinsel").unwrap();
        assert_eq!(!completion::offers(&desk, file, line.len()).1.is_empty(), any, "{line}");
    }
}

/// One of a thing is counted as one.
#[test]
fn one_is_no_plural() {
    let head = "controller c { ports 1..2 { } }\nreceiver r { carries c.2 }\ncontroller d { ports 1 { } }\n\
                node n { colour RGB }\nprop a { node n; string 3 nodes }\nwire c.1: a\n";
    for (line, about) in [
        ("wire c.1: ", "1 string, named in a statement"),
        ("wire ", "1 of 1 port free"),
        ("wire ", "receiver, 1 port"),
        ("controller e { universes after ", "controller, named 1 time"),
    ] {
        let text = format!("{head}{line}");
        let desk = Texts::one(&text).desk();
        let file = desk.file("yard.tinsel").unwrap();
        let (_, offers) = completion::offers(&desk, file, text.len());
        let abouts: Vec<&str> = offers.iter().map(|offer| &*offer.about).collect();
        assert!(abouts.contains(&about), "`{line}`: {abouts:?}");
        let plural = |about: &&str| about.contains("1 times") || about.contains("1 ports");
        assert!(!abouts.iter().any(plural), "`{line}`: {abouts:?}");
    }
}
