//! The program as the shell sees it: the real binary, its statuses and its bytes.

use serde_json::Value;
use std::fs;
use std::io::{Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};

pub const RIGHT: &str = "node bulb { chip ws2811; colour RGB }\n\
                     controller shed { universes from 1; ports 1..2 { chip ws2811 } }\n\
                     prop owl { node bulb; string 40 nodes }\nwire shed.1: owl\n";

const WRONG: &str = "node bulb { chip ws2811; colour RGB }\n\
                     controller shed { universes from 1; ports 1..2 { chip ws2811 } }\n\
                     prop owl { node bulb; string 40 nodes }\nwire shed.3: owl\n";

/// A folder of its own for one test, gone with it.
pub struct Folder(pub PathBuf);

impl Folder {
    pub fn new() -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let name =
            format!("tinsel-test-{}-{}", std::process::id(), COUNT.fetch_add(1, Ordering::Relaxed));
        let path = std::env::temp_dir().join(name);
        fs::create_dir_all(&path).unwrap();
        Self(path)
    }

    pub fn file(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.0.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        path
    }

    /// Names and bytes of everything in it.
    pub fn all(&self) -> Vec<(PathBuf, Vec<u8>)> {
        let mut all = Vec::new();
        let mut folders = vec![self.0.clone()];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).unwrap() {
                let path = entry.unwrap().path();
                if path.is_dir() {
                    folders.push(path);
                } else {
                    all.push((path.clone(), fs::read(&path).unwrap_or_default()));
                }
            }
        }
        all.sort();
        all
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // A folder left in the temporary directory harms nothing.
        let _ = fs::remove_dir_all(&self.0);
    }
}

pub fn tinsel() -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_tinsel"));
    command
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .stdin(Stdio::null())
        .env_remove("NO_COLOR")
        .env_remove("CLICOLOR_FORCE")
        .env_remove("FORCE_COLOR");
    command
}

pub fn run(arguments: &[&str]) -> Output {
    tinsel().args(arguments).output().unwrap()
}

pub fn on(command: &str, path: &Path, more: &[&str]) -> Output {
    tinsel().arg(command).arg(path).args(more).output().unwrap()
}

pub fn piped(arguments: &[&str], input: &[u8]) -> Output {
    let mut child = tinsel()
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // The program may be done before it has read everything.
    let _ = child.stdin.take().unwrap().write_all(input);
    child.wait_with_output().unwrap()
}

pub fn out(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

pub fn err(output: &Output) -> String {
    String::from_utf8(output.stderr.clone()).unwrap()
}

pub fn status(output: &Output) -> i32 {
    output.status.code().expect("not ended by a signal")
}

/// The findings of `check FILE --format json`.
fn findings(path: &Path) -> (i32, Vec<Value>) {
    let output = on("check", path, &["--format", "json"]);
    let value: Value = serde_json::from_str(&out(&output)).unwrap();
    (status(&output), value["diagnostics"].as_array().unwrap().clone())
}

#[test]
fn statuses() {
    let folder = Folder::new();
    let (right, wrong) = (folder.file("right.tinsel", RIGHT), folder.file("wrong.tinsel", WRONG));
    for command in ["check", "table"] {
        assert_eq!(status(&on(command, &right, &[])), 0, "{command}");
        assert_eq!(status(&on(command, &wrong, &[])), 1, "{command}");
        assert_eq!(status(&on(command, &folder.0.join("missing.tinsel"), &[])), 2, "{command}");
        assert_eq!(status(&on(command, &right, &["--no-such-option"])), 2, "{command}");
    }
    assert_eq!(status(&run(&[])), 2);
    assert_eq!(status(&run(&["no-such-command"])), 2);
    assert_eq!(status(&run(&["--help"])), 0);
    assert_eq!(status(&run(&["--version"])), 0);
    assert!(out(&run(&["--version"])).starts_with("tinsel "));
}

#[test]
fn advice_is_no_error() {
    let folder = Folder::new();
    let path = folder.file("yard.tinsel", RIGHT.replace("wire shed.1: owl\n", ""));
    let (status_of, found) = findings(&path);
    assert_eq!(status_of, 0);
    assert_eq!(found[0]["code"], "wire/picked");
    assert_eq!(found[0]["severity"], "advice");
    assert_eq!(status(&on("check", &path, &["--all-wired"])), 1);
}

#[test]
fn nothing_is_written_beside_the_display() {
    let folder = Folder::new();
    let (right, wrong) = (folder.file("right.tinsel", RIGHT), folder.file("wrong.tinsel", WRONG));
    let before = folder.all();
    for path in [&right, &wrong] {
        for command in ["check", "table", "graph"] {
            on(command, path, &[]);
        }
    }
    assert_eq!(before, folder.all());
}

#[test]
fn the_contract_of_check() {
    let folder = Folder::new();
    let path = folder.file("wrong.tinsel", WRONG);
    let (status_of, found) = findings(&path);
    assert_eq!(status_of, 1);
    assert_eq!(found.len(), 1);
    let finding = &found[0];
    assert_eq!(finding["code"], "wire/no-port");
    assert_eq!(finding["severity"], "error");
    assert!(!finding["message"].as_str().unwrap().is_empty());
    assert!(!finding["help"].as_str().unwrap().is_empty());
    let label = &finding["labels"][0];
    assert!(label["file"].as_str().unwrap().ends_with("wrong.tinsel"));
    assert_eq!(label["line"], 4);
    assert_eq!(label["end_line"], 4);
    let column = label["column"].as_u64().unwrap();
    // `wire shed.3: owl`: the target, or its number.
    assert!((6..=11).contains(&column), "{label}");
    assert!(label["end_column"].as_u64().unwrap() > column);
    assert!(label["text"].is_string());
    let right = findings(&folder.file("right.tinsel", RIGHT));
    assert_eq!(right, (0, Vec::new()));
}

#[test]
fn columns_count_characters() {
    let folder = Folder::new();
    let text = "node bulb { chip ws2811; colour RGB }\ncontroller shed { ports 1..2 { } }\n\
                prop größe { node bulb; string 40 nodes }\nwire shed.1: größe -> owll\n";
    let mark = format!("\u{feff}{text}");
    for (name, text) in [("plain", text), ("mark", &mark), ("crlf", &text.replace('\n', "\r\n"))] {
        let (_, found) = findings(&folder.file(&format!("{name}.tinsel"), text));
        assert_eq!(found[0]["code"], "name/unknown", "{name}");
        let label = &found[0]["labels"][0];
        assert_eq!((&label["line"], &label["column"]), (&4.into(), &23.into()), "{name}");
        assert_eq!(label["end_column"], 27, "{name}");
    }
}

#[test]
fn standard_input() {
    let output = piped(&["table", "-", "--format", "json"], RIGHT.as_bytes());
    assert_eq!(status(&output), 0, "{}", err(&output));
    let table: Value = serde_json::from_str(&out(&output)).unwrap();
    assert_eq!(table["strings"][0]["prop"], "owl");
    assert_eq!(status(&piped(&["check", "-"], WRONG.as_bytes())), 1);
    assert_eq!(status(&piped(&["check", "-"], b"")), 0);
}

#[test]
fn colour_only_where_wanted() {
    let folder = Folder::new();
    let path = folder.file("wrong.tinsel", WRONG);
    let coloured = |command: &mut Command| {
        let output = command.arg("check").arg(&path).output().unwrap();
        err(&output).contains('\u{1b}') || out(&output).contains('\u{1b}')
    };
    assert!(!coloured(&mut tinsel()), "not on a pipe");
    assert!(coloured(tinsel().args(["--color", "always"])));
    assert!(!coloured(tinsel().args(["--color", "never"]).env("CLICOLOR_FORCE", "1")));
    assert!(!coloured(tinsel().env("NO_COLOR", "1")));
    let ascii = tinsel().args(["--ascii", "check"]).arg(&path).output().unwrap();
    assert!(out(&ascii).is_ascii() && err(&ascii).is_ascii());
}

#[test]
fn all_names_of_a_refusal_are_printed_when_asked_for() {
    let folder = Folder::new();
    let text = "display \"quay\" { frame rate 20 Hz }\n\
                node n { chip ws2811; colour RGB }\n\
                controller hut { ports 1..3 { nodes at most 100 } }\n\
                prop gull * 7 { node n; string 50 nodes }\n";
    let path = folder.file("quay.tinsel", text);
    let short = err(&on("check", &path, &[]));
    assert!(short.contains("`gull[4]` and") && !short.contains("`gull[5]`"), "{short}");
    assert!(short.contains("names: `--names` prints all"), "{short}");
    let whole = err(&on("check", &path, &["--names"]));
    let json: Value =
        serde_json::from_str(&out(&on("check", &path, &["--format", "json"]))).unwrap();
    let names = json["diagnostics"][0]["names"].as_array().unwrap();
    assert!(names.len() > 5);
    let one_line = whole.split_whitespace().collect::<Vec<_>>().join(" ");
    let listed = one_line.split_once(" names: ").unwrap().1;
    for name in names {
        assert!(listed.contains(&format!("`{}`", name.as_str().unwrap())), "{whole}");
    }
}

#[test]
fn results_and_findings_go_to_their_streams() {
    let folder = Folder::new();
    let table = on("table", &folder.file("right.tinsel", RIGHT), &[]);
    assert!(out(&table).contains("owl"));
    let picked = folder.file("picked.tinsel", RIGHT.replace("wire shed.1: owl\n", ""));
    let table = on("table", &picked, &["--format", "json"]);
    assert!(serde_json::from_str::<Value>(&out(&table)).is_ok(), "nothing but the table");
    assert!(err(&table).contains("wire/picked"));
}

#[test]
fn deterministic_bytes() {
    let all = |zone: &str, language: &str| {
        let mut bytes = Vec::new();
        for (main, ..) in crate::examples::EXAMPLES {
            for arguments in [
                &["table", "--format", "json"][..],
                &["table"],
                &["table", "--by", "universe"],
                &["graph"],
                &["check", "--format", "json"],
            ] {
                let output = tinsel()
                    .args(arguments)
                    .arg(main)
                    .env("TZ", zone)
                    .env("LANG", language)
                    .output()
                    .unwrap();
                assert_eq!(status(&output), 0, "{main} {arguments:?}: {}", err(&output));
                bytes.extend(output.stdout);
            }
        }
        bytes
    };
    assert_eq!(all("UTC", "C"), all("Pacific/Auckland", "tr_TR.UTF-8"));
}

#[test]
fn each_code_is_explained() {
    let list = run(&["explain"]);
    assert_eq!(status(&list), 0);
    let list = out(&list);
    for rule in tinsel::rules::ALL {
        assert!(list.contains(rule.code), "`explain` does not list {}", rule.code);
        let page = run(&["explain", rule.code]);
        assert_eq!(status(&page), 0, "{}", rule.code);
        let page = out(&page);
        for part in [rule.title, rule.page.wrong.lines().next().unwrap().trim()] {
            assert!(page.contains(part), "{} without `{part}`:\n{page}", rule.code);
        }
    }
    assert_eq!(status(&run(&["explain", "port/noddes"])), 2);
}

#[test]
fn the_graph_is_told() {
    let output = run(&["graph", "examples/middle/yard.tinsel"]);
    assert_eq!(status(&output), 0, "{}", err(&output));
    assert!(out(&output).starts_with("digraph"));
    let reach = run(&["graph", "--reach", "bulb", "examples/middle/yard.tinsel"]);
    assert_eq!(status(&reach), 0, "{}", err(&reach));
    assert!(out(&reach).contains("duck") && !out(&reach).contains("barn-eaves"));
    assert_eq!(status(&run(&["graph", "--reach", "nobody", "examples/middle/yard.tinsel"])), 2);
}

/// A port is known by every name that the language has for it, in use or not.
#[test]
fn ports_are_known_by_their_names() {
    let folder = Folder::new();
    let path = folder.file(
        "yard.tinsel",
        "node dot { chip ws2811; colour RGB }\n\
         controller hut { ports 1..8 { }; dmx 1 }\n\
         receiver far { carries hut.5..8 }\n\
         receiver near { carries hut.5..8 }\n\
         prop owl { node dot; string 50 nodes }\n\
         prop fox { node dot; string 50 nodes }\n\
         prop elk { node dot; string 50 nodes }\n\
         wire far.2: owl\n\
         wire near.2: fox\n\
         wire near.3: elk\n",
    );
    let path = path.to_str().unwrap();
    for (name, props) in [
        ("far.2", &["owl"][..]),
        ("near.2", &["fox"]),
        ("hut.6", &["owl", "fox"]),
        ("near", &["fox", "elk"]),
        ("far.3", &[]),
        ("hut.1", &[]),
        ("hut.dmx1", &[]),
    ] {
        let table = run(&["table", "--only", name, "--format", "json", path]);
        assert_eq!(status(&table), 0, "{name}: {}", err(&table));
        let table: Value = serde_json::from_str(&out(&table)).unwrap();
        let rows = table["strings"].as_array().unwrap().iter();
        let shown: Vec<&str> = rows.map(|row| row["prop"].as_str().unwrap()).collect();
        assert_eq!(shown, props, "--only {name}");
        let graph = run(&["graph", "--reach", name, path]);
        assert_eq!(status(&graph), 0, "{name}: {}", err(&graph));
        let graph = out(&graph);
        for prop in ["owl", "fox", "elk"] {
            let reached = graph.contains(&format!("prop {prop}"));
            assert!(!props.contains(&prop) || reached, "--reach {name}: {graph}");
            assert!(!props.is_empty() || !reached, "--reach {name}: {graph}");
        }
    }
    let empty = run(&["table", "--only", "hut.1", path]);
    assert!(out(&empty).contains("no strings"));
    for name in ["far.5", "hut.9", "hut.dmx2", "hut.06"] {
        for (command, narrow) in [("table", "--only"), ("graph", "--reach")] {
            assert_eq!(status(&run(&[command, narrow, name, path])), 2, "{name}");
        }
    }
}

/// Reached is what the display itself puts after a thing, not what only a layout without a lock
/// does.
#[test]
fn the_graph_reaches_what_comes_behind() {
    let folder = Folder::new();
    let text = |addressing: &str| {
        format!(
            "node dot {{ chip ws2811; colour RGB }}\n\
             controller hut {{ addressing {addressing}; ports 1..8 {{ }}; dmx 1 }}\n\
             controller pier {{ ports 1..8 {{ }} }}\n\
             receiver far {{ carries hut.1..4 }}\n\
             receiver near {{ carries hut.1..4 }}\n\
             prop owl {{ node dot; string 50 nodes }}\n\
             prop fox {{ node dot; string 50 nodes }}\n\
             prop elk {{ node dot; string 50 nodes }}\n\
             prop hen {{ node dot; string 50 nodes }}\n\
             prop cow {{ node dot; string 50 nodes }}\n\
             prop lamp {{ slots 6 }}\n\
             wire near.2: fox\n\
             wire far.2: owl\n\
             wire hut.5: elk\n\
             wire hut.5: hen\n\
             wire hut.dmx1: lamp\n\
             wire pier.1: cow\n"
        )
    };
    let apart = folder.file("apart.tinsel", text("per port"));
    let joined = folder.file("joined.tinsel", text("consecutive"));
    let props = ["owl", "fox", "elk", "hen", "cow", "lamp"];
    for (path, name, reached) in [
        (&apart, "owl", &["owl", "fox"][..]),
        (&apart, "fox", &["fox"]),
        (&apart, "elk", &["elk", "hen"]),
        (&joined, "owl", &["owl", "fox", "elk", "hen"]),
        (&joined, "fox", &["fox", "elk", "hen"]),
        (&joined, "hen", &["hen"]),
    ] {
        let output = on("graph", path, &["--reach", name]);
        assert_eq!(status(&output), 0, "{}", err(&output));
        let graph = out(&output);
        let shown = props.iter().filter(|prop| graph.contains(&format!("prop {prop}\"")));
        let shown: Vec<&str> = shown.copied().collect();
        assert_eq!(shown, reached, "--reach {name}: {graph}");
    }
    // Between two ports of a controller it is the port that comes after.
    let all = out(&on("graph", &joined, &[]));
    assert_eq!(all.matches("[label=\"after\"]").count(), 1, "{all}");
    // A member of several strings is a part of its prop.
    let text = "node dot { chip ws2811; colour RGB }\ncontroller hut { ports 1..8 { } }\n\
                prop owl * 2 { node dot; strings 2 of 50 nodes }\nwire any: owl\n";
    let family = folder.file("family.tinsel", text);
    let graph = out(&on("graph", &family, &["--reach", "owl"]));
    assert!(graph.contains("prop owl[1]\"") && graph.contains("prop owl[2]\""), "{graph}");
}

#[test]
fn help_shows_examples() {
    for command in ["check", "build", "table", "explain", "graph"] {
        let output = run(&[command, "--help"]);
        assert_eq!(status(&output), 0);
        assert!(out(&output).contains(&format!("tinsel {command} ")), "{command}");
    }
}

#[test]
fn a_narrowed_table() {
    let output =
        run(&["table", "--only", "duck", "--format", "json", "examples/middle/yard.tinsel"]);
    assert_eq!(status(&output), 0, "{}", err(&output));
    let table: Value = serde_json::from_str(&out(&output)).unwrap();
    let rows = table["strings"].as_array().unwrap();
    assert_eq!(rows.len(), 6);
    assert!(rows.iter().all(|row| row["prop"] == "duck"));
}

#[test]
fn bytes_that_are_no_display() {
    let folder = Folder::new();
    let utf16: Vec<u8> =
        [0xff, 0xfe].into_iter().chain(RIGHT.encode_utf16().flat_map(u16::to_le_bytes)).collect();
    let latin1 = [b"prop caf\xe9 { }\n".as_slice()].concat();
    for (name, bytes, word) in [
        ("utf16.tinsel", utf16, "UTF-16"),
        ("latin1.tinsel", latin1, "UTF-8"),
        ("zeros.tinsel", [RIGHT.as_bytes(), &[0; 40]].concat(), "zero"),
    ] {
        let path = folder.file(name, bytes);
        let output = on("check", &path, &[]);
        let told = format!("{}{}", out(&output), err(&output));
        assert_eq!(status(&output), 1, "{name}: {told}");
        assert!(told.contains(word), "{name} does not say {word}: {told}");
    }
}

#[test]
fn a_folder_is_no_display() {
    let folder = Folder::new();
    let output = on("check", &folder.0, &[]);
    assert_eq!(status(&output), 2);
    assert!(
        err(&output).contains("folder") || err(&output).contains("director"),
        "{}",
        err(&output)
    );
}

#[test]
fn includes_stay_in_the_folder() {
    let folder = Folder::new();
    folder.file("secret.tinsel", "SECRET TEXT\n");
    folder.file("yard/parts/node.tinsel", "node bulb { chip ws2811; colour RGB }\n");
    let rest = RIGHT.split_once('\n').unwrap().1;
    let yard =
        |include: &str| folder.file("yard/yard.tinsel", format!("include \"{include}\"\n{rest}"));
    assert_eq!(status(&on("check", &yard("parts/node.tinsel"), &[])), 0);
    assert_eq!(status(&on("check", &yard("./parts/../parts/node.tinsel"), &[])), 0);
    for path in [
        "../secret.tinsel",
        "parts/../../secret.tinsel",
        "/etc/passwd",
        "C:\\\\x",
        "\\\\\\\\host\\\\x",
        "parts",
        "missing.tinsel",
    ] {
        let output = on("check", &yard(path), &[]);
        let told = format!("{}{}", out(&output), err(&output));
        assert_eq!(status(&output), 1, "{path}: {told}");
        assert!(!told.contains("SECRET") && !told.contains("root:"), "{path}: {told}");
    }
}

#[cfg(unix)]
#[test]
fn links_that_leave_the_folder() {
    let folder = Folder::new();
    let secret = folder.file("secret.tinsel", "SECRET TEXT\n");
    let inside = folder.file("yard/node.tinsel", "node bulb { chip ws2811; colour RGB }\n");
    std::os::unix::fs::symlink(secret, folder.0.join("yard/out.tinsel")).unwrap();
    std::os::unix::fs::symlink(&inside, folder.0.join("yard/in.tinsel")).unwrap();
    let rest = RIGHT.split_once('\n').unwrap().1;
    let yard = |include: &str| folder.file("yard/yard.tinsel", format!("{include}{rest}"));
    let output = on("check", &yard("include \"out.tinsel\"\n"), &[]);
    let told = format!("{}{}", out(&output), err(&output));
    assert_eq!(status(&output), 1, "{told}");
    assert!(!told.contains("SECRET"), "{told}");
    // One file under two names is read once.
    let twice = yard("include \"node.tinsel\"\ninclude \"in.tinsel\"\n");
    let output = on("check", &twice, &[]);
    assert_eq!(status(&output), 0, "{}", err(&output));
}

#[cfg(unix)]
#[test]
fn what_is_no_regular_file_is_refused_at_once() {
    let output = on("check", Path::new("/dev/zero"), &[]);
    assert_eq!(status(&output), 2, "{}", err(&output));
    let folder = Folder::new();
    let rest = RIGHT.split_once('\n').unwrap().1;
    std::os::unix::fs::symlink("/dev/zero", folder.0.join("zero.tinsel")).unwrap();
    let yard = folder.file("yard.tinsel", format!("include \"zero.tinsel\"\n{rest}"));
    assert_eq!(status(&on("check", &yard, &[])), 1);
    // A lock that leads to itself is there, and can't be read.
    let right = folder.file("right.tinsel", RIGHT);
    std::os::unix::fs::symlink("right.lock", folder.0.join("right.lock")).unwrap();
    for command in ["check", "table", "build"] {
        let output = on(command, &right, &[]);
        assert_eq!(status(&output), 2, "{}", err(&output));
        assert!(err(&output).contains("can't read"), "{}", err(&output));
    }
}

#[cfg(unix)]
#[test]
fn a_file_name_that_steers_the_terminal() {
    use std::os::unix::ffi::OsStrExt as _;
    let folder = Folder::new();
    let names: [&[u8]; 3] = [b"\x1b[2Jyard.tinsel", b"bell\x07.tinsel", b"not-utf8-\xff.tinsel"];
    for name in names {
        let path = folder.0.join(std::ffi::OsStr::from_bytes(name));
        fs::write(&path, WRONG).unwrap();
        for format in ["text", "short", "json"] {
            let output = on("check", &path, &["--format", format]);
            assert_eq!(status(&output), 1, "{}", err(&output));
            for bytes in [&output.stdout, &output.stderr] {
                assert!(!bytes.contains(&0x1b) && !bytes.contains(&7), "{format}: {name:?}");
            }
        }
    }
}

#[cfg(unix)]
#[test]
fn a_reader_that_goes_away() {
    let mut child = tinsel()
        .args(["table", "--format", "json", "examples/veteran/yard.tinsel"])
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    let mut first = [0; 16];
    child.stdout.take().unwrap().read_exact(&mut first).unwrap();
    let output = child.wait_with_output().unwrap();
    assert_eq!(status(&output), 0, "{}", err(&output));
    assert_eq!(err(&output), "");
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_device() {
    for arguments in [
        &["table", "examples/first/porch.tinsel"][..],
        &["table", "--format", "json", "examples/veteran/yard.tinsel"],
        &["graph", "examples/first/porch.tinsel"],
        &["explain"],
    ] {
        let full = fs::OpenOptions::new().write(true).open("/dev/full").unwrap();
        let output = tinsel().args(arguments).stdout(full).output().unwrap();
        assert_eq!(status(&output), 2, "{arguments:?}: {}", err(&output));
        assert!(!err(&output).is_empty(), "{arguments:?}");
    }
}

#[cfg(unix)]
#[test]
fn an_unreadable_file() {
    use std::os::unix::fs::PermissionsExt as _;
    let folder = Folder::new();
    let path = folder.file("yard.tinsel", RIGHT);
    fs::set_permissions(&path, fs::Permissions::from_mode(0o000)).unwrap();
    // Whoever may read everything can't be refused; nothing is tested then.
    if fs::read(&path).is_ok() {
        return;
    }
    let output = on("check", &path, &[]);
    assert_eq!(status(&output), 2, "{}", err(&output));
}

#[test]
fn odd_surroundings() {
    let folder = Folder::new();
    let path = folder.file("wrong.tinsel", WRONG);
    for (name, value) in
        [("COLUMNS", "1"), ("COLUMNS", "0"), ("TERM", "dumb"), ("LANG", "C"), ("HOME", "/nowhere")]
    {
        let output = tinsel().arg("check").arg(&path).env(name, value).output().unwrap();
        assert_eq!(status(&output), 1, "{name}={value}");
    }
    let many = Folder::new();
    let mut text = String::from(RIGHT);
    for at in 0..1_000 {
        text.push_str(&format!("wire shed.1: nobody{at}\n"));
    }
    let output = on("check", &many.file("yard.tinsel", text), &[]);
    let told = format!("{}{}", out(&output), err(&output));
    assert_eq!(told.matches("name/unknown").count(), 100);
    assert!(told.contains("900 more"), "{}", &told[told.len() - 300..]);
}

#[test]
fn every_shell_has_completions() {
    for shell in ["bash", "zsh", "fish"] {
        let output = run(&["completions", shell]);
        assert_eq!(status(&output), 0, "{shell}: {}", err(&output));
        assert!(out(&output).contains("tinsel"), "{shell}");
    }
}

/// A result is written whole, in the format of the file's ending, never over a text of the display.
#[test]
fn a_result_goes_into_the_format_that_its_file_says() {
    let folder = Folder::new();
    let display = folder.file("yard.tinsel", RIGHT);
    let to = |command: &str, path: &Path, more: &[&str]| {
        let arguments = ["-o", path.to_str().unwrap()];
        on(command, &display, &[&arguments[..], more].concat())
    };
    for (command, name, head) in [
        ("table", "yard.xlsx", b"PK".as_slice()),
        ("table", "yard.MVR", b"PK"),
        ("graph", "yard.svg", b"<svg "),
        ("graph", "yard.dot", b"digraph "),
        ("table", "yard.json", b"{\n  \"display\""),
        ("table", "yard.yml", b"display:"),
        ("table", "yard.csv", b"prop,"),
        ("table", "yard.html", b"<!doctype html>"),
        ("parts", "parts.csv", b"group,item"),
        ("parts", "parts.yaml", b"parts:"),
        ("parts", "parts.xlsx", b"PK"),
        ("fit", "fit.json", b"{\n  \"display\""),
        ("fit", "fit.xlsx", b"PK"),
        ("power", "power.yaml", b"level_percent:"),
        ("power", "power.html", b"<!doctype html>"),
    ] {
        let path = folder.0.join(name);
        let done = to(command, &path, &[]);
        assert_eq!(status(&done), 0, "{name}: {done:?}");
        assert!(fs::read(&path).unwrap().starts_with(head), "{name}");
        assert!(out(&done).is_empty(), "{name}");
    }
    let path = folder.0.join("odd.csv");
    assert_eq!(status(&to("table", &path, &["--format", "json"])), 0);
    assert!(fs::read(&path).unwrap().starts_with(b"{"), "--format wins over the ending");
    let over = to("table", &display, &["--format", "json"]);
    assert_eq!(status(&over), 2);
    assert_eq!(fs::read(&display).unwrap(), RIGHT.as_bytes());
    for (command, name) in
        [("table", "yard.doc"), ("table", "yard"), ("parts", "parts.mvr"), ("graph", "graph.csv")]
    {
        let path = folder.0.join(name);
        let done = to(command, &path, &[]);
        assert_eq!(status(&done), 2, "{name}");
        let listed = if command == "graph" { "dot or svg" } else { "csv, json, yaml, xlsx" };
        assert!(err(&done).contains(listed), "{name}: {}", err(&done));
        assert!(!path.exists(), "{name}");
    }
    let wrong = folder.file("wrong.tinsel", WRONG);
    let path = folder.0.join("wrong.xlsx");
    let done = on("table", &wrong, &["-o", path.to_str().unwrap()]);
    assert_eq!(status(&done), 1);
    assert!(!path.exists());
}

/// The answer to the old command names the new one.
#[test]
fn export_is_gone_and_says_what_to_write() {
    let folder = Folder::new();
    let display = folder.file("yard.tinsel", RIGHT);
    let done = on("export", &display, &["-o", "yard.xlsx"]);
    assert_eq!(status(&done), 2);
    for said in ["tinsel table yard.tinsel -o yard.xlsx", "tinsel graph yard.tinsel -o yard.svg"] {
        assert!(err(&done).contains(said), "{}", err(&done));
    }
}

/// One table alone in a format that holds all without `--by`; a scene is of the whole display.
#[test]
fn by_narrows_every_format() {
    let folder = Folder::new();
    let display = folder.file("yard.tinsel", RIGHT);
    let table = |more: &[&str]| on("table", &display, more);
    let json: serde_json::Value =
        serde_json::from_str(&out(&table(&["--by", "port", "--format", "json"]))).unwrap();
    let keys: Vec<&String> = json.as_object().unwrap().keys().collect();
    assert_eq!(keys, ["display", "ports"]);
    for more in [["--by", "port"], ["--only", "owl"]] {
        let done = table(&[&more[..], &["--format", "mvr", "-o", "x.mvr"]].concat());
        assert_eq!(status(&done), 2, "{}", err(&done));
    }
}

/// Pages are written whole into a folder or a file, with the same bytes each time, unless addresses
/// are in doubt.
#[test]
fn report_writes_pages() {
    let folder = Folder::new();
    let right = folder.file("yard.tinsel", RIGHT);
    let wrong = folder.file("wrong.tinsel", WRONG);
    let papers = folder.0.join("deep/papers");
    let single = folder.0.join("yard.html");
    let papers = papers.to_str().unwrap();
    assert_eq!(status(&on("report", &right, &["-o", papers])), 0);
    let index = fs::read_to_string(format!("{papers}/index.html")).unwrap();
    assert!(index.starts_with("<!doctype html>") && index.contains("owl"));
    assert_eq!(status(&on("report", &right, &["--single", "-o", single.to_str().unwrap()])), 0);
    let before = folder.all();
    assert_eq!(status(&on("report", &right, &["-o", papers])), 0);
    assert_eq!(folder.all(), before);
    let refused = on("report", &wrong, &["-o", folder.0.join("none").to_str().unwrap()]);
    assert_eq!(status(&refused), 1);
    assert!(err(&refused).contains("1 error; no pages"), "{}", err(&refused));
    // A file where the folder should be.
    let refused = on("report", &right, &["-o", right.to_str().unwrap()]);
    assert_eq!(status(&refused), 2);
    assert!(err(&refused).contains("there is a file in the way"), "{}", err(&refused));
    assert_eq!(folder.all(), before);
}

/// A file is laid out in place, once; what does not parse stays as it is, in a file and in a pipe.
#[test]
fn fmt_lays_out_or_leaves_alone() {
    let folder = Folder::new();
    let wide = RIGHT.replace(' ', "  ");
    let path = folder.file("yard.tinsel", &wide);
    let name = path.to_str().unwrap();
    let check = run(&["fmt", "--check", name]);
    assert_eq!(check.status.code(), Some(1));
    assert_eq!(fs::read_to_string(&path).unwrap(), wide);
    assert_eq!(run(&["fmt", name]).status.code(), Some(0));
    let out = fs::read_to_string(&path).unwrap();
    assert_ne!(out, wide);
    assert!(out.starts_with("node bulb { chip ws2811; colour RGB }\n"), "{out}");
    for arguments in [["fmt", "--check", name], ["fmt", "--quiet", name]] {
        let again = run(&arguments);
        assert_eq!((again.status.code(), again.stderr.len()), (Some(0), 0));
    }
    let broken = "prop  owl {\n  string 40  nodes\n";
    let path = folder.file("broken.tinsel", broken);
    let done = run(&["fmt", path.to_str().unwrap()]);
    assert_eq!(done.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&done.stderr).contains("left as it is"));
    assert_eq!(fs::read_to_string(&path).unwrap(), broken);
    for (text, status, answer) in [(wide.as_str(), 0, out.as_str()), (broken, 1, broken)] {
        let mut child = tinsel()
            .args(["fmt", "-"])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
        let done = child.wait_with_output().unwrap();
        assert_eq!(done.status.code(), Some(status));
        assert_eq!(String::from_utf8_lossy(&done.stdout), answer);
    }
    assert_eq!(run(&["fmt", "nowhere.tinsel", name]).status.code(), Some(2));
}

/// README names every command and every option that exists.
#[test]
fn readme_names_every_argument() {
    let readme = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).unwrap();
    let help = |arguments: &[&str]| String::from_utf8(run(arguments).stdout).unwrap();
    let all = help(&["--help"]);
    let commands = all.split("Commands:").nth(1).unwrap();
    let commands = commands.split("Options:").next().unwrap();
    let commands: Vec<&str> = commands
        .lines()
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    assert!(commands.len() > 10, "{commands:?}");
    let mut missing = Vec::new();
    for command in commands {
        if !readme.contains(&format!("tinsel {command}")) {
            missing.push(command.to_owned());
        }
        let text = help(&[command, "--help"]);
        let options = text.lines().map(str::trim_start);
        let options = options.filter(|line| line.starts_with('-'));
        for line in options {
            // `-D, --deny-warnings`: either is enough.
            let names = line.split([' ', ',', '[', '=']);
            let names = names.filter(|word| word.starts_with('-') && word.len() > 1);
            let names: Vec<&str> = names.take_while(|word| *word != "-").collect();
            let stands = |name: &&str| {
                readme.match_indices(*name).any(|(at, _)| {
                    let behind = readme[at + name.len()..].chars().next();
                    behind.is_none_or(|c| !c.is_alphanumeric() && c != '-')
                })
            };
            if !names.iter().any(stands) && !names.contains(&"--help") {
                missing.push(format!("{command} {names:?}"));
            }
        }
    }
    assert!(missing.is_empty(), "README lacks {missing:?}");
}

/// An argument that is quoted in an error can't control the terminal.
#[test]
fn arguments_that_steer_the_terminal() {
    let output = run(&["chec\u{9b}31mk\u{202e}"]);
    assert_eq!(output.status.code(), Some(2));
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("chec\\u{9b}31mk\\u{202e}"), "{told}");
    assert!(!told.contains(['\u{9b}', '\u{202e}']), "{told}");
    let output = run(&["table", "x.tinsel", "--format", "te\u{1b}[31mxt"]);
    assert_eq!(output.status.code(), Some(2));
    assert!(!output.stderr.contains(&0x1b));
}

#[test]
#[cfg(target_os = "linux")]
fn help_to_a_full_device() {
    let full = fs::File::options().write(true).open("/dev/full").unwrap();
    let output = tinsel().arg("--help").stdout(full).output().unwrap();
    assert_eq!(output.status.code(), Some(2));
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.starts_with("tinsel: can't write to standard output"), "{told}");
}

#[test]
fn a_dash_is_standard_output() {
    let folder = Folder::new();
    folder.file("yard.tinsel", RIGHT);
    let mut command = tinsel();
    command.current_dir(&folder.0);
    let output =
        command.args(["table", "yard.tinsel", "--format", "csv", "-o", "-"]).output().unwrap();
    assert_eq!(output.status.code(), Some(0));
    assert!(output.stdout.starts_with(b"prop,"), "{output:?}");
    assert_eq!(folder.all().len(), 1);
}

/// A page of another origin is not written over; one of ours is.
#[test]
fn report_leaves_pages_of_others() {
    let folder = Folder::new();
    folder.file("yard.tinsel", RIGHT);
    folder.file("set-up.html", "<p>how the mixer is set up</p>");
    let report = || {
        let mut command = tinsel();
        command.current_dir(&folder.0);
        command.args(["report", "yard.tinsel", "-o", "."]).output().unwrap()
    };
    let output = report();
    assert_eq!(output.status.code(), Some(2));
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("set-up.html is there and was not made by"), "{told}");
    assert_eq!(folder.all().len(), 2);
    fs::remove_file(folder.0.join("set-up.html")).unwrap();
    assert_eq!(report().status.code(), Some(0));
    let changed = RIGHT.replace("40 nodes", "41 nodes");
    folder.file("yard.tinsel", changed);
    assert_eq!(report().status.code(), Some(0));
}

/// An imported display is not written beside a lock, whose addresses it would take.
#[test]
fn import_leaves_the_lock_of_another() {
    let folder = Folder::new();
    folder.file("reeds.csv", "name,nodes\nreed,40\n");
    let lock = folder.file("yard.lock", "format: \"1.0\"\n");
    let import = || {
        let mut command = tinsel();
        command.current_dir(&folder.0);
        command.args(["import", "reeds.csv", "-o", "yard.tinsel"]).output().unwrap()
    };
    let output = import();
    assert_eq!(output.status.code(), Some(2));
    let told = String::from_utf8(output.stderr).unwrap();
    assert!(told.contains("yard.lock is the lock of another display"), "{told}");
    assert_eq!(folder.all().len(), 2);
    fs::remove_file(lock).unwrap();
    assert_eq!(import().status.code(), Some(0));
}
