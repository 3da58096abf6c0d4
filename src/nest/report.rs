//! From the search's layout to the outcome: millimetres, each stock in its own frame, what has no
//! place named.

use super::layout::Layout;
use super::outcome::{Outcome, Placement, UsedStock};
use super::problem::Problem;
use super::setup::{ENDLESS, Setup};
use crate::geometry::Motion;
use crate::live::{self, Lying};
use crate::run::Run;
use crate::units::{GRID_PER_MM, micrometres};

/// The outcome of a layout; without one every item is unplaced.
pub(super) fn report(
    problem: &Problem,
    setup: &Setup,
    layout: Option<&Layout>,
    run: &Run<'_>,
) -> Outcome {
    let mut outcome = Outcome {
        placements: Vec::new(),
        stocks: Vec::new(),
        unplaced: setup.unplaced.clone(),
        interrupted: run.is_asked(),
        early: None,
        first_layout_seconds: None,
        evaluations: 0,
        trace: Vec::new(),
    };
    let Some(layout) = layout else {
        let why = "the search ended before a first layout was complete";
        outcome.unplaced.extend(setup.items.iter().map(|i| (i.kind, i.copy, why.to_string())));
        return outcome;
    };
    let mm = |v: f64| v / GRID_PER_MM;
    let mut used: Vec<Option<f64>> = vec![None; setup.bins.len()];
    let mut taken = Vec::new();
    if setup.fixed_end > 0 {
        used[setup.strip()] = Some(setup.fixed_end as f64);
    }
    for (i, item) in setup.items.iter().enumerate() {
        let spot = layout.spots[i];
        let r = usize::from(spot.bin);
        let bin = &setup.bins[r];
        let end = layout.tight(setup, i).max.x;
        let why = match bin.stock {
            None => Some("no stock has room left for it".to_string()),
            Some(s) if bin.frame.max.x == ENDLESS && end > setup.length_max => Some(format!(
                "{} ends at {:.1} mm, and it found no place before that",
                problem.stocks()[s].name,
                mm(setup.length_max as f64)
            )),
            Some(_) => None,
        };
        if let Some(why) = why {
            outcome.unplaced.push((item.kind, item.copy, why));
            continue;
        }
        // The box of a turned outline is a micrometre generous: what counts is where the outline
        // itself ends.
        let end = if setup.bases[layout.stance(setup, i).base as usize].rounded {
            outline_end(problem, setup, layout, i)
        } else {
            end
        };
        used[r] = Some(used[r].unwrap_or(0.0).max(end as f64));
        taken.push((i, r));
    }
    let mut index = vec![usize::MAX; setup.bins.len()];
    for (r, bin) in setup.bins.iter().enumerate() {
        let (Some(end), Some(stock)) = (used[r], bin.stock) else {
            continue;
        };
        index[r] = outcome.stocks.len();
        outcome.stocks.push(if bin.frame.max.x == ENDLESS {
            let mut ends: Vec<f64> =
                layout.walls.iter().copied().filter(|&w| w > 0.0 && w < end).collect();
            ends.push(end);
            let mut from = 0.0;
            let segments = ends
                .into_iter()
                .map(|to| {
                    let s = [mm(from), mm(to)];
                    from = to;
                    s
                })
                .collect();
            UsedStock { stock, used_length: mm(end), segments }
        } else {
            let (a, b) =
                ((bin.frame.min.x - bin.shift) as f64, (bin.frame.max.x - bin.shift) as f64);
            UsedStock { stock, used_length: mm(b - a), segments: vec![[mm(a), mm(b)]] }
        });
    }
    for (i, r) in taken {
        let lying = lying(setup, layout, i, index[r]);
        outcome.placements.push(Placement {
            shape: lying.piece,
            copy: lying.copy,
            stock: lying.stock,
            turn: lying.turn,
            flip: lying.down,
            x: lying.x,
            y: lying.y,
        });
    }
    outcome.unplaced.sort();
    outcome
}

/// An item where it lies, in the frame of its stock, which has this index.
fn lying(setup: &Setup, layout: &Layout, item: usize, stock: usize) -> Lying {
    let (stance, spot) = (layout.stance(setup, item), layout.spots[item]);
    let at = spot.grid().minus(stance.offset);
    let mm = |v: i64| v as f64 / GRID_PER_MM;
    Lying {
        piece: setup.items[item].kind,
        copy: setup.items[item].copy,
        stock,
        turn: stance.pose.turn,
        down: stance.pose.flip,
        x: mm(at.x - setup.bins[usize::from(spot.bin)].shift),
        y: mm(at.y),
    }
}

/// Where everything lies that has a place on a stock, by the problem's own indices: to be drawn,
/// so nothing is measured.
pub(super) fn drawn(setup: &Setup, layout: &Layout) -> live::Layout {
    let places = (0..setup.items.len()).filter_map(|i| {
        let bin = &setup.bins[usize::from(layout.spots[i].bin)];
        let stock = bin.stock?;
        let ends = layout.tight(setup, i).max.x;
        let open = bin.frame.max.x == ENDLESS;
        (!open || ends <= setup.length_max).then(|| lying(setup, layout, i, stock))
    });
    let strip = setup.bins[setup.strip()].stock;
    let walls = layout.walls.iter().filter(|w| **w < layout.length);
    let ends = strip.into_iter().flat_map(|s| walls.clone().map(move |w| (s, w / GRID_PER_MM)));
    live::Layout { lying: places.collect(), ends: ends.collect(), left: Vec::new() }
}

/// Right end of an item's outline as it will be placed, µm.
fn outline_end(problem: &Problem, setup: &Setup, layout: &Layout, item: usize) -> i64 {
    let stance = layout.stance(setup, item);
    let at = layout.spots[item].grid().minus(stance.offset).to_mm();
    let ring = Motion::new(stance.pose.turn, stance.pose.flip, at)
        .ring(&problem.shapes()[setup.items[item].kind].region.outline);
    ring.iter().map(|p| micrometres(p.x)).max().unwrap_or(0)
}
