//! Whether several jobs can be planned on one roll in one run.

use super::model::Job;
use crate::cloth::Cloth;
use crate::fault::{Fault, Faults, Said};
use crate::units::quoted;

/// The keys in which two cloths differ, by the names they have in the job file; the id is not
/// looked at.
pub fn differing(a: &Cloth, b: &Cloth) -> Vec<&'static str> {
    let keys = [
        ("name", a.name != b.name),
        ("weave", a.weave != b.weave),
        ("balanced", a.balanced != b.balanced),
        ("one_way", a.one_way != b.one_way),
        ("twill_line", a.twill_line != b.twill_line),
        ("up", a.up != b.up),
        ("roll_width", a.roll_width != b.roll_width),
        ("selvedge", a.selvedge != b.selvedge),
        ("roll_length", a.roll_length != b.roll_length),
        ("flaw", a.flaws != b.flaws),
        ("areal_mass", a.areal_mass != b.areal_mass),
        ("resin_content", a.resin_content != b.resin_content),
        ("fibre_density", a.fibre_density != b.fibre_density),
        ("price", a.price != b.price),
        ("material", a.material != b.material),
        ("thickness", a.thickness != b.thickness),
        ("resin_density", a.resin_density != b.resin_density),
        ("batch", a.batch != b.batch),
        ("out_life_hours", a.out_life_hours != b.out_life_hours),
        ("expiry", a.expiry != b.expiry),
        ("offer", a.offers != b.offers),
    ];
    keys.into_iter().filter(|(_, differ)| *differ).map(|(key, _)| key).collect()
}

/// Checks that jobs can be planned together: names differ, cloths with one id are one cloth, and
/// the rules of cutting and the currency agree. Each job is held against the first that says
/// something else.
///
/// # Errors
/// Every disagreement, placed on the later job.
pub fn agree(jobs: &[Job]) -> Result<(), Faults> {
    let mut faults = Faults::new();
    for (i, job) in jobs.iter().enumerate() {
        let earlier = &jobs[..i];
        let mut fault = |on: &str, other: &Job, what: Said, remedy: &'static str| {
            faults.push(
                Fault::new(said!("{what} in {}", other.file.display()), remedy)
                    .in_file(&job.file)
                    .on(on),
            );
        };
        if let Some(other) = earlier.iter().find(|o| o.name == job.name) {
            fault(
                "[job]",
                other,
                said!("the name {} is also that of the job", quoted(&job.name)),
                "give each job a name of its own",
            );
        }
        if let Some(other) = jobs
            .iter()
            .find(|o| job.other_hand_of.as_ref() == Some(&o.name))
            .filter(|o| o.other_hand_of.is_some())
        {
            let remedy = "name one job of the pair in the other, which names none";
            fault(
                "[job]",
                other,
                "`other_hand_of` names a job that is itself the other hand of one,".into(),
                remedy,
            );
        }
        let Some(first) = earlier.first() else {
            continue;
        };
        if first.currency != job.currency {
            fault(
                "[job]",
                first,
                said!(
                    "the currency is {}, not {} as",
                    quoted(&job.currency),
                    quoted(&first.currency)
                ),
                "use one currency",
            );
        }
        let rules = [
            ("gap", first.cutting.gap != job.cutting.gap),
            ("bench_length", first.cutting.bench_length != job.cutting.bench_length),
            (
                "least_offcut_width",
                first.cutting.least_offcut_width != job.cutting.least_offcut_width,
            ),
        ];
        for (key, _) in rules.iter().filter(|(_, differ)| *differ) {
            fault(
                "[cutting]",
                first,
                said!("`{key}` is not the same as"),
                "jobs on one roll are cut by one rule",
            );
        }
        for cloth in &job.cloths {
            let twin =
                |o: &Job| o.cloths.iter().find(|c| c.id == cloth.id).map(|c| differing(c, cloth));
            let Some((other, keys)) = earlier
                .iter()
                .find_map(|o| Some((o, twin(o)?)))
                .filter(|(_, keys)| !keys.is_empty())
            else {
                continue;
            };
            let what =
                said!("the cloth {} has another {} than", quoted(&cloth.id), keys.join(", "));
            fault("[[cloth]]", other, what, "make them agree, or give one of them another id");
        }
    }
    faults.into_result(())
}
