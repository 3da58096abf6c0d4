//! The reader on drawings spelt out here, against values worked out by hand.

#![allow(clippy::unwrap_used)]

use super::super::{Drawing, DrawnLine, ReadOptions, Role, Unit};
use crate::fault::Faults;
use crate::geometry::{Point, point, ring_area};
use crate::outline::budget::Budget;
use crate::run::Run;
use rand_pcg::Pcg32;
use rand_pcg::rand_core::Rng;
use std::collections::BTreeSet;
use std::f64::consts::PI;

fn read(bytes: &[u8], options: &ReadOptions) -> Result<Drawing, Faults> {
    super::read(bytes, options, &Budget::new(&Run::default()))
}

/// Group codes and values, written `code value` on a line each, as DXF text.
fn pairs(short: &str) -> String {
    short
        .lines()
        .map(str::trim_start)
        .filter(|line| !line.is_empty())
        .map(|line| {
            let (code, value) = line.split_once(' ').unwrap_or((line, ""));
            format!("{code}\n{value}\n")
        })
        .collect()
}

fn section(name: &str, body: &str) -> String {
    format!("0\nSECTION\n2\n{name}\n{}0\nENDSEC\n", pairs(body))
}

/// A drawing in mm.
fn file(blocks: &str, entities: &str) -> String {
    section("HEADER", "9 $INSUNITS\n70 4")
        + &section("BLOCKS", blocks)
        + &section("ENTITIES", entities)
        + "0\nEOF\n"
}

fn read_text(text: &str) -> Result<Drawing, Faults> {
    let drawing = read(text.as_bytes(), &ReadOptions::default())?;
    assert_eq!(drawing.used + drawing.not_used.len(), drawing.present);
    // Whoever goes on with the lines tells entities apart by their labels.
    let labels: BTreeSet<&str> = drawing
        .lines
        .iter()
        .map(|l| l.label.as_str())
        .chain(drawing.not_used.iter().map(|n| n.label.as_str()))
        .collect();
    assert!(labels.len() <= drawing.present);
    assert!(drawing.not_used.iter().all(|n| drawing.lines.iter().all(|l| l.label != n.label)));
    Ok(drawing)
}

fn lines(entities: &str) -> Vec<DrawnLine> {
    read_text(&file("", entities)).unwrap().lines
}

fn line(entities: &str) -> DrawnLine {
    let mut all = lines(entities);
    assert_eq!(all.len(), 1);
    all.remove(0)
}

fn why_not(entities: &str) -> String {
    let drawing = read_text(&file("", entities)).unwrap();
    assert_eq!((drawing.lines.len(), drawing.not_used.len()), (0, 1));
    drawing.not_used[0].why.clone()
}

fn fault(text: &str) -> String {
    read_text(text).unwrap_err().to_string()
}

fn close(a: Point, b: Point) -> bool {
    a.distance(b) < 1e-6
}

/// The largest distance of the points, and of the middles of their chords, from a circle.
fn off_circle(points: &[Point], centre: Point, radius: f64) -> f64 {
    let middles = points.windows(2).map(|w| (w[0] + w[1]) * 0.5);
    points
        .iter()
        .copied()
        .chain(middles)
        .map(|p| (p.distance(centre) - radius).abs())
        .fold(0.0, f64::max)
}

const LINE: &str = "0 LINE\n8 seat\n10 0\n20 0\n11 100\n21 50\n";

#[test]
fn a_line_keeps_its_direction_and_layer() {
    let line = line("0 LINE\n5 2F\n8 arrow\n10 1\n20 2\n30 0\n11 4\n21 6.5\n31 0");
    assert_eq!(line.points, [point(1.0, 2.0), point(4.0, 6.5)]);
    assert_eq!((line.closed, line.names, line.role), (false, vec!["arrow".to_string()], None));
    assert!(line.label.starts_with("LINE 2F"), "{}", line.label);
}

#[test]
fn a_bulge_of_tan_an_eighth_turn_is_a_quarter_circle() {
    // bulge = tan(included angle / 4): 90° -> 0.414214 (DXF reference).
    let line = line("0 LWPOLYLINE\n90 2\n70 0\n10 100\n20 0\n42 0.414213562373095\n10 0\n20 100");
    assert!(off_circle(&line.points, point(0.0, 0.0), 100.0) <= 0.02);
    assert!(line.points.iter().all(|p| p.x >= -1e-9 && p.y >= -1e-9));
    assert_eq!(
        (line.points[0], *line.points.last().unwrap()),
        (point(100.0, 0.0), point(0.0, 100.0))
    );
}

#[test]
fn a_bulge_of_one_is_a_half_circle_and_minus_one_runs_clockwise() {
    // bulge 1 = half circle, negative clockwise (DXF reference).
    for (bulge, side) in [("1", -1.0), ("-1", 1.0)] {
        let line =
            line(&format!("0 LWPOLYLINE\n90 2\n70 0\n10 -50\n20 0\n42 {bulge}\n10 50\n20 0"));
        assert!(off_circle(&line.points, point(0.0, 0.0), 50.0) <= 0.02);
        // From left to right, anticlockwise about the middle, the arc passes below.
        let middle = line.points[line.points.len() / 2];
        assert!(middle.y * side > 45.0, "{middle:?}");
    }
}

#[test]
fn the_bulge_of_the_last_vertex_closes_a_slot() {
    // A slot: rectangle 200 x 60 with half circles of radius 30 at both ends; area 200·60 + π·30².
    let slot = "90 4\n70 1\n10 0\n20 -30\n10 200\n20 -30\n42 1\n10 200\n20 30\n10 0\n20 30\n42 1";
    let polyline = "70 1\n0 VERTEX\n10 0\n20 -30\n0 VERTEX\n10 200\n20 -30\n42 1\n0 VERTEX\n10 200\n20 30\n0 VERTEX\n10 0\n20 30\n42 1\n0 SEQEND";
    for entity in [format!("0 LWPOLYLINE\n{slot}"), format!("0 POLYLINE\n66 1\n{polyline}")] {
        let line = line(&entity);
        assert!(line.closed);
        let short = 200.0 * 60.0 + PI * 900.0 - ring_area(&line.points);
        // Inscribed: smaller by at most the arcs' length times the tolerance.
        assert!(short > 0.0 && short < 0.02 * PI * 60.0, "{short}");
    }
}

#[test]
fn arcs_run_anticlockwise_through_zero() {
    let line = line("0 ARC\n10 10\n20 20\n40 50\n50 315\n51 45");
    let h = 50.0 * 0.5f64.sqrt();
    assert!(
        close(line.points[0], point(10.0 + h, 20.0 - h))
            && close(*line.points.last().unwrap(), point(10.0 + h, 20.0 + h))
    );
    assert!(line.points.iter().all(|p| p.x > 10.0 + h - 1e-6));
    assert!(off_circle(&line.points, point(10.0, 20.0), 50.0) <= 0.02);
}

#[test]
fn circles_and_whole_turns_close() {
    for entity in [
        "0 CIRCLE\n10 1\n20 2\n40 300",
        "0 ARC\n10 1\n20 2\n40 300\n50 0\n51 360",
        "0 ARC\n10 1\n20 2\n40 300\n50 90\n51 90",
    ] {
        let line = line(entity);
        assert!(line.closed);
        let short = PI * 300.0 * 300.0 - ring_area(&line.points);
        assert!(short > 0.0 && short < 0.02 * 2.0 * PI * 300.0, "{short}");
    }
}

#[test]
fn an_ellipse_has_the_area_pi_a_b() {
    // a = |(240, 180)| = 300, b = 0.5 a. Also with a whole turn whose end was rounded up past 2π.
    for end in ["6.283185307179586", "6.2831853072", "6.28318530"] {
        let line = line(&format!("0 ELLIPSE\n10 0\n20 0\n11 240\n21 180\n40 0.5\n41 0\n42 {end}"));
        assert!(line.closed, "{end}");
        let short = PI * 300.0 * 150.0 - ring_area(&line.points);
        assert!(short > 0.0 && short < 0.02 * 2.0 * PI * 300.0, "{short}");
    }
}

#[test]
fn an_elliptical_arc_is_bounded_by_its_parameters() {
    // Parameter 0 is the end of the major axis, π/2 that of the minor; a downward extrusion runs
    // the other way round.
    let quarter = "0 ELLIPSE\n10 0\n20 0\n11 0\n21 100\n40 0.3\n41 0\n42 1.5707963267948966\n";
    let up = line(quarter);
    assert!(
        close(up.points[0], point(0.0, 100.0))
            && close(*up.points.last().unwrap(), point(-30.0, 0.0))
    );
    let down = line(&format!("{quarter}210 0\n220 0\n230 -1"));
    assert!(
        close(down.points[0], point(0.0, 100.0))
            && close(*down.points.last().unwrap(), point(30.0, 0.0))
    );
}

#[test]
fn a_downward_extrusion_turns_x_round() {
    // Arbitrary axis algorithm (DXF reference): extrusion (0,0,-1) has x = (-1,0,0), y = (0,1,0).
    let down = "210 0\n220 0\n230 -1\n";
    let arc = line(&format!("0 ARC\n10 10\n20 0\n40 50\n50 0\n51 90\n{down}"));
    assert!(
        close(arc.points[0], point(-60.0, 0.0))
            && close(*arc.points.last().unwrap(), point(-10.0, 50.0))
    );
    let poly = line(&format!("0 LWPOLYLINE\n90 2\n{down}10 1\n20 2\n10 30\n20 40"));
    assert_eq!(poly.points, [point(-1.0, 2.0), point(-30.0, 40.0)]);
    // Lines are in the drawing's own coordinates whatever their extrusion.
    assert_eq!(line(&format!("{LINE}{down}")).points[1], point(100.0, 50.0));
    assert!(why_not("0 CIRCLE\n10 0\n20 0\n40 5\n210 0\n220 1\n230 0").contains("tilted"));
}

#[test]
fn a_rational_quadratic_spline_is_an_exact_quarter_circle() {
    // Control points (1,0) (1,1) (0,1) with weights 1, cos 45°, 1: a quarter of the unit circle
    // (Piegl and Tiller; from memory).
    let weight = 0.5f64.sqrt();
    let line = line(&format!(
        "0 SPLINE\n70 4\n71 2\n72 6\n73 3\n74 0\n40 0\n40 0\n40 0\n40 1\n40 1\n40 1\n41 1\n41 {weight}\n41 1\n10 100\n20 0\n30 0\n10 100\n20 100\n30 0\n10 0\n20 100\n30 0"
    ));
    assert!(line.points.iter().all(|p| (p.length() - 100.0).abs() < 1e-9));
    assert!(off_circle(&line.points, point(0.0, 0.0), 100.0) <= 0.02);
    assert!(
        close(line.points[0], point(100.0, 0.0))
            && close(*line.points.last().unwrap(), point(0.0, 100.0))
    );
}

#[test]
fn a_spline_without_inner_knots_is_its_bezier_curve() {
    // A cubic Bézier as a B-spline; its middle is (p0 + 3 p1 + 3 p2 + p3) / 8. Without z values,
    // which the parser needs.
    let line = line(
        "0 SPLINE\n71 3\n40 0\n40 0\n40 0\n40 0\n40 2\n40 2\n40 2\n40 2\n10 0\n20 0\n10 0\n20 80\n10 120\n20 80\n10 120\n20 0",
    );
    assert!(line.points.contains(&point(60.0, 60.0)), "{:?}", line.points);
}

#[test]
fn a_uniform_periodic_spline_closes() {
    // Uniform cubic B-spline around a square, its first three control points repeated: at a knot it
    // passes through (a + 4 b + c) / 6 (blending values 1/6, 4/6, 1/6).
    let square = [(0, 0), (600, 0), (600, 600), (0, 600), (0, 0), (600, 0), (600, 600)];
    let controls: String = square.iter().map(|(x, y)| format!("10 {x}\n20 {y}\n30 0\n")).collect();
    let knots: String = (0..11).map(|k| format!("40 {k}\n")).collect();
    let line = line(&format!("0 SPLINE\n70 3\n71 3\n{knots}{controls}"));
    assert!(line.closed);
    assert!(line.points.iter().any(|&p| close(p, point(500.0, 100.0))), "{:?}", line.points);
}

#[test]
fn a_contradictory_spline_is_a_fault() {
    let spline = |body: &str| {
        fault(&file("", &format!("0 SPLINE\n{body}10 0\n20 0\n10 5\n20 5\n10 9\n20 0")))
    };
    assert!(spline("71 2\n40 0\n40 0\n40 0\n40 1\n40 1\n").contains("knots"));
    assert!(spline("71 2\n40 0\n40 0\n40 0\n40 1\n40 1\n40 0\n").contains("ascend"));
    assert!(
        spline("71 2\n40 0\n40 0\n40 0\n40 1\n40 1\n40 1\n41 1\n41 0\n41 1\n").contains("weights")
    );
    assert!(spline("71 0\n").contains("degree"));
    assert!(spline("71 2\n73 4\n").contains("4 control points but has 3"));
}

#[test]
fn a_spline_by_fit_points_passes_through_them() {
    // Chords 50, 60, 50. By symmetry the upward speeds are m0, m1, -m1, -m0; with free ends 2 m0 +
    // m1 = 3 · 0.8 and 60 m0 + 220 m1 - 50 m1 = 3 · 60 · 0.8, so m1 = 72/140, and the middle is at
    // 40 + 60 · 2 m1 / 8; with upright ends m0 = 1. The library ezdxf (1.4.5, fit_points_to_cad_cv)
    // gives the same two heights, 47.7142857 and 47.4117647.
    let fit = "11 0\n21 0\n11 30\n21 40\n11 90\n21 40\n11 120\n21 0\n";
    let middle = |line: &DrawnLine| {
        line.points.iter().filter(|p| (p.x - 60.0).abs() < 1.0).map(|p| p.y).fold(0.0, f64::max)
    };
    let natural = line(&format!("0 SPLINE\n70 8\n71 3\n74 4\n{fit}"));
    assert!(
        [point(0.0, 0.0), point(30.0, 40.0), point(90.0, 40.0), point(120.0, 0.0)]
            .iter()
            .all(|q| natural.points.iter().any(|p| close(*p, *q)))
    );
    assert!(
        (middle(&natural) - (40.0 + 60.0 * 72.0 / 140.0 / 4.0)).abs() < 0.02,
        "{}",
        middle(&natural)
    );
    let upright = line(&format!("0 SPLINE\n70 8\n71 3\n12 0\n22 1\n13 0\n23 -1\n{fit}"));
    assert!(
        (middle(&upright) - (40.0 + 60.0 * 84.0 / 170.0 / 4.0)).abs() < 0.02,
        "{}",
        middle(&upright)
    );
    assert!(fault(&file("", &format!("0 SPLINE\n70 1\n71 3\n{fit}"))).contains("closed spline"));
}

#[test]
fn units_scale_to_millimetres_and_keep_the_tolerance_in_millimetres() {
    let drawn = |unit: &str| {
        section("HEADER", unit) + &section("ENTITIES", "0 CIRCLE\n10 0\n20 0\n40 10") + "0\nEOF\n"
    };
    let inches = read(drawn("9 $INSUNITS\n70 1").as_bytes(), &ReadOptions::default()).unwrap();
    // 1 in = 25.4 mm.
    assert!(off_circle(&inches.lines[0].points, point(0.0, 0.0), 254.0) <= 0.02);
    let stated = ReadOptions { unit: Some(Unit::Metre), ..ReadOptions::default() };
    let metres = read(drawn("").as_bytes(), &stated).unwrap();
    assert!(off_circle(&metres.lines[0].points, point(0.0, 0.0), 10_000.0) <= 0.02);
    assert!(
        read(drawn("9 $INSUNITS\n70 0").as_bytes(), &ReadOptions::default())
            .unwrap_err()
            .to_string()
            .contains("unit = \"mm\"")
    );
}

const HIP: &str = "0 BLOCK\n2 hip\n10 10\n20 0\n0 LINE\n8 0\n10 10\n20 0\n11 40\n21 20\n0 ARC\n8 edge\n10 10\n20 0\n40 30\n50 0\n51 90\n0 TEXT\n8 edge\n1 hip\n0 ENDBLK\n";

#[test]
fn an_insert_is_turned_scaled_mirrored_and_moved() {
    // Base point (10, 0): the line runs (0,0)-(30,20); scale (2,-1): (60,-20); turned 90°: (20,
    // 60); moved by (100, 200).
    let drawing =
        read_text(&file(HIP, "0 INSERT\n8 left\n2 HIP\n10 100\n20 200\n41 2\n42 -1\n50 90"))
            .unwrap();
    assert!(
        close(drawing.lines[0].points[0], point(100.0, 200.0))
            && close(drawing.lines[0].points[1], point(120.0, 260.0))
    );
    // Layer 0 in a block takes over the layer of the insert.
    assert_eq!(drawing.lines[0].names, ["hip", "left"]);
    assert_eq!(drawing.lines[1].names, ["hip", "edge"]);
    // The arc became part of an ellipse with half axes 60 along y and 30 along x; from (100, 260)
    // to (130, 200).
    let arc = &drawing.lines[1].points;
    assert!(close(arc[0], point(100.0, 260.0)) && close(*arc.last().unwrap(), point(130.0, 200.0)));
    let on = |p: &Point| {
        (((p.x - 100.0) / 30.0).powi(2) + ((p.y - 200.0) / 60.0).powi(2) - 1.0).abs() < 1e-9
    };
    assert!(arc.iter().all(on));
    // Insert, line and arc are used; the text is not.
    assert_eq!((drawing.present, drawing.used), (4, 3));
    assert!(drawing.not_used[0].why.contains("text"));
}

#[test]
fn an_insert_extruded_downward_is_mirrored() {
    let drawing =
        read_text(&file(HIP, "0 INSERT\n2 hip\n10 100\n20 200\n210 0\n220 0\n230 -1")).unwrap();
    assert!(
        close(drawing.lines[0].points[0], point(-100.0, 200.0))
            && close(drawing.lines[0].points[1], point(-130.0, 220.0))
    );
}

#[test]
fn an_array_steps_in_the_turned_frame_unscaled() {
    // 3 columns 100 apart, 2 rows 50 apart, turned 90°, scaled 2: the origins are at (-50 r, 100
    // c).
    let insert = "0 INSERT\n2 hip\n10 0\n20 0\n41 2\n42 2\n50 90\n70 3\n71 2\n44 100\n45 50";
    let drawing = read_text(&file(HIP, insert)).unwrap();
    let starts: Vec<Point> = drawing.lines.iter().step_by(2).map(|line| line.points[0]).collect();
    let want =
        [(0.0, 0.0), (0.0, 100.0), (0.0, 200.0), (-50.0, 0.0), (-50.0, 100.0), (-50.0, 200.0)];
    assert!(
        starts.len() == 6 && starts.iter().zip(want).all(|(p, (x, y))| close(*p, point(x, y))),
        "{starts:?}"
    );
    // However often a block is inserted, each of its entities counts once.
    assert_eq!((drawing.present, drawing.used), (4, 3));
}

#[test]
fn blocks_nest_and_name_their_lines_outermost_first() {
    let outer =
        format!("{HIP}0 BLOCK\n2 pair\n10 0\n20 0\n0 INSERT\n8 0\n2 hip\n10 5\n20 0\n0 ENDBLK\n");
    let drawing =
        read_text(&file(&outer, "0 INSERT\n8 skin\n2 pair\n10 0\n20 7\n41 10\n42 10")).unwrap();
    assert_eq!(drawing.lines[0].names, ["pair", "hip", "skin"]);
    assert!(
        close(drawing.lines[0].points[0], point(50.0, 7.0))
            && close(drawing.lines[0].points[1], point(350.0, 207.0))
    );
    assert_eq!((drawing.present, drawing.used), (5, 4));
}

#[test]
fn blocks_in_a_circle_are_a_fault_that_names_them() {
    let circle = "0 BLOCK\n2 a\n0 INSERT\n2 b\n10 0\n20 0\n0 ENDBLK\n0 BLOCK\n2 b\n0 INSERT\n2 A\n10 0\n20 0\n0 ENDBLK\n";
    assert!(fault(&file(circle, "0 INSERT\n2 a\n10 0\n20 0")).contains("a > b > a"));
    // Never inserted, it harms nobody.
    let drawing = read_text(&file(circle, LINE)).unwrap();
    assert_eq!((drawing.used, drawing.not_used.len()), (1, 2));
    assert!(drawing.not_used[0].why.contains("not inserted"));
}

#[test]
fn blocks_that_explode_or_nest_too_deep_are_a_fault() {
    // Each block holds an array of 100 x 100 of the one before: 10^8 lines at the third level.
    let level = |n: u32, inner: u32| {
        format!(
            "0 BLOCK\n2 b{n}\n0 INSERT\n2 b{inner}\n10 0\n20 0\n70 100\n71 100\n44 1\n45 1\n0 ENDBLK\n"
        )
    };
    let bomb = format!("0 BLOCK\n2 b0\n{LINE}0 ENDBLK\n{}{}", level(1, 0), level(2, 1));
    assert!(fault(&file(&bomb, "0 INSERT\n2 b2\n10 0\n20 0")).contains("more than"));
    let empty = format!("0 BLOCK\n2 b0\n0 ENDBLK\n{}{}", level(1, 0), level(2, 1));
    assert!(fault(&file(&empty, "0 INSERT\n2 b2\n10 0\n20 0")).contains("more than"));
    let chain = |n: u32, inner: u32| {
        format!("0 BLOCK\n2 b{n}\n0 INSERT\n2 b{inner}\n10 0\n20 0\n0 ENDBLK\n")
    };
    let deep: String = format!("0 BLOCK\n2 b0\n{LINE}0 ENDBLK\n")
        + &(1..20).map(|n| chain(n, n - 1)).collect::<String>();
    assert_eq!(read_text(&file(&deep, "0 INSERT\n2 b15\n10 0\n20 0")).unwrap().lines.len(), 1);
    assert!(fault(&file(&deep, "0 INSERT\n2 b16\n10 0\n20 0")).contains("deeper"));
}

#[test]
fn an_insert_without_its_block_is_a_fault() {
    assert!(fault(&file(HIP, "0 INSERT\n2 hop\n10 0\n20 0")).contains("hop"));
    assert!(
        fault(&file(&format!("{HIP}{HIP}"), "0 INSERT\n2 hip\n10 0\n20 0")).contains("several")
    );
    let drawing =
        read_text(&file("0 BLOCK\n2 far\n70 4\n0 ENDBLK", "0 INSERT\n2 far\n10 0\n20 0")).unwrap();
    assert!(drawing.not_used[0].why.contains("another file"));
}

#[test]
fn layers_that_are_not_shown_are_not_cut() {
    let tables = "0 TABLE\n2 LAYER\n70 3\n0 LAYER\n2 SEAT\n70 1\n62 7\n0 LAYER\n2 old\n70 0\n62 -3\n0 LAYER\n2 hatch\n70 4\n62 5\n0 ENDTAB";
    let three: String = ["seat", "old", "hatch"].map(|layer| LINE.replace("seat", layer)).concat();
    let text = section("HEADER", "9 $INSUNITS\n70 4")
        + &section("TABLES", tables)
        + &section("ENTITIES", &three)
        + "0\nEOF\n";
    let drawing = read_text(&text).unwrap();
    assert_eq!(drawing.lines.len(), 1);
    assert_eq!(drawing.lines[0].names, ["hatch"]);
    assert!(
        drawing.not_used[0].why.contains("frozen")
            && drawing.not_used[1].why.contains("switched off")
    );
}

#[test]
fn what_is_no_outline_is_reported_with_its_reason() {
    let entities = format!(
        "{LINE}67 1\n{LINE}60 1\n0 POINT\n10 1\n20 1\n0 MTEXT\n1 seat\n0 HATCH\n10 0\n0 WIDGET\n1 x\n0 CIRCLE\n10 0\n20 0\n40 0\n{LINE}31 5\n0 LINE\n10 1\n20 1\n11 1\n21 1\n0 POLYLINE\n70 64\n0 VERTEX\n10 0\n20 0\n0 SEQEND\n"
    );
    let drawing = read_text(&file("", &entities)).unwrap();
    let why: Vec<&str> = drawing.not_used.iter().map(|n| n.why.as_str()).collect();
    let want = [
        "paper",
        "invisible",
        "point",
        "text",
        "filled",
        "not read",
        "radius",
        "flat",
        "no length",
        "mesh",
    ];
    assert_eq!(why.len(), want.len());
    for (why, want) in why.iter().zip(want) {
        assert!(why.contains(want), "{why} / {want}");
    }
    assert_eq!(drawing.present, 10);
}

#[test]
fn a_flat_polyline_in_space_is_read_and_a_steep_one_is_not() {
    let space = |z: &str| {
        format!(
            "0 POLYLINE\n70 9\n0 VERTEX\n10 0\n20 0\n30 5\n0 VERTEX\n10 9\n20 0\n30 5\n0 VERTEX\n10 0\n20 9\n30 {z}\n0 SEQEND\n"
        )
    };
    let line = line(&space("5"));
    assert!(line.closed && line.points.len() == 3);
    assert!(why_not(&space("6")).contains("flat"));
}

#[test]
fn a_smoothed_polyline_leaves_its_control_points_out() {
    // DXF reference, VERTEX: flag 16 is a control point of the frame, 8 lies on the smoothed line.
    let line = line(
        "0 POLYLINE\n70 4\n0 VERTEX\n10 5\n20 90\n70 16\n0 VERTEX\n10 0\n20 0\n70 8\n0 VERTEX\n10 9\n20 0\n70 8\n0 SEQEND",
    );
    assert_eq!(line.points, [point(0.0, 0.0), point(9.0, 0.0)]);
}

/// Two pieces of a seat, each in a block, on the numbered layers of ASTM D6673, as such a file is
/// built: one insert a piece.
fn pattern() -> String {
    let ring = |layer: u32, x0: i32, y0: i32, x1: i32, y1: i32| {
        let corners: String = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
            .map(|(x, y)| format!("0 VERTEX\n8 {layer}\n10 {x}\n20 {y}\n"))
            .concat();
        format!("0 POLYLINE\n8 {layer}\n66 1\n{corners}0 SEQEND\n8 {layer}\n")
    };
    let line = |layer: u32, x0: i32, y0: i32, x1: i32, y1: i32| {
        format!("0 LINE\n8 {layer}\n10 {x0}\n20 {y0}\n11 {x1}\n21 {y1}\n")
    };
    let seat = [
        ring(1, 0, 0, 400, 300),
        ring(14, 10, 10, 390, 290),
        ring(11, 100, 100, 150, 150),
        line(4, 0, 150, 6, 150),
        line(6, 200, 0, 200, 300),
        line(7, 50, 200, 350, 200),
        line(8, 0, 20, 400, 20),
        "0 CIRCLE\n8 13\n10 300\n20 60\n40 3\n".into(),
        "0 POINT\n8 2\n10 0\n20 0\n".into(),
        "0 TEXT\n8 15\n1 seat\n".into(),
        ring(84, 0, 0, 400, 300),
    ];
    let back = [ring(1, 0, 0, 200, 100), line(7, 20, 50, 180, 50)];
    let blocks = format!(
        "0 BLOCK\n8 1\n2 SEAT\n70 0\n10 0\n20 0\n{}0 ENDBLK\n0 BLOCK\n8 1\n2 BACK\n10 0\n20 0\n{}0 ENDBLK\n",
        seat.concat(),
        back.concat()
    );
    file(&blocks, "0 INSERT\n8 1\n2 SEAT\n10 0\n20 0\n0 INSERT\n8 1\n2 BACK\n10 500\n20 0")
}

#[test]
fn the_numbered_layers_of_the_pattern_standard_give_roles() {
    let drawing = read_text(&pattern()).unwrap();
    let seen: Vec<(&str, &str, Option<Role>)> =
        drawing.lines.iter().map(|l| (l.names[0].as_str(), l.names[1].as_str(), l.role)).collect();
    let (outline, mark) = (Some(Role::Outline), Some(Role::Mark));
    let want = [
        ("SEAT", "1", outline),
        ("SEAT", "14", mark),
        ("SEAT", "11", outline),
        ("SEAT", "4", Some(Role::Cut)),
        ("SEAT", "6", mark),
        ("SEAT", "7", Some(Role::Arrow)),
        ("SEAT", "8", mark),
        ("SEAT", "13", mark),
        ("BACK", "1", outline),
        ("BACK", "7", Some(Role::Arrow)),
    ];
    assert_eq!(seen, want);
    // An open polyline whose ends meet is closed.
    assert!(drawing.lines[0].closed && drawing.lines[0].points.len() == 4);
    assert_eq!(drawing.lines[8].points[0], point(500.0, 0.0));
    assert_eq!((drawing.present, drawing.used), (15, 12));
}

#[test]
fn numbers_mean_nothing_beside_a_named_layer() {
    let text = pattern().replace("TEXT\n8\n15\n", "TEXT\n8\nnotes\n");
    assert!(read_text(&text).unwrap().lines.iter().all(|line| line.role.is_none()));
}

#[test]
fn half_a_piece_beside_its_mirror_line_is_a_fault() {
    let text = pattern().replace(
        "8\n6\n10\n200\n20\n0\n11\n200\n21\n300\n",
        "8\n6\n10\n0\n20\n0\n11\n0\n21\n300\n",
    );
    assert!(fault(&text).contains("mirror line"));
}

#[test]
fn all_faults_of_a_file_come_together() {
    let text = section(
        "ENTITIES",
        "0 CIRCLE\n10 nan\n20 0\n40 5\n0 ARC\n10 0\n20 0\n40 1e99\n50 0\n51 9\n0 LINE\n10 0\n20 0\n11 0\n0 LWPOLYLINE\n90 3\n10 0\n20 0\n10 1\n20 1\n0 POLYLINE\n0 VERTEX\n10 0\n20 0\n0 VERTEX\n10 0\n20 0\n0 POINT\n0 INSERT\n2 none\n10 0\n20 0",
    ) + "0\nEOF\n";
    let faults = fault(&text);
    for what in [
        "\"nan\"",
        "\"1e99\"",
        "group codes 21",
        "3 vertices but has 2",
        "SEQEND",
        "unit = \"mm\"",
        "inserts the block none",
    ] {
        assert!(faults.contains(what), "{what} in {faults}");
    }
}

#[test]
fn files_cut_short_are_told() {
    let whole = file(HIP, &format!("{LINE}0 INSERT\n2 hip\n10 0\n20 0"));
    for end in (1..whole.len() - 1).step_by(7) {
        assert!(read(&whole.as_bytes()[..end], &ReadOptions::default()).is_err(), "{end}");
    }
    assert!(fault(&whole.replace("0\nEOF\n", "")).contains("cut short"));
}

#[test]
fn what_holds_nothing_is_a_fault() {
    assert!(fault("").contains("empty"));
    assert!(fault("0\nEOF\n").contains("no entities"));
    assert!(fault(&file("", "")).contains("no entities"));
    assert!(fault("hello\nworld\n").contains("group code"));
    assert!(fault("2\nENTITIES\n0\nENDSEC\n0\nEOF\n").contains("section"));
}

#[test]
fn far_away_outlines_are_a_fault() {
    assert!(fault(&file("", "0 CIRCLE\n10 99999\n20 0\n40 5")).contains("100 m"));
}

#[test]
fn endless_names_are_a_fault() {
    let name = "x".repeat(256);
    assert!(fault(&file("", &LINE.replace("seat", &name))).contains("longer than 255"));
    assert!(fault(&file(&HIP.replace("hip", &name), LINE)).contains("longer than 255"));
}

#[test]
fn a_bulge_before_its_vertex_is_a_fault() {
    // The parser gives up the whole rest of the section here, without a word.
    assert!(
        fault(&file("", &format!("0 LWPOLYLINE\n42 1\n10 0\n20 0\n10 5\n20 5\n{LINE}")))
            .contains("out of turn")
    );
}

#[test]
fn mutated_files_never_panic_and_never_lose_count() {
    let seeds = [
        pattern(),
        file(
            HIP,
            &format!(
                "{LINE}0 INSERT\n8 0\n2 hip\n10 1\n20 2\n41 2\n42 -1\n50 30\n70 2\n71 2\n44 9\n45 9\n0 ELLIPSE\n10 0\n20 0\n11 5\n21 1\n40 0.5\n41 0\n42 3"
            ),
        ),
        file(
            "",
            "0 LWPOLYLINE\n5 1F\n90 3\n70 1\n10 0\n20 0\n42 0.5\n10 50\n20 0\n42 -0.2\n10 0\n20 50\n0 SPLINE\n70 0\n71 2\n72 6\n73 3\n40 0\n40 0\n40 0\n40 1\n40 1\n40 1\n41 1\n41 0.7\n41 1\n10 10\n20 0\n30 0\n10 10\n20 10\n30 0\n10 0\n20 10\n30 0\n0 SPLINE\n71 3\n74 3\n11 0\n21 0\n11 5\n21 9\n11 20\n21 3",
        ),
    ];
    let alien = [
        "nan",
        "-1",
        "1e400",
        "",
        "0",
        "SECTION",
        "ENDSEC",
        "EOF",
        "VERTEX",
        "SEQEND",
        "INSERT",
        "hip",
        "SEAT",
        "999999999999",
        "66",
        "230",
        "\u{e9}",
        "-0",
        "1e11",
        "32767",
    ];
    let mut random = Pcg32::new(7, 11);
    let mut below = |n: usize| random.next_u32() as usize % n.max(1);
    let (mut read_well, mut refused) = (0, 0);
    for round in 0..6000 {
        let mut parts: Vec<&str> = seeds[round % seeds.len()].lines().collect();
        for _ in 0..=below(3) {
            // Mostly whole pairs and values, so that much of the file stays readable; sometimes any
            // line.
            let pair = below(parts.len() / 2) * 2;
            let any = below(parts.len());
            let other = alien[below(alien.len())];
            match below(12) {
                0 if parts.len() > 1 => drop(parts.remove(any)),
                1 => parts.insert(any, other),
                2 => parts.truncate(any.max(1)),
                3 => parts[any] = other,
                4 | 5 if pair + 1 < parts.len() => drop(parts.drain(pair..pair + 2)),
                6 if pair + 3 < parts.len() => {
                    parts.swap(pair, pair + 2);
                    parts.swap(pair + 1, pair + 3);
                }
                7 => parts.insert(pair, "\u{e9}"),
                _ if pair + 1 < parts.len() => parts[pair + 1] = other,
                _ => {}
            }
        }
        match read(parts.join("\n").as_bytes(), &ReadOptions::default()) {
            Ok(drawing) => {
                read_well += 1;
                assert_eq!(drawing.used + drawing.not_used.len(), drawing.present);
                assert!(drawing.lines.iter().all(|l| {
                    l.points.len() > 1
                        && l.points.iter().all(|p| p.x.abs() <= 1e5 && p.y.abs() <= 1e5)
                }));
            }
            Err(faults) => {
                refused += 1;
                assert!(
                    !faults.is_empty()
                        && faults.0.iter().all(|f| !f.what.is_empty() && !f.remedy.is_empty())
                );
            }
        }
    }
    // Both ways out are taken.
    assert!(read_well > 500 && refused > 500, "{read_well} {refused}");
}

#[test]
fn mutated_bytes_of_a_binary_file_never_panic() {
    let mut binary = b"AutoCAD Binary DXF\r\n\x1a\0".to_vec();
    let text = file(HIP, &format!("{LINE}0 INSERT\n2 hip\n10 1\n20 2"));
    let words: Vec<&str> = text.lines().collect();
    for pair in words.chunks(2) {
        let code: i16 = pair[0].parse().unwrap();
        binary.extend(code.to_le_bytes());
        match code {
            10..=59 => binary.extend(pair[1].parse::<f64>().unwrap().to_le_bytes()),
            60..=79 => binary.extend(pair[1].parse::<i16>().unwrap().to_le_bytes()),
            _ => binary.extend([pair[1].as_bytes(), b"\0"].concat()),
        }
    }
    let same = read(&binary, &ReadOptions::default()).unwrap();
    assert_eq!(
        same.lines.iter().map(|l| &l.points).collect::<Vec<_>>(),
        read_text(&text).unwrap().lines.iter().map(|l| &l.points).collect::<Vec<_>>()
    );
    let mut random = Pcg32::new(3, 5);
    for _ in 0..3000 {
        let mut bytes = binary.clone();
        for _ in 0..=random.next_u32() % 3 {
            let at = random.next_u32() as usize % bytes.len();
            bytes[at] = random.next_u32() as u8;
        }
        if let Ok(drawing) = read(&bytes, &ReadOptions::default()) {
            assert_eq!(drawing.used + drawing.not_used.len(), drawing.present);
        }
    }
}
