//! Short texts that ask for much. Each shape once took time or memory that grew with the square of
//! its length. Now it is answered or refused well within limits, even in a debug build.

use crate::check;
use crate::cli::Folder;
use serde_json::Value;
use std::path::Path;
use std::process::{Command, Output, Stdio};

const NODE: &str = "node bud { chip ws2811; colour RGB }\n";
const PORTS: &str = "controller quay { universes from 1; ports 1..4 { } }\n";

/// Seconds of processor time: a tenth of what any shape took before, many times what it takes now.
const SECONDS: u32 = 40;
/// Kilobytes of address space, threads included.
const KILOBYTES: u32 = 900_000;

/// The program on its arguments in a folder, stopped where it takes more than it may.
fn limited(folder: &Path, arguments: &[&str]) -> Output {
    let limits = format!("ulimit -t {SECONDS} && ulimit -v {KILOBYTES} && exec \"$@\"");
    let mut command = Command::new("sh");
    command.args(["-c", &limits, "sh", env!("CARGO_BIN_EXE_tinsel")]);
    command.args(arguments).current_dir(folder);
    command.stdin(Stdio::null()).output().unwrap()
}

/// The codes of what `check` finds in a text, each once.
fn codes_of(text: &str) -> Vec<String> {
    let folder = Folder::new();
    folder.file("quay.tinsel", text);
    let output = limited(&folder.0, &["check", "quay.tinsel", "--format", "json"]);
    let status = output.status.code();
    assert!(
        matches!(status, Some(0 | 1)),
        "{status:?} {}",
        String::from_utf8_lossy(&output.stderr)
    );
    let told: Value = serde_json::from_slice(&output.stdout).unwrap();
    let all = told["diagnostics"].as_array().unwrap().iter();
    let mut codes: Vec<String> = all.map(|one| one["code"].as_str().unwrap().to_owned()).collect();
    codes.sort();
    codes.dedup();
    codes
}

fn rows(many: usize, row: impl Fn(usize) -> String) -> String {
    (0..many).map(row).collect()
}

/// `like` of `like`: the last of a long row has the settings of the first.
#[test]
fn rows_of_like() {
    let like = |kind: &str, first: &str| {
        let all = rows(12_000, |at| format!("{kind} a{} like a{at} {{ }}\n", at + 1));
        format!("{kind} a0 {{ {first} }}\n{all}")
    };
    let chips = like("chip", "rate 400 kHz");
    assert_eq!(codes_of(&chips), ["name/unused"]);
    let supplies = like("supply", "volts 12 V; rated 100 W");
    assert_eq!(codes_of(&supplies), ["name/unused"]);
    let text = like("node", "chip ws2811; colour RGBW")
        + PORTS
        + "prop owl { node a12000; string 5 nodes }\nwire quay.1: owl\n";
    let compiled = check::one(&text);
    assert!(!compiled.has_errors());
    assert_eq!(compiled.model.shapes.as_slice()[0].slots, 20);
    let text = like("controller", "ports 1..2 { nodes at most 7 }")
        + NODE
        + "prop owl { node bud; string 8 nodes }\nwire a12000.2: owl\n";
    assert!(codes_of(&text).contains(&"port/nodes".to_owned()));
    let text = NODE.to_owned() + PORTS + &like("prop", "node bud; string 1 nodes");
    let codes = codes_of(&text);
    assert!(!codes.contains(&"size/too-much".to_owned()), "{codes:?}");
}

/// `same as` of `same as`, and many that show one.
#[test]
fn rows_of_same_as() {
    let text = |as_written: &str| {
        let all = rows(6_000, |at| format!("prop a{} {{ same as a{at}{as_written} }}\n", at + 1));
        format!("{NODE}{PORTS}prop a0 {{ node bud; string 3 nodes }}\nwire quay.1: a0\n{all}")
    };
    assert_eq!(codes_of(&text("")), ["place/no-room", "wire/picked"]);
    let codes = codes_of(&text(".1"));
    assert_eq!(codes, ["place/no-room", "size/too-much", "wire/picked"]);
    let up_to =
        |last: u32| codes_of(text(".1").split(&format!("prop a{} ", last + 1)).next().unwrap());
    assert_eq!(up_to(64), ["place/no-room", "wire/picked"]);
    assert_eq!(up_to(65), ["place/no-room", "size/too-much", "wire/picked"]);
    let family = format!(
        "{NODE}{PORTS}prop fox {{ node bud; string 3 nodes }}\nprop owl * 6000 {{ same as fox }}\n"
    );
    assert_eq!(codes_of(&family), ["place/no-room", "wire/picked"]);
    let many = format!(
        "{NODE}{PORTS}prop fox {{ node bud; strings 500 of 3 nodes }}\nprop owl * 500 {{ same as fox }}\n"
    );
    assert_eq!(codes_of(&many), ["size/too-much", "wire/picked"]);
}

/// References that name the same strings again and again.
#[test]
fn strings_named_again() {
    let family = format!("{NODE}{PORTS}prop owl * 9000 {{ node bud; string 1 nodes }}\n");
    let ranges = vec!["1..9000"; 20_000].join(", ");
    let wired = format!("{family}wire quay.1: owl[{ranges}]\n");
    assert_eq!(codes_of(&wired), ["size/too-much"]);
    let stored = format!("{family}{}", "stored owl\n".repeat(20_000));
    assert!(codes_of(&stored).contains(&"size/too-much".to_owned()));
    let nested = rows(9_000, |at| format!("prop owl[{}..9000] {{ label \"x\" }}\n", at + 1));
    assert_eq!(codes_of(&format!("{family}{nested}")), ["syntax/repeated-setting"]);
}

/// Ports, points of injection and chips of a port.
#[test]
fn ports_and_what_they_have() {
    let again = "ports 1..1024 { }\n".repeat(20_000);
    let text = format!("controller quay {{\n{again}}}\n");
    assert!(codes_of(&text).contains(&"size/too-much".to_owned()));
    let like = rows(10_000, |at| format!("controller a{at} like a {{ }}\n"));
    let text = format!("controller a {{ ports 1..1024 {{ }}; dmx 1..512 }}\n{like}");
    assert!(codes_of(&text).contains(&"size/too-much".to_owned()));
    let chips = vec!["ws2811"; 20_000].join(", ");
    let text = format!(
        "node bud {{ chip ws2815; colour RGB }}\ncontroller quay {{ ports 1..900 {{ chip {chips} }} }}\n\
         prop owl * 900 {{ node bud; string 5 nodes }}\nwire quay.1..900: owl by 1\n"
    );
    assert_eq!(codes_of(&text), ["wire/chip"]);
    let text = format!(
        "node bud {{ chip ws2811; colour RGB; volts 12 V; draw 9 mA; pitch 9 mm; gauge 18 AWG }}\n{PORTS}\
         supply shed {{ volts 12 V; rated 90 W }}\nprop owl {{ node bud; string 600 nodes }}\nwire quay.1: owl\n{}",
        "inject owl every 1 nodes from shed through 1 m of 12 AWG\n".repeat(10_000)
    );
    assert!(codes_of(&text).contains(&"size/too-much".to_owned()));
}

/// Slots that are reserved again and again.
#[test]
fn slots_reserved_again() {
    let reserved = "reserve quay.dmx1 slots 1..500\n".repeat(50_000);
    let text =
        format!("controller quay {{ dmx 1 }}\nprop par {{ slots 6 }}\nwire quay: par\n{reserved}");
    assert_eq!(codes_of(&text), [""; 0]);
}

/// Names: unknown ones, and those that are renamed.
#[test]
fn names() {
    let text = rows(6_000, |at| {
        format!("prop owl{at} {{ node bud; string 5 nodes }}\nwire quay.1: heron{at}\n")
    });
    let codes = codes_of(&format!("{NODE}{PORTS}{text}"));
    assert!(codes.contains(&"name/unknown".to_owned()));
    let text = rows(6_000, |at| {
        format!("prop owl{at} {{ node bud; string 5 nodes }}\nrenamed fox{at} -> owl{at}\n")
    });
    let codes = codes_of(&format!("{NODE}{PORTS}{text}"));
    assert!(codes.contains(&"rename/spent".to_owned()), "{codes:?}");
}

/// Families on outputs that are open, strings beyond number, and props that the compiler cuts.
#[test]
fn open_families() {
    let text = "controller quay { dmx 1..512 }\nprop par * 19000 { slots 6 }\nwire quay: par\n";
    assert_eq!(codes_of(text), ["dmx/loads"]);
    let text = format!(
        "{NODE}{PORTS}prop owl {{ node bud; strings 400000 of 81 strands of 1 nodes }}\nwire any: owl\n"
    );
    assert_eq!(codes_of(&text), ["size/too-much"]);
    let boxes = rows(20, |at| format!("controller c{at} {{ ports 1..1024 {{ }} }}\n"));
    let split = rows(4_000, |at| {
        format!("prop owl{at} {{ node bud; split 900 nodes }}\nwire c{}: owl{at}\n", at % 20)
    });
    assert_eq!(codes_of(&format!("{NODE}{boxes}{split}")), ["net/load"]);
}

/// What is asked for beside the text.
#[test]
fn commands() {
    let folder = Folder::new();
    folder.file("quay.tinsel", format!("{NODE}{PORTS}"));
    let add = ["fit", "quay.tinsel", "--add", "1000000 nodes of bud"];
    let output = limited(&folder.0, &add);
    assert_eq!(output.status.code(), Some(1));
    let table = format!("name,nodes\n{}", "star,5\n".repeat(8_000));
    folder.file("same.csv", table);
    let output = limited(&folder.0, &["import", "same.csv"]);
    assert_eq!(output.status.code(), Some(0));
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("prop star-8000 "));
    let table = rows(8_000, |at| format!("star,5,box{at},1\n"));
    folder.file("boxes.csv", format!("name,nodes,controller,port\n{table}"));
    // By the table these may be strings of one prop: each row is in doubt.
    let output = limited(&folder.0, &["import", "boxes.csv"]);
    assert_eq!(output.status.code(), Some(1));
    let text = String::from_utf8(output.stdout).unwrap();
    assert!(text.contains("wire box7999.1: star.8000"));
}

/// A lock around which nothing has room: all controllers share the search for what must give way.
#[test]
fn nothing_has_room() {
    let text = |limit: &str, nodes: &dyn Fn(usize) -> usize| {
        let boxes = rows(24, |at| format!("controller c{at} {{ {limit} ports 1..16 {{ }} }}\n"));
        let props = rows(24 * 16, |at| {
            format!(
                "prop p{at} {{ node bud; string {} nodes }}\nwire c{}.{}: p{at}\n",
                nodes(at),
                at / 16,
                at % 16 + 1
            )
        });
        format!("{NODE}{boxes}{props}")
    };
    let folder = Folder::new();
    folder.file("quay.tinsel", text("", &|at| 300 + at * 37 % 200));
    let output = limited(&folder.0, &["build", "quay.tinsel"]);
    assert_eq!(output.status.code(), Some(0));
    let grown = text("universes at most 46;", &|at| 320 + at * 53 % 210);
    folder.file("quay.tinsel", grown);
    let output = limited(&folder.0, &["diff", "quay.tinsel"]);
    let status = output.status.code();
    assert!(matches!(status, Some(1 | 3)), "{status:?}");
}
