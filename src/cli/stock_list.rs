//! `warpwise stock list` and `show`: what is there, as text.

use super::exit::Failure;
use serde::Serialize;
use warpwise::cloth::Face;
use warpwise::fault::Fault;
use warpwise::geometry::{Ring, ring_bounds};
use warpwise::ledger::{Counts, Entry, Ledger, Moment, Record, StockRow};
use warpwise::stock::{Age, Consumable, Day};
use warpwise::units::{counted, quoted, show_area, show_metres, show_mm, show_number};

/// The list as JSON.
#[derive(Serialize)]
struct Listing<'a> {
    counts: &'a Counts,
    stock: &'a [StockRow],
    consumables: Vec<Consumable>,
}

/// Rolls, offcuts and consumables, one a line, or as JSON.
pub fn list(
    ledger: &Ledger,
    cloth: Option<&str>,
    json: bool,
    today: Day,
) -> Result<String, Failure> {
    let (rows, counts) = ledger.list(cloth)?;
    let consumables = ledger
        .records("consumable")?
        .into_iter()
        .filter_map(|r| if let Record::Consumable(c) = r { Some(c) } else { None });
    let consumables: Vec<Consumable> =
        if cloth.is_some() { Vec::new() } else { consumables.collect() };
    if json {
        let text =
            serde_json::to_string_pretty(&Listing { counts: &counts, stock: &rows, consumables })
                .unwrap_or_default();
        return Ok(text + "\n");
    }
    let mut out = String::new();
    let mm = |v: Option<f64>| v.map_or("?".to_string(), |v| show_number(v, 0));
    for row in &rows {
        let over =
            row.expiry.as_deref().and_then(|e| Day::parse(e).ok()).is_some_and(|e| e < today);
        let size = format!("{} × {} mm", mm(row.width), mm(row.height));
        let mut line = format!(
            "{:9} {:16} {size:>18} {:>10}",
            row.id,
            row.cloth,
            row.area.map_or(String::new(), show_area)
        );
        for (name, text) in [("batch ", &row.batch), ("", &row.place), ("use by ", &row.expiry)] {
            if let Some(text) = text {
                line.push_str(&format!("  {name}{text}"));
            }
        }
        out.push_str(&format!("{line}{}\n", if over { "  EXPIRED" } else { "" }));
    }
    for c in &consumables {
        let last = c.last_day().map_or(String::new(), |d| format!("  last day {d}"));
        let over = c.last_day().is_some_and(|d| d < today);
        out.push_str(&format!(
            "{:9} {:16} {}{last}{}\n",
            c.id,
            c.kind.words(),
            c.name,
            if over { "  EXPIRED" } else { "" }
        ));
    }
    out.push_str(&format!(
        "{}, {} of {}, sizes along the warp × across\n",
        counted(counts.rolls, "roll"),
        counted(counts.offcuts, "offcut"),
        show_area(counts.offcuts_area)
    ));
    Ok(out)
}

/// Show everything recorded about one item: what it is, what its dates ask for, what was done with
/// it. As JSON it is what `import` takes.
pub fn show(ledger: &Ledger, id: &str, json: bool, now: &Moment) -> Result<String, Failure> {
    let stock = ledger.snapshot(now)?;
    let pretty = |json: serde_json::Result<String>| json.unwrap_or_default() + "\n";
    let mut lines: Vec<(&str, String)> = Vec::new();
    let warning = if let Some(r) = stock.rolls.iter().find(|r| r.id() == id) {
        let f = r.facts();
        if json {
            return Ok(pretty(serde_json::to_string_pretty(f)));
        }
        lines.push(("roll of", f.cloth.clone()));
        lines.push(("width over the selvedges", show_mm(f.width)));
        lines.push(("length left", f.length.map_or_else(|| "not known".to_string(), show_metres)));
        lines.extend(flaws(&f.flaws));
        lines.extend(of_cloth(r.age(), &f.batch, &f.place, f.added));
        r.age().warning(id, stock.day)
    } else if let Some(o) = stock.offcuts.iter().find(|o| o.id() == id) {
        let (f, b) = (o.facts(), o.bounds());
        if json {
            return Ok(pretty(serde_json::to_string_pretty(f)));
        }
        lines.push(("offcut of", f.cloth.clone()));
        let size = format!(
            "{} along the warp × {}, {}",
            show_mm(b.width()),
            show_mm(b.height()),
            show_area(o.area())
        );
        lines.push(("size", format!("{size}, {}", counted(f.outline.len(), "corner"))));
        lines.extend((!f.holes.is_empty()).then(|| ("holes", f.holes.len().to_string())));
        lines.extend(flaws(&f.flaws));
        lines.extend(
            (f.face == Face::Down).then(|| ("outline drawn", "from the other face".to_string())),
        );
        lines.extend(f.parent.clone().map(|p| ("left over from", p)));
        lines.extend(of_cloth(o.age(), &f.batch, &f.place, f.added));
        o.age().warning(id, stock.day)
    } else if let Some(c) = stock.consumables.iter().find(|c| c.id == id) {
        if json {
            return Ok(pretty(serde_json::to_string_pretty(c)));
        }
        lines.push((c.kind.words(), c.name.clone()));
        lines.extend(c.expiry.map(|d| ("use by", d.to_string())));
        lines.extend(c.opened.map(|d| ("opened", d.to_string())));
        lines.extend(
            c.days_after_opening.map(|d| ("lasts once opened", counted(d as usize, "day"))),
        );
        lines.extend(c.place.clone().map(|p| ("place", p)));
        c.warning(stock.day)
    } else {
        let fault = Fault::new(
            said!("there is no {} in the stock", quoted(id)),
            "`warpwise stock list` shows what there is",
        );
        return Err(Failure::Input(fault.into()));
    };
    let mut out = format!("{id}\n");
    lines.iter().for_each(|(name, value)| out.push_str(&format!("  {name:26} {value}\n")));
    out.push_str(&warning.map_or(String::new(), |w| format!("warning: {w}\n")));
    out.push_str(&ledger.history_of(id)?.iter().rev().map(entry_line).collect::<String>());
    Ok(out)
}

/// An entry of the history as a line.
pub fn entry_line(e: &Entry) -> String {
    format!(
        "{:5}  {}  {}{}\n",
        e.number,
        e.at,
        e.what,
        if e.undone { "  (taken back)" } else { "" }
    )
}

/// The box of each flaw.
fn flaws(flaws: &[Ring]) -> Vec<(&'static str, String)> {
    let words = |flaw: &Ring| {
        let b = ring_bounds(flaw)?;
        let range = |from: f64, to: f64| format!("{} to {}", show_number(from, 0), show_mm(to));
        Some((
            "flaw",
            format!(
                "{} along the warp, {} across",
                range(b.min.x, b.max.x),
                range(b.min.y, b.max.y)
            ),
        ))
    };
    flaws.iter().filter_map(words).collect()
}

/// What is known of either a roll or an offcut.
fn of_cloth(
    age: &Age,
    batch: &Option<String>,
    place: &Option<String>,
    added: Day,
) -> Vec<(&'static str, String)> {
    let mut out = Vec::new();
    out.extend(batch.clone().map(|b| ("batch", b)));
    out.extend(place.clone().map(|p| ("place", p)));
    out.push(("added", added.to_string()));
    out.extend(age.expiry.map(|d| ("use by", d.to_string())));
    let life = age.out_life_hours.map_or(String::new(), |l| format!(" of {} h", show_number(l, 0)));
    let now = if age.is_out { ", and is out now" } else { "" };
    if age.out_hours > 0.0 || age.is_out || !life.is_empty() {
        out.push(("out of the freezer", format!("{} h{life}{now}", show_number(age.out_hours, 1))));
    }
    out.extend(
        age.cosmetic_only.then(|| ("good for", "cosmetic use only, not for strength".to_string())),
    );
    out
}
