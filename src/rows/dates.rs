//! A date in a cell, in the one form that the mapping declares.

use chrono::{Datelike, NaiveDate};

/// A declared date form, taken apart once per file.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct DateForm {
    format: String,
    /// The three parts and two separators of a plain form such as `%d.%m.%Y`.
    plain: Option<([Part; 3], [u8; 2])>,
}

#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Part {
    Day,
    Month,
    Year,
    ShortYear,
}

impl DateForm {
    /// From a chrono format.
    pub fn new(format: &str) -> Self {
        Self { format: format.to_owned(), plain: plain_form(format.as_bytes()) }
    }

    /// Reads a whole cell, trimmed; a time of day after the date (`2026-07-01 10:30`, `2026-07-01T10:30`) is passed over.
    pub fn read(&self, cell: &[u8]) -> Option<NaiveDate> {
        match &self.plain {
            Some((parts, separators)) => read_plain(cell, parts, separators),
            None => NaiveDate::parse_from_str(std::str::from_utf8(cell).ok()?, &self.format).ok(),
        }
    }
}

fn plain_form(format: &[u8]) -> Option<([Part; 3], [u8; 2])> {
    let part = |at: usize| match format.get(at..at + 2)? {
        b"%d" | b"%e" => Some(Part::Day),
        b"%m" => Some(Part::Month),
        b"%Y" => Some(Part::Year),
        b"%y" => Some(Part::ShortYear),
        _ => None,
    };
    if format.len() != 8 {
        return None;
    }
    let separators = [*format.get(2)?, *format.get(5)?];
    if separators.iter().any(|s| s.is_ascii_alphanumeric() || *s == b'%') {
        return None;
    }
    Some(([part(0)?, part(3)?, part(6)?], separators))
}

fn read_plain(cell: &[u8], parts: &[Part; 3], separators: &[u8; 2]) -> Option<NaiveDate> {
    let (mut day, mut month, mut year) = (0u32, 0u32, 0i32);
    let mut rest = cell;
    for (i, part) in parts.iter().enumerate() {
        let digits = rest.iter().take_while(|b| b.is_ascii_digit()).count();
        let (most, least) = match part {
            Part::Year => (4, 4),
            Part::ShortYear => (2, 2),
            Part::Day | Part::Month => (2, 1),
        };
        if !(least..=most).contains(&digits) {
            return None;
        }
        let (number, after) = rest.split_at(digits);
        let number = number.iter().fold(0u32, |n, b| 10 * n + u32::from(b - b'0'));
        match part {
            Part::Day => day = number,
            Part::Month => month = number,
            Part::Year => year = number as i32,
            // POSIX strptime: 69 to 99 are 19xx, 00 to 68 are 20xx
            Part::ShortYear => year = number as i32 + if number >= 69 { 1900 } else { 2000 },
        }
        rest = after;
        if let Some(separator) = separators.get(i) {
            rest = rest.strip_prefix(&[*separator])?;
        }
    }
    let time_follows = matches!(rest, [b' ' | b'T', b'0'..=b'9', ..])
        && rest.iter().skip(1).all(|b| b.is_ascii_digit() || matches!(b, b':' | b'.' | b'Z' | b'+' | b'-'));
    if !rest.is_empty() && !time_follows {
        return None;
    }
    NaiveDate::from_ymd_opt(year, month, day)
}

/// The earliest year a visit can have: motorised traction recorded before it is a typing error.
pub const EARLIEST_YEAR: i32 = 1990;

/// Whether a date lies before the earliest year.
pub fn too_early(date: NaiveDate) -> bool {
    date.year() < EARLIEST_YEAR
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(format: &str, cell: &str) -> Option<String> {
        DateForm::new(format).read(cell.as_bytes()).map(|d| d.to_string())
    }

    #[test]
    fn the_declared_order_decides_and_nothing_else() {
        assert_eq!(read("%d/%m/%Y", "03/04/2026").as_deref(), Some("2026-04-03"));
        assert_eq!(read("%m/%d/%Y", "03/04/2026").as_deref(), Some("2026-03-04"));
        assert_eq!(read("%d/%m/%Y", "12/25/2026"), None);
        assert_eq!(read("%d.%m.%Y", "1.7.2026").as_deref(), Some("2026-07-01"));
        assert_eq!(read("%Y-%m-%d", "2026-02-29"), None);
        assert_eq!(read("%Y-%m-%d", "2024-02-29").as_deref(), Some("2024-02-29"));
    }

    #[test]
    fn two_digit_years_are_read_only_when_declared() {
        assert_eq!(read("%d.%m.%Y", "01.07.26"), None);
        assert_eq!(read("%d.%m.%y", "01.07.26").as_deref(), Some("2026-07-01"));
        assert_eq!(read("%d.%m.%y", "01.07.2026"), None);
    }

    #[test]
    fn a_time_of_day_is_passed_over_and_other_text_is_not() {
        assert_eq!(read("%Y-%m-%d", "2026-07-01T10:30:00Z").as_deref(), Some("2026-07-01"));
        assert_eq!(read("%Y-%m-%d", "2026-07-01 10:30").as_deref(), Some("2026-07-01"));
        assert_eq!(read("%Y-%m-%d", "2026-07-01 call"), None);
        assert_eq!(read("%Y-%m-%d", "2026-07-01x"), None);
    }

    #[test]
    fn other_forms_are_read_by_chrono() {
        assert_eq!(read("%d %b %Y", "01 Jul 2026").as_deref(), Some("2026-07-01"));
        assert_eq!(read("%Y%m%d", "20260701").as_deref(), Some("2026-07-01"));
    }

    #[test]
    fn the_year_0202_is_a_date_but_too_early() {
        let date = DateForm::new("%Y-%m-%d").read(b"0202-05-01").unwrap();
        assert!(too_early(date));
    }
}
