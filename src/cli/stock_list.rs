//! `warpwise stock list` and `show`: what is there, as text.

use super::exit::Failure;
use serde::Serialize;
use warpwise::fault::Fault;
use warpwise::ledger::{Counts, Ledger, Moment, Record, StockRow};
use warpwise::stock::{Consumable, Day};
use warpwise::units::{counted, quoted, show_area, show_number};

/// The list as JSON.
#[derive(Serialize)]
struct Listing<'a> {
    counts: &'a Counts,
    stock: &'a [StockRow],
    consumables: Vec<Consumable>,
}

/// Rolls, offcuts and consumables, one a line, or as JSON.
pub fn list(ledger: &Ledger, cloth: Option<&str>, json: bool, today: Day) -> Result<String, Failure> {
    let (rows, counts) = ledger.list(cloth)?;
    let consumables = ledger.records("consumable")?.into_iter().filter_map(|r| if let Record::Consumable(c) = r { Some(c) } else { None });
    let consumables: Vec<Consumable> = if cloth.is_some() { Vec::new() } else { consumables.collect() };
    if json {
        let text = serde_json::to_string_pretty(&Listing { counts: &counts, stock: &rows, consumables }).unwrap_or_default();
        return Ok(text + "\n");
    }
    let mut out = String::new();
    let mm = |v: Option<f64>| v.map_or("?".to_string(), |v| show_number(v, 0));
    for row in &rows {
        let over = row.expiry.as_deref().and_then(|e| Day::parse(e).ok()).is_some_and(|e| e < today);
        let size = format!("{} × {} mm", mm(row.width), mm(row.height));
        let mut line = format!("{:9} {:16} {size:>18} {:>10}", row.id, row.cloth, row.area.map_or(String::new(), show_area));
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
        out.push_str(&format!("{:9} {:16} {}{last}{}\n", c.id, c.kind.words(), c.name, if over { "  EXPIRED" } else { "" }));
    }
    out.push_str(&format!(
        "{}, {} of {}, sizes along the warp × across\n",
        counted(counts.rolls, "roll"),
        counted(counts.offcuts, "offcut"),
        show_area(counts.offcuts_area)
    ));
    Ok(out)
}

/// Everything known of one thing, as JSON that `import` would take in a stock file, with what its dates ask for.
pub fn show(ledger: &Ledger, id: &str, now: &Moment) -> Result<String, Failure> {
    let stock = ledger.snapshot(now)?;
    let text = |json: serde_json::Result<String>, warning: Option<Fault>| {
        let warning = warning.map_or(String::new(), |w| format!("warning: {w}\n"));
        format!("{}\n{warning}", json.unwrap_or_default())
    };
    if let Some(r) = stock.rolls.iter().find(|r| r.id() == id) {
        return Ok(text(serde_json::to_string_pretty(r.facts()), r.age().warning(id, stock.day)));
    }
    if let Some(o) = stock.offcuts.iter().find(|o| o.id() == id) {
        return Ok(text(serde_json::to_string_pretty(o.facts()), o.age().warning(id, stock.day)));
    }
    if let Some(c) = stock.consumables.iter().find(|c| c.id == id) {
        return Ok(text(serde_json::to_string_pretty(c), c.warning(stock.day)));
    }
    Err(Failure::Input(Fault::new(format!("there is no {} in the stock", quoted(id)), "`warpwise stock list` shows what there is").into()))
}
