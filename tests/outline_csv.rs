//! Tables of measured points.

#![allow(clippy::unwrap_used)]

use std::path::Path;
use warpwise::fault::{Faults, Place};
use warpwise::geometry::{point, ring_area};
use warpwise::outline::{EdgeKind, ReadOptions, Reading, Unit, read_bytes};

fn read_with(text: &str, options: &ReadOptions) -> Result<Reading, Faults> {
    let result = read_bytes(Path::new("seat.csv"), text.as_bytes(), options);
    if let Ok(r) = &result {
        assert_eq!(r.used + r.not_used.len(), r.present, "{:#?}", r.not_used);
    }
    result
}

fn read(text: &str) -> Result<Reading, Faults> {
    read_with(text, &ReadOptions::default())
}

fn says(text: &str, line: usize, what: &str) {
    let faults = read(text).expect_err(text);
    let hit = faults.0.iter().any(|f| {
        f.what.contains(what) && matches!(f.place, Place::Line { line: l, .. } if l == line)
    });
    assert!(hit, "no \"{what}\" in line {line}:\n{faults}");
}

const SQUARE: &str = "x_mm,y_mm\n0,0\n100,0\n100,80\n0,80\n";

#[test]
fn a_plain_table_is_an_outline() {
    let reading = read(SQUARE).unwrap();
    assert_eq!((reading.present, reading.used), (1, 1));
    assert_eq!(ring_area(reading.outlines[0].net()), 8000.0);
    // Measured points have y up already.
    assert!(reading.outlines[0].net().contains(&point(100.0, 80.0)));
}

#[test]
fn separators_and_decimal_signs() {
    for text in [
        "x_mm;y_mm\n0;0\n10,5;0\n10,5;4,25\n",
        "x_mm\ty_mm\n0\t0\n10,5\t0\n10.5\t4,25\n",
        "x_mm,y_mm\n0,0\n10.5,0\n10.5,4.25\n",
        "\u{feff}X (mm), Y (mm)\r\n0,0\r\n 10.5 , 0\r\n\"10.5\",4.25\r\n",
    ] {
        let net = read(text).unwrap_or_else(|f| panic!("{text}\n{f}")).outlines[0].net().clone();
        assert_eq!(net, [point(0.0, 0.0), point(10.5, 0.0), point(10.5, 4.25)], "{text}");
    }
    says("x_mm,y_mm\n0,0\n10,5\n# a comment\n\n1;2,3\n", 6, "not a number");
    // A decimal comma between commas would shift every coordinate.
    says("x_mm,y_mm\n0,0\n10,5,0\n", 3, "3 cells for 2 columns");
}

#[test]
fn the_unit_may_stand_in_three_places() {
    let inches = |text: &str| {
        assert_eq!(read(text).unwrap().outlines[0].net()[1], point(254.0, 0.0), "{text}")
    };
    inches("x_in,y_in\n0,0\n10,0\n10,8\n");
    inches("# hip plate, measured on the bench\n# unit: in\nx,y\n0,0\n10,0\n10,8\n");
    inches("# Units = inches\n\nx,y\n0,0\n10,0\n10,8\n");
    let stated = ReadOptions { unit: Some(Unit::Inch), ..ReadOptions::default() };
    for text in ["x,y\n0,0\n10,0\n10,8\n", "x_mm,y_mm\n0,0\n10,0\n10,8\n"] {
        assert_eq!(read_with(text, &stated).unwrap().outlines[0].net()[1], point(254.0, 0.0));
    }
    says("x,y\n0,0\n10,0\n10,8\n", 1, "in which unit");
    says("x_mm,y_in\n0,0\n10,0\n10,8\n", 1, "x is in mm and y in in");
    says("# unit: in\nx_mm,y_mm\n0,0\n10,0\n10,8\n", 2, "another unit");
    says("# unit: furlong\nx,y\n0,0\n10,0\n10,8\n", 1, "furlong");
    says("x_furlong,y_furlong\n0,0\n10,0\n10,8\n", 1, "furlong");
}

#[test]
fn every_kind_of_line() {
    let text = "# unit: mm
part,line,x,y,edge
seat,outline,0,0,lap
seat,outline,100,0,
seat,outline,100,100,dart
seat,outline,50,60,dart
seat,outline,0,100,lap
seat,outline,0,0,
seat,hole 1,10,10,
seat,hole 1,20,10,
seat,hole 1,20,20,
seat,hole 2,40,10,
seat,hole 2,50,10,
seat,hole 2,50,20,
seat,relief cut,100,50,
seat,relief cut,80,50,
seat,arrow,20,50,
seat,arrow,70,50,
seat,no-splice,60,30,
seat,no-splice,80,30,
seat,no-splice,80,40,
hatch,,200,0,
hatch,,250,0,
hatch,,250,50,
";
    let reading = read(text).unwrap_or_else(|f| panic!("{f}"));
    assert_eq!((reading.present, reading.used), (7, 7));
    assert!(reading.warnings.is_empty());
    let (seat, hatch) = (&reading.outlines[0], &reading.outlines[1]);
    assert_eq!((seat.name(), hatch.name()), ("seat", "hatch"));
    assert_eq!((seat.holes().len(), seat.cuts().len(), seat.no_splice().len()), (2, 1, 1));
    assert_eq!(seat.arrow(), Some([point(20.0, 50.0), point(70.0, 50.0)]));
    let (lap, dart) = (Some(EdgeKind::Lap), Some(EdgeKind::Dart));
    assert_eq!(seat.net().len(), 5);
    assert_eq!(seat.edges(), [lap, None, dart, dart, lap]);
    let only =
        read_with(text, &ReadOptions { layer: Some("Hatch".into()), ..ReadOptions::default() })
            .unwrap();
    assert_eq!((only.outlines.len(), only.used, only.not_used.len()), (1, 1, 6));
}

#[test]
fn one_kind_all_round() {
    let reading = read("x_mm,y_mm,edge\n0,0,butt\n100,0,butt\n100,80,butt\n").unwrap();
    assert_eq!(reading.outlines[0].edges(), [Some(EdgeKind::Butt); 3]);
}

#[test]
fn every_faulty_row_is_named_by_its_line() {
    let text = "# unit: mm\n\npart,line,x,y,edge\na,outline,0,0,\na,outline,ten,0,\na,outline,,5,\na,wing,1,1,\na,outline,1,inf,\na,outline,1,1,glue\na,cut,1,1,lap\n";
    let faults = read(text).unwrap_err();
    let lines: Vec<usize> = faults
        .0
        .iter()
        .filter_map(|f| if let Place::Line { line, .. } = f.place { Some(line) } else { None })
        .collect();
    assert_eq!(lines, [5, 6, 7, 8, 9, 10], "{faults}");
    assert!(faults.0.iter().all(|f| !f.remedy.is_empty() && f.file.is_some()));
}

#[test]
fn tables_that_are_none() {
    says("a,b\n1,2\n", 1, "no columns x and y");
    says("1,2\n3,4\n", 1, "no columns x and y");
    says("x_mm,y_mm,x\n1,2\n", 1, "two columns are named x");
    says("x_mm,y_mm\n", 1, "no points");
    says("part,x_mm,y_mm\na,0,0\nb,1,1\na,2,2\n", 4, "other points came between");
    for bytes in [&b""[..], b"# nothing\n", b"\xff\xfe", b"\x00\x01", b"x_mm,y_mm\n\xff,2\n"] {
        assert!(read_bytes(Path::new("a.csv"), bytes, &ReadOptions::default()).is_err());
    }
}

#[test]
fn other_columns_are_left_with_a_warning() {
    let reading = read("x_mm,y_mm,height\n0,0,1\n100,0,2\n100,80,3\n;;\n,,\n").err();
    assert!(reading.is_some(), "a row of other signs is no row");
    let reading = read("x_mm,y_mm,height\n0,0,1\n100,0,2\n100,80,3\n,,\n").unwrap();
    assert!(reading.warnings[0].what.contains("\"height\""));
}
