//! What a kit has beside the ledger, in a folder of its own in the job's: how far its lay-up is,
//! its photos and record, the plans that a recut took the place of, and where the plan is of no
//! ledger also which pieces are cut.

use super::folder::write_whole;
use crate::fault::{Fault, Faults, Said};
use crate::geometry::ring_area;
use crate::laminate::{PlannedMass, planned_masses};
use crate::layup::{Progress, When, layup};
use crate::ledger::{PieceState, PieceTick, TickTo};
use crate::plan::{Plan, PlanStock, words};
use crate::units::{quoted, snap};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

/// The folder of kits in the folder of a job.
pub const KITS_FOLDER: &str = "kits";
const FILE: &str = "kit.json";
/// Version of the file; later ones are not read. Version 1 did not keep what was planned.
const SCHEMA: u32 = 2;
/// Largest file that is read, bytes.
const LARGEST: u64 = 64 << 20;

/// A copy that is cut by a plan of no ledger: its states, the last one last, each with the plan it
/// was ticked by.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct OwnPiece {
    pub piece: String,
    pub copy: u32,
    pub states: Vec<(PieceState, String)>,
}

/// A copy that was cut again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct CutAgain {
    /// Seconds since 1970.
    pub at: i64,
    /// The piece by its number and id.
    pub piece: String,
    /// What it is cut from.
    pub from: String,
    /// The plan that cuts it again.
    #[serde(default)]
    pub plan: String,
}

/// What a kit was planned to take, kept when its work begins: the plan may be made anew later.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Planned {
    /// What the parts of each job are to weigh.
    pub masses: Vec<PlannedMass>,
    /// Cloth, mm², by its id.
    pub cloth: Vec<(String, f64)>,
    /// Pieces to cut, copies counted.
    pub pieces: usize,
}

impl Planned {
    /// What a plan says.
    pub fn of(plan: &Plan) -> Planned {
        Planned {
            masses: planned_masses(plan),
            cloth: consumed(plan, &[]),
            pieces: plan.stocks.iter().map(|s| s.placed.len()).sum(),
        }
    }
}

/// The cloth that was opened for a plan in all, mm², by its id: of what was cut to the end before a
/// recut as well, which the plan's figures leave out. Offcuts that the kit itself left over, `own`,
/// are counted with what they were cut off.
pub(super) fn consumed(plan: &Plan, own: &[String]) -> Vec<(String, f64)> {
    let area =
        |s: &PlanStock| ring_area(&s.outline) + s.holes.iter().map(|h| ring_area(h)).sum::<f64>();
    let is_own = |s: &PlanStock| own.iter().any(|o| o == words::in_stock(&s.id));
    let of =
        |cloth: &str| plan.stocks.iter().filter(|s| s.cloth == cloth && !is_own(s)).map(area).sum();
    plan.cloths.iter().map(|c| (c.cloth.clone(), snap(of(&c.cloth)))).collect()
}

/// A kit.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(super) struct Kit {
    schema: u32,
    /// Id of its first plan.
    pub kit: String,
    /// Ids of its plans, where these do not say so themselves.
    #[serde(default)]
    pub plans: Vec<String>,
    #[serde(default)]
    pub cut: Vec<OwnPiece>,
    #[serde(default)]
    pub cut_again: Vec<CutAgain>,
    /// Keys of ticks that are counted here.
    #[serde(default)]
    pub keys: BTreeSet<String>,
    #[serde(default)]
    pub lay_up: Vec<Progress>,
    /// Whether no step of the lay-up was open when it was last kept: lists of jobs need no plan for
    /// it. Files of before do not say.
    #[serde(default)]
    pub laid: Option<bool>,
    #[serde(default)]
    pub planned: Option<Planned>,
    /// Cloth that it takes by now, where pieces were cut again; as planned if there is none.
    #[serde(default)]
    pub used: Vec<(String, f64)>,
}

impl Kit {
    /// The kit that a plan is of; a new one if there is none.
    ///
    /// # Errors
    /// Its file cannot be read, or is of a later version.
    pub fn of(job_dir: &Path, plan: &Plan) -> Result<Kit, Faults> {
        let named = plan.drawn_from.as_ref().and_then(|d| d.kit.as_deref());
        let id = named.unwrap_or(&plan.id);
        if let Some(kit) = read(&folder(job_dir, id).join(FILE))? {
            return Ok(kit);
        }
        // A plan of no ledger does not say which kit it goes on with.
        for folder in folders(job_dir)? {
            if let Some(kit) = read(&folder.join(FILE))?
                && kit.plans.contains(&plan.id)
            {
                return Ok(kit);
            }
        }
        Ok(Kit {
            schema: SCHEMA,
            kit: id.to_string(),
            plans: Vec::new(),
            cut: Vec::new(),
            cut_again: Vec::new(),
            keys: BTreeSet::new(),
            lay_up: Vec::new(),
            laid: None,
            planned: None,
            used: Vec::new(),
        })
    }

    /// All kits of a job that can be read, and what is wrong with the others.
    pub fn all(job_dir: &Path) -> (Vec<Kit>, Faults) {
        let mut all = Vec::new();
        let mut faults = Faults::new();
        for folder in faults.keep(folders(job_dir)).into_iter().flatten() {
            all.extend(faults.keep(read(&folder.join(FILE))).flatten());
        }
        all.sort_by(|a, b| a.kit.cmp(&b.kit));
        (all, faults)
    }

    /// Keeps what it was planned to take, before anything is done otherwise. The plan of a recut
    /// does not say what was planned: where version 1 of the file did not keep that, it is not known.
    pub fn is_planned(&mut self, plan: &Plan) {
        if self.planned.is_none() && self.cut_again.is_empty() {
            self.planned = Some(Planned::of(plan));
        }
    }

    /// Whether a plan is of it.
    pub fn has(&self, plan: &str) -> bool {
        self.plans.iter().any(|p| p == plan)
    }

    /// Whether the record of a part of it is written.
    pub fn has_record(&self, job_dir: &Path) -> bool {
        let mut files = std::fs::read_dir(self.folder(job_dir)).into_iter().flatten().flatten();
        files.any(|e| e.file_name().to_string_lossy().starts_with("record"))
    }

    /// Its folder.
    pub fn folder(&self, job_dir: &Path) -> PathBuf {
        folder(job_dir, &self.kit)
    }

    /// Its file.
    pub fn file(&self, job_dir: &Path) -> PathBuf {
        self.folder(job_dir).join(FILE)
    }

    /// Writes it, whole or not at all.
    ///
    /// # Errors
    /// The machine's.
    pub fn save(&self, job_dir: &Path) -> Result<(), Faults> {
        let text = serde_json::to_string_pretty(self).unwrap_or_default();
        self.keep(job_dir, FILE, format!("{text}\n").as_bytes())
    }

    /// Writes a file into its folder.
    ///
    /// # Errors
    /// The machine's.
    pub fn keep(&self, job_dir: &Path, name: &str, bytes: &[u8]) -> Result<(), Faults> {
        let folder = self.folder(job_dir);
        std::fs::create_dir_all(&folder).map_err(|e| {
            let what = said!("it cannot be made: {e}");
            Faults::from(Fault::new(what, "check space and permissions").in_file(&folder))
        })?;
        write_whole(&folder.join(name), bytes)
    }

    /// Under which name a plan of it is kept.
    pub fn plan_file(&self, job_dir: &Path, id: &str) -> PathBuf {
        self.folder(job_dir).join(plan_name(id))
    }

    /// How far the lay-up of a job is.
    pub fn progress(&self, job: &str) -> Progress {
        let found = self.lay_up.iter().find(|p| p.job == job).cloned();
        found.unwrap_or_else(|| Progress { job: job.to_string(), ..Progress::default() })
    }

    /// Whether no step of any lay-up is open, as its ticks say.
    pub fn is_laid(&self, plan: &Plan) -> bool {
        layup(plan, &When::default()).iter().all(|sheet| {
            let progress = self.progress(&sheet.job);
            (0..sheet.steps.len()).all(|step| progress.is_done(sheet, step))
        })
    }

    /// Puts it in the place of what was.
    pub fn set_progress(&mut self, progress: Progress) {
        match self.lay_up.iter_mut().find(|p| p.job == progress.job) {
            Some(known) => *known = progress,
            None => self.lay_up.push(progress),
        }
    }

    /// Counts a tick, by the rules that the ledger has.
    pub fn tick(&mut self, plan: &str, tick: &PieceTick) {
        let known = self.cut.iter().position(|p| p.piece == tick.piece && p.copy == tick.copy);
        let at = known.unwrap_or_else(|| {
            let piece = tick.piece.clone();
            self.cut.push(OwnPiece { piece, copy: tick.copy, states: Vec::new() });
            self.cut.len() - 1
        });
        let states = &mut self.cut[at].states;
        let again =
            |(state, by): &(PieceState, String)| *state == PieceState::Spoiled && by != plan;
        let to_cut = states.last().is_none_or(again);
        let new = match tick.to {
            TickTo::Back => {
                states.pop();
                None
            }
            TickTo::Cut => Some(PieceState::Cut),
            TickTo::Laid => {
                if to_cut {
                    states.push((PieceState::Cut, plan.to_string()));
                }
                Some(PieceState::Laid)
            }
            TickTo::Spoiled => Some(PieceState::Spoiled),
        };
        if let Some(new) = new
            && (to_cut || states.last().is_none_or(|s| s.0 != new))
        {
            // From laid to cut is a step back.
            if new == PieceState::Cut && !to_cut {
                states.pop();
            }
            if states.last().is_none_or(|s| s.0 != new || to_cut) {
                states.push((new, plan.to_string()));
            }
        }
        self.cut.retain(|p| !p.states.is_empty());
    }
}

/// The name of the file that a plan of a kit is kept in.
pub(super) fn plan_name(id: &str) -> String {
    format!("plan-{}.json", short(id))
}

fn short(id: &str) -> String {
    id.chars().filter(char::is_ascii_alphanumeric).take(12).collect()
}

fn folder(job_dir: &Path, id: &str) -> PathBuf {
    job_dir.join(KITS_FOLDER).join(short(id))
}

/// The folders of a job's kits; none before there is one.
fn folders(job_dir: &Path) -> Result<Vec<PathBuf>, Faults> {
    let dir = job_dir.join(KITS_FOLDER);
    let all = match std::fs::read_dir(&dir) {
        Err(e) if e.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        all => all.and_then(|all| all.map(|e| Ok(e?.path())).collect::<Result<_, _>>()),
    };
    all.map_err(|e| {
        let what = said!("the kits of the job cannot be read: {e}");
        Fault::new(what, "check that it is a folder, and its permissions").in_file(&dir).into()
    })
}

fn read(file: &Path) -> Result<Option<Kit>, Faults> {
    let trouble = |what: Said| {
        let remedy = "mend it, or move it away: then the lay-up begins anew";
        Faults::from(Fault::new(what, remedy).in_file(file))
    };
    let about = match std::fs::metadata(file) {
        Ok(about) => about,
        // A file beside the folders of kits holds none.
        Err(e) if matches!(e.kind(), ErrorKind::NotFound | ErrorKind::NotADirectory) => {
            return Ok(None);
        }
        Err(e) => return Err(trouble(said!("the state of the kit cannot be read: {e}"))),
    };
    if !about.is_file() || about.len() > LARGEST {
        return Err(trouble(
            "this is no state of a kit: not an ordinary file, or too large".into(),
        ));
    }
    let text = std::fs::read_to_string(file)
        .map_err(|e| trouble(said!("the state of the kit cannot be read: {e}")))?;
    let value: serde_json::Value = serde_json::from_str(&text)
        .map_err(|e| trouble(said!("the state of the kit cannot be read: {e}")))?;
    let schema = value["schema"].as_u64().unwrap_or(0);
    if !(1..=u64::from(SCHEMA)).contains(&schema) {
        let what = said!(
            "it is of version {}, and this program knows {SCHEMA}",
            quoted(&schema.to_string())
        );
        return Err(trouble(what));
    }
    serde_json::from_value::<Kit>(value)
        .map(|kit| Some(Kit { schema: SCHEMA, ..kit }))
        .map_err(|e| trouble(said!("the state of the kit cannot be read: {e}")))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn plan(id: &str) -> Plan {
        Plan { id: id.into(), ..crate::planner::unplaced(&[], 1) }
    }

    fn tick(to: TickTo) -> PieceTick {
        PieceTick { key: "key-00000001".into(), piece: "a".into(), copy: 1, to }
    }

    #[test]
    fn a_kit_is_found_again_by_every_plan_of_it() {
        let home = tempfile::tempdir().unwrap();
        let mut kit = Kit::of(home.path(), &plan("first")).unwrap();
        assert!(!kit.file(home.path()).exists(), "looking writes nothing");
        kit.plans = vec!["first".into(), "second".into()];
        kit.save(home.path()).unwrap();
        assert_eq!(Kit::of(home.path(), &plan("second")).unwrap(), kit);
        assert_ne!(Kit::of(home.path(), &plan("third")).unwrap().kit, "first");
    }

    #[test]
    fn a_later_version_or_a_broken_file_is_said_and_not_written_over() {
        let home = tempfile::tempdir().unwrap();
        let kit = Kit::of(home.path(), &plan("first")).unwrap();
        kit.save(home.path()).unwrap();
        let file = kit.file(home.path());
        for (text, said) in
            [("{\"schema\": 3}", "version"), ("{", "cannot be read"), ("{}", "version")]
        {
            std::fs::write(&file, text).unwrap();
            let faults = Kit::of(home.path(), &plan("first")).unwrap_err();
            assert!(faults.to_string().contains(said), "{faults}");
        }
        // A file of this version with nothing but its name is read.
        std::fs::write(&file, "{\"schema\": 1, \"kit\": \"first\"}").unwrap();
        assert_eq!(Kit::of(home.path(), &plan("first")).unwrap(), kit);
    }

    /// An offcut that was cut to the end before a recut was no cloth of the kit.
    #[test]
    fn what_was_cut_to_the_end_before_a_recut_counts_as_cloth_of_the_kit() {
        let text = include_str!("../../tests/data/0.1.0/plan.json");
        let mut plan = crate::plan::from_json(text).unwrap();
        let whole: Vec<f64> = plan.cloths.iter().map(|c| c.consumed_area).collect();
        // As a recut leaves it: the stock is named as cut, and the figures are of the others.
        for stock in &mut plan.stocks {
            stock.id = format!("{} cut by 12345678", stock.id);
        }
        plan.cloths.iter_mut().for_each(|c| c.consumed_area = 0.0);
        let counted: Vec<f64> = consumed(&plan, &[]).into_iter().map(|c| c.1).collect();
        assert_eq!(counted, whole);
        assert!(!whole.is_empty() && whole.iter().all(|area| *area > 0.0));
        // A recut opened what the kit itself had left over: no new cloth.
        let mut own = plan.stocks[0].clone();
        own.id = "off-7".into();
        plan.stocks.push(own.clone());
        own.id = "off-8 cut by 12345678".into();
        plan.stocks.push(own);
        let own = ["off-7", "off-8"].map(String::from);
        let counted: Vec<f64> = consumed(&plan, &own).into_iter().map(|c| c.1).collect();
        assert_eq!(counted, whole);
    }

    /// A link that leads round in a circle is there and cannot be looked at: that is no "no kit",
    /// over which a new one would be written.
    #[cfg(unix)]
    #[test]
    fn a_kit_that_cannot_be_looked_at_is_not_taken_for_none() {
        let home = tempfile::tempdir().unwrap();
        let kit = Kit::of(home.path(), &plan("first")).unwrap();
        let folder = kit.folder(home.path());
        std::fs::create_dir_all(folder.parent().unwrap()).unwrap();
        std::fs::write(folder.parent().unwrap().join("notes.txt"), "mine").unwrap();
        assert!(Kit::of(home.path(), &plan("first")).is_ok());
        std::os::unix::fs::symlink(&folder, &folder).unwrap();
        let faults = Kit::of(home.path(), &plan("first")).unwrap_err();
        assert!(faults.to_string().contains("cannot be read"), "{faults}");
        assert!(!Kit::all(home.path()).1.is_empty());
        let other = tempfile::tempdir().unwrap();
        std::fs::write(other.path().join(KITS_FOLDER), "no folder").unwrap();
        assert!(Kit::of(other.path(), &plan("first")).is_err());
    }

    /// As `tests/at_bench.rs` has it of the ledger.
    #[test]
    fn pieces_without_a_ledger_go_the_same_way() {
        let mut kit = Kit::of(Path::new("nowhere"), &plan("first")).unwrap();
        let mut go = |plan: &str, to: TickTo| {
            kit.tick(plan, &tick(to));
            kit.cut.first().and_then(|p| p.states.last()).map(|s| s.0)
        };
        use PieceState::{Cut, Laid, Spoiled};
        assert_eq!([go("1", TickTo::Spoiled), go("1", TickTo::Back)], [Some(Spoiled), None]);
        assert_eq!([go("1", TickTo::Cut), go("1", TickTo::Spoiled)], [Some(Cut), Some(Spoiled)]);
        assert_eq!([go("1", TickTo::Back), go("1", TickTo::Laid)], [Some(Cut), Some(Laid)]);
        assert_eq!([go("1", TickTo::Back), go("1", TickTo::Back)], [Some(Cut), None]);
        assert_eq!([go("1", TickTo::Laid), go("1", TickTo::Cut)], [Some(Laid), Some(Cut)]);
        assert_eq!([go("1", TickTo::Spoiled), go("2", TickTo::Cut)], [Some(Spoiled), Some(Cut)]);
        assert_eq!([go("2", TickTo::Back), go("2", TickTo::Back)], [Some(Spoiled), Some(Cut)]);
    }
}
