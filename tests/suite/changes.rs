//! `tinsel diff`, its remap and `tinsel why`, as the shell sees them.

use crate::cli::{Folder, err, on, out, status, tinsel};
use std::fs;
use std::process::Output;
use tinsel::compile_relaid;
use tinsel::lock::{Relay, Side};
use tinsel::source::{Loaded, Memory};

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
wire pier.3: arch[4] -> tree
wire quay.1: heron[1]
wire quay.2: heron[2..3]
wire quay.4: heron[4..6]
";

/// The display after an edit: a string amid a consecutive controller, a longer one on a full port.
fn edited() -> String {
    YARD.replace("wire quay.1: heron[1]\n", "wire quay.1: heron[1]\nwire quay.3: star\n").replace(
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
    tinsel().current_dir(&folder.0).args(arguments).output().unwrap()
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
    assert_eq!(run(&folder, &["build", "--quiet", "yard.tinsel"]).status.code(), Some(0));
    assert_ne!(fs::read(folder.0.join("yard.lock")).unwrap(), lock);
    let told = run(&folder, &["diff", "yard.tinsel"]);
    assert_eq!(
        (told.status.code(), out(&told).as_str()),
        (Some(0), "a build would change nothing\n")
    );
}

/// Strings that moved for one cause on two controllers have a reason each, with its controller.
#[test]
fn a_reason_names_its_own_controller() {
    let yard = |first: u32, second: u32| {
        format!(
            "node dot {{ chip ws2811; colour RGB }}\nprop arch * 2 {{ node dot; string 50 nodes }}\n\
             controller pier {{ universes {first}..{}; ports 1..2 {{ chip ws2811 }} }}\n\
             controller quay {{ universes {second}..{}; ports 1..2 {{ chip ws2811 }} }}\n\
             wire pier.1: arch[1]\nwire quay.1: arch[2]\n",
            first + 1,
            second + 1
        )
    };
    let folder = Folder::new();
    folder.file("yard.tinsel", yard(1, 11));
    assert_eq!(run(&folder, &["build", "--quiet", "yard.tinsel"]).status.code(), Some(0));
    folder.file("yard.tinsel", yard(5, 15));
    let told = out(&run(&folder, &["diff", "yard.tinsel"]));
    let reasons = told.split("why strings move").nth(1).unwrap();
    assert!(reasons.contains("arch[1]: ") && reasons.contains("arch[2]: "), "{told}");
    assert!(reasons.contains("`pier`") && reasons.contains("`quay`"), "{told}");
}

/// A lock may say any number of dark nodes.
#[test]
fn the_largest_numbers_of_a_lock() {
    let folder = after_an_edit();
    let lock = fs::read_to_string(folder.0.join("yard.lock")).unwrap();
    let dark = ", chip: ws2811, dark: 4294967295, within: 4294967295}";
    folder.file("yard.lock", lock.replace(", chip: ws2811}", dark));
    let told = run(&folder, &["diff", "yard.tinsel"]);
    assert_eq!(told.status.code(), Some(3), "{}", err(&told));
    assert!(out(&told).contains("4294967295 -> 0"), "{}", out(&told));
}

#[test]
fn its_statuses() {
    let folder = Folder::new();
    folder.file("yard.tinsel", YARD);
    let first = run(&folder, &["diff", "yard.tinsel"]);
    assert_eq!(first.status.code(), Some(3), "the first build makes a lock");
    assert!(out(&first).contains("there is no lock yet"), "{}", out(&first));
    folder.file("wrong.tinsel", YARD.replace("arch[1]", "arch[9]"));
    assert_eq!(run(&folder, &["diff", "wrong.tinsel"]).status.code(), Some(1));
    assert_eq!(run(&folder, &["diff", "none.tinsel"]).status.code(), Some(2));
    let remap = run(&folder, &["diff", "yard.tinsel", "--remap", "r.csv"]);
    assert_eq!(remap.status.code(), Some(2), "nothing to re-cut from");
    let unknown = run(&folder, &["diff", "yard.tinsel", "--compact-only", "peer"]);
    assert_eq!(unknown.status.code(), Some(2));
    assert!(err(&unknown).contains("did you mean `pier`?"), "{}", err(&unknown));
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
    assert_eq!(line("pier", Some("2"), "start"), ("1/166".into(), "7/1".into()));
    assert_eq!(line("pier", Some("2"), "nodes"), (100.into(), 110.into()));
    assert_eq!(line("quay", Some("3"), "colour"), (serde_json::Value::Null, "RGB".into()));
}

/// First channel and slots of each string, by name, from the table alone.
fn table(folder: &Folder) -> std::collections::BTreeMap<String, (usize, usize)> {
    let told = run(folder, &["table", "--quiet", "yard.tinsel", "--format", "json"]);
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
    let old: Vec<u8> =
        (0..9000_u32).map(|at| (at.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
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
        told.push_str(&out(&run(&folder, &["why", "--quiet", "yard.tinsel", name])));
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
    assert!(out(&cost).contains("a new layout of everything was asked for"), "{}", out(&cost));
    let rows = |text: &str, controller: &str| -> Vec<String> {
        let has = |line: &&str| line.contains(&format!("port: {controller}."));
        text.lines().filter(has).map(str::to_owned).collect()
    };
    let lock = || fs::read_to_string(folder.0.join("yard.lock")).unwrap();
    let built = run(&folder, &["build", "--quiet", "yard.tinsel", "--compact", "--keep", "quay"]);
    assert_eq!(built.status.code(), Some(0), "{}", err(&built));
    assert!(out(&built).contains("controllers to set up again"), "{}", out(&built));
    assert_eq!(rows(&lock(), "quay"), rows(&kept, "quay"));
    assert_ne!(rows(&lock(), "pier"), rows(&kept, "pier"));
    run(&folder, &["build", "--quiet", "yard.tinsel", "--compact"]);
    let all = lock();
    fs::remove_file(folder.0.join("yard.lock")).unwrap();
    run(&folder, &["build", "--quiet", "yard.tinsel"]);
    assert_eq!(all, lock(), "afresh is as if there had been no lock");
}

/// A display with errors is reported as such, not as one that lacks the name.
#[test]
fn why_in_a_display_that_does_not_compile() {
    let folder = Folder::new();
    let path = folder.file("yard.tinsel", "<html>\n");
    let done = on("why", &path, &["owl"]);
    assert_eq!(status(&done), 1, "{}", err(&done));
    assert!(!err(&done).contains("there is no string"), "{}", err(&done));
}

/// A port is reserved after a build: its string is plugged in elsewhere and keeps its show data.
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
    assert!(!text.contains("program") && text.contains("nothing moves"), "{text}");
    assert!(text.contains("plugs to move"), "{text}");
    assert!(text.contains("shed.1 -> shed.2: port `shed.1` is reserved\n"), "{text}");
    let told = run(&folder, &["diff", "yard.tinsel", "--format", "json"]);
    let value: serde_json::Value = serde_json::from_slice(&told.stdout).unwrap();
    assert_eq!((&value["moved_strings"], &value["changes"]), (&0.into(), &true.into()));
    assert_eq!(value["plugged"][0]["cause"], "replaced");
    let told = run(&folder, &["check", "yard.tinsel"]);
    let words = "`kite` keeps 8/1, but must be plugged in at `shed.2` in place of `shed.1`: port `shed.1` is reserved";
    let flat = err(&told).replace("\n  \u{2502} ", " ");
    assert!(flat.contains(words), "{flat}");
    // A chip that the port no longer drives, and a port that is gone.
    for (edit, reason) in [
        ("ports 1..3 { }; port 1 { chip sk6812 }", "port `shed.1` does not drive its chip"),
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
    assert!(told.contains("hedge.1 -> hedge.2") && told.contains("shed.2 -> hedge.1"), "{told}");
    let why = out(&run(&folder, &["why", "yard.tinsel", "kite[2]"]));
    assert!(why.contains("on hedge.2 ("), "{why}");
}

const WEIR: &str = "node bud { chip ws2811; colour RGB }\n\
    controller weir { host 10.1.0.4; input artnet from 0; universes from 5; ports 1..6 { }; dmx 1 }\n\
    prop fern * 4 { node bud; string 45 nodes }\n\
    prop torch * 2 { slots 7 }\n\
    wire weir.1: fern[1] -> fern[2]\nwire weir.3: fern[3]\nwire weir.4: fern[4]\n\
    wire weir.dmx1: torch[1] -> torch[2]\n";

fn json(folder: &Folder, more: &[&str]) -> serde_json::Value {
    let arguments = [&["diff", "yard.tinsel", "--format", "json"], more].concat();
    let told = run(folder, &arguments);
    serde_json::from_slice(&told.stdout).unwrap_or_else(|_| panic!("{}", err(&told)))
}

fn built(text: &str) -> Folder {
    let folder = Folder::new();
    folder.file("yard.tinsel", text);
    let done = run(&folder, &["build", "--quiet", "yard.tinsel"]);
    assert_eq!(done.status.code(), Some(0), "{}", err(&done));
    folder
}

/// Host, input and colour order are set-up: something to do, and stale, until they are built.
#[test]
fn a_changed_set_up_is_something_to_do() {
    let folder = built(WEIR);
    let lock = fs::read_to_string(folder.0.join("yard.lock")).unwrap();
    for (old, new, field, values) in [
        ("10.1.0.4", "10.1.0.9", "host", ("10.1.0.4", "10.1.0.9")),
        ("artnet from 0", "e131 unicast", "input", ("artnet from 0", "e131 unicast")),
        ("colour RGB", "colour BRG", "colour", ("RGB", "BRG")),
    ] {
        folder.file("yard.tinsel", WEIR.replace(old, new));
        let rows = json(&folder, &[])["retype"].as_array().unwrap().clone();
        let row = rows.iter().find(|row| row["field"] == field).unwrap();
        assert_eq!((&row["old"], &row["new"]), (&values.0.into(), &values.1.into()));
        assert_eq!(row["controller"], "weir");
        assert_eq!(row["port"].is_null(), field != "colour", "{row}");
        assert_eq!(run(&folder, &["diff", "yard.tinsel"]).status.code(), Some(3));
        let held = run(&folder, &["check", "--locked", "yard.tinsel"]);
        assert_eq!(held.status.code(), Some(1));
        assert!(err(&held).contains("set up in another way"), "{}", err(&held));
        // A lock that does not say it has nothing to compare.
        let older =
            lock.lines().filter(|line| !line.contains("controllers:") && !line.contains("- {"));
        let older = older.map(|line| line.split(", nodes").next().unwrap());
        let older = older.map(|line| match line.contains(": {") && !line.ends_with('}') {
            true => format!("{line}}}\n"),
            false => format!("{line}\n"),
        });
        folder.file("yard.lock", older.collect::<String>().replace("\"1.2\"", "\"1.1\""));
        assert_eq!(run(&folder, &["diff", "yard.tinsel"]).status.code(), Some(0));
        assert_eq!(run(&folder, &["check", "--locked", "yard.tinsel"]).status.code(), Some(0));
        folder.file("yard.lock", &lock);
    }
}

/// A controller moves as a whole, in the numbers that its set-up uses; a dial stays.
#[test]
fn a_shift_of_universes_is_one_act() {
    let folder = built(WEIR);
    folder.file("yard.tinsel", WEIR.replace("from 5", "from 105"));
    let value = json(&folder, &[]);
    assert_eq!(value["moved_strings"], 6);
    for row in value["moved"].as_array().unwrap() {
        let of = |side: &str, key: &str| row[side][key].as_u64().unwrap();
        assert_eq!(of("before", "universe") + 100, of("now", "universe"), "{row}");
        assert_eq!(of("before", "slot"), of("now", "slot"), "{row}");
        assert_eq!(row["cause"], "shifted");
    }
    assert_eq!(value["dials"], serde_json::json!([]));
    let first = &value["retype"][0];
    assert_eq!(
        (&first["field"], &first["old"], &first["new"]),
        (&"first_universe".into(), &4.into(), &104.into())
    );
    // Where some may stay, nothing moves along.
    folder.file("yard.tinsel", WEIR.replace("from 5", "from 6"));
    assert!(
        json(&folder, &[])["moved"].as_array().unwrap().iter().all(|row| row["cause"] != "shifted")
    );
    folder.file("yard.tinsel", WEIR.replace("from 5", "from 2"));
    assert_eq!(json(&folder, &[])["changes"], false);
}

/// A fixture is dialled; its controller is not set up again.
#[test]
fn a_fixture_is_dialled() {
    let folder = built(WEIR);
    folder.file("yard.tinsel", WEIR.replace("torch[1] -> torch[2]", "torch[1] -> torch[2] at 19"));
    let value = json(&folder, &[]);
    assert_eq!(value["dials"], serde_json::json!([{"fixture": "torch[2]", "old": 8, "new": 19}]));
    assert_eq!(value["retype"], serde_json::json!([]));
}

/// A box that takes the place of another keeps addresses and plugs.
#[test]
fn a_box_is_swapped() {
    let folder = built(WEIR);
    let swapped = WEIR.replace("weir", "lock-house").replace("10.1.0.4", "10.1.0.77");
    folder.file("yard.tinsel", swapped.replace("1..6", "1..16") + "renamed weir -> lock-house\n");
    let value = json(&folder, &[]);
    let only = serde_json::json!([{"controller": "lock-house", "port": null, "field": "host", "old": "10.1.0.4",
        "new": "10.1.0.77", "row": null, "string": null}]);
    assert_eq!(value["retype"], only);
    for key in ["moved", "plugged", "dials", "props", "new", "freed"] {
        assert_eq!(value[key], serde_json::json!([]), "{key}");
    }
    let told = out(&run(&folder, &["diff", "yard.tinsel"]));
    assert!(told.contains("10.1.0.4 -> 10.1.0.77"), "{told}");
    assert!(told.lines().filter(|line| !line.trim().is_empty()).count() <= 6, "{told}");
    let starts = |name: &str| {
        let lock = fs::read_to_string(folder.0.join("yard.lock")).unwrap();
        let row = lock.lines().find(|line| line.trim_start().starts_with(name)).unwrap().to_owned();
        row.replace("lock-house", "weir")
    };
    let names = ["fern[1]", "fern[2]", "fern[3]", "fern[4]", "torch[1]", "torch[2]"];
    let before = names.map(starts);
    assert_eq!(run(&folder, &["build", "yard.tinsel"]).status.code(), Some(0));
    assert_eq!(names.map(starts), before);
    assert_eq!(run(&folder, &["diff", "yard.tinsel"]).status.code(), Some(0));
}

/// A box with fewer ports takes another's place: what its ports have stays plugged where it was,
/// port by port, and only the rest is plugged elsewhere. What the compiler had picked stays too.
#[test]
fn a_box_with_fewer_ports_takes_over() {
    let text = WEIR.replace(
        "wire weir.1: fern[1] -> fern[2]\nwire weir.3: fern[3]\nwire weir.4: fern[4]\n",
        "",
    ) + "wire weir: fern[1] -> fern[2], fern[3], fern[4]\n";
    let folder = built(&text);
    let rows = || {
        let lock = fs::read_to_string(folder.0.join("yard.lock")).unwrap().replace("mill", "weir");
        let rows =
            lock.lines().filter(|line| line.starts_with("  fern") || line.starts_with("  torch"));
        rows.map(str::to_owned).collect::<Vec<_>>()
    };
    let before = rows();
    let swapped =
        text.replace("weir", "mill").replace("10.1.0.4", "10.1.0.8").replace("1..6", "1..3");
    folder.file("yard.tinsel", swapped + "renamed weir -> mill\n");
    let value = json(&folder, &[]);
    for key in ["moved", "plugged", "dials", "new", "freed"] {
        assert_eq!(value[key], serde_json::json!([]), "{key}");
    }
    assert_eq!(value["retype"].as_array().unwrap().len(), 1, "{value}");
    assert_eq!(run(&folder, &["build", "yard.tinsel"]).status.code(), Some(0));
    assert_eq!(rows(), before);
}

/// Another lock takes the place of the one beside the display, in text, json and remap.
#[test]
fn against_another_lock() {
    let folder = built(WEIR);
    fs::copy(folder.0.join("yard.lock"), folder.0.join("spring.lock")).unwrap();
    folder.file(
        "yard.tinsel",
        WEIR.replace("wire weir.1: ", "wire weir.1: iris -> ")
            + "prop iris { node bud; string 9 nodes }\n",
    );
    let before = json(&folder, &["--remap", "one.csv"]);
    run(&folder, &["build", "--quiet", "yard.tinsel"]);
    assert_eq!(json(&folder, &[])["changes"], false);
    assert_eq!(json(&folder, &["--against", "spring.lock", "--remap", "two.csv"]), before);
    let read = |name: &str| fs::read(folder.0.join(name)).unwrap();
    assert_eq!(read("one.csv"), read("two.csv"));
    let none = run(&folder, &["diff", "yard.tinsel", "--against", "autumn.lock"]);
    assert_eq!(none.status.code(), Some(2));
}

/// `why` tells of a string's move after the build that moved it, and after builds without a move.
#[test]
fn why_after_the_build() {
    let folder = built(WEIR);
    folder.file(
        "yard.tinsel",
        WEIR.replace("wire weir.1: ", "wire weir.1: iris -> ")
            + "prop iris { node bud; string 9 nodes }\n",
    );
    run(&folder, &["build", "--quiet", "yard.tinsel"]);
    let lock = fs::read(folder.0.join("yard.lock")).unwrap();
    for _ in 0..2 {
        let why = out(&run(&folder, &["why", "--quiet", "yard.tinsel", "fern[2]"]));
        let why = why.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(why.contains("an earlier build moved it; it lay at 5/136, but"), "{why}");
        assert_eq!(run(&folder, &["check", "--locked", "yard.tinsel"]).status.code(), Some(0));
        run(&folder, &["build", "--quiet", "yard.tinsel"]);
        assert_eq!(fs::read(folder.0.join("yard.lock")).unwrap(), lock);
    }
}

/// Either side of a merge is taken whole.
#[test]
fn a_side_is_taken() {
    let folder = built(WEIR);
    let lock = fs::read_to_string(folder.0.join("yard.lock")).unwrap();
    let line = lock.lines().find(|line| line.contains("fern[3]")).unwrap();
    let second = line.replace("start: 5/271", "start: 9/1");
    assert_ne!(line, second);
    let both = lock.replace(line, &format!("{line}\n{second}"));
    for (side, start) in [("ours", "5/271"), ("theirs", "9/1")] {
        folder.file("yard.lock", &both);
        let refused = run(&folder, &["build", "yard.tinsel"]);
        assert_eq!(refused.status.code(), Some(1));
        assert_eq!(err(&refused).matches("lock/twice").count(), 1, "{}", err(&refused));
        let done = run(&folder, &["build", "yard.tinsel", "--take", side]);
        assert_eq!(done.status.code(), Some(0), "{}", err(&done));
        let now = fs::read_to_string(folder.0.join("yard.lock")).unwrap();
        assert!(now.contains(&format!("fern[3]: {{port: weir.3, start: {start}, ")), "{now}");
        assert_eq!(now.matches("fern[3]").count(), 1);
    }
}

/// A controller that stands in the lock in two ways is one of them only when that is said.
#[test]
fn a_side_of_a_set_up_is_taken() {
    let folder = built(WEIR);
    let lock = fs::read_to_string(folder.0.join("yard.lock")).unwrap();
    let line = lock.lines().find(|line| line.contains("- {name: weir")).unwrap();
    let both = lock.replace(line, &format!("{line}\n{}", line.replace("10.1.0.4", "10.1.0.6")));
    for (side, word, host) in
        [(Side::Ours, "ours", "10.1.0.4"), (Side::Theirs, "theirs", "10.1.0.6")]
    {
        let loaded = |name: &str, text: &str| Loaded {
            identity: name.to_owned(),
            name: name.to_owned(),
            bytes: text.as_bytes().to_owned(),
        };
        let (main, beside) = (loaded("yard.tinsel", WEIR), loaded("yard.lock", &both));
        let files = Memory::default();
        let taken = compile_relaid(&files, main, Some(beside), &Relay::Nothing, Some(side));
        assert_eq!(&*taken.lock.unwrap().lock.boxes[0].host, host);
        folder.file("yard.lock", &both);
        let refused = run(&folder, &["diff", "yard.tinsel"]);
        assert_eq!(refused.status.code(), Some(1));
        assert!(err(&refused).contains("has the controller `weir` twice"), "{}", err(&refused));
        let done = run(&folder, &["build", "yard.tinsel", "--take", word]);
        assert_eq!(done.status.code(), Some(0), "{}", err(&done));
        assert_eq!(fs::read_to_string(folder.0.join("yard.lock")).unwrap(), lock);
    }
}

/// What a program that plays the show needs to know of a prop.
#[test]
fn a_table_by_prop() {
    let text = "node bud { chip ws2811; colour RGB }\ncontroller weir { ports 1..4 { } }\n\
        prop vine { enters \"left foot\"; node bud; strings 2 of 3 strands of 10 nodes }\n\
        wire weir.1: vine.1\nwire weir.3: vine.2\n";
    let folder = built(text);
    let told = run(&folder, &["table", "--by", "prop", "--format", "json", "yard.tinsel"]);
    let value: serde_json::Value = serde_json::from_slice(&told.stdout).unwrap();
    let row = &value["props"][0];
    for (key, wanted) in [
        ("prop", serde_json::json!("vine")),
        ("strings", 2.into()),
        ("enters", "left foot".into()),
        ("strands", 6.into()),
        ("nodes_per_strand", 10.into()),
        ("nodes", 60.into()),
        ("slots", 180.into()),
        ("first_channel", 1.into()),
        ("last_channel", 180.into()),
        ("one_piece", true.into()),
        ("starts", "1/1, 1/91".into()),
        ("ports", "weir.1, weir.3".into()),
    ] {
        assert_eq!(row[key], wanted, "{key}");
    }
}

/// Where data comes in is in tables, sheets and labels: for a prop, a member and a string.
#[test]
fn where_data_comes_in() {
    let text = "node bud { chip ws2811; colour RGB }\n\
        controller weir { stands at 0 m, 0 m; ports 1..4 { } }\n\
        prop vine { enters \"left foot\", \"right foot\"; node bud; strings 2 of 10 nodes; stands at 3 m, 4 m }\n\
        prop crow * 2 { enters \"beak\"; node bud; string 8 nodes; stands at 9 m, 12 m }\n\
        prop crow[2] { enters \"tail\" }\n\
        wire weir.1: vine -> crow[1]\nwire weir.2: lead 7 m -> crow[2]\n";
    let folder = built(text);
    let told = run(&folder, &["table", "--by", "prop", "--format", "csv", "yard.tinsel"]);
    let csv = out(&told);
    let mut keys: Vec<&str> = csv.lines().next().unwrap().split(',').collect();
    let wanted = "prop instance strings strands nodes_per_strand nodes slots first_channel last_channel one_piece starts \
                  ports enters";
    for key in wanted.split_whitespace() {
        assert_eq!(keys.iter().filter(|other| **other == key).count(), 1, "{key}");
    }
    keys.retain(|key| wanted.split_whitespace().any(|other| other == *key));
    assert_eq!(keys.join(" "), wanted, "in the order of the design");
    assert!(csv.contains("\"left foot, right foot\""), "{csv}");
    let told = run(&folder, &["table", "--format", "json", "yard.tinsel"]);
    let value: serde_json::Value = serde_json::from_slice(&told.stdout).unwrap();
    let enters = |name: &str| {
        let rows = value["strings"].as_array().unwrap();
        rows.iter().find(|row| row["name"] == name).unwrap()["enters"].clone()
    };
    for (name, place) in [
        ("vine.1", "left foot"),
        ("vine.2", "right foot"),
        ("crow[1]", "beak"),
        ("crow[2]", "tail"),
    ] {
        assert_eq!(enters(name), place, "{name}");
    }
    let done = run(&folder, &["report", "yard.tinsel", "-o", "papers"]);
    assert_eq!(done.status.code(), Some(0), "{}", err(&done));
    let paper = |name: &str| fs::read_to_string(folder.0.join("papers").join(name)).unwrap();
    let (sheets, labels, report) =
        (paper("port-sheets.html"), paper("labels.html"), paper("index.html"));
    for place in ["left foot", "right foot", "beak", "tail"] {
        assert!(sheets.contains(&format!("data in at {place}")), "{place}");
        assert!(labels.contains(&format!("<span>{place}</span>")), "{place}");
        assert!(report.contains(place), "{place}");
    }
    // 3-4-5 and 6-8-10; where a lead is written, that holds.
    assert!(sheets.contains("about 5 m from the plug before"), "{sheets}");
    assert!(sheets.contains("about 10 m from the plug before"));
    assert_eq!(sheets.matches("in a straight line").count(), 2);
    let more = text.replace("\"right foot\"", "\"right foot\", \"nose\"");
    folder.file("yard.tinsel", &more);
    let refused = run(&folder, &["check", "yard.tinsel"]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(err(&refused).contains("name/string"), "{}", err(&refused));
}

/// What a string lies after is what was laid before it: not a pinned port, not a string that shows
/// another's data, and on an unbroken port not a stored string.
#[test]
fn why_names_what_was_laid_before() {
    const HEAD: &str = "node dot { chip ws2811; colour RGB }\n\
                        controller pier { universes from 1; ports 1..4 { chip ws2811 } }\n\
                        controller quay { addressing per prop; universes from 9; ports 1..4 { chip ws2811 } }\n\
                        prop arch { node dot; string 50 nodes }\nprop kite { node dot; string 40 nodes }\n\
                        prop star { node dot; string 30 nodes }\n";
    for (rest, name, begins) in [
        (
            "wire pier.1: arch at 5/1\nwire pier.2: kite\nwire pier.3: star\n",
            "kite",
            "its port begins where it would if nothing on pier.1 were pinned",
        ),
        (
            "wire pier.1: arch at 5/1\nwire pier.2: kite\nwire pier.3: star\n",
            "star",
            "its port begins after pier.2, whose kite ends at 1/270",
        ),
        (
            "prop copy { node dot; string 30 nodes; same as star }\nwire quay.1: arch -> copy -> kite\nwire quay.2: star\n",
            "kite",
            "it lies after arch, which ends at 9/150",
        ),
        (
            "wire pier.1: arch -> kite -> star\nstored kite\n",
            "star",
            "it lies after arch, which ends at 1/150",
        ),
        (
            "wire pier.1: arch -> kite -> star\nstored kite\n",
            "kite",
            "it lies after star, which ends at 1/240",
        ),
    ] {
        let folder = Folder::new();
        folder.file("yard.tinsel", format!("{HEAD}{rest}"));
        let why = run(&folder, &["why", "--quiet", "yard.tinsel", name]);
        let text = out(&why).split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(text.contains(begins), "{rest}{text}{}", err(&why));
    }
}
