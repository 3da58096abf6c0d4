//! Builds small plans by arithmetic of its own, for the checker's tests.
#![allow(dead_code, clippy::unwrap_used)]

#[path = "../plan_schema/mod.rs"]
pub mod plan_schema;

use warpwise::cloth::{Backing, Cloth, Face, Permitted, Price, Weave};
use warpwise::geometry::{Point, Ring, point, ring_area};
use warpwise::job::{Hands, Seen};
use warpwise::outline::EdgeKind;
use warpwise::plan::{
    PlacedPiece, Plan, PlanCloth, PlanLayer, PlanLayerItem, PlanPiece, PlanStock, PlanTemplate,
    Rules, StockKind, cloth_figures, left_over,
};
use warpwise::ply::Hand;
use warpwise::verify::verify;

pub fn up(turns: &[f64]) -> Vec<Permitted> {
    turns.iter().map(|&turn| Permitted { turn, face: Face::Up }).collect()
}

pub fn down(turns: &[f64]) -> Vec<Permitted> {
    turns.iter().map(|&turn| Permitted { turn, face: Face::Down }).collect()
}

pub fn rectangle(x: f64, y: f64, w: f64, h: f64) -> Ring {
    vec![point(x, y), point(x + w, y), point(x + w, y + h), point(x, y + h)]
}

pub fn cloth(weave: Weave, width: f64, selvedge: f64) -> Cloth {
    Cloth {
        id: "carbon".into(),
        name: "carbon 200".into(),
        library: None,
        weave,
        balanced: true,
        one_way: false,
        twill_line: None,
        up: Backing::Paper,
        roll_width: width,
        selvedge,
        roll_length: None,
        flaws: Vec::new(),
        areal_mass: Some(200.0),
        resin_content: Some(0.42),
        fibre_density: Some(1.8),
        price: Some(Price::PerMetre(40.0)),
        material: Default::default(),
        thickness: None,
        resin_density: None,
        batch: None,
        out_life_hours: None,
        expiry: None,
        offers: Vec::new(),
    }
}

/// A plan without pieces on one roll.
pub fn empty(cloth: &Cloth, used: f64, gap: f64) -> Plan {
    Plan {
        schema: 1,
        tool: "warpwise 0.1.0".into(),
        id: String::new(),
        jobs: vec!["kayak".into()],
        seed: 1,
        effort: Some(1),
        lanes: Some(8),
        seconds: None,
        interrupted: false,
        currency: "EUR".into(),
        rules: Rules { gap, angle_tolerance: 0.0, bench_length: None, least_offcut_width: 40.0 },
        templates: Vec::new(),
        layers: Vec::new(),
        pieces: Vec::new(),
        stocks: vec![PlanStock {
            id: "roll 1".into(),
            cloth: cloth.id.clone(),
            kind: StockKind::Roll,
            face: Face::Up,
            outline: rectangle(0.0, 0.0, used, cloth.roll_width),
            holes: Vec::new(),
            flaws: Vec::new(),
            selvedge: cloth.selvedge,
            segments: vec![[0.0, used]],
            used_length: used,
            placed: Vec::new(),
            offcuts: Vec::new(),
        }],
        cloths: Vec::new(),
        materials: vec![PlanCloth {
            cloth: cloth.id.clone(),
            name: cloth.name.clone(),
            weave: cloth.weave,
            balanced: cloth.balanced,
            one_way: cloth.one_way,
            twill_line: cloth.twill_line,
            up: cloth.up,
            areal_mass: cloth.areal_mass,
            resin_content: cloth.resin_content,
            fibre_density: cloth.fibre_density,
            material: Default::default(),
            thickness: None,
            resin_density: None,
            batch: None,
            out_life_hours: None,
            expiry: None,
            library: None,
            roll_width: None,
            selvedge: None,
            price: None,
        }],
        warnings: Vec::new(),
        mosaics: Vec::new(),
        drawn_from: None,
        other_hands: Vec::new(),
        mould_work: Vec::new(),
        hash_today: None,
    }
}

pub fn layer(number: usize, angle: f64, trim: f64) -> PlanLayer {
    PlanLayer {
        job: "kayak".into(),
        layer: number,
        name: format!("layer {number}"),
        cloth: "carbon".into(),
        angle,
        seen: Seen::Hidden,
        book_match: true,
        trim,
        lap: 10.0,
        turns_overridden: false,
        items: Vec::new(),
    }
}

pub fn template(id: &str, net: Ring, arrow: f64) -> PlanTemplate {
    PlanTemplate {
        template: id.into(),
        job: "kayak".into(),
        arrow,
        edges: vec![EdgeKind::Trim; net.len()],
        net,
        holes: Vec::new(),
        cuts: Vec::new(),
        no_splice: Vec::new(),
        inked: None,
        other_hand_of: None,
        strip: false,
        on: None,
    }
}

pub fn item(template: &str, hands: Hands, copies: u32) -> PlanLayerItem {
    PlanLayerItem { template: template.into(), hands, copies }
}

/// A piece whose cut line is its net line, in the frame of `net`.
pub fn piece(layer: usize, template: &str, net: Ring) -> PlanPiece {
    PlanPiece {
        piece: format!("{layer}-{template}"),
        number: format!("{layer}.1"),
        job: "kayak".into(),
        layer,
        ply: format!("{layer}-{template}"),
        template: template.into(),
        hand: Hand::AsTraced,
        side: None,
        angle: 0.0,
        cloth: "carbon".into(),
        part: None,
        splice: None,
        patch: None,
        copies: 1,
        permitted: up(&[0.0, 90.0, 180.0, 270.0]),
        tolerance: 0.0,
        permitted_by: "plain, strength only".into(),
        may_cross_bench: false,
        origin: point(0.0, 0.0),
        outline: net.clone(),
        holes: Vec::new(),
        net: vec![net],
        cuts: Vec::new(),
        marks: Vec::new(),
        arrow: [point(0.0, 0.0), point(10.0, 0.0)],
    }
}

fn turned(p: Point, degrees: f64) -> Point {
    let (s, c) = match degrees.rem_euclid(360.0) {
        0.0 => (0.0, 1.0),
        90.0 => (1.0, 0.0),
        180.0 => (0.0, -1.0),
        270.0 => (-1.0, 0.0),
        d => (d.to_radians().sin(), d.to_radians().cos()),
    };
    point(c * p.x - s * p.y, s * p.x + c * p.y)
}

/// A template point on the piece, by the words of the frames: arrow to +x, mirror about it, warp to
/// +x, shift.
pub fn laid(p: Point, arrow: f64, hand: Hand, angle: f64, origin: Point) -> Point {
    let along = turned(p, -arrow);
    let handed = if hand == Hand::Mirrored { point(along.x, -along.y) } else { along };
    (turned(handed, -angle) + origin).snapped()
}

pub fn laid_ring(ring: &Ring, arrow: f64, hand: Hand, angle: f64, origin: Point) -> Ring {
    let mut out: Ring = ring.iter().map(|&p| laid(p, arrow, hand, angle, origin)).collect();
    if hand == Hand::Mirrored {
        out.reverse();
    }
    out
}

/// A ring on the cloth: turned, mirrored about x if face down, moved.
pub fn placed_ring(ring: &Ring, turn: f64, face: Face, x: f64, y: f64) -> Ring {
    let put = |&p: &Point| {
        let q = turned(p, turn);
        (point(q.x, if face == Face::Down { -q.y } else { q.y }) + point(x, y)).snapped()
    };
    let mut out: Ring = ring.iter().map(put).collect();
    if face == Face::Down {
        out.reverse();
    }
    out
}

pub fn place(piece: &PlanPiece, copy: u32, turn: f64, face: Face, x: f64, y: f64) -> PlacedPiece {
    PlacedPiece {
        piece: piece.piece.clone(),
        copy,
        turn,
        face,
        x,
        y,
        outline: placed_ring(&piece.outline, turn, face, x, y),
        holes: piece.holes.iter().map(|h| placed_ring(h, turn, face, x, y)).collect(),
        pinned: false,
    }
}

/// Places a piece so that its box begins at (x, y).
pub fn place_at(
    piece: &PlanPiece,
    copy: u32,
    turn: f64,
    face: Face,
    x: f64,
    y: f64,
) -> PlacedPiece {
    let there = placed_ring(&piece.outline, turn, face, 0.0, 0.0);
    let low = |f: fn(&Point) -> f64| there.iter().map(f).fold(f64::INFINITY, f64::min);
    let shift = (point(x, y) - point(low(|p| p.x), low(|p| p.y))).snapped();
    place(piece, copy, turn, face, shift.x, shift.y)
}

/// Left-overs, figures and ids.
pub fn finish(mut plan: Plan, cloth: &Cloth) -> Plan {
    let left: Vec<_> =
        plan.stocks.iter().map(|s| left_over(s, plan.rules.least_offcut_width)).collect();
    plan.cloths = vec![cloth_figures(cloth, &plan.stocks, &left, (0.0, "area".into()))];
    for (stock, left) in plan.stocks.iter_mut().zip(left) {
        stock.offcuts = left.offcuts;
    }
    plan.sealed()
}

/// Asserts that a plan is refused for the reason that contains `words`.
#[track_caller]
pub fn refused(plan: Plan, words: &str) {
    match verify(plan) {
        Ok(_) => panic!("accepted; wanted a fault with {words:?}"),
        Err(faults) => assert!(
            faults.0.iter().any(|f| f.to_string().contains(words)),
            "wanted {words:?}, got:\n{faults}"
        ),
    }
}

#[track_caller]
pub fn accepted(plan: &Plan) {
    if let Err(faults) = verify(plan.clone()) {
        panic!("refused:\n{faults}");
    }
    plan_schema::keeps_to_schema(plan);
}

/// Moves one placed piece, outline and all.
pub fn nudge(plan: &Plan, stock: usize, placed: usize, dx: f64, dy: f64) -> Plan {
    let mut plan = plan.clone();
    let p = &mut plan.stocks[stock].placed[placed];
    let by = point(dx, dy);
    (p.x, p.y) = ((point(p.x, p.y) + by).snapped().x, (point(p.x, p.y) + by).snapped().y);
    p.outline.iter_mut().chain(p.holes.iter_mut().flatten()).for_each(|q| *q = (*q + by).snapped());
    plan.sealed()
}

/// A roll filled without gap by shapes given where they lie, mm, one template each.
pub fn tiling(width: f64, length: f64, shapes: &[Ring]) -> Plan {
    let cloth = cloth(Weave::Plain, width, 0.0);
    let mut plan = empty(&cloth, length, 0.0);
    let mut only = layer(1, 0.0, 0.0);
    for (i, shape) in shapes.iter().enumerate() {
        let mut net = shape.clone();
        if ring_area(&net) < 0.0 {
            net.reverse();
        }
        let id = format!("t{i}");
        only.items.push(item(&id, Hands::AsTraced, 1));
        plan.templates.push(template(&id, net.clone(), 0.0));
        let piece = piece(1, &id, net);
        plan.stocks[0].placed.push(place(&piece, 1, 0.0, Face::Up, 0.0, 0.0));
        plan.pieces.push(piece);
    }
    plan.layers.push(only);
    finish(plan, &cloth)
}
