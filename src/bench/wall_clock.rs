//! Moments as the clock on the wall shows them.

/// A moment by the clock on the wall.
pub fn wall_clock(seconds: i64) -> String {
    let zone = jiff::tz::TimeZone::system();
    jiff::Timestamp::from_second(seconds).map_or_else(
        |_| String::new(),
        |t| t.to_zoned_datetime(zone).strftime("%Y-%m-%d %H:%M").to_string(),
    )
}
