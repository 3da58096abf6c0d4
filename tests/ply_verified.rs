//! Preparation against the verifier, which shares no code with it: whatever is prepared is found
//! sound.
#![allow(clippy::unwrap_used)]

mod plan_schema;
mod ply_support;

use ply_support::*;
use proptest::prelude::*;
use proptest::test_runner::RngSeed;
use warpwise::cloth::Weave;
use warpwise::geometry::{Ring, point};
use warpwise::job::{
    Hands, InkedSide, Job, PatchShape, Seen, SpliceRule, TakenOff, TemplateSource,
};
use warpwise::outline::{Draft, EdgeKind, Outline};
use warpwise::planner::{Refusal, plan};
use warpwise::run::{Run, Stop};

const WEAVES: [Weave; 9] = [
    Weave::Unidirectional,
    Weave::Plain,
    Weave::Twill22,
    Weave::Twill44,
    Weave::Twill31,
    Weave::Satin,
    Weave::Biaxial45,
    Weave::Mat,
    Weave::None,
];

/// A star-shaped outline with edges of all kinds, a hole and a no-splice zone near its middle.
fn draft() -> impl Strategy<Value = Draft> {
    let kind = prop_oneof![3 => Just(None), 1 => Just(Some(EdgeKind::Lap)), 1 => Just(Some(EdgeKind::Butt)), 1 => Just(Some(EdgeKind::Dart))];
    let corners = prop::collection::vec((0.3f64..1.0, 150.0f64..400.0, kind), 5..14);
    (corners, 1.0f64..3.0, prop::option::of(5.0f64..50.0)).prop_map(|(corners, scale, hole)| {
        let total: f64 = corners.iter().map(|c| c.0).sum();
        let mut angle = 0.0;
        let mut draft = Draft::default();
        for (share, radius, kind) in corners {
            angle += share / total * std::f64::consts::TAU;
            draft.net.push(point(scale * radius * angle.cos(), scale * radius * angle.sin()));
            draft.edges.push(kind);
        }
        if let Some(r) = hole {
            draft.holes.push(ring(&[(-r, -r), (r, -r), (0.7 * r, r), (-r, 0.8 * r)]));
            draft.no_splice.push(ring(&[(-r, -r), (r, -r), (r, r), (-r, r)]));
        }
        draft
    })
}

#[derive(Debug, Clone)]
struct Settle {
    weave: Weave,
    balanced: bool,
    angles: Vec<f64>,
    seen: Seen,
    book_match: bool,
    plug: bool,
    down: bool,
    arrow: f64,
    trim: f64,
    lap: f64,
    usable: f64,
}

fn settle() -> impl Strategy<Value = Settle> {
    let seen = prop_oneof![Just(Seen::Hidden), Just(Seen::MouldSide), Just(Seen::OtherSide)];
    (
        (
            prop::sample::select(WEAVES.to_vec()),
            any::<bool>(),
            prop::collection::vec(-90.0f64..90.0, 1..4),
            seen,
            any::<bool>(),
        ),
        (
            any::<bool>(),
            any::<bool>(),
            -180.0f64..180.0,
            0.0f64..40.0,
            0.0f64..30.0,
            600.0f64..2600.0,
        ),
    )
        .prop_map(
            |(
                (weave, balanced, angles, seen, book_match),
                (plug, down, arrow, trim, lap, usable),
            )| Settle {
                weave,
                balanced,
                angles,
                seen,
                book_match,
                plug,
                down,
                arrow,
                trim,
                lap,
                usable,
            },
        )
}

fn job_of(draft: Draft, s: &Settle) -> Option<Job> {
    let outline = Outline::new(draft).ok()?;
    let mut host = plain_template("seat", rectangle(1.0, 1.0));
    host.outline = outline;
    host.arrow = s.arrow;
    host.taken_off = if s.plug { TakenOff::Plug } else { TakenOff::Mould };
    host.inked_side = if s.down { InkedSide::Down } else { InkedSide::Up };
    let shape: Ring = ring(&[
        (-70.0, -40.0),
        (60.0, -40.0),
        (60.0, 30.0),
        (0.0, 40.0),
        (0.0, 60.0),
        (-70.0, 60.0),
    ]);
    let mut patch = plain_template("patch", shape.clone());
    patch.source = TemplateSource::Patch {
        on: "seat".into(),
        shape: PatchShape::Polygon(shape),
        step_back: 7.0,
    };
    (patch.arrow, patch.taken_off, patch.inked_side) =
        (host.arrow, host.taken_off, host.inked_side);
    let layers = s.angles.iter().map(|&angle| {
        let mut l = layer(angle, &[0, 1]);
        l.items.iter_mut().for_each(|i| i.hands = Hands::Both);
        (l.seen, l.book_match, l.trim, l.lap) =
            (s.seen, s.book_match, s.trim.round(), s.lap.round());
        l
    });
    let mut job = job(s.weave, vec![host, patch], layers.collect());
    (job.cloths[0].balanced, job.cloths[0].roll_width) = (s.balanced, s.usable.round() + 20.0);
    job.splice = Some(SpliceRule { lap: 25.0, stagger: 30.0, plies_apart: 4 });
    Some(job)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 60, rng_seed: RngSeed::Fixed(99), failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_prepared_is_verified(draft in draft(), settle in settle()) {
        let Some(job) = job_of(draft, &settle) else { return Ok(()) };
        let run = Run::new(Stop::Effort(0)).with_threads(1);
        match plan(std::slice::from_ref(&job), 1, &run) {
            Err(Refusal::NotVerified(faults)) => prop_assert!(false, "{faults}"),
            // How soon the search finds a place for everything is its own matter.
            Err(Refusal::Input(_) | Refusal::NotPlaced(_) | Refusal::Stopped(_)) => {}
            Ok(plan) => plan_schema::keeps_to_schema(plan.plan()),
        }
    }
}
