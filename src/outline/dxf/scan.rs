//! A first pass over the pairs of a file: what is in it, counted on our own, and a clean copy of
//! what is worth parsing.
//!
//! The general DXF parser drops what it does not know without a word, ends a section early at the
//! first value it cannot read, takes NaN for a number and can be made to panic. So every entity is
//! recorded here first, and the parser is given only entities of the kinds that can become lines,
//! each with the codes that matter, every number checked, under a running number of our own as its
//! handle. By that number its answer is matched with the record.

use super::clean::{Copy, codes, number, real, text_of};
use super::header::Header;
use super::tags::{Spot, Tag, Tags};
use crate::fault::{Fault, Faults};
use std::collections::BTreeMap;

/// No file with more entities is read.
pub(super) const MOST_ENTITIES: usize = 200_000;

/// Names of layers and blocks have at most so many characters (DXF reference; from memory).
const LONGEST_NAME: usize = 255;

/// The word for a layer that hides even the blocks inserted on it.
pub(super) const FROZEN: &str = "frozen";

/// One entity as it stands in the file.
#[derive(Clone, Debug)]
pub(super) struct Record {
    /// `LINE`, `TEXT`, ...
    pub kind: String,
    /// Its handle and its place, to point at it.
    pub label: String,
    /// Where it stands.
    pub spot: Spot,
    /// Name of its layer.
    pub layer: String,
    /// It belongs to a paper layout.
    pub paper: bool,
    /// It is switched to invisible.
    pub invisible: bool,
    /// The block it is part of; `None` for the drawing itself.
    pub block: Option<usize>,
    /// The block it inserts, if it is an `INSERT`.
    pub inserts: String,
    /// It is in the clean copy.
    pub copied: bool,
    /// Its fault has been told.
    pub faulty: bool,
}

/// One block.
#[derive(Clone, Debug)]
pub(super) struct BlockRecord {
    /// Its name.
    pub name: String,
    /// Its base point, drawing units.
    pub base: [f64; 2],
    /// It stands for another file.
    pub external: bool,
    /// Its entities, as a range of [`Scan::records`].
    pub content: std::ops::Range<usize>,
}

/// What the first pass found.
#[derive(Debug, Default)]
pub(super) struct Scan {
    /// Header variables.
    pub header: Header,
    /// Layers that are not shown (name in lower case), with the word for it.
    pub hidden: BTreeMap<String, &'static str>,
    /// All entities, file order. Vertices and attributes belong to their polyline or insert.
    pub records: Vec<Record>,
    /// All blocks, file order.
    pub blocks: Vec<BlockRecord>,
    /// The clean copy: one section of entities whose handles are record numbers plus one.
    pub clean: String,
}

/// Reads the file through.
///
/// Wrong values go into `faults`; reading goes on.
///
/// # Errors
/// What makes reading on pointless: not DXF, cut short, out of structure, far too big.
pub(super) fn scan(bytes: &[u8], faults: &mut Faults) -> Result<Scan, Fault> {
    let mut pass = Pass { tags: Tags::new(bytes)?, ahead: None, found: Scan::default(), faults };
    pass.found.clean.push_str("0\nSECTION\n2\nENTITIES\n");
    pass.sections()?;
    pass.found.clean.push_str("0\nENDSEC\n0\nEOF\n");
    Ok(pass.found)
}

struct Pass<'a, 'f> {
    tags: Tags<'a>,
    ahead: Option<Tag<'a>>,
    found: Scan,
    faults: &'f mut Faults,
}

impl<'a> Pass<'a, '_> {
    fn next(&mut self) -> Result<Option<Tag<'a>>, Fault> {
        match self.ahead.take() {
            Some(tag) => Ok(Some(tag)),
            None => self.tags.next(),
        }
    }

    fn next_or_cut_short(&mut self) -> Result<Tag<'a>, Fault> {
        self.next()?.ok_or_else(|| {
            Fault::new(
                "the file is cut short: it ends before its EOF mark",
                "save the drawing again, or fetch the file again",
            )
        })
    }

    /// The next pair of the present item; `None` once a structure mark follows.
    fn next_in_item(&mut self) -> Result<Option<Tag<'a>>, Fault> {
        let tag = self.next_or_cut_short()?;
        if tag.code != 0 {
            return Ok(Some(tag));
        }
        self.ahead = Some(tag);
        Ok(None)
    }

    fn skip_item(&mut self) -> Result<(), Fault> {
        while self.next_in_item()?.is_some() {}
        Ok(())
    }

    /// If the next structure mark has this name, takes it.
    fn take_mark(&mut self, name: &str) -> Result<bool, Fault> {
        let tag = self.next_or_cut_short()?;
        let found = tag.starts(name);
        if !found {
            self.ahead = Some(tag);
        }
        Ok(found)
    }

    fn sections(&mut self) -> Result<(), Fault> {
        loop {
            let tag = self.next_or_cut_short()?;
            if tag.starts("EOF") {
                return Ok(());
            }
            let name = if tag.starts("SECTION") {
                Some(self.next_or_cut_short()?).filter(|name| name.code == 2)
            } else {
                None
            };
            let Some(name) = name else {
                let what = said!("a section was expected, found {} / {}", tag.code, text_of(&tag));
                return Err(tag.spot.place(Fault::new(
                    what,
                    "the file is damaged or not DXF: save the drawing again as DXF",
                )));
            };
            match &*name.value {
                b"HEADER" => self.header()?,
                b"TABLES" => self.tables()?,
                b"BLOCKS" => self.blocks()?,
                b"ENTITIES" => self.entities(None, "ENDSEC")?,
                _ => while !self.next_or_cut_short()?.starts("ENDSEC") {},
            }
        }
    }

    fn header(&mut self) -> Result<(), Fault> {
        let mut variable = Vec::new();
        while let Some(tag) = self.next_in_item()? {
            if tag.code == 9 {
                variable = tag.value.into_owned();
            } else {
                self.found.header.set(&variable, &tag);
            }
        }
        if self.take_mark("ENDSEC")? { Ok(()) } else { Err(self.out_of_structure("the header")) }
    }

    fn tables(&mut self) -> Result<(), Fault> {
        loop {
            let mark = self.next_or_cut_short()?;
            if mark.starts("ENDSEC") {
                return Ok(());
            }
            let (mut layer, mut flags, mut colour) = (String::new(), 0, 0);
            while let Some(tag) = self.next_in_item()? {
                match tag.code {
                    2 => layer = name(&self.found.header, &tag)?,
                    62 => colour = number(&tag).unwrap_or(0),
                    70 => flags = number(&tag).unwrap_or(0),
                    _ => {}
                }
            }
            if mark.starts("LAYER") {
                // Bit 1 of the flags is "frozen"; a negative colour is "off" (DXF reference, LAYER;
                // from memory).
                let word = if flags & 1 != 0 {
                    Some(FROZEN)
                } else {
                    (colour < 0).then_some("switched off")
                };
                if let Some(word) = word {
                    self.found.hidden.insert(layer.to_lowercase(), word);
                }
            }
        }
    }

    fn blocks(&mut self) -> Result<(), Fault> {
        loop {
            if self.take_mark("ENDSEC")? {
                return Ok(());
            }
            if !self.take_mark("BLOCK")? {
                return Err(self.out_of_structure("the blocks"));
            }
            let start = self.found.records.len();
            if self.found.blocks.len() >= MOST_ENTITIES {
                return Err(Fault::new(
                    said!("the drawing has more than {MOST_ENTITIES} blocks"),
                    "save a drawing of the outlines alone",
                ));
            }
            let mut block = BlockRecord {
                name: String::new(),
                base: [0.0; 2],
                external: false,
                content: start..start,
            };
            while let Some(tag) = self.next_in_item()? {
                match tag.code {
                    2 => block.name = name(&self.found.header, &tag)?,
                    10 | 20 => block.base[usize::from(tag.code == 20)] = real(&tag)?,
                    // Bits 4 and 8: external references (DXF reference, BLOCK; from memory).
                    70 => block.external = number(&tag).unwrap_or(0) & 12 != 0,
                    _ => {}
                }
            }
            self.entities(Some(self.found.blocks.len()), "ENDBLK")?;
            self.skip_item()?;
            block.content.end = self.found.records.len();
            self.found.blocks.push(block);
        }
    }

    /// Entities up to and with the structure mark `end`.
    fn entities(&mut self, block: Option<usize>, end: &str) -> Result<(), Fault> {
        loop {
            let mark = self.next_or_cut_short()?;
            if mark.starts(end) {
                return Ok(());
            }
            let kind = text_of(&mark);
            let misplaced = ["VERTEX", "SEQEND", "SECTION", "ENDSEC", "EOF", "BLOCK", "ENDBLK"]
                .contains(&kind.as_str());
            if mark.code != 0 || misplaced {
                let what = said!("{kind} stands where an entity or {end} belongs");
                return Err(mark
                    .spot
                    .place(Fault::new(what, "the file is damaged: save the drawing again")));
            }
            if self.found.records.len() >= MOST_ENTITIES {
                let what = said!("the drawing has more than {MOST_ENTITIES} entities");
                return Err(mark
                    .spot
                    .place(Fault::new(what, "save a drawing of the outlines alone")));
            }
            self.entity(kind, mark.spot, block)?;
        }
    }

    fn entity(&mut self, kind: String, spot: Spot, block: Option<usize>) -> Result<(), Fault> {
        let mut record = Record {
            label: String::new(),
            spot,
            layer: "0".into(),
            paper: false,
            invisible: false,
            block,
            inserts: String::new(),
            copied: codes(&kind).is_some(),
            faulty: false,
            kind,
        };
        let start = self.found.clean.len();
        let handle = self.item(&mut record)?;
        record.label = match handle {
            Some(handle) => format!("{} {handle} ({spot})", record.kind),
            None => format!("{} ({spot})", record.kind),
        };
        if record.kind == "POLYLINE" {
            let mut vertex = Record { kind: "VERTEX".into(), ..record.clone() };
            while self.take_mark("VERTEX")? {
                self.item(&mut vertex)?;
            }
            record.faulty = vertex.faulty;
            if self.take_mark("SEQEND")? {
                self.skip_item()?;
                self.found.clean.push_str("0\nSEQEND\n");
            } else {
                record.faulty = true;
                let what =
                    said!("{} does not end in SEQEND: vertices may be missing", record.label);
                self.faults.push(
                    spot.place(Fault::new(what, "the file is damaged: save the drawing again")),
                );
            }
        }
        if record.kind == "INSERT" {
            while self.take_mark("ATTRIB")? {
                self.skip_item()?;
            }
            if self.take_mark("SEQEND")? {
                self.skip_item()?;
            }
        }
        if record.faulty {
            record.copied = false;
            self.found.clean.truncate(start);
        }
        self.found.records.push(record);
        Ok(())
    }

    /// The pairs of one entity (or vertex): common facts into the record, what matters into the
    /// clean copy. Returns the handle.
    fn item(&mut self, record: &mut Record) -> Result<Option<String>, Fault> {
        let codes = codes(&record.kind);
        let mut copy = Copy::new(
            &record.kind,
            self.found.records.len() + 1,
            &mut self.found.clean,
            codes.is_some(),
        );
        let (mut handle, mut wrong) = (None, None);
        loop {
            // Spelt out because `copy` holds a part of `self`.
            let tag = match self.ahead.take() {
                Some(tag) => Some(tag),
                None => self.tags.next()?,
            };
            let Some(tag) = tag else {
                return Err(cut_short_in(&record.kind, record.spot));
            };
            match tag.code {
                0 => {
                    self.ahead = Some(tag);
                    break;
                }
                5 if tag.value.len() <= 16 && tag.value.iter().all(u8::is_ascii_hexdigit) => {
                    handle = Some(text_of(&tag))
                }
                8 => match name(&self.found.header, &tag) {
                    Ok(layer) => record.layer = layer,
                    Err(fault) => wrong = Some(fault),
                },
                60 => record.invisible = number(&tag) == Some(1),
                67 => record.paper = number(&tag) == Some(1),
                2 if record.kind == "INSERT" => {
                    match name(&self.found.header, &tag) {
                        Ok(block) => record.inserts = block,
                        Err(fault) => wrong = Some(fault),
                    }
                    copy.seen.push(2);
                }
                _ => {
                    // One fault an entity is enough, and bounds what a damaged file can make of
                    // memory.
                    if let Some(codes) = codes.as_ref().filter(|_| wrong.is_none()) {
                        wrong = copy.take(codes, &tag).err();
                    }
                }
            }
        }
        if let Some(codes) = codes.as_ref().filter(|_| wrong.is_none()) {
            wrong = copy.finish(codes, record.spot).err();
        }
        if let Some(fault) = wrong.filter(|_| !record.faulty) {
            self.faults.push(fault);
            record.faulty = true;
        }
        Ok(handle)
    }

    fn out_of_structure(&mut self, within: &str) -> Fault {
        let tag = self.ahead.take();
        let (found, spot) =
            tag.map_or((String::new(), Spot::Line(1)), |tag| (text_of(&tag), tag.spot));
        let what = said!("{found} does not belong in {within}");
        spot.place(Fault::new(what, "the file is damaged: save the drawing again"))
    }
}

/// The name of a layer or block.
fn name(header: &Header, tag: &Tag<'_>) -> Result<String, Fault> {
    let name: String = header.decode(&tag.value).chars().filter(|c| !c.is_control()).collect();
    if name.chars().count() <= LONGEST_NAME {
        return Ok(name);
    }
    let what = said!("a name is longer than {LONGEST_NAME} characters");
    Err(tag.spot.place(Fault::new(what, "give the layer or block a shorter name")))
}

fn cut_short_in(kind: &str, spot: Spot) -> Fault {
    let what = said!("the file is cut short: it ends in the middle of this {kind}");
    spot.place(Fault::new(what, "save the drawing again, or fetch the file again"))
}
