//! Small files that ask for much: refused by what they would come to, before it is made.
#![allow(clippy::unwrap_used)]

use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use warpwise::outline::{ReadOptions, read_bytes, read_bytes_in};
use warpwise::run::{Cancel, Observer, Phase, Run};

const SVG: &str = r#"<svg xmlns="http://www.w3.org/2000/svg" width="1000mm" height="1000mm" viewBox="0 0 1000 1000">"#;

fn refused(name: &str, file: &str) -> String {
    read_bytes(Path::new(name), file.as_bytes(), &ReadOptions::default()).unwrap_err().to_string()
}

fn dxf(blocks: &str, entities: &str) -> String {
    let blocks = format!("0\nSECTION\n2\nBLOCKS\n{blocks}0\nENDSEC\n");
    format!(
        "0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n{blocks}0\nSECTION\n2\nENTITIES\n{entities}0\nENDSEC\n0\nEOF\n"
    )
}

fn block(name: &str, content: &str) -> String {
    format!(
        "0\nBLOCK\n8\n0\n2\n{name}\n70\n0\n10\n0\n20\n0\n30\n0\n3\n{name}\n{content}0\nENDBLK\n8\n0\n"
    )
}

fn insert(name: &str, columns: u32, rows: u32) -> String {
    format!(
        "0\nINSERT\n8\n0\n2\n{name}\n10\n0\n20\n0\n30\n0\n70\n{columns}\n71\n{rows}\n44\n0.001\n45\n0.001\n"
    )
}

/// A spline of a degree through points that leap to and fro.
fn spline(degree: usize, points: usize) -> String {
    let inner = points - degree;
    let knots = [vec![0; degree + 1], (1..inner).collect(), vec![inner; degree + 1]].concat();
    let mut out =
        format!("0\nSPLINE\n8\n0\n70\n0\n71\n{degree}\n72\n{}\n73\n{points}\n", knots.len());
    knots.iter().for_each(|k| out += &format!("40\n{k}\n"));
    (0..points).for_each(|i| {
        out += &format!("10\n{}\n20\n{}\n30\n0\n", (i * 7919) % 90_001, (i * 104_729) % 90_001)
    });
    out
}

/// A kilobyte of `use` within `use` came to five gigabytes.
#[test]
fn copies_of_copies_of_curves_are_counted_in_points() {
    let mut defs = String::from(r##"<circle id="a0" r="4e4"/>"##);
    for i in 0..14 {
        defs +=
            &format!(r##"<g id="a{}"><use href="#a{i}"/><use href="#a{i}" x="1"/></g>"##, i + 1);
    }
    let said = refused("a.svg", &format!("{SVG}<defs>{defs}</defs><use href=\"#a14\"/></svg>"));
    assert!(said.contains("more than 2000000 points"), "{said}");
}

#[test]
fn a_path_of_huge_curves_is_left_where_its_points_run_out() {
    for curve in ["A40000 40000 0 1 0 1 1A40000 40000 0 1 1 0 0", "C90000 90000 -90000 90000 1 1"] {
        let said =
            refused("a.svg", &format!("{SVG}<path d=\"M0 0{}Z\"/></svg>", curve.repeat(5000)));
        assert!(said.contains("more than 2000000 points"), "{said}");
    }
}

/// A style sheet of 4 MB took minutes to parse, for which it had as few elements as one likes.
#[test]
fn rules_of_style_sheets_are_counted_before_they_are_parsed() {
    let rules: String = (0..200_000).map(|i| format!(".a{i}{{fill:none}}")).collect();
    let one = format!("{SVG}<style>{rules}</style><rect width=\"9\" height=\"9\"/></svg>");
    let said = refused("a.svg", &one);
    assert!(said.contains("200000 rules"), "{said}");
    let many = "<style>a{fill:none}</style>".repeat(20_000);
    let said = refused("a.svg", &format!("{SVG}{many}<rect width=\"9\" height=\"9\"/></svg>"));
    assert!(said.contains("20000 rules"), "{said}");
}

#[test]
fn text_without_end_is_counted_too() {
    let said = refused(
        "a.svg",
        &format!("{SVG}<defs>{}</defs><path d=\"M0 0H9V9Z\"/></svg>", "<text/>".repeat(900_000)),
    );
    assert!(said.contains("MB of names"), "{said}");
    let said = refused("a.svg", &format!("{SVG}{}</svg>", "<text/>".repeat(1_200_000)));
    assert!(said.contains("more than 1000000 parts"), "{said}");
}

/// Half a kilobyte ran for minutes: an array of inserts of a block with a spline of degree 25.
#[test]
fn inserted_splines_of_high_degree_are_counted_in_work() {
    let said = refused("a.dxf", &dxf(&block("b", &spline(25, 26)), &insert("b", 600, 600)));
    assert!(
        said.contains("splines of high degree") || said.contains("more than 2000000 points"),
        "{said}"
    );
    let said = refused("a.dxf", &dxf("", &spline(25, 2000)));
    assert!(said.contains("splines of high degree"), "{said}");
    assert!(refused("a.dxf", &dxf("", &spline(50, 60))).contains("degree 50"));
    // One that a drawing may well have is drawn.
    let said = refused("a.dxf", &dxf("", &spline(5, 20)));
    assert!(said.contains("closed") && !said.contains("splines"), "{said}");
}

#[test]
fn blocks_in_blocks_are_counted_however_little_they_draw() {
    let mut blocks = block("b0", "0\nTEXT\n8\n0\n10\n0\n20\n0\n40\n1\n1\nx\n");
    for i in 0..12 {
        blocks += &block(&format!("b{}", i + 1), &insert(&format!("b{i}"), 30, 30));
    }
    let said = refused("a.dxf", &dxf(&blocks, &insert("b12", 1, 1)));
    assert!(said.contains("more than 400000 entities"), "{said}");
}

/// Counts the looks at the flag, and asks to stop after so many.
struct Looks<'a>(AtomicU64, u64, &'a Cancel);

impl Observer for Looks<'_> {
    fn looked(&self, phase: Phase) {
        assert_eq!(phase, Phase::Reading);
        if self.0.fetch_add(1, Ordering::Relaxed) == self.1 {
            self.2.ask();
        }
    }
}

/// Signals were not heeded while files were read.
#[test]
fn reading_looks_at_the_flag_all_along_and_ends_when_it_is_up() {
    let circles: String = (0..900)
        .map(|i| format!("<circle r=\"3\" cx=\"{}\" cy=\"{}\"/>", i % 30 * 10, i / 30 * 10))
        .collect();
    let svg = format!("{SVG}{circles}</svg>");
    let entities: String = (0..900)
        .map(|i| format!("0\nCIRCLE\n8\n0\n10\n{}\n20\n{}\n40\n3\n", i % 30 * 10, i / 30 * 10))
        .collect();
    let dxf = dxf("", &entities);
    let csv = (0..900).fold(String::from("part,x_mm,y_mm\n"), |all, i| {
        all + &format!("{i},{i},0\n{i},{i}.5,0\n{i},{i},1\n")
    });
    for (name, file) in [("a.svg", &svg), ("a.dxf", &dxf), ("a.csv", &csv)] {
        let read = |stop_at: u64| {
            let cancel = Cancel::new();
            let looks = Looks(AtomicU64::new(0), stop_at, &cancel);
            let run = Run::default().with_cancel(&cancel).with_observer(&looks);
            let read =
                read_bytes_in(Path::new(name), file.as_bytes(), &ReadOptions::default(), &run);
            (read, looks.0.into_inner())
        };
        let (whole, looks) = read(u64::MAX);
        assert_eq!(whole.unwrap().outlines.len(), 900, "{name}");
        assert!(looks > 900, "{name}: {looks} looks");
        for stop_at in [0, 300, looks / 2, looks - 2] {
            let (stopped, more) = read(stop_at);
            assert!(
                stopped.unwrap_err().to_string().contains("stopped while reading"),
                "{name}, {stop_at} of {looks}"
            );
            // Siblings are passed by, each with a look.
            assert!(more <= stop_at + 1000, "{name}: {more} looks after {stop_at}");
        }
    }
}
