//! To how many digits a number may circulate, decided in one place by what kind of number it is.
//!
//! Digits beyond what a number's uncertainty supports say nothing of the group, but they tell the counts behind it: an area under
//! the curve in full digits leaves one pair of counts possible, and two means one patient apart give that patient's score.
//!
//! **Statistics** are rounded to a step of 1, 2 or 5 times a power of ten. Inside the group it is the largest that is at most a fifth of the
//! standard error (so a fifth to a twelfth of it); for release the smallest that is at least two fifths of it (two fifths to the whole).
//! Rounding adds at most 0.4 % to the variance of what is said inside the group, at most 8 % in a release.
//!
//! **Counts** of a release are multiples of five. Where a count goes up or down is drawn for each five from the data themselves: the
//! remainders from which it goes up begin at 2, 3 or 4. Equal counts stay equal, a larger one never becomes the smaller, no error is
//! beyond 3; and any change in the data draws all borders anew, so that of two editions one patient apart no change of a count tells
//! whether the patient is in it: a border that moved explains it as well. Shares are worked out from the rounded counts.
//!
//! **p values** are rounded up, to two digits or to one, so that none falls below a threshold by being rounded.

use super::shown::{Estimate, Shown};
use super::withhold::Rule;
use crate::group::settings::Audience;
use mendcurve_stats::Level;
use mendcurve_stats::interval::{ERRORS_95, wilson};

/// Standard errors from one end of a 95 % interval to the other.
pub(super) const ERRORS_ACROSS: f64 = 2.0 * ERRORS_95;
/// Counts of a release are multiples of it.
const BASE: u32 = 5;
/// A smaller p value is told as this.
const LEAST_P: f64 = 1e-6;
/// The least count of patients in a release: smaller ones are withheld, and what is rounded must not look as small.
const LEAST: u32 = 15;

/// A step of 1, 2 or 5 times a power of ten.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Step {
    digit: f64,
    power: i32,
}

impl Step {
    /// The largest step that is no wider; `None` for a width that is not a positive number.
    pub fn at_most(width: f64) -> Option<Self> {
        let power = power_of(width)?;
        let digit = [5.0, 2.0, 1.0].into_iter().find(|digit| Self { digit: *digit, power }.width() <= width);
        Some(digit.map_or(Self { digit: 5.0, power: power - 1 }, |digit| Self { digit, power }))
    }

    /// The smallest step that is no narrower.
    pub fn at_least(width: f64) -> Option<Self> {
        let power = power_of(width)?;
        let digit = [1.0, 2.0, 5.0].into_iter().find(|digit| Self { digit: *digit, power }.width() >= width);
        Some(digit.map_or(Self { digit: 1.0, power: power + 1 }, |digit| Self { digit, power }))
    }

    /// Its width.
    pub fn width(self) -> f64 {
        self.times(1.0)
    }

    /// The nearest multiple.
    pub fn round(self, value: f64) -> f64 {
        self.times((value / self.width()).round())
    }

    /// This many steps: one product or quotient of whole numbers, so that 3 times 0.1 is written 0.3.
    fn times(self, steps: f64) -> f64 {
        let whole = steps * self.digit;
        if self.power < 0 { whole / 10_f64.powi(-self.power) } else { whole * 10_f64.powi(self.power) }
    }
}

fn power_of(width: f64) -> Option<i32> {
    (width.is_finite() && width > 0.0).then(|| width.log10().floor() as i32)
}

/// How numbers are rounded for one readership.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Precision {
    /// Inside the group: counts as they are.
    Internal,
    /// For release: counts in fives, by borders drawn from this number.
    Release(u64),
}

impl Precision {
    /// `fingerprint`: a number that any change of the data changes; asked for only where it is needed.
    pub fn of(audience: Audience, fingerprint: impl FnOnce() -> u64) -> Self {
        match audience {
            Audience::Internal => Self::Internal,
            Audience::Release => Self::Release(fingerprint()),
        }
    }

    /// The rule of what is small, for release up to 10, 11 or 12: that a count is withheld in one of two editions does then not tell
    /// that it is one less.
    pub fn rule(self, rule: Rule) -> Rule {
        match self {
            Self::Internal => rule,
            Self::Release(drawn_from) => Rule { up_to: rule.up_to + (mixed(!drawn_from) % 3) as u32, ..rule },
        }
    }

    /// Whether counts are rounded.
    pub fn is_release(self) -> bool {
        self != Self::Internal
    }

    /// The step for a statistic of this standard error.
    pub fn step(self, standard_error: f64) -> Option<Step> {
        match self {
            Self::Internal => Step::at_most(standard_error / 5.0),
            Self::Release(_) => Step::at_least(standard_error / 2.5),
        }
    }

    /// The widest step in standard errors: digits are 1, 2 and 5, so that the smallest step of at least two fifths of an error is at most 2.5 times as
    /// wide as that.
    pub(super) fn widest_step(self) -> f64 {
        match self {
            Self::Internal => 1.0 / 5.0,
            Self::Release(_) => 1.0,
        }
    }

    /// A statistic; one without an error stays as it is.
    pub fn number(self, value: f64, standard_error: f64) -> f64 {
        self.step(standard_error).map_or(value, |step| step.round(value))
    }

    /// A statistic with its limits, all to the same step.
    pub fn estimate(self, of: Estimate) -> Estimate {
        let Some(step) = self.step(standard_error(of)) else { return of };
        Estimate { value: step.round(of.value), low: step.round(of.low), high: step.round(of.high) }
    }

    /// Two limits around something of this standard error.
    pub fn limits(self, (low, high): (f64, f64), standard_error: f64) -> (f64, f64) {
        (self.number(low, standard_error), self.number(high, standard_error))
    }

    /// A p value, rounded up to two digits, for release to one.
    pub fn p(self, p: f64) -> f64 {
        let digits = if self.is_release() { 1 } else { 2 };
        let p = p.max(LEAST_P);
        let Some(power) = power_of(p) else { return p };
        let step = Step { digit: 1.0, power: power + 1 - digits };
        // a hair of a step, so that 0.05 stays 0.05
        step.times((p / step.width() - 1e-9).ceil()).min(1.0)
    }

    /// A number with no error of its own: to two digits, for release to one.
    pub fn rough(self, value: f64) -> f64 {
        let digits = if self.is_release() { 1 } else { 2 };
        power_of(value.abs()).map_or(value, |power| Step { digit: 1.0, power: power + 1 - digits }.round(value))
    }

    /// Visits, rows or readings.
    pub fn count(self, count: u32) -> u32 {
        match self {
            Self::Internal => count,
            Self::Release(drawn_from) => {
                let (five, rest) = (count / BASE, count % BASE);
                BASE.saturating_mul(five + u32::from(rest >= border(drawn_from, five)))
            }
        }
    }

    /// The same of a count that may be larger.
    pub fn count_of_rows(self, count: u64) -> u64 {
        u32::try_from(count).map_or(count, |count| u64::from(self.count(count)))
    }

    /// Patients or episodes: none, or no fewer than a release shows.
    pub fn people(self, count: u32) -> u32 {
        match self {
            Self::Release(_) if count > 0 => self.count(count).max(LEAST),
            _ => self.count(count),
        }
    }

    /// A count of people as it may be shown.
    pub fn shown(self, count: &mut Shown<u32>) {
        if let Shown::Value(count) = count {
            *count = self.people(*count);
        }
    }

    /// A share of people: of a release worked out from the rounded counts. `counts`: those of the share, as they are.
    pub fn share(self, share: &mut Shown<f64>, (some, all): (Shown<u32>, Shown<u32>)) {
        if let (Shown::Value(value), Shown::Value(some), Shown::Value(all)) = (share, some, all) {
            *value = match self {
                Self::Internal => self.number(*value, error_of_share(*value, all)),
                Self::Release(_) => to_thousandths(f64::from(self.people(some)) / f64::from(self.people(all).max(1))),
            };
        }
    }

    /// A rate with its Wilson interval, likewise.
    pub fn rate(self, rate: Estimate, (some, all): (u32, u32)) -> Estimate {
        let (some, all) = match self {
            Self::Internal => return self.estimate(rate),
            Self::Release(_) => (self.people(some), self.people(all)),
        };
        match wilson(some.into(), all.into(), Level::NINETY_FIVE) {
            Ok(limits) => Estimate {
                value: to_thousandths(f64::from(some) / f64::from(all)),
                low: to_thousandths(limits.low),
                high: to_thousandths(limits.high),
            },
            Err(_) => self.estimate(rate),
        }
    }
}

/// Of rounded counts more digits would say nothing.
fn to_thousandths(share: f64) -> f64 {
    (1e3 * share).round() / 1e3
}

/// From which remainder a count of this five goes up: 2, 3 or 4.
fn border(drawn_from: u64, five: u32) -> u32 {
    2 + (mixed(drawn_from ^ mixed(u64::from(five))) % 3) as u32
}

/// A number in which every bit of another has a part (SplitMix64: Steele, Lea & Flood 2014).
pub fn mixed(from: u64) -> u64 {
    let z = from.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    let z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

/// The standard error behind a 95 % interval.
pub fn standard_error(of: Estimate) -> f64 {
    (of.high - of.low) / ERRORS_ACROSS
}

/// The standard error of a share of `all`; that of 1 in `all` for none or all of them.
pub fn error_of_share(share: f64, all: u32) -> f64 {
    let n = f64::from(all.max(1));
    let p = share.clamp(1.0 / n, 1.0 - 1.0 / n).clamp(0.0, 1.0);
    (p * (1.0 - p) / n).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const RELEASE: Precision = Precision::Release(7);

    #[test]
    fn a_step_is_1_2_or_5_times_a_power_of_ten_and_is_written_in_few_digits() {
        let widths = [0.0004, 0.01, 0.019, 0.02, 0.07, 1.0, 3.0, 60.0];
        let found = |step: fn(f64) -> Option<Step>| widths.map(|width| step(width).unwrap().width());
        assert_eq!(found(Step::at_most), [0.0002, 0.01, 0.01, 0.02, 0.05, 1.0, 2.0, 50.0]);
        assert_eq!(found(Step::at_least), [0.0005, 0.01, 0.02, 0.02, 0.1, 1.0, 5.0, 100.0]);
        assert_eq!(Step::at_most(0.1).unwrap().round(0.299_999).to_string(), "0.3");
        assert_eq!([0.0, -1.0, f64::NAN, f64::INFINITY].map(Step::at_most), [None; 4]);
    }

    #[test]
    fn a_number_keeps_digits_as_its_error_supports() {
        let of = Estimate { value: 0.737_412, low: 0.609_3, high: 0.864_8 }; // error 0.0652
        assert_eq!(Precision::Internal.estimate(of), Estimate { value: 0.74, low: 0.61, high: 0.86 });
        assert_eq!(RELEASE.estimate(of), Estimate { value: 0.75, low: 0.6, high: 0.85 });
        assert_eq!(Precision::Internal.number(3.25, 0.0), 3.25);
    }

    #[test]
    fn a_p_value_never_falls_below_a_threshold_by_being_rounded() {
        assert_eq!(
            [0.0501, 0.05, 0.000_432, 0.0, 0.999].map(|p| Precision::Internal.p(p)),
            [0.051, 0.05, 0.000_44, 0.000_001, 1.0]
        );
        assert_eq!([0.0501, 0.05, 0.000_432, 1.0].map(|p| RELEASE.p(p)), [0.06, 0.05, 0.0005, 1.0]);
    }

    #[test]
    fn the_rate_of_a_release_follows_from_its_counts() {
        let rate = RELEASE.rate(Estimate { value: 33.0 / 58.0, low: 0.4, high: 0.7 }, (33, 58));
        let counts = (RELEASE.people(33), RELEASE.people(58));
        assert_eq!(rate.value, to_thousandths(f64::from(counts.0) / f64::from(counts.1)));
        assert!(rate.low < rate.value && rate.value < rate.high);
    }

    /// The counts that may stand behind one shown, whatever was drawn.
    fn behind(shown: u32) -> impl Iterator<Item = u32> {
        shown.saturating_sub(3)..=shown + 3
    }

    proptest! {
        #[test]
        fn a_rounded_count_is_a_multiple_of_five_near_by_and_keeps_order(count in 0_u32..500, seed in any::<u64>()) {
            let precision = Precision::Release(seed);
            let rounded = precision.count(count);
            prop_assert!(rounded.is_multiple_of(5) && behind(rounded).any(|n| n == count));
            prop_assert!(precision.count(count + 1) >= rounded);
        }

        /// Whatever two editions show, the patient by whom they differ may be in the count or not.
        #[test]
        fn two_editions_one_patient_apart_leave_both_answers_open(
            count in 12_u32..300, first in any::<u64>(), second in any::<u64>(), is_in in any::<bool>(),
        ) {
            let with = Precision::Release(first).count(count);
            let without = Precision::Release(second).count(count - u32::from(is_in));
            let fits = |difference: u32| behind(with).any(|n| behind(without).any(|m| n >= difference && n - difference == m));
            prop_assert!(fits(0) && fits(1), "{with} and {without}");
        }
    }
}
