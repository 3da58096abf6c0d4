//! The lay-up sheet to hang at the bench: PDF, A4, black on white.

use super::flow::{Flow, WIDTH};
use super::form::Form;
use super::layup::{MOST_BOXES, cure_rows, in_hours, mass_rows, number, place};
use super::report::layer_pictures;
use super::scene::{Hold, Ink, Scene, Shape, Text};
use super::text::clean;
use crate::geometry::{Bounds, Point, point};
use crate::laminate::Laminate;
use crate::layup::{CurePoint, LayupSheet, Step};
use crate::plan::Plan;
use crate::units::show_number;

const TEXT: f64 = 3.3;

/// All jobs of a plan, each from a new page on; the bytes and the number of pages.
pub(crate) fn pages(
    plan: &Plan,
    sheets: &[LayupSheet],
    laminate: &Laminate,
    form: Form,
) -> (Vec<u8>, usize) {
    let mut flow = Flow::new();
    for (i, s) in sheets.iter().enumerate() {
        if i > 0 {
            flow.page();
        }
        job(&mut flow, plan, s, laminate);
    }
    let id: String = plan.id.chars().take(12).collect();
    let title = format!("Lay-up: {}", plan.jobs.join(" + "));
    flow.finish(&title, &format!("lay-up sheet · plan {id}"), form)
}

fn job(flow: &mut Flow, plan: &Plan, s: &LayupSheet, laminate: &Laminate) {
    const BLANK: &str = "______________";
    flow.words(&format!("Lay-up: {}", s.job), 6.0, true);
    flow.gap(1.0);
    flow.words(
        "Laid up by ______________________   on ____________   part no. ______________",
        TEXT,
        false,
    );
    flow.gap(1.5);
    s.warnings.iter().for_each(|w| flow.loud(&format!("WARNING  {w}")));
    let rows: Vec<Vec<String>> = s
        .rolls
        .iter()
        .map(|r| {
            let blank = || BLANK.to_string();
            let left = r.hours_left.map_or_else(|| "________ h".into(), |h| format!("{h:.0} h"));
            vec![
                r.stock.clone(),
                r.cloth.clone(),
                r.batch.clone().unwrap_or_else(blank),
                r.expiry.clone().unwrap_or_else(blank),
                left,
            ]
        })
        .collect();
    let columns = [
        ("roll or offcut", 20.0),
        ("cloth", 34.0),
        ("batch", 18.0),
        ("use until", 16.0),
        ("hours left out of the freezer", 18.0),
    ];
    flow.table(&columns, &rows);
    flow.words(
        &format!("Expected time out of the freezer: {:.1} h ({}).", s.hours_out, s.hours_note),
        TEXT,
        true,
    );

    flow.heading("Cautions");
    s.cautions.iter().for_each(|c| flow.words(&format!("! {c}"), TEXT, false));

    flow.heading("Before the start");
    s.checks.iter().for_each(|c| flow.tick(c));

    flow.heading("Laying, layer by layer");
    flow.words(
        "First box of a piece: laid. Second box: its backing is off and in the bin. Pictures look at the mould surface, 0° of the part to the right; fine lines run along the warp, dashed lines along the twill where it is seen. Not to scale.",
        TEXT,
        false,
    );
    for step in &s.steps {
        shown(flow, plan, step);
    }

    flow.room(64.0);
    flow.heading("Bag, from the laminate up");
    flow.table(
        &[("what", 3.0), ("how much", 1.0)],
        &s.bag.iter().map(|r| r.to_vec()).collect::<Vec<_>>(),
    );
    flow.words(&s.bag_note, TEXT, false);

    flow.room(84.0);
    flow.heading("Cure");
    if s.cure.is_empty() {
        flow.words("The job gives no cure: follow the cloth's data sheet.", TEXT, true);
    } else {
        flow.drawing(chart(&s.cure, &s.limits), 58.0);
        let rows: Vec<Vec<String>> = cure_rows(&s.cure)
            .into_iter()
            .map(|mut r| {
                r.push("______".into());
                r
            })
            .collect();
        flow.table(
            &[("minutes", 1.0), ("clock", 2.0), ("°C", 1.0), ("how", 3.0), ("actual time", 1.5)],
            &rows,
        );
        if let Some(last) = s.cure.last() {
            flow.words(&format!("In all {}, ramps counted.", in_hours(last.minutes)), TEXT, true);
        }
        s.cure_notes.iter().for_each(|n| flow.words(n, TEXT, false));
    }

    flow.heading("After the cure");
    s.after.iter().for_each(|a| flow.tick(a));
    figures(flow, s, laminate);
}

fn shown(flow: &mut Flow, plan: &Plan, step: &Step) {
    flow.gap(2.0);
    if step.layer.is_none() {
        flow.room(14.0);
        flow.tick(&step.what);
    } else {
        flow.room(70.0);
        flow.words(&step.what, 3.8, true);
    }
    step.notes.iter().for_each(|n| flow.words(n, TEXT, false));
    if let Some(layer) = step.layer.and_then(|i| plan.layers.get(i)) {
        flow.gap(1.0);
        flow.pictures(layer_pictures(plan, layer, &|t| step.templates.iter().any(|w| w == t)));
        let ticks: Vec<(String, u32)> =
            step.ticks.iter().map(|t| (t.label.clone(), t.copies)).collect();
        flow.ticks(&ticks, MOST_BOXES);
    }
}

fn figures(flow: &mut Flow, s: &LayupSheet, laminate: &Laminate) {
    flow.heading("What it should come to");
    if let Some(mass) = laminate.parts.iter().find(|p| p.job == s.job) {
        let rows: Vec<Vec<String>> = mass_rows(mass)
            .into_iter()
            .map(|(what, g)| vec![what, format!("{g:.0}"), "________".into()])
            .collect();
        flow.table(
            &[("all parts of this sheet", 4.0), ("expected, g", 1.2), ("actual, g", 1.2)],
            &rows,
        );
    }
    let regions: Vec<Vec<String>> = laminate
        .regions
        .iter()
        .filter(|r| r.job == s.job)
        .map(|r| {
            vec![
                place(r),
                r.plain_code.clone(),
                number(r.thickness, 2),
                number(r.areal_mass, 0),
                number(r.fibre_volume.map(|v| v * 100.0), 1),
            ]
        })
        .collect();
    flow.table(
        &[
            ("place", 3.4),
            ("code, mould face first", 4.0),
            ("mm", 0.9),
            ("g/m²", 0.9),
            ("fibre vol. %", 1.3),
        ],
        &regions,
    );
    let mut words =
        "Code: x2 repeats, S is half of a symmetric stack with an odd middle ply in braces, T the whole, f a fabric".to_string();
    if laminate.cloths.len() > 1 {
        let cloths: Vec<String> =
            laminate.cloths.iter().map(|(l, name)| format!("{l} is {name}")).collect();
        words += &format!("; {}", cloths.join(", "));
    }
    flow.words(&format!("{words}. No voids and no bleed; laps are counted."), TEXT, false);
    laminate.assumptions.iter().for_each(|a| flow.words(&format!("Assumed: {a}."), TEXT, false));
    flow.gap(2.0);
    flow.words("Remarks", TEXT, true);
    for _ in 0..4 {
        flow.words(&"_".repeat(90), TEXT, false);
        flow.gap(1.5);
    }
}

/// Temperature over time, 58 mm high, with what mould and core stand.
fn chart(points: &[CurePoint], limits: &[(String, f64)]) -> Scene {
    const LEFT: f64 = 12.0;
    const LOW: f64 = 12.0;
    const TALL: f64 = 38.0;
    let across = WIDTH - LEFT - 26.0;
    let mut s = Scene::new(Bounds { min: point(0.0, 0.0), max: point(WIDTH, 58.0) }, String::new());
    let minutes = points.iter().map(|p| p.minutes).fold(1.0, f64::max);
    let top =
        points.iter().map(|p| p.temperature).chain(limits.iter().map(|l| l.1)).fold(1.0, f64::max);
    let y = |t: f64| LOW + t.max(0.0) / top * TALL;
    let xy = |p: &CurePoint| point(LEFT + p.minutes / minutes * across, y(p.temperature));
    s.line(
        Ink::Frame,
        &[point(LEFT, LOW + TALL + 4.0), point(LEFT, LOW), point(LEFT + across + 2.0, LOW)],
    );
    for (what, limit) in limits {
        s.line(Ink::Mark, &[point(LEFT, y(*limit)), point(LEFT + across, y(*limit))]);
        s.words(
            point(LEFT + across + 2.0, y(*limit) - 1.0),
            2.6,
            false,
            clean(&format!("{what} {}°", show_number(*limit, 0))),
        );
    }
    let line: Vec<Point> = points.iter().map(xy).collect();
    s.draw(Ink::Stock, Shape::Path(line));
    let middle = |at: Point, words: String| Text {
        at,
        hold: Hold::Middle,
        angle: 0.0,
        size: 2.7,
        bold: false,
        white: false,
        words,
    };
    let mut last: Option<f64> = None;
    for (i, p) in points.iter().enumerate() {
        let at = xy(p);
        if last != Some(p.temperature) {
            // Beside the ends of the line, above its corners.
            let beside = if i == 0 {
                point(5.0, -1.0)
            } else if i + 1 == points.len() {
                point(6.0, -1.0)
            } else {
                point(0.0, 1.6)
            };
            s.texts.push(middle(at + beside, format!("{}°", show_number(p.temperature, 0))));
        }
        last = Some(p.temperature);
        s.line(Ink::Grid, &[point(at.x, LOW), at]);
        let below = if i % 2 == 0 { 4.0 } else { 7.5 };
        s.texts.push(middle(point(at.x, LOW - below), show_number(p.minutes, 0)));
    }
    s.words(point(LEFT + across + 2.0, LOW - 4.0), 2.7, false, "minutes");
    s.words(point(0.0, LOW + TALL + 4.0), 2.7, false, "°C");
    s
}
