//! Pieces against templates: the way from the template to the piece gone again, by the plan's own
//! words.
//!
//! All of a ply is looked at in its ply frame: the template turned so that its arrow lies along +x,
//! mirrored about x for the mirrored hand, turned by minus the angle; a piece's points less its
//! origin. Tolerances:
//!
//! | what | tolerance |
//! |---|---|
//! | net line of a whole piece against the template's | 2 µm |
//! | net line of a part, relief cuts, cover and overlap of parts | 5 µm |
//! | a local patch stepped back: distance from the template's net line | 5 µm less, 0.06 mm more; at inward corners a mitre may reach 1.5 times the step |
//! | arrow | 0.1°, and what the grid takes from a short one |
//! | cut line inside the net line | 5 µm |
//! | cut line farther out than the allowance | 0.06 mm, all along it; at corners a mitre may reach 1.5 times the allowance; nothing through the ply itself |
//! | cut line nearer than the allowance | 0.06 mm, beside edges; not looked at within 2.5 allowances of an edge with another allowance |
//! | butt edges and dart legs | 0.2 mm, away from neighbours that grow |

use super::allowance::Reaches;
use super::area::area_where;
use super::depth::overlap_depth;
use super::exact::{P, Shape, interiors_meet, nearer_than};
use super::findings::Findings;
use super::frame::Frame;
use super::laid::{Laid, PART_MM, Seg, WHOLE_MM, segs_of};
use super::placement::turns_apart;
use super::ply::Ply;
use super::sane::Exact;
use super::{allowance, splices, stagger};
use crate::geometry::{Path, Point, Ring, point};
use crate::outline::EdgeKind;
use crate::plan::{Plan, PlanPiece, PlanTemplate};
use crate::units::GRID_PER_MM;

const ARROW_DEGREES: f64 = 0.1;

/// Every ply.
pub(super) fn check(plan: &Plan, exact: &Exact, plies: &[Ply], found: &mut Findings<'_>) {
    patches(plan, found);
    let mut laid = Vec::new();
    for ply in plies {
        if found.full() {
            return;
        }
        let Some(this) = lay(plan, exact, ply) else {
            found.add(
                &ply.name,
                "cannot be laid over its template: a point lies beyond the supported size, or a step-back leaves no whole patch",
            );
            continue;
        };
        nets(&this, found);
        if found.full() {
            return;
        }
        arrows(&this, found);
        relief_cuts(&this, found);
        allowance::check(&this, found);
        splices::check(&this, found);
        laid.push(this);
    }
    stagger::check(plan, &laid, found);
}

/// Local patches lie on their host.
fn patches(plan: &Plan, found: &mut Findings<'_>) {
    for t in &plan.templates {
        let Some((on, _)) = &t.on else { continue };
        let who = format!("template {}", t.template);
        let Some(host) = plan.templates.iter().find(|h| h.template == *on && h.job == t.job) else {
            found.add(&who, said!("lies on template {on}, which the plan lacks"));
            continue;
        };
        if turns_apart(host.arrow, t.arrow) > 1e-9 {
            found.add(&who, said!("does not share the arrow of its host {on}"));
        }
        let (Some(patch), Some(host)) = (
            Shape::rounded(std::slice::from_ref(&t.net)),
            Shape::rounded(std::slice::from_ref(&host.net)),
        ) else {
            continue;
        };
        let outside = host.complement();
        if interiors_meet(&patch, &outside).is_some()
            && let Some((depth, at)) = overlap_depth(&patch, &outside)
            && depth > WHOLE_MM
        {
            found.add_at(
                &who,
                at,
                said!("reaches {depth:.3} mm beyond the net line of its host {on}"),
            );
        }
    }
}

/// Everything into the ply frame.
fn lay<'a>(plan: &'a Plan, exact: &Exact, ply: &'a Ply<'a>) -> Option<Laid<'a>> {
    let pieces: Vec<&PlanPiece> = ply.pieces.iter().map(|&i| &plan.pieces[i]).collect();
    let back = |p: &PlanPiece| P::on_grid(-p.origin);
    let outlines: Vec<Shape> = ply
        .pieces
        .iter()
        .map(|&i| Some(exact.pieces[i].moved(back(&plan.pieces[i])?)))
        .collect::<Option<_>>()?;
    let mut nets = Vec::new();
    for p in &pieces {
        nets.push(if p.net.is_empty() {
            None
        } else {
            Some(Shape::rounded(&p.net)?.moved(back(p)?))
        });
    }
    let first = *pieces.first()?;
    let frame = Frame::new(ply.template.arrow, first.hand, first.angle, point(0.0, 0.0));
    let t = ply.template;
    let mut segs = template_segs(t, &frame, ply);
    let holes: Vec<Ring> = t.holes.iter().map(|h| frame.ring(h)).collect();
    let mut region = Shape::rounded(&[vec![frame.ring(&t.net)], holes.clone()].concat())?;
    if step_back(ply) > 0.0 {
        // What it stepped back to is in the piece alone; `nets` holds its distance against the
        // template.
        let [Some(net)] = &nets[..] else { return None };
        let kind = |p: Point| {
            segs.iter()
                .min_by(|s, o| {
                    p.distance_to_segment(s.a, s.b).total_cmp(&p.distance_to_segment(o.a, o.b))
                })
                .map_or(0.0, |s| s.amount)
        };
        let stepped = net
            .edges()
            .iter()
            .map(|e| (e.a.mm(), e.b.mm()))
            .map(|(a, b)| Seg { a, b, amount: kind((a + b) * 0.5) })
            .collect();
        (region, segs) = (net.clone(), stepped);
    }
    Some(Laid { ply, pieces, outlines, nets, region, segs, holes })
}

/// By how much a local patch has stepped back in this layer, mm.
fn step_back(ply: &Ply) -> f64 {
    ply.template.on.as_ref().map_or(0.0, |(_, step)| step * ply.steps as f64)
}

pub(super) fn template_segs(t: &PlanTemplate, frame: &Frame, ply: &Ply) -> Vec<Seg> {
    let amount = |kind: EdgeKind| match kind {
        EdgeKind::Trim => ply.layer.trim,
        EdgeKind::Lap => ply.layer.lap,
        EdgeKind::Butt | EdgeKind::Dart => 0.0,
    };
    let mirrored = ply.hand == crate::ply::Hand::Mirrored;
    let seg = |a: Point, b: Point, amount: f64| {
        let (a, b) = (frame.to_piece(a), frame.to_piece(b));
        if mirrored { Seg { a: b, b: a, amount } } else { Seg { a, b, amount } }
    };
    let around = |ring: &Ring, amount: &dyn Fn(usize) -> f64| {
        (0..ring.len())
            .map(|i| seg(ring[i], ring[(i + 1) % ring.len()], amount(i)))
            .collect::<Vec<_>>()
    };
    let mut segs = around(&t.net, &|i| amount(t.edges[i]));
    for hole in &t.holes {
        segs.extend(around(hole, &|_| ply.layer.trim));
    }
    segs
}

/// The net line of each piece is the template's, or the part of it inside the piece.
fn nets(laid: &Laid, found: &mut Findings<'_>) {
    let step = step_back(laid.ply);
    for ((piece, net), outline) in laid.pieces.iter().zip(&laid.nets).zip(&laid.outlines) {
        let who = format!("piece {}", piece.piece);
        if step > 0.0 {
            stepped_back(laid, &who, net.as_ref(), step, found);
        } else if piece.part.is_none() {
            let Some(net) = net else {
                found.add(&who, "has no net line");
                continue;
            };
            let (own, other) = (segs_of(net), &laid.segs);
            if let Some(p) = off(&own, other).or_else(|| off(other, &own)) {
                found.add_at(&who, p + piece.origin, "its net line is not its template's, turned and mirrored as its angle and hand say");
            } else if (net.area_mm2() - laid.region.area_mm2()).abs()
                > 0.01 + WHOLE_MM * net.perimeter_mm()
            {
                found.add(&who, "its net line encloses another area than its template's");
            }
        } else {
            let common = area_where(&[&laid.region, outline], |i| i[0] && i[1]);
            let own = net.as_ref().map_or(0.0, Shape::area_mm2);
            let slack = 0.01 + PART_MM * (laid.region.perimeter_mm() + outline.perimeter_mm());
            if (own - common).abs() > slack {
                found.add(&who, said!("its net line encloses {own:.2} mm², the template's net inside it {common:.2}"));
            }
            let astray = net.as_ref().and_then(|n| {
                n.edges().iter().map(|e| e.a.mm()).find(|&p| {
                    !laid.region.contains_mm(p) && !laid.segs.iter().any(|s| s.within(p, PART_MM))
                })
            });
            if let Some(p) = astray {
                found.add_at(&who, p + piece.origin, "its net line leaves its template's");
            }
        }
        let outside = outline.complement();
        if let Some(net) = net
            && interiors_meet(net, &outside).is_some()
            && let Some((depth, at)) = overlap_depth(net, &outside)
            && depth > PART_MM
        {
            found.add_at(
                &who,
                at + piece.origin,
                said!("its cut line runs {depth:.3} mm inside the net line"),
            );
        }
    }
}

/// The first corner of a line that lies off another, if one does. Looked for on both sides of where
/// the one before lies: they run along each other.
fn off(line: &[Seg], other: &[Seg]) -> Option<Point> {
    let (n, mut last) = (other.len(), 0);
    line.iter().map(|s| s.a).find(|&p| {
        let mut around =
            (0..n).map(|k| (last + if k % 2 == 0 { k / 2 } else { n - k.div_ceil(2) }) % n);
        let found = around.find(|&i| other[i].within(p, WHOLE_MM));
        last = found.unwrap_or(last);
        found.is_none()
    })
}

/// The net line of a patch that has stepped back lies the step inside the template's, all round:
/// what is taken off is what the template's edges would fill if they grew inward.
fn stepped_back(laid: &Laid, who: &str, net: Option<&Shape>, step: f64, found: &mut Findings<'_>) {
    let frame =
        Frame::new(laid.ply.template.arrow, laid.ply.hand, laid.pieces[0].angle, point(0.0, 0.0));
    let template = template_segs(laid.ply.template, &frame, laid.ply);
    let Some(whole) = Shape::rounded(&[frame.ring(&laid.ply.template.net)]) else {
        return;
    };
    let Some(net) = net else { return };
    let mut fault = |what: String, p: Point| {
        let what = said!("its net line lies {what}, which steps back by {step} mm in this layer");
        found.add_at(who, p + laid.pieces[0].origin, what);
    };
    if let Some(e) = net.edges().iter().find(|e| !whole.contains_mm(e.a.mm())) {
        return fault("outside the patch's".into(), e.a.mm());
    }
    let least = ((step - PART_MM) * GRID_PER_MM).round() as i64;
    if let Some((distance, at)) = nearer_than(net, &whole, least) {
        return fault(format!("{distance:.3} mm from the patch's"), at.mm());
    }
    let inward: Vec<Seg> = template.iter().map(|s| Seg { a: s.b, b: s.a, amount: step }).collect();
    let outside = whole.complement();
    let reaches = Reaches::of(&inward, &outside);
    let astray =
        net.edges().iter().filter_map(|e| reaches.astray(e)).max_by(|x, y| x.0.total_cmp(&y.0));
    if let Some((off, p)) = astray {
        fault(format!("{:.3} mm from the patch's", step + off), p);
    }
}

/// The arrow lies at minus the angle.
pub(super) fn arrows(laid: &Laid, found: &mut Findings<'_>) {
    for piece in &laid.pieces {
        let along = piece.arrow[1] - piece.arrow[0];
        let off = turns_apart(along.direction(), -piece.angle);
        // Each end is rounded by up to 0.7 µm.
        let slack = ARROW_DEGREES + (0.0015 / along.length().max(1e-6)).to_degrees();
        if off > slack || along.length() == 0.0 {
            let what = said!(
                "its arrow points {off:.2} degrees off the part's 0°, which lies at {} on this piece",
                -piece.angle
            );
            found.add(&format!("piece {}", piece.piece), what);
        }
    }
}

/// Relief cuts lie where the template has them, and none is lost.
fn relief_cuts(laid: &Laid, found: &mut Findings<'_>) {
    let t = laid.ply.template;
    let frame = Frame::new(t.arrow, laid.ply.hand, laid.pieces[0].angle, point(0.0, 0.0));
    let lines = |paths: &[Path], move_: &dyn Fn(Point) -> Point| -> Vec<Seg> {
        paths
            .iter()
            .flat_map(|c| {
                c.windows(2)
                    .map(|w| Seg { a: move_(w[0]), b: move_(w[1]), amount: 0.0 })
                    .collect::<Vec<_>>()
            })
            .collect()
    };
    let wanted = lines(&t.cuts, &|p| frame.to_piece(p));
    for (piece, outline) in laid.pieces.iter().zip(&laid.outlines) {
        let who = format!("piece {}", piece.piece);
        let own = lines(&piece.cuts, &|p| p - piece.origin);
        let points = |segs: &[Seg]| {
            segs.iter().flat_map(|s| [s.a, s.b, (s.a + s.b) * 0.5]).collect::<Vec<_>>()
        };
        let on = |p: Point, segs: &[Seg]| segs.iter().any(|s| s.within(p, PART_MM));
        if let Some(p) = points(&own).into_iter().find(|&p| !on(p, &wanted)) {
            found.add_at(&who, p + piece.origin, "has a relief cut where its template has none");
        }
        let well_inside =
            |p: Point| outline.contains_mm(p) && outline.boundary_distance_mm(p) > 4.0 * PART_MM;
        if let Some(p) = points(&wanted).into_iter().find(|&p| !on(p, &own) && well_inside(p)) {
            found.add_at(&who, p + piece.origin, "lacks a relief cut of its template");
        }
    }
}
