//! What preparing worked out before, kept by what it was worked out from: after an edit only what
//! the edit touches is worked out again.

use super::Skin;
use super::allowance::Grown;
use crate::geometry::{Point, Region};
use crate::outline::EdgeKind;
use sha2::{Digest, Sha256};
use std::collections::BTreeMap;
use std::sync::{Mutex, PoisonError};

/// Most entries of each kind; beyond, all of them are forgotten.
const MOST: usize = 2000;

type Key = [u8; 32];

/// Grown outlines and arrows by the lines and sizes that they came of.
#[derive(Debug, Default)]
pub struct Kept {
    grown: Mutex<BTreeMap<Key, Grown>>,
    arrows: Mutex<BTreeMap<Key, [Point; 2]>>,
}

impl Kept {
    /// A skin's lines with their allowance; `grow` makes them if they are not known. What it could
    /// not make is not kept.
    pub(super) fn grown(
        &self,
        skin: &Skin,
        [trim, lap]: [f64; 2],
        grow: impl FnOnce() -> Option<Grown>,
    ) -> Option<Grown> {
        let mut hash = Lines::default();
        [&skin.net].into_iter().chain(&skin.holes).for_each(|ring| hash.points(ring));
        skin.cuts.iter().chain(&skin.marks).for_each(|line| hash.points(line));
        skin.no_splice.iter().for_each(|ring| hash.points(ring));
        let kind = |k: &EdgeKind| match k {
            EdgeKind::Trim => 0.0,
            EdgeKind::Lap => 1.0,
            EdgeKind::Butt => 2.0,
            EdgeKind::Dart => 3.0,
        };
        skin.edges.iter().map(kind).for_each(|k| hash.number(k));
        // The counts tell where one list ends and the next begins.
        for count in [skin.holes.len(), skin.cuts.len(), skin.marks.len()] {
            hash.number(count as f64);
        }
        hash.number(trim);
        hash.number(lap);
        kept(&self.grown, hash.key(), grow)
    }

    /// The arrow in an outline.
    pub(super) fn arrow(
        &self,
        outline: &Region,
        direction: f64,
        find: impl FnOnce() -> Option<[Point; 2]>,
    ) -> Option<[Point; 2]> {
        let mut hash = Lines::default();
        outline.rings().for_each(|ring| hash.points(ring));
        hash.number(direction);
        kept(&self.arrows, hash.key(), find)
    }
}

fn kept<T: Clone>(
    all: &Mutex<BTreeMap<Key, T>>,
    key: Key,
    make: impl FnOnce() -> Option<T>,
) -> Option<T> {
    let all = || all.lock().unwrap_or_else(PoisonError::into_inner);
    if let Some(known) = all().get(&key) {
        return Some(known.clone());
    }
    let made = make()?;
    let mut all = all();
    if all.len() >= MOST {
        all.clear();
    }
    all.insert(key, made.clone());
    Some(made)
}

/// A hash of lines and numbers.
#[derive(Default)]
struct Lines(Sha256);

impl Lines {
    fn number(&mut self, n: f64) {
        self.0.update(n.to_bits().to_le_bytes());
    }

    fn points(&mut self, points: &[Point]) {
        self.number(points.len() as f64);
        for p in points {
            self.number(p.x);
            self.number(p.y);
        }
    }

    fn key(self) -> Key {
        self.0.finalize().into()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::Kept;
    use crate::job;
    use crate::ply::{prepare, prepare_keeping};
    use crate::run::Run;
    use std::path::Path;

    /// What is kept is what would be worked out, after edits that change lines and after those
    /// that do not.
    #[test]
    fn pieces_are_the_same_whatever_is_kept() {
        let (mut job, _) = job::load(Path::new("demo-data/job.toml")).unwrap();
        let kept = Kept::default();
        let mut same = |change: &dyn Fn(&mut job::Job)| {
            change(&mut job);
            let jobs = std::slice::from_ref(&job);
            let keeping = prepare_keeping(&job, jobs, &kept, &Run::default()).unwrap();
            assert_eq!(keeping, prepare(&job).unwrap());
        };
        same(&|_| {});
        let known = kept.grown.lock().unwrap().len();
        assert!(known > 5, "{known}");
        same(&|job| job.cloths[0].selvedge += 1.0);
        assert_eq!(kept.grown.lock().unwrap().len(), known, "no line is another");
        same(&|job| job.layers[0].trim += 1.0);
        assert!(kept.grown.lock().unwrap().len() > known);
        same(&|job| job.layers[0].angle += 1.0);
    }
}
