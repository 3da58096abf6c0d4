//! The cure by the clock: ramps counted.

use crate::job::CureStep;
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
    let point = |minutes: f64, temperature: f64, what: String| CurePoint { minutes, temperature, what, clock: clock(minutes) };
    let (mut now, mut heat) = (0.0, room);
    let mut out = vec![point(0.0, room, "start".into())];
    for step in steps {
        let ramp = step.at.map_or_else(|| step.rate.map_or(0.0, |r| (step.to - heat).abs() / r), |at| at - now);
        if ramp > 0.0 {
            now += ramp;
            out.push(point(now, step.to, format!("{:.2} °C a minute", (step.to - heat).abs() / ramp)));
        }
        heat = step.to;
        if step.hold > 0.0 {
            now += step.hold;
            out.push(point(now, heat, format!("held {:.0} min", step.hold)));
        }
    }
    out
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// 20 to 80 °C at 2 a minute, 60 min, to 120 at 1, 60 min, to 60 at 3: 210 min, worked out outside of the crate.
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
