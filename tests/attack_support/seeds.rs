//! Sound inputs to begin with: files of the demo, and what the program writes itself.

use super::jobs::random_support;
use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::path::Path;
use warpwise::cloth::Face;
use warpwise::geometry::point;
use warpwise::ledger::{FreezerMove, Ledger, Moment, Record};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Age, Day, OffcutFacts, RollFacts};
use warpwise::{job, plan, planner};

/// The seeds of a target.
pub fn seeds(target: &str) -> Vec<Vec<u8>> {
    macro_rules! demo {
        ($($name:literal),*) => {
            vec![$(include_bytes!(concat!("../../demo-data/", $name)).to_vec()),*]
        };
    }
    match target {
        "svg" => [demo!["seat.svg", "hip-plate.svg", "heel-rest.svg"], vec![SVG.into()]].concat(),
        "dxf" => demo!["back-rest.dxf", "coaming.dxf", "foot-plate.dxf", "hatch-rim.dxf"],
        "csv" => [demo!["floor.csv"], vec![CSV.into()]].concat(),
        "stations" => vec![STATIONS.into(), STATIONS.replace(',', ";").replace('.', ",").into()],
        "job" => [demo!["job.toml", "hatch.toml"], vec![JOB.into()]].concat(),
        "draft" => EDITS.iter().map(|edit| format!("{edit}\n{JOB}").into()).collect(),
        "plan" => (0..40).filter_map(small_plan).take(4).collect(),
        "photo" => photos(),
        "stock" => demo!["stock.json", "offcuts.json"],
        "import" => [
            demo!["stock.json"],
            ledger(|ledger, _| ledger.export(&now()).map(String::into_bytes).ok()),
        ]
        .concat(),
        "ledger" => ledger(|_, file| std::fs::read(file).ok()),
        _ => {
            let mut dice = Pcg64Mcg::seed_from_u64(7);
            let bytes = |dice: &mut Pcg64Mcg, n| (0..n).map(|_| dice.next_u64() as u8).collect();
            (0..24).map(|k| bytes(&mut dice, 40 + 24 * k)).collect()
        }
    }
}

fn small_plan(k: u64) -> Option<Vec<u8>> {
    let dir = tempfile::tempdir().ok()?;
    random_support::write_job(dir.path(), k);
    let (job, _) = job::load(&dir.path().join("job.toml")).ok()?;
    let verified = planner::plan(&[job], 1, &Run::new(Stop::Effort(0)).with_threads(1)).ok()?;
    let text = plan::to_json(verified.plan());
    (text.len() < 40_000).then(|| text.into_bytes())
}

fn photos() -> Vec<Vec<u8>> {
    let picture = image::RgbImage::from_fn(400, 400, |x, y| {
        image::Rgb([x as u8, y as u8, if (x / 40 + y / 40) % 2 == 0 { 20 } else { 230 }])
    });
    let written = |format| {
        let mut bytes = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut bytes, format).ok().map(|()| bytes.into_inner())
    };
    [image::ImageFormat::Jpeg, image::ImageFormat::Png].into_iter().filter_map(written).collect()
}

fn now() -> Moment {
    let day = Day::try_from("2026-11-25".to_string());
    Moment { seconds: 1_795_608_000, day: day.unwrap_or_else(|why| panic!("{why}")) }
}

/// What can be had of a ledger in which something of everything was done.
fn ledger(take: impl Fn(&Ledger, &Path) -> Option<Vec<u8>>) -> Vec<Vec<u8>> {
    let Ok(dir) = tempfile::tempdir() else { return Vec::new() };
    let file = dir.path().join("stock.sqlite");
    let made = || -> Result<Ledger, warpwise::ledger::Trouble> {
        let mut ledger = Ledger::write(&file)?;
        let age = Age { out_life_hours: Some(400.0), ..Age::default() };
        let roll = RollFacts {
            id: String::new(),
            cloth: "twill".into(),
            width: 1000.0,
            length: Some(5000.0),
            flaws: vec![vec![point(30.0, 0.0), point(60.0, 0.0), point(60.0, 90.0)]],
            batch: Some("B1".into()),
            age,
            place: None,
            added: now().day,
            revision: 0,
        };
        ledger.add_roll(roll, true, true, &now())?;
        let offcut = OffcutFacts {
            id: String::new(),
            cloth: "twill".into(),
            outline: vec![point(0.0, 0.0), point(300.0, 0.0), point(280.0, 200.0)],
            holes: Vec::new(),
            flaws: Vec::new(),
            face: Face::Down,
            batch: None,
            age,
            place: Some("box 2".into()),
            added: now().day,
            parent: None,
            revision: 0,
        };
        ledger.add_offcuts(vec![offcut.clone(), offcut], false, false, &now())?;
        ledger.freezer(&["off-1".into()], FreezerMove::Out, &now())?;
        ledger.edit("roll-1", "measured", &now(), |r| {
            if let Record::Roll(r) = r {
                r.facts.length = Some(4000.0)
            }
        })?;
        ledger.remove(&["off-2".into()], &now())?;
        ledger.undo(&now())?;
        Ok(ledger)
    };
    made().ok().and_then(|ledger| take(&ledger, &file)).into_iter().collect()
}

const SVG: &str = r##"<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE svg [<!ENTITY ns "http://www.w3.org/2000/svg">]>
<svg xmlns="http://www.w3.org/2000/svg" width="400mm" height="300mm" viewBox="0 0 400 300">
<style>.c { fill: none } g > path:first-child { display: inline }</style><defs><g id="p">
<rect x="1" y="2" width="30" height="20" rx="4"/></g><symbol id="s" viewBox="0 0 9 9">
<circle r="4" cx="5" cy="5"/></symbol></defs><g id="seat" class="c" transform="rotate(3, 9 9)">
<path id="net" d="M100 50 H300 C310 90 320 120 300 250 s-80 -12 -100 3 Q150 260 100 250 A30 60 10 0 1 100 50 Z"/>
<g id="seat-arrow"><path d="M150 200 L250 200"/></g><g id="cuts"><path d="m300 100 l-50 10"/></g>
<path id="hole" d="M180 100 h20 v20 h-20 z"/><ellipse id="no-splice" cx="170" cy="75" rx="20" ry="10"/>
<g id="lap"><path d="M100 50 H300"/></g></g><use href="#p" x="330" y="10"/>
<use href="#s" x="330" y="100" width="50" height="40"/>
<svg x="330" y="200" width="40" height="40" viewBox="0 0 4 4"><polygon points="0,0 4,0 2,3"/></svg>
</svg>
"##;

const CSV: &str = "# unit: mm
part;line;x;y;edge
seat;outline;0;0;lap
seat;outline;100,5;0;
seat;outline;100;100;dart
seat;outline;50;60;dart
seat;outline;0;100;lap
seat;hole 1;10;10;
seat;hole 1;20;10;
seat;hole 1;20;20;
seat;relief cut;100;50;
seat;relief cut;80;50;
seat;arrow;20;50;
seat;arrow;70;50;
\"hatch, fore\";;200;0;
\"hatch, fore\";;250;0;
\"hatch, fore\";;250;50;
";

const STATIONS: &str = "station_mm,left_mm,right_mm,note
0,0,0,bow
100,40.5,42,
220,81,80,
400,95.5,96,rib
610,60,61,
700,0,0,stern
";

const JOB: &str = r#"# A plate and a strip.
[job]
name = "plate"
[cutting]
trim = 10
gap = 5
bench_length = "2.4 m"
[splice]
lap = 25
stagger = 50
[[cloth]]
id = "twill"
weave = "twill 2/2"
twill_line = 45
up = "paper"
roll_width = 300
selvedge = 10
[[cloth.flaw]]
from = 100
to = 140
[[template]]
id = "plate"
file = "plate.csv"
arrow = 90
taken_off = "mould"
inked_side = "up"
edge = "lap"
hands = "both"
[[template]]
id = "rim"
file = "rim.csv"
arrow = 0
[[patch]]
id = "pad"
on = "plate"
centre = [200, 120]
length = 60
width = 30
step_back = 3
[[strip]]
id = "tape"
length = 900
width = 30
[[layer]]
cloth = "twill"
angle = 45
templates = ["plate", "rim", { template = "tape", copies = 3 }]
[[layer]]
cloth = "twill"
angle = -45
templates = ["pad"]
copies = 2
"#;

const EDITS: [&str; 8] = [
    r#"{"set":{"at":"cloth.0.roll_width","to":1250}}"#,
    r#"{"set":{"at":"cloth.0.offer.1.price","to":[1,"a",{"x":true}]}}"#,
    r#"{"clear":{"at":"template.1"}}"#,
    r#"{"add":{"section":"layer","keys":[["cloth","twill"],["angle",0],["templates",["rim"]]]}}"#,
    r#"{"move":{"section":"layer","from":1,"to":0}}"#,
    r#"{"rename":{"at":"template.0.id","to":"deck"}}"#,
    r#"{"lay":{"layer":1,"template":"rim","on":true}}"#,
    r#"{"all":[{"lay_as":{"layer":0,"template":"plate","hands":"both","copies":2}},{"clear":{"at":"splice"}}]}"#,
];
