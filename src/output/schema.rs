//! The published schema of a survey in JSON (JSON Schema, draft 2020-12), made from its columns.
//!
//! It states which keys are always there and what they hold. Keys may be added later, so it forbids
//! none.

use crate::table::{Face, Head, Kind, Part, Survey};
use serde_json::{Map, Value, json};
use std::io::{self, Write};

/// Writes the schema of what a command prints as JSON.
///
/// # Errors
/// Those of the writer.
pub fn write(title: &str, survey: &Survey<'_>, out: &mut dyn Write) -> io::Result<()> {
    let mut schema = Map::new();
    schema.insert("$schema".into(), "https://json-schema.org/draft/2020-12/schema".into());
    schema.insert("title".into(), title.into());
    schema.extend(object(parts(&survey.parts)));
    serde_json::to_writer_pretty(&mut *out, &Value::Object(schema))?;
    writeln!(out)
}

/// Each part that programs read, by key.
fn parts(all: &[Part<'_>]) -> Vec<(&'static str, Value)> {
    let parts = all.iter().filter_map(|part| match part {
        Part::Value(head, _) => Some((head.key, value(head))),
        Part::Table(table) if table.faces.contains(&Face::Programs) => {
            let columns = table.columns(Face::Programs).map(|(_, head)| (head.key, value(head)));
            let row = object(columns.collect());
            Some((table.name, json!({"type": "array", "items": row, "description": table.about})))
        }
        Part::Group(head, inner) => {
            let schema = object(parts(inner.as_deref().unwrap_or(&[])));
            Some((head.key, described(head, Value::Object(schema))))
        }
        Part::Table(_) | Part::Words(_) | Part::Lines(_) | Part::Cautions(_) => None,
    });
    parts.collect()
}

/// The schema of an object in which all of some keys are required.
fn object(parts: Vec<(&'static str, Value)>) -> Map<String, Value> {
    let mut schema = Map::new();
    schema.insert("type".into(), "object".into());
    schema.insert("required".into(), parts.iter().map(|(key, _)| *key).collect());
    let parts = parts.into_iter().map(|(key, value)| (key.to_owned(), value));
    schema.insert("properties".into(), Value::Object(parts.collect()));
    schema
}

fn value(head: &Head) -> Value {
    described(head, kind(head.kind))
}

/// A schema with the description of a value; it allows null where the value may be missing.
fn described(head: &Head, mut schema: Value) -> Value {
    if let Some(schema) = schema.as_object_mut() {
        schema.insert("description".into(), head.about.into());
    }
    if head.maybe { json!({"anyOf": [schema, {"type": "null"}]}) } else { schema }
}

fn kind(kind: Kind) -> Value {
    let number = || json!({"type": "integer", "minimum": 0});
    let all = |heads: &[Head]| {
        Value::Object(object(heads.iter().map(|head| (head.key, value(head))).collect()))
    };
    match kind {
        Kind::Text => json!({"type": "string"}),
        Kind::Number => number(),
        Kind::Decimal => json!({"type": "number"}),
        Kind::Flag => json!({"type": "boolean"}),
        Kind::Point => {
            let parts = ["universe", "slot", "channel"].map(|key| (key, number()));
            Value::Object(object(parts.to_vec()))
        }
        Kind::List(of) => json!({"type": "array", "items": self::kind(*of)}),
        Kind::Either(kinds) => {
            json!({"oneOf": kinds.iter().map(|one| self::kind(*one)).collect::<Vec<_>>()})
        }
        Kind::Object(heads) => all(&heads()),
    }
}
