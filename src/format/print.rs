//! From tokens to lines, which `align` turns into text.

use super::align::Page;
use super::tokens::{Kind, Token};

/// A line of the laid-out text.
#[derive(Debug, Default)]
pub struct TextLine<'a> {
    /// Its indent, in steps of four blanks.
    pub depth: usize,
    /// The line without its comment.
    pub code: String,
    /// Its comment; a line may have nothing else.
    pub comment: Option<&'a str>,
    /// Whether an empty line stands before it.
    pub apart: bool,
    /// Where in `code`, in bytes, the part begins that may move to a common column: the `{` of a
    /// block, or what follows a `:`.
    pub column: Option<usize>,
}

/// The text of some tokens, laid out.
pub fn text(tokens: &[Token<'_>]) -> String {
    let mut printer = Printer {
        tokens,
        before_arrow: before_arrow(tokens),
        page: Page::default(),
        line: TextLine::default(),
        blocks: Vec::new(),
        before: None,
        statement: Vec::new(),
        brackets: 0,
    };
    for at in 0..tokens.len() {
        printer.token(at);
    }
    printer.end_line();
    printer.page.finish()
}

/// For each token, whether it, or the next one that is no comment, is a `->`.
fn before_arrow(tokens: &[Token<'_>]) -> Vec<bool> {
    let mut next = false;
    let mut all: Vec<bool> = tokens
        .iter()
        .rev()
        .map(|token| {
            if token.kind != Kind::Comment {
                next = token.is("->");
            }
            next
        })
        .collect();
    all.reverse();
    all
}

struct Printer<'t, 'a> {
    tokens: &'t [Token<'a>],
    /// See the function [`before_arrow`].
    before_arrow: Vec<bool>,
    page: Page<'a>,
    line: TextLine<'a>,
    /// The open blocks, and whether each is on one line.
    blocks: Vec<bool>,
    /// The last token that is neither a comment nor a `;`.
    before: Option<Token<'a>>,
    /// The first three tokens of the statement or setting.
    statement: Vec<Token<'a>>,
    /// How many `(` and `[` are open.
    brackets: usize,
}

impl<'a> Printer<'_, 'a> {
    fn is_in_line(&self) -> bool {
        self.blocks.last() == Some(&true)
    }

    fn token(&mut self, at: usize) {
        let Some(token) = self.tokens.get(at).copied() else {
            return;
        };
        if token.kind == Kind::Comment {
            self.comment(at, token);
            return;
        }
        if token.is(";") {
            self.semicolon(at);
            return;
        }
        if token.is("}") {
            self.close(token);
            return;
        }
        // It begins a line after a line end, or after a block that has lines of its own.
        let behind_block = self.before.is_some_and(|before| before.is("}")) && !self.is_in_line();
        if token.lines > 0 || behind_block {
            let goes_on = self.goes_on(at);
            self.begin_line(token, goes_on);
        }
        let token = self.as_meant(token);
        self.write(token);
        if token.is("{") {
            let is_in_line = self.is_in_line() || self.closes_in_line(at);
            self.blocks.push(is_in_line);
            self.statement.clear();
            if !is_in_line {
                // Only a comment can follow on its line.
                let next = self.tokens.get(at + 1);
                if !next.is_some_and(|next| next.kind == Kind::Comment && next.lines == 0) {
                    self.end_line();
                }
            }
        }
    }

    /// Whether the block opened by a token closes on its line.
    fn closes_in_line(&self, open: usize) -> bool {
        let mut depth = 0_usize;
        for token in self.tokens.iter().skip(open + 1) {
            if token.lines > 0 || token.kind == Kind::Comment {
                return false;
            }
            if token.is("{") {
                depth += 1;
            } else if token.is("}") {
                match depth.checked_sub(1) {
                    Some(less) => depth = less,
                    None => return true,
                }
            }
        }
        false
    }

    /// Whether the statement goes on over the line end before a token.
    fn goes_on(&self, at: usize) -> bool {
        let marks = ["->", ",", ":", "(", "["];
        let open = self.before.is_some_and(|before| marks.iter().any(|mark| before.is(mark)));
        !self.statement.is_empty() && (open || self.before_arrow.get(at) == Some(&true))
    }

    fn comment(&mut self, at: usize, token: Token<'a>) {
        let is_alone = token.lines > 0 || self.before.is_none() && self.line.comment.is_none();
        if is_alone {
            let goes_on = self.goes_on(at);
            self.begin_line(token, goes_on);
        }
        self.line.comment = Some(token.text);
        // A comment after the `{` of a block ends the line.
        if self.before.is_some_and(|before| before.is("{")) && self.statement.is_empty() {
            self.end_line();
        }
    }

    fn semicolon(&mut self, at: usize) {
        if !self.is_in_line() {
            // The next setting gets a line of its own, unless it has one already or a comment
            // follows.
            self.statement.clear();
            if let Some(next) = self.tokens.get(at + 1)
                && next.kind != Kind::Comment
                && next.lines == 0
            {
                self.end_line();
            }
            return;
        }
        let next = self.tokens.get(at + 1);
        let needed =
            !self.statement.is_empty() && next.is_some_and(|next| !next.is("}") && !next.is(";"));
        if needed {
            self.line.code.push(';');
        }
        self.statement.clear();
    }

    fn close(&mut self, token: Token<'a>) {
        let was_in_line = self.blocks.pop().unwrap_or(false);
        if was_in_line {
            self.line.code.push_str(" }");
        } else {
            self.end_line();
            self.line.depth = self.blocks.len();
            self.line.code.push('}');
        }
        self.before = Some(token);
        // A block ends its statement, whether or not a `;` follows.
        self.statement = vec![token];
    }

    /// Begins a line with a token.
    fn begin_line(&mut self, token: Token<'a>, goes_on: bool) {
        self.end_line();
        if !goes_on {
            self.statement.clear();
        }
        self.line.depth = self.blocks.len() + usize::from(goes_on);
        self.line.apart = token.lines > 1;
    }

    fn end_line(&mut self) {
        let depth = self.blocks.len();
        let line = std::mem::replace(&mut self.line, TextLine { depth, ..TextLine::default() });
        if line.code.is_empty() && line.comment.is_none() {
            return;
        }
        self.page.push(line);
    }

    /// On a single port a comma reads as `->`.
    fn as_meant(&self, token: Token<'a>) -> Token<'a> {
        if token.is(",") && self.is_one_port() && self.brackets == 0 {
            Token { text: "->", ..token }
        } else {
            token
        }
    }

    /// Whether the statement is a wire to one port: `wire shed.3:`, `wire shed.dmx1:`.
    fn is_one_port(&self) -> bool {
        let [wire, target, colon, ..] = self.statement.as_slice() else {
            return false;
        };
        let is_wire = wire.kind == Kind::Word && wire.text == "wire" && self.blocks.is_empty();
        is_wire && colon.is(":") && target.kind == Kind::Word && target.text.contains('.')
    }

    fn write(&mut self, token: Token<'a>) {
        if !self.line.code.is_empty() && self.is_spaced(token) {
            self.line.code.push(' ');
        }
        let one_line = token.is("{") && self.blocks.len() == self.line.depth;
        let behind_colon = self.before.is_some_and(|before| before.is(":"));
        if self.line.column.is_none() && (one_line || behind_colon) && !self.line.code.is_empty() {
            self.line.column = Some(self.line.code.len());
        }
        self.line.code.push_str(token.text);
        if token.is("(") || token.is("[") {
            self.brackets += 1;
        } else if token.is(")") || token.is("]") {
            self.brackets = self.brackets.saturating_sub(1);
        }
        self.before = Some(token);
        // Only the first three tokens are looked at later.
        if self.statement.len() < 3 {
            self.statement.push(token);
        }
    }

    /// Whether a blank stands before a token that is not the first of its line.
    fn is_spaced(&self, token: Token<'a>) -> bool {
        let Some(before) = self.before else {
            return false;
        };
        // `before` is never a `;`, so the line is asked.
        if self.line.code.ends_with(';') {
            return true;
        }
        let any = |token: &Token<'a>, marks: &[&str]| marks.iter().any(|mark| token.is(mark));
        if any(&token, &[",", ":", ")", "]", ".."]) || any(&before, &["(", "[", ".."]) {
            return false;
        }
        let apart = ["->", "{", "}", "=", "*", "+", ",", ":"];
        any(&token, &apart) || any(&before, &apart) || token.gap
    }
}
