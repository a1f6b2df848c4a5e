//! Any label in any text is drawn without a panic.

use super::{Look, render, write};
use crate::diagnostic::{Diagnostic, Severity, Words};
use crate::source::{SourceMap, Span};
use proptest::prelude::*;

const LOOK: Look = Look { colour: false, ascii: false, names: false, width: 100 };

fn finding(span: Span, label: &str) -> Diagnostic {
    let words = Words {
        message: "port `boathouse.3` has 820 nodes, but its limit is 800".to_owned(),
        label: label.to_owned(),
        why: "the last 20 nodes would stay dark".to_owned(),
        help: "move 20 nodes to another port".to_owned(),
    };
    Diagnostic::new("port/nodes", Severity::Error, span, words)
}

fn sources(texts: &[(&str, &str)]) -> SourceMap {
    let mut sources = SourceMap::default();
    for (name, text) in texts {
        sources.add(name, text);
    }
    sources
}

fn span_of(sources: &SourceMap, needle: &str) -> Span {
    let find = |file: &crate::source::SourceFile| {
        let at = file.text.find(needle)? as u32 + file.base;
        Some(Span::new(at, at + needle.len() as u32))
    };
    sources.files().iter().find_map(find).unwrap()
}

#[test]
fn one_finding_is_message_picture_reason_and_cure() {
    let sources = sources(&[("yard.tinsel", "one\ntwo three\nfour\n")]);
    let shown = render(&sources, &finding(span_of(&sources, "three"), "20 too many"), LOOK);
    let wanted = "  × error[port/nodes]: port `boathouse.3` has 820 nodes, but its limit is 800
   ╭─[yard.tinsel:2:5]
 1 │ one
 2 │ two three
   ·     ──┬──
   ·       ╰── 20 too many
 3 │ four
   ╰────
   why: the last 20 nodes would stay dark
  help: move 20 nodes to another port
";
    assert_eq!(shown, wanted);
}

#[test]
fn in_ascii_nothing_else_is_drawn() {
    let sources =
        sources(&[("yard.tinsel", &format!("{}three{}", "x".repeat(300), "y".repeat(300)))]);
    let look = Look { ascii: true, ..LOOK };
    let shown = render(&sources, &finding(span_of(&sources, "three"), "here"), look);
    assert!(shown.is_ascii(), "{shown}");
    assert!(shown.contains("here"), "{shown}");
}

#[test]
fn labels_in_two_files_are_two_pictures_and_the_offending_one_comes_first() {
    let sources = sources(&[
        ("yard.tinsel", "limit 800\n\n\n\n\n\nfirst\n"),
        ("parts/more.tinsel", "a\nb\nwrong\n"),
    ]);
    let finding = finding(span_of(&sources, "wrong"), "this one")
        .and(span_of(&sources, "800"), "set here")
        .and(span_of(&sources, "first"), "taken here");
    let shown = render(&sources, &finding, LOOK);
    let heads: Vec<&str> = shown.lines().filter(|line| line.contains("─[")).collect();
    assert_eq!(
        heads,
        ["   ╭─[parts/more.tinsel:3:1]", "   ╭─[yard.tinsel:1:7]", "   ╭─[yard.tinsel:7:1]"],
        "{shown}"
    );
    for text in ["this one", "set here", "taken here"] {
        assert!(shown.contains(text), "{shown}");
    }
}

#[test]
fn columns_are_characters_as_in_json() {
    let sources = sources(&[("yard.tinsel", "\u{feff}\t雪 é three")]);
    let finding = finding(span_of(&sources, "three"), "here");
    let shown = render(&sources, &finding, LOOK);
    let place = crate::report::spot(&sources, finding.span());
    assert_eq!((place.line, place.column), (1, 6));
    assert!(shown.contains("[yard.tinsel:1:6]"), "{shown}");
    // The tab is four columns wide here, the snow two: the mark stands under the word.
    let lines: Vec<&str> = shown.lines().collect();
    assert_eq!(lines[2], " 1 │     雪 é three");
    assert_eq!(lines[3], "   ·          ──┬──");
}

#[test]
fn what_would_steer_a_terminal_is_written_out_and_the_mark_still_fits() {
    let sources = sources(&[("a\u{1b}[2J", "x \u{1b}[31m\u{202e} three\r\nnext")]);
    let mut finding = finding(span_of(&sources, "three"), "he\u{7}re");
    finding.message.push('\u{9b}');
    let shown = render(&sources, &finding, LOOK);
    assert!(!shown.contains(|c: char| c != '\n' && c.is_control()), "{shown:?}");
    assert!(!shown.contains('\u{202e}'), "{shown:?}");
    let lines: Vec<&str> = shown.lines().collect();
    let at = |line: &str, what: &str| line.find(what).map(|at| line[..at].chars().count());
    assert_eq!(at(lines[2], "three"), at(lines[3], "──┬──"), "{shown}");
}

#[test]
fn a_label_behind_the_last_character_points_at_it() {
    for text in ["one", "one\n", "one\n\n  \n", "one\r\n"] {
        let sources = sources(&[("yard.tinsel", text)]);
        let end = text.len() as u32;
        let shown = render(&sources, &finding(Span::new(end, end), "a `}` is missing"), LOOK);
        assert!(shown.contains("[yard.tinsel:1:3]"), "{text:?}\n{shown}");
        assert!(shown.contains("a `}` is missing"), "{text:?}\n{shown}");
    }
}

#[test]
fn an_empty_text_shows_its_label() {
    let sources = sources(&[("yard.tinsel", "")]);
    let shown = render(&sources, &finding(Span::default(), "nothing here"), LOOK);
    assert!(shown.contains("nothing here"), "{shown}");
    let none = render(&SourceMap::default(), &finding(Span::default(), "nowhere"), LOOK);
    assert!(none.contains("help: move 20 nodes"), "{none}");
}

#[test]
fn a_line_of_a_hundred_thousand_columns_is_clipped_around_its_label() {
    let text = format!("{} three {}", "x".repeat(100_000), "y ".repeat(50_000));
    let sources = sources(&[("yard.tinsel", &text)]);
    let shown = render(&sources, &finding(span_of(&sources, "three"), "here"), LOOK);
    assert!(shown.contains("[yard.tinsel:1:100002]"), "{shown}");
    assert!(shown.contains(" three "), "{shown}");
    assert!(shown.lines().all(|line| line.chars().count() <= 100), "{shown}");
}

#[test]
fn at_most_a_hundred_are_printed_and_the_rest_counted() {
    let sources = sources(&[("yard.tinsel", "one\n")]);
    let many = vec![finding(Span::new(0, 3), "here"); 103];
    let mut out = Vec::new();
    write(&sources, &many, LOOK, &mut out).unwrap();
    let out = String::from_utf8(out).unwrap();
    assert_eq!(out.matches("error[port/nodes]").count(), 100);
    assert!(out.contains("and 3 more"), "{}", &out[out.len() - 80..]);
}

#[test]
fn every_stretch_of_an_awkward_text_is_drawn() {
    let text = "\u{feff}ab\t雪\r\n\r\n e\u{301}\u{200d}x\u{1b}\n\n}\n ";
    let sources = sources(&[("yard.tinsel", text), ("b.tinsel", "next")]);
    let most = text.len() as u32 + 7;
    for start in 0..most {
        for end in start..most {
            let label = finding(Span::new(start, end), "first").and(Span::new(end, most), "second");
            let shown = render(&sources, &label, LOOK);
            assert!(shown.contains("first"), "{start}..{end}\n{shown}");
            assert!(shown.contains("second"), "{start}..{end}\n{shown}");
            assert!(!shown.contains("Failed to read"), "{start}..{end}\n{shown}");
        }
    }
}

proptest! {
    #[test]
    fn any_text_and_any_labels_are_drawn(
        text in "(?s).{0,300}",
        spans in prop::collection::vec((0_u32..1400, 0_u32..200), 1..6),
        width in 20_usize..130,
        ascii in any::<bool>(),
    ) {
        let sources = sources(&[("yard.tinsel", &text)]);
        let (start, length) = spans[0];
        let mut finding = finding(Span::new(start, start + length), "first");
        for (start, length) in &spans[1..] {
            finding = finding.and(Span::new(*start, start + length), "more");
        }
        let shown = render(&sources, &finding, Look { ascii, width, ..LOOK });
        prop_assert!(shown.contains("first"));
        prop_assert_eq!(shown.matches("more").count() >= spans.len() - 1, true);
        prop_assert!(!shown.contains(|c: char| c != '\n' && c.is_control()));
    }
}
