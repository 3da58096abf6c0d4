//! The page of the stock: what comes in, what is booked, what is found.
#![allow(clippy::unwrap_used)]

mod page_support;

use page_support::*;

#[test]
fn booking_is_shown_before_it_is_done_and_can_be_undone() {
    let s = Server::begin();
    let add = [
        ("kind", "roll"),
        ("cloth", "twill-200"),
        ("width", "1250"),
        ("length", "9 m"),
        ("new_cloth", "twill-200"),
        ("out_life", "480"),
    ];
    assert!(s.form("/stock/add", &add).text().contains("9.00 m"));
    assert_eq!(
        s.form("/stock/add", &[("kind", "roll"), ("cloth", "twill-200"), ("width", "wide")]).status,
        422
    );
    s.form("/jobs", &[("name", "tapes")]);
    assert!(s.job_text("tapes").contains("stock = \"../stock.sqlite\""));
    assert_eq!(
        s.form("/job/tapes/plan/begin", &[("seconds", "0.2"), ("sets", "1"), ("seed", "1")]).status,
        200
    );
    s.hear("tapes", "\"phase\":\"done\"");
    let tried = s.form("/job/tapes/book", &[("sure", "")]);
    assert!(tried.status == 200 && tried.text().contains("roll-1"), "{}", tried.text());
    assert!(s.get("/stock").text().contains("9.00 m"), "nothing is booked yet");
    assert_eq!(s.form("/job/tapes/book", &[("sure", "yes")]).status, 200);
    assert!(!s.get("/stock").text().contains("9.00 m"));
    assert_eq!(s.form("/job/tapes/book", &[("sure", "yes")]).status, 422, "once is enough");
    assert!(s.form("/stock/undo", &[]).text().contains("9.00 m"));
    assert!(s.form("/stock/move", &[("id", "roll-1"), ("way", "out")]).text().contains("\"in\""));
    assert_eq!(s.form("/stock/move", &[("id", "roll-7"), ("way", "out")]).status, 422);
}

#[test]
fn the_box_is_searched_by_size() {
    let s = Server::begin();
    let add = |length: &str, width: &str| {
        let size = [("length", length), ("width", width)];
        let cloth = [("kind", "offcut"), ("cloth", "twill-200"), ("new_cloth", "twill-200")];
        s.form("/stock/add", &[&cloth[..], &size[..]].concat()).status
    };
    assert_eq!((add("700", "300"), add("200", "900")), (200, 200));
    let found = |query: &str| {
        let page = s.get(&format!("/stock/find?{query}")).text();
        ["off-1", "off-2"].map(|id| page.contains(&format!("<b>{id}</b>")))
    };
    assert_eq!(found("along=&across="), [true, true]);
    assert_eq!(found("along=650&across=25+cm"), [true, false]);
    assert_eq!(
        found("along=&across=800"),
        [false, true],
        "the warp runs along, whatever is longer"
    );
    assert_eq!(found("along=650&across=650"), [false, false]);
    for none in ["wide", "-400", "0", "nan"] {
        assert_eq!(s.get(&format!("/stock/find?along={none}&across=200")).status, 422, "{none}");
    }
}

/// An offcut of -300 × 300 was recorded as one of 300 × 300.
#[test]
fn nothing_comes_into_the_stock_with_a_size_that_no_thing_has() {
    let s = Server::begin();
    for kind in ["roll", "offcut"] {
        for [length, width] in [["-300", "300"], ["300", "-300"], ["0", "300"], ["nan", "300"]] {
            let size = [("kind", kind), ("length", length), ("width", width)];
            let cloth = [("cloth", "twill-200"), ("new_cloth", "twill-200")];
            let answer = s.form("/stock/add", &[&size[..], &cloth[..]].concat());
            assert_eq!(answer.status, 422, "{kind} {length} {width}: {}", answer.text());
        }
    }
}

/// Adds a roll of a cloth that the form was told is new.
fn roll(s: &Server, cloth: &str) -> u16 {
    let fields = [("kind", "roll"), ("cloth", cloth), ("width", "1250"), ("length", "9 m")];
    s.form("/stock/add", &[&fields[..], &[("new_cloth", cloth)]].concat()).status
}

#[test]
fn a_cloth_that_nobody_knows_is_asked_about_before_it_is_a_new_one() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "tapes")]);
    let add = |kind: &str, more: &[(&str, &str)]| {
        let size = [("kind", kind), ("width", "600"), ("length", "900")];
        s.form("/stock/add", &[&size[..], more].concat())
    };
    // The job's cloth is known; a slip of the pen is not.
    let asked = add("roll", &[("cloth", "twil-200")]);
    assert_eq!((asked.status, asked.header("hx-retarget")), (422, Some("#asks-roll")));
    assert!(asked.text().contains("Is twill-200 meant?"), "{}", asked.text());
    let page = s.get("/stock").text();
    assert!(!page.contains("roll-1") && page.contains("<option value=\"twill-200\">"), "{page}");
    assert_eq!(add("roll", &[("cloth", "twill-200")]).status, 200);
    // Yes is said to a name, not to whatever is typed after it.
    let asked = add("offcut", &[("cloth", "flax"), ("new_cloth", "flat")]);
    assert_eq!((asked.status, asked.header("hx-retarget")), (422, Some("#asks-offcut")));
    assert_eq!(add("offcut", &[("cloth", "flax"), ("new_cloth", "flax")]).status, 200);
    assert_eq!(add("offcut", &[("cloth", " flax ")]).status, 200);
    // The library's names are known as well.
    std::fs::write(s.home.path().join("cloths.toml"), "schema = 1\n[[cloth]]\nid = \"mat\"\n")
        .unwrap();
    assert_eq!(add("roll", &[("cloth", "mat")]).status, 200);
}

/// A job that lays its example tape, planned from the stock.
fn plan_tapes(s: &Server, job: &str) -> serde_json::Value {
    let settings = [("seconds", "0.2"), ("sets", "1"), ("seed", "1")];
    assert_eq!(s.form(&format!("/job/{job}/plan/begin"), &settings).status, 200);
    s.hear(job, "\"phase\":\"done\"");
    serde_json::from_slice(&s.get(&format!("/job/{job}/plan/file/plan.json")).body).unwrap()
}

#[test]
fn the_next_job_begins_where_the_roll_begins_after_the_first_is_booked() {
    let s = Server::begin();
    assert_eq!(roll(&s, "twill-200"), 200);
    s.form("/jobs", &[("name", "tapes")]);
    s.form("/jobs", &[("name", "more")]);
    // Two layers: one tape cut is a part of the plan.
    let text = s.job_text("tapes").replace("copies = 1 ", "copies = 2 ");
    std::fs::write(s.home.path().join("tapes/job.toml"), text).unwrap();
    let first = plan_tapes(&s, "tapes");
    let used = first["cloths"][0]["used_length"].as_f64().unwrap();
    let state: serde_json::Value =
        serde_json::from_slice(&s.get("/job/tapes/bench/state").body).unwrap();
    let piece = first["stocks"][0]["placed"][0]["piece"].clone();
    let tick = |key: &str, copy: u32| {
        let tick = serde_json::json!({ "key": key, "piece": piece, "copy": copy, "to": "cut" });
        told(
            &s,
            "/job/tapes/bench/tick",
            &serde_json::json!({ "kit": state["kit"], "ticks": [tick] }),
        )
    };
    tick("key-00000001", 1);
    // While it is cut in part, a plan of another job is warned of it.
    let page = s.get("/job/more/plan").text();
    assert!(page.contains("roll-1 is being cut by the plan of tapes"), "{page}");
    assert!(!s.get("/job/tapes/plan").text().contains("is being cut by the plan of"));
    tick("key-00000002", 2);
    let page = s.get("/job/more/plan").text();
    assert!(!page.contains("is being cut by"), "{page}");
    // Without what the first left over, which the next would take.
    assert_eq!(s.form("/stock/remove", &[("id", "off-1")]).status, 200);
    let second = plan_tapes(&s, "more");
    let on = &second["stocks"][0];
    // The example is as long as it is: nothing of the first plan is counted again.
    assert!(on["flaws"].as_array().unwrap().is_empty() && on["id"] == "roll-1", "{on}");
    assert_eq!(second["cloths"][0]["used_length"].as_f64().unwrap(), used);
    assert_eq!(s.form("/job/more/book", &[("sure", "yes")]).status, 200);
    let left = format!("{:.2} m", 9.0 - 2.0 * used / 1000.0);
    assert!(s.get("/stock").text().contains(&left), "{left}");
}

#[test]
fn a_job_that_is_cut_again_is_not_warned_of_its_own_roll() {
    let s = Server::begin();
    assert_eq!(roll(&s, "twill-200"), 200);
    s.form("/jobs", &[("name", "tapes")]);
    s.form("/jobs", &[("name", "more")]);
    let text = s.job_text("tapes").replace("copies = 1 ", "copies = 2 ");
    std::fs::write(s.home.path().join("tapes/job.toml"), text).unwrap();
    let first = plan_tapes(&s, "tapes");
    let state: serde_json::Value =
        serde_json::from_slice(&s.get("/job/tapes/bench/state").body).unwrap();
    let piece = &first["stocks"][0]["placed"][0]["piece"];
    for (key, to) in [("key-00000001", "cut"), ("key-00000002", "spoiled")] {
        let tick = serde_json::json!({ "key": key, "piece": piece, "copy": 1, "to": to });
        let ticks = serde_json::json!({ "kit": state["kit"], "ticks": [tick] });
        told(&s, "/job/tapes/bench/tick", &ticks);
    }
    told(&s, "/job/tapes/bench/recut", &serde_json::json!({}));
    let now: serde_json::Value =
        serde_json::from_slice(&s.get("/job/tapes/plan/file/plan.json").body).unwrap();
    assert_ne!(now["id"], first["id"], "the plan of the recut is another");
    assert!(!s.get("/job/tapes/plan").text().contains("is being cut by the plan of"));
    assert!(s.get("/job/more/plan").text().contains("is being cut by the plan of tapes"));
}

#[test]
fn flaws_of_a_roll_are_shown_and_taken_off_it_where_it_is_shown() {
    let s = Server::begin();
    assert_eq!(roll(&s, "twill-200"), 200);
    s.form("/jobs", &[("name", "tapes")]);
    let text = s.job_text("tapes").replace("copies = 1 ", "copies = 2 ");
    std::fs::write(s.home.path().join("tapes/job.toml"), text).unwrap();
    let plan = plan_tapes(&s, "tapes");
    let flaw = serde_json::json!({ "plan": plan["id"], "seconds": 0.2,
        "flaw": { "stock": "roll-1", "along": [400, 460], "across": [0, 90] } });
    let drawn =
        s.post("/job/tapes/by-hand/around", "application/json", flaw.to_string().as_bytes());
    assert_eq!(drawn.status, 204, "{}", drawn.text());
    s.hear("tapes", "\"phase\":\"done\"");
    let cloths = s.get("/job/tapes/cloths").text();
    assert!(
        cloths.contains("/stock/item/roll-1#flaws") && cloths.contains("roll-1: 1"),
        "{cloths}"
    );
    let page = s.get("/stock/item/roll-1").text();
    assert!(page.contains("along 400 mm to 460 mm") && page.contains("Remove this flaw"), "{page}");
    // A place that is cut is shown, and no flaw.
    let state: serde_json::Value =
        serde_json::from_slice(&s.get("/job/tapes/bench/state").body).unwrap();
    let plan: serde_json::Value =
        serde_json::from_slice(&s.get("/job/tapes/plan/file/plan.json").body).unwrap();
    let piece = &plan["stocks"][0]["placed"][0]["piece"];
    let tick = serde_json::json!({ "key": "key-00000001", "piece": piece, "copy": 1, "to": "cut" });
    told(&s, "/job/tapes/bench/tick", &serde_json::json!({ "kit": state["kit"], "ticks": [tick] }));
    let page = s.get("/stock/item/roll-1").text();
    assert_eq!(
        (page.matches("cut out:").count(), page.matches("Remove this flaw").count()),
        (1, 1)
    );
    let revision = page.split("&quot;revision&quot;:").nth(1).unwrap();
    let revision = revision.split('}').next().unwrap();
    let remove = |index: &str, revision: &str| {
        s.form("/stock/flaw", &[("id", "roll-1"), ("index", index), ("revision", revision)])
    };
    assert!(remove("0", "0").status == 422 && remove("7", revision).status == 422);
    let cut = remove("1", revision);
    assert!(cut.status == 422 && cut.text().contains("a piece was cut there"), "{}", cut.text());
    let gone = remove("0", revision);
    assert!(gone.status == 200 && !gone.text().contains("Remove this flaw"), "{}", gone.text());
    assert!(s.form("/stock/undo", &[]).status == 200);
    assert!(s.get("/stock/item/roll-1").text().contains("Remove this flaw"));
}

#[test]
fn offcuts_of_a_booked_plan_have_labels_with_their_names_in_the_stock() {
    let s = Server::begin();
    assert_eq!(roll(&s, "twill-200"), 200);
    s.form("/jobs", &[("name", "tapes")]);
    plan_tapes(&s, "tapes");
    let page = s.get("/job/tapes/sheets").text();
    assert!(page.contains("when the cut is booked") && page.contains("href=\"#book\""), "{page}");
    assert!(!page.contains("left_by"));
    assert_eq!(s.form("/job/tapes/book", &[("sure", "yes")]).status, 200);
    let page = s.get("/job/tapes/sheets").text();
    assert!(page.contains("/stock/labels?left_by=tapes") && page.contains("off-1"), "{page}");
    assert!(page.contains("pieces of this plan are booked already"), "{page}");
    assert!(!page.contains("Show what would change"), "nothing is left to book");
    let labels = s.get("/stock/labels?left_by=tapes");
    assert!(labels.status == 200 && labels.body.starts_with(b"%PDF"), "{}", labels.text());
}
