//! The way through the job file: text -> document -> structure -> cloths, templates, layers ->
//! [`Job`].

use super::document::{Document, Findings};
use super::layers::{self, Known, Names};
use super::library::Beside;
use super::model::{Cutting, Job, SpliceRule, Template};
use super::moulds::Moulds;
use super::raw::{RawCutting, RawJob, RawPatch, RawSplice};
use super::templates::{Drawings, ReadOutline};
use super::{cloths, mosaic, refer, schema, structure, templates};
use crate::fault::{Fault, Faults, Said, line_and_column};
use crate::outline::{ReadOptions, read_file, read_file_in};
use crate::run::{Phase, Run};
use crate::units::{quoted, show_mm};
use std::cell::OnceCell;
use std::fs::{self, File};
use std::io::Read;
use std::path::{Path, PathBuf};

/// A larger job file is refused, bytes.
const LARGEST_FILE: u64 = 4 << 20;

/// Splices nearer than this are warned of, mm (common practice, no source).
const LEAST_STAGGER: f64 = 25.0;

/// A smaller trim allowance is warned of, mm (common practice, no source).
const LEAST_TRIM: f64 = 10.0;

/// A shorter bench is more likely a slip of the unit, mm.
const SHORTEST_BENCH: f64 = 100.0;

/// Reads a job file and every drawing it names; the answer is the job and what the user should hear
/// of.
///
/// # Errors
/// Every fault of the job file at its line and column, and every fault of its drawings, sorted by
/// file and place.
pub fn load(path: &Path) -> Result<(Job, Vec<Fault>), Faults> {
    load_in(path, &Run::default())
}

/// The same as a part of a run that may be stopped.
///
/// # Errors
/// As [`load`]; that it was stopped.
pub fn load_in(path: &Path, run: &Run<'_>) -> Result<(Job, Vec<Fault>), Faults> {
    let read = |file: &Path, options: &ReadOptions| {
        read_file_in(file, options, &run.about(&file.to_string_lossy(), (0.0, 1.0)))
    };
    let job = parse_with(&text_of(path)?, path, &read);
    // What was found until then is not all there is to say.
    run.check(Phase::Reading)?;
    job
}

/// Reads several jobs that are to be planned together; the faults of all of them come at once.
///
/// # Errors
/// As [`load_in`], job by job, and what the jobs do not [`agree`](super::agree()) about.
pub fn load_all(paths: &[PathBuf], run: &Run<'_>) -> Result<(Vec<Job>, Vec<Fault>), Faults> {
    let (mut jobs, mut warnings, mut faults) = (Vec::new(), Vec::new(), Faults::new());
    for (k, path) in paths.iter().enumerate() {
        let name = path.to_string_lossy();
        let part = run.about(&name, (k as f64 / paths.len() as f64, 1.0 / paths.len() as f64));
        part.tell(Phase::Reading, Some(0.0));
        run.check(Phase::Reading)?;
        if let Some((job, heard)) = faults.keep(load_in(path, &part)) {
            jobs.push(job);
            warnings.extend(heard);
        }
    }
    faults.keep(super::agree(&jobs));
    faults.into_result((jobs, warnings))
}

/// Reads a job from text; `path` is the file it stands in: faults name it, and drawings are looked
/// for in its folder.
///
/// # Errors
/// As [`load`].
pub fn parse(text: &str, path: &Path) -> Result<(Job, Vec<Fault>), Faults> {
    parse_with(text, path, &read_file)
}

/// As [`parse`], with another way to read drawings. `read` is called once for each file and way of
/// reading it, and only for files that are there, inside the job's folder.
///
/// # Errors
/// As [`load`].
pub fn parse_with(
    text: &str,
    path: &Path,
    read: &ReadOutline<'_>,
) -> Result<(Job, Vec<Fault>), Faults> {
    let library: OnceCell<Beside> = OnceCell::new();
    let (mut doc, broken) = Document::parse(text, path);
    let mut findings = Findings::new(&doc);
    let is_broken = !broken.is_empty();
    findings.broken(broken);
    refer::cloths(&mut doc, &library, &mut findings);
    let mould_names = refer::moulds(&mut doc, &mut findings);
    let doc = doc;
    let sound =
        structure::check(&doc, &schema::schema(), ("the job file", &mut findings), is_broken);
    if is_broken {
        return Err(findings.finish().0);
    }
    let job = match serde_json::from_value::<RawJob>(sound.into()) {
        Ok(raw) => build(raw, &doc, &mould_names, read, &mut findings),
        Err(error) => {
            findings.fault(
                0,
                said!("the job cannot be read: {error}"),
                "compare it with a new job from `warpwise new`",
            );
            None
        }
    };
    let (faults, warnings) = findings.finish();
    match job {
        Some(job) => faults.into_result((job, warnings)),
        None if faults.is_empty() => {
            Err(Fault::new("the job cannot be read", "compare it with a new job")
                .in_file(path)
                .into())
        }
        None => Err(faults),
    }
}

/// Checks everything that goes beyond single keys; `None` only if a fault was found.
fn build(
    mut raw: RawJob,
    doc: &Document<'_>,
    mould_names: &Names,
    read: &ReadOutline<'_>,
    findings: &mut Findings<'_>,
) -> Option<Job> {
    let cloth_names = Names::collect(&["cloth"], doc, findings);
    let template_names = Names::collect(&["template", "strip", "patch"], doc, findings);
    let mould_work = super::mould_work::mould_work(&mut raw, doc, findings);
    for (key, ids) in
        [("second_half", &mould_work.layup.second_half), ("joint", &mould_work.layup.joint)]
    {
        for (i, id) in ids.iter().enumerate() {
            template_names.find(
                id,
                "template",
                doc.offset_of(&format!("layup.{key}.{i}")),
                findings,
            );
        }
    }
    for (i, bag) in mould_work.consumables.bag.iter().enumerate() {
        for (k, id) in bag.templates.iter().enumerate() {
            template_names.find(
                id,
                "template",
                doc.offset_of(&format!("consumables.bag.{i}.templates.{k}")),
                findings,
            );
        }
    }
    rules(&raw.cutting, raw.splice.as_ref(), doc, findings);

    let mut made_cloths = Vec::new();
    for (i, cloth) in raw.cloth.into_iter().enumerate() {
        made_cloths.push(cloth.map(|c| cloths::cloth(c, &format!("cloth.{i}"), doc, findings)));
    }
    let moulds = Moulds::made(std::mem::take(&mut raw.mould), doc, findings);
    let mut drawings = Drawings::beside(doc.file, read);
    let mut made: Vec<Option<Template>> = Vec::new();
    for (i, template) in raw.template.into_iter().enumerate() {
        let mould = template.as_ref().and_then(|t| mould_names.at(t.mould.as_deref()?));
        let template = template.and_then(|t| {
            templates::template(t, &format!("template.{i}"), doc, &mut drawings, findings)
        });
        made.push(template.map(|t| Template { mould, ..t }));
    }
    let (hosts, strips) = (made.len(), raw.strip.len());
    for (i, strip) in raw.strip.into_iter().enumerate() {
        made.push(strip.and_then(|s| templates::strip(s, &format!("strip.{i}"), doc, findings)));
    }
    for (i, patch) in raw.patch.into_iter().enumerate() {
        let patch =
            patch.and_then(|p| on_its_host(p, i, &made[..hosts], &template_names, doc, findings));
        made.push(patch);
    }
    pairs(&made[..hosts], &template_names, doc, findings);
    let known = Known {
        cloths: &cloth_names,
        templates: &template_names,
        made: &made,
        cutting: &raw.cutting,
    };
    let mut made_layers = Vec::new();
    for (i, layer) in raw.layer.into_iter().enumerate() {
        made_layers.push(layer.and_then(|l| layers::layer(l, i, &known, doc, findings)));
    }
    for (i, layer) in made_layers.iter().enumerate() {
        if let Some(layer) = layer
            && let Some(mosaic) = &layer.mosaic
            && let Some(Some(cloth)) = made_cloths.get(layer.cloth)
        {
            mosaic::can_differ(mosaic, cloth, i, doc, findings);
        }
    }
    let path_of = |i: usize| match i {
        _ if i < hosts => format!("template.{i}"),
        _ if i < hosts + strips => format!("strip.{}", i - hosts),
        _ => format!("patch.{}", i - hosts - strips),
    };
    moulds.agree(&made[..hosts], &made_layers, doc, findings);
    layers::uses(&made_layers, &made, made_cloths.len(), path_of, doc, findings);

    let head = raw.job?;
    Some(Job {
        name: head.name,
        file: doc.file.to_path_buf(),
        stock: raw.stock.map(|s| doc.file.parent().unwrap_or(Path::new("")).join(s)),
        other_hand_of: head.other_hand_of,
        begun_from: head.begun_from,
        currency: head.currency,
        cloths: made_cloths.into_iter().collect::<Option<_>>()?,
        moulds: moulds.all()?,
        templates: made.into_iter().collect::<Option<_>>()?,
        drawings: drawings.accounts(),
        layers: made_layers.into_iter().collect::<Option<_>>()?,
        cutting: Cutting {
            gap: raw.cutting.gap,
            bench_length: raw.cutting.bench_length,
            least_offcut_width: raw.cutting.least_offcut_width,
        },
        splice: raw.splice.map(|s| SpliceRule {
            lap: s.lap,
            stagger: s.stagger,
            plies_apart: s.plies_apart,
        }),
        mould_work,
    })
}

/// Each template that is another's other hand names one that is drawn and is nobody's other hand
/// itself.
fn pairs(
    templates: &[Option<Template>],
    names: &Names,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) {
    for (i, of) in templates
        .iter()
        .enumerate()
        .filter_map(|(i, t)| Some((i, t.as_ref()?.other_hand_of.as_ref()?)))
    {
        let offset = doc.offset_of(&format!("template.{i}.other_hand_of"));
        let Some(other) = names.find(of, "template", offset, findings) else {
            continue;
        };
        let what = match templates.get(other) {
            None => "is not a template with a drawing",
            Some(_) if other == i => "is the template itself",
            Some(Some(t)) if t.other_hand_of.is_some() => "is the other hand of a template itself",
            Some(_) => continue,
        };
        findings.fault(
            offset,
            said!("{} {what}", quoted(of)),
            "name one [[template]] of the pair in the other, which names none",
        );
    }
}

fn on_its_host(
    patch: RawPatch,
    i: usize,
    hosts: &[Option<Template>],
    names: &Names,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) -> Option<Template> {
    let at = format!("patch.{i}");
    let host = names.find(&patch.on, "template", doc.offset_of(&format!("{at}.on")), findings)?;
    let Some(host) = hosts.get(host) else {
        let what = said!("a patch lies on a template, and {} is not a template", quoted(&patch.on));
        findings.fault(
            doc.offset_of(&format!("{at}.on")),
            what,
            "name one of the [[template]] sections",
        );
        return None;
    };
    templates::patch(patch, host.as_ref()?, &at, doc, findings)
}

/// Warns of rules that are allowed but seldom meant.
fn rules(
    cutting: &RawCutting,
    splice: Option<&RawSplice>,
    doc: &Document<'_>,
    findings: &mut Findings<'_>,
) {
    if cutting.trim < LEAST_TRIM {
        let what =
            said!("a trim allowance of {} leaves little to hold on to", show_mm(cutting.trim));
        findings.warning(
            doc.offset_of("cutting.trim"),
            what,
            "25 mm or more beyond the line is usual",
        );
    }
    if let Some(bench) = cutting.bench_length.filter(|b| *b < SHORTEST_BENCH) {
        let what = said!("the bench is only {} long", show_mm(bench));
        findings.warning(
            doc.offset_of("cutting.bench_length"),
            what,
            "a plain number is mm; write \"2.4 m\" for metres",
        );
    }
    if let Some(stagger) = splice.map(|s| s.stagger).filter(|s| *s < LEAST_STAGGER) {
        let what = said!("splices staggered by only {} weaken one place", show_mm(stagger));
        findings.warning(
            doc.offset_of("splice.stagger"),
            what,
            "25 mm or more from edge to edge is usual, 50 mm better",
        );
    }
}

/// The text of a job file: a plain file of sensible size, in UTF-8.
fn text_of(path: &Path) -> Result<String, Faults> {
    let fault =
        |what: Said, remedy: &'static str| Faults::from(Fault::new(what, remedy).in_file(path));
    let data = fs::metadata(path).map_err(|e| match e.kind() {
        std::io::ErrorKind::NotFound => fault(
            "there is no such file".into(),
            "name a job file, or begin one with `warpwise new`",
        ),
        _ => fault(said!("the file cannot be read: {e}"), "check the path and its permissions"),
    })?;
    if data.is_dir() {
        return Err(fault(
            "this is a folder, not a job file".into(),
            "name the job file in it, such as job.toml",
        ));
    }
    if !data.is_file() {
        return Err(fault("this is not an ordinary file".into(), "name a job file"));
    }
    let mut bytes = Vec::new();
    let read =
        File::open(path).and_then(|file| file.take(LARGEST_FILE + 1).read_to_end(&mut bytes));
    read.map_err(|e| fault(said!("the file cannot be read: {e}"), "check its permissions"))?;
    if bytes.len() as u64 > LARGEST_FILE {
        return Err(fault(
            said!("the file is larger than {} MB", LARGEST_FILE >> 20),
            "name a job file; drawings stay in files of their own",
        ));
    }
    String::from_utf8(bytes).map_err(|e| {
        let good = e.utf8_error().valid_up_to();
        let before = String::from_utf8_lossy(e.as_bytes().get(..good).unwrap_or_default());
        let (line, column) = line_and_column(&before, good);
        Fault::new("this is not text in UTF-8", "name a job file, and save it as UTF-8")
            .in_file(path)
            .at_line(line, column)
            .into()
    })
}
