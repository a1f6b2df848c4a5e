//! `tinsel completions`: a completion script, made from the definition of the arguments.

use super::CompletionsArgs;
use super::console::{Console, Stop};
use std::io::Write as _;

/// Prints a completion script.
pub fn run(args: &CompletionsArgs, console: &mut Console) -> Result<u8, Stop> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut super::command(), "tinsel", &mut script);
    console.out().write_all(&script)?;
    Ok(0)
}
