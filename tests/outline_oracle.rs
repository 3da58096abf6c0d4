//! Our SVG geometry against `usvg`, an independent general-purpose reader, on drawings made by a
//! seeded generator.
//!
//! It works in single precision and draws arcs and ellipses to a fraction of a pixel of its own, so
//! the comparison is of bounding boxes and areas within what that costs; exact values are checked
//! by hand in `outline_svg`.

#![allow(clippy::unwrap_used)]

use rand_pcg::Pcg64;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::fmt::Write;
use std::path::Path;
use usvg::tiny_skia_path::PathSegment;
use warpwise::geometry::{Point, point, ring_area, ring_bounds};
use warpwise::outline::{ReadOptions, read_bytes};

struct Dice(Pcg64);

impl Dice {
    fn below(&mut self, n: u32) -> u32 {
        self.0.next_u32() % n
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * f64::from(self.0.next_u32()) / f64::from(u32::MAX)
    }
}

fn transform(dice: &mut Dice) -> String {
    let mut out = String::new();
    for _ in 0..dice.below(3) {
        let (a, b) = (dice.between(-40.0, 40.0), dice.between(-40.0, 40.0));
        let _ = match dice.below(6) {
            0 => write!(out, "translate({a:.3} {b:.3})"),
            1 => write!(out, "rotate({:.3})", a * 4.0),
            2 => write!(out, "rotate({:.3},{a:.3},{b:.3}) ", b * 4.0),
            3 => write!(out, "scale({:.3} {:.3})", dice.between(0.5, 2.0), -dice.between(0.5, 2.0)),
            4 => write!(out, "skewX({:.3})", a / 2.0),
            _ => write!(
                out,
                "matrix({:.3} {:.3} {:.3} 1 {a:.3} {b:.3})",
                dice.between(0.5, 2.0),
                a / 100.0,
                b / 100.0
            ),
        };
    }
    out
}

fn shape(dice: &mut Dice) -> String {
    let v: Vec<f64> = (0..8).map(|_| dice.between(5.0, 60.0)).collect();
    let flag = |d: &mut Dice| d.below(2);
    match dice.below(8) {
        0 => format!(
            r#"<rect x="{:.3}" y="{:.3}" width="{:.3}" height="{:.3}"/>"#,
            v[0], v[1], v[2], v[3]
        ),
        1 => format!(r#"<rect width="{:.3}" height="{:.3}" rx="{:.3}"/>"#, v[2], v[3], v[4] / 4.0),
        2 => format!(r#"<circle cx="{:.3}" cy="{:.3}" r="{:.3}"/>"#, v[0], v[1], v[2]),
        3 => format!(r#"<ellipse cx="{:.3}" rx="{:.3}" ry="{:.3}"/>"#, v[0], v[1], v[2]),
        4 => format!(
            r#"<polygon points="{:.3},{:.3} {:.3},0 0,{:.3}"/>"#,
            v[0],
            v[1],
            v[2] + 60.0,
            v[3] + 60.0
        ),
        5 => format!(
            r#"<path d="m{:.3} {:.3} h{:.3} q{:.3} {:.3} 0 {:.3} t-3 {:.3} H{:.3} z"/>"#,
            v[0],
            v[1],
            v[2],
            v[3] / 2.0,
            v[4],
            v[4] * 2.0,
            v[5],
            v[0]
        ),
        6 => format!(
            r#"<path d="M{:.3} {:.3} C{:.3} -30 {:.3} -40 {:.3} 0 s40 50 -10 {:.3} Z"/>"#,
            -v[0],
            v[1],
            v[2],
            v[3] + 60.0,
            v[4] + 100.0,
            v[5] + 70.0
        ),
        _ => format!(
            r#"<path d="M0 0 a{:.3} {:.3} {:.3} {} {} {:.3} {:.3} z"/>"#,
            v[0],
            v[1],
            v[2] * 3.0,
            flag(dice),
            flag(dice),
            v[4],
            v[5]
        ),
    }
}

/// The rings that `usvg` sees, in mm, y up, finely flattened here on their own.
fn oracle(svg: &str, page_mm: f64) -> Vec<Vec<Point>> {
    fn walk(group: &usvg::Group, page_mm: f64, out: &mut Vec<Vec<Point>>) {
        for node in group.children() {
            match node {
                usvg::Node::Group(g) => walk(g, page_mm, out),
                usvg::Node::Path(p) => {
                    let t = p.abs_transform();
                    let data = p.data().clone().transform(t).unwrap();
                    let mm = |x: f64, y: f64| point(x * 25.4 / 96.0, page_mm - y * 25.4 / 96.0);
                    let (mut ring, mut at) = (Vec::new(), (0.0, 0.0));
                    for s in data.segments() {
                        let f = |p: usvg::tiny_skia_path::Point| (f64::from(p.x), f64::from(p.y));
                        match s {
                            PathSegment::MoveTo(p) | PathSegment::LineTo(p) => {
                                at = f(p);
                                ring.push(mm(at.0, at.1));
                            }
                            PathSegment::QuadTo(c, p) => {
                                let (c, p) = (f(c), f(p));
                                for i in 1..=64 {
                                    let t = f64::from(i) / 64.0;
                                    let b = |a: f64, c: f64, p: f64| {
                                        a * (1.0 - t) * (1.0 - t)
                                            + c * 2.0 * t * (1.0 - t)
                                            + p * t * t
                                    };
                                    ring.push(mm(b(at.0, c.0, p.0), b(at.1, c.1, p.1)));
                                }
                                at = p;
                            }
                            PathSegment::CubicTo(c, d, p) => {
                                let (c, d, p) = (f(c), f(d), f(p));
                                for i in 1..=64 {
                                    let t = f64::from(i) / 64.0;
                                    let s = 1.0 - t;
                                    let b = |a: f64, c: f64, d: f64, p: f64| {
                                        a * s * s * s
                                            + c * 3.0 * s * s * t
                                            + d * 3.0 * s * t * t
                                            + p * t * t * t
                                    };
                                    ring.push(mm(b(at.0, c.0, d.0, p.0), b(at.1, c.1, d.1, p.1)));
                                }
                                at = p;
                            }
                            PathSegment::Close => out.push(std::mem::take(&mut ring)),
                        }
                    }
                }
                _ => {}
            }
        }
    }
    let tree = usvg::Tree::from_str(svg, &usvg::Options::default()).unwrap();
    let mut out = Vec::new();
    walk(tree.root(), page_mm, &mut out);
    out
}

#[test]
fn a_general_reader_sees_the_same_shapes() {
    let mut dice = Dice(Pcg64::seed_from_u64(41));
    let options = ReadOptions { chord_tolerance: 0.001, ..ReadOptions::default() };
    let mut compared = 0;
    for _ in 0..400 {
        let (body, outer, inner) = (shape(&mut dice), transform(&mut dice), transform(&mut dice));
        let view = format!(
            "{:.2} {:.2} {:.2} {:.2}",
            dice.between(-50.0, 50.0),
            dice.between(-50.0, 50.0),
            dice.between(100.0, 500.0),
            dice.between(100.0, 500.0)
        );
        let aspect =
            ["xMidYMid", "xMinYMax slice", "none", "xMaxYMin meet"][dice.below(4) as usize];
        let content = match dice.below(3) {
            0 => format!(r#"<g transform="{outer}"><g transform="{inner}">{body}</g></g>"#),
            1 => format!(
                r##"<defs><g id="d" transform="{inner}">{body}</g></defs><use href="#d" x="3" y="-7" transform="{outer}"/>"##
            ),
            _ => format!(
                r##"<symbol id="s" viewBox="0 0 90 70">{body}</symbol><g transform="{outer}"><use href="#s" width="180" height="100" transform="{inner}"/></g>"##
            ),
        };
        let svg = format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="200mm" height="150mm" viewBox="{view}" preserveAspectRatio="{aspect}">{content}</svg>"#
        );
        // Shapes that cross themselves after all are not what this compares.
        let Ok(reading) = read_bytes(Path::new("a.svg"), svg.as_bytes(), &options) else {
            continue;
        };
        let ours = reading.outlines[0].net();
        let theirs = oracle(&svg, 150.0);
        assert_eq!(theirs.len(), 1, "{svg}");
        let (a, b) = (ring_bounds(ours).unwrap(), ring_bounds(&theirs[0]).unwrap());
        let off = a.min.distance(b.min).max(a.max.distance(b.max));
        // Arcs and ellipses of the other reader leave their true curve by up to a ten-thousandth of
        // their size.
        let slack = 0.01 + 1e-4 * a.min.distance(a.max);
        assert!(off < slack, "{off} of {slack}:\n{svg}");
        let areas = (ring_area(ours), ring_area(&theirs[0]).abs());
        assert!((areas.0 - areas.1).abs() < 5e-4 * areas.0 + 0.05, "{areas:?}:\n{svg}");
        compared += 1;
    }
    assert!(compared > 300, "{compared}");
}
