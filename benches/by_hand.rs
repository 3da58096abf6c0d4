//! How long a move by hand takes to be judged: pieces of 200 corners, each like no other, lie in
//! rows, and one after the other is dragged onto others.
//!
//! `cargo bench --bench by_hand`: for 100 and 1,000 pieces the time until the judge stands, of the
//! first look at each piece, and of a second one a little further on; and until the nearest free
//! place is known where a piece rests.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

use std::time::{Duration, Instant};
use warpwise::geometry::{Region, Ring, point};
use warpwise::nest::{Extent, Judge, Placement, Pose, Shape, Stock};

const DRAGS: usize = 60;
const ROWS: usize = 12;

fn outline(k: usize) -> Ring {
    let at = |i: usize| {
        let a = i as f64 / 200.0 * std::f64::consts::TAU;
        let r = 50.0 * (1.0 + 0.2 * libm::cos(2.0 * a + k as f64) + 0.05 * libm::sin(5.0 * a));
        point(60.0 + r * libm::cos(a), 50.0 + 0.7 * r * libm::sin(a)).snapped()
    };
    (0..200).map(at).collect()
}

/// The middle and the longest of several times, in ms.
fn said(mut times: Vec<Duration>) -> String {
    times.sort();
    let ms = |t: Duration| t.as_secs_f64() * 1000.0;
    format!("{:.1} ms, at most {:.1} ms", ms(times[times.len() / 2]), ms(times[times.len() - 1]))
}

fn main() {
    for count in [100, 1000] {
        let shapes: Vec<Shape> = (0..count)
            .map(|k| Shape {
                name: format!("piece {k}"),
                region: Region::solid(outline(k)),
                poses: vec![Pose { turn: 0.0, flip: false }],
                tolerance: 0.0,
                copies: 1,
                may_cross: false,
            })
            .collect();
        let extent = Extent::Open { low: 10.0, high: 1240.0, segment_max: None, length_max: None };
        let roll = Stock { name: "roll".into(), extent, keep_out: Vec::new() };
        let at = |k: usize, dx: f64, dy: f64| Placement {
            shape: k,
            copy: 0,
            stock: 0,
            turn: 0.0,
            flip: false,
            x: 125.0 * (k / ROWS) as f64 + dx,
            y: 10.0 + 100.0 * (k % ROWS) as f64 + dy,
        };
        let begun = Instant::now();
        let mut judge = Judge::new(&shapes, &[roll], 5.0);
        (0..count).for_each(|k| judge.put(&at(k, 0.0, 0.0)));
        println!("{count} pieces: on the table in {:.1} ms", begun.elapsed().as_secs_f64() * 1e3);
        let (mut first, mut second, mut nearest) = (Vec::new(), Vec::new(), Vec::new());
        for drag in 0..DRAGS {
            let k = drag * count / DRAGS;
            // Over the middle of a group of four, some columns away.
            let onto = (k + 5 * ROWS) % count;
            let (there, mine) = (at(onto, 60.0, 45.0), at(k, 0.0, 0.0));
            let held = |by: f64| Placement { x: there.x + by, y: there.y, ..mine.clone() };
            for (times, by) in [(&mut first, 0.0), (&mut second, 2.5)] {
                let begun = Instant::now();
                let verdict = judge.judge(&held(by)).unwrap();
                times.push(begun.elapsed());
                assert!(!verdict.is_free());
            }
            let begun = Instant::now();
            assert!(judge.nearest(&held(2.5)).is_some());
            nearest.push(begun.elapsed());
        }
        println!("{count} pieces: a first look at a place takes {}", said(first));
        println!("{count} pieces: the next one on the way {}", said(second));
        println!("{count} pieces: the nearest free place where it rests {}", said(nearest));
    }
}
