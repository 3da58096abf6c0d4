//! Dual feasible functions: numbers from 0 to 1 that add up to at most 1 are turned into others
//! that do so too.
//!
//! What lies side by side across a strip takes shares of its width that add up to at most 1, and so
//! do these shares once turned. A piece just too wide for two to lie side by side may be turned
//! into the whole width, which tells more than its area.
//!
//! The three families are those of Fekete and Schepers, "New classes of fast lower bounds for bin
//! packing problems", Mathematical Programming 91 (2001), from memory.

/// A function from shares to shares, in stretches that are straight; it never falls.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Dual(Vec<Stretch>);

/// From `from` up to the next stretch's: `base + slope * x`.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Stretch {
    from: f64,
    base: f64,
    slope: f64,
}

impl Dual {
    /// Every share stays what it is.
    pub fn identity() -> Dual {
        Dual(vec![Stretch { from: 0.0, base: 0.0, slope: 1.0 }])
    }

    /// Rounded down to whole `k`ths by steps of one in `k + 1`: with `k` 1 what is over a half is
    /// the whole. A share that is whole steps keeps its own value, which is less: it is taken as
    /// just below.
    pub fn rounded(k: u32) -> Dual {
        let step = |j: u32| Stretch {
            from: f64::from(j) / f64::from(k + 1),
            base: f64::from(j) / f64::from(k),
            slope: 0.0,
        };
        let mut stretches: Vec<Stretch> = (0..=k).map(step).collect();
        for s in stretches.iter_mut().skip(1) {
            s.from += TIE;
        }
        Dual(stretches)
    }

    /// What is under `least` (at most a half) is nothing, what leaves less than that is the whole.
    pub fn cut_off(least: f64) -> Dual {
        Dual(vec![
            Stretch { from: 0.0, base: 0.0, slope: 0.0 },
            Stretch { from: least + TIE, base: 0.0, slope: 1.0 },
            Stretch { from: 1.0 - least + TIE, base: 1.0, slope: 0.0 },
        ])
    }

    /// What is from `least` to a half counts as one of as many as lie side by side of that width;
    /// beyond a half what room is left for them is taken off.
    pub fn counted(least: f64) -> Dual {
        let most = (1.0 / least + TIE).floor();
        let mut stretches = vec![
            Stretch { from: 0.0, base: 0.0, slope: 0.0 },
            Stretch { from: least, base: 1.0 / most, slope: 0.0 },
        ];
        // Beyond a half the value grows by a step as soon as one less of them fits beside.
        let beside = ((0.5 - TIE) / least).floor();
        stretches.push(Stretch { from: 0.5 + TIE, base: 1.0 - beside / most, slope: 0.0 });
        let steps = beside as u32;
        for left in (0..steps).rev() {
            let from = 1.0 - f64::from(left + 1) * least + TIE;
            if from > 0.5 + TIE {
                stretches.push(Stretch { from, base: 1.0 - f64::from(left) / most, slope: 0.0 });
            }
        }
        Dual(stretches)
    }

    /// The share that `x` is turned into.
    pub fn of(&self, x: f64) -> f64 {
        let at = self.0.partition_point(|s| s.from <= x);
        self.0.get(at.wrapping_sub(1)).map_or(0.0, |s| s.base + s.slope * x)
    }

    /// Mean of the function over the shares from `a` to `b`.
    pub fn mean(&self, a: f64, b: f64) -> f64 {
        let (a, b) = (a.min(b), a.max(b));
        if b - a < TIE {
            return self.of(a);
        }
        let mut sum = 0.0;
        for (k, s) in self.0.iter().enumerate() {
            let to = self.0.get(k + 1).map_or(f64::INFINITY, |n| n.from).min(b);
            let from = s.from.max(a);
            if to > from {
                sum += (to - from) * (s.base + s.slope * (from + to) / 2.0);
            }
        }
        sum / (b - a)
    }
}

/// Shares nearer than this are not told apart: the lower value is taken.
const TIE: f64 = 1e-9;

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn family(pick: u32, least: f64) -> Dual {
        match pick {
            0 => Dual::identity(),
            1..=12 => Dual::rounded(pick),
            13..=20 => Dual::cut_off(least),
            _ => Dual::counted(least),
        }
    }

    proptest! {
        /// The definition, on shares that fill the width and on ones that nearly do.
        #[test]
        fn what_adds_up_to_one_does_so_when_it_is_turned(
            pick in 0_u32..28,
            least in 0.01_f64..0.5,
            parts in prop::collection::vec(0.0_f64..1.0, 1..9),
            whole in prop::bool::ANY,
            of in 1_u32..12,
        ) {
            let f = family(pick, least);
            let sum: f64 = parts.iter().sum();
            let share = |p: &f64| {
                let x = p / sum.max(1e-9);
                // Halves, thirds and multiples of the least are where the values jump.
                if whole { (x * f64::from(of)).floor() / f64::from(of) } else { x }
            };
            let turned: f64 = parts.iter().map(|p| f.of(share(p))).sum();
            prop_assert!(turned <= 1.0 + 1e-9, "{turned}");
            let mut multiples = vec![least; (1.0 / least) as usize];
            multiples.push(1.0 - multiples.iter().sum::<f64>());
            prop_assert!(multiples.iter().map(|&x| f.of(x.max(0.0))).sum::<f64>() <= 1.0 + 1e-9);
        }

        #[test]
        fn it_never_falls_and_its_mean_is_that_of_its_values(
            pick in 0_u32..28,
            least in 0.01_f64..0.5,
            a in 0.0_f64..1.0,
            b in 0.0_f64..1.0,
        ) {
            let f = family(pick, least);
            let (a, b) = (a.min(b), a.max(b));
            prop_assert!(f.of(a) <= f.of(b));
            let steps = 4000;
            let at = |k: u32| f.of(a + (b - a) * (f64::from(k) + 0.5) / f64::from(steps));
            let mean = (0..steps).map(at).sum::<f64>() / f64::from(steps);
            prop_assert!((f.mean(a, b) - mean).abs() < 0.01, "{} {mean}", f.mean(a, b));
        }
    }

    #[test]
    fn values_worked_by_hand() {
        assert_eq!(Dual::rounded(1).of(0.51), 1.0);
        assert_eq!(Dual::rounded(2).of(0.34), 0.5);
        assert_eq!(Dual::cut_off(0.3).of(0.29), 0.0);
        assert_eq!(Dual::cut_off(0.3).of(0.4), 0.4);
        assert_eq!(Dual::cut_off(0.3).of(0.71), 1.0);
        // Three of 0.3 lie side by side; beside 0.65 there is room for one.
        let f = Dual::counted(0.3);
        assert!((f.of(0.3) - 1.0 / 3.0).abs() < 1e-12 && (f.of(0.65) - 2.0 / 3.0).abs() < 1e-12);
        assert_eq!((f.of(0.29), f.of(0.71)), (0.0, 1.0));
    }
}
