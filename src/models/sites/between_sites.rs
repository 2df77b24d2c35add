//! How far sites lie apart beyond their case mix, and each site drawn towards the group.
//!
//! A change: linear model with a random site ([`mendcurve_stats::between_groups`]). A yes or no: logistic model with a random site
//! by adaptive Gauss-Hermite quadrature ([`mendcurve_stats::logistic_mixed`]). A site's shrunken value is what everybody in the
//! comparison would be expected to do there; with few episodes it stays near the group's.

use super::case_mix::CaseMix;
use super::cases::Quantity;
use mendcurve_stats::Interval;
use mendcurve_stats::between_groups::{MOST_COLUMNS, between_groups};
use mendcurve_stats::distribution::normal_quantile;
use mendcurve_stats::logistic::{Outcome as Regression, Rows};
use mendcurve_stats::logistic_mixed::{Options, Outcome, logistic_mixed_from};

/// Sites apart.
#[derive(Clone, PartialEq, Debug)]
pub struct Between {
    /// SD between sites: points of burden for a change, log odds for a yes or no; 0 where they do not differ beyond chance.
    pub sd: f64,
    /// By site: the shrunken value with its 95 % interval.
    pub sites: Vec<(f64, Interval)>,
}

/// Compares sites by the values of cases in the order of the design; `site` numbers each case's site. `without_sites`: the logistic
/// regression of the same cases, where it is known. `None` where no model with a random site could be fitted.
pub fn between_sites(
    quantity: Quantity,
    mix: &CaseMix,
    values: &[f64],
    site: &[usize],
    sites: usize,
    without_sites: Option<Regression>,
) -> Option<Between> {
    match quantity {
        Quantity::Change => of_changes(mix, values, site, sites),
        Quantity::Response | Quantity::FollowedUp => of_chances(mix, values, site, sites, without_sites),
    }
}

fn of_changes(mix: &CaseMix, values: &[f64], site: &[usize], sites: usize) -> Option<Between> {
    if mix.width() > MOST_COLUMNS {
        return None;
    }
    let fit = between_groups(mix.width(), &mix.design, values, site).ok()?.ok()?;
    let z = -normal_quantile(0.025).ok()?;
    let of = |site: usize| {
        let (value, sd) = fit.groups.get(site).map_or((0.0, 0.0), |group| (group.value, group.sd));
        let centre = fit.average + value;
        (centre, Interval { low: centre - z * sd, high: centre + z * sd })
    };
    Some(Between { sd: fit.sd, sites: (0..sites).map(of).collect() })
}

fn of_chances(
    mix: &CaseMix,
    values: &[f64],
    site: &[usize],
    sites: usize,
    without_sites: Option<Regression>,
) -> Option<Between> {
    let names: Vec<&str> = mix.columns.iter().map(String::as_str).collect();
    let successes: Vec<u32> = values.iter().map(|value| u32::from(*value > 0.5)).collect();
    let trials = vec![1; values.len()];
    let rows = Rows { successes: &successes, trials: &trials, design: &mix.design, names: &names, offset: None };
    match logistic_mixed_from(&rows, site, Options::default(), without_sites).ok()? {
        Outcome::Fitted(fit) if fit.groups.len() == sites => Some(Between {
            sd: fit.sd_value(),
            sites: fit.groups.iter().map(|group| (group.rate, group.rate_interval)).collect(),
        }),
        _ => None,
    }
}
