//! The region inside an inked net line: water rises over the ink from inside and from outside, and
//! the line is where the two meet.
//!
//! The network says which side is which, to a few pixels of a small copy. Breaks in the line do not
//! matter much: there the sides meet somewhere about, and the stretch has no ink under it.

use super::belief::Belief;
use super::ink::relief;
use super::part::Part;
use super::patch::{Mask, Patch, flood};
use super::sort::signed_distance;
use image::{GrayImage, Luma};
use std::collections::VecDeque;

/// How far from the network's outline its sides are sure, pixels of its small copy.
const UNSURE: f64 = 2.4;

/// The inside, on the patch's own pixels, and how dark the ink lies over the tape there.
pub(super) fn inside(
    grey: &GrayImage,
    mm: f64,
    belief: &Belief,
    part: &Part,
    patch: &Patch,
    darker: bool,
) -> (Mask, GrayImage) {
    let (w, h) = patch.mask.image.dimensions();
    let (x0, y0) = (patch.mask.x, patch.mask.y);
    let mut core = patch.mask.image.clone();
    imageproc::morphology::erode_mut(
        &mut core,
        imageproc::distance_transform::Norm::L2,
        ((0.9 / mm).round() as u8).max(2),
    );
    let (level, depth) = relief(grey, mm, &patch.mask, &core, darker);
    let unsure = UNSURE * belief.grain / belief.mm;
    let distance = signed_distance(&part.cells);
    let mut label = GrayImage::new(w, h);
    let mut queues: Vec<VecDeque<(u32, u32)>> = vec![VecDeque::new(); 256];
    let zone =
        |x: u32, y: u32| f64::from(belief.at(&distance, f64::from(x + x0), f64::from(y + y0)));
    // Paper between the lines, in cells. Breaks are closed, wider ones only if the inside would run
    // out through them.
    let mut cells = Vec::new();
    let mut main = None;
    let mut closed_in: Vec<Cell> = Vec::new();
    for (dark, breaks) in BREAKS {
        let ink = GrayImage::from_fn(w, h, |x, y| {
            Luma([
                if f64::from(depth.get_pixel(x, y)[0]) > dark * f64::from(level.get_pixel(x, y)[0])
                {
                    255
                } else {
                    0
                },
            ])
        });
        let closed = imageproc::morphology::dilate(
            &ink,
            imageproc::distance_transform::Norm::L2,
            ((breaks / 2.0 / mm).round() as u8).max(1),
        );
        let paper = |x: u32, y: u32| core.get_pixel(x, y)[0] > 0 && closed.get_pixel(x, y)[0] == 0;
        let mut done = GrayImage::new(w, h);
        cells.clear();
        for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
            let pixels = flood(&mut done, x, y, false, paper);
            if pixels.len() as f64 * mm * mm < 2.0 {
                continue;
            }
            let mut cell = Cell { pixels, deep: 0.0, far: 0.0, inside: 0.0 };
            for &(x, y) in &cell.pixels {
                let d = zone(x, y);
                cell.deep += f64::from(u8::from(d > unsure));
                cell.far += f64::from(u8::from(d < -unsure));
                cell.inside +=
                    f64::from(belief.at(&belief.inside, f64::from(x + x0), f64::from(y + y0)));
            }
            cell.inside /= cell.pixels.len() as f64;
            cells.push(cell);
        }
        if closed_in.is_empty() {
            closed_in = cells
                .iter()
                .filter(|c| c.far * mm * mm <= LEAK && c.inside > 0.35 && c.inside < 0.9)
                .cloned()
                .collect();
        }
        main = (0..cells.len()).max_by(|&a, &b| cells[a].deep.total_cmp(&cells[b].deep));
        if main.is_none_or(|m| cells[m].far * mm * mm <= LEAK) {
            break;
        }
    }
    for (i, cell) in cells.iter().enumerate() {
        let leaks = cell.far * mm * mm > LEAK;
        for &(x, y) in &cell.pixels {
            let side = if Some(i) == main && leaks {
                let d = zone(x, y);
                if d > unsure {
                    IN
                } else if d < -unsure {
                    OUT
                } else {
                    continue;
                }
            } else if Some(i) == main
                || (!(leaks && cell.far > 0.1 * cell.deep) && cell.inside > 0.4)
            {
                IN
            } else {
                OUT
            };
            label.put_pixel(x, y, Luma([side]));
        }
    }
    // Ends of points behind a tick, which wider breaks have closed.
    for cell in closed_in {
        cell.pixels
            .iter()
            .filter(|_| cell.deep == 0.0)
            .for_each(|&(x, y)| label.put_pixel(x, y, Luma([IN])));
    }
    for (x, y, pixel) in label.enumerate_pixels_mut().filter(|p| core.get_pixel(p.0, p.1)[0] == 0) {
        let _ = (x, y);
        *pixel = Luma([OUT]);
    }
    let beside = |x: u32, y: u32| {
        [(-1, 0), (1, 0), (0, -1), (0, 1)].into_iter().filter_map(move |(dx, dy)| {
            let (u, v) = (x.checked_add_signed(dx)?, y.checked_add_signed(dy)?);
            (u < w && v < h).then_some((u, v))
        })
    };
    for (x, y, pixel) in label.enumerate_pixels() {
        if pixel[0] != 0 && beside(x, y).any(|(u, v)| label.get_pixel(u, v)[0] == 0) {
            queues[0].push_back((x, y));
        }
    }
    let mut level = 0;
    while level < queues.len() {
        let Some((x, y)) = queues[level].pop_front() else {
            level += 1;
            continue;
        };
        let side = *label.get_pixel(x, y);
        for (u, v) in beside(x, y) {
            if label.get_pixel(u, v)[0] == 0 {
                label.put_pixel(u, v, side);
                queues[level.max(usize::from(depth.get_pixel(u, v)[0]))].push_back((u, v));
            }
        }
    }
    let image = GrayImage::from_fn(w, h, |x, y| {
        Luma([if label.get_pixel(x, y)[0] == IN { 255 } else { 0 }])
    });
    (Mask { image, x: x0, y: y0 }, depth)
}

/// How ink is told from tape and how wide breaks in the line are closed, tried in this order until
/// the inside holds: ink is darker than tape by a share at least; mm.
const BREAKS: [(f64, f64); 6] =
    [(0.18, 0.8), (0.18, 2.0), (0.12, 0.8), (0.12, 2.0), (0.18, 4.0), (0.18, 7.0)];
/// So much of the inside's own paper beyond the network's outline says that the line has a gap,
/// mm².
const LEAK: f64 = 60.0;
const OUT: u8 = 1;
const IN: u8 = 2;

/// Paper that ink closes in.
#[derive(Clone)]
struct Cell {
    pixels: Vec<(u32, u32)>,
    /// Pixels that are surely inside, and surely outside, by the network.
    deep: f64,
    far: f64,
    /// How likely inside, in the mean.
    inside: f64,
}
