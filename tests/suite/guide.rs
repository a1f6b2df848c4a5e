//! `grammar/LANGUAGE.md`: its examples compile, it has every setting, and cited headings exist.

use crate::check::{self, codes, told};
use std::collections::BTreeMap;
use tinsel::ast::BlockKind;
use tinsel::explain::LANGUAGE;
use tinsel::resolve::settings::{Scope, SettingRow, Slot, rows};
use tinsel::rules;

/// What a page writes before the heading that it cites.
const CITED: &str = "grammar/LANGUAGE.md, \"";

/// A section: its heading, its text, and its examples with the codes that each should show.
#[derive(Default)]
struct Section {
    text: String,
    examples: Vec<(Vec<String>, String)>,
    /// Other files that its examples read: name and text.
    files: Vec<(String, String)>,
}

fn sections() -> BTreeMap<String, Section> {
    let mut sections: BTreeMap<String, Section> = BTreeMap::new();
    let mut heading = String::new();
    let mut open: Option<(Vec<String>, String)> = None;
    for line in LANGUAGE.lines() {
        match (&mut open, line.strip_prefix("```tinsel")) {
            (None, Some(words)) => {
                let codes = words.split_whitespace().map(str::to_owned);
                open = Some((codes.collect(), String::new()));
            }
            (Some((_, text)), _) if !line.starts_with("```") => {
                text.push_str(line);
                text.push('\n');
            }
            (Some((words, text)), _) => {
                let section = sections.entry(heading.clone()).or_default();
                let file = words.first().and_then(|word| word.strip_prefix("file="));
                match file.map(str::to_owned) {
                    Some(name) => section.files.push((name, std::mem::take(text))),
                    None => section.examples.push((std::mem::take(words), std::mem::take(text))),
                }
                open = None;
            }
            (None, None) => {
                if let Some(name) = line.strip_prefix("## ") {
                    heading = name.to_owned();
                    let twice = sections.insert(heading.clone(), Section::default());
                    assert!(twice.is_none(), "two sections `{heading}`");
                }
                let section = sections.entry(heading.clone()).or_default();
                section.text.push_str(line);
                section.text.push('\n');
            }
        }
    }
    assert!(open.is_none(), "an example is not closed");
    sections
}

/// The display that examples without a `display` of their own add to.
fn whole(sections: &BTreeMap<String, Section>) -> &str {
    &sections["A whole display"].examples[0].1
}

fn is_whole(example: &str) -> bool {
    example.lines().any(|line| line.starts_with("display "))
}

#[test]
fn every_example_compiles() {
    let sections = sections();
    let base = whole(&sections);
    let mut seen = 0;
    for (heading, section) in &sections {
        for (expected, example) in &section.examples {
            let text = match is_whole(example) {
                true => example.clone(),
                false => format!("{base}{example}"),
            };
            let more = section.files.iter().map(|(name, text)| (name.as_str(), text.as_str()));
            let texts: Vec<(&str, &str)> =
                std::iter::once((check::NAME, &*text)).chain(more).collect();
            let compiled = check::many(check::NAME, &texts);
            let found = codes(&compiled.findings);
            assert_eq!(found, *expected, "{heading}:\n{example}\n{}", told(&compiled));
            seen += 1;
        }
    }
    assert!(seen >= 20, "{seen} examples");
}

/// The words of a setting in their order: `universes at most`.
fn words(row: &SettingRow) -> Vec<&'static str> {
    let more = row.slots.iter().filter_map(|slot| match slot {
        Slot::Word(word) => Some(*word),
        _ => None,
    });
    std::iter::once(row.first).chain(more).collect()
}

/// Whether a text has all words, in their order.
fn has(text: &str, words: &[&str]) -> bool {
    let mut wanted = words.iter().peekable();
    for word in text.split(|c: char| !(c.is_alphanumeric() || c == '-')) {
        wanted.next_if(|next| **next == word);
    }
    wanted.peek().is_none()
}

const SCOPES: [(Scope, &str); 9] = [
    (Scope::Of(BlockKind::Display), "display"),
    (Scope::Of(BlockKind::Chip), "chip"),
    (Scope::Of(BlockKind::Node), "node"),
    (Scope::Of(BlockKind::Controller), "controller"),
    (Scope::Of(BlockKind::Receiver), "receiver"),
    (Scope::Of(BlockKind::Prop), "prop"),
    (Scope::Of(BlockKind::Supply), "supply"),
    (Scope::Of(BlockKind::Circuit), "circuit"),
    (Scope::Ports, "Ports"),
];

/// Every setting is in the first column of its block's section, with all its words, and in an
/// example.
#[test]
fn every_setting_is_in_the_guide() {
    let sections = sections();
    assert_eq!(SCOPES.len(), BlockKind::ALL.len() + 1);
    for (scope, heading) in SCOPES {
        let section = &sections[heading];
        let cells: Vec<&str> = section
            .text
            .lines()
            .filter(|line| line.starts_with("| `"))
            .filter_map(|line| line.split(" | ").next())
            .collect();
        for row in rows(scope).iter().filter(|row| row.first != "color") {
            let words = words(row);
            let spans = cells.iter().flat_map(|cell| cell.split('`'));
            let shown = spans.filter(|span| has(span, &words)).count();
            assert!(shown > 0, "`{}` is not in the section {heading}", row.example);
            let examples = sections.values().flat_map(|section| &section.examples);
            let used = examples.filter(|(_, text)| has_setting(text, &words)).count();
            assert!(used > 0, "no example of `{}` of {heading}", row.example);
        }
    }
}

/// Whether a setting of these words stands in a text.
fn has_setting(text: &str, words: &[&str]) -> bool {
    let text = text.lines().map(|line| line.split('#').next().unwrap_or(""));
    text.flat_map(|line| line.split([';', '{', '}']))
        .any(|setting| setting.trim().starts_with(words[0]) && has(setting, words))
}

/// Every choice of a setting of fixed words is named in the guide: `consecutive`, `even load`.
#[test]
fn every_choice_is_in_the_guide() {
    for (scope, heading) in SCOPES {
        for row in rows(scope) {
            for slot in row.slots {
                if let Slot::Choice(choices) = slot {
                    for choice in *choices {
                        let text = &sections()[heading].text;
                        assert!(text.contains(choice), "`{choice}` is not in {heading}");
                    }
                }
            }
        }
    }
    for protocol in tinsel::protocol::ALL {
        for form in protocol.forms() {
            assert!(LANGUAGE.contains(form), "`{form}` is not in the guide");
        }
    }
    for unit in tinsel::unit::UNITS {
        let name = format!("`{}`", unit.name);
        assert!(LANGUAGE.contains(&name), "{name} is not in the guide");
    }
}

/// A page cites the guide by sections that exist, and never the source code.
#[test]
fn every_section_that_a_page_cites_exists() {
    let sections = sections();
    let mut cited = 0;
    for rule in rules::ALL {
        let source = rule.page.source;
        for more in source.split(CITED).skip(1) {
            let heading = more.split('"').next().unwrap_or("");
            assert!(sections.contains_key(heading), "{}: no section \"{heading}\"", rule.code);
            cited += 1;
        }
        let rest = source.replace("grammar/LANGUAGE.md", "");
        for other in ["LANGUAGE.md", "language guide", "src/"] {
            assert!(!rest.contains(other), "{} cites `{other}`: {source}", rule.code);
        }
        let bare = source.matches("grammar/LANGUAGE.md").count();
        assert_eq!(bare, source.matches(CITED).count(), "{}: which section? {source}", rule.code);
    }
    assert!(cited >= 20, "{cited}");
}

/// A cited standard has its number, and its edition where it has several.
#[test]
fn sources_are_ones_that_a_reader_can_get() {
    for rule in rules::ALL {
        let source = rule.page.source;
        assert!(!source.trim().is_empty(), "{}", rule.code);
        for (standard, edition) in [
            ("ANSI E1.31", "ANSI E1.31-2018"),
            ("ANSI E1.11", "ANSI E1.11-2008"),
            ("ANSI E1.20", "ANSI E1.20-2010"),
            ("NFPA 70 ", "NFPA 70 (NEC)"),
        ] {
            let named = source.matches(standard).count();
            let full = source.matches(edition).count();
            assert_eq!(named, full, "{}: {source}", rule.code);
        }
    }
}

/// The program prints the guide whole, and as JSON.
#[test]
fn explain_prints_the_guide() {
    let run = |more: &[&str]| {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_tinsel"));
        let output = command.args(["explain", "language"]).args(more).output().unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap()
    };
    assert_eq!(run(&[]), LANGUAGE);
    let json: serde_json::Value = serde_json::from_str(&run(&["--format", "json"])).unwrap();
    assert_eq!(json["language"], LANGUAGE);
}
