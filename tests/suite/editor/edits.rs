//! After every edit, and whatever happens to files, the answers are those of a full compile.

use super::Texts;
use crate::check;
use crate::examples::EXAMPLES;
use tinsel::Compiled;
use tinsel::diagnostic::Diagnostic;
use tinsel::editor::desk::Desk;
use tinsel::model::{Line, Piece, PieceKind};

/// Numbers by lot (xorshift64, Marsaglia 2003), the same in every run.
struct Lot(u64);

impl Lot {
    fn below(&mut self, most: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % most.max(1) as u64) as usize
    }
}

/// A finding with its places as file, line and column, since offsets differ.
fn shown(compiled: &Compiled) -> Vec<String> {
    let one = |finding: &Diagnostic| {
        let labels = finding
            .labels
            .iter()
            .map(|label| format!("{:?} {}", compiled.sources.place(label.span), label.text));
        let labels: Vec<String> = labels.collect();
        let fixes = finding.fix.iter().chain(&finding.choices);
        let fixes = fixes
            .flat_map(|fix| &fix.edits)
            .map(|edit| format!("{:?} {}", compiled.sources.place(edit.span), edit.text));
        let fixes: Vec<String> = fixes.collect();
        format!(
            "{} {:?} {} {labels:?} {} {} {fixes:?}",
            finding.code, finding.severity, finding.message, finding.why, finding.help
        )
    };
    compiled.findings.iter().map(one).collect()
}

fn table(compiled: &Compiled) -> String {
    check::form(compiled, "json")
}

/// One thing that happens to a text.
fn change(lot: &mut Lot, text: &mut String, others: &[String]) {
    let mut at = lot.below(text.len() + 1);
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    let line = text[..at].rfind('\n').map_or(0, |at| at + 1);
    let end = text[line..].find('\n').map_or(text.len(), |end| line + end + 1);
    const TYPED: [&str; 12] = [
        "x",
        " ",
        "\n",
        "{",
        "}",
        "1",
        "-",
        "\"",
        "#",
        "é",
        "prop z { node bulb; string 5 nodes }\n",
        "; ",
    ];
    match lot.below(7) {
        0 | 1 => text.insert_str(at, TYPED[lot.below(TYPED.len())]),
        2 => {
            text.replace_range(line..end, "");
        }
        3 => {
            let own = text[line..end].to_owned();
            text.insert_str(line, &own);
        }
        4 => {
            let other = &others[lot.below(others.len())];
            let lines: Vec<&str> = other.lines().collect();
            let from = lot.below(lines.len().max(1));
            let some: String =
                lines.iter().skip(from).take(50).map(|one| format!("{one}\n")).collect();
            text.insert_str(line, &some);
        }
        5 => {
            if let Some(c) = text[at..].chars().next() {
                text.replace_range(at..at + c.len_utf8(), "");
            }
        }
        _ => {
            let digit = text[at..].find(|c: char| c.is_ascii_digit()).map(|found| at + found);
            if let Some(at) = digit {
                text.replace_range(at..=at, &lot.below(10).to_string());
            }
        }
    }
}

/// `EDITS` says how many; each starts again from the example when it has gone wrong for a while.
#[test]
fn answers_after_an_edit_are_those_of_a_full_compile() {
    let edits = std::env::var("EDITS").ok().and_then(|n| n.parse().ok()).unwrap_or(240_usize);
    let seed = std::env::var("EDITS_SEED").ok().and_then(|n| n.parse().ok()).unwrap_or(7);
    let mut lot = Lot(0x9e37_79b9_7f4a_7c15 ^ seed);
    for (main, ..) in EXAMPLES {
        let fresh = Texts::example(main);
        let originals: Vec<String> = fresh.texts.values().cloned().collect();
        let mut texts = fresh.clone();
        let mut desk = Desk::default();
        for step in 0..edits / EXAMPLES.len() {
            let names: Vec<String> = fresh.texts.keys().cloned().collect();
            let name = &names[lot.below(names.len())];
            match lot.below(12) {
                // A file goes, and comes back as it was; an edit is undone.
                0 if *name != texts.main => {
                    texts.texts.remove(name);
                }
                0..=3 => {
                    texts.texts.insert(name.clone(), fresh.texts[name].clone());
                }
                4 => texts.lock = if texts.lock.is_some() { None } else { fresh.lock.clone() },
                _ => {
                    if let Some(text) = texts.texts.get_mut(name) {
                        change(&mut lot, text, &originals);
                    }
                }
            }
            texts.on(&mut desk);
            let (now, full) = (desk.compiled().unwrap(), texts.compiled());
            let about = || {
                format!(
                    "{main}, step {step}, {name}:\n{}",
                    texts.texts.get(name).map_or("", |text| text)
                )
            };
            assert_eq!(hung(now), hung(&full), "{}", about());
            assert_eq!(shown(now), shown(&full), "{}", about());
            assert_eq!(now.blocks(), full.blocks(), "{}", about());
            assert_eq!(table(now), table(&full), "{}", about());
            if !full.blocks() {
                assert_eq!(now.next_lock(), full.next_lock(), "{}", about());
                let other = texts.desk();
                for name in texts.texts.keys() {
                    assert_eq!(desk.hints(name), other.hints(name), "{}", about());
                }
            }
        }
    }
}

/// A text that goes and comes back is read again, with a lock at its old offsets in between or not.
#[test]
fn a_text_that_was_gone_comes_back_whole() {
    let fresh = Texts::example("examples/veteran/yard.tinsel");
    for lock in [fresh.lock.clone(), None] {
        let mut texts = Texts { lock, ..fresh.clone() };
        let mut desk = texts.desk();
        let lane = texts.texts.remove("lane.tinsel").unwrap();
        texts.on(&mut desk);
        assert_eq!(shown(desk.compiled().unwrap()), shown(&texts.compiled()));
        texts.texts.insert("lane.tinsel".to_owned(), lane);
        texts.on(&mut desk);
        assert_eq!(shown(desk.compiled().unwrap()), shown(&texts.compiled()));
        assert_eq!(table(desk.compiled().unwrap()), table(&texts.compiled()));
    }
}

/// A controller whose text stays is read as in a full compile, though other texts change: chips
/// that a later setting of its ports replaces, words that become names, the order of chips and
/// circuits, `stock`, too many ports, many findings.
#[test]
fn controllers_that_stay_name_what_they_named() {
    let pier = "controller pier { host 10.0.0.7; ports 1..4 { chip slow }; ports 1..4 { chip ws2811 } }\n\
                controller dock { host 10.0.0.8; input e131 unicast; ports 1..2 { chip slow; nodes at most 90 } }\n\
                controller mole { host 10.0.0.9; universes after dock; ports 1..2 { chip ws2815 }; on lane }\n\
                controller quay { host 10.0.0.10; priority high; ports 1..2 { chip ws2811 }; port 1 { chip ws2801 } }\n";
    let crowd =
        |n| format!("controller crowd-{n} {{ host 10.0.1.{n}; ports 1..9999 {{ chip slow }} }}\n");
    let crowds: String = (1..=6).map(crowd).collect();
    let unknown = "prop none { node absent; string 1 nodes }\n".repeat(1_100);
    let main = "include \"pier.tinsel\"\nnode dot { chip ws2811; colour RGB }\nprop arch { node dot; string 50 nodes }\n";
    let added = [
        "",
        "# nothing\n",
        "chip slow { bit 2.5 us; latch 50 us }\n",
        "chip sl",
        "circuit lane { volts 120 V; breaker 15 A }\n",
        "let high = 120\n",
        "let high = 90\n",
        "let unicast = 3\n",
        "prop e131 { node dot; string 9 nodes }\n",
        "controller ",
        "chip",
        "chip ws2815 { like ws2811 }\n",
        "node first { chip ws2801; colour RGB }\n",
        "wire quay.1: arch\n",
        "display \"all\" { whole nodes }\n",
        "controller dock { host 10.0.0.11 }\n",
    ];
    let mut texts = Texts::one("");
    texts.texts.insert("pier.tinsel".to_owned(), pier.to_owned());
    let mut desk = Desk::default();
    for one in added {
        for two in added.into_iter().chain([&*crowds, &unknown]) {
            let stock = main.replacen("include", "stock", 1);
            for text in [main, &stock].map(|main| format!("{one}{main}{two}")) {
                texts.texts.insert("yard.tinsel".to_owned(), text);
                texts.on(&mut desk);
                let full = texts.compiled();
                let about = || format!("{one:.80}{two:.80}");
                assert_eq!(shown(desk.compiled().unwrap()), shown(&full), "{}", about());
                assert_eq!(table(desk.compiled().unwrap()), table(&full), "{}", about());
            }
        }
    }
}

/// What hangs where, without the places of words.
fn hung(compiled: &Compiled) -> Vec<String> {
    let model = &compiled.model;
    let piece = |piece: &Piece| match piece.kind {
        PieceKind::String(id, pin) => {
            format!("{} {:?}", model.name_of(id), pin.map(|pin| pin.place))
        }
        cable => format!("{cable:?}"),
    };
    let line = |line: &Line| {
        let own = &model.pieces[line.pieces.start as usize..line.pieces.end as usize];
        let pieces: Vec<String> = own.iter().map(piece).collect();
        format!("{:?} {} {pieces:?}", line.target, line.group)
    };
    model.lines.iter().map(line).collect()
}

/// A wire whose text stays hangs what a full compile hangs, though the things that it names change,
/// or other references to them.
#[test]
fn wires_that_stay_hang_what_they_hung() {
    let boxes = "controller pier { host 10.0.0.7; ports 1..6 { chip ws2811; nodes at most 600 } }\n\
                 controller mole { host 10.0.0.8; ports 1..2 { chip ws2811 }; dmx 1 }\n\
                 node dot { chip ws2811; colour RGB; volts 12 V }\nnode lamp { chip ws2811; colour GRB; volts 12 V }\n";
    let props = "prop arch { node dot; strings 3 of 50 nodes; enters \"left\" }\nprop bush { node dot; string 40 nodes }\n\
                 prop gate { node lamp; string 30 nodes; stands at 1 m, 2 m }\nprop star * 3 { node dot; string 20 nodes }\n\
                 prop hut { node dot; strings 1 of 9 strands of 10 nodes }\nprop post { node dot; string 8 nodes }\n\
                 prop vane { node dot; strings 3 of 5 nodes }\n";
    let wires = "wire pier.1: arch.1 -> lead 2 m -> bush\nwire pier.2: arch.2..3, skip 3 -> gate\n\
                 wire pier.3: star[2] -> star[1]\nwire pier.4: lead 1 m of 18 AWG -> hut\nwire mole.1: post at 9/1\n\
                 wire mole: star[3]\nwire mole.2: vane.1..part\n";
    let added = [
        "",
        "# nothing\n",
        "prop first { node dot; string 4 nodes }\n",
        "prop arch { node lamp; string 7 nodes }\n",
        "prop bush * 2 { node dot; string 7 nodes }\n",
        "prop pier { node dot; string 7 nodes }\n",
        "prop bush[1] { node dot }\n",
        "wire pier.5: arch.2\n",
        "wire pier.1: arch.3 -> post\n",
        "wire bush: pier.6\n",
        "controller berth { host 10.0.0.9; ports 1..2 { chip ws2811 } }\n",
        "controller pier { host 10.0.0.9; port 1 { chip ws2811 } }\n",
        "receiver reed { carries pier.1..2; ports 1..2 { volts 12 V; nodes at most 60 } }\n",
        "receiver bush { carries pier.3 }\n",
        "display \"all\" { lead of 20 AWG }\n",
        "display \"all\" { universes of 96 slots }\n",
        "let arch = 2\n",
        "let part = 2\n",
        "let part = 3\n",
        "node first { chip ws2801; colour RGB; volts 12 V }\n",
        "stored bush\n",
        "renamed shrub -> bush\n",
        "wire pier.6: bu",
        "prop ",
        "controller",
    ];
    let mut texts = Texts::one("");
    for (name, text) in [("boxes", boxes), ("props", props), ("wires", wires)] {
        texts.texts.insert(format!("{name}.tinsel"), text.to_owned());
    }
    let mut desk = Desk::default();
    for one in added {
        for two in added {
            let main = |how| {
                let files = format!("include \"boxes.tinsel\"\n{how} \"props.tinsel\"\n");
                format!("{one}{files}include \"wires.tinsel\"\n{two}")
            };
            for text in ["include", "stock"].map(main) {
                texts.texts.insert("yard.tinsel".to_owned(), text);
                texts.on(&mut desk);
                let full = texts.compiled();
                let about = || format!("{one}{two}");
                let now = desk.compiled().unwrap();
                assert_eq!(hung(now), hung(&full), "{}", about());
                assert_eq!(shown(now), shown(&full), "{}", about());
                assert_eq!(table(now), table(&full), "{}", about());
            }
        }
    }
}

/// What a wire hung on another port, or of another string, is not used again: on a controller that
/// is `like` a later one, and where a `split` is tried with more strings than it gets.
#[test]
fn wires_that_stay_do_not_hang_what_is_gone() {
    let node = "node dot { chip ws2811; colour RGB; volts 12 V }\n";
    let ports = |ports| format!("ports {ports} {{ chip ws2811; nodes at most 800 }}");
    let like = |own| format!("controller pier like quay {{ host 10.0.0.7; {} }}\n", ports(own));
    let alone = |own| format!("controller pier {{ host 10.0.0.7; {} }}\n", ports(own));
    let quay = format!("controller quay {{ host 10.0.0.9; {} }}\n", ports("1..2"));
    let cases = [
        (
            [like("1..4"), like("1..2")],
            quay.as_str(),
            "prop arch { node dot; strings 2 of 100 nodes }\n",
            "wire pier.1: arch.1\nwire pier.4: arch.2\n",
        ),
        (
            [alone("1..4"), alone("1..5")],
            "",
            "prop arch { node dot; strings 4 of 350 nodes }\nprop tall { node dot; split 3 strands of 50 nodes }\n\
             prop wide { node dot; split 24 strands of 50 nodes }\n",
            "wire pier.1: arch.1\nwire pier.2: arch.2\nwire pier.3: arch.3\nwire pier.4: arch.4 -> tall.3\n",
        ),
    ];
    let files = ["pier", "quay", "props", "wires"];
    let includes: String =
        files.iter().map(|name| format!("include \"{name}.tinsel\"\n")).collect();
    for (piers, quay, props, wires) in cases {
        let mut texts = Texts::one("");
        let mut desk = Desk::default();
        for end in ["", "# more\n", "prop last { node dot; string 5 nodes }\n", "prop", ""] {
            for pier in [&piers[0], &piers[1], &piers[0]] {
                for (name, text) in files.iter().zip([pier, quay, props, wires]) {
                    texts.texts.insert(format!("{name}.tinsel"), text.to_owned());
                }
                texts.texts.insert("yard.tinsel".to_owned(), format!("{node}{includes}{end}"));
                texts.on(&mut desk);
                let (now, full) = (desk.compiled().unwrap(), texts.compiled());
                let about = || format!("{pier}{quay}{props}{wires}{end}");
                assert_eq!(hung(now), hung(&full), "{}", about());
                assert_eq!(shown(now), shown(&full), "{}", about());
                assert_eq!(table(now), table(&full), "{}", about());
            }
        }
    }
}
