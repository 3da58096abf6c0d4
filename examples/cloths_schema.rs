//! Writes the JSON Schema of the cloth library to standard output:
//! `cargo run --example cloths_schema > src/job/cloths.schema.json`

use std::io::Write;

fn main() -> std::io::Result<()> {
    std::io::stdout().write_all(warpwise::job::library_schema_json().as_bytes())
}
