//! A calendar day.

use crate::fault::Fault;
use crate::units::quoted;
use jiff::civil::Date;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A day of the calendar, written `2026-11-25` (ISO 8601).
#[derive(
    Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(try_from = "String", into = "String")]
#[schemars(with = "String")]
pub struct Day(Date);

/// No cloth in use is older, and none keeps longer: a year outside is a slip of the pen.
const YEARS: std::ops::RangeInclusive<i16> = 1990..=2199;

impl Day {
    /// Reads `2026-11-25`.
    ///
    /// # Errors
    /// A text that is no such day, or a year before 1990 or after 2199.
    pub fn parse(text: &str) -> Result<Day, Fault> {
        let day = Day::written(text.trim()).filter(|day| day.is_plausible());
        day.ok_or_else(|| {
            Fault::new(
                said!("{} is not a date", quoted(text.trim())),
                "write year, month and day of 1990 to 2199, as in 2027-03-31",
            )
        })
    }

    fn written(text: &str) -> Option<Day> {
        let strict = text.len() == 10 && text.is_ascii();
        text.parse::<Date>().ok().filter(|_| strict).map(Day)
    }

    /// True in the years 1990 to 2199: any other day comes from a wrong clock.
    pub fn is_plausible(self) -> bool {
        YEARS.contains(&self.0.year())
    }

    /// The day now, where the computer's clock says it is; UTC if it has no time zone.
    pub fn today() -> Day {
        Day(clock().to_zoned_datetime(jiff::tz::TimeZone::system()).date())
    }

    /// Days from this one to a later one; negative if that is earlier.
    pub fn days_until(self, later: Day) -> i64 {
        // The span between two dates of the calendar is counted in days unless asked otherwise.
        (later.0 - self.0).get_days().into()
    }

    /// The day so many days later; the end of the calendar if there is none.
    #[must_use]
    pub fn plus_days(self, days: u32) -> Day {
        Day(self.0.saturating_add(jiff::Span::new().days(days.min(1_000_000))))
    }
}

/// The computer's clock; the end of the calendar if it stands beyond that.
pub(crate) fn clock() -> jiff::Timestamp {
    let now = std::time::SystemTime::now();
    let beyond =
        if now < std::time::UNIX_EPOCH { jiff::Timestamp::MIN } else { jiff::Timestamp::MAX };
    jiff::Timestamp::try_from(now).unwrap_or(beyond)
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl From<Day> for String {
    fn from(day: Day) -> String {
        day.to_string()
    }
}

impl TryFrom<String> for Day {
    type Error = String;

    /// Reads a day that was recorded: a clock that stood wrong does not make the record unreadable.
    fn try_from(text: String) -> Result<Day, String> {
        Day::written(&text).ok_or_else(|| format!("{} is not a date", quoted(&text)))
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    #[test]
    fn days_are_read_strictly_and_counted_over_the_leap_day() {
        let day = |t: &str| Day::parse(t).unwrap();
        assert_eq!(day("2026-11-25").to_string(), "2026-11-25");
        // 2028 is divisible by 4 and not by 100 (Gregorian calendar).
        assert_eq!(day("2028-02-28").days_until(day("2028-03-01")), 2);
        assert_eq!(day("2027-02-28").days_until(day("2027-03-01")), 1);
        assert_eq!(day("2027-03-01").days_until(day("2027-02-28")), -1);
        assert_eq!(day("2026-12-31").plus_days(1), day("2027-01-01"));
        for text in [
            "",
            "2026-02-29",
            "2026-13-01",
            "25.11.2026",
            "2026-11-25T10:00",
            "tomorrow",
            "0026-11-25",
            "2026-1-5",
            "9999-12-31",
        ] {
            assert!(Day::parse(text).is_err(), "{text}");
        }
    }

    #[test]
    fn a_day_that_a_wrong_clock_recorded_is_read_back_and_known_as_one() {
        let recorded = Day::try_from("1980-01-01".to_string()).unwrap();
        assert!(!recorded.is_plausible() && day_text(recorded) == "1980-01-01");
        assert!(Day::try_from("1980-02-30".to_string()).is_err());
    }

    fn day_text(day: Day) -> String {
        String::from(day)
    }
}
