//! Small tables read by hand.

use super::{Grade, Import, Reading, import};

fn read(text: &str) -> Import {
    import("props.csv", text.as_bytes(), Reading::default()).unwrap()
}

/// A display with its columns moved together.
fn plain(import: &Import) -> String {
    let lines = import.text.lines().map(|line| {
        let words: Vec<&str> = line.split_whitespace().collect();
        words.join(" ") + "\n"
    });
    lines.collect()
}

fn lost(import: &Import) -> Vec<String> {
    let notes = import.notes.iter().filter(|note| note.grade == Grade::Lost);
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
         owl,two,50,1,hut,1,x\nfox,1,many,1,hut,2,\n,1,50,1,hut,3,\nhen,1,101,2,hut,4,\nelk,1,50,1,,5,\ncow,1,50,1,hut,left,\n",
    );
    assert_eq!(
        lost(&import),
        [
            "row 4, column `count`: \"two\": no number that fits here; taken as 1",
            "row 5, column `nodes`: \"many\": no number that fits here; the row is left out",
            "row 6, column `name`: no name; the row is left out",
            "row 7, column `nodes`: \"101\": 101 nodes do not come out even in 2 strings; 1 of them got 51 and the rest 50",
            "row 8, column `port`: \"5\": a port without a controller; the port is left open",
            "row 9, column `port`: \"left\": no port that is understood; the port is left open",
        ]
    );
    let told: Vec<String> = import
        .notes
        .iter()
        .filter(|n| n.grade == Grade::Told)
        .map(ToString::to_string)
        .collect();
    assert_eq!(
        told,
        [
            "column `Glue`: no column that a display has; left out",
            "row 1: \"Yard 2026\" stands above the header; left out",
        ]
    );
    assert_eq!((import.rows, import.props), (6, 4));
}

#[test]
fn nodes_of_a_prop_or_of_a_string() {
    let table = "name,nodes,strings\nowl,100,2\n";
    assert!(read(table).text.contains("strings 2 of 50 nodes"));
    let each = Reading {
        nodes_per_string: true,
    };
    let text = import("t.csv", table.as_bytes(), each).unwrap().text;
    assert!(text.contains("strings 2 of 100 nodes"), "{text}");
    let said = read("name\tPixels per string\tstrings\nowl\t100\t2\n");
    assert!(
        said.text.contains("strings 2 of 100 nodes"),
        "{}",
        said.text
    );
}

#[test]
fn names_are_lawful_and_each_its_own() {
    let import =
        read("name,nodes\n12\" ball,5\n12 ball,5\n\u{fc}ber-,5\n--,5\n=SUM(A1),5\nowl,5\nowl,5\n");
    for name in [
        "prop-12-ball ",
        "prop-12-ball-2 ",
        "\u{fc}ber ",
        "prop ",
        "SUM-A1 ",
        "owl ",
        "owl-2 ",
    ] {
        assert!(
            plain(&import).contains(&format!("prop {name}{{")),
            "{name}\n{}",
            import.text
        );
    }
}

#[test]
fn what_can_t_be_read_is_refused_in_words() {
    for (bytes, why) in [
        (
            b"name,nodes\nS\xe4ule,5\n".as_slice(),
            "line 2 has the byte E4, which is no UTF-8",
        ),
        (b"\xff\xfen\0a\0", "it is UTF-16"),
        (b"PK\x03\x04", "it is a workbook"),
        (b"name,no\0des", "NUL"),
        (b"", "it has no rows"),
        (b"name,nodes\n", "no row below its header"),
        (b"owl,50\nfox,20\n", "no header with a column of names"),
        (
            b"name,nodes\n\"owl,50\nfox,20\n",
            "a quote that is opened in line 2 is never closed",
        ),
    ] {
        let said = import("t.csv", bytes, Reading::default()).unwrap_err();
        assert!(said.contains(why), "{said}");
    }
}
