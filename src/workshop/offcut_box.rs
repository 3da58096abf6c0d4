//! The box of offcuts: what a drawing of one says, and which of them hold a size.

use crate::fault::{Fault, Faults};
use crate::geometry::{Cells, Motion, Point, Region, Ring, point};
use crate::nest::{self, Extent, Params, Pose, Problem, Shape, Stock};
use crate::outline::Outline;
use crate::run::{Run, Stop};
use crate::stock::{Offcut, Snapshot};
use rayon::prelude::*;

/// Outline and holes of the one offcut among these outlines, turned so that the warp runs along
/// +x. Its direction in degrees, anticlockwise from right, is that of the arrow if nothing is said;
/// `saying` is how a person says it.
///
/// # Errors
/// There is not one outline, or nothing says where the warp runs.
pub fn offcut_shape(
    outlines: &[Outline],
    warp: Option<f64>,
    saying: &str,
) -> Result<(Ring, Vec<Ring>), Faults> {
    let [outline] = outlines else {
        let what = said!("the drawing holds {} outlines", outlines.len());
        return Err(Fault::new(what, "draw one offcut in a file").into());
    };
    let arrow =
        outline.arrow().map(|[a, b]: [Point; 2]| libm::atan2(b.y - a.y, b.x - a.x).to_degrees());
    let Some(warp) = warp.or(arrow) else {
        let what = "the drawing does not say where the warp runs";
        let remedy = said!("draw an arrow along it, or {saying} (0 if it runs to the right)");
        return Err(Fault::new(what, remedy).into());
    };
    let turn = Motion::turn(-warp);
    Ok((turn.ring(outline.net()), outline.holes().iter().map(|h| turn.ring(h)).collect()))
}

/// What is looked for in the box; what is empty may be anything.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct BoxWish {
    /// Words that all stand in its name, cloth or place.
    pub words: String,
    /// Its cloth.
    pub cloth: String,
    /// A size that it holds, along and across the warp, mm.
    pub holds: [f64; 2],
}

/// The offcuts of a box that are wished for: as the stock has them, or, where a size is wished for,
/// the smallest that holds it first.
pub fn offcuts_wished<'s>(stock: &'s Snapshot, wish: &BoxWish) -> Vec<&'s Offcut> {
    let words: Vec<String> = wish.words.split_whitespace().map(str::to_lowercase).collect();
    let [along, across] = wish.holds;
    let sized = along > 0.0 || across > 0.0;
    let is_wished = |o: &&Offcut| {
        let place = o.facts().place.as_deref().unwrap_or_default();
        let text = || format!("{} {} {place}", o.id(), o.cloth()).to_lowercase();
        (wish.cloth.is_empty() || o.cloth() == wish.cloth)
            && (words.is_empty() || words.iter().all(|w| text().contains(w)))
            && (!sized || holds(o, along.max(1.0), across.max(1.0)))
    };
    let mut found: Vec<&Offcut> = stock.offcuts.par_iter().filter(is_wished).collect();
    if sized {
        found.sort_by(|a, b| a.area().total_cmp(&b.area()));
    }
    found
}

/// Whether an offcut takes a rectangle of this size along and across its warp, clear of its flaws.
/// One that fits with less than some millimetres to spare may be passed over.
pub fn holds(offcut: &Offcut, along: f64, across: f64) -> bool {
    let bounds = offcut.bounds();
    if along > bounds.width() || across > bounds.height() {
        return false;
    }
    let corners = [(0.0, 0.0), (along, 0.0), (along, across), (0.0, across)];
    let ring: Ring = corners.map(|(x, y)| point(x, y)).to_vec();
    if let Some(holds) = by_cells(offcut, &ring, along, across) {
        return holds;
    }
    let shape = Shape {
        name: String::new(),
        region: Region::solid(ring),
        poses: vec![Pose { turn: 0.0, flip: false }],
        tolerance: 0.0,
        copies: 1,
        may_cross: false,
    };
    let stock = Stock {
        name: String::new(),
        extent: Extent::Fixed { region: offcut.region().clone() },
        keep_out: offcut.flaws().to_vec(),
    };
    // A first layout places what has a place.
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    Problem::new(vec![shape], vec![stock], 0.0)
        .is_ok_and(|p| nest::solve(&p, &Params::default(), &run).unplaced.is_empty())
}

/// The same where cells tell it for sure.
fn by_cells(offcut: &Offcut, ring: &Ring, along: f64, across: f64) -> Option<bool> {
    let size = (along.min(across) / 12.0).clamp(3.0, 25.0);
    let (b, rings) = (offcut.bounds(), offcut.region().rings().collect::<Vec<_>>());
    let box_of = [b.width(), b.height()];
    if Cells::are_too_many(box_of, size) {
        return None;
    }
    let cloth = |whole: bool| {
        let mut cells = Cells::of(&rings, b.min, box_of, size, whole);
        for flaw in offcut.flaws() {
            cells.take(&Cells::of(&[flaw], b.min, box_of, size, !whole));
        }
        cells
    };
    let wanted = |whole: bool| Cells::of(&[ring], point(0.0, 0.0), [along, across], size, whole);
    if !wanted(true).fit_in(&cloth(false)) {
        return Some(false);
    }
    wanted(false).fit_in(&cloth(true)).then_some(true)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::geometry::ring_bounds;
    use crate::outline::{ReadOptions, read_bytes};
    use std::path::Path;

    fn offcut(outline: &str, flaws: &str) -> Offcut {
        let facts = format!(
            "{{\"id\":\"off-1\",\"cloth\":\"c\",\"added\":\"2026-11-20\",\
             \"outline\":{outline},\"flaws\":{flaws}}}"
        );
        Offcut::new(serde_json::from_str(&facts).unwrap()).unwrap()
    }

    #[test]
    fn an_offcut_holds_what_fits_beside_its_flaw_and_within_its_corner() {
        // An L: 600 by 200 along the bottom, 200 by 500 up the left side.
        let l = "[[0,0],[600,0],[600,200],[200,200],[200,500],[0,500]]";
        let whole = offcut(l, "[]");
        assert!(holds(&whole, 590.0, 190.0) && holds(&whole, 190.0, 490.0));
        assert!(!holds(&whole, 250.0, 250.0) && !holds(&whole, 601.0, 10.0));
        let flawed = offcut(l, "[[[300,0],[350,0],[350,200],[300,200]]]");
        assert!(!holds(&flawed, 590.0, 190.0));
        assert!(holds(&flawed, 290.0, 180.0) && holds(&flawed, 240.0, 180.0));
    }

    #[test]
    fn a_drawing_of_an_offcut_is_turned_with_its_warp_to_the_right() {
        let svg = |arrow: &str| {
            format!(
                "<svg xmlns='http://www.w3.org/2000/svg' width='400mm' height='300mm' \
                 viewBox='0 0 400 300' stroke='black' fill='none'>\
                 <path id='net-line' d='M10 10 H310 V110 H10Z'/>{arrow}</svg>"
            )
        };
        let shape = |svg: &str, warp: Option<f64>| {
            let reading =
                read_bytes(Path::new("rest.svg"), svg.as_bytes(), &ReadOptions::default()).unwrap();
            offcut_shape(&reading.outlines, warp, "say it")
        };
        // The warp runs up the drawing: what is wide there is high along the warp.
        let (ring, holes) = shape(&svg("<path id='arrow' d='M100 100 V20'/>"), None).unwrap();
        let b = ring_bounds(&ring).unwrap();
        assert!((b.width() - 100.0).abs() < 0.01 && (b.height() - 300.0).abs() < 0.01);
        assert!(holes.is_empty());
        assert!(shape(&svg(""), None).is_err(), "no warp");
        let (ring, _) = shape(&svg(""), Some(0.0)).unwrap();
        assert!((ring_bounds(&ring).unwrap().width() - 300.0).abs() < 0.01);
    }
}
