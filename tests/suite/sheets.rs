//! Tables that grew over seasons, and several tables at once. Addresses by hand: three slots a
//! node.

use rust_xlsxwriter::{Format, Note, Workbook};
use tinsel::import::{Grade, Import, Reading, import, import_all};

fn imported(text: &str) -> Import {
    import("props.csv", text.as_bytes(), &Reading::default()).unwrap()
}

fn doubts(import: &Import) -> Vec<String> {
    import.notes.iter().filter(|note| note.is_doubt()).map(ToString::to_string).collect()
}

/// Holds what came of a table against rows of its lock.
fn lies(import: &Import, rows: &[&str]) {
    let lock = import.lock.clone().unwrap_or_default();
    for row in rows {
        assert!(lock.contains(row), "{row}\n{lock}\n{:#?}", doubts(import));
    }
    assert!(import.compiled.lock_stands());
}

/// The main sheet of a workbook: two seasons, each with headings of its own.
const SEASONS: [&str; 18] = [
    "Mill pond winter lights",
    "Please count 510 channels to a universe; leads are in the green tub, and the long ones are kept in the boathouse loft",
    "",
    "Box,Plug,Item,Lights,Uni,Start,End uni,End ch,Col",
    "Boathouse,1,Keel line,2x60,3,1,3,360,",
    ",1,Bow star,50 px,3,361,3,510,",
    ",2,Mast,100,4,1,4,300,",
    ",,Total Boathouse,270 px,,,,,",
    "Jetty,1,Plank,90,6,1,6,270,GRB",
    "Jetty,1,Rope,75,6,271,6,495,",
    ",,Jetty subtotal,165,,,,,",
    "second year: from here on a start is universe:channel",
    "Box,Port,What,Pixels,Pos,First,Last,Bright,Notes",
    "Weir,1,Sluice,40,1,9:1,9:120,50%,",
    "\",1,Otter,30,2,9:121,9:210,,tail is px 30",
    "ditto,2,Reeds,3 strands of 25,,10:1,10:225,,",
    ",,Sum,145,,,,,",
    ",,GRAND TOTAL,580 px,,,,,",
];

fn workbook() -> Vec<u8> {
    let mut book = Workbook::new();
    let sheet = book.add_worksheet().set_name("Plan").unwrap();
    for (row, line) in SEASONS.iter().enumerate() {
        let cells: Vec<&str> =
            if (1..2).contains(&row) { vec![line] } else { line.split(',').collect() };
        for (column, text) in cells.iter().enumerate().filter(|(_, text)| !text.is_empty()) {
            let (row, column) = (row as u32, column as u16);
            match text.parse::<f64>() {
                Ok(number) => sheet.write(row, column, number).unwrap(),
                Err(_) => sheet.write(row, column, *text).unwrap(),
            };
        }
    }
    sheet.merge_range(4, 0, 6, 0, "Boathouse", &Format::new()).unwrap();
    sheet.insert_note(14, 2, &Note::new("new eyes & a nose")).unwrap();
    let sheet = book.add_worksheet().set_name("Network").unwrap();
    for (row, line) in
        ["Box,IP,Plugs", "Boathouse,10.7.0.1,16", "Jetty,10.7.0.2,4", "Weir,10.7.0.2,1"]
            .iter()
            .enumerate()
    {
        for (column, text) in line.split(',').enumerate() {
            sheet.write(row as u32, column as u16, text).unwrap();
        }
    }
    book.save_to_buffer().unwrap()
}

#[test]
fn a_sheet_of_two_seasons_comes_in_as_it_stands() {
    let import = import("pond.xlsx", &workbook(), &Reading::default()).unwrap();
    lies(
        &import,
        &[
            "Keel-line: {port: Boathouse.1, start: 3/1, slots: 360",
            "Bow-star: {port: Boathouse.1, start: 3/361, slots: 150",
            "Mast: {port: Boathouse.2, start: 4/1, slots: 300",
            "Plank: {port: Jetty.1, start: 6/1, slots: 270",
            "Rope: {port: Jetty.1, start: 6/271, slots: 225",
            "Sluice: {port: Weir.1, start: 9/1, slots: 120",
            "Otter: {port: Weir.1, start: 9/121, slots: 90",
            "Reeds: {port: Weir.2, start: 10/1, slots: 225",
        ],
    );
    assert_eq!(import.props, 8, "{}", import.text);
    for words in [
        "universe 510 slots",
        "colour GRB",
        "kept in the boathouse loft",
        "new eyes & a nose",
        "Notes: tail is px 30",
        // One plug is too few for the two that are in use.
        "ports 1..16 { }  # fill in: nodes at most N",
        "ports 1..2 { }  # fill in: how many there are",
        "Bright: 50%",
        "second year: from here on",
        "GRAND TOTAL | 580 px",
    ] {
        assert!(import.text.contains(words), "{words}\n{}", import.text);
    }
    assert_eq!(
        doubts(&import),
        [
            "sheet `Network`, row 4, column `IP`: \"10.7.0.2\": `Weir` has this host, and so has `Jetty` (row 3)",
            "sheet `Network`, row 4, column `Plugs`: \"1\": `Weir` has something on port 2; the display gives it more ports",
        ]
    );
    let ditto = "ditto marks are read as the cell above them: column `Box`, row 15, 16";
    assert!(import.notes.iter().any(|note| note.what == ditto), "{:#?}", import.notes);
}

/// A number up to 512 beside a universe is its slot; a larger one is a channel, which must lie in
/// the universe.
#[test]
fn numbers_beside_a_universe() {
    for (heads, end) in [
        ("Uni,Start,End uni,End ch", ",7,30"),
        ("Univ,Ch,Last uni,Last ch", ",7,30"),
        ("U,Sl,End", ",30"),
    ] {
        let table =
            format!("Box,Plug,Prop,px,{heads}\nBarn,1,Owl,80,6,303{end}\nBarn,1,Elm,20,7,31\n");
        let import = imported(&table);
        lies(&import, &["Owl: {port: Barn.1, start: 6/303,", "Elm: {port: Barn.1, start: 7/31,"]);
        assert_eq!(doubts(&import), [""; 0], "{heads}");
    }
    // Universe 2 begins at channel 513.
    let table = "Prop,px,Universe,Channel\nOwl,80,2,513\nElm,20,3,753\n";
    let import = imported(table);
    lies(&import, &["Owl: {port: main.1, start: 2/1,", "Elm: {port: main.1, start: 2/241,"]);
    let [only] = &doubts(&import)[..] else { panic!("{:#?}", doubts(&import)) };
    assert!(
        only.contains("row 3, column `Channel`: \"753\": lies in universe 2, and the row says 3"),
        "{only}"
    );
}

/// Each contradiction has its row and its column, and comes before all else.
#[test]
fn contradictions_come_first_with_row_and_column() {
    let import = imported(
        "Box,Plug,Prop,Lights,Uni,Start,End uni,End ch,Mood\nBarn,1,Owl,40,5,1,5,120,calm\nBarn,1,Elm,40,5,1,5,240,\n\
         Barn,2,Fox,60,6,1,6,210,\nBarn,2,Hen,10,6,181,6,210,\nTotal Barn,,,151,,,,,\n",
    );
    let said: Vec<String> = import.notes.iter().map(ToString::to_string).collect();
    for (at, wanted) in [
        "row 3, column `End ch`: \"240\": ends at 5/120 (channel 2168) by its start and its size, and by this end and its \
         size it starts at 5/121; this end is not kept",
        "row 3, column `Start`: \"1\": `Elm` lies on slots of `Owl`, row 2, from 5/1 on; its address 5/1 is not kept; the \
         display lays it at 5/121",
        "row 4, column `End ch`: \"210\": ends at 6/180 (channel 2740) by its start and its size, and by this end and its \
         size it starts at 6/31; this end is not kept, and is on slots of `Hen`, row 5",
        "row 6, column `Lights`: \"151\": a total that is not the sum of the rows above: it is 151, they have 150 in all; \
         kept as a comment",
        "column `Mood`: no column that is known",
    ]
    .iter()
    .enumerate()
    {
        assert!(said.get(at).is_some_and(|said| said.starts_with(wanted)), "{wanted}\n{said:#?}");
    }
    assert!(!import.text.contains("same as"), "{}", import.text);
    lies(&import, &["Fox: {port: Barn.2, start: 6/1,", "Hen: {port: Barn.2, start: 6/181,"]);
}

/// A row with the word for a total is no prop, whatever its figure; one with a port is a prop.
#[test]
fn totals_of_groups() {
    let import = imported(
        "Box,Plug,Prop,px\nMill,1,Owl,50\nMill,2,Fox,30\n,,Mill total,80\nInn,1,Sum of parts,20\n,,Sub-total,20 px\n\
         ,,All together,100\nInn,2,Elk,5\n,,,105\n,,TOTAL,106\n",
    );
    assert_eq!(import.props, 4, "{}", import.text);
    let [only] = &doubts(&import)[..] else { panic!("{:#?}", doubts(&import)) };
    assert!(
        only.starts_with("row 10, column `px`: \"106\": a total that is not the sum"),
        "{only}"
    );
    assert!(only.contains("they have 105 in all, 0 since the last total"), "{only}");
}

/// If nothing else says the size of a universe, the boxes do: 20 and 30 times 510, and one more.
#[test]
fn boxes_say_how_large_a_universe_is() {
    let table = "Item;Controller;Output;Count;Start ch;End ch\nArch;Gate A;1;80;10201;10440\nSeat;Gate A;1;120;10441;10800\n\
        Rail;Gate B;1;40;15301;15420\n";
    let import = imported(table);
    lies(
        &import,
        &[
            "Arch: {port: Gate-A.1, start: 21/1, slots: 240",
            "Seat: {port: Gate-A.1, start: 21/241, slots: 360",
            "Rail: {port: Gate-B.1, start: 31/1, slots: 120",
        ],
    );
    assert_eq!(doubts(&import), [""; 0]);
    assert!(import.notes.iter().any(|note| note.what.contains("taken as the number of nodes")));
    // Channel 100 begins no universe, and 413 slots up to its end are no whole nodes.
    let table = "Prop,px,Channel\nOwl,300,100\n";
    let [only] = &doubts(&imported(table))[..] else { panic!() };
    assert!(only.contains("first in row 2; `--universe-slots 510` takes them otherwise"), "{only}");
    let universe_slots = tinsel::protocol::UniverseSlots::new(510);
    let reading = Reading { universe_slots, ..Reading::default() };
    let given = import_all(&[("props.csv", table.as_bytes())], &reading).unwrap();
    assert_eq!(doubts(&given), [""; 0]);
    lies(&given, &["Owl: {port: main.1, start: 1/100,"]);
}

/// Two files become one display, with one lock.
#[test]
fn several_tables_become_one_display() {
    let yard = "prop,px,box,port,start\nBig owl,50,Mill,1,4/1\nFox,20,Mill,2,5/1\n";
    let gate =
        "what;leds;controller;output;universe;slot\nPost;30;Gate;1;8;1\nLamp;10;Gate;1;8;97\n";
    let all = [("yard.csv", yard.as_bytes()), ("gate.csv", gate.as_bytes())];
    let import = import_all(&all, &Reading::default()).unwrap();
    lies(
        &import,
        &[
            "Big-owl: {port: Mill.1, start: 4/1, slots: 150",
            "Fox: {port: Mill.2, start: 5/1, slots: 60",
            "Post: {port: Gate.1, start: 8/1, slots: 90",
            "Lamp: {port: Gate.1, start: 8/97, slots: 30",
        ],
    );
    assert_eq!(doubts(&import), [""; 0]);
    let renamed = import.notes.iter().find(|note| note.what.contains("had to change")).unwrap();
    assert_eq!((renamed.grade, import.tables), (Grade::Noted, 2));
    // A fault of one of them is under its name.
    let all = [("yard.csv", yard.as_bytes()), ("gate.csv", b"owl,50\n".as_slice())];
    let why = import_all(&all, &Reading::default()).unwrap_err();
    assert!(why.starts_with("gate.csv: no header"), "{why}");
    let wrong = gate.replace(";97", ";61");
    let all = [("yard.csv", yard.as_bytes()), ("gate.csv", wrong.as_bytes())];
    let import = import_all(&all, &Reading::default()).unwrap();
    let [only] = &doubts(&import)[..] else { panic!("{:#?}", doubts(&import)) };
    assert!(
        only.starts_with("gate.csv, row 3, column `slot`: \"61\": `Lamp` lies on slots of `Post`"),
        "{only}"
    );
}

/// A lead and dark nodes stay where the port is open too: the string is then a chain of its own.
#[test]
fn leads_stay_where_the_port_is_open() {
    let import = imported(
        "Prop,Controller,Port,Nodes,Lead\nKite,Pier,A1,50,2 m\nGull,Pier,,40,3 m\nCrab,Pier,,30,\nNet,Pier,,2 x 20,1 m\n",
    );
    let text = &import.text;
    assert!(text.contains("wire Pier: lead 2 m -> Kite, lead 3 m -> Gull, Crab,"), "{text}");
    assert!(text.contains("lead 1 m -> Net"), "{text}");
    assert!(!import.compiled.blocks(), "{text}");
}

/// A total counts the rows of its own table; what no column hangs on a box is said.
#[test]
fn tables_have_totals_and_boxes_of_their_own() {
    let pier = "Prop,px,Box,Port\nKite,50,Pier,1\nGull,40,Pier,2\n";
    let quay = "Prop,px,Socket\nCrab,30,1\nNet,20,2\nTotal,50,\n";
    let all = [("pier.csv", pier.as_bytes()), ("quay.csv", quay.as_bytes())];
    let import = import_all(&all, &Reading::default()).unwrap();
    let [only] = &doubts(&import)[..] else { panic!("{:#?}", doubts(&import)) };
    assert!(only.contains("it names no controller"), "{only}");
    let alone = imported(quay);
    assert_eq!(doubts(&alone), [""; 0]);
    assert!(alone.notes.iter().any(|note| note.what.contains("calls it `main`")));
}

/// A column called by another word is that of the colours where it has nothing else.
#[test]
fn a_type_may_be_the_order_of_colours() {
    let import = imported(
        "Item,Type,px,Box,Port,Start\nRail,RGBW,50,Quay,1,4/1\nBuoy,GRB,20,Quay,1,4/201\n",
    );
    let colours = [
        "Rail: {port: Quay.1, start: 4/1, slots: 200",
        "Buoy: {port: Quay.1, start: 4/201, slots: 60",
    ];
    lies(&import, &colours);
    assert!(
        import.text.contains("colour RGBW") && import.text.contains("colour GRB"),
        "{}",
        import.text
    );
}

/// Starts and ends in two pairs of columns under words, strings by number or word, a whole address
/// in a column of universes, and a channel over all: 5,633 is 11 universes of 512 and one.
#[test]
fn ends_in_a_second_pair_of_columns() {
    let import = imported(
        "Weir walk,,,,,,,,,\n,,,,,Starts,,Ends,,\n\
         Prop,String,Box,Port,Lights,Universe,Channel,Universe,Channel,Remarks\n\
         Lock gate,1 of 2,K,1,50,1,1,1,150,\nLock gate,2/2,K,1,50,1,151,1,300,\n\
         Sluice,left,K,2,60,2,1,2,180,\nSluice,sill,K,2,40,2,181,2,300,\n\
         Towpath,,K,3,40,,5633,,5752,\n\
         ,,,,,Starts,,Ends,,\nProp,String,Box,Port,Lights,Universe,Channel,Universe,Channel,Remarks\n\
         Heron,,M,1,20,201/1,,201/60,,\nEel,,M,1,30,U201 ch 61,,,,\nReed,,M,2,25,202,1,202,100,\n\
         Otter,,–,–,≈50,,,,,\n",
    );
    lies(
        &import,
        &[
            "Lock-gate.1: {port: K.1, start: 1/1, slots: 150",
            "Lock-gate.2: {port: K.1, start: 1/151, slots: 150",
            "Sluice.1: {port: K.2, start: 2/1, slots: 180",
            "Sluice.2: {port: K.2, start: 2/181, slots: 120",
            "Towpath: {port: K.3, start: 12/1, slots: 120",
            "Heron: {port: M.1, start: 201/1, slots: 60",
            "Eel: {port: M.1, start: 201/61, slots: 90",
            // 25 nodes that take 100 slots have four each.
            "Reed: {port: M.2, start: 202/1, slots: 100",
        ],
    );
    assert!(import.text.contains("String: sill"), "{}", import.text);
    assert_eq!(
        doubts(&import),
        ["row 14, column `Lights`: \"≈50\": taken as 50, which may not be what it says"]
    );
}

/// Short headings of a second table, whose words say another size of a universe than those above
/// the first: channel 51,201 is 100 universes of 512 and one.
#[test]
fn short_headings_of_a_second_table() {
    let import = imported(
        "Wharf: 510 channels to a universe,,,,,,,,,,\nProp,Box,Port,Nodes,Start,End,,,,,\n\
         Crane,A,1,200,3/1,4/90,,,,,\n\
         all new: 512 per uni from here on,,,,,,,,,,\nnm,#,bx,pt,px,bpp,st,en,ord,V,cmt\n\
         Sail,3,F,1-3,40,3,51201,51560,RGB,12,one on each\nFlag,1,F,9,50,4,51713,51912,GRBW,5,lead 2 m\n\
         Lamp,Box,Out,Channels,Universe,Channel,,,,,\nBow lamp,D,dmx1,7 ch,93 / 1-7,,,,,,\n",
    );
    lies(
        &import,
        &[
            "Crane: {port: A.1, start: 3/1, slots: ",
            "Sail.1: {port: F.1, start: 101/1, slots: 120",
            "Sail.3: {port: F.3, start: 101/241, slots: 120",
            "Flag: {port: F.9, start: 102/1, slots: 200",
            "Bow-lamp: {port: D.dmx1, start: 93/1, slots: 7",
        ],
    );
    assert!(import.text.contains("GRBW"), "{}", import.text);
    assert!(doubts(&import).is_empty(), "{:#?}", doubts(&import));
}

/// A place on each port headed `#`, slots of a node beside a number of them, and pairs with a dash.
#[test]
fn hash_is_a_place_and_a_dash_parts_universe_and_slot() {
    let import = imported(
        "Out,#,Item,Px,Ch/px,Ch,Start (U/C),End (U/C),Lead m,Order,??\n\
         1,1,Buoy,35,3,105,101-1,101-105,2,GRB,\n1,2,Bell,30,4,120,101-106,101-225,0.5,RGBW,loud\n\
         2,1,Net,80 ish,3,240,103-1,103-240,,GRB,\n",
    );
    lies(
        &import,
        &[
            "Buoy: {port: main.1, start: 101/1, slots: 105",
            "Bell: {port: main.1, start: 101/106, slots: 120",
            "Net: {port: main.2, start: 103/1, slots: 240",
        ],
    );
    assert_eq!(
        doubts(&import),
        ["row 4, column `Px`: \"80 ish\": taken as 80, which may not be what it says"]
    );
}
