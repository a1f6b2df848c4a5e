//! What golden files do not show: the shape of the tree, what is kept after a mistake, and that
//! hostile texts take little time.

use super::parse;
use crate::ast::{Arg, Ast, Body, Expr, Operator, PinKind, RunKind, Setting, StatementKind};
use crate::ast::{Block, Item};
use crate::diagnostic::{Diagnostic, Sink};
use crate::source::{SourceMap, Span};
use std::time::{Duration, Instant};

/// A display with a bit of everything.
const DISPLAY: &str = "# Kestrel Quay\n\
    display \"Kestrel Quay\" { frame rate 40 Hz; dim to 30 % }\n\
    node bullet {          # one pixel\n    chip ws2811\n    colour RGB\n    volts 12V\n}\n\
    controller boathouse {\n    host 192.168.40.11\n    stands at -3 m, 2.5 m\n\
    \x20   ports 1..16 { chip ws2811; nodes at most 800 }\n    dmx 1\n}\n\
    prop heron * 6 { node bullet; string 70 nodes }\nprop heron[3, 5..6] { string 69 nodes }\n\
    prop roof { node bullet\n    string eaves: left 34 nodes -> skip 1\n        -> lead 3 m -> right 46 nodes }\n\
    let per-side = 4 * (28 - 2)\nwire boathouse.3: lead 4 m of 18 AWG -> heron[1] at 12/1 -> skip 1 -> heron[3..2]\n\
    wire any: roof, heron by 2\nreserve universes 40..44 \"kiosk\"\nstored heron[4]\nrenamed egret -> heron\n\
    supply shed { volts 12 V; rated 350 W }\npower boathouse.1..16 from shed through 0.5 m of 12 AWG\n\
    inject roof every 6 strands from shed through 3 m of 16 AWG fuse 5 A apart\ninclude \"porch.tinsel\"\n";

/// Parses a text that does not stand at the beginning of the offset space.
fn read(text: &str) -> (Ast, Vec<Diagnostic>, SourceMap) {
    let mut sources = SourceMap::default();
    sources.add("first", "before").expect("room");
    sources.add("second", text).expect("room");
    let mut sink = Sink::default();
    let ast = parse(&sources.files()[1], &mut sink);
    (ast, sink.finish(), sources)
}

/// The settings of the only statement of a text that has nothing wrong.
fn settings(text: &str) -> (Vec<Setting>, SourceMap) {
    let (mut ast, findings, sources) = read(text);
    assert_eq!(findings, [], "{text}");
    match ast.statements.pop().map(|statement| statement.kind) {
        Some(StatementKind::Block(block)) => (block.settings, sources),
        other => panic!("{other:?}"),
    }
}

/// Arithmetic as it binds: `(1+(2*3))`.
fn bound(expr: &Expr, sources: &SourceMap) -> String {
    match expr {
        Expr::Number(span, ..) | Expr::Broken(span) => sources.text(*span).to_owned(),
        Expr::Name(name) => sources.text(name.span).to_owned(),
        Expr::Negate(_, inner) => format!("-{}", bound(inner, sources)),
        Expr::Binary(binary) => {
            let mark = match binary.operator {
                Operator::Add => '+',
                Operator::Subtract => '-',
                Operator::Multiply => '*',
                Operator::Divide => '/',
            };
            let (left, right) = (bound(&binary.left, sources), bound(&binary.right, sources));
            format!("({left}{mark}{right})")
        }
    }
}

/// The words and values of a setting, each with a letter for what it is.
fn args(text: &str) -> String {
    let (settings, sources) = settings(&format!("prop a {{ {text} }}"));
    let word = |span: Span| sources.text(span).to_owned();
    let arg = |arg: &Arg| match arg {
        Arg::Word(one) => format!("w:{}", word(one.span)),
        Arg::Text(one) => format!("t:{}", word(one.span)),
        Arg::Address(one) => format!("a:{}", word(one.span)),
        Arg::Reference(one) => format!("r:{}", word(one.span)),
        Arg::Comma(_) => ",".to_owned(),
        Arg::Number(one) => {
            let unit = one.unit.map_or(String::new(), |unit| word(unit.span));
            format!("n:{}{unit}", bound(&one.value, &sources))
        }
        Arg::Range(range) => {
            let to = range.to.as_ref().map_or(String::new(), |to| bound(to, &sources));
            format!("{}..{to}", bound(&range.from, &sources))
        }
    };
    let args: Vec<String> = settings[0].args.iter().map(arg).collect();
    args.join(" ")
}

#[test]
fn words_and_values() {
    for (text, shape) in [
        ("string 4 * 28 + 2 nodes", "n:((4*28)+2)nodes"),
        ("string 2 + 4 * 28 nodes", "n:(2+(4*28))nodes"),
        ("string n + 4 * 28 nodes", "n:(n+(4*28))nodes"),
        ("string n * 4 - 28 / 2 nodes", "n:((n*4)-(28/2))nodes"),
        ("string 10 - 3 - 2 nodes", "n:((10-3)-2)nodes"),
        ("string (10 - (3 - 2)) * 2 nodes", "n:((10-(3-2))*2)nodes"),
        ("string per-side - 1 nodes", "n:(per-side-1)nodes"),
        ("string per-side-1 nodes", "n:per-side-1nodes"),
        ("spare n nodes per port", "n:nnodes w:per w:port"),
        ("nodes at most n", "w:at w:most w:n"),
        ("dim to n %", "w:to n:n%"),
        ("stands at -3 m, - 2.5m", "w:at n:-3m , n:-2.5m"),
        ("stands at --3 m, 0", "w:at n:3m , n:0"),
        ("strings 2 of 12 strands of 30 nodes", "n:2 w:of n:12strands w:of n:30nodes"),
        ("host 192.168.40.11", "a:192.168.40.11"),
        ("host [fe80::1]", "a:[fe80::1]"),
        ("host one.two.local", "a:one.two.local"),
        ("host yard.local", "r:yard.local"),
        ("same as heron[2].1", "w:as r:heron[2].1"),
        ("carries boathouse.9..12", "r:boathouse.9..12"),
        ("ports a..b + 1", "a..(b+1)"),
        ("whole nodes", "w:nodes"),
        ("label \"a # b; } {\"", "t:a # b; } {"),
        ("gauge 0.5mm²", "n:0.5mm²"),
        ("string 007 nodes", "n:007nodes"),
    ] {
        assert_eq!(args(text), shape, "{text}");
    }
}

#[test]
fn runs() {
    let (settings, _) = settings(
        "prop a { string: left n nodes -> n nodes -> left 3 nodes -> skip n -> lead 2 m of 18 AWG }",
    );
    let Body::Runs(runs) = &settings[0].body else { panic!("{settings:?}") };
    let shape: Vec<&str> = runs
        .iter()
        .map(|run| match &run.kind {
            RunKind::Nodes(Some(_), _) => "named",
            RunKind::Nodes(None, _) => "nodes",
            RunKind::Skip(_) => "skip",
            RunKind::Lead(_, Some(_)) => "lead of",
            RunKind::Lead(_, None) => "lead",
        })
        .collect();
    assert_eq!(shape, ["named", "nodes", "named", "skip", "lead of"]);
}

/// The words of chains are keywords only where they can stand.
#[test]
fn items() {
    let (ast, findings, sources) = read(
        "wire any: skip -> lead[2], skip 3 -> lead 3 m -> at at 4 / 2, by by 2 at channel 7\n",
    );
    assert_eq!(findings, []);
    let StatementKind::Wire(wire) = &ast.statements[0].kind else { panic!() };
    let shape: Vec<String> = wire
        .chains
        .iter()
        .flat_map(|chain| &chain.items)
        .map(|item| match item {
            Item::Skip(..) => "-".to_owned(),
            Item::Lead(..) => "=".to_owned(),
            Item::Reference(one, by, pin) => {
                let pin = pin.as_ref().map_or("", |pin| match pin.kind {
                    PinKind::UniverseSlot(..) => "@/",
                    PinKind::Channel(_) => "@c",
                    PinKind::Slot(_) => "@",
                });
                let by = if by.is_some() { "|" } else { "" };
                format!("{}{by}{pin}", sources.text(one.span))
            }
        })
        .collect();
    assert_eq!(shape, ["skip", "lead[2]", "-", "=", "at@/", "by|@c"]);
}

/// A mistake in one place gives one finding and hides nothing elsewhere.
#[test]
fn what_is_kept() {
    for (text, statements, keys) in [
        ("prop a { node x; string = 3; volts 5 V }\nwire b: a", 2, 2),
        ("prop a {\n node x\n string 3 nodes\n\nprop b { }\nwire c: b", 3, 2),
        ("prop a\n node x\n string 3 nodes\n}\nwire c: b", 2, 2),
        ("prop a\n{\n node x\n string 3 nodes\n}\nwire c: b", 2, 2),
        ("prop a { label \"x; string 3 nodes }\nprop b { node x }\n", 2, 0),
        ("prop a { ports 1..2 { chip = x; volts 5 V }; node y }\n", 1, 2),
        ("controller a {\n ports 1..4 chip x }\n host b\n}\n", 1, 2),
        ("<<<<<<< a\nprop a { node x }\n=======\nprop a { node y }\n>>>>>>> b\n", 1, 1),
        ("prop a { node x } // y\nprop b { }", 2, 1),
    ] {
        let (ast, findings, sources) = read(text);
        assert_eq!(findings.len(), 1, "{text}: {findings:#?}");
        assert!(ast.broken, "{text}");
        assert_eq!(ast.statements.len(), statements, "{text}");
        let Some(StatementKind::Block(Block { settings, .. })) =
            ast.statements.first().map(|s| &s.kind)
        else {
            panic!("{text}");
        };
        assert_eq!(settings.len(), keys, "{text}");
        assert!(sources.text(findings[0].span()).len() <= text.len());
    }
}

/// The words of text that was left out may be names declared there.
#[test]
fn what_is_mentioned() {
    let (ast, _, sources) = read("porp heron-2 { string 3 nodes }\nwire a.1: b\n");
    let words: Vec<&str> = ast.mentioned.iter().map(|word| sources.text(word.span)).collect();
    assert_eq!(words, ["porp", "heron-2", "string", "nodes"]);
}

/// A display cut off anywhere gives at most two findings, each at a place of the text.
#[test]
fn every_truncation() {
    for end in (0..=DISPLAY.len()).filter(|end| DISPLAY.is_char_boundary(*end)) {
        let text = &DISPLAY[..end];
        let (_, findings, sources) = read(text);
        assert!(findings.len() <= 2, "{text}\n{findings:#?}");
        let file = &sources.files()[1];
        for label in findings.iter().flat_map(|finding| &finding.labels) {
            let (start, end) = (label.span.start - file.base, label.span.end - file.base);
            assert!(text.get(start as usize..end as usize).is_some(), "{label:?}\n{text}");
        }
    }
    let (ast, findings, _) = read(DISPLAY);
    assert_eq!((ast.statements.len(), ast.broken, findings.len()), (16, false, 0));
}

/// Texts on which a careless parser takes too much time, stack or memory.
#[test]
fn hostile_texts() {
    let started = Instant::now();
    for part in [
        "{",
        "}",
        "(",
        "[",
        "\"",
        "/",
        "*",
        "\"\n",
        "\"\\\"",
        "\"\\\\\n",
        "->",
        "-",
        "1+",
        "a,",
        "controller a {",
        "controller a {\n",
        "controller a {\nprop b }\n",
        "prop a\n}\n",
        "/*",
        "“",
        "“\n",
        "=======\n",
        "<<<<<<< a\n=======\n",
        "# \n",
        "\r",
        "a\u{200d}",
        "wire a: b,\n",
        "prop a {}\nx\n}\n",
        "{\n",
        "x {",
    ] {
        for (before, after) in [("", ""), ("let x = ", "1"), ("prop a { ", " }"), ("wire a: b", "")]
        {
            let text = format!("{before}{}{after}", part.repeat(20_000));
            let (_, findings, _) = read(&text);
            let lawful = part == "# \n" || !before.is_empty();
            assert!(lawful || !findings.is_empty(), "{part}");
        }
    }
    // About 3 s on a slow machine without optimization; anything quadratic takes minutes.
    assert!(started.elapsed() < Duration::from_secs(60), "{:?}", started.elapsed());
}

/// A curly quote glued to the `}` of a block, and another `}` further down.
#[test]
fn places_are_on_characters() {
    let text =
        "node bud { volts 12 V }\u{201c}a shed\u{201d}\n    draw? colour RGB; volts 12 V }\n";
    let (_, findings, sources) = read(text);
    let base = sources.files()[1].base;
    assert!(!findings.is_empty());
    for label in findings.iter().flat_map(|finding| &finding.labels) {
        let range = (label.span.start - base) as usize..(label.span.end - base) as usize;
        assert!(text.get(range).is_some(), "{}", label.text);
    }
}
