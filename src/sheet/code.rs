//! Words as a square code (QR, ISO/IEC 18004) that a camera reads.

use crate::geometry::{Point, Ring, point};
use qrcode::{Color, QrCode};
use std::fmt::Write;

/// White around the squares, as the norm asks.
const QUIET: usize = 4;

/// How many squares wide it is, white around it included, and its dark runs: left, top, length.
fn runs(text: &str) -> Option<(usize, Vec<[usize; 3]>)> {
    let code = QrCode::new(text.as_bytes()).ok()?;
    let wide = code.width();
    let mut runs: Vec<[usize; 3]> = Vec::new();
    for (i, colour) in code.to_colors().into_iter().enumerate() {
        let (x, y) = (i % wide + QUIET, i / wide + QUIET);
        match runs.last_mut().filter(|[from, row, long]| *row == y && from + *long == x) {
            _ if colour != Color::Dark => {}
            Some(run) => run[2] += 1,
            None => runs.push([x, y, 1]),
        }
    }
    Some((wide + 2 * QUIET, runs))
}

/// Its dark places as rings in a square of this side, its lower left corner at `low`.
pub(super) fn rings(text: &str, low: Point, side: f64) -> Vec<Ring> {
    let Some((wide, runs)) = runs(text) else { return Vec::new() };
    let unit = side / wide as f64;
    let at = |x: usize, y: usize| low + point(x as f64 * unit, side - y as f64 * unit);
    runs.iter()
        .map(|&[x, y, long]| {
            // A hair over the row below, so that no light is seen between rows.
            let down = point(0.0, -0.02 * unit);
            let low = [at(x, y + 1) + down, at(x + long, y + 1) + down];
            vec![low[0], low[1], at(x + long, y), at(x, y)]
        })
        .collect()
}

/// The code as SVG to stand in a page; nothing if the words are too many for one.
pub fn code_picture(text: &str, title: &str) -> String {
    let Some((wide, runs)) = runs(text) else { return String::new() };
    let mut squares = String::new();
    for [x, y, long] in runs {
        let _ = write!(squares, "M{x} {y}h{long}v1h-{long}z");
    }
    let title = title.replace('&', "&amp;").replace('<', "&lt;").replace('"', "&quot;");
    format!(
        "<svg class=\"code\" viewBox=\"0 0 {wide} {wide}\" role=\"img\" aria-label=\"{title}\">\
         <rect width=\"{wide}\" height=\"{wide}\" fill=\"#ffffff\"/>\
         <path fill=\"#000000\" d=\"{squares}\"/></svg>"
    )
}
