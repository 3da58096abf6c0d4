//! The share of a roll that is not cut to pieces, learned from what was cut before.

use serde::Serialize;

/// Waste where nothing was booked yet, and how far from it a plan may come out, per cent of the
/// roll (common practice, no source).
const USUAL: [f64; 3] = [15.0, 25.0, 35.0];

/// Per cent to either side of the waste of a single plan, or of a word of the user.
const ABOUT: f64 = 10.0;

/// Waste of the roll, selvedges included, per cent: least, expected, most.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Waste {
    /// Least, expected, most.
    pub per_cent: [f64; 3],
    /// Where it comes from, in words.
    pub by: String,
}

impl Waste {
    /// What is usual.
    pub fn usual() -> Waste {
        Waste { per_cent: USUAL, by: "common practice, no source: nothing was booked yet".into() }
    }

    /// The user's word.
    pub fn told(per_cent: f64) -> Waste {
        Waste {
            per_cent: [(per_cent - ABOUT).max(0.0), per_cent, (per_cent + ABOUT).min(95.0)],
            by: "as told".into(),
        }
    }

    /// From the areas (mm²) of the pieces and of the cloth consumed of plans that were cut: all
    /// together, from the best to the worst.
    pub fn learned(plans: &[[f64; 2]]) -> Option<Waste> {
        let plans: Vec<[f64; 2]> = plans
            .iter()
            .copied()
            .filter(|[pieces, cloth]| *pieces > 0.0 && cloth > pieces)
            .collect();
        let waste = |[pieces, cloth]: [f64; 2]| 100.0 * (1.0 - pieces / cloth);
        let sum = plans.iter().fold([0.0, 0.0], |a, p| [a[0] + p[0], a[1] + p[1]]);
        let (least, most) = plans
            .iter()
            .map(|p| waste(*p))
            .fold((f64::INFINITY, 0.0_f64), |(a, b), w| (a.min(w), b.max(w)));
        match plans.len() {
            0 => None,
            1 => Some(Waste { by: "one booked plan".into(), ..Waste::told(waste(sum)) }),
            n => {
                Some(Waste { per_cent: [least, waste(sum), most], by: format!("{n} booked plans") })
            }
        }
    }

    /// Area of cloth, mm², for pieces of an area: least, expected, most.
    pub(super) fn cloth(&self, pieces: f64) -> [f64; 3] {
        self.per_cent.map(|w| pieces / (1.0 - w.clamp(0.0, 95.0) / 100.0))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn waste_is_learned_from_what_was_cut() {
        assert_eq!(Waste::learned(&[]), None);
        assert_eq!(Waste::learned(&[[0.0, 0.0], [5.0, 4.0]]), None, "figures that cannot be");
        let [least, expected, most] = Waste::learned(&[[7.0, 10.0], [8.0, 10.0]]).unwrap().per_cent;
        assert!(
            (least - 20.0).abs() < 1e-9
                && (expected - 25.0).abs() < 1e-9
                && (most - 30.0).abs() < 1e-9
        );
        assert_eq!(Waste::learned(&[[3.0, 4.0]]).unwrap().per_cent, [15.0, 25.0, 35.0]);
    }
}
