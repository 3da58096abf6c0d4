//! Where an over-wide ply is split, and into what.
//!
//! Splice lines run along the warp, or along the weft where the cloth may also lie a quarter
//! turned; never across the fibre of a unidirectional cloth. They are straight and parallel. Parts
//! are counted from the low side of the line up, which is also the laying order: the earlier part
//! ends on the splice line, the later part reaches the whole lap past it and lies over the earlier
//! one.
//!
//! Position: as few parts as can be; out of every no-splice zone; at least the stagger away, band
//! edge to band edge, from the splices that lie fewer than `plies_apart` plies away on the same
//! template and hand; then the shortest seam; of equals those that lie whole staggers apart, so
//! that later layers find room; of these the one nearest to equal parts. Splices that cross at
//! [`CROSSING`] degrees or more lie over each other in one spot only: allowed, and told.

use super::allowance::CLEARANCE;
use crate::cloth::Weave;
use crate::geometry::boolean::intersection;
use crate::geometry::clearance::with_clearance;
use crate::geometry::clip::line_in;
use crate::geometry::{Bounds, Motion, Path, Point, Region, Ring, point, ring_area, ring_bounds};
use crate::job::SpliceKind;
use crate::units::snap;

/// Splices that meet at this angle or more, degrees, cross instead of lying along each other
/// (common practice, no source).
const CROSSING: f64 = 30.0;

/// Distance of the lines tried, mm, unless the piece is very wide.
const STEP: f64 = 2.0;

/// The most lines tried.
const MOST_LINES: f64 = 1000.0;

/// No part is made narrower than this, mm, if it can be helped: slivers shift in the lay-up (common
/// practice, no source).
const LEAST_PART: f64 = 100.0;

/// A splice in several stretches makes more pieces to cut: each further stretch counts as this much
/// seam, mm.
const STRETCH: f64 = 100.0;

/// A distance short by no more than this is not short, mm.
const ROUNDING: f64 = 1e-6;

/// A ply is not split into more parts than this: something is wrong with its scale or the cloth's
/// width.
const MOST_PARTS: f64 = 26.0;

/// How many more parts than the fewest are tried when zones or stagger stand in the way.
const MORE_PARTS: usize = 2;

/// How the parts of a spliced ply of this weave meet, and their overlap, mm: woven cloth, mat and
/// stitched cloth are lapped, or butted where the job wants no lap; unidirectional cloth is butted
/// along its fibre; cores and films are butted.
pub fn splice_of(weave: Weave, lap: f64) -> (SpliceKind, f64) {
    use Weave::*;
    match weave {
        Unidirectional | None => (SpliceKind::Butt, 0.0),
        Plain | Twill22 | Twill44 | Twill21 | Twill31 | Satin | Biaxial45 | Mat if lap > 0.0 => {
            (SpliceKind::Lap, lap)
        }
        Plain | Twill22 | Twill44 | Twill21 | Twill31 | Satin | Biaxial45 | Mat => {
            (SpliceKind::Butt, 0.0)
        }
    }
}

/// The overlapped band of a splice, a rectangle: from the splice line's two ends to the edge of the
/// later part. Flat for a butt splice.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Band(pub [Point; 4]);

impl Band {
    pub fn moved(&self, motion: &Motion) -> Band {
        Band(self.0.map(|p| motion.apply(p)))
    }

    fn along(&self) -> f64 {
        (self.0[1] - self.0[0]).direction()
    }

    /// True if the two cross at a large angle instead of lying along each other.
    fn crosses_steeply(&self, other: &Band) -> bool {
        let between = (self.along() - other.along()).rem_euclid(180.0);
        between.min(180.0 - between) >= CROSSING
    }

    /// Distance between the two bands, mm; 0 if they meet.
    pub fn distance(&self, other: &Band) -> f64 {
        let sides =
            |b: &Band| [(b.0[0], b.0[1]), (b.0[1], b.0[2]), (b.0[2], b.0[3]), (b.0[3], b.0[0])];
        let within = |p: Point, b: &Band| {
            let (along, across) = (b.0[1] - b.0[0], b.0[3] - b.0[0]);
            let share = |axis: Point| (p - b.0[0]).dot(axis) / axis.dot(axis).max(1e-12);
            (0.0..=1.0).contains(&share(along))
                && (0.0..=1.0).contains(&share(across))
                && across.length() > 1e-9
        };
        if within(other.0[0], self) || within(self.0[0], other) {
            return 0.0;
        }
        let mut least = f64::INFINITY;
        for (a, b) in sides(self) {
            for (c, d) in sides(other) {
                let side = |p: Point, q: Point, r: Point| (q - p).cross(r - p);
                if side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0 {
                    return 0.0;
                }
                least = least.min(a.distance_to_segment(c, d)).min(c.distance_to_segment(a, b));
            }
        }
        least
    }

    /// The splice line itself.
    pub fn line(&self) -> Path {
        vec![self.0[0], self.0[1]]
    }
}

/// What a ply is to be split by, all in its cloth frame.
pub(super) struct SpliceTask<'a> {
    /// The ply with its allowances.
    pub region: &'a Region,
    /// Zones to keep out of.
    pub zones: &'a [Ring],
    /// Splices to keep away from.
    pub others: &'a [Band],
    /// Room between the selvedges, mm.
    pub width: f64,
    /// Overlap, mm; 0 for a butt splice.
    pub lap: f64,
    /// Least distance from `others`, mm.
    pub stagger: f64,
    /// The turns after which splice lines may run along x: 0, or 0 and 90.
    pub turns: &'a [f64],
}

/// A way to split a ply, in its cloth frame.
pub(super) struct Split {
    /// The parts in laying order.
    pub parts: Vec<SplitPart>,
    /// The splices, low side first.
    pub bands: Vec<Band>,
}

/// One part of a split ply.
pub(super) struct SplitPart {
    /// Cut line and holes.
    pub region: Region,
    /// Lines to mark on it: where the next part's edge will lie, and the splice line where it
    /// overlaps the part before.
    pub marks: Vec<Path>,
}

/// Why a ply cannot be split.
#[derive(Debug, PartialEq)]
pub(super) enum NoSplit {
    /// The lap leaves too little of the usable width, or it would take too many parts.
    Narrow,
    /// No line keeps out of the no-splice zones.
    Zones,
    /// Every line comes nearer to an earlier splice than the stagger; this much could be kept, mm.
    Stagger(f64),
}

/// The best way to split a ply.
pub(super) fn split(task: &SpliceTask) -> Result<Split, NoSplit> {
    match best_over_turns(task, task.stagger) {
        Some((turn, lines)) => Ok(carry_out(task, turn, &lines)),
        None if best_over_turns(&SpliceTask { zones: &[], ..*task }, 0.0).is_none() => {
            Err(NoSplit::Narrow)
        }
        None if best_over_turns(task, 0.0).is_none() => Err(NoSplit::Zones),
        None => {
            // Bisect for the largest stagger that can be kept, to whole mm.
            let (mut can, mut cannot) = (0.0, task.stagger);
            while cannot - can > 1.0 {
                let middle = (can + cannot) / 2.0;
                if best_over_turns(task, middle).is_some() { can = middle } else { cannot = middle }
            }
            Err(NoSplit::Stagger(can.floor()))
        }
    }
}

/// The turn and the heights of its lines with the fewest parts, then the shortest seams.
fn best_over_turns(task: &SpliceTask, stagger: f64) -> Option<(f64, Vec<f64>)> {
    let mut best: Option<(usize, f64, f64, Vec<f64>)> = None;
    for &turn in task.turns {
        if let Some((cost, lines)) = best_lines(task, turn, stagger)
            && best.as_ref().is_none_or(|b| (lines.len(), cost) < (b.0, b.1))
        {
            best = Some((lines.len(), cost, turn, lines));
        }
    }
    best.map(|(_, _, turn, lines)| (turn, lines))
}

/// A line that may be a splice.
struct Candidate {
    y: f64,
    /// Length of the seam, mm, stretches counted.
    seam: f64,
    /// It lies a whole number of staggers from the end of its range.
    in_step: bool,
}

fn best_lines(task: &SpliceTask, turn: f64, stagger: f64) -> Option<(f64, Vec<f64>)> {
    let motion = Motion::turn(turn);
    let region = motion.region(task.region);
    let bounds = region.bounds()?;
    let (low, height) = (bounds.min.y, bounds.height());
    let usable = task.width - task.lap;
    if usable <= 0.0 {
        return None;
    }
    let fewest = libm::ceil((height - task.lap) / usable - 1e-9).max(2.0);
    if fewest > MOST_PARTS {
        return None;
    }
    let fewest = fewest as usize;

    let zones: Vec<Bounds> =
        task.zones.iter().filter_map(|z| ring_bounds(&motion.ring(z))).collect();
    let others: Vec<Band> = task.others.iter().map(|b| b.moved(&motion)).collect();
    let step = f64::max(STEP, height / MOST_LINES);
    let mut heights: Vec<f64> =
        (1..).map(|i| low + f64::from(i) * step).take_while(|y| *y < bounds.max.y).collect();
    // The lines of equal parts, those that just clear a zone or an earlier splice, and those that
    // just fill the width.
    heights.extend((1..fewest).map(|k| low + height * k as f64 / fewest as f64));
    heights.extend(zones.iter().flat_map(|z| [z.min.y, z.max.y + task.lap]));
    for band in &others {
        let ys = band.0.map(|p| p.y);
        let (lowest, highest) =
            ys.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(*y), h.max(*y)));
        heights.extend([lowest - stagger, highest + stagger + task.lap]);
    }
    heights.extend([low + task.width, bounds.max.y - usable]);
    let in_step = heights_in_step(task, &bounds, fewest, stagger);
    heights.extend(&in_step);
    heights.iter_mut().for_each(|y| *y = snap(*y));
    heights.sort_by(f64::total_cmp);
    heights.dedup();
    let candidates: Vec<Candidate> = heights
        .into_iter()
        .filter(|&y| {
            y > low
                && y < bounds.max.y
                && zones.iter().all(|z| y <= z.min.y || y - task.lap >= z.max.y)
        })
        .filter_map(|y| {
            let band = band_at(&region, y, task.lap)?;
            if others
                .iter()
                .any(|o| !band.crosses_steeply(o) && band.distance(o) < stagger - ROUNDING)
            {
                return None;
            }
            let seam: f64 = line_in(point(0.0, y), point(1.0, 0.0), &region)
                .iter()
                .map(|s| s[1] - s[0] + STRETCH)
                .sum();
            Some(Candidate { y, seam, in_step: in_step.contains(&y) })
        })
        .collect();
    (fewest..=fewest + MORE_PARTS).find_map(|parts| fewest_seams(&candidates, parts, &bounds, task))
}

/// Heights that lie whole staggers from the low end of the range in which each of the fewest
/// splices may lie. Splices of one direction that keep to them leave room for as many more as can
/// be.
fn heights_in_step(task: &SpliceTask, bounds: &Bounds, parts: usize, stagger: f64) -> Vec<f64> {
    let pitch = stagger + task.lap;
    let usable = task.width - task.lap;
    let mut heights = Vec::new();
    if pitch < STEP {
        return heights;
    }
    for seam in 1..parts {
        let lowest = bounds.max.y - usable * (parts - seam) as f64;
        let highest = bounds.min.y + task.width + usable * (seam - 1) as f64;
        let steps = ((highest - lowest) / pitch).clamp(0.0, MOST_LINES / parts as f64) as u32;
        heights.extend((0..=steps).map(|k| snap(lowest + pitch * f64::from(k))));
    }
    heights
}

/// The cheapest heights for `parts` parts, by dynamic programming over the candidates.
fn fewest_seams(
    candidates: &[Candidate],
    parts: usize,
    bounds: &Bounds,
    task: &SpliceTask,
) -> Option<(f64, Vec<f64>)> {
    let (low, high) = (bounds.min.y, bounds.max.y);
    let even = bounds.height() / parts as f64;
    let least = LEAST_PART.min(even / 2.0);
    let fits = |from: f64, to: f64, lap: f64| {
        to - from >= least && to - from + lap <= task.width + ROUNDING
    };
    // Seams to whole mm first: a hair's breadth of seam is not worth a lopsided split. Then in
    // step, then evenness.
    let share =
        |c: &Candidate, seam: usize| (c.y - low - even * seam as f64).abs() / bounds.height();
    let cost = |c: &Candidate, seam: usize| {
        c.seam.round() + if c.in_step { 0.0 } else { 0.5 } + 0.4 * share(c, seam)
    };
    let mut reached: Vec<Vec<Option<(f64, usize)>>> = Vec::with_capacity(parts - 1);
    for seam in 1..parts {
        let row = candidates.iter().enumerate().map(|(k, c)| {
            let before = match reached.last() {
                None => fits(low, c.y, 0.0).then_some((0.0, 0)),
                Some(row) => (0..k)
                    .rev()
                    .take_while(|&p| c.y - candidates[p].y + task.lap <= task.width + ROUNDING)
                    .filter(|&p| c.y - candidates[p].y >= least)
                    .filter_map(|p| row[p].map(|(cost, _)| (cost, p)))
                    .min_by(|a, b| a.0.total_cmp(&b.0)),
            };
            before.map(|(so_far, p)| (so_far + cost(c, seam), p))
        });
        let row = row.collect();
        reached.push(row);
    }
    let last = reached.last()?;
    let ends = (0..candidates.len()).filter(|&k| fits(candidates[k].y, high, task.lap));
    let (total, mut at) = ends
        .filter_map(|k| last[k].map(|(cost, _)| (cost, k)))
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    let mut lines = Vec::with_capacity(parts - 1);
    for row in reached.iter().rev() {
        lines.push(candidates[at].y);
        at = row[at].map_or(0, |(_, p)| p);
    }
    lines.reverse();
    Some((total, lines))
}

/// The band of a splice at height `y`: as long as the region is along either of its edges.
fn band_at(region: &Region, y: f64, lap: f64) -> Option<Band> {
    let stretches: Vec<[f64; 2]> = [y, y - lap]
        .iter()
        .flat_map(|y| line_in(point(0.0, *y), point(1.0, 0.0), region))
        .collect();
    let from = stretches.iter().map(|s| s[0]).min_by(f64::total_cmp)?;
    let to = stretches.iter().map(|s| s[1]).max_by(f64::total_cmp)?;
    Some(Band([point(from, y), point(to, y), point(to, y - lap), point(from, y - lap)]))
}

/// Cuts the ply along the lines (heights after `turn`) and turns the parts back.
fn carry_out(task: &SpliceTask, turn: f64, lines: &[f64]) -> Split {
    let (motion, back) = (Motion::turn(turn), Motion::turn(-turn));
    let region = motion.region(task.region);
    let (mut parts, mut bands) = (Vec::new(), Vec::new());
    let Some(bounds) = region.bounds() else {
        return Split { parts, bands };
    };
    let (left, right) = (bounds.min.x - 1.0, bounds.max.x + 1.0);
    for slab in 0..=lines.len() {
        let splice_below = slab.checked_sub(1).and_then(|i| lines.get(i)).copied();
        let splice_above = lines.get(slab).copied();
        let from = splice_below.map_or(bounds.min.y - 1.0, |y| y - task.lap);
        let to = splice_above.unwrap_or(bounds.max.y + 1.0);
        let window: Ring =
            vec![point(left, from), point(right, from), point(right, to), point(left, to)];
        let mut pieces = with_clearance(intersection(region.rings(), [&window]), CLEARANCE);
        // Less than this is rounding, not cloth; and a tip of the ply that ends within the lap is
        // covered by the part before.
        let ends_in_lap = |p: &Region| {
            splice_below.is_some_and(|y| p.bounds().is_some_and(|b| b.max.y <= y + 0.001))
        };
        pieces.retain(|p| p.area() > 1.0 && !ends_in_lap(p));
        pieces.iter_mut().for_each(|p| p.holes.retain(|h| ring_area(h) < -1.0));
        pieces.sort_by(|a, b| {
            let left = |r: &Region| r.bounds().map_or(0.0, |b| b.min.x);
            left(a).total_cmp(&left(b))
        });
        for piece in pieces {
            // A butt splice needs no line: the edges are the line.
            let lapped = task.lap > 0.0;
            let marked = [splice_below, splice_above.map(|y| y - task.lap)]
                .into_iter()
                .flatten()
                .filter(|_| lapped);
            let marks = marked
                .flat_map(|y| {
                    line_in(point(0.0, y), point(1.0, 0.0), &piece)
                        .into_iter()
                        .map(move |s| vec![point(s[0], y), point(s[1], y)])
                })
                .map(|line| back.path(&line))
                .collect();
            parts.push(SplitPart { region: back.region(&piece), marks });
        }
        if let Some(y) = splice_above {
            bands.extend(band_at(&region, y, task.lap).map(|b| b.moved(&back)));
        }
    }
    Split { parts, bands }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn rectangle(w: f64, h: f64) -> Region {
        Region::solid(vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)])
    }

    fn task(region: &Region) -> SpliceTask<'_> {
        SpliceTask {
            region,
            zones: &[],
            others: &[],
            width: 1230.0,
            lap: 25.0,
            stagger: 50.0,
            turns: &[0.0],
        }
    }

    fn heights(split: &Split) -> Vec<f64> {
        split.bands.iter().map(|b| b.0[0].y).collect()
    }

    #[test]
    fn the_fewest_parts_cover_the_ply_and_overlap_by_the_lap() {
        let region = rectangle(800.0, 3000.0);
        let split = split(&task(&region)).unwrap();
        assert_eq!(split.parts.len(), 3);
        let total: f64 = split.parts.iter().map(|p| p.region.area()).sum();
        assert!((total - (region.area() + 2.0 * 25.0 * 800.0)).abs() < 1e-6);
        assert!(split.parts.iter().all(|p| p.region.bounds().unwrap().height() <= 1230.0));
        // Whole staggers (50, and the lap) from 590 and 1795, the lowest they may lie; of those the
        // nearest to thirds.
        assert_eq!(heights(&split), vec![965.0, 2020.0]);
        // The later part carries the lap; each side of the lap is told on the other part.
        assert_eq!(split.parts[0].region.bounds().unwrap().max.y, 965.0);
        assert_eq!(split.parts[1].region.bounds().unwrap().min.y, 940.0);
        assert_eq!(split.parts[0].marks, vec![vec![point(0.0, 940.0), point(800.0, 940.0)]]);
        assert_eq!(split.parts[1].marks[0], vec![point(0.0, 965.0), point(800.0, 965.0)]);
    }

    #[test]
    fn short_seams_are_preferred() {
        // An hourglass: 400 wide at its waist, which is not in the middle.
        let region = Region::solid(vec![
            point(0.0, 0.0),
            point(1000.0, 0.0),
            point(700.0, 600.0),
            point(1000.0, 1500.0),
            point(0.0, 1500.0),
            point(300.0, 600.0),
        ]);
        assert_eq!(heights(&split(&task(&region)).unwrap()), vec![600.0]);
    }

    #[test]
    fn zones_and_earlier_splices_are_kept_clear_of() {
        let region = rectangle(800.0, 1500.0);
        let zone = vec![
            point(100.0, 700.0),
            point(200.0, 700.0),
            point(200.0, 800.0),
            point(100.0, 800.0),
        ];
        let zones = [zone];
        // Whole staggers from 295, the lowest it may lie, and clear of the zone with its lap: 670
        // is nearest to the middle.
        let free = split(&SpliceTask { zones: &zones, ..task(&region) }).unwrap();
        assert_eq!(heights(&free), vec![670.0]);
        let others = free.bands;
        let next = split(&SpliceTask { zones: &zones, others: &others, ..task(&region) }).unwrap();
        assert_eq!(heights(&next), vec![895.0]);
        // Without the zone the second keeps its stagger edge to edge: 670 + 50 + 25.
        let near = split(&SpliceTask { others: &others, ..task(&region) }).unwrap();
        assert_eq!(heights(&near), vec![745.0]);
        assert!((near.bands[0].distance(&others[0]) - 50.0).abs() < 1e-9);
    }

    #[test]
    fn as_many_layers_as_can_be_are_staggered_without_a_further_part() {
        // The splice may lie from 1045 to 1230: room for three bands of 25 with 50 between them.
        let region = rectangle(800.0, 2250.0);
        let mut others: Vec<Band> = Vec::new();
        for _ in 0..3 {
            let next = split(&SpliceTask { others: &others, ..task(&region) }).unwrap();
            assert_eq!(next.parts.len(), 2);
            others.extend(next.bands);
        }
        let mut found: Vec<f64> = others.iter().map(|b| b.0[0].y).collect();
        found.sort_by(f64::total_cmp);
        assert_eq!(found, vec![1045.0, 1120.0, 1195.0]);
    }

    #[test]
    fn what_stands_in_the_way_is_named() {
        let region = rectangle(800.0, 1500.0);
        let zone = [vec![
            point(0.0, 100.0),
            point(800.0, 100.0),
            point(800.0, 1400.0),
            point(0.0, 1400.0),
        ]];
        assert_eq!(
            split(&SpliceTask { zones: &zone, ..task(&region) }).err(),
            Some(NoSplit::Zones)
        );
        assert_eq!(
            split(&SpliceTask { width: 20.0, ..task(&region) }).err(),
            Some(NoSplit::Narrow)
        );
        let other = [Band([
            point(0.0, 750.0),
            point(800.0, 750.0),
            point(800.0, 725.0),
            point(0.0, 725.0),
        ])];
        let Err(NoSplit::Stagger(can)) =
            split(&SpliceTask { others: &other, stagger: 800.0, ..task(&region) })
        else {
            panic!()
        };
        assert!((500.0..=700.0).contains(&can), "{can}");
    }

    #[test]
    fn steep_crossings_do_not_count_as_coincident() {
        let region = rectangle(800.0, 1500.0);
        let upright = [Band([
            point(400.0, 0.0),
            point(400.0, 1500.0),
            point(375.0, 1500.0),
            point(375.0, 0.0),
        ])];
        assert_eq!(
            heights(&split(&SpliceTask { others: &upright, ..task(&region) }).unwrap()),
            vec![745.0]
        );
    }

    #[test]
    fn a_cloth_that_may_be_quarter_turned_is_spliced_the_shorter_way() {
        let region = rectangle(3000.0, 1300.0);
        assert_eq!(split(&task(&region)).unwrap().parts.len(), 2);
        // 1500 x 2400: one seam of 2400 along the weft instead of one of 1500 along the warp would
        // be longer.
        let region = rectangle(1500.0, 2400.0);
        let found = split(&SpliceTask { turns: &[0.0, 90.0], ..task(&region) }).unwrap();
        assert!((found.bands[0].line()[0].y - found.bands[0].line()[1].y).abs() < 1e-9);
        let region = rectangle(2400.0, 1500.0);
        let found = split(&SpliceTask { turns: &[0.0, 90.0], ..task(&region) }).unwrap();
        assert!((found.bands[0].line()[0].x - found.bands[0].line()[1].x).abs() < 1e-9);
    }
}
