//! Strings and fixtures with their addresses as My Virtual Rig (MVR, DIN SPEC 15801): a zip that
//! holds `GeneralSceneDescription.xml`, version 1.6.
//!
//! A controller is a layer. Every string and every DMX fixture is a `Fixture` in it, with its first
//! slot as an absolute address: `(universe - 1) * 512 + slot`, whatever the display's own universes
//! hold. A string that shows another's data is a multipatch of that one. Identity is a UUID (RFC
//! 9562, version 5) made from the string's name, so it stays while other things change. There is no
//! GDTF file, so footprints are only in the tables.

use crate::model::{Model, PieceKind, StringId};
use crate::page::html::escape;
use crate::plan::Plan;
use std::fmt::Write as _;
use std::io::{self, Cursor, Write as _};
use uuid::Uuid;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, DateTime, ZipWriter};

/// The name space of these UUIDs, chosen once.
const NAMES: Uuid = Uuid::from_u128(0x6b9d_57e2_0c41_4f0a_9a57_3c1e_8d20_f7b4);

/// Slots of a universe in the addresses of MVR.
const SLOTS: u64 = 512;

fn identity(kind: &str, name: &str) -> String {
    Uuid::new_v5(&NAMES, format!("{kind} {name}").as_bytes()).hyphenated().to_string()
}

/// The archive as bytes.
///
/// # Errors
/// Those of the writer of the archive.
pub fn render(model: &Model, plan: &Plan) -> io::Result<Vec<u8>> {
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        // The same display must give the same bytes, so the time is always the first that a zip can
        // hold.
        .last_modified_time(DateTime::default());
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    archive.start_file("GeneralSceneDescription.xml", options)?;
    archive.write_all(scene(model, plan).as_bytes())?;
    Ok(archive.finish()?.into_inner())
}

/// The scene as XML.
fn scene(model: &Model, plan: &Plan) -> String {
    let mut out = String::from("<?xml version=\"1.0\" encoding=\"UTF-8\" standalone=\"no\"?>\n");
    // Writing to a String can't fail, here and below.
    let _ = writeln!(
        out,
        "<GeneralSceneDescription verMajor=\"1\" verMinor=\"6\" provider=\"tinsel\" providerVersion=\"{}\">",
        env!("CARGO_PKG_VERSION")
    );
    out.push_str("  <Scene>\n    <Layers>\n");
    let mut number = 0_u32;
    for (id, controller) in model.controllers.pairs() {
        let pieces = plan.ports_of(id).iter().flat_map(|port| &port.pieces);
        let strings: Vec<StringId> = pieces
            .filter_map(|piece| match piece.piece.kind {
                PieceKind::String(id, _) => Some(id),
                PieceKind::Skip(_) | PieceKind::Lead(..) => None,
            })
            .collect();
        if strings.is_empty() {
            continue;
        }
        let _ = writeln!(
            out,
            "      <Layer name=\"{}\" uuid=\"{}\">\n        <ChildList>",
            escape(&controller.name),
            identity("controller", &controller.name)
        );
        for id in strings {
            number += 1;
            fixture(model, plan, id, number, &mut out);
        }
        out.push_str("        </ChildList>\n      </Layer>\n");
    }
    out.push_str("    </Layers>\n  </Scene>\n</GeneralSceneDescription>\n");
    out
}

/// One string or fixture; `number` counts them from 1.
fn fixture(model: &Model, plan: &Plan, id: StringId, number: u32, out: &mut String) {
    let Some(placed) = plan.of(id) else { return };
    let name = model.name_of(id);
    let multipatch = model.strings[id].same_as.map_or_else(String::new, |other| {
        format!(" multipatch=\"{}\"", identity("string", &model.name_of(other)))
    });
    let (universe, slot) = plan.universe_slot(placed.start);
    let address = u64::from(universe - 1) * SLOTS + u64::from(slot);
    let (x, y) = model.stands(id).unwrap_or((0, 0));
    let place = |um: i64| crate::unit::decimal(um, 1_000);
    let _ = writeln!(
        out,
        "          <Fixture name=\"{}\" uuid=\"{}\"{multipatch}>",
        escape(&name),
        identity("string", &name)
    );
    let _ = writeln!(
        out,
        "            <Matrix>{{1,0,0}}{{0,1,0}}{{0,0,1}}{{{},{},0}}</Matrix>",
        place(x),
        place(y)
    );
    let _ = writeln!(out, "            <FixtureID>{number}</FixtureID>");
    let _ = writeln!(out, "            <FixtureIDNumeric>{number}</FixtureIDNumeric>");
    let _ = writeln!(
        out,
        "            <Addresses>\n              <Address break=\"0\">{address}</Address>\n            </Addresses>"
    );
    out.push_str("          </Fixture>\n");
}
