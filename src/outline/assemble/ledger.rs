//! What became of every line: the accounting behind "used + not used = present".

use crate::fault::Fault;
use crate::outline::{DrawnLine, NotUsed};
use std::collections::BTreeMap;

#[derive(Clone, Debug, PartialEq)]
enum Fate {
    Unclaimed,
    Used,
    Left(String),
}

/// The fate of each line of a drawing.
#[derive(Debug)]
pub(super) struct Ledger {
    fates: Vec<Fate>,
}

impl Ledger {
    /// All lines unclaimed.
    pub(super) fn new(lines: usize) -> Self {
        Ledger { fates: vec![Fate::Unclaimed; lines] }
    }

    /// The line went into an outline.
    pub(super) fn used(&mut self, line: usize) {
        self.fates[line] = Fate::Used;
    }

    /// The line was left out, and why.
    pub(super) fn left(&mut self, line: usize, why: impl Into<String>) {
        self.fates[line] = Fate::Left(why.into());
    }

    /// True while nobody has claimed or left the line.
    pub(super) fn is_unclaimed(&self, line: usize) -> bool {
        self.fates[line] == Fate::Unclaimed
    }

    /// Moves entities of which no line was used from the count of the used to the list of the others; a line left out of an
    /// entity otherwise used becomes a warning, so that it does not vanish.
    pub(super) fn close(self, lines: &[DrawnLine], used: &mut usize, not_used: &mut Vec<NotUsed>, warnings: &mut Vec<Fault>) {
        let mut entities: BTreeMap<&str, Vec<usize>> = BTreeMap::new();
        let mut order: Vec<&str> = Vec::new();
        for (i, line) in lines.iter().enumerate() {
            let of_entity = entities.entry(line.label.as_str()).or_default();
            if of_entity.is_empty() {
                order.push(&line.label);
            }
            of_entity.push(i);
        }
        for label in order {
            let of_entity = entities.get(label).map_or(&[] as &[usize], Vec::as_slice);
            let left = of_entity.iter().filter_map(|&i| match &self.fates[i] {
                Fate::Used => None,
                Fate::Unclaimed => Some((i, "belongs to no outline")),
                Fate::Left(why) => Some((i, why.as_str())),
            });
            let any_used = of_entity.iter().any(|&i| self.fates[i] == Fate::Used);
            if !any_used && *used > 0 {
                *used -= 1;
                let why = left.map(|(_, why)| why).next().unwrap_or_default().to_string();
                not_used.push(NotUsed { what: "line".into(), label: label.to_string(), why });
            } else {
                for (i, why) in left {
                    let p = lines[i].points.first().copied().unwrap_or_default();
                    let fault = Fault::new(format!("one of its lines was left out: it {why}"), "delete that line, or draw it apart");
                    warnings.push(fault.at(label, p.x, p.y));
                }
            }
        }
    }
}
