//! Workshop life, day by day: rolls and offcuts come in, jobs are planned and booked whole or in
//! part, pieces are spoiled and cut again, changes are taken back, the clock jumps, the ledger is
//! closed and opened. After every step the books must balance; the whole file is looked through
//! now and then, for that takes longer the longer the history is.
//!
//! `WARPWISE_SOAK_DAYS=1300 cargo test --release --test soak -- --nocapture` lives five years of
//! working days; `WARPWISE_SOAK_SEED=2` another life.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use rand_pcg::Pcg64Mcg;
use rand_pcg::rand_core::{Rng, SeedableRng};
use sha2::{Digest, Sha256};
use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::PathBuf;
use warpwise::cloth::Face;
use warpwise::geometry::{Ring, point, ring_area};
use warpwise::ledger::{FreezerMove, Kept, Ledger, Moment, PieceState, Record, Trouble};
use warpwise::planner::{self, Earlier, Refusal};
use warpwise::run::{Run, Stop};
use warpwise::stock::{Age, Consumable, ConsumableKind, Day, OffcutFacts, RollFacts};
use warpwise::verify::Verified;

const CLOTHS: [(&str, f64); 2] = [("twill", 1250.0), ("glass", 900.0)];
const KINDS: [&str; 5] = ["roll", "offcut", "consumable", "piece", "plan"];
/// What corners rounded to the grid may move of the area of one layout, mm²: some metres of cut by
/// a micrometre.
const ROUNDING: f64 = 100.0;

fn number(name: &str, default: u64) -> u64 {
    std::env::var(name).ok().and_then(|n| n.parse().ok()).unwrap_or(default)
}

/// Steps from one look through the whole file to the next.
const WHOLE: u32 = 25;

/// A plan of which something is still to cut, or was cut.
struct Kit {
    plan: Verified,
    to_cut: Vec<String>,
}

struct Shop {
    dir: tempfile::TempDir,
    file: PathBuf,
    ledger: Ledger,
    dice: Pcg64Mcg,
    day: u32,
    /// Hash of everything as it was before each change that can be taken back.
    past: Vec<String>,
    steps: u32,
    kits: Vec<Kit>,
    /// Cloth and parent of every offcut there ever was.
    born: BTreeMap<String, (String, Option<String>)>,
    /// Names of all rolls and offcuts there ever were.
    known: BTreeSet<String>,
    /// How often each thing was done.
    done: BTreeMap<&'static str, u32>,
    /// Hashes of the records read last, by what they are: most are the same the next time.
    hashes: RefCell<BTreeMap<String, (Record, [u8; 32])>>,
}

/// Area of rolls and offcuts by cloth, mm².
type Areas = BTreeMap<String, f64>;

fn ring_sum(outline: &Ring, holes: &[Ring]) -> f64 {
    ring_area(outline).abs() - holes.iter().map(|h| ring_area(h).abs()).sum::<f64>()
}

fn areas(records: &[Record]) -> Areas {
    let mut areas: Areas = CLOTHS.iter().map(|c| (c.0.to_string(), 0.0)).collect();
    for record in records {
        match record {
            Record::Roll(r) => {
                *areas.get_mut(&r.facts.cloth).unwrap() += r.facts.length.unwrap() * r.facts.width
            }
            Record::Offcut(o) => {
                *areas.get_mut(&o.facts.cloth).unwrap() +=
                    ring_sum(&o.facts.outline, &o.facts.holes)
            }
            _ => {}
        }
    }
    areas
}

impl Shop {
    fn new(seed: u64) -> Shop {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("stock.sqlite");
        let ledger = Ledger::write(&file).unwrap();
        Shop {
            dir,
            file,
            ledger,
            dice: Pcg64Mcg::seed_from_u64(seed),
            day: 0,
            past: Vec::new(),
            steps: 0,
            kits: Vec::new(),
            born: BTreeMap::new(),
            known: BTreeSet::new(),
            done: BTreeMap::new(),
            hashes: RefCell::default(),
        }
    }

    fn below(&mut self, n: usize) -> usize {
        (self.dice.next_u64() % n.max(1) as u64) as usize
    }

    fn between(&mut self, low: u32, high: u32) -> f64 {
        f64::from(low) + self.below((high - low) as usize) as f64
    }

    /// The clock: now and then it stands years wrong.
    fn now(&mut self) -> Moment {
        let begin = Day::parse("2026-11-25").unwrap();
        let hour = self.below(10) as i64;
        let right = 1_795_608_000 + i64::from(self.day) * 86_400 + hour * 3600;
        let (seconds, day) = match self.below(400) {
            0 => (315_532_800, "1980-01-01".to_string().try_into().unwrap()),
            1 => (253_402_207_200, "9999-12-30".to_string().try_into().unwrap()),
            2 => (right + 400_000_000, begin.plus_days(self.day + 4629)),
            3 => (right - 86_400, begin.plus_days(self.day.max(1) - 1)),
            _ => return Moment { seconds: right, day: begin.plus_days(self.day) },
        };
        *self.done.entry("the clock jumped").or_default() += 1;
        Moment { seconds, day }
    }

    /// Hash of all records, in whatever order.
    fn digest(&self, records: &[Record]) -> String {
        let mut known = self.hashes.borrow_mut();
        let mut all = Sha256::new();
        let mut hashed = BTreeMap::new();
        for record in records {
            let hash = match known.remove(&record.id()) {
                Some((same, hash)) if same == *record => hash,
                _ => Sha256::digest(serde_json::to_string(record).unwrap()).into(),
            };
            hashed.insert(record.id(), (record.clone(), hash));
        }
        hashed.values().for_each(|(_, hash)| all.update(hash));
        *known = hashed;
        format!("{:x?}", all.finalize())
    }

    fn records(&self) -> Vec<Record> {
        KINDS.iter().flat_map(|kind| self.ledger.records(kind).unwrap()).collect()
    }

    /// A change that must succeed: the books before it are kept, and after it the cloths have so
    /// much more or less.
    fn changed(&mut self, what: &'static str, before: Vec<Record>, by: &Areas) {
        self.past.push(self.digest(&before));
        let (before, records) = (areas(&before), self.records());
        let after = areas(&records);
        for (cloth, area) in &before {
            let wanted = area + by.get(cloth).copied().unwrap_or(0.0);
            assert!(
                (after[cloth] - wanted).abs() < 1.0,
                "{what}: {cloth} has {} mm², not {wanted}",
                after[cloth]
            );
        }
        self.sound(what, records);
    }

    /// What must hold after every step.
    fn sound(&mut self, what: &'static str, records: Vec<Record>) {
        *self.done.entry(what).or_default() += 1;
        self.steps += 1;
        if self.steps.is_multiple_of(WHOLE) {
            self.ledger.check().unwrap_or_else(|t| panic!("{what}: {t:?}"));
        }
        let snapshot = self.now();
        let snapshot = self.ledger.snapshot(&snapshot).unwrap_or_else(|t| panic!("{what}: {t:?}"));
        let (rows, counts) = self.ledger.list(None).unwrap();
        assert_eq!(
            (rows.len(), counts.offcuts, counts.rolls),
            (
                snapshot.rolls.len() + snapshot.offcuts.len(),
                snapshot.offcuts.len(),
                snapshot.rolls.len()
            )
        );
        let of_rows: f64 = rows.iter().filter_map(|r| r.area).sum();
        let whole: f64 = areas(&records).values().sum();
        assert!((of_rows - whole).abs() < 1.0, "{what}: the list says {of_rows}, not {whole}");
        let mut parents = BTreeSet::new();
        for record in &records {
            self.known.insert(record.id());
            match record {
                Record::Roll(Kept { facts, .. }) => {
                    assert!(
                        facts.length.unwrap() >= 0.0 && facts.age.out_hours >= 0.0,
                        "{facts:?}"
                    );
                }
                Record::Offcut(Kept { facts, .. }) => {
                    assert!(ring_sum(&facts.outline, &facts.holes) > 0.0, "{facts:?}");
                    assert!(facts.age.out_hours >= 0.0, "{facts:?}");
                    let source = (facts.cloth.clone(), facts.parent.clone());
                    let born = self.born.entry(facts.id.clone()).or_insert_with(|| source.clone());
                    assert_eq!(*born, source, "{what}: {} is another than it was", facts.id);
                    if let Some(parent) = &facts.parent {
                        assert!(parents.insert(parent.clone()), "{what}: two offcuts are {parent}");
                        let of = parent.split(',').next().unwrap();
                        assert!(self.known.contains(of), "{what}: nobody knows {of}");
                    }
                }
                Record::Piece(p) => assert!(self.known.contains(&p.stock), "{what}: {p:?}"),
                _ => {}
            }
        }
    }

    /// A refusal changes nothing.
    fn refused(&mut self, what: &'static str, before: &[Record], entries: usize, why: Trouble) {
        assert!(matches!(why, Trouble::Input(_)), "{what}: {why:?}");
        assert_eq!(self.records(), before, "{what} left something: {why:?}");
        assert_eq!(self.entries(), entries, "{what}");
        *self.done.entry("refused").or_default() += 1;
    }

    fn entries(&self) -> usize {
        self.ledger.history(1).unwrap().first().map_or(0, |e| e.number as usize)
    }

    fn roll(&mut self) {
        let (cloth, width) = CLOTHS[self.below(2)];
        let (length, before, now) = (self.between(3_000, 30_000), self.records(), self.now());
        let facts = RollFacts {
            id: String::new(),
            cloth: cloth.into(),
            width,
            length: Some(length),
            flaws: Vec::new(),
            batch: Some(format!("B{}", self.day)),
            age: Age {
                expiry: Some(Day::parse("2026-11-25").unwrap().plus_days(self.day + 400)),
                out_life_hours: Some(2_000.0),
                ..Age::default()
            },
            place: None,
            added: now.day,
            revision: 0,
        };
        let out = self.below(3) == 0;
        self.ledger.add_roll(facts, out, true, &now).unwrap();
        self.changed("a roll came", before, &Areas::from([(cloth.into(), length * width)]));
    }

    fn offcuts(&mut self) {
        let (cloth, _) = CLOTHS[self.below(2)];
        let (before, now) = (self.records(), self.now());
        let count = 1 + self.below(3);
        let mut area = 0.0;
        let facts = (0..count).map(|_| {
            let (w, h) = (self.between(80, 700), self.between(80, 500));
            // A corner is gone.
            area += w * h - 30.0 * 20.0 / 2.0;
            OffcutFacts {
                id: String::new(),
                cloth: cloth.into(),
                outline: vec![
                    point(0.0, 0.0),
                    point(w, 0.0),
                    point(w, h - 20.0),
                    point(w - 30.0, h),
                    point(0.0, h),
                ],
                holes: Vec::new(),
                flaws: Vec::new(),
                face: if self.dice.next_u64().is_multiple_of(2) { Face::Up } else { Face::Down },
                batch: None,
                age: Age::default(),
                place: Some("box 3".into()),
                added: now.day,
                parent: None,
                revision: 0,
            }
        });
        let facts = facts.collect();
        self.ledger.add_offcuts(facts, false, true, &now).unwrap();
        self.changed("offcuts came", before, &Areas::from([(cloth.into(), area)]));
    }

    fn consumable(&mut self) {
        let (before, now) = (self.records(), self.now());
        let wax = Consumable {
            id: String::new(),
            kind: ConsumableKind::ReleaseAgent,
            name: "wax".into(),
            expiry: None,
            opened: None,
            days_after_opening: Some(90),
            place: None,
        };
        self.ledger.add_consumable(wax, &now).unwrap();
        self.changed("wax came", before, &Areas::new());
    }

    /// Names of rolls and offcuts.
    fn stock(&self) -> Vec<String> {
        self.ledger.list(None).unwrap().0.into_iter().map(|r| r.id).collect()
    }

    fn remove(&mut self) {
        let names = self.stock();
        if names.is_empty() {
            return;
        }
        let id = names[self.below(names.len())].clone();
        let (before, now) = (self.records(), self.now());
        let gone: Vec<Record> = before.iter().filter(|r| r.id() == id).cloned().collect();
        self.ledger.remove(&[id], &now).unwrap();
        let gone = areas(&gone).into_iter().map(|(cloth, area)| (cloth, -area)).collect();
        self.changed("something was thrown away", before, &gone);
    }

    fn freezer(&mut self) {
        let names = self.stock();
        if names.is_empty() {
            return;
        }
        let id = [names[self.below(names.len())].clone()];
        let way = if self.below(2) == 0 { FreezerMove::Out } else { FreezerMove::In };
        let (before, entries, now) = (self.records(), self.entries(), self.now());
        match self.ledger.freezer(&id, way, &now) {
            Ok(()) => self.changed("in or out of the freezer", before, &Areas::new()),
            Err(why) => self.refused("freezer", &before, entries, why),
        }
    }

    fn measure(&mut self) {
        let rolls: Vec<Record> = self.ledger.records("roll").unwrap();
        if rolls.is_empty() {
            return;
        }
        let Record::Roll(roll) = &rolls[self.below(rolls.len())] else { panic!("a roll") };
        let (id, length) = (roll.facts.id.clone(), roll.facts.length.unwrap());
        let new = (length - self.between(0, 200)).max(0.0);
        let (before, now) = (self.records(), self.now());
        let edit = |r: &mut Record| {
            if let Record::Roll(r) = r {
                r.facts.length = Some(new)
            }
        };
        self.ledger.edit(&id, "measured", &now, edit).unwrap();
        let by = Areas::from([(roll.facts.cloth.clone(), (new - length) * roll.facts.width)]);
        self.changed("a roll was measured", before, &by);
    }

    /// A job of a few strips and what it plans to.
    fn plan(&mut self) {
        let mut text = String::from("[job]\nname = \"tapes\"\n[cutting]\ngap = 4\n");
        for (cloth, width) in CLOTHS {
            text += &format!(
                "[[cloth]]\nid = \"{cloth}\"\nweave = \"plain\"\nup = \"paper\"\nroll_width = {width}\nselvedge = 10\n"
            );
        }
        for k in 0..2 + self.below(3) {
            let (l, w) = (self.between(60, 800), self.between(40, 300));
            let (cloth, angle) = (CLOTHS[self.below(2)].0, [0, 45, 90][self.below(3)]);
            let copies = 1 + self.below(3);
            text += &format!(
                "[[strip]]\nid = \"s{k}\"\nlength = {l}\nwidth = {w}\n[[layer]]\ncloth = \"{cloth}\"\nangle = {angle}\ntemplates = [{{ template = \"s{k}\", copies = {copies} }}]\n"
            );
        }
        let job = self.dir.path().join("job.toml");
        fs::write(&job, text).unwrap();
        let (job, _) = warpwise::job::load(&job).unwrap_or_else(|f| panic!("{f}"));
        self.plan_and_book(&[job], &Earlier::default());
    }

    fn plan_and_book(&mut self, jobs: &[warpwise::job::Job], earlier: &Earlier) {
        let now = self.now();
        let stock = self.ledger.snapshot(&now).unwrap();
        let effort = u32::from(self.below(4) == 0);
        let run = Run::new(Stop::Effort(effort)).with_threads(1).with_seed(self.dice.next_u64());
        let plan = match planner::go_on(jobs, &stock, earlier, 1, &run) {
            Ok(plan) => plan,
            Err(Refusal::NotVerified(why)) => panic!("{why}"),
            Err(Refusal::Stopped(why)) => panic!("{why}"),
            Err(Refusal::Input(_) | Refusal::NotPlaced(_)) => {
                *self.done.entry("no cloth for a job").or_default() += 1;
                return;
            }
        };
        let before_cut: BTreeSet<String> =
            plan.plan().drawn_from.iter().flat_map(|d| d.cut_before.iter().cloned()).collect();
        let mut to_cut: Vec<String> = plan
            .plan()
            .stocks
            .iter()
            .filter(|s| !before_cut.contains(&s.id))
            .flat_map(|s| s.placed.iter().map(|p| format!("{}#{}", p.piece, p.copy)))
            .collect();
        if self.below(2) == 0 {
            to_cut.sort_by_key(|name| name.len() * 7 % 5);
        }
        self.kits.push(Kit { plan, to_cut });
        if self.kits.len() > 12 {
            self.kits.remove(0);
        }
        let last = self.kits.len() - 1;
        self.book(last);
    }

    /// Books a kit, whole or in part.
    fn book(&mut self, kit: usize) {
        let whole = self.below(3) > 0;
        let kit = &self.kits[kit];
        let (plan, to_cut) = (kit.plan.clone(), kit.to_cut.clone());
        let names: Vec<String> = if whole || to_cut.len() < 2 {
            Vec::new()
        } else {
            let count = 1 + self.below(to_cut.len() - 1);
            to_cut[..count].to_vec()
        };
        let (before, now) = (self.records(), self.now());
        let history = self.entries();
        let booked = match self.ledger.book(&plan, &names, &now) {
            Ok(booked) => booked,
            Err(why) => return self.refused("booking", &before, history, why),
        };
        let facts = |id: &str| before.iter().find(|r| r.id() == id).unwrap().clone();
        // What leaves: the cloth of stocks that are cut to the end; what comes in: their left-overs.
        let mut by = Areas::new();
        let mut finished: BTreeSet<String> = booked.used_up.iter().cloned().collect();
        for (id, used, left) in &booked.shortened {
            let Record::Roll(r) = facts(id) else { panic!("{id}") };
            assert!((r.facts.length.unwrap() - used - left.unwrap()).abs() < 1e-6);
            *by.entry(r.facts.cloth.clone()).or_default() -= used * r.facts.width;
            finished.insert(id.clone());
        }
        for id in &booked.used_up {
            let Record::Offcut(o) = facts(id) else { panic!("{id}") };
            *by.entry(o.facts.cloth.clone()).or_default() -=
                ring_sum(&o.facts.outline, &o.facts.holes);
        }
        for added in &booked.added {
            *by.entry(added.cloth.clone()).or_default() += ring_sum(&added.outline, &added.holes);
        }
        // The plan said the same: each offcut that it keeps of these came in, as large as it said.
        let kept: Vec<_> = plan
            .plan()
            .stocks
            .iter()
            .filter(|s| finished.contains(&s.id))
            .flat_map(|s| &s.offcuts)
            .collect();
        assert_eq!(kept.len(), booked.added.len(), "an offcut was let go");
        let said: f64 = kept.iter().map(|o| o.area).sum();
        let came: f64 = booked.added.iter().map(|o| ring_sum(&o.outline, &o.holes)).sum();
        assert!((said - came).abs() < 1.0, "{said} mm² of offcuts were planned, {came} came in");
        // Pieces and offcuts are no more than the cloth they are of.
        let gone: f64 = by.values().sum();
        let pieces: f64 = plan
            .plan()
            .stocks
            .iter()
            .filter(|s| finished.contains(&s.id))
            .flat_map(|s| &s.placed)
            .map(|p| ring_sum(&p.outline, &p.holes))
            .sum();
        assert!(pieces <= ROUNDING - gone, "{pieces} mm² were cut of {}", -gone);
        self.changed("a plan was booked", before, &by);
        let cut: Vec<_> = self.ledger.pieces_of(plan.plan()).unwrap();
        let still = |name: &String| !cut.iter().any(|p| format!("{}#{}", p.piece, p.copy) == *name);
        for kit in &mut self.kits {
            if kit.plan.plan().id == plan.plan().id {
                kit.to_cut.retain(still);
            }
        }
    }

    /// Something of a kit is laid or spoiled; what is spoiled may be planned again.
    fn mark(&mut self) {
        if self.kits.is_empty() {
            return;
        }
        let k = self.below(self.kits.len());
        let plan = self.kits[k].plan.clone();
        let cut = self.ledger.pieces_of(plan.plan()).unwrap();
        if cut.is_empty() {
            return self.book(k);
        }
        let one = &cut[self.below(cut.len())];
        let name = [format!("{}#{}", one.piece, one.copy)];
        let state = if self.below(2) == 0 { PieceState::Spoiled } else { PieceState::Laid };
        let (before, now) = (self.records(), self.now());
        let history = self.entries();
        match self.ledger.mark(&plan, &name, state, &now) {
            Ok(1) => self.changed("a piece was marked", before, &Areas::new()),
            Ok(n) => panic!("{n} pieces were marked"),
            Err(why) => self.refused("marking", &before, history, why),
        }
    }

    /// What was spoiled of a kit is cut again.
    fn go_on(&mut self) {
        if self.kits.is_empty() {
            return;
        }
        let k = self.below(self.kits.len());
        let plan = self.kits[k].plan.clone();
        let states = self.ledger.pieces_of(plan.plan()).unwrap();
        let state = |piece: &str, copy: u32| {
            states.iter().find(|s| s.piece == piece && s.copy == copy).map(|s| s.state)
        };
        if !states.iter().any(|s| s.state == PieceState::Spoiled) {
            return;
        }
        let earlier = Earlier::of(
            plan.plan(),
            &|p, c| matches!(state(p, c), Some(PieceState::Cut | PieceState::Laid)),
            &|p, c| state(p, c) == Some(PieceState::Spoiled),
        );
        // The job of that kit, if it is still the one on disk.
        let (job, _) = warpwise::job::load(&self.dir.path().join("job.toml")).unwrap();
        if self.kits.last().unwrap().plan.plan().id != plan.plan().id {
            return;
        }
        self.plan_and_book(&[job], &earlier);
        *self.done.entry("a kit went on").or_default() += 1;
    }

    fn undo(&mut self) {
        let now = self.now();
        let before = self.records();
        match (self.past.pop(), self.ledger.undo(&now)) {
            (Some(past), Ok(_)) => {
                let records = self.records();
                assert_eq!(self.digest(&records), past, "undo does not bring back what was");
                self.sound("a change was taken back", records);
            }
            (None, Err(why)) => {
                let entries = self.entries();
                self.refused("undo", &before, entries, why)
            }
            (past, undone) => panic!("{:?} {undone:?}", past.is_some()),
        }
    }

    /// Out and in again: the same ledger.
    fn export(&mut self) {
        let now = self.now();
        let text = self.ledger.export(&now).unwrap();
        let file = self.dir.path().join(format!("second-{}.sqlite", self.day));
        let mut second = Ledger::write(&file).unwrap();
        let came = second.import(&text, &now).unwrap_or_else(|t| panic!("{t:?}"));
        assert!(came.whole);
        second.check().unwrap();
        assert!(second.export(&now).unwrap() == text, "export, import, export are not the same");
        drop(second);
        for left in fs::read_dir(self.dir.path()).unwrap() {
            let path = left.unwrap().path();
            if path.file_name().unwrap().to_string_lossy().starts_with("second-") {
                fs::remove_file(path).unwrap();
            }
        }
        *self.done.entry("exported and imported").or_default() += 1;
    }

    fn step(&mut self) {
        match self.below(40) {
            0..=2 => self.roll(),
            3..=5 => self.offcuts(),
            6 => self.consumable(),
            7 => self.remove(),
            8..=12 => self.freezer(),
            13 => self.measure(),
            14..=23 => self.plan(),
            24..=26 => {
                if !self.kits.is_empty() {
                    let k = self.below(self.kits.len());
                    self.book(k)
                }
            }
            27..=31 => self.mark(),
            32..=33 => self.go_on(),
            34..=37 => self.undo(),
            _ => {
                // Closed and opened, as by the next command.
                self.ledger = Ledger::write(&self.file).unwrap();
            }
        }
    }
}

#[test]
fn the_books_balance_through_years_of_workshop_life() {
    let (days, seed) = (number("WARPWISE_SOAK_DAYS", 25), number("WARPWISE_SOAK_SEED", 1));
    let mut shop = Shop::new(seed);
    shop.roll();
    for day in 0..days {
        shop.day = (day * 7 / 5) as u32;
        for _ in 0..1 + shop.below(6) {
            shop.step();
        }
        if day % 20 == 19 && (days < 100 || day % 100 == 99) {
            shop.export();
        }
    }
    shop.ledger.check().unwrap();
    shop.export();
    println!(
        "{days} working days, {} changes in the history: {:?}",
        shop.ledger.history(usize::MAX).unwrap().len(),
        shop.done
    );
    assert!(shop.done["a plan was booked"] as u64 > days / 5, "{:?}", shop.done);
}
