//! The page of the projector.
#![allow(clippy::unwrap_used)]

mod page_support;

use page_support::*;

/// What the thrown window is given.
fn light(s: &Server) -> serde_json::Value {
    let answer = s.get("/projector/light?w=1920&h=1080");
    assert_eq!(answer.status, 200, "{}", answer.text());
    serde_json::from_slice(&answer.body).unwrap()
}

/// Crosses laid on marks by a projector that throws 1.1 pixels a mm.
fn set_up(s: &Server) {
    assert_eq!(s.form("/projector/bench", &[("name", "door side")]).status, 200);
    let marks = [("what", "marks"), ("width", "1600"), ("height", "90 cm"), ("mesh", "2")];
    let early = s.form("/projector/show", &marks);
    assert_eq!(early.status, 422, "the picture is not open yet");
    assert_eq!(light(s)["kind"], "dark");
    assert_eq!(s.form("/projector/show", &marks).status, 200);
    assert_eq!(light(s)["crosses"].as_array().unwrap().len(), 4);
    let drag = |crosses: serde_json::Value| {
        let body = serde_json::json!({ "crosses": crosses }).to_string();
        s.post("/projector/marks", "application/json", body.as_bytes()).status
    };
    assert_eq!(drag(serde_json::json!([[1, 2]])), 409, "these are not all");
    let corners = serde_json::json!([[80, 1035], [1840, 1035], [80, 45], [1840, 45]]);
    assert_eq!(drag(corners), 204);
    let kept = s.form("/projector/keep", &[]);
    assert_eq!(kept.status, 200, "{}", kept.text());
}

#[test]
fn a_bench_is_set_up_by_four_marks_and_its_error_told_before_anything_is_cut() {
    let mut s = Server::begin();
    planned(&s);
    s.hear("lid", "\"phase\":\"done\"");
    let cut = |s: &Server, shown: &str| {
        s.form("/job/lid/project", &[("shown", shown), ("face", "planned"), ("lie", "left")])
    };
    let early = cut(&s, "one");
    assert!(early.status == 422 && early.text().contains("not set up"), "{}", early.text());
    set_up(&s);
    // Four marks cannot tell a bow: the picture is not used without a yes.
    let page = s.get("/projector").text();
    assert!(page.contains("Error that is left") && page.contains("Yes, cut by it"), "{page}");
    let untrue = cut(&s, "one");
    assert!(
        untrue.status == 422 && untrue.text().contains("more than 1.5 mm"),
        "{}",
        untrue.text()
    );
    // The test picture: what makes no sense is refused at once, all together.
    assert_eq!(s.form("/projector/show", &[("what", "test")]).status, 200);
    assert!(light(&s)["lines"].as_array().unwrap().len() > 20);
    let lengths = |fields: &[(&str, &str)]| s.form("/projector/lengths", fields);
    assert_eq!(lengths(&[("a", "A1"), ("b", "Q10"), ("mm", "")]).status, 422);
    let wrong = [("a", "A1"), ("b", "Z99"), ("mm", "1"), ("a", "A1"), ("b", "Q10"), ("mm", "900")];
    let said = lengths(&wrong).text();
    assert!(said.contains("Z99") && said.contains("should be 1835"), "{said}");
    let worst = |s: &Server| {
        let page = s.get("/projector").text();
        let after = page.split("at the worst place: ").nth(1).unwrap().to_string();
        after.split(' ').next().unwrap().parse::<f64>().unwrap()
    };
    let before = worst(&s);
    let measured = [
        ("A1", "Q10", "1835.8"),
        ("A10", "Q1", "1835.8"),
        ("I1", "I10", "900"),
        ("A5", "Q5", "1600"),
        ("A1", "Q1", "1600"),
        ("A10", "Q10", "1600"),
        ("A1", "A10", "900"),
        ("Q1", "Q10", "900"),
        ("I1", "A10", "1204.2"),
        ("I1", "Q10", "1204.2"),
        ("A5", "I10", "943.4"),
        ("Q5", "I10", "943.4"),
    ];
    let fields: Vec<(&str, &str)> =
        measured.iter().flat_map(|(a, b, mm)| [("a", *a), ("b", *b), ("mm", *mm)]).collect();
    let told = lengths(&fields);
    assert_eq!(told.status, 200, "{}", told.text());
    assert!(worst(&s) < 0.7 * before, "{} {before}", worst(&s));
    // A yes is kept with its day, and asked for again after the next change.
    let kept = |s: &Server| -> serde_json::Value {
        let text = std::fs::read_to_string(s.home.path().join("benches.json")).unwrap();
        serde_json::from_str(&text).unwrap()
    };
    if cut(&s, "one").status == 422 {
        assert_eq!(s.form("/projector/answer", &[("to", "yes")]).status, 200);
        assert!(kept(&s)["benches"][0]["yes"]["error"].as_f64().unwrap() > 1.5);
    }
    assert_eq!(cut(&s, "one").status, 200);
    // Cut lines at true size where the map has them, with 25 mm around the shape; the label says
    // which face is up.
    let thrown = light(&s);
    let line = thrown["lines"].as_array().unwrap().iter().find(|l| l["kind"] == "cut").unwrap();
    let reach = |k: usize| {
        let all = line["points"].as_array().unwrap().iter().map(|p| p[k].as_f64().unwrap());
        let (low, high) = all.fold((f64::MAX, f64::MIN), |(l, h), v| (l.min(v), h.max(v)));
        high - low
    };
    let (long, wide) = (reach(0).max(reach(1)) / 1.1, reach(0).min(reach(1)) / 1.1);
    assert!((long - 350.0).abs() < 1.5 && (wide - 250.0).abs() < 1.5, "{long} {wide}");
    let words: Vec<&str> =
        thrown["texts"].as_array().unwrap().iter().map(|t| t["words"].as_str().unwrap()).collect();
    assert!(words[0].ends_with("face up") || words[0].ends_with("FACE DOWN"), "{words:?}");
    assert!(s.get("/job/lid/project/now").text().contains(words[0]));
    assert_eq!(s.form("/projector/step", &[("to", "next")]).status, 204);
    assert!(light(&s)["lines"].as_array().unwrap().iter().all(|l| l["kind"] != "cut"), "across");
    assert_eq!(s.form("/projector/step", &[("to", "previous")]).status, 204);
    let style = [("width", "5"), ("colour", "green"), ("brightness", "50")];
    assert_eq!(s.form("/projector/style", &style).status, 200);
    let thrown = light(&s);
    assert_eq!((thrown["light"].as_str(), thrown["pen"].as_u64()), (Some("#1a801a"), Some(5)));
    // A picture of another size is not thrown.
    let other = s.get("/projector/light?w=1280&h=720");
    assert!(other.status == 422 && other.text().contains("1920"), "{}", other.text());
    assert_eq!(s.get("/projector/light?w=0&h=0").status, 422);
    // A plan that is no longer the one on disk is not thrown.
    let folder = s.home.path().join("lid/plan");
    let aside = s.home.path().join("lid/aside");
    std::fs::rename(&folder, &aside).unwrap();
    let old = s.get("/projector/light?w=1920&h=1080");
    assert!(old.status == 422 && old.text().contains("made anew"), "{}", old.text());
    std::fs::rename(&aside, &folder).unwrap();
    // At the next start the check marks are asked for first; a no bars the bench.
    let home = std::mem::replace(&mut s.home, tempfile::tempdir().unwrap());
    drop(s);
    let s = Server::on(home);
    assert!(s.get("/projector").text().contains("Do both crosses lie on the marks"));
    let early = cut(&s, "all");
    assert!(early.status == 422 && early.text().contains("check marks"), "{}", early.text());
    assert_eq!(s.form("/projector/show", &[("what", "check")]).status, 200);
    assert!(light(&s)["lines"].as_array().unwrap().iter().all(|l| l["kind"] == "check"));
    assert_eq!(s.form("/projector/answer", &[("to", "on")]).status, 200);
    assert_eq!(cut(&s, "all").status, 200);
    assert_eq!(s.form("/projector/answer", &[("to", "off")]).status, 200);
    assert_eq!(kept(&s)["benches"][0]["moved"], true);
    assert!(cut(&s, "all").text().contains("moved"));
}

#[test]
fn the_projector_takes_no_nonsense() {
    let s = Server::begin();
    assert_eq!(s.get("/projector").status, 200);
    assert_eq!(s.get("/projector/throw").status, 200);
    for (path, body) in [
        ("/projector/bench", "name=..%2Fx"),
        ("/projector/keep", ""),
        ("/projector/show", "what=test"),
        ("/projector/show", "what=marks&width=1&height=&mesh=7"),
        ("/projector/lengths", "a=A1&b=B1&mm=100"),
        ("/projector/answer", "to=yes"),
        ("/projector/answer", "to=nothing"),
        ("/projector/style", "width=1&colour=white&brightness=50"),
        ("/projector/step", "to=next"),
        ("/projector/step", "to=sideways"),
    ] {
        let answer = s.post(path, "application/x-www-form-urlencoded", body.as_bytes());
        assert_eq!(answer.status, 422, "{path} {body}: {}", answer.text());
    }
    let photo = |bytes: &[u8]| s.post("/projector/photo?card=180", "image/jpeg", bytes).status;
    assert_eq!(photo(&[0xff, 0xd8, 0xff, 1]), 422, "no picture is open");
    s.get("/projector/light?w=1920&h=1080");
    assert_eq!(photo(&[0xff, 0xd8, 0xff, 1]), 422);
    assert_eq!(photo(&blank_photo()), 422);
    assert!(!s.home.path().join("benches.json").exists());
    std::fs::write(s.home.path().join("benches.json"), "{\"version\": 9}").unwrap();
    assert!(s.get("/projector").text().contains("later warpwise"));
    let host = &s.host;
    let alone = format!("POST /projector/step HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}");
    assert_eq!(s.send(&alone, b"to=next").status, 401, "without the key");
}
