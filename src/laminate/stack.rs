//! The layers over one another: the laminate code, and remarks on balance and symmetry.

use super::ply::Sheet;
use crate::cloth::{Material, Weave};
use crate::units::{degrees_of_warp, show_number};

/// Angles nearer than this are the same, degrees.
const SAME: f64 = 0.05;

/// One layer of a stack.
#[derive(Clone, Debug, PartialEq)]
pub struct Laid {
    /// Angle as laid, degrees.
    pub angle: f64,
    /// The letter that tells its cloth apart, if there are several.
    pub letter: Option<char>,
    /// Its weave.
    pub weave: Weave,
    /// Equal yarns both ways.
    pub balanced: bool,
    /// What it is.
    pub material: Material,
    /// Patches in many directions: for the look.
    pub mosaic: bool,
    /// Its masses and thickness, if they are known.
    pub sheet: Option<Sheet>,
}

impl Laid {
    /// Degrees after which its fibres lie the same way again; none if it has no direction.
    fn period(&self) -> Option<f64> {
        match self.weave {
            _ if self.material != Material::Fibre || self.mosaic => None,
            Weave::Mat | Weave::None => None,
            Weave::Unidirectional => Some(180.0),
            // Two layers of fibres at right angles: as a balanced weave.
            Weave::Biaxial45 => Some(90.0),
            Weave::Plain | Weave::Twill22 | Weave::Twill44 if self.balanced => Some(90.0),
            Weave::Twill21 | Weave::Twill31 | Weave::Satin if self.balanced => Some(90.0),
            Weave::Plain | Weave::Twill22 | Weave::Twill44 => Some(180.0),
            Weave::Twill21 | Weave::Twill31 | Weave::Satin => Some(180.0),
        }
    }

    /// Whether the fibres of the same cloth at `sign` times the other's angle lie as these do.
    fn like(&self, other: &Laid, sign: f64) -> bool {
        let kind = |l: &Laid| (l.letter, l.weave, l.material, l.mosaic);
        kind(self) == kind(other)
            && self.period().is_none_or(|p| {
                let d = (self.angle - sign * other.angle).rem_euclid(p);
                d < SAME || p - d < SAME
            })
    }

    /// Its entry in the code.
    fn entry(&self) -> String {
        let body = match self.material {
            Material::Core => "core".to_string(),
            Material::AdhesiveFilm => "film".to_string(),
            Material::Fibre if self.mosaic => "mosaic".to_string(),
            Material::Fibre if self.period().is_none() => "mat".to_string(),
            Material::Fibre => {
                let fabric = if self.weave == Weave::Unidirectional { "" } else { "f" };
                format!("{}{fabric}", show_number(degrees_of_warp(self.angle), 1))
            }
        };
        self.letter.map_or(body.clone(), |l| format!("{body}({l})"))
    }
}

/// Layers in laying order, the first on the mould.
#[derive(Clone, Debug, PartialEq, Default)]
pub struct Stack {
    /// The layers.
    pub layers: Vec<Laid>,
}

impl Stack {
    /// The sum over all layers; `None` if one is not known.
    pub(super) fn sum(&self, of: impl Fn(&Sheet) -> f64) -> Option<f64> {
        self.layers.iter().map(|l| l.sheet.as_ref().map(&of)).sum()
    }

    /// Fibre by volume in the layers that have fibres.
    pub(super) fn fibre_volume(&self) -> Option<f64> {
        let fibre = self.sum(|s| s.fibre_thickness)?;
        let thickness = self.sum(|s| if s.fibre > 0.0 { s.thickness } else { 0.0 })?;
        (thickness > 0.0).then(|| fibre / thickness)
    }

    /// The code after ASTM D6507: first ply laid first, `/` between plies, a numeral for repeats,
    /// repeated sets in parentheses, `T` for the whole and `S` for half of a symmetric stack whose
    /// odd middle ply is overlined. `f` marks fabric, a letter the cloth, `±` two plies at opposite
    /// angles. Without `signs`, repeats are written `x2` and an odd middle ply in braces.
    pub fn code(&self, signs: bool) -> String {
        let n = self.layers.len();
        let entries: Vec<String> = self.layers.iter().map(Laid::entry).collect();
        let symmetric = n > 2
            && entries.iter().eq(entries.iter().rev())
            && entries.iter().any(|e| Some(e) != entries.first());
        if !symmetric {
            return format!("[{}]T", repeated(&words(&self.layers, signs), signs));
        }
        let mut half = words(&self.layers[..n / 2], signs);
        if let (1, Some(middle)) = (n % 2, entries.get(n / 2)) {
            half.push(if signs {
                middle.chars().flat_map(|c| [c, '\u{305}']).collect()
            } else {
                format!("{{{middle}}}")
            });
        }
        format!("[{}]S", half.join("/"))
    }

    /// The lower half is the upper one turned over, layer by layer.
    pub fn is_symmetric(&self) -> bool {
        self.layers.iter().zip(self.layers.iter().rev()).all(|(a, b)| a.like(b, 1.0))
    }

    /// For every ply that leans one way there is one of the same cloth that leans as far the other
    /// way (ASTM D3878-04a).
    pub fn is_balanced(&self) -> bool {
        let count = |l: &Laid, sign: f64| self.layers.iter().filter(|o| l.like(o, sign)).count();
        self.layers.iter().all(|l| count(l, 1.0) == count(l, -1.0))
    }

    /// What to mind about the order, in plain words.
    pub fn remarks(&self) -> Vec<String> {
        let mut out = Vec::new();
        let fibre: Vec<&Laid> =
            self.layers.iter().filter(|l| l.material == Material::Fibre && !l.mosaic).collect();
        if fibre.len() > 1 {
            let symmetry = if self.is_symmetric() {
                "symmetric: a flat part stays flat as it cools"
            } else {
                "not symmetric: a flat part may bow or twist as it cools"
            };
            out.push(symmetry.to_string());
        }
        if !self.is_balanced() {
            out.push("not balanced: pulled along 0° it also shears; for each ply at +angle lay one at -angle".into());
        }
        if fibre.iter().any(|l| {
            l.weave == Weave::Twill21 || l.weave == Weave::Twill31 || l.weave == Weave::Satin
        }) {
            out.push("a face that shows more warp than weft curls: turn the second half of such layers over".into());
        }
        if self.layers.iter().any(|l| l.mosaic) {
            out.push("the mosaic is for the look and does not count as structure".into());
        }
        out
    }
}

/// The entries with runs of equal ones and pairs of opposite angles drawn together.
fn words(layers: &[Laid], signs: bool) -> Vec<String> {
    let mut runs: Vec<(String, usize)> = Vec::new();
    let mut i = 0;
    while let Some(here) = layers.get(i) {
        let leaning = here.period().is_some()
            && degrees_of_warp(here.angle) != 0.0
            && degrees_of_warp(here.angle).abs() != 90.0;
        let opposite = layers.get(i + 1).filter(|next| {
            leaning
                && next.letter == here.letter
                && (degrees_of_warp(next.angle) + degrees_of_warp(here.angle)).abs() < SAME
                && signs
        });
        let word = match opposite {
            Some(_) if degrees_of_warp(here.angle) > 0.0 => format!("±{}", here.entry()),
            Some(next) => format!("∓{}", next.entry()),
            None => here.entry(),
        };
        i += if opposite.is_some() { 2 } else { 1 };
        match runs.last_mut() {
            Some((last, n)) if *last == word => *n += 1,
            _ => runs.push((word, 1)),
        }
    }
    runs.into_iter()
        .map(|(word, n)| if n > 1 { format!("{word}{}", times(n, signs)) } else { word })
        .collect()
}

/// The whole list as a repeated set, if it is one.
fn repeated(words: &[String], signs: bool) -> String {
    let n = words.len();
    let set =
        (2..=n / 2).find(|&k| n.is_multiple_of(k) && words.chunks(k).all(|c| c == &words[..k]));
    set.map_or_else(
        || words.join("/"),
        |k| format!("({}){}", words[..k].join("/"), times(n / k, signs)),
    )
}

fn times(n: usize, signs: bool) -> String {
    if !signs {
        return format!("x{n}");
    }
    n.to_string().chars().filter_map(|c| char::from_u32(0x2080 + c.to_digit(10)?)).collect()
}

/// The letter of a cloth in the codes, by its place among the plan's materials.
pub(super) fn letter(index: usize) -> char {
    char::from(b'A' + (index % 26) as u8)
}

#[cfg(test)]
pub(super) mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::cloth::Backing;
    use crate::plan::PlanCloth;

    /// A cloth of which nothing more is known.
    pub fn cloth(id: &str, weave: Weave) -> PlanCloth {
        PlanCloth {
            cloth: id.into(),
            name: id.into(),
            weave,
            balanced: true,
            one_way: false,
            twill_line: None,
            up: Backing::Paper,
            areal_mass: None,
            resin_content: None,
            fibre_density: None,
            material: Material::Fibre,
            thickness: None,
            resin_density: None,
            batch: None,
            out_life_hours: None,
            expiry: None,
            library: None,
            roll_width: None,
            selvedge: None,
            price: None,
        }
    }

    fn of(weave: Weave, angles: &[f64]) -> Stack {
        let laid = |&angle: &f64| Laid {
            angle,
            letter: None,
            weave,
            balanced: true,
            material: Material::Fibre,
            mosaic: false,
            sheet: None,
        };
        Stack { layers: angles.iter().map(laid).collect() }
    }

    fn ud(angles: &[f64]) -> Stack {
        of(Weave::Unidirectional, angles)
    }

    /// The rules are those of TM 1-1500-204-23-11, sheets 115 and 116, which follow ASTM D6507; `f`
    /// for fabric is on sheet 108.
    #[test]
    fn codes() {
        assert_eq!(ud(&[0.0, 45.0, 90.0]).code(true), "[0/45/90]T");
        // Quasi-isotropic, FAA-H-8083-31 chapter 7, from memory.
        assert_eq!(ud(&[0.0, 45.0, -45.0, 90.0, 90.0, -45.0, 45.0, 0.0]).code(true), "[0/±45/90]S");
        assert_eq!(ud(&[0.0, 45.0, 0.0]).code(true), "[0/4\u{305}5\u{305}]S");
        assert_eq!(ud(&[0.0, 45.0, 0.0]).code(false), "[0/{45}]S");
        assert_eq!(ud(&[0.0, 0.0, 45.0]).code(true), "[0₂/45]T");
        assert_eq!(ud(&[0.0, 0.0, 45.0]).code(false), "[0x2/45]T");
        assert_eq!(ud(&[0.0, 90.0, 0.0, 90.0]).code(true), "[(0/90)₂]T");
        assert_eq!(ud(&[-45.0, 45.0, 90.0]).code(true), "[∓45/90]T");
        assert_eq!(of(Weave::Twill22, &[45.0, 0.0, 45.0]).code(false), "[45f/{0f}]S");
        assert_eq!(ud(&[0.0]).code(true), "[0]T");
        assert_eq!(Stack::default().code(true), "[]T");
    }

    #[test]
    fn several_cloths_and_a_core_are_told_apart() {
        let mut stack = of(Weave::Twill22, &[0.0, 45.0, 0.0]);
        stack.layers[0].letter = Some('A');
        stack.layers[1].letter = Some('B');
        stack.layers[1].material = Material::Core;
        stack.layers[2].letter = Some('A');
        assert_eq!(stack.code(false), "[0f(A)/{core(B)}]S");
        assert!(stack.is_symmetric());
        stack.layers[2].letter = Some('C');
        assert!(!stack.is_symmetric(), "another cloth");
    }

    /// Balanced: one -θ for each identical +θ (ASTM D3878-04a, extract).
    #[test]
    fn balance_and_symmetry() {
        assert!(
            !ud(&[0.0, 45.0]).is_balanced()
                && ud(&[45.0, -45.0]).is_balanced()
                && ud(&[0.0, 90.0]).is_balanced()
        );
        assert!(!ud(&[30.0, -45.0]).is_balanced());
        // A balanced fabric is equivalent modulo 90: a mirror is harmless only at 0 and 45.
        assert!(
            of(Weave::Twill22, &[0.0, 45.0]).is_balanced()
                && !of(Weave::Twill22, &[30.0]).is_balanced()
        );
        assert!(of(Weave::Twill22, &[30.0, 60.0]).is_balanced(), "60 is -30 a quarter turn on");
        assert!(
            of(Weave::Plain, &[0.0, 45.0, 90.0]).is_symmetric()
                && !ud(&[0.0, 45.0, 90.0]).is_symmetric()
        );
        assert!(ud(&[0.0, 90.0]).remarks().iter().any(|r| r.starts_with("not symmetric")));
        assert!(ud(&[0.0]).remarks().is_empty());
    }
}
