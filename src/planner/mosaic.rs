//! Mosaic layers: targets divided, directions given, patches put on offcuts; what finds none is
//! planned with the other pieces.

use super::earlier::Earlier;
use super::ground::drawn;
use super::lay::{offcut_plan, offcut_stock, placed_piece};
use super::prepared::{PreparedJob, letters, pieces_on};
use super::refusal::{MOST_PIECES, too_many};
use crate::cloth::{Cloth, Face, turn_rule};
use crate::fault::{Fault, Faults};
use crate::geometry::{Motion, Region, Ring, point, ring_area, ring_bounds};
use crate::job::{Hands, Job, LayerItem, Mosaic, Seen};
use crate::mosaic::{self, Brief, Division, Packed, Whole};
use crate::nest::{Params, Placement, Shape, Stock};
use crate::plan::{PlanMosaic, PlanStock, StockKind};
use crate::ply::{Hand, PatchOf, Piece, Target, patch_piece, target};
use crate::run::{Phase, Run, Stop};
use crate::stock::{Offcut, Snapshot};
use crate::units::{degrees_of_warp, snap};
use std::collections::BTreeSet;

/// Places between the smallest and the largest patch size that are tried, in this order.
const SIZES: [f64; 3] = [0.4, 0.2, 0.6];
/// Share of a timed run for the mosaics.
const SHARE: f64 = 0.4;
/// The same where nothing else is planned.
const ALONE: f64 = 0.85;
/// Share of a mosaic's time for a first look at one patch size.
const LOOK: f64 = 0.06;

/// What the mosaics add to a plan.
#[derive(Default)]
pub(super) struct Mosaics {
    pub plans: Vec<PlanMosaic>,
    /// Offcuts with patches on them.
    pub stocks: Vec<PlanStock>,
    /// Ids of the pieces on them.
    pub placed: BTreeSet<String>,
}

impl Mosaics {
    /// The offcuts opened.
    pub fn opened(&self) -> BTreeSet<String> {
        self.stocks.iter().map(|s| s.id.clone()).collect()
    }
}

/// One target on its way.
struct Task<'a> {
    job: &'a Job,
    layer: usize,
    rule: &'a Mosaic,
    item: &'a LayerItem,
    hand: Hand,
    copy: u32,
    target: Target,
}

impl Task<'_> {
    /// The ply that its patches name; `prefix` tells several jobs apart.
    fn ply(&self, prefix: &str) -> String {
        let template = &self.job.templates[self.item.template].id;
        let mirrored = if self.hand == Hand::Mirrored { "-mirrored" } else { "" };
        let copy = if self.copy > 1 { format!("-{}", self.copy) } else { String::new() };
        format!("{prefix}{}-{template}{mirrored}{copy}", self.layer + 1)
    }
}

/// One way to make a mosaic.
struct Design {
    division: Division,
    directions: Vec<f64>,
    /// Patches that are offcuts as they are.
    whole: Whole,
    /// The other patches on the other offcuts.
    packed: Packed,
}

impl Design {
    /// Patches without an offcut first, then how badly the opened ones are filled.
    fn worse(&self) -> (usize, f64) {
        (
            self.division.patches.len() - self.whole.len() - self.packed.placements.len(),
            -self.packed.fill(),
        )
    }

    /// How a patch lies, and on which of all offcuts.
    fn place(&self, patch: usize) -> Option<&Placement> {
        let whole = self.whole.get(&patch).map(|w| &w.placement);
        whole.or_else(|| self.packed.placements.iter().find(|p| p.shape == patch))
    }

    /// What is cut for a patch, or laid for it as it is.
    fn outline(&self, patch: usize) -> &Region {
        self.whole.get(&patch).map_or(&self.division.patches[patch], |w| &w.region)
    }
}

/// Plans all mosaic layers, but for those of an earlier plan, which stay; the patches are added to
/// the prepared pieces.
pub(super) fn plan(
    prepared: &mut [PreparedJob<'_>],
    stock: Option<&Snapshot>,
    earlier: &Earlier,
    sets: u32,
    run: &Run<'_>,
) -> Result<Mosaics, Faults> {
    let (mut faults, mut all) = (Faults::new(), Mosaics::default());
    let several = prepared.len() > 1;
    let tasks: Vec<(usize, Task<'_>)> = prepared
        .iter()
        .enumerate()
        .flat_map(|(k, p)| tasks(p.job, sets, &mut faults).into_iter().map(move |t| (k, t)))
        .collect();
    let count = tasks.len();
    let share = if prepared.iter().all(|p| p.prepared.pieces.is_empty()) { ALONE } else { SHARE };
    for (done, (k, task)) in tasks.into_iter().enumerate() {
        let prefix = if several {
            (format!("{}/", task.job.name), letters(k))
        } else {
            (String::new(), String::new())
        };
        let cloth = task.job.layers[task.layer].cloth;
        if let Some((plan, patches)) = earlier.mosaic(task.job, &task.ply(&prefix.0), cloth) {
            all.plans.push(plan);
            prepared[k].prepared.pieces.extend(patches);
            continue;
        }
        let cloth = &task.job.cloths[cloth];
        let offcuts: Vec<&Offcut> = {
            let opened = all.opened();
            stock.map_or(Vec::new(), |s| {
                s.offcuts_of(&cloth.id, true).filter(|o| !opened.contains(o.id())).collect()
            })
        };
        let stop = run.stop().share(share / count as f64);
        let part =
            run.about(&cloth.id, (done as f64 / count as f64, 1.0 / count as f64)).part(stop);
        part.tell(Phase::Searching, Some(0.0));
        let design = match design(&task, &offcuts, &part) {
            Ok(design) => design,
            Err(f) => {
                faults.extend(f);
                continue;
            }
        };
        let before =
            prepared[k].prepared.pieces.iter().filter(|p| p.layer == task.layer + 1).count();
        let Some(made) =
            faults.keep(made(&task, &design, &offcuts, &prefix, before).map_err(Faults::from))
        else {
            continue;
        };
        for id in made.stocks.iter().flat_map(|s| &s.placed).map(|p| p.piece.clone()) {
            all.placed.insert(id);
        }
        all.stocks.extend(made.stocks);
        all.plans.push(made.plan);
        prepared[k].prepared.pieces.extend(made.pieces);
        run.tell_settled(&|| {
            let patches: Vec<(&Job, &Piece)> =
                pieces_on(prepared, cloth).filter(|p| all.placed.contains(&p.1.id)).collect();
            drawn(&cloth.id, &patches, &of_cloth(&all.stocks, cloth), 0.0)
        });
    }
    for p in prepared {
        p.prepared.pieces.sort_by_key(|piece| piece.layer);
    }
    faults.into_result(all)
}

fn tasks<'a>(job: &'a Job, sets: u32, faults: &mut Faults) -> Vec<Task<'a>> {
    let mut out = Vec::new();
    for (layer, l) in job.layers.iter().enumerate() {
        let Some(rule) = &l.mosaic else { continue };
        for item in &l.items {
            let hands: &[Hand] = match item.hands {
                Hands::AsTraced => &[Hand::AsTraced],
                Hands::Mirrored => &[Hand::Mirrored],
                Hands::Both => &[Hand::AsTraced, Hand::Mirrored],
            };
            for &hand in hands {
                let copies = item.copies.saturating_mul(sets);
                if out.len() as u64 + u64::from(copies) > MOST_PIECES as u64 {
                    faults.push(too_many(copies as usize).in_file(&job.file).on(format!(
                        "layer {} {:?}",
                        layer + 1,
                        l.name
                    )));
                    continue;
                }
                for copy in 1..=copies {
                    match target(job, layer, item.template, hand) {
                        Some(target) => {
                            out.push(Task { job, layer, rule, item, hand, copy, target })
                        }
                        None => {
                            let fault =
                                Fault::new("its outline encloses no area", "check the drawing");
                            faults.push(
                                fault.in_file(&job.file).on(&job.templates[item.template].id),
                            );
                        }
                    }
                }
            }
        }
    }
    out
}

/// The best of several divisions: the one that fills the offcuts it opens best.
fn design(task: &Task<'_>, offcuts: &[&Offcut], run: &Run<'_>) -> Result<Design, Faults> {
    let layer = &task.job.layers[task.layer];
    let cloth = &task.job.cloths[layer.cloth];
    let (modulo, least) = (Mosaic::modulo(cloth), task.rule.least_on(cloth));
    let down = turn_rule(cloth, layer.seen != Seen::Hidden, None)
        .permitted
        .iter()
        .any(|p| p.face == Face::Down && p.turn == 0.0);
    let stocks: Vec<_> = offcuts.iter().map(|o| offcut_stock(o)).collect();
    let on = |f: Fault| {
        f.in_file(&task.job.file).on(format!(
            "layer {} {:?}: {}",
            task.layer + 1,
            layer.name,
            task.job.templates[task.item.template].id
        ))
    };
    let params = Params::default();
    let (mut best, mut fault): (Option<(Design, Rest)>, Option<Fault>) = (None, None);
    for (k, share) in SIZES.iter().enumerate() {
        if best.is_some()
            && (offcuts.is_empty() || run.is_stopped(Phase::Searching) || run.is_late())
        {
            break;
        }
        let [from, to] = task.rule.size;
        let seed = seed(task, run).wrapping_add(k as u64);
        let brief = Brief {
            target: task.target.region.clone(),
            size: [from, to],
            lap: task.rule.lap,
            seed,
        };
        let division = match mosaic::divide(&brief, from + (to - from) * share) {
            Ok(division) => division,
            Err(f) => {
                fault = fault.or(Some(f));
                continue;
            }
        };
        let Some(directions) =
            mosaic::directions(&division.middles, &division.seams, least, modulo, seed)
        else {
            let what = said!(
                "no directions were found for {} patches that differ by {least}° where they touch",
                division.patches.len()
            );
            fault = fault.or_else(|| {
                Some(Fault::new(what, said!("ask for less: {} leaves room", 0.2 * modulo)))
            });
            continue;
        };
        let slack = mosaic::slack(&directions, &division.seams, least, modulo);
        let shapes: Vec<Shape> = (0..directions.len())
            .map(|i| Shape {
                name: format!("patch {}", i + 1),
                region: division.patches[i].clone(),
                poses: mosaic::poses(directions[i], slack[i], modulo, down),
                tolerance: 0.0,
                copies: 1,
                may_cross: false,
            })
            .collect();
        let slice = match run.stop() {
            Stop::After(all) => Stop::After(all.mul_f64(LOOK)),
            Stop::Effort(_) => Stop::Effort(1),
        };
        let whole = mosaic::lay_whole(&division, &task.target.region, &shapes, &stocks);
        let rest = Rest::new(shapes, &stocks, &whole);
        let packed = mosaic::pack(
            &rest.patches,
            &rest.offcuts,
            task.job.cutting.gap,
            &params,
            &run.part(slice).with_seed(seed),
        )?;
        let new = Design { division, directions, whole, packed };
        let (a, b) = (new.worse(), best.as_ref().map(|b| b.0.worse()));
        if b.is_none_or(|b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)).is_lt()) {
            best = Some((new, rest));
        }
    }
    if let Some((design, rest)) = &mut best {
        let packed = std::mem::take(&mut design.packed);
        let left = run.part(run.rest()).with_seed(seed(task, run));
        let gap = task.job.cutting.gap;
        let packed = mosaic::improve(packed, &rest.patches, &rest.offcuts, gap, &params, &left)?;
        design.packed = rest.among_all(packed);
    }
    let best = best.map(|b| b.0);
    let unknown = || Fault::new("it could not be divided", "give it more time");
    best.ok_or_else(|| on(fault.unwrap_or_else(unknown)).into())
}

/// Patches that are cut, and the offcuts that are not laid whole.
struct Rest {
    patches: Vec<Shape>,
    offcuts: Vec<Stock>,
    /// Their indices among all.
    which: [Vec<usize>; 2],
}

impl Rest {
    fn new(patches: Vec<Shape>, offcuts: &[Stock], whole: &Whole) -> Rest {
        let cut: Vec<usize> = (0..patches.len()).filter(|i| !whole.contains_key(i)).collect();
        let free: Vec<usize> = (0..offcuts.len())
            .filter(|k| whole.values().all(|w| w.placement.stock != *k))
            .collect();
        Rest {
            patches: cut.iter().map(|&i| patches[i].clone()).collect(),
            offcuts: free.iter().map(|&k| offcuts[k].clone()).collect(),
            which: [cut, free],
        }
    }

    fn among_all(&self, mut packed: Packed) -> Packed {
        for p in &mut packed.placements {
            (p.shape, p.stock) = (self.which[0][p.shape], self.which[1][p.stock]);
        }
        packed
    }
}

/// Seed of a task's random choices.
fn seed(task: &Task<'_>, run: &Run<'_>) -> u64 {
    let own = task.rule.seed.wrapping_mul(31).wrapping_add(u64::from(task.copy) * 7);
    let hand = if task.hand == Hand::Mirrored { 500_009 } else { 0 };
    run.seed().wrapping_mul(1009).wrapping_add(own).wrapping_add(hand)
}

struct Made {
    plan: PlanMosaic,
    pieces: Vec<Piece>,
    stocks: Vec<PlanStock>,
}

/// The design as pieces, offcuts and an entry of the plan. `prefix` tells several jobs apart;
/// `before` pieces of the layer have numbers.
fn made(
    task: &Task<'_>,
    design: &Design,
    offcuts: &[&Offcut],
    prefix: &(String, String),
    before: usize,
) -> Result<Made, Fault> {
    let layer = &task.job.layers[task.layer];
    let cloth = &task.job.cloths[layer.cloth];
    let template = &task.job.templates[task.item.template].id;
    let ply = task.ply(&prefix.0);
    let count = design.division.patches.len();
    let earlier_on_top = layer.seen != Seen::OtherSide;
    let mut pieces = Vec::new();
    let mut placed: Vec<Vec<crate::plan::PlacedPiece>> = vec![Vec::new(); offcuts.len()];
    let mut angles = vec![0.0; count];
    for number in 1..=count {
        let i = if earlier_on_top { number - 1 } else { count - number };
        let place = design.place(i);
        let angle = degrees_of_warp(place.map_or(design.directions[i], |p| -p.turn));
        angles[i] = angle;
        let of = PatchOf {
            layer: task.layer,
            template: task.item.template,
            hand: task.hand,
            ply: &ply,
            number: number as u32,
            angle,
            seen: &design.division.seen[i],
        };
        let Some(mut piece) = patch_piece(task.job, &task.target, design.outline(i), &of) else {
            let what =
                said!("patch {number} of {template} is too thin anywhere to draw its arrow in");
            let remedy = "take another `mosaic_seed` or larger patches, or take very narrow offcuts out of the stock";
            return Err(Fault::new(what, remedy).in_file(&task.job.file).on(format!(
                "layer {} {:?}",
                task.layer + 1,
                layer.name
            )));
        };
        piece.number = format!("{}{}.{}", prefix.1, task.layer + 1, before + number);
        if let Some(p) = place {
            let mut place = in_piece_frame(p, &piece);
            if design.whole.contains_key(&i) {
                outlined_by(&mut piece, &mut place, offcuts[p.stock]);
            }
            placed[p.stock].push(placed_piece(&place, &piece));
        }
        pieces.push(piece);
    }
    let stocks: Vec<PlanStock> = offcuts
        .iter()
        .zip(placed)
        .filter(|(_, p)| !p.is_empty())
        .map(|(o, p)| offcut_plan(o, p))
        .collect();
    let modulo = Mosaic::modulo(cloth);
    let mix = mosaic::mix(&angles, &design.division.middles, &design.division.seams, modulo);
    let short = |x: f64| (x * 1000.0).round() / 1000.0;
    let plan = PlanMosaic {
        job: task.job.name.clone(),
        layer: task.layer + 1,
        ply,
        template: template.clone(),
        hand: task.hand,
        earlier_on_top,
        lap: task.rule.lap,
        least_difference: task.rule.least_on(cloth),
        modulo,
        size: task.rule.size,
        target: task.target.region.outline.clone(),
        holes: task.target.region.holes.clone(),
        patches: pieces.iter().map(|p| p.id.clone()).collect(),
        resultant: short(mix.resultant),
        two_ways: short(mix.two_ways),
        drift: short(mix.drift),
        from_offcuts: 0.0,
        opened: 0.0,
    };
    Ok(Made { plan, pieces, stocks })
}

/// A patch placed by the search, which turned it out of the part frame, as a placement of the
/// piece, whose warp lies along +x already.
fn in_piece_frame(p: &Placement, piece: &Piece) -> Placement {
    let half = (p.turn + piece.angle).rem_euclid(360.0);
    let turn = if (90.0..270.0).contains(&half) { 180.0 } else { 0.0 };
    let sign = if turn == 0.0 { 1.0 } else { -1.0 };
    let down = if p.flip { -1.0 } else { 1.0 };
    Placement {
        turn,
        x: snap(p.x - sign * piece.origin.x),
        y: snap(p.y - down * sign * piece.origin.y),
        ..p.clone()
    }
}

/// A patch that is a whole offcut gets its very outline, not that which was rounded after its turn
/// into the part frame.
fn outlined_by(piece: &mut Piece, place: &mut Placement, offcut: &Offcut) {
    let turned = Motion::new(place.turn, place.flip, point(0.0, 0.0));
    let outline = turned.inverse().ring(&offcut.region().outline);
    let Some(b) = ring_bounds(&outline) else {
        return;
    };
    piece.outline = Region::solid(Motion::new(0.0, false, b.min * -1.0).ring(&outline));
    // The frame moves by what was rounded; so does its origin.
    piece.origin =
        (piece.origin + turned.inverse().apply(point(place.x, place.y)) - b.min).snapped();
    let at = turned.apply(b.min).snapped();
    (place.x, place.y) = (at.x, at.y);
}

/// Measures what each mosaic takes of the offcuts that hold patches of it, those placed with the
/// other pieces among them.
pub(super) fn measure(plans: &mut [PlanMosaic], stocks: &[PlanStock]) {
    for m in plans {
        let (mut taken, mut opened) = (0.0, 0.0);
        for s in stocks.iter().filter(|s| s.kind == StockKind::Offcut) {
            let mine = s.placed.iter().filter(|p| m.patches.contains(&p.piece));
            let area = |outline: &Ring, holes: &[Ring]| {
                ring_area(outline) + holes.iter().map(|h| ring_area(h)).sum::<f64>()
            };
            let here: f64 = mine.map(|p| area(&p.outline, &p.holes)).sum();
            if here > 0.0 {
                taken += here;
                opened += area(&s.outline, &s.holes);
            }
        }
        (m.from_offcuts, m.opened) = (snap(taken), snap(opened));
    }
}

/// Those of the stocks that are of a cloth.
pub(super) fn of_cloth(stocks: &[PlanStock], cloth: &Cloth) -> Vec<PlanStock> {
    stocks.iter().filter(|s| s.cloth == cloth.id).cloned().collect()
}
