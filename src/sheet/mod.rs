//! Writers: a plan as drawings, tables and words. Pure: verified plan in, bytes out; the caller
//! writes them to disk.
//!
//! Everything true to scale is drawn once, as a scene, and written as SVG, PDF or DXF from it.
//! Labels: `label.rs` draws those on pieces (`draw.rs` chooses where), `stickers.rs` those to stick on,
//! `offcut_labels.rs` those of the stock.

pub mod drawn;
pub mod summary;

mod alike;
mod answers;
mod card;
mod clip;
mod code;
mod csv;
mod cutting;
mod draw;
mod dxf;
mod equal;
mod estimate;
mod face;
mod flow;
mod font;
mod form;
mod grid;
mod history;
mod label;
mod label_grid;
mod laid;
mod layup;
mod layup_pdf;
mod measured;
mod mosaic;
mod mosaic_section;
mod offcut_labels;
mod overview;
mod paper;
mod part_record;
mod pdf;
mod placement;
mod placement_rows;
pub(crate) mod policy;
mod reference;
mod report;
mod room;
mod scene;
mod spread;
mod stickers;
mod style;
mod svg;
mod templates;
#[cfg(test)]
mod tests;
mod text;
mod thrown;
mod tiles;
mod title;
mod turn_over;
mod written;

pub use card::{CardPaper, card_pdf, card_svgs};
pub use code::code_picture;
pub use cutting::{OnBench, ToCut};
pub use history::{history_plot, history_table};
pub use label_grid::LabelGrid;
pub use paper::Paper;
pub use part_record::{ClothUsed, PartRecord};
pub use report::Section;
pub use thrown::{ClothThrown, PieceThrown, thrown};
pub use written::{PageCount, Written};

pub(crate) use grid::{Grid as Cells, leader_end};
pub(crate) use text::text_width;

use crate::cloth::Face;
use crate::estimate::Estimate;
use crate::fault::Fault;
use crate::layup::When;
use crate::plan::Plan;
use crate::run::Run;
use crate::units::show_mm;
use crate::verify::Verified;
pub(crate) use face::View;
use form::Form;

/// The cut sheets at true scale as SVG: one for each stock, or for each bench segment of a stock
/// cut in several. Seen with the given face of the cloth up, or as planned.
pub fn cut_sheets(plan: &Verified, face: Option<Face>) -> Vec<Written> {
    cut_sheets_of(&View::new(plan.plan(), face))
}

/// A plan as it is drawn, for all that is made of its layouts: they are drawn here, once.
pub(crate) fn drawn<'r>(plan: &Verified, run: Run<'r>) -> View<'r> {
    let view = View::in_run(plan.plan(), None, run);
    view.sheets().iter().for_each(|(_, sheet)| {
        sheet.layout();
    });
    view
}

pub(crate) fn cut_sheets_of(view: &View<'_>) -> Vec<Written> {
    let write = |(name, sheet): (String, laid::Sheet<'_>)| Written {
        name: format!("{name}.svg"),
        bytes: svg::write(&sheet.scene()).into_bytes(),
        pages: 1,
    };
    view.sheets().into_iter().map(write).collect()
}

/// The same layouts as DXF, release 2000, mm, for a cutter.
pub fn cutter_files(plan: &Verified, face: Option<Face>) -> Vec<Written> {
    let view = View::new(plan.plan(), face);
    let write = |(name, sheet): (String, laid::Sheet<'_>)| Written {
        name: format!("{name}.dxf"),
        bytes: dxf::write(&sheet),
        pages: 1,
    };
    view.sheets().into_iter().map(write).collect()
}

/// The same layouts as PDF at true scale, spread over paper; without paper each in one page as
/// large as the cloth.
pub fn printed_sheets(plan: &Verified, face: Option<Face>, paper: Option<&Paper>) -> Vec<Written> {
    let view = View::new(plan.plan(), face);
    view.sheets().into_iter().map(|sheet| printed_sheet(&sheet, paper, Form::Pdf)).collect()
}

fn printed_sheet(
    (name, sheet): &(String, laid::Sheet<'_>),
    paper: Option<&Paper>,
    form: Form,
) -> Written {
    let ((bytes, pages), on) = match paper {
        Some(paper) => (tiles::tiled(&tiles::Drawing::of(sheet), paper, form), paper.name.as_str()),
        None => (tiles::roll(sheet.scene(), &sheet.title(), form), "roll"),
    };
    Written { name: format!("{name}-{on}.pdf"), bytes, pages }
}

/// A document that a plan is printed as.
#[derive(Clone, Debug)]
pub enum Document {
    /// A square to measure before anything else is printed.
    Check(Paper),
    /// Where every template lies, by tape measure.
    Placement,
    /// The order of work at the mould.
    LayUp,
    /// A label for each placed piece.
    Labels(LabelGrid),
    /// A card for each kit's bag.
    Cards,
    /// Templates of all pieces.
    Templates(Paper),
    /// One layout, from 0, over paper, or in one page as large as the cloth.
    Layout(usize, Option<Paper>),
}

/// Most by which the check square may be off for pages to cut by, mm: over a roll's width of pages
/// it comes to 6 mm, what scissors are off by.
const TRUE_WITHIN: f64 = 0.5;

/// What a printed check square says that measures so much along and across, mm: nothing if pages
/// print true, else what is wrong and what to do.
///
/// # Errors
/// It is printed too small or too large, or that is no measure of it.
pub fn printed_true(along: f64, across: f64) -> Result<(), Fault> {
    let sound = |mm: f64| (50.0..=200.0).contains(&mm);
    if !sound(along) || !sound(across) {
        return Err(Fault::new(
            said!("{} by {} is no check square", show_mm(along), show_mm(across)),
            "measure the square of the check page both ways, in mm",
        ));
    }
    let off = |mm: f64| (mm - 100.0).abs() > TRUE_WITHIN;
    if !off(along) && !off(across) {
        return Ok(());
    }
    let remedy = "print again at 100 % (actual size), not fitted to the page";
    let what = if (along - across).abs() > TRUE_WITHIN {
        said!(
            "the printer draws by {:.1} % one way and {:.1} % the other",
            along - 100.0,
            across - 100.0
        )
    } else {
        said!("pages print at {:.1} %", (along + across) / 2.0)
    };
    Err(Fault::new(what, remedy))
}

/// A document as PDF; nothing if the plan has no such layout.
pub fn printed(plan: &Verified, face: Option<Face>, document: &Document) -> Option<Written> {
    made(plan.plan(), face, document, Form::Pdf)
}

/// One page of a document, counted from 0, as it is printed: an SVG picture with the number of all
/// pages; nothing if there is no such page.
pub fn page_picture(
    plan: &Verified,
    face: Option<Face>,
    document: &Document,
    page: usize,
) -> Option<Written> {
    picture(plan.plan(), face, document, page)
}

fn picture(plan: &Plan, face: Option<Face>, document: &Document, page: usize) -> Option<Written> {
    let made = made(plan, face, document, Form::Picture(page))?;
    let name = made.name.replace(".pdf", &format!("-{}.svg", page + 1));
    (page < made.pages).then_some(Written { name, ..made })
}

fn made(plan: &Plan, face: Option<Face>, document: &Document, form: Form) -> Option<Written> {
    let of = |name: &str, (bytes, pages): (Vec<u8>, usize)| Written {
        name: name.to_string(),
        bytes,
        pages,
    };
    let view = || View::new(plan, face);
    Some(match document {
        Document::Check(paper) => {
            of(&format!("check-{}.pdf", paper.name), tiles::check_page(paper, form))
        }
        Document::Placement => of("placement.pdf", placement::sheets(&view(), form)),
        Document::LayUp => {
            let sheets = crate::layup::layup(plan, &When::default());
            let laminate = crate::laminate::laminate(plan);
            of("lay-up.pdf", layup_pdf::pages(plan, &sheets, &laminate, form))
        }
        Document::Labels(grid) => of("labels.pdf", stickers::labels(plan, grid, form)),
        Document::Cards => of("kit-bags.pdf", stickers::bags(plan, form)),
        Document::Templates(paper) => of(
            &format!("templates-{}.pdf", paper.name),
            templates::templates(plan, face, paper, form),
        ),
        Document::Layout(index, paper) => {
            printed_sheet(view().sheets().get(*index)?, paper.as_ref(), form)
        }
    })
}

/// How many pages each layout takes on a paper, without writing them.
pub fn pages_needed(plan: &Verified, face: Option<Face>, paper: &Paper) -> Vec<PageCount> {
    tiles::count(&View::new(plan.plan(), face), paper)
}

/// Templates of all pieces, one for those that are equal, PDF at true scale.
pub fn printed_templates(plan: &Verified, face: Option<Face>, paper: &Paper) -> Written {
    let (bytes, pages) = templates::templates(plan.plan(), face, paper, Form::Pdf);
    Written { name: format!("templates-{}.pdf", paper.name), bytes, pages }
}

/// How many pages the templates take on a paper, without writing them.
pub fn template_pages(plan: &Verified, face: Option<Face>, paper: &Paper) -> PageCount {
    templates::count(plan.plan(), face, paper)
}

/// The templates as SVG at true scale, a file each.
pub fn template_sheets(plan: &Verified, face: Option<Face>) -> Vec<Written> {
    let write = |(name, scene): (String, scene::Scene)| Written {
        name: format!("{name}.svg"),
        bytes: svg::write(&scene).into_bytes(),
        pages: 1,
    };
    templates::drawings(plan.plan(), face).into_iter().map(write).collect()
}

/// The templates as DXF, release 2000, mm, a file each.
pub fn template_cutter_files(plan: &Verified, face: Option<Face>) -> Vec<Written> {
    let write = |(name, scene): (String, scene::Scene)| Written {
        name: format!("{name}.dxf"),
        bytes: dxf::drawing(&scene, &plan.plan().id),
        pages: 1,
    };
    templates::drawings(plan.plan(), face).into_iter().map(write).collect()
}

/// The placement sheet, PDF on A4: where every template lies, by tape measure, in an order of
/// cutting.
pub fn placement_sheet(plan: &Verified, face: Option<Face>) -> Written {
    let (bytes, pages) = placement::sheets(&View::new(plan.plan(), face), Form::Pdf);
    Written { name: "placement.pdf".into(), bytes, pages }
}

/// A stick-on label for each placed piece, and a card for each kit's bag, PDF.
pub fn labels(plan: &Verified, grid: &LabelGrid) -> [Written; 2] {
    let (bytes, pages) = stickers::labels(plan.plan(), grid, Form::Pdf);
    let labels = Written { name: "labels.pdf".into(), bytes, pages };
    let (bytes, pages) = stickers::bags(plan.plan(), Form::Pdf);
    [labels, Written { name: "kit-bags.pdf".into(), bytes, pages }]
}

/// `labels.pdf` for rolls and offcuts of the stock, two columns of seven on A4, each with a code that
/// says of which ledger it is.
pub fn stock_labels(
    rolls: &[crate::stock::RollFacts],
    offcuts: &[crate::stock::OffcutFacts],
    ledger: Option<&str>,
) -> Written {
    let sound: Vec<crate::stock::Offcut> =
        offcuts.iter().filter_map(|o| crate::stock::Offcut::new(o.clone()).ok()).collect();
    let (bytes, pages) = offcut_labels::labels(rolls, &sound, ledger, &LabelGrid::two_by_seven());
    Written { name: "labels.pdf".into(), bytes, pages }
}

/// `report.html`: the whole plan on one page, with sections made elsewhere.
pub fn report(plan: &Verified, more: &[Section]) -> String {
    report_of(&View::new(plan.plan(), None), more)
}

pub(crate) fn report_of(view: &View<'_>, more: &[Section]) -> String {
    report::of_plan(view, more)
}

/// The section of the report on mosaic layers, if there are any.
pub fn mosaic_section(plan: &Verified) -> Option<Section> {
    mosaic_section::section(plan.plan())
}

/// The lay-up sheet and the laminate figures, as a section of the report.
pub fn layup_section(plan: &Verified) -> Section {
    layup::section(
        plan.plan(),
        &crate::layup::layup(plan.plan(), &When::default()),
        &crate::laminate::laminate(plan.plan()),
    )
}

/// The lay-up sheet, PDF on A4.
pub fn layup_sheet(plan: &Verified, when: &When) -> Written {
    let plan = plan.plan();
    let laminate = crate::laminate::laminate(plan);
    let sheets = crate::layup::layup(plan, when);
    let (bytes, pages) = layup_pdf::pages(plan, &sheets, &laminate, Form::Pdf);
    Written { name: "lay-up.pdf".into(), bytes, pages }
}

/// The pieces of a plan in the order of cutting, cloth by cloth on the bench.
pub fn cutting_order(plan: &Verified) -> Vec<OnBench> {
    cutting::in_order(plan.plan())
}

/// The pictures of a layer as it lies on the mould, SVG, with their words: those of the templates
/// that are wanted.
pub fn layer_pictures(
    plan: &Verified,
    layer: usize,
    wanted: &dyn Fn(&str) -> bool,
) -> Vec<(String, String)> {
    let plan = plan.plan();
    let layer = plan.layers.get(layer);
    let pictures = layer.map(|l| report::layer_pictures(plan, l, wanted)).unwrap_or_default();
    pictures
        .into_iter()
        .map(|(words, scene)| (words.clone(), svg::write_inline(&scene, 1.0, &words)))
        .collect()
}

/// The record of a part as a page that opens offline, and as PDF.
pub fn part_record(record: &PartRecord<'_>) -> [Written; 2] {
    let page = part_record::page(record).into_bytes();
    let (bytes, pages) = part_record::pdf(record, Form::Pdf);
    [
        Written { name: "record.html".into(), bytes: page, pages: 1 },
        Written { name: "record.pdf".into(), bytes, pages },
    ]
}

/// An estimate as a page to print, HTML.
pub fn estimate_page(found: &Estimate) -> String {
    estimate::page(found)
}

/// The charts of an estimate, SVG: one for each cloth that has something to buy.
pub fn estimate_charts(found: &Estimate) -> Vec<Written> {
    estimate::charts(found)
}

/// What is to be said below the figures of an estimate, a paragraph each.
pub fn estimate_notes(found: &Estimate) -> Vec<String> {
    estimate::notes(found)
}

/// `pieces.csv`: a row for each placed piece.
pub fn pieces_table(plan: &Verified) -> String {
    csv::pieces(plan.plan())
}

/// The drawings of the mosaic layers as SVG: for each a patch map at true scale and a picture of
/// the finished look.
pub fn mosaic_sheets(plan: &Verified) -> Vec<Written> {
    let write = |(name, scene, _): (String, scene::Scene, bool)| Written {
        name: format!("{name}.svg"),
        bytes: svg::write(&scene).into_bytes(),
        pages: 1,
    };
    mosaic::drawings(plan.plan()).into_iter().map(write).collect()
}

/// The same as DXF, release 2000, mm, in the part's frame.
pub fn mosaic_cutter_files(plan: &Verified) -> Vec<Written> {
    let write = |(name, scene, _): (String, scene::Scene, bool)| Written {
        name: format!("{name}.dxf"),
        bytes: dxf::drawing(&scene, &plan.plan().id),
        pages: 1,
    };
    mosaic::drawings(plan.plan()).into_iter().map(write).collect()
}

/// The same as PDF on a page each: the map at true scale as large as it comes, unless paper is
/// given and it fits only in parts; the look is made to fit the paper.
pub fn printed_mosaics(plan: &Verified, paper: Option<&Paper>) -> Vec<Written> {
    let plan = plan.plan();
    let id: String = text::clean(&plan.id).chars().take(12).collect();
    let write = |(name, scene, to_scale): (String, scene::Scene, bool)| {
        let title = scene.title.clone();
        let ((bytes, pages), on) = match paper {
            Some(paper) if !to_scale => {
                (tiles::fitted(&scene, paper, Form::Pdf), paper.name.as_str())
            }
            None if !to_scale => ((pdf::pdf(&title, &[pdf::Page::of(&scene)]), 1), "roll"),
            Some(paper) => {
                let foot = format!("looking at the mould surface · plan {id}");
                (
                    tiles::tiled(
                        &tiles::Drawing { scene, title, foot, block: Box::new(|_, _, _| 0.0) },
                        paper,
                        Form::Pdf,
                    ),
                    paper.name.as_str(),
                )
            }
            None => (tiles::roll(scene, &title, Form::Pdf), "roll"),
        };
        Written { name: format!("{name}-{on}.pdf"), bytes, pages }
    };
    mosaic::drawings(plan).into_iter().map(write).collect()
}

/// `patches.csv`: a row for each patch of the mosaic layers; `None` if there are none.
pub fn patches_table(plan: &Verified) -> Option<String> {
    (!plan.plan().mosaics.is_empty()).then(|| mosaic::table(plan.plan()))
}

/// All layouts in one small picture, SVG.
pub fn overview(plan: &Verified) -> String {
    overview::written(plan.plan())
}

/// The whole summary for a terminal, no line wider than `columns` (at least 72 are used).
pub fn summary(plan: &Verified, columns: usize) -> String {
    summary::text(plan.plan(), columns)
}
