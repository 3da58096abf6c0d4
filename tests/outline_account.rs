//! Nothing that is drawn vanishes: each line of a drawing is in the account once, with what it was
//! taken for or why it was not used. The drawings are as a person makes them; the counts beside
//! them are counted by hand.

#![allow(clippy::unwrap_used)]

use assert_cmd::Command;
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use warpwise::fault::Faults;
use warpwise::outline::{ReadOptions, Reading, account_rows, read_bytes};

fn read(name: &str, text: &str) -> Result<Reading, Faults> {
    read_bytes(Path::new(name), text.as_bytes(), &ReadOptions::default())
}

fn good(name: &str, text: &str) -> Reading {
    read(name, text).unwrap_or_else(|f| panic!("{f}"))
}

/// `what it was taken for, in which name` → how many.
fn told(reading: &Reading) -> BTreeMap<(String, String), usize> {
    let rows = account_rows(&reading.account);
    assert_eq!(rows.iter().map(|r| r.count).sum::<usize>(), reading.account.len());
    assert!(
        rows.iter()
            .all(|r| r.count == r.labels.len() && (r.taken_for.is_some() != r.why.is_some())),
        "{rows:#?}"
    );
    rows.into_iter()
        .map(|r| ((r.taken_for.map_or(format!("no {}", r.what), String::from), r.name), r.count))
        .collect()
}

fn table(rows: &[(&str, &str, usize)]) -> BTreeMap<(String, String), usize> {
    rows.iter()
        .map(|&(taken, name, count)| ((taken.to_string(), name.to_string()), count))
        .collect()
}

fn layer(id: u32, label: &str, body: &str) -> String {
    format!(r#"<g inkscape:groupmode="layer" id="layer{id}" inkscape:label="{label}">{body}</g>"#)
}

fn page(body: &str) -> String {
    format!(
        r#"<svg xmlns="http://www.w3.org/2000/svg" xmlns:inkscape="http://www.inkscape.org/namespaces/inkscape"
 width="400mm" height="300mm" viewBox="0 0 400 300">{body}</svg>"#
    )
}

/// A fairing with its window, drawn in layers; 12 lines and a text.
fn fairing(window: &str, direction: &str) -> String {
    page(
        &[
            layer(1, "fairing", r#"<path id="path10" d="M20 20 H380 V280 H20 Z"/>"#),
            layer(2, "window", window),
            layer(3, direction, r#"<path id="path20" d="M100 250 L200 250"/><path id="path21" d="M192 246 L200 250 L192 254"/>"#),
            layer(4, "relief cuts", r#"<path id="path30" d="M20 100 h30 M20 120 h30 M20 140 h30"/>"#),
            layer(5, "station marks", r#"<path id="path40" d="M150 20 v260"/><path id="path41" d="M250 20 v260"/>"#),
            layer(6, "lap", r#"<path id="path50" d="M20 20 H380"/>"#),
            layer(7, "sketch", r#"<path id="path60" d="M60 200 L90 230"/><text x="9" y="9">starboard</text>"#),
        ]
        .concat(),
    )
}

const WINDOW: &str = r#"<path id="path12" d="M120 100 h60 v40 h-60 z"/>"#;

#[test]
fn every_line_of_a_drawing_in_layers_is_named_once() {
    let reading = good("fairing.svg", &fairing(WINDOW, "arrow"));
    let want = table(&[
        ("net line", "fairing", 1),
        ("hole", "window", 1),
        ("arrow", "arrow", 2),
        ("relief cut", "relief cuts", 3),
        ("mark", "station marks", 2),
        ("lap edge", "lap", 1),
        ("no line", "sketch", 1),
        ("no text", "sketch", 1),
    ]);
    assert_eq!(told(&reading), want);
    // The stray line is said by every command that reads the drawing; the lettering is not worth a
    // warning.
    assert_eq!(reading.warnings.len(), 1, "{:?}", reading.warnings);
    assert!(
        reading.warnings[0].what.contains("1 line in \"sketch\" was not used"),
        "{}",
        reading.warnings[0]
    );
}

#[test]
fn a_group_called_fibre_is_asked_about() {
    let reading = good("fairing.svg", &fairing(WINDOW, "fibre"));
    assert_eq!(told(&reading)[&("no line".into(), "fibre".into())], 2);
    // The stray line in "sketch" is straight too, but only the other has a name that speaks of a
    // direction. From (100, 50) to (200, 50).
    let maybe = &reading.maybe_arrows[0];
    assert_eq!(
        (reading.maybe_arrows.len(), maybe.name.as_str(), maybe.labels.len()),
        (1, "fibre", 2)
    );
    assert_eq!(maybe.ends.map(|p| (p.x, p.y)), [(100.0, 50.0), (200.0, 50.0)]);
    let asked = reading.warnings.iter().find(|w| w.what.contains("\"fibre\"")).unwrap();
    assert!(
        asked.what.starts_with("2 lines")
            && asked.remedy.contains("is it the arrow")
            && asked.to_paste() == Some("arrow = 0"),
        "{asked}"
    );
    // A closed one would be cut out as a hole.
    let closed =
        WINDOW.to_string() + r#"</g><g id="fibre"><path d="M300 100 h40 l10 5 l-10 5 h-40 z"/>"#;
    let reading = good("fairing.svg", &fairing(&closed, "arrow"));
    assert!(
        reading.warnings.iter().any(|w| w.what.contains("\"fibre\" was taken for a hole")),
        "{:?}",
        reading.warnings
    );
}

#[test]
fn a_window_left_open_by_a_small_gap_is_closed_and_told() {
    // 1.5 mm short of closing, and the same window by hand.
    let reading =
        good("fairing.svg", &fairing(r#"<path d="M120 100 h60 v40 h-60 v-38.5"/>"#, "arrow"));
    assert_eq!(told(&reading)[&("hole".into(), "window".into())], 1);
    assert_eq!(warpwise::geometry::ring_area(&reading.outlines[0].holes()[0]), -60.0 * 40.0);
    assert!(
        reading
            .warnings
            .iter()
            .any(|w| w.what.contains("open by 1.50 mm") && w.what.contains("closed straight")),
        "{:?}",
        reading.warnings
    );
}

#[test]
fn a_window_left_open_by_more_is_refused() {
    // 2.4 mm of 1,000 mm is within 1 %: joining is offered, and the offer holds.
    let wide = r#"<path d="M60 60 h300 v200 h-300 v-197.6"/>"#;
    let svg = page(
        &(layer(1, "fairing", r#"<path d="M20 20 H380 V280 H20 Z"/>"#) + &layer(2, "window", wide)),
    );
    let faults = read("fairing.svg", &svg).unwrap_err();
    assert!(faults.0[0].what.contains("a hole is open: its ends are 2.40 mm apart"), "{faults}");
    let join_tolerance: f64 =
        faults.0[0].to_paste().unwrap().strip_prefix("join_ends = ").unwrap().parse().unwrap();
    let joined = read_bytes(
        Path::new("f.svg"),
        svg.as_bytes(),
        &ReadOptions { join_tolerance, ..ReadOptions::default() },
    )
    .unwrap();
    assert_eq!(joined.outlines[0].holes().len(), 1);
    assert!(
        joined.warnings.iter().any(|w| w.what.contains("2.400 mm apart were joined")),
        "{:?}",
        joined.warnings
    );
    // 10 mm of 200 mm is no slip of the pen, but no line on a nameless layer either.
    let faults =
        read("fairing.svg", &fairing(r#"<path d="M120 100 h60 v40 h-60 v-30"/>"#, "arrow"))
            .unwrap_err();
    assert!(
        faults.0[0].what.contains("a hole is open") && faults.0[0].to_paste().is_none(),
        "{faults}"
    );
}

/// Group codes and values, written `code value` on a line each, as DXF text in mm.
fn dxf(entities: &str) -> String {
    let pair = |line: &str| {
        line.split_once(' ')
            .map_or(format!("{line}\n\n"), |(code, value)| format!("{code}\n{value}\n"))
    };
    let body: String =
        entities.lines().map(str::trim).filter(|l| !l.is_empty()).map(pair).collect();
    format!(
        "0\nSECTION\n2\nHEADER\n9\n$INSUNITS\n70\n4\n0\nENDSEC\n0\nSECTION\n2\nENTITIES\n{body}0\nENDSEC\n0\nEOF\n"
    )
}

fn polyline(layer: &str, closed: bool, points: &[(f64, f64)]) -> String {
    let corners: String = points.iter().map(|(x, y)| format!("10 {x}\n20 {y}\n")).collect();
    format!("0 LWPOLYLINE\n8 {layer}\n90 {}\n70 {}\n{corners}", points.len(), u8::from(closed))
}

#[test]
fn every_entity_of_a_cad_drawing_is_named_once() {
    let square =
        |layer: &str, a: f64, b: f64| polyline(layer, true, &[(a, a), (b, a), (b, b), (a, b)]);
    let mline = |layer: &str| {
        format!(
            "0 MLINE\n8 {layer}\n2 STANDARD\n40 1\n70 1\n71 3\n72 2\n10 50\n20 50\n11 50\n21 50\n"
        )
    };
    let entities = [
        square("FAIRING", 0.0, 300.0),
        mline("WINDOW"),
        mline("WINDOW"),
        polyline("FIBRE", false, &[(20.0, 200.0), (20.0, 280.0)]),
        polyline("NOTCH", false, &[(0.0, 100.0), (8.0, 100.0)]),
        "0 LINE\n8 CENTRE\n10 150\n20 0\n11 150\n21 300\n".into(),
        "0 WIPEIN\n8 SHAPE\n10 1\n20 1\n".into(),
        "0 TEXT\n8 NOTES\n10 1\n20 1\n1 starboard\n".into(),
        "0 DIMENSION\n8 DIM\n10 1\n20 1\n".into(),
        // On a paper layout.
        "0 LINE\n8 FRAME\n67 1\n10 0\n20 0\n11 5\n21 5\n".into(),
    ];
    let reading = good("fairing.dxf", &dxf(&entities.concat()));
    let want = table(&[
        ("net line", "FAIRING", 1),
        ("no MLINE", "WINDOW", 2),
        ("no line", "FIBRE", 1),
        ("relief cut", "NOTCH", 1),
        ("no line", "CENTRE", 1),
        ("no WIPEIN", "SHAPE", 1),
        ("no TEXT", "NOTES", 1),
        ("no DIMENSION", "DIM", 1),
        ("no LINE", "FRAME", 1),
    ]);
    assert_eq!(told(&reading), want);
    assert_eq!(reading.account.len(), entities.len());
    // What a person sees as a line is warned of, once for each layer and reason.
    let warned: Vec<&str> = reading.warnings.iter().map(|w| w.what.as_str()).collect();
    for what in [
        "2 MLINEs in \"WINDOW\" were not used",
        "in \"FIBRE\" was not used",
        "in \"CENTRE\" was not used",
        "1 WIPEIN in \"SHAPE\" was not",
    ] {
        assert_eq!(warned.iter().filter(|w| w.contains(what)).count(), 1, "{what}: {warned:#?}");
    }
    assert_eq!(warned.len(), 4, "{warned:#?}");
    assert_eq!(reading.maybe_arrows[0].ends.map(|p| (p.x, p.y)), [(20.0, 200.0), (20.0, 280.0)]);
}

#[test]
fn every_line_of_a_table_is_named_once() {
    let text = "part,line,x_mm,y_mm,edge\nfloor,outline,0,0,lap\nfloor,outline,400,0,\nfloor,outline,400,300,\nfloor,outline,0,300,\n\
                floor,hole,50,50,\nfloor,hole,90,50,\nfloor,hole,90,90,\nfloor,cut,0,150,\nfloor,cut,20,150,\nfloor,cut 2,0,200,\nfloor,cut 2,20,200,\n\
                floor,arrow,100,100,\nfloor,arrow,200,100,\n";
    let want = [
        ("net line", "outline", 1),
        ("lap edge", "outline", 1),
        ("hole", "hole", 1),
        ("relief cut", "cut", 1),
        ("relief cut", "cut 2", 1),
        ("arrow", "arrow", 1),
    ];
    assert_eq!(told(&good("floor.csv", text)), table(&want));
    // A table has no line without a meaning: another name is a fault.
    let faults = read("floor.csv", &text.replace("floor,arrow", "floor,fibre")).unwrap_err();
    assert!(
        faults.0[0].what.contains("\"fibre\" is not a kind of line")
            && faults.0[0].remedy.contains("arrow"),
        "{faults}"
    );
}

#[test]
fn new_and_check_say_what_every_line_was_taken_for() {
    let dir = tempfile::tempdir().unwrap();
    let drawing = dir.path().join("fairing.svg");
    fs::write(&drawing, fairing(WINDOW, "fibre")).unwrap();
    let job = dir.path().join("job");
    let warpwise = || Command::cargo_bin("warpwise").unwrap();
    let shown = |out: std::process::Output| {
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
        (String::from_utf8(out.stdout).unwrap(), String::from_utf8(out.stderr).unwrap())
    };
    let new = shown(warpwise().arg("new").arg(&job).arg(&drawing).output().unwrap());
    assert!(
        fs::read_to_string(job.join("job.toml"))
            .unwrap()
            .contains("arrow = 0                        # CHECK: 0° of the part, as the line in")
    );
    let check = shown(warpwise().arg("check").arg(job.join("job.toml")).output().unwrap());
    for (out, err) in [new, check] {
        let rows: Vec<&str> = out
            .lines()
            .skip_while(|l| !l.starts_with("fairing.svg: 12 lines"))
            .skip(1)
            .take_while(|l| l.starts_with("  "))
            .collect();
        let counts = rows.iter().filter_map(|l| l.get(17..21)?.trim().parse::<usize>().ok());
        assert_eq!(counts.sum::<usize>(), 12, "{out}");
        for words in [
            "net line          1  \"fairing\"",
            "hole              1  \"window\"",
            "not used          2  line in \"fibre\"",
        ] {
            assert!(rows.iter().any(|l| l.contains(words)), "{words} is not in\n{out}");
        }
        assert!(out.lines().all(|l| l.chars().count() <= 80 || l.contains("job.toml")), "{out}");
        assert!(err.contains("is it the arrow"), "{err}");
    }
    // Without a direction the job is refused, with the line that may be it and what to write.
    let toml = fs::read_to_string(job.join("job.toml")).unwrap();
    fs::write(job.join("job.toml"), toml.replace("\narrow = 0 ", "\n# arrow = 0 ")).unwrap();
    let out = warpwise().arg("check").arg(job.join("job.toml")).output().unwrap();
    let err = String::from_utf8(out.stderr).unwrap();
    assert_eq!(out.status.code(), Some(1));
    assert!(
        err.contains("shows no arrow") && err.contains("`fibre` is the arrow, write: arrow = 0"),
        "{err}"
    );
    let json: serde_json::Value = {
        fs::write(job.join("job.toml"), &toml).unwrap();
        let out = warpwise().arg("check").arg(job.join("job.toml")).arg("--json").output().unwrap();
        serde_json::from_slice(&out.stdout).unwrap()
    };
    let counted = json["drawings"][0]["lines"]
        .as_array()
        .unwrap()
        .iter()
        .map(|l| l["count"].as_u64().unwrap())
        .sum::<u64>();
    assert_eq!(counted, 12);
}
