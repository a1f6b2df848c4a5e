//! The figures and walls of the code base: what DEVELOPERS.md promises is counted here.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use tinsel::rules;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file below a folder with an ending, by path from the root, with its text.
fn files(folder: &str, ending: &str) -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let mut folders = vec![root().join(folder)];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).unwrap() {
            let path: PathBuf = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|extension| extension == ending) {
                let name = path.strip_prefix(root()).unwrap().to_str().unwrap().replace('\\', "/");
                found.insert(name, fs::read_to_string(&path).unwrap());
            }
        }
    }
    found
}

/// The words of the glossary in DEVELOPERS.md.
fn glossary() -> Vec<String> {
    let guide = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let (_, words) = guide.split_once("\n## Words\n").unwrap();
    let (words, _) = words.split_once("\n## ").unwrap();
    words
        .lines()
        .filter_map(|line| Some(line.strip_prefix("| ")?.split_once(" |")?.0.to_string()))
        .filter(|word| word != "word")
        .collect()
}

#[test]
fn a_word_of_the_glossary_names_at_most_one_type() {
    let words = glossary();
    assert!((30..=40).contains(&words.len()), "{} words", words.len());
    let mut types: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for (file, text) in sources() {
        for (at, line) in code(&text) {
            let line = line.strip_prefix("pub").map_or(line, |rest| match rest.strip_prefix('(') {
                Some(rest) => rest.split_once(')').map_or("", |(_, rest)| rest),
                None => rest,
            });
            let mut parts = line.split_whitespace();
            let kind = parts.next().unwrap_or_default();
            // The associated types of traits of others (`type Output = T;`) are named there.
            if line.ends_with("= T;") || !["struct", "enum", "type", "trait"].contains(&kind) {
                continue;
            }
            let name = parts.next().unwrap_or_default();
            let end = name.find(|c: char| !c.is_alphanumeric()).unwrap_or(name.len());
            types.entry(name[..end].to_lowercase()).or_default().push(format!("{file}:{at}"));
        }
    }
    assert!(types.contains_key("model") && types.contains_key("plan"), "no types found");
    for word in words {
        let homes = types.get(&word).map_or(&[][..], Vec::as_slice);
        assert!(homes.len() < 2, "`{word}` names {} types: {homes:?}", homes.len());
    }
}

/// The sources, without the files that are only there for tests.
fn sources() -> BTreeMap<String, String> {
    let mut sources = files("src", "rs");
    let mut only_tests = Vec::new();
    for (file, text) in &sources {
        let folder = file.trim_end_matches(".rs").trim_end_matches("/mod");
        for (_, rest) in text
            .match_indices("#[cfg(test)]\nmod ")
            .map(|(at, found)| (at, &text[at + found.len()..]))
        {
            if let Some((name, _)) = rest.split_once(';').filter(|(name, _)| !name.contains(' ')) {
                only_tests.push(format!("{folder}/{name}.rs"));
            }
        }
    }
    for file in only_tests {
        assert!(sources.remove(&file).is_some(), "{file} is a module of tests, but not there");
    }
    sources
}

/// A source without its own tests.
fn without_tests(text: &str) -> &str {
    text.split_once("#[cfg(test)]\nmod tests {").map_or(text, |(before, _)| before)
}

/// Its code lines: no comments.
fn code(text: &str) -> impl Iterator<Item = (usize, &str)> {
    without_tests(text)
        .lines()
        .enumerate()
        .map(|(at, line)| (at + 1, line.trim()))
        .filter(|(_, line)| !line.starts_with("//"))
}

/// What each module may use, ground first. A folder stands for all below it.
const LAYERS: &[&[&str]] = &[
    &["source", "diagnostic", "keyed", "unit"],
    &["protocol", "chip", "cable"],
    &["ast", "model", "plan", "loads", "lock", "graph", "table", "grid", "limits", "usage"],
    &["rules"],
    &["syntax", "resolve", "allocate", "lockfile", "check", "power"],
    &["survey"],
    &["output", "report", "explain", "page", "import", "format", "diff", "why"],
    &["editor"],
    &["lsp"],
    &["cli"],
];

fn layer(module: &str) -> Option<usize> {
    LAYERS.iter().position(|layer| layer.contains(&module))
}

/// Stages meet in data: none uses another.
const APART: &[&str] = &["syntax", "resolve", "allocate", "lockfile", "check", "power"];

/// The module of a file: the first part of its path in `src`.
fn module(file: &str) -> &str {
    let path = file.trim_start_matches("src/");
    path.split('/').next().unwrap().trim_end_matches(".rs")
}

/// The modules that a text names as `crate::…`.
fn used(text: &str) -> Vec<String> {
    let mut used = Vec::new();
    for (at, _) in without_tests(text).match_indices("crate::") {
        let rest = &text[at + "crate::".len()..];
        if let Some(group) = rest.strip_prefix('{') {
            // A group names modules at its own depth only.
            let mut depth = 0_usize;
            let mut word = String::new();
            for letter in group.chars() {
                match letter {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => used.push(std::mem::take(&mut word)),
                    _ if depth == 0 => word.push(letter),
                    _ => {}
                }
            }
            used.push(word);
        } else {
            used.push(rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect());
        }
    }
    used.iter()
        .map(|word| word.trim().split("::").next().unwrap_or("").trim().to_owned())
        .filter(|word| !word.is_empty())
        .collect()
}

#[test]
fn layers_use_only_what_stands_below_them() {
    let mut faults = String::new();
    for (file, text) in sources() {
        let own = module(&file);
        if ["lib", "main"].contains(&own) {
            continue;
        }
        let Some(mine) = layer(own) else {
            faults.push_str(&format!("{file}: `{own}` has no layer\n"));
            continue;
        };
        for other in used(&text) {
            // The crate's own function and result are for the faces.
            if ["Compiled", "compile", "compile_beside", "compile_relaid"].contains(&other.as_str())
            {
                if mine < layer("output").unwrap() {
                    faults.push_str(&format!("{file}: uses the whole pipeline\n"));
                }
                continue;
            }
            let Some(theirs) = layer(&other) else {
                continue;
            };
            let stage = APART.contains(&own) && APART.contains(&other.as_str()) && own != other;
            if theirs > mine || stage {
                faults.push_str(&format!("{file}: `{own}` uses `{other}`\n"));
            }
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

/// Crates that one file or folder alone may know.
const ALONE: &[(&str, &[&str])] = &[
    ("miette::", &["src/report/terminal.rs"]),
    ("pest::", &["src/syntax/"]),
    ("pest_derive::", &["src/syntax/"]),
    ("petgraph::", &["src/graph.rs"]),
    ("serde_yaml::", &["src/lockfile/read.rs"]),
    ("clap::", &["src/cli/"]),
    ("rust_xlsxwriter::", &["src/output/xlsx.rs"]),
    ("zip::", &["src/output/mvr.rs", "src/import/book.rs"]),
    ("calamine::", &["src/import/book.rs"]),
    ("uuid::", &["src/output/mvr.rs"]),
    ("std::fs", &["src/cli/disk"]),
    ("std::env", &["src/cli/", "src/main.rs"]),
    ("std::process", &["src/cli/", "src/main.rs"]),
    ("std::time", &[]),
    ("Serialize", &["src/report/", "src/explain.rs", "src/diff/json.rs"]),
    ("println!", &[]),
];

#[test]
fn each_library_stays_in_its_room() {
    let mut faults = String::new();
    for (file, text) in sources() {
        for (line, code) in code(&text) {
            for (name, rooms) in ALONE {
                if code.contains(name) && !rooms.iter().any(|room| file.starts_with(room)) {
                    faults.push_str(&format!("{file}:{line}: `{name}` has no place here\n"));
                }
            }
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

/// Newer versions of `textwrap` and `zip` would double the first build (DEVELOPERS.md, section 8).
#[test]
fn the_first_build_stays_small() {
    let lock = fs::read_to_string(root().join("Cargo.lock")).unwrap();
    for heavy in ["icu_segmenter", "zeroize"] {
        let entry = format!("name = \"{heavy}\"");
        assert!(!lock.contains(&entry), "Cargo.lock has {heavy} again");
    }
}

/// Comments have at most 100 columns, but for what they quote; so has code, but for lines with a text.
#[test]
fn lines_are_short() {
    let mut faults = String::new();
    for (file, text) in files("src", "rs") {
        let mut quoted = false;
        for (at, line) in text.lines().enumerate() {
            let comment = line.trim_start().starts_with("//");
            quoted ^= comment && line.contains("```");
            let free = if comment { quoted } else { line.contains(['"', '\\']) };
            if line.chars().count() > 100 && !free {
                faults.push_str(&format!("{file}:{}: {} columns\n", at + 1, line.chars().count()));
            }
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

#[test]
fn files_are_short() {
    let mut lengths: Vec<usize> = Vec::new();
    let mut faults = String::new();
    for (file, text) in sources() {
        let length = without_tests(&text).lines().count();
        lengths.push(length);
        if length > 600 {
            faults.push_str(&format!("{file}: {length} lines\n"));
        }
    }
    assert!(faults.is_empty(), "{faults}");
    lengths.sort_unstable();
    let median = lengths[lengths.len() / 2];
    assert!(median <= 150, "the median source has {median} lines");
}

/// Few functions have six parameters or more, and only tables have more lines than clippy allows.
#[test]
fn waivers_of_size_are_few() {
    let mut parameters = 0;
    for (file, text) in sources() {
        for line in without_tests(&text).lines() {
            parameters += usize::from(line.contains("clippy::too_many_arguments"));
            let long = line.contains("clippy::too_many_lines");
            assert!(!long || line.contains("reason = \"a table: "), "{file}: {line}");
        }
    }
    assert!(parameters <= 10, "{parameters} functions have six parameters or more");
}

#[test]
fn every_file_says_what_it_is_for() {
    let all = [
        sources(),
        files("tests", "rs"),
        files("benches/ratios", "rs"),
        files("fuzz/fuzz_targets", "rs"),
    ];
    for (file, text) in all.into_iter().flatten() {
        let head = text.lines().find(|line| !line.trim().is_empty() && !line.starts_with("#!["));
        assert!(head.is_some_and(|line| line.starts_with("//!")), "{file} has no module doc");
    }
    let grammar = fs::read_to_string(root().join("grammar/tinsel.pest")).unwrap();
    assert!(grammar.starts_with("//!"));
    let mut documented = false;
    for line in grammar.lines() {
        let rule =
            line.starts_with(|c: char| c.is_ascii_alphabetic() || c == '_') && line.contains('=');
        assert!(!rule || documented, "a grammar rule without a `///`: {line}");
        documented = line.starts_with("///");
    }
}

#[test]
fn nothing_is_left_unfinished_and_nothing_can_panic() {
    // Put together here, so that this file does not find itself.
    let marks = ["TO DO", "FIX ME", "X XX", "HA CK", "db g!", "to do!", "unimple mented!"]
        .map(|mark| mark.replace(' ', ""));
    let panics = [".unwrap()", ".expect(", "panic!(", "unreachable!(", "unsafe "];
    let mut faults = String::new();
    let all =
        [sources(), files("tests", "rs"), files("benches/ratios", "rs"), files("grammar", "pest")];
    for (file, text) in all.into_iter().flatten() {
        for mark in &marks {
            if text.contains(mark) {
                faults.push_str(&format!("{file}: `{mark}`\n"));
            }
        }
        if !file.starts_with("src/") {
            continue;
        }
        for (line, code) in code(&text) {
            if panics.iter().any(|panic| code.contains(panic)) {
                faults.push_str(&format!("{file}:{line}: {code}\n"));
            }
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

/// A rule is in the file that its code names, and the file has nothing that another rule needs.
#[test]
fn each_rule_is_in_its_own_file() {
    for rule in rules::ALL {
        let file = format!("src/rules/{}.rs", rule.code.replace('-', "_"));
        let text = fs::read_to_string(root().join(&file)).unwrap_or_default();
        assert!(
            text.contains(&format!("\"{}\"", rule.code)),
            "{file} does not hold `{}`",
            rule.code
        );
    }
    // A rule with many constructors keeps some of them in a folder of its own name.
    let files =
        files("src/rules", "rs").iter().filter(|(file, _)| file.split('/').count() == 4).count();
    assert_eq!(files, rules::ALL.len(), "files of rules and entries of the list");
    let mut codes: Vec<&str> = rules::ALL.iter().map(|rule| rule.code).collect();
    codes.sort_unstable();
    codes.dedup();
    assert_eq!(codes.len(), rules::ALL.len(), "a code stands twice in the list");
}

/// Findings are worded in the rules and nowhere else.
#[test]
fn stages_word_no_finding() {
    for (file, text) in sources() {
        if file.starts_with("src/rules/") || file.starts_with("src/diagnostic/") {
            continue;
        }
        for (line, code) in code(&text) {
            assert!(
                !code.contains("Words {") && !code.contains("Diagnostic::new("),
                "{file}:{line}: words a finding: {code}"
            );
        }
    }
}

/// Papers that a newcomer looks for.
#[test]
fn the_papers_are_there() {
    for paper in [
        "README.md",
        "DEVELOPERS.md",
        "LICENSE-MIT",
        "LICENSE-APACHE",
        ".ci/run",
        "tests/diagnostics/README.md",
        "fuzz/README.md",
    ] {
        assert!(root().join(paper).is_file(), "{paper} is missing");
    }
    let developers = fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let manifest = fs::read_to_string(root().join("Cargo.toml")).unwrap();
    for line in manifest.lines().skip_while(|line| *line != "[dependencies]").skip(1) {
        if line.starts_with("[profile") {
            break;
        }
        if let Some((name, _)) = line.split_once(" = ") {
            assert!(
                developers.contains(&format!("`{name}`")),
                "DEVELOPERS.md has no reason for `{name}`"
            );
        }
    }
    for file in sources().keys().filter(|file| !file.starts_with("src/rules/")) {
        let path = file.trim_start_matches("src/");
        let known = developers.contains(path)
            || path
                .split_once('/')
                .is_some_and(|(folder, _)| developers.contains(&format!("`{folder}/`")));
        assert!(known, "DEVELOPERS.md's map does not have {path}");
    }
}
