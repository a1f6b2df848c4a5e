//! Does what findings advise, and checks that the result is as they say.

use crate::check::{self, codes, told};
use std::collections::BTreeMap;
use tinsel::Compiled;
use tinsel::diagnostic::{Diagnostic, Edit};

fn compile(text: &str, lock: Option<&str>) -> Compiled {
    let lock = lock.map(|lock| (check::LOCK, lock.as_bytes()));
    check::beside(check::NAME, &[(check::NAME, text)], lock)
}

fn of<'c>(compiled: &'c Compiled, code: &str) -> Vec<&'c Diagnostic> {
    let findings = compiled.findings.iter();
    findings.filter(|finding| finding.code == code).collect()
}

/// The text with some edits made.
fn with(text: &str, edits: &[Edit]) -> String {
    let mut edits = edits.to_vec();
    edits.sort_by_key(|edit| std::cmp::Reverse(edit.span.start));
    let mut text = text.to_owned();
    for edit in &edits {
        text.replace_range(edit.span.start as usize..edit.span.end as usize, &edit.text);
    }
    text
}

/// Where each string begins, and its port with its place there.
fn places(compiled: &Compiled) -> BTreeMap<String, (u64, u32, u32)> {
    let rows = compiled.plan.placed.iter().enumerate();
    rows.filter_map(|(index, placed)| {
        let placed = placed.as_ref()?;
        let port = &compiled.plan.ports.as_slice()[placed.port as usize];
        let name = compiled.model.name_of(index.into());
        let port = port.controller.index() as u32 * 1000
            + match port.output {
                tinsel::model::Output::Pixel(number) => number,
                tinsel::model::Output::Dmx(number) => 500 + number,
            };
        Some((name, (placed.start, port, placed.position)))
    })
    .collect()
}

/// Lines with something stored before others; all are built with everything up first.
const STORED: [&str; 6] = [
    "controller mill { universes from 2; ports 1..3 { } }\n\
     prop reed { node dot; string 50 nodes }\nprop rush { node dot; string 30 nodes }\nprop fern { node dot; string 20 nodes }\n\
     wire mill.1: reed -> lead 2 m -> rush -> lead 1 m -> fern\nstored rush\n",
    "controller mill { universes from 2; addressing consecutive; ports 1..4 { } }\n\
     prop reed * 5 { node dot; string 50 nodes }\nprop fern { node dot; string 20 nodes }\n\
     wire mill.1: reed[1] -> reed[2] -> reed[3]\nwire mill.3: reed[4..5] -> fern\nstored reed[1], reed[4]\n",
    "controller mill { universes 2..3; whole nodes; ports 1..2 { nodes at most 400 } }\n\
     prop reed { node dot; string 150 nodes }\nprop rush * 2 { node dot; string 40 nodes }\nprop fern { node dot; string 20 nodes }\n\
     wire mill.1: reed -> rush[1] -> rush[2]\nwire mill.2: fern\nstored rush[1]\n",
    "controller kiln { universes from 9; ports 1..2 { } }\ncontroller mill like kiln { universes from 2 }\n\
     prop reed * 3 { node dot; string 50 nodes }\nwire kiln.1: reed[1] -> reed[2]\nwire mill.2: reed[3]\nstored reed[1]\n",
    "controller mill { universes from 2; ports 1..4 { volts 12 V } }\n\
     supply shed { volts 12 V; rated 350 W }\npower mill.1..2 from shed through 1 m of 14 AWG fuse 5 A\n\
     node bulb like dot { volts 12 V; draw 40 mA; pitch 75 mm; gauge 18 AWG }\n\
     prop reed * 3 { node bulb; string 20 nodes }\nwire mill.1: reed[1] -> reed[2] -> reed[3]\nstored reed[2]\n",
    "controller mill { universes from 2; ports 1..1 { } }\nreceiver bank { carries mill.1; ports 1..1 { } }\n\
     prop reed * 3 { node dot; string 50 nodes }\nwire bank.1: reed[1] -> reed[2] -> reed[3]\nstored reed[2]\n",
];

const MAKES: &str = "node dot { chip ws2811; colour RGB }\n";

/// Strings that are up and lie elsewhere than where they were built.
fn moved(before: &Compiled, after: &Compiled) -> usize {
    let (old, new) = (places(before), places(after));
    let strings = after.model.strings.iter().enumerate();
    let up = strings.filter(|(_, string)| !string.stored);
    up.filter(|(index, _)| {
        let name = after.model.name_of((*index).into());
        old[&name].0 != new[&name].0
    })
    .count()
}

/// Each choice of a finding leaves as many moves as it says, and makes no new finding.
#[test]
fn a_way_that_moves_fewer_moves_fewer() {
    let mut tried = 0;
    for lines in STORED {
        let text = MAKES.to_owned() + lines;
        let up = text[..text.rfind("stored").unwrap()].to_owned();
        let built = compile(&up, None);
        assert!(!built.has_errors(), "{}", told(&built));
        let lock = built.next_lock();
        let asked = compile(&text, Some(&lock));
        let found = of(&asked, "stored/mid-chain");
        assert!(!asked.has_errors(), "{text}{}", told(&asked));
        let moves = moved(&built, &asked);
        assert_eq!(found.is_empty(), moves == 0, "{text}{}", told(&asked));
        let said: usize = found
            .iter()
            .map(|finding| {
                let words: Vec<&str> = finding.message.split(' ').collect();
                let at = words.iter().position(|word| word.starts_with("string")).unwrap();
                words[at - 1].parse::<usize>().unwrap()
            })
            .sum();
        assert_eq!(said, moves, "{text}{}", told(&asked));
        for finding in &found {
            for choice in &finding.choices {
                tried += 1;
                let edited = with(&text, &choice.edits);
                let after = compile(&edited, Some(&lock));
                let left = moved(&built, &after);
                let words = match left {
                    0 => "then none moves".to_owned(),
                    1 => "then 1 moves".to_owned(),
                    left => format!("then {left} move"),
                };
                let said = format!("{}: {words}", choice.title);
                assert!(finding.help.contains(&said), "{edited}{}\n{}", told(&after), finding.help);
                assert!(left < moves, "{edited}{}", told(&after));
                let known = ["lock/moved", "stored/mid-chain"];
                let new = codes(&after.findings);
                assert!(new.iter().all(|code| known.contains(code)), "{edited}{}", told(&after));
            }
        }
        // Built as it stands, nothing moves any more and nothing is reported.
        let again = compile(&text, Some(&asked.next_lock()));
        assert_eq!(codes(&again.findings), [""; 0], "{text}{}", told(&again));
    }
    assert!(tried >= 6, "{tried} ways");
}

/// What hangs after a stored string gets its data; the stored string keeps its slots at the end.
#[test]
fn an_unbroken_line_closes_up() {
    let compiled = compile(&(MAKES.to_owned() + STORED[0]), None);
    let at = |name: &str| places(&compiled)[name].0 - 512;
    assert_eq!([at("reed"), at("fern"), at("rush")], [0, 150, 210]);
    let per_prop = STORED[0].replace("ports", "addressing per prop; ports");
    let compiled = compile(&(MAKES.to_owned() + &per_prop), None);
    assert_eq!(codes(&compiled.findings), [""; 0]);
    assert_eq!(places(&compiled)["fern"].0, 512 + 240);
}

/// Displays with strings that no wire names, some of them on receivers' ports.
const PICKED: [&str; 4] = [
    "controller hut { universes from 1; ports 1..4 { nodes at most 300 } }\n\
     receiver brook { carries hut.3..4; ports 1..2 { } }\n\
     prop ash { node dot; string 300 nodes }\nprop elm { node dot; string 300 nodes }\n\
     prop oak * 4 { node dot; string 90 nodes }\nwire hut.1: ash\nwire hut.2: elm\nwire brook.1: oak[1]\n",
    "controller hut { universes from 1; ports 1..2 { nodes at most 100 } }\n\
     receiver brook { carries hut.1..2; ports 1..2 { } }\nreceiver marsh { carries hut.2; ports 1..1 { } }\n\
     prop ash { node dot; string 100 nodes }\nprop elm { node dot; string 100 nodes }\n",
    "controller hut { universes from 1; ports 1..4 { }; dmx 1 }\nprop lamp * 2 { slots 5 }\n\
     prop elm { node dot; strings 2 of 100 nodes }\n",
    "controller hut { universes from 1; ports 1..2 { nodes at most 200 } }\n\
     receiver brook { carries hut.2; ports 1..1 { } }\n\
     prop ash { node dot; string 150 nodes }\nprop elm { node dot; string 180 nodes }\n",
];

/// The wire that advice names is written, all of them: no string changes its port or address.
#[test]
fn a_wire_that_is_advised_moves_nothing() {
    for lines in PICKED {
        let text = MAKES.to_owned() + lines;
        let before = compile(&text, None);
        let found = of(&before, "wire/picked");
        assert!(!found.is_empty(), "{}", told(&before));
        let advised: Vec<&str> =
            found.iter().map(|finding| finding.help.split('`').nth(1).unwrap()).collect();
        let mut wired = text.clone();
        for wire in advised {
            wired.push_str(wire);
            wired.push('\n');
        }
        let after = compile(&wired, None);
        assert!(!after.has_errors(), "{wired}{}", told(&after));
        assert_eq!(places(&after), places(&before), "{wired}{}", told(&after));
        let mut left = codes(&before.findings);
        left.retain(|code| *code != "wire/picked");
        assert_eq!(codes(&after.findings), left, "{wired}{}", told(&after));
    }
}

/// A free port is offered for what follows a stored string only where the display stays right.
#[test]
fn a_free_port_that_does_not_suit_is_not_offered() {
    let yard = |second: &str| {
        format!(
            "node dot {{ chip ws2811; colour RGB }}\n\
             controller mill {{ universes from 2; port 1 {{ }}; port 2 {second} }}\n\
             prop reed * 3 {{ node dot; string 20 nodes }}\n\
             wire mill.1: reed[1] -> reed[2] -> reed[3]\nstored reed[2]\n"
        )
    };
    for (second, offered) in
        [("{ }", true), ("{ chip ws2801 }", false), ("{ nodes at most 5 }", false)]
    {
        let said = check::terminal(&check::one(&yard(second)));
        let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(
            said.contains("stored/mid-chain") && said.contains("addressing per prop"),
            "{said}"
        );
        assert_eq!(said.contains("free port `mill.2`"), offered, "{second}: {said}");
    }
}
