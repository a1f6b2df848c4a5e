//! The published schema of the tables in JSON (JSON Schema, draft 2020-12), made from the rows themselves.
//!
//! It says which keys are always there and what they hold. Keys may be added later, so it forbids none.

use super::fit::Fit;
use super::parts::PartRow;
use super::row::{ControllerRow, DisplayRow, PortRow, PropRow, StringRow, UniverseRow};
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema};
use std::io::{self, Write};

/// What has a schema; the first is the default.
pub const ALL: [&str; 3] = ["table", "parts", "fit"];

/// The tables of a display.
#[derive(JsonSchema)]
#[schemars(title = "tinsel table")]
#[expect(dead_code, reason = "only its shape is used")]
struct Tables<'a> {
    /// What holds for the whole display.
    display: DisplayRow<'a>,
    /// Strings and fixtures, by controller as declared, port, position.
    strings: Vec<StringRow<'a>>,
    /// Used outputs, by controller as declared, pixel ports before DMX outputs, each by number.
    ports: Vec<PortRow<'a>>,
    /// Controllers as declared.
    controllers: Vec<ControllerRow<'a>>,
    /// Universes with a slot in use, by number.
    universes: Vec<UniverseRow<'a>>,
    /// Props and members that have an address, as declared.
    props: Vec<PropRow<'a>>,
}

/// The parts list of a display.
#[derive(JsonSchema)]
#[schemars(title = "tinsel parts")]
#[expect(dead_code, reason = "only its shape is used")]
struct Parts {
    /// A row for each kind of part.
    parts: Vec<PartRow>,
}

fn schema_of<T: JsonSchema>() -> Schema {
    SchemaSettings::draft2020_12()
        .for_serialize()
        .into_generator()
        .into_root_schema_for::<T>()
}

/// Writes the schema of one of [`ALL`].
///
/// # Errors
/// What the writer says.
pub fn render(of: &str, out: &mut dyn Write) -> io::Result<()> {
    let schema = match of {
        "parts" => schema_of::<Parts>(),
        "fit" => schema_of::<Fit>(),
        _ => schema_of::<Tables<'static>>(),
    };
    serde_json::to_writer_pretty(&mut *out, &schema)?;
    writeln!(out)
}
