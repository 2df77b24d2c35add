//! Direct identifiers: numbers of persons that are known by their form, their check digit or the date in them.
//!
//! Forms and check digits are those of the states that issue the numbers (from memory, check before relying on
//! them). A check digit of one in eleven proves nothing of one key; of most keys of a file it does.

use std::ops::RangeInclusive;

/// Years in which patients were born, and before which no visit is recorded: a date in a key is then a birth date.
const BIRTH_YEARS: RangeInclusive<u32> = 1905..=1999;

/// A number known by digits alone; `digits` are ASCII digits.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum NumberForm {
    /// Ten digits, the last one mod 11: the number of a national health service.
    HealthService,
    /// Nine digits that pass the test of eleven.
    Citizen,
    /// Thirteen digits of sex, birth year and month, and more, with two check digits or without.
    BirthRegister,
    /// A North American telephone number, with its 1 or without.
    NorthAmericanPhone,
    /// A telephone number with a leading 0.
    LocalPhone,
    /// A telephone number that begins with the code of a country of western Europe.
    CountryPhone,
    /// Sixteen digits with the check digit of a card.
    Card,
}

impl NumberForm {
    pub const ALL: [Self; 7] = [
        Self::HealthService,
        Self::Citizen,
        Self::BirthRegister,
        Self::NorthAmericanPhone,
        Self::LocalPhone,
        Self::CountryPhone,
        Self::Card,
    ];

    /// Whether digits have the form.
    pub fn fits(self, digits: &[u8]) -> bool {
        let first = digits.first();
        match self {
            Self::HealthService => {
                let check = 11 - weighted(digits, &[10, 9, 8, 7, 6, 5, 4, 3, 2]).rem_euclid(11);
                digits.len() == 10 && check != 10 && value(digits, 9..10) == Some(check as u64 % 11)
            }
            Self::Citizen => digits.len() == 9 && weighted(digits, &[9, 8, 7, 6, 5, 4, 3, 2, -1]).rem_euclid(11) == 0,
            Self::BirthRegister => {
                let month = value(digits, 3..5).is_some_and(|month| matches!(month, 1..=12 | 20..=42));
                let checked = match value(digits, 13..15) {
                    Some(check) => value(digits, 0..13).is_some_and(|number| 97 - number % 97 == check),
                    None => digits.len() == 13,
                };
                matches!(digits.len(), 13 | 15) && matches!(first, Some(b'1' | b'2')) && month && checked
            }
            Self::NorthAmericanPhone => {
                let national = match digits.len() {
                    11 if first == Some(&b'1') => digits.get(1..),
                    _ => Some(digits),
                };
                national.is_some_and(|d| {
                    d.len() == 10 && [0, 3].iter().all(|at| d.get(*at).is_some_and(|digit| *digit >= b'2'))
                })
            }
            Self::LocalPhone => {
                (10..=12).contains(&digits.len()) && first == Some(&b'0') && digits.get(1).is_some_and(|d| *d >= b'1')
            }
            Self::CountryPhone => {
                const CODES: [&[u8]; 9] = [b"31", b"32", b"33", b"34", b"39", b"41", b"43", b"44", b"49"];
                (11..=13).contains(&digits.len()) && CODES.iter().any(|code| digits.starts_with(code))
            }
            Self::Card => digits.len() == 16 && has_card_check(digits),
        }
    }
}

/// The number in a stretch of digits.
fn value(digits: &[u8], stretch: std::ops::Range<usize>) -> Option<u64> {
    std::str::from_utf8(digits.get(stretch)?).ok()?.parse().ok()
}

fn weighted(digits: &[u8], weights: &[i64]) -> i64 {
    digits.iter().zip(weights).map(|(digit, weight)| i64::from(digit - b'0') * weight).sum()
}

/// Each second digit from the end doubled, the sum of all digits a multiple of ten.
fn has_card_check(digits: &[u8]) -> bool {
    let sum: u32 = digits
        .iter()
        .rev()
        .enumerate()
        .map(|(i, digit)| match u32::from(digit - b'0') * (1 + i as u32 % 2) {
            double @ 10.. => double - 9,
            single => single,
        })
        .sum();
    sum.is_multiple_of(10)
}

/// Numbers of persons whose form is so narrow that one is enough: letters and digits, spaces and dashes taken out,
/// in upper case.
pub(super) fn is_narrow_form(plain: &[u8]) -> bool {
    let date = |at: usize| plain.get(at..at + 6).is_some_and(|six| Order::ALL.iter().any(|order| order.fits_six(six)));
    match plain.len() {
        // Austria: serial and check, birth date; Germany: office, birth date, letter, serial
        12 => has_pattern(plain, b"99999999A999") && date(2),
        // Italy: name, year, month, day, place
        16 => has_pattern(plain, b"AAAAAA99A99A999A"),
        // Medicare of the United States
        11 => has_pattern(plain, b"9A*9A*9AA99") && plain.first() != Some(&b'0'),
        _ => is_bank_account(plain),
    }
}

/// Forms that some clinics' own keys also have; most keys of a file must.
pub(super) fn is_wide_form(plain: &[u8]) -> bool {
    match plain.len() {
        // Spain: eight digits and the letter that follows from them; a foreigner's has a letter first
        9 if plain.last().is_some_and(u8::is_ascii_uppercase) => {
            is_spanish(plain)
                // United Kingdom: two letters, six digits, A to D
                || (has_pattern(plain, b"AA999999A") && plain.last().is_some_and(|last| *last <= b'D'))
        }
        _ => false,
    }
}

fn is_spanish(plain: &[u8]) -> bool {
    const LETTERS: &[u8] = b"TRWAGMYFPDXBNJZSQVHLCKE";
    let mut digits = plain.get(..8).unwrap_or_default().to_vec();
    if let Some(first) = digits.first_mut()
        && let Some(number) = b"XYZ".iter().position(|letter| letter == first)
    {
        *first = b'0' + number as u8;
    }
    let letter = value(&digits, 0..8).and_then(|number| LETTERS.get((number % 23) as usize));
    digits.iter().all(u8::is_ascii_digit) && letter.is_some() && letter == plain.last()
}

/// Two letters, two check digits, up to thirty letters and digits: the remainder by 97 is 1.
fn is_bank_account(plain: &[u8]) -> bool {
    let (Some(start), Some(rest)) = (plain.get(..4), plain.get(4..)) else { return false };
    if !(15..=34).contains(&plain.len()) || !has_pattern(start, b"AA99") {
        return false;
    }
    let remainder = rest.iter().chain(start).try_fold(0u32, |remainder, byte| match byte {
        b'0'..=b'9' => Some((remainder * 10 + u32::from(byte - b'0')) % 97),
        b'A'..=b'Z' => Some((remainder * 100 + u32::from(byte - b'A') + 10) % 97),
        _ => None,
    });
    remainder == Some(1)
}

/// `9` a digit, `A` a capital letter, `*` either.
fn has_pattern(text: &[u8], pattern: &[u8]) -> bool {
    text.len() == pattern.len()
        && text.iter().zip(pattern).all(|(byte, wanted)| match wanted {
            b'9' => byte.is_ascii_digit(),
            b'A' => byte.is_ascii_uppercase(),
            _ => byte.is_ascii_alphanumeric(),
        })
}

/// The order of day, month and year in a date without marks.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Order {
    /// 580312 or 19580312.
    YearMonthDay,
    /// 120358 or 12031958.
    DayMonthYear,
    /// 031258 or 03121958.
    MonthDayYear,
}

impl Order {
    pub const ALL: [Self; 3] = [Self::YearMonthDay, Self::DayMonthYear, Self::MonthDayYear];

    /// Whether eight digits are a date on which a patient may be born, and before which no visit is recorded.
    pub fn is_birth(self, eight: &[u8]) -> bool {
        let ((year, month), day) = match self {
            Self::YearMonthDay => ((value(eight, 0..4), value(eight, 4..6)), value(eight, 6..8)),
            Self::DayMonthYear => ((value(eight, 4..8), value(eight, 2..4)), value(eight, 0..2)),
            Self::MonthDayYear => ((value(eight, 4..8), value(eight, 0..2)), value(eight, 2..4)),
        };
        eight.len() == 8 && year.is_some_and(|year| BIRTH_YEARS.contains(&(year as u32))) && is_day(month, day)
    }

    /// Whether six digits are a date with a year of two digits.
    pub fn fits_six(self, six: &[u8]) -> bool {
        let (month, day) = match self {
            Self::YearMonthDay => (value(six, 2..4), value(six, 4..6)),
            Self::DayMonthYear => (value(six, 2..4), value(six, 0..2)),
            Self::MonthDayYear => (value(six, 0..2), value(six, 2..4)),
        };
        six.len() == 6 && is_day(month, day)
    }

    /// The two digits of the year in six digits.
    pub fn year_of_six(self, six: &[u8]) -> Option<u64> {
        value(six, if self == Self::YearMonthDay { 0..2 } else { 4..6 })
    }
}

fn is_day(month: Option<u64>, day: Option<u64>) -> bool {
    month.is_some_and(|month| (1..=12).contains(&month)) && day.is_some_and(|day| (1..=31).contains(&day))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_made_by_the_rule_fit_and_their_neighbours_do_not() {
        // each number is invented to pass its own rule; the last digit changed must not
        let cases: [(NumberForm, &[u8]); 4] = [
            (NumberForm::HealthService, b"9999999999"),
            (NumberForm::Citizen, b"111222333"),
            (NumberForm::BirthRegister, b"258039999999933"),
            (NumberForm::Card, b"4000000000000002"),
        ];
        for (form, number) in cases {
            assert!(form.fits(number), "{form:?}");
            let mut other = number.to_vec();
            let last = other.last_mut().unwrap();
            *last = if *last == b'9' { b'0' } else { *last + 1 };
            assert!(!form.fits(&other), "{form:?}");
        }
        for number in [&b""[..], b"1", b"12345", b"00000000000000000000"] {
            assert!(NumberForm::ALL.iter().all(|form| !form.fits(number)));
        }
    }

    #[test]
    fn narrow_and_wide_forms() {
        assert!(is_narrow_form(b"65170839J003") && !is_narrow_form(b"65999939J003"), "the date must be one");
        assert!(is_narrow_form(b"GB82WEST12345698765432") && !is_narrow_form(b"GB82WEST12345698765433"));
        assert!(is_narrow_form(b"1EG4TE5MK73") && !is_narrow_form(b"0EG4TE5MK73"));
        assert!(is_wide_form(b"12345678Z") && is_wide_form(b"X1234567L") && !is_wide_form(b"12345678A"));
        assert!(is_wide_form(b"QQ123456C") && !is_wide_form(b"QQ123456E"));
        assert!(!is_narrow_form(b"") && !is_wide_form(b""));
    }

    #[test]
    fn a_birth_date_is_told_from_the_day_of_a_visit_by_its_year() {
        let births = |eight: &[u8]| Order::ALL.iter().filter(|order| order.is_birth(eight)).count();
        assert!(births(b"19580312") > 0 && births(b"12031958") > 0 && births(b"03311958") > 0);
        for visit in [&b"20260312"[..], b"12032026", b"19581312", b"00417200", b"1958031"] {
            assert_eq!(births(visit), 0);
        }
        assert!(Order::DayMonthYear.fits_six(b"310758") && !Order::DayMonthYear.fits_six(b"073158"));
        assert_eq!(Order::YearMonthDay.year_of_six(b"580312"), Some(58));
    }
}
