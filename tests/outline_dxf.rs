//! DXF files from bytes to outlines, written out here as text.

use std::f64::consts::PI;
use std::path::Path;
use warpwise::geometry::{point, ring_area, ring_bounds};
use warpwise::outline::{Outline, ReadOptions, Reading, Unit, read_bytes};

/// Group codes and values, written `code value` on a line each, as DXF text.
fn pairs(short: &str) -> String {
    let pair = |line: &str| {
        line.split_once(' ')
            .map_or(format!("{line}\n\n"), |(code, value)| format!("{code}\n{value}\n"))
    };
    short.lines().map(str::trim).filter(|line| !line.is_empty()).map(pair).collect()
}

fn file(unit: &str, blocks: &str, entities: &str) -> String {
    let section =
        |name: &str, body: &str| format!("0\nSECTION\n2\n{name}\n{}0\nENDSEC\n", pairs(body));
    section("HEADER", unit)
        + &section("BLOCKS", blocks)
        + &section("ENTITIES", entities)
        + "0\nEOF\n"
}

const MM: &str = "9 $INSUNITS\n70 4";

fn read_with(text: &str, options: &ReadOptions) -> Reading {
    match read_bytes(Path::new("kayak.dxf"), text.as_bytes(), options) {
        Ok(reading) => {
            assert_eq!(reading.used + reading.not_used.len(), reading.present);
            reading
        }
        Err(faults) => panic!("{faults}"),
    }
}

fn read(text: &str) -> Reading {
    read_with(text, &ReadOptions::default())
}

fn faults(text: &str) -> String {
    read_bytes(Path::new("kayak.dxf"), text.as_bytes(), &ReadOptions::default())
        .map_or_else(|f| f.to_string(), |_| String::new())
}

fn size(outline: &Outline) -> (f64, f64) {
    ring_bounds(outline.net()).map_or((0.0, 0.0), |b| (b.width(), b.height()))
}

#[test]
fn lines_and_arcs_in_any_order_and_direction_become_one_outline() {
    // A D: the upright from (0,0) to (0,200), and a half circle of radius 100 about (0,100); area
    // π·100²/2.
    let reading = read(&file(
        MM,
        "",
        "0 ARC\n8 knee\n10 0\n20 100\n40 100\n50 270\n51 90\n0 LINE\n8 knee\n10 0\n20 200\n11 0\n21 0",
    ));
    assert_eq!((reading.outlines.len(), reading.used), (1, 2));
    let outline = &reading.outlines[0];
    let short = PI * 5000.0 - ring_area(outline.net());
    assert!(short > 0.0 && short < 0.02 * PI * 100.0, "{short}");
    let (width, height) = size(outline);
    assert!(outline.name() == "knee" && (99.98..=100.0).contains(&width) && height == 200.0);
}

#[test]
fn a_round_plate_in_inches_with_a_hole_and_an_arrow() {
    // A disc of 10 in with a hole of 2 in: 254 and 50.8 mm; areas π r².
    let plate = "0 CIRCLE\n8 hatch\n10 0\n20 0\n40 5\n0 CIRCLE\n8 hatch\n10 1\n20 1\n40 1\n0 LINE\n8 hatch-arrow\n10 -3\n20 -2\n11 -2\n21 -2";
    let reading = read(&file("9 $INSUNITS\n70 1", "", plate));
    let outline = &reading.outlines[0];
    assert!((ring_area(outline.net()) - PI * 127.0 * 127.0).abs() < 0.02 * 2.0 * PI * 127.0);
    assert!((ring_area(&outline.holes()[0]) + PI * 25.4 * 25.4).abs() < 0.02 * 2.0 * PI * 25.4);
    assert_eq!(outline.arrow(), Some([point(-76.2, -50.8), point(-50.8, -50.8)]));
}

#[test]
fn the_two_hands_of_a_block_are_two_outlines() {
    // An L of area 40·10 + 10·50 = 900, drawn as block, inserted as it is and mirrored (x scale
    // -1).
    let l = "0 BLOCK\n2 hip\n10 0\n20 0\n0 LWPOLYLINE\n8 0\n90 6\n70 1\n10 0\n20 0\n10 40\n20 0\n10 40\n20 10\n10 10\n20 10\n10 10\n20 60\n10 0\n20 60\n0 ENDBLK";
    let reading = read(&file(
        MM,
        l,
        "0 INSERT\n8 left\n2 hip\n10 100\n20 0\n0 INSERT\n8 right\n2 hip\n10 -100\n20 0\n41 -1",
    ));
    assert_eq!((reading.outlines.len(), reading.present, reading.used), (2, 3, 3));
    for (outline, corner) in reading.outlines.iter().zip([point(110.0, 10.0), point(-110.0, 10.0)])
    {
        assert_eq!(ring_area(outline.net()), 900.0);
        assert!(outline.net().contains(&corner));
    }
}

#[test]
fn a_pattern_drawing_gives_each_block_its_piece() {
    let ring = |layer: u32, w: u32, h: u32, inset: u32| {
        let corners =
            [(inset, inset), (w - inset, inset), (w - inset, h - inset), (inset, h - inset)];
        let corners: String =
            corners.map(|(x, y)| format!("0 VERTEX\n8 {layer}\n10 {x}\n20 {y}\n")).concat();
        format!("0 POLYLINE\n8 {layer}\n66 1\n70 1\n{corners}0 SEQEND\n")
    };
    let piece = |name: &str, w: u32, h: u32| {
        let (boundary, sew, cut_out) = (ring(1, w, h, 0), ring(14, w, h, 8), ring(11, w, h, 60));
        let grain = format!("0 LINE\n8 7\n10 20\n20 30\n11 {}\n21 30\n", w - 20);
        let notch = "0 LINE\n8 4\n10 50\n20 0\n11 50\n21 5\n";
        format!(
            "0 BLOCK\n8 1\n2 {name}\n10 0\n20 0\n{boundary}{sew}{cut_out}{grain}{notch}0 TEXT\n8 15\n1 {name}\n0 ENDBLK\n"
        )
    };
    let blocks = piece("seat", 400, 300) + &piece("back", 300, 160);
    let text =
        file(MM, &blocks, "0 INSERT\n8 1\n2 seat\n10 0\n20 0\n0 INSERT\n8 1\n2 back\n10 500\n20 0");
    let reading = read(&text);
    let names: Vec<&str> = reading.outlines.iter().map(Outline::name).collect();
    assert_eq!(names, ["seat", "back"]);
    let seat = &reading.outlines[0];
    assert_eq!(
        (ring_area(seat.net()), seat.holes().len(), ring_area(&seat.holes()[0])),
        (120_000.0, 1, -280.0 * 180.0)
    );
    assert_eq!((seat.cuts().len(), seat.marks().len()), (1, 1));
    assert_eq!(seat.arrow(), Some([point(20.0, 30.0), point(380.0, 30.0)]));
    assert_eq!((reading.present, reading.used), (14, 12));

    // One piece alone, by the name of its block.
    let back =
        read_with(&text, &ReadOptions { layer: Some("BACK".into()), ..ReadOptions::default() });
    assert_eq!((back.outlines.len(), size(&back.outlines[0])), (1, (300.0, 160.0)));
}

#[test]
fn the_job_can_state_the_unit() {
    let drawing = file(
        "",
        "",
        "0 LWPOLYLINE\n90 4\n70 1\n10 0\n20 0\n10 20\n20 0\n10 20\n20 10\n10 0\n20 10",
    );
    assert!(faults(&drawing).contains("kayak.dxf") && faults(&drawing).contains("unit = \"mm\""));
    let reading = read_with(
        &drawing,
        &ReadOptions { unit: Some(Unit::Centimetre), ..ReadOptions::default() },
    );
    assert_eq!(size(&reading.outlines[0]), (200.0, 100.0));
}

#[test]
fn a_drawing_without_any_closed_line_is_a_fault() {
    assert!(
        !faults(&file(
            MM,
            "",
            "0 LINE\n10 0\n20 0\n11 100\n21 0\n0 LINE\n10 100\n20 0\n11 100\n21 80"
        ))
        .is_empty()
    );
}
