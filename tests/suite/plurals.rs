//! One thing is never in the plural: in every output and finding of the examples, of all cases
//! under `tests/diagnostics/`, and of a display with one of everything.

use crate::check;
use crate::diagnostics;
use crate::examples::{self, EXAMPLES};
use tinsel::model::StringId;
use tinsel::survey::fit::Fit;
use tinsel::survey::power::PowerView;
use tinsel::survey::{BY, View, parts};
use tinsel::table::Survey;
use tinsel::{Compiled, output, page, power, report, why};

/// Words that are counted; none of them is ever right after `1`.
const COUNTED: &[&str] = &[
    "boxes",
    "chains",
    "channels",
    "circuits",
    "controllers",
    "errors",
    "fixtures",
    "fuses",
    "groups",
    "injections",
    "joints",
    "leads",
    "lines",
    "members",
    "nodes",
    "outputs",
    "pieces",
    "pixels",
    "points",
    "ports",
    "props",
    "receivers",
    "rows",
    "skips",
    "slots",
    "strands",
    "strings",
    "supplies",
    "switches",
    "universes",
    "warnings",
];

/// Words before a `1` that belongs to a range or a name, as in "ports 1 to 4" and "universe 1".
const NOT_A_COUNT: &[&str] =
    &["from", "to", "port", "universe", "string", "strand", "node", "slot", "channel"];

/// Every "1 things" of a text.
fn slips(text: &str) -> Vec<String> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let bare = |word: &str| word.trim_matches(|c: char| !c.is_alphanumeric()).to_lowercase();
    let mut found = Vec::new();
    for at in 0..words.len().saturating_sub(1) {
        // `(1` and `` `1 `` count too; `/1`, `2.1` and `1,` do not.
        if words[at].trim_start_matches(['(', '`', '>', '"']) != "1" {
            continue;
        }
        let before = at.checked_sub(1).map(|at| bare(words[at])).unwrap_or_default();
        if NOT_A_COUNT.contains(&before.as_str()) {
            continue;
        }
        // Up to two words may stand between: "1 dark nodes", "1 more of these strings".
        let behind = words[at + 1..].iter().take_while(|word| **word != "|");
        let mut behind: Vec<String> = behind.take(2).map(|word| bare(word)).collect();
        let ends = words[at + 1].ends_with([',', '.', ';', ':']);
        if ends || behind.first().is_some_and(|word| word == "of" || word == "to") {
            behind.truncate(1);
        }
        if behind.iter().any(|word| COUNTED.contains(&word.as_str())) {
            found.push(words[at.saturating_sub(2)..words.len().min(at + 4)].join(" "));
        }
    }
    found
}

/// A page as its reader sees it, a line a cell.
fn seen(html: &str) -> String {
    let body = html.split("<body>").nth(1).unwrap();
    let parts = body.split('<').filter_map(|part| part.split_once('>'));
    let parts = parts.filter(|(tag, _)| !tag.starts_with("script") && !tag.starts_with("style"));
    let mut text = String::new();
    for (tag, part) in parts {
        // A cell's figure and the next cell's word are no count.
        let cell = ["td", "th", "/t", "li", "tr", "p", "dt", "dd", "/p", "text", "small"];
        text.push_str(if cell.iter().any(|cell| tag.starts_with(cell)) { "\n| " } else { "" });
        text.push_str(part);
    }
    text
}

/// All that is said of a display, with a name for each text.
fn said(compiled: &Compiled) -> Vec<(&'static str, String)> {
    let mut all = Vec::new();
    for finding in &compiled.findings {
        let labels = finding.labels.iter().map(|label| label.text.as_str());
        let texts = [&finding.message, &finding.why, &finding.help];
        let texts = texts.into_iter().map(|text| &**text).chain(labels);
        all.push(("finding", texts.collect::<Vec<_>>().join("\n| ")));
    }
    all.push(("count", report::count(&compiled.findings)));
    if compiled.blocks() {
        return all;
    }
    let view = View::new(&compiled.model, &compiled.plan);
    let text = |survey: &Survey<'_>| {
        let mut out = Vec::new();
        output::find("text").unwrap()(survey, 200, &mut out).unwrap();
        String::from_utf8(out).unwrap().replace("  ", " | ")
    };
    for (by, _) in BY {
        all.push(("table", text(&view.survey(Some(by)))));
    }
    let (model, plan) = (&compiled.model, &compiled.plan);
    all.push(("parts", text(&parts::survey(&parts::rows(model, plan)))));
    all.push(("fit", text(&Fit::of(model, plan).survey())));
    let study = power::at(model, plan, None);
    all.push(("power", text(&PowerView::new(model, plan, &study, None, None).survey())));
    let mut write = |what, print: &dyn Fn(&mut Vec<u8>)| {
        let mut out = Vec::new();
        print(&mut out);
        all.push((what, String::from_utf8(out).unwrap().replace("  ", " | ")));
    };
    write("why", &|out| {
        for at in 0..model.strings.len().min(20) {
            let display = (model, plan, &compiled.sources);
            why::write(display, StringId::from(at), 200, out).unwrap();
        }
    });
    for page in page::folder(compiled) {
        all.push(("page", seen(&page.text)));
    }
    all
}

/// The slips of a display, each with where it is said.
fn found(name: &str, compiled: &Compiled) -> Vec<String> {
    let told = said(compiled).into_iter();
    told.flat_map(|(what, text)| slips(&text).into_iter().map(move |slip| (what, slip)))
        .map(|(what, slip)| format!("{name}: {what}: {slip}"))
        .collect()
}

/// A display with one of everything.
const ONE: &str = "display \"One\" { spare 1 node per port }\n\
    node bead { chip ws2811; colour W; volts 12 V; draw 20 mA; pitch 75 mm; gauge 20 AWG }\n\
    controller stall { host 10.1.0.2; universes from 1; ports 1..2 { nodes at most 50 }; dmx 1 }\n\
    receiver post { carries stall.2..2 }\n\
    prop mole { node bead; string 1 node }\n\
    prop vole { node bead; strings 1 of 1 strands of 1 node }\n\
    prop lamp { slots 1 }\n\
    supply rack { volts 12 V; rated 60 W }\n\
    wire stall.1: lead 0.5 m of 18 AWG -> mole\n\
    wire post.1: skip 1 -> vole\n\
    wire stall.dmx1: lamp\n\
    power stall.1 from rack through 0.5 m of 18 AWG fuse 1 A\n\
    power post.1 from rack through 0.5 m of 18 AWG fuse 1 A\n\
    inject vole at end from rack through 1 m of 18 AWG fuse 1 A\n";

/// Displays whose findings count one thing.
const ONE_WRONG: &[&str] = &[
    // One port for two chains; one node over a limit of one.
    "node bead { chip ws2811; colour W }\ncontroller stall { ports 1..4 { nodes at most 1 } }\n\
     prop mole * 3 { node bead; string 1 node }\nwire stall.1..1: mole[1], mole[2]\nwire stall.2: mole[3] -> skip 1\n",
    // A universe of one slot.
    "display \"slim\" { universe 1 slot }\nnode bead { chip ws2811; colour W }\ncontroller stall { ports 1..4 { }; dmx 1..2 }\n\
     prop mole { node bead; string 1 node }\nprop lamp * 2 { slots 1 }\nprop lens { slots 2 }\n\
     wire stall.1: mole at 4/2\nwire stall.dmx1: lamp\nwire stall.dmx2: lens\n",
    // Room for one node in a frame.
    "display \"fast\" { frame rate 900 Hz }\nchip slow { rate 20 kHz; latch 500 us }\nnode bead { chip slow; colour W }\n\
     controller stall { input ddp; ports 1..4 { } }\nprop mole { node bead; string 2 nodes }\nwire stall.1: mole\n",
];

#[test]
fn the_scan_finds_slips() {
    for text in
        ["1 pieces", "in all 1 universes", "(1 more strings)", "1 dark nodes", "`1 strings`"]
    {
        assert_eq!(slips(text).len(), 1, "{text}");
    }
    for text in [
        "ports 1 to 4",
        "universe 1 slots 3",
        "1 piece",
        "11 pieces",
        "1 of 4 ports",
        "2/1 nodes",
        "from 1 ports",
    ] {
        assert!(slips(text).is_empty(), "{text}");
    }
}

#[test]
fn one_of_a_thing_is_never_told_in_the_plural() {
    let one = check::one(ONE);
    assert!(!one.blocks(), "{}", check::told(&one));
    let mut all = found("one of everything", &one);
    for text in ONE_WRONG {
        let compiled = check::one(text);
        assert!(!compiled.findings.is_empty(), "{text}");
        all.extend(found(text, &compiled));
    }
    for (main, ..) in EXAMPLES {
        all.extend(found(main, &examples::compiled(main)));
    }
    for (name, compiled) in diagnostics::every_case() {
        all.extend(found(&name, &compiled));
    }
    assert!(all.is_empty(), "{}", all.join("\n"));
}

/// Cables are in metres, whatever their length; spacings of nodes in millimetres.
#[test]
fn a_length_has_one_unit() {
    let said: String = said(&check::one(ONE)).into_iter().map(|(_, text)| text).collect();
    assert!(said.contains("0.5 m of 18 AWG") && said.contains("75 mm"));
    assert!(!said.contains("500 mm"), "{said}");
}
