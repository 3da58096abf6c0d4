//! What became of every line: the accounting behind "used + not used = present".

use crate::fault::{Fault, Said};
use crate::outline::roles::{ROLE_WORDS, shown_name};
use crate::outline::{Account, Drawing, DrawnLine, NotUsed, Taken};
use crate::units::counted;
use std::collections::BTreeMap;

#[derive(Clone, Debug, PartialEq)]
enum Fate {
    Unclaimed,
    Used(Taken),
    /// Left out, and why; as asked for, or told elsewhere.
    Left(String),
    /// Left out, and why, although it may have been meant.
    Missed(String),
}

/// A remedy, and the line that can be pasted.
type Asked = (Said, String);

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

    /// The line went into an outline, as this.
    pub(super) fn used(&mut self, line: usize, taken: Taken) {
        self.fates[line] = Fate::Used(taken);
    }

    /// The line was left out, and why; nobody need be told.
    pub(super) fn left(&mut self, line: usize, why: impl Into<String>) {
        self.fates[line] = Fate::Left(why.into());
    }

    /// The line was left out, and why, but may have been meant: a warning will say so.
    pub(super) fn missed(&mut self, line: usize, why: impl Into<String>) {
        self.fates[line] = Fate::Missed(why.into());
    }

    /// True while nobody has claimed or left the line.
    pub(super) fn is_unclaimed(&self, line: usize) -> bool {
        self.fates[line] == Fate::Unclaimed
    }

    fn why(&self, line: usize) -> Option<&str> {
        match &self.fates[line] {
            Fate::Used(_) => None,
            Fate::Unclaimed => Some("belongs to no outline"),
            Fate::Left(why) | Fate::Missed(why) => Some(why),
        }
    }

    /// Every line, and every entity that gave none, with what became of it.
    pub(super) fn accounts(&self, drawing: &Drawing) -> Vec<Account> {
        let of_line = |(i, line): (usize, &DrawnLine)| Account {
            what: "line".into(),
            name: shown_name(&line.names),
            label: line.label.clone(),
            fate: match (&self.fates[i], self.why(i)) {
                (Fate::Used(taken), _) => Ok(*taken),
                (_, why) => Err(why.unwrap_or_default().to_string()),
            },
        };
        let of_entity = |n: &NotUsed| Account {
            what: n.what.clone(),
            name: n.name.clone(),
            label: n.label.clone(),
            fate: Err(n.why.clone()),
        };
        drawing
            .lines
            .iter()
            .enumerate()
            .map(of_line)
            .chain(drawing.not_used.iter().map(of_entity))
            .collect()
    }

    /// A warning for each name and reason under which lines were left out that may have been meant;
    /// `asked` gives the remedy for a line about which more is known, and what can be pasted.
    pub(super) fn warnings(
        &self,
        drawing: &Drawing,
        asked: &dyn Fn(usize) -> Option<Asked>,
    ) -> Vec<Fault> {
        let mut groups: BTreeMap<(String, &str, Option<Asked>), Vec<usize>> = BTreeMap::new();
        for (i, line) in drawing.lines.iter().enumerate() {
            if let (Fate::Missed(_) | Fate::Unclaimed, Some(why)) = (&self.fates[i], self.why(i)) {
                groups.entry((shown_name(&line.names), why, asked(i))).or_default().push(i);
            }
        }
        let mut out = Vec::new();
        for ((name, why, asked), which) in groups {
            let Some(line) = which.first().map(|&i| &drawing.lines[i]) else {
                continue;
            };
            let (remedy, paste) = match asked {
                Some((remedy, paste)) => (remedy, Some(paste)),
                None => (
                    said!("name its group or layer for what it is ({ROLE_WORDS}), or delete it"),
                    None,
                ),
            };
            let p = line.points.first().copied().unwrap_or_default();
            let fault = Fault::new(not_used(which.len(), "line", &name, why), remedy).at(
                line.label.clone(),
                p.x,
                p.y,
            );
            out.push(fault.paste(paste));
        }
        let mut entities: BTreeMap<(&str, &str, &str), Vec<&NotUsed>> = BTreeMap::new();
        for entity in drawing.not_used.iter().filter(|n| n.is_line) {
            entities.entry((&entity.what, &entity.name, &entity.why)).or_default().push(entity);
        }
        for ((what, name, why), which) in entities {
            let label = which.first().map_or("", |n| n.label.as_str());
            out.push(
                Fault::new(
                    not_used(which.len(), what, name, why),
                    "draw it as a polyline if it is needed, or delete it",
                )
                .on(label),
            );
        }
        out
    }

    /// Moves entities of which no line was used from the count of the used to the list of the
    /// others.
    pub(super) fn close(self, lines: &[DrawnLine], used: &mut usize, not_used: &mut Vec<NotUsed>) {
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
            let whys: Vec<&str> = of_entity.iter().filter_map(|&i| self.why(i)).collect();
            if let (Some(why), Some(&first)) = (whys.first(), of_entity.first())
                && whys.len() == of_entity.len()
                && *used > 0
            {
                *used -= 1;
                let name = shown_name(&lines[first].names);
                let is_line = of_entity
                    .iter()
                    .any(|&i| matches!(self.fates[i], Fate::Missed(_) | Fate::Unclaimed));
                not_used.push(NotUsed {
                    what: "line".into(),
                    name,
                    label: label.to_string(),
                    why: why.to_string(),
                    is_line,
                });
            }
        }
    }
}

/// `2 lines in "fibre" were not used: each is an open line…`; the reason begins with a verb or is a
/// sentence.
fn not_used(count: usize, what: &str, name: &str, why: &str) -> Said {
    let lines = Said::came(counted(count, what));
    let lines = if name.is_empty() { lines } else { said!("{lines} in \"{name}\"") };
    let why = why.strip_prefix("it ").unwrap_or(why);
    match (count, why.starts_with("a ") || why.starts_with("its ")) {
        (1, true) => said!("{lines} was not used: {why}"),
        (1, false) => said!("{lines} was not used: it {why}"),
        (_, true) => said!("{lines} were not used: {why}"),
        (_, false) => said!("{lines} were not used: each {why}"),
    }
}
