//! The workshop's cloths, moulds, jobs begun from old ones, and what parts before came to.
#![allow(clippy::unwrap_used)]

use std::fs;
use std::path::{Path, PathBuf};
use warpwise::cloth::Cloth;
use warpwise::fault::Place;
use warpwise::geometry::ring_area;
use warpwise::job::{self, Hands, Job, Side};
use warpwise::layup::Act;
use warpwise::ledger::{Moment, PieceTick, TickTo};
use warpwise::ply::Hand;
use warpwise::run::{Run, Stop};
use warpwise::stock::Day;
use warpwise::workshop::{
    ActTick, BenchTick, Change, Edit, Folder, Library, OpenJob, Refused, Revision, Settings,
    Ticked, begin_from, hands_of, learnt_of, template_of_mould,
};
use warpwise::{plan, planner};

const LIBRARY: &str = r#"# ours
schema = 1

# dear, keep for faces
[[cloth]]
id = "twill"
name = "carbon twill"
weave = "twill 2/2"
twill_line = 45
up = "paper"
roll_width = 1000
selvedge = 10
areal_mass = 200   # measured
resin_content = "42 %"
price_per_metre = 48.5
out_life_hours = 480
note = "shelf 2"
[[cloth.offer]]
width = 1250
price_per_metre = 55

[[cloth]]
id = "plain"
weave = "plain"
up = "film"
roll_width = 1200
selvedge = 0
"#;

/// What is of the job, around its cloth.
fn job_text(cloth: &str) -> String {
    format!(
        "[job]\nname = \"tapes\"\n[[cloth]]\nid = \"twill\"\n{cloth}\n[[strip]]\nid = \"long\"\nlength = 900\nwidth = 200\n\
         [[strip]]\nid = \"short\"\nlength = 250\nwidth = 100\n\
         [[layer]]\ncloth = \"twill\"\nangle = 0\ntemplates = [\"long\", \"short\"]\n"
    )
}

struct Shop(tempfile::TempDir);

impl Shop {
    fn new() -> Shop {
        let shop = Shop(tempfile::tempdir().unwrap());
        fs::write(shop.path("cloths.toml"), LIBRARY).unwrap();
        shop
    }

    fn path(&self, below: &str) -> PathBuf {
        self.0.path().join(below)
    }

    fn job(&self, name: &str, text: &str) -> PathBuf {
        fs::create_dir_all(self.path(name)).unwrap();
        let file = self.path(name).join("job.toml");
        fs::write(&file, text).unwrap();
        file
    }

    fn folder(&self) -> Folder {
        Folder::open(self.0.path()).unwrap()
    }

    fn library(&self) -> Library {
        Library::open(&self.folder()).unwrap()
    }

    fn open(&self, name: &str) -> OpenJob {
        let mut open = OpenJob::open(&self.path(name)).unwrap();
        open.place = Some((self.folder(), name.to_string()));
        open
    }
}

fn loaded(file: &Path) -> Job {
    job::load(file).unwrap_or_else(|f| panic!("{f}")).0
}

fn faults(file: &Path) -> String {
    job::load(file).unwrap_err().to_string()
}

fn alike(a: &Cloth, b: &Cloth) -> bool {
    Cloth { library: None, ..a.clone() } == Cloth { library: None, ..b.clone() }
}

fn now() -> Moment {
    Moment { seconds: 1_795_608_000, day: Day::parse("2026-11-25").unwrap() }
}

// --- cloths of the library ---

#[test]
fn a_cloth_of_the_library_is_as_if_it_stood_in_the_job() {
    let shop = Shop::new();
    let taken = loaded(&shop.job("a", &job_text("library = \"twill\"")));
    let keys = LIBRARY.split("id = \"twill\"\n").nth(1).unwrap();
    let keys = keys.split("note = ").next().unwrap();
    let offer = "[[cloth.offer]]\nwidth = 1250\nprice_per_metre = 55";
    let own = loaded(&shop.job("b", &job_text(&format!("{keys}{offer}"))));
    assert!(alike(&taken.cloths[0], &own.cloths[0]), "{:?}\n{:?}", taken.cloths, own.cloths);
    assert_eq!(taken.cloths[0].library.as_deref(), Some("twill"));
    assert_eq!(taken.cloths[0].offers.len(), 1);
    // Beside the job file as well as above it.
    fs::copy(shop.path("a/job.toml"), shop.path("job.toml")).unwrap();
    assert!(alike(&loaded(&shop.path("job.toml")).cloths[0], &own.cloths[0]));
}

#[test]
fn what_stands_in_the_job_goes_before_the_library_and_is_of_this_roll() {
    let shop = Shop::new();
    let own = "library = \"twill\"\nroll_width = \"50 cm\"\nprice_per_square_metre = 40\nbatch = \"B7\"\nexpiry = \"2027-01-31\"\n\
               [[cloth.flaw]]\nfrom = 100\nto = 160";
    let cloth = loaded(&shop.job("a", &job_text(own))).cloths.remove(0);
    assert_eq!((cloth.roll_width, cloth.selvedge), (500.0, 10.0));
    assert_eq!(cloth.price, Some(warpwise::cloth::Price::PerSquareMetre(40.0)));
    assert_eq!((cloth.batch.as_deref(), cloth.flaws.len()), (Some("B7"), 1));
    // What is of one roll cannot stand in the library.
    fs::write(shop.path("cloths.toml"), LIBRARY.replace("note", "batch")).unwrap();
    let said = faults(&shop.path("a/job.toml"));
    assert!(said.contains("`batch`") && said.contains("cloths.toml"), "{said}");
}

#[test]
fn a_reference_that_does_not_hold_says_what_is_missing_and_what_to_do() {
    let shop = Shop::new();
    let file = shop.job("a", &job_text("library = \"twil\""));
    let found = job::load(&file).unwrap_err();
    // One fault at the key that names it: that it lacks its weave is no fault of the job.
    assert_eq!(found.0.len(), 1, "{found}");
    assert_eq!(found.0[0].place, Place::Line { line: 5, column: 11 });
    assert!(found.0[0].remedy.contains("did you mean \"twill\""), "{found}");
    fs::remove_file(shop.path("cloths.toml")).unwrap();
    let said = faults(&file);
    assert!(
        said.contains("no cloth library here") && said.contains("in place of `library`"),
        "{said}"
    );
    fs::write(shop.path("cloths.toml"), [0xff, 0xfe]).unwrap();
    assert!(faults(&file).contains("UTF-8"));
    fs::write(shop.path("cloths.toml"), LIBRARY.replace("schema = 1", "schema = 2")).unwrap();
    let file = shop.job("a", &job_text("library = \"twill\""));
    assert!(faults(&file).contains("version 2"));
    let (_, faults_of_all, _) =
        job::check_library(&LIBRARY.replace("schema = 1", "schema = 2"), &shop.path("cloths.toml"));
    assert!(faults_of_all.to_string().contains("version 2"), "{faults_of_all}");
}

#[test]
fn a_fault_in_the_library_counts_for_the_jobs_that_take_that_cloth() {
    let shop = Shop::new();
    let broken = LIBRARY.replace("up = \"film\"", "up = \"flim\"\nroll_length = 3");
    fs::write(shop.path("cloths.toml"), &broken).unwrap();
    loaded(&shop.job("a", &job_text("library = \"twill\"")));
    let said = faults(&shop.job("b", &job_text("library = \"plain\"\nselvedge = 600\nwidth = 1")));
    // With the job's own faults, all at once.
    assert!(said.contains("at fault in the cloth library") && said.contains("`width`"), "{said}");
    let (cloths, all, _) = job::check_library(&broken, &shop.path("cloths.toml"));
    assert_eq!(all.0.len(), 2, "{all}");
    assert!(cloths[0].cloth.is_some() && cloths[1].cloth.is_none());
    // Values that do not go together are said where the job takes them.
    let said = faults(&shop.job("c", &job_text("library = \"twill\"\nselvedge = 600")));
    assert!(said.contains("leave nothing of a roll"), "{said}");
}

#[test]
fn of_two_cloths_with_one_id_in_the_library_none_is_taken_in_silence() {
    let shop = Shop::new();
    let twice = LIBRARY.replace("\"plain\"\nweave", "\"twill\"\nweave");
    fs::write(shop.path("cloths.toml"), &twice).unwrap();
    let found = job::load(&shop.job("a", &job_text("library = \"twill\""))).unwrap_err();
    assert_eq!(found.0.len(), 1, "{found}");
    assert_eq!(found.0[0].place, Place::Line { line: 5, column: 11 });
    assert!(found.to_string().contains("more than one `twill`"), "{found}");
    assert!(shop.library().own_values(&shop.open("a").checked().values, 0).is_none());
}

#[test]
fn two_cloths_of_a_job_take_the_same_one_of_the_library() {
    let shop = Shop::new();
    let more =
        "library = \"twill\"\n[[cloth]]\nid = \"narrow\"\nlibrary = \"twill\"\nroll_width = 700";
    let cloths = loaded(&shop.job("a", &job_text(more))).cloths;
    assert_eq!((cloths[0].roll_width, cloths[1].roll_width), (1000.0, 700.0));
    assert_eq!((cloths[1].areal_mass, cloths[1].offers.len()), (Some(200.0), 1));
}

#[test]
fn any_text_as_a_library_is_read_without_a_panic() {
    for cut in 0..LIBRARY.len() {
        let Some(text) = LIBRARY.get(..cut) else { continue };
        let _ = job::check_library(text, Path::new("cloths.toml"));
    }
    for text in [
        "cloth = 3",
        "cloth = [1, [2]]",
        "[cloth]\nid = 4",
        "schema = \"x\"",
        "[[cloth]]\nlibrary = \"a\"",
        "\u{0}",
    ] {
        assert!(!job::check_library(text, Path::new("cloths.toml")).1.is_empty(), "{text}");
        let shop = Shop::new();
        fs::write(shop.path("cloths.toml"), text).unwrap();
        faults(&shop.job("a", &job_text("library = \"twill\"")));
    }
    let shop = Shop::new();
    for key in ["library = 3", "library = []", "library = \"\"", "library = { a = 1 }"] {
        faults(&shop.job("a", &job_text(key)));
    }
}

#[test]
fn a_change_of_the_library_changes_no_plan_and_is_said() {
    let shop = Shop::new();
    let file = shop.job("a", &job_text("library = \"twill\""));
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let planned = planner::plan(&[loaded(&file)], 1, &run).unwrap();
    let then = plan::to_json(planned.plan());
    let read = plan::from_json(&then).unwrap();
    let kept = &read.materials[0];
    assert_eq!(
        (kept.library.as_deref(), kept.roll_width, kept.selvedge),
        (Some("twill"), Some(1000.0), Some(10.0))
    );
    assert!(kept.price.is_some() && kept.out_life_hours == Some(480.0));
    assert!(planner::changed_cloths(&read, &loaded(&file)).is_empty());
    let other = LIBRARY.replace("areal_mass = 200", "areal_mass = 245").replace("48.5", "52");
    fs::write(shop.path("cloths.toml"), other).unwrap();
    let changed = planner::changed_cloths(&read, &loaded(&file));
    assert_eq!(changed, [("twill".to_string(), vec!["areal_mass".to_string(), "price".into()])]);
    // The same values in the job itself are the same cloth.
    fs::write(shop.path("cloths.toml"), LIBRARY).unwrap();
    let mut open = shop.open("a");
    let own = shop.library().own_values(&open.checked().values, 0).unwrap();
    open.draft.edit(&own, &open.draft.revision()).unwrap();
    assert!(planner::changed_cloths(&read, &loaded(&file)).is_empty());
}

#[test]
fn a_cloth_goes_into_the_library_and_back_and_is_the_same() {
    let shop = Shop::new();
    let keys = "name = \"spread tow\"   # soft\nweave = \"plain\"\nup = \"bare\"\nroll_width = \"1.27 m\"\nselvedge = 0\nbatch = \"B1\"\n\
                [[cloth.offer]]\nwidth = 600\nprice_per_metre = 10\n[[cloth.flaw]]\nfrom = 0\nto = 5";
    let text = job_text(keys).replace("\"twill\"", "\"tow\"");
    let file = shop.job("a", &text);
    let before = loaded(&file);
    let (mut open, mut library) = (shop.open("a"), shop.library());
    let seen = open.draft.revision();
    library.take_in(&mut open.draft, 0, &seen).unwrap();
    let held = fs::read_to_string(shop.path("cloths.toml")).unwrap();
    assert!(held.starts_with(LIBRARY.trim_end()) && held.contains("# soft"), "{held}");
    assert!(!held.contains("B1") && !held.contains("flaw"), "{held}");
    let said = open.draft.text().to_string();
    assert!(
        said.contains("library = \"tow\"") && said.contains("B1") && !said.contains("1.27"),
        "{said}"
    );
    assert!(alike(&loaded(&file).cloths[0], &before.cloths[0]));
    // Once only, and not what has changed meanwhile.
    let now = open.draft.revision();
    assert!(matches!(library.take_in(&mut open.draft, 0, &now), Err(Refused::Faults(_))));
    assert!(matches!(library.take_in(&mut open.draft, 0, &seen), Err(Refused::Stale)));
    let own = library.own_values(&open.checked().values, 0).unwrap();
    open.draft.edit(&own, &now).unwrap();
    let back = loaded(&file);
    assert_eq!(back.cloths[0], before.cloths[0]);
    assert_eq!(back.cloths[0].library, None);
}

/// As it is after a kill, or a full disk, between the library's file and the job's.
#[test]
fn a_cloth_that_came_into_the_library_without_its_job_comes_in_again() {
    let shop = Shop::new();
    let keys = "weave = \"plain\"\nup = \"bare\"\nroll_width = 900\nselvedge = 0\nbatch = \"B1\"\n\
                [[cloth.offer]]\nwidth = 600\nprice_per_metre = 10\n[[cloth.flaw]]\nfrom = 0\nto = 5";
    let text = job_text(keys).replace("\"twill\"", "\"tow\"");
    let file = shop.job("a", &text);
    let before = loaded(&file);
    let (mut open, mut library) = (shop.open("a"), shop.library());
    library.take_in(&mut open.draft, 0, &Revision::of(&text)).unwrap();
    fs::write(&file, &text).unwrap();
    let held = fs::read_to_string(shop.path("cloths.toml")).unwrap();
    library.take_in(&mut open.draft, 0, &Revision::of(&text)).unwrap();
    assert_eq!(fs::read_to_string(shop.path("cloths.toml")).unwrap(), held);
    assert!(fs::read_to_string(&file).unwrap().contains("library = \"tow\""));
    assert!(alike(&loaded(&file).cloths[0], &before.cloths[0]));
    // Another cloth of this id is not taken for it.
    let other = text.replace("width = 600", "width = 601");
    fs::write(&file, &other).unwrap();
    let refused = library.take_in(&mut open.draft, 0, &Revision::of(&other)).unwrap_err();
    let Refused::Faults(said) = refused else { panic!("{refused:?}") };
    assert!(said.to_string().contains("another cloth `tow`"), "{said}");
    assert_eq!(fs::read_to_string(&file).unwrap(), other);
    assert_eq!(fs::read_to_string(shop.path("cloths.toml")).unwrap(), held);
}

#[test]
fn a_library_beside_a_job_is_the_one_that_counts_for_it_in_every_way() {
    let shop = Shop::new();
    let file = shop.job("a", &job_text("library = \"twill\""));
    let own = LIBRARY.replace("areal_mass = 200", "areal_mass = 245\ndata_sheet = \"t.pdf\"");
    fs::write(shop.path("a/cloths.toml"), &own).unwrap();
    fs::write(shop.path("a/t.pdf"), "%PDF-").unwrap();
    let before = loaded(&file).cloths.remove(0);
    assert_eq!(before.areal_mass, Some(245.0));
    // A job begun from it takes the same cloth.
    let came = begin_from(&shop.folder(), "b", "a").unwrap();
    assert_eq!(came.files, ["cloths.toml", "t.pdf"]);
    assert_eq!(loaded(&shop.path("b/job.toml")).cloths[0], before);
    // Its values written into the job are those it had.
    let mut open = shop.open("a");
    let library = Library::of_job(&shop.folder(), &open.draft).unwrap();
    let values = library.own_values(&open.checked().values, 0).unwrap();
    open.draft.edit(&values, &open.draft.revision()).unwrap();
    assert!(alike(&loaded(&file).cloths[0], &before));
    // Nothing goes into a library that the job does not read.
    let seen = open.draft.revision();
    let refused = shop.library().take_in(&mut open.draft, 0, &seen).unwrap_err();
    assert!(matches!(&refused, Refused::Faults(f) if f.to_string().contains("a/cloths.toml")));
    assert_eq!(fs::read_to_string(shop.path("cloths.toml")).unwrap(), LIBRARY);
    // One that cannot come along is not left behind in silence.
    fs::remove_file(shop.path("a/cloths.toml")).unwrap();
    fs::create_dir(shop.path("a/cloths.toml")).unwrap();
    let said = begin_from(&shop.folder(), "c", "a").unwrap_err().to_string();
    assert!(said.contains("no ordinary file") && !shop.path("c").exists(), "{said}");
}

#[test]
fn a_cloth_that_jobs_take_is_not_lost_by_any_way() {
    let shop = Shop::new();
    shop.job("seat", &job_text("library = \"twill\""));
    shop.job("hatch", &job_text("library = \"twill\""));
    let mut library = shop.library();
    let on_disk = || fs::read_to_string(shop.path("cloths.toml")).unwrap();
    let rev = |library: &Library| library.draft.revision();
    for edit in [
        Edit::Clear { at: "cloth.0".into() },
        Edit::Rename { at: "cloth.0.id".into(), to: "other".into() },
        Edit::Set { at: "cloth.0.id".into(), to: "other".into() },
    ] {
        let seen = rev(&library);
        let refused = library.change(&Change::Edit(edit), &seen).unwrap_err();
        let Refused::Faults(said) = refused else { panic!("{refused:?}") };
        assert!(said.to_string().contains("hatch, seat"), "{said}");
        assert_eq!(on_disk(), LIBRARY);
    }
    let seen = rev(&library);
    library.change(&Change::Edit(Edit::Clear { at: "cloth.1".into() }), &seen).unwrap();
    assert!(!on_disk().contains("plain") && on_disk().contains("# measured"));
    let seen = rev(&library);
    library.change(&Change::Undo, &seen).unwrap();
    assert_eq!(on_disk(), LIBRARY);
    // To take back that a cloth was added would lose it too.
    let add = Edit::Add {
        section: "cloth".into(),
        keys: vec![("id".into(), "new".into()), ("weave".into(), "mat".into())],
    };
    let seen = rev(&library);
    library.change(&Change::Edit(add), &seen).unwrap();
    shop.job("lid", &job_text("library = \"new\""));
    let seen = rev(&library);
    let refused = library.change(&Change::Undo, &seen).unwrap_err();
    assert!(matches!(&refused, Refused::Faults(f) if f.to_string().contains("lid")), "{refused:?}");
    // Two windows do not overwrite each other.
    let old = Revision::of(LIBRARY);
    let set = Edit::Set { at: "cloth.0.name".into(), to: "x".into() };
    assert_eq!(library.change(&Change::Edit(set), &old), Err(Refused::Stale));
    // A job that cannot be read may take it.
    fs::write(shop.path("lid/job.toml"), [0xff]).unwrap();
    let seen = rev(&library);
    let refused = library.change(&Change::Undo, &seen).unwrap_err();
    assert!(matches!(&refused, Refused::Faults(f) if f.to_string().contains("lid")), "{refused:?}");
}

#[test]
fn a_library_begins_with_its_first_cloth_and_a_job_sees_it_at_once() {
    let shop = Shop::new();
    fs::remove_file(shop.path("cloths.toml")).unwrap();
    shop.job("a", &job_text("library = \"plain\""));
    let mut open = shop.open("a");
    assert!(!open.checked().is_sound());
    let mut library = shop.library();
    let keys = [
        ("id", "plain"),
        ("weave", "plain"),
        ("up", "film"),
        ("roll_width", "1 m"),
        ("selvedge", "0 mm"),
    ];
    let keys = keys.map(|(k, v)| (k.to_string(), v.into())).to_vec();
    let seen = library.draft.revision();
    library.change(&Change::Edit(Edit::Add { section: "cloth".into(), keys }), &seen).unwrap();
    assert!(fs::read_to_string(shop.path("cloths.toml")).unwrap().starts_with("# The cloths"));
    assert!(open.checked().is_sound(), "{:?}", open.checked().notes);
}

// --- moulds ---

/// An outline that is no mirror image of itself, with its 0° to the right.
const HOOK: &str = "x_mm,y_mm\n0,0\n300,0\n300,60\n60,60\n60,200\n0,200\n";

fn hook_job(moulds: &str, template: &str, layer: &str) -> String {
    format!(
        "[job]\nname = \"hips\"\n[[cloth]]\nid = \"c\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = 1000\nselvedge = 0\n{moulds}\n\
         [[template]]\nid = \"hip\"\nfile = \"hip.csv\"\narrow = 0\nedge = \"butt\"\n{template}\n\
         [[layer]]\ncloth = \"c\"\nangle = 30\ntemplates = [\"hip\"]\n{layer}\n"
    )
}

fn hooks(shop: &Shop, text: &str) -> PathBuf {
    let file = shop.job("hips", text);
    fs::write(shop.path("hips/hip.csv"), HOOK).unwrap();
    file
}

fn mould(kind: &str, hands: &str, more: &str) -> String {
    format!("[[mould]]\nid = \"m\"\nkind = \"{kind}\"\nhands = \"{hands}\"\n{more}")
}

/// A skin taken off a plug, or lying inked side down, is the other hand; both together are not.
/// By the frames of the trade, as `docs` and the job's own keys have them.
#[test]
fn a_mould_says_what_its_templates_would_say_themselves() {
    let shop = Shop::new();
    for (kind, taken_off) in [("female", "mould"), ("plug", "plug")] {
        for side in ["up", "down"] {
            for (hands, own, side_of) in [
                ("single", "as traced", None),
                ("left", "as traced", Some(Side::Left)),
                ("right", "as traced", Some(Side::Right)),
                ("pair", "both", Some(Side::Right)),
            ] {
                let taped = if hands == "pair" { "taped = \"right\"\n" } else { "" };
                let by_mould = mould(kind, hands, &format!("{taped}inked_side = \"{side}\""));
                let by_mould = loaded(&hooks(&shop, &hook_job(&by_mould, "mould = \"m\"", "")));
                let keys = format!(
                    "taken_off = \"{taken_off}\"\ninked_side = \"{side}\"\nhands = \"{own}\""
                );
                let by_hand = loaded(&hooks(&shop, &hook_job("", &keys, "")));
                let t = &by_mould.templates[0];
                assert_eq!(t.drawn_mirrored(), (kind == "plug") != (side == "down"));
                let plain = job::Template { mould: None, ..t.clone() };
                assert_eq!(plain, by_hand.templates[0], "{kind} {hands} {side}");
                assert_eq!(by_mould.layers, by_hand.layers);
                assert_eq!(by_mould.side(0, false), side_of);
                assert_eq!(by_mould.side(0, true).is_some(), side_of.is_some());
            }
        }
    }
}

#[test]
fn a_pair_makes_left_and_right_pieces_from_one_template() {
    let shop = Shop::new();
    let pair = mould("female", "pair", "taped = \"left\"\ninked_side = \"up\"");
    let job = loaded(&hooks(&shop, &hook_job(&pair, "mould = \"m\"", "")));
    let run = Run::new(Stop::Effort(1)).with_threads(1);
    let planned = planner::plan(&[job], 1, &run).unwrap();
    let pieces = &planned.plan().pieces;
    let of = |side| pieces.iter().find(|p| p.side == Some(side)).unwrap();
    let (left, right) = (of(Side::Left), of(Side::Right));
    assert_eq!(pieces.len(), 2);
    assert_eq!((left.hand, right.hand), (Hand::AsTraced, Hand::Mirrored));
    // The mirror image of the structure: -a, and the outline turned over about the warp.
    assert_eq!((left.angle, right.angle), (30.0, -30.0));
    assert!((ring_area(&left.outline) - ring_area(&right.outline)).abs() < 1.0);
    let low =
        |ring: &[warpwise::geometry::Point]| ring.iter().map(|p| p.y).fold(f64::INFINITY, f64::min);
    let mut mirrored: Vec<(i64, i64)> =
        left.outline.iter().map(|p| (p.x, -p.y)).map(whole).collect();
    let shift =
        (low(&right.outline), -left.outline.iter().map(|p| p.y).fold(f64::NEG_INFINITY, f64::max));
    mirrored.iter_mut().for_each(|p| p.1 += ((shift.0 - shift.1) * 100.0).round() as i64);
    let mut other: Vec<(i64, i64)> = right.outline.iter().map(|p| (p.x, p.y)).map(whole).collect();
    mirrored.sort_unstable();
    other.sort_unstable();
    let near =
        |(a, b): (&(i64, i64), &(i64, i64))| (a.0 - b.0).abs() <= 1 && (a.1 - b.1).abs() <= 1;
    assert!(mirrored.iter().zip(&other).all(near), "{mirrored:?}\n{other:?}");
    // By name on what is printed.
    let sheets = format!("{:?}", warpwise::layup::layup(planned.plan(), &Default::default()));
    assert!(sheets.contains("left") && sheets.contains("right"), "{sheets}");
    assert!(warpwise::sheet::report(&planned, &[]).contains("right"));
}

fn whole((x, y): (f64, f64)) -> (i64, i64) {
    ((x * 100.0).round() as i64, (y * 100.0).round() as i64)
}

#[test]
fn template_and_mould_that_contradict_are_refused_all_at_once() {
    let shop = Shop::new();
    let single = mould("plug", "single", "inked_side = \"down\"");
    let keys = "mould = \"m\"\ntaken_off = \"mould\"\ninked_side = \"up\"\nhands = \"both\"";
    let found = job::load(&hooks(&shop, &hook_job(&single, keys, ""))).unwrap_err();
    assert_eq!(found.0.len(), 3, "{found}");
    for key in ["taken_off", "inked_side", "hands"] {
        assert!(found.to_string().contains(&format!("`{key}` is ")), "{found}");
    }
    // What agrees may stand there.
    let keys = "mould = \"m\"\ntaken_off = \"plug\"\ninked_side = \"down\"\nhands = \"as traced\"";
    loaded(&hooks(&shop, &hook_job(&single, keys, "")));
    for (moulds, template, layer, said) in [
        (single.as_str(), "mould = \"m\"", "hands = \"both\"", "its mould `m` is of one hand"),
        (&single, "mould = \"n\"", "", "there is no mould `n`"),
        (
            &mould("female", "pair", "inked_side = \"up\""),
            "mould = \"m\"",
            "",
            "which of its moulds was taped",
        ),
        (
            &mould("female", "left", "taped = \"left\"\ninked_side = \"up\""),
            "mould = \"m\"",
            "",
            "is no pair",
        ),
        (&mould("female", "left", ""), "mould = \"m\"", "", "which way the inked side lay"),
        (
            &mould("male", "left", "inked_side = \"up\""),
            "mould = \"m\"",
            "",
            "`kind` cannot be `male`",
        ),
        (
            &mould("female", "left", "inked_side = \"up\"\nphoto = \"../x.jpg\""),
            "mould = \"m\"",
            "",
            "not named from the job's folder",
        ),
        ("", "", "", "(`taken_off` in "),
    ] {
        let found = faults(&hooks(&shop, &hook_job(moulds, template, layer)));
        assert!(found.contains(said), "{said}: {found}");
    }
    // A template of a pair may be of one hand alone.
    let pair = mould("female", "pair", "taped = \"left\"\ninked_side = \"up\"");
    let job = loaded(&hooks(&shop, &hook_job(&pair, "mould = \"m\"\nhands = \"mirrored\"", "")));
    assert_eq!(job.layers[0].items[0].hands, Hands::Mirrored);
}

#[test]
fn two_hands_drawn_by_themselves_are_of_two_sides() {
    let shop = Shop::new();
    let both = |second: &str| {
        let moulds = mould(
            "female",
            "left",
            "inked_side = \"up\"\n[[mould]]\nid = \"r\"\nkind = \"female\"\nhands = \"right\"\ninked_side = \"up\"",
        );
        let more = format!(
            "mould = \"m\"\n[[template]]\nid = \"hop\"\nfile = \"hip.csv\"\narrow = 0\nmould = \"{second}\"\nother_hand_of = \"hip\""
        );
        hook_job(&moulds, &more, "").replace("[\"hip\"]", "[\"hip\", \"hop\"]")
    };
    let said = faults(&hooks(&shop, &both("m")));
    assert!(said.contains("the moulds of both make left parts"), "{said}");
    let file = hooks(&shop, &both("r"));
    assert!(job::load(&file).is_ok_and(|(j, _)| j.side(1, false) == Some(Side::Right)));
}

#[test]
fn a_change_of_a_mould_tells_what_it_makes_of_the_pieces() {
    let shop = Shop::new();
    let single = mould("female", "single", "inked_side = \"up\"");
    let text =
        hook_job(&single, "taken_off = \"mould\"\ninked_side = \"up\"\nhands = \"as traced\"", "");
    hooks(&shop, &text);
    let mut open = shop.open("hips");
    let before = open.checked();
    let into = template_of_mould(&before.values, 0, "m").unwrap();
    let pair = Edit::All(vec![
        into.clone(),
        Edit::Set { at: "mould.0.hands".into(), to: "pair".into() },
        Edit::Set { at: "mould.0.taped".into(), to: "right".into() },
    ]);
    let seen = open.draft.revision();
    open.draft.edit(&pair, &seen).unwrap();
    let after = open.checked();
    open.draft.undo(&open.draft.revision()).unwrap();
    assert_eq!(open.draft.text(), text);
    let all = |c: &warpwise::workshop::Checked| {
        hands_of(c.job.as_ref().unwrap(), c.prepared.as_ref().unwrap())
    };
    let hands: Vec<_> = all(&after).into_iter().map(|h| (h.hand, h.side, h.pieces)).collect();
    assert_eq!(
        hands,
        [(Hand::AsTraced, Some(Side::Right), 1), (Hand::Mirrored, Some(Side::Left), 1)]
    );
    assert_eq!(all(&before).len(), 1);
    // Kept, it is asked nowhere else; taken out again, the template says it itself.
    open.draft.edit(&into, &seen).unwrap();
    assert_eq!(open.draft.text().matches("taken_off").count(), 0);
    let under = open.checked();
    let out = template_of_mould(&under.values, 0, "").unwrap();
    open.draft.edit(&out, &open.draft.revision()).unwrap();
    assert!(!open.draft.text().contains("mould = \"m\""), "{}", open.draft.text());
    assert_eq!(all(&open.checked()), all(&before));
}

#[test]
fn a_template_keeps_its_hands_out_of_a_mould_while_the_job_is_at_fault() {
    let shop = Shop::new();
    let pair = mould("plug", "pair", "taped = \"left\"\ninked_side = \"down\"");
    let broken = hook_job(&pair, "mould = \"m\"", "copies = \"x\"");
    hooks(&shop, &broken);
    let mut open = shop.open("hips");
    assert!(open.checked().job.is_none());
    let out = template_of_mould(&open.checked().values, 0, "").unwrap();
    open.draft.edit(&out, &open.draft.revision()).unwrap();
    let text = open.draft.text().replace("copies = \"x\"\n", "");
    for said in ["taken_off = \"plug\"", "inked_side = \"down\"", "hands = \"both\""] {
        assert!(text.contains(said), "{text}");
    }
    assert_eq!(loaded(&hooks(&shop, &text)).templates[0].mould, None);
    // Where the mould does not say what would stay, nothing is guessed.
    for (from, to) in [("\"pair\"", "\"pear\""), ("\"plug\"", "3"), ("inked_side", "# side")] {
        hooks(&shop, &broken.replace(from, to));
        let checked = shop.open("hips").checked();
        assert!(template_of_mould(&checked.values, 0, "").is_err(), "{to}");
    }
    hooks(&shop, &broken.replace("[[template]]", &format!("{pair}\n[[template]]")));
    assert!(template_of_mould(&shop.open("hips").checked().values, 0, "").is_err());
}

// --- a job begun from an old one ---

#[test]
fn a_job_begun_from_an_old_one_has_its_templates_and_nothing_that_was_done() {
    let shop = Shop::new();
    let pair = mould("female", "pair", "taped = \"left\"\ninked_side = \"up\"\nphoto = \"m.jpg\"");
    let text =
        format!("stock = \"../stock.sqlite\" # ours\n{}", hook_job(&pair, "mould = \"m\"", ""));
    let text = text
        .replace("selvedge = 0", "selvedge = 0\nbatch = \"B1\"\n[[cloth.flaw]]\nfrom = 1\nto = 2");
    hooks(&shop, &text);
    fs::create_dir_all(shop.path("hips/plan")).unwrap();
    fs::create_dir_all(shop.path("hips/kits/abc")).unwrap();
    fs::write(shop.path("hips/plan/plan.json"), "{}").unwrap();
    let came = begin_from(&shop.folder(), "hips two", "hips").unwrap();
    assert_eq!((came.layers, came.cloths, came.templates), (1, 1, 1));
    assert_eq!(
        (came.files.as_slice(), came.missing.as_slice()),
        (["hip.csv".to_string()].as_slice(), ["m.jpg".to_string()].as_slice())
    );
    assert_eq!(came.of_rolls, ["c: batch, flaw"]);
    let new = fs::read_to_string(shop.path("hips two/job.toml")).unwrap();
    assert!(
        new.contains("name = \"hips two\"")
            && new.contains("begun_from = \"hips\"")
            && new.contains("# ours"),
        "{new}"
    );
    let job = job::load(&shop.path("hips two/job.toml")).unwrap().0;
    assert_eq!(job.begun_from.as_deref(), Some("hips"));
    let mut there: Vec<String> = fs::read_dir(shop.path("hips two"))
        .unwrap()
        .map(|e| e.unwrap().file_name().into_string().unwrap())
        .collect();
    there.sort();
    assert_eq!(there, ["hip.csv", "job.toml"]);
    // Whole or not at all.
    let count = || fs::read_dir(shop.0.path()).unwrap().count();
    let before = count();
    for (name, from) in
        [("hips", "hips"), ("HIPS TWO", "hips"), ("../x", "hips"), ("new", "none"), ("new", "..")]
    {
        assert!(begin_from(&shop.folder(), name, from).is_err(), "{name} {from}");
    }
    fs::write(shop.path("hips two/job.toml"), "[job\n").unwrap();
    assert!(begin_from(&shop.folder(), "new", "hips two").is_err());
    assert_eq!(count(), before);
}

#[test]
fn a_stock_named_from_the_old_folder_is_found_from_the_new_one() {
    let shop = Shop::new();
    for (from, said, wanted) in [
        ("a", "../stock.sqlite", "../stock.sqlite"),
        ("a", "mine.json", "../a/mine.json"),
        ("", "stock.sqlite", "../stock.sqlite"),
    ] {
        let text = format!("stock = \"{said}\"\n{}", job_text("library = \"twill\""));
        if from.is_empty() {
            fs::write(shop.path("job.toml"), text).unwrap()
        } else {
            _ = shop.job(from, &text)
        }
        let name = format!("new {}", wanted.replace(['/', '.'], ""));
        let name = format!("{name}{}", from.len());
        begin_from(&shop.folder(), &name, from).unwrap();
        let new = fs::read_to_string(shop.path(&name).join("job.toml")).unwrap();
        assert!(new.contains(&format!("stock = \"{wanted}\"")), "{new}");
    }
}

// --- what parts before came to ---

fn planned(open: &mut OpenJob) -> String {
    let settings = Settings {
        stop: Stop::Effort(1),
        early: false,
        seed: 1,
        threads: 1,
        sets: 1,
        day: now().day,
    };
    let run = open.begin(settings, &now()).unwrap();
    while run.is_running() {
        std::thread::yield_now();
    }
    open.plan().unwrap().unwrap().plan().id.clone()
}

fn act(open: &mut OpenJob, kit: &str, key: &str, act: Act) {
    let tick = ActTick { key: format!("key-{key}-000"), job: "tapes".into(), act, despite: true };
    assert_eq!(open.tick(kit, &[BenchTick::Act(tick)], &now()).unwrap(), [Ticked::Saved]);
}

/// A part of a job, weighed at this share of what was planned; says what was planned.
fn lay(shop: &Shop, name: &str, share: f64) -> f64 {
    let mut open = shop.open(name);
    let kit = planned(&mut open);
    let masses = warpwise::laminate::planned_masses(open.plan().unwrap().unwrap().plan());
    let mass = masses[0].mass[1].unwrap();
    act(&mut open, &kit, name, Act::Mass { off_mould: None, finished: Some(mass * share) });
    mass
}

#[test]
fn what_a_part_weighed_is_held_against_what_was_planned_then() {
    let shop = Shop::new();
    let text = job_text("library = \"twill\"")
        .replace("\"tapes\"\n", "\"tapes\"\nbegun_from = \"gone\"\n");
    shop.job("a", &text);
    // The fibre inside the net lines, over 1 - 42 % resin, by hand: (0.9 * 0.2 + 0.25 * 0.1) m².
    let mass = lay(&shop, "a", 1.05);
    assert!((mass - 0.205 * 200.0 / 0.58).abs() < 1e-6, "{mass}");
    let learnt = learnt_of(&shop.folder(), "a").unwrap();
    assert_eq!(learnt.parts.len(), 1);
    let (n, [low, _, high]) = learnt.mass().unwrap();
    assert!(n == 1 && low == high && (low - 1.05).abs() < 1e-9);
    // The plan is made anew, the cloth is another: what was planned then stays.
    fs::write(shop.path("cloths.toml"), LIBRARY.replace("areal_mass = 200", "areal_mass = 300"))
        .unwrap();
    planned(&mut shop.open("a"));
    assert_eq!(learnt_of(&shop.folder(), "a").unwrap().parts, learnt.parts);
}

#[test]
fn jobs_begun_from_one_another_learn_from_one_another_and_from_no_others() {
    let shop = Shop::new();
    shop.job("a", &job_text("library = \"twill\""));
    shop.job("stranger", &job_text("library = \"twill\""));
    lay(&shop, "a", 1.02);
    lay(&shop, "stranger", 3.0);
    begin_from(&shop.folder(), "b", "a").unwrap();
    begin_from(&shop.folder(), "c", "b").unwrap();
    let text = fs::read_to_string(shop.path("b/job.toml")).unwrap();
    fs::write(shop.path("b/job.toml"), text.replace("name = \"b\"", "name = \"tapes\"")).unwrap();
    lay(&shop, "b", 1.10);
    for job in ["a", "b", "c"] {
        let learnt = learnt_of(&shop.folder(), job).unwrap();
        let (n, [low, middle, high]) = learnt.mass().unwrap();
        assert_eq!(n, 2, "{job}");
        assert!(
            (low - 1.02).abs() < 1e-9 && (high - 1.10).abs() < 1e-9 && (middle - 1.06).abs() < 1e-9
        );
    }
    assert_eq!(learnt_of(&shop.folder(), "stranger").unwrap().parts.len(), 1);
}

#[test]
fn cloth_of_recuts_and_spoiled_pieces_are_counted_against_the_first_plan() {
    let shop = Shop::new();
    shop.job("a", &job_text("library = \"twill\""));
    let mut open = shop.open("a");
    let kit = planned(&mut open);
    let first = open.plan().unwrap().unwrap();
    let placed = &first.plan().stocks[0].placed[0];
    let long = first.plan().pieces.iter().find(|p| p.template == "long").unwrap().piece.clone();
    assert!(first.plan().stocks[0].placed.len() == 2, "{placed:?}");
    let tick = PieceTick { key: "spoiled-0001".into(), piece: long, copy: 1, to: TickTo::Spoiled };
    open.tick(&kit, &[BenchTick::Piece(tick)], &now()).unwrap();
    assert_eq!(open.recut(&now()).unwrap().len(), 1);
    act(&mut open, &kit, "mass", Act::Mass { off_mould: Some(100.0), finished: None });
    let learnt = learnt_of(&shop.folder(), "a").unwrap();
    assert_eq!(learnt.spoiled(), [1, 2]);
    let then = first.plan().cloths[0].consumed_area;
    let now = open.plan().unwrap().unwrap().plan().cloths[0].consumed_area;
    let (n, [ratio, ..]) = learnt.cloth("twill").unwrap();
    assert!(n == 1 && (ratio - now / then).abs() < 1e-12 && ratio > 1.0, "{ratio}");
}

#[test]
fn a_cloth_without_areal_mass_leaves_the_planned_mass_unknown() {
    let shop = Shop::new();
    fs::write(shop.path("cloths.toml"), LIBRARY.replace("areal_mass", "# areal_mass")).unwrap();
    shop.job("a", &job_text("library = \"twill\""));
    let mut open = shop.open("a");
    let kit = planned(&mut open);
    act(&mut open, &kit, "mass", Act::Mass { off_mould: Some(100.0), finished: None });
    let learnt = learnt_of(&shop.folder(), "a").unwrap();
    assert_eq!((learnt.parts[0].planned, learnt.mass()), ([None; 2], None));
}

/// The state of a kit as builds before the figures were kept wrote it.
#[test]
fn a_kit_of_an_earlier_build_is_read_and_a_broken_one_is_said() {
    let shop = Shop::new();
    let old = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/0.1.0");
    for file in ["job.toml", "plate.csv"] {
        fs::create_dir_all(shop.path("hatch/plan")).unwrap();
        fs::copy(old.join(file), shop.path("hatch").join(file)).unwrap();
    }
    fs::copy(old.join("plan.json"), shop.path("hatch/plan/plan.json")).unwrap();
    fs::create_dir_all(shop.path("hatch/kits/6c715edb6ab6")).unwrap();
    fs::copy(old.join("kit.json"), shop.path("hatch/kits/6c715edb6ab6/kit.json")).unwrap();
    let learnt = learnt_of(&shop.folder(), "hatch").unwrap();
    let part = &learnt.parts[0];
    assert_eq!(
        (part.weighed, part.part.as_str(), part.pieces),
        ([Some(412.5), Some(398.0)], "7", 5)
    );
    assert_eq!(part.planned, [None; 2], "its cloth has no areal mass");
    let mut open = shop.open("hatch");
    let kit = "6c715edb6ab6563df7c3c9122ec451b463086bd4d5a0903079032159a3407827";
    let tick = ActTick {
        key: "key-00000001".into(),
        job: "hatch".into(),
        act: Act::Mass { off_mould: Some(400.0), finished: None },
        despite: true,
    };
    assert_eq!(open.tick(kit, &[BenchTick::Act(tick)], &now()).unwrap(), [Ticked::Saved]);
    let text = fs::read_to_string(shop.path("hatch/kits/6c715edb6ab6/kit.json")).unwrap();
    assert!(
        text.contains("\"schema\": 2") && text.contains("Mara") && text.contains("laid/"),
        "{text}"
    );
    fs::write(shop.path("hatch/kits/6c715edb6ab6/kit.json"), "{\"schema\": 9}").unwrap();
    let learnt = learnt_of(&shop.folder(), "hatch").unwrap();
    assert!(learnt.parts.is_empty() && learnt.unread.to_string().contains("version"));
}

/// Version 1 of a kit's file did not keep what was planned; after a recut nobody knows it.
#[test]
fn what_was_planned_before_a_recut_is_not_made_up_for_a_kit_of_version_1() {
    let shop = Shop::new();
    shop.job("a", &job_text("library = \"twill\""));
    let mut open = shop.open("a");
    let kit = planned(&mut open);
    let first = open.plan().unwrap().unwrap();
    let long = first.plan().pieces.iter().find(|p| p.template == "long").unwrap().piece.clone();
    let tick = PieceTick { key: "spoiled-0001".into(), piece: long, copy: 1, to: TickTo::Spoiled };
    open.tick(&kit, &[BenchTick::Piece(tick)], &now()).unwrap();
    open.recut(&now()).unwrap();
    act(&mut open, &kit, "one", Act::Mass { off_mould: Some(100.0), finished: None });
    assert_eq!(learnt_of(&shop.folder(), "a").unwrap().spoiled(), [1, 2]);
    let dir = fs::read_dir(shop.path("a/kits")).unwrap().next().unwrap().unwrap().path();
    let text = fs::read_to_string(dir.join("kit.json")).unwrap();
    let mut old: serde_json::Value = serde_json::from_str(&text).unwrap();
    old["schema"] = 1.into();
    for key in ["planned", "used"] {
        old.as_object_mut().unwrap().remove(key).unwrap();
    }
    fs::write(dir.join("kit.json"), old.to_string()).unwrap();
    let before = learnt_of(&shop.folder(), "a").unwrap();
    assert_eq!((before.parts[0].spoiled, before.parts[0].pieces), (1, 0));
    assert_eq!(before.spoiled(), [0, 0], "both are counted or neither");
    act(&mut shop.open("a"), &kit, "two", Act::Mass { off_mould: Some(101.0), finished: None });
    let after = learnt_of(&shop.folder(), "a").unwrap();
    assert_eq!((after.parts[0].planned, after.spoiled()), ([None; 2], [0, 0]));
    assert!(after.parts[0].cloth.is_empty() && after.parts[0].weighed[0] == Some(101.0));
}

#[test]
fn a_kit_that_cannot_be_read_takes_none_of_the_others_away() {
    let shop = Shop::new();
    shop.job("a", &job_text("library = \"twill\""));
    lay(&shop, "a", 1.05);
    fs::create_dir_all(shop.path("a/kits/0broken")).unwrap();
    fs::write(shop.path("a/kits/0broken/kit.json"), "{").unwrap();
    let learnt = learnt_of(&shop.folder(), "a").unwrap();
    assert_eq!((learnt.parts.len(), learnt.unread.0.len()), (1, 1));
}

#[test]
fn a_recut_goes_on_with_the_values_its_plan_was_made_with() {
    let shop = Shop::new();
    shop.job("a", &job_text("library = \"twill\""));
    let mut open = shop.open("a");
    let kit = planned(&mut open);
    let first = open.plan().unwrap().unwrap().plan().clone();
    fs::write(shop.path("cloths.toml"), LIBRARY.replace("48.5", "97").replace("= 1000", "= 900"))
        .unwrap();
    let long = first.pieces.iter().find(|p| p.template == "long").unwrap().piece.clone();
    let tick = PieceTick { key: "spoiled-0001".into(), piece: long, copy: 1, to: TickTo::Spoiled };
    open.tick(&kit, &[BenchTick::Piece(tick)], &now()).unwrap();
    open.recut(&now()).unwrap();
    let again = open.plan().unwrap().unwrap().plan().clone();
    assert_eq!(again.materials, first.materials);
    let figures = &again.cloths[0];
    // The seller's price of then, by the metre.
    let cost = figures.used_length / 1000.0 * 48.5;
    assert!(figures.used_length > first.cloths[0].used_length);
    assert!((figures.cost.unwrap() - cost).abs() < 0.01, "{figures:?} {cost}");
    assert_eq!(figures.roll_width, 1000.0);
    let changed = planner::changed_cloths(&again, &loaded(&shop.path("a/job.toml")));
    assert_eq!(changed, [("twill".to_string(), vec!["price".to_string(), "roll_width".into()])]);
}

#[test]
fn the_commands_take_the_library_from_the_jobs_folder_or_the_one_above() {
    let shop = Shop::new();
    shop.job("a", &job_text("library = \"twill\""));
    lay(&shop, "a", 1.05);
    let run = |dir: &Path, args: &[&str]| {
        let mut command = std::process::Command::new(env!("CARGO_BIN_EXE_warpwise"));
        let done = command.args(args).current_dir(dir).output().unwrap();
        let said = [done.stdout, done.stderr].map(|t| String::from_utf8_lossy(&t).into_owned());
        (done.status.code().unwrap(), said.concat())
    };
    for (dir, file) in
        [("a", "job.toml"), ("", "a/job.toml"), ("a", "../a/job.toml"), ("a", "./job.toml")]
    {
        let (code, said) = run(&shop.path(dir), &["check", file]);
        assert!(code == 0 && said.contains("tapes"), "{dir} {file}: {said}");
    }
    let (code, said) = run(&shop.path("a"), &["estimate", "job.toml", "--effort", "1", "--quiet"]);
    assert!(code == 0 && said.contains("Parts before of a: 1; one weighed, +5.0 %"), "{said}");
    let away = tempfile::tempdir().unwrap();
    fs::copy(shop.path("a/job.toml"), away.path().join("job.toml")).unwrap();
    let (code, said) = run(away.path(), &["nest", "job.toml", "--effort", "1", "--out", "plan"]);
    assert!(code == 1 && said.contains("no cloth library here"), "{said}");
    assert!(!away.path().join("plan").exists());
}
