//! Laying the pieces of one cloth on its offcuts and rolls.

use super::ground::{Beside, ground};
use super::sources::{RollSource, Sources};
use crate::assign;
use crate::cloth::{Cloth, Face};
use crate::fault::{Fault, Faults};
use crate::geometry::{Motion, Region, point, ring_bounds};
use crate::job::Job;
use crate::live::{Layout, Lying};
use crate::nest::{self, Early, Extent, Outcome, Params, Placement, Pose, Problem, Shape, Stock};
use crate::plan::{PlacedPiece, PlanStock, StockKind};
use crate::ply::Piece;
use crate::run::{Run, TraceRow};
use crate::stock::Offcut;
use crate::units::{LARGEST, counted, show_mm, snap};
use std::collections::BTreeMap;

/// The pieces of one cloth where they lie.
pub(super) struct Laid {
    /// Offcuts first, then rolls, as they are cut.
    pub stocks: Vec<PlanStock>,
    /// The least length any layout could use, mm, and how it was got.
    pub least: (f64, String),
    pub interrupted: bool,
    /// What a person must hear of the offcuts that were not looked at.
    pub caution: Option<Fault>,
    /// History of the search on the first roll.
    pub trace: Vec<TraceRow>,
    /// Why the search on the last roll ended before its limit, and after how many seconds.
    pub early: Option<(Early, f64)>,
}

/// Lays all pieces: on offcuts what is best placed there, the rest on one roll after the other.
pub(super) fn lay(
    pieces: &[(&Job, &Piece)],
    cloth: &Cloth,
    job: &Job,
    sources: &Sources<'_>,
    beside: Beside<'_>,
    params: &Params,
    run: &Run<'_>,
) -> Result<Laid, Faults> {
    if pieces.is_empty() {
        let least = (0.0, "nothing is cut from the roll".to_string());
        return Ok(Laid {
            stocks: Vec::new(),
            least,
            interrupted: false,
            caution: None,
            trace: Vec::new(),
            early: None,
        });
    }
    let to_lay = |piece: &Piece| {
        (0..piece.copies)
            .filter(|c| !beside.cut.contains(&(piece.id.clone(), c + 1)))
            .collect::<Vec<u32>>()
    };
    let mut shapes: Vec<(usize, Vec<u32>)> = pieces
        .iter()
        .enumerate()
        .map(|(i, (_, p))| (i, to_lay(p)))
        .filter(|s| !s.1.is_empty())
        .collect();
    let all: Vec<Shape> = pieces.iter().map(|(_, piece)| shape_of(piece)).collect();
    let wanted: Vec<Shape> = shapes
        .iter()
        .map(|(i, copies)| Shape { copies: copies.len() as u32, ..all[*i].clone() })
        .collect();
    let (offcuts, passed_over) = chosen(&wanted, &sources.offcuts);
    let gap = job.cutting.gap;
    let fixed: Vec<Stock> = offcuts.iter().map(|o| offcut_stock(o)).collect();
    let mut cost: Vec<f64> = offcuts.iter().map(|o| cost(o, &offcuts)).collect();
    cost.push(0.0);
    let caution = (passed_over > 0).then(|| {
        let what = said!(
            "{} that may take pieces were not looked at: {} were",
            counted(passed_over, "offcut"),
            offcuts.len()
        );
        Fault::new(
            what,
            "plan fewer pieces at a time, or take offcuts too small to be of use out of the stock",
        )
        .on(format!("cloth {}", cloth.id))
    });
    let mut laid = Laid {
        stocks: Vec::new(),
        least: (0.0, String::new()),
        interrupted: false,
        caution,
        trace: Vec::new(),
        early: None,
    };
    let rolls = rolls_needed(&wanted, cloth, &sources.rolls);
    let stop = run.stop().share(1.0 / rolls as f64);
    if shapes.is_empty() {
        laid.least.1 = "everything is cut".to_string();
        return Ok(laid);
    }
    // What lies beside, and pieces on the rolls before, as they are drawn.
    let mut before = beside.layout(pieces.len(), offcuts.len() + sources.rolls.len());
    for (turn, roll) in sources.rolls.iter().enumerate() {
        let mut stocks = if turn == 0 { fixed.clone() } else { Vec::new() };
        stocks.push(roll_stock(roll, cloth, job));
        let left: Vec<Shape> = shapes
            .iter()
            .map(|(i, copies)| Shape { copies: copies.len() as u32, ..all[*i].clone() })
            .collect();
        let problem = Problem::new(left, stocks, gap)?;
        if turn == 0 {
            laid.least = nest::least_length(&problem);
            run.tell_ground(&|| ground(cloth, pieces, &offcuts, sources, beside, laid.least.0));
        }
        // Names of shapes and copies in the whole.
        let named = |shape: usize, copy: u32| {
            (shapes[shape].0, shapes[shape].1.get(copy as usize).copied().unwrap_or(copy))
        };
        let drawn_on = |stock: usize| if turn == 0 { stock } else { offcuts.len() + turn };
        let put = |part: &Layout| {
            let now = part.lying.iter().map(|l| {
                let (piece, copy) = named(l.piece, l.copy);
                Lying { piece, copy, stock: drawn_on(l.stock), ..*l }
            });
            let ends = part.ends.iter().map(|end| (drawn_on(end.0), end.1));
            Layout {
                lying: before.lying.iter().copied().chain(now).collect(),
                ends: before.ends.iter().copied().chain(ends).collect(),
                left: Vec::new(),
            }
        };
        let relay = run.relay(&put);
        let part = run.part(stop).with_observer(&relay);
        let mut outcome = assign::solve(&problem, &cost, params, &part);
        laid.interrupted |= outcome.interrupted;
        laid.early = outcome.early;
        if turn == 0 {
            laid.trace = std::mem::take(&mut outcome.trace);
        }
        outcome.placements.iter_mut().for_each(|p| (p.shape, p.copy) = named(p.shape, p.copy));
        outcome.unplaced.iter_mut().for_each(|u| (u.0, u.1) = named(u.0, u.1));
        if turn > 0 && !outcome.placements.is_empty() {
            // Between the last piece of one roll and the first of the next there is no gap.
            laid.least.0 = (laid.least.0 - gap).max(0.0);
        }
        let many = sources.rolls.len() > 1;
        if !outcome.unplaced.is_empty() && turn + 1 == sources.rolls.len() {
            let why = |u: &mut (usize, u32, String)| {
                if many {
                    u.2 = format!("{}, the last of {} rolls", u.2, sources.rolls.len());
                }
            };
            outcome.unplaced.iter_mut().for_each(why);
            let named = |shape: usize| {
                let piece = pieces[shape].1;
                (piece.number.as_str(), piece.id.as_str(), piece.copies)
            };
            return Err(not_placed(&outcome, &named, &cloth.id));
        }
        for (k, used) in outcome.stocks.iter().enumerate() {
            let placed: Vec<PlacedPiece> = outcome
                .placements
                .iter()
                .filter(|p| p.stock == k)
                .map(|p| placed_piece(p, pieces[p.shape].1))
                .collect();
            let stock = match problem.stocks()[used.stock].extent {
                Extent::Fixed { .. } => offcut_plan(offcuts[used.stock], placed),
                Extent::Open { .. } => roll_plan(roll, used, placed, cloth, job)?,
            };
            laid.stocks.push(stock);
        }
        if outcome.unplaced.is_empty() {
            break;
        }
        let drawn = outcome.placements.iter().map(|p| Lying {
            piece: p.shape,
            copy: p.copy,
            stock: drawn_on(outcome.stocks[p.stock].stock),
            turn: p.turn,
            down: p.flip,
            x: p.x,
            y: p.y,
        });
        let drawn: Vec<Lying> = drawn.collect();
        before.lying.extend(drawn);
        for used in &outcome.stocks {
            let ends = used.segments.iter().skip(1).map(|s| (drawn_on(used.stock), s[0]));
            before.ends.extend(ends);
        }
        let mut missing: BTreeMap<usize, Vec<u32>> = BTreeMap::new();
        outcome.unplaced.iter().for_each(|u| missing.entry(u.0).or_default().push(u.1));
        shapes = missing.into_iter().collect();
        cost = vec![0.0];
    }
    Ok(laid)
}

/// How many of the rolls the pieces will take, by their area.
fn rolls_needed(shapes: &[Shape], cloth: &Cloth, rolls: &[RollSource]) -> usize {
    let mut area: f64 = shapes.iter().map(|s| s.region.area() * f64::from(s.copies)).sum();
    let mut count = 0;
    for roll in rolls {
        count += 1;
        // Layouts fill about four fifths of a roll.
        area -= roll.length.map_or(f64::INFINITY, |l| 0.8 * l * cloth.usable_width());
        if area <= 0.0 {
            break;
        }
    }
    count.max(1)
}

/// The offcuts worth looking at, of however many there are, the smallest first; how many others may
/// take a piece too.
fn chosen<'s>(shapes: &[Shape], offcuts: &[&'s Offcut]) -> (Vec<&'s Offcut>, usize) {
    let mut sorted: Vec<(f64, &Offcut)> = offcuts.iter().map(|o| (o.area(), *o)).collect();
    sorted.sort_by(|a, b| {
        a.0.total_cmp(&b.0)
            .then(a.1.facts().added.cmp(&b.1.facts().added))
            .then(a.1.id().cmp(b.1.id()))
    });
    let size = |(area, o): &(f64, &Offcut)| {
        let b = o.bounds();
        assign::Size { width: b.width(), height: b.height(), area: *area }
    };
    let sizes: Vec<assign::Size> = sorted.iter().map(size).collect();
    let (kept, passed_over) = assign::choose(shapes, &sizes);
    (kept.into_iter().map(|i| sorted[i].1).collect(), passed_over)
}

/// What opening an offcut costs: its area, more if others of the cloth expire or came in before it.
fn cost(offcut: &Offcut, all: &[&Offcut]) -> f64 {
    let key = |o: &Offcut| (o.age().expiry.is_none(), o.age().expiry, o.facts().added);
    let older =
        all.iter().filter(|o| key(o) < key(offcut)).count() as f64 / all.len().max(1) as f64;
    offcut.area() * (1.0 + 0.3 * older)
}

fn shape_of(piece: &Piece) -> Shape {
    Shape {
        name: piece.id.clone(),
        region: piece.outline.clone(),
        poses: piece
            .permitted
            .iter()
            .map(|p| Pose { turn: p.turn, flip: p.face == Face::Down })
            .collect(),
        tolerance: piece.tolerance,
        copies: piece.copies,
        may_cross: piece.may_cross_bench,
    }
}

pub(super) fn offcut_stock(offcut: &Offcut) -> Stock {
    let extent = Extent::Fixed { region: offcut.region().clone() };
    Stock { name: offcut.id().to_string(), extent, keep_out: offcut.flaws().to_vec() }
}

fn roll_stock(roll: &RollSource, cloth: &Cloth, job: &Job) -> Stock {
    Stock {
        name: roll.id.clone(),
        extent: Extent::Open {
            low: cloth.selvedge,
            high: cloth.roll_width - cloth.selvedge,
            segment_max: job.cutting.bench_length,
            length_max: roll.length,
        },
        keep_out: roll.flaws.clone(),
    }
}

/// Faults that name the pieces without a place and what was reached, one for each reason.
/// Number, id and copies of a shape's piece are `named`.
pub(super) fn not_placed<'p>(
    outcome: &Outcome,
    named: &dyn Fn(usize) -> (&'p str, &'p str, u32),
    cloth: &str,
) -> Faults {
    let mut copies: BTreeMap<(&str, usize), u32> = BTreeMap::new();
    for (shape, _, why) in &outcome.unplaced {
        *copies.entry((why, *shape)).or_default() += 1;
    }
    let mut names: BTreeMap<&str, Vec<String>> = BTreeMap::new();
    for ((why, shape), missing) in copies {
        let (number, id, copies) = named(shape);
        let copies =
            if copies > 1 { format!(", {missing} of {copies} copies") } else { String::new() };
        names.entry(why).or_default().push(format!("{number} ({id}{copies})"));
    }
    let placed = outcome.placements.len();
    let all = placed + outcome.unplaced.len();
    let faults = names.into_iter().map(|(why, names)| {
        let piece = if names.len() == 1 { "piece" } else { "pieces" };
        Fault::new(
            said!("{why}; {placed} of {all} found a place"),
            "allow more search time, more turns, a splice, or more cloth",
        )
        .on(format!("{cloth}: {piece} {}", names.join(", ")))
    });
    Faults(faults.collect())
}

/// A roll with the pieces where the search put them.
pub(super) fn roll_plan(
    roll: &RollSource,
    used: &nest::UsedStock,
    mut placed: Vec<PlacedPiece>,
    cloth: &Cloth,
    job: &Job,
) -> Result<PlanStock, Faults> {
    let (used_length, segments) = (used.used_length, used.segments.clone());
    if used_length > LARGEST {
        let what = said!(
            "the layout takes {:.1} m of it, and a plan holds at most {:.0} m of a cloth",
            used_length / 1000.0,
            LARGEST / 1000.0
        );
        let remedy = "plan fewer sets or jobs at a time, and look whether a flaw was given in the wrong unit";
        return Err(Fault::new(what, remedy).on(format!("cloth {}", cloth.id)).into());
    }
    if job.cutting.bench_length.is_some() {
        // Sheets follow the bench: pieces of the first segment first.
        placed.sort_by_key(|p| {
            segments.iter().position(|s| ring_bounds(&p.outline).is_some_and(|b| b.min.x < s[1]))
        });
    }
    let flaws = roll
        .flaws
        .iter()
        .filter(|f| ring_bounds(f).is_some_and(|b| b.min.x < used_length))
        .cloned()
        .collect();
    Ok(PlanStock {
        id: roll.id.clone(),
        cloth: cloth.id.clone(),
        kind: StockKind::Roll,
        face: Face::Up,
        outline: vec![
            point(0.0, 0.0),
            point(used_length, 0.0),
            point(used_length, cloth.roll_width),
            point(0.0, cloth.roll_width),
        ],
        holes: Vec::new(),
        flaws,
        selvedge: cloth.selvedge,
        segments,
        used_length,
        placed,
        offcuts: Vec::new(),
    })
}

/// An offcut of the stock with pieces on it.
pub(super) fn offcut_plan(offcut: &Offcut, placed: Vec<PlacedPiece>) -> PlanStock {
    let length = offcut.bounds().width();
    let region = offcut.region().clone();
    PlanStock {
        id: offcut.id().to_string(),
        cloth: offcut.cloth().to_string(),
        kind: StockKind::Offcut,
        face: Face::Up,
        outline: region.outline,
        holes: region.holes,
        flaws: offcut.flaws().to_vec(),
        selvedge: 0.0,
        segments: vec![[0.0, snap(length)]],
        used_length: snap(length),
        placed,
        offcuts: Vec::new(),
    }
}

/// What the offcuts took off the roll, in words; nothing if none was used.
pub(super) fn savings(stocks: &[PlanStock], cloth: &Cloth) -> Option<String> {
    let opened: Vec<&PlanStock> =
        stocks.iter().filter(|s| s.cloth == cloth.id && s.kind == StockKind::Offcut).collect();
    let area =
        |s: &PlacedPiece| Region { outline: s.outline.clone(), holes: s.holes.clone() }.area();
    let (count, area) =
        opened.iter().flat_map(|s| &s.placed).fold((0, 0.0), |(n, a), p| (n + 1, a + area(p)));
    if count == 0 {
        return None;
    }
    let length = area / cloth.usable_width();
    let offcuts = counted(opened.len(), "offcut");
    let pieces = counted(count, "piece");
    Some(format!(
        "{offcuts} of cloth {} take {pieces}: at least {} of roll saved",
        cloth.id,
        show_mm(length.round())
    ))
}

/// A piece where it lies.
pub(super) fn placed_piece(placement: &Placement, piece: &Piece) -> PlacedPiece {
    let motion = Motion::new(placement.turn, placement.flip, point(placement.x, placement.y));
    let Region { outline, holes } = motion.region(&piece.outline);
    PlacedPiece {
        piece: piece.id.clone(),
        copy: placement.copy + 1,
        turn: placement.turn,
        face: if placement.flip { Face::Down } else { Face::Up },
        x: snap(placement.x),
        y: snap(placement.y),
        outline,
        holes,
        pinned: false,
    }
}
