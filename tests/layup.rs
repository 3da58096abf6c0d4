//! The lay-up sheet and the laminate figures of the demo's job, and what a job may not say about
//! the work at the mould.
#![allow(clippy::unwrap_used)]

mod job_common;
mod plan_schema;

use job_common::{SOUND, folder, job_path, read};
use std::path::Path;
use std::sync::OnceLock;
use warpwise::geometry::ring_area;
use warpwise::job::{load, parse_with};
use warpwise::laminate::laminate;
use warpwise::layup::{LayupSheet, When, layup};
use warpwise::plan::Plan;
use warpwise::planner::plan;
use warpwise::run::{Run, Stop};
use warpwise::sheet;
use warpwise::stock::Day;
use warpwise::verify::Verified;

/// A first layout of the demo's job.
fn demo() -> &'static Verified {
    static DEMO: OnceLock<Verified> = OnceLock::new();
    DEMO.get_or_init(|| {
        let (job, _) = load(Path::new("demo-data/job.toml")).unwrap();
        let run = Run::new(Stop::Effort(0)).with_threads(1);
        let plan = plan(&[job], 1, &run).unwrap();
        plan_schema::keeps_to_schema(plan.plan());
        plan
    })
}

fn only(sheets: Vec<LayupSheet>) -> LayupSheet {
    assert_eq!(sheets.len(), 1);
    sheets.into_iter().next().unwrap()
}

#[test]
fn every_piece_is_laid_once_in_laying_order() {
    let plan = demo().plan();
    let sheet = only(layup(plan, &When::default()));
    let mut laid: Vec<(String, u32)> = Vec::new();
    for tick in sheet.steps.iter().flat_map(|s| &s.ticks) {
        laid.push((tick.label.split(' ').next().unwrap().to_string(), tick.copies));
    }
    let mut wanted: Vec<(String, u32)> =
        plan.pieces.iter().map(|p| (p.number.clone(), p.copies)).collect();
    let layers: Vec<usize> = sheet.steps.iter().filter_map(|s| s.layer).collect();
    assert!(layers.is_sorted() && layers.len() == plan.layers.len());
    laid.sort();
    wanted.sort();
    assert_eq!(laid, wanted);
    // Four layers of parts and one of tapes: after the first, the third and the last, and after the
    // tapes.
    let steps: Vec<&str> =
        sheet.steps.iter().map(|s| s.what.split([' ', ':']).next().unwrap()).collect();
    assert_eq!(
        steps,
        [
            "Layer", "Debulk", "Layer", "Layer", "Debulk", "Layer", "Debulk", "Joints", "Layer",
            "Debulk"
        ]
    );
    assert!(sheet.steps.iter().any(|s| s.notes.iter().any(|n| n.starts_with("floor in 2 parts"))));
    assert!(sheet.steps.iter().any(|s| s.notes.iter().any(|n| n.contains("30 mm to each side"))));
}

#[test]
fn hours_bag_and_cure_add_up() {
    let plan = demo().plan();
    let sheet = only(layup(plan, &When::default()));
    let pieces: u32 = plan.pieces.iter().map(|p| p.copies).sum();
    assert!((sheet.hours_out - (8.0 + (f64::from(pieces) * 5.0 + 4.0 * 20.0) / 60.0)).abs() < 1e-9);
    // 20 to 80 °C at 2, 60 min, to 120 at 1, 60 min, to 60 at 3: 210 min, worked out outside of the
    // crate.
    let last = sheet.cure.last().unwrap();
    assert_eq!((last.minutes, last.clock.as_deref()), (210.0, Some("2026-12-01 17:30")));
    // 22 inHg are 74.5 kPa (FAA AC 43.13-1B, 3-8), an inch 0.49116 psi (TM 1-1500-204-23-11, sheet
    // 172).
    assert!(
        sheet
            .checks
            .iter()
            .any(|c| c.contains("74.5 kPa (22 inHg)") && c.contains("3.4 kPa (1 inHg)"))
    );
    assert!(
        sheet.cure_notes.iter().any(|n| n.contains("2.36 mm a metre") && n.contains("0.25 mm"))
    );
    let quantity = |what: &str| {
        let row = sheet.bag.iter().find(|r| r[0].starts_with(what)).unwrap();
        row[1].split(' ').next().unwrap().parse::<f64>().unwrap()
    };
    // Each bag of the demo by its girths, + 100 mm both ways, and the guessed one of the heel rest:
    // its box by 1.2. Openings: the rim's.
    let girths = [
        (520., 610., 1.),
        (310., 225., 2.),
        (400., 270., 2.),
        (450., 280., 1.),
        (530., 350., 1.),
        (370., 250., 1.),
    ];
    let more = [(410., 560., 1.), (430., 180., 1.), (1560., 600., 1.), (940., 65., 6.)];
    let heel = plan.templates.iter().find(|t| t.template == "heel-rest").unwrap();
    // Along its arrow and across.
    let (sin, cos) = heel.arrow.to_radians().sin_cos();
    let span = |x: f64, y: f64| {
        let all: Vec<f64> = heel.net.iter().map(|p| p.x * x + p.y * y).collect();
        1.2 * (all.iter().fold(f64::MIN, |a, b| a.max(*b))
            - all.iter().fold(f64::MAX, |a, b| a.min(*b)))
    };
    let bags: Vec<(f64, f64, f64)> =
        girths.into_iter().chain(more).chain([(span(cos, sin), span(-sin, cos), 1.0)]).collect();
    let sum =
        |of: &dyn Fn(f64, f64) -> f64| bags.iter().map(|&(a, b, n)| n * of(a, b)).sum::<f64>();
    let rim = plan.templates.iter().find(|t| t.template == "hatch-rim").unwrap();
    let hole = &rim.holes[0];
    let opening: f64 = (0..hole.len()).map(|i| hole[i].distance(hole[(i + 1) % hole.len()])).sum();
    assert!((quantity("breather") - sum(&|a, b| (a + 100.0) * (b + 100.0)) / 1e6).abs() < 0.006);
    assert!(
        (quantity("bag film") - 1.3 * sum(&|a, b| (a + 200.0) * (b + 200.0)) / 1e6).abs() < 0.006,
        "50 mm for the seal, 30 % for pleats"
    );
    let tape = 1.15 * (sum(&|a, b| 2.0 * (a + b + 200.0)) + opening) / 1000.0;
    assert!((quantity("sealing tape") - tape).abs() < 0.06, "{tape}");
    assert!(
        sheet.bag_note.contains("1 bag GUESSED")
            && sheet.bag.iter().any(|r| r[0].starts_with("heel-rest") && r[0].contains("GUESSED"))
    );
    let tomorrow = When { start: Some("2026-12-02 22:45".into()), ..When::default() };
    assert_eq!(
        only(layup(plan, &tomorrow)).cure.last().unwrap().clock.as_deref(),
        Some("2026-12-03 02:15")
    );
}

/// Bags over shapes whose surface is known: the film covers it, and is no larger than it must where
/// the surface can be unrolled.
#[test]
fn a_bag_spans_the_surface_of_the_mould_with_its_depth() {
    use std::f64::consts::PI;
    let bag = |girths: [f64; 2], openings: Vec<f64>| {
        let mut plan = demo().plan().clone();
        let c = &mut plan.mould_work[0].consumables;
        (c.overhang, c.seal_margin) = (0.0, 0.0);
        c.bag = vec![warpwise::job::BagOver {
            templates: Vec::new(),
            girths,
            openings: Some(openings),
            moulds: Some(1),
        }];
        let mut bags = only(layup(&plan, &When::default())).bags;
        assert_eq!(bags.len(), 1);
        bags.remove(0)
    };
    let film = |b: &warpwise::layup::Bag| b.film[0] * b.film[1];
    // A half pipe 1 m long of radius 300 mm: π r l.
    assert!((film(&bag([1000.0, PI * 300.0], Vec::new())) - PI * 300.0 * 1000.0).abs() < 1e-6);
    // A tray of 400 by 300 mm, 150 deep: floor and four walls, 0.33 m².
    assert!(film(&bag([700.0, 600.0], Vec::new())) >= 400.0 * 300.0 + 2.0 * 150.0 * 700.0);
    // A bowl of radius 200 mm: 2 π r².
    assert!(film(&bag([PI * 200.0, PI * 200.0], Vec::new())) >= 2.0 * PI * 200.0 * 200.0);
    // A ring of 500 mm round an opening of 400: a square of 500 is spanned, and the seal runs round
    // both.
    let ring = bag([500.0, 500.0], vec![PI * 400.0]);
    assert_eq!(film(&ring), 250_000.0);
    assert!((ring.seal - 2000.0 - PI * 400.0).abs() < 1e-6 && ring.seal >= PI * 500.0 + PI * 400.0);
}

/// The net area of a ring or of a long part says nothing of its bag.
#[test]
fn a_ring_without_girths_is_spanned_with_its_opening() {
    let mut plan = demo().plan().clone();
    plan.mould_work[0].consumables.bag.clear();
    let sheet = only(layup(&plan, &When::default()));
    assert!(
        sheet.bags.iter().all(|b| !b.measured)
            && sheet.bag_note.contains("GUESSED")
            && sheet.bag_note.contains("[[consumables.bag]]")
    );
    let rim = sheet.bags.iter().find(|b| b.over == "hatch-rim").unwrap();
    let template = plan.templates.iter().find(|t| t.template == "hatch-rim").unwrap();
    let net = ring_area(&template.net) + ring_area(&template.holes[0]);
    let by_net_area = (net.sqrt() + 100.0).powi(2);
    assert!(rim.film[0] * rim.film[1] > 1.5 * by_net_area, "{:?} for {net}", rim.film);
    // Two hands are two moulds, a patch lies on its template.
    assert_eq!(sheet.bags.iter().find(|b| b.over == "hip-plate").unwrap().moulds, 2);
    assert!(sheet.bags.iter().all(|b| b.over != "seat-heel"));
    assert_eq!(sheet.bags.iter().find(|b| b.over == "joint-tape").unwrap().moulds, 6);
}

#[test]
fn what_is_out_of_date_or_time_is_loud() {
    let mut plan = demo().plan().clone();
    plan.mould_work[0].layup.start = None;
    let on = |plan: &Plan, day: &str| {
        only(layup(plan, &When { today: Some(Day::parse(day).unwrap()), ..When::default() }))
            .warnings
    };
    assert_eq!(on(&plan, "2026-12-12"), [] as [&str; 0], "the last day is a day of use");
    assert!(
        on(&plan, "2026-12-13").iter().any(|w| w.contains("release agent expired on 2026-12-12"))
    );
    let late = on(&plan, "2027-06-01");
    assert!(
        late.len() == 2
            && late.iter().any(|w| w.contains("twill-416") && w.contains("expired on 2027-05-31")),
        "{late:?}"
    );
    plan.materials[0].out_life_hours = Some(6.0);
    assert!(on(&plan, "2026-12-01").iter().any(|w| w.contains("6 h out of the freezer are left")));
    assert!(
        only(layup(&plan, &When::default())).warnings.len() == 1,
        "without a day no date is judged"
    );
}

#[test]
fn halves_are_laid_one_after_the_other_and_closed_before_the_joint() {
    let mut plan = demo().plan().clone();
    plan.mould_work[0].layup.second_half = vec!["hip-plate".into(), "thigh-brace".into()];
    let sheet = only(layup(&plan, &When::default()));
    let place = |what: &str| sheet.steps.iter().position(|s| s.what.starts_with(what)).unwrap();
    assert!(
        place("First half") < place("Second half")
            && place("Second half") < place("Both halves closed")
    );
    let second = &sheet.steps[place("Second half")..place("Both halves closed")];
    assert!(
        second
            .iter()
            .flat_map(|s| &s.ticks)
            .all(|t| t.label.contains("hip-plate") || t.label.contains("thigh-brace"))
    );
    let ticked: u32 = sheet.steps.iter().flat_map(|s| &s.ticks).map(|t| t.copies).sum();
    assert_eq!(ticked, plan.pieces.iter().map(|p| p.copies).sum::<u32>());
}

/// The masses worked out once more from areas alone: net area times fibre / (1 - resin content).
#[test]
fn masses_and_areas_add_up() {
    let plan = demo().plan();
    let figures = laminate(plan);
    let part = &figures.parts[0];
    let mut net = 0.0;
    for piece in &plan.pieces {
        let cloth = plan.materials.iter().find(|m| m.cloth == piece.cloth).unwrap();
        let area: f64 =
            piece.net.iter().map(|r| ring_area(r)).sum::<f64>() / 1e6 * f64::from(piece.copies);
        net += area * cloth.areal_mass.unwrap() / (1.0 - cloth.resin_content.unwrap());
    }
    assert!(
        (part.net - net).abs() < 1e-6
            && (part.fibre + part.resin + part.other - part.net).abs() < 1e-6
    );
    assert!(part.with_trim > part.net && part.laps > 0.0 && part.spliced_plies == 1);
    assert!(
        (part.finished - part.net - part.finish.iter().map(|f| f.mass).sum::<f64>()).abs() < 1e-9
    );
    // Region by region, with what lies double in the laps.
    let by_region: f64 =
        figures.regions.iter().map(|r| r.area * f64::from(r.parts) * r.areal_mass.unwrap()).sum();
    assert!(
        (by_region + part.laps - part.net).abs() < 2e-3 * part.net,
        "{by_region} + {} = {}",
        part.laps,
        part.net
    );
    for template in plan.templates.iter().filter(|t| t.on.is_none()) {
        let net = (ring_area(&template.net)
            - template.holes.iter().map(|h| ring_area(h).abs()).sum::<f64>())
            / 1e6;
        for hand in [warpwise::ply::Hand::AsTraced, warpwise::ply::Hand::Mirrored] {
            let regions: Vec<_> = figures
                .regions
                .iter()
                .filter(|r| r.template == template.template && r.hand == hand)
                .collect();
            let area: f64 = regions.iter().map(|r| r.area).sum();
            assert!(
                regions.is_empty() || (area - net).abs() < 2e-3 * net,
                "{}: {area} of {net}",
                template.template
            );
        }
    }
    // The patch steps back: its second layer is a region of its own.
    let seat: Vec<&str> =
        figures.regions.iter().filter(|r| r.template == "seat").map(|r| r.code.as_str()).collect();
    assert_eq!(
        seat,
        ["[0f(A)/0f(B)/45f(A)]T", "[0f(A)/0f(B)/45f(A)₂]T", "[0f(A)/0f(B)/45f(A)₂/90f(B)]T"]
    );
    let coaming = figures.regions.iter().find(|r| r.template == "coaming").unwrap();
    assert_eq!(
        (coaming.parts, coaming.layers.as_slice()),
        (1, &[1, 4, 4][..]),
        "two copies in one layer lie over one another"
    );
}

#[test]
fn sheet_and_section_are_written_the_same_each_time() {
    let written = sheet::layup_sheet(demo(), &When::default());
    assert!(
        written.bytes.starts_with(b"%PDF")
            && (4..12).contains(&written.pages)
            && written.name == "lay-up.pdf"
    );
    assert_eq!(written, sheet::layup_sheet(demo(), &When::default()));
    let report = sheet::report(demo(), &[sheet::layup_section(demo())]);
    for words in [
        "Lay-up sheet",
        "Before the start",
        "Debulk 1",
        "Cautions",
        "sheets/lay-up.pdf",
        "finished, as the scales should show",
    ] {
        assert!(report.contains(words), "{words}");
    }
}

/// Everything said about a job with these lines added to its end or put in place of others.
fn said(text: &str) -> String {
    let dir = folder();
    match parse_with(text, &job_path(&dir), &read) {
        Ok((_, warnings)) => warnings.iter().map(|w| format!("warning: {w}\n")).collect(),
        Err(faults) => faults.to_string(),
    }
}

#[test]
fn what_makes_no_sense_is_told_with_its_line_and_a_remedy() {
    let resin = |value: &str| {
        said(&SOUND.replacen(
            "selvedge = 10",
            &format!("selvedge = 10\nareal_mass = 200\nresin_content = {value}"),
            1,
        ))
    };
    assert_eq!(resin("0"), "", "dry cloth");
    assert_eq!(resin("0.42"), "");
    assert!(resin("1").contains("leaves no fibre"));
    assert!(resin("42").contains("read as 42 %"));
    assert!(
        resin("-0.1").contains("resin_content")
            && resin("150").contains("resin_content")
            && resin("nan").contains("resin_content")
    );
    let with = |lines: &str| said(&format!("{SOUND}\n{lines}\n"));
    for (lines, told) in [
        ("[[cure]]\nto = 80", "the way to 80 °C has no ramp"),
        ("[[cure]]\nto = 80\nrate = 2\nat = 30", "both a rate and a clock time"),
        (
            "[[cure]]\nto = 80\nat = 60\nhold = 30\n[[cure]]\nto = 120\nat = 80",
            "the clock does not go on: 80 min, after 90 min",
        ),
        ("[[cure]]\nto = 80\nrate = 0", "rate"),
        ("[[cure]]\nto = 80\nrate = -2", "rate"),
        ("[[cure]]\nto = 80\nrate = 9", "fast ramp"),
        ("[[cure]]\nrate = 2", "(`to` in [[cure]])"),
        (
            "[layup]\nmould_limit = 90\n[[cure]]\nto = 120\nrate = 2",
            "the mould withstands at most 90 °C",
        ),
        (
            "[layup]\ncore_limit = 90\n[[cure]]\nto = 120\nrate = 2",
            "the core withstands at most 90 °C",
        ),
        ("[layup]\nstart = \"tomorrow\"", "is not a date and time"),
        ("[layup]\nstart = \"2026-12-01\"", "is not a date and time"),
        ("[layup]\nstart = \"2026-02-30 08:00\"", "is not a date and time"),
        ("[layup]\nrelease_expires = \"31.12.2026\"", "is not a date"),
        ("[layup]\nrelease_expires = \"0026-12-31\"", "is not a date"),
        (
            "[layup]\nstart = \"2026-12-01 08:00\"\nrelease_expires = \"2026-11-30\"",
            "before the cure begins",
        ),
        ("[layup]\njoint = [\"tapes\"]", "did you mean \"tape\"?"),
        ("[debulk]\nevery = 0", "every"),
        ("[consumables]\nbag_oversized = 30", "bag_oversize"),
        (
            "[[consumables.bag]]\ntemplates = [\"seats\"]\ngirths = [900, 600]",
            "did you mean \"seat\"?",
        ),
        ("[[consumables.bag]]\ntemplates = [\"seat\"]", "(`girths` in [[consumables.bag]])"),
        ("[[consumables.bag]]\ngirths = [900]", "girths"),
        ("[[consumables.bag]]\ngirths = [\"90 cm\", 0]", "girths"),
        (
            "[consumables]\narea = 0.5\n[[consumables.bag]]\ngirths = [900, 600]",
            "stands beside bags with girths",
        ),
        ("[[finish]]\nname = \"clear coat\"\nareal_mass = 0", "areal_mass"),
    ] {
        let said = with(lines);
        assert!(said.contains(told) && said.contains("job.toml:"), "{lines}: {said}");
    }
    let cloth =
        |line: &str| said(&SOUND.replacen("selvedge = 10", &format!("selvedge = 10\n{line}"), 1));
    assert!(cloth("expiry = \"soon\"").contains("is not a date"));
    assert!(cloth("material = \"core\"").contains("needs its thickness"));
    assert!(cloth("[[cloth.offer]]\nwidth = 15").contains("leave nothing of a width"));
    assert!(cloth("[[cloth.offer]]\nwidth = 900").contains("no price is known"));
}

#[test]
fn the_command_writes_the_sheet_alone() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("plan.json"), warpwise::plan::to_json(demo().plan())).unwrap();
    let run = |words: &[&str]| {
        let out = assert_cmd::Command::cargo_bin("warpwise")
            .unwrap()
            .arg("layup")
            .args(words)
            .output()
            .unwrap();
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        (out.status.code(), text(&out.stdout), text(&out.stderr))
    };
    let folder = dir.path().to_str().unwrap();
    let out = dir.path().join("out");
    let (code, shown, said) =
        run(&[folder, "--out", out.to_str().unwrap(), "--start", "2027-06-02 08:00"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(
        out.join("lay-up.pdf").is_file()
            && shown.contains("WARNING: the release agent expired on 2026-12-12"),
        "{shown}"
    );
    let (code, shown, _) = run(&[folder, "--json"]);
    let json: serde_json::Value = serde_json::from_str(&shown).unwrap();
    assert!(
        code == Some(0)
            && json["laminate"]["parts"][0]["net"].as_f64().unwrap() > 1000.0
            && json["layup"][0]["steps"].is_array()
    );
    assert_eq!(run(&[folder, "--start", "soon"]).0, Some(2));
    assert_eq!(run(&["no-such-plan"]).0, Some(1));
}

/// Beyond 64 places that differ, patches were counted as bare base, without a word.
#[test]
fn eighty_patches_on_a_plate_are_eighty_one_places() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("plate.csv"), "# unit: mm\nx,y\n0,0\n900,0\n900,700\n0,700\n")
        .unwrap();
    let mut text = "[job]\nname = \"plate\"\n[cutting]\ntrim = 0\n[[cloth]]\nid = \"plain\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = 1000\n\
                    selvedge = 10\n[[template]]\nid = \"plate\"\nfile = \"plate.csv\"\narrow = 0\ntaken_off = \"mould\"\ninked_side = \"up\"\n"
        .to_string();
    for k in 0..80 {
        let (x, y) = (50 + 80 * (k % 10), 50 + 80 * (k / 10));
        text += &format!(
            "[[patch]]\nid = \"p{k}\"\non = \"plate\"\ncentre = [{x}, {y}]\nlength = {}\nwidth = 40\n",
            41 + k % 30
        );
    }
    let names: Vec<String> = (0..80).map(|k| format!("\"p{k}\"")).collect();
    text += "[[layer]]\ncloth = \"plain\"\nangle = 0\ntemplates = [\"plate\"]\n";
    text +=
        &format!("[[layer]]\ncloth = \"plain\"\nangle = 45\ntemplates = [{}]\n", names.join(", "));
    let file = dir.path().join("job.toml");
    std::fs::write(&file, text).unwrap();
    let (job, _) = load(&file).unwrap_or_else(|f| panic!("{f}"));
    let run = Run::new(Stop::Effort(0)).with_threads(1);
    let plan = plan(&[job], 1, &run).unwrap().into_plan();
    plan_schema::keeps_to_schema(&plan);
    let regions = laminate(&plan).regions;
    // Sizes by arithmetic: patches of 41 to 70 by 40 mm lie apart on a plate of 900 by 700.
    let wanted = |k: u32| f64::from(41 + k % 30) * 40.0 / 1e6;
    assert_eq!(regions.len(), 81);
    for k in 0..80 {
        let here: Vec<f64> =
            regions.iter().filter(|r| r.patches == [format!("p{k}")]).map(|r| r.area).collect();
        assert!(here.len() == 1 && (here[0] - wanted(k)).abs() < 1e-6, "p{k}: {here:?}");
    }
    let bare: f64 = regions.iter().filter(|r| r.patches.is_empty()).map(|r| r.area).sum();
    // Every corner of a patch laid at 45° lies on the grid of 1 µm.
    assert!((bare - (0.63 - (0..80).map(wanted).sum::<f64>())).abs() < 1e-5, "{bare}");
}

/// Finish was counted on one face whatever was meant, and no paper said on which.
#[test]
fn the_paper_says_on_which_faces_a_finish_is_counted() {
    let with = |faces: &str, seen: &str| {
        let text = SOUND.replacen("seen = \"mould side\"", seen, 1)
            + &format!("\n[[finish]]\nname = \"clear coat\"\nareal_mass = 120\n{faces}\n");
        let dir = folder();
        let (job, _) = parse_with(&text, &job_path(&dir), &read).unwrap_or_else(|f| panic!("{f}"));
        let run = Run::new(Stop::Effort(0)).with_threads(1);
        plan(&[job], 1, &run).unwrap_or_else(|f| panic!("{f:?}"))
    };
    let mould = "seen = \"mould side\"";
    for (faces, seen, words, times) in [
        ("", mould, "one face, the mould side", 1.0),
        ("faces = \"both\"", mould, "both faces", 2.0),
        ("faces = \"mould side\"", mould, "one face, the mould side", 1.0),
        ("", "seen = \"other side\"", "one face, the side away from the mould", 1.0),
    ] {
        let plan = with(faces, seen);
        plan_schema::keeps_to_schema(plan.plan());
        let laminate = laminate(plan.plan());
        let part = &laminate.parts[0];
        assert_eq!(part.finish[0].faces, words);
        // The seen layer lays both templates: their net areas by their parts, from the regions.
        let whole: f64 = laminate
            .regions
            .iter()
            .filter(|r| r.template != "tape")
            .map(|r| r.area * f64::from(r.parts))
            .sum();
        assert!(
            (part.finish[0].area - times * whole).abs() < 1e-6,
            "{faces}: {} of {whole}",
            part.finish[0].area
        );
        assert!((part.finished - part.net - 120.0 * times * whole).abs() < 1e-3);
        let sheet = only(layup(plan.plan(), &When::default()));
        assert!(
            sheet.after.iter().any(|s| s.contains(&format!("clear coat on {words}"))),
            "{:?}",
            sheet.after
        );
        let report = sheet::report(&plan, &[sheet::layup_section(&plan)]);
        assert!(report.contains(&format!("clear coat on {words}, ")), "the report says it");
    }
}
