//! The page's server asked as a browser asks it, and as nobody should.
#![allow(clippy::unwrap_used)]

mod page_support;

use page_support::*;
use std::io::{Read, Write};
use std::net::TcpStream;

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
    assert!(stale.text().contains("What was typed: 99"), "{}", stale.text());
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
    assert!(s.get("/job/lid/templates").text().contains("11.81 in × 7.87 in"));
    let plan = s.get("/job/lid/plan").text();
    assert!(plan.contains(" ft²") && plan.contains(" in</text>"), "{plan}");
    assert!(!plan.contains(" mm</text>"), "the picture of the layouts speaks in inches too");
    let add = [
        ("kind", "roll"),
        ("cloth", "twill-200"),
        ("width", "50"),
        ("length", "10 ft"),
        ("new_cloth", "twill-200"),
    ];
    let stock = s.form("/stock/add", &add).text();
    assert!(stock.contains("50 in") && stock.contains("10.00 ft"), "{stock}");
    // A file that says nothing that is known is a fault on the first page, and hinders nothing.
    std::fs::write(s.home.path().join("workshop.toml"), "units = \"cubit\"\n").unwrap();
    assert!(s.get("/").text().contains("cubit"));
    assert_eq!(s.get("/job/lid/templates").status, 200);
}

#[test]
fn a_chosen_language_comes_back_to_the_page_it_was_chosen_on() {
    let s = Server::begin();
    s.form("/jobs", &[("name", "seat")]);
    let (host, cookie) = (&s.host, &s.cookie);
    let choose = |from: &str| {
        let head = format!(
            "GET /language?to=de HTTP/1.1\r\nHost: {host}\r\nCookie: {cookie}\r\nReferer: {from}"
        );
        let answer = s.send(&head, b"");
        assert!(answer.header("set-cookie").unwrap().contains("warpwise_language=de"));
        (answer.status, answer.header("location").unwrap().to_string())
    };
    let page = "/job/seat/layers";
    assert_eq!(choose(&format!("http://{host}{page}")), (303, page.to_string()));
    let find = "/stock/find?cloth=a&along=";
    assert_eq!(choose(&format!("http://{host}{find}")).1, find);
    for other in [
        "http://evil.example/job/seat/layers".to_string(),
        format!("http://{host}.evil.example/x"),
        format!("http://{host}//evil.example/x"),
        format!("http://{host}/jobs"),
        String::new(),
    ] {
        assert_eq!(choose(&other).1, "/", "{other}");
    }
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
