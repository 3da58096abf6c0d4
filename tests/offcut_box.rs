//! The box of offcuts as the page's server shows it: what waits until a person has looked, what a
//! label leads to, what goes and why, and a box of thousands in parts.
#![allow(clippy::unwrap_used)]

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use warpwise::geometry::{Ring, point, ring_bounds};
use warpwise::ledger::{Ledger, Moment};
use warpwise::stock::{OffcutFacts, label_text};

/// A door of a server: where it is and the cookie that opens it.
struct Door {
    host: String,
    cookie: String,
}

impl Door {
    fn of(link: &str, name: &str) -> Door {
        let (host, key) =
            link.trim().strip_prefix("http://").unwrap().split_once("/?key=").unwrap();
        Door { host: host.into(), cookie: format!("{name}={key}") }
    }

    fn ask(&self, method: &str, path: &str, kind: &str, body: &[u8]) -> (u16, String) {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        let (host, cookie, length) = (&self.host, &self.cookie, body.len());
        let head = format!(
            "{method} {path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\n\
             Cookie: {cookie}\r\nContent-Type: {kind}\r\nContent-Length: {length}\r\n\
             Connection: close\r\n\r\n"
        );
        stream.write_all(head.as_bytes()).unwrap();
        let _ = stream.write_all(body);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let text = String::from_utf8_lossy(&all).into_owned();
        (text.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0), text)
    }

    fn get(&self, path: &str) -> (u16, String) {
        self.ask("GET", path, "text/plain", b"")
    }

    fn form(&self, path: &str, fields: &[(&str, &str)]) -> (u16, String) {
        let body: Vec<String> = fields.iter().map(|(k, v)| format!("{k}={}", encoded(v))).collect();
        self.ask("POST", path, "application/x-www-form-urlencoded", body.join("&").as_bytes())
    }

    fn send(&self, path: &str, bytes: &[u8]) -> (u16, String) {
        self.ask("POST", path, "application/octet-stream", bytes)
    }
}

fn encoded(text: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-._~".contains(&b);
    text.bytes()
        .map(|b| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") })
        .collect()
}

struct Server {
    child: Child,
    home: tempfile::TempDir,
    first: Door,
    second: Door,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Server {
    fn on(home: tempfile::TempDir) -> Server {
        let mut child = Command::new(env!("CARGO_BIN_EXE_warpwise"))
            .args(["bench", "--no-open", "--on-network=127.0.0.1"])
            .arg(home.path())
            .env("XDG_DATA_HOME", home.path().join("data"))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut link = String::new();
        BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut link).unwrap();
        let first = Door::of(&link, "warpwise_bench");
        let page = first.get("/").1;
        let code = page.split("<code>").nth(1).unwrap().split("</code>").next().unwrap();
        let second = Door::of(code, "warpwise_second");
        Server { child, home, first, second }
    }

    fn begin() -> Server {
        Server::on(tempfile::tempdir().unwrap())
    }

    fn ledger(&self) -> Ledger {
        Ledger::read(&self.home.path().join("stock.sqlite")).unwrap()
    }

    fn offcuts(&self) -> Vec<OffcutFacts> {
        let stock = self.ledger().snapshot(&Moment::now()).unwrap();
        stock.offcuts.iter().map(|o| o.facts().clone()).collect()
    }

    /// Takes a drawing in; the address it waits at.
    fn waits(&self, svg: &str) -> String {
        let (status, page) = self.first.send("/stock/take?name=rest.svg", svg.as_bytes());
        assert_eq!(status, 200, "{page}");
        let at = page.split("hx-post=\"").find(|p| p.contains("/aside\"")).unwrap();
        at.split("/aside\"").next().unwrap().to_string()
    }
}

/// 300 by 100 mm, with more drawn on it.
fn drawing(more: &str) -> String {
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='400mm' height='300mm' \
         viewBox='0 0 400 300' stroke='black' fill='none'>\
         <path id='net-line' d='M10 10 H310 V110 H10Z'/>{more}</svg>"
    )
}

fn value(page: &str, name: &str) -> String {
    let field = page.split(&format!("name=\"{name}\" value=\"")).nth(1).unwrap();
    field.split('"').next().unwrap().to_string()
}

#[test]
fn an_offcut_is_booked_only_when_a_person_has_said_that_size_and_warp_are_right() {
    let s = Server::begin();
    let at = s.waits(&drawing(""));
    assert!(!s.home.path().join("stock.sqlite").exists(), "nothing is booked by taking it in");
    let page = s.first.get(&at).1;
    assert!(page.contains("edge-1") && !page.contains("name=\"sure\""), "{page}");
    let page = s.first.get(&format!("{at}?warp=edge-3")).1;
    assert!(page.contains("100 mm along the warp and 300 mm across"), "edge 3 stands up: {page}");
    assert!(s.first.get(&format!("{at}?warp=edge-9")).1.contains("no such edge"));
    assert!(s.first.get(&format!("{at}?warp=sideways")).1.contains("class=\"note fault\""));
    let page = s.first.get(&format!("{at}?warp=edge-1")).1;
    let (rev, warp) = (value(&page, "rev"), value(&page, "warp"));
    let book = |more: &[(&str, &str)]| {
        let fields =
            [("warp", &*warp), ("cloth", "twill"), ("face", "down"), ("place", "drawer 3")];
        let fields = [&fields[..], &[("batch", "B7"), ("expiry", "2031-01-01")], more].concat();
        s.first.form(&format!("{at}/book"), &fields)
    };
    let (status, said) = book(&[("rev", &rev), ("new_cloth", "twill")]);
    assert!(status == 422 && said.contains("nobody has said"), "{said}");
    let (status, said) = book(&[("rev", "other"), ("new_cloth", "twill"), ("sure", "yes")]);
    assert!(status == 422 && said.contains("another outline"), "{said}");
    let (status, said) = book(&[("rev", &rev), ("sure", "yes")]);
    assert!(status == 422 && said.contains("twill is a new cloth: add it"), "{said}");
    let wrong = [("rev", &*rev), ("sure", "yes"), ("new_cloth", "twill"), ("out_life", "long")];
    assert_eq!(book(&wrong).0, 422);
    assert!(s.first.get(&at).0 == 200, "it waits still");
    let (status, said) = book(&[("rev", &rev), ("sure", "yes"), ("new_cloth", "twill")]);
    assert!(status == 200 && said.contains("Booked as off-1."), "{said}");
    let facts = &s.offcuts()[0];
    let b = ring_bounds(&facts.outline).unwrap();
    assert!((b.width() - 300.0).abs() < 0.01 && (b.height() - 100.0).abs() < 0.01);
    assert_eq!((facts.batch.as_deref(), facts.place.as_deref()), (Some("B7"), Some("drawer 3")));
    assert_eq!(facts.face, warpwise::cloth::Face::Down);
    // It waits no more, and its drawing is kept under its name.
    assert_eq!(s.first.get(&at).0, 404);
    assert!(s.home.path().join("offcut-photos/off-1/outline.svg").is_file());
    let (status, pdf) = s.first.get("/stock/labels?id=off-1");
    assert!(status == 200 && pdf.contains("application/pdf"));
    assert_eq!(s.first.get("/stock/labels?id=off-9").0, 404);
}

#[test]
fn an_arrow_says_the_warp_and_what_is_put_aside_is_gone() {
    let s = Server::begin();
    let at = s.waits(&drawing("<path id='arrow' d='M100 100 V20'/>"));
    let page = s.first.get(&format!("{at}?warp=arrow")).1;
    assert!(page.contains("100 mm along the warp and 300 mm across"), "{page}");
    let rev = value(&page, "rev");
    assert_eq!(s.first.form(&format!("{at}/aside"), &[]).0, 422, "not as it was shown");
    assert_eq!(s.first.form(&format!("{at}/aside"), &[("rev", &rev)]).0, 200);
    assert_eq!(s.first.get(&at).0, 404);
    for name in ["..", "%2e%2e%2fstock.sqlite", "waiting-1%2f..", "off-1"] {
        assert!(s.first.get(&format!("/stock/photo/{name}")).0 >= 400, "{name}");
        assert!(s.first.form(&format!("/stock/photo/{name}/aside"), &[]).0 >= 400, "{name}");
    }
}

#[test]
fn a_second_device_sends_photos_of_offcuts_and_ticks_them_away_and_books_nothing_in() {
    let s = Server::begin();
    let mut blank = std::io::Cursor::new(Vec::new());
    let shade = |x, _| image::Luma([if x < 700 { 60 } else { 200 }]);
    image::GrayImage::from_fn(1400, 1100, shade)
        .write_to(&mut blank, image::ImageFormat::Png)
        .unwrap();
    let (status, _) = s.second.send("/stock/take?name=rest.svg", drawing("").as_bytes());
    assert_eq!(status, 403, "photos only");
    let (status, page) = s.second.send("/stock/take?name=rest.png", &blank.into_inner());
    assert!(status == 200 && page.contains("skin-finder"), "{page}");
    assert!(!page.contains("hx-post"), "{page}");
    assert!(page.contains("rest.png") && !page.contains(".new-"), "its name as sent: {page}");
    let at = page.split("src=\"").find(|p| p.contains("/photo\"")).unwrap();
    let at = at.split("/photo\"").next().unwrap();
    assert!(at.starts_with("/stock/photo/waiting-1-"), "{at}");
    assert_eq!((s.second.get(at).0, s.second.get(&format!("{at}/photo")).0), (200, 200));
    assert!(s.first.get("/stock").1.contains(at), "the first device hears of it");
    for what in ["book", "aside"] {
        assert!(s.second.form(&format!("{at}/{what}"), &[]).0 >= 400, "{what}");
    }
    assert!(s.home.path().join(at.replace("/stock/photo", "offcut-photos")).is_dir());
    // A click of the phone is for a photo in which nothing was found yet.
    let (status, said) = s.second.form(&format!("{at}/again?rev=&x=9&y=9"), &[]);
    assert!(status == 422 && !said.contains("meanwhile"), "{said}");
    let found = s.waits(&drawing(""));
    let rev = value(&s.first.get(&format!("{found}?warp=edge-1")).1, "rev");
    for (rev, want) in [("", 422), (&*rev, 403)] {
        let (status, said) = s.second.form(&format!("{found}/again?rev={rev}&x=9&y=9"), &[]);
        assert!(status == want && !said.contains("there is no photo"), "{said}");
    }
    let add = [("kind", "offcut"), ("cloth", "twill"), ("length", "300"), ("width", "200")];
    s.first.form("/stock/add", &[&add[..], &[("new_cloth", "twill")]].concat());
    assert_eq!(s.second.get("/stock/item/off-1").0, 200);
    let gone = [("id", "off-1"), ("way", "thrown"), ("reason", "folded")];
    let (status, said) = s.second.form("/stock/gone", &gone);
    assert!(status == 200 && !said.contains("/stock/undo"), "{said}");
    assert_eq!(s.second.form("/stock/undo", &[]).0, 403);
    assert!(s.offcuts().is_empty());
    assert_eq!(s.first.form("/stock/undo", &[]).0, 200);
    assert_eq!(s.offcuts().len(), 1);
}

#[test]
fn a_label_leads_to_its_thing_and_every_other_code_is_told_apart() {
    let s = Server::begin();
    let add = [("cloth", "twill"), ("length", "300"), ("width", "200"), ("new_cloth", "twill")];
    s.first.form("/stock/add", &[&add[..], &[("kind", "offcut")]].concat());
    s.first.form("/stock/add", &[&add[..], &[("kind", "roll")]].concat());
    let ledger = s.ledger().snapshot(&Moment::now()).unwrap().ledger;
    let read = |text: &str| s.first.get(&format!("/stock/label?text={}", encoded(text)));
    for id in ["off-1", "roll-1"] {
        let (status, head) = read(&label_text(ledger.as_deref(), id));
        assert!(status == 303 && head.contains(&format!("/stock/item/{id}\r")), "{head}");
        let (status, page) = s.first.get(&format!("/stock/item/{id}"));
        assert_eq!(status, 200, "{page}");
        assert!(page.contains("added a") || page.contains("added 1"), "{page}");
    }
    for (text, said) in [
        (label_text(Some("someone's other"), "off-1"), "another ledger"),
        ("https://example.org/?key=1".into(), "is no label"),
        ("WARPWISE1 x".into(), "damaged"),
        (label_text(ledger.as_deref(), "<script>"), "/stock/item/%3Cscript%3E"),
    ] {
        assert!(read(&text).1.contains(said), "{text}");
    }
    let (status, page) = s.first.get("/stock/item/%3Cscript%3E");
    assert!(status == 404 && !page.contains("<script>\"") && page.contains("&lt;script&gt;"));
    // A word that is neither is not taken for the one or the other.
    for way in ["", "Used", "sold"] {
        let what = [("id", "off-1"), ("way", way), ("reason", "hip plate 3")];
        assert_eq!(s.first.form("/stock/gone", &what).0, 422, "{way:?}");
    }
    assert_eq!(s.offcuts().len(), 1);
    // Why it went is found again by its label.
    let why = [("id", "off-1"), ("way", "used"), ("reason", "hip plate 3")];
    assert_eq!(s.first.form("/stock/gone", &why).0, 200);
    let (status, page) = s.first.get("/stock/item/off-1");
    assert!(status == 404 && page.contains("used off-1 for hip plate 3"), "{page}");
    assert_eq!(s.first.form("/stock/gone", &why).0, 422, "it is gone");
    for reason in ["", " ", "two\nlines", &"long ".repeat(60)] {
        let what = [("id", "roll-1"), ("way", "thrown"), ("reason", reason)];
        assert_eq!(s.first.form("/stock/gone", &what).0, 422, "{reason:?}");
    }
    assert_eq!(s.first.get("/stock/item/roll-1").0, 200);
}

#[test]
fn an_offcut_whose_folder_was_not_moved_after_its_booking_is_not_booked_twice() {
    let s = Server::begin();
    let at = s.waits(&drawing(""));
    let waits = s.home.path().join(at.replace("/stock/photo", "offcut-photos"));
    let page = s.first.get(&format!("{at}?warp=edge-1")).1;
    let (rev, warp) = (value(&page, "rev"), value(&page, "warp"));
    let sent = [("rev", &*rev), ("warp", &*warp), ("cloth", "twill"), ("face", "up")];
    let sent = [&sent[..], &[("new_cloth", "twill"), ("sure", "yes")]].concat();
    let book = || s.first.form(&format!("{at}/book"), &sent);
    assert_eq!(book().0, 200);
    // As if the machine had stopped between the two.
    std::fs::rename(s.home.path().join("offcut-photos/off-1"), &waits).unwrap();
    let (status, said) = book();
    assert!(status == 422 && said.contains("booked before, as off-1"), "{said}");
    assert_eq!(s.offcuts().len(), 1);
    assert!(!waits.exists() && s.home.path().join("offcut-photos/off-1/outline.svg").is_file());
}

#[test]
fn a_second_device_is_offered_nothing_of_the_box_that_it_may_not_do() {
    let home = tempfile::tempdir().unwrap();
    many(home.path(), 3);
    let s = Server::on(home);
    for path in ["/stock", "/stock/find?find=off"] {
        let (first, second) = (s.first.get(path).1, s.second.get(path).1);
        for what in ["/stock/move", "/stock/labels"] {
            assert!(first.contains(what) && !second.contains(what), "{path} {what}");
        }
        assert_eq!(second.matches("class=\"pictured\"").count(), 3);
    }
}

fn many(home: &Path, count: usize) {
    let now = Moment::now();
    let facts = |k: usize| {
        let (w, h) = (100.0 + k as f64, 50.0);
        let outline: Ring = vec![point(0.0, 0.0), point(w, 0.0), point(w, h), point(0.0, h)];
        OffcutFacts {
            id: String::new(),
            cloth: if k.is_multiple_of(2) { "twill" } else { "plain" }.into(),
            outline,
            holes: Vec::new(),
            flaws: Vec::new(),
            face: warpwise::cloth::Face::Up,
            batch: None,
            age: Default::default(),
            place: Some(format!("drawer-{}", k % 10)),
            added: now.day,
            parent: None,
            revision: 0,
        }
    };
    let mut ledger = Ledger::write(&home.join("stock.sqlite")).unwrap();
    ledger.add_offcuts((0..count).map(facts).collect(), false, true, &now).unwrap();
}

#[test]
fn a_box_of_many_is_shown_in_parts_and_every_one_of_them_is_reached() {
    let home = tempfile::tempdir().unwrap();
    many(home.path(), 300);
    let s = Server::on(home);
    let mut next = Some("/stock".to_string());
    let mut seen = std::collections::BTreeSet::new();
    let (mut parts, mut widths) = (0, Vec::new());
    while let Some(path) = next {
        let (status, page) = s.first.get(&path);
        assert_eq!(status, 200);
        for card in page.split("class=\"pictured\" href=\"/stock/item/").skip(1) {
            let id = card.split('"').next().unwrap().to_string();
            let wide = card.split("width=\"").nth(1).unwrap().split('"').next().unwrap();
            widths.push((id.clone(), wide.parse::<f64>().unwrap()));
            assert!(seen.insert(id), "once each");
        }
        let link = page.split("hx-get=\"").find(|p| p.starts_with("/stock/find?from="));
        next = link.map(|l| l.split('"').next().unwrap().replace("&amp;", "&"));
        parts += 1;
        assert!(parts < 20);
    }
    assert_eq!((seen.len(), parts), (300, 5));
    // One scale for all parts: px to mm, less the margin of 6 px.
    let scale = |(id, wide): &(String, f64)| {
        let k: f64 = id.trim_start_matches("off-").parse::<f64>().unwrap() - 1.0;
        (wide - 6.0) / (100.0 + k)
    };
    let first = scale(&widths[0]);
    assert!(widths.iter().all(|w| (scale(w) / first - 1.0).abs() < 0.01));
    let found = |query: &str| {
        let page = s.first.get(&format!("/stock/find?{query}")).1;
        let said = page.split("role=\"status\">").nth(1).unwrap_or_default();
        said.split(" offcuts").next().unwrap_or_default().to_string()
    };
    assert_eq!(found("find=drawer-3"), "30 of 300");
    assert_eq!(found("cloth=plain"), "150 of 300");
    assert_eq!(found("along=350&across=50"), "50 of 300");
    assert_eq!(found("find=drawer-3&cloth=plain&along=350"), "5 of 300");
    // The smallest that holds the size comes first.
    let page = s.first.get("/stock/find?along=350").1;
    assert!(page.split("/stock/item/").nth(1).unwrap().starts_with("off-251\""), "{page}");
    // A change by another program is seen at once.
    Ledger::write(&s.home.path().join("stock.sqlite"))
        .unwrap()
        .remove(&["off-1".into()], &Moment::now())
        .unwrap();
    assert_eq!(found("find="), "299 of 299");
}

const JOB: &str = "stock = \"../stock.sqlite\"\n[job]\nname = \"tub\"\n[[cloth]]\nid = \"twill\"\n\
    weave = \"twill 2/2\"\ntwill_line = 45\nup = \"paper\"\nroll_width = 1250\nselvedge = 0\n\
    [[strip]]\nid = \"rib\"\nlength = 300\nwidth = 40\n\
    [[layer]]\ncloth = \"twill\"\nangle = 0\ntemplates = [\"rib\"]\n";

#[test]
fn a_piece_shows_the_offcuts_that_take_it_before_there_is_a_plan() {
    let home = tempfile::tempdir().unwrap();
    many(home.path(), 300);
    std::fs::create_dir(home.path().join("tub")).unwrap();
    std::fs::write(home.path().join("tub/job.toml"), JOB).unwrap();
    let s = Server::on(home);
    let plies = s.first.get("/job/tub/plies").1;
    let link = plies.split("class=\"takers\" href=\"").nth(1).unwrap().split('"').next().unwrap();
    let link = link.replace("&amp;", "&");
    for door in [&s.first, &s.second] {
        let (mut path, mut seen) = (Some(link.clone()), Vec::new());
        while let Some(at) = path {
            let (status, page) = door.get(&at);
            assert_eq!(status, 200, "{page}");
            let cards = page.split("class=\"pictured\" href=\"/stock/item/").skip(1);
            seen.extend(cards.map(|c| c.split('"').next().unwrap().to_string()));
            let shown = page.matches("class=\"pictured\"").count();
            assert_eq!(page.matches("class=\"laid\"").count(), shown, "the piece lies in each");
            let larger = page.split("href=\"").find(|p| p.contains(">Show larger"));
            path = larger.map(|p| p.split('"').next().unwrap().replace("&amp;", "&"));
        }
        // Twill of 300 mm and more: every other one from the 201st on.
        let want: Vec<String> = (200..300).step_by(2).map(|k| format!("off-{}", k + 1)).collect();
        assert_eq!(seen, want);
    }
    assert_eq!(s.first.get("/job/tub/takers?piece=nothing").0, 404);
    assert_eq!(s.first.get("/job/none/takers?piece=1").0, 404);
}
