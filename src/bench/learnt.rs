//! What parts before came to, said where the next one is planned, and what a part is to weigh. It is
//! information: no figure is changed by it.

use super::frame::faults;
use super::wall_clock::wall_clock;
use super::words::Words;
use maud::{Markup, html};
use warpwise::laminate::planned_masses;
use warpwise::layup::Progress;
use warpwise::plan::Plan;
use warpwise::workshop::{Learnt, OpenJob, PartBefore, Spread, learnt_of};

/// Fewer parts than this are called few.
const FEW: usize = 5;

/// A ratio as a change in per cent.
fn more(ratio: f64) -> String {
    format!("{:+.1} %", 100.0 * (ratio - 1.0))
}

/// The parts of the job and of its kin; `plan` is the one that is there.
pub fn section(words: &Words, open: &OpenJob, plan: Option<&Plan>) -> Markup {
    let Some((folder, job)) = &open.place else { return html! {} };
    let learnt = match learnt_of(folder, job) {
        Ok(learnt) => learnt,
        Err(list) => return faults(words, &list),
    };
    if learnt.parts.is_empty() && learnt.unread.is_empty() {
        return html! {};
    }
    html! {
        section .card aria-labelledby="learnt" {
            h2 #learnt { (words.t("learnt.title")) }
            p .quiet { (words.t("learnt.lead")) }
            (faults(words, &learnt.unread))
            div .wide tabindex="0" role="region" aria-label=(words.t("learnt.title")) { table {
                thead { tr { @for key in ["learnt.part", "learnt.begun", "learnt.planned", "learnt.weighed", "learnt.differs", "learnt.cloth", "learnt.spoiled"] {
                    th scope="col" { (words.t(key)) }
                } } }
                tbody { @for part in &learnt.parts { (row(words, part)) } }
            } }
            (together(words, &learnt, plan))
        }
    }
}

fn row(words: &Words, part: &PartBefore) -> Markup {
    let mass = |m: [Option<f64>; 2]| {
        let one = |m: Option<f64>| m.map_or_else(|| "–".to_string(), |m| words.units.mass(m));
        format!("{} / {}", one(m[0]), one(m[1]))
    };
    let cloth = part.cloth.iter().filter(|(_, [planned, _])| *planned > 0.0);
    let cloth: Vec<String> =
        cloth.map(|(id, [planned, used])| format!("{id} {}", more(used / planned))).collect();
    html! {
        tr {
            th scope="row" { (part.folder) @if !part.part.is_empty() { " · " (part.part) } }
            td { (part.begun.map_or_else(|| "–".into(), wall_clock)) }
            td { (mass(part.planned)) }
            td { (mass(part.weighed)) }
            td { (part.ratio().map_or_else(|| "–".into(), more)) }
            td { (if cloth.is_empty() { "–".to_string() } else { cloth.join(", ") }) }
            td { @if part.pieces == 0 && part.spoiled == 0 { "–" } @else { (part.spoiled) " / " @if part.pieces == 0 { "–" } @else { (part.pieces) } } }
        }
    }
}

/// How many parts, from where to where, and how little that is.
fn spread(words: &Words, of: &str, (n, [low, middle, high]): Spread) -> String {
    if n == 1 {
        return words.with("learnt.one", &[of, &more(low)]);
    }
    words.with("learnt.several", &[of, &n.to_string(), &more(low), &more(high), &more(middle)])
}

fn together(words: &Words, learnt: &Learnt, plan: Option<&Plan>) -> Markup {
    let units = words.units;
    let mass = learnt.mass();
    let most = learnt.parts.len();
    let [spoiled, pieces] = learnt.spoiled();
    // What the next would come to if it went as these did.
    let planned = plan.map(planned_masses).unwrap_or_default();
    let total: Option<f64> =
        planned.iter().map(|m| m.mass[1]).sum::<Option<f64>>().filter(|t| *t > 0.0);
    html! {
        ul {
            @if let Some(s) = mass { li { (spread(words, words.t("learnt.of_mass"), s)) } }
            @for f in plan.iter().flat_map(|p| &p.cloths) {
                @if let Some(s) = learnt.cloth(&f.cloth) { li { (spread(words, &words.with("learnt.of_cloth", &[&f.cloth]), s)) } }
            }
            @if pieces > 0 { li { (words.with("learnt.of_pieces", &[&spoiled.to_string(), &pieces.to_string()])) } }
        }
        @if most < FEW { p .note.warning { "! " (words.with("learnt.few", &[&most.to_string()])) } }
        @if let (Some((n, [low, _, high])), Some(total)) = (mass, total) {
            @if n > 1 { p { (words.with("learnt.next_mass", &[&units.mass(total * low), &units.mass(total * high), &units.mass(total)])) } }
        }
        @for f in plan.iter().flat_map(|p| &p.cloths) {
            @if let Some((n, [low, _, high])) = learnt.cloth(&f.cloth) { @if n > 1 && high > 1.0 {
                p { (words.with("learnt.next_cloth", &[&f.cloth, &units.long(f.used_length * low), &units.long(f.used_length * high), &units.long(f.used_length)])) }
            } }
        }
    }
}

/// What a part was to weigh, beside what it weighs.
pub fn mass(words: &Words, plan: &Plan, progress: &Progress) -> Markup {
    let planned = planned_masses(plan).into_iter().find(|m| m.job == progress.job);
    let Some(planned) = planned else { return html! {} };
    html! {
        ul {
            @for (i, key) in ["lay.off_mould", "lay.finished"].into_iter().enumerate() {
                @if let Some(meant) = planned.mass[i] {
                    li {
                        (words.t(key)) ": " (words.with("learnt.meant", &[&words.units.mass(meant)]))
                        @if let Some(weighed) = progress.mass[i] {
                            " · " (words.with("learnt.weighs", &[&words.units.mass(weighed)]))
                            @if meant > 0.0 { " (" (more(weighed / meant)) ")" }
                        }
                    }
                }
            }
        }
        @if planned.mass == [None, None] { p .quiet { (words.t("learnt.unknown")) } }
    }
}
