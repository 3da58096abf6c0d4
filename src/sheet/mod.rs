//! Writers: a plan as drawings, tables and words. Pure: plan in, text out; the caller writes it to disk.

mod clip;
mod draw;
mod grid;
mod label;
mod room;
mod scene;
mod svg;
mod text;
mod title;

pub use text::text_width;

use crate::plan::Plan;

/// A file to be written: its name within the folder of sheets, and its content.
pub type Sheet = (String, String);

/// The cut sheets: one SVG for each stock, or for each bench segment of a stock cut in several.
///
/// True scale: `width` and `height` in mm, one unit of the view box is one mm. The stock's frame (x along the warp from the free
/// end, y up) is turned the right way up for the file.
pub fn sheets(plan: &Plan) -> Vec<Sheet> {
    let mut files = Vec::new();
    for (i, stock) in plan.stocks.iter().enumerate() {
        let sheets = draw::sheets_of(plan, stock);
        for sheet in &sheets {
            let part = if sheet.segments > 1 { format!("-segment-{}", sheet.segment + 1) } else { String::new() };
            files.push((format!("{:02}-{}{part}.svg", i + 1, file_name(&stock.id)), svg::write(&sheet.scene())));
        }
    }
    files
}

/// An id made fit for a file name anywhere: ASCII letters, digits and hyphens, at most 40.
fn file_name(id: &str) -> String {
    let mut name = String::new();
    for c in id.chars() {
        if c.is_ascii_alphanumeric() {
            name.push(c.to_ascii_lowercase());
        } else if !name.ends_with('-') {
            name.push('-');
        }
        if name.len() >= 40 {
            break;
        }
    }
    name.trim_matches('-').to_string()
}
