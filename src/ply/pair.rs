//! Parts that are each other's mirror image: which plies are the other hand of others, and which
//! look so though nobody says it.

use super::hand::laid_angle;
use super::skin::template_frame;
use super::{Hand, Prepared};
use crate::fault::{Fault, Said};
use crate::geometry::boolean::difference;
use crate::geometry::{Motion, Point, Region, Ring, ring_area, ring_bounds};
use crate::job::{Hands, Job, Layer, Seen, TemplateSource};
use crate::units::{degrees_of_warp, quoted, show_angle};

/// Outlines that share all but this part of their area look alike.
const ALIKE: f64 = 0.03;

/// The plies that a ply is said to be the other hand of.
pub(super) enum Partner {
    /// Nothing is said.
    None,
    /// How they are laid, how this one must be for its line to fit (degrees, half a turn is the
    /// same), and what they are in words.
    Laid { warp: f64, wanted: f64, words: String },
    /// It is said, but there is nothing to match: why, and what to do.
    Missing(Said, Said),
}

/// The template that one shares its hand with: itself, or what a patch lies on.
fn host(job: &Job, template: usize) -> Option<&str> {
    let t = job.templates.get(template)?;
    Some(if let TemplateSource::Patch { on, .. } = &t.source { on } else { &t.id })
}

/// The template whose other hand a template (or what a patch lies on) is said to be.
fn other_hand_of(job: &Job, template: usize) -> Option<&str> {
    let host = host(job, template)?;
    job.templates.iter().find(|t| t.id == host)?.other_hand_of.as_deref()
}

/// The items of a layer that lie on a template.
fn lays<'a>(
    job: &'a Job,
    layer: &'a Layer,
    on: &'a str,
) -> impl Iterator<Item = &'a crate::job::LayerItem> {
    layer.items.iter().filter(move |i| host(job, i.template) == Some(on))
}

/// True if the layer lays a template that is said to be another's other hand, and that other: its
/// angle is then the other's.
pub(super) fn is_opposite(job: &Job, layer: &Layer, template: usize) -> bool {
    other_hand_of(job, template).is_some_and(|of| lays(job, layer, of).next().is_some())
}

/// What one hand of a template in a layer of its own must mirror. `jobs` are planned together.
pub(super) fn partner(
    jobs: &[Job],
    job: &Job,
    index: usize,
    template: usize,
    hand: Hand,
) -> Partner {
    let Some(layer) = job.layers.get(index) else {
        return Partner::None;
    };
    let like = |j: &Job, l: &Layer| {
        let cloth = |j: &Job, l: &Layer| j.cloths.get(l.cloth).map(|c| c.id.clone());
        l.mosaic.is_none() && l.seen == layer.seen && cloth(j, l) == cloth(job, layer)
    };
    // The same hand of the two is the mirror image; the other hand of one is as the other.
    let laid =
        |j: &Job, l: &Layer, hands: Hands, mirrored: &dyn Fn(Hand) -> bool, words: String| {
            let its = if hands == Hands::Mirrored { Hand::Mirrored } else { Hand::AsTraced };
            let warp = j
                .cloths
                .get(l.cloth)
                .map_or(l.angle, |c| laid_angle(c, l, l.angle, its, hands == Hands::Both).0);
            Partner::Laid { warp, wanted: if mirrored(its) { 90.0 - warp } else { warp }, words }
        };
    if let Some(of) = other_hand_of(job, template) {
        let nearest = job
            .layers
            .iter()
            .enumerate()
            .filter(|(_, l)| like(job, l) && lays(job, l, of).next().is_some());
        return match nearest
            .min_by_key(|(k, _)| k.abs_diff(index))
            .and_then(|(k, l)| Some((k, l, lays(job, l, of).next()?)))
        {
            Some((k, l, item)) => {
                laid(job, l, item.hands, &|its| its == hand, format!("{of} in layer {}", k + 1))
            }
            None => Partner::Missing(
                said!(
                    "it is the other hand of {of}, which no layer of this cloth shows from that side"
                ),
                "lay both hands alike, or take `other_hand_of` out".into(),
            ),
        };
    }
    let Some(of) = &job.other_hand_of else {
        return Partner::None;
    };
    let Some(other) = jobs.iter().find(|j| j.name == *of) else {
        let what = said!(
            "the job is the other hand of {}, which is not planned with it: the lines of its twill are not matched",
            quoted(of)
        );
        return Partner::Missing(what, "plan both jobs together".into());
    };
    match other
        .layers
        .get(index)
        .filter(|l| like(other, l))
        .and_then(|l| Some((l, l.items.first()?)))
    {
        Some((l, item)) => {
            laid(other, l, item.hands, &|_| true, format!("layer {} of {}", index + 1, quoted(of)))
        }
        None => Partner::Missing(
            said!(
                "layer {} of {} is of another cloth or seen from another side, so there is no line to match",
                index + 1,
                quoted(of)
            ),
            "give both hands the same layers".into(),
        ),
    }
}

/// The warp, turned by a quarter if that makes it the one wanted: of a balanced twill the same
/// structure with another line. `None` if neither is.
pub(super) fn matched(warp: f64, wanted: f64) -> Option<f64> {
    [warp, warp + 90.0].into_iter().find(|w| degrees_of_warp(w - wanted).abs() < 1e-9)
}

/// A visible ply of twill, and its outline with the part's 0° along +x.
struct Shown<'a> {
    job: usize,
    layer: &'a Layer,
    number: usize,
    template: usize,
    cloth: &'a str,
    angle: f64,
    outline: Ring,
}

/// Warnings of plies that look like each other's mirror image, show the same line, and are not said
/// to be a pair; each with the index of the job it is about.
pub fn unsaid_pairs(jobs: &[(&Job, &Prepared)]) -> Vec<(usize, Fault)> {
    let shown: Vec<Shown<'_>> =
        jobs.iter().enumerate().flat_map(|(k, (job, prepared))| shown(k, job, prepared)).collect();
    let mut out: Vec<(usize, Fault)> = Vec::new();
    let mut told: Vec<[(usize, usize); 2]> = Vec::new();
    for (i, a) in shown.iter().enumerate() {
        for b in &shown[i + 1..] {
            let pair = [(a.job, a.template), (b.job, b.template)];
            let another = pair[0] != pair[1] && a.cloth == b.cloth && a.layer.seen == b.layer.seen;
            if !another
                || told.contains(&pair)
                || is_said(jobs, a, b)
                || degrees_of_warp(a.angle + b.angle - 90.0).abs() < 1e-9
            {
                continue;
            }
            if mirror_images(&a.outline, &b.outline) {
                told.push(pair);
                out.push((b.job, warning(jobs, a, b)));
            }
        }
    }
    out
}

fn shown<'a>(index: usize, job: &'a Job, prepared: &'a Prepared) -> Vec<Shown<'a>> {
    let mut out = Vec::new();
    for (k, layer) in job
        .layers
        .iter()
        .enumerate()
        .filter(|(_, l)| l.seen != Seen::Hidden && l.book_match && l.mosaic.is_none())
    {
        let Some(cloth) = job.cloths.get(layer.cloth).filter(|c| c.can_book_match()) else {
            continue;
        };
        for item in layer.items.iter().filter(|i| i.hands != Hands::Both) {
            let Some((template, frame)) =
                job.templates.get(item.template).zip(template_frame(job, item.template))
            else {
                continue;
            };
            let ply =
                prepared.pieces.iter().find(|p| p.layer == k + 1 && p.template == template.id);
            let Some(ply) = ply else { continue };
            let outline = Motion::new(-frame.arrow, ply.hand == Hand::Mirrored, Point::default())
                .ring(&frame.skin.net);
            out.push(Shown {
                job: index,
                layer,
                number: k + 1,
                template: item.template,
                cloth: &cloth.id,
                angle: ply.angle,
                outline,
            });
        }
    }
    out
}

/// Whether the jobs say that the two are a pair.
fn is_said(jobs: &[(&Job, &Prepared)], a: &Shown<'_>, b: &Shown<'_>) -> bool {
    let (one, other) = (jobs[a.job].0, jobs[b.job].0);
    if a.job != b.job {
        let says = |x: &Job, y: &Job| x.other_hand_of.as_deref() == Some(&y.name);
        return says(one, other) || says(other, one);
    }
    let says =
        |x: usize, y: usize| other_hand_of(one, x).is_some_and(|of| host(one, y) == Some(of));
    says(a.template, b.template) || says(b.template, a.template)
}

/// Whether one outline, mirrored about the part's 0°, is the other, wherever either was drawn and
/// whichever way its arrow points; and not also without the mirror, since then nobody can tell.
fn mirror_images(a: &Ring, b: &Ring) -> bool {
    let about = |turn: f64, mirror: bool| Motion::new(turn, mirror, Point::default()).ring(a);
    let same = |mirror: bool| [0.0, 180.0].into_iter().any(|turn| alike(&about(turn, mirror), b));
    same(true) && !same(false)
}

fn alike(a: &Ring, b: &Ring) -> bool {
    let (Some(p), Some(q)) = (ring_bounds(a), ring_bounds(b)) else {
        return false;
    };
    let (area, other) = (ring_area(a).abs(), ring_area(b).abs());
    let near = |x: f64, y: f64| (x - y).abs() <= ALIKE * x.max(y);
    if !near(p.width(), q.width()) || !near(p.height(), q.height()) || !near(area, other) {
        return false;
    }
    let moved = Motion::new(0.0, false, q.centre() - p.centre()).ring(a);
    let beyond = |x: &Ring, y: &Ring| difference([x], [y]).iter().map(Region::area).sum::<f64>();
    beyond(&moved, b) + beyond(b, &moved) <= ALIKE * area
}

fn warning(jobs: &[(&Job, &Prepared)], a: &Shown<'_>, b: &Shown<'_>) -> Fault {
    let (one, other) = (jobs[a.job].0, jobs[b.job].0);
    let id = |job: &Job, template: usize| {
        job.templates.get(template).map_or(String::new(), |t| t.id.clone())
    };
    let of = if a.job == b.job { String::new() } else { format!(" of job {}", quoted(&one.name)) };
    let what = said!(
        "{} looks like the mirror image of {}{of}, and both show the line of {} the same way (warp at {} and {})",
        id(other, b.template),
        id(one, a.template),
        b.cloth,
        show_angle(b.angle),
        show_angle(a.angle)
    );
    let remedy = if a.job == b.job {
        said!(
            "if they are a pair, write `other_hand_of = {:?}` in the template {}",
            id(one, a.template),
            id(other, b.template)
        )
    } else {
        said!(
            "if they are a pair, write `other_hand_of = {:?}` under [job] of {}",
            one.name,
            other.file.display()
        )
    };
    let remedy =
        said!("{remedy}; to keep both lines as they are, write `book_match = false` in the layer");
    Fault::new(what, remedy)
        .in_file(&other.file)
        .on(format!("layer {} {:?}", b.number, b.layer.name))
}
