//! Random set-ups of a projector over a bench, none of them like the model they are judged by:
//! what is stated of each against what is true.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use super::fit::without_motion;
use super::pattern::known;
use super::*;
use crate::geometry::{Point, point};
use crate::trace::bench_view_of;
use crate::trace::card::{
    DOT_RADIUS, HEIGHT, MARK_RADIUS, WHITE_RADIUS, WIDTH, dot_centres, marks,
};
use image::RgbImage;
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use rayon::prelude::*;

/// Set-ups of each kind.
const SETUPS: usize = 200;

struct Dice(Pcg64Mcg);

impl Dice {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn normal(&mut self, spread: f64) -> f64 {
        let (a, b) = (self.between(1e-12, 1.0), self.between(0.0, std::f64::consts::TAU));
        spread * (-2.0 * libm::log(a)).sqrt() * libm::cos(b)
    }

    fn off(&mut self, spread: f64) -> Point {
        point(self.normal(spread), self.normal(spread))
    }
}

/// A projector as it really is: it hangs askew, its lens is shifted and bows the picture, and so do
/// a mirror and a bench that is not flat.
struct Projector {
    picture: Picture,
    /// Rows of its turn, its place over the bench and its focal length in pixels.
    turn: [[f64; 3]; 3],
    at: [f64; 3],
    focal: f64,
    shift: Point,
    lens: [f64; 2],
    mirror: [f64; 3],
    ripple: [f64; 2],
}

impl Projector {
    /// Over a bench whose middle is the origin.
    fn random(dice: &mut Dice) -> Projector {
        let sizes = [(1280, 720), (1920, 1080), (1920, 1200)];
        let (w, h) = sizes[dice.between(0.0, 2.999) as usize];
        let picture = Picture::new(w, h).unwrap();
        let wide = dice.between(1000.0, 2000.0);
        let focal = f64::from(w) * dice.between(0.7, 1.6);
        let high = wide * focal / f64::from(w);
        let (a, b, c) = (dice.normal(0.12), dice.normal(0.12), dice.normal(0.04));
        let turn = turned(a, b, c);
        let z = [turn[2][0], turn[2][1], turn[2][2]];
        let back = high / -z[2];
        let at = [-z[0] * back, -z[1] * back, high];
        let scale = f64::from(w) / 1920.0;
        Projector {
            picture,
            turn,
            at,
            focal,
            shift: point(0.0, f64::from(h) * dice.between(-0.5, 0.5)),
            lens: [dice.normal(0.004), dice.normal(0.001)],
            mirror: [0; 3].map(|_| dice.normal(1.5 * scale)),
            ripple: [dice.between(0.0, 0.3), dice.between(0.0, 6.0)],
        }
    }

    /// The pixel that falls on a point of the bench.
    fn pixel(&self, p: Point) -> Point {
        let d = [p.x - self.at[0], p.y - self.at[1], -self.at[2]];
        let t = self.turn.map(|row| row[0] * d[0] + row[1] * d[1] + row[2] * d[2]);
        let half = f64::from(self.picture.width) / 2.0;
        let middle = point(half, f64::from(self.picture.height) / 2.0);
        let flat = point(t[0] / t[2], -t[1] / t[2]) * self.focal;
        // The lens bows about its own middle, which is not that of the picture.
        let arm = (flat - self.shift) * (1.0 / half);
        let r2 = arm.dot(arm);
        let bowed = flat + arm * (half * (self.lens[0] * r2 + self.lens[1] * r2 * r2));
        let u = bowed * (1.0 / half);
        let [m, n, o] = self.mirror;
        let ripple = self.ripple[0] * libm::sin(4.0 * u.x + 3.0 * u.y + self.ripple[1]);
        let more = point(n * u.x * u.y + o * u.y * u.y, m * u.x * u.x + n * u.y * u.y * u.y);
        middle + bowed + more + point(ripple, -ripple)
    }

    /// Where a pixel falls.
    fn bench(&self, pixel: Point) -> Point {
        let mut p = point(0.0, 0.0);
        for _ in 0..50 {
            let here = self.pixel(p);
            let (x, y) =
                (self.pixel(p + point(1e-3, 0.0)) - here, self.pixel(p + point(0.0, 1e-3)) - here);
            let (d, det) = (pixel - here, x.cross(y));
            let step = point(d.cross(y) / det, x.cross(d) / det) * 1e-3;
            p = p + step;
            if step.length() < 1e-9 {
                break;
            }
        }
        p
    }
}

fn turned(a: f64, b: f64, c: f64) -> [[f64; 3]; 3] {
    // Looking down: x right, y up as seen from above, z down.
    let ((sa, ca), (sb, cb), (sc, cc)) = (a.sin_cos(), b.sin_cos(), c.sin_cos());
    let x = [cb * cc, cb * sc, sb];
    let y = [-ca * sc - sa * sb * cc, ca * cc - sa * sb * sc, sa * cb];
    let z = [x[1] * y[2] - x[2] * y[1], x[2] * y[0] - x[0] * y[2], x[0] * y[1] - x[1] * y[0]];
    [x, y, z.map(|v| -v)]
}

/// The worst true error of a map in its field, where `place` says where the field lies in truth.
fn truth(projector: &Projector, fit: &Fit, place: &dyn Fn(Point) -> Point) -> f64 {
    let mut at = Vec::new();
    for i in 0..=20 {
        for k in 0..=12 {
            let share = point(f64::from(i) / 20.0, f64::from(k) / 12.0);
            let size = point(fit.field.width() * share.x, fit.field.height() * share.y);
            at.push(fit.field.min + size);
        }
    }
    let mut off: Vec<Point> =
        at.iter().map(|p| place(projector.bench(fit.map.pixel(*p).unwrap())) - *p).collect();
    without_motion(&at, &mut off);
    off.iter().map(|o| o.length()).fold(0.0, f64::max)
}

/// Lengths of the test picture by a tape.
fn measured(projector: &Projector, known: &mut Known, count: usize, dice: &mut Dice) {
    let fit = known.fit().unwrap();
    let grid = Grid::over(&fit.field).unwrap();
    for [a, b] in grid.worth_measuring().iter().take(count) {
        let pixels = [a, b].map(|n| fit.map.pixel(grid.named(n).unwrap()).unwrap());
        let true_mm = projector.bench(pixels[0]).distance(projector.bench(pixels[1]));
        let mm = true_mm + dice.normal(MEASURED);
        known.lengths.push(grid.measured(&fit.map, [a, b], mm).unwrap());
    }
}

/// Marks by hand: half of the picture's size or more, put with a tape, dragged to about a pixel.
fn by_hand(projector: &Projector, mesh: usize, dice: &mut Dice) -> (Known, Point) {
    let (w, h) = (f64::from(projector.picture.width), f64::from(projector.picture.height));
    let corners = [(0.05, 0.95), (0.95, 0.95), (0.95, 0.05), (0.05, 0.05)]
        .map(|(x, y)| projector.bench(point(w * x, h * y)));
    let left = corners[0].x.max(corners[3].x);
    let right = corners[1].x.min(corners[2].x);
    let low = corners[0].y.max(corners[1].y);
    let high = corners[2].y.min(corners[3].y);
    let whole = |mm: f64| (mm / 50.0).floor() * 50.0;
    let origin = point(left + 10.0, low + 10.0);
    let (wide, tall) = (whole(right - left - 20.0), whole(high - low - 20.0));
    let marked = Marked::new(wide, tall, mesh).unwrap();
    let crosses: Vec<Point> = marked
        .places()
        .iter()
        .map(|p| projector.pixel(origin + *p + dice.off(TAPED)) + dice.off(DRAGGED))
        .collect();
    (marked.dragged(projector.picture, &crosses).unwrap(), origin)
}

/// A phone's camera that looks askew and whose lens bows too.
struct Camera {
    size: (u32, u32),
    turn: [[f64; 3]; 3],
    eye: [f64; 3],
    lens: [f64; 2],
}

/// Focal length in half diagonals.
const FOCAL: f64 = 1.25;

impl Camera {
    fn random(wide: f64, size: (u32, u32), dice: &mut Dice) -> Camera {
        let turn = turned(dice.normal(0.15), dice.normal(0.15), dice.between(-0.3, 0.3));
        // Near enough for the picture to fill most of the photo's width.
        let far = wide * FOCAL / 1.6 * dice.between(1.15, 1.4);
        let z = turn[2];
        let eye = [z[0] / z[2] * far, z[1] / z[2] * far, far];
        Camera { size, turn, eye, lens: [dice.normal(0.02), dice.between(-0.005, 0.005)] }
    }

    fn middle(&self) -> (Point, f64) {
        let (w, h) = (f64::from(self.size.0), f64::from(self.size.1));
        (point((w - 1.0) / 2.0, (h - 1.0) / 2.0), libm::hypot(w, h) / 2.0)
    }

    fn pixel(&self, p: Point) -> Point {
        let d = [p.x - self.eye[0], p.y - self.eye[1], -self.eye[2]];
        let t = self.turn.map(|row| row[0] * d[0] + row[1] * d[1] + row[2] * d[2]);
        let q = point(t[0] / t[2], -t[1] / t[2]) * FOCAL;
        let (r2, (middle, unit)) = (q.dot(q), self.middle());
        middle + q * (unit * (1.0 + self.lens[0] * r2 + self.lens[1] * r2 * r2))
    }

    fn bench(&self, pixel: Point) -> Point {
        let (middle, unit) = self.middle();
        let seen = (pixel - middle) * (1.0 / unit);
        let mut q = seen;
        for _ in 0..8 {
            let r2 = q.dot(q);
            q = seen * (1.0 / (1.0 + self.lens[0] * r2 + self.lens[1] * r2 * r2));
        }
        let q = [q.x / FOCAL, -q.y / FOCAL, 1.0];
        // The ray in the room: the turn's rows are at right angles to each other.
        let ray = [0, 1, 2].map(|i| (0..3).map(|k| self.turn[k][i] * q[k]).sum::<f64>());
        let t = -self.eye[2] / ray[2];
        point(self.eye[0] + t * ray[0], self.eye[1] + t * ray[1])
    }
}

/// Where two cards lie: middle and turn.
fn cards(projector: &Projector, dice: &mut Dice) -> [(Point, f64); 2] {
    gaps(projector.picture)
        .map(|at| (projector.bench(at) + dice.off(10.0), dice.between(-0.3, 0.3)))
}

fn wide(projector: &Projector) -> f64 {
    let (w, h) = (f64::from(projector.picture.width), f64::from(projector.picture.height));
    projector.bench(point(0.0, h / 2.0)).distance(projector.bench(point(w, h / 2.0)))
}

/// A photo as points: the cards are printed a little large or small, and marks and dots are found to
/// a part of a pixel.
fn by_photo(projector: &Projector, dice: &mut Dice) -> Option<Known> {
    let wide = wide(projector);
    let camera = Camera::random(wide, (4000, 3000), dice);
    let printed = 1.0 + dice.normal(0.3 / crate::trace::card::WIDTH);
    let cards = cards(projector, dice).map(|(middle, turn)| {
        let (s, c) = turn.sin_cos();
        crate::trace::card::marks(1).map(|m| {
            let p = m.centre * printed;
            camera.pixel(middle + point(c * p.x - s * p.y, s * p.x + c * p.y)) + dice.off(0.1)
        })
    });
    let view = bench_view_of(camera.size, &cards, 1.0)?;
    let found: Vec<(usize, Point)> = pattern(projector.picture)
        .iter()
        .enumerate()
        .filter(|(i, _)| i % 10 != 3)
        .map(|(i, d)| (i, camera.pixel(projector.bench(d.pixel)) + dice.off(0.25)))
        .collect();
    known(projector.picture, &view, &found).ok()
}

/// A whole photo: a bench in dim light, cards on it, dots thrown over all.
fn photographed(projector: &Projector, dice: &mut Dice) -> RgbImage {
    let wide = wide(projector);
    let camera = Camera::random(wide, (3200, 2400), dice);
    let cards = cards(projector, dice);
    // The dots by where in the picture they are.
    let (w, h) = (f64::from(projector.picture.width), f64::from(projector.picture.height));
    let place = |p: Point| {
        let part = |share: f64, n: f64| ((share - 0.04) / 0.92 * n).round().clamp(0.0, n) as usize;
        part(p.y / h, 6.0) * 11 + part(p.x / w, 10.0)
    };
    let mut dots = [None; 77];
    pattern(projector.picture).iter().for_each(|d| dots[place(d.pixel)] = Some(*d));
    let light = |p: Point| {
        let pixel = projector.pixel(p);
        let lit = dots[place(pixel)].is_some_and(|d| d.pixel.distance(pixel) < d.radius);
        // Even black is not dark: a little of the lamp comes through.
        let lamp = if projector.picture.holds(pixel) { 0.04 } else { 0.0 };
        0.35 + if lit { 1.0 } else { lamp }
    };
    let paint = |p: Point| {
        for (number, (middle, turn)) in cards.iter().enumerate() {
            let (s, c) = turn.sin_cos();
            let d = p - *middle;
            let q = point(c * d.x + s * d.y, c * d.y - s * d.x);
            if q.x.abs() <= WIDTH / 2.0 && q.y.abs() <= HEIGHT / 2.0 {
                let ink = marks(number + 1).iter().any(|m| {
                    let (away, at) = (q.distance(m.centre), q - m.centre);
                    let dot = || dot_centres(m.dots).iter().any(|d| at.distance(*d) < DOT_RADIUS);
                    away < MARK_RADIUS && (away > WHITE_RADIUS || dot())
                });
                return if ink { 0.06 } else { 0.85 };
            }
        }
        // Grain of a wooden board.
        0.30 + 0.03 * libm::sin(p.y / 3.0 + 2.0 * libm::sin(p.x / 90.0))
    };
    let mut image = RgbImage::new(camera.size.0, camera.size.1);
    image.par_chunks_mut(3 * camera.size.0 as usize).enumerate().for_each(|(y, row)| {
        for (x, out) in row.chunks_exact_mut(3).enumerate() {
            let parts = [(-0.25, -0.25), (0.25, 0.25)];
            let sum: f64 = parts
                .iter()
                .map(|(dx, dy)| camera.bench(point(x as f64 + dx, y as f64 + dy)))
                .map(|p| paint(p) * light(p))
                .sum();
            let noise = f64::from(((x * 7919 + y * 104_729) % 97) as u32) / 97.0 - 0.5;
            let value = 255.0 * (sum / 2.0).min(1.0).powf(1.0 / 1.6) + 6.0 * noise;
            out.fill(value.clamp(0.0, 255.0) as u8);
        }
    });
    image
}

/// Where a photo's bench lies in truth: its frame is found where the picture falls.
fn placed(projector: &Projector, fit: &Fit) -> impl Fn(Point) -> Point + use<> {
    let (a, b) = (fit.field.min, point(fit.field.max.x, fit.field.min.y));
    let seen = [a, b].map(|p| projector.bench(fit.map.pixel(p).unwrap()));
    let way = (seen[1] - seen[0]) * (1.0 / seen[1].distance(seen[0]));
    move |p: Point| {
        let d = p - seen[0];
        a + point(d.dot(way), way.cross(d))
    }
}

/// A row of the table: how often the truth was worse than what was stated, and both in the middle
/// and at their 90th per cent.
fn told(name: &str, mut list: Vec<(f64, f64)>) -> f64 {
    let over = list.iter().filter(|(stated, true_mm)| true_mm > stated).count();
    let share = 100.0 * over as f64 / list.len() as f64;
    let mut quantile = |k: usize, part: f64| {
        let pick = |v: &(f64, f64)| if k == 0 { v.0 } else { v.1 };
        list.sort_by(|a, b| pick(a).total_cmp(&pick(b)));
        pick(&list[(list.len() as f64 * part) as usize])
    };
    println!(
        "| {name} | {:.2} | {:.2} | {:.2} | {:.2} | {share:.1} % |",
        quantile(0, 0.5),
        quantile(0, 0.9),
        quantile(1, 0.5),
        quantile(1, 0.9),
    );
    share
}

/// `cargo test --lib project::trials -- --nocapture` prints the table of docs/figures.md.
#[test]
fn what_is_stated_is_hardly_ever_less_than_what_is_true() {
    let kinds: [(&str, usize, usize); 7] = [
        ("4 marks", 2, 0),
        ("4 marks, 2 diagonals", 2, 2),
        ("4 marks, 12 lengths", 2, 12),
        ("9 marks", 3, 0),
        ("9 marks, 2 diagonals", 3, 2),
        ("9 marks, 12 lengths", 3, 12),
        ("25 marks, 2 diagonals", 5, 2),
    ];
    // Stated and true, kind by kind, of one set-up.
    let one = |seed: usize| -> Vec<(f64, f64)> {
        let mut dice = Dice(Pcg64Mcg::seed_from_u64(seed as u64));
        let projector = Projector::random(&mut dice);
        let mut row = Vec::new();
        for (_, mesh, lengths) in kinds {
            let (mut known, origin) = by_hand(&projector, mesh, &mut dice);
            measured(&projector, &mut known, lengths, &mut dice);
            let fit = known.fit().unwrap();
            row.push((fit.worst, truth(&projector, &fit, &|p| p - origin)));
        }
        let mut known = by_photo(&projector, &mut dice).unwrap();
        for lengths in [0, 2, 12] {
            known.lengths.clear();
            measured(&projector, &mut known, lengths, &mut dice);
            let fit = known.fit().unwrap();
            row.push((fit.worst, truth(&projector, &fit, &placed(&projector, &fit))));
        }
        row
    };
    let all: Vec<Vec<(f64, f64)>> = (0..SETUPS).into_par_iter().map(one).collect();
    println!("| | stated, middle | stated, 90 % | true, middle | true, 90 % | true is worse |");
    let photos = ["photo", "photo, 2 diagonals", "photo, 12 lengths"];
    let names = kinds.iter().map(|k| k.0).chain(photos);
    let mut shares = Vec::new();
    for (k, name) in names.enumerate() {
        shares.push((name, told(name, all.iter().map(|row| row[k]).collect())));
    }
    assert!(shares.iter().all(|s| s.1 <= 5.0), "{shares:?}");
}

/// One whose cards are large enough in a photo of 8 megapixels.
fn nearby(dice: &mut Dice) -> Projector {
    loop {
        let projector = Projector::random(dice);
        if wide(&projector) < 1500.0 {
            return projector;
        }
    }
}

/// The same from whole pictures: cards and dots are found in them.
#[test]
fn a_rendered_photo_gives_the_map_in_one_step() {
    let mut dice = Dice(Pcg64Mcg::seed_from_u64(11));
    for _ in 0..3 {
        let projector = nearby(&mut dice);
        let photo = photographed(&projector, &mut dice);
        let (mut known, _) = super::by_photo(projector.picture, &photo, WIDTH).unwrap();
        assert!(known.marks.len() >= 55, "{}", known.marks.len());
        measured(&projector, &mut known, 2, &mut dice);
        let fit = known.fit().unwrap();
        let true_mm = truth(&projector, &fit, &placed(&projector, &fit));
        println!("rendered: stated {:.2}, true {true_mm:.2}", fit.worst);
        assert!(true_mm <= fit.worst && true_mm < 2.5, "{true_mm} {}", fit.worst);
    }
    // With half of it covered, or cards of another size, it is refused in words.
    let projector = nearby(&mut dice);
    let mut photo = photographed(&projector, &mut dice);
    assert!(super::by_photo(projector.picture, &photo, 90.0).is_err());
    let half = photo.len() / 2;
    photo.iter_mut().take(half).for_each(|v| *v = 60);
    assert!(super::by_photo(projector.picture, &photo, WIDTH).is_err());
}
