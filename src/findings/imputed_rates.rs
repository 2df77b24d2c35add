//! Responder rates with the lost imputed, and how much worse they would have to be to change the message.
//!
//! The message is the rate among those seen; it changes when the imputed rate falls below the lower limit of its interval.

use super::bulletin::Tipping;
use crate::catalogue::Definition;
use crate::models::grid::{Cell, Grid, Table};
use crate::models::imputation::Imputed;
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

/// One entry a definition. `responders` are those seen.
pub(super) fn imputed_rates(
    imputed: &Imputed,
    grid: &Grid,
    definitions: &[Definition],
    responders: &[Table<Responders>],
) -> Vec<ImputedRates> {
    let of = |(definition, counts): (&Definition, &Table<Responders>)| {
        let seen = counts.get(Cell::WHOLE).and_then(|counts| counts.rate());
        let limit = seen.filter(|_| imputed.has_drawn_endpoints()).map(|(_, interval)| interval.low);
        let tipping = limit.and_then(|limit| imputed.tipping(definition, limit)).map(|point| match point {
            TippingPoint::At(worse_by) => Tipping::Worse(worse_by),
            TippingPoint::AlreadyBelow => Tipping::AlreadyBelow,
            TippingPoint::Never => Tipping::Never,
        });
        ImputedRates { rates: imputed.rates(grid, definition), tipping }
    };
    definitions.iter().zip(responders).map(of).collect()
}
