//! Splines: rational B-splines by their control points, or curves through fit points.
//!
//! A B-spline is taken apart into rational Bézier curves, span by span, and each of these halved
//! until flat. With positive weights a curve lies within the convex hull of its control points, so
//! the tolerance is kept. Method: Piegl and Tiller, The NURBS Book (blossoms and de Casteljau's
//! algorithm; from memory).

use super::super::budget::Budget;
use super::super::flatten::cubic;
use super::frame::Frame;
use super::refusal::{Refusal, bounded};
use crate::fault::Said;
use crate::geometry::{Path, Point, point};
use dxf::entities::Spline;

/// Degrees beyond this are no drawing's.
const HIGHEST_DEGREE: usize = 25;

/// Halvings of one Bézier curve: 2^12 segments.
const MOST_HALVINGS: u32 = 12;

/// A point with its weight, as `(w x, w y, w)`.
type Weighted = [f64; 3];

/// Flattens a spline that lies in `frame`; both ends are included.
///
/// # Errors
/// Its numbers contradict each other, or it has no control points and no shape of its own.
pub(super) fn flatten(
    spline: &Spline,
    frame: &Frame,
    tolerance: f64,
    budget: &Budget<'_>,
) -> Result<Path, Refusal> {
    if spline.control_points.is_empty() {
        return through_fit_points(spline, frame, tolerance);
    }
    let controls: Path =
        spline.control_points.iter().map(|p| frame.point(point(p.x, p.y))).collect();
    let (degree, knots) = checked(spline)?;
    let weighted: Vec<Weighted> = controls
        .iter()
        .enumerate()
        .map(|(i, p)| {
            spline.weight_values.get(i).map_or([p.x, p.y, 1.0], |w| [p.x * w, p.y * w, *w])
        })
        .collect();
    let mut out = Path::new();
    for span in degree..controls.len() {
        let (from, to) = (knots[span], knots[span + 1]);
        if from >= to {
            continue;
        }
        let near = &weighted[span - degree..=span];
        let bezier: Vec<Weighted> = (0..=degree)
            .map(|ends| blossom(near, knots, span, degree, |i| if i < ends { to } else { from }))
            .collect();
        if out.is_empty() {
            out.extend(bezier.first().map(project));
        }
        let before = out.len();
        halve(&bezier, tolerance, MOST_HALVINGS, &mut out);
        bounded(&out)?;
        // A halving mixes each row of points once, and there are about as many halvings as points;
        // the blossoms come before.
        let rows = (degree * (degree + 1) / 2) as u64;
        budget.work(rows * (out.len() - before + degree + 1) as u64);
        if budget.is_spent() {
            return Err(Refusal::NotUsed("the drawing is too big".into()));
        }
    }
    Ok(out)
}

/// Degree and knots, if all the spline's numbers fit together.
fn checked(spline: &Spline) -> Result<(usize, &[f64]), Refusal> {
    let wrong = |what: Said| {
        Err(Refusal::Wrong(
            what,
            "save it as a polyline, or with its control points and knots complete".into(),
        ))
    };
    let (points, knots, weights) =
        (spline.control_points.len(), &spline.knot_values, &spline.weight_values);
    let degree = match usize::try_from(spline.degree_of_curve) {
        Ok(degree) if (1..=HIGHEST_DEGREE).contains(&degree) => degree,
        _ => {
            return wrong(said!("a spline of degree {} cannot be drawn", spline.degree_of_curve));
        }
    };
    if points <= degree || knots.len() != points + degree + 1 {
        return wrong(said!(
            "a spline of degree {degree} with {points} control points takes {} knots and more than {degree} points, but it has {} knots",
            points + degree + 1,
            knots.len()
        ));
    }
    if knots.windows(2).any(|k| k[0] > k[1]) || knots[degree] >= knots[points] {
        return wrong("the spline's knots do not ascend".into());
    }
    // A knot met more often than the degree tears the curve; only its two ends may be that.
    if knots[1..knots.len() - 1]
        .windows(degree + 1)
        .any(|k| k[0] == k[degree] && k[0] > knots[degree] && k[0] < knots[points])
    {
        return wrong("the spline is torn: one of its inner knots is repeated too often".into());
    }
    if !weights.is_empty() && (weights.len() != points || weights.iter().any(|w| *w <= 0.0)) {
        return wrong(
            "the spline's weights are not one positive number for each control point".into(),
        );
    }
    Ok((degree, knots))
}

/// The blossom of the span's polynomial at the given arguments; `near` are the control points that
/// act on the span.
fn blossom(
    near: &[Weighted],
    knots: &[f64],
    span: usize,
    degree: usize,
    argument: impl Fn(usize) -> f64,
) -> Weighted {
    let mut d = near.to_vec();
    for round in 1..=degree {
        let t = argument(round - 1);
        for j in (round..=degree).rev() {
            let i = span - degree + j;
            let (low, high) = (knots[i], knots[i + degree + 1 - round]);
            // Never empty: the knots from `low` to `high` enclose the span.
            let s = (t - low) / (high - low);
            d[j] = mix(&d[j - 1], &d[j], s);
        }
    }
    d[degree]
}

fn mix(a: &Weighted, b: &Weighted, s: f64) -> Weighted {
    [0, 1, 2].map(|k| a[k] * (1.0 - s) + b[k] * s)
}

fn project(p: &Weighted) -> Point {
    point(p[0] / p[2], p[1] / p[2])
}

/// Appends the curve without its first point.
fn halve(bezier: &[Weighted], tolerance: f64, left: u32, out: &mut Path) {
    let (Some(first), Some(last)) = (bezier.first().map(project), bezier.last().map(project))
    else {
        return;
    };
    if left == 0 || bezier.iter().all(|p| project(p).distance_to_segment(first, last) <= tolerance)
    {
        out.push(last);
        return;
    }
    let (mut front, mut back, mut row) = (vec![], vec![], bezier.to_vec());
    while let (Some(&a), Some(&b)) = (row.first(), row.last()) {
        front.push(a);
        back.push(b);
        row = row.windows(2).map(|w| mix(&w[0], &w[1], 0.5)).collect();
    }
    back.reverse();
    halve(&front, tolerance, left - 1, out);
    halve(&back, tolerance, left - 1, out);
}

/// The cubic spline through the fit points: its parameter is the length of the chords, its ends
/// have the given directions at unit speed or else no curvature. How drawing programs draw such a
/// spline by common practice, as the documentation of the `ezdxf` library tells it
/// (`fit_points_to_cad_cv`).
fn through_fit_points(spline: &Spline, frame: &Frame, tolerance: f64) -> Result<Path, Refusal> {
    let mut fit: Path = spline.fit_points.iter().map(|p| point(p.x, p.y)).collect();
    fit.dedup();
    if fit.len() < 2 {
        return Err(Refusal::NotUsed("it has neither control points nor fit points".into()));
    }
    if spline.flags & 3 != 0 {
        // Programs differ in how they close such a curve.
        return Err(Refusal::Wrong(
            "a closed spline is given by its fit points alone".into(),
            "save it with control points, or as a polyline".into(),
        ));
    }
    let speeds =
        speeds(&fit, end_direction(&spline.start_tangent), end_direction(&spline.end_tangent));
    let mut out = vec![];
    for (q, m) in fit.windows(2).zip(speeds.windows(2)) {
        let third = q[0].distance(q[1]) / 3.0;
        let corners =
            [q[0], q[0] + m[0] * third, q[1] - m[1] * third, q[1]].map(|p| frame.point(p));
        out.extend(
            cubic(corners[0], corners[1], corners[2], corners[3], tolerance)
                .into_iter()
                .skip(usize::from(!out.is_empty())),
        );
        bounded(&out)?;
    }
    Ok(out)
}

fn end_direction(tangent: &dxf::Point) -> Option<Point> {
    let direction = point(tangent.x, tangent.y);
    let length = direction.length();
    (length > 0.0).then(|| direction * (1.0 / length))
}

/// The derivative at each of the points, for which the second derivative is continuous: a
/// tridiagonal system.
fn speeds(fit: &[Point], start: Option<Point>, end: Option<Point>) -> Vec<Point> {
    let last = fit.len() - 1;
    let h: Vec<f64> = fit.windows(2).map(|q| q[0].distance(q[1])).collect();
    let slope = |i: usize| (fit[i + 1] - fit[i]) * (1.0 / h[i]);
    // Row i: below * m[i-1] + on * m[i] + above * m[i+1] = right.
    let row = |i: usize| match (i, start, end) {
        (0, Some(given), _) => (0.0, 1.0, 0.0, given),
        (0, None, _) => (0.0, 2.0, 1.0, slope(0) * 3.0),
        (i, _, Some(given)) if i == last => (0.0, 1.0, 0.0, given),
        (i, _, None) if i == last => (1.0, 2.0, 0.0, slope(i - 1) * 3.0),
        (i, ..) => (
            h[i],
            2.0 * (h[i - 1] + h[i]),
            h[i - 1],
            (slope(i - 1) * h[i] + slope(i) * h[i - 1]) * 3.0,
        ),
    };
    // Elimination from the top, then back; the rows are diagonally dominant.
    let mut swept: Vec<(f64, Point)> = vec![];
    for i in 0..=last {
        let (below, on, above, right) = row(i);
        let (above_before, right_before) = swept.last().copied().unwrap_or_default();
        let pivot = 1.0 / (on - below * above_before);
        swept.push((above * pivot, (right - right_before * below) * pivot));
    }
    let mut m: Vec<Point> = vec![];
    for (above, right) in swept.into_iter().rev() {
        let after = m.last().copied().unwrap_or_default();
        m.push(right - after * above);
    }
    m.reverse();
    m
}
