//! The plies: every piece as a picture with its cloth, angle, hand, turns and number of copies.

use super::form::Form;
use super::pictures;
use super::takers_page;
use super::words::Words;
use maud::{Markup, PreEscaped, html};
use warpwise::job::Job;
use warpwise::ply::Prepared;
use warpwise::units::show_number;

/// The pieces of the job by layer.
pub fn plies(form: &Form<'_>) -> Markup {
    let words = form.words;
    let (Some(job), Some(prepared)) = (&form.checked.job, &form.checked.prepared) else {
        return html! {
            h1 { (words.t("step.plies")) }
            p .lead { (words.t("plies.faults_first")) }
            (form.all_notes())
        };
    };
    let copies: u32 = prepared.pieces.iter().map(|p| p.copies).sum();
    html! {
        h1 { (words.t("step.plies")) }
        p .lead { (words.with("plies.lead", &[&copies.to_string()])) }
        (form.all_notes())
        (pieces(words, form.job, job, prepared))
    }
}

/// A picture of each piece, layer by layer.
pub fn pieces(words: &Words, name: &str, job: &Job, prepared: &Prepared) -> Markup {
    html! {
        @for (i, layer) in job.layers.iter().enumerate() {
            @let pieces: Vec<_> = prepared.pieces.iter().filter(|p| p.layer == i + 1).collect();
            section aria-labelledby=(format!("layer-{i}")) {
                h2 id=(format!("layer-{i}")) { (i + 1) " · " (layer.name) " · " (job.cloths[layer.cloth].name) " · " (pictures::warp(layer)) }
                @if layer.mosaic.is_some() { p .quiet { (words.t("plies.mosaic")) } }
                ul .pieces {
                    @for piece in pieces {
                        li .piece {
                            (PreEscaped(pictures::piece(piece)))
                            p { b { (piece.number) } " " (piece.template) @if piece.copies > 1 { " × " (piece.copies) } }
                            p .quiet {
                                (super::moulds::hand(words, job, &piece.template, piece.hand))
                                " · " (show_number(piece.angle, 1)) "° · " (words.units.area(piece.outline.area()))
                            }
                            p .quiet title=(piece.permitted_by) { (words.t("plies.turns")) " " (pictures::turns(words, &piece.permitted)) }
                            p { (takers_page::link(words, name, &piece.id, false)) }
                        }
                    }
                }
            }
        }
    }
}
