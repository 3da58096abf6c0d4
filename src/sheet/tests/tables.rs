//! `pieces.csv` and the terminal summary, read back.

use super::kayak;
use crate::geometry::{ring_area, ring_bounds};
use crate::plan::PlanLayer;
use crate::sheet::{csv, summary};
use unicode_width::UnicodeWidthStr;

fn records(text: &str) -> Vec<std::collections::BTreeMap<String, String>> {
    let mut reader = ::csv::Reader::from_reader(text.as_bytes());
    reader.deserialize().map(|r| r.expect("a row")).collect()
}

#[test]
fn one_row_for_each_placed_copy() {
    let plan = kayak::plan();
    let rows = records(&csv::pieces(&plan));
    let placed: Vec<_> = plan.stocks.iter().flat_map(|s| &s.placed).collect();
    assert_eq!(rows.len(), placed.len());
    for (row, placed) in rows.iter().zip(placed) {
        let b = ring_bounds(&placed.outline).expect("an outline");
        let value =
            |name: &str| row[name].parse::<f64>().unwrap_or_else(|_| panic!("{name}: {row:?}"));
        assert_eq!(row["piece"], placed.piece);
        for (name, mm) in
            [("x", b.min.x), ("y", b.min.y), ("width", b.width()), ("height", b.height())]
        {
            assert!((value(name) - mm).abs() < 0.001, "{name}: {row:?}");
        }
        let area = ring_area(&placed.outline)
            - placed.holes.iter().map(|h| ring_area(h).abs()).sum::<f64>();
        assert!((value("area_mm2") - area).abs() < 0.1, "{row:?}");
    }
    let hip = rows.iter().find(|r| r["number"] == "1.3").expect("the hip plate");
    assert_eq!(
        (hip["hand"].as_str(), hip["face"].as_str(), hip["segment"].as_str()),
        ("mirrored", "down", "1")
    );
    let floor = rows.iter().find(|r| r["number"] == "3.2").expect("the floor");
    assert_eq!(
        (floor["part"].as_str(), floor["segment"].as_str(), floor["stock"].as_str()),
        ("2 of 2", "2", "R1")
    );
}

#[test]
fn no_name_becomes_a_formula() {
    for name in ["=1+1", "+seat", "-seat", "@seat", "\tseat"] {
        let mut plan = kayak::plan();
        plan.pieces[0].template = name.into();
        plan.pieces[0].angle = -45.0;
        plan.layers.push(PlanLayer {
            job: plan.pieces[0].job.clone(),
            layer: 1,
            name: name.into(),
            cloth: "twill-200".into(),
            angle: 0.0,
            seen: crate::job::Seen::Hidden,
            book_match: true,
            turns_overridden: false,
            trim: 25.0,
            lap: 25.0,
            items: vec![],
        });
        let rows = records(&csv::pieces(&plan));
        assert_eq!(rows[0]["template"], format!("'{name}"));
        assert_eq!(rows[0]["layer_name"], format!("'{name}"));
        assert_eq!(rows[0]["angle"], "-45", "a number stays a number");
    }
}

#[test]
fn awkward_names_come_back_whole() {
    for name in ["a,b\"c", "two\nlines", "座席 🛶 מושב", &"x".repeat(300)] {
        let mut plan = kayak::plan();
        plan.pieces[0].template = name.into();
        assert_eq!(records(&csv::pieces(&plan))[0]["template"], name);
    }
}

#[test]
fn the_summary_fits_the_terminal_and_says_what_it_owes() {
    let plan = kayak::plan();
    let text = summary::text(&plan, 80);
    assert!(text.lines().all(|l| l.width() <= 80), "{text}");
    for piece in &plan.pieces {
        let row = text
            .lines()
            .find(|l| l.split_whitespace().next() == Some(piece.number.as_str()))
            .expect("a row");
        assert!(row.contains(&piece.template), "{row}");
    }
    for needed in [
        "2175 mm of 1250 mm",
        "1892.2 mm (area of the pieces over the usable width)",
        "83.74 EUR",
        "938 g",
        "55.9 %",
        "3fa29b-1: 0.257 m², rectangle 415 × 320 mm",
        "turns a: 0, 180 (twill 2/2, visible",
        "warning: relief cuts",
    ] {
        assert!(text.contains(needed), "{needed} in\n{text}");
    }
}

#[test]
fn the_summary_fits_whatever_the_names() {
    for name in
        ["x".repeat(300), "座席の左側の板".repeat(9), "🛶".repeat(60), "a b\u{1b}[31m".repeat(30)]
    {
        let mut plan = kayak::plan();
        for piece in &mut plan.pieces {
            piece.template.clone_from(&name);
            piece.cloth.clone_from(&name);
            piece.number.clone_from(&name);
            piece.permitted_by.clone_from(&name);
        }
        for f in &mut plan.cloths {
            f.cloth.clone_from(&name);
            f.least_length_by.clone_from(&name);
        }
        for stock in &mut plan.stocks {
            stock.cloth.clone_from(&name);
            stock.id.clone_from(&name);
            stock.offcuts.iter_mut().for_each(|o| o.id.clone_from(&name));
        }
        plan.currency.clone_from(&name);
        plan.warnings = vec![name.clone()];
        for columns in [80, 120, 10] {
            let text = summary::text(&plan, columns);
            assert!(text.lines().all(|l| l.width() <= columns.max(72)), "{text}");
            assert!(!text.contains('\u{1b}'), "nothing reaches the terminal's own commands");
            assert!(text.contains('…'), "what was cut is seen to be cut");
        }
    }
}
