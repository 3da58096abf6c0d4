//! The cure by the clock: ramps counted.

use crate::job::CureStep;
use crate::units::show_number;
use jiff::ToSpan;
use jiff::civil::DateTime;
use serde::Serialize;

/// A corner of the cure's line.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CurePoint {
    /// Minutes from the start.
    pub minutes: f64,
    /// °C.
    pub temperature: f64,
    /// What ends here.
    pub what: String,
    /// Time of day, if a start was chosen.
    pub clock: Option<String>,
}

/// The corners of a cure from room temperature on: time = Σ |ΔT| / rate + Σ dwell.
pub fn cure_clock(steps: &[CureStep], room: f64, start: Option<DateTime>) -> Vec<CurePoint> {
    if steps.is_empty() {
        return Vec::new();
    }
    let clock = |minutes: f64| {
        let at = start?.checked_add((minutes.round() as i64).minutes()).ok()?;
        Some(at.strftime("%Y-%m-%d %H:%M").to_string())
    };
    let point = |minutes: f64, temperature: f64, what: String| CurePoint {
        minutes,
        temperature,
        what,
        clock: clock(minutes),
    };
    let (mut now, mut heat) = (0.0, room);
    let mut out = vec![point(0.0, room, "start".into())];
    for step in steps {
        let ramp = step
            .at
            .map_or_else(|| step.rate.map_or(0.0, |r| (step.to - heat).abs() / r), |at| at - now);
        if ramp > 0.0 {
            now += ramp;
            out.push(point(
                now,
                step.to,
                format!("{} °C a minute", show_number((step.to - heat).abs() / ramp, 2)),
            ));
        }
        heat = step.to;
        if step.hold > 0.0 {
            now += step.hold;
            out.push(point(now, heat, format!("held {:.0} min", step.hold)));
        }
    }
    out
}

/// How much a length grows, mm, by its expansion for a °C.
pub fn growth(length: f64, expansion: f64, degrees: f64) -> f64 {
    length * expansion * degrees
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;
    use crate::job::MouldMaterial;

    /// 1000 mm over 100 °C, worked out outside of the crate; the expansions themselves are from
    /// memory.
    #[test]
    fn moulds_grow() {
        for (material, mm) in [
            (MouldMaterial::Aluminium, 2.36),
            (MouldMaterial::Steel, 1.20),
            (MouldMaterial::Carbon, 0.25),
        ] {
            assert!((growth(1000.0, material.growth(), 100.0) - mm).abs() < 1e-9);
        }
    }

    /// A step cure of low-temperature prepreg, 4 h at 60, 2 h at 70 and 2 h at 120 °C (common
    /// practice, no source); ramps at 1.7 °C a minute, the slow end of FAA-H-8083-31 chapter 7
    /// (from memory): 480 min of holds and 100 / 1.7 min of ramps.
    #[test]
    fn a_step_cure_and_a_clock() {
        let step = |to, hold| CureStep { to, rate: Some(1.7), at: None, hold };
        let points =
            cure_clock(&[step(60.0, 240.0), step(70.0, 120.0), step(120.0, 120.0)], 20.0, None);
        assert!((points.last().unwrap().minutes - (480.0 + 100.0 / 1.7)).abs() < 1e-9);
        let by_clock = CureStep { to: 80.0, rate: None, at: Some(40.0), hold: 20.0 };
        let points = cure_clock(&[by_clock], 20.0, None);
        assert_eq!(points.iter().map(|p| p.minutes).collect::<Vec<_>>(), [0.0, 40.0, 60.0]);
        assert_eq!(points[1].what, "1.5 °C a minute");
        assert!(cure_clock(&[], 20.0, None).is_empty());
    }

    /// 20 to 80 °C at 2 a minute, 60 min, to 120 at 1, 60 min, to 60 at 3: 210 min, worked out
    /// outside of the crate.
    #[test]
    fn ramps_and_holds_add_up() {
        let step = |to, rate, hold| CureStep { to, rate: Some(rate), at: None, hold };
        let steps = [step(80.0, 2.0, 60.0), step(120.0, 1.0, 60.0), step(60.0, 3.0, 0.0)];
        let points = cure_clock(&steps, 20.0, Some("2026-12-01 22:00".parse().unwrap()));
        let times: Vec<f64> = points.iter().map(|p| p.minutes).collect();
        assert_eq!(times, [0.0, 30.0, 90.0, 130.0, 190.0, 210.0]);
        assert_eq!(points[5].clock.as_deref(), Some("2026-12-02 01:30"), "over midnight");
    }
}
