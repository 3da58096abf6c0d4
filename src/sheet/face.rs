//! A plan seen from either face of its cloth, and its sheets by name.

use super::laid::{Layout, Sheet, sheets_of};
use crate::cloth::Face;
use crate::file_name;
use crate::geometry::{Point, Ring, point, ring_bounds};
use crate::plan::{Plan, PlanStock};
use crate::run::Run;
use std::sync::OnceLock;

/// A plan as it is drawn.
pub(crate) struct View<'r> {
    /// The plan, its stocks turned over where they are seen from the other side.
    pub plan: Plan,
    /// Which were.
    over: Vec<bool>,
    /// The layouts of each stock's sheets, drawn once.
    drawn: Vec<Vec<OnceLock<Layout>>>,
    run: Run<'r>,
}

impl<'r> View<'r> {
    /// The plan seen with this face of each cloth up, or as it was planned.
    pub(crate) fn new(plan: &Plan, face: Option<Face>) -> View<'r> {
        View::in_run(plan, face, Run::default())
    }

    /// The same as a part of a run; once that is stopped, no more pieces are drawn.
    pub(crate) fn in_run(plan: &Plan, face: Option<Face>, run: Run<'r>) -> View<'r> {
        let mut plan = plan.clone();
        let over: Vec<bool> =
            plan.stocks.iter().map(|s| face.is_some_and(|f| f != s.face)).collect();
        plan.stocks
            .iter_mut()
            .zip(&over)
            .filter(|(_, over)| **over)
            .for_each(|(stock, _)| turn_over(stock));
        let sheets =
            |s: &PlanStock| (0..s.segments.len().max(1)).map(|_| OnceLock::new()).collect();
        let drawn = plan.stocks.iter().map(sheets).collect();
        View { plan, over, drawn, run }
    }

    /// All sheets, each with a name fit for a file.
    pub(crate) fn sheets(&self) -> Vec<(String, Sheet<'_>)> {
        let mut all = Vec::new();
        for (i, (stock, &over)) in self.plan.stocks.iter().zip(&self.over).enumerate() {
            for sheet in sheets_of(&self.plan, stock, over, &self.drawn[i], &self.run) {
                let part = if sheet.segments > 1 {
                    format!("-segment-{}", sheet.segment + 1)
                } else {
                    String::new()
                };
                all.push((format!("{:02}-{}{part}", i + 1, file_name::made_of(&stock.id)), sheet));
            }
        }
        all
    }
}

/// Turns a stock over about its warp, in its place: the selvedge that was low is high, the free end
/// stays where it was.
fn turn_over(stock: &mut PlanStock) {
    let Some(b) = ring_bounds(&stock.outline) else {
        return;
    };
    let sum = b.min.y + b.max.y;
    let over = |ring: &mut Ring| {
        ring.iter_mut().for_each(|p: &mut Point| *p = point(p.x, sum - p.y));
        ring.reverse();
    };
    let other = |face: Face| {
        if face == Face::Up { Face::Down } else { Face::Up }
    };
    over(&mut stock.outline);
    stock.holes.iter_mut().for_each(over);
    stock.flaws.iter_mut().for_each(over);
    for placed in &mut stock.placed {
        over(&mut placed.outline);
        placed.holes.iter_mut().for_each(over);
        placed.y = sum - placed.y;
        placed.face = other(placed.face);
    }
    for offcut in &mut stock.offcuts {
        over(&mut offcut.outline);
        offcut.holes.iter_mut().for_each(over);
        let [_, y, _, height] = &mut offcut.largest_rectangle;
        *y = sum - *y - *height;
    }
    stock.face = other(stock.face);
}
