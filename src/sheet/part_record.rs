//! The record of a part: what was laid from which batch, when and by whom, what the clocks and the
//! gauge said, and what was done otherwise. As a page that opens offline and as PDF. It says what
//! was ticked and typed, and nothing else.

use super::flow::Flow;
use super::form::Form;
use super::policy::{base64, policy};
use super::text::clean;
use crate::laminate::planned_masses;
use crate::layup::{ClockOf, LayupSheet, MOST_LOSS, Progress, clock_words};
use crate::plan::Plan;
use crate::units::show_number;
use maud::{DOCTYPE, Markup, PreEscaped, html};

const TEXT: f64 = 3.3;

/// A roll or offcut that the part was cut from.
#[derive(Clone, Debug, PartialEq)]
pub struct ClothUsed {
    /// Its id.
    pub stock: String,
    /// Name of its cloth.
    pub cloth: String,
    /// Batch, if it is known.
    pub batch: Option<String>,
    /// Last day of use, if it is known.
    pub expiry: Option<String>,
    /// Hours it has been out of the freezer, as the ledger counts them, and of how many.
    pub hours: Option<(f64, Option<f64>)>,
    /// Hours that were left when the part was planned, for what is used up by now.
    pub were_left: Option<f64>,
}

/// All that a record is made of.
pub struct PartRecord<'a> {
    /// The plan.
    pub plan: &'a Plan,
    /// The lay-up sheet of the job.
    pub sheet: &'a LayupSheet,
    /// What was ticked.
    pub progress: &'a Progress,
    /// What it was cut from.
    pub cloth: &'a [ClothUsed],
    /// Pieces that were spoiled and cut again, in words.
    pub spoiled: &'a [String],
    /// Photos by their files, JPEG.
    pub photos: &'a dyn Fn(&str) -> Option<Vec<u8>>,
    /// A moment, seconds since 1970, by the clock on the wall.
    pub time: &'a dyn Fn(i64) -> String,
    /// Now.
    pub now: i64,
}

/// The rows of a table under its heading.
struct Part {
    heading: &'static str,
    columns: Vec<&'static str>,
    rows: Vec<Vec<String>>,
}

impl PartRecord<'_> {
    fn at(&self, at: Option<i64>) -> String {
        at.map_or_else(|| "–".into(), |at| (self.time)(at))
    }

    fn title(&self) -> String {
        let part = &self.progress.part;
        let part = if part.is_empty() { String::new() } else { format!(", part {part}") };
        format!("Record: {}{part}", self.sheet.job)
    }

    /// What stands above everything else, a line each.
    fn head(&self) -> Vec<String> {
        let p = self.progress;
        let who = if p.who.is_empty() { "–" } else { &p.who };
        let id: String = self.plan.id.chars().take(12).collect();
        let cure = p.clock(ClockOf::Cure).map(|c| c.begun);
        let mut head = vec![
            format!("Laid up by {who}, begun {}", self.at(p.begun)),
            format!("Plan {id}, {}; written {}", self.plan.tool, (self.time)(self.now)),
        ];
        if let (Some(from), Some(to)) = (p.begun, cure) {
            let hours = show_number(to.saturating_sub(from).max(0) as f64 / 3600.0, 1);
            head.push(format!("From the first tick to the start of the cure: {hours} h"));
        }
        head
    }

    fn parts(&self) -> Vec<Part> {
        let p = self.progress;
        let cloth = self.cloth.iter().map(|c| {
            let hours = c.hours.map_or_else(
                || {
                    let left = c.were_left.map(|l| format!("{} h were left", show_number(l, 0)));
                    left.unwrap_or_else(|| "–".into())
                },
                |(out, life)| {
                    let of =
                        life.map_or(String::new(), |l| format!(", of {} h", show_number(l, 0)));
                    // No hours are those of a roll that nobody logged out of the freezer.
                    let out = if out > 0.0 {
                        format!("{} h", show_number(out, 1))
                    } else {
                        "not recorded".into()
                    };
                    format!("{out}{of}")
                },
            );
            let or = |v: &Option<String>| v.clone().unwrap_or_else(|| "–".into());
            vec![c.stock.clone(), c.cloth.clone(), or(&c.batch), or(&c.expiry), hours]
        });
        let mut laid = Vec::new();
        for (i, step) in self.sheet.steps.iter().enumerate() {
            let name = step.what.clone();
            if step.layer.is_none() {
                let at = p.ticked.get(&format!("step/{i}")).copied();
                laid.push(vec![name, String::new(), self.at(at), String::new()]);
                continue;
            }
            for tick in &step.ticks {
                for copy in 1..=tick.copies {
                    let when = |what: &str| {
                        p.ticked.get(&format!("{what}/{}#{copy}", tick.piece)).copied()
                    };
                    let which =
                        if tick.copies > 1 { format!(" · copy {copy}") } else { String::new() };
                    laid.push(vec![
                        name.clone(),
                        format!("{}{which}", tick.name()),
                        self.at(when("laid")),
                        self.at(when("backing")),
                    ]);
                }
            }
        }
        let kpa = |v: Option<f64>| v.map_or_else(|| "–".into(), |v| show_number(v, 1));
        let clocks = p.clocks.iter().map(|c| {
            let verdict = match (c.of, c.holds()) {
                (ClockOf::Leak, Some(true)) => "passed".to_string(),
                (ClockOf::Leak, Some(false)) => "failed".to_string(),
                _ => String::new(),
            };
            let loss = c.loss().filter(|_| c.of == ClockOf::Leak);
            let loss = loss.map_or(String::new(), |l| format!(" {} kPa/min", show_number(l, 2)));
            vec![
                clock_words(self.sheet, c.of),
                (self.time)(c.begun),
                self.at(c.ended),
                show_number(c.minutes, 1),
                format!("{} → {}", kpa(c.vacuum[0]), kpa(c.vacuum[1])),
                format!("{verdict}{loss}"),
            ]
        });
        let otherwise = p.deviations.iter().map(|d| vec![(self.time)(d.at), d.what.clone()]);
        let note = |(step, text): (&String, &String)| {
            let step = step.parse::<usize>().ok().and_then(|s| self.sheet.steps.get(s));
            vec![step.map_or_else(|| "the whole".into(), |s| s.what.clone()), text.clone()]
        };
        let grams =
            |v: Option<f64>| v.map_or_else(|| "–".into(), |v| format!("{} g", show_number(v, 1)));
        let ticks = |kind: &str, all: &[String]| {
            let row = |(i, what): (usize, &String)| {
                vec![what.clone(), self.at(p.ticked.get(&format!("{kind}/{i}")).copied())]
            };
            all.iter().enumerate().map(row).collect::<Vec<_>>()
        };
        let mut checks = ticks("check", &self.sheet.checks);
        for (i, row) in checks.iter_mut().enumerate() {
            row.push(p.written.get(&i).cloned().unwrap_or_default());
        }
        let mut after = ticks("after", &self.sheet.after);
        let planned = planned_masses(self.plan);
        let planned = planned.iter().find(|m| m.job == self.sheet.job);
        for (i, what) in ["Mass off the mould", "Mass finished"].into_iter().enumerate() {
            let meant = planned.and_then(|m| m.mass[i]);
            let meant = meant.map_or_else(String::new, |m| {
                format!(", planned {} g for all of this plan", show_number(m, 1))
            });
            after.push(vec![what.into(), format!("{}{meant}", grams(p.mass[i]))]);
        }
        vec![
            Part {
                heading: "Cloth",
                columns: vec![
                    "roll or offcut",
                    "cloth",
                    "batch",
                    "use until",
                    "out of the freezer",
                ],
                rows: cloth.collect(),
            },
            Part {
                heading: "Done otherwise than the sheet has it",
                columns: vec!["when", "what"],
                rows: otherwise.collect(),
            },
            Part {
                heading: "Spoiled and cut again",
                columns: vec!["piece"],
                rows: self.spoiled.iter().map(|s| vec![s.clone()]).collect(),
            },
            Part {
                heading: "Not ticked when this was written",
                columns: vec!["what"],
                rows: p.open(self.sheet).into_iter().map(|o| vec![o]).collect(),
            },
            Part {
                heading: "Before the start",
                columns: vec!["check", "ticked", "written"],
                rows: checks,
            },
            Part {
                heading: "Laid",
                columns: vec!["step", "piece", "laid", "backing off"],
                rows: laid,
            },
            Part {
                heading: "Clocks and bag checks",
                columns: vec!["what", "begun", "ended", "min", "kPa", "verdict"],
                rows: clocks.collect(),
            },
            Part { heading: "After the cure", columns: vec!["what", "ticked"], rows: after },
            Part {
                heading: "Notes",
                columns: vec!["step", "note"],
                rows: p.notes.iter().map(note).collect(),
            },
        ]
    }

    /// What the figures mean.
    fn foot(&self) -> String {
        format!(
            "Vacuum in kPa below the air; a bag check passes with at most {} kPa lost in a minute. Hours out of the freezer are those the \
             ledger counts. This record says what was ticked and typed. It does not certify strength.",
            show_number(MOST_LOSS, 1)
        )
    }
}

fn nothing() -> &'static str {
    "Nothing."
}

/// The record as a page.
pub(crate) fn page(r: &PartRecord<'_>) -> String {
    let table = |part: &Part| -> Markup {
        html! {
            h2 { (part.heading) }
            @if part.rows.is_empty() { p { (nothing()) } } @else {
                div .wide tabindex="0" role="region" aria-label=(part.heading) { table {
                    thead { tr { @for c in &part.columns { th scope="col" { (c) } } } }
                    tbody { @for row in &part.rows { tr { @for cell in row { td { bdi { (clean(cell)) } } } } } }
                } }
            }
        }
    };
    let photos = r.progress.photos.iter().filter_map(|photo| {
        let bytes = (r.photos)(&photo.file)?;
        let step = photo.step.and_then(|s| r.sheet.steps.get(s));
        let step = step.map_or("the whole", |s| s.what.as_str());
        let words = format!("{step}, {}", (r.time)(photo.at));
        Some((words, format!("data:image/jpeg;base64,{}", base64(&bytes))))
    });
    let photos: Vec<(String, String)> = photos.collect();
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta http-equiv="Content-Security-Policy" content=(policy(None));
                title { (clean(&r.title())) }
                style { (PreEscaped(include_str!("report.css"))) "figure img{max-width:100%;max-height:70vh}" }
            }
            body {
                main {
                    h1 { bdi { (clean(&r.title())) } }
                    @for line in r.head() { p { bdi { (clean(&line)) } } }
                    @for part in r.parts() { (table(&part)) }
                    @if !photos.is_empty() {
                        h2 { "Photos" }
                        @for (words, data) in &photos {
                            figure { img src=(data) alt=(clean(words)); figcaption { bdi { (clean(words)) } } }
                        }
                    }
                    p { (r.foot()) }
                }
            }
        }
    }
    .into_string()
}

/// The record as PDF, A4, and its number of pages; photos by the names of their files.
pub(crate) fn pdf(r: &PartRecord<'_>, form: Form) -> (Vec<u8>, usize) {
    let mut flow = Flow::new();
    flow.words(&r.title(), 6.0, true);
    flow.gap(1.0);
    for line in r.head() {
        flow.words(&line, TEXT, false);
    }
    for part in r.parts() {
        flow.heading(part.heading);
        if part.rows.is_empty() {
            flow.words(nothing(), TEXT, false);
        } else if part.columns.len() == 1 {
            part.rows.iter().flatten().for_each(|w| flow.words(w, TEXT, false));
        } else {
            let wide = |i: usize| {
                let longest = part.rows.iter().filter_map(|r| r.get(i)).map(|c| c.chars().count());
                let longest = longest.max().unwrap_or(0).max(part.columns[i].chars().count());
                longest.clamp(6, 40) as f64
            };
            let columns: Vec<(&str, f64)> =
                part.columns.iter().enumerate().map(|(i, c)| (*c, wide(i))).collect();
            flow.table(&columns, &part.rows);
        }
    }
    if !r.progress.photos.is_empty() {
        flow.heading("Photos, kept beside this record");
        for photo in &r.progress.photos {
            flow.words(&format!("{}, {}", photo.file, (r.time)(photo.at)), TEXT, false);
        }
    }
    flow.gap(2.0);
    flow.words(&r.foot(), TEXT, false);
    let id: String = r.plan.id.chars().take(12).collect();
    flow.finish(&r.title(), &format!("record · plan {id}"), form)
}
