//! The pages of templates and layers.
#![allow(clippy::unwrap_used)]

mod page_support;

use page_support::*;

#[test]
fn an_outline_that_crosses_itself_is_refused_at_its_place_and_a_sound_one_is_drawn_anew() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "lid")]);
    s.form(
        "/job/lid/shape",
        &[("rev", &s.rev("lid")), ("shape", "rectangle"), ("length", "300"), ("width", "20 cm")],
    );
    let save = |net: &str| {
        let body = format!(
            "{{\"rev\":\"{}\",\"outline\":{{\"net\":{net},\"edges\":[\"lap\",null,null,null]}}}}",
            s.rev("lid")
        );
        s.post("/job/lid/outline/0", "application/json", body.as_bytes())
    };
    let crossed = save("[[0,0],[300,200],[300,0],[0,200]]");
    assert!(crossed.status == 422 && crossed.text().contains("\"at\":[150"), "{}", crossed.text());
    let before = std::fs::read(s.home.path().join("lid/rectangle.svg")).unwrap();
    assert_eq!(save("[[0,0],[320,0],[320,200],[0,200]]").status, 200);
    assert_eq!(
        std::fs::read(s.home.path().join("lid/rectangle.svg")).unwrap(),
        before,
        "the drawing it came from stays"
    );
    let text = s.job_text("lid");
    assert!(text.contains("file = \"rectangle-edited.svg\""), "{text}");
    assert!(s.get("/job/lid/templates").text().contains("320 mm × 200 mm"));
}

#[test]
fn a_photo_without_a_card_waits_for_its_corners() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    let kind = "application/octet-stream";
    let refused = s.post("/job/seat/take?name=pan.png", kind, &blank_photo());
    assert_eq!(refused.status, 422, "{}", refused.text());
    let list = s.get("/job/seat/untraced").text();
    assert!(list.contains("/job/seat/corners/pan.png"), "{list} {}", refused.text());
    assert!(s.get("/job/seat/corners/pan.png").text().contains("<card-corners"));
    let photo = s.get("/job/seat/corners/pan.png/photo");
    assert_eq!((photo.status, photo.header("content-type")), (200, Some("image/png")));
    let put = |name: &str, corners: &str| {
        let body = format!("{{\"corners\":{corners},\"span\":\"card\"}}");
        s.post(&format!("/job/seat/corners/{name}"), "application/json", body.as_bytes())
    };
    let twisted = put("pan.png", "[[10,10],[400,300],[400,10],[10,300]]");
    assert!(twisted.status == 422 && twisted.text().contains("rectangle"), "{}", twisted.text());
    // What is dark in it reaches the frame.
    assert_eq!(put("pan.png", "[[10,10],[400,10],[400,300],[10,300]]").status, 422);
    for name in ["..%2f..%2fsecret.png", "job.toml", "nothing.png"] {
        assert_eq!(s.get(&format!("/job/seat/corners/{name}")).status, 404, "{name}");
        assert_eq!(s.get(&format!("/job/seat/corners/{name}/photo")).status, 404, "{name}");
        assert_eq!(put(name, "[[10,10],[400,10],[400,300],[10,300]]").status, 422, "{name}");
    }
    assert!(!s.job_text("seat").contains("pan"), "nothing was added");
}

/// The edits that the choices of a removal send, in their order.
fn removals(page: &str) -> Vec<String> {
    let form = page.split("class=\"removal\"").nth(1).unwrap().split("</form>").next().unwrap();
    let values = form.split("<option value=\"").skip(1);
    values.map(|v| v.split('"').next().unwrap().replace("&quot;", "\"")).collect()
}

#[test]
fn a_new_job_says_what_is_example_and_a_template_that_goes_leaves_no_dead_end() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    for step in ["templates", "cloths", "layers"] {
        let page = s.get(&format!("/job/seat/{step}")).text();
        assert_eq!(page.matches("An example that came with").count(), 1, "{step}: {page}");
    }
    s.form(
        "/job/seat/shape",
        &[("rev", &s.rev("seat")), ("shape", "rectangle"), ("length", "300"), ("width", "200")],
    );
    let send = |edit: &str, view: &str| {
        s.form("/job/seat/edit", &[("rev", &s.rev("seat")), ("view", view), ("edit", edit)])
    };
    // What the layer lays in its place is offered, and done.
    let page = s.get("/job/seat/templates").text();
    assert!(page.contains("joint-tape is laid by layer 1"), "{page}");
    let [out, with_layer, instead] = &removals(&page)[..] else { panic!("{page}") };
    assert_eq!(send(instead, "templates").status, 200);
    let text = s.job_text("seat");
    assert!(text.contains("templates = [\"rectangle\"]") && !text.contains("[[strip]]"), "{text}");
    let undo = || s.form("/job/seat/undo", &[("rev", &s.rev("seat")), ("view", "templates")]);
    assert_eq!(undo().status, 200);
    assert_eq!(send(with_layer, "templates").status, 200);
    let text = s.job_text("seat");
    assert!(!text.contains("\n[[layer]]") && text.contains("[debulk]"), "{text}");
    undo();
    assert_eq!(send(out, "templates").status, 200);
    assert!(s.job_text("seat").contains("templates = []"), "{}", s.job_text("seat"));
    undo();
    // A layer that names what is gone can be mended where that is said.
    let gone = serde_json::json!({ "clear": { "at": "strip.0" } }).to_string();
    assert_eq!(send(&gone, "layers").status, 200);
    let page = s.get("/job/seat/layers").text();
    let note = page.split("joint-tape is not among the templates").nth(1).unwrap();
    assert!(note.split("</p>").next().unwrap().contains("Take it out of this layer"), "{page}");
    let off = serde_json::json!({ "lay": { "layer": 0, "template": "joint-tape", "on": false } });
    assert_eq!(send(&off.to_string(), "layers").status, 200);
    assert!(!s.get("/job/seat/layers").text().contains("joint-tape"));
}

#[test]
fn the_table_that_is_shown_before_one_is_dropped_is_taken_as_it_stands() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    let page = s.get("/job/seat/templates").text();
    let table = page.split("<pre>").nth(1).unwrap().split("</pre>").next().unwrap();
    let taken = s.post("/job/seat/take?name=plate.csv", "text/csv", table.as_bytes());
    assert_eq!(taken.status, 200, "{}", taken.text());
    assert!(s.job_text("seat").contains("file = \"plate.csv\""), "{}", s.job_text("seat"));
}

/// Steps kept their tick, and said nothing, while the file they are read from was broken.
#[test]
fn a_job_file_that_cannot_be_read_is_a_fault_of_every_step_that_is_read_from_it() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    let file = s.home.path().join("seat/job.toml");
    std::fs::write(&file, s.job_text("seat") + "\n[layup\n").unwrap();
    for step in ["templates", "cloths", "layers", "plies"] {
        let page = s.get(&format!("/job/seat/{step}")).text();
        assert_eq!(page.matches("<li class=\"fault\">").count(), 4, "{step}: {page}");
        assert!(page.contains("this is not TOML"), "{step}: {page}");
    }
}

/// The card of a template that was renamed kept its old name.
#[test]
fn a_new_name_stands_at_the_head_of_its_card_at_once() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    let name = |view: &str, at: &str, to: &str| {
        let fields = [("rev", &*s.rev("seat")), ("view", view), ("at", at), ("value", to)];
        s.form("/job/seat/edit", &fields).text()
    };
    let head = |id: &str, words: &str| format!("<h2 id=\"{id}\" hx-swap-oob=\"true\">{words}</h2>");
    let answer = name("templates", "strip.0.id", "edge-tape");
    assert!(answer.contains(&head("h-strip-0", "edge-tape")), "{answer}");
    let answer = name("layers", "layer.0.name", "bias");
    assert!(answer.contains(&head("h-layer-0", "1 · bias")), "{answer}");
}

/// A row of a layer showed one copy where the layer said three.
#[test]
fn a_row_shows_the_copies_of_its_layer_and_a_cure_can_be_typed() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    let copies = serde_json::json!({ "set": { "at": "layer.0.copies", "to": 3 } });
    assert!(s.edit("seat", &copies).text().contains("placeholder=\"3\""));
    let step = serde_json::json!({ "add": { "section": "cure", "keys": [] } });
    assert!(s.edit("seat", &step).text().contains("id=\"f-cure-0-hold\""));
    for (at, value) in [("cure.0.to", "80"), ("cure.0.rate", "2"), ("cure.0.hold", "60")] {
        let fields = [("rev", &*s.rev("seat")), ("view", "layers"), ("at", at), ("value", value)];
        assert_eq!(s.form("/job/seat/edit", &fields).status, 200, "{at}");
    }
    let text = s.job_text("seat");
    let has = |line: &str| text.lines().any(|l| l == line);
    assert!(has("to = 80") && has("rate = 2") && has("hold = 60"), "{text}");
    assert!(!s.get("/job/seat/layers").text().contains("<li class=\"fault\">"), "{text}");
}

/// The name that was refused was gone from its field, and which sign was wrong was not said.
#[test]
fn a_refused_name_of_a_job_stays_in_its_field() {
    let s = Server::begin();
    for from in ["", "none"] {
        let refused = s.form("/jobs", &[("name", "seat: left"), ("from", from)]);
        let page = refused.text();
        assert!(refused.status == 422 && page.contains("value=\"seat: left\""), "{page}");
        assert!(page.contains("not every system takes `:` in it"), "{page}");
    }
}
