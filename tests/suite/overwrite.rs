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
