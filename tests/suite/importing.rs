//! Tables of props, sound and not: what comes of them always parses, and is told where it is not as it was.

use crate::check;
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
        let port = if number % 4 == 0 {
            String::new()
        } else {
            (1 + number / 3).to_string()
        };
        let nodes = (20 + number % 50) * strings;
        let name = format!("Prop No. {number}");
        table.push_str(&format!(
            "{name};{count};{nodes};{strings};Box {};{port}\n",
            number % 3
        ));
    }
    let import = imported(&table);
    assert!(import.notes.iter().all(|note| note.grade == Grade::Told));
    let compiled = check::one(&import.text);
    assert!(
        compiled.findings.is_empty(),
        "{}\n{}",
        check::told(&compiled),
        import.text
    );
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
    assert!(
        compiled.findings.is_empty(),
        "{}\n{}",
        check::told(&compiled),
        import.text
    );
    assert_eq!(compiled.model.props.len(), 6);
}

#[test]
fn a_table_without_controllers_gets_one() {
    // More nodes than a frame of the usual length has time for: the boxes drove it, at fewer frames.
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

    /// Bytes that nobody meant are refused or read, and never more.
    #[test]
    fn any_bytes_are_answered(bytes in proptest::collection::vec(any::<u8>(), 0..200)) {
        let mut table = b"name,nodes\n".to_vec();
        table.extend(bytes);
        let _ = import("props.csv", &table, &Reading::default());
    }
}
