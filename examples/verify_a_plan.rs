//! Checks a plan that somebody else wrote: its format, then every rule of the trade.
//!
//! `cargo run --example verify_a_plan -- warpwise-demo/plan/plan.json`

use std::path::PathBuf;
use warpwise::fault::{Fault, Faults};
use warpwise::verify::Verified;

/// The plan, if it keeps every rule.
///
/// # Errors
/// What is wrong with it.
pub fn verified(plan: &str) -> Result<Verified, Faults> {
    warpwise::verify::verify(warpwise::plan::from_json(plan)?)
}

#[allow(clippy::print_stdout, dead_code)]
fn main() -> Result<(), Faults> {
    let file =
        std::env::args_os().nth(1).map_or("warpwise-demo/plan/plan.json".into(), PathBuf::from);
    let text = std::fs::read_to_string(&file).map_err(|e| {
        Fault::new(warpwise::said!("it cannot be read: {e}"), "name a plan").in_file(&file)
    })?;
    let plan = verified(&text)?;
    println!("{} pieces keep every rule", plan.plan().pieces.len());
    Ok(())
}
