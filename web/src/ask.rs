//! Questions and answers as messages.

use crate::desk::Shelf;
use crate::edit::Place;
use serde::{Deserialize, Serialize};

/// The head of a question.
#[derive(Deserialize)]
#[serde(tag = "ask", rename_all = "kebab-case")]
pub enum Ask {
    /// The body is the text of a file.
    Put { name: String },
    /// Forget a file.
    Drop { name: String },
    /// Compile the display of this main file around the lock beside it, if there is one.
    Compile { main: String },
    /// Some rows of a table.
    Rows(crate::rows::Wanted),
    /// The display in a form: a table, a workbook, the lock, the report, and others.
    Make { form: String, by: Option<String> },
    /// A file as `fmt` lays it out.
    Format { name: String },
    /// The body is a table of props.
    Import { name: String },
    /// The page of a code.
    Explain { code: String },
    /// Why a string lies where it does.
    Why { name: String },
    /// Hints and kinds of words in some lines of a file.
    Said { name: String, lines: (u32, u32) },
    /// What is known of a word.
    Hover(Place),
    /// What may be written at a place.
    Complete(Place),
    /// The name at a place that can be renamed.
    Name(Place),
    /// Another name for the one at a place.
    Rename {
        #[serde(flatten)]
        place: Place,
        to: String,
    },
    /// What is offered at a place.
    Actions(Place),
    /// Where the name at a place is declared.
    Definition(Place),
}

/// An answer.
pub struct Answer {
    head: Vec<u8>,
    body: Vec<u8>,
}

impl Answer {
    /// An answer with a head and a body.
    ///
    /// # Errors
    /// That the head can't be written as JSON.
    pub fn new(head: &impl Serialize, body: Vec<u8>) -> Result<Self, String> {
        let head = serde_json::to_vec(head).map_err(|error| error.to_string())?;
        Ok(Self { head, body })
    }

    /// An answer that is a body alone.
    ///
    /// # Errors
    /// See [`Answer::new`].
    pub fn bytes(body: Vec<u8>) -> Result<Self, String> {
        Self::new(&serde_json::Map::new(), body)
    }

    fn to_bytes(&self) -> Vec<u8> {
        let length = u32::try_from(self.head.len()).unwrap_or(0);
        [&length.to_le_bytes(), &*self.head, &*self.body].concat()
    }
}

/// Answers a question. If it can't be answered, `refused` in the head says why.
pub fn answer(shelf: &mut Shelf, question: &[u8]) -> Vec<u8> {
    let answer = read(question).and_then(|(ask, body)| shelf.answer(ask, body));
    let refused = |why: String| Answer {
        head: serde_json::json!({ "refused": why }).to_string().into_bytes(),
        body: Vec::new(),
    };
    answer.unwrap_or_else(refused).to_bytes()
}

fn read(question: &[u8]) -> Result<(Ask, &[u8]), String> {
    let broken = || "the question is cut short".to_owned();
    let (length, rest) = question.split_first_chunk::<4>().ok_or_else(broken)?;
    let length = usize::try_from(u32::from_le_bytes(*length)).map_err(|_| broken())?;
    let (head, body) = rest.split_at_checked(length).ok_or_else(broken)?;
    let ask = serde_json::from_slice(head).map_err(|error| error.to_string())?;
    Ok((ask, body))
}
