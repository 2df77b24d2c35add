//! Decimal mark and thousands separator, by counting.

use crate::rows::number::NumberForm;

/// How numbers seem to be written, and how sure that is.
#[derive(Clone, Copy, PartialEq, Debug)]
pub(super) struct Marks {
    pub form: NumberForm,
    /// Numbers seen with a decimal comma, and with a decimal point.
    pub commas: usize,
    pub points: usize,
}

/// What one cell says.
#[derive(Default)]
struct Counts {
    decimal_comma: usize,
    decimal_point: usize,
    thousands_comma: usize,
    thousands_point: usize,
    /// `1,234` and `1.234` may be either.
    comma_or_thousands: usize,
    point_or_thousands: usize,
}

/// Counts over all cells of a sample.
pub(super) fn of<'c>(cells: impl Iterator<Item = &'c str>) -> Marks {
    let mut counts = Counts::default();
    for cell in cells {
        count(cell, &mut counts);
    }
    let comma = counts.decimal_comma > counts.decimal_point
        || (counts.decimal_comma == counts.decimal_point && counts.thousands_point > counts.thousands_comma);
    let (decimal, thousands) = if comma {
        let grouped = counts.thousands_point + counts.point_or_thousands > 0;
        (b',', grouped.then_some(b'.'))
    } else {
        let grouped = counts.thousands_comma > 0 || (counts.comma_or_thousands > 0 && counts.decimal_point > 0);
        (b'.', grouped.then_some(b','))
    };
    Marks { form: NumberForm { decimal, thousands }, commas: counts.decimal_comma, points: counts.decimal_point }
}

fn count(cell: &str, counts: &mut Counts) {
    let number = cell.trim_start_matches(['-', '+']);
    let end = number.find(|c: char| !c.is_ascii_digit() && c != ',' && c != '.').unwrap_or(number.len());
    // a unit may follow: `20,5 lb`; anything else is no number
    let (number, unit) = number.split_at(end);
    if unit.trim_start().len() > 4 || unit.contains(|c: char| c.is_ascii_digit()) {
        return;
    }
    let marks: Vec<char> = number.chars().filter(|c| !c.is_ascii_digit()).collect();
    let last = number.rsplit([',', '.']).next().map_or(0, str::len);
    let first = number.split([',', '.']).next().map_or(0, str::len);
    if first == 0 || last == 0 {
        return;
    }
    match marks.as_slice() {
        [','] if last == 3 && first <= 3 => counts.comma_or_thousands += 1,
        ['.'] if last == 3 && first <= 3 => counts.point_or_thousands += 1,
        [','] => counts.decimal_comma += 1,
        ['.'] => counts.decimal_point += 1,
        [groups @ .., ','] if !groups.is_empty() && groups.iter().all(|mark| *mark == '.') => {
            counts.decimal_comma += 1;
            counts.thousands_point += 1;
        }
        [groups @ .., '.'] if !groups.is_empty() && groups.iter().all(|mark| *mark == ',') => {
            counts.decimal_point += 1;
            counts.thousands_comma += 1;
        }
        [first_mark, ..] if marks.iter().all(|mark| mark == first_mark) && grouped(number) => match first_mark {
            ',' => counts.thousands_comma += 1,
            _ => counts.thousands_point += 1,
        },
        _ => {}
    }
}

/// Groups of three after the first mark: `1.234.567`, but not the date `01.07.2026`.
fn grouped(number: &str) -> bool {
    number.split([',', '.']).skip(1).all(|group| group.len() == 3)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn marks(cells: &[&str]) -> (u8, Option<u8>) {
        let form = of(cells.iter().copied()).form;
        (form.decimal, form.thousands)
    }

    #[test]
    fn the_commoner_mark_is_the_decimal_one() {
        assert_eq!(marks(&["20,5", "3", "01.07.2026"]), (b',', None));
        assert_eq!(marks(&["20.5", "3"]), (b'.', None));
        assert_eq!(marks(&["20,5 lb", "21,5 lb"]), (b',', None));
        assert_eq!(marks(&["5", "7"]), (b'.', None));
    }

    #[test]
    fn groups_of_three_tell_the_thousands_separator() {
        assert_eq!(marks(&["1.234,5", "20,5"]), (b',', Some(b'.')));
        assert_eq!(marks(&["1,234.5"]), (b'.', Some(b',')));
        assert_eq!(marks(&["1.234", "20,5"]), (b',', Some(b'.')));
        assert_eq!(marks(&["1.234.567"]), (b',', Some(b'.')));
        assert_eq!(marks(&["1.234", "5.25"]), (b'.', None), "three decimals beside two");
    }
}
