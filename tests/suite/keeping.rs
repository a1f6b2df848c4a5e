//! What the lock keeps: properties over displays and edits, checked against slow second deciders.
//!
//! `edits` draws series of edits on large displays; `least` and `plugs` decide small ones slowly.

pub mod edits;
mod least;
mod plugs;

use crate::check;
use crate::random::{build, spec};
use edits::{Lot, Yard};
use proptest::prelude::*;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use std::collections::BTreeMap;
use tinsel::diff::remap;
use tinsel::grid::{Body, Grid};
use tinsel::lock::{Lock, LockRow};
use tinsel::model::StringId;
use tinsel::source::{Files, Memory};
use tinsel::{Compiled, compile_around};

/// Compiles one text around a lock.
pub fn around(text: &str, lock: &Lock) -> Compiled {
    let files = Memory::default().with(check::NAME, text);
    let main = files.load("", check::NAME).unwrap();
    compile_around(&files, main, Some(lock))
}

/// The lock that a display makes.
pub fn lock_of(compiled: &Compiled) -> Lock {
    let mut lock = Lock::of(&compiled.model, &compiled.plan);
    for row in &mut lock.rows {
        row.at = tinsel::source::Span::default();
    }
    lock
}

/// The rows that two locks have by one name at another place.
pub fn moved<'a>(before: &'a Lock, now: &Lock) -> Vec<&'a LockRow> {
    let elsewhere =
        |row: &&LockRow| now.row(&row.name).is_some_and(|other| other.start != row.start);
    before.rows.iter().filter(elsewhere).collect()
}

fn slots(rows: &[&LockRow]) -> u64 {
    rows.iter().map(|row| row.slots).sum()
}

#[test]
fn a_display_around_its_own_lock_is_the_same() {
    let config = Config { cases: 192, failure_persistence: None, ..Config::default() };
    let rng = TestRng::from_seed(RngAlgorithm::ChaCha, &[9; 32]);
    let mut runner = TestRunner::new_with_rng(config, rng);
    let compared = std::cell::Cell::new(0_usize);
    let outcome = runner.run(&spec(), |spec| {
        let text = build(&spec).source();
        let fresh = check::one(&text);
        if fresh.has_errors() {
            return Ok(());
        }
        let again = around(&text, &lock_of(&fresh));
        prop_assert_eq!(lock_of(&again), lock_of(&fresh), "\n--- the display ---\n{}", text);
        prop_assert_eq!(check::told(&again), check::told(&fresh), "\n{}", text);
        compared.set(compared.get() + 1);
        Ok(())
    });
    if let Err(failure) = outcome {
        panic!("{failure}");
    }
    assert!(compared.get() > 80, "only {} compared", compared.get());
}

/// `universes after` a controller without strings of its own: the next build changes nothing, and
/// once that controller has some, the one that comes after it makes room.
#[test]
fn what_comes_after_an_empty_controller_stays() {
    let dot = "node dot { colour RGB }\n";
    let boxes = "controller near { universes from 5; ports 1..2 { } }\n\
                 controller far { universes after near; align port; ports 1..2 { } }\n";
    let props = "prop ant { node dot; string 200 nodes }\nprop bee { node dot; string 30 nodes }\n\
                 wire far.1: ant\nwire far.2: bee\n";
    for more in ["", "prop cow { same as ant }\nwire near.1: cow\n"] {
        let text = format!("{dot}{boxes}{props}{more}");
        let lock = lock_of(&check::one(&text));
        assert_eq!(lock.row("ant").unwrap().start, 4 * 512, "{more}");
        let again = around(&text, &lock);
        assert_eq!(lock_of(&again), lock, "{}", check::told(&again));
        let text = format!("{text}prop doe {{ node dot; string 9 nodes }}\nwire near.2: doe\n");
        let lock = lock_of(&around(&text, &lock));
        assert_eq!(lock.row("doe").unwrap().start, 4 * 512, "{more}");
        assert_eq!(lock_of(&around(&text, &lock)), lock, "{more}");
    }
}

/// A string that the compiler put after wired ones keeps its port and place if one of them is
/// stored.
#[test]
fn what_was_picked_stays_beside_a_stored_string() {
    let text = "node dot { colour RGB }\ncontroller box { ports 1..4 { } }\n\
                prop bee { node dot; string 5 nodes }\nprop doe { node dot; string 75 nodes }\n\
                prop ant { node dot; string 75 nodes }\nwire box.1: bee -> doe\n";
    let lock = lock_of(&check::one(text));
    assert_eq!(lock.row("ant").unwrap().output, tinsel::model::Output::Pixel(1));
    let next = lock_of(&around(&format!("{text}stored bee\n"), &lock));
    for name in ["ant", "doe"] {
        assert_eq!(next.row(name), lock.row(name));
    }
    assert_eq!(next.row("bee").unwrap().start, 465);
}

/// Props whose ports the compiler picks: whatever is added, old strings keep port and slots.
#[test]
fn nothing_is_plugged_in_elsewhere() {
    let mut lot = Lot::new(23);
    let mut props: Vec<(usize, u64)> = (0..20).map(|at| (at, 20 + lot.below(200))).collect();
    let text = |props: &[(usize, u64)]| {
        let mut text = "node dot { chip ws2811; colour RGB }\n\
                        controller pier { universes from 1; ports 1..24 { chip ws2811; nodes at most 600 } }\n\
                        controller quay { universes from 400; ports 1..24 { chip ws2811; nodes at most 600 } }\n"
            .to_owned();
        for (name, nodes) in props {
            let target = ["any", "pier", "quay"][name % 3];
            text.push_str(&format!(
                "prop p{name} {{ node dot; string {nodes} nodes }}\nwire {target}: p{name}\n"
            ));
        }
        text
    };
    let mut lock = lock_of(&check::one(&text(&props)));
    for round in 20..40 {
        let removed = lot.below(3) == 0;
        if removed {
            let gone = lot.below(props.len() as u64) as usize;
            props.remove(gone);
        }
        // Anywhere in the file.
        let place = lot.below(props.len() as u64 + 1) as usize;
        props.insert(place, (round, 20 + lot.below(200)));
        let compiled = around(&text(&props), &lock);
        assert!(!compiled.has_errors(), "{}", check::told(&compiled));
        let next = lock_of(&compiled);
        for row in &lock.rows {
            if let Some(now) = next.row(&row.name) {
                assert_eq!((&now.controller, now.output), (&row.controller, row.output));
                // On an unbroken port, what hung after a string that is gone moves up.
                assert!(removed || now == row, "p{round} was added: {row:?}, {now:?}");
            }
        }
        assert_eq!(lock_of(&around(&text(&props), &next)), next);
        lock = next;
    }
}

#[test]
fn every_example_around_its_own_lock_is_the_same() {
    for (main, ..) in crate::examples::EXAMPLES {
        let compiled = crate::examples::compiled(main);
        let lock = lock_of(&compiled);
        let texts = crate::examples::texts(main);
        let files =
            texts.iter().fold(Memory::default(), |files, (name, text)| files.with(name, text));
        let loaded = files.load("", &texts[0].0).unwrap();
        let again = compile_around(&files, loaded, Some(&lock));
        assert_eq!(lock_of(&again), lock, "{main}");
    }
}

/// A series of edits on a display of 300 props. After each: the same input gives the same bytes,
/// nothing clashes, and no string moved that the least could have kept.
fn series(spare: u32) -> (u64, u64, usize) {
    let mut lot = Lot::new(u64::from(spare) + 5);
    let mut yard = Yard::new(300, spare);
    let mut lock = lock_of(&check::one(&yard.text()));
    let (mut moved_slots, mut fresh_slots, mut edits) = (0, 0, 0);
    while edits < 200 {
        let before = yard.clone();
        let what = yard.edit(&mut lot);
        let text = yard.text();
        let compiled = around(&text, &lock);
        if compiled.has_errors() {
            // A port that is too full, or a controller without a free port, can't be built.
            yard = before;
            continue;
        }
        let next = lock_of(&compiled);
        assert_eq!(lock_of(&around(&text, &lock)), next, "the same input twice: {what}");
        let told: usize = compiled.plan.past.as_ref().unwrap().moves.len();
        let gone = moved(&lock, &next);
        let bound = yard.bound(&lock);
        assert!(
            slots(&gone) <= bound,
            "{what}: {} slots moved, {bound} would do: {gone:?}",
            slots(&gone)
        );
        assert_eq!(told, gone.len(), "{what}: each move is told");
        moved_slots += slots(&gone);
        fresh_slots += slots(&moved(&lock, &lock_of(&check::one(&text))));
        lock = next;
        edits += 1;
    }
    (moved_slots, fresh_slots, edits)
}

#[test]
#[allow(clippy::print_stdout, reason = "the figures are what is measured")]
fn two_hundred_edits_move_little() {
    let (kept, fresh, edits) = series(0);
    let each = |slots: u64| slots as f64 / edits as f64;
    println!(
        "moved slots an edit: {:.1} around the lock, {:.1} laid out afresh ({:.0} times fewer)",
        each(kept),
        each(fresh),
        fresh as f64 / kept.max(1) as f64
    );
    assert!(kept * 20 <= fresh, "{kept} and {fresh} slots");
}

#[test]
#[allow(clippy::print_stdout, reason = "the figures are what is measured")]
fn two_hundred_edits_with_spare_room_move_nothing() {
    let (kept, fresh, edits) = series(30);
    println!("with spare room: {kept} slots moved in {edits} edits, {fresh} laid out afresh");
    assert_eq!(kept, 0);
}

#[test]
fn the_least_moves_on_small_displays() {
    let mut lot = Lot::new(77);
    let mut answered = 0;
    for _ in 0..400 {
        let case = least::Case::draw(&mut lot);
        let compiled = around(&case.text(), &case.lock());
        if compiled.has_errors() {
            assert_eq!(case.least(), None, "\n{}\n{}", check::told(&compiled), case.text());
            continue;
        }
        let gone = slots(&moved(&case.lock(), &lock_of(&compiled)));
        let least = case.least();
        assert_eq!(Some(gone), least, "\n{}\n{:#?}", case.text(), case.lock().rows);
        assert_eq!(compiled.plan.past.as_ref().unwrap().off, None);
        answered += usize::from(gone > 0);
    }
    assert!(answered > 60, "only {answered} of them have to move something");
}

/// Frames of random bytes through the remap: each node of an old string has its bytes.
#[test]
fn the_remap_takes_every_node_along() {
    let mut lot = Lot::new(11);
    let mut yard = Yard::new(60, 0);
    let mut lock = lock_of(&check::one(&yard.text()));
    let mut moves = 0;
    for _ in 0..40 {
        let before = (yard.clone(), check::one(&yard.text()));
        yard.edit(&mut lot);
        let compiled = around(&yard.text(), &lock);
        if compiled.has_errors() {
            yard = before.0;
            continue;
        }
        let past = compiled.plan.past.as_ref().unwrap();
        let (runs, lost) = remap::runs(&compiled.model, &compiled.plan, past, &lock);
        assert_eq!(lost, []);
        let mut old = BTreeMap::new();
        let mut new = BTreeMap::new();
        for run in &runs {
            for at in 0..run.count {
                let byte = old.entry(run.from + at).or_insert_with(|| lot.below(256));
                assert_eq!(new.insert(run.to + at, *byte), None, "two bytes for one slot");
            }
        }
        for at in 0..compiled.model.strings.len() {
            let id = StringId::from(at);
            let (Some(was), Some(placed)) = (past.of(id), compiled.plan.of(id)) else {
                continue;
            };
            let each = u64::from(compiled.model.node_of(id).unwrap().slots);
            let count = (was.slots / each).min((placed.end + 1 - placed.start) / each);
            for slot in 0..count * each {
                assert_eq!(
                    new.get(&(placed.start + slot)),
                    old.get(&(was.start + slot)),
                    "{} slot {slot}",
                    compiled.model.name_of(id)
                );
                assert!(old.contains_key(&(was.start + slot)));
            }
        }
        moves += past.moves.len();
        lock = lock_of(&compiled);
    }
    assert!(moves > 5, "only {moves} strings moved");
}

/// The same over whole nodes, whose padding is in no row: slot by slot of each node.
#[test]
fn the_remap_leaves_padding_out() {
    let text = |extra: &str| {
        format!(
            "display \"\" {{ whole nodes }}\nnode dot {{ chip ws2811; colour RGB }}\n\
             controller pier {{ ports 1..4 {{ chip ws2811 }} }}\nprop arch * 3 {{ node dot; string 200 nodes }}\n\
             wire pier.1: {extra} -> arch[2]\nwire pier.2: arch[3]\n"
        )
    };
    let before = check::one(&text("arch[1]"));
    let star = "star -> arch[1]";
    let after = text(star) + "prop star { node dot; string 9 nodes }\n";
    let compiled = around(&after, &lock_of(&before));
    let past = compiled.plan.past.as_ref().unwrap();
    let (runs, _) = remap::runs(&compiled.model, &compiled.plan, past, &lock_of(&before));
    let to = |from: u64| {
        let run = runs.iter().find(|run| (run.from..run.from + run.count).contains(&from))?;
        Some(run.to + (from - run.from))
    };
    let grid = Grid::new(tinsel::protocol::UniverseSlots::ALL, true);
    let mut nodes = 0;
    for at in 0..compiled.model.strings.len() {
        let id = StringId::from(at);
        let (Some(was), Some(placed)) = (past.of(id), compiled.plan.of(id)) else {
            continue;
        };
        let body = Body::of(&compiled.model, id).unwrap();
        let old = grid.segments(was.start, body).flatten();
        let new = grid.segments(placed.start, body).flatten();
        for (from, now) in old.zip(new) {
            assert_eq!(to(from), Some(now));
            nodes += 1;
        }
    }
    assert_eq!(nodes, 3 * 600);
    // Slots 511 and 512 of a universe hold no node.
    assert_eq!(to(510), None);
}

/// A controller's declared universes are not given to a new one, even while they are empty.
#[test]
fn a_new_controller_stays_out_of_declared_universes() {
    const YARD: &str = "node dot { chip ws2811; colour RGB }\n\
                        controller pier { universes 1..3; ports 1..4 { } }\n\
                        controller quay { ports 1..4 { } }\n\
                        prop arch { node dot; string 50 nodes }\n\
                        prop heron { node dot; string 50 nodes }\n\
                        wire pier.1: arch\nwire quay.1: heron\n";
    let before = lock_of(&check::one(YARD));
    let new = "controller hut { universes from 1; ports 1..2 { } }\n\
               prop owl { node dot; string 20 nodes }\nwire hut.1: owl\n";
    let compiled = around(&format!("{new}{YARD}"), &before);
    assert!(!compiled.blocks(), "{}", check::told(&compiled));
    let now = lock_of(&compiled);
    assert!(moved(&before, &now).is_empty());
    // 1 to 3 are the pier's, 4 is the quay's.
    assert_eq!(now.row("owl").unwrap().start, 4 * 512);
}

/// A display with an inventory beside it, its lines as given.
fn with_stock(lines: &str, lock: Option<&Lock>) -> Compiled {
    let text = format!(
        "node dot {{ chip ws2811; colour RGB; volts 12 V }}\ncontroller shed {{ ports 1..9 {{ }} }}\n\
         stock \"inventory.tinsel\"\nprop reed {{ node dot; string 3 nodes }}\n{lines}"
    );
    let inventory = "prop arch { node dot; string 3 nodes }\nprop hoop * 4 { node dot; string 2 nodes }\n\
                     prop tree { node dot; strings 3 of 5 nodes }\nprop par { slots 6 }\n";
    let files = Memory::default().with(check::NAME, &text).with("inventory.tinsel", inventory);
    let main = files.load("", check::NAME).unwrap();
    compile_around(&files, main, lock)
}

fn names(lock: &Lock) -> Vec<&str> {
    lock.rows.iter().map(|row| &*row.name).collect()
}

#[test]
fn what_is_stored_from_stock_keeps_its_addresses() {
    let before =
        "wire shed.1: arch\nwire shed.2: reed\nwire shed.3: hoop[1]\nwire shed.4: tree.2\n";
    let lock = lock_of(&with_stock(before, None));
    assert_eq!(names(&lock), ["arch", "hoop[1]", "reed", "tree.2"]);
    let now = "stored arch, hoop[1], tree.2\nwire shed.2: reed\n\
               prop new { node dot; string 3 nodes }\nwire shed.5: new\n";
    let compiled = with_stock(now, Some(&lock));
    assert!(!compiled.has_errors(), "{}", check::told(&compiled));
    let after = lock_of(&compiled);
    // No string of the inventory comes along that nothing names.
    assert_eq!(names(&after), ["arch", "hoop[1]", "new", "reed", "tree.2"]);
    for row in &lock.rows {
        let now = after.row(&row.name).unwrap();
        assert_eq!((now.output, now.start), (row.output, row.start));
    }
    let past = compiled.plan.past.as_ref().unwrap();
    assert!(past.freed.is_empty() && past.moves.is_empty());
}

#[test]
fn what_is_stored_from_stock_takes_slots_when_laid_out_fresh() {
    let lines = "wire shed.2: reed\nstored hoop[3]\n";
    let compiled = with_stock(lines, None);
    let lock = lock_of(&compiled);
    assert_eq!(names(&lock), ["hoop[3]", "reed"]);
    assert_eq!(lock.row("hoop[3]").unwrap().slots, 6);
    // As when only that string were declared.
    assert_eq!(check::codes(&compiled.findings), ["wire/picked"]);
    // Of a wire and `stored` the wire says where.
    let both = with_stock(&format!("wire shed.7: hoop[3]\n{lines}"), None);
    assert!(both.findings.is_empty(), "{}", check::told(&both));
    assert_eq!(names(&lock_of(&both)), ["hoop[3]", "reed"]);
    // A whole prop by its name.
    let all = lock_of(&with_stock(&format!("{lines}stored hoop\n"), None));
    assert_eq!(names(&all), ["hoop[1]", "hoop[2]", "hoop[3]", "hoop[4]", "reed"]);
}

#[test]
fn what_is_no_more_named_from_stock_is_freed() {
    let lines = "wire shed.1: arch -> hoop[1]\nwire shed.2: reed\n";
    let lock = lock_of(&with_stock(lines, None));
    let compiled = with_stock("wire shed.2: reed\n", Some(&lock));
    assert!(compiled.findings.is_empty(), "{}", check::told(&compiled));
    let past = compiled.plan.past.as_ref().unwrap();
    let freed: Vec<&str> = past.freed.iter().map(|row| &*row.name).collect();
    assert_eq!(freed, ["arch", "hoop[1]"]);
    assert_eq!(names(&lock_of(&compiled)), ["reed"]);
}

/// How many small displays are tried; `KEEPING_CASES` says another number.
const FEW_CASES: usize = 150;

#[test]
#[allow(clippy::print_stdout, reason = "the figures are what is measured")]
fn the_fewest_plugs_and_then_the_fewest_slots_move() {
    let count = std::env::var("KEEPING_CASES").ok();
    let count = count.and_then(|count| count.parse().ok()).unwrap_or(FEW_CASES);
    let mut lot = Lot::new(4);
    let (mut compared, mut plugged, mut shifted) = (0, 0, 0);
    let mut wrong = Vec::new();
    while compared < count {
        let mut case = plugs::Case::draw(&mut lot);
        // What has no room is another matter.
        if case.least(&Lock::default()).is_none() {
            continue;
        }
        let before = check::one(&case.text());
        if before.has_errors() {
            continue;
        }
        let lock = lock_of(&before);
        let old = case.text();
        let what = case.edit(&mut lot);
        let Some(least) = case.least(&lock) else {
            continue;
        };
        compared += 1;
        let compiled = around(&case.text(), &lock);
        let now = case.moved(&lock, &lock_of(&compiled));
        let off = compiled.plan.past.as_ref().and_then(|past| past.off);
        plugged += usize::from(least.0 > 0);
        shifted += usize::from(least.1 > 0);
        if compiled.has_errors() || now != least || off.is_some() {
            wrong.push(format!(
                "{what}: {now:?} for {least:?}, off {off:?}\n{}--- before\n{old}--- now\n{}{}",
                lock.rows
                    .iter()
                    .map(|row| format!(
                        "# {} {} {:?} {} {}\n",
                        row.name, row.controller, row.output, row.start, row.slots
                    ))
                    .collect::<String>(),
                case.text(),
                check::told(&compiled)
            ));
        }
    }
    println!("{compared} displays: {plugged} change a port, {shifted} move slots");
    assert!(plugged * 20 > count && shifted * 20 > count);
    assert!(wrong.is_empty(), "{} of {compared} wrong\n{}", wrong.len(), wrong.join("\n====\n"));
}

/// A lock of rows: name, port of `pier`, first slot of universe 1, nodes of three slots.
fn rows(rows: &[(&str, u32, u64, u64)]) -> Lock {
    let row = |(name, port, slot, nodes): &(&str, u32, u64, u64)| LockRow {
        name: (*name).into(),
        controller: "pier".into(),
        output: tinsel::model::Output::Pixel(*port),
        start: slot - 1,
        slots: 3 * nodes,
        made: None,
        stored: false,
        moved: None,
        at: tinsel::source::Span::default(),
    };
    let mut rows: Vec<LockRow> = rows.iter().map(row).collect();
    rows.sort_by(|a, b| a.name.cmp(&b.name));
    Lock {
        renamed: Vec::new(),
        display: "".into(),
        universe_slots: tinsel::protocol::UniverseSlots::default(),
        boxes: Vec::new(),
        rows,
    }
}

/// What was picked before may hang before or between strings of a wire on the same port.
#[test]
fn what_was_picked_hangs_anywhere_on_a_port() {
    let yard = |ports: u32, props: &[(&str, u64)], wires: &str| {
        let props: String = props
            .iter()
            .map(|(name, nodes)| format!("prop {name} {{ node dot; string {nodes} nodes }}\n"))
            .collect();
        format!(
            "node dot {{ chip ws2811; colour RGB }}\n\
             controller pier {{ universes from 1; ports 1..{ports} {{ nodes at most 130 }} }}\n{props}{wires}"
        )
    };
    let three = [("bell", 8), ("crown", 14), ("wreath", 30)];
    // Between: `crown` is wired to the port on which the others hang, before both.
    let lock = rows(&[("crown", 1, 1, 14), ("bell", 2, 43, 8), ("wreath", 2, 67, 30)]);
    let text = yard(2, &three, "wire pier: bell\nwire pier: wreath\nwire pier.2: crown\n");
    assert!(moved(&lock, &lock_of(&around(&text, &lock))).is_empty());
    // Before: port 1 is broken, so what hung there moves to port 2.
    let lock = rows(&[("bell", 1, 1, 8), ("wreath", 1, 25, 30), ("crown", 2, 115, 14)]);
    let text = yard(
        2,
        &three,
        "wire any: bell\nwire pier.2: crown\nwire pier: wreath\nreserve pier.1 \"broken\"\n",
    );
    assert!(moved(&lock, &lock_of(&around(&text, &lock))).is_empty());
}

/// A string that grew past its controller's universes goes to another, though its port has room.
#[test]
fn what_no_longer_fits_the_universes_goes_to_another_controller() {
    let text = |nodes: u32| {
        format!(
            "display \"\" {{ universe 8 slots }}\n\
             node dot {{ chip ws2811; colour W }}\n\
             controller pier {{ universes 1..2; addressing per prop; ports 1..2 {{ nodes at most 12 }} }}\n\
             controller hut {{ universes 3..4; ports 1..2 {{ nodes at most 12 }} }}\n\
             prop gull {{ node dot; string 6 nodes }}\n\
             prop tern {{ node dot; string 5 nodes }}\n\
             prop rail {{ node dot; string {nodes} nodes }}\n\
             prop buoy {{ node dot; string 9 nodes }}\n\
             wire pier.1: gull\n\
             wire pier.2: tern\n\
             wire any: rail\n\
             wire hut.1: buoy\n"
        )
    };
    let lock = lock_of(&check::one(&text(5)));
    let was = lock.rows.iter().find(|row| &*row.name == "rail").unwrap();
    assert_eq!(&*was.controller, "pier");
    let compiled = around(&text(6), &lock);
    assert!(!compiled.has_errors(), "{}", check::told(&compiled));
    let now = lock_of(&compiled);
    let gone: Vec<&str> = moved(&lock, &now).iter().map(|row| &*row.name).collect();
    assert_eq!(gone, ["rail"]);
    let rail = now.rows.iter().find(|row| &*row.name == "rail").unwrap();
    assert_eq!((&*rail.controller, rail.output), ("hut", tinsel::model::Output::Pixel(2)));
}

/// Where keeping a port moves slots, the finding gives the cost of both choices, and it is right.
#[test]
fn a_port_kept_is_weighed_against_the_slots_that_it_moves() {
    let text = |target: &str| {
        format!(
            "node dot {{ chip ws2811; colour RGB }}\n\
             controller pier {{ universes from 1; ports 1..3 {{ nodes at most 90 }} }}\n\
             prop lantern {{ node dot; string 60 nodes }}\nprop wreath {{ node dot; string 20 nodes }}\n\
             wire pier.2: lantern\nwire {target}: wreath\n"
        )
    };
    let lock = rows(&[("lantern", 1, 1, 60), ("wreath", 2, 211, 20)]);
    let compiled = around(&text("any"), &lock);
    let told = check::told(&compiled);
    let finding = compiled.findings.iter().find(|one| one.code == "lock/moved").expect(&told);
    assert!(
        finding
            .help
            .contains("1 string changes port and 60 slots move; with `wire pier.1: wreath`"),
        "{}",
        finding.help
    );
    assert_eq!(slots(&moved(&lock, &lock_of(&compiled))), 60);
    let other = around(&text("pier.1"), &lock);
    assert!(moved(&lock, &lock_of(&other)).is_empty());
}

/// A string whose wire names another controller goes there; it keeps its slots if it is alone in
/// their universe.
#[test]
fn another_controller_takes_over_the_slots() {
    let text = "node dot { chip ws2811; colour RGB }\n\
                controller pier { universes from 1; ports 1..3 { nodes at most 90 } }\n\
                controller quay { ports 1..3 { nodes at most 90 } }\n\
                prop lantern { node dot; string 60 nodes }\nwire quay: lantern\n";
    let lock = rows(&[("lantern", 1, 1, 60)]);
    let now = lock_of(&around(text, &lock));
    let row = now.row("lantern").unwrap();
    assert_eq!((&*row.controller, row.start), ("quay", 0));
}
