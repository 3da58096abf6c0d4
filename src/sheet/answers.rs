//! The first screen of the report: how much cloth, what is left, what is wrong or doubtful, what to
//! do next.

use super::text::{clean, decimals};
use crate::job::AssumedTime;
use crate::plan::{ClothFigures, Plan, StockKind};
use crate::units::{counted, show_area};
use maud::{Markup, html};

/// Doubts named on the first screen; the rest are counted and stand below.
const DOUBTS: usize = 6;

/// Letters of a doubt on the first screen.
const LETTERS: usize = 110;

/// The four answers.
pub(super) fn answers(plan: &Plan) -> Markup {
    let doubts = doubts(plan);
    html! {
        div #answers {
            section aria-labelledby="a-cloth" {
                h2 #a-cloth { "How much cloth" }
                ul { @for f in &plan.cloths { li { (cloth(plan, f)) } } }
                @if let Some(cost) = cost(plan) { p { b { (cost) } } }
            }
            section aria-labelledby="a-left" {
                h2 #a-left { "What is left" }
                ul {
                    @for f in &plan.cloths { li { (left(plan, f)) } }
                    @for saved in plan.drawn_from.iter().flat_map(|d| &d.saved) { li { bdi { (clean(saved)) } } }
                }
            }
            section aria-labelledby="a-doubts" {
                h2 #a-doubts { "What is wrong or doubtful" @if !doubts.is_empty() { " (" (doubts.len()) ")" } }
                @if doubts.is_empty() { p { "Nothing was found." } }
                @else { ul .doubts {
                    @for d in doubts.iter().take(DOUBTS) { li { bdi { (d) } } }
                    @if doubts.len() > DOUBTS { li { a href="#warnings" { "and " (doubts.len() - DOUBTS) " more" } } }
                } }
                @if !plan.warnings.is_empty() { p { a href="#warnings" { "What to do about each" } } }
            }
            section aria-labelledby="a-next" {
                h2 #a-next { "What to do next" }
                ol {
                    @if !doubts.is_empty() { li { "Settle what is doubtful." } }
                    li { (out_of_the_freezer(plan)) }
                    li { "Cut: print " a href="sheets/placement.pdf" { "sheets/placement.pdf" } " and lay the templates by tape measure." }
                    li { "Label each piece on its backing: " code { "warpwise sheets PLAN --labels" } "." }
                    @if plan.stocks.iter().any(|s| !s.offcuts.is_empty()) { li { "Label the " a href="#offcuts" { "offcuts" } " and put them back in the freezer." } }
                    @if plan.drawn_from.as_ref().is_some_and(|d| d.ledger.is_some()) { li { "Book what was cut: " code { "warpwise stock book PLAN" } "." } }
                    li { "Lay up by " a href="sheets/lay-up.pdf" { "sheets/lay-up.pdf" } "." }
                }
            }
        }
    }
}

fn name<'p>(plan: &'p Plan, cloth: &'p str) -> &'p str {
    plan.materials
        .iter()
        .find(|m| m.cloth == cloth)
        .map_or(cloth, |m| if m.name.is_empty() { cloth } else { &m.name })
}

fn stocks(plan: &Plan, cloth: Option<&str>, kind: StockKind) -> Vec<String> {
    let before = |id: &String| plan.drawn_from.as_ref().is_some_and(|d| d.cut_before.contains(id));
    let mine = plan
        .stocks
        .iter()
        .filter(|s| s.kind == kind && cloth.is_none_or(|c| s.cloth == c) && !before(&s.id));
    mine.map(|s| clean(&s.id)).collect()
}

fn cloth(plan: &Plan, f: &ClothFigures) -> Markup {
    let (rolls, offcuts) = (
        stocks(plan, Some(&f.cloth), StockKind::Roll),
        stocks(plan, Some(&f.cloth), StockKind::Offcut),
    );
    html! {
        bdi { (clean(name(plan, &f.cloth))) } ": "
        @if f.used_length > 0.0 {
            b { (decimals(f.used_length, 0)) " mm" } " of the " (decimals(f.roll_width, 0)) " mm wide roll"
            @if !rolls.is_empty() { " (" bdi { (rolls.join(", ")) } ")" }
        } @else { b { "nothing off a roll" } }
        @if !offcuts.is_empty() { ", and " (counted(offcuts.len(), "offcut")) " (" bdi { (offcuts.join(", ")) } ")" }
    }
}

fn cost(plan: &Plan) -> Option<String> {
    let known: Vec<f64> = plan.cloths.iter().filter_map(|f| f.cost).collect();
    let all =
        if known.len() == plan.cloths.len() { "In all" } else { "As far as prices are known" };
    (!known.is_empty())
        .then(|| format!("{all} {:.2} {}", known.iter().sum::<f64>(), clean(&plan.currency)))
}

fn left(plan: &Plan, f: &ClothFigures) -> Markup {
    let offcuts = || plan.stocks.iter().filter(|s| s.cloth == f.cloth).flat_map(|s| &s.offcuts);
    let best = offcuts().max_by(|a, b| a.area.total_cmp(&b.area));
    let share = if f.consumed_area > 0.0 { f.waste_area / f.consumed_area * 100.0 } else { 0.0 };
    html! {
        bdi { (clean(name(plan, &f.cloth))) } ": "
        @match best {
            Some(o) => {
                b { (counted(offcuts().count(), "offcut")) " to keep" } ", " (show_area(f.offcuts_area)) ", the largest with "
                (decimals(o.largest_rectangle[2], 0)) " × " (decimals(o.largest_rectangle[3], 0)) " mm"
            }
            None => { "no offcut worth keeping" }
        }
        "; waste " (show_area(f.waste_area)) " (" (decimals(share, 0)) " %)"
    }
}

/// Everything that a person must look at, the most pressing first, each in a line.
fn doubts(plan: &Plan) -> Vec<String> {
    let early = plan.interrupted.then(|| {
        "The search was stopped early: this is the best complete plan it had.".to_string()
    });
    let cautions = plan.drawn_from.iter().flat_map(|d| &d.cautions).map(|c| clean(c));
    early.into_iter().chain(cautions).chain(plan.warnings.iter().map(|w| brief(w))).collect()
}

/// A warning without its remedy, which stands below.
fn brief(warning: &str) -> String {
    let line = clean(warning.lines().next().unwrap_or_default());
    let what = line.splitn(3, ": ").take(2).collect::<Vec<_>>().join(": ");
    let mut out = String::new();
    for word in what.split(' ') {
        if out.chars().count() + word.chars().count() > LETTERS && !out.is_empty() {
            return format!("{out} …");
        }
        if !out.is_empty() {
            out.push(' ');
        }
        out.push_str(word);
    }
    out
}

fn out_of_the_freezer(plan: &Plan) -> Markup {
    let what = [stocks(plan, None, StockKind::Roll), stocks(plan, None, StockKind::Offcut)]
        .concat()
        .join(", ");
    let hours = plan.mould_work.iter().map(|w| w.layup.thaw_hours).fold(0.0, f64::max);
    let assumed = plan.mould_work.iter().any(|w| w.assumed.contains(&AssumedTime::Thaw));
    html! {
        "Take " bdi { (what) }
        @if assumed { " out of the freezer and thaw in the closed bag as long as the data sheet says." }
        @else if hours > 0.0 { " out of the freezer and thaw for " (decimals(hours, 1)) " h in the closed bag." } @else { " to the bench." }
    }
}
