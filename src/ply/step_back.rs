//! A local patch drawn in all round, layer by layer, and why that cannot be done.

use super::Skin;
use crate::geometry::interior::roomiest_point;
use crate::geometry::offset::inset;
use crate::geometry::{Point, Region, ring_contains};
use crate::outline::EdgeKind;

/// What is left of a corner is no cloth if it is smaller than this, mm²: it is rounding.
const LEAST_PART: f64 = 1.0;

impl Skin {
    /// The lines with the net line drawn in all round by `amount` mm. Each edge keeps the kind of
    /// the edge it came from.
    ///
    /// # Errors
    /// Nothing is left of it, or more than one part: what stands in the way, in words.
    pub(super) fn stepped_back(&self, amount: f64) -> Result<Skin, String> {
        if amount <= 0.0 {
            return Ok(self.clone());
        }
        let mut parts = inset(&self.net, amount);
        parts.retain(|r| r.area() >= LEAST_PART);
        let net = match &mut parts[..] {
            [] => return Err(self.nothing_left(amount)),
            [region] => std::mem::take(&mut region.outline),
            _ => return Err(self.falls_apart(amount, &parts)),
        };
        let middle = |i: usize| (net[i] + net[(i + 1) % net.len()]) * 0.5;
        let edges = (0..net.len()).map(|i| self.kind_nearest(middle(i))).collect();
        Ok(Skin { net, edges, ..self.clone() })
    }

    fn edge(&self, i: usize) -> [Point; 2] {
        [self.net[i], self.net[(i + 1) % self.net.len()]]
    }

    fn kind_nearest(&self, p: Point) -> EdgeKind {
        let distance = |i: usize| p.distance_to_segment(self.edge(i)[0], self.edge(i)[1]);
        let nearest = (0..self.net.len()).min_by(|&i, &j| distance(i).total_cmp(&distance(j)));
        nearest.and_then(|i| self.edges.get(i).copied()).unwrap_or(EdgeKind::Trim)
    }

    fn nothing_left(&self, amount: f64) -> String {
        let found = roomiest_point(&Region::solid(self.net.clone()));
        let place = found.map_or(String::new(), |(p, room)| {
            format!(
                ": at its roomiest place, ({:.1}, {:.1}), its edges are about {room:.0} mm away, and it is to go back by {amount} mm",
                p.x, p.y
            )
        });
        format!("leaves nothing of the patch{place}")
    }

    /// The neck that closes: of all pairs of edges with parts of what is left on both sides, the
    /// nearest.
    fn falls_apart(&self, amount: f64, parts: &[Region]) -> String {
        let n = self.net.len();
        let pairs =
            (0..n).flat_map(|i| (i + 2..n).map(move |j| (i, j))).filter(|&(i, j)| (j + 1) % n != i);
        let mut necks: Vec<(f64, usize, usize, Point, Point)> = pairs
            .map(|(i, j)| {
                let (p, q) = nearest_points(self.edge(i), self.edge(j));
                (p.distance(q), i, j, p, q)
            })
            .filter(|neck| neck.0 <= 2.0 * amount)
            .collect();
        // Of equal ones the sides of the neck, not a corner at its end.
        let shorter = |&(_, i, j, ..): &(f64, usize, usize, Point, Point)| {
            let length = |[a, b]: [Point; 2]| a.distance(b);
            length(self.edge(i)).min(length(self.edge(j)))
        };
        necks.sort_by(|a, b| {
            (a.0 * 1e3)
                .round()
                .total_cmp(&(b.0 * 1e3).round())
                .then(shorter(b).total_cmp(&shorter(a)))
        });
        let parts_the_rest = |&&(_, i, j, p, q): &&(f64, usize, usize, Point, Point)| {
            let side: Vec<Point> =
                [p].into_iter().chain(self.net[i + 1..=j].iter().copied()).chain([q]).collect();
            let here = parts
                .iter()
                .filter(|r| r.outline.first().is_some_and(|&p| ring_contains(&side, p)))
                .count();
            here > 0 && here < parts.len()
        };
        let words = |[a, b]: [Point; 2]| {
            format!("from ({:.1}, {:.1}) to ({:.1}, {:.1})", a.x, a.y, b.x, b.y)
        };
        let areas: Vec<String> = parts.iter().map(|r| format!("{:.0}", r.area())).collect();
        let neck = necks.iter().find(parts_the_rest).map_or(String::new(), |&(d, i, j, ..)| {
            let (first, second) = (words(self.edge(i)), words(self.edge(j)));
            format!(": its edge {first} is {d:.2} mm from its edge {second}, and {amount} mm are taken off each")
        });
        format!("falls into {} parts of {} mm²{neck}", parts.len(), areas.join(" and "))
    }
}

/// The nearest points of two stretches that do not cross.
fn nearest_points([a, b]: [Point; 2], [c, d]: [Point; 2]) -> (Point, Point) {
    let foot = |p: Point, a: Point, b: Point| {
        let along = b - a;
        a + along * ((p - a).dot(along) / along.dot(along).max(1e-12)).clamp(0.0, 1.0)
    };
    let pairs = [(a, foot(a, c, d)), (b, foot(b, c, d)), (foot(c, a, b), c), (foot(d, a, b), d)];
    pairs
        .into_iter()
        .min_by(|x, y| x.0.distance(x.1).total_cmp(&y.0.distance(y.1)))
        .unwrap_or((a, c))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::{point, ring_area};

    fn patch(net: Vec<Point>) -> Skin {
        let edges = vec![EdgeKind::Butt; net.len()];
        Skin {
            net,
            edges,
            holes: Vec::new(),
            cuts: Vec::new(),
            marks: Vec::new(),
            no_splice: Vec::new(),
        }
    }

    /// A dumbbell: two squares of 60 joined by a neck of 12.
    fn dumbbell() -> Skin {
        let half = [(0., -30.), (60., -30.), (60., -6.), (100., -6.), (100., -30.), (160., -30.)];
        let back = half.iter().rev().map(|&(x, y): &(f64, f64)| (x, -y));
        patch(half.iter().copied().chain(back).map(|(x, y)| point(x, y)).collect())
    }

    #[test]
    fn a_refusal_names_the_neck_that_closes_and_by_how_much() {
        assert!(
            (ring_area(&dumbbell().stepped_back(5.0).unwrap().net) - (2.0 * 2500.0 + 50.0 * 2.0))
                .abs()
                < 0.1
        );
        let why = dumbbell().stepped_back(7.0).unwrap_err();
        for words in [
            "2 parts of 2116 and 2116",
            "(60.0, -6.0) to (100.0, -6.0) is 12.00 mm from",
            "7 mm are taken off each",
        ] {
            assert!(why.contains(words), "{words:?} is not in {why:?}");
        }
        let why = dumbbell().stepped_back(31.0).unwrap_err();
        assert!(
            why.contains("leaves nothing")
                && why.contains("about 30 mm away")
                && why.contains("31 mm"),
            "{why}"
        );
    }
}
