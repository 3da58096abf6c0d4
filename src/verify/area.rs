//! Area of what several regions have in common or cover together, by horizontal slabs.

use super::exact::Shape;
use crate::geometry::Point;

/// The area in mm² of the points for which `counts` holds; it is given, for each shape, whether the
/// point lies in it.
///
/// Method: between two neighbouring heights of corners and crossings all edges run straight and
/// keep their order, so that the width at half height times the height is the area. Rounded as
/// `f64` only.
pub(super) fn area_where(shapes: &[&Shape], counts: impl Fn(&[bool]) -> bool) -> f64 {
    let mut edges: Vec<(usize, Point, Point)> = Vec::new();
    for (k, shape) in shapes.iter().enumerate() {
        let upright = shape.edges().iter().filter(|e| e.a.y != e.b.y);
        edges.extend(upright.map(|e| {
            if e.a.y < e.b.y { (k, e.a.mm(), e.b.mm()) } else { (k, e.b.mm(), e.a.mm()) }
        }));
    }
    edges.sort_by(|a, b| a.1.y.total_cmp(&b.1.y));
    let mut heights: Vec<f64> = edges.iter().flat_map(|e| [e.1.y, e.2.y]).collect();
    for (i, &(k, a, b)) in edges.iter().enumerate() {
        for &(l, c, d) in edges[i + 1..].iter().take_while(|e| e.1.y < b.y) {
            let (u, v) = (b - a, d - c);
            let det = u.cross(v);
            if k != l && det != 0.0 {
                let (s, t) = ((c - a).cross(v) / det, (c - a).cross(u) / det);
                if (0.0..=1.0).contains(&s) && (0.0..=1.0).contains(&t) {
                    heights.push(a.y + u.y * s);
                }
            }
        }
    }
    heights.sort_by(f64::total_cmp);
    heights.dedup();
    let (mut total, mut next) = (0.0, 0);
    let mut active: Vec<(usize, Point, Point)> = Vec::new();
    for slab in heights.windows(2) {
        let middle = (slab[0] + slab[1]) / 2.0;
        while next < edges.len() && edges[next].1.y < middle {
            active.push(edges[next]);
            next += 1;
        }
        active.retain(|e| e.2.y > middle);
        let at = |a: Point, b: Point| a.x + (b.x - a.x) * ((middle - a.y) / (b.y - a.y));
        let mut crossings: Vec<(f64, usize)> =
            active.iter().map(|&(k, a, b)| (at(a, b), k)).collect();
        crossings.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut inside = vec![false; shapes.len()];
        let mut from = 0.0;
        for (x, k) in crossings {
            if counts(&inside) {
                total += (x - from) * (slab[1] - slab[0]);
            }
            inside[k] = !inside[k];
            from = x;
        }
    }
    total
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::verify::exact::P;

    #[test]
    fn two_crossing_squares_and_a_circle_cut_in_half() {
        let square =
            |x: i64, y: i64, s: i64| Shape::rectangle(P { x, y }, P { x: x + s, y: y + s });
        let (a, b) = (square(0, 0, 10_000), square(4_000, 7_000, 10_000));
        assert!((area_where(&[&a, &b], |i| i[0] && i[1]) - 18.0).abs() < 1e-9);
        assert!((area_where(&[&a, &b], |i| i[0] || i[1]) - 182.0).abs() < 1e-9);
        let ring = (0..360)
            .map(|i| f64::from(i).to_radians())
            .map(|t| P { x: (20_000.0 * t.cos()) as i64, y: (20_000.0 * t.sin()) as i64 });
        let circle = Shape::new(vec![ring.collect()]).expect("points");
        let half = Shape::rectangle(P { x: 0, y: -30_000 }, P { x: 30_000, y: 30_000 });
        let common = area_where(&[&circle, &half], |i| i[0] && i[1]);
        assert!((common - circle.area_mm2() / 2.0).abs() < 0.05, "{common}");
    }
}
