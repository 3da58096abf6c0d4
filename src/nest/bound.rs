//! The least length any layout could use.

use super::convex::hull;
use super::dual::Dual;
use super::form::{grid_rings, least_width};
use super::plates;
use super::problem::{Extent, Problem, Shape, Stock};
use super::section::{Slab, slabs};
use std::collections::BTreeMap;

/// A lower bound on the used length of the open strip, mm, and how it was got. With fixed stocks
/// beside the strip their whole area is taken as filled first, or only the shapes are looked at
/// that go into none of them.
///
/// Area: the shapes' area less the fixed stocks' area, over the strip's height.
///
/// Sections: a line across the strip, `H` high, meets shapes whose sections add up to at most `H`,
/// and with a gap between shapes each section takes a gap more of `H` and a gap. A dual feasible
/// function turns these shares of the line into others that add up to at most 1 still. So the sum
/// over the shapes of the turned shares, summed along x and in the pose where that is least, is no
/// more than the length. The greatest over many functions is taken; the one that changes nothing
/// gives the area again, with the gap that goes with it.
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
///
/// Few rectangles: all ways for them to lie side by side (`plates.rs`).
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
    let roll_only: Vec<&Shape> =
        problem.shapes().iter().filter(|s| !may_go_into_a_fixed_stock(s, problem)).collect();
    let found = [
        ((area - fixed).max(0.0) / height, "area"),
        (longest_single(&roll_only, height), "the longest piece"),
        (wide_sum(&roll_only, height), "pieces too wide to lie side by side"),
        (by_sections(&roll_only, height, problem.gap()), "what lies side by side across the roll"),
    ]
    .into_iter()
    .fold((0.0, "area"), |best, found| if found.0 > best.0 { found } else { best });
    let few = plates::least_length(&roll_only, height, problem.gap(), found.0);
    match few.filter(|f| *f > found.0) {
        Some(few) => (few, "all ways for its rectangles to lie side by side".to_string()),
        None => (found.0, found.1.to_string()),
    }
}

/// True if the box of a shape is no larger than that of a fixed stock, in some pose.
fn may_go_into_a_fixed_stock(shape: &Shape, problem: &Problem) -> bool {
    let fixed = problem.stocks().iter().filter_map(|s| match &s.extent {
        Extent::Fixed { region } => region.bounds(),
        Extent::Open { .. } => None,
    });
    let boxes = extents(shape);
    fixed.into_iter().any(|bin| {
        let takes = |e: &(f64, f64)| e.0 <= bin.width() + 1e-3 && e.1 <= bin.height() + 1e-3;
        boxes.iter().any(takes)
    })
}

/// Dual feasible functions are tried until so many stretches of shapes have been turned.
const MOST_TURNED: usize = 4_000_000;
/// Families of them go so far.
const ROUNDED: u32 = 10;
const LEASTS: usize = 24;
/// What a corner may be off its place, and a section therefore shorter, mm.
const OFF: f64 = 0.003;

/// The bound by sections.
fn by_sections(shapes: &[&Shape], height: f64, gap: f64) -> f64 {
    let whole = height + gap;
    let sections: Vec<Sections> =
        shapes.iter().filter_map(|s| Sections::of(s, height, gap)).collect();
    let stretches: usize = sections.iter().map(Sections::count).sum();
    // Values jump at these shares of the line: those that shapes have at most, up to a half.
    let mut leasts: Vec<f64> =
        sections.iter().map(|s| s.greatest() / whole).filter(|l| *l > 0.01 && *l <= 0.5).collect();
    leasts.sort_by(f64::total_cmp);
    leasts.dedup_by(|a, b| *a - *b < 1e-3);
    let every = leasts.len().div_ceil(LEASTS).max(1);
    let leasts = leasts.into_iter().step_by(every).map(|l| l * (1.0 - 1e-6));
    let functions = std::iter::once(Dual::identity())
        .chain((1..=ROUNDED).map(Dual::rounded))
        .chain(leasts.flat_map(|l| [Dual::cut_off(l), Dual::counted(l)]));
    functions
        .take((MOST_TURNED / stretches.max(1)).max(1))
        .map(|f| sections.iter().map(|s| s.least(&f, whole)).sum())
        .fold(0.0, f64::max)
}

/// The sections of a shape in each pose that fits the strip.
struct Sections {
    poses: Vec<Vec<Slab>>,
    copies: f64,
}

impl Sections {
    /// `None` for a shape whose turn is free within a tolerance, and for one that fits in no pose.
    fn of(shape: &Shape, height: f64, gap: f64) -> Option<Sections> {
        if shape.tolerance > 0.0 {
            return None;
        }
        let fits = |(_, e): &(f64, (f64, f64))| e.1 <= height + 1e-3;
        let extents = extents(shape);
        let turns: BTreeMap<i64, f64> = shape
            .poses
            .iter()
            .map(|p| p.turn)
            .zip(extents)
            .filter(fits)
            // Half a turn and a mirrored shape change nothing.
            .map(|(turn, _)| ((turn.rem_euclid(180.0) * 1e6).round() as i64, turn))
            .collect();
        let taken = |s: Slab| Slab { ends: s.ends.map(|e| (e - OFF).max(0.0) + gap), ..s };
        let poses: Vec<Vec<Slab>> = turns
            .values()
            .map(|&turn| slabs(shape, turn).into_iter().map(taken).collect())
            .collect();
        (!poses.is_empty()).then_some(Sections { poses, copies: f64::from(shape.copies) })
    }

    fn count(&self) -> usize {
        self.poses.iter().map(Vec::len).sum()
    }

    /// The greatest section that the shape has whatever its pose.
    fn greatest(&self) -> f64 {
        let of = |p: &Vec<Slab>| p.iter().flat_map(|s| s.ends).fold(0.0, f64::max);
        self.poses.iter().map(of).fold(f64::INFINITY, f64::min)
    }

    /// The least that all copies add to the length, mm.
    fn least(&self, f: &Dual, whole: f64) -> f64 {
        let of = |slab: &Slab| slab.length * f.mean(slab.ends[0] / whole, slab.ends[1] / whole);
        let sum = |pose: &Vec<Slab>| pose.iter().map(of).sum::<f64>();
        self.copies * self.poses.iter().map(sum).fold(f64::INFINITY, f64::min)
    }
}

/// The greatest, over the shapes, of the least extent along x in any pose that fits the strip.
fn longest_single(shapes: &[&Shape], height: f64) -> f64 {
    let length_of = |shape: &&Shape| {
        extents(shape)
            .into_iter()
            .filter(|e| e.1 <= height + 1e-3)
            .map(|e| e.0)
            .fold(f64::INFINITY, f64::min)
    };
    shapes.iter().map(length_of).filter(|l| l.is_finite()).fold(0.0, f64::max)
}

/// Extent along x and y in every pose; a tolerance takes away what it can.
fn extents(shape: &Shape) -> Vec<(f64, f64)> {
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
fn wide_sum(shapes: &[&Shape], height: f64) -> f64 {
    let mut sum = 0.0;
    for shape in shapes {
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
fn least_cut(shape: &Shape, pose: &super::problem::Pose, height: f64) -> f64 {
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
