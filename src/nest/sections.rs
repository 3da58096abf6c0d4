//! How lanes share one layout, and how their finds are merged.
//!
//! Small layouts: every lane works on the whole, and takes over the shortest layout after each round. Large ones: the strip is cut into
//! sections, one a lane; a lane changes only pieces wholly inside its section, so all finds hold together: what lies right of a section follows
//! its shrinking. The sections move every few rounds.

use super::land::fit_walls;
use super::lane::Lane;
use super::layout::Layout;
use super::setup::Setup;
use super::window::reach;
use std::sync::Arc;

/// Rounds between two partitions.
pub(super) const ROUNDS: u32 = 12;

/// Gives every lane its section of `base` (the whole of a small layout).
pub(super) fn sections(setup: &Setup, base: &Arc<Layout>, round: u32, lanes: &mut [Lane<'_>]) {
    if setup.shared() {
        return;
    }
    let many = ((base.length / (3.0 * reach(setup))) as usize).clamp(1, lanes.len());
    let offset = [0.0, 0.3, -0.3][(round / ROUNDS % 3) as usize];
    let offset = if many == 1 { 0.0 } else { offset };
    for (k, lane) in lanes.iter_mut().enumerate() {
        let s = (k % many) as f64;
        let share = |x: f64| (x / many as f64).clamp(0.0, 1.0) * base.length;
        lane.adopt(base, (share(s + offset), share(s + 1.0 + offset)));
    }
}

/// The best layout after a round. Lanes of a small layout take it over.
pub(super) fn merge(setup: &Setup, base: &Arc<Layout>, best: &Arc<Layout>, lanes: &mut [Lane<'_>]) -> Arc<Layout> {
    if !setup.shared() {
        return combined(setup, base, lanes).filter(|l| l.length < best.length).map_or_else(|| best.clone(), Arc::new);
    }
    let mut best = best.clone();
    for lane in lanes.iter() {
        if lane.best().length < best.length {
            best = lane.best().clone();
        }
    }
    for lane in lanes.iter_mut() {
        lane.adopt(&best, (0.0, f64::INFINITY));
    }
    best
}

/// The lanes' sections put together: each section's pieces as its lane has them, everything else moved along.
fn combined(setup: &Setup, base: &Layout, lanes: &[Lane<'_>]) -> Option<Layout> {
    let mut out = base.clone();
    let strip = setup.strip();
    // Of several lanes on one section the one that gained most counts.
    let mut sections: Vec<(f64, f64, f64, &Lane<'_>)> = Vec::new();
    for lane in lanes {
        let gain = base.length - lane.best().length;
        let (low, high) = (lane.section().0, lane.section().1 + gain);
        match sections.iter_mut().find(|s| s.0 == low) {
            Some(s) if s.2 >= gain => {}
            Some(s) => *s = (low, high, gain, lane),
            None => sections.push((low, high, gain, lane)),
        }
    }
    sections.sort_by(|a, b| a.0.total_cmp(&b.0));
    for i in 0..out.spots.len() {
        if usize::from(base.spots[i].room) != strip {
            continue;
        }
        let f = base.tight(setup, i);
        let (from, to) = (f.min.x as f64, f.max.x as f64);
        let mut shift = 0.0;
        for &(low, high, gain, lane) in &sections {
            if from >= low && to <= high {
                out.spots[i] = lane.best().spots[i];
                break;
            }
            if (from + to) / 2.0 < (low + high) / 2.0 {
                break;
            }
            shift += gain;
        }
        out.spots[i].x -= shift;
    }
    out.length = out.measured(setup);
    fit_walls(setup, &mut out)?;
    Some(out)
}
