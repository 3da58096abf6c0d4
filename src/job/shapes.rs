//! Outlines that the job file gives by size: strips and local patches.

use crate::fault::{Fault, Faults};
use crate::geometry::{Motion, Point, Ring, point, ring_bounds, ring_contains};
use crate::outline::{Draft, Outline};

/// How far the flattened curve of a patch may be inside the true one, mm; with the grid it stays
/// below 0.02.
const CHORD: f64 = 0.019;

/// How far outside its host a patch may lie by rounding, mm.
const SLACK: f64 = 0.002;

/// A rectangle along +x with a corner at the origin, mm; its arrow runs along its middle.
pub(super) fn strip(id: &str, length: f64, width: f64) -> Result<Outline, Faults> {
    let net = vec![point(0.0, 0.0), point(length, 0.0), point(length, width), point(0.0, width)];
    let arrow = [point(0.0, width / 2.0), point(length, width / 2.0)];
    Outline::new(Draft {
        name: id.into(),
        net,
        arrow: Some(arrow.map(Point::snapped)),
        ..Draft::default()
    })
}

/// A rectangle about the origin, length along +x, its corners rounded by arcs inscribed to within
/// [`CHORD`], mm.
pub(super) fn rectangle(length: f64, width: f64, corner: f64) -> Ring {
    let (x, y) = (length / 2.0, width / 2.0);
    if corner <= 0.0 {
        return vec![point(-x, -y), point(x, -y), point(x, y), point(-x, y)];
    }
    let steps = quarter_steps(corner);
    let mut ring: Ring = Vec::new();
    for (quarter, (cx, cy)) in [
        (x - corner, y - corner),
        (corner - x, y - corner),
        (corner - x, corner - y),
        (x - corner, corner - y),
    ]
    .into_iter()
    .enumerate()
    {
        for step in 0..=steps {
            let turn = Motion::turn(90.0 * (quarter as f64 + f64::from(step) / f64::from(steps)));
            let p = point(cx, cy) + turn.apply(point(corner, 0.0));
            if ring.last().is_none_or(|last| last.distance(p) > SLACK) {
                ring.push(p);
            }
        }
    }
    if ring.len() > 1 && ring[0].distance(ring[ring.len() - 1]) <= SLACK {
        ring.pop();
    }
    ring
}

/// An ellipse about the origin, length along +x, inscribed to within [`CHORD`], mm.
pub(super) fn ellipse(length: f64, width: f64) -> Ring {
    let (a, b) = (length / 2.0, width / 2.0);
    // The ellipse is its larger circle pressed flat, which moves no chord further from its arc.
    let steps = 4 * quarter_steps(a.max(b));
    (0..steps)
        .map(|i| {
            let p = Motion::turn(360.0 * f64::from(i) / f64::from(steps)).apply(point(1.0, 0.0));
            point(a * p.x, b * p.y)
        })
        .collect()
}

/// Chords of a quarter circle so that none is further than [`CHORD`] from the arc: r (1 - cos(θ/2))
/// for a chord of angle θ.
fn quarter_steps(radius: f64) -> u32 {
    let half = libm::acos((1.0 - CHORD / radius).max(0.0));
    (std::f64::consts::FRAC_PI_4 / half).ceil().max(2.0) as u32
}

/// A ring about the origin, turned and moved to its middle.
pub(super) fn placed(ring: &[Point], turn: f64, centre: Point) -> Ring {
    Motion::new(turn, false, centre).ring(ring)
}

/// Checks that a patch lies inside the net line of its host; touching it is well.
///
/// # Errors
/// One fault, at the first place where the patch leaves its host.
pub(super) fn lies_inside(patch: &[Point], host: &Outline) -> Result<(), Fault> {
    let net = host.net();
    let edges = |ring: &[Point]| -> Vec<(Point, Point)> {
        (0..ring.len()).map(|i| (ring[i], ring[(i + 1) % ring.len()])).collect()
    };
    let Some(around) = ring_bounds(patch) else {
        return Ok(());
    };
    let near = |&(a, b): &(Point, Point)| {
        a.x.min(b.x) <= around.max.x + SLACK
            && a.x.max(b.x) >= around.min.x - SLACK
            && a.y.min(b.y) <= around.max.y + SLACK
            && a.y.max(b.y) >= around.min.y - SLACK
    };
    let host_edges: Vec<(Point, Point)> = edges(net).into_iter().filter(near).collect();
    let on_edge = |p: Point| host_edges.iter().any(|&(a, b)| p.distance_to_segment(a, b) <= SLACK);
    let outside = patch.iter().copied().find(|&p| !ring_contains(net, p) && !on_edge(p));
    let crossing = || {
        let patch_edges = edges(patch);
        let all = patch_edges.iter().flat_map(|&p| host_edges.iter().map(move |&h| (p, h)));
        all.filter_map(|((a, b), (c, d))| crossing(a, b, c, d)).next()
    };
    match outside.or_else(crossing) {
        None => Ok(()),
        Some(p) => Err(Fault::new(
            "the patch leaves its template",
            "move it, make it smaller, or correct the template",
        )
        .at("patch", p.x, p.y)),
    }
}

/// Where two segments properly cross, each passing well beyond the other.
fn crossing(a: Point, b: Point, c: Point, d: Point) -> Option<Point> {
    let (ab, cd) = (b - a, d - c);
    let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p) / (q - p).length();
    let beyond = |s: f64, t: f64| (s > SLACK && t < -SLACK) || (s < -SLACK && t > SLACK);
    let (of_c, of_d) = (side(a, b, c), side(a, b, d));
    if !beyond(of_c, of_d) || !beyond(side(c, d, a), side(c, d, b)) {
        return None;
    }
    let t = (c - a).cross(cd) / ab.cross(cd);
    Some(a + ab * t)
}

/// True if a hole of the host lies under the patch, wholly or in part.
pub(super) fn covers_hole(patch: &[Point], host: &Outline) -> bool {
    host.holes().iter().any(|hole| hole.iter().any(|&p| ring_contains(patch, p)))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::ring_area;

    /// Furthest any chord's middle lies inside the ellipse with these half axes, measured along the
    /// ray from the centre.
    fn worst_sagitta(ring: &[Point], a: f64, b: f64) -> f64 {
        let mut worst = 0.0_f64;
        for (i, &p) in ring.iter().enumerate() {
            let middle = (p + ring[(i + 1) % ring.len()]) * 0.5;
            let scale = libm::hypot(middle.x / a, middle.y / b);
            worst = worst.max(middle.length() * (1.0 / scale - 1.0));
        }
        worst
    }

    #[test]
    fn an_ellipse_keeps_its_chord_tolerance() {
        for (length, width) in
            [(0.5, 0.2), (80.0, 80.0), (300.0, 40.0), (40.0, 300.0), (5000.0, 900.0)]
        {
            let ring = ellipse(length, width);
            assert!(worst_sagitta(&ring, length / 2.0, width / 2.0) <= 0.02, "{length} x {width}");
            // Area of an ellipse: π a b. An inscribed ring is smaller, by less than the chord
            // tolerance times the perimeter.
            let area = std::f64::consts::PI * length * width / 4.0;
            assert!(
                ring_area(&ring) < area && ring_area(&ring) > area - 0.02 * 2.0 * (length + width),
                "{length} x {width}"
            );
        }
    }

    #[test]
    fn rounded_corners() {
        // Area of a rectangle with rounded corners: l w - (4 - π) r².
        for (l, w, r) in [(100.0, 60.0, 10.0), (100.0, 60.0, 30.0), (60.0, 60.0, 30.0)] {
            let ring = rectangle(l, w, r);
            let area = l * w - (4.0 - std::f64::consts::PI) * r * r;
            assert!(
                (ring_area(&ring) - area).abs() < 0.02 * 2.0 * std::f64::consts::PI * r,
                "corner {r}"
            );
            assert!(Outline::new(Draft { net: ring.clone(), ..Draft::default() }).is_ok());
            let bounds = ring_bounds(&ring).unwrap();
            assert!((bounds.width() - l).abs() < 1e-9 && (bounds.height() - w).abs() < 1e-9);
        }
        assert_eq!(rectangle(100.0, 60.0, 0.0).len(), 4);
    }

    #[test]
    fn a_patch_may_touch_its_host_but_not_leave_it() {
        // An L: a patch in the notch has corners on it all round but crosses its edges.
        let l =
            [(0.0, 0.0), (100.0, 0.0), (100.0, 40.0), (40.0, 40.0), (40.0, 100.0), (0.0, 100.0)];
        let host = Outline::new(Draft {
            net: l.iter().map(|&(x, y)| point(x, y)).collect(),
            ..Draft::default()
        })
        .unwrap();
        let at = |x: f64, y: f64, w: f64, h: f64| placed(&rectangle(w, h, 0.0), 0.0, point(x, y));
        assert!(lies_inside(&at(20.0, 20.0, 40.0, 40.0), &host).is_ok());
        assert!(lies_inside(&at(20.0, 50.0, 20.0, 90.0), &host).is_ok());
        assert!(lies_inside(&at(60.0, 60.0, 10.0, 10.0), &host).is_err());
        assert!(lies_inside(&at(90.0, 20.0, 40.0, 10.0), &host).is_err());
        // From one leg to the other across the notch: every corner inside, one edge not.
        let across = vec![point(5.0, 95.0), point(5.0, 5.0), point(95.0, 5.0), point(95.0, 35.0)];
        let fault = lies_inside(&across, &host).unwrap_err();
        assert!(matches!(fault.place, crate::fault::Place::At { .. }));
    }

    #[test]
    fn a_strip_runs_along_its_arrow() {
        let tape = strip("tape", 1800.0, 50.0).unwrap();
        assert_eq!(ring_area(tape.net()), 90_000.0);
        let [tail, head] = tape.arrow().unwrap();
        assert_eq!((head - tail).direction(), 0.0);
    }
}
