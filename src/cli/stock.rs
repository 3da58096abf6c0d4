//! `warpwise stock …`: the ledger of rolls, offcuts and dated consumables.

use super::exit::Failure;
use super::files::{can_write, read_plan, write_file};
use super::output::{print, warn};
use super::stock_add::{Add, flaw};
use super::stock_list::{entry_line, list, show};
use super::terminal::say;
use clap::{Args, Subcommand, ValueEnum};
use std::path::{Path, PathBuf};
use warpwise::fault::{Fault, Faults, Said};
use warpwise::geometry::Ring;
use warpwise::ledger::{
    self, FreezerMove, Gone, Imported, Ledger, Moment, PieceState, Record, Trouble,
};
use warpwise::plan;
use warpwise::planner::Earlier;
use warpwise::sheet;
use warpwise::stock::{Day, Snapshot};
use warpwise::units::{counted, parse_length, show_metres};
use warpwise::verify::{self, Verified};

/// `warpwise stock`.
#[derive(Args)]
pub struct Stock {
    /// The ledger [default: warpwise/stock.sqlite in your data folder]
    #[arg(long, value_name = "FILE", global = true)]
    ledger: Option<PathBuf>,
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Add a roll, an offcut or a consumable with a date
    Add(Add),
    /// List rolls and offcuts; --page writes one HTML page with every offcut to scale
    List {
        /// Only this cloth
        #[arg(long)]
        cloth: Option<String>,
        /// Write the box as one HTML page
        #[arg(long, value_name = "FILE")]
        page: Option<PathBuf>,
        /// As JSON
        #[arg(long)]
        json: bool,
    },
    /// Show everything recorded about one item
    Show {
        /// Its name, as in `off-17`
        id: String,
        /// As JSON
        #[arg(long)]
        json: bool,
    },
    /// Log rolls and offcuts taken out of the freezer
    Out {
        /// Their names
        #[arg(required = true)]
        ids: Vec<String>,
    },
    /// Log rolls and offcuts put back in the freezer
    In {
        /// Their names
        #[arg(required = true)]
        ids: Vec<String>,
    },
    /// Correct the record of a roll or an offcut
    Set(Set),
    /// Remove items from the stock
    Remove {
        /// Their names
        #[arg(required = true)]
        ids: Vec<String>,
        /// They were used without a plan: what for
        #[arg(long, value_name = "WHAT", conflicts_with = "because")]
        used_for: Option<String>,
        /// They were thrown away: why
        #[arg(long, value_name = "WHY")]
        because: Option<String>,
    },
    /// Book a plan, or some of its pieces, as cut
    Book {
        /// plan.json or its folder
        plan: PathBuf,
        /// Piece numbers or ids; all if left out
        pieces: Vec<String>,
        /// Where the labels of new offcuts go [default: labels.html and labels.pdf beside the plan]
        #[arg(long, value_name = "FILE")]
        labels: Option<PathBuf>,
    },
    /// Mark cut pieces as laid, spoiled or only cut
    Mark {
        /// Their new state
        state: Became,
        /// plan.json or its folder
        plan: PathBuf,
        /// Piece numbers or ids
        #[arg(required = true)]
        pieces: Vec<String>,
    },
    /// List which pieces of a plan are still to cut, cut, laid or spoiled
    Pieces {
        /// plan.json or its folder
        plan: PathBuf,
    },
    /// Undo the last change
    Undo,
    /// List the changes, newest first
    History {
        /// How many changes to list
        #[arg(long, default_value_t = 30)]
        last: usize,
    },
    /// Write the labels of offcuts again
    Labels {
        /// Where to
        #[arg(long, value_name = "FILE", default_value = "labels.html")]
        out: PathBuf,
        /// Names of offcuts; all if left out
        ids: Vec<String>,
    },
    /// Write the stock as plain JSON
    Export {
        /// Where to; standard output if left out
        file: Option<PathBuf>,
    },
    /// Import everything in a stock file
    Import {
        /// What `export` wrote
        file: PathBuf,
    },
    /// Check the ledger for damage, and every date
    Check {
        /// Replace a damaged ledger by its last good backup
        #[arg(long)]
        restore: bool,
    },
}

#[derive(Clone, Copy, ValueEnum)]
enum Became {
    /// Cut, waiting to be laid
    Cut,
    /// Laid in the mould
    Laid,
    /// To be cut again
    Spoiled,
}

#[derive(Args)]
struct Set {
    /// Its name
    id: String,
    /// Length left on a roll, measured
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    length: Option<String>,
    /// A flaw found on a roll: from and to along it, from its free end; from and to across it,
    /// unless it goes right across
    #[arg(long, value_name = "FROM..TO[,LOW..HIGH]", allow_hyphen_values = true)]
    flaw: Vec<String>,
    /// Where it lies
    #[arg(long)]
    place: Option<String>,
    /// Last day by its label
    #[arg(long, value_name = "DAY")]
    expiry: Option<String>,
    /// Hours spent out of the freezer so far
    #[arg(long, value_name = "HOURS", allow_hyphen_values = true)]
    out_hours: Option<f64>,
    /// Hours it may spend out of the freezer
    #[arg(long, value_name = "HOURS", allow_hyphen_values = true)]
    out_life: Option<f64>,
    /// Cosmetic use only, not for strength
    #[arg(long, value_name = "YES|NO", value_parser = clap::builder::BoolishValueParser::new())]
    cosmetic_only: Option<bool>,
    /// The day a consumable was opened
    #[arg(long, value_name = "DAY")]
    opened: Option<String>,
    /// The day a roll or an offcut came in
    #[arg(long, value_name = "DAY")]
    added: Option<String>,
}

impl From<Trouble> for Failure {
    fn from(trouble: Trouble) -> Failure {
        match trouble {
            Trouble::Input(faults) => Failure::Input(faults),
            Trouble::Machine(faults) | Trouble::Damaged(faults) => Failure::Machine(faults),
        }
    }
}

impl Stock {
    /// Does what was asked.
    pub fn run(self) -> Result<(), Failure> {
        let file = match self.ledger.or_else(ledger::default_file) {
            Some(file) => file,
            None => {
                let fault = Fault::new(
                    "no data folder is known to keep the ledger in",
                    "name the ledger with --ledger FILE",
                );
                return Err(Failure::Usage(fault.into()));
            }
        };
        let now = Moment::now();
        // A ledger that cannot be read speaks of it below.
        warn(
            &Ledger::read(&file).and_then(|ledger| ledger.clock_doubts(&now)).unwrap_or_default(),
            false,
        );
        match self.command {
            Command::Add(add) => print(&add.run(&file, &now)?),
            Command::List { cloth, page, json } => {
                let ledger = Ledger::read(&file)?;
                if let Some(page) = page {
                    let mut stock = ledger.snapshot(&now)?;
                    stock.offcuts.retain(|o| cloth.as_ref().is_none_or(|c| o.cloth() == c));
                    write_file(&page, ledger::box_page(&stock).as_bytes())?;
                    return print(&format!("{}\n", page.display()));
                }
                print(&list(&ledger, cloth.as_deref(), json, now.day)?)
            }
            Command::Show { id, json } => print(&show(&Ledger::read(&file)?, &id, json, &now)?),
            Command::Out { ids } => {
                Ledger::write(&file)?.freezer(&ids, FreezerMove::Out, &now)?;
                print(&format!("out of the freezer: {}\n", ids.join(", ")))
            }
            Command::In { ids } => {
                Ledger::write(&file)?.freezer(&ids, FreezerMove::In, &now)?;
                print(&format!("back in the freezer: {}\n", ids.join(", ")))
            }
            Command::Set(set) => set.run(&file, &now),
            Command::Remove { ids, used_for, because } => {
                let gone = used_for.map(Gone::Used).or(because.map(Gone::ThrownAway));
                Ledger::write(&file)?.take_out(&ids, gone.as_ref(), &now)?;
                print(&format!("removed {}\n", ids.join(", ")))
            }
            Command::Book { plan, pieces, labels } => book(&file, &plan, &pieces, labels, &now),
            Command::Mark { state, plan, pieces } => {
                let state = match state {
                    Became::Cut => PieceState::Cut,
                    Became::Laid => PieceState::Laid,
                    Became::Spoiled => PieceState::Spoiled,
                };
                let count = Ledger::write(&file)?.mark(&verified(&plan)?, &pieces, state, &now)?;
                print(&format!("{} {}\n", counted(count, "piece"), state.words()))
            }
            Command::Pieces { plan } => pieces(&file, &plan),
            Command::Undo => {
                let what = Ledger::write(&file)?.undo(&now)?;
                print(&format!("undone: {what}\n"))
            }
            Command::History { last } => {
                let entries = Ledger::read(&file)?.history(last)?;
                print(&entries.iter().map(entry_line).collect::<String>())
            }
            Command::Labels { out, ids } => {
                let stock = Ledger::read(&file)?.snapshot(&now)?;
                let missing: Vec<Fault> = ids
                    .iter()
                    .filter(|id| stock.offcuts.iter().all(|o| o.id() != id.as_str()))
                    .map(|id| {
                        Fault::new(
                            "is not an offcut in the stock",
                            "`warpwise stock list` shows what there is",
                        )
                        .on(id)
                    })
                    .collect();
                if !missing.is_empty() {
                    return Err(Failure::Input(Faults(missing)));
                }
                let wanted = stock
                    .offcuts
                    .iter()
                    .filter(|o| ids.is_empty() || ids.iter().any(|id| id == o.id()));
                let facts: Vec<_> = wanted.map(|o| o.facts().clone()).collect();
                write_labels(&out, &facts, stock.ledger.as_deref())?;
                print(&format!("{}\n{}\n", out.display(), out.with_extension("pdf").display()))
            }
            Command::Export { file: to } => {
                let json = Ledger::read(&file)?.export(&now)?;
                match to {
                    Some(to) => write_file(&to, json.as_bytes()),
                    None => print(&json),
                }
            }
            Command::Import { file: from } => {
                let text = match open_stock(&from)? {
                    Source::Ledger(ledger) => ledger.export(&now)?,
                    Source::Text(text) => text,
                };
                let imported = Ledger::write(&file)?.import(&text, &now).map_err(|t| match t {
                    Trouble::Input(faults) => Failure::Input(faults.in_file(&from)),
                    other => other.into(),
                })?;
                let also = match imported {
                    Imported { whole: true, .. } => {
                        ", with the history, the freezer log and the cut pieces"
                    }
                    Imported { left_history: true, .. } => {
                        "; their history stays behind, since this ledger is not empty"
                    }
                    _ => "",
                };
                print(&format!("imported {}{also}\n", counted(imported.things, "thing")))
            }
            Command::Check { restore } => check(&file, restore, &now),
        }
    }
}

impl Set {
    fn run(self, file: &Path, now: &Moment) -> Result<(), Failure> {
        let mut faults = Faults::new();
        let mut keep = |name: &str, text: &Option<String>| {
            let day = text.as_ref().map(|t| Day::parse(t).map_err(|f| f.on(name)));
            day.and_then(|d| faults.keep(d.map_err(Faults::from)))
        };
        let (expiry, opened, added) = (
            keep("--expiry", &self.expiry),
            keep("--opened", &self.opened),
            keep("--added", &self.added),
        );
        let length =
            self.length.as_ref().map(|t| parse_length(t).map_err(|f| f.on("--length").into()));
        let length = length.and_then(|l| faults.keep(l));
        let mut ledger = Ledger::write(file)?;
        let records = ["roll", "offcut", "consumable"].map(|kind| ledger.records(kind));
        let record =
            records.into_iter().filter_map(Result::ok).flatten().find(|r| r.id() == self.id);
        let width = if let Some(Record::Roll(r)) = &record { r.facts.width } else { 1.0 };
        let flaws: Vec<Ring> =
            self.flaw.iter().filter_map(|f| faults.keep(flaw(f, width))).collect();
        // A flag that says nothing of this kind of thing is a slip, not to be passed over.
        let (on_cloth, on_roll, on_consumable) = match &record {
            Some(Record::Roll(_)) => (true, true, false),
            Some(Record::Offcut(_)) => (true, false, false),
            Some(Record::Consumable(_)) => (false, false, true),
            _ => (true, true, true),
        };
        let life =
            self.out_hours.is_some() || self.out_life.is_some() || self.cosmetic_only.is_some();
        for (given, fits, flag) in [
            (length.is_some(), on_roll, "--length"),
            (!self.flaw.is_empty(), on_roll, "--flaw"),
            (life, on_cloth, "hours and --cosmetic-only"),
            (opened.is_some(), on_consumable, "--opened"),
            (added.is_some(), on_cloth, "--added"),
        ] {
            if given && !fits {
                faults.push(
                    Fault::new(
                        said!("{flag} cannot be set on it"),
                        "look at it with `warpwise stock show`",
                    )
                    .on(&self.id),
                );
            }
        }
        if !faults.is_empty() {
            return Err(Failure::Input(faults));
        }
        ledger.edit(&self.id, &format!("corrected {}", self.id), now, |record| {
            let (age, place, came_in, out_since) = match record {
                Record::Roll(r) => {
                    r.facts.length = length.or(r.facts.length);
                    r.facts.flaws.extend(flaws);
                    (&mut r.facts.age, &mut r.facts.place, &mut r.facts.added, &mut r.out_since)
                }
                Record::Offcut(o) => {
                    (&mut o.facts.age, &mut o.facts.place, &mut o.facts.added, &mut o.out_since)
                }
                Record::Consumable(c) => {
                    c.expiry = expiry.or(c.expiry);
                    c.opened = opened.or(c.opened);
                    c.place = self.place.clone().or(c.place.take());
                    return;
                }
                _ => return,
            };
            *came_in = added.unwrap_or(*came_in);
            // Hours so far are those up to now: of what lies out they run on from here.
            *out_since =
                out_since.map(|since| if self.out_hours.is_some() { now.seconds } else { since });
            age.expiry = expiry.or(age.expiry);
            age.out_hours = self.out_hours.unwrap_or(age.out_hours);
            age.out_life_hours = self.out_life.or(age.out_life_hours);
            age.cosmetic_only = self.cosmetic_only.unwrap_or(age.cosmetic_only);
            *place = self.place.clone().or(place.take());
        })?;
        print(&show(&Ledger::read(file)?, &self.id, false, now)?)
    }
}

/// Where a stock is read from.
enum Source {
    Ledger(Ledger),
    Text(String),
}

/// A stock to plan from: a ledger, or the plain JSON of one.
pub fn read_stock(file: &Path) -> Result<Snapshot, Failure> {
    match open_stock(file)? {
        Source::Ledger(ledger) => {
            let now = Moment::now();
            warn(&ledger.clock_doubts(&now)?, false);
            Ok(ledger.snapshot(&now)?)
        }
        Source::Text(text) => Snapshot::from_json(&text, Day::today())
            .map_err(|faults| Failure::Input(faults.in_file(file))),
    }
}

fn open_stock(file: &Path) -> Result<Source, Failure> {
    use std::io::Read;
    let refused = |what: Said| {
        Failure::Input(
            Fault::new(what, "name a ledger, or a file that `warpwise stock export` wrote")
                .in_file(file)
                .into(),
        )
    };
    let open =
        std::fs::File::open(file).map_err(|e| refused(said!("the stock cannot be read: {e}")))?;
    if !open.metadata().is_ok_and(|m| m.is_file()) {
        return Err(refused("this is not an ordinary file".into()));
    }
    let mut bytes = Vec::new();
    open.take(warpwise::stock::LARGEST_FILE + 1)
        .read_to_end(&mut bytes)
        .map_err(|e| refused(said!("the stock cannot be read: {e}")))?;
    if bytes.starts_with(b"SQLite format 3\0") {
        return Ok(Source::Ledger(Ledger::read(file)?));
    }
    if bytes.len() as u64 > warpwise::stock::LARGEST_FILE {
        return Err(refused(said!(
            "the file has more than {} MB",
            warpwise::stock::LARGEST_FILE >> 20
        )));
    }
    let text = String::from_utf8(bytes)
        .map_err(|_| refused("this is neither a ledger nor text in UTF-8".into()))?;
    Ok(Source::Text(text))
}

/// The verified plan in a file or plan folder.
pub fn verified(path: &Path) -> Result<Verified, Failure> {
    let path = if path.is_dir() { path.join("plan.json") } else { path.to_path_buf() };
    let placed = |faults: Faults| Failure::Input(faults.in_file(&path));
    verify::verify(plan::from_json(&read_plan(&path)?).map_err(placed)?).map_err(placed)
}

/// What is cut already of a plan's kit, by the ledger it was planned from.
pub fn earlier(ledger: &Path, plan: &Path) -> Result<Earlier, Failure> {
    let plan = verified(plan)?;
    let states = Ledger::read(ledger)?.pieces_of(plan.plan())?;
    let state = |piece: &str, copy: u32| {
        states.iter().find(|p| p.piece == piece && p.copy == copy).map(|p| p.state)
    };
    let cut = |piece: &str, copy: u32| {
        matches!(state(piece, copy), Some(PieceState::Cut | PieceState::Laid))
    };
    let spoiled = |piece: &str, copy: u32| state(piece, copy) == Some(PieceState::Spoiled);
    Ok(Earlier::of(plan.plan(), &cut, &spoiled))
}

fn book(
    file: &Path,
    path: &Path,
    pieces: &[String],
    labels: Option<PathBuf>,
    now: &Moment,
) -> Result<(), Failure> {
    let plan = verified(path)?;
    if !file.exists() {
        return Err(Ledger::read(file)
            .err()
            .map_or_else(|| Failure::Input(Faults::new()), Failure::from));
    }
    let folder = if path.is_dir() { path } else { path.parent().unwrap_or(Path::new("")) };
    let labels = labels.unwrap_or_else(|| folder.join("labels.html"));
    // What can fail comes before the booking, which cannot be taken for failed then.
    can_write(&labels)?;
    let booked = Ledger::write(file)?.book(&plan, pieces, now)?;
    let ledger_name = plan.plan().drawn_from.as_ref().and_then(|d| d.ledger.clone());
    let mut out = format!("booked {} as cut\n", counted(booked.pieces, "piece"));
    for (id, used, left) in &booked.shortened {
        let left = left.map_or(String::new(), |l| format!(", {} left", show_metres(l)));
        out.push_str(&format!("{id}: {} cut off{left}\n", show_metres(*used)));
    }
    if !booked.used_up.is_empty() {
        out.push_str(&format!("used up: {}\n", booked.used_up.join(", ")));
    }
    if !booked.cut_in_part.is_empty() {
        out.push_str(&format!("cut in part: {}\n", booked.cut_in_part.join(", ")));
    }
    if !booked.added.is_empty() {
        let ids: Vec<&str> = booked.added.iter().map(|o| o.id.as_str()).collect();
        out.push_str(&format!("new offcuts: {}\n", ids.join(", ")));
        if !booked.cut_down.is_empty() {
            out.push_str(&format!(
                "only the largest rectangle of {}: the left-over touches itself\n",
                booked.cut_down.join(", ")
            ));
        }
        match write_labels(&labels, &booked.added, ledger_name.as_deref()) {
            Ok(()) => out.push_str(&format!(
                "labels to print: {} (or {})\n",
                labels.with_extension("pdf").display(),
                labels.display()
            )),
            Err(failure) => {
                print(&out)?;
                say(&format!(
                    "the booking holds; only its labels are not written: `warpwise stock labels --out FILE {}`",
                    ids.join(" ")
                ));
                return Err(failure);
            }
        }
    }
    print(&out)
}

/// Labels as a page, and beside it the same as PDF for a sheet of stick-on labels.
fn write_labels(
    to: &Path,
    offcuts: &[warpwise::stock::OffcutFacts],
    ledger: Option<&str>,
) -> Result<(), Failure> {
    write_file(to, ledger::labels(offcuts, ledger).as_bytes())?;
    write_file(&to.with_extension("pdf"), &sheet::stock_labels(&[], offcuts, ledger).bytes)
}

fn pieces(file: &Path, path: &Path) -> Result<(), Failure> {
    let plan = verified(path)?;
    let plan = plan.plan();
    let states = Ledger::read(file)?.pieces_of(plan)?;
    let mut out = String::new();
    for (stock, placed) in plan.stocks.iter().flat_map(|s| s.placed.iter().map(move |p| (s, p))) {
        let state = states
            .iter()
            .find(|p| p.piece == placed.piece && p.copy == placed.copy)
            .map_or("to cut", |p| p.state.words());
        let number =
            plan.pieces.iter().find(|p| p.piece == placed.piece).map_or("", |p| p.number.as_str());
        out.push_str(&format!(
            "{state:8} {number:8} {}#{} on {}\n",
            placed.piece, placed.copy, stock.id
        ));
    }
    print(&out)
}

fn check(file: &Path, restore: bool, now: &Moment) -> Result<(), Failure> {
    if restore {
        let restored = Ledger::restore(file)?;
        let mut out = format!("in place now: {}\n", restored.from.display());
        for backup in &restored.passed_over {
            out.push_str(&format!("passed over, damaged itself: {}\n", backup.display()));
        }
        if let Some(aside) = &restored.aside {
            out.push_str(&format!("the damaged ledger is kept as {}\n", aside.display()));
        }
        return print(&out);
    }
    let ledger = Ledger::read(file)?;
    ledger.check()?;
    let stock = ledger.snapshot(now)?;
    let mut out = format!("{}: sound\n", file.display());
    let ages = stock
        .rolls
        .iter()
        .map(|r| (r.id(), r.age()))
        .chain(stock.offcuts.iter().map(|o| (o.id(), o.age())));
    let warnings = ages.filter_map(|(id, age)| age.warning(id, stock.day));
    for warning in warnings.chain(stock.consumables.iter().filter_map(|c| c.warning(stock.day))) {
        out.push_str(&format!("warning: {warning}\n"));
    }
    print(&out)
}
