//! A made-up plan for a touring kayak's outfitting, laid out by a plain column rule: everything a
//! sheet may have to draw.

use crate::cloth::{Backing, Face, Permitted, Weave};
use crate::geometry::{Motion, Path, Point, Ring, point, ring_area, ring_bounds};
use crate::job::SpliceKind;
use crate::plan::*;
use crate::ply::{Hand, Part};

/// Outline of a template about the origin: angle in radians to radius in mm.
type Radius = fn(f64) -> f64;

fn round(radius: Radius, grow: f64) -> Ring {
    (0..72)
        .map(|i| {
            let a = f64::from(i) * 5f64.to_radians();
            point((radius(a) + grow) * a.cos(), (radius(a) + grow) * a.sin()).snapped()
        })
        .collect()
}

fn oval(a: f64, half_length: f64, half_width: f64) -> f64 {
    let (c, s) = ((a.cos() / half_length).abs(), (a.sin() / half_width).abs());
    (c.powf(2.6) + s.powf(2.6)).powf(-1.0 / 2.6)
}

fn seat(a: f64) -> f64 {
    oval(a, 300.0, 230.0) * (1.0 + 0.05 * (3.0 * a).cos() + 0.01 * (11.0 * a).sin())
}

fn hip(a: f64) -> f64 {
    oval(a, 150.0, 95.0) * (1.0 + 0.12 * a.cos() + 0.08 * (2.0 * a + 0.6).sin())
}

fn hatch(a: f64) -> f64 {
    oval(a, 215.0, 150.0)
}

fn foot(a: f64) -> f64 {
    oval(a, 90.0, 55.0) * (1.0 + 0.15 * (a + 0.4).cos())
}

fn tab(a: f64) -> f64 {
    oval(a, 32.0, 20.0)
}

fn dot(a: f64) -> f64 {
    oval(a, 9.0, 9.0)
}

fn rectangle(length: f64, width: f64) -> Ring {
    vec![point(0.0, 0.0), point(length, 0.0), point(length, width), point(0.0, width)]
}

/// The parts of a piece that differ.
struct Make {
    number: &'static str,
    template: &'static str,
    layer: usize,
    angle: f64,
    hand: Hand,
    cloth: &'static str,
    copies: u32,
    part: Option<Part>,
    outline: Ring,
    net: Vec<Ring>,
    holes: Vec<Ring>,
    cuts: Vec<Path>,
    marks: Vec<Path>,
    arrow: [Point; 2],
}

fn make(number: &'static str, template: &'static str, cloth: &'static str, angle: f64) -> Make {
    let layer = number.split('.').next().and_then(|n| n.parse().ok()).unwrap_or(1);
    Make {
        number,
        template,
        layer,
        angle,
        hand: Hand::AsTraced,
        cloth,
        copies: 1,
        part: None,
        outline: Ring::new(),
        net: Vec::new(),
        holes: Vec::new(),
        cuts: Vec::new(),
        marks: Vec::new(),
        arrow: [point(0.0, 0.0), point(1.0, 0.0)],
    }
}

impl Make {
    fn shape(mut self, radius: Radius, grow: f64) -> Self {
        self.outline = round(radius, grow);
        self.net = vec![round(radius, 0.0)];
        let reach = radius(0.0) * 0.45;
        self.arrow = [point(-reach, 0.0), point(reach, 0.0)];
        self.turned()
    }

    fn strip(mut self, length: f64, width: f64) -> Self {
        self.outline = rectangle(length, width);
        self.net = vec![rectangle(length, width)];
        self.arrow = [point(length * 0.35, width / 2.0), point(length * 0.65, width / 2.0)];
        self.turned()
    }

    /// Into the cloth frame: the warp at +angle from the arrow, so the arrow at -angle.
    fn turned(mut self) -> Self {
        let m = Motion::turn(-self.angle);
        self.outline = m.ring(&self.outline);
        self.net = self.net.iter().map(|r| m.ring(r)).collect();
        self.arrow = self.arrow.map(|p| m.apply(p).snapped());
        self
    }

    fn mirrored(mut self) -> Self {
        let m = Motion::new(0.0, true, point(0.0, 0.0));
        self.outline = m.ring(&self.outline);
        self.net = self.net.iter().map(|r| m.ring(r)).collect();
        self.arrow = self.arrow.map(|p| m.apply(p));
        self.hand = Hand::Mirrored;
        self
    }

    fn piece(self) -> PlanPiece {
        PlanPiece {
            piece: format!("{}-{}", self.number, self.template),
            number: self.number.into(),
            job: "kayak outfitting".into(),
            layer: self.layer,
            ply: format!("{}-{}", self.layer, self.template),
            template: self.template.into(),
            hand: self.hand,
            side: None,
            angle: self.angle,
            cloth: self.cloth.into(),
            part: self.part,
            splice: self.part.map(|_| SpliceFacts {
                kind: SpliceKind::Lap,
                lap: 25.0,
                stagger: 50.0,
                plies_apart: 4,
            }),
            patch: None,
            copies: self.copies,
            permitted: vec![
                Permitted { turn: 0.0, face: Face::Up },
                Permitted { turn: 180.0, face: Face::Up },
            ],
            tolerance: 0.0,
            permitted_by: "twill 2/2, visible: the line must run one way".into(),
            may_cross_bench: false,
            outline: self.outline,
            holes: self.holes,
            net: self.net,
            cuts: self.cuts,
            marks: self.marks,
            arrow: self.arrow,
            origin: point(0.0, 0.0),
        }
    }
}

/// All pieces of the plan.
fn pieces() -> Vec<PlanPiece> {
    let twill = "twill-200";
    let mut seat_one = make("1.1", "seat", twill, 0.0).shape(seat, 25.0);
    for a in [20.0f64, 75.0, 140.0, 215.0, 300.0] {
        let u = point(a.to_radians().cos(), a.to_radians().sin());
        let r = seat(a.to_radians());
        seat_one.cuts.push(vec![(u * (r + 25.0)).snapped(), (u * (r - 90.0)).snapped()]);
    }
    let mut ring = make("1.4", "hatch-rim", twill, 0.0).shape(hatch, 20.0);
    let mut hole = round(|a| oval(a, 160.0, 110.0), 0.0);
    hole.reverse();
    ring.net.push(round(|a| oval(a, 178.0, 124.0), 0.0).into_iter().rev().collect());
    ring.holes.push(hole);
    ring.arrow = [point(-195.0, -60.0), point(-195.0, 60.0)];
    let mut seat_two = make("2.1", "seat", twill, 45.0).shape(seat, 25.0);
    seat_two.marks.push(vec![point(-40.0, -120.0), point(40.0, -120.0)]);
    let mut part_one = make("3.1", "floor", twill, 0.0);
    part_one.part = Some(Part { number: 1, of: 2 });
    let mut part_one = part_one.strip(900.0, 310.0);
    part_one.marks.push(vec![point(875.0, 0.0), point(875.0, 310.0)]);
    let mut part_two = make("3.2", "floor", twill, 0.0);
    part_two.part = Some(Part { number: 2, of: 2 });
    let mut tape = make("3.3", "joint-tape-long", twill, 45.0).strip(700.0, 30.0);
    tape.copies = 2;
    let mut foot_rest = make("2.4", "foot-rest", twill, 45.0).shape(foot, 15.0);
    foot_rest.copies = 2;
    let mut dots = make("2.7", "skeg-eye", twill, 0.0).shape(dot, 0.0);
    dots.copies = 3;
    let hip_down = make("1.3", "hip-plate", twill, 0.0).shape(hip, 25.0).mirrored();
    vec![
        seat_one,
        make("1.2", "hip-plate", twill, 0.0).shape(hip, 25.0),
        hip_down,
        ring,
        seat_two,
        make("2.2", "hip-plate", twill, 45.0).shape(hip, 25.0),
        make("2.3", "hatch-cover", twill, 45.0).shape(hatch, 20.0),
        foot_rest,
        make("2.5", "skeg-box-tab", twill, 0.0).shape(tab, 5.0),
        make("2.6", "strip-narrow", twill, 0.0).strip(240.0, 12.0),
        dots,
        part_one,
        part_two.strip(420.0, 310.0),
        tape,
        make("3.4", "joint-tape-short", twill, 0.0).strip(380.0, 30.0),
        make("4.1", "seat", "ud-150", 0.0).shape(seat, 10.0),
        make("4.2", "keel-band", "ud-150", 0.0).strip(560.0, 60.0),
    ]
    .into_iter()
    .map(Make::piece)
    .collect()
}

/// Puts a piece with the lower left corner of its box at a point.
fn put(piece: &PlanPiece, copy: u32, turn: f64, face: Face, corner: Point) -> PlacedPiece {
    let bare = Motion::new(turn, face == Face::Down, point(0.0, 0.0)).ring(&piece.outline);
    let shift = ring_bounds(&bare).map_or(corner, |b| corner - b.min).snapped();
    let motion = Motion::new(turn, face == Face::Down, shift);
    PlacedPiece {
        piece: piece.piece.clone(),
        copy,
        turn,
        face,
        x: shift.x,
        y: shift.y,
        outline: motion.ring(&piece.outline),
        holes: piece.holes.iter().map(|h| motion.ring(h)).collect(),
        pinned: false,
    }
}

fn box_ring(x: f64, y: f64, w: f64, h: f64) -> Ring {
    rectangle(w, h).into_iter().map(|p| p + point(x, y)).collect()
}

/// The plan.
pub fn plan() -> Plan {
    let pieces = pieces();
    let find =
        |number: &str| pieces.iter().find(|p| p.number == number).expect("a piece of the fixture");
    let mut placed = Vec::new();
    // (number, copy, turn, face, x, y): by hand, on a 1250 mm roll with 10 mm of selvedge, bench
    // 1200 mm.
    let spots: [(&str, u32, f64, Face, f64, f64); 21] = [
        ("1.1", 1, 0.0, Face::Up, 0.0, 10.0),
        ("2.1", 1, 90.0, Face::Up, 0.0, 540.0),
        ("2.5", 1, 0.0, Face::Up, 60.0, 1175.0),
        ("2.6", 1, 0.0, Face::Up, 200.0, 1190.0),
        ("2.7", 1, 0.0, Face::Up, 640.0, 540.0),
        ("2.7", 2, 0.0, Face::Up, 664.0, 566.0),
        ("2.7", 3, 0.0, Face::Up, 640.0, 592.0),
        ("1.2", 1, 0.0, Face::Up, 690.0, 10.0),
        ("1.3", 1, 0.0, Face::Down, 690.0, 280.0),
        ("1.4", 1, 0.0, Face::Up, 690.0, 560.0),
        ("2.4", 1, 0.0, Face::Up, 831.0, 636.0),
        ("2.4", 2, 180.0, Face::Up, 1080.0, 40.0),
        ("2.2", 1, 0.0, Face::Up, 650.0, 905.0),
        ("3.4", 1, 0.0, Face::Up, 690.0, 524.0),
        ("3.1", 1, 0.0, Face::Up, 1275.0, 10.0),
        ("3.2", 1, 0.0, Face::Up, 1755.0, 330.0),
        ("2.3", 1, 0.0, Face::Up, 1210.0, 330.0),
        ("3.3", 1, 0.0, Face::Up, 1400.0, 645.0),
        ("3.3", 2, 0.0, Face::Up, 1447.0, 650.0),
        ("4.1", 1, 0.0, Face::Up, 5.0, 10.0),
        ("4.2", 1, 0.0, Face::Up, 5.0, 520.0),
    ];
    for (number, copy, turn, face, x, y) in spots {
        placed.push(put(find(number), copy, turn, face, point(x, y)));
    }
    let ud = placed.split_off(19);
    let offcut = |id: &str, outline: Ring, rectangle: [f64; 4]| Offcut {
        id: id.into(),
        area: ring_area(&outline),
        outline,
        holes: Vec::new(),
        largest_rectangle: rectangle,
    };
    let corner: Ring =
        [[2175.0, 660.0], [2175.0, 1240.0], [1500.0, 1240.0], [1500.0, 1180.0], [1990.0, 680.0]]
            .iter()
            .map(|&p| p.into())
            .collect();
    let stocks = vec![
        PlanStock {
            id: "R1".into(),
            cloth: "twill-200".into(),
            kind: StockKind::Roll,
            face: Face::Up,
            outline: box_ring(0.0, 0.0, 2175.0, 1250.0),
            holes: Vec::new(),
            flaws: vec![box_ring(1065.0, 330.0, 130.0, 150.0), box_ring(1075.0, 290.0, 20.0, 14.0)],
            selvedge: 10.0,
            segments: vec![[0.0, 1200.0], [1200.0, 2175.0]],
            used_length: 2175.0,
            placed,
            offcuts: vec![
                offcut("3fa29b-1", corner, [1760.0, 920.0, 415.0, 320.0]),
                offcut(
                    "3fa29b-2",
                    box_ring(1000.0, 910.0, 190.0, 325.0),
                    [1000.0, 910.0, 190.0, 325.0],
                ),
            ],
        },
        PlanStock {
            id: "8c1e2f-7".into(),
            cloth: "ud-150".into(),
            kind: StockKind::Offcut,
            face: Face::Down,
            outline: box_ring(0.0, 0.0, 700.0, 620.0),
            holes: Vec::new(),
            flaws: Vec::new(),
            selvedge: 0.0,
            segments: vec![[0.0, 700.0]],
            used_length: 700.0,
            placed: ud,
            offcuts: Vec::new(),
        },
    ];
    let figures = |cloth: &str, width: f64, used: f64, pieces: f64, offcuts: f64| ClothFigures {
        cloth: cloth.into(),
        roll_width: width,
        usable_width: width - 20.0,
        used_length: used,
        least_length: used * 0.87,
        least_length_by: "area of the pieces over the usable width".into(),
        pieces_area: pieces,
        offcuts_area: offcuts,
        waste_area: width * used - pieces - offcuts,
        consumed_area: width * used,
        yield_: pieces / (width * used),
        cost: Some(used * 0.0385),
        mass: Some(used * width / 1e6 * 345.0),
        history: Vec::new(),
        early: None,
    };
    let material = |cloth: &str, name: &str, weave: Weave, up: Backing| PlanCloth {
        cloth: cloth.into(),
        name: name.into(),
        weave,
        balanced: true,
        one_way: false,
        twill_line: None,
        up,
        areal_mass: Some(200.0),
        resin_content: Some(0.42),
        fibre_density: Some(1.78),
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
    };
    Plan {
        schema: 1,
        tool: "warpwise 0.1.0".into(),
        id: "3fa29b77c01d4e5f9a".into(),
        jobs: vec!["kayak outfitting".into()],
        seed: 1,
        effort: Some(40),
        lanes: Some(4),
        seconds: None,
        interrupted: false,
        currency: "EUR".into(),
        rules: Rules { gap: 5.0, angle_tolerance: 0.0, bench_length: Some(1200.0), least_offcut_width: 40.0 },
        templates: Vec::new(),
        layers: Vec::new(),
        pieces,
        stocks,
        cloths: vec![figures("twill-200", 1250.0, 2175.0, 1.52e6, 0.26e6), figures("ud-150", 620.0, 700.0, 0.29e6, 0.0)],
        materials: vec![
            material("twill-200", "Carbon twill 2/2, 200 g/m²", Weave::Twill22, Backing::Paper),
            material("ud-150", "Carbon unidirectional, 150 g/m²", Weave::Unidirectional, Backing::Film),
        ],
        warnings: vec!["relief cuts of the seat lie at the same place in layers 1 and 2: shift one set by 25 mm".into()],
        mosaics: Vec::new(),
        drawn_from: None,
        other_hands: Vec::new(),
        mould_work: Vec::new(),
        hash_today: None,
    }
}
