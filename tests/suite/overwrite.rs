//! No command writes over what the display is read from, whatever path it is given for its result.

use crate::cli::{Folder, RIGHT, err, on, status};
use std::fs;

/// Every command with a path for its result, on every text of a display, by three paths to each.
#[test]
fn nothing_that_was_read_is_written_over() {
    let folder = Folder::new();
    let main = folder.file("yard.tinsel", format!("include \"parts/more.tinsel\"\n{RIGHT}"));
    let more = folder
        .file("parts/more.tinsel", "prop fox { node bulb; string 9 nodes }\nwire shed.2: fox\n");
    let lock = folder.0.join("yard.lock");
    assert_eq!(status(&on("build", &main, &[])), 0);
    let link = folder.0.join("link.html");
    #[cfg(unix)]
    std::os::unix::fs::symlink(&more, &link).unwrap();
    let round = folder.0.join("parts/../yard.tinsel");
    let before = folder.all();
    for path in [&main, &more, &lock, &round, &link] {
        if !path.exists() {
            continue;
        }
        let path = path.to_str().unwrap();
        for arguments in [
            ("report", vec!["--single", "-o", path]),
            ("table", vec!["--format", "csv", "-o", path]),
            ("power", vec!["--format", "json", "-o", path]),
            ("graph", vec!["--format", "svg", "-o", path]),
            ("diff", vec!["--remap", path]),
        ] {
            let done = on(arguments.0, &main, &arguments.1);
            assert_eq!(status(&done), 2, "{arguments:?}: {}", err(&done));
            assert!(err(&done).contains("written over"), "{arguments:?}: {}", err(&done));
        }
    }
    let against = folder.file("older.lock", fs::read_to_string(&lock).unwrap());
    let older = against.to_str().unwrap();
    let done = on("diff", &main, &["--against", older, "--remap", older]);
    assert_eq!(status(&done), 2, "{}", err(&done));
    fs::remove_file(against).unwrap();
    assert!(folder.all() == before, "a text was touched");
}

/// No result goes to the path of a lock that does not exist yet: the next build could not read it.
#[test]
fn nor_is_the_place_of_a_lock_to_come() {
    let folder = Folder::new();
    let main = folder.file("yard.tinsel", RIGHT);
    let lock = folder.0.join("yard.lock");
    let done = on("table", &main, &["--format", "json", "-o", lock.to_str().unwrap()]);
    assert_eq!(status(&done), 2, "{}", err(&done));
    assert!(!fs::exists(&lock).unwrap());
}

/// A display that is given as a link has its lock beside the file that the link leads to.
#[cfg(unix)]
#[test]
fn nor_is_the_place_of_a_lock_beside_what_a_link_leads_to() {
    let folder = Folder::new();
    folder.file("far/yard.tinsel", RIGHT);
    let link = folder.0.join("yard.tinsel");
    std::os::unix::fs::symlink("far/yard.tinsel", &link).unwrap();
    let lock = folder.0.join("far/yard.lock");
    let done = on("table", &link, &["--format", "json", "-o", lock.to_str().unwrap()]);
    assert_eq!(status(&done), 2, "{}", err(&done));
    assert!(!fs::exists(&lock).unwrap());
}

/// A path that is not UTF-8 is protected as any other.
#[cfg(target_os = "linux")]
#[test]
fn nor_is_a_path_that_is_not_utf_8() {
    use std::os::unix::ffi::OsStrExt as _;
    let folder = Folder::new();
    let name = std::ffi::OsStr::from_bytes(b"y\xffrd.tinsel");
    let main = folder.0.join(name);
    fs::write(&main, RIGHT).unwrap();
    let done = crate::cli::tinsel()
        .args(["table", "--format", "json", "-o"])
        .args([&main, &main])
        .output()
        .unwrap();
    assert_eq!(status(&done), 2, "{}", err(&done));
    assert_eq!(fs::read_to_string(&main).unwrap(), RIGHT);
}

/// `-` is standard output or refused, never a file of that name.
#[test]
fn a_hyphen_is_standard_output() {
    let folder = Folder::new();
    folder.file("yard.tinsel", RIGHT);
    let table = folder.file("props.csv", "prop,pixels\nowl,90\n");
    let before = folder.all();
    let done = |arguments: &[&str]| {
        let mut command = crate::cli::tinsel();
        command.current_dir(&folder.0).args(arguments).output().unwrap()
    };
    for (arguments, begins) in [
        (&["import", table.to_str().unwrap(), "-o", "-"][..], "#"),
        (&["report", "yard.tinsel", "--single", "-o", "-"], "<!DOCTYPE html>"),
        (&["table", "yard.tinsel", "-o", "-"], ""),
    ] {
        let done = done(arguments);
        let text = String::from_utf8(done.stdout.clone()).unwrap();
        assert!(!text.is_empty(), "{arguments:?}: {}", err(&done));
        let head = text.lines().next().unwrap().to_lowercase();
        assert!(head.starts_with(&begins.to_lowercase()), "{arguments:?}: {head}");
    }
    for arguments in [
        &["report", "yard.tinsel", "-o", "-"][..],
        &["build", "yard.tinsel", "--out", "-"],
        &["diff", "yard.tinsel", "--remap", "-"],
    ] {
        let done = done(arguments);
        assert_eq!(status(&done), 2, "{arguments:?}: {}", err(&done));
        assert!(err(&done).contains(": name "), "{arguments:?}: {}", err(&done));
    }
    assert!(folder.all() == before, "a file was written");
}
