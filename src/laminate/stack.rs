//! One sheet of cloth in the finished part, and a stack of them in code and words.

use crate::cloth::{Material, Weave};
use crate::plan::PlanCloth;
use crate::units::show_number;

/// Densities where the job gives none, g/cm³ (common practice, no source).
const FIBRE_DENSITY: f64 = 1.80;
const RESIN_DENSITY: f64 = 1.20;

/// A layer of a cloth in the finished part: g/m² and mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sheet {
    /// Fibre, g/m².
    pub fibre: f64,
    /// Resin, g/m².
    pub resin: f64,
    /// Core or adhesive film, g/m².
    pub other: f64,
    /// Cured thickness, mm.
    pub thickness: f64,
    /// What the fibres alone would fill, mm.
    pub fibre_thickness: f64,
}

/// The sheet of a cloth, if its areal mass is known; what had to be assumed is added to `assumed`.
///
/// `t = FAW / (1000 ρf) + FAW RC / ((1 - RC) 1000 ρm)`, rule of mixtures (from memory); no voids, no bleed.
pub fn sheet(cloth: &PlanCloth, assumed: &mut Vec<String>) -> Option<Sheet> {
    let Some(faw) = cloth.areal_mass else {
        assumed.push(format!("{}: no areal mass is given, so its thickness and mass are left out", cloth.cloth));
        return None;
    };
    if cloth.material != Material::Fibre {
        return Some(Sheet { fibre: 0.0, resin: 0.0, other: faw, thickness: cloth.thickness?, fibre_thickness: 0.0 });
    }
    let mut density = |given: Option<f64>, what: &str, usual: f64| {
        given.unwrap_or_else(|| {
            assumed.push(format!("{}: {what} density taken as {usual:.2} g/cm³", cloth.cloth));
            usual
        })
    };
    let rc = cloth.resin_content.unwrap_or(0.0);
    let fibre_thickness = faw / (1000.0 * density(cloth.fibre_density, "fibre", FIBRE_DENSITY));
    let resin = faw * rc / (1.0 - rc);
    let worked_out =
        fibre_thickness + if resin > 0.0 { resin / (1000.0 * density(cloth.resin_density, "resin", RESIN_DENSITY)) } else { 0.0 };
    if rc == 0.0 {
        assumed.push(format!("{}: no resin content is given, so it counts as dry cloth", cloth.cloth));
    }
    Some(Sheet { fibre: faw, resin, other: 0.0, thickness: cloth.thickness.unwrap_or(worked_out), fibre_thickness })
}

fn find<'p>(cloths: &'p [PlanCloth], id: &str) -> Option<&'p PlanCloth> {
    cloths.iter().find(|c| c.cloth == id)
}

/// The laminate code of a stack (cloth, angle), first ply laid first: repeats as a number after the angle, `f` for fabric, `T` for
/// the total or `S` for half a symmetric stack with an odd centre ply overlined. Cores and films stand by their name; where
/// several fibre cloths meet, the cloth's name follows its angle.
pub fn code(plies: &[(String, f64)], cloths: &[PlanCloth]) -> String {
    let fibre = |id: &str| find(cloths, id).is_none_or(|c| c.material == Material::Fibre);
    let mut kinds: Vec<&str> = plies.iter().map(|p| p.0.as_str()).filter(|id| fibre(id)).collect();
    kinds.sort_unstable();
    kinds.dedup();
    let one = |(id, angle): &(String, f64)| {
        if !fibre(id) {
            return id.clone();
        }
        let f = if find(cloths, id).is_some_and(|c| c.weave != Weave::Unidirectional) { "f" } else { "" };
        format!("{}{f}{}", show_number(*angle, 1), if kinds.len() > 1 { format!(" {id}") } else { String::new() })
    };
    let names: Vec<String> = plies.iter().map(one).collect();
    let symmetric = names.len() > 1 && names.iter().eq(names.iter().rev());
    let half = if symmetric { names.len() / 2 } else { names.len() };
    let mut words: Vec<(String, usize)> = Vec::new();
    for name in &names[..half] {
        match words.last_mut() {
            Some((last, n)) if last == name => *n += 1,
            _ => words.push((name.clone(), 1)),
        }
    }
    let mut words: Vec<String> = words.into_iter().map(|(w, n)| if n > 1 { format!("({w}){n}") } else { w }).collect();
    if symmetric && names.len() % 2 == 1 {
        words.extend(names.get(half).map(|n| n.chars().flat_map(|c| [c, '\u{305}']).collect::<String>()));
    }
    format!("[{}]{}", words.join("/"), if symmetric { "S" } else { "T" })
}

/// Whether the stack is symmetric and balanced, in plain words.
pub fn remarks(plies: &[(String, f64)], cloths: &[PlanCloth]) -> Vec<String> {
    let mut out = Vec::new();
    // A balanced fabric is the same at a quarter turn, anything else at a half turn.
    let period = |id: &str| if find(cloths, id).is_some_and(|c| c.balanced && c.weave != Weave::Unidirectional) { 90.0 } else { 180.0 };
    let folded = |(id, angle): &(String, f64)| (id.clone(), (angle.rem_euclid(period(id)) * 1000.0).round() as i64);
    let all: Vec<_> = plies.iter().map(folded).collect();
    if plies.len() > 1 {
        out.push(
            if all.iter().eq(all.iter().rev()) {
                "symmetric: it stays flat as it cools"
            } else {
                "not symmetric: a flat part may warp as it cools"
            }
            .into(),
        );
    }
    let whole = |id: &str| (period(id) * 1000.0) as i64;
    let count = |ply: &(String, i64)| all.iter().filter(|p| *p == ply).count();
    let balanced = all.iter().all(|(id, a)| {
        let other = (whole(id) - a) % whole(id);
        *a * 2 % whole(id) == 0 || count(&(id.clone(), *a)) == count(&(id.clone(), other))
    });
    if !balanced {
        out.push("not balanced: pulled along 0° it also shears; lay a -angle ply for each +angle ply".into());
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::cloth::Backing;

    fn cloth(weave: Weave, faw: f64, rc: f64, rf: f64, rm: f64) -> PlanCloth {
        PlanCloth {
            cloth: "c".into(),
            name: "c".into(),
            weave,
            balanced: true,
            one_way: false,
            twill_line: None,
            up: Backing::Paper,
            areal_mass: Some(faw),
            resin_content: Some(rc),
            fibre_density: Some(rf),
            material: Material::Fibre,
            thickness: None,
            resin_density: Some(rm),
            batch: None,
            out_life_hours: None,
        }
    }

    /// The values were worked out by a separate script from the rule of mixtures.
    #[test]
    fn thickness_and_mass_table() {
        let rows = [
            (200.0, 1.0 / 3.0, 1.80, 1.20, 0.5714, 0.1944, 300.00),
            (150.0, 0.35, 1.79, 1.25, 0.5646, 0.1484, 230.77),
            (204.0, 0.42, 1.78, 1.22, 0.4863, 0.2357, 351.72),
            (416.0, 0.37, 1.80, 1.20, 0.5316, 0.4347, 660.32),
            (300.0, 0.40, 2.54, 1.20, 0.4147, 0.2848, 500.00),
        ];
        for (faw, rc, rf, rm, vf, t, mass) in rows {
            let s = sheet(&cloth(Weave::Plain, faw, rc, rf, rm), &mut Vec::new()).unwrap();
            assert!((s.fibre_thickness / s.thickness - vf).abs() < 5e-5, "{faw}");
            assert!((s.thickness - t).abs() < 5e-5, "{faw}: {}", s.thickness);
            assert!((s.fibre + s.resin - mass).abs() < 5e-3, "{faw}");
        }
    }

    /// A measured sheet, 6.29 g of which 4.24 g carbon, density ratio 1.6: fibre volume 0.56 (avdweb.nl, composites theory).
    #[test]
    fn measured_sheet() {
        let s = sheet(&cloth(Weave::Plain, 4.24, 1.0 - 4.24 / 6.29, 1.6, 1.0), &mut Vec::new()).unwrap();
        assert!((s.fibre_thickness / s.thickness - 0.56).abs() < 5e-3);
    }

    /// The style of the code is that of TM 1-1500-204-23-11, sheets 115 and 116.
    #[test]
    fn codes() {
        let c = [cloth(Weave::Unidirectional, 150.0, 0.35, 1.8, 1.2)];
        let stack = |angles: &[f64]| angles.iter().map(|a| ("c".to_string(), *a)).collect::<Vec<_>>();
        assert_eq!(code(&stack(&[0.0, 45.0, 90.0]), &c), "[0/45/90]T");
        assert_eq!(code(&stack(&[0.0, 45.0, -45.0, 90.0, 90.0, -45.0, 45.0, 0.0]), &c), "[0/45/-45/90]S");
        assert_eq!(code(&stack(&[0.0, 45.0, 0.0]), &c), "[0/4\u{305}5\u{305}]S");
        assert_eq!(code(&stack(&[0.0, 0.0, 45.0]), &c), "[(0)2/45]T");
        assert!(remarks(&stack(&[0.0, 45.0]), &c).iter().any(|r| r.starts_with("not balanced")));
        assert!(!remarks(&stack(&[45.0, -45.0]), &c).iter().any(|r| r.starts_with("not balanced")));
    }
}
