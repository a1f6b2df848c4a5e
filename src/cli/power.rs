//! `tinsel power`: currents and voltages, and where power must be fed in again.

use super::check::{load, report_all, status};
use super::console::{Console, Stop};
use super::{PowerArgs, formats};
use crate::power;
use crate::survey::power::PowerView;
use std::mem::ManuallyDrop;

/// Runs the command. With a level, findings and exit status are those of that level.
pub fn run(args: &PowerArgs, console: &mut Console) -> Result<u8, Stop> {
    let target = args.printed.target(&formats())?;
    let (disk, compiled) = load(&args.input)?;
    let mut compiled = ManuallyDrop::new(compiled);
    if let Some(level) = args.at {
        compiled.power_at(level);
    }
    report_all(&compiled, "no figures of power", console)?;
    if compiled.blocks() {
        return Ok(1);
    }
    let (model, plan) = (&compiled.model, &compiled.plan);
    let study = power::at(model, plan, args.at);
    let suggestions = args.suggest.then(|| compiled.suggest(args.at));
    let view = PowerView::new(model, plan, &study, args.at, suggestions.as_deref());
    target.print(view.survey(), (&disk, &compiled), console)?;
    Ok(status(&args.input, &compiled))
}

/// Reads a level: `60`, `60%` or `60 %`, with up to three decimals; in thousandths of a percent.
///
/// # Errors
/// What a level may be.
pub fn level(text: &str) -> Result<u32, String> {
    let wrong = || "a level is a share from 0 to 100, as in `--at 60` or `--at 60%`".to_owned();
    let number = text.trim().trim_end_matches('%').trim_end();
    let (whole, decimals) = number.split_once('.').unwrap_or((number, "0"));
    let digits = |text: &str| !text.is_empty() && text.chars().all(|c| c.is_ascii_digit());
    if !digits(whole) || !digits(decimals) || decimals.len() > 3 {
        return Err(wrong());
    }
    let whole: u32 = whole.parse().map_err(|_| wrong())?;
    let decimals: u32 = format!("{decimals:0<3}").parse().map_err(|_| wrong())?;
    let level = whole.checked_mul(1_000).and_then(|level| level.checked_add(decimals));
    level.filter(|level| *level <= 100_000).ok_or_else(wrong)
}
