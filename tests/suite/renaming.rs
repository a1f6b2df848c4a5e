//! `renamed` and the lock: a build carries a name over once and notes it. Statuses of `diff`,
//! `why`.

use crate::cli::{Folder, err, out, tinsel};
use std::fs;

const POND: &str = "\
node dot { chip ws2811; colour RGB }
controller jetty { universes from 3; ports 1..6 { chip ws2811 } }
prop heron { node dot; string 40 nodes }
prop egret { node dot; string 40 nodes }
prop reed * 2 { node dot; string 20 nodes }
wire jetty.1: heron
wire jetty.2: egret
wire jetty.4: reed[1] -> reed[2]
";

const SWAP: &str = "renamed heron -> egret\nrenamed egret -> heron\n";

/// Runs a command on `pond.tinsel`; gives its status and what it prints.
fn run(folder: &Folder, arguments: &[&str]) -> (i32, String) {
    let (command, more) = arguments.split_first().unwrap();
    let told =
        tinsel().current_dir(&folder.0).args([command, "pond.tinsel"]).args(more).output().unwrap();
    (told.status.code().unwrap(), out(&told) + &err(&told))
}

fn pond(text: &str) -> Folder {
    let folder = Folder::new();
    folder.file("pond.tinsel", text);
    folder
}

fn build(folder: &Folder) -> String {
    let (status, told) = run(folder, &["build"]);
    assert_eq!(status, 0, "{told}");
    fs::read_to_string(folder.0.join("pond.lock")).unwrap()
}

/// The rows of a lock that begin with a name: its port and start.
fn place(lock: &str, name: &str) -> String {
    let row = lock.lines().find_map(|line| line.strip_prefix(&format!("  {name}: ")));
    row.unwrap().split(", slots").next().unwrap().to_owned()
}

#[test]
fn a_swap_is_carried_over_once() {
    let folder = pond(POND);
    let before = build(&folder);
    let swapped = POND.replace("jetty.1: heron", "jetty.2: heron");
    let swapped = swapped.replace("jetty.2: egret", "jetty.1: egret") + SWAP;
    folder.file("pond.tinsel", &swapped);
    assert_eq!(run(&folder, &["diff"]).0, 3, "a rename counts");
    let once = build(&folder);
    assert_eq!(place(&once, "egret"), place(&before, "heron"));
    assert_eq!(place(&once, "heron"), place(&before, "egret"));
    assert!(
        once.contains("renamed:\n  - egret -> heron\n  - heron -> egret\ncontrollers:"),
        "{once}"
    );
    for _ in 0..3 {
        let (status, told) = run(&folder, &["diff"]);
        assert_eq!(status, 0, "{told}");
        assert!(told.contains("a build would change nothing"), "{told}");
        assert!(told.contains("a build has carried `heron` over to `egret`"), "{told}");
        assert_eq!(run(&folder, &["check", "--locked"]).0, 0);
        assert_eq!(build(&folder), once);
    }
}

/// Each name takes over from the next: what is left standing does not push the addresses on.
#[test]
fn a_row_of_renames_does_not_drift() {
    let three = "\
node dot { chip ws2811; colour RGB }
controller jetty { ports 1..6 { chip ws2811 } }
prop fox { node dot; string 30 nodes }
prop owl { node dot; string 30 nodes }
prop bat { node dot; string 30 nodes }
wire jetty: fox, owl, bat
";
    let folder = pond(three);
    let before = build(&folder);
    folder.file(
        "pond.tinsel",
        three.to_owned() + "renamed fox -> owl\nrenamed owl -> bat\nrenamed bat -> fox\n",
    );
    let once = build(&folder);
    for (old, new) in [("fox", "owl"), ("owl", "bat"), ("bat", "fox")] {
        assert_eq!(place(&once, new), place(&before, old));
    }
    assert_eq!(build(&folder), once);
    assert_eq!(build(&folder), once);
}

/// Two spellings of one name, and blanks and comments in a reference, are the same name.
#[test]
fn names_are_carried_over_however_they_are_written() {
    let display = POND.replace("heron", "h\u{e9}ron");
    let folder = pond(&display);
    let before = build(&folder);
    let swapped = display.replace("jetty.1: h\u{e9}ron", "jetty.2: h\u{e9}ron");
    let swapped = swapped.replace("jetty.2: egret", "jetty.1: egret");
    let renames = "renamed he\u{301}ron -> egret\nrenamed egret -> h\u{e9}ron\n\
                   renamed reed[ # left\n 1 ] -> reed[2]\nrenamed reed[2] -> reed[1 ]\n";
    let swapped = swapped.replace("reed[1] -> reed[2]", "reed[2] -> reed[1]");
    folder.file("pond.tinsel", swapped + renames);
    let once = build(&folder);
    for (old, new) in [("h\u{e9}ron", "egret"), ("reed[1]", "reed[2]"), ("reed[2]", "reed[1]")] {
        assert_eq!(place(&once, new), place(&before, old), "{once}");
    }
    assert_eq!(build(&folder), once);
}

#[test]
fn a_rename_in_the_first_build_is_noted() {
    let folder = pond(&(POND.to_owned() + SWAP));
    let first = build(&folder);
    assert!(first.contains("format: \"1.2\"") && first.contains("- egret -> heron"), "{first}");
    assert_eq!(build(&folder), first);
}

/// A lock of the first format has no renames: those of the display are carried over once.
#[test]
fn an_older_lock_is_carried_over_once() {
    let folder = pond(POND);
    let first = build(&folder).replace("\"1.2\"", "\"1.0\"");
    folder.file("pond.lock", &first);
    assert_eq!(run(&folder, &["check", "--locked"]).0, 0, "an older format is not stale");
    assert_eq!(run(&folder, &["diff"]).0, 0);
    let wired =
        POND.replace("wire jetty.1: heron\nwire jetty.2: egret", "wire jetty: heron, egret");
    folder.file("pond.tinsel", wired + SWAP);
    assert_eq!(run(&folder, &["check", "--locked"]).0, 1);
    let once = build(&folder);
    assert_eq!(place(&once, "heron"), place(&first, "egret"));
    assert_eq!(build(&folder), once);
}

#[test]
fn the_note_goes_with_the_statement() {
    let folder = pond(&(POND.to_owned() + SWAP));
    let noted = build(&folder);
    folder.file("pond.tinsel", POND);
    assert_eq!(run(&folder, &["check", "--locked"]).0, 0);
    let (status, told) = run(&folder, &["diff"]);
    assert_eq!((status, told.as_str()), (0, "a build would change nothing\n"));
    let (_, json) = run(&folder, &["diff", "--format", "json"]);
    let json: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(json["changes"], false);
    let gone = build(&folder);
    assert!(!gone.contains("renamed"), "{gone}");
    assert_eq!(place(&gone, "heron"), place(&noted, "heron"));
    // Without a note the same statements are carried over again.
    let wired =
        POND.replace("wire jetty.1: heron\nwire jetty.2: egret", "wire jetty: heron, egret");
    folder.file("pond.tinsel", wired + SWAP);
    let again = build(&folder);
    assert_eq!(place(&again, "heron"), place(&gone, "egret"));
}

/// A comment and blanks between the brackets are no part of a name.
#[test]
fn what_is_noted_can_be_read() {
    let text = POND.to_owned() + "let n = 1\nrenamed reed[ # from\n 1 .. n + 1] -> heron\n";
    let folder = pond(&text);
    let first = build(&folder);
    assert!(first.contains("  - reed[1..n+1] -> heron\n"), "{first}");
    assert_eq!(build(&folder), first);
}

#[test]
fn a_controller_is_renamed_once() {
    let folder = pond(POND);
    let before = build(&folder);
    let quay = POND.replace("jetty", "quay") + "renamed jetty -> quay\n";
    folder.file("pond.tinsel", quay);
    assert_eq!(run(&folder, &["diff"]).0, 3);
    let after = build(&folder);
    assert_eq!(place(&after, "egret"), place(&before, "egret").replace("jetty", "quay"));
    assert_eq!(run(&folder, &["diff"]).0, 0);
    assert_eq!(build(&folder), after);
}

#[test]
fn diff_is_3_where_people_have_to_do_something() {
    let folder = pond(POND);
    build(&folder);
    let status = |from: &str, to: &str| {
        folder.file("pond.tinsel", POND.replace(from, to));
        run(&folder, &["diff"])
    };
    assert_eq!(status("", "").0, 0);
    assert_eq!(status("wire jetty.1", "wire jetty.3").0, 3, "another plug");
    assert_eq!(
        status("egret { node dot; string 40", "egret { node dot; string 41").0,
        3,
        "another length"
    );
    assert_eq!(status("node dot {", "display \"Pond\" { }\nnode dot {").0, 0);
    let (code, told) = status("prop egret {", "prop egret * 1 {");
    assert_eq!(code, 3, "another name in the table: {told}");
    assert!(told.contains("egret -> egret[1]"), "{told}");
    assert_eq!(status("reed[1] -> reed[2]", "reed[1] -> reed[9]").0, 1);
    // Rows in another order are nothing to do.
    folder.file("pond.tinsel", POND);
    let lock = fs::read_to_string(folder.0.join("pond.lock")).unwrap();
    let mut lines: Vec<&str> = lock.lines().collect();
    let rows = lines.len() - 3;
    lines.swap(rows, rows + 1);
    folder.file("pond.lock", lines.join("\n"));
    let (code, told) = run(&folder, &["diff"]);
    assert_eq!(code, 0, "{told}");
    assert!(told.contains("only the text of the lock would change"), "{told}");
}

/// A display whose supply is too small, which is an error and never stops a table.
const STARVED: &str = "\
node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; pitch 50 mm; gauge 16 AWG }
controller jetty { ports 1..6 { chip ws2811; volts 12 V; fuse 5 A } }
prop heron { node dot; string 40 nodes }
supply shed { volts 12 V; rated 5 W }
power jetty.1..6 from shed through 0.5 m of 12 AWG fuse 5 A
wire jetty.1: heron
";

#[test]
fn an_error_of_power_is_no_status_of_diff_but_one_of_why() {
    let folder = pond(STARVED);
    let (status, told) = run(&folder, &["check"]);
    assert!(status == 1 && told.contains("power/supply"), "{told}");
    assert_eq!(run(&folder, &["diff"]).0, 3);
    run(&folder, &["build"]);
    assert_eq!(run(&folder, &["diff"]).0, 0);
    let (status, told) = run(&folder, &["why", "heron"]);
    assert!(status == 1 && told.contains("jetty.1"), "{told}");
    folder.file("pond.tinsel", STARVED.replace("rated 5 W", "rated 500 W"));
    assert_eq!(run(&folder, &["why", "heron"]).0, 0);
}
