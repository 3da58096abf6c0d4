//! Before templates exist: rough parts by area or size.

use super::buy::Spare;
use super::figures::{
    ClothEstimate, Estimate, WidthFigures, empty_row, mark_best, priced, spare_in_words, summed,
    widths,
};
use super::waste::Waste;
use crate::cloth::{Backing, Cloth, Material, Weave};
use crate::fault::{Fault, Faults, Said};
use crate::stock::{Roll, Snapshot};
use crate::units::{parse_length, quoted, show_mm};

/// Largest area of a rough part, mm².
const LARGEST: f64 = 1e10;

/// A part of which only the size is known.
#[derive(Clone, Debug, PartialEq)]
pub struct RoughPart {
    /// Cloth id, if one was named.
    pub cloth: Option<String>,
    /// Area of one, allowances included, mm².
    pub area: f64,
    /// Length and width of one, mm, if they were told.
    pub size: Option<[f64; 2]>,
    /// How many.
    pub count: u32,
}

impl RoughPart {
    /// Reads `twill-204: 0.35 m2 x 4`, `700 x 520 x 2` (mm, or with units) or the like; the cloth
    /// may be left out, and the count for one.
    ///
    /// # Errors
    /// A text that is no such part.
    pub fn parse(text: &str) -> Result<RoughPart, Fault> {
        const REMEDY: &str = "write an area or a length and a width, and how many: \"twill-204: 0.35 m2 x 4\" or \"700 x 520 x 2\" (mm)";
        let wrong = |what: Said| Fault::new(said!("{}: {what}", quoted(text)), REMEDY);
        let (cloth, rest) = match text.split_once(':') {
            Some((cloth, rest)) => (Some(cloth.trim().to_string()).filter(|c| !c.is_empty()), rest),
            None => (None, text),
        };
        let words: Vec<&str> = rest.split(['x', '×', '*']).map(str::trim).collect();
        let count = |word: &str| {
            word.parse::<u32>()
                .ok()
                .filter(|n| (1..=100_000).contains(n))
                .ok_or_else(|| wrong("no count".into()))
        };
        let area_of = |word: &str| {
            let number = word.strip_suffix("m²").or(word.strip_suffix("m2"))?.trim();
            number.parse::<f64>().ok().map(|a| a * 1e6)
        };
        let first = words.first().copied().unwrap_or_default();
        let (area, size, rest) = match area_of(first) {
            Some(area) => (area, None, words.get(1..)),
            None => {
                let second = words.get(1).ok_or_else(|| wrong("no area and no width".into()))?;
                let size = [parse_length(first), parse_length(second)]
                    .map(|l| l.map_err(|f| wrong(f.what)));
                let [length, width] = size;
                let size = [length?, width?];
                (size[0] * size[1], Some(size), words.get(2..))
            }
        };
        let count = match rest.unwrap_or_default() {
            [] => 1,
            [one] => count(one)?,
            _ => return Err(wrong("too many numbers".into())),
        };
        let sound = area.is_finite()
            && area > 0.0
            && area <= LARGEST
            && size.is_none_or(|s| s.iter().all(|l| *l > 0.0));
        if !sound {
            return Err(wrong("it has no size that can be cut".into()));
        }
        Ok(RoughPart { cloth, area, size, count })
    }
}

/// A cloth of which nothing is known but its name: no roll of its own, and no offer.
pub fn plain_cloth(name: &str) -> Cloth {
    Cloth {
        id: name.to_string(),
        name: name.to_string(),
        library: None,
        weave: Weave::None,
        balanced: true,
        one_way: false,
        twill_line: None,
        up: Backing::Bare,
        roll_width: 0.0,
        selvedge: 0.0,
        roll_length: None,
        flaws: Vec::new(),
        areal_mass: None,
        resin_content: None,
        fibre_density: None,
        price: None,
        material: Material::Fibre,
        thickness: None,
        resin_density: None,
        batch: None,
        out_life_hours: None,
        expiry: None,
        offers: Vec::new(),
    }
}

/// How much to buy for rough parts. A part without a cloth is of the first. What the stock's sound
/// rolls hold is taken off.
///
/// # Errors
/// A cloth that is not among `cloths`; a part that no width of its cloth takes.
pub fn rough(
    parts: &[RoughPart],
    cloths: &[Cloth],
    sets: u32,
    waste: &Waste,
    spare: Spare,
    stock: Option<&Snapshot>,
    currency: &str,
) -> Result<Estimate, Faults> {
    let mut faults = Faults::new();
    let mut by_cloth: Vec<(&Cloth, Vec<&RoughPart>)> = Vec::new();
    for part in parts {
        let found = cloths.iter().find(|c| part.cloth.as_ref().is_none_or(|id| *id == c.id));
        let Some(cloth) = found else {
            let known: Vec<&str> = cloths.iter().map(|c| c.id.as_str()).collect();
            let what =
                said!("there is no cloth {}", quoted(part.cloth.as_deref().unwrap_or_default()));
            faults.push(Fault::new(what, said!("the job has {}", known.join(", "))));
            continue;
        };
        match by_cloth.iter_mut().find(|c| c.0.id == cloth.id) {
            Some(entry) => entry.1.push(part),
            None => by_cloth.push((cloth, vec![part])),
        }
    }
    let mut out = Vec::new();
    for (cloth, parts) in by_cloth {
        let area: f64 = parts.iter().map(|p| p.area * f64::from(p.count) * f64::from(sets)).sum();
        let at_hand = stock.map_or(0.0, |s| rolls_at_hand(s, &cloth.id));
        let missing = waste.cloth(area).map(|a| (a - at_hand).max(0.0));
        let enough = stock.is_some() && missing[2] == 0.0;
        let mut rows: Vec<WidthFigures> = widths(cloth)
            .into_iter()
            .map(|w| row(cloth, w, &parts, area, missing, spare))
            .collect();
        if let (true, Some(why)) =
            (rows.iter().all(|r| r.needed.is_none()), rows.last().and_then(|r| r.why_not.clone()))
        {
            faults.push(Fault::new(
                said!("no width of {} takes it: {why}", cloth.id),
                "split the part, or offer a wider roll",
            ));
        }
        mark_best(&mut rows);
        let mut notes = if at_hand > 0.0 {
            vec![format!("{:.2} m² on rolls in the stock are taken off", at_hand / 1e6)]
        } else {
            Vec::new()
        };
        let unmeasured = stock
            .into_iter()
            .flat_map(|s| sound_rolls(s, &cloth.id))
            .filter(|r| r.facts().length.is_none());
        notes.extend(unmeasured.map(|r| {
            format!("{} is not taken off: the stock does not say how much is on it", r.id())
        }));
        let (cloth, name) = (cloth.id.clone(), cloth.name.clone());
        out.push(ClothEstimate { cloth, name, pieces_area: area, widths: rows, enough, notes });
    }
    faults.into_result(summed(Estimate {
        cloths: out,
        finishes: Vec::new(),
        cost: None,
        mass: None,
        currency: currency.to_string(),
        seeds: Vec::new(),
        spare: spare_in_words(spare),
        waste: Some(waste.clone()),
        interrupted: false,
    }))
}

/// Area of the sound rolls of a cloth whose length is known, mm².
fn rolls_at_hand(stock: &Snapshot, cloth: &str) -> f64 {
    sound_rolls(stock, cloth).filter_map(|r| Some(r.facts().length? * r.facts().width)).sum()
}

fn sound_rolls<'s>(stock: &'s Snapshot, cloth: &'s str) -> impl Iterator<Item = &'s Roll> {
    stock.rolls.iter().filter(move |r| r.cloth() == cloth && r.age().is_sound(stock.day))
}

fn row(
    cloth: &Cloth,
    width: f64,
    parts: &[&RoughPart],
    area: f64,
    missing: [f64; 3],
    spare: Spare,
) -> WidthFigures {
    let usable = width - 2.0 * cloth.selvedge;
    let [least, expected, most] = missing.map(|a| a / width);
    let mut row = WidthFigures {
        needed: Some([least, most]),
        ..empty_row(cloth, width, width == cloth.roll_width)
    };
    if let Some([a, b]) = parts.iter().filter_map(|p| p.size).find(|[a, b]| a.min(*b) > usable) {
        row.needed = None;
        row.why_not = Some(format!(
            "a part of {} x {} is wider than {}",
            show_mm(a),
            show_mm(b),
            show_mm(usable)
        ));
        return row;
    }
    row.yield_ = if expected > 0.0 { (area / (expected * width)).min(1.0) } else { 1.0 };
    if expected > 0.0 {
        row.spare = match spare {
            Spare::PerCent(p) => expected * p / 100.0,
            // Of a rough part the length along the roll is not known: its longer side, or the side
            // of a square.
            Spare::LargestPiece => parts
                .iter()
                .map(|p| p.size.map_or(p.area.sqrt(), |[a, b]| a.max(b)))
                .fold(0.0, f64::max),
        };
        priced(&mut row, cloth, expected);
    }
    row
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::cloth::Price;

    #[test]
    fn parts_as_people_write_them() {
        let read = |text: &str| RoughPart::parse(text).unwrap();
        let part = read("twill-204: 0.35 m2 x 4");
        assert_eq!(
            (part.cloth.as_deref(), part.area, part.size, part.count),
            (Some("twill-204"), 350_000.0, None, 4)
        );
        assert_eq!(read("0.8 m²").count, 1);
        let part = read("700 x 520 × 2");
        assert_eq!((part.cloth, part.area, part.count), (None, 364_000.0, 2));
        assert_eq!(read("c: 0.7 m x 52 cm").area, 364_000.0);
        for text in [
            "",
            "x",
            "700",
            "700 x",
            "0 m2",
            "-1 m2 x 2",
            "nan m2",
            "1 m2 x 0",
            "1 m2 x 1.5",
            "700 x 520 x 2 x 3",
            "0 x 5",
            "1e9 m2",
        ] {
            assert!(RoughPart::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_quarter_of_the_roll_is_wasted_and_a_tenth_is_spare() {
        let cloth =
            Cloth { roll_width: 1000.0, price: Some(Price::PerMetre(50.0)), ..plain_cloth("c") };
        let parts = [RoughPart::parse("0.375 m2 x 2").unwrap()];
        let found =
            rough(&parts, &[cloth], 2, &Waste::usual(), Spare::PerCent(10.0), None, "EUR").unwrap();
        let row = found.cloths[0].widths.iter().find(|w| w.width == 1000.0).unwrap();
        // 1.5 m² at 75 % are 2 m, with spare 2.2, sold in half metres.
        assert_eq!(
            (row.spare, row.buy.as_ref().unwrap().length, row.buy.as_ref().unwrap().cost),
            (200.0, 2500.0, Some(125.0))
        );
        let [least, most] = row.needed.unwrap();
        assert!((least - 1500.0 / 0.85).abs() < 1e-9 && (most - 1500.0 / 0.65).abs() < 1e-9);
    }

    #[test]
    fn an_unknown_cloth_and_a_part_too_wide_are_told() {
        let cloths = [plain_cloth("c")];
        let ask = |text: &str| {
            rough(
                &[RoughPart::parse(text).unwrap()],
                &cloths,
                1,
                &Waste::usual(),
                Spare::PerCent(10.0),
                None,
                "",
            )
        };
        assert!(ask("d: 1 m2").unwrap_err().to_string().contains("no cloth"));
        assert!(ask("2000 x 1800").unwrap_err().to_string().contains("wider than"));
        let some = ask("2000 x 1400").unwrap();
        assert_eq!(
            some.cloths[0].widths.iter().filter(|w| w.needed.is_some()).count(),
            1,
            "only the widest takes it"
        );
    }

    /// A roll whose length nobody wrote down was passed over without a word.
    #[test]
    fn a_roll_of_unknown_length_is_told() {
        use crate::stock::Day;
        let text = r#"{ "schema": 1, "rolls": [ {"id": "roll-7", "cloth": "c", "width": 1000, "added": "2026-01-05"} ] }"#;
        let stock = Snapshot::from_json(text, Day::parse("2026-11-25").unwrap()).unwrap();
        let parts = [RoughPart::parse("1 m2").unwrap()];
        let found = rough(
            &parts,
            &[plain_cloth("c")],
            1,
            &Waste::usual(),
            Spare::PerCent(10.0),
            Some(&stock),
            "",
        )
        .unwrap();
        assert!(
            found.cloths[0].notes.iter().any(|n| n.contains("roll-7 is not taken off")),
            "{:?}",
            found.cloths[0].notes
        );
    }
}
