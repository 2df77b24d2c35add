//! When a patient comes: two or three times a week at first, then less, and when they stay away.

use super::draw::Draw;
use super::plan::SitePlan;
use chrono::{Datelike, Days, NaiveDate, Weekday};

/// A plan of appointments, in days since the first.
#[derive(Debug)]
pub struct Schedule {
    /// Visits planned at the start, 8 to 24.
    pub planned: usize,
    /// Days of the appointments, rising, first 0.
    pub days: Vec<u64>,
}

impl Schedule {
    /// Draws the appointments of an episode that starts on `first`.
    pub fn draw(draw: &mut Draw, first: NaiveDate, persistent: bool) -> Self {
        let mean = if persistent { 15.5 } else { 13.0 };
        let planned = draw.normal_within(mean, 3.5, 8.0, 24.0).round() as usize;
        let mut days = Vec::with_capacity(planned);
        let mut day = 0_u64;
        for visit in 1..=planned {
            days.push(day);
            let gap = match visit {
                1..=5 => draw.one_of(2, &[2, 3]),
                6..=11 => draw.one_of(3, &[4, 4]),
                _ => draw.one_of(7, &[7, 5, 7]),
            };
            let away = if visit > 4 && draw.chance(0.02) { 14 } else { 0 }; // holidays
            day = days_until_open(first, day + gap + away);
        }
        Self { planned, days }
    }
}

/// The same day or, on a Saturday or Sunday, the Monday after; in days since `first`.
fn days_until_open(first: NaiveDate, day: u64) -> u64 {
    match first.checked_add_days(Days::new(day)).map(|d| d.weekday()) {
        Some(Weekday::Sat) => day + 2,
        Some(Weekday::Sun) => day + 1,
        _ => day,
    }
}

/// The same day or the Monday after.
pub fn open_day(date: NaiveDate) -> NaiveDate {
    date.checked_add_days(Days::new(days_until_open(date, 0))).unwrap_or(date)
}

/// Why a patient does not come back.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Leaving {
    /// Well enough.
    Well,
    /// Bad, and gone.
    Bad,
    /// Something else.
    Other,
}

/// Whether a patient stops after a visit, given the last pain they told (0-10).
///
/// The chance a visit is `leave_when_bad (pain - 4) / 6` above pain 4 from the third visit on, 0.10
/// at pain 0 or 1 from the sixth on, and 0.006 for any reason: both ends leave.
pub fn leaves(draw: &mut Draw, site: &SitePlan, visit_no: usize, last_pain: f64) -> Option<Leaving> {
    let bad = if visit_no >= 3 { site.leave_when_bad * ((last_pain - 4.0) / 6.0).clamp(0.0, 1.0) } else { 0.0 };
    let well = if visit_no >= 6 && last_pain <= 1.0 { 0.10 } else { 0.0 };
    let chance = draw.unit();
    if chance < bad {
        Some(Leaving::Bad)
    } else if chance < bad + well {
        Some(Leaving::Well)
    } else if chance < bad + well + 0.006 {
        Some(Leaving::Other)
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample::plan::Plan;

    #[test]
    fn appointments_start_dense_and_thin_out_on_working_days() {
        let first = NaiveDate::from_ymd_opt(2025, 9, 1).unwrap();
        for n in 0..200 {
            let plan = Schedule::draw(&mut Draw::keyed(1, &["days", &n.to_string()]), first, n % 2 == 0);
            assert!((8..=24).contains(&plan.planned));
            assert!(plan.days[3] <= 12, "{:?}", plan.days);
            for pair in plan.days.windows(2) {
                assert!(pair[1] > pair[0] && pair[1] - pair[0] <= 25, "no gap that would end an episode");
            }
            let weekend = plan
                .days
                .iter()
                .any(|d| first.checked_add_days(Days::new(*d)).unwrap().weekday().number_from_monday() > 5);
            assert!(!weekend);
        }
    }

    #[test]
    fn leaving_is_linked_to_the_last_score_and_most_so_at_the_site_that_loses_its_worst() {
        let plan = Plan::shipped().unwrap();
        let share = |site: usize, pain: f64| {
            let mut draw = Draw::keyed(1, &["leave"]);
            (0..4000).filter(|_| leaves(&mut draw, &plan.sites[site], 8, pain).is_some()).count() as f64 / 4000.0
        };
        let eastlow = plan.sites.iter().position(|s| s.name == "Eastlow").unwrap();
        assert!(share(0, 9.0) > 2.0 * share(0, 3.0));
        assert!(share(0, 0.0) > 2.0 * share(0, 3.0));
        assert!(share(eastlow, 9.0) > 4.0 * share(0, 9.0));
        assert!((share(eastlow, 3.0) - share(0, 3.0)).abs() < 1e-9);
    }
}
