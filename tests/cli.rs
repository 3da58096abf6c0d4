//! The command as a newcomer meets it: the demo, the scaffold, bad input, exit statuses.

mod plan_schema;

use assert_cmd::Command;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

fn warpwise() -> Command {
    Command::cargo_bin("warpwise").expect("the binary is built with the tests")
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// The demo's files in a fresh folder.
fn demo_files(dir: &Path) {
    for entry in fs::read_dir("demo-data").expect("the demo's files") {
        let entry = entry.expect("an entry");
        fs::copy(entry.path(), dir.join(entry.file_name())).expect("a copy");
    }
}

/// The demo, planned once by one round of effort on one thread, and what was said of it.
fn planned_once() -> &'static (PathBuf, String) {
    static DEMO: OnceLock<(PathBuf, String)> = OnceLock::new();
    DEMO.get_or_init(|| {
        // What is kept until all tests end is never dropped: in the folder for temporary files it
        // would stay.
        let demo = Path::new(env!("CARGO_TARGET_TMPDIR")).join("demo");
        if demo.exists() {
            fs::remove_dir_all(&demo).expect("the last run's folder goes");
        }
        let shown = plan_demo(&demo, "1");
        (demo, shown)
    })
}

fn plan_demo(at: &Path, threads: &str) -> String {
    let out = warpwise()
        .args(["demo", "--effort", "1", "--threads", threads, "--quiet"])
        .arg(at)
        .output()
        .expect("it runs");
    assert!(out.status.success(), "{}", text(&out.stderr));
    text(&out.stdout)
}

/// The planned demo, copied into a folder.
fn planned_demo(dir: &Path) -> PathBuf {
    fn copy(from: &Path, to: &Path) {
        fs::create_dir_all(to).expect("a folder");
        for entry in fs::read_dir(from).expect("a folder") {
            let entry = entry.expect("an entry");
            let to = to.join(entry.file_name());
            if entry.path().is_dir() {
                copy(&entry.path(), &to);
            } else {
                fs::copy(entry.path(), to).expect("a copy");
            }
        }
    }
    let demo = dir.join("demo");
    copy(&planned_once().0, &demo);
    demo
}

#[test]
fn the_demo_is_planned_the_same_on_one_thread_and_two() {
    let dir = tempfile::tempdir().expect("a folder");
    let two = dir.path().join("two");
    let shown = plan_demo(&two, "2");
    assert!(
        shown.lines().all(|line| line.chars().count() <= 80 || line.contains("/plan")),
        "{shown}"
    );
    assert!(shown.contains("twill-204") && shown.contains("twill-416"), "{shown}");
    let plan = |demo: &Path| fs::read_to_string(demo.join("plan/plan.json")).expect("a plan");
    plan_schema::file_keeps_to_schema(&plan(&two));
    assert!(two.join("plan/pieces.csv").is_file());
    assert!(fs::read_dir(two.join("plan/sheets")).expect("sheets").count() >= 2);
    assert_eq!(plan(&planned_demo(dir.path())), plan(&two));
}

#[test]
fn the_demo_has_what_its_job_promises() {
    let dir = tempfile::tempdir().expect("a folder");
    demo_files(dir.path());
    let out = warpwise()
        .arg("check")
        .arg(dir.path().join("job.toml"))
        .arg("--json")
        .output()
        .expect("it runs");
    assert!(out.status.success(), "{}", text(&out.stderr));
    let shown: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
    let plies = shown["plies"].as_array().expect("plies");
    let has = |test: &dyn Fn(&serde_json::Value) -> bool| plies.iter().any(test);
    assert!(
        has(&|p| p["hand"] == "mirrored" && p["angle"] == 90.0 && p["layer"] == 1),
        "a book-matched right hand"
    );
    assert!(has(&|p| p["template"] == "floor" && p["part"].is_array()), "a spliced ply");
    assert!(has(&|p| p["template"] == "seat-heel"), "a local patch");
    assert!(has(&|p| p["template"] == "joint-tape" && p["copies"] == 6), "joint strips");
}

#[test]
fn an_edited_demo_is_left_alone() {
    let dir = tempfile::tempdir().expect("a folder");
    demo_files(dir.path());
    // Bytes that are no UTF-8: an edited file in another encoding is the user's as well.
    let edited = b"# mine now \xb5m\n";
    fs::write(dir.path().join("floor.csv"), edited).expect("an edit");
    let out = warpwise().arg("demo").arg(dir.path()).output().expect("it runs");
    assert_eq!(out.status.code(), Some(2), "{}", text(&out.stderr));
    assert!(text(&out.stderr).contains("floor.csv"));
    assert_eq!(fs::read(dir.path().join("floor.csv")).expect("still there"), edited);
}

#[test]
fn a_scaffolded_job_checks_and_plans() {
    let dir = tempfile::tempdir().expect("a folder");
    let job = dir.path().join("seat");
    let out = warpwise()
        .arg("new")
        .arg(&job)
        .args(["demo-data/seat.svg", "demo-data/coaming.dxf", "demo-data/floor.csv"])
        .output()
        .expect("it runs");
    assert!(out.status.success(), "{}", text(&out.stderr));
    let out = warpwise().arg("check").arg(job.join("job.toml")).output().expect("it runs");
    assert!(out.status.success(), "{}", text(&out.stderr));
    let out = warpwise()
        .arg("nest")
        .arg(job.join("job.toml"))
        .args(["--effort", "1", "--json"])
        .output()
        .expect("it runs");
    assert!(out.status.success(), "{}", text(&out.stderr));
    let plan: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_eq!(plan["schema"], 1);
    let out = warpwise().arg("new").arg(&job).output().expect("it runs");
    assert_eq!(out.status.code(), Some(2), "a job that is there is never overwritten");
}

#[test]
fn every_fault_of_a_job_and_its_drawings_comes_at_once() {
    let dir = tempfile::tempdir().expect("a folder");
    demo_files(dir.path());
    let job = dir.path().join("job.toml");
    let bad = fs::read_to_string(&job)
        .expect("the job")
        .replace("roll_width = 1250", "roll_widht = 1250")
        .replace("angle = 45\ntemplates", "angel = 45\ntemplates");
    fs::write(&job, bad).expect("an edit");
    fs::write(dir.path().join("seat.svg"), "<svg").expect("an edit");
    fs::remove_file(dir.path().join("floor.csv")).expect("gone");
    for command in ["check", "nest"] {
        let out = warpwise().arg(command).arg(&job).output().expect("it runs");
        assert_eq!(out.status.code(), Some(1));
        let shown = text(&out.stderr);
        for word in ["roll_widht", "roll_width", "angel", "seat.svg", "floor.csv"] {
            assert!(shown.contains(word), "{word} is not in:\n{shown}");
        }
    }
    assert!(!dir.path().join("plan").exists(), "a failed run writes nothing");
}

#[test]
fn a_failed_run_leaves_the_old_plan_as_it_was() {
    let dir = tempfile::tempdir().expect("a folder");
    let demo = planned_demo(dir.path());
    let job = demo.join("job.toml");
    let before = fs::read(demo.join("plan/plan.json")).expect("a plan");
    let short = fs::read_to_string(&job)
        .expect("the job")
        .replace("roll_length = \"14 m\"", "roll_length = \"1.4 m\"");
    fs::write(&job, short).expect("an edit");
    let out = warpwise()
        .arg("nest")
        .arg(&job)
        .args(["--effort", "1", "--quiet"])
        .output()
        .expect("it runs");
    assert_eq!(out.status.code(), Some(3), "{}", text(&out.stderr));
    let shown = text(&out.stderr);
    assert!(shown.contains("twill-204: piece") && shown.contains(" found a place"), "{shown}");
    assert_eq!(fs::read(demo.join("plan/plan.json")).expect("still there"), before);
}

#[test]
fn a_folder_that_holds_something_else_is_refused() {
    let dir = tempfile::tempdir().expect("a folder");
    demo_files(dir.path());
    let out = warpwise()
        .arg("nest")
        .arg(dir.path().join("job.toml"))
        .args(["--effort", "1", "--out"])
        .arg(dir.path())
        .output()
        .expect("it runs");
    assert_eq!(out.status.code(), Some(2), "{}", text(&out.stderr));
    assert!(dir.path().join("job.toml").is_file());
}

#[test]
fn sheets_are_drawn_again_from_the_plan_alone() {
    let dir = tempfile::tempdir().expect("a folder");
    let demo = planned_demo(dir.path());
    let again = dir.path().join("again");
    let out = warpwise()
        .arg("sheets")
        .arg(demo.join("plan"))
        .arg("--out")
        .arg(&again)
        .output()
        .expect("it runs");
    assert!(out.status.success(), "{}", text(&out.stderr));
    let out = warpwise()
        .arg("sheets")
        .arg(demo.join("plan"))
        .args(["--placement", "--json", "--out"])
        .arg(&again)
        .output()
        .expect("it runs");
    let list: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert!(list["files"][0]["pages"].as_u64().is_some_and(|n| n > 1), "{list}");
    // The lay-up sheet made later looks at that day's dates.
    assert!(
        warpwise()
            .arg("layup")
            .arg(demo.join("plan"))
            .arg("--out")
            .arg(&again)
            .output()
            .expect("it runs")
            .status
            .success()
    );
    assert!(fs::read(again.join("lay-up.pdf")).expect("a lay-up sheet").starts_with(b"%PDF"));
    let sheets =
        fs::read_dir(demo.join("plan/sheets")).expect("sheets").map(|e| e.expect("an entry"));
    for sheet in sheets.filter(|s| s.file_name() != "lay-up.pdf") {
        assert_eq!(
            fs::read(sheet.path()).expect("a sheet"),
            fs::read(again.join(sheet.file_name())).expect("the sheet again")
        );
    }
    let file = demo.join("plan/plan.json");
    let nonsense =
        fs::read_to_string(&file).expect("the plan").replacen("\"turn\":", "\"turn\": 3", 1);
    fs::write(&file, nonsense).expect("an edit");
    let out = warpwise().arg("sheets").arg(&file).output().expect("it runs");
    assert_eq!(out.status.code(), Some(1), "{}", text(&out.stderr));
}

/// A file that the sheets could not replace stopped them half-way, with the first of them new.
#[test]
fn sheets_that_cannot_all_be_written_leave_what_was_there() {
    let dir = tempfile::tempdir().expect("a folder");
    let demo = planned_demo(dir.path());
    let out = dir.path().join("out");
    fs::write(&out, "a file where the folder should be").expect("a file");
    let run = warpwise()
        .arg("sheets")
        .arg(demo.join("plan"))
        .arg("--out")
        .arg(&out)
        .output()
        .expect("it runs");
    assert_eq!(run.status.code(), Some(2), "{}", text(&run.stderr));
    assert!(run.stdout.is_empty(), "nothing was written, nothing is said to be");
    fs::remove_file(&out).expect("gone");
    assert!(
        warpwise()
            .arg("sheets")
            .arg(demo.join("plan"))
            .arg("--out")
            .arg(&out)
            .output()
            .expect("it runs")
            .status
            .success()
    );
    let names = fs::read_dir(&out)
        .expect("sheets")
        .map(|e| e.expect("an entry").file_name().to_string_lossy().into_owned());
    assert!(
        names.into_iter().all(|n| n.ends_with(".svg") || n == warpwise::manifest::NAME),
        "nothing but sheets is left"
    );
}

#[test]
fn what_is_no_plan_is_refused_with_its_name() {
    let dir = tempfile::tempdir().expect("a folder");
    fs::write(dir.path().join("empty.json"), "").expect("a file");
    fs::write(dir.path().join("binary.json"), [0xff, 0xfe, 0x00, 0x80]).expect("a file");
    fs::create_dir(dir.path().join("folder")).expect("a folder");
    for name in ["empty.json", "binary.json", "missing.json", "folder"] {
        let out = warpwise().arg("sheets").arg(dir.path().join(name)).output().expect("it runs");
        assert_eq!(out.status.code(), Some(1), "{name}: {}", text(&out.stderr));
        assert!(text(&out.stderr).contains(name), "{name}: {}", text(&out.stderr));
    }
    // A stream that never ends would fill the memory.
    #[cfg(target_os = "linux")]
    {
        let out = warpwise().args(["sheets", "/dev/zero"]).output().expect("it runs");
        assert_eq!(out.status.code(), Some(1), "{}", text(&out.stderr));
    }
}

#[test]
fn several_jobs_share_a_roll() {
    let dir = tempfile::tempdir().expect("a folder");
    let (one, two) = (dir.path().join("one"), dir.path().join("two"));
    for job in [&one, &two] {
        assert!(
            warpwise()
                .arg("new")
                .arg(job)
                .arg("demo-data/hatch-cover.svg")
                .output()
                .expect("it runs")
                .status
                .success()
        );
    }
    let out = warpwise()
        .arg("nest")
        .arg(one.join("job.toml"))
        .arg(two.join("job.toml"))
        .args(["--effort", "1", "--json", "--out"])
        .arg(dir.path().join("both"))
        .output()
        .expect("it runs");
    assert!(out.status.success(), "{}", text(&out.stderr));
    let plan: serde_json::Value = serde_json::from_slice(&out.stdout).expect("JSON");
    assert_eq!(plan["jobs"].as_array().map(Vec::len), Some(2));
    let twice = warpwise()
        .arg("nest")
        .arg(one.join("job.toml"))
        .arg(one.join("job.toml"))
        .output()
        .expect("it runs");
    assert_eq!(twice.status.code(), Some(1), "the same job twice is no two jobs");
}

#[test]
fn wrong_use_is_status_2() {
    for arguments in [
        &["nest"][..],
        &["nest", "a.toml", "--seconds", "5", "--effort", "3"],
        &["nonsense"],
        &["nest", "a.toml", "--seconds", "nan"],
    ] {
        let out = warpwise().args(arguments).output().expect("it runs");
        assert_eq!(out.status.code(), Some(2), "{arguments:?}: {}", text(&out.stderr));
    }
    let out = warpwise().args(["nest", "no-such-job.toml"]).output().expect("it runs");
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out.stderr).contains("no-such-job.toml"));
}

#[test]
fn a_drawing_that_lies_in_the_folder_already_is_used_where_it_is() {
    let dir = tempfile::tempdir().expect("a folder");
    fs::copy("demo-data/seat.svg", dir.path().join("seat.svg")).expect("a copy");
    let out = warpwise()
        .current_dir(dir.path())
        .args(["new", ".", "seat.svg"])
        .output()
        .expect("it runs");
    assert!(out.status.success(), "{}", text(&out.stderr));
    assert_eq!(
        fs::read("demo-data/seat.svg").expect("the drawing"),
        fs::read(dir.path().join("seat.svg")).expect("the drawing")
    );
    assert!(dir.path().join("job.toml").is_file());
}

#[test]
fn a_folder_given_as_a_drawing_is_called_a_folder() {
    let dir = tempfile::tempdir().expect("a folder");
    let out = warpwise()
        .arg("new")
        .arg(dir.path().join("job"))
        .arg(dir.path())
        .output()
        .expect("it runs");
    assert_eq!(out.status.code(), Some(1));
    assert!(text(&out.stderr).contains("this is a folder"), "{}", text(&out.stderr));
    assert!(!dir.path().join("job").exists());
}

#[test]
fn a_file_in_place_of_a_folder_is_wrong_use_for_every_command_that_writes() {
    let dir = tempfile::tempdir().expect("a folder");
    let demo = planned_demo(dir.path());
    let file = dir.path().join("file");
    fs::write(&file, "mine").expect("a file");
    for command in [
        warpwise().arg("demo").arg(&file),
        warpwise().arg("new").arg(&file),
        warpwise().arg("sheets").arg(demo.join("plan")).arg("--out").arg(&file),
        warpwise().arg("nest").arg(demo.join("job.toml")).arg("--out").arg(&file),
    ] {
        let out = command.output().expect("it runs");
        assert_eq!(out.status.code(), Some(2), "{}", text(&out.stderr));
        assert!(text(&out.stderr).contains("there is a file"), "{}", text(&out.stderr));
    }
    assert_eq!(fs::read_to_string(&file).expect("the file"), "mine");
}

#[test]
fn more_threads_than_any_machine_has_are_refused_at_once() {
    for threads in ["0", "257", "99999999"] {
        let out =
            warpwise().args(["nest", "a.toml", "--threads", threads]).output().expect("it runs");
        assert_eq!(out.status.code(), Some(2), "{}", text(&out.stderr));
    }
}

#[test]
fn a_folder_or_no_file_in_place_of_a_plan_is_said_so() {
    let dir = tempfile::tempdir().expect("a folder");
    fs::create_dir(dir.path().join("plan.json")).expect("a folder");
    for (plan, what) in [
        (dir.path().to_path_buf(), "this is a folder"),
        (dir.path().join("nothing"), "there is no such file"),
    ] {
        let out = warpwise()
            .arg("sheets")
            .arg(&plan)
            .arg("--out")
            .arg(dir.path().join("out"))
            .output()
            .expect("it runs");
        assert_eq!(out.status.code(), Some(1));
        assert!(text(&out.stderr).contains(what), "{}", text(&out.stderr));
    }
    assert!(!dir.path().join("out").exists());
}
