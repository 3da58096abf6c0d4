//! How quick the page is and what it takes: the server until it answers, pages, an edit on a job
//! of a hundred plies, a hint at 12 megapixels, memory, and what drawing a search live costs the
//! search.
//!
//! `cargo bench --bench page [-- live]`: figures as lines of text, or those of the search alone.
//! Memory and the processor's time are read where the system tells them (Linux).
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;
use std::time::{Duration, Instant};
use warpwise::live::{Ground, Layout};
use warpwise::run::{Observer, Run, Stop, TraceRow};
use warpwise::{job, planner};

const PLIES: usize = 100;

struct Server {
    child: Child,
    host: String,
    cookie: String,
    up: Duration,
}

impl Server {
    fn on(home: &Path) -> Server {
        let begun = Instant::now();
        let mut child = Command::new(env!("CARGO_BIN_EXE_warpwise"))
            .args(["bench", "--no-open"])
            .arg(home)
            .env("XDG_DATA_HOME", home.join("data"))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut link = String::new();
        BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut link).unwrap();
        let (host, key) =
            link.trim().strip_prefix("http://").unwrap().split_once("/?key=").unwrap();
        let up = begun.elapsed();
        Server { child, host: host.into(), cookie: format!("warpwise_bench={key}"), up }
    }

    fn ask(&self, method: &str, path: &str, kind: &str, body: &[u8]) -> (Duration, String) {
        let begun = Instant::now();
        let mut stream = TcpStream::connect(&self.host).unwrap();
        let (host, cookie, length) = (&self.host, &self.cookie, body.len());
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n\
             Cookie: {cookie}\r\nContent-Type: {kind}\r\nContent-Length: {length}\r\n\
             Connection: close\r\n\r\n"
        );
        stream.write_all(head.as_bytes()).unwrap();
        stream.write_all(body).unwrap();
        let mut all = Vec::new();
        stream.read_to_end(&mut all).unwrap();
        let text = String::from_utf8_lossy(&all).into_owned();
        assert!(text.starts_with("HTTP/1.1 2"), "{path}: {}", text.lines().next().unwrap());
        (begun.elapsed(), text)
    }

    fn get(&self, path: &str) -> (Duration, String) {
        self.ask("GET", path, "text/plain", b"")
    }

    /// MB that the system says under a name.
    fn memory(&self, name: &str) -> Option<f64> {
        let status = format!("/proc/{}/status", self.child.id());
        let text = std::fs::read_to_string(status).ok()?;
        let line = text.lines().find(|l| l.starts_with(name))?;
        line.split_whitespace().nth(1)?.parse::<f64>().ok().map(|kb| kb / 1024.0)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A smooth outline of about 200 points like no other.
fn drawing(k: usize) -> String {
    let mut path = String::new();
    for i in 0..200 {
        let a = f64::from(i) / 200.0 * std::f64::consts::TAU;
        let r = 60.0 * (1.0 + 0.2 * libm::cos(2.0 * a + k as f64) + 0.05 * libm::sin(5.0 * a));
        let (x, y) = (250.0 + r * libm::cos(a), 250.0 + 0.7 * r * libm::sin(a));
        let _ = write!(path, "{}{x:.3} {y:.3}", if i == 0 { "M" } else { "L" });
    }
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='500mm' height='500mm' \
         viewBox='0 0 500 500' stroke='black' fill='none'>\
         <path id='net-line' d='{path}Z'/><path id='arrow' d='M220 250 L280 250'/></svg>"
    )
}

fn write_job(dir: &Path) {
    std::fs::create_dir_all(dir).unwrap();
    let mut text = String::from(
        "[job]\nname = \"plies\"\n[[cloth]]\nid = \"twill\"\nweave = \"twill 2/2\"\n\
         twill_line = 45\nup = \"paper\"\nroll_width = 1250\nselvedge = 10\n",
    );
    let mut names = Vec::new();
    for k in 0..PLIES {
        std::fs::write(dir.join(format!("t{k}.svg")), drawing(k)).unwrap();
        let _ = write!(
            text,
            "[[template]]\nid = \"t{k}\"\nfile = \"t{k}.svg\"\ntaken_off = \"mould\"\n\
             inked_side = \"up\"\n"
        );
        names.push(format!("\"t{k}\""));
    }
    let names = names.join(", ");
    let _ = write!(text, "[[layer]]\ncloth = \"twill\"\nangle = 30\ntemplates = [{names}]\n");
    std::fs::write(dir.join("job.toml"), text).unwrap();
}

/// The middle one of several times, in ms.
fn middle(mut times: Vec<Duration>) -> f64 {
    times.sort();
    times[times.len() / 2].as_secs_f64() * 1000.0
}

/// Counts evaluations; wants every layout, or none.
#[derive(Default)]
struct Counter {
    looks: bool,
    evaluations: Mutex<u64>,
    layouts: Mutex<u64>,
}

impl Observer for Counter {
    fn ground(&self, make: &dyn Fn() -> Ground) {
        if self.looks {
            drop(make());
        }
    }

    fn wants_layout(&self) -> bool {
        self.looks
    }

    fn layout(&self, layout: &Layout) {
        assert!(!layout.lying.is_empty());
        *self.layouts.lock().unwrap() += 1;
    }

    fn searched(&self, _cloth: &str, history: &[TraceRow]) {
        *self.evaluations.lock().unwrap() += history.last().map_or(0, |r| r.evaluations);
    }
}

/// Seconds of the processor that this process has used: what else the machine does is not in them.
fn processor() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/self/stat").ok()?;
    let after = text.rsplit_once(')')?.1;
    let mut fields = after.split_whitespace().skip(11);
    let ticks = fields.next()?.parse::<f64>().ok()? + fields.next()?.parse::<f64>().ok()?;
    Some(ticks / 100.0)
}

/// Time that the same search by effort takes, its evaluations, and the layouts handed over.
fn searched(file: &Path, looks: bool) -> (f64, u64, u64) {
    let (jobs, _) = job::load_all(&[file.to_path_buf()], &Run::default()).unwrap();
    let counter = Counter { looks, ..Counter::default() };
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let (begun, used) = (Instant::now(), processor());
    planner::plan(&jobs, 1, &run.with_observer(&counter)).unwrap();
    let time =
        processor().zip(used).map_or(begun.elapsed().as_secs_f64(), |(now, then)| now - then);
    (time, counter.evaluations.into_inner().unwrap(), counter.layouts.into_inner().unwrap())
}

/// What it costs a search to be drawn: every layout handed over, where a page asks for a dozen a
/// second. In turn, so that what else the machine does falls on both.
fn live() {
    let file = Path::new("demo-data/job.toml");
    let (mut alone, mut watched, mut layouts, mut evaluations) = (0.0, 0.0, 0, 0);
    for _ in 0..3 {
        let (time, done, _) = searched(file, false);
        let (time_watched, done_watched, handed) = searched(file, true);
        assert_eq!(done, done_watched, "being looked at leads the search nowhere else");
        (alone, watched) = (alone + time, watched + time_watched);
        (layouts, evaluations) = (layouts + handed, evaluations + done);
    }
    println!(
        "search of the demo's job drawn live: {:.1} % more time of the processor for the same \
         {evaluations} evaluations ({layouts} layouts, {alone:.1} s)",
        100.0 * (watched / alone - 1.0)
    );
}

fn main() {
    if std::env::args().any(|a| a == "live") {
        return live();
    }
    let home = tempfile::tempdir().unwrap();
    write_job(&home.path().join("plies"));
    let photo = std::fs::read("demo-data/heel-rest.jpg").unwrap();

    let ups: Vec<Duration> = (0..11).map(|_| Server::on(home.path()).up).collect();
    println!("server up: {:.0} ms", middle(ups));
    let server = Server::on(home.path());
    let first = server.get("/").0;
    println!("first page: {:.0} ms", first.as_secs_f64() * 1000.0);
    if let Some(idle) = server.memory("VmRSS") {
        println!("memory, idle: {idle:.0} MB");
    }
    let (cold, page) = server.get("/job/plies/cloths");
    println!("job of {PLIES} plies, first look: {:.0} ms", cold.as_secs_f64() * 1000.0);
    let mut rev = rev_of(&page);
    let mut edits = Vec::new();
    for i in 0..11 {
        let body = format!("rev={rev}&view=cloths&at=cloth.0.selvedge&value={}", 11 + i);
        let kind = "application/x-www-form-urlencoded";
        let (time, answer) = server.ask("POST", "/job/plies/edit", kind, body.as_bytes());
        rev = rev_of(&answer);
        edits.push(time);
    }
    println!("an edit on it, checked and answered: {:.0} ms", middle(edits));
    println!("its plies as pictures: {:.0} ms", middle(vec![server.get("/job/plies/plies").0]));
    drop(server);

    std::fs::create_dir_all(home.path().join("photo")).unwrap();
    let text = job::scaffold("photo", &[]);
    std::fs::write(home.path().join("photo/job.toml"), text).unwrap();
    let server = Server::on(home.path());
    let kind = "application/octet-stream";
    let (time, _) = server.ask("POST", "/job/photo/take?name=heel.jpg", kind, &photo);
    println!("a photo taken in, traced and shown: {:.2} s", time.as_secs_f64());
    if let (Some(peak), Some(after)) = (server.memory("VmHWM"), server.memory("VmRSS")) {
        println!("memory with one photo: {peak:.0} MB at most, {after:.0} MB afterwards");
    }
    drop(server);

    // A hint: the person clicks on the skin of a photo that is kept.
    let server = Server::on(home.path());
    std::fs::write(home.path().join("photo/large.jpg"), large(&photo)).unwrap();
    let hint = "/job/photo/take?name=large.jpg&x=2000&y=1500";
    let mut times: Vec<_> = (0..4).map(|_| server.ask("POST", hint, kind, b"").0).collect();
    let first = times.remove(0).as_millis();
    println!(
        "a hint at 12 megapixels to the new outline: {:.0} ms; {first} ms where nothing was seen before",
        middle(times)
    );
    if let (Some(peak), Some(after)) = (server.memory("VmHWM"), server.memory("VmRSS")) {
        println!("memory with hints: {peak:.0} MB at most, {after:.0} MB afterwards");
    }
    drop(server);

    live();
}

/// The same photo at 12 megapixels.
fn large(photo: &[u8]) -> Vec<u8> {
    let image = image::load_from_memory(photo).unwrap();
    let image = image.resize_exact(4000, 3000, image::imageops::FilterType::Triangle);
    let mut bytes = std::io::Cursor::new(Vec::new());
    image.write_to(&mut bytes, image::ImageFormat::Jpeg).unwrap();
    bytes.into_inner()
}

fn rev_of(page: &str) -> String {
    let field = page.split("id=\"rev\"").nth(1).unwrap();
    field.split("value=\"").nth(1).unwrap().split('"').next().unwrap().to_string()
}
