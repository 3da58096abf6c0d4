//! The stock: rolls by what is left of length and life, the box of offcuts as pictures to scale,
//! what comes in and goes, and booking.

use super::app::{App, Device, beside, locked};
use super::box_page::{self, Wanted};
use super::buttons::item_buttons;
use super::fields::some;
use super::form::Form;
use super::frame::{address, encoded, faults, message, page, refused};
use super::item_age::{age, age_of};
use super::new_cloth::{asks, is_it_new};
use super::visit::Visit;
use super::words::Words;
use super::{item_page, waiting_offcuts};
use axum::extract::{Form as Sent, Path, Query};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use maud::{Markup, html};
use serde::Deserialize;
use warpwise::cloth::Face;
use warpwise::fault::{Fault, Faults, Said};
use warpwise::geometry::point;
use warpwise::ledger::{Booked, FreezerMove, Ledger, Moment, PieceState};
use warpwise::plan::PlacedPiece;
use warpwise::sheet;
use warpwise::stock::{Consumable, ConsumableKind, Offcut, OffcutFacts, RollFacts, Snapshot};
use warpwise::units::quoted;
use warpwise::verify::Verified;
use warpwise::workshop::{CopyState, OpenJob, faults_of, known_cloths, waiting_offcuts};

/// The stock.
pub async fn show(Visit { app, words, .. }: Visit, Query(wanted): Query<Wanted>) -> Response {
    beside(move || {
        let main = all(&app, &words, &wanted, Device::First);
        page(&words, words.t("frame.stock"), html! {}, html! {}, main)
    })
    .await
}

/// The stock without any way to change it but to send a photo.
pub fn to_look_at(app: &App, words: &Words, wanted: &Wanted) -> Markup {
    all(app, words, wanted, Device::Second)
}

/// The stock with nothing looked for.
pub fn main(app: &App, words: &Words) -> Markup {
    all(app, words, &Wanted::default(), Device::First)
}

fn all(app: &App, words: &Words, wanted: &Wanted, device: Device) -> Markup {
    let may_change = device == Device::First;
    html! {
        h1 { (words.t("frame.stock")) }
        div .inline {
            a .button.go href="/stock/scan" { (words.t("label.title")) }
            @if let Some(last) = may_change.then(|| last_change(app)).flatten() {
                form hx-post="/stock/undo" hx-target="#step" hx-swap="innerHTML" {
                    button type="submit" aria-describedby="last-change" { "↶ " (words.t("stock.undo")) }
                    " " span #last-change .quiet { (words.read(&last)) }
                }
            }
        }
        @match &app.stock() {
            Ok(None) => p .lead { (words.t("stock.empty")) },
            Err(list) => (faults(words, list)),
            Ok(Some(stock)) => {
                (rolls(words, stock, may_change))
                (box_page::section(words, stock, wanted, device))
                (consumables(words, stock, may_change))
            }
        }
        @if may_change {
            (add_forms(words, app))
            aside .caution { p { (words.t("stock.caution")) } }
        } @else { section .card { (waiting_offcuts::bring(words, app, Device::Second)) } }
    }
}

fn rolls(words: &Words, stock: &Snapshot, may_change: bool) -> Markup {
    let longest = stock.rolls.iter().filter_map(|r| r.facts().length).fold(1.0, f64::max);
    let of_longest = words.with("stock.of_longest", &[&words.units.long(longest)]);
    html! {
        section aria-labelledby="rolls" {
            h2 #rolls { (words.t("stock.rolls")) " (" (stock.rolls.len()) ")" }
            @if stock.rolls.iter().any(|r| r.facts().length.is_some()) { p .quiet { (of_longest) } }
            @for roll in &stock.rolls {
                @let facts = roll.facts();
                div .card.roll {
                    a href=(box_page::item_address(&facts.id)) { b { (facts.id) } } " " (facts.cloth) " · " (words.units.length(facts.width))
                    @if let Some(batch) = &facts.batch { " · " (batch) }
                    @if let Some(place) = &facts.place { " · " (place) }
                    @match facts.length {
                        Some(length) => label .bar title=(of_longest) { (words.with("stock.left", &[&words.units.long(length)])) meter min="0" max=(longest) value=(length) {} },
                        None => span .quiet { (words.t("stock.length_unknown")) },
                    }
                    (age(words, &facts.id, &facts.age, stock.day))
                    @if may_change { (item_buttons(words, &facts.id, Some(&facts.age), true)) }
                }
            }
        }
    }
}

fn consumables(words: &Words, stock: &Snapshot, may_change: bool) -> Markup {
    html! {
        @if !stock.consumables.is_empty() {
            section aria-labelledby="consumables" {
                h2 #consumables { (words.t("stock.consumables")) }
                @for c in &stock.consumables {
                    div .card.roll {
                        b { (c.id) } " " (c.name) " · " (c.kind.words())
                        @if let Some(day) = c.last_day() { " · " (words.t("stock.expiry")) " " (day) }
                        @if let Some(warning) = c.warning(stock.day) { p .note.warning { "! " (words.said(&warning.what)) " – " (words.said(&warning.remedy)) } }
                        @if may_change { (item_buttons(words, &c.id, None, true)) }
                    }
                }
            }
        }
    }
}

fn add_forms(words: &Words, app: &App) -> Markup {
    let field = |form: &str, name: &str, kind: &str, needed: bool| {
        let id = format!("{form}-{name}");
        let list = (name == "cloth").then_some("known-cloths");
        html! { div .field { label for=(id) { (words.t(&format!("stock.{name}"))) } input id=(id) name=(name) type=(kind) required[needed] list=[list] autocomplete="off"; } }
    };
    let life = |form: &str| {
        html! {
            (field(form, "batch", "text", false)) (field(form, "expiry", "date", false)) (field(form, "out_life", "text", false)) (field(form, "place", "text", false))
        }
    };
    let stock = app.stock().ok().flatten();
    html! {
        datalist #known-cloths { @for cloth in known_cloths(&app.folder, stock.as_deref()) { option value=(cloth) {} } }
        details .card { summary { "+ " (words.t("stock.add_roll")) }
            form hx-post="/stock/add" hx-target="#step" hx-swap="innerHTML" { input type="hidden" name="kind" value="roll";
                div .fields { (field("roll", "cloth", "text", true)) (field("roll", "width", "text", true)) (field("roll", "length", "text", false)) (life("roll")) }
                (asks("roll"))
                button .add { (words.t("stock.add")) } } }
        details .card open[!waiting_offcuts(app.folder.root()).is_empty()] { summary { "+ " (words.t("stock.add_offcut")) }
            form hx-post="/stock/add" hx-target="#step" hx-swap="innerHTML" { input type="hidden" name="kind" value="offcut";
                div .fields { (field("offcut", "cloth", "text", true)) (field("offcut", "length", "text", true)) (field("offcut", "width", "text", true)) (life("offcut")) }
                (asks("offcut"))
                button .add { (words.t("stock.add")) } }
            (waiting_offcuts::bring(words, app, Device::First)) }
        details .card { summary { "+ " (words.t("stock.add_consumable")) }
            form hx-post="/stock/add" hx-target="#step" hx-swap="innerHTML" { input type="hidden" name="kind" value="consumable";
                div .fields { (field("con", "name", "text", true)) (field("con", "expiry", "date", false)) }
                button .add { (words.t("stock.add")) } } }
    }
}

/// What comes in.
#[derive(Deserialize)]
pub struct Incoming {
    kind: String,
    #[serde(default)]
    cloth: String,
    #[serde(default)]
    name: String,
    #[serde(default)]
    width: String,
    #[serde(default)]
    length: String,
    #[serde(default)]
    batch: String,
    #[serde(default)]
    expiry: String,
    #[serde(default)]
    out_life: String,
    #[serde(default)]
    place: String,
    /// A cloth that was said to be new.
    new_cloth: Option<String>,
}

/// Puts a roll, an offcut or a consumable into the ledger.
pub async fn add(Visit { app, words, .. }: Visit, Sent(sent): Sent<Incoming>) -> Response {
    beside(move || {
        let said = sent.new_cloth.as_deref();
        let asked = match sent.kind.as_str() {
            "roll" | "offcut" => is_it_new(&app, &words, &sent.kind, &sent.cloth, said),
            _ => None,
        };
        asked.unwrap_or_else(|| {
            changed(&app, &words, |ledger, now| incoming(ledger, &sent, &words, now))
        })
    })
    .await
}

fn incoming(
    ledger: &mut Ledger,
    sent: &Incoming,
    words: &Words,
    now: &Moment,
) -> Result<(), Faults> {
    let mut wrong = Faults::new();
    let mut size = |text: &str, key: &str| {
        wrong.keep(words.units.parse_size(text).map_err(|f| Faults::from(f.on(words.t(key)))))
    };
    let width = if sent.kind == "consumable" { None } else { size(&sent.width, "stock.width") };
    let along =
        if sent.length.trim().is_empty() { None } else { size(&sent.length, "stock.length") };
    let age = wrong.keep(age_of([&sent.expiry, &sent.out_life, ""], false, words.units));
    wrong.into_result(())?;
    let age = age.unwrap_or_default();
    let expiry = age.expiry;
    let (cloth, batch, place) =
        (sent.cloth.trim().to_string(), some(&sent.batch), some(&sent.place));
    let id = String::new();
    let done = match (sent.kind.as_str(), width, along) {
        ("roll", Some(width), length) => {
            let facts = RollFacts {
                id,
                cloth,
                width,
                length,
                flaws: Vec::new(),
                batch,
                age,
                place,
                added: now.day,
                revision: 0,
            };
            ledger.add_roll(facts, false, true, now).map(|_| ())
        }
        ("offcut", Some(width), Some(length)) => {
            let outline =
                vec![point(0.0, 0.0), point(length, 0.0), point(length, width), point(0.0, width)];
            let facts = OffcutFacts {
                id,
                cloth,
                outline,
                holes: Vec::new(),
                flaws: Vec::new(),
                face: Face::Up,
                batch,
                age,
                place,
                added: now.day,
                parent: None,
                revision: 0,
            };
            ledger.add_offcuts(vec![facts], false, true, now).map(|_| ())
        }
        ("consumable", ..) => {
            let name = sent.name.trim().to_string();
            let consumable = Consumable {
                id,
                kind: ConsumableKind::Other,
                name,
                expiry,
                opened: None,
                days_after_opening: None,
                place: some(&sent.place),
            };
            ledger.add_consumable(consumable, now).map(|_| ())
        }
        _ => {
            return Err(Fault::new(
                "it cannot be added: its size is not given",
                "give width and length",
            )
            .into());
        }
    };
    done.map_err(faults_of)
}

/// One item.
#[derive(Deserialize)]
pub struct Item {
    id: String,
    #[serde(default)]
    way: String,
}

/// Logs a roll or offcut taken out of the freezer or put back.
pub async fn move_items(Visit { app, words, .. }: Visit, Sent(item): Sent<Item>) -> Response {
    let way = if item.way == "in" { FreezerMove::In } else { FreezerMove::Out };
    beside(move || {
        changed(&app, &words, |ledger, now| {
            ledger.freezer(std::slice::from_ref(&item.id), way, now).map_err(faults_of)
        })
    })
    .await
}

/// A flaw of a roll, as it was seen.
#[derive(Deserialize)]
pub struct Flaw {
    id: String,
    index: usize,
    revision: u32,
}

/// Takes a flaw off a roll.
pub async fn remove_flaw(Visit { app, words, .. }: Visit, Sent(flaw): Sent<Flaw>) -> Response {
    beside(move || {
        let made = Ledger::write(&app.folder.ledger())
            .and_then(|mut l| l.remove_flaw(&flaw.id, (flaw.index, flaw.revision), &Moment::now()))
            .map_err(faults_of)
            .and_then(|()| item_page::of(&app, &words, &flaw.id, Device::First));
        match made {
            Ok(main) => Html(main.into_string()).into_response(),
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

/// Takes something out of the stock.
pub async fn remove(Visit { app, words, .. }: Visit, Sent(item): Sent<Item>) -> Response {
    beside(move || {
        changed(&app, &words, |ledger, now| {
            ledger.remove(std::slice::from_ref(&item.id), now).map_err(faults_of)
        })
    })
    .await
}

/// What was changed last, in words; nothing if there is nothing to take back.
fn last_change(app: &App) -> Option<String> {
    let ledger = Ledger::read(&app.folder.ledger()).ok()?;
    ledger.last_change().ok().flatten().map(|entry| entry.what)
}

/// Takes the last change of the ledger back.
pub async fn undo(Visit { app, words, .. }: Visit) -> Response {
    beside(move || {
        changed(&app, &words, |ledger, now| ledger.undo(now).map(|_| ()).map_err(faults_of))
    })
    .await
}

fn changed(
    app: &App,
    words: &Words,
    change: impl FnOnce(&mut Ledger, &Moment) -> Result<(), Faults>,
) -> Response {
    let made = Ledger::write(&app.folder.ledger())
        .map_err(faults_of)
        .and_then(|mut ledger| change(&mut ledger, &Moment::now()));
    match made {
        Ok(()) => Html(main(app, words).into_string()).into_response(),
        Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(words, &list)),
    }
}

/// Which labels.
#[derive(Deserialize)]
pub struct Labels {
    /// One roll or offcut.
    id: Option<String>,
    /// This offcut and all that came after it.
    since: Option<String>,
    /// What the plan of this job left over.
    left_by: Option<String>,
}

/// Labels as a PDF: of one thing, or of the offcuts that a part of the box shows.
pub async fn labels(
    Visit { app, words, .. }: Visit,
    Query(one): Query<Labels>,
    Query(wanted): Query<Wanted>,
) -> Response {
    beside(move || {
        let found = app.stock_there(&words).and_then(|stock| {
            let (rolls, offcuts) = match &one.id {
                Some(id) => {
                    let rolls = stock.rolls.iter().filter(|r| r.id() == id);
                    let offcuts = stock.offcuts.iter().filter(|o| o.id() == id);
                    (rolls.collect::<Vec<_>>(), offcuts.collect::<Vec<_>>())
                }
                None if one.left_by.is_some() => {
                    let job = app.job(one.left_by.as_deref().unwrap_or_default())?;
                    let left = locked(&job).left_over()?;
                    let is_left = |o: &&Offcut| left.iter().any(|id| id == o.id());
                    (Vec::new(), stock.offcuts.iter().filter(is_left).collect())
                }
                None if one.since.is_some() => {
                    let old = |o: &&Offcut| Some(o.id()) != one.since.as_deref();
                    (Vec::new(), stock.offcuts.iter().skip_while(old).collect())
                }
                None => (Vec::new(), wanted.part(words.units, &stock)?),
            };
            if let Some(id) = one.id.as_ref().filter(|_| rolls.is_empty() && offcuts.is_empty()) {
                let what = Said::came(words.with("label.gone", &[&quoted(id)]));
                return Err(Fault::new(what, words.t("label.gone_how")).into());
            }
            let rolls: Vec<RollFacts> = rolls.iter().map(|r| r.facts().clone()).collect();
            let offcuts: Vec<OffcutFacts> = offcuts.iter().map(|o| o.facts().clone()).collect();
            Ok(sheet::stock_labels(&rolls, &offcuts, stock.ledger.as_deref()))
        });
        match found {
            Ok(pdf) => ([(header::CONTENT_TYPE, "application/pdf")], pdf.bytes).into_response(),
            Err(list) => refused(&words, StatusCode::NOT_FOUND, &list),
        }
    })
    .await
}

/// The part of the sheets' step that books a plan: what it would change is shown before it is done.
pub fn booking(form: &Form<'_>, plan: &Verified, open: &mut OpenJob) -> Markup {
    let words = form.words;
    let from_ledger = plan.plan().drawn_from.as_ref().is_some_and(|d| d.ledger.is_some());
    let bench = open.at_bench(&Moment::now()).ok().flatten().filter(|b| b.in_ledger);
    let placed = || plan.plan().stocks.iter().flat_map(|s| &s.placed);
    let is_cut = |p: &&PlacedPiece| {
        let states = bench.as_ref().map(|b| &b.states);
        let state = states.and_then(|s| s.get(&(p.piece.clone(), p.copy)));
        matches!(state, Some(CopyState::Cut | CopyState::Laid))
    };
    let (cut, all) = (placed().filter(is_cut).count(), placed().count());
    html! {
        section #book .card {
            h2 { (words.t("book.title")) }
            @if !from_ledger { p { (words.t("book.no_ledger")) } }
            @else if cut == all && all > 0 {
                p { "✓ " (words.with("book.all_done", &[&all.to_string()])) }
                (labels_of_left(words, form.job, open))
            } @else {
                p { (words.t("book.how")) }
                @if cut > 0 { p { (words.with("book.in_part", &[&cut.to_string(), &all.to_string()])) } }
                form hx-post=(address(form.job, "book")) hx-target="#booking" hx-swap="innerHTML" {
                    input type="hidden" name="sure" value="";
                    button { (words.t("book.preview")) }
                }
                div #booking role="status" {}
            }
        }
    }
}

/// The way to the labels of offcuts that a plan left over, under their names in the stock; before
/// they have some, where these come from.
pub fn labels_of_left(words: &Words, job: &str, open: &mut OpenJob) -> Markup {
    let from_ledger = open
        .plan()
        .ok()
        .flatten()
        .is_some_and(|p| p.plan().drawn_from.as_ref().is_some_and(|d| d.ledger.is_some()));
    html! {
        @match open.left_over() {
            Err(list) => (faults(words, &list)),
            Ok(left) if !left.is_empty() => p {
                a .button href=(format!("/stock/labels?left_by={}", encoded(job))) target="_blank" { (words.t("stock.labels")) }
                " " span .quiet { (left.join(", ")) }
            },
            Ok(_) => @if from_ledger { p .quiet { (words.t("sheets.labels_later")) " " a href="#book" { (words.t("book.title")) } } },
        }
    }
}

/// What booking sends.
#[derive(Deserialize)]
pub struct Booking {
    #[serde(default)]
    sure: String,
}

/// Books the plan as cut, or shows what that would change.
pub async fn book(
    Visit { app, words, .. }: Visit,
    Path(job): Path<String>,
    Sent(sent): Sent<Booking>,
) -> Response {
    beside(move || {
        let made = app.job(&job).and_then(|open| {
            let plan = locked(&open)
                .plan()?
                .ok_or_else(|| Fault::new("there is no plan", "plan the job first"))?;
            let file = app.folder.ledger();
            if sent.sure == "yes" {
                return Ledger::write(&file)
                    .and_then(|mut ledger| ledger.book(&plan, &[], &Moment::now()))
                    .map_err(faults_of);
            }
            tried(&file, &plan)
        });
        match made {
            Ok(booked) => {
                Html(booked_words(&words, &job, &booked, sent.sure == "yes").into_string())
                    .into_response()
            }
            Err(list) => message(StatusCode::UNPROCESSABLE_ENTITY, faults(&words, &list)),
        }
    })
    .await
}

/// What booking would do, tried on a copy.
fn tried(file: &std::path::Path, plan: &Verified) -> Result<Booked, Faults> {
    let trouble = |e: std::io::Error| {
        Faults::from(Fault::new(
            said!("the ledger cannot be copied: {e}"),
            "check space and permissions",
        ))
    };
    let stock = Ledger::read(file).map_err(faults_of)?;
    let states = stock.pieces_of(plan.plan()).map_err(faults_of)?;
    if states.iter().any(|p| p.state != PieceState::Spoiled) {
        let all: usize = plan.plan().pieces.iter().map(|p| p.copies as usize).sum();
        if states.len() >= all {
            return Err(Fault::new(
                "this plan is booked already",
                "undo the booking in the stock if that was wrong",
            )
            .into());
        }
    }
    let export = stock.export(&Moment::now()).map_err(faults_of)?;
    let folder = tempfile::tempdir().map_err(trouble)?;
    let mut copy = Ledger::write(&folder.path().join("copy.sqlite")).map_err(faults_of)?;
    copy.import(&export, &Moment::now()).map_err(faults_of)?;
    copy.book(plan, &[], &Moment::now()).map_err(faults_of)
}

fn booked_words(words: &Words, job: &str, booked: &Booked, done: bool) -> Markup {
    html! {
        p { b { (words.t(if done { "book.done" } else { "book.would" })) } }
        ul {
            li { (words.with("book.pieces", &[&booked.pieces.to_string()])) }
            @for (id, used, left) in &booked.shortened { li { (id) ": −" (words.units.long(*used)) @if let Some(left) = left { " → " (words.units.long(*left)) } } }
            @if !booked.used_up.is_empty() { li { (words.t("book.used_up")) " " (booked.used_up.join(", ")) } }
            @if !booked.added.is_empty() { li { (words.with("book.added", &[&booked.added.len().to_string()])) } }
            @if !booked.cut_down.is_empty() { li { (words.t("book.cut_down")) " " (booked.cut_down.join(", ")) } }
        }
        @if done { p { @if let Some(first) = booked.added.first() { a .button href=(format!("/stock/labels?since={}", encoded(&first.id))) target="_blank" { (words.t("stock.labels")) } " " } a .button href="/stock" { (words.t("frame.stock")) } } }
        @else {
            form hx-post=(address(job, "book")) hx-target="#booking" hx-swap="innerHTML" { input type="hidden" name="sure" value="yes"; button .go { "✓ " (words.t("book.do")) } }
        }
    }
}
