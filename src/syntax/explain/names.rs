//! Mistakes in names: quotes, several words, a `-` at the end, members written wrongly.

use super::{Failure, leading_digits, token, trailing_digits};
use crate::diagnostic::Diagnostic;
use crate::rules::syntax::unexpected::{self, Thing};
use crate::syntax::Rule;

impl Failure<'_> {
    /// Texts without quotes; names in quotes, with a `-` at the end, or a blank before their `[`.
    pub(super) fn slip_of_names(&self) -> Option<Diagnostic> {
        let rest = self.rest();
        let before = self.before();
        if let Some(finding) = self.unquoted() {
            return Some(finding);
        }
        if self.at > 0
            && rest.starts_with('"')
            && (self.fits(Rule::name) || self.fits(Rule::reference))
            && !self.fits(Rule::text)
        {
            let quoted = token(rest);
            let name = quoted.trim_matches('"');
            return Some(unexpected::quoted_name(self.here(quoted.len()), name));
        }
        if rest.starts_with('-')
            && !rest.starts_with("->")
            && before.ends_with(|c: char| c.is_alphanumeric() || c == '_')
            || (before.ends_with('-')
                && !rest.starts_with(|c: char| c.is_alphanumeric() || c == '-'))
        {
            let end = if rest.starts_with('-') { self.at + 1 } else { self.at };
            let name_end = self.text.get(..end)?.trim_end_matches('-');
            let word =
                name_end.rsplit(|c: char| !(c.is_alphanumeric() || "-_".contains(c))).next()?;
            if word.starts_with(|c: char| c.is_alphabetic()) {
                let start = name_end.len() - word.len();
                let name = self.text.get(start..end)?;
                return Some(unexpected::hanging_hyphen(self.span(start..end), name));
            }
        }
        if rest.starts_with('[') && before.ends_with([' ', '\t']) {
            let word = before.trim_end();
            let name = word.rsplit(|c: char| !(c.is_alphanumeric() || "-_".contains(c))).next()?;
            if name.starts_with(|c: char| c.is_alphabetic()) {
                return Some(unexpected::parted_members(self.here(1), name));
            }
        }
        None
    }

    /// `prop my lamp`, `prop 3lamps`.
    pub(super) fn name_of_head(&self) -> Option<Diagnostic> {
        let Thing::Statement(keyword) = self.thing else {
            return None;
        };
        let rest = self.rest().trim_end();
        let in_name = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
        if let Some(behind) = rest.strip_prefix(['(', '.']).filter(|_| keyword == "prop") {
            let number = leading_digits(behind);
            let closes = behind.get(number..).is_some_and(|rest| rest.starts_with(')'));
            let start = self.before().trim_end_matches(in_name).len();
            let name = self.before().get(start..)?;
            if number > 0 && !name.is_empty() {
                let end = self.at + 1 + number + usize::from(rest.starts_with('(') && closes);
                let meant = format!("{name}[{}]", behind.get(..number)?);
                let written = self.text.get(start..end)?;
                return Some(unexpected::member_of_head(self.span(start..end), written, &meant));
            }
        }
        if self.fits(Rule::name) {
            let name = rest.get(..rest.find(|c| !in_name(c)).unwrap_or(rest.len()))?;
            let letters = name.starts_with(|c: char| c.is_ascii_digit() || c == '_')
                && name.contains(char::is_alphabetic);
            return letters.then(|| unexpected::name_start(self.here(name.len()), name));
        }
        let start =
            keyword.len() + self.text.get(keyword.len()..)?.find(|c: char| !c.is_whitespace())?;
        let name = self.text.get(start..self.at + rest.len())?;
        let plain = name.chars().all(|c| in_name(c) || c == ' ');
        if !self.fits(Rule::like_word) || !plain || name.split(' ').any(|word| word == "like") {
            return None;
        }
        let joined: Vec<&str> = name.split_whitespace().collect();
        let several = match joined.as_slice() {
            [one, "x", many] | [one, many] if many.bytes().all(|b| b.is_ascii_digit()) => {
                Some(format!("{keyword} {one} * {many}"))
            }
            _ => None,
        };
        if let Some(several) = several.filter(|_| keyword == "prop") {
            let span = self.span(start..start + name.len());
            return Some(unexpected::family_without_star(span, name, &several));
        }
        Some(unexpected::split_name(self.span(start..start + name.len()), name, &joined.join("-")))
    }

    /// `display Kestrel Quay`, `include porch.tinsel`.
    fn unquoted(&self) -> Option<Diagnostic> {
        let rest = self.rest().trim_end();
        let named = matches!(self.thing, Thing::Statement("display" | "include" | "stock"));
        let plain = |c: char| c.is_alphanumeric() || " .-_/".contains(c);
        if named
            && self.fits(Rule::text)
            && rest.starts_with(char::is_alphabetic)
            && rest.chars().all(plain)
        {
            return Some(unexpected::unquoted(self.here(rest.len()), rest));
        }
        None
    }

    /// `fox2..3`, `fox..3`.
    pub(super) fn unbracketed_members(&self) -> Option<Diagnostic> {
        let dots = if self.rest().starts_with("..") {
            self.at
        } else {
            self.before().strip_suffix('.').filter(|_| self.rest().starts_with('.'))?.len()
        };
        let (before, behind) = (self.text.get(..dots)?, self.text.get(dots + 2..)?);
        let last = leading_digits(behind);
        let in_name = |c: char| c.is_alphanumeric() || c == '-' || c == '_';
        let start = before.trim_end_matches(in_name).len();
        let name = before.get(start..)?;
        let stem = name.len() - trailing_digits(name);
        let (family, first) = (name.get(..stem)?.trim_end_matches(['-', '_']), name.get(stem..)?);
        if last == 0 || !family.starts_with(char::is_alphabetic) {
            return None;
        }
        let first = if first.is_empty() { "1" } else { first };
        let meant = format!("{family}[{first}..{}]", behind.get(..last)?);
        let span = self.span(start..dots + 2 + last);
        Some(unexpected::members_without_brackets(
            span,
            self.text.get(start..dots + 2 + last)?,
            &meant,
        ))
    }
}
