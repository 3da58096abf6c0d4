//! Jobs of the kind people make, by a number: job file, measured drawings and sometimes a stock
//! file in a folder of their own.
//!
//! Several templates with windows, slots, bays, keyholes, combs and darts, edge kinds edge by edge,
//! both hands, local patches that step back, strips; cloths of every weave, narrow rolls that force
//! splices, selvedges, flaws, short benches, all gaps; offcuts and no roll. As unkind as the world,
//! and sound: what a reader of drawings or jobs would refuse by right is not the matter here.
#![allow(dead_code, clippy::unwrap_used)]

pub mod judge;

use geo::{Contains, Distance, Euclidean, LineString, Polygon, Validation};
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::f64::consts::TAU;
use std::fmt::Write;
use std::fs;
use std::path::Path;

type Xy = (f64, f64);

/// Random choices: by given bytes, two at a time, as long as there are any.
struct Dice(Pcg64Mcg, Vec<u8>);

impl Dice {
    fn unit(&mut self) -> f64 {
        if let (Some(high), Some(low)) = (self.1.pop(), self.1.pop()) {
            return f64::from(u16::from_be_bytes([high, low])) / 65_536.0;
        }
        (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A number between two, to the hundredth.
    fn between(&mut self, low: f64, high: f64) -> f64 {
        ((low + (high - low) * self.unit()) * 100.0).round() / 100.0
    }

    fn count(&mut self, low: usize, high: usize) -> usize {
        low + (self.unit() * (high - low + 1) as f64) as usize
    }

    fn pick<T: Copy>(&mut self, of: &[T]) -> T {
        of[self.count(0, of.len() - 1)]
    }

    fn one_in(&mut self, n: usize) -> bool {
        self.count(1, n) == 1
    }
}

/// A template on its way: corners with the kinds of the edges that start there, and what lies
/// inside.
#[derive(Clone)]
struct Sketch {
    net: Vec<(Xy, &'static str)>,
    holes: Vec<Vec<Xy>>,
    cuts: Vec<Vec<Xy>>,
    zones: Vec<Vec<Xy>>,
}

fn polygon(ring: &[Xy]) -> Polygon<f64> {
    Polygon::new(LineString::from(ring.to_vec()), Vec::new())
}

fn points(net: &[(Xy, &'static str)]) -> Vec<Xy> {
    net.iter().map(|c| c.0).collect()
}

/// Rings that a drawing may have: simple, and nowhere nearer to themselves than a pencil line.
fn sound(ring: &[Xy]) -> bool {
    let shape = polygon(ring);
    let n = ring.len();
    let edge = |i: usize| geo::Line::new(ring[i], ring[(i + 1) % n]);
    let apart = |i: usize, j: usize| {
        (j + 1) % n == i || (i + 1) % n == j || Euclidean.distance(&edge(i), &edge(j)) > 0.2
    };
    shape.is_valid() && (0..n).all(|i| (i + 1..n).all(|j| apart(i, j)))
}

/// The body of a template, anticlockwise.
fn body(dice: &mut Dice) -> Vec<Xy> {
    let wide = dice.one_in(7);
    let (w, h) = if wide {
        (dice.between(300.0, 1900.0), dice.between(900.0, 2100.0))
    } else {
        (dice.between(60.0, 800.0), dice.between(40.0, 600.0))
    };
    let kind = dice.count(0, 6);
    let mut near = |x: f64, y: f64| {
        (x * w + dice.between(-0.02, 0.02) * w, y * h + dice.between(-0.02, 0.02) * h)
    };
    match kind {
        0 => vec![(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)],
        1 => vec![near(0.0, 0.0), near(1.0, 0.0), near(1.0, 1.0), near(0.0, 1.0)],
        2 => vec![
            near(0.0, 0.0),
            near(1.0, 0.0),
            near(1.0, 0.4),
            near(0.45, 0.45),
            near(0.4, 1.0),
            near(0.0, 1.0),
        ],
        3 => vec![near(0.0, 0.0), near(1.0, 0.0), near(0.75, 0.8), near(0.5, 1.0), near(0.2, 0.85)],
        4 => {
            // Rounded corners.
            let r = w.min(h) * dice.between(0.1, 0.45);
            let middles = [(w - r, h - r, 0.0), (r, h - r, 0.25), (r, r, 0.5), (w - r, r, 0.75)];
            let arc = |(x, y, from): (f64, f64, f64)| {
                (0..=6)
                    .map(move |k| TAU * (from + k as f64 / 24.0))
                    .map(move |t| (x + r * t.cos(), y + r * t.sin()))
            };
            middles.into_iter().flat_map(arc).collect()
        }
        5 => {
            let n = dice.count(12, 48);
            (0..n)
                .map(|k| TAU * k as f64 / n as f64)
                .map(|t| (w / 2.0 * t.cos(), h / 2.0 * t.sin()))
                .collect()
        }
        _ => {
            // Drawn by hand round a mould: no corner like another.
            let n = dice.count(7, 18);
            let at: Vec<f64> =
                (0..n).map(|k| TAU * (k as f64 + dice.between(-0.3, 0.3)) / n as f64).collect();
            at.into_iter()
                .map(|t| (t, dice.between(0.6, 1.0)))
                .map(|(t, r)| (r * w / 2.0 * t.cos(), r * h / 2.0 * t.sin()))
                .collect()
        }
    }
}

/// Lets something into an edge: a slot, a bay, a keyhole, a dart, a comb of slots with thin walls.
fn let_in(dice: &mut Dice, net: &mut Vec<(Xy, &'static str)>, allowance: f64) {
    let n = net.len();
    let i = dice.count(0, n - 1);
    let ((a, kind), (b, _)) = (net[i], net[(i + 1) % n]);
    let length = (b.0 - a.0).hypot(b.1 - a.1);
    if length < 40.0 {
        return;
    }
    let at = |along: f64, deep: f64| {
        let (x, y) = ((b.0 - a.0) / length, (b.1 - a.1) / length);
        (a.0 + x * along - y * deep, a.1 + y * along + x * deep)
    };
    // Widths about twice the allowance, far below and above.
    let width = (dice.pick(&[0.02, 0.3, 0.9, 1.7, 1.99, 2.01, 2.6, 4.0]) * allowance.max(4.0))
        .clamp(0.6, length * 0.5);
    let deep = dice.between(4.0, 0.7 * length + 20.0);
    let (from, lean) = (dice.between(3.0, length - width - 3.0), dice.between(-0.3, 0.3) * width);
    let to = from + width;
    let sides = if dice.one_in(3) { dice.pick(&["lap", "butt", "trim"]) } else { kind };
    let mut inserted: Vec<(Xy, &'static str)> = match dice.count(0, 4) {
        0 => vec![
            (at(from, 0.0), "dart"),
            (at((from + to) / 2.0 + lean, deep), "dart"),
            (at(to, 0.0), kind),
        ],
        1 => {
            let (left, right) =
                (from - width.min(from - 1.0) * 0.8, to + width.min(length - to - 1.0) * 0.8);
            let neck = deep * 0.4;
            let corners = [
                (from, 0.0),
                (from, neck),
                (left, neck),
                (left, deep),
                (right, deep),
                (right, neck),
                (to, neck),
            ];
            corners.iter().map(|&(x, y)| (at(x, y), sides)).chain([(at(to, 0.0), kind)]).collect()
        }
        2 => {
            let count = dice.count(2, 4);
            let pitch = (length - 6.0) / (count as f64 + 0.5);
            let gap = width.min(pitch * 0.8);
            let starts = (0..count).map(|k| 3.0 + pitch * k as f64);
            starts
                .flat_map(|x| {
                    [
                        ((x, 0.0), sides),
                        ((x, deep), sides),
                        ((x + gap, deep), sides),
                        ((x + gap, 0.0), kind),
                    ]
                })
                .map(|((x, y), k)| (at(x, y), k))
                .collect()
        }
        _ => vec![
            (at(from, 0.0), sides),
            (at(from + lean, deep), sides),
            (at(to - lean / 2.0, deep), sides),
            (at(to, 0.0), kind),
        ],
    };
    let mut tried = net.clone();
    let behind = tried.split_off(i + 1);
    tried.append(&mut inserted);
    tried.extend(behind);
    if sound(&points(&tried)) {
        *net = tried;
    }
}

/// A ring about a middle, clockwise or not: the reader turns it.
fn window(dice: &mut Dice, (x, y): Xy, size: f64) -> Vec<Xy> {
    let turned = TAU * dice.pick(&[0.0, 0.0, 0.125, 0.07]);
    let put = |(u, v): Xy| {
        (
            x + size * (u * turned.cos() - v * turned.sin()),
            y + size * (u * turned.sin() + v * turned.cos()),
        )
    };
    let shape: Vec<Xy> = match dice.count(0, 4) {
        0 => vec![(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)],
        1 => vec![(-0.5, -0.15), (0.5, -0.15), (0.5, 0.15), (-0.5, 0.15)],
        2 => {
            (0..16).map(|k| TAU * k as f64 / 16.0).map(|t| (0.5 * t.cos(), 0.5 * t.sin())).collect()
        }
        3 => vec![(-0.5, -0.5), (0.5, -0.5), (0.5, 0.0), (0.0, 0.0), (0.0, 0.5), (-0.5, 0.5)],
        _ => vec![(-0.5, -0.4), (0.5, -0.3), (0.1, 0.5)],
    };
    shape.into_iter().map(put).collect()
}

/// A point of the body and how far it is from the edges.
fn inner(dice: &mut Dice, ring: &[Xy]) -> Option<(Xy, f64)> {
    let shape = polygon(ring);
    let (xs, ys): (Vec<f64>, Vec<f64>) = ring.iter().copied().unzip();
    let ends = |v: &[f64]| {
        (
            v.iter().copied().fold(f64::INFINITY, f64::min),
            v.iter().copied().fold(f64::NEG_INFINITY, f64::max),
        )
    };
    let ((left, right), (low, high)) = (ends(&xs), ends(&ys));
    (0..30).find_map(|_| {
        let p = (dice.between(left, right), dice.between(low, high));
        let room = Euclidean.distance(&geo::Point::from(p), shape.exterior());
        (shape.contains(&geo::Point::from(p)) && room > 6.0).then_some((p, room))
    })
}

fn sketch(dice: &mut Dice, allowance: f64) -> Sketch {
    let mut ring = body(dice);
    if !sound(&ring) {
        ring = vec![(0.0, 0.0), (220.0, 0.0), (220.0, 140.0), (0.0, 140.0)];
    }
    let whole = dice.pick(&["", "", "trim", "lap", "butt"]);
    let single = dice.one_in(2);
    let kinds = |dice: &mut Dice| {
        if single && dice.one_in(3) { dice.pick(&["trim", "lap", "butt"]) } else { whole }
    };
    let mut net: Vec<(Xy, &'static str)> = ring.into_iter().map(|p| (p, kinds(dice))).collect();
    for _ in 0..dice.pick(&[0, 0, 1, 1, 2, 3]) {
        let_in(dice, &mut net, allowance);
    }
    let mut out = Sketch { net, holes: Vec::new(), cuts: Vec::new(), zones: Vec::new() };
    let outline = points(&out.net);
    for _ in 0..dice.pick(&[0, 0, 1, 1, 2, 4]) {
        let Some((middle, room)) = inner(dice, &outline) else {
            continue;
        };
        // Often as near to an edge as can be.
        let size = dice.pick(&[0.5, 1.0, 1.3, 1.38]) * room;
        let hole = window(dice, middle, size);
        let shape = polygon(&hole);
        let clear =
            |other: &[Xy]| Euclidean.distance(shape.exterior(), polygon(other).exterior()) > 0.3;
        let inside = hole.iter().all(|&p| polygon(&outline).contains(&geo::Point::from(p)));
        let outside = |h: &Vec<Xy>| {
            !polygon(h).contains(&geo::Point::from(hole[0]))
                && !shape.contains(&geo::Point::from(h[0]))
        };
        if sound(&hole)
            && inside
            && clear(&outline)
            && out.holes.iter().all(|h| clear(h) && outside(h))
        {
            out.holes.push(hole);
        }
    }
    if dice.one_in(3)
        && let Some((p, room)) = inner(dice, &outline)
    {
        let t = TAU * dice.unit();
        out.cuts.push(vec![p, (p.0 + 0.9 * room * t.cos(), p.1 + 0.9 * room * t.sin())]);
    }
    if dice.one_in(5)
        && let Some((p, room)) = inner(dice, &outline)
    {
        let r = 0.6 * room;
        out.zones.push(vec![
            (p.0 - r, p.1 - r),
            (p.0 + r, p.1 - r),
            (p.0 + r, p.1 + r),
            (p.0 - r, p.1 + r),
        ]);
    }
    out
}

impl Sketch {
    fn csv(&self) -> String {
        let mut out = String::from("x_mm,y_mm,line,edge\n");
        let mut row = |(x, y): Xy, line: &str, edge: &str| {
            writeln!(out, "{x:.3},{y:.3},{line},{edge}").unwrap()
        };
        self.net.iter().for_each(|&(p, edge)| row(p, "outline", edge));
        for (name, lines) in
            [("hole", &self.holes), ("cut", &self.cuts), ("no-splice", &self.zones)]
        {
            for (k, line) in lines.iter().enumerate() {
                line.iter().for_each(|&p| row(p, &format!("{name} {}", k + 1), ""));
            }
        }
        out
    }
}

const WEAVES: [&str; 12] = [
    "unidirectional",
    "unidirectional",
    "plain",
    "plain",
    "twill 2/2",
    "twill 2/2",
    "twill 4/4",
    "twill 3/1",
    "satin",
    "biaxial 45",
    "mat",
    "none",
];

/// Writes the files of job `number` into a folder.
pub fn write_job(folder: &Path, number: u64) {
    let seed = number.wrapping_mul(0x9E37_79B9_7F4A_7C15) ^ 0x5EED;
    write(folder, &number.to_string(), Dice(Pcg64Mcg::seed_from_u64(seed), Vec::new()));
}

/// Writes the files of the job that some bytes choose.
pub fn write_job_by(folder: &Path, bytes: &[u8]) {
    let bytes = bytes.iter().rev().copied().collect();
    write(folder, "by bytes", Dice(Pcg64Mcg::seed_from_u64(0), bytes));
}

fn write(folder: &Path, number: &str, mut dice: Dice) {
    let dice = &mut dice;
    fs::create_dir_all(folder).unwrap();
    let (trim, lap): (f64, f64) = (
        dice.pick(&[0.0, 3.0, 8.5, 15.0, 25.0, 25.0, 44.0]),
        dice.pick(&[0.0, 10.0, 20.0, 25.0, 50.0]),
    );
    let mut job =
        format!("[job]\nname = \"random {number}\"\n\n[cutting]\ntrim = {trim}\nlap = {lap}\n");
    writeln!(
        job,
        "gap = {}\nleast_offcut_width = {}",
        dice.pick(&[0.0, 0.5, 2.0, 5.0, 10.0]),
        dice.pick(&[20.0, 40.0, 80.0])
    )
    .unwrap();
    if dice.one_in(3) {
        writeln!(job, "bench_length = {}", dice.between(900.0, 4000.0)).unwrap();
    }
    if dice.one_in(6) {
        writeln!(job, "angle_tolerance = {}", dice.pick(&[1.0, 2.5])).unwrap();
    }
    if !dice.one_in(8) {
        let rule = (
            dice.pick(&[0.0, 10.0, 25.0, 25.0, 40.0]),
            dice.pick(&[0.0, 20.0, 50.0, 90.0]),
            dice.count(1, 6),
        );
        writeln!(
            job,
            "\n[splice]\nlap = {}\nstagger = {}\nplies_apart = {}",
            rule.0, rule.1, rule.2
        )
        .unwrap();
    }
    let cloths = cloths(dice, &mut job);
    let (laid, hosts) = templates(dice, folder, &mut job, trim.max(lap));
    for k in 0..dice.count(1, 6) {
        layer(dice, &mut job, k, &cloths, &laid, &hosts);
    }
    fs::write(folder.join("job.toml"), job).unwrap();
    if dice.one_in(4) {
        fs::write(folder.join("stock.json"), stock(dice, &cloths)).unwrap();
    }
}

/// Ids and widths of the cloths written.
fn cloths(dice: &mut Dice, job: &mut String) -> Vec<(String, f64)> {
    let mut out = Vec::new();
    for k in 0..dice.count(1, 2) {
        let (weave, width) = (
            dice.pick(&WEAVES),
            dice.pick(&[305.0, 600.0, 1000.0, 1000.0, 1250.0, 1250.0, 1250.0, 1500.0]),
        );
        let id = format!("cloth-{}", k + 1);
        writeln!(
            job,
            "\n[[cloth]]\nid = \"{id}\"\nweave = \"{weave}\"\nup = \"paper\"\nroll_width = {width}"
        )
        .unwrap();
        writeln!(
            job,
            "selvedge = {}\nbalanced = {}",
            dice.pick(&[0.0, 5.0, 10.0, 25.0]),
            !dice.one_in(6)
        )
        .unwrap();
        if weave.starts_with("twill") {
            writeln!(job, "twill_line = {}", dice.pick(&[45, -45])).unwrap();
        }
        if dice.one_in(9) {
            writeln!(job, "one_way = true").unwrap();
        }
        for _ in 0..dice.pick(&[0, 0, 0, 1, 2]) {
            let from = dice.pick(&[0.0, 3.0, 60.0, 400.0, 1500.0]) + dice.between(0.0, 50.0);
            writeln!(
                job,
                "[[cloth.flaw]]\nfrom = {from}\nto = {}",
                from + dice.between(2.0, 120.0)
            )
            .unwrap();
            if !dice.one_in(3) {
                let low = dice.between(0.0, width * 0.6);
                writeln!(job, "low = {low}\nhigh = {}", low + dice.between(5.0, width * 0.4))
                    .unwrap();
            }
        }
        out.push((id, width));
    }
    out
}

/// Ids of all that can be laid, and of the templates that carry local patches, with the patches.
fn templates(
    dice: &mut Dice,
    folder: &Path,
    job: &mut String,
    allowance: f64,
) -> (Vec<String>, Vec<(String, String)>) {
    let (mut laid, mut patches) = (Vec::new(), Vec::new());
    for k in 0..dice.count(1, 4) {
        let (id, drawn) = (format!("part-{}", k + 1), sketch(dice, allowance));
        fs::write(folder.join(format!("{id}.csv")), drawn.csv()).unwrap();
        writeln!(
            job,
            "\n[[template]]\nid = \"{id}\"\nfile = \"{id}.csv\"\narrow = {}",
            dice.pick(&[0.0, 0.0, 90.0, 20.0, -133.5])
        )
        .unwrap();
        writeln!(
            job,
            "taken_off = \"{}\"\ninked_side = \"{}\"",
            dice.pick(&["mould", "mould", "plug"]),
            dice.pick(&["up", "up", "down"])
        )
        .unwrap();
        let (edge, hands) = (
            dice.pick(&["trim", "trim", "trim", "lap", "butt"]),
            dice.pick(&["as traced", "as traced", "mirrored", "both"]),
        );
        writeln!(
            job,
            "edge = \"{edge}\"\nhands = \"{hands}\"\nmay_cross_bench = {}",
            dice.one_in(5)
        )
        .unwrap();
        for _ in 0..dice.pick(&[0, 0, 1, 2]) {
            let Some(((x, y), room)) = inner(dice, &points(&drawn.net)) else {
                continue;
            };
            let (patch, t) = (format!("patch-{}", patches.len() + 1), TAU * dice.unit());
            let (length, width) = (1.9 * room * t.cos().abs(), 1.9 * room * t.sin().abs());
            if length < 4.0 || width < 4.0 {
                continue;
            }
            write!(
                job,
                "\n[[patch]]\nid = \"{patch}\"\non = \"{id}\"\ncentre = [{x:.2}, {y:.2}]\nlength = {length:.2}\nwidth = {width:.2}\n"
            )
            .unwrap();
            match dice.count(0, 2) {
                0 => writeln!(job, "shape = \"ellipse\"").unwrap(),
                1 => writeln!(job, "corner = {:.2}", length.min(width) * dice.between(0.05, 0.45))
                    .unwrap(),
                _ => {}
            }
            // Mostly small enough that something is left after as many layers as there may be.
            let most = if dice.one_in(9) { f64::INFINITY } else { length.min(width) / 12.0 };
            let (edge, step) = (
                dice.pick(&["butt", "butt", "trim", "lap"]),
                dice.pick(&[0.0_f64, 1.5, 3.0, 4.0, 5.0, 6.0, 8.0]).min(most),
            );
            let step = (step * 100.0).floor() / 100.0;
            writeln!(
                job,
                "along = {}\nstep_back = {step}\nedge = \"{edge}\"",
                dice.pick(&[0.0, 45.0, 30.0, -12.0])
            )
            .unwrap();
            patches.push((id.clone(), patch));
        }
        laid.push(id);
    }
    if dice.one_in(4) {
        let size = (dice.between(200.0, 2600.0), dice.between(20.0, 90.0));
        writeln!(job, "\n[[strip]]\nid = \"strip\"\nlength = {}\nwidth = {}", size.0, size.1)
            .unwrap();
        laid.push("strip".into());
    }
    (laid, patches)
}

fn layer(
    dice: &mut Dice,
    job: &mut String,
    k: usize,
    cloths: &[(String, f64)],
    laid: &[String],
    patches: &[(String, String)],
) {
    let cloth = &cloths[dice.count(0, cloths.len() - 1)].0;
    let angle = dice.pick(&[0.0, 0.0, 45.0, -45.0, 90.0, 30.0, 17.3]);
    // Everything in the first layer, so that nothing drawn goes unused.
    let mut items: Vec<&String> = laid
        .iter()
        .chain(patches.iter().map(|p| &p.1))
        .filter(|_| k == 0 || dice.one_in(2))
        .collect();
    if items.is_empty() {
        items.push(&laid[0]);
    }
    let items: Vec<String> = items.iter().map(|id| format!("\"{id}\"")).collect();
    writeln!(
        job,
        "\n[[layer]]\ncloth = \"{cloth}\"\nangle = {angle}\ntemplates = [{}]",
        items.join(", ")
    )
    .unwrap();
    writeln!(job, "seen = \"{}\"", dice.pick(&["hidden", "hidden", "mould side", "other side"]))
        .unwrap();
    if dice.one_in(6) {
        writeln!(job, "copies = 2").unwrap();
    }
    if dice.one_in(6) {
        writeln!(job, "trim = {}", dice.pick(&[0.0, 5.0, 30.0])).unwrap();
    }
    if dice.one_in(8) {
        writeln!(job, "turns = [0, 90, 180]").unwrap();
    }
}

/// A few offcuts, one of which may bear the cloth's own name; with a roll or without.
fn stock(dice: &mut Dice, cloths: &[(String, f64)]) -> String {
    let (mut rolls, mut offcuts) = (Vec::new(), Vec::new());
    for (id, width) in cloths {
        if dice.one_in(2) {
            rolls.push(format!(r#"{{"id": "roll of {id}", "cloth": "{id}", "width": {width}, "added": "2026-01-12"}}"#));
        }
        for k in 0..dice.count(0, 4) {
            let name = if k == 0 && dice.one_in(3) { id.clone() } else { format!("off {id} {k}") };
            let (w, h) = (dice.between(120.0, 900.0), dice.between(80.0, 600.0));
            let ring = if dice.one_in(2) {
                format!("[[0, 0], [{w}, 0], [{w}, {h}], [0, {h}]]")
            } else {
                format!(
                    "[[0, 0], [{w}, 0], [{w}, {}], [{}, {}], [{}, {h}], [0, {h}]]",
                    h * 0.5,
                    w * 0.5,
                    h * 0.5,
                    w * 0.5
                )
            };
            offcuts.push(format!(
                r#"{{"id": "{name}", "cloth": "{id}", "outline": {ring}, "added": "2026-02-11"}}"#
            ));
        }
    }
    let (rolls, offcuts) = (rolls.join(",\n"), offcuts.join(",\n"));
    format!(
        "{{\"schema\": 1, \"day\": \"2026-11-25\", \"rolls\": [{rolls}],\n\"offcuts\": [{offcuts}], \"consumables\": []}}\n"
    )
}
