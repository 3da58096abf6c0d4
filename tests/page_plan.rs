//! The pages of the plan, of changes by hand and of what is printed.
#![allow(clippy::unwrap_used)]

mod page_support;

use page_support::*;

#[test]
fn a_layout_is_drawn_while_it_is_searched_for() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "lid")]);
    assert_eq!(s.get("/job/lid/plan/live").status, 204, "nothing is planned");
    planned(&s);
    s.hear_at("/job/lid/plan/live", "event: ground");
    s.hear_at("/job/lid/plan/live", "event: layout");
    s.hear("lid", "\"phase\":\"done\"");
    // What was asked for stands in the form again.
    assert!(s.get("/job/lid/plan").text().contains("name=\"seconds\" value=\"0.2\""));
    // What was drawn last is there for who comes late.
    let late = s.get("/job/lid/plan/live").text();
    assert!(
        late.contains("\"least_length\":") && late.contains("data: [0,{\"lying\":[[0,0,0,"),
        "{late}"
    );
}

#[test]
fn a_plan_is_changed_by_hand_and_every_change_is_judged_written_and_taken_back() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "lid")]);
    assert_eq!(s.get("/job/lid/by-hand").status, 422, "there is no plan yet");
    planned(&s);
    s.hear("lid", "\"phase\":\"done\"");
    let page = s.get("/job/lid/by-hand").text();
    assert!(page.contains("<cut-table") && page.contains("cut-table.js"), "{page}");
    let read = |answer: Answer| -> serde_json::Value {
        assert_eq!(answer.status, 200, "{}", answer.text());
        serde_json::from_slice(&answer.body).unwrap()
    };
    let first = read(s.get("/job/lid/by-hand/table"));
    let cloth = &first["cloths"][0];
    let (id, stock) = (&cloth["ids"][0], &cloth["ground"]["stocks"][0]["id"]);
    let lay = |x: f64, y: f64| {
        serde_json::json!({
            "piece": id, "copy": 1, "stock": stock, "turn": 0, "face": "up", "x": x, "y": y,
        })
    };
    let over = read(by_hand(&s, "judge", &lay(100.0, -40.0)));
    assert_eq!(over["free"], false);
    let said = over["said"].as_str().unwrap();
    assert!(said.contains("the edge of the cloth") && said.contains("50 mm"), "{said}");
    let nearest = read(by_hand(&s, "nearest", &lay(100.0, -40.0)));
    assert_eq!(nearest["nearest"], serde_json::json!([100.0, 10.0]));
    assert_eq!(nearest["said"], "The nearest free place is 50 mm away.");
    let laid = |x: f64, y: f64, plan: &serde_json::Value| {
        by_hand(&s, "lay", &serde_json::json!({ "plan": plan, "lay": lay(x, y) }))
    };
    let refused = laid(100.0, -40.0, &first["plan"]);
    assert!(refused.status == 422 && refused.text().contains("does not keep clear"));
    let on_disk = || s.get("/job/lid/plan/file/plan.json").text();
    let before = on_disk();
    let second = read(laid(1000.0, 20.0, &first["plan"]));
    assert!(on_disk().contains(second["plan"].as_str().unwrap()));
    assert_eq!(laid(1200.0, 20.0, &first["plan"]).status, 409, "the plan is another by now");
    // A plan that takes more than the one before says so, and the way back.
    assert!(s.get("/job/lid/plan").text().contains("The plan before this one took"));
    let now = second["plan"].as_str().unwrap();
    assert_eq!(s.form("/job/lid/plan/back", &[("plan", now)]).status, 200);
    assert!(on_disk() == before && !s.get("/job/lid/plan").text().contains("plan/back"));
    let second = read(laid(1000.0, 20.0, &first["plan"]));
    let pin = serde_json::json!({ "plan": second["plan"], "piece": id, "copy": 1, "pinned": true });
    let third = read(by_hand(&s, "pin", &pin));
    assert_eq!(third["cloths"][0]["pinned"], serde_json::json!([[0, 0]]));
    let pulled = laid(1300.0, 20.0, &third["plan"]);
    assert!(
        pulled.status == 422 && pulled.text().contains("take its pin out"),
        "{}",
        pulled.text()
    );
    let around = |more: &str| {
        let text = format!("{{\"plan\": {}, \"seconds\": 0.2, {more}}}", third["plan"]);
        by_hand(&s, "around", &serde_json::from_str(&text).unwrap())
    };
    assert_eq!(around("\"cloth\": \"none\"").status, 422);
    let cloth = format!("\"cloth\": {}", third["cloths"][0]["ground"]["cloth"]);
    assert_eq!(around(&cloth).status, 204);
    s.hear("lid", "\"phase\":\"done\"");
    let fourth = read(s.get("/job/lid/by-hand/table"));
    let lying = fourth["cloths"][0]["layout"]["lying"].as_array().unwrap();
    assert!(lying.iter().any(|l| l[0] == 0 && l[5] == 1000.0), "what is pinned stays: {lying:?}");
    let mut seen = fourth["plan"].clone();
    while seen != first["plan"] {
        let back = read(by_hand(&s, "back", &serde_json::json!({ "plan": seen })));
        seen = back["plan"].clone();
    }
    assert_eq!(on_disk(), before, "all is as it was");
    assert_eq!(by_hand(&s, "back", &serde_json::json!({ "plan": seen })).status, 422);
    for nonsense in ["{}", "[]", "{\"plan\":1}", "not json"] {
        let answer = s.post("/job/lid/by-hand/lay", "application/json", nonsense.as_bytes());
        assert!((400..=422).contains(&answer.status), "{nonsense}: {}", answer.status);
    }
}

#[test]
fn pages_are_looked_at_before_they_are_printed() {
    let s = Server::begin();
    planned(&s);
    s.hear("lid", "\"phase\":\"done\"");
    for what in ["placement", "layup", "labels", "cards", "check?paper=a4", "templates?paper=a3"] {
        let looked = s.get(&format!("/job/lid/look/{what}"));
        assert!(looked.text().contains("<img"), "{what}: {}", looked.text());
        let page = s.get(&format!("/job/lid/page/{what}"));
        assert_eq!(page.header("content-type"), Some("image/svg+xml"), "{what}");
        assert!(page.text().contains("<svg") && page.text().contains("mm\""), "{what}");
    }
    assert_eq!(s.get("/job/lid/page/placement?page=99").status, 422);
    assert_eq!(s.get("/job/lid/page/nonsense").status, 422);
    assert_eq!(s.get("/job/lid/look/layouts?file=99&paper=a4").status, 422);
    let measured = |along: &str, across: &str| {
        s.form("/job/lid/printed-true", &[("along", along), ("across", across)]).text()
    };
    assert!(measured("100", "99,8").contains('✓'));
    assert!(measured("97", "97").contains("97.0 %"));
    assert!(measured("", "x").contains('▲'));
}
