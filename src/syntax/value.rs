//! From pest's pairs to the small parts of the tree: places, numbers, arithmetic, references.

use super::Rule;
use crate::ast::{
    Arg, Binary, Expr, Ident, Operator, Part, Pin, PinKind, Quantity, Reference, SelRange, Selector,
};
use crate::diagnostic::Sink;
use crate::rules::syntax::{number, unexpected};
use crate::source::Span;
use crate::unit::{self, Decimal};
use pest::iterators::{Pair, Pairs};
use std::iter::Peekable;

/// The pairs of a rule, read one after another.
pub(super) type Tokens<'i> = Peekable<Pairs<'i, Rule>>;

/// The most operators in one piece of arithmetic, so that the tree stays shallow.
const MOST_OPERATORS: u32 = 256;

/// Words that join the parts of a setting, and so are neither operands nor units. The same list as
/// `small` in the grammar, which in a setting lets a number take any word as its unit.
const SMALL: [&str; 14] = [
    "of", "at", "to", "from", "per", "through", "fuse", "apart", "by", "like", "every", "after",
    "most", "as",
];

/// Reads values from pairs of a stretch of text.
pub(super) struct Values<'s> {
    /// Where the stretch begins in the offset space.
    pub base: u32,
    /// Takes the findings.
    pub sink: &'s mut Sink,
}

impl Values<'_> {
    /// Where a pair stands.
    pub fn span(&self, pair: &Pair<'_, Rule>) -> Span {
        let span = pair.as_span();
        // Offsets fit: the source map holds less than u32 bytes.
        Span::new(self.base + span.start() as u32, self.base + span.end() as u32)
    }

    /// A name.
    pub fn ident(&self, pair: &Pair<'_, Rule>) -> Ident {
        Ident { span: self.span(pair) }
    }

    /// A text, its quotes cut off.
    pub fn text(&self, pair: &Pair<'_, Rule>) -> Ident {
        let span = self.span(pair);
        Ident { span: Span::new(span.start + 1, span.end.saturating_sub(1)) }
    }

    /// A number with the word after it.
    pub fn quantity(&mut self, pair: Pair<'_, Rule>) -> Option<Quantity> {
        let mut tokens = pair.into_inner().peekable();
        let value = self.sum(&mut tokens)?;
        Some(self.with_unit(value, &mut tokens))
    }

    fn with_unit(&mut self, value: Expr, tokens: &mut Tokens<'_>) -> Quantity {
        let is_unit =
            |pair: &Pair<'_, Rule>| pair.as_rule() == Rule::unit && !SMALL.contains(&pair.as_str());
        let unit = tokens.next_if(is_unit).map(|pair| self.ident(&pair));
        Quantity { value, unit }
    }

    /// Arithmetic, where `/` divides.
    pub fn sum(&mut self, tokens: &mut Tokens<'_>) -> Option<Expr> {
        self.whole_sum(None, tokens, true)
    }

    /// Arithmetic, with `/` only if it `divides`; `first` is the first operand if it has been read.
    fn whole_sum(
        &mut self,
        first: Option<Expr>,
        tokens: &mut Tokens<'_>,
        divides: bool,
    ) -> Option<Expr> {
        let mut operators = 0;
        let expr = self.level(first, tokens, divides, &mut operators)?;
        if operators > MOST_OPERATORS {
            let span = expr.span();
            self.sink.push(number::too_long(span, MOST_OPERATORS));
            return Some(Expr::Broken(span));
        }
        Some(expr)
    }

    fn level(
        &mut self,
        first: Option<Expr>,
        tokens: &mut Tokens<'_>,
        divides: bool,
        operators: &mut u32,
    ) -> Option<Expr> {
        let mut left = self.product(first, tokens, divides, operators)?;
        while let Some(pair) =
            tokens.next_if(|pair| matches!(pair.as_rule(), Rule::plus | Rule::minus))
        {
            let operator =
                if pair.as_rule() == Rule::plus { Operator::Add } else { Operator::Subtract };
            let right = self.product(None, tokens, divides, operators)?;
            left = join(operator, left, right, operators);
        }
        Some(left)
    }

    fn product(
        &mut self,
        first: Option<Expr>,
        tokens: &mut Tokens<'_>,
        divides: bool,
        operators: &mut u32,
    ) -> Option<Expr> {
        let mut left = match first {
            Some(first) => first,
            None => self.operand(tokens, operators)?,
        };
        let binds = |rule| rule == Rule::times || (divides && rule == Rule::over);
        while let Some(pair) = tokens.next_if(|pair| binds(pair.as_rule())) {
            let operator =
                if pair.as_rule() == Rule::times { Operator::Multiply } else { Operator::Divide };
            let right = self.operand(tokens, operators)?;
            left = join(operator, left, right, operators);
        }
        Some(left)
    }

    fn operand(&mut self, tokens: &mut Tokens<'_>, operators: &mut u32) -> Option<Expr> {
        let pair = tokens.next()?;
        match pair.as_rule() {
            Rule::number => Some(self.number(&pair)),
            Rule::name => Some(Expr::Name(self.ident(&pair))),
            Rule::minus => self.signed(self.span(&pair), tokens, operators),
            Rule::open => {
                let open = self.span(&pair);
                let mut inner = self.level(None, tokens, true, operators)?;
                let close = tokens.next_if(|pair| pair.as_rule() == Rule::close)?;
                if let Expr::Binary(binary) = &mut inner {
                    binary.span = open.to(self.span(&close));
                }
                Some(inner)
            }
            _ => None,
        }
    }

    /// An operand whose first sign has been read. Several signs become one or none.
    fn signed(&mut self, sign: Span, tokens: &mut Tokens<'_>, operators: &mut u32) -> Option<Expr> {
        let mut negative = true;
        while tokens.next_if(|pair| pair.as_rule() == Rule::minus).is_some() {
            negative = !negative;
        }
        let value = self.operand(tokens, operators)?;
        Some(match negative {
            true => Expr::Negate(sign.to(value.span()), Box::new(value)),
            false => value,
        })
    }

    fn number(&mut self, pair: &Pair<'_, Rule>) -> Expr {
        let span = self.span(pair);
        match read_decimal(pair.as_str()) {
            Ok(Decimal { digits, places }) => Expr::Number(span, digits, places),
            Err(unread) => {
                self.sink.push(match unread {
                    Unread::TooLarge => number::too_large(span, pair.as_str()),
                    Unread::TooFine => number::too_fine(span, pair.as_str()),
                    Unread::Notation => number::notation(span, pair.as_str()),
                });
                Expr::Broken(span)
            }
        }
    }

    /// `N` or `A..B`.
    pub fn range(&mut self, tokens: &mut Tokens<'_>) -> Option<SelRange> {
        let from = self.sum(tokens)?;
        self.range_from(from, tokens)
    }

    fn range_from(&mut self, from: Expr, tokens: &mut Tokens<'_>) -> Option<SelRange> {
        if tokens.peek().map(Pair::as_rule) != Some(Rule::dots)
            && let Some(dash) = dash(&from)
        {
            return self.dashed(from, dash);
        }
        let to = match tokens.next_if(|pair| pair.as_rule() == Rule::dots) {
            Some(_) => Some(self.sum(tokens)?),
            None => None,
        };
        let span = to.as_ref().map_or(from.span(), |to| from.span().to(to.span()));
        Some(SelRange { span, from, to })
    }

    /// `1-4` where `1..4` is meant: reported, and read as meant.
    fn dashed(&mut self, from: Expr, dash: Span) -> Option<SelRange> {
        let span = from.span();
        let Expr::Binary(binary) = from else {
            return None;
        };
        let end = |end: &Expr| match end {
            Expr::Number(_, digits, places) => Decimal { digits: *digits, places: *places }.words(),
            _ => "N".to_owned(),
        };
        let range = format!("{}..{}", end(&binary.left), end(&binary.right));
        self.sink.push(unexpected::dashed_range(span, dash, &range));
        Some(SelRange { span, from: binary.left, to: Some(binary.right) })
    }

    /// `[1, 3..5]`.
    pub fn selector(&mut self, pair: Pair<'_, Rule>) -> Option<Selector> {
        let span = self.span(&pair);
        let mut tokens = pair.into_inner().peekable();
        let mut parts = Vec::with_capacity(1);
        while let Some(rule) = tokens.peek().map(Pair::as_rule) {
            if matches!(rule, Rule::comma | Rule::close_square) {
                tokens.next();
            } else {
                parts.push(self.range(&mut tokens)?);
            }
        }
        Some(Selector { span, parts })
    }

    /// `heron[2].1`.
    pub fn reference(&mut self, pair: Pair<'_, Rule>) -> Option<Reference> {
        let mut tokens = pair.into_inner().peekable();
        let name = self.ident(&tokens.next()?);
        self.reference_from(name, &mut tokens)
    }

    fn reference_from(&mut self, name: Ident, tokens: &mut Tokens<'_>) -> Option<Reference> {
        let mut span = name.span;
        let members = match tokens.next_if(|pair| pair.as_rule() == Rule::select) {
            Some(pair) => self.selector(pair).map(Box::new),
            None => None,
        };
        span = members.as_ref().map_or(span, |members| span.to(members.span));
        let part = match tokens.next_if(|pair| pair.as_rule() == Rule::part) {
            Some(pair) => {
                span = span.to(self.span(&pair));
                self.part(pair)
            }
            None => None,
        };
        Some(Reference { span, name, members, part })
    }

    fn part(&mut self, pair: Pair<'_, Rule>) -> Option<Part> {
        let mut tokens = pair.into_inner().peekable();
        match tokens.next_if(|pair| pair.as_rule() == Rule::name) {
            Some(pair) => Some(Part::Name(self.ident(&pair))),
            None => self.range(&mut tokens).map(Box::new).map(Part::Number),
        }
    }

    /// `at 12/1`.
    pub fn pin(&mut self, pair: Pair<'_, Rule>) -> Option<Pin> {
        let span = self.span(&pair);
        let mut tokens = pair.into_inner().peekable();
        tokens.next()?;
        if tokens.next_if(|pair| pair.as_rule() == Rule::channel_word).is_some() {
            let kind = PinKind::Channel(self.sum(&mut tokens)?);
            return Some(Pin { span, kind });
        }
        let first = self.whole_sum(None, &mut tokens, false)?;
        let kind = match tokens.next_if(|pair| pair.as_rule() == Rule::over) {
            Some(_) => PinKind::UniverseSlot(first, self.whole_sum(None, &mut tokens, false)?),
            None => PinKind::Slot(first),
        };
        Some(Pin { span, kind })
    }

    /// The next word or value of a setting.
    pub fn arg(&mut self, tokens: &mut Tokens<'_>) -> Option<Arg> {
        match tokens.peek()?.as_rule() {
            Rule::name => {
                let pair = tokens.next()?;
                self.arg_from_name(&pair, tokens)
            }
            Rule::text => Some(Arg::Text(self.text(&tokens.next()?))),
            Rule::bracketed => Some(Arg::Address(self.ident(&tokens.next()?))),
            // A word after a number that is no unit is the next word: `2 of 30 nodes`.
            Rule::unit => Some(Arg::Word(self.ident(&tokens.next()?))),
            Rule::comma => Some(Arg::Comma(self.span(&tokens.next()?))),
            Rule::number | Rule::minus | Rule::open => {
                let start = self.span(tokens.peek()?);
                let value = self.sum(tokens)?;
                // `192.168.40.11`: the grammar took its first half for a number.
                if let Some(rest) = tokens.next_if(|pair| pair.as_rule() == Rule::quad_rest) {
                    let span = start.to(self.span(&rest));
                    return Some(Arg::Address(Ident { span }));
                }
                self.arg_from_value(value, tokens)
            }
            _ => None,
        }
    }

    fn arg_from_value(&mut self, value: Expr, tokens: &mut Tokens<'_>) -> Option<Arg> {
        if tokens.peek().map(Pair::as_rule) == Some(Rule::dots) {
            return self.range_from(value, tokens).map(Box::new).map(Arg::Range);
        }
        let number = self.with_unit(value, tokens);
        match (number.unit, dash(&number.value)) {
            (None, Some(dash)) => self.dashed(number.value, dash).map(Box::new).map(Arg::Range),
            _ => Some(Arg::Number(number)),
        }
    }

    fn arg_from_name(&mut self, pair: &Pair<'_, Rule>, tokens: &mut Tokens<'_>) -> Option<Arg> {
        let name = self.ident(pair);
        let Some(next) = tokens.peek() else {
            return Some(Arg::Word(name));
        };
        match next.as_rule() {
            Rule::select | Rule::part => {
                let reference = self.reference_from(name, tokens)?;
                // A host of three labels or more is no reference.
                match tokens.next_if(|pair| pair.as_rule() == Rule::more_parts) {
                    Some(rest) => {
                        Some(Arg::Address(Ident { span: reference.span.to(self.span(&rest)) }))
                    }
                    None => Some(Arg::Reference(Box::new(reference))),
                }
            }
            Rule::dots => self.range_from(Expr::Name(name), tokens).map(Box::new).map(Arg::Range),
            // `at -3 m`: the `-` is a sign, since `at` is no number.
            Rule::minus if SMALL.contains(&pair.as_str()) => Some(Arg::Word(name)),
            Rule::plus | Rule::minus | Rule::times | Rule::over => {
                let value = self.whole_sum(Some(Expr::Name(name)), tokens, true)?;
                self.arg_from_value(value, tokens)
            }
            // `per-side nodes`, `share %`: the name of a number with its unit.
            Rule::name | Rule::percent
                if unit::find(next.as_str()).is_some() && !SMALL.contains(&pair.as_str()) =>
            {
                let unit = self.ident(&tokens.next()?);
                Some(Arg::Number(Quantity { value: Expr::Name(name), unit: Some(unit) }))
            }
            _ => Some(Arg::Word(name)),
        }
    }
}

/// Joins two numbers; beyond [`MOST_OPERATORS`] it keeps only their place, so that the tree stays
/// shallow.
fn join(operator: Operator, left: Expr, right: Expr, operators: &mut u32) -> Expr {
    *operators = operators.saturating_add(1);
    let span = left.span().to(right.span());
    if *operators > MOST_OPERATORS {
        return Expr::Broken(span);
    }
    Expr::Binary(Box::new(Binary { span, operator, left, right }))
}

/// The place of the `-` in `1-4`: two whole numbers without blanks, whose difference is below zero.
fn dash(value: &Expr) -> Option<Span> {
    let Expr::Binary(binary) = value else {
        return None;
    };
    let (Expr::Number(left, low, 0), Expr::Number(right, high, 0)) = (&binary.left, &binary.right)
    else {
        return None;
    };
    let glued = left.end + 1 == right.start && binary.span.start == left.start;
    let falls = binary.operator == Operator::Subtract && low < high;
    (glued && falls).then(|| Span::new(left.end, right.start))
}

/// Why a number can't be read.
#[derive(Debug, PartialEq, Eq)]
enum Unread {
    TooLarge,
    TooFine,
    Notation,
}

/// Reads `1_344` or `2.5` exactly.
fn read_decimal(text: &str) -> Result<Decimal, Unread> {
    let (mut digits, mut places, mut behind) = (0_i64, 0_u8, false);
    for byte in text.bytes() {
        match byte {
            b'.' => behind = true,
            b'0'..=b'9' => {
                if behind {
                    places += 1;
                    if places > 9 {
                        return Err(Unread::TooFine);
                    }
                }
                digits = digits
                    .checked_mul(10)
                    .and_then(|digits| digits.checked_add(i64::from(byte - b'0')))
                    .ok_or(Unread::TooLarge)?;
            }
            b'_' => {}
            _ => return Err(Unread::Notation),
        }
    }
    Ok(Decimal { digits, places })
}
