//! `tinsel why`: the chain of reasons for a string's address.

use super::check::{compile, status};
use super::console::{Console, Stop};
use super::{WhyArgs, normal};
use crate::diagnostic::words::{did_you_mean, nearest, shown};
use crate::model::StringId;
use crate::{Compiled, why};
use std::io::Write;

/// At most this many strings of one name are listed.
const MOST_TOLD: usize = 12;

/// The strings of a name.
///
/// # Errors
/// That there is none.
pub fn named(compiled: &Compiled, name: &str) -> Result<Vec<StringId>, Stop> {
    let model = &compiled.model;
    let strings = why::find(model, name);
    if strings.is_empty() {
        let names: Vec<String> = model.strings.ids().map(|id| model.name_of(id)).collect();
        let near = did_you_mean(&nearest(name, names.iter().map(String::as_str)));
        let words = format!("there is no string `{}`{near}", shown(name));
        return Err(Stop::Refused(words));
    }
    Ok(strings)
}

/// Runs the command.
pub fn run(args: &WhyArgs, console: &mut Console) -> Result<u8, Stop> {
    let (_, compiled) = compile(&args.input, "some addresses may be missing", console)?;
    let name = normal(&args.name);
    let model = &compiled.model;
    let strings = match named(&compiled, &name) {
        Ok(strings) => strings,
        // The name may be declared in a part that did not compile, which has been reported.
        Err(_) if compiled.blocks() => return Ok(1),
        Err(stop) => return Err(stop),
    };
    let width = console.out_width();
    let display = (model, &compiled.plan, &compiled.sources);
    for id in strings.iter().take(MOST_TOLD) {
        why::write(display, *id, width, console.out())?;
    }
    if strings.len() > MOST_TOLD {
        let left = strings.len() - MOST_TOLD;
        writeln!(console.out(), "and {left} more of that name: name one of them")?;
    }
    Ok(status(&args.input, &compiled))
}
