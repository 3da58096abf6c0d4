//! A warm start: places of an earlier layout, where what overlaps is moved apart.

use super::land::land;
use super::lane::settle;
use super::layout::{Layout, Spot};
use super::nofit_cache::NoFitCache;
use super::problem::Problem;
use super::random::Random;
use super::separate::{Separation, Standing};
use super::setup::Setup;
use super::window::Window;
use crate::geometry::{Motion, point, ring_bounds};
use crate::run::Run;
use crate::units::micrometres;

/// Lengths that are tried, as shares of what the places take.
const LENGTHS: [f64; 4] = [1.0, 1.01, 1.03, 1.1];
/// Passes at each: enough for what one edit brings together.
const PASSES: usize = 150;

/// The layout from the problem's start, what that leaves out where `first` has it. `None` without a
/// start, or if it cannot be freed of overlaps.
pub(super) fn warm_start(
    problem: &Problem,
    setup: &Setup,
    cache: &NoFitCache,
    first: &Layout,
    run: &Run<'_>,
) -> Option<Layout> {
    if problem.start().is_empty() {
        return None;
    }
    let mut layout = first.clone();
    for (i, spot) in layout.spots.iter_mut().enumerate() {
        *spot = spot_of(problem, setup, i).unwrap_or(*spot);
    }
    layout.walls.clear();
    layout.length = layout.measured(setup);
    if let Some(landed) = land(setup, &layout, None) {
        return Some(landed);
    }
    if setup.overflow() {
        return None;
    }
    let stop = || run.is_up();
    let window = Window::whole(setup);
    // A stream that no lane has.
    let mut random = Random::new(run.seed(), u64::MAX - 1);
    for share in LENGTHS {
        let tried = Layout { length: (layout.length * share).round(), ..layout.clone() };
        let mut separation = Separation::new(setup, cache, window.clone(), tried);
        for _ in 0..PASSES {
            match separation.pass(&mut random, &stop) {
                Standing::Open if !stop() => {}
                Standing::Solved => {
                    let landed = settle(setup, &window, separation.layout.clone(), &stop);
                    if landed.is_some() {
                        return landed;
                    }
                    break;
                }
                _ => break,
            }
        }
    }
    None
}

/// Where an item lies at the start.
fn spot_of(problem: &Problem, setup: &Setup, item: usize) -> Option<Spot> {
    let (kind, copy) = (setup.items[item].kind, setup.items[item].copy);
    let p = problem.start().iter().find(|p| (p.shape, p.copy) == (kind, copy))?;
    let r = setup.bins.iter().position(|r| r.stock == Some(p.stock))?;
    let (x, y) = (micrometres(p.x) + setup.bins[r].shift, micrometres(p.y));
    let stances = &setup.kinds[kind].stances;
    let fits = |s: &u16| setup.kinds[kind].fits[r].contains(s);
    let at = |s: u16, x: i64, y: i64| Spot { bin: r as u16, stance: s, x: x as f64, y: y as f64 };
    let same = stances.iter().position(|s| (s.pose.turn, s.pose.flip) == (p.turn, p.flip));
    if let Some(s) = same {
        let offset = stances[s].offset;
        return Some(at(s as u16, x + offset.x, y + offset.y)).filter(|s| fits(&s.stance));
    }
    // Of turns that look the same only one is a stance: found by its box.
    let shape = &problem.shapes()[kind].region.outline;
    let b = ring_bounds(&Motion::new(p.turn, p.flip, point(0.0, 0.0)).ring(shape))?;
    let size = (micrometres(b.width()), micrometres(b.height()));
    let s = stances.iter().position(|s| (s.tight.width(), s.tight.height()) == size)?;
    let tight = stances[s].tight.min;
    let low = (micrometres(b.min.x) - tight.x, micrometres(b.min.y) - tight.y);
    Some(at(s as u16, x + low.0, y + low.1)).filter(|s| fits(&s.stance))
}
