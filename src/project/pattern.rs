//! The map by photo: a pattern of dots is thrown, a phone takes it with two cards on the bench, and
//! the dots are found and told apart.
//!
//! The dots stand in rows; five of them are large, and no turn or mirror of the pattern brings more
//! than two of these onto each other: it cannot be mistaken for itself the other way round. Two gaps
//! are left for the cards, whose marks no dot may fall on.

use super::fit::{Known, Mark};
use super::map::Picture;
use crate::fault::{Fault, Faults};
use crate::geometry::homography::{apply, homography};
use crate::geometry::{
    Bounds, Point, Region, largest_rectangle, point, ring_bounds, ring_contains,
};
use crate::trace::{BenchView, bench_view};
use image::{GrayImage, Luma, RgbImage};
use imageproc::region_labelling::{Connectivity, connected_components};
use rayon::prelude::*;

/// Columns and rows of dots.
const DOTS: [usize; 2] = [11, 7];
/// Column and row of the large dots.
const LARGE: [[usize; 2]; 5] = [[1, 1], [7, 1], [4, 3], [3, 5], [8, 5]];
/// First column and row of the gaps, which are two dots wide and high.
const GAPS: [[usize; 2]; 2] = [[1, 4], [8, 1]];
/// Fewest dots that make a map.
const LEAST: usize = 30;
/// How far a dot is off in the picture, pixels, and in the photo's plane beside what all are off
/// together, mm.
const SPREAD: [f64; 2] = [0.15, 0.2];
/// How far the field keeps from the outermost dots, as a share of its size.
const MARGIN: f64 = 0.01;

/// A dot that is thrown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dot {
    /// Its middle, pixels.
    pub pixel: Point,
    /// Pixels.
    pub radius: f64,
    /// One of the five.
    pub large: bool,
}

/// Where in a picture a column and row are.
fn pixel_of(picture: Picture, [column, row]: [f64; 2]) -> Point {
    let share = |at: f64, n: usize| 0.04 + 0.92 * at / (n - 1) as f64;
    point(
        f64::from(picture.width) * share(column, DOTS[0]),
        f64::from(picture.height) * share(row, DOTS[1]),
    )
}

/// Column and row of each dot, row by row from the upper left.
fn cells() -> impl Iterator<Item = [usize; 2]> {
    let all = (0..DOTS[0] * DOTS[1]).map(|k| [k % DOTS[0], k / DOTS[0]]);
    let in_gap =
        |at: &[usize; 2]| GAPS.iter().any(|g| (0..2).all(|k| (g[k]..g[k] + 2).contains(&at[k])));
    all.filter(move |at| !in_gap(at))
}

/// The dots to throw.
pub fn pattern(picture: Picture) -> Vec<Dot> {
    let dot = |at: [usize; 2]| {
        let large = LARGE.contains(&at);
        let radius = f64::from(picture.width) * if large { 0.0056 } else { 0.0028 };
        Dot { pixel: pixel_of(picture, at.map(|v| v as f64)), radius, large }
    };
    cells().map(dot).collect()
}

/// The middles of the gaps in which the cards are laid, pixels.
pub fn gaps(picture: Picture) -> [Point; 2] {
    GAPS.map(|g| pixel_of(picture, g.map(|v| v as f64 + 0.5)))
}

/// Finds the map in a photo of the pattern, with cards whose frames are so wide, mm; and what is
/// doubtful about the photo.
///
/// # Errors
/// What is wrong with cards or dots.
pub fn by_photo(
    picture: Picture,
    photo: &RgbImage,
    card_width: f64,
) -> Result<(Known, Vec<Fault>), Faults> {
    let view = bench_view(photo, card_width)?;
    let blobs = blobs(photo, &view.cards);
    let found = told_apart(&pattern(picture), &blobs)?;
    Ok((known(picture, &view, &found)?, view.doubts))
}

/// From dots (their place in the pattern and their pixel in the photo) to what is known. The bench
/// is turned so that the picture's right is its +x.
pub(super) fn known(
    picture: Picture,
    view: &BenchView,
    found: &[(usize, Point)],
) -> Result<Known, Faults> {
    let beyond = || {
        Faults::from(Fault::new(
            "the dots do not lie in one plane with the cards",
            "lay the cards flat on the bench, and take the photo again",
        ))
    };
    let dots = pattern(picture);
    let pixels: Vec<Point> = found.iter().map(|f| f.1).collect();
    let at: Option<Vec<Point>> = pixels.iter().map(|p| view.at(*p)).collect();
    let (at, together) = at.zip(view.together(&pixels)).ok_or_else(beyond)?;
    let marks = at.iter().zip(found).map(|(at, f)| Mark { at: *at, pixel: dots[f.0].pixel });
    let bounds = ring_bounds(&at).ok_or_else(beyond)?;
    let mut known = Known {
        picture,
        marks: marks.collect(),
        spread: SPREAD,
        together,
        lengths: Vec::new(),
        field: bounds,
    };
    // Turned to the picture, first by a rough map.
    let h = homography(
        &known.marks.iter().map(|m| m.pixel).collect::<Vec<_>>(),
        &known.marks.iter().map(|m| m.at).collect::<Vec<_>>(),
    )
    .ok_or_else(beyond)?;
    let middle = point(f64::from(picture.width) / 2.0, f64::from(picture.height) / 2.0);
    let side = point(f64::from(picture.width) / 4.0, 0.0);
    let way = apply(&h, middle + side) - apply(&h, middle - side);
    let (c, s) = (way.x / way.length(), way.y / way.length());
    let turn = |p: &mut Point| *p = point(c * p.x + s * p.y, c * p.y - s * p.x);
    known.marks.iter_mut().for_each(|m| turn(&mut m.at));
    known.together.iter_mut().flatten().for_each(turn);
    let map = known.fit()?.map;
    let (last, rows) = (DOTS[0] - 1, DOTS[1] - 1);
    let rim = (0..last)
        .map(|c| [c, 0])
        .chain((0..rows).map(|r| [last, r]))
        .chain((0..last).map(|c| [last - c, rows]))
        .chain((0..rows).map(|r| [0, rows - r]));
    let rim: Option<Vec<Point>> =
        rim.map(|at| map.bench(pixel_of(picture, at.map(|v| v as f64)))).collect();
    let mut outline = rim.ok_or_else(beyond)?;
    if crate::geometry::ring_area(&outline) < 0.0 {
        outline.reverse();
    }
    let field = largest_rectangle(&Region { outline, holes: Vec::new() }).ok_or_else(beyond)?;
    let margin = point(field.width(), field.height()) * MARGIN;
    let low = field.min + margin;
    known.marks.iter_mut().for_each(|m| m.at = m.at - low);
    known.field = Bounds { min: point(0.0, 0.0), max: field.max - margin - low };
    Ok(known)
}

/// A bright spot in a photo.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Blob {
    pub at: Point,
    pub area: f64,
}

/// Bright round spots, those on the cards left out.
fn blobs(photo: &RgbImage, cards: &[Vec<Point>]) -> Vec<Blob> {
    let (w, h) = photo.dimensions();
    // The lamp may have any colour: the brightest channel tells.
    let mut grey = GrayImage::new(w, h);
    grey.par_iter_mut()
        .zip(photo.par_chunks(3))
        .for_each(|(out, p)| *out = p.iter().copied().max().unwrap_or(0));
    let cell = (w.max(h) / 60).max(8) as usize;
    let ground = Ground::of(&grey, cell);
    let mut bright = GrayImage::new(w, h);
    bright.par_chunks_mut(w as usize).enumerate().for_each(|(y, row)| {
        for (x, out) in row.iter_mut().enumerate() {
            let (low, spread) = ground.at(x, y);
            let value = f64::from(grey.as_raw()[y * w as usize + x]);
            *out = u8::from(value > low + (0.5 * spread).max(14.0)) * 255;
        }
    });
    let labels = connected_components(&bright, Connectivity::Eight, Luma([0]));
    let mut boxes: Vec<[u32; 5]> = Vec::new();
    for (x, y, label) in labels.enumerate_pixels() {
        let i = label.0[0] as usize;
        if i == 0 {
            continue;
        }
        if boxes.len() < i {
            boxes.resize(i, [u32::MAX, u32::MAX, 0, 0, 0]);
        }
        let b = &mut boxes[i - 1];
        *b = [b[0].min(x), b[1].min(y), b[2].max(x), b[3].max(y), b[4] + 1];
    }
    let largest = (w.max(h) / 25).max(12);
    let mut out = Vec::new();
    for [x0, y0, x1, y1, count] in boxes {
        let (wide, high) = (x1.saturating_sub(x0) + 1, y1.saturating_sub(y0) + 1);
        let long = f64::from(wide.max(high)) / f64::from(wide.min(high).max(1));
        let full = f64::from(count) / f64::from(wide.max(1)) / f64::from(high.max(1));
        if count < 9 || wide.max(high) > largest || long > 2.5 || full < 0.5 {
            continue;
        }
        let margin = wide.max(high) / 3 + 1;
        let (mut sum, mut at, mut peak) = (0.0, Point::default(), 0.0_f64);
        let (low, _) = ground.at(((x0 + x1) / 2) as usize, ((y0 + y1) / 2) as usize);
        for y in y0.saturating_sub(margin)..=(y1 + margin).min(h - 1) {
            for x in x0.saturating_sub(margin)..=(x1 + margin).min(w - 1) {
                let over = f64::from(grey.get_pixel(x, y).0[0]) - low;
                // What is hardly lighter than the bench is its grain.
                if over > 8.0 {
                    sum += over;
                    peak = peak.max(over);
                    at = at + point(f64::from(x), f64::from(y)) * over;
                }
            }
        }
        if sum > 0.0 {
            let at = at * (1.0 / sum);
            if !cards.iter().any(|card| ring_contains(card, at)) {
                out.push(Blob { at, area: sum / peak });
            }
        }
    }
    out
}

/// How light the bench is about each place, and how far the brightest near by is above it.
struct Ground {
    cell: usize,
    columns: usize,
    cells: Vec<(f64, f64)>,
}

impl Ground {
    fn of(grey: &GrayImage, cell: usize) -> Ground {
        let (w, h) = (grey.width() as usize, grey.height() as usize);
        let (columns, rows) = (w.div_ceil(cell), h.div_ceil(cell));
        let raw = grey.as_raw();
        let about = |i: usize| {
            let (cx, cy) = (i % columns, i / columns);
            let (x0, y0) = (cx.saturating_sub(1) * cell, cy.saturating_sub(1) * cell);
            let (x1, y1) = (((cx + 2) * cell).min(w), ((cy + 2) * cell).min(h));
            let mut counts = [0_u32; 256];
            for y in y0..y1 {
                raw[y * w + x0..y * w + x1].iter().for_each(|v| counts[usize::from(*v)] += 1);
            }
            let whole: u32 = counts.iter().sum();
            let share = |part: f64| {
                let mut left = (f64::from(whole) * part) as u32;
                counts.iter().position(|c| {
                    let there = *c > left;
                    left = left.saturating_sub(*c);
                    there
                })
            };
            let (middle, top) = (share(0.5).unwrap_or(0), share(0.9985).unwrap_or(255));
            (middle as f64, top.saturating_sub(middle) as f64)
        };
        let cells = (0..columns * rows).into_par_iter().map(about).collect();
        Ground { cell, columns, cells }
    }

    fn at(&self, x: usize, y: usize) -> (f64, f64) {
        self.cells[y / self.cell * self.columns + x / self.cell]
    }
}

/// Which dot of the pattern each spot is.
pub(super) fn told_apart(dots: &[Dot], blobs: &[Blob]) -> Result<Vec<(usize, Point)>, Faults> {
    let remedy = "darken the room a little, keep all of the picture and both cards in the photo, \
                  and let nothing else shine on the bench";
    if blobs.len() < LEAST {
        let what = said!("only {} of {} thrown dots were found", blobs.len(), dots.len());
        return Err(Fault::new(what, remedy).into());
    }
    let mut candidates: Vec<(f64, usize)> = (0..blobs.len())
        .map(|i| {
            let mut near: Vec<(f64, f64)> =
                blobs.iter().map(|b| (b.at.distance(blobs[i].at), b.area)).collect();
            near.sort_by(|a, b| a.0.total_cmp(&b.0));
            let mut areas: Vec<f64> = near[1..near.len().min(9)].iter().map(|n| n.1).collect();
            areas.sort_by(f64::total_cmp);
            (blobs[i].area / areas[areas.len() / 2], i)
        })
        .filter(|c| c.0 > 1.9)
        .collect();
    candidates.sort_by(|a, b| b.0.total_cmp(&a.0));
    candidates.truncate(10);
    let large: Vec<usize> = (0..dots.len()).filter(|i| dots[*i].large).collect();
    let is_large = |i: usize| candidates.iter().any(|c| c.1 == i);
    let n = candidates.len();
    let mut best: Vec<(usize, usize)> = Vec::new();
    // Four of the five may be hidden but for one; the fifth, if it is seen, must be where it should.
    for out in 0..large.len() {
        let four: Vec<usize> = (0..large.len()).filter(|k| *k != out).map(|k| large[k]).collect();
        let from: Vec<Point> = four.iter().map(|k| dots[*k].pixel).collect();
        for code in 0..n.pow(4) {
            let pick = [code % n, code / n % n, code / n / n % n, code / n / n / n];
            if (0..4).any(|a| (0..a).any(|b| pick[a] == pick[b])) {
                continue;
            }
            let to: Vec<Point> = pick.iter().map(|k| blobs[candidates[*k].1].at).collect();
            if !keeps_turn(&from, &to) {
                continue;
            }
            let Some(h) = homography(&from, &to) else { continue };
            let fifth = apply(&h, dots[large[out]].pixel);
            let spacing = apply(&h, dots[large[out]].pixel + point(40.0, 0.0)).distance(fifth);
            let seen = candidates.iter().any(|c| blobs[c.1].at.distance(fifth) < spacing);
            if !seen && (n > 4 || out > 0) {
                continue;
            }
            let pairs = paired(dots, blobs, &h, 0.3);
            let alike = |p: &&(usize, usize)| dots[p.0].large == is_large(p.1);
            let pairs: Vec<(usize, usize)> = pairs.iter().filter(alike).copied().collect();
            if pairs.len() > best.len() {
                best = pairs;
            }
        }
        if best.len() >= dots.len() * 9 / 10 {
            break;
        }
    }
    // The lens bows what the four say: once more by all that were found.
    for _ in 0..2 {
        let from: Vec<Point> = best.iter().map(|p| dots[p.0].pixel).collect();
        let to: Vec<Point> = best.iter().map(|p| blobs[p.1].at).collect();
        if let Some(h) = homography(&from, &to) {
            best = paired(dots, blobs, &h, 0.25);
            best.retain(|p| dots[p.0].large == is_large(p.1));
            best = without_strays(dots, blobs, &h, best);
        }
    }
    let marked = best.iter().filter(|p| dots[p.0].large && is_large(p.1)).count();
    if best.len() < LEAST || marked < 4 {
        let what = if candidates.len() < 4 {
            "the large dots of the pattern are not all seen".into()
        } else {
            said!("only {} of {} thrown dots were told apart", best.len(), dots.len())
        };
        return Err(Fault::new(what, remedy).into());
    }
    Ok(best.into_iter().map(|(dot, blob)| (dot, blobs[blob].at)).collect())
}

/// Four points and their fellows run round the same way, or all the other way.
fn keeps_turn(from: &[Point], to: &[Point]) -> bool {
    let signs = [[0, 1, 2], [1, 2, 3], [2, 3, 0], [3, 0, 1]].map(|[a, b, c]| {
        let turn = |p: &[Point]| (p[b] - p[a]).cross(p[c] - p[a]);
        turn(from) * turn(to)
    });
    signs.iter().all(|s| *s > 0.0) || signs.iter().all(|s| *s < 0.0)
}

/// Dots with the spot that is nearest to where they should be, within a share of their distance
/// from each other.
fn paired(
    dots: &[Dot],
    blobs: &[Blob],
    h: &nalgebra::Matrix3<f64>,
    share: f64,
) -> Vec<(usize, usize)> {
    // The dots stand closer one way than the other.
    let far = |i: usize| dots.get(i).map_or(1.0, |d| d.pixel.distance(dots[0].pixel));
    let across = far(1).min(far(DOTS[0]));
    let mut out = Vec::new();
    for (i, dot) in dots.iter().enumerate() {
        let at = apply(h, dot.pixel);
        let beside = apply(h, dot.pixel + point(across, 0.0)).distance(at);
        let below = apply(h, dot.pixel + point(0.0, across)).distance(at);
        let most = share * beside.min(below);
        let near = blobs.iter().enumerate().map(|(k, b)| (b.at.distance(at), k));
        if let Some((d, k)) = near.min_by(|a, b| a.0.total_cmp(&b.0))
            && d < most
        {
            out.push((i, k));
        }
    }
    out
}

/// Leaves out what is off otherwise than its neighbours are: a bow is smooth, a false spot is not.
fn without_strays(
    dots: &[Dot],
    blobs: &[Blob],
    h: &nalgebra::Matrix3<f64>,
    pairs: Vec<(usize, usize)>,
) -> Vec<(usize, usize)> {
    let off: Vec<Point> = pairs.iter().map(|p| blobs[p.1].at - apply(h, dots[p.0].pixel)).collect();
    let cells: Vec<[usize; 2]> = cells().collect();
    let own = |i: usize| {
        let [c, r] = cells[pairs[i].0];
        let near = |k: &usize| {
            let [x, y] = cells[pairs[*k].0];
            *k != i && x.abs_diff(c) <= 1 && y.abs_diff(r) <= 1
        };
        let mut all: Vec<f64> =
            (0..pairs.len()).filter(near).map(|k| off[k].distance(off[i])).collect();
        all.sort_by(f64::total_cmp);
        all.get(all.len() / 2).copied().unwrap_or(f64::INFINITY)
    };
    let strays: Vec<f64> = (0..pairs.len()).map(own).collect();
    let mut sorted = strays.clone();
    sorted.sort_by(f64::total_cmp);
    let most = (5.0 * sorted.get(sorted.len() / 2).copied().unwrap_or(0.0)).max(2.0);
    pairs.into_iter().zip(strays).filter(|(_, s)| *s <= most).map(|(p, _)| p).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn no_turn_or_mirror_lays_more_than_two_large_dots_on_each_other() {
        let [c, r] = [DOTS[0] - 1, DOTS[1] - 1];
        let turns: [&dyn Fn([usize; 2]) -> [usize; 2]; 3] =
            [&|[x, y]| [c - x, y], &|[x, y]| [x, r - y], &|[x, y]| [c - x, r - y]];
        for turn in turns {
            let same = LARGE.iter().filter(|d| LARGE.contains(&turn(**d))).count();
            assert!(same <= 2, "{same}");
        }
    }

    /// Seen from any side, mirrored or not, with dots hidden and false spots about.
    #[test]
    fn dots_are_told_apart_from_any_side() {
        let picture = Picture::new(1920, 1080).unwrap();
        let dots = pattern(picture);
        for turn in 0..8 {
            let (s, c) = (f64::from(turn) * std::f64::consts::FRAC_PI_4).sin_cos();
            let flip = if turn % 2 == 0 { 1.0 } else { -1.0 };
            let see = |p: Point| {
                let p = point(p.x - 960.0, flip * (p.y - 540.0));
                let p = point(c * p.x - s * p.y, s * p.x + c * p.y);
                let w = 1.0 + 1e-4 * p.x + 2e-4 * p.y;
                point(2000.0 + 1.1 * p.x / w, 1500.0 + 1.1 * p.y / w)
            };
            let mut blobs: Vec<Blob> = dots
                .iter()
                .enumerate()
                .filter(|(i, _)| i % 9 != 4)
                .map(|(_, d)| Blob { at: see(d.pixel), area: if d.large { 330.0 } else { 90.0 } })
                .collect();
            for k in 0..12 {
                let at = point(700.0 + 211.0 * f64::from(k), 900.0 + 97.0 * f64::from(k * k % 13));
                blobs.push(Blob { at, area: 60.0 + 70.0 * f64::from(k % 5) });
            }
            let found = told_apart(&dots, &blobs).unwrap();
            assert!(found.len() >= 55, "{turn}: {}", found.len());
            for (i, at) in found {
                assert!(see(dots[i].pixel).distance(at) < 12.0, "{turn}: dot {i}");
            }
        }
    }

    #[test]
    fn too_few_dots_are_refused() {
        let dots = pattern(Picture::new(1920, 1080).unwrap());
        let blobs: Vec<Blob> =
            dots.iter().take(40).map(|d| Blob { at: d.pixel, area: 90.0 }).collect();
        assert!(told_apart(&dots, &blobs).unwrap_err().to_string().contains("large dots"));
        assert!(told_apart(&dots, &blobs[..5]).is_err());
    }
}
