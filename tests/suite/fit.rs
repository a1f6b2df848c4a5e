//! `tinsel fit`: figures counted by hand; additions checked against a compile with them.

use crate::check;
use crate::cli::{self, Folder, err, on, out, status};
use serde_json::Value;
use std::path::Path;

/// Two controllers: one nearly full, one with a receiver's port, a reserved port and a DMX output.
const YARD: &str = "\
display \"bench\" { frame rate 40 Hz }
node bud { chip ws2811; colour RGB }
node glow { chip sk6812; colour RGBW }
controller hut { universes 1..6; ports 1..2 { chip ws2811; nodes at most 300 } }
controller pond { universes from 11; universes at most 4; ports 1..4 { chip ws2811, sk6812; nodes at most 900 }; dmx 1..2 }
reserve pond.4 \"broken\"
reserve universes 13 \"a guest\"
prop owl * 3 { node bud; string 100 nodes }
prop hedge { node bud; string 250 nodes }
prop lamp { node glow; string 50 nodes }
prop beam { slots 6 }
wire hut.1: owl[1] -> skip 2 -> owl[2]
wire hut: hedge
wire pond.1: owl[3]
wire pond.2: lamp
wire pond.dmx2: beam
";

fn json(path: &Path, more: &[&str]) -> Value {
    let mut arguments = vec!["--format", "json"];
    arguments.extend(more);
    let output = on("fit", path, &arguments);
    assert_eq!(status(&output), 0, "{}", err(&output));
    serde_json::from_str(&out(&output)).unwrap()
}

#[test]
fn figures_counted_by_hand() {
    let folder = Folder::new();
    let fit = json(&folder.file("yard.tinsel", YARD), &[]);
    let ports: Vec<_> = fit["ports"]
        .as_array()
        .unwrap()
        .iter()
        .map(|row| {
            (
                format!(
                    "{}.{}",
                    row["controller"].as_str().unwrap(),
                    row["port"].as_str().unwrap()
                ),
                row["state"].as_str().unwrap(),
                row["used"].as_u64().unwrap(),
                row["limit"].as_u64(),
                row["left"].as_u64(),
            )
        })
        .collect();
    // 25 ms have room for 831 nodes of 30 us and a latch of 50 us, or 623 of 40 us and one of 80
    // us.
    let expected = [
        ("hut.1", "used", 202, Some(300), Some(98)),
        ("hut.2", "used", 250, Some(300), Some(50)),
        ("pond.1", "used", 100, Some(831), Some(731)),
        ("pond.2", "used", 50, Some(623), Some(573)),
        ("pond.3", "free", 0, Some(623), Some(623)),
        ("pond.4", "reserved", 0, None, None),
        ("pond.dmx1", "free", 0, Some(512), Some(512)),
        ("pond.dmx2", "used", 6, Some(512), Some(506)),
    ];
    let got: Vec<_> = ports.iter().map(|p| (p.0.as_str(), p.1, p.2, p.3, p.4)).collect();
    assert_eq!(got, expected);
    let hut = &fit["controllers"][0];
    for (key, value) in
        [("ports", 2), ("ports_used", 2), ("ports_left", 0), ("nodes", 452), ("nodes_left", 148)]
    {
        assert_eq!(hut[key], value, "{key}");
    }
    // 450 nodes with RGB are 1350 slots: universes 1 to 3 of 1..6.
    assert_eq!((&hut["universes"], &hut["universes_left"]), (&3.into(), &3.into()));
    let pond = &fit["controllers"][1];
    assert_eq!(pond["dmx_left"], 1);
    // 500 slots and one output of its own: 11 and 12; 13 is a guest's.
    assert_eq!((&pond["universes"], &pond["universes_left"]), (&2.into(), &0.into()));
    assert_eq!(
        (&fit["found"]["ports_used"], &fit["found"]["ports_at_least"]),
        (&4.into(), &4.into())
    );
    assert_eq!(fit["added"], Value::Null);
}

#[test]
fn what_is_added_goes_where_a_compile_puts_it() {
    let folder = Folder::new();
    let path = folder.file("yard.tinsel", YARD);
    for (add, text) in [
        ("40 nodes of glow", "prop added { node glow; split 40 nodes }\nwire any: added\n"),
        ("prop hedge", "prop added like hedge { }\nwire any: added\n"),
        ("prop owl", "prop added like owl { }\nwire any: added\n"),
        ("prop beam", "prop added like beam { }\nwire any: added\n"),
        ("90 nodes of bud", "prop added { node bud; split 90 nodes }\nwire any: added\n"),
    ] {
        let fit = json(&path, &["--add", add]);
        let with = check::one(&format!("{YARD}{text}"));
        assert!(!with.blocks(), "{add}: {}", check::told(&with));
        let strings = fit["added"]["strings"].as_array().unwrap();
        let mut seen = 0;
        for (index, string) in with.model.strings.iter().enumerate() {
            let id = tinsel::model::StringId(index as u32);
            let prop = &with.model.props[string.prop];
            if &*prop.name != "added" {
                continue;
            }
            let placed = with.plan.of(id).unwrap();
            let name = with.model.name_of(id);
            let row = strings.iter().find(|row| row["string"] == name).unwrap();
            assert_eq!(row["start"]["channel"], placed.start + 1, "{add}");
            seen += 1;
        }
        assert_eq!(seen, strings.len(), "{add}");
        assert!(seen > 0, "{add}");
    }
}

#[test]
fn what_would_move_is_told() {
    let folder = Folder::new();
    // The addition goes to the first controller, so the second begins later.
    let path = folder.file(
        "yard.tinsel",
        "node bud { chip ws2811; colour RGB }\n\
         controller hut { ports 1..2 { nodes at most 300 } }\n\
         controller pond { ports 1..1 { nodes at most 300 } }\n\
         prop owl { node bud; string 300 nodes }\n\
         prop frog { node bud; string 300 nodes }\n\
         wire hut.1: owl\nwire pond.1: frog\n",
    );
    let fit = json(&path, &["--add", "prop", "owl"]);
    let moves = fit["added"]["moves"].as_array().unwrap();
    assert_eq!(moves.len(), 1);
    assert_eq!(moves[0]["string"], "frog");
    assert_eq!(
        (&moves[0]["from"]["universe"], &moves[0]["to"]["universe"]),
        (&3.into(), &5.into())
    );
    assert_eq!(fit["added"]["replugged"], 0);
    let text = out(&on("fit", &path, &["--add", "prop owl"]));
    assert!(text.contains("1 string would move for it, none of them to another port"), "{text}");
    let csv = out(&on("fit", &path, &["--add", "prop owl", "--format", "csv"]));
    assert!(csv.contains("moved,frog,pond.1,pond.1,1025,2049"), "{csv}");
}

#[test]
fn what_does_not_fit_and_what_is_not_understood() {
    let folder = Folder::new();
    let path = folder.file("yard.tinsel", YARD);
    let output = on("fit", &path, &["--add", "5000 nodes of glow"]);
    assert_eq!(status(&output), 1);
    assert!(out(&output).is_empty());
    assert!(err(&output).contains("place/no-room"), "{}", err(&output));
    assert!(err(&output).contains("5000 nodes of glow do not fit"), "{}", err(&output));
    for (add, told) in [
        ("60 nodes", "bud or glow"),
        ("60 nodes of bd", "did you mean `bud`"),
        ("prop hedg", "did you mean `hedge`"),
        ("0 nodes of bud", "no number of nodes"),
        ("99999999999999999999 nodes of bud", "no number of nodes"),
        ("a string", "60 nodes of bullet"),
        ("prop hedge; prop x { }", "can't add"),
    ] {
        let output = on("fit", &path, &["--add", add]);
        assert_eq!(status(&output), 2, "{add}");
        assert!(err(&output).contains(told), "{add}: {}", err(&output));
    }
    let broken = folder.file("broken.tinsel", "prop owl { }\n");
    assert_eq!(status(&on("fit", &broken, &[])), 1);
}

#[test]
fn a_person_and_a_spreadsheet_read_it() {
    let folder = Folder::new();
    let path = folder.file("yard.tinsel", YARD);
    let text = out(&on("fit", &path, &[]));
    assert!(text.starts_with("bench: 4 ports used, no fewer than 4 possible, 40 Hz\n"), "{text}");
    assert!(text.lines().all(|line| line.chars().count() <= 100), "{text}");
    let csv = out(&on("fit", &path, &["--format", "csv"]));
    assert!(csv.starts_with("controller,port,state,strings,used,limit,left,unit\r\n"));
    assert!(csv.contains("hut,1,used,2,202,300,98,nodes\r\n"), "{csv}");
    let input = cli::piped(&["fit", "-", "--add", "prop", "owl"], YARD.as_bytes());
    assert_eq!(status(&input), 0, "{}", err(&input));
    assert!(out(&input).contains("another owl would go here"));
}

/// What the lock holds stays: the same addition as above moves nothing.
#[test]
fn around_a_lock_nothing_moves() {
    let folder = Folder::new();
    let path = folder.file(
        "yard.tinsel",
        "node bud { chip ws2811; colour RGB }\n\
         controller hut { ports 1..2 { nodes at most 300 } }\n\
         controller pond { ports 1..1 { nodes at most 300 } }\n\
         prop owl { node bud; string 300 nodes }\n\
         prop frog { node bud; string 300 nodes }\n\
         wire hut.1: owl\nwire pond.1: frog\n",
    );
    assert_eq!(status(&on("build", &path, &[])), 0);
    let files = folder.all();
    let fit = json(&path, &["--add", "prop owl", "--locked"]);
    assert_eq!(fit["added"]["strings"].as_array().unwrap().len(), 1);
    assert_eq!(fit["added"]["moves"], Value::Array(Vec::new()));
    assert_eq!(folder.all(), files, "fit writes nothing");
}

/// What is to hang after a string stays on its data line: where it would lie, or how many fit.
#[test]
fn what_fits_after_a_string() {
    let folder = Folder::new();
    let path = folder.file("yard.tinsel", YARD);
    // hut.1 has 98 nodes left; what hangs after `owl[1]` moves.
    let fit = json(&path, &["--after", "owl[1]", "--add", "98 nodes of bud"]);
    let strings = fit["added"]["strings"].as_array().unwrap();
    assert_eq!(strings.len(), 1);
    assert_eq!(strings[0]["port"], "hut.1");
    assert_eq!(strings[0]["position"], 2);
    assert_eq!(strings[0]["start"]["channel"], 301);
    let moves = fit["added"]["moves"].as_array().unwrap();
    assert_eq!(moves[0]["string"], "owl[2]");
    assert_eq!(moves[0]["to"]["channel"], 301 + 3 * 98);
    let fit = json(&path, &["--after", "owl[2]", "--add", "98 nodes of bud"]);
    assert_eq!(fit["added"]["strings"][0]["position"], 3);
    assert_eq!(fit["added"]["replugged"], 0);
    let full = on("fit", &path, &["--after", "owl[2]", "--add", "99 nodes of bud"]);
    assert_eq!(status(&full), 1);
    let words = "99 nodes of bud after owl[2] do not fit; at most 98 nodes do";
    assert!(err(&full).contains(words), "{}", err(&full));
    // As in a compile with it: after a string that the compiler placed, and on a DMX output.
    let fit = json(&path, &["--after", "hedge", "--add", "50 nodes of bud"]);
    assert_eq!(fit["added"]["strings"][0]["port"], "hut.2");
    let fit = json(&path, &["--after", "beam", "--add", "prop beam"]);
    assert_eq!(fit["added"]["strings"][0]["port"], "pond.dmx2");
    assert_eq!(fit["added"]["strings"][0]["start"]["slot"], 7);
    // Another chip than the port drives.
    let other = on("fit", &path, &["--after", "hedge", "--add", "5 nodes of glow"]);
    assert_eq!(status(&other), 1);
    assert!(err(&other).contains("not one node does"), "{}", err(&other));
    for (after, add, why) in [
        ("beam", "5 nodes of bud", "`beam` is a fixture, so a string of nodes can't hang after it"),
        ("owl[2]", "prop beam", "`owl[2]` is a string of nodes, so a fixture can't hang after it"),
    ] {
        let mixed = on("fit", &path, &["--after", after, "--add", add]);
        assert_eq!(status(&mixed), 2);
        assert!(err(&mixed).contains(why), "{}", err(&mixed));
    }
    assert_eq!(status(&on("fit", &path, &["--after", "crane", "--add", "5 nodes of bud"])), 2);
    assert_eq!(status(&on("fit", &path, &["--after", "owl[2]"])), 2);
}

/// A line that its fuse does not feed does not fit: 80 % of 5 A feed 88 nodes of 45 mA.
#[test]
fn what_a_fuse_does_not_feed_does_not_fit() {
    let folder = Folder::new();
    let path = folder.file(
        "yard.tinsel",
        "node bud { chip ws2811; colour RGB; volts 12 V; draw 45 mA }\n\
         controller hut { ports 1..2 { volts 12 V; fuse 5 A; nodes at most 500 } }\n\
         prop owl { node bud; string 50 nodes }\nwire hut.1: owl\n",
    );
    let over = on("fit", &path, &["--after", "owl", "--add", "400 nodes of bud"]);
    assert_eq!(status(&over), 1);
    assert!(
        err(&over).contains("power/fuse") && err(&over).contains("at most 38 nodes do"),
        "{}",
        err(&over)
    );
    let fit = json(&path, &["--after", "owl", "--add", "38 nodes of bud"]);
    assert_eq!(fit["added"]["strings"][0]["port"], "hut.1");
}

/// What is reserved of a DMX output is not left; what two statements reserve counts once.
#[test]
fn reserved_slots_are_not_left() {
    let folder = Folder::new();
    let path = folder.file(
        "yard.tinsel",
        "controller hut { dmx 1..2 }\nprop lamp { slots 3 }\nwire hut.dmx1: lamp\n\
         reserve hut.dmx1 slots 10..509\nreserve hut.dmx1 slots 20..100\nreserve hut.dmx2 slots 5..5\n",
    );
    let csv = out(&on("fit", &path, &["--format", "csv"]));
    assert!(csv.contains("hut,dmx1,used,1,3,512,9,slots\r\n"), "{csv}");
    assert!(csv.contains("hut,dmx2,free,0,0,512,511,slots\r\n"), "{csv}");
}
