//! A compiler for the addressing of pixel-light displays.
pub mod ast;
pub mod chip;
pub mod diagnostic;
pub mod model;
pub mod plan;
pub mod protocol;
pub mod rules;
pub mod source;
pub mod unit;
