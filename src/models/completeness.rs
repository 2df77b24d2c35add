//! How many due episodes have a baseline, and how many an endpoint as well.

use super::followed::Followed;

/// Counts of due episodes by what was recorded.
#[derive(Clone, Copy, PartialEq, Eq, Default, Debug)]
pub struct Completeness {
    /// Due episodes that started.
    pub episodes: u32,
    pub with_baseline: u32,
    /// With what an outcome needs: a baseline and an endpoint, or the endpoint alone for a measure that looks back.
    pub with_endpoint: u32,
}

impl Completeness {
    /// Counts. A measure that `looks_back` (change as the patient sees it) has no baseline.
    pub fn of(episodes: &[&Followed], looks_back: bool) -> Self {
        Self {
            episodes: count(episodes, |_| true),
            with_baseline: count(episodes, |e| e.baseline.is_some()),
            with_endpoint: count(episodes, |e| e.endpoint.is_some() && (looks_back || e.baseline.is_some())),
        }
    }

    /// with_endpoint / episodes, 0 to 1; `None` without episodes.
    pub fn share(self) -> Option<f64> {
        self.share_of(self.with_endpoint)
    }

    /// with_baseline / episodes, 0 to 1; `None` without episodes.
    pub fn baseline_share(self) -> Option<f64> {
        self.share_of(self.with_baseline)
    }

    fn share_of(self, part: u32) -> Option<f64> {
        (self.episodes > 0).then(|| f64::from(part) / f64::from(self.episodes))
    }
}

/// How many episodes are so. More than four thousand million count as that many.
pub(super) fn count(episodes: &[&Followed], is_so: impl Fn(&Followed) -> bool) -> u32 {
    u32::try_from(episodes.iter().filter(|episode| is_so(episode)).count()).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rows::names::NameList;

    #[test]
    fn an_endpoint_without_a_baseline_does_not_count_as_complete() {
        let site = NameList::default().intern("A").unwrap();
        let of = |baseline, endpoint| Followed { quarter: None, site, baseline, endpoint };
        let all = [of(Some(7.0), Some(2.0)), of(Some(6.0), None), of(None, Some(1.0)), of(None, None)];
        let refs: Vec<&Followed> = all.iter().collect();
        let counts = Completeness::of(&refs, false);
        assert_eq!(counts, Completeness { episodes: 4, with_baseline: 2, with_endpoint: 1 });
        assert_eq!((counts.share(), counts.baseline_share()), (Some(0.25), Some(0.5)));
        assert_eq!(Completeness::of(&refs, true).with_endpoint, 2);
        assert_eq!(Completeness::of(&[], false).share(), None);
    }
}
