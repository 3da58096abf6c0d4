//! When something happens.

use crate::stock::Day;

/// When something happens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Moment {
    /// Seconds since 1970.
    pub seconds: i64,
    /// The day, where the computer's clock says it is.
    pub day: Day,
}

impl Moment {
    /// Now.
    pub fn now() -> Moment {
        Moment { seconds: crate::day::clock().as_second(), day: Day::today() }
    }

    pub(super) fn text(&self) -> String {
        jiff::Timestamp::from_second(self.seconds)
            .map_or_else(|_| self.day.to_string(), |t| t.to_string())
    }
}
