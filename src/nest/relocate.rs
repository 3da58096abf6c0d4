//! A better place for one item: samples over its stances and positions, then descent, then exact
//! steps to contacts.
//!
//! Within one set of overlapped bodies the cost has its minima where boundaries cross, so after a
//! coarse descent the steps go to nearest boundary points, crossings of the boundaries overlapped
//! or touched, and crossings with the bounds: that lands on contacts exactly where plain descent
//! would only approach them.

use super::lattice::Lattice;
use super::overlap::{Contact, Field, Fits};
use super::random::Random;

/// Samples over the whole bounds, and near the present place.
const GLOBAL_SAMPLES: usize = 60;
const LOCAL_SAMPLES: usize = 30;
/// How far the near samples reach, and the first and last steps of the descent, as shares of the
/// item's size.
const NEAR: f64 = 0.4;
const FIRST_STEP: f64 = 0.06;
const LAST_STEP: f64 = 0.004;
/// Samples that are refined.
const KEPT: usize = 3;
/// Contacts nearer than this, µm, count as touched.
const TOUCH: f64 = 0.5;
/// Exact steps at most.
const EXACT_STEPS: usize = 16;

/// A position in one of the fields.
#[derive(Clone, Copy, Debug)]
pub(super) struct Candidate {
    pub field: usize,
    pub x: f64,
    pub y: f64,
    pub cost: f64,
}

/// Working memory kept between calls.
#[derive(Debug, Default)]
pub(super) struct Scratch {
    contacts: Vec<Contact>,
    points: Vec<(f64, f64)>,
}

/// The best place found in the fields, if it costs less than `present`. `home` is the present
/// place, `extent` the item's size.
#[allow(clippy::too_many_arguments)]
pub(super) fn relocate(
    fields: &[Field],
    fits: &mut Fits<'_>,
    home: (usize, f64, f64),
    present: f64,
    extent: f64,
    lattice: Option<Lattice>,
    random: &mut Random,
    scratch: &mut Scratch,
    evaluations: &mut u64,
) -> Option<Candidate> {
    let mut kept: Vec<Candidate> = Vec::with_capacity(KEPT + 2);
    let offer = |kept: &mut Vec<Candidate>, c: Candidate| {
        let at = kept.partition_point(|k| k.cost <= c.cost);
        kept.insert(at, c);
        kept.truncate(KEPT);
    };
    let limit = |kept: &Vec<Candidate>| {
        if kept.len() < KEPT { f64::INFINITY } else { kept[KEPT - 1].cost }
    };
    let total: f64 = fields.iter().map(|f| f.bounds.area()).sum();
    for k in 0..GLOBAL_SAMPLES + LOCAL_SAMPLES {
        let (field, x, y) = if k < GLOBAL_SAMPLES {
            let mut ticket = random.unit() * total;
            let field = fields
                .iter()
                .position(|f| {
                    ticket -= f.bounds.area();
                    ticket < 0.0
                })
                .unwrap_or(fields.len() - 1);
            let b = &fields[field].bounds;
            (field, random.between(b.x0, b.x1), random.between(b.y0, b.y1))
        } else {
            let any = random.below(fields.len());
            let field = if fields[any].bin == fields[home.0].bin { any } else { home.0 };
            let r = extent * NEAR;
            let (x, y) = (home.1 + random.between(-r, r), home.2 + random.between(-r, r));
            let (x, y) = fields[field].bounds.clamp(x, y);
            (field, x, y)
        };
        let lim = limit(&kept);
        let (x, y) = lattice.map_or((x, y), |l| {
            let b = &fields[field].bounds;
            b.clamp(l.snapped(x, b.x0), l.snapped(y, b.y0))
        });
        let cost = fields[field].cost(fits, x, y, lim);
        *evaluations += 1;
        if cost < lim {
            offer(&mut kept, Candidate { field, x, y, cost });
        }
    }
    kept.push(Candidate { field: home.0, x: home.1, y: home.2, cost: present });
    let mut best: Option<Candidate> = None;
    let mut bar = present * (1.0 - 1e-6);
    for mut c in kept {
        let here = c.field == home.0 && c.x == home.1 && c.y == home.2;
        if !here {
            descend(&fields[c.field], fits, &mut c, extent, lattice, evaluations);
        }
        settle(&fields[c.field], fits, &mut c, scratch, evaluations);
        if c.cost < bar {
            bar = c.cost;
            best = Some(c);
            if c.cost <= 0.0 {
                break;
            }
        }
    }
    best
}

/// Coordinate descent with shortening steps, on a lattice down to its own.
fn descend(
    field: &Field,
    fits: &mut Fits<'_>,
    c: &mut Candidate,
    extent: f64,
    lattice: Option<Lattice>,
    evaluations: &mut u64,
) {
    let whole = |step: f64| lattice.map_or(step, |l| l.whole(step));
    let mut step = whole(extent * FIRST_STEP).max(lattice.map_or(0.0, Lattice::step));
    let floor = lattice.map_or(extent * LAST_STEP, |l| l.step() / 2.0);
    while step > floor && c.cost > 0.0 {
        let mut better = false;
        for (dx, dy) in [(step, 0.0), (-step, 0.0), (0.0, step), (0.0, -step)] {
            let (x, y) = field.bounds.clamp(c.x + dx, c.y + dy);
            if x == c.x && y == c.y {
                continue;
            }
            let cost = field.cost(fits, x, y, c.cost);
            *evaluations += 1;
            if cost < c.cost {
                *c = Candidate { x, y, cost, ..*c };
                better = true;
                break;
            }
        }
        if !better {
            step = whole(step * 0.4);
        }
    }
}

/// Exact steps on the boundaries overlapped and touched, while they gain.
fn settle(
    field: &Field,
    fits: &mut Fits<'_>,
    c: &mut Candidate,
    scratch: &mut Scratch,
    evaluations: &mut u64,
) {
    for _ in 0..EXACT_STEPS {
        if c.cost <= 0.0 {
            return;
        }
        steps_from(field, fits, c, scratch);
        let before = c.cost;
        for &(x, y) in &scratch.points {
            let (x, y) = field.bounds.clamp(x, y);
            if x == c.x && y == c.y {
                continue;
            }
            let cost = field.cost(fits, x, y, c.cost);
            *evaluations += 1;
            if cost < c.cost {
                *c = Candidate { x, y, cost, ..*c };
            }
        }
        if c.cost > before * (1.0 - 1e-4) {
            return;
        }
    }
}

/// Candidate steps from a position.
fn steps_from(field: &Field, fits: &mut Fits<'_>, c: &Candidate, scratch: &mut Scratch) {
    let Scratch { contacts, points } = scratch;
    field.contacts(fits, c.x, c.y, TOUCH, contacts);
    contacts.sort_by(|a, b| (b.weight * b.hit.depth).total_cmp(&(a.weight * a.hit.depth)));
    contacts.truncate(7);
    points.clear();
    let deepest = contacts.iter().map(|k| k.hit.depth).fold(0.0, f64::max);
    let far = (4.0 * deepest + 4.0 * TOUCH) * (4.0 * deepest + 4.0 * TOUCH);
    let (mut sx, mut sy, mut sw) = (0.0, 0.0, 0.0);
    for (i, a) in contacts.iter().enumerate() {
        if a.hit.depth > 0.0 {
            points.push((a.hit.x, a.hit.y));
            sx += a.weight * (a.hit.x - c.x);
            sy += a.weight * (a.hit.y - c.y);
            sw += a.weight;
            // Along the boundary to the bounds it is about to meet.
            let h = &a.hit;
            for bx in [field.bounds.x0, field.bounds.x1] {
                if h.ux != 0.0 && (bx - c.x) * (bx - c.x) < far {
                    points.push((bx, h.y + h.uy * (bx - h.x) / h.ux));
                }
            }
            for by in [field.bounds.y0, field.bounds.y1] {
                if h.uy != 0.0 && (by - c.y) * (by - c.y) < far {
                    points.push((h.x + h.ux * (by - h.y) / h.uy, by));
                }
            }
        }
        for b in &contacts[..i] {
            if a.hit.depth <= 0.0 && b.hit.depth <= 0.0 {
                continue;
            }
            let det = a.hit.ux * b.hit.uy - a.hit.uy * b.hit.ux;
            if det.abs() > 1e-6 {
                let t = ((b.hit.x - a.hit.x) * b.hit.uy - (b.hit.y - a.hit.y) * b.hit.ux) / det;
                let p = (a.hit.x + a.hit.ux * t, a.hit.y + a.hit.uy * t);
                if (p.0 - c.x) * (p.0 - c.x) + (p.1 - c.y) * (p.1 - c.y) < far {
                    points.push(p);
                }
            }
        }
    }
    if sw > 0.0 {
        points.push((c.x + sx / sw, c.y + sy / sw));
    }
}
