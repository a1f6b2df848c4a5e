//! The compiler behind the page: bytes go in, bytes come out.
//!
//! A message is four bytes with the length of its head (little endian), the head (JSON), then a body of any bytes. The
//! page writes a question where [`room`] says, calls [`answer`] and reads the answer from [`said`]. What was opened stays
//! between questions. Nothing here reads a file, a clock or the network.

mod ask;
mod desk;
mod edit;
mod rows;

use std::cell::RefCell;

thread_local! {
    static QUESTION: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    static ANSWER: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
    static SHELF: RefCell<desk::Shelf> = RefCell::new(desk::Shelf::default());
}

/// Makes room for a question of `length` bytes and gives its address. It is valid until the next call of [`answer`].
#[unsafe(no_mangle)]
pub extern "C" fn room(length: usize) -> *mut u8 {
    QUESTION.with_borrow_mut(|question| {
        *question = vec![0; length];
        question.as_mut_ptr()
    })
}

/// Answers the question that stands in the room, and gives the length of the answer in bytes.
#[unsafe(no_mangle)]
pub extern "C" fn answer() -> usize {
    let question = QUESTION.take();
    let answer = SHELF.with_borrow_mut(|shelf| ask::answer(shelf, &question));
    let length = answer.len();
    ANSWER.set(answer);
    length
}

/// The address of the last answer. It is valid until the next call of [`answer`].
#[unsafe(no_mangle)]
pub extern "C" fn said() -> *const u8 {
    ANSWER.with_borrow(|answer| answer.as_ptr())
}
