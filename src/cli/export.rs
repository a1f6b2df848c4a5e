//! `tinsel export`: the whole display in a form that other programs read.

use super::ExportArgs;
use super::check::{status, told, write};
use super::console::{Console, Stop};
use crate::output::{self, By, View, mvr, svg, xlsx};
use crate::{Compiled, graph};
use std::io::{self, IsTerminal, Write};
use std::path::Path;

/// A form that is not among the tables' own: its word, which is the ending of its files too, and its bytes.
type Form = (&'static str, fn(&Compiled) -> io::Result<Vec<u8>>);

/// Forms beside those of `table`.
const FORMS: [Form; 3] = [
    ("xlsx", |compiled| {
        xlsx::render(&View::new(&compiled.model, &compiled.plan))
    }),
    ("mvr", |compiled| {
        mvr::render(&compiled.model, &compiled.plan)
    }),
    ("svg", |compiled| {
        let mut bytes = Vec::new();
        svg::render(&graph::of(&compiled.model), None, &mut bytes)?;
        Ok(bytes)
    }),
];

/// The tables' forms that a program reads.
const TABLES: [&str; 3] = ["csv", "json", "yaml"];

/// Every form's word.
pub fn names() -> impl Iterator<Item = &'static str> {
    FORMS.iter().map(|(name, _)| *name).chain(TABLES)
}

/// Runs it.
pub fn run(args: &ExportArgs, console: &mut Console) -> Result<u8, Stop> {
    // `-` is standard output, as everywhere.
    let output = args
        .output
        .as_deref()
        .filter(|path| *path != Path::new("-"));
    let to = match (&args.to, output) {
        (Some(to), _) => to.clone(),
        (None, Some(path)) => by_ending(path)?,
        (None, None) => return Err(Stop::Refused(which("nothing says to which form"))),
    };
    let binary = ["xlsx", "mvr"].contains(&to.as_str());
    if binary && output.is_none() && io::stdout().is_terminal() {
        return Err(Stop::Refused(format!(
            "{to} is nothing to read at a terminal: name a file with `-o`"
        )));
    }
    let compiled = told(&args.input, "nothing exported", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    let made = bytes(&to, &compiled);
    let bytes = made.map_err(|why| Stop::Refused(format!("can't make {to}: {why}")))?;
    match output {
        None => console.out().write_all(&bytes)?,
        Some(path) => {
            write(&compiled, path, &bytes)?;
        }
    }
    Ok(status(&args.input, &compiled))
}

/// The display in a form.
fn bytes(to: &str, compiled: &Compiled) -> io::Result<Vec<u8>> {
    if let Some((_, render)) = FORMS.iter().find(|(name, _)| *name == to) {
        return render(compiled);
    }
    let mut bytes = Vec::new();
    if let Some(output) = output::find(to) {
        let view = View::new(&compiled.model, &compiled.plan);
        output.write(&view, By::String, 0, &mut bytes)?;
    }
    Ok(bytes)
}

/// The form that a file's ending names.
fn by_ending(path: &Path) -> Result<String, Stop> {
    let ending = path.extension().and_then(|ending| ending.to_str());
    let ending = ending.map(str::to_ascii_lowercase).unwrap_or_default();
    let known = if ending == "yml" { "yaml" } else { &ending };
    match names().find(|name| *name == known) {
        Some(name) => Ok(name.to_owned()),
        None if ending.is_empty() => Err(Stop::Refused(which("the file's name has no ending"))),
        None => {
            let ending = crate::diagnostic::words::shown(&ending);
            Err(Stop::Refused(which(&format!("`.{ending}` is no form"))))
        }
    }
}

fn which(why: &str) -> String {
    let names: Vec<&str> = names().collect();
    format!(
        "{why}: add `--to` and one of {}",
        crate::diagnostic::words::list(&names, "and")
    )
}
