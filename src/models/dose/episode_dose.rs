//! The dose of every episode, visit by visit, in one pass over the rows.

use super::exposures::{Exposures, FIRST_VISITS};
use crate::catalogue::Region;
use crate::catalogue::setup_standard::SetupStandard;
use crate::episodes::episode::{Episode, Episodes, days_between};
use crate::rows::row::Row;
use crate::visits::dose;
use crate::visits::visits::Visits;
use rayon::prelude::*;

#[derive(Clone, PartialEq, Default, Debug)]
pub struct EpisodeDose {
    /// Peak pull of each treated visit in order of day, percent of body weight; absent where it is not recorded.
    pub pulls: Vec<Option<f64>>,
    /// Minutes under pull of the visits that record it.
    pub minutes: Vec<f64>,
    /// What is held against outcome.
    pub exposures: Exposures,
}

/// The dose of each episode, in the order of the run. `window_opens`: day of the episode on which the endpoint's window begins.
pub fn doses(episodes: &Episodes, visits: &Visits, standard: &SetupStandard, window_opens: i32) -> Vec<EpisodeDose> {
    let of = |episode: &Episode| {
        let rows = || episodes.visits_of(episode).iter().filter_map(|at| visits.rows.get(*at as usize));
        dose_of(episode, rows, standard, window_opens)
    };
    episodes.list.par_iter().with_min_len(256).map(of).collect()
}

fn dose_of<'a, I: Iterator<Item = &'a Row>>(
    episode: &Episode,
    rows: impl Fn() -> I,
    standard: &SetupStandard,
    window_opens: i32,
) -> EpisodeDose {
    let opens = i64::from(window_opens);
    let first = rows().take(FIRST_VISITS).filter(|row| days_between(episode.first.day(), row.when.day()) < opens);
    EpisodeDose {
        pulls: rows().map(|row| dose::percent_of_body_weight(&row.dose)).collect(),
        minutes: rows().filter_map(|row| dose::time_under_pull_s(&row.dose)).map(|seconds| seconds / 60.0).collect(),
        exposures: Exposures::of(episode.region.unwrap_or(Region::Other), first, standard),
    }
}

#[cfg(test)]
mod tests {
    use super::super::exposures::Exposure;
    use super::*;
    use crate::episodes::timeline::{cut_rows, visit, visits_of};
    use crate::units::Millimetres;

    #[test]
    fn exposures_end_with_the_fourth_visit_and_where_the_endpoint_may_be_read() {
        let gap = |day: i32, mm: f64| {
            let mut row = visit(day);
            row.setup.split_gap = Millimetres::new(mm);
            row
        };
        let standard = SetupStandard { is_default: true, items: Vec::new(), rules: Default::default() };
        let mean = |rows: Vec<Row>| {
            let found = doses(&cut_rows(rows.clone()), &visits_of(rows), &standard, 28);
            found[0].exposures.get(Exposure::SplitGap)
        };
        assert_eq!(mean(vec![gap(0, 1.0), gap(2, 2.0), gap(4, 3.0), gap(6, 4.0), gap(8, 90.0)]), Some(2.5));
        assert_eq!(mean(vec![gap(0, 1.0), gap(27, 2.0), gap(28, 90.0)]), Some(1.5));
    }
}
