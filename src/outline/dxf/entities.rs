//! From one parsed entity to one flattened line.

use super::super::budget::Budget;
use super::super::flatten::ellipse_arc;
use super::frame::Frame;
use super::refusal::{Refusal, bounded};
use super::spline;
use crate::geometry::{Path, Point, point};
use dxf::entities::{EntityType, LwPolyline, Polyline};
use std::f64::consts::TAU;

/// Ends nearer than this, mm, are one point: half a step of the 1 µm grid.
const SAME: f64 = 0.0005;

/// A flattened line, mm.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Chain {
    /// Without the first point again at the end if closed.
    pub points: Path,
    /// Its ends meet, or the drawing says it is closed.
    pub closed: bool,
}

fn missed<T>(why: &'static str) -> Result<T, Refusal> {
    Err(Refusal::Missed(why.into()))
}

fn not_used<T>(why: &'static str) -> Result<T, Refusal> {
    Err(Refusal::NotUsed(why.into()))
}

/// Flattens an entity that lies in `frame` to within `tolerance` mm.
///
/// # Errors
/// It gives no line.
pub(super) fn chain(
    entity: &EntityType,
    frame: &Frame,
    tolerance: f64,
    budget: &Budget<'_>,
) -> Result<Chain, Refusal> {
    let in_plane = |direction| {
        frame
            .extruded(direction)
            .ok_or_else(|| Refusal::Missed("its plane is tilted out of the drawing".into()))
    };
    if leaves_its_plane(entity) {
        return missed("it does not lie flat (its z changes)");
    }
    match entity {
        EntityType::Line(line) => finish(
            vec![
                frame.point(point(line.p1.x, line.p1.y)),
                frame.point(point(line.p2.x, line.p2.y)),
            ],
            false,
        ),
        EntityType::LwPolyline(polyline) => {
            light_polyline(polyline, &in_plane(&polyline.extrusion_direction)?, tolerance)
        }
        EntityType::Polyline(polyline) => {
            // The vertices of a polyline in space are in the drawing's own coordinates.
            let frame = if polyline.flags & 8 != 0 { *frame } else { in_plane(&polyline.normal)? };
            heavy_polyline(polyline, &frame, tolerance)
        }
        EntityType::Arc(arc) => {
            let frame = in_plane(&arc.normal)?;
            let Some(sweep) = sweep(arc.start_angle, arc.end_angle, 360.0) else {
                return not_used("it has no length");
            };
            round(
                &frame,
                point(arc.center.x, arc.center.y),
                arc.radius,
                arc.start_angle,
                sweep,
                tolerance,
            )
        }
        EntityType::Circle(circle) => round(
            &in_plane(&circle.normal)?,
            point(circle.center.x, circle.center.y),
            circle.radius,
            0.0,
            360.0,
            tolerance,
        ),
        EntityType::Ellipse(ellipse) => {
            // Centre and axis are in the drawing's coordinates; the extrusion direction only says
            // which way the parameter runs.
            let Some(turned) = Frame::scale(1.0).extruded(&ellipse.normal) else {
                return missed("its plane is tilted out of the drawing");
            };
            let major = point(ellipse.major_axis.x, ellipse.major_axis.y);
            let minor = point(-major.y, major.x) * (ellipse.minor_axis_ratio * turned.x.x);
            if major.length() <= 0.0 || ellipse.minor_axis_ratio <= 0.0 {
                return not_used("it has no width");
            }
            let Some(sweep) = sweep(ellipse.start_parameter, ellipse.end_parameter, TAU) else {
                return not_used("it has no length");
            };
            let centre = frame.point(point(ellipse.center.x, ellipse.center.y));
            let (from, sweep) = (ellipse.start_parameter.to_degrees(), sweep.to_degrees());
            finish(
                ellipse_arc(
                    centre,
                    frame.vector(major),
                    frame.vector(minor),
                    from,
                    sweep,
                    tolerance,
                ),
                false,
            )
        }
        EntityType::Spline(spline) => {
            finish(spline::flatten(spline, frame, tolerance, budget)?, false)
        }
        _ => missed("this kind of entity is not read"),
    }
}

/// True if z changes along the entity.
fn leaves_its_plane(entity: &EntityType) -> bool {
    fn vary(mut heights: impl Iterator<Item = f64>) -> bool {
        let first = heights.next().unwrap_or(0.0);
        heights.any(|z| (z - first).abs() > 1e-6)
    }
    match entity {
        EntityType::Line(line) => vary([line.p1.z, line.p2.z].into_iter()),
        EntityType::Polyline(polyline) if polyline.flags & (8 | 16 | 64) == 8 => {
            vary(polyline.vertices().map(|v| v.location.z))
        }
        EntityType::Ellipse(ellipse) => ellipse.major_axis.z.abs() > 1e-6,
        EntityType::Spline(spline) => {
            vary(spline.control_points.iter().map(|p| p.z))
                || vary(spline.fit_points.iter().map(|p| p.z))
        }
        _ => false,
    }
}

/// The part of a whole turn from `start` anticlockwise to `end`; the whole turn if they are the
/// same or a turn apart. `None` for a sliver that rounding could have made of either.
fn sweep(start: f64, end: f64, turn: f64) -> Option<f64> {
    let part = (end - start).rem_euclid(turn);
    let sliver = 1e-8 * turn;
    if part > sliver && part < turn - sliver {
        return Some(part);
    }
    (end == start || (end - start).abs() > turn / 2.0).then_some(turn)
}

fn round(
    frame: &Frame,
    centre: Point,
    radius: f64,
    from: f64,
    sweep: f64,
    tolerance: f64,
) -> Result<Chain, Refusal> {
    if radius <= 0.0 {
        return not_used("its radius is not positive");
    }
    finish(
        ellipse_arc(
            frame.point(centre),
            frame.x * radius,
            frame.y * radius,
            from,
            sweep,
            tolerance,
        ),
        false,
    )
}

fn light_polyline(polyline: &LwPolyline, frame: &Frame, tolerance: f64) -> Result<Chain, Refusal> {
    let vertices: Vec<(Point, f64)> =
        polyline.vertices.iter().map(|v| (point(v.x, v.y), v.bulge)).collect();
    bulged(&vertices, polyline.flags & 1 != 0, frame, tolerance)
}

fn heavy_polyline(polyline: &Polyline, frame: &Frame, tolerance: f64) -> Result<Chain, Refusal> {
    // DXF reference, POLYLINE: flags 16 and 64 are meshes; VERTEX: 16 is a control point of the
    // smoothed line, not on it.
    if polyline.flags & (16 | 64) != 0 {
        return missed("it is a mesh, not an outline");
    }
    let drawn = polyline.vertices().filter(|v| v.flags & 16 == 0);
    let vertices: Vec<(Point, f64)> =
        drawn.map(|v| (point(v.location.x, v.location.y), v.bulge)).collect();
    bulged(&vertices, polyline.flags & 1 != 0, frame, tolerance)
}

/// A chain of vertices, each with the bulge of the segment that leaves it.
///
/// bulge = tan(included angle / 4), negative clockwise (DXF reference).
fn bulged(
    vertices: &[(Point, f64)],
    closed: bool,
    frame: &Frame,
    tolerance: f64,
) -> Result<Chain, Refusal> {
    let Some(&first) = vertices.first() else {
        return not_used("it has no points");
    };
    let following = vertices.iter().skip(1).chain(closed.then_some(&first));
    let mut points = vec![frame.point(first.0)];
    for (&(from, bulge), &(to, _)) in vertices.iter().zip(following) {
        if bulge.abs() > 1e-9 && from != to {
            let chord = to - from;
            let left = point(-chord.y, chord.x);
            let centre = from + chord * 0.5 + left * ((1.0 - bulge * bulge) / (4.0 * bulge));
            let u = from - centre;
            let v = point(-u.y, u.x);
            let sweep = (4.0 * libm::atan(bulge)).to_degrees();
            let arc = ellipse_arc(
                frame.point(centre),
                frame.vector(u),
                frame.vector(v),
                0.0,
                sweep,
                tolerance,
            );
            points.extend(arc.iter().take(arc.len().saturating_sub(1)).skip(1));
        }
        points.push(frame.point(to));
        bounded(&points)?;
    }
    finish(points, closed)
}

/// Drops repeated points; a line whose ends meet is closed.
fn finish(mut points: Path, closed: bool) -> Result<Chain, Refusal> {
    points.dedup_by(|next, kept| next.distance(*kept) < 1e-6);
    let meets = points.len() > 2
        && points.first().zip(points.last()).is_some_and(|(a, b)| a.distance(*b) < SAME);
    if meets || closed && points.len() > 1 && points.first() == points.last() {
        points.pop();
    }
    if points.len() < 2 {
        return not_used("it has no length");
    }
    Ok(Chain { closed: closed || meets, points })
}
