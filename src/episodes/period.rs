//! Which quarter a run reports.

use super::episode::Episodes;
use crate::rows::when::{Quarter, When, date_of};

/// A quarter counts as over this many days before its last day: exports are made at its end.
const DAYS_OF_GRACE: i32 = 7;

/// The quarter reported unless another is asked for: the latest that ended on or before the last visit and a week.
/// Where no export has dates, the latest quarter named beside a visit; exports by offset come by whole quarters.
pub fn default_period(episodes: &Episodes) -> Option<Quarter> {
    let calendar = episodes.list.iter().filter_map(|episode| match episode.last {
        When::Calendar { day } => Some(day),
        When::Offset { .. } => None,
    });
    match calendar.max() {
        Some(day) => date_of(day.checked_add(DAYS_OF_GRACE + 1)?).and_then(Quarter::of).map(Quarter::previous),
        None => episodes.list.iter().filter_map(|episode| episode.last.quarter()).max(),
    }
}
