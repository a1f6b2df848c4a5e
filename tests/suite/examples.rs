//! The examples and the displays in README.md compile without a finding.

use crate::check::{self, codes, told};
use std::collections::BTreeMap;
use std::path::Path;
use tinsel::Compiled;

/// The main files, with the least number of props and controllers that each is promised to show.
pub const EXAMPLES: [(&str, usize, usize); 4] = [
    ("examples/first/porch.tinsel", 8, 1),
    ("examples/middle/yard.tinsel", 40, 3),
    ("examples/walk/brook.tinsel", 20, 3),
    ("examples/veteran/yard.tinsel", 250, 6),
];

/// The texts of an example's folder by path within it, the main one first.
pub fn texts(main: &str) -> Vec<(String, String)> {
    let main = Path::new(env!("CARGO_MANIFEST_DIR")).join(main);
    let folder = main.parent().unwrap();
    let mut found = BTreeMap::new();
    collect(folder, folder, &mut found);
    let first = main.file_name().unwrap().to_str().unwrap().to_owned();
    let text = found.remove(&first).unwrap();
    std::iter::once((first, text)).chain(found).collect()
}

fn collect(root: &Path, folder: &Path, found: &mut BTreeMap<String, String>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            collect(root, &path, found);
        } else if path.extension().is_some_and(|extension| extension == "tinsel") {
            let name = path.strip_prefix(root).unwrap().to_str().unwrap().replace('\\', "/");
            found.insert(name, std::fs::read_to_string(&path).unwrap());
        }
    }
}

/// An example, compiled.
pub fn compiled(main: &str) -> Compiled {
    let texts = texts(main);
    let texts: Vec<(&str, &str)> = texts.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
    check::many(texts[0].0, &texts)
}

/// No node of an example is under its floor, so what a newcomer copies lights to its last node.
#[test]
fn no_example_has_nodes_that_go_dark() {
    for (main, ..) in EXAMPLES {
        let compiled = compiled(main);
        let study = tinsel::power::at(&compiled.model, &compiled.plan, None);
        let dark = study.sections.iter().filter(|one| one.dark.is_some());
        assert_eq!(dark.count(), 0, "{main}");
    }
}

#[test]
fn each_example_compiles_without_a_finding() {
    for (main, props, controllers) in EXAMPLES {
        let compiled = compiled(main);
        assert!(compiled.findings.is_empty(), "{main}:\n{}", told(&compiled));
        let count: u32 = compiled
            .model
            .props
            .iter()
            .filter(|prop| !prop.stock)
            .map(|prop| prop.members_count())
            .sum();
        assert!(count as usize >= props, "{main} has {count} props");
        let used = compiled.model.controllers.iter().filter(|c| !c.stock).count();
        assert!(used >= controllers, "{main} has {used} controllers");
        for (string, placed) in compiled.model.strings.iter().zip(&compiled.plan.placed) {
            let prop = &compiled.model.props[string.prop];
            // A pattern of a stock file exists only where something is like it.
            assert!(placed.is_some() || prop.stock, "{main}: {} is nowhere", prop.name);
        }
    }
}

/// The veteran's display is the one that shows everything: a language feature that no example uses
/// is one that nobody finds.
#[test]
fn the_examples_show_the_language() {
    let all: String =
        EXAMPLES.iter().flat_map(|(main, ..)| texts(main)).map(|(_, text)| text).collect();
    for feature in [
        "include \"",
        "stock \"",
        " like ",
        "let ",
        " by ",
        "same as ",
        "stored ",
        "reserve universes",
        "receiver ",
        "split ",
        "skip ",
        "lead ",
        "depth 16",
        "colour GRBW",
        "input ddp",
        "input artnet",
        "addressing consecutive",
        "addressing per prop",
        "align port",
        "align prop",
        "whole nodes",
        "universes after",
        "wire any:",
        " at ",
        "dmx 1..",
        "inject ",
        "power ",
    ] {
        assert!(all.contains(feature), "no example shows `{feature}`");
    }
}

/// The fenced displays of README.md, with the word after the fence.
fn readme_displays() -> Vec<(String, String)> {
    let readme = include_str!("../../README.md");
    let mut displays = Vec::new();
    let mut open: Option<(String, String)> = None;
    for line in readme.lines() {
        match &mut open {
            None => {
                if let Some(word) = line.strip_prefix("```tinsel") {
                    open = Some((word.trim().to_owned(), String::new()));
                }
            }
            Some((_, text)) if !line.starts_with("```") => {
                text.push_str(line);
                text.push('\n');
            }
            Some(_) => displays.extend(open.take()),
        }
    }
    displays
}

/// A display in README.md compiles without a finding; one marked with a code shows just that code.
#[test]
fn the_readmes_displays() {
    let displays = readme_displays();
    assert!(displays.len() >= 2, "README.md shows a display and a wrong one");
    for (word, text) in displays {
        let compiled = check::one(&text);
        let expected: Vec<&str> = word.split_whitespace().collect();
        assert_eq!(codes(&compiled.findings), expected, "{text}\n{}", told(&compiled));
    }
}

/// What README.md shows as the answer to its wrong display is what the compiler says.
#[test]
fn the_readmes_answer() {
    let (_, wrong) = readme_displays().into_iter().find(|(word, _)| !word.is_empty()).unwrap();
    let compiled = check::one(&wrong);
    let said = check::terminal(&compiled);
    let readme = include_str!("../../README.md");
    for line in said.lines().map(str::trim_end).filter(|line| !line.is_empty()) {
        assert!(readme.contains(line), "README.md does not show:\n{line}\nof\n{said}");
    }
}
