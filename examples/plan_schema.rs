//! Writes the JSON Schema of `plan.json` to standard output:
//! `cargo run --example plan_schema > src/plan/plan.schema.json`

use std::io::Write;

fn main() -> std::io::Result<()> {
    std::io::stdout().write_all(warpwise::plan::schema_json().as_bytes())
}
