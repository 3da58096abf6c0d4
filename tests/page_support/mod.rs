//! The page's server on a workshop of its own, asked as a browser asks it.
#![allow(dead_code, clippy::unwrap_used)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};

/// A server on a workshop of its own; killed at the end, as a crash would.
pub struct Server {
    pub child: Child,
    pub home: tempfile::TempDir,
    pub host: String,
    pub key: String,
    pub cookie: String,
}

pub struct Answer {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Answer {
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    pub fn header(&self, name: &str) -> Option<&str> {
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
    pub fn begin() -> Server {
        Server::on(tempfile::tempdir().unwrap())
    }

    pub fn on(home: tempfile::TempDir) -> Server {
        Server::with(home, &[])
    }

    pub fn with(home: tempfile::TempDir, more: &[&str]) -> Server {
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

    pub fn send(&self, head: &str, body: &[u8]) -> Answer {
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

    pub fn get(&self, path: &str) -> Answer {
        self.send(
            &format!("GET {path} HTTP/1.1\r\nHost: {}\r\nCookie: {}", self.host, self.cookie),
            b"",
        )
    }

    pub fn post(&self, path: &str, kind: &str, body: &[u8]) -> Answer {
        let (host, cookie) = (&self.host, &self.cookie);
        self.send(
            &format!("POST {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {cookie}\r\nContent-Type: {kind}"),
            body,
        )
    }

    pub fn form(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        let body: Vec<String> = fields.iter().map(|(k, v)| format!("{k}={}", encoded(v))).collect();
        self.post(path, "application/x-www-form-urlencoded", body.join("&").as_bytes())
    }

    /// The revision that a step of a job shows.
    pub fn rev(&self, job: &str) -> String {
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

    pub fn edit(&self, job: &str, edit: &serde_json::Value) -> Answer {
        self.form(
            &format!("/job/{job}/edit"),
            &[("rev", &self.rev(job)), ("view", "layers"), ("edit", &edit.to_string())],
        )
    }

    pub fn job_text(&self, job: &str) -> String {
        std::fs::read_to_string(self.home.path().join(job).join("job.toml")).unwrap()
    }

    /// Hears of a job until something is said.
    pub fn hear(&self, job: &str, wanted: &str) {
        self.hear_at(&format!("/job/{job}/watch"), wanted);
    }

    pub fn hear_at(&self, path: &str, wanted: &str) {
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

pub fn command(home: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_warpwise"));
    command.arg("bench").arg(home).arg("--no-open").env("XDG_DATA_HOME", home.join("data"));
    command
}

pub fn encoded(text: &str) -> String {
    text.bytes()
        .map(|b| {
            if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") }
        })
        .collect()
}

/// A job with one rectangle on a roll, planned.
pub fn planned(s: &Server) {
    s.form("/jobs", &[("name", "lid")]);
    let shape = [("shape", "rectangle"), ("length", "300"), ("width", "20 cm")];
    let rev = s.rev("lid");
    s.form("/job/lid/shape", &[&[("rev", rev.as_str())], &shape[..]].concat());
    let lay = serde_json::json!({ "lay": { "layer": 0, "template": "rectangle", "on": true } });
    assert_eq!(s.edit("lid", &lay).status, 200);
    let settings = [("seconds", "0.2"), ("sets", "1"), ("seed", "1")];
    assert_eq!(s.form("/job/lid/plan/begin", &settings).status, 200);
}

/// A picture of two shades with nothing in it that could be traced.
pub fn blank_photo() -> Vec<u8> {
    let shade = |x, _| image::Luma([if x < 700 { 60 } else { 200 }]);
    let image = image::GrayImage::from_fn(1400, 1100, shade);
    let mut bytes = std::io::Cursor::new(Vec::new());
    image.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
    bytes.into_inner()
}

/// A request of the page's own in JSON, and the answer.
pub fn told(s: &Server, path: &str, body: &serde_json::Value) -> serde_json::Value {
    let answer = s.post(path, "application/json", body.to_string().as_bytes());
    assert_eq!(answer.status, 200, "{}", answer.text());
    serde_json::from_slice(&answer.body).unwrap()
}

pub fn bench_state(s: &Server) -> serde_json::Value {
    serde_json::from_slice(&s.get("/job/lid/bench/state").body).unwrap()
}

/// Sends ticks of pieces, each with a key, a piece (by its place in the plan) and what it says.
pub fn tick(s: &Server, ticks: &[(&str, usize, &str)]) -> serde_json::Value {
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
pub fn planned_pieces(s: &Server) -> Vec<(String, u64)> {
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
pub const KIT: &str = r#"stock = "../stock.sqlite"
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
pub fn kit(with_ledger: bool, more: &[&str]) -> Server {
    let s = Server::with(tempfile::tempdir().unwrap(), more);
    std::fs::create_dir(s.home.path().join("lid")).unwrap();
    let text = if with_ledger { KIT.to_string() } else { KIT.replace("stock =", "# stock =") };
    std::fs::write(s.home.path().join("lid/job.toml"), text).unwrap();
    let cloth =
        [("cloth", "twill-200"), ("new_cloth", "twill-200"), ("batch", "B7"), ("out_life", "480")];
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

/// Does something at the mould.
pub fn act(s: &Server, key: &str, act: &serde_json::Value, despite: bool) -> serde_json::Value {
    let tick = serde_json::json!({
        "key": format!("act-{key:0>8}"), "job": "lid", "act": act, "despite": despite,
    });
    let sent = serde_json::json!({ "kit": bench_state(s)["kit"], "ticks": [tick] });
    told(s, "/job/lid/bench/tick", &sent)["results"][0].clone()
}

/// The page's own requests of the cutting table.
pub fn by_hand(s: &Server, what: &str, body: &serde_json::Value) -> Answer {
    s.post(&format!("/job/lid/by-hand/{what}"), "application/json", body.to_string().as_bytes())
}
