//! Dates of the calendar from nanoseconds since 1970, for names of files, ages and lists. UTC only.

/// Year, month and day, by the proleptic Gregorian calendar (Howard Hinnant, "chrono-Compatible
/// Low-Level Date Algorithms", `civil_from_days`).
fn civil(days: u64) -> (u64, u64, u64) {
    let shifted = days + 719_468;
    let era = shifted / 146_097;
    let day_of_era = shifted % 146_097;
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let month_from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = (month_from_march + 2) % 12 + 1;
    (year_of_era + 400 * era + u64::from(month <= 2), month, day)
}

/// Noon (UTC) of a day told as `2026-03-01`; `None` when there is no such day from 1970 on.
#[must_use]
pub fn noon(day: &str) -> Option<u64> {
    let mut parts = day.splitn(3, '-').map(|part| part.parse::<u64>().ok());
    let told = (parts.next()??, parts.next()??, parts.next()??);
    // By the way back: no second calendar that could disagree. The year bounds the search.
    let first = told.0.checked_sub(1970)?.checked_mul(365)?;
    let days =
        (first..first.checked_add(366 + (told.0 - 1970) / 4)?).find(|&d| civil(d) == told)?;
    days.checked_mul(86_400_000_000_000)?
        .checked_add(43_200_000_000_000)
}

/// The year.
#[must_use]
pub fn year(utc_ns: u64) -> i64 {
    civil(utc_ns / 86_400_000_000_000).0.cast_signed()
}

/// `2026-03-01 14:05:09 UTC`.
#[must_use]
pub fn words(utc_ns: u64) -> String {
    let seconds = utc_ns / 1_000_000_000;
    let (year, month, day) = civil(seconds / 86_400);
    let (hour, minute, second) = (seconds / 3600 % 24, seconds / 60 % 60, seconds % 60);
    format!("{year:04}-{month:02}-{day:02} {hour:02}:{minute:02}:{second:02} UTC")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Dates by GNU `date -u -d @SECONDS`.
    #[test]
    fn dates_are_those_of_the_system() {
        for (seconds, said) in [
            (0, "1970-01-01 00:00:00 UTC"),
            (951_782_399, "2000-02-28 23:59:59 UTC"),
            (951_782_400, "2000-02-29 00:00:00 UTC"),
            (1_709_251_200, "2024-03-01 00:00:00 UTC"),
            (4_107_542_399, "2100-02-28 23:59:59 UTC"),
            (4_107_542_400, "2100-03-01 00:00:00 UTC"),
        ] {
            assert_eq!(words(seconds * 1_000_000_000), said);
        }
        assert_eq!(year(951_782_400_000_000_000), 2000);
        for (day, seconds) in [
            ("1970-01-01", Some(43_200)),
            ("2024-02-29", Some(1_709_208_000)),
            ("2100-02-28", Some(4_107_499_200)),
            ("2100-02-29", None),
            ("2024-13-01", None),
            ("1969-12-31", None),
            ("yesterday", None),
            ("18446744073709551615-01-01", None),
        ] {
            let ns = seconds.map(|s: u64| s * 1_000_000_000);
            assert_eq!(noon(day), ns, "{day}");
        }
    }
}
