//! A plan laid by hand: a piece is put on the cloth by nothing but the words printed on the
//! placement sheet, what is found on the template, and the roll. It must lie where the plan has it,
//! to 1 mm and 0.3°.

use super::kayak;
use crate::cloth::Face;
use crate::geometry::{Point, Ring, point, ring_bounds, ring_contains};
use crate::plan::{Plan, PlanPiece, PlanTemplate};
use crate::planner;
use crate::ply::Hand;
use crate::run::{Run, Stop};
use crate::sheet::face::View;
use crate::sheet::laid::Sheet;
use crate::sheet::measured::Place;
use crate::sheet::placement::places;
use crate::sheet::placement_rows::{Row, corners_of, offcut_row, piece_row};
use crate::sheet::reference::references;
use crate::sheet::scene::{Ink, Shape};
use crate::sheet::templates::template_scene;
use crate::stock::{Day, Snapshot};
use std::path::Path;

/// How far off a piece may be laid: mm, degrees.
const MM: f64 = 1.0;
const DEGREES: f64 = 0.3;

/// What a person reads in one line of the sheet.
struct Line {
    points: Vec<(String, [f64; 2])>,
    words: String,
}

/// Reads a line as it is drawn: words `NAME x/y` are points.
fn read(row: &Row) -> Line {
    let (scene, height) = row.drawn();
    let mut line = Line { points: Vec::new(), words: String::new() };
    for text in &scene.texts {
        assert!(
            text.at.y > 0.0 && text.at.y < height && text.at.x < 182.0,
            "{} leaves its line",
            text.words
        );
        let measured = text.words.split_once(' ').and_then(|(name, xy)| {
            let (x, y) = xy.split_once('/')?;
            Some((name.to_string(), [x.parse().ok()?, y.parse().ok()?]))
        });
        match measured {
            Some(point) => line.points.push(point),
            None => line.words.push_str(&format!("{} ", text.words)),
        }
    }
    line
}

/// A point as the cloth lies before the person: along from the end, across from the selvedge at the
/// black corner.
fn on_cloth(sheet: &Sheet<'_>, [along, across]: [f64; 2]) -> Point {
    let [_, low, _, high] = sheet.stock_box;
    point(sheet.from + along, if sheet.over { high - across } else { low + across })
}

fn turned(p: Point, degrees: f64) -> Point {
    let (s, c) = degrees.to_radians().sin_cos();
    point(c * p.x - s * p.y, s * p.x + c * p.y)
}

/// Where the plan has a point of the template: the frames in words, written out. A cloth turned
/// over is the plan mirrored across the warp.
fn planned(plan: &Plan, piece: &PlanPiece, copy: u32, arrow: f64, over: bool, p: Point) -> Point {
    let along = turned(p, -arrow);
    let handed = if piece.hand == Hand::Mirrored { point(along.x, -along.y) } else { along };
    lies(plan, piece, copy, over, turned(handed, -piece.angle) + piece.origin)
}

/// Where the plan has a point of the piece.
fn lies(plan: &Plan, piece: &PlanPiece, copy: u32, over: bool, p: Point) -> Point {
    let (stock, placed) = plan
        .stocks
        .iter()
        .flat_map(|s| s.placed.iter().map(move |p| (s, p)))
        .find(|(_, q)| q.piece == piece.piece && q.copy == copy)
        .unwrap();
    let q = turned(p, placed.turn);
    let q = point(q.x + placed.x, if placed.face == Face::Down { -q.y } else { q.y } + placed.y);
    let b = ring_bounds(&stock.outline).unwrap();
    point(q.x, if over { b.min.y + b.max.y - q.y } else { q.y })
}

/// The skin laid so that its points come nearest to the measured ones, by turning and shifting
/// only: the least squares of Kabsch (1976) in the plane, where the turn is the direction of the
/// sum of products. Returns the motion, its turn in degrees, and the worst miss.
fn laid(from: &[Point], to: &[Point]) -> (impl Fn(Point) -> Point + use<>, f64, f64) {
    let n = from.len() as f64;
    let mean = |all: &[Point]| all.iter().fold(point(0.0, 0.0), |a, &p| a + p) * (1.0 / n);
    let (a, b) = (mean(from), mean(to));
    let (c, s) = from
        .iter()
        .zip(to)
        .fold((0.0, 0.0), |(c, s), (&p, &q)| (c + (p - a).dot(q - b), s + (p - a).cross(q - b)));
    let turn = s.atan2(c).to_degrees();
    let motion = move |p: Point| turned(p - a, turn) + b;
    let miss = from.iter().zip(to).map(|(&p, &q)| motion(p).distance(q)).fold(0.0, f64::max);
    (motion, turn, miss)
}

/// Points that a person inks by the printed lengths: every way to do it that the template allows.
fn inked_by_lengths(template: &PlanTemplate, words: &str) -> Vec<[Point; 3]> {
    let length = |pair: &str| -> f64 {
        let rest = words.split_once(pair).unwrap().1.trim_start();
        rest.split([' ', ',', ';']).next().unwrap().parse().unwrap()
    };
    let (pq, pr, qr) = (length("P-Q "), length("P-R "), length("Q-R "));
    let net = &template.net;
    let mut ways = Vec::new();
    for &p in net {
        for &q in net.iter().filter(|q| (p.distance(**q) - pq).abs() < 0.06) {
            ways.extend(
                net.iter()
                    .filter(|r| {
                        (p.distance(**r) - pr).abs() < 0.06 && (q.distance(**r) - qr).abs() < 0.06
                    })
                    .map(|&r| [p, q, r]),
            );
        }
    }
    assert!(!ways.is_empty(), "no points of the edge have the printed distances: {words}");
    ways
}

/// Lays the template of a line and holds every point of it against the plan.
fn by_template(
    plan: &Plan,
    sheet: &Sheet<'_>,
    place: &Place<'_>,
    line: &Line,
    template: &PlanTemplate,
) {
    let piece = place.laid.piece.unwrap();
    let inked = template.inked.as_ref().unwrap();
    // What the person sees of the skin: its inked side, or through it.
    let under = line.words.contains("INKED SIDE DOWN");
    assert!(
        under != line.words.contains("inked side up"),
        "{}: which side is up? {}",
        piece.piece,
        line.words
    );
    let seen = |p: Point| {
        if inked.mirrored == under { p } else { point(-p.x, p.y) }
    };
    let to: Vec<Point> = line.points.iter().map(|(_, xy)| on_cloth(sheet, *xy)).collect();
    let ways: Vec<Vec<Point>> = if line.words.contains("ink P, Q, R") {
        inked_by_lengths(template, &line.words)
            .into_iter()
            .map(|pqr| {
                let known =
                    line.points.iter().filter(|(n, _)| !["P", "Q", "R"].contains(&n.as_str()));
                known.map(|(n, _)| found_on(inked, n)).chain(pqr).collect()
            })
            .collect()
    } else {
        assert!(line.points.len() >= 2, "{}: {}", piece.piece, line.words);
        vec![line.points.iter().map(|(n, _)| found_on(inked, n)).collect()]
    };
    let fits =
        ways.into_iter().map(|from| laid(&from.into_iter().map(seen).collect::<Vec<_>>(), &to));
    let (motion, _, miss) = fits.min_by(|a, b| a.2.total_cmp(&b.2)).unwrap();
    assert!(miss < 0.2, "{}: the named points do not fit the template: {miss} mm", piece.piece);
    // A symmetrical template may lie otherwise by the same numbers; then its edge covers the same
    // place.
    let wanted: Ring = template
        .net
        .iter()
        .map(|&p| planned(plan, piece, place.laid.placed.copy, template.arrow, sheet.over, p))
        .collect();
    let got: Ring = template.net.iter().map(|&p| motion(seen(p))).collect();
    for &p in got.iter() {
        let off = to_ring(p, &wanted);
        assert!(off < MM, "{} {}: laid {off} mm off", sheet.stock.id, piece.piece);
    }
    if !line.words.contains("ink P, Q, R") {
        for (got, wanted) in got.iter().zip(&wanted) {
            assert!(
                got.distance(*wanted) < MM,
                "{}: {} mm off",
                piece.piece,
                got.distance(*wanted)
            );
        }
        let (i, j) = far(&template.net);
        let turn = (got[j] - got[i]).direction() - (wanted[j] - wanted[i]).direction();
        assert!(
            ((turn + 540.0).rem_euclid(360.0) - 180.0).abs() < DEGREES,
            "{}: turned by {turn}°",
            piece.piece
        );
    }
}

/// A point found on a skin by its name, template frame.
fn found_on(inked: &crate::ply::Inked, name: &str) -> Point {
    match (name, inked.arrow) {
        ("tail", Some([tail, _])) => tail,
        ("head", Some([_, head])) => head,
        _ => {
            inked
                .corners
                .iter()
                .find(|c| c.name == name)
                .unwrap_or_else(|| panic!("nothing named {name} on the template"))
                .at
        }
    }
}

fn far(ring: &Ring) -> (usize, usize) {
    let pairs = (0..ring.len()).flat_map(|i| (0..ring.len()).map(move |j| (i, j)));
    pairs
        .max_by(|a, b| ring[a.0].distance(ring[a.1]).total_cmp(&ring[b.0].distance(ring[b.1])))
        .unwrap()
}

fn to_ring(p: Point, ring: &Ring) -> f64 {
    (0..ring.len())
        .map(|i| p.distance_to_segment(ring[i], ring[(i + 1) % ring.len()]))
        .fold(f64::INFINITY, f64::min)
}

/// Corners joined in their order, the first ring up to where the words say that a window begins.
fn by_corners(sheet: &Sheet<'_>, line: &Line, rings: &[Ring], within: f64, who: &str) {
    let points: Vec<Point> = line.points.iter().map(|(_, xy)| on_cloth(sheet, *xy)).collect();
    assert!(
        line.points.iter().enumerate().all(|(i, (name, _))| *name == (i + 1).to_string()),
        "{who}: the corners are numbered through"
    );
    // `corners 1-8 edge, 9-12 window`: how the numbers hang together.
    let mut drawn: Vec<Ring> = Vec::new();
    for word in line.words.split("corners ").skip(1).flat_map(|w| w.split(", ")) {
        let Some((from, to)) = word.split(' ').next().and_then(|w| w.split_once('-')) else {
            continue;
        };
        let (Ok(from), Ok(to)) = (from.parse::<usize>(), to.parse::<usize>()) else {
            continue;
        };
        drawn.push(points[from - 1..to].to_vec());
    }
    if drawn.is_empty() {
        drawn.push(points);
    }
    assert_eq!(drawn.len(), rings.len(), "{who}: {}", line.words);
    for (drawn, wanted) in drawn.iter().zip(rings) {
        for p in wanted {
            assert!(
                to_ring(*p, drawn) < within,
                "{who}: cut line {} mm off at {p:?}",
                to_ring(*p, drawn)
            );
        }
        for p in drawn {
            assert!(
                to_ring(*p, wanted) < within,
                "{who}: corner {} mm off at {p:?}",
                to_ring(*p, wanted)
            );
        }
        // On a piece smaller than this the distances, printed to a tenth, tell a turn of 0.3° only
        // by 0.1 mm: the rule above is the stricter.
        let (i, j) = far(drawn);
        if drawn[i].distance(drawn[j]) < 40.0 {
            continue;
        }
        let near = |p: Point| {
            *wanted.iter().min_by(|a, b| a.distance(p).total_cmp(&b.distance(p))).unwrap()
        };
        let (a, b) = (drawn[i], drawn[j]);
        let turn = (b - a).direction() - (near(b) - near(a)).direction();
        assert!(
            ((turn + 540.0).rem_euclid(360.0) - 180.0).abs() < DEGREES,
            "{who}: turned by {turn}°"
        );
    }
}

/// The splices of a part laid by its template: what of its cut line runs through the net line is
/// drawn by the printed corners.
fn splices(sheet: &Sheet<'_>, line: &Line, outline: &Ring, net: &Ring, who: &str) {
    let at = |name: &str| {
        on_cloth(
            sheet,
            line.points
                .iter()
                .find(|(n, _)| n == name)
                .unwrap_or_else(|| panic!("{who}: no corner {name}"))
                .1,
        )
    };
    let runs: Vec<(usize, usize)> = line
        .words
        .split("splice: straight ")
        .skip(1)
        .filter_map(|w| {
            let (from, to) = w.split([';', ' ']).next()?.split_once('-')?;
            Some((from.parse().ok()?, to.parse().ok()?))
        })
        .collect();
    assert!(!runs.is_empty(), "{who}: {}", line.words);
    let drawn: Vec<(Point, Point)> = runs
        .iter()
        .flat_map(|&(from, to)| (from..to).map(|k| (at(&k.to_string()), at(&(k + 1).to_string()))))
        .collect();
    for (i, &a) in outline.iter().enumerate() {
        let b = outline[(i + 1) % outline.len()];
        let middle = (a + b) * 0.5;
        if ring_contains(net, middle) && to_ring(middle, net) > 0.6 {
            for p in [a, b] {
                let off = drawn
                    .iter()
                    .map(|(q, r)| p.distance_to_segment(*q, *r))
                    .fold(f64::INFINITY, f64::min);
                assert!(off < MM, "{who}: the splice is drawn {off} mm off");
            }
        }
    }
}

/// Lays a whole plan; counts pieces laid by template, by corners, and offcuts found.
fn lay(plan: &Plan, face: Option<Face>) -> [usize; 3] {
    let view = View::new(plan, face);
    let mut count = [0; 3];
    for (name, sheet) in view.sheets() {
        let places = places(&sheet);
        // What lies beyond the far end of the piece being cut is whole: no earlier piece reaches
        // there.
        assert!(places.windows(2).all(|p| p[0].reach[0][1] <= p[1].reach[0][1]));
        for (i, place) in places.iter().enumerate() {
            let line = read(&piece_row(&sheet, place, i + 1));
            let piece = place.laid.piece.unwrap();
            let placed = place.laid.placed;
            let as_planned = plan
                .stocks
                .iter()
                .flat_map(|s| &s.placed)
                .find(|p| p.piece == placed.piece && p.copy == placed.copy)
                .unwrap();
            let turn_over = (as_planned.face == Face::Down) != sheet.over;
            assert_eq!(
                line.words.contains("FACE DOWN: turn over"),
                turn_over,
                "{name} {}",
                piece.piece
            );
            let template =
                plan.templates.iter().find(|t| t.template == piece.template && t.job == piece.job);
            let skin = template
                .filter(|t| t.inked.is_some() && piece.patch.is_none() && !place.marks.is_empty());
            // A part may be laid by the template's points that lie on it, and has its corners
            // besides.
            if let Some(template) = skin {
                let named = |(n, _): &&(String, [f64; 2])| n.parse::<usize>().is_err();
                let line = Line {
                    points: line.points.iter().filter(named).cloned().collect(),
                    words: line.words.clone(),
                };
                by_template(plan, &sheet, place, &line, template);
                count[0] += 1;
            }
            if !place.corners.is_empty() {
                let numbered = |(n, _): &&(String, [f64; 2])| n.parse::<usize>().is_ok();
                let line = Line {
                    points: line.points.iter().filter(numbered).cloned().collect(),
                    words: line.words,
                };
                let move_ring = |r: &Ring| {
                    r.iter().map(|&p| lies(plan, piece, placed.copy, sheet.over, p)).collect()
                };
                let rings: Vec<Ring> =
                    std::iter::once(&piece.outline).chain(&piece.holes).map(move_ring).collect();
                let who = format!("{name} {}", piece.piece);
                if place.corners_of_splice {
                    let net: Ring = template.unwrap().net.clone();
                    let net = net
                        .iter()
                        .map(|&p| {
                            planned(
                                plan,
                                piece,
                                placed.copy,
                                template.unwrap().arrow,
                                sheet.over,
                                p,
                            )
                        })
                        .collect();
                    splices(&sheet, &line, &rings[0], &net, &who);
                } else {
                    by_corners(&sheet, &line, &rings, MM, &who);
                }
                count[1] += 1;
            }
            assert!(
                skin.is_some() || !place.corners.is_empty(),
                "{}: nothing to lay it by",
                piece.piece
            );
        }
        for offcut in &sheet.stock.offcuts {
            let Some(row) = offcut_row(&sheet, offcut) else {
                continue;
            };
            let rings: Vec<Ring> = std::iter::once(&offcut.outline)
                .chain(&offcut.holes)
                .map(|r| sheet.here(r))
                .filter(|r| r.len() > 2)
                .collect();
            let (corners, close) = corners_of(&sheet, &rings).unwrap();
            let line = read(&row);
            assert!(
                line.words.contains(&sheet.stock.id),
                "an offcut is named for what it came off: {}",
                line.words
            );
            let points: Vec<Point> =
                line.points.iter().map(|(_, xy)| on_cloth(&sheet, *xy)).collect();
            assert!(line.words.contains(&format!("true to {close} mm")), "{}", line.words);
            // The drawn corners ring by ring, as `corners 1-8 its edge, 9-12 a window` says.
            let mut first = 0;
            for (ring, n) in rings.iter().zip(corners.iter().map(Vec::len)) {
                let drawn: Ring = points[first..first + n].to_vec();
                assert!(
                    ring.iter().all(|p| to_ring(*p, &drawn) < close + 0.1),
                    "{name}: offcut {} is off",
                    offcut.id
                );
                first += n;
            }
            assert_eq!(first, points.len());
            count[2] += 1;
        }
    }
    count
}

#[test]
fn a_plan_without_skins_is_laid_by_its_corners() {
    let mut plan = kayak::plan();
    plan.stocks[1].face = Face::Up;
    for face in [None, Some(Face::Down)] {
        let [templates, corners, offcuts] = lay(&plan, face);
        assert_eq!((templates, corners, offcuts), (0, 21, 2));
    }
}

/// A search as short as there is: what is tested holds for any layout.
fn planned_job(job: &Path, stock: Option<&str>) -> Plan {
    let (job, _) = crate::job::load(job).unwrap_or_else(|faults| panic!("{faults}"));
    let run = Run::new(Stop::Effort(u32::from(stock.is_none()))).with_threads(1);
    let plan = match stock {
        Some(text) => {
            let stock = Snapshot::from_json(text, Day::parse("2026-10-01").unwrap()).unwrap();
            planner::plan_from_stock(&[job], &stock, 1, &run)
        }
        None => planner::plan(&[job], 1, &run),
    };
    plan.unwrap_or_else(|r| panic!("{r:?}")).plan().clone()
}

#[test]
fn the_demo_is_laid_by_hand() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-data");
    let plan = planned_job(&folder.join("job.toml"), None);
    for face in [None, Some(Face::Down)] {
        let [templates, corners, offcuts] = lay(&plan, face);
        assert!(templates > 20 && corners > 5 && offcuts > 0, "{templates} {corners} {offcuts}");
    }
    // The printed templates show the points that the placement sheet names, in the same places.
    for piece in &plan.pieces {
        let found = references(&plan, piece);
        let scene = template_scene(&plan, piece, false).unwrap();
        let crosses: Vec<Point> = scene
            .drawn
            .iter()
            .filter_map(|d| match &d.shape {
                Shape::Segments(s) if d.ink == Ink::Leader && s.len() == 2 => {
                    Some((s[0][0] + s[0][1]) * 0.5)
                }
                _ => None,
            })
            .collect();
        for (i, mark) in found.marks.iter().chain(found.corners.iter().flatten()).enumerate() {
            let named = scene.texts.iter().any(|t| t.words == mark.name);
            let crossed = crosses.iter().any(|c| c.distance(mark.at) < 1e-6);
            // Of crowded corners those without room are left out, never the first two.
            assert!(
                named && crossed || i > found.marks.len() + 1,
                "{}: {} is not on the printed template",
                piece.piece,
                mark.name
            );
        }
    }
    // Patches of a mosaic, cut from offcuts of odd shape.
    let plan = planned_job(
        &folder.join("hatch.toml"),
        Some(include_str!("../../../demo-data/offcuts.json")),
    );
    let patches = plan.pieces.iter().filter(|p| p.patch.is_some()).count();
    let [templates, corners, _] = lay(&plan, None);
    assert!(
        templates == 0 && corners == patches && patches > 10,
        "{templates} {corners} {patches}"
    );
}

/// Numbers that look random: a linear congruential generator with the constants of Knuth's MMIX
/// (from memory).
struct Dice(u64);

impl Dice {
    fn unit(&mut self) -> f64 {
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn of<T: Copy>(&mut self, all: &[T]) -> T {
        all[(self.unit() * all.len() as f64) as usize % all.len()]
    }
}

/// A template about (400, 400): with corners, smooth, or smooth with a dart; its arrow drawn or
/// not.
fn drawing(dice: &mut Dice, size: f64) -> (String, bool) {
    let kind = dice.of(&[0, 1, 2]);
    let count = if kind == 0 { 5 + (dice.unit() * 4.0) as usize } else { 90 };
    let (a, b, c) = (0.3 * dice.unit(), 6.0 * dice.unit(), 0.12 * dice.unit());
    let at = |turn: f64, r: f64| (400.0 + r * turn.cos(), 400.0 + r * turn.sin());
    let mut points: Vec<(f64, f64)> = (0..count)
        .map(|i| {
            let turn = (i as f64 + if kind == 0 { 0.6 * dice.unit() } else { 0.0 }) / count as f64
                * std::f64::consts::TAU;
            at(turn, size * (1.0 + a * (2.0 * turn).cos() + c * (3.0 * turn + b).sin()))
        })
        .collect();
    if kind == 2 {
        let turn = (10.5 / 90.0) * std::f64::consts::TAU;
        points.insert(11, at(turn, size * 0.6));
    }
    let path: Vec<String> = points.iter().map(|(x, y)| format!("{x:.3} {y:.3}")).collect();
    let drawn = dice.unit() < 0.5;
    let (turn, long) = (dice.unit() * std::f64::consts::TAU, size * (0.15 + 0.4 * dice.unit()));
    let arrow = format!(
        "<path id=\"t-arrow\" d=\"M400 400 L{:.3} {:.3}\"/>",
        400.0 + long * turn.cos(),
        400.0 + long * turn.sin()
    );
    let arrow = if drawn { arrow } else { String::new() };
    let svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"800mm\" height=\"800mm\" viewBox=\"0 0 800 800\" fill=\"none\" \
         stroke=\"black\"><g id=\"t\"><path id=\"t-net-line\" d=\"M{} Z\"/>{arrow}</g></svg>",
        path.join(" L")
    );
    (svg, drawn)
}

/// Jobs of the kind people make, with what is seldom: plugs, skins drawn from behind, both hands,
/// turns and faces of their own, splices, patches stepped back, strips, templates on which nothing
/// can be found.
#[test]
fn generated_plans_are_laid_by_hand() {
    let mut dice = Dice(26);
    let (mut down, mut odd, mut parts, mut inked_first, mut total) = (0, 0, 0, 0, [0; 3]);
    for round in 0..12 {
        let folder = tempfile::tempdir().unwrap();
        let mut text = String::from(
            "[job]\nname = \"generated\"\n[cutting]\ngap = 5\ntrim = 12\nlap = 15\n[splice]\nlap = 25\nstagger = 25\n",
        );
        text.push_str("[[cloth]]\nid = \"c\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = 700\nselvedge = 10\n");
        for t in 0..3 {
            // One of them is too wide for the roll.
            let size = if t == 0 && round % 2 == 0 { 390.0 } else { 60.0 + 160.0 * dice.unit() };
            let (svg, drawn) = drawing(&mut dice, size);
            std::fs::write(folder.path().join(format!("t{t}.svg")), svg).unwrap();
            let arrow = if drawn {
                String::new()
            } else {
                format!("arrow = {:.1}\n", 360.0 * dice.unit() - 180.0)
            };
            text.push_str(&format!(
                "[[template]]\nid = \"t{t}\"\nfile = \"t{t}.svg\"\n{arrow}taken_off = \"{}\"\ninked_side = \"{}\"\nhands = \"{}\"\nedge = \"{}\"\n",
                dice.of(&["mould", "plug"]),
                dice.of(&["up", "down"]),
                if t == 0 { "as traced" } else { dice.of(&["as traced", "mirrored", "both"]) },
                dice.of(&["trim", "lap", "butt"]),
            ));
        }
        text.push_str("[[strip]]\nid = \"tape\"\nlength = 300\nwidth = 40\n[[patch]]\nid = \"patch\"\non = \"t1\"\ncentre = [400, 400]\n");
        text.push_str(&format!(
            "length = 44\nwidth = 30\nshape = \"{}\"\nstep_back = 4\nalong = {:.0}\n",
            dice.of(&["rectangle", "ellipse"]),
            90.0 * dice.unit()
        ));
        text.push_str(
            "[[layer]]\ncloth = \"c\"\nangle = 0\ntemplates = [\"t0\", \"t1\", \"patch\"]\n",
        );
        for _ in 0..2 {
            text.push_str(&format!(
                "[[layer]]\ncloth = \"c\"\nangle = {:.0}\nturns = [{:.1}, {:.1}]\nfaces = [\"{}\"]\ntemplates = [\"t1\", \"t2\", \"patch\", {{ template = \"tape\", copies = 2 }}]\n",
                180.0 * dice.unit() - 90.0,
                360.0 * dice.unit(),
                90.0 * dice.unit(),
                dice.of(&["up", "down"]),
            ));
        }
        let file = folder.path().join("job.toml");
        std::fs::write(&file, &text).unwrap();
        let plan = planned_job(&file, None);
        down += plan.stocks.iter().flat_map(|s| &s.placed).filter(|p| p.face == Face::Down).count();
        odd += plan
            .stocks
            .iter()
            .flat_map(|s| &s.placed)
            .filter(|p| p.turn.rem_euclid(90.0) != 0.0)
            .count();
        parts += plan.pieces.iter().filter(|p| p.part.is_some()).count();
        for face in [None, Some(Face::Down)] {
            let count = lay(&plan, face);
            (0..3).for_each(|k| total[k] += count[k]);
        }
        let view = View::new(&plan, None);
        inked_first += view
            .sheets()
            .iter()
            .flat_map(|(_, s)| places(s))
            .filter(|p| p.to_ink.is_some())
            .count();
    }
    assert!(
        down > 20 && odd > 50 && parts > 5 && inked_first > 3,
        "{down} {odd} {parts} {inked_first}"
    );
    assert!(total.iter().all(|n| *n > 30), "{total:?}");
}
