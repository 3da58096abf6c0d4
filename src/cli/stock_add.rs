//! `warpwise stock add`: what comes in.

use super::exit::Failure;
use clap::{Args, Subcommand, ValueEnum};
use std::path::{Path, PathBuf};
use warpwise::cloth::Face;
use warpwise::fault::{Fault, Faults};
use warpwise::geometry::{Ring, point};
use warpwise::ledger::{Ledger, Moment};
use warpwise::outline::{ReadOptions, Unit, read_file};
use warpwise::stock::{Age, Consumable, ConsumableKind, Day, OffcutFacts, RollFacts};
use warpwise::units::{System, parse_length, quoted};
use warpwise::workshop::offcut_shape;

/// `warpwise stock add`.
#[derive(Args)]
pub struct Add {
    #[command(subcommand)]
    what: What,
}

#[derive(Subcommand)]
enum What {
    /// A roll
    Roll(AddRoll),
    /// An offcut, by its size or its drawing
    Offcut(AddOffcut),
    /// Release agent, resin, tape, film: anything with a use-by date
    Consumable(AddConsumable),
}

#[derive(Args)]
struct Life {
    /// Batch on the label
    #[arg(long)]
    batch: Option<String>,
    /// Last day of use by the label, as 2027-03-31
    #[arg(long, value_name = "DAY")]
    expiry: Option<String>,
    /// Hours it may spend out of the freezer, by its data sheet
    #[arg(long, value_name = "HOURS", allow_hyphen_values = true)]
    out_life: Option<f64>,
    /// Hours it has spent out of the freezer so far
    #[arg(long, value_name = "HOURS", default_value_t = 0.0, allow_hyphen_values = true)]
    out_hours: f64,
    /// It lies out of the freezer now: the hours run
    #[arg(long)]
    out: bool,
    /// Cosmetic use only, not for strength
    #[arg(long)]
    cosmetic_only: bool,
    /// Where it lies
    #[arg(long)]
    place: Option<String>,
    /// The cloth is new to the stock
    #[arg(long)]
    new_cloth: bool,
}

#[derive(Args)]
struct AddRoll {
    /// Cloth id, as the jobs name it
    #[arg(long)]
    cloth: String,
    /// Width over the selvedges
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    width: String,
    /// Length on it, if it is known
    #[arg(long, value_name = "LENGTH", allow_hyphen_values = true)]
    length: Option<String>,
    /// A flaw: from and to along the roll, from its free end; from and to across it, from the lower
    /// edge, unless it goes right across
    #[arg(long, value_name = "FROM..TO[,LOW..HIGH]", allow_hyphen_values = true)]
    flaw: Vec<String>,
    #[command(flatten)]
    life: Life,
}

#[derive(Args)]
struct AddOffcut {
    /// Cloth id, as the jobs name it
    #[arg(long)]
    cloth: String,
    /// Length along the warp
    #[arg(
        long,
        value_name = "LENGTH",
        conflicts_with = "drawing",
        requires = "width",
        allow_hyphen_values = true
    )]
    length: Option<String>,
    /// Width across the warp
    #[arg(
        long,
        value_name = "LENGTH",
        conflicts_with = "drawing",
        requires = "length",
        allow_hyphen_values = true
    )]
    width: Option<String>,
    /// Outline file: SVG, DXF or CSV, as `trace` writes it or drawn by hand
    #[arg(long, value_name = "FILE", required_unless_present = "length")]
    drawing: Option<PathBuf>,
    /// Direction of the warp in the drawing, degrees anticlockwise from right; its arrow if left
    /// out
    #[arg(long, value_name = "DEGREES", allow_hyphen_values = true, requires = "drawing")]
    warp: Option<f64>,
    /// Unit of the drawing if it has none
    #[arg(long, value_name = "UNIT", requires = "drawing")]
    unit: Option<DrawnIn>,
    /// Which face of the cloth is up in it
    #[arg(long, value_enum, default_value_t = Up::Up)]
    face: Up,
    /// How many alike
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u16).range(1..=1000))]
    count: u16,
    #[command(flatten)]
    life: Life,
}

#[derive(Clone, Copy, ValueEnum)]
enum DrawnIn {
    Mm,
    Cm,
    M,
    In,
    Ft,
}

impl From<DrawnIn> for Unit {
    fn from(unit: DrawnIn) -> Unit {
        match unit {
            DrawnIn::Mm => Unit::Millimetre,
            DrawnIn::Cm => Unit::Centimetre,
            DrawnIn::M => Unit::Metre,
            DrawnIn::In => Unit::Inch,
            DrawnIn::Ft => Unit::Foot,
        }
    }
}

#[derive(Clone, Copy, ValueEnum)]
enum Up {
    /// Face up
    Up,
    /// Face down
    Down,
}

#[derive(Args)]
struct AddConsumable {
    /// Its name
    name: String,
    /// What it is for
    #[arg(long, value_enum)]
    kind: Kind,
    /// Last day of use by the label, as 2027-03-31
    #[arg(long, value_name = "DAY")]
    expiry: Option<String>,
    /// The day it was opened
    #[arg(long, value_name = "DAY")]
    opened: Option<String>,
    /// Days it lasts once opened
    #[arg(long, value_name = "DAYS")]
    keeps: Option<u32>,
    /// Where it lies
    #[arg(long)]
    place: Option<String>,
}

#[derive(Clone, Copy, ValueEnum)]
enum Kind {
    ReleaseAgent,
    Resin,
    SealantTape,
    Film,
    Other,
}

/// Collects every fault of the flags.
struct Flags(Faults);

impl Flags {
    fn length(&mut self, flag: &str, text: &str) -> f64 {
        self.0.keep(parse_length(text).map_err(|f| f.on(flag).into())).unwrap_or(1.0)
    }

    fn size(&mut self, flag: &str, text: &str) -> f64 {
        let size = System::Metric.parse_size(text);
        self.0.keep(size.map_err(|f| f.on(flag).into())).unwrap_or(1.0)
    }

    fn day(&mut self, flag: &str, text: Option<&String>) -> Option<Day> {
        let day = text.map(|t| Day::parse(t).map_err(|f| f.on(flag).into()))?;
        self.0.keep(day)
    }

    fn age(&mut self, life: &Life) -> Age {
        Age {
            expiry: self.day("--expiry", life.expiry.as_ref()),
            out_life_hours: life.out_life,
            out_hours: life.out_hours,
            is_out: life.out,
            cosmetic_only: life.cosmetic_only,
        }
    }
}

impl Add {
    /// Adds it; the words to print.
    pub fn run(self, file: &Path, now: &Moment) -> Result<String, Failure> {
        match self.what {
            What::Roll(add) => add.run(file, now),
            What::Offcut(add) => add.run(file, now),
            What::Consumable(add) => add.run(file, now),
        }
    }
}

/// What came in past its date is said at once.
fn added(id: &str, age: &Age, now: &Moment) -> String {
    let warning = age.warning(id, now.day).map_or(String::new(), |w| format!("warning: {w}\n"));
    format!("added {id}\n{warning}")
}

impl AddRoll {
    fn run(self, file: &Path, now: &Moment) -> Result<String, Failure> {
        let mut flags = Flags(Faults::new());
        let width = flags.size("--width", &self.width);
        let length = self.length.as_ref().map(|t| flags.size("--length", t));
        let flaws = self.flaw.iter().filter_map(|f| flags.0.keep(flaw(f, width))).collect();
        let age = flags.age(&self.life);
        flags.0.into_result(()).map_err(Failure::Input)?;
        let roll = RollFacts {
            id: String::new(),
            cloth: self.cloth,
            width,
            length,
            flaws,
            batch: self.life.batch,
            age,
            place: self.life.place,
            added: now.day,
            revision: 0,
        };
        let id = Ledger::write(file)?.add_roll(roll, self.life.out, self.life.new_cloth, now)?;
        Ok(added(&id, &age, now))
    }
}

/// A flaw as `--flaw` gives it, on a roll of a width.
pub(super) fn flaw(text: &str, width: f64) -> Result<Ring, Faults> {
    let mut flags = Flags(Faults::new());
    let mut stretch = |text: &str| match text.split_once("..") {
        Some((from, to)) => [from, to].map(|t| flags.length("--flaw", t.trim())),
        None => {
            flags.0.push(
                Fault::new(
                    said!("{} is not a stretch of the roll", quoted(text)),
                    "write it as 1200..1250",
                )
                .on("--flaw"),
            );
            [0.0, 1.0]
        }
    };
    let (along, across) = text.split_once(',').map_or((text, None), |(a, b)| (a, Some(b)));
    let ([from, to], [low, high]) = (stretch(along), across.map_or([0.0, width], &mut stretch));
    flags.0.into_result(vec![point(from, low), point(to, low), point(to, high), point(from, high)])
}

impl AddOffcut {
    fn run(self, file: &Path, now: &Moment) -> Result<String, Failure> {
        let mut flags = Flags(Faults::new());
        let age = flags.age(&self.life);
        let (outline, holes) = match (&self.drawing, &self.length, &self.width) {
            (Some(drawing), _, _) => {
                flags.0.clone().into_result(()).map_err(Failure::Input)?;
                drawn(drawing, self.warp, self.unit.map(Into::into)).map_err(Failure::Input)?
            }
            (None, Some(l), Some(w)) => {
                let (l, w) = (flags.size("--length", l), flags.size("--width", w));
                for (flag, value) in [("--length", l), ("--width", w)] {
                    if value <= 0.0 {
                        flags.0.push(
                            Fault::new("is not above 0", "give the size of the offcut").on(flag),
                        );
                    }
                }
                flags.0.clone().into_result(()).map_err(Failure::Input)?;
                (vec![point(0.0, 0.0), point(l, 0.0), point(l, w), point(0.0, w)], Vec::new())
            }
            _ => (Vec::new(), Vec::new()),
        };
        let facts = OffcutFacts {
            id: String::new(),
            cloth: self.cloth,
            outline,
            holes,
            flaws: Vec::new(),
            face: if matches!(self.face, Up::Up) { Face::Up } else { Face::Down },
            batch: self.life.batch,
            age,
            place: self.life.place,
            added: now.day,
            parent: None,
            revision: 0,
        };
        let all = vec![facts; usize::from(self.count)];
        let ids = Ledger::write(file)?.add_offcuts(all, self.life.out, self.life.new_cloth, now)?;
        Ok(added(&ids.join(", "), &age, now))
    }
}

/// Outline and holes of a drawing, turned so that the warp runs along +x.
fn drawn(file: &Path, warp: Option<f64>, unit: Option<Unit>) -> Result<(Ring, Vec<Ring>), Faults> {
    let options = ReadOptions { unit, ..ReadOptions::default() };
    let reading = read_file(file, &options)?;
    offcut_shape(&reading.outlines, warp, "give --warp DEGREES").map_err(|f| f.in_file(file))
}

impl AddConsumable {
    fn run(self, file: &Path, now: &Moment) -> Result<String, Failure> {
        let mut flags = Flags(Faults::new());
        let (expiry, opened) = (
            flags.day("--expiry", self.expiry.as_ref()),
            flags.day("--opened", self.opened.as_ref()),
        );
        flags.0.into_result(()).map_err(Failure::Input)?;
        let kind = match self.kind {
            Kind::ReleaseAgent => ConsumableKind::ReleaseAgent,
            Kind::Resin => ConsumableKind::Resin,
            Kind::SealantTape => ConsumableKind::SealantTape,
            Kind::Film => ConsumableKind::Film,
            Kind::Other => ConsumableKind::Other,
        };
        let consumable = Consumable {
            id: String::new(),
            kind,
            name: self.name,
            expiry,
            opened,
            days_after_opening: self.keeps,
            place: self.place,
        };
        let id = Ledger::write(file)?.add_consumable(consumable.clone(), now)?;
        let warning = Consumable { id: id.clone(), ..consumable }
            .warning(now.day)
            .map_or(String::new(), |w| format!("warning: {w}\n"));
        Ok(format!("added {id}\n{warning}"))
    }
}
