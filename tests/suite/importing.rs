//! Tables of props, sound or not: the display always parses, and changes are reported.

use crate::check;
use crate::cli::{Folder, err, out, run, status};
use proptest::prelude::*;
use tinsel::import::{Grade, Reading, import};

fn imported(text: &str) -> tinsel::import::Import {
    import("props.csv", text.as_bytes(), &Reading::default()).unwrap()
}

#[test]
fn a_hundred_props_compile_as_they_stand() {
    let mut table = String::from("Name;Count;Nodes;Strings;Controller;Port\n");
    for number in 0..100 {
        let (count, strings) = (1 + number % 3, 1 + number % 2);
        let port = if number % 4 == 0 { String::new() } else { (1 + number / 3).to_string() };
        let nodes = (20 + number % 50) * strings;
        let name = format!("Prop No. {number}");
        table.push_str(&format!("{name};{count};{nodes};{strings};Box {};{port}\n", number % 3));
    }
    let import = imported(&table);
    assert!(import.notes.iter().all(|note| note.grade == Grade::Noted));
    let compiled = check::one(&import.text);
    assert!(compiled.findings.is_empty(), "{}\n{}", check::told(&compiled), import.text);
    assert_eq!(compiled.model.props.len(), 100);
    // It is as `fmt` writes it.
    assert_eq!(crate::formatter::formatted(&import.text), Some(import.text));
    assert_eq!(compiled.model.controllers.len(), 3);
}

/// Names and labels that are words of the language, that would end a text or a line, or that run.
#[test]
fn hostile_cells_stay_in_their_cells() {
    let table = "name,nodes,controller,port,label\n\
        \"owl }\nprop fox\",5,any,1,\"a\"\"} b\"\n\
        skip,5,any,1,\u{202e}x\n\
        lead,5,any,2,\"two\nlines\"\n\
        at,5,prop,,=1+1\n\
        \u{1F989},5,prop,,#\n\
        $(rm),5,a.1,hut.3,\\\n";
    let import = imported(table);
    let compiled = check::one(&import.text);
    assert!(compiled.findings.is_empty(), "{}\n{}", check::told(&compiled), import.text);
    assert_eq!(compiled.model.props.len(), 6);
}

#[test]
fn a_table_without_controllers_gets_one() {
    // More nodes than a usual frame has time for: the boxes drove them, at fewer frames a second.
    let import = imported("prop,pixels\nowl,900\nfox,40\n");
    assert!(import.text.contains("frame rate 30 Hz"), "{}", import.text);
    assert!(
        import
            .notes
            .iter()
            .any(|note| note.is_doubt() && note.what.contains("fewer frames a second"))
    );
    let compiled = check::one(&import.text);
    assert!(compiled.findings.is_empty(), "{}", check::told(&compiled));
    let import = imported("prop,pixels\nowl,90\nfox,40\n");
    assert!(import.text.contains("wire main: owl, fox"));
    assert!(check::one(&import.text).findings.is_empty());
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 128,
        failure_persistence: None,
        rng_seed: proptest::test_runner::RngSeed::Fixed(6),
        ..ProptestConfig::default()
    })]

    /// Whatever stands in the cells, the text that comes of it parses and its names resolve.
    #[test]
    fn any_cells_make_a_display(
        rows in proptest::collection::vec(
            ("\\PC{0,12}", "[0-9a-z ,.]{0,2}", "[0-9]{1,3}", "[0-9a-z]?", "\\PC{0,6}", "[0-9a-z .,-]{0,6}"),
            1..12,
        ),
    ) {
        let mut table = csv::Writer::from_writer(Vec::new());
        table.write_record(["name", "count", "nodes", "strings", "controller", "port"]).unwrap();
        for (name, count, nodes, strings, controller, port) in &rows {
            table.write_record([name, count, nodes, strings, controller, port]).unwrap();
        }
        let bytes = table.into_inner().unwrap();
        let import = import("props.csv", &bytes, &Reading::default()).unwrap();
        let compiled = check::one(&import.text);
        for code in check::codes(&compiled.findings) {
            let group = code.split('/').next().unwrap();
            prop_assert!(
                // A controller may stay free: what has room on others goes there.
                code == "name/unused" || !["syntax", "name", "wire"].contains(&group),
                "{}\n{}", check::told(&compiled), import.text
            );
        }
        prop_assert_eq!(compiled.model.props.len(), import.props);
    }

    /// Random bytes are refused or read, without a panic.
    #[test]
    fn any_bytes_are_answered(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let mut table = b"name,nodes\n".to_vec();
        table.extend(bytes);
        let _ = import("props.csv", &table, &Reading::default());
    }
}

/// The main texts of the examples.
const EXAMPLES: [&str; 4] = [
    "examples/first/porch.tinsel",
    "examples/middle/yard.tinsel",
    "examples/walk/brook.tinsel",
    "examples/veteran/yard.tinsel",
];

/// Rows of a table as JSON, by their key, with what must not change.
fn places(display: &str, list: &str, keys: &[&str]) -> Vec<String> {
    let table = run(&["table", display, "--format", "json"]);
    let table: serde_json::Value = serde_json::from_slice(&table.stdout).unwrap();
    let rows = table[list].as_array().unwrap().iter();
    let mut rows: Vec<String> =
        rows.map(|row| keys.iter().map(|key| format!("{} ", row[*key])).collect()).collect();
    rows.sort();
    rows
}

/// A count is one of nodes where no other column has the length of a string; else one of props.
#[test]
fn a_count_alone_is_that_of_nodes() {
    let alone = imported("Prop,Port,Count\nowl,1,40\nheron,2,25\n").text;
    assert!(alone.contains("prop owl   { node pixel; string 40 nodes }"), "{alone}");
    assert!(alone.contains("prop heron { node pixel; string 25 nodes }"), "{alone}");
    let props = imported("Prop,Port,Count,Nodes\nowl,1,4,40\n").text;
    assert!(props.contains("prop owl * 4 {"), "{props}");
    // One port takes all of them, and a second is there for what must stay side by side.
    let open = imported("Prop,Count,Nodes\nowl,4,40\n").text;
    assert!(open.contains("prop owl * 4 {") && open.contains("ports 1..2 {"), "{open}");
}

/// Each table comes in where it was, and a build after it moves nothing and says so.
#[test]
fn the_tables_of_every_example_come_back() {
    let string: &[&str] = &[
        "prop",
        "instance",
        "string",
        "controller",
        "port",
        "position",
        "nodes",
        "start",
        "end",
        "colour",
        "receiver",
        "receiver_port",
        "same_as",
        "enters",
        "skips",
        "runs",
    ];
    let prop: &[&str] = &[
        "prop",
        "instance",
        "strings",
        "nodes",
        "slots",
        "first_channel",
        "last_channel",
        "one_piece",
        "starts",
        "ports",
        "enters",
        "label",
        "dark_before",
        "built",
        "same_as",
    ];
    let port: &[&str] = &["controller", "port", "start", "end"];
    for main in EXAMPLES {
        for (by, list, keys) in
            [("string", "strings", string), ("port", "ports", port), ("prop", "props", prop)]
        {
            for ending in ["csv", "xlsx"] {
                let folder = Folder::new();
                let path = |name: &str| folder.0.join(name).to_str().unwrap().to_owned();
                let (table, display) = (path(&format!("old.{ending}")), path("new.tinsel"));
                assert_eq!(status(&run(&["table", main, "--by", by, "-o", &table])), 0);
                let told = run(&["import", &table, "-o", &display]);
                // Only a table of ports leaves something out: what lies between fixtures.
                let most = i32::from(by == "port");
                assert!(
                    (0..=most).contains(&status(&told)),
                    "{main} {by} {ending}\n{}",
                    err(&told)
                );
                assert_eq!(status(&run(&["diff", &display])), 0, "{main} {by} {ending}");
                let built = run(&["build", &display]);
                assert!(out(&built).contains("kept, 0 new, 0 moved, 0 freed"), "{}", out(&built));
                assert_eq!(
                    places(&display, list, keys),
                    places(main, list, keys),
                    "{main} {by} {ending}"
                );
            }
        }
    }
}

/// The table by prop has dark nodes and `same as` too: they come back, and nothing is in doubt.
#[test]
fn a_table_by_prop_comes_back_whole() {
    let folder = Folder::new();
    folder.file(
        "old.tinsel",
        "node bead { chip ws2811; colour RGB }\n\
         controller quay { universes from 3; ports 1..6 { } }\n\
         prop gable { node bead; string: left 20 nodes -> skip 2 -> lead 2 m -> right 15 nodes; string 31 nodes }\n\
         prop ridge * 2 { node bead; strings 2 of 12 nodes }\n\
         prop copy { node bead; strings 2 of 12 nodes; same as ridge[2] }\n\
         prop crown { node bead; string 9 nodes }\n\
         wire quay.1: skip 3 -> gable.1 -> crown\nwire quay.2: gable.2\nwire quay.3: ridge[1].1 -> skip 1 -> ridge[1].2\n\
         wire quay.4: ridge[2]\nwire quay.5: copy\n",
    );
    let path = |name: &str| folder.0.join(name).to_str().unwrap().to_owned();
    for ending in ["csv", "xlsx"] {
        let (table, display) = (path(&format!("old.{ending}")), path(&format!("{ending}.tinsel")));
        assert_eq!(status(&run(&["table", &path("old.tinsel"), "--by", "prop", "-o", &table])), 0);
        let told = run(&["import", &table, "-o", &display]);
        assert_eq!(status(&told), 0, "{}", err(&told));
        assert_eq!(status(&run(&["diff", &display])), 0);
        let keys = [
            "prop",
            "instance",
            "string",
            "nodes",
            "port",
            "start",
            "skips",
            "skip_before",
            "runs",
            "same_as",
        ];
        let rows = places(&display, "strings", &keys);
        assert_eq!(rows, places(&path("old.tinsel"), "strings", &keys));
        assert!(rows.iter().any(|row| row.contains("\"skip\":2")), "{rows:?}");
    }
}

/// A sheet, and what must be in the display, in the lock and, with nothing else, in doubt.
struct Sheet {
    table: &'static str,
    display: &'static [&'static str],
    lock: &'static [&'static str],
    doubts: &'static [&'static str],
}

/// Sheets as people keep them. Addresses are counted by hand: three slots a node, 512 a universe.
const SHEETS: &[Sheet] = &[
    // Other headings, semicolons, units in cells, a title, a unit of length with a decimal comma.
    Sheet {
        table: "Winter list;;;;;\nElement;How many;Lights;Box;Plug;Cable (m)\nOwl;1;50 px;Hut;1;2,5\nFox;2;40 LEDs;Hut;2;\n",
        display: &[
            "prop Owl {",
            "string 50 nodes",
            "prop Fox * 2 {",
            "wire Hut.1: lead 2.5 m -> Owl",
            "wire Hut.2: Fox",
        ],
        lock: &[],
        doubts: &[],
    },
    // Addresses in two columns, and a blank box and a blank universe below filled ones.
    Sheet {
        table: "name,nodes,controller,port,universe,slot\nowl,50,hut,1,4,1\nfox,60,,2,,151\nhen,10,barn,1,9,10\n",
        display: &["universes from 4", "universes from 9", "wire hut.2: fox"],
        lock: &[
            "fox: {port: hut.2, start: 4/151, slots: 180",
            "hen: {port: barn.1, start: 9/10, slots: 30",
        ],
        doubts: &[],
    },
    // Each notation of a start.
    Sheet {
        table: "name,nodes,controller,port,start\na,10,c,1,12/1\nb,10,c,2,12:31\nd,10,c,3,12.061\ne,10,c,4,U12 S91\nf,10,c,5,12.130\n",
        display: &["universes from 12"],
        lock: &[
            "a: {port: c.1, start: 12/1,",
            "b: {port: c.2, start: 12/31,",
            "e: {port: c.4, start: 12/91,",
            "f: {port: c.5, start: 12/130,",
        ],
        // A number with a mark for thousands would be channel 12,061, which is 24/285.
        doubts: &["\"12.061\": taken as 12/61; it may mean 24/285 too"],
    },
    // Channels: start, end and count, with thousands.
    Sheet {
        table: "Prop,Pixels,Start Channel,End Channel,Channels,Controller,Port\nowl,50,1,150,150,c,1\nfox,\"1,000\",\"1,025\",\"4,024\",3000,c,2\n",
        display: &["string 1000 nodes"],
        lock: &[
            "owl: {port: c.1, start: 1/1, slots: 150",
            "fox: {port: c.2, start: 3/1, slots: 3000",
        ],
        doubts: &["port `c.2` needs"],
    },
    // Multiples in one cell, on as many ports as they go, and a total that is right.
    Sheet {
        table: "name,nodes,controller,port,start\ntree,16x50,c,1-4,1/1\narch,4 strands of 28,c,5,6/1\nball,2 of 25,c,6,7/1\nTotal,962,,,\n",
        display: &[
            "strings 4 of 4 strands of 50 nodes",
            "strings 1 of 4 strands of 28 nodes",
            "strings 1 of 2 strands of 25 nodes",
        ],
        // Each port of the tree has 200 nodes, 600 slots.
        lock: &[
            "tree.1: {port: c.1, start: 1/1, slots: 600",
            "tree.4: {port: c.4, start: 4/265, slots: 600",
        ],
        doubts: &[],
    },
    // A row of groups over the headings: a group's name counts for its first column, and the name
    // of a box is no prop's name. Pieces of a string, fixtures below one another, a state.
    Sheet {
        table: "Prop,,Pixels,,,Box,,Address,,Lead,Status\nwhat,qty,strings,px/string,total px,name,port,start,end,from port,2025\n\
            Gable,1,1,60,60,Shed,1,3/1,3/180,\"1,5 m\",up\nCube,1,4,2 strands of 20,,,2-5,4/1,4/480,,not this year\n\
            Lantern,,,,7 ch,Rack,DMX 1,9/1,9/7,,up\n,,,,7 ch,,DMX 1,9/8,9/14,,up\nTotal,,,,220,,,,,,\n",
        display: &[
            "wire Shed.1: lead 1.5 m -> Gable",
            "strings 4 of 2 strands of 20 nodes",
            "prop Lantern * 2 { slots 7 }",
            "wire Rack.dmx1: Lantern",
            "stored Cube",
            "above the header: \"Prop\", \"Pixels\"",
        ],
        lock: &[
            "Gable: {port: Shed.1, start: 3/1, slots: 180",
            "Cube.4: {port: Shed.5, start: 4/361, slots: 120",
            "Lantern[2]: {port: Rack.dmx1, start: 9/8, slots: 7",
        ],
        doubts: &[],
    },
    // Box and port in one cell, row numbers, channels of a row that show how many slots a node has.
    Sheet {
        table: "#,Element,Where it plugs,Kind,Bulbs,Ch total,Start ch,End ch,Data in\n1,Eave,Old barn / 1,cone,50,150,1,150,left\n\
            2,Gate,Old barn / 2-3,cone,80,240,151,390,\n3,Top,Mill #4,cone,40,160,513,672,tip\n\
            4,Spare,,cone,0,0,,,\n",
        display: &[
            "wire Old-barn.1: Eave",
            "wire Old-barn.2: Gate.1",
            "prop Gate { node pixel; strings 2 of 40 nodes }",
            "prop Eave { enters \"left\"; node pixel; string 50 nodes }",
            "wire Mill.4: Top",
            "node pixel-rgbw",
            "# row 3: #: 2; Kind: cone",
        ],
        lock: &[
            "Eave: {port: Old-barn.1, start: 1/1, slots: 150",
            "Top: {port: Mill.4, start: 2/1, slots: 160",
        ],
        doubts: &[
            "row 3, column `Where it plugs`: \"Old barn / 2-3\": 80 nodes: taken as a string of 40 nodes on each of 2 ports",
            "row 5, column `Bulbs`: \"0\": no nodes",
        ],
    },
    // Notes between rows, a header again, a total that is wrong.
    Sheet {
        table: "name,nodes,notes\n-- the front --,,\nowl,50,clips\nname,nodes,notes\nfox,20,\nTOTAL,71,\n",
        display: &[
            "# row 2, words between the rows: -- the front --",
            "# notes: clips",
            "TOTAL | 71",
        ],
        lock: &[],
        doubts: &[
            "row 6, column `nodes`: \"71\": a total that is not the sum of the rows above: it is 71, they have 70",
        ],
    },
    // Two rows of headings.
    Sheet {
        table: ",,,Start,,End,\nname,nodes,port,universe,slot,universe,slot\nowl,50,1,3,1,3,150\nfox,50,2,3,151,3,310\n",
        display: &["universes from 3"],
        lock: &[
            "owl: {port: main.1, start: 3/1, slots: 150",
            "fox: {port: main.2, start: 3/151, slots: 150",
        ],
        doubts: &["row 4, column `End slot`: \"310\": ends at 3/300"],
    },
    // The last slot alone, in the universe of the first one.
    Sheet {
        table: "name,nodes,port,universe,slot,end slot\nowl,50,1,3,1,150\nfox,50,2,3,151,310\n",
        display: &["universes from 3"],
        lock: &[
            "owl: {port: main.1, start: 3/1, slots: 150",
            "fox: {port: main.2, start: 3/151, slots: 150",
        ],
        doubts: &["row 3, column `end slot`: \"310\": ends at 3/300"],
    },
    // Two rows on one slot, and a universe on two controllers.
    Sheet {
        table: "name,nodes,controller,port,start\nowl,50,hut,1,1/1\nfox,50,hut,2,1/100\nhen,50,barn,1,1/400\n",
        display: &[
            "# in doubt: row 3, column `start`: \"1/100\": `fox` lies on slots of `owl`",
            "# in doubt: row 4, column `start`: \"1/400\": `hen` lies in universe 1, which is `hut`'s too (row 2)",
        ],
        lock: &["owl: {port: hut.1, start: 1/1,"],
        doubts: &[
            "`fox` lies on slots of `owl`, row 2, from 1/100 on",
            "universe 1, which is `hut`'s too",
        ],
    },
    // A prop on several ports without a number of strings: one on each, if that divides evenly.
    Sheet {
        table: "name,nodes,port,start,nodes per string\nowl,50,\"2, 3\",,\nfox,90,4 to 6,\"5/1, 5/91, 5/181\",\nhen,,7 & 8,,25\n\
            elk,45,9-10,,\ncow,3 strands of 20,11-13,,\n",
        display: &[
            "prop owl { node pixel; strings 2 of 25 nodes }",
            "wire main.3: owl.2",
            "prop fox { node pixel; strings 3 of 30 nodes }",
            "prop hen { node pixel; strings 2 of 25 nodes }",
            "wire main.8: hen.2",
            "prop cow { node pixel; strings 3 of 20 nodes }",
        ],
        lock: &["fox.3: {port: main.6, start: 5/181, slots: 90"],
        doubts: &[
            "row 2, column `port`: \"2, 3\": 50 nodes: taken as a string of 25 nodes on each of 2 ports",
            "row 5, column `port`: \"9-10\": 1 string can't be spread evenly over 2 ports",
        ],
    },
    // Whose data a prop shows, by name, above and below it; an unknown name; another start.
    Sheet {
        table: "name,nodes,port,start,same as\nBig owl,50,1,2/1,\nfox,50,2,2/1,big owl\nhen,9,3,,duck\nduck,9,4,2/301,\n\
            elk,9,5,4/1,duck\ncow,9,6,,heron\n",
        display: &[
            "prop fox { node pixel; string 50 nodes; same as Big-owl }",
            "prop hen { node pixel; string 9 nodes; same as duck }",
        ],
        lock: &["duck: {port: main.4, start: 2/301, slots: 27"],
        doubts: &[
            "row 6, column `start`: \"4/1\": `elk` shows the data of `duck`, which starts elsewhere; its own address 4/1 is not kept",
            "row 7, column `same as`: `cow` is the same as \"heron\", which no other string of the table is called; left out",
        ],
    },
    // A prop on two ports, a port without a prop, channels that do not fit, an unknown colour.
    Sheet {
        table: "name,nodes,controller,port,channels,colour order\nowl,51,hut,\"1,2\",153,GRB\nfox,50,hut,3,160,XYZ\n",
        display: &["colour GRB"],
        lock: &[],
        doubts: &[
            "row 2, column `port`: \"1,2\": 1 string can't be spread evenly over 2 ports",
            "row 3, column `channels`: \"160\": 160 channels are no whole number",
            "row 3, column `colour order`: \"XYZ\": not understood",
        ],
    },
    // Fixtures by channels on a DMX output, with gaps; four colours by channels; voltage.
    Sheet {
        table: "name,nodes,controller,port,start,channels,volts\nflood,4 ch,hut,DMX 1,5/1,4,\nwash,6 ch,hut,DMX 1,5/21,6,\nbar,50,hut,1,6/1,200,12V\n",
        display: &["prop flood { slots 4 }", "dmx 1..1", "colour RGBW", "volts 12 V"],
        lock: &[
            "wash: {port: hut.dmx1, start: 5/21, slots: 6",
            "bar: {port: hut.1, start: 6/1, slots: 200",
        ],
        doubts: &[],
    },
    // A count on a DMX output is that of slots.
    Sheet {
        table: "name,pixels,controller,port,start,end\nowl,50,hut,1,1/1,1/150\nwash,6,hut,dmx1,9/5,\nlamp,1,hut,dmx1,9/21,9/24\n",
        display: &["prop wash { slots 6 }", "prop lamp { slots 4 }", "wire hut.dmx1: wash -> lamp"],
        lock: &["lamp: {port: hut.dmx1, start: 9/21, slots: 4"],
        doubts: &[
            "row 3, column `pixels`: \"6\": a count on a DMX output; taken as the slots of a fixture",
        ],
    },
    // Dark nodes before a string, a string that is not put up, universes of whole nodes.
    Sheet {
        table: "name,nodes,controller,port,dark,stored,start,end\nowl,200,hut,1,1,no,1/1,2/90\nfox,50,hut,2,,yes,2/91,2/240\n",
        display: &["wire hut.1: skip 1 -> owl", "whole nodes", "stored fox"],
        // 170 nodes of three slots end at 1/510; 30 more take 2/1 to 2/90.
        lock: &["owl: {port: hut.1, start: 1/1, slots: 602"],
        doubts: &[],
    },
    // Gaps on a port, an unknown heading, no nodes.
    Sheet {
        table: "name,nodes,controller,port,start,Mood\nowl,50,hut,1,1/1,calm\nfox,50,hut,1,2/1,\nhen,,hut,2,3/1,shy\n",
        display: &[
            "addressing per prop",
            "# Mood: calm",
            "# row 4, no nodes; the row is left out: hen | hut | 2 | 3/1 | shy",
        ],
        lock: &["fox: {port: hut.1, start: 2/1, slots: 150"],
        doubts: &["column `Mood`: no column that is known", "row 4, column `nodes`: no nodes"],
    },
];

#[test]
fn sheets_of_a_hand_lose_nothing() {
    let mut faults = String::new();
    for sheet in SHEETS {
        let import = imported(sheet.table);
        let (text, lock) = (plain(&import.text), import.lock.clone().unwrap_or_default());
        let doubts: Vec<String> =
            import.notes.iter().filter(|note| note.is_doubt()).map(ToString::to_string).collect();
        let all = format!("{}\n{text}\n{lock}\n{doubts:#?}", sheet.table);
        let mut fault = |what: String| faults.push_str(&format!("{what}\n{all}\n\n"));
        for line in sheet.display.iter().filter(|line| !text.contains(**line)) {
            fault(format!("no {line}"));
        }
        for row in sheet.lock.iter().filter(|row| !lock.contains(**row)) {
            fault(format!("no {row}"));
        }
        for doubt in sheet.doubts {
            if !doubts.iter().any(|said| said.contains(doubt)) {
                fault(format!("no {doubt}"));
            }
        }
        if doubts.len() != sheet.doubts.len() || import.lock.is_some() == sheet.lock.is_empty() {
            fault("other doubts, or a lock too many or too few".to_owned());
        }
        for cell in nowhere(sheet.table, &import) {
            fault(format!("`{cell}` is nowhere"));
        }
    }
    assert!(faults.is_empty(), "{faults}");
}

/// A text with one blank between its words.
fn plain(text: &str) -> String {
    let lines = text.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "));
    lines.collect::<Vec<_>>().join("\n")
}

/// Cells of which a word or a number stands neither in the display nor in the lock nor in a note. A
/// row of the lock says its first and last slot and channel.
fn nowhere(table: &str, import: &tinsel::import::Import) -> Vec<String> {
    let notes: Vec<String> = import.notes.iter().map(ToString::to_string).collect();
    let lock = import.lock.clone().unwrap_or_default();
    let rows = lock.lines().filter_map(|line| {
        let mut numbers = line.split_once("start: ")?.1.split(|c: char| !c.is_ascii_digit());
        let mut number = || numbers.find(|word| !word.is_empty())?.parse::<u64>().ok();
        let (universe, slot, slots) = (number()?, number()?, number()?);
        let (from, to) = ((universe - 1) * 512 + slot, (universe - 1) * 512 + slot + slots - 1);
        Some(format!("{from} {to} {}/{}", (to - 1) / 512 + 1, (to - 1) % 512 + 1))
    });
    let rows: Vec<String> = rows.collect();
    let all = format!("{}\n{lock}\n{}\n{}", import.text, notes.join("\n"), rows.join("\n"))
        .to_lowercase();
    let mut lost = Vec::new();
    let first = table.lines().next().unwrap_or("");
    let separator = if first.contains(';') { b';' } else { b',' };
    let mut rows = csv::ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .from_reader(table.as_bytes());
    // Words of the trade that stand for something: a unit, a mark of an address, yes and no.
    const MEANT: [&str; 16] = [
        "px", "leds", "ch", "u", "s", "no", "yes", "x", "of", "name",
        // 16 strands are 4 strings of 4; 50 nodes of three slots are 150; the voltage has a blank.
        "16x50", "150", "153", "240", "strands", "12v",
    ];
    let header = |row: &csv::StringRecord| {
        row.iter().any(|cell| ["name", "Element", "Prop"].contains(&cell))
    };
    for row in rows.records().map(Result::unwrap).skip_while(|row| !header(row)).skip(1) {
        for cell in row.iter() {
            let joined = cell.replace(',', "").to_lowercase();
            if all.contains(&cell.to_lowercase()) || all.contains(&joined) || header(&row) {
                continue;
            }
            for word in cell.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()) {
                let word = word.trim_start_matches(['0', 'U', 'S']).to_lowercase();
                let parts = word.split('x').all(|part| all.contains(part));
                if !parts && !MEANT.contains(&word.as_str()) {
                    lost.push(cell.to_owned());
                }
            }
        }
    }
    lost
}

/// A workbook by hand (ECMA-376, part 1, 12.2): a sheet, what follows its rows, and one more part.
fn book(rows: &str, tail: &str, more: (&str, &str)) -> Vec<u8> {
    const MAIN: &str = "http://schemas.openxmlformats.org/spreadsheetml/2006/main";
    const OF: &str = "http://schemas.openxmlformats.org/officeDocument/2006/relationships";
    const PACKAGE: &str = "http://schemas.openxmlformats.org/package/2006/relationships";
    let header = "<row r=\"1\"><c r=\"A1\" t=\"str\"><v>name</v></c><c r=\"B1\" t=\"str\"><v>nodes</v></c></row>";
    let related = |kind: &str, to: &str| {
        format!(
            "<Relationships xmlns=\"{PACKAGE}\"><Relationship Id=\"r1\" Type=\"{OF}/{kind}\" Target=\"{to}\"/></Relationships>"
        )
    };
    let parts = [
        ("_rels/.rels", related("officeDocument", "xl/workbook.xml")),
        ("xl/_rels/workbook.xml.rels", related("worksheet", "worksheets/sheet1.xml")),
        (
            "xl/workbook.xml",
            format!(
                "<workbook xmlns=\"{MAIN}\" xmlns:r=\"{OF}\"><sheets><sheet name=\"p\" sheetId=\"1\" r:id=\"r1\"/></sheets></workbook>"
            ),
        ),
        (
            "xl/worksheets/sheet1.xml",
            format!(
                "<worksheet xmlns=\"{MAIN}\"><sheetData>{header}{rows}</sheetData>{tail}</worksheet>"
            ),
        ),
        (more.0, more.1.to_owned()),
    ];
    let mut archive = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for (name, text) in parts.iter().filter(|(name, _)| !name.is_empty()) {
        archive.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        std::io::Write::write_all(&mut archive, text.as_bytes()).unwrap();
    }
    archive.finish().unwrap().into_inner()
}

/// Cells that would fill the memory or lie out of place are refused by name, or read rightly.
#[test]
fn hostile_workbooks() {
    let owl = "<row r=\"2\"><c r=\"A2\" t=\"str\"><v>owl</v></c><c r=\"B2\"><v>50</v></c></row>";
    let read = |bytes: &[u8]| import("p.xlsx", bytes, &Reading::default());
    let far = format!("{owl}<row r=\"1048576\"><c r=\"XFD1048576\"><v>1</v></c></row>");
    let blanks = " ".repeat(193 * 1024 * 1024);
    for (bytes, why) in [
        (book(&far, "", ("", "")), "cell XFD1048576 stands beyond column 1024"),
        (
            book(owl, &blanks, ("", "")),
            "its part `xl/worksheets/sheet1.xml` unpacks to more than 192 MiB",
        ),
        (
            book(owl, "", ("xl/sharedStrings.xml", "<sst uniqueCount=\"99999999999\"/>")),
            "share more than 2000000 texts",
        ),
        (
            book("<row r=\"2\"><c r=\"?\"><v>1</v></c></row>", "", ("", "")),
            "its sheet `p` can't be read: after cell B1",
        ),
        (b"PK\x03\x04".to_vec(), "it is an archive that can't be unpacked"),
    ] {
        let said = read(&bytes).unwrap_err();
        assert!(said.contains(why), "{said}");
    }
    // Macros are left alone; a merged cell without end fills only rows that there are.
    let merged = "<mergeCells><mergeCell ref=\"A2:A1048576\"/></mergeCells>";
    let import = read(&book(owl, merged, ("xl/vbaProject.bin", "no program"))).unwrap();
    assert!(import.text.contains("prop owl { node pixel; string 50 nodes }"), "{}", import.text);
    // A formula counts by the value that the file keeps; without one its cell is reported.
    let kept = "<row r=\"2\"><c r=\"A2\" t=\"str\"><v>owl</v></c><c r=\"B2\"><f>5*10</f><v>50</v></c></row>\
        <row r=\"3\"><c r=\"A3\" t=\"str\"><v>fox</v></c><c r=\"B3\"><f>5*10</f></c></row>";
    let import = read(&book(kept, "", ("", ""))).unwrap();
    assert!(import.text.contains("prop owl { node pixel; string 50 nodes }"), "{}", import.text);
    let doubts: Vec<_> =
        import.notes.iter().filter(|note| note.is_doubt()).map(ToString::to_string).collect();
    assert_eq!(doubts.len(), 2, "{doubts:?}");
    assert!(doubts[0].contains("cell B3 has a formula without a kept value"), "{doubts:?}");
    assert!(doubts[1].contains("row 3, column `nodes`: \"=5*10\": no number"), "{doubts:?}");
    // A name without a value does not repeat the row above; a stored empty text does.
    let names = "<row r=\"2\"><c r=\"A2\" t=\"str\"><v>owl</v></c><c r=\"B2\"><v>49.999999999999993</v></c></row>\
        <row r=\"3\"><c r=\"A3\"><f>X1</f></c><c r=\"B3\"><v>9</v></c></row>\
        <row r=\"4\"><c r=\"A4\" t=\"e\"><f>X2</f><v>#REF!</v></c><c r=\"B4\"><v>8</v></c></row>\
        <row r=\"5\"><c r=\"A5\" t=\"str\"><f>IF(B5,1,\"\")</f><v></v></c><c r=\"B5\" t=\"str\"><f>A5</f><v></v></c></row>";
    let import = read(&book(names, "", ("", ""))).unwrap();
    let doubts: Vec<_> =
        import.notes.iter().filter(|note| note.is_doubt()).map(ToString::to_string).collect();
    assert_eq!((doubts.len(), import.rows, import.props), (2, 3, 3), "{doubts:?}");
    for cell in
        ["cell A3 has a formula without a kept value", "cell A4 holds the error of a formula"]
    {
        assert!(doubts.iter().any(|doubt| doubt.contains(cell)), "{cell} {doubts:?}");
    }
    assert!(
        plain(&import.text).contains("prop owl { node pixel; string 50 nodes }"),
        "{}",
        import.text
    );
    assert!(plain(&import.text).contains("string 9 nodes"), "{}", import.text);
}

/// Cells in another order than that of their places are refused with their names: one of two would
/// be lost. So are two sheets of one name, of which only one could be named.
#[test]
fn cells_and_sheets_stand_once() {
    let read = |bytes: &[u8]| import("p.xlsx", bytes, &Reading::default());
    let cell = |name: &str| format!("<c r=\"{name}\"><v>5</v></c>");
    let row = |number: u32, cells: &str| format!("<row r=\"{number}\">{cells}</row>");
    for (rows, why) in [
        (row(2, &cell("A2")) + &row(2, &cell("A2")), "cell A2 stands after cell A2"),
        (row(3, &cell("A3")) + &row(2, &cell("A2")), "cell A2 stands after cell A3"),
        (row(2, &(cell("B2") + &cell("A2"))), "cell A2 stands after cell B2"),
        (row(2, &cell("A0")), "after cell B1"),
    ] {
        let said = read(&book(&rows, "", ("", ""))).unwrap_err();
        assert!(said.contains(why), "{said}");
    }
    let bytes = book(&row(2, &(cell("A2") + &cell("B2"))), "", ("", ""));
    let mut old = zip::ZipArchive::new(std::io::Cursor::new(bytes)).unwrap();
    let mut new = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
    for at in 0..old.len() {
        let mut part = old.by_index(at).unwrap();
        let mut text = String::new();
        std::io::Read::read_to_string(&mut part, &mut text).unwrap();
        let sheet = "<sheet name=\"p\" sheetId=\"1\" r:id=\"r1\"/>";
        let text = text.replace(sheet, &format!("{sheet}{}", sheet.replace("Id=\"1", "Id=\"2")));
        new.start_file(part.name().unwrap(), zip::write::SimpleFileOptions::default()).unwrap();
        std::io::Write::write_all(&mut new, text.as_bytes()).unwrap();
    }
    let said = read(&new.finish().unwrap().into_inner()).unwrap_err();
    assert!(said.contains("two sheets called `p`: rename one"), "{said}");
}

/// A second sheet that names the boxes says where they are and what they listen to.
#[test]
fn a_sheet_of_boxes_says_hosts_and_inputs() {
    let mut book = rust_xlsxwriter::Workbook::new();
    for (name, rows) in [
        (
            "lights",
            "name,nodes,box,port,start\nowl,50,Old barn,1,4/1\nfox,20,gate,1,7/1\nhen,9,pump,1,9/1",
        ),
        (
            "network",
            "box,IP,protocol,where\nold barn,10.9.0.4,Art-Net,loft\ngate,10.9.0.5,sACN unicast,\npump,under the step,Foo,\n\
             mill,10.9.0.7,DDP,",
        ),
    ] {
        let sheet = book.add_worksheet().set_name(name).unwrap();
        for (row, line) in rows.lines().enumerate() {
            for (column, text) in line.split(',').enumerate() {
                sheet.write(row as u32, column as u16, text).unwrap();
            }
        }
    }
    let bytes = book.save_to_buffer().unwrap();
    let import = import("props.xlsx", &bytes, &Reading::default()).unwrap();
    let text = plain(&import.text);
    for wanted in [
        "host 10.9.0.4\ninput artnet\nuniverses from 4",
        "host 10.9.0.5\ninput e131 unicast\nuniverses from 7",
        "where: loft",
        "IP: under the step; protocol: Foo",
        "box: mill; IP: 10.9.0.7; protocol: DDP",
    ] {
        assert!(text.contains(wanted), "{wanted}\n{}", import.text);
    }
    let doubts = import.notes.iter().filter(|note| note.is_doubt());
    let doubts: Vec<String> = doubts.map(ToString::to_string).collect();
    assert_eq!(doubts.len(), 3, "{doubts:?}");
    for wanted in
        ["no address of a host", "no input that is known", "no row of props names this box"]
    {
        assert!(doubts.iter().any(|doubt| doubt.contains(wanted)), "{wanted} {doubts:?}");
    }
    assert!(import.compiled.lock_stands());
}

/// A workbook with a sheet of lights and one of boxes.
fn of_boxes(lights: &str, boxes: &str) -> tinsel::import::Import {
    let mut book = rust_xlsxwriter::Workbook::new();
    for (name, rows) in [("lights", lights), ("boxes", boxes)] {
        let sheet = book.add_worksheet().set_name(name).unwrap();
        for (row, line) in rows.lines().enumerate() {
            for (column, text) in line.split(',').enumerate() {
                sheet.write(row as u32, column as u16, text).unwrap();
            }
        }
    }
    import("props.xlsx", &book.save_to_buffer().unwrap(), &Reading::default()).unwrap()
}

/// A second sheet says which universes a box has and how it numbers its strings. Where these hold
/// for its strings they are settings, else they are reported. Last numbers of an address follow the
/// whole one above; a port beyond those of its box is reported.
#[test]
fn a_sheet_of_boxes_says_hosts_and_ports_in_short() {
    let import = of_boxes(
        "name,nodes,box,port,start\nowl,50,hut,9,4/1\nfox,20,barn,1,7/1\nhen,20,shed,1,8/1",
        "box,ip,outs\nhut,10.9.0.11,8\nbarn,.12,4\nshed,.2.13,4",
    );
    let text = plain(&import.text);
    for wanted in ["host 10.9.0.11", "host 10.9.0.12", "host 10.9.2.13", "ports 1..4"] {
        assert!(text.contains(wanted), "{wanted}\n{}", import.text);
    }
    let doubts = import.notes.iter().filter(|note| note.is_doubt());
    let doubts: Vec<String> = doubts.map(ToString::to_string).collect();
    let [only] = &doubts[..] else { panic!("{doubts:#?}") };
    assert!(only.contains("row 2, column `outs`: \"8\": `hut` has something on port 9"), "{only}");
}

#[test]
fn a_sheet_of_boxes_says_universes() {
    let lights = "name,nodes,box,port,start\nowl,50,hut,1,4/1\nfox,20,barn,1,7/11\nhen,9,pump,1,9/1\ncow,9,mill,1,20/1\n\
                  ewe,9,mill,1,20/101\nelk,9,byre,1,30/1";
    let import = of_boxes(
        lights,
        "controller,host,first universe,universes,addressing\nhut,10.8.0.1,4,3,per port\nbarn,10.8.0.2,6,,Consecutive\n\
         pump,10.8.0.3,10,2,\nmill,10.8.0.4,20,1,per port\nbyre,10.8.0.5,28-31,,",
    );
    let text = plain(&import.text);
    for wanted in [
        "host 10.8.0.1\nuniverses 4..6\naddressing per port",
        "host 10.8.0.2\nuniverses from 6\naddressing consecutive",
        "host 10.8.0.3\nuniverses from 9",
        "host 10.8.0.4\nuniverses 20..20\naddressing per prop",
        "host 10.8.0.5\nuniverses 28..31",
    ] {
        assert!(text.contains(wanted), "{wanted}\n{}", import.text);
    }
    let doubts = import.notes.iter().filter(|note| note.is_doubt());
    let doubts: Vec<String> = doubts.map(ToString::to_string).collect();
    let wanted = [
        "sheet `boxes`, row 4, column `first universe`: \"10\": the strings of `pump` lie in universes 9 to 9; its \
         universes are not kept",
        "sheet `boxes`, row 5, column `addressing`: \"per port\": its strings do not lie so",
    ];
    assert_eq!(doubts.len(), wanted.len(), "{doubts:?}");
    for (doubt, wanted) in doubts.iter().zip(wanted) {
        assert!(doubt.starts_with(wanted), "{doubt}");
    }
    assert!(import.compiled.lock_stands());
    let lock = import.lock.unwrap();
    for row in ["fox: {port: barn.1, start: 7/11,", "ewe: {port: mill.1, start: 20/101,"] {
        assert!(lock.contains(row), "{lock}");
    }
    // Without hosts it is a sheet of boxes too, also for one whose universes count from 0; a box
    // without addresses takes what the sheet says.
    let import = of_boxes(
        "name,nodes,box,port,start\nowl,50,hut,1,0/1\nfox,20,barn,1,",
        "box,start universe,last universe\nhut,0,2\nbarn,40,41",
    );
    let text = plain(&import.text);
    for wanted in ["input artnet from 0\nuniverses 1..3", "universes 40..41"] {
        assert!(text.contains(wanted), "{wanted}\n{}", import.text);
    }
    assert!(!import.notes.iter().any(|note| note.is_doubt()), "{:?}", import.notes);
}
