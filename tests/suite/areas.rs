//! Workbooks with a sheet for each part of a garden, and one of boxes. Addresses are counted by
//! hand: three slots a node, four with white.

use rust_xlsxwriter::{Format, Workbook};
use tinsel::import::{Grade, Import, Reading, import, import_all};
use tinsel::protocol::UniverseSlots;

const BOXES: &str = "\
Quarry garden boxes
Box|Mark|Where|IP|Outs|Volts
Shed A|SA|by the gate|10.20.0.5|4|12V
Shed B|SB|loft|.6|4|ditto
Terrace|T|wall|.7|8|24V
Booth|K|roof|.8|2|n/a
all boxes use sACN unicast
the Lane sheet has old channels: 510 per universe";

/// Universe 1 has channels 1 to 510, so channel 1021 is the first of universe 3. A string that goes
/// over a border steps over the two slots that are not used: the lock counts them.
const LANE: &str = "\
LANE
What|Box|Out|Px|From ch|To ch|Remarks
Post 1|Shed A|1|100|1|300|
Post 2||\"|90|301|570|after post 1, reversed
Gate||2|60|1021|1200|GRB pixels
Elk||3|50|1201|1350|NOT USED 2031, cracked
subtotal Shed A|||250";

const MEADOW: &str = "\
Meadow, every port on a universe of its own
Prop|Port|Count|Uni/start|to|wire to 1st px|Notes
Reed 1|SB1|40 px|11/1|11/120|12 ft|
Reed 2||40 px|11/121|||after Reed 1
Hare|SB2|60 px|12/1|12/180|9'|1 null pixel at front
Fox|\"|30 px|12/181|12/270||starts at tail
~Owl|SB1|50 px|11/1|11/150||";

/// 200 nodes of four slots end 800 slots on: on slot 288 of the next universe, if that has 512.
const TERRACE: &str = "\
Terrace - all with white
Thing|Bx|Ports|How many|Type|Starts|Ends
Vine|T|1+2|2x100|RGBW|U21 ch 1|U22 ch 288
Bowl|\"|3|64|\"|U23 ch 1|U23 ch 256
Rail|\"|4 5 6|3 x 20|\"|U24 ch 1|U24 ch 240";

const HEADS: &str = "\
DMX heads - all on the Booth
Spot|Socket|Uni|DMX addr|Mode
Head 1|1|31|1|8ch
Head 2|\"|\"|9|8 ch
Head 3|2|32|1|8 ch";

/// A workbook of sheets: a row a line, cells parted by `|`; a row that begins with `~` is struck
/// out, a sheet whose name does is hidden.
fn book(sheets: &[(&str, &str)]) -> Vec<u8> {
    let mut book = Workbook::new();
    let struck = Format::new().set_font_strikethrough();
    for (name, rows) in sheets {
        let sheet = book.add_worksheet().set_name(name.trim_start_matches('~')).unwrap();
        sheet.set_hidden(name.starts_with('~'));
        for (row, line) in rows.lines().enumerate() {
            let format = if line.starts_with('~') { struck.clone() } else { Format::new() };
            let cells = line.trim_start_matches('~').split('|').enumerate();
            for (column, text) in cells.filter(|(_, text)| !text.is_empty()) {
                let (row, column) = (row as u32, column as u16);
                match text.parse::<f64>() {
                    Ok(number) if !text.starts_with('.') => {
                        sheet.write_with_format(row, column, number, &format).unwrap()
                    }
                    _ => sheet.write_with_format(row, column, text, &format).unwrap(),
                };
            }
        }
    }
    book.save_to_buffer().unwrap()
}

fn read(sheets: &[(&str, &str)], reading: &Reading) -> Import {
    import("garden.xlsx", &book(sheets), reading).unwrap()
}

fn told(import: &Import, doubt: bool) -> Vec<String> {
    let notes = import.notes.iter().filter(|note| note.is_doubt() == doubt);
    notes.map(ToString::to_string).collect()
}

/// Holds what came of a workbook against rows of its lock.
fn lies(import: &Import, rows: &[&str]) {
    let lock = import.lock.clone().unwrap_or_default();
    for row in rows {
        assert!(lock.contains(row), "{row}\n{lock}\n{:#?}", told(import, true));
    }
    assert!(import.compiled.lock_stands());
}

fn has(import: &Import, words: &[&str]) {
    let plain: Vec<String> = (import.text.lines())
        .map(|line| line.split_whitespace().collect::<Vec<_>>().join(" "))
        .collect();
    for words in words {
        assert!(plain.join("\n").contains(words), "{words}\n{}", import.text);
    }
}

#[test]
fn a_workbook_with_a_sheet_for_each_area_comes_in_as_one() {
    let sheets = [
        ("Boxes", BOXES),
        ("Lane", LANE),
        ("Meadow", MEADOW),
        ("Terrace", TERRACE),
        ("Heads", HEADS),
        ("~old", "name|nodes\nbat|5"),
        ("shopping", "thing|how many\ntape, black|3"),
    ];
    let import = read(&sheets, &Reading::default());
    lies(
        &import,
        &[
            "Post-1: {port: Shed-A.1, start: 1/1, slots: 300,",
            "Post-2: {port: Shed-A.1, start: 1/301, slots: 272,",
            "Gate: {port: Shed-A.2, start: 3/1, slots: 180,",
            "Elk: {port: Shed-A.3, start: 3/181, slots: 150,",
            "Reed-1: {port: Shed-B.1, start: 11/1, slots: 120,",
            "Reed-2: {port: Shed-B.1, start: 11/121, slots: 120,",
            "Hare: {port: Shed-B.2, start: 12/1, slots: 180,",
            "Fox: {port: Shed-B.2, start: 12/181, slots: 90,",
            "Vine.1: {port: Terrace.1, start: 21/1, slots: 400,",
            "Vine.2: {port: Terrace.2, start: 21/401, slots: 400,",
            "Bowl: {port: Terrace.3, start: 23/1, slots: 256,",
            "Rail.2: {port: Terrace.5, start: 24/81, slots: 80,",
            "Head-1: {port: Booth.dmx1, start: 31/1, slots: 8",
            "Head-2: {port: Booth.dmx1, start: 31/9, slots: 8",
            "Head-3: {port: Booth.dmx2, start: 32/1, slots: 8",
        ],
    );
    has(
        &import,
        &[
            "label \"Shed A\"\nhost 10.20.0.5\ninput e131 unicast\nuniverses from 1\nuniverse 510 slots",
            "label \"Shed B\"\nhost 10.20.0.6\ninput e131 unicast\nuniverses from 11\n",
            "controller Terrace {\nhost 10.20.0.7\ninput e131 unicast\nuniverses from 21\nports 1..8 { }",
            "volts 24 V",
            "colour GRB",
            "lead 9 ft",
            "skip 1",
            "enters \"tail\"",
            "stored Elk, Owl",
            "sheet `shopping`, row 2: \"tape, black\", \"3\"",
            "Where: by the gate",
        ],
    );
    let doubts = told(&import, true);
    let wanted = [
        "sheet `old`: it is hidden and was not read; --sheet 'old' reads it",
        "sheet `Lane`, row 4, column `Remarks`: \"after post 1, reversed\": speaks of set-up",
        "sheet `Meadow`, row 7, column `Uni/start`: \"11/1\": `Owl` lies on slots of `Reed-1`",
    ];
    assert_eq!(doubts.len(), wanted.len(), "{doubts:#?}");
    for (doubt, wanted) in doubts.iter().zip(wanted) {
        assert!(doubt.contains(wanted), "{doubt}\n{doubts:#?}");
    }
    for wanted in [
        "sheet `Lane`, column `Box`: row 4-6: no controller; taken as `Shed A`, which stands above",
        "sheet `Meadow`, row 4, column `Port`: taken as port 1 of `Shed B`, by what the row comes after",
        "sheet `Meadow`, row 7, column `Prop`: \"Owl\": taken as `stored`, since it is struck out",
        "sheet `Boxes`, row 8: \"the Lane sheet has old channels: 510 per universe\": taken as 510 slots",
        "sheet `Lane`: its channels count 510 to a universe and those of the display 512",
    ] {
        assert!(
            told(&import, false).iter().any(|note| note.starts_with(wanted)),
            "{wanted}\n{:#?}",
            told(&import, false)
        );
    }
}

/// `--sheet` chooses; a sheet that repeats another is not read, and each that is left out is named.
#[test]
fn sheets_are_chosen_by_name_or_by_what_they_repeat() {
    let sheets = [("Boxes", BOXES), ("Lane", LANE), ("Terrace", TERRACE), ("Heads", HEADS)];
    let names = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
    let reading = Reading { sheets: names(&["Lane", "Heads"]), ..Reading::default() };
    let import = read(&sheets, &reading);
    assert_eq!(import.props, 7, "{}", import.text);
    let left = "sheet `Terrace`: it was not read, since --sheet names others";
    assert!(told(&import, true).iter().any(|note| note == left), "{:#?}", import.notes);
    let reading = Reading { sheets: names(&["Lane", "Head"]), ..Reading::default() };
    let why = import_all(&[("g.xlsx", &book(&sheets))], &reading).unwrap_err();
    assert!(
        why.contains("it has no sheet `Head`; its sheets are Boxes, Lane, Terrace, Heads"),
        "{why}"
    );
    let again = LANE.replace("Gate||2|60|1021|1200", "Gate||2|50|1021|1170");
    let import = read(&[("2031", LANE), ("2030", &again)], &Reading::default());
    assert_eq!(import.props, 4, "{}", import.text);
    let copy = "sheet `2030`: it repeats rows of the sheet `2031` and was not read";
    assert!(told(&import, true).iter().any(|note| note.starts_with(copy)), "{:#?}", import.notes);
}

/// A list of the same props without addresses adds none of them again, whichever sheet comes first.
#[test]
fn a_list_beside_the_addresses_adds_no_props() {
    let list = "name|nodes\nPost 1|100\nPost 2|90\nGate|60\nElk|50";
    for sheets in [[("list", list), ("Lane", LANE)], [("Lane", LANE), ("list", list)]] {
        let import = read(&sheets, &Reading::default());
        assert_eq!(import.props, 4, "{}", import.text);
        let left = "the sheet `list` has no ports and no addresses: what it says of 4 props stands there as comments";
        assert!(told(&import, false).iter().any(|note| note == left), "{:#?}", import.notes);
        lies(&import, &["Gate: {port: Shed-A.2"]);
    }
}

/// The size of a universe that is asked for counts only for tables that do not show one.
#[test]
fn a_size_that_is_asked_for_is_for_tables_that_show_none() {
    let reading = Reading { universe_slots: UniverseSlots::new(510), ..Reading::default() };
    let old = "What|Box|Out|Px|From ch|To ch\nPost|Shed A|1|200|511|1110";
    let import = read(&[("Lane", old), ("Terrace", TERRACE)], &reading);
    lies(
        &import,
        &["Post: {port: Shed-A.1, start: 2/1, slots: 602,", "Vine.2: {port: T.2, start: 21/401,"],
    );
    has(&import, &["universes from 2\nuniverse 510 slots"]);
    let what = "sheet `Terrace`: its universes have more than 510 slots, so --universe-slots does not hold for it";
    assert!(told(&import, false).iter().any(|note| note == what), "{:#?}", import.notes);
    // Two rows of a box prove a size that nothing names.
    let table = "name,nodes,box,port,start,end\nowl,200,hut,1,1/1,2/120\nelk,200,hut,2,3/1,4/120\nbat,170,den,1,7/1,7/510\n";
    let import = import_all(&[("t.csv", table.as_bytes())], &Reading::default()).unwrap();
    assert!(told(&import, true).is_empty(), "{:#?}", import.notes);
    has(&import, &["universes from 1\nuniverse 480 slots"]);
    lies(&import, &["elk: {port: hut.2, start: 3/1, slots: 632"]);
}

#[test]
fn a_sheet_of_boxes_alone_is_a_display() {
    let import = read(&[("Boxes", BOXES)], &Reading::default());
    has(
        &import,
        &[
            "controller Shed-A {\nlabel \"Shed A\"\nhost 10.20.0.5\ninput e131 unicast",
            "controller Booth {\nhost 10.20.0.8",
            "ports 1..8 { }",
        ],
    );
    assert!(!import.compiled.has_errors(), "{}", import.text);
    assert!(import.lock.is_none());
}

/// Words above the boxes hold for all of them; a row that says another input keeps it.
#[test]
fn words_above_the_boxes_hold_for_all() {
    let boxes = "all boxes unicast\nBox|IP|Sends\nhut|10.20.1.1|\nbarn|10.20.1.2|Art-Net";
    let props = "name|nodes|box|port|start\nowl|50|hut|1|1/1\nelk|50|barn|1|2/1";
    let import = read(&[("props", props), ("boxes", boxes)], &Reading::default());
    has(&import, &["host 10.20.1.1\ninput e131 unicast", "host 10.20.1.2\ninput artnet"]);
    has(&import, &["sheet `boxes`, row 1: \"all boxes unicast\""]);
    assert!(told(&import, true).is_empty(), "{:#?}", import.notes);
}

/// A start that was typed onto another prop's address is a clash. It is the same data where both
/// end there and hang on one port, or where the row says so.
#[test]
fn a_start_typed_twice_is_a_clash() {
    let table = |port: &str, ends: [&str; 2], note: &str| {
        let [one, two] = ends;
        let rows = format!(
            "name,nodes,box,port,start,end,notes\nowl,50,hut,1,4/1,{one},\nelk,50,hut,{port},4/1,{two},{note}\n"
        );
        import_all(&[("t.csv", rows.as_bytes())], &Reading::default()).unwrap()
    };
    for (port, ends, note, same) in [
        ("1", ["", ""], "", false),
        ("2", ["4/150", "4/150"], "", false),
        ("1", ["4/150", "4/150"], "", true),
        ("2", ["4/150", "4/150"], "copy of owl", true),
        ("2", ["", ""], "copy of owl", true),
    ] {
        let import = table(port, ends, note);
        assert_eq!(import.text.contains("same as owl"), same, "{port} {ends:?} {note}");
        let clash = import.notes.iter().any(|note| {
            note.grade == Grade::Wrong && note.what.contains("`elk` lies on slots of `owl`, row 2")
        });
        assert_eq!(clash, !same, "{port} {ends:?} {note}: {:#?}", import.notes);
    }
}

#[test]
fn a_file_given_twice_is_refused() {
    let table = b"name,nodes\nowl,50\n".as_slice();
    let why = import_all(&[("a.csv", table), ("b.csv", table)], &Reading::default()).unwrap_err();
    assert_eq!(why, "b.csv: it has the same content as a.csv: name it once");
}

/// Where a column says it, a remark that says otherwise is reported and changes nothing.
#[test]
fn a_column_wins_over_a_remark() {
    let table = "name,nodes,colour order,enters,notes\nowl,50,RGB,left,GRB\nelk,50,,top,starts at top\n\
                 fox,50,,,starts at dusk\nbat,50,,,runs backwards\n";
    let import = import_all(&[("t.csv", table.as_bytes())], &Reading::default()).unwrap();
    let doubts = told(&import, true);
    let wanted = [
        "row 2, column `notes`: \"GRB\": another column of the row says otherwise",
        "row 4, column `notes`: \"starts at dusk\": speaks of set-up and is not understood",
        "row 5, column `notes`: \"runs backwards\": speaks of set-up and is not understood",
    ];
    assert_eq!(doubts.len(), wanted.len(), "{doubts:#?}");
    for (doubt, wanted) in doubts.iter().zip(wanted) {
        assert!(doubt.starts_with(wanted), "{doubt}");
    }
    assert!(!import.text.contains("colour GRB"), "{}", import.text);
    has(&import, &["notes: GRB", "enters \"top\""]);
}

/// The port of a row names its box too; where the row says another one, that is reported.
#[test]
fn a_port_on_another_box_is_reported() {
    let table = "name,nodes,box,port\nowl,50,hut,hut.1\nelk,50,hut,barn.2\n";
    let import = import_all(&[("t.csv", table.as_bytes())], &Reading::default()).unwrap();
    let doubts = told(&import, true);
    assert_eq!(
        doubts,
        [
            "row 3, column `port`: \"barn.2\": the row is on another box than `barn`, which is not kept"
        ]
    );
}

/// Boxes with short marks; sheets are named after them, in one way or the other.
const PIERS: &str = "\
Harbour boxes
Box|Mark|Number on the wire|Ports|Speaks|First universe|Nodes
North pier|NP|10.9.0.3|4|sACN|1|160
South pier|SP|10.9.0.4|4|sACN|11|90
the long white one|LW|10.9.0.5|2|Art-Net|21|";

/// Three slots a node: 50 nodes from 1/1 end at 1/150.
const NORTH: &str = "\
NP / by the crane
Port|Prop|Nodes|Universe|Channel|Last channel
1|Gull|50|1|1|150
1|Buoy|30|1|151|240
|Port 1 together|80
2|Net|80|2|1|240
|Tern|10|2|241|270
|Whole box|170";

/// A line of words names a port for what stands below it.
const SOUTH: &str = "\
what|how many|uni|ch|??
PORT 1 (by the steps)
crab|40|11|1
PORT 3||||2 is dead
eel|50|12|1";

const REST: &str = "\
Prop|Box|Port|Nodes|Universe|Channel
Up on the mole, all on the long white one
Kite||1|20|21|1
Oar||2|20|22|1
Anchor|SP4||20|13|1
Bell|white|1|10|21|61";

const OF_PROPS: &str = "\
Label|Prop|Stands|Nodes
N-1|Gull|on the crane|50
N-2|Net|over the wall|80
N-9|Bell|at the end|10";

#[test]
fn a_box_stands_in_the_name_of_a_sheet_or_between_the_rows_or_beside_its_port() {
    let sheets = [
        ("Boxes", PIERS),
        ("NP 2029", NORTH),
        ("south pier", SOUTH),
        ("rest", REST),
        ("Old", "Prop|Box|Port|Nodes\nSwan|NP|3|30\nDuck|NP|3|30"),
        ("Props", OF_PROPS),
    ];
    let import = read(&sheets, &Reading::default());
    lies(
        &import,
        &[
            "Gull: {port: North-pier.1, start: 1/1, slots: 150,",
            "Buoy: {port: North-pier.1, start: 1/151, slots: 90,",
            "Net: {port: North-pier.2, start: 2/1, slots: 240,",
            "Tern: {port: North-pier.2, start: 2/241, slots: 30,",
            "crab: {port: South-pier.1, start: 11/1, slots: 120,",
            "eel: {port: South-pier.3, start: 12/1, slots: 150,",
            "Kite: {port: the-long-white-one.1, start: 21/1, slots: 60,",
            "Oar: {port: the-long-white-one.2, start: 22/1, slots: 60,",
            "Anchor: {port: South-pier.4, start: 13/1, slots: 60,",
            "Bell: {port: the-long-white-one.1, start: 21/61, slots: 30,",
        ],
    );
    has(&import, &["host 10.9.0.3", "Label: N-2; Stands: over the wall"]);
    assert!(!import.text.contains("prop Swan") && !import.text.contains("together {"));
    let doubts = told(&import, true).join("\n");
    assert!(doubts.contains("sheet `Old`: it is not in use by its name"), "{doubts}");
}

/// Without a sheet of boxes, sheets that have the same port are boxes of their own, by their names.
#[test]
fn sheets_with_the_same_ports_are_boxes() {
    let sheets = [
        ("Nave", "Port|Prop|Nodes|Universe|Channel\n1|Arch|50|1|1\n2|Bough|50|2|1"),
        ("Tower", "Port|Prop|Nodes|Universe|Channel\n1|Clock|50|11|1"),
    ];
    let rows = ["Arch: {port: Nave.1,", "Bough: {port: Nave.2,", "Clock: {port: Tower.1,"];
    lies(&read(&sheets, &Reading::default()), &rows);
    let sheets = [
        ("front", "Port|Prop|Nodes|Universe|Channel\n1|Arch|50|1|1\n2|Bough|50|2|1"),
        ("back", "Port|Prop|Nodes|Universe|Channel\n3|Clock|50|11|1"),
    ];
    lies(&read(&sheets, &Reading::default()), &["Arch: {port: main.1,", "Clock: {port: main.3,"]);
}
