//! Lengths as people write them, and the grid every stored length sits on.
//!
//! Inside the crate a length is an `f64` in millimetres and an angle an `f64` in degrees, anticlockwise positive.

/// Grid steps in a millimetre: stored coordinates are whole micrometres.
pub const GRID_PER_MM: f64 = 1000.0;

/// The largest coordinate accepted anywhere, mm (100 m).
pub const LARGEST: f64 = 100_000.0;

/// Puts a length in mm on the 1 µm grid; never returns `-0.0`.
pub fn snap(mm: f64) -> f64 {
    (mm * GRID_PER_MM).round() / GRID_PER_MM + 0.0
}

/// The whole micrometres of a length in mm.
pub fn micrometres(mm: f64) -> i64 {
    (mm * GRID_PER_MM).round() as i64
}

/// An angle in degrees brought into `0.0..360.0`.
pub fn degrees_0_360(angle: f64) -> f64 {
    let a = angle.rem_euclid(360.0);
    if a >= 360.0 { 0.0 } else { a + 0.0 }
}

/// An angle in degrees brought into `-90.0 < a <= 90.0`, for directions that have no head (a warp).
pub fn degrees_of_warp(angle: f64) -> f64 {
    let a = angle.rem_euclid(180.0);
    if a > 90.0 { a - 180.0 } else { a + 0.0 }
}
