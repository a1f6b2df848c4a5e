//! The one way in which tests compile text: everything in memory, nothing read from a disk.

use tinsel::diagnostic::Diagnostic;
use tinsel::report::{self, terminal, terminal::Look};
use tinsel::rules::Page;
use tinsel::source::{Files, Loaded, Memory};
use tinsel::{Compiled, compile, compile_beside};

/// The name that a single text is compiled under.
pub const NAME: &str = "yard.tinsel";

/// The name of the lock beside it.
pub const LOCK: &str = "yard.lock";

/// Compiles one text.
pub fn one(text: &str) -> Compiled {
    many(NAME, &[(NAME, text)])
}

/// Compiles a display of several texts, `main` first.
pub fn many(main: &str, texts: &[(&str, &str)]) -> Compiled {
    let files = texts.iter().fold(Memory::default(), |files, (name, text)| files.with(name, text));
    let loaded = files.load("", main).expect("the main text is among the texts");
    compile(&files, loaded)
}

/// Compiles a display of several texts, `main` first, around a lock: a name and its bytes.
pub fn beside(main: &str, texts: &[(&str, &str)], lock: Option<(&str, &[u8])>) -> Compiled {
    let files = texts.iter().fold(Memory::default(), |files, (name, text)| files.with(name, text));
    let loaded = files.load("", main).expect("the main text is among the texts");
    let lock = lock.map(|(name, bytes)| Loaded {
        identity: name.to_owned(),
        name: name.to_owned(),
        bytes: bytes.to_owned(),
    });
    compile_beside(&files, loaded, lock)
}

/// Compiles a display of a code's page, with its lock if it has one; for `lock/stale` as with
/// `--locked`.
pub fn page(code: &str, text: &str) -> Compiled {
    let (display, lock) = Page::parts(text);
    let mut compiled = beside(NAME, &[(NAME, display)], lock.map(|lock| (LOCK, lock.as_bytes())));
    if code == LOCKED {
        compiled.hold_to_lock();
    }
    compiled
}

/// The code whose displays are compiled as with `--locked`.
pub const LOCKED: &str = "lock/stale";

/// Compiles bytes that need not be text.
pub fn bytes(bytes: &[u8]) -> Compiled {
    let main = Loaded { identity: NAME.to_owned(), name: NAME.to_owned(), bytes: bytes.to_owned() };
    compile(&Memory::default(), main)
}

/// What a person sees of it on a terminal of 100 columns without colour.
pub fn terminal(compiled: &Compiled) -> String {
    let look = Look { colour: false, ascii: false, names: false, width: 100 };
    let mut out = Vec::new();
    terminal::write(&compiled.sources, &compiled.findings, look, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

/// The findings in one of the forms for programs.
pub fn form(compiled: &Compiled, name: &str) -> String {
    let (_, write) = report::ALL.iter().find(|(word, _)| *word == name).unwrap();
    let mut out = Vec::new();
    write(&compiled.sources, &compiled.findings, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

/// The codes of some findings, in their order.
pub fn codes(findings: &[Diagnostic]) -> Vec<&'static str> {
    findings.iter().map(|finding| finding.code).collect()
}

/// The findings in short, for the message of a failing test.
pub fn told(compiled: &Compiled) -> String {
    compiled
        .findings
        .iter()
        .map(|finding| {
            let place = compiled
                .sources
                .place(finding.span())
                .map_or(String::new(), |p| format!("{}:{}:{}", p.file, p.line, p.column));
            format!("{place}: {} {}\n", finding.code, finding.message)
        })
        .collect()
}
