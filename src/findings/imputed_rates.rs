//! Responder rates with the lost imputed, and how much worse they would have to be to change the message.
//!
//! The message is the rate among those seen; it changes when the imputed rate falls below the lower limit of its interval.

use super::bulletin::Tipping;
use crate::catalogue::Definition;
use crate::models::fitted_course::FittedCourse;
use crate::models::followed::Followed;
use crate::models::grid::{Cell, Grid, Table};
use crate::models::imputation::Imputed;
use crate::models::panel::Track;
use crate::models::responders::Responders;
use mendcurve_stats::Estimate;
use mendcurve_stats::impute::TippingPoint;

/// The rates by one definition with the missing imputed.
pub(super) struct ImputedRates {
    /// By period and site.
    pub(super) rates: Table<Option<Estimate>>,
    /// For the whole group over all periods.
    pub(super) tipping: Option<Tipping>,
}

/// The due episodes of an outcome, of which some were lost.
pub(super) struct Lost<'a> {
    pub(super) course: &'a FittedCourse,
    /// Names the outcome among all, so that its random numbers are its own.
    pub(super) key: &'a str,
    pub(super) grid: &'a Grid,
    pub(super) followed: &'a [Followed],
    /// Positions in the run, in the order of `followed`.
    pub(super) ids: &'a [u32],
}

impl Lost<'_> {
    /// One entry a definition; none without a fitted course. `responders` are those seen.
    pub(super) fn impute(&self, definitions: &[Definition], responders: &[Table<Responders>]) -> Vec<ImputedRates> {
        let Ok(chosen) = &self.course.fit else { return Vec::new() };
        let tracks: Vec<Option<Track<'_>>> = self.ids.iter().map(|id| self.course.panel.track(*id)).collect();
        let FittedCourse { scale, endpoint_day, .. } = *self.course;
        let imputed = Imputed::of(&chosen.model, scale, endpoint_day, self.key, self.followed, &tracks);
        let of = |(definition, counts): (&Definition, &Table<Responders>)| {
            let seen = counts.get(Cell::WHOLE).and_then(|counts| counts.rate());
            let limit = seen.filter(|_| imputed.has_drawn_endpoints()).map(|(_, interval)| interval.low);
            let tipping = limit.and_then(|limit| imputed.tipping(definition, limit)).map(|point| match point {
                TippingPoint::At(worse_by) => Tipping::Worse(worse_by),
                TippingPoint::AlreadyBelow => Tipping::AlreadyBelow,
                TippingPoint::Never => Tipping::Never,
            });
            ImputedRates { rates: imputed.rates(self.grid, definition), tipping }
        };
        definitions.iter().zip(responders).map(of).collect()
    }
}
