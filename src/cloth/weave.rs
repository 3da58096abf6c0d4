//! The weave table: which turns and faces keep a ply's strength and its look. One small rule,
//! tested against the weaves' own grids.
//!
//! Two things can be spoilt by laying a piece another way round: how it carries load and how it
//! looks. A half turn spoils neither in any weave. A quarter turn swaps warp and weft, which only a
//! balanced cloth forgives. Turning a piece over (about its warp) shows the other face: harmless
//! where both faces are alike, and to be refused where one face is mostly warp and the other mostly
//! weft, because such a cloth also curls the other way. Of a twill a quarter turn and a turn over
//! each reverse the line; both together keep it.

use super::{Cloth, Weave};
use crate::units::degrees_0_360;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Which side of a piece lies up on the bench, against the cloth's own up face.
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "lowercase")]
pub enum Face {
    /// As prepared.
    Up,
    /// Turned over: mirrored about the warp.
    Down,
}

/// One way a piece may lie on its cloth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Permitted {
    /// Degrees anticlockwise from the prepared position.
    pub turn: f64,
    /// Face up or face down; the mirror about x comes after the turn.
    pub face: Face,
}

/// The ways a piece may lie, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct TurnRule {
    /// The turns and faces: face up first, each by rising turn.
    pub permitted: Vec<Permitted>,
    /// The rule in words: `twill 2/2, visible: 0 and 180 face up; 90 and 270 face down (a quarter
    /// turn keeps the line)`.
    pub words: String,
    /// What the layer's own word allows beyond the weave, in words: something to warn of.
    pub beyond: Option<String>,
}

const HALF_TURNS: [f64; 2] = [0.0, 180.0];
const QUARTER_TURNS: [f64; 4] = [0.0, 90.0, 180.0, 270.0];
const ODD_QUARTER_TURNS: [f64; 2] = [90.0, 270.0];

/// Step in which a cloth without direction is turned, degrees: finer steps gain little and cost the
/// search dear.
const STEP_OF_ANY: u32 = 15;

/// The ways a piece of `cloth` may lie.
///
/// `visible`: the layer is seen on the finished part, from whichever side; both faces of a weave
/// obey the same table. `word`: the layer's own list of turns, which wins over the weave; what it
/// adds to the weave's is told in [`TurnRule::beyond`].
pub fn turn_rule(cloth: &Cloth, visible: bool, word: Option<&[Permitted]>) -> TurnRule {
    let by_weave = weave_rule(cloth, visible);
    let Some(word) = word else { return by_weave };
    let mut permitted: Vec<Permitted> = Vec::new();
    for p in word {
        let p = Permitted { turn: degrees_0_360(p.turn), face: p.face };
        if !contains(&permitted, p) {
            permitted.push(p);
        }
    }
    permitted.sort_by(|a, b| a.face.cmp(&b.face).then(a.turn.total_cmp(&b.turn)));
    let beyond: Vec<Permitted> =
        permitted.iter().copied().filter(|p| !contains(&by_weave.permitted, *p)).collect();
    TurnRule {
        words: format!(
            "the layer's own turns: {}; by itself {}",
            turns_in_words(&permitted),
            by_weave.words
        ),
        beyond: (!beyond.is_empty()).then(|| {
            format!("{}, where the weave allows: {}", turns_in_words(&beyond), by_weave.words)
        }),
        permitted,
    }
}

/// The table itself.
fn weave_rule(cloth: &Cloth, visible: bool) -> TurnRule {
    use Weave::*;
    let any: Vec<f64> = (0..360 / STEP_OF_ANY).map(|i| f64::from(i * STEP_OF_ANY)).collect();
    let (half, quarter, none): (&[f64], &[f64], &[f64]) = (&HALF_TURNS, &QUARTER_TURNS, &[]);
    let (up, down, why) = match (cloth.weave, cloth.balanced, visible) {
        _ if cloth.one_way => (&[0.0][..], none, "its finish runs one way"),
        (Unidirectional, _, _) => (half, half, "the fibres keep their direction"),
        (Plain, true, _) => (quarter, quarter, "warp and weft are alike, and so are the faces"),
        (Plain, false, _) => (half, half, "warp and weft differ, the faces are alike"),
        (Twill22 | Twill44, true, false) => {
            (quarter, quarter, "warp and weft are alike, and so are the faces")
        }
        (Twill22 | Twill44, true, true) => {
            (half, &ODD_QUARTER_TURNS[..], "turned over, only a quarter turn keeps the line")
        }
        (Twill22 | Twill44, false, false) => {
            (half, half, "warp and weft differ, the faces are alike")
        }
        (Twill22 | Twill44, false, true) => {
            (half, none, "warp and weft differ, and turned over the line runs the other way")
        }
        (Twill21 | Twill31 | Satin, _, _) => {
            (half, none, "a warp face and a weft face: any other way it curls differently")
        }
        (Biaxial45, _, false) => {
            (half, half, "turned over about the warp the same angle is on top")
        }
        (Biaxial45, _, true) => (half, none, "the stitching shows which face is up"),
        (Mat, _, _) => (&any[..], &any[..], "no direction"),
        (None, _, _) => (&any[..], none, "no direction, but a backing or skin on one face"),
    };
    let on = |turns: &[f64], face| {
        turns.iter().map(move |&turn| Permitted { turn, face }).collect::<Vec<_>>()
    };
    let permitted = [on(up, Face::Up), on(down, Face::Down)].concat();
    let look = if visible { "visible" } else { "strength only" };
    let (name, turns) = (cloth.weave.in_words(), turns_in_words(&permitted));
    let words = if cloth.weave.is_woven() && !cloth.balanced {
        format!("{name}, unbalanced, {look}: {turns} ({why})")
    } else {
        format!("{name}, {look}: {turns} ({why})")
    };
    TurnRule { permitted, words, beyond: Option::None }
}

fn contains(list: &[Permitted], p: Permitted) -> bool {
    list.iter().any(|q| q.face == p.face && (degrees_0_360(q.turn) - p.turn).abs() < 1e-9)
}

/// `0 and 180, either face` or `0 and 180 face up; 90 and 270 face down`.
fn turns_in_words(permitted: &[Permitted]) -> String {
    let turns =
        |face| permitted.iter().filter(|p| p.face == face).map(|p| p.turn).collect::<Vec<f64>>();
    let (up, down) = (turns(Face::Up), turns(Face::Down));
    match (up.is_empty(), down.is_empty()) {
        (true, true) => "none".to_string(),
        (false, true) => format!("{} face up", list_in_words(&up)),
        (true, false) => format!("{} face down", list_in_words(&down)),
        _ if up == down => format!("{}, either face", list_in_words(&up)),
        _ => format!("{} face up; {} face down", list_in_words(&up), list_in_words(&down)),
    }
}

fn list_in_words(turns: &[f64]) -> String {
    match turns {
        [] => "none".to_string(),
        [one] => format!("{one}"),
        _ if turns.len() == (360 / STEP_OF_ANY) as usize => {
            format!("any turn in steps of {STEP_OF_ANY}")
        }
        [first @ .., last] => format!(
            "{} and {last}",
            first.iter().map(|t| t.to_string()).collect::<Vec<_>>().join(", ")
        ),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::cloth::Backing;

    fn cloth(weave: Weave, balanced: bool) -> Cloth {
        Cloth {
            id: "cloth".into(),
            name: "cloth".into(),
            library: None,
            weave,
            balanced,
            one_way: false,
            twill_line: None,
            up: Backing::Paper,
            roll_width: 1250.0,
            selvedge: 10.0,
            roll_length: None,
            flaws: Vec::new(),
            areal_mass: None,
            resin_content: None,
            fibre_density: None,
            price: None,
            material: Default::default(),
            thickness: None,
            resin_density: None,
            batch: None,
            out_life_hours: None,
            expiry: None,
            offers: Vec::new(),
        }
    }

    /// A weave on its own grid: true where the warp yarn (column) lies over the weft yarn (row).
    /// Periodic.
    #[derive(Clone)]
    struct Grid(Vec<Vec<bool>>);

    impl Grid {
        /// Row `i` is the first row shifted by `i * step`; `over` of `period` warps lie over.
        fn shifted(period: usize, over: usize, step: usize) -> Grid {
            Grid(
                (0..period)
                    .map(|i| {
                        (0..period)
                            .map(|j| (j + period * step - i * step % period) % period < over)
                            .collect()
                    })
                    .collect(),
            )
        }

        fn size(&self) -> usize {
            self.0.len()
        }

        fn map(&self, cell: impl Fn(usize, usize) -> bool) -> Grid {
            let n = self.size();
            Grid((0..n).map(|i| (0..n).map(|j| cell(i, j)).collect()).collect())
        }

        fn half_turn(&self) -> Grid {
            let n = self.size();
            self.map(|i, j| self.0[n - 1 - i][n - 1 - j])
        }

        /// Rows become columns: what was weft is now warp, so over and under change names.
        fn quarter_turn(&self) -> Grid {
            let n = self.size();
            self.map(|i, j| !self.0[j][n - 1 - i])
        }

        /// Turned over about the warp: the wefts run the other way, and over becomes under.
        fn over(&self) -> Grid {
            let n = self.size();
            self.map(|i, j| !self.0[i][n - 1 - j])
        }

        /// The same weave, wherever its repeat begins.
        fn same(&self, other: &Grid) -> bool {
            let n = self.size();
            (0..n).any(|di| {
                (0..n).any(|dj| {
                    (0..n).all(|i| {
                        (0..n).all(|j| self.0[i][j] == other.0[(i + di) % n][(j + dj) % n])
                    })
                })
            })
        }

        /// Whether the grid looks the same when laid as `p` says.
        fn keeps(&self, p: Permitted) -> bool {
            let mut moved = self.clone();
            for _ in 0..(p.turn / 90.0) as usize {
                moved = moved.quarter_turn();
            }
            if p.face == Face::Down {
                moved = moved.over();
            }
            self.same(&moved)
        }
    }

    const PLAIN: (usize, usize, usize) = (2, 1, 1);
    const TWILL22: (usize, usize, usize) = (4, 2, 1);
    const SATIN5: (usize, usize, usize) = (5, 4, 2);
    const SATIN8: (usize, usize, usize) = (8, 7, 3);

    fn grid((period, over, step): (usize, usize, usize)) -> Grid {
        Grid::shifted(period, over, step)
    }

    /// Computed here on the weaves' own grids; the published counterpart is that a wale rising
    /// right on one face of a twill rises left on the other (fabric-trade article on twill).
    #[test]
    fn weave_symmetry_table() {
        // Half turn, quarter turn, over, over and a quarter turn.
        for (weave, expected) in [
            (PLAIN, [true, true, true, true]),
            (TWILL22, [true, false, false, true]),
            (SATIN5, [true, false, false, false]),
            (SATIN8, [true, false, false, true]),
        ] {
            let g = grid(weave);
            let found = [
                g.same(&g.half_turn()),
                g.same(&g.quarter_turn()),
                g.same(&g.over()),
                g.same(&g.quarter_turn().over()),
            ];
            assert_eq!(found, expected, "{weave:?}");
        }
        // The twill does not change into just anything: its diagonal reverses.
        let twill = grid(TWILL22);
        let reversed = twill.map(|i, j| twill.0[i][3 - j]);
        assert!(
            twill.quarter_turn().same(&reversed)
                && twill.over().same(&reversed)
                && !twill.same(&reversed)
        );
    }

    #[test]
    fn the_table_permits_by_look_only_what_the_grid_keeps() {
        for (weave, g) in [
            (Weave::Plain, grid(PLAIN)),
            (Weave::Twill22, grid(TWILL22)),
            (Weave::Twill44, Grid::shifted(8, 4, 1)),
            (Weave::Twill21, Grid::shifted(3, 2, 1)),
            (Weave::Twill31, Grid::shifted(4, 3, 1)),
            (Weave::Satin, grid(SATIN5)),
            (Weave::Satin, grid(SATIN8)),
        ] {
            let permitted = turn_rule(&cloth(weave, true), true, None).permitted;
            assert!(permitted.iter().all(|p| g.keeps(*p)), "{weave:?}");
            // Where both faces are alike the table permits all that the grid keeps; elsewhere curl
            // forbids more.
            if matches!(weave, Weave::Plain | Weave::Twill22 | Weave::Twill44) {
                for face in [Face::Up, Face::Down] {
                    for turn in QUARTER_TURNS {
                        let p = Permitted { turn, face };
                        assert_eq!(contains(&permitted, p), g.keeps(p), "{weave:?} {p:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn every_row_of_the_table() {
        let quarters: &[f64] = &QUARTER_TURNS;
        let half: &[f64] = &HALF_TURNS;
        let none: &[f64] = &[];
        type Row<'a> = (Weave, bool, bool, &'a [f64], &'a [f64]);
        let rows: [Row; 19] = [
            (Weave::Unidirectional, true, false, half, half),
            (Weave::Unidirectional, false, true, half, half),
            (Weave::Plain, true, false, quarters, quarters),
            (Weave::Plain, true, true, quarters, quarters),
            (Weave::Plain, false, false, half, half),
            (Weave::Plain, false, true, half, half),
            (Weave::Twill22, true, false, quarters, quarters),
            (Weave::Twill22, true, true, half, &[90.0, 270.0]),
            (Weave::Twill22, false, false, half, half),
            (Weave::Twill22, false, true, half, none),
            (Weave::Twill44, true, false, quarters, quarters),
            (Weave::Twill44, true, true, half, &[90.0, 270.0]),
            (Weave::Twill21, true, false, half, none),
            (Weave::Twill21, true, true, half, none),
            (Weave::Twill31, true, false, half, none),
            (Weave::Satin, true, false, half, none),
            (Weave::Satin, true, true, half, none),
            (Weave::Biaxial45, true, false, half, half),
            (Weave::Biaxial45, true, true, half, none),
        ];
        for (weave, balanced, visible, up, down) in rows {
            let found = turn_rule(&cloth(weave, balanced), visible, None).permitted;
            let turns =
                |face| found.iter().filter(|p| p.face == face).map(|p| p.turn).collect::<Vec<_>>();
            assert_eq!(
                (turns(Face::Up).as_slice(), turns(Face::Down).as_slice()),
                (up, down),
                "{weave:?} {balanced} {visible}"
            );
        }
        assert_eq!(turn_rule(&cloth(Weave::Mat, true), false, None).permitted.len(), 48);
        assert_eq!(turn_rule(&cloth(Weave::None, true), false, None).permitted.len(), 24);
    }

    #[test]
    fn a_one_way_finish_leaves_only_0() {
        for weave in [Weave::Unidirectional, Weave::Plain, Weave::Twill22, Weave::Mat] {
            let one_way = Cloth { one_way: true, ..cloth(weave, true) };
            assert_eq!(
                turn_rule(&one_way, false, None).permitted,
                vec![Permitted { turn: 0.0, face: Face::Up }]
            );
        }
    }

    #[test]
    fn the_rule_is_said_in_words() {
        let words = |weave, visible| turn_rule(&cloth(weave, true), visible, None).words;
        assert_eq!(
            words(Weave::Twill22, true),
            "twill 2/2, visible: 0 and 180 face up; 90 and 270 face down (turned over, only a quarter turn keeps the line)"
        );
        assert_eq!(
            words(Weave::Plain, false),
            "plain, strength only: 0, 90, 180 and 270, either face (warp and weft are alike, and so are the faces)"
        );
        assert_eq!(
            words(Weave::Mat, false),
            "mat, strength only: any turn in steps of 15, either face (no direction)"
        );
    }

    #[test]
    fn the_layers_own_word_wins_and_what_goes_beyond_is_told() {
        let up = |turn| Permitted { turn, face: Face::Up };
        let narrower = turn_rule(&cloth(Weave::Plain, true), false, Some(&[up(0.0)]));
        assert_eq!((narrower.permitted, narrower.beyond), (vec![up(0.0)], None));
        let wider = turn_rule(
            &cloth(Weave::Unidirectional, true),
            false,
            Some(&[up(450.0), up(0.0), up(90.0)]),
        );
        assert_eq!(wider.permitted, vec![up(0.0), up(90.0)]);
        assert!(
            wider
                .words
                .starts_with("the layer's own turns: 0 and 90 face up; by itself unidirectional")
        );
        assert!(wider.beyond.unwrap().starts_with("90 face up, where the weave allows"));
    }
}
