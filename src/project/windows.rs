//! A cloth that is longer or wider than the picture comes under it piece by piece in cutting order:
//! the cloth is slid until a mark on it lies on the thrown one.

use crate::geometry::{Bounds, Point, point};
use crate::sheet::ClothThrown;

/// Bench around the pieces of a window, mm.
const LEAD: f64 = 20.0;

/// More windows than any cloth has: 10 m of picture on a roll of kilometres.
const MOST: usize = 10_000;

/// What lies under the picture at once.
#[derive(Clone, Debug, PartialEq)]
pub struct Window {
    /// The point of the cloth at the field's lower left, mm of the stock frame.
    pub from: Point,
    /// The pieces that are cut there, by their place in the order.
    pub pieces: Vec<usize>,
    /// Where across the cloth the mark is to which it is slid: x, mm. None where the cloth's own end
    /// shows.
    pub mark: Option<f64>,
}

/// The windows of a cloth under a field, in the order of the work, and the pieces that are too large
/// for it or reach where no selvedge shows.
pub fn windows(cloth: &ClothThrown, field: &Bounds) -> (Vec<Window>, Vec<usize>) {
    let (long, wide) = (field.width() - 2.0 * LEAD, field.height() - 2.0 * LEAD);
    let (low, high) = (cloth.bounds.min.y, cloth.bounds.max.y);
    // Across it lies in the middle if it fits; else one selvedge shows, or the other.
    let bands = if high - low <= field.height() {
        vec![(low + high - field.height()) / 2.0]
    } else {
        vec![low - LEAD, high + LEAD - field.height()]
    };
    let band_of = |b: &Bounds| {
        let spare = if bands.len() == 1 { 0.0 } else { LEAD / 2.0 };
        let fits = |y: &&f64| b.min.y >= **y + spare && b.max.y <= **y + field.height() - spare;
        bands.iter().find(fits).copied().filter(|_| b.width() <= long && b.height() <= wide + LEAD)
    };
    let (mut out, mut too_large): (Vec<Window>, Vec<usize>) = (Vec::new(), Vec::new());
    // Where the window before ends: the next mark must have been thrown in it.
    let mut reach: Option<f64> = None;
    let mut left: Vec<(usize, &Bounds, f64)> = Vec::new();
    for (i, piece) in cloth.pieces.iter().enumerate() {
        match band_of(&piece.bounds) {
            Some(y) => left.push((i, &piece.bounds, y)),
            None => too_large.push(i),
        }
    }
    while let Some(&(_, first, band)) = left.first().filter(|_| out.len() < MOST) {
        let start = |low: f64| reach.map_or(low, |r| low.min(r));
        let (mut low, mut high, mut count) = (f64::INFINITY, f64::NEG_INFINITY, 0);
        for (_, b, _) in &left {
            let (l, h) = (low.min(b.min.x), high.max(b.max.x));
            if h - start(l) > long {
                break;
            }
            (low, high, count) = (l, h, count + 1);
        }
        // The cloth's own end shows wherever that costs nothing.
        let own = cloth.bounds.min.x;
        let at_end = high - own <= long && (out.is_empty() || low - own < 1.0);
        // Nothing is to be cut where the last mark can be: slid on.
        let mark =
            if count == 0 { Some(start(first.min.x)) } else { (!at_end).then(|| start(low)) };
        let x = mark.unwrap_or(own);
        let here: Vec<(usize, &Bounds, f64)> = left.drain(..count).collect();
        // One selvedge after the other, the one that shows already first: then the cloth is shifted
        // across, and not slid.
        let shown = out.last().map(|w: &Window| w.from.y).filter(|y| bands.contains(y));
        let begun = shown.unwrap_or(band);
        let others = bands.iter().copied().filter(|y| *y != begun);
        let order = std::iter::once(begun).chain(others);
        let mut any = false;
        for y in order {
            let pieces: Vec<usize> = here.iter().filter(|l| l.2 == y).map(|l| l.0).collect();
            if !pieces.is_empty() {
                out.push(Window { from: point(x - LEAD, y), pieces, mark });
                any = true;
            }
        }
        if !any {
            out.push(Window { from: point(x - LEAD, band), pieces: Vec::new(), mark });
        }
        reach = Some(x + long);
    }
    // On until the last cut across shows.
    if let (Some([end, _]), false) = (cloth.across, out.is_empty()) {
        while let Some(x) = reach.filter(|r| end.x > *r && out.len() < MOST) {
            let band = out.last().map_or(low, |w| w.from.y);
            out.push(Window { from: point(x - LEAD, band), pieces: Vec::new(), mark: Some(x) });
            reach = Some(x + long);
        }
    }
    (out, too_large)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::sheet::PieceThrown;

    fn cloth(size: [f64; 2], boxes: &[[f64; 4]]) -> ClothThrown {
        let piece = |b: &[f64; 4]| PieceThrown {
            number: String::new(),
            words: String::new(),
            face_down: false,
            bounds: Bounds { min: point(b[0], b[1]), max: point(b[2], b[3]) },
            rings: Vec::new(),
            cuts: Vec::new(),
        };
        ClothThrown {
            title: String::new(),
            bounds: Bounds { min: point(0.0, 0.0), max: Point::from(size) },
            edges: Vec::new(),
            across: None,
            pieces: boxes.iter().map(piece).collect(),
        }
    }

    const FIELD: Bounds = Bounds { min: point(0.0, 0.0), max: point(1000.0, 700.0) };

    #[test]
    fn what_fits_lies_under_the_picture_at_once_with_the_end_of_the_cloth() {
        let cloth =
            cloth([900.0, 600.0], &[[10.0, 10.0, 300.0, 500.0], [310.0, 0.0, 880.0, 600.0]]);
        let (windows, too_large) = windows(&cloth, &FIELD);
        assert_eq!(windows.len(), 1);
        assert_eq!((windows[0].from, windows[0].mark), (point(-20.0, -50.0), None));
        assert_eq!((windows[0].pieces.clone(), too_large), (vec![0, 1], vec![]));
    }

    #[test]
    fn a_long_cloth_is_slid_from_mark_to_mark_and_each_was_thrown_before() {
        let boxes: Vec<[f64; 4]> = (0..9)
            .map(|i| f64::from(i) * 640.0)
            .map(|x| [x + 5.0, 0.0, x + 600.0, 600.0])
            .chain([[9000.0, 0.0, 9500.0, 100.0]])
            .collect();
        let cloth = cloth([10_000.0, 600.0], &boxes);
        let (windows, too_large) = windows(&cloth, &FIELD);
        assert!(too_large.is_empty());
        let all: Vec<usize> = windows.iter().flat_map(|w| w.pieces.clone()).collect();
        assert_eq!(all, (0..10).collect::<Vec<_>>(), "in the order of cutting");
        assert!(windows.iter().any(|w| w.pieces.is_empty()), "slid over the bare stretch");
        for (i, w) in windows.iter().enumerate() {
            for p in &w.pieces {
                let b = cloth.pieces[*p].bounds;
                assert!(b.min.x >= w.from.x && b.max.x <= w.from.x + FIELD.width(), "{w:?}");
            }
            if let (Some(mark), true) = (w.mark, i > 0) {
                let before = windows[i - 1].from.x;
                assert!(mark > before && mark < before + FIELD.width(), "{windows:?}");
            }
        }
    }

    #[test]
    fn a_wide_cloth_shows_one_selvedge_or_the_other() {
        let boxes =
            [[0.0, 0.0, 400.0, 600.0], [0.0, 650.0, 400.0, 1250.0], [0.0, 300.0, 9.0, 900.0]];
        let (windows, too_large) = windows(&cloth([500.0, 1250.0], &boxes), &FIELD);
        let bands: Vec<f64> = windows.iter().map(|w| w.from.y).collect();
        assert_eq!(bands, [-20.0, 570.0]);
        assert_eq!(too_large, [2]);
    }

    /// Cut in turns at one selvedge and the other, a short roll was shifted at every piece.
    #[test]
    fn all_at_one_selvedge_is_cut_before_the_cloth_is_shifted_across() {
        let boxes: Vec<[f64; 4]> = (0..8)
            .map(|i| (f64::from(i / 2) * 100.0, f64::from(i % 2) * 700.0))
            .map(|(x, y)| [x, y, x + 90.0, y + 500.0])
            .collect();
        let (windows, _) = windows(&cloth([500.0, 1250.0], &boxes), &FIELD);
        let pieces: Vec<Vec<usize>> = windows.into_iter().map(|w| w.pieces).collect();
        assert_eq!(pieces, [vec![0, 2, 4, 6], vec![1, 3, 5, 7]]);
    }

    #[test]
    fn a_piece_larger_than_the_picture_is_named() {
        let boxes = [[0.0, 0.0, 1200.0, 500.0], [0.0, 510.0, 100.0, 590.0]];
        let (windows, too_large) = windows(&cloth([1300.0, 600.0], &boxes), &FIELD);
        assert_eq!((windows[0].pieces.clone(), too_large), (vec![1], vec![0]));
    }
}
