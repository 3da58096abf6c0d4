//! Prepared pieces are held against their templates: what preparation makes is accepted, what it
//! must not make is refused.
#![allow(clippy::unwrap_used)]

mod ply_support;
mod verify_support;

use ply_support::{job, layer, plain_template, rectangle, splice_rule, template};
use std::path::Path;
use verify_support::{accepted, empty, finish, place_at, refused};
use warpwise::cloth::{Cloth, Face, Weave};
use warpwise::geometry::{Ring, point, ring_bounds};
use warpwise::job::{Hands, Job, LayerItem, PatchShape, Seen, SpliceKind, TemplateSource};
use warpwise::outline::{Draft, EdgeKind};
use warpwise::plan::{
    Plan, PlanLayer, PlanLayerItem, PlanPiece, PlanStock, PlanTemplate, SpliceFacts, cloth_figures,
    left_over,
};
use warpwise::ply;

/// The plan of a job, every piece in a row along its cloth in the first turn that fits.
fn plan_of(job: &Job) -> Plan {
    let prepared = ply::prepare(job).unwrap_or_else(|f| panic!("{f}"));
    let mut plan = empty(&job.cloths[0], 1.0, job.cutting.gap);
    plan.materials = job.cloths.iter().map(|c| empty(c, 1.0, 0.0).materials.remove(0)).collect();
    plan.rules.angle_tolerance = 10.0;
    for (i, t) in job.templates.iter().enumerate() {
        let frame = ply::template_frame(job, i).unwrap();
        let on = match &t.source {
            TemplateSource::Patch { on, step_back, .. } => Some((on.clone(), *step_back)),
            _ => None,
        };
        let s = frame.skin;
        plan.templates.push(PlanTemplate {
            template: t.id.clone(),
            job: "kayak".into(),
            arrow: frame.arrow,
            net: s.net,
            edges: s.edges,
            holes: s.holes,
            cuts: s.cuts,
            no_splice: s.no_splice,
            inked: frame.inked,
            other_hand_of: t.other_hand_of.clone(),
            strip: false,
            on,
        });
    }
    for (i, l) in job.layers.iter().enumerate() {
        let item = |i: &LayerItem| PlanLayerItem {
            template: job.templates[i.template].id.clone(),
            hands: i.hands,
            copies: i.copies,
        };
        plan.layers.push(PlanLayer {
            job: "kayak".into(),
            layer: i + 1,
            name: l.name.clone(),
            cloth: job.cloths[l.cloth].id.clone(),
            angle: l.angle,
            seen: l.seen,
            book_match: l.book_match,
            trim: l.trim,
            lap: l.lap,
            turns_overridden: l.turns.is_some(),
            items: l.items.iter().map(item).collect(),
        });
    }
    for p in &prepared.pieces {
        let facts = job.splice.as_ref().map(|s| {
            let (kind, lap) = ply::splice_of(job.cloths[p.cloth].weave, s.lap);
            SpliceFacts { kind, lap, stagger: s.stagger, plies_apart: s.plies_apart }
        });
        plan.pieces.push(PlanPiece {
            piece: p.id.clone(),
            number: p.number.clone(),
            job: "kayak".into(),
            layer: p.layer,
            ply: p.ply.clone(),
            template: p.template.clone(),
            hand: p.hand,
            side: None,
            angle: p.angle,
            cloth: job.cloths[p.cloth].id.clone(),
            part: p.part,
            splice: p.part.and(facts),
            patch: None,
            copies: p.copies,
            permitted: p.permitted.clone(),
            tolerance: p.tolerance,
            permitted_by: p.permitted_by.clone(),
            may_cross_bench: p.may_cross_bench,
            origin: p.origin,
            outline: p.outline.outline.clone(),
            holes: p.outline.holes.clone(),
            net: p.net.clone(),
            cuts: p.cuts.clone(),
            marks: p.marks.clone(),
            arrow: p.arrow,
        });
    }
    laid_out(plan, &job.cloths)
}

/// Puts every piece of a plan in a row again, and measures.
fn laid_out(mut plan: Plan, cloths: &[Cloth]) -> Plan {
    (plan.stocks, plan.cloths) = (Vec::new(), Vec::new());
    for cloth in cloths.iter().filter(|c| plan.pieces.iter().any(|p| p.cloth == c.id)) {
        let (mut placed, mut x) = (Vec::new(), 0.0);
        for p in plan.pieces.iter().filter(|p| p.cloth == cloth.id) {
            for copy in 1..=p.copies {
                let low = cloth.selvedge;
                let mut tried = p
                    .permitted
                    .iter()
                    .filter(|w| w.face == Face::Up)
                    .map(|w| place_at(p, copy, w.turn, Face::Up, x, low));
                let fitting = tried
                    .rfind(|t| ring_bounds(&t.outline).unwrap().max.y <= cloth.roll_width - low);
                let this = fitting.unwrap_or_else(|| panic!("{} fits in no turn", p.piece));
                x = ring_bounds(&this.outline).unwrap().max.x + plan.rules.gap;
                placed.push(this);
            }
        }
        let used = x - plan.rules.gap;
        let stock = PlanStock {
            id: cloth.id.clone(),
            placed,
            ..empty(cloth, point(used, 0.0).snapped().x, 0.0).stocks.remove(0)
        };
        let left = left_over(&stock, 40.0);
        let stock = PlanStock { offcuts: left.offcuts.clone(), ..stock };
        plan.cloths.push(cloth_figures(
            cloth,
            std::slice::from_ref(&stock),
            &[left],
            (0.0, "area".into()),
        ));
        plan.stocks.push(stock);
    }
    plan.sealed()
}

/// Refuses the plan of a job after its pieces were changed (and laid out anew, so that nothing else
/// is wrong).
#[track_caller]
fn refused_with(job: &Job, change: impl Fn(&mut Plan), words: &str) {
    let mut plan = plan_of(job);
    change(&mut plan);
    refused(laid_out(plan, &job.cloths), words);
}

/// A plate with every kind of edge, a hole, a relief cut and a dart, in both hands at 30 degrees.
fn plate() -> Job {
    let mut edges = vec![None; 7];
    (edges[1], edges[2], edges[3], edges[4]) =
        (Some(EdgeKind::Lap), Some(EdgeKind::Dart), Some(EdgeKind::Dart), Some(EdgeKind::Lap));
    edges[5] = Some(EdgeKind::Butt);
    let net = vec![
        point(0., 0.),
        point(420., 0.),
        point(420., 300.),
        point(300., 120.),
        point(240., 300.),
        point(60., 300.),
        point(-20., 180.),
    ];
    let hole: Ring = vec![point(60., 60.), point(60., 180.), point(160., 180.), point(160., 60.)];
    let cuts = vec![vec![point(210., 0.), point(215., 70.)]];
    let mut t =
        template("plate", Draft { net, edges, holes: vec![hole], cuts, ..Draft::default() });
    t.arrow = 20.0;
    let mut l = layer(30.0, &[0]);
    l.items[0].hands = Hands::Both;
    job(Weave::Twill22, vec![t], vec![l])
}

#[test]
fn prepared_plies_of_every_edge_kind_are_accepted() {
    accepted(&plan_of(&plate()));
    let mut seen = plate();
    seen.layers[0].seen = Seen::MouldSide;
    accepted(&plan_of(&seen));
    seen.layers[0].book_match = false;
    accepted(&plan_of(&seen));
    for weave in [
        Weave::Unidirectional,
        Weave::Plain,
        Weave::Satin,
        Weave::Biaxial45,
        Weave::Mat,
        Weave::None,
        Weave::Twill31,
    ] {
        let mut job = plate();
        job.cloths[0].weave = weave;
        accepted(&plan_of(&job));
    }
}

#[test]
fn the_demo_job_is_accepted() {
    let (job, _) =
        warpwise::job::load(Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/job.toml")))
            .unwrap();
    accepted(&plan_of(&job));
}

#[test]
fn too_little_or_too_much_allowance_is_refused() {
    let job = plate();
    // A whole cut line 0.2 mm larger or smaller, by preparing with another allowance than the layer
    // states.
    refused_with(&job, |p| p.layers[0].trim += 0.2, "has less than its allowance of 25.2 mm");
    refused_with(&job, |p| p.layers[0].trim -= 0.2, "farther from the net line than the allowance");
    refused_with(&job, |p| p.layers[0].lap += 0.2, "has less than its allowance of 15.2 mm");
    refused_with(
        &job,
        |p| p.templates[0].edges[5] = EdgeKind::Trim,
        "has less than its allowance of 25 mm",
    );
    refused_with(
        &job,
        |p| p.templates[0].edges[0] = EdgeKind::Butt,
        "has cloth beyond an edge that does not grow",
    );
    refused_with(&job, |p| p.pieces[1].holes.clear(), "does not cut a hole");
    refused_with(&job, |p| p.pieces[0].cuts.clear(), "lacks a relief cut");
    refused_with(&job, |p| p.pieces[1].arrow.reverse(), "arrow points");
}

#[test]
fn a_named_corner_that_is_not_on_the_skin_is_refused() {
    let mut job = plate();
    job.templates[0].corners =
        warpwise::trace::named_corners(&[job.templates[0].outline.net()]).remove(0);
    let plan = plan_of(&job);
    assert!(plan.templates[0].inked.as_ref().unwrap().corners.len() >= 6);
    accepted(&plan);
    refused_with(
        &job,
        |p| p.templates[0].inked.as_mut().unwrap().corners[2].at.x += 1.0,
        "is not a point of its net line",
    );
}

/// What grew into a small window came out through the butt edge beside it: its own allowance seemed
/// to permit it.
#[test]
fn cloth_that_comes_out_of_a_window_through_an_edge_is_refused() {
    let hole: Ring =
        vec![point(100., 182.), point(100., 195.), point(120., 195.), point(120., 182.)];
    let edges = vec![None, None, Some(EdgeKind::Butt), None];
    let t = template(
        "plate",
        Draft { net: rectangle(300., 200.), edges, holes: vec![hole], ..Draft::default() },
    );
    let job = job(Weave::Plain, vec![t], vec![layer(0.0, &[0])]);
    accepted(&plan_of(&job));
    // In the piece's frame the top edge lies 25 mm higher than on the template, and what is here
    // comes 7 mm out of it.
    let bump = [(150., 225.), (150., 232.), (120., 232.), (120., 225.)].map(|(x, y)| point(x, y));
    let grown = |p: &mut Plan| {
        let top = p.pieces[0].outline.iter().position(|p| p.y == 225.0).unwrap();
        let at = if p.pieces[0].outline[(top + 1) % 4].y == 225.0 { top + 1 } else { top };
        bump.iter().rev().for_each(|&q| p.pieces[0].outline.insert(at, q));
    };
    refused_with(&job, grown, "farther from the net line than the allowance");
    refused_with(&job, grown, "has cloth beyond an edge that does not grow");
}

/// A bay or slot narrower than twice the allowance: the cut line bridges its mouth, farther from
/// the net line than the allowance.
#[test]
fn a_cut_line_that_bridges_a_narrow_bay_is_accepted() {
    for (k, width) in [0.5, 6.0, 17.0, 30.0, 44.0, 49.9].into_iter().enumerate() {
        for depth in [3.0, 20.0, 70.0] {
            let (left, right) = (150.0 - width / 2.0, 150.0 + width / 2.0);
            let lean = 4.0 * k as f64;
            let net = vec![
                point(0., 0.),
                point(300., 0.),
                point(300., 200.),
                point(right, 200.),
                point(right - lean.min(width / 3.0), 200. - depth),
                point(left, 200. - depth),
                point(left, 200.),
                point(0., 200.),
            ];
            // With and without a window in the way, whose wall to the bay is thin.
            let beside: Ring = vec![
                point(right + 3., 140.),
                point(right + 3., 190.),
                point(right + 63., 190.),
                point(right + 63., 140.),
            ];
            for holes in [Vec::new(), vec![beside]] {
                let t = template("plate", Draft { net: net.clone(), holes, ..Draft::default() });
                let mut job = job(Weave::Plain, vec![t], vec![layer(17.0, &[0])]);
                for trim in [5.0, 25.0, 44.0] {
                    job.layers[0].trim = trim;
                    accepted(&plan_of(&job));
                }
            }
        }
    }
}

#[test]
fn a_woven_ply_whose_job_wants_no_lap_is_butted() {
    let mut job = over_wide(Weave::Plain, 4);
    job.splice = job.splice.map(|s| warpwise::job::SpliceRule { lap: 0.0, ..s });
    let plan = plan_of(&job);
    assert!(
        plan.pieces.iter().filter_map(|p| p.splice.as_ref()).all(|s| s.kind == SpliceKind::Butt)
    );
    accepted(&plan);
}

fn over_wide(weave: Weave, plies_apart: usize) -> Job {
    let zone = vec![point(0.0, 600.0), point(500.0, 600.0), point(500.0, 700.0), point(0.0, 700.0)];
    let net = vec![
        point(0.0, 0.0),
        point(1400.0, 0.0),
        point(1500.0, 1500.0),
        point(700.0, 1600.0),
        point(0.0, 1500.0),
    ];
    let t = template(
        "floor",
        Draft {
            net,
            no_splice: vec![zone],
            cuts: vec![vec![point(900., 100.), point(900., 1400.)]],
            ..Draft::default()
        },
    );
    let mut job = job(weave, vec![t], vec![layer(0.0, &[0]), layer(0.0, &[0]), layer(30.0, &[0])]);
    job.layers[0].items[0].hands = Hands::Both;
    job.splice = Some(warpwise::job::SpliceRule { plies_apart, ..splice_rule() });
    job
}

#[test]
fn spliced_plies_are_accepted_lapped_and_butted() {
    for weave in [Weave::Plain, Weave::Satin, Weave::Unidirectional] {
        let plan = plan_of(&over_wide(weave, 4));
        assert!(plan.pieces.iter().filter(|p| p.part.is_some()).count() >= 6, "{weave:?}");
        accepted(&plan);
    }
}

#[test]
fn wrong_splices_are_refused() {
    let job = over_wide(Weave::Plain, 4);
    let spliced = |p: &Plan| p.pieces.iter().position(|p| p.part.is_some()).unwrap();
    let with_facts = |change: fn(&mut SpliceFacts)| {
        move |p: &mut Plan| p.pieces.iter_mut().filter_map(|p| p.splice.as_mut()).for_each(change)
    };
    refused_with(&job, with_facts(|s| s.lap = 26.0), "overlap by less than the lap of 26 mm");
    refused_with(&job, with_facts(|s| s.lap = 24.0), "overlap by more than the lap of 24 mm");
    refused_with(&job, with_facts(|s| s.stagger = 900.0), "less than the stagger of 900 mm");
    let shifted = |p: &mut Plan| {
        let first = spliced(p);
        p.pieces[first].origin.y -= 5.0;
    };
    refused_with(&job, shifted, "its parts cover");
    let lost = |p: &mut Plan| {
        let first = spliced(p);
        p.pieces.remove(first);
    };
    refused_with(&job, lost, "nor all the parts of a splice");
    refused_with(
        &job,
        |p| p.templates[0].no_splice = vec![rectangle(1300.0, 1400.0)],
        "no-splice zone",
    );
    // Splices that lie over each other: layer 2 gets layer 1's parts.
    let coincident = over_wide(Weave::Plain, 1);
    refused_with(&coincident, with_facts(|s| s.plies_apart = 4), "less than the stagger of 50 mm");
    accepted(&plan_of(&coincident));
    let across = over_wide(Weave::Unidirectional, 4);
    refused_with(
        &across,
        |p| {
            p.pieces
                .iter_mut()
                .filter_map(|p| p.splice.as_mut())
                .for_each(|s| (s.kind, s.lap) = (SpliceKind::Lap, 25.0))
        },
        "must be butted",
    );
}

/// Layers of another template between two plies do not lie between their splices: the same count in
/// preparation and check hid it.
#[test]
fn splices_over_each_other_are_seen_with_layers_of_other_templates_between() {
    let lay = |between: usize| {
        let templates = vec![
            plain_template("deck", rectangle(1500.0, 2200.0)),
            plain_template("hatch", rectangle(300.0, 200.0)),
        ];
        let layers = [0, between, between, between, 0].map(|t| layer(0.0, &[t]));
        let mut job = job(Weave::Satin, templates, layers.to_vec());
        job.splice = Some(warpwise::job::SpliceRule { plies_apart: 1, ..splice_rule() });
        job
    };
    let four = |p: &mut Plan| {
        p.pieces.iter_mut().filter_map(|p| p.splice.as_mut()).for_each(|s| s.plies_apart = 4)
    };
    refused_with(&lay(1), four, "0.000 mm apart on the template and 1 plies apart there");
    accepted(&plan_of(&lay(1)));
    // Of plies of its own, the neighbours are at fault.
    refused_with(&lay(0), four, "plies apart there, less than the stagger of 50 mm");
}

/// A seam in the middle of another ply's lap was held to be half a lap away.
#[test]
fn a_splice_within_a_lap_is_at_no_distance() {
    let mut job = over_wide(Weave::Plain, 1);
    job.splice = Some(warpwise::job::SpliceRule { lap: 60.0, stagger: 20.0, plies_apart: 1 });
    job.layers.truncate(2);
    let mut plan = plan_of(&job);
    // The same splices again, 30 mm higher: each edge lies in the other's lap, 30 mm from the edges
    // of that.
    let shifted = |p: &mut Plan| {
        for piece in p.pieces.iter_mut().filter(|p| p.layer == 2) {
            piece.splice.as_mut().unwrap().plies_apart = 2;
        }
    };
    shifted(&mut plan);
    refused(laid_out(plan, &job.cloths), "0.000 mm apart on the template");
}

fn patched() -> Job {
    let host = plain_template("hatch", rectangle(500.0, 400.0));
    let mut patch = plain_template(
        "patch",
        vec![
            point(100.0, 100.0),
            point(300.0, 100.0),
            point(300.0, 180.0),
            point(180.0, 180.0),
            point(180.0, 250.0),
            point(100.0, 250.0),
        ],
    );
    patch.edge = EdgeKind::Butt;
    patch.source = TemplateSource::Patch {
        on: "hatch".into(),
        shape: PatchShape::Polygon(patch.outline.net().clone()),
        step_back: 10.0,
    };
    job(
        Weave::Plain,
        vec![host, patch],
        vec![layer(0.0, &[0, 1]), layer(45.0, &[1]), layer(0.0, &[1])],
    )
}

#[test]
fn patches_step_back_and_lie_on_their_host() {
    let job = patched();
    accepted(&plan_of(&job));
    let step = |s: f64| move |p: &mut Plan| p.templates[1].on = Some(("hatch".into(), s));
    refused_with(&job, step(10.2), "which steps back by 10.2 mm");
    refused_with(&job, step(9.8), "which steps back by 9.8 mm");
    refused_with(&job, step(0.0), "net line is not its template's");
    refused_with(
        &job,
        |p| p.templates[1].on = Some(("nobody".into(), 10.0)),
        "which the plan lacks",
    );
    refused_with(
        &job,
        |p| p.templates[0].net = rectangle(290.0, 400.0),
        "10.000 mm beyond the net line of its host",
    );
}

#[test]
fn a_stock_measured_by_another_cloth_is_refused() {
    let job = plate();
    let mut plan = plan_of(&job);
    plan.materials.clear();
    refused(plan.sealed(), "no data for its cloth");
    let mut other = plan_of(&job);
    other.stocks[0].used_length += 100.0;
    refused(finish(other, &job.cloths[0]), "must be the rectangle of its used length");
}

/// Many offcuts of one shape were each rounded the same way, and their sum missed the exact one by
/// more than a single rounding.
#[test]
fn roundings_of_like_offcuts_may_add_up() {
    let cloth = verify_support::cloth(Weave::Plain, 100.0, 0.0);
    let mut plan = empty(&cloth, 30_000.0, 0.0);
    let mut only = verify_support::layer(1, 0.0, 0.0);
    // Bars across the cloth; between them 199 offcuts of 100 by 99.9 less a triangle of 0.0004 mm².
    let net = vec![
        point(0.0, 0.0),
        point(50.1, 0.0),
        point(50.1, 100.0),
        point(0.008, 100.0),
        point(0.0, 99.9),
    ];
    only.items.push(verify_support::item("bar", Hands::AsTraced, 200));
    plan.templates.push(verify_support::template("bar", net.clone(), 0.0));
    let mut bar = verify_support::piece(1, "bar", net);
    bar.copies = 200;
    for copy in 1..=200 {
        plan.stocks[0].placed.push(verify_support::place(
            &bar,
            copy,
            0.0,
            Face::Up,
            150.0 * f64::from(copy - 1),
            0.0,
        ));
    }
    plan.pieces.push(bar);
    plan.layers.push(only);
    accepted(&finish(plan, &cloth));
}
