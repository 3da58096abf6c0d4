//! The pages of the cloth library, of moulds, of jobs begun from old ones and of parts before, asked
//! as a browser asks them.
#![allow(clippy::unwrap_used)]

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};

struct Server {
    child: Child,
    home: tempfile::TempDir,
    host: String,
    cookie: String,
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

const LIBRARY: &str = "schema = 1\n[[cloth]]\nid = \"twill\"\nweave = \"plain\"   # house cloth\nup = \"paper\"\nroll_width = 1000\nselvedge = 10\nareal_mass = 200\n";

const JOB: &str = "[job]\nname = \"hips\"\n[[cloth]]\nid = \"twill\"\nlibrary = \"twill\"\n[[cloth]]\nid = \"mat\"\nweave = \"mat\"\nup = \"bare\"\nroll_width = 600\nselvedge = 0\n\
    [[mould]]\nid = \"hip\"\nkind = \"female\"\nhands = \"single\"\ninked_side = \"up\"\n\
    [[template]]\nid = \"plate\"\nfile = \"plate.csv\"\narrow = 0\nmould = \"hip\"\n\
    [[layer]]\ncloth = \"twill\"\nangle = 30\ntemplates = [\"plate\"]\n[[layer]]\ncloth = \"mat\"\nangle = 0\ntemplates = [\"plate\"]\n";

impl Server {
    fn begin() -> Server {
        let home = tempfile::tempdir().unwrap();
        fs::write(home.path().join("cloths.toml"), LIBRARY).unwrap();
        fs::create_dir(home.path().join("hips")).unwrap();
        fs::write(home.path().join("hips/job.toml"), JOB).unwrap();
        fs::write(
            home.path().join("hips/plate.csv"),
            "x_mm,y_mm\n0,0\n300,0\n300,60\n60,60\n60,200\n0,200\n",
        )
        .unwrap();
        let mut child = Command::new(env!("CARGO_BIN_EXE_warpwise"))
            .arg("bench")
            .arg(home.path())
            .arg("--no-open")
            .env("XDG_DATA_HOME", home.path().join("data"))
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut link = String::new();
        BufReader::new(child.stdout.as_mut().unwrap()).read_line(&mut link).unwrap();
        let (host, key) =
            link.trim().strip_prefix("http://").unwrap().split_once("/?key=").unwrap();
        Server { child, home, host: host.into(), cookie: format!("warpwise_bench={key}") }
    }

    fn send(&self, head: &str, body: &[u8]) -> (u16, String, String) {
        let (host, cookie) = (&self.host, &self.cookie);
        let mut stream = TcpStream::connect(host).unwrap();
        let head = format!(
            "{head}\r\nHost: {host}\r\nOrigin: http://{host}\r\nCookie: {cookie}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
            body.len()
        );
        stream.write_all(head.as_bytes()).unwrap();
        let _ = stream.write_all(body);
        let mut all = Vec::new();
        let _ = stream.read_to_end(&mut all);
        let all = String::from_utf8_lossy(&all).into_owned();
        let (head, body) = all.split_once("\r\n\r\n").unwrap_or((&all, ""));
        let status = head.split(' ').nth(1).and_then(|s| s.parse().ok()).unwrap_or(0);
        (status, head.to_string(), body.to_string())
    }

    fn get(&self, path: &str) -> (u16, String) {
        let (status, _, body) = self.send(&format!("GET {path} HTTP/1.1"), b"");
        (status, body)
    }

    fn form(&self, path: &str, fields: &[(&str, &str)]) -> (u16, String) {
        let body: Vec<String> = fields.iter().map(|(k, v)| format!("{k}={}", encoded(v))).collect();
        let head =
            format!("POST {path} HTTP/1.1\r\nContent-Type: application/x-www-form-urlencoded");
        let (status, _, body) = self.send(&head, body.join("&").as_bytes());
        (status, body)
    }

    fn rev(&self, page: &str) -> String {
        let text = self.get(page).1;
        let after = text.split("id=\"rev\"").nth(1).unwrap().split("value=\"").nth(1).unwrap();
        after.split('"').next().unwrap().to_string()
    }

    fn file(&self, below: &str) -> String {
        fs::read_to_string(self.home.path().join(below)).unwrap()
    }

    /// An edit of the library, as its page sends it.
    fn cloths(&self, edit: &serde_json::Value) -> (u16, String) {
        self.form(
            "/cloths/edit",
            &[("rev", &self.rev("/cloths")), ("view", "cloths"), ("edit", &edit.to_string())],
        )
    }
}

fn encoded(text: &str) -> String {
    text.bytes()
        .map(|b| {
            if b.is_ascii_alphanumeric() { char::from(b).to_string() } else { format!("%{b:02X}") }
        })
        .collect()
}

#[test]
fn the_library_is_edited_on_its_page_with_faults_beside_their_fields() {
    let s = Server::begin();
    let (status, page) = s.get("/cloths");
    assert!(
        status == 200 && page.contains("Taken by: hips") && page.contains("f-cloth-0-weave"),
        "{page}"
    );
    assert!(!page.contains("f-cloth-0-batch"), "what is of one roll is no field of the library");
    let rev = s.rev("/cloths");
    let (status, said) = s.form(
        "/cloths/edit",
        &[("rev", &rev), ("view", "cloths"), ("at", "cloth.0.roll_width"), ("value", "12 ells")],
    );
    assert!(
        status == 200
            && said.contains("data-for=\"cloth.0.roll_width\"")
            && said.contains("data-fault"),
        "{said}"
    );
    assert!(
        s.file("cloths.toml").contains("12 ells")
            && s.file("cloths.toml").contains("# house cloth")
    );
    // The jobs that take it say so.
    let (_, job) = s.get("/job/hips/cloths");
    assert!(job.contains("at fault in the cloth library"), "{job}");
    // A second window has the old revision.
    let (status, said) = s.form(
        "/cloths/edit",
        &[("rev", &rev), ("view", "cloths"), ("at", "cloth.0.selvedge"), ("value", "5")],
    );
    assert!(status == 409 && said.contains("changed elsewhere"), "{said}");
    let (status, _) = s.form("/cloths/undo", &[("rev", &s.rev("/cloths")), ("view", "cloths")]);
    assert_eq!((status, s.file("cloths.toml").as_str()), (200, LIBRARY));
    let (status, _) = s.form("/cloths/redo", &[("rev", &s.rev("/cloths")), ("view", "cloths")]);
    assert!(status == 200 && s.file("cloths.toml").contains("12 ells"));
    let (status, _) = s.form("/cloths/undo", &[("rev", &s.rev("/cloths")), ("view", "cloths")]);
    assert_eq!(status, 200);
    // What a job takes is not taken away.
    let (status, said) = s.cloths(&serde_json::json!({ "clear": { "at": "cloth.0" } }));
    assert!(status == 422 && said.contains("hips"), "{said}");
    assert_eq!(s.file("cloths.toml"), LIBRARY);
    let (status, _) = s.form(
        "/cloths/edit",
        &[("rev", &s.rev("/cloths")), ("at", "cloth.0.note"), ("value", "shelf <2>")],
    );
    assert!(status == 200 && s.get("/cloths").1.contains("shelf &lt;2&gt;"));
    for (path, body) in
        [("/cloths/edit", "x"), ("/cloths/edit", "rev=1&edit=%7B"), ("/cloths/undo", "rev=")]
    {
        let (status, _, _) = s.send(
            &format!("POST {path} HTTP/1.1\r\nContent-Type: application/x-www-form-urlencoded"),
            body.as_bytes(),
        );
        assert!((400..500).contains(&status), "{path} {body}: {status}");
    }
}

#[test]
fn a_cloth_is_taken_from_the_library_and_into_it_by_one_button_each() {
    let s = Server::begin();
    let (_, page) = s.get("/job/hips/cloths");
    assert!(page.contains("cloth-into-library") && page.contains("From the workshop"), "{page}");
    // What the library says stands in the field as what holds.
    assert!(page.contains("placeholder=\"1000\"") && page.contains("taken over: paper"), "{page}");
    let (status, _) = s.form(
        "/job/hips/cloth-into-library",
        &[("rev", &s.rev("/job/hips/cloths")), ("view", "cloths"), ("index", "1")],
    );
    assert_eq!(status, 200);
    assert!(
        s.file("cloths.toml").contains("id = \"mat\"")
            && s.file("hips/job.toml").contains("library = \"mat\"")
    );
    let (status, said) = s.form(
        "/job/hips/cloth-into-library",
        &[("rev", &s.rev("/job/hips/cloths")), ("view", "cloths"), ("index", "1")],
    );
    assert!(status == 422 && said.contains("from the library already"), "{said}");
    let (status, _) = s.form(
        "/job/hips/cloth-into-library",
        &[("rev", "0000"), ("view", "cloths"), ("index", "0")],
    );
    assert_eq!(status, 409);
    s.form("/jobs", &[("name", "lid")]);
    let (_, page) = s.get("/job/lid/cloths");
    assert!(page.contains("Take from the workshop") && page.contains("twill"), "{page}");
}

#[test]
fn a_data_sheet_is_kept_by_what_it_is_and_opened() {
    let s = Server::begin();
    let take = |of: usize, rev: &str, bytes: &[u8]| {
        let head = format!("POST /cloths/sheet?of={of}&rev={rev}&name=..%2Fx.pdf HTTP/1.1");
        let (status, _, body) = s.send(&head, bytes);
        (status, body)
    };
    let rev = s.rev("/cloths");
    let (status, said) = take(0, &rev, b"MZ no sheet");
    assert!(status == 422 && said.contains("PDF, JPEG or PNG"), "{said}");
    assert_eq!((take(1, &rev, b"%PDF-1.4").0, take(0, "0000", b"%PDF-1.4").0), (422, 409));
    assert!(!s.file("cloths.toml").contains("data_sheet"));
    let (status, page) = take(0, &rev, b"%PDF-1.4 sheet");
    assert!(status == 200 && page.contains("/cloths/sheet/twill"), "{page}");
    assert!(s.file("cloths.toml").contains("data_sheet = \"data-sheets/twill.pdf\""));
    let (status, head, body) = s.send("GET /cloths/sheet/twill HTTP/1.1", b"");
    assert!(status == 200 && head.contains("application/pdf") && body.contains("sheet"));
    // A name that leads out of the workshop opens nothing.
    fs::write(
        s.home.path().join("cloths.toml"),
        LIBRARY.replace("up =", "data_sheet = \"../../etc/passwd\"\nup ="),
    )
    .unwrap();
    assert_eq!(s.get("/cloths/sheet/twill").0, 404);
    assert_eq!(s.get("/cloths/sheet/..%2F..").0, 404);
}

#[test]
fn a_job_is_begun_from_another_on_the_first_page() {
    let s = Server::begin();
    assert!(s.get("/").1.contains("name=\"from\""));
    let (status, said) = s.form("/jobs", &[("name", "hips two"), ("from", "hips")]);
    assert!(status == 200 && said.contains("layers 2, cloths 2, templates 1, files 1"), "{said}");
    assert!(s.file("hips two/job.toml").contains("begun_from = \"hips\""));
    let (status, said) = s.form("/jobs", &[("name", "hips two"), ("from", "hips")]);
    assert!(status == 422 && said.contains("already"), "{said}");
    let (status, _) = s.form("/jobs", &[("name", "x"), ("from", "../hips")]);
    assert_eq!(status, 422);
    assert_eq!(s.get("/job/hips%20two/layers").0, 200);
}

#[test]
fn a_choice_of_a_mould_is_kept_at_once_and_what_it_changed_is_shown() {
    let s = Server::begin();
    let (_, page) = s.get("/job/hips/templates");
    assert!(
        page.contains("Moulds: 1")
            && page.contains("/job/hips/mould\"")
            && page.contains("taken over: the mould"),
        "{page}"
    );
    let choose = |fields: &[(&str, &str)]| {
        let rev = s.rev("/job/hips/templates");
        s.form("/job/hips/mould", &[&[("rev", rev.as_str()), ("mould", "0")], fields].concat())
    };
    let old = s.rev("/job/hips/templates");
    let pair = [("kind", "plug"), ("hands", "pair"), ("taped", "left"), ("inked_side", "up")];
    let (status, said) = choose(&pair);
    assert!(
        status == 200
            && said.contains("2 × right (mirrored)")
            && said.contains("the drawing is mirrored"),
        "{said}"
    );
    assert!(s.file("hips/job.toml").contains("taped = \"left\""));
    let (_, plies) = s.get("/job/hips/plies");
    assert!(plies.contains("left (as traced)") && plies.contains("right (mirrored)"), "{plies}");
    let (_, said) = choose(&pair);
    assert!(said.contains("No piece changed"), "{said}");
    // What does not hold is kept like what is typed anywhere, its fault beside it.
    let (status, said) = choose(&[("kind", "plug"), ("hands", "pair"), ("inked_side", "up")]);
    assert!(status == 200 && said.contains("which of its moulds was taped"), "{said}");
    let (status, _) =
        s.form("/job/hips/undo", &[("rev", &s.rev("/job/hips/templates")), ("view", "templates")]);
    assert!(status == 200 && s.file("hips/job.toml").contains("taped = \"left\""));
    let (status, _) =
        s.form("/job/hips/mould", &[("rev", &old), ("mould", "0"), ("kind", "female")]);
    assert_eq!(status, 409, "the job was another by then");
    // A template taken out of its mould says itself what the mould said.
    let (status, said) = s.form(
        "/job/hips/mould",
        &[("rev", &s.rev("/job/hips/templates")), ("template", "0"), ("of", "")],
    );
    let text = s.file("hips/job.toml");
    assert!(status == 200 && !text.contains("mould = \"hip\""), "{said}");
    assert!(text.contains("taken_off = \"plug\"") && text.contains("hands = \"both\""), "{text}");
}

#[test]
fn the_photo_of_a_mould_is_chosen_among_those_of_the_job_and_shown() {
    let s = Server::begin();
    assert!(s.get("/job/hips/templates").1.contains("no photo in the job"));
    fs::write(s.home.path().join("hips/hip <mould>.png"), b"\x89PNG\r\n").unwrap();
    let (_, page) = s.get("/job/hips/templates");
    let photo = page.split("id=\"f-mould-0-photo\"").nth(1).unwrap();
    let photo = photo.split("</select>").next().unwrap();
    let edit = photo.split("<option value=\"").nth(2).unwrap().split('"').next().unwrap();
    let edit = edit.replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">");
    let rev = s.rev("/job/hips/templates");
    let (status, page) =
        s.form("/job/hips/edit", &[("rev", &rev), ("view", "templates"), ("edit", &edit)]);
    assert!(status == 200 && page.contains("/job/hips/mould-photo/0"), "{page}");
    assert!(s.file("hips/job.toml").contains("photo = \"hip <mould>.png\""));
    assert_eq!(s.get("/job/hips/mould-photo/0").0, 200);
}

#[test]
fn what_parts_before_weighed_is_shown_where_the_next_is_planned() {
    let s = Server::begin();
    let text = JOB.replace("weave = \"mat\"\n", "weave = \"mat\"\nareal_mass = 100\n");
    fs::write(s.home.path().join("hips/job.toml"), text).unwrap();
    let (status, page) = s.get("/job/hips/plan");
    assert!(status == 200 && !page.contains("Parts before"), "nothing was laid yet");
    let dir = s.home.path().join("hips/kits/aaaaaaaaaaaa");
    fs::create_dir_all(&dir).unwrap();
    let kit = serde_json::json!({
        "schema": 2, "kit": "aaaaaaaaaaaa", "used": [["twill", 1.2e6]], "cut_again": [{ "at": 1, "piece": "1.1", "from": "roll" }],
        "planned": { "masses": [{ "job": "hips", "mass": [120.0, 100.0] }], "cloth": [["twill", 1.0e6]], "pieces": 6 },
        "lay_up": [{ "job": "hips", "part": "no. <1>", "begun": 1_795_600_000, "mass": [null, 104.0] }],
    });
    fs::write(dir.join("kit.json"), kit.to_string()).unwrap();
    s.form("/jobs", &[("name", "hips two"), ("from", "hips")]);
    for job in ["hips", "hips%20two"] {
        let (_, page) = s.get(&format!("/job/{job}/plan"));
        for said in [
            "Parts before",
            "no. &lt;1&gt;",
            "+4.0 %",
            "twill +20.0 %",
            "1 / 6",
            "One part is no rule",
            "Take it as a hint",
        ] {
            assert!(page.contains(said), "{job} {said}: {page}");
        }
    }
    fs::write(dir.join("kit.json"), "{").unwrap();
    let (status, page) = s.get("/job/hips/plan");
    assert!(status == 200 && page.contains("cannot be read"), "{page}");
}

#[test]
fn a_plan_made_with_old_values_of_a_cloth_says_so_and_stays() {
    let s = Server::begin();
    let (status, _) =
        s.form("/job/hips/plan/begin", &[("seconds", "0.2"), ("sets", "1"), ("seed", "1")]);
    assert_eq!(status, 200);
    let file = s.home.path().join("hips/plan/plan.json");
    while !file.is_file() || s.get("/job/hips/plan").1.contains("plan-watch") {
        std::thread::yield_now();
    }
    let before = fs::read_to_string(&file).unwrap();
    assert!(!s.get("/job/hips/plan").1.contains("planned with other values"));
    let (status, _) = s.form(
        "/cloths/edit",
        &[("rev", &s.rev("/cloths")), ("at", "cloth.0.areal_mass"), ("value", "245")],
    );
    assert_eq!(status, 200);
    for step in ["plan", "cloths"] {
        let (_, page) = s.get(&format!("/job/hips/{step}"));
        assert!(page.contains("twill was planned with other values: Fibre, g/m²"), "{page}");
    }
    assert_eq!(fs::read_to_string(&file).unwrap(), before);
}

#[test]
fn a_drawing_brought_in_under_a_mould_is_asked_nothing_that_the_mould_says() {
    let s = Server::begin();
    let square = b"x_mm,y_mm\n0,0\n100,0\n100,80\n0,80\n";
    let head = "POST /job/hips/take?name=lid.csv&net=edge&off=plug&inked=down&mould=hip HTTP/1.1";
    let (status, _, said) = s.send(head, square);
    assert_eq!(status, 200, "{said}");
    let text = s.file("hips/job.toml");
    let lid = text.split("id = \"lid\"").nth(1).unwrap();
    let lid = lid.split("[[").next().unwrap();
    assert!(
        lid.contains("mould = \"hip\"") && !lid.contains("taken_off") && !lid.contains("inked"),
        "{lid}"
    );
    // Without one it says itself how it lay.
    let head = "POST /job/hips/take?name=cap.csv&net=edge&off=plug&inked=down&mould= HTTP/1.1";
    assert_eq!(s.send(head, square).0, 200);
    let text = s.file("hips/job.toml");
    assert!(
        text.contains("taken_off = \"plug\"") && text.contains("inked_side = \"down\""),
        "{text}"
    );
}

#[test]
fn a_job_with_a_library_of_its_own_takes_nothing_from_the_workshops() {
    let s = Server::begin();
    assert!(s.get("/cloths").1.contains("Taken by: hips"));
    fs::write(s.home.path().join("hips/cloths.toml"), LIBRARY).unwrap();
    assert!(!s.get("/cloths").1.contains("Taken by"));
    let (status, said) = s.cloths(&serde_json::json!({ "clear": { "at": "cloth.0" } }));
    assert_eq!(status, 200, "{said}");
}
