//! Jobs made by hand for the tests of ply preparation.
#![allow(dead_code, clippy::unwrap_used)]

use std::path::PathBuf;
use warpwise::cloth::{Backing, Cloth, Weave};
use warpwise::geometry::{Point, Ring, point};
use warpwise::job::{
    Cutting, Hands, InkedSide, Job, Layer, LayerItem, Seen, SpliceRule, TakenOff, Template,
    TemplateSource,
};
use warpwise::outline::{Draft, EdgeKind, Outline};
use warpwise::ply::{Piece, Prepared, prepare};

pub fn cloth(weave: Weave) -> Cloth {
    Cloth {
        id: "carbon".into(),
        name: "carbon".into(),
        library: None,
        weave,
        balanced: true,
        one_way: false,
        twill_line: None,
        up: Backing::Paper,
        roll_width: 1250.0,
        selvedge: 10.0,
        roll_length: None,
        flaws: Vec::new(),
        areal_mass: None,
        resin_content: None,
        fibre_density: None,
        price: None,
        material: Default::default(),
        thickness: None,
        resin_density: None,
        batch: None,
        out_life_hours: None,
        expiry: None,
        offers: Vec::new(),
    }
}

pub fn ring(points: &[(f64, f64)]) -> Ring {
    points.iter().map(|&(x, y)| point(x, y)).collect()
}

pub fn rectangle(width: f64, height: f64) -> Ring {
    ring(&[(0.0, 0.0), (width, 0.0), (width, height), (0.0, height)])
}

pub fn template(id: &str, draft: Draft) -> Template {
    Template {
        id: id.into(),
        source: TemplateSource::Drawing { file: PathBuf::from(format!("{id}.svg")) },
        outline: Outline::new(draft).unwrap(),
        corners: Vec::new(),
        arrow: 0.0,
        taken_off: TakenOff::Mould,
        inked_side: InkedSide::Up,
        edge: EdgeKind::Trim,
        hands: Hands::AsTraced,
        may_cross_bench: false,
        other_hand_of: None,
        mould: None,
    }
}

pub fn plain_template(id: &str, net: Ring) -> Template {
    template(id, Draft { net, ..Draft::default() })
}

/// A hidden layer of the first cloth at an angle, one as-traced ply of each template named by its
/// index.
pub fn layer(angle: f64, templates: &[usize]) -> Layer {
    Layer {
        mosaic: None,
        name: format!("at {angle}"),
        cloth: 0,
        angle,
        items: templates
            .iter()
            .map(|&template| LayerItem { template, hands: Hands::AsTraced, copies: 1 })
            .collect(),
        seen: Seen::Hidden,
        book_match: true,
        turns: None,
        trim: 25.0,
        lap: 15.0,
        angle_tolerance: 0.0,
    }
}

pub fn job(weave: Weave, templates: Vec<Template>, layers: Vec<Layer>) -> Job {
    Job {
        name: "touring kayak".into(),
        file: PathBuf::from("job.toml"),
        stock: None,
        other_hand_of: None,
        begun_from: None,
        moulds: Vec::new(),
        currency: "EUR".into(),
        cloths: vec![cloth(weave)],
        templates,
        drawings: Vec::new(),
        layers,
        cutting: Cutting { gap: 5.0, bench_length: None, least_offcut_width: 40.0 },
        mould_work: Default::default(),
        splice: None,
    }
}

pub fn splice_rule() -> SpliceRule {
    SpliceRule { lap: 25.0, stagger: 50.0, plies_apart: 4 }
}

pub fn prepared(job: &Job) -> Prepared {
    prepare(job).unwrap_or_else(|faults| panic!("{faults}"))
}

pub fn piece<'a>(prepared: &'a Prepared, id: &str) -> &'a Piece {
    prepared.pieces.iter().find(|p| p.id == id).unwrap_or_else(|| panic!("no piece {id}"))
}

/// The same points moved so that their box starts at the origin.
pub fn from_corner(points: &[Point]) -> Vec<Point> {
    let left = points.iter().map(|p| p.x).fold(f64::INFINITY, f64::min);
    let low = points.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
    points.iter().map(|p| point(p.x - left, p.y - low)).collect()
}

/// The largest distance between corresponding points of two rings, whichever point they begin at
/// and whichever way they run.
pub fn ring_difference(a: &[Point], b: &[Point]) -> f64 {
    assert_eq!(a.len(), b.len());
    let (a, b) = (from_corner(a), from_corner(b));
    let reversed: Vec<Point> = b.iter().rev().copied().collect();
    let n = a.len();
    let at = |ring: &[Point], start: usize| {
        (0..n).map(|i| a[i].distance(ring[(i + start) % n])).fold(0.0, f64::max)
    };
    (0..n).flat_map(|s| [at(&b, s), at(&reversed, s)]).fold(f64::INFINITY, f64::min)
}
