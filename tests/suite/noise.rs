//! Random texts: examples cut off or with slips, words and bytes in random order, and what the
//! fuzzers found. All that is known is that every finding must be sound.

use crate::check;
use crate::examples::{self, EXAMPLES};
use crate::robust::sound_or_panic;
use std::path::Path;
use std::time::{Duration, Instant};

/// Every example cut off at every character: hundreds of kinds of half a statement.
#[test]
fn every_truncation_of_each_example() {
    for (main, ..) in EXAMPLES {
        let texts = examples::texts(main);
        let first = &texts[0].1;
        // Compiling is slow in a debug build: all cuts of small examples, some of large ones.
        let step = (first.len() / 600).max(1);
        for end in (0..first.len()).step_by(step).filter(|end| first.is_char_boundary(*end)) {
            let mut texts: Vec<(&str, &str)> =
                texts.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
            texts[0].1 = &first[..end];
            let compiled = check::many(texts[0].0, &texts);
            sound_or_panic(&format!("{main} cut at {end}"), &compiled);
        }
    }
}

/// Numbers that look random and are the same in every run (an xorshift generator).
pub struct Dice(pub u64);

impl Dice {
    /// A number below `most`, which is above 0.
    pub fn below(&mut self, most: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % most as u64) as usize
    }
}

/// Bytes and words in random order.
#[test]
fn random_texts() {
    let mut dice = Dice(0x2545_f491_4f6c_dd1d);
    let words: Vec<&str> = EXAMPLES
        .iter()
        .flat_map(|(main, ..)| {
            let text = examples::texts(main).swap_remove(0).1;
            let text: &'static str = String::leak(text);
            text.split_inclusive([' ', '\n', '.', '{', ';'])
        })
        .collect();
    for round in 0..400 {
        let length = dice.below(200);
        let text: String = (0..length).map(|_| words[dice.below(words.len())]).collect();
        sound_or_panic(&format!("words, round {round}:\n{text}"), &check::one(&text));
        let bytes: Vec<u8> = (0..length * 3).map(|_| dice.below(256) as u8).collect();
        sound_or_panic(&format!("bytes, round {round}"), &check::bytes(&bytes));
    }
}

/// One character of an example taken out, put in twice or replaced.
#[test]
fn examples_with_slips() {
    let mut dice = Dice(0x9e37_79b9_7f4a_7c15);
    let slips =
        ["", "{", "}", ";", "->", "..", "\n", " ", "#", "\"", "9", "x", "é", "\u{0}", "(", "[1]"];
    for (main, ..) in EXAMPLES.iter().take(3) {
        let text = examples::texts(main).swap_remove(0).1;
        for _ in 0..250 {
            let mut at = dice.below(text.len());
            while !text.is_char_boundary(at) {
                at -= 1;
            }
            let rest = &text[at..];
            let after = rest.chars().next().map_or(0, char::len_utf8);
            let slip = slips[dice.below(slips.len())];
            let slipped = format!("{}{slip}{}", &text[..at], &rest[after..]);
            sound_or_panic(&format!("{main} with {slip:?} at {at}"), &check::one(&slipped));
        }
    }
}

/// What the fuzzers have found worth keeping; see `fuzz/README.md`.
#[test]
fn the_fuzzers_corpus() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus");
    let mut replayed = 0;
    for target in ["parse", "compile"] {
        for entry in std::fs::read_dir(corpus.join(target)).unwrap() {
            let path = entry.unwrap().path();
            let bytes = std::fs::read(&path).unwrap();
            let started = Instant::now();
            let compiled = check::bytes(&bytes);
            sound_or_panic(&path.display().to_string(), &compiled);
            check::terminal(&compiled);
            assert!(started.elapsed() < Duration::from_secs(10), "{}", path.display());
            replayed += 1;
        }
    }
    // A lock goes with a display; what is read from it stays the same when written and read again.
    let display = "prop arch * 3 { node dot; string 50 nodes }\nnode dot { chip ws2811; colour RGB }\n\
                   controller pier { ports 1..4 { } }\nwire any: arch\n";
    for entry in std::fs::read_dir(corpus.join("lock")).unwrap() {
        let path = entry.unwrap().path();
        let with = |bytes: &[u8]| {
            let texts = [(check::NAME, display)];
            let compiled = check::beside(check::NAME, &texts, Some((check::LOCK, bytes)));
            sound_or_panic(&path.display().to_string(), &compiled);
            check::terminal(&compiled);
            compiled.lock
        };
        if let Some(lock) = with(&std::fs::read(&path).unwrap()) {
            let text = tinsel::lockfile::write(&lock.lock, &lock.added);
            let again = with(text.as_bytes()).unwrap();
            assert_eq!(*again.text, tinsel::lockfile::write(&again.lock, &again.added));
        }
        replayed += 1;
    }
    assert!(replayed >= 14, "only {replayed} texts in the corpus");
}
