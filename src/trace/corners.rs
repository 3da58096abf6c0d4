//! Corners of an outline, named so that edges and lengths can be told by them.

use crate::fault::Fault;
use crate::geometry::{Path, Point, Ring, ring_area, ring_bounds};
use crate::outline::EdgeKind;

/// How far to each side of a point its turn is measured, mm.
const ARM: f64 = 6.0;
/// Least turn of a corner, degrees.
const LEAST_TURN: f64 = 28.0;
/// The same for a corner that is found by eye, mm: a rounding of a few mm has no place to lay a
/// tape to.
const SHARP_ARM: f64 = 2.0;
/// Least distance between two corners, mm.
const APART: f64 = 8.0;

/// A named corner.
#[derive(Clone, Debug, PartialEq)]
pub struct Corner {
    /// `A`, `B` … `Z`, `AA` …
    pub name: String,
    /// Where, mm.
    pub at: Point,
    /// Sharp enough to be found by eye; false of a rounding and of the extremes of a smooth
    /// outline.
    pub sharp: bool,
}

/// The corners of the net lines of one photo or drawing (anticlockwise), template by template in
/// the order given. Names run through all templates from left to right, and in each clockwise as
/// seen, from its upper left.
pub fn named_corners(nets: &[&Ring]) -> Vec<Vec<Corner>> {
    let left = |i: &usize| ring_bounds(nets[*i]).map_or(0.0, |b| b.min.x);
    let mut order: Vec<usize> = (0..nets.len()).collect();
    order.sort_by(|a, b| left(a).total_cmp(&left(b)));
    let mut named = vec![Vec::new(); nets.len()];
    let mut count = 0;
    for i in order {
        for at in corners(nets[i]) {
            named[i].push(Corner { name: name_of(count), at, sharp: is_sharp(nets[i], at) });
            count += 1;
        }
    }
    named
}

/// True if the ring turns at this vertex of it within a few mm.
fn is_sharp(net: &Ring, at: Point) -> bool {
    net.iter().position(|&p| p == at).is_some_and(|i| turn(net, i, SHARP_ARM).abs() >= LEAST_TURN)
}

/// The name of the corner of a place in the list.
fn name_of(mut place: usize) -> String {
    let mut name = String::new();
    loop {
        name.insert(0, char::from(b'A' + (place % 26) as u8));
        if place < 26 {
            return name;
        }
        place = place / 26 - 1;
    }
}

/// The vertices of an anticlockwise ring that are corners, clockwise as seen, from the upper left;
/// if it has fewer than four, its extremes too.
fn corners(net: &Ring) -> Vec<Point> {
    let n = net.len();
    if n < 3 {
        return Vec::new();
    }
    let mut found: Vec<(f64, usize)> =
        (0..n).map(|i| (turn(net, i, ARM).abs(), i)).filter(|c| c.0 >= LEAST_TURN).collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    let mut chosen: Vec<usize> = Vec::new();
    for (_, i) in found {
        if chosen.iter().all(|&j| net[i].distance(net[j]) >= APART) {
            chosen.push(i);
        }
    }
    if chosen.len() < 4 {
        for direction in [(0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0)] {
            let far = |i: &usize| net[*i].x * direction.0 + net[*i].y * direction.1;
            if let Some(i) = (0..n).max_by(|a, b| far(a).total_cmp(&far(b)))
                && chosen.iter().all(|&j| net[i].distance(net[j]) >= 3.0 * APART)
            {
                chosen.push(i);
            }
        }
    }
    // Clockwise is backwards in an anticlockwise ring.
    chosen.sort_by(|a, b| b.cmp(a));
    let first = (0..chosen.len()).min_by(|&a, &b| {
        let upper_left = |i: usize| net[chosen[i]].x - net[chosen[i]].y;
        upper_left(a).total_cmp(&upper_left(b))
    });
    chosen.rotate_left(first.unwrap_or(0));
    chosen.into_iter().map(|i| net[i]).collect()
}

/// How much the ring turns about a vertex, from `arm` mm before it to as much behind it, degrees.
fn turn(ring: &Ring, i: usize, arm: f64) -> f64 {
    let reach = |forward: bool| {
        let n = ring.len();
        let mut left = arm;
        let mut at = i;
        loop {
            let next = if forward { (at + 1) % n } else { (at + n - 1) % n };
            let d = ring[at].distance(ring[next]);
            if d >= left || next == i {
                return ring[at] + (ring[next] - ring[at]) * (left / d.max(1e-9)).min(1.0);
            }
            left -= d;
            at = next;
        }
    };
    let (a, b) = (ring[i] - reach(false), reach(true) - ring[i]);
    libm::atan2(a.cross(b), a.dot(b)).to_degrees()
}

/// Two corners by name, `A-C`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Between {
    /// The first.
    pub from: String,
    /// The second.
    pub to: String,
}

/// A kind for the edge from one corner clockwise to another.
#[derive(Clone, Debug, PartialEq)]
pub struct EdgeRequest {
    /// The kind.
    pub kind: EdgeKind,
    /// The corners.
    pub between: Between,
}

/// A length measured on the template between two corners, straight.
#[derive(Clone, Debug, PartialEq)]
pub struct MeasuredLength {
    /// The corners.
    pub between: Between,
    /// mm.
    pub length: f64,
}

impl Between {
    /// Reads `A-C`.
    ///
    /// # Errors
    /// What is not understood.
    pub fn parse(text: &str) -> Result<Between, Fault> {
        let named =
            |s: &str| !s.is_empty() && s.len() <= 3 && s.chars().all(|c| c.is_ascii_alphabetic());
        match text.split_once('-') {
            Some((a, b)) if named(a.trim()) && named(b.trim()) => {
                Ok(Between { from: a.trim().to_uppercase(), to: b.trim().to_uppercase() })
            }
            _ => Err(Fault::new(
                said!("\"{text}\" does not name two corners"),
                "name them as the check picture does, with a hyphen between: A-C",
            )),
        }
    }
}

impl EdgeRequest {
    /// Reads `lap=A-C`.
    ///
    /// # Errors
    /// What is not understood.
    pub fn parse(text: &str) -> Result<EdgeRequest, Fault> {
        let (kind, between) = text.split_once('=').unwrap_or((text, ""));
        let kind = match kind.trim().to_lowercase().as_str() {
            "trim" => EdgeKind::Trim,
            "lap" => EdgeKind::Lap,
            "butt" => EdgeKind::Butt,
            "dart" => EdgeKind::Dart,
            _ => {
                let what = said!("\"{text}\" does not begin with the kind of an edge");
                return Err(Fault::new(
                    what,
                    "write trim, lap, butt or dart, then the corners clockwise: lap=A-C",
                ));
            }
        };
        Ok(EdgeRequest { kind, between: Between::parse(between)? })
    }
}

impl MeasuredLength {
    /// Reads `A-C=412.5`.
    ///
    /// # Errors
    /// What is not understood.
    pub fn parse(text: &str) -> Result<MeasuredLength, Fault> {
        let (between, length) = text.split_once('=').unwrap_or((text, ""));
        let between = Between::parse(between)?;
        let length = crate::units::parse_length(length)?;
        if length <= 0.0 {
            return Err(Fault::new(
                "a measured length must be above 0",
                "write what the tape measure says: A-C=412.5",
            ));
        }
        Ok(MeasuredLength { between, length })
    }
}

/// The part of an anticlockwise ring from one of its vertices clockwise to another; the whole ring
/// if both are the same.
pub(super) fn clockwise(net: &Ring, from: Point, to: Point) -> Path {
    let n = net.len();
    let index = |p: Point| {
        (0..n).min_by(|&a, &b| net[a].distance(p).total_cmp(&net[b].distance(p))).unwrap_or(0)
    };
    let (a, b) = (index(from), index(to));
    let count = if a == b { n } else { (a + n - b) % n };
    debug_assert!(ring_area(net) > 0.0);
    (0..=count).map(|k| net[(a + n - k % n) % n]).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::point;

    fn square() -> Ring {
        vec![point(0.0, 0.0), point(100.0, 0.0), point(100.0, 100.0), point(0.0, 100.0)]
    }

    #[test]
    fn a_square_has_four_corners_clockwise_from_the_upper_left() {
        assert_eq!(
            corners(&square()),
            [point(0.0, 100.0), point(100.0, 100.0), point(100.0, 0.0), point(0.0, 0.0)]
        );
    }

    #[test]
    fn a_round_outline_has_its_extremes() {
        let round: Ring = (0..180)
            .map(|i| f64::from(2 * i).to_radians())
            .map(|t| point(200.0 * t.cos(), 150.0 * t.sin()))
            .collect();
        assert_eq!(corners(&round).len(), 4);
    }

    #[test]
    fn names_run_on_from_template_to_template_and_a_rounding_is_not_sharp() {
        let right: Ring = square().iter().map(|&p| p + point(300.0, 0.0)).collect();
        // The same square with one corner rounded by 8 mm.
        let mut rounded = vec![point(0.0, 0.0), point(100.0, 0.0), point(100.0, 100.0)];
        rounded.extend(
            (0..=9)
                .map(|k| f64::from(90 + 10 * k).to_radians())
                .map(|t| point(8.0 + 8.0 * t.cos(), 92.0 + 8.0 * t.sin())),
        );
        let named = named_corners(&[&right, &rounded]);
        let names =
            |k: usize| named[k].iter().map(|c| (c.name.as_str(), c.sharp)).collect::<Vec<_>>();
        assert_eq!(names(1), [("A", false), ("B", true), ("C", true), ("D", true)]);
        assert_eq!(names(0), [("E", true), ("F", true), ("G", true), ("H", true)]);
    }

    #[test]
    fn an_edge_runs_clockwise() {
        assert_eq!(
            clockwise(&square(), point(0.0, 100.0), point(100.0, 0.0)),
            [point(0.0, 100.0), point(100.0, 100.0), point(100.0, 0.0)]
        );
        assert_eq!(clockwise(&square(), point(100.0, 0.0), point(0.0, 100.0)).len(), 3);
    }

    #[test]
    fn names_go_on_after_z() {
        assert_eq!([0, 25, 26, 52].map(name_of), ["A", "Z", "AA", "BA"]);
    }

    #[test]
    fn words_of_edges_and_lengths() {
        assert_eq!(
            EdgeRequest::parse("lap=a-C").unwrap().between,
            Between { from: "A".into(), to: "C".into() }
        );
        assert_eq!(MeasuredLength::parse("A-B=41.2 cm").unwrap().length, 412.0);
        for bad in ["lap", "lap=A", "hem=A-B", "lap=1-2", "=A-B"] {
            assert!(EdgeRequest::parse(bad).is_err(), "{bad}");
        }
        for bad in ["A-B", "A-B=0", "A-B=x", "A=5", "A-B=-4"] {
            assert!(MeasuredLength::parse(bad).is_err(), "{bad}");
        }
    }
}
