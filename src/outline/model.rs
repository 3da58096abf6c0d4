//! The outline of a template: the type that everything after import relies on.

use super::EdgeKind;
use super::validity::{count_holds, holes_hold, numbers_hold, ring_holds, tidy_path, tidy_ring};
use crate::fault::{Fault, Faults};
use crate::geometry::{Path, Point, Ring, ring_area};

/// An outline before it is checked: what [`Outline::new`] takes.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Draft {
    /// The name it had in its drawing: group id, layer or block; may be empty.
    pub name: String,
    /// The net line, closed, mm, y up.
    pub net: Ring,
    /// For each edge `net[i]` to `net[i + 1]` the kind the drawing gives it; empty means none does.
    pub edges: Vec<Option<EdgeKind>>,
    /// Holes, closed, mm.
    pub holes: Vec<Ring>,
    /// Relief cuts and notches, open, mm.
    pub cuts: Vec<Path>,
    /// Other drawn lines to carry along, open, mm.
    pub marks: Vec<Path>,
    /// The part's 0° direction, tail to head, mm.
    pub arrow: Option<[Point; 2]>,
    /// Zones that no splice may enter, closed, mm.
    pub no_splice: Vec<Ring>,
}

/// A template outline, valid by construction: on the 1 µm grid, finite, every ring simple and of
/// more than no area, the net line anticlockwise, holes clockwise, apart from each other and inside
/// the net line; zones anticlockwise; every open line of at least two points; the arrow of more
/// than no length.
///
/// No two consecutive points are the same, and no point lies in the middle of a straight edge of
/// one kind.
///
/// Frame: the drawing's own, mm, y up. Nothing has been mirrored for plug or inked side yet.
#[derive(Clone, Debug, PartialEq)]
pub struct Outline {
    draft: Draft,
}

impl Outline {
    /// Snaps, orients and checks a draft.
    ///
    /// # Errors
    /// Every fault found, each named with its coordinates.
    pub fn new(mut draft: Draft) -> Result<Outline, Faults> {
        let mut faults = Faults::new();
        let net_name = if draft.name.is_empty() {
            "the net line".to_string()
        } else {
            format!("the net line of \"{}\"", draft.name)
        };
        if !draft.edges.is_empty() && draft.edges.len() != draft.net.len() {
            faults.push(Fault::new(
                said!(
                    "{net_name} has {} edges but {} edge kinds",
                    draft.net.len(),
                    draft.edges.len()
                ),
                "give every edge a kind, or none",
            ));
            draft.edges.clear();
        }
        let Draft { net, edges, holes, cuts, marks, arrow, no_splice, .. } = &mut draft;
        let mut net_good = numbers_hold(&net_name, net, &mut faults);
        if net_good {
            snap_all(net);
            if edges.is_empty() {
                edges.resize(net.len(), None);
            }
            tidy_ring(net, edges);
            net_good = ring_holds(&net_name, net, &mut faults);
            if ring_area(net) < 0.0 {
                net.reverse();
                // Edge i of the reversed ring is the old edge n - 2 - i.
                edges.reverse();
                edges.rotate_left(1);
            }
        }
        let mut holes_good = true;
        for (i, hole) in holes.iter_mut().enumerate() {
            holes_good &= closed_line(&format!("hole {}", i + 1), hole, &mut faults);
            if ring_area(hole) > 0.0 {
                hole[1..].reverse();
            }
        }
        if net_good && holes_good {
            holes_hold(net, holes, &mut faults);
        }
        for (i, cut) in cuts.iter_mut().enumerate() {
            open_line(&format!("cut {}", i + 1), cut, &mut faults);
        }
        for (i, mark) in marks.iter_mut().enumerate() {
            open_line(&format!("mark {}", i + 1), mark, &mut faults);
        }
        for (i, zone) in no_splice.iter_mut().enumerate() {
            closed_line(&format!("no-splice zone {}", i + 1), zone, &mut faults);
            if ring_area(zone) < 0.0 {
                zone[1..].reverse();
            }
        }
        if let Some(ends) = arrow
            && numbers_hold("the arrow", ends, &mut faults)
        {
            *ends = ends.map(Point::snapped);
            if ends[0] == ends[1] {
                faults.push(Fault::new("has no length", "draw it from tail to head").at(
                    "the arrow",
                    ends[0].x,
                    ends[0].y,
                ));
            }
        }
        for (what, count) in [
            ("holes", holes.len()),
            ("cuts", cuts.len()),
            ("marks", marks.len()),
            ("no-splice zones", no_splice.len()),
        ] {
            count_holds(what, count, &mut faults);
        }
        faults.into_result(Outline { draft })
    }

    /// The name it had in its drawing; may be empty.
    pub fn name(&self) -> &str {
        &self.draft.name
    }

    /// The net line, anticlockwise, mm.
    pub fn net(&self) -> &Ring {
        &self.draft.net
    }

    /// For each edge `net[i]` to `net[i + 1]` the kind the drawing gave it, if it did.
    pub fn edges(&self) -> &[Option<EdgeKind>] {
        &self.draft.edges
    }

    /// Holes, clockwise, mm.
    pub fn holes(&self) -> &[Ring] {
        &self.draft.holes
    }

    /// Relief cuts and notches, mm.
    pub fn cuts(&self) -> &[Path] {
        &self.draft.cuts
    }

    /// Other lines to carry along, mm.
    pub fn marks(&self) -> &[Path] {
        &self.draft.marks
    }

    /// The part's 0° direction, tail to head, if the drawing has one.
    pub fn arrow(&self) -> Option<[Point; 2]> {
        self.draft.arrow
    }

    /// Zones no splice may enter, mm.
    pub fn no_splice(&self) -> &[Ring] {
        &self.draft.no_splice
    }
}

fn snap_all(points: &mut [Point]) {
    points.iter_mut().for_each(|p| *p = p.snapped());
}

/// Snaps, tidies and checks a ring. True if it is good.
fn closed_line(what: &str, ring: &mut Ring, faults: &mut Faults) -> bool {
    if !numbers_hold(what, ring, faults) {
        ring.clear();
        return false;
    }
    snap_all(ring);
    tidy_ring(ring, &mut Vec::new());
    ring_holds(what, ring, faults)
}

/// Snaps, tidies and checks an open line.
fn open_line(what: &str, path: &mut Path, faults: &mut Faults) {
    if !numbers_hold(what, path, faults) {
        return;
    }
    snap_all(path);
    tidy_path(path);
    if path.len() < 2 {
        let fault = Fault::new("has no length", "draw it as a line, or delete it");
        faults.push(match path.first() {
            Some(p) => fault.at(what, p.x, p.y),
            None => fault.on(what),
        });
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::fault::Place;
    use crate::geometry::point;

    fn ring(points: &[(f64, f64)]) -> Ring {
        points.iter().map(|&(x, y)| point(x, y)).collect()
    }

    fn square() -> Ring {
        ring(&[(0.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)])
    }

    fn of(net: Ring) -> Result<Outline, Faults> {
        Outline::new(Draft { net, ..Draft::default() })
    }

    fn fault_at(result: Result<Outline, Faults>, what: &str, x: f64, y: f64) {
        let faults = result.unwrap_err();
        let hit = faults.0.iter().any(|f| {
            f.what.contains(what) && matches!(&f.place, Place::At { x: fx, y: fy, .. } if (fx - x).abs() < 0.002 && (fy - y).abs() < 0.002)
        });
        assert!(hit, "no \"{what}\" at ({x}, {y}) in:\n{faults}");
    }

    #[test]
    fn a_clockwise_net_is_turned_with_its_edge_kinds() {
        let (trim, lap, butt, dart) =
            (Some(EdgeKind::Trim), Some(EdgeKind::Lap), Some(EdgeKind::Butt), Some(EdgeKind::Dart));
        let clockwise = ring(&[(0.0, 0.0), (0.0, 100.0), (100.0, 100.0), (100.0, 0.0)]);
        let o = Outline::new(Draft {
            net: clockwise,
            edges: vec![trim, lap, butt, dart],
            ..Draft::default()
        })
        .unwrap();
        assert!(ring_area(o.net()) > 0.0);
        // The left edge was trim, the top lap, the right butt, the bottom dart, and still is.
        for (i, kind) in o.edges().iter().enumerate() {
            let mid = (o.net()[i] + o.net()[(i + 1) % 4]) * 0.5;
            let expected = if mid.x == 0.0 {
                trim
            } else if mid.y == 100.0 {
                lap
            } else if mid.x == 100.0 {
                butt
            } else {
                dart
            };
            assert_eq!(*kind, expected);
        }
    }

    #[test]
    fn repeated_and_straight_points_go_but_changes_of_kind_stay() {
        let net = ring(&[
            (0.0, 0.0),
            (50.0, 0.0),
            (50.0, 0.0),
            (75.0, 0.0),
            (100.0, 0.0),
            (100.0, 100.0),
            (0.0, 100.0),
            (0.0, 0.0002),
        ]);
        let lap = Some(EdgeKind::Lap);
        let edges = vec![lap, None, None, None, None, None, None, None];
        let o = Outline::new(Draft { net, edges, ..Draft::default() }).unwrap();
        assert_eq!(
            o.net(),
            &ring(&[(0.0, 0.0), (50.0, 0.0), (100.0, 0.0), (100.0, 100.0), (0.0, 100.0)])
        );
        assert_eq!(o.edges(), [lap, None, None, None, None]);
    }

    #[test]
    fn a_repeated_point_keeps_the_kind_of_the_edge_that_has_length() {
        let net = ring(&[(0.0, 0.0), (0.0, 0.0), (100.0, 0.0), (100.0, 100.0)]);
        let edges = vec![Some(EdgeKind::Butt), Some(EdgeKind::Lap), None, None];
        let o = Outline::new(Draft { net, edges, ..Draft::default() }).unwrap();
        assert_eq!(o.edges(), [Some(EdgeKind::Lap), None, None]);
    }

    #[test]
    fn crossing_is_found_where_it_is() {
        fault_at(
            of(ring(&[(0.0, 0.0), (100.0, 100.0), (100.0, 0.0), (0.0, 100.0)])),
            "crosses itself",
            50.0,
            50.0,
        );
        fault_at(
            of(ring(&[(0.0, 0.0), (60.0, 0.0), (60.0, 60.0), (30.0, -15.0), (0.0, 60.0)])),
            "crosses itself",
            36.0,
            0.0,
        );
    }

    #[test]
    fn spikes_and_slivers_and_pinches_are_named() {
        fault_at(
            of(ring(&[
                (0.0, 0.0),
                (100.0, 0.0),
                (100.0, 50.0),
                (130.0, 50.0),
                (100.0, 50.0),
                (0.0, 80.0),
            ])),
            "folds back",
            130.0,
            50.0,
        );
        fault_at(
            of(ring(&[
                (0.0, 0.0),
                (100.0, 0.0),
                (100.0, 50.0),
                (130.0, 50.0),
                (100.0, 50.003),
                (0.0, 80.0),
            ])),
            "out and back",
            130.0,
            50.0,
        );
        fault_at(of(ring(&[(0.0, 0.0), (100.0, 0.0), (100.0, 0.005)])), "sliver", 0.0, 0.0);
        fault_at(
            of(ring(&[(0.0, 0.0), (100.0, 0.0), (100.0, 90.0), (50.0, 0.0), (0.0, 90.0)])),
            "touches itself",
            50.0,
            0.0,
        );
        fault_at(of(ring(&[(5.0, 5.0), (100.0, 5.0)])), "no area", 5.0, 5.0);
        fault_at(of(ring(&[(5.0, 5.0), (5.0, 5.0), (5.0, 5.0)])), "no area", 5.0, 5.0);
        assert!(of(Ring::new()).is_err());
    }

    #[test]
    fn a_narrow_dart_is_no_spike() {
        // 3 mm wide at the mouth, 100 mm deep.
        assert!(
            of(ring(&[
                (0.0, 0.0),
                (200.0, 0.0),
                (200.0, 200.0),
                (101.5, 200.0),
                (100.0, 100.0),
                (98.5, 200.0),
                (0.0, 200.0)
            ]))
            .is_ok()
        );
    }

    #[test]
    fn numbers_must_be_numbers_within_reach() {
        let faults = of(ring(&[(0.0, 0.0), (f64::NAN, 0.0), (9.0, 9.0)])).unwrap_err();
        assert!(faults.0[0].what.contains("point 2"), "{faults}");
        assert!(of(ring(&[(0.0, 0.0), (f64::INFINITY, 0.0), (9.0, 9.0)])).is_err());
        fault_at(
            of(ring(&[(0.0, 0.0), (200_000.0, 0.0), (9.0, 9.0)])),
            "from the origin",
            200_000.0,
            0.0,
        );
        assert!(of((0..30_000).map(|i| point(f64::from(i), f64::from(i % 2))).collect()).is_err());
    }

    #[test]
    fn holes_lie_inside_and_apart() {
        let with =
            |holes: Vec<Ring>| Outline::new(Draft { net: square(), holes, ..Draft::default() });
        let hole = |x: f64, y: f64, size: f64| {
            ring(&[(x, y), (x + size, y), (x + size, y + size), (x, y + size)])
        };
        let good = with(vec![hole(10.0, 10.0, 20.0), hole(40.0, 10.0, 20.0)]).unwrap();
        assert!(good.holes().iter().all(|h| ring_area(h) < 0.0));
        fault_at(with(vec![hole(90.0, 50.0, 20.0)]), "crosses the net line", 100.0, 70.0);
        fault_at(with(vec![hole(200.0, 50.0, 20.0)]), "outside the net line", 200.0, 50.0);
        fault_at(
            with(vec![hole(10.0, 10.0, 60.0), hole(20.0, 20.0, 10.0)]),
            "inside hole 1",
            20.0,
            20.0,
        );
        let diamond = ring(&[(100.0, 50.0), (90.0, 60.0), (80.0, 50.0), (90.0, 40.0)]);
        fault_at(with(vec![diamond]), "touches the net line", 100.0, 50.0);
        fault_at(
            with(vec![hole(10.0, 10.0, 20.0), hole(20.0, 20.0, 20.0)]),
            "crosses hole 1",
            20.0,
            30.0,
        );
    }

    #[test]
    fn every_fault_comes_at_once() {
        let faults = Outline::new(Draft {
            net: ring(&[(0.0, 0.0), (100.0, 100.0), (100.0, 0.0), (0.0, 100.0)]),
            holes: vec![ring(&[(1.0, 1.0), (2.0, 2.0)])],
            cuts: vec![ring(&[(1.0, 1.0)])],
            marks: vec![Path::new()],
            arrow: Some([point(1.0, 1.0), point(1.0, 1.0)]),
            ..Draft::default()
        })
        .unwrap_err();
        assert_eq!(faults.0.len(), 5, "{faults}");
        assert!(faults.0.iter().all(|f| !f.remedy.is_empty()));
    }

    #[test]
    fn a_ring_of_five_thousand_points_is_checked() {
        let net: Ring = (0..5000)
            .map(|i| {
                let t = f64::from(i) / 5000.0 * std::f64::consts::TAU;
                let r = 800.0 + 10.0 * (40.0 * t).sin();
                point(r * t.cos(), r * t.sin())
            })
            .collect();
        assert!(of(net.clone()).is_ok());
        let mut crossed = net;
        crossed.swap(100, 110);
        assert!(of(crossed).is_err());
    }
}
