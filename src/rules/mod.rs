//! The rules: a file (and for some a folder) for each code, with its page, its wording and, if it
//! looks at a finished plan, its check.
//!
//! A stage that finds something calls a constructor of the rule. No finding is worded elsewhere.

use crate::diagnostic::{Diagnostic, Severity, Sink, Words};
use crate::model::Model;
use crate::plan::Plan;
use crate::source::Span;

/// A code and all that belongs to it.
pub struct Rule {
    /// The code. With `_` for `-` it is also the path of its file below `src/rules`.
    pub code: &'static str,
    /// How serious its findings are, unless the constructor says otherwise.
    pub severity: Severity,
    /// What it is about, in one line.
    pub title: &'static str,
    /// Its page for `tinsel explain`.
    pub page: Page,
    /// Its check of a finished plan, if it has one.
    pub check: Option<fn(&Model, &Plan, &mut Sink)>,
}

/// The page of a code.
pub struct Page {
    /// What it means.
    pub means: &'static str,
    /// Why it matters.
    pub why: &'static str,
    /// Which standard, data sheet or section of the guide the rule is from.
    pub source: &'static str,
    /// A display with this finding and no other; its lock may follow, see [`Page::parts`].
    pub wrong: &'static str,
    /// What puts it right: texts of `wrong`, each with what replaces it where it stands first.
    pub change: &'static [(&'static str, &'static str)],
}

/// In a page's display, the line that the text of its lock follows.
const LOCK_FOLLOWS: &str = "# beside it, yard.lock:\n";

impl Page {
    /// The display of the page, put right.
    #[must_use]
    pub fn right(&self) -> String {
        let change = self.change.iter();
        change.fold(self.wrong.to_owned(), |text, (old, new)| text.replacen(old, new, 1))
    }

    /// A page's text, split into its display and its lock, if it has one.
    #[must_use]
    pub fn parts(text: &str) -> (&str, Option<&str>) {
        match text.split_once(LOCK_FOLLOWS) {
            Some((display, lock)) => (display, Some(lock)),
            None => (text, None),
        }
    }
}

/// A finding with the first `SAID` of its four sentences: message, label, why and help, in this
/// order. None can be left out. See the voice in DEVELOPERS.md.
#[must_use]
pub struct Draft<const SAID: u8>(Diagnostic);

impl Rule {
    /// Begins a finding of this rule at a place with its message; see [`Words::message`].
    pub fn report(&self, at: Span, message: impl Into<String>) -> Draft<1> {
        let words = Words {
            message: message.into(),
            label: String::new(),
            why: String::new(),
            help: String::new(),
        };
        Draft(self.at(at, words))
    }
}

impl Draft<1> {
    /// The text at the place that is wrong.
    pub fn label(mut self, text: impl Into<String>) -> Draft<2> {
        if let Some(label) = self.0.labels.first_mut() {
            label.text = text.into();
        }
        Draft(self.0)
    }
}

impl Draft<2> {
    /// What would happen at the display; one sentence.
    pub fn why(mut self, text: impl Into<String>) -> Draft<3> {
        self.0.why = text.into();
        Draft(self.0)
    }
}

impl Draft<3> {
    /// One thing to do.
    pub fn help(mut self, text: impl Into<String>) -> Diagnostic {
        self.0.help = text.into();
        self.0
    }
}

impl Rule {
    /// A finding of this rule.
    #[must_use]
    pub fn at(&self, span: Span, words: Words) -> Diagnostic {
        Diagnostic::new(self.code, self.severity, span, words)
    }
}

/// Rules of the group `syntax`.
pub mod syntax {
    pub mod number;
    pub mod repeated_setting;
    pub mod unexpected;
    pub mod unit;
    pub mod unknown_setting;
}

/// Rules of the group `name`.
pub mod name {
    pub mod alike;
    pub mod cycle;
    pub mod instance;
    pub mod string;
    pub mod taken;
    pub mod unknown;
    pub mod unused;
}

/// Rules of the group `wire`.
pub mod wire {
    pub mod chip;
    pub mod kind;
    pub mod mixed;
    pub mod no_port;
    pub mod picked;
    pub mod twice;
    pub mod volts;
}

/// Rules of the group `port`.
pub mod port {
    pub mod nodes;
    pub mod pace;
    pub mod time;
}

/// Rules of the group `address`.
pub mod address {
    pub mod controller_full;
    pub mod overlap;
    pub mod pin;
    pub mod range;
    pub mod reserved;
    pub mod universe_shared;
}

/// Rules of the group `dmx`.
pub mod dmx {
    pub mod footprint;
    pub mod full;
    pub mod loads;
}

/// Rules of the group `place`.
pub mod place {
    pub mod no_room;
}

/// Rules of the group `power`.
pub mod power {
    pub mod circuit;
    pub mod fuse;
    pub mod gauge;
    pub mod idle;
    pub mod mixed;
    pub mod parallel;
    pub mod supply;
    pub mod unchecked;
    pub mod unfed;
    pub mod voltage;
}

/// Rules of the group `net`.
pub mod net {
    pub mod host;
    pub mod load;
    pub mod range;
    pub mod rate;
    pub mod setting;
}

/// Rules of the group `stored`.
pub mod stored {
    pub mod mid_chain;
}

/// Rules of the group `size`.
pub mod size {
    pub mod too_much;
}

/// Rules of the group `rename`.
pub mod rename {
    pub mod forgotten;
    pub mod spent;
}

/// Rules of the group `lock`.
pub mod lock {
    pub mod moved;
    pub mod stale;
    pub mod twice;
    pub mod unreadable;
}

/// Every rule, in the order of the guide and of the checks.
pub const ALL: &[&Rule] = &[
    &syntax::unexpected::RULE,
    &syntax::unknown_setting::RULE,
    &syntax::repeated_setting::RULE,
    &syntax::unit::RULE,
    &syntax::number::RULE,
    &name::unknown::RULE,
    &name::taken::RULE,
    &name::cycle::RULE,
    &name::instance::RULE,
    &name::string::RULE,
    &name::alike::RULE,
    &name::unused::RULE,
    &wire::twice::RULE,
    &wire::no_port::RULE,
    &wire::chip::RULE,
    &wire::volts::RULE,
    &wire::kind::RULE,
    &wire::mixed::RULE,
    &wire::picked::RULE,
    &port::nodes::RULE,
    &port::time::RULE,
    &port::pace::RULE,
    &address::overlap::RULE,
    &address::pin::RULE,
    &address::range::RULE,
    &address::reserved::RULE,
    &address::universe_shared::RULE,
    &address::controller_full::RULE,
    &dmx::full::RULE,
    &dmx::footprint::RULE,
    &dmx::loads::RULE,
    &place::no_room::RULE,
    &power::unfed::RULE,
    &power::parallel::RULE,
    &power::mixed::RULE,
    &power::voltage::RULE,
    &power::fuse::RULE,
    &power::gauge::RULE,
    &power::idle::RULE,
    &power::supply::RULE,
    &power::circuit::RULE,
    &power::unchecked::RULE,
    &net::host::RULE,
    &net::range::RULE,
    &net::load::RULE,
    &net::rate::RULE,
    &net::setting::RULE,
    &stored::mid_chain::RULE,
    &size::too_much::RULE,
    &rename::spent::RULE,
    &rename::forgotten::RULE,
    &lock::stale::RULE,
    &lock::moved::RULE,
    &lock::twice::RULE,
    &lock::unreadable::RULE,
];

/// The rule of a code.
#[must_use]
pub fn find(code: &str) -> Option<&'static Rule> {
    ALL.iter().find(|rule| rule.code == code).copied()
}
