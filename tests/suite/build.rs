//! `tinsel build` as the shell sees it: what it writes and what it refuses to, and that whatever
//! goes wrong on the way, what was there stays as it was.

use crate::cli::{Folder, RIGHT, err, on, out, piped, status, tinsel};
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use std::time::Duration;

const TABLES: [&str; 6] = [
    "yard-controllers.csv",
    "yard-ports.csv",
    "yard-props.csv",
    "yard-strings.csv",
    "yard-universes.csv",
    "yard.json",
];

/// A folder with a display in it.
fn yard(text: &str) -> (Folder, PathBuf) {
    let folder = Folder::new();
    let path = folder.file("yard.tinsel", text);
    (folder, path)
}

fn build(path: &Path, more: &[&str]) -> Output {
    on("build", path, more)
}

/// Builds, and fails unless that goes well.
fn built(path: &Path, more: &[&str]) -> String {
    let output = build(path, more);
    assert_eq!(status(&output), 0, "{}", err(&output));
    out(&output)
}

fn lock(folder: &Folder) -> String {
    fs::read_to_string(folder.0.join("yard.lock")).unwrap()
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> = fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    names.sort();
    names
}

/// The display with a second prop.
fn with_reed() -> String {
    format!("{RIGHT}prop reed {{ node bulb; string 30 nodes }}\nwire shed.2: reed\n")
}

#[test]
fn the_first_build_makes_the_lock_and_the_next_leaves_it() {
    let (folder, path) = yard(RIGHT);
    let tables = folder.0.join("tables");
    let more = ["--out", tables.to_str().unwrap()];
    let said = built(&path, &more);
    assert!(said.contains("1 new, the first lock"), "{said}");
    assert_eq!(names(&tables), TABLES);
    assert_eq!(names(&folder.0), ["tables", "yard.lock", "yard.tinsel"]);
    assert!(
        lock(&folder).contains("\n  owl: {port: shed.1, start: 1/1, slots: 120, nodes: 40, each: 3, colour: RGB, chip: ws2811}\n"),
        "{}",
        lock(&folder)
    );
    let before = folder.all();
    let stamp = |name: &str| fs::metadata(folder.0.join(name)).unwrap().modified().unwrap();
    let stamps = [stamp("yard.lock"), stamp("tables/yard.json")];
    let said = built(&path, &more);
    assert!(said.contains("1 kept, 0 new, 0 moved, 0 freed"), "{said}");
    assert_eq!(before, folder.all());
    assert_eq!(stamps, [stamp("yard.lock"), stamp("tables/yard.json")], "not even touched");
    // The tables are those of `table`.
    let table = out(&on("table", &path, &["--format", "json"]));
    assert_eq!(table, fs::read_to_string(tables.join("yard.json")).unwrap());
}

#[test]
fn what_is_new_and_what_is_freed_is_told() {
    let (folder, path) = yard(&with_reed());
    built(&path, &[]);
    fs::write(&path, RIGHT).unwrap();
    let said = built(&path, &[]);
    assert!(said.contains("1 kept, 0 new, 0 moved, 1 freed"), "{said}");
    assert!(said.contains("reed: 1/121 to 1/210 on shed.2"), "{said}");
    assert!(!lock(&folder).contains("reed"));
    fs::write(&path, with_reed()).unwrap();
    let said = built(&path, &[]);
    assert!(said.contains("1 kept, 1 new, 0 moved, 0 freed"), "{said}");
    assert_eq!(out(&build(&path, &["--quiet"])), "");
}

/// A string that moves from a controller which is gone is printed with that controller's name.
#[test]
fn a_controller_that_is_gone_is_named() {
    let one = RIGHT.replace("universes from 1", "universes 1..2");
    let boat = "controller boat { universes 7..8; ports 1..2 { } }\nprop owl";
    let two = one.replace("prop owl", boat).replace("shed.1: owl", "boat.2: owl");
    let (_folder, path) = yard(&two);
    built(&path, &[]);
    fs::write(&path, one).unwrap();
    let said = built(&path, &[]);
    assert!(said.contains(" on boat.2 -> "), "{said}");
}

#[test]
fn locked_means_that_nothing_would_change() {
    let (folder, path) = yard(RIGHT);
    let locked = |command: &str| {
        let output = on(command, &path, &["--locked"]);
        (status(&output), err(&output).contains("lock/stale"))
    };
    for command in ["check", "table", "build"] {
        assert_eq!(locked(command), (1, true), "{command}: no lock yet");
    }
    assert_eq!(names(&folder.0), ["yard.tinsel"]);
    built(&path, &[]);
    for command in ["check", "table", "build"] {
        assert_eq!(locked(command), (0, false), "{command}: as it was built");
    }
    fs::write(&path, with_reed()).unwrap();
    let before = folder.all();
    for command in ["check", "table", "build"] {
        assert_eq!(locked(command), (1, true), "{command}: a prop more");
    }
    let output = build(&path, &["--locked", "--out", folder.0.join("t").to_str().unwrap()]);
    assert_eq!(status(&output), 1);
    assert_eq!(before, folder.all());
    assert_eq!(status(&build(&path, &["--locked", "--new-lock"])), 2);
}

#[test]
fn errors_keep_it_from_writing_unless_they_are_of_power_or_network() {
    let (folder, path) = yard(RIGHT);
    built(&path, &[]);
    fs::write(&path, format!("{}wire shed.9: owl\n", with_reed())).unwrap();
    let before = folder.all();
    let output = build(&path, &["--out", folder.0.join("t").to_str().unwrap()]);
    assert_eq!(status(&output), 1);
    assert!(err(&output).contains("nothing is written"), "{}", err(&output));
    assert_eq!(before, folder.all());
    let hosts = with_reed()
        .replace("ports 1..2", "host 10.0.0.7; ports 1..2")
        .replace("wire shed.2", "controller hut { host 10.0.0.7; ports 1..2 { } }\nwire hut.1");
    fs::write(&path, hosts).unwrap();
    let output = build(&path, &[]);
    assert_eq!(status(&output), 1, "{}", err(&output));
    assert!(err(&output).contains("net/host"));
    assert!(lock(&folder).contains("reed: {port: hut.1"), "{}", lock(&folder));
}

#[test]
fn a_lock_that_is_lost_or_cannot_be_read_is_not_passed_over() {
    let (folder, path) = yard(RIGHT);
    let tables = folder.0.join("tables");
    let more = ["--out", tables.to_str().unwrap()];
    built(&path, &more);
    fs::remove_file(folder.0.join("yard.lock")).unwrap();
    let before = folder.all();
    let output = build(&path, &more);
    assert_eq!(status(&output), 2);
    assert!(err(&output).contains("--new-lock"), "{}", err(&output));
    assert_eq!(before, folder.all());
    built(&path, &["--out", tables.to_str().unwrap(), "--new-lock"]);
    let output = build(&path, &["--new-lock"]);
    assert_eq!(status(&output), 2, "a lock that can be read is not thrown away");
    let whole = lock(&folder);
    for broken in [
        "",
        "nonsense\n",
        whole.strip_suffix("...\n").unwrap(),
        &whole.replace("1.2", "2.0"),
        &whole.replace("1/1,", "1/1000,"),
        &whole.replace("  owl", "<<<<<<< HEAD\n  owl"),
        &whole.replace("display: \"\"", "display: \"Other\"").replace("# W", "\n# W"),
    ] {
        folder.file("yard.lock", broken);
        let text = match broken.contains("Other") {
            true => format!("display \"Mine\" {{ }}\n{RIGHT}"),
            false => RIGHT.to_owned(),
        };
        fs::write(&path, text).unwrap();
        let before = folder.all();
        for command in ["check", "table", "build"] {
            let output = on(command, &path, &[]);
            assert_eq!(status(&output), 1, "{command} with {broken}");
            assert!(err(&output).contains("lock/unreadable"), "{command} with {broken}");
        }
        assert_eq!(before, folder.all(), "{broken}");
    }
    built(&path, &["--new-lock"]);
    assert!(lock(&folder).contains("display: \"Mine\""));
}

/// More findings than are kept do not hide that the lock can't be read.
#[test]
fn a_flood_of_advice_does_not_lose_the_lock() {
    let unused: String = (0..21_000).map(|at| format!("chip c{at} {{ rate 800 kHz }}\n")).collect();
    let (folder, path) = yard(&format!("{RIGHT}{unused}"));
    folder.file("yard.lock", "nonsense\n");
    let before = folder.all();
    for command in ["check", "build"] {
        assert_eq!(status(&on(command, &path, &[])), 1, "{command}");
    }
    assert_eq!(before, folder.all());
}

#[test]
fn standard_input_finds_its_lock_by_the_name_it_is_given() {
    let (folder, path) = yard(RIGHT);
    built(&path, &[]);
    let name = path.to_str().unwrap();
    let with = |text: &str, command: &str| {
        let arguments = [command, "-", "--stdin-filename", name, "--locked"];
        status(&piped(&arguments, text.as_bytes()))
    };
    assert_eq!(with(RIGHT, "check"), 0);
    assert_eq!(with(&with_reed(), "check"), 1);
    let output = piped(&["build", "-"], RIGHT.as_bytes());
    assert_eq!(status(&output), 2);
    assert!(err(&output).contains("--stdin-filename"));
    let output = piped(&["build", "-", "--stdin-filename", name], with_reed().as_bytes());
    assert_eq!(status(&output), 0, "{}", err(&output));
    assert!(lock(&folder).contains("reed"));
}

#[test]
fn paths_that_cannot_be_written() {
    let (folder, path) = yard(&format!("include \"yard.json\"\n{RIGHT}"));
    folder.file("yard.json", "# part of the display\n");
    let at = |out: &Path| build(&path, &["--out", out.to_str().unwrap()]);
    let before = folder.all();
    let output = at(&folder.0);
    assert_eq!(status(&output), 2);
    assert!(err(&output).contains("source"), "{}", err(&output));
    let file = folder.0.join("yard.json");
    let output = at(&file);
    assert_eq!(status(&output), 2);
    assert!(err(&output).contains("file in the way"), "{}", err(&output));
    assert_eq!(before, folder.all());
    fs::create_dir(folder.0.join("yard.lock")).unwrap();
    for command in ["check", "table", "build"] {
        let output = on(command, &path, &[]);
        assert_eq!(status(&output), 2, "{command}");
        assert!(err(&output).contains("yard.lock: it is a folder"), "{}", err(&output));
    }
    let output = build(&folder.file("pond.lock", "x"), &[]);
    assert_eq!(status(&output), 2);
    assert!(err(&output).contains("it is a lock"), "{}", err(&output));
}

#[test]
fn a_huge_lock() {
    let (folder, path) = yard(RIGHT);
    let lock = fs::File::create(folder.0.join("yard.lock")).unwrap();
    lock.set_len(256 * 1024 * 1024 + 1).unwrap();
    let output = on("check", &path, &[]);
    assert_eq!(status(&output), 1);
    assert!(err(&output).contains("more than 256 MiB"), "{}", err(&output));
}

#[cfg(unix)]
#[test]
fn links_are_followed_and_modes_kept() {
    use std::os::unix::fs::{PermissionsExt as _, symlink};
    let (folder, path) = yard(RIGHT);
    let far = folder.file("far/kept.lock", "");
    fs::remove_file(&far).unwrap();
    symlink("far/kept.lock", folder.0.join("yard.lock")).unwrap();
    built(&path, &[]);
    fs::set_permissions(&far, fs::Permissions::from_mode(0o640)).unwrap();
    fs::write(&path, with_reed()).unwrap();
    built(&path, &[]);
    assert!(folder.0.join("yard.lock").is_symlink());
    assert!(fs::read_to_string(&far).unwrap().contains("reed"));
    assert_eq!(far.metadata().unwrap().permissions().mode() & 0o777, 0o640);
    // A display that is itself a link has its lock where it really lies.
    let desk = folder.0.join("desk");
    fs::create_dir(&desk).unwrap();
    symlink("../yard.tinsel", desk.join("current.tinsel")).unwrap();
    let said = built(&desk.join("current.tinsel"), &["--locked"]);
    assert!(said.contains("2 kept"), "{said}");
    assert_eq!(names(&desk), ["current.tinsel"]);
    // A read-only mark counts even for users who may write anything.
    fs::set_permissions(&far, fs::Permissions::from_mode(0o440)).unwrap();
    fs::write(&path, RIGHT).unwrap();
    let output = build(&path, &[]);
    assert_eq!(status(&output), 2);
    assert!(err(&output).contains("read-only"), "{}", err(&output));
    assert!(fs::read_to_string(&far).unwrap().contains("reed"));
}

/// A display of many props, so that its files take a while to write.
fn large(nodes: u32) -> String {
    let mut text = String::from(
        "node bulb { chip ws2811; colour RGB }\ncontroller shed { universes from 1; ports 1..400 { chip ws2811 } }\n",
    );
    for at in 1..=400 {
        text.push_str(&format!(
            "prop owl{at} {{ node bulb; string {nodes} nodes }}\nwire shed.{at}: owl{at}\n"
        ));
    }
    text
}

#[cfg(unix)]
fn shell(script: &str, path: &Path, out: &Path) -> Output {
    Command::new("sh")
        .args(["-c", script, "sh"])
        .arg(env!("CARGO_BIN_EXE_tinsel"))
        .args([path, out])
        .output()
        .unwrap()
}

#[cfg(unix)]
#[test]
fn a_limit_on_the_size_of_files() {
    let (folder, path) = yard(&large(20));
    let out = folder.0.join("t");
    built(&path, &["--out", out.to_str().unwrap()]);
    fs::write(&path, large(21)).unwrap();
    let before = folder.all();
    // The signal that comes with the limit is ignored: the program can report it and tidy up.
    let output =
        shell("trap '' XFSZ; ulimit -f 8; exec \"$1\" build \"$2\" --out \"$3\"", &path, &out);
    assert_eq!(output.status.code(), Some(2), "{}", err(&output));
    assert!(err(&output).contains("larger than files may be"), "{}", err(&output));
    assert_eq!(before, folder.all());
    // The signal ends the program; a temporary file stays until the next build.
    let output =
        shell("ulimit -c 0; ulimit -f 8; exec \"$1\" build \"$2\" --out \"$3\"", &path, &out);
    assert_eq!(output.status.code(), None, "{}", err(&output));
    let left = |all: Vec<(PathBuf, Vec<u8>)>| -> Vec<_> {
        let tidy = |path: &Path| path.extension().is_none_or(|e| e != "tmp");
        all.into_iter().filter(|(path, _)| tidy(path)).collect()
    };
    assert_eq!(before, left(folder.all()));
    built(&path, &["--out", out.to_str().unwrap()]);
    assert_eq!(names(&out), TABLES);
}

/// Runs a script in a mount namespace of its own; `None` where the system does not allow it.
#[cfg(target_os = "linux")]
fn in_mounts(script: &str, path: &Path, out: &Path) -> Option<Output> {
    let allowed = |options: &str| {
        let mut command = Command::new("unshare");
        command.args([options, "sh", "-c", "mount -t tmpfs none /mnt"]);
        command.output().is_ok_and(|output| output.status.success())
    };
    let options = ["-m", "-rm"].into_iter().find(|options| allowed(options))?;
    let output = Command::new("unshare")
        .args([options, "sh", "-c", script, "sh"])
        .arg(env!("CARGO_BIN_EXE_tinsel"))
        .args([path, out])
        .output();
    Some(output.unwrap())
}

#[cfg(target_os = "linux")]
#[test]
fn a_full_disk_and_a_read_only_one() {
    let (folder, path) = yard(&large(20));
    let out = folder.0.join("t");
    fs::create_dir(&out).unwrap();
    let full = "mount -t tmpfs -o size=160k none \"$3\" && cp \"$2\" \"$3/yard.tinsel\" && cd \"$3\" && \
                \"$1\" build yard.tinsel && cp yard.lock before && \
                sed -i 's/20 nodes/21 nodes/' yard.tinsel && head -c 200000 /dev/zero > rest; \
                \"$1\" build yard.tinsel; echo \"status $?\"; cmp yard.lock before && ls -A";
    // Without the right to mount, nothing is tested.
    let Some(output) = in_mounts(full, &path, &out) else {
        return;
    };
    let said = crate::cli::out(&output);
    assert!(said.contains("status 2"), "{said}{}", err(&output));
    assert!(err(&output).contains("the disk is full"), "{}", err(&output));
    assert!(said.ends_with("before\nrest\nyard.lock\nyard.tinsel\n"), "{said}");
    let read_only = "mount -t tmpfs -o size=1m none \"$3\" && cp \"$2\" \"$3/yard.tinsel\" && cd \"$3\" && \
                     \"$1\" build --quiet yard.tinsel && cp yard.lock before && sed -i 's/20 nodes/21 nodes/' yard.tinsel && \
                     mount -o remount,ro \"$3\"; \"$1\" build yard.tinsel; echo \"status $?\"; cmp yard.lock before && ls -A";
    let output = in_mounts(read_only, &path, &out).unwrap();
    let said = crate::cli::out(&output);
    assert!(said.starts_with("status 2"), "{said}{}", err(&output));
    assert!(err(&output).contains("read-only"), "{}", err(&output));
    assert!(said.ends_with("before\nyard.lock\nyard.tinsel\n"), "{said}");
}

#[test]
fn killed_at_any_moment() {
    // The last string only: whatever was built before, nothing else moves.
    let longer =
        large(20).replace("owl400 { node bulb; string 20", "owl400 { node bulb; string 21");
    let texts = [large(20), longer];
    let (folder, path) = yard(&texts[0]);
    let out = folder.0.join("t");
    let more = ["--out", out.to_str().unwrap()];
    let files: Vec<PathBuf> =
        TABLES.iter().map(|name| out.join(name)).chain([folder.0.join("yard.lock")]).collect();
    let read = || -> Vec<Vec<u8>> { files.iter().map(|file| fs::read(file).unwrap()).collect() };
    let start = std::time::Instant::now();
    built(&path, &more);
    let whole = start.elapsed();
    // Both states: each file must be the one or the other, whole, after each kill.
    let first = read();
    fs::write(&path, &texts[1]).unwrap();
    built(&path, &more);
    let second = read();
    assert_ne!(first, second);
    let rounds = 40;
    let mut cut = 0;
    for round in 0..rounds {
        fs::write(&path, &texts[round % 2]).unwrap();
        let mut child = tinsel()
            .arg("build")
            .arg(&path)
            .args(more)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        // Most of its time goes into compiling: the kills come from half of it on.
        std::thread::sleep(whole / 2 + whole * (round as u32) / (2 * rounds as u32));
        cut += u32::from(matches!(child.try_wait(), Ok(None)));
        child.kill().unwrap();
        child.wait().unwrap();
        for ((file, now), (one, other)) in files.iter().zip(read()).zip(first.iter().zip(&second)) {
            assert!(now == *one || now == *other, "{} is torn", file.display());
        }
    }
    assert!(cut > 0, "no build was cut short");
    fs::write(&path, &texts[0]).unwrap();
    built(&path, &more);
    assert_eq!(read(), first, "the next build makes it whole");
    assert_eq!(names(&out), TABLES, "and tidies up");
    assert_eq!(names(&folder.0), ["t", "yard.lock", "yard.tinsel"]);
}

/// Runs a build in which the `when`th `call` of the system fails or kills it; `None` where
/// processes can't be traced.
#[cfg(target_os = "linux")]
fn failing(call: &str, how: &str, when: usize, path: &Path, out: &Path) -> Option<Output> {
    let inject = format!("inject={call}:{how}:when={when}");
    let trace = format!("trace={call}");
    let output = Command::new("strace")
        .args(["-f", "-o", "/dev/null", "-e", &trace, "-e", &inject])
        .arg(env!("CARGO_BIN_EXE_tinsel"))
        .arg("build")
        .arg(path)
        .arg("--out")
        .arg(out)
        .output();
    output.ok().filter(|output| !err(output).contains("ptrace"))
}

#[cfg(target_os = "linux")]
#[test]
fn each_call_that_writes_may_fail() {
    let (folder, path) = yard(RIGHT);
    let out = folder.0.join("t");
    let more = ["--out", out.to_str().unwrap()];
    built(&path, &more);
    let before = folder.all();
    fs::write(&path, with_reed()).unwrap();
    built(&path, &more);
    let after = folder.all();
    let back = || {
        for (file, bytes) in &before {
            fs::write(file, bytes).unwrap();
        }
        fs::write(&path, with_reed()).unwrap();
    };
    for (call, how) in [
        ("write", "error=ENOSPC"),
        ("fsync", "error=EIO"),
        ("rename", "error=EACCES"),
        ("rename", "signal=SIGKILL"),
    ] {
        let mut failed = 0;
        for when in 1..20 {
            back();
            let Some(output) = failing(call, how, when, &path, &out) else {
                return;
            };
            let now: Vec<_> = folder.all();
            let killed = how.starts_with("signal");
            let left = now.iter().filter(|(path, _)| path.extension().is_some_and(|e| e == "tmp"));
            assert!(killed || left.count() == 0, "{call} {how} {when}: {}", err(&output));
            for (file, bytes) in
                now.iter().filter(|(file, _)| file.extension().is_some_and(|e| e != "tmp"))
            {
                let is = |all: &[(PathBuf, Vec<u8>)]| {
                    all.iter().any(|(one, whole)| one == file && whole == bytes)
                };
                assert!(
                    is(&before) || is(&after),
                    "{call} {how} {when}: {} is torn",
                    file.display()
                );
            }
            // Findings on a closed stream may be lost; a file that can't be written is a failure.
            if output.status.success() {
                continue;
            }
            failed += 1;
            assert!(killed || status(&output) == 2, "{call} {how} {when}: {}", err(&output));
            built(&path, &more);
            assert_eq!(folder.all(), after, "{call} {how} {when}: the next build makes it whole");
        }
        assert!(failed >= 4, "{call} {how} failed {failed} times only");
    }
}

#[test]
fn builds_at_once_come_one_after_the_other() {
    let (folder, path) = yard(&large(20));
    let out = folder.0.join("t");
    let builds: Vec<_> = (0..4)
        .map(|_| {
            let mut command = tinsel();
            command.arg("build").arg(&path).arg("--out").arg(&out);
            command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
        })
        .collect();
    let said: Vec<String> = builds
        .into_iter()
        .map(|child| {
            let output = child.wait_with_output().unwrap();
            assert_eq!(status(&output), 0, "{}", err(&output));
            crate::cli::out(&output)
        })
        .collect();
    let made = said.iter().filter(|said| said.contains("yard.lock: written"));
    assert_eq!(made.count(), 1, "{said:?}");
    assert_eq!(names(&out), TABLES);
    assert_eq!(names(&folder.0), ["t", "yard.lock", "yard.tinsel"]);
}

#[cfg(unix)]
#[test]
fn a_build_waits_for_the_one_before() {
    let (folder, path) = yard(RIGHT);
    let guard = fs::File::open(&folder.0).unwrap();
    guard.lock().unwrap();
    let mut command = tinsel();
    command.arg("build").arg(&path).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut child = command.spawn().unwrap();
    std::thread::sleep(Duration::from_millis(300));
    assert!(child.try_wait().unwrap().is_none(), "it did not wait");
    assert_eq!(names(&folder.0), ["yard.tinsel"]);
    drop(guard);
    let output = child.wait_with_output().unwrap();
    assert_eq!(status(&output), 0, "{}", err(&output));
    assert!(err(&output).contains("waiting"), "{}", err(&output));
    assert_eq!(names(&folder.0), ["yard.lock", "yard.tinsel"]);
}

#[test]
fn what_a_newer_version_added_is_kept() {
    let (folder, path) = yard(&with_reed());
    built(&path, &[]);
    let newer = lock(&folder)
        .replace("\"1.2\"", "\"1.3\"")
        .replace("\nstrings:", "\nseason: 2031\nstrings:")
        .replace(
            "nodes: 40, each: 3, colour: RGB, chip: ws2811}",
            "nodes: 40, each: 3, colour: RGB, chip: ws2811, checked: true}",
        );
    folder.file("yard.lock", &newer);
    built(&path, &["--locked"]);
    fs::write(&path, with_reed().replace("30 nodes", "31 nodes")).unwrap();
    built(&path, &[]);
    assert_eq!(lock(&folder), newer.replace("slots: 90, nodes: 30", "slots: 93, nodes: 31"));
    // Under a new name too.
    let renamed = with_reed().replace("owl", "jay");
    fs::write(&path, format!("{renamed}renamed owl -> jay\n")).unwrap();
    built(&path, &[]);
    assert!(
        lock(&folder).contains(
            "  jay: {port: shed.1, start: 1/1, slots: 120, nodes: 40, each: 3, colour: RGB, chip: ws2811, checked: true}\n"
        ),
        "{}",
        lock(&folder)
    );
}

#[test]
fn nothing_depends_on_where_and_when_it_runs() {
    let (folder, path) = yard(&with_reed());
    let mut seen = Vec::new();
    for (zone, language) in [("UTC", "C"), ("Pacific/Auckland", "tr_TR.UTF-8")] {
        let mut command = tinsel();
        command.arg("build").arg(&path).env("TZ", zone).env("LANG", language);
        let output = command.output().unwrap();
        seen.push((crate::cli::out(&output), lock(&folder)));
        fs::remove_file(folder.0.join("yard.lock")).unwrap();
    }
    assert_eq!(seen[0], seen[1]);
}

#[test]
fn line_ends_of_another_system_are_left_alone() {
    let (folder, path) = yard(RIGHT);
    built(&path, &[]);
    let there = lock(&folder).replace('\n', "\r\n");
    folder.file("yard.lock", &there);
    let said = built(&path, &["--locked"]);
    assert!(said.contains("as it was"), "{said}");
    built(&path, &[]);
    assert_eq!(lock(&folder), there);
    // Once something changes, it is written as everywhere.
    fs::write(&path, with_reed()).unwrap();
    built(&path, &[]);
    assert!(!lock(&folder).contains('\r'));
}
