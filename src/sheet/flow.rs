//! Words, tables and pictures that flow down pages of A4, standing.

use super::form::Form;
use super::pdf::{Page, Part};
use super::scene::{Backing, Hold, Ink, Scene, Shape, Text};
use super::text::{clean, fit, text_width};
use crate::geometry::{Bounds, Point, point};

/// A4, standing, mm.
const SIZE: [f64; 2] = [210.0, 297.0];
/// White at each side, mm.
const MARGIN: f64 = 14.0;
/// Room for the line at the foot, mm.
const FOOT: f64 = 6.0;
/// Words in tables, mm.
const SIZE_OF_CELLS: f64 = 2.9;
/// Line pitch, ems.
const PITCH: f64 = 1.45;

/// Width between the margins, mm.
pub(super) const WIDTH: f64 = SIZE[0] - 2.0 * MARGIN;

/// A page: its words and lines, and pictures with their place and scale.
struct Leaf {
    scene: Scene,
    pictures: Vec<(Scene, Point, f64)>,
}

/// Pages as they are being filled.
pub(super) struct Flow {
    leaves: Vec<Leaf>,
    /// How far the page is filled, from its top, mm.
    down: f64,
}

impl Flow {
    /// An empty first page.
    pub(super) fn new() -> Flow {
        let mut flow = Flow { leaves: Vec::new(), down: 0.0 };
        flow.page();
        flow
    }

    /// Goes on on a new page.
    pub(super) fn page(&mut self) {
        let bounds = Bounds { min: point(0.0, 0.0), max: point(SIZE[0], SIZE[1]) };
        self.leaves.push(Leaf { scene: Scene::new(bounds, String::new()), pictures: Vec::new() });
        self.down = MARGIN;
    }

    /// Sees that so much is free below.
    pub(super) fn room(&mut self, height: f64) {
        if self.down + height > SIZE[1] - MARGIN - FOOT && self.down > MARGIN {
            self.page();
        }
    }

    /// True if so much is free below on this page.
    pub(super) fn fits(&self, height: f64) -> bool {
        self.down + height <= SIZE[1] - MARGIN - FOOT
    }

    /// White.
    pub(super) fn gap(&mut self, height: f64) {
        self.down += height;
    }

    fn scene(&mut self) -> Option<&mut Scene> {
        self.leaves.last_mut().map(|l| &mut l.scene)
    }

    /// A point so far from the left margin and below the top of what is free.
    fn at(&self, x: f64, below: f64) -> Point {
        point(MARGIN + x, SIZE[1] - self.down - below)
    }

    /// A heading with a rule, kept with what follows.
    pub(super) fn heading(&mut self, words: &str) {
        self.gap(2.5);
        self.room(24.0);
        self.words(words, 4.6, true);
        let (a, b) = (self.at(0.0, -1.0), self.at(WIDTH, -1.0));
        if let Some(s) = self.scene() {
            s.line(Ink::Stock, &[a, b]);
        }
        self.gap(2.0);
    }

    /// Words over as many lines as they take.
    pub(super) fn words(&mut self, words: &str, size: f64, bold: bool) {
        for line in wrapped(&clean(words), WIDTH, size, bold) {
            self.room(size * PITCH);
            let at = self.at(0.0, size);
            if let Some(s) = self.scene() {
                s.words(at, size, bold, line);
            }
            self.down += size * PITCH;
        }
    }

    /// Words with a box to tick before them.
    pub(super) fn tick(&mut self, words: &str) {
        const SIZE_OF_WORDS: f64 = 3.3;
        for (i, line) in
            wrapped(&clean(words), WIDTH - 7.0, SIZE_OF_WORDS, false).into_iter().enumerate()
        {
            self.room(SIZE_OF_WORDS * 1.7);
            if i == 0 {
                self.square(0.0, 0.3);
            }
            let at = self.at(7.0, SIZE_OF_WORDS);
            if let Some(s) = self.scene() {
                s.words(at, SIZE_OF_WORDS, false, line);
            }
            self.down += SIZE_OF_WORDS * 1.6;
        }
    }

    /// A box to tick, so far from the left.
    fn square(&mut self, x: f64, below: f64) {
        let (a, b) = (self.at(x, below), self.at(x + 3.8, below + 3.8));
        if let Some(s) = self.scene() {
            s.draw(Ink::Frame, Shape::Rings(vec![vec![a, point(b.x, a.y), b, point(a.x, b.y)]]));
        }
    }

    /// Words that must not be overlooked: white on black.
    pub(super) fn loud(&mut self, words: &str) {
        const SIZE_OF_WORDS: f64 = 3.8;
        let lines = wrapped(&clean(words), WIDTH - 6.0, SIZE_OF_WORDS, true);
        let height = lines.len() as f64 * SIZE_OF_WORDS * PITCH + 2.5;
        self.room(height);
        let (a, b) = (self.at(0.0, 0.0), self.at(WIDTH, height - 0.8));
        let ring = vec![a, point(b.x, a.y), b, point(a.x, b.y)];
        let places: Vec<Point> = (0..lines.len())
            .map(|i| self.at(3.0, 1.0 + SIZE_OF_WORDS + i as f64 * SIZE_OF_WORDS * PITCH))
            .collect();
        if let Some(s) = self.scene() {
            s.backings.push(Backing { ring, black: true });
            for (at, words) in places.into_iter().zip(lines) {
                s.texts.push(Text {
                    at,
                    hold: Hold::Start,
                    angle: 0.0,
                    size: SIZE_OF_WORDS,
                    bold: true,
                    white: true,
                    words,
                });
            }
        }
        self.down += height + 1.0;
    }

    /// A table: headings and widths of its columns as shares of the page, then the rows, their
    /// cells wrapped.
    pub(super) fn table(&mut self, columns: &[(&str, f64)], rows: &[Vec<String>]) {
        let heading: Vec<String> = columns.iter().map(|c| c.0.to_string()).collect();
        let whole: f64 = columns.iter().map(|c| c.1).sum();
        let widths: Vec<f64> = columns.iter().map(|c| c.1 / whole * WIDTH).collect();
        self.room(18.0);
        self.row(&heading, &widths, true);
        for row in rows {
            if self.down + Flow::height(row, &widths) > SIZE[1] - MARGIN - FOOT {
                self.page();
                self.row(&heading, &widths, true);
            }
            self.row(row, &widths, false);
        }
        self.gap(1.5);
    }

    /// The words of the cells of a row, in lines.
    fn cells(cells: &[String], widths: &[f64], bold: bool) -> Vec<Vec<String>> {
        cells
            .iter()
            .zip(widths)
            .map(|(c, w)| wrapped(&clean(c), w - 2.0, SIZE_OF_CELLS, bold))
            .collect()
    }

    fn height(cells: &[String], widths: &[f64]) -> f64 {
        let lines = Flow::cells(cells, widths, false).iter().map(Vec::len).max().unwrap_or(1);
        lines as f64 * SIZE_OF_CELLS * 1.3 + 1.6
    }

    fn row(&mut self, cells: &[String], widths: &[f64], bold: bool) {
        let lines = Flow::cells(cells, widths, bold);
        let height =
            lines.iter().map(Vec::len).max().unwrap_or(1) as f64 * SIZE_OF_CELLS * 1.3 + 1.6;
        let mut x = 0.0;
        for (cell, width) in lines.into_iter().zip(widths) {
            for (i, words) in cell.into_iter().enumerate() {
                let at = self.at(x, 0.8 + SIZE_OF_CELLS * (1.0 + 1.3 * i as f64));
                if let Some(s) = self.scene() {
                    s.words(at, SIZE_OF_CELLS, bold, words);
                }
            }
            x += width;
        }
        self.down += height;
        let (a, b) = (self.at(0.0, 0.0), self.at(WIDTH, 0.0));
        if let Some(s) = self.scene() {
            s.line(if bold { Ink::Frame } else { Ink::Grid }, &[a, b]);
        }
    }

    /// Pictures side by side, three in a row, each with words below.
    pub(super) fn pictures(&mut self, pictures: Vec<(String, Scene)>) {
        const ACROSS: usize = 3;
        const HEIGHT: f64 = 44.0;
        const WORDS: f64 = 2.7;
        let width = WIDTH / ACROSS as f64;
        let mut all = pictures.into_iter().peekable();
        while all.peek().is_some() {
            let row: Vec<(String, Scene)> = all.by_ref().take(ACROSS).collect();
            let drawn: Vec<(Vec<String>, f64, Scene)> = row
                .into_iter()
                .map(|(words, scene)| {
                    let scale =
                        ((width - 5.0) / scene.page.width()).min(HEIGHT / scene.page.height());
                    (wrapped(&words, width - 4.0, WORDS, false), scale, scene)
                })
                .collect();
            let tall =
                drawn.iter().map(|(_, scale, s)| scale * s.page.height()).fold(0.0, f64::max);
            let lines = drawn.iter().map(|d| d.0.len()).max().unwrap_or(1) as f64;
            let height = tall + lines * WORDS * 1.3 + 3.0;
            self.room(height);
            for (i, (words, scale, scene)) in drawn.into_iter().enumerate() {
                let x = i as f64 * width;
                let corner = self.at(x, tall) - scene.page.min * scale;
                for (k, line) in words.into_iter().enumerate() {
                    let at = self.at(x, tall + WORDS * (1.4 + 1.3 * k as f64));
                    if let Some(s) = self.scene() {
                        s.words(at, WORDS, false, line);
                    }
                }
                if let Some(leaf) = self.leaves.last_mut() {
                    leaf.pictures.push((scene, corner, scale));
                }
            }
            self.down += height;
        }
    }

    /// Pieces to tick: boxes for laying, boxes for the backing, the words; two in a row.
    pub(super) fn ticks(&mut self, ticks: &[(String, u32)], most: u32) {
        const SIZE_OF_WORDS: f64 = 3.0;
        const PITCH_OF_BOXES: f64 = 4.8;
        let boxes = |copies: u32| if copies > most { 1 } else { copies };
        let wide = |t: &(String, u32)| {
            let taken = 2.0 * (f64::from(boxes(t.1)) * PITCH_OF_BOXES + 1.5) + 2.5;
            taken + text_width(&t.0, SIZE_OF_WORDS, false) > WIDTH / 2.0
        };
        let across = if ticks.iter().any(|t| boxes(t.1) > 2 || wide(t)) { 1 } else { 2 };
        let width = WIDTH / across as f64;
        for row in ticks.chunks(across) {
            self.room(5.6);
            for (i, (words, copies)) in row.iter().enumerate() {
                let mut x = i as f64 * width;
                for _ in 0..2 {
                    for _ in 0..boxes(*copies) {
                        self.square(x, 0.3);
                        x += PITCH_OF_BOXES;
                    }
                    x += 1.5;
                }
                let words =
                    if *copies > 1 { format!("{words} · {copies} copies") } else { words.clone() };
                let words =
                    fit(&clean(&words), (i + 1) as f64 * width - x - 2.0, SIZE_OF_WORDS, false);
                let at = self.at(x + 0.5, 3.5);
                if let Some(s) = self.scene() {
                    s.words(at, SIZE_OF_WORDS, false, words);
                }
            }
            self.down += 5.4;
        }
        self.gap(1.5);
    }

    /// A drawing of this height over the whole width, in mm of the page, its origin at the lower
    /// left.
    pub(super) fn drawing(&mut self, scene: Scene, height: f64) {
        self.room(height);
        let at = self.at(0.0, height);
        if let Some(leaf) = self.leaves.last_mut() {
            leaf.pictures.push((scene, at, 1.0));
        }
        self.down += height;
    }

    /// A drawing to this scale, in the middle.
    pub(super) fn scaled(&mut self, scene: Scene, scale: f64) {
        let (width, height) = (scene.page.width() * scale, scene.page.height() * scale);
        self.room(height);
        let at = self.at((WIDTH - width) / 2.0, height) - scene.page.min * scale;
        if let Some(leaf) = self.leaves.last_mut() {
            leaf.pictures.push((scene, at, scale));
        }
        self.down += height;
    }

    /// The pages in a form, each with these words and its number at the foot, and how many they are.
    pub(super) fn finish(mut self, title: &str, foot: &str, form: Form) -> (Vec<u8>, usize) {
        let total = self.leaves.len();
        for (i, leaf) in self.leaves.iter_mut().enumerate() {
            let words =
                fit(&clean(&format!("{foot}, page {} of {total}", i + 1)), WIDTH, 2.8, false);
            leaf.scene.words(point(MARGIN, MARGIN - 4.0), 2.8, false, words);
        }
        let pages: Vec<Page<'_>> = self
            .leaves
            .iter()
            .map(|leaf| {
                let mut parts: Vec<Part<'_>> = leaf
                    .pictures
                    .iter()
                    .map(|(scene, at, scale)| Part { scene, at: *at, scale: *scale, window: None })
                    .collect();
                parts.push(Part {
                    scene: &leaf.scene,
                    at: point(0.0, 0.0),
                    scale: 1.0,
                    window: None,
                });
                Page { size: SIZE, parts }
            })
            .collect();
        form.of(&clean(title), &pages)
    }
}

/// The words in lines of at most this width; a word that is longer is shortened.
pub(super) fn wrapped(words: &str, width: f64, size: f64, bold: bool) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in words.split(' ') {
        let Some(line) = lines.last_mut() else {
            continue;
        };
        let longer = if line.is_empty() { word.to_string() } else { format!("{line} {word}") };
        if line.is_empty() || text_width(&longer, size, bold) <= width {
            *line = longer;
        } else {
            lines.push(word.to_string());
        }
    }
    lines.iter().map(|l| fit(l, width, size, bold)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_fits_and_no_word_is_lost() {
        let words = "Every piece with its paper side towards you, the other side on the mould; but those marked the other way";
        let lines = wrapped(words, 60.0, 3.0, false);
        assert!(lines.len() > 2 && lines.iter().all(|l| text_width(l, 3.0, false) <= 60.0));
        assert_eq!(lines.join(" "), words);
        assert!(wrapped(&"W".repeat(200), 60.0, 3.0, true)[0].contains('…'));
    }

    #[test]
    fn what_does_not_fit_goes_on_a_new_page() {
        let mut flow = Flow::new();
        for i in 0..100 {
            flow.tick(&format!("check {i}"));
        }
        let rows: Vec<Vec<String>> = (0..90).map(|i| vec![i.to_string(), "x".into()]).collect();
        flow.table(&[("n", 1.0), ("what", 3.0)], &rows);
        assert!(flow.leaves.len() > 3, "{}", flow.leaves.len());
        for leaf in &flow.leaves {
            assert!(
                leaf.scene
                    .texts
                    .iter()
                    .all(|t| t.at.y > MARGIN + FOOT - 1.0 && t.at.y < SIZE[1] - MARGIN)
            );
        }
        let words: usize =
            flow.leaves.iter().flat_map(|l| &l.scene.texts).filter(|t| t.words == "x").count();
        assert_eq!(words, 90);
    }
}
