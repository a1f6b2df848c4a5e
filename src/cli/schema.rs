//! `tinsel schema`: what the JSON of the tables looks like.

use super::SchemaArgs;
use super::console::{Console, Stop};
use crate::output::schema;

/// Runs it.
pub fn run(args: &SchemaArgs, console: &mut Console) -> Result<u8, Stop> {
    schema::render(&args.of, console.out())?;
    Ok(0)
}
