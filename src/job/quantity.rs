//! Schemas of the numbers a job file holds, with their ranges: a plain number, or text with a unit.
//!
//! The range stands in the schema and nowhere else, so that editors and the reader refuse the same
//! values.

use crate::fault::Fault;
use crate::units::{LARGEST, parse_angle, parse_areal_mass, parse_length, parse_share};
use schemars::{Schema, SchemaGenerator, json_schema};
use serde_json::{Value, json};

/// The largest gap or allowance accepted, mm: more is a slip of the unit.
const LARGEST_ALLOWANCE: f64 = 1000.0;

/// The annotation by which the reader knows a quantity from other choices; its value is one of the
/// names below.
pub(super) const KEYWORD: &str = "quantity";

/// Reads the text of a quantity of this name.
pub(super) fn parse(name: &str, text: &str) -> Result<f64, Fault> {
    match name {
        "angle" => parse_angle(text),
        "areal mass" => parse_areal_mass(text),
        "share" => parse_share(text),
        _ => parse_length(text),
    }
}

/// The unit that a plain number of this quantity is in, with a leading space.
pub(super) fn unit(name: &str) -> &'static str {
    match name {
        "length" => " mm",
        "angle" => "°",
        "areal mass" => " g/m²",
        _ => "",
    }
}

fn quantity(name: &str, range: Value, pattern: &str) -> Schema {
    let mut number = json!({ "type": "number" });
    if let (Value::Object(number), Value::Object(range)) = (&mut number, range) {
        number.extend(range);
    }
    json_schema!({ "anyOf": [number, { "type": "string", "pattern": pattern }], (KEYWORD): name })
}

fn length(range: Value) -> Schema {
    quantity(
        "length",
        range,
        r#"^\s*[-+]?[0-9. /e]+\s*(mm|cm|m|in|inch|inches|"|ft|foot|feet|')?\s*$"#,
    )
}

/// A length above 0.
pub(super) fn size(_: &mut SchemaGenerator) -> Schema {
    length(json!({ "exclusiveMinimum": 0.0, "maximum": LARGEST }))
}

/// A length above 0; a roll may be longer than any layout.
pub(super) fn roll_length(_: &mut SchemaGenerator) -> Schema {
    length(json!({ "exclusiveMinimum": 0.0, "maximum": 10.0 * LARGEST }))
}

/// A length from 0.
pub(super) fn distance(_: &mut SchemaGenerator) -> Schema {
    length(json!({ "minimum": 0.0, "maximum": LARGEST }))
}

/// A gap or allowance from 0.
pub(super) fn allowance(_: &mut SchemaGenerator) -> Schema {
    length(json!({ "minimum": 0.0, "maximum": LARGEST_ALLOWANCE }))
}

/// How far a flattened curve may be from the true one.
pub(super) fn chord(_: &mut SchemaGenerator) -> Schema {
    length(json!({ "minimum": 0.001, "maximum": 1.0 }))
}

/// How far apart ends in a drawing may be that are joined.
pub(super) fn join(_: &mut SchemaGenerator) -> Schema {
    length(json!({ "minimum": 0.0, "maximum": 50.0 }))
}

fn coordinate() -> Schema {
    length(json!({ "minimum": -LARGEST, "maximum": LARGEST }))
}

/// A point `[x, y]`.
pub(super) fn point(_: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": "array", "items": coordinate(), "minItems": 2, "maxItems": 2 })
}

/// A closed line of at least three points.
pub(super) fn ring(generator: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": "array", "items": point(generator), "minItems": 3, "maxItems": 2000 })
}

/// Two lengths, one each way.
pub(super) fn girths(generator: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": "array", "items": size(generator), "minItems": 2, "maxItems": 2 })
}

/// Any number of lengths.
pub(super) fn openings(generator: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": "array", "items": size(generator), "maxItems": 1000 })
}

/// A direction or a turn.
pub(super) fn angle(_: &mut SchemaGenerator) -> Schema {
    quantity(
        "angle",
        json!({ "minimum": -360.0, "maximum": 360.0 }),
        r"^\s*[-+]?[0-9.]+\s*(°|deg|degrees)?\s*$",
    )
}

/// At least one turn.
pub(super) fn turns(generator: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": "array", "items": angle(generator), "minItems": 1, "maxItems": 360 })
}

/// How far a piece may lie off its angle.
pub(super) fn angle_tolerance(_: &mut SchemaGenerator) -> Schema {
    quantity(
        "angle",
        json!({ "minimum": 0.0, "maximum": 45.0 }),
        r"^\s*[0-9.]+\s*(°|deg|degrees)?\s*$",
    )
}

/// Mass of an area.
pub(super) fn areal_mass(_: &mut SchemaGenerator) -> Schema {
    quantity(
        "areal mass",
        json!({ "exclusiveMinimum": 0.0, "maximum": 10_000.0 }),
        r"^\s*[0-9.]+\s*(g/m²|g/m2|gsm|kg/m²|kg/m2|oz/yd²|oz/yd2)?\s*$",
    )
}

/// A share from 0 to 1; a number up to 100 is let through and read as per cent by the cloth's own
/// check.
pub(super) fn share(_: &mut SchemaGenerator) -> Schema {
    quantity("share", json!({ "minimum": 0.0, "exclusiveMaximum": 100.0 }), r"^\s*[0-9.]+\s*%?\s*$")
}

/// An id: it names pieces, files and labels. The pattern names what is excluded, since not every
/// checker of schemas knows letters beyond ASCII.
pub(super) fn id(_: &mut SchemaGenerator) -> Schema {
    let pattern = r"^[^\s!-/:-@\[-`{-~][^\s!-,/:-@\[-^`{-~]*$";
    json_schema!({ "type": "string", "format": "id", "minLength": 1, "maxLength": 64, "pattern": pattern })
}

/// True for the characters of ids, which name pieces, files and labels.
pub(super) fn may_be_in_id(c: char) -> bool {
    c.is_alphanumeric() || matches!(c, '-' | '_' | '.')
}

/// A short text for people.
pub(super) fn text(_: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": "string", "minLength": 1, "maxLength": 120, "pattern": r"\S" })
}

/// A quantity or text that may be left out: in a plan it stands as `null`; a job, which is TOML,
/// has none.
fn or_null(mut schema: Schema) -> Schema {
    if let Some(object) = schema.as_object_mut() {
        match object.get_mut("anyOf") {
            Some(Value::Array(choices)) => choices.push(json!({ "type": "null" })),
            _ => {
                object.entry("type").and_modify(|t| *t = json!([t.take(), "null"]));
            }
        }
    }
    schema
}

/// A length above 0, or none.
pub(super) fn size_or_none(generator: &mut SchemaGenerator) -> Schema {
    or_null(size(generator))
}

/// A short text, or none.
pub(super) fn text_or_none(generator: &mut SchemaGenerator) -> Schema {
    or_null(text(generator))
}
