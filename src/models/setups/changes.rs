//! Since when: does a unit's parameter shift or drift?
//!
//! **Series.** One point a week: the mean of its values. (Medians were tried: of turns, which come in halves, they jump between
//! two habits from week to week.) What belongs to a visit counts in the week of the visit. What a clinician decides once for a patient's
//! course (an angle, the length of a session) counts once an episode, in the week of its first visit: else the same patients, week after
//! week, look like a slow change.
//!
//! **Test.** [`mendcurve_stats::change_point::one_change`]: one shift, one drift, or none, by BIC, the p value by permutation
//! of weeks. Weeks that still follow each other (residual correlation over [`MOST_CORRELATION`]) cannot be permuted: such a series
//! gives no finding, nor does a change too small to matter; both have p = 1. A change of a whole site that is one table's or one
//! clinician's is told of these alone.

use super::column::{Column, Patients};
use super::tested::{Question, Tested, by_permutations};
use super::unlike::{margin_without_standard, narrow_level};
use super::visits::{Level, SetupVisits, UnitId};
use crate::catalogue::parameter::{Nature, Parameter, SetBy};
use crate::rows::names::Names;
use crate::rows::row::NameId;
use mendcurve_stats::Level as Confidence;
use mendcurve_stats::change_point::{Change as Place, Observations, OneChange, Settings, Shape, one_change};
use mendcurve_stats::interval::ERRORS_95;
use mendcurve_stats::sum::{RunningSum, sample_sd, sum};
use rayon::prelude::*;

/// Weeks with a value below which a series is not searched.
pub const FEWEST_WEEKS: usize = 20;
/// Weeks at either end in which no change is looked for.
const LEAST_SEGMENT: usize = 4;
/// Correlation of a week with the next, beyond which weeks cannot be permuted.
pub const MOST_CORRELATION: f64 = 0.3;
const SEED: u64 = 11;
/// The first Monday of the day count.
const MONDAY: i32 = 4;

/// One week of one unit.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Week {
    /// Weeks since the first Monday of the day count.
    pub week: i32,
    /// Mean of its values.
    pub value: f64,
    /// Values.
    pub n: u32,
}

impl Week {
    /// Its Monday, as days since 1970-01-01.
    pub fn monday(self) -> i32 {
        monday_of(f64::from(self.week))
    }
}

#[derive(Clone, PartialEq, Debug)]
pub struct Series {
    pub unit: UnitId,
    pub weeks: Vec<Week>,
    /// Visits behind them.
    pub visits: u32,
    /// Patients behind them.
    pub patients: u32,
}

/// A change that was looked for.
#[derive(Clone, PartialEq, Debug)]
pub struct Change {
    pub unit: UnitId,
    pub found: OneChange,
    /// First and last week of the series.
    pub weeks: (i32, i32),
    /// The same as an answer.
    pub tested: Tested,
}

fn monday_of(week: f64) -> i32 {
    week as i32 * 7 + MONDAY
}

/// The week of a day.
pub fn week_of(day: i32) -> i32 {
    (day - MONDAY).div_euclid(7)
}

/// The series of each unit of a level, without the visits of the units `without`.
pub fn series(column: &Column<'_>, level: Level, without: &[UnitId]) -> Vec<Series> {
    let parameter = column.about.parameter;
    let mut dated: Vec<Dated> = Vec::new();
    let first = column.values.iter().filter_map(|(visit, _)| visit.day).min().map_or(0, week_of);
    let since_first = |day| (week_of(day) - first) as usize;
    if parameter.set_by() == SetBy::Course {
        for one in column.usual(level) {
            if let Some(day) = one.day {
                of_unit(&mut dated, one.unit).take(since_first(day), one.value, one.patient, one.visits);
            }
        }
    } else {
        for (visit, value) in &column.values {
            let left_out = [visit.clinician, visit.table].into_iter().flatten().any(|unit| without.contains(&unit));
            if let (false, Some(unit), Some(day)) = (left_out, visit.unit(level), visit.day) {
                of_unit(&mut dated, unit).take(since_first(day), *value, visit.patient, 1);
            }
        }
    }
    let series = |(unit, dated): (usize, Dated)| Series {
        unit: UnitId::at(unit),
        visits: dated.visits,
        weeks: dated.by_week(first),
        patients: dated.patients.count(),
    };
    dated.into_iter().enumerate().filter(|(_, dated)| dated.visits > 0).map(series).collect()
}

/// What is gathered of one unit.
#[derive(Clone, Default)]
struct Dated {
    /// From the first week of the column on: sum and number of values.
    weeks: Vec<(RunningSum, u32)>,
    patients: Patients,
    visits: u32,
}

/// The place of a unit, whose numbers have no gaps.
fn of_unit(dated: &mut Vec<Dated>, unit: UnitId) -> &mut Dated {
    let place = unit.position();
    if dated.len() <= place {
        dated.resize(place + 1, Dated::default());
    }
    &mut dated[place]
}

impl Dated {
    /// `week`: since the first of the column.
    fn take(&mut self, week: usize, value: f64, patient: NameId, visits: u32) {
        if self.weeks.len() <= week {
            self.weeks.resize(week + 1, (RunningSum::default(), 0));
        }
        let (sum, n) = &mut self.weeks[week];
        sum.add(value);
        *n += 1;
        self.visits += visits;
        self.patients.note(patient);
    }

    /// The weeks that have a value. `first`: the first week of the column.
    fn by_week(&self, first: i32) -> Vec<Week> {
        let weeks = (first..).zip(&self.weeks).filter(|(_, (_, n))| *n > 0);
        weeks.map(|(week, (sum, n))| Week { week, value: sum.value() / f64::from(*n), n: *n }).collect()
    }
}

/// Looks for a change in each unit: sites, whose series are given, and clinicians or tables, whoever's doing the parameter is.
/// `margin`: what matters, where the standard says.
pub fn changes(
    visits: &SetupVisits<'_>,
    column: &Column<'_>,
    of_sites: &[Series],
    margin: Option<f64>,
    names: &Names,
) -> Vec<Change> {
    let margin = margin.unwrap_or_else(|| {
        let values: Vec<f64> = column.values.iter().map(|(_, value)| *value).collect();
        margin_without_standard(column.about.parameter, sample_sd(&values).unwrap_or(f64::INFINITY))
    });
    let narrower = series(column, narrow_level(column.about.parameter), &[]);
    let all: Vec<&Series> = of_sites.iter().chain(&narrower).collect();
    all.into_par_iter().filter_map(|series| change(visits, column, series, margin, names)).collect()
}

/// Whether a site's change is still there without the visits of some of its clinicians or tables.
pub fn stays_without(
    visits: &SetupVisits<'_>,
    column: &Column<'_>,
    site: UnitId,
    without: &[UnitId],
    names: &Names,
) -> bool {
    if column.about.parameter.set_by() == SetBy::Course {
        return true; // episodes are not cut in two
    }
    let rest = series(column, Level::Site, without).into_iter().find(|series| series.unit == site);
    let change = rest.and_then(|series| change(visits, column, &series, 0.0, names));
    change.is_some_and(|change| change.tested.p <= 0.05)
}

fn change(
    visits: &SetupVisits<'_>,
    column: &Column<'_>,
    series: &Series,
    margin: f64,
    names: &Names,
) -> Option<Change> {
    let (first, last) = (series.weeks.first()?.week, series.weeks.last()?.week);
    if series.weeks.len() < FEWEST_WEEKS {
        return None;
    }
    let of = |read: fn(&Week) -> f64| -> Vec<f64> { series.weeks.iter().map(read).collect() };
    let (times, values, weights) =
        (of(|week| f64::from(week.week)), of(|week| week.value), of(|week| f64::from(week.n)));
    let observations = Observations::new(&times, &values, Some(&weights)).ok()?;
    let key = format!(
        "{:?}\0{}\0{}",
        column.about.region,
        column.about.parameter.key(),
        visits.units.key(series.unit, names)
    );
    let look = |permutations| {
        let settings = Settings {
            least_segment: LEAST_SEGMENT,
            level: Confidence::NINETY_FIVE,
            permutations,
            seed: SEED,
            key: key.as_bytes(),
        };
        one_change(&observations, &settings).ok()
    };
    let mut found = look(0)?;
    let shape = found.chosen.unwrap_or(Shape::Shift);
    let at = if shape == Shape::Shift { &found.shift } else { &found.drift };
    let week = |place: usize| times.get(place).copied().unwrap_or(f64::from(first));
    // a drift begins within the week that is last at the old level, a shift with the first week at the new one
    let into = if shape == Shape::Shift { 0 } else { 3 };
    let day = |place: usize| monday_of(week(place)) + into;
    let moved = if shape == Shape::Shift { at.size } else { at.size * (f64::from(last) - week(at.place)) };
    let matters = moved.abs() >= margin;
    // permutations cost: none where nothing would be told whatever they say
    if found.chosen.is_some() && found.residual_correlation <= MOST_CORRELATION && matters {
        found.p = by_permutations(|permutations| look(permutations).map_or(1.0, |found| found.p));
    }
    let tested = Tested {
        question: if shape == Shape::Shift { Question::Shift } else { Question::Drift },
        unit: series.unit,
        about: Some(column.about),
        observed: if shape == Shape::Shift { at.before + at.size } else { at.size },
        reference: at.before,
        interval: interval(series, shape, at),
        since: Some((day(at.place), day(at.places.0), day(at.places.1))),
        sides: None,
        visits: series.visits,
        patients: series.patients,
        matters,
        p: found.p,
    };
    Some(Change { unit: series.unit, found, weeks: (first, last), tested })
}

/// The 95 % interval of the level after a shift, or of the slope of a drift, the place of the change taken as known.
fn interval(series: &Series, shape: Shape, at: &Place) -> (f64, f64) {
    let n = series.weeks.len() as f64;
    let variance = at.rss / (n - 4.0).max(1.0);
    let weight = |week: &Week| f64::from(week.n);
    let (value, information) = match shape {
        Shape::Shift => (at.before + at.size, sum(series.weeks.iter().skip(at.place).map(weight))),
        Shape::Drift => {
            let knot = series.weeks.get(at.place).map_or(0.0, |week| f64::from(week.week));
            let since = |week: &Week| (f64::from(week.week) - knot).max(0.0);
            let weights = sum(series.weeks.iter().map(weight));
            let centre = sum(series.weeks.iter().map(|week| weight(week) * since(week))) / weights;
            (at.size, sum(series.weeks.iter().map(|week| weight(week) * (since(week) - centre).powi(2))))
        }
    };
    let half = if information > 0.0 { ERRORS_95 * (variance / information).sqrt() } else { 0.0 };
    (value - half, value + half)
}

impl Change {
    /// The level before, just after the change began, and at the end of the series.
    pub fn levels(&self) -> (f64, f64, f64) {
        let (before, weeks) = (self.tested.reference, f64::from(self.weeks.1));
        match self.tested.question {
            Question::Drift => {
                let since = self.tested.since.map_or(weeks, |(day, _, _)| f64::from(week_of(day)));
                (before, before, before + self.tested.observed * (weeks - since))
            }
            _ => (before, self.tested.observed, self.tested.observed),
        }
    }
}

/// Whether a parameter is followed over time: numbers, and what is yes or no.
pub fn is_followed(parameter: Parameter) -> bool {
    !matches!(parameter.nature(), Nature::Word(_))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_week_has_the_mean_of_its_values_and_patients_count_once() {
        let patient = |number| NameId(std::num::NonZeroU32::new(number).unwrap());
        let mut dated = Vec::new();
        for (unit, week, value, of) in [(2, 3, 1.0, 1), (2, 0, 7.0, 2), (0, 9, 3.0, 1), (2, 3, 4.0, 1), (2, 0, 8.0, 1)]
        {
            of_unit(&mut dated, UnitId::at(unit)).take(week, value, patient(of), 1);
        }
        let of: Vec<(u32, u32)> = dated.iter().map(|d| (d.visits, d.patients.clone().count())).collect();
        assert_eq!(of, [(1, 1), (0, 0), (4, 2)]);
        let weeks = dated.pop().unwrap().by_week(4);
        assert_eq!(weeks, [Week { week: 4, value: 7.5, n: 2 }, Week { week: 7, value: 2.5, n: 2 }]);
    }
}
