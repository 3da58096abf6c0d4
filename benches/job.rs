//! From files to pieces and from a plan to its sheets: import and preparation of 100 plies,
//! verification, drawing.
#![allow(clippy::unwrap_used, missing_docs)]

use criterion::{Criterion, criterion_group, criterion_main};
use std::fmt::Write;
use std::hint::black_box;
use std::path::Path;
use warpwise::planner;
use warpwise::run::{Run, Stop};
use warpwise::{job, plan, ply, sheet, verify};

/// A drawing of one smooth outline of about 200 points with its arrow, like no other; a hundred of
/// them take some 3 m of cloth.
fn drawing(k: usize) -> String {
    let mut path = String::new();
    for i in 0..200 {
        let a = f64::from(i) / 200.0 * std::f64::consts::TAU;
        let r = 60.0 * (1.0 + 0.2 * libm::cos(2.0 * a + k as f64) + 0.05 * libm::sin(5.0 * a));
        let _ = write!(
            path,
            "{}{:.3} {:.3}",
            if i == 0 { "M" } else { "L" },
            250.0 + r * libm::cos(a),
            250.0 + 0.7 * r * libm::sin(a)
        );
    }
    format!(
        "<svg xmlns='http://www.w3.org/2000/svg' width='500mm' height='500mm' viewBox='0 0 500 500' stroke='black' fill='none'>\
         <path id='net-line' d='{path}Z'/><path id='arrow' d='M220 250 L280 250'/></svg>"
    )
}

/// A job of `count` templates, one ply of each, in `dir`.
fn write_job(dir: &Path, count: usize) {
    let mut text = String::from(
        "[job]\nname = \"bench\"\n[[cloth]]\nid = \"twill\"\nweave = \"twill 2/2\"\ntwill_line = 45\nup = \"paper\"\nroll_width = 1250\nselvedge = 10\n",
    );
    let mut names = Vec::new();
    for k in 0..count {
        std::fs::write(dir.join(format!("t{k}.svg")), drawing(k)).unwrap();
        let _ = write!(
            text,
            "[[template]]\nid = \"t{k}\"\nfile = \"t{k}.svg\"\ntaken_off = \"mould\"\ninked_side = \"up\"\n"
        );
        names.push(format!("\"t{k}\""));
    }
    let _ = write!(
        text,
        "[[layer]]\ncloth = \"twill\"\nangle = 30\ntemplates = [{}]\n",
        names.join(", ")
    );
    std::fs::write(dir.join("job.toml"), text).unwrap();
}

fn job_to_sheets(c: &mut Criterion) {
    let dir = tempfile::tempdir().unwrap();
    write_job(dir.path(), 100);
    let file = dir.path().join("job.toml");
    let mut group = c.benchmark_group("job");
    group.sample_size(10);
    group.bench_function("import and preparation of 100 plies", |b| {
        b.iter(|| {
            let (job, _) = job::load(&file).unwrap();
            black_box(ply::prepare(&job).unwrap());
        });
    });
    let (job, _) = job::load(&file).unwrap();
    group.bench_function("preparation of 100 plies", |b| {
        b.iter(|| black_box(ply::prepare(&job).unwrap()))
    });
    let run = Run::new(Stop::Effort(0));
    let verified = planner::plan(&[job], 1, &run).unwrap();
    group.bench_function("verification of 100 plies", |b| {
        b.iter(|| black_box(verify::verify(verified.plan().clone()).unwrap()))
    });
    group.bench_function("cut sheet of 100 plies", |b| {
        b.iter(|| black_box(sheet::cut_sheets(&verified, None)))
    });
    let paper = sheet::Paper::new("a4", 8.0, 10.0).unwrap();
    let printed = sheet::printed_sheets(&verified, None, Some(&paper));
    let (bytes, pages) = printed.iter().fold((0, 0), |(b, p), f| (b + f.bytes.len(), p + f.pages));
    assert!(
        bytes < 5_000_000,
        "{bytes} bytes on {pages} pages, {} mm of cloth",
        verified.plan().cloths[0].used_length
    );
    group.bench_function("tiled A4 PDF of 100 plies", |b| {
        b.iter(|| black_box(sheet::printed_sheets(&verified, None, Some(&paper))))
    });
    group.bench_function("report of 100 plies", |b| {
        b.iter(|| black_box(sheet::report(&verified, &[])))
    });
    group.bench_function("plan.json of 100 plies", |b| {
        b.iter(|| black_box(plan::to_json(verified.plan())))
    });
    group.finish();
}

criterion_group!(benches, job_to_sheets);
criterion_main!(benches);
