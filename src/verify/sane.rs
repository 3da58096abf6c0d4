//! Sizes and numbers: what a plan must keep before any exact check can be trusted with it.

use super::exact::{P, Shape, steps};
use super::findings::Findings;
use crate::geometry::{Point, Ring};
use crate::plan::{Plan, PlanPiece, PlanStock};
use crate::units::LARGEST;

/// The largest numbers of things a plan may hold. Far above any workshop's use; they keep time and
/// memory bounded.
pub(super) mod limit {
    pub const PIECES: usize = 20_000;
    pub const PLACED: usize = 20_000;
    pub const STOCKS: usize = 2_000;
    pub const LISTED: usize = 20_000;
    pub const RING: usize = 20_000;
    pub const POINTS: usize = 2_500_000;
    pub const COPIES: u32 = 20_000;
    pub const TEXT: usize = 2_000;
}

/// The plan's rings on whole micrometres, index for index.
pub(super) struct Exact {
    /// Outline and holes of each piece.
    pub pieces: Vec<Shape>,
    pub stocks: Vec<ExactStock>,
}

/// A stock on whole micrometres.
pub(super) struct ExactStock {
    pub outline: Shape,
    /// Holes (turned to run anticlockwise) and flaws: nothing may lie on them.
    pub keep_out: Vec<(&'static str, Shape)>,
    pub placed: Vec<Shape>,
    pub offcuts: Vec<Shape>,
}

/// Checks every number and ring, and returns the rings on whole micrometres if all hold.
pub(super) fn measure(plan: &Plan, found: &mut Findings<'_>) -> Option<Exact> {
    counts(plan, found);
    if !found.is_empty() {
        return None;
    }
    numbers(plan, found);
    let mut gauge = Gauge { found };
    let pieces: Vec<Option<Shape>> = plan
        .pieces
        .iter()
        .map(|p| if gauge.found.full() { None } else { piece(p, &mut gauge) })
        .collect();
    let stocks: Vec<Option<ExactStock>> =
        plan.stocks.iter().map(|s| stock(s, &mut gauge)).collect();
    for t in &plan.templates {
        let who = format!("template {}", t.template);
        gauge.shape(&who, "net line", &t.net, &t.holes);
        if t.edges.len() != t.net.len() {
            gauge
                .found
                .add(&who, said!("has {} edge kinds for {} edges", t.edges.len(), t.net.len()));
        }
        for zone in &t.no_splice {
            gauge.points(&who, zone);
        }
        for cut in &t.cuts {
            gauge.points(&who, cut);
        }
        if let Some(inked) = &t.inked {
            if let Some(ends) = &inked.arrow {
                gauge.points(&who, ends);
            }
            // The placement sheet measures to these corners: one that is not on the skin sends a
            // piece astray.
            if inked.corners.len() > t.net.len() {
                gauge.found.add(
                    &who,
                    said!("names {} corners of {} points", inked.corners.len(), t.net.len()),
                );
            } else if let Some(corner) = inked.corners.iter().find(|c| !t.net.contains(&c.at)) {
                gauge
                    .found
                    .add(&who, said!("corner {} is not a point of its net line", corner.name));
            }
        }
    }
    for m in &plan.mosaics {
        let who = format!("mosaic {}", m.ply);
        gauge.shape(&who, "target", &m.target, &m.holes);
        let size = |x: f64| x > 0.0 && x <= LARGEST;
        if !(size(m.lap)
            && m.least_difference >= 0.0
            && m.least_difference <= 90.0
            && (m.modulo == 90.0 || m.modulo == 180.0))
        {
            gauge.found.add(&who, "its lap or its directions are no numbers that can be checked");
        }
    }
    if !found.is_empty() {
        return None;
    }
    Some(Exact {
        pieces: pieces.into_iter().collect::<Option<_>>()?,
        stocks: stocks.into_iter().collect::<Option<_>>()?,
    })
}

fn piece(p: &PlanPiece, gauge: &mut Gauge<'_, '_>) -> Option<Shape> {
    let who = format!("piece {}", p.piece);
    for ring in p.net.iter().chain(&p.cuts).chain(&p.marks) {
        gauge.points(&who, ring);
    }
    gauge.points(&who, &p.arrow);
    gauge.points(&who, &[p.origin]);
    gauge.shape(&who, "outline", &p.outline, &p.holes)
}

fn stock(s: &PlanStock, gauge: &mut Gauge<'_, '_>) -> Option<ExactStock> {
    let who = format!("stock {}", s.id);
    let outline = gauge.shape(&who, "outline", &s.outline, &[]);
    let mut keep_out = Vec::new();
    for hole in &s.holes {
        let turned: Ring = hole.iter().rev().copied().collect();
        keep_out.push(
            gauge
                .shape(&who, "hole (which must run clockwise)", &turned, &[])
                .map(|h| ("a hole", h)),
        );
    }
    for flaw in &s.flaws {
        keep_out.push(gauge.shape(&who, "flaw", flaw, &[]).map(|f| ("a flaw", f)));
    }
    let placed: Vec<_> = s
        .placed
        .iter()
        .map(|p| {
            if gauge.found.full() {
                return None;
            }
            gauge.points(&who, &[Point { x: p.x, y: p.y }]);
            gauge.shape(
                &format!("piece {} copy {} on stock {}", p.piece, p.copy, s.id),
                "placed outline",
                &p.outline,
                &p.holes,
            )
        })
        .collect();
    let offcuts: Vec<_> = s
        .offcuts
        .iter()
        .map(|o| {
            gauge.region(
                &format!("offcut {} of stock {}", o.id, s.id),
                "outline",
                &o.outline,
                &o.holes,
                true,
            )
        })
        .collect();
    Some(ExactStock {
        outline: outline?,
        keep_out: keep_out.into_iter().collect::<Option<_>>()?,
        placed: placed.into_iter().collect::<Option<_>>()?,
        offcuts: offcuts.into_iter().collect::<Option<_>>()?,
    })
}

/// Takes rings to the grid and says what is wrong with them.
struct Gauge<'a, 'r> {
    found: &'a mut Findings<'r>,
}

impl Gauge<'_, '_> {
    /// Points that must be on the grid and of supported size.
    fn points(&mut self, who: &str, points: &[Point]) -> Option<Vec<P>> {
        let on_grid: Option<Vec<P>> = points.iter().map(|&p| P::on_grid(p)).collect();
        if on_grid.is_none()
            && let Some(p) = points.iter().find(|&&p| P::on_grid(p).is_none())
        {
            self.found.add(who, said!("has the point ({}, {}), which is too large or not a whole number of micrometres", p.x, p.y));
        }
        on_grid
    }

    /// An outline with holes that bounds a region.
    fn shape(&mut self, who: &str, what: &str, outline: &[Point], holes: &[Ring]) -> Option<Shape> {
        self.region(who, what, outline, holes, false)
    }

    /// The same; with `may_touch` different rings may touch in points.
    fn region(
        &mut self,
        who: &str,
        what: &str,
        outline: &[Point],
        holes: &[Ring],
        may_touch: bool,
    ) -> Option<Shape> {
        let mut rings = vec![self.points(who, outline)?];
        for hole in holes {
            rings.push(self.points(who, hole)?);
        }
        if rings.iter().any(Vec::is_empty) {
            self.found.add(who, said!("{what}: has an empty ring"));
            return None;
        }
        let shape = Shape::new(rings)?;
        match shape.ring_fault(may_touch) {
            None => Some(shape),
            Some((fault, at)) => {
                self.found.add_at(who, at.mm(), said!("{what}: {fault}"));
                None
            }
        }
    }
}

/// Numbers of things, before anything is gone through that grows faster than they do.
fn counts(plan: &Plan, found: &mut Findings<'_>) {
    let mut most = |what: &str, n: usize, most: usize| {
        if n > most {
            found.add("plan", said!("{n} {what}, more than the {most} supported"));
        }
    };
    most("pieces", plan.pieces.len(), limit::PIECES);
    most("stocks", plan.stocks.len(), limit::STOCKS);
    most("placed pieces", plan.stocks.iter().map(|s| s.placed.len()).sum(), limit::PLACED);
    most("offcuts", plan.stocks.iter().map(|s| s.offcuts.len()).sum(), limit::LISTED);
    most("bench segments", plan.stocks.iter().map(|s| s.segments.len()).sum(), limit::LISTED);
    most(
        "permitted turns",
        plan.pieces.iter().map(|p| p.permitted.len()).sum(),
        limit::LISTED * 10,
    );
    for (what, n) in [
        ("templates", plan.templates.len()),
        ("layers", plan.layers.len()),
        ("cloths", plan.cloths.len()),
    ] {
        most(what, n, limit::LISTED);
    }
    most("materials", plan.materials.len(), limit::LISTED);
    most("layer items", plan.layers.iter().map(|l| l.items.len()).sum(), limit::LISTED);
    most("mosaics", plan.mosaics.len(), limit::LISTED);
    most("patches of mosaics", plan.mosaics.iter().map(|m| m.patches.len()).sum(), limit::LISTED);
    let mut points = 0;
    let mut longest = 0;
    each_ring(plan, |ring| {
        points += ring.len();
        longest = longest.max(ring.len());
    });
    most("points in all", points, limit::POINTS);
    most("points in one ring", longest, limit::RING);
}

fn each_ring(plan: &Plan, mut f: impl FnMut(&[Point])) {
    for m in &plan.mosaics {
        std::iter::once(&m.target).chain(&m.holes).for_each(|r| f(r));
    }
    for t in &plan.templates {
        std::iter::once(&t.net)
            .chain(&t.holes)
            .chain(&t.cuts)
            .chain(&t.no_splice)
            .for_each(|r| f(r));
    }
    for p in &plan.pieces {
        std::iter::once(&p.outline)
            .chain(&p.holes)
            .chain(&p.net)
            .chain(&p.cuts)
            .chain(&p.marks)
            .for_each(|r| f(r));
    }
    for s in &plan.stocks {
        std::iter::once(&s.outline).chain(&s.holes).chain(&s.flaws).for_each(|r| f(r));
        s.placed
            .iter()
            .for_each(|p| std::iter::once(&p.outline).chain(&p.holes).for_each(|r| f(r)));
        s.offcuts
            .iter()
            .for_each(|o| std::iter::once(&o.outline).chain(&o.holes).for_each(|r| f(r)));
    }
}

/// Single numbers: finite, of the right sign, of supported size, lengths that matter exactly on the
/// grid.
fn numbers(plan: &Plan, found: &mut Findings<'_>) {
    let mut range = |who: &str, what: &str, x: f64, low: f64, high: f64| {
        if !(low..=high).contains(&x) {
            found.add(who, said!("{what} is {x}, outside {low} to {high}"));
        }
    };
    let area = LARGEST * LARGEST;
    range("rules", "gap", plan.rules.gap, 0.0, 1000.0);
    range("rules", "angle tolerance", plan.rules.angle_tolerance, 0.0, 180.0);
    range("rules", "least offcut width", plan.rules.least_offcut_width, 0.0, LARGEST);
    if let Some(b) = plan.rules.bench_length {
        range("rules", "bench length", b, 0.1, LARGEST);
    }
    for t in &plan.templates {
        range(&t.template, "arrow", t.arrow, -720.0, 720.0);
        if let Some((_, step)) = &t.on {
            range(&t.template, "step-back", *step, 0.0, LARGEST);
        }
    }
    for l in &plan.layers {
        let who = format!("layer {}", l.layer);
        range(&who, "angle", l.angle, -720.0, 720.0);
        range(&who, "trim allowance", l.trim, 0.0, 1000.0);
        range(&who, "lap", l.lap, 0.0, 1000.0);
    }
    for p in &plan.pieces {
        let who = format!("piece {}", p.piece);
        range(&who, "angle", p.angle, -720.0, 720.0);
        range(&who, "tolerance", p.tolerance, 0.0, plan.rules.angle_tolerance);
        range(&who, "number of copies", f64::from(p.copies), 1.0, f64::from(limit::COPIES));
        p.permitted.iter().for_each(|q| range(&who, "permitted turn", q.turn, -720.0, 720.0));
        if let Some(s) = &p.splice {
            range(&who, "lap of the splice", s.lap, 0.0, 1000.0);
            range(&who, "stagger", s.stagger, 0.0, 1000.0);
        }
    }
    for s in &plan.stocks {
        let who = format!("stock {}", s.id);
        range(&who, "selvedge", s.selvedge, 0.0, LARGEST);
        range(&who, "used length", s.used_length, 0.0, LARGEST);
        s.segments.iter().flatten().for_each(|&x| range(&who, "segment", x, 0.0, LARGEST));
        s.placed
            .iter()
            .for_each(|p| range(&format!("piece {}", p.piece), "turn", p.turn, -720.0, 720.0));
        for o in &s.offcuts {
            range(&format!("offcut {}", o.id), "area", o.area, 0.0, area);
            o.largest_rectangle.iter().for_each(|&x| {
                range(&format!("offcut {}", o.id), "largest rectangle", x, -LARGEST, LARGEST)
            });
        }
    }
    for c in &plan.cloths {
        let who = format!("cloth {}", c.cloth);
        for (what, x) in [
            ("roll width", c.roll_width),
            ("used length", c.used_length),
            ("least length", c.least_length),
        ] {
            range(&who, what, x, 0.0, LARGEST);
        }
        range(&who, "usable width", c.usable_width, 0.0, LARGEST);
        for (what, x) in [
            ("pieces", c.pieces_area),
            ("offcuts", c.offcuts_area),
            ("waste", c.waste_area),
            ("consumed", c.consumed_area),
        ] {
            range(&who, &format!("area of {what}"), x, 0.0, area * 1000.0);
        }
        range(&who, "yield", c.yield_, 0.0, 1.0);
        c.cost.iter().for_each(|&x| range(&who, "cost", x, 0.0, 1e12));
        c.mass.iter().for_each(|&x| range(&who, "mass", x, 0.0, 1e12));
    }
    let mut grid = |who: &str, what: &str, x: f64| {
        if x.is_finite() && steps(x).is_none() {
            found.add(who, said!("{what} is {x} mm, not a whole number of micrometres"));
        }
    };
    grid("rules", "gap", plan.rules.gap);
    plan.rules.bench_length.iter().for_each(|&b| grid("rules", "bench length", b));
    for s in &plan.stocks {
        let who = format!("stock {}", s.id);
        grid(&who, "selvedge", s.selvedge);
        grid(&who, "used length", s.used_length);
        s.segments.iter().flatten().for_each(|&x| grid(&who, "segment", x));
        s.offcuts
            .iter()
            .flat_map(|o| o.largest_rectangle)
            .for_each(|x| grid(&who, "largest rectangle of an offcut", x));
    }
    let names = plan
        .pieces
        .iter()
        .flat_map(|p| [&p.piece, &p.number, &p.job, &p.ply, &p.template, &p.cloth]);
    let names = names.chain(
        plan.templates
            .iter()
            .filter_map(|t| t.inked.as_ref())
            .flat_map(|i| i.corners.iter().map(|c| &c.name)),
    );
    let names = names
        .chain(plan.stocks.iter().flat_map(|s| [&s.id, &s.cloth]))
        .chain(plan.templates.iter().map(|t| &t.template));
    for name in names.chain(plan.layers.iter().flat_map(|l| [&l.name, &l.job, &l.cloth])) {
        if name.len() > limit::TEXT {
            found.add(
                "plan",
                said!("a name of {} bytes, more than the {} supported", name.len(), limit::TEXT),
            );
        }
    }
}
