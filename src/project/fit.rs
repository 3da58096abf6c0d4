//! Marks and measured lengths → the map, and how far it may be off.
//!
//! One least-squares fit of everything that is known: where each mark lies on the bench and in the
//! picture, what a tape measured between thrown points, and that a bow is smooth and small. The
//! bow's polynomials have as much freedom as the marks carry, for each is held to nothing by how
//! large such bows are; how strong the bow is at all is weighed over by how well each strength
//! explains what was seen. What stays open stays open in draws from the answer's distribution, from
//! which the error that is left follows by place.

use super::map::{BOWS, Map, OF_FLAT, Picture, UNKNOWNS};
use crate::fault::{Fault, Faults};
use crate::geometry::homography::homography;
use crate::geometry::{Bounds, Point, point, ring_bounds};
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use serde::{Deserialize, Serialize};

/// How far a dragged mark is off, one standard deviation along each axis, pixels: a cross is laid
/// on a mark to about a pixel.
pub const DRAGGED: f64 = 0.7;
/// How far a mark put on the bench by tape measure is off, one standard deviation along each axis,
/// mm: a length between two is then off by half a mm.
pub const TAPED: f64 = 0.35;
/// How far a length measured by tape is off, one standard deviation, mm.
pub const MEASURED: f64 = 0.5;

/// How large a polynomial of each order is in a bow of normal strength beside what the lens does,
/// pixels of a picture 1,920 wide, one standard deviation: mirrors and benches (common practice, no
/// source).
const BOW: [f64; 3] = [1.2, 0.6, 0.4];
/// How a lens bows the edge of its picture by the third power, as a share of the distance from its
/// own middle, and how far that middle is from the picture's along and across, half widths; one
/// standard deviation each (common practice, no source).
const LENS: f64 = 0.005;
const SHIFTED: [f64; 2] = [0.1, 0.35];
/// What bows in no way of these, pixels of a picture 1,920 wide, one standard deviation.
const RIPPLE: f64 = 0.15;
/// Strengths of the bow that are weighed, as multiples of the normal one, and how often each is met
/// before anything is seen.
const STRENGTHS: [(f64, f64); 4] = [(0.1, 0.1), (0.3, 0.3), (0.8, 0.55), (2.0, 0.05)];
/// Draws of the answer.
const DRAWS: usize = 600;
/// The stated error is not exceeded in so many draws. Lenses and benches bow in more ways than the
/// polynomials have, so that in truth it is exceeded more often: see docs/figures.md.
const SURE: f64 = 0.97;
/// Places of the field along and across by which the error is stated.
pub const PLACES: [usize; 2] = [7, 5];
/// Most marks, and most lengths.
const MOST: usize = 400;
/// A mark that is off the others by more standard deviations was dragged somewhere else, and a
/// length that is was misread.
const STRAY: f64 = 5.0;

/// A mark: where it lies on the bench, mm, and in the picture, pixels.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mark {
    /// mm.
    pub at: Point,
    /// Pixels.
    pub pixel: Point,
}

/// A length measured between two thrown points.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Length {
    /// Its name: `A1-K7`.
    pub name: String,
    /// Its ends in the picture, pixels.
    pub pixels: [Point; 2],
    /// What it was meant to be, mm.
    pub meant: f64,
    /// What the tape said, mm.
    pub mm: f64,
}

/// All that is known of a projector over a bench.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Known {
    /// The picture's size.
    pub picture: Picture,
    /// The marks.
    pub marks: Vec<Mark>,
    /// How far each mark may be off along each axis in the picture, pixels, and on the bench, mm.
    pub spread: [f64; 2],
    /// Ways in which all marks may be off together, one standard deviation: mm, mark by mark.
    #[serde(default)]
    pub together: Vec<Vec<Point>>,
    /// Lengths measured by tape.
    #[serde(default)]
    pub lengths: Vec<Length>,
    /// Where is thrown: a rectangle of the bench, mm.
    pub field: Bounds,
}

/// The map with what is left open.
#[derive(Clone, Debug)]
pub struct Fit {
    /// The map.
    pub map: Map,
    /// Where is thrown.
    pub field: Bounds,
    /// Root mean square distance of the marks from where the map has them, mm.
    pub residual: f64,
    /// Places, and the error there that is hardly ever exceeded, mm: row by row from the
    /// field's lower left.
    pub places: Vec<(Point, f64)>,
    /// The same of the worst place, mm: what is stated.
    pub worst: f64,
}

impl Known {
    /// Fits the map.
    ///
    /// # Errors
    /// Marks that make no map, or one that strays from the others; lengths that cannot be.
    pub fn fit(&self) -> Result<Fit, Faults> {
        let problem = Problem::new(self)?;
        let mut answers: Vec<Answer> = Vec::new();
        for (strength, often) in STRENGTHS {
            let from = answers.last().map_or_else(
                || problem.start.clone(),
                |a| problem.start.with(a.unknowns.iter().copied().collect()),
            );
            answers.extend(problem.solve(from, strength, often));
        }
        let best = answers.iter().map(|a| a.evidence).fold(f64::NEG_INFINITY, f64::max);
        if !best.is_finite() {
            return Err(no_map().into());
        }
        let weights: Vec<f64> = answers.iter().map(|a| libm::exp(a.evidence - best)).collect();
        let whole: f64 = weights.iter().sum();
        let mut middle = vec![0.0; UNKNOWNS];
        for (answer, weight) in answers.iter().zip(&weights) {
            for (m, x) in middle.iter_mut().zip(answer.unknowns.iter()) {
                *m += x * weight / whole;
            }
        }
        let map = problem.start.with(middle);
        problem.strays(&map)?;
        let mut dice = Pcg64Mcg::seed_from_u64(24);
        let mut drawn = Vec::new();
        for (answer, weight) in answers.iter().zip(&weights) {
            let count = (DRAWS as f64 * weight / whole).round() as usize;
            for _ in 0..count {
                drawn.push(map.with(answer.drawn(&mut dice)));
            }
        }
        let left = self.left(&map, &drawn).ok_or_else(no_map)?;
        let residual = self.marks.iter().filter_map(|m| Some(map.bench(m.pixel)?.distance(m.at)));
        let squares: f64 = residual.map(|d| d * d).sum();
        Ok(Fit {
            residual: (squares / self.marks.len() as f64).sqrt(),
            map,
            field: self.field,
            places: left.0,
            worst: left.1,
        })
    }

    /// What is left over by place, and at the worst one. A turn and a shift of the whole picture
    /// do no harm, for the cloth is laid under the picture: they are taken off.
    fn left(&self, map: &Map, drawn: &[Map]) -> Option<(Vec<(Point, f64)>, f64)> {
        let places = places(&self.field);
        let (mut by_place, mut worst) = (vec![Vec::new(); places.len()], Vec::new());
        let mut away = Vec::with_capacity(places.len());
        for at in &places {
            away.push((map.pixel(*at)?, map.slopes(*at)?.1));
        }
        let (ripple, mut dice) = (ripple(self.picture), Pcg64Mcg::seed_from_u64(5));
        for other in drawn {
            let mut off = Vec::with_capacity(places.len());
            for (at, (pixel, [x, y])) in places.iter().zip(&away) {
                // Where the pixel would fall, to first order.
                let more = point(normal(&mut dice), normal(&mut dice)) * ripple;
                let d = *pixel - other.pixel(*at)? + more;
                let det = x.cross(*y);
                off.push(point(d.cross(*y) / det, x.cross(d) / det));
            }
            without_motion(&places, &mut off);
            let lengths: Vec<f64> = off.iter().map(|o| o.length()).collect();
            worst.push(lengths.iter().copied().fold(0.0, f64::max));
            by_place.iter_mut().zip(lengths).for_each(|(list, l)| list.push(l));
        }
        let sure = |mut list: Vec<f64>| {
            list.sort_by(f64::total_cmp);
            let at = ((list.len() as f64 * SURE) as usize).min(list.len().saturating_sub(1));
            list.get(at).copied().filter(|v| v.is_finite())
        };
        let by_place: Option<Vec<f64>> = by_place.into_iter().map(sure).collect();
        Some((places.into_iter().zip(by_place?).collect(), sure(worst)?))
    }
}

/// The places of a field by which its error is stated.
pub fn places(field: &Bounds) -> Vec<Point> {
    let [along, across] = PLACES;
    let share = |i: usize, n: usize| i as f64 / (n - 1) as f64;
    let at = |k: usize| {
        let (x, y) = (share(k % along, along), share(k / along, across));
        field.min + point(field.width() * x, field.height() * y)
    };
    (0..along * across).map(at).collect()
}

/// Takes from offsets the turn and shift that they have in common.
pub(super) fn without_motion(places: &[Point], off: &mut [Point]) {
    let n = places.len().max(1) as f64;
    let mean = |list: &[Point]| list.iter().fold(Point::default(), |a, p| a + *p) * (1.0 / n);
    let (centre, shift) = (mean(places), mean(off));
    let (mut turn, mut size) = (0.0, 0.0);
    for (p, o) in places.iter().zip(off.iter()) {
        let arm = *p - centre;
        turn += arm.cross(*o);
        size += arm.dot(arm);
    }
    let turn = if size > 0.0 { turn / size } else { 0.0 };
    for (p, o) in places.iter().zip(off) {
        let arm = *p - centre;
        *o = *o - shift - point(-arm.y, arm.x) * turn;
    }
}

/// What bows in no way that is reckoned with, pixels.
fn ripple(picture: Picture) -> f64 {
    RIPPLE * f64::from(picture.width) / 1920.0
}

fn no_map() -> Fault {
    Fault::new(
        "the marks make no map of the bench",
        "drag each onto its own mark on the bench: they must span it, no three of four in a line",
    )
}

/// The fit of one strength of the bow.
struct Answer {
    unknowns: DVector<f64>,
    /// Inverse covariance, decomposed.
    precision: Cholesky<f64, Dyn>,
    /// By how much errors are larger than they were taken for.
    wider: f64,
    evidence: f64,
}

impl Answer {
    fn drawn(&self, dice: &mut Pcg64Mcg) -> Vec<f64> {
        let z = DVector::from_fn(UNKNOWNS, |_, _| normal(dice));
        // A = L Lᵀ: L⁻ᵀ z has the covariance A⁻¹.
        let upper = self.precision.l().transpose();
        let step = upper.solve_upper_triangular(&z).unwrap_or(z);
        (0..UNKNOWNS).map(|i| self.unknowns[i] + step[i] * self.wider).collect()
    }
}

/// A draw from the normal distribution, by the method of Box and Muller.
fn normal(dice: &mut Pcg64Mcg) -> f64 {
    let share = |dice: &mut Pcg64Mcg| (dice.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
    let (a, b) = (1.0 - share(dice), share(dice));
    (-2.0 * libm::log(a)).sqrt() * libm::cos(std::f64::consts::TAU * b)
}

struct Problem<'k> {
    known: &'k Known,
    start: Map,
    /// Whitens the residuals of the marks: the lower factor of their covariance.
    noise: DMatrix<f64>,
}

impl<'k> Problem<'k> {
    fn new(known: &'k Known) -> Result<Problem<'k>, Faults> {
        let n = known.marks.len();
        let sound = |p: Point| p.x.is_finite() && p.y.is_finite();
        Picture::new(known.picture.width, known.picture.height)?;
        if n > MOST || known.lengths.len() > MOST {
            return Err(Fault::new(
                "these are more marks or lengths than anybody puts",
                "set the bench up anew",
            )
            .into());
        }
        if n < 4 || !known.marks.iter().all(|m| sound(m.at) && sound(m.pixel)) {
            return Err(Fault::new("four marks or more are needed", "drag all marks").into());
        }
        let at: Vec<Point> = known.marks.iter().map(|m| m.at).collect();
        let pixels: Vec<Point> = known.marks.iter().map(|m| m.pixel).collect();
        let start = flat(known.picture, &at, &pixels).ok_or_else(no_map)?;
        let [in_picture, on_bench] = known.spread;
        let in_picture = libm::hypot(in_picture, ripple(known.picture));
        let mut slopes = Vec::new();
        for p in &at {
            slopes.push(start.slopes(*p).ok_or_else(no_map)?.1);
        }
        let mut noise = DMatrix::<f64>::zeros(2 * n, 2 * n);
        for (i, [x, y]) in slopes.iter().enumerate() {
            let bench = |a: f64, b: f64, c: f64, d: f64| on_bench * on_bench * (a * c + b * d);
            noise[(2 * i, 2 * i)] = in_picture * in_picture + bench(x.x, y.x, x.x, y.x);
            noise[(2 * i + 1, 2 * i + 1)] = in_picture * in_picture + bench(x.y, y.y, x.y, y.y);
            noise[(2 * i, 2 * i + 1)] = bench(x.x, y.x, x.y, y.y);
            noise[(2 * i + 1, 2 * i)] = noise[(2 * i, 2 * i + 1)];
        }
        for way in known.together.iter().filter(|w| w.len() == n) {
            let moved: Vec<Point> =
                way.iter().zip(&slopes).map(|(d, [x, y])| *x * d.x + *y * d.y).collect();
            let column = DVector::from_iterator(2 * n, moved.iter().flat_map(|m| [m.x, m.y]));
            noise += &column * column.transpose();
        }
        let noise = noise.cholesky().ok_or_else(no_map)?.l();
        Ok(Problem { known, start, noise })
    }

    /// The bow's polynomials in a picture, x and y of each in turn: their covariance at a strength,
    /// pixels, decomposed.
    fn bow(picture: Picture, strength: f64) -> Option<Cholesky<f64, Dyn>> {
        let n = 2 * BOWS.len();
        let half = f64::from(picture.width) / 2.0;
        let q = f64::from(picture.height) / f64::from(picture.width);
        let mut all = DMatrix::<f64>::zeros(n, n);
        for (k, (i, j)) in BOWS.iter().enumerate() {
            let own = BOW[i + j - 2] * half / 960.0;
            (all[(2 * k, 2 * k)], all[(2 * k + 1, 2 * k + 1)]) = (own * own, own * own);
        }
        // A lens: u r², and what that becomes about a middle that is shifted along or across.
        // Far from the middle, order in x and y, x or y of the pixel, part.
        type Way<'w> = (f64, &'w [(usize, usize, usize, f64)]);
        let ways: [Way<'_>; 3] = [
            (
                1.0,
                &[
                    (3, 0, 0, 0.4),
                    (1, 2, 0, q * q / 1.5),
                    (0, 3, 1, 0.4 * q * q * q),
                    (2, 1, 1, q / 1.5),
                ],
            ),
            (SHIFTED[0], &[(2, 0, 0, 2.0), (0, 2, 0, q * q / 1.5), (1, 1, 1, 2.0 * q)]),
            (SHIFTED[1], &[(1, 1, 0, 2.0 * q), (2, 0, 1, 1.0 / 1.5), (0, 2, 1, 2.0 * q * q)]),
        ];
        for (far, parts) in ways {
            let mut way = DVector::<f64>::zeros(n);
            for (i, j, axis, part) in parts {
                let k = BOWS.iter().position(|b| b == &(*i, *j))?;
                way[2 * k + axis] = part * far * LENS * half;
            }
            all += &way * way.transpose();
        }
        (all * (strength * strength)).cholesky()
    }

    /// Whitened residuals and their slopes: marks, lengths, then the bow itself.
    fn residuals(&self, map: &Map, bow: &DMatrix<f64>) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let known = self.known;
        let marks = 2 * known.marks.len();
        let rows = marks + known.lengths.len() + UNKNOWNS - OF_FLAT;
        let (mut r, mut j) = (DVector::zeros(marks), DMatrix::zeros(marks, UNKNOWNS));
        for (i, mark) in known.marks.iter().enumerate() {
            let d = map.pixel(mark.at)? - mark.pixel;
            (r[2 * i], r[2 * i + 1]) = (d.x, d.y);
            let ([x, y], _) = map.slopes(mark.at)?;
            for k in 0..UNKNOWNS {
                (j[(2 * i, k)], j[(2 * i + 1, k)]) = (x[k], y[k]);
            }
        }
        if !self.noise.solve_lower_triangular_mut(&mut r)
            || !self.noise.solve_lower_triangular_mut(&mut j)
        {
            return None;
        }
        let (mut all, mut slopes) = (DVector::zeros(rows), DMatrix::zeros(rows, UNKNOWNS));
        all.rows_mut(0, marks).copy_from(&r);
        slopes.rows_mut(0, marks).copy_from(&j);
        for (i, length) in known.lengths.iter().enumerate() {
            let (mm, slope) = reach(map, length.pixels)?;
            all[marks + i] = (mm - length.mm) / MEASURED;
            for k in 0..UNKNOWNS {
                slopes[(marks + i, k)] = slope[k] / MEASURED;
            }
        }
        let bent = DVector::from_column_slice(&map.unknowns[OF_FLAT..]);
        let (first, wide) = (rows - bent.len(), bent.len());
        all.rows_mut(first, wide).copy_from(&(bow * bent));
        slopes.view_mut((first, OF_FLAT), (wide, wide)).copy_from(bow);
        Some((all, slopes))
    }

    /// Levenberg and Marquardt's method.
    fn solve(&self, mut map: Map, strength: f64, often: f64) -> Option<Answer> {
        let factor = Problem::bow(self.known.picture, strength)?.l();
        let n = factor.nrows();
        let bow = factor.solve_lower_triangular(&DMatrix::identity(n, n))?;
        let (mut r, mut j) = self.residuals(&map, &bow)?;
        let mut damping = 1e-6;
        for _ in 0..40 {
            let (normal, slope) = (j.transpose() * &j, j.transpose() * &r);
            let before = r.norm_squared();
            let mut gain = 0.0;
            while damping < 1e9 {
                let mut damped = normal.clone();
                for i in 0..UNKNOWNS {
                    damped[(i, i)] += damping * normal[(i, i)].max(1e-9);
                }
                let step = damped.cholesky().map(|c| c.solve(&slope));
                let next =
                    step.map(|s| map.with((0..UNKNOWNS).map(|i| map.unknowns[i] - s[i]).collect()));
                let better = next.and_then(|next| {
                    let (q, k) = self.residuals(&next, &bow)?;
                    (q.norm_squared() <= before).then_some((next, q, k))
                });
                if let Some((next, q, k)) = better {
                    gain = before - q.norm_squared();
                    (map, r, j) = (next, q, k);
                    damping = (damping / 10.0).max(1e-12);
                    break;
                }
                damping *= 10.0;
            }
            if gain <= 1e-10 * (1.0 + before) {
                break;
            }
        }
        let precision = (j.transpose() * &j).cholesky()?;
        let seen = 2 * self.known.marks.len() + self.known.lengths.len();
        let misfit = r.norm_squared();
        // More than the marks carry, they say nothing of how good they are.
        let spare = seen as f64 - OF_FLAT as f64;
        let wider = if spare >= 1.0 { (misfit / spare).max(1.0).sqrt() } else { 1.0 };
        let log_of_precision: f64 =
            (0..UNKNOWNS).map(|i| libm::log(precision.l_dirty()[(i, i)])).sum();
        let log_of_bow: f64 = (0..n).map(|i| libm::log(factor[(i, i)])).sum();
        let evidence = libm::log(often) - 0.5 * misfit - log_of_precision - log_of_bow;
        let unknowns = DVector::from_vec(map.unknowns);
        Some(Answer { unknowns, precision, wider, evidence })
    }

    /// Marks and lengths that cannot be.
    fn strays(&self, map: &Map) -> Result<(), Faults> {
        let mut faults = Faults::new();
        let known = self.known;
        let [in_picture, on_bench] = known.spread;
        for (i, mark) in known.marks.iter().enumerate() {
            let (Some(at), Some(mm)) = (map.bench(mark.pixel), map.mm_a_pixel(mark.at)) else {
                return Err(no_map().into());
            };
            let off = at.distance(mark.at);
            if known.together.is_empty() && off > STRAY * libm::hypot(in_picture * mm, on_bench) {
                let what = said!("mark {} is {off:.1} mm off what the others say", i + 1);
                faults.push(Fault::new(
                    what,
                    "drag it onto its own mark, and measure that mark on the bench again",
                ));
            }
        }
        for length in &known.lengths {
            let Some((mm, _)) = reach(map, length.pixels) else {
                return Err(no_map().into());
            };
            if (mm - length.mm).abs() > STRAY * MEASURED * 2.0 {
                let what = said!(
                    "{} measured {:.1} mm does not agree with marks and other lengths, by {:.1} mm",
                    length.name,
                    length.mm,
                    (mm - length.mm).abs()
                );
                faults.push(Fault::new(what, "measure it again; if it is so, put the marks anew"));
            }
        }
        faults.into_result(())
    }
}

/// The distance on the bench of two pixels, and how it moves with the unknowns.
fn reach(map: &Map, pixels: [Point; 2]) -> Option<(f64, [f64; UNKNOWNS])> {
    let (a, b) = (map.bench(pixels[0])?, map.bench(pixels[1])?);
    let mm = a.distance(b);
    if mm < 1e-6 {
        return None;
    }
    let way = (b - a) * (1.0 / mm);
    let mut out = [0.0; UNKNOWNS];
    for (p, sign) in [(a, -1.0), (b, 1.0)] {
        let ([sx, sy], [x, y]) = map.slopes(p)?;
        let det = x.cross(y);
        for k in 0..UNKNOWNS {
            // The pixel stays: the point moves against what the unknown does to it.
            let d = point(-sx[k], -sy[k]);
            out[k] += sign * way.dot(point(d.cross(y) / det, x.cross(d) / det));
        }
    }
    Some((mm, out))
}

/// The homography alone, in the units of the map.
fn flat(picture: Picture, at: &[Point], pixels: &[Point]) -> Option<Map> {
    let bounds = ring_bounds(at)?;
    let (centre, unit) = (bounds.centre(), bounds.width().max(bounds.height()) / 2.0);
    if unit < 1.0 {
        return None;
    }
    let half = f64::from(picture.width) / 2.0;
    let middle = point(half, f64::from(picture.height) / 2.0);
    let from: Vec<Point> = at.iter().map(|p| (*p - centre) * (1.0 / unit)).collect();
    let to: Vec<Point> = pixels.iter().map(|p| (*p - middle) * (1.0 / half)).collect();
    let h = homography(&from, &to)?;
    let flat = std::array::from_fn(|i| h[(i / 3, i % 3)]);
    let map = Map::new(picture, centre, unit, flat);
    // Before the projector, and no line: the marks keep the way they turn.
    let sound =
        at.iter().all(|p| map.slopes(*p).is_some_and(|(_, [x, y])| x.cross(y).abs() > 1e-4));
    sound.then_some(map)
}
