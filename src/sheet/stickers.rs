//! Stick-on labels for the pieces, and cards for the kit bags.

use super::form::Form;
use super::label_grid::LabelGrid;
use super::offcut_labels::{planned_label, small_picture};
use super::pdf::{Page, Part};
use super::scene::{Ink, Scene};
use super::text::{angle, clean, fit, text_width};
use crate::cloth::Face;
use crate::geometry::{Bounds, Motion, Ring, point};
use crate::plan::{PlacedPiece, Plan, PlanPiece, PlanStock, laying_order, words};

/// White inside a label, mm.
const INSET: f64 = 3.0;

/// Words are not made smaller than this to fit, mm.
const SMALLEST: f64 = 1.9;

/// The placed copies in laying order.
fn copies(plan: &Plan) -> Vec<(&PlanPiece, &PlacedPiece, &PlanStock)> {
    let mut all = Vec::new();
    for piece in laying_order(plan) {
        let mut of_it: Vec<_> = plan
            .stocks
            .iter()
            .flat_map(|s| s.placed.iter().map(move |p| (p, s)))
            .filter(|(p, _)| p.piece == piece.piece)
            .collect();
        of_it.sort_by_key(|(p, _)| p.copy);
        all.extend(of_it.into_iter().map(|(placed, stock)| (piece, placed, stock)));
    }
    all
}

/// A label for each placed copy, in laying order, then one for each offcut to keep. Returns the
/// file and its number of pages.
pub(crate) fn labels(plan: &Plan, grid: &LabelGrid, form: Form) -> (Vec<u8>, usize) {
    let [columns, rows] = grid.count;
    let mut all: Vec<Scene> = copies(plan)
        .into_iter()
        .map(|(piece, placed, stock)| label(plan, piece, placed, stock, grid.label))
        .collect();
    all.extend(
        plan.stocks
            .iter()
            .flat_map(|s| s.offcuts.iter().map(move |o| planned_label(plan, s, o, grid.label))),
    );
    let [width, height] = grid.sheet;
    let mut scenes = Vec::new();
    for chunk in all.chunks(columns * rows) {
        let mut page =
            Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
        for (i, label) in chunk.iter().enumerate() {
            let x = grid.first[0] + (i % columns) as f64 * (grid.label[0] + grid.gap);
            let y = height - grid.first[1] - (i / columns + 1) as f64 * grid.label[1];
            page.append(label.clone(), point(x, y));
        }
        scenes.push(page);
    }
    let pages: Vec<Page<'_>> = scenes.iter().map(Page::of).collect();
    form.of(&format!("Labels: {}", clean(&plan.jobs.join(" + "))), &pages)
}

/// A placed copy in a line of the bag's card.
pub(super) fn in_a_line(piece: &PlanPiece, placed: &PlacedPiece) -> String {
    let first = [
        clean(&piece.template),
        words::layer(piece.layer),
        angle(piece.angle),
        words::hand_of(piece).to_string(),
    ];
    let rest = words::which(piece)
        .into_iter()
        .chain(words::copy(placed.copy, piece.copies))
        .chain([clean(&piece.cloth)]);
    first.into_iter().chain(rest).collect::<Vec<_>>().join(" · ")
}

/// One label, its lower left corner the origin.
pub(super) fn label(
    plan: &Plan,
    piece: &PlanPiece,
    placed: &PlacedPiece,
    stock: &PlanStock,
    [width, height]: [f64; 2],
) -> Scene {
    let mut s =
        Scene::new(Bounds { min: point(0.0, 0.0), max: point(width, height) }, String::new());
    let unit = height / 12.0;
    let small = unit * 1.05;
    let side = (height * 0.42).min(width * 0.3);
    let room = width - 2.0 * INSET - side - 2.0;
    let number = fit(&clean(&piece.number), room, unit * 2.6, true);
    let mut y = height - INSET - unit * 2.1;
    s.words(point(INSET, y), unit * 2.6, true, number);
    let part = words::which(piece).into_iter().chain(words::copy(placed.copy, piece.copies));
    let lies = if placed.face == Face::Down { words::FACE_DOWN } else { "face up" };
    let lines = [
        (clean(&piece.template), true),
        (
            format!(
                "{} · {} · {}",
                words::layer(piece.layer),
                angle(piece.angle),
                words::hand_of(piece)
            ),
            true,
        ),
        (std::iter::once(clean(&piece.cloth)).chain(part).collect::<Vec<_>>().join(" · "), false),
        (
            format!("{lies}: {}", words::on_the_mould(plan, stock, placed)),
            placed.face == Face::Down,
        ),
        (format!("kit {}", clean(&piece.job)), false),
        ("on the backing only, never on the cloth".to_string(), false),
    ];
    y -= small * 0.4;
    for (words, bold) in lines {
        y -= small * 1.22;
        // Under the picture the whole width is free.
        let room = if y + small < height - INSET - side - 1.0 { width - 2.0 * INSET } else { room };
        let size = small.min((0.999 * room / text_width(&words, 1.0, bold)).max(SMALLEST));
        s.words(point(INSET, y), size, bold, fit(&words, room, size, bold));
    }
    let base = point(width - INSET - side, height - INSET - side);
    let turn = Motion::turn(piece.angle);
    let rings: Vec<Ring> = std::iter::once(&piece.outline)
        .chain(&piece.holes)
        .map(|r| r.iter().map(|&p| turn.apply(p)).collect())
        .collect();
    small_picture(
        &mut s,
        &rings,
        (piece.angle, "0°"),
        Bounds { min: base, max: base + point(side, side) },
    );
    s
}

/// A card for each kit's bag with what is in it, two on a page. Returns the file and its number of
/// pages.
pub(crate) fn bags(plan: &Plan, form: Form) -> (Vec<u8>, usize) {
    const WIDTH: f64 = 210.0;
    const HALF: f64 = 148.5;
    const PITCH: f64 = 4.2;
    const ROWS: usize = 24;
    let all = copies(plan);
    let mut cards = Vec::new();
    for job in &plan.jobs {
        let mine: Vec<_> = all.iter().filter(|(p, _, _)| p.job == *job).collect();
        let count = mine.len();
        let parts = mine.chunks(ROWS * 2).count();
        for (n, chunk) in mine.chunks(ROWS * 2).enumerate() {
            let mut s =
                Scene::new(Bounds { min: point(0.0, 0.0), max: point(WIDTH, HALF) }, String::new());
            let (m, inner) = (12.0, WIDTH - 24.0);
            s.words(
                point(m, HALF - 18.0),
                8.0,
                true,
                fit(&format!("Kit {}", clean(job)), inner, 8.0, true),
            );
            let id: String = clean(&plan.id).chars().take(12).collect();
            let card =
                if parts > 1 { format!("card {} of {parts} · ", n + 1) } else { String::new() };
            s.words(
                point(m, HALF - 24.0),
                3.6,
                false,
                format!("{card}{} in the bag · plan {id}", crate::units::counted(count, "piece")),
            );
            s.words(
                point(m, HALF - 29.0),
                3.0,
                false,
                "In laying order. Tick what is in. Note date and hours out of the freezer:",
            );
            s.line(Ink::Leader, &[point(m + 108.0, HALF - 29.5), point(WIDTH - m, HALF - 29.5)]);
            for (i, (piece, placed, _)) in chunk.iter().enumerate() {
                let corner = point(
                    m + (i / ROWS) as f64 * (inner / 2.0 + 2.0),
                    HALF - 37.0 - (i % ROWS) as f64 * PITCH,
                );
                s.line(
                    Ink::Leader,
                    &[
                        corner,
                        corner + point(2.6, 0.0),
                        corner + point(2.6, 2.6),
                        corner + point(0.0, 2.6),
                        corner,
                    ],
                );
                s.words(
                    corner + point(4.5, 0.4),
                    2.8,
                    true,
                    fit(&clean(&piece.number), 14.0, 2.8, true),
                );
                let words = in_a_line(piece, placed);
                let room = inner / 2.0 - 22.0;
                let size = (0.999 * room / text_width(&words, 1.0, false)).clamp(SMALLEST, 2.5);
                s.words(corner + point(19.5, 0.4), size, false, fit(&words, room, size, false));
            }
            s.line(Ink::Grid, &[point(0.0, 0.0), point(WIDTH, 0.0)]);
            cards.push(s);
        }
    }
    let pages: Vec<Page<'_>> = cards
        .chunks(2)
        .map(|pair| Page {
            size: [WIDTH, 2.0 * HALF],
            parts: pair
                .iter()
                .enumerate()
                .map(|(i, scene)| Part {
                    scene,
                    at: point(0.0, HALF * (1 - i) as f64),
                    scale: 1.0,
                    window: None,
                })
                .collect(),
        })
        .collect();
    form.of("Kit bags", &pages)
}
