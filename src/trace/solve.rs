//! One least-squares fit for everything the cards tell: how each photo sees the plane, the lens's
//! radial distortion, and how the cards lie to each other.
//!
//! Every card is rigid and of known size; nothing is assumed of where it lies. The unknowns are
//! eight of the homography and `k1` for each photo, a turn and a shift for each card but the one
//! that sets the frame. What the cards leave open stays open in the covariance, from which the
//! uncertainty of any length in the photo follows.

use super::camera::View;
use super::card::{CENTRES, MARK_RADIUS};
use super::cards::FoundCard;
use crate::geometry::homography::{apply, homography};
use crate::geometry::{Point, point};
use nalgebra::{DMatrix, DVector, Matrix3};

/// Lengths inside the fit are in units of so many mm, to keep its numbers near 1.
const UNIT: f64 = 100.0;
/// How strongly lenses distort at the corner of a photo, one standard deviation: telephones stay
/// within it (common practice, no source).
const K1_SPREAD: f64 = 0.03;
/// The least error of a mark that is believed, pixels.
const LEAST_ERROR: f64 = 0.05;
/// How strongly they distort beyond that, by the fourth power, one standard deviation (common
/// practice, no source).
const K2_SPREAD: f64 = 0.003;
/// The least error of a mark that is believed where all hangs on two cards, pixels.
const BELIEVED: f64 = 0.15;
/// Unknowns of one photo.
const OF_PHOTO: usize = 9;

/// A photo and the cards in it.
#[derive(Clone, Debug)]
pub(super) struct Sighting {
    pub width: u32,
    pub height: u32,
    /// Each card, with its place in the list of all cards.
    pub cards: Vec<(usize, FoundCard)>,
}

/// Where a card lies: turned by `angle`, then shifted, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pose {
    pub angle: f64,
    pub shift: Point,
}

impl Pose {
    /// A point of the card in the plane.
    pub fn place(&self, p: Point) -> Point {
        let (s, c) = (libm::sin(self.angle), libm::cos(self.angle));
        point(c * p.x - s * p.y, s * p.x + c * p.y) + self.shift
    }
}

/// The outcome.
#[derive(Clone, Debug)]
pub(super) struct Solution {
    pub views: Vec<View>,
    pub poses: Vec<Pose>,
    /// Root mean square distance of the marks from where they should be, pixels.
    pub error: f64,
    /// The worst mark's, pixels, and its card's place in the list of all cards.
    pub worst: (f64, usize),
    /// Printed size of each card as a multiple of the first's, with its standard deviation, as far
    /// as perspective lets it be told.
    pub scales: Vec<(f64, f64)>,
    problem: Problem,
    unknowns: DVector<f64>,
    covariance: DMatrix<f64>,
}

/// Why the cards give no answer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum NoSolution {
    /// This photo shares no card with those before it.
    Apart(usize),
    /// The fit does not settle.
    Unsettled,
}

impl Solution {
    /// Standard deviation of the distance between the plane points that two pixels show, mm.
    pub fn uncertainty(&self, a: (usize, Point), b: (usize, Point)) -> Option<f64> {
        let length = |x: &DVector<f64>| -> Option<f64> {
            let of = |(photo, pixel): (usize, Point)| self.problem.view(x, photo)?.plane(pixel);
            Some(of(a)?.distance(of(b)?) * self.problem.scale)
        };
        let mut gradient = DVector::<f64>::zeros(self.unknowns.len());
        for i in 0..self.unknowns.len() {
            let (mut up, mut down) = (self.unknowns.clone(), self.unknowns.clone());
            up[i] += STEP;
            down[i] -= STEP;
            gradient[i] = (length(&up)? - length(&down)?) / (2.0 * STEP);
        }
        let variance = (gradient.transpose() * &self.covariance * &gradient)[0];
        (variance >= 0.0).then(|| variance.sqrt())
    }
}

const STEP: f64 = 1e-6;

impl Solution {
    /// The point that a pixel of a photo shows, mm, in the frame of the first card.
    pub fn place(&self, photo: usize, pixel: Point) -> Option<Point> {
        Some(self.views.get(photo)?.plane(pixel)? * self.problem.scale)
    }

    /// Ways in which the places of these pixels of a photo may be off together, independent of each
    /// other, one standard deviation each, mm.
    pub fn together(&self, photo: usize, pixels: &[Point]) -> Option<Vec<Vec<Point>>> {
        let places = |x: &DVector<f64>| -> Option<Vec<Point>> {
            let view = self.problem.view(x, photo)?;
            pixels.iter().map(|p| Some(view.plane(*p)? * self.problem.scale)).collect()
        };
        // A dozen marks to spare say too little of how well marks are found.
        let error = self.error.max(LEAST_ERROR);
        let more = (BELIEVED / error).max(1.0);
        let factor = self.covariance.clone().cholesky()?.l() * more;
        let mut ways = Vec::new();
        for column in factor.column_iter() {
            // A step small enough to be straight, scaled back.
            let small = column * (STEP / column.norm().max(1e-12));
            let (up, down) =
                (places(&(&self.unknowns + &small))?, places(&(&self.unknowns - &small))?);
            let by = column.norm() / (2.0 * STEP);
            ways.push(up.iter().zip(&down).map(|(a, b)| (*a - *b) * by).collect());
        }
        // A lens bows in more ways than the model has: marks and pixels set right for one of them
        // give another fit.
        let mut sightings = self.problem.sightings.clone();
        for s in &mut sightings {
            let (width, height) = (s.width, s.height);
            let marks = s.cards.iter_mut().flat_map(|c| &mut c.1.marks);
            marks.for_each(|m| m.centre = bent(width, height, m.centre));
        }
        let other = solve(sightings, self.problem.cards, self.problem.scale).ok()?;
        let s = &self.problem.sightings[photo];
        let way = pixels.iter().map(|p| {
            Some(other.place(photo, bent(s.width, s.height, *p))? - self.place(photo, *p)?)
        });
        ways.push(way.collect::<Option<Vec<Point>>>()?);
        Some(ways)
    }
}

#[derive(Clone, Debug)]
struct Problem {
    sightings: Vec<Sighting>,
    cards: usize,
    with_scales: bool,
    /// Factor on all lengths of a card, from its measured width.
    scale: f64,
}

impl Problem {
    fn unknowns(&self) -> usize {
        self.sightings.len() * OF_PHOTO + (self.cards - 1) * if self.with_scales { 4 } else { 3 }
    }

    fn matrix(&self, x: &DVector<f64>, photo: usize) -> Matrix3<f64> {
        let v = |i: usize| x[photo * OF_PHOTO + i];
        Matrix3::new(v(0), v(1), v(2), v(3), v(4), v(5), v(6), v(7), 1.0)
    }

    /// The view in mm of an unscaled card.
    fn view(&self, x: &DVector<f64>, photo: usize) -> Option<View> {
        let to_units = Matrix3::new(1.0 / UNIT, 0.0, 0.0, 0.0, 1.0 / UNIT, 0.0, 0.0, 0.0, 1.0);
        let s = &self.sightings[photo];
        View::new(s.width, s.height, self.matrix(x, photo) * to_units, x[photo * OF_PHOTO + 8])
    }

    fn pose(&self, x: &DVector<f64>, card: usize) -> (Pose, f64) {
        if card == 0 {
            return (Pose { angle: 0.0, shift: point(0.0, 0.0) }, 1.0);
        }
        let at = self.sightings.len() * OF_PHOTO + (card - 1) * 3;
        let scale = if self.with_scales {
            x[self.sightings.len() * OF_PHOTO + (self.cards - 1) * 3 + card - 1]
        } else {
            1.0
        };
        (Pose { angle: x[at], shift: point(x[at + 1], x[at + 2]) * UNIT }, scale)
    }

    /// In pixels: two for each mark, then one for each photo that holds its `k1` to what lenses do.
    fn residuals(&self, x: &DVector<f64>) -> Option<DVector<f64>> {
        let mut out = Vec::new();
        for (photo, s) in self.sightings.iter().enumerate() {
            let view = self.view(x, photo)?;
            for (card, found) in &s.cards {
                let (pose, scale) = self.pose(x, *card);
                for (mark, centre) in found.marks.iter().zip(CENTRES) {
                    let seen =
                        view.middle_of_circle(pose.place(centre * scale), MARK_RADIUS * scale)?;
                    out.extend([seen.x - mark.centre.x, seen.y - mark.centre.y]);
                }
            }
        }
        for photo in 0..self.sightings.len() {
            out.push(x[photo * OF_PHOTO + 8] / K1_SPREAD * 0.1);
        }
        Some(DVector::from_vec(out))
    }

    /// Levenberg and Marquardt's method. The unknowns, and the inverse of the normal matrix there.
    fn minimise(&self, mut x: DVector<f64>) -> Option<(DVector<f64>, DMatrix<f64>)> {
        let n = x.len();
        let mut r = self.residuals(&x)?;
        let mut damping = 1e-3;
        for _ in 0..200 {
            let j = self.jacobian(&x, r.len())?;
            let normal = j.transpose() * &j;
            let slope = j.transpose() * &r;
            let mut improved = false;
            while damping < 1e12 {
                let mut damped = normal.clone();
                for i in 0..n {
                    damped[(i, i)] += damping * normal[(i, i)].max(1e-9);
                }
                let step = damped.cholesky().map(|c| c.solve(&slope));
                let next = step.map(|s| &x - s);
                let better = next.and_then(|next| {
                    self.residuals(&next)
                        .filter(|q| q.norm_squared() < r.norm_squared())
                        .map(|q| (next, q))
                });
                if let Some((next, q)) = better {
                    let gain = r.norm_squared() - q.norm_squared();
                    improved = gain > 1e-9 * r.norm_squared();
                    (x, r) = (next, q);
                    damping = (damping / 5.0).max(1e-9);
                    break;
                }
                damping *= 5.0;
            }
            if !improved {
                break;
            }
        }
        let j = self.jacobian(&x, r.len())?;
        let inverse = (j.transpose() * &j).cholesky()?.inverse();
        Some((x, inverse))
    }

    fn jacobian(&self, x: &DVector<f64>, rows: usize) -> Option<DMatrix<f64>> {
        let mut j = DMatrix::<f64>::zeros(rows, x.len());
        for i in 0..x.len() {
            let (mut up, mut down) = (x.clone(), x.clone());
            up[i] += STEP;
            down[i] -= STEP;
            let column = (self.residuals(&up)? - self.residuals(&down)?) / (2.0 * STEP);
            j.set_column(i, &column);
        }
        Some(j)
    }

    /// A start: photo by photo, each from the cards whose place is known by then.
    fn start(&self) -> Result<DVector<f64>, NoSolution> {
        let mut poses: Vec<Option<Pose>> = vec![None; self.cards];
        poses[0] = Some(Pose { angle: 0.0, shift: point(0.0, 0.0) });
        let mut x = DVector::<f64>::zeros(self.unknowns());
        let mut waiting: Vec<usize> = (0..self.sightings.len()).collect();
        while !waiting.is_empty() {
            let known = |photo: &usize| {
                self.sightings[*photo].cards.iter().filter(|(c, _)| poses[*c].is_some()).count()
            };
            let next = (0..waiting.len())
                .max_by_key(|&i| (known(&waiting[i]), std::cmp::Reverse(i)))
                .unwrap_or(0);
            let photo = waiting.remove(next);
            let s = &self.sightings[photo];
            let (mut from, mut to) = (Vec::new(), Vec::new());
            for (card, found) in &s.cards {
                if let Some(pose) = poses[*card] {
                    from.extend(CENTRES.map(|c| pose.place(c) * (1.0 / UNIT)));
                    to.extend(found.marks.map(|m| View::normalised(s.width, s.height, m.centre)));
                }
            }
            let h = homography(&from, &to).ok_or(if from.is_empty() {
                NoSolution::Apart(photo)
            } else {
                NoSolution::Unsettled
            })?;
            let back = h.try_inverse().ok_or(NoSolution::Unsettled)?;
            for (card, found) in s.cards.iter().filter(|(c, _)| *c < self.cards) {
                if poses[*card].is_none() {
                    let seen = found.marks.map(|m| {
                        apply(&back, View::normalised(s.width, s.height, m.centre)) * UNIT
                    });
                    poses[*card] = Some(rigid(&CENTRES, &seen));
                }
            }
            let h = h / h[(2, 2)];
            for i in 0..8 {
                x[photo * OF_PHOTO + i] = h[(i / 3, i % 3)];
            }
        }
        for (card, pose) in poses.iter().enumerate().skip(1) {
            let pose = pose.ok_or(NoSolution::Unsettled)?;
            let at = self.sightings.len() * OF_PHOTO + (card - 1) * 3;
            x[at] = pose.angle;
            x[at + 1] = pose.shift.x / UNIT;
            x[at + 2] = pose.shift.y / UNIT;
        }
        Ok(x)
    }
}

/// A pixel of a lens that distorts by the fourth power too, set right.
fn bent(width: u32, height: u32, pixel: Point) -> Point {
    let arm = View::normalised(width, height, pixel);
    let r2 = arm.dot(arm);
    let half = libm::hypot(f64::from(width), f64::from(height)) / 2.0;
    pixel - arm * (half * K2_SPREAD * r2 * r2)
}

/// The turn and shift that bring points nearest to their fellows.
fn rigid(from: &[Point], to: &[Point]) -> Pose {
    let mean = |points: &[Point]| {
        points.iter().fold(Point::default(), |a, &p| a + p) * (1.0 / points.len().max(1) as f64)
    };
    let (a, b) = (mean(from), mean(to));
    let (mut cos, mut sin) = (0.0, 0.0);
    for (p, q) in from.iter().zip(to) {
        cos += (*p - a).dot(*q - b);
        sin += (*p - a).cross(*q - b);
    }
    let pose = Pose { angle: libm::atan2(sin, cos), shift: point(0.0, 0.0) };
    Pose { shift: b - pose.place(a), ..pose }
}

/// Fits everything. Card 0 sets the frame; `scale` is what a printed mm of a card measures in mm.
///
/// # Errors
/// Photos without a common card, or a fit that does not settle.
pub(super) fn solve(
    sightings: Vec<Sighting>,
    cards: usize,
    scale: f64,
) -> Result<Solution, NoSolution> {
    let mut problem = Problem { sightings, cards, with_scales: false, scale };
    let (x, inverse) = problem.minimise(problem.start()?).ok_or(NoSolution::Unsettled)?;
    let r = problem.residuals(&x).ok_or(NoSolution::Unsettled)?;
    let marks: Vec<usize> =
        problem.sightings.iter().flat_map(|s| s.cards.iter().flat_map(|(c, _)| [*c; 6])).collect();
    let freedom = (r.len() as f64 - x.len() as f64).max(1.0);
    let variance = (r.norm_squared() / freedom).max(LEAST_ERROR * LEAST_ERROR);
    let lengths: Vec<f64> = (0..marks.len()).map(|i| libm::hypot(r[2 * i], r[2 * i + 1])).collect();
    let error = (lengths.iter().map(|l| l * l).sum::<f64>() / lengths.len().max(1) as f64).sqrt();
    let worst =
        lengths.iter().copied().zip(marks).max_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or((0.0, 0));
    let views: Option<Vec<View>> =
        (0..problem.sightings.len()).map(|p| problem.view(&x, p)).collect();
    let poses = (0..cards).map(|c| problem.pose(&x, c).0).collect();
    problem.with_scales = true;
    let scales = scales_of(&problem, &x);
    problem.with_scales = false;
    let views = views.ok_or(NoSolution::Unsettled)?;
    Ok(Solution {
        views,
        poses,
        error,
        worst,
        scales,
        covariance: inverse * variance,
        unknowns: x,
        problem,
    })
}

/// The fit again with a size for each card.
fn scales_of(problem: &Problem, x: &DVector<f64>) -> Vec<(f64, f64)> {
    let none = vec![(1.0, f64::INFINITY); problem.cards];
    let start = DVector::from_iterator(
        problem.unknowns(),
        x.iter().copied().chain(std::iter::repeat_n(1.0, problem.cards - 1)),
    );
    let Some((y, inverse)) = problem.minimise(start) else {
        return none;
    };
    let Some(r) = problem.residuals(&y) else {
        return none;
    };
    let freedom = (r.len() as f64 - y.len() as f64).max(1.0);
    let variance = (r.norm_squared() / freedom).max(LEAST_ERROR * LEAST_ERROR);
    let first = x.len();
    std::iter::once((1.0, 0.0))
        .chain((first..y.len()).map(|i| (y[i], (inverse[(i, i)] * variance).sqrt())))
        .collect()
}
