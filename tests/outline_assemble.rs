//! Lines become outlines: joining, nesting, roles, edge kinds, and the account of every line.

#![allow(clippy::unwrap_used)]

use warpwise::fault::{Faults, Place};
use warpwise::geometry::{Point, point, ring_area};
use warpwise::outline::{Drawing, DrawnLine, EdgeKind, ReadOptions, Reading, Role, assemble};

fn points(pts: &[(f64, f64)]) -> Vec<Point> {
    pts.iter().map(|&(x, y)| point(x, y)).collect()
}

fn line(label: &str, names: &[&str], closed: bool, pts: &[(f64, f64)]) -> DrawnLine {
    let names = names.iter().map(ToString::to_string).collect();
    DrawnLine { points: points(pts), closed, names, role: None, label: label.into() }
}

fn open(label: &str, names: &[&str], pts: &[(f64, f64)]) -> DrawnLine {
    line(label, names, false, pts)
}

fn square(label: &str, names: &[&str], x: f64, y: f64, size: f64) -> DrawnLine {
    line(label, names, true, &[(x, y), (x + size, y), (x + size, y + size), (x, y + size)])
}

fn read(lines: Vec<DrawnLine>) -> Result<Reading, Faults> {
    read_with(lines, &ReadOptions::default())
}

fn read_with(lines: Vec<DrawnLine>, options: &ReadOptions) -> Result<Reading, Faults> {
    let count = lines.len();
    let result =
        assemble(Drawing { lines, used: count, present: count, ..Drawing::default() }, options);
    if let Ok(r) = &result {
        assert_eq!(r.used + r.not_used.len(), r.present);
    }
    result
}

fn good(lines: Vec<DrawnLine>) -> Reading {
    read(lines).unwrap_or_else(|f| panic!("{f}"))
}

fn fault_at(lines: Vec<DrawnLine>, what: &str, x: f64, y: f64) {
    let faults = read(lines).unwrap_err();
    let hit = faults
        .0
        .iter()
        .any(|f| f.what.contains(what) && matches!(&f.place, Place::At { x: a, y: b, .. } if point(*a, *b).distance(point(x, y)) < 0.01));
    assert!(hit, "no \"{what}\" at ({x}, {y}):\n{faults}");
    assert!(faults.0.iter().all(|f| !f.remedy.is_empty()), "{faults}");
}

// --- joining
// ----------------------------------------------------------------------------------------------------------

#[test]
fn ends_within_the_tolerance_are_joined_and_reported() {
    let r = good(vec![
        open("a", &["hatch"], &[(0.0, 0.0), (100.0, 0.0), (100.0, 50.0)]),
        open("b", &["hatch"], &[(0.0, 0.0), (0.0, 50.0), (99.94, 50.0)]),
    ]);
    assert_eq!((r.outlines.len(), r.used), (1, 2));
    assert_eq!(r.warnings.len(), 1);
    assert!(r.warnings[0].what.contains("0.060 mm"), "{}", r.warnings[0]);
    assert!(
        matches!(r.warnings[0].place, Place::At { x, y, .. } if (x - 99.97).abs() < 1e-9 && y == 50.0)
    );
    assert!(r.outlines[0].net().contains(&point(99.97, 50.0)));
    assert_eq!(r.outlines[0].name(), "hatch");
}

#[test]
fn an_outline_left_open_is_a_fault_with_both_ends() {
    let lines = vec![open("a", &[], &[(0.0, 0.0), (100.0, 0.0), (100.0, 50.0), (0.0, 3.0)])];
    fault_at(lines.clone(), "an outline is open: its ends are 3.00 mm apart", 0.0, 0.0);
    let wide = ReadOptions { join_tolerance: 5.0, ..ReadOptions::default() };
    assert_eq!(read_with(lines, &wide).unwrap().warnings.len(), 1);
}

#[test]
fn a_junction_of_three_is_a_fault() {
    let lines = vec![
        open("a", &[], &[(0.0, 0.0), (100.0, 0.0)]),
        open("b", &[], &[(100.0, 0.0), (100.0, 100.0), (0.0, 0.0)]),
        open("c", &[], &[(100.0, 0.0), (150.0, 0.0)]),
    ];
    fault_at(lines, "three or more line ends", 100.0, 0.0);
}

#[test]
fn a_side_drawn_twice_is_used_once() {
    let r = good(vec![
        open("a", &[], &[(0.0, 0.0), (100.0, 0.0)]),
        open("a again", &[], &[(100.0, 0.0), (0.0, 0.0)]),
        open("b", &[], &[(100.0, 0.0), (100.0, 100.0), (0.0, 0.0)]),
    ]);
    assert_eq!((r.used, r.not_used.len(), r.warnings.len()), (2, 1, 1));
    assert!(r.not_used[0].why.contains("the same as a"), "{:?}", r.not_used);
}

// --- nesting
// ----------------------------------------------------------------------------------------------------------

#[test]
fn nets_and_holes_by_nesting() {
    let r = good(vec![
        square("hole 1", &[], 10.0, 10.0, 20.0),
        square("net", &[], 0.0, 0.0, 100.0),
        square("hole 2", &["holes"], 50.0, 10.0, 20.0),
        square("other", &[], 200.0, 0.0, 50.0),
    ]);
    assert_eq!(r.outlines.len(), 2);
    assert_eq!(r.outlines[0].holes().len(), 2);
    let area = ring_area(r.outlines[0].net())
        + r.outlines[0].holes().iter().map(|h| ring_area(h)).sum::<f64>();
    assert_eq!(area, 10_000.0 - 800.0);
}

#[test]
fn wrong_nesting_is_named() {
    let net = || square("net", &[], 0.0, 0.0, 100.0);
    fault_at(
        vec![net(), square("h", &[], 10.0, 10.0, 50.0), square("island", &[], 20.0, 20.0, 10.0)],
        "inside both net and h",
        20.0,
        20.0,
    );
    fault_at(
        vec![net(), square("h", &["holes"], 200.0, 10.0, 50.0)],
        "a hole but lies in no outline",
        200.0,
        10.0,
    );
    fault_at(
        vec![net(), square("n", &["hatch-outline"], 20.0, 20.0, 50.0)],
        "named as a net line, and it lies inside net",
        20.0,
        20.0,
    );
    fault_at(vec![net(), square("h", &[], 90.0, 10.0, 50.0)], "crosses net", 100.0, 10.0);
    fault_at(vec![net(), square("h", &[], 80.0, 10.0, 20.0)], "touches net", 100.0, 10.0);
}

#[test]
fn a_line_in_a_hole_makes_one_wonder_whether_it_is_one() {
    let r = good(vec![
        square("page frame", &[], 0.0, 0.0, 200.0),
        square("seat", &[], 10.0, 10.0, 100.0),
        open("a", &["arrow"], &[(20.0, 20.0), (60.0, 20.0)]),
    ]);
    assert!(
        r.warnings[0].what.contains("lies in seat, which is a hole of page frame"),
        "{}",
        r.warnings[0]
    );
}

#[test]
fn duplicates_are_named_even_if_drawn_another_way() {
    let net = || square("net", &[], 0.0, 0.0, 100.0);
    fault_at(vec![net(), square("copy", &[], 0.0, 0.0, 100.0)], "duplicate of net", 0.0, 0.0);
    let other_way = line(
        "copy",
        &[],
        true,
        &[(100.0, 100.0), (100.05, 0.0), (50.0, 0.0), (0.0, 0.0), (0.0, 100.0)],
    );
    fault_at(vec![net(), other_way], "duplicate of net", 100.0, 100.0);
}

#[test]
fn outlines_side_by_side_may_share_an_edge() {
    let r = good(vec![
        square("a", &[], 0.0, 0.0, 100.0),
        square("b", &[], 100.0, 0.0, 100.0),
        square("c", &[], 200.0, 100.0, 50.0),
    ]);
    assert_eq!(r.outlines.len(), 3);
}

#[test]
fn bad_rings_are_all_named_at_once() {
    let faults = read(vec![
        line("bow", &[], true, &[(0.0, 0.0), (10.0, 10.0), (10.0, 0.0), (0.0, 10.0)]),
        line("flat", &[], true, &[(50.0, 0.0), (60.0, 0.0)]),
        line("nan", &[], true, &[(f64::NAN, 0.0), (60.0, 0.0), (60.0, 9.0)]),
        open("open", &[], &[(100.0, 0.0), (200.0, 0.0), (200.0, 90.0), (100.0, 2.0)]),
    ])
    .unwrap_err();
    for what in ["crosses itself", "no area", "not a number", "is open"] {
        assert!(faults.0.iter().any(|f| f.what.contains(what)), "no {what}:\n{faults}");
    }
    assert_eq!(faults.0.len(), 4, "{faults}");
}

// --- roles
// ------------------------------------------------------------------------------------------------------------

#[test]
fn each_outline_takes_the_lines_in_it() {
    let r = good(vec![
        square("left", &["hip left"], 0.0, 0.0, 100.0),
        square("right", &["hip right"], 200.0, 0.0, 100.0),
        open("c1", &["cuts"], &[(0.0, 50.0), (30.0, 50.0)]),
        open("c2", &["cuts"], &[(250.0, 101.0), (250.0, 70.0)]),
        open("a1", &["arrow"], &[(20.0, 20.0), (60.0, 20.0)]),
        open("a2", &["arrow"], &[(280.0, 20.0), (220.0, 20.0)]),
        open("lost", &["marks"], &[(150.0, 20.0), (160.0, 20.0)]),
    ]);
    assert_eq!((r.used, r.not_used.len()), (6, 1));
    assert_eq!(
        (r.not_used[0].label.as_str(), r.not_used[0].why.as_str()),
        ("lost", "lies in no outline")
    );
    let [left, right] = &r.outlines[..] else { panic!() };
    assert_eq!((left.name(), left.cuts().len(), right.cuts().len()), ("hip left", 1, 1));
    assert_eq!(right.arrow(), Some([point(280.0, 20.0), point(220.0, 20.0)]));
}

#[test]
fn an_arrow_beside_a_lone_outline_is_taken_with_a_warning() {
    let r = good(vec![
        square("net", &[], 0.0, 0.0, 100.0),
        open("a", &["arrow"], &[(0.0, 120.0), (100.0, 120.0)]),
    ]);
    assert!(r.outlines[0].arrow().is_some());
    assert_eq!(r.warnings.len(), 1);
    let two = good(vec![
        square("net", &[], 0.0, 0.0, 100.0),
        square("other", &[], 200.0, 0.0, 100.0),
        open("a", &["arrow"], &[(0.0, 120.0), (100.0, 120.0)]),
    ]);
    assert_eq!((two.used, two.not_used.len()), (2, 1));
}

#[test]
fn two_arrows_are_a_fault() {
    fault_at(
        vec![
            square("net", &[], 0.0, 0.0, 100.0),
            open("a", &["arrow"], &[(10.0, 20.0), (60.0, 20.0)]),
            open("b", &["arrow"], &[(10.0, 40.0), (60.0, 40.0)]),
        ],
        "more than one arrow",
        10.0,
        20.0,
    );
}

#[test]
fn a_role_given_by_the_format_wins_over_names() {
    let mut cut = open("c", &["marks"], &[(10.0, 20.0), (60.0, 20.0)]);
    cut.role = Some(Role::Cut);
    let r = good(vec![square("net", &["0"], 0.0, 0.0, 100.0), cut]);
    assert_eq!((r.outlines[0].cuts().len(), r.outlines[0].marks().len()), (1, 0));
}

#[test]
fn an_open_line_on_no_layer_is_not_used_in_silence() {
    let r = good(vec![
        square("net", &[], 0.0, 0.0, 100.0),
        open("stray", &["layer1"], &[(10.0, 20.0), (60.0, 20.0)]),
    ]);
    assert_eq!((r.used, r.not_used[0].label.as_str()), (1, "stray"));
    assert!(r.not_used[0].why.contains("on no layer that says what it is for"));
}

#[test]
fn no_splice_zones_close() {
    let net = || square("net", &[], 0.0, 0.0, 100.0);
    let r = good(vec![
        net(),
        open("z1", &["no-splice"], &[(10.0, 10.0), (30.0, 10.0), (30.0, 30.0)]),
        open("z2", &["no-splice"], &[(30.0, 30.0), (10.0, 10.0)]),
    ]);
    assert_eq!(r.outlines[0].no_splice().len(), 1);
    fault_at(
        vec![net(), open("z", &["no-splice"], &[(10.0, 10.0), (30.0, 10.0), (30.0, 30.0)])],
        "zone that is not closed",
        10.0,
        10.0,
    );
}

#[test]
fn nothing_to_be_found_is_said_with_the_names_there_are() {
    let faults = read(vec![square("net", &["seat", "cuts"], 0.0, 0.0, 100.0)]).unwrap_err();
    assert!(
        faults.0[0].what.contains("no closed outline") && faults.0[0].remedy.contains("\"cuts\""),
        "{faults}"
    );
    fault_at(
        vec![
            open("short", &[], &[(0.0, 0.0), (9.0, 0.0)]),
            open("u", &[], &[(50.0, 50.0), (50.0, 0.0), (90.0, 0.0), (90.0, 50.0)]),
        ],
        "the longest line is open by 40.00 mm, from here to (90.00, 50.00)",
        50.0,
        50.0,
    );
    assert!(read(vec![]).unwrap_err().0[0].remedy.contains("none at all"));
}

// --- edge kinds
// -------------------------------------------------------------------------------------------------------

fn kind_at(r: &Reading, x: f64, y: f64) -> Option<EdgeKind> {
    let o = &r.outlines[0];
    let near =
        |i: usize| point(x, y).distance_to_segment(o.net()[i], o.net()[(i + 1) % o.net().len()]);
    let i = (0..o.net().len()).min_by(|&a, &b| near(a).total_cmp(&near(b))).unwrap();
    assert!(near(i) < 0.1);
    o.edges()[i]
}

#[test]
fn an_outline_drawn_in_pieces_by_kind() {
    let r = good(vec![
        open("t1", &["hatch", "trim"], &[(0.0, 0.0), (100.0, 0.0)]),
        open("l1", &["hatch", "lap"], &[(100.0, 100.0), (100.0, 0.0)]),
        open("plain", &["hatch"], &[(100.0, 100.0), (0.0, 100.0)]),
        open("b1", &["hatch", "butt"], &[(0.0, 0.0), (0.0, 100.0)]),
    ]);
    assert_eq!((r.outlines.len(), r.used, r.outlines[0].net().len()), (1, 4, 4));
    assert_eq!(r.outlines[0].name(), "hatch");
    assert_eq!(kind_at(&r, 50.0, 0.0), Some(EdgeKind::Trim));
    assert_eq!(kind_at(&r, 100.0, 50.0), Some(EdgeKind::Lap));
    assert_eq!(kind_at(&r, 50.0, 100.0), None);
    assert_eq!(kind_at(&r, 0.0, 50.0), Some(EdgeKind::Butt));
}

#[test]
fn pieces_of_one_outline_and_lines_along_another() {
    let r = good(vec![
        square("plain", &[], 0.0, 0.0, 100.0),
        open("along", &["lap"], &[(20.0, 0.0), (70.0, 0.0)]),
        open("p1", &["trim"], &[(200.0, 0.0), (300.0, 0.0), (300.0, 100.0)]),
        open("p2", &["butt"], &[(300.0, 100.0), (200.0, 0.0)]),
    ]);
    assert_eq!((r.outlines.len(), r.used), (2, 4));
    assert_eq!(kind_at(&r, 40.0, 0.0), Some(EdgeKind::Lap));
    assert_eq!(kind_at(&r, 10.0, 0.0), None);
    assert_eq!(kind_at(&r, 90.0, 0.0), None);
    assert_eq!(
        r.outlines[1].edges(),
        [Some(EdgeKind::Trim), Some(EdgeKind::Trim), Some(EdgeKind::Butt)]
    );
}

#[test]
fn a_closed_net_on_a_kind_layer_has_that_kind_all_round() {
    let r = good(vec![square("net", &["trim"], 0.0, 0.0, 100.0)]);
    assert_eq!(r.outlines[0].edges(), [Some(EdgeKind::Trim); 4]);
}

#[test]
fn a_kind_that_runs_along_nothing_or_clashes_is_a_fault() {
    let net = || square("net", &[], 0.0, 0.0, 100.0);
    fault_at(
        vec![net(), open("l", &["lap"], &[(0.0, 2.0), (100.0, 2.0)])],
        "departs from the nearest outline by 2.00 mm",
        25.0,
        2.0,
    );
    fault_at(
        vec![
            net(),
            open("l", &["lap"], &[(0.0, 0.0), (100.0, 0.0)]),
            open("b", &["butt"], &[(0.0, 0.0), (100.0, 0.0)]),
        ],
        "names an edge butt that another line names lap",
        50.0,
        0.0,
    );
}

// --- the account
// ------------------------------------------------------------------------------------------------------

#[test]
fn an_entity_of_several_lines_is_used_if_one_of_them_is() {
    let r = assemble(
        Drawing {
            lines: vec![
                square("path", &[], 0.0, 0.0, 100.0),
                open("path", &[], &[(10.0, 10.0), (20.0, 10.0)]),
            ],
            used: 1,
            present: 1,
            ..Drawing::default()
        },
        &ReadOptions::default(),
    )
    .unwrap();
    assert_eq!((r.used, r.not_used.len()), (1, 0));
    assert!(
        r.warnings[0].what.contains("1 line was not used: it is an open line in an outline"),
        "{}",
        r.warnings[0]
    );
}

#[test]
fn random_lines_never_panic_and_always_add_up() {
    let mut state = 99_u64;
    let mut dice = move |n: u64| {
        state =
            state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 33) % n
    };
    // On a coarse grid lines meet, overlap and close often.
    const NAMES: [&str; 10] = ["", "", "", "", "arrow", "cut", "lap", "butt", "no-splice", "hole"];
    let mut good = 0;
    for _ in 0..4000 {
        let size = 2 + dice(7);
        let lines: Vec<DrawnLine> = (0..1 + dice(7))
            .map(|i| {
                let pts: Vec<Point> = (0..dice(6))
                    .map(|_| match dice(200) {
                        0 => point(f64::NAN, 1.0),
                        1 => point(1e300, -1e300),
                        _ => point(
                            dice(size) as f64 * 25.0,
                            dice(size) as f64 * 25.0 + if dice(9) == 0 { 0.07 } else { 0.0 },
                        ),
                    })
                    .collect();
                let name = NAMES[dice(10) as usize];
                DrawnLine {
                    points: pts,
                    closed: dice(2) == 0,
                    names: vec![name.into()],
                    role: None,
                    label: format!("l{}", i / 2),
                }
            })
            .collect();
        let entities =
            lines.iter().map(|l| &l.label).collect::<std::collections::BTreeSet<_>>().len();
        let count = lines.len();
        let drawing = Drawing { lines, used: entities, present: entities, ..Drawing::default() };
        match assemble(drawing, &ReadOptions::default()) {
            Ok(r) => {
                good += 1;
                assert_eq!(r.used + r.not_used.len(), r.present);
                assert_eq!(r.account.len(), count, "each line is in the account once");
                assert!(!r.outlines.is_empty());
            }
            Err(faults) => assert!(!faults.is_empty()),
        }
    }
    assert!(good > 150, "{good}");
}

#[test]
fn a_layer_that_is_not_there_lists_at_most_twelve() {
    let lines = (0..40)
        .map(|i| {
            square(
                &format!("s{i}"),
                &[&format!("plate {}", (b'a' + i as u8 % 26) as char)],
                f64::from(i) * 20.0,
                0.0,
                10.0,
            )
        })
        .collect();
    let faults =
        read_with(lines, &ReadOptions { layer: Some("seat".into()), ..ReadOptions::default() })
            .unwrap_err();
    assert!(faults.0[0].remedy.ends_with("and 14 more"), "{faults}");
}

#[test]
fn a_thousand_outlines_are_sorted_in_passing() {
    let mut lines = Vec::new();
    for i in 0..1000 {
        let (x, y) = (f64::from(i % 40) * 200.0, f64::from(i / 40) * 200.0);
        lines.push(square(&format!("n{i}"), &[], x, y, 100.0));
        lines.push(square(&format!("h{i}"), &[], x + 10.0, y + 10.0, 20.0));
        lines.push(open(
            &format!("a{i}"),
            &["arrow"],
            &[(x + 50.0, y + 50.0), (x + 80.0, y + 50.0)],
        ));
        lines.push(open(&format!("l{i}"), &["lap"], &[(x, y), (x + 100.0, y)]));
    }
    let r = good(lines);
    assert_eq!((r.outlines.len(), r.used), (1000, 4000));
    assert!(r.outlines.iter().all(|o| o.holes().len() == 1
        && o.arrow().is_some()
        && o.edges()[0] == Some(EdgeKind::Lap)));
}
