//! Walks through the drawing and the blocks it inserts, and keeps account of every entity.

use super::super::budget::Budget;
use super::super::{Drawing, DrawnLine, NotUsed, ReadOptions};
use super::entities::chain;
use super::frame::Frame;
use super::layers::{half_beside_mirror, pattern_role};
use super::refusal::Refusal;
use super::scan::{FROZEN, Record, Scan};
use crate::fault::{Fault, Faults, Said};
use crate::geometry::{point, sin_cos_degrees};
use crate::units::LARGEST;
use dxf::entities::{EntityType, Insert};
use std::collections::{BTreeMap, BTreeSet};

/// Blocks in blocks may go this deep.
const DEEPEST: usize = 16;

/// So many entities may be drawn once every insertion is spelt out.
const MOST_DRAWN: usize = 400_000;

const UNFOLD: &str = "unfold the piece in the drawing program and save again";

/// What became of an entity, over all insertions of its block.
#[derive(Clone, Debug, PartialEq)]
enum Fate {
    Unseen,
    Left(Said),
    /// Left, although a person sees a line there.
    Missed(Said),
    Used,
}

/// Where in the nest of blocks the walk is.
#[derive(Clone, Copy)]
struct Within<'w> {
    frame: Frame,
    /// Names of the blocks, outermost first.
    names: &'w [String],
    /// Their indices.
    blocks: &'w [usize],
    /// The layer that content on layer 0 takes over.
    layer: &'w str,
}

/// The walk.
pub(super) struct Walk<'s> {
    scan: &'s Scan,
    /// By record: what the parser made of it.
    parsed: &'s [Option<&'s EntityType>],
    options: &'s ReadOptions,
    /// The layers are those of the pattern standard.
    pattern: bool,
    by_name: BTreeMap<String, Vec<usize>>,
    fates: Vec<Fate>,
    /// Records that give no line wherever they are drawn, and are not tried again.
    settled: BTreeSet<usize>,
    faults: Faults,
    lines: Vec<DrawnLine>,
    drawn: usize,
    budget: &'s Budget<'s>,
}

impl<'s> Walk<'s> {
    pub(super) fn new(
        scan: &'s Scan,
        parsed: &'s [Option<&'s EntityType>],
        options: &'s ReadOptions,
        pattern: bool,
        budget: &'s Budget<'s>,
    ) -> Self {
        let mut by_name: BTreeMap<String, Vec<usize>> = BTreeMap::new();
        for (i, block) in scan.blocks.iter().enumerate() {
            by_name.entry(block.name.to_lowercase()).or_default().push(i);
        }
        Walk {
            scan,
            parsed,
            options,
            pattern,
            by_name,
            fates: vec![Fate::Unseen; scan.records.len()],
            settled: BTreeSet::new(),
            faults: Faults::new(),
            lines: vec![],
            drawn: 0,
            budget,
        }
    }

    /// Draws everything in the drawing itself; `millimetres` is the length of a drawing unit.
    pub(super) fn run(mut self, millimetres: f64) -> (Drawing, Faults) {
        let top = Within { frame: Frame::scale(millimetres), names: &[], blocks: &[], layer: "0" };
        for i in (0..self.scan.records.len()).filter(|&i| self.scan.records[i].block.is_none()) {
            self.visit(i, top);
        }
        if let Some(what) = self.half_a_piece(0, 1) {
            self.faults.push(Fault::new(what, UNFOLD));
        }
        self.tell_too_much();
        let mut drawing =
            Drawing { lines: self.lines, present: self.scan.records.len(), ..Drawing::default() };
        for (record, fate) in self.scan.records.iter().zip(self.fates) {
            let is_line = matches!(fate, Fate::Missed(_));
            let why = match fate {
                Fate::Used => {
                    drawing.used += 1;
                    continue;
                }
                Fate::Left(why) | Fate::Missed(why) => why,
                Fate::Unseen => match record.block.and_then(|b| self.scan.blocks.get(b)) {
                    Some(block) => said!("its block {} is not inserted", block.name),
                    None => "it was not reached".into(),
                },
            };
            let (what, name, label) =
                (record.kind.clone(), record.layer.clone(), record.label.clone());
            let why = why.to_string();
            drawing.not_used.push(NotUsed { what, name, label, why, is_line });
        }
        (drawing, self.faults)
    }

    fn tell_too_much(&mut self) {
        if self.drawn > MOST_DRAWN {
            let what = said!(
                "the drawing comes to more than {MOST_DRAWN} entities once its inserted blocks are drawn"
            );
            self.faults.push(Fault::new(what, "save a drawing of the outlines alone"));
        }
    }

    fn too_much(&self) -> bool {
        self.drawn > MOST_DRAWN || self.budget.is_spent()
    }

    /// Returns true if the entity gave a line.
    fn visit(&mut self, i: usize, within: Within<'_>) -> bool {
        self.drawn += 1;
        if self.too_much() || self.settled.contains(&i) {
            return false;
        }
        let record = &self.scan.records[i];
        let layer = if record.layer == "0" { within.layer } else { record.layer.as_str() };
        let fate = match self.outcome(i, record, layer, within) {
            Ok(()) => Fate::Used,
            Err(Refusal::NotUsed(why)) => Fate::Left(why),
            Err(Refusal::Missed(why)) => Fate::Missed(why),
            Err(Refusal::Wrong(what, remedy)) => {
                self.settled.insert(i);
                self.faults
                    .push(record.spot.place(Fault::new(said!("{}: {what}", record.label), remedy)));
                Fate::Left(what)
            }
        };
        let used = fate == Fate::Used;
        if used || self.fates[i] == Fate::Unseen {
            self.fates[i] = fate;
        }
        used
    }

    fn outcome(
        &mut self,
        i: usize,
        record: &Record,
        layer: &str,
        within: Within<'_>,
    ) -> Result<(), Refusal> {
        let left = |why: &'static str| Err(Refusal::NotUsed(why.into()));
        if record.paper {
            return left("it belongs to a paper layout, not to the drawing");
        }
        if record.invisible {
            return left("it is switched to invisible");
        }
        // Switching a layer off hides what lies on it; freezing hides a block inserted on it
        // altogether.
        if let Some(&word) = self.scan.hidden.get(&layer.to_lowercase())
            && (word == FROZEN || record.kind != "INSERT")
        {
            return Err(Refusal::NotUsed(said!("its layer {layer} is {word}")));
        }
        if !record.copied {
            return Err(reason_by_kind(&record.kind));
        }
        let Some(entity) = self.parsed.get(i).copied().flatten() else {
            return Err(Refusal::Wrong(
                "it could not be read".into(),
                "save it as a polyline".into(),
            ));
        };
        match entity {
            EntityType::Insert(insert) => self.insert(record, insert, layer, within),
            _ => self.draw(i, entity, layer, within),
        }
    }

    fn draw(
        &mut self,
        i: usize,
        entity: &EntityType,
        layer: &str,
        within: Within<'_>,
    ) -> Result<(), Refusal> {
        let role = if self.pattern { Some(pattern_role(layer)?) } else { None };
        let names: Vec<String> = within.names.iter().cloned().chain([layer.to_string()]).collect();
        let chain = chain(entity, &within.frame, self.options.chord_tolerance, self.budget)
            .inspect_err(|_| {
                self.settled.insert(i);
            })?;
        if chain.points.iter().any(|p| !(p.x.abs() <= LARGEST && p.y.abs() <= LARGEST)) {
            let what =
                said!("it reaches farther than {} m from the drawing's origin", LARGEST / 1000.0);
            return Err(Refusal::Wrong(
                what,
                "check the drawing's unit, or move the outlines to its origin".into(),
            ));
        }
        self.budget.points(chain.points.len());
        self.budget.told(&names, &self.scan.records[i].label);
        self.lines.push(DrawnLine {
            points: chain.points,
            closed: chain.closed,
            names,
            role,
            label: self.scan.records[i].label.clone(),
        });
        Ok(())
    }

    fn insert(
        &mut self,
        record: &Record,
        insert: &Insert,
        layer: &str,
        within: Within<'_>,
    ) -> Result<(), Refusal> {
        let name = &record.inserts;
        let wrong = |what: Said, remedy: &'static str| Err(Refusal::Wrong(what, remedy.into()));
        let block = match self.by_name.get(&name.to_lowercase()).map(Vec::as_slice) {
            Some(&[block]) => block,
            Some(_) => {
                return wrong(
                    said!("there are several blocks named {name}"),
                    "give each block a name of its own",
                );
            }
            None => {
                return wrong(
                    said!("it inserts the block {name}, which is not in the file"),
                    "save the drawing again with its blocks",
                );
            }
        };
        let definition = &self.scan.blocks[block];
        if definition.external {
            return Err(Refusal::NotUsed(said!(
                "{name} stands for another file, which is not read"
            )));
        }
        let blocks: Vec<usize> = within.blocks.iter().copied().chain([block]).collect();
        let names: Vec<String> =
            within.names.iter().cloned().chain([definition.name.clone()]).collect();
        if within.blocks.contains(&block) {
            return wrong(
                said!("the block inserts itself ({})", names.join(" > ")),
                "break the circle in the drawing program",
            );
        }
        if blocks.len() > DEEPEST {
            return wrong(
                said!("blocks are nested deeper than {DEEPEST}"),
                "explode the inner blocks in the drawing program",
            );
        }
        let Some(outer) = within.frame.extruded(&insert.extrusion_direction) else {
            return Err(Refusal::Missed("its plane is tilted out of the drawing".into()));
        };
        if insert.x_scale_factor == 0.0 || insert.y_scale_factor == 0.0 {
            return wrong("its scale is 0".into(), "give it a scale, or delete it");
        }
        let (sin, cos) = sin_cos_degrees(insert.rotation);
        let turned = Frame {
            x: point(cos, sin),
            y: point(-sin, cos),
            origin: point(insert.location.x, insert.location.y),
        };
        let base = point(
            definition.base[0] * insert.x_scale_factor,
            definition.base[1] * insert.y_scale_factor,
        );
        let mut any = false;
        for row in 0..insert.row_count.max(1) {
            for column in 0..insert.column_count.max(1) {
                // The steps of an array turn with the insert but are not scaled by it.
                let step = point(
                    f64::from(column) * insert.column_spacing,
                    f64::from(row) * insert.row_spacing,
                );
                let scaled = Frame {
                    x: point(insert.x_scale_factor, 0.0),
                    y: point(0.0, insert.y_scale_factor),
                    origin: step - base,
                };
                let frame = outer.of(&turned).of(&scaled);
                self.drawn += 1;
                if self.too_much() {
                    return Err(Refusal::NotUsed("the drawing is too big".into()));
                }
                let start = self.lines.len();
                for i in definition.content.clone() {
                    any |= self.visit(i, Within { frame, names: &names, blocks: &blocks, layer });
                }
                if let Some(what) = self.half_a_piece(start, names.len() + 1) {
                    return wrong(what, UNFOLD);
                }
            }
        }
        if any {
            Ok(())
        } else {
            Err(Refusal::NotUsed(said!("nothing in its block {name} gives a line here")))
        }
    }

    /// The lines since `start` that lie as deep as `depth` names tell are one piece: says if it is
    /// only a half.
    fn half_a_piece(&self, start: usize, depth: usize) -> Option<Said> {
        let piece = self.lines.iter().skip(start).filter(|line| line.names.len() == depth);
        let mirror = if self.pattern { half_beside_mirror(piece) } else { None }?;
        Some(said!("the piece is drawn as one half beside a mirror line on layer 6, {mirror}"))
    }
}

/// Why an entity gives no line, by its kind; all but lettering, fillings and pictures are lines to
/// whoever looks at the drawing.
fn reason_by_kind(kind: &str) -> Refusal {
    let (why, is_line) = match kind {
        "POINT" => ("it is a point, not a line", false),
        "TEXT" | "MTEXT" | "ATTRIB" | "ATTDEF" | "RTEXT" | "ARCALIGNEDTEXT" => {
            ("it is text, not an outline", false)
        }
        "HATCH" | "MPOLYGON" | "WIPEOUT" => {
            ("it is a filled area: draw its edge as a polyline", false)
        }
        "SOLID" | "TRACE" => ("it is a filled area: draw its edge as a polyline", true),
        "DIMENSION"
        | "ARC_DIMENSION"
        | "LARGE_RADIAL_DIMENSION"
        | "LEADER"
        | "MULTILEADER"
        | "MLEADER"
        | "TOLERANCE"
        | "ACAD_TABLE" => ("it is annotation", false),
        "IMAGE" | "OLEFRAME" | "OLE2FRAME" | "PDFUNDERLAY" | "DWFUNDERLAY" | "DGNUNDERLAY" => {
            ("it is a picture, not an outline", false)
        }
        "VIEWPORT" => ("it is a view of a paper layout, not an outline", false),
        "RAY" | "XLINE" => ("it has no end: draw a line", true),
        "3DFACE" | "3DSOLID" | "BODY" | "REGION" | "MESH" | "SURFACE" => {
            ("it is a surface or solid, not an outline", true)
        }
        "MLINE" | "HELIX" => ("it is not read: turn it into polylines", true),
        _ => ("this kind of entity is not read", true),
    };
    if is_line { Refusal::Missed(why.into()) } else { Refusal::NotUsed(why.into()) }
}
