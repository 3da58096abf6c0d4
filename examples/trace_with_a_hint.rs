//! Traces a photo with two scale cards; where it alone does not do, with a pixel on the skin.
//!
//! `cargo run --release --example trace_with_a_hint -- demo-data/heel-rest.jpg 1000 800`

use std::path::{Path, PathBuf};
use warpwise::fault::{Fault, Faults};
use warpwise::geometry::{Point, point};
use warpwise::run::Run;
use warpwise::trace::{
    FromAbove, NetLine, Options, Scale, Tracing, card, drawing, read_photo, trace_seen,
};

/// The templates in a photo: found alone, or else with the hint. The photo is looked at once.
///
/// # Errors
/// Why it cannot be trusted.
pub fn traced(file: &Path, photo: &[u8], at: Option<Point>) -> Result<Tracing, Faults> {
    let photos = vec![(file.to_path_buf(), read_photo(photo)?)];
    let scale = Scale { card_width: card::WIDTH, rectangle: None };
    let seen = FromAbove::see(photos, &scale, &Run::default())?;
    let options = Options::of("template", NetLine::Edge);
    let alone = trace_seen(&seen, &options, &Run::default());
    match at {
        Some(_) if alone.is_err() => trace_seen(&seen, &Options { at, ..options }, &Run::default()),
        _ => alone,
    }
}

#[allow(clippy::print_stdout, clippy::print_stderr, dead_code)]
fn main() -> Result<(), Faults> {
    let mut words = std::env::args().skip(1);
    let file = words.next().map_or("demo-data/heel-rest.jpg".into(), PathBuf::from);
    let mut number = || words.next().and_then(|w| w.parse::<f64>().ok());
    let at = number().zip(number()).map(|(x, y)| point(x, y));
    let photo = std::fs::read(&file).map_err(|e| {
        Fault::new(warpwise::said!("it cannot be read: {e}"), "name a photo").in_file(&file)
    })?;
    let tracing = traced(&file, &photo, at)?;
    tracing.warnings.iter().for_each(|w| eprintln!("warning: {w}"));
    println!("{}", drawing(&tracing.templates, &["Traced.".to_string()]));
    Ok(())
}
