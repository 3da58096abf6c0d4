//! The page's server asked as a browser asks it, and as nobody should.
#![allow(clippy::unwrap_used)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// A server on a workshop of its own; killed at the end, as a crash would.
struct Server {
    child: Child,
    home: tempfile::TempDir,
    host: String,
    key: String,
    cookie: String,
}

struct Answer {
    status: u16,
    head: String,
    body: Vec<u8>,
}

impl Answer {
    fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    fn header(&self, name: &str) -> Option<&str> {
        self.head.lines().find_map(|l| {
            l.split_once(": ").filter(|(n, _)| n.eq_ignore_ascii_case(name)).map(|(_, v)| v)
        })
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Server {
    fn begin() -> Server {
        Server::on(tempfile::tempdir().unwrap())
    }

    fn on(home: tempfile::TempDir) -> Server {
        Server::with(home, &[])
    }

    fn with(home: tempfile::TempDir, more: &[&str]) -> Server {
        let mut command = command(home.path());
        let command = command.args(more).stdout(Stdio::piped()).stderr(Stdio::null());
        let mut child = command.spawn().unwrap();
        let mut link = String::new();
        BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut link).unwrap();
        let (host, key) =
            link.trim().strip_prefix("http://").unwrap().split_once("/?key=").unwrap();
        Server {
            child,
            home,
            host: host.into(),
            key: key.into(),
            cookie: format!("warpwise_bench={key}"),
        }
    }

    fn send(&self, head: &str, body: &[u8]) -> Answer {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        stream
            .write_all(
                format!("{head}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n", body.len())
                    .as_bytes(),
            )
            .unwrap();
        // A server that refuses by the head alone may not read the body.
        let _ = stream.write_all(body);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let end = all.windows(4).position(|w| w == b"\r\n\r\n").unwrap_or(all.len());
        let head = String::from_utf8_lossy(&all[..end]).into_owned();
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
        Answer { status, head, body: all.get(end + 4..).unwrap_or_default().to_vec() }
    }

    fn get(&self, path: &str) -> Answer {
        self.send(
            &format!("GET {path} HTTP/1.1\r\nHost: {}\r\nCookie: {}", self.host, self.cookie),
            b"",
        )
    }

    fn post(&self, path: &str, kind: &str, body: &[u8]) -> Answer {
        let (host, cookie) = (&self.host, &self.cookie);
        self.send(
            &format!("POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {cookie}\r\nContent-Type: {kind}"),
            body,
        )
    }

    fn form(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let body: Vec<String> = fields.iter().map(|(k, v)| format!("{k}={}", encoded(v))).collect();
        self.post(path, "application/x-www-form-urlencoded", body.join("&").as_bytes())
    }

    /// The revision that a step of a job shows.
    fn rev(&self, job: &str) -> String {
        let text = self.get(&format!("/job/{job}/cloths")).text();
        text.split("id=\"rev\"")
            .nth(1)
            .unwrap()
            .split("value=\"")
            .nth(1)
            .unwrap()
            .split('"')
            .next()
            .unwrap()
            .to_string()
    }

    fn edit(&self, job: &str, edit: &serde_json::Value) -> Answer {
        self.form(
            &format!("/job/{job}/edit"),
            &[("rev", &self.rev(job)), ("view", "layers"), ("edit", &edit.to_string())],
        )
    }

    fn job_text(&self, job: &str) -> String {
        std::fs::read_to_string(self.home.path().join(job).join("job.toml")).unwrap()
    }

    /// Hears of a job until something is said.
    fn hear(&self, job: &str, wanted: &str) {
        self.hear_at(&format!("/job/{job}/watch"), wanted);
    }

    fn hear_at(&self, path: &str, wanted: &str) {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        let head = format!(
            "GET {path} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\n\r\n",
            self.host, self.cookie
        );
        stream.write_all(head.as_bytes()).unwrap();
        let said =
            BufReader::new(stream).lines().map_while(Result::ok).any(|line| line.contains(wanted));
        assert!(said, "the server ended before it said {wanted}");
    }
}

fn command(home: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_warpwise"));
    command.arg("bench").arg(home).arg("--no-open").env("XDG_DATA_HOME", home.join("data"));
    command
}

fn encoded(text: &str) -> String {
    text.bytes()
        .map(|b| {
            if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") }
        })
        .collect()
}

#[test]
fn only_the_link_that_was_printed_opens_the_page() {
    let s = Server::begin();
    let host = s.host.clone();
    let ask = |head: &str| s.send(head, b"");
    assert_eq!(ask(&format!("GET / HTTP/1.1\r\nHost: {host}")).status, 401);
    assert_eq!(ask(&format!("GET /?key=0123 HTTP/1.1\r\nHost: {host}")).status, 403);
    let opened = ask(&format!("GET /?key={} HTTP/1.1\r\nHost: {host}", s.key));
    assert_eq!((opened.status, opened.header("location")), (303, Some("/")));
    let cookie = opened.header("set-cookie").unwrap();
    assert!(
        cookie.contains("HttpOnly")
            && cookie.contains("SameSite=Strict")
            && cookie.contains(&s.cookie),
        "{cookie}"
    );
    let page = s.get("/");
    assert_eq!(page.status, 200);
    let policy = page.header("content-security-policy").unwrap();
    assert!(policy.contains("default-src 'none'") && !policy.contains("unsafe"), "{policy}");
    assert!(!page.text().contains(&s.key), "the key is in no page");
}

#[test]
fn other_sites_and_other_names_for_this_computer_are_refused() {
    let s = Server::begin();
    let (host, cookie) = (&s.host, &s.cookie);
    let port = host.split(':').nth(1).unwrap();
    // A name server may say that a foreign name is this computer: the browser then sends the
    // foreign name.
    for name in [
        format!("evil.example:{port}"),
        format!("127.0.0.1.evil.example:{port}"),
        "127.0.0.1:1".into(),
        String::new(),
    ] {
        assert_eq!(
            s.send(&format!("GET / HTTP/1.1\r\nHost: {name}\r\nCookie: {cookie}"), b"").status,
            421,
            "{name}"
        );
    }
    let post = |more: &str| {
        let head = format!(
            "POST /jobs HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nContent-Type: application/x-www-form-urlencoded{more}"
        );
        s.send(&head, b"name=planted").status
    };
    assert_eq!(post(""), 403);
    assert_eq!(post("\r\nOrigin: http://evil.example"), 403);
    assert_eq!(post("\r\nOrigin: null"), 403);
    assert_eq!(post(&format!("\r\nOrigin: http://{host}\r\nSec-Fetch-Site: cross-site")), 403);
    assert_eq!(
        s.send(
            &format!(
                "GET / HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nSec-Fetch-Site: cross-site"
            ),
            b""
        )
        .status,
        403
    );
    assert!(!s.home.path().join("planted").exists());
    assert_eq!(post(&format!("\r\nOrigin: http://{host}")), 303);
    assert!(s.home.path().join("planted/job.toml").is_file());
}

#[test]
fn no_address_and_no_name_leads_out_of_the_workshop() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    std::fs::write(s.home.path().join("secret.svg"), "secret").unwrap();
    std::fs::create_dir(s.home.path().join("seat/plan")).unwrap();
    std::fs::write(s.home.path().join("seat/plan/report.html"), "mine").unwrap();
    assert_eq!(s.get("/job/seat/plan/file/report.html").text(), "mine");
    for path in [
        "/job/seat/plan/file/../../secret.svg",
        "/job/seat/plan/file/..%2f..%2fsecret.svg",
        "/job/seat/plan/file/%2e%2e/%2e%2e/secret.svg",
        "/job/seat/plan/file//etc/hostname.svg",
        "/job/seat/plan/file/report.html%00.svg",
        "/job/..%2f..%2fetc/templates",
        "/job/%2e%2e/templates",
        "/asset/..%2f..%2fCargo.toml",
        "/nothing",
    ] {
        let answer = s.get(path);
        assert!(
            answer.status == 404 && !answer.text().contains("secret"),
            "{path}: {}",
            answer.status
        );
    }
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(
            s.home.path().join("secret.svg"),
            s.home.path().join("seat/plan/link.svg"),
        )
        .unwrap();
        assert_eq!(s.get("/job/seat/plan/file/link.svg").status, 404);
    }
    for name in ["../planted.svg", "/tmp/planted.svg", ".hidden.svg", "nul.svg", "a\nb.svg"] {
        let drawing = b"<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"9mm\" height=\"9mm\" viewBox=\"0 0 9 9\"><rect width=\"8\" height=\"8\"/></svg>";
        assert_eq!(
            s.post(
                &format!("/job/seat/take?name={}", encoded(name)),
                "application/octet-stream",
                drawing
            )
            .status,
            422,
            "{name}"
        );
    }
    let names: Vec<String> = std::fs::read_dir(s.home.path().join("seat"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    assert!(names.iter().all(|n| n == "job.toml" || n == "plan"), "{names:?}");
}

#[test]
fn bodies_and_connections_have_limits_and_the_server_goes_on() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    let before = s.job_text("seat");
    let huge = vec![b'a'; 2 << 20];
    assert_eq!(s.post("/job/seat/edit", "application/x-www-form-urlencoded", &huge).status, 413);
    for nonsense in [
        "",
        "rev=1",
        "rev=x&view=cloths&edit=%7B",
        "rev=x&view=cloths&at=cloth.0.id;drop&value=1",
        "%ff%fe",
    ] {
        let status = s
            .post("/job/seat/edit", "application/x-www-form-urlencoded", nonsense.as_bytes())
            .status;
        assert!((400..500).contains(&status), "{nonsense}: {status}");
    }
    assert_eq!(s.job_text("seat"), before);
    let idle: Vec<TcpStream> = (0..90).map(|_| TcpStream::connect(&s.host).unwrap()).collect();
    assert_eq!(s.get("/").status, 200);
    drop(idle);
    assert_eq!(s.get("/").status, 200);
}

#[test]
fn a_whole_job_from_an_empty_workshop_to_sheets() {
    let s = Server::begin();
    assert_eq!(
        s.form("/jobs", &[("name", "Rudder blade 2")]).header("location"),
        Some("/job/Rudder%20blade%202/templates")
    );
    let job = "Rudder%20blade%202";
    let text = || s.job_text("Rudder blade 2");
    let drawing = b"<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"400mm\" height=\"300mm\" viewBox=\"0 0 400 300\"><rect x=\"9\" y=\"9\" width=\"210\" height=\"120\"/></svg>";
    assert_eq!(
        s.post(
            &format!("/job/{job}/take?name=blade.svg&off=plug"),
            "application/octet-stream",
            drawing
        )
        .status,
        200
    );
    assert!(
        text().contains("id = \"blade\"") && text().contains("taken_off = \"plug\""),
        "{}",
        text()
    );
    // What is typed stands in the file even if it is wrong, and the fault is said.
    let set = |at: &str, value: &str| {
        s.form(
            &format!("/job/{job}/edit"),
            &[("rev", &s.rev(job)), ("view", "cloths"), ("at", at), ("value", value)],
        )
    };
    let said = set("cloth.0.roll_width", "wide").text();
    assert!(
        text().contains("roll_width = \"wide\"")
            && said.contains("data-for=\"cloth.0.roll_width\""),
        "{said}"
    );
    assert_eq!(
        s.form(
            &format!("/job/{job}/plan/begin"),
            &[("seconds", "1"), ("sets", "1"), ("seed", "1")]
        )
        .status,
        422
    );
    assert!(!set("cloth.0.roll_width", "620").text().contains("data-for=\"cloth.0.roll_width\""));
    assert!(text().contains("# CHECK: selvedges included"), "comments stay: {}", text());
    set("cloth.0.id", "twill-620");
    assert!(text().contains("cloth = \"twill-620\""));
    let lay = serde_json::json!({ "lay": { "layer": 0, "template": "blade", "on": true } });
    assert_eq!(s.edit(job, &lay).status, 200);
    // A page that looked at an older state overwrites nothing.
    let stale = s.form(
        &format!("/job/{job}/edit"),
        &[
            ("rev", "0123456789abcdef"),
            ("view", "cloths"),
            ("at", "cloth.0.selvedge"),
            ("value", "99"),
        ],
    );
    assert!(stale.status == 409 && !text().contains("99"));
    let begun = s.form(
        &format!("/job/{job}/plan/begin"),
        &[("seconds", "0,2"), ("sets", "1"), ("seed", "1")],
    );
    assert_eq!(begun.status, 200, "{}", begun.text());
    s.hear(job, "\"phase\":\"done\"");
    assert!(s.get(&format!("/job/{job}/plan")).text().contains("twill-620"));
    for what in [
        "placement",
        "layup",
        "labels",
        "cards",
        "templates?paper=a4",
        "layouts?paper=a3",
        "layouts?paper=roll",
    ] {
        let answer = s.get(&format!("/job/{job}/print/{what}"));
        assert!(
            answer.status == 200 && answer.body.starts_with(b"%PDF"),
            "{what}: {}",
            answer.text()
        );
    }
    assert_eq!(s.get(&format!("/job/{job}/print/layouts?paper=nonsense")).status, 422);
    let undone = s.form(&format!("/job/{job}/undo"), &[("rev", &s.rev(job)), ("view", "layers")]);
    assert!(undone.status == 200 && !text().contains("\"blade\"]"));
}

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
fn booking_is_shown_before_it_is_done_and_can_be_undone() {
    let s = Server::begin();
    let add = [
        ("kind", "roll"),
        ("cloth", "twill-200"),
        ("width", "1250"),
        ("length", "9 m"),
        ("new_cloth", "yes"),
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
fn a_second_start_gives_the_first_ones_address_and_a_killed_one_bars_nobody() {
    let s = Server::begin();
    let second = command(s.home.path()).output().unwrap();
    let link = String::from_utf8(second.stdout).unwrap();
    assert!(second.status.success() && link.trim().ends_with(&s.key), "{link}");
    s.form("/jobs", &[("name", "seat")]);
    let text = s.job_text("seat");
    // Killed without a word, as by a power cut; what was shown as saved is there.
    let mut s = s;
    s.child.kill().unwrap();
    s.child.wait().unwrap();
    let home = std::mem::replace(&mut s.home, tempfile::tempdir().unwrap());
    let again = Server::on(home);
    assert_ne!(again.key, s.key);
    assert_eq!(again.job_text("seat"), text);
    assert_eq!(again.get("/job/seat/templates").status, 200);
}

#[test]
fn a_job_changed_by_another_program_is_heard_of() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    let before = s.rev("seat");
    let text = s.job_text("seat").replace("roll_width = 1250", "roll_width = 999");
    std::fs::write(s.home.path().join("seat/job.toml"), text).unwrap();
    assert_ne!(s.rev("seat"), before);
    assert!(s.get("/job/seat/cloths").text().contains("value=\"999\""));
    std::fs::write(s.home.path().join("seat/job.toml"), "[job\nbroken").unwrap();
    let broken = s.get("/job/seat/cloths");
    assert!(broken.status == 200 && broken.text().contains("not TOML"), "{}", broken.text());
}

/// A job with one rectangle on a roll, planned.
fn planned(s: &Server) {
    s.form("/jobs", &[("name", "lid")]);
    let shape = [("shape", "rectangle"), ("length", "300"), ("width", "20 cm")];
    let rev = s.rev("lid");
    s.form("/job/lid/shape", &[&[("rev", rev.as_str())], &shape[..]].concat());
    let lay = serde_json::json!({ "lay": { "layer": 0, "template": "rectangle", "on": true } });
    assert_eq!(s.edit("lid", &lay).status, 200);
    let settings = [("seconds", "0.2"), ("sets", "1"), ("seed", "1")];
    assert_eq!(s.form("/job/lid/plan/begin", &settings).status, 200);
}

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

/// The page's own requests of the cutting table.
fn by_hand(s: &Server, what: &str, body: &serde_json::Value) -> Answer {
    s.post(&format!("/job/lid/by-hand/{what}"), "application/json", body.to_string().as_bytes())
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
    assert_eq!(over["nearest"], serde_json::json!([100.0, 10.0]));
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
    let pin = serde_json::json!({ "plan": second["plan"], "piece": id, "copy": 1, "pinned": true });
    let third = read(by_hand(&s, "pin", &pin));
    assert_eq!(third["cloths"][0]["pinned"], serde_json::json!([[0, 0]]));
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

/// A picture of two shades with nothing in it that could be traced.
fn blank_photo() -> Vec<u8> {
    let shade = |x, _| image::Luma([if x < 700 { 60 } else { 200 }]);
    let image = image::GrayImage::from_fn(1400, 1100, shade);
    let mut bytes = std::io::Cursor::new(Vec::new());
    image.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
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

/// What a phone in the same network may reach, and what not.
#[test]
fn a_second_device_looks_and_sends_photos_and_nothing_else() {
    let alone = Server::begin();
    assert!(!alone.get("/").text().contains("class=\"code\""), "nobody asked for it");
    drop(alone);
    let s = Server::with(tempfile::tempdir().unwrap(), &["--on-network=127.0.0.1"]);
    planned(&s);
    s.hear("lid", "\"phase\":\"done\"");
    let home = s.get("/").text();
    assert!(home.contains("class=\"code\""), "{home}");
    let link = home.split("<code>").nth(1).unwrap().split("</code>").next().unwrap();
    let (host, key) = link.strip_prefix("http://").unwrap().split_once("/?key=").unwrap();
    assert!(host != s.host && key != s.key);
    let ask = |head: &str, body: &[u8]| {
        let mut stream = TcpStream::connect(host).unwrap();
        let length = body.len();
        let head = format!("{head}\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n");
        stream.write_all(head.as_bytes()).unwrap();
        let _ = stream.write_all(body);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let text = String::from_utf8_lossy(&all).into_owned();
        (text.split(' ').nth(1).and_then(|c| c.parse::<u16>().ok()).unwrap_or(0), text)
    };
    let cookie = format!("warpwise_second={key}");
    let get =
        |path: &str| ask(&format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}"), b"");
    let post = |path: &str, kind: &str, body: &[u8]| {
        let head = format!(
            "POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n\
             Cookie: {cookie}\r\nContent-Type: {kind}"
        );
        ask(&head, body)
    };
    // Its own key opens its own door, and no other.
    assert_eq!(ask(&format!("GET / HTTP/1.1\r\nHost: {host}"), b"").0, 401);
    assert_eq!(ask(&format!("GET /?key={} HTTP/1.1\r\nHost: {host}", s.key), b"").0, 403);
    let main = format!("GET / HTTP/1.1\r\nHost: {host}\r\nCookie: {}", s.cookie);
    assert_eq!(ask(&main, b"").0, 401);
    assert_eq!(s.get(&format!("/?key={key}")).status, 403);
    let foreign = format!("GET / HTTP/1.1\r\nHost: {}\r\nCookie: {cookie}", s.host);
    assert_eq!(s.send(&foreign, b"").status, 401);
    assert_eq!(
        ask(&format!("GET / HTTP/1.1\r\nHost: evil.example\r\nCookie: {cookie}"), b"").0,
        421
    );
    // It looks.
    for path in ["/", "/stock", "/job/lid/all", "/job/lid/print/placement", "/job/lid/look/layup"] {
        assert_eq!(get(path).0, 200, "{path}");
    }
    let page = get("/job/lid/all").1;
    assert!(!page.contains("hx-post") && !page.contains(&s.key), "{page}");
    // It changes nothing.
    let text = s.job_text("lid");
    let form = "application/x-www-form-urlencoded";
    for (path, body) in [
        ("/jobs", "name=planted"),
        ("/job/lid/edit", "rev=x&view=cloths&at=cloth.0.selvedge&value=99"),
        ("/job/lid/plan/begin", "seconds=1&sets=1&seed=1"),
        ("/job/lid/by-hand/back", "{\"plan\":\"x\"}"),
        ("/job/lid/book", "sure=yes"),
        ("/job/lid/undo", "rev=x&view=cloths"),
        ("/stock/add", "kind=roll&cloth=c&width=1250&new_cloth=yes"),
        ("/stock/undo", ""),
        ("/job/lid/all", ""),
        ("/projector/bench", "name=door"),
        ("/projector/step", "to=next"),
        ("/projector/answer", "to=yes"),
        ("/job/lid/project", "shown=one&face=planned&lie=left"),
    ] {
        assert_eq!(post(path, form, body.as_bytes()).0, 403, "{path}");
    }
    for path in
        ["/job/lid/cloths", "/job/lid/outline/0", "/card", "/job/lid/plan/file/..%2fjob.toml"]
            .into_iter()
            .chain(["/projector", "/projector/throw", "/projector/light?w=1920&h=1080"])
    {
        assert!([403, 404].contains(&get(path).0), "{path}");
    }
    let drawing = b"<svg xmlns=\"http://www.w3.org/2000/svg\"/>";
    assert_eq!(post("/job/lid/take?name=a.svg", "application/octet-stream", drawing).0, 403);
    let elsewhere = format!(
        "POST /job/lid/take?name=a.png HTTP/1.1\r\nHost: {host}\r\n\
         Origin: http://evil.example\r\nCookie: {cookie}"
    );
    assert_eq!(ask(&elsewhere, &blank_photo()).0, 403);
    assert!(s.job_text("lid") == text && !s.home.path().join("planted").exists());
    // A photo comes through, and is judged as any other.
    let sent = post("/job/lid/take?name=a.png", "application/octet-stream", &blank_photo());
    assert_eq!(sent.0, 422, "{}", sent.1);
    assert!(s.home.path().join("lid/a.png").is_file());
}

/// Files stay in mm; what is shown and typed is in the workshop's units.
#[test]
fn a_workshop_may_have_inches_and_ounces() {
    let s = Server::begin();
    planned(&s);
    s.hear("lid", "\"phase\":\"done\"");
    let field = |name: &str| {
        let page = s.get("/job/lid/cloths").text();
        let field = page.split(&format!("id=\"f-cloth-0-{name}\"")).nth(1).unwrap();
        field.split("value=\"").nth(1).unwrap().split('"').next().unwrap().to_string()
    };
    assert_eq!(field("roll_width"), "1250");
    assert_eq!(s.form("/units", &[("to", "inch")]).status, 303);
    let house = std::fs::read_to_string(s.home.path().join("workshop.toml")).unwrap();
    assert!(house.contains("units = \"inch\""), "{house}");
    assert_eq!(field("roll_width"), "49.2126 in");
    let set = |at: &str, value: &str| {
        let fields = [("rev", &*s.rev("lid")), ("view", "cloths"), ("at", at), ("value", value)];
        s.form("/job/lid/edit", &fields)
    };
    assert_eq!(set("cloth.0.roll_width", "50").status, 200);
    assert_eq!(set("cloth.0.areal_mass", "5,9").status, 200);
    let text = s.job_text("lid");
    assert!(text.contains("roll_width = \"50 in\""), "{text}");
    assert!(text.contains("areal_mass = \"5.9 oz/yd²\""), "{text}");
    assert!(s.get("/job/lid/templates").text().contains("11.8 in × 7.9 in"));
    let plan = s.get("/job/lid/plan").text();
    assert!(plan.contains(" ft²") && plan.contains(" in</text>"), "{plan}");
    assert!(!plan.contains(" mm</text>"), "the picture of the layouts speaks in inches too");
    let add = [
        ("kind", "roll"),
        ("cloth", "twill-200"),
        ("width", "50"),
        ("length", "10 ft"),
        ("new_cloth", "yes"),
    ];
    let stock = s.form("/stock/add", &add).text();
    assert!(stock.contains("50 in") && stock.contains("10.00 ft"), "{stock}");
    // A file that says nothing that is known is a fault on the first page, and hinders nothing.
    std::fs::write(s.home.path().join("workshop.toml"), "units = \"cubit\"\n").unwrap();
    assert!(s.get("/").text().contains("cubit"));
    assert_eq!(s.get("/job/lid/templates").status, 200);
}

#[test]
fn the_box_is_searched_by_size() {
    let s = Server::begin();
    let add = |length: &str, width: &str| {
        let size = [("length", length), ("width", width)];
        let cloth = [("kind", "offcut"), ("cloth", "twill-200"), ("new_cloth", "yes")];
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
    assert_eq!(s.get("/stock/find?along=wide").status, 422);
}

/// A request of the page's own in JSON, and the answer.
fn told(s: &Server, path: &str, body: &serde_json::Value) -> serde_json::Value {
    let answer = s.post(path, "application/json", body.to_string().as_bytes());
    assert_eq!(answer.status, 200, "{}", answer.text());
    serde_json::from_slice(&answer.body).unwrap()
}

fn bench_state(s: &Server) -> serde_json::Value {
    serde_json::from_slice(&s.get("/job/lid/bench/state").body).unwrap()
}

/// Sends ticks of pieces, each with a key, a piece (by its place in the plan) and what it says.
fn tick(s: &Server, ticks: &[(&str, usize, &str)]) -> serde_json::Value {
    let pieces = planned_pieces(s);
    let one = |(key, at, to): &(&str, usize, &str)| {
        let (piece, copy) = &pieces[*at];
        serde_json::json!({ "key": format!("key-{key:0>8}"), "piece": piece, "copy": copy, "to": to })
    };
    let ticks: Vec<_> = ticks.iter().map(one).collect();
    let sent = serde_json::json!({ "kit": bench_state(s)["kit"], "ticks": ticks });
    told(s, "/job/lid/bench/tick", &sent)
}

/// Piece and copy of all that is placed, by name.
fn planned_pieces(s: &Server) -> Vec<(String, u64)> {
    let plan: serde_json::Value =
        serde_json::from_slice(&s.get("/job/lid/plan/file/plan.json").body).unwrap();
    let stocks = plan["stocks"].as_array().unwrap();
    let all = stocks.iter().flat_map(|s| s["placed"].as_array().unwrap());
    let name = |p: &serde_json::Value| {
        (p["piece"].as_str().unwrap().to_string(), p["copy"].as_u64().unwrap())
    };
    let mut all: Vec<_> = all.map(name).collect();
    all.sort();
    all
}

/// Two layers of two strips, with a debulk between and a cure.
const KIT: &str = r#"stock = "../stock.sqlite"
[job]
name = "lid"
[[cloth]]
id = "twill-200"
weave = "plain"
up = "paper"
roll_width = 1250
selvedge = 10
[[strip]]
id = "long"
length = 900
width = 200
[[strip]]
id = "short"
length = 300
width = 200
[[layer]]
cloth = "twill-200"
angle = 0
templates = ["long", "short"]
[[layer]]
cloth = "twill-200"
angle = 0
templates = ["long", "short"]
[debulk]
first = true
last = false
minutes = 20
[[cure]]
to = 80
rate = 2
hold = 60
"#;

/// A server with that job planned: from a roll and an offcut that takes nothing but a short strip,
/// or from no ledger.
fn kit(with_ledger: bool, more: &[&str]) -> Server {
    let s = Server::with(tempfile::tempdir().unwrap(), more);
    std::fs::create_dir(s.home.path().join("lid")).unwrap();
    let text = if with_ledger { KIT.to_string() } else { KIT.replace("stock =", "# stock =") };
    std::fs::write(s.home.path().join("lid/job.toml"), text).unwrap();
    let cloth =
        [("cloth", "twill-200"), ("new_cloth", "yes"), ("batch", "B7"), ("out_life", "480")];
    let roll = [("kind", "roll"), ("width", "1250"), ("length", "9 m")];
    if with_ledger {
        assert_eq!(s.form("/stock/add", &[&roll[..], &cloth[..]].concat()).status, 200);
    }
    let settings = [("seconds", "0.2"), ("sets", "1"), ("seed", "1")];
    let begun = s.form("/job/lid/plan/begin", &settings);
    assert_eq!(begun.status, 200, "{}", begun.text());
    s.hear("lid", "\"phase\":\"done\"");
    if with_ledger {
        let offcut = [("kind", "offcut"), ("length", "320"), ("width", "210")];
        assert_eq!(s.form("/stock/add", &[&offcut[..], &cloth[..]].concat()).status, 200);
    }
    s
}

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
    // To the end: the rail says so, and the roll is shorter.
    tick(&s, &[("6", 0, "cut"), ("7", 2, "cut"), ("8", 3, "cut")]);
    let rail = s.get("/job/lid/cut").text();
    let rail = rail.split("/job/lid/cut\"").nth(1).unwrap();
    assert!(rail.split("</a>").next().unwrap().contains('✓'), "{rail}");
    assert!(!s.get("/stock").text().contains("9.00 m"));
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

/// Does something at the mould.
fn act(s: &Server, key: &str, act: &serde_json::Value, despite: bool) -> serde_json::Value {
    let tick = serde_json::json!({
        "key": format!("act-{key:0>8}"), "job": "lid", "act": act, "despite": despite,
    });
    let sent = serde_json::json!({ "kit": bench_state(s)["kit"], "ticks": [tick] });
    told(s, "/job/lid/bench/tick", &sent)["results"][0].clone()
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
        "0 h of 480 h",
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

/// What the notes of a page say, each as what is wrong and what to do, without their tags.
fn notes(page: &str) -> Vec<[String; 2]> {
    let bare = |html: &str| -> String {
        let parts = html.split('<').enumerate();
        parts.map(|(i, p)| if i == 0 { p } else { p.split_once('>').map_or("", |p| p.1) }).collect()
    };
    let note = |part: &str| {
        let part = part.split("</p>").next().unwrap();
        let said = part.splitn(3, "</span>").nth(2).unwrap_or(part);
        let (what, remedy) = said.split_once("<span class=\"remedy\">").unwrap_or((said, ""));
        [bare(what), bare(remedy.split("</span>").next().unwrap())]
    };
    page.split("<p class=\"note ").skip(1).map(note).collect()
}

/// The German page showed English faults; now every one is in German, whatever room it is from.
#[test]
fn a_german_page_says_every_fault_in_german() {
    let home = tempfile::tempdir().unwrap();
    let job = |name: &str, text: &str| {
        let folder = home.path().join(name);
        std::fs::create_dir(&folder).unwrap();
        std::fs::write(folder.join("job.toml"), text).unwrap();
        let drawing = |width: &str, shapes: &str| {
            format!(
                "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{width}\" height=\"600mm\" viewBox=\"0 0 400 600\">{shapes}</svg>"
            )
        };
        for (file, width, shapes) in [
            ("open.svg", "400mm", "<path id=\"a, and b\" d=\"M0 0H300V500\"/>"),
            (
                "bow.svg",
                "400mm",
                "<path d=\"M0 0L300 500H0L300 0Z\"/><g id=\"arrow\"><path d=\"M9 9H99\"/></g>",
            ),
            ("size.svg", "4 ells", "<rect width=\"300\" height=\"500\"/>"),
            (
                "two.svg",
                "400mm",
                "<rect width=\"90\" height=\"90\"/><rect x=\"200\" width=\"90\" height=\"90\"/><path d=\"M9 9L50 9\"/>",
            ),
        ] {
            std::fs::write(folder.join(file), drawing(width, shapes)).unwrap();
        }
    };
    job(
        "keys",
        "[job]\nname = \"keys\"\ncolour = 3\n[cutting]\ngpa = 2\nbench_length = -1\n[cloth]\nid = \"c d\"\nweave = \"twil 2/2\"\nup = 4\n\
         roll_width = \"five\"\nselvedge = 2e9\n[[layer]]\ncloth = \"\"\nangle = \"1,5\"\ntemplates = []\n[[strip]]\nid = \"tape\"\n",
    );
    let layer =
        |cloth: &str, more: &str| format!("[[layer]]\ncloth = \"{cloth}\"\nangle = 0\n{more}\n");
    let template = |id: &str, file: &str| {
        format!(
            "[[template]]\nid = \"{id}\"\nfile = \"{file}\"\ntaken_off = \"mould\"\ninked_side = \"up\"\n"
        )
    };
    let cloth = |id: &str, more: &str| {
        format!(
            "[[cloth]]\nid = \"{id}\"\nup = \"paper\"\nroll_width = 100\nselvedge = 60\n{more}\n"
        )
    };
    let texts = [
        "[job]\nname = \"values\"\n[cutting]\ngap = 2\nbench_length = 50\n".to_string(),
        cloth("c", "weave = \"twill 2/2\"\nexpiry = \"soon\"\nresin_content = 1.2"),
        cloth(
            "c",
            "weave = \"plain\"\ntwill_line = 45\nprice_per_metre = 2\nprice_per_square_metre = 3",
        ),
        cloth("lost", "weave = \"plain\"\nflaws = [{ from = 9, to = 3 }, { from = 1 }]"),
        template("open", "open.svg"),
        template("bow", "bow.svg"),
        template("size", "size.svg"),
        template("two", "two.svg"),
        template("gone", "gone.svg"),
        template("word", "open.doc"),
        layer("clot", "templates = [\"two\", \"two\", \"tow\"]\nfaces = [\"up\"]"),
        "[[strip]]\nid = \"tape\"\nlength = 2000\nwidth = 900\n".to_string(),
    ];
    job("values", &texts.concat());
    job(
        "plies",
        "[job]\nname = \"plies\"\n[cutting]\ngap = 2\n[[cloth]]\nid = \"c\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = 500\nselvedge = 10\n\
         roll_length = 9\n[[strip]]\nid = \"tape\"\nlength = 900\nwidth = 700\n[[layer]]\ncloth = \"c\"\nangle = 0\ntemplates = [\"tape\"]\n",
    );
    let s = Server::on(home);
    let get = |path: &str, language: &str| {
        let (host, cookie) = (&s.host, &s.cookie);
        let head = format!(
            "GET {path} HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nAccept-Language: {language}"
        );
        s.send(&head, b"").text()
    };
    let mut count = 0;
    for job in ["keys", "values", "plies"] {
        for step in ["templates", "cloths", "layers", "plies", "plan"] {
            let path = format!("/job/{job}/{step}");
            let (english, german) = (notes(&get(&path, "en")), notes(&get(&path, "de")));
            assert_eq!(english.len(), german.len(), "{path}");
            count += english.len();
            for (e, g) in english.iter().zip(&german) {
                assert!(e[0] != g[0] && (e[1].is_empty() || e[1] != g[1]), "{path}: {g:?}");
            }
        }
    }
    assert!(count > 40, "only {count} notes");
}
