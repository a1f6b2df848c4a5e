//! `tinsel why`: the chain of reasons for a string's address.

use super::check::{status, told};
use super::console::{Console, Stop};
use super::{WhyArgs, normal};
use crate::diagnostic::words::{did_you_mean, nearest, shown};
use crate::model::StringId;
use crate::why;
use std::io::Write;

/// So many strings of one name are told.
const MOST_TOLD: usize = 12;

/// Runs it.
pub fn run(args: &WhyArgs, console: &mut Console) -> Result<u8, Stop> {
    let compiled = told(&args.input, "some addresses may be missing", console)?;
    let name = normal(&args.name);
    let model = &compiled.model;
    let strings = why::find(model, &name);
    if strings.is_empty() {
        // What did not compile may be where it is declared, and that has been told.
        if compiled.blocks() {
            return Ok(1);
        }
        let names: Vec<String> = (0..model.strings.len())
            .map(|at| model.name_of(StringId::from(at)))
            .collect();
        let near = did_you_mean(&nearest(&name, names.iter().map(String::as_str)));
        return Err(Stop::Refused(format!(
            "there is no string `{}`{near}",
            shown(&name)
        )));
    }
    let width = console.out_width();
    let display = (model, &compiled.plan, &compiled.sources);
    for id in strings.iter().take(MOST_TOLD) {
        why::write(display, *id, width, console.out())?;
    }
    if strings.len() > MOST_TOLD {
        let left = strings.len() - MOST_TOLD;
        writeln!(
            console.out(),
            "and {left} more of that name: name one of them"
        )?;
    }
    Ok(status(&args.input, &compiled))
}
