//! One layer of cloth in the finished part.

use crate::cloth::Material;
use crate::plan::PlanCloth;
use serde::Serialize;

/// Densities where the job gives none, g/cm³ (common practice, no source).
const FIBRE_DENSITY: f64 = 1.80;
const RESIN_DENSITY: f64 = 1.20;

/// A layer of a cloth in the finished part: g/m² and mm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
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

impl Sheet {
    /// All of it, g/m².
    pub fn areal_mass(&self) -> f64 {
        self.fibre + self.resin + self.other
    }
}

/// The sheet of a cloth, if its areal mass is known; what had to be assumed is added to `assumed`.
///
/// `t = FAW / (1000 ρf) + FAW RC / ((1 - RC) 1000 ρm)`, rule of mixtures (from memory); no voids,
/// no bleed.
pub(super) fn sheet(cloth: &PlanCloth, assumed: &mut Vec<String>) -> Option<Sheet> {
    let Some(faw) = cloth.areal_mass else {
        assumed.push(format!(
            "{}: the job gives no areal mass, so its mass and thickness are left out",
            cloth.name
        ));
        return None;
    };
    if cloth.material != Material::Fibre {
        return Some(Sheet {
            fibre: 0.0,
            resin: 0.0,
            other: faw,
            thickness: cloth.thickness?,
            fibre_thickness: 0.0,
        });
    }
    let mut density = |given: Option<f64>, what: &str, usual: f64| {
        given.unwrap_or_else(|| {
            assumed.push(format!(
                "{}: the job gives no {what} density, {usual:.2} g/cm³ is taken",
                cloth.name
            ));
            usual
        })
    };
    let rc = cloth.resin_content.unwrap_or(0.0);
    let fibre_thickness = faw / (1000.0 * density(cloth.fibre_density, "fibre", FIBRE_DENSITY));
    let resin = faw * rc / (1.0 - rc);
    let worked_out = fibre_thickness
        + if resin > 0.0 {
            resin / (1000.0 * density(cloth.resin_density, "resin", RESIN_DENSITY))
        } else {
            0.0
        };
    if cloth.resin_content.is_none() {
        assumed.push(format!(
            "{}: the job gives no resin content, so it counts as dry cloth",
            cloth.name
        ));
    } else if rc == 0.0 {
        assumed.push(format!(
            "{}: dry cloth (resin content 0): the resin that is added is in no figure",
            cloth.name
        ));
    }
    Some(Sheet {
        fibre: faw,
        resin,
        other: 0.0,
        thickness: cloth.thickness.unwrap_or(worked_out),
        fibre_thickness,
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::super::stack::tests::cloth;
    use super::*;
    use crate::cloth::Weave;

    fn made_of(faw: f64, rc: f64, rf: f64, rm: f64) -> Sheet {
        let cloth = PlanCloth {
            areal_mass: Some(faw),
            resin_content: Some(rc),
            fibre_density: Some(rf),
            resin_density: Some(rm),
            ..cloth("c", Weave::Plain)
        };
        sheet(&cloth, &mut Vec::new()).unwrap()
    }

    /// Worked out by a separate script from the rule of mixtures.
    #[test]
    fn thickness_and_mass_table() {
        let rows = [
            (200.0, 1.0 / 3.0, 1.80, 1.20, 0.5714, 0.1944, 300.00, 1.5429),
            (150.0, 0.35, 1.79, 1.25, 0.5646, 0.1484, 230.77, 1.5549),
            (204.0, 0.42, 1.78, 1.22, 0.4863, 0.2357, 351.72, 1.4923),
            (416.0, 0.37, 1.80, 1.20, 0.5316, 0.4347, 660.32, 1.5190),
            (300.0, 0.40, 2.54, 1.20, 0.4147, 0.2848, 500.00, 1.7558),
        ];
        for (faw, rc, rf, rm, vf, t, mass, density) in rows {
            let s = made_of(faw, rc, rf, rm);
            assert!((s.fibre_thickness / s.thickness - vf).abs() < 5e-5, "{faw}");
            assert!((s.thickness - t).abs() < 5e-5, "{faw}: {}", s.thickness);
            assert!((s.areal_mass() - mass).abs() < 5e-3, "{faw}");
            assert!((s.areal_mass() / s.thickness / 1000.0 - density).abs() < 5e-5, "{faw}");
            // Vf = n FAW / (1000 ρf t), lecture note "Fibre Volume Fraction and Laminate
            // Thickness", citing Hull.
            assert!((4.0 * faw / (1000.0 * rf * 4.0 * s.thickness) - vf).abs() < 5e-5);
            // Fibre content from thickness, Vr% = 0.1 Ar N / (ρr h), ASTM D3171 method II, from
            // memory.
            assert!((0.1 * faw / (rf * s.thickness) - 100.0 * vf).abs() < 5e-3);
        }
    }

    /// A measured sheet, 6.29 g of which 4.24 g carbon, density ratio 1.6: fibre volume 0.56
    /// (avdweb.nl, composites theory).
    #[test]
    fn measured_sheet() {
        let s = made_of(4.24, 1.0 - 4.24 / 6.29, 1.6, 1.0);
        assert!((s.fibre_thickness / s.thickness - 0.56).abs() < 5e-3);
    }

    /// 193 g/m² carbon plain weave at 42 % resin, about 0.218 mm a ply (AGATE report of 2002, from
    /// memory).
    #[test]
    fn a_published_ply() {
        assert!((made_of(193.0, 0.42, 1.78, 1.22).thickness - 0.218).abs() < 0.01);
    }

    #[test]
    fn what_is_unknown_is_said() {
        let mut said = Vec::new();
        let bare = PlanCloth { areal_mass: Some(200.0), ..cloth("c", Weave::Plain) };
        let s = sheet(&PlanCloth { resin_content: Some(0.4), ..bare.clone() }, &mut said).unwrap();
        assert!((s.thickness - (200.0 / 1800.0 + 200.0 * 0.4 / 0.6 / 1200.0)).abs() < 1e-12);
        assert!(
            said.len() == 2
                && said[0].contains("fibre density, 1.80")
                && said[1].contains("resin density, 1.20"),
            "{said:?}"
        );
        said.clear();
        assert_eq!(sheet(&bare, &mut said).unwrap().resin, 0.0);
        assert!(said.iter().any(|w| w.contains("counts as dry")), "{said:?}");
        assert!(sheet(&cloth("c", Weave::Plain), &mut said).is_none());
        let core = PlanCloth {
            material: Material::Core,
            thickness: Some(3.0),
            areal_mass: Some(144.0),
            ..cloth("c", Weave::None)
        };
        let s = sheet(&core, &mut said).unwrap();
        assert_eq!((s.other, s.fibre, s.thickness), (144.0, 0.0, 3.0));
    }
}
