//! `tinsel completions` and `tinsel man`: made from the arguments themselves.

use super::console::{Console, Stop};
use super::{CompletionsArgs, ManArgs};
use crate::diagnostic::words;

/// Prints a completion script.
pub fn completions(args: &CompletionsArgs, console: &mut Console) -> Result<u8, Stop> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut super::command(), "tinsel", &mut script);
    std::io::Write::write_all(console.out(), &script)?;
    Ok(0)
}

/// Prints the manual page of all, or of one command.
pub fn man(args: &ManArgs, console: &mut Console) -> Result<u8, Stop> {
    let mut command = super::command();
    // Fills in the full names of the commands.
    command.build();
    if let Some(name) = args.command.as_deref() {
        let found = command.find_subcommand(name).cloned();
        command = found.ok_or_else(|| {
            let names = command.get_subcommands().map(|c| c.get_name());
            let near = words::nearest(name, names);
            let name = words::shown(name);
            Stop::Refused(if near.is_empty() {
                format!("there is no command `{name}`; `tinsel --help` lists all")
            } else {
                format!(
                    "there is no command `{name}`; did you mean {}?",
                    words::ticked_or(&near)
                )
            })
        })?;
    }
    clap_mangen::Man::new(command).render(console.out())?;
    Ok(0)
}
