//! The test picture: a grid of 100 mm with names, and the lengths to measure on it.

use super::fit::{Length, MEASURED};
use super::map::Map;
use crate::fault::Fault;
use crate::geometry::{Bounds, Point, point};
use crate::units::show_mm;

/// Distance of its lines, mm.
pub const STEP: f64 = 100.0;

/// The grid over a field: its lines meet at named points, `A1` at the lower left.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Grid {
    from: Point,
    columns: usize,
    rows: usize,
}

impl Grid {
    /// The grid that fits in a field; `None` if not even one square does.
    pub fn over(field: &Bounds) -> Option<Grid> {
        let whole = |mm: f64| ((mm / STEP + 1e-9).floor() as usize).min(200);
        let (columns, rows) = (whole(field.width()) + 1, whole(field.height()) + 1);
        let size = point((columns - 1) as f64, (rows - 1) as f64) * STEP;
        let spare = point(field.width(), field.height()) - size;
        (columns > 1 && rows > 1).then(|| Grid { from: field.min + spare * 0.5, columns, rows })
    }

    fn at(&self, column: usize, row: usize) -> Point {
        self.from + point(column as f64, row as f64) * STEP
    }

    /// The name of a point: letters along, a number across.
    fn name(column: usize, row: usize) -> String {
        let letter = |i: usize| char::from(b'A' + (i % 26) as u8);
        let first = (column >= 26).then(|| letter(column / 26 - 1));
        format!("{}{}{}", first.map_or_else(String::new, String::from), letter(column), row + 1)
    }

    /// The point of a name, if there is one.
    pub fn named(&self, name: &str) -> Option<Point> {
        let name = name.trim().to_uppercase();
        let all = (0..self.columns).flat_map(|c| (0..self.rows).map(move |r| (c, r)));
        all.into_iter().find(|(c, r)| Grid::name(*c, *r) == name).map(|(c, r)| self.at(c, r))
    }

    /// Its lines.
    pub fn lines(&self) -> Vec<[Point; 2]> {
        let (columns, rows) = (self.columns - 1, self.rows - 1);
        let along = (0..=rows).map(|r| [self.at(0, r), self.at(columns, r)]);
        along.chain((0..=columns).map(|c| [self.at(c, 0), self.at(c, rows)])).collect()
    }

    /// Names to throw beside the points, not more than about forty.
    pub fn names(&self) -> Vec<(String, Point)> {
        let every = |n: usize| n.div_ceil(8).max(1);
        let shown =
            |i: usize, n: usize| i == n - 1 || i == (n - 1) / 2 || i.is_multiple_of(every(n));
        let all = (0..self.columns).flat_map(|c| (0..self.rows).map(move |r| (c, r)));
        all.into_iter()
            .filter(|(c, r)| shown(*c, self.columns) && shown(*r, self.rows))
            .map(|(c, r)| (Grid::name(c, r), self.at(c, r)))
            .collect()
    }

    /// Lengths worth measuring, the most telling first: two diagonals, then sides and middle lines,
    /// then what tells a bow that all sides share.
    pub fn worth_measuring(&self) -> Vec<[String; 2]> {
        let (c, r) = (self.columns - 1, self.rows - 1);
        let (m, h) = (c / 2, r / 2);
        let ends = [
            [(0, 0), (c, r)],
            [(0, r), (c, 0)],
            [(m, 0), (m, r)],
            [(0, h), (c, h)],
            [(0, 0), (c, 0)],
            [(0, r), (c, r)],
            [(0, 0), (0, r)],
            [(c, 0), (c, r)],
            [(m, 0), (0, r)],
            [(m, 0), (c, r)],
            [(0, h), (m, r)],
            [(c, h), (m, r)],
        ];
        let mut out: Vec<[String; 2]> = Vec::new();
        for ends in ends {
            let names = ends.map(|(c, r)| Grid::name(c, r));
            if names[0] != names[1] && !out.contains(&names) {
                out.push(names);
            }
        }
        out
    }

    /// A length that was measured between two named points of the grid as it is thrown by a map.
    ///
    /// # Errors
    /// There are no such points, or the tape can hardly have said that.
    pub fn measured(&self, map: &Map, names: [&str; 2], mm: f64) -> Result<Length, Fault> {
        let point = |name: &str| {
            self.named(name).and_then(|at| Some((at, map.pixel(at)?))).ok_or_else(|| {
                Fault::new(
                    said!("the grid has no point `{}`", name.trim()),
                    "name points as they are thrown: a letter along, a number across",
                )
            })
        };
        let (a, b) = (point(names[0])?, point(names[1])?);
        let name = names.map(|n| n.trim().to_uppercase()).join("-");
        let meant = a.0.distance(b.0);
        if meant < STEP / 2.0 {
            return Err(Fault::new(
                said!("{name} is no length: both ends are one point"),
                "name two points",
            ));
        }
        // What is off by more is a slip of the tape or of the pen.
        let most = (0.05 * meant).max(20.0 * MEASURED);
        if !mm.is_finite() || (mm - meant).abs() > most {
            return Err(Fault::new(
                said!("{name} should be {}, not {}", show_mm(meant), show_mm(mm)),
                "measure it again; if it is so, put the marks anew",
            ));
        }
        Ok(Length { name, pixels: [a.1, b.1], meant, mm })
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    fn grid() -> Grid {
        let field = Bounds { min: point(0.0, 0.0), max: point(1650.0, 900.0) };
        Grid::over(&field).unwrap()
    }

    #[test]
    fn points_have_names_and_names_have_points() {
        assert_eq!(grid().named("a1"), Some(point(25.0, 0.0)));
        assert_eq!(grid().named(" Q10 "), Some(point(1625.0, 900.0)));
        for none in ["", "A0", "A11", "R1", "AA1", "1A", "é"] {
            assert_eq!(grid().named(none), None, "{none}");
        }
        let long = Bounds { min: point(0.0, 0.0), max: point(3000.0, 200.0) };
        assert_eq!(Grid::over(&long).unwrap().named("AB2"), Some(point(2700.0, 100.0)));
        let narrow = Bounds { min: point(0.0, 0.0), max: point(3000.0, 99.0) };
        assert_eq!(Grid::over(&narrow), None);
    }

    #[test]
    fn diagonals_are_measured_first() {
        let worth = grid().worth_measuring();
        assert_eq!(worth[0], ["A1", "Q10"]);
        assert_eq!(worth[1], ["A10", "Q1"]);
        assert_eq!(worth.len(), 12);
        for [a, b] in worth {
            assert!(grid().named(&a).unwrap() != grid().named(&b).unwrap());
        }
    }
}
