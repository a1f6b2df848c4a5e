//! What the compiler says: the page of every rule, and every case under `tests/diagnostics/`.

use crate::check::{self, codes, told};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use tinsel::Compiled;
use tinsel::diagnostic::{Diagnostic, Edit, Severity};
use tinsel::rules::{self, Rule};

/// The file that a display of several files begins with.
const MAIN: &str = "yard.tinsel";

/// A case on disk.
pub struct Case {
    /// Its code, from its folder.
    pub code: String,
    /// Its name.
    pub name: String,
    /// The folder its snapshot goes to.
    folder: PathBuf,
    /// Its texts, the main one first.
    pub texts: Vec<(String, String)>,
    /// The lock that lies beside it.
    pub lock: Option<(String, Vec<u8>)>,
    /// Whether it must be accepted.
    accepted: bool,
}

impl Case {
    fn compile(&self) -> Compiled {
        let texts: Vec<(&str, &str)> =
            self.texts.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
        let lock = self.lock.as_ref();
        let lock = lock.map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
        let mut compiled = check::beside(texts[0].0, &texts, lock);
        if self.code == check::LOCKED {
            compiled.hold_to_lock();
        }
        compiled
    }
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/diagnostics")
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let mut paths: Vec<PathBuf> =
        std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    paths.sort();
    paths
}

fn name(path: &Path) -> String {
    path.file_name().unwrap().to_str().unwrap().to_owned()
}

/// Every case under `tests/diagnostics/`.
pub fn cases() -> Vec<Case> {
    let mut cases = Vec::new();
    for group in entries(&root()).into_iter().filter(|path| path.is_dir()) {
        for folder in entries(&group) {
            let code = format!("{}/{}", name(&group), name(&folder));
            for path in entries(&folder) {
                let texts = if path.is_dir() {
                    let mut texts: Vec<(String, String)> = entries(&path)
                        .into_iter()
                        .filter(|file| file.extension().is_some_and(|e| e != "lock"))
                        .map(|file| (name(&file), std::fs::read_to_string(file).unwrap()))
                        .collect();
                    texts.sort_by_key(|(name, _)| name != MAIN);
                    texts
                } else if path.extension().is_some_and(|extension| extension == "tinsel") {
                    vec![(name(&path), std::fs::read_to_string(&path).unwrap())]
                } else {
                    continue;
                };
                let stem = name(&path).trim_end_matches(".tinsel").to_owned();
                let beside = if path.is_dir() {
                    path.join(check::LOCK)
                } else {
                    path.with_extension("lock")
                };
                let lock = std::fs::read(&beside).ok();
                cases.push(Case {
                    code: code.clone(),
                    accepted: stem.ends_with(".ok"),
                    name: stem,
                    folder: folder.clone(),
                    texts,
                    lock: lock.map(|bytes| (name(&beside), bytes)),
                });
            }
        }
    }
    cases
}

/// Every case compiled, small ones only, each with its name.
pub fn every_case() -> impl Iterator<Item = (String, Compiled)> {
    let cases = cases().into_iter();
    let small = cases.filter(|case| case.texts.iter().all(|(_, text)| text.len() < 10_000));
    small.map(|case| (format!("{}/{}", case.code, case.name), case.compile()))
}

/// What a person and a program see of a display.
fn seen(
    texts: &[(String, String)],
    lock: Option<&(String, Vec<u8>)>,
    compiled: &Compiled,
) -> String {
    let mut seen = String::new();
    for (name, text) in texts {
        seen.push_str(&format!("==== {name}\n{text}"));
    }
    if let Some((name, bytes)) = lock {
        let text = String::from_utf8_lossy(bytes);
        seen.push_str(&format!("==== {name}\n{text}"));
        if !text.ends_with('\n') {
            seen.push_str("(no end of line)\n");
        }
    }
    seen.push_str("==== terminal\n");
    seen.push_str(&check::terminal(compiled));
    seen.push_str("==== json\n");
    seen.push_str(&check::form(compiled, "json"));
    seen
}

fn snapshot(folder: &Path, name: &str, seen: &str) {
    let mut settings = insta::Settings::new();
    settings.set_snapshot_path(folder);
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name, seen));
}

#[test]
fn each_page_shows_its_code_once_and_puts_it_right() {
    let mut faults = String::new();
    for rule in rules::ALL {
        let page = &rule.page;
        for (what, text) in [
            ("title", rule.title),
            ("means", page.means),
            ("why", page.why),
            ("source", page.source),
        ] {
            if text.trim().is_empty() {
                faults.push_str(&format!("{}: its page has no {what}\n", rule.code));
            }
        }
        for (old, _) in page.change {
            if page.wrong.matches(old).count() != 1 {
                faults.push_str(&format!(
                    "{}: `{old}` does not stand once in its display\n",
                    rule.code
                ));
            }
        }
        let [wrong, right] = [page.wrong, &page.right()].map(|text| check::page(rule.code, text));
        if codes(&wrong.findings) != [rule.code] {
            faults.push_str(&format!("{}: its wrong display gives\n{}", rule.code, told(&wrong)));
        }
        if !right.findings.is_empty() {
            faults.push_str(&format!("{}: its right display gives\n{}", rule.code, told(&right)));
        }
        let apart = lines_apart(page.wrong, &page.right());
        if !(1..=6).contains(&apart) {
            faults.push_str(&format!("{}: {apart} lines between wrong and right\n", rule.code));
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

/// How many lines stand in one of two texts only.
fn lines_apart(one: &str, other: &str) -> usize {
    let mut count: BTreeMap<&str, i32> = BTreeMap::new();
    for line in one.lines() {
        *count.entry(line).or_default() += 1;
    }
    for line in other.lines() {
        *count.entry(line).or_default() -= 1;
    }
    count.values().map(|n| n.unsigned_abs() as usize).sum()
}

#[test]
fn golden_pages() {
    for rule in rules::ALL {
        let texts = vec![(check::NAME.to_owned(), rule.page.wrong.to_owned())];
        snapshot(
            &root().join(rule.code),
            "page",
            &seen(&texts, None, &check::page(rule.code, rule.page.wrong)),
        );
    }
}

#[test]
fn golden_cases() {
    let mut faults = String::new();
    for case in cases().iter().filter(|case| !case.accepted) {
        let compiled = case.compile();
        let found = codes(&compiled.findings);
        if !found.contains(&case.code.as_str()) {
            faults.push_str(&format!(
                "{}/{}: not found; {}\n",
                case.code,
                case.name,
                told(&compiled)
            ));
        }
        // A case shows its own code; any other code must be listed on purpose.
        if found.iter().any(|code| *code != case.code)
            && !MIXED.contains(&(case.code.as_str(), &case.name))
        {
            faults.push_str(&format!("{}/{}: also\n{}\n", case.code, case.name, told(&compiled)));
        }
        if case.name == "two-faults" && found.len() < 2 {
            faults.push_str(&format!(
                "{}/{}: one fault only\n{}\n",
                case.code,
                case.name,
                told(&compiled)
            ));
        }
        snapshot(&case.folder, &case.name, &seen(&case.texts, case.lock.as_ref(), &compiled));
    }
    assert!(faults.is_empty(), "{faults}");
}

/// Cases that show a second code as well, since one mistake in fact breaks two rules.
const MIXED: &[(&str, &str)] = &[
    ("lock/twice", "two-faults"),
    ("stored/mid-chain", "closes-up"),
    ("power/unchecked", "two-faults"),
];

#[test]
fn nearly_wrong_is_accepted() {
    let mut faults = String::new();
    for case in cases().iter().filter(|case| case.accepted) {
        let compiled = case.compile();
        if !compiled.findings.is_empty() {
            faults.push_str(&format!("{}/{}:\n{}", case.code, case.name, told(&compiled)));
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

#[test]
fn each_code_has_its_cases() {
    let mut faults = String::new();
    let all = cases();
    for rule in rules::ALL {
        let of = |accepted| {
            all.iter().filter(|case| case.code == rule.code && case.accepted == accepted).count()
        };
        // The page's own display is one more.
        if of(false) < 2 || of(true) < 1 {
            faults.push_str(&format!(
                "{}: {} cases and {} accepted twins\n",
                rule.code,
                of(false),
                of(true)
            ));
        }
    }
    for case in &all {
        if rules::find(&case.code).is_none() {
            faults.push_str(&format!("{}: there is no such rule\n", case.code));
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

#[test]
fn no_snapshot_is_left_without_its_case() {
    let known: Vec<PathBuf> = cases()
        .iter()
        .filter(|case| !case.accepted)
        .map(|case| case.folder.join(format!("{}.snap", case.name)))
        .chain(rules::ALL.iter().map(|rule| root().join(rule.code).join("page.snap")))
        .collect();
    let mut left = Vec::new();
    for group in entries(&root()).into_iter().filter(|path| path.is_dir()) {
        for folder in entries(&group) {
            left.extend(entries(&folder).into_iter().filter(|path| {
                path.extension().is_some_and(|e| e == "snap") && !known.contains(path)
            }));
        }
    }
    assert!(left.is_empty(), "{left:?}");
}

/// What must hold of every finding, whatever the display.
pub fn sound(compiled: &Compiled) -> Result<(), String> {
    let mut before = 0;
    for finding in &compiled.findings {
        let rule = rules::find(finding.code).ok_or(format!("`{}` is no code", finding.code))?;
        sound_words(rule, finding)?;
        for label in &finding.labels {
            let Some(file) = compiled.sources.file_at(label.span.start) else {
                return Err(format!("{}: a label lies in no file", finding.code));
            };
            let (start, end) = (
                label.span.start.checked_sub(file.base).map(|n| n as usize),
                label.span.end.checked_sub(file.base).map(|n| n as usize),
            );
            let (Some(start), Some(end)) = (start, end) else {
                return Err(format!("{}: a label begins before its file", finding.code));
            };
            if file.text.get(start..end).is_none() {
                return Err(format!(
                    "{}: {start}..{end} is no stretch of {}",
                    finding.code, file.name
                ));
            }
        }
        if finding.span().start < before {
            return Err(format!("{}: not in file order", finding.code));
        }
        before = finding.span().start;
    }
    Ok(())
}

fn sound_words(rule: &Rule, finding: &Diagnostic) -> Result<(), String> {
    let empty = |text: &str| text.trim().is_empty();
    if finding.labels.is_empty() || empty(&finding.message) || empty(&finding.why) {
        return Err(format!("{}: without place, message or reason", rule.code));
    }
    if finding.severity == Severity::Error && empty(&finding.help) {
        return Err(format!("{}: an error without help", rule.code));
    }
    // `DMX output …` and `E1.31 …` begin with a capital, sentences do not.
    let mut letters = finding.message.chars();
    let sentence = letters.next().is_some_and(char::is_uppercase)
        && letters.next().is_some_and(char::is_lowercase);
    if finding.message.ends_with('.') || sentence {
        return Err(format!("{}: `{}` is not in our voice", rule.code, finding.message));
    }
    Ok(())
}

#[test]
fn findings_are_sound() {
    for case in cases() {
        let compiled = case.compile();
        if let Err(fault) = sound(&compiled) {
            panic!("{}/{}: {fault}", case.code, case.name);
        }
    }
    for rule in rules::ALL {
        sound(&check::page(rule.code, rule.page.wrong)).unwrap();
    }
}

/// The texts with some edits made.
pub fn edited(compiled: &Compiled, edits: &[Edit]) -> Vec<(String, String)> {
    let mut edits = edits.to_vec();
    edits.sort_by_key(|edit| std::cmp::Reverse(edit.span.start));
    let mut texts: Vec<(u32, String, String)> = compiled
        .sources
        .files()
        .iter()
        .map(|file| (file.base, file.name.clone(), file.text.to_string()))
        .collect();
    for edit in edits {
        let base = compiled.sources.file_at(edit.span.start).unwrap().base;
        let text = &mut texts.iter_mut().find(|text| text.0 == base).unwrap().2;
        text.replace_range(
            (edit.span.start - base) as usize..(edit.span.end - base) as usize,
            &edit.text,
        );
    }
    texts.into_iter().map(|(_, name, text)| (name, text)).collect()
}

#[test]
fn safe_fixes_cure() {
    let pages = rules::ALL
        .iter()
        .map(|rule| (rule.code.to_owned(), check::page(rule.code, rule.page.wrong)));
    let cases =
        cases().into_iter().map(|case| (format!("{}/{}", case.code, case.name), case.compile()));
    let mut tried = 0;
    for (what, compiled) in pages.chain(cases) {
        for finding in &compiled.findings {
            let Some(fix) = finding.fix.as_ref().filter(|fix| fix.safe) else {
                continue;
            };
            tried += 1;
            let texts = edited(&compiled, &fix.edits);
            let (locks, texts): (Vec<(&str, &str)>, Vec<_>) = texts
                .iter()
                .map(|(n, t)| (n.as_str(), t.as_str()))
                .partition(|(name, _)| name.ends_with(".lock"));
            let lock = locks.first().map(|(name, text)| (*name, text.as_bytes()));
            let after = check::beside(texts[0].0, &texts, lock);
            let count =
                |all: &[Diagnostic], code: &str| all.iter().filter(|f| f.code == code).count();
            assert!(
                count(&after.findings, finding.code) < count(&compiled.findings, finding.code),
                "{what}: `{}` does not cure {}:\n{}",
                fix.title,
                finding.code,
                told(&after)
            );
            for new in &after.findings {
                assert!(
                    count(&compiled.findings, new.code) > 0,
                    "{what}: `{}` brings {}: {}",
                    fix.title,
                    new.code,
                    new.message
                );
            }
        }
    }
    assert!(tried > 0, "no safe fix was tried");
}

/// Each thing that a refusal offers, made in the text, compiles.
#[test]
fn what_is_offered_compiles() {
    let mut causes = 0;
    for case in cases().iter().filter(|case| case.code == "place/no-room") {
        let compiled = case.compile();
        let refused: Vec<&Diagnostic> =
            compiled.findings.iter().filter(|finding| finding.code == "place/no-room").collect();
        for finding in &refused {
            causes += usize::from(!finding.choices.is_empty());
            for choice in &finding.choices {
                let texts = edited(&compiled, &choice.edits);
                let texts: Vec<(&str, &str)> =
                    texts.iter().map(|(n, t)| (n.as_str(), t.as_str())).collect();
                let after = check::many(texts[0].0, &texts);
                let errors =
                    after.findings.iter().filter(|finding| finding.severity == Severity::Error);
                // What clashes for other reasons goes on to.
                assert_eq!(
                    errors.count(),
                    refused.len() - 1,
                    "{}: {}:\n{}",
                    case.name,
                    choice.title,
                    told(&after)
                );
            }
        }
    }
    assert!(causes >= 10, "{causes} refusals offer something");
}

/// More advice than findings that are kept, and an error that is found after it.
#[test]
fn an_error_is_not_lost_among_advice() {
    let unused: String = (0..20_001).map(|at| format!("let a{at} = 1\n")).collect();
    let boxes = "controller left { host 192.168.7.30; ports 1..4 { chip ws2811 } }\n\
                 controller right { host 192.168.7.30; ports 1..4 { chip ws2811 } }\n";
    let compiled = check::one(&format!("{unused}{boxes}"));
    assert!(compiled.has_errors());
}
