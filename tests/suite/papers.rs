//! The papers of a crew checked against the table and each other: what each says of a string's
//! plugs, and when their edition changes.

use crate::check;
use crate::examples::{self, EXAMPLES};
use crate::random;
use proptest::strategy::{Strategy as _, ValueTree as _};
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::Value;
use std::collections::BTreeMap;
use tinsel::Compiled;
use tinsel::page::{folder, single};

/// Two receivers on one cable, each with its own strings; a stored string and a dark node between.
const DAISY: &str = "display \"Moss Lane\" { lead of 18 AWG }\n\
    node berry { chip ws2811; colour RGB; volts 12 V }\n\
    controller kiosk { universes from 1; ports 1..4 { nodes at most 600 } }\n\
    receiver bank { carries kiosk.1..4; ports 1..4 { nodes at most 400 } }\n\
    receiver weir { carries kiosk.1..4; ports 1..4 { nodes at most 300 } }\n\
    prop otter { node berry; string 12 nodes }\n\
    prop newt * 3 { node berry; string 14 nodes }\n\
    prop vole { node berry; strings 2 of 9 nodes }\n\
    stored newt[2]\n\
    wire bank.1: otter -> lead 4 m -> newt[1]\n\
    wire weir.1: skip 1 -> newt[2] -> newt[3]\n\
    wire weir.2: vole\n";

/// From, to and socket of a string, in words.
type Said = (String, String, String);

/// What the table has, read as JSON.
fn strings(compiled: &Compiled) -> Vec<Value> {
    let table = crate::outputs::table_text(compiled, "json");
    let table: Value = serde_json::from_str(&table).unwrap();
    table["strings"].as_array().unwrap().clone()
}

/// What every paper must say of each string's plugs, worked out from the table alone: strings of
/// one output and one receiver hang one after another, and stored ones on nothing.
fn wanted(compiled: &Compiled) -> BTreeMap<String, Said> {
    let mut cables: BTreeMap<(String, String), Vec<String>> = BTreeMap::new();
    for row in strings(compiled) {
        if row["stored"] == Value::Bool(true) || row["nodes"].is_null() {
            continue;
        }
        let text = |key: &str| row[key].as_str().unwrap_or_default().to_owned();
        let port = format!("{}.{}", text("controller"), text("port"));
        let outlet = row["receiver_port"].as_u64();
        let outlet = outlet.map(|number| format!("{}.{number}", text("receiver")));
        let cable = (port, outlet.unwrap_or_default());
        cables.entry(cable).or_default().push(text("name"));
    }
    let mut all = BTreeMap::new();
    for ((port, outlet), names) in cables {
        let (socket, mut from) = if outlet.is_empty() {
            (port.clone(), format!("port {port}"))
        } else {
            (format!("{outlet} ({port})"), format!("receiver {outlet}"))
        };
        for (at, name) in names.iter().enumerate() {
            let to = names.get(at + 1).map_or("end of line", String::as_str);
            all.insert(name.clone(), (from, to.to_owned(), socket.clone()));
            from = name.clone();
        }
    }
    all
}

/// What stands between two marks, for each time that both follow one another.
fn between<'a>(text: &'a str, open: &str, close: &str) -> Vec<&'a str> {
    let parts = text.split(open).skip(1);
    parts.filter_map(|part| part.split(close).next()).collect()
}

/// Markup as text: the first line of it, before any break or smaller print.
fn plain(markup: &str) -> String {
    let first = markup.split("<br>").next().unwrap();
    let first = first.split("<small>").next().unwrap();
    let mut text = String::new();
    for (at, part) in first.split('<').enumerate() {
        text.push_str(if at == 0 {
            part
        } else {
            part.split_once('>').map_or("", |(_, text)| text)
        });
    }
    text.trim().to_owned()
}

fn cells(row: &str) -> Vec<String> {
    between(row, "<td", "</td>").iter().map(|cell| plain(cell.split_once('>').unwrap().1)).collect()
}

/// The rows of a page's tables of one kind.
fn rows(page: &str, kind: &str) -> Vec<Vec<String>> {
    between(page, &format!("<table class=\"{kind}\">"), "</table>")
        .iter()
        .flat_map(|table| between(table.split("<tbody>").nth(1).unwrap(), "<tr>", "</tr>"))
        .map(cells)
        .collect()
}

/// What is met along a cable, in the words of a paper that follows it: sockets, strings, ends.
fn followed(steps: &[String], strings: &BTreeMap<String, Said>) -> BTreeMap<String, Said> {
    let mut all: BTreeMap<String, Said> = BTreeMap::new();
    let (mut from, mut port, mut socket, mut last) =
        (String::new(), String::new(), String::new(), None);
    for step in steps {
        if let Some(name) = step.strip_prefix("port ") {
            (port, socket) = (name.to_owned(), name.to_owned());
            from = step.clone();
        } else if let Some(name) = step.strip_prefix("receiver ") {
            assert_eq!(last, None, "a cable goes on past {name}");
            socket = format!("{name} ({port})");
            from = step.clone();
        } else if step.starts_with("end of line") {
            last = None;
        } else if strings.contains_key(step) {
            if let Some(before) = last.and_then(|name: String| all.get_mut(&name)) {
                before.1.clone_from(step);
            }
            let said = (from, "end of line".to_owned(), socket.clone());
            all.insert(step.clone(), said);
            from = step.clone();
            last = Some(step.clone());
        }
    }
    all
}

/// A line as a label has room for it.
fn cut(line: &str) -> String {
    if line.chars().count() <= 36 {
        return line.to_owned();
    }
    line.chars().take(35).chain(['…']).collect()
}

/// All papers say of each plug what the table says.
fn agree(name: &str, compiled: &Compiled) {
    let wanted = wanted(compiled);
    let pages: BTreeMap<String, String> =
        folder(compiled).map(|page| (page.file, page.text)).collect();

    let bench: BTreeMap<String, Said> = rows(&pages["bench.html"], "ends")
        .into_iter()
        .map(|row| (row[0].clone(), (row[1].clone(), row[2].clone(), row[3].clone())))
        .map(|(string, said)| (string.split(' ').next().unwrap().to_owned(), said))
        .collect();
    assert_eq!(bench, wanted, "{name}: bench sheets");

    let mut steps: Vec<String> = rows(&pages["port-sheets.html"], "steps")
        .into_iter()
        .map(|row| row[1].replace("plug into ", ""))
        .collect();
    for step in &mut steps {
        let string = step.split(' ').next().unwrap().to_owned();
        if wanted.contains_key(&string) {
            *step = string;
        }
    }
    assert_eq!(followed(&steps, &wanted), wanted, "{name}: port sheets");

    let steps: Vec<String> = between(&pages["index.html"], "<li class=\"", "</li>")
        .iter()
        .filter_map(|item| {
            let (class, rest) = item.split_once('"').unwrap();
            let text = rest.split_once('>').unwrap().1;
            match class.split(' ').next() {
                Some("socket" | "last") => Some(plain(text)),
                Some("string") => Some(between(text, "<b>", "</b>")[0].to_owned()),
                _ => None,
            }
        })
        .collect();
    assert_eq!(followed(&steps, &wanted), wanted, "{name}: chains");

    let tests: BTreeMap<String, String> = rows(&pages["test-sheet.html"], "test")
        .into_iter()
        .filter(|row| wanted.contains_key(&row[1]))
        .map(|row| (row[1].clone(), row[0].clone()))
        .collect();
    let sockets: BTreeMap<String, String> =
        wanted.iter().map(|(string, (.., socket))| (string.clone(), socket.clone())).collect();
    assert_eq!(tests, sockets, "{name}: test sheet");

    let labels: Vec<Vec<String>> = between(&pages["labels.html"], "<div class=\"says\">", "</div>")
        .iter()
        .map(|label| {
            let lines = label.replace("<b>", "<span>").replace("</b>", "</span>");
            let lines = between(&lines, "<span>", "</span>");
            lines.into_iter().map(str::to_owned).collect()
        })
        .filter(|label: &Vec<String>| label[0].ends_with(" IN") || label[0].ends_with(" OUT"))
        .collect();
    assert_eq!(labels.len(), 2 * wanted.len(), "{name}: labels");
    for (string, (from, to, socket)) in &wanted {
        let find = |end: &str| {
            let head = format!("{string} {end}");
            let found = labels.iter().filter(|label| label[0] == head);
            let [label] = found.collect::<Vec<_>>()[..] else {
                panic!("{name}: labels of {head}");
            };
            label.clone()
        };
        let input = find("IN");
        assert_eq!(input[1..3], [cut(&format!("from {from}")), cut(socket)]);
        let to = if to == "end of line" { to.clone() } else { format!("to {to}") };
        assert_eq!(find("OUT")[1..], [cut(&to), cut(socket)]);
    }
}

#[test]
fn papers_agree_on_every_plug() {
    let daisy = check::one(DAISY);
    assert_eq!(
        wanted(&daisy)["otter"],
        ("receiver bank.1".to_owned(), "newt[1]".to_owned(), "bank.1 (kiosk.1)".to_owned())
    );
    assert_eq!(wanted(&daisy)["newt[1]"].1, "end of line");
    assert_eq!(wanted(&daisy)["newt[3]"].0, "receiver weir.1");
    agree("daisy", &daisy);
    for (main, ..) in EXAMPLES {
        agree(main, &examples::compiled(main));
    }
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[29; 32]);
    let mut runner = TestRunner::new_with_rng(Config::default(), rng);
    for _ in 0..64 {
        let spec = random::spec().new_tree(&mut runner).unwrap().current();
        let source = random::build(&spec).source();
        agree(&source, &check::one(&source));
    }
}

/// An output that is in use or reserved is not among the free ones.
#[test]
fn a_port_sheet_lists_the_free_outputs() {
    let text = "display \"Moss Lane\" { }\n\
        node berry { chip ws2811; colour RGB }\n\
        controller kiosk { universes from 1; ports 1..6 { }; dmx 1..3 }\n\
        reserve kiosk.3 \"socket broken\"\n\
        reserve kiosk.dmx1 \"house lights\"\n\
        prop otter { node berry; string 12 nodes }\n\
        wire kiosk.2: otter\n";
    let page = single(&check::one(text));
    assert_eq!(between(&page, "<p>Free outputs: ", "</p>"), ["1, 4 to 6 and dmx2 to dmx3."]);
    let reserved = ["3 is reserved: socket broken.", "dmx1 is reserved: house lights."];
    assert_eq!(between(&page, "<p>Output ", "</p>"), reserved);
}

/// The display that the edition is tried on: something on every paper.
const ORCHARD: &str = "display \"Orchard\" { frame rate 40 Hz; lead of 18 AWG; dim to 30 % }\n\
    node berry { chip ws2811; colour RGB; volts 12 V; draw 50 mA; pitch 75 mm; gauge 18 AWG }\n\
    controller kiosk { host 10.7.0.2; universes from 4; ports 1..4 { nodes at most 600; fuse 5 A }; dmx 1 }\n\
    receiver bank { label \"at the weir\"; carries kiosk.3..4; ports 1..2 { fuse 5 A } }\n\
    prop otter { node berry; string 60 nodes }\n\
    prop newt * 3 { label \"under the pear\"; node berry; string 40 nodes }\n\
    prop lamp { slots 6 }\n\
    supply rack { volts 12 V; rated 350 W }\n\
    wire kiosk.1: otter -> lead 4 m -> newt[1] -> skip 1 -> newt[2]\n\
    wire bank.1: newt[3]\n\
    wire kiosk.dmx1: lamp at 30\n\
    power kiosk.1..2 from rack through 0.5 m of 12 AWG fuse 5 A\n\
    power bank.1 from rack through 0.5 m of 12 AWG fuse 5 A\n\
    inject newt[2] at end from rack through 3 m of 16 AWG fuse 5 A\n";

/// Changes of it: what is replaced by what.
const CHANGES: &[(&str, &str)] = &[
    ("Orchard", "Meadow"),
    ("frame rate 40 Hz", "frame rate 30 Hz"),
    ("dim to 30 %", "dim to 25 %"),
    ("lead of 18 AWG", "lead of 16 AWG"),
    ("lead 4 m", "lead 5 m"),
    ("skip 1", "skip 2"),
    ("host 10.7.0.2", "host 10.7.0.3"),
    ("nodes at most 600", "nodes at most 500"),
    ("through 3 m of 16 AWG", "through 2 m of 16 AWG"),
    ("16 AWG fuse 5 A", "16 AWG fuse 3 A"),
    ("fuse 5 A\npower bank", "fuse 4 A\npower bank"),
    ("at end", "at start"),
    ("pitch 75 mm", "pitch 80 mm"),
    ("under the pear", "under the plum"),
    ("at the weir", "at the mill"),
    ("newt[1] -> skip 1 -> newt[2]", "newt[2] -> skip 1 -> newt[1]"),
    ("lamp at 30", "lamp at 31"),
    ("universes from 4", "universes from 5"),
    ("kiosk.1..2", "kiosk.1..4"),
    ("bank", "shore"),
    ("colour RGB", "colour GRB"),
    ("controller kiosk {", "controller kiosk { input ddp;"),
    // These print nothing else.
    ("slots 6 }", "slots 6 } # a note"),
    ("volts 12 V; rated 350 W", "rated 350 W; volts 12 V"),
    ("string 60 nodes", "string 6 * 10 nodes"),
];

/// The edition of a page, and the texts that a reader sees on it.
fn edition(page: &str) -> (String, Vec<String>) {
    let (head, rest) = page.split_once("<p>Edition <span class=\"num\">").unwrap();
    let (edition, rest) = rest.split_once('<').unwrap();
    let body =
        head.split_once("<body>").unwrap().1.to_owned() + rest.split("<script>").next().unwrap();
    let searched = body.split_once("<section class=\"part\" id=\"search\"");
    let body = searched.map_or(body.clone(), |(before, rest)| {
        before.to_owned() + rest.split_once("</section>").unwrap().1
    });
    let texts = body.split('<').map(|part| part.split_once('>').map_or("", |(_, text)| text));
    (edition.to_owned(), texts.map(str::to_owned).collect())
}

#[test]
fn an_edition_changes_with_what_is_printed_and_only_then() {
    let printed = |text: &str| {
        let compiled = check::one(text);
        assert!(!compiled.blocks(), "{}", check::told(&compiled));
        let pages: Vec<_> = folder(&compiled).map(|page| edition(&page.text)).collect();
        let first = pages[0].0.clone();
        assert!(pages.iter().all(|(edition, _)| *edition == first));
        assert_eq!(edition(&single(&compiled)).0, first);
        let texts: Vec<Vec<String>> = pages.into_iter().map(|(_, texts)| texts).collect();
        (first, texts)
    };
    let (before, texts) = printed(ORCHARD);
    for (from, to) in CHANGES {
        let changed = ORCHARD.replacen(from, to, if *from == "bank" { 9 } else { 1 });
        assert_ne!(changed, ORCHARD, "{from}");
        let (after, now) = printed(&changed);
        assert_eq!(after == before, now == texts, "{from} to {to}");
        assert_eq!(
            after == before,
            to.contains("# a note") || to.contains("6 * 10") || to.contains("350"),
            "{from} to {to}"
        );
    }
}
