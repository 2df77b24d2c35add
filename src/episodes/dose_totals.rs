//! Dose over an episode: sums and means over its treated visits.

use super::episode::{DoseTotals, days_between};
use crate::rows::row::Row;
use crate::visits::dose;

/// Dose totals of one episode's treated visits, in order of day.
///
/// Each total covers the visits that recorded what it needs; `visits_with_pull` says how many had a peak pull.
///
/// - Visits a week: `7 (n - 1) / (last day - first day)`, the reciprocal of the mean time between visits; absent under two
///   visits, and when all fell on one day.
/// - Progression: least-squares slope of peak pull on the number of the visit in the episode (1, 2, ...), N a visit;
///   absent under three visits with a pull.
pub fn dose_totals<'a>(visits: impl Iterator<Item = &'a Row> + Clone) -> DoseTotals {
    let pulls = || {
        (1u32..).zip(visits.clone()).filter_map(|(number, row)| Some((f64::from(number), row.dose.peak_force?.get())))
    };
    DoseTotals {
        visits_with_pull: pulls().count() as u32,
        mean_percent_body_weight: mean(visits.clone().filter_map(|row| dose::percent_of_body_weight(&row.dose))),
        time_under_pull_s: sum(visits.clone().filter_map(|row| dose::time_under_pull_s(&row.dose))),
        force_time_n_s: sum(visits.clone().filter_map(|row| dose::force_time_n_s(&row.dose))),
        visits_a_week: visits_a_week(visits.clone()),
        progression_n_a_visit: slope(pulls),
    }
}

fn sum(values: impl Iterator<Item = f64>) -> Option<f64> {
    values.reduce(|total, value| total + value)
}

fn mean(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (total, count) = values.fold((0.0, 0u32), |(total, count), value| (total + value, count + 1));
    (count > 0).then(|| total / f64::from(count))
}

fn visits_a_week<'a>(mut visits: impl Iterator<Item = &'a Row>) -> Option<f64> {
    let first = visits.next()?.when.day();
    let (mut last, mut intervals) = (first, 0u32);
    for row in visits {
        last = row.when.day();
        intervals += 1;
    }
    let days = days_between(first, last);
    (days > 0).then(|| 7.0 * f64::from(intervals) / days as f64)
}

/// Least-squares slope of the second on the first; `None` under three points.
fn slope<I: Iterator<Item = (f64, f64)>>(points: impl Fn() -> I) -> Option<f64> {
    if points().count() < 3 {
        return None;
    }
    let (mean_x, mean_y) = (mean(points().map(|(x, _)| x))?, mean(points().map(|(_, y)| y))?);
    let s_xx: f64 = points().map(|(x, _)| (x - mean_x).powi(2)).sum();
    let s_xy: f64 = points().map(|(x, y)| (x - mean_x) * (y - mean_y)).sum();
    Some(s_xy / s_xx)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::episodes::timeline::visit;
    use crate::rows::row::{Dose, Mode};
    use crate::units::{Kilograms, Minutes, Newtons};

    /// A static pull of ten minutes on 80 kg; 0 N stands for a pull that was not recorded.
    fn pull(day: i32, newtons: f64) -> Row {
        let dose = Dose {
            mode: Some(Mode::Static),
            peak_force: Newtons::new(newtons).filter(|pull| pull.get() > 0.0),
            session: Minutes::new(10.0),
            body_mass: Kilograms::new(80.0),
            ..Dose::default()
        };
        Row { dose, ..visit(day) }
    }

    #[test]
    fn totals_cover_the_visits_that_recorded_a_pull() {
        let visits = [pull(0, 200.0), pull(3, 0.0), pull(7, 400.0)];
        let totals = dose_totals(visits.iter());
        assert_eq!(totals.visits_with_pull, 2);
        assert_eq!(totals.time_under_pull_s, Some(1800.0));
        assert_eq!(totals.force_time_n_s, Some(360_000.0));
        let percent = totals.mean_percent_body_weight.unwrap();
        assert!((percent - 100.0 * 300.0 / 784.532).abs() < 1e-9, "{percent}"); // 80 kg weigh 784.532 N
        assert_eq!(dose_totals([visit(0)].iter()), DoseTotals::default());
    }

    #[test]
    fn visits_a_week_is_the_rate_from_first_to_last_visit() {
        let rate =
            |days: &[i32]| dose_totals(days.iter().map(|&day| visit(day)).collect::<Vec<_>>().iter()).visits_a_week;
        assert_eq!(rate(&[0, 3, 7, 10, 14]), Some(2.0));
        assert_eq!(rate(&[5, 12]), Some(1.0));
        assert_eq!(rate(&[5]), None);
        assert_eq!(rate(&[5, 5]), None);
    }

    #[test]
    fn progression_is_the_slope_on_the_number_of_the_visit() {
        let slope = |pulls: &[f64]| {
            let visits: Vec<Row> = (0..).zip(pulls).map(|(day, &newtons)| pull(day, newtons)).collect();
            dose_totals(visits.iter()).progression_n_a_visit
        };
        let is = |pulls: &[f64], expected: f64| slope(pulls).is_some_and(|found| (found - expected).abs() < 1e-9);
        assert!(is(&[200.0, 220.0, 240.0], 20.0));
        assert!(is(&[200.0, 0.0, 240.0, 260.0], 20.0), "the second visit keeps its number");
        assert!(is(&[200.0, 230.0, 230.0], 15.0), "by hand: S_xy = 30, S_xx = 2");
        assert_eq!(slope(&[200.0, 0.0, 240.0]), None);
    }
}
