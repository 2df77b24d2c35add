//! The case-mix model without sites, and how well it tells episodes apart.
//!
//! A yes or no: logistic regression ([`mendcurve_stats::logistic`]); where a class predicts perfectly, Firth's penalised likelihood, and
//! that is said. A change: linear regression. Discrimination and calibration are of predictions made for each fifth of the
//! patients by a model of the other four, so that they flatter nothing.

use super::super::folds::{FOLDS, fold_of};
use super::case_mix::CaseMix;
use super::cases::{Case, Quantity, Reader};
use mendcurve_stats::linear_regression::{Term, linear_regression};
use mendcurve_stats::logistic::{LogisticFit, Outcome, Rows, logistic, logistic_from};
use mendcurve_stats::prediction::{Calibration, auc, calibration};
use mendcurve_stats::random::{stream, uniform};
use mendcurve_stats::standardised::WithoutGroups;
use mendcurve_stats::{Estimate, Interval, Level};

/// About how many cases the quality is tried on where there are more: patients drawn by a keyed hash of their key.
const MOST_TRIED: usize = 5_000;
const SEED: u64 = 7;

/// A fitted model without sites.
pub struct NullModel {
    pub model: WithoutGroups,
    /// Whether it had to be penalised.
    pub penalised: bool,
    /// Its coefficients, near which those of a part of the cases will be.
    pub coefficients: Vec<f64>,
    /// The logistic regression itself, of a yes or no.
    pub regression: Option<Outcome>,
}

/// How well a model tells episodes apart that it has not seen.
#[derive(Clone, Copy, PartialEq, Default, Debug)]
pub struct Quality {
    /// How well it does.
    pub discrimination: Option<Discrimination>,
    /// Slope of outcomes on predictions: on the logit for a yes or no. Ideal 1.
    pub calibration_slope: Option<f64>,
}

/// Area under the curve, of a yes or no, or share of variance explained, of a change.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Discrimination {
    /// The area or share.
    pub value: f64,
    /// DeLong's interval of an area; a share has none.
    pub interval: Option<Interval>,
}

/// Fits the model to values in the order of the design; `None` where it cannot be fitted.
pub fn null_model(quantity: Quantity, mix: &CaseMix, values: Vec<f64>) -> Option<NullModel> {
    match quantity {
        Quantity::Change => {
            let model = WithoutGroups::linear(&mix.columns, mix.design.clone(), values).ok()?;
            Some(NullModel { model, penalised: false, coefficients: Vec::new(), regression: None })
        }
        Quantity::Response | Quantity::FollowedUp => {
            let regression = regression(mix, &mix.design, &values, &vec![0.0; mix.width()])?;
            let (fit, penalised) = chances(mix, &mix.design, &values, regression.clone())?;
            let model = WithoutGroups::logistic(&fit, mix.design.clone(), values).ok()?;
            Some(NullModel { model, penalised, coefficients: fit.coefficients, regression: Some(regression) })
        }
    }
}

/// The quality of the model, by five folds of the cases' patients; of some [`MOST_TRIED`] of them where there are more.
pub fn quality(quantity: Quantity, mix: &CaseMix, cases: &[Case], null: &NullModel, reader: &Reader<'_>) -> Quality {
    if mix.width() < 2 {
        return Quality::default();
    }
    let values = null.model.observed();
    let records = reader.records();
    let patient = |case: &Case| records.episodes.list.get(case.episode as usize).map(|episode| episode.patient);
    let key = |case: &Case| patient(case).map_or("", |patient| records.names.patients.get(patient));
    let tried = |case: &Case| {
        cases.len() <= MOST_TRIED
            || uniform(&mut stream(SEED, key(case).as_bytes())) * (cases.len() as f64) < MOST_TRIED as f64
    };
    // the fold of each case; none for those that are not tried
    let folds: Vec<Option<u8>> = cases.iter().map(|case| tried(case).then(|| fold_of(key(case)))).collect();
    let (mut predicted, mut observed) = (Vec::new(), Vec::new());
    for fold in 0..FOLDS {
        let mut design = Vec::new();
        let mut others = Vec::new();
        for ((row, value), _) in mix.rows().zip(values).zip(&folds).filter(|(_, of)| of.is_some_and(|of| of != fold)) {
            design.extend_from_slice(row);
            others.push(*value);
        }
        let coefficients = match quantity {
            Quantity::Change => slopes(mix, &design, &others),
            _ => regression(mix, &design, &others, &null.coefficients)
                .and_then(|found| chances(mix, &design, &others, found))
                .map(|(fit, _)| fit.coefficients),
        };
        let Some(coefficients) = coefficients else { return Quality::default() };
        for ((row, value), _) in mix.rows().zip(values).zip(&folds).filter(|(_, of)| **of == Some(fold)) {
            let predictor: f64 = row.iter().zip(&coefficients).map(|(x, b)| x * b).sum();
            predicted.push(if quantity == Quantity::Change { predictor } else { 1.0 / (1.0 + (-predictor).exp()) });
            observed.push(*value);
        }
    }
    match quantity {
        Quantity::Change => of_changes(&predicted, &observed),
        _ => of_chances(&predicted, &observed),
    }
}

fn of_chances(chances: &[f64], observed: &[f64]) -> Quality {
    let outcomes: Vec<bool> = observed.iter().map(|value| *value > 0.5).collect();
    let area = auc(chances, &outcomes, Level::NINETY_FIVE).ok();
    let slope = match calibration(chances, &outcomes, Level::NINETY_FIVE) {
        Ok(Calibration::Fitted(fit)) => Some(fit.slope.value),
        _ => None,
    };
    let of_area = |area: Estimate| Discrimination { value: area.value, interval: Some(area.interval) };
    Quality { discrimination: area.and_then(|area| area.estimate).map(of_area), calibration_slope: slope }
}

fn of_changes(predicted: &[f64], observed: &[f64]) -> Quality {
    let ones = vec![1.0; observed.len()];
    let mean = observed.iter().sum::<f64>() / observed.len().max(1) as f64;
    let (around_mean, around): (f64, f64) = observed
        .iter()
        .zip(predicted)
        .fold((0.0, 0.0), |(total, rest), (y, f)| (total + (y - mean) * (y - mean), rest + (y - f) * (y - f)));
    let terms = [Term { name: "intercept", values: &ones }, Term { name: "predicted", values: predicted }];
    let explained = (around_mean > 0.0).then(|| 1.0 - around / around_mean);
    Quality {
        discrimination: explained.map(|value| Discrimination { value, interval: None }),
        calibration_slope: linear_regression(&terms, observed).ok().and_then(|fit| fit.estimates.get(1).copied()),
    }
}

/// A logistic regression of yes or no, and whether it had to be penalised. Firth's estimates do not add up to what was observed, so
/// the intercept is fitted again beside them (Puhr et al. 2017, Stat Med 36:2302-17).
fn chances(mix: &CaseMix, design: &[f64], values: &[f64], found: Outcome) -> Option<(LogisticFit, bool)> {
    match found {
        Outcome::Fitted(fit) => Some((*fit, false)),
        Outcome::Separated { firth, .. } => {
            let successes: Vec<u32> = values.iter().map(|value| u32::from(*value > 0.5)).collect();
            let trials = vec![1; values.len()];
            let mut fit = *firth;
            let predictor = |row: &[f64]| row.iter().zip(&fit.coefficients).map(|(x, b)| x * b).sum::<f64>();
            let offset: Vec<f64> = design.chunks_exact(mix.width().max(1)).map(predictor).collect();
            let ones = vec![1.0; values.len()];
            let again = Rows {
                successes: &successes,
                trials: &trials,
                design: &ones,
                names: &["intercept"],
                offset: Some(&offset),
            };
            let shift = logistic(&again).ok()?.fit()?.coefficients.first().copied()?;
            *fit.coefficients.first_mut()? += shift;
            Some((fit, true))
        }
        Outcome::NotConverged(_) => None,
    }
}

/// The logistic regression of yes or no, looked for from `start`.
fn regression(mix: &CaseMix, design: &[f64], values: &[f64], start: &[f64]) -> Option<Outcome> {
    let names: Vec<&str> = mix.columns.iter().map(String::as_str).collect();
    let successes: Vec<u32> = values.iter().map(|value| u32::from(*value > 0.5)).collect();
    let trials = vec![1; values.len()];
    let rows = Rows { successes: &successes, trials: &trials, design, names: &names, offset: None };
    logistic_from(&rows, start).ok()
}

fn slopes(mix: &CaseMix, design: &[f64], values: &[f64]) -> Option<Vec<f64>> {
    let p = mix.width();
    let columns: Vec<Vec<f64>> = (0..p).map(|j| design.iter().skip(j).step_by(p).copied().collect()).collect();
    let terms: Vec<Term<'_>> = mix.columns.iter().zip(&columns).map(|(name, values)| Term { name, values }).collect();
    linear_regression(&terms, values).ok().map(|fit| fit.estimates)
}
