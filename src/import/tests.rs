//! Imports of small tables.

use super::makes::Make;
use super::{Grade, Import, Reading, import};

fn read(text: &str) -> Import {
    import("props.csv", text.as_bytes(), &Reading::default()).unwrap()
}

/// The text of a display without the alignment of its columns.
fn plain(import: &Import) -> String {
    let lines = import.text.lines().map(|line| {
        let words: Vec<&str> = line.split_whitespace().collect();
        words.join(" ") + "\n"
    });
    lines.collect()
}

fn lost(import: &Import) -> Vec<String> {
    let notes = import.notes.iter().filter(|note| note.is_doubt());
    notes.map(ToString::to_string).collect()
}

#[test]
fn a_table_as_people_have_it() {
    let import = read(
        "\u{feff}Prop Name;Qty;Pixels;Strings;Controller;Port\r\n\
         Mini Tree;4;50;;Shed Box;3\r\n\
         \"Arch \"\"big\"\"\";;1,200 px;2;shed box;5-6\r\n",
    );
    assert!(lost(&import).is_empty(), "{:?}", import.notes);
    for line in [
        "controller Shed-Box {",
        "label \"Shed Box\"",
        "ports 1..8 { }",
        "prop Mini-Tree * 4 { label \"Mini Tree\"; node pixel; string 50 nodes }",
        "prop Arch-big { label \"Arch \\\"big\\\"\"; node pixel; strings 2 of 600 nodes }",
        "wire Shed-Box.3: Mini-Tree\n",
        "wire Shed-Box.5: Arch-big.1\n",
        "wire Shed-Box.6: Arch-big.2\n",
    ] {
        assert!(plain(&import).contains(line), "{line}\n{}", import.text);
    }
}

#[test]
fn what_is_not_understood_is_told_with_its_place() {
    let import = read(
        "Yard 2026\n\nname,count,nodes,strings,controller,port,Glue\n\
         owl,two,50,1,hut,1,x\nfox,1,many,1,hut,2,\n,1,50,1,hut,,\nhen,1,101,2,hut,4,\nelk,1,50,1,,5,\ncow,1,50,1,hut,left,\n",
    );
    let mut lost = lost(&import);
    let glue = lost.remove(0);
    assert!(
        glue.starts_with(
            "column `Glue`: no column that is known; kept as comments; --column 'Glue=KIND' says what it is"
        ),
        "{glue}"
    );
    assert!(import.text.contains("# Glue: x\n"), "{}", import.text);
    assert_eq!(
        lost,
        [
            "row 4, column `count`: \"two\": no number that fits here; taken as 1",
            "row 5, column `nodes`: \"many\": no number that fits here; the row is left out",
            "row 6, column `name`: no name; the row is left out",
            "row 7, column `nodes`: \"101\": 101 nodes do not come out even in 2 strings; 1 of them got 51 and the rest 50",
            "row 9, column `port`: \"left\": no port that is understood; the port is left open",
        ]
    );
    let told: Vec<String> =
        import.notes.iter().filter(|n| n.grade == Grade::Noted).map(ToString::to_string).collect();
    assert_eq!(
        told,
        [
            "row 1: \"Yard 2026\" stands above the header; kept as a comment",
            "row 8, column `controller`: no controller; taken as `hut`, which stands above",
        ]
    );
    assert_eq!((import.rows, import.props), (6, 4));
}

#[test]
fn nodes_of_a_prop_or_of_a_string() {
    let table = "name,nodes,strings\nowl,100,2\n";
    assert!(read(table).text.contains("strings 2 of 50 nodes"));
    let each = Reading { nodes_per_string: true, ..Reading::default() };
    let text = import("t.csv", table.as_bytes(), &each).unwrap().text;
    assert!(text.contains("strings 2 of 100 nodes"), "{text}");
    let said = read("name\tPixels per string\tstrings\nowl\t100\t2\n");
    assert!(said.text.contains("strings 2 of 100 nodes"), "{}", said.text);
}

#[test]
fn names_are_lawful_and_each_its_own() {
    let import =
        read("name,nodes\n12\" ball,5\n12 ball,5\n\u{fc}ber-,5\n--,5\n=SUM(A1),5\nowl,5\nowl,5\n");
    for name in
        ["prop-12-ball ", "prop-12-ball-2 ", "\u{fc}ber ", "prop ", "SUM-A1 ", "owl ", "owl-2 "]
    {
        assert!(plain(&import).contains(&format!("prop {name}{{")), "{name}\n{}", import.text);
    }
}

#[test]
fn what_can_t_be_read_is_refused_in_words() {
    for (bytes, why) in [
        (
            b"name,nodes\nS\xc3\xa4ule\xe4,5\n".as_slice(),
            "line 2 has the byte E4, which is not UTF-8",
        ),
        (b"\xff\xfen\0a\0", "it is UTF-16"),
        (b"PK\x03\x04", "it is an archive"),
        (b"name,no\0des", "NUL"),
        (b"", "it has no rows"),
        (b"name,nodes\n", "no row below its header"),
        (b"owl,50\nfox,20\n", "no header with a column of names"),
        (b"name,nodes\n\"owl,50\nfox,20\n", "a quote that is opened in line 2 is never closed"),
        (b"name,nodes\nowl,50\n\"fox,20\n", "a quote that is opened in line 3 is never closed"),
        (b"name,nodes\nowl,50\n\"fox,20", "a quote that is opened in line 3 is never closed"),
    ] {
        let said = import("t.csv", bytes, &Reading::default()).unwrap_err();
        assert!(said.contains(why), "{said}");
    }
    // A quote within a cell opens nothing.
    assert!(read("name,nodes\nowl,50\n12\" ball,5").text.contains("prop prop-12-ball "));
}

/// Rows are counted as a spreadsheet counts them, whatever ends a line.
#[test]
fn rows_are_counted_with_any_line_end() {
    for end in ["\n", "\r\n"] {
        let text =
            ["name,nodes", "owl,5", "", "fox,x", "\"two", "lines\",y", "hen,z", ""].join(end);
        let rows: Vec<usize> = read(&text).notes.iter().filter_map(|note| note.row).collect();
        assert_eq!(rows, [4, 5, 6], "{end:?}");
    }
}

/// Windows-1252 by the WHATWG's Encoding Standard: 0xE9 is U+00E9, 0x96 U+2013, 0x8E U+017D.
#[test]
fn a_table_in_latin_1_is_read() {
    let bytes = b"name,nodes\nh\xe9ron,5\n\x8eaba,6\n";
    let import = import("props.csv", bytes, &Reading::default()).unwrap();
    assert!(lost(&import).is_empty());
    assert!(import.text.contains("prop h\u{e9}ron"), "{}", import.text);
    assert!(import.text.contains("prop \u{17d}aba"), "{}", import.text);
    let first = import.notes.first().unwrap().to_string();
    assert!(first.starts_with("it is not UTF-8 and was read as Latin-1"), "{first}");
    // A text that is partly UTF-8 would be spoilt, and 0x81 has no letter.
    for bytes in [&b"name,nodes\nh\xc3\xa9ron,5\nf\xf6x,6\n"[..], b"name,nodes\nf\x81x,6\n"] {
        let why = super::import("props.csv", bytes, &Reading::default()).unwrap_err();
        assert!(why.contains("is not UTF-8: save it as"), "{why}");
    }
}

#[test]
fn workbooks_are_known_for_what_they_are() {
    let compound = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1";
    let locked: Vec<u8> = "EncryptedPackage".bytes().flat_map(|c| [c, 0]).collect();
    let locked = [&compound[..], &[0; 40], &locked].concat();
    let old = [&compound[..], &[0; 400]].concat();
    for (bytes, words) in
        [(&locked[..], "a workbook with a password"), (&old, "a workbook of the kind before 2007")]
    {
        let why = super::import("props.csv", bytes, &Reading::default()).unwrap_err();
        assert!(why.contains(words) && why.contains("save it as"), "{why}");
    }
}

/// Numbers and cells that once filled the memory, overflowed the stack or went round for ever.
#[test]
fn no_cell_costs_much() {
    let slashes = format!("name,nodes,{}\nowl,50,x\n", "/".repeat(100_000));
    let marks = format!("name,nodes,controller,port\nowl,50,hut,{}\n", "a-".repeat(16_000));
    let digits = format!("name,nodes,port\nowl,50,{}\n", "a1".repeat(100_000));
    for text in [
        "name,nodes,universe,slot,endslot\nowl,50,1-9999999999,5,154\n",
        "name,nodes,universe,slot,endslot\nowl,50,1-63999,5,154\n",
        "name,nodesperstrand,start\nowl,0,1/1\n",
        "name,channels\nowl,1-9999999999999\n",
        "name,nodes,startchannel,endchannel\nowl,5,1,18446744073709551615\n",
        "name,nodes,universe,slot\nowl,5,18446744073709551615,1\n",
        &slashes,
        &marks,
        &digits,
    ] {
        let notes = read(text).notes;
        assert!(!notes.is_empty(), "{:.90}", text);
    }
    let mut makes = Vec::new();
    let one = Make { colour: "RGB".to_owned(), depth: 8, slots: 3, ..Make::default() };
    for at in 0..3_000 {
        let volts = Some(format!("{at} V"));
        assert_eq!(super::makes::add(Make { volts, ..one.clone() }, None, &mut makes), at);
    }
}

#[test]
fn strands_are_never_lost_in_silence() {
    let part = "100 nodes in 1 string do not come out even in 8 strands; left out";
    let none = "5 strands of 30 nodes can't be spread evenly over 2 strings; the row is left out";
    for (table, setting, note) in [
        ("name,nodesperstring,strands\nowl,100,8\n", "string 100 nodes", part),
        ("name,nodes,strands\nowl,100,8\n", "string 100 nodes", part),
        ("name,nodesperstrand,strands,strings\nowl,30,5,2\n", "", none),
        (
            "name,nodesperstring,strings,strands\nowl,100,2,4\n",
            "strings 2 of 2 strands of 50 nodes",
            "",
        ),
        (
            "name,stringnumber,nodes,strands\nowl,1,100,4\nowl,2,100,2\n",
            "strings 1 of 4 strands of 25 nodes; strings 1 of 2 strands of 50 nodes",
            "",
        ),
    ] {
        let import = read(table);
        let lost = lost(&import).concat();
        assert!(if note.is_empty() { lost.is_empty() } else { lost.contains(note) }, "{lost}");
        assert!(plain(&import).replace('\n', "; ").contains(setting), "{}", import.text);
    }
}

#[test]
fn cells_are_not_lost_in_silence() {
    // The limit of a port whose cell names the controller.
    let import = read("name,nodes,port,limit\nowl,50,hut.3,600\n");
    assert!(plain(&import).contains("port 3 { nodes at most 600 }"), "{}", import.text);
    // Slots that no usual colour order takes.
    let lost = lost(&read("name,nodes,channels\nowl,50,350\n")).concat();
    assert!(lost.contains("7 channels for each node, and no colour order; taken as RGB"), "{lost}");
    for (lead, words) in
        [("\"1,200 mm\"", "lead 1200 mm"), ("\"1,2 m\"", "lead 1.2 m"), ("12.5 in", "lead 12.5 in")]
    {
        let import = read(&format!("name,nodes,controller,port,lead\nowl,50,hut,1,{lead}\n"));
        assert!(plain(&import).contains(words), "{lead}: {}", import.text);
    }
}

/// A note on a row has the heading of its own table, and no letter that steers a terminal.
#[test]
fn notes_name_their_own_column() {
    let first = "name,stringnumber,nodes\nowl,1,50\nowl,1,50\n";
    let tables = [("one.csv", first.as_bytes()), ("two.csv", b"Prop,Pixels\nfox,5\n")];
    let import = super::import_all(&tables, &Reading::default()).unwrap();
    let lost = lost(&import).concat();
    assert!(lost.contains("column `stringnumber`: \"owl\": row 2 has this string too"), "{lost}");
    let import = read("name,nodes,sameas\nowl,50,x\u{1b}[2J\n");
    assert!(import.notes.iter().all(|note| !note.to_string().contains('\u{1b}')));
}
