//! Answers for editors: findings, hints, hover, completion, names, rename, actions.
//!
//! Texts and a lock go in, answers come out. Nothing here reads a file or a clock, or knows a
//! protocol: a language server and a page show the same answers. [`desk::Desk`] holds a display;
//! most other modules answer one kind of question about it. `resolve` says where names stand and
//! what may stand at a place.

pub mod actions;
pub mod completion;
pub mod desk;
pub mod format;
pub mod hints;
pub mod hover;
pub mod names;
pub mod outline;
mod place;
pub mod position;
pub mod rename;
mod trial;

pub use trial::edited;
