//! Answers for the page's editor: hints, colours, hover, completion, names, changes.
//!
//! Places are lines and UTF-16 units from 0, as that editor counts them.

use serde::{Deserialize, Serialize};
use tinsel::diagnostic::Edit;
use tinsel::editor::desk::Desk;
use tinsel::editor::position::{Lines, Position, Sheets};
use tinsel::editor::{actions, completion, hover, names, outline, rename};
use tinsel::format::tokens::{Kind, Tokens};
use tinsel::source::{SourceFile, Span};

/// A line and a UTF-16 unit, from 0.
type At = (u32, u32);

/// A question about a place in a file.
#[derive(Deserialize)]
pub struct Place {
    name: String,
    at: At,
}

/// A stretch of a file and its new text.
#[derive(Serialize)]
pub struct Change {
    file: String,
    from: At,
    to: At,
    text: String,
}

/// A stretch of a file.
#[derive(Serialize)]
pub struct TextRange {
    file: String,
    from: At,
    to: At,
}

/// What is shown within some lines.
#[derive(Serialize)]
pub struct Said {
    hints: Vec<Hint>,
    /// From, to, and what kind of word it is.
    tokens: Vec<(At, At, &'static str)>,
}

#[derive(Serialize)]
struct Hint {
    at: At,
    text: String,
    tip: &'static str,
    old: bool,
}

/// What is known of a word.
#[derive(Serialize)]
pub struct Hover {
    from: At,
    to: At,
    markdown: String,
}

/// What may be written at a place.
#[derive(Serialize)]
pub struct Offers {
    /// Where the word before the place begins.
    from: At,
    items: Vec<Item>,
}

#[derive(Serialize)]
struct Item {
    label: String,
    detail: String,
}

/// A change that is offered.
#[derive(Serialize)]
pub struct Action {
    title: String,
    edits: Vec<Change>,
}

fn at(position: Position) -> At {
    (position.line, position.character)
}

fn file<'d>(desk: &'d Desk, name: &str) -> Result<&'d SourceFile, String> {
    desk.file(name).ok_or_else(|| format!("{name} is not part of the display"))
}

/// The file of a place, and its offset among all texts.
fn found<'d>(desk: &'d Desk, place: &Place) -> Result<(&'d SourceFile, u32), String> {
    let file = file(desk, &place.name)?;
    let (line, character) = place.at;
    let offset = Lines::of(&file.text).offset(Position { line, character });
    let offset = u32::try_from(offset).map_err(|error| error.to_string())?;
    Ok((file, file.base.saturating_add(offset)))
}

/// Both ends of a stretch in its file.
fn ends<'d>(sheets: &Sheets<'d>, file: &'d SourceFile, span: Span) -> (At, At) {
    let (start, end) = sheets.ends(file, span);
    (at(start), at(end))
}

fn changes(desk: &Desk, edits: &[Edit]) -> Vec<Change> {
    let sheets = Sheets::default();
    let edits = edits.iter().filter_map(|edit| {
        let file = desk.file_at(edit.span.start)?;
        let (from, to) = ends(&sheets, file, edit.span);
        Some(Change { file: file.name.clone(), from, to, text: edit.text.clone() })
    });
    edits.collect()
}

/// What is shown within some lines of a file.
///
/// # Errors
/// If the file is not part of the display.
pub fn said(desk: &Desk, name: &str, (first, last): (u32, u32)) -> Result<Said, String> {
    let file = file(desk, name)?;
    let (lines, sheets) = (Lines::of(&file.text), Sheets::default());
    let byte = |line: u32| lines.offset(Position { line, character: 0 });
    let shown = byte(first)..byte(last.saturating_add(1));
    let hints = desk.hints(name).into_iter();
    let hints = hints.filter(|hint| shown.contains(&(hint.at as usize)));
    let own = |span: Span| shown.contains(&(span.start.saturating_sub(file.base) as usize));
    let mut tokens: Vec<_> = outline::tokens(desk, file)
        .into_iter()
        .filter(|(span, ..)| own(*span))
        .map(|(span, kind, _)| (span, outline::TOKEN_TYPES.get(kind).copied().unwrap_or("")))
        .collect();
    let words = outline::symbols(desk, Some(file)).into_iter();
    tokens.extend(words.filter(|one| own(one.whole)).map(|one| {
        let text = desk.text(one.whole);
        let length = text.find(|c: char| !c.is_alphabetic()).unwrap_or(text.len());
        let end = one.whole.start.saturating_add(length as u32);
        (Span::new(one.whole.start, end), "keyword")
    }));
    // No comment or text goes over the end of its line, so these lines can be read alone.
    let part = file.text.get(shown.clone()).unwrap_or_default();
    tokens.extend(Tokens::of(part).filter_map(|token| {
        let kind = match token.kind {
            Kind::Comment => "comment",
            Kind::Text => "text",
            Kind::Word | Kind::Mark => return None,
        };
        let within = (token.text.as_ptr() as usize).saturating_sub(part.as_ptr() as usize);
        let start = file.base.saturating_add(u32::try_from(shown.start + within).ok()?);
        let end = start.saturating_add(u32::try_from(token.text.len()).ok()?);
        Some((Span::new(start, end), kind))
    }));
    Ok(Said {
        hints: hints
            .map(|hint| Hint {
                at: at(lines.position(hint.at as usize)),
                text: hint.text,
                tip: hint.tip,
                old: hint.old,
            })
            .collect(),
        tokens: tokens
            .into_iter()
            .map(|(span, kind)| {
                let (from, to) = ends(&sheets, file, span);
                (from, to, kind)
            })
            .collect(),
    })
}

/// What is known of the word at a place; `None` where nothing is.
///
/// # Errors
/// If the file is not part of the display.
pub fn hovered(desk: &Desk, place: &Place) -> Result<Option<Hover>, String> {
    let (file, offset) = found(desk, place)?;
    Ok(hover::hover(desk, offset).map(|hover| {
        let (from, to) = ends(&Sheets::default(), file, hover.at);
        Hover { from, to, markdown: hover.markdown }
    }))
}

/// What may be written at a place.
///
/// # Errors
/// See [`hovered`].
pub fn offers(desk: &Desk, place: &Place) -> Result<Offers, String> {
    let (file, offset) = found(desk, place)?;
    let (start, offers) = completion::offers(desk, file, (offset - file.base) as usize);
    Ok(Offers {
        from: at(Lines::of(&file.text).position(start)),
        items: offers
            .into_iter()
            .map(|offer| Item { label: offer.word, detail: offer.about })
            .collect(),
    })
}

/// The name at a place, if it can be renamed.
///
/// # Errors
/// Why it can't.
pub fn name(desk: &Desk, place: &Place) -> Result<String, String> {
    let (_, offset) = found(desk, place)?;
    Ok(desk.text(rename::target(desk, offset)?.at).to_owned())
}

/// The changes that rename the name at a place.
///
/// # Errors
/// Why it can't have that name.
pub fn renamed(desk: &Desk, place: &Place, to: &str) -> Result<Vec<Change>, String> {
    let (_, offset) = found(desk, place)?;
    Ok(changes(desk, &rename::rename(desk, offset, to)?))
}

/// The changes that are offered at a place.
///
/// # Errors
/// See [`hovered`].
pub fn offered(desk: &Desk, place: &Place) -> Result<Vec<Action>, String> {
    let (_, offset) = found(desk, place)?;
    let actions = actions::actions(desk, Span::new(offset, offset)).into_iter();
    Ok(actions
        .map(|action| Action { edits: changes(desk, &action.fix.edits), title: action.fix.title })
        .collect())
}

/// Where the name at a place is declared.
///
/// # Errors
/// See [`hovered`].
pub fn declared(desk: &Desk, place: &Place) -> Result<Vec<TextRange>, String> {
    let (_, offset) = found(desk, place)?;
    let places = names::definition(desk, offset).into_iter();
    let sheets = Sheets::default();
    Ok(places
        .filter_map(|span| {
            let file = desk.file_at(span.start)?;
            let (from, to) = ends(&sheets, file, span);
            Some(TextRange { file: file.name.clone(), from, to })
        })
        .collect())
}
