//! What to buy: the same layouts as the plan's, never short of them; figures that add up; stock,
//! rough parts and bad input.
#![allow(clippy::unwrap_used)]

mod plan_schema;

use assert_cmd::Command;
use std::path::Path;
use warpwise::estimate::{Estimate, Spare, Wish, estimate};
use warpwise::job::{Job, parse};
use warpwise::planner::plan;
use warpwise::run::{Cancel, Observer, Phase, Progress, Run, Stop};
use warpwise::stock::{Day, Snapshot};

const JOB: &str = r#"[job]
name = "tapes"
currency = "EUR"

[cutting]
gap = 5

[[cloth]]
id = "twill"
weave = "twill 2/2"
twill_line = 45
up = "paper"
roll_width = 1250
selvedge = 10
areal_mass = 200
resin_content = 0.4
price_per_metre = 50

[[cloth.offer]]
width = 1250
step = "0.5 m"
price_per_metre = 50

[[cloth.offer]]
width = 1250
from = "3 m"
step = "0.5 m"
price_per_metre = 20

[[cloth.offer]]
width = 600
step = "0.5 m"
price_per_metre = 30

[[cloth.offer]]
width = 120
step = "1 m"
price_per_metre = 5

[[cloth]]
id = "heavy"
weave = "plain"
up = "film"
roll_width = 1000
selvedge = 0
areal_mass = 400
resin_content = 0.4
price_per_metre = 60

[[cloth.offer]]
width = 1000
minimum = "2 m"
step = "0.5 m"
price_per_metre = 60

[[strip]]
id = "plate"
length = 500
width = 300

[[strip]]
id = "tape"
length = 400
width = 60

[[layer]]
cloth = "twill"
angle = 0
templates = [{ template = "plate", copies = 5 }]

[[layer]]
cloth = "heavy"
angle = 0
templates = [{ template = "tape", copies = 8 }]
"#;

fn job(text: &str) -> Job {
    parse(text, Path::new("job.toml")).unwrap_or_else(|f| panic!("{f}")).0
}

fn run() -> Run<'static> {
    Run::new(Stop::Effort(1)).with_seed(7).with_threads(1)
}

fn asked(jobs: &[Job], stock: Option<&Snapshot>, sets: u32, spare: Spare) -> Estimate {
    let wish = Wish { jobs, stock, seeds: 2, spare };
    estimate(&wish, sets, &run()).unwrap()
}

#[test]
fn under_the_same_effort_and_seed_it_never_falls_short_of_the_plan() {
    let jobs = [job(JOB)];
    let found = asked(&jobs, None, 1, Spare::PerCent(10.0));
    assert_eq!(found.seeds, [7, 8]);
    for seed in [7, 8] {
        let planned = plan(&jobs, 1, &run().with_seed(seed)).unwrap().into_plan();
        plan_schema::keeps_to_schema(&planned);
        for figures in &planned.cloths {
            let cloth = found.cloths.iter().find(|c| c.cloth == figures.cloth).unwrap();
            let own = cloth.widths.iter().find(|w| w.own).unwrap();
            let [least, most] = own.needed.unwrap();
            assert!(
                least <= figures.used_length && figures.used_length <= most,
                "{}: {least} {most} {}",
                figures.cloth,
                figures.used_length
            );
            assert!(own.buy.as_ref().unwrap().length >= most + own.spare - 1e-9);
            assert!((cloth.pieces_area - figures.pieces_area).abs() < 1.0);
        }
    }
}

#[test]
fn costs_masses_and_areas_add_up_and_breaks_and_least_lengths_hold() {
    let found = asked(&[job(JOB)], None, 1, Spare::PerCent(10.0));
    let of = |id: &str, width: f64| {
        let cloth = found.cloths.iter().find(|c| c.cloth == id).unwrap();
        cloth.widths.iter().find(|w| w.width == width).unwrap().clone()
    };
    // Five plates of 0.15 m² and eight tapes of 0.024 m².
    assert!(
        (found.cloths[0].pieces_area - 750_000.0).abs() < 1.0
            && (found.cloths[1].pieces_area - 192_000.0).abs() < 1.0
    );
    let wide = of("twill", 1250.0);
    let buy = wide.buy.clone().unwrap();
    // Some 0.8 m at 50 a metre for 1 m is cheaper than 3 m at 20.
    assert_eq!((buy.length, buy.cost, buy.more_than_needed), (1000.0, Some(50.0), false));
    assert!((wide.mass.unwrap() - 1.25 * 200.0 / 0.6).abs() < 1e-6, "1.25 m² of 333 g/m²");
    let heavy = of("heavy", 1000.0);
    let buy = heavy.buy.clone().unwrap();
    assert_eq!(
        (buy.length, buy.cost, buy.more_than_needed),
        (2000.0, Some(120.0), true),
        "sold no shorter"
    );
    for cloth in &found.cloths {
        assert_eq!(cloth.widths.iter().filter(|w| w.best).count(), 1);
        for w in cloth.widths.iter().filter(|w| w.needed.is_some()) {
            assert!(w.yield_ > 0.0 && w.yield_ <= 1.0);
            assert!(
                w.needed.unwrap()[1] * w.width * w.yield_ >= cloth.pieces_area * 0.999,
                "{w:?}"
            );
        }
    }
    let best =
        |c: &warpwise::estimate::ClothEstimate| c.widths.iter().find(|w| w.best).unwrap().clone();
    let cost: f64 = found.cloths.iter().map(|c| best(c).buy.unwrap().cost.unwrap()).sum();
    let mass: f64 = found.cloths.iter().map(|c| best(c).mass.unwrap()).sum();
    assert!((found.cost.unwrap() - cost).abs() < 1e-9 && (found.mass.unwrap() - mass).abs() < 1e-9);
}

#[test]
fn a_width_no_piece_fits_says_why_and_if_none_fits_it_is_refused() {
    let found = asked(&[job(JOB)], None, 1, Spare::PerCent(10.0));
    let narrow = found.cloths[0].widths.iter().find(|w| w.width == 120.0).unwrap();
    let why = narrow.why_not.as_deref().unwrap();
    assert!(narrow.needed.is_none() && why.contains("plate") && !narrow.best, "{why}");
    let wish_of = |jobs: &[Job]| {
        let wish = Wish { jobs, stock: None, seeds: 1, spare: Spare::PerCent(0.0) };
        estimate(&wish, 1, &run())
    };
    assert!(
        wish_of(&[job(&JOB.replace("length = 500\nwidth = 300", "length = 2500\nwidth = 2300"))])
            .is_err()
    );
}

#[test]
fn the_spare_piece_is_the_largest_of_its_own_cloth() {
    let found = asked(&[job(JOB)], None, 1, Spare::LargestPiece);
    let spare = |i: usize| found.cloths[i].widths.iter().find(|w| w.own).unwrap().spare;
    assert!(spare(0) == 305.0 || spare(0) == 505.0, "a plate and a gap: {}", spare(0));
    assert!(spare(1) == 65.0 || spare(1) == 405.0, "a tape and a gap: {}", spare(1));
}

#[test]
fn sets_and_several_jobs_are_bought_in_one() {
    let one = job(JOB);
    let other = Job { name: "second".into(), ..one.clone() };
    let area = |e: &Estimate| e.cloths[0].pieces_area;
    let single = asked(std::slice::from_ref(&one), None, 1, Spare::PerCent(10.0));
    assert!(
        (area(&asked(std::slice::from_ref(&one), None, 3, Spare::PerCent(10.0)))
            - 3.0 * area(&single))
        .abs()
            < 1.0
    );
    assert!(
        (area(&asked(&[one, other], None, 1, Spare::PerCent(10.0))) - 2.0 * area(&single)).abs()
            < 1.0
    );
}

fn stock(rolls: &str) -> Snapshot {
    let text = format!(r#"{{ "schema": 1, "day": "2026-11-25", "rolls": [{rolls}] }}"#);
    Snapshot::from_json(&text, Day::parse("2026-11-25").unwrap()).unwrap()
}

#[test]
fn with_a_stock_only_what_is_missing_is_bought() {
    let jobs = [job(JOB)];
    let roll = |length: u32, expiry: &str| {
        format!(
            r#"{{"id": "roll-{length}", "cloth": "twill", "width": 1250, "length": {length}, "age": {{"expiry": "{expiry}"}}, "added": "2026-01-05"}}"#
        )
    };
    let missing = |stock: &Snapshot| {
        let found = asked(&jobs, Some(stock), 1, Spare::PerCent(10.0));
        let cloth = found.cloths.into_iter().find(|c| c.cloth == "twill").unwrap();
        (cloth.enough, cloth.widths.len(), cloth.widths[0].needed.unwrap()[1])
    };
    let whole = asked(&jobs, None, 1, Spare::PerCent(10.0)).cloths[0]
        .widths
        .iter()
        .find(|w| w.own)
        .unwrap()
        .needed
        .unwrap()[1];
    assert_eq!(missing(&stock(&roll(9000, "2027-01-01"))), (true, 1, 0.0));
    let (enough, widths, length) = missing(&stock(&roll(520, "2027-01-01")));
    assert!(!enough && widths == 1 && length > 0.0 && length < whole, "{length} of {whole}");
    assert!(!missing(&stock(&roll(9000, "2026-01-01"))).0, "an expired roll holds nothing");
    // A cloth that the stock does not know is bought whole, in any width.
    let heavy = asked(&jobs, Some(&stock(&roll(9000, "2027-01-01"))), 1, Spare::PerCent(10.0));
    assert!(
        heavy.cloths.iter().find(|c| c.cloth == "heavy").unwrap().widths[0].needed.unwrap()[0]
            > 0.0
    );
}

/// Cancels as soon as the first layout is begun.
struct Impatient<'a>(&'a Cancel);

impl Observer for Impatient<'_> {
    fn progress(&self, p: &Progress<'_>) {
        if p.phase == Phase::FirstLayout && self.0.asked() == 0 {
            self.0.ask();
        }
    }
}

#[test]
fn a_cancel_still_gives_figures_and_says_so() {
    let jobs = [job(JOB)];
    let wish = Wish { jobs: &jobs, stock: None, seeds: 2, spare: Spare::PerCent(10.0) };
    let cancel = Cancel::new();
    let observer = Impatient(&cancel);
    let found = estimate(&wish, 1, &run().with_cancel(&cancel).with_observer(&observer)).unwrap();
    assert!(found.interrupted && found.cloths.iter().all(|c| c.widths.iter().any(|w| w.best)));
    assert!(warpwise::sheet::estimate_notes(&found).iter().any(|n| n.contains("Stopped early")));
}

#[test]
fn pages_and_charts_are_whole_and_a_missing_price_is_told() {
    let found =
        asked(&[job(&JOB.replace("price_per_metre", "# price"))], None, 1, Spare::PerCent(10.0));
    assert_eq!(found.cost, None);
    let page = warpwise::sheet::estimate_page(&found);
    assert!(page.contains("no price") && page.contains("add `price_per_metre`"));
    for chart in warpwise::sheet::estimate_charts(&found) {
        let text = String::from_utf8(chart.bytes).unwrap();
        assert!(roxmltree::Document::parse(&text).is_ok() && !text.contains("NaN"), "{text}");
    }
}

fn warpwise(words: &[&str]) -> (Option<i32>, String, String) {
    let out = Command::cargo_bin("warpwise").unwrap().args(words).output().unwrap();
    let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
    (out.status.code(), text(&out.stdout), text(&out.stderr))
}

#[test]
fn the_command_prints_for_people_and_programs() {
    let dir = tempfile::tempdir().unwrap();
    let path = dir.path().join("job.toml");
    std::fs::write(&path, JOB).unwrap();
    let job = path.to_str().unwrap();
    let out = dir.path().join("out");
    let (code, shown, said) = warpwise(&[
        "estimate",
        job,
        "--effort",
        "1",
        "--seeds",
        "1",
        "--out",
        out.to_str().unwrap(),
    ]);
    assert_eq!(code, Some(0), "{said}");
    assert!(
        shown.lines().all(|l| l.chars().count() <= 80 || l.contains("estimate.html")),
        "{shown}"
    );
    assert!(
        shown.contains("The orders together")
            && out.join("estimate.html").is_file()
            && out.join("estimate-twill.svg").is_file()
    );
    let (code, shown, _) = warpwise(&[
        "estimate",
        job,
        "--part",
        "twill: 0.6 m2 x 5",
        "--part",
        "heavy: 900 x 200 x 2",
        "--json",
    ]);
    let json: serde_json::Value = serde_json::from_str(&shown).unwrap();
    assert_eq!((code, json["waste"]["per_cent"][1].as_f64()), (Some(0), Some(25.0)));
    let (code, shown, _) = warpwise(&["estimate", "--part", "900 x 400 x 3", "--waste", "30"]);
    assert!(code == Some(0) && shown.contains("30 % of the roll"), "{shown}");
}

#[test]
fn wrong_use_is_told_with_a_remedy() {
    for (words, told) in [
        (&["estimate", "job.toml", "--spare", "much"][..], "--spare"),
        (&["estimate", "--part", "nonsense"], "write an area"),
        (&["estimate", "--part", "1 m2", "--waste", "99"], "--waste"),
        (&["estimate", "--part", "3000 x 2000"], "wider than"),
        (&["estimate"], "JOB"),
        (&["estimate", "job.toml", "--effort", "0"], "--effort"),
    ] {
        let (code, _, said) = warpwise(words);
        assert!(code == Some(2) && said.contains(told), "{words:?}: {code:?} {said}");
    }
    let (code, _, said) = warpwise(&["estimate", "no-such-job.toml"]);
    assert!(code == Some(1) && said.contains("no such file"), "{said}");
}

/// Widths that nobody sells were planned and recommended.
#[test]
fn with_offers_only_what_is_offered_is_looked_at() {
    let text = JOB.replace("roll_width = 1250", "roll_width = 1270").replace(
        "price_per_metre = 50\n\n[[cloth.offer]]\nwidth = 1250",
        "\n[[cloth.offer]]\nwidth = 1250",
    );
    let found = asked(&[job(&text)], None, 1, Spare::PerCent(10.0));
    let twill = &found.cloths[0];
    assert_eq!(
        twill.widths.iter().map(|w| w.width).collect::<Vec<_>>(),
        [120.0, 600.0, 1250.0],
        "not the job's 1270"
    );
    assert!(twill.widths.iter().all(|w| w.on_offer && !w.own));
    // The line to order by, its figures worked out from the row's needed length.
    let heavy = &found.cloths[1];
    let row = heavy.widths.iter().find(|w| w.best).unwrap();
    let left = (2000.0 - row.needed.unwrap()[1]) / 1000.0;
    let order = heavy.order("EUR").unwrap();
    let wanted = "Order 2.00 m of heavy, 1000 mm wide, sold in steps of 0.50 m: 120.00 EUR, 60.00 a metre. That is more than is needed";
    assert!(order.starts_with(wanted), "{order}");
    assert!(
        order.contains(&format!("Left over when all is cut: {left:.2} m"))
            && !order.contains("if you can get it"),
        "{order}"
    );
}

#[test]
fn without_offers_other_widths_are_only_if_you_can_get_them() {
    let (before, rest) = JOB.split_once("[[cloth.offer]]").unwrap();
    let twill_alone = format!("{before}[[cloth]]{}", rest.split_once("[[cloth]]").unwrap().1);
    let found = asked(&[job(&twill_alone)], None, 1, Spare::PerCent(10.0));
    let twill = &found.cloths[0];
    assert!(twill.widths.len() > 4);
    for w in &twill.widths {
        assert_eq!((w.on_offer, w.own), (w.width == 1250.0, w.width == 1250.0));
        assert_eq!(w.best, w.own, "the job's own roll is the one that is there");
    }
    let order = twill.order("EUR").unwrap();
    assert!(order.contains("1250 mm wide, in steps of 0.50 m (ask: no offer says)"), "{order}");
    let page = warpwise::sheet::estimate_page(&found);
    assert!(page.contains("if you can get it") && page.contains("Order "));
}

#[test]
fn a_finish_is_reckoned_on_the_faces_that_the_job_says() {
    let coat = |more: &str| {
        format!(
            "{JOB}\n[[finish]]\nname = \"clear coat\"\nareal_mass = 100\nprice_per_square_metre = 8\n{more}"
        )
    };
    let of = |more: &str| {
        asked(
            &[job(&coat(more).replacen("angle = 0", "angle = 0\nseen = \"mould side\"", 1))],
            None,
            2,
            Spare::PerCent(0.0),
        )
        .finishes
    };
    // Two sets of five plates of 0.5 by 0.3 m.
    for (more, words, area) in [
        ("", "one face, the mould side", 1.5),
        ("faces = \"both\"", "both faces", 3.0),
        ("faces = \"other side\"", "one face, the side away from the mould", 1.5),
    ] {
        let found = of(more);
        assert_eq!((found.len(), found[0].faces.as_str()), (1, words));
        assert!(
            (found[0].area - area).abs() < 1e-9 && (found[0].mass - 100.0 * area).abs() < 1e-6,
            "{found:?}"
        );
        assert_eq!(found[0].cost, Some(8.0 * area));
    }
}
