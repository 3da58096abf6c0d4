//! Homographies of the plane: what a pinhole makes of a flat scene.

use super::point::{Point, point};
use nalgebra::{DMatrix, Matrix3, SMatrix};

/// The point a homography takes `p` to.
pub(crate) fn apply(h: &Matrix3<f64>, p: Point) -> Point {
    let v = h * nalgebra::Vector3::new(p.x, p.y, 1.0);
    point(v[0] / v[2], v[1] / v[2])
}

/// The homography that takes each of four or more points nearest to its fellow, by least squares on
/// coordinates made fit for it.
pub(crate) fn homography(from: &[Point], to: &[Point]) -> Option<Matrix3<f64>> {
    let n = from.len();
    if n < 4 || to.len() != n {
        return None;
    }
    let (nf, nt) = (normaliser(from)?, normaliser(to)?);
    let mut rows = DMatrix::<f64>::zeros(2 * n, 9);
    for (i, (a, b)) in from.iter().zip(to).enumerate() {
        let (a, b) = (apply(&nf, *a), apply(&nt, *b));
        let row = [
            a.x,
            a.y,
            1.0,
            0.0,
            0.0,
            0.0,
            -b.x * a.x,
            -b.x * a.y,
            -b.x,
            0.0,
            0.0,
            0.0,
            a.x,
            a.y,
            1.0,
            -b.y * a.x,
            -b.y * a.y,
            -b.y,
        ];
        for (k, v) in row.iter().enumerate() {
            rows[(2 * i + k / 9, k % 9)] = *v;
        }
    }
    let squared: SMatrix<f64, 9, 9> =
        (rows.transpose() * &rows).fixed_view::<9, 9>(0, 0).into_owned();
    let eigen = squared.symmetric_eigen();
    let least = (0..9).min_by(|&a, &b| eigen.eigenvalues[a].total_cmp(&eigen.eigenvalues[b]))?;
    let v = eigen.eigenvectors.column(least);
    let h = Matrix3::new(v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8]);
    let h = nt.try_inverse()? * h * nf;
    let scale = h[(2, 2)];
    (scale.abs() > 1e-12 && h.iter().all(|v| v.is_finite())).then(|| h / scale)
}

fn normaliser(points: &[Point]) -> Option<Matrix3<f64>> {
    let n = points.len() as f64;
    let mean = points.iter().fold(Point::default(), |a, &p| a + p) * (1.0 / n);
    let size = points.iter().map(|p| p.distance(mean)).sum::<f64>() / n;
    (size > 0.0).then(|| {
        Matrix3::new(
            1.0 / size,
            0.0,
            -mean.x / size,
            0.0,
            1.0 / size,
            -mean.y / size,
            0.0,
            0.0,
            1.0,
        )
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Against `.ci/reference/homography.py`, which reckons in fractions.
    #[test]
    fn four_exact_points_give_the_exact_homography() {
        #[derive(serde::Deserialize)]
        struct Case {
            from: Vec<Point>,
            to: Vec<Point>,
            taken: Vec<[f64; 4]>,
        }
        let text = include_str!("../../tests/data/homography.json");
        let cases: Vec<Case> = serde_json::from_str(text).unwrap();
        assert!(cases.len() >= 3);
        for case in cases {
            let h = homography(&case.from, &case.to).unwrap();
            let pairs = case.from.iter().zip(&case.to).map(|(a, b)| (*a, *b));
            let taken = case.taken.iter().map(|t| (point(t[0], t[1]), point(t[2], t[3])));
            for (from, to) in pairs.chain(taken) {
                assert!(apply(&h, from).distance(to) < 1e-8 * (1.0 + to.length()), "{from:?}");
            }
        }
    }

    #[test]
    fn points_that_make_none_give_none() {
        let square = [point(0.0, 0.0), point(1.0, 0.0), point(1.0, 1.0), point(0.0, 1.0)];
        assert!(homography(&square[..3], &square[..3]).is_none());
        assert!(homography(&[point(1.0, 1.0); 4], &square).is_none());
    }
}
