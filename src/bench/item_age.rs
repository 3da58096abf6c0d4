//! How long a roll or an offcut may still be used.

use super::fields::{Kind, entry, some};
use super::words::Words;
use maud::{Markup, html};
use warpwise::fault::{Fault, Faults};
use warpwise::stock::{Age, Day};
use warpwise::units::System;
use warpwise::workshop::Entry;

/// How long it may still be used.
pub fn age(words: &Words, id: &str, age: &Age, day: Day) -> Markup {
    let share = age
        .out_life_hours
        .zip(age.hours_left())
        .map(|(life, left)| if life > 0.0 { left / life } else { 0.0 });
    html! {
        @if let Some(expiry) = age.expiry { span { (words.t("stock.expiry")) " " (expiry) } }
        @if let (Some(left), Some(share)) = (age.hours_left(), share) {
            label .bar { (words.with("stock.hours_left", &[&format!("{left:.0}")])) meter min="0" max="1" low="0.25" value=(share) {} }
        }
        @if age.is_out { span .tag { (words.t("stock.out")) } }
        @if age.cosmetic_only { span .tag { (words.t("stock.cosmetic")) } }
        @if let Some(warning) = age.warning(id, day) { p .note.warning { "! " (words.said(&warning.what)) " – " (words.said(&warning.remedy)) } }
    }
}

/// Last day of use, hours that it may be out of the freezer, and those that it was, as typed.
pub fn age_of(
    [expiry, life, hours]: [&str; 3],
    is_out: bool,
    units: System,
) -> Result<Age, Faults> {
    let mut wrong = Faults::new();
    let expiry = some(expiry).and_then(|d| wrong.keep(Day::parse(&d).map_err(Faults::from)));
    let mut number = |typed: &str| match entry(Kind::Number, typed, units) {
        None => None,
        Some(Entry::Number(hours)) => Some(hours),
        Some(_) => {
            let what = said!("`{}` is no number of hours", typed.trim());
            wrong.push(Fault::new(what, "give hours, as the data sheet does"));
            None
        }
    };
    let (out_life_hours, out_hours) = (number(life), number(hours).unwrap_or(0.0));
    wrong.into_result(Age { expiry, out_life_hours, out_hours, is_out, cosmetic_only: false })
}
