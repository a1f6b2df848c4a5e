//! `tinsel table`: where everything lies.

use super::check::{compile, status};
use super::console::{Console, Stop};
use super::{TableArgs, table_formats};
use crate::diagnostic::words;
use crate::output::mvr;
use crate::survey::View;

/// Runs the command.
pub fn run(args: &TableArgs, console: &mut Console) -> Result<u8, Stop> {
    let target = args.printed.target(&table_formats())?;
    let scene = target.format == "mvr";
    if scene && (args.by.is_some() || args.only.is_some()) {
        let why = "mvr holds all strings of a display: leave `--by` and `--only` out".to_owned();
        return Err(Stop::Refused(why));
    }
    let (disk, compiled) = compile(&args.input, "no table", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    let (model, plan) = (&compiled.model, &compiled.plan);
    if scene {
        target.write(&disk, console, |_, out| out.write_all(&mvr::render(model, plan)?))?;
    } else {
        let mut view = View::new(model, plan);
        if let Some(only) = &args.only {
            view = view.only(&super::normal(only)).map_err(|near| unknown(only, &near))?;
        }
        target.print(view.survey(args.by.as_deref()), (&disk, &compiled), console)?;
    }
    Ok(status(&args.input, &compiled))
}

fn unknown(name: &str, near: &[String]) -> Stop {
    let name = words::shown(name);
    let near = words::did_you_mean(near);
    Stop::Refused(format!(
        "no prop, string, port, controller or receiver of this display is called `{name}`{near}"
    ))
}
