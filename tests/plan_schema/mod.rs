//! Holds plans against the JSON Schema in the repository, as a reader of another make would. Words
//! of JSON Schema (draft 2020-12) that the schema does not use are refused, so that none is passed
//! over; `.ci/reference` does the same with a general library.
#![allow(dead_code, clippy::unwrap_used)]

use serde_json::{Map, Value};
use warpwise::plan::{Plan, to_json};

/// Words that only tell people something.
const NOTES: [&str; 7] =
    ["$schema", "$defs", "title", "description", "default", "format", "quantity"];

/// A plan as it is written keeps to the schema.
#[track_caller]
pub fn keeps_to_schema(plan: &Plan) {
    file_keeps_to_schema(&to_json(plan));
}

/// A `plan.json` keeps to the schema.
#[track_caller]
pub fn file_keeps_to_schema(text: &str) {
    let faults = faults(&serde_json::from_str(text).unwrap());
    assert!(faults.is_empty(), "the plan does not pass its schema: {faults:#?}");
}

/// Where a plan breaks the schema.
pub fn faults(plan: &Value) -> Vec<String> {
    let root: Value =
        serde_json::from_str(include_str!("../../src/plan/plan.schema.json")).unwrap();
    let mut out = Vec::new();
    check(&root, &root, plan, "", &mut out);
    out
}

fn passes(root: &Value, schema: &Value, value: &Value) -> bool {
    let mut out = Vec::new();
    check(root, schema, value, "", &mut out);
    out.is_empty()
}

fn is_type(name: &str, value: &Value) -> bool {
    match name {
        "null" => value.is_null(),
        "boolean" => value.is_boolean(),
        "string" => value.is_string(),
        "array" => value.is_array(),
        "object" => value.is_object(),
        "number" => value.is_number(),
        "integer" => value.as_f64().is_some_and(|v| v.fract() == 0.0),
        _ => panic!("no type {name}"),
    }
}

fn check(root: &Value, schema: &Value, value: &Value, at: &str, out: &mut Vec<String>) {
    let Some(words) = schema.as_object() else {
        assert!(schema.is_boolean(), "{schema}");
        return if schema == false {
            out.push(format!("{at} may not be there"))
        };
    };
    for (word, rule) in words.iter().filter(|(w, _)| !NOTES.contains(&w.as_str())) {
        if !holds(root, words, word, rule, value, at, out) {
            out.push(format!("{at}: {value:.60} breaks {word} {rule:.80}"));
        }
    }
}

/// One word of a schema; faults inside a list or table go to `out`.
fn holds(
    root: &Value,
    words: &Map<String, Value>,
    word: &str,
    rule: &Value,
    value: &Value,
    at: &str,
    out: &mut Vec<String>,
) -> bool {
    let (text, number) = (value.as_str(), value.as_f64());
    let (list, table) = (value.as_array(), value.as_object());
    let limit = rule.as_f64().unwrap_or(f64::NAN);
    let passing = || rule.as_array().unwrap().iter().filter(|s| passes(root, s, value)).count();
    match word {
        "$ref" => check(root, root.pointer(&rule.as_str().unwrap()[1..]).unwrap(), value, at, out),
        "type" => {
            return rule
                .as_array()
                .map_or(vec![rule], |r| r.iter().collect())
                .iter()
                .any(|t| is_type(t.as_str().unwrap(), value));
        }
        "const" => return rule == value,
        "anyOf" => return passing() > 0,
        "oneOf" => return passing() == 1,
        "minimum" => return number.is_none_or(|v| v >= limit),
        "maximum" => return number.is_none_or(|v| v <= limit),
        "exclusiveMinimum" => return number.is_none_or(|v| v > limit),
        "minItems" => return list.is_none_or(|l| l.len() as f64 >= limit),
        "maxItems" => return list.is_none_or(|l| l.len() as f64 <= limit),
        "minLength" => return text.is_none_or(|t| t.chars().count() as f64 >= limit),
        "maxLength" => return text.is_none_or(|t| t.chars().count() as f64 <= limit),
        // The pattern of a length with its unit stands beside "number"; a plan has numbers there.
        "pattern" => {
            return text.is_none_or(|t| rule == r"\S" && t.contains(|c: char| !c.is_whitespace()));
        }
        "required" => {
            return table.is_none_or(|t| {
                rule.as_array().unwrap().iter().all(|k| t.contains_key(k.as_str().unwrap()))
            });
        }
        "prefixItems" => list.iter().for_each(|l| {
            l.iter()
                .zip(rule.as_array().unwrap())
                .enumerate()
                .for_each(|(i, (v, s))| check(root, s, v, &format!("{at}/{i}"), out));
        }),
        "items" => {
            let first = words.get("prefixItems").and_then(Value::as_array).map_or(0, Vec::len);
            let rest = list.into_iter().flatten().enumerate().skip(first);
            rest.for_each(|(i, v)| check(root, rule, v, &format!("{at}/{i}"), out));
        }
        "properties" => {
            let known = |(k, v)| rule.get(k).map(|s| (k, s, v));
            table
                .into_iter()
                .flatten()
                .filter_map(known)
                .for_each(|(k, s, v)| check(root, s, v, &format!("{at}/{k}"), out));
        }
        "additionalProperties" => {
            let known = words.get("properties").and_then(Value::as_object);
            let other = table
                .into_iter()
                .flatten()
                .filter(|(k, _)| known.is_none_or(|known| !known.contains_key(*k)));
            other.for_each(|(k, v)| check(root, rule, v, &format!("{at}/{k}"), out));
        }
        _ => panic!("the checker of schemas does not know {word}: teach it"),
    }
    true
}
