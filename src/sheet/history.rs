//! The history of a search: a table to compute with, and a small plot to look at.

use super::text::decimals;
use crate::run::TraceRow;
use maud::{Markup, html};

const WIDTH: f64 = 640.0;
const HEIGHT: f64 = 200.0;
/// Room for the words at the left, top, right and bottom.
const FRAME: [f64; 4] = [70.0, 14.0, 16.0, 34.0];

/// The rows as CSV: seconds, best length (mm), overlap still in the layouts under way (mm), moves
/// and placements tried so far.
pub fn history_table(rows: &[TraceRow]) -> String {
    let mut out = String::from("seconds,length_mm,overlap_mm,moves,evaluations\n");
    for r in rows {
        out += &format!(
            "{:.3},{:.3},{:.3},{},{}\n",
            r.seconds, r.length, r.overlap, r.moves, r.evaluations
        );
    }
    out
}

/// The best length over time as an SVG file.
pub fn history_plot(cloth: &str, rows: &[TraceRow]) -> String {
    let points: Vec<(f64, f64)> = rows.iter().map(|r| (r.seconds.max(1e-3), r.length)).collect();
    let svg = plot(&format!("{cloth}: best length, mm, over seconds of search"), "s", &points);
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", svg.into_string())
}

/// A falling line of steps over a logarithmic axis; the words say what it shows.
pub(super) fn plot(words: &str, unit: &str, points: &[(f64, f64)]) -> Markup {
    let span = |values: &dyn Fn(&(f64, f64)) -> f64| {
        points
            .iter()
            .map(values)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(v), b.max(v)))
    };
    let (from, to) = span(&|p| p.0.max(1e-9).log10());
    let (low, high) = span(&|p| p.1);
    let [left, top, right, bottom] = FRAME;
    let x = |v: f64| {
        left + (v.max(1e-9).log10() - from) / (to - from).max(1e-9) * (WIDTH - left - right)
    };
    let y = |v: f64| top + (high - v) / (high - low).max(1e-9) * (HEIGHT - top - bottom);
    let mut line = String::new();
    for (k, &(at, length)) in points.iter().enumerate() {
        match k {
            0 => line += &format!("M{:.1} {:.1}", x(at), y(length)),
            _ => line += &format!("H{:.1}V{:.1}", x(at), y(length)),
        }
    }
    let ends = points.first().zip(points.last()).filter(|_| low.is_finite() && from.is_finite());
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox=(format!("0 0 {WIDTH} {HEIGHT}")) width=(WIDTH) height=(HEIGHT) role="img" aria-label=(words)
            font-family="sans-serif" font-size="11" {
            title { (words) }
            rect width=(WIDTH) height=(HEIGHT) fill="#fff" {}
            path d=(format!("M{left} {top}V{0}H{1}", HEIGHT - bottom, WIDTH - right)) fill="none" stroke="#555" {}
            @if let Some((first, last)) = ends {
                path d=(line) fill="none" stroke="#0b3d66" stroke-width="2" {}
                text x=(left - 6.0) y=(y(high) + 4.0) text-anchor="end" { (decimals(high, 0)) }
                text x=(left - 6.0) y=(y(low) + 4.0) text-anchor="end" { (decimals(low, 0)) }
                text x=(left) y=(HEIGHT - bottom + 14.0) { (in_words(first.0)) " " (unit) }
                text x=(WIDTH - right) y=(HEIGHT - bottom + 14.0) text-anchor="end" { (in_words(last.0)) " " (unit) }
            }
            text x=(left) y=(HEIGHT - 4.0) { (words) }
        }
    }
}

/// A number with its thousands or millions named.
fn in_words(v: f64) -> String {
    match v {
        v if v >= 1e6 => format!("{} million", decimals(v / 1e6, 1)),
        v if v >= 1e3 => format!("{} thousand", decimals(v / 1e3, 1)),
        v => decimals(v, 2),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(seconds: f64, length: f64, evaluations: u64) -> TraceRow {
        TraceRow { seconds, length, overlap: 0.25, moves: evaluations / 100, evaluations }
    }

    #[test]
    fn a_row_of_the_table_is_a_row_of_the_history() {
        let table = history_table(&[row(0.01, 1200.0, 0), row(1.5, 1100.5, 40_000)]);
        assert_eq!(table.lines().nth(2), Some("1.500,1100.500,0.250,400,40000"));
    }

    #[test]
    fn the_plot_falls_from_its_top_left_to_its_bottom_right() {
        let svg = history_plot(
            "twill <204>",
            &[row(0.01, 1200.0, 0), row(0.1, 1150.0, 5), row(1.0, 1100.0, 9)],
        );
        assert!(svg.contains("M70.0 14.0H347.0V90.0H624.0V166.0"), "{svg}");
        assert!(svg.contains("twill &lt;204&gt;"));
        assert!(roxmltree::Document::parse(&svg).is_ok());
    }

    #[test]
    fn a_history_of_nothing_or_of_one_row_still_draws() {
        for rows in [vec![], vec![row(0.0, 500.0, 0)]] {
            let svg = history_plot("x", &rows);
            assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
        }
    }
}
