//! The problem made ready for the search: whole micrometres, all stocks side by side in one plane,
//! shapes as kinds with stances.
//!
//! The open strip keeps its own x; fixed stocks lie left of it, far enough apart that nothing in
//! one can touch anything in another. So one plane holds everything and only the bounds of a
//! position depend on the bin it is in.

use super::convex::{Frame, Vertex, clearance_margin, edges, twice_area, vertex};
use super::form::{Base, Bases, Rings, Stance, grid_rings, stances};
use super::lattice::Lattice;
use super::problem::{Extent, Pose, Problem};
use crate::geometry::Region;
use crate::units::{GRID_PER_MM, micrometres};
use std::collections::BTreeMap;

/// More pieces than this are not placed in one search.
const MOST_ITEMS: usize = 20_000;
/// With more bases than this, shapes are turned over only if they fit nowhere else, and of turns
/// other than quarters few are tried.
const CROWD: usize = 96;
/// No shape is larger, µm: exact products stay within 64 bits.
const LARGEST: i64 = 100_000_000;
/// Of many turns or stocks so many are named in a message.
const SAID: usize = 4;
/// Up to this many items the window is the whole layout.
pub(super) const WHOLE: usize = 150;
/// Stands for "no end".
pub(super) const ENDLESS: i64 = 1 << 50;

/// One copy of one shape.
#[derive(Clone, Copy, Debug)]
pub(super) struct Item {
    pub copy: u32,
    /// Index of its shape, and of its [`Kind`].
    pub kind: usize,
}

/// A shape's stances and where they fit.
#[derive(Clone, Debug, Default)]
pub(super) struct Kind {
    pub stances: Vec<Stance>,
    /// For each bin, the stances that fit into its bounds.
    pub fits: Vec<Vec<u16>>,
    pub area: f64,
    /// Greatest side of its box in any stance.
    pub extent: f64,
    pub may_cross: bool,
}

/// Something of the stock in the way: a flaw, a hole, the outside of an irregular stock.
#[derive(Clone, Copy, Debug)]
pub(super) struct Block {
    pub base: u32,
    pub quarter: u8,
    pub at: Vertex,
}

/// A stock in the common plane.
#[derive(Clone, Debug)]
pub(super) struct Bin {
    /// Index into the problem's stocks; none for the overflow strip of a problem without an open
    /// one.
    pub stock: Option<usize>,
    /// Its bounds; an open strip ends at [`ENDLESS`].
    pub frame: Frame,
    /// Added to the stock's own x.
    pub shift: i64,
    pub blocks: Vec<Block>,
}

/// Everything the search needs, immutable.
#[derive(Debug)]
pub(super) struct Setup {
    pub bases: Vec<Base>,
    pub kinds: Vec<Kind>,
    pub items: Vec<Item>,
    /// Fixed stocks in order of preference, the strip last.
    pub bins: Vec<Bin>,
    pub gap: i64,
    /// Greatest length of a bench segment of the strip.
    pub segment: Option<i64>,
    /// The strip's end.
    pub length_max: i64,
    /// From-to of what lies fixed on the strip and may not lie across a bench end.
    pub fixed_spans: Vec<(i64, i64)>,
    /// Where what lies fixed on the strip ends: no layout is shorter.
    pub fixed_end: i64,
    /// Copies that cannot be placed at all: (shape, copy, why).
    pub unplaced: Vec<(usize, u32, String)>,
    /// Mean area of the items.
    pub mean_area: f64,
    /// The lattice on which the pieces close on each other, if there is one.
    pub lattice: Option<Lattice>,
}

impl Setup {
    pub fn new(problem: &Problem) -> Setup {
        let (mut setup, mut bases) = Setup::with_poses(problem, &|_, _| true);
        if bases.count() > CROWD {
            // Turned over, every shape is one more, and no-fit polygons go by the square: in a
            // crowd whatever fits face up stays so.
            let kinds = std::mem::take(&mut setup.kinds);
            let bins = &setup.bins;
            let up =
                |k: &Kind, fits: &[u16]| fits.iter().any(|&s| !k.stances[usize::from(s)].pose.flip);
            let down = |shape: usize| {
                let kind = &kinds[shape];
                !bins
                    .iter()
                    .zip(&kind.fits)
                    .any(|(bin, fits)| bin.stock.is_some() && up(kind, fits))
            };
            let faces = |shape: usize, pose: Pose| !pose.flip || down(shape);
            (setup, bases) = Setup::with_poses(problem, &faces);
            if bases.count() > CROWD {
                let few: Vec<Vec<Pose>> = setup.kinds.iter().map(|k| setup.few_poses(k)).collect();
                let kept = |shape: usize, pose: Pose| few[shape].contains(&pose);
                (setup, bases) = Setup::with_poses(problem, &kept);
            }
        }
        let (short, long) = setup.least_sides();
        setup.bases = bases.build((short, long));
        // What lies fixed keeps to no lattice.
        if problem.pins().is_empty() {
            setup.lattice = Lattice::of(&setup.bases, setup.gap, setup.mean_area);
        }
        setup
    }

    /// The poses of a shape that a crowd has room for: quarter turns of each other need the same
    /// no-fit polygons, and of these families the ones go first that lie in the least box.
    fn few_poses(&self, kind: &Kind) -> Vec<Pose> {
        let mut families: BTreeMap<u32, (bool, i128, Vec<Pose>)> = BTreeMap::new();
        for (s, stance) in kind.stances.iter().enumerate() {
            let fits = self
                .bins
                .iter()
                .zip(&kind.fits)
                .any(|(bin, fits)| bin.stock.is_some() && fits.contains(&(s as u16)));
            let box_ = i128::from(stance.tight.width()) * i128::from(stance.tight.height());
            let family = families.entry(stance.base).or_insert((true, box_, Vec::new()));
            family.0 &= !fits;
            family.2.push(stance.pose);
        }
        let mut families: Vec<(bool, i128, Vec<Pose>)> = families.into_values().collect();
        families.sort_by_key(|f| (f.0, f.1));
        let share = (CROWD / self.kinds.len().max(1)).max(1);
        families.into_iter().take(share).flat_map(|f| f.2).collect()
    }

    /// All but the bases themselves; `wanted` tells which poses of which shape.
    fn with_poses(problem: &Problem, wanted: &dyn Fn(usize, Pose) -> bool) -> (Setup, Bases) {
        let mut bases = Bases::default();
        let too_large = |r: &Region| {
            r.bounds().is_none_or(|b| {
                b.width().max(b.height()) * GRID_PER_MM > LARGEST as f64
                    || !(b.width() + b.height()).is_finite()
            })
        };
        let mut kinds: Vec<Kind> = Vec::new();
        for (index, shape) in problem.shapes().iter().enumerate() {
            let stances = if too_large(&shape.region) {
                Vec::new()
            } else {
                stances(shape, &|pose| wanted(index, pose), &mut bases)
            };
            let extent =
                stances.iter().map(|s| s.tight.width().max(s.tight.height())).max().unwrap_or(0)
                    as f64;
            let area = shape.region.area() * GRID_PER_MM * GRID_PER_MM;
            kinds.push(Kind {
                stances,
                fits: Vec::new(),
                area,
                extent,
                may_cross: shape.may_cross,
            });
        }
        let mut setup = Setup {
            bases: Vec::new(),
            kinds,
            items: Vec::new(),
            bins: Vec::new(),
            gap: (problem.gap() * GRID_PER_MM - 1e-6).ceil().clamp(0.0, LARGEST as f64) as i64,
            segment: None,
            length_max: ENDLESS,
            fixed_spans: Vec::new(),
            fixed_end: 0,
            unplaced: Vec::new(),
            mean_area: 1.0,
            lattice: None,
        };
        setup.lay_out_rooms(problem, &mut bases);
        setup.fix(problem, &mut bases);
        setup.admit_items(problem);
        (setup, bases)
    }

    /// Index of the strip (or the overflow strip).
    pub fn strip(&self) -> usize {
        self.bins.len() - 1
    }

    /// True if what lies on the strip counts as not placed.
    pub fn overflow(&self) -> bool {
        self.bins.last().is_some_and(|r| r.stock.is_none())
    }

    /// True if every lane works on all of the layout: few items, or only fixed stocks.
    pub fn shared(&self) -> bool {
        self.items.len() <= WHOLE || self.overflow()
    }

    /// The most by which any two items must be apart, µm: the search mitres the corners of sums,
    /// which keeps corners up to a fifth more than the gap apart, so a first layout must do the
    /// same.
    pub fn most_clearance(&self) -> i64 {
        let rounded = self.bases.iter().any(|b| b.rounded);
        clearance_margin(self.gap + if rounded { 4 } else { 0 })
    }

    /// The most by which any item must keep off a block, µm: those with rounded corners a little,
    /// all of them the gap from what lies fixed.
    pub fn most_clearance_of_blocks(&self) -> i64 {
        if self.bins.iter().flat_map(|r| &r.blocks).any(|b| !self.bases[b.base as usize].stock) {
            return self.most_clearance();
        }
        clearance_margin(if self.bases.iter().any(|b| b.rounded) { 2 } else { 0 })
    }

    /// Takes items out of the search: they fit only stocks that have no room left.
    pub fn leave_out(&mut self, items: &[usize]) {
        for &i in items {
            let item = self.items[i];
            self.unplaced.push((
                item.kind,
                item.copy,
                "the stocks it fits have no room left for it".to_string(),
            ));
        }
        let mut keep = (0..self.items.len()).map(|i| !items.contains(&i));
        self.items.retain(|_| keep.next().unwrap_or(true));
    }

    pub fn kind(&self, item: usize) -> &Kind {
        &self.kinds[self.items[item].kind]
    }

    /// Height of the strip, µm.
    pub fn height(&self) -> f64 {
        self.bins[self.strip()].frame.height() as f64
    }

    fn lay_out_rooms(&mut self, problem: &Problem, bases: &mut Bases) {
        let reach =
            self.kinds.iter().map(|k| k.extent as i64).max().unwrap_or(0) + self.gap + 1_000;
        let mut left = -2 * reach;
        let mut strip = None;
        for (index, stock) in problem.stocks().iter().enumerate() {
            let mut obstacles: Vec<Rings> =
                stock.keep_out.iter().map(|r| grid_rings(&Region::solid(r.clone()))).collect();
            match &stock.extent {
                Extent::Open { low, high, segment_max, length_max } => {
                    let frame = Frame {
                        min: vertex(0, (low * GRID_PER_MM - 1e-6).ceil() as i64),
                        max: vertex(ENDLESS, (high * GRID_PER_MM + 1e-6).floor() as i64),
                    };
                    self.segment = segment_max.map(|s| micrometres(s).max(1));
                    self.length_max = length_max.map_or(ENDLESS, |l| micrometres(l).max(0));
                    strip = Some(Bin {
                        stock: Some(index),
                        frame,
                        shift: 0,
                        blocks: blocks(obstacles, 0, bases),
                    });
                }
                Extent::Fixed { region } => {
                    let rings = grid_rings(region);
                    let Some(outline) = rings.first().filter(|r| r.len() >= 3) else {
                        continue;
                    };
                    let frame = Frame::around(outline.iter().copied());
                    if frame.width().max(frame.height()) > LARGEST {
                        continue;
                    }
                    if twice_area(outline)
                        != 2 * i128::from(frame.width()) * i128::from(frame.height())
                    {
                        let wall = frame.grown(reach + frame.width() + frame.height());
                        let around = vec![
                            wall.min,
                            vertex(wall.max.x, wall.min.y),
                            wall.max,
                            vertex(wall.min.x, wall.max.y),
                        ];
                        obstacles.push(vec![around, outline.iter().rev().copied().collect()]);
                    }
                    obstacles.extend(
                        rings.iter().skip(1).map(|h| vec![h.iter().rev().copied().collect()]),
                    );
                    left -= frame.width() + 2 * reach;
                    let shift = left - frame.min.x;
                    let bin = Bin {
                        stock: Some(index),
                        frame: frame.moved(vertex(shift, 0)),
                        shift,
                        blocks: blocks(obstacles, shift, bases),
                    };
                    self.bins.push(bin);
                }
            }
        }
        // Without an open strip the overflow goes on one that counts as not placed.
        let high = self.kinds.iter().map(|k| k.extent as i64).max().unwrap_or(1);
        let frame = Frame { min: vertex(0, 0), max: vertex(ENDLESS, 2 * high + self.gap) };
        self.bins.push(strip.unwrap_or(Bin { stock: None, frame, shift: 0, blocks: Vec::new() }));
    }

    /// What lies fixed is in the way like a flaw, but the gap is kept to it.
    fn fix(&mut self, problem: &Problem, bases: &mut Bases) {
        for pin in problem.pins() {
            let Some(bin) = self.bins.iter_mut().find(|r| r.stock == Some(pin.stock)) else {
                continue;
            };
            let rings = grid_rings(&pin.region);
            let frame = Frame::around(rings.iter().flatten().copied());
            let (base, quarter, at) = bases.admit(&rings, false, false);
            bin.blocks.push(Block { base, quarter, at: at.plus(vertex(bin.shift, 0)) });
            if bin.frame.max.x == ENDLESS {
                self.fixed_end = self.fixed_end.max(frame.max.x);
                if !pin.may_cross {
                    self.fixed_spans.push((frame.min.x, frame.max.x));
                }
            }
        }
    }

    /// Items of every shape that fits anywhere; the others are reported with their sizes.
    fn admit_items(&mut self, problem: &Problem) {
        let mut area = 0.0;
        for (index, shape) in problem.shapes().iter().enumerate() {
            let kind = &mut self.kinds[index];
            for bin in &self.bins {
                let open = bin.frame.max.x == ENDLESS;
                let longest = match self.segment {
                    Some(s) if open && !kind.may_cross => s.min(self.length_max),
                    _ if open => self.length_max,
                    _ => bin.frame.width(),
                };
                let fits = |s: &Stance| {
                    s.tight.height() <= bin.frame.height() && s.tight.width() <= longest
                };
                kind.fits.push(
                    (0..kind.stances.len())
                        .filter(|&s| fits(&kind.stances[s]))
                        .map(|s| s as u16)
                        .collect(),
                );
            }
            // On the overflow strip everything lies, but that is no place.
            let real = self
                .bins
                .iter()
                .zip(&kind.fits)
                .any(|(bin, fits)| bin.stock.is_some() && !fits.is_empty());
            let room_left = MOST_ITEMS.saturating_sub(self.items.len());
            let taken = if real { room_left.min(shape.copies as usize) } else { 0 };
            for copy in 0..taken as u32 {
                self.items.push(Item { copy, kind: index });
                area += kind.area;
            }
            if taken < shape.copies as usize {
                let why = if real {
                    format!("more than {MOST_ITEMS} pieces in one search")
                } else {
                    too_big(shape, kind, problem)
                };
                // One line for a shape of which there are absurdly many copies would do, but
                // callers count copies; cap the list instead.
                let last = shape.copies.min((taken + MOST_ITEMS) as u32);
                self.unplaced.extend((taken as u32..last).map(|copy| (index, copy, why.clone())));
            }
        }
        self.mean_area = (area / self.items.len().max(1) as f64).max(1.0);
    }

    /// Least short and least long side of any item's box: holes smaller than that take nothing.
    fn least_sides(&self) -> (i64, i64) {
        let used = || self.kinds.iter().flat_map(|k| &k.stances);
        let short = used().map(|s| s.tight.width().min(s.tight.height())).min().unwrap_or(0);
        let long = used().map(|s| s.tight.width().max(s.tight.height())).min().unwrap_or(0);
        (short, long)
    }
}

/// Blocks of the stock as bases of their own.
fn blocks(obstacles: Vec<Rings>, shift: i64, bases: &mut Bases) -> Vec<Block> {
    let whole = |rings: &Rings| {
        rings.first().is_some_and(|r| r.len() >= 3 && twice_area(r) > 0 && edges(r).count() >= 3)
    };
    let admit = |rings: Rings| {
        let (base, quarter, at) = bases.admit(&rings, false, true);
        Block { base, quarter, at: at.plus(vertex(shift, 0)) }
    };
    obstacles.into_iter().filter(whole).map(admit).collect()
}

fn too_big(shape: &super::problem::Shape, kind: &Kind, problem: &Problem) -> String {
    let mm = |v: i64| v as f64 / GRID_PER_MM;
    if problem.stocks().is_empty() {
        return "there is no stock".to_string();
    }
    if kind.stances.is_empty() {
        return "it is larger than 100 m".to_string();
    }
    let more = |n: usize| {
        if n > SAID { format!(" and {} more", n - SAID) } else { String::new() }
    };
    let sizes: Vec<String> = kind
        .stances
        .iter()
        .take(SAID)
        .map(|s| {
            let face = if s.pose.flip { " face down" } else { "" };
            format!(
                "{:.1} x {:.1} mm turned {}°{face}",
                mm(s.tight.width()),
                mm(s.tight.height()),
                s.pose.turn
            )
        })
        .collect();
    let bins: Vec<String> = problem
        .stocks()
        .iter()
        .take(SAID)
        .map(|s| match &s.extent {
            Extent::Open { low, high, segment_max, length_max } => {
                let longest = segment_max
                    .filter(|_| !shape.may_cross)
                    .into_iter()
                    .chain(*length_max)
                    .fold(f64::INFINITY, f64::min);
                let long = if longest.is_finite() {
                    format!(" and {longest:.1} mm long")
                } else {
                    String::new()
                };
                format!("{} is {:.1} mm wide{long}", s.name, high - low)
            }
            Extent::Fixed { region } => {
                let b = region.bounds().map_or((0.0, 0.0), |b| (b.width(), b.height()));
                format!("{} is {:.1} x {:.1} mm", s.name, b.0, b.1)
            }
        })
        .collect();
    let (turns, stocks) = (more(kind.stances.len()), more(problem.stocks().len()));
    format!(
        "it fits no stock in any permitted turn: {}{turns}; {}{stocks}",
        sizes.join(", "),
        bins.join(", ")
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::geometry::{Motion, point};
    use crate::nest::{Shape, Stock};

    /// Thirty pieces of a mat had 324 outlines at their turns, and so many no-fit polygons that
    /// one round of effort took minutes and gigabytes.
    #[test]
    fn of_a_crowd_that_may_turn_as_it_likes_each_keeps_the_turns_in_the_least_boxes_that_fit() {
        let poses: Vec<Pose> = (0..24)
            .flat_map(|k| [false, true].map(|flip| Pose { turn: f64::from(k) * 15.0, flip }))
            .collect();
        // Rectangles, turned by 30°, so that the least box is theirs once turned on to quarters;
        // the last is longer than the roll is wide.
        let shape = |k: u32| {
            let long = if k == 29 { 900.0 } else { 100.0 + f64::from(k) };
            let corners = [(0.0, 0.0), (long, 0.0), (long, 40.0), (0.0, 40.0)];
            let region = Region::solid(corners.map(|(x, y)| point(x, y)).to_vec());
            Shape {
                name: format!("piece {k}"),
                region: Motion::new(30.0, false, point(0.0, 0.0)).region(&region),
                poses: poses.clone(),
                tolerance: 0.0,
                copies: 1,
                may_cross: false,
            }
        };
        let extent = Extent::Open { low: 0.0, high: 300.0, segment_max: None, length_max: None };
        let roll = Stock { name: "roll".into(), extent, keep_out: Vec::new() };
        let problem = Problem::new((0..30).map(shape).collect(), vec![roll], 2.0).unwrap();
        let setup = Setup::new(&problem);
        assert!(setup.bases.len() <= CROWD, "{}", setup.bases.len());
        assert_eq!(setup.items.len(), 30, "{:?}", setup.unplaced);
        for kind in &setup.kinds {
            let square_on = |s: &Stance| (s.pose.turn + 30.0) % 90.0 == 0.0;
            assert!(kind.stances.iter().any(square_on), "{:?}", kind.stances);
        }
        let long = &setup.kinds[29];
        assert!(long.fits[0].iter().any(|&s| long.stances[usize::from(s)].tight.height() < 60_000));
    }
}
