//! `tinsel explain`: the page of a code, the figures of a chip, and the language guide.

use super::ExplainArgs;
use super::console::{Console, Stop};
use crate::diagnostic::words;
use crate::explain;

/// Runs the command.
pub fn run(args: &ExplainArgs, console: &mut Console) -> Result<u8, Stop> {
    if args.code.as_deref() == Some(explain::GUIDE) {
        explain::guide(args.format == "json", console.out())?;
        return Ok(0);
    }
    if let Some(chips) = args.code.as_deref().and_then(explain::chips) {
        let width = console.out_width();
        let out = console.out();
        match args.format.as_str() {
            "json" => explain::chip_json(&chips, out)?,
            _ => explain::chip_list(&chips, width, out)?,
        }
        return Ok(0);
    }
    let rules = explain::find(args.code.as_deref()).map_err(|near| {
        let word = words::shown(args.code.as_deref().unwrap_or(""));
        let near = match near.as_slice() {
            [] => "; `tinsel explain` lists all, `tinsel explain language` is the language guide"
                .to_owned(),
            near => words::did_you_mean(near),
        };
        Stop::Refused(format!("there is no code `{word}`{near}"))
    })?;
    let width = console.out_width();
    let out = console.out();
    match rules.as_slice() {
        _ if args.format == "json" => explain::json(&rules, out)?,
        [rule] if args.code.is_some() => explain::page(rule, width, out)?,
        _ => explain::list(&rules, width, out)?,
    }
    Ok(0)
}
