//! Two mistakes in one file: a fault hides only what follows from it, so both are reported.

use crate::check;
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

/// A display with a mistake, by the file that holds it.
struct Mistake {
    name: String,
    text: String,
    /// Codes and lines that are found beside a sound display.
    found: BTreeSet<(&'static str, u32)>,
}

/// A sound display that shares nothing with any other.
const SOUND: &str = "
node sound-node { chip ws2811; colour RGB }
controller sound-box { universes 60001..60004; ports 1..2 { chip ws2811 } }
prop sound-prop { node sound-node; string 10 nodes }
wire sound-box.1: sound-prop
";

/// What begins a declaration with a name.
const DECLARES: [&str; 8] =
    ["prop", "node", "chip", "controller", "receiver", "supply", "circuit", "let"];

fn is_word(c: char) -> bool {
    c.is_alphanumeric() || c == '-' || c == '_'
}

/// The words of a text with what stands between them.
fn pieces(text: &str) -> Vec<&str> {
    let mut pieces = Vec::new();
    let mut rest = text;
    while let Some(first) = rest.chars().next() {
        let end = rest.find(|c| is_word(c) != is_word(first)).unwrap_or(rest.len());
        let (piece, behind) = rest.split_at(end);
        pieces.push(piece);
        rest = behind;
    }
    pieces
}

/// The names that a text declares, outside all braces.
fn declared(text: &str) -> BTreeSet<&str> {
    let mut names = BTreeSet::new();
    let mut depth = 0;
    for line in text.lines().map(|line| line.split('#').next().unwrap()) {
        for statement in line.split_inclusive([';', '{', '}']) {
            let mut words = statement.split_whitespace();
            let declares = words.next().is_some_and(|word| DECLARES.contains(&word));
            if let Some(name) = words.next().filter(|_| depth == 0 && declares) {
                names.insert(&name[..name.find(|c| !is_word(c)).unwrap_or(name.len())]);
            }
            depth += statement.matches('{').count() as i32 - statement.matches('}').count() as i32;
        }
    }
    names.remove("");
    names
}

/// The same display under names of its own.
fn apart(text: &str) -> String {
    let names = declared(text);
    let piece = |piece: &&str| match names.contains(piece) {
        true => format!("{piece}-too"),
        false => (*piece).to_owned(),
    };
    pieces(text).iter().map(piece).collect()
}

/// Codes and lines of what is found in a text, from a line on.
fn found(text: &str, from: u32, lines: u32) -> BTreeSet<(&'static str, u32)> {
    let compiled = check::one(text);
    let places = compiled.findings.iter().filter_map(|finding| {
        let place = compiled.sources.place(finding.span())?;
        let line = place.line;
        (from..from + lines).contains(&line).then(|| (finding.code, line - from + 1))
    });
    places.collect()
}

fn lines(text: &str) -> u32 {
    text.lines().count() as u32
}

/// Every golden display of one file that says the same beside a sound display as alone.
fn mistakes() -> Vec<Mistake> {
    let root = Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/diagnostics"));
    let mut all = Vec::new();
    let mut folders = vec![root.to_owned()];
    while let Some(folder) = folders.pop() {
        let mut entries: Vec<_> =
            std::fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
        entries.sort();
        for path in entries {
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let name = path.strip_prefix(root).unwrap().to_string_lossy().into_owned();
            let lock = path.with_extension("lock").exists();
            let Some(name) = name.strip_suffix(".tinsel").filter(|n| !n.ends_with(".ok") && !lock)
            else {
                continue;
            };
            let Ok(text) = std::fs::read_to_string(&path) else {
                continue;
            };
            if path.to_string_lossy().contains(".ok") {
                continue;
            }
            let whole = ["display", "include", "stock "];
            if whole.iter().any(|word| text.contains(word)) || !text.is_ascii() || text.len() > 4000
            {
                continue;
            }
            let text = text.trim_end().to_owned() + "\n";
            let alone = found(&text, 1, lines(&text));
            let beside = found(&(text.clone() + SOUND), 1, lines(&text));
            let under = found(&(SOUND.to_owned() + &apart(&text)), lines(SOUND) + 1, lines(&text));
            if alone == beside && alone == under {
                let (name, found) = (name.to_owned(), alone);
                all.push(Mistake { name, text, found });
            }
        }
    }
    all.sort_by(|a, b| a.name.cmp(&b.name));
    all
}

/// Whether two displays share nothing: no word of one is a name of the other, and both or neither
/// name a supply or circuit.
fn strangers(one: &str, other: &str) -> bool {
    let shares = |a: &str, b: &str| {
        let lines = a.lines().map(|line| line.split(' ').collect::<Vec<_>>());
        let other = ["wire", "power", "inject", "reserve", "stored", "renamed"];
        let heads = lines.filter(|words| words.len() > 1 && !other.contains(&words[0]));
        let names: BTreeSet<&str> = heads.map(|words| words[1]).collect();
        pieces(b).iter().any(|piece| names.contains(piece))
    };
    let powered = |text: &str| text.contains("supply ") || text.contains("circuit ");
    !shares(one, other) && !shares(other, one) && powered(one) == powered(other)
}

/// The distance of a pair in the list, so that each display meets displays of all groups.
const STRIDE: usize = 11;

/// Whether a finding of one display hangs on what is not known of the other.
fn hangs_on(one: &Mistake, other: &Mistake) -> bool {
    let has = |mistake: &Mistake, start: &str| {
        mistake.found.iter().any(|(code, _)| code.starts_with(start))
    };
    let lines: Vec<&str> = other.text.lines().collect();
    // A prop that no wire names, or that can't be read, may hang on a controller that seems unused.
    let wired = |name: &str| {
        let mut wires = lines.iter().filter(|line| line.starts_with("wire"));
        wires.any(|wire| pieces(wire).contains(&name))
    };
    let names = declared(&other.text);
    let open = lines.iter().any(|line| {
        let name = line.strip_prefix("prop ").map(|rest| pieces(rest)[0]);
        name.is_some_and(|name| !names.contains(name) || !wired(name))
    });
    let lost = other.found.iter().any(|(code, line)| {
        code.starts_with("syntax/") && lines[*line as usize - 1].starts_with("prop")
    });
    let placed = has(other, "name/unknown") || has(other, "wire/picked");
    let unused = has(one, "name/unused") && (open || lost || placed);
    // A head without a name may be that of any prop.
    let nameless = has(one, "name/unknown") && other.name.ends_with("names-of-heads");
    // Both count the same universes.
    let counts = |mistake| {
        let codes = ["address/", "dmx/", "place/no-room"];
        codes.iter().any(|code| has(mistake, code))
    };
    let universes = counts(one) && counts(other);
    // What may go to any controller may find room on one of the other display.
    let roams = one.text.contains("wire any") && has(one, "place/no-room");
    let room = roams && lines.iter().any(|line| line.contains("ports"));
    unused || nameless || universes || room
}

#[test]
fn no_mistake_hides_another() {
    let all = mistakes();
    let mut codes: BTreeMap<&str, usize> = BTreeMap::new();
    let mut lost = String::new();
    let (mut pairs, mut faults) = (0, 0);
    for (index, one) in all.iter().enumerate() {
        for code in &one.found {
            *codes.entry(code.0).or_default() += 1;
        }
        for (at, other) in all.iter().enumerate() {
            let second = apart(&other.text);
            if index % STRIDE != at % STRIDE || index == at {
                continue;
            }
            if !strangers(&one.text, &second) || hangs_on(one, other) || hangs_on(other, one) {
                continue;
            }
            pairs += 1;
            let text = one.text.clone() + &second;
            let first = found(&text, 1, lines(&one.text));
            let second = found(&text, lines(&one.text) + 1, lines(&second));
            for (mistake, found) in [(one, first), (other, second)] {
                for missing in mistake.found.difference(&found) {
                    faults += 1;
                    lost.push_str(&format!(
                        "{} + {}: {missing:?} of {}\n",
                        one.name, other.name, mistake.name
                    ));
                }
            }
        }
    }
    assert_eq!(faults, 0, "{lost}");
    let displays = all.len();
    assert!(
        displays > 140 && codes.len() > 40 && pairs > 1000,
        "{displays} displays, {codes:?}, {pairs} pairs"
    );
}

/// An unknown setting of a controller hides nothing about ports, one of a prop nothing about feeds.
#[test]
fn what_failed_silences_only_what_hangs_on_it() {
    let text = "node bulb { chip ws2811; colour RGB; volts 12 V; draw 40 mA; pitch 50 mm; gauge 18 AWG }\n\
                controller hut { hots 10.4.1.9; ports 1..4 { volts 12 V; fuse 5 A } }\n\
                supply shelf { volts 12 V; rated 350 W }\n\
                power hut.1..2 from shelf through 0.5 m of 12 AWG fuse 5 A\n\
                prop vine { node bulb; string 40 nodes; hue 3 }\n\
                prop moss { node bulb; string 40 nodes }\n\
                prop fern { node bulb; string 40 nodes }\n\
                wire hut.1: vine\nwire hut.3: moss\nwire hut.9: fern\n";
    let expected = [
        ("power/unfed", 9),
        ("syntax/unknown-setting", 2),
        ("syntax/unknown-setting", 5),
        ("wire/no-port", 10),
    ];
    assert_eq!(found(text, 1, 20), BTreeSet::from(expected));
    // What may have been the ports does hide what is said of ports.
    let ports = text.replace("ports 1..4 {", "prots 1..4 {");
    let codes: BTreeSet<&str> = found(&ports, 1, 20).into_iter().map(|found| found.0).collect();
    assert_eq!(codes, BTreeSet::from(["syntax/unknown-setting"]));
    // So does a feed that does not resolve, for its ports alone.
    let feeds = text.replace("power hut.1..2 from shelf", "power hut.3 from shelv")
        + "prop rose { node bulb; string 40 nodes }\nwire hut.4: rose\n";
    let found = found(&feeds, 1, 20);
    assert!(
        found.contains(&("power/unfed", 12)) && !found.contains(&("power/unfed", 9)),
        "{found:?}"
    );
}
