//! When an episode's endpoint can be asked for: the quarter its window closes in, and whether it had closed
//! when the site's records end.

use super::episode::{Episode, days_between};
use crate::group::settings::EpisodeRules;
use crate::rows::row::{EndedHow, NameId, Row};
use crate::rows::when::{Quarter, When, date_of};

/// How far each site's records reach.
#[derive(Clone, PartialEq, Eq, Default, Debug)]
pub struct SiteEnds {
    sites: Vec<SiteEnd>,
}

#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
struct SiteEnd {
    /// Last calendar day.
    day: Option<i32>,
    /// Last quarter named beside a day offset.
    quarter: Option<Quarter>,
}

impl SiteEnds {
    /// The last day and quarter of each site, over all its rows: visits, missed visits and readings.
    pub fn of(rows: &[Row]) -> Self {
        let mut sites: Vec<SiteEnd> = Vec::new();
        for row in rows {
            let position = row.site.0.get() as usize;
            if position >= sites.len() {
                sites.resize(position + 1, SiteEnd::default());
            }
            if let Some(end) = sites.get_mut(position) {
                match row.when {
                    When::Calendar { day } => end.day = end.day.max(Some(day)),
                    When::Offset { quarter, .. } => end.quarter = end.quarter.max(quarter),
                }
            }
        }
        Self { sites }
    }

    /// Whether care is still going on when the site's records end: not recorded as ended, and the last treated visit
    /// no more than so many days before. Exports by offset: the last visit in the site's last quarter, the endpoint window open.
    pub fn in_care(&self, episode: &Episode, days: i32) -> bool {
        if !matches!(episode.ended_how, None | Some(EndedHow::Ongoing)) {
            return false;
        }
        let end = self.sites.get(episode.site.0.get() as usize).copied().unwrap_or_default();
        match episode.last {
            When::Calendar { day } => end.day.is_some_and(|last| days_between(day, last) <= i64::from(days)),
            When::Offset { quarter, .. } => quarter.is_some() && quarter == end.quarter && !episode.is_due,
        }
    }

    /// The quarter in which the endpoint window of an episode closes, and whether it has closed.
    ///
    /// Calendar days: the quarter of `first + endpoint_days.1`; closed when the site has a row on that day or later.
    ///
    /// Day offsets: only the quarter of the start is known. A quarter has at least 90 days, so a window of `d` days
    /// has closed, whatever the day of the start, by the end of the quarter that comes `ceil(d / 90)` after it
    /// (at least one): that is the quarter given. It counts as closed when the site's rows reach that quarter,
    /// since such exports come by whole quarters. Without a quarter: none, and closed.
    pub fn due(&self, first: When, site: NameId, rules: &EpisodeRules) -> (Option<Quarter>, bool) {
        let end = self.sites.get(site.0.get() as usize).copied().unwrap_or_default();
        match first {
            When::Calendar { day } => {
                let close = day.saturating_add(rules.endpoint_days.1);
                (date_of(close).and_then(Quarter::of), end.day.is_some_and(|last| last >= close))
            }
            When::Offset { quarter: Some(start), .. } => {
                let later = rules.endpoint_days.1.clamp(1, 3600).unsigned_abs().div_ceil(90);
                let due = (0..later).fold(start, |quarter, _| quarter.next());
                (Some(due), end.quarter.is_some_and(|last| last >= due))
            }
            When::Offset { quarter: None, .. } => (None, true),
        }
    }
}
