//! Rolls and offcuts, valid by construction.

use super::{Age, Day, name_fault};
use crate::cloth::Face;
use crate::fault::{Fault, Faults};
use crate::geometry::{Bounds, Motion, Point, Region, Ring, largest_rectangle, point};
use crate::outline::{Draft, Outline};
use crate::units::{LARGEST, show_mm, snap};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Narrower than this is no cloth to cut from, mm.
const LEAST_SIZE: f64 = 1.0;
/// Most flaws of one roll or offcut: all pieces of a plan that is booked in part, and some more.
const MOST_FLAWS: usize = 25_000;

/// An offcut as people record it; [`Offcut::new`] checks it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct OffcutFacts {
    /// Its name in the stock, as its label says: `off-17`.
    pub id: String,
    /// Cloth id, as jobs name it.
    pub cloth: String,
    /// Its outline, mm, warp along +x, seen with `face` up; not closed.
    pub outline: Ring,
    /// Its holes.
    #[serde(default)]
    pub holes: Vec<Ring>,
    /// Places that no piece may cover, same frame: stains, creases, pieces already cut from it.
    #[serde(default)]
    pub flaws: Vec<Ring>,
    /// Which face of the cloth was up when the outline was taken.
    #[serde(default = "up")]
    pub face: Face,
    /// Batch on the roll's label.
    #[serde(default)]
    pub batch: Option<String>,
    /// Expiry and out-life.
    #[serde(default)]
    pub age: Age,
    /// Where it lies.
    #[serde(default)]
    pub place: Option<String>,
    /// Since when it is in the stock.
    pub added: Day,
    /// The roll or offcut it was left of.
    #[serde(default)]
    pub parent: Option<String>,
    /// Rises with every change of what can be cut from it: how a plan knows that it has gone stale.
    #[serde(default)]
    pub revision: u32,
}

/// Face up, for files that do not say.
fn up() -> Face {
    Face::Up
}

/// A kept piece of cloth of known shape.
///
/// Valid by construction: its outline is simple, its holes lie apart inside it, it is on the 1 µm
/// grid and no wider than 100 m.
#[derive(Clone, Debug, PartialEq)]
pub struct Offcut {
    facts: OffcutFacts,
    region: Region,
    flaws: Vec<Ring>,
}

impl Offcut {
    /// Checks an offcut and brings it into the planning frame.
    ///
    /// # Errors
    /// Every fault of its outline, holes, flaws, names and hours.
    pub fn new(facts: OffcutFacts) -> Result<Offcut, Faults> {
        let mut faults = Faults::new();
        check_names(&facts.id, &facts.cloth, &facts.batch, &facts.place, &mut faults);
        facts.age.check(&facts.id, &mut faults);
        let draft = Draft {
            name: facts.id.clone(),
            net: facts.outline.clone(),
            holes: facts.holes.clone(),
            ..Draft::default()
        };
        let outline = faults.keep(Outline::new(draft).map_err(|f| named(f, &facts.id)));
        let flaws = faults.keep(flaw_rings(&facts.id, &facts.flaws));
        let (Some(outline), Some(flaws)) = (outline, flaws) else {
            return Err(faults);
        };
        let seen = Region { outline: outline.net().clone(), holes: outline.holes().to_vec() };
        // Turned over about the warp if it was seen from its other face, then its box to the
        // origin.
        let turned = Motion::new(0.0, facts.face == Face::Down, point(0.0, 0.0));
        let low = turned.region(&seen).bounds().map_or(point(0.0, 0.0), |b| b.min);
        let motion = Motion::new(0.0, facts.face == Face::Down, point(-low.x, -low.y));
        let flaws = flaws.iter().map(|f| anticlockwise(motion.ring(f))).collect();
        let offcut = Offcut { region: motion.region(&seen), flaws, facts };
        let b = offcut.bounds();
        if b.width() < LEAST_SIZE || b.height() < LEAST_SIZE {
            let what = said!("measures {} by {}", show_mm(b.width()), show_mm(b.height()));
            faults.push(
                Fault::new(what, "check the unit: lengths are mm unless a unit is given")
                    .on(&offcut.facts.id),
            );
        }
        faults.into_result(offcut)
    }

    /// What was recorded of it.
    pub fn facts(&self) -> &OffcutFacts {
        &self.facts
    }

    /// Its name.
    pub fn id(&self) -> &str {
        &self.facts.id
    }

    /// Its cloth.
    pub fn cloth(&self) -> &str {
        &self.facts.cloth
    }

    /// Its age.
    pub fn age(&self) -> &Age {
        &self.facts.age
    }

    /// Its shape as planning uses it: warp along +x, up face up, lower left corner of its box at
    /// the origin, mm.
    pub fn region(&self) -> &Region {
        &self.region
    }

    /// Places that no piece may cover, in the frame of [`Offcut::region`], anticlockwise, mm.
    pub fn flaws(&self) -> &[Ring] {
        &self.flaws
    }

    /// The box around it; its lower left corner is the origin.
    pub fn bounds(&self) -> Bounds {
        self.region.bounds().unwrap_or(Bounds { min: point(0.0, 0.0), max: point(0.0, 0.0) })
    }

    /// Area without its holes, mm²; flaws count as cloth.
    pub fn area(&self) -> f64 {
        self.region.area()
    }

    /// The largest rectangle along the warp that fits in it, flaws not heeded. Worked out anew at
    /// every call.
    pub fn largest_rectangle(&self) -> Option<Bounds> {
        largest_rectangle(&self.region)
    }
}

/// A roll as people record it; [`Roll::new`] checks it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct RollFacts {
    /// Its name in the stock: `roll-2`.
    pub id: String,
    /// Cloth id, as jobs name it.
    pub cloth: String,
    /// Width over the selvedges, mm.
    pub width: f64,
    /// Length left, mm; `None` if nobody measured it.
    #[serde(default)]
    pub length: Option<f64>,
    /// Places that no piece may cover, mm, from the free end and the lower edge, up face up: flaws,
    /// and pieces already cut from it.
    #[serde(default)]
    pub flaws: Vec<Ring>,
    /// Batch on its label.
    #[serde(default)]
    pub batch: Option<String>,
    /// Expiry and out-life.
    #[serde(default)]
    pub age: Age,
    /// Where it lies.
    #[serde(default)]
    pub place: Option<String>,
    /// Since when it is in the stock.
    pub added: Day,
    /// Rises with every change of what can be cut from it: how a plan knows that it has gone stale.
    #[serde(default)]
    pub revision: u32,
}

/// A roll, valid by construction: sizes positive and supported, flaws simple rings, anticlockwise.
#[derive(Clone, Debug, PartialEq)]
pub struct Roll {
    facts: RollFacts,
}

impl Roll {
    /// Checks a roll.
    ///
    /// # Errors
    /// Every fault of its sizes, flaws, names and hours.
    pub fn new(mut facts: RollFacts) -> Result<Roll, Faults> {
        let mut faults = Faults::new();
        check_names(&facts.id, &facts.cloth, &facts.batch, &facts.place, &mut faults);
        facts.age.check(&facts.id, &mut faults);
        if !(LEAST_SIZE..=LARGEST).contains(&facts.width) {
            let what = said!(
                "its width is {}, outside {} to {:.0} m",
                show_mm(facts.width),
                show_mm(LEAST_SIZE),
                LARGEST / 1000.0
            );
            faults.push(Fault::new(what, "give the width over the selvedges").on(&facts.id));
        }
        // A roll may hold more than a plan can use.
        if facts.length.is_some_and(|l| !(0.0..=100.0 * LARGEST).contains(&l)) {
            let what = said!("its length is {}", show_mm(facts.length.unwrap_or(0.0)));
            faults.push(
                Fault::new(what, "give the length left on it, 0 or more, or leave it out")
                    .on(&facts.id),
            );
        }
        if let Some(flaws) = faults.keep(flaw_rings(&facts.id, &facts.flaws)) {
            facts.flaws = flaws;
        }
        facts.width = snap(facts.width);
        facts.length = facts.length.map(snap);
        faults.into_result(Roll { facts })
    }

    /// What was recorded of it.
    pub fn facts(&self) -> &RollFacts {
        &self.facts
    }

    /// Its name.
    pub fn id(&self) -> &str {
        &self.facts.id
    }

    /// Its cloth.
    pub fn cloth(&self) -> &str {
        &self.facts.cloth
    }

    /// Its age.
    pub fn age(&self) -> &Age {
        &self.facts.age
    }
}

fn check_names(
    id: &str,
    cloth: &str,
    batch: &Option<String>,
    place: &Option<String>,
    faults: &mut Faults,
) {
    let texts = [
        ("its name", Some(id)),
        ("its cloth", Some(cloth)),
        ("its batch", batch.as_deref()),
        ("its place", place.as_deref()),
    ];
    faults.0.extend(
        texts.into_iter().filter_map(|(what, text)| name_fault(what, text?)).map(|f| f.on(id)),
    );
}

/// The same faults, said of a named thing where they do not tell a position.
fn named(faults: Faults, id: &str) -> Faults {
    use crate::fault::Place;
    let on = |f: Fault| match f.place {
        Place::Whole => f.on(id),
        Place::At { what, x, y } if !what.contains(id) => {
            Fault { place: Place::At { what: format!("{id}, {what}"), x, y }, ..f }
        }
        _ => f,
    };
    Faults(faults.0.into_iter().map(on).collect())
}

/// True of a ring that can be recorded as a flaw.
pub(crate) fn can_be_flaw(ring: &Ring) -> bool {
    Outline::new(Draft { net: ring.clone(), ..Draft::default() }).is_ok()
}

/// Flaws as simple rings, anticlockwise, on the grid.
fn flaw_rings(id: &str, flaws: &[Ring]) -> Result<Vec<Ring>, Faults> {
    let mut faults = Faults::new();
    if flaws.len() > MOST_FLAWS {
        faults.push(
            Fault::new(
                said!("has {} flaws; at most {MOST_FLAWS} are taken", flaws.len()),
                "join those that lie together",
            )
            .on(id),
        );
        return Err(faults);
    }
    let mut rings = Vec::new();
    for (i, flaw) in flaws.iter().enumerate() {
        let draft = Draft {
            name: format!("flaw {} of {id}", i + 1),
            net: flaw.clone(),
            ..Draft::default()
        };
        rings.extend(faults.keep(Outline::new(draft)).map(|o| o.net().clone()));
    }
    faults.into_result(rings)
}

fn anticlockwise(mut ring: Vec<Point>) -> Vec<Point> {
    if crate::geometry::ring_area(&ring) < 0.0 {
        ring.reverse();
    }
    ring
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn facts(outline: &[(f64, f64)]) -> OffcutFacts {
        OffcutFacts {
            id: "off-1".into(),
            cloth: "twill".into(),
            outline: outline.iter().map(|&(x, y)| point(x, y)).collect(),
            holes: Vec::new(),
            flaws: Vec::new(),
            face: Face::Up,
            batch: None,
            age: Age::default(),
            place: None,
            added: Day::parse("2026-11-25").unwrap(),
            parent: None,
            revision: 0,
        }
    }

    #[test]
    fn an_offcut_seen_face_down_is_turned_over_about_its_warp() {
        // An L whose foot lies at the lower right.
        let mut f = facts(&[
            (10.0, 20.0),
            (110.0, 20.0),
            (110.0, 40.0),
            (30.0, 40.0),
            (30.0, 80.0),
            (10.0, 80.0),
        ]);
        f.flaws = vec![vec![point(15.0, 60.0), point(25.0, 60.0), point(25.0, 75.0)]];
        let o = Offcut::new(f.clone()).unwrap();
        assert_eq!((o.bounds().min, o.bounds().max), (point(0.0, 0.0), point(100.0, 60.0)));
        assert!(
            o.region().outline.contains(&point(20.0, 60.0))
                && o.flaws()[0].contains(&point(5.0, 40.0))
        );
        f.face = Face::Down;
        let o = Offcut::new(f).unwrap();
        // Mirrored about x: what was the top is the bottom.
        assert!(
            o.region().outline.contains(&point(20.0, 0.0))
                && o.region().outline.contains(&point(100.0, 60.0))
        );
        assert!(o.flaws()[0].contains(&point(5.0, 20.0)));
        assert!(o.region().area() > 0.0 && crate::geometry::ring_area(&o.flaws()[0]) > 0.0);
        assert_eq!(o.area(), 100.0 * 20.0 + 20.0 * 40.0);
    }

    #[test]
    fn every_fault_is_found_at_once() {
        let mut f = facts(&[(0.0, 0.0), (100.0, 100.0), (100.0, 0.0), (0.0, 100.0)]);
        f.cloth = String::new();
        f.age.out_hours = -3.0;
        f.batch = Some("a\nb".into());
        let faults = Offcut::new(f).unwrap_err().to_string();
        for part in
            ["crosses itself", "its cloth is empty", "out of the freezer", "control character"]
        {
            assert!(faults.contains(part), "{part} in {faults}");
        }
        let roll = RollFacts {
            id: "roll-1".into(),
            cloth: "twill".into(),
            width: -5.0,
            length: Some(f64::NAN),
            flaws: Vec::new(),
            batch: None,
            age: Age::default(),
            place: None,
            added: Day::parse("2026-11-25").unwrap(),
            revision: 0,
        };
        assert_eq!(Roll::new(roll).unwrap_err().0.len(), 2);
    }
}
