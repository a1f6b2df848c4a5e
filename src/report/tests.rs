//! The forms for programs, with awkward names, places and words.

use super::{ALL, count, spot};
use crate::diagnostic::{Diagnostic, Edit, Severity, Words};
use crate::source::{SourceMap, Span};
use serde_json::Value;

fn one(severity: Severity, span: Span) -> Diagnostic {
    let words = Words {
        message: "100 % of `a,b`:\u{1b} no".to_owned(),
        label: "here".to_owned(),
        why: "it stays dark".to_owned(),
        help: "write\n  string 5 nodes".to_owned(),
    };
    Diagnostic::new("port/nodes", severity, span, words)
        .and(Span::new(0, 3), "set here")
        .fix("say how many", vec![Edit { span: Span::new(11, 11), text: "}".to_owned() }])
}

fn sources() -> SourceMap {
    let mut sources = SourceMap::default();
    sources.add("my yard,1:2.tinsel", "雪 one\nt\n");
    sources
}

fn written(form: &str, findings: &[Diagnostic]) -> String {
    let (_, write) = ALL.iter().find(|(word, _)| *word == form).unwrap();
    let mut out = Vec::new();
    write(&sources(), findings, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

#[test]
fn json_has_the_contract_and_the_cure_to_the_byte() {
    let text = written("json", &[one(Severity::Error, Span::new(4, 7))]);
    let json: Value = serde_json::from_str(&text).unwrap();
    let first = &json["diagnostics"][0];
    assert_eq!(first["code"], "port/nodes");
    assert_eq!(first["severity"], "error");
    let label = &first["labels"][0];
    let place =
        ["line", "column", "end_line", "end_column"].map(|key| label[key].as_u64().unwrap());
    assert_eq!(place, [1, 3, 1, 6]);
    assert_eq!(label["text"], "here");
    let edit = &first["fix"]["edits"][0];
    assert_eq!((&edit["line"], &edit["column"]), (&Value::from(3), &Value::from(1)));
}

#[test]
fn short_is_one_line_without_control_characters() {
    let text = written("short", &[one(Severity::Warning, Span::new(4, 7))]);
    assert_eq!(
        text,
        "my yard,1:2.tinsel:1:3: warning[port/nodes]: 100 % of `a,b`:\\u{1b} no \
         (help: write   string 5 nodes)\n"
    );
}

#[test]
fn annotations_escape_what_would_end_them_and_stop_at_ten_of_a_kind() {
    let text = written("github", &vec![one(Severity::Advice, Span::new(4, 7)); 12]);
    let lines: Vec<&str> = text.lines().collect();
    assert_eq!(lines.len(), 12);
    assert!(
        lines[9].starts_with(
            "::notice file=my yard%2C1%3A2.tinsel,line=1,endLine=1,col=3,endColumn=6,\
             title=port/nodes::100 %25 of `a,b`:"
        ),
        "{text}"
    );
    assert!(lines[10].starts_with("my yard,1:2.tinsel:1:3: advice[port/nodes]"), "{text}");
}

#[test]
fn sarif_names_the_rule_the_place_and_a_print_of_each_finding() {
    let error = one(Severity::Error, Span::new(4, 7));
    let text = written("sarif", &[error.clone(), error]);
    let log: Value = serde_json::from_str(&text).unwrap();
    let run = &log["runs"][0];
    assert_eq!(run["columnKind"], "unicodeCodePoints");
    let result = &run["results"][0];
    let index = result["ruleIndex"].as_u64().unwrap();
    assert_eq!(
        run["tool"]["driver"]["rules"][usize::try_from(index).unwrap()]["id"],
        result["ruleId"]
    );
    let place = &result["locations"][0]["physicalLocation"];
    assert_eq!(place["artifactLocation"]["uri"], "my%20yard%2C1%3A2.tinsel");
    assert_eq!(place["region"]["startColumn"], 3);
    assert_eq!(result["relatedLocations"][0]["message"]["text"], "set here");
    let prints: Vec<&Value> = [0, 1].map(|at| &run["results"][at]["partialFingerprints"]).into();
    assert_ne!(prints[0], prints[1]);
}

#[test]
fn what_lies_behind_the_text_is_placed_at_its_last_visible_character() {
    let sources = sources();
    let end = sources.files()[0].span().end;
    for start in [end - 1, end, end + 40] {
        let place = spot(&sources, Span::new(start, start));
        assert_eq!((place.line, place.column, place.end_column), (2, 1, 2));
    }
}

#[test]
fn a_count_names_what_there_is() {
    let error = one(Severity::Error, Span::default());
    let advice = one(Severity::Advice, Span::default());
    assert_eq!(count(&[]), "no errors");
    assert_eq!(count(&[error.clone(), error, advice]), "2 errors, 1 piece of advice");
}
