//! The way from a job to its pieces, ply by ply.

use super::allowance::grow;
use super::arrow::arrow_in;
use super::fit::{Room, fits, fits_width, sizes_in_words};
use super::hand::{hands, in_range, into_cloth, into_template, laid_angle};
use super::kept::Kept;
use super::pair::{Partner, is_opposite, matched, partner};
use super::relief::relief_warnings;
use super::skin::{TemplateFrame, template_frame};
use super::splice::{NoSplit, SpliceTask, splice_of, split};
use super::stack::{PatchPly, Seam, Stack};
use super::{Hand, Part, Piece, Prepared, Skin};
use crate::cloth::{Cloth, Face, Permitted, TurnRule, Weave, turn_rule};
use crate::fault::{Fault, Faults, Said};
use crate::geometry::boolean::intersection;
use crate::geometry::clip::path_in;
use crate::geometry::{Motion, Path, Region, Ring, point};
use crate::job::{Job, Layer, LayerItem, Seen, SpliceRule, TemplateSource};
use crate::run::{Phase, Run};
use crate::units::{counted, snap};
use std::collections::{BTreeMap, BTreeSet};

/// Makes the pieces of every ply of a job, in laying order.
///
/// For each layer, template and hand: the template into its template frame, mirrored about the
/// arrow for the other hand, turned into the cloth frame; edges grown by their kind; split where no
/// permitted turn fits the usable width. Frames, angles and turns are as [`Piece`] documents them;
/// each piece is moved so that its bounding box starts at the origin.
///
/// # Errors
/// Every ply that cannot be made: too large and no way to split it, a local patch stepped back to
/// nothing, no turn permitted.
pub fn prepare(job: &Job) -> Result<Prepared, Faults> {
    prepare_in(job, std::slice::from_ref(job), &Run::default())
}

/// The same for one of the `jobs` that are planned together, as it may be the other hand of
/// another; a run that is stopped ends it.
///
/// # Errors
/// As [`prepare`]; that it was stopped.
pub fn prepare_in(job: &Job, jobs: &[Job], run: &Run<'_>) -> Result<Prepared, Faults> {
    prepare_keeping(job, jobs, &Kept::default(), run)
}

/// The same with what was worked out before, which is added to.
///
/// # Errors
/// As [`prepare_in`].
pub fn prepare_keeping(
    job: &Job,
    jobs: &[Job],
    kept: &Kept,
    run: &Run<'_>,
) -> Result<Prepared, Faults> {
    let mut work = Preparing {
        run,
        kept,
        job,
        jobs,
        frames: (0..job.templates.len()).filter_map(|i| template_frame(job, i)).collect(),
        layers_of: BTreeMap::new(),
        ids: BTreeSet::new(),
        stack: Stack::of(job),
        prepared: Prepared::default(),
        faults: Faults::new(),
    };
    for (index, layer) in job.layers.iter().enumerate() {
        run.tell(Phase::Preparing, Some(index as f64 / job.layers.len() as f64));
        run.check(Phase::Preparing)?;
        work.layer(index, layer);
    }
    work.prepared.warnings.extend(relief_warnings(job));
    work.prepared.warnings.extend(work.stack.patches_over_splices());
    run.check(Phase::Preparing)?;
    work.faults.into_result(work.prepared)
}

struct Preparing<'a> {
    run: &'a Run<'a>,
    kept: &'a Kept,
    job: &'a Job,
    jobs: &'a [Job],
    frames: Vec<TemplateFrame>,
    /// How many layers before this one used a template: how often a local patch steps back.
    layers_of: BTreeMap<usize, usize>,
    ids: BTreeSet<String>,
    stack: Stack<'a>,
    prepared: Prepared,
    faults: Faults,
}

/// A ply of more points than this is grown on all threads.
const MANY_POINTS: usize = 1_000;

/// What to warn of and what to do, if anything.
type Warning = Option<(Said, Said)>;

/// What every ply of a layer has in common.
struct LayerFacts<'a> {
    number: usize,
    layer: &'a Layer,
    cloth: &'a Cloth,
    rule: TurnRule,
}

/// One ply on its way, in its cloth frame.
struct Ply<'a> {
    facts: &'a LayerFacts<'a>,
    id: String,
    template: usize,
    hand: Hand,
    angle: f64,
    copies: u32,
    skin: Skin,
    closed: Vec<Ring>,
    may_cross_bench: bool,
}

impl Preparing<'_> {
    fn layer(&mut self, index: usize, layer: &Layer) {
        let number = index + 1;
        let name = format!("layer {number} {:?}", layer.name);
        let Some(cloth) = self.job.cloths.get(layer.cloth) else {
            self.fault(
                &name,
                "names a cloth that is not there".into(),
                "name one of the job's cloths".into(),
            );
            return;
        };
        let rule = turn_rule(cloth, layer.seen != Seen::Hidden, layer.turns.as_deref());
        if let Some(beyond) = &rule.beyond {
            self.warn(
                &name,
                said!("its own turns go beyond the weave: {beyond}"),
                "take them out unless you mean them".into(),
            );
        }
        if rule.permitted.is_empty() {
            self.fault(
                &name,
                "its list of turns is empty".into(),
                "allow at least one turn, or leave the list out".into(),
            );
            return;
        }
        let facts = LayerFacts { number, layer, cloth, rule };
        let first = self.prepared.pieces.len();
        // The patches of a mosaic are made where it is known what they can be cut from.
        for item in layer.items.iter().filter(|_| layer.mosaic.is_none()) {
            self.item(&facts, &name, item);
        }
        for (k, piece) in self.prepared.pieces[first..].iter_mut().enumerate() {
            piece.number = format!("{number}.{}", k + 1);
        }
        let used: BTreeSet<usize> = layer.items.iter().map(|i| i.template).collect();
        for template in used {
            *self.layers_of.entry(template).or_default() += 1;
        }
    }

    fn item(&mut self, facts: &LayerFacts, layer_name: &str, item: &LayerItem) {
        let job = self.job;
        let (Some(template), Some(frame)) =
            (job.templates.get(item.template), self.frames.get(item.template))
        else {
            self.fault(
                layer_name,
                "names a template that is not there".into(),
                "name one of the job's templates".into(),
            );
            return;
        };
        let arrow = frame.arrow;
        let steps = self.layers_of.get(&item.template).copied().unwrap_or(0);
        let skin = match &template.source {
            TemplateSource::Patch { step_back, .. } => {
                frame.skin.stepped_back(step_back * steps as f64)
            }
            _ => Ok(frame.skin.clone()),
        };
        let skin = match skin {
            Ok(skin) => skin,
            Err(why) => {
                let what = said!("{} stepped back {} {why}", template.id, counted(steps, "time"));
                self.fault(
                    layer_name,
                    what,
                    "use it in fewer layers, make it larger, or reduce its step-back".into(),
                );
                return;
            }
        };
        let patch = skin.net.clone();
        // Said to be the other hand of what the layer lays too: its hands change places, as to how
        // they are laid.
        let is_opposite = is_opposite(job, facts.layer, item.template);
        let both = both_hands(facts.layer, item.template) || is_opposite;
        for &hand in hands(item.hands) {
            if self.run.is_stopped(Phase::Preparing) {
                return;
            }
            let laid_as = if is_opposite { hand.other() } else { hand };
            let (angle, warning) =
                laid_angle(facts.cloth, facts.layer, facts.layer.angle, laid_as, both);
            let (angle, warning) = if both {
                (angle, warning)
            } else {
                self.in_pair(facts, item.template, hand, angle, warning)
            };
            if let Some((what, remedy)) = warning {
                self.warn(layer_name, said!("{}: {what}", template.id), remedy);
            }
            let angle = in_range(angle, half_turn_is_same(&facts.rule.permitted));
            let skin = skin.moved(&into_cloth(arrow, hand, angle));
            let id = self.new_id(format!(
                "{}-{}{}",
                facts.number,
                template.id,
                if hand == Hand::Mirrored { "-mirrored" } else { "" }
            ));
            let run = self.run;
            let (trim, lap) = (facts.layer.trim, facts.layer.lap);
            let stop = || run.is_stopped(Phase::Preparing);
            let grown = self.kept.grown(&skin, [trim, lap], || {
                // What was broken off is not to be kept.
                let work = || grow(&skin, trim, lap, &stop);
                let grown = if skin.net.len() > MANY_POINTS { run.pooled(work) } else { work() };
                grown.filter(|_| !stop())
            });
            if run.is_stopped(Phase::Preparing) {
                return;
            }
            let Some(grown) = grown else {
                self.fault(&id, "its outline encloses no area".into(), "check the drawing".into());
                continue;
            };
            if grown.filled_gaps > 0 {
                let what = said!(
                    "its allowance closes {} narrow slots and the small gaps left in them are not cut",
                    grown.filled_gaps
                );
                self.warn(&id, what, "reduce the allowance if the slot must stay open".into());
            }
            let ply = Ply {
                facts,
                id,
                template: item.template,
                hand,
                angle,
                copies: item.copies,
                skin,
                closed: grown.closed,
                may_cross_bench: template.may_cross_bench,
            };
            if let TemplateSource::Patch { .. } = template.source {
                let patch = PatchPly {
                    ply: ply.id.clone(),
                    template: item.template,
                    hand,
                    layer: facts.number,
                    net: patch.clone(),
                };
                self.stack.patches.push(patch);
            }
            self.ply(&ply, grown.region, arrow);
        }
    }

    /// The angle of a ply whose other hand is in another layer or job: a quarter turn on where else
    /// the lines of a visible twill would not match. The second value is what to warn of.
    fn in_pair(
        &self,
        facts: &LayerFacts,
        template: usize,
        hand: Hand,
        angle: f64,
        warning: Warning,
    ) -> (f64, Warning) {
        let LayerFacts { number, layer, cloth, .. } = facts;
        if layer.seen == Seen::Hidden || !layer.book_match || !cloth.weave.is_twill() {
            return (angle, warning);
        }
        let (warp, wanted, of) = match partner(self.jobs, self.job, number - 1, template, hand) {
            Partner::None => return (angle, warning),
            Partner::Missing(what, remedy) => return (angle, Some((what, remedy))),
            Partner::Laid { warp, wanted, words } => (warp, wanted, words),
        };
        if !cloth.can_book_match() {
            let what = said!(
                "the line of {} cannot be mirrored, so it will not match that of {of}",
                cloth.weave.in_words()
            );
            return (angle, Some((what, "use a balanced 2/2 or 4/4 twill where the hands are seen side by side, or accept it".into())));
        }
        match matched(angle, wanted) {
            Some(angle) => (angle, warning),
            None => {
                let what = said!(
                    "laid at {angle}, it is not the mirror image of {of}, which is laid at {warp}: the lines cannot match"
                );
                (
                    angle,
                    Some((what, "lay one of them at the mirror image of the other's angle".into())),
                )
            }
        }
    }

    /// One ply: whole if it fits, else split.
    fn ply(&mut self, ply: &Ply, region: Region, arrow: f64) {
        let LayerFacts { layer, cloth, rule, .. } = ply.facts;
        let room = self.room(ply);
        let (permitted, tolerance) = (&rule.permitted, layer.angle_tolerance);
        if fits(&region, permitted, tolerance, room) {
            self.whole(ply, region);
            return;
        }
        let sizes = sizes_in_words(&region, permitted);
        if fits_width(&region, permitted, tolerance, room) {
            let what = said!(
                "is {sizes} with its allowance: too long for the {:.1} mm there are",
                room.length
            );
            let remedy = "let its template cross the bench (the cloth is slid along), take a longer bench or roll, or divide the template";
            self.fault(&ply.id, what, remedy.into());
            return;
        }
        let wide = said!(
            "is {sizes} with its allowance, and {} has {:.1} mm of usable width",
            cloth.id,
            room.width
        );
        let Some(splice) = &self.job.splice else {
            self.fault(
                &ply.id,
                wide,
                "give the job a splice rule, take a wider cloth, or divide the template".into(),
            );
            return;
        };
        let steps = self.layers_of.get(&ply.template).copied().unwrap_or(0);
        if steps > 0
            && matches!(self.job.templates[ply.template].source, TemplateSource::Patch { step_back, .. } if step_back > 0.0)
        {
            let what = said!("{wide}; a patch that has stepped back is not cut in parts");
            self.fault(&ply.id, what, "take a wider cloth, turn the patch, or draw each layer of it as a patch of its own".into());
            return;
        }
        let (kind, lap) = splice_of(cloth.weave, splice.lap);
        if kind != splice_of(cloth.weave, f64::INFINITY).0 {
            let what =
                "is spliced without a lap, as the splice rule says: no fibre runs across the joint";
            self.warn(
                &ply.id,
                what.into(),
                "give the splice rule a lap (25 mm is common) unless a butt splice is meant".into(),
            );
        }
        let motion = into_cloth(arrow, ply.hand, ply.angle);
        let others =
            self.stack.splices_near(ply.facts.number, ply.template, ply.hand, splice.plies_apart);
        let others: Vec<_> = others.map(|band| band.moved(&motion)).collect();
        let task = SpliceTask {
            region: &region,
            zones: &ply.skin.no_splice,
            others: &others,
            width: room.width,
            lap,
            stagger: splice.stagger,
            turns: splice_turns(cloth.weave, permitted),
        };
        let found = match split(&task) {
            Ok(found) => found,
            Err(why) => {
                let (why, remedy) = no_split_in_words(&why, splice, lap);
                self.fault(&ply.id, said!("{wide}, and {why}"), remedy);
                return;
            }
        };
        if let Some(part) =
            found.parts.iter().find(|p| !fits(&p.region, permitted, tolerance, room))
        {
            let sizes = sizes_in_words(&part.region, permitted);
            let what = said!(
                "{wide}; split along the warp a part is {sizes}, too long for the {:.1} mm there are",
                room.length
            );
            self.fault(&ply.id, what, "let its template cross the bench, take a longer bench or roll, or divide the template".into());
            return;
        }
        let crossed = found
            .bands
            .iter()
            .flat_map(|b| others.iter().filter(|o| b.distance(o) < splice.stagger))
            .count();
        if crossed > 0 {
            let what = said!(
                "its splice crosses {} of plies near it at an angle",
                counted(crossed, "splice")
            );
            self.warn(
                &ply.id,
                what,
                "look at the crossing: three thicknesses of lap meet there".into(),
            );
        }
        self.parts(ply, &found.parts.iter().map(|p| (&p.region, &p.marks)).collect::<Vec<_>>());
        let to_template = into_template(arrow, ply.hand, ply.angle);
        for band in &found.bands {
            let band = band.moved(&to_template);
            let line: Path = band.line().into_iter().map(|p| p.snapped()).collect();
            self.prepared.splices.push((ply.facts.number, ply.id.clone(), line));
            let seam = Seam {
                ply: ply.id.clone(),
                layer: ply.facts.number,
                template: ply.template,
                hand: ply.hand,
                band,
            };
            self.stack.seams.push(seam);
        }
    }

    fn room(&self, ply: &Ply) -> Room {
        let cloth = ply.facts.cloth;
        let bench =
            self.job.cutting.bench_length.filter(|_| !ply.may_cross_bench).unwrap_or(f64::INFINITY);
        Room {
            width: cloth.usable_width(),
            length: bench.min(cloth.roll_length.unwrap_or(f64::INFINITY)),
        }
    }

    fn whole(&mut self, ply: &Ply, region: Region) {
        let marks =
            ply.skin.marks.iter().cloned().chain(ply.closed.iter().map(closed_line)).collect();
        let net = ply.skin.rings().cloned().collect();
        self.piece(ply, None, region, net, ply.skin.cuts.clone(), marks);
    }

    fn parts(&mut self, ply: &Ply, parts: &[(&Region, &Vec<Path>)]) {
        let within = |lines: &[Path], region: &Region| {
            lines.iter().flat_map(|l| path_in(l, region)).collect::<Vec<Path>>()
        };
        let closed: Vec<Path> = ply.closed.iter().map(closed_line).collect();
        for (k, (region, splice_marks)) in parts.iter().enumerate() {
            let net = intersection(ply.skin.rings(), region.rings()).into_iter();
            // Less than this is rounding.
            let net = net
                .filter(|r| r.area() > 1.0)
                .flat_map(|r| std::iter::once(r.outline).chain(r.holes));
            let marks =
                [within(&ply.skin.marks, region), within(&closed, region), splice_marks.to_vec()]
                    .concat();
            let part = Part { number: k + 1, of: parts.len() };
            self.piece(
                ply,
                Some(part),
                (*region).clone(),
                net.collect(),
                within(&ply.skin.cuts, region),
                marks,
            );
        }
    }

    /// The piece, its lines moved so that its box starts at the origin.
    fn piece(
        &mut self,
        ply: &Ply,
        part: Option<Part>,
        region: Region,
        net: Vec<Ring>,
        cuts: Vec<Path>,
        marks: Vec<Path>,
    ) {
        let Some(bounds) = region.bounds() else {
            return;
        };
        let origin = point(snap(-bounds.min.x), snap(-bounds.min.y));
        let shift = Motion::new(0.0, false, origin);
        let outline = shift.region(&region);
        let Some(arrow) = self.kept.arrow(&outline, -ply.angle, || arrow_in(&outline, -ply.angle))
        else {
            self.fault(
                &ply.id,
                "is too thin anywhere to draw its arrow in".into(),
                "check the drawing's unit and scale".into(),
            );
            return;
        };
        let id = match part {
            Some(part) => self.new_id(format!("{}-{}", ply.id, letters(part.number))),
            None => ply.id.clone(),
        };
        let LayerFacts { number, layer, rule, .. } = ply.facts;
        self.prepared.pieces.push(Piece {
            id,
            number: String::new(),
            layer: *number,
            ply: ply.id.clone(),
            template: self.job.templates[ply.template].id.clone(),
            hand: ply.hand,
            angle: ply.angle,
            cloth: layer.cloth,
            part,
            patch: None,
            copies: ply.copies,
            permitted: rule.permitted.clone(),
            tolerance: layer.angle_tolerance,
            permitted_by: rule.words.clone(),
            origin,
            outline,
            net: net.iter().map(|r| shift.ring(r)).collect(),
            cuts: cuts.iter().map(|p| shift.path(p)).collect(),
            marks: marks.iter().map(|p| shift.path(p)).collect(),
            arrow,
            may_cross_bench: ply.may_cross_bench,
        });
    }

    /// `wanted`, or with a running number if it is taken.
    fn new_id(&mut self, wanted: String) -> String {
        let mut id = wanted.clone();
        let mut k = 2;
        while !self.ids.insert(id.clone()) {
            id = format!("{wanted}-{k}");
            k += 1;
        }
        id
    }

    fn fault(&mut self, on: &str, what: Said, remedy: Said) {
        self.faults.push(Fault::new(what, remedy).in_file(&self.job.file).on(on));
    }

    fn warn(&mut self, on: &str, what: Said, remedy: Said) {
        self.prepared.warnings.push(Fault::new(what, remedy).in_file(&self.job.file).on(on));
    }
}

/// True if the layer lays both hands of a template, in one entry or in several.
fn both_hands(layer: &Layer, template: usize) -> bool {
    let wanted: BTreeSet<Hand> = layer
        .items
        .iter()
        .filter(|i| i.template == template)
        .flat_map(|i| hands(i.hands))
        .copied()
        .collect();
    wanted.len() == 2
}

/// True if for every permitted way the same with half a turn more is permitted: then the warp has
/// no head.
fn half_turn_is_same(permitted: &[Permitted]) -> bool {
    let same = |a: f64, b: f64| (a - b).rem_euclid(360.0).min((b - a).rem_euclid(360.0)) < 1e-9;
    permitted
        .iter()
        .all(|p| permitted.iter().any(|q| q.face == p.face && same(q.turn, p.turn + 180.0)))
}

/// The turns after which a splice may run along the warp: a quarter turn only if the cloth forgives
/// it face up, and never in unidirectional cloth, which is not spliced across its fibre whatever
/// the layer says.
fn splice_turns(weave: Weave, permitted: &[Permitted]) -> &'static [f64] {
    let quarter = permitted.iter().any(|p| p.face == Face::Up && p.turn.rem_euclid(180.0) == 90.0);
    if quarter && weave != Weave::Unidirectional { &[0.0, 90.0] } else { &[0.0] }
}

fn no_split_in_words(why: &NoSplit, splice: &SpliceRule, lap: f64) -> (Said, Said) {
    match why {
        NoSplit::Narrow => (
            said!("no split into a few parts with a lap of {lap} mm fits"),
            "take a wider cloth, a smaller lap, or divide the template".into(),
        ),
        NoSplit::Zones => (
            "every splice would run through a no-splice zone".into(),
            "make the zones smaller, take a wider cloth, or lay the ply at another angle".into(),
        ),
        NoSplit::Stagger(can) => (
            said!("every splice would come within {} mm of one in a ply near it", splice.stagger),
            said!(
                "reduce the stagger ({can} mm could be kept), take a wider cloth, or change the order of the layers"
            ),
        ),
    }
}

/// A ring as an open line that ends where it begins.
fn closed_line(ring: &Ring) -> Path {
    ring.iter().chain(ring.first()).copied().collect()
}

/// `a` to `z`, then `aa`, `ab` and so on, from 1.
fn letters(number: usize) -> String {
    let (mut n, mut out) = (number, String::new());
    while n > 0 {
        out.insert(0, char::from(b'a' + ((n - 1) % 26) as u8));
        n = (n - 1) / 26;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_lettered() {
        assert_eq!(
            (letters(1), letters(26), letters(27), letters(53)),
            ("a".into(), "z".into(), "aa".into(), "ba".into())
        );
    }

    #[test]
    fn a_unidirectional_cloth_is_never_spliced_across_its_fibre() {
        let up = |turn| Permitted { turn, face: Face::Up };
        assert_eq!(splice_turns(Weave::Unidirectional, &[up(0.0), up(90.0)]), &[0.0]);
        assert_eq!(splice_turns(Weave::Plain, &[up(0.0), up(270.0)]), &[0.0, 90.0]);
        assert_eq!(splice_turns(Weave::Satin, &[up(0.0), up(180.0)]), &[0.0]);
    }
}
