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
        let mut child =
            command(home.path()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
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
        let mut stream = TcpStream::connect(&self.host).unwrap();
        let head = format!(
            "GET /job/{job}/watch HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\n\r\n",
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
