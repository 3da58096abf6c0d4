//! The pages at the bench and at the mould: ticks, clocks, the record.
#![allow(clippy::unwrap_used)]

mod page_support;

use page_support::*;
use std::io::{Read, Write};
use std::net::TcpStream;

#[test]
fn pieces_are_ticked_once_each_taken_back_and_spoiled_ones_cut_again() {
    let s = kit(true, &[]);
    let page = s.get("/job/lid/cut").text();
    assert!(page.contains("<cutting-list") && page.contains("data-at=\"1-long#1\""), "{page}");
    assert_eq!(planned_pieces(&s).len(), 4);
    let first = tick(&s, &[("1", 0, "cut"), ("1", 0, "cut"), ("2", 1, "cut")]);
    assert_eq!(
        first["results"].as_array().unwrap().iter().filter(|r| r["saved"] == true).count(),
        3
    );
    assert_eq!(first["state"]["states"].as_object().unwrap().len(), 2);
    let stamp = first["state"]["stamp"].as_str().unwrap().to_string();
    assert_eq!(s.get(&format!("/job/lid/bench/state?seen={stamp}")).status, 204);
    // What is cut is not laid out anew.
    let pieces = planned_pieces(&s);
    let pin = serde_json::json!({
        "plan": first["state"]["plan"], "piece": pieces[3].0, "copy": 1, "pinned": true });
    let pinned = by_hand(&s, "pin", &pin);
    assert!(pinned.status == 422 && pinned.text().contains("cut already"), "{}", pinned.text());
    assert!(s.get("/job/lid/plan").text().contains("cut, laid or spoiled: 2"));
    // Sent again, and taken back; the late twin does nothing.
    tick(&s, &[("3", 0, "back"), ("1", 0, "cut")]);
    let state = bench_state(&s);
    assert_eq!(state["states"].as_object().unwrap().len(), 1, "{state}");
    assert_ne!(state["stamp"], stamp.as_str());
    // What is wrong is said of that tick alone.
    let sent = serde_json::json!({ "kit": "another", "ticks": [
        { "key": "key-00000009", "piece": "x", "copy": 1, "to": "cut" } ] });
    let refused = told(&s, "/job/lid/bench/tick", &sent);
    assert!(refused["results"][0]["refused"].as_str().unwrap().contains("no longer there"));
    for nonsense in ["", "[]", "{\"kit\":\"x\",\"ticks\":[{\"key\":1}]}"] {
        let answer = s.post("/job/lid/bench/tick", "application/json", nonsense.as_bytes());
        assert!((400..=422).contains(&answer.status), "{nonsense}: {}", answer.status);
    }
    // A spoiled short strip goes to the offcut; the rest of the plan stays as it is.
    let before = s.get("/job/lid/plan/file/plan.json").text();
    tick(&s, &[("4", 1, "spoiled")]);
    assert!(s.get("/job/lid/cut").text().contains("class=\"recut\""), "not planned yet");
    let again = told(&s, "/job/lid/bench/recut", &serde_json::json!({}));
    assert_eq!(again[0][1], "off-1", "{again}");
    assert!(s.get("/job/lid/cut").text().contains("is cut again, from off-1"));
    assert_eq!(told(&s, "/job/lid/bench/recut", &serde_json::json!({})), serde_json::json!([]));
    // It was not spoiled after all: the plan is the one before, to the last letter.
    assert_ne!(s.get("/job/lid/plan/file/plan.json").text(), before);
    tick(&s, &[("5", 1, "back")]);
    assert_eq!(s.get("/job/lid/plan/file/plan.json").text(), before);
    assert_eq!(bench_state(&s)["states"]["1-short#1"], "cut");
    // To the end: the rail says so at once, and the roll is shorter.
    let mark = |rail: &str| {
        let cut = rail.split("/job/lid/cut\"").nth(1).unwrap();
        cut.split("</a>").next().unwrap().contains('✓')
    };
    assert!(s.get("/").text().contains("pieces are cut"));
    let told = tick(&s, &[("6", 0, "cut"), ("7", 2, "cut")]);
    assert!(!mark(told["rail"].as_str().unwrap()), "{told}");
    let told = tick(&s, &[("8", 3, "cut")]);
    assert!(mark(told["rail"].as_str().unwrap()), "{told}");
    assert!(mark(&s.get("/job/lid/cut").text()));
    let sheets = s.get("/job/lid/sheets").text();
    assert!(sheets.contains("All 4 pieces of this plan are booked already"), "{sheets}");
    assert!(!s.get("/stock").text().contains("9.00 m"));
}

/// Where a piece lies in the plan: its roll or offcut, and its box from its lower left corner.
fn place_of(plan: &serde_json::Value, piece: &str) -> (String, [f64; 4]) {
    let stocks = plan["stocks"].as_array().unwrap();
    let mut all =
        stocks.iter().flat_map(|s| s["placed"].as_array().unwrap().iter().map(move |p| (s, p)));
    let (on, placed) = all.find(|(_, p)| p["piece"] == piece).unwrap();
    let at = |k: usize| {
        let all = placed["outline"].as_array().unwrap().iter();
        let all: Vec<f64> = all.map(|p| p[k].as_f64().unwrap()).collect();
        [all.iter().copied().fold(f64::MAX, f64::min), all.iter().copied().fold(f64::MIN, f64::max)]
    };
    let ([left, right], [low, high]) = (at(0), at(1));
    (on["id"].as_str().unwrap().to_string(), [left, right, low, high])
}

#[test]
fn a_flaw_found_while_cutting_moves_what_lies_on_it_and_nothing_else() {
    for with_ledger in [true, false] {
        let s = kit(with_ledger, &[]);
        let plan = || -> serde_json::Value {
            serde_json::from_slice(&s.get("/job/lid/plan/file/plan.json").body).unwrap()
        };
        assert!(s.get("/job/lid/cut").text().contains("A flaw on the roll: draw it"));
        tick(&s, &[("1", 0, "cut")]);
        assert!(s.get("/job/lid/by-hand").text().contains("A flaw that is found can be drawn"));
        let before = plan();
        let (roll, [left, right, low, high]) = place_of(&before, "2-long");
        let middle = [(left + right) / 2.0, (low + high) / 2.0];
        let draw = |plan: &serde_json::Value, along: [f64; 2], across: [f64; 2]| {
            let flaw = serde_json::json!({ "stock": roll, "along": along, "across": across });
            let sent = serde_json::json!({ "plan": plan["id"], "seconds": 0.2, "flaw": flaw });
            by_hand(&s, "around", &sent).status
        };
        let (along, across) =
            ([middle[0] - 10.0, middle[0] + 10.0], [middle[1] - 10.0, middle[1] + 10.0]);
        let stale = serde_json::json!({ "id": "another" });
        assert_eq!(draw(&stale, along, across), 409);
        assert_eq!(draw(&before, along, across), 204);
        let after = plan();
        assert_ne!(after["id"], before["id"]);
        for piece in ["1-long", "1-short", "2-short"] {
            assert_eq!(place_of(&after, piece), place_of(&before, piece), "{piece}");
        }
        let (on, [l, r, lo, hi]) = place_of(&after, "2-long");
        let is_off = r <= along[0] || l >= along[1] || hi <= across[0] || lo >= across[1];
        assert!(on != roll || is_off, "{:?}", place_of(&after, "2-long"));
        // It is no spoiled piece, and one goes on cutting to the end.
        let states = bench_state(&s)["states"].clone();
        assert_eq!((states.as_object().unwrap().len(), &states["1-long#1"]), (1, &"cut".into()));
        let told = tick(&s, &[("2", 1, "cut"), ("3", 2, "cut"), ("4", 3, "cut")]);
        assert!(told["results"].as_array().unwrap().iter().all(|r| r["saved"] == true), "{told}");
        assert_eq!(s.form("/job/lid/lay/record", &[("of", "lid")]).status, 200);
        let record = s.get("/job/lid/kit/record.html").text();
        assert!(!record.contains("cut again from"), "{record}");
        if with_ledger {
            assert!(!s.get("/stock").text().contains("9.00 m"), "the roll is cut to the end");
        } else {
            assert!(s.job_text("lid").contains("[[cloth.flaw]]"));
        }
    }
}

#[test]
fn a_flaw_that_leaves_a_piece_no_place_is_not_recorded() {
    let s = kit(true, &[]);
    tick(&s, &[("1", 0, "cut")]);
    let plan: serde_json::Value =
        serde_json::from_slice(&s.get("/job/lid/plan/file/plan.json").body).unwrap();
    let (roll, _) = place_of(&plan, "2-long");
    let flaw = serde_json::json!({ "stock": roll, "along": [0, 9000], "across": [0, 1250] });
    let sent = serde_json::json!({ "plan": plan["id"], "seconds": 0.2, "flaw": flaw });
    let answer = by_hand(&s, "around", &sent);
    assert!(
        answer.status == 422 && answer.text().contains("no roll takes it"),
        "{}",
        answer.text()
    );
    let now: serde_json::Value =
        serde_json::from_slice(&s.get("/job/lid/plan/file/plan.json").body).unwrap();
    assert_eq!(now, plan);
    let page = s.get("/stock/item/roll-1").text();
    assert!(!page.contains("Remove this flaw"), "{page}");
    let told = tick(&s, &[("2", 1, "cut")]);
    assert_eq!(told["results"][0]["saved"], true, "{told}");
}

#[test]
fn without_a_ledger_ticks_are_kept_beside_the_plan() {
    let s = kit(false, &[]);
    assert!(s.get("/job/lid/cut").text().contains("was not made from the ledger"));
    assert!(!s.home.path().join("lid/kits").exists(), "looking writes nothing");
    tick(&s, &[("1", 0, "cut"), ("1", 0, "cut"), ("2", 1, "spoiled"), ("3", 2, "cut")]);
    let again = told(&s, "/job/lid/bench/recut", &serde_json::json!({}));
    assert_eq!(again.as_array().unwrap().len(), 1);
    let states = bench_state(&s)["states"].clone();
    assert_eq!(states["1-short#1"], "again");
    assert_eq!((&states["1-long#1"], states.as_object().unwrap().len()), (&"cut".into(), 3));
    tick(&s, &[("4", 1, "cut")]);
    // Another server finds all of it.
    let mut s = s;
    s.child.kill().unwrap();
    s.child.wait().unwrap();
    let s = Server::on(std::mem::replace(&mut s.home, tempfile::tempdir().unwrap()));
    let states = bench_state(&s)["states"].clone();
    assert_eq!((&states["1-short#1"], states.as_object().unwrap().len()), (&"cut".into(), 3));
    assert!(!s.home.path().join("stock.sqlite").exists());
}

#[test]
fn what_was_ended_early_or_failed_is_said_where_it_was_done_and_on_record() {
    let s = kit(true, &[]);
    let mut key = 0;
    let mut go = |what: serde_json::Value| {
        key += 1;
        assert_eq!(act(&s, &key.to_string(), &what, true)["saved"], true, "{what}");
    };
    let page = s.get("/job/lid/lay").text();
    assert!(page.contains("data-act=\"{&quot;wrote&quot;:{&quot;index&quot;:1}}\""), "{page}");
    assert!(page.contains("as long as its data sheet says"), "the job gives no time of thawing");
    go(serde_json::json!({ "wrote": { "index": 1, "text": "wax <7>, 2027-01-31" } }));
    // Called done while its clock has hardly begun.
    go(serde_json::json!({ "begin": { "clock": { "debulk": 1 } } }));
    go(serde_json::json!({ "step": { "step": 1, "on": true } }));
    let page = s.get("/job/lid/lay").text();
    let step = page.split("id=\"step-of-0-1\"").nth(1).unwrap().split("</li>").next().unwrap();
    assert!(step.contains("Debulk 1 was ended after 0 of 20 min"), "{step}");
    assert!(step.contains("! ended after 0 of 20 min") && !step.contains("<p>✓"), "{step}");
    let bag = |vacuum: [f64; 2]| {
        [
            serde_json::json!({ "begin": { "clock": "leak", "minutes": 0.01, "vacuum": vacuum[0] } }),
            serde_json::json!({ "end": { "clock": "leak", "vacuum": vacuum[1] } }),
        ]
    };
    bag([85.0, 20.0]).into_iter().for_each(&mut go);
    let ran = |page: &str| {
        page.split("id=\"bag-0\"").nth(1).unwrap().split("</details>").next().unwrap().to_string()
    };
    let page = ran(&s.get("/job/lid/lay").text());
    assert!(page.contains("✕ failed") && !page.contains('✓'), "{page}");
    assert_eq!(s.form("/job/lid/lay/record", &[("of", "lid")]).status, 200);
    let record = s.get("/job/lid/kit/record.html").text();
    for said in
        ["wax &lt;7&gt;, 2027-01-31", "Debulk 1 was ended after 0 of 20 min", "a bag check failed"]
    {
        assert!(record.contains(said), "{said}: {record}");
    }
    assert!(s.get("/").text().contains("record written, lay-up not complete"));
}

#[test]
fn a_clock_that_runs_is_seen_and_a_bag_check_ended_early_says_so() {
    let s = kit(false, &[]);
    let begin = serde_json::json!({ "begin": { "clock": "leak", "minutes": 30, "vacuum": 85 } });
    assert_eq!(act(&s, "1", &begin, true)["saved"], true);
    let page = s.get("/job/lid/lay").text();
    assert!(page.contains("id=\"bag-0\" open") && page.contains("href=\"#bag-0\""), "{page}");
    let end = serde_json::json!({ "end": { "clock": "leak", "vacuum": 85 } });
    assert_eq!(act(&s, "2", &end, true)["saved"], true);
    let page = s.get("/job/lid/lay").text();
    assert!(!page.contains("href=\"#bag-0\"") && page.contains("✓ passed"), "{page}");
    assert!(page.contains("! ended after 0 of 30 min"), "{page}");
}

/// Two plans lie on one roll: who cuts the second hears of the first before the knife.
#[test]
fn a_plan_whose_roll_was_cut_into_by_another_is_not_offered_to_be_cut() {
    let s = kit(true, &[]);
    std::fs::create_dir(s.home.path().join("box")).unwrap();
    let text = KIT.replace("name = \"lid\"", "name = \"box\"");
    std::fs::write(s.home.path().join("box/job.toml"), text).unwrap();
    let settings = [("seconds", "0.2"), ("sets", "1"), ("seed", "1")];
    assert_eq!(s.form("/job/box/plan/begin", &settings).status, 200);
    s.hear("box", "\"phase\":\"done\"");
    let said = "roll-1 has changed since the plan was made";
    assert!(!s.get("/job/box/cut").text().contains(said));
    assert_eq!(tick(&s, &[("1", 0, "cut")])["results"][0]["saved"], true);
    let state: serde_json::Value =
        serde_json::from_slice(&s.get("/job/box/bench/state").body).unwrap();
    assert_eq!(state["changed"], serde_json::json!(["roll-1"]));
    let page = s.get("/job/box/cut").text();
    assert!(page.contains(said) && page.contains("data-refused"), "{page}");
    for step in ["plan", "sheets", "lay", "project"] {
        assert!(s.get(&format!("/job/box/{step}")).text().contains("Do not cut from"), "{step}");
    }
    let sent = serde_json::json!({ "kit": state["kit"], "ticks": [
        { "key": "key-box-0001", "piece": "1-long", "copy": 1, "to": "cut" } ] });
    let told = told(&s, "/job/box/bench/tick", &sent);
    assert!(told["results"][0]["refused"].as_str().unwrap().contains("has changed"), "{told}");
    assert_eq!(told["state"]["states"], serde_json::json!({}));
    // Who cut it is not told of their own cut, and the stock says it as people do.
    assert!(!s.get("/job/lid/cut").text().contains(said));
    let page = s.get("/stock/item/roll-1").text();
    assert!(page.contains("piece 1.1 of lid: cut"), "{page}");
}

#[test]
fn the_steps_at_work_have_no_undo_of_the_job_file() {
    let s = kit(true, &[]);
    let has_undo = |step: &str| s.get(&format!("/job/lid/{step}")).text().contains("/job/lid/undo");
    assert!(has_undo("layers") && has_undo("plan"));
    assert!(!["sheets", "cut", "lay"].into_iter().any(has_undo));
}

#[test]
fn a_part_is_laid_with_its_clocks_and_ends_in_a_record() {
    let s = kit(true, &[]);
    let page = s.get("/job/lid/lay").text();
    assert!(page.contains("<lay-up") && page.contains("<svg"), "{page}");
    let mut key = 0;
    let mut go = |what: serde_json::Value, despite: bool| {
        key += 1;
        act(&s, &key.to_string(), &what, despite)
    };
    let piece = |what: &str, piece: &str| serde_json::json!({ what: { "piece": piece, "copy": 1, "on": true } });
    go(serde_json::json!({ "who": { "who": "R.", "part": "no. 7" } }), false);
    assert_eq!(go(piece("laid", "1-long"), false)["saved"], true);
    assert_eq!(bench_state(&s)["states"]["1-long#1"], "laid", "what is laid is booked as cut");
    let asked = go(piece("laid", "2-long"), false);
    let open = asked["ask"].to_string();
    assert!(open.contains("1.2 short is not ticked as laid"), "{open}");
    assert!(open.contains("has no tick for its backing") && open.contains("Debulk 1"), "{open}");
    assert!(bench_state(&s)["states"].get("2-long#1").is_none(), "nothing was done");
    for what in [piece("backing", "1-long"), piece("laid", "1-short"), piece("backing", "1-short")]
    {
        assert_eq!(go(what, false)["saved"], true);
    }
    // A debulk runs over a kill of the server.
    let begin = serde_json::json!({ "begin": { "clock": { "debulk": 1 }, "vacuum": 80.0 } });
    assert_eq!(go(begin, false)["saved"], true);
    let ends = |page: &str| {
        page.split("data-ends=\"").nth(1).unwrap().split('"').next().unwrap().to_string()
    };
    let first = ends(&s.get("/job/lid/lay").text());
    let mut s = s;
    s.child.kill().unwrap();
    s.child.wait().unwrap();
    let s = Server::on(std::mem::replace(&mut s.home, tempfile::tempdir().unwrap()));
    assert_eq!(ends(&s.get("/job/lid/lay").text()), first);
    let mut go = |what: serde_json::Value, despite: bool| {
        key += 1;
        act(&s, &key.to_string(), &what, despite)
    };
    let end = serde_json::json!({ "end": { "clock": { "debulk": 1 }, "vacuum": 79.0 } });
    assert_eq!(go(end, false)["saved"], true);
    for at in ["2-long", "2-short"] {
        assert_eq!(go(piece("laid", at), false)["saved"], true, "{at}");
    }
    assert_eq!(go(piece("backing", "2-long"), false)["saved"], true);
    let cure = serde_json::json!({ "begin": { "clock": "cure", "vacuum": 80.0 } });
    let open = go(cure.clone(), false)["ask"].to_string();
    assert!(
        open.contains("2.2 short has no tick for its backing") && open.contains("no bag check"),
        "{open}"
    );
    assert_eq!(go(cure, true)["saved"], true);
    let bad = serde_json::json!({ "begin": { "clock": { "hold": 7 } } });
    assert!(go(bad, false)["refused"].is_string());
    let note = serde_json::json!({ "note": { "step": 0, "text": "<b>wrinkle</b>" } });
    assert_eq!(go(note, false)["saved"], true);
    // A photo is kept small and once.
    let kit = bench_state(&s)["kit"].as_str().unwrap().to_string();
    let photo = |bytes: &[u8]| {
        s.post(
            &format!("/job/lid/lay/photo?name=a.png&of=lid&kit={kit}&step=0"),
            "application/octet-stream",
            bytes,
        )
    };
    assert_eq!(photo(&blank_photo()).status, 200);
    assert!(photo(&blank_photo()).text().matches("photo-1.jpg").count() >= 1);
    assert_eq!(photo(b"no photo").status, 422);
    let kept = s.get("/job/lid/kit/photo-1.jpg");
    assert!(kept.status == 200 && kept.body.starts_with(&[0xff, 0xd8, 0xff]));
    for none in ["photo-2.jpg", "kit.json", "..%2f..%2fjob.toml", "record.html"] {
        assert_eq!(s.get(&format!("/job/lid/kit/{none}")).status, 404, "{none}");
    }
    let written = s.form("/job/lid/lay/record", &[("of", "lid")]);
    assert_eq!(written.status, 200, "{}", written.text());
    let record = s.get("/job/lid/kit/record.html").text();
    for said in [
        "Record: lid, part no. 7",
        "Laid up by R.",
        "B7",
        "not recorded, of 480 h",
        "Debulk 1 was ended after 0 of 20 min",
        "Cure: no bag check has passed",
        "Mould clean, dry and without scratches",
        "&lt;b&gt;wrinkle",
        "data:image/jpeg;base64,",
        "does not certify strength",
    ] {
        assert!(record.contains(said), "{said}: {record}");
    }
    assert!(s.get("/job/lid/kit/record.pdf").body.starts_with(b"%PDF"));
    assert!(s.get("/").text().contains("record written, lay-up not complete"));
    assert_eq!(go(piece("backing", "2-short"), false)["saved"], true);
    assert!(s.get("/").text().contains("laid and on record"));
    assert_eq!(s.form("/job/lid/lay/record", &[("of", "nobody")]).status, 422);
    // The state is one file, whole, of a named version.
    let folder =
        std::fs::read_dir(s.home.path().join("lid/kits")).unwrap().next().unwrap().unwrap();
    let text = std::fs::read_to_string(folder.path().join("kit.json")).unwrap();
    assert!(text.contains("\"schema\": 2"), "{text}");
}

/// A phone may tick and send photos; what is written in words, and the record, stay at the computer.
#[test]
fn a_second_device_ticks_and_writes_nothing_down() {
    let s = kit(true, &["--on-network=127.0.0.1"]);
    let home = s.get("/").text();
    let link = home.split("<code>").nth(1).unwrap().split("</code>").next().unwrap();
    let (host, key) = link.strip_prefix("http://").unwrap().split_once("/?key=").unwrap();
    // The same server by its other door.
    let phone = |head: &str, body: &[u8]| {
        let mut stream = TcpStream::connect(host).unwrap();
        let more =
            format!("Host: {host}\r\nOrigin: http://{host}\r\nCookie: warpwise_second={key}");
        let length = body.len();
        let head =
            format!("{head}\r\n{more}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n");
        stream.write_all(head.as_bytes()).unwrap();
        let _ = stream.write_all(body);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let text = String::from_utf8_lossy(&all).into_owned();
        (text.split(' ').nth(1).and_then(|c| c.parse::<u16>().ok()).unwrap_or(0), text)
    };
    let get = |path: &str| phone(&format!("GET {path} HTTP/1.1"), b"");
    let post = |path: &str, body: &str| {
        let head = format!("POST {path} HTTP/1.1\r\nContent-Type: application/json");
        phone(&head, body.as_bytes())
    };
    let (cut, lay) = (get("/job/lid/cut"), get("/job/lid/lay"));
    assert!(cut.0 == 200 && cut.1.contains("<cutting-list"), "{}", cut.1);
    assert!(lay.0 == 200 && lay.1.contains("<lay-up"), "{}", lay.1);
    for never in ["hx-post", "<textarea", "name=\"who\"", "name=\"off_mould\"", "id=\"rail\""] {
        assert!(!lay.1.contains(never) && !cut.1.contains(never), "{never}");
    }
    let kit = bench_state(&s)["kit"].as_str().unwrap().to_string();
    let sent = |tick: &str| {
        post("/job/lid/bench/tick", &format!("{{\"kit\":\"{kit}\",\"ticks\":[{tick}]}}"))
    };
    let cut = "{\"key\":\"phone-0001\",\"piece\":\"1-long\",\"copy\":1,\"to\":\"cut\"}";
    assert_eq!(sent(cut).0, 200);
    let laid = "{\"key\":\"phone-0002\",\"job\":\"lid\",\"act\":{\"laid\":{\"piece\":\"1-long\",\"copy\":1,\"on\":true}}}";
    assert_eq!(sent(laid).0, 200);
    assert_eq!(bench_state(&s)["states"]["1-long#1"], "laid");
    for words in [
        "{\"note\":{\"step\":0,\"text\":\"planted\"}}",
        "{\"who\":{\"who\":\"planted\",\"part\":\"\"}}",
        "{\"mass\":{\"off_mould\":1,\"finished\":null}}",
    ] {
        let tick = format!("{{\"key\":\"phone-0003\",\"job\":\"lid\",\"act\":{words}}}");
        assert_eq!(sent(&tick).0, 403, "{words}");
    }
    assert_eq!(post("/job/lid/lay/record", "of=lid").0, 403);
    assert!(!s.get("/job/lid/lay").text().contains("planted"));
    // Another site cannot tick through it.
    let head = format!(
        "POST /job/lid/bench/tick HTTP/1.1\r\nHost: {host}\r\nOrigin: http://evil.example\r\nCookie: warpwise_second={key}"
    );
    let mut stream = TcpStream::connect(host).unwrap();
    stream
        .write_all(format!("{head}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").as_bytes())
        .unwrap();
    let mut all = String::new();
    let _ = stream.read_to_string(&mut all);
    assert!(all.starts_with("HTTP/1.1 403"), "{all}");
    let photo = format!("/job/lid/lay/photo?name=a.png&of=lid&kit={kit}&step=0");
    let sent = phone(&format!("POST {photo} HTTP/1.1"), &blank_photo());
    assert!(sent.0 == 200 && !sent.1.contains("<textarea"), "{}", sent.1);
}

/// What was answered as saved is in the ledger, whenever the server is killed.
#[test]
fn a_hundred_kills_of_the_server_lose_no_tick_that_was_shown_as_saved() {
    let mut s = kit(true, &[]);
    let pieces = planned_pieces(&s);
    let kit = bench_state(&s)["kit"].clone();
    let (mut saved, mut number) = (std::collections::BTreeMap::new(), 0_u32);
    let (mut lost_answers, mut whole) = (0, std::time::Duration::ZERO);
    for round in 0..100_u32 {
        let (host, cookie) = (s.host.clone(), s.cookie.clone());
        let at = (round % 4) as usize;
        let (piece, copy) = pieces[at].clone();
        let before = saved.get(&at).copied().unwrap_or(false);
        let to = if before { "back" } else { "cut" };
        number += 1;
        let body = serde_json::json!({ "kit": kit, "ticks": [
            { "key": format!("kill-{number:08}"), "piece": piece, "copy": copy, "to": to } ] })
        .to_string();
        let request = format!(
            "POST /job/lid/bench/tick HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {cookie}\r\n\
             Content-Type: application/json\r\nContent-Length: {}\r\nConnection: close\r\n\r\n{body}",
            body.len()
        );
        let mut stream = TcpStream::connect(&host).unwrap();
        stream.write_all(request.as_bytes()).unwrap();
        // The first is waited for; from then on the server is killed at any moment of the work.
        let begun = std::time::Instant::now();
        if round > 0 {
            std::thread::sleep(whole.mul_f64(f64::from(round % 20) / 16.0));
            s.child.kill().unwrap();
        }
        let mut answer = String::new();
        let _ = stream.read_to_string(&mut answer);
        let _ = s.child.kill();
        s.child.wait().unwrap();
        let shown = answer.contains("\"saved\":true");
        if round == 0 {
            assert!(shown, "{answer}");
            whole = begun.elapsed();
        }
        lost_answers += usize::from(!shown);
        let home = std::mem::replace(&mut s.home, tempfile::tempdir().unwrap());
        let ledger = warpwise::ledger::Ledger::read(&home.path().join("stock.sqlite")).unwrap();
        let plan = std::fs::read_to_string(home.path().join("lid/plan/plan.json")).unwrap();
        let plan = warpwise::plan::from_json(&plan).unwrap();
        let there = ledger.pieces_of(&plan).unwrap();
        for (k, (piece, copy)) in pieces.iter().enumerate() {
            let is_cut = there.iter().any(|p| p.piece == *piece && u64::from(p.copy) == *copy);
            let expected = saved.get(&k).copied().unwrap_or(false);
            if k == at {
                assert!(!shown || is_cut != before, "round {round}: a tick shown as saved is lost");
                saved.insert(k, is_cut);
            } else {
                assert_eq!(is_cut, expected, "round {round}: another piece has changed");
            }
        }
        drop(ledger);
        s = Server::on(home);
    }
    assert!(lost_answers > 10, "too few kills hit the work: {lost_answers}");
}
