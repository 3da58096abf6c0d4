//! The least length of a few rectangles, by an exact search of a simpler question.
//!
//! Across the strip each rectangle takes its height wherever it lies, as a job takes men: what is
//! asked is when the last job ends if there are never more men at work than there are. Every layout
//! answers that, so that no layout is shorter. Rectangles a gap apart are grown by the gap along or
//! across the strip, or by its `1/√2` both ways: nearer than that both ways they were nearer than
//! the gap.

use super::problem::Shape;
use crate::geometry::{Motion, Point, point};
use std::collections::HashMap;

/// More rectangles are not asked about.
const MOST: usize = 11;
/// Steps of a search before its answer is given up, and of all of them for one kind of growth.
const STEPS: u32 = 50_000;
const ALL_STEPS: u32 = 150_000;
/// What a corner may be off its place, mm.
const OFF: f64 = 0.005;
/// The bound is found to this share of the length.
const NEAR: f64 = 0.0002;

/// A lower bound on the length of a strip `height` high that holds all shapes, mm, if all of them
/// are rectangles in each of their poses and no more than eleven; `from` is a bound known before.
pub(super) fn least_length(shapes: &[&Shape], height: f64, gap: f64, from: f64) -> Option<f64> {
    let count: u64 = shapes.iter().map(|s| u64::from(s.copies)).sum();
    if count == 0 || count > MOST as u64 {
        return None;
    }
    let sizes: Vec<Vec<[f64; 2]>> =
        shapes.iter().map(|s| poses(s, height)).collect::<Option<_>>()?;
    let both = gap * std::f64::consts::FRAC_1_SQRT_2;
    let grown = [[gap, 0.0], [0.0, gap], [both, both]];
    let ways = if gap > 0.0 { &grown[..] } else { &grown[..1] };
    ways.iter()
        .map(|&[along, across]| {
            let grown = |s: &[f64; 2]| [down(s[0] + along), down(s[1] + across)];
            let mut plates: Vec<Vec<[i64; 2]>> = shapes
                .iter()
                .zip(&sizes)
                .flat_map(|(s, sizes)| {
                    let modes: Vec<[i64; 2]> = sizes.iter().map(grown).collect();
                    std::iter::repeat_n(modes, s.copies as usize)
                })
                .collect();
            // The largest first.
            plates.sort_by_key(|p| std::cmp::Reverse(p[0][0] * p[0][1]));
            let bound = Strip { plates, height: up(height + across) }.least(down(from + along));
            bound as f64 / 1000.0 - along
        })
        .reduce(f64::max)
}

/// Length and height of a rectangle in each pose that fits; `None` if it is none.
fn poses(shape: &Shape, height: f64) -> Option<Vec<[f64; 2]>> {
    if shape.tolerance > 0.0 || !shape.region.holes.is_empty() {
        return None;
    }
    let mut out: Vec<[f64; 2]> = Vec::new();
    for pose in &shape.poses {
        let laid = Motion::new(pose.turn, pose.flip, point(0.0, 0.0)).region(&shape.region);
        let b = laid.bounds()?;
        if !is_box(&laid.outline, &b.ring()) {
            return None;
        }
        let size = [b.width(), b.height()];
        let known = |o: &[f64; 2]| (o[0] - size[0]).abs() + (o[1] - size[1]).abs() < 1e-6;
        if size[1] <= height + 1e-3 && !out.iter().any(known) {
            out.push(size);
        }
    }
    (!out.is_empty()).then_some(out)
}

/// True if all corners of an outline lie on its box's sides, and one on each corner of the box.
fn is_box(outline: &[Point], bounds: &[Point]) -> bool {
    let on_a_side = |p: &Point| {
        let near = |c: &Point| (c.x - p.x).abs() <= OFF || (c.y - p.y).abs() <= OFF;
        bounds.iter().any(near)
    };
    let at_corner = |c: &Point| outline.iter().any(|&p| (p - *c).length() <= OFF);
    outline.iter().all(on_a_side) && bounds.iter().all(at_corner)
}

/// µm, a little less than it is, so that no rounding makes the bound too long.
fn down(mm: f64) -> i64 {
    ((mm - 2.0 * OFF) * 1000.0).floor().max(1.0) as i64
}

fn up(mm: f64) -> i64 {
    (mm * 1000.0).ceil() as i64
}

/// Rectangles, each with its ways to lie, on a strip; µm.
struct Strip {
    plates: Vec<Vec<[i64; 2]>>,
    height: i64,
}

/// What a search has come to.
struct Search<'a> {
    strip: &'a Strip,
    length: i64,
    steps: u32,
    /// For what is left and how what lies there ends: the least place it was come to.
    seen: HashMap<(u16, Vec<[i64; 2]>), i64>,
}

impl Strip {
    /// The greatest length that is known not to do, and a little more, not under `from`.
    fn least(&self, from: i64) -> i64 {
        let all = (1_u16 << self.plates.len()) - 1;
        let lengths = self.plates.iter().map(|p| p.iter().map(|m| m[0]).max().unwrap_or(0));
        let (mut low, mut high) = (from, lengths.sum::<i64>().max(from));
        let mut left = ALL_STEPS;
        while (high - low) as f64 > NEAR * high as f64 {
            let length = low + (high - low) / 2;
            let steps = STEPS.min(left);
            let mut search = Search { strip: self, length, steps, seen: HashMap::new() };
            let found = search.fits(0, all, 0, &mut Vec::new());
            left -= steps - search.steps;
            match found {
                Some(false) => low = length + 1,
                // Given up: what is longer is not asked, though it might be known.
                Some(true) | None => high = length,
            }
        }
        low
    }

    /// The least area of what is left.
    fn area(&self, left: u16) -> i64 {
        self.left(left).map(|p| p.iter().map(|m| m[0] * m[1]).min().unwrap_or(0)).sum()
    }

    fn left(&self, left: u16) -> impl Iterator<Item = &Vec<[i64; 2]>> {
        self.plates.iter().enumerate().filter(move |(k, _)| left >> k & 1 == 1).map(|(_, p)| p)
    }
}

impl Search<'_> {
    /// Whether what is `left` fits within the length, with what lies at `at` and reaches beyond it
    /// (`active`: end and height); those from `next` on may still begin there. `None`: given up.
    fn fits(
        &mut self,
        at: i64,
        left: u16,
        next: usize,
        active: &mut Vec<[i64; 2]>,
    ) -> Option<bool> {
        if left == 0 {
            return Some(true);
        }
        self.steps = self.steps.checked_sub(1)?;
        let free = self.strip.height - active.iter().map(|a| a[1]).sum::<i64>();
        let mut given_up = false;
        for k in (next..self.strip.plates.len()).filter(|k| left >> k & 1 == 1) {
            // Of equal ones the first goes first.
            let same = |j: &usize| self.strip.plates[*j] == self.strip.plates[k];
            if (0..k).filter(|j| left >> j & 1 == 1).any(|j| same(&j)) {
                continue;
            }
            for mode in 0..self.strip.plates[k].len() {
                let [length, height] = self.strip.plates[k][mode];
                if height > free || at + length > self.length {
                    continue;
                }
                active.push([at + length, height]);
                let found = self.fits(at, left & !(1 << k), k + 1, active);
                active.pop();
                match found {
                    Some(true) => return Some(true),
                    Some(false) => {}
                    None => given_up = true,
                }
                if self.steps == 0 {
                    return None;
                }
            }
        }
        let found = self.later(at, free, left, active);
        if found == Some(false) && given_up { None } else { found }
    }

    /// The same where nothing more begins at `at`.
    fn later(&mut self, at: i64, free: i64, left: u16, active: &[[i64; 2]]) -> Option<bool> {
        let Some(then) = active.iter().map(|a| a[0]).min() else { return Some(false) };
        // What could lie whole before the next one ends may as well lie there.
        let wasted = |p: &Vec<[i64; 2]>| p.iter().any(|m| m[1] <= free && at + m[0] <= then);
        if self.strip.left(left).any(wasted) {
            return Some(false);
        }
        let mut active: Vec<[i64; 2]> = active.iter().filter(|a| a[0] > then).copied().collect();
        active.sort_unstable();
        let rest: i64 = active.iter().map(|a| (a[0] - then) * a[1]).sum();
        let longest = self
            .strip
            .left(left)
            .map(|p| p.iter().map(|m| m[0]).min().unwrap_or(0))
            .max()
            .unwrap_or(0);
        // More than half as high as the strip whichever way they lie, they lie one after another.
        let high = |p: &&Vec<[i64; 2]>| p.iter().all(|m| 2 * m[1] > self.strip.height);
        let in_row: i64 = self
            .strip
            .left(left)
            .filter(high)
            .map(|p| p.iter().map(|m| m[0]).min().unwrap_or(0))
            .sum();
        let room = self.length - then;
        if self.strip.area(left) + rest > room * self.strip.height || longest.max(in_row) > room {
            return Some(false);
        }
        let key = (left, active.iter().map(|a| [a[0] - then, a[1]]).collect::<Vec<_>>());
        match self.seen.get(&key) {
            Some(&before) if before <= then => return Some(false),
            _ => self.seen.insert(key, then),
        };
        self.fits(then, left, 0, &mut active)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(height: i64, plates: &[&[[i64; 2]]]) -> Strip {
        Strip { plates: plates.iter().map(|p| p.to_vec()).collect(), height }
    }

    #[test]
    fn what_cannot_lie_side_by_side_lies_one_after_another() {
        // Three of 60 and two of 40 on 100: one of 40 beside each of two of 60.
        let s = strip(100, &[&[[500, 60]], &[[500, 60]], &[[500, 60]], &[[500, 40]], &[[500, 40]]]);
        assert!((1499..=1501).contains(&s.least(0)), "{}", s.least(0));
        // Area asks for 1.2 lengths.
        let s = strip(100, &[&[[500, 51]], &[[500, 51]]]);
        assert!((999..=1001).contains(&s.least(0)));
    }

    #[test]
    fn a_turn_is_taken_where_it_is_shorter() {
        let s = strip(100, &[&[[900, 30], [30, 900]], &[[300, 70], [70, 300]]]);
        assert!((899..=901).contains(&s.least(0)), "{}", s.least(0));
        let s = strip(1000, &[&[[900, 30], [30, 900]], &[[300, 70], [70, 300]]]);
        assert!((99..=101).contains(&s.least(0)), "{}", s.least(0));
    }
}
