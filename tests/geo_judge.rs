//! A general-purpose geometry library (`geo`) judges the demo's plan: sound outlines, areas,
//! distances, offcuts.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use geo::{
    Area, BooleanOps, Distance, Euclidean, LineString, MultiPolygon, Polygon, Relate, Validation,
    unary_union,
};
use std::path::Path;
use warpwise::geometry::Ring;
use warpwise::plan::{Plan, PlanStock};
use warpwise::planner;
use warpwise::run::{Run, Stop};

fn plan() -> Plan {
    let (job, _) = warpwise::job::load(Path::new("demo-data/job.toml")).unwrap();
    let run = Run::new(Stop::Effort(1)).with_seed(3);
    let plan = planner::plan(&[job], 1, &run).unwrap().into_plan();
    plan_schema::keeps_to_schema(&plan);
    plan
}

fn polygon(outline: &Ring, holes: &[Ring]) -> Polygon<f64> {
    let line = |ring: &Ring| LineString::from_iter(ring.iter().map(|p| (p.x, p.y)));
    Polygon::new(line(outline), holes.iter().map(line).collect())
}

fn pieces(stock: &PlanStock) -> Vec<Polygon<f64>> {
    stock.placed.iter().map(|p| polygon(&p.outline, &p.holes)).collect()
}

#[test]
fn pieces_are_sound_apart_and_of_the_area_the_plan_says() {
    let plan = plan();
    for (stock, figures) in plan.stocks.iter().zip(&plan.cloths) {
        let pieces = pieces(stock);
        assert!(pieces.len() > 10);
        for (i, piece) in pieces.iter().enumerate() {
            assert!(piece.is_valid(), "{}", stock.placed[i].piece);
            for (j, other) in pieces.iter().enumerate().skip(i + 1) {
                let distance = Euclidean.distance(piece, other);
                assert!(
                    distance >= plan.rules.gap - 1e-9,
                    "{} to {}: {distance}",
                    stock.placed[i].piece,
                    stock.placed[j].piece
                );
            }
        }
        let area = unary_union(&pieces).unsigned_area();
        assert!(
            (area - figures.pieces_area).abs() < 0.01,
            "{area} against {}",
            figures.pieces_area
        );
    }
}

#[test]
fn pieces_offcuts_and_waste_are_the_cloth() {
    let plan = plan();
    for (stock, figures) in plan.stocks.iter().zip(&plan.cloths) {
        let cloth = MultiPolygon::from(polygon(&stock.outline, &stock.holes));
        let pieces = unary_union(&pieces(stock));
        let offcuts: Vec<Polygon<f64>> =
            stock.offcuts.iter().map(|o| polygon(&o.outline, &o.holes)).collect();
        for (offcut, stated) in offcuts.iter().zip(&stock.offcuts) {
            assert!(offcut.is_valid(), "{}", stated.id);
            assert!((offcut.unsigned_area() - stated.area).abs() < 0.01, "{}", stated.id);
            // What a boundary rounded to 1 µm can overlap at the most: its length times that.
            assert!(
                pieces.intersection(&MultiPolygon::from(offcut.clone())).unsigned_area() < 10.0,
                "{}",
                stated.id
            );
            let [x, y, w, h] = stated.largest_rectangle;
            let rectangle =
                geo::Rect::new((x + 0.002, y + 0.002), (x + w - 0.002, y + h - 0.002)).to_polygon();
            assert!(offcut.relate(&rectangle).is_contains(), "{}", stated.id);
        }
        let waste = cloth.difference(&pieces).difference(&unary_union(&offcuts)).unsigned_area();
        assert!(
            (waste - figures.waste_area).abs() < 20.0,
            "{waste} against {}",
            figures.waste_area
        );
        assert!((cloth.unsigned_area() - figures.consumed_area).abs() < 0.01);
    }
}
