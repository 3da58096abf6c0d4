//! Judges a move by hand: may a shape lie at a place, with whom does it overlap and how deep; and,
//! asked apart since it takes longer, where is the nearest free place.
//!
//! Whether it may lie there is told by the outlines themselves, in exact integers. The nearest free
//! place is sought among no-fit polygons of outlines that were simplified as the search does it
//! (wider by at most 0.4 % of their size): it is the place itself, the nearest point of a boundary,
//! or where two boundaries cross.

use super::check::nearer;
use super::convex::{Convex, Frame, Vertex, apart, clearance_margin, twice_area, vertex};
use super::decompose::convex_parts;
use super::form::{Rings, grid_rings};
use super::land::steps;
use super::nofit::{Fragment, NoFit};
use super::outcome::Placement;
use super::problem::{Extent, Shape, Stock};
use super::setup::ENDLESS;
use super::simplify::covering;
use crate::geometry::{Motion, Region, point};
use crate::units::{GRID_PER_MM, micrometres};
use rayon::prelude::*;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::OnceLock;

/// How far around a place is looked at first, and how much further each time nothing is free, µm.
const REACH: f64 = 60_000.0;
const FURTHER: f64 = 2.0;
/// Depth below which a place on a boundary counts as on it, µm.
const ON_BOUNDARY: f64 = 0.51;

/// What a shape meets.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Neighbour {
    /// Another shape: its index and copy.
    Shape(usize, u32),
    /// A keep-out ring of the stock, by its index.
    KeepOut(usize),
    /// The end or side of the stock, or a hole in it.
    Edge,
}

/// What is to be said of a place.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Verdict {
    /// What it overlaps, and by about how much it would have to move to be clear of each alone, mm.
    pub overlaps: Vec<(Neighbour, f64)>,
    /// What it is nearer to than the gap without overlapping it, and the same.
    pub touches: Vec<(Neighbour, f64)>,
}

impl Verdict {
    /// True if it may lie there.
    pub fn is_free(&self) -> bool {
        self.overlaps.is_empty() && self.touches.is_empty()
    }
}

/// A shape in a turn, or something of the stock.
struct Form {
    rings: Rings,
    tight: Frame,
    rounded: bool,
    stock: bool,
    coarse: OnceLock<(Vec<Convex>, Frame)>,
    exact: OnceLock<Vec<(Convex, Frame)>>,
}

impl Form {
    fn new(rings: Rings, rounded: bool, stock: bool) -> Form {
        let tight = Frame::around(rings.iter().flatten().copied());
        let (coarse, exact) = (OnceLock::new(), OnceLock::new());
        Form { rings, tight, rounded, stock, coarse, exact }
    }

    fn coarse(&self) -> &(Vec<Convex>, Frame) {
        self.coarse.get_or_init(|| {
            let simple: Rings = self.rings.iter().map(|r| covering(r)).collect();
            let holes: Rings = simple.iter().skip(1).filter(|h| h.len() > 2).cloned().collect();
            let parts = convex_parts(simple.first().map_or(&[][..], |r| r), &holes);
            let frame = Frame::around(parts.iter().flatten().copied());
            (parts, frame)
        })
    }

    fn exact(&self) -> &[(Convex, Frame)] {
        self.exact.get_or_init(|| {
            let outline = self.rings.first().map_or(&[][..], |r| r);
            let parts = convex_parts(outline, self.rings.get(1..).unwrap_or(&[]));
            parts.into_iter().map(|p| (p.clone(), Frame::around(p))).collect()
        })
    }
}

/// A form where it lies.
#[derive(Clone, Copy)]
struct Body {
    form: usize,
    at: Vertex,
    who: Neighbour,
}

/// A stock: what is in the way on it, and its box.
struct Site {
    blocks: Vec<Body>,
    bounds: Frame,
}

/// Shapes where they lie, and what is asked of one of them again and again.
pub struct Judge {
    shapes: Vec<Region>,
    gap: i64,
    forms: Vec<Form>,
    /// By shape, turn and face.
    known: HashMap<(usize, u64, bool), usize>,
    sites: Vec<Site>,
    /// By shape and copy: on which stock.
    lying: BTreeMap<(usize, u32), (usize, Body)>,
    nofits: HashMap<(usize, usize), NoFit>,
}

impl Judge {
    /// A judge of shapes on stocks that keeps `gap` mm between shapes; nothing lies anywhere yet.
    pub fn new(shapes: &[Shape], stocks: &[Stock], gap: f64) -> Judge {
        let mut judge = Judge {
            shapes: shapes.iter().map(|s| s.region.clone()).collect(),
            gap: (gap * GRID_PER_MM - 1e-6).ceil().max(0.0) as i64,
            forms: Vec::new(),
            known: HashMap::new(),
            sites: Vec::new(),
            lying: BTreeMap::new(),
            nofits: HashMap::new(),
        };
        let shapes: Vec<Frame> = judge
            .shapes
            .iter()
            .map(|r| Frame::around(grid_rings(r).into_iter().flatten()))
            .collect();
        let longest = shapes.iter().map(|f| f.width() + f.height()).max().unwrap_or(0);
        for stock in stocks {
            let site = judge.site(stock, longest + judge.gap);
            judge.sites.push(site);
        }
        judge
    }

    fn site(&mut self, stock: &Stock, reach: i64) -> Site {
        let mut blocks = Vec::new();
        let mut block = |rings: Rings, who: Neighbour| {
            if rings.first().is_some_and(|r| r.len() > 2 && twice_area(r) > 0) {
                blocks.push(Body { form: self.forms.len(), at: vertex(0, 0), who });
                self.forms.push(Form::new(rings, false, true));
            }
        };
        for (k, ring) in stock.keep_out.iter().enumerate() {
            block(grid_rings(&Region::solid(ring.clone())), Neighbour::KeepOut(k));
        }
        let bounds = match &stock.extent {
            Extent::Open { low, high, length_max, .. } => Frame {
                min: vertex(0, (low * GRID_PER_MM - 1e-6).ceil() as i64),
                max: vertex(
                    length_max.map_or(ENDLESS, micrometres),
                    (high * GRID_PER_MM + 1e-6).floor() as i64,
                ),
            },
            Extent::Fixed { region } => {
                let rings = grid_rings(region);
                let frame = Frame::around(rings.first().into_iter().flatten().copied());
                if let Some(outline) = rings.first() {
                    let wall = frame.grown(reach);
                    let around = vec![
                        wall.min,
                        vertex(wall.max.x, wall.min.y),
                        wall.max,
                        vertex(wall.min.x, wall.max.y),
                    ];
                    let back = |r: &Vec<Vertex>| r.iter().rev().copied().collect::<Vec<_>>();
                    block(vec![around, back(outline)], Neighbour::Edge);
                    for hole in rings.iter().skip(1) {
                        block(vec![back(hole)], Neighbour::Edge);
                    }
                }
                frame
            }
        };
        Site { blocks, bounds }
    }

    fn form(&mut self, p: &Placement) -> usize {
        let key = (p.shape, p.turn.to_bits(), p.flip);
        *self.known.entry(key).or_insert_with(|| {
            let motion = Motion::new(p.turn, p.flip, point(0.0, 0.0));
            let rings = grid_rings(&motion.region(&self.shapes[p.shape]));
            self.forms.push(Form::new(rings, (p.turn / 90.0).fract() != 0.0, false));
            self.forms.len() - 1
        })
    }

    /// Lays a copy of a shape somewhere, whatever it meets there; `stock` counts those given. What
    /// is no shape or stock, or too far out to be one's place, is passed over.
    pub fn put(&mut self, p: &Placement) {
        if self.is_known(p) {
            let (form, at) = (self.form(p), vertex(micrometres(p.x), micrometres(p.y)));
            let who = Neighbour::Shape(p.shape, p.copy);
            self.lying.insert((p.shape, p.copy), (p.stock, Body { form, at, who }));
        }
    }

    fn is_known(&self, p: &Placement) -> bool {
        let near = |v: f64| v.abs() <= crate::units::LARGEST;
        p.shape < self.shapes.len()
            && p.stock < self.sites.len()
            && near(p.x)
            && near(p.y)
            && p.turn.is_finite()
    }

    /// Judges a copy of a shape at a place; where it lies now is no obstacle. `None` for what is no
    /// shape or stock, or a place beyond 100 m.
    pub fn judge(&mut self, p: &Placement) -> Option<Verdict> {
        if !self.is_known(p) {
            return None;
        }
        let (form, at, others) = self.asked(p);
        let met = self.met(form, at, p.stock, &others);
        let theirs = others.iter().filter(|o| met.iter().any(|m| m.0 == o.who));
        self.prepare(form, theirs.map(|o| o.form));
        let mut verdict = Verdict::default();
        for (who, overlaps) in met {
            let depth = self.depth(form, at, p.stock, &others, who) / GRID_PER_MM;
            let list = if overlaps { &mut verdict.overlaps } else { &mut verdict.touches };
            list.push((who, depth));
        }
        Some(verdict)
    }

    /// The free place nearest to where a copy of a shape is held, on that stock and in that turn,
    /// mm; the place itself if it is free. `None` if there is none, and where [`Judge::judge`] has
    /// none.
    pub fn nearest(&mut self, p: &Placement) -> Option<(f64, f64)> {
        if !self.is_known(p) {
            return None;
        }
        let (form, at, others) = self.asked(p);
        let mm = |v: Vertex| (v.x as f64 / GRID_PER_MM, v.y as f64 / GRID_PER_MM);
        if self.met(form, at, p.stock, &others).is_empty() {
            return Some(mm(at));
        }
        let home = self.lying.get(&(p.shape, p.copy));
        let home = home.filter(|(s, b)| (*s, b.form) == (p.stock, form)).map(|h| h.1.at);
        self.free_nearest(form, at, p.stock, &others, home).map(mm)
    }

    /// The form of what is held, where, and all else on that stock.
    fn asked(&mut self, p: &Placement) -> (usize, Vertex, Vec<Body>) {
        let (form, at) = (self.form(p), vertex(micrometres(p.x), micrometres(p.y)));
        let lying = self.lying.iter();
        let others = lying
            .filter(|(key, (stock, _))| *stock == p.stock && **key != (p.shape, p.copy))
            .map(|(_, (_, body))| *body)
            .chain(self.sites[p.stock].blocks.iter().copied());
        let others = others.collect();
        (form, at, others)
    }

    /// What a form meets at a place, and whether it overlaps it; exact.
    fn met(
        &self,
        form: usize,
        at: Vertex,
        stock: usize,
        others: &[Body],
    ) -> Vec<(Neighbour, bool)> {
        let mine = &self.forms[form];
        let (tight, bounds) = (mine.tight.moved(at), self.sites[stock].bounds);
        let mut met = Vec::new();
        let beyond = tight.max.x > bounds.max.x || tight.max.y > bounds.max.y;
        if beyond || tight.min.x < bounds.min.x || tight.min.y < bounds.min.y {
            met.push((Neighbour::Edge, true));
        }
        for other in others {
            let theirs = &self.forms[other.form];
            let gap = if theirs.stock { 0 } else { self.gap };
            let d = at.minus(other.at);
            if !mine.tight.moved(d).grown(gap).overlaps(&theirs.tight)
                || other.who == Neighbour::Edge && met.contains(&(Neighbour::Edge, true))
            {
                continue;
            }
            if overlap(mine, d, theirs) {
                met.push((other.who, true));
            } else if gap > 0 {
                let moved: Rings =
                    mine.rings.iter().map(|r| r.iter().map(|v| v.plus(d)).collect()).collect();
                let frames = (&mine.tight.moved(d), &theirs.tight);
                if nearer((&moved, frames.0), (&theirs.rings, frames.1), gap) {
                    met.push((other.who, false));
                }
            }
        }
        met
    }

    /// How far a form would have to move to be clear of one neighbour, µm, about.
    fn depth(&self, form: usize, at: Vertex, stock: usize, others: &[Body], who: Neighbour) -> f64 {
        let (tight, bounds) = (self.forms[form].tight.moved(at), self.sites[stock].bounds);
        let mut deepest = 0.0_f64;
        if who == Neighbour::Edge {
            let out = [
                bounds.min.x - tight.min.x,
                tight.max.x - bounds.max.x,
                bounds.min.y - tight.min.y,
                tight.max.y - bounds.max.y,
            ];
            deepest = out.into_iter().max().unwrap_or(0).max(0) as f64;
        }
        for other in others.iter().filter(|o| o.who == who) {
            let d = at.minus(other.at);
            let nofit = self.nofits.get(&(other.form, form));
            deepest = deepest.max(nofit.map_or(0.0, |n| n.depth(d.x as f64, d.y as f64)));
        }
        deepest.max(1.0)
    }

    /// Makes the no-fit polygons of a form beside others that are not there yet, once.
    fn prepare(&mut self, form: usize, beside: impl Iterator<Item = usize>) {
        let new: BTreeSet<usize> =
            beside.filter(|&a| !self.nofits.contains_key(&(a, form))).collect();
        let made = new.into_par_iter().map(|a| {
            let (one, other) = (self.forms[a].coarse(), self.forms[form].coarse());
            ((a, form), NoFit::new(&one.0, &other.0, self.apart(a, form)))
        });
        let made: Vec<_> = made.collect();
        self.nofits.extend(made);
    }

    /// µm that two forms keep apart.
    fn apart(&self, a: usize, b: usize) -> i64 {
        let (a, b) = (&self.forms[a], &self.forms[b]);
        let gap = if a.stock || b.stock { 0 } else { self.gap };
        gap + 2 * (i64::from(a.rounded) + i64::from(b.rounded))
    }

    /// The free place nearest to `at`. Where the form lies now is one as well, if it is free.
    fn free_nearest(
        &mut self,
        form: usize,
        at: Vertex,
        stock: usize,
        others: &[Body],
        home: Option<Vertex>,
    ) -> Option<Vertex> {
        let (tight, bounds) = (self.forms[form].tight, self.sites[stock].bounds);
        let low = bounds.min.minus(tight.min);
        let high = bounds.max.minus(tight.max);
        if low.x > high.x || low.y > high.y {
            return None;
        }
        let home = home.filter(|&h| self.met(form, h, stock, others).is_empty());
        let to = (at.x as f64, at.y as f64);
        let far = |v: Vertex| ((v.x as f64 - to.0).powi(2) + (v.y as f64 - to.1).powi(2)).sqrt();
        // Beyond all that lies there is room, if the stock has no end.
        let frames = others.iter().map(|o| self.forms[o.form].tight.moved(o.at));
        let whole =
            frames.fold(tight.moved(at), |all, f| Frame::around([all.min, all.max, f.min, f.max]));
        let most = (whole.width() + whole.height() + tight.width() + tight.height()) as f64;
        let most = most + 2.0 * far(vertex(at.x.clamp(low.x, high.x), at.y.clamp(low.y, high.y)));
        let (mut from, mut reach) = (0.0, REACH);
        loop {
            let found = self.within((from, reach), form, at, stock, others);
            let best = found.into_iter().chain(home).min_by(|a, b| far(*a).total_cmp(&far(*b)));
            if let Some(best) = best.filter(|b| far(*b) <= reach) {
                return Some(best);
            }
            if reach > most {
                return home;
            }
            (from, reach) = (reach, reach * FURTHER);
        }
    }

    /// The free place nearest to `at`, no nearer than `from` and no further than `reach`.
    fn within(
        &mut self,
        (from, reach): (f64, f64),
        form: usize,
        at: Vertex,
        stock: usize,
        others: &[Body],
    ) -> Option<Vertex> {
        let (tight, bounds) = (self.forms[form].tight, self.sites[stock].bounds);
        let (x0, y0) = (bounds.min.x - tight.min.x, bounds.min.y - tight.min.y);
        let (x1, y1) = (bounds.max.x - tight.max.x, bounds.max.y - tight.max.y);
        let (x0, y0, x1, y1) = (x0 as f64, y0 as f64, x1 as f64, y1 as f64);
        let to = (at.x as f64, at.y as f64);
        let near: Vec<Near> = others
            .iter()
            .filter_map(|o| {
                let by = clearance_margin(self.apart(o.form, form));
                let (fa, fb) = (self.forms[o.form].coarse().1, self.forms[form].coarse().1);
                let not = Frame { min: fa.min.minus(fb.max), max: fa.max.minus(fb.min) };
                let not = not.grown(by).moved(o.at);
                let near = not.grown(reach as i64);
                let inside = near.min.x <= at.x
                    && at.x <= near.max.x
                    && near.min.y <= at.y
                    && at.y <= near.max.y;
                inside.then_some(Near { form: o.form, at: o.at, not })
            })
            .collect();
        self.prepare(form, near.iter().map(|n| n.form));
        let nofits = &self.nofits;
        let free = |x: f64, y: f64| {
            let inside = x >= x0 - ON_BOUNDARY
                && x <= x1 + ON_BOUNDARY
                && y >= y0 - ON_BOUNDARY
                && y <= y1 + ON_BOUNDARY;
            inside
                && near.iter().all(|n| {
                    let outside = x <= n.not.min.x as f64
                        || x >= n.not.max.x as f64
                        || y <= n.not.min.y as f64
                        || y >= n.not.max.y as f64;
                    let (dx, dy) = (x - n.at.x as f64, y - n.at.y as f64);
                    outside
                        || nofits.get(&(n.form, form)).is_none_or(|f| f.depth(dx, dy) < ON_BOUNDARY)
                })
        };
        // Boundaries of what is forbidden, and the box.
        let mut lines: Vec<(f64, Fragment)> = Vec::new();
        let mut add = |f: Fragment| {
            let (distance, ..) = f.nearest(to.0, to.1);
            if distance <= reach * reach {
                lines.push((distance, f));
            }
        };
        for n in &near {
            for f in nofits.get(&(n.form, form)).map_or(&[][..], |f| f.fragments()) {
                add(Fragment { x: f.x + n.at.x as f64, y: f.y + n.at.y as f64, ..*f });
            }
        }
        // Sides of the box as far as they are in reach: one of a roll has no end.
        let (left, right) = (x0.max(to.0 - reach), x1.min(to.0 + reach));
        let (low, top) = (y0.max(to.1 - reach), y1.min(to.1 + reach));
        if left <= right && low <= top {
            let (wide, high) = (right - left, top - low);
            add(Fragment { x: left, y: y0, ux: 1.0, uy: 0.0, len: wide });
            add(Fragment { x: left, y: y1, ux: 1.0, uy: 0.0, len: wide });
            add(Fragment { x: x0, y: low, ux: 0.0, uy: 1.0, len: high });
            add(Fragment { x: x1, y: low, ux: 0.0, uy: 1.0, len: high });
        }
        lines.sort_by(|a, b| a.0.total_cmp(&b.0));
        // Squares of distances. The boundaries' own nearest points first: what is further than one
        // that is free need not be looked at, unless it turns out not to be so on the grid.
        let nearest: Vec<(f64, f64, f64)> = std::iter::once((0.0, to.0, to.1))
            .chain(lines.iter().map(|(_, f)| f.nearest(to.0, to.1)))
            .filter(|p| p.0 >= from * from)
            .collect();
        let first = nearest.iter().find(|p| free(p.1, p.2)).map(|p| p.0 + 1e6);
        let steps = steps();
        first.into_iter().chain([reach * reach]).find_map(|limit| {
            let lines: Vec<&Fragment> =
                lines.iter().take_while(|l| l.0 <= limit).map(|l| &l.1).collect();
            let mut places = nearest.clone();
            places.extend(
                crossings(&lines)
                    .into_iter()
                    .map(|(x, y)| ((x - to.0).powi(2) + (y - to.1).powi(2), x, y)),
            );
            places.retain(|p| p.0 >= from * from && p.0 <= limit);
            places.sort_by(|a, b| a.0.total_cmp(&b.0));
            places.into_iter().filter(|p| free(p.1, p.2)).find_map(|(_, x, y)| {
                let home = vertex(x.round() as i64, y.round() as i64);
                let mut around = steps.iter().map(|s| home.plus(*s));
                around.find(|&v| {
                    free(v.x as f64, v.y as f64) && self.met(form, v, stock, others).is_empty()
                })
            })
        })
    }
}

/// A neighbour near enough to matter, and the box of places it forbids.
struct Near {
    form: usize,
    at: Vertex,
    not: Frame,
}

/// True if the inner points of a form moved by `d` and of another meet; exact.
fn overlap(a: &Form, d: Vertex, b: &Form) -> bool {
    let frame = a.tight.moved(d);
    let near: Vec<&(Convex, Frame)> = b.exact().iter().filter(|q| q.1.overlaps(&frame)).collect();
    a.exact().iter().any(|(p, f)| {
        let f = f.moved(d);
        let mut close = near.iter().filter(|q| q.1.overlaps(&f)).peekable();
        close.peek().is_some() && {
            let p: Convex = p.iter().map(|v| v.plus(d)).collect();
            close.any(|q| !apart(&p, &q.0))
        }
    })
}

/// Where boundaries cross, all of them: by their boxes, from left to right.
fn crossings(lines: &[&Fragment]) -> Vec<(f64, f64)> {
    let span =
        |from: f64, by: f64| (from.min(from + by) - ON_BOUNDARY, from.max(from + by) + ON_BOUNDARY);
    let spans = |f: &Fragment| (span(f.x, f.ux * f.len), span(f.y, f.uy * f.len));
    let mut boxes: Vec<_> = lines.iter().map(|&f| (spans(f).0, spans(f).1, f)).collect();
    boxes.sort_by(|a, b| a.0.0.total_cmp(&b.0.0));
    let mut out = Vec::new();
    for (i, (ax, ay, a)) in boxes.iter().enumerate() {
        let beside = boxes[i + 1..].iter().take_while(|b| b.0.0 <= ax.1);
        let near = beside.filter(|b| ay.0 <= b.1.1 && b.1.0 <= ay.1);
        out.extend(near.filter_map(|b| crossing(a, b.2)));
    }
    out
}

/// Where two boundaries cross.
fn crossing(a: &Fragment, b: &Fragment) -> Option<(f64, f64)> {
    let cross = a.ux * b.uy - a.uy * b.ux;
    if cross.abs() < 1e-9 {
        return None;
    }
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let along = (dx * b.uy - dy * b.ux) / cross;
    let other = (dx * a.uy - dy * a.ux) / cross;
    let on = |t: f64, f: &Fragment| (-ON_BOUNDARY..=f.len + ON_BOUNDARY).contains(&t);
    (on(along, a) && on(other, b)).then_some((a.x + a.ux * along, a.y + a.uy * along))
}
