//! What a place in an unfinished text is part of: which block, which setting, after which words.

use crate::ast::BlockKind;
use crate::format::tokens::{Kind as TokenKind, Tokens};
use crate::resolve::settings::Scope;
use crate::rules;
use crate::source::quoted;
use crate::syntax;

/// What kind of text a place is in.
pub(super) enum Within {
    Code,
    Comment,
    Text,
}

/// Where a place is in its statement.
pub(super) struct Place<'t> {
    /// The part of the word before the place.
    pub typed: &'t str,
    pub within: Within,
    /// The first words of the blocks around it, outermost first.
    pub blocks: Vec<&'t str>,
    /// The first words of the settings before it in its block.
    pub given: Vec<&'t str>,
    /// The words and marks before it in its statement or setting.
    pub words: Vec<&'t str>,
    /// The name before the `.` before it.
    pub part_of: Option<&'t str>,
}

impl<'t> Place<'t> {
    pub fn of(before: &'t str) -> Self {
        let line = before.rsplit('\n').next().unwrap_or("");
        let last = Tokens::of(line).last();
        let within = match last {
            Some(token) if token.kind == TokenKind::Comment => Within::Comment,
            Some(token) if token.kind == TokenKind::Text => {
                let after_quote = token.text.get(1..).unwrap_or("");
                match quoted::closing(after_quote.as_bytes()) {
                    None => Within::Text,
                    Some(_) => Within::Code,
                }
            }
            _ => Within::Code,
        };
        let part = |c: char| match within {
            Within::Comment => c.is_ascii_lowercase() || c == '/' || c == '-',
            _ => c == '-' || syntax::goes_on_in_name(c),
        };
        let name = before.trim_end_matches(part);
        let typed = before.get(name.len()..).unwrap_or("");
        let mut place = Self {
            typed,
            within,
            blocks: Vec::new(),
            given: Vec::new(),
            words: Vec::new(),
            part_of: None,
        };
        let after_dot = name.strip_suffix('.').filter(|rest| !rest.ends_with('.'));
        if let Some(owner) = after_dot {
            let owner = owner.trim_end_matches(']');
            let owner = owner.rsplit_once('[').map_or(owner, |(owner, _)| owner);
            let head = owner.trim_end_matches(|c| c == '-' || syntax::goes_on_in_name(c));
            place.part_of = owner.get(head.len()..).filter(|name| !name.is_empty());
        }
        place.read(after_dot.unwrap_or(name));
        place
    }

    /// Reads the text before a place, token by token.
    fn read(&mut self, text: &'t str) {
        let mut given: Vec<Vec<&'t str>> = vec![Vec::new()];
        for token in Tokens::of(text).filter(|token| token.kind != TokenKind::Comment) {
            if token.lines > 0 && !self.goes_on() && token.text != "->" {
                self.end(&mut given);
                if rules::syntax::unexpected::is_statement_word(token.text)
                    && !matches!(token.text, "chip" | "node" | "display" | "power")
                {
                    // No setting begins with this word, so a block before it was not closed.
                    self.blocks.clear();
                    given.truncate(1);
                }
            }
            match token.text {
                "{" if token.kind == TokenKind::Mark => {
                    self.blocks.push(self.words.first().copied().unwrap_or(""));
                    given.push(Vec::new());
                    self.words.clear();
                }
                "}" if token.kind == TokenKind::Mark => {
                    self.words.clear();
                    self.blocks.pop();
                    if given.len() > 1 {
                        given.pop();
                    }
                }
                ";" if token.kind == TokenKind::Mark => self.end(&mut given),
                text => self.words.push(text),
            }
        }
        let blanks = text.trim_end_matches([' ', '\t', '\r', '\n']);
        let ended = text.get(blanks.len()..).is_some_and(|rest| rest.contains('\n'));
        if ended && !self.goes_on() {
            self.end(&mut given);
        }
        self.given = given.pop().unwrap_or_default();
    }

    fn end(&mut self, given: &mut [Vec<&'t str>]) {
        if let (Some(first), Some(own)) = (self.words.first(), given.last_mut()) {
            own.push(first);
        }
        self.words.clear();
    }

    /// Whether the statement goes on in the next line.
    fn goes_on(&self) -> bool {
        matches!(self.words.last().copied(), Some("->" | "," | ":" | "[" | "("))
    }

    /// The block that it is in, as a scope of settings.
    pub fn scope(&self) -> Option<Scope> {
        let word = *self.blocks.last()?;
        if matches!(word, "port" | "ports") {
            return Some(Scope::Ports);
        }
        let kind = BlockKind::ALL.iter().find(|kind| kind.word() == word)?;
        Some(Scope::Of(*kind))
    }
}
