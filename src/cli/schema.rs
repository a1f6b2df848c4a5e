//! `tinsel schema`: the schema of the JSON of tables.

use super::SchemaArgs;
use super::console::{Console, Stop};
use crate::loads::Study;
use crate::model::Model;
use crate::output::schema::write;
use crate::plan::Plan;
use crate::survey::View;
use crate::survey::fit::{Added, Fit};
use crate::survey::parts;
use crate::survey::power::PowerView;

/// What has a schema; the first is the default.
pub const ALL: [&str; 4] = ["table", "parts", "fit", "power"];

/// Runs the command. The survey of an empty display has the same columns as any other.
pub fn run(args: &SchemaArgs, console: &mut Console) -> Result<u8, Stop> {
    let (model, plan) = (Model::default(), Plan::default());
    let title = format!("tinsel {}", args.of);
    let out = console.out();
    match args.of.as_str() {
        "parts" => write(&title, &parts::survey(&[]), out)?,
        "fit" => {
            let mut fit = Fit::of(&model, &plan);
            fit.added = Some(Added::default());
            write(&title, &fit.survey(), out)?;
        }
        "power" => {
            let view = PowerView::new(&model, &plan, &Study::default(), None, Some(&[]));
            write(&title, &view.survey(), out)?;
        }
        _ => write(&title, &View::new(&model, &plan).survey(None), out)?,
    }
    Ok(0)
}
