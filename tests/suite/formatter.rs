//! The formatter on every text: it changes only blanks, and the second time nothing.

use crate::check;
use crate::examples::{self, EXAMPLES};
use crate::outputs::table_text;
use crate::random;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use std::path::Path;
use tinsel::format;
use tinsel::source::Loaded;

/// A text laid out; none if it does not parse.
pub fn formatted(text: &str) -> Option<String> {
    let main = Loaded {
        identity: check::NAME.to_owned(),
        name: check::NAME.to_owned(),
        bytes: text.as_bytes().to_owned(),
    };
    format::format(&main).result.ok()
}

/// A text without blanks and `;`, with a comma for each `->`.
fn essence(text: &str) -> String {
    let text = text.replace("->", ",");
    text.chars().filter(|c| !c.is_whitespace() && *c != ';' && *c != '\u{feff}').collect()
}

/// The comments of a text in their order.
fn comments(text: &str) -> Vec<String> {
    let mut all = Vec::new();
    for line in text.lines() {
        let (mut quoted, mut escaped) = (false, false);
        for (at, c) in line.char_indices() {
            quoted ^= c == '"' && !escaped;
            escaped = quoted && c == '\\' && !escaped;
            if c == '#' && !quoted {
                all.push(line[at..].trim_end().to_owned());
                break;
            }
        }
    }
    all
}

/// A text with more blanks wherever there are some, and line ends of the other kind.
fn spread(text: &str) -> String {
    let mut out = String::new();
    for line in text.lines() {
        let (mut quoted, mut escaped) = (false, false);
        let body = line.trim_start();
        out.push_str("  \t ");
        for c in body.trim_end().chars() {
            quoted ^= c == '"' && !escaped;
            escaped = quoted && c == '\\' && !escaped;
            if c == '#' && !quoted {
                break;
            }
            out.push(c);
            if c == ' ' && !quoted {
                out.push_str(" \t");
            }
        }
        let comment = comments(line).pop().unwrap_or_default();
        out.push_str(&comment);
        out.push_str("  \n");
    }
    out
}

/// All that must hold of one text.
#[track_caller]
fn holds(name: &str, text: &str) {
    let Some(once) = formatted(text) else {
        return;
    };
    assert_eq!(essence(&once), essence(text), "{name}: says something else");
    assert_eq!(comments(&once), comments(text), "{name}: comments");
    assert_eq!(formatted(&once).as_ref(), Some(&once), "{name}: not the same twice");
    assert!(
        once.lines().all(|line| line.trim_end() == line),
        "{name}: blanks at the end of a line\n{once}"
    );
    assert!(!once.contains("\n\n\n"), "{name}: two empty lines\n{once}");
    if text.is_ascii() && !text.contains('\r') {
        assert_eq!(formatted(&spread(text)), Some(once), "{name}: depends on blanks");
    }
}

/// Every display on disk below a folder.
fn displays(folder: &str) -> Vec<(String, String)> {
    let mut all = Vec::new();
    let mut folders = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "tinsel")
                && let Ok(text) = std::fs::read_to_string(&path)
            {
                all.push((path.display().to_string(), text));
            }
        }
    }
    all.sort();
    all
}

#[test]
fn every_golden_and_page() {
    let goldens = displays("tests/diagnostics");
    let read = goldens.iter().filter(|(_, text)| formatted(text).is_some()).count();
    assert!(read * 2 > goldens.len(), "most goldens parse");
    for (name, text) in &goldens {
        holds(name, text);
        if let Some(out) = formatted(text) {
            let (before, after) = (check::one(text), check::one(&out));
            assert_eq!(
                check::codes(&before.findings),
                check::codes(&after.findings),
                "{name}\n{out}"
            );
            assert_eq!(table_text(&before, "json"), table_text(&after, "json"), "{name}\n{out}");
        }
    }
    for rule in tinsel::rules::ALL {
        for text in [rule.page.wrong, &rule.page.right()] {
            holds(rule.code, text);
        }
    }
}

/// Examples are as the formatter writes them, and mean the same however they are written.
#[test]
fn the_examples_are_laid_out() {
    for (main, ..) in EXAMPLES {
        let texts = examples::texts(main);
        let wide: Vec<(String, String)> =
            texts.iter().map(|(name, text)| (name.clone(), spread(text))).collect();
        let wide: Vec<(&str, &str)> =
            wide.iter().map(|(name, text)| (name.as_str(), text.as_str())).collect();
        let spread = check::many(wide[0].0, &wide);
        assert_eq!(
            table_text(&spread, "json"),
            table_text(&examples::compiled(main), "json"),
            "{main}"
        );
        for (name, text) in &texts {
            holds(name, text);
            assert_eq!(
                formatted(text).as_deref(),
                Some(text.as_str()),
                "{main}: {name}: run `tinsel fmt`"
            );
        }
    }
}

#[test]
fn random_displays_keep_their_plan() {
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[11; 32]);
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    for _ in 0..96 {
        let spec = random::spec().new_tree(&mut runner).unwrap().current();
        let source = random::build(&spec).source();
        let text = spread(&source);
        let out = formatted(&text).unwrap_or_else(|| panic!("does not parse:\n{source}"));
        holds("random", &source);
        let (before, after) = (check::one(&source), check::one(&out));
        assert_eq!(check::codes(&before.findings), check::codes(&after.findings), "{source}");
        assert_eq!(table_text(&before, "json"), table_text(&after, "json"), "{source}");
    }
}

/// A text cut off anywhere is laid out without harm or left alone.
#[test]
fn cut_off_texts() {
    for (main, ..) in EXAMPLES.iter().take(2) {
        let (_, text) = examples::texts(main).swap_remove(0);
        for at in (0..text.len()).step_by(13).filter(|at| text.is_char_boundary(*at)) {
            holds(main, &text[..at]);
        }
    }
}
