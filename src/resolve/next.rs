//! What may stand after some words of a statement or setting: the suggestions of an editor.
//!
//! The forms of settings come from their table; those of statements are here. The words are matched
//! with the steps of each form. The step after the last word is the answer.

use super::settings::{Key, Scope, SettingRow, Slot, rows};
use crate::ast::BlockKind;
use crate::unit::{self, Dimension};

/// What may stand at a place.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Next {
    /// Exactly this word or mark.
    Word(&'static str),
    /// The name of a declaration.
    Name(BlockKind),
    /// A controller or receiver, or one of its ports.
    Ports,
    /// A prop, or members or strings of one.
    Strings,
    /// A number, or the name of a `let`.
    Number,
    /// A unit of a dimension.
    Unit(Dimension),
    /// A wire size's unit.
    GaugeUnit,
}

/// One step of a form.
#[derive(Clone, Copy, Debug)]
enum Step {
    Word(&'static str),
    /// A number that may have a unit of a dimension; true if it must have one.
    Number(Option<Dimension>, bool),
    Range,
    Gauge,
    Name(BlockKind),
    Ports,
    Strings,
    /// A word that is not suggested: a new name, a text, a host.
    Own,
    /// A reference that is not suggested, since nothing has that name any more.
    Gone,
    Any(&'static [&'static [Step]]),
    Maybe(&'static [Step]),
    Repeat(&'static [Step]),
}

use Step as S;

const FUSE: &[Step] = &[S::Word("fuse"), S::Number(Some(Dimension::Current), true)];
const LENGTH: Step = S::Number(Some(Dimension::Length), true);
const LEAD: &[Step] = &[S::Word("lead"), LENGTH, S::Maybe(&[S::Word("of"), S::Gauge])];
const SKIP: &[Step] = &[S::Word("skip"), S::Number(Some(Dimension::Nodes), false)];
const PIN: &[Step] = &[
    S::Word("at"),
    S::Any(&[&[S::Number(None, false)], &[S::Word("channel"), S::Number(None, false)]]),
];
const ITEM: Step = S::Any(&[
    &[S::Strings, S::Maybe(&[S::Word("by"), S::Number(None, false)]), S::Maybe(PIN)],
    SKIP,
    LEAD,
]);
const RUN: Step = S::Any(&[
    SKIP,
    LEAD,
    &[S::Number(Some(Dimension::Nodes), true)],
    &[S::Own, S::Number(Some(Dimension::Nodes), true)],
]);
const RUNS: &[Step] = &[S::Maybe(&[S::Own]), S::Word(":"), RUN, S::Repeat(&[S::Word("->"), RUN])];
const ARROW: &[Step] = &[S::Word("->")];
const COMMA: &[Step] = &[S::Word(",")];
const INPUT: &[Step] = &[S::Any(&[
    &[S::Word("e131"), S::Any(&[&[S::Word("unicast")], &[S::Word("multicast")]])],
    &[S::Word("artnet"), S::Maybe(&[S::Word("from"), S::Word("0")])],
    &[S::Word("ddp")],
])];

const PROP: &[Step] = &[
    S::Strings,
    S::Maybe(&[S::Word("*"), S::Number(None, false)]),
    S::Maybe(&[S::Word("like"), S::Name(BlockKind::Prop)]),
];
const FROM_SUPPLY: Step = S::Any(&[&[
    S::Word("from"),
    S::Name(BlockKind::Supply),
    S::Word("through"),
    LENGTH,
    S::Word("of"),
    S::Gauge,
]]);
const INJECT: &[Step] = &[
    S::Strings,
    S::Any(&[
        &[S::Word("at"), S::Word("start")],
        &[S::Word("at"), S::Word("end")],
        &[S::Word("at"), S::Word("node"), S::Number(None, false)],
        &[S::Word("every"), S::Number(Some(Dimension::Nodes), true)],
        &[S::Word("every"), S::Number(Some(Dimension::Strands), true)],
    ]),
    FROM_SUPPLY,
    S::Any(&[
        &[S::Any(&[FUSE]), S::Maybe(&[S::Word("apart")])],
        &[S::Word("apart"), S::Maybe(FUSE)],
        &[],
    ]),
];

/// The form of a statement after its first word; `None` if that begins no statement.
fn form(first: &str) -> Option<&'static [Step]> {
    /// A name of its own, then `like` and the name of another.
    macro_rules! block {
        ($kind:ident) => {
            &[S::Own, S::Maybe(&[S::Word("like"), S::Name(BlockKind::$kind)])]
        };
    }
    Some(match first {
        "display" | "include" | "stock" => &[S::Own],
        "controller" => block!(Controller),
        "receiver" => block!(Receiver),
        "node" => block!(Node),
        "chip" => block!(Chip),
        "supply" => block!(Supply),
        "circuit" => block!(Circuit),
        "prop" => PROP,
        "wire" => &[S::Ports, S::Word(":"), ITEM, S::Repeat(&[S::Any(&[ARROW, COMMA]), ITEM])],
        "reserve" => &[
            S::Any(&[
                &[S::Word("universes"), S::Range],
                &[S::Ports, S::Maybe(&[S::Word("slots"), S::Range])],
            ]),
            S::Own,
        ],
        "stored" => &[S::Strings, S::Repeat(&[S::Word(","), S::Strings])],
        "renamed" => &[S::Gone, S::Word("->"), S::Strings],
        "power" => &[S::Ports, FROM_SUPPLY, S::Maybe(FUSE)],
        "inject" => INJECT,
        "let" => &[S::Own, S::Word("="), S::Number(None, false)],
        _ => return None,
    })
}

/// The steps of one form of a setting, without its first word.
fn steps(row: &SettingRow) -> Vec<Step> {
    match row.key {
        Key::Input => return INPUT.to_vec(),
        Key::StringRuns => return RUNS.to_vec(),
        _ => {}
    }
    let mut steps = Vec::new();
    for slot in row.slots {
        match slot {
            Slot::Word(word) => steps.push(S::Word(word)),
            Slot::Measure(dimension, ..) => steps.push(S::Number(Some(*dimension), true)),
            Slot::Count(_, _, dimension) => steps.push(S::Number(*dimension, false)),
            Slot::Thousandths(..) => steps.push(S::Number(None, false)),
            Slot::Range(..) | Slot::RangeOrOne(..) => steps.push(S::Range),
            Slot::Name => steps.push(match row.key {
                Key::Chip => S::Name(BlockKind::Chip),
                Key::Node => S::Name(BlockKind::Node),
                Key::On => S::Name(BlockKind::Circuit),
                Key::UniversesAfter => S::Name(BlockKind::Controller),
                _ => S::Own,
            }),
            Slot::Names => steps.extend([
                S::Name(BlockKind::Chip),
                S::Repeat(&[S::Word(","), S::Name(BlockKind::Chip)]),
            ]),
            Slot::Text | Slot::Texts | Slot::Host | Slot::Words | Slot::Block | Slot::Runs => {
                steps.push(S::Own)
            }
            Slot::Gauge => steps.push(S::Gauge),
            Slot::Choice(_) => {}
            Slot::Point => steps.extend([LENGTH, S::Word(","), LENGTH]),
            Slot::Reference if row.key == Key::Carries => steps.push(S::Ports),
            Slot::Reference => steps.push(S::Strings),
        }
    }
    steps
}

/// What may stand after some words and marks of a setting; the first is its first word.
#[must_use]
pub fn in_setting(scope: Scope, words: &[&str], is_let: &dyn Fn(&str) -> bool) -> Vec<Next> {
    let Some((first, rest)) = words.split_first() else {
        return Vec::new();
    };
    let first = if *first == "color" { "colour" } else { *first };
    let mut walk = Walk { is_let, found: Vec::new() };
    for row in rows(scope).iter().filter(|row| row.first == first) {
        let steps = steps(row);
        let mut all: Vec<&Step> = steps.iter().collect();
        if let [.., Slot::Choice(choices)] = row.slots {
            walk.choice(choices, rest);
            all.clear();
        }
        walk.go(&all, rest);
    }
    walk.found
}

/// What may stand after some words and marks of a statement; the first is its first word.
#[must_use]
pub fn in_statement(words: &[&str], is_let: &dyn Fn(&str) -> bool) -> Vec<Next> {
    let mut walk = Walk { is_let, found: Vec::new() };
    if let Some((first, rest)) = words.split_first()
        && let Some(form) = form(first)
    {
        let all: Vec<&Step> = form.iter().collect();
        walk.go(&all, rest);
    }
    walk.found
}

struct Walk<'w> {
    is_let: &'w dyn Fn(&str) -> bool,
    found: Vec<Next>,
}

impl Walk<'_> {
    fn add(&mut self, next: Next) {
        if !self.found.contains(&next) {
            self.found.push(next);
        }
    }

    fn choice(&mut self, choices: &[&'static str], words: &[&str]) {
        for choice in choices {
            let mut left = choice.split(' ');
            if words.iter().all(|word| left.next() == Some(word))
                && let Some(word) = left.next()
            {
                self.add(Next::Word(word));
            }
        }
    }

    fn go(&mut self, steps: &[&Step], words: &[&str]) {
        let Some((step, after)) = steps.split_first() else {
            return;
        };
        let ends = words.is_empty();
        let rest = |taken: usize| words.get(taken..).unwrap_or(&[]);
        match step {
            S::Word(word) if ends => self.add(Next::Word(word)),
            S::Word(word) => {
                if words.first() == Some(word) {
                    self.go(after, rest(1));
                }
            }
            S::Own | S::Gone if ends => {}
            S::Own => self.go(after, rest(1)),
            S::Name(kind) if ends => self.add(Next::Name(*kind)),
            S::Name(_) => self.go(after, rest(1)),
            S::Ports if ends => self.add(Next::Ports),
            S::Strings if ends => self.add(Next::Strings),
            S::Ports | S::Strings | S::Gone => {
                let taken = reference(words);
                if taken > 0 {
                    self.go(after, rest(taken));
                }
            }
            S::Number(..) | S::Range | S::Gauge if ends => self.add(Next::Number),
            S::Number(dimension, must) => {
                let taken = self.number(words);
                if taken > 0 {
                    self.unit(*dimension, *must, after, rest(taken));
                }
            }
            S::Gauge => {
                let taken = self.number(words);
                match rest(taken) {
                    [] => self.add(Next::GaugeUnit),
                    _ => self.go(after, rest(taken + 1)),
                }
            }
            S::Range => {
                let mut taken = self.number(words);
                if rest(taken).first() == Some(&"..") {
                    taken += 1 + self.number(rest(taken + 1));
                }
                if taken > 0 {
                    self.go(after, rest(taken));
                }
            }
            S::Any(forms) => forms.iter().for_each(|form| self.through(form, after, words)),
            S::Maybe(form) => {
                self.through(form, after, words);
                self.go(after, words);
            }
            S::Repeat(form) => {
                self.through(form, steps, words);
                self.go(after, words);
            }
        }
    }

    /// Matches the steps of a form, then those after it.
    fn through(&mut self, form: &[Step], after: &[&Step], words: &[&str]) {
        let all: Vec<&Step> = form.iter().chain(after.iter().copied()).collect();
        self.go(&all, words);
    }

    fn unit(&mut self, dimension: Option<Dimension>, must: bool, after: &[&Step], words: &[&str]) {
        let Some(dimension) = dimension else {
            return self.go(after, words);
        };
        match words.split_first() {
            None => {
                self.add(Next::Unit(dimension));
                if !must {
                    self.go(after, words);
                }
            }
            Some((word, rest)) if unit::find(word).is_some() => self.go(after, rest),
            Some(_) if !must => self.go(after, words),
            Some(_) => {}
        }
    }

    /// How many words a number takes, with its arithmetic; 0 if there is none.
    fn number(&self, words: &[&str]) -> usize {
        let mut taken = 0;
        let mut depth = 0_usize;
        let mut operand = true;
        for word in words {
            let begins = word.trim_start_matches('-').starts_with(|c: char| c.is_ascii_digit());
            match *word {
                "(" if operand => depth += 1,
                ")" if depth > 0 => depth -= 1,
                "-" if operand => {}
                "+" | "-" | "*" | "/" if !operand && taken > 0 => operand = true,
                word if operand && (begins || (self.is_let)(word)) => operand = false,
                _ => break,
            }
            taken += 1;
        }
        taken
    }
}

/// How many words a reference takes.
fn reference(words: &[&str]) -> usize {
    let letter = |word: &&str| word.starts_with(char::is_alphabetic);
    if !words.first().is_some_and(letter) {
        return 0;
    }
    let mut taken = 1;
    if words.get(taken) == Some(&"[") {
        let close = words.iter().position(|word| *word == "]");
        taken = close.map_or(words.len(), |close| close + 1);
    }
    if words.get(taken).is_some_and(|word| word.starts_with('.') && *word != "..") {
        taken += 1;
    }
    if words.get(taken) == Some(&"..") {
        taken += 2;
    }
    taken.min(words.len())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_may_follow() {
        let next = |text: &str| in_statement(&text.split(' ').collect::<Vec<_>>(), &|_| false);
        let lead = "from s through 1 m of 12 AWG";
        let (fuse, apart) = (Next::Word("fuse"), Next::Word("apart"));
        assert_eq!(next(&format!("power c .1 {lead}")), [fuse]);
        assert_eq!(next(&format!("power c .1 {lead} fuse 5 A")), []);
        assert_eq!(next(&format!("inject a at end {lead}")), [fuse, apart]);
        assert_eq!(next(&format!("inject a at end {lead} fuse 5 A")), [apart]);
        assert_eq!(next(&format!("inject a at end {lead} apart")), [fuse]);
        assert_eq!(next(&format!("inject a at end {lead} apart fuse 5 A")), []);
        assert_eq!(next("renamed heron [ 2 ] ->"), [Next::Strings]);
        assert_eq!(next("renamed"), []);
    }
}
