//! The compiler as the page calls it: bytes go in, bytes come out.
//!
//! A message is the length of its head in four bytes (little endian), the head (JSON), and a body
//! of any bytes. The page writes a question at the address that [`room`] gives, calls [`answer`]
//! and reads the answer at [`said`]. Open files are kept between questions. Nothing here reads a
//! file, a clock or the network.

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

/// The address of a new buffer for a question of `length` bytes. It is valid until the next call of
/// [`room`] or [`answer`].
#[unsafe(no_mangle)]
pub extern "C" fn room(length: usize) -> *mut u8 {
    QUESTION.with_borrow_mut(|question| {
        *question = vec![0; length];
        question.as_mut_ptr()
    })
}

/// Answers the question in the buffer of [`room`] and returns the length of the answer in bytes.
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
