//! `tinsel table`: where everything lies.

use super::TableArgs;
use super::check::{status, told};
use super::console::{Console, Stop};
use crate::diagnostic::words;
use crate::output::{self, By, View};

/// Runs it.
pub fn run(args: &TableArgs, console: &mut Console) -> Result<u8, Stop> {
    let compiled = told(&args.input, "no table", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    let mut view = View::new(&compiled.model, &compiled.plan);
    if let Some(only) = &args.only {
        view = view
            .only(&super::normal(only))
            .map_err(|near| unknown(only, &near))?;
    }
    let by = By::ALL.into_iter().find(|by| by.word() == args.by);
    let width = console.out_width();
    if let (Some(output), Some(by)) = (output::find(&args.format), by) {
        output.write(&view, by, width, console.out())?;
    }
    Ok(status(&args.input, &compiled))
}

fn unknown(name: &str, near: &[String]) -> Stop {
    let name = words::shown(name);
    let near = if near.is_empty() {
        String::new()
    } else {
        format!("; did you mean {}?", words::ticked_or(near))
    };
    Stop::Refused(format!(
        "no prop, port, controller or receiver of this display is called `{name}`{near}"
    ))
}
