//! The JSON Schema of the job file, made from the types that read it.

use super::raw::RawJob;
use schemars::Schema;
use schemars::generate::SchemaSettings;
use schemars::transform::transform_subschemas;
use serde_json::Value;

/// The schema as a value, without references: one tree to walk.
pub(super) fn schema() -> Value {
    let settings =
        SchemaSettings::draft2020_12().with(|s| s.inline_subschemas = true).with_transform(plain);
    settings.into_generator().into_root_schema_for::<RawJob>().to_value()
}

/// The JSON Schema (draft 2020-12) of the job file, for editors that complete and check TOML; ends
/// with a line feed.
pub fn schema_json() -> String {
    format!("{:#}\n", schema())
}

/// Makes the schema plain: comments become one line, and null goes. TOML has no null: an optional
/// key is left out. Takes `null` out of types and choices, and unwraps a choice of one.
fn plain(schema: &mut Schema) {
    if let Some(object) = schema.as_object_mut() {
        if let Some(Value::String(text)) = object.get_mut("description") {
            *text = text.replace('\n', " ");
        }
        if let Some(Value::Array(types)) = object.get_mut("type") {
            types.retain(|t| t != "null");
            if let [one] = types.as_slice() {
                let one = one.clone();
                object.insert("type".into(), one);
            }
        }
        for choice in ["anyOf", "enum"] {
            if let Some(Value::Array(of)) = object.get_mut(choice) {
                of.retain(|s| !s.is_null() && s.get("type") != Some(&Value::from("null")));
            }
        }
        if object.get("default").is_some_and(Value::is_null) {
            object.remove("default");
        }
        let single = object
            .get("anyOf")
            .and_then(Value::as_array)
            .filter(|of| of.len() == 1)
            .and_then(|of| of[0].as_object().cloned());
        if let Some(inner) = single {
            object.remove("anyOf");
            for (key, value) in inner {
                object.entry(key).or_insert(value);
            }
        }
    }
    transform_subschemas(&mut plain, schema);
}
