//! Profile limits of a coefficient under Firth's penalised likelihood.
//!
//! **Formula.** The coefficients at which twice the penalised log-likelihood, maximised over the others, lies the level's
//! chi-square quantile (1 degree of freedom) below its maximum (Heinze & Schemper 2002, Stat Med 21:2409-19). Under
//! separation the penalised likelihood is skewed, and these limits are to be preferred to Wald's.

use super::firth;
use super::fitted::{LogisticFit, Method};
use super::rows::Rows;
use crate::distribution::normal_quantile;
use crate::error::InputError;
use crate::interval::Interval;
use crate::level::Level;

/// Evaluations of the profile allowed on either side.
const MAX_TRIES: usize = 60;
/// The limit is found when it moves by less than this share of the standard error.
const CLOSE: f64 = 1e-9;

/// Profile limits of a coefficient of `fit`, which must be Firth's fit to these `rows`; a limit that is not found within
/// 1,000 standard errors is `None`.
///
/// # Errors
/// If the rows are faulty, the fit is not Firth's or not of as many columns, or there is no such column.
pub fn profile_interval(
    rows: &Rows,
    fit: &LogisticFit,
    column: usize,
    level: Level,
) -> Result<Option<Interval>, InputError> {
    let rows = rows.check()?;
    if fit.method != Method::Firth || fit.coefficients.len() != rows.columns() {
        return Err(InputError::OutOfRange { what: "fit", domain: "Firth's fit to the same rows" });
    }
    if column >= rows.columns() {
        return Err(InputError::OutOfRange { what: "column", domain: "one of the design's" });
    }
    let target = normal_quantile(level.tail())?.powi(2) / 2.0;
    let (centre, error) = (fit.coefficients[column], fit.covariance[(column, column)].sqrt());
    let top = fit.evidence.value;
    let limit = |side: f64| {
        let mut others = fit.coefficients.clone();
        limit(centre, side * error, target, CLOSE, |value| {
            let mut start = others.clone();
            start[column] = value;
            let maximum = firth::maximise(&rows, &start, Some(column)).ok()?;
            others = maximum.coefficients;
            Some(top - maximum.penalised)
        })
    };
    Ok(limit(-1.0).zip(limit(1.0)).map(|(low, high)| Interval { low, high }))
}

/// The limit on one side, by secant steps on the signed root of the fall, kept in a bracket. `error`: the standard error, negative
/// for the lower limit; `fall`: of the maximised likelihood at a value of the coefficient; `close`: share of the standard error.
pub(super) fn limit(
    centre: f64,
    error: f64,
    target: f64,
    close: f64,
    mut fall: impl FnMut(f64) -> Option<f64>,
) -> Option<f64> {
    let (side, error) = (error.signum(), error.abs());
    // root of the fall over the root of the target: 0 at the estimate, 1 at the limit, all but straight between
    let mut share_at =
        |distance: f64| -> Option<f64> { Some((fall(centre + side * distance)?.max(0.0) / target).sqrt()) };
    let (mut low, mut low_share) = (0.0, 0.0);
    let mut high: Option<(f64, f64)> = None;
    let mut distance = error * (2.0 * target).sqrt();
    for _ in 0..MAX_TRIES {
        let share = share_at(distance)?;
        if share < 1.0 {
            (low, low_share) = (distance, share)
        } else {
            high = Some((distance, share))
        }
        let next = match high {
            None => distance * (1.05 / share.max(0.5)),
            Some((high, high_share)) => {
                let secant = low + (high - low) * (1.0 - low_share) / (high_share - low_share);
                // a point just beyond the secant's, so that the bracket closes from both sides
                let nudge = 0.25 * close * error * if share < 1.0 { 1.0 } else { -1.0 };
                (secant + nudge).clamp(low, high)
            }
        };
        if (next - distance).abs() <= close * error {
            return Some(centre + side * next);
        }
        distance = next;
        if distance > 1000.0 * error {
            return None;
        }
    }
    None
}
