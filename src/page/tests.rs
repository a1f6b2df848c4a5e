//! The pages themselves; how they behave is tested in a browser, under `tests/browser/`.

use super::{APART, REPORT, SHEETS, folder, single};
use crate::source::{FileError, Files, Loaded};
use crate::{Compiled, compile};

struct Alone;

impl Files for Alone {
    fn load(&self, _from: &str, _path: &str) -> Result<Loaded, FileError> {
        Err(FileError::Missing)
    }
}

fn compiled(text: &str) -> Compiled {
    let main = Loaded {
        identity: "yard.tinsel".to_owned(),
        name: "yard.tinsel".to_owned(),
        bytes: text.as_bytes().to_vec(),
    };
    compile(&Alone, main)
}

const YARD: &str = "display \"A & B\" { lead of 18 AWG }\n\
    node bud { chip ws2811; colour RGB; volts 12 V; gauge 18 AWG }\n\
    controller shed { host 10.0.0.2; universes from 4; ports 1..4 { nodes at most 700 }; dmx 1 }\n\
    reserve shed.3 \"a bent pin\"\n\
    reserve universes 9..12 \"the neighbours\"\n\
    prop tree { node bud; strings 2 of 3 strands of 28 nodes }\n\
    prop owl * 2 { label \"Owl <left>\"; node bud; string 40 nodes }\n\
    prop lamp { slots 6 }\n\
    wire shed.1: tree.1 -> lead 2 m -> skip 1 -> tree.2\n\
    wire shed.2: owl[2] -> owl[1]\n\
    wire shed.dmx1: lamp at 300\n\
    supply rack { volts 12 V; rated 350 W }\n\
    power shed.1..4 from rack through 0.5 m of 12 AWG fuse 10 A\n\
    inject tree.2 every 1 strands from rack through 3 m of 16 AWG fuse 5 A\n";

#[test]
fn one_text_gives_one_set_of_bytes_and_all_of_it_is_there() {
    let compiled = compiled(YARD);
    assert!(!compiled.blocks(), "{:?}", compiled.findings);
    let whole = single(&compiled);
    assert_eq!(whole, single(&compiled));
    for part in REPORT.iter().chain(SHEETS) {
        assert!(
            whole.contains(&format!("<section class=\"part\" id=\"{}\"", part.name)),
            "{}",
            part.name
        );
    }
    for shown in [
        "A &amp; B",
        "Owl &lt;left&gt;",
        "Output 3 is reserved: a bent pin.",
        "reserved: the neighbours",
        "lead 2 m of 18 AWG",
        "skip 1",
        "84 nodes, line 86 to 169",
        "at every strand, at nodes 28, 56, 84",
        "supply rack through 0.5 m of 12 AWG, fuse 10 A",
        "<td class=\"dial\">300</td>",
        "<td class=\"num\">3 4 6 9</td>",
        "strand 2 down: ends at <b>56</b>",
        "owl, 2 alike",
    ] {
        assert!(whole.contains(shown), "{shown}");
    }
    let pages: Vec<_> = folder(&compiled).collect();
    assert_eq!(pages.len(), 1 + SHEETS.len() + APART.len());
    assert_eq!(pages.first().map(|page| &*page.file), Some("index.html"));
    for page in pages {
        assert!(page.text.contains("default-src 'none'"), "{}", page.file);
        assert!(
            !page.text.contains(" style=")
                && !page.text.contains("http:")
                && !page.text.contains("https:")
        );
    }
}

/// 510 div 4: node 128 of RGBW begins at slot 509 and ends in the next universe.
#[test]
fn the_test_sheet_names_the_slot_that_the_last_node_begins_at() {
    let text = "node bud { chip sk6812; colour RGBW }\n\
        controller shed { universe 510 slots; ports 1..4 { } }\n\
        prop arch { node bud; string 128 nodes }\nprop bow { node bud; string 1 node }\n\
        wire shed.1: arch\nwire shed.2: bow\n";
    let whole = single(&compiled(text));
    assert!(whole.contains("128: 1/509<") && whole.contains("1: 2/3<"));
}

#[test]
fn each_sheet_says_where_the_plus_is_cut() {
    let text = format!("{YARD}inject tree.1 at node 9 from rack through 1 m of 16 AWG apart\n");
    let cut = "at node 9: supply rack through 1 m of 16 AWG; plus cut before it";
    assert_eq!(single(&compiled(&text)).matches(cut).count(), 3);
}

#[test]
fn an_empty_display_has_a_page() {
    let whole = single(&compiled(""));
    assert!(whole.contains("Display without a name") && whole.contains("Nothing was found wrong."));
}
