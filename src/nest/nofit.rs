//! No-fit polygons: where one form may not lie relative to another, with exact contacts and
//! zero-width fits kept.
//!
//! The forbidden set of a pair is the union of the open convex sums of their parts. Its boundary is
//! built edge by edge: each sum's edges less the open interiors of the other sums. What is left are
//! fragments with the forbidden side on their left; slits keep both their sides, and a position
//! that fits exactly in one point keeps that point as a fragment of no length. No topology is
//! needed: the nearest fragment tells both the depth and the side. A quadtree, flattened to a
//! raster of cells, holds for each cell the fragments that can be nearest to any point of it, so a
//! query looks at one to four fragments.

use super::convex::{Convex, Frame, Vertex, difference_sum, edges, hull, offset, turn};

/// A piece of the boundary: from `(x, y)` along the unit vector `(ux, uy)` for `len`; forbidden on
/// its left, or all around if `len` is 0.
#[derive(Clone, Copy, Debug)]
pub(super) struct Fragment {
    pub x: f64,
    pub y: f64,
    pub ux: f64,
    pub uy: f64,
    pub len: f64,
}

impl Fragment {
    /// Square of the distance, and the nearest point.
    #[inline]
    pub fn nearest(&self, x: f64, y: f64) -> (f64, f64, f64) {
        let t = (x - self.x) * self.ux + (y - self.y) * self.uy;
        // Written out: `clamp` looks for limits in the wrong order every time.
        let t = if t > 0.0 { t } else { 0.0 };
        let t = if t < self.len { t } else { self.len };
        let (px, py) = (self.x + self.ux * t, self.y + self.uy * t);
        ((x - px) * (x - px) + (y - py) * (y - py), px, py)
    }

    #[inline]
    fn on_left(&self, x: f64, y: f64) -> bool {
        self.len == 0.0 || self.ux * (y - self.y) - self.uy * (x - self.x) > 0.0
    }
}

/// Where the boundary is nearest.
#[derive(Clone, Copy, Debug)]
pub(super) struct Hit {
    /// Depth below the boundary, µm; negative outside.
    pub depth: f64,
    /// The nearest boundary point.
    pub x: f64,
    pub y: f64,
    /// Direction of the fragment it lies on (zero for a lone point).
    pub ux: f64,
    pub uy: f64,
}

#[derive(Clone, Copy, Debug, Default, PartialEq)]
enum Side {
    #[default]
    Outside,
    Inside,
    Mixed,
}

/// A cell of the raster: everything about it in one place, since with many pairs each look
/// elsewhere waits for memory.
#[derive(Clone, Copy, Debug, Default)]
struct Cell {
    /// No position in it is less deep, µm.
    floor: f32,
    side: Side,
    /// How many candidates; [`LISTED`] if they do not fit in here.
    count: u8,
    /// The candidates, or in the first two where their list starts.
    ids: [u16; 3],
}

const LISTED: u8 = u8::MAX;

impl Cell {
    fn start(self) -> usize {
        usize::from(self.ids[0]) | usize::from(self.ids[1]) << 16
    }
}

/// The forbidden set of a pair of forms and its index.
#[derive(Debug)]
pub(super) struct NoFit {
    #[cfg(test)]
    frame: Frame,
    fragments: Vec<Fragment>,
    cells: Vec<Cell>,
    /// For leaves of the tree with many candidates their number, then the candidates.
    candidates: Vec<u16>,
    side: usize,
    x0: f64,
    y0: f64,
    per_x: f64,
    per_y: f64,
}

/// The open convex sums of two forms given by their parts: the second, moved by a vector, meets the
/// first if the vector lies in one of them. With `by` > 0 they also hold all vectors that bring the
/// forms nearer than that.
pub(super) fn sums(a: &[Convex], b: &[Convex], by: i64) -> Vec<Convex> {
    let grown = |s: Convex| if by > 0 { offset(&s, by) } else { s };
    a.iter().flat_map(|p| b.iter().map(move |q| grown(difference_sum(p, q)))).collect()
}

impl NoFit {
    /// The forbidden set of `b` relative to `a`, kept `by` µm apart.
    pub fn new(a: &[Convex], b: &[Convex], by: i64) -> NoFit {
        NoFit::of_at_most(usize::from(u16::MAX), a, b, by)
    }

    fn of_at_most(most: usize, a: &[Convex], b: &[Convex], by: i64) -> NoFit {
        let fragments = boundary(&sums(a, b, by));
        if fragments.len() <= most {
            return NoFit::indexed(fragments);
        }
        // More than the index can count: their hulls stand in, which are nowhere smaller.
        let whole =
            |parts: &[Convex]| vec![hull(&parts.iter().flatten().copied().collect::<Vec<_>>())];
        NoFit::indexed(boundary(&sums(&whole(a), &whole(b), by)))
    }

    fn indexed(fragments: Vec<Fragment>) -> NoFit {
        let ends = |f: &Fragment| {
            let (x, y) = (f.x + f.ux * f.len, f.y + f.uy * f.len);
            [
                Vertex { x: f.x.floor() as i64, y: f.y.floor() as i64 },
                Vertex { x: f.x.ceil() as i64, y: f.y.ceil() as i64 },
                Vertex { x: x.floor() as i64, y: y.floor() as i64 },
                Vertex { x: x.ceil() as i64, y: y.ceil() as i64 },
            ]
        };
        let frame = Frame::around(fragments.iter().flat_map(ends));
        let levels = match fragments.len() {
            0..=100 => 4,
            _ => 5,
        };
        let side = 1_usize << levels;
        let (w, h) = (frame.width().max(1) as f64, frame.height().max(1) as f64);
        let mut nofit = NoFit {
            #[cfg(test)]
            frame,
            cells: vec![Cell::default(); side * side],
            candidates: Vec::new(),
            side,
            x0: frame.min.x as f64,
            y0: frame.min.y as f64,
            per_x: side as f64 / w,
            per_y: side as f64 / h,
            fragments,
        };
        let all: Vec<u16> = (0..nofit.fragments.len() as u16).collect();
        nofit.divide(0, 0, side, &all);
        nofit.candidates.shrink_to_fit();
        nofit
    }

    /// Fills the cells `cx..cx + size`, `cy..cy + size` of the raster.
    fn divide(&mut self, cx: usize, cy: usize, size: usize, from: &[u16]) {
        let (hx, hy) = (size as f64 / self.per_x / 2.0, size as f64 / self.per_y / 2.0);
        let (mx, my) =
            (self.x0 + cx as f64 / self.per_x + hx, self.y0 + cy as f64 / self.per_y + hy);
        let reach = (hx * hx + hy * hy).sqrt() * (1.0 + 1e-9);
        // Squares of distances from the cell's middle.
        let mut kept: Vec<(f64, u16)> =
            from.iter().map(|&f| (self.fragments[usize::from(f)].nearest(mx, my).0, f)).collect();
        let least = kept.iter().map(|k| k.0).fold(f64::INFINITY, f64::min);
        let nearest = kept.iter().filter(|k| k.0 <= least * (1.0 + 1e-9));
        let least = least.sqrt();
        let side = match least > reach {
            false => Side::Mixed,
            // As in `signed`.
            true if nearest
                .into_iter()
                .any(|k| self.fragments[usize::from(k.1)].on_left(mx, my)) =>
            {
                Side::Inside
            }
            true => Side::Outside,
        };
        match side {
            Side::Outside => kept.clear(),
            // Nothing can be nearer anywhere in the cell than the least greatest distance of any
            // fragment, taken at its corners: the distance to a segment is convex.
            _ => {
                let corners = [
                    (mx - hx, my - hy),
                    (mx + hx, my - hy),
                    (mx - hx, my + hy),
                    (mx + hx, my + hy),
                ];
                let mut bound = f64::INFINITY;
                let far = (least + 2.0 * reach) * (least + 2.0 * reach);
                for &(_, f) in kept.iter().filter(|k| k.0 <= far) {
                    let mut furthest = 0.0;
                    for c in corners {
                        furthest = self.fragments[usize::from(f)].nearest(c.0, c.1).0.max(furthest);
                        if furthest >= bound {
                            break;
                        }
                    }
                    bound = bound.min(furthest);
                }
                let bound = bound.sqrt() * (1.0 + 1e-9) + reach;
                kept.retain(|k| k.0 <= bound * bound);
            }
        }
        if side == Side::Inside && kept.len() > 1 && (size == 1 || kept.len() <= 4) {
            let seen = self.nearest_somewhere(&kept, (mx, my), (hx, hy));
            if size == 1 || seen.len() == 1 {
                kept.retain(|k| seen.contains(&k.1));
            }
        }
        if size > 1 && kept.len() > if side == Side::Inside { 1 } else { 2 } {
            let ids: Vec<u16> = kept.iter().map(|k| k.1).collect();
            let half = size / 2;
            for (dx, dy) in [(0, 0), (half, 0), (0, half), (half, half)] {
                self.divide(cx + dx, cy + dy, half, &ids);
            }
            return;
        }
        let mut cell = Cell { side, count: kept.len() as u8, ..Cell::default() };
        if kept.len() <= cell.ids.len() {
            cell.ids.iter_mut().zip(&kept).for_each(|(id, k)| *id = k.1);
        } else {
            let start = self.candidates.len();
            cell = Cell { count: LISTED, ids: [start as u16, (start >> 16) as u16, 0], ..cell };
            self.candidates.push(kept.len() as u16);
            self.candidates.extend(kept.iter().map(|k| k.1));
        }
        let unit = reach / size as f64;
        for y in cy..cy + size {
            for x in cx..cx + size {
                if side == Side::Inside {
                    let at = |c: usize, per: f64, from: f64| from + (c as f64 + 0.5) / per;
                    let (px, py) = (at(x, self.per_x, self.x0), at(y, self.per_y, self.y0));
                    let least = kept
                        .iter()
                        .map(|k| self.fragments[usize::from(k.1)].nearest(px, py).0)
                        .fold(f64::INFINITY, f64::min);
                    cell.floor = ((least.sqrt() - unit) * (1.0 - 1e-6)).max(0.0) as f32;
                }
                self.cells[y * self.side + x] = cell;
            }
        }
    }

    /// The fragments nearest to one of 9 points spread over a cell. Well inside the forbidden set
    /// that is enough: a fragment nearest only between the points changes the depth by less than
    /// the points are apart, and no contact depends on it.
    fn nearest_somewhere(
        &self,
        among: &[(f64, u16)],
        (mx, my): (f64, f64),
        (hx, hy): (f64, f64),
    ) -> Vec<u16> {
        let mut seen = Vec::new();
        for i in -1..=1 {
            for j in -1..=1 {
                let (x, y) = (mx + hx * f64::from(i), my + hy * f64::from(j));
                let mut best = (f64::INFINITY, 0);
                for &(_, f) in among {
                    let distance = self.fragments[usize::from(f)].nearest(x, y).0;
                    if distance < best.0 {
                        best = (distance, f);
                    }
                }
                if best.0.is_finite() && !seen.contains(&best.1) {
                    seen.push(best.1);
                }
            }
        }
        seen
    }

    /// The boundary.
    pub fn fragments(&self) -> &[Fragment] {
        &self.fragments
    }

    /// Bytes held, roughly.
    pub fn bytes(&self) -> usize {
        self.fragments.len() * 40
            + self.cells.len() * size_of::<Cell>()
            + self.candidates.len() * 2
            + 160
    }

    /// The nearest of some fragments; of equally near ones any with the point on its left decides
    /// for inside (a slit's far side never overrules its near side; at true corners all agree).
    fn signed(&self, among: &[u16], x: f64, y: f64) -> Hit {
        let mut best = (f64::INFINITY, x, y);
        let mut which = 0;
        let mut inside = false;
        for &f in among {
            let fragment = &self.fragments[usize::from(f)];
            let near = fragment.nearest(x, y);
            if near.0 < best.0 * (1.0 - 1e-9) {
                inside = fragment.on_left(x, y);
                best = near;
                which = usize::from(f);
            } else if near.0 <= best.0 * (1.0 + 1e-9) {
                inside |= fragment.on_left(x, y);
            }
        }
        let distance = best.0.sqrt();
        let (ux, uy) = self.fragments.get(which).map_or((0.0, 0.0), |f| (f.ux, f.uy));
        Hit { depth: if inside { distance } else { -distance }, x: best.1, y: best.2, ux, uy }
    }

    /// Which cell a vector is in; `None` where it is well outside.
    #[inline]
    pub fn cell_at(&self, x: f64, y: f64) -> Option<usize> {
        let (cx, cy) = ((x - self.x0) * self.per_x, (y - self.y0) * self.per_y);
        if !(cx >= 0.0 && cy >= 0.0) {
            return None;
        }
        let last = self.side as u32 - 1;
        let at = ((cy as u32).min(last) * self.side as u32 + (cx as u32).min(last)) as usize;
        self.cells.get(at).and_then(|c| (c.side != Side::Outside).then_some(at))
    }

    /// No position in a cell is less deep, µm.
    #[inline]
    pub fn floor(&self, cell: usize) -> f64 {
        f64::from(self.cells[cell].floor)
    }

    #[inline]
    fn among<'c>(&'c self, cell: &'c Cell) -> &'c [u16] {
        if cell.count != LISTED {
            return &cell.ids[..usize::from(cell.count)];
        }
        let start = cell.start();
        let count = usize::from(self.candidates[start]);
        &self.candidates[start + 1..start + 1 + count]
    }

    /// Depth of a vector in the forbidden set: its distance to the boundary, 0 outside. The caller
    /// has checked the frame.
    #[inline]
    pub fn depth(&self, x: f64, y: f64) -> f64 {
        self.cell_at(x, y).map_or(0.0, |cell| self.depth_in(cell, x, y))
    }

    /// The same for a vector whose cell is known.
    #[inline]
    pub fn depth_in(&self, cell: usize, x: f64, y: f64) -> f64 {
        let cell = &self.cells[cell];
        if cell.side == Side::Inside {
            let mut least = f64::INFINITY;
            for &f in self.among(cell) {
                let d = self.fragments[usize::from(f)].nearest(x, y).0;
                least = if d < least { d } else { least };
            }
            return least.sqrt();
        }
        // As in `signed`, for the two nearest.
        let (mut first, mut second) = ((f64::INFINITY, 0_u16), (f64::INFINITY, 0_u16));
        for &f in self.among(cell) {
            let d = self.fragments[usize::from(f)].nearest(x, y).0;
            if d < first.0 {
                second = first;
                first = (d, f);
            } else if d < second.0 {
                second = (d, f);
            }
        }
        let left = |f: u16| self.fragments[usize::from(f)].on_left(x, y);
        let inside = left(first.1) || (second.0 <= first.0 * (1.0 + 1e-9) && left(second.1));
        if inside { first.0.sqrt() } else { 0.0 }
    }

    /// The nearest boundary point and the signed depth, or `None` where the index knows the vector
    /// is well outside.
    pub fn hit(&self, x: f64, y: f64) -> Option<Hit> {
        self.cell_at(x, y).map(|cell| self.signed(self.among(&self.cells[cell]), x, y))
    }

    /// The box around the forbidden set.
    #[cfg(test)]
    pub fn frame(&self) -> Frame {
        self.frame
    }
}

/// Edges of the sums less the open interiors of the other sums.
fn boundary(sums: &[Convex]) -> Vec<Fragment> {
    let frames: Vec<Frame> = sums.iter().map(|s| Frame::around(s.iter().copied())).collect();
    let mut out = Vec::new();
    let mut covered: Vec<(f64, f64)> = Vec::new();
    let mut last = 0;
    for (s, sum) in sums.iter().enumerate() {
        for (a, b) in edges(sum) {
            covered.clear();
            let box_of_edge = Frame::around([a, b]);
            // Most edges lie wholly inside some other sum, and often inside the one that held the
            // edge before.
            let others = std::iter::once(last).chain((0..sums.len()).filter(|&t| t != last));
            for t in others.filter(|&t| t != s) {
                let f = &frames[t];
                let meets = box_of_edge.min.x <= f.max.x
                    && f.min.x <= box_of_edge.max.x
                    && box_of_edge.min.y <= f.max.y
                    && f.min.y <= box_of_edge.max.y;
                if meets && let Some(span) = inside_span(a, b, &sums[t], t < s) {
                    covered.push(span);
                    if span.0 <= 0.0 && span.1 >= 1.0 {
                        last = t;
                        break;
                    }
                }
            }
            if covered.last().is_some_and(|c| c.0 <= 0.0 && c.1 >= 1.0) {
                continue;
            }
            covered.sort_unstable_by(|p, q| p.0.total_cmp(&q.0).then(p.1.total_cmp(&q.1)));
            let d = b.minus(a);
            let length = ((d.x as f64) * (d.x as f64) + (d.y as f64) * (d.y as f64)).sqrt();
            let (ux, uy) = (d.x as f64 / length, d.y as f64 / length);
            let mut keep = |from: f64, to: f64| {
                let lone = to - from <= ABUT;
                out.push(Fragment {
                    x: a.x as f64 + d.x as f64 * from,
                    y: a.y as f64 + d.y as f64 * from,
                    ux: if lone { 0.0 } else { ux },
                    uy: if lone { 0.0 } else { uy },
                    len: if lone { 0.0 } else { length * (to - from) },
                });
            };
            let mut end = 0.0;
            let mut first = true;
            for &(from, to) in &covered {
                // Between two open spans that only abut the point itself stays free: an exact fit.
                // At the ends of the edge the neighbouring edge answers for the corner.
                let abut = !first && from >= end - ABUT;
                if from > end + ABUT || (abut && from > ABUT && end < 1.0 - ABUT) {
                    keep(end.min(from), from);
                }
                end = if first { to } else { end.max(to) };
                first = false;
            }
            if end < 1.0 - ABUT {
                keep(end, 1.0);
            }
        }
    }
    out
}

/// Spans of an edge nearer than this (as a share of it) abut.
const ABUT: f64 = 1e-11;

/// The part of the segment `a`-`b` (0 to 1) strictly inside a convex polygon. A segment along one
/// of its edges, in the same direction, counts as inside if `owns_shared`: so that of two
/// coincident edges one is kept.
fn inside_span(a: Vertex, b: Vertex, p: &[Vertex], owns_shared: bool) -> Option<(f64, f64)> {
    let (mut from, mut to) = (0.0_f64, 1.0_f64);
    for (c, d) in edges(p) {
        let (fa, fb) = (turn(c, d, a), turn(c, d, b));
        if fa <= 0 && fb <= 0 {
            let e = d.minus(c);
            let f = b.minus(a);
            if fa == 0 && fb == 0 && owns_shared && e.x * f.x + e.y * f.y > 0 {
                continue;
            }
            return None;
        }
        if fa < 0 || fb < 0 {
            let t = fa as f64 / (fa as f64 - fb as f64);
            if fa < 0 {
                from = from.max(t);
            } else {
                to = to.min(t);
            }
        }
    }
    (from < to).then_some((from, to))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::nest::convex::{holds, vertex};
    use crate::nest::decompose::convex_parts;

    fn rectangle(w: i64, h: i64) -> Vec<Vertex> {
        vec![vertex(0, 0), vertex(w, 0), vertex(w, h), vertex(0, h)]
    }

    #[test]
    fn rectangles_give_the_rectangle_of_their_sums() {
        let n = NoFit::new(&[rectangle(30, 20)], &[rectangle(7, 5)], 0);
        assert_eq!(n.frame(), Frame { min: vertex(-7, -5), max: vertex(30, 20) });
        assert_eq!(n.depth(30.0, 3.0), 0.0);
        assert!((n.depth(29.0, 3.0) - 1.0).abs() < 1e-12);
        assert!((n.depth(10.0, -3.0) - 2.0).abs() < 1e-12);
    }

    /// Boundaries of more than 65,535 pieces were cut off there: what came after was allowed.
    #[test]
    fn a_boundary_of_more_pieces_than_can_be_counted_forbids_more_and_never_less() {
        let comb: Vec<Vertex> = (0..6)
            .flat_map(|k| {
                [(20 * k, 0), (20 * k + 20, 0)]
                    .into_iter()
                    .filter(move |&(x, _)| x == 0 || x == 120 || k > 6)
            })
            .chain((0..6).rev().flat_map(|k| {
                [(20 * k + 20, 50), (20 * k + 10, 50), (20 * k + 10, 10), (20 * k, 10)]
            }))
            .map(|(x, y)| vertex(x, y))
            .collect();
        let parts = convex_parts(&comb, &[]);
        let whole = NoFit::new(&parts, &parts, 0);
        let cut_off = NoFit::of_at_most(whole.fragments.len() - 1, &parts, &parts, 0);
        assert!(cut_off.fragments.len() < whole.fragments.len());
        let mut forbidden = 0;
        for x in -130..130 {
            for y in -60..60 {
                let at = (f64::from(x) + 0.5, f64::from(y) + 0.5);
                if whole.depth(at.0, at.1) > 0.0 {
                    forbidden += 1;
                    assert!(cut_off.depth(at.0, at.1) > 0.0, "{at:?}");
                }
            }
        }
        assert!(forbidden > 5_000, "{forbidden}");
    }

    #[test]
    fn a_slot_of_exact_width_is_a_slit() {
        // A U with a slot 10 wide and a bar 10 wide: it fits at x = 20 exactly.
        let u = [
            vertex(0, 0),
            vertex(50, 0),
            vertex(50, 40),
            vertex(30, 40),
            vertex(30, 10),
            vertex(20, 10),
            vertex(20, 40),
            vertex(0, 40),
        ];
        let n = NoFit::new(&convex_parts(&u, &[]), &[rectangle(10, 60)], 0);
        assert_eq!(n.depth(20.0, 15.0), 0.0);
        assert!((n.depth(20.5, 15.0) - 0.5).abs() < 1e-12);
        assert!((n.depth(19.5, 15.0) - 0.5).abs() < 1e-12);
    }

    #[test]
    fn a_hole_of_exact_size_is_a_lone_point() {
        let hole = vec![vertex(10, 10), vertex(10, 20), vertex(20, 20), vertex(20, 10)];
        let n = NoFit::new(&convex_parts(&rectangle(30, 30), &[hole]), &[rectangle(10, 10)], 0);
        assert_eq!(n.depth(10.0, 10.0), 0.0);
        assert!((n.depth(10.3, 10.4) - 0.5).abs() < 1e-9);
    }

    #[test]
    fn depth_agrees_with_the_sums_everywhere() {
        let star = [
            vertex(0, 0),
            vertex(40, 15),
            vertex(80, 0),
            vertex(60, 35),
            vertex(90, 70),
            vertex(45, 55),
            vertex(10, 80),
            vertex(25, 40),
        ];
        let l = [
            vertex(0, 0),
            vertex(50, 0),
            vertex(50, 12),
            vertex(14, 12),
            vertex(14, 60),
            vertex(0, 60),
        ];
        let (a, b) = (convex_parts(&star, &[]), convex_parts(&l, &[]));
        for by in [0, 5] {
            let all = sums(&a, &b, by);
            let n = NoFit::new(&a, &b, by);
            for x in -80..110 {
                for y in -80..100 {
                    let inside = all.iter().any(|s| holds(s, vertex(x, y)));
                    let depth = n.depth(x as f64, y as f64);
                    assert_eq!(inside, depth > 1e-9, "({x}, {y}) depth {depth}");
                    let floor = n.cell_at(x as f64, y as f64).map_or(0.0, |c| n.floor(c));
                    assert!(
                        floor <= depth,
                        "({x}, {y}) depth {depth}, of its cell at least {floor}"
                    );
                }
            }
        }
    }
}
