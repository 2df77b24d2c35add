//! When a row happened: a calendar day, or a day offset with at most a quarter beside it.

use chrono::{Datelike, NaiveDate};
use std::fmt;
use std::num::NonZeroU16;
use std::ops::RangeInclusive;

/// A calendar quarter, counted as `4 * year + quarter - 1`. Range: years 1900 to 2200.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Quarter(NonZeroU16);

impl Quarter {
    /// The quarter of a year; `None` unless the year is 1900 to 2200 and the quarter 1 to 4.
    pub fn new(year: i32, quarter: u32) -> Option<Self> {
        if !(1900..=2200).contains(&year) || !(1..=4).contains(&quarter) {
            return None;
        }
        u16::try_from(4 * year + quarter as i32 - 1).ok().and_then(NonZeroU16::new).map(Self)
    }

    /// The quarter a calendar day falls in.
    pub fn of(date: NaiveDate) -> Option<Self> {
        Self::new(date.year(), date.month0() / 3 + 1)
    }

    /// Reads `2026-Q3`, `2026Q3`, `Q3 2026`, `3/2026` or `2026/3`.
    pub fn parse(text: &str) -> Option<Self> {
        let mut numbers = text.split(|c: char| !c.is_ascii_digit()).filter(|part| !part.is_empty());
        let (first, second) = (numbers.next()?, numbers.next()?);
        if numbers.next().is_some() {
            return None;
        }
        let (year, quarter) = match (first.len(), second.len()) {
            (4, 1) => (first, second),
            (1, 4) => (second, first),
            _ => return None,
        };
        Self::new(year.parse().ok()?, quarter.parse().ok()?)
    }

    /// The year.
    pub fn year(self) -> i32 {
        i32::from(self.0.get()) / 4
    }

    /// The quarter of the year, 1 to 4.
    pub fn number(self) -> u32 {
        u32::from(self.0.get()) % 4 + 1
    }

    /// The quarter after this one.
    pub fn next(self) -> Self {
        Self(self.0.saturating_add(1))
    }

    /// The quarter before this one.
    pub fn previous(self) -> Self {
        Self(NonZeroU16::new(self.0.get() - 1).unwrap_or(self.0))
    }

    /// The same quarter of the year before.
    pub fn a_year_before(self) -> Self {
        self.previous().previous().previous().previous()
    }

    /// Its first calendar day.
    pub fn first_day(self) -> NaiveDate {
        NaiveDate::from_ymd_opt(self.year(), 3 * (self.number() - 1) + 1, 1).unwrap_or_default()
    }
}

impl fmt::Display for Quarter {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}-Q{}", self.year(), self.number())
    }
}

/// The most days an offset may have, about a hundred years; and the least, ten years before the start.
pub const DAY_OFFSETS: RangeInclusive<f64> = -3_660.0..=36_600.0;

/// The day of a row.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum When {
    /// A calendar day, as days since 1970-01-01.
    Calendar {
        /// Days since 1970-01-01.
        day: i32,
    },
    /// A day offset on the patient's own clock, with the quarter the export gives, if any.
    Offset {
        /// Days since whatever the site counts from.
        day: i32,
        /// The calendar quarter of the row.
        quarter: Option<Quarter>,
    },
}

const EPOCH_FROM_COMMON_ERA: i32 = 719_163; // 1970-01-01 in chrono's day count

impl When {
    /// A calendar day.
    pub fn calendar(date: NaiveDate) -> Self {
        Self::Calendar { day: date.num_days_from_ce() - EPOCH_FROM_COMMON_ERA }
    }

    /// The day number on the row's own clock.
    pub fn day(self) -> i32 {
        match self {
            Self::Calendar { day } | Self::Offset { day, .. } => day,
        }
    }

    /// The calendar date, when the export gave one.
    pub fn date(self) -> Option<NaiveDate> {
        match self {
            Self::Calendar { day } => date_of(day),
            Self::Offset { .. } => None,
        }
    }

    /// The quarter the row falls in, when known.
    pub fn quarter(self) -> Option<Quarter> {
        match self {
            Self::Calendar { .. } => self.date().and_then(Quarter::of),
            Self::Offset { quarter, .. } => quarter,
        }
    }

    /// Whether both days are counted on the same kind of clock.
    pub fn same_clock(self, other: Self) -> bool {
        matches!(self, Self::Calendar { .. }) == matches!(other, Self::Calendar { .. })
    }
}

/// The calendar date of a day number since 1970-01-01.
pub fn date_of(day: i32) -> Option<NaiveDate> {
    NaiveDate::from_num_days_from_ce_opt(day.checked_add(EPOCH_FROM_COMMON_ERA)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quarter_is_read_in_each_of_its_spellings() {
        let expected = Quarter::new(2026, 3);
        for text in ["2026-Q3", "2026Q3", "Q3 2026", "3/2026", "2026/3"] {
            assert_eq!(Quarter::parse(text), expected, "{text}");
        }
        for text in ["2026-Q5", "26-Q3", "2026", "Q3", "2026-13", "1-2-2026"] {
            assert_eq!(Quarter::parse(text), None, "{text}");
        }
    }

    #[test]
    fn the_first_of_october_starts_the_fourth_quarter() {
        let day = NaiveDate::from_ymd_opt(2026, 10, 1).unwrap();
        let quarter = When::calendar(day).quarter().unwrap();
        assert_eq!(quarter.to_string(), "2026-Q4");
        assert_eq!(quarter.first_day(), day);
        assert_eq!(quarter.next().to_string(), "2027-Q1");
        assert_eq!(quarter.next().previous(), quarter);
    }

    #[test]
    fn the_day_number_counts_from_1970() {
        let day = NaiveDate::from_ymd_opt(1970, 1, 2).unwrap();
        assert_eq!(When::calendar(day).day(), 1);
        assert_eq!(date_of(1), Some(day));
    }
}
