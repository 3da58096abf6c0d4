//! The JSON Schema in the repository is the one that the types make, and it says what the reader
//! does.
#![allow(clippy::unwrap_used)]

use serde_json::Value;
use warpwise::job::{library_schema_json, schema_json};

const LIBRARY: &str = include_str!("../src/job/cloths.schema.json");
const KEPT: &str = include_str!("../src/job/job.schema.json");

#[test]
fn the_schema_in_the_repository_is_up_to_date() {
    assert!(schema_json() == KEPT, "run: cargo run --example job_schema > src/job/job.schema.json");
    assert!(
        library_schema_json() == LIBRARY,
        "run: cargo run --example cloths_schema > src/job/cloths.schema.json"
    );
}

/// Every object in the schema with the path to it.
fn walk<'s>(schema: &'s Value, path: &str, visit: &mut impl FnMut(&str, &'s Value)) {
    visit(path, schema);
    for (key, below) in schema.get("properties").and_then(Value::as_object).into_iter().flatten() {
        walk(below, &format!("{path}.{key}"), visit);
    }
    if let Some(items) = schema.get("items") {
        walk(items, &format!("{path}[]"), visit);
    }
    for choice in schema.get("anyOf").and_then(Value::as_array).into_iter().flatten() {
        walk(choice, path, visit);
    }
}

#[test]
fn every_key_is_described_and_every_table_closed() {
    let [schema, library] = [KEPT, LIBRARY].map(|t| serde_json::from_str::<Value>(t).unwrap());
    let mut keys = 0;
    let mut visit = |path: &str, schema: &Value| {
        if let Some(properties) = schema.get("properties").and_then(Value::as_object) {
            assert_eq!(schema.get("additionalProperties"), Some(&Value::Bool(false)), "{path}");
            for (key, below) in properties {
                keys += 1;
                assert!(
                    below.get("description").and_then(Value::as_str).is_some_and(|d| d.len() > 8),
                    "{path}.{key}"
                );
            }
        }
        if schema.get("type").is_some_and(|t| t == "number" || t == "integer") {
            let bounded = schema
                .get("minimum")
                .or(schema.get("exclusiveMinimum"))
                .and(schema.get("maximum").or(schema.get("exclusiveMaximum")));
            assert!(bounded.is_some(), "{path} has no range");
        }
        if schema.get("type").is_some_and(|t| t == "array") {
            assert!(schema.get("maxItems").is_some(), "{path} may be of any length");
        }
        assert!(
            schema.get("type").is_none_or(|t| t != "null") && schema.get("$ref").is_none(),
            "{path}"
        );
    };
    walk(&schema, "", &mut visit);
    walk(&library, "library", &mut visit);
    assert!(keys > 60, "{keys}");
}

#[test]
fn what_is_required_has_no_default_and_the_dangerous_keys_are_required() {
    let schema: Value = serde_json::from_str(KEPT).unwrap();
    let required = |pointer: &str| -> Vec<&str> {
        schema
            .pointer(pointer)
            .and_then(|s| s.get("required"))
            .and_then(Value::as_array)
            .unwrap()
            .iter()
            .map(|k| k.as_str().unwrap())
            .collect()
    };
    assert_eq!(required(""), ["job", "cloth", "layer"]);
    // What a mould or the library says need not stand there as well.
    assert_eq!(required("/properties/template/items"), ["id", "file"]);
    assert_eq!(required("/properties/template/items/then"), ["taken_off", "inked_side"]);
    assert_eq!(required("/properties/template/items/if/not"), ["mould"]);
    assert_eq!(required("/properties/cloth/items"), ["id"]);
    let of_cloth = ["weave", "up", "roll_width", "selvedge"];
    assert_eq!(required("/properties/cloth/items/then"), of_cloth);
    assert_eq!(required("/properties/cloth/items/if/not"), ["library"]);
    assert_eq!(required("/properties/mould/items"), ["id", "kind", "hands"]);
    // A layer of whole plies needs an angle too; a mosaic has none, so the reader asks for it, not
    // the schema.
    assert_eq!(required("/properties/layer/items"), ["cloth", "templates"]);
    walk(&schema, "", &mut |path, schema| {
        for key in schema.get("required").and_then(Value::as_array).into_iter().flatten() {
            let key = key.as_str().unwrap();
            let below = &schema["properties"][key];
            assert!(below.get("default").is_none() || below["type"] == "array", "{path}.{key}");
        }
    });
}
