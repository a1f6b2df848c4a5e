//! A new name moves nothing.

use super::{Texts, places};
use crate::examples::EXAMPLES;
use std::collections::BTreeSet;
use tinsel::diagnostic::Severity;
use tinsel::editor::{names, rename};
use tinsel::resolve::uses::{Kind, Role, Use};

#[test]
fn a_rename_of_any_name_of_any_example_moves_nothing() {
    let (mut kinds, mut renames) = (BTreeSet::new(), 0);
    let mut shed = Texts::one(&format!(
        "{SHED}circuit house {{ volts 230 V; breaker 16 A }}\nsupply s {{ volts 12 V; rated 100 W; on house }}\n\
         power c.1..4 from s through 1 m of 12 AWG fuse 5 A\n"
    ));
    shed.lock = Some(shed.compiled().next_lock());
    let examples = EXAMPLES.map(|(main, ..)| (main, Texts::example(main)));
    for (main, texts) in examples.into_iter().chain([("shed", shed)]) {
        let desk = texts.desk();
        let before = texts.compiled();
        let declared = desk.uses().names.iter().filter(|one| one.role == Role::Declares);
        let mut own_kinds = BTreeSet::new();
        for (number, one) in declared.enumerate() {
            // Of the large display every third name, and one of each kind.
            if !own_kinds.insert(one.kind.word()) && main.contains("veteran") && number % 3 > 0 {
                continue;
            }
            let edits = rename::rename(&desk, one.at.start, "fresh-name")
                .unwrap_or_else(|why| panic!("{main}: {}: {why}", one.key));
            let mut uses = desk.uses().names.iter().filter(|other| other.is_same(one));
            let last = uses.next_back().unwrap().at;
            assert_eq!(rename::rename(&desk, last.end, "fresh-name").unwrap(), edits, "{main}");
            let mut after = texts.with(&desk, &edits);
            let compiled = after.compiled();
            let about = format!("{main}: {:?} {}", one.kind, one.key);
            assert_eq!(compiled.count(Severity::Error), 0, "{about}: {:?}", compiled.findings);
            assert_eq!(places(&compiled), places(&before), "{about}");
            let moves = compiled.plan.past.as_ref().map_or(0, |past| past.moves.len());
            assert_eq!(moves, 0, "{about}");
            // The build after it has nothing to do, and only the name differs in the display.
            after.lock = Some(compiled.next_lock());
            assert!(after.compiled().lock_stands(), "{about}");
            // Back again: every letter is what it was.
            after.lock.clone_from(&texts.lock);
            let back = after.desk();
            let mut uses = back.uses().names.iter();
            let is_new = |other: &&Use| *other.key == *"fresh-name" && other.role == Role::Declares;
            let renamed = uses.find(is_new).unwrap();
            let edits = rename::rename(&back, renamed.at.start, &one.key).unwrap();
            assert_eq!(after.with(&back, &edits).texts, texts.texts, "{about}");
            renames += 1;
        }
        kinds.extend(own_kinds);
    }
    let all: BTreeSet<&str> = [
        "prop",
        "node",
        "chip",
        "controller",
        "receiver",
        "let",
        "string",
        "run",
        "supply",
        "circuit",
    ]
    .into();
    let shown: Vec<&&str> = all.difference(&kinds).collect();
    assert!(shown.is_empty(), "no example has a {shown:?}");
    assert!(renames > 80, "{renames} renames");
}

const SHED: &str = "node n { chip ws2811; colour RGB }\ncontroller c { ports 1..4 { } }\n\
                    prop a { node n; string 30 nodes }\nprop b * 2 { node n; string 20 nodes }\n\
                    wire c.1: a\nwire c.2: b\n";

/// A chain of renames becomes one `renamed`; a rename back leaves none.
#[test]
fn renames_fold() {
    let mut texts = Texts::one(SHED);
    texts.lock = Some(texts.compiled().next_lock());
    let rename_to = |texts: &Texts, from: &str, to: &str| {
        let desk = texts.desk();
        let one =
            desk.uses().names.iter().find(|one| *one.key == *from && one.role == Role::Declares);
        let edits = rename::rename(&desk, one.unwrap().at.start, to).unwrap();
        texts.with(&desk, &edits)
    };
    let renamed = |texts: &Texts| -> Vec<String> {
        let text = texts.texts["yard.tinsel"].lines();
        text.filter(|line| line.starts_with("renamed")).map(str::to_owned).collect()
    };
    let once = rename_to(&texts, "a", "x");
    assert_eq!(renamed(&once), ["renamed a -> x"]);
    let twice = rename_to(&once, "x", "y");
    assert_eq!(renamed(&twice), ["renamed a -> y"]);
    assert_eq!(places(&twice.compiled()), places(&texts.compiled()));
    assert_eq!(renamed(&rename_to(&twice, "y", "a")), [""; 0]);
    // Once built, the name is the new one's.
    let mut built = once.clone();
    built.lock = Some(once.compiled().next_lock());
    let after = rename_to(&built, "x", "y");
    assert_eq!(renamed(&after), ["renamed x -> y"]);
    assert_eq!(places(&after.compiled()), places(&texts.compiled()));
    assert_eq!(after.compiled().plan.past.unwrap().moves.len(), 0);
    // What the lock does not hold needs none.
    let mut new = Texts::one(SHED);
    new.lock = None;
    assert_eq!(renamed(&rename_to(&new, "a", "x")), [""; 0]);
}

#[test]
fn a_name_that_does_not_work_is_refused() {
    let text = format!(
        "{SHED}receiver r {{ carries c.4..4 }}\nlet k = 3\nprop s {{ node n; string w: k nodes -> k nodes }}\nwire c.3: s.w\n"
    );
    let texts = Texts::one(&text);
    let desk = texts.desk();
    let one = |name: &str| {
        let mut all = desk.uses().names.iter();
        all.find(|one| *one.key == *name).unwrap().at.start
    };
    for (from, to, why) in [
        ("a", "b", "there is a prop `b` already"),
        ("a", "2x", "is no name"),
        ("a", "x-", "is no name"),
        ("a", "", "is no name"),
        ("c", "r", "there is a receiver `r` already"),
        ("c", "any", "every controller"),
        ("ws2811", "x", "not declared"),
    ] {
        let refused = rename::rename(&desk, one(from), to);
        assert!(refused.as_ref().is_err_and(|told| told.contains(why)), "{from} {to}: {refused:?}");
    }
    // Kinds do not share names.
    assert!(rename::rename(&desk, one("a"), "n").is_ok());
    let string = desk.uses().names.iter().find(|one| *one.key == *"w").unwrap();
    assert!(matches!(string.kind, Kind::String(_)));
    assert_eq!(names::references(&desk, string.at.start, true).len(), 2);
    assert_eq!(rename::rename(&desk, string.at.start, "eaves").unwrap().len(), 2);
}
