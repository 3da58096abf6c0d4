//! `report.html`: everything about a plan on one page that opens offline, prints on A4 and needs no
//! script for reading.

use super::answers::answers;
use super::face::View;
use super::laid::Sheet;
use super::measured::measured_from;
use super::overview::overview;
use super::paper::Paper;
use super::placement::{HEADINGS, cells, picture, places};
use super::policy::policy;
use super::scene::{Backing, Hold, Ink, Scene, Shape, Text};
use super::svg::write_inline;
use super::text::{angle, clean, decimals};
use super::title::face_in_words;
use crate::cloth::Face;
use crate::geometry::{Bounds, Motion, Point, Region, Ring, point, ring_area, ring_bounds};
use crate::job::Seen;
use crate::plan::{Plan, PlanLayer, PlanPiece, StockKind, laying_order, words};
use crate::units::{counted, show_area};
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// A section of the report made elsewhere (a lay-up sheet, say), put before the figures of the
/// search.
#[derive(Clone, Debug)]
pub struct Section {
    /// The anchor it is reached by: ASCII letters and hyphens.
    pub id: String,
    /// Its heading, plain text.
    pub title: String,
    /// Its content as HTML; it may use the classes of the report's style: `wide` around a table,
    /// `note`.
    pub html: String,
    /// Left out when the report is printed: it has a sheet of its own, or is for the screen.
    pub screen_only: bool,
}

const STYLE: &str = include_str!("report.css");
const SCRIPT: &str = include_str!("report.js");

/// The report as one HTML file.
pub(crate) fn of_plan(view: &View<'_>, more: &[Section]) -> String {
    let plan = &view.plan;
    let sheets = view.sheets();
    let title = format!("Cut plan: {}", clean(&plan.jobs.join(" + ")));
    let section = |id: &str, title: &str, body: Markup, screen_only: bool| Section {
        id: id.into(),
        title: title.into(),
        html: body.into_string(),
        screen_only,
    };
    let printed = |id: &str, title: &str, body: Markup| section(id, title, body, false);
    let on_screen = |id: &str, title: &str, body: Markup| section(id, title, body, true);
    let mut sections = Vec::new();
    if !plan.warnings.is_empty() {
        sections.push(printed("warnings", "Warnings", warnings(plan)));
    }
    sections.push(printed("take", "Cloth in figures", take(plan)));
    sections.push(printed("layouts", "Layouts", layouts(plan, &sheets)));
    sections.push(on_screen("placement", "Placement by tape measure", placement(&sheets)));
    sections.push(printed("pieces", "Pieces", pieces(plan)));
    sections.push(on_screen("layers", "Layer by layer", layers(plan)));
    sections.push(printed("offcuts", "Offcuts to keep", offcuts(plan)));
    sections.extend(more.iter().cloned());
    sections.push(on_screen("search", "Search", search(plan)));
    sections.push(on_screen("printing", "Printing at true scale", printing(view)));
    sections.push(printed("cautions", "Cautions", cautions()));
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(policy(Some(SCRIPT)));
                title { (title) }
                style { (PreEscaped(STYLE)) }
            }
            body {
                a .skip href="#main" { "To the content" }
                header {
                    h1 { bdi { (title) } }
                    p { "Plan " code { (clean(&plan.id).chars().take(12).collect::<String>()) } " · " (clean(&plan.tool)) }
                }
                main #main {
                    (answers(plan))
                    nav aria-label="Sections" { ul { @for s in &sections { li { a href={ "#" (s.id) } { (s.title) } } } } }
                    p .paper { "Not in this print: the placement sheet and the lay-up sheet, which are printed from " code { "sheets/placement.pdf" } " and "
                        code { "sheets/lay-up.pdf" } "; the layers' pictures and the search, which are shown on the screen." }
                    @for s in &sections {
                        section id=(s.id) .screen[s.screen_only] aria-labelledby={ (s.id) "-title" } {
                            h2 id={ (s.id) "-title" } { (s.title) }
                            (PreEscaped(&s.html))
                        }
                    }
                }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    }
    .into_string()
}

fn mm(value: f64) -> String {
    decimals(value, 1)
}

/// A table in a box that scrolls sideways on a narrow screen; `sorts` gives its headings buttons.
fn table(caption: &str, headings: &[&str], rows: Vec<Vec<Markup>>, sorts: bool) -> Markup {
    html! {
        div .wide tabindex="0" role="region" aria-label=(caption) {
            table data-sorts[sorts] {
                caption { (caption) }
                thead { tr { @for h in headings { th scope="col" { (h) } } } }
                tbody { @for row in rows { tr { @for cell in row { td { (cell) } } } } }
            }
        }
    }
}

fn text(words: impl Into<String>) -> Markup {
    let words = words.into();
    html! { bdi { (clean(&words)) } }
}

/// Words that stay on one line.
fn unbroken(words: &str) -> String {
    words.replace(' ', "\u{a0}")
}

fn take(plan: &Plan) -> Markup {
    let mut rows = Vec::new();
    for f in &plan.cloths {
        let material = plan.materials.iter().find(|m| m.cloth == f.cloth);
        let stocks: Vec<&str> =
            plan.stocks.iter().filter(|s| s.cloth == f.cloth).map(|s| s.id.as_str()).collect();
        let cost = f.cost.map_or_else(|| "–".into(), |c| format!("{c:.2} {}", plan.currency));
        rows.push(vec![
            text(material.map_or(f.cloth.clone(), |m| m.name.clone())),
            text(stocks.join(", ")),
            html! { b { (mm(f.used_length)) " mm" } " of " (mm(f.roll_width)) " mm wide" },
            html! { (mm(f.least_length)) " mm (" (clean(&f.least_length_by)) ")" },
            text(format!("{:.1} %", f.yield_ * 100.0)),
            text(format!(
                "pieces {}, offcuts {}, waste {}",
                show_area(f.pieces_area),
                show_area(f.offcuts_area),
                show_area(f.waste_area)
            )),
            text(cost),
            text(f.mass.map_or_else(|| "–".into(), |m| format!("{} g", decimals(m, 0)))),
        ]);
    }
    table(
        "Length from each roll",
        &["cloth", "stock", "take", "no layout under", "yield", "areas", "cost", "mass"],
        rows,
        false,
    )
}

fn warnings(plan: &Plan) -> Markup {
    html! { ul .note { @for w in &plan.warnings { li { bdi { (clean(w)) } } } } }
}

fn layouts(plan: &Plan, sheets: &[(String, Sheet<'_>)]) -> Markup {
    html! {
        figure .overview {
            (PreEscaped(write_inline(&overview(plan), 4.0, "All layouts in small, pieces with their numbers")))
            figcaption { "All layouts in small, pieces with their numbers, offcuts hatched." }
        }
        @for (name, sheet) in sheets {
            @let words = format!("{}; {}", sheet.title(), counted(sheet.pieces.len(), "piece"));
            figure .zooms .screen {
                div .frame tabindex="0" role="region" aria-label={ "Layout " (name) ", scrolls when enlarged" } {
                    (PreEscaped(write_inline(&sheet.scene(), 1.6, &words)))
                }
                figcaption {
                    bdi { (sheet.title().replace("Cut sheet: ", "").replace(", scale 1:1", "")) }
                    " · true scale: " a href={ "sheets/" (name) ".svg" } { "sheets/" (name) ".svg" }
                }
            }
        }
    }
}

fn placement(sheets: &[(String, Sheet<'_>)]) -> Markup {
    html! {
        p { "Lay each template so that its named points lie at their distances (mm); a piece with numbers only is drawn by its corners. Cut in this order: no piece is then cut on loose cloth. "
            "The same to print: " a href="sheets/placement.pdf" { "sheets/placement.pdf" } "." }
        @for (_, sheet) in sheets {
            @let places = places(sheet);
            @let [left, right] = super::placement::span(sheet);
            @let name = if sheet.segments > 1 { format!("{}, bench segment {} of {}", clean(&sheet.stock.id), sheet.segment + 1, sheet.segments) } else { clean(&sheet.stock.id) };
            h3 { bdi { (name) } }
            p { b { (face_in_words(sheet.plan, sheet.stock, sheet.over)) } "; distances " (measured_from(sheet)) "." }
            figure .zooms {
                div .frame tabindex="0" role="region" aria-label={ "Placement picture " (name) } {
                    (PreEscaped(write_inline(&picture(sheet, &places, 260.0 / (right - left).max(1.0)), 2.0, &format!("Placement on {name} with a 100 mm grid"))))
                }
            }
            (table(&format!("Placement on {name}"),
                &HEADINGS,
                places.iter().enumerate().map(|(i, p)| cells(p, i + 1).into_iter().map(text).collect()).collect(), false))
            @if sheet.segment + 1 < sheet.segments { p { "Then mark the cloth " (decimals(sheet.to, 0)) " mm from the roll's cut end and slide it along." } }
            @else if sheet.stock.kind == StockKind::Roll { p { "Last of all cut straight across, " (decimals(sheet.stock.used_length, 0)) " mm from the roll's cut end." } }
        }
    }
}

fn pieces(plan: &Plan) -> Markup {
    let several = plan.jobs.len() > 1;
    let mut rows: Vec<Vec<Markup>> = Vec::new();
    for piece in laying_order(plan) {
        for (stock, placed) in plan
            .stocks
            .iter()
            .flat_map(|s| s.placed.iter().map(move |p| (s, p)))
            .filter(|(_, p)| p.piece == piece.piece)
        {
            let b = ring_bounds(&placed.outline);
            let which: String = words::which(piece).into_iter().map(|w| format!(", {w}")).collect();
            rows.push(vec![
                text(piece.number.clone()),
                text(format!("{}{which}", piece.template)),
                text(piece.layer.to_string()),
                text(angle(piece.angle)),
                text(words::hand_of(piece)),
                text(piece.cloth.clone()),
                text(stock.id.clone()),
                text(unbroken(
                    &words::copy(placed.copy, piece.copies).unwrap_or_else(|| "1".into()),
                )),
                text(unbroken(if placed.face == Face::Down {
                    words::FACE_DOWN
                } else {
                    "face up"
                })),
                text(b.map_or_else(String::new, |b| {
                    unbroken(&format!("{} × {}", decimals(b.width(), 0), decimals(b.height(), 0)))
                })),
            ]);
            if let Some(row) = rows.last_mut().filter(|_| several) {
                row.insert(2, text(piece.job.clone()));
            }
        }
    }
    let mut headings = vec![
        "no.", "template", "layer", "angle", "hand", "cloth", "stock", "copy", "face", "box, mm",
    ];
    if several {
        headings.insert(2, "kit");
    }
    html! {
        (table("Pieces in laying order", &headings, rows, true))
        p { "The same for a spreadsheet: " a href="pieces.csv" { "pieces.csv" } "." }
    }
}

fn layers(plan: &Plan) -> Markup {
    html! {
        p { "Drawn looking at the mould surface, 0° of the part to the right; fine lines run along the warp; a blue line shows the twill where it will be seen." }
        @for layer in &plan.layers {
            h3 { bdi { (clean(&layer.job)) ": " (clean(&words::layer_by_name(layer))) } }
            p { bdi { (clean(&layer.cloth)) } " at " (angle(layer.angle))
                @if let Some(seen) = words::seen(layer.seen) { ", " (seen) } }
            div .layer { @for (words, scene) in layer_pictures(plan, layer, &|_| true) {
                figure { (PreEscaped(write_inline(&scene, 1.0, &words))) figcaption { bdi { (words) } } }
            } }
        }
    }
}

/// One picture for each ply of the layer whose template is wanted: its pieces as they are laid,
/// their laps, and dashed the laps of the layer below.
pub(super) fn layer_pictures(
    plan: &Plan,
    layer: &PlanLayer,
    wanted: &dyn Fn(&str) -> bool,
) -> Vec<(String, Scene)> {
    let mut pictures: Vec<(String, Scene)> = Vec::new();
    let material = plan.materials.iter().find(|m| m.cloth == layer.cloth);
    let mut plies: Vec<Vec<&PlanPiece>> = Vec::new();
    for piece in laying_order(plan)
        .into_iter()
        .filter(|p| p.job == layer.job && p.layer == layer.layer && wanted(&p.template))
    {
        match plies.iter_mut().find(|p| p.first().is_some_and(|f| f.ply == piece.ply)) {
            Some(ply) => ply.push(piece),
            None => plies.push(vec![piece]),
        }
    }
    for parts in plies {
        let Some(head) = parts.first().copied() else {
            continue;
        };
        // All parts of a ply share the origin of the template: laid there, they make the ply again.
        let mut turned: Vec<(Vec<Ring>, f64, Option<f64>)> = Vec::new();
        for piece in &parts {
            let home = Motion::turn(piece.angle);
            let rings = piece
                .net
                .iter()
                .map(|r| r.iter().map(|&p| home.apply(p - piece.origin)).collect())
                .collect();
            let placed =
                plan.stocks.iter().flat_map(|s| &s.placed).find(|p| p.piece == piece.piece);
            let (turn, sign) = placed
                .map_or((0.0, 1.0), |p| (p.turn, if p.face == Face::Down { -1.0 } else { 1.0 }));
            let warp = piece.angle - turn;
            let line = material
                .and_then(|m| m.twill_line)
                .filter(|_| layer.seen != Seen::Hidden)
                .map(|t| warp + sign * t);
            turned.push((rings, warp, line));
        }
        let boxes: Vec<Bounds> =
            turned.iter().flat_map(|t| &t.0).filter_map(|r| ring_bounds(r)).collect();
        let Some(first) = boxes.first() else { continue };
        let whole = boxes.iter().fold(*first, |a, b| Bounds {
            min: point(a.min.x.min(b.min.x), a.min.y.min(b.min.y)),
            max: point(a.max.x.max(b.max.x), a.max.y.max(b.max.y)),
        });
        let unit = whole.width().max(whole.height()) / 100.0;
        let mut s = Scene::new(
            Bounds {
                min: whole.min - point(2.0, 2.0) * unit,
                max: whole.max + point(2.0, 9.0) * unit,
            },
            String::new(),
        );
        let mut numbered: Vec<(Point, String)> = Vec::new();
        for ((rings, warp, line), piece) in turned.into_iter().zip(&parts) {
            let views: Vec<&[_]> = rings.iter().map(Vec::as_slice).collect();
            s.draw(Ink::OffcutHatch, Shape::Segments(super::clip::hatch(&views, warp, 3.0 * unit)));
            if let Some(line) = line {
                s.draw(Ink::Net, Shape::Segments(super::clip::hatch(&views, line, 12.0 * unit)));
            }
            let centre = rings.first().and_then(|r| ring_bounds(r)).map(|b| b.centre());
            numbered.extend(centre.filter(|_| parts.len() > 1).map(|c| (c, clean(&piece.number))));
            let largest = rings.iter().map(|r| ring_area(r)).fold(0.0, f64::max);
            if largest > 0.0 {
                s.draw(Ink::Stock, Shape::Rings(rings));
            }
        }
        if head.part.is_some() {
            for lap in crate::laminate::laps_of(&parts) {
                let views: Vec<&[_]> = lap.rings().map(Vec::as_slice).collect();
                s.draw(
                    Ink::Frame,
                    Shape::Segments(super::clip::hatch(&views, head.angle + 45.0, 1.5 * unit)),
                );
            }
            for lap in spliced_below(plan, head) {
                s.draw(Ink::Mark, Shape::Rings(lap.rings().cloned().collect()));
            }
        }
        for (at, number) in numbered {
            let size = if parts.len() > 6 { 3.0 } else { 5.0 } * unit;
            let half = point(
                super::text::text_width(&number, size, true) / 2.0 + 0.6 * unit,
                0.5 * size + 0.6 * unit,
            );
            let ring = vec![
                at - half,
                point(at.x + half.x, at.y - half.y),
                at + half,
                point(at.x - half.x, at.y + half.y),
            ];
            s.backings.push(Backing { ring, black: false });
            let at = at - point(0.0, 0.36 * size);
            s.texts.push(Text {
                at,
                hold: Hold::Middle,
                angle: 0.0,
                size,
                bold: true,
                white: false,
                words: number,
            });
        }
        let y = whole.max.y + 4.0 * unit;
        let (tail, tip) = (point(whole.min.x, y), point(whole.min.x + 16.0 * unit, y));
        s.line(Ink::Stock, &[tail, tip]);
        s.draw(
            Ink::Stock,
            Shape::Solid(vec![
                tip + point(4.0, 0.0) * unit,
                tip + point(0.0, 1.5) * unit,
                tip - point(0.0, 1.5) * unit,
            ]),
        );
        s.words(tip + point(5.0, -1.5) * unit, 5.0 * unit, true, "0°");
        let numbers: Vec<String> = parts.iter().map(|p| clean(&p.number)).collect();
        let numbers = match (numbers.first(), numbers.last()) {
            (Some(first), Some(last)) if numbers.len() > 4 => format!("{first} to {last}"),
            _ => numbers.join(", "),
        };
        let lies = warp_in_words(plan, head);
        pictures.push((
            format!("{} · {} · {lies} · {numbers}", clean(&head.template), words::hand_of(head)),
            s,
        ));
    }
    pictures
}

/// Which way the warp of a ply lies: a turn that the cloth allows may have brought it elsewhere
/// than asked.
fn warp_in_words(plan: &Plan, piece: &PlanPiece) -> String {
    if piece.patch.is_some() {
        return "warp as drawn".into();
    }
    let turn = plan
        .stocks
        .iter()
        .flat_map(|s| &s.placed)
        .find(|p| p.piece == piece.piece)
        .map_or(0.0, |p| p.turn);
    let asked = crate::units::degrees_of_warp(piece.angle);
    let lies = crate::units::degrees_of_warp(piece.angle - turn);
    if (lies - asked).abs() < 0.05 {
        format!("warp at {}", angle(asked))
    } else {
        format!("warp at {}, as good as {}", angle(lies), angle(asked))
    }
}

/// The laps of the nearest spliced layer below of the same template and hand.
fn spliced_below(plan: &Plan, above: &PlanPiece) -> Vec<Region> {
    let same = |p: &&PlanPiece| {
        p.job == above.job
            && p.template == above.template
            && p.hand == above.hand
            && p.layer < above.layer
            && p.part.is_some()
    };
    let Some(layer) = plan.pieces.iter().filter(same).map(|p| p.layer).max() else {
        return Vec::new();
    };
    crate::laminate::laps_of(
        &plan.pieces.iter().filter(same).filter(|p| p.layer == layer).collect::<Vec<_>>(),
    )
}

fn offcuts(plan: &Plan) -> Markup {
    let rows: Vec<Vec<Markup>> = plan
        .stocks
        .iter()
        .flat_map(|s| s.offcuts.iter().map(move |o| (s, o)))
        .map(|(stock, o)| {
            let [x, y, w, h] = o.largest_rectangle;
            vec![
                text(o.id.clone()),
                text(stock.cloth.clone()),
                text(stock.id.clone()),
                text(format!("{:.3}", o.area / 1e6)),
                text(format!("{} × {}", decimals(w, 0), decimals(h, 0))),
                text(format!("{} / {}", decimals(x, 0), decimals(y, 0))),
            ]
        })
        .collect();
    if rows.is_empty() {
        return html! { p { "None: nothing wide enough to keep is left of the used length." } };
    }
    table(
        "Offcuts",
        &[
            "offcut",
            "cloth",
            "from",
            "m²",
            "largest rectangle, mm",
            "its corner from end / selvedge, mm",
        ],
        rows,
        true,
    )
}

fn search(plan: &Plan) -> Markup {
    let limit = match (plan.effort, plan.seconds) {
        (Some(rounds), _) => format!("{} of effort", counted(rounds as usize, "round")),
        (None, Some(seconds)) => format!("{} s", decimals(seconds, 1)),
        (None, None) => "no limit recorded".into(),
    };
    html! {
        dl {
            dt { "limit" } dd { (limit) }
            dt { "seed" } dd { (plan.seed) }
            @if let Some(lanes) = plan.lanes { dt { "lanes" } dd { (lanes) } }
            dt { "ended" } dd { @if plan.interrupted { "stopped by hand" } @else { "by its limit" } }
            @for (f, early) in plan.cloths.iter().filter_map(|f| f.early.as_ref().map(|e| (f, e))) {
                dt { (f.cloth) } dd { (super::summary::in_words(early)) }
            }
            @for f in plan.cloths.iter().filter(|f| !f.history.is_empty()) {
                dt { (f.cloth) }
                dd { (super::history::plot("best length, mm, over placements tried", "tried", &f.history.iter().map(|s| (s.evaluations.max(1) as f64, s.length)).collect::<Vec<_>>())) }
            }
            dt { "checked" } dd { "every piece, its place and all areas, by code that the search does not share" }
        }
    }
}

fn printing(view: &View<'_>) -> Markup {
    let mut rows = Vec::new();
    for name in ["a4", "a3", "letter", "tabloid"] {
        let Ok(paper) = Paper::new(name, 8.0, 10.0) else {
            continue;
        };
        let pages: Vec<String> = super::tiles::count(view, &paper)
            .into_iter()
            .map(|c| format!("{}: {}", c.name, c.pages))
            .collect();
        rows.push(vec![
            text(name.to_uppercase()),
            text(pages.join(", ")),
            html! { code { "warpwise sheets PLAN --as pdf --paper " (name) } },
        ]);
    }
    html! {
        p { "Print at 100 % (actual size, no fitting) and measure the bar at the foot and the frame of a page before cutting by it." }
        (table("Pages that each layout takes on common paper", &["paper", "pages, map included", "command"], rows, false))
    }
}

fn cautions() -> Markup {
    html! {
        ul .note {
            li { "Uncured epoxy sensitises skin: nitrile gloves, long sleeves." }
            li { "Labels and ink go on the backing, never on the cloth: a buried label or film is a delamination." }
            li { "Pieces marked " (words::FACE_DOWN) " are turned over before laying." }
            li { "Cut away from the hand; wear a cut-proof glove." }
            li { "Measure the bar and the frame of every print before cutting by it." }
            li { "This plan is about cloth. It does not certify strength." }
        }
    }
}
