//! The least length any layout could use.

use super::convex::hull;
use super::form::{grid_rings, least_width};
use super::problem::{Extent, Problem, Stock};

/// A lower bound on the used length of the open strip, mm, and how it was got. With fixed stocks
/// beside the strip their whole area is taken as filled first.
///
/// Area: the shapes' area less the fixed stocks' area, over the strip's height.
///
/// Wide shapes: take the shapes whose least height, over every pose, is more than half the strip's
/// height `H`. Each of them, placed, projects onto the y axis as an interval longer than `H / 2`,
/// so it contains the middle line `y = H / 2` in its projection, and its cross-section with that
/// line is not empty: the shape is connected and reaches both sides of the line. Shapes with
/// disjoint interiors may interlock, though, so their x extents may overlap, and the least extents
/// cannot simply be added. What can be added is area confined to a band: that is never more than
/// the area bound. So only shapes that are convex are added, each by the least length of its
/// cross-sections that a horizontal line can have when the shape is shifted anywhere within the
/// strip: those cross-sections are disjoint intervals of one line.
pub fn least_length(problem: &Problem) -> (f64, String) {
    let open = problem.stocks().iter().find_map(|s| match s.extent {
        Extent::Open { low, high, .. } => Some(high - low),
        Extent::Fixed { .. } => None,
    });
    let Some(height) = open.filter(|h| *h > 0.0) else {
        return (0.0, "no open stock".to_string());
    };
    let fixed: f64 = problem.stocks().iter().map(Stock::area).sum();
    let area: f64 = problem.shapes().iter().map(|s| s.region.area() * f64::from(s.copies)).sum();
    let by_area = (area - fixed).max(0.0) / height;
    let mut best = (by_area, "area".to_string());
    if fixed == 0.0 {
        let single = longest_single(problem, height);
        if single > best.0 {
            best = (single, "the longest piece".to_string());
        }
        let wide = wide_sum(problem, height);
        if wide > best.0 {
            best = (wide, "pieces too wide to lie side by side".to_string());
        }
    }
    best
}

/// The greatest, over the shapes, of the least extent along x in any pose that fits the strip.
fn longest_single(problem: &Problem, height: f64) -> f64 {
    let length_of = |shape: &super::problem::Shape| {
        extents(shape)
            .into_iter()
            .filter(|e| e.1 <= height + 1e-3)
            .map(|e| e.0)
            .fold(f64::INFINITY, f64::min)
    };
    problem.shapes().iter().map(length_of).filter(|l| l.is_finite()).fold(0.0, f64::max)
}

/// Extent along x and y in every pose; a tolerance takes away what it can.
fn extents(shape: &super::problem::Shape) -> Vec<(f64, f64)> {
    let Some(bounds) = shape.region.bounds() else {
        return Vec::new();
    };
    let reach = bounds.min.length().max(bounds.max.length()) + bounds.width() + bounds.height();
    let loss = 2.0 * reach * shape.tolerance.to_radians() + 2e-3;
    let of = |pose: &super::problem::Pose| {
        let ring =
            crate::geometry::Motion::new(pose.turn, pose.flip, crate::geometry::point(0.0, 0.0))
                .ring(&shape.region.outline);
        crate::geometry::ring_bounds(&ring)
            .map(|b| ((b.width() - loss).max(0.0), (b.height() - loss).max(0.0)))
    };
    shape.poses.iter().filter_map(of).collect()
}

/// Sum over the convex shapes that must cross the middle line of the least cross-section they can
/// have on it.
fn wide_sum(problem: &Problem, height: f64) -> f64 {
    let mut sum = 0.0;
    for shape in problem.shapes() {
        if shape.tolerance > 0.0 {
            continue;
        }
        let least = shape
            .poses
            .iter()
            .map(|pose| least_cut(shape, pose, height))
            .fold(f64::INFINITY, f64::min);
        if least.is_finite() {
            sum += least * f64::from(shape.copies);
        }
    }
    sum
}

/// Least length of the cut of a convex shape with the strip's middle line over all shifts within
/// the strip; 0 if it can avoid the line or is not convex, infinite if the pose does not fit.
fn least_cut(shape: &super::problem::Shape, pose: &super::problem::Pose, height: f64) -> f64 {
    let moved =
        crate::geometry::Motion::new(pose.turn, pose.flip, crate::geometry::point(0.0, 0.0))
            .region(&shape.region);
    let rings = grid_rings(&moved);
    let Some(ring) = rings.first() else {
        return 0.0;
    };
    let convex = hull(ring);
    if rings.len() > 1
        || super::convex::twice_area(&convex) != super::convex::twice_area(ring)
        || least_width(&convex) <= 0.0
    {
        return 0.0;
    }
    let h = height * 1000.0;
    let low = convex.iter().map(|v| v.y).min().unwrap_or(0) as f64;
    let tall = convex.iter().map(|v| v.y).max().unwrap_or(0) as f64 - low;
    if tall > h + 2.0 {
        return f64::INFINITY;
    }
    if tall <= h / 2.0 + 4.0 {
        return 0.0;
    }
    // The cut's height within the shape runs from tall - h/2 to h/2. A convex shape's chord is
    // concave in it: least at an end.
    let chord = |y: f64| {
        let (mut from, mut to) = (f64::INFINITY, f64::NEG_INFINITY);
        for (a, b) in super::convex::edges(&convex) {
            let (ya, yb) = (a.y as f64 - low - y, b.y as f64 - low - y);
            if (ya <= 0.0) != (yb <= 0.0) {
                let x = a.x as f64 + (b.x - a.x) as f64 * (ya / (ya - yb));
                from = from.min(x);
                to = to.max(x);
            }
        }
        (to - from).max(0.0)
    };
    let ends = ((tall - h / 2.0 - 2.0).max(1.0), (h / 2.0 + 2.0).min(tall - 1.0));
    (chord(ends.0).min(chord(ends.1)) - 4.0).max(0.0) / 1000.0
}
