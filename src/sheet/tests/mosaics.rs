//! The drawings and lists of a mosaic tell one order of laying. `geo` judges what lies on top.

use crate::geometry::{Point, point, ring_area};
use crate::layup::{When, layup};
use crate::plan::{Plan, PlanMosaic, laying_order};
use crate::planner;
use crate::run::{Run, Stop};
use crate::sheet::scene::{Ink, Scene, Shape};
use crate::sheet::{mosaic, mosaic_section};
use crate::stock::{Age, Day, Offcut, OffcutFacts, Snapshot};
use geo::{Area, BooleanOps, LineString, MultiPolygon, Polygon};
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::path::Path;

const HATCH: &str = include_str!("../../../demo-data/hatch.toml");

/// Small offcuts off square.
fn box_of_offcuts(seed: u64, count: usize) -> Snapshot {
    let mut dice = Pcg64Mcg::seed_from_u64(seed);
    let mut draw = |from: f64, to: f64| {
        from + (to - from) * ((dice.next_u64() >> 11) as f64 / (1_u64 << 53) as f64)
    };
    let mut stock = Snapshot::empty(Day::parse("2026-11-25").unwrap());
    for k in 0..count {
        let (area, aspect) = (draw(7_000.0, 20_000.0), draw(0.5, 2.0));
        let (w, h) = ((area * aspect).sqrt(), (area / aspect).sqrt());
        let ring: Vec<Point> = [(0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0)]
            .iter()
            .map(|&(x, y)| {
                point((x + draw(-0.12, 0.12)) * w, (y + draw(-0.12, 0.12)) * h).snapped()
            })
            .collect();
        let facts = OffcutFacts {
            id: format!("off-{}", k + 1),
            cloth: "twill-204".into(),
            outline: ring,
            holes: Vec::new(),
            flaws: Vec::new(),
            face: crate::cloth::Face::Up,
            batch: None,
            age: Age::default(),
            place: None,
            added: Day::parse("2026-10-01").unwrap(),
            parent: None,
            revision: 0,
        };
        stock.offcuts.push(Offcut::new(facts).unwrap());
    }
    stock
}

fn plan(text: &str, seed: u64, offcuts: usize) -> Plan {
    let job = crate::job::parse(
        text,
        Path::new(concat!(env!("CARGO_MANIFEST_DIR"), "/demo-data/hatch.toml")),
    )
    .unwrap()
    .0;
    let run = Run::new(Stop::Effort(0)).with_seed(seed);
    let stock = box_of_offcuts(seed, offcuts);
    planner::plan_from_stock(&[job], &stock, 1, &run).unwrap().into_plan()
}

fn area(rings: &[Vec<Point>]) -> f64 {
    rings.iter().map(|r| ring_area(r)).sum()
}

/// Number and shape of each patch in the order in which it is drawn.
fn drawn(scene: &Scene) -> Vec<(usize, Vec<Vec<Point>>)> {
    let patches = scene
        .drawn
        .iter()
        .filter_map(|d| Some((d.id.as_ref()?.strip_prefix("patch-")?.parse().unwrap(), &d.shape)));
    patches
        .map(|(n, shape)| match shape {
            Shape::Rings(rings) | Shape::Tone(rings, _) => (n, rings.clone()),
            _ => panic!("a patch that is no area"),
        })
        .collect()
}

/// The whole patches in the part's frame, by the words of the plan's schema, written out.
fn shapes(plan: &Plan, m: &PlanMosaic) -> Vec<Polygon<f64>> {
    let of = |id: &String| {
        let p = plan.pieces.iter().find(|p| p.piece == *id).unwrap();
        let (s, c) = p.angle.to_radians().sin_cos();
        let at = |q: &Point| {
            (
                (q.x - p.origin.x) * c - (q.y - p.origin.y) * s,
                (q.x - p.origin.x) * s + (q.y - p.origin.y) * c,
            )
        };
        Polygon::new(LineString::from(p.outline.iter().map(at).collect::<Vec<_>>()), vec![])
    };
    m.patches.iter().map(of).collect()
}

#[test]
fn map_look_table_lists_and_lay_up_sheet_have_one_order_also_where_patches_are_laid_whole() {
    let mut whole = 0;
    for (from, to) in [
        ("seen = \"mould side\"", "seen = \"mould side\"\nhands = \"both\""),
        ("seen = \"mould side\"", "seen = \"other side\""),
    ] {
        for seed in 1..=2 {
            let plan = plan(&HATCH.replace(from, to), seed, 80);
            whole += plan.stocks.iter().filter(|s| s.is_laid_whole()).count();
            let table = mosaic::table(&plan);
            let rows: Vec<Vec<&str>> =
                table.lines().skip(1).map(|l| l.split(',').collect()).collect();
            let sheet = &layup(&plan, &When::default())[0];
            let ticks: Vec<&str> =
                sheet.steps.iter().flat_map(|s| &s.ticks).map(|t| t.label.as_str()).collect();
            let html = mosaic_section::section(&plan).unwrap().html;
            let listed: Vec<&str> =
                html.split("<tr><td>").skip(1).map(|r| r.split('<').next().unwrap()).collect();
            let order: Vec<&str> = laying_order(&plan).iter().map(|p| p.piece.as_str()).collect();
            let mut before = 0;
            for m in &plan.mosaics {
                let n = m.patches.len();
                let (map, look) = (mosaic::map(&plan, m), mosaic::look(&plan, m));
                let numbers: Vec<usize> = (1..=n).collect();
                for (k, id) in m.patches.iter().enumerate() {
                    let piece = plan.pieces.iter().find(|p| p.piece == *id).unwrap();
                    let row = &rows[before + k];
                    assert_eq!(
                        (row[0], row[1], row[3]),
                        (m.ply.as_str(), (k + 1).to_string().as_str(), id.as_str())
                    );
                    assert_eq!(order[before + k], id);
                    assert_eq!(listed[before + k], (k + 1).to_string());
                    let tick = ticks[before + k];
                    assert!(
                        tick.starts_with(&format!("{} ", piece.number))
                            && tick.contains(&format!("patch {}", k + 1)),
                        "{tick}"
                    );
                }
                before += n;
                // Every patch is drawn once in each, and none but hidden ones is without its number
                // on the map.
                for scene in [&map, &look] {
                    assert_eq!(drawn(scene).iter().map(|d| d.0).collect::<Vec<_>>(), numbers);
                }
                let said = |n: usize| {
                    map.texts.iter().filter(|t| t.bold && t.words == n.to_string()).count()
                };
                // What shows of a patch is what no patch above it covers.
                let shapes = shapes(&plan, m);
                for (i, shown) in drawn(&map) {
                    let over = if m.earlier_on_top { &shapes[..i - 1] } else { &shapes[i..] };
                    let over = over.iter().fold(MultiPolygon::new(vec![]), |a, b| a.union(b));
                    let left =
                        MultiPolygon::from(shapes[i - 1].clone()).difference(&over).unsigned_area();
                    assert!(
                        (area(&shown) - left).abs() < 3.0,
                        "patch {i} of {}: {} shows, {left} is not covered",
                        m.ply,
                        area(&shown)
                    );
                    let looks = area(&drawn(&look)[i - 1].1).abs();
                    assert!(
                        (looks - left).abs() < 3.0,
                        "patch {i}: {looks} in the look, {left} is not covered"
                    );
                    assert_eq!(
                        said(i),
                        usize::from(left > 50.0),
                        "number {i} on the map of {}",
                        m.ply
                    );
                }
            }
        }
    }
    assert!(whole > 0, "no patch was laid whole");
}

#[test]
fn maps_and_looks_are_written_in_every_format() {
    let plan = plan(HATCH, 1, 40);
    let verified = crate::verify::verify(plan).unwrap();
    let a4 = crate::sheet::Paper::new("a4", 8.0, 10.0).unwrap();
    let names = |files: Vec<crate::sheet::Written>| {
        files.into_iter().map(|f| (f.name, f.pages)).collect::<Vec<_>>()
    };
    let svg = names(crate::sheet::mosaic_sheets(&verified));
    assert_eq!(svg.len(), 2);
    for (file, _) in &svg {
        let stem = file.strip_suffix(".svg").unwrap();
        assert!(
            names(crate::sheet::mosaic_cutter_files(&verified))
                .contains(&(format!("{stem}.dxf"), 1))
        );
        assert!(
            names(crate::sheet::printed_mosaics(&verified, None))
                .contains(&(format!("{stem}-roll.pdf"), 1))
        );
        let on_a4 = names(crate::sheet::printed_mosaics(&verified, Some(&a4)));
        let (_, pages) = on_a4.iter().find(|f| f.0 == format!("{stem}-a4.pdf")).unwrap();
        // The hatch cover is 500 mm wide: its map takes several pages and one to find them by, its
        // picture one.
        assert_eq!(*pages > 2, stem.ends_with("-map"), "{stem}: {pages} pages");
    }
    for file in crate::sheet::mosaic_cutter_files(&verified) {
        let text = String::from_utf8(file.bytes).unwrap();
        let back = ::dxf::Drawing::load(&mut text.as_bytes()).unwrap();
        assert!(back.entities().count() > 17, "{}", file.name);
    }
    let map = mosaic::drawings(verified.plan()).remove(0).1;
    assert!(map.drawn.iter().any(|d| d.ink == Ink::Net), "hidden edges");
}
