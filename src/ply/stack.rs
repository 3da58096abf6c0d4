//! Which plies of a job lie on one another: those of one template and hand, and the local patches
//! on it.
//!
//! Where other templates lie on the part the job does not say, so their layers count for nothing
//! here.

use super::Hand;
use super::hand::hands;
use super::skin::host_of;
use super::splice::Band;
use crate::fault::Fault;
use crate::geometry::boolean::intersection;
use crate::geometry::clip::path_in;
use crate::geometry::{Region, Ring};
use crate::job::Job;
use std::collections::BTreeMap;

/// A splice already placed.
pub(super) struct Seam {
    /// Its ply.
    pub ply: String,
    /// From 1.
    pub layer: usize,
    pub template: usize,
    pub hand: Hand,
    /// In the template frame.
    pub band: Band,
}

/// A local patch in one layer.
pub(super) struct PatchPly {
    pub ply: String,
    /// From 1.
    pub layer: usize,
    pub template: usize,
    pub hand: Hand,
    /// Its net line in the template frame of its host, stepped back.
    pub net: Ring,
}

/// What lies on what, as far as it is known.
pub(super) struct Stack<'a> {
    job: &'a Job,
    /// For every template the one whose frame it lies in: its own index, or that of what the patch
    /// lies on.
    hosts: Vec<usize>,
    pub seams: Vec<Seam>,
    pub patches: Vec<PatchPly>,
}

impl<'a> Stack<'a> {
    pub fn of(job: &'a Job) -> Stack<'a> {
        let host = |t| job.templates.iter().position(|h| std::ptr::eq(h, host_of(job, t)));
        let hosts = job.templates.iter().enumerate().map(|(i, t)| host(t).unwrap_or(i)).collect();
        Stack { job, hosts, seams: Vec::new(), patches: Vec::new() }
    }

    fn together(
        &self,
        (template, hand): (usize, Hand),
        (other, other_hand): (usize, Hand),
    ) -> bool {
        hand == other_hand && self.hosts.get(template) == self.hosts.get(other)
    }

    /// Splices fewer than `apart` plies from a ply of this layer, in the template frame.
    pub fn splices_near(
        &self,
        layer: usize,
        template: usize,
        hand: Hand,
        apart: usize,
    ) -> impl Iterator<Item = Band> {
        let near = move |s: &&Seam| {
            self.together((template, hand), (s.template, s.hand))
                && self.plies_from(s.layer, layer, template, hand) < apart.max(1)
        };
        self.seams.iter().filter(near).map(|s| s.band)
    }

    /// How many plies farther on a layer lies, counting those of the host template: a patch covers
    /// but a part of it.
    fn plies_from(&self, from: usize, to: usize, template: usize, hand: Hand) -> usize {
        if from == to {
            return 0;
        }
        let host = self.hosts.get(template).copied().unwrap_or(template);
        let between = self.job.layers.get(from..to - 1).unwrap_or_default();
        1 + between
            .iter()
            .filter(|l| {
                l.items.iter().any(|i| i.template == host && hands(i.hands).contains(&hand))
            })
            .count()
    }

    /// A warning for every patch that lies over or under splices of what it lies on.
    pub fn patches_over_splices(&self) -> Vec<Fault> {
        let mut warnings = Vec::new();
        for patch in &self.patches {
            let region = Region::solid(patch.net.clone());
            let meets = |band: &Band| {
                let [a, b, c, d] = band.0;
                [[a, b], [d, c]].iter().any(|line| !path_in(line, &region).is_empty())
                    || !intersection([&patch.net], [&vec![a, d, c, b]]).is_empty()
            };
            let seams = self.seams.iter().filter(|s| s.template != patch.template);
            let met = seams.filter(|s| {
                self.together((patch.template, patch.hand), (s.template, s.hand)) && meets(&s.band)
            });
            let mut words: BTreeMap<&str, Vec<&str>> = BTreeMap::new();
            for seam in met {
                let plies = words
                    .entry(if seam.layer <= patch.layer { "over" } else { "under" })
                    .or_default();
                if plies.last() != Some(&seam.ply.as_str()) {
                    plies.push(&seam.ply);
                }
            }
            for (way, plies) in words {
                let what = said!("the patch lies {way} the splice of {}", plies.join(", "));
                let remedy = "move the patch, or draw a no-splice zone where it lies, unless it is there to strengthen the splice";
                warnings
                    .push(Fault::new(what, remedy).in_file(&self.job.file).on(patch.ply.as_str()));
            }
        }
        warnings
    }
}
