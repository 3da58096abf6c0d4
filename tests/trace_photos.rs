//! Photos of every kind, drawn here, through the library and the program.
#![allow(clippy::unwrap_used, clippy::panic)]

mod trace_support;

use image::{DynamicImage, GrayImage, ImageFormat, RgbImage};
use std::io::Cursor;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use trace_support::{Camera, PLATE, Scene, plate, save, usual};
use warpwise::fault::Faults;
use warpwise::geometry::{Point, point, ring_area};
use warpwise::outline::{ReadOptions, read_bytes};
use warpwise::trace::{
    self, Answer, Gap, Kind, KnownRectangle, MeasuredLength, NetLine, Options, Template, Tracing,
};

fn options() -> Options {
    Options::of("plate", NetLine::Edge)
}

fn traced(photos: &[GrayImage], options: &Options) -> Result<Tracing, Faults> {
    let colour = |p: &GrayImage| DynamicImage::ImageLuma8(p.clone()).into_rgb8();
    let photos: Vec<(PathBuf, RgbImage)> = photos
        .iter()
        .enumerate()
        .map(|(i, p)| (PathBuf::from(format!("{i}.png")), colour(p)))
        .collect();
    trace::trace(&photos, options)
}

fn above() -> Camera {
    Camera::above(point(0.0, 0.0), 0.4)
}

/// The plate of the scenes, within the bounds that photos are held to: area 0.5 %, arrow 1°.
fn is_plate(t: &Template, area: f64) {
    let off = ring_area(&t.net) / area - 1.0;
    assert!(off.abs() < 0.005, "{}: area {:+.2} % off", t.name, 100.0 * off);
    let [a, b] = t.arrow.unwrap_or_else(|| panic!("{}: no arrow", t.name));
    assert!((a.distance(b) - 120.0).abs() < 3.0, "arrow {:.1} mm", a.distance(b));
}

fn refused(result: Result<Tracing, Faults>, what: &str) {
    let faults = result.map(|t| format!("{:?}", t.warnings)).unwrap_err();
    assert!(faults.0.iter().any(|f| f.what.contains(what) && !f.remedy.is_empty()), "{faults}");
}

#[test]
fn a_plate_comes_out_at_true_size() {
    let tracing = traced(&[usual().photo(above())], &options()).unwrap();
    assert_eq!(tracing.templates.len(), 1);
    is_plate(&tracing.templates[0], PLATE);
    assert_eq!(tracing.templates[0].corners.len(), 5);
}

#[test]
fn a_card_that_the_printer_scaled_is_corrected_by_its_measured_width() {
    let mut scene = usual();
    scene.cards.iter_mut().for_each(|c| c.3 = 0.97);
    let tracing = traced(
        &[scene.photo(above())],
        &Options { card_width: 0.97 * trace::card::WIDTH, ..options() },
    )
    .unwrap();
    is_plate(&tracing.templates[0], PLATE);
}

#[test]
fn two_templates_in_a_photo_are_two_outlines_from_left_to_right() {
    let mut scene = usual();
    scene.shapes.clear();
    scene.strokes.clear();
    for x in [-165.0, 165.0] {
        let (ring, arrow) = plate(point(x, 0.0));
        scene.shapes.push((ring, 205));
        scene.strokes.extend(arrow.into_iter().map(|l| (l, 35)));
    }
    scene.cards = vec![(1, point(-110.0, 190.0), 0.0, 1.0), (2, point(120.0, -190.0), 4.0, 1.0)];
    let tracing = traced(&[scene.photo(Camera::above(point(0.0, 0.0), 0.45))], &options()).unwrap();
    let names: Vec<&str> = tracing.templates.iter().map(|t| t.name.as_str()).collect();
    assert_eq!(names, ["plate-1", "plate-2"]);
    tracing.templates.iter().for_each(|t| is_plate(t, PLATE));
}

#[test]
fn an_inked_net_line_is_followed_along_its_middle() {
    let mut scene = usual();
    let (net, _) = plate(point(0.0, 0.0));
    let mut closed = net.clone();
    closed.push(net[0]);
    scene.shapes = vec![(
        [(-180.0, -125.0), (175.0, -130.0), (180.0, 125.0), (-175.0, 130.0)]
            .map(|(x, y)| point(x, y))
            .to_vec(),
        205,
    )];
    scene.strokes.push((closed, 35));
    scene.cards[0].1.x = -285.0;
    scene.cards[1].1.x = 285.0;
    let photo = scene.photo(Camera::above(point(0.0, 0.0), 0.42));
    let ink =
        traced(std::slice::from_ref(&photo), &Options { net: NetLine::Ink, ..options() }).unwrap();
    is_plate(&ink.templates[0], PLATE);
    // Without a closed line there is nothing to follow.
    refused(
        traced(&[usual().photo(above())], &Options { net: NetLine::Ink, ..options() }),
        "no closed inked line",
    );
}

#[test]
fn two_photos_that_share_cards_are_joined() {
    let long =
        vec![point(-400.0, -90.0), point(400.0, -90.0), point(400.0, 90.0), point(-400.0, 90.0)];
    let (_, arrow) = plate(point(0.0, 0.0));
    let scene = Scene {
        shapes: vec![(long, 205)],
        strokes: arrow.into_iter().map(|l| (l, 35)).collect(),
        cards: vec![
            (1, point(-330.0, 175.0), 0.0, 1.0),
            (2, point(-310.0, -175.0), 3.0, 1.0),
            (3, point(0.0, 175.0), 2.0, 1.0),
            (4, point(10.0, -175.0), 0.0, 1.0),
            (5, point(330.0, 175.0), -3.0, 1.0),
            (6, point(320.0, -175.0), 0.0, 1.0),
        ],
        ground: 60,
    };
    let photos = [-190.0, 190.0].map(|x| scene.photo(Camera::above(point(x, 0.0), 0.4)));
    let tracing = traced(&photos, &options()).unwrap();
    assert_eq!(tracing.figures.cards.len(), 6);
    is_plate(&tracing.templates[0], 800.0 * 180.0);
    let apart = [-330.0, 330.0].map(|x| {
        let cards = scene.cards.iter().filter(|c| (c.1.x - x).abs() < 100.0).copied().collect();
        Scene { cards, ..scene.clone() }.photo(Camera::above(point(x, 0.0), 0.4))
    });
    refused(traced(&apart, &options()), "shares no card");
}

#[test]
fn four_points_and_their_rectangle_take_the_place_of_cards() {
    let mut scene = usual();
    scene.cards.clear();
    // Straight down, a pixel is 0.4 mm: the middle of the photo is the plane's origin.
    let camera = Camera { tilt: 0.0, ..above() };
    let pixel = |x: f64, y: f64| point(900.0 + x / 0.4, 675.0 - y / 0.4);
    let pixels =
        [pixel(-250.0, 200.0), pixel(250.0, 200.0), pixel(250.0, -200.0), pixel(-250.0, -200.0)];
    let rectangle = KnownRectangle { pixels, width: 500.0, height: 400.0 };
    let photo = scene.photo(camera);
    let tracing = traced(
        std::slice::from_ref(&photo),
        &Options { rectangle: Some(rectangle.clone()), ..options() },
    )
    .unwrap();
    is_plate(&tracing.templates[0], PLATE);
    assert!(tracing.warnings.iter().any(|w| w.what.contains("lens")));
    let [a, b, c, d] = pixels;
    let wrong = KnownRectangle { pixels: [b, a, d, c], ..rectangle };
    refused(
        traced(&[photo], &Options { rectangle: Some(wrong), ..options() }),
        "do not form a rectangle",
    );
}

#[test]
fn measured_lengths_tell_a_wrong_scale_from_a_right_one() {
    let photo = usual().photo(above());
    let tracing = traced(std::slice::from_ref(&photo), &options()).unwrap();
    let t = &tracing.templates[0];
    let straight = |i: usize, j: usize, factor: f64| {
        let (a, b) = (&t.corners[i], &t.corners[j]);
        MeasuredLength::parse(&format!("{}-{}={}", a.name, b.name, factor * a.at.distance(b.at)))
            .unwrap()
    };
    let about = |factor: f64| {
        let lengths = vec![straight(0, 2, factor), straight(1, 3, factor)];
        traced(std::slice::from_ref(&photo), &Options { lengths, ..options() }).unwrap().warnings
    };
    assert!(!about(1.0).iter().any(|w| w.what.contains("measured")));
    assert!(about(1.02).iter().any(|w| w.what.contains("whole outline")), "{:?}", about(1.02));
}

#[test]
fn what_cannot_be_trusted_is_refused() {
    let photo = usual().photo(above());
    refused(traced(&[image::imageops::flip_horizontal(&photo)], &options()), "mirrored");
    let mut scene = usual();
    scene.cards.clear();
    refused(traced(&[scene.photo(above())], &options()), "no scale card");
    let mut scene = usual();
    scene.cards[1].3 = 1.06;
    refused(traced(&[scene.photo(Camera { tilt: 25.0, ..above() })], &options()), "than card 1");
    let mut scene = usual();
    // A skin as dark as its ground is refused; one that is a trifle lighter comes out right or is
    // refused.
    scene.shapes[0].1 = 66;
    match traced(&[scene.photo(above())], &options()) {
        Ok(tracing) => is_plate(&tracing.templates[0], PLATE),
        Err(faults) => assert!(faults.to_string().contains("alike"), "{faults}"),
    }
    let cut = Camera::above(point(215.0, 0.0), 0.25);
    refused(traced(&[usual().photo(cut)], &options()), "cut off");
}

/// A gap of a shape between slit and dart is never guessed at in silence.
#[test]
fn a_gap_that_may_be_slit_or_dart_is_said() {
    let mut scene = usual();
    // In a hollow corner of the edge, from which a slit of a pen's width runs inwards.
    let notched = [
        (-150.0, -100.0),
        (150.0, -100.0),
        (150.0, 100.0),
        (80.0, 100.0),
        (1.0, 45.0),
        (0.8, 20.0),
        (-0.8, 20.0),
        (-1.0, 45.0),
        (-80.0, 100.0),
        (-150.0, 100.0),
    ];
    scene.shapes[0].0 = notched.map(|(x, y)| point(x, y)).to_vec();
    scene.strokes.iter_mut().for_each(|s| s.0.iter_mut().for_each(|p| p.y -= 50.0));
    let photo = scene.photo(above());
    let deep = |options: &Options| {
        let low = |t: Tracing| t.templates[0].net.iter().filter(|p| p.y > -80.0).count();
        traced(std::slice::from_ref(&photo), options).map(|t| {
            (
                t.warnings.iter().any(|w| w.what.contains("narrow gap")),
                ring_area(&t.templates[0].net),
                low(t),
            )
        })
    };
    match deep(&options()) {
        Ok((said, ..)) => assert!(said),
        Err(faults) => assert!(faults.to_string().contains("--gaps"), "{faults}"),
    }
    let (slit, dart) = (
        deep(&Options { gaps: Some(Gap::Slit), ..options() }).unwrap(),
        deep(&Options { gaps: Some(Gap::Dart), ..options() }).unwrap(),
    );
    assert!(!slit.0 && !dart.0);
    assert!(slit.1 > dart.1 + 15.0, "{} {}", slit.1, dart.1);
}

fn jpeg(photo: &GrayImage) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    DynamicImage::ImageLuma8(photo.clone()).write_to(&mut out, ImageFormat::Jpeg).unwrap();
    out.into_inner()
}

/// EXIF 2.3, tag 0x0112: a photo taken with the telephone upright is stored lying, with a note that
/// it is to be turned.
#[test]
fn photos_are_turned_as_their_exif_says() {
    let photo = usual().photo(above());
    let stored = [
        (1u8, photo.clone()),
        (3, image::imageops::rotate180(&photo)),
        (6, image::imageops::rotate270(&photo)),
        (8, image::imageops::rotate90(&photo)),
    ];
    for (orientation, stored) in stored {
        let plain = jpeg(&stored);
        let mut exif =
            b"\xff\xe1\x00\x22Exif\0\0MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0".to_vec();
        exif.extend([orientation, 0, 0, 0, 0, 0, 0]);
        let bytes = [&plain[..2], &exif, &plain[2..]].concat();
        let read = trace::read_photo(&bytes).unwrap();
        let off: u64 =
            read.pixels().zip(photo.iter()).map(|(a, b)| u64::from(a[1].abs_diff(*b))).sum();
        assert_eq!(read.dimensions(), photo.dimensions());
        assert!(off as f64 / (photo.len() as f64) < 4.0, "orientation {orientation}");
    }
}

fn warpwise(dir: &Path, arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_warpwise")).current_dir(dir).args(arguments).output().unwrap()
}

fn text(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

const SAID: [&str; 6] = ["--net", "edge", "--inked", "up", "--off", "mould"];

#[test]
fn from_a_photo_to_a_planned_cut() {
    let dir = tempfile::tempdir().unwrap();
    save(dir.path(), "plate.png", &usual().photo(above()));
    let silent = warpwise(dir.path(), &["trace", "photo", "plate.png"]);
    assert_eq!(silent.status.code(), Some(2), "{}", text(&silent));
    for flag in ["--net", "--inked", "--off"] {
        assert!(text(&silent).contains(flag));
    }
    let run = warpwise(
        dir.path(),
        &[&["trace", "photo", "plate.png"][..], &SAID, &["--edge", "lap=A-B"]].concat(),
    );
    assert!(run.status.success(), "{}", text(&run));
    let drawing = std::fs::read_to_string(dir.path().join("plate.svg")).unwrap();
    assert!(drawing.contains("plate-lap") && drawing.contains("plate-arrow"), "{drawing}");
    assert!(dir.path().join("plate-check.svg").exists());
    let run = warpwise(dir.path(), &["new", "seat", "plate.svg"]);
    assert!(run.status.success(), "{}", text(&run));
    let run = warpwise(dir.path(), &["check", "seat/job.toml"]);
    assert!(run.status.success(), "{}", text(&run));
    let run = warpwise(dir.path(), &["nest", "seat/job.toml", "--effort", "1", "--quiet"]);
    assert!(run.status.success(), "{}", text(&run));
}

#[test]
fn files_that_are_no_photos_are_told_from_each_other() {
    let dir = tempfile::tempdir().unwrap();
    let heic = b"\0\0\0\x18ftypheic\0\0\0\0mif1heic";
    std::fs::write(dir.path().join("a.jpg"), heic).unwrap();
    std::fs::write(dir.path().join("b.jpg"), &jpeg(&usual().photo(above()))[..9000]).unwrap();
    let run =
        warpwise(dir.path(), &[&["trace", "photo", "a.jpg", "b.jpg", "c.jpg"][..], &SAID].concat());
    assert_eq!(run.status.code(), Some(1));
    // All of them are named, not only the first.
    for what in ["HEIC", "cut short", "no such file"] {
        assert!(text(&run).contains(what), "{}", text(&run));
    }
}

#[test]
fn measured_points_and_offsets_become_drawings() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(
        dir.path().join("floor.csv"),
        "station_mm,left,right\n0,100,100\n300,140,120\n600,80,90\n",
    )
    .unwrap();
    let run = warpwise(dir.path(), &["trace", "points", "floor.csv", "--fair"]);
    assert!(run.status.success(), "{}", text(&run));
    let run = warpwise(dir.path(), &["new", "job", "floor.svg"]);
    assert!(run.status.success(), "{}", text(&run));
    std::fs::write(dir.path().join("bad.csv"), "station_mm,left\n0,x\n").unwrap();
    assert_eq!(warpwise(dir.path(), &["trace", "points", "bad.csv"]).status.code(), Some(1));
}

/// The demo ships the photo of its heel rest and the outline traced from it.
#[test]
fn the_demos_outline_is_the_one_in_its_photo() {
    let photo = trace::read_photo(&std::fs::read("demo-data/heel-rest.jpg").unwrap()).unwrap();
    let tracing = trace::trace(
        &[("heel-rest.jpg".into(), photo)],
        &Options { name: "heel-rest".into(), ..options() },
    )
    .unwrap();
    let read = |bytes: &[u8]| {
        let reading =
            read_bytes(Path::new("heel-rest.svg"), bytes, &ReadOptions::default()).unwrap();
        (reading.outlines[0].net().clone(), reading.outlines[0].arrow().unwrap())
    };
    let (fresh, arrow) = read(trace::drawing(&tracing.templates, &[]).as_bytes());
    let (shipped, shipped_arrow) = read(&std::fs::read("demo-data/heel-rest.svg").unwrap());
    let off = |p: Point, ring: &[Point]| {
        (0..ring.len())
            .map(|i| p.distance_to_segment(ring[i], ring[(i + 1) % ring.len()]))
            .fold(f64::INFINITY, f64::min)
    };
    let most = |a: &[Point], b: &[Point]| a.iter().map(|p| off(*p, b)).fold(0.0, f64::max);
    let worst = most(&fresh, &shipped).max(most(&shipped, &fresh));
    assert!(worst < 0.4, "{worst:.2} mm");
    assert!(arrow.iter().zip(shipped_arrow).all(|(a, b)| a.distance(b) < 0.5));
}

/// Two templates in a photo: the letter of one leaves it out.
#[test]
fn a_letter_says_which_template_is_not_meant() {
    let mut scene = usual();
    scene.shapes.clear();
    scene.strokes.clear();
    for x in [-165.0, 165.0] {
        let (ring, arrow) = plate(point(x, 0.0));
        scene.shapes.push((ring, 205));
        scene.strokes.extend(arrow.into_iter().map(|l| (l, 35)));
    }
    scene.cards = vec![(1, point(-110.0, 190.0), 0.0, 1.0), (2, point(120.0, -190.0), 4.0, 1.0)];
    let photo = scene.photo(Camera::above(point(0.0, 0.0), 0.45));
    let both = traced(std::slice::from_ref(&photo), &options()).unwrap();
    let letter =
        both.templates[1].letters.iter().find(|l| l.kind == Kind::Template).unwrap().letter.clone();
    let one =
        traced(&[photo], &Options { answers: vec![Answer::not(&letter).unwrap()], ..options() })
            .unwrap();
    assert_eq!(one.templates.len(), 1);
    is_plate(&one.templates[0], PLATE);
}

/// Cards, plane and the networks' looks are kept for the next hint: it comes to what a fresh look
/// comes to, refusal or template.
#[test]
fn a_hint_about_photos_seen_before_comes_to_the_same() {
    let photo = DynamicImage::ImageLuma8(usual().photo(above())).into_rgb8();
    let photos = vec![(PathBuf::from("plate.png"), photo)];
    let scale = trace::Scale { card_width: trace::card::WIDTH, rectangle: None };
    let run = warpwise::run::Run::default();
    let seen = trace::FromAbove::see(photos.as_slice(), &scale, &run).unwrap();
    let (w, h) = photos[0].1.dimensions();
    let middle = point(f64::from(w) / 2.0, f64::from(h) / 2.0);
    let nets = |tracing: Result<Tracing, Faults>| {
        tracing.map(|t| t.templates.into_iter().map(|t| t.net).collect::<Vec<_>>())
    };
    for at in [middle, point(3.0, 3.0), middle] {
        let hinted = Options { at: Some(at), ..options() };
        let again = nets(trace::trace_seen(&seen, &hinted, &run));
        assert_eq!(again, nets(trace::trace(&photos, &hinted)), "{at:?}");
        assert_eq!(again.is_ok(), at == middle, "{again:?}");
    }
}
