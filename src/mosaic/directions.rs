//! Directions for the patches: neighbours far enough apart, all directions alike often, none
//! gathered in one place.

use super::random::Random;
use crate::geometry::Point;
use crate::geometry::point;

/// Changes tried for every patch.
const TRIES: usize = 900;

/// The lesser difference of two directions that repeat every `modulo` degrees.
pub fn difference(a: f64, b: f64, modulo: f64) -> f64 {
    let d = (a - b).rem_euclid(modulo);
    d.min(modulo - d)
}

/// How well directions are mixed, each measure from 0 (well) to 1.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Mix {
    /// Mean resultant length: 0 if all directions are alike often, 1 if all are the same.
    pub resultant: f64,
    /// The same of the directions doubled: 1 if there are but two, at right angles on the circle.
    pub two_ways: f64,
    /// Multiple correlation of the directions with the place: 1 if they run on across the part.
    pub drift: f64,
    /// How alike patches are that lie around a common neighbour: the mean cosine of their
    /// differences, nothing below 0.
    pub repetition: f64,
}

/// Measures directions that repeat every `modulo` degrees, after Mardia and Jupp, Directional
/// Statistics (2000, from memory): resultant lengths of the multiplied angles, and the
/// circular-linear correlation for x and y (the greater).
pub fn mix(directions: &[f64], places: &[Point], seams: &[[usize; 2]], modulo: f64) -> Mix {
    let n = directions.len();
    if n == 0 {
        return Mix::default();
    }
    let on_circle: Vec<Point> = directions
        .iter()
        .map(|d| {
            let t = d / modulo * std::f64::consts::TAU;
            point(libm::cos(t), libm::sin(t))
        })
        .collect();
    let mean = |p: &mut dyn Iterator<Item = Point>| {
        p.fold(point(0.0, 0.0), |a, b| a + b) * (1.0 / n as f64)
    };
    let resultant = mean(&mut on_circle.iter().copied()).length();
    let doubled = |p: &Point| point(p.x * p.x - p.y * p.y, 2.0 * p.x * p.y);
    let two_ways = mean(&mut on_circle.iter().map(doubled)).length();
    let column = |f: &dyn Fn(usize) -> f64| (0..n).map(f).collect::<Vec<f64>>();
    let (c, s) = (column(&|i| on_circle[i].x), column(&|i| on_circle[i].y));
    let drift = [column(&|i| places[i].x), column(&|i| places[i].y)]
        .iter()
        .map(|x| {
            let (xc, xs, cs) = (correlation(x, &c), correlation(x, &s), correlation(&c, &s));
            ((xc * xc + xs * xs - 2.0 * xc * xs * cs) / (1.0 - cs * cs).max(1e-9))
                .clamp(0.0, 1.0)
                .sqrt()
        })
        .fold(0.0, f64::max);
    let beside = beside(n, seams);
    let (mut sum, mut count) = (0.0, 0);
    for around in &beside {
        for (k, &i) in around.iter().enumerate() {
            for &j in around[k + 1..].iter().filter(|j| !beside[i].contains(j)) {
                sum += on_circle[i].dot(on_circle[j]);
                count += 1;
            }
        }
    }
    Mix {
        resultant,
        two_ways,
        drift,
        repetition: if count == 0 { 0.0 } else { (sum / f64::from(count)).max(0.0) },
    }
}

fn correlation(a: &[f64], b: &[f64]) -> f64 {
    let n = a.len() as f64;
    let (ma, mb) = (a.iter().sum::<f64>() / n, b.iter().sum::<f64>() / n);
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += (x - ma) * (y - mb);
        aa += (x - ma) * (x - ma);
        bb += (y - mb) * (y - mb);
    }
    if aa * bb <= 0.0 { 0.0 } else { ab / (aa * bb).sqrt() }
}

/// The neighbours of each patch.
pub(super) fn beside(count: usize, seams: &[[usize; 2]]) -> Vec<Vec<usize>> {
    let mut out = vec![Vec::new(); count];
    for &[a, b] in seams {
        out[a].push(b);
        out[b].push(a);
    }
    out
}

/// Directions in `0..modulo` by annealing: patches that touch differ by `least` and more, then the
/// mix; `None` if not all can.
pub fn directions(
    places: &[Point],
    seams: &[[usize; 2]],
    least: f64,
    modulo: f64,
    seed: u64,
) -> Option<Vec<f64>> {
    let n = places.len();
    let mut random = Random::new(seed, 0x5eed);
    let beside = beside(n, seams);
    // A little more than asked for leaves room to turn a patch on its offcut.
    let wish = (least * 1.12).min(modulo / 4.0 - 0.25).max(least);
    let short = |d: &[f64], i: usize| -> f64 {
        beside[i]
            .iter()
            .map(|&j| (wish - difference(d[i], d[j], modulo)).max(0.0) / modulo)
            .map(|x| x + 4.0 * x * x)
            .sum()
    };
    let pleasing = |d: &[f64]| {
        let m = mix(d, places, seams, modulo);
        1.5 * m.resultant + 0.6 * m.two_ways + 1.0 * m.drift + 0.4 * m.repetition
    };
    let kept = |d: &[f64]| seams.iter().all(|&[a, b]| difference(d[a], d[b], modulo) >= least);
    let mut best: Option<(f64, Vec<f64>)> = None;
    for _ in 0..4 {
        let mut d: Vec<f64> = (0..n).map(|_| random.unit() * modulo).collect();
        let mut look = pleasing(&d);
        let tries = (TRIES * n).min(120_000);
        for turn in 0..tries {
            let heat = 0.05 * (1.0 - turn as f64 / tries as f64);
            let mut i = random.below(n);
            if random.unit() < 0.5 {
                // Where something is wrong, look there more often.
                i = (0..4).map(|_| random.below(n)).find(|&k| short(&d, k) > 0.0).unwrap_or(i);
            }
            let (old, before) = (d[i], short(&d, i));
            d[i] = if random.unit() < 0.5 {
                random.unit() * modulo
            } else {
                (old + random.between(-6.0, 6.0)).rem_euclid(modulo)
            };
            let after = short(&d, i);
            // The mix costs as much as all patches together: for many it is looked at now and then.
            let new_look = if n <= 80 || turn % 16 == 0 { pleasing(&d) } else { look };
            let change = 8.0 * (after - before) + 0.5 * (new_look - look);
            if change <= 0.0 || random.unit() < libm::exp(-change / heat.max(1e-9)) {
                look = new_look;
            } else {
                d[i] = old;
            }
        }
        d.iter_mut().for_each(|x| *x = ((*x * 10.0).round() / 10.0).rem_euclid(modulo));
        if kept(&d) {
            let value = pleasing(&d);
            if best.as_ref().is_none_or(|b| value < b.0) {
                best = Some((value, d));
            }
        }
    }
    best.map(|b| b.1)
}

/// By how many degrees each patch may be turned either way if all its neighbours may too.
pub fn slack(directions: &[f64], seams: &[[usize; 2]], least: f64, modulo: f64) -> Vec<f64> {
    let mut out = vec![modulo / 4.0; directions.len()];
    for &[a, b] in seams {
        let half = (difference(directions[a], directions[b], modulo) - least).max(0.0) / 2.0;
        out[a] = out[a].min(half);
        out[b] = out[b].min(half);
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn grid(side: usize) -> (Vec<Point>, Vec<[usize; 2]>) {
        let places =
            (0..side * side).map(|k| point((k % side) as f64, (k / side) as f64)).collect();
        let mut seams = Vec::new();
        for k in 0..side * side {
            if k % side + 1 < side {
                seams.push([k, k + 1]);
            }
            if k + side < side * side {
                seams.push([k, k + side]);
            }
            if k % side + 1 < side && k + side < side * side {
                seams.push([k, k + side + 1]);
            }
        }
        (places, seams)
    }

    #[test]
    fn neighbours_differ_and_the_whole_is_mixed() {
        let (places, seams) = grid(6);
        for (least, modulo) in [(18.0, 90.0), (30.0, 180.0), (22.5, 90.0)] {
            let Some(d) = directions(&places, &seams, least, modulo, 3) else {
                assert_eq!(least, 22.5, "only the limit itself may be missed");
                continue;
            };
            assert!(seams.iter().all(|&[a, b]| difference(d[a], d[b], modulo) >= least));
            let m = mix(&d, &places, &seams, modulo);
            assert!(m.resultant < 0.2 && m.drift < 0.35 && m.two_ways < 0.5, "{m:?}");
        }
    }

    /// A triangle of neighbours cannot differ by more than a third of the circle of directions.
    #[test]
    fn what_cannot_be_is_not_promised() {
        let places = [point(0.0, 0.0), point(1.0, 0.0), point(0.0, 1.0)];
        let ring = [[0, 1], [1, 2], [0, 2]];
        assert_eq!(directions(&places, &ring, 31.0, 90.0, 1), None);
        assert!(directions(&places, &ring, 22.5, 90.0, 1).is_some());
    }

    #[test]
    fn measures_of_known_samples() {
        let places: Vec<Point> = (0..8).map(|k| point(f64::from(k), 0.0)).collect();
        assert!((mix(&[10.0; 8], &places, &[], 90.0).resultant - 1.0).abs() < 1e-12);
        let even: Vec<f64> = (0..8).map(|k| f64::from(k) * 90.0 / 8.0).collect();
        let m = mix(&even, &places, &[], 90.0);
        assert!(m.resultant < 1e-12 && m.two_ways < 1e-12 && m.drift > 0.6, "{m:?}");
        let two: Vec<f64> = (0..8).map(|k| f64::from(k % 2) * 45.0).collect();
        let m = mix(&two, &places, &[], 90.0);
        assert!(m.resultant < 1e-12 && (m.two_ways - 1.0).abs() < 1e-12);
    }
}
