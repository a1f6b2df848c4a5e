//! `tinsel fit`: how full everything is, and where something more would go.

use super::check::{compiled, heard, name, open, report_all, reread, show, status};
use super::console::{Console, Stop};
use super::disk::Disk;
use super::why::named;
use super::{FitArgs, Input, formats, normal};
use crate::Compiled;
use crate::diagnostic::Severity;
use crate::model::{Output, PieceKind, StringId, Target};
use crate::source::Loaded;
use crate::survey::fit::{Added, Addition, Fit};
use std::collections::BTreeMap;
use std::mem::ManuallyDrop;

/// Runs the command.
pub fn run(args: &FitArgs, console: &mut Console) -> Result<u8, Stop> {
    let target = args.printed.target(&formats())?;
    let (disk, main) = open(&args.input)?;
    let lock = disk.lock().map_err(Stop::Refused)?;
    // The process ends after this, so its memory need not be freed piece by piece.
    let now = ManuallyDrop::new(compiled(&args.input, &disk, main.clone(), lock.clone()));
    report_all(&now, "not known how full it is", console)?;
    if now.blocks() {
        return Ok(1);
    }
    let mut fit = Fit::of(&now.model, &now.plan);
    if !args.add.is_empty() {
        let addition = Addition::read(&now.model, &normal(&args.add.join(" ")));
        let mut addition = addition.map_err(Stop::Refused)?;
        let after = match &args.after {
            None => None,
            Some(after) => {
                let found = named(&now, &normal(after))?;
                let last = found.last().and_then(|id| Some((*id, plug(&now, *id)?)));
                let stored = || Stop::Refused(format!("`{}` hangs on no data line", normal(after)));
                addition = addition.after(&normal(after), None);
                let last = last.ok_or_else(stored)?;
                let is_fixture = now.model.node_of(last.0).is_none();
                if is_fixture != addition.fixture {
                    let (one, other) = match is_fixture {
                        true => ("a fixture", "a string of nodes"),
                        false => ("a string of nodes", "a fixture"),
                    };
                    let after = normal(after);
                    let why = format!("`{after}` is {one}, so {other} can't hang after it");
                    return Err(Stop::Refused(why));
                }
                Some(last)
            }
        };
        // Any addition changes the lock, so `--locked` does not hold for the trial.
        let input = Input { locked: false, ..args.input.clone() };
        let trial = Trial { input, disk: &disk, main, lock, now: &now, after };
        let (then, added) = trial.with(&addition);
        let Some(added) = added else {
            let findings = heard(&then, console);
            show(&then, &findings, console)?;
            let fewer = trial.fewer(args.after.as_deref(), &addition);
            let verb = if addition.count().is_some_and(|count| count > 1) { "do" } else { "does" };
            let line = format!("{}: {} {verb} not fit{fewer}\n", name(&now), addition.words);
            console.report(line.as_bytes());
            return Ok(1);
        };
        fit.added = Some(added);
    }
    target.print(fit.survey(), (&disk, &now), console)?;
    Ok(status(&args.input, &now))
}

/// The output and receiver that a string hangs on; `None` for a stored string.
fn plug(now: &Compiled, id: StringId) -> Option<Target> {
    let port = now.plan.port_of(id)?;
    let is = |kind: &PieceKind| matches!(kind, PieceKind::String(other, _) if *other == id);
    let piece = port.pieces.iter().find(|piece| is(&piece.piece.kind))?;
    (!now.model.string(id)?.stored).then_some(match port.output {
        Output::Pixel(number) => Target::Port(port.controller, number, piece.receiver),
        Output::Dmx(number) => Target::Dmx(port.controller, number),
    })
}

/// Whether an addition brings more errors of some code than before or, on a line that is there,
/// puts more than 80 % on its fuse. `power/unfed` does not count: a new port is fed later.
fn has_new_faults(before: &Compiled, then: &Compiled, on_a_line: bool) -> bool {
    let counts = |compiled: &Compiled| {
        let mut codes: BTreeMap<&str, usize> = BTreeMap::new();
        for one in &compiled.findings {
            let fault = match one.severity {
                Severity::Error => one.code != "power/unfed",
                // More than 80 % of a fuse that is there.
                Severity::Warning => on_a_line && one.code == "power/fuse",
                Severity::Advice => false,
            };
            *codes.entry(one.code).or_default() += usize::from(fault);
        }
        codes
    };
    let known = counts(before);
    counts(then).iter().any(|(code, count)| count > known.get(code).unwrap_or(&0))
}

/// A display to which something is to be added.
struct Trial<'a> {
    input: Input,
    disk: &'a Disk,
    main: Loaded,
    lock: Option<Loaded>,
    now: &'a Compiled,
    /// The string after which it is to hang, and where that is plugged in.
    after: Option<(StringId, Target)>,
}

impl Trial<'_> {
    /// The display with an addition, and what that changes if it fits.
    fn with(&self, addition: &Addition) -> (ManuallyDrop<Compiled>, Option<Added>) {
        let mut more = self.main.clone();
        more.bytes.extend_from_slice(addition.text.as_bytes());
        let then = reread(&self.input, self.disk, more, self.lock.clone(), &|model| {
            if let Some(((after, target), prop)) = self.after.zip(addition.prop(model)) {
                model.hang_after(prop, after, target);
            }
        });
        let then = ManuallyDrop::new(then);
        let (before, now) = (&self.now.model, &self.now.plan);
        let added = || addition.changes((before, now), (&then.model, &then.plan));
        let added =
            (!then.blocks() && !has_new_faults(self.now, &then, self.after.is_some())).then(added);
        let added = added.filter(|added| self.after.is_none() || added.leaves_plugs());
        (then, added)
    }

    /// In words: how many nodes would fit after a string, where the addition does not.
    fn fewer(&self, after: Option<&str>, addition: &Addition) -> String {
        let (Some(after), Some(count)) = (after, addition.count()) else {
            return String::new();
        };
        let after = normal(after);
        let fits = |count: u32| self.with(&addition.after(&after, Some(count))).1.is_some();
        let (mut most, mut over) = (0, count);
        while over - most > 1 {
            let half = most + (over - most) / 2;
            if fits(half) {
                most = half;
            } else {
                over = half;
            }
        }
        match most {
            0 => "; not one node does".to_owned(),
            1 => "; at most 1 node does".to_owned(),
            most => format!("; at most {most} nodes do"),
        }
    }
}
