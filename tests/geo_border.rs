//! Polygons of `geo-types` come in as regions and outlines, and go out again.
#![allow(clippy::unwrap_used)]

use geo::Area;
use geo_types::{LineString, Polygon, polygon};
use warpwise::fault::{Faults, Place};
use warpwise::geometry::{Region, point, ring_area};
use warpwise::outline::{Draft, Outline};
use warpwise::units::snap;

/// A plate of 400 by 300 mm with a round hole of 50 mm, both rings the wrong way round.
fn plate() -> Polygon<f64> {
    let mut hole: Vec<(f64, f64)> = (0..90)
        .map(|i| f64::from(i) / 90.0 * std::f64::consts::TAU)
        .map(|turn| (200.0 + 25.0 * turn.cos(), 150.0 + 25.0 * turn.sin()))
        .collect();
    hole.push(hole[0]);
    Polygon::new(
        LineString::from(vec![(0.0, 0.0), (0.0, 300.0), (400.0, 300.0), (400.0, 0.0)]),
        vec![LineString::from(hole)],
    )
}

fn faults_of(polygon: &Polygon<f64>) -> Faults {
    let faults = Region::try_from(polygon).unwrap_err();
    assert!(faults.0.iter().all(|f| !f.remedy.is_empty()), "{faults}");
    faults
}

#[test]
fn a_polygon_becomes_a_region_on_the_grid_that_runs_the_right_way() {
    let plate = plate();
    let region = Region::try_from(&plate).unwrap();
    assert_eq!(region.outline.len(), 4, "the first point is not repeated");
    assert_eq!(region.outline[0], point(0.0, 0.0), "it begins where it began");
    assert!(ring_area(&region.outline) > 0.0);
    assert_eq!((region.holes.len(), region.holes[0].len()), (1, 90));
    assert!(ring_area(&region.holes[0]) < 0.0);
    assert!(region.rings().flatten().all(|p| p.x == snap(p.x) && p.y == snap(p.y)));
    // The judge counts the area of the polygon as it came.
    assert!((region.area() / plate.unsigned_area() - 1.0).abs() < 1e-6);
}

#[test]
fn what_goes_out_comes_in_as_it_was() {
    let region = Region::try_from(&plate()).unwrap();
    let out = Polygon::from(&region);
    assert!(out.exterior().is_closed() && out.interiors()[0].is_closed());
    assert!((out.signed_area() / region.area() - 1.0).abs() < 1e-12);
    assert_eq!(Region::try_from(&out).unwrap(), region);
}

#[test]
fn repeated_points_are_left_out_once_they_are_on_the_grid() {
    let corner = polygon![
        (x: 0.0, y: 0.0), (x: 10.0, y: 0.0), (x: 10.0002, y: 0.0001), (x: 10.0, y: 10.0),
        (x: 0.0001, y: -0.0001),
    ];
    let region = Region::try_from(&corner).unwrap();
    assert_eq!(region.outline, [point(0.0, 0.0), point(10.0, 0.0), point(10.0, 10.0)]);
}

#[test]
fn what_is_no_number_or_too_far_out_is_refused() {
    for x in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        let faults = faults_of(&polygon![(x: 0.0, y: 0.0), (x: 10.0, y: x), (x: 10.0, y: 10.0)]);
        assert_eq!(faults.0[0].what, "point 2 of the polygon is not a number");
    }
    // A million kilometres.
    let far = polygon![(x: 0.0, y: 0.0), (x: 1e12, y: 0.0), (x: 1e12, y: 1e12)];
    let faults = faults_of(&far);
    assert!(faults.0[0].what.contains("1000000000 m from the origin"), "{faults}");
    assert!(matches!(faults.0[0].place, Place::At { x: 1e12, y: 0.0, .. }), "{faults}");
    let farther = polygon![(x: 0.0, y: 0.0), (x: f64::MAX, y: 0.0), (x: 0.0, y: f64::MIN)];
    assert_eq!(faults_of(&farther).0.len(), 1);
}

#[test]
fn every_ring_without_area_is_refused_at_once() {
    let line = |points: &[(f64, f64)]| LineString::from(points.to_vec());
    let nothing = Polygon::new(
        line(&[]),
        vec![
            line(&[(1.0, 2.0)]),
            line(&[(3.0, 4.0), (5.0, 6.0)]),
            // On a slope whose steps no binary number holds.
            line(&[(0.1, 0.3), (70_000.1, 80_000.3), (0.8, 1.1), (7.1, 8.3)]),
            line(&[(0.0, 0.0), (0.0001, 0.0), (0.0001, 0.0001)]),
        ],
    );
    let faults = faults_of(&nothing);
    assert!(faults.0.iter().all(|f| f.what == "encloses no area"), "{faults}");
    let places: Vec<Place> = faults.0.iter().map(|f| f.place.clone()).collect();
    let at = |what: &str, x, y| Place::At { what: what.into(), x, y };
    let expected =
        [Place::Named("the polygon".into()), at("hole 1", 1.0, 2.0), at("hole 2", 3.0, 4.0)];
    assert_eq!(places[..3], expected);
    assert_eq!(*places.last().unwrap(), at("hole 4", 0.0, 0.0));
}

#[test]
fn a_thin_ring_far_out_runs_the_right_way() {
    let thin = polygon![
        (x: 99_999.0, y: 99_999.0), (x: 99_999.001, y: 99_999.0), (x: 99_999.0, y: 99_999.001),
    ];
    let region = Region::try_from(&thin).unwrap();
    assert_eq!(region.outline[1], point(99_999.001, 99_999.0));
}

#[test]
fn a_polygon_becomes_an_outline_by_the_checks_of_every_outline() {
    let plate = plate();
    let draft = Draft { name: "plate".into(), ..Draft::from(&plate) };
    let outline = Outline::new(draft).unwrap();
    assert_eq!((outline.name(), outline.net().len(), outline.holes().len()), ("plate", 4, 1));
    let out = Polygon::from(&outline);
    assert!((out.signed_area() / plate.unsigned_area() - 1.0).abs() < 1e-6);
    let again = Outline::new(Draft { name: "plate".into(), ..Draft::from(&out) }).unwrap();
    assert_eq!(again, outline);

    let crossed =
        polygon![(x: 0.0, y: 0.0), (x: 100.0, y: 100.0), (x: 100.0, y: 0.0), (x: 0.0, y: 100.0)];
    let faults = Outline::new(Draft::from(&crossed)).unwrap_err();
    assert!(faults.0[0].what.contains("crosses itself"), "{faults}");
    let far = polygon![(x: 0.0, y: 0.0), (x: 1e12, y: 0.0), (x: 1e12, y: f64::NAN)];
    assert!(Outline::new(Draft::from(&far)).is_err());
}
