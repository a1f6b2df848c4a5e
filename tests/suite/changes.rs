//! `tinsel diff`, its remap and `tinsel why`, as the shell sees them.

use crate::cli::{Folder, err, on, out, status, tinsel};
use std::fs;
use std::process::Output;

const YARD: &str = "\
display \"Yard\" { spare 5 nodes per port }
node dot { chip ws2811; colour RGB }
controller pier { universes from 1; ports 1..8 { chip ws2811 } }
controller quay { addressing consecutive; ports 1..8 { chip ws2811 } }
prop arch * 4 { node dot; string 50 nodes }
prop heron * 6 { node dot; string 70 nodes }
prop tree { node dot; strings 2 of 100 nodes }
wire pier.1: arch[1]
wire pier.2: arch[2] -> arch[3]
wire pier: arch[4], tree
wire quay.1: heron[1]
wire quay.2: heron[2..3]
wire quay.4: heron[4..6]
";

/// The display after an edit: a string in the middle of a consecutive controller, a longer one on a full port.
fn edited() -> String {
    YARD.replace(
        "wire quay.1: heron[1]\n",
        "wire quay.1: heron[1]\nwire quay.3: star\n",
    )
    .replace(
        "prop tree",
        "prop star { node dot; string 10 nodes }\nprop arch[2] { string 60 nodes }\nprop tree",
    )
}

fn snapshot(name: &str, text: &str) {
    let mut settings = insta::Settings::new();
    settings.set_snapshot_path(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/changes"));
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name, text));
}

fn run(folder: &Folder, arguments: &[&str]) -> Output {
    tinsel()
        .current_dir(&folder.0)
        .args(arguments)
        .output()
        .unwrap()
}

/// A folder with the display, built, and then edited.
fn after_an_edit() -> Folder {
    let folder = Folder::new();
    folder.file("yard.tinsel", YARD);
    let built = run(&folder, &["build", "--quiet", "yard.tinsel"]);
    assert_eq!(built.status.code(), Some(0), "{}", err(&built));
    folder.file("yard.tinsel", edited());
    folder
}

#[test]
fn what_a_person_must_do() {
    let folder = after_an_edit();
    let told = run(&folder, &["diff", "yard.tinsel"]);
    assert_eq!(told.status.code(), Some(3));
    snapshot("diff", &out(&told));
    assert!(!err(&told).contains("lock/moved"), "{}", err(&told));
    let lock = fs::read(folder.0.join("yard.lock")).unwrap();
    assert_eq!(
        run(&folder, &["build", "--quiet", "yard.tinsel"])
            .status
            .code(),
        Some(0)
    );
    assert_ne!(fs::read(folder.0.join("yard.lock")).unwrap(), lock);
    let told = run(&folder, &["diff", "yard.tinsel"]);
    assert_eq!(
        (told.status.code(), out(&told).as_str()),
        (Some(0), "a build would change nothing\n")
    );
}

#[test]
fn its_statuses() {
    let folder = Folder::new();
    folder.file("yard.tinsel", YARD);
    let first = run(&folder, &["diff", "yard.tinsel"]);
    assert_eq!(first.status.code(), Some(3), "the first build makes a lock");
    assert!(
        out(&first).contains("there is no lock yet"),
        "{}",
        out(&first)
    );
    folder.file("wrong.tinsel", YARD.replace("arch[1]", "arch[9]"));
    assert_eq!(
        run(&folder, &["diff", "wrong.tinsel"]).status.code(),
        Some(1)
    );
    assert_eq!(
        run(&folder, &["diff", "none.tinsel"]).status.code(),
        Some(2)
    );
    let remap = run(&folder, &["diff", "yard.tinsel", "--remap", "r.csv"]);
    assert_eq!(remap.status.code(), Some(2), "nothing to re-cut from");
    let unknown = run(&folder, &["diff", "yard.tinsel", "--compact-only", "peer"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(
        err(&unknown).contains("did you mean `pier`?"),
        "{}",
        err(&unknown)
    );
}

#[test]
fn it_is_told_to_programs() {
    let folder = after_an_edit();
    let told = run(&folder, &["diff", "yard.tinsel", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_slice(&told.stdout).unwrap();
    assert_eq!(value["changes"], true);
    assert_eq!(value["moved_strings"], 5);
    assert_eq!(value["moved_slots"], 930);
    assert_eq!(value["new"][0]["name"], "star");
    assert_eq!(value["moved"][0]["cause"], "no-room");
    let line = |controller: &str, port: Option<&str>, field: &str| {
        let rows = value["retype"].as_array().unwrap().iter();
        let port = port.map_or(serde_json::Value::Null, Into::into);
        let mut rows = rows.filter(|row| {
            row["controller"] == controller && row["port"] == port && row["field"] == field
        });
        let row = rows.next().unwrap();
        (row["old"].clone(), row["new"].clone())
    };
    assert_eq!(line("pier", None, "universes"), (3.into(), 4.into()));
    assert_eq!(
        line("pier", Some("2"), "start"),
        ("1/166".into(), "7/1".into())
    );
    assert_eq!(line("pier", Some("2"), "nodes"), (100.into(), 110.into()));
    assert_eq!(
        line("quay", Some("3"), "colour"),
        (serde_json::Value::Null, "RGB".into())
    );
}

/// First channel and slots of each string, by name, from the table alone.
fn table(folder: &Folder) -> std::collections::BTreeMap<String, (usize, usize)> {
    let told = run(
        folder,
        &["table", "--quiet", "yard.tinsel", "--format", "json"],
    );
    let value: serde_json::Value = serde_json::from_slice(&told.stdout).unwrap();
    let rows = value["strings"].as_array().unwrap();
    rows.iter()
        .map(|row| {
            let name = format!("{}/{}/{}", row["prop"], row["instance"], row["string"]);
            let at = |end: &str| row[end]["channel"].as_u64().unwrap() as usize;
            (name, (at("start"), at("end") + 1 - at("start")))
        })
        .collect()
}

/// Frames as a script would re-cut them, from the csv alone.
#[test]
fn a_show_is_re_cut() {
    let folder = after_an_edit();
    folder.file("before.tinsel", YARD);
    folder.file("yard.tinsel", YARD);
    let before = table(&folder);
    folder.file("yard.tinsel", edited());
    let after = table(&folder);
    run(&folder, &["diff", "yard.tinsel", "--remap", "moved.csv"]);
    let rows = fs::read_to_string(folder.0.join("moved.csv")).unwrap();
    assert!(rows.starts_with("from,to,count,from_universe,from_slot,to_universe,to_slot\r\n"));
    let old: Vec<u8> = (0..9000_u32)
        .map(|at| (at.wrapping_mul(2_654_435_761) >> 13) as u8)
        .collect();
    let mut new = vec![0_u8; 9000];
    for row in rows.lines().skip(1) {
        let row: Vec<usize> = row.split(',').map(|cell| cell.parse().unwrap()).collect();
        let (from, to, count) = (row[0], row[1], row[2]);
        new[to..to + count].copy_from_slice(&old[from..from + count]);
        assert_eq!((row[3] - 1) * 512 + row[4], from);
        assert_eq!((row[5] - 1) * 512 + row[6], to);
    }
    let mut moved = 0;
    for (name, (from, slots)) in before {
        let (to, now) = after[&name];
        let count = slots.min(now);
        assert_eq!(new[to..to + count], old[from..from + count], "{name}");
        moved += usize::from(to != from);
    }
    assert_eq!(moved, 5);
}

#[test]
fn why_a_string_lies_where_it_does() {
    let folder = after_an_edit();
    let mut told = String::new();
    for name in ["arch[1]", "arch[3]", "heron[4]", "tree.1", "star"] {
        told.push_str(&out(&run(
            &folder,
            &["why", "--quiet", "yard.tinsel", name],
        )));
    }
    snapshot("why", &told);
    let unknown = run(&folder, &["why", "--quiet", "yard.tinsel", "herom[4]"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(err(&unknown).contains("did you mean"), "{}", err(&unknown));
}

#[test]
fn a_layout_afresh_shows_its_cost() {
    let folder = after_an_edit();
    run(&folder, &["build", "--quiet", "yard.tinsel"]);
    let kept = fs::read_to_string(folder.0.join("yard.lock")).unwrap();
    let cost = run(&folder, &["diff", "yard.tinsel", "--compact"]);
    assert_eq!(cost.status.code(), Some(3));
    assert!(
        out(&cost).contains("all was to be laid out afresh"),
        "{}",
        out(&cost)
    );
    let rows = |text: &str, controller: &str| -> Vec<String> {
        let has = |line: &&str| line.contains(&format!("port: {controller}."));
        text.lines().filter(has).map(str::to_owned).collect()
    };
    let lock = || fs::read_to_string(folder.0.join("yard.lock")).unwrap();
    let built = run(
        &folder,
        &[
            "build",
            "--quiet",
            "yard.tinsel",
            "--compact",
            "--keep",
            "quay",
        ],
    );
    assert_eq!(built.status.code(), Some(0), "{}", err(&built));
    assert!(
        out(&built).contains("controllers to set up again"),
        "{}",
        out(&built)
    );
    assert_eq!(rows(&lock(), "quay"), rows(&kept, "quay"));
    assert_ne!(rows(&lock(), "pier"), rows(&kept, "pier"));
    run(&folder, &["build", "--quiet", "yard.tinsel", "--compact"]);
    let all = lock();
    fs::remove_file(folder.0.join("yard.lock")).unwrap();
    run(&folder, &["build", "--quiet", "yard.tinsel"]);
    assert_eq!(all, lock(), "afresh is as if there had been no lock");
}

/// A display with errors is told as such, not as one that lacks the name.
#[test]
fn why_in_a_display_that_does_not_compile() {
    let folder = Folder::new();
    let path = folder.file("yard.tinsel", "<html>\n");
    let done = on("why", &path, &["owl"]);
    assert_eq!(status(&done), 1, "{}", err(&done));
    assert!(!err(&done).contains("there is no string"), "{}", err(&done));
}

/// A port that is reserved after a build: the string is plugged in elsewhere, and its show data stay as they are.
#[test]
fn another_plug_is_no_new_show_data() {
    let shed = "node dot { chip ws2811; colour RGB }\n\
                controller shed { universes from 8; ports 1..3 { } }\n\
                prop kite { node dot; string 44 nodes }\nwire shed: kite\n";
    let folder = Folder::new();
    folder.file("yard.tinsel", shed);
    run(&folder, &["build", "--quiet", "yard.tinsel"]);
    folder.file("yard.tinsel", format!("{shed}reserve shed.1 \"wet\"\n"));
    let told = run(&folder, &["diff", "yard.tinsel"]);
    assert_eq!(told.status.code(), Some(3));
    let text = out(&told);
    assert!(
        !text.contains("program") && text.contains("nothing moves"),
        "{text}"
    );
    assert!(text.contains("plugs to move"), "{text}");
    assert!(
        text.contains("shed.1 -> shed.2: port `shed.1` is reserved\n"),
        "{text}"
    );
    let told = run(&folder, &["diff", "yard.tinsel", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_slice(&told.stdout).unwrap();
    assert_eq!(
        (&value["moved_strings"], &value["changes"]),
        (&0.into(), &true.into())
    );
    assert_eq!(value["plugged"][0]["cause"], "replaced");
    let told = run(&folder, &["check", "yard.tinsel"]);
    let words = "`kite` keeps 8/1 and is plugged in at `shed.2` in place of `shed.1`: port `shed.1` is reserved";
    let flat = err(&told).replace("\n  \u{2502} ", " ");
    assert!(flat.contains(words), "{flat}");
    // A chip that the port no longer drives, and a port that is gone.
    for (edit, reason) in [
        (
            "ports 1..3 { }; port 1 { chip sk6812 }",
            "port `shed.1` does not drive its chip",
        ),
        ("ports 2..3 { }", "port `shed.1` does not exist any more"),
        (
            "ports 1..3 { }; port 1 { nodes at most 40 }",
            "port `shed.1` has no room for it any more",
        ),
    ] {
        folder.file("yard.tinsel", shed.replace("ports 1..3 { }", edit));
        let text = out(&run(&folder, &["diff", "yard.tinsel"]));
        assert!(text.contains(reason), "{text}");
    }
}

/// A port is named as it is typed in a wire: by the receiver where the cable comes out.
#[test]
fn diff_names_the_receivers_port() {
    let text = "node dot { chip ws2811; colour RGB }\n\
                controller shed { universes from 8; ports 1..4 { nodes at most 60 } }\n\
                receiver hedge { carries shed.3..4; ports 1..2 { } }\n\
                prop kite * 3 { node dot; string 44 nodes }\n\
                wire shed.1: kite[1]\nwire hedge.1: kite[2]\nwire shed.2: kite[3]\n";
    let folder = Folder::new();
    folder.file("yard.tinsel", text);
    let told = out(&run(&folder, &["build", "yard.tinsel"]));
    assert!(told.contains("plan: 3 new"), "{told}");
    folder.file(
        "yard.tinsel",
        text.replace("hedge.1: kite[2]", "hedge.2: kite[2]")
            .replace("shed.2: kite[3]", "hedge.1: kite[3]"),
    );
    let told = out(&run(&folder, &["diff", "yard.tinsel"]));
    assert!(
        told.contains("hedge.1 -> hedge.2") && told.contains("shed.2 -> hedge.1"),
        "{told}"
    );
    let why = out(&run(&folder, &["why", "yard.tinsel", "kite[2]"]));
    assert!(why.contains("on hedge.2 ("), "{why}");
}
