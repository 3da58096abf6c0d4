//! Prints the JSON Schema of the job file: `cargo run --example job_schema >
//! src/job/job.schema.json`.

use std::io::{self, Write};

fn main() -> io::Result<()> {
    io::stdout().write_all(warpwise::job::schema_json().as_bytes())
}
