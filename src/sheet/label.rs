//! What a piece's label says, and how its words can be arranged.

use super::scene::{Backing, Hold, Scene, Text};
use super::text::{ASCENT, clean, descent, shorten, text_width};
use crate::cloth::Face;
use crate::geometry::{Motion, Point, point};
use crate::plan::{PlacedPiece, Plan, PlanPiece, words};

/// White between lines, ems of the body.
const LEADING: f64 = 0.22;

/// Size of a piece's number against the other words.
const NUMBER: f64 = 2.4;

/// A line of words within a block, at body size 1.
#[derive(Clone, Debug, PartialEq)]
struct Line {
    words: String,
    size: f64,
    bold: bool,
    /// White on a black box.
    loud: bool,
}

impl Line {
    fn plain(words: impl Into<String>) -> Self {
        Line { words: words.into(), size: 1.0, bold: false, loud: false }
    }

    fn big(words: impl Into<String>) -> Self {
        Line { words: words.into(), size: NUMBER, bold: true, loud: false }
    }

    fn loud(words: impl Into<String>) -> Self {
        Line { words: words.into(), size: 1.0, bold: true, loud: true }
    }

    fn width(&self) -> f64 {
        text_width(&self.words, self.size, self.bold) + if self.loud { 0.6 } else { 0.0 }
    }

    fn height(&self) -> f64 {
        self.size * (ASCENT + descent(&self.words))
            + if self.size > 1.0 { 2.0 * LEADING } else { LEADING }
    }
}

/// A line at its place in a block.
#[derive(Clone, Debug, PartialEq)]
struct Run {
    at: Point,
    hold: Hold,
    line: Line,
}

/// Words arranged in a box, all lengths in units of the body's font size; origin at the lower left
/// corner.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Block {
    /// Width of the box.
    pub width: f64,
    /// Height of the box.
    pub height: f64,
    runs: Vec<Run>,
}

impl Block {
    /// Lines one over the other, in the middle.
    fn stack(lines: &[Line]) -> Block {
        let width = lines.iter().map(Line::width).fold(0.0, f64::max);
        let height: f64 = lines.iter().map(Line::height).sum();
        let mut top = height;
        let mut runs = Vec::new();
        for line in lines {
            top -= line.height();
            runs.push(Run {
                at: point(width / 2.0, top + baseline(line)),
                hold: Hold::Middle,
                line: line.clone(),
            });
        }
        Block { width, height, runs }
    }

    /// A first line at the left, the others in a column beside it.
    fn beside(first: &Line, lines: &[Line]) -> Block {
        let column: f64 = lines.iter().map(Line::height).sum();
        let height = column.max(first.height());
        let gap = 0.6;
        let left = first.width() + gap;
        let mut runs = vec![Run {
            at: point(0.0, (height - first.height()) / 2.0 + baseline(first)),
            hold: Hold::Start,
            line: first.clone(),
        }];
        let mut top = (height + column) / 2.0;
        for line in lines {
            top -= line.height();
            let (x, hold) = if line.loud {
                (left + line.width() / 2.0, Hold::Middle)
            } else {
                (left, Hold::Start)
            };
            runs.push(Run { at: point(x, top + baseline(line)), hold, line: line.clone() });
        }
        Block { width: left + lines.iter().map(Line::width).fold(0.0, f64::max), height, runs }
    }

    /// Plain lines one over the other, for labels that are not a piece's.
    pub(crate) fn plain(title: &str, lines: &[String]) -> Block {
        let mut all = vec![Line { words: title.into(), size: 1.0, bold: true, loud: false }];
        all.extend(lines.iter().map(Line::plain));
        Block::stack(&all)
    }

    /// Writes the block into the scene with its middle at `middle`, at the given body size (mm) and
    /// angle (degrees).
    pub(crate) fn write(&self, scene: &mut Scene, middle: Point, size: f64, angle: f64) {
        let half = point(self.width, self.height) * 0.5;
        let place = Motion::new(angle, false, middle);
        for run in &self.runs {
            let text = Text {
                at: place.apply((run.at - half) * size),
                hold: run.hold,
                angle,
                size: run.line.size * size,
                bold: run.line.bold,
                white: run.line.loud,
                words: run.line.words.clone(),
            };
            if run.line.loud {
                let half_width = run.line.width() / 2.0;
                let corners = [
                    (-half_width, -0.2),
                    (half_width, -0.2),
                    (half_width, 0.9),
                    (-half_width, 0.9),
                ];
                let ring = corners
                    .iter()
                    .map(|&(x, y)| place.apply((run.at + point(x, y) - half) * size))
                    .collect();
                scene.backings.push(Backing { ring, black: true });
            }
            scene.texts.push(text);
        }
    }

    /// A white box behind the block, for words over a hatch.
    pub(crate) fn back(&self, scene: &mut Scene, middle: Point, size: f64, angle: f64) {
        let half = point(self.width, self.height) * (size / 2.0);
        let place = Motion::new(angle, false, middle);
        let corners = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)];
        let ring =
            corners.iter().map(|&(x, y)| place.apply(point(half.x * x, half.y * y))).collect();
        scene.backings.push(Backing { ring, black: false });
    }
}

/// Height of a line's baseline over its foot.
fn baseline(line: &Line) -> f64 {
    line.size * descent(&line.words) + if line.size > 1.0 { LEADING } else { LEADING / 2.0 }
}

/// What a piece's label says.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Facts {
    /// Its number.
    pub number: String,
    /// Job, if several are planned together.
    pub job: Option<String>,
    /// Template, whole.
    pub template: String,
    /// `layer 2`.
    pub layer: String,
    /// `+45°`.
    pub angle: String,
    /// `mirrored`.
    pub hand: &'static str,
    /// `part 1 of 2`, `copy 2 of 3`, `patch 7`, `cut across segments 1 and 2`: what applies.
    pub more: Vec<String>,
    /// It lies face down as the cloth lies on this sheet: it is turned over before it is laid.
    pub face_down: bool,
}

impl Facts {
    /// The facts of one piece as it is placed on the sheet; `crossing` tells which bench segments
    /// it crosses.
    pub(crate) fn of(
        plan: &Plan,
        piece: Option<&PlanPiece>,
        placed: &PlacedPiece,
        crossing: Option<String>,
    ) -> Facts {
        let mut more = Vec::new();
        if let Some(piece) = piece {
            more.extend(words::which(piece));
            more.extend(words::copy(placed.copy, piece.copies));
        }
        more.extend(crossing);
        Facts {
            number: clean(piece.map_or(placed.piece.as_str(), |p| &p.number)),
            job: piece.filter(|_| plan.jobs.len() > 1).map(|p| clean(&p.job)),
            template: piece.map_or_else(String::new, |p| clean(&p.template)),
            layer: piece.map_or_else(String::new, |p| words::layer(p.layer)),
            angle: piece.map_or_else(String::new, |p| super::text::angle(p.angle)),
            hand: piece.map_or("", |p| words::hand_of(p)),
            more,
            face_down: placed.face == Face::Down,
        }
    }

    /// Everything in one line, whole.
    pub(crate) fn line(&self) -> String {
        let mut all: Vec<&str> = self.job.as_deref().into_iter().collect();
        all.extend([self.template.as_str(), &self.layer, &self.angle, self.hand]);
        all.extend(self.more.iter().map(String::as_str));
        if self.face_down {
            all.push(words::FACE_DOWN);
        }
        all.retain(|s| !s.is_empty());
        all.join(" · ")
    }

    fn number_line(&self) -> Line {
        Line::big(shorten(&self.number, 12))
    }

    /// All the facts, arranged in several ways, names cut to `columns`.
    pub(crate) fn full(&self, columns: usize) -> Vec<Block> {
        let name = Line { bold: true, ..Line::plain(shorten(&self.template, columns)) };
        let job = self.job.as_ref().map(|j| Line::plain(shorten(j, columns)));
        let layer = Line::plain(format!("{} · {}", self.layer, self.angle));
        let down = self.face_down.then(|| Line::loud(words::FACE_DOWN));
        let more: Vec<Line> = self.more.iter().map(Line::plain).collect();
        let mut tall: Vec<Line> = vec![name.clone()];
        tall.extend(job.clone());
        tall.extend([layer, Line::plain(self.hand)]);
        tall.extend(more);
        tall.extend(down.clone());
        let mut wide: Vec<Line> = vec![name];
        wide.extend(job);
        let mut second = format!("{} · {} · {}", self.layer, self.angle, self.hand);
        for m in &self.more {
            second.push_str(" · ");
            second.push_str(m);
        }
        wide.push(Line::plain(second.clone()));
        wide.extend(down.clone());
        let mut row = vec![Line::plain(format!("{} · {second}", shorten(&self.template, columns)))];
        row.extend(down);
        let number = self.number_line();
        let mut stacked = vec![number.clone()];
        stacked.extend(tall.iter().cloned());
        let small = Line { size: 1.0, ..number.clone() };
        vec![
            Block::stack(&stacked),
            Block::beside(&number, &tall),
            Block::beside(&number, &wide),
            Block::beside(&small, &row),
        ]
    }

    /// The number with what must not be mixed up, then less and smaller; the key on the sheet says
    /// the rest.
    pub(crate) fn short(&self) -> Vec<Block> {
        let number = self.number_line();
        let small = Line { size: 1.0, ..number.clone() };
        let angle = Line::plain(&self.angle);
        if self.face_down {
            let down = Line::loud("DOWN");
            return vec![
                Block::stack(&[number.clone(), angle, down.clone()]),
                Block::stack(&[number.clone(), down.clone()]),
                Block::beside(&number, std::slice::from_ref(&down)),
                Block::stack(&[small.clone(), down.clone()]),
                Block::beside(&small, &[down]),
            ];
        }
        vec![
            Block::stack(&[number.clone(), angle.clone()]),
            Block::beside(&number, std::slice::from_ref(&angle)),
            Block::stack(&[small.clone(), angle]),
            Block::stack(&[small]),
        ]
    }

    /// One compact block for a place outside the piece.
    pub(crate) fn outside(&self) -> Block {
        let mut lines = vec![Line { bold: true, ..Line::plain(shorten(&self.template, 24)) }];
        lines.extend(self.job.as_ref().map(|j| Line::plain(shorten(j, 24))));
        lines.push(Line::plain([self.layer.as_str(), &self.angle, self.hand].join(" · ")));
        if !self.more.is_empty() {
            lines.push(Line::plain(self.more.join(" · ")));
        }
        if self.face_down {
            lines.push(Line::loud(words::FACE_DOWN));
        }
        Block::beside(&Line { size: 2.0, ..self.number_line() }, &lines)
    }
}
