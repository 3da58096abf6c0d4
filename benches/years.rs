//! A workshop of years: 200 jobs planned and most of them booked, 3,000 offcuts (2,000 are asked for), 50 rolls, made by
//! the library as the page would. Every page is asked for over HTTP; the bars: 0.5 s a page, 0.1 s
//! for the offcuts that take a piece, 50 MB of ledger.
//!
//! `cargo bench --bench years [-- --keep FOLDER]`: figures as lines of text; the workshop stays in
//! FOLDER, and one that stands there is only brought up to these numbers.
#![allow(clippy::unwrap_used, clippy::print_stdout, missing_docs)]

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use std::fmt::Write as _;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use warpwise::cloth::Face;
use warpwise::geometry::{Ring, point};
use warpwise::ledger::{Ledger, Moment};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Age, OffcutFacts, RollFacts};
use warpwise::workshop::{Folder, plan_files};
use warpwise::{job, plan, planner};

const JOBS: usize = 200;
/// So many of them are cut.
const BOOKED: usize = 160;
const OFFCUTS: usize = 3000;
const ROLLS: usize = 50;
const CLOTHS: [&str; 5] = ["twill-200", "twill-400", "plain-90", "satin-300", "tape-ud"];

struct Dice(Pcg64Mcg);

impl Dice {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * ((self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64)
    }

    fn below(&mut self, count: usize) -> usize {
        (self.between(0.0, count as f64) as usize).min(count - 1)
    }
}

/// A smooth outline like no other.
fn drawing(dice: &mut Dice, size: f64) -> String {
    let (p, q) = (dice.between(0.0, 6.0), dice.between(0.05, 0.25));
    let mut path = String::new();
    for i in 0..160 {
        let a = f64::from(i) / 160.0 * std::f64::consts::TAU;
        let r = size * (1.0 + q * libm::cos(2.0 * a + p) + 0.05 * libm::sin(5.0 * a));
        let (x, y) = (500.0 + r * libm::cos(a), 500.0 + 0.7 * r * libm::sin(a));
        let _ = write!(path, "{}{x:.3} {y:.3}", if i == 0 { "M" } else { "L" });
    }
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='1000mm' height='1000mm' \
         viewBox='0 0 1000 1000' stroke='black' fill='none'>\
         <path id='net-line' d='{path}Z'/><path id='arrow' d='M470 500 L530 500'/></svg>"
    )
}

fn write_job(folder: &Folder, k: usize, dice: &mut Dice) -> PathBuf {
    let name = format!("{} {k:03}", ["seat", "hip plate", "hatch cover", "rudder"][k % 4]);
    let cloth = CLOTHS[k % 4];
    let mut text = format!(
        "stock = \"../stock.sqlite\"\n[job]\nname = \"{name}\"\n[[cloth]]\nid = \"{cloth}\"\n\
         weave = \"twill 2/2\"\ntwill_line = 45\nup = \"paper\"\nroll_width = 1250\nselvedge = 10\n\
         [[strip]]\nid = \"strap\"\nlength = {:.0}\nwidth = {:.0}\n",
        dice.between(200.0, 700.0),
        dice.between(40.0, 120.0)
    );
    let templates = 2 + dice.below(3);
    let names: Vec<String> = (0..templates).map(|t| format!("t{t}")).collect();
    for t in &names {
        let _ = write!(
            text,
            "[[template]]\nid = \"{t}\"\nfile = \"{t}.svg\"\ntaken_off = \"mould\"\n\
             inked_side = \"up\"\n"
        );
    }
    let list: Vec<String> = names.iter().map(|n| format!("\"{n}\"")).collect();
    for angle in [0, 45, 0] {
        let _ = write!(
            text,
            "[[layer]]\ncloth = \"{cloth}\"\nangle = {angle}\ntemplates = [{}, \"strap\"]\n",
            list.join(", ")
        );
    }
    let dir = folder.begin(&name, &text).unwrap();
    for t in &names {
        let size = dice.between(60.0, 220.0);
        std::fs::write(dir.join(format!("{t}.svg")), drawing(dice, size)).unwrap();
    }
    dir
}

fn roll(k: usize, now: &Moment, dice: &mut Dice) -> RollFacts {
    RollFacts {
        id: String::new(),
        cloth: CLOTHS[k % CLOTHS.len()].into(),
        width: 1250.0,
        length: Some(dice.between(20_000.0, 100_000.0)),
        flaws: Vec::new(),
        batch: Some(format!("B{k:03}")),
        age: Age { expiry: Some(now.day.plus_days(200 + k as u32)), ..Age::default() },
        place: Some(format!("freezer {}", k % 3 + 1)),
        added: now.day,
        revision: 0,
    }
}

/// Four-cornered, L-shaped or wavy, some with a flaw.
fn offcut(k: usize, now: &Moment, dice: &mut Dice) -> OffcutFacts {
    let (w, h) = (dice.between(80.0, 1100.0), dice.between(60.0, 600.0));
    let mut at = |x: f64, y: f64| {
        point(w * (x + dice.between(0.0, 0.08)), h * (y + dice.between(0.0, 0.08))).snapped()
    };
    let outline: Ring = match k % 3 {
        0 => vec![at(0.0, 0.0), at(0.9, 0.0), at(0.9, 0.9), at(0.0, 0.9)],
        1 => vec![
            at(0.0, 0.0),
            at(0.9, 0.0),
            at(0.9, 0.35),
            at(0.4, 0.35),
            at(0.4, 0.9),
            at(0.0, 0.9),
        ],
        _ => {
            let mut ring = vec![at(0.0, 0.0), at(0.9, 0.0)];
            ring.extend((0..60).map(|i| {
                let x = 0.9 * (1.0 - f64::from(i) / 59.0);
                point(w * x, h * (0.7 + 0.2 * libm::sin(11.0 * x))).snapped()
            }));
            ring
        }
    };
    let flawed = k.is_multiple_of(7);
    let flaw = |w: f64, h: f64| {
        let (x, y) = (0.4 * w, 0.2 * h);
        vec![point(x, y), point(x + 20.0, y), point(x + 20.0, y + 20.0), point(x, y + 20.0)]
    };
    OffcutFacts {
        id: String::new(),
        cloth: CLOTHS[k % CLOTHS.len()].into(),
        outline,
        holes: Vec::new(),
        flaws: if flawed { vec![flaw(w, h)] } else { Vec::new() },
        face: Face::Up,
        batch: Some(format!("B{:03}", k % ROLLS)),
        age: Age { expiry: Some(now.day.plus_days(k as u32 % 700)), ..Age::default() },
        place: Some(format!("drawer {}", k % 12)),
        added: now.day,
        parent: None,
        revision: 0,
    }
}

/// Five years of work.
fn live(root: &Path) {
    let (folder, now) = (Folder::open(root).unwrap(), Moment::now());
    let mut dice = Dice(Pcg64Mcg::seed_from_u64(7));
    let mut ledger = Ledger::write(&folder.ledger()).unwrap();
    for k in ledger.snapshot(&now).unwrap().rolls.len()..ROLLS {
        ledger.add_roll(roll(k, &now, &mut dice), false, k < CLOTHS.len(), &now).unwrap();
    }
    for k in folder.jobs().unwrap().len()..JOBS {
        let dir = write_job(&folder, k, &mut dice);
        let (job, _) = job::load(&dir.join("job.toml")).unwrap();
        let stock = ledger.snapshot(&now).unwrap();
        let run = Run::new(Stop::Effort(0)).with_seed(k as u64);
        // Of the rolls alone: the box of years is filled below.
        let stock = warpwise::stock::Snapshot { offcuts: Vec::new(), ..stock };
        let made = planner::plan_from_stock(std::slice::from_ref(&job), &stock, 1, &run).unwrap();
        let files = plan_files(&made, &Run::default()).unwrap();
        plan::folder::write(&dir.join("plan"), &files).unwrap();
        if k < BOOKED {
            ledger.book(&made, &[], &now).unwrap();
        }
    }
    // What is left of years, as it came in.
    let here = ledger.snapshot(&now).unwrap().offcuts.len();
    println!("{here} offcuts by booking, {} more", OFFCUTS.saturating_sub(here));
    let rest: Vec<OffcutFacts> = (here..OFFCUTS).map(|k| offcut(k, &now, &mut dice)).collect();
    for some in rest.chunks(20) {
        ledger.add_offcuts(some.to_vec(), false, true, &now).unwrap();
    }
}

struct Server {
    child: Child,
    host: String,
    cookie: String,
}

impl Server {
    fn on(home: &Path) -> Server {
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
        Server { child, host: host.into(), cookie: format!("warpwise_bench={key}") }
    }

    fn get(&self, path: &str) -> (Duration, usize, String) {
        let begun = Instant::now();
        let mut stream = TcpStream::connect(&self.host).unwrap();
        let head = format!(
            "GET {path} HTTP/1.1\r\nHost: {}\r\nCookie: {}\r\nConnection: close\r\n\r\n",
            self.host, self.cookie
        );
        stream.write_all(head.as_bytes()).unwrap();
        let mut all = Vec::new();
        stream.read_to_end(&mut all).unwrap();
        let text = String::from_utf8_lossy(&all).into_owned();
        assert!(text.starts_with("HTTP/1.1 2"), "{path}: {}", text.lines().next().unwrap());
        (begun.elapsed(), all.len(), text)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn main() {
    let words: Vec<String> = std::env::args().collect();
    let kept = words.iter().position(|w| w == "--keep").and_then(|i| words.get(i + 1));
    let made = tempfile::tempdir().unwrap();
    let root = kept.map_or_else(|| made.path().to_path_buf(), PathBuf::from);
    std::fs::create_dir_all(&root).unwrap();
    let ledger = root.join("stock.sqlite");
    let begun = Instant::now();
    live(&root);
    println!("made in {:.0} s", begun.elapsed().as_secs_f64());
    let size = std::fs::metadata(&ledger).unwrap().len() as f64 / 1e6;
    println!("{size:6.1} MB of ledger (bar 50)");
    judged(&ledger);
    let server = Server::on(&root);
    let last = format!("/job/seat%20{:03}", JOBS - 4);
    let plies = server.get(&format!("{last}/plies")).2;
    let piece = plies.split("takers?piece=").nth(1).unwrap();
    let piece = piece.split(['&', '"']).next().unwrap();
    let steps =
        ["templates", "cloths", "layers", "plies", "plan", "sheets", "cut", "lay", "by-hand"];
    let mut pages: Vec<String> =
        ["/", "/stock", "/stock?from=1920", "/stock/find?find=drawer+7"].map(String::from).to_vec();
    pages.extend(["/stock/find?along=300&across=200", "/stock/scan"].map(String::from));
    pages.extend(["/stock/item/off-1500", "/stock/item/roll-1"].map(String::from));
    pages.extend(["/stock/labels?from=60", "/stock/labels?id=off-1500"].map(String::from));
    pages.extend(steps.map(|s| format!("{last}/{s}")));
    pages.extend(["", "&planned=yes"].map(|p| format!("{last}/takers?piece={piece}{p}")));
    for path in pages {
        let (first, bytes, _) = server.get(&path);
        let again = (0..5).map(|_| server.get(&path).0).min().unwrap();
        println!(
            "{:7.3} s first, {:7.3} s again, {:7.1} kB  {path}{}",
            first.as_secs_f64(),
            again.as_secs_f64(),
            bytes as f64 / 1e3,
            if first > Duration::from_millis(500) { "  OVER" } else { "" }
        );
    }
}

/// The offcuts that take each of many pieces, by the library alone.
fn judged(file: &Path) {
    let stock = Ledger::read(file).unwrap().snapshot(&Moment::now()).unwrap();
    let mut all: Vec<(f64, usize)> = Vec::new();
    for dir in std::fs::read_dir(file.parent().unwrap()).unwrap().flatten().step_by(10) {
        let Ok((job, _)) = job::load(&dir.path().join("job.toml")) else { continue };
        let prepared = planner::prepare(std::slice::from_ref(&job), 1, &Run::default()).unwrap();
        let plan = planner::without_layouts(&prepared);
        for piece in &plan.pieces {
            let begun = Instant::now();
            let found = planner::takers(piece, plan.rules.gap, &stock, &|_| false, (0, 6));
            all.push((begun.elapsed().as_secs_f64(), found.found.len()));
        }
    }
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    let none = all.iter().filter(|a| a.1 == 0).count();
    println!(
        "which offcuts take a piece, among {}: median {:.3} s, worst {:.3} s of {} pieces, {none} taken by none",
        stock.offcuts.len(),
        all[all.len() / 2].0,
        all[all.len() - 1].0,
        all.len()
    );
}
