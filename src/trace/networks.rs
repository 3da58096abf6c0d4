//! The way by the networks: what they see about each part becomes a template.

use super::answers::{Kind, Letter, Letters};
use super::belief::Sought;
use super::bump::without_bumps;
use super::colour::settle;
use super::doubt::{Doubt, Ground, areas_of, doubts_of};
use super::figures::Figures;
use super::find::{Hint, find};
use super::flat::Flat;
use super::from_above::FromAbove;
use super::gap::{Gap, NarrowGap, fill_slits};
use super::grey::{grey_of, sample};
use super::ink::{Drawn, Lines, faint_lines, lines, lines_seen};
use super::inside::{closed_ink, inside};
use super::look::Look;
use super::mask::{Mask, above, flood, main_piece, painted, pieces};
use super::options::{NetLine, Options};
use super::plane::Plane;
use super::ring::{drawn_out, rings, sharpened, simplified, uncrossed};
use super::template::{Template, no_more_than_one};
use crate::fault::{Fault, Faults};
use crate::geometry::{Path, Point, Ring, point, ring_area};
use crate::outline::{Draft, Outline};
use image::GrayImage;

/// A longer stretch of doubt is refused, mm; and so is more doubt than this share of the outline.
const LONGEST: f64 = 120.0;
const REFUSED: f64 = 0.25;
/// So many times more is let pass where the user points.
const POINTED: f64 = 2.2;

/// The templates by what the networks see.
pub(super) fn by_networks(
    seen: &FromAbove<'_>,
    options: &Options,
    figures: &mut Figures,
    warnings: &mut Vec<Fault>,
    step: &dyn Fn(f64) -> Result<(), Fault>,
) -> Result<Vec<Template>, Faults> {
    let (flat, plane) = (&*seen.flat, &seen.plane);
    seen.belief()?;
    step(0.5)?;
    let hint = hint(options, plane, flat)?;
    let found = find(seen, &hint, warnings)?;
    step(0.8)?;
    figures.lighter = found.first().is_some_and(|f| is_lighter(flat, f));
    let mut faults = Faults::new();
    let mut templates = Vec::new();
    let view = Sight { flat, cards: &plane.solid, blur: figures.blur };
    let mut letters = Letters::new(&options.answers);
    for look in &found {
        step(0.9)?;
        let at = flat.plane(point(
            f64::from(look.x + look.skin.width() / 2),
            f64::from(look.y + look.skin.height() / 2),
        ));
        let what = "it is no skin whose edge lies on a plain board: fine slits, tips of narrow \
                    darts and small holes may be missing";
        let remedy = "hold the outline in the check picture against the photo before you cut, all \
                      round, and mend what is wrong in a drawing program or on the page (`warpwise \
                      bench`)";
        warnings.push(Fault::new(what, remedy).at("outline", at.x, at.y));
        if let Some(t) =
            faults.keep(template(&view, look, options, &mut letters, warnings)).flatten()
        {
            templates.push(t);
        }
    }
    faults.keep(letters.unanswered());
    if templates.is_empty() && faults.0.is_empty() {
        faults.push(Fault::new(
            "every template in the photo was left out",
            "leave one of the answers --not out",
        ));
    }
    faults.into_result(templates)
}

/// What is seen of the plane.
struct Sight<'a> {
    flat: &'a Flat,
    cards: &'a [Vec<Point>],
    blur: f64,
}

/// The pixels that the user named, where they lie in the flat picture.
fn hint(options: &Options, plane: &Plane, flat: &Flat) -> Result<Hint, Faults> {
    let mut faults = Faults::new();
    let mut place = |p: Point| {
        let found = plane.views.first().and_then(|v| v.plane(p)).map(|p| flat.pixel(p));
        if found.is_none() {
            faults.push(Fault::new(
                said!("({:.0}, {:.0}) is no pixel of the plane", p.x, p.y),
                "give pixels on the skin",
            ));
        }
        found
    };
    let at = options.at.and_then(&mut place);
    let around =
        options.around.as_ref().map(|ring| ring.iter().filter_map(|p| place(*p)).collect());
    faults.into_result(Hint { at, around })
}

/// True if a skin is lighter than what lies about it.
fn is_lighter(flat: &Flat, look: &Look) -> bool {
    let (mut sums, mut counts) = ([0u64; 2], [1u64; 2]);
    for (x, y, v) in look.skin.enumerate_pixels() {
        let side = usize::from(v[0] > 127);
        let colour = flat.colour.get_pixel(x + look.x, y + look.y);
        sums[side] += u64::from(grey_of(colour.0));
        counts[side] += 1;
    }
    sums[1] * counts[0] > sums[0] * counts[1]
}

/// One template from its part; `None` if the user leaves it out.
fn template(
    view: &Sight,
    look: &Look,
    options: &Options,
    letters: &mut Letters,
    warnings: &mut Vec<Fault>,
) -> Result<Option<Template>, Faults> {
    let flat = view.flat;
    let masked = |image: GrayImage| Mask { image, x: look.x, y: look.y };
    let look = &mut look.clone();
    settle(look, &flat.colour, flat.mm);
    let mut shares = look.skin.clone();
    let skin = main_piece(&above(&shares, 127));
    let mut given =
        vec![letters.give(Kind::Template, flat.plane(middle_of(&masked(skin.clone()))))];
    if letters.is_not(&given[0].letter) {
        return Ok(None);
    }
    let answered = |k: usize| letters.gap(&letters.next(k));
    let (mut mask, gaps) = match options.net {
        NetLine::Edge => {
            shares = with_tips(look, flat.mm);
            let mut mask = masked(main_piece(&above(&shares, 127)));
            let gaps = fill_slits(&mut mask.image, flat.mm, options.gaps, &answered);
            (mask, gaps)
        }
        NetLine::Ink => {
            shares = inside(look, flat.mm, LETTERS);
            let mut mask = masked(main_piece(&above(&shares, 127)));
            fill_without_line(&mut mask.image, &mut shares, &look.ink, flat.mm);
            let count = |i: &GrayImage| i.iter().filter(|v| **v > 0).count();
            // A net line that is worth tracing holds a good part of the skin.
            if 6 * count(&mask.image) < count(&skin) {
                return Err(Fault::new(
                    "no closed inked line runs round inside the skin",
                    "ink the net line without gaps, or say that it is the skin's edge: --net edge",
                )
                .into());
            }
            // What runs in between two inked lines is a dart: a relief cut is one line.
            let said = options.gaps.or(Some(Gap::Dart));
            let gaps = fill_slits(&mut mask.image, flat.mm, said, &answered);
            (mask, gaps)
        }
    };
    let place = |p: Point| flat.plane(p + point(f64::from(mask.x), f64::from(mask.y)));
    for gap in &gaps {
        given.push(
            letters
                .give(if gap.kind == Gap::Slit { Kind::Slit } else { Kind::Dart }, place(gap.at)),
        );
    }
    gaps_said(&gaps, &given[1..], warnings);
    // A slit is a line as ink is, and so is a thin hole: a slit whose mouth is closed, or ink.
    let mut slits = GrayImage::new(mask.image.width(), mask.image.height());
    let slit = gaps.iter().filter(|g| g.kind == Gap::Slit && options.net == NetLine::Edge);
    slit.flat_map(|g| &g.pixels).for_each(|p| slits.put_pixel(p.0, p.1, image::Luma([255])));
    for pixels in holes_of(&mask, 0.0) {
        if options.net == NetLine::Edge && is_thin(&pixels, flat.mm) {
            for &(x, y) in &pixels {
                mask.image.put_pixel(x, y, image::Luma([255]));
                look.skin.put_pixel(x, y, image::Luma([255]));
                slits.put_pixel(x, y, image::Luma([255]));
            }
        }
    }
    for pixels in holes_of(&mask, LEAST_HOLE / (flat.mm * flat.mm)) {
        let at = place(
            pixels.iter().fold(point(0.0, 0.0), |a, p| a + point(f64::from(p.0), f64::from(p.1)))
                * (1.0 / pixels.len() as f64),
        );
        let area = pixels.len() as f64 * flat.mm * flat.mm;
        // Neither ink nor a shadow is as large as the largest letters.
        let sure = (is_hole(&shares, &pixels, options.net, flat.mm) || area > LETTERS)
            && !in_arrow(look, &pixels, flat.mm)
            && (options.net == NetLine::Edge || area > LETTER);
        let yes = letters.hole(&letters.next(0)).unwrap_or(sure);
        let letter = letters.give(if yes { Kind::Hole } else { Kind::NoHole }, at);
        if !sure && !in_arrow(look, &pixels, flat.mm) && letters.hole(&letter.letter).is_none() {
            let what = said!(
                "{}: something like a hole may be ink or a shadow: taken for none",
                letter.letter
            );
            let remedy = said!("if it is one, say --hole {}=yes", letter.letter);
            warnings.push(Fault::new(what, remedy).at("hole", at.x, at.y));
        }
        given.push(letter);
        if !yes {
            let arrow = in_arrow(look, &pixels, flat.mm);
            for &(x, y) in &pixels {
                mask.image.put_pixel(x, y, image::Luma([255]));
                look.skin.put_pixel(x, y, image::Luma([255]));
                look.ink.put_pixel(x, y, image::Luma([255]));
                if arrow {
                    look.arrow.put_pixel(x, y, image::Luma([255]));
                }
            }
        }
    }
    let (outer, holes) = rings(flat, &shares, &mask);
    let Some(outer) = outer.filter(|r| r.len() > 8) else {
        return Err(Fault::new(
            "a patch has no clear edge",
            "take the photo again, sharper and with more light",
        )
        .into());
    };
    // A pen closes a narrow corner sooner than blur does.
    let closed = if options.net == NetLine::Edge { 1.6 } else { 2.4 };
    let share = |p: Point| {
        let q = flat.pixel(p) - point(f64::from(mask.x), f64::from(mask.y));
        sample(&shares, q.x, q.y)
    };
    let share: Option<&dyn Fn(Point) -> f64> =
        if options.net == NetLine::Edge { Some(&share) } else { None };
    let fewer = |ring: &Ring| {
        let mut ring = uncrossed(&simplified(
            &uncrossed(&sharpened(&uncrossed(ring), closed, share)),
            options.tolerance,
        ));
        if ring_area(&ring) < 0.0 {
            ring.reverse();
        }
        ring
    };
    let (outer, bumps) = match options.net {
        NetLine::Edge => without_bumps(&outer),
        NetLine::Ink => (outer, Vec::new()),
    };
    let outer = match options.net {
        NetLine::Edge => outer,
        NetLine::Ink => drawn_out(&outer, flat, &masked(closed_ink(&look.ink, flat.mm))),
    };
    let net = fewer(&outer);
    let holes: Vec<Ring> = holes.iter().map(fewer).filter(|h| ring_area(h) > LEAST_HOLE).collect();
    let mut ink = match options.net {
        NetLine::Edge => lines_seen(look, &slits),
        NetLine::Ink => above(&look.ink, 110),
    };
    ink.iter_mut().zip(mask.image.iter()).for_each(|(i, m)| *i = (*i).min(*m));
    // The net line's own ink, or the rim of a torn edge.
    without(&mut ink, flat, &mask, &net, if options.net == NetLine::Ink { 2.0 } else { 0.9 });
    let drawn = Drawn { ink: &ink, slits: &slits };
    let found = lines(flat, look, &mask, drawn, &net, &holes, options.net);
    let Lines { arrows, mut cuts, mut marks, unclear } = found;
    let mut lettered = |lines: &mut Vec<Path>, kind: Kind| {
        lines.retain(|line| {
            let letter = letters.give(kind, line[line.len() / 2]);
            let stays = !letters.is_not(&letter.letter);
            given.push(letter);
            stays
        });
    };
    lettered(&mut cuts, Kind::Cut);
    lettered(&mut marks, Kind::Mark);
    no_more_than_one(&arrows.iter().map(|a| a.ends).collect::<Vec<_>>())?;
    let arrow = arrows.first();
    if let Some(arrow) = arrow.filter(|a| a.unsure > 0.0) {
        let what = said!(
            "the arrow is bent or of several strokes: its direction may be {:.1}° off",
            arrow.unsure.to_degrees()
        );
        let at = (arrow.ends[0] + arrow.ends[1]) * 0.5;
        let remedy = "draw it along a ruler in one stroke, or give `arrow` in the job";
        warnings.push(Fault::new(what, remedy).at("arrow", at.x, at.y));
    }
    // The same checks as a drawing read from a file.
    let outline =
        Outline::new(Draft { net: net.clone(), holes: holes.clone(), ..Draft::default() })?;
    let sought = if options.net == NetLine::Edge { Sought::Skin } else { Sought::Inside };
    let held = Ground { flat, look, sought, shares: &shares, cards: view.cards };
    let mut doubts: Vec<Doubt> = std::iter::once(outline.net())
        .chain(outline.holes())
        .flat_map(|r| doubts_of(r, &held))
        .collect();
    // What no inked line parts from the inside is inside.
    if options.net == NetLine::Edge {
        doubts.extend(areas_of(outline.net(), outline.holes(), &held));
    }
    let pointed = options.at.is_some() || options.around.is_some();
    trusted(&doubts, outline.net(), view.blur, pointed, warnings)?;
    let bumps: Vec<Doubt> = bumps.into_iter().filter_map(Doubt::bump).collect();
    warnings.extend(bumps.iter().map(Doubt::fault));
    doubts.extend(bumps);
    let lines: Vec<&Path> = cuts.iter().chain(&marks).collect();
    let mut faint = faint_lines(flat, look, outline.net(), &lines, arrow.map(|a| &a.ends));
    faint.extend(unclear.into_iter().map(Doubt::unclear));
    warnings.extend(
        faint.iter().map(|d| Fault::new(d.what(), d.remedy()).at("line", d.at().x, d.at().y)),
    );
    doubts.extend(faint);
    if let NetLine::Edge = options.net
        && let Some(line) = marks.iter().find(|m| closes(m, &net))
    {
        warnings.push(
            Fault::new(
                "a closed line is inked near the edge of the skin",
                "if it is the net line, say so: --net ink",
            )
            .at("line", line[0].x, line[0].y),
        );
    }
    Ok(Some(Template {
        net: outline.net().clone(),
        holes: outline.holes().to_vec(),
        arrow: arrow.map(|a| a.ends),
        cuts,
        marks,
        doubts,
        letters: given,
        ..Template::default()
    }))
}

/// The shares of skin, with narrow gaps cut on where the network sees them go on: a dart closes
/// before its tip to the eye of a pixel. What looks like a gap by itself is a line.
fn with_tips(look: &Look, mm: f64) -> GrayImage {
    let norm = imageproc::distance_transform::Norm::L2;
    let reach = (1.8 / mm).round().max(1.0) as u8;
    let own = above(&look.skin, 127);
    let mut closed = imageproc::morphology::dilate(&own, norm, reach);
    imageproc::morphology::erode_mut(&mut closed, norm, reach);
    // A strip of a pixel along the edge is none.
    imageproc::morphology::erode_mut(&mut closed, imageproc::distance_transform::Norm::LInf, 1);
    let narrow = |x: u32, y: u32| closed.get_pixel(x, y)[0] > 0 && own.get_pixel(x, y)[0] == 0;
    let mut shares = look.skin.clone();
    for pixels in pieces(&above(&look.gap, 127), true) {
        let (w, h) = own.dimensions();
        let touches = |p: &&(u32, u32)| {
            (p.1.saturating_sub(1)..(p.1 + 2).min(h))
                .flat_map(|y| (p.0.saturating_sub(1)..(p.0 + 2).min(w)).map(move |x| (x, y)))
                .any(|(x, y)| narrow(x, y))
        };
        if pixels.iter().filter(touches).count() > 4 {
            for (x, y) in pixels {
                let gap = 255 - look.gap.get_pixel(x, y)[0];
                let share = shares.get_pixel_mut(x, y);
                share[0] = share[0].min(gap);
            }
        }
    }
    shares
}

/// Fills the holes about which no inked line runs: there is one side only.
fn fill_without_line(mask: &mut GrayImage, shares: &mut GrayImage, ink: &GrayImage, mm: f64) {
    /// A line about a hole may have breaks: so much of it is there.
    const LINE: f64 = 0.6;
    /// The mean answer from which a small hole is no answer, and any hole, of 255.
    const SURE: (f64, f64) = (90.0, 150.0);
    let reach = (1.6 / mm).round().max(1.0) as u8;
    let norm = imageproc::distance_transform::Norm::LInf;
    let near_ink = imageproc::morphology::dilate(&above(ink, 90), norm, reach);
    let (w, h) = mask.dimensions();
    let black = |x: u32, y: u32| mask.get_pixel(x, y)[0] == 0;
    let mut done = GrayImage::new(w, h);
    flood(&mut done, 0, 0, false, black);
    let mut filled = Vec::new();
    for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
        let pixels = flood(&mut done, x, y, false, black);
        let rim = |p: &&(u32, u32)| {
            [(1, 0), (-1, 0), (0, 1), (0, -1)].iter().any(|&(i, k)| {
                let (Some(x), Some(y)) = (p.0.checked_add_signed(i), p.1.checked_add_signed(k))
                else {
                    return false;
                };
                x < w && y < h && !black(x, y)
            })
        };
        let rim: Vec<_> = pixels.iter().filter(rim).collect();
        let inked = rim.iter().filter(|p| near_ink.get_pixel(p.0, p.1)[0] > 0).count();
        // What is large, or surely outside, is asked about, letter by letter.
        let share = pixels.iter().map(|p| f64::from(shares.get_pixel(p.0, p.1)[0])).sum::<f64>();
        let count = pixels.len() as f64;
        let small = count * mm * mm < LETTER && share > SURE.0 * count || share > SURE.1 * count;
        if small && (inked as f64) < LINE * rim.len() as f64 {
            filled.extend(pixels);
        }
    }
    for (x, y) in filled {
        mask.put_pixel(x, y, image::Luma([255]));
        shares.put_pixel(x, y, image::Luma([255]));
    }
}

/// Holes of less than this are ink, mm²; and of a closed inked line, letters.
const LEAST_HOLE: f64 = 30.0;
const LETTER: f64 = 150.0;
/// A closed inked line around more than this is no letter, mm².
const LETTERS: f64 = 1500.0;
/// The black pieces within a mask's white, of at least so many pixels.
fn holes_of(mask: &Mask, least: f64) -> Vec<Vec<(u32, u32)>> {
    let (w, h) = mask.image.dimensions();
    let mut done = GrayImage::new(w, h);
    let black = |x: u32, y: u32| mask.image.get_pixel(x, y)[0] == 0;
    flood(&mut done, 0, 0, false, black);
    let mut out = Vec::new();
    for (x, y) in (0..h).flat_map(|y| (0..w).map(move |x| (x, y))) {
        let pixels = flood(&mut done, x, y, false, black);
        if pixels.len() as f64 > least {
            out.push(pixels);
        }
    }
    out
}

/// True of a piece that no disc of a pen's width fits into: a line.
fn is_thin(pixels: &[(u32, u32)], mm: f64) -> bool {
    /// A broad pen, and a slit that gapes, mm.
    const PEN: f64 = 3.2;
    !holds_disc(pixels, PEN, mm)
}

/// True of a piece that a disc of so many mm fits into.
fn holds_disc(pixels: &[(u32, u32)], wide: f64, mm: f64) -> bool {
    let least = |of: fn(&(u32, u32)) -> u32| pixels.iter().map(of).min().unwrap_or(0);
    let most = |of: fn(&(u32, u32)) -> u32| pixels.iter().map(of).max().unwrap_or(0);
    let (left, top) = (least(|p| p.0), least(|p| p.1));
    let size = (most(|p| p.0) - left + 3, most(|p| p.1) - top + 3);
    let within: Vec<_> = pixels.iter().map(|p| (p.0 - left + 1, p.1 - top + 1)).collect();
    let mut deep = painted(size, &within);
    let reach = (wide / 2.0 / mm).round().max(1.0) as u8;
    imageproc::morphology::erode_mut(&mut deep, imageproc::distance_transform::Norm::L2, reach);
    deep.iter().any(|v| *v > 0)
}

/// True if the network is sure that most of a hole is none of the skin, and the hole is no line.
fn is_hole(shares: &GrayImage, pixels: &[(u32, u32)], net: NetLine, mm: f64) -> bool {
    /// A hole is at least so wide, mm.
    const WIDE: f64 = 4.0;
    // About an inked one runs its line.
    let most = if net == NetLine::Ink { 110 } else { 64 };
    let sure = pixels.iter().filter(|p| shares.get_pixel(p.0, p.1)[0] < most).count();
    3 * sure > 2 * pixels.len() && holds_disc(pixels, WIDE, mm)
}

/// True of a hole that touches the arrow's ink: its head, filled in.
fn in_arrow(look: &Look, pixels: &[(u32, u32)], mm: f64) -> bool {
    /// An arrow's head is no larger, mm².
    const HEAD: f64 = 600.0;
    if pixels.len() as f64 * mm * mm > HEAD {
        return false;
    }
    let (w, h) = look.arrow.dimensions();
    let touches = |p: &&(u32, u32)| {
        (p.1.saturating_sub(2)..(p.1 + 3).min(h))
            .flat_map(|y| (p.0.saturating_sub(2)..(p.0 + 3).min(w)).map(move |x| (x, y)))
            .any(|(x, y)| look.arrow.get_pixel(x, y)[0] > 127)
    };
    pixels.iter().filter(touches).count() > 3
}

/// The pixel about which a mask lies.
fn middle_of(mask: &Mask) -> Point {
    let (mut sum, mut count) = (point(0.0, 0.0), 0.0);
    for (x, y, _) in mask.image.enumerate_pixels().filter(|p| p.2[0] > 0) {
        sum = sum + point(f64::from(x), f64::from(y));
        count += 1.0;
    }
    sum * (1.0 / f64::max(count, 1.0)) + point(f64::from(mask.x), f64::from(mask.y))
}

/// Doubtful stretches: a warning each, or a refusal where they are long.
fn trusted(
    doubts: &[Doubt],
    net: &Ring,
    blur: f64,
    pointed: bool,
    warnings: &mut Vec<Fault>,
) -> Result<(), Faults> {
    let all: f64 = (0..net.len()).map(|i| net[i].distance(net[(i + 1) % net.len()])).sum();
    let doubtful: f64 = doubts.iter().map(|d| d.length).sum();
    let longest = doubts.iter().map(|d| d.length).fold(0.0, f64::max);
    // Who points at a skin looks at what comes out.
    let more = if pointed { POINTED } else { 1.0 };
    if doubtful > more * REFUSED * all || longest > more * LONGEST {
        let mut faults = Faults::new();
        let mut worst: Vec<&Doubt> = doubts.iter().collect();
        worst.sort_by(|a, b| b.length.total_cmp(&a.length));
        for d in worst.into_iter().take(3) {
            faults.push(Fault::new(d.what(), d.remedy()).at("outline", d.at().x, d.at().y));
        }
        if blur > 1.5 {
            faults.push(Fault::new(
                said!("the photo is blurred: a sharp edge is {blur:.1} mm wide"),
                "hold still, focus on the template, use more light",
            ));
        }
        return faults.into_result(());
    }
    warnings.extend(doubts.iter().map(Doubt::fault));
    Ok(())
}

/// Takes the ink within so many mm of a ring away.
fn without(ink: &mut GrayImage, flat: &Flat, mask: &Mask, ring: &Ring, reach: f64) {
    let r = reach / flat.mm;
    for (i, &a) in ring.iter().enumerate() {
        let b = ring[(i + 1) % ring.len()];
        let steps = (a.distance(b) / (0.5 * reach)).ceil().max(1.0) as usize;
        for k in 0..=steps {
            let p = flat.pixel(a + (b - a) * (k as f64 / steps as f64))
                - point(f64::from(mask.x), f64::from(mask.y));
            for y in (p.y - r).floor().max(0.0) as u32
                ..=((p.y + r).ceil().max(0.0) as u32).min(ink.height() - 1)
            {
                for x in (p.x - r).floor().max(0.0) as u32
                    ..=((p.x + r).ceil().max(0.0) as u32).min(ink.width() - 1)
                {
                    if point(f64::from(x), f64::from(y)).distance(p) <= r {
                        ink.put_pixel(x, y, image::Luma([0]));
                    }
                }
            }
        }
    }
}

/// A warning for each gap that may be something else.
fn gaps_said(gaps: &[NarrowGap], letters: &[Letter], warnings: &mut Vec<Fault>) {
    for (gap, letter) in gaps.iter().zip(letters).filter(|(g, _)| g.open) {
        let l = &letter.letter;
        let remedy = said!(
            "look at the check picture; say what it is with --gap {l}=slit or --gap {l}=dart (all \
             of them: --gaps slit or --gaps dart), or cut darts wider and ink relief cuts thinner"
        );
        let what = said!(
            "{l}: a narrow gap of {:.0} mm in the edge may be a slit or the tip of a dart: taken \
             for a {}",
            gap.length,
            letter.kind.word()
        );
        warnings.push(Fault::new(what, remedy).at("gap", letter.at.x, letter.at.y));
    }
}

/// True of a line that is long enough to be a net line of its own.
fn closes(line: &[Point], net: &Ring) -> bool {
    let all: f64 = (0..net.len()).map(|i| net[i].distance(net[(i + 1) % net.len()])).sum();
    crate::geometry::path_length(line) > 0.35 * all
}
