//! `warpwise trace card`: printable scale cards.

use crate::cli::exit::Failure;
use crate::cli::files::write_into;
use crate::cli::output::print;
use clap::{Args, ValueEnum};
use std::path::PathBuf;
use warpwise::sheet::{CardPaper, card_pdf, card_svgs};
use warpwise::trace::card::NUMBERS;

/// Paper to print on.
#[derive(Clone, Copy, ValueEnum)]
enum Paper {
    /// 210 × 297 mm
    A4,
    /// 8.5 × 11 in
    Letter,
}

/// `warpwise trace card`.
#[derive(Args)]
pub struct Card {
    /// The folder to write into
    #[arg(long, value_name = "DIR", default_value = ".")]
    out: PathBuf,
    /// The paper to print on
    #[arg(long, value_enum, default_value = "a4")]
    paper: Paper,
    /// How many cards, each with a number of its own, two a page
    #[arg(long, value_name = "N", default_value_t = 4, value_parser = clap::value_parser!(u16).range(1..=NUMBERS as i64))]
    cards: u16,
}

impl Card {
    /// Writes a PDF of all pages and one SVG a page.
    pub fn run(self) -> Result<(), Failure> {
        let paper = match self.paper {
            Paper::A4 => CardPaper::A4,
            Paper::Letter => CardPaper::Letter,
        };
        let count = usize::from(self.cards);
        let mut files = vec![(PathBuf::from("scale-cards.pdf"), card_pdf(paper, count))];
        let svgs = card_svgs(paper, count).into_iter();
        files.extend(svgs.enumerate().map(|(i, svg)| {
            (PathBuf::from(format!("scale-cards-{}.svg", i + 1)), svg.into_bytes())
        }));
        write_into(&self.out, &files)?;
        let mut text = String::new();
        for (name, _) in &files {
            text.push_str(&format!("{}\n", self.out.join(name).display()));
        }
        text.push_str(
            "Print at 100 %, cut the cards apart and lay them flat around the template: two for a small one,\n\
             four for anything over 400 mm. Measure a printed frame from side to side: it must be 180 mm.\n\
             If your printer scales, give `trace photo` the measure with --card-width.\n",
        );
        print(&text)
    }
}
