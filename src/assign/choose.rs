//! Which of very many offcuts are worth looking at.

use crate::geometry::{Motion, point};
use crate::nest::Shape;
use std::collections::BTreeSet;

/// Offcuts kept for each shape: the smallest that may hold it.
const FOR_EACH: usize = 4;
/// The largest offcuts, kept until they have this many times the area of all shapes.
const AREA: f64 = 1.5;
/// Most offcuts in all.
const MOST: usize = 64;

/// An offcut by its sizes alone, mm and mm².
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Size {
    /// Along the warp.
    pub width: f64,
    /// Across it.
    pub height: f64,
    /// Without holes.
    pub area: f64,
}

/// Indices of the offcuts to plan from, rising: those that some shape may fit by its sizes; of very
/// many, for each shape the smallest that may hold it, and the largest. `sizes` in order of
/// preference: between equal ones the earlier is chosen. Then how many others may hold a shape.
pub fn choose(shapes: &[Shape], sizes: &[Size]) -> (Vec<usize>, usize) {
    // Every way a shape may lie by its box, with its area.
    let boxes: Vec<(f64, Vec<(f64, f64)>)> = shapes
        .iter()
        .map(|s| {
            let of = |p: &crate::nest::Pose| {
                Motion::new(p.turn, p.flip, point(0.0, 0.0)).region(&s.region).bounds()
            };
            let mut sides: Vec<(f64, f64)> =
                s.poses.iter().filter_map(of).map(|b| (b.width(), b.height())).collect();
            sides.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
            sides.dedup();
            (s.region.area(), sides)
        })
        .collect();
    let holds = |size: &Size, (area, sides): &(f64, Vec<(f64, f64)>)| {
        size.area >= *area && sides.iter().any(|(w, h)| size.width >= *w && size.height >= *h)
    };
    let mut order: Vec<usize> =
        (0..sizes.len()).filter(|&i| boxes.iter().any(|b| holds(&sizes[i], b))).collect();
    if order.len() <= MOST {
        return (order, 0);
    }
    order.sort_by(|&a, &b| sizes[a].area.total_cmp(&sizes[b].area).then(a.cmp(&b)));
    let mut kept = BTreeSet::new();
    let mut total: f64 =
        shapes.iter().map(|s| s.region.area() * f64::from(s.copies)).sum::<f64>() * AREA;
    for &i in order.iter().rev() {
        if total <= 0.0 || kept.len() >= MOST / 2 {
            break;
        }
        total -= sizes[i].area;
        kept.insert(i);
    }
    // The largest shapes first, in turns: they have the fewest offcuts to choose from.
    let mut ranked: Vec<&(f64, Vec<(f64, f64)>)> = boxes.iter().collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    for turn in 0..FOR_EACH {
        for shape in &ranked {
            if kept.len() >= MOST {
                break;
            }
            // An offcut of just a shape's area holds it only if it has its form.
            let roomy = |i: &&usize| {
                holds(&Size { area: sizes[**i].area / 1.1, ..sizes[**i] }, shape)
                    && !kept.contains(*i)
            };
            if let Some(&i) = order.iter().filter(roomy).nth(turn.min(1)) {
                kept.insert(i);
            }
        }
    }
    let passed_over = order.len() - kept.len();
    (kept.into_iter().collect(), passed_over)
}
