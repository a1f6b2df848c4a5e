//! The answers of the editor's core: each as a full compile gives it, and each change as it says.

mod completing;
mod edits;
mod offered;
mod renames;

use crate::check::LOCK;
use crate::examples::{EXAMPLES, texts};
use std::collections::BTreeMap;
use tinsel::diagnostic::{Edit, Severity};
use tinsel::editor::desk::Desk;
use tinsel::editor::{actions, edited, format, hover, names, outline};
use tinsel::source::{Loaded, Memory, Span};
use tinsel::{Compiled, compile_beside};

/// The texts of a display by name, its main file's name, and its lock.
#[derive(Clone)]
pub struct Texts {
    main: String,
    texts: BTreeMap<String, String>,
    lock: Option<String>,
}

impl Texts {
    /// One text without a lock.
    fn one(text: &str) -> Self {
        Self {
            main: "yard.tinsel".to_owned(),
            texts: BTreeMap::from([("yard.tinsel".to_owned(), text.to_owned())]),
            lock: None,
        }
    }

    /// An example with the lock that a build writes.
    fn example(main: &str) -> Self {
        let all = texts(main);
        let mut texts =
            Self { main: all[0].0.clone(), texts: all.into_iter().collect(), lock: None };
        texts.lock = Some(texts.compiled().next_lock());
        texts
    }

    fn files(&self) -> Memory {
        let all = self.texts.iter();
        all.fold(Memory::default(), |files, (name, text)| files.with(name, text))
    }

    fn loaded(&self) -> Loaded {
        Loaded {
            identity: self.main.clone(),
            name: self.main.clone(),
            bytes: self.texts[&self.main].clone().into_bytes(),
        }
    }

    fn lock(&self) -> Option<Loaded> {
        self.lock.as_ref().map(|lock| Loaded {
            identity: LOCK.to_owned(),
            name: LOCK.to_owned(),
            bytes: lock.clone().into_bytes(),
        })
    }

    fn compiled(&self) -> Compiled {
        compile_beside(&self.files(), self.loaded(), self.lock())
    }

    fn on(&self, desk: &mut Desk) {
        desk.compile(&self.files(), self.loaded(), self.lock());
    }

    fn desk(&self) -> Desk {
        let mut desk = Desk::default();
        self.on(&mut desk);
        desk
    }

    /// With some edits of a desk's texts.
    fn with(&self, desk: &Desk, edits: &[Edit]) -> Self {
        let mut texts = self.clone();
        for (name, text) in &mut texts.texts {
            if let Some(file) = desk.file(name) {
                *text = edited(file, edits);
            }
        }
        // The lock stands last among the texts of a compile.
        let sources = desk.compiled().map(|one| one.sources.files());
        let last = sources.and_then(<[_]>::last).filter(|file| file.name == LOCK);
        if let (Some(lock), Some(file)) = (&mut texts.lock, last) {
            *lock = edited(file, edits);
        }
        texts
    }
}

/// The offset in a desk of a stretch of a text.
fn at(desk: &Desk, name: &str, needle: &str) -> u32 {
    let file = desk.file(name).unwrap();
    file.base + file.text.find(needle).unwrap_or_else(|| panic!("no {needle}")) as u32
}

/// Where each string of a display lies, by number.
fn places(compiled: &Compiled) -> Vec<Option<(u64, u64, u32)>> {
    let placed = compiled.plan.placed.iter();
    placed.map(|one| one.map(|one| (one.start, one.end, one.port))).collect()
}

fn errors(compiled: &Compiled) -> usize {
    compiled.count(Severity::Error)
}

#[test]
fn hints_of_the_first_example() {
    let texts = Texts::example(EXAMPLES[0].0);
    let desk = texts.desk();
    let file = desk.file("porch.tinsel").unwrap();
    let mut shown = file.text.to_string();
    for hint in desk.hints("porch.tinsel").iter().rev() {
        shown.insert_str(hint.at as usize, &format!(" <{}>", hint.text));
    }
    let wires: Vec<&str> = shown.lines().filter(|line| line.starts_with("wire")).collect();
    // Worked out by hand: three slots a node, a port after the other from 1/1.
    assert_eq!(
        wires,
        [
            "wire porch.1: window-left <1/1> -> door-arch <1/193> -> wreath <1/463> -> window-right <2/101> <268 of 600>",
            "wire porch.2: gutter <2/293> -> star <3/141> <156 of 600>",
            "wire porch.3: fence <3/249> <148 of 600>",
            "wire porch.4: pear-tree <4/181> <150 of 600>",
        ]
    );
}

#[test]
fn hints_follow_after_and_arithmetic_and_stay_as_old_ones() {
    let text = "node n { chip ws2811; colour RGB }\nlet row = 4 * 5\n\
                controller a { universes from 7; ports 1..2 { nodes at most 90 } }\n\
                controller b { universes after a; ports 1 { } }\n\
                prop p * 2 { node n; string row + 10 nodes }\nprop q { node n; string 9 nodes }\n\
                wire a: p\nwire b.1: q\n";
    let mut texts = Texts::one(text);
    let mut desk = texts.desk();
    let told = |desk: &Desk| -> Vec<String> {
        let hints = desk.hints("yard.tinsel").into_iter();
        hints.map(|hint| format!("{}{}", hint.text, if hint.old { "?" } else { "" })).collect()
    };
    let now = ["= 20", "8", "= 30", "7/1", "a.1: 60 of 90", "8/1", "9 of 800"];
    let found = told(&desk);
    assert_eq!(found[..5], now[..5], "{found:?}");
    assert_eq!(found[5], now[5]);
    let broken = texts.texts.get_mut("yard.tinsel").unwrap();
    *broken = broken.replace("wire a: p", "wire a: pp");
    texts.on(&mut desk);
    let old = told(&desk);
    assert!(old.iter().all(|hint| hint.ends_with('?')), "{old:?}");
    assert_eq!(old[0], "= 20?");
}

#[test]
fn hover_says_what_stands_there() {
    let texts = Texts::example("examples/veteran/yard.tinsel");
    let desk = texts.desk();
    let hover_at = |name: &str, needle: &str, on: u32| {
        hover::hover(&desk, at(&desk, name, needle) + on).map_or(String::new(), |one| one.markdown)
    };
    let prop = hover_at("pond.tinsel", "duck[1..6]", 1);
    assert!(prop.contains("prop duck * 18 { node bulb; string 30 nodes }"), "{prop}");
    assert!(prop.contains("`duck[1]` | 30 | 90 | 121/1"), "{prop}");
    assert!(!prop.contains("`duck[7]`"), "{prop}");
    let setting = hover_at("controllers.tinsel", "addressing consecutive", 2);
    assert!(setting.contains("each port begins where the one before it ends"), "{setting}");
    let port = hover_at("stock/boards.tinsel", "nodes at most 800", 2);
    assert!(port.contains("what one frame has time for"), "{port}");
    let pin = hover_at("house.tinsel", "26/224", 3);
    assert!(pin.contains("slot 1 of `door-crown`, house.14"), "{pin}");
    let value = hover_at("house.tinsel", "panes * 10", 2);
    assert!(value.contains("let panes = 6"), "{value}");
    let controller = hover_at("house.tinsel", "house.7", 2);
    assert!(controller.contains("| `house.7` | "), "{controller}");
    let division = "node n { colour RGB }\ncontroller c { ports 1 { } }\nlet a = 100/2\n\
                    prop b { node n; string 100/4 nodes; stands at 8/4 m, 2 m }\nwire c.1: b at 12/307\n# 12/308\n";
    let divides = Texts::one(division).desk();
    for (needle, address) in
        [("100/2", false), ("100/4", false), ("8/4", false), ("12/307", true), ("12/308", true)]
    {
        let hover = hover::hover(&divides, at(&divides, "yard.tinsel", needle) + 1);
        let is = hover.is_some_and(|one| one.markdown.contains("channel"));
        assert_eq!(is, address, "{needle}");
    }
    let comment = Texts::one("# see port/nodes\n").desk();
    let page = hover::hover(&comment, 8).unwrap().markdown;
    assert!(page.contains("port/nodes (error)"), "{page}");
    assert_eq!(hover::hover(&comment, 1), None);
}

/// Every setting of the table has its line in the guide.
#[test]
fn each_setting_has_a_line_to_show() {
    use tinsel::ast::BlockKind;
    use tinsel::resolve::settings::{Scope, rows};
    let mut missing = String::new();
    for scope in BlockKind::ALL.map(Scope::Of).into_iter().chain([Scope::Ports]) {
        for row in rows(scope) {
            let section = match scope {
                Scope::Ports => "Ports",
                Scope::Of(kind) => kind.word(),
            };
            if hover::guide_line(section, row.example).is_none() {
                missing.push_str(&format!("{section}: {}\n", row.example));
            }
        }
    }
    assert!(missing.is_empty(), "{missing}");
}

#[test]
fn definition_leads_across_files() {
    let texts = Texts::example("examples/veteran/yard.tinsel");
    let desk = texts.desk();
    for (file, needle, target, declared) in [
        ("house.tinsel", "house.1:", "controllers.tinsel", "house like board-16"),
        ("pond.tinsel", "bank-west.1", "controllers.tinsel", "bank-west { carries"),
        ("controllers.tinsel", "board-16", "stock/boards.tinsel", "board-16 {\n"),
        ("house.tinsel", "eaves.front", "house.tinsel", "eaves { node strip"),
        ("house.tinsel", "front\n", "house.tinsel", "front: 300"),
        ("house.tinsel", "bulb", "nodes.tinsel", "bulb  {"),
        ("stock/boards.tinsel", "fine-16", "nodes.tinsel", "fine-16 {"),
        ("house.tinsel", "panes * 10", "house.tinsel", "panes = 6"),
        ("yard.tinsel", "nodes.tinsel\"", "nodes.tinsel", "# Makes"),
    ] {
        let found = names::definition(&desk, at(&desk, file, needle));
        let own: Vec<u32> = found.iter().map(|span| span.start).collect();
        assert_eq!(own, [at(&desk, target, declared)], "{needle}");
    }
    let uses = names::references(&desk, at(&desk, "nodes.tinsel", "bulb  {"), true);
    let words = texts.texts.values().map(|text| {
        let code = text.lines().map(|line| line.split('#').next().unwrap_or(""));
        code.map(|line| line.matches("node bulb").count()).sum::<usize>()
    });
    assert_eq!(uses.len(), words.sum::<usize>());
}

/// What an action says is what comes out, on the examples and by hand.
#[test]
fn each_action_compiles() {
    let mut titles: BTreeMap<String, usize> = BTreeMap::new();
    for (main, ..) in EXAMPLES {
        let texts = Texts::example(main);
        let desk = texts.desk();
        let before = texts.compiled();
        for name in texts.texts.keys() {
            let Some(file) = desk.file(name) else {
                continue;
            };
            let places: Vec<usize> = (file.text.match_indices(['{', '>', ':', '\n']))
                .map(|(at, _)| at + 2)
                .step_by(5)
                .collect();
            for place in places {
                let here = file.base + place.min(file.text.len()) as u32;
                for action in actions::actions(&desk, Span::new(here, here)) {
                    let after = texts.with(&desk, &action.fix.edits).compiled();
                    let title = &action.fix.title;
                    assert!(errors(&after) <= errors(&before), "{main} {name} {place}: {title}");
                    let word = title.split(' ').next().unwrap_or("").to_owned();
                    *titles.entry(word).or_default() += 1;
                    if title.starts_with("write") {
                        assert_eq!(places_by_name(&after), places_by_name(&before), "{title}");
                    }
                }
            }
        }
    }
    for kind in ["write", "split", "move"] {
        assert!(titles.contains_key(kind), "no action `{kind}`: {titles:?}");
    }
}

/// Each action at a place of its own, with what it leaves.
#[test]
fn what_each_action_writes() {
    let text = "node n { chip ws2811; colour RGB }\ncontroller c { ports 1..4 { } }\n\
                prop a { node n; string 30 nodes }\nprop b * 2 { node n; string 20nodes }\nprop d { node n; string 9 nodes }\n\
                wire c.1: a -> lead 2 m -> b[2] at 1/91 -> b[1]\nwire c: d\n";
    let texts = Texts::one(text);
    let desk = texts.desk();
    for (needle, on, title, old, new) in [
        (
            "30 nodes",
            1,
            "name 30 with `let`",
            "prop a { node n; string 30 nodes }",
            "let number = 30\nprop a { node n; string number nodes }",
        ),
        (
            "20nodes",
            1,
            "name 20 with `let`",
            "prop b * 2 { node n; string 20nodes }",
            "let number = 20\nprop b * 2 { node n; string number nodes }",
        ),
        (
            "30 nodes",
            1,
            "write it as 5 strands of 6 nodes",
            "string 30 nodes",
            "strings 1 of 5 strands of 6 nodes",
        ),
        (
            "b[2] at",
            1,
            "split this chain before `b[2]`",
            " -> b[2] at 1/91 -> b[1]",
            "\nwire c: b[2] at 1/91 -> b[1]",
        ),
        ("a -> lead", 0, "move `a` after `lead 2 m`", "a -> lead 2 m", "lead 2 m -> a"),
        ("c: d", 0, "write the ports that the compiler picked", "wire c: d", "wire c.1: d"),
    ] {
        let here = at(&desk, "yard.tinsel", needle) + on;
        let all = actions::actions(&desk, Span::new(here, here));
        let titles: Vec<&str> = all.iter().map(|one| &*one.fix.title).collect();
        let one = all.iter().find(|one| one.fix.title == title);
        let one = one.unwrap_or_else(|| panic!("no `{title}` at {needle}: {titles:?}"));
        let after = texts.with(&desk, &one.fix.edits);
        assert_eq!(after.texts["yard.tinsel"], text.replacen(old, new, 1), "{title}");
    }
    let open = Texts::one(&text.replace("wire c: d\n", ""));
    let desk = open.desk();
    let here = at(&desk, "yard.tinsel", "d { node");
    let all = actions::actions(&desk, Span::new(here, here));
    let one = all.iter().find(|one| one.fix.title.starts_with("write the ports")).unwrap();
    let after = open.with(&desk, &one.fix.edits).texts["yard.tinsel"].clone();
    assert!(after.ends_with("b[1]\nwire c.1: d\n"), "{after}");
    // What is reported elsewhere takes no action away.
    let more = Texts::one(&format!("{text}prop e {{ node n; string 3 nodes }}\n"));
    let desk = more.desk();
    let here = at(&desk, "yard.tinsel", "30 nodes") + 1;
    let all = actions::actions(&desk, Span::new(here, here));
    assert!(all.iter().any(|one| one.fix.title == "write it as 5 strands of 6 nodes"));
}

fn places_by_name(compiled: &Compiled) -> BTreeMap<String, (u64, u64)> {
    let all = compiled.plan.placed.iter().enumerate();
    let named = all.filter_map(|(at, one)| {
        let name = compiled.model.name_of(at.into());
        one.map(|one| (name, (one.start, one.end)))
    });
    named.collect()
}

#[test]
fn formatting_is_that_of_fmt() {
    let text = "# head\nprop  a {node n;string 3 nodes}\n\n\n\nnode n { chip ws2811\ncolour RGB }\nwire  c.1 : a\ncontroller c { ports 1 { } }\n";
    let desk = Texts::one(text).desk();
    let file = desk.file("yard.tinsel").unwrap();
    let edits = format::whole(file).unwrap();
    let loaded = Loaded {
        identity: String::new(),
        name: "yard.tinsel".to_owned(),
        bytes: text.as_bytes().to_owned(),
    };
    let whole = tinsel::format::format(&loaded).result.unwrap();
    assert_eq!(edited(file, &edits), whole);
    let here = at(&desk, "yard.tinsel", "wire");
    let some = format::range(&desk, file, Span::new(here, here)).unwrap();
    let after = edited(file, &some);
    assert_eq!(after, text.replace("wire  c.1 : a", "wire c.1: a"));
}

#[test]
fn the_outline_names_every_statement() {
    let texts = Texts::example("examples/veteran/yard.tinsel");
    let desk = texts.desk();
    let file = desk.file("house.tinsel").unwrap();
    let all = outline::symbols(&desk, Some(file));
    let words: Vec<String> = all.iter().map(|one| format!("{} {}", one.kind, one.name)).collect();
    let lines = file.text.lines().filter(|line| line.starts_with(char::is_alphabetic));
    assert_eq!(words.len(), lines.count());
    for word in ["let side", "prop window", "prop window[11..12]", "wire house.7", "wire barn.1..4"]
    {
        assert!(words.iter().any(|one| one == word), "{word}: {words:?}");
    }
    assert_eq!(outline::folds(&desk, file).len(), 1);
    for (span, _, declares) in outline::tokens(&desk, file) {
        assert!(!desk.text(span).contains(char::is_whitespace));
        let line = file.lines.line(span.start - file.base);
        let own = file.text.lines().nth(line).unwrap();
        assert!(
            !declares || own.starts_with("prop") || own.starts_with("let") || own.contains(':')
        );
    }
}

/// The grammar for highlighting knows each word of the language, and no other.
#[test]
fn highlighting_knows_each_word() {
    use std::collections::BTreeSet;
    use tinsel::resolve::settings::{Scope, Slot, rows};
    let read = |name: &str| {
        std::fs::read_to_string(format!("{}/grammar/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
    };
    let is_word = |word: &&str| {
        word.len() > 1
            && word.starts_with(|c: char| c.is_ascii_lowercase())
            && word.chars().all(char::is_alphanumeric)
    };
    // What stands after `//` in the grammar is an example.
    let grammar = read("tinsel.pest");
    let grammar: String = (grammar.lines().filter(|line| !line.trim_start().starts_with("//")))
        .map(|line| format!("{line}\n"))
        .collect();
    let quoted = (grammar.match_indices('"'))
        .filter_map(|(at, _)| grammar[at + 1..].split_once('"'))
        .map(|(word, _)| word);
    let mut words: BTreeSet<&str> = quoted.filter(is_word).collect();
    let forms = (tinsel::protocol::ALL.iter()).flat_map(|one| one.forms());
    words.extend(forms.flat_map(|form| form.split(' ')).filter(is_word));
    // Any controller: a name that no controller can have.
    words.insert("any");
    let scopes = tinsel::ast::BlockKind::ALL.map(Scope::Of);
    for row in scopes.into_iter().chain([Scope::Ports]).flat_map(rows) {
        words.insert(row.first);
        for slot in row.slots {
            match slot {
                Slot::Word(word) => words.extend([*word]),
                Slot::Choice(choices) => {
                    words.extend(choices.iter().flat_map(|choice| choice.split(' ')));
                }
                _ => {}
            }
        }
    }
    for unit in tinsel::unit::UNITS {
        words.insert(unit.name);
        words.extend(unit.also);
    }
    let highlighting = read("tinsel.tmLanguage.json");
    let known: BTreeSet<&str> = (highlighting.split('('))
        .filter_map(|group| group.split(')').next())
        .filter(|group| !group.starts_with('?') && !group.contains(['[', '\\']))
        .flat_map(|group| group.split('|'))
        .filter(|word| !word.is_empty())
        .collect();
    let missing: Vec<_> = words.difference(&known).collect();
    let strange: Vec<_> = known.difference(&words).collect();
    assert!(missing.is_empty() && strange.is_empty(), "missing {missing:?}, strange {strange:?}");
}
