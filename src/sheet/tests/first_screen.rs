//! The report's first screen, and what of the report is printed.

use super::kayak;
use crate::plan::{DrawnFrom, Plan};
use crate::sheet::{face::View, report};
use crate::stock::Day;

fn plan() -> Plan {
    let mut plan = kayak::plan();
    plan.warnings = vec![
        "layer 2: relief cuts of the seat lie over those of layer 1: shift one set by 25 mm".into(),
    ];
    plan.drawn_from = Some(DrawnFrom {
        ledger: Some("ledger".into()),
        day: Day::parse("2026-11-25").unwrap(),
        cautions: vec!["roll R1 expired on 2026-10-01".into()],
        saved: vec!["1 offcut of cloth ud-150 takes 2 pieces".into()],
        stocks: Vec::new(),
        kit: None,
        cut_before: Vec::new(),
    });
    plan
}

/// The text of a piece of HTML.
fn plain(html: &str) -> String {
    html.split('<')
        .map(|t| t.split_once('>').map_or(t, |t| t.1))
        .collect::<String>()
        .replace("&amp;", "&")
}

#[test]
fn the_first_screen_answers_how_much_what_is_left_what_is_doubtful_and_what_next() {
    let mut plan = plan();
    let html = report::of_plan(&View::new(&plan, None), &[]);
    let main = html.split("<main").nth(1).unwrap();
    let (first, below) = main.split_once("<nav").unwrap();
    assert!(
        !html.split("<main").next().unwrap().contains("<nav"),
        "nothing stands before the answers but the title"
    );
    let first = plain(first);
    for needed in [
        "How much cloth",
        "Carbon twill 2/2, 200 g/m²: 2175 mm of the 1250 mm wide roll (R1)",
        "Carbon unidirectional, 150 g/m²: 700 mm of the 620 mm wide roll, and 1 offcut (8c1e2f-7)",
        "In all 110.69 EUR",
        "What is left",
        // 0.26 m² of offcuts, 0.93875 m² of waste of 2.71875 m², as the fixture has it.
        "2 offcuts to keep, 0.260 m², the largest with 415 × 320 mm; waste 0.939 m² (35 %)",
        "1 offcut of cloth ud-150 takes 2 pieces",
        "What is wrong or doubtful (2)",
        "roll R1 expired on 2026-10-01",
        "layer 2: relief cuts of the seat lie over those of layer 1",
        "What to do next",
        "sheets/placement.pdf",
        "sheets/lay-up.pdf",
        "warpwise stock book PLAN",
    ] {
        assert!(first.contains(needed), "{needed} in\n{first}");
    }
    assert!(
        !first.contains("shift one set by 25 mm") && below.contains("shift one set by 25 mm"),
        "the remedy stands below"
    );
    // A crowd of warnings does not push the rest off the screen, and none is lost.
    plan.warnings = (0..40).map(|i| format!("layer {i}: something: do this")).collect();
    plan.interrupted = true;
    let html = report::of_plan(&View::new(&plan, None), &[]);
    let first = plain(html.split("<main").nth(1).unwrap().split("<nav").next().unwrap());
    assert!(
        first.contains("(42)") && first.contains("and 36 more") && first.contains("stopped early"),
        "{first}"
    );
    assert!((0..40).all(|i| html.contains(&format!("layer {i}: something: do this"))));
    plan.warnings.clear();
    plan.interrupted = false;
    plan.drawn_from = None;
    assert!(plain(&report::of_plan(&View::new(&plan, None), &[])).contains("Nothing was found."));
}

/// The pages are counted by printing it in a browser (`.ci/reference`); here, that what has paper
/// of its own is left out.
#[test]
fn what_has_paper_of_its_own_is_not_printed_again() {
    let more = report::Section {
        id: "layup".into(),
        title: "Lay-up".into(),
        html: String::new(),
        screen_only: true,
    };
    let html = report::of_plan(&View::new(&plan(), None), &[more]);
    let tag = |id: &str| {
        html.split("<section")
            .find(|s| s.contains(&format!("id=\"{id}\"")))
            .unwrap()
            .split('>')
            .next()
            .unwrap()
            .to_string()
    };
    for id in ["placement", "layers", "layup", "search", "printing"] {
        assert!(tag(id).contains("class=\"screen\""), "{}", tag(id));
    }
    for id in ["warnings", "take", "layouts", "pieces", "offcuts", "cautions"] {
        assert!(!tag(id).contains("screen"), "{}", tag(id));
    }
    let print = html.split("@media print{").nth(1).unwrap();
    assert!(print.contains(".screen{display:none}") && print.contains(".paper{display:block}"));
}
