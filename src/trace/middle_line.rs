//! The middle of a stroke of ink.

use super::mask::Mask;
use super::ring::simplified_line;
use crate::geometry::{Path, Point, point};

/// The longest way through connected pixels of a mask, of so many mm each, moved to the middle of
/// the pen's stroke; `plane` tells where a pixel of the flat picture lies.
pub(super) fn middle_line(
    pixels: &[(u32, u32)],
    mask: &Mask,
    mm: f64,
    plane: impl Fn(Point) -> Point,
) -> Option<Path> {
    let (left, right) = pixels.iter().fold((u32::MAX, 0), |b, p| (b.0.min(p.0), b.1.max(p.0)));
    let (top, bottom) = pixels.iter().fold((u32::MAX, 0), |b, p| (b.0.min(p.1), b.1.max(p.1)));
    let (w, h) = ((right - left + 1) as usize, (bottom - top + 1) as usize);
    let at = |p: (u32, u32)| (p.1 - top) as usize * w + (p.0 - left) as usize;
    let mut there = vec![false; w * h];
    pixels.iter().for_each(|&p| there[at(p)] = true);
    let steps = |from: usize| -> (usize, Vec<usize>) {
        let mut before = vec![usize::MAX; w * h];
        before[from] = from;
        let mut queue = std::collections::VecDeque::from([from]);
        let mut last = from;
        while let Some(i) = queue.pop_front() {
            last = i;
            let (x, y) = (i % w, i / w);
            for (dx, dy) in
                [(-1i64, 0i64), (1, 0), (0, -1), (0, 1), (-1, -1), (-1, 1), (1, -1), (1, 1)]
            {
                let (u, v) = (x as i64 + dx, y as i64 + dy);
                if u >= 0 && v >= 0 && (u as usize) < w && (v as usize) < h {
                    let j = v as usize * w + u as usize;
                    if there[j] && before[j] == usize::MAX {
                        before[j] = i;
                        queue.push_back(j);
                    }
                }
            }
        }
        (last, before)
    };
    let (one, _) = steps(at(*pixels.first()?));
    let (other, before) = steps(one);
    let mut way = vec![other];
    while let Some(&i) = way.last() {
        if i == one || before[i] == usize::MAX {
            break;
        }
        way.push(before[i]);
    }
    let length = way.len() as f64;
    let pen = (pixels.len() as f64 / length).max(2.0);
    let reach = (0.8 * pen).ceil() as i64;
    let centred = |i: usize| {
        let (x, y) = ((i % w) as i64, (i / w) as i64);
        let (mut sum, mut count) = (point(0.0, 0.0), 0.0);
        for v in (y - reach).max(0)..=(y + reach).min(h as i64 - 1) {
            for u in (x - reach).max(0)..=(x + reach).min(w as i64 - 1) {
                if there[v as usize * w + u as usize]
                    && (u - x).pow(2) + (v - y).pow(2) <= reach * reach
                {
                    sum = sum + point(u as f64, v as f64);
                    count += 1.0;
                }
            }
        }
        sum * (1.0 / f64::max(count, 1.0))
    };
    let corner = point(f64::from(left + mask.x), f64::from(top + mask.y));
    let step = ((2.0 / mm) as usize).max(1);
    let mut points: Vec<usize> = way.iter().copied().step_by(step).collect();
    if points.last() != way.last() {
        points.extend(way.last());
    }
    let line: Path = points.into_iter().map(|i| plane(centred(i) + corner)).collect();
    let line = simplified_line(&line, 0.3);
    (line.len() > 1).then_some(line)
}
