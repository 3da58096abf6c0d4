//! Whatever a file holds, there is an answer that accounts for all of it, or faults that say what
//! is wrong.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;
use warpwise::fault::Faults;
use warpwise::geometry::ring_area;
use warpwise::outline::{ReadOptions, Unit, read_bytes};
use warpwise::workshop::{Edit, edited};
use warpwise::{job, plan, planner, sheet, trace, verify};

/// Faults that say something.
fn heard(faults: &Faults) {
    assert!(!faults.is_empty(), "refused without a reason");
    let mute = faults.0.iter().find(|f| f.what.is_empty());
    assert!(mute.is_none(), "{mute:?}");
    let _ = faults.to_string();
}

fn drawing(name: &str, bytes: &[u8]) {
    let options = ReadOptions {
        unit: bytes.len().is_multiple_of(4).then_some(Unit::Inch),
        layer: bytes.len().is_multiple_of(7).then(|| "seat".to_string()),
        ..ReadOptions::default()
    };
    match read_bytes(Path::new(name), bytes, &options) {
        Ok(read) => {
            assert_eq!(read.used + read.not_used.len(), read.present, "not all is accounted for");
            assert!(!read.outlines.is_empty());
            for outline in &read.outlines {
                assert!(ring_area(outline.net()) > 0.0);
                assert_eq!(outline.edges().len(), outline.net().len());
                assert!(outline.net().iter().all(|p| p.snapped() == *p), "off the grid");
            }
        }
        Err(faults) => heard(&faults),
    }
}

pub fn svg(bytes: &[u8]) {
    drawing("a.svg", bytes);
}

pub fn dxf(bytes: &[u8]) {
    drawing("a.dxf", bytes);
}

pub fn csv(bytes: &[u8]) {
    drawing("a.csv", bytes);
}

/// Offsets from a base line become a drawing that is read or refused.
pub fn stations(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    trace::is_station_table(&text);
    match trace::read_stations(&text, "floor", None, bytes.len().is_multiple_of(2)) {
        Ok(template) => drawing("a.svg", trace::drawing(&[template], &[]).as_bytes()),
        Err(faults) => heard(&faults),
    }
}

/// A folder with drawings that jobs may name.
fn folder() -> &'static Path {
    static FOLDER: OnceLock<PathBuf> = OnceLock::new();
    FOLDER.get_or_init(|| {
        let dir = std::env::temp_dir().join(format!("warpwise-attack-{}", std::process::id()));
        let drawn =
            "x_mm,y_mm,line\n0,0,\n400,0,\n380,200,\n0,210,\n50,50,hole\n90,50,hole\n90,80,hole\n";
        let written = std::fs::create_dir_all(&dir)
            .and_then(|()| std::fs::write(dir.join("plate.csv"), drawn))
            .and_then(|()| std::fs::write(dir.join("rim.csv"), "x_mm,y_mm\n0,0\n300,0\n0,60\n"));
        assert!(written.is_ok(), "{written:?}");
        dir
    })
}

pub fn job(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    match job::parse(&text, &folder().join("job.toml")) {
        Ok((job, _)) => {
            // The frame of its plan, whatever the job asks for.
            let plan = planner::unplaced(&[job], 1);
            assert!(plan::from_json(&plan::to_json(&plan)).is_ok(), "an own plan is not read back");
        }
        Err(faults) => heard(&faults),
    }
}

/// A job file edited as the page edits it: the first line is the edit as JSON, the rest the file.
pub fn draft(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let (edit, file) = text.split_once('\n').unwrap_or((&text, ""));
    let Ok(edit) = serde_json::from_str::<Edit>(edit) else { return };
    if let Ok(after) = edited(file, &edit) {
        let read = after.parse::<toml_edit::DocumentMut>();
        assert!(read.is_ok(), "an edit broke the file: {read:?}\n{after}");
    }
}

/// A plan that passes is drawn; whether its id is its content's is another matter.
pub fn plan(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    match plan::from_json(&text) {
        Ok(plan) => match verify::verify(plan.sealed()) {
            Ok(verified) => {
                assert!(!sheet::summary(&verified, 80).is_empty());
                let again = plan::from_json(&plan::to_json(verified.plan()));
                assert!(again.as_ref() == Ok(verified.plan()), "a plan is not read back as it was");
                sheet::cut_sheets(&verified, None);
            }
            Err(faults) => heard(&faults),
        },
        Err(faults) => heard(&faults),
    }
}

pub fn photo(bytes: &[u8]) {
    if let Err(fault) = trace::read_photo(bytes) {
        assert!(!fault.what.is_empty());
    }
}
