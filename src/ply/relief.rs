//! What relief cuts and darts do to the laminate: missing area, and cuts that lie over each other.

use crate::fault::Fault;
use crate::geometry::{Path, Point, path_length, ring_bounds};
use crate::job::{Job, Template, TemplateSource};
use crate::outline::EdgeKind;
use crate::units::counted;
use std::collections::BTreeMap;

/// A shorter cut is a notch that marks a place, not a cut that weakens the laminate, mm (common
/// practice, no source).
const LONGEST_NOTCH: f64 = 20.0;

/// Nothing coincides within this many plies where the job has no splice rule of its own
/// (MIL-HDBK-17-3F, chapter 12, on butt splices).
const PLIES_APART: usize = 4;

/// Warnings on relief cuts and darts of every template that some layer uses.
pub(super) fn relief_warnings(job: &Job) -> Vec<Fault> {
    let mut warnings = Vec::new();
    let mut layers: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    for (i, layer) in job.layers.iter().enumerate() {
        for item in &layer.items {
            let users = layers.entry(item.template).or_default();
            if users.last() != Some(&i) {
                users.push(i);
            }
        }
    }
    let apart = job.splice.as_ref().map_or(PLIES_APART, |s| s.plies_apart);
    for (index, users) in layers {
        let Some(template) = job.templates.get(index) else {
            continue;
        };
        warnings.extend(overlapped(template));
        let Some(features) = features_in_words(template) else {
            continue;
        };
        for (at, &layer) in users.iter().enumerate() {
            // Layers without the template lie elsewhere: its own plies count.
            let over: Vec<String> = users[(at + 1).saturating_sub(apart.max(1))..at]
                .iter()
                .map(|u| (u + 1).to_string())
                .collect();
            let Some((last, first)) = over.split_last() else {
                continue;
            };
            let list = if first.is_empty() {
                format!("layer {last}")
            } else {
                format!("layers {} and {last}", first.join(", "))
            };
            warnings.push(
                Fault::new(
                    said!("{} has {features} over those of {list}: treat them as splices in one place", template.id),
                    "stagger them with a template of its own for this layer, or accept a line through the laminate",
                )
                .in_file(&job.file)
                .on(format!("layer {}", layer + 1)),
            );
        }
    }
    warnings
}

/// The places where relief cuts cross each other, themselves or a dart's leg: there the flattened
/// skin overlapped.
fn overlapped(template: &Template) -> Option<Fault> {
    let cuts = template.outline.cuts();
    let legs: Vec<Path> = dart_legs(template);
    let crossing = cuts.iter().enumerate().find_map(|(i, cut)| {
        let others = cuts[i..].iter().chain(&legs);
        others.enumerate().find_map(|(j, other)| first_crossing(cut, other, j == 0))
    })?;
    let what = format!("relief cuts of {}", template.id);
    let fault = Fault::new(
        "a relief cut crosses another line: the skin overlapped when it was flattened, so cloth will be missing there on the mould",
        "cover the gap with a patch, or take the template off again with a cut where it overlapped",
    )
    .at(what, crossing.x, crossing.y);
    Some(match &template.source {
        TemplateSource::Drawing { file } => fault.in_file(file),
        _ => fault,
    })
}

fn dart_legs(template: &Template) -> Vec<Path> {
    let (net, edges) = (template.outline.net(), template.outline.edges());
    let is_dart =
        |i: usize| edges.get(i).copied().flatten().unwrap_or(template.edge) == EdgeKind::Dart;
    (0..net.len()).filter(|&i| is_dart(i)).map(|i| vec![net[i], net[(i + 1) % net.len()]]).collect()
}

/// Where two open lines cross, ends that merely touch not counted.
fn first_crossing(first: &Path, second: &Path, same: bool) -> Option<Point> {
    let (a, b) = (ring_bounds(first)?, ring_bounds(second)?);
    if a.max.x < b.min.x || b.max.x < a.min.x || a.max.y < b.min.y || b.max.y < a.min.y {
        return None;
    }
    first.windows(2).enumerate().find_map(|(i, p)| {
        let rest = if same { second.get(i + 1..)? } else { second };
        rest.windows(2).find_map(|q| {
            let (d, e) = (p[1] - p[0], q[1] - q[0]);
            let (s, t) = (d.cross(q[0] - p[0]), d.cross(q[1] - p[0]));
            let (u, v) = (e.cross(p[0] - q[0]), e.cross(p[1] - q[0]));
            (s * t < 0.0 && u * v < 0.0).then(|| q[0] + e * (s / (s - t)))
        })
    })
}

/// `2 relief cuts and 1 dart`, or nothing.
fn features_in_words(template: &Template) -> Option<String> {
    let cuts = template.outline.cuts().iter().filter(|c| path_length(c) > LONGEST_NOTCH).count();
    let legs = dart_legs(template).len();
    let found = [(cuts, "relief cut"), (legs.div_ceil(2), "dart")].into_iter().filter(|f| f.0 > 0);
    let words: Vec<String> = found.map(|(count, noun)| counted(count, noun)).collect();
    (!words.is_empty()).then(|| words.join(" and "))
}
