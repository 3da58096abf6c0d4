//! What a sound job file becomes.
#![allow(clippy::unwrap_used)]

mod job_common;

use job_common::{SOUND, folder, job_path, parse, read, square, warnings_with};
use std::cell::RefCell;
use std::path::PathBuf;
use warpwise::cloth::{Backing, Face, Permitted, Price, Weave};
use warpwise::geometry::{point, ring_area, ring_bounds};
use warpwise::job::{
    Hands, InkedSide, PatchShape, Seen, TakenOff, TemplateSource, agree, parse_with,
};
use warpwise::outline::{EdgeKind, Reading, Unit};

#[test]
fn every_key_arrives() {
    let (job, warnings) = parse(SOUND).unwrap();
    assert_eq!(warnings, []);
    assert_eq!((job.name.as_str(), job.currency.as_str()), ("bucket seat", "EUR"));
    assert_eq!(
        (job.cutting.gap, job.cutting.bench_length, job.cutting.least_offcut_width),
        (2.0, Some(2400.0), 40.0)
    );
    let splice = job.splice.as_ref().unwrap();
    assert_eq!((splice.lap, splice.stagger, splice.plies_apart), (25.0, 50.0, 4));

    let twill = &job.cloths[0];
    assert_eq!(
        (twill.name.as_str(), twill.weave, twill.twill_line, twill.up),
        ("twill", Weave::Twill22, Some(45.0), Backing::Paper)
    );
    assert_eq!((twill.balanced, twill.one_way, twill.usable_width()), (true, false, 1230.0));
    assert!((job.cloths[1].roll_width - 304.8).abs() < 1e-9);

    let ids: Vec<&str> = job.templates.iter().map(|t| t.id.as_str()).collect();
    assert_eq!(ids, ["seat", "hip-plate", "tape", "bolt"], "templates, strips, patches");
    let hip = &job.templates[1];
    assert_eq!(hip.source, TemplateSource::Drawing { file: PathBuf::from("plates/hip.dxf") });
    assert_eq!(
        (hip.arrow, hip.taken_off, hip.inked_side, hip.hands),
        (20.0, TakenOff::Plug, InkedSide::Up, Hands::Both)
    );
    assert_eq!(
        (hip.edge, hip.may_cross_bench, hip.drawn_mirrored()),
        (EdgeKind::Trim, false, true)
    );
    assert_eq!(job.templates[0].arrow, 0.0, "the drawn one");

    let tape = &job.templates[2];
    assert_eq!((tape.arrow, tape.edge, tape.may_cross_bench), (0.0, EdgeKind::Butt, true));
    assert_eq!(ring_area(tape.outline.net()), 90_000.0);

    let bolt = &job.templates[3];
    assert_eq!(
        (bolt.arrow, bolt.taken_off, bolt.hands, bolt.edge),
        (20.0, TakenOff::Plug, Hands::Both, EdgeKind::Butt)
    );
    let TemplateSource::Patch { on, shape: PatchShape::Sized { centre, along, .. }, step_back } =
        &bolt.source
    else {
        panic!()
    };
    assert_eq!(
        (on.as_str(), *centre, *along, *step_back),
        ("hip-plate", point(50.0, 30.0), 0.0, 5.0)
    );
    // 40 x 20 turned by the host's arrow, 20°: the box around it is 40 cos 20 + 20 sin 20 wide.
    let around = ring_bounds(bolt.outline.net()).unwrap();
    let (sin, cos) = (20.0_f64.to_radians().sin(), 20.0_f64.to_radians().cos());
    assert!((around.width() - (40.0 * cos + 20.0 * sin)).abs() < 0.002);
    assert!((around.height() - (40.0 * sin + 20.0 * cos)).abs() < 0.002);
    assert!(around.centre().distance(point(50.0, 30.0)) < 0.002);

    let outer = &job.layers[0];
    assert_eq!(
        (outer.name.as_str(), outer.cloth, outer.angle, outer.seen),
        ("layer 1", 0, 45.0, Seen::MouldSide)
    );
    let items: Vec<_> = outer.items.iter().map(|i| (i.template, i.hands, i.copies)).collect();
    assert_eq!(
        items,
        [(0, Hands::AsTraced, 1), (1, Hands::Both, 2)],
        "hands of the template, copies of the entry"
    );
    assert_eq!(
        (outer.trim, outer.lap, outer.angle_tolerance, outer.book_match, &outer.turns),
        (25.0, 25.0, 0.0, true, &None)
    );
    let tapes = &job.layers[1];
    assert!(tapes.items.iter().all(|i| i.hands == Hands::Both), "the layer's word on hands");
    let permitted = |turn, face| Permitted { turn, face };
    let all = [(0.0, Face::Up), (180.0, Face::Up), (0.0, Face::Down), (180.0, Face::Down)]
        .map(|(t, f)| permitted(t, f));
    assert_eq!(tapes.turns.as_deref(), Some(&all[..]), "360 is 0 again");
}

#[test]
fn an_entry_wins_over_its_layer_and_a_layer_over_its_template() {
    let text = SOUND
        .replace(
            r#"["seat", { template = "hip-plate", copies = 2 }]"#,
            r#"["hip-plate", { template = "seat", hands = "as traced", copies = 5 }]"#,
        )
        .replace("seen = \"mould side\"", "hands = \"mirrored\"\ncopies = 3\ntrim = 12\nlap = 0\nangle_tolerance = 2\nbook_match = false");
    let (job, _) = parse(&text).unwrap();
    let layer = &job.layers[0];
    let items: Vec<_> = layer.items.iter().map(|i| (i.template, i.hands, i.copies)).collect();
    assert_eq!(items, [(1, Hands::Mirrored, 3), (0, Hands::AsTraced, 5)]);
    assert_eq!(
        (layer.trim, layer.lap, layer.angle_tolerance, layer.book_match),
        (12.0, 0.0, 2.0, false)
    );
}

#[test]
fn cloth_data() {
    let data = "selvedge = 10\nareal_mass = \"6 oz/yd²\"\nresin_content = \"42 %\"\nfibre_density = 1.78\nprice_per_square_metre = 39.5\nroll_length = \"25 m\"\n[[cloth.flaw]]\nfrom = 100\nto = 200\n[[cloth.flaw]]\nfrom = 300\nto = 310\nlow = 40\nhigh = 50\n[[cloth.flaw]]\noutline = [[0, 0], [0, 10], [10, 0]]";
    let (job, warnings) = parse(&SOUND.replacen("selvedge = 10", data, 1)).unwrap();
    assert_eq!(warnings, []);
    let cloth = &job.cloths[0];
    // 6 oz/yd² is about 203.4 g/m² (handbook figure for the common 6 oz cloth, from memory).
    assert!((cloth.areal_mass.unwrap() - 203.4).abs() < 0.1);
    assert!((cloth.resin_content.unwrap() - 0.42).abs() < 1e-12);
    assert_eq!(cloth.price, Some(Price::PerSquareMetre(39.5)));
    assert_eq!(cloth.roll_length, Some(25_000.0));
    assert_eq!(
        cloth.flaws,
        [
            square(100.0, 0.0, 100.0, 1250.0),
            square(300.0, 40.0, 10.0, 10.0),
            cloth.flaws[2].clone()
        ]
    );
    assert_eq!(ring_area(&cloth.flaws[2]), 50.0, "turned anticlockwise");
}

#[test]
fn a_drawing_used_twice_is_read_once_and_with_the_options_of_the_job() {
    let dir = folder();
    let text = SOUND.replacen(
        "[[strip]]",
        "[[template]]\nid = \"again\"\nfile = \"seat.svg\"\ntaken_off = \"mould\"\ninked_side = \"down\"\n\n[[template]]\nid = \"coarse\"\nfile = \"seat.svg\"\nunit = \"in\"\nchord_tolerance = 0.5\nlayer = \"net\"\ntaken_off = \"mould\"\ninked_side = \"up\"\n\n[[strip]]",
        1,
    );
    let seen = RefCell::new(Vec::new());
    let (job, _) = parse_with(&text, &job_path(&dir), &|path, options| {
        seen.borrow_mut()
            .push((path.strip_prefix(dir.path()).unwrap().to_path_buf(), options.clone()));
        read(path, options)
    })
    .unwrap();
    assert_eq!(job.templates.len(), 6);
    let seen = seen.into_inner();
    let files: Vec<&str> = seen.iter().map(|(path, _)| path.to_str().unwrap()).collect();
    assert_eq!(files, ["seat.svg", "plates/hip.dxf", "seat.svg"]);
    assert_eq!(
        (seen[2].1.unit, seen[2].1.chord_tolerance, seen[2].1.layer.as_deref()),
        (Some(Unit::Inch), 0.5, Some("net"))
    );
}

#[test]
fn of_several_outlines_one_is_chosen() {
    let (job, _) =
        parse(&SOUND.replacen("file = \"seat.svg\"", "file = \"pair.svg\"\nlayer = \"right\"", 1))
            .unwrap();
    assert_eq!(job.templates[0].outline.name(), "right");
    let (job, _) =
        parse(&SOUND.replacen("file = \"seat.svg\"", "file = \"pair.svg\"\ninside = [210, 10]", 1))
            .unwrap();
    assert_eq!(job.templates[0].outline.name(), "right");
}

#[test]
fn patches_of_every_shape() {
    let size = "length = 40\nwidth = 20\nstep_back = 5";
    let with = |new: &str| parse(&SOUND.replacen(size, new, 1)).unwrap().0.templates.pop().unwrap();
    let area = |new: &str| ring_area(with(new).outline.net());
    // Areas: rounded rectangle l w - (4 - π) r²; ellipse π a b.
    assert!(
        (area("length = 40\nwidth = 20\ncorner = 8")
            - (800.0 - (4.0 - std::f64::consts::PI) * 64.0))
            .abs()
            < 1.0
    );
    assert!(
        (area("length = 40\nwidth = 20\nshape = \"ellipse\"") - std::f64::consts::PI * 200.0).abs()
            < 2.0
    );
    let ring = SOUND.replacen(
        &format!("centre = [50, 30]\n{size}"),
        "outline = [[10, 10], [\"5 cm\", 10], [10, 40]]",
        1,
    );
    let patch = parse(&ring).unwrap().0.templates.pop().unwrap();
    assert!(matches!(patch.source, TemplateSource::Patch { shape: PatchShape::Polygon(_), .. }));
    assert_eq!(ring_area(patch.outline.net()), 600.0);
}

#[test]
fn warnings_a_worker_would_be_glad_of() {
    for (old, new, warning) in [
        (
            "[splice]",
            "[splice]\nstagger = 10",
            "9:11 splices staggered by only 10 mm weaken one place / 25 mm or more from edge to edge is usual, 50 mm better",
        ),
        (
            "gap = 2",
            "trim = 5",
            "5:8 a trim allowance of 5 mm leaves little to hold on to / 25 mm or more beyond the line is usual",
        ),
        (
            "\"2.4 m\"",
            "2.4",
            "6:16 the bench is only 2.4 mm long / a plain number is mm; write \"2.4 m\" for metres",
        ),
        (
            "roll_width = 1250\nselvedge = 10",
            "roll_width = 1.25\nselvedge = 0",
            "15:14 the roll is only 1.25 mm wide / a plain number is mm; write \"1.25 m\" for metres",
        ),
        (
            "selvedge = 10",
            "selvedge = 10\nresin_content = 42",
            "17:17 the resin content 42 is read as 42 % / write 0.42 or \"42 %\"",
        ),
        (
            "selvedge = 10",
            "selvedge = 10\nroll_length = \"150 m\"",
            "17:15 only the first 100000 mm of the roll are planned / leave it as it is if no layout comes near that length",
        ),
        (
            "weave = \"plain\"",
            "weave = \"plain\"\ntwill_line = 45",
            "21:14 `twill_line = 45` has no effect: this weave has no twill line / delete the line, or correct the weave",
        ),
        (
            "file = \"seat.svg\"",
            "file = \"seat.svg\"\narrow = 359.4",
            "28:9 the arrow is given as 359.4° but drawn at 0° / the job's word holds; take `arrow` out to use the drawn one",
        ),
        (
            "[\"tape\", \"bolt\"]",
            "[\"tape\"]",
            "44:1 no layer uses this / delete it, or name it in a layer",
        ),
        (
            "cloth = \"tape-cloth\"",
            "cloth = \"twill\"",
            "18:1 no layer uses this cloth / delete it, or name it in a layer",
        ),
    ] {
        assert_eq!(warnings_with(old, new), [warning], "{new}");
    }
    assert_eq!(
        warnings_with("file = \"seat.svg\"", "file = \"seat.svg\"\narrow = 359.6"),
        [] as [&str; 0],
        "within half a degree"
    );
}

#[test]
fn the_words_of_a_reader_are_passed_on_once() {
    let dir = folder();
    let warning =
        || warpwise::fault::Fault::new("two ends 0.05 mm apart were joined", "").on("path7");
    let text = SOUND.replacen(
        "[[strip]]",
        "[[template]]\nid = \"again\"\nfile = \"seat.svg\"\ntaken_off = \"mould\"\ninked_side = \"up\"\n[[strip]]",
        1,
    );
    let warned = |path: &std::path::Path, options: &_| {
        read(path, options).map(|r| Reading { warnings: vec![warning()], ..r })
    };
    let (_, warnings) = parse_with(&text, &job_path(&dir), &warned).unwrap();
    assert_eq!(
        warnings.iter().filter(|w| w.what.contains("joined")).count(),
        1,
        "equal words are said once"
    );
}

#[test]
fn a_patch_over_a_hole_is_warned_of() {
    let dir = folder();
    let with_hole = |path: &std::path::Path, options: &_| {
        let mut reading = read(path, options)?;
        if path.ends_with("hip.dxf") {
            let draft = warpwise::outline::Draft {
                net: square(0.0, 0.0, 100.0, 60.0),
                holes: vec![square(48.0, 28.0, 4.0, 4.0)],
                ..Default::default()
            };
            reading.outlines = vec![warpwise::outline::Outline::new(draft)?];
        }
        Ok(reading)
    };
    let (_, warnings) = parse_with(SOUND, &job_path(&dir), &with_hole).unwrap();
    assert_eq!(
        job_common::said(&warnings),
        [
            "44:1 the patch lies over a hole of `hip-plate`, which is not cut in it / cut the hole after the cure, or draw the patch around it"
        ]
    );
}

#[test]
fn jobs_on_one_roll_must_agree() {
    let (a, _) = parse(SOUND).unwrap();
    let mut b = a.clone();
    b.name = "hatch cover".into();
    b.file = PathBuf::from("hatch/job.toml");
    assert!(agree(&[a.clone(), b.clone()]).is_ok());
    b.name = a.name.clone();
    b.currency = "NZD".into();
    b.cutting.gap = 5.0;
    b.cloths[0].roll_width = 1000.0;
    b.cloths[0].price = Some(Price::PerMetre(1.0));
    b.cloths[1].id = "other".into();
    let other = a.file.display().to_string();
    let said = job_common::said(&agree(&[a, b]).unwrap_err().0);
    assert_eq!(
        said,
        [
            format!(
                "[job] the name `bucket seat` is also that of the job in {other} / give each job a name of its own"
            ),
            format!("[job] the currency is `NZD`, not `EUR` as in {other} / use one currency"),
            format!(
                "[cutting] `gap` is not the same as in {other} / jobs on one roll are cut by one rule"
            ),
            format!(
                "[[cloth]] the cloth `twill` has another roll_width, price than in {other} / make them agree, or give one of them another id"
            ),
        ]
    );
}
