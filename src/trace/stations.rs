//! Offsets from a base line: the outline of a table of stations.
//!
//! One row a station, in order along the base line: `station` (along it), `left` and `right`
//! (square to it, seen looking along). A side left empty at a station has no point there. The
//! outline goes up the right side and back down the left one; the base line becomes the arrow.

use super::template::Template;
use crate::fault::{Fault, Faults};
use crate::geometry::{Path, Point, point, ring_area};
use crate::outline::Unit;

/// Most stations of a table.
const MOST_STATIONS: usize = 10_000;
/// Points between two measured ones of a faired line.
const BETWEEN: usize = 8;

/// True if a table's first row names stations rather than points.
pub fn is_station_table(text: &str) -> bool {
    header(text).is_some_and(|(_, h)| columns(h).iter().any(|c| c.0 == "station"))
}

fn header(text: &str) -> Option<(usize, &str)> {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    text.lines().enumerate().find(|(_, l)| !l.trim().is_empty() && !l.trim_start().starts_with('#'))
}

fn delimiter(header: &str) -> char {
    [';', '\t'].into_iter().find(|d| header.contains(*d)).unwrap_or(',')
}

/// Names of the columns and the unit that each names.
fn columns(header: &str) -> Vec<(String, Option<Unit>)> {
    let column = |cell: &str| {
        let cell = cell.trim().trim_matches('"').to_lowercase();
        let mut words = cell.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty());
        let name = words.next().unwrap_or("").to_string();
        (name, words.next().and_then(Unit::named))
    };
    header.split(delimiter(header)).map(column).collect()
}

/// Reads a table of stations. With `fair`, a smooth curve runs through the points of each side (a
/// centripetal Catmull-Rom spline), else straight lines.
///
/// # Errors
/// Every row that is not understood, with its line.
pub fn read_stations(
    text: &str,
    name: &str,
    unit: Option<Unit>,
    fair: bool,
) -> Result<Template, Faults> {
    let Some((at, head)) = header(text) else {
        return Err(Fault::new(
            "the file holds no stations",
            "write a row of column names (station, left, right), then one row a station",
        )
        .into());
    };
    let columns = columns(head);
    let place = |name: &str| columns.iter().position(|c| c.0 == name);
    let (Some(station), left, right) = (place("station"), place("left"), place("right")) else {
        return Err(Fault::new(
            "there is no column \"station\"",
            "name the columns station, left and right",
        )
        .at_line(at + 1, 1)
        .into());
    };
    if left.is_none() && right.is_none() {
        let fault = Fault::new(
            "there is neither a column \"left\" nor one \"right\"",
            "give the offset on at least one side of the base line",
        );
        return Err(fault.at_line(at + 1, 1).into());
    }
    if let Some((unknown, _)) =
        columns.iter().find(|c| !["station", "left", "right", "note"].contains(&c.0.as_str()))
    {
        let fault = Fault::new(
            said!("\"{unknown}\" is not a known column"),
            "the columns are station, left, right and note",
        );
        return Err(fault.at_line(at + 1, 1).into());
    }
    let mm = unit_of(text, &columns, unit, at)?.millimetres();
    let mut faults = Faults::new();
    let (mut ups, mut downs): (Path, Path) = (Vec::new(), Vec::new());
    let mut ends: Option<(f64, f64)> = None;
    for (i, line) in text
        .lines()
        .enumerate()
        .skip(at + 1)
        .filter(|(_, l)| !l.trim().is_empty() && !l.trim_start().starts_with('#'))
    {
        if i > MOST_STATIONS {
            faults.push(
                Fault::new(
                    said!("the table has more than {MOST_STATIONS} rows"),
                    "leave some stations out",
                )
                .at_line(i + 1, 1),
            );
            break;
        }
        let cells: Vec<&str> =
            line.split(delimiter(head)).map(|c| c.trim().trim_matches('"')).collect();
        let number = |column: Option<usize>| -> Result<Option<f64>, Fault> {
            let Some(cell) = column.and_then(|c| cells.get(c)).filter(|c| !c.is_empty()) else {
                return Ok(None);
            };
            let plain =
                if delimiter(head) == ',' { cell.to_string() } else { cell.replace(',', ".") };
            match plain.parse::<f64>() {
                Ok(v) if v.is_finite() && (v * mm).abs() <= crate::units::LARGEST => {
                    Ok(Some(v * mm))
                }
                _ => Err(Fault::new(
                    said!("\"{cell}\" is not a length up to 100 m"),
                    "write a plain number",
                )
                .at_line(i + 1, 1)),
            }
        };
        // A row that is out of order is named even if one of its offsets, or one before it, is bad.
        let along = faults.keep(number(Some(station)).map_err(Faults::from));
        let offsets =
            [number(left), number(right)].map(|n| faults.keep(n.map_err(Faults::from)).flatten());
        match along {
            Some(Some(s)) => {
                if ends.is_some_and(|e| s <= e.1) {
                    let what = "the station does not lie beyond the one before";
                    faults.push(
                        Fault::new(what, "write the stations in order along the base line")
                            .at_line(i + 1, 1),
                    );
                }
                ends = Some((ends.map_or(s, |e| e.0), s));
                downs.extend(offsets[0].map(|l| point(s, l)));
                ups.extend(offsets[1].map(|r| point(s, -r)));
            }
            Some(None) => faults.push(
                Fault::new("the row has no station", "give how far along the base line it is")
                    .at_line(i + 1, 1),
            ),
            None => {}
        }
    }
    faults.into_result(())?;
    let Some((first, last)) = ends.filter(|e| e.0 < e.1) else {
        return Err(
            Fault::new("there are fewer than two stations", "give at least two rows").into()
        );
    };
    // A side that was not measured is the base line.
    for side in [&mut ups, &mut downs] {
        if side.is_empty() {
            *side = vec![point(first, 0.0), point(last, 0.0)];
        }
    }
    if fair {
        ups = faired(&ups);
        downs = faired(&downs);
    }
    downs.reverse();
    let mut net = ups;
    net.extend(downs);
    net.dedup();
    if net.first() == net.last() {
        net.pop();
    }
    if net.len() < 3 || ring_area(&net).abs() < 1.0 {
        return Err(
            Fault::new("the offsets enclose no area", "check the columns left and right").into()
        );
    }
    Ok(Template {
        name: name.into(),
        net,
        arrow: Some([point(first, 0.0), point(last, 0.0)]),
        ..Template::default()
    })
}

fn unit_of(
    text: &str,
    columns: &[(String, Option<Unit>)],
    unit: Option<Unit>,
    at: usize,
) -> Result<Unit, Fault> {
    let named: Vec<Unit> = columns.iter().filter_map(|c| c.1).collect();
    let comment = text.lines().filter_map(|l| l.trim().strip_prefix('#')).find_map(|l| {
        let (key, value) = l.split_once([':', '='])?;
        (key.trim().eq_ignore_ascii_case("unit")).then(|| Unit::named(value)).flatten()
    });
    if named.windows(2).any(|w| w[0] != w[1]) {
        return Err(Fault::new(
            "the columns name different units",
            "use one unit in the whole table",
        )
        .at_line(at + 1, 1));
    }
    unit.or(named.first().copied()).or(comment).ok_or_else(|| {
        Fault::new(
            "the unit of the offsets is not said",
            "name it in the columns (station_mm), in a comment (# unit: mm), or with --unit",
        )
        .at_line(at + 1, 1)
    })
}

/// A smooth curve through points: a centripetal Catmull-Rom spline, whose ends go on straight.
fn faired(points: &[Point]) -> Path {
    let n = points.len();
    if n < 3 {
        return points.to_vec();
    }
    let at = |i: i64| {
        if i < 0 {
            points[0] * 2.0 - points[1]
        } else if i >= n as i64 {
            points[n - 1] * 2.0 - points[n - 2]
        } else {
            points[i as usize]
        }
    };
    let mut out = vec![points[0]];
    for i in 0..n as i64 - 1 {
        let p = [at(i - 1), at(i), at(i + 1), at(i + 2)];
        // Knots by the square root of the chords (Barry and Goldman's pyramid).
        let mut t = [0.0; 4];
        for k in 1..4 {
            t[k] = t[k - 1] + p[k].distance(p[k - 1]).sqrt().max(1e-6);
        }
        for k in 1..=BETWEEN {
            let u = t[1] + (t[2] - t[1]) * k as f64 / BETWEEN as f64;
            let mix = |a: Point, b: Point, ta: f64, tb: f64| {
                a * ((tb - u) / (tb - ta)) + b * ((u - ta) / (tb - ta))
            };
            let (a, b, c) = (
                mix(p[0], p[1], t[0], t[1]),
                mix(p[1], p[2], t[1], t[2]),
                mix(p[2], p[3], t[2], t[3]),
            );
            out.push(mix(mix(a, b, t[0], t[2]), mix(b, c, t[1], t[3]), t[1], t[2]));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn offsets_make_an_outline_and_the_base_line_its_arrow() {
        let t = read_stations(
            "# unit: cm\nstation,left,right\n0,1,1\n10,3,2\n20,1,\n",
            "floor",
            None,
            false,
        )
        .unwrap();
        assert_eq!(
            t.net,
            [
                point(0.0, -10.0),
                point(100.0, -20.0),
                point(200.0, 10.0),
                point(100.0, 30.0),
                point(0.0, 10.0)
            ]
        );
        assert_eq!(t.arrow, Some([point(0.0, 0.0), point(200.0, 0.0)]));
        assert!(ring_area(&t.net) > 0.0);
    }

    #[test]
    fn one_side_only_is_bounded_by_the_base_line() {
        let t = read_stations("station_mm;left_mm\n0;50\n100;60,5\n", "rib", None, false).unwrap();
        assert_eq!(
            t.net,
            [point(0.0, 0.0), point(100.0, 0.0), point(100.0, 60.5), point(0.0, 50.0)]
        );
    }

    #[test]
    fn a_faired_line_passes_through_its_points_and_keeps_a_straight_one() {
        let points: Path = (0..5).map(|i| point(f64::from(i) * 100.0, 20.0)).collect();
        assert!(faired(&points).iter().all(|p| (p.y - 20.0).abs() < 1e-9));
        let bent = [point(0.0, 0.0), point(100.0, 40.0), point(200.0, 50.0)];
        let fair = faired(&bent);
        assert!(bent.iter().all(|p| fair.iter().any(|q| q.distance(*p) < 1e-9)));
    }

    #[test]
    fn every_bad_row_is_named() {
        let faults =
            read_stations("station_mm,left,right\n0,1,1\n5,x,1\n3,1,1\n,1,1\n", "x", None, false)
                .unwrap_err();
        assert_eq!(faults.0.len(), 3, "{faults}");
        for bad in [
            "",
            "station,left\n0,1\n1,1\n",
            "x,y\n",
            "station_mm\n0\n",
            "station_mm,left\n0,0\n1,0\n",
            "station_mm,left\n0,5\n",
        ] {
            assert!(read_stations(bad, "x", None, false).is_err(), "{bad:?}");
        }
    }
}
