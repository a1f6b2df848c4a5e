//! `tinsel power` as the shell sees it: text, csv and JSON, other levels, pasted suggestions.

use serde_json::Value;
use std::io::Write as _;
use std::process::{Command, Output, Stdio};

fn tinsel(arguments: &[&str], text: &str) -> Output {
    let mut child = Command::new(env!("CARGO_BIN_EXE_tinsel"))
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    // A program that refuses its arguments does not read the display.
    let _ = child.stdin.take().unwrap().write_all(text.as_bytes());
    child.wait_with_output().unwrap()
}

fn said(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn json(arguments: &[&str], text: &str) -> Value {
    let output = tinsel(&[&["power", "-", "--format", "json"], arguments].concat(), text);
    serde_json::from_str(&said(&output)).unwrap()
}

/// Two lines on one lead, one of them too long, and a fixture on the mains.
const YARD: &str = "\
display \"yard\" { dim to 50 % }
circuit porch { volts 230 V; breaker 16 A }
node dot { chip ws2811; colour RGB; volts 12 V; draw 60 mA; pitch 190 mm; gauge 16 AWG }
prop arch { node dot; string 50 nodes }
prop fence { node dot; string 240 nodes }
prop flood { slots 6; draw 100 W; on porch }
controller pier { ports 1..4 { volts 12 V; fuse 10 A }; dmx 1; draw 10 W; on porch }
wire pier.1: arch
wire pier.2: fence
wire pier.dmx1: flood
supply shed { volts 12 V; rated 350 W; efficiency 90 %; on porch }
power pier.1..4 from shed through 1 m of 12 AWG fuse 15 A
";

#[test]
fn the_figures_in_json() {
    let value = json(&[], YARD);
    let ports = value["ports"].as_array().unwrap();
    assert_eq!(ports.len(), 2);
    assert_eq!(ports[0]["port"], "pier.1");
    assert_eq!(ports[0]["amps"], 1.5);
    assert_eq!(ports[0]["fuse_amps"], 10.0);
    assert_eq!(ports[0]["fuse_percent"], 15.0);
    assert_eq!(ports[0]["level_percent"], 50.0);
    assert_eq!(ports[0]["worst"]["string"], "arch");
    assert_eq!(ports[0]["worst"]["node"], 50);
    assert_eq!(ports[0]["dark_from"], Value::Null);
    assert_eq!(ports[1]["dark_from"]["string"], "fence");
    let supply = &value["supplies"][0];
    let watts = supply["watts"].as_f64().unwrap();
    let headroom = supply["headroom_watts"].as_f64().unwrap();
    assert!((watts + headroom - 350.0).abs() < 1e-9);
    // Of the 90 % that it gives, and with controller and fixture.
    let mains = value["total"]["mains_watts"].as_f64().unwrap();
    assert!((mains - watts / 0.9 - 110.0).abs() < 0.01, "{mains} {watts}");
    let at_230 = value["total"]["mains_amps_230v"].as_f64().unwrap();
    assert!((at_230 - mains / 230.0).abs() < 1e-5);
    let at_120 = value["total"]["mains_amps_120v"].as_f64().unwrap();
    assert!((at_120 - mains / 120.0).abs() < 1e-5);
    assert_eq!(value["circuits"][0]["circuit"], "porch");
    assert!(value["cautions"].as_array().unwrap().len() >= 6);
}

#[test]
fn other_levels() {
    for (word, amps) in [("100", 3.0), ("10%", 0.3), ("12.5 %", 0.375)] {
        let value = json(&["--at", word], YARD);
        assert_eq!(value["ports"][0]["amps"], amps, "{word}");
    }
    assert_eq!(json(&["--at", "0"], YARD)["ports"][1]["worst"], Value::Null);
    for word in ["101", "-1", "ten", "1.2345", ""] {
        let argument = format!("--at={word}");
        assert_eq!(tinsel(&["power", "-", &argument], YARD).status.code(), Some(2), "{word}");
    }
}

/// The text has a line for each port, lead, supply and circuit, the totals and every caution, in
/// 100 columns.
#[test]
fn the_text() {
    let output = tinsel(&["power", "-"], YARD);
    // A node of the fence is under its floor.
    assert_eq!(output.status.code(), Some(1));
    let text = said(&output);
    for part in [
        "pier.1",
        "pier.2",
        "dark from node",
        "pier.1..4",
        "12 AWG",
        "shed",
        "porch",
        "in all",
        "at 120 V",
        "at 230 V",
        "ground-fault",
        "fuse at the source",
        "plus of two supplies",
        "made for the weather",
        "licensed",
        "local code",
        "no approval",
    ] {
        assert!(text.replace("\n  ", " ").contains(part), "`{part}` is not in\n{text}");
    }
    for line in text.lines() {
        assert!(line.chars().count() <= 100, "{line}");
    }
}

/// Every row of the sheet has every column, and the cautions are there too.
#[test]
fn the_sheet() {
    let output = tinsel(&["power", "-", "--format", "csv", "--suggest"], YARD);
    let mut reader = csv::Reader::from_reader(output.stdout.as_slice());
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    let kinds: Vec<&str> = rows.iter().map(|row| &row[0]).collect();
    for kind in ["port", "lead", "supply", "circuit", "total", "suggestion", "caution"] {
        assert!(kinds.contains(&kind), "{kinds:?}");
    }
    assert_eq!(&rows[0][1], "pier.1");
    assert_eq!(&rows[0][4], "1.5");
    let watts = reader.headers().unwrap().iter().position(|name| name == "watts").unwrap();
    for row in rows.iter().filter(|row| matches!(&row[0], "supply" | "circuit" | "total")) {
        assert!(row[watts].parse::<f64>().is_ok_and(|watts| watts > 0.0), "{row:?}");
    }
}

/// Suggestions are statements and comments; with them the display passes at the level asked for.
#[test]
fn suggestions_are_pasted() {
    for level in [None, Some("100")] {
        let mut arguments = vec!["power", "-", "--suggest"];
        arguments.extend(level.iter().flat_map(|level| ["--at", level]));
        let text = said(&tinsel(&arguments, YARD));
        assert!(
            text.lines().all(|line| line.starts_with('#') || line.starts_with("inject ")),
            "{text}"
        );
        assert!(text.contains("\ninject fence "), "{text}");
        let pasted = format!("{YARD}{text}");
        let after = json(&level.map_or(Vec::new(), |level| vec!["--at", level]), &pasted);
        for port in after["ports"].as_array().unwrap() {
            assert_eq!(port["dark_from"], Value::Null, "{pasted}");
        }
        let check = tinsel(&["check", "-"], &pasted);
        assert_eq!(check.status.code(), Some(0), "{}", String::from_utf8_lossy(&check.stderr));
        let again = said(&tinsel(&arguments, &pasted));
        assert!(again.starts_with("# Nothing needs"), "{again}");
    }
}

/// Errors that leave addresses in doubt leave no figures; a display without any draw says so.
#[test]
fn nothing_to_show() {
    let broken = tinsel(&["power", "-"], "wire pier.1: arch\n");
    assert_eq!((broken.status.code(), broken.stdout.len()), (Some(1), 0));
    let bare = tinsel(
        &["power", "-"],
        "node n { chip ws2811 }\nprop p { node n; string 9 nodes }\ncontroller c { ports 1..2 { } }\nwire c.1: p\n",
    );
    assert_eq!(bare.status.code(), Some(0));
    assert!(said(&bare).contains("says what it draws"));
}

/// Where nodes go dark and nothing says what feeds them there is nothing to paste, and it says so.
#[test]
fn nothing_to_feed_from() {
    let text = "node n { chip ws2811; colour RGB; volts 12 V; draw 60 mA; pitch 100 mm; gauge 20 AWG }\n\
                controller pier { ports 1..2 { volts 12 V } }\n\
                prop fence { node n; string 400 nodes }\nwire pier.1: fence\n";
    let said = said(&tinsel(&["power", "-", "--suggest"], text));
    assert!(said.contains("# Nodes go dark on pier.1"), "{said}");
    assert!(!said.contains("Nothing needs"), "{said}");
    assert!(said.lines().all(|line| line.starts_with('#')), "{said}");
}

/// A level that a display does not allow has findings of its own, and the exit status follows them.
#[test]
fn a_level_has_its_own_findings() {
    let yard = YARD.replace("string 240 nodes", "string 100 nodes");
    let status = |level: &[&str], text: &str| {
        let output = tinsel(&[&["power", "-"], level].concat(), text);
        (output.status.code(), String::from_utf8(output.stderr).unwrap())
    };
    // 150 nodes of 60 mA are 9 A on a fuse of 7 A; half of it is allowed.
    let fused = yard.replace("12 AWG fuse 15 A", "12 AWG fuse 7 A");
    let (code, told) = status(&[], &fused);
    assert_eq!(code, Some(0), "{told}");
    assert!(told.contains("advice[power/fuse]") && !told.contains("error["), "{told}");
    let (code, told) = status(&["--at", "100"], &fused);
    assert_eq!(code, Some(1), "{told}");
    assert!(told.contains("error[power/fuse]") && !told.contains("advice["), "{told}");
    let (code, told) = status(&["--at", "40"], &fused);
    assert_eq!((code, told.as_str()), (Some(0), ""));
    // What is wrong at the level that is allowed is not wrong at a lower one.
    assert_eq!(status(&[], YARD).0, Some(1));
    assert_eq!(status(&["--at", "10"], YARD).0, Some(0));
}

/// Where plus and minus differ both are shown, and only there.
#[test]
fn plus_and_minus() {
    let cut =
        format!("{YARD}inject fence at node 100 from shed through 9 m of 14 AWG fuse 10 A apart\n");
    let value = json(&[], &cut);
    let leads = value["leads"].as_array().unwrap();
    let sum = |key: &str| -> f64 { leads.iter().map(|lead| lead[key].as_f64().unwrap()).sum() };
    assert!((sum("amps") - sum("minus_amps")).abs() < 1e-5);
    assert!(
        (leads[0]["amps"].as_f64().unwrap() - leads[0]["minus_amps"].as_f64().unwrap()).abs()
            > 0.05
    );
    let text = said(&tinsel(&["power", "-"], &cut));
    assert!(text.contains(" plus ") && text.contains(" minus "), "{text}");
    let whole = said(&tinsel(&["power", "-"], YARD));
    assert!(!whole.contains(" minus "), "{whole}");
    let output = tinsel(&["power", "-", "--format", "csv"], &cut);
    let mut reader = csv::Reader::from_reader(output.stdout.as_slice());
    let head = reader.headers().unwrap();
    assert_eq!(&head[head.len() - 1], "minus_amps");
}

/// What is left out does not count in supply and total, and both say so.
#[test]
fn what_is_left_out_is_named() {
    let joined = format!(
        "{YARD}supply tree {{ volts 12 V; rated 100 W }}\ninject fence at end from tree through 1 m of 14 AWG fuse 5 A\n"
    );
    let value = json(&[], &joined);
    for supply in value["supplies"].as_array().unwrap() {
        assert_eq!(supply["left_out"][0], "pier.2", "{supply}");
    }
    assert_eq!(value["total"]["left_out"][0], "pier.2");
    let text = said(&tinsel(&["power", "-"], &joined));
    assert!(text.contains("without what it feeds on pier.2: left out, 0 A here"), "{text}");
    assert!(text.contains("W without pier.2 (left out, 0 A here); from the mains"), "{text}");
    let sheet = said(&tinsel(&["power", "-", "--format", "csv"], &joined));
    assert!(sheet.contains("what supplies give, without pier.2: left out"), "{sheet}");
    let whole = json(&[], YARD);
    assert_eq!(whole["total"]["left_out"].as_array().unwrap().len(), 0);
}

/// Current that flows back into a port is below 0 and is remarked on.
#[test]
fn current_that_flows_back() {
    let back = YARD.replace("from shed through 1 m of 12 AWG", "from shed through 40 m of 16 AWG")
        + "inject arch at start from shed through 0.5 m of 10 AWG fuse 20 A\n";
    let value = json(&[], &back);
    assert!(value["ports"][0]["amps"].as_f64().unwrap() < -0.1, "{}", value["ports"][0]);
    let text = said(&tinsel(&["power", "-"], &back));
    assert!(text.contains("flows back into the port"), "{text}");
    // In the line itself the most flows in from its end: back towards the port.
    let both = format!("{YARD}inject fence at end from shed through 1 m of 12 AWG fuse 10 A\n");
    let row = &json(&[], &both)["ports"][1];
    assert_eq!(row["most_plus"]["string"], "fence");
    let (plus, minus) = (&row["most_plus"]["amps"], &row["most_minus"]["amps"]);
    assert_eq!(plus, minus);
    assert_eq!(row["most_plus"]["node"], 240);
    assert!(plus.as_f64().unwrap() < -3.0, "{row}");
}
